"""What a picture is given: the machine for the side view, and the topic's own result."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from types import ModuleType
from typing import Any

import pandas

from ...studies.machine import Machine
from ...studies.results import Result
from .side import Stage, stage


@dataclass(frozen=True)
class Scene:
    """The machine and one or more results of the same build and case, and the spans of the axes that hold them."""

    machine: Machine
    main: Any
    more: Any = None
    stage: Stage | None = None
    span: Any = None
    numbers: tuple[str, ...] = ()
    later: Callable[[], Scene] | None = None  # gives the whole scene, where a part of it takes longer

    def held(self, figure: ModuleType, least: Scene | None = None) -> Scene:
        """The scene with spans that a topic's picture needs, nowhere less than those of another scene.

        A panel gives its first scene, so that axes stay while a slider is
        dragged and grow only where a curve would leave them.
        """
        span = figure.span(self, None if least is None else least.span)
        return replace(self, stage=stage(self.machine, None if least is None else least.stage), span=span)

    @property
    def key(self) -> tuple[Any, Any]:
        """What the frame depends on."""
        return self.stage, self.span

    def summary(self) -> dict[str, str]:
        """The numbers that the topic prints, or all of its results: a second one, if there is one, adds what the first does not have."""
        if self.numbers:
            label: dict[str, str] = {}
            every: dict[str, str] = {}
            for result in (self.more, self.main):  # the first one has the last word
                if not isinstance(result, Result):
                    continue
                label |= {item.name: item.metadata["label"] for item in fields(result) if "label" in item.metadata}
                every |= result.summary()
            return {label[name]: every[label[name]] for name in self.numbers if label.get(name) in every}  # a part may be missing
        return self.main.summary() | (self.more.summary() if self.more is not None else {})

    def table(self) -> pandas.DataFrame:
        """The table of the topic's result."""
        return self.main.table()
