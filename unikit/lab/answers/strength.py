"""Answers of the lesson on what the hub bears."""

from __future__ import annotations

import numpy as np

from ...inputs import Build, replace
from ...studies import strength
from ..exercises import Exercise, Slip, declare
from . import build, case

MENDED = {"hub.seat_length": 0.024}
NARROW, SHOCK, FACTOR, KEY_FACTOR = 0.010, 2.0, 1.5, 1.3
SPLINE = {
    **dict.fromkeys(("hub.key_width", "hub.key_height", "hub.key_shear_limit", "hub.seat_diameter")),
    **{"hub.sun_seat": "spline", "hub.spline_teeth": 8, "hub.spline_outer": 0.028, "hub.spline_inner": 0.0255},
}


def found(changes: dict | None = None) -> strength.Strength:
    """The study of the commuter on its hill."""
    return strength.study(replace(build(), changes or {}), case("harbour_hill"))


def needed(factor: float, made: Build | None = None) -> strength.Needed:
    """What the parts would have to be for a factor."""
    return strength.needed(made or build(), case("harbour_hill"), factor=factor)


def of(part: str, result: strength.Strength) -> float:
    """The factor of one part."""
    return float(result.factor[list(result.part).index(part)])


def sun_torque() -> float:
    """Reaction torque of the sun in a stumble with twice the hardest push."""
    return found({"hub.shock_factor": SHOCK}).sun_torque


def lossless() -> float:
    """The same of a gear without losses."""
    return found({"hub.shock_factor": SHOCK, "gears.gear.long.efficiency": 1.0}).sun_torque


def face_width(factor: float = FACTOR) -> float:
    """Width of the teeth at which the weakest has a factor."""
    return needed(factor).face_width


def pressure() -> float:
    """Pressure between the flanks of sun and planet with narrower teeth."""
    return build().hub.tooth_contact_limit / np.sqrt(of("flanks of sun and planet", found({"gears.gear.long.face_width": NARROW})))


def weakest() -> str:
    """The weakest part once the key is long enough."""
    return found(MENDED).weakest


def bearing_spacing() -> float:
    """Distance of the crank bearings at which they have the factor 2 at rest, from the statics of the overhang."""
    hub, loads = build().hub, found()
    foot = loads.crank_shock / build().cranks.length
    return foot * hub.pedal_overhang / (hub.crank_bearing_static / 2 - foot)


def spline_length(factor: float = KEY_FACTOR) -> float:
    """Length of the spline of the exercise at which the seat has a factor."""
    return needed(factor, replace(build(), SPLINE)).seat_length


declare(
    Exercise(
        "strength.1",
        "torque",
        sun_torque,
        hints=(
            Slip(
                found({"hub.shock_factor": SHOCK}).crank_shock / sun_torque(),
                "that is the torque of the cranks: the sun holds a part of it",
            ),
            Slip(found({"hub.shock_factor": SHOCK}).crank_shock / sun_torque() - 1, "that is what the ring passes on to the wheel"),
            Slip(lossless() / sun_torque(), "that is without losses: what is lost does not reach the wheel, and the sun holds it too"),
            Slip(found().sun_torque / sun_torque(), "that is with the shock factor of the file"),
        ),
    ),
    Exercise(
        "strength.2",
        "length",
        face_width,
        hints=(
            Slip(face_width(1.0) / face_width(), "at that width the weakest tooth just reaches its limit: a factor of 1.5 is asked for"),
            Slip(
                build().gears.named("long").face_width * FACTOR / face_width(),
                "the teeth of the file have more than 1 already: what is wanted over what is there",
            ),
        ),
    ),
    Exercise(
        "strength.3",
        "pressure",
        pressure,
        hints=(
            Slip(
                np.sqrt(build().gears.named("long").face_width / NARROW),
                "pressure between flanks grows with the root of the load on a millimetre, not with the load",
            ),
            Slip(np.sqrt(NARROW / build().gears.named("long").face_width), "that is with the teeth of the file"),
        ),
    ),
    Exercise("strength.4", "word", weakest),
    Exercise(
        "strength.5",
        "length",
        bearing_spacing,
        hints=(
            Slip(build().hub.crank_bearing_spacing / bearing_spacing(), "that is the distance of the file"),
            Slip(build().hub.pedal_overhang / bearing_spacing(), "that is the overhang of the pedal"),
        ),
    ),
    Exercise(
        "strength.6",
        "length",
        spline_length,
        hints=(
            Slip(needed(KEY_FACTOR).seat_length / spline_length(), "that is the key: the spline has eight sides that carry"),
            Slip(spline_length(1.0) / spline_length(), "at that length the spline just reaches its limit: a factor of 1.3 is asked for"),
        ),
    ),
)
