"""Choosing a route in a notebook: one of a folder, or a file of the reader's own.

``chosen = upload.pick("../data/routes")`` shows the choice; ``chosen.route`` is
the route then, ``chosen.routes`` all of them by name, and ``chosen.observe``
takes a function that is called with each new choice.  ``panel(chosen)`` shows
what was mended and what smoothing does.
"""

from __future__ import annotations

import dataclasses
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ipywidgets as W

from ..inputs import InputError, Route, read_route
from ..inputs.route_repair import STEP, Repaired, resampled
from ..studies import routes as routes_study
from . import markup
from .controls import Control
from .figures import PICTURES
from .panel import Panel

ENDINGS = (".gpx", ".csv", ".toml")
MOST_BYTES = 30 * 2**20  # of an uploaded file
MOST_LINES = 4  # of a message


class Pick:
    """A choice among routes that grows with uploads; it shows itself at the end of a cell.

    Args:
        folder: whose routes can be chosen.
        mapping: the file that declares the columns of tables that are uploaded; our own columns if left out.
        step: length of the steps of the routes.
        smoothing: smoothing length; that of each file if left out.
    """

    def __init__(
        self, folder: str | Path, mapping: str | Path | None = None, *, step: float = STEP, smoothing: float | None = None
    ) -> None:
        self.mapping, self.step, self.smoothing = mapping, step, smoothing
        self.routes: dict[str, Route] = {}
        self.found: dict[str, Repaired] = {}
        self._callbacks: list[Callable[[Route], object]] = []
        self._wrong, self._held = "", False
        style = {"description_width": "initial"}
        self.names = W.Dropdown(description="Route", tooltip="Route: choose one", style=style, layout=W.Layout(width="auto", min_width="0"))
        hint = f"Add a route from a file of your own: {', '.join(ENDINGS)}, at most {MOST_BYTES // 2**20} MB"
        self.upload = W.FileUpload(accept=",".join(ENDINGS), multiple=False, description="Add a file", tooltip=hint)
        self.upload.layout.width = "auto"
        self.alert, self.told = markup.area(), markup.area()
        row = W.HBox([self.names, self.upload], layout=W.Layout(flex_flow="row wrap", align_items="center", overflow="visible"))
        self.widget = W.VBox([W.HTML(markup.heading("")), row, self.alert, self.told], layout=W.Layout(width="100%", overflow="visible"))
        self.widget.add_class("unikit-panel")
        for path in sorted(path for path in Path(folder).glob("*") if path.suffix.lower() in ENDINGS):
            self._read(path, path.name)
        if not self.routes:
            raise ValueError(f"{folder} holds no route: expected files {', '.join(ENDINGS)}" + (f"; {self._wrong}" if self._wrong else ""))
        self.upload.observe(self._uploaded, "value")
        self.names.observe(self._chosen, "value")
        self._tell()

    @property
    def route(self) -> Route:
        """The chosen route."""
        return self.routes[self.names.value]

    @property
    def repaired(self) -> Repaired:
        """The chosen route before it was brought to even steps."""
        return self.found[self.names.value]

    def observe(self, callback: Callable[[Route], object]) -> None:
        """Have a function called with the route at each new choice."""
        self._callbacks.append(callback)

    def choose(self, name: str) -> None:
        """Choose a route by its name."""
        if name not in self.routes:
            raise ValueError(f"there is no route {name!r}; there are {', '.join(map(repr, self.routes))}")
        self.names.value = name

    def add(self, name: str, content: bytes) -> bool:
        """Add and choose a route from the content of a file, as an upload does; false, with a message shown, where it cannot be read."""
        file = Path(name.replace("\\", "/")).name  # a browser sends a bare name, others may not
        if len(content) > MOST_BYTES:
            return self._fail(f"{file}: expected a file of at most {MOST_BYTES:,} bytes; found: {len(content):,} bytes")
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / f"upload{Path(file).suffix.lower()}"
            path.write_bytes(content)
            made = self._read(path, file)
        if made:
            self.alert.value = markup.status(f"read from {file}")
            self.choose(made)
        return bool(made)

    def _read(self, path: Path, file: str) -> str:
        """Read a file and keep its route; the name under which it can be chosen, empty with a message where it cannot be read."""
        try:
            found = read_route(path, self.mapping if path.suffix == ".csv" else None)
            if path.name != file and found.way.name == path.stem:  # a file without a name of its own
                found = found.renamed(Path(file).stem)
            route = resampled(found, self.step, self.smoothing)
        except InputError as error:
            lines = [str(problem).replace(str(path), file) for problem in error.problems]
            rest = [f"and {len(lines) - MOST_LINES} more"] if len(lines) > MOST_LINES else []
            self._fail("; ".join(lines[:MOST_LINES] + rest))
            return ""
        name, number = route.name, 1
        while name in self.routes:
            number += 1
            name = f"{route.name} ({number})"
        self.routes[name], self.found[name] = dataclasses.replace(route, name=name), found.renamed(name)
        before, self._held = self.names.value, True
        try:  # new options choose the first one
            self.names.options = list(self.routes)
            self.names.value = before or name
        finally:
            self._held = False
        return name

    def _uploaded(self, change: dict[str, Any]) -> None:
        for file in change["new"]:
            self.add(file["name"], bytes(file["content"]))
        if change["new"]:
            self.upload.value = ()  # the content is not kept twice, and the same file can be tried again

    def _chosen(self, change: dict[str, Any]) -> None:
        if self._held:
            return
        self._tell()
        for callback in self._callbacks:
            callback(self.route)

    def _fail(self, text: str) -> bool:
        self._wrong = text
        self.alert.value = markup.alert(f"not read: {text}")
        return False

    def _tell(self) -> None:
        """What was done to the chosen route."""
        self.told.value = "".join(markup.status(note) for note in self.route.notes)

    def _repr_mimebundle_(self, **kwargs: Any) -> dict[str, Any]:
        made = self.widget._repr_mimebundle_(**kwargs)
        made["text/plain"] = f"Routes to choose from: {', '.join(self.routes)} (run the notebook to add your own)"
        return made


def pick(folder: str | Path = "data/routes", mapping: str | Path | None = None, **options: Any) -> Pick:
    """Let a reader choose one of a folder's routes, or add one; options as in :class:`Pick`."""
    return Pick(folder, mapping, **options)


def panel(chosen: Pick, **options: Any) -> Panel:
    """The chosen route: its faults, its profile, and what smoothing does to its climb."""
    controls = [
        Control("smoothing", "Smoothing length", "m", 0.0, 500.0, 1.0, "length"),
        Control("step", "Step", "m", 5.0, 50.0, 5.0, "length"),
    ]
    usual = lambda: chosen.repaired.usual if chosen.smoothing is None else chosen.smoothing
    study = lambda smoothing, step: routes_study.study(chosen.repaired, smoothing, step)
    start = {"smoothing": usual(), "step": chosen.step}
    made = Panel(study, PICTURES["routes"], controls, start, title="Route and climb", **options)
    chosen.observe(lambda route: made.set(smoothing=usual()))
    return made
