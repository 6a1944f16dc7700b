"""Delay and stability: the rider's gains between toppling and swaying, and the lean after a push."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen

STAYS, GROWS = style.GREEN, style.VERMILION


class Span(NamedTuple):
    """Ends of the axes: gain on lean and on lean rate as the machine measures them, and lean in degrees."""

    proportional: float
    derivative: float
    lean: float


def span(scene, least: Span | None = None) -> Span:
    """Gains to beyond the rider's and the loop's area, and leans to twice the height of a swing that comes back."""
    result = scene.main
    highest = max(result.proportional, float(np.max(result.whole.proportional, initial=0.0)))
    steepest = max(result.derivative, float(np.max(result.whole.derivative, initial=0.0)))
    swing = float(np.degrees(np.max(np.abs(result.lean[: len(result.lean) // 6]))))
    needed = Span(*(max(4.0, pen.nice(1.1 * value)) for value in (highest, steepest)), max(2.0, pen.nice(1.5 * swing)))
    needed = Span(*(min(one, most) for one, most in zip(needed, (12.0, 12.0, 20.0), strict=True)))
    return needed if least is None else Span(*map(max, needed, least))


def _frame(axes, scene) -> None:
    plane, time, held = axes["map"], axes["time"], scene.span
    plane.set(xlim=(0, held.proportional), ylim=(0, held.derivative), xlabel="gain on lean (1 just holds)", ylabel="gain on lean rate")
    plane.set_title("Which gains hold")
    time.set(xlim=(0, scene.main.time[-1]), ylim=(-held.lean, held.lean), xlabel="time after a push / s", ylabel="lean / °")
    time.set_title("What becomes of a push")
    time.axhline(0, color=style.QUIET, linewidth=1)


def _marks(axes, scene) -> None:
    plane, time, result, held = axes["map"], axes["time"], scene.main, scene.span
    stays = result.growth_rate < 0
    if result.pendulum.size:
        pen.line(plane, *result.pendulum.closed(), **style.line(4) | {"linewidth": 1.3})
    if result.whole.size:
        plane.add_artist(pen.patch(np.column_stack(result.whole), style.BLUE, style.HATCHES[0]))
        pen.line(plane, *result.whole.closed(), color=style.BLUE, linewidth=1.2)
    _way_of_the_assist(plane, result)
    color = STAYS if stays else GROWS
    if scene.more is not None:
        pen.line(
            plane,
            [result.proportional, scene.more.proportional],
            [result.derivative, scene.more.derivative],
            color=style.QUIET,
            linewidth=1,
        )
        pen.line(plane, scene.more.proportional, scene.more.derivative, marker="o", color=style.PURPLE, fillstyle="none", markersize=8)
    pen.line(plane, result.proportional, result.derivative, marker="o" if stays else "X", color=color, markersize=9)
    _legend(plane, result, scene)
    _motion(time, result, scene, color, held)


def _way_of_the_assist(plane, result) -> None:
    """Where more or less assist would take the rider's gains, solid between toppling and onset."""
    if result.assist is None:
        return
    p, d = result.assist
    pen.line(plane, p[[0, 2]], d[[0, 2]], color=style.INK, linewidth=0.8, linestyle=(0, (2, 2)))
    pen.line(plane, p[1:], d[1:], color=style.INK, linewidth=1.6, marker="|", markersize=9)


def _legend(plane, result, scene) -> None:
    lines = [("holds this loop" if result.whole.size else "no gains hold this loop", style.BLUE)]
    if result.pendulum.size:
        lines.append(("pendulum, delay alone", style.ORANGE))
    lines.append(("gains as learned", STAYS if result.growth_rate < 0 else GROWS))
    if scene.more is not None:
        lines.append(("who has learned this machine", style.PURPLE))
    if result.assist is not None:
        lines.append(("with less or more assist", style.INK))
    for row, (text, color) in enumerate(lines):
        pen.words(plane, 0.98, 0.98 - 0.075 * row, text, color, 0.9, ha="right", va="top", transform=plane.transAxes, paper=style.PAPER)


def _motion(time, result, scene, color: str, held: Span) -> None:
    within = np.degrees(result.lean_nobody) < held.lean
    pen.line(time, result.time[within], np.degrees(result.lean_nobody[within]), color=style.QUIET, linewidth=1.2, linestyle=(0, (1.5, 1.5)))
    if scene.more is not None:
        pen.line(time, result.time, np.clip(np.degrees(scene.more.lean), -2 * held.lean, 2 * held.lean), **style.line(3))
    pen.line(time, result.time, np.clip(np.degrees(result.lean), -2 * held.lean, 2 * held.lean), color=color, linewidth=1.8)
    late = 1000 * result.reaction_delay
    text = f"{late:.0f} ms late: {result.motion}"
    pen.words(time, 0.98, 0.97, text, color, 1.0, ha="right", va="top", transform=time.transAxes, paper=style.PAPER)
    budget = 1000 * result.delay_budget
    if np.isfinite(budget):
        text = f"these gains fail from {budget:.0f} ms on" if budget else "these gains fail without any delay"
        pen.words(time, 0.98, 0.06, text, style.INK, 0.9, ha="right", transform=time.transAxes, paper=style.PAPER)
    leaves = float(result.time[within][-1]) + 0.02 * float(result.time[-1])
    pen.words(time, leaves, 0.72 * held.lean, "nobody acts", style.QUIET, 0.9, paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["map", "time"]],
    ratios=[1.0, 1.15],
    margins={"left": 0.62, "right": 0.2, "columns": 0.85},
    narrow_margins={"left": 0.62, "right": 0.15},
    span=lambda scene: scene.key,
    text="Gain on lean rate over gain on lean with the area in which the loop is stable and the rider's point; beside it the lean after a "
    "push over time",
)
