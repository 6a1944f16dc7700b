"""Answers of the lesson on balance and assist gain."""

from __future__ import annotations

from ...inputs import replace
from ...studies import balance, chance
from ..exercises import Exercise, Slip, declare
from . import build, case

WEAVES, RULE = 0.72, 0.5
CORNER, DELAY, CRANKS, GAIN = 9.0, 0.1, "150 mm", 0.5


def _found(changes) -> balance.Balance:
    return balance.study(replace(build(), changes), case("harbour_hill"))


def by_the_rule() -> float:
    """Half of the gain at which the machine begins to weave."""
    return RULE * WEAVES


def onset_gain() -> float:
    """Onset gain with a slower filter."""
    return _found({"sensor.filter_corner": CORNER}).onset_gain


def share() -> float:
    """Vector margin of a quicker rider, over that rider's on the ungeared wheel."""
    return _found({"rider.reaction_delay": DELAY}).vector_share


def inside() -> float:
    """Chance that both gains are inside with longer cranks."""
    return chance.study(replace(build(), {"cranks.length": CRANKS}), case("harbour_hill")).chance


def dead_time() -> float:
    """Dead time from which a gain of both directions is no longer stable."""
    gear = build().gears.engaged
    return _found({f"assist.{way}_gain.{gear}": GAIN for way in ("driving", "resisting")}).dead_time_budget


_AS_BUILT = _found({})

declare(
    Exercise("balance.1", "ratio", by_the_rule, hints=(Slip(2.0, "that is where it weaves: how much of it do riders keep?"),)),
    Exercise(
        "balance.2",
        "ratio",
        onset_gain,
        hints=(Slip(_AS_BUILT.onset_gain / onset_gain(), "that is the onset gain with the filter as built"),),
    ),
    Exercise(
        "balance.3",
        "ratio",
        share,
        hints=(
            "percent for fraction",
            Slip(_AS_BUILT.vector_share / share(), "that is the share with the delay in the middle of its range"),
            Slip(
                _found({"rider.reaction_delay": DELAY}).vector_margin / share(), "that is the vector margin itself: over what is it asked?"
            ),
        ),
    ),
    Exercise(
        "balance.4",
        "ratio",
        inside,
        hints=(
            "percent for fraction",
            Slip(chance.study(build(), case("harbour_hill")).chance / inside(), "that is with the cranks as built"),
        ),
    ),
    Exercise(
        "balance.5",
        "time",
        dead_time,
        hints=(
            Slip(_AS_BUILT.dead_time_budget / dead_time(), "that is for the gains as set"),
            Slip(build().sensor.dead_time / dead_time(), "that is what the build has, not what it may have"),
        ),
    ),
)
