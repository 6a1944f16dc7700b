"""Accounts of a ride: way, time, energy and charge by stretches, and how far three ways to count the distance agree.

They rest on stretches alone, so that a log of any length can be accounted for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from .results import Result, shown
from .stretches import Stretches

CLIMB_THRESHOLD = 3.0  # m; a rise or fall counts once it exceeds what a barometer wanders, common practice, no source
OF_A_WHEEL = 0.2  # share up to which a rolling radius may explain it; what differs by more is another quantity or unit
AGREE = 0.02  # share up to which two distances agree; a wheel's rolling radius is hardly known better: common practice, no source


@dataclass(frozen=True)
class Accounts(Result):
    """Totals in the summary, one row a stretch in the table; None for what the log does not hold.

    Work and charge are summed over the stretches in which they are known; their
    share of the distance stands beside them, and what is per distance is over the same stretches.
    """

    recorded: u.Second = shown("time recorded", "min", 2)
    moving: u.Second = shown("time moving", "min", 2)
    standing_time: u.Second = shown("time standing", "min", 2)
    unrecorded: u.Second = shown("time not recorded in between", "min", 2)
    longest_interval: u.Second = shown("longest interval between rows", "s", 2)
    way: u.Metre = shown("distance by speed", "km", 3)
    moving_speed: u.MetrePerSecond = shown("mean speed while moving", "km/h", 2)
    steady_share: u.Ratio = shown("distance in steady stretches", "%", 1)
    stated_way: u.Metre | None = shown("distance by its column", "km", 3)
    stated_excess: u.Ratio | None = shown("distance column longer than speed by", "%", 2)
    position_way: u.Metre | None = shown("distance by positions", "km", 3)
    position_excess: u.Ratio | None = shown("positions longer than speed by", "%", 2)
    climb: u.Metre | None = shown("climb", "m", 1)
    descent: u.Metre | None = shown("descent", "m", 1)
    pedal_total: u.Joule | None = shown("pedal work", "Wh", 2)
    braking_total: u.Joule | None = shown("of it braking by the legs", "Wh", 2)
    pedal_known: u.Ratio | None = shown("distance with known pedal work", "%", 1)
    pedal_per_way: u.JoulePerMetre | None = shown("pedal work by distance", "Wh/km", 2)
    electrical_total: u.Joule | None = shown("electrical work", "Wh", 2)
    fed_back_total: u.Joule | None = shown("fed back into the packs", "Wh", 2)
    electrical_known: u.Ratio | None = shown("distance with known electrical work", "%", 1)
    electrical_per_way: u.JoulePerMetre | None = shown("electrical work by distance", "Wh/km", 2)
    charge_total: u.Coulomb | None = shown("charge drawn", "Ah", 3)
    start: u.Second = shown("start", "s", 1)
    duration: u.Second = shown("duration", "s", 1)
    distance: u.Metre = shown("distance", "m", 1)
    mean_speed: u.MetrePerSecond = shown("mean speed", "km/h", 2)
    pedal_work: u.Joule | None = shown("pedal work", "Wh", 3)
    electrical_work: u.Joule | None = shown("electrical work", "Wh", 3)
    electrical_work_per_way: u.JoulePerMetre | None = shown("electrical work by distance", "Wh/km", 2)  # nan while standing
    charge: u.Coulomb | None = shown("charge drawn", "Ah", 4)
    altitude_change: u.Metre | None = shown("altitude change", "m", 2)
    standing: np.ndarray = shown("standing")
    steady: np.ndarray = shown("steady")
    climb_threshold: float = CLIMB_THRESHOLD
    notes: tuple[str, ...] = ()

    def page(self) -> str:
        """Totals and notes as lines of text."""
        lines = [f"{label}: {text}" for label, text in self.summary().items()]
        return "\n".join(lines + [f"- {note}" for note in self.notes])


def study(stretches: Stretches, notes: tuple[str, ...] = (), climb_threshold: u.Metre = CLIMB_THRESHOLD) -> Accounts:
    """Account for a ride that was cut into stretches; ``notes`` are those of its log, to be kept with the numbers."""
    if not len(stretches):
        why = f": {'; '.join(notes)}" if notes else ""
        raise ValueError(f"log {stretches.name!r} has no two rows that follow each other unbroken, so nothing can be accounted for{why}")
    one, way = stretches, float(stretches.distance.sum())
    standing = float((one.standing_share * one.duration).sum())
    recorded = float(one.duration.sum())
    stated, stated_excess = _compared(one.stated_distance, one.distance)
    position, position_excess = _compared(one.position_distance, one.distance)
    pedal, pedal_known, pedal_per_way = _total(one.pedal_work, one.distance)
    electrical, electrical_known, electrical_per_way = _total(one.electrical_work, one.distance)
    climb, descent = (None, None) if one.altitude_change is None else _climbed(one.altitude_change, one.piece, climb_threshold)
    per_way = None
    if one.electrical_work is not None:
        per_way = np.divide(one.electrical_work, one.distance, out=np.full(len(one), np.nan), where=one.moving & (one.distance != 0))
    return Accounts(
        recorded=recorded,
        moving=recorded - standing,
        standing_time=standing,
        unrecorded=float(one.start[-1] + one.duration[-1] - one.start[0]) - recorded,
        longest_interval=float(one.largest_gap.max()),
        way=way,
        moving_speed=_share(way, recorded - standing),
        steady_share=_share(float(one.distance[one.steady].sum()), way),
        stated_way=stated,
        stated_excess=stated_excess,
        position_way=position,
        position_excess=position_excess,
        climb=climb,
        descent=descent,
        pedal_total=pedal,
        braking_total=_total(one.braking_work, one.distance)[0],
        pedal_known=pedal_known,
        pedal_per_way=pedal_per_way,
        electrical_total=electrical,
        fed_back_total=_total(one.fed_back_work, one.distance)[0],
        electrical_known=electrical_known,
        electrical_per_way=electrical_per_way,
        charge_total=_total(one.charge, one.distance)[0],
        start=one.start,
        duration=one.duration,
        distance=one.distance,
        mean_speed=one.mean_speed,
        pedal_work=one.pedal_work,
        electrical_work=one.electrical_work,
        electrical_work_per_way=per_way,
        charge=one.charge,
        altitude_change=one.altitude_change,
        standing=one.standing,
        steady=one.steady,
        climb_threshold=climb_threshold,
        notes=(*notes, *_disagreements(stated_excess, position_excess), *_signs(way, electrical), *_of_climb(climb, climb_threshold)),
    )


def _share(part: float, whole: float) -> float:
    return part / whole if whole else np.nan


def _compared(other: np.ndarray | None, distance: np.ndarray) -> tuple[float | None, float | None]:
    """Sum of another distance, and by which share it is longer, where both are known."""
    if other is None:
        return None, None
    known = np.isfinite(other)
    if not known.any():
        return np.nan, np.nan
    return float(other[known].sum()), _share(float(other[known].sum()), float(distance[known].sum())) - 1


def _total(work: np.ndarray | None, distance: np.ndarray) -> tuple[float | None, float | None, float | None]:
    """Sum where it is known, the share of the distance there, and the sum over that distance."""
    if work is None:
        return None, None, None
    known = np.isfinite(work)
    if not known.any():
        return np.nan, 0.0, np.nan
    way = float(distance[known].sum())
    return float(work[known].sum()), _share(way, float(distance.sum())), _share(float(work[known].sum()), way)


def _climbed(change: np.ndarray, piece: np.ndarray, threshold: float) -> tuple[float, float]:
    """Rises and falls between turning points that lie more than a threshold apart, taken at the ends of stretches."""
    climb = descent = 0.0
    for number in np.unique(piece):
        low = high = turn = height = 0.0
        rising = None  # not known before the first turn
        for rise in np.nan_to_num(change[piece == number]):
            height += rise
            low, high = min(low, height), max(high, height)
            if rising is not True and height - low > threshold:
                descent += 0.0 if rising is None else turn - low
                rising, turn, high = True, low, height
            elif rising is not False and high - height > threshold:
                climb += 0.0 if rising is None else high - turn
                rising, turn, low = False, high, height
        climb += high - turn if rising else 0.0
        descent += turn - low if rising is False else 0.0
    return climb, descent


def _disagreements(stated: float | None, position: float | None) -> list[str]:
    told = []
    for name, excess in (("its column", stated), ("positions", position)):
        if excess is not None and not abs(excess) <= AGREE:
            if np.isnan(excess):
                told.append(f"distance by {name} is known in no stretch")
            else:
                longer = "longer" if excess > 0 else "shorter"
                where = "the wheel's rolling radius" if abs(excess) <= OF_A_WHEEL else "the columns and units that the mapping declares"
                told.append(f"distance by {name} is {100 * abs(excess):.1f} % {longer} than by speed: look at {where}")
    return told


def _signs(way: float, electrical: float | None) -> list[str]:
    """What a column with the wrong sign would do."""
    told = []
    if way < 0:
        told.append("the whole way was rolled backward: look at the sign of the speed that the mapping declares")
    if electrical is not None and electrical < 0:
        told.append("the packs were charged over the whole ride: unless it was a descent, look at the sign of the current in the mapping")
    return told


def _of_climb(climb: float | None, threshold: float) -> list[str]:
    if climb is None:
        return []
    return [
        f"climb and descent: from turning point to turning point at the ends of stretches, where they differ by more than {threshold:g} m"
    ]
