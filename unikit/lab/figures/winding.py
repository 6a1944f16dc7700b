"""Winding: the reserve at the case's speed over the turns, with what ends it on either side."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side

SHORTEST = 0.04  # share of the axis: a limit that holds for less is not named
TICKS = (0.5, 0.7, 1.0, 1.4, 2.0)


class Span(NamedTuple):
    """Greatest reserve, newton metres."""

    reserve: float


def span(scene, least: Span | None = None) -> Span:
    """Room for the curve, the gust and a cap that lies near them."""
    result = scene.main
    needed = Span(pen.nice(1.4 * max(float(result.reserve_over.max()), result.gust_torque, 1e-3)))
    return needed if least is None else Span(*map(max, needed, least))


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    main = axes["main"]
    main.set_xscale("log")
    main.set(xlim=(TICKS[0], TICKS[-1]), ylim=(0, scene.span.reserve), xlabel="turns, over those as built", ylabel="reserve / N·m")
    main.set_xticks(TICKS, [f"{tick:g}" for tick in TICKS])
    main.set_xticks([], minor=True)
    main.set_title("Reserve at the case's speed")


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    result, main, top = scene.main, axes["main"], scene.span.reserve
    turns, reserve = result.turns_over, result.reserve_over
    over = np.maximum(reserve, result.gust_torque)
    pen.area(main, turns, np.minimum(result.gust_torque, over), over, style.GREEN, style.HATCHES[1])
    pen.line(main, turns, reserve, **style.line(2))
    gust = np.full_like(turns, result.gust_torque)
    pen.line(main, turns, gust, **style.line(1))
    ends = [(turns, gust, "gust asks", style.VERMILION), (turns, reserve, "reserve", style.GREEN)]
    if result.cap <= top:
        cap = np.full_like(turns, result.cap)
        pen.line(main, turns, cap, color=style.INK, linewidth=1.2, linestyle=(0, (1.2, 1.2)))
        ends.append((turns, cap, "torque cap", style.INK))
    style.label_ends(main, ends)
    _causes(main, turns, reserve, np.asarray(result.ended_by))
    marks = {"as built": (1.0, "o", 0.88), "recommended": (result.recommended, "D", 0.96)}
    if result.turns != 1.0:
        marks["looked at"] = (result.turns, "s", 0.8)
    for name, (place, marker, height) in marks.items():
        at = float(np.interp(np.log(place), np.log(turns), reserve))
        pen.line(main, [place, place], [at, height * top], color=style.INK, linewidth=0.9, linestyle=(0, (2, 2)))
        pen.line(main, place, at, marker=marker, color=style.INK, markersize=7)
        left = place > 1.2
        text = f"{name} {place:.2f} " if left else f" {name} {place:.2f}"
        pen.words(main, place, height * top, text, style.INK, 0.95, ha="right" if left else "left", paper=style.PAPER)


def _causes(main, turns, reserve, names) -> None:
    """Write what ends the torque along the curve, wherever it changes: above a level piece, in the shadow of a steep one."""
    starts = np.flatnonzero(np.r_[True, names[1:] != names[:-1]])
    whole, top = np.log(turns[-1] / turns[0]), main.get_ylim()[1]
    for start, end in zip(starts, np.r_[starts[1:], len(names)], strict=True):
        share = np.log(turns[end - 1] / turns[start]) / whole
        if share < SHORTEST:
            continue
        steep = (reserve[end - 1] - reserve[start]) / top / share
        shift = (9, -5) if steep > 0.3 else (-9, -5) if steep < -0.3 else (0, 7)
        style.label_curve(main, turns, reserve, str(names[start]), turns[(start + end - 1) // 2], style.GREEN, shift)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "main"]],
    ratios=[1.0, 2.0],
    bare=("side",),
    margins={"left": 0.1, "right": 0.95, "columns": 0.95},
    narrow_margins={"left": 0.72, "right": 0.9},
    span=lambda scene: scene.key,
    text="Reserve at the case's speed over turns, with what ends it on either side, against the gust; turns as built and recommended",
)
