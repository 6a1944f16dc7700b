"""Slopes: foot force without trim, with steps and levelled, what the steps leave over, and where the energy of the way down goes."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import style
from ..picture import Picture
from . import pen, side

ROWS = (("none", "no trim", 1), ("steps", "steps", 0), ("level", "levelled", 2))
LEAST = range(95, -1, -5)  # % of charge at which the axis may begin
HEIGHTS = (94, 80, 66, 52, 38, 24)  # % at which the words of the dashed line may stand, clear of the names
CAUSES = (  # names of ``descents.SHARES`` that are drawn as one, from the bottom; neighbours differ in hatching, and hatching costs time
    ("air and tyre", ("rolling", "air", "bearing"), style.QUIET, None),
    ("legs", ("legs",), style.BLUE, style.HATCHES[0]),
    ("heat of gear,\nmotor, packs", ("gear_loss", "iron_loss", "copper_loss", "electronics", "pack_loss"), style.ORANGE, None),
    ("stored", ("stored",), style.GREEN, style.HATCHES[4]),
    ("brake", ("brake",), style.VERMILION, style.HATCHES[3]),
)


class Span(NamedTuple):
    """Ends of the axes: % of slope, newtons of foot force, newtons left over, and below 100 the % of charge."""

    slope: float
    force: float
    left: float
    empty: float


def span(scene, least: Span | None = None) -> Span:
    """Room for the cap and the case; for the feet without trim; for a step; for the way of the charge."""
    result, descent = scene.main, scene.more
    slope = min(pen.nice(100 * max(1.7 * result.covered, 1.25 * abs(result.slope_here), 0.02)), 20.0)
    shown = np.abs(100 * result.slope) <= slope
    force = pen.nice(1.05 * float(np.max(np.abs(result.foot_over_none[shown]))))
    left = pen.nice(1.5 * max(result.residual_force, result.noticed))
    lowest = 1.0 if descent is None else min(descent.start_charge, descent.end_charge, np.nan_to_num(descent.charge_as_asked, nan=1.0))
    begins = next((one for one in LEAST if one <= 100 * lowest - 1.0), 0)
    needed = Span(slope, force, left, 100.0 - begins)
    return needed if least is None else Span(*map(max, needed, least))


def _frame(axes, scene) -> None:
    side.frame(axes["side"], scene.stage)
    held, force, left, energy = scene.span, axes["force"], axes["left"], axes["energy"]
    force.set(xlim=(-held.slope, held.slope), ylim=(-held.force, held.force), ylabel="foot force / N", title="What do the feet feel?")
    left.set(xlim=(-held.slope, held.slope), ylim=(-held.left, held.left), xlabel="slope / %", ylabel="steps leave / N")
    for one in (force, left):
        one.axhline(0, color=style.QUIET, linewidth=1)
    energy.set(xlim=(100 - held.empty, 100), ylim=(0, 100), xlabel="charge of the packs / %", ylabel="share of the height / %")
    energy.set_title("Down it: where does it go?")


def _marks(axes, scene) -> None:
    side.marks(axes["side"], scene.machine, scene.stage)
    _force(axes["force"], scene.main, scene.span)
    _left(axes["left"], scene.main, scene.span)
    _energy(axes["energy"], scene.more, scene.span)


def _force(axes, result, held: Span) -> None:
    """Foot force over slope by each way of setting the trim, and the case."""
    x, curves = 100 * result.slope, []
    shown = np.abs(x) <= held.slope
    for name, text, index in ROWS:
        values = getattr(result, f"foot_over_{name}")
        pen.line(axes, x, values, **(style.line(index) | {"linewidth": 1.2 if name == "steps" else 1.8}))
        curves.append((x[shown], values[shown], text, style.LINES[index]["color"]))
    style.label_ends(axes, curves)
    cap = 100 * result.covered
    for at in (-cap, cap):
        pen.line(axes, [at, at], [-held.force, held.force], color=style.QUIET, linewidth=1, linestyle=(0, (2, 2)))
    pen.words(axes, -held.slope * 0.97, 0.86 * held.force, f"the cap covers ±{cap:.1f} %", style.QUIET, paper=style.PAPER)
    here = result.foot_none if result.trim_set == 0 else result.foot_steps if result.trim_set == result.trim_steps else result.foot_level
    pen.line(axes, 100 * result.slope_here, here, marker="o", color=style.INK, markersize=8, linestyle="")


def _left(axes, result, held: Span) -> None:
    """What the steps leave over against the levelled slope, and what is noticed."""
    x = 100 * result.slope
    pen.area(axes, np.array([-held.slope, held.slope]), -result.noticed, result.noticed, style.GREEN, None)
    pen.line(axes, x, result.foot_over_steps - result.foot_over_level, **(style.line(0) | {"linewidth": 1.3}))
    pen.words(
        axes,
        0.0,
        0.78 * held.left,
        f"up to {result.residual_force:.1f} N; noticed from {result.noticed:.1f} N",
        style.INK,
        0.85,
        ha="center",
        paper=style.PAPER,
    )


def _energy(axes, descent, held: Span) -> None:
    """Shares of the height's power by cause over the charge, and the way of this descent."""
    low = 100 - held.empty
    if descent is None:
        pen.words(axes, 100 - held.empty / 2, 50, "level or at rest:\nnothing comes down", style.QUIET, 1.0, ha="center")
        return
    by, names = descent.by_charge, list(descent.SHARES)
    shown = slice(max(int(np.searchsorted(by.charge, low / 100)) - 1, 0), None)
    x, powers = 100 * by.charge[shown], np.maximum(by.powers[:, shown], 0.0)
    powers = 100 * powers / powers.sum(axis=0)
    named, base, room = [], 0.0 * x, (0.27 if pen.is_narrow(axes) else 0.2) * held.empty  # half a name
    for text, parts, color, hatch in CAUSES:
        top = base + powers[[names.index(one) for one in parts]].sum(axis=0)
        if not np.any(top > base):
            continue
        pen.area(axes, x, base, top, color, hatch)
        pen.line(axes, x, top, color=color, linewidth=1.2)
        thick = np.where(x >= low + room, top - base, 0.0)
        best = int(np.argmax(np.where(x <= 100 - 0.25 * held.empty, 1.5, 1.0) * thick))
        if thick[best] >= (11 if "\n" in text else 6):
            at = min(max(x[best], low + room), 100 - 0.17 * held.empty)
            middle = float(np.interp(at, x, (base + top) / 2))
            pen.words(axes, at, middle, text, color, 0.9, ha="center", paper=style.PAPER)
            named.append(middle)
        base = top
    start, end = 100 * descent.start_charge, 100 * descent.end_charge
    pen.line(axes, [start, end], [2.5, 2.5], color=style.INK, linewidth=3.4, solid_capstyle="butt")
    pen.line(axes, [start], [2.5], color=style.INK, marker="o", linestyle="", markersize=6)
    pen.line(axes, [end], [2.5], color=style.INK, marker="s", linestyle="", markersize=6)
    asked = 100 * descent.charge_as_asked
    if low < asked < 100:
        pen.line(axes, [asked, asked], [0, 100], color=style.INK, linewidth=1.2, linestyle=(0, (4, 2)))
        text, ha, shift = ("brakes as asked", "right", -0.015) if asked > low + 0.55 * held.empty else ("less than asked", "left", 0.015)
        height = next((one for one in HEIGHTS if all(abs(one - other) > 12 for other in named)), HEIGHTS[0])
        pen.words(axes, asked + shift * held.empty, height, text, ha=ha, paper=style.PAPER)


picture = Picture(
    _frame,
    _marks,
    size=(9.4, 4.6),
    mosaic=[["side", "force", "energy"], ["side", "force", "energy"], ["side", "left", "energy"]],
    ratios=[0.62, 1.45, 1.15],
    bare=("side",),
    margins={"left": 0.1, "right": 0.2, "columns": 1.15, "rows": 0.3},
    narrow_margins={"left": 0.72, "right": 0.85, "rows": 0.9},
    narrow_heights=(3.2, 3.1, 3.2, 2.4),
    span=lambda scene: scene.key,
    text="Foot force over slope without trim, with trim in steps and levelled, and what the steps leave over against what is noticed; "
    "beside it the shares of the power of the way down by cause over the charge of the packs, with the descent from its charge at the top",
)
