"""How late may the rider be?  From a falling stick with a delay to the whole loop of rider, legs and assist."""

from __future__ import annotations

from dataclasses import dataclass
from dataclasses import replace as replaced
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from .. import units as u
from ..formulas import balance, delay, reaction, reflex
from ..formulas.reflex import Plant, Reflex
from ..inputs import Build, Case, Gear, replace
from . import loop as loops
from .loop import Loop
from .results import Result, show, shown

PUSH = 0.1  # rad/s of lean rate, given at once to a rider at rest
SHOWN, STEP = 3.0, 0.005  # seconds of motion, and between two of its points
ROWS, OUTLINE = 25, 81  # derivative gains of a first look at the loop's map; points of the pendulum's
WIDEST, STEEPEST = 12.0, 6.0  # gains over what the machine itself measures them by, up to which the map looks
DIRECTIONS = "driving", "resisting"  # as the loop has them along its first axis
ENDLESS = 1e12  # kg: a wheel that no torque of a rider moves is an axle that stands still


class Area(NamedTuple):
    """Stable gains as the corners around an area of the map, none where there is no area; without units."""

    proportional: np.ndarray
    derivative: np.ndarray

    @property
    def size(self) -> float:
        """How much of the map it takes."""
        p, d = self
        return 0.5 * abs(float(np.sum(p * np.roll(d, -1) - d * np.roll(p, -1))))

    def closed(self) -> tuple[np.ndarray, np.ndarray]:
        """Its edge once around, for a line."""
        return np.append(self.proportional, self.proportional[:1]), np.append(self.derivative, self.derivative[:1])

    def holds(self, proportional: u.Values, derivative: u.Values) -> u.Values:
        """Whether gains lie inside: a ray from them crosses the edge an odd number of times."""
        x, y = np.broadcast_arrays(np.asarray(proportional, float)[..., None], np.asarray(derivative, float)[..., None])
        p, d = self.closed() if len(self.derivative) else np.zeros((2, 1))
        rises = (d[:-1] <= y) != (d[1:] <= y)
        slope = np.divide(p[1:] - p[:-1], d[1:] - d[:-1], out=np.zeros(len(p) - 1), where=d[1:] != d[:-1])
        return (rises & (x < p[:-1] + (y - d[:-1]) * slope)).sum(axis=-1) % 2 == 1


NOTHING = Area(np.zeros(0), np.zeros(0))


@dataclass(frozen=True)
class Stability(Result):
    """Delay against falling: what may be late, where the rider's gains lie, and what becomes of a push."""

    gear: str = shown("gear")
    direction: str = shown("pedals, in the worse direction")
    toppling_rate: u.RadianPerSecond = shown("toppling rate on the wheel", "rad/s", 2)
    toppling_rate_fixed: u.RadianPerSecond = shown("the same with the axle held", "rad/s", 2)
    critical_delay: u.Second = shown("critical delay: lean and its rate", "ms", 0)
    critical_delay_predictive: u.Second = shown("critical delay: acceleration as well", "ms", 0)
    reaction_delay: u.Second = shown("rider's delay", "ms", 0)
    muscle_lag: u.Second = shown("muscle lag on top", "ms", 0)
    delay_budget: u.Second = shown("delay at which these gains fail", "ms", 0)
    proportional: u.Ratio = shown("gain on lean over what just holds", digits=2)
    derivative: u.Ratio = shown("gain on lean rate, scaled", digits=2)
    acceleration: u.Ratio = shown("gain on lean acceleration, scaled", digits=2)
    motion: str = shown("after a push")
    growth_rate: u.PerSecond = shown("growth rate of the rightmost root", "1/s", 2)
    frequency: u.Hertz = shown("frequency of its sway", "Hz", 2)
    changing_time: u.Second = shown("time in which it halves or doubles", "s", 2)
    toppling_gain: u.Ratio = shown("toppling gain of the assist", digits=3)
    onset_gain: u.Ratio = shown("onset gain of the assist", digits=3)
    stable_area: u.Ratio = shown("stable area of the loop", digits=2)
    pendulum_area: u.Ratio = shown("stable area of the pendulum with this delay", digits=2)
    assumed: str = shown("assumed, not measured")
    time: u.Second = shown("time after the push", "s", 3)
    lean: u.Radian = shown("lean after the push", "deg", 3)
    lean_nobody: u.Radian = shown("lean if nobody acts", "deg", 3)
    pendulum: Area | None = None
    whole: Area | None = None
    assist: Area | None = None  # the rider's point without assist, at the toppling gain and at the onset gain
    loop: Loop | None = None


def study(build: Build, case: Case, gear: Gear | None = None, learned: Build | None = None, experienced: bool = False) -> Stability:
    """Delay and stability of one gear in a case, in the worse of driving and resisting pedals.

    The map has the gain on lean across and the gain on lean rate upwards, both
    as wheel torque at the present leverage and over what the machine itself
    measures them by, so that one stands for the torque that just holds a lean.
    ``learned`` is the build on whose ungeared wheel the rider learned the
    gains, by default this one; ``experienced`` is one who has learned this
    machine with gear and assist instead.
    """
    assumed = loops.assumed(build)
    build = loops.completed(build)
    gear = build.gears.named(None if gear is None else gear.name)
    loop = loops.loop(build, case, gear, experienced=experienced) if learned is None else _kept(build, case, gear, learned)
    roots = delay.rightmost_roots(*_matrices(loop, loop.hold, loop.gain), count=1)[:, 0]
    worse = int(np.argmax(roots.real))
    name, hold, gain, first = DIRECTIONS[worse], float(loop.hold[worse]), float(loop.gain[worse]), roots[worse]
    growth, sway = float(first.real), abs(float(first.imag)) / (2 * np.pi)
    rate = float(np.sqrt(loop.plant.lean_by_lean))
    unit = scale(loop.plant, hold + gain)
    pendulum = pendulum_area(rate, loop.reflex.delay, float(loop.reflex.acceleration / unit.acceleration))
    whole = loop_area(loop, hold, gain)
    window = reflex.gain_window(loop.plant, loop.reflex, loop.path, hold, loop.gear_ratio)
    held = np.array([0.0, window.toppling_gain, window.onset_gain]) + hold
    point = loop.reflex.proportional / unit.proportional, loop.reflex.derivative / unit.derivative
    of_assist = Area(*(held / (hold + gain) * part for part in point))
    time = np.arange(round(SHOWN / STEP) + 1) * STEP
    return Stability(
        gear=gear.name,
        direction=name,
        toppling_rate=rate,
        toppling_rate_fixed=fixed_rate(build),
        critical_delay=float(delay.critical_delay(rate)),
        critical_delay_predictive=float(delay.critical_delay(rate, predictive=True)),
        reaction_delay=float(loop.reflex.delay),
        muscle_lag=float(loop.reflex.muscle_lag),
        delay_budget=budget(loop),
        proportional=float(loop.reflex.proportional / unit.proportional),
        derivative=float(loop.reflex.derivative / unit.derivative),
        acceleration=float(loop.reflex.acceleration / unit.acceleration),
        motion=in_words(growth, sway),
        growth_rate=growth,
        frequency=sway,
        changing_time=float(np.log(2) / abs(growth)) if growth else np.inf,
        toppling_gain=window.toppling_gain,
        onset_gain=window.onset_gain,
        stable_area=whole.size,
        pendulum_area=pendulum.size,
        assumed=loops.in_words(assumed),
        time=time,
        lean=pushed(loop, hold, gain),
        lean_nobody=PUSH / rate * np.sinh(rate * time),
        pendulum=pendulum,
        whole=whole,
        assist=of_assist if build.assist and not window.reason else None,
        loop=loop,
    )


class Relearned(NamedTuple):
    """The rider who has learned this very machine, gear and assist too, on the same map: scaled gains and the lean after a push."""

    proportional: float
    derivative: float
    lean: np.ndarray
    growth_rate: float

    def summary(self) -> dict[str, str]:
        """The numbers that a panel adds."""
        return {"growth rate of one who has learned this machine": show(self.growth_rate, "1/s", 2)}


def relearned(build: Build, case: Case, gear: Gear | None = None) -> Relearned:
    """Gains and motion of the rider who has learned the machine as it is."""
    found = study(build, case, gear, experienced=True)
    return Relearned(found.proportional, found.derivative, found.lean, found.growth_rate)


def in_words(growth: float, frequency: float) -> str:
    """What a motion does that grows at a rate and sways at a frequency."""
    if frequency == 0:
        return "comes back without swaying" if growth < 0 else "topples"
    return "sways and comes to rest" if growth < 0 else "sways more and more"


def fixed_rate(build: Build) -> u.RadianPerSecond:
    """Toppling rate of the same body on an axle that does not move."""
    return float(balance.toppling_rate(**loops.body(build) | {"wheel_mass": ENDLESS}))


def _kept(build: Build, case: Case, gear: Gear, learned: Build) -> Loop:
    """The loop of a build with gains that were learned on another one; delay, muscles and legs are those of now."""
    habit = loops.habit(_learner(learned, build.rider.prediction))
    names = ("muscle_lag", "leg_damping", "leg_stiffness", "replanning_time", "speed_gain")
    now = habit._replace(delay=build.rider.reaction_delay, **{name: getattr(build.rider, name) for name in names})
    return loops.loop(build, case, gear, rider=loops.at_cranks(now, build.cranks.length / build.cranks.reference_length))


@lru_cache(maxsize=8)
def _learner(learned: Build, prediction: str) -> Build:
    """The build on which the rider learned, completed: who answers acceleration now has learned to."""
    return replace(loops.completed(learned), {"rider.prediction": prediction})


def scale(plant: Plant, held: u.Ratio) -> Reflex:
    """Gains at the crank that the machine itself sets: what just holds a lean, and that over its toppling rate once and twice."""
    hold = plant.lean_by_lean / (plant.lean_by_torque * held)
    rate = np.sqrt(plant.lean_by_lean)
    return Reflex(hold, hold / rate, hold / rate**2, *6 * (0.0,))


def budget(loop: Loop) -> u.Second:
    """The delay of the rider at which the gains of a loop begin to fail, driving or resisting; zero if they fail without any."""
    prompt = replaced(loop, reflex=loop.reflex._replace(delay=0.0))
    if not np.all(delay.is_stable(*_matrices(prompt, loop.hold, loop.gain))):
        return 0.0
    return float(np.min(reaction.delay_budget(loop.plant, loop.reflex, loop.path, loop.hold, loop.gear_ratio, loop.gain)))


def _matrices(loop: Loop, hold: u.Values, gain: u.Values) -> reflex.StateSpace:
    return reflex.system_matrices(loop.plant, loop.reflex, loop.path, hold, loop.gear_ratio, gain)


def pushed(loop: Loop, hold: float, gain: float) -> np.ndarray:
    """Lean over time after a push at the lean rate."""
    matrices = _matrices(loop, hold, gain)
    start = np.zeros(matrices.a_matrix.shape[-1])
    start[1] = PUSH
    return delay.free_motion(*matrices, start, STEP, round(SHOWN / STEP))[:, 0]


# -- maps -----------------------------------------------------------------------------


def pendulum_area(toppling_rate: u.RadianPerSecond, late: u.Second, acceleration: u.Ratio = 0.0) -> Area:
    """The stable gains of a pendulum with nothing but a delay: between the static limit and the curve on which it sways."""
    angle = toppling_rate * late
    if angle**2 >= 2 * (1 + acceleration) or acceleration >= 1:
        return NOTHING
    frequency = np.linspace(0.0, _last(angle, acceleration), OUTLINE)
    return Area(*delay.hopf_curve(1.0, angle, frequency, acceleration))


def _last(angle: float, acceleration: float) -> float:
    """Frequency over toppling rate at which the curve is back on the static limit."""
    from scipy.optimize import brentq

    # the curve also starts on the limit: over the square of the frequency that start is no root
    def above(turn: float) -> float:
        return (delay.hopf_curve(1.0, angle, turn / angle, acceleration).proportional - 1) / turn**2

    return brentq(above, 1e-4, np.pi) / angle


def loop_area(loop: Loop, hold: float, gain: float) -> Area:
    """The stable gains of the whole loop in one direction of the pedals; acceleration gain, legs and assist as they are."""
    unit = scale(loop.plant, hold + gain)

    def rows(derivative: np.ndarray) -> tuple[np.ndarray, ...]:
        found = reaction.stable_gains(
            derivative * unit.derivative, loop.plant, loop.reflex, loop.path, hold, loop.gear_ratio, gain, WIDEST * unit.proportional
        )
        inside = np.isfinite(found.lowest)
        return inside, np.stack([derivative, found.lowest / unit.proportional, found.highest / unit.proportional])[:, inside]

    derivative = np.linspace(0.0, STEEPEST, ROWS)
    inside, kept = rows(derivative)
    if not inside.any():
        return NOTHING
    for _ in range(2):  # closer to where the area begins and ends, and once in between
        first, last = np.nonzero(inside)[0][[0, -1]]
        gaps = derivative[max(first - 1, 0)], derivative[first], derivative[last], derivative[min(last + 1, len(derivative) - 1)]
        derivative = np.unique(np.concatenate([np.linspace(*gaps[:2], 9), np.linspace(*gaps[1:3], 9), np.linspace(*gaps[2:], 9)]))
        inside, more = rows(derivative)
        kept = np.hstack([kept, more])
    derivative, lowest, highest = kept[:, np.unique(kept[0], return_index=True)[1]]
    return Area(np.append(highest, lowest[::-1]), np.append(derivative, derivative[::-1]))
