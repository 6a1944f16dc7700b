"""Carriage: energy carried against the number of packs, with the limits of the classes, what is wanted, and the plans."""

from __future__ import annotations

from itertools import product
from typing import NamedTuple

import numpy as np

from ...studies.carriage import LARGE, LARGE_EACH, SMALL
from .. import style
from ..picture import Picture
from . import pen, side
from .naming import Box, around

WH = 3600.0
FEWEST = 5.0  # packs on the axis
WANTED = {"color": style.VERMILION, "linewidth": 1.6, "linestyle": (0, (5, 2))}
LOOKS = {"no approval": style.BLUE, "operator approval": style.PURPLE}


class Span(NamedTuple):
    """Ends of the axes: packs, and Wh."""

    packs: float
    energy: float


def span(scene, least: Span | None = None) -> Span:
    """Room for what is wanted, the packs as they are, and the first of the plans."""
    plans, own = scene.main, scene.more
    wanted = plans.wanted / WH if np.isfinite(plans.wanted) else 0.0
    shown = slice(0, 20)
    most = max([own.energy / WH, wanted, *(plans.carried[shown] / WH)])
    number = max([FEWEST, own.count, *plans.packs[shown]])
    needed = Span(float(np.ceil(number)) + 0.7, pen.nice(1.25 * most))
    return needed if least is None else Span(*map(max, needed, least))


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    plane, held = axes["energy"], scene.span
    plane.set(xlim=(0, held.packs), ylim=(0, held.energy), xlabel="packs", ylabel="rated energy / Wh")
    plane.set_title("Energy over number of packs")
    plane.set_xticks(range(0, int(held.packs) + 1, max(1, int(np.ceil(held.packs / 12)))))
    _key(axes["key"])


def _pitch(axes) -> float:
    """Height of a row of the key, as a share of its axes."""
    return 17.0 / 72 * axes.figure.dpi / axes.bbox.height


def _key(axes) -> None:
    """What areas and points stand for, and the sentence that goes with every answer."""
    axes.set(xlim=(0, 1), ylim=(0, 1))
    axes.axis("off")
    pitch, hollow = _pitch(axes), {"linestyle": "", "color": style.INK, "markerfacecolor": style.GROUND}
    rows = (
        ("above: not as baggage", style.QUIET, None),
        (f"{SMALL:.0f} to {LARGE:.0f} Wh each:\napproval, {LARGE_EACH} a traveller", style.PURPLE, style.HATCHES[0]),
        (f"up to {SMALL:.0f} Wh each:\nno approval", style.BLUE, style.HATCHES[2]),
        ("wanted", style.VERMILION, WANTED),
        ("packs of the build", style.INK, {"marker": "s", "linestyle": "", "color": style.INK}),
        ("plan, packs in parallel", style.INK, hollow | {"marker": "o"}),
        ("plan, two in series", style.INK, hollow | {"marker": "D"}),
        ("operator and state\nrules prevail", style.INK, None),
    )
    y = 0.99 - 3.2 * pitch  # above it the first plan
    for text, color, look in rows:
        deep = pitch * (1 + 0.75 * text.count("\n"))
        middle = y - deep / 2
        if isinstance(look, str):
            corners = np.array([(0.0, -1), (0.11, -1), (0.11, 1), (0.0, 1)]) * (1, 0.42 * deep) + (0, middle)
            axes.add_artist(pen.patch(corners, color, look))
        elif look:
            pen.line(axes, [0.055] if "marker" in look else [0.0, 0.11], [middle] * (1 if "marker" in look else 2), markersize=6, **look)
        pen.words(axes, 0.15, middle, text, color, 0.9)
        y -= deep


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    plane, plans, own, held = axes["energy"], scene.main, scene.more, scene.span
    _classes(plane, plans.travellers, held)
    if np.isfinite(plans.wanted):
        level = plans.wanted / WH
        pen.line(plane, [0, held.packs], [level, level], **WANTED)
    for kind, color in LOOKS.items():
        for chosen, marker in ((plans.joined == 1, "o"), (plans.joined > 1, "D")):
            chosen = chosen & (plans.pack_class == kind)
            if chosen.any():
                points = plans.packs[chosen], plans.carried[chosen] / WH
                pen.line(plane, *points, marker=marker, linestyle="", color=color, markerfacecolor=style.GROUND, markersize=6)
    pen.line(plane, own.count, own.energy / WH, marker="s", linestyle="", color=style.INK, markersize=7)
    if plans.found:
        first = {"marker": "o" if plans.joined[0] == 1 else "D", "color": LOOKS[str(plans.pack_class[0])]}
        pen.line(plane, plans.packs[0], plans.carried[0] / WH, linestyle="", markersize=9, **first)
    _words(plane, scene, held)
    _first(axes["key"], plans)


def _classes(plane, travellers: int, held: Span) -> None:
    """What the classes admit: below the first limit, and between the two for as many packs as the travellers may carry."""
    several = LARGE_EACH * travellers
    edge = np.unique(np.clip([0.0, held.energy / LARGE, held.energy / SMALL, several, held.packs], 0.0, held.packs))
    low, high = np.minimum(SMALL * edge, held.energy), np.minimum(LARGE * edge, held.energy)
    pen.area(plane, edge, 0.0, low, style.BLUE, style.HATCHES[2])
    few = edge <= several
    pen.area(plane, edge[few], low[few], high[few], style.PURPLE, style.HATCHES[0])
    for limit, color in ((SMALL, style.BLUE), (LARGE, style.PURPLE)):
        pen.line(plane, [0, held.packs], [0, limit * held.packs], color=color, linewidth=1.4)


def _words(plane, scene, held: Span) -> None:
    """What is wanted, where the points leave room."""
    plans, own = scene.main, scene.more
    packs, level = np.append(plans.packs, own.count), np.append(plans.carried, own.energy) / WH
    taken = [Box(x - 6, y - 6, x + 6, y + 6) for x, y in plane.transData.transform(np.column_stack([packs, level])).tolist()]
    if np.isfinite(plans.wanted):
        y, text = plans.wanted / WH, f"{plans.wanted / WH:.0f} Wh for {own.distance / 1000:.1f} km"
        _place(plane, [(share * held.packs, y) for share in (0.8, 0.65, 0.5, 0.35, 0.2)], text, style.VERMILION, taken)


def _first(key, plans) -> None:
    """The first plan, above the key."""
    y = 0.99 - 1.5 * _pitch(key)
    if not plans.found:
        pen.words(key, 0.15, y, "nothing fits:\nthe numbers below\nthe picture say why", style.VERMILION, 0.9)
        return
    number, cells, strings = (int(getattr(plans, name)[0]) for name in ("packs", "series", "parallel"))
    size = f"{cells} in series, {strings} string{'s' if strings > 1 else ''}"
    text = f"first: {number} pack{'s' if number > 1 else ''} of\n{size}:\n{plans.carried[0] / WH:.0f} Wh, {plans.mass[0]:.1f} kg"
    color = LOOKS[str(plans.pack_class[0])]
    pen.line(key, 0.055, y, marker="o" if plans.joined[0] == 1 else "D", color=color, linestyle="", markersize=9)
    pen.words(key, 0.15, y, text, color, 0.9)


def _place(plane, spots, text: str, color: str, taken: list[Box]) -> None:
    """Write a text beside one of several points, where nothing stands yet."""
    frame, size = plane.bbox, 0.9
    sides = (
        ("left", "bottom", 1, 1),
        ("right", "bottom", -1, 1),
        ("left", "top", 1, -1),
        ("right", "top", -1, -1),
        ("center", "bottom", 0, 1),
    )
    for distance, spot, (ha, va, way, up) in product((7, 16, 28, 44, 64), plane.transData.transform(spots).tolist(), sides):
        box = around(plane, spot[0] + way * distance, spot[1] + up * distance, text, ha, va, size)
        inside = frame.x0 + 2 <= box.left and box.right <= frame.x1 - 2 and frame.y0 + 2 <= box.low and box.high <= frame.y1 - 2
        if inside and not any(box.meets(other) for other in taken):
            middle = plane.transData.inverted().transform([(box.left + box.right) / 2, (box.low + box.high) / 2])
            pen.words(plane, *middle, text, color, size, ha="center", paper=style.PAPER)
            taken.append(box)
            return


picture = Picture(
    _frame,
    _marks,
    mosaic=[["side", "energy", "key"]],
    ratios=[0.8, 1.7, 1.0],
    bare=("side", "key"),
    margins={"left": 0.1, "right": 0.1, "columns": 0.72},
    narrow_margins={"left": 0.75, "right": 0.2},
    narrow_heights=[3.2, 3.7, 3.4],
    span=lambda scene: scene.key,
    text="Rated energy over the number of packs: the limits of 100 and of 160 watt-hours each as two lines, the energy wanted as a level, "
    "every division into packs that fits as a point, and the packs of the build",
)
