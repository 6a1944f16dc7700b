"""A ride log: force left for road and air over the air speed squared, what is told together, and predicted against measured."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ...studies import ride_log
from .. import style
from ..picture import Picture
from . import pen


class Span(NamedTuple):
    """Ends of the axes."""

    behind: float
    pressure: float
    low: float
    high: float
    rolling: float
    area: float

    @property
    def words(self) -> float:
        """Where words begin beside the axis of force."""
        return self.behind + 0.02 * (self.pressure - self.behind)


def span(scene, least: Span | None = None) -> Span:
    """Room for all stretches, also in the wind that the fit finds, and for ellipses about as wide as a good hour's ride leaves them."""
    seen, found = scene.main, scene.more
    low, high = float(np.min(seen.measured)), float(np.max(seen.measured))
    across = seen.pressure if found is None else np.append(found.pressure, seen.pressure)
    rolling, area = 2.2 * seen.believed_rolling, 1.9 * seen.believed_area
    if found is not None:
        rolling, area = max(rolling, found.rolling_coefficient_high), max(area, found.drag_area_high)
    needed = Span(
        -pen.nice(-1.1 * float(np.min(across))) if np.min(across) < 0 else 0.0,
        pen.nice(max(1.5 * float(np.max(seen.pressure)), 1.1 * float(np.max(across)))),
        -pen.nice(max(-low, 1.0) * 1.1),
        pen.nice(1.1 * max(high, 1.0)),
        pen.nice(rolling),
        pen.nice(area),
    )
    if least is None:
        return needed
    wider = Span(*map(max, needed, least))
    return wider._replace(behind=min(needed.behind, least.behind), low=min(needed.low, least.low))


def _frame(axes, scene) -> None:
    held = scene.span
    main, pair, other, against = (axes[name] for name in ("main", "pair", "other", "against"))
    main.set(xlim=(held.behind, held.pressure), ylim=(held.low, held.high))
    main.set(xlabel="air speed squared / m²/s²", ylabel="force but for slope and inertia / N")
    main.set_title("Left for road and air")
    for part in (pair, other):
        part.set(xlim=(0, 1e3 * held.rolling), xlabel="rolling coefficient · 1000")
    pair.set(ylim=(0, held.area), ylabel="drag area / m²", title="Told together")
    other.set(ylim=(70, 120), ylabel="drive efficiency / %")
    against.set(xlim=(held.low, held.high), ylim=(held.low, held.high), xlabel="predicted / N", ylabel="measured / N")
    against.set_title("Predicted, measured")
    against.plot([held.low, held.high], [held.low, held.high], color=style.QUIET, linewidth=1.0)
    other.axhline(100, color=style.QUIET, linewidth=1.0)


def _marks(axes, scene) -> None:
    seen, found, held = scene.main, scene.more, scene.span
    main, against = axes["main"], axes["against"]
    believed = style.line(1)
    slope = np.argsort(seen.pressure)
    pen.line(main, seen.pressure[slope], seen.predicted[slope], **(believed | {"linewidth": 1.6}))
    points = seen if found is None else found
    calm = np.ones(len(points.measured), bool) if found is None else ~found.far
    look = {"linestyle": "", "marker": "o", "markersize": 4, "color": style.INK, "markerfacecolor": style.GROUND, "markeredgewidth": 0.8}
    pen.line(main, points.pressure[calm], points.measured[calm], **look)
    if found is None:
        pen.words(main, 0.97 * held.pressure, held.low + 0.06 * (held.high - held.low), "being fitted", style.QUIET, ha="right")
    else:
        _fitted(main, found, held)
        _pairs(axes, seen, found)
    pen.line(against, points.predicted[calm], points.measured[calm], **look)
    if found is not None and found.far.any():
        wild = look | {"marker": "X", "markersize": 8, "color": style.PURPLE, "markerfacecolor": style.PURPLE}
        pen.line(main, found.pressure[found.far], found.measured[found.far], **wild)
        pen.line(against, found.predicted[found.far], found.measured[found.far], **wild)
        text = "X stands out"
        pen.words(against, held.high, held.low + 0.06 * (held.high - held.low), text, style.PURPLE, 0.9, ha="right", paper=style.PAPER)
    pen.words(main, held.words, held.high * 0.93, "build file, still air", believed["color"], paper=style.PAPER)


def _fitted(main, found, held: Span) -> None:
    """The fitted line with its band of 95 %."""
    across = np.linspace(held.behind, held.pressure, 25)
    line, half = ride_log.line_of(found, across)
    pen.area(main, across, line - half, line + half, style.BLUE, style.HATCHES[0])
    pen.line(main, across, line, color=style.BLUE, linewidth=2.0)
    height = held.high - 0.15 * (held.high - held.low)
    pen.words(main, held.words, height, "fit with its 95 % band", style.BLUE, paper=style.PAPER)


def _pairs(axes, seen, found) -> None:
    """Outlines that hold two parameters together in 95 of 100 rides, and what the build file says."""
    for name, place, scale, value, color in (
        ("pair", 1, 1.0, seen.believed_area, style.GREEN),
        ("other", 2, 100.0, seen.believed_efficiency, style.GREEN),
    ):
        outline = ride_log.ellipse(found, 0, place) * (1e3, scale)
        axes[name].add_artist(pen.patch(outline, color, style.HATCHES[2]))
        pen.line(axes[name], *outline.T, color=color, linewidth=1.6)
        pen.line(axes[name], 1e3 * found.rolling_coefficient, scale * found.fit.value[place], marker="o", color=color, markersize=5)
        pen.line(axes[name], 1e3 * seen.believed_rolling, scale * value, marker="D", color=style.line(1)["color"], markersize=6)


picture = Picture(
    _frame,
    _marks,
    size=(9.6, 4.6),
    mosaic=[["main", "against", "pair"], ["main", "against", "other"]],
    ratios=[1.45, 1.0, 0.8],
    margins={"left": 0.72, "right": 0.15, "columns": 0.86, "rows": 0.75},
    narrow_margins={"left": 0.72, "right": 0.15},
    span=lambda scene: scene.span,
    text="What a ride log leaves for road and air over the air speed squared, with the fitted line and its band; outlines of 95 % for "
    "rolling coefficient with drag area and with drive efficiency; and predicted against measured force of every stretch",
)
