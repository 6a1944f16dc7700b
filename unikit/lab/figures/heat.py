"""Heat: the reserve over the time of the case with the moment derating spends it, and rise over allowed rise."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side

TIMES = (1, 2, 5, 10, 20, 30, 60, 120, 240, 480)  # minutes: ends of the time axis
RISES = (1.3, 2.6, 5.0, 10.0)


class Span(NamedTuple):
    """Ends of the axes: minutes, newton metres, percent of the allowed rise."""

    time: float
    reserve: float
    rise: float


def span(scene, least: Span | None = None) -> Span:
    """The time follows the case; reserve and rise have room to grow."""
    result = scene.main
    duration = float(result.time[-1]) / 60
    time = next((end for end in TIMES if end >= duration - 1e-9), pen.nice(duration))
    rise = pen.nice(max(float(np.max(share)) for share, *_ in _rises(result)), RISES) if duration > 0 else 1.3
    needed = Span(float(time), pen.nice(1.45 * float(np.max(result.reserve))), 100 * max(rise, 1.3))
    return needed if least is None else needed._replace(reserve=max(needed.reserve, least.reserve), rise=max(needed.rise, least.rise))


def _rises(result):
    """Rise over allowed rise, with name, line and colour; limits at or below the air's temperature leave no rise.

    The iron around the winding is measured by the winding's limit, the housing
    that holds the magnets by theirs; a housing that is one body with them is
    drawn once.
    """
    rows = [
        (result.winding, result.winding_limit, "winding", 1, style.VERMILION),
        (result.stator, result.winding_limit, "stator", 4, style.ORANGE),
        (result.magnets, result.magnet_limit, "magnets", 0, style.BLUE),
    ]
    if not np.array_equal(result.housing, result.magnets):
        rows.append((result.housing, result.magnet_limit, "housing", 5, style.INK))
    for temperature, limit, name, index, color in rows:
        yield (temperature - result.air) / max(limit - result.air, 1.0), name, index, color


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    top, low, held = axes["reserve"], axes["rise"], scene.span
    top.set(xlim=(0, held.time), ylim=(0, held.reserve), ylabel="reserve / N·m", title="Reserve over time")
    top.tick_params(labelbottom=pen.is_narrow(top))
    low.set(xlim=(0, held.time), ylim=(-0.05 * held.rise, held.rise), xlabel="time / min", ylabel="rise / % of allowed")
    low.axhspan(100, held.rise, facecolor=(style.VERMILION, 0.08), edgecolor=(style.VERMILION, 0.4), hatch=style.HATCHES[1], linewidth=0)
    low.axhline(100, color=style.INK, linewidth=1.2)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    result, top, low, held = scene.main, axes["reserve"], axes["rise"], scene.span
    minutes = result.time / 60
    end = float(minutes[-1])
    pen.area(top, minutes, 0, result.reserve, style.GREEN, style.HATCHES[0])
    pen.line(top, minutes, result.reserve, **style.line(2))
    for one in (top, low):
        pen.line(one, [end, end], list(one.get_ylim()), color=style.QUIET, linewidth=1.0, linestyle=(0, (2, 2)))
    derating, spent = result.derating_after / 60, result.reserve_spent_after / 60
    begins = f"derating begins after {derating:.1f} min" if derating < end else f"no derating in {end:.0f} min"
    goes = (
        f"reserve spent after {spent:.1f} min"
        if spent <= end
        else f"{result.reserve[-1]:.{0 if result.reserve[-1] >= 9.95 else 1}f} N·m left after {end:.0f} min"
    )
    if spent == 0:
        goes = "no reserve from the start"
    if derating < end:
        pen.line(top, [derating, derating], [0, held.reserve], color=style.ORANGE, linewidth=1.6, linestyle=(0, (5, 2)))
    if spent <= end:
        pen.line(top, spent, 0, marker="s", color=style.VERMILION, markersize=8, clip_on=False, zorder=4)
    for level, text, color in (
        (0.92, begins, style.ORANGE if derating < end else style.GREEN),
        (0.77, goes, style.VERMILION if spent <= end else style.GREEN),
    ):
        pen.words(top, 0.015, level, text, color, 1.0, transform=top.transAxes, paper=style.PAPER)
    curves = []
    for share, name, index, color in _rises(result):
        pen.line(low, minutes, 100 * share, **style.line(index))
        curves.append((minutes, 100 * share, name, color))
    style.label_ends(low, curves)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "reserve"], ["side", "rise"]],
    ratios=[1.0, 2.0],
    bare=("side",),
    margins={"left": 0.1, "right": 0.85, "columns": 0.95, "rows": 0.22},
    narrow_margins={"left": 0.72, "right": 0.85},
    span=lambda scene: scene.key,
    text="Reserve of torque over the time of the case with the moment when derating spends it; below, rise over allowed rise",
)
