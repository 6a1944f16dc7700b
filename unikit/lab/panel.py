"""The one panel mechanism: controls, a picture, numbers, and files to take away.

A panel makes its widgets once and holds no numbers but what the controls say.
It uses no output areas: nothing jumps while a slider is dragged, and nothing
that a panel shows is mistaken for a cell's output.
"""

from __future__ import annotations

import asyncio
import re
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

import ipywidgets as W

from ..formulas.registry import OutsideRangeWarning
from . import markup, report
from .controls import Choice, Control, Row
from .picture import LivePicture, Picture

LARGE_TYPE = 1.35
PAUSE = 0.2  # seconds without a change before what takes longer is computed
COMPUTING = "some of this is still being computed"


class Panel(W.VBox):
    """Controls that feed a study, and the picture and numbers of its result.

    Numbers go in and out as SI, texts with a unit are read (``"25 km/h"``);
    the reader sees the controls' own units.

    Args:
        study: called with one keyword per control, returns a result with
            ``summary()`` and ``table()``.  A ``ValueError`` is shown as a sentence.
            A result may carry ``later``, a function that gives the whole result:
            it is called when the reader pauses, and the picture drawn again.
        picture: how the result is drawn.
        controls: what the reader can set.
        start: the value of each control at the beginning and after Reset.  A range
            is widened where it does not contain the start.
        title: heading, and the beginning of the names of files.
        save: called as ``save(values, name)`` to keep the values under a name.
        large: bigger type, for a projector.
        continuous: redraw while a slider is dragged; switch off for slow studies.
    """

    def __init__(
        self,
        study: Callable[..., Any],
        picture: Picture,
        controls: Sequence[Control | Choice],
        start: Mapping[str, Any],
        *,
        title: str = "",
        save: Callable[[dict[str, Any], str], object] | None = None,
        large: bool = False,
        continuous: bool = True,
    ) -> None:
        names = [control.name for control in controls]
        if set(names) != set(start) or len(set(names)) != len(names):
            raise ValueError(f"controls and start must name the same things once: {', '.join(names)} against {', '.join(start)}")
        self.study, self.picture, self.heading, self._save = study, picture, title, save
        self.error: Exception | None = None
        self._result: Any = None
        self._held, self._scale = True, LARGE_TYPE if large else 1.0
        self._live: dict[bool, LivePicture] = {}
        self._waiting: asyncio.TimerHandle | None = None
        width = f"{min(13.0, 1.5 + 0.52 * max((len(c.caption) for c in controls), default=0)):.1f}em"
        self.rows = {c.name: Row(c, start[c.name], width, self.redraw) for c in controls}
        for row in self.rows.values():
            if row.slider is not None:
                row.slider.continuous_update = continuous
        self.start = self.values()
        self._make(save is not None)
        super().__init__(children=self._parts, layout=W.Layout(width="100%", overflow="visible"))
        self.add_class("unikit-panel")
        if large:
            self.add_class("unikit-large")
        self._held = False
        self.redraw()

    def _make(self, saves: bool) -> None:
        self.image = markup.NamedImage(format="png", tooltip=self.picture.text or self.heading or "picture of the result")
        self.image.layout = W.Layout(flex="0 1 auto", height="auto", min_width="0", max_width="100%", display="none")
        self.alert, self.numbers, self.files, self.kept = (markup.area() for _ in range(4))
        self.numbers.layout.flex = "1 1 24em"  # beside the picture only where labels need not be torn
        self.reset = W.Button(description="Reset", tooltip="Back to the values at the start")
        self.reset.on_click(lambda _: self.set(**self.start))
        self.narrow = W.ToggleButton(description="Narrow picture", tooltip="Redraw the picture for a narrow screen")
        self.narrow.observe(lambda _: self.redraw(), "value")
        self.prepare = W.Button(description="Prepare files", tooltip="Make links to download the table and the picture")
        self.prepare.on_click(lambda _: self.prepare_files())
        self.name = W.Text(
            description="Save build as",
            tooltip="Name of the new build",
            placeholder="name",
            style={"description_width": "initial"},
            layout=W.Layout(flex="0 1 18em", width="auto", min_width="0"),
        )
        self.keep = W.Button(description="Save", tooltip="Save these values as a build of your own; no file is overwritten")
        self.keep.on_click(lambda _: self.save_as(self.name.value))
        for button in (self.reset, self.narrow, self.prepare, self.keep):
            button.layout.width = "auto"  # a fixed width would cut long words in large type
        wrap = {"flex_flow": "row wrap", "align_items": "center", "overflow": "visible"}
        grid = W.Layout(grid_template_columns="repeat(auto-fit, minmax(min(100%, 34em), 1fr))", grid_gap="2px 18px", width="100%")
        self._parts = [
            W.HTML(markup.heading(self.heading), tooltip=self.heading),
            W.GridBox([row.widget for row in self.rows.values()], layout=grid),
            self.alert,
            W.HBox([self.image, self.numbers], layout=W.Layout(flex_flow="row wrap", align_items="flex-start", grid_gap="8px 18px")),
            W.HBox([self.reset, self.narrow, self.prepare], layout=W.Layout(**wrap)),
            self.files,
        ]
        if saves:
            self._parts += [W.HBox([self.name, self.keep], layout=W.Layout(**wrap)), self.kept]

    # -- values ------------------------------------------------------------

    @property
    def result(self) -> Any:
        """The result at the present values; raises the error where the study failed, so that no old one is taken for it."""
        if self.error is not None:
            raise self.error
        return self._result

    def values(self) -> dict[str, Any]:
        """What the controls say, in SI."""
        return {name: row.value for name, row in self.rows.items()}

    def set(self, **values: Any) -> None:
        """Set some controls, by SI numbers, texts with unit or words, and redraw once."""
        unknown = [name for name in values if name not in self.rows]
        if unknown:
            raise ValueError(f"the panel has no control {unknown[0]!r}; it has {', '.join(self.rows)}")
        read = {name: self.rows[name].control.read(value) for name, value in values.items()}
        self._held = True
        try:
            for name, value in read.items():
                self.rows[name].box.value = value
        finally:
            self._held = False
        self.redraw()

    def redraw(self) -> None:
        """Run the study and show its result, or the sentence of its error."""
        if self._held:
            return
        if self.files.value:
            self.files.value = ""  # links to the files of an earlier result
        self._wait(False)
        if self._run(lambda: self.study(**self.values())) and self.unfinished:
            self._wait(True)

    @property
    def unfinished(self) -> bool:
        """Whether a part of the result is still to be computed."""
        return self.error is None and getattr(self._result, "later", None) is not None

    def finish(self) -> None:
        """Compute now what the result left for later; a page does so by itself when the reader pauses."""
        self._wait(False)
        if self.unfinished:
            self._run(self._result.later)

    def _wait(self, on: bool) -> None:
        """Have the rest computed after a pause, or give up an earlier wait; without a running loop someone must ask for it."""
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None
        if on:
            try:
                loop = asyncio.get_running_loop()
            except RuntimeError:
                return
            self._waiting = loop.call_later(PAUSE, self.finish)

    def _run(self, study: Callable[[], Any]) -> bool:
        """Show what a study gives; false where it failed."""
        try:
            with _heard() as notes:
                result = study()
                summary = result.summary()
        except ValueError as error:
            return self._fail(error, str(error))
        except Exception as error:
            return self._fail(error, f"The panel has a fault: {type(error).__name__}: {error}")
        try:
            pixels = self._picture().png(result)
        except Exception as error:
            self._live.clear()  # a frame left half drawn must not stay under the next picture
            return self._fail(error, f"The picture has a fault: {type(error).__name__}: {error}")
        self._result, self.error = result, None
        self.image.value = pixels  # before the numbers: a new number beside an old curve would mislead
        self.numbers.value = markup.numbers(summary)
        self._mark(stale=False)
        lines = [f"note: {note}" for note in notes] + [COMPUTING] * self.unfinished
        self.alert.value = "".join(map(markup.status, lines))
        return True

    def _picture(self) -> LivePicture:
        narrow = self.narrow.value
        if narrow not in self._live:
            self._live[narrow] = self.picture.live(narrow=narrow, scale=1.0 if narrow else self._scale)
        return self._live[narrow]

    def _fail(self, error: Exception, sentence: str) -> bool:
        self.error = error
        old = markup.status("the picture and the numbers are those of the last values that worked") if self.image.value else ""
        self._mark(stale=True)
        self.alert.value = markup.alert(sentence) + old
        return False

    def _mark(self, stale: bool) -> None:
        self.image.layout.display = None if self.image.value else "none"
        for widget in (self.image, self.numbers):
            if stale != ("unikit-stale" in widget._dom_classes):
                (widget.add_class if stale else widget.remove_class)("unikit-stale")

    # -- files -------------------------------------------------------------

    def prepare_files(self) -> None:
        """Make the download links; on request only, because they are as large as the files."""
        if self.error is not None:
            self.files.value = markup.alert("there is no result to download at these values")
            return
        stem = re.sub(r"[^a-z0-9]+", "-", self.heading.lower()).strip("-") or "result"
        try:
            made = [
                ("Table (CSV)", f"{stem}.csv", "text/csv", report.table_csv(self._result).encode()),
                ("Picture (PNG)", f"{stem}.png", "image/png", report.figure_bytes(self.picture, self._result, "png")),
                ("Picture (SVG)", f"{stem}.svg", "image/svg+xml", report.figure_bytes(self.picture, self._result, "svg")),
            ]
        except Exception as error:
            self.files.value = markup.alert(f"the files could not be made: {error}")
            return
        self.files.value = " &nbsp; ".join(markup.download(*one) for one in made)

    def save_as(self, name: str) -> None:
        """Hand the values to ``save``; what goes wrong is shown as a sentence."""
        try:
            if not name.strip():
                raise ValueError("Write a name for the build first.")
            self._save(self.values(), name.strip())
        except FileExistsError as error:
            text = f"{name.strip()} exists already: choose another name" if error.errno else str(error)
        except (OSError, ValueError) as error:
            text = str(error)
        else:
            self.kept.value = markup.status(f"saved as {name.strip()}")
            return
        self.kept.value = markup.alert(text)

    def _repr_mimebundle_(self, **kwargs: Any) -> dict[str, Any]:
        """Where widgets are not shown, as in a stored notebook, say what stands here."""
        made = super()._repr_mimebundle_(**kwargs)
        made["text/plain"] = f"Panel: {self.heading or 'interactive'} (run the notebook to use it)"
        return made


@contextmanager
def _heard() -> Iterator[list[str]]:
    """Collect the warnings of correlations used outside their range; others go where they would have gone."""
    notes: list[str] = []
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always", OutsideRangeWarning)
        yield notes
    for one in caught:
        if issubclass(one.category, OutsideRangeWarning):
            if str(one.message) not in notes:
                notes.append(str(one.message))
        else:
            warnings.warn_explicit(one.message, one.category, one.filename, one.lineno)
