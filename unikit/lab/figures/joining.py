"""Joining: the current over the difference in voltage with the limits of the cells, and how it dies away."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side

LABELLED = np.arange(0.0, 1.01, 0.1)  # states of charge of the others that are marked
TIMES = (60, 120, 300, 600, 900, 1200, 1800, 2700, 3600, 7200, 14400, 28800)  # seconds: ends of the time axis


class Span(NamedTuple):
    """Ends of the axes: volts both ways, amperes both ways, seconds."""

    lower: float
    higher: float
    taking: float
    giving: float
    time: float


def span(scene, least: Span | None = None) -> Span:
    """Room for every charge that the others could have."""
    result = scene.main
    low, high = float(result.sweep_difference.min()), float(result.sweep_difference.max())
    ohms = result.resistance
    giving = max(high / ohms, 1.4 * min(result.limit_giving, 2 * high / ohms + 1e-9), 1e-3)
    taking = max(-low / ohms, 1.4 * min(result.limit_taking, 0.25 * giving), 1e-3)
    time = next((end for end in TIMES if end >= result.time[-1] - 1e-9), pen.nice(float(result.time[-1])))
    needed = Span(pen.nice(1.15 * taking * ohms), pen.nice(1.15 * giving * ohms), 0.0, 0.0, float(time))
    needed = needed._replace(taking=needed.lower / ohms, giving=needed.higher / ohms)
    return needed if least is None else Span(*map(max, needed, least))


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    main, course, held = axes["main"], axes["course"], scene.span
    main.set(xlim=(-held.lower, held.higher), ylim=(-held.taking, held.giving), ylabel="current at first / A")
    main.set(xlabel="its voltage over that of the others / V", title="May they be joined?")
    course.set(xlim=(0, held.time / 60), ylim=(-held.taking, held.giving), xlabel="time since they were joined / min", ylabel="current / A")
    for one in (main, course):
        one.axhline(0, color=style.INK, linewidth=1)
    main.axvline(0, color=style.INK, linewidth=1)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    result, held = scene.main, scene.span
    for name, ends in (("main", (-held.lower, held.higher)), ("course", (0.0, held.time / 60))):
        _limits(axes[name], result, held, np.array(ends))
    _line(axes["main"], result)
    _course(axes["course"], result)


def _limits(one, result, held: Span, ends: np.ndarray) -> None:
    """What the cells do not bear, above and below."""
    for limit, edge in ((result.limit_giving, held.giving), (-result.limit_taking, -held.taking)):
        if abs(limit) < abs(edge):
            pen.area(one, ends, limit, edge, style.VERMILION, style.HATCHES[1])
            pen.line(one, ends, [limit, limit], **style.line(1))


def _line(main, result) -> None:
    """Current over voltage difference is one straight line; on it the charges that the others might have."""
    pen.line(main, result.sweep_difference, result.sweep_current, **(style.line(0) | {"linewidth": 2.2}))
    charges = LABELLED[(result.sweep_charge[0] <= LABELLED) & (result.sweep_charge[-1] >= LABELLED)]
    x, y = (np.interp(charges, result.sweep_charge, one) for one in (result.sweep_difference, result.sweep_current))
    pen.line(main, x, y, linestyle="", marker="o", markersize=4, color=style.BLUE)
    pixels, last = main.transData.transform(np.column_stack([x, y])), None
    for charge, place, at, up in zip(charges, pixels, x, y, strict=True):
        if last is None or abs(place[0] - last) > 42:
            text = f"others at {100 * charge:.0f} % " if last is None and not pen.is_narrow(main) else f"{100 * charge:.0f} % "
            pen.words(main, at, up, text, style.BLUE, 0.85, ha="right", va="bottom", paper=style.PAPER)
            last = place[0]
    now = result.difference / result.resistance
    pen.line(main, result.difference, now, marker="D", markersize=9, color=style.INK)
    room = f"{abs(result.difference):.1f} V apart, {result.allowed:.1f} V allowed"
    color = style.GREEN if abs(result.difference) <= result.allowed else style.VERMILION
    for level, text in ((0.92, room), (0.78, f"{result.peak:.1f} A at first")):
        pen.words(main, 0.02, level, text, color, 0.95, transform=main.transAxes, paper=style.PAPER)


def _course(course, result) -> None:
    """The current after joining, and for how long it is above the limits."""
    minutes = result.time / 60
    pen.line(course, minutes, result.current, **(style.line(0) | {"linewidth": 2.2}))
    sign = 1 if result.difference >= 0 else -1
    over = f"{result.time_over:.0f} s above the limits" if 0 < result.time_over < np.inf else "never above the limits"
    if np.isinf(result.time_over):
        over = "the cells take no charge"
    color = style.GREEN if result.time_over == 0 else style.VERMILION
    rows = ((over, color), (f"{abs(result.moved) / 3600:.2f} A·h move, {result.loss / 1e3:.1f} kJ of heat", style.INK))
    limit = result.limit if sign > 0 else -result.limit
    if abs(limit) < abs(course.get_ylim()[1 if sign > 0 else 0]):
        text = f"{result.limit:.1f} A, {result.allowed_by} "
        edge = "bottom" if sign > 0 else "top"
        pen.words(course, course.get_xlim()[1], limit, text, style.VERMILION, 0.85, ha="right", va=edge, paper=style.PAPER)
    for row, (text, shade) in enumerate(rows):
        level = 0.92 - 0.14 * row if sign > 0 else 0.2 - 0.13 * row
        pen.words(course, 0.98, level, text, shade, 0.95, ha="right", transform=course.transAxes, paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "main"], ["side", "course"]],
    ratios=[1.0, 2.2],
    size=(8.6, 5.0),
    bare=("side",),
    margins={"left": 0.1, "right": 0.2, "columns": 0.85, "rows": 0.75},
    narrow_margins={"left": 0.72, "right": 0.15},
    span=lambda scene: scene.key,
    text="Current at the moment of joining over the difference in voltage, with what the cells bear either way and the charge that the "
    "other packs might have; below, how the current dies away",
)
