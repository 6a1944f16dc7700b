"""Heat: over the time of the case the reserve, what the feet take over when derating has spent it, and rise over allowed rise."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side

TIMES = (1, 2, 5, 10, 20, 30, 60, 120, 240, 480)  # minutes: ends of the time axis
RISES = (1.3, 2.6, 5.0, 10.0)
LIMITED = ("winding", "magnets", "switches")  # by their own limit; the other bodies are drawn thinner


class Span(NamedTuple):
    """Ends of the axes: minutes, newton metres, percent of the allowed rise, newtons at the feet downwards and upwards."""

    time: float
    reserve: float
    rise: float
    back: float
    foot: float


def span(scene, least: Span | None = None) -> Span:
    """The time follows the case; reserve and rise have room to grow."""
    result = scene.main
    duration = float(result.time[-1]) / 60
    time = next((end for end in TIMES if end >= duration - 1e-9), pen.nice(duration))
    rise = pen.nice(max(float(np.max(share)) for share, *_ in _rises(result)), RISES) if duration > 0 else 1.3
    back, foot = (pen.nice(1.3 * float(np.max(way))) if np.max(way) > 0 else 0.0 for way in (-result.foot_force, result.foot_force))
    needed = Span(float(time), pen.nice(1.45 * float(np.max(result.reserve))), 100 * max(rise, 1.3), back, foot or 10.0)
    return needed if least is None else Span(needed.time, *map(max, needed[1:], least[1:]))


def _rises(result):
    """Rise over allowed rise, with name, line and colour; limits at or below the air's temperature leave no rise.

    The iron around the winding is measured by the winding's limit, the housing
    that holds the magnets by theirs; a housing that is one body with them is
    drawn once, and the controller's switches where they are described.
    """
    rows = [
        (result.winding, result.winding_limit, "winding", 1, style.VERMILION),
        (result.stator, result.winding_limit, "stator", 4, style.ORANGE),
        (result.magnets, result.magnet_limit, "magnets", 0, style.BLUE),
    ]
    if not np.array_equal(result.housing, result.magnets):
        rows.append((result.housing, result.magnet_limit, "housing", 5, style.INK))
    if result.bridge is not None:
        rows.append((result.bridge, result.bridge_limit, "switches", 3, style.PURPLE))
    for temperature, limit, name, index, color in rows:
        yield (temperature - result.air) / max(limit - result.air, 1.0), name, index, color


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    top, feet, low, held = axes["reserve"], axes["feet"], axes["rise"], scene.span
    top.set(xlim=(0, held.time), ylim=(0, held.reserve), ylabel="reserve / N·m", title="Reserve over time")
    feet.set(xlim=(0, held.time), ylim=(-held.back, held.foot), ylabel="foot force / N", title="What the feet take over")
    for one in (top, feet):
        one.tick_params(labelbottom=pen.is_narrow(one))
    low.set(xlim=(0, held.time), ylim=(-0.05 * held.rise, held.rise), xlabel="time / min", ylabel="rise / % of allowed")
    low.axhspan(100, held.rise, facecolor=(style.VERMILION, 0.08), edgecolor=(style.VERMILION, 0.4), hatch=style.HATCHES[1], linewidth=0)
    low.axhline(100, color=style.INK, linewidth=1.2)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    result, low = scene.main, axes["rise"]
    minutes = result.time / 60
    for name in ("reserve", "feet", "rise"):
        pen.line(axes[name], [minutes[-1]] * 2, list(axes[name].get_ylim()), color=style.QUIET, linewidth=1.0, linestyle=(0, (2, 2)))
        if result.derating_after < result.time[-1]:
            begins = [result.derating_after / 60] * 2
            pen.line(axes[name], begins, list(axes[name].get_ylim()), color=style.ORANGE, linewidth=1.4, linestyle=(0, (5, 2)))
    _reserve(axes["reserve"], result, minutes)
    _feet(axes["feet"], result, minutes)
    curves = []
    for share, name, index, color in _rises(result):
        width = 2.0 if name in LIMITED else 1.2
        pen.line(low, minutes, 100 * share, **(style.line(index) | {"linewidth": width}))
        curves.append((minutes, 100 * share, name, color))
    style.label_ends(low, curves)


def _reserve(top, result, minutes) -> None:
    """The reserve, when derating begins to take it and when it is spent."""
    pen.area(top, minutes, 0, result.reserve, style.GREEN, style.HATCHES[0])
    pen.line(top, minutes, result.reserve, **style.line(2))
    end, derating, spent = float(minutes[-1]), result.derating_after / 60, result.reserve_spent_after / 60
    begins = f"derating after {derating:.1f} min" if derating < end else f"no derating in {end:.0f} min"
    left = f"{result.reserve[-1]:.{0 if result.reserve[-1] >= 9.95 else 1}f} N·m left after {end:.0f} min"
    goes = "no reserve from the start" if spent == 0 else f"spent after {spent:.1f} min" if spent <= end else left
    if spent <= end:
        pen.line(top, spent, 0, marker="s", color=style.VERMILION, markersize=8, clip_on=False, zorder=4)
    for level, text, color in (
        (0.92, begins, style.ORANGE if derating < end else style.GREEN),
        (0.77, goes, style.VERMILION if spent <= end else style.GREEN),
    ):
        pen.words(top, 0.02, level, text, color, 0.95, transform=top.transAxes, paper=style.PAPER)


def _feet(feet, result, minutes) -> None:
    """Mean foot force, and above what it was at first what the feet have taken over from the motor."""
    pen.area(feet, minutes, result.foot_force_start, result.foot_force, style.VERMILION, style.HATCHES[1])
    pen.line(feet, minutes, result.foot_force, color=style.PURPLE, linewidth=2.0)
    more = result.foot_force_end - result.foot_force_start
    lines = [f"{more:+.0f} N at the end,", f"{100 * result.assist_left_end:.0f} % of the motor left"] if abs(more) >= 0.5 else ["nothing"]
    first = 0.13 + 0.15 * (len(lines) - 1) if result.foot_force_start >= 0 else 0.92  # away from the curve
    for row, text in enumerate(lines):
        color = style.VERMILION if len(lines) > 1 else style.GREEN
        pen.words(feet, 0.02, first - 0.15 * row, text, color, 0.95, transform=feet.transAxes, paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "reserve", "feet"], ["side", "rise", "rise"]],
    ratios=[1.0, 1.1, 1.1],
    bare=("side",),
    margins={"left": 0.1, "right": 0.85, "columns": 0.85, "rows": 0.22},
    narrow_margins={"left": 0.72, "right": 0.85},
    span=lambda scene: scene.key,
    text="Reserve of torque over the time of the case with the moment when derating spends it; beside it the foot force with what the feet "
    "take over from then on; below, rise over allowed rise of all bodies",
)
