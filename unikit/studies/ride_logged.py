"""Whole rides that never happened: an invented rider on invented roads in gusty wind, and sensors that err.

``python -m unikit.studies.ride_logged`` writes the example ride logs of
``data/logs``.  The machine ridden has another rolling coefficient, drag area
and gear efficiency than the build file says; what they are stands here alone,
so that whatever reads the logs can be judged by it.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from .. import units as u
from ..formulas import road
from ..inputs import Build, Case, load_build
from ..inputs import replace as replaced
from ..inputs.ride_logs import RideLog, make_ride
from .drive import drive
from .loads import trim_torque
from .split import torque_split

AT_ONCE = 20_000  # samples whose split is worked out together, for the sake of memory
EASED = 6.0  # s
CALM = 0.3  # m/s: below that the rider stands beside the machine
DAY = datetime(2031, 5, 14)  # of the example logs, invented


def hidden(build: Build) -> Build:
    """The machine that is ridden in truth: it rolls worse, is wider and loses more in its gear than the build says."""
    gear = f"gears.gear.{build.gears.engaged}.efficiency"
    return replaced(build, {"wheel.rolling_coefficient": 0.0096, "rider.drag_area": 0.62, gear: 0.94})


@dataclass(frozen=True)
class Scenario:
    """A ride out and back with what shakes it and what its sensors add; all invented, deviations are standard deviations."""

    duration: u.Second = 1800.0
    sampling_rate: u.Hertz = 1.0
    slowest: u.MetrePerSecond = 2.8  # speeds that the rider takes by turns
    fastest: u.MetrePerSecond = 6.2
    wind_from_north: u.MetrePerSecond = 1.2
    wind_from_east: u.MetrePerSecond = -0.8
    gust_deviation: u.MetrePerSecond = 0.9  # in each direction
    gust_time: u.Second = 20.0
    gust_yield: u.Ratio = 0.0  # share of a head gust by which the rider slows
    speed_deviation: u.MetrePerSecond = 0.25
    speed_time: u.Second = 8.0
    hills: u.Ratio = 1.0  # times the hills of the invented country
    stands: int = 3  # halts at which the rider gets off
    stand_time: u.Second = 35.0
    torque_noise: u.NewtonMetre = 0.5
    torque_zero_deviation: u.NewtonMetre = 0.4  # from ride to ride
    torque_scale_deviation: u.Ratio = 0.005
    electrical_scale_deviation: u.Ratio = 0.005
    speed_noise: u.MetrePerSecond = 0.02
    cadence_noise: u.RadianPerSecond = 0.03
    voltage_noise: u.Volt = 0.03
    current_noise: u.Ampere = 0.05
    altitude_noise: u.Metre = 0.15
    altitude_drift: u.Number = 0.012  # deviation after 1 s, growing with the root of time
    heading_noise: u.Radian = 0.035
    winding_rise: u.KelvinRise = 25.0


@dataclass(frozen=True)
class Logged:
    """What the sensors say on many rides, as (ride, sample), and the wind there was."""

    sampling_rate: u.Hertz
    values: dict[str, np.ndarray] = field(repr=False)
    wind_from_north: np.ndarray
    wind_from_east: np.ndarray

    def log(self, number: int = 0, name: str = "computed ride") -> RideLog:
        """One of the rides as a log."""
        values = {key: one[number] for key, one in self.values.items()}
        clock = np.arange(len(values["speed"])) / self.sampling_rate
        return make_ride(name, "computed, invented", {"time": clock} | values)


def _remembering(stream: np.random.Generator, shape: tuple[int, int], deviation: float, time: float, step: float) -> np.ndarray:
    """Noise that forgets exponentially, along the last axis."""
    from scipy.signal import lfilter

    decay = np.exp(-step / time)
    fresh = stream.normal(size=shape)
    fresh[:, 1:] *= np.sqrt(1 - decay**2)
    return deviation * lfilter([1.0], [1.0, -decay], fresh, axis=-1)


def _eased(wish: np.ndarray, steps: float) -> np.ndarray:
    """A wish that changes gradually: nobody jumps to another speed."""
    from scipy.signal import lfilter

    decay = np.exp(-1 / steps)
    return wish[:, :1] + lfilter([1 - decay], [1.0, -decay], wish - wish[:, :1], axis=-1)


@dataclass(frozen=True)
class _Country:
    """Hills and turns along the way out, of each ride its own."""

    hill_length: np.ndarray
    hill_height: np.ndarray
    hill_phase: np.ndarray
    turn_length: np.ndarray
    turn_phase: np.ndarray
    heading: np.ndarray

    def altitude(self, place: np.ndarray) -> np.ndarray:
        return np.sum(self.hill_height * np.sin(2 * np.pi * place[..., None] / self.hill_length + self.hill_phase), axis=-1)

    def slope(self, place: np.ndarray) -> np.ndarray:
        """Rise over the way along the road."""
        rate = 2 * np.pi / self.hill_length
        return np.sum(self.hill_height * rate * np.cos(place[..., None] * rate + self.hill_phase), axis=-1)

    def way(self, place: np.ndarray) -> np.ndarray:
        """Heading on the way out."""
        swing = np.array([1.1, 0.45])
        return self.heading[..., 0] + np.sum(swing * np.sin(2 * np.pi * place[..., None] / self.turn_length + self.turn_phase), axis=-1)


def _country(stream: np.random.Generator, rides: int, hills: float) -> _Country:
    def drawn(low, high):
        low, high = np.array(low), np.array(high)
        return low + (high - low) * stream.random((rides, 1, len(low)))

    return _Country(
        hill_length=drawn([1700.0, 700.0, 320.0], [2600.0, 1000.0, 450.0]),
        hill_height=hills * drawn([8.0, 1.8, 0.3], [13.0, 3.2, 0.6]),
        hill_phase=drawn([0.0] * 3, [2 * np.pi] * 3),
        turn_length=drawn([2400.0, 600.0], [3600.0, 900.0]),
        turn_phase=drawn([0.0] * 2, [2 * np.pi] * 2),
        heading=drawn([0.0], [2 * np.pi]),
    )


def _travel(stream, country: _Country, scenario: Scenario, rides: int, gusts: np.ndarray) -> tuple[np.ndarray, ...]:
    """Speed, place on the way out, and whether it is the way back, step by step."""
    step = 1 / scenario.sampling_rate
    count = int(round(scenario.duration / step)) + 1
    clock = np.arange(count) * step
    blocks = np.linspace(scenario.slowest, scenario.fastest, 4)
    each = 110.0  # s at one speed
    order = stream.permuted(np.tile(blocks, (rides, 1 + int(scenario.duration / (each * len(blocks))), 1)), axis=-1).reshape(rides, -1)
    wish = _eased(order[:, (clock / each).astype(int) % order.shape[1]], EASED / step)
    wobble = _remembering(stream, (rides, count), scenario.speed_deviation, scenario.speed_time, step)
    middle = (
        scenario.duration * (np.arange(scenario.stands) + 0.3 + 0.4 * stream.random((rides, scenario.stands))) / max(scenario.stands, 1)
    )
    halted = np.any(np.abs(clock[None, :, None] - middle[:, None, :]) < scenario.stand_time / 2 + 6.0, axis=-1)
    speed, place = np.zeros((rides, count)), np.zeros((rides, count))
    back = clock >= scenario.duration / 2
    for now in range(count - 1):
        sense = -1.0 if back[now] else 1.0
        slope = sense * country.slope(place[:, now, None])[:, 0]
        way = country.way(place[:, now, None])[:, 0] + (np.pi if back[now] else 0.0)
        gust = gusts[0, :, now] * np.cos(way) + gusts[1, :, now] * np.sin(way)
        wanted = wish[:, now] * (1 - 4.5 * np.maximum(slope, 0.0) - 2.0 * np.maximum(-slope, 0.0)) + wobble[:, now]
        wanted = np.where(halted[:, now], 0.0, np.maximum(wanted - scenario.gust_yield * gust, 1.5))
        lag = np.where(halted[:, now], 3.0, 5.0)
        fresh = speed[:, now] + (wanted - speed[:, now]) * -np.expm1(-step / lag)
        speed[:, now + 1] = np.where(halted[:, now] & (fresh < CALM), 0.0, fresh)
        place[:, now + 1] = place[:, now] + sense * 0.5 * (speed[:, now] + speed[:, now + 1]) * step
    return speed, place, np.broadcast_to(back, speed.shape)


def _winds(scenario: Scenario, rides: int, wind: tuple[np.ndarray, np.ndarray] | None) -> tuple[np.ndarray, np.ndarray]:
    north, east = (scenario.wind_from_north, scenario.wind_from_east) if wind is None else wind
    return np.broadcast_to(np.asarray(north, float), (rides,)), np.broadcast_to(np.asarray(east, float), (rides,))


def ride(
    build: Build,
    case: Case,
    scenario: Scenario | None = None,
    seed: int = 0,
    rides: int = 1,
    wind: tuple[np.ndarray, np.ndarray] | None = None,
) -> Logged:
    """Let a rider ride a build out and back, many rides side by side, and record it.

    The speed follows a wish that changes every two minutes, less uphill; the
    torque is what the road then asks, split between legs and motor as the kit
    splits it.  ``wind`` gives each ride a steady wind of its own, from north
    and from east.
    """
    scenario = scenario or Scenario()
    stream = np.random.default_rng(seed)
    step = 1 / scenario.sampling_rate
    country = _country(stream, rides, scenario.hills)
    count = int(round(scenario.duration / step)) + 1
    gusts = np.stack([_remembering(stream, (rides, count), scenario.gust_deviation, scenario.gust_time, step) for _ in range(2)])
    speed, place, back = _travel(stream, country, scenario, rides, gusts)
    along = country.slope(place) * np.where(back, -1.0, 1.0)
    slope = along / np.sqrt(1 - along**2)  # the country says rise over the way
    heading = np.mod(country.way(place) + np.where(back, np.pi, 0.0), 2 * np.pi)
    north, east = _winds(scenario, rides, wind)
    from_north, from_east = north[:, None] + gusts[0], east[:, None] + gusts[1]
    head = from_north * np.cos(heading) + from_east * np.sin(heading)
    cross = from_east * np.cos(heading) - from_north * np.sin(heading)
    force = road.road_force(
        speed,
        build.total_mass,
        slope,
        head,
        case.air_density,
        build.rider.drag_area,
        build.wheel.rolling_coefficient,
        cross,
        build.wheel.bearing_drag,
        build.wheel.bearing_drag_per_speed,
    ) + road.acceleration_force(build.total_mass, np.gradient(speed, step, axis=-1), build.wheel_inertia, build.wheel.radius)
    share = np.linspace(0, 1, count)
    charge = np.broadcast_to(case.state_of_charge - 0.35 * share, speed.shape)
    winding = np.broadcast_to(case.air_temperature - scenario.winding_rise * np.expm1(-4 * share), speed.shape)
    moving = speed > 0
    found = _split(build, case, speed, build.wheel.radius * force, slope, charge, winding)
    noise = stream.normal(size=(7, rides, count))
    zero, torque_scale, electrical_scale = stream.normal(size=(3, rides, 1))
    torque = np.where(moving, found["pedal_torque"], 0.0) * (1 + scenario.torque_scale_deviation * torque_scale)
    values = {
        "speed": np.where(moving, np.abs(speed + scenario.speed_noise * noise[0]), 0.0),
        "pedal_torque": torque + scenario.torque_zero_deviation * zero + scenario.torque_noise * noise[1],
        "crank_rate": np.where(moving, found["cadence"] + scenario.cadence_noise * noise[2], 0.0),
        "altitude": 40.0
        + country.altitude(place)
        + scenario.altitude_noise * noise[3]
        + scenario.altitude_drift * np.sqrt(step) * np.cumsum(stream.normal(size=(rides, count)), axis=-1),
        "heading": np.mod(heading + scenario.heading_noise * noise[4], 2 * np.pi),
        "winding_temperature": winding + 0.3 * stream.normal(size=(rides, count)),
    }
    if build.motor is not None:
        values["battery_voltage"] = found["voltage"] + scenario.voltage_noise * noise[5]
        values["battery_current"] = found["current"] * (1 + scenario.electrical_scale_deviation * electrical_scale)
        values["battery_current"] = values["battery_current"] + scenario.current_noise * noise[6]
    return Logged(scenario.sampling_rate, values, north, east)


def _split(build, case, speed, wheel_torque, slope, charge, winding) -> dict[str, np.ndarray]:
    """Pedal torque, cadence, voltage and current of each sample; at rest nothing but the standby power."""
    flat = [np.ravel(part) for part in (speed, wheel_torque, slope, charge, winding)]
    gear = build.gears.named()
    parts: dict[str, list[np.ndarray]] = {name: [] for name in ("pedal_torque", "cadence", "voltage", "current")}
    for begin in range(0, flat[0].size, AT_ONCE):
        pace, torque, rise, left, warm = (part[begin : begin + AT_ONCE] for part in flat)
        standing = pace == 0
        state = drive(build, left, warm)
        trim = np.where(standing, 0.0, trim_torque(build, case, rise))
        found = torque_split(build, gear, np.maximum(pace, 0.1), np.where(standing, 0.0, torque), state, trim)
        parts["pedal_torque"].append(found.pedal_torque)
        parts["cadence"].append(found.cadence)
        if state is not None:
            idle = state.standby_power / state.open_circuit_voltage
            current = np.where(standing, idle, found.battery_current)
            parts["current"].append(current)
            parts["voltage"].append(state.open_circuit_voltage - state.pack_resistance * current)
    return {name: np.concatenate(part).reshape(speed.shape) for name, part in parts.items() if part}


# The day of the example logs; the lesson's case states the same air.
WEATHER = Case(
    name="Day of the example rides",
    speed=4.0,
    slope=0.0,
    head_wind=0.0,
    altitude=12.0,
    air_temperature=287.15,
    duration=2300.0,
    distance=9000.0,
    state_of_charge=0.95,
    wanted_speed=5.0,
)
# The example logs: what is ridden, when, and with which seed.
EXAMPLES = {
    "errand": (Scenario(duration=2340.0, gust_deviation=0.4, hills=1.3), 21, DAY.replace(hour=7, minute=40)),
    "homeward": (
        Scenario(duration=1980.0, wind_from_north=-1.6, wind_from_east=0.7, gust_deviation=0.6),
        22,
        DAY.replace(hour=17, minute=5),
    ),
}


def example(build: Build, name: str) -> RideLog:
    """An example log as its sensors say, before it is written, for a build that may be another one."""
    scenario, seed, _ = EXAMPLES[name]
    return ride(hidden(build), WEATHER, scenario, seed).log(name=name)


def text_of(log: RideLog, begin: datetime) -> str:
    """A log as the table that the mapping of the example ride logs declares."""
    columns = {
        "speed_kmh": (3.6 * log["speed"], "%.2f"),
        "crank_torque_Nm": (log["pedal_torque"], "%.2f"),
        "cadence_rpm": (log["crank_rate"] * 30 / np.pi, "%.1f"),
        "battery_V": (log["battery_voltage"], "%.2f"),
        "battery_A": (log["battery_current"], "%.2f"),
        "altitude_m": (log["altitude"], "%.2f"),
        "heading_deg": (np.degrees(log["heading"]), "%.1f"),
        "winding_C": (log["winding_temperature"] - 273.15, "%.1f"),
    }
    clock = [(begin + timedelta(seconds=float(second))).isoformat() + "Z" for second in log["time"]]
    rows = zip(clock, *(np.char.mod(form, values) for values, form in columns.values()), strict=True)
    return "\n".join([",".join(["clock", *columns]), *(",".join(row) for row in rows)]) + "\n"


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the example logs into a folder, by default ``data/logs``."""
    given = sys.argv[1:] if arguments is None else arguments
    folder = Path(given[0] if given else "data/logs")
    build = load_build(Path("data/builds/harbour_commuter.toml"))
    for name, (_, _, begin) in EXAMPLES.items():
        path = folder / f"{name}.csv"
        path.write_text(text_of(example(build, name), begin), encoding="utf-8", newline="\n")
        print(f"{path}: written")
    return 0


if __name__ == "__main__":
    sys.exit(main())
