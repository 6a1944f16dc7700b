"""Motor: the wheel torque at each speed split into legs, motor and reserve, against what a gust asks."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side
from .naming import around, name_stretches

KMH = 3.6


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
    here, torque = KMH * scene.more.speed, scene.more.leg_wheel_torque + scene.more.motor_torque
    pen.line(main, [here, here], [-held.lowest, torque], color=style.INK, linewidth=0.9, linestyle=(0, (2, 2)))
    pen.line(main, here, torque, marker="o", color=style.INK, markersize=7)
    taken = [around(main, *main.transData.transform((here, torque)), "o")]
    name_stretches(main, speed, full, np.asarray(result.highest_by)[near], style.GREEN, 1, taken)
    braking = np.char.add("braking: ", np.asarray(result.lowest_by)[near].astype(str))
    name_stretches(main, speed, floor, braking, style.BLUE, -1, taken)
    style.label_ends(
        main,
        [
            (speed, legs / 2, "legs", style.PURPLE),
            (speed, (legs + both) / 2, "motor", style.BLUE),
            (speed, (above[0] + above[1]) / 2, "reserve", style.GREEN),
            (speed, gust, "gust asks", style.VERMILION),
        ],
    )


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
