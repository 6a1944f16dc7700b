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
from .columns import Column, Declared, read_table, refuse
from .errors import show
from .fields import Named, nearest
from .reading import label, read_toml

MAPPING_FORMAT = 1
EVEN = 1e-6  # intervals that vary less than this share are even

# What a column may hold, with its kind of unit; all but the time may be missing.
QUANTITIES: dict[str, str] = {
    "time": "time",
    "lean_rate": "rotation",
    "pedal_torque": "torque",
    "speed": "speed",
    "crank_rate": "rotation",
    "pedal_power": "power",
    "distance": "length",
    "altitude": "length",
    "latitude": "angle",
    "longitude": "angle",
    "battery_voltage": "voltage",
    "battery_current": "current",
}
_COLUMN_NAMES = ("column", "unit", "sign")
_NAMES = ("format", "name", "source", "note", "delimiter", "decimal", "largest_jitter", "columns")


@dataclass(frozen=True)
class Declaration:
    """What a mapping file declares."""

    name: str
    source: str
    delimiter: str
    decimal: str
    largest_jitter: float
    columns: Mapping[str, Column]


@dataclass(frozen=True, eq=False)
class Log:
    """One ride on an even grid of time: SI arrays by quantity, which cannot be written to."""

    name: str
    source: str
    sampling_rate: units.Hertz
    values: Mapping[str, np.ndarray]

    def __getitem__(self, quantity: str) -> np.ndarray:
        if quantity not in self.values:
            raise ValueError(f"log {self.name!r} has no {quantity}; it holds {', '.join(self.values)}")
        return self.values[quantity]

    def __contains__(self, quantity: str) -> bool:
        return quantity in self.values

    def get(self, quantity: str) -> np.ndarray | None:
        """A quantity that may be missing."""
        return self.values.get(quantity)

    @property
    def duration(self) -> units.Second:
        """From the first sample to the last."""
        return float(self["time"][-1] - self["time"][0])


def make_log(name: str, source: str, sampling_rate: units.Hertz, values: Mapping[str, Any]) -> Log:
    """A log from SI arrays on an even grid, such as a computed ride; the time is made where it is not given."""
    unknown = [quantity for quantity in values if quantity not in QUANTITIES]
    if unknown:
        raise ValueError(f"a log has no quantity {unknown[0]!r}{nearest(unknown[0], QUANTITIES)}")
    lengths = {quantity: np.shape(value) for quantity, value in values.items()}
    if not lengths or len(set(lengths.values())) != 1 or any(len(shape) != 1 for shape in lengths.values()):
        raise ValueError(f"the quantities of a log must be lists of one length, got shapes {lengths}")
    count = next(iter(lengths.values()))[0]
    kept = {"time": np.arange(count) / sampling_rate} | {quantity: np.array(value, float) for quantity, value in values.items()}
    for value in kept.values():
        value.flags.writeable = False
    return Log(name, source, float(sampling_rate), Named(kept))


def load_log(path: str | os.PathLike[str], mapping_path: str | os.PathLike[str]) -> Log:
    """Read a log as its mapping declares it.

    Raises :class:`InputError` that names file, row, column and value of what is wrong.
    """
    mapping = load_mapping(mapping_path)
    table = read_table(path, mapping.columns, mapping.delimiter, mapping.decimal)
    rate, values = _evenly(table.values, mapping, table.file, table.lines)
    return make_log(mapping.name, mapping.source, rate, values)


# -- the mapping -------------------------------------------------------------------


def load_mapping(path: str | os.PathLike[str]) -> Declaration:
    """Read the declaration of a log's columns."""
    table, declared = read_toml(path), Declared(label(path))
    declared.only(table, _NAMES)
    if table.get("format") != MAPPING_FORMAT:
        declared.wrong("format", table.get("format"), f"format = {MAPPING_FORMAT}", show(table.get("format")))
    texts = [declared.text(table, name) for name in ("name", "source")]
    separators = declared.separators(table)
    jitter = _jitter(table.get("largest_jitter"), declared)
    columns = _columns(table.get("columns"), declared)
    declared.done()
    return Declaration(*texts, *separators, jitter, columns)


def _jitter(value: Any, declared: Declared) -> float:
    expected = "a share of the sampling interval from 0 % to 30 %, such as '2 %'"
    try:
        share = units.parse(value, "ratio") if isinstance(value, str) else math.nan
    except units.UnitError:
        share = math.nan
    if not 0 <= share <= 0.3:
        declared.wrong("largest_jitter", value, expected, "nothing, it is missing" if value is None else show(value))
    return share


def _columns(table: Any, declared: Declared) -> dict[str, Column]:
    if not isinstance(table, Mapping) or "time" not in table or len(table) < 2:
        found = show(table) if table else "nothing, it is missing"
        declared.wrong("columns", None, "a table [columns.time] and one for each other quantity", found)
        return {}
    found: dict[str, Column] = {}
    for quantity, entry in table.items():
        place = f"columns.{quantity}"
        if quantity not in QUANTITIES:
            declared.wrong(place, None, f"one of {', '.join(QUANTITIES)}", f"an unknown quantity{nearest(quantity, QUANTITIES)}")
            continue
        column = declared.column(entry, QUANTITIES[quantity], place, _COLUMN_NAMES)
        if column:
            found[quantity] = column
    declared.once(found, "columns")
    return found


# -- the grid of time --------------------------------------------------------------


def _evenly(values: dict[str, np.ndarray], mapping: Declaration, file: str, lines: array.array) -> tuple[float, dict[str, np.ndarray]]:
    """Everything on an even grid of time, if the intervals vary little enough for that; the rate, and the values."""
    time, name = values["time"], mapping.columns["time"].column
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
