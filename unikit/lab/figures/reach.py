"""Reach: what ends the motor's torque both ways at each speed, how much is left from the case, and where a trip is dangerous."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side
from .naming import Box, around, name_stretches

KMH = 3.6


class Span(NamedTuple):
    """Ends of the axes: km/h backward and forward, newton metres upwards and downwards."""

    backward: float
    speed: float
    highest: float
    lowest: float


def span(scene, least: Span | None = None) -> Span:
    """The speeds of the result, and room for its torques and for the names outside of them."""
    result, here = scene.main, scene.more
    up = max(1.55 * float(result.highest.max()), 1.15 * (max(here.torque, 0.0) + here.gust_torque))
    down = 1.55 * float(-result.lowest.min())
    needed = Span(-KMH * float(result.speed[0]), KMH * float(result.speed[-1]), pen.nice(up), pen.nice(down))
    return needed if least is None else Span(*map(max, needed, least))


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    main, held = axes["main"], scene.span
    main.set(xlim=(-held.backward, held.speed), ylim=(-held.lowest, held.highest), ylabel="motor torque at the wheel / N·m")
    main.set(xlabel="backing up  ←  speed / km/h", title="What ends the torque?")
    main.axhline(0, color=style.INK, linewidth=1)
    main.axvline(0, color=style.INK, linewidth=1)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    main, result, held = axes["main"], scene.main, scene.span
    taken: list[Box] = []
    speed = KMH * result.speed
    _hazards(main, result, held, taken)
    pen.area(main, speed, result.lowest, result.highest, style.BLUE, "")  # its edge is drawn: hatching is left to the hazards
    both = np.r_[result.highest, np.nan, result.lowest]
    pen.line(main, np.r_[speed, np.nan, speed], both, **{**style.line(0), "linewidth": 2.2})
    _quadrants(main, held, taken)
    _left(main, scene.more, held, taken)
    none = (result.highest <= 0) & (result.lowest >= 0)
    # The step down to no torque belongs to what makes it; its name stands at the upper half alone.
    step = np.roll(none, -1) & ~none & (speed > 0) | np.roll(none, 1) & ~none & (speed < 0)
    upper = np.where(step, np.where(speed > 0, np.roll(result.highest_by, -1), np.roll(result.highest_by, 1)), result.highest_by)
    name_stretches(main, speed, result.highest, upper, style.BLUE, 1, taken)
    name_stretches(main, speed, result.lowest, np.where(none | step, "", result.lowest_by), style.BLUE, -1, taken)


def _put(main, x: float, y: float, text: str, color: str, taken: list[Box], ha: str = "center", va: str = "center", **options) -> None:
    """A text at a place given in shares of the axes, kept among the places that are taken."""
    pen.words(main, x, y, text, color, ha=ha, va=va, transform=main.transAxes, paper=style.PAPER, **options)
    taken.append(around(main, *main.transAxes.transform((x, y)), text, ha, va))


def _hazards(main, result, held: Span, taken: list[Box]) -> None:
    """Speeds at which a controller that trips charges the packs, and those at which it passes its own rating."""
    narrow = pen.is_narrow(main)
    rated = KMH * result.rating_speed
    charging = min(KMH * result.base_speed, rated)
    text = f"{result.rating:.0f} V"
    words = ("charges the packs", f"passes {text}") if narrow else ("charges the packs, uncontrolled", f"passes the {text} rating")
    rows = (
        (charging, rated, style.ORANGE, style.HATCHES[1], (f"trip from {charging:.0f} km/h:", words[0])),
        (rated, np.inf, style.VERMILION, style.HATCHES[3], (f"trip from {rated:.0f} km/h:", words[1])),
    )
    level = 0.02
    for low, high, color, hatch, words in reversed(rows):
        ends = [(way, end) for way, end in ((1, held.speed), (-1, held.backward)) if low < end]
        for way, end in ends:
            pen.area(main, way * np.array([low, min(high, end)]), -held.lowest, held.highest, color, hatch)
        edges = np.repeat([way * low for way, _ in ends], 3)
        upright = np.tile([-held.lowest, held.highest, np.nan], len(ends))
        pen.line(main, edges, upright, color=color, linewidth=1.2, linestyle=(0, (4, 2)))
        _put(main, 0.99, level, ("\n" if narrow else " ").join(words), color, taken, "right", "bottom")
        level += 0.1 if narrow else 0.075


def _quadrants(main, held: Span, taken: list[Box]) -> None:
    """Words around the ends of the upright axis: which way the motor works in each quarter."""
    middle = held.backward / (held.backward + held.speed)
    back = "holding\nback" if pen.is_narrow(main) else "holding back"
    for x, y, text in ((-1, 1, back), (1, 1, "driving"), (-1, -1, "driving"), (1, -1, back)):
        ha, va = ("left" if x > 0 else "right"), ("top" if y > 0 else "bottom")
        _put(main, middle + 0.012 * x, 0.985 if y > 0 else 0.015, text, style.QUIET, taken, ha, va)


def _left(main, here, held: Span, taken: list[Box]) -> None:
    """The case's own point, the way from it to the end of the torque, and what a gust asks."""
    x = KMH * here.speed
    aside = 7 / main.bbox.width * (held.backward + held.speed)
    pixels = main.transData.transform([(x, here.torque), (x, here.end), (x + aside, here.torque + here.gust_torque)])
    ends = {"marker": "_", "markersize": 12, "markeredgewidth": 1.8, "markevery": [1]}
    pen.line(main, [x, x], [here.torque, here.end], color=style.INK, linewidth=1.6, **ends)
    if here.gust_torque > 0:
        up = here.torque + here.gust_torque
        pen.line(main, [x + aside] * 2, [here.torque, up], **{**style.line(1), "linewidth": 1.8}, **{**ends, "markersize": 10})
    pen.line(main, x, here.torque, marker="o", color=style.INK, markersize=7)
    (_, y0), (_, y1), (across, gusted) = pixels
    taken.append(Box(pixels[0, 0] - 6, min(y0, y1, gusted), across + 4, max(y0, y1, gusted) + 3))
    place = main.transAxes.inverted()
    text = f"{here.left:.1f} N·m left"
    room = around(main, 0.0, 0.0, text)
    wide = room.right - room.left
    ha, at = ("right", pixels[0, 0] - 6) if pixels[0, 0] - 6 - wide > main.bbox.x0 else ("left", across + 6)
    _put(main, *place.transform((at, (y0 + y1) / 2)), text, style.INK, taken, ha)
    if here.gust_torque > 0:
        height = (y0 + 0.3 * (gusted - y0) if gusted - y0 > 24 else gusted + 8) if ha == "right" else y0 - 9
        _put(main, *place.transform((across + 6, height)), f"gust asks {here.gust_torque:.1f}", style.VERMILION, taken, "left")


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "main"]],
    ratios=[1.0, 2.5],
    bare=("side",),
    margins={"left": 0.1, "right": 0.15, "columns": 0.85},
    narrow_margins={"left": 0.72, "right": 0.12},
    narrow_heights=[3.3, 4.6],
    span=lambda scene: scene.key,
    text="Motor torque over road speed in four quadrants with the limit that ends it along each stretch, what is left from the case's "
    "point and what a gust asks, and the speeds from which a controller that trips charges the packs and passes its voltage rating",
)
