"""Climbs: which slope at which speed, and for how long; beside it how warm the same climb gets again and again."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side

KMH = 3.6
STEEPEST = 30.0  # %: what is steeper leaves the picture
HEAD = 1.35  # room above the curves, for words
RISES = (140.0, 200.0, 300.0, 400.0, 600.0, 800.0)  # % of the allowed rise
LOOKS = {"derating": style.line(1), "winding": style.line(4), "magnets": style.line(3)}
SAID = {"derating": "until derating begins", "winding": "until the winding's limit", "magnets": "until the magnets' limit"}
LEGS = style.line(2) | {"linewidth": 1.4}
CUT = {"color": style.QUIET, "linestyle": (0, (2, 2)), "linewidth": 1.4}


class Span(NamedTuple):
    """Ends of the axes: km/h, % of slope upwards and downwards, % of the allowed rise."""

    speed: float
    slope: float
    down: float
    rise: float


def span(scene, least: Span | None = None) -> Span:
    """Slopes to well beyond what is held for ever, or beyond where the motor gives no more."""
    result = scene.main
    ever = result.slope if np.isfinite(result.slope).any() else result.cut
    steepest = 100 * float(np.max(ever[np.isfinite(ever)], initial=0.0))
    high = max(1.85 * steepest, steepest + 8.0, 140 * result.slope_here)
    down = pen.nice(-120 * result.slope_here) if result.slope_here < 0 else 0.0
    rise = RISES[0]
    for one in () if scene.more is None else (scene.more, scene.more.descent):
        most = HEAD * max(float(np.max(share)) for share, *_ in _rises(one))
        rise = max(rise, next((end for end in RISES if end >= most), RISES[-1]))
    needed = Span(KMH * float(result.speed[-1]), min(pen.nice(high), STEEPEST), down, rise)
    return needed if least is None else Span(*map(max, needed, least))


def _rises(duties):
    """Rise over allowed rise in % after each climb; limits at or below the air's temperature leave no rise."""
    for temperature, limit, name in (
        (duties.winding, duties.winding_limit, "winding"),
        (duties.magnets, duties.magnet_limit, "magnets"),
    ):
        yield 100 * (temperature - duties.air) / max(limit - duties.air, 1.0), name


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    plane, often, held = axes["map"], axes["often"], scene.span
    plane.set(xlim=(0, held.speed), ylim=(-held.down, held.slope), xlabel="speed / km/h", ylabel="slope / %")
    plane.set_title("Which slope, and for how long?")
    if held.down:
        plane.axhline(0, color=style.QUIET, linewidth=1)
    often.set(xlim=(0.5, 12.5), ylim=(0, held.rise), xlabel="climb, again and again", title="Rise / % of allowed")
    often.set_xticks([1, 3, 6, 9, 12])
    often.axhline(100, color=style.INK, linewidth=1.2)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    plane, result, held = axes["map"], scene.main, scene.span
    speed = KMH * result.speed
    pen.area(plane, speed, 0.0, np.clip(100 * result.slope, 0.0, held.slope), style.BLUE, style.HATCHES[2])
    for slope, look in ((result.cut, CUT), (result.legs, LEGS)):
        level = np.where(np.isfinite(slope), 100 * slope, np.nan)
        pen.line(plane, speed, np.where(level <= 1.5 * held.slope, level, np.nan), **look)
    ends = [_line(plane, speed, result, number, held) for number in range(len(result.times))]
    style.label_ends(plane, [one for one in reversed(ends) if one])  # where a step of trim joins lines, for ever is the lowest
    pen.line(
        plane,
        KMH * result.speed_here,
        min(100 * result.slope_here, held.slope),
        marker="o",
        color=style.INK,
        markersize=8,
        linestyle="",
        clip_on=False,
    )
    _words(plane, scene, held)
    _often(axes["often"], scene, held)


def _line(plane, speed, result, number: int, held: Span):
    """One line of equal time, drawn as what ends it there and cut off at the top of the picture; gives its end and name."""
    slope, ended, ever = 100 * result.lines[:, number], result.lines_ended[:, number], np.isinf(result.times[number])
    inside = np.isfinite(slope) & (slope <= 1.1 * held.slope)
    for name, look in LOOKS.items():
        own = ended == name
        own = inside & (own | np.r_[False, own[:-1]])  # on to the next cause without a gap
        if own.any():
            pen.line(plane, speed, np.where(own, slope, np.nan), **(look | {"linewidth": 2.6 if ever else 1.1}))
    if not inside.any() or slope[inside][-1] > held.slope:
        return None
    color = LOOKS[str(ended[inside][-1])]["color"]
    return speed, np.where(inside, slope, np.nan), "for ever" if ever else f"{result.times[number] / 60:.0f} min", color


def _words(plane, scene, held: Span) -> None:
    """What is held here, and what the lines stand for, in the corner above them."""
    result = scene.main
    rows = [(_here(result, scene.later is not None), style.INK, {"marker": "o", "markersize": 6, "linestyle": "", "color": style.INK})]
    rows += [(SAID[name], look["color"], look) for name, look in LOOKS.items() if (result.lines_ended == name).any()]
    rows.append(("legs at critical power", style.GREEN, LEGS))
    if np.isfinite(result.cut).any():
        rows.append((f"{result.cut_by} cuts" if result.cut_by != "none" else "torque is cut", style.QUIET, CUT))
    pitch = 14.0 / 72 * plane.figure.dpi / plane.bbox.height
    x, top = _corner(result, held, pitch * len(rows))
    x = min(x, 0.22) if pen.is_narrow(plane) else x
    for row, (text, color, look) in enumerate(rows):
        level, sample = top - (row + 0.5) * pitch, [x + 0.035] if row == 0 else [x, x + 0.07]
        pen.line(plane, sample, [level] * len(sample), transform=plane.transAxes, **(look | ({"linewidth": 1.6} if row else {})))
        weight = {"fontweight": "bold"} if row == 0 else {}
        pen.words(plane, x + 0.1, level, text, color, 0.9, transform=plane.transAxes, paper=style.PAPER, **weight)
    if np.isposinf(result.slope).all():
        text = "every slope for ever:\ntorque limits come\nbefore heat"
        pen.words(plane, 0.03, 0.5, text, style.BLUE, 1.0, transform=plane.transAxes, paper=style.PAPER)


def _corner(result, held: Span, height: float) -> tuple[float, float]:
    """Left and upper end of the words, in shares of the axes: at the foot of what is held for ever, or above it all."""
    whole = held.slope + held.down
    ground, ever = held.down / whole, 100 * float(np.clip(np.median(result.slope), 0.0, 0.3)) / whole
    at, level = KMH * result.speed_here / held.speed, (100 * result.slope_here + held.down) / whole
    free = not (at < 0.75 and ground - 0.04 < level < ground + height + 0.06)
    if free and ever > height + 0.04:
        return 0.03, ground + height + 0.02
    return 0.36, 0.99


def _here(result, waiting: bool) -> str:
    if result.holds is None:
        return "computing …" if waiting else ""
    if np.isinf(result.holds):
        return "here: for ever"
    return f"here: {result.holds / 60:.0f} min" if result.holds >= 60 else f"here: {result.holds:.0f} s"


def _often(often, scene, held: Span) -> None:
    """Rise after each climb with a rest between and with the way down between."""
    duties, minutes = scene.more, scene.main.climb / 60
    place = {"transform": often.transAxes, "paper": style.PAPER}
    pen.words(often, 0.04, 0.95, f"{minutes:.0f} min up, then", style.INK, 0.85, **place)
    if duties is None:
        text = "computing …" if scene.later is not None else "no climb"
        pen.words(often, 0.5, 0.5, text, style.QUIET, 0.9, ha="center", **place)
        return
    curves = []
    for one, marker, fill in ((duties, "o", "full"), (duties.descent, "v", "none")):
        for (share, name), color in zip(_rises(one), (style.VERMILION, style.BLUE), strict=True):
            level = np.minimum(share, 2 * held.rise)
            pen.line(often, one.number, level, color=color, marker=marker, fillstyle=fill, markersize=4.5, linewidth=0.8)
            if one is duties:
                curves.append((one.number, level, name, color))
    pen.line(often, 0.08, 0.885, marker="o", color=style.INK, markersize=4.5, transform=often.transAxes)
    pen.words(often, 0.13, 0.885, _said("rest", duties), style.INK, 0.85, **place)
    pen.line(often, 0.08, 0.82, marker="v", fillstyle="none", color=style.INK, markersize=4.5, transform=often.transAxes)
    pen.words(often, 0.13, 0.82, _said("way down", duties.descent), style.INK, 0.85, **place)
    style.label_ends(often, curves)


def _said(name: str, duties) -> str:
    if np.isinf(duties.climbs):
        return f"{name}: no limit"
    return (
        f"{name}: {duties.ended_by} in climb {duties.climbs + 1:.0f}" if duties.climbs < 100 else f"{name}: limit after {duties.climbs:.0f}"
    )


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "map", "often"]],
    ratios=[0.85, 1.9, 1.05],
    bare=("side",),
    margins={"left": 0.1, "right": 0.75, "columns": 0.95},
    narrow_margins={"left": 0.72, "right": 0.75},
    narrow_heights=[3.3, 3.9, 3.2],
    span=lambda scene: scene.key,
    text="Slope over speed with lines of equal time until heat ends it, the slopes that are held for ever, what ends them, and the case's "
    "own point; beside it the rise over allowed rise after each of twelve climbs, with a rest and with the way down between",
)
