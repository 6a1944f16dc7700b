"""Stopping: distance over speed by each means, and what ends each from the case's speed."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side

KMH = 3.6
LONGEST = 60.0  # metres: a longer stop leaves the picture
ROWS = (
    ("legs", "legs", 0, style.BLUE, "distance_over_legs", "legs_distance", "legs_by"),
    ("legs and motor", "with motor", 2, style.GREEN, "distance_over_motor", "motor_distance", "motor_by"),
    ("packs full", "packs full", 3, style.PURPLE, "distance_over_full", "full_distance", "full_by"),
    ("legs and brake", "with brake", 1, style.VERMILION, "distance_over_brake", "brake_distance", "brake_by"),
)


class Span(NamedTuple):
    """Ends of the axes: speed in km/h, distance in metres."""

    speed: float
    distance: float


def span(scene, least: Span | None = None) -> Span:
    """Room for one and a half times the case's speed, and for the legs' distance from there."""
    result = scene.main
    fastest = pen.nice(max(KMH * 1.4 * result.speed_now, 10.0))
    shown = result.speed * KMH <= fastest
    every = [getattr(result, name)[shown] for *_, name, _, _ in ROWS if getattr(result, name) is not None]
    far = max((float(np.max(one[np.isfinite(one)], initial=0.0)) for one in every), default=0.0)
    needed = Span(
        fastest, pen.nice(min(1.05 * max(far, float(result.distance_least_lean[shown][-1]) if shown.any() else 0.0, 1.0), LONGEST))
    )
    return needed if least is None else Span(*map(max, needed, least))


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    main, held = axes["main"], scene.span
    main.set(xlim=(0, held.speed), ylim=(0, held.distance), xlabel="speed / km/h", ylabel="distance / m", title="How far to a stop?")
    axes["ends"].set_axis_off()
    axes["ends"].set(xlim=(0, 1), ylim=(0, 1))


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    main, result = axes["main"], scene.main
    x, top = KMH * result.speed, 2 * scene.span.distance
    low, high = (np.minimum(one, top) for one in (result.distance_most_lean, result.distance_least_lean))
    pen.area(main, x, low, high, style.INK, style.HATCHES[0])
    pen.line(main, [KMH * result.speed_now] * 2, [0, scene.span.distance], color=style.QUIET, linewidth=1)
    curves = []
    for _, text, index, color, name, *_ in ROWS:
        distance = getattr(result, name)
        if distance is not None:
            shown = np.where(distance <= top, distance, np.nan)
            pen.line(main, x, shown, **style.line(index))
            curves.append((x, shown, text, color))
    style.label_ends(main, curves)
    pen.words(
        main,
        0.03,
        0.96,
        "hatched: what a lean back\nof 6° to 14° allows",
        style.INK,
        0.9,
        va="top",
        transform=main.transAxes,
        paper=style.PAPER,
    )
    _ends(axes["ends"], result)


def _ends(axes, result) -> None:
    """From the case's speed: distance, time and lean of each means, and what ends it."""
    pitch = 14.5 / 72 * axes.figure.dpi / axes.bbox.height
    level = 1.0 - 0.4 * pitch
    pen.words(axes, 0.0, level, f"From {KMH * result.speed_now:.1f} km/h", style.INK, 1.1, fontweight="bold")
    level -= 1.4 * pitch
    for name, _, _, color, _, distance, by in ROWS:
        way, far = result.ways.get(name), getattr(result, distance)
        pen.words(axes, 0.0, level, name, color, 1.0, fontweight="bold")
        if way is None:
            lines = ["not in this build"]
        else:
            _, time, lean, _ = way.at(result.speed_now)
            stops = f"{far:.1f} m, {time:.1f} s, lean {np.degrees(lean):+.0f}°" if np.isfinite(far) else "no stop"
            lines = [stops.replace("-", "−"), f"ended by: {getattr(result, by)}"]
        for number, text in enumerate(lines, 1):
            pen.words(axes, 0.0, level - number * pitch, text)
        level -= (len(lines) + 1.35) * pitch


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "main", "ends"]],
    ratios=[1.0, 1.55, 1.05],
    bare=("side",),
    margins={"left": 0.1, "right": 0.1, "columns": 0.95},
    narrow_margins={"left": 0.72, "right": 0.95},
    span=lambda scene: scene.key,
    text="Distance to a stop over speed by legs, motor and brake, and what a lean back allows; beside it what ends each",
)
