"""One look for every picture of the kit.

Nothing is set globally: pictures are drawn inside :func:`look`, so that a
notebook's own plots keep their style.  Curves differ in colour and in line
style, areas in colour and in hatching, so that no meaning hangs on colour.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager
from functools import cache
from typing import Any

import matplotlib
import numpy as np
from cycler import cycler
from matplotlib.axes import Axes
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import ScaledTranslation

from .lettering import letter

# The hues of Okabe and Ito, which stay apart for colour-blind eyes.
BLUE, VERMILION, GREEN, PURPLE = "#0072B2", "#D55E00", "#009E73", "#CC79A7"
ORANGE, SKY, YELLOW = "#E69F00", "#56B4E9", "#F0E442"
INK, QUIET, GRID, GROUND = "#1F2328", "#5B626B", "#DEDBD2", "#FCFBF7"
PAPER = (GROUND, 0.8)  # the patch behind a text, so that it can be read over lines

# Curve i is drawn with LINES[i]: yellow is left out, it is too faint on a light ground.
LINES: tuple[dict[str, Any], ...] = (
    {"color": BLUE, "linestyle": "-"},
    {"color": VERMILION, "linestyle": (0, (6, 2))},
    {"color": GREEN, "linestyle": (0, (6, 2, 1.5, 2))},
    {"color": PURPLE, "linestyle": (0, (1.5, 1.5))},
    {"color": ORANGE, "linestyle": (0, (10, 3))},
    {"color": INK, "linestyle": (0, (3, 1.5, 1, 1.5, 1, 1.5))},
)
HATCHES = ("////", "\\\\\\\\", "....", "xx", "--", "oo")

PANEL_SIZE = (8.6, 4.2)  # inches; 860 x 420 pixels, a laptop's panel
NARROW_SIZE = (3.5, 3.3)  # inches for each axes, one below the other on a phone
DPI = 100
# Room around and between the axes in inches, so that nothing moves when numbers change.
MARGINS = {"left": 0.80, "right": 0.30, "bottom": 0.62, "top": 0.40, "columns": 0.90, "rows": 1.00}

_CYCLE = cycler(color=[line["color"] for line in LINES]) + cycler(linestyle=[line["linestyle"] for line in LINES])


def rc(scale: float = 1.0) -> dict[str, Any]:
    """The matplotlib settings of the look; ``scale`` enlarges the type for a projector."""
    return {
        "font.family": ["DejaVu Sans"],
        "font.size": 10.0 * scale,
        "axes.titlesize": 11.0 * scale,
        "axes.titlelocation": "left",
        "axes.titleweight": "bold",
        "axes.labelsize": 10.0 * scale,
        "xtick.labelsize": 9.5 * scale,
        "ytick.labelsize": 9.5 * scale,
        "legend.fontsize": 9.5 * scale,
        "legend.frameon": False,
        "figure.facecolor": GROUND,
        "savefig.facecolor": GROUND,
        "axes.facecolor": GROUND,
        "axes.edgecolor": QUIET,
        "axes.labelcolor": INK,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.grid": True,
        "axes.axisbelow": True,
        "axes.prop_cycle": _CYCLE,
        "axes.xmargin": 0.0,
        "grid.color": GRID,
        "grid.linewidth": 0.8,
        "text.color": INK,
        "xtick.color": QUIET,
        "ytick.color": QUIET,
        "xtick.labelcolor": INK,
        "ytick.labelcolor": INK,
        "lines.linewidth": 2.0 * scale,
        "hatch.linewidth": 0.7,
        "path.simplify": True,
        "path.simplify_threshold": 1.0 / 9.0,
        "svg.hashsalt": "unikit",  # the same picture gives the same file
    }


def look(scale: float = 1.0) -> AbstractContextManager[None]:
    """A context in which matplotlib draws in the kit's look."""
    return matplotlib.rc_context(rc(scale))


def line(index: int) -> dict[str, Any]:
    """Colour and line style of curve ``index``, to be passed to ``axes.plot``."""
    return dict(LINES[index % len(LINES)])


def new_figure(
    size: tuple[float, float] = PANEL_SIZE,
    mosaic: Sequence[Sequence[str]] | None = None,
    *,
    dpi: float = DPI,
    scale: float = 1.0,
    margins: dict[str, float] | None = None,
    ratios: Sequence[float] | None = None,
    heights: Sequence[float] | None = None,
) -> tuple[Figure, Any]:
    """A figure outside pyplot with one axes, or with a dict of named axes.

    ``mosaic`` names the axes by rows, such as ``[["force", "reserve"]]``;
    ``ratios`` gives the widths of its columns, ``heights`` the heights of its
    rows in inches, each with the margins below and above it.  ``margins``
    replaces single entries of ``MARGINS`` (inches).
    """
    room = {side: width * scale for side, width in {**MARGINS, **(margins or {})}.items()}
    with look(scale):
        figure = Figure(figsize=size, dpi=dpi)
        named = [list(row) for row in mosaic or ()]
        shares = None if heights is None else [high - (room["bottom"] + room["top"]) for high in heights]
        axes = figure.subplot_mosaic(named, width_ratios=ratios, height_ratios=shares) if named else figure.add_subplot()
        rows, columns = (len(named), len(named[0])) if named else (1, 1)
        wide = (size[0] - room["left"] - room["right"]) / columns
        high = (size[1] - room["bottom"] - room["top"]) / rows
        figure.subplots_adjust(
            left=room["left"] / size[0],
            right=1 - room["right"] / size[0],
            bottom=room["bottom"] / size[1],
            top=1 - room["top"] / size[1],
            wspace=_gap(room["columns"], wide, columns),
            hspace=_gap(room["rows"], high, rows),
        )
    return figure, axes


def _gap(gap: float, share: float, count: int) -> float:
    """Matplotlib wants the gap as a fraction of the mean axes, which shrinks as the gap grows."""
    axes = max(share - gap * (count - 1) / count, 0.1)
    return gap / axes


@cache
def readable(color: str) -> str:
    """A colour for small type: the same hue, darkened until its contrast with the ground is at least 4.5 to 1."""
    rgb = np.array(to_rgb(color))
    while (_luminance(to_rgb(GROUND)) + 0.05) / (_luminance(rgb) + 0.05) < 4.5:
        rgb = rgb * 0.95
    return to_hex(rgb)


def _luminance(rgb: Any) -> float:
    """Relative luminance of an sRGB colour, as the contrast rules for web pages define it."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in rgb]
    return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))


def label_curve(axes: Axes, x: Any, y: Any, text: str, at: float, color: str = INK, shift: tuple[float, float] = (0, 7)) -> Text:
    """Write a curve's name on it, where its x is nearest to ``at``.

    ``shift`` moves the text from the curve, in points.
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    distance = np.where(np.isfinite(y), np.abs(x - at), np.inf)
    place = int(np.argmin(distance))
    made = _beside(axes, x[place], y[place], text, color, shift, paper=PAPER)
    made.set(ha="left" if shift[0] > 0 else "right" if shift[0] < 0 else "center")
    made.set_va("bottom" if shift[1] > 0 else "top" if shift[1] < 0 else "center")
    made.set_visible(bool(min(axes.get_ylim()) <= y[place] <= max(axes.get_ylim())))
    return made


def label_ends(axes: Axes, curves: Iterable[tuple[Any, Any, str, str]], gap: float = 1.25) -> list[Text]:
    """Write the names of curves (x, y, text, colour) at their right ends, moved apart where they would collide.

    Needs room at the right, such as ``margins={"right": 1.4}``; ``gap`` is the
    least distance in heights of the type.
    """
    limits, ends = axes.get_ylim(), []
    for x, y, text, color in curves:
        x, y = np.asarray(x, float), np.asarray(y, float)
        shown = np.flatnonzero(np.isfinite(y) & (x >= min(axes.get_xlim())) & (x <= max(axes.get_xlim())))
        if shown.size:
            last = shown[-1]
            ends.append((float(np.clip(y[last], min(limits), max(limits))), float(x[last]), text, color))
    if not ends:
        return []
    pixels = axes.transData.transform([(x, y) for y, x, _, _ in ends])[:, 1]
    moved = apart(pixels, gap * matplotlib.rcParams["font.size"] * axes.figure.dpi / 72, axes.bbox.y0, axes.bbox.y1)
    points = (moved - pixels) * 72 / axes.figure.dpi
    return [_beside(axes, x, y, text, color, (5, shift)) for (y, x, text, color), shift in zip(ends, points, strict=True)]


def _beside(axes: Axes, x: float, y: float, text: str, color: str, shift: tuple[float, float], **options: Any) -> Text:
    """A text some points away from a point, as an annotation without an arrow."""
    moved = axes.transData + ScaledTranslation(shift[0] / 72, shift[1] / 72, axes.figure.dpi_scale_trans)
    return letter(axes, x, y, text, color=readable(color), transform=moved, va="center", **options)


def apart(places: np.ndarray, gap: float, low: float, high: float) -> np.ndarray:
    """Move places apart to at least ``gap``, upwards from the lowest, then back down below ``high``."""
    order = np.argsort(places, kind="stable")
    moved = np.asarray(places, float)[order]
    for i in range(1, len(moved)):
        moved[i] = max(moved[i], moved[i - 1] + gap)
    ceiling = max(high, low + gap * (len(moved) - 1))
    for i in range(len(moved) - 1, -1, -1):
        moved[i] = min(moved[i], ceiling)
        ceiling = moved[i] - gap
    result = np.empty_like(moved)
    result[order] = moved
    return result


def hatch_between(axes: Axes, x: Any, low: Any, high: Any, color: str, hatch: str = HATCHES[0], **options: Any) -> Any:
    """Fill and hatch the area between two curves, as for a margin; the curves' own lines stay readable."""
    return axes.fill_between(x, low, high, facecolor=(color, 0.14), edgecolor=(color, 0.55), hatch=hatch, linewidth=0, **options)


def hatch_span(axes: Axes, low: float, high: float, color: str, hatch: str = HATCHES[0]) -> Any:
    """Fill and hatch a span of the x axis over the full height."""
    return axes.axvspan(low, high, facecolor=(color, 0.14), edgecolor=(color, 0.55), hatch=hatch, linewidth=0)


def note(axes: Axes, x: float, y: float, text: str, color: str = INK, **options: Any) -> Text:
    """A short text at a point of the axes, on a patch of the ground so that it can be read over lines."""
    return letter(axes, x, y, text, color=readable(color), paper=PAPER, **options)
