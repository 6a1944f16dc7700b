"""Going: which slope a rider can begin on by weight, over the crank angle, and the way through the next dead centre."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side

KMH = 3.6
ROWS = (
    ("gear alone", 1, style.VERMILION),
    ("ungeared", 5, style.INK),
    ("assisted", 2, style.GREEN),
)


class Span(NamedTuple):
    """Ends of the axes: slope in percent, up and down, and speed in km/h."""

    up: float
    down: float
    speed: float


def span(scene, least: Span | None = None) -> Span:
    """Room for the steepest slope of all three, for the case's slope, and for the speeds."""
    result = scene.main
    most = [float(push.steepest[np.isfinite(push.steepest)].max()) for push in result.pushes.values()]
    fast = [float(np.nanmax(push.speed)) for push in result.pushes.values()]
    down = min(float(result.slope), *(float(push.steepest.min()) for push in result.pushes.values()), 0.0)
    up, room = 100 * max(*most, result.slope), pen.nice(-100 * down) if down < -0.02 else 2.0
    needed = Span(pen.nice(1.25 * up), room, pen.nice(1.35 * KMH * max(*fast, 0.1)))
    return needed if least is None else Span(*map(max, needed, least))


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    main, run, held = axes["main"], axes["run"], scene.span
    main.set(xlim=(0, 360), ylim=(-held.down, held.up), xlabel="crank angle / °", ylabel="slope / %", title="Where weight can begin")
    main.set_xticks([0, 90, 180, 270, 360])
    main.axhline(0, color=style.QUIET, linewidth=1)
    run.set(xlim=(90, 270), ylim=(0, held.speed), xlabel="crank angle / °", ylabel="speed / km/h", title="From level cranks on")
    run.set_xticks([90, 180, 270])
    run.axvline(180, color=style.QUIET, linewidth=1)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    result, main, run = scene.main, axes["main"], axes["run"]
    angle, top = np.degrees(result.crank_angle), 300.0
    slopes = {name: np.minimum(100 * push.steepest, top) for name, push in result.pushes.items()}
    level = 100 * result.slope
    pen.area(main, angle, level, np.maximum(slopes["gear alone"], level), style.VERMILION, style.HATCHES[1])
    pen.area(main, angle, np.maximum(slopes["gear alone"], level), np.maximum(slopes["assisted"], level), style.GREEN, style.HATCHES[0])
    pen.line(main, [0, 360], [level, level], color=style.QUIET, linewidth=1.4)
    curves = []
    for name, index, color in ROWS:
        push = result.pushes[name]
        pen.line(main, angle, slopes[name], **style.line(index))
        turned = np.degrees(push.travelled)
        shown = turned <= 270
        speed = KMH * push.speed[shown]
        pen.line(run, turned[shown], speed, **style.line(index))
        moving = np.flatnonzero(np.isfinite(speed))
        if moving.size < np.count_nonzero(shown):
            pen.line(run, turned[moving[-1]], speed[moving[-1]], marker="x", color=color, markersize=9, markeredgewidth=2.2, clip_on=False)
        curves.append((turned[shown], speed, name, color))
    style.label_ends(run, curves)
    pen.words(main, 4, level, f"this slope, {level:.1f} %".replace("-", "−"), style.INK, 0.9, va="bottom", paper=style.PAPER)
    text = "\n".join(
        f"{name}: begins in {100 * push.share:.0f} %, carries {100 * push.carries:.0f} %"
        for name, push in result.pushes.items()
        if name != "ungeared"
    )
    text = f"share of the turn, by weight\n{text}"
    pen.words(main, 0.02, 0.985, text, style.INK, 0.8, va="top", transform=main.transAxes, paper=style.PAPER)
    if result.stand_motor is not None:
        minutes = result.stand_time / 60
        lasts = "over 10 hours" if minutes > 600 else f"{minutes:.0f} min" if minutes >= 2 else f"{result.stand_time:.0f} s"
        text = f"standing still: motor {result.stand_motor:.0f} N·m,\n{result.stand_loss:.0f} W of heat,\nderating in {lasts}".replace(
            "-", "−"
        )
        pen.words(run, 0.03, 0.985, text, style.INK, 0.8, va="top", transform=run.transAxes, paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "main", "run"]],
    ratios=[1.0, 1.45, 1.15],
    bare=("side",),
    margins={"left": 0.1, "right": 0.95, "columns": 0.8},
    narrow_margins={"left": 0.72, "right": 0.95},
    span=lambda scene: scene.key,
    text="Steepest slope on which weight on one pedal can begin, over the crank angle, and the speed from level cranks on",
)
