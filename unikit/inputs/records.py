"""What all records have in common: validation when made, equality, readable print."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from typing import Any, ClassVar, TypeVar

from .errors import InputError, Problem, show
from .fields import Spec, check, field, fingerprint, pretty, same, specs

Finding = tuple[str, Any, str, str]
Rule = Callable[[Any], Iterator[Finding]]
R = TypeVar("R", bound=Rule)
RULES: dict[type, list[Rule]] = {}


class Unread(Exception):
    """A rule asks for a value that could not be read."""


class Partial:
    """What could be read of a record, so that its rules can still look at it."""

    def __init__(self, record: type, values: dict[str, Any]) -> None:
        self.record, self.values = record, values

    def __getattr__(self, name: str) -> Any:
        if name not in self.values:
            raise Unread(name)
        return self.values[name]


def rule(record: type) -> Callable[[R], R]:
    """Register a check between fields: it yields field, value, what was expected and what was found."""

    def register(function: R) -> R:
        RULES.setdefault(record, []).append(function)
        return function

    return register


def broken_rules(record: type, values: Any, place: str, file: str = "") -> list[Problem]:
    """Apply the rules of a record class to a record, or to what could be read of one."""
    found = []
    for function in RULES.get(record, []):
        try:
            for name, value, expected, wrong in function(values):
                found.append(Problem(file, join(place, name), "" if value is None else show(value), expected, wrong))
        except Unread:
            continue
    return found


def join(place: str, name: str) -> str:
    """A dotted path."""
    return f"{place}.{name}" if place else name


@dataclasses.dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Record:
    """A frozen record of SI numbers that is checked when it is made."""

    table: ClassVar[str] = ""

    @property
    def place(self) -> str:
        """The dotted path of the record in a build."""
        name = getattr(self, "name", None)
        return f"{self.table}.{name}" if name and self.table else self.table

    def __post_init__(self) -> None:
        problems = []
        for spec in specs(type(self)).values():
            given = getattr(self, spec.name)
            value, wrong = check(spec, given)
            if wrong:
                problems.append(Problem("", join(self.place, spec.name), show(given), spec.expected, wrong))
            else:
                object.__setattr__(self, spec.name, value)
        problems = problems or broken_rules(type(self), self, self.place)
        if problems:
            raise InputError(problems)

    def __eq__(self, other: object) -> bool:
        if type(other) is not type(self):
            return NotImplemented
        return all(same(getattr(self, name), getattr(other, name)) for name in specs(type(self)))

    def __hash__(self) -> int:
        return hash((type(self), *(fingerprint(getattr(self, name)) for name in specs(type(self)))))

    def __repr__(self) -> str:
        shown = (f"{name}={text}" for name, text in self.lines() if text)
        return f"{type(self).__name__}({', '.join(shown)})"

    def __str__(self) -> str:
        width = max(len(name) for name in specs(type(self)))
        return "\n".join(f"{name:<{width}}  {text}" for name, text in self.lines() if text)

    def lines(self) -> Iterator[tuple[str, str]]:
        """Each field with its value in the display unit."""
        for spec in specs(type(self)).values():
            yield spec.name, printed(spec, getattr(self, spec.name))


def printed(spec: Spec, value: Any) -> str:
    """One field as people read it."""
    if value is None:
        return ""
    if spec.form == "number":
        return pretty(value, spec.kind, spec.unit)
    if spec.form == "curve":
        return f"{pretty(value[0], spec.kind, spec.unit)} to {pretty(value[-1], spec.kind, spec.unit)} in {len(value)} points"
    if spec.form == "gains":
        return ", ".join(f"{name} {pretty(item, spec.kind, spec.unit)}" for name, item in value.items())
    return repr(value) if value else ""


@dataclasses.dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Part(Record):
    """A record that says where its numbers come from."""

    source: str = field("where the numbers come from", default="")
    note: str = field("anything else worth knowing", default="")
