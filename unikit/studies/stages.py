"""From the falling stick to the window of the assist, stage by stage: what each part of the loop leaves of the stable gains."""

from __future__ import annotations

from dataclasses import dataclass
from dataclasses import replace as replaced

import numpy as np

from .. import units as u
from ..formulas import reaction, reflex
from ..inputs import Build, Case, Gear, replace
from . import loop as loops
from .loop import Loop
from .results import Result, shown
from .stability import STEEPEST, WIDEST, loop_area, pendulum_area, scale, study

PROMPT = 1e-3  # seconds: a muscle lag that does not matter
EARLIEST, LONGEST, FINEST = 0.02, 0.6, 1e-3  # seconds of delay that are looked at, and the last step over the delay
ROWS = 61  # derivative gains tried at each delay


@dataclass(frozen=True)
class Stages(Result):
    """The loop put together part by part, at the rider's delay; gains on acceleration as learned."""

    stage: tuple[str, ...]
    stable_area: u.Ratio = shown("stable area of the map", digits=2)
    latest: u.Second = shown("delay from which on no gains hold", "ms", 0)


def stages(build: Build, case: Case, gear: Gear | None = None) -> Stages:
    """Stable area, and the delay at which it vanishes, from the delay alone to gear and assist, in the worse direction of the pedals."""
    build = loops.completed(build)
    geared = loops.loop(build, case, build.gears.named(None if gear is None else gear.name))
    whole = loops.ungeared(build, case)
    person = whole.reflex
    limp = person._replace(acceleration=0.0, leg_damping=0.0, leg_stiffness=0.0, speed_gain=0.0, muscle_lag=PROMPT)
    riders = {
        "delay alone": limp,
        "muscle lag": limp._replace(muscle_lag=person.muscle_lag),
        "legs and speed": person._replace(acceleration=0.0),
    }
    if np.any(person.acceleration):
        riders["acceleration answered"] = person
    stick = whole.plant._replace(lean_by_speed=0.0, speed_by_speed=0.0)  # air and speed come with the rider who minds them
    loops_of = {
        name: [(replaced(whole, reflex=rider, plant=whole.plant if np.any(rider.speed_gain) else stick), 1.0, 0.0)]
        for name, rider in riders.items()
    }
    ways = list(zip(geared.hold.tolist(), geared.gain.tolist(), strict=True))
    loops_of["gear"] = [(geared, hold, 0.0) for hold, _ in ways]
    if build.assist is not None:
        loops_of["assist"] = [(geared, *way) for way in ways]
    return Stages(
        stage=tuple(loops_of),
        stable_area=np.array([min(loop_area(*one).size for one in each) for each in loops_of.values()]),
        latest=np.array([min(latest(*one) for one in each) for each in loops_of.values()]),
    )


def latest(loop: Loop, hold: float, gain: float) -> u.Second:
    """The delay of the rider from which on no proportional and derivative gains hold the loop.

    Followed upwards, because the last gains that hold lie in a corner so narrow
    that one must know where to look for it.
    """
    unit = scale(loop.plant, hold + gain)

    def corner(late: float, near: tuple[float, float]) -> tuple[float, float] | None:
        """The derivative gains that hold with some proportional gain, looked for in a range."""
        tried = np.linspace(*near, ROWS)
        rider = loop.reflex._replace(delay=late)
        found = reaction.stable_gains(
            tried * unit.derivative, loop.plant, rider, loop.path, hold, loop.gear_ratio, gain, WIDEST * unit.proportional
        )
        inside = tried[np.isfinite(found.lowest)]
        return (float(inside[0]), float(inside[-1])) if len(inside) else None

    late, step = EARLIEST, 0.2 * EARLIEST
    held = corner(late, (0.0, STEEPEST))
    if held is None:
        return 0.0
    while late < LONGEST and step > FINEST * late:
        room = max(held[1] - held[0], 4.0 * step * float(np.sqrt(loop.plant.lean_by_lean)))
        found = corner(late + step, (max(held[0] - 0.1 * room, 0.0), held[1] + room))
        if found is None:
            step /= 2
        else:
            late, held = late + step, found
    return late


@dataclass(frozen=True)
class OverDelay(Result):
    """What is left of the map as the rider gets later, and what becomes of gains that were learned before."""

    delay: u.Second = shown("rider's delay", "ms", 0)
    pendulum_area: u.Ratio = shown("stable area, delay alone", digits=3)
    stable_area: u.Ratio = shown("stable area of the loop", digits=3)
    growth_rate: u.PerSecond = shown("growth rate with gains as learned", "1/s", 2)


def over_delay(build: Build, case: Case, delays: u.Values, gear: Gear | None = None) -> OverDelay:
    """The study over a list of delays of a rider whose gains stay as learned."""
    found = [study(replace(build, {"rider.reaction_delay": float(late)}), case, gear, learned=build) for late in np.asarray(delays, float)]
    return OverDelay(
        delay=np.array([one.reaction_delay for one in found]),
        pendulum_area=np.array([pendulum_area(one.toppling_rate, one.reaction_delay).size for one in found]),
        stable_area=np.array([one.stable_area for one in found]),
        growth_rate=np.array([one.growth_rate for one in found]),
    )


@dataclass(frozen=True)
class AssistAxis(Result):
    """The assist gain that would put a root on the imaginary axis, over the frequency: real only at the edges of the window."""

    direction: str = shown("pedals")
    toppling_gain: u.Ratio = shown("toppling gain", digits=3)
    onset_gain: u.Ratio = shown("onset gain", digits=3)
    onset_frequency: u.Hertz = shown("oscillation at", "Hz", 2)
    frequency: u.Hertz = shown("frequency", "Hz", 3)
    real: u.Ratio = shown("assist gain, real part", digits=3)
    imaginary: u.Ratio = shown("assist gain, imaginary part", digits=3)


def assist_axis(build: Build, case: Case, gear: Gear | None = None, frequency: u.Hertz | None = None) -> AssistAxis:
    """The curve of the assist gain over the frequency for driving pedals, and the window that its real values bound."""
    build = loops.completed(build)
    loop = loops.loop(build, case, build.gears.named(None if gear is None else gear.name))
    hertz = np.geomspace(0.1, 4.0, 121) if frequency is None else np.asarray(frequency, float)
    ask = (loop.plant, loop.reflex, loop.path, loop.driving_leverage, loop.gear_ratio)
    none, one = (1 + reflex.loop_response(2 * np.pi * hertz, *ask, gain) for gain in (0.0, 1.0))
    curve = -none / (one - none)
    window = reflex.gain_window(*ask)
    return AssistAxis(
        direction="driving",
        toppling_gain=window.toppling_gain,
        onset_gain=window.onset_gain,
        onset_frequency=window.onset_frequency / (2 * np.pi),
        frequency=hertz,
        real=curve.real,
        imaginary=curve.imag,
    )
