"""Capture: caught over wanted at each speed, where that ends and by what; beside it what motor torque may be lost over slope."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side

KMH = 3.6
MOST = 4.0  # times what is wanted: what is covered more often is not a question


class Span(NamedTuple):
    """Ends of the axes: km/h, times what is wanted, and newton metres."""

    speed: float
    times: float
    torque: float


def span(scene, least: Span | None = None) -> Span:
    """Speeds to where the legs have nothing left, and the torques that belong to the slopes."""
    result, lost = scene.main, scene.more
    most = max(float(curve.max()) for curve in (result.covered, result.covered_alone, result.covered_ungeared))
    shown = max(KMH * result.speed[np.flatnonzero(result.covered > 0.02)[-1:]].max(initial=0.0), KMH * result.wanted_speed, 5.0)
    torque = 10.0
    if lost is not None:
        torque = max(float(lost.limit_over_slope.max()), float(lost.trim_over_slope.max()), float(lost.lost_over_slope.max()), 1.0)
    needed = Span(pen.nice(1.04 * shown), min(pen.nice(max(1.35 * most, 3.0)), MOST), pen.nice(1.5 * torque))
    return needed if least is None else Span(*map(max, needed, least))


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    main, loss, held = axes["main"], axes["loss"], scene.span
    main.set(xlim=(0, held.speed), ylim=(0, held.times), xlabel="speed / km/h", ylabel="caught over wanted, factor counted")
    main.set_title("What can still be caught")
    main.axhline(1.0, color=style.INK, linewidth=1.2)
    loss.set(xlim=(-10, 12), ylim=(0, held.torque), xlabel="slope / %", ylabel="motor torque / N·m", title="What may be lost")
    loss.set_xticks([-10, -5, 0, 5, 10])


CURVES = (("as built", "covered", 0), ("motor off", "covered_alone", 1), ("ungeared", "covered_ungeared", 5))


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    main, result, held = axes["main"], scene.main, scene.span
    near = np.flatnonzero(KMH * result.speed <= held.speed * (1 + 1e-9))
    speed = np.append(KMH * result.speed[near], held.speed)
    curves = {
        name: np.minimum(np.append(getattr(result, name)[near], getattr(result, name)[near[-1]]), held.times) for _, name, _ in CURVES
    }
    covered = curves["covered"]
    pen.area(main, speed, 1.0, np.maximum(covered, 1.0), style.GREEN, style.HATCHES[2])
    pen.area(main, speed, np.minimum(covered, 1.0), 1.0, style.VERMILION, style.HATCHES[1])
    for row, (text, name, index) in enumerate(CURVES):
        pen.line(main, speed, curves[name], **style.line(index))
        level = 0.95 - 0.075 * row
        pen.line(main, [0.68, 0.76], [level, level], transform=main.transAxes, **style.line(index))
        pen.words(main, 0.78, level, text, style.LINES[index]["color"], transform=main.transAxes, paper=style.PAPER)
    _ending(main, result, held)
    _riders(main, scene, held)
    if scene.more is None:
        pen.words(
            axes["loss"], 0.5, 0.5, "no motor\nto lose", style.QUIET, 1.0, ha="center", transform=axes["loss"].transAxes, paper=style.PAPER
        )
    else:
        _losses(axes["loss"], scene.more, result.doubt, held)


def _ending(main, result, held: Span) -> None:
    """Balance-limited speed on the line of what is wanted, with what ends it, and the wanted speed below."""
    wanted = KMH * result.wanted_speed
    pen.line(main, wanted, 0.0, marker="^", color=style.INK, markersize=9, linestyle="", clip_on=False)
    if wanted <= 0.8 * held.speed:
        pen.words(main, wanted + 0.02 * held.speed, 0.05 * held.times, "wanted", style.INK, paper=style.PAPER)
    else:
        pen.words(main, wanted - 0.02 * held.speed, 0.05 * held.times, "wanted", style.INK, ha="right", paper=style.PAPER)
    at = KMH * result.balance_limited_speed
    by, short = result.ended_by.removeprefix("the ").partition(",")[0], result.limited_by.removesuffix(" at this cadence")
    if np.isnan(at):
        text = f"no speed is covered:\n{by}, {short} short"
        pen.words(main, 0.98, 0.53, text, style.VERMILION, 1.0, ha="right", transform=main.transAxes, paper=style.PAPER)
        return
    pen.line(main, at, 1.0, marker="o", color=style.INK, markersize=8, linestyle="")
    words = "all that is wanted" if by.startswith("nothing") else f"{by} ends it\n{short} short"
    level = 1 + 0.02 * held.times
    if at < 0.7 * held.speed:
        pen.words(main, at + 0.02 * held.speed, level, f"{at:.1f} km/h\n{words}", style.INK, paper=style.PAPER, va="bottom")
    else:
        pen.words(main, 0.99 * held.speed, level, f"{at:.1f} km/h\n{words}", style.INK, ha="right", paper=style.PAPER, va="bottom")


def _riders(main, scene, held: Span) -> None:
    """The range of the balance-limited speed over nine of ten riders, or that it is being computed."""
    doubt = scene.main.doubt
    place = {"ha": "right", "transform": main.transAxes, "paper": style.PAPER}
    if doubt is None:
        if scene.later is not None:
            pen.words(main, 0.98, 0.725, "riders' range: computing …", style.QUIET, **place)
        return
    ends = np.minimum(KMH * np.array([doubt.low, doubt.high]), held.speed)
    pen.line(main, ends, [1.0, 1.0], color=style.PURPLE, linewidth=5, alpha=0.7, solid_capstyle="butt")
    text = f"nine riders of ten: {KMH * doubt.low:.0f} to {KMH * doubt.high:.0f} km/h" if doubt.high > 0 else "nine riders of ten: no speed"
    pen.words(main, 0.98, 0.725, text, style.PURPLE, **place)


def _losses(loss, result, doubt, held: Span) -> None:
    slope = 100 * result.slope
    caught, lost = (np.minimum(curve, held.torque) for curve in (result.limit_over_slope, result.lost_over_slope))
    pen.area(loss, slope, 0, np.minimum(caught, lost), style.BLUE, style.HATCHES[0])
    pen.area(loss, slope, np.minimum(caught, lost), lost, style.VERMILION, style.HATCHES[1])
    rows = (
        ("lost if the motor stops", lost, 1),
        ("caught, factor counted", caught, 0),
        ("largest trim", np.minimum(result.trim_over_slope, held.torque), 3),
    )
    for row, (text, curve, index) in enumerate(rows):
        pen.line(loss, slope, curve, **style.line(index))
        pen.words(loss, 0.03, 0.95 - 0.075 * row, text, style.LINES[index]["color"], transform=loss.transAxes, paper=style.PAPER)
    if doubt is not None and doubt.habitual_alone != "balances":
        pen.words(loss, 0.03, 0.725, "then a habitual rider falls", style.VERMILION, transform=loss.transAxes, paper=style.PAPER)
    here = 100 * result.slope_here
    if -10 <= here <= 12:
        pen.line(loss, here, min(result.motor_torque, held.torque), marker="o", color=style.INK, markersize=7, linestyle="")


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "main", "loss"]],
    ratios=[1.0, 1.75, 1.05],
    bare=("side",),
    margins={"left": 0.1, "right": 0.15, "columns": 0.78},
    narrow_margins={"left": 0.72, "right": 0.15},
    span=lambda scene: scene.key,
    text="Caught over wanted disturbance over speed, as built, with the motor off and on the ungeared wheel, with the balance-limited "
    "speed and what ends it; beside it the motor torque that is lost and that can be caught over slope",
)
