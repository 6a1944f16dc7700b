"""What is wrong with an input, in one line for each mistake."""

from __future__ import annotations

import reprlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

MOST_LINES = 50

_SHORT = reprlib.Repr()
_SHORT.maxlevel, _SHORT.maxlist, _SHORT.maxtuple, _SHORT.maxstring, _SHORT.maxother, _SHORT.maxlong = 2, 4, 4, 48, 48, 24


def show(value: Any) -> str:
    """A value as a message can print it: short, on one line, whatever it holds."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, np.ndarray):
        return np.array2string(value, threshold=6, separator=", ").replace("\n", " ")
    if isinstance(value, np.generic):
        value = value.item()
    return _SHORT.repr(value)


@dataclass(frozen=True)
class Problem:
    """One mistake: where it stands, what stands there, what was expected and what was found."""

    file: str
    field: str
    value: str
    expected: str
    found: str

    def __str__(self) -> str:
        given = f"{self.field} = {self.value}" if self.value else self.field
        place = ": ".join(part for part in (self.file, given) if part)
        return f"{place}: expected {self.expected}; found: {self.found}" if self.expected else f"{place}: {self.found}"


class InputError(ValueError):
    """Everything that is wrong with an input, at once.

    ``problems`` holds one :class:`Problem` for each mistake; the text has one
    line for each.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = list(problems)
        lines = [str(problem) for problem in self.problems[:MOST_LINES]]
        rest = len(self.problems) - len(lines)
        if rest:
            lines.append(f"and {rest} more")
        super().__init__("\n".join(lines))

    def __reduce__(self) -> tuple:
        return InputError, (self.problems,)
