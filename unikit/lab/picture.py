"""A picture of a result: what stays and what changes, drawn once or redrawn fast.

A picture is two functions.  ``frame(axes, result)`` draws what stays while a
panel is used: axes, labels, limits.  ``marks(axes, result)`` adds what changes.
A full drawing runs both; a live picture keeps the frame as pixels and draws
only the marks, with the same pixels as outcome.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Hashable, Sequence
from typing import Any

import numpy as np
from matplotlib import rcParams
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from . import style

ABOVE_FRAME = 10.0
FRAMES = 4  # kept by a live picture


class Picture:
    """How one kind of result is drawn.

    Args:
        frame: draws axes, labels and limits; must depend on the panel's fixed
            span alone, because a live picture calls it once.
        marks: adds the curves, areas and texts of one result; it may only add
            artists to the axes, not change what ``frame`` made.
        size: width and height in inches.
        mosaic: names of several axes by rows; ``axes`` is then a dict of them.
        margins: room around the axes in inches, where it differs from the style.
        ratios: widths of the mosaic's columns.
        text: one sentence on what the picture shows, for those who do not see it.
        span: what the frame depends on, as a function of the result; when it
            changes, a live picture draws its frame anew.
        bare: names of axes without ticks and labels; they also take the room around them.
        narrow_margins: the margins of the narrow variant, instead of ``margins``.
        narrow_heights: heights of its axes in inches, with their share of the margins.
    """

    def __init__(
        self,
        frame: Callable[[Any, Any], object],
        marks: Callable[[Any, Any], object],
        size: tuple[float, float] = style.PANEL_SIZE,
        mosaic: Sequence[Sequence[str]] | None = None,
        margins: dict[str, float] | None = None,
        ratios: Sequence[float] | None = None,
        text: str = "",
        span: Callable[[Any], Hashable] | None = None,
        bare: Sequence[str] = (),
        narrow_margins: dict[str, float] | None = None,
        narrow_heights: Sequence[float] | None = None,
    ) -> None:
        self.frame, self.marks, self.span, self.bare = frame, marks, span or (lambda result: None), bare
        self.narrow_margins, self.narrow_heights = narrow_margins, narrow_heights
        self.size, self.mosaic, self.margins, self.ratios, self.text = size, mosaic, margins, ratios, text

    def new_figure(self, *, narrow: bool = False, scale: float = 1.0, dpi: float = style.DPI) -> tuple[Figure, Any]:
        """The empty figure and its axes; ``narrow`` sets the axes one below the other for a phone."""
        size, mosaic, ratios, margins, heights = self.size, self.mosaic, self.ratios, self.margins, None
        if narrow:
            names = [] if mosaic is None else list(dict.fromkeys(name for row in mosaic for name in row if name != "."))
            mosaic, ratios = [[name] for name in names] or None, None
            heights = self.narrow_heights or [style.NARROW_SIZE[1]] * max(1, len(names))
            size = (style.NARROW_SIZE[0], sum(heights))
            margins = margins if self.narrow_margins is None else self.narrow_margins
        figure, axes = style.new_figure(size, mosaic, dpi=dpi, scale=scale, margins=margins, ratios=ratios, heights=heights)
        for name in self.bare:
            _spread(axes[name], {**style.MARGINS, **(margins or {})}, scale)
        return figure, axes

    def draw(self, result: Any, ax: Any = None, *, narrow: bool = False, scale: float = 1.0, dpi: float = style.DPI) -> Any:
        """Draw a result in full, on given axes or on a new figure, and return the axes."""
        if ax is None:
            _, ax = self.new_figure(narrow=narrow, scale=scale, dpi=dpi)
        with style.look(scale):
            self.draw_frame(ax, result)
            self.draw_marks(ax, result)
        return ax

    def draw_frame(self, axes: Any, result: Any) -> None:
        """Draw what stays, and fix the limits."""
        # Sizes said outright and ticks made now, while the look holds: left to the
        # moment of drawing, both would be taken from the notebook's settings.
        for one in each_axes(axes):
            one.tick_params(labelsize=rcParams["xtick.labelsize"])
        self.frame(axes, result)
        for one in each_axes(axes):
            one.autoscale(False)
            for axis in (one.xaxis, one.yaxis):
                axis.get_major_ticks(len(axis.get_majorticklocs()))
                axis.get_minor_ticks(len(axis.get_minorticklocs()))

    def draw_marks(self, axes: Any, result: Any) -> list[tuple[Axes, Any]]:
        """Add what changes, above the frame, and return the new artists in drawing order.

        If ``marks`` raises, whatever it had added is removed again.
        """
        every = each_axes(axes)
        before = {id(artist) for one in every for artist in one.get_children()}
        for one in every:
            one.set_prop_cycle(None)  # back to the first colour, or it would wander from redraw to redraw
        try:
            self.marks(axes, result)
        except BaseException:
            _remove(_added(every, before))
            raise
        added = _added(every, before)
        for _, artist in added:
            artist.set_zorder(artist.get_zorder() + ABOVE_FRAME)
        return sorted(added, key=lambda pair: (every.index(pair[0]), pair[1].get_zorder()))

    def png(self, result: Any, **options: Any) -> bytes:
        """A full drawing as PNG."""
        canvas = FigureCanvasAgg(each_axes(self.draw(result, **options))[0].figure)
        canvas.draw()
        return encode(canvas)

    def image(self, result: Any, **options: Any) -> Any:
        """The picture as an image for a notebook, with its sentence as text for those who do not see it."""
        from IPython.display import Image as NotebookImage

        return NotebookImage(self.png(result, **options), format="png", alt=self.text or None)

    def live(self, *, narrow: bool = False, scale: float = 1.0, dpi: float = style.DPI) -> LivePicture:
        """A picture that is redrawn fast, for a panel."""
        return LivePicture(self, narrow=narrow, scale=scale, dpi=dpi)


class LivePicture:
    """One figure, kept; the frame is held as pixels and each redraw adds only the marks."""

    def __init__(self, picture: Picture, *, narrow: bool = False, scale: float = 1.0, dpi: float = style.DPI) -> None:
        self.picture, self.scale = picture, scale
        self._options = {"narrow": narrow, "scale": scale, "dpi": dpi}
        self._frames: dict[Hashable, tuple[Figure, Any, FigureCanvasAgg, Any]] = {}
        self.figure, self.axes = picture.new_figure(**self._options)
        self.canvas = FigureCanvasAgg(self.figure)

    def _frame(self, result: Any) -> Any:
        """The frame of a result's span as pixels; a few are kept, for sliders that go back and forth over a boundary."""
        span = self.picture.span(result)
        kept = self._frames.pop(span, None)
        if kept is None:
            if self._frames:  # the first figure is there already
                self.figure, self.axes = self.picture.new_figure(**self._options)
                self.canvas = FigureCanvasAgg(self.figure)
            self.picture.draw_frame(self.axes, result)
            self.canvas.draw()
            kept = self.figure, self.axes, self.canvas, self.canvas.copy_from_bbox(self.figure.bbox)
            if len(self._frames) == FRAMES:
                self._frames.pop(next(iter(self._frames)))
        self._frames[span] = kept
        self.figure, self.axes, self.canvas, ground = kept
        return ground

    def png(self, result: Any) -> bytes:
        """Draw a result and return it as PNG."""
        with style.look(self.scale):
            ground = self._frame(result)
            added = self.picture.draw_marks(self.axes, result)
            try:
                self.canvas.restore_region(ground)
                for axes, artist in added:
                    axes.draw_artist(artist)
            finally:
                _remove(added)
            return encode(self.canvas)


def each_axes(axes: Any) -> list[Axes]:
    """The axes of a picture as a list, whether it has one or a dict of them."""
    return [axes] if isinstance(axes, Axes) else list(axes.values())


def encode(canvas: FigureCanvasAgg) -> bytes:
    """The pixels of a drawn canvas as PNG, quickly rather than small: in half the time of the imaging library."""
    pixels = np.asarray(canvas.buffer_rgba())
    height, width = pixels.shape[:2]
    rows = np.empty((height, 1 + 3 * width), np.uint8)
    rows[:, 0] = 0  # every row begins with its filter: none
    colours = rows[:, 1:].reshape(height, width, 3)
    for part in range(3):  # one colour after the other: numpy copies three of four bytes at once four times slower
        colours[..., part] = pixels[..., part]
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunks = ((b"IHDR", header), (b"IDAT", zlib.compress(rows, 1)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in chunks
    )


def _spread(axes: Axes, margins: dict[str, float], scale: float) -> None:
    """Let axes without ticks take the room that their labels would have needed."""
    box, (width, height) = axes.get_position(), axes.figure.get_size_inches()
    low, high = box.y0 - (scale * margins["bottom"] - 0.08) / height, box.y1 + (scale * margins["top"] - 0.08) / height
    alone = box.x1 - box.x0 > 0.5  # in the narrow variant, where the axes lie one below the other
    left, right = (0.08 / width, 1 - 0.08 / width) if alone else (box.x0, box.x1)
    axes.set_position((left, low, right - left, high - low))


def _added(every: list[Axes], before: set[int]) -> list[tuple[Axes, Any]]:
    return [(one, artist) for one in every for artist in one.get_children() if id(artist) not in before]


def _remove(added: list[tuple[Axes, Any]]) -> None:
    for _, artist in added:
        artist.remove()
