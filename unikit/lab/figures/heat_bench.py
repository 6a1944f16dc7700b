"""Heating run: temperatures as measured and by the network with its band, and what is left between the two."""

from __future__ import annotations

import numpy as np

from .. import style
from ..picture import Picture
from . import pen

BODIES = (("winding", style.VERMILION, 1), ("housing", style.BLUE, 0))
POINTS = 260  # readings that are drawn of each


def _ends(result) -> tuple[float, float, float, float]:
    """Last minute, lowest and highest temperature in degrees Celsius, and the half height of what is left in kelvin."""
    warm = np.concatenate([result.winding, result.winding_predicted, result.housing]) - 273.15
    low = 10 * np.floor((np.nanmin(warm) - 2) / 10)
    high = low + pen.nice(float(np.nanmax(warm)) - low + 4)
    left = np.nanmax(np.abs(result.winding - result.winding_predicted))
    return float(result.time[-1]) / 60, low, high, pen.nice(1.3 * max(float(left), float(np.nanmax(result.winding_doubt))))


def _frame(axes, result) -> None:
    last, low, high, half = _ends(result)
    course, left = axes["course"], axes["left"]
    course.set(xlim=(0, last), ylim=(low, high), xlabel="time / min", ylabel="temperature / °C", title="Measured and by the network")
    left.set(xlim=(0, last), ylim=(-half, half), xlabel="time / min", ylabel="winding: measured less network / K", title="What is left")
    left.axhline(0, color=style.INK, linewidth=1.0)


def _chosen(result) -> np.ndarray:
    """Some of the readings, evenly."""
    return np.arange(0, len(result.time), max(1, len(result.time) // POINTS))


def _marks(axes, result) -> None:
    last, low, high, half = _ends(result)
    course, left, minutes, some = axes["course"], axes["left"], result.time / 60, _chosen(result)
    dots = {"linestyle": "", "marker": ".", "markersize": 3, "markeredgewidth": 0}
    for name, color, index in BODIES:
        network, doubt, seen = (getattr(result, name + part) for part in ("_predicted", "_doubt", ""))
        celsius = network - 273.15
        outline = np.isfinite(doubt)
        pen.area(course, minutes[outline], (celsius - doubt)[outline], (celsius + doubt)[outline], color, style.HATCHES[index])
        pen.line(course, minutes[some], seen[some] - 273.15, color=color, alpha=0.5, **dots)
        pen.line(course, minutes, celsius, color=style.INK, linewidth=1.2)
        top = int(np.argmax(celsius))
        style.label_curve(course, minutes, celsius, name, minutes[top], color, (-8, 6))
    away = result.winding - result.winding_predicted
    told = np.isfinite(away) & np.isfinite(result.winding_doubt)
    pen.area(left, minutes[told], -result.winding_doubt[told], result.winding_doubt[told], style.VERMILION, style.HATCHES[1])
    some = some[told[some]]
    pen.line(left, minutes[some], away[some], color=style.VERMILION, alpha=0.7, **dots)
    held = ~result.used
    if held.any():
        begins = float(minutes[int(np.argmax(held))])
        for one, (bottom, height) in ((course, (low, high)), (left, (-half, half))):
            pen.line(one, [begins, begins], [bottom, height], color=style.INK, linewidth=1.4, linestyle=(0, (5, 2)))
        right = begins < 0.75 * last
        where = begins + (0.015 if right else -0.015) * last
        pen.words(course, where, high - 0.05 * (high - low), "predicted from here", ha="left" if right else "right", paper=style.PAPER)
        share = f"{100 * result.held():.0f} % of what was\npredicted is in the band"
        pen.words(left, 0.03, 0.93, share, style.VERMILION, transform=left.transAxes, paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["course", "left"]],
    ratios=[1.25, 1.0],
    narrow_margins={"left": 0.72, "right": 0.15},
    text="Winding and housing over time, measured and by the fitted network with its 95 % band; beside it what is left of the winding",
)
