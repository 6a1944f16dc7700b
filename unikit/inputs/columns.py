"""Tables of text whose columns a file of ours declares: shared by logs of rides and records of a bench.

Nothing is guessed: a column has a declared name, unit and sign, and what does
not keep to that is refused with its row and column.  A table is read row by
row, so that it needs no more memory than its numbers.
"""

from __future__ import annotations

import array
import csv
import math
import os
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from .. import units
from .errors import InputError, Problem, show
from .fields import nearest
from .reading import label

MOST_ROWS = 2_000_000
MOST_PROBLEMS = 10  # bad cells after which a table is given up
FEWEST_ROWS = 3
DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t"}
DECIMALS = {"point": ".", "comma": ","}


@dataclass(frozen=True)
class Column:
    """Where one quantity stands and how to read it."""

    column: str
    unit: str
    sign: int
    kind: str


@dataclass(frozen=True)
class Table:
    """The numbers of the declared columns in SI, and the line of the file that each row stands on."""

    file: str
    values: dict[str, np.ndarray]
    lines: array.array


def refuse(file: str, expected: str, found: str, field: str = "", value: Any = None) -> InputError:
    """An error of one line."""
    return InputError([Problem(file, field, "" if value is None else show(value), expected, found)])


@dataclass
class Declared:
    """The tables of a declaring file while they are looked through; what is wrong with them gathers in ``problems``."""

    file: str
    problems: list[Problem] = field(default_factory=list)

    def wrong(self, place: str, value: Any, expected: str, found: str) -> None:
        """Note one mistake."""
        self.problems.append(Problem(self.file, place, "" if value is None else show(value), expected, found))

    def done(self) -> None:
        """Refuse the file if anything was wrong."""
        if self.problems:
            raise InputError(self.problems)

    def only(self, table: Mapping[str, Any], names: Collection[str], place: str = "") -> None:
        """Note names that mean nothing there."""
        for name in table:
            if name not in names:
                self.wrong(place + name if place else show(name), None, "", f"an unknown name{nearest(name, names)}")

    def text(self, table: Mapping[str, Any], name: str, place: str = "", what: str = "a text") -> str:
        """A text that must be there."""
        value = table.get(name)
        if isinstance(value, str) and value.strip():
            return value
        self.wrong(place + name, value, what, "nothing" if value in (None, "") else show(value))
        return ""

    def word(self, table: Mapping[str, Any], name: str, allowed: Mapping[str, str], place: str = "") -> str:
        """What a word of a short list stands for."""
        value = table.get(name)
        if not isinstance(value, str) or value not in allowed:
            self.wrong(place + name, value, " or ".join(map(repr, allowed)), "nothing, it is missing" if value is None else show(value))
            return next(iter(allowed.values()))
        return allowed[value]

    def separators(self, table: Mapping[str, Any], place: str = "") -> tuple[str, str]:
        """The signs between entries and in numbers."""
        delimiter, decimal = self.word(table, "delimiter", DELIMITERS, place), self.word(table, "decimal", DECIMALS, place)
        if delimiter == decimal:
            self.wrong(place + "decimal", "comma", "another sign than the delimiter", "the comma for both")
        return delimiter, decimal

    def column(self, entry: Any, kind: str, place: str, names: Collection[str]) -> Column | None:
        """One column, or None if its declaration is wrong."""
        if not isinstance(entry, Mapping):
            self.wrong(place, entry, f"a table [{place}]", show(entry))
            return None
        self.only(entry, names, f"{place}.")
        column, unit, sign = entry.get("column"), entry.get("unit"), entry.get("sign", 1)
        if not isinstance(column, str) or not column.strip():
            self.wrong(f"{place}.column", column, "the name that stands over the column", "nothing" if column is None else show(column))
            return None
        try:
            units.convert(1.0, kind, unit if isinstance(unit, str) else "")
        except units.UnitError as error:
            self.wrong(f"{place}.unit", unit, f"a unit of {kind}: {units.KINDS[kind].examples}", reason(error))
            return None
        if sign not in (1, -1) or isinstance(sign, bool):
            self.wrong(f"{place}.sign", sign, "1 or -1", show(sign))
            return None
        return Column(column.strip(), unit, int(sign), kind)

    def once(self, columns: Mapping[str, Column], place: str) -> None:
        """Note columns that stand for several quantities."""
        names = [entry.column for entry in columns.values()]
        for name in sorted({name for name in names if names.count(name) > 1}):
            self.wrong(place, None, "each column for one quantity", f"{show(name)} for several")


def reason(error: units.UnitError) -> str:
    """What is wrong with a unit, without what could stand there."""
    return str(error).partition(": ")[2].partition("; allowed: ")[0]


def read_table(
    path: str | os.PathLike[str], columns: Mapping[str, Column], delimiter: str, decimal: str, may_miss: Collection[str] = ()
) -> Table:
    """Read the declared columns of a table; an empty cell of a quantity that may miss is nan."""
    file = label(path)
    try:
        with open(path, encoding="utf-8-sig", newline="") as handle:
            numbers, lines = _numbers(handle, columns, delimiter, decimal, file, may_miss)
    except FileNotFoundError:
        raise refuse(file, "a file", "nothing, there is no such file") from None
    except IsADirectoryError:
        raise refuse(file, "a file", "a folder") from None
    except UnicodeDecodeError as error:
        raise refuse(file, "UTF-8 text", f"a byte that is none: {error.reason}") from None
    except csv.Error as error:
        raise refuse(file, "a table of text", str(error)) from None
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise refuse(file, "a file that can be read", str(getattr(error, "strerror", None) or error)) from None
    values = {
        quantity: declared.sign * np.asarray(units.convert(numbers[quantity], declared.kind, declared.unit), float)
        for quantity, declared in columns.items()
    }
    return Table(file, values, lines)


def _numbers(
    handle: Any, columns: Mapping[str, Column], delimiter: str, decimal: str, file: str, may_miss: Collection[str]
) -> tuple[dict[str, np.ndarray], array.array]:
    """The numbers of the declared columns, in their own units, and the line that each row stands on."""
    rows = csv.reader(handle, delimiter=delimiter, strict=True)
    header = [name.strip() for name in next(rows, [])]
    problems = []
    for quantity, declared in columns.items():
        count = header.count(declared.column)
        if count != 1:
            found = f"{count} of that name" if count else f"none; the columns are {', '.join(map(repr, header[:12])) or 'missing'}"
            problems.append(Problem(f"{file}:1", quantity, "", f"one column {declared.column!r}", found))
    if problems:
        raise InputError(problems)
    wanted = [(header.index(declared.column), declared.column, quantity in may_miss) for quantity, declared in columns.items()]
    kept, lines = [array.array("d") for _ in wanted], array.array("I")
    swap = decimal == ","
    for count, row in enumerate(rows):
        if not row:
            continue
        if count >= MOST_ROWS:
            raise refuse(file, f"at most {MOST_ROWS:,} rows", "more")
        lines.append(rows.line_num)
        if len(row) != len(header):
            problems.append(Problem(f"{file}:{rows.line_num}", "the row", "", f"{len(header)} entries as in the first row", f"{len(row)}"))
        else:
            for (place, name, misses), numbers in zip(wanted, kept, strict=True):
                number = math.nan if misses and not row[place].strip() else _number(row[place], swap)
                if number is None:
                    text, sign = row[place].strip(), "comma" if swap else "point"
                    found = show(text) if text else "an empty cell"
                    problems.append(Problem(f"{file}:{rows.line_num}", name, "", f"a finite number with a decimal {sign}", found))
                else:
                    numbers.append(number)
        if len(problems) >= MOST_PROBLEMS:
            break
    if problems:
        raise InputError(problems)
    if len(kept[0]) < FEWEST_ROWS:
        raise refuse(file, f"at least {FEWEST_ROWS} rows of numbers", f"{len(kept[0])}")
    return {quantity: np.frombuffer(numbers, float) for quantity, numbers in zip(columns, kept, strict=True)}, lines


def _number(text: str, swap: bool) -> float | None:
    if "_" in text or (swap and "." in text):
        return None
    try:
        number = float(text.replace(",", ".") if swap else text)
    except ValueError:
        return None
    return number if math.isfinite(number) else None
