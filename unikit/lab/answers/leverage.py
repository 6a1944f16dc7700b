"""Answers of the lesson on leverage loss."""

from __future__ import annotations

from ...formulas import leverage as formulas
from ...inputs import replace
from ...studies import cranks, leverage
from ...studies.findings import FINDINGS
from ..exercises import Exercise, Slip, declare
from . import build, case

RATIO, EFFICIENCY = 1.5, 0.96
LONGER = "150 mm"


def loss() -> float:
    """Leverage loss of a gear with cranks as before."""
    return formulas.leverage_loss(RATIO, EFFICIENCY)


def restoring_gain() -> float:
    """Restoring gain with longer cranks."""
    return leverage.study(replace(build(), {"cranks.length": LONGER}), case("harbour_hill")).restoring_gain


def peak_force() -> float:
    """Greatest foot force over the turn on the hill with those cranks and the assist as set."""
    return leverage.study(replace(build(), {"cranks.length": LONGER}), case("harbour_hill")).foot_force_over_turn.max()


def _cut_out_margin(length: float) -> float:
    felt = leverage.study(replace(build(), {"cranks.length": length}), case("harbour_hill"))
    return felt.leg_torque_left / felt.cut_out_step


def crank() -> float:
    """Shortest cranks with which the cut-out step on the hill holds."""
    from scipy.optimize import brentq

    return brentq(lambda length: _cut_out_margin(length) - FINDINGS["cut-out step"].holds, 0.10, 0.22)


def _mean_force() -> float:
    return leverage.study(replace(build(), {"cranks.length": LONGER}), case("harbour_hill")).foot_force


def _turn() -> cranks.Turn:
    return cranks.study(build(), case("harbour_hill"), points=361)


def near_dead_centre() -> float:
    """Foot force for a degree of lean, 30 degrees after the dead centre, gear alone."""
    return float(_turn().degree_alone_over_turn[30])


def equal_crank() -> float:
    """Cranks with which the gear alone does what the assist does on the cranks as built."""
    return _turn().equal_crank


_GEAR, _CRANKS = build().gears.named(), build().cranks
_OWN = formulas.gear_leverage(_GEAR.ratio, _GEAR.efficiency)

declare(
    Exercise(
        "leverage.1",
        "ratio",
        loss,
        hints=(
            "percent for fraction",
            Slip((1 - loss()) / loss(), "that is the leverage that is left; what is gone is asked for"),
            Slip((1 - 1 / RATIO) / loss(), "you seem to have left out the gear's efficiency"),
        ),
    ),
    Exercise(
        "leverage.2",
        "ratio",
        restoring_gain,
        hints=(
            Slip((1 - _OWN) / restoring_gain(), "that restores the leverage for equal cranks: how do the two lengths compare?"),
            Slip(
                (0.150 / _CRANKS.reference_length - _OWN) / restoring_gain(),
                "the crank lengths stand the wrong way round: longer cranks need less gain",
            ),
            Slip(
                (_CRANKS.reference_length / 0.150 - 1 / _GEAR.ratio) / restoring_gain(), "you seem to have left out the gear's efficiency"
            ),
        ),
    ),
    Exercise(
        "leverage.3",
        "force",
        peak_force,
        hints=(
            Slip(_mean_force() / peak_force(), "that is the mean over the turn; the peak is asked for"),
            "radius for diameter",
            "mass for weight",
        ),
    ),
    Exercise(
        "leverage.4",
        "length",
        crank,
        hints=(Slip(_CRANKS.length / crank(), "those are the cranks as built: with them the step is tight"), "radius for diameter"),
    ),
    Exercise(
        "leverage.5",
        "force",
        near_dead_centre,
        hints=(
            Slip(_turn().level_degree_alone / near_dead_centre(), "that is the force with the crank level: how long is the lever at 30°?"),
            Slip(float(_turn().degree_over_turn[30]) / near_dead_centre(), "that is the force with assist; the gear alone is asked for"),
            "mass for weight",
        ),
    ),
    Exercise(
        "leverage.6",
        "length",
        equal_crank,
        hints=(
            Slip(
                leverage.study(build(), case("harbour_hill")).restoring_crank / equal_crank(),
                "those would be as good as the ungeared wheel; as good as this assist is asked for",
            ),
            "radius for diameter",
        ),
    ),
)
