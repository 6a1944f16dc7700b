"""Gearing: the leverage that is left over speed, with the cause that ends it, and all causes side by side."""

from __future__ import annotations

import numpy as np

from .. import style
from ..picture import Picture
from . import side

FASTEST = 52.0  # km/h, fixed so that builds can be compared
CAUSES = ("cadence", "pedal speed", "leg torque", "air", "motor voltage", "local limit")


def _frame(axes, scene) -> None:
    side.frame(axes["side"])
    axes["left"].set(xlim=(0, FASTEST), ylim=(0, 145), ylabel="leverage left / %", title="Leverage left, and what ends it")
    axes["left"].axhline(100, color=style.QUIET, linewidth=1, linestyle=(0, (2, 2)))
    axes["left"].text(FASTEST - 0.4, 102, "the ungeared wheel", ha="right", color=style.QUIET, fontsize=9)
    axes["left"].tick_params(labelbottom=False)
    axes["causes"].set(xlim=(0, FASTEST), ylim=(len(CAUSES) - 0.4, -0.6), xlabel="speed / km/h")
    axes["causes"].set_yticks(range(len(CAUSES)), CAUSES)
    axes["causes"].grid(axis="y", visible=False)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine)
    result, left = scene.main, axes["left"]
    speed, share = 3.6 * result.speed, 100 * result.leverage_left
    left.plot(speed, share, **style.line(0))
    easy = 3.6 * min(result.comfortable_speed, result.greatest_speed)
    style.hatch_between(left, speed, 0, np.where(speed <= easy, share, np.nan), style.GREEN)
    left.plot(speed[-1:], share[-1:], marker="s", color=style.VERMILION, markersize=7)
    beyond = speed[-1] > 0.55 * FASTEST
    style.note(
        left,
        speed[-1] + (-0.8 if beyond else 0.8),
        max(share[-1] - 16, 8),
        f"ends at {speed[-1]:.1f} km/h:\n{result.greatest_by}",
        style.VERMILION,
        ha="right" if beyond else "left",
        va="center",
    )
    style.note(left, max(easy / 2, 6), 12, f"comfortable to {easy:.1f} km/h", style.GREEN, ha="center")
    bars = axes["causes"]
    for row, cause in enumerate(CAUSES):
        comfortable, greatest = 3.6 * result.comfortable_limits[cause], 3.6 * result.greatest_limits[cause]
        binding = cause in (result.comfortable_by, result.greatest_by)
        color = style.VERMILION if binding else style.QUIET
        if np.isfinite(comfortable):
            bars.barh(row, min(comfortable, FASTEST), height=0.42, facecolor=(color, 0.28), edgecolor=color)
        if np.isfinite(greatest):
            bars.plot([0, min(greatest, FASTEST)], [row, row], color=color, linewidth=1.6, linestyle=(0, (1.5, 1.5)))
            bars.plot([min(greatest, FASTEST)], [row], marker="|", markersize=11, color=color, markeredgewidth=2.5)
        if not np.isfinite(min(comfortable, greatest)):
            bars.text(0.6, row, "does not bind", va="center", fontsize=8.5, color=style.QUIET)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "left"], ["side", "causes"]],
    ratios=[1.0, 2.0],
    margins={"left": 1.05},
    text="Leverage left over speed with the cause that ends it; bars: comfortable speed by cause, ticks: greatest speed by cause",
)
