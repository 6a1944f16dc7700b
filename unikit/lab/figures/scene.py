"""What a picture is given: the machine for the side view, and the topic's own result."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas

from ...studies.machine import Machine


@dataclass(frozen=True)
class Scene:
    """The machine and one or more results of the same build and case."""

    machine: Machine
    main: Any
    more: Any = None

    def summary(self) -> dict[str, str]:
        """The topic's numbers; a second result adds those that the first does not have."""
        return self.main.summary() | (self.more.summary() if self.more is not None else {})

    def table(self) -> pandas.DataFrame:
        """The table of the topic's result."""
        return self.main.table()
