"""What every study returns: a frozen record with named fields, a summary and a table."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, get_type_hints

import numpy as np

from .. import units
from ..formulas.registry import unit_of

if TYPE_CHECKING:
    import pandas


def shown(label: str, unit: str = "", digits: int = 1) -> Any:
    """Declare a field of a result: its label for people, the unit it is shown in and the decimals."""
    return field(metadata={"label": label, "unit": unit, "digits": digits})


@dataclass(frozen=True)
class Result:
    """Base of all results; SI inside, display units in ``summary`` and ``table``."""

    def _columns(self) -> list[tuple[str, dict[str, Any], Any]]:
        hints = get_type_hints(type(self), include_extras=True)
        found = []
        for item in fields(self):
            if "label" not in item.metadata:
                continue
            value, unit = getattr(self, item.name), unit_of(hints[item.name])
            if value is not None and unit is not None:
                value = units.convert(np.asarray(value, float), unit.kind, units.KINDS[unit.kind].base, item.metadata["unit"])
            found.append((item.name, dict(item.metadata), value))
        return found

    def summary(self) -> dict[str, str]:
        """Label to text with unit, for every field that is one number or one word."""
        lines = {}
        for _, meta, value in self._columns():
            if isinstance(value, str):
                lines[meta["label"]] = value
            elif value is not None and np.ndim(value) == 0:
                lines[meta["label"]] = show(float(value), meta["unit"], meta["digits"])
        return lines

    def table(self) -> pandas.DataFrame:
        """One row for each entry of the array fields, with the unit in every header.

        A result without arrays gives one row with its numbers.
        """
        import pandas

        columns = [(meta, value) for _, meta, value in self._columns() if value is not None]
        arrays = [(meta, value) for meta, value in columns if np.ndim(value) == 1]
        chosen = arrays or [(meta, np.atleast_1d(value)) for meta, value in columns if np.ndim(value) == 0]
        return pandas.DataFrame({header(meta["label"], meta["unit"]): value for meta, value in chosen})


def header(label: str, unit: str) -> str:
    """A column header with its unit."""
    return f"{label} [{unit}]" if unit else label


def show(value: float, unit: str, digits: int) -> str:
    """One number with its unit for a person."""
    if np.isnan(value):
        return "unknown"
    if np.isinf(value):
        return "no limit" if value > 0 else "none"
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return f"{text} {unit}".replace("*", "·").replace("^2", "²").strip()


def at(result: Any, name: str, index: int) -> Any:
    """One entry of an array field, or the field itself if it is one value."""
    value = getattr(result, name)
    return value[index] if np.ndim(value) else value
