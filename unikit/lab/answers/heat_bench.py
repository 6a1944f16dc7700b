"""Answers of the lesson on a heating run."""

from __future__ import annotations

from functools import cache

import numpy as np

from ...inputs import load_bench
from ...inputs.bench import Run
from ...studies import heat, heat_bench
from ..exercises import Exercise, Slip, declare
from . import DATA, build
from .heat import climb

COLD = 294.15  # K, of the second run before the heating, as the lesson says
BEGIN, AFTER = 2400.0, 1440.0  # s


@cache
def run(name: str) -> Run:
    """A heating run of the example record."""
    return load_bench(DATA / "bench" / "heating.toml")[name]


@cache
def found(name: str) -> heat_bench.HeatBench:
    """The network of a run."""
    return heat_bench.study(build(), run(name))


def hottest(name: str = "warmed_at_14A") -> float:
    """Hottest temperature of the winding by its resistance."""
    return float(np.max(heat_bench.by_resistance(run(name), COLD)))


def time_constant(begin: float = BEGIN) -> float:
    """Time constant of the second run's housing by two readings."""
    return heat_bench.two_readings(found("warmed_at_14A"), begin, AFTER)[0]


def inner_conductance(name: str = "warmed_at_14A") -> float:
    """Conductance from winding to stator, from the second run alone."""
    return found(name).winding_to_stator


def climb_end(fitted: bool = True) -> float:
    """Winding temperature at the end of the long climb of the heat lesson, with the motor of the bench or that of the file."""
    chosen = heat_bench.fitted_build(build(), found("warmed_at_20A")) if fitted else build()
    return heat.study(chosen, climb()).winding_end


declare(
    Exercise(
        "heat_bench.1",
        "temperature",
        hottest,
        "0.3 K",
        hints=(
            Slip(hottest("warmed_at_20A") / hottest(), "that is the run at 20 A"),
            Slip(1 - COLD / hottest(), "that is the rise: add the temperature at the start"),
        ),
    ),
    Exercise(
        "heat_bench.2",
        "time",
        time_constant,
        hints=(
            Slip(time_constant(600.0) / time_constant(), "that is from the moment of switching on: begin half an hour later"),
            Slip(found("warmed_at_14A").slowest / time_constant(), "that is the time constant of the network: two readings are asked for"),
        ),
    ),
    Exercise(
        "heat_bench.3",
        "thermal conductance",
        inner_conductance,
        0.003,
        hints=(
            Slip(inner_conductance("warmed_at_20A") / inner_conductance(), "that is from the run at 20 A"),
            Slip(build().motor.winding_to_stator / inner_conductance(), "that is what the build file states"),
        ),
    ),
    Exercise(
        "heat_bench.4",
        "temperature",
        climb_end,
        "0.2 K",
        hints=(Slip(climb_end(False) / climb_end(), "that is the motor of the build file: put the motor of the bench into it"),),
    ),
)
