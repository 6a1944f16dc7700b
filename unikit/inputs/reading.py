"""From a file to a record, with every mistake named at once."""

from __future__ import annotations

import os
import re
import stat
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from .. import units
from .build import Build, Case
from .errors import InputError, Problem, show
from .fields import MOST_DOTS, MOST_PARTS, Spec, check, is_name, nearest, pretty, specs
from .paths import item_of
from .records import Partial, Record, broken_rules, join
from .spreads import Spread, read

LARGEST_FILE = 2**20
MOST_HINTS = 50

R = TypeVar("R", bound=Record)
_BROKEN = object()


def load_build(path: str | os.PathLike[str]) -> Build:
    """Read a build file.

    Raises :class:`InputError` that names everything wrong with the file.
    """
    return from_table(Build, read_toml(path), label(path))


def load_case(path: str | os.PathLike[str]) -> Case:
    """Read a case file."""
    return from_table(Case, read_toml(path), label(path))


def load_cases(folder: str | os.PathLike[str]) -> list[Case]:
    """Read every case file of a folder, in the order of the file names."""
    place = Path(folder)
    if not place.is_dir():
        raise _refuse(label(folder), "a folder with case files", "no folder")
    cases, problems = [], []
    for path in sorted(place.glob("*.toml")):
        try:
            cases.append(load_case(path))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    if not cases:
        raise _refuse(label(folder), "at least one file *.toml", "none")
    return cases


def _refuse(file: str, expected: str, found: str) -> InputError:
    return InputError([Problem(file, "", "", expected, found)])


def label(path: str | os.PathLike[str]) -> str:
    """A file's name as a message can print it, on one line."""
    name = os.fspath(path)
    return name if isinstance(name, str) and name.isprintable() else repr(name)


def read_toml(path: str | os.PathLike[str]) -> dict[str, Any]:
    """The tables of a file; InputError if it cannot be read as TOML."""
    file = label(path)
    try:
        state = os.stat(path)
        if stat.S_ISDIR(state.st_mode):
            raise _refuse(file, "a file", "a folder")
        if not stat.S_ISREG(state.st_mode):
            raise _refuse(file, "a file", "something that is not a regular file")
        if state.st_size > LARGEST_FILE:
            raise _refuse(file, f"a file of at most {LARGEST_FILE:,} bytes", f"{state.st_size:,} bytes")
        with open(path, "rb") as handle:
            content = handle.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        raise _refuse(file, "a file", "nothing, there is no such file") from None
    except PermissionError:
        raise _refuse(file, "a file that may be read", "no permission to read it") from None
    except InputError:
        raise
    except (OSError, ValueError) as error:
        raise _refuse(file, "a file that can be read", str(getattr(error, "strerror", None) or error)) from None
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _refuse(file, "UTF-8 text", f"a byte that is none, at byte {error.start + 1}") from None
    return parse_toml(text, file)


def parse_toml(text: str, file: str) -> dict[str, Any]:
    """The tables of a text; mistakes of syntax are given with their line."""
    if not text.strip():
        raise _refuse(file, "a file in TOML", "an empty file")
    lines = text.split("\n")
    for number, line in enumerate(lines, 1):  # the TOML reader's time grows with the square of a key's dots
        if line.count(".") > MOST_DOTS:
            raise _refuse(f"{file}:{number}", f"at most {MOST_DOTS} dots in a line", f"{line.count('.'):,}")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _syntax(str(error), lines, file) from None
    except RecursionError:
        raise _refuse(file, "a file in TOML", "brackets that are nested too deeply") from None
    except ValueError as error:  # such as an integer with more digits than Python reads
        raise _refuse(file, "a file in TOML", str(error)) from None


def _syntax(message: str, lines: list[str], file: str) -> InputError:
    match = re.fullmatch(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", message, re.DOTALL)
    what, line, column = (match.group(1), match.group(2), match.group(3)) if match else (message, None, None)
    number = int(line) if line else len(lines)
    written = lines[number - 1].strip() if number <= len(lines) else ""
    if what.startswith("Cannot overwrite a value"):
        key = written.partition("=")[0].strip()
        return InputError([Problem(f"{file}:{number}", key, "", "every name once", f"{show(key)} a second time")])
    if what.startswith("Cannot declare"):
        return InputError([Problem(f"{file}:{number}", written, "", "every table once", "it a second time")])
    where = f"column {column}" if column else "the end of the file"
    return InputError([Problem(f"{file}:{number}", "", "", 'TOML, such as mass = "74 kg"', f"{what.lower()} at {where}: {show(written)}")])


def from_table(record: type[R], table: Mapping[str, Any], file: str = "") -> R:
    """Make a record from the tables of a file."""
    reader = Reader(file)
    made = reader.record(record, table, "")
    if reader.problems or isinstance(made, Partial):
        raise InputError(reader.problems)
    return made


class Reader:
    """Reads tables into records and collects what is wrong.

    ``plain`` lets numbers stand in SI without their unit, as they do in a
    record; texts are still read with their unit.
    """

    def __init__(self, file: str = "", plain: bool = False, spreads: Mapping[str, Spread] | None = None) -> None:
        self.file, self.plain = file, plain
        self.problems: list[Problem] = []
        self.spreads: dict[str, Spread] = dict(spreads or {})
        self._hints = MOST_HINTS

    def complain(self, field: str, value: Any, expected: str, found: str) -> Any:
        """Note one mistake."""
        self.problems.append(Problem(self.file, field, "" if value is None else show(value), expected, found))
        return _BROKEN

    def record(self, record: type, table: Any, place: str, name: str | None = None) -> Any:
        """Read one table; what could be read of it if something is wrong.  A record was checked when it was made."""
        if isinstance(table, record):
            return table
        if not isinstance(table, Mapping):
            return self.complain(place, table, f"a table [{place}]", show(table))
        known = {key: spec for key, spec in specs(record).items() if spec.form != "spreads"}
        before = len(self.problems)
        meant = self._unknown_names(table, known, place)
        values = {}
        for key, spec in known.items():
            path = join(place, key)
            if key in table and not (table[key] is None and not spec.required):
                values[key] = self.value(spec, table[key], path)
            elif not spec.required:
                values[key] = spec.default
            elif key not in meant:
                expected = f"the table [{path}]" if spec.form == "part" else spec.expected
                self.complain(path, None, expected, "nothing, it is missing")
        sound = {key: value for key, value in values.items() if value is not _BROKEN}
        if len(sound) == len(known) and len(self.problems) == before:
            try:
                extra = {"spreads": self.spreads} if not place else {}
                return record(**sound, **extra)
            except InputError as error:
                self.problems += [Problem(self.file, p.field, p.value, p.expected, p.found) for p in error.problems]
                return Partial(record, sound)
        partial = Partial(record, sound)
        self.problems += broken_rules(record, partial, place, self.file)
        return partial

    def _unknown_names(self, table: Mapping[str, Any], known: Mapping[str, Spec], place: str) -> set[str]:
        meant = set()
        for key in table:
            if key in known:
                continue
            self._hints -= 1
            hint = nearest(key, [name for name in known if name not in table] or known) if self._hints > 0 else ""
            meant.add(hint.partition("'")[2].rpartition("'")[0])
            label = join(place, key if is_name(key) else show(key))
            what = "table" if isinstance(table[key], Mapping) else "name"
            self.complain(label, None, "", f"an unknown {what}{hint}")
        return meant

    def value(self, spec: Spec, raw: Any, path: str) -> Any:
        """Read what stands under one name."""
        if spec.form == "number":
            return self.number(spec, raw, path)
        if spec.form == "curve":
            return self._curve(spec, raw, path)
        if spec.form == "gains":
            return self._gains(spec, raw, path)
        if spec.form == "part":
            return self.record(spec.record, raw, path)
        if spec.form == "parts":
            return self._parts(spec, raw, path)
        value, wrong = check(spec, raw)
        return self.complain(path, raw, spec.expected, wrong) if wrong else value

    def number(self, spec: Spec, raw: Any, path: str) -> Any:
        """Read a number, with its unit and its spread."""
        value, spread = raw, None
        if isinstance(raw, str):
            try:
                value, spread = read(raw, spec.kind)
            except ValueError as error:
                return self.complain(path, raw, spec.expected, _reason(error))
        elif isinstance(raw, (int, float)) and not isinstance(raw, bool) and not (spec.bare or self.plain):
            unit = next(iter(units.KINDS[spec.kind].allowed))
            return self.complain(path, raw, spec.expected, f'a number without its unit (write it as text, such as "{show(raw)} {unit}")')
        value, wrong = check(spec, value)
        if wrong:
            return self.complain(path, raw, spec.expected, wrong)
        if spread is not None:
            if spec.whole:
                return self.complain(path, raw, spec.expected, "a count with a spread")
            ends = [end for end in spread.ends if np.isfinite(end) and not spec.allows(end)]
            if ends:
                return self.complain(path, raw, spec.expected, f"a range that reaches {pretty(ends[0], spec.kind, spec.unit)}")
            self.spreads[path] = spread
        return value

    def _curve(self, spec: Spec, raw: Any, path: str) -> Any:
        if isinstance(raw, (list, tuple)) and len(raw) <= 10_000:
            points = [self._point(spec, item, f"{path}[{place}]") for place, item in enumerate(raw)]
            if any(point is _BROKEN for point in points):
                return _BROKEN
            raw = points
        value, wrong = check(spec, raw)
        return self.complain(path, raw, spec.expected, wrong) if wrong else value

    def _point(self, spec: Spec, raw: Any, path: str) -> Any:
        single = item_of(spec)
        before = len(self.spreads)
        value = self.number(single, raw, path)
        if len(self.spreads) > before:
            del self.spreads[path]
            return self.complain(path, raw, "a point of a curve without a spread", "a spread")
        return value

    def _gains(self, spec: Spec, raw: Any, path: str) -> Any:
        if not isinstance(raw, Mapping) or len(raw) > MOST_PARTS:
            return self.complain(path, raw, spec.expected, f"{len(raw)} of them" if isinstance(raw, Mapping) else show(raw))
        gains = {}
        for name, item in raw.items():
            if not is_name(name):
                return self.complain(path, raw, spec.expected, f"the name {show(name)}")
            gains[name] = self.number(item_of(spec), item, join(path, name))
        if any(value is _BROKEN for value in gains.values()):
            return _BROKEN
        return check(spec, gains)[0]

    def _parts(self, spec: Spec, raw: Any, path: str) -> Any:
        if not isinstance(raw, list) or not all(isinstance(item, Mapping) for item in raw):
            return self.complain(path, raw, spec.expected, show(raw))
        if not 1 <= len(raw) <= MOST_PARTS:
            return self.complain(path, None, spec.expected, f"{len(raw)} of them")
        made = []
        for place, item in enumerate(raw):
            name = item.get("name")
            made.append(self.record(spec.record, item, join(path, name) if is_name(name) else f"{path}[{place}]"))
        if any(isinstance(item, Partial) for item in made):
            return tuple(made)
        value, wrong = check(spec, made)
        return self.complain(path, None, spec.expected, wrong) if wrong else value


def _reason(error: ValueError) -> str:
    text = re.sub(r"^cannot read .* as an? [a-z ]+?: ", "", str(error), flags=re.DOTALL)
    return text.partition("; allowed: ")[0]
