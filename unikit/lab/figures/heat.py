"""Heat: the reserve over the time of the case with the moment derating spends it, and rise over allowed rise."""

from __future__ import annotations

import numpy as np

from .. import style
from ..picture import Picture
from . import side

LONGEST = 60.0  # minutes
STRONGEST = 45.0


def _frame(axes, scene) -> None:
    side.frame(axes["side"])
    axes["reserve"].set(xlim=(0, LONGEST), ylim=(0, STRONGEST), ylabel="reserve / N·m", title="Reserve over the time of the case")
    axes["reserve"].tick_params(labelbottom=False)
    axes["rise"].set(xlim=(0, LONGEST), ylim=(0, 150), xlabel="time / min", ylabel="rise / % of allowed")
    axes["rise"].axhspan(100, 150, facecolor=(style.VERMILION, 0.10), edgecolor=(style.VERMILION, 0.5), hatch=style.HATCHES[1], linewidth=0)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine)
    result, top, low = scene.main, axes["reserve"], axes["rise"]
    minutes = result.time / 60
    top.plot(minutes, result.reserve, **style.line(2))
    style.hatch_between(top, minutes, 0, result.reserve, style.GREEN)
    derating, spent = result.derating_after / 60, result.reserve_spent_after / 60
    if derating < min(minutes[-1], LONGEST):
        top.axvline(derating, color=style.ORANGE, linewidth=1.4, linestyle=(0, (4, 2)))
        style.note(top, derating, 0.92 * STRONGEST, f" derating begins, {derating:.1f} min", style.ORANGE, va="top", ha=_side(derating))
    if spent < min(minutes[-1], LONGEST):
        top.plot([spent], [0.6], marker="s", color=style.VERMILION, markersize=7, clip_on=False)
        style.note(top, spent, 0.18 * STRONGEST, f" spent after {spent:.1f} min", style.VERMILION, ha=_side(spent))
    elif minutes[-1] > 0:
        style.note(top, min(minutes[-1], LONGEST), 0.55 * STRONGEST, f"not spent in {minutes[-1]:.0f} min ", style.GREEN, ha="right")
    curves = []
    for temperature, limit, text, index, color in (
        (result.winding, result.winding_limit, "winding", 1, style.VERMILION),
        (result.housing, result.magnet_limit, "magnets", 0, style.BLUE),
    ):
        share = 100 * (temperature - result.air) / (limit - result.air)
        low.plot(minutes, share, **style.line(index))
        curves.append((minutes, share, text, color))
    style.label_ends(low, curves)


def _side(minute: float) -> str:
    return "left" if minute < 0.6 * LONGEST else "right"


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "reserve"], ["side", "rise"]],
    ratios=[1.0, 2.0],
    margins={"right": 0.8},
    text="Reserve of torque over the time of the case with the moment when derating spends it; below, rise over allowed rise of winding and magnets",
)
