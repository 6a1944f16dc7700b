"""What the pictures are drawn with: plain artists that cost little to add, and spans that are round numbers.

``axes.plot`` and ``axes.fill_between`` look after limits and units on every
call; the limits of these pictures are fixed, so their artists are added bare.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib import rcParams
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon

from .. import style
from ..lettering import Lettering, letter

ROUND = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
NARROW = 5.0  # inches: below this a figure is the variant for a phone


def nice(value: float, steps: tuple[float, ...] = ROUND) -> float:
    """The smallest round number that is not below a value; 1 for what is not a positive number.

    >>> nice(33.0), nice(0.0)
    (40.0, 1.0)
    """
    if not (np.isfinite(value) and value > 0):
        return 1.0
    decade = 10.0 ** np.floor(np.log10(value))
    return float(f"{decade * next(step for step in steps if step * decade >= value * (1 - 1e-9)):.6g}")


def is_narrow(axes: Axes) -> bool:
    """Whether axes lie on the narrow variant of a picture."""
    return axes.figure.get_size_inches()[0] < NARROW


def line(axes: Axes, x: Any, y: Any, **options: Any) -> Line2D:
    """A line or markers; the limits stay as they are."""
    return axes.add_artist(Line2D(np.atleast_1d(x), np.atleast_1d(y), **options))


def area(axes: Axes, x: np.ndarray, low: Any, high: Any, color: str, hatch: str | None) -> Polygon | None:
    """Fill and hatch between two curves; None where there is nothing to fill."""
    if len(x) < 2:
        return None
    low, high = np.broadcast_to(low, x.shape), np.broadcast_to(high, x.shape)
    outline = np.column_stack([np.concatenate([x, x[::-1]]), np.concatenate([low, high[::-1]])])
    return axes.add_artist(patch(outline, color, hatch))


def patch(outline: np.ndarray, color: str, hatch: str | None) -> Polygon:
    """A filled and hatched area, by the corners around it."""
    return Polygon(outline, closed=True, facecolor=(color, 0.14), edgecolor=(color, 0.55), hatch=hatch, linewidth=0)


def area_across(axes: Axes, y: np.ndarray, left: Any, right: Any, color: str, hatch: str) -> Polygon | None:
    """Fill and hatch between two curves over an upright axis."""
    made = area(axes, y, left, right, color, hatch)
    if made is not None:
        made.set_xy(made.get_xy()[:, ::-1])
    return made


def bars(axes: Axes, rows: Any, lengths: Any, color: str, height: float = 0.6) -> PolyCollection | None:
    """Horizontal bars from zero, all in one artist."""
    rows, lengths = np.asarray(rows, float), np.asarray(lengths, float)
    if rows.size == 0:
        return None
    y = rows[:, None] + height / 2 * np.array([-1.0, -1.0, 1.0, 1.0])
    corners = np.stack([lengths[:, None] * np.array([0.0, 1.0, 1.0, 0.0]), y], axis=-1)
    return axes.add_artist(PolyCollection(corners, facecolor=(color, 0.28), edgecolor=color, linewidth=1.0))


def words(axes: Axes, x: float, y: float, text: str, color: str = style.INK, size: float = 0.9, **options: Any) -> Lettering:
    """A text in a share of the picture's type; ``paper=style.PAPER`` sets it on a patch."""
    options = {"va": "center", "fontsize": size * rcParams["font.size"], **options}
    return letter(axes, x, y, text, color=style.readable(color), **options)
