"""Wiring: on one axis of current what rides, what the limits let flow, what each lead bears, and where a fuse fits."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side

ROWS = (3.0, 1.0, 0.0)  # of pack lead, main lead and motor lead; the fuse stands between, under the lead that it guards
FUSE = 2.0
HIGH = 0.17  # half of a bar


class Span(NamedTuple):
    """End of the axis of current."""

    current: float


def span(scene, least: Span | None = None) -> Span:
    """Room for the largest current that is marked."""
    result = scene.main
    fuse = 0.0 if result.fuse_rating is None else result.fused * result.fuse_rating
    shown = [*result.current, *result.limit_current, *result.bears, fuse, result.window_high, result.plug_current or 0.0]
    needed = Span(pen.nice(1.08 * float(np.nanmax(np.array(shown, float)))))
    return needed if least is None else Span(*map(max, needed, least))


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    main = axes["main"]
    main.set(xlim=(0, scene.span.current), ylim=(-0.55, 3.75), xlabel="current / A", title="What flows, and what bears it?")
    main.set_yticks([])


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    result, main = scene.main, axes["main"]
    end, narrow = scene.span.current, pen.is_narrow(main)
    for k, row in enumerate(ROWS):
        _lead(main, result, k, row, end, narrow)
    _fuse(main, result, end, narrow)


def _lead(main, result, k: int, row: float, end: float, narrow: bool) -> None:
    """The bar to the current that a lead bears, the ride on it, and the controller's limit."""
    bears, name = float(result.bears[k]), str(result.lead[k])
    at = np.array([row - HIGH, row + HIGH])
    if np.isnan(bears):
        text = f"{name}: not described"
    else:
        pen.area_across(main, at, 0.0, bears, style.BLUE, "")
        pen.area_across(main, at, min(bears, end), end, style.VERMILION, style.HATCHES[1])
        pen.line(main, [bears, bears], at, color=style.BLUE, linewidth=2.4)
        warm = f"{result.temperature[k] - 273.15:.0f} °C" if np.isfinite(result.temperature[k]) else "melts"
        text = (
            f"{name}: {warm}, bears {bears:.0f} A"
            if narrow
            else f"{name}, {1e6 * result.area[k]:.2f} mm²: {warm} on this ride, bears {bears:.0f} A"
        )
    pen.words(main, 0.01 * end, row + 0.36, text, style.INK, 0.92, paper=style.PAPER)
    pen.line(main, result.current[k], row, marker="o", markersize=8, color=style.GREEN, clip_on=False)
    hot = result.limit_current[k] > bears
    pen.line(main, result.limit_current[k], row, marker="D", markersize=7, color=style.VERMILION if hot else style.INK)
    _label(main, result.current[k], row, f"ride {result.current[k]:.1f}", style.GREEN, end)
    near = result.limit_current[k] - result.current[k] < 0.25 * end  # the ride's name then needs the room on the left
    beside = max(result.limit_current[k], result.current[k] + 0.2 * end) if near and narrow else result.limit_current[k]
    _label(main, beside, row, f"limit {result.limit_current[k]:.0f}", style.VERMILION if hot else style.INK, end, near)
    if k == 0 and result.plug_current is not None:
        pen.line(main, result.plug_current, row, marker="|", markersize=16, markeredgewidth=2, color=style.PURPLE)
        _label(main, result.plug_current, row, "plug", style.PURPLE, end)
    if k == 1 and result.fuse_rating is not None and result.fused > 1:
        together = result.fused * result.fuse_rating
        color = style.VERMILION if together > bears else style.INK
        pen.line(main, together, row, marker="v", markersize=9, color=color)
        _label(main, together, row, f"{result.fused} fuses", color, end)


def _label(main, x: float, row: float, text: str, color: str, end: float, to_the_right: bool = False) -> None:
    """A mark's name under it, kept inside the axes."""
    ha = "right" if x > 0.9 * end else "left" if x < 0.1 * end or to_the_right else "center"
    pen.words(main, max(x, 0.01 * end), row - 0.29, text, color, 0.82, ha=ha, paper=style.PAPER)


def _fuse(main, result, end: float, narrow: bool) -> None:
    """The ratings that fit, and the one that is there."""
    low, high = result.window_low, result.window_high
    at = np.array([FUSE - HIGH, FUSE + HIGH])
    if np.isnan(high):
        text = f"a fuse from {low:.1f} A"
    elif low > high:
        pen.area_across(main, at, high, min(low, end), style.VERMILION, style.HATCHES[3])
        text = f"no fuse fits: from {low:.1f} A, to {high:.1f} A"
    else:
        pen.area_across(main, at, low, high, style.GREEN, style.HATCHES[0])
        text = (
            f"fuse: {low:.1f} to {high:.1f} A fits"
            if narrow
            else f"fuse in it: {low:.1f} A to {high:.1f} A fits, ended by {result.window_high_by.split(',')[0]}"
        )
    pen.words(main, 0.01 * end, FUSE + 0.36, text, style.INK, 0.92, paper=style.PAPER)
    if result.fuse_rating is None:
        _label(main, low, FUSE, "no fuse described", style.VERMILION, end)
        return
    bad = any(check.failed for check in result.fuse_checks)
    color = style.VERMILION if bad else style.GREEN
    pen.line(main, result.fuse_rating, FUSE, marker="v", markersize=10, color=color)
    first = result.fuse_checks[0]
    text = f"{result.fuse_rating:.3g} A" if narrow else f"{result.fuse_rating:.3g} A; {'not met' if bad else 'narrowest'}: {first.name}"
    _label(main, result.fuse_rating, FUSE, text, color, end)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "main"]],
    ratios=[1.0, 2.6],
    bare=("side",),
    margins={"left": 0.1, "right": 0.2, "columns": 0.35},
    narrow_margins={"left": 0.2, "right": 0.2},
    narrow_heights=[3.3, 4.4],
    span=lambda scene: scene.key,
    text="One axis of current: for pack lead, main lead and motor lead what the ride and the controller's limits let flow and what the "
    "lead bears; for the fuse the ratings that fit and the one that is built in",
)
