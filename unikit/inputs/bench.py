"""Records of a bench: what was measured on a motor, with what each instrument is good for.

A record is a small file of ours that declares runs and names their tables.
Nothing is guessed: each quantity has its column, its unit, its uncertainty and
the range of its instrument, and a table that does not keep to them is refused
with its row and column.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from .. import units
from . import weights
from .columns import Column, Declared, Table, read_table, refuse
from .errors import InputError, Problem, show
from .fields import MOST_PARTS, Named, article, is_name, nearest, pretty
from .instruments import EXACT, Accuracy, read_accuracy, read_range, read_value
from .reading import label, read_toml

BENCH_FORMAT = 1
ABSOLUTE_ZERO = "a temperature above absolute zero"


@dataclass(frozen=True)
class Quantity:
    """What a column or a constant may hold: its kind of unit, and whether it may be below zero."""

    kind: str
    signed: bool = False
    exact: bool = False  # a count or a clock, taken as it stands


QUANTITIES: dict[str, Quantity] = {
    "reading": Quantity("number", exact=True),
    "time": Quantity("time", exact=True),
    "winding_temperature": Quantity("temperature"),
    "stator_temperature": Quantity("temperature"),
    "housing_temperature": Quantity("temperature"),
    "magnet_temperature": Quantity("temperature"),
    "air_temperature": Quantity("temperature"),
    "line_resistance": Quantity("resistance"),  # between two leads, four-wire
    "direct_voltage": Quantity("voltage", signed=True),
    "direct_current": Quantity("current", signed=True),
    "rotation": Quantity("rotation"),
    "line_voltage_rms": Quantity("voltage"),  # between two leads
    "drive_torque": Quantity("torque", signed=True),  # that turns the motor from outside
    "drive_power": Quantity("power", signed=True),
    "phase_current_peak": Quantity("current"),
    "phase_current_rms": Quantity("current"),
    "force": Quantity("force", signed=True),  # at right angles to the lever arm
    "lever_arm": Quantity("length"),
    "standby_power": Quantity("power"),  # drawn by the electronics with the motor off
    "bridge_resistance": Quantity("resistance"),  # of the electronics, in each phase
    "air_speed": Quantity("speed"),  # past the housing
    "heated_phases": Quantity("number", exact=True),  # in series between the leads: 2 of a star, 3 where all are joined in a row
    "hung_mass": Quantity("mass"),  # on the pedal, with hook and strap
    "crank_length": Quantity("length"),
    "crank_angle": Quantity("angle", signed=True),  # from the horizontal
    "local_gravity": Quantity("acceleration"),
    "sensor_temperature": Quantity("temperature"),
    "sensor_output": Quantity("voltage", signed=True),  # of the amplifier
    "converter_counts": Quantity("number"),
    "converter_range": Quantity("voltage"),  # voltage at which the converter is full
    "converter_bits": Quantity("number", exact=True),
    "zero_shift": Quantity("voltage", signed=True),  # of one series against the others
}


@dataclass(frozen=True)
class Needs:
    """What a kind of run must hold: of each group one whole choice; and what rises from row to row."""

    groups: tuple[tuple[tuple[str, ...], ...], ...]
    running: str
    may: tuple[str, ...] = ()
    words: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # that a run must say

    @property
    def allowed(self) -> tuple[str, ...]:
        """Every quantity that means something in the run."""
        named = [name for group in self.groups for choice in group for name in choice]
        return tuple(dict.fromkeys((*named, *self.may, "reading", "time")))


_TEMPERATURES = ("winding_temperature", "stator_temperature", "housing_temperature", "magnet_temperature", "air_temperature")
KINDS: dict[str, Needs] = {
    "resistance": Needs(((("line_resistance",), ("direct_voltage", "direct_current")), (("winding_temperature",),)), "winding_temperature"),
    "spun": Needs((((("rotation",),)), (("line_voltage_rms",), ("drive_torque",), ("drive_power",))), "rotation", ("magnet_temperature",)),
    "no load": Needs(
        (
            (("rotation",),),
            (
                ("direct_voltage", "direct_current", "standby_power", "bridge_resistance", "winding_temperature"),
                ("phase_current_rms",),
                ("phase_current_peak",),
            ),
        ),
        "rotation",
        ("magnet_temperature",),
    ),
    "stall": Needs(((("phase_current_peak",),), (("force", "lever_arm"),)), "phase_current_peak", _TEMPERATURES),
    "heating": Needs(
        (
            (("time",),),
            (("direct_voltage", "direct_current"),),
            (("housing_temperature",),),
            (("air_temperature",),),
            (("heated_phases",),),
            (("air_speed",),),
            (("rotation",),),
        ),
        "time",
        ("stator_temperature", "magnet_temperature"),
    ),
    weights.KIND: Needs(
        (
            (("reading",),),
            (("hung_mass",),),
            (("crank_length",),),
            (("crank_angle",),),
            (("local_gravity",),),
            (("sensor_temperature",),),
            (("sensor_output",), ("converter_counts", "converter_range", "converter_bits")),
        ),
        "reading",
        ("zero_shift",),
        weights.WORDS,
    ),
}


@dataclass(frozen=True, eq=False)
class Measured:
    """One quantity of a run in SI: a value for each row, or one for all rows where it is ``constant``.

    ``each`` is the scatter of single readings; ``common`` is what all readings
    of one instrument share: an error of its scale and one of its zero.
    """

    values: np.ndarray
    each: Accuracy = EXACT
    common: Accuracy = EXACT
    instrument: str = ""
    constant: bool = False


@dataclass(frozen=True, eq=False)
class Run:
    """One run of the bench."""

    name: str
    kind: str
    quantities: Mapping[str, Measured]
    words: Mapping[str, str] = field(default_factory=dict)

    def __getitem__(self, quantity: str) -> Measured:
        if quantity not in self.quantities:
            raise ValueError(f"run {self.name!r} has no {quantity}; it holds {', '.join(self.quantities)}")
        return self.quantities[quantity]

    def __contains__(self, quantity: str) -> bool:
        return quantity in self.quantities

    def values(self, quantity: str) -> np.ndarray:
        """The numbers of a quantity, in SI."""
        return self[quantity].values


@dataclass(frozen=True, eq=False)
class Bench:
    """A record of the bench: its runs in the order of the file."""

    name: str
    source: str
    runs: tuple[Run, ...]

    def __getitem__(self, name: str) -> Run:
        for run in self.runs:
            if run.name == name:
                return run
        raise ValueError(f"bench record {self.name!r} has no run {name!r}; it holds {', '.join(run.name for run in self.runs)}")

    def of_kind(self, *kinds: str) -> tuple[Run, ...]:
        """The runs of one kind or several, in the order of the record."""
        return tuple(run for run in self.runs if run.kind in kinds)

    def without(self, *names: str) -> Bench:
        """The record without some of its runs."""
        for name in names:
            self[name]
        return Bench(self.name, self.source, tuple(run for run in self.runs if run.name not in names))


def make_run(name: str, kind: str, quantities: Mapping[str, Measured], words: Mapping[str, str] | None = None) -> Run:
    """A run from SI arrays, such as a computed one; arrays cannot be written to afterwards."""
    if kind not in KINDS:
        raise ValueError(f"a run's kind must be one of {', '.join(map(repr, KINDS))}, got {kind!r}")
    words = dict(words or {})
    wrong = _missing(kind, quantities) or _strange(kind, quantities) or _unsaid(kind, words)
    if kind == weights.KIND and not wrong:
        wrong = weights.wrong({quantity: one.values for quantity, one in quantities.items()}, words)
    if wrong:
        raise ValueError(f"run {name!r}: {wrong}")
    kept = {quantity: replace(one, values=np.array(one.values, float)) for quantity, one in quantities.items()}
    for one in kept.values():
        one.values.flags.writeable = False
    return Run(name, kind, Named(kept), Named(words))


def load_bench(path: str | os.PathLike[str]) -> Bench:
    """Read a record of the bench with all tables that it names.

    Raises :class:`InputError` that names file, row, column and value of what is wrong.
    """
    table, declared = read_toml(path), Declared(label(path))
    declared.only(table, ("format", "name", "source", "note", "runs"))
    if table.get("format") != BENCH_FORMAT:
        declared.wrong("format", table.get("format"), f"format = {BENCH_FORMAT}", show(table.get("format")))
    name, source = (declared.text(table, key) for key in ("name", "source"))
    entries = table.get("runs")
    if not isinstance(entries, list) or not 1 <= len(entries) <= MOST_PARTS or not all(isinstance(item, Mapping) for item in entries):
        declared.wrong("runs", None, f"1 to {MOST_PARTS} tables [[runs]]", "nothing, it is missing" if entries is None else show(entries))
        entries = []
    heads = [_head(entry, f"runs[{place}]", declared) for place, entry in enumerate(entries, 1)]
    names = [head.name for head in heads]
    for twice in sorted({one for one in names if one and names.count(one) > 1}):
        declared.wrong("runs", None, "a name of its own for each run", f"{show(twice)} twice")
    _one_common(heads, declared)
    declared.done()
    folder = os.path.dirname(os.fspath(path))
    return Bench(name, source, tuple(_run(head, folder) for head in heads))


@dataclass(frozen=True)
class _Said:
    """What the file says of one quantity."""

    column: Column | None = None
    value: float = math.nan
    each: Accuracy = EXACT
    common: Accuracy = EXACT
    ends: tuple[float, float] = (-math.inf, math.inf)
    limits: str = ""
    instrument: str = ""


@dataclass(frozen=True)
class _Head:
    """What the file says of one run."""

    name: str
    kind: str
    table: str
    delimiter: str
    decimal: str
    said: Mapping[str, _Said]
    words: Mapping[str, str]


def _head(entry: Mapping[str, Any], place: str, declared: Declared) -> _Head:
    kind = entry.get("kind")
    needs = KINDS.get(kind) if isinstance(kind, str) else None
    words = needs.words if needs else {}
    declared.only(entry, ("name", "kind", "note", "table", "delimiter", "decimal", "columns", "constants", *words), f"{place}.")
    name = entry.get("name")
    if not is_name(name):
        declared.wrong(f"{place}.name", name, "a name of letters, digits, - and _ that starts with a letter", show(name))
        name = ""
    if needs is None:
        hint = nearest(kind, KINDS) if isinstance(kind, str) else ""
        declared.wrong(f"{place}.kind", kind, f"one of {', '.join(map(repr, KINDS))}", f"{show(kind)}{hint}")
        return _Head(name, "", "", ",", ".", {}, {})
    table = declared.text(entry, "table", f"{place}.", "the name of the file with the run's table")
    separators = declared.separators(entry, f"{place}.")
    spoken = {word: declared.word(entry, word, {one: one for one in allowed}, f"{place}.") for word, allowed in words.items()}
    said: dict[str, _Said] = {}
    whole = True
    for part, names in (("columns", _COLUMN_NAMES), ("constants", _CONSTANT_NAMES)):
        group = entry.get(part, {})
        if not isinstance(group, Mapping):
            declared.wrong(f"{place}.{part}", group, f"tables [runs.{part}.…]", show(group))
            continue
        for quantity, one in group.items():
            where = f"{place}.{part}.{quantity}"
            if quantity not in KINDS[kind].allowed:
                allowed = KINDS[kind].allowed
                found = (
                    "a quantity of another kind of run" if quantity in QUANTITIES else f"an unknown quantity{nearest(quantity, allowed)}"
                )
                declared.wrong(where, None, f"for {article(kind)} run one of {', '.join(allowed)}", found)
            elif quantity in said:
                declared.wrong(where, None, "a column or a constant", "both")
            else:
                made = _of(quantity, one, part, where, names, declared)
                whole &= made is not None
                one_for_all = weights.shared(quantity) if kind == weights.KIND else ""
                said[quantity] = replace(made, instrument=made.instrument or one_for_all) if made else _Said()
    missing = _missing(kind, said)
    if missing:
        declared.wrong(f"{place}.columns", None, *missing.split("; found: "))
    declared.once({quantity: one.column for quantity, one in said.items() if one.column}, f"{place}.columns")
    if whole and not missing and _running(kind, {quantity for quantity, one in said.items() if one.column}) is None:
        declared.wrong(f"{place}.columns", None, f"{KINDS[kind].running} (or reading, or time) as a column", "none that could rise")
    return _Head(name, kind, table, *separators, said, spoken)


_COLUMN_NAMES = ("column", "unit", "sign", "uncertainty", "common_uncertainty", "range", "instrument")
_CONSTANT_NAMES = ("value", "uncertainty", "instrument")


def _of(quantity: str, entry: Any, part: str, place: str, names: tuple[str, ...], declared: Declared) -> _Said | None:
    """One quantity as it is declared; None if something is wrong with it."""
    before, kind, exact = len(declared.problems), QUANTITIES[quantity].kind, QUANTITIES[quantity].exact
    column, value, limits, ends = None, math.nan, "", (-math.inf, math.inf)
    if part == "columns":
        column = declared.column(entry, kind, place, names)
        if column is None:
            return None
        if not exact or "range" in entry:
            limits = entry.get("range")
            ends = read_range(limits, kind, f"{place}.range", declared)
    elif not isinstance(entry, Mapping):
        declared.wrong(place, entry, f"a table [{place}]", show(entry))
        return None
    else:
        declared.only(entry, names, f"{place}.")
        value = read_value(entry.get("value"), kind, f"{place}.value", declared)
        wrong = _impossible(quantity, value)
        if wrong:
            declared.wrong(f"{place}.value", entry.get("value"), *wrong)
    each = common = EXACT
    if not exact or "uncertainty" in entry:
        each = read_accuracy(entry.get("uncertainty"), kind, f"{place}.uncertainty", declared, part == "columns")
    if "common_uncertainty" in entry:
        common = read_accuracy(entry["common_uncertainty"], kind, f"{place}.common_uncertainty", declared, False)
    instrument = entry.get("instrument", "")
    if not isinstance(instrument, str):
        declared.wrong(f"{place}.instrument", instrument, "the name of the instrument", show(instrument))
    if len(declared.problems) > before:
        return None
    if part == "constants":  # every row has the same error
        each, common = EXACT, Accuracy(0.0, float(each.deviation(value)))
    return _Said(column, value, each, common, ends, limits or "", instrument)


def _missing(kind: str, given: Iterable[str]) -> str:
    """What a run lacks, in words; empty if nothing."""
    names = set(given)
    for group in KINDS[kind].groups:
        if not any(set(choice) <= names for choice in group):
            wanted = " or ".join(" with ".join(choice) for choice in group)
            return f"{wanted} for {article(kind)} run; found: {', '.join(sorted(names)) or 'nothing'}"
    return ""


def _strange(kind: str, given: Iterable[str]) -> str:
    strange = [name for name in given if name not in KINDS[kind].allowed]
    return f"{article(kind)} run has no {strange[0]}{nearest(strange[0], KINDS[kind].allowed)}" if strange else ""


def _unsaid(kind: str, words: Mapping[str, str]) -> str:
    wrong = [word for word, allowed in KINDS[kind].words.items() if words.get(word) not in allowed]
    return f"{wrong[0]} must be one of {', '.join(map(repr, KINDS[kind].words[wrong[0]]))}" if wrong else ""


def _running(kind: str, columns: Iterable[str]) -> str | None:
    """The quantity that must rise from row to row: a count of readings or a clock comes before the kind's own."""
    names = set(columns)
    return next((name for name in ("reading", "time", KINDS[kind].running) if name in names), None)


def _one_common(heads: list[_Head], declared: Declared) -> None:
    """One instrument has one common uncertainty, wherever it is named."""
    seen: dict[str, tuple[str, Accuracy, float]] = {}
    for place, head in enumerate(heads, 1):
        for quantity, one in head.said.items():
            if not one.instrument:
                continue
            is_constant = 0.0 if one.column else one.value
            here = QUANTITIES[quantity].kind, one.common, is_constant
            if seen.setdefault(one.instrument, here) != here:
                part = "columns" if one.column else "constants"
                where = f"runs[{place}].{part}.{quantity}.instrument"
                declared.wrong(
                    where, one.instrument, "one kind of quantity and one common_uncertainty for an instrument", "another one before"
                )


def _impossible(quantity: str, value: float) -> tuple[str, str] | None:
    """What was expected and found, for a value that nature does not have."""
    declared = QUANTITIES[quantity]
    if declared.kind == "temperature" and value < 0:
        return ABSOLUTE_ZERO, f"{value:.6g} K"
    if not declared.signed and value < 0:
        hint = ', and the side in words: side = "backward"' if quantity == "hung_mass" else ""
        return f"{article(declared.kind)} of at least 0{hint}", pretty(value, declared.kind, units.KINDS[declared.kind].base)
    return None


def _run(head: _Head, folder: str) -> Run:
    """Read a run's table and hold it against what was declared."""
    columns = {quantity: one.column for quantity, one in head.said.items() if one.column}
    table = read_table(os.path.join(folder, head.table), columns, head.delimiter, head.decimal)
    if problems := [problem for quantity in columns for problem in _outside(quantity, head.said[quantity], table)]:
        raise InputError(problems)
    _rising(_running(head.kind, columns), columns, table)
    known = {quantity: table.values[quantity] if one.column else np.asarray(one.value) for quantity, one in head.said.items()}
    for quantity, row, *wrong in weights.problems(known, head.words) if head.kind == weights.KIND else ():
        line = "" if row is None else f":{table.lines[row]}"
        raise refuse(table.file + line, *wrong, columns[quantity].column if quantity in columns else quantity)
    measured = {}
    for quantity, one in head.said.items():
        measured[quantity] = Measured(
            known[quantity], one.each, one.common, one.instrument or f"{head.name}.{quantity}", one.column is None
        )
    return make_run(head.name, head.kind, measured, head.words)


def _outside(quantity: str, said: _Said, table: Table) -> Iterable[Problem]:
    """The first value that nature or the instrument does not have; one line, since swapped columns would give one for every row."""
    values, kind, unit = table.values[quantity], QUANTITIES[quantity].kind, said.column.unit
    for row, value in enumerate(values):
        wrong = _impossible(quantity, value)
        low, high = said.ends
        slack = 1e-9 * max(abs(low) if math.isfinite(low) else 0.0, abs(high) if math.isfinite(high) else 0.0)
        if wrong is None and not low - slack <= value <= high + slack:
            found = f"{pretty(value, kind, unit)}; is the column that of another quantity, or the instrument at its end?"
            wrong = f"{said.limits}, the range of the instrument", found
        if wrong:
            return [Problem(f"{table.file}:{table.lines[row]}", said.column.column, "", *wrong)]
    return []


def _rising(running: str, columns: Mapping[str, Column], table: Table) -> None:
    values, name = table.values[running], columns[running].column
    back = np.flatnonzero(np.diff(values) <= 0)
    if not len(back):
        return
    row = int(back[0]) + 1
    same = all(numbers[row] == numbers[row - 1] for numbers in table.values.values())
    what = "the same row again" if same else "the same again" if values[row] == values[row - 1] else "less than in the row before"
    value = pretty(float(values[row]), columns[running].kind, columns[running].unit)
    raise refuse(f"{table.file}:{table.lines[row]}", f"{running} that rises from row to row", what, name, value)
