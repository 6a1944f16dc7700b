"""Route: the profile with what was mended, and the climb that each smoothing length leaves."""

from __future__ import annotations

import numpy as np

from .. import style
from ..picture import Picture
from . import pen

SHORTEST = 2.0  # m: left end of the axis of smoothing
POINTS = 1500  # of a profile that are drawn


def _span(result) -> tuple[float, float, float, float]:
    """End of the distance in kilometres, lowest and highest altitude, greatest climb."""
    recorded = result.repaired
    known = recorded.way.altitude[np.isfinite(recorded.way.altitude)]
    both = np.concatenate([recorded.altitude, np.clip(known, recorded.altitude.min() - 30, recorded.altitude.max())])
    low = 10 * np.floor(both.min() / 10)
    room = pen.nice(1.65 * float(both.max() - low))  # the key stands above the profile
    most = pen.nice(1.3 * float(min(result.climbs[1], 2.5 * max(np.interp(30.0, result.lengths, result.climbs), 1.0))))
    last = np.ceil(result.length / 100) / 10  # the road's length changes by metres as it is smoothed; the axis should not
    return float(last), float(low), float(low + room), most


def _frame(axes, result) -> None:
    last, low, high, most = _span(result)
    course, climb = axes["profile"], axes["climb"]
    course.set(xlim=(0, last), ylim=(low, high), xlabel="distance / km", ylabel="altitude / m", title="Profile and its faults")
    climb.set(xscale="log", xlim=(SHORTEST, result.lengths[-1]), ylim=(0, most), xlabel="smoothing length / m", ylabel="climb / m")
    climb.set_title("Climb over smoothing")
    places = [place for place in (2, 5, 10, 20, 50, 100, 200, 500) if SHORTEST <= place <= result.lengths[-1]]
    climb.set_xticks(places, [f"{place}" for place in places])
    climb.set_xticks([], minor=True)


def _marks(axes, result) -> None:
    last, low, high, most = _span(result)
    course, climb, found = axes["profile"], axes["climb"], result.repaired
    scale = result.length / found.distance[-1] / 1000  # the road is a little longer than the map says
    at, raw = scale * found.distance, found.way.altitude
    some = slice(None, None, max(1, len(at) // POINTS))
    if found.noise:
        dots = {"linestyle": "", "marker": ".", "markersize": 3, "alpha": 0.5, "markeredgewidth": 0}
        pen.line(course, at[some], raw[some], color=style.BLUE, **dots)
    pen.line(course, result.distance / 1000, result.altitude, color=style.INK, linewidth=1.4)
    leaps = found.spikes
    if leaps.any():
        shown = np.clip(raw[leaps], low, high)
        pen.line(course, at[leaps], shown, linestyle="", marker="x", markersize=5, color=style.VERMILION, clip_on=False)
    for bad, color, hatch in ((found.stuck, style.ORANGE, 0), (found.missing, style.PURPLE, 2)):
        for first, end in _runs(bad):
            x = np.array([at[max(first - 1, 0)], at[min(end, len(at) - 1)]])
            pen.area(course, x, low, high, color, style.HATCHES[hatch])
    _key(course, result)
    _climb(climb, result, most)


def _runs(bad: np.ndarray) -> list[tuple[int, int]]:
    """First and last-but-one index of each run."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], bad.astype(int), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _key(course, result) -> None:
    """What the signs mean, in words above the profile."""
    found = [
        ("✕ spikes", result.spikes, style.VERMILION),
        ("//// hung", result.stuck, style.ORANGE),
        (".... missing", result.missing, style.PURPLE),
    ]
    lines = [(f"{name}: {count:.0f}", color) for name, count, color in found if count]
    if result.closing_error == result.closing_error:
        lines.append((f"drift taken out: {result.closing_error:+.1f} m".replace("-", "−"), style.QUIET))
    lines = lines or [("nothing to mend", style.QUIET)]
    lines.append((f"▬ steepest 100 m: {100 * result.steepest:.1f} %", style.GREEN))
    for place, (text, color) in enumerate(lines):
        pen.words(course, 0.02, 0.965 - 0.068 * place, text, color, va="top", transform=course.transAxes, paper=style.PAPER)
    curves = [("• as recorded", style.BLUE)] * bool(result.noise) + [("— smoothed", style.INK)]
    for place, (text, color) in enumerate(curves):
        options = {"ha": "right", "va": "top", "transform": course.transAxes, "paper": style.PAPER}
        pen.words(course, 0.98, 0.965 - 0.068 * place, text, color, **options)
    x = np.array([result.steepest_at, result.steepest_at + 100.0])
    y = np.interp(x, result.distance, result.altitude)
    pen.line(course, x / 1000, y, color=style.GREEN, linewidth=5, solid_capstyle="butt")


def _climb(climb, result, most: float) -> None:
    """Climb over smoothing, what noise would add on a level road, and the length that was chosen."""
    drawn = result.lengths > 0
    length, rises = result.lengths[drawn], result.climbs[drawn]
    pen.line(climb, length, np.minimum(rises, 1.5 * most), **style.line(0))
    noise = result.noise_climbs[drawn]
    if result.noise:
        known = np.isfinite(noise) & (noise < 1.2 * most)
        pen.area(climb, length[known], 0, np.minimum(noise[known], most), style.VERMILION, style.HATCHES[0])
        pen.words(
            climb,
            0.97,
            0.03,
            "hatched: what noise alone\nadds on level road",
            style.VERMILION,
            0.85,
            ha="right",
            va="bottom",
            transform=climb.transAxes,
        )
    chosen = max(result.smoothing, SHORTEST)
    height = min(result.climb, most)
    pen.line(climb, [chosen, chosen], [0, height], color=style.INK, linewidth=1.2, linestyle=(0, (5, 2)))
    pen.line(climb, chosen, height, marker="s", markersize=8, color=style.INK, clip_on=False)
    told = f"{result.climb:.0f} m at {result.smoothing:.0f} m\nas the file has it: {result.climb_recorded:.0f} m"
    pen.words(climb, 0.97, 0.965, told, style.INK, ha="right", va="top", transform=climb.transAxes, paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["profile", "climb"]],
    ratios=[1.5, 1.0],
    narrow_margins={"left": 0.72, "right": 0.2},
    text="Altitude over distance as recorded and as mended and smoothed, faults marked; beside it the climb over the smoothing length",
    span=_span,
)
