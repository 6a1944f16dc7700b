"""What the hub bears: the torque of a stumble on its way from the cranks, as bands, and at each part jaws as wide as what it may bear."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib.collections import LineCollection
from matplotlib.patches import Polygon

from .. import style
from ..picture import Picture
from . import pen, side

WIDEST = 1.5  # jaws that would stand farther apart, over the band, are drawn open at this
JAW = 0.012  # half their length, as a share of the way
UP, DOWN, BELOW = 0.88, -0.62, -1.45  # lanes of ring, sun and motor, in the scale of the picture
SPLIT = (0.50, 0.62)
JOIN, BEGIN = (0.74, 0.81), 0.69
THINNEST = 0.04  # of the scale: jaws around a band without load
PLACES = {  # along the way, and the lane; a label stands on this side of its jaws
    "crank bearings": (0.12, "crank", 1),
    "teeth": (0.30, "crank", -1),
    "planet bearings": (0.45, "crank", 1),
    "hub bearings": (0.71, "ring", 1),
    "seat of the sun": (0.66, "sun", 1),
    "axle": (0.87, "axle", -1),
    "torque arm": (0.97, "axle", 1),
}


class Span(NamedTuple):
    """Greatest torque, newton metres."""

    torque: float


def span(scene, least: Span | None = None) -> Span:
    """Room for the torque of the cranks and for that of the axle."""
    result = scene.main
    needed = Span(pen.nice(float(np.nanmax([result.crank_shock, result.axle_torque, 1.0]))))
    return needed if least is None else Span(*map(max, needed, least))


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    main = axes["main"]
    main.set_axis_off()
    main.set_title("A stumble, followed to road and frame")
    if pen.is_narrow(main):
        main.set(xlim=(-2.0, 2.0), ylim=(-1.12, 0.06))
    else:
        main.set(xlim=(0, 1.06), ylim=(-1.85, 1.6))


def _place(main, along, across):
    """A point of the way on the axes: along to the right, or downwards on a phone."""
    along, across = np.broadcast_arrays(np.asarray(along, float), np.asarray(across, float))
    return (across, -along) if pen.is_narrow(main) else (along, across)


def _station(main, name: str) -> tuple[float, str, int]:
    """Where along which lane a part stands, and on which side its label; on a phone the wheel's lane leaves room for the sun's labels."""
    along, lane, way = PLACES[name]
    return (0.78 if lane == "ring" and pen.is_narrow(main) else along), lane, way


def _band(main, along, middle, width, color, hatch) -> None:
    """A band with a middle line and a width."""
    along, middle = np.asarray(along, float), np.asarray(middle, float)
    outline = (np.r_[along, along[::-1]], np.r_[middle - width / 2, (middle + width / 2)[::-1]])
    main.add_artist(
        Polygon(
            np.column_stack(_place(main, *outline)), closed=True, facecolor=(color, 0.2), edgecolor=(color, 0.6), hatch=hatch, linewidth=0.8
        )
    )


def _bend(start: float, end: float, low: float, high: float) -> tuple[np.ndarray, np.ndarray]:
    """A smooth change of lane."""
    share = np.linspace(0, 1, 25)
    return start + (end - start) * share, low + (high - low) * share**2 * (3 - 2 * share)


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    main, result, scale = axes["main"], scene.main, scene.span.torque
    known = not np.isnan(result.sun_torque)
    crank, motor = result.crank_shock / scale, result.motor_torque / scale
    sun = result.sun_torque / scale if known else 0.0
    ring, held = crank - sun, sun + motor
    middle = {"crank": 0.0, "ring": UP, "sun": DOWN, "axle": DOWN - motor / 2}
    width = {"crank": crank, "ring": ring, "sun": sun, "axle": held}
    _band(main, [0.0, SPLIT[0]], [0.0, 0.0], crank, style.VERMILION, style.HATCHES[0])
    if known:
        along, lane = _bend(*SPLIT, sun / 2, UP)
        _band(main, np.r_[along, 1.0], np.r_[lane, UP], ring, style.BLUE, style.HATCHES[1])
        if sun > 0:
            along, lane = _bend(*SPLIT, -ring / 2, DOWN)
            _band(main, np.r_[along, 1.0], np.r_[lane, DOWN], sun, style.PURPLE, style.HATCHES[2])
    if motor > 0:
        along, lane = _bend(*JOIN, BELOW, DOWN - held / 2)
        _band(main, np.r_[BEGIN, along, 1.0], np.r_[BELOW, lane, DOWN - held / 2], motor, style.GREEN, style.HATCHES[3])
    _torques(main, result, scale, known)
    hint = f"jaws: what a part may bear; open: over {WIDEST:g} times"
    if pen.is_narrow(main):
        pen.words(main, -2.0, 0.035, hint, style.QUIET, 0.8, ha="left")
    else:
        pen.words(main, 0.0, 1.5, hint, style.QUIET, 0.85, ha="left")
    jaws, cut = [], []
    weakest = result.weakest
    for name, factor, part in result.along():
        along, lane, way = _station(main, name)
        if not known and lane != "crank":
            continue
        wide = max(width[lane], THINNEST)
        reach = 0.5 * wide * min(factor, WIDEST) if np.isfinite(factor) else 0.5 * wide * WIDEST
        if np.isfinite(factor):
            for sign in (-1, 1):
                edge = middle[lane] + sign * reach
                beyond = edge + sign * (0.05 if factor <= WIDEST else 0.0)
                corners = [(along - JAW, beyond), (along - JAW, edge), (along + JAW, edge), (along + JAW, beyond)]
                if factor > WIDEST:  # open: two short posts
                    corners = [
                        (along - JAW, edge - 0.08 * sign),
                        (along - JAW, edge),
                        (np.nan, np.nan),
                        (along + JAW, edge),
                        (along + JAW, edge - 0.08 * sign),
                    ]
                (cut if factor < 1 else jaws).append(np.column_stack(_place(main, *np.transpose(corners))))
        told = "unknown" if np.isnan(factor) else "not loaded" if np.isinf(factor) else f"{factor:.2f}"
        out = middle[lane] + way * (max(reach, wide / 2) + (0.1 if pen.is_narrow(main) else 0.09))
        style_of = {"color": style.VERMILION, "fontweight": "bold"} if part == weakest else {"color": style.INK}
        _label(main, name, out, told, **style_of)
    for lines, color, thick in ((jaws, style.INK, 2.0), (cut, style.VERMILION, 3.0)):
        if lines:
            main.add_artist(LineCollection(lines, colors=color, linewidths=thick))
    factor = result.weakest_factor
    said = f"weakest: {weakest}, {factor:.2f}" if np.isfinite(factor) else "nothing is told: see what the build leaves unknown"
    if pen.is_narrow(main):
        pen.words(main, -2.0, -1.055, said, style.VERMILION, ha="left", paper=style.PAPER)
    else:
        pen.words(main, 0.0, -1.78, said, style.VERMILION, 1.0, fontweight="bold", ha="left", paper=style.PAPER)


def _label(main, name: str, across: float, told: str, color: str, **options) -> None:
    """A name with its factor outside of the jaws; that of the outermost lane stands on its band."""
    along, lane, way = _station(main, name)
    narrow, text = pen.is_narrow(main), f"{name}\n{told}"
    if lane == "ring":
        x, y = _place(main, along, UP)
        pen.words(main, float(x), float(y), text, color, 0.85, ha="center", paper=style.PAPER, **options)
    elif not narrow:
        x, y = _place(main, along, across)
        pen.words(main, float(x), float(y), text, color, 0.88, ha="center", va="bottom" if way > 0 else "top", paper=style.PAPER, **options)
    else:
        x, y = _place(main, along, across)
        pen.words(main, float(x), float(y), text, color, 0.85, ha="left" if way > 0 else "right", paper=style.PAPER, **options)


def _torques(main, result, scale: float, known: bool) -> None:
    """What each band stands for."""
    texts = [(0.005, 0.0, f"cranks {result.crank_shock:.0f} N·m", style.VERMILION, "left")]
    if known:
        texts.append(
            (0.89 if pen.is_narrow(main) else 1.0, UP, f"wheel {result.crank_shock - result.sun_torque:.0f} N·m", style.BLUE, "right")
        )
        if result.sun_torque > 0:
            texts.append((0.575, DOWN - result.sun_torque / scale / 2 - 0.13, f"sun {result.sun_torque:.0f} N·m", style.PURPLE, "right"))
    if result.motor_torque > 0:
        text = f"motor {result.motor_torque:.0f} N·m"
        if not pen.is_narrow(main):  # they oppose each other while both drive
            text += "" if result.sun_torque == 0 else ", if it works against the pedals"
        texts.append((BEGIN - 0.01, BELOW, text, style.GREEN, "right"))
    for along, across, text, color, side_of in texts:
        x, y = _place(main, along, across)
        if pen.is_narrow(main):
            pen.words(
                main, float(x), float(y), text, color, 0.85, ha="center", va="top" if side_of == "left" else "bottom", paper=style.PAPER
            )
        else:
            pen.words(main, float(x), float(y), text, color, 0.88, ha=side_of, paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "main"]],
    ratios=[1.0, 2.3],
    bare=("side",),
    margins={"left": 0.1, "right": 0.15, "columns": 0.35, "bottom": 0.12},
    narrow_heights=(3.3, 6.2),
    span=lambda scene: scene.key,
    text="Torque of a stumble as bands from the cranks through the teeth to wheel and sun, joined by the motor; at each part what it bears",
)
