"""Tables of text whose columns a file of ours declares: shared by logs of rides and records of a bench.

Nothing is guessed: a column has a declared name, unit and sign, and what does
not keep to that is refused with its row and column.  A table is read in blocks
of rows, so that it needs no more memory than its numbers, or than one block.
"""

from __future__ import annotations

import array
import csv
import io
import math
import os
import stat
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import chain, islice
from typing import Any, TextIO

import numpy as np

from .. import units
from .errors import InputError, Problem, show
from .fields import nearest
from .reading import label

MOST_ROWS = 2_000_000
LONGEST_LINE = 2**20  # characters; a file without line ends is no table
BLOCK = 5_000  # rows that are turned into numbers at once
MOST_PROBLEMS = 10  # bad cells after which a table is given up
FEWEST_ROWS = 3
DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t"}
DECIMALS = {"point": ".", "comma": ","}
ENCODINGS = {"utf-8": "utf-8-sig", "utf-16": "utf-16", "latin-1": "latin-1"}
LATEST_LINE = 1000  # on which a table may begin
CLOCKS = {"with zone": "with zone", "without zone": "without zone"}  # texts of ISO 8601
_YEAR_2000 = {"with zone": datetime(2000, 1, 1, tzinfo=UTC), "without zone": datetime(2000, 1, 1)}


@dataclass(frozen=True)
class Head:
    """How a table begins: on which line the names stand (0: nowhere, the columns are called 1, 2, …), and on which the first numbers."""

    encoding: str = ENCODINGS["utf-8"]
    names_line: int = 1
    first_line: int = 2

    @property
    def between(self) -> int:
        """Lines after the names that hold no numbers, such as one of units."""
        return self.first_line - self.names_line - 1 if self.names_line else 0


@dataclass(frozen=True)
class Column:
    """Where one quantity stands and how to read it."""

    column: str
    unit: str
    sign: int
    kind: str
    missing: tuple[str, ...] = ()  # texts that stand for no value
    clock: str = ""  # one of CLOCKS where the cells are dates with times, read as seconds


@dataclass(frozen=True)
class Table:
    """The numbers of the declared columns in SI, nan where a value is missing, and the line of the file that each row stands on."""

    file: str
    values: dict[str, np.ndarray]
    lines: array.array
    headed: tuple[int, ...] = ()  # rows before which the names stand again
    torn: int = 0  # line of a last row that breaks off, and was left out


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

    def head(self, table: Mapping[str, Any]) -> Head:
        """How the table begins; what is left out is as in most tables."""
        encoding = self.word(table, "encoding", ENCODINGS) if "encoding" in table else ENCODINGS["utf-8"]
        names = self._line(table, "names_line", 0, 1)
        return Head(encoding, names, self._line(table, "first_line", names + 1, names + 1))

    def _line(self, table: Mapping[str, Any], name: str, least: int, usual: int) -> int:
        value = table.get(name, usual)
        if isinstance(value, int) and not isinstance(value, bool) and least <= value <= LATEST_LINE:
            return value
        self.wrong(name, value, f"the number of a line, from {least} to {LATEST_LINE:,}", show(value))
        return usual

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
        if not isinstance(unit, str):
            expected = f'a unit of {kind}, "" for a bare number: {units.KINDS[kind].examples}'
            self.wrong(f"{place}.unit", unit, expected, "the unit is missing")
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


def read_table(path: str | os.PathLike[str], columns: Mapping[str, Column], delimiter: str, decimal: str, head: Head = Head()) -> Table:
    """Read the declared columns of a table."""
    kept, lines = {quantity: array.array("d") for quantity in columns}, array.array("I")
    for block in read_blocks(path, columns, delimiter, decimal, head):
        if len(lines) + len(block.lines) > MOST_ROWS:
            raise refuse(block.file, f"at most {MOST_ROWS:,} rows", "more")
        lines.extend(block.lines)
        for quantity, values in block.values.items():
            kept[quantity].frombytes(values.tobytes())
    return Table(label(path), {quantity: np.frombuffer(numbers, float) for quantity, numbers in kept.items()}, lines)


def read_blocks(
    path: str | os.PathLike[str],
    columns: Mapping[str, Column],
    delimiter: str,
    decimal: str,
    head: Head = Head(),
    lenient: bool = False,
    progress: Callable[[float], Any] | None = None,
) -> Iterator[Table]:
    """Read the declared columns block by block.

    ``lenient`` allows what loggers do: the names stand again where a record was
    taken up anew, and a last row breaks off.  ``progress`` is given the share
    that was read; an error that it raises ends the reading.
    """
    file, blocks = label(path), _blocks(path, columns, delimiter, decimal, head, lenient)
    while True:
        try:
            share, block = next(blocks)
        except StopIteration:
            return
        except FileNotFoundError:
            raise refuse(file, "a file", "nothing, there is no such file") from None
        except IsADirectoryError:
            raise refuse(file, "a file", "a folder") from None
        except UnicodeDecodeError as error:
            name = next(name for name, codec in ENCODINGS.items() if codec == head.encoding)
            raise refuse(file, f"{name.upper()} text", f"a byte that is none: {error.reason}") from None
        except csv.Error as error:
            raise refuse(file, "a table of text", str(error)) from None
        except (OSError, ValueError) as error:
            if isinstance(error, InputError):
                raise
            raise refuse(file, "a file that can be read", str(getattr(error, "strerror", None) or error)) from None
        if progress:
            progress(share)
        yield block


def _blocks(
    path: str | os.PathLike[str], columns: Mapping[str, Column], delimiter: str, decimal: str, head: Head, lenient: bool
) -> Iterator[tuple[float, Table]]:
    file = label(path)
    with open(path, "rb") as raw, io.TextIOWrapper(raw, encoding=head.encoding, newline="") as text:
        state = os.fstat(raw.fileno())
        if not stat.S_ISREG(state.st_mode):
            raise refuse(file, "a file", "something that is not a regular file")
        lines = _lines(text, file)
        before = sum(1 for _ in islice(lines, (head.names_line or head.first_line) - 1))  # lines that the rows do not count
        if head.names_line:
            rows = csv.reader(lines, delimiter=delimiter, strict=True)
            header = [name.strip() for name in next(rows, [])]
            before += sum(1 for _ in islice(lines, head.between))
        else:
            first = next(lines, "")
            header = [str(place) for place, _ in enumerate(next(csv.reader([first], delimiter=delimiter, strict=True), []), 1)]
            rows = csv.reader(chain([first], lines), delimiter=delimiter, strict=True)
        places = _places(header, columns, f"{file}:{max(head.names_line, 1)}")
        count, more = 0, True
        while more:
            cells, numbers, headed, torn, more = _gather(rows, header, file, before, head.between, lenient)
            count += len(numbers)
            if not more and count < FEWEST_ROWS:
                raise refuse(file, f"at least {FEWEST_ROWS} rows of numbers", f"{count}")
            if numbers or torn:
                values = _numbers(cells, numbers, columns, places, decimal == ",", file, lenient)
                yield min(raw.tell() / max(state.st_size, 1), 1.0), Table(file, values, numbers, headed, torn)


def _lines(text: TextIO, file: str) -> Iterator[str]:
    """The lines of a file of text, none of them endless."""
    while line := text.readline(LONGEST_LINE):
        if len(line) == LONGEST_LINE:
            raise refuse(file, f"lines of fewer than {LONGEST_LINE:,} characters", "a longer one")
        yield line


def _places(header: list[str], columns: Mapping[str, Column], line: str) -> list[int]:
    """Where the declared columns stand."""
    if not any(header):
        raise refuse(line, f"the names of columns, {', '.join(repr(one.column) for one in columns.values())} among them", "nothing")
    problems = []
    for quantity, declared in columns.items():
        count = header.count(declared.column)
        if count != 1:
            found = f"{count} of that name" if count else f"none; the columns are {', '.join(map(repr, header[:12]))}"
            problems.append(Problem(line, quantity, "", f"one column {declared.column!r}", found))
    if problems:
        raise InputError(problems)
    return [header.index(declared.column) for declared in columns.values()]


def _gather(
    rows: Any, header: list[str], file: str, before: int, between: int, lenient: bool
) -> tuple[list[list[str]], array.array, tuple[int, ...], int, bool]:
    """The next rows and their lines, the rows before which the names stand again, the line of a torn row, and whether there are more."""
    cells, lines, headed, problems, width = [], array.array("I"), [], [], len(header)
    for row in rows:
        if len(row) == width:
            if lenient and row[0].strip() == header[0] and [name.strip() for name in row] == header:
                headed.append(len(lines))
                for _ in islice(rows, between):
                    pass
                continue
            cells.append(row)
            lines.append(rows.line_num + before)
            if len(lines) == BLOCK and not problems:
                return cells, lines, tuple(headed), 0, True
        elif row:
            line = rows.line_num + before
            if lenient and len(row) < width and not problems and not any(rows):
                return cells, lines, _before_rows(headed, lines), line, False
            problems.append(Problem(f"{file}:{line}", "the row", "", f"{width} entries as in the first row", f"{len(row)}"))
            if len(problems) == MOST_PROBLEMS:
                break
    if problems:
        raise InputError(problems)
    return cells, lines, _before_rows(headed, lines), 0, False


def _before_rows(headed: list[int], lines: array.array) -> tuple[int, ...]:
    """Without names that stand at the end of the file."""
    return tuple(row for row in headed if row < len(lines))


def _numbers(
    cells: list[list[str]], lines: array.array, columns: Mapping[str, Column], places: list[int], swap: bool, file: str, lenient: bool
) -> dict[str, np.ndarray]:
    """The rows as SI numbers by quantity; InputError for cells that hold none."""
    values, problems = {}, []
    for (quantity, declared), place in zip(columns.items(), places, strict=True):
        texts = [row[place] for row in cells]
        numbers = _quickly(texts, declared, swap)
        if numbers is None:
            read = [_clock(text, declared) if declared.clock else _number(text, declared, swap) for text in texts]
            bad = [row for row, number in enumerate(read) if number is None]
            optional = lenient and quantity != "time"
            problems += [
                (lines[row], _bad_cell(texts[row], declared, swap, f"{file}:{lines[row]}", optional)) for row in bad[:MOST_PROBLEMS]
            ]
            numbers = np.array([] if bad else read, float)
        with np.errstate(over="ignore"):  # what is beyond all numbers is beyond all limits too
            values[quantity] = declared.sign * np.asarray(units.convert(numbers, declared.kind, declared.unit), float)
    if problems:
        raise InputError(problem for _, problem in sorted(problems, key=lambda pair: pair[0])[:MOST_PROBLEMS])
    return values


def _quickly(texts: list[str], declared: Column, swap: bool) -> np.ndarray | None:
    """The numbers of cells that are all plain, else None."""
    try:
        if declared.clock:
            zero, stamps = _YEAR_2000[declared.clock], map(datetime.fromisoformat, texts)
            return np.array([(stamp - zero).total_seconds() for stamp in stamps]) if min(map(len, texts), default=11) > 10 else None
        joined = "".join(texts)
        if "_" in joined or (swap and "." in joined) or (declared.missing and not set(texts).isdisjoint(declared.missing)):
            return None
        numbers = np.array([float(text.replace(",", ".")) for text in texts] if swap else list(map(float, texts)))
    except (ValueError, TypeError, OverflowError):
        return None
    return numbers if np.isfinite(numbers).all() else None


def _number(text: str, declared: Column, swap: bool) -> float | None:
    if text.strip() in declared.missing:
        return math.nan
    if "_" in text or (swap and "." in text):
        return None
    try:
        number = float(text.replace(",", ".") if swap else text)
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def _clock(text: str, declared: Column) -> float | None:
    """Seconds since the year 2000."""
    text = text.strip()
    try:
        return (datetime.fromisoformat(text) - _YEAR_2000[declared.clock]).total_seconds() if len(text) > 10 else None
    except (ValueError, TypeError, OverflowError):
        return None


def _bad_cell(text: str, declared: Column, swap: bool, place: str, optional: bool) -> Problem:
    text = text.strip()
    if declared.clock:
        example = "2026-06-01T08:30:00.5+02:00" if declared.clock == "with zone" else "2026-06-01T08:30:00.5"
        expected = f"a date and time {declared.clock} as ISO 8601 has it, such as {example}"
    else:
        expected = f"a finite number with a decimal {'comma' if swap else 'point'}"
    if optional:
        expected += ", or a text that missing declares"
    return Problem(place, declared.column, "", expected, show(text) if text else "an empty cell")
