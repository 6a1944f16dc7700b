"""What an instrument is good for, as a file says it: its range, and the standard deviation of what it shows."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any

import numpy as np

from .. import units
from .columns import Declared, reason
from .errors import show
from .fields import article
from .spreads import step_kind


@dataclass(frozen=True)
class Accuracy:
    """A standard deviation: a share of the value and a fixed part, added in quadrature."""

    share: float = 0.0
    fixed: float = 0.0

    def deviation(self, values: Any) -> Any:
        """The standard deviation at these values."""
        return np.hypot(self.share * np.asarray(values, float), self.fixed)


EXACT = Accuracy()


def _found(value: Any) -> str:
    return "nothing, it is missing" if value is None else show(value)


def read_value(value: Any, kind: str, place: str, declared: Declared) -> float:
    """One number with its unit; NaN if it is none."""
    if not isinstance(value, str):
        declared.wrong(place, value, f"a text such as '1 {units.KINDS[kind].base}'", _found(value))
        return math.nan
    try:
        return units.parse(value, kind)
    except units.UnitError as error:
        declared.wrong(place, value, f"{article(kind)} ({units.KINDS[kind].examples})", reason(error))
        return math.nan


def read_range(value: Any, kind: str, place: str, declared: Declared) -> tuple[float, float]:
    """The ends of what an instrument can show, such as "0 A to 20 A"."""
    unit = units.KINDS[kind].base
    expected = f"what the instrument can show, such as '0 {unit} to 20 {unit}'"
    pieces = re.split(r"\s+to\s+", value) if isinstance(value, str) else []
    if len(pieces) != 2:
        declared.wrong(place, value, expected, _found(value))
        return -math.inf, math.inf
    try:
        low, high = (units.parse(piece, kind) for piece in pieces)
    except units.UnitError as error:
        declared.wrong(place, value, expected, reason(error))
        return -math.inf, math.inf
    if not low < high:
        declared.wrong(place, value, "ends that rise", show(value))
    return low, high


def read_accuracy(value: Any, kind: str, place: str, declared: Declared, positive: bool) -> Accuracy:
    """A standard deviation such as "1 %", "20 mA" or "1 % + 20 mA"."""
    step = step_kind(kind)
    unit, shares = units.KINDS[step].base, kind != "temperature"  # a share of a temperature would depend on where its zero is
    expected = f"a standard deviation such as '20 {unit}'" + (f", '1 %' or '1 % + 20 {unit}'" if shares else "")
    if not isinstance(value, str):
        declared.wrong(place, value, expected, _found(value))
        return EXACT
    share, fixed = [], []
    try:
        for piece in re.split(r"\s\+\s", value):
            if shares and piece.strip().endswith("%"):
                share.append(units.parse(piece, "ratio"))
            else:
                fixed.append(units.parse(piece, step))
    except units.UnitError as error:
        declared.wrong(place, value, expected, reason(error))
        return EXACT
    made = Accuracy(math.hypot(*share), math.hypot(*fixed))
    if min(share + fixed) < 0 or (positive and made == EXACT):
        declared.wrong(place, value, f"{expected}, above 0", show(value))
    return made
