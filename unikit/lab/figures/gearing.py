"""Gearing: the leverage that is left over speed, with the cause that ends it, and all causes side by side."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ...studies.gearing import CAUSES
from .. import style
from ..picture import Picture
from . import pen, side

KMH = 3.6


class Span(NamedTuple):
    """Ends of the axes: km/h and percent."""

    speed: float
    leverage: float


def span(scene, least: Span | None = None) -> Span:
    """Room for the greatest speed with the next causes beyond it, and for the leverage."""
    needed = Span(pen.nice(1.35 * KMH * scene.main.greatest_speed), pen.nice(1.25 * max(100.0, 100 * np.max(scene.main.leverage_left))))
    return needed if least is None else Span(*map(max, needed, least))


def left_frame(axes, held: Span) -> None:
    """Axes for the leverage left over speed."""
    axes.set(xlim=(0, held.speed), ylim=(0, held.leverage), ylabel="leverage left / %", title="Leverage left, what ends it")
    axes.axhline(100, color=style.INK, linewidth=1.2, linestyle=(0, (4, 2)))
    pen.words(axes, held.speed, 100, "ungeared wheel", style.QUIET, ha="right", va="bottom")


def left_marks(axes, result, held: Span) -> None:
    """The leverage left up to the greatest speed, hatched as far as it is comfortable."""
    speed, share = KMH * result.speed, 100 * result.leverage_left
    easy, end = KMH * min(result.comfortable_speed, result.greatest_speed), float(speed[-1])
    shown = speed <= easy
    pen.area(axes, np.append(speed[shown], easy), 0, np.append(share[shown], np.interp(easy, speed, share)), style.GREEN, style.HATCHES[0])
    pen.line(axes, speed, share, **style.line(0))
    pen.line(axes, [end, end], [0, share[-1]], color=style.VERMILION, linewidth=1.4, linestyle=(0, (1.5, 1.5)))
    pen.line(axes, end, share[-1], marker="s", color=style.VERMILION, markersize=7)
    late = end > (0.45 if pen.is_narrow(axes) else 0.72) * held.speed
    text = f"ends at {end:.1f} km/h:\n{result.greatest_by}"
    pen.words(
        axes,
        end + (-0.015 if late else 0.015) * held.speed,
        60.0 if held.leverage <= 200 else 0.84 * held.leverage,  # clear of the line of the ungeared wheel
        text,
        style.VERMILION,
        1.0,
        ha="right" if late else "left",
        paper=style.PAPER,
    )
    easily = f"comfortable to {easy:.1f} km/h" if easy > 0 else "comfortable at no speed"
    pen.words(axes, 0.015 * held.speed, 0.13 * held.leverage, easily, style.GREEN, 1.0, paper=style.PAPER)


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    left_frame(axes["left"], scene.span)
    axes["left"].tick_params(labelbottom=pen.is_narrow(axes["left"]))
    causes = axes["causes"]
    causes.set(xlim=(0, scene.span.speed), ylim=(len(CAUSES) - 0.4, -0.6), xlabel="speed / km/h")
    causes.set_yticks(range(len(CAUSES)), CAUSES)
    causes.tick_params(axis="y", length=0)
    causes.grid(axis="y", visible=False)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    left_marks(axes["left"], scene.main, scene.span)
    _causes(axes["causes"], scene.main, scene.span.speed)


def _causes(axes, result, fastest: float) -> None:
    """Bars to the comfortable speed of each cause, dotted on to its greatest; the two that bind in colour."""
    easy = KMH * np.array([result.comfortable_limits[cause] for cause in CAUSES])
    most = KMH * np.array([result.greatest_limits[cause] for cause in CAUSES])
    rows, binding = np.arange(len(CAUSES)), np.array([cause in (result.comfortable_by, result.greatest_by) for cause in CAUSES])
    for chosen, color in ((~binding, style.QUIET), (binding, style.VERMILION)):
        barred, dotted = chosen & np.isfinite(easy), chosen & np.isfinite(most)
        pen.bars(axes, rows[barred], np.minimum(easy[barred], fastest), color, 0.5)
        if dotted.any():
            ends, gap = np.minimum(most[dotted], fastest), np.full(dotted.sum(), np.nan)
            start = np.where(np.isfinite(easy[dotted]), np.minimum(easy[dotted], fastest), 0.0)
            x, y = np.column_stack([start, ends, gap]).ravel(), np.repeat(rows[dotted], 3)
            pen.line(axes, x, y, color=color, linewidth=1.8, linestyle=(0, (1.2, 1.2)))
            pen.line(axes, ends, rows[dotted], marker="|", linestyle="", color=color, markersize=11, markeredgewidth=2.5, clip_on=False)
    for row, (one, other) in enumerate(zip(easy, most, strict=True)):
        last = max([value for value in (one, other) if np.isfinite(value)], default=np.inf)
        if not np.isfinite(last):
            pen.words(axes, 0.01 * fastest, row, "does not bind", style.QUIET, 0.85)
        elif last > fastest:
            pen.words(axes, 0.985 * fastest, row, f"{last:.0f} km/h →", style.QUIET, 0.85, ha="right", paper=(style.GROUND, 0.9))


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "left"], ["side", "causes"]],
    ratios=[1.0, 2.05],
    bare=("side",),
    margins={"left": 0.1, "columns": 1.2, "rows": 0.22},
    narrow_margins={"left": 1.05, "right": 0.15},
    span=lambda scene: scene.key,
    text="Leverage left over speed with the cause that ends it; bars: comfortable speed by cause, ticks: greatest speed by cause",
)
