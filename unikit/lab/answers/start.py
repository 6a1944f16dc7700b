"""Answers of the first lesson."""

from __future__ import annotations

from ...formulas import leverage
from ...inputs import replace
from ...studies import machine, review
from ..exercises import Exercise, Slip, declare, forgot
from . import build, case

SHORTER = "5 in"
WANTED_SHARE = 0.9
CAP = "12 N*m"


def crank() -> float:
    """Length of cranks that a file gives in inches."""
    return replace(build(), {"cranks.length": SHORTER}).cranks.length


def push() -> float:
    """Road force of 100 N on the pedal of those cranks, through the gear alone."""
    return machine.study(replace(build(), {"cranks.length": SHORTER}), case("harbour_hill")).push_gear


def trim_margin() -> float:
    """Margin of the finding on trim torque on the hill with a higher cap."""
    found = review.review(replace(build(), {"assist.trim_cap": CAP}), [case("harbour_hill")])
    return next(one.margin for one in found.findings if one.key == "trim")


def gain() -> float:
    """Assist gain at which a foot has a wanted share of the road force it has on the ungeared wheel."""
    gear, cranks = build().gears.named(), build().cranks
    return WANTED_SHARE * cranks.reference_length / cranks.length - leverage.gear_leverage(gear.ratio, gear.efficiency)


_GEAR = build().gears.named()
_OWN = leverage.gear_leverage(_GEAR.ratio, _GEAR.efficiency)

declare(
    Exercise("start.1", "length", crank, hints=(Slip(1 / 2.54, "an inch is 25.4 mm: did you take centimetres for inches?"),)),
    Exercise(
        "start.2",
        "force",
        push,
        hints=(
            forgot("the gear's efficiency", _GEAR.efficiency),
            Slip(_GEAR.ratio**2, "the gear ratio stands the wrong way round: a step-up gear takes torque away"),
            "radius for diameter",
        ),
    ),
    Exercise(
        "start.3",
        "ratio",
        trim_margin,
        hints=(
            Slip(trim_margin() ** -2, "upside down: a margin is what is available divided by what is required"),
            Slip(build().wheel.radius, "the slope's force acts at the wheel radius: multiply by it before you compare with a torque"),
            "mass for weight",
        ),
    ),
    Exercise(
        "start.4",
        "ratio",
        gain,
        hints=(
            Slip((WANTED_SHARE - _OWN) / gain(), "the cranks are shorter than the reference: their lengths belong in the comparison"),
            Slip(
                (WANTED_SHARE * build().cranks.reference_length / build().cranks.length - 1 / _GEAR.ratio) / gain(),
                "you seem to have left out the gear's efficiency",
            ),
            "percent for fraction",
        ),
    ),
)
