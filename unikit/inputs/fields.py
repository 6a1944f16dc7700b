"""How a field of a record is declared, once: meaning, kind, limits, display unit."""

from __future__ import annotations

import dataclasses
import difflib
import re
from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any, get_args, get_origin, get_type_hints

import numpy as np

from .. import units
from ..formulas.registry import unit_of
from .errors import show

NAME = r"[A-Za-z][A-Za-z0-9_-]{0,39}"
LONGEST_NOTE = 4000
MOST_DOTS = 250
MOST_POINTS = 200
MOST_PARTS = 12
SLACK = 1e-9  # "50 rpm" must pass a limit of 50 rpm, whatever the last bit of the conversion


@dataclasses.dataclass(frozen=True)
class Spec:
    """All that is declared about one field.

    ``form`` says what stands there: ``number``, ``word``, ``text``, ``curve``
    (a list of numbers), ``gains`` (numbers by name), ``part``, ``parts`` or
    ``spreads``.  ``low`` and ``high`` are in SI, ``unit`` is for display.
    """

    name: str
    form: str
    meaning: str
    kind: str = ""
    low: float = -np.inf
    high: float = np.inf
    unit: str = ""
    whole: bool = False
    words: tuple[str, ...] = ()
    named: bool = False
    required: bool = True
    default: Any = None
    record: type | None = None

    @property
    def bare(self) -> bool:
        """Whether a number of this field is written without a unit."""
        return self.kind in ("ratio", "slope", "number")

    def allows(self, value: Any) -> bool:
        """Whether a number, or every number of an array, lies within the limits."""
        low, high = self.low - SLACK * abs(self.low), self.high + SLACK * abs(self.high)
        within = (value >= low) & (value <= high)
        return within if isinstance(within, bool) else bool(within.all())

    @property
    def limits(self) -> str:
        """The range in words, with the display unit."""
        return f"from {pretty(self.low, self.kind, self.unit)} to {pretty(self.high, self.kind, self.unit)}"

    @property
    def expected(self) -> str:
        """What may be written, in words."""
        if self.form == "word":
            if self.words:
                return "one of " + ", ".join(map(repr, self.words))
            return "a name of letters, digits, - and _ that starts with a letter"
        if self.form == "text":
            return f"a text of {'1 to' if self.required else 'at most'} {LONGEST_NOTE} characters"
        if self.form == "gains":
            return f"a table of gear names, each with a bare number {self.limits}"
        if self.form == "curve":
            each = "bare numbers" if self.bare else f"{self.kind}s ({units.KINDS[self.kind].examples})"
            return f"a list of 2 to {MOST_POINTS} {each} {self.limits}"
        if self.form == "part":
            return f"a table [{self.name}]"
        if self.form == "parts":
            return f"1 to {MOST_PARTS} tables [[…{self.name}]], each with a name of its own"
        if self.low == self.high:
            return f"the number {self.low:g}"
        if self.whole:
            return f"a whole number {self.limits}"
        how = "a bare number or %" if self.bare else "units: " + units.KINDS[self.kind].examples
        return f"{article(self.kind)} {self.limits} ({how})"


def article(kind: str) -> str:
    """The kind with its article."""
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"


def pretty_unit(unit: str) -> str:
    """A unit as people write it."""
    return unit.replace("*", "·").replace("^2", "²").replace("^3", "³").replace("degC", "°C")


def pretty(value: Any, kind: str, unit: str, digits: int = 5) -> str:
    """An SI number in a display unit; arrays as their range."""
    if isinstance(value, np.ndarray):
        ends = pretty(float(value.min()), kind, unit, digits), pretty(float(value.max()), kind, unit, digits)
        return f"{ends[0]} to {ends[1]} in {value.size} values" if value.size else "no values"
    number = units.convert(value, kind, units.KINDS[kind].base, unit)
    return f"{number:.{digits}g} {pretty_unit(unit)}".rstrip()


def field(
    meaning: str,
    *,
    low: float = -np.inf,
    high: float = np.inf,
    unit: str = "",
    whole: bool = False,
    words: tuple[str, ...] = (),
    named: bool = False,
    default: Any = dataclasses.MISSING,
) -> Any:
    """Declare a field: its meaning, its limits in SI (both allowed) and the unit to show it in.

    The kind of number comes from the annotation.  A field that is a word has
    its allowed ``words``, or is ``named``: a free name that fits into a path.
    """
    declared = {"meaning": meaning, "low": low, "high": high, "unit": unit, "whole": whole, "words": words, "named": named}
    return dataclasses.field(default=default, metadata=declared)


@cache
def specs(record: type) -> dict[str, Spec]:
    """What is declared about each field of a record class; notes and sources come last."""
    hints = get_type_hints(record, include_extras=True)
    found = {}
    for item in dataclasses.fields(record):
        given = dict(item.metadata)
        hint = hints[item.name]
        form, inner = _form(hint, given)
        unit = unit_of(hint)
        if unit is not None:
            given["kind"] = unit.kind
            given["unit"] = given["unit"] or units.KINDS[unit.kind].base
        required = item.default is dataclasses.MISSING and item.default_factory is dataclasses.MISSING
        default = None if required else (item.default if item.default is not dataclasses.MISSING else item.default_factory())
        found[item.name] = Spec(item.name, form, required=required, default=default, record=inner, **given)
    return dict(sorted(found.items(), key=lambda pair: pair[0] in ("source", "note")))


def _form(hint: Any, given: Mapping[str, Any]) -> tuple[str, type | None]:
    choices = [part for part in get_args(hint) if part is not type(None)]
    if get_origin(hint) is tuple or any(get_origin(part) is tuple for part in choices):  # a list that may be left out is a list too
        return ("curve", None) if unit_of(hint) else ("parts", choices[0])
    if get_origin(hint) is Mapping:
        return ("gains", None) if unit_of(hint) else ("spreads", None)
    if unit_of(hint):
        return "number", None
    core = choices[0] if choices else hint
    if dataclasses.is_dataclass(core):
        return "part", core
    return ("word" if given["words"] or given["named"] else "text"), None


def check(spec: Spec, value: Any) -> tuple[Any, str]:
    """Bring one plain value to its frozen form; the second answer says what is wrong, if anything."""
    if value is None and not spec.required:
        return None, ""
    if spec.form == "number":
        return _check_number(spec, value)
    if spec.form == "curve":
        return _check_curve(spec, value)
    if spec.form == "gains":
        return _check_gains(spec, value)
    if spec.form in ("word", "text"):
        return _check_text(spec, value)
    if spec.form == "part":
        return value, "" if isinstance(value, spec.record) else show(value)
    if spec.form == "parts":
        return _check_parts(spec, value)
    return Named(value), ""


def _check_number(spec: Spec, value: Any) -> tuple[Any, str]:
    if isinstance(value, np.ndarray) and value.ndim:
        if value.dtype.kind not in "iuf":
            return value, show(value)
        array = value.astype(float)
        array.setflags(write=False)
        if not array.size or not np.isfinite(array).all():
            return value, "a value that is not a finite number" if array.size else "no value"
        if spec.whole and (array != np.round(array)).any():
            return value, "a value that is not whole"
        return array, "" if spec.allows(array) else pretty(array, spec.kind, spec.unit)
    if isinstance(value, (np.generic, np.ndarray)):
        value = value.item()
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return value, show(value)
    try:
        number = float(value)
    except OverflowError:
        return value, "a number that is too large"
    if not np.isfinite(number):
        return value, "not a finite number"
    if spec.whole and number != round(number):
        return value, f"{number:g}, which is not whole"
    if not spec.allows(number):
        return value, pretty(number, spec.kind, spec.unit)
    return int(number) if spec.whole else number, ""


def _check_curve(spec: Spec, value: Any) -> tuple[Any, str]:
    if isinstance(value, str) or not isinstance(value, (list, tuple, np.ndarray)):
        return value, show(value)
    if not 2 <= len(value) <= MOST_POINTS:
        return value, f"{len(value)} points"
    points = []
    for place, item in enumerate(value, 1):
        point, wrong = _check_number(spec, item)
        if wrong or isinstance(point, np.ndarray):
            return value, f"{wrong or show(point)} at point {place}"
        points.append(point)
    return tuple(points), ""


def _check_gains(spec: Spec, value: Any) -> tuple[Any, str]:
    if not isinstance(value, Mapping):
        return value, show(value)
    gains = {}
    for name, item in value.items():
        gains[name], wrong = _check_number(spec, item)
        if wrong or not is_name(name):
            return value, f"{wrong} for {show(name)}" if wrong else f"the name {show(name)}"
    return Named(gains), ""


def _check_text(spec: Spec, value: Any) -> tuple[Any, str]:
    if not isinstance(value, str):
        return value, show(value)
    if spec.form == "text":
        clean = value.replace("\r\n", "\n").replace("\r", "\n")  # a TOML reader brings line ends to this form
        if len(clean) > LONGEST_NOTE or (spec.required and not clean.strip()):
            return value, f"{len(clean)} characters"
        if any("\ud800" <= letter <= "\udfff" for letter in clean):
            return value, "half of a surrogate pair, which no file can hold"
        if any(line.count(".") > MOST_DOTS for line in clean.split("\n")):
            return value, f"a line with more than {MOST_DOTS} dots"
        return clean, ""
    if spec.words:
        return value, "" if value in spec.words else show(value) + nearest(value, spec.words)
    return value, "" if is_name(value) else show(value)


def _check_parts(spec: Spec, value: Any) -> tuple[Any, str]:
    if not isinstance(value, (list, tuple)) or not all(isinstance(item, spec.record) for item in value):
        return value, show(value)
    if not 1 <= len(value) <= MOST_PARTS:
        return value, f"{len(value)} of them"
    names = [item.name for item in value]
    twice = next((name for name in names if names.count(name) > 1), None)
    return tuple(value), f"the name {twice!r} twice" if twice else ""


def is_name(value: Any) -> bool:
    """Whether a word can name a gear or a pack, and so stand in a dotted path."""
    return isinstance(value, str) and re.fullmatch(NAME, value, re.ASCII) is not None


def nearest(word: str, known: Iterable[str]) -> str:
    """A hint at the known name that a misspelt one most resembles."""
    close = difflib.get_close_matches(str(word)[:60], list(known), 1, 0.6)
    return f" (did you mean {close[0]!r}?)" if close else ""


class Named(Mapping):
    """A mapping that cannot be changed; it can be hashed and pickled."""

    def __init__(self, items: Mapping[str, Any] | Iterable[tuple[str, Any]] = ()) -> None:
        self._items = dict(items)

    def __getitem__(self, name: str) -> Any:
        return self._items[name]

    def __iter__(self):
        return iter(self._items)

    def __len__(self) -> int:
        return len(self._items)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Mapping) and same(self._items, dict(other))

    def __hash__(self) -> int:
        return hash(tuple(sorted((name, fingerprint(value)) for name, value in self._items.items())))

    def __repr__(self) -> str:
        return repr(self._items)


def same(one: Any, other: Any) -> bool:
    """Equality that also answers for arrays."""
    if isinstance(one, np.ndarray) or isinstance(other, np.ndarray):
        return np.array_equal(one, other)
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(same(one[name], other[name]) for name in one)
    return one == other


def fingerprint(value: Any) -> int:
    """A hash that also answers for arrays."""
    return hash((value.shape, value.tobytes())) if isinstance(value, np.ndarray) else hash(value)
