"""Builds and cases for the tests of the studies, and a way to make strange ones."""

from functools import cache
from pathlib import Path

import numpy as np

from unikit.inputs import Build, Case, load_build, load_cases, replace

DATA = Path(__file__).parents[2] / "data"
NAMES = tuple(sorted(path.stem for path in (DATA / "builds").glob("*.toml")))


@cache
def build(name: str = "harbour_commuter") -> Build:
    """One of the builds of the repository."""
    return load_build(DATA / "builds" / f"{name}.toml")


@cache
def cases() -> tuple[Case, ...]:
    """The cases of the repository."""
    return tuple(load_cases(DATA / "cases"))


def case(**changes) -> Case:
    """A flat, still case, with changes."""
    plain = {
        "name": "Plain",
        "speed": 5.0,
        "slope": 0.0,
        "head_wind": 0.0,
        "air_temperature": 293.15,
        "duration": 1800.0,
        "distance": 9000.0,
        "state_of_charge": 0.8,
        "wanted_speed": 5.0,
    }
    return Case(**(plain | changes))


def strong(**changes) -> Build:
    """The commuter with drive limits so wide that none is met in an ordinary case."""
    wide = {
        "assist.torque_cap": 400.0,
        "controller.phase_current_limit": 500.0,
        "controller.battery_current_limit": 300.0,
        "controller.charge_current_limit": 300.0,
    }
    for pack in ("left", "right", "rear"):
        wide |= {f"packs.pack.{pack}.charge_current_limit": 200.0, f"packs.pack.{pack}.cell_resistance": 0.001}
        wide |= {f"packs.pack.{pack}.lowest_cell_voltage": 0.6, f"packs.pack.{pack}.wiring_resistance": 0.001}
    return replace(build(), wide | {path.replace("__", "."): value for path, value in changes.items()})


def strange(rng: np.random.Generator) -> Build:
    """The commuter with random gear, legs, sensor and drive limits."""
    changes = {
        "gears.gear.long.ratio": rng.uniform(0.6, 2.4),
        "gears.gear.long.efficiency": rng.uniform(0.8, 1.0),
        "rider.torque_floor": rng.choice([0.0, rng.uniform(0, 1), 1.0]).item(),
        "assist.driving_gain.long": rng.choice([0.0, rng.uniform(0, 1.5)]).item(),
        "assist.resisting_gain.long": rng.uniform(0, 1.0),
        "assist.torque_cap": rng.uniform(2, 60),
        "motor.phase_resistance": rng.uniform(0.03, 0.3),
        "motor.torque_constant_peak": rng.uniform(0.6, 1.6),
        "motor.hysteresis_torque": rng.uniform(0, 1),
        "motor.eddy_drag": rng.uniform(0, 0.05),
        "controller.phase_current_limit": rng.uniform(5, 80),
        "controller.battery_current_limit": rng.uniform(2, 30),
        "controller.charge_current_limit": rng.uniform(0, 10),
        "controller.bridge_resistance": rng.uniform(0, 0.02),
        "controller.modulation": rng.choice(["space vector", "sine triangle", "six step"]).item(),
        "controller.standby_power": rng.uniform(0, 15),
        "sensor.location": rng.choice(["one crank", "spindle", "reaction member"]).item(),
        "packs.joined": rng.choice(["parallel", "parallel", "series"]).item(),
    }
    return replace(build(), changes)


def plain(**changes) -> Build:
    """A plain commuting set, no build of this repository: a wheel of 0.69 m, step-up 1.7, cranks of 150 mm, a rider who is used to it."""
    set_up = {
        "wheel.rolling_circumference": 0.69 * np.pi,
        "gears.gear.long.ratio": 1.7,
        "cranks.length": 0.150,
        "cranks.reference_length": 0.150,
        "rider.comfortable_cadence": "118 rpm",
        "rider.greatest_cadence": "165 rpm",
        "rider.greatest_pedal_speed": 2.4,
        "rider.drag_area": 0.45,
        "rider.critical_power": 200.0,
    }
    return replace(build(), set_up | {path.replace("__", "."): value for path, value in changes.items()})
