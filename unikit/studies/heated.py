"""Bench runs that never happened: a hidden motor is warmed by a direct current, and sensors with noise and offsets record it.

``python -m unikit.studies.heated`` writes the example runs of ``data/bench``.
The truth is known here, which no bench can offer: whatever reads such runs is
judged by it.  Motor, bench and scenario are invented.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from pathlib import Path

import numpy as np

from .. import units as u
from ..formulas import heat, motor
from ..inputs import Build, load_build
from ..inputs.bench import Measured, Run, make_run
from ..inputs.instruments import Accuracy
from . import bench_files

TIME_STEP = 2.0  # s; readings fall on some of these steps


@dataclass(frozen=True)
class Hidden:
    """The motor on the bench, in numbers that its build file does not have; arrays make one motor for each run."""

    winding_capacity: u.JoulePerKelvin = 362.0
    stator_capacity: u.JoulePerKelvin = 1610.0
    housing_capacity: u.JoulePerKelvin = 2180.0
    winding_to_stator: u.WattPerKelvin = 6.7
    stator_to_housing: u.WattPerKelvin = 4.3
    housing_factor: u.Ratio = 1.18  # on the conductance that is computed from the housing's size
    phase_resistance: u.Ohm = 0.0876  # at 20 °C


@dataclass(frozen=True)
class Scenario:
    """What is done with the motor and what the sensors add; all invented."""

    current: tuple[tuple[u.Second, u.Ampere], ...] = ((600.0, 2.0), (3600.0, 20.0), (5400.0, 2.0))  # how long, how much
    sampling_interval: u.Second = 10.0
    air_speed: u.MetrePerSecond = 0.0
    rotation: u.RadianPerSecond = 0.0
    air_temperature: u.Kelvin = 294.0
    air_swing: u.KelvinRise = 0.6  # of the room's slow ups and downs
    air_drift: u.KelvinRise = 0.8  # over the whole run, one standard deviation
    current_noise: u.Ampere = 0.004  # of each reading, one standard deviation
    voltage_noise: u.Volt = 0.0004
    temperature_noise: u.KelvinRise = 0.08
    offset_bound: u.KelvinRise = 0.5  # of each temperature sensor, the same through the run, anywhere between these ends
    current_scale: u.Ratio = 0.003  # one standard deviation of a factor that stays the same through the run
    voltage_scale: u.Ratio = 0.001

    @property
    def duration(self) -> u.Second:
        """Time of the whole run."""
        return sum(time for time, _ in self.current)


@dataclass(frozen=True)
class Heated:
    """Readings of many runs, as (run, reading), and what was true."""

    time: u.Second
    current: u.Ampere
    voltage: u.Volt
    housing: u.Kelvin
    stator: u.Kelvin
    air: u.Kelvin
    true_winding: u.Kelvin = field(repr=False)  # of the heated phases, in the mean
    true_stator: u.Kelvin = field(repr=False)
    true_housing: u.Kelvin = field(repr=False)
    true_air: u.Kelvin = field(repr=False)
    hidden: Hidden = field(repr=False)
    scenario: Scenario = field(repr=False)

    def run(self, number: int = 0, name: str = "heating", stator: bool = True) -> Run:
        """One of them as a run of a bench record, with the accuracies that the scenario states; the stator's sensor may be left out."""
        said = self.scenario
        sensor = Accuracy(0.0, said.temperature_noise), Accuracy(0.0, said.offset_bound / np.sqrt(3))
        quantities = {
            "time": Measured(self.time.copy()),
            "direct_current": Measured(self.current[number].copy(), Accuracy(0.0, said.current_noise), Accuracy(said.current_scale)),
            "direct_voltage": Measured(self.voltage[number].copy(), Accuracy(0.0, said.voltage_noise), Accuracy(said.voltage_scale)),
            "housing_temperature": Measured(self.housing[number].copy(), *sensor),
            "air_temperature": Measured(self.air[number].copy(), *sensor),
            "heated_phases": Measured(np.asarray(2.0), constant=True),
            "air_speed": Measured(np.asarray(said.air_speed), constant=True),
            "rotation": Measured(np.asarray(said.rotation), constant=True),
        }
        if stator:
            quantities["stator_temperature"] = Measured(self.stator[number].copy(), *sensor)
        return make_run(name, "heating", quantities)


def _weather(stream: np.random.Generator, runs: int, scenario: Scenario, time: np.ndarray) -> np.ndarray:
    """Air of the room over time: a drift and two slow waves, (run, time)."""
    period = stream.uniform(5400.0, 18000.0, (2, runs, 1))
    phase = stream.uniform(0, 2 * np.pi, (2, runs, 1))
    size = stream.uniform(0.3, 1.0, (2, runs, 1)) * scenario.air_swing / 2
    waves = (size * np.sin(2 * np.pi * time / period + phase)).sum(axis=0)
    return scenario.air_temperature + waves + scenario.air_drift * stream.normal(size=(runs, 1)) * time / scenario.duration


def _squares(stream: np.random.Generator, runs: int, scenario: Scenario, time: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Square of the current, its mean over each step and its value at each time, (run, step).

    Switched by hand, so up to one reading later or earlier than planned.
    """
    at = np.full((runs, len(time)), scenario.current[0][1] ** 2)
    mean, planned = at[:, 1:].copy(), 0.0
    for (before, _), (_, level) in zip(scenario.current, scenario.current[1:], strict=False):
        planned += before
        switched = planned + scenario.sampling_interval * stream.uniform(-1, 1, (runs, 1))
        share = np.clip((time[1:] - switched) / TIME_STEP, 0.0, 1.0)
        mean += share * (level**2 - mean)
        at = np.where(time >= switched, level**2, at)
    return mean, at


def heated(build: Build, hidden: Hidden, scenario: Scenario, seed: int, runs: int = 1, instruments: int | None = None) -> Heated:
    """Warm and cool a hidden motor in the housing of a build, many times with other air, switching and sensors.

    Two leads of a star carry a direct current: it heats two phases, the third
    only looks on.  Classical Runge-Kutta steps, with the conductance from
    housing to air computed anew at each reading from the temperatures there;
    so the route is another one than that of the fit.  ``instruments`` is the seed of
    offsets and scales: runs with the same one were measured with the same set.
    """
    machine, stream = build.motor, np.random.default_rng(seed)
    if machine is None:
        raise ValueError(f"build {build.name!r} has no motor to be heated")
    time = np.arange(0.0, scenario.duration + TIME_STEP / 2, TIME_STEP)
    outside, (squares, at) = _weather(stream, runs, scenario, time), _squares(stream, runs, scenario, time)
    true = {item.name: np.broadcast_to(np.asarray(getattr(hidden, item.name), float), runs) for item in fields(hidden)}
    share = np.array([2 / 3, 1 / 3])[:, None]
    capacity = np.concatenate([share * true["winding_capacity"], [true["stator_capacity"], true["housing_capacity"]]])
    inner = share * true["winding_to_stator"]

    def change(state: np.ndarray, square: np.ndarray, air: np.ndarray, outer: np.ndarray) -> np.ndarray:
        loss = 2 * motor.resistance_at(true["phase_resistance"], state[0] - 273.15, 20.0) * square
        into = inner * (state[:2] - state[2])
        on = true["stator_to_housing"] * (state[2] - state[3])
        flow = np.stack([loss - into[0], -into[1], into.sum(axis=0) - on, on - outer * (state[3] - air)])
        return flow / capacity

    state = np.repeat(outside[None, :, 0], 4, axis=0)
    course = np.empty((len(time), 4, runs))
    course[0] = state
    every = int(round(scenario.sampling_interval / TIME_STEP))
    for now in range(len(time) - 1):
        if now % every == 0:
            outer = true["housing_factor"] * heat.housing_conductance(
                scenario.air_speed,
                scenario.rotation,
                machine.housing_diameter,
                machine.housing_width,
                outside[:, now],
                machine.emissivity,
                outside[:, now] + np.maximum(np.abs(state[3] - outside[:, now]), 1e-3),
            )
        air = outside[:, now], (outside[:, now] + outside[:, now + 1]) / 2, outside[:, now + 1]
        one = change(state, squares[:, now], air[0], outer)
        two = change(state + TIME_STEP / 2 * one, squares[:, now], air[1], outer)
        three = change(state + TIME_STEP / 2 * two, squares[:, now], air[1], outer)
        four = change(state + TIME_STEP * three, squares[:, now], air[2], outer)
        state = state + TIME_STEP / 6 * (one + 2 * two + 2 * three + four)
        course[now + 1] = state
    seen = course[::every]
    amperes = np.sqrt(at[:, ::every])
    winding, stator, housing, air = seen[:, 0].T, seen[:, 2].T, seen[:, 3].T, outside[:, ::every]

    theirs = np.random.default_rng([seed if instruments is None else instruments, 1])

    def noisy(values: np.ndarray, noise: float, scale: float = 0.0) -> np.ndarray:
        return values * (1 + scale * theirs.normal(size=(runs, 1))) + noise * stream.normal(size=values.shape)

    def read(temperature: np.ndarray) -> np.ndarray:
        return noisy(temperature, scenario.temperature_noise) + scenario.offset_bound * theirs.uniform(-1, 1, (runs, 1))

    volts = 2 * motor.resistance_at(true["phase_resistance"][:, None], winding - 273.15, 20.0) * amperes
    return Heated(
        time=time[::every],
        current=noisy(amperes, scenario.current_noise, scenario.current_scale),
        voltage=noisy(volts, scenario.voltage_noise, scenario.voltage_scale),
        housing=read(housing),
        stator=read(stator),
        air=read(air),
        true_winding=winding,
        true_stator=stator,
        true_housing=housing,
        true_air=air,
        hidden=hidden,
        scenario=scenario,
    )


# The example runs: the same motor and instruments at two currents, so that one can be predicted from the other.
EXAMPLES = {
    "warmed_at_20A": ((600.0, 2.0), (3600.0, 20.0), (5400.0, 2.0)),
    "warmed_at_14A": ((600.0, 2.0), (4800.0, 14.0), (3600.0, 2.0)),
}
SEED = 23  # of the instruments; each run has its own air, switching and noise
COLUMNS = {
    "time": ("time_s", "s", 0),
    "direct_current": ("current_A", "A", 3),
    "direct_voltage": ("voltage_V", "V", 4),
    "housing_temperature": ("housing_C", "°C", 2),
    "stator_temperature": ("stator_C", "°C", 2),
    "air_temperature": ("air_C", "°C", 2),
}
RANGES = {"A": "-30 A to 30 A", "V": "-10 V to 10 V", "°C": "0 °C to 180 °C"}


def examples(build: Build) -> dict[str, Heated]:
    """The example runs: one set of instruments, so the same offsets and scales in both."""
    return {
        name: heated(build, Hidden(), replace(Scenario(), current=current), SEED + place, instruments=SEED)
        for place, (name, current) in enumerate(EXAMPLES.items())
    }


def files(runs: Sequence[Run], scenario: Scenario) -> dict[str, str]:
    """The texts of the files of example runs by name, as :func:`load_bench` reads them."""
    noise = {"A": f"{scenario.current_noise:g} A", "V": f"{scenario.voltage_noise:g} V", "°C": f"{scenario.temperature_noise:g} K"}
    shared = {"direct_current": f"{100 * scenario.current_scale:g} %", "direct_voltage": f"{100 * scenario.voltage_scale:g} %"}
    offset = f"{scenario.offset_bound / np.sqrt(3):.3f} K"
    columns, digits = {}, {}
    for quantity, (head, unit, digits[quantity]) in COLUMNS.items():
        columns[quantity] = {"column": head, "unit": unit}
        if quantity != "time":
            columns[quantity] |= {"uncertainty": noise[unit], "common_uncertainty": shared.get(quantity, offset), "range": RANGES[unit]}
            columns[quantity]["instrument"] = quantity.replace("direct_", "").replace("_temperature", " sensor")
    constants = {
        "heated_phases": {"value": "2"},
        "air_speed": {"value": "0 m/s", "uncertainty": "0.05 m/s"},
        "rotation": {"value": "0 rpm", "uncertainty": "0 rpm"},
    }
    lines = [
        "# Invented runs, computed by `python -m unikit.studies.heated`, which states the motor that is hidden in them.",
        f"# Temperature sensors: each may be off by up to {scenario.offset_bound:g} K throughout,",
        f"# anywhere between these ends, which is a standard deviation of {offset}.",
        "format = 1",
        'name = "Motor warmed on the bench"',
        'source = "computed, invented"',
        *(line for run in runs for line in bench_files.declared(run, columns, constants)),
    ]
    record = "\n".join(lines).replace('value = "2"', 'value = "2"  # two leads of a star: the third phase carries nothing')
    return {f"{run.name}.csv": bench_files.table(run, columns, digits) for run in runs} | {"heating.toml": record + "\n"}


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the example runs and their record into a folder, by default ``data/bench``."""
    runs = [made.run(name=name) for name, made in examples(load_build(Path("data/builds/harbour_commuter.toml"))).items()]
    return bench_files.write_examples(files(runs, Scenario()), arguments)


if __name__ == "__main__":
    sys.exit(main())
