"""Names along a curve that changes its reason: each beside its stretch, clear of the curve and of each other."""

from __future__ import annotations

from itertools import product
from typing import NamedTuple

import numpy as np
from matplotlib import rcParams
from matplotlib.axes import Axes

from .. import style
from . import pen

SHORTEST = 12.0  # pixels of curve: what is shorter carries no name
PLACES = (0.5, 0.35, 0.65, 0.2, 0.8, 0.05, 0.95)  # shares of a stretch, in the order in which they are tried
DISTANCES = (5.0, 18.0, 34.0, 48.0, 62.0)  # pixels between curve and text; from the second on a thin line joins them


class Box(NamedTuple):
    """A rectangle on the canvas, in pixels."""

    left: float
    low: float
    right: float
    high: float

    def meets(self, other: Box) -> bool:
        """Whether two rectangles overlap."""
        return self.left < other.right and other.left < self.right and self.low < other.high and other.low < self.high


def around(axes: Axes, x: float, y: float, text: str, ha: str = "center", va: str = "center", size: float = 0.9) -> Box:
    """About the room that a text takes at a point of the canvas."""
    point = size * rcParams["font.size"] * axes.figure.dpi / 72
    lines = text.split("\n")
    width, height = 0.6 * point * max(map(len, lines)) + 4, (1.25 * len(lines) + 0.2) * point
    left = x - {"left": 0.0, "center": 0.5, "right": 1.0}[ha] * width
    low = y - {"bottom": 0.0, "center": 0.5, "top": 1.0}[va] * height
    return Box(left, low, left + width, low + height)


def name_stretches(axes: Axes, x, y, names, color: str, way: int, taken: list[Box]) -> None:
    """Write the name of each stretch beside it, above the curve (way 1) or below it (way -1), the longest first.

    ``taken`` are places where no text may stand; those of the names are added. An empty name, and one that finds no room, is not written.
    """
    curve = axes.transData.transform(np.column_stack([x, y]))
    names = np.asarray(names)
    first = np.flatnonzero(np.r_[True, names[1:] != names[:-1]])
    stretches = [(a, b) for a, b in zip(first, np.r_[first[1:], len(names)], strict=True) if names[a]]
    path = np.r_[0.0, np.cumsum(np.hypot(*np.diff(curve, axis=0).T))]
    fine = np.arange(0.0, path[-1], 3.0)
    points = np.column_stack([np.interp(fine, path, curve[:, i]) for i in (0, 1)])
    frame, edge = axes.bbox, axes.bbox.x1 + 4
    inside = lambda box: frame.x0 <= box.left and box.right <= edge and frame.y0 <= box.low and box.high <= frame.y1
    for start, end in sorted(stretches, key=lambda one: path[one[0]] - path[one[1] - 1]):
        length = path[end - 1] - path[start]
        if length < SHORTEST:
            continue
        sides = _sides(path[start] + length * np.array(PLACES), path, curve)
        texts = dict.fromkeys((str(names[start]), _in_two_lines(str(names[start]))))
        for text, straight, apart, (at, out) in product(texts, (False, True), DISTANCES, sides):
            x0, y0 = (0.0, way) if straight else (way * out[0], way * out[1])
            ha = "left" if x0 > 0.25 else "right" if x0 < -0.25 else "center"
            box = around(axes, at[0] + apart * x0, at[1] + apart * y0, text, ha, "bottom" if way > 0 else "top")
            if inside(box) and not any(box.meets(other) for other in taken) and not _crosses(points, box):
                break
        else:
            continue
        if apart > DISTANCES[0]:
            foot = np.array([at, (min(max(at[0], box.left + 3), box.right - 3), box.low if way > 0 else box.high)])
            pen.line(axes, *axes.transData.inverted().transform(foot).T, color=style.QUIET, linewidth=0.8)
        middle = axes.transData.inverted().transform([(box.left + box.right) / 2, (box.low + box.high) / 2])
        pen.words(axes, *middle, text, color, ha="center", paper=style.PAPER)
        taken.append(box)


def _in_two_lines(text: str) -> str:
    """A text broken at the space that is nearest to its middle."""
    spaces = [place for place, letter in enumerate(text) if letter == " "]
    if not spaces:
        return text
    middle = min(spaces, key=lambda place: abs(2 * place + 1 - len(text)))
    return f"{text[:middle]}\n{text[middle + 1 :]}"


def _sides(along: np.ndarray, path: np.ndarray, curve: np.ndarray) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Points of the curve by their way along it, and the directions that lead up from the curve there."""
    before, at, after = (np.column_stack([np.interp(along + step, path, one) for one in curve.T]) for step in (-8.0, 0.0, 8.0))
    turn = np.column_stack([before[:, 1] - after[:, 1], after[:, 0] - before[:, 0]])
    out = turn / np.maximum(np.hypot(*turn.T), 1e-9)[:, None]
    return list(zip(map(tuple, at.tolist()), map(tuple, out.tolist()), strict=True))


def _crosses(curve: np.ndarray, box: Box) -> bool:
    x, y = curve[:, 0], curve[:, 1]
    return bool(((x > box.left) & (x < box.right) & (y > box.low) & (y < box.high)).any())
