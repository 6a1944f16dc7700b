"""What every public formula carries: its equation, signs, source, range and units."""

from __future__ import annotations

import inspect
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, cached_property
from importlib.resources import files
from typing import Any, TypeVar, get_type_hints

from .. import units

F = TypeVar("F", bound=Callable[..., Any])
FORMULAS: dict[str, Formula] = {}


class OutsideRangeWarning(UserWarning):
    """An argument lies outside the range in which the source gives the formula."""


@dataclass(frozen=True)
class Formula:
    """One public formula with all that the docs, the units door and the tests need of it."""

    function: Callable[..., Any]
    equation: str
    source: str
    sign: str
    valid: str

    @property
    def name(self) -> str:
        """Topic and name, such as ``road.drag_force``."""
        return f"{self.topic}.{self.function.__name__}"

    @property
    def topic(self) -> str:
        """The module that holds it."""
        return self.function.__module__.rpartition(".")[2]

    @cached_property
    def _hints(self) -> dict[str, Any]:
        return get_type_hints(self.function, include_extras=True)

    @cached_property
    def arguments(self) -> dict[str, units.Unit | None]:
        """The unit of each argument; None for a word or a switch."""
        return {name: unit_of(self._hints.get(name)) for name in inspect.signature(self.function).parameters}

    @cached_property
    def result(self) -> units.Unit | dict[str, units.Unit | None] | None:
        """The unit of the result; a dict of units where it is a record with named fields."""
        hint = self._hints.get("return")
        if hasattr(hint, "_fields"):
            return {name: unit_of(h) for name, h in get_type_hints(hint, include_extras=True).items()}
        return unit_of(hint)

    def with_units(self, *args: Any, **kwargs: Any) -> Any:
        """Call with pint quantities (or texts such as ``"20 N*m"``) and get quantities back."""
        bound = inspect.signature(self.function).bind(*args, **kwargs)
        plain = {}
        for name, value in bound.arguments.items():
            unit = self.arguments[name]
            plain[name] = value if unit is None or value is None else units.magnitude(value, unit, name)
        result = self.function(**plain)
        if isinstance(self.result, dict):
            return type(result)(*(v if u is None else units.quantity(v, u) for v, u in zip(result, self.result.values(), strict=True)))
        return result if self.result is None else units.quantity(result, self.result)


def unit_of(hint: Any) -> units.Unit | None:
    """The unit that an annotation carries, also inside ``X | None``."""
    for item in getattr(hint, "__metadata__", ()):
        if isinstance(item, units.Unit):
            return item
    for part in getattr(hint, "__args__", ()):
        found = unit_of(part)
        if found:
            return found
    return None


def formula(*, equation: str, source: str, sign: str = "", valid: str = "") -> Callable[[F], F]:
    """Register a public formula.

    The function itself is returned, so a plain call costs nothing more; it
    gains ``with_units`` and ``formula`` attributes.  ``source`` is a key (or
    several, with commas) of ``bibliography.toml``.
    """

    def register(function: F) -> F:
        entry = Formula(function, equation, source, sign, valid)
        FORMULAS[entry.name] = entry
        function.with_units = entry.with_units  # type: ignore[attr-defined]
        function.formula = entry  # type: ignore[attr-defined]
        return function

    return register


@cache
def bibliography() -> dict[str, dict[str, str]]:
    """The one list of sources: key to text and how it was seen."""
    text = files(__package__).joinpath("bibliography.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
