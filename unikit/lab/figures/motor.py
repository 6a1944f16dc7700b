"""Motor: the wheel torque at each speed split into legs, motor and reserve, against what a gust asks."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib import rcParams

from .. import style
from ..picture import Picture
from . import pen, side

KMH = 3.6
SHORTEST = 0.16  # share of the axis: a limit that holds for less is not named


class Span(NamedTuple):
    """Ends of the axes: km/h, newton metres upwards and downwards."""

    speed: float
    highest: float
    lowest: float


def span(scene, least: Span | None = None) -> Span:
    """Speeds that this rider can pedal, and the torques that belong to them."""
    fastest = pen.nice(1.25 * KMH * max(scene.machine.pedalled_speed, scene.more.speed, 1.0))
    result = scene.main
    near = KMH * result.speed <= fastest
    _, both, full, floor = (curve[near] for curve in _stack(result))
    most = max(1.18 * float(full.max()), 1.05 * float(result.gust_over_speed[near].max()))
    needed = Span(fastest, pen.nice(most), pen.nice(-1.2 * min(float(floor.min()), float(both.min()), 0.0)))
    return needed if least is None else Span(*map(max, needed, least))


def _stack(result):
    """Legs, legs and motor, both with the reserve, and the legs with the motor braking as hard as it can."""
    legs = result.leg_torque_over_speed
    both = legs + result.motor_torque_over_speed
    return legs, both, both + result.reserve_over_speed, np.minimum(legs + result.lowest, both)


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    main, held = axes["main"], scene.span
    main.set(xlim=(0, held.speed), ylim=(-held.lowest, held.highest), xlabel="speed / km/h", ylabel="torque at the wheel / N·m")
    main.set_title("Legs, motor and reserve")
    main.axhline(0, color=style.INK, linewidth=1)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    result, main, held = scene.main, axes["main"], scene.span
    speed = KMH * result.speed
    near = np.flatnonzero(speed <= held.speed * (1 + 1e-9))
    speed, (legs, both, full, floor), gust = speed[near], (curve[near] for curve in _stack(result)), result.gust_over_speed[near]
    pen.area(main, speed, 0, legs, style.PURPLE, style.HATCHES[2])
    pen.area(main, speed, legs, both, style.BLUE, style.HATCHES[0])
    above = np.clip(full, 0.0, None), np.clip(both, 0.0, None)  # below zero the braking shares are drawn, above it what can be added
    pen.area(main, speed, above[1], above[0], style.GREEN, style.HATCHES[1])
    pen.line(main, speed, floor, color=style.BLUE, linewidth=1.3, linestyle=(0, (1.2, 1.2)))
    pen.line(main, speed, full, **style.line(2))
    pen.line(main, speed, both, **style.line(0))
    pen.line(main, speed, gust, **style.line(1))
    _limits(main, speed, full, np.asarray(result.highest_by)[near], style.GREEN, 1, held.speed)
    _limits(main, speed, floor, np.asarray(result.lowest_by)[near], style.BLUE, -1, held.speed)
    here, torque = KMH * scene.more.speed, scene.more.leg_wheel_torque + scene.more.motor_torque
    pen.line(main, [here, here], [-held.lowest, torque], color=style.INK, linewidth=0.9, linestyle=(0, (2, 2)))
    pen.line(main, here, torque, marker="o", color=style.INK, markersize=7)
    style.label_ends(
        main,
        [
            (speed, legs / 2, "legs", style.PURPLE),
            (speed, (legs + both) / 2, "motor", style.BLUE),
            (speed, (above[0] + above[1]) / 2, "reserve", style.GREEN),
            (speed, gust, "gust asks", style.VERMILION),
        ],
    )


def _limits(main, speed, boundary, names, color: str, way: int, fastest: float) -> None:
    """Write the active limit along the boundary wherever it changes; on a slope, to the side where the text is clear of the curve."""
    starts = np.flatnonzero(np.r_[True, names[1:] != names[:-1]])
    pixels = main.bbox.width / fastest, main.bbox.height / np.ptp(main.get_ylim())
    for start, end in zip(starts, np.r_[starts[1:], len(names)], strict=True):
        if speed[end - 1] - speed[start] < SHORTEST * fastest:
            continue
        words = str(names[start]) if way > 0 else f"braking: {names[start]}"
        half = (0.30 * len(words) * rcParams["font.size"] + 4) / 72 * main.figure.dpi / pixels[0]  # of the text, in km/h
        middle = (start + end) // 2
        run = max(end - 1 - middle, 1) * (speed[1] - speed[0]) * pixels[0]
        rise = (boundary[end - 1] - boundary[middle]) * pixels[1] / run
        aside = int(np.sign(rise)) * -way if abs(rise) > 0.12 else 0
        room = {0: (half, half), 1: (0.0, 2 * half), -1: (2 * half, 0.0)}[aside]
        at = float(np.clip(speed[middle], room[0], max(fastest - room[1], room[0])))
        style.label_curve(main, speed, boundary, words, at, color, (7 * aside, 7 * way))


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "main"]],
    ratios=[1.0, 2.0],
    bare=("side",),
    margins={"left": 0.1, "right": 0.95, "columns": 0.95},
    narrow_margins={"left": 0.72, "right": 0.9},
    span=lambda scene: scene.key,
    text="Wheel torque over speed split into legs, motor and reserve, with the active limits on the boundaries, against road and gust",
)
