"""How likely is a gain inside the window when nobody has measured the rider, and which gain is the best bet?"""

from __future__ import annotations

import weakref
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from .. import units as u
from ..inputs import Build, Case, Gear, draw
from . import balance
from . import loop as loops
from .balance import budget, inside, vectors, windows
from .loop import Loop
from .results import Result, shown

DRAWS, SEED = 256, 41


@dataclass(frozen=True)
class Chance(Result):
    """The window over the stated and assumed uncertainty of build and rider: ``draws`` riders, each with gains learned ungeared."""

    gear: str = shown("gear")
    draws: u.Number = shown("riders drawn", digits=0)
    assumed: str = shown("assumed, not measured")
    chance: u.Ratio = shown("chance that both gains as set are inside", "%", 0)
    chance_error: u.Ratio = shown("sampling error of that chance", "%", 1)
    recommended_gain: u.Ratio = shown("recommended gain", digits=3)
    chance_recommended: u.Ratio = shown("chance that the recommended gain is inside", "%", 0)
    recommended_driving: u.Ratio = shown("recommended gain, driving alone", digits=3)
    recommended_resisting: u.Ratio = shown("recommended gain, resisting alone", digits=3)
    vector_low: u.Ratio = shown("vector margin as set that 95 % have", digits=3)
    vector_middle: u.Ratio = shown("vector margin as set, median", digits=3)
    share_low: u.Ratio = shown("that margin over ungeared, that 95 % have", "%", 0)
    share_middle: u.Ratio = shown("that margin over ungeared, median", "%", 0)
    chance_experienced: u.Ratio = shown("chance as set once they have learned this machine", "%", 0)
    share_experienced: u.Ratio = shown("margin over ungeared then, median", "%", 0)
    onset_ratio: u.Ratio = shown("recommended gain over onset gain, median", digits=2)
    onset_ratio_low: u.Ratio = shown("recommended gain over onset gain, lowest tenth", digits=2)
    onset_ratio_high: u.Ratio = shown("recommended gain over onset gain, highest tenth", digits=2)
    balances_ungeared: u.Ratio = shown("of these riders balance the ungeared wheel", "%", 0)
    gain: u.Ratio = shown("assist gain", digits=3)
    inside: u.Ratio = shown("chance of being inside", "%", 1)
    vector: u.Ratio = shown("vector margin, mean", digits=3)
    toppling: u.Ratio = shown("share of riders whose toppling gain lies below", "%", 1)
    onset: u.Ratio = shown("share of riders whose onset gain lies above", "%", 1)


_drawn: weakref.WeakKeyDictionary[Build, dict[tuple[int, int], Build]] = weakref.WeakKeyDictionary()


def riders(build: Build, count: int = DRAWS, seed: int = SEED) -> Build:
    """The completed build with ``count`` draws of every uncertain number; drawn once, for what they have learned is kept with them."""
    kept = _drawn.setdefault(build, {})
    if (count, seed) not in kept:
        kept[count, seed] = draw(loops.completed(build), count, seed)
    return kept[count, seed]


def study(build: Build, case: Case, gear: Gear | None = None, count: int = DRAWS, seed: int = SEED) -> Chance:
    """Draw riders and ask of each whether the gains as set lie inside the window, and of every gain for how many it does.

    The recommended gain has the largest vector margin in the mean of all
    draws, where a gain that is not stable counts zero.
    """
    middle = loops.completed(build)
    axis = balance.study(middle, case, gear).gain
    drawn = riders(build, count, seed)
    engaged = drawn.gears.named(None if gear is None else gear.name)
    loop = loops.loop(drawn, case, engaged)
    margins = margins_as_set(loop, count)
    ungeared = ungeared_margin(drawn, case, count)
    practised = margins_as_set(loops.loop(drawn, case, engaged, experienced=True), count)
    each = vectors(loop, axis).reshape(2, -1, len(axis))  # one row for all draws where nothing is uncertain
    each = np.broadcast_to(each, (2, count, len(axis)))
    both = each.min(axis=0)
    best = int(np.argmax(both.mean(axis=0)))
    found = windows(loop)
    onset = np.broadcast_to(np.minimum(*(one.onset_gain for one in found)), (count,))
    low = np.broadcast_to(np.maximum(*(one.toppling_gain for one in found)), (count,))
    there = np.broadcast_to(np.equal(found[0].reason, "") & np.equal(found[1].reason, ""), (count,))
    chance = float((margins > 0).mean())
    free = np.where(ungeared > 0, ungeared, 1.0)
    share = margins / free
    ratio = axis[best] / onset[there] if there.any() else np.full(1, np.nan)
    return Chance(
        gear=engaged.name,
        draws=count,
        assumed=loops.in_words(loops.assumed(build)),
        chance=chance,
        chance_error=float(np.sqrt(chance * (1 - chance) / count)),
        recommended_gain=float(axis[best]) if both.max() > 0 else np.nan,
        chance_recommended=float((both[:, best] > 0).mean()),
        recommended_driving=_best(axis, each[0]),
        recommended_resisting=_best(axis, each[1]),
        vector_low=float(np.quantile(margins, 0.05)),
        vector_middle=float(np.median(margins)),
        share_low=float(np.quantile(share, 0.05)),
        share_middle=float(np.median(share)),
        chance_experienced=float((practised > 0).mean()),
        share_experienced=float(np.median(practised / free)),
        onset_ratio=float(np.median(ratio)),
        onset_ratio_low=float(np.quantile(ratio, 0.1)),
        onset_ratio_high=float(np.quantile(ratio, 0.9)),
        balances_ungeared=float((ungeared > 0).mean()),
        gain=axis,
        inside=(both > 0).mean(axis=0),
        vector=both.mean(axis=0),
        toppling=(there[:, None] & (low[:, None] <= axis)).mean(axis=0),
        onset=(there[:, None] & (onset[:, None] > axis)).mean(axis=0),
    )


class Judged(NamedTuple):
    """Margins of the gains as set, of each draw."""

    edges: np.ndarray
    share: np.ndarray
    dead_time: np.ndarray
    alone: np.ndarray  # whether the rider balances the gear alone, which counts once the motor has stopped


def judged(build: Build, case: Case, gear: Gear, count: int = DRAWS, seed: int = SEED) -> Judged:
    """Distance to the nearer edge, vector margin over that of the ungeared wheel, and dead-time budget over dead time.

    A gain outside its window counts zero in all three.
    """
    drawn = riders(build, count, seed)
    loop = loops.loop(drawn, case, drawn.gears.named(gear.name))
    vector, free = margins_as_set(loop, count), ungeared_margin(drawn, case, count)
    edges, alone = np.full(count, np.inf), np.ones(count, bool)
    for window, gain in zip(windows(loop), loop.gain, strict=True):
        with np.errstate(divide="ignore", invalid="ignore"):
            lower = np.where(np.equal(window.toppling_gain, 0.0), np.inf, np.divide(gain, window.toppling_gain))
            upper = np.divide(window.onset_gain, gain)
        alone = alone & inside(window, 0.0)
        edges = np.minimum(edges, np.where(inside(window, gain), np.minimum(lower, upper), 0.0))
    budgets = np.broadcast_to(budget(loop, loop.gain[..., None])[..., 0].min(axis=0), (count,))
    with np.errstate(divide="ignore", invalid="ignore"):  # without dead time there is nothing that could be too late
        late = np.where(np.isinf(budgets) | np.equal(loop.path.dead_time, 0.0), np.inf, np.divide(budgets, loop.path.dead_time))
    share = vector / np.where(free > 0, free, np.inf)
    held = vector > 0
    return Judged(np.where(held, edges, 0.0), share, np.where(held, late, 0.0), alone)


def margins_as_set(loop: Loop, count: int) -> np.ndarray:
    """Vector margin of each draw with the gains as set, in the worse direction; zero where it is not stable."""
    return np.broadcast_to(vectors(loop, loop.gain[..., None])[..., 0].min(axis=0), (count,))


def ungeared_margin(drawn: Build, case: Case, count: int) -> np.ndarray:
    """Vector margin of each draw on the ungeared wheel without assist."""
    return np.broadcast_to(vectors(loops.ungeared(drawn, case), np.zeros(1))[..., 0].min(axis=0), (count,))


def _best(axis: np.ndarray, margins: np.ndarray) -> float:
    mean = margins.mean(axis=0)
    return float(axis[np.argmax(mean)]) if mean.max() > 0 else float("nan")
