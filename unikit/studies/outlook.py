"""Getting home or not: a ride along a route drawn many times from what is uncertain, each answer with its sampling error."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from .. import units as u
from ..formulas import _journey as j
from ..formulas import sampling
from ..formulas.checks import one_of
from ..formulas.sampling import Estimate
from ..inputs import Build, Case, Gear, Route, draw_at, meaning
from ..inputs.variants import refuse_draws
from . import journey
from .cells import aged
from .many import Progress, Stopped, in_parts
from .results import Result, shown
from .ride import stored_energy
from .riding import prepare, run_many

RIDES, SEED = 256, 20
RANKED = 128  # base draws of a ranking
RANKED_BY = {"range": "distance", "energy": "left"}
REPLICATES = 16  # at least: their scatter is the sampling error
BLOCK = 64  # draws computed together: more of them take more memory and no less time
POINTS = 121  # of the curve over distance
BEYOND = 1.25  # of the route's length: how far the curve goes at least
FURTHEST = 3.0  # of the route's length: how far it goes at most


@dataclass(frozen=True)
class Causes(Result):
    """Energy per distance by what it goes to and who gives it: mean over all rides, its sampling error, and how far rides differ."""

    cause: tuple[str, ...] = shown("cause")
    mean: u.JoulePerMetre = shown("mean", "Wh/km", 2)
    error: u.JoulePerMetre = shown("sampling error of the mean", "Wh/km", 3)
    deviation: u.JoulePerMetre = shown("standard deviation from ride to ride", "Wh/km", 2)


@dataclass(frozen=True)
class Outlook(Result):
    """Many rides along a route, each with its own draw of every uncertain number of build and case."""

    route: str = shown("route")
    gear: str = shown("gear")
    rides: u.Number = shown("rides drawn", digits=0)
    uncertain: u.Number = shown("uncertain numbers", digits=0)
    length: u.Metre = shown("length of the route", "km", 2)
    chance: u.Ratio = shown("probability of the whole route above the charge held back", "%", 1)
    chance_error: u.Ratio = shown("its sampling error", "%", 1)
    chance_low: u.Ratio = shown("lower end of its 95 % interval", "%", 1)
    chance_high: u.Ratio = shown("upper end of its 95 % interval", "%", 1)
    likely: u.Metre = shown("distance reached in nine of ten rides", "km")
    likely_error: u.Metre = shown("sampling error of that distance", "km", 2)
    middle: u.Metre = shown("distance reached in half of the rides", "km")
    middle_error: u.Metre = shown("sampling error of that middle distance", "km", 2)
    left: u.Joule = shown("energy left at the end above what is held back, mean", "Wh")
    left_error: u.Joule = shown("sampling error of that energy", "Wh", 2)
    left_deviation: u.Joule = shown("standard deviation of that energy from ride to ride", "Wh")
    consumption: u.JoulePerMetre = shown("from the cells, mean", "Wh/km", 2)
    consumption_error: u.JoulePerMetre = shown("sampling error of that consumption", "Wh/km", 3)
    consumption_deviation: u.JoulePerMetre = shown("standard deviation of that consumption from ride to ride", "Wh/km", 2)
    leg_share: u.Ratio = shown("leg share, mean", "%", 1)
    leg_share_error: u.Ratio = shown("sampling error of that share", "%", 2)
    leg_share_deviation: u.Ratio = shown("standard deviation of that share from ride to ride", "%", 1)
    time: u.Second = shown("time on the way, mean", "min")
    time_error: u.Second = shown("sampling error of that time", "min", 2)
    walking: u.Ratio = shown("probability that part of it is walked", "%", 1)
    walking_error: u.Ratio = shown("sampling error of walking", "%", 1)
    winding: u.Kelvin = shown("hottest winding, not passed in nine of ten rides", "°C")
    winding_error: u.KelvinRise = shown("sampling error of that temperature", "K", 2)
    reserve: u.NewtonMetre = shown("narrowest reserve of the motor, kept in nine of ten rides", "N*m")
    reserve_error: u.NewtonMetre = shown("sampling error of that reserve", "N*m", 2)
    cut_out: u.NewtonMetre = shown("largest cut-out step at the cranks, not passed in nine of ten rides", "N*m")
    cut_out_error: u.NewtonMetre = shown("sampling error of that step", "N*m", 2)
    distance: u.Metre = shown("distance", "km", 2)
    probability: u.Ratio = shown("probability of getting there", "%")
    probability_low: u.Ratio = shown("lower end of its 95 % interval", "%")
    probability_high: u.Ratio = shown("upper end of its 95 % interval", "%")
    causes: Causes | None = None
    each: Mapping[str, np.ndarray] | None = None  # numbers of every ride in SI, by replicate and draw; `distance` and `left` among them

    def chance_of(self, distance: u.Metre) -> Estimate:
        """Probability of getting so far above the charge held back, with its sampling error and 95 % interval."""
        return sampling.probability(self.each["distance"] >= distance)


def study(
    build: Build,
    case: Case,
    route: Route,
    gear: Gear | None = None,
    count: int = RIDES,
    seed: int = SEED,
    executor: Executor | None = None,
    progress: Progress | None = None,
    stop: Callable[[], bool] | None = None,
    compiled: bool = True,
) -> Outlook:
    """Ride a route many times, each time with another draw of all that is uncertain, and tell how sure the answers are.

    Draws are quasi-random, in at least 16 independent replicates whose scatter is the
    sampling error.  It is the error of having drawn so few rides; it says
    nothing of spreads that are wrong, of uncertainties that nobody has stated, or of what the march leaves out.
    Beyond the end of the route, distance is what is left over the mean consumption of that ride.

    Args:
        build: its spreads are drawn, independently of each other.
        case: charge, wind, air, trim, pace and age of the packs; its spreads are drawn too.
        route: the way; ``there_and_back(route)`` asks for the way home on the same charge.
        gear: the gear; the engaged one if left out.
        count: rides at least; as many more as complete the replicates.
        seed: the same seed gives the same numbers, whoever computes them.
        executor: any executor of the standard library's kind, or that of a cluster; None computes here.
        progress: called with the share that is done, after each part.
        stop: asked between parts; once it says yes, the answer is of the replicates that are complete.
        compiled: whether the compiled kernel is used where it is installed.
    """
    gear = gear or build.gears.named(build.gears.engaged)
    work = _Work(build, case, route, gear.name, seed, _uncertain(build, case), compiled=compiled)
    (each,) = _drawn(work, count, executor, progress, stop)
    return _told(work, each)


@dataclass(frozen=True)
class Ranking(Result):
    """What to measure next: how much of the spread of the range, or of the energy left at the end, each uncertain number explains.

    Sorted by how much the spread of the range would shrink in the mean if the number were known.
    """

    route: str = shown("route")
    gear: str = shown("gear")
    of: str = shown("ranked by")
    rides: u.Number = shown("rides computed", digits=0)
    next: str = shown("measure this next")
    also: str = shown("not told apart from it by these draws")
    left: u.Joule = shown("energy left at the end above what is held back, mean", "Wh")
    left_deviation: u.Joule = shown("its standard deviation from ride to ride", "Wh")
    range_deviation: u.Metre = shown("standard deviation of the range from ride to ride", "km", 2)
    range_deviation_error: u.Metre = shown("sampling error of that deviation", "km", 2)
    number: tuple[str, ...] = shown("uncertain number")
    path: tuple[str, ...] = shown("field")
    shrink: u.Metre = shown("spread of the range shrinks by, if it were known", "km", 2)
    shrink_error: u.Metre = shown("sampling error of that", "km", 2)
    first: u.Ratio = shown("share of the variance, alone", "%", 1)
    first_error: u.Ratio = shown("sampling error of the share alone", "%", 1)
    total: u.Ratio = shown("share of the variance, with others", "%", 1)
    total_error: u.Ratio = shown("sampling error of the share with others", "%", 1)


def ranking(
    build: Build,
    case: Case,
    route: Route,
    gear: Gear | None = None,
    of: str = "range",
    count: int = RANKED,
    seed: int = SEED,
    executor: Executor | None = None,
    progress: Progress | None = None,
    stop: Callable[[], bool] | None = None,
    compiled: bool = True,
) -> Ranking:
    """Which uncertain number to measure next, by shares of the variance of the range, or of the energy left at the end.

    The share alone is what would go away if the number were known; the share
    with others is what would stay if all others were known.  A number whose
    share with others is nil within its error need not be measured for this route.

    Args:
        build: its spreads are drawn, independently of each other.
        case: its spreads are drawn too.
        route: the way.
        gear: the gear; the engaged one if left out.
        of: "range", the distance to the charge held back, which goes on beyond the route; or "energy", what is left at the
            end of this route, told as distance at the mean consumption.
        count: base draws at least; the rides are as many times the uncertain numbers and two more.
        seed: the same seed gives the same numbers, whoever computes them.
        executor: as in ``study``; so are ``progress``, ``stop`` and ``compiled``.
        progress: called with the share that is done, after each part.
        stop: asked between parts.
        compiled: whether the compiled kernel is used where it is installed.
    """
    one_of("of", of, tuple(RANKED_BY))
    gear = gear or build.gears.named(build.gears.engaged)
    paths = _uncertain(build, case)
    if not paths:
        raise ValueError(f"neither {build.name!r} nor {case.name!r} states the spread of a number: there is nothing to rank")
    work = _Work(build, case, route, gear.name, seed, paths, mixed=True, compiled=compiled)
    sets = _drawn(work, count, executor, progress, stop)
    values = np.stack([one[RANKED_BY[of]] for one in sets])
    if not np.isfinite(values).all():
        raise ValueError("some of the rides take nothing from the packs, so that their range has no limit: rank by energy")
    left, consumption = np.stack([one["left"] for one in sets[:2]]), np.mean([one["cells"] for one in sets[:2]]) / route.length
    if of == "energy":
        if consumption <= 0:
            raise ValueError("in the mean these rides take nothing from the packs: no distance stands for the energy")
        values = values / consumption
    drawn, mixed = values[:2], values[2:]
    first, total = _shares(work, drawn, mixed)
    deviations = drawn.std(axis=(0, 2), ddof=1)
    deviation, scatter = drawn.std(), deviations.std(ddof=1) / np.sqrt(len(deviations))
    kept = np.clip(first.value, 0.0, 1.0)
    shrink = deviation - sampling.deviation_left(deviation, kept)
    steepness = deviation / (2 * np.sqrt(np.maximum(1 - kept, 0.01)))
    rows = np.argsort(-shrink, kind="stable")
    words = [_words(path) for path in paths]
    top = rows[0]
    also = [words[row] for row in rows[1:] if first.high[row] > first.low[top] and first.value[row] > 0]
    return Ranking(
        route=route.name,
        gear=gear.name,
        of=of,
        rides=values.size,
        next=words[top] if first.low[top] > 0 else "none stands out",
        also=", ".join(also) or "none",
        left=float(left.mean()),
        left_deviation=float(left.std()),
        range_deviation=float(deviation),
        range_deviation_error=float(scatter),
        number=tuple(words[row] for row in rows),
        path=tuple(paths[row][1] for row in rows),
        shrink=shrink[rows],
        shrink_error=(steepness * first.error)[rows],
        first=first.value[rows],
        first_error=first.error[rows],
        total=total.value[rows],
        total_error=total.error[rows],
    )


def _shares(work: _Work, drawn: np.ndarray, mixed: np.ndarray) -> tuple[Estimate, Estimate]:
    """Both shares of the variance of each number; exactly nil where no ride was changed by it."""
    points = work.points(_Piece(0, drawn.shape[1], 0, drawn.shape[2]))
    moves = np.any(mixed != drawn[0], axis=(1, 2))
    base, other = points[..., : len(moves)][..., moves], points[..., len(moves) :][..., moves]
    found = []
    for index in (sampling.first_order, sampling.total_effect):
        parts = np.zeros((4, len(moves)))
        if moves.any():
            parts[:, moves] = index(*drawn, mixed[moves], sampling.additive_guess(base, other, *drawn))
        found.append(Estimate(*parts))
    return found[0], found[1]


# -- one part of the work -------------------------------------------------------


class _Piece(NamedTuple):
    """Some draws of one replicate, or all draws of some replicates."""

    replicate: int
    replicates: int
    begin: int
    draws: int


Path = tuple[type, str]  # of what record, and where in it


@dataclass(frozen=True)
class _Work:
    """All that a part needs to know; called with a piece, it computes the piece's rides."""

    build: Build
    case: Case
    route: Route
    gear: str
    seed: int
    paths: tuple[Path, ...]
    mixed: bool = False
    compiled: bool = True

    @property
    def sets(self) -> int:
        """Rides for each draw: one, or where mixed one each for base, other and every number exchanged."""
        return len(self.paths) + 2 if self.mixed else 1

    def __call__(self, piece: _Piece) -> dict[str, np.ndarray]:
        """Numbers of each ride, by set and draw."""
        numbers, points = len(self.paths), np.concatenate(self.points(piece))
        base, other = points[:, :numbers], points[:, numbers:]
        every = [base]
        if self.mixed:
            every = [base, other, *(np.where(np.arange(numbers) == place, other, base) for place in range(numbers))]
        return {name: values.reshape(self.sets, -1) for name, values in self._ride(np.concatenate(every)).items()}

    def points(self, piece: _Piece) -> np.ndarray:
        """Probabilities by replicate, draw and number; where mixed, those of the base draws and then those of the others."""
        columns = max(len(self.paths), 1) * (1 + self.mixed)
        places = range(piece.replicate, piece.replicate + piece.replicates)
        return np.stack([sampling.points(columns, piece.draws, self.seed, place, piece.begin) for place in places])

    def _ride(self, points: np.ndarray) -> dict[str, np.ndarray]:
        build, case = (
            draw_at(whole, {path: column for (kind, path), column in zip(self.paths, points.T, strict=True) if kind is type(whole)})
            for whole in (self.build, self.case)
        )
        count = len(points)
        rides = prepare(build, case, self.route, build.gears.named(self.gear), count)
        made = run_many(rides, compiled=self.compiled)
        return _numbers(build, case, self.route, made)


def _numbers(build: Build, case: Case, route: Route, made) -> dict[str, np.ndarray]:
    totals, end, extremes = made.totals, made.end, made.extremes
    packs, held_back = aged(build, case).packs, build.packs.held_back
    charge = np.clip(end[:, j.CHARGE_LEFT], 0.0, 1.0)
    left = stored_energy(packs, np.maximum(charge, held_back), held_back)
    lack = stored_energy(packs, held_back, np.minimum(charge, held_back))
    found = {
        "distance": journey.ranges(totals, end, route.length, held_back, left),
        "left": left - lack,
        "cells": totals[:, j.CELLS],
        "legs": totals[:, j.LEGS_GIVE] - totals[:, j.LEGS_TAKE] + totals[:, j.ON_FOOT],
        "leg_share": journey.leg_share(totals),
        "time": end[:, j.TIME],
        "walked": totals[:, j.WALKED],
        "winding": extremes[:, j.HOTTEST_WINDING],
        "reserve": extremes[:, j.LEAST_RESERVE],
        "cut_out": extremes[:, j.MOST_CUT_OUT],
    }
    return found | {name: totals[:, place] for name, place in journey.CAUSES}


# -- many parts, and what they say --------------------------------------------------


def _uncertain(build: Build, case: Case) -> tuple[Path, ...]:
    """Every uncertain number, in an order that does not depend on that of the file."""
    refuse_draws("outlook", build, case)
    return tuple((type(whole), path) for whole in (build, case) for path in sorted(whole.spreads))


def _words(path: Path) -> str:
    return meaning(path[1], path[0]).split(";")[0]


def plan(count: int) -> tuple[int, int]:
    """Replicates, and draws in each, a power of two: together at least so many, and at least two each of 16.

    >>> plan(256), plan(10_000)
    ((16, 16), (20, 512))
    """
    if not 1 <= count < np.inf:
        raise ValueError(f"count must be at least 1, got {count}")
    each = max(2, 1 << max(int(count // REPLICATES).bit_length() - 1, 0))
    return max(REPLICATES, -(-count // each)), each


def _pieces(work: _Work, replicates: int, each: int) -> list[_Piece]:
    """The work in parts of about so many rides, whoever will compute them."""
    draws = 1 << max((BLOCK // work.sets).bit_length() - 1, 0)
    if draws <= each:
        return [_Piece(replicate, 1, begin, draws) for replicate in range(replicates) for begin in range(0, each, draws)]
    some = draws // each
    return [_Piece(first, min(some, replicates - first), 0, each) for first in range(0, replicates, some)]


def _drawn(
    work: _Work, count: int, executor: Executor | None, progress: Progress | None, stop: Callable[[], bool] | None
) -> list[dict[str, np.ndarray]]:
    """Numbers of all rides by replicate and draw, one table for each set of draws."""
    if work.build.motor is None or work.build.packs is None or work.build.controller is None:
        raise ValueError(f"build {work.build.name!r} has no motor with packs: there is no range to be unsure of")
    if not isinstance(work.seed, int | np.integer) or work.seed < 0:
        raise ValueError(f"seed must be a whole number from 0, got {work.seed}")
    replicates, each = plan(count)
    found = in_parts(work, _pieces(work, replicates, each), executor, progress, stop)
    whole = sum(part["left"].shape[1] for part in found) // each
    if whole < 2:
        raise Stopped(f"stopped before two of {replicates} replicates were complete: there is no answer yet")
    tables = {name: np.concatenate([part[name] for part in found], axis=1)[:, : whole * each] for name in found[0]}
    return [{name: values[place].reshape(whole, each) for name, values in tables.items()} for place in range(work.sets)]


def _told(work: _Work, each: Mapping[str, np.ndarray]) -> Outlook:
    length = work.route.length
    distance, per_metre = each["distance"], each["cells"] / length
    finite = distance[np.isfinite(distance)]
    furthest = np.clip(1.05 * finite.max(initial=0.0), BEYOND * length, FURTHEST * length)
    axis = np.linspace(0.0, furthest, POINTS)
    curve = sampling.probability(distance >= axis[:, None, None])
    chance = sampling.probability(distance >= length)
    likely, middle = sampling.quantile(distance, 0.1), sampling.quantile(distance, 0.5)
    left, consumption, share = (sampling.mean(values) for values in (each["left"], per_metre, each["leg_share"]))
    time, walking = sampling.mean(each["time"]), sampling.probability(each["walked"] > 0)
    winding, reserve, cut_out = (
        sampling.quantile(each[name], level) for name, level in (("winding", 0.9), ("reserve", 0.1), ("cut_out", 0.9))
    )
    return Outlook(
        route=work.route.name,
        gear=work.gear,
        rides=distance.size,
        uncertain=len(work.paths),
        length=length,
        chance=float(chance.value),
        chance_error=float(chance.error),
        chance_low=float(chance.low),
        chance_high=float(chance.high),
        likely=float(likely.value),
        likely_error=float(likely.error),
        middle=float(middle.value),
        middle_error=float(middle.error),
        left=float(left.value),
        left_error=float(left.error),
        left_deviation=float(each["left"].std()),
        consumption=float(consumption.value),
        consumption_error=float(consumption.error),
        consumption_deviation=float(per_metre.std()),
        leg_share=float(share.value),
        leg_share_error=float(share.error),
        leg_share_deviation=float(each["leg_share"].std()),
        time=float(time.value),
        time_error=float(time.error),
        walking=float(walking.value),
        walking_error=float(walking.error),
        winding=float(winding.value),
        winding_error=float(winding.error),
        reserve=float(reserve.value),
        reserve_error=float(reserve.error),
        cut_out=float(cut_out.value),
        cut_out_error=float(cut_out.error),
        distance=axis,
        probability=curve.value,
        probability_low=curve.low,
        probability_high=curve.high,
        causes=_causes(each, length),
        each=each,
    )


def _causes(each: Mapping[str, np.ndarray], length: float) -> Causes:
    names = ["cells", "legs", *(name for name, _ in journey.CAUSES)]
    words = ["from the cells", "from the legs", *names[2:]]
    values = np.stack([each[name] for name in names]) / length
    found = sampling.mean(values)
    return Causes(tuple(words), found.value, found.error, values.std(axis=(-2, -1)))
