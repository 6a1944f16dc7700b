"""The gain window of every gear with the gains as set, and how the window moves when one thing changes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import leverage, reflex
from ..inputs import Build, Case, describe, replace
from ..inputs.fields import pretty
from . import loop as loops
from .balance import gain_axis, inside, vectors, windows
from .results import Result, shown


@dataclass(frozen=True)
class Windows(Result):
    """One row for each gear that can be engaged; toppling and onset gain hold in both directions of the pedals."""

    gear: np.ndarray = shown("gear")
    driving_gain: u.Ratio = shown("assist gain driving", digits=3)
    resisting_gain: u.Ratio = shown("assist gain resisting", digits=3)
    toppling_gain: u.Ratio = shown("toppling gain", digits=3)
    onset_gain: u.Ratio = shown("onset gain", digits=3)
    restoring_gain: u.Ratio = shown("restoring gain", digits=3)
    as_set: np.ndarray = shown("gains as set")
    with_engaged: np.ndarray = shown("with the gains of the engaged gear")


def every_gear(build: Build, case: Case) -> Windows:
    """The window of every gear with its own gains, and with those of the engaged gear.

    A controller that does not know the gear keeps the gain of the long gear
    when the short one is engaged.
    """
    build = loops.completed(build)
    gears = build.gears.gear
    every = [loops.loop(build, case, gear) for gear in gears]
    found = [windows(loop) for loop in every]
    common = [reflex.common_window(*pair) for pair in found]
    engaged = every[build.gears.names.index(build.gears.engaged)]
    return Windows(
        gear=np.array(build.gears.names, object),
        driving_gain=np.array([loop.driving_gain for loop in every], float),
        resisting_gain=np.array([loop.resisting_gain for loop in every], float),
        toppling_gain=np.array([one.toppling_gain for one in common], float),
        onset_gain=np.array([one.onset_gain for one in common], float),
        restoring_gain=np.array(
            [leverage.restoring_gain(gear.ratio, gear.efficiency, build.cranks.length, build.cranks.reference_length) for gear in gears]
        ),
        as_set=np.array([_place(pair, loop.driving_gain, loop.resisting_gain) for pair, loop in zip(found, every, strict=True)], object),
        with_engaged=np.array([_place(pair, engaged.driving_gain, engaged.resisting_gain) for pair in found], object),
    )


def _place(pair, driving: float, resisting: float) -> str:
    """Where two gains lie in their windows, in words."""
    words = []
    for way, window, gain in zip(("driving", "resisting"), pair, (driving, resisting), strict=True):
        if window.reason:
            words.append(f"{way}: no window")
        elif not inside(window, gain):
            words.append(f"{way}: {'below toppling' if gain <= window.toppling_gain else 'above onset'}")
    return ", ".join(words) or "inside"


# What is changed, in words, and its two ends: over the build's own value, or as they are for what hardly anybody measures.
_SCALED = {
    "gear ratio": ("gears.gear.{gear}.ratio", 0.85, 1.15),
    "cranks": ("cranks.length", 0.87, 1.13),
    "rider's mass": ("rider.mass", 0.8, 1.2),
    "rider's height of mass": ("rider.centre_of_mass_height", 0.9, 1.1),
    "rider's pitch inertia": ("rider.pitch_inertia", 0.8, 1.2),
    "wheel's mass": ("wheel.mass", 0.7, 1.5),
    "sensor's dead time": ("sensor.dead_time", 0.3, 5.0),
    "sensor's filter corner": ("sensor.filter_corner", 0.3, 3.0),
}
_ENDS = {
    "rider's delay": ("rider.reaction_delay", 0.08, 0.18),
    "muscle lag": ("rider.muscle_lag", 0.02, 0.06),
    "leg damping": ("rider.leg_damping", 0.0, 6.0),
    "leg stiffness": ("rider.leg_stiffness", 0.0, 150.0),
    "replanning time": ("rider.replanning_time", 0.1, 0.3),
}
_SPEEDS = 0.4, 1.6


@dataclass(frozen=True)
class Moves(Result):
    """Two rows for each thing that was changed; the first row is the build as it is."""

    changed: np.ndarray = shown("changed")
    to: np.ndarray = shown("to")
    toppling_gain: u.Ratio = shown("toppling gain", digits=3)
    onset_gain: u.Ratio = shown("onset gain", digits=3)
    best_gain: u.Ratio = shown("gain with the largest vector margin", digits=3)
    vector_margin: u.Ratio = shown("vector margin there", digits=3)


def moves(build: Build, case: Case) -> Moves:
    """How the window of the engaged gear moves when one thing changes and the rider has learned that machine's ungeared twin."""
    build = loops.completed(build)
    name = build.gears.engaged
    rows = [("as it is", "", _row(build, case))]
    for label, (pattern, *ends) in (_SCALED | _ENDS).items():
        path = pattern.format(gear=name)
        part, _, field = path.rpartition(".")
        owner = build.gears.named(name) if label == "gear ratio" else getattr(build, part)
        if owner is None:
            continue
        spec = describe(path)
        for end in ends:
            value = end * getattr(owner, field) if label in _SCALED else end
            rows.append((label, pretty(value, spec.kind, spec.unit, 4), _row(replace(build, {path: value}), case)))
    for share in _SPEEDS:
        speed = share * case.speed
        rows.append(("speed", pretty(speed, "speed", "km/h", 3), _row(build, replace(case, {"speed": speed}))))
    changed, to, found = zip(*rows, strict=True)
    return Moves(np.array(changed, object), np.array(to, object), *np.array(found).T)


def _row(build: Build, case: Case) -> tuple[float, float, float, float]:
    """Edges of the window in both directions, and the gain between them that keeps the greatest distance."""
    loop = loops.loop(build, case, build.gears.named())
    common = reflex.common_window(*windows(loop))
    axis = gain_axis(common, 0.0, loop)
    margins = vectors(loop, axis).min(axis=0)
    best = int(np.argmax(margins))
    return common.toppling_gain, common.onset_gain, float(axis[best]) if margins[best] > 0 else np.nan, float(margins[best])
