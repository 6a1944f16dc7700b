"""Logs of rides: a text table whose columns a small file of ours declares, read into SI arrays.

Nothing is guessed.  The mapping says which column holds which quantity, in
which unit and with which sign; a log that does not keep to it is refused with
its row and column.  The table is read row by row, so that a day's log needs
no more memory than its numbers.
"""

from __future__ import annotations

import array
import csv
import math
import os
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from .. import units
from .errors import InputError, Problem, show
from .fields import Named, nearest
from .reading import label, read_toml

MAPPING_FORMAT = 1
MOST_ROWS = 2_000_000
MOST_PROBLEMS = 10  # bad cells after which a log is given up
EVEN = 1e-6  # intervals that vary less than this share are even
DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t"}
DECIMALS = {"point": ".", "comma": ","}

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
class Column:
    """Where one quantity stands and how to read it."""

    column: str
    unit: str
    sign: int


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
    file = label(path)
    try:
        with open(path, encoding="utf-8-sig", newline="") as handle:
            numbers, lines = _read(handle, mapping, file)
    except FileNotFoundError:
        raise _refuse(file, "a file", "nothing, there is no such file") from None
    except IsADirectoryError:
        raise _refuse(file, "a file", "a folder") from None
    except UnicodeDecodeError as error:
        raise _refuse(file, "UTF-8 text", f"a byte that is none: {error.reason}") from None
    except csv.Error as error:
        raise _refuse(file, "a table of text", str(error)) from None
    except OSError as error:
        raise _refuse(file, "a file that can be read", str(error.strerror or error)) from None
    values = {
        quantity: declared.sign * np.asarray(units.convert(numbers[quantity], QUANTITIES[quantity], declared.unit), float)
        for quantity, declared in mapping.columns.items()
    }
    rate, values = _evenly(values, mapping, file, lines)
    return make_log(mapping.name, mapping.source, rate, values)


def _refuse(file: str, expected: str, found: str, field: str = "", value: Any = None) -> InputError:
    return InputError([Problem(file, field, "" if value is None else show(value), expected, found)])


# -- the mapping -------------------------------------------------------------------


def load_mapping(path: str | os.PathLike[str]) -> Declaration:
    """Read the declaration of a log's columns."""
    table, file = read_toml(path), label(path)
    problems: list[Problem] = []

    def wrong(field: str, value: Any, expected: str, found: str) -> None:
        problems.append(Problem(file, field, "" if value is None else show(value), expected, found))

    def word(name: str, allowed: Mapping[str, str]) -> str:
        value = table.get(name)
        if not isinstance(value, str) or value not in allowed:
            wrong(name, value, " or ".join(map(repr, allowed)), "nothing, it is missing" if value is None else show(value))
            return next(iter(allowed.values()))
        return allowed[value]

    for name in table:
        if name not in _NAMES:
            wrong(show(name), None, "", f"an unknown name{nearest(name, _NAMES)}")
    if table.get("format") != MAPPING_FORMAT:
        wrong("format", table.get("format"), f"format = {MAPPING_FORMAT}", show(table.get("format")))
    texts = {name: table.get(name, "") for name in ("name", "source")}
    for name, value in texts.items():
        if not isinstance(value, str) or not value.strip():
            wrong(name, table.get(name), "a text", "nothing" if value == "" else show(value))
    delimiter, decimal = word("delimiter", DELIMITERS), word("decimal", DECIMALS)
    if delimiter == decimal:
        wrong("decimal", "comma", "another sign than the delimiter", "the comma for both")
    jitter = _jitter(table.get("largest_jitter"), wrong)
    columns = _columns(table.get("columns"), wrong)
    if problems:
        raise InputError(problems)
    return Declaration(texts["name"], texts["source"], delimiter, decimal, jitter, columns)


def _jitter(value: Any, wrong: Any) -> float:
    expected = "a share of the sampling interval from 0 % to 30 %, such as '2 %'"
    try:
        share = units.parse(value, "ratio") if isinstance(value, str) else math.nan
    except units.UnitError:
        share = math.nan
    if not 0 <= share <= 0.3:
        wrong("largest_jitter", value, expected, "nothing, it is missing" if value is None else show(value))
    return share


def _columns(table: Any, wrong: Any) -> dict[str, Column]:
    if not isinstance(table, Mapping) or "time" not in table or len(table) < 2:
        wrong("columns", None, "a table [columns.time] and one for each other quantity", show(table) if table else "nothing, it is missing")
        return {}
    found: dict[str, Column] = {}
    for quantity, entry in table.items():
        place = f"columns.{quantity}"
        if quantity not in QUANTITIES:
            wrong(place, None, f"one of {', '.join(QUANTITIES)}", f"an unknown quantity{nearest(quantity, QUANTITIES)}")
            continue
        if not isinstance(entry, Mapping):
            wrong(place, entry, f"a table [{place}]", show(entry))
            continue
        for name in entry:
            if name not in _COLUMN_NAMES:
                wrong(f"{place}.{name}", None, "", f"an unknown name{nearest(name, _COLUMN_NAMES)}")
        column, unit, sign = entry.get("column"), entry.get("unit"), entry.get("sign", 1)
        if not isinstance(column, str) or not column.strip():
            wrong(f"{place}.column", column, "the name that stands over the column", "nothing" if column is None else show(column))
            continue
        kind = QUANTITIES[quantity]
        try:
            units.convert(1.0, kind, unit if isinstance(unit, str) else "")
        except units.UnitError as error:
            reason = str(error).partition(": ")[2].partition("; allowed: ")[0]
            wrong(f"{place}.unit", unit, f"a unit of {kind}: {units.KINDS[kind].examples}", reason)
            continue
        if sign not in (1, -1) or isinstance(sign, bool):
            wrong(f"{place}.sign", sign, "1 or -1", show(sign))
            continue
        found[quantity] = Column(column.strip(), unit, int(sign))
    names = [entry.column for entry in found.values()]
    for name in sorted({name for name in names if names.count(name) > 1}):
        wrong("columns", None, "each column for one quantity", f"{show(name)} for several")
    return found


# -- the table ---------------------------------------------------------------------


def _read(handle: Any, mapping: Declaration, file: str) -> tuple[dict[str, np.ndarray], array.array]:
    """The numbers of the declared columns, in their own units, and the line that each row stands on."""
    rows = csv.reader(handle, delimiter=mapping.delimiter, strict=True)
    header = [name.strip() for name in next(rows, [])]
    problems = []
    for quantity, declared in mapping.columns.items():
        count = header.count(declared.column)
        if count != 1:
            found = f"{count} of that name" if count else f"none; the columns are {', '.join(map(repr, header[:12])) or 'missing'}"
            problems.append(Problem(f"{file}:1", quantity, "", f"one column {declared.column!r}", found))
    if problems:
        raise InputError(problems)
    wanted = [(header.index(declared.column), declared.column) for declared in mapping.columns.values()]
    kept, lines = [array.array("d") for _ in wanted], array.array("I")
    swap = mapping.decimal == ","
    for count, row in enumerate(rows):
        if not row:
            continue
        if count >= MOST_ROWS:
            raise _refuse(file, f"at most {MOST_ROWS:,} rows", "more")
        lines.append(rows.line_num)
        if len(row) != len(header):
            problems.append(Problem(f"{file}:{rows.line_num}", "the row", "", f"{len(header)} entries as in the first row", f"{len(row)}"))
        else:
            for (place, name), numbers in zip(wanted, kept, strict=True):
                number = _number(row[place], swap)
                if number is None:
                    text, decimal = row[place].strip(), "comma" if swap else "point"
                    found = show(text) if text else "an empty cell"
                    problems.append(Problem(f"{file}:{rows.line_num}", name, "", f"a finite number with a decimal {decimal}", found))
                else:
                    numbers.append(number)
        if len(problems) >= MOST_PROBLEMS:
            break
    if problems:
        raise InputError(problems)
    if len(kept[0]) < 3:
        raise _refuse(file, "at least 3 rows of numbers", f"{len(kept[0])}")
    return {quantity: np.frombuffer(numbers, float) for quantity, numbers in zip(mapping.columns, kept, strict=True)}, lines


def _number(text: str, swap: bool) -> float | None:
    if "_" in text or (swap and "." in text):
        return None
    try:
        number = float(text.replace(",", ".") if swap else text)
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def _evenly(values: dict[str, np.ndarray], mapping: Declaration, file: str, lines: array.array) -> tuple[float, dict[str, np.ndarray]]:
    """Everything on an even grid of time, if the intervals vary little enough for that; the rate, and the values."""
    time, name = values["time"], mapping.columns["time"].column
    intervals = np.diff(time)
    back = np.flatnonzero(intervals <= 0)
    if len(back):
        what = "the same time again" if intervals[back[0]] == 0 else "an earlier time"
        raise _refuse(f"{file}:{lines[back[0] + 1]}", "times that rise from row to row", what, name, f"{time[back[0] + 1]:.6g} s")
    usual = float(np.median(intervals))
    off = np.abs(intervals / usual - 1)
    worst = int(np.argmax(off))
    if off[worst] > max(mapping.largest_jitter, EVEN):
        what = "a gap" if intervals[worst] > 1.5 * usual else "an uneven interval"
        expected = f"intervals within {100 * mapping.largest_jitter:g} % of {usual:.6g} s, as largest_jitter of the mapping says"
        raise _refuse(f"{file}:{lines[worst + 1]}", expected, f"{what} of {intervals[worst]:.6g} s", name, f"{time[worst + 1]:.6g} s")
    rate = (len(time) - 1) / (time[-1] - time[0])
    if off[worst] <= EVEN:
        return rate, values
    grid = np.linspace(time[0], time[-1], len(time))
    return rate, {quantity: grid if quantity == "time" else np.interp(grid, time, value) for quantity, value in values.items()}
