"""Logs of whole rides: a table of text from any logger, read as a mapping of ours declares it, and cleaned.

Nothing is guessed silently: what is repaired or left out is told in the notes
of the log.
"""

from __future__ import annotations

import array
import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from .. import units
from .columns import CLOCKS, MOST_ROWS, Column, Declared, Table, read_blocks, refuse
from .errors import show
from .fields import Named, nearest
from .log_mapping import Layout, Recorded, check_shapes, read_layout
from .reading import label, read_toml
from .ride_cleaning import DERIVED, Cleaner, sentences

Progress = Callable[[float], Any]  # is given the share that was read; an error that it raises ends the reading
LONGEST_INTERVAL = 60.0  # s; a longer one tells too little of what was between


@dataclass(frozen=True, eq=False)
class RideLog(Recorded):
    """One ride on its own times, which need not be even: SI arrays by quantity, which cannot be written to.

    Time rises from row to row.  Rows of one ``piece`` follow each other
    unbroken; nothing is integrated from one piece to the next.  A value that
    is unknown is nan.
    """

    piece: np.ndarray
    notes: tuple[str, ...] = ()  # what was repaired or left out


def make_ride(name: str, source: str, values: Mapping[str, Any], piece: Any = None, notes: tuple[str, ...] = ()) -> RideLog:
    """A ride log from SI arrays with their times, such as a computed ride; one piece where none are given."""
    count = check_shapes(values)
    kept = {quantity: np.array(value, float) for quantity, value in values.items()}
    pieces = np.zeros(count, int) if piece is None else np.array(piece, int)
    if "time" not in kept or not np.all(np.diff(kept["time"]) > 0):
        raise ValueError("a ride log needs times that rise from row to row")
    if pieces.shape != (count,) or np.any(np.diff(pieces) < 0):
        raise ValueError(f"piece must be {count} whole numbers that do not fall")
    return _frozen(name, source, kept, pieces, notes)


def _frozen(name: str, source: str, values: Mapping[str, np.ndarray], piece: np.ndarray, notes: tuple[str, ...]) -> RideLog:
    for array_ in (*values.values(), piece):
        array_.flags.writeable = False
    return RideLog(name, source, Named(values), piece, tuple(notes))


def load_ride(path: str | os.PathLike[str], mapping_path: str | os.PathLike[str], *, progress: Progress | None = None) -> RideLog:
    """Read a whole ride log as its mapping declares it, cleaned.

    Raises :class:`InputError` that names file, row, column and value of what is wrong.
    """
    stream = RideStream(path, mapping_path, progress=progress)
    kept: dict[str, array.array] = {}
    for part in stream:
        if stream.rows > MOST_ROWS:
            raise refuse(label(path), f"at most {MOST_ROWS:,} rows in one log; stretches_of reads longer ones", "more")
        for quantity, values in {**part.values, "piece": part.piece}.items():
            kept.setdefault(quantity, array.array("d" if quantity != "piece" else "q")).frombytes(values.tobytes())
    arrays = {quantity: np.frombuffer(numbers, float if quantity != "piece" else np.int64) for quantity, numbers in kept.items()}
    piece = arrays.pop("piece")
    return _frozen(stream.layout.name, stream.layout.source, arrays, piece, stream.notes)


class RideStream:
    """A ride log as clean parts, one after another, in memory that does not grow with the log.

    Its notes are whole when the last part has come.
    """

    def __init__(self, path: str | os.PathLike[str], mapping_path: str | os.PathLike[str], *, progress: Progress | None = None) -> None:
        self.path, self.progress = path, progress
        mapping = load_ride_mapping(mapping_path)
        self.layout = mapping.layout
        self._cleaner = Cleaner(mapping.layout.columns, mapping.longest_interval, mapping.derive)

    @property
    def rows(self) -> int:
        """How many were read."""
        return self._cleaner.rows

    @property
    def notes(self) -> tuple[str, ...]:
        """What was repaired or left out so far."""
        return sentences(self._cleaner)

    def __iter__(self) -> Iterator[RideLog]:
        layout, cleaner = self.layout, self._cleaner
        if cleaner.rows:
            raise ValueError("a stream is read once; make a new one")
        for block in read_blocks(self.path, layout.columns, layout.delimiter, layout.decimal, layout.head, True, self.progress):
            yield self._log(cleaner.feed(block))
        nothing = {quantity: np.empty(0) for quantity in layout.columns}
        yield self._log(cleaner.feed(Table(label(self.path), nothing, array.array("I")), last=True))
        if not cleaner.kept:
            raise refuse(label(self.path), "rows that can be used", f"none of {cleaner.rows:,}: {'; '.join(self.notes)}")

    def _log(self, rows: dict[str, np.ndarray]) -> RideLog:
        del rows["line"]
        return _frozen(self.layout.name, self.layout.source, rows, rows.pop("piece"), ())


# -- the mapping -------------------------------------------------------------------


@dataclass(frozen=True)
class RideMapping:
    """What the mapping of a ride log declares."""

    layout: Layout
    longest_interval: units.Second
    derive: tuple[str, ...]


def load_ride_mapping(path: str | os.PathLike[str]) -> RideMapping:
    """Read the declaration of a ride log's columns."""
    table, declared = read_toml(path), Declared(label(path))
    table, clock = _clock(table, declared)
    layout = read_layout(table, declared, ("longest_interval", "derive"), {"time": (), "": ("missing",)})
    longest = _longest(table.get("longest_interval"), declared)
    derive = _derive(table.get("derive", []), layout.columns, declared)
    columns = {
        quantity: replace(column, clock=clock)
        if quantity == "time"
        else _with_missing(column, table["columns"][quantity], quantity, declared)
        for quantity, column in layout.columns.items()
    }
    declared.done()
    return RideMapping(replace(layout, columns=columns), longest, derive)


def _clock(table: Mapping[str, Any], declared: Declared) -> tuple[Mapping[str, Any], str]:
    """The mapping with a clock of texts turned into one of seconds, and whether its texts have a zone."""
    columns = table.get("columns")
    entry = columns.get("time") if isinstance(columns, Mapping) else None
    if not isinstance(entry, Mapping) or "clock" not in entry:
        return table, ""
    clock = declared.word(entry, "clock", CLOCKS, "columns.time.")
    rest = {name: value for name, value in entry.items() if name != "clock"}
    for name in ("unit", "sign"):
        if name in rest:
            declared.wrong(f"columns.time.{name}", rest.pop(name), "no unit and no sign beside a clock of dates and times", "one")
    return {**table, "columns": {**columns, "time": {**rest, "unit": "s"}}}, clock


def _longest(value: Any, declared: Declared) -> float:
    expected = f"the longest interval between rows that is no gap, above 0 s, up to {LONGEST_INTERVAL:g} s, such as '2 s'"
    try:
        longest = units.parse(value, "time") if isinstance(value, str) else -1.0
    except units.UnitError:
        longest = -1.0
    if not 0 < longest <= LONGEST_INTERVAL:
        declared.wrong("longest_interval", value, expected, "nothing, it is missing" if value is None else show(value))
        return LONGEST_INTERVAL
    return longest


def _derive(asked: Any, columns: Mapping[str, Column], declared: Declared) -> tuple[str, ...]:
    if not isinstance(asked, list) or not all(isinstance(name, str) for name in asked) or len(set(asked)) != len(asked):
        declared.wrong("derive", asked, f"a list of quantities to compute: {', '.join(DERIVED)}", show(asked))
        return ()
    for name in asked:
        if name not in DERIVED:
            declared.wrong("derive", name, f"one of {', '.join(DERIVED)}", f"what is not computed{nearest(name, DERIVED)}")
        elif name in columns:
            declared.wrong("derive", name, "a quantity without a column", f"a table [columns.{name}] too")
        elif lacking := [factor for factor in DERIVED[name] if factor not in columns]:
            declared.wrong("derive", name, f"columns for {' and '.join(DERIVED[name])}", f"none for {' and '.join(lacking)}")
    return tuple(asked)


def _with_missing(column: Column, entry: Mapping[str, Any], quantity: str, declared: Declared) -> Column:
    missing = entry.get("missing", [])
    if not isinstance(missing, list) or not all(isinstance(text, str) and text == text.strip() for text in missing):
        expected = 'a list of texts that stand for no value, such as ["", "nan"]'
        declared.wrong(f"columns.{quantity}.missing", missing, expected, show(missing))
        return column
    return replace(column, missing=tuple(missing))
