"""What a log may hold, and the small file of ours that says where it stands: shared by logs of steady rides and ride logs."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from .columns import Column, Declared, Head
from .errors import show
from .fields import nearest

MAPPING_FORMAT = 1

# What a column may hold, with its kind of unit; all but the time may be missing.
QUANTITIES: dict[str, str] = {
    "time": "time",
    "lean_rate": "rotation",
    "pedal_torque": "torque",
    "speed": "speed",
    "crank_rate": "rotation",
    "pedal_power": "power",
    "motor_torque": "torque",  # at the wheel
    "distance": "length",  # travelled since the log began
    "altitude": "length",
    "latitude": "angle",
    "longitude": "angle",
    "heading": "angle",  # of travel, clockwise from north
    "slope": "slope",  # rise over horizontal run
    "battery_voltage": "voltage",
    "battery_current": "current",  # positive while the packs discharge
    "winding_temperature": "temperature",
    "air_temperature": "temperature",
    "head_wind": "speed",  # of the air against the ground, positive from ahead
}
_COLUMN_NAMES = ("column", "unit", "sign")
_NAMES = ("format", "name", "source", "note", "delimiter", "decimal", "encoding", "names_line", "first_line", "columns")


@dataclass(frozen=True, eq=False)
class Recorded:
    """What was recorded on one ride: SI arrays by quantity, which cannot be written to."""

    name: str
    source: str
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


def check_shapes(values: Mapping[str, Any]) -> int:
    """The one length of all lists of a made log; ValueError for an unknown quantity or unlike lengths."""
    unknown = [quantity for quantity in values if quantity not in QUANTITIES]
    if unknown:
        raise ValueError(f"a log has no quantity {unknown[0]!r}{nearest(unknown[0], QUANTITIES)}")
    lengths = {quantity: np.shape(value) for quantity, value in values.items()}
    if not lengths or len(set(lengths.values())) != 1 or any(len(shape) != 1 for shape in lengths.values()):
        raise ValueError(f"the quantities of a log must be lists of one length, got shapes {lengths}")
    return next(iter(lengths.values()))[0]


@dataclass(frozen=True)
class Layout:
    """What both kinds of mapping declare."""

    name: str
    source: str
    delimiter: str
    decimal: str
    columns: Mapping[str, Column]
    head: Head


def read_layout(
    table: Mapping[str, Any], declared: Declared, names: Collection[str], column_names: Mapping[str, Collection[str]] | None = None
) -> Layout:
    """Read the shared part of a mapping; ``names`` and ``column_names`` (by quantity, or "") are what else may stand there.

    What is wrong gathers in ``declared``.
    """
    declared.only(table, (*_NAMES, *names))
    if table.get("format") != MAPPING_FORMAT:
        declared.wrong("format", table.get("format"), f"format = {MAPPING_FORMAT}", show(table.get("format")))
    texts = [declared.text(table, name) for name in ("name", "source")]
    separators = declared.separators(table)
    return Layout(*texts, *separators, _columns(table.get("columns"), declared, column_names or {}), declared.head(table))


def _columns(table: Any, declared: Declared, more: Mapping[str, Collection[str]]) -> dict[str, Column]:
    if not isinstance(table, Mapping) or "time" not in table or len(table) < 2:
        found = show(table) if table else "nothing, it is missing"
        declared.wrong("columns", None, "a table [columns.time] and one for each other quantity", found)
        return {}
    found: dict[str, Column] = {}
    for quantity, entry in table.items():
        place = f"columns.{quantity}"
        if quantity not in QUANTITIES:
            declared.wrong(place, None, f"one of {', '.join(QUANTITIES)}", f"an unknown quantity{nearest(quantity, QUANTITIES)}")
            continue
        column = declared.column(entry, QUANTITIES[quantity], place, (*_COLUMN_NAMES, *more.get(quantity, more.get("", ()))))
        if column:
            found[quantity] = column
    declared.once(found, "columns")
    return found
