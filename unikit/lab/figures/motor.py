"""Motor: the wheel torque at each speed split into legs, motor and reserve, against what a gust asks."""

from __future__ import annotations

import numpy as np

from .. import style
from ..picture import Picture
from . import side

FASTEST = 50.0
STRONGEST = 70.0
WEAKEST = -40.0


def _frame(axes, scene) -> None:
    side.frame(axes["side"])
    axes["main"].set(
        xlim=(0, FASTEST),
        ylim=(WEAKEST, STRONGEST),
        xlabel="speed / km/h",
        ylabel="torque at the wheel / N·m",
        title="Legs, motor and reserve over speed",
    )
    axes["main"].axhline(0, color=style.QUIET, linewidth=1)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine)
    result, main = scene.main, axes["main"]
    speed = 3.6 * result.speed
    legs, both = result.leg_torque_over_speed, result.leg_torque_over_speed + result.motor_torque_over_speed
    full = both + result.reserve_over_speed
    style.hatch_between(main, speed, 0, legs, style.PURPLE, style.HATCHES[2])
    style.hatch_between(main, speed, legs, both, style.BLUE)
    style.hatch_between(main, speed, both, full, style.GREEN, style.HATCHES[1])
    main.plot(speed, full, **style.line(2))
    main.plot(speed, both, **style.line(0))
    main.plot(speed, result.gust_over_speed, **style.line(1))
    _limits(main, speed, full, result.highest_by)
    names = [(legs / 2, "legs", style.PURPLE), ((legs + both) / 2, "motor", style.BLUE), ((both + full) / 2, "reserve", style.GREEN)]
    for height, text, color in names:
        style.note(main, 2.5, float(height[10]), text, color, va="center")
    style.label_ends(main, [(speed, result.gust_over_speed, "road\nand gust", style.VERMILION)])
    main.plot([3.6 * scene.more.speed], [scene.more.leg_wheel_torque + scene.more.motor_torque], marker="o", color=style.INK, markersize=6)


def _limits(main, speed, boundary, names) -> None:
    """Write the active limit along the boundary wherever it changes."""
    names = np.asarray(names)
    starts = np.flatnonzero(np.r_[True, names[1:] != names[:-1]])
    for start, end in zip(starts, np.r_[starts[1:], len(names)], strict=True):
        if speed[end - 1] - speed[start] < 4:
            continue
        middle = (start + end) // 2
        style.label_curve(main, speed, np.minimum(boundary, STRONGEST - 6), str(names[middle]), float(speed[middle]), style.GREEN)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "main"]],
    ratios=[1.0, 2.0],
    margins={"right": 0.85},
    text="Wheel torque over speed split into legs, motor and reserve, with the active limit on the boundary, against road and gust",
)
