"""Leverage: foot force over the crank turn, with assist, without, and on the ungeared wheel."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side


class Span(NamedTuple):
    """Greatest foot force forward and backward, newtons."""

    push: float
    resist: float


def span(scene, least: Span | None = None) -> Span:
    """Room for the three curves, with a place above them for the sentence."""
    forces = np.concatenate([force for force, *_ in _curves(scene.main)])
    most, low = max(float(forces.max()), 0.0), max(-float(forces.min()), 0.0)
    needed = Span(pen.nice(max(1.45 * most, 0.9 * low, 20.0)), pen.nice(1.15 * low) if low > 0 else 0.0)
    return needed if least is None else Span(*map(max, needed, least))


def _curves(result):
    return (
        (result.foot_force_alone_over_turn, "stopped", 1, style.VERMILION),
        (result.foot_force_ungeared_over_turn, "ungeared", 5, style.INK),
        (result.foot_force_over_turn, "assisted", 2, style.GREEN),
    )


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    main, held = axes["main"], scene.span
    main.set(xlim=(0, 360), ylim=(-held.resist, held.push), xlabel="crank angle / °", ylabel="foot force / N", title="What the feet feel")
    main.set_xticks(np.arange(0, 361, 90 if pen.is_narrow(main) else 45))
    main.axhline(0, color=style.QUIET, linewidth=1)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    result, main = scene.main, axes["main"]
    angle = np.degrees(result.crank_angle)
    alone, *_, (assisted, *_) = curves = _curves(result)
    pen.area(main, angle, assisted, alone[0], style.VERMILION, style.HATCHES[1])
    for force, _, index, _ in curves:
        pen.line(main, angle, force, **style.line(index))
    style.label_ends(main, [(angle, force, text, color) for force, text, _, color in curves])
    step, left = result.cut_out_step, result.leg_torque_left
    more = f"{abs(step):.0f} N·m {'more' if step >= 0 else 'less'}"
    text = f"If the motor stops: {more} at the crank,\nat once; the legs have {max(left, 0.0):.0f} N·m left."
    if pen.is_narrow(main):
        text = f"If the motor stops:\n{more} at once;\nlegs have {max(left, 0.0):.0f} N·m left."
    pen.words(main, 0.02, 0.98, text, style.INK, 1.0, va="top", transform=main.transAxes, paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "main"]],
    ratios=[1.0, 2.0],
    bare=("side",),
    margins={"left": 0.1, "right": 0.95, "columns": 0.95},
    narrow_margins={"left": 0.72, "right": 0.85},
    span=lambda scene: scene.key,
    text="Foot force over the crank angle with assist, with the motor stopped, and on the ungeared wheel",
)
