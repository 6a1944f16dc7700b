"""The published and independent values in ``tests/reference``, and how tests reach them."""

import csv
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from unikit import units
from unikit.formulas import FORMULAS
from unikit.formulas.registry import Formula

FOLDER = Path(__file__).parent / "reference"
LABELS = ("published", "independent", "limit", "regression")
COLUMNS = ["id", "formula", "inputs", "field", "printed", "unit", "tolerance", "label", "source", "where", "seen", "note"]


@dataclass(frozen=True)
class Row:
    """One expected value as it stands in its file."""

    file: str
    id: str
    formula: str
    inputs: dict[str, Any] | None
    field: str
    printed: str
    unit: str
    tolerance: float
    label: str
    source: str
    where: str
    seen: str
    note: str

    @property
    def formulas(self) -> list[Formula]:
        """The formulas that the value checks; the first is the one that is called."""
        return [FORMULAS[name] for name in self.formula.split()]

    @property
    def value(self) -> float:
        """The expected number in the printed unit."""
        return float(self.printed)

    def computed(self) -> float:
        """Call the formula with the row's inputs; the answer in the printed unit."""
        entry = self.formulas[0]
        plain = {}
        for name, given in (self.inputs or {}).items():
            unit = entry.arguments[name]
            plain[name] = units.magnitude(given, unit, name) if unit and isinstance(given, str) else given
        answer, unit = entry.function(**plain), entry.result
        if self.field:
            answer, unit = getattr(answer, self.field), unit[self.field]
        return answer if unit is None or self.unit == "" else units.convert(answer, unit.kind, unit.symbol, self.unit)


def rows() -> list[Row]:
    """Every row of every file."""
    found = []
    for path in sorted(FOLDER.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as handle:
            reader = csv.DictReader(handle)
            assert reader.fieldnames == COLUMNS, f"{path.name}: columns must be {COLUMNS}"
            for line in reader:
                inputs = json.loads(line["inputs"]) if line["inputs"] else None
                found.append(Row(path.stem, **(line | {"inputs": inputs, "tolerance": float(line["tolerance"])})))
    return found


def published(identifier: str) -> Row:
    """One row by its identifier, for a test that needs several formulas to reach the value."""
    return next(row for row in rows() if row.id == identifier)
