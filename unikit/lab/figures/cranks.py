"""Cranks: foot force for a degree of lean, over the crank turn and over crank length."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side

MM = 1000.0
HIGH = 4.5  # the axis, over the foot force at the best angle with the gear alone
TURN = (
    ("degree_alone_over_turn", "gear alone", 1, style.VERMILION),
    ("degree_over_turn", "assisted", 2, style.GREEN),
    ("degree_ungeared_over_turn", "ungeared", 5, style.INK),
)
LENGTH = (("degree_alone", 1), ("degree", 2), ("degree_ungeared", 5))


class Span(NamedTuple):
    """Greatest foot force on each axis, newtons, and the crank lengths shown, as far below nothing and above, millimetres."""

    turn: float
    length: float
    shortest: float  # negative, so that the larger of two holds both
    longest: float


def span(scene, least: Span | None = None) -> Span:
    """Some times the force at the best angle, and the shortest cranks."""
    force = 1.3 * max(scene.more.degree_alone.max(), scene.more.degree.max())
    ends = MM * scene.more.crank_length[[0, -1]]
    needed = Span(pen.nice(HIGH * scene.main.level_degree_alone), pen.nice(force), -float(ends[0]), float(ends[1]))
    return needed if least is None else Span(*map(max, needed, least))


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    turn, length, held = axes["turn"], axes["length"], scene.span
    turn.set(xlim=(0, 360), ylim=(0, held.turn), xlabel="crank angle / °", ylabel="foot force / N", title="To stop a degree of lean")
    turn.set_xticks([0, 90, 180, 270, 360])
    length.set(xlim=(-held.shortest, held.longest), ylim=(0, held.length), xlabel="cranks / mm", title="… at the best angle")
    if pen.is_narrow(turn):
        length.set_ylabel("foot force / N")


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    turn, length, result, lengths = axes["turn"], axes["length"], scene.main, scene.more
    angle, top = np.degrees(result.crank_angle), 3 * scene.span.turn
    forces = {name: np.minimum(getattr(result, name), top) for name, *_ in TURN}
    pen.area(turn, angle, forces["degree_over_turn"], forces["degree_alone_over_turn"], style.GREEN, style.HATCHES[0])
    for name, _, index, _ in TURN:
        pen.line(turn, angle, forces[name], **style.line(index))
    long = MM * lengths.crank_length
    for name, index in LENGTH:
        pen.line(length, long, getattr(lengths, name), **style.line(index))
    style.label_ends(
        length, [(long, getattr(lengths, name), text, color) for (name, _), (_, text, _, color) in zip(LENGTH, TURN, strict=True)]
    )
    now = MM * scene.machine.crank_length
    for force, color in ((result.level_degree_alone, style.VERMILION), (result.level_degree, style.GREEN)):
        pen.line(length, now, force, marker="o", color=color, linestyle="", markersize=7)
    pen.line(length, [now, now], [0, scene.span.length], color=style.QUIET, linewidth=1)
    equal = MM * result.equal_crank
    text = f"gear alone as good as\nassisted: {equal:.0f} mm"
    pen.words(length, 0.97, 0.98, text, style.INK, 0.85, ha="right", va="top", transform=length.transAxes, paper=style.PAPER)
    shares = (("assisted", result.share_weight), ("gear alone", result.share_weight_alone), ("ungeared", result.share_weight_ungeared))
    blocks = (
        (
            90,
            "share of\nthe turn by\nweight:" if pen.is_narrow(turn) else "weight on one\npedal holds slope\nand a degree in,\nof the turn:",
        ),
        (270, "\n".join(f"{name} {100 * share:.0f} %" for name, share in shares)),
    )
    for place, words in blocks:
        pen.words(turn, place, 0.97 * scene.span.turn, words, style.INK, 0.8, ha="center", va="top", paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "turn", "length"]],
    ratios=[1.0, 1.5, 1.1],
    bare=("side",),
    margins={"left": 0.1, "right": 0.95, "columns": 0.7},
    narrow_margins={"left": 0.72, "right": 0.95},
    span=lambda scene: scene.key,
    text="Foot force that stops one degree of lean, over the crank angle and over crank length, with assist, gear alone and ungeared",
)
