"""Texts that are drawn fast: pixels of words and digits are kept and put together again.

Shaping and rasterising a line of type takes matplotlib two milliseconds, and a
picture has twenty lines.  The words of a picture come again at every redraw and
only the digits change, so a text is cut into words and single digits, and the
pixels of each are kept.  On canvases without pixels, such as SVG, and for
turned texts matplotlib draws as ever.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.colors import to_rgba
from matplotlib.font_manager import FontProperties
from matplotlib.text import Text

_PIECES = re.compile(r"\d|[^\d\s]+|\s+")
_LEADING = 1.25  # from line to line, in heights of a line


class Lettering(Text):
    """A text of one or more lines; ``paper`` is the colour of the patch behind it, if any."""

    def __init__(self, *args: Any, paper: Any = None, **options: Any) -> None:
        super().__init__(*args, **options)
        self._paper = None if paper is None else to_rgba(paper)

    def draw(self, renderer: Any) -> None:
        """Put the kept pixels on a canvas of pixels; leave any other canvas to matplotlib."""
        if not isinstance(renderer, RendererAgg) or self.get_rotation() % 360:
            if self._paper is not None and self.get_bbox_patch() is None:
                self.set_bbox({"boxstyle": "square,pad=0.12", "facecolor": self._paper, "edgecolor": "none"})
            super().draw(renderer)
            return
        if not self.get_visible() or not self.get_text().strip():
            return
        ink = _ink(self.get_text(), self.get_fontproperties().copy(), renderer.dpi, self.get_horizontalalignment())
        pad = round(0.16 * ink.line) if self._paper is not None else 0
        x, y = self._anchor()
        height, width = ink.alpha.shape
        left = x - {"left": 0.0, "center": 0.5, "right": 1.0}[self.get_horizontalalignment()] * ink.width - ink.edge
        low = y - {"baseline": ink.below, "bottom": ink.edge, "top": height - ink.edge}.get(self.get_verticalalignment(), height / 2)
        image = _coloured(ink.alpha, to_rgba(self.get_color()), self._paper, ink.edge - pad)
        graphics = renderer.new_gc()
        graphics.set_alpha(1.0)
        renderer.draw_image(graphics, round(left), round(low), image[::-1])  # rows go upwards on this canvas
        graphics.restore()

    def _anchor(self) -> tuple[float, float]:
        x, y = self.get_unitless_position()
        return self.get_transform().transform((float(x), float(y)))


def letter(axes: Axes, x: float, y: float, text: str, **options: Any) -> Lettering:
    """Add a :class:`Lettering` to axes, in their data coordinates unless ``transform`` says otherwise."""
    made = Lettering(x, y, text, **{"transform": axes.transData, "clip_on": False, **options})
    made.set_figure(axes.figure)
    axes._add_text(made)
    return made


class _Ink:
    """Opacity of a text's pixels with an edge around it, and its measures in pixels."""

    def __init__(self, alpha: np.ndarray, width: float, line: float, below: float, edge: int) -> None:
        self.alpha, self.width, self.line, self.below, self.edge = alpha, width, line, below, edge


@lru_cache(maxsize=512)
def _ink(text: str, font: FontProperties, dpi: float, align: str) -> _Ink:
    _, line, descent = _measured("lp", font, dpi)
    lines = [[_piece(piece, font, dpi) for piece in _PIECES.findall(row)] for row in text.split("\n")]
    widths = [sum(advance for _, advance in row) for row in lines]
    edge, pitch = round(0.35 * line), round(_LEADING * line)
    height, width = round(line) + pitch * (len(lines) - 1) + 2 * edge, round(max(widths)) + 2 * edge
    alpha = np.zeros((height, width), np.uint8)
    for number, row in enumerate(lines):
        pen = edge + {"left": 0.0, "center": 0.5, "right": 1.0}[align] * (max(widths) - widths[number])
        for pixels, advance in row:
            if pixels is not None:
                top, left = number * pitch, round(pen)
                part = alpha[top : top + pixels.shape[0], left - edge : left - edge + pixels.shape[1]]
                np.maximum(part, pixels[: part.shape[0], : part.shape[1]], out=part)
            pen += advance
    alpha.flags.writeable = False
    return _Ink(alpha, max(widths), line, edge + descent, edge)


@lru_cache(maxsize=1024)
def _piece(piece: str, font: FontProperties, dpi: float) -> tuple[np.ndarray | None, float]:
    """Pixels of a word or a digit, with an edge of a third of a line on all sides, and how far it moves the pen."""
    advance = _measured(f"l{piece}l", font, dpi)[0] - _measured("ll", font, dpi)[0]
    if piece.isspace():
        return None, advance
    _, line, descent = _measured("lp", font, dpi)
    edge = round(0.35 * line)
    height, width = round(line) + 2 * edge, round(advance) + 2 * edge
    canvas = RendererAgg(width, height, dpi)
    canvas.draw_text(canvas.new_gc(), edge, height - edge - round(descent), piece, font, 0)
    return np.asarray(canvas.buffer_rgba())[..., 3].copy(), advance


@lru_cache(maxsize=1024)
def _measured(text: str, font: FontProperties, dpi: float) -> tuple[float, float, float]:
    return RendererAgg(1, 1, dpi).get_text_width_height_descent(text, font, False)


def _coloured(alpha: np.ndarray, color: Any, paper: Any, inset: int) -> np.ndarray:
    """Pixels of ink over paper, as straight RGBA; the paper ends ``inset`` pixels inside the edge."""
    image = np.empty((*alpha.shape, 4), np.uint8)
    image[..., :3] = [round(255 * part) for part in color[:3]]
    image[..., 3] = alpha
    if paper is not None:
        part = image[inset : alpha.shape[0] - inset, inset : alpha.shape[1] - inset]
        ink = part[..., 3:].astype(np.float32) / 255.0
        cover = ink + (1 - ink) * paper[3]
        part[..., :3] = np.rint(
            255 * (ink * np.array(color[:3], np.float32) + (1 - ink) * paper[3] * np.array(paper[:3], np.float32)) / cover
        )
        part[..., 3:] = np.rint(255 * cover)
    return image
