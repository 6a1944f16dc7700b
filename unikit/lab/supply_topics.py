"""The panels of packs, wiring and carriage."""

from __future__ import annotations

from typing import Any

from ..inputs import Build, Case
from ..studies import carriage as carriage_study
from .controls import Choice
from .topic import GAIN, Topic


def _carriage(build: Build, case: Case, capacity: float = 0.0, series: int = 0, joined: int = 2, **asked: Any) -> tuple[Any, ...]:
    made = _of_cells(build, capacity)
    joins = range(1, joined + 1)
    found = carriage_study.plans(made, case, (series,) if series else None, joins, **asked)
    return found, carriage_study.study(made, case, found.travellers)


def _of_cells(build: Build, capacity: float = 0.0, **asked: Any) -> Build:
    """The build with other cells; one that is not touched keeps its spreads."""
    return carriage_study.with_capacity(build, capacity) if capacity else build


def _carriage_choices(build: Build) -> tuple[Choice, ...]:
    if build.packs is None:
        return ()
    first = build.packs.pack[0]
    around = {f"{number}": number for number in range(max(first.series - 4, 1), first.series + 5)}
    others = {f"{hours:g} A·h": 3600.0 * hours for hours in (1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5) if abs(3600 * hours - first.cell_capacity) > 1}
    return (
        Choice("capacity", "Capacity of a cell", {"as built": 0.0} | others),
        Choice("series", "Cells in series, in all", {"any that fits": 0} | around),
        Choice("joined", "Packs in series", {"one or two": 2, "one": 1}),
        Choice("most_packs", "Packs at most", {"8": 8, "4": 4, "12": 12}),
        Choice("travellers", "Travellers", {"1": 1, "2": 2, "3": 3, "4": 4}),
        Choice("approval", "Operator's approval", {"may be asked for": True, "is not asked for": False}),
    )


SUPPLY: dict[str, Topic] = {
    "carriage": Topic(
        "Packs on an aircraft",
        _carriage,
        ("packs.held_back", GAIN, "rider.mass"),
        ("distance", "speed", "slope", "head_wind", "state_of_charge"),
        (
            "answer",
            "found",
            "most_packs",
            "travellers",
            "wanted",
            "distance",
            "consumption",
            "held_back",
            "delivered",
            "count",
            "energy",
            "covered",
            "largest",
            "largest_class",
            "large",
            "refused",
            "taken_by",
            "lowest_voltage",
            "highest_voltage",
        ),
        choices=_carriage_choices,
        made=_of_cells,
    ),
}
