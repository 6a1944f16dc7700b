"""Between which assist gains does this rider stay upright, how far from either edge is the gain as set, and how slow may the assist be?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import latency, leverage, reflex
from ..formulas.reflex import GainWindow, Path, Plant, Reflex
from ..inputs import Build, Case, Gear
from . import loop as loops
from .loop import Loop
from .results import Result, shown

GREATEST = 4.0  # gain up to which windows are looked for
POINTS = 61  # gains on the axis


@dataclass(frozen=True)
class Balance(Result):
    """Gain window and margins of one gear for the rider in the middle of the stated ranges."""

    gear: str = shown("gear")
    driving_gain: u.Ratio = shown("assist gain as set, driving", digits=3)
    resisting_gain: u.Ratio = shown("assist gain as set, resisting", digits=3)
    toppling_gain: u.Ratio = shown("toppling gain, worse direction", digits=3)
    toppling_frequency: u.Hertz = shown("slow toppling there at", "Hz", 2)
    onset_gain: u.Ratio = shown("onset gain, worse direction", digits=3)
    onset_frequency: u.Hertz = shown("oscillation there at", "Hz", 2)
    restoring_gain: u.Ratio = shown("restoring gain", digits=3)
    best_gain: u.Ratio = shown("gain with the largest vector margin", digits=3)
    vector_margin: u.Ratio = shown("vector margin as set", digits=3)
    vector_best: u.Ratio = shown("vector margin at that gain", digits=3)
    vector_ungeared: u.Ratio = shown("the same rider ungeared", digits=3)
    vector_share: u.Ratio = shown("vector margin as set over ungeared", "%", 0)
    weaker: u.Ratio = shown("rider may be weaker by the factor", digits=2)
    stronger: u.Ratio = shown("rider may be stronger by the factor", digits=2)
    phase_margin: u.Radian = shown("phase margin", "deg", 0)
    dead_time: u.Second = shown("dead time of the assist", "ms", 0)
    dead_time_budget: u.Second = shown("dead time from which the gain as set is unstable", "ms", 0)
    reaction_delay: u.Second = shown("rider's delay", "ms", 0)
    toppling_rate: u.RadianPerSecond = shown("toppling rate", "rad/s", 2)
    gear_alone: u.Ratio = shown("gear leverage alone", digits=3)
    reason: str = shown("why there is no window")
    assumed: str = shown("assumed, not measured")
    gain: u.Ratio = shown("assist gain", digits=3)
    vector_over_gain: u.Ratio = shown("vector margin", digits=3)
    budget_over_gain: u.Second = shown("dead time from which it is unstable", "ms", 0)


def study(build: Build, case: Case, gear: Gear | None = None, experienced: bool = False) -> Balance:
    """The gain window of a gear in a case, with what the gain as set leaves to either edge.

    The rider has learned the ungeared wheel and does the same with the feet
    here; an experienced one has learned this machine as it is set.  Margins are those of the whole loop, rider and legs together, in the
    worse of driving and resisting pedals.  What the build does not say about
    the rider is taken in the middle of its range and named.
    """
    assumed = loops.assumed(build)
    build = loops.completed(build)
    gear = _same(build, gear)
    loop = loops.loop(build, case, gear, experienced=experienced)
    both = windows(loop)
    window = reflex.common_window(*both)
    held = all(inside(one, gain) for one, gain in zip(both, loop.gain, strict=True))
    margins = reflex.loop_margins(loop.plant, loop.reflex, loop.path, loop.hold, loop.gear_ratio, loop.gain)
    vector = float(np.min(margins.vector)) if held else 0.0
    free = float(vectors(loops.ungeared(build, case), np.zeros(1)).min())
    restoring = leverage.restoring_gain(gear.ratio, gear.efficiency, build.cranks.length, build.cranks.reference_length)
    axis = gain_axis(window, restoring, loop)
    over = vectors(loop, axis).min(axis=0)
    best = int(np.argmax(over))
    budgets = budget(loop, np.hstack([np.tile(axis, (2, 1)), loop.gain[:, None]])).min(axis=0)
    return Balance(
        gear=gear.name,
        driving_gain=loop.driving_gain,
        resisting_gain=loop.resisting_gain,
        toppling_gain=window.toppling_gain,
        toppling_frequency=window.toppling_frequency / (2 * np.pi),
        onset_gain=window.onset_gain,
        onset_frequency=window.onset_frequency / (2 * np.pi),
        restoring_gain=restoring,
        best_gain=float(axis[best]) if over[best] > 0 else np.nan,
        vector_margin=vector,
        vector_best=float(over[best]),
        vector_ungeared=free,
        vector_share=vector / free if free > 0 else np.nan,
        weaker=float(np.max(margins.gain_down)) if held else np.nan,
        stronger=float(np.min(margins.gain_up)) if held else np.nan,
        phase_margin=float(np.min(np.abs(margins.phase))) if held else np.nan,
        dead_time=loop.path.dead_time,
        dead_time_budget=float(budgets[-1]),
        reaction_delay=build.rider.reaction_delay,
        toppling_rate=float(np.sqrt(loop.plant.lean_by_lean)),
        gear_alone=loop.driving_leverage,
        reason=window.reason or "there is one",
        assumed=loops.in_words(assumed),
        gain=axis,
        vector_over_gain=over,
        budget_over_gain=budgets[:-1],
    )


def _same(build: Build, gear: Gear | None) -> Gear:
    """The gear of this build that is asked about: the engaged one, or the one of the same name."""
    return build.gears.named(None if gear is None else gear.name)


def windows(loop: Loop) -> tuple[GainWindow, GainWindow]:
    """The windows of driving and of resisting pedals."""
    found = reflex.gain_window(loop.plant, loop.reflex, loop.path, loop.hold, loop.gear_ratio, GREATEST)
    driving, resisting = (GainWindow(*(part[way] for part in found)) for way in (0, 1))
    return driving, resisting


def inside(window: GainWindow, gain: u.Values) -> u.Values:
    """Whether a gain is stable: at or above the toppling gain when that is zero, and below the onset gain."""
    low, gain = np.asarray(window.toppling_gain), np.asarray(gain)
    return np.equal(window.reason, "") & ((gain > low) | ((low == 0) & (gain == 0))) & (gain < window.onset_gain)


def vectors(loop: Loop, gain: u.Values) -> np.ndarray:
    """Vector margins over gains along the last axis, of driving and resisting pedals along the first; zero where a gain is not stable."""
    return reflex.vector_margins(loop.plant, loop.reflex, loop.path, loop.hold, loop.gear_ratio, gain)


def budget(loop: Loop, gain: np.ndarray) -> np.ndarray:
    """Dead time from which gains along the last axis are unstable, of driving and resisting pedals along the first."""
    spread = [np.asarray(part)[..., None] for part in (*loop.plant, *loop.reflex)]
    plant, rider = Plant(*spread[:7]), Reflex(*spread[7:])
    path = Path(*(np.asarray(part)[..., None] for part in loop.path))
    return latency.dead_time_budget(plant, rider, path, loop.hold[..., None], np.asarray(loop.gear_ratio)[..., None], gain)


def gain_axis(window: GainWindow, restoring: float, loop: Loop) -> np.ndarray:
    """Gains from zero to somewhat beyond the onset gain, the restoring gain and the gains as set."""
    onset = window.onset_gain if window.onset_frequency > 0 else 0.0  # an onset beyond what was looked at ends nothing
    furthest = 1.25 * max(float(onset), float(restoring), float(np.max(loop.gain)), 0.2)
    return np.linspace(0.0, min(furthest, GREATEST), POINTS)
