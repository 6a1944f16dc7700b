"""A picture of a result: what stays and what changes, drawn once or redrawn fast.

A picture is two functions.  ``frame(axes, result)`` draws what stays while a
panel is used: axes, labels, limits.  ``marks(axes, result)`` adds what changes.
A full drawing runs both; a live picture keeps the frame as pixels and draws
only the marks, with the same pixels as outcome.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from typing import Any

from matplotlib import rcParams
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from . import style

ABOVE_FRAME = 10.0


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
    ) -> None:
        self.frame, self.marks = frame, marks
        self.size, self.mosaic, self.margins, self.ratios, self.text = size, mosaic, margins, ratios, text

    def new_figure(self, *, narrow: bool = False, scale: float = 1.0, dpi: float = style.DPI) -> tuple[Figure, Any]:
        """The empty figure and its axes; ``narrow`` sets the axes one below the other for a phone."""
        size, mosaic, ratios = self.size, self.mosaic, self.ratios
        if narrow:
            names = [] if mosaic is None else list(dict.fromkeys(name for row in mosaic for name in row))
            mosaic, ratios = [[name] for name in names] or None, None
            size = (style.NARROW_SIZE[0], style.NARROW_SIZE[1] * max(1, len(names)))
        return style.new_figure(size, mosaic, dpi=dpi, scale=scale, margins=self.margins, ratios=ratios)

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
        self.figure, self.axes = picture.new_figure(narrow=narrow, scale=scale, dpi=dpi)
        self.canvas = FigureCanvasAgg(self.figure)
        self._ground: Any = None

    def png(self, result: Any) -> bytes:
        """Draw a result and return it as PNG."""
        with style.look(self.scale):
            if self._ground is None:
                self.picture.draw_frame(self.axes, result)
                self.canvas.draw()
                self._ground = self.canvas.copy_from_bbox(self.figure.bbox)
            added = self.picture.draw_marks(self.axes, result)
            try:
                self.canvas.restore_region(self._ground)
                for axes, artist in added:
                    axes.draw_artist(artist)
            finally:
                _remove(added)
            return encode(self.canvas)


def each_axes(axes: Any) -> list[Axes]:
    """The axes of a picture as a list, whether it has one or a dict of them."""
    return [axes] if isinstance(axes, Axes) else list(axes.values())


def encode(canvas: FigureCanvasAgg) -> bytes:
    """The pixels of a drawn canvas as PNG, quickly rather than small."""
    width, height = canvas.get_width_height()
    pixels = Image.frombuffer("RGBA", (width, height), canvas.buffer_rgba(), "raw", "RGBA", 0, 1).convert("RGB")
    stream = io.BytesIO()
    pixels.save(stream, "PNG", compress_level=1)
    return stream.getvalue()


def _added(every: list[Axes], before: set[int]) -> list[tuple[Axes, Any]]:
    return [(one, artist) for one in every for artist in one.get_children() if id(artist) not in before]


def _remove(added: list[tuple[Axes, Any]]) -> None:
    for _, artist in added:
        artist.remove()
