"""Train: the gears with their teeth as they would be cut, what each condition leaves, and which trains the search refused, and why."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib.patches import Circle, PathPatch
from matplotlib.path import Path

from .. import style
from ..picture import Picture
from . import pen

RIM = 1.8  # modules drawn around the ring's roots
MOST = 3.0  # margins beyond this end at the edge
SUN, PLANETS, RING = (style.BLUE, style.HATCHES[0]), (style.VERMILION, style.HATCHES[2]), (style.GREEN, style.HATCHES[1])


class Span(NamedTuple):
    """Half of the width of the drawing, in millimetres or modules, and the most trains that one condition refused."""

    half: float
    refused: float


def span(scene, least: Span | None = None) -> Span:
    """Room for the ring and for the longest bar."""
    half = 1.0
    if scene.more is not None:
        half = max(_unit(scene.more)[0] * (scene.more.outlines.ring.max() + RIM), 500 * np.nan_to_num(scene.more.ring_room))
    needed = Span(pen.nice(1.02 * half), pen.nice(max([1, *scene.main.refused.values()])))
    return needed if least is None else Span(*map(max, needed, least))


def _unit(train) -> tuple[float, str]:
    """Millimetres to a module, or one module where the build does not say."""
    return (1.0, "modules") if np.isnan(train.module) else (1e3 * train.module, "mm")


def _frame(axes, scene) -> None:
    half = scene.span.half
    axes["train"].set_aspect("equal")
    axes["train"].set(xlim=(-half, half), ylim=(-half, half))
    axes["train"].set_axis_off()
    kept = axes["kept"]
    names = [] if scene.more is None else list(scene.more.condition)
    kept.set(xlim=(0, MOST), ylim=(len(names) - 0.4, -0.6), xlabel="available over required")
    kept.set_yticks(range(len(names)), names)
    kept.grid(False, axis="y")
    kept.set_title("Does it go together?", x=_AT)
    refused, rows = axes["refused"], list(scene.main.refused)
    refused.set(xlim=(0, scene.span.refused), ylim=(len(rows) - 0.4, -0.6), xlabel="trains near this ratio")
    refused.set_yticks(range(len(rows)), rows)
    refused.grid(False, axis="y")
    refused.set_title("What refused the others?", x=_AT)


_AT = -0.74  # titles begin above the names, not above the bars


def _marks(axes, scene) -> None:
    if scene.more is None:
        pen.words(axes["train"], 0, 0, _wrapped("no train to draw: " + scene.main.reason, 36), ha="center")
    else:
        _teeth(axes["train"], scene.more)
        _kept(axes["kept"], scene.more)
    _refused(axes["refused"], scene.main)


def _teeth(axes, train) -> None:
    unit, word = _unit(train)
    sun, planets, ring, centres = train.outlines
    around = np.linspace(0, 2 * np.pi, 181)
    rim = (np.hypot(*ring.T).max() + RIM) * np.column_stack([np.cos(around), np.sin(around)])
    for (color, hatch), outlines in ((RING, (ring[::-1], rim)), (SUN, (sun,)), (PLANETS, planets)):
        axes.add_artist(_gear([unit * corners for corners in outlines], color, hatch))
    if np.isfinite(train.ring_room):
        pen.line(
            axes,
            *(500 * train.ring_room * np.array([np.cos(around), np.sin(around)])),
            color=style.INK,
            linewidth=1.0,
            linestyle=(0, (2, 2)),
        )
    carrier = unit * np.vstack([centres, centres[:1]])
    if len(centres) > 1:
        pen.line(axes, *carrier.T, color=style.QUIET, linewidth=1.0, linestyle=(0, (5, 3)))
    for x, y in unit * centres[1:]:
        axes.add_artist(Circle((x, y), unit * 0.9, facecolor=style.GROUND, edgecolor=style.QUIET, linewidth=1.0))
    z_sun, z_planet, z_ring, _ = train.counts
    pen.words(axes, 0, 0, f"sun {z_sun}\nfixed on\nthe axle", style.BLUE, ha="center", paper=style.PAPER)
    first = unit * centres[0]
    pen.words(axes, *first, f"{z_planet}", style.VERMILION, ha="center", paper=style.PAPER)
    edge = axes.get_xlim()[1]
    pen.words(axes, -edge, 0.97 * edge, f"ring {z_ring}\ndrives\nthe wheel", style.GREEN, ha="left", va="top")
    pen.words(axes, edge, 0.97 * edge, f"{train.teeth}\n{train.ratio:.4f}", ha="right", va="top")
    size = f"{2 * unit * np.hypot(*ring.T).max():.1f} {word}\nat the roots"
    pen.words(axes, edge, -0.97 * edge, size, style.QUIET, ha="right", va="bottom")
    pen.words(axes, -edge, -0.97 * edge, _wrapped(train.origin, 17), style.QUIET, ha="left", va="bottom")


def _gear(outlines, color: str, hatch: str) -> PathPatch:
    """Closed outlines as one path; one inside another makes a hole."""
    corners = np.concatenate([np.vstack([outline, outline[:1]]) for outline in outlines])
    codes = np.full(len(corners), Path.LINETO, np.uint8)
    ends = np.cumsum([len(outline) + 1 for outline in outlines])
    codes[np.r_[0, ends[:-1]]], codes[ends - 1] = Path.MOVETO, Path.CLOSEPOLY
    return PathPatch(Path(corners, codes), facecolor=(color, 0.22), edgecolor=color, hatch=hatch, linewidth=0.9)


def _kept(axes, train) -> None:
    margins = np.minimum(np.nan_to_num(train.margin, posinf=MOST), MOST)
    rows = np.arange(len(margins))
    for chosen, color in ((train.margin >= 1, style.GREEN), (train.margin < 1, style.VERMILION)):
        pen.bars(axes, rows[chosen], margins[chosen], color)
    pen.line(axes, [1, 1], [len(rows) - 0.4, -0.6], color=style.INK, linewidth=1.2)
    for row, (margin, length) in enumerate(zip(train.margin, margins, strict=True)):
        text = "pass" if np.isinf(margin) else f"{margin:.2f}" + (" short" if margin < 1 else "")
        inside = length > 0.75 * MOST
        pen.words(
            axes,
            length,
            row,
            f" {text} ",
            style.INK if margin >= 1 else style.VERMILION,
            ha="right" if inside else "left",
            paper=style.PAPER if margin < 1 else None,
        )


def _refused(axes, search) -> None:
    counts = np.array(list(search.refused.values()), float)
    rows, top = np.arange(len(counts)), axes.get_xlim()[1]
    pen.bars(axes, rows[counts > 0], counts[counts > 0], style.ORANGE)
    for row, count in zip(rows, counts, strict=True):
        inside = count > 0.8 * top
        pen.words(axes, count, row, f" {count:.0f} ", style.INK if count else style.QUIET, ha="right" if inside else "left")
    if not search.found and not counts.any():  # nothing was searched
        return
    text = f"{search.found:.0f} kept" if search.found else "none kept"
    axes_words = pen.words(axes, 0.98, 0.06, text, style.GREEN if search.found else style.VERMILION, 1.0, ha="right", paper=style.PAPER)
    axes_words.set_transform(axes.transAxes)


def _wrapped(text: str, width: int) -> str:
    lines = [""]
    for word in text.split():
        lines = [*lines[:-1], f"{lines[-1]} {word}".strip()] if len(lines[-1]) + len(word) < width else [*lines, word]
    return "\n".join(lines)


picture = Picture(
    _frame,
    _marks,
    size=(8.6, 4.6),
    mosaic=[["train", "kept"], ["train", "refused"]],
    margins={"left": 0.1, "columns": 2.05, "rows": 0.95},
    ratios=(1.0, 0.55),
    text="The gear train with its teeth as they would be cut, sun, planets and ring in mesh, within the room for the ring; beside it what "
    "each condition leaves over what it requires, and how many trains near this ratio each condition refused.",
    span=lambda scene: (scene.span, None if scene.more is None else tuple(scene.more.condition)),
    bare=("train",),
    narrow_margins={"left": 1.58, "right": 0.14},
    narrow_heights=(3.5, 3.3, 3.3),
)
