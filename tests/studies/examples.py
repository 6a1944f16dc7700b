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


SILENT = {"motor.demagnetising_current": None} | {
    f"controller.{name}": None
    for name in ("bus_capacitance", "bridge_capacity", "bridge_to_sink", "sink_capacity", "sink_to_air", "bridge_limit")
}


def silent() -> Build:
    """The commuter without what it says of the controller's heat sink and capacitor and of what the magnets bear."""
    return replace(build(), SILENT)


ALL_PATHS = {
    "motor.magnet_capacity": 520.0,
    "motor.magnet_to_housing": 28.0,
    "motor.gap_diameter": 0.186,
    "motor.gap_width": 0.0008,
    "motor.stack_length": 0.028,
    "motor.end_winding_area": 0.021,
    "motor.stator_to_axle": 0.35,
}
SINK = {
    "controller.bridge_capacity": 12.0,
    "controller.bridge_to_sink": 2.5,
    "controller.sink_capacity": 180.0,
    "controller.sink_to_air": 0.9,
    "controller.bridge_limit": 373.15,
}


def described(**changes) -> Build:
    """The strong commuter with every path for heat and the controller's heat sink described."""
    return replace(strong(), ALL_PATHS | SINK | {path.replace("__", "."): value for path, value in changes.items()})


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


def first_machine(ratio: float = 1.5, gain: float = 0.353, **changes) -> Build:
    """The machine and rider of the first computation of the balance model; its motor has no drag and meets no limit but its cap."""
    plain = {
        "rider.mass": 84.0 - 6.91,
        "rider.centre_of_mass_height": 0.8,
        "rider.pitch_inertia": 10.0,
        "rider.drag_area": 0.55,
        "rider.drag_height": 0.75,
        "rider.zero_cadence_torque": 700.0 * 0.125 * (0.2 + 0.8 * 2 / np.pi),
        "rider.zero_torque_cadence": 25.0,
        "rider.torque_floor": 0.2,
        "rider.backward_strength": 0.8,
        "rider.reaction_delay": 0.10,
        "rider.muscle_lag": 0.03,
        "rider.prediction": "acceleration",
        "rider.speed_gain": 0.02,
        "rider.leg_damping": 2.0,
        "rider.leg_stiffness": 40.0,
        "rider.replanning_time": 0.2,
        "frame.centre_of_mass_height": 0.8,
        "wheel.rolling_circumference": 2 * np.pi * 0.36,
        "wheel.mass": 8.0 - 4.6,
        "wheel.inertia": 0.3 - 0.035,
        "wheel.rolling_coefficient": 0.008,
        "wheel.bearing_drag": 0.0,
        "wheel.bearing_drag_per_speed": 0.0,
        "cranks.length": 0.125,
        "cranks.reference_length": 0.125,
        "gears.gear.long.ratio": ratio,
        "gears.gear.long.efficiency": 0.97 if ratio != 1.0 else 1.0,
        "assist.driving_gain.long": gain,
        "assist.resisting_gain.long": gain,
        "assist.torque_cap": 40.0,
        "assist.trim_cap": 40.0,
        "motor.hysteresis_torque": 0.0,
        "motor.eddy_drag": 0.0,
        "motor.quadrature_inductance": 0.003 * 0.091,
        "sensor.filter_corner": 10.0,
        "sensor.dead_time": 0.010,
    }
    return replace(strong(), plain | {path.replace("__", "."): value for path, value in changes.items()})
