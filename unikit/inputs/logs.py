"""Logs of rides: a text table whose columns a small file of ours declares, read into SI arrays.

Nothing is guessed.  The mapping says which column holds which quantity, in
which unit and with which sign; a log that does not keep to it is refused with
its row and column.
"""

from __future__ import annotations

import array
import math
import os
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from .. import units
from .columns import Declared, read_table, refuse
from .errors import show
from .fields import Named
from .log_mapping import Layout, Recorded, check_shapes, read_layout
from .reading import label, read_toml

EVEN = 1e-6  # intervals that vary less than this share are even


@dataclass(frozen=True)
class Declaration:
    """What a mapping file declares."""

    layout: Layout
    largest_jitter: float


@dataclass(frozen=True, eq=False)
class Log(Recorded):
    """One ride on an even grid of time: SI arrays by quantity, which cannot be written to."""

    sampling_rate: units.Hertz

    @property
    def duration(self) -> units.Second:
        """From the first sample to the last."""
        return float(self["time"][-1] - self["time"][0])


def make_log(name: str, source: str, sampling_rate: units.Hertz, values: Mapping[str, Any]) -> Log:
    """A log from SI arrays on an even grid, such as a computed ride; the time is made where it is not given."""
    count = check_shapes(values)
    kept = {"time": np.arange(count) / sampling_rate} | {quantity: np.array(value, float) for quantity, value in values.items()}
    for value in kept.values():
        value.flags.writeable = False
    return Log(name, source, Named(kept), float(sampling_rate))


def load_log(path: str | os.PathLike[str], mapping_path: str | os.PathLike[str]) -> Log:
    """Read a log as its mapping declares it.

    Raises :class:`InputError` that names file, row, column and value of what is wrong.
    """
    mapping = load_mapping(mapping_path)
    layout = mapping.layout
    table = read_table(path, layout.columns, layout.delimiter, layout.decimal, layout.head)
    rate, values = _evenly(table.values, mapping, table.file, table.lines)
    return make_log(layout.name, layout.source, rate, values)


# -- the mapping -------------------------------------------------------------------


def load_mapping(path: str | os.PathLike[str]) -> Declaration:
    """Read the declaration of a log's columns."""
    table, declared = read_toml(path), Declared(label(path))
    layout = read_layout(table, declared, ("largest_jitter",))
    jitter = _jitter(table.get("largest_jitter"), declared)
    declared.done()
    return Declaration(layout, jitter)


def _jitter(value: Any, declared: Declared) -> float:
    expected = "a share of the sampling interval from 0 % to 30 %, such as '2 %'"
    try:
        share = units.parse(value, "ratio") if isinstance(value, str) else math.nan
    except units.UnitError:
        share = math.nan
    if not 0 <= share <= 0.3:
        declared.wrong("largest_jitter", value, expected, "nothing, it is missing" if value is None else show(value))
    return share


# -- the grid of time --------------------------------------------------------------


def _evenly(values: dict[str, np.ndarray], mapping: Declaration, file: str, lines: array.array) -> tuple[float, dict[str, np.ndarray]]:
    """Everything on an even grid of time, if the intervals vary little enough for that; the rate, and the values."""
    time, name = values["time"], mapping.layout.columns["time"].column
    intervals = np.diff(time)
    back = np.flatnonzero(intervals <= 0)
    if len(back):
        what = "the same time again" if intervals[back[0]] == 0 else "an earlier time"
        raise refuse(f"{file}:{lines[back[0] + 1]}", "times that rise from row to row", what, name, f"{time[back[0] + 1]:.6g} s")
    usual = float(np.median(intervals))
    off = np.abs(intervals / usual - 1)
    worst = int(np.argmax(off))
    if off[worst] > max(mapping.largest_jitter, EVEN):
        what = "a gap" if intervals[worst] > 1.5 * usual else "an uneven interval"
        expected = f"intervals within {100 * mapping.largest_jitter:g} % of {usual:.6g} s, as largest_jitter of the mapping says"
        raise refuse(f"{file}:{lines[worst + 1]}", expected, f"{what} of {intervals[worst]:.6g} s", name, f"{time[worst + 1]:.6g} s")
    rate = (len(time) - 1) / (time[-1] - time[0])
    if off[worst] <= EVEN:
        return rate, values
    grid = np.linspace(time[0], time[-1], len(time))
    return rate, {quantity: grid if quantity == "time" else np.interp(grid, time, value) for quantity, value in values.items()}
