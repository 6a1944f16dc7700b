"""Leverage: foot force over the crank turn, with assist, without, and on the ungeared wheel."""

from __future__ import annotations

import numpy as np

from .. import style
from ..picture import Picture
from . import side

STRONGEST = 900.0


def _frame(axes, scene) -> None:
    side.frame(axes["side"])
    axes["main"].set(
        xlim=(0, 360), ylim=(-300, STRONGEST), xlabel="crank angle / °", ylabel="foot force / N", title="What the feet feel in this case"
    )
    axes["main"].set_xticks(np.arange(0, 361, 45))
    axes["main"].axhline(0, color=style.QUIET, linewidth=1)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine)
    result, main = scene.main, axes["main"]
    angle = np.degrees(result.crank_angle)
    curves = (
        (result.foot_force_over_turn, "with assist", 2, style.GREEN),
        (result.foot_force_ungeared_over_turn, "ungeared wheel", 5, style.INK),
        (result.foot_force_alone_over_turn, "motor stopped", 1, style.VERMILION),
    )
    style.hatch_between(main, angle, result.foot_force_over_turn, result.foot_force_alone_over_turn, style.VERMILION, style.HATCHES[1])
    for force, _, index, _ in curves:
        main.plot(angle, force, **style.line(index))
    style.label_ends(main, [(angle, force, text, color) for force, text, _, color in curves])
    step, left = result.cut_out_step, result.leg_torque_left
    style.note(main, 180, 0.94 * STRONGEST, f"if the motor stops: {step:+.0f} N·m at the crank at once, legs have {left:.0f} N·m left", ha="center")


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "main"]],
    ratios=[1.0, 2.0],
    margins={"right": 1.2},
    text="Foot force over the crank angle with assist, with the motor stopped, and on the ungeared wheel",
)
