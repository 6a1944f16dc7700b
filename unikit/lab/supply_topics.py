"""The panels of packs, wiring and carriage."""

from __future__ import annotations

from typing import Any

from ..inputs import Build, Case
from ..studies import carriage as carriage_study
from ..studies import joining as joining_study
from ..studies import pack as pack_study
from ..studies import wiring as wiring_study
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


def _pack(build: Build, case: Case) -> tuple[Any, ...]:
    load = pack_study.study(build, case)
    return load, pack_study.discharge(build, case, power=load.cruise_power)


HELD_BACK = "held back"


def _joining(build: Build, case: Case, joined: str | None = None, others: float | str = HELD_BACK) -> tuple[Any, ...]:
    return (joining_study.study(build, joined, case.state_of_charge, None if others == HELD_BACK else others),)


def _joined(build: Build) -> tuple[Choice, ...]:
    charges = {"at what is held back": HELD_BACK} | {f"at {share:.0%}": share for share in (0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0)}
    several = build.packs is not None and len(build.packs.pack) > 1
    which = (Choice("joined", "Pack that is joined", build.packs.names),) if several else ()
    return (*which, Choice("others", "The others", charges))


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
    "pack": Topic(
        "Packs under load",
        _pack,
        (
            "packs.held_back",
            "packs.pack.{pack}.cell_capacity",
            "packs.pack.{pack}.cell_resistance",
            "packs.pack.{pack}.slow_resistance",
            "packs.pack.{pack}.lowest_cell_voltage",
            GAIN,
        ),
        ("state_of_charge", "pack_temperature", "speed", "slope", "head_wind", "gust", "trim"),
        (
            "set_of",
            "not_said",
            "alike",
            "temperature",
            "rest_voltage",
            "resistance",
            "resistance_peak",
            "resistance_steady",
            "cruise_power",
            "cruise_current",
            "peak_power",
            "peak_current",
            "peak_voltage",
            "greatest_power",
            "greatest_held_back",
            "peak_cut_off",
            "peak_cut_off_cold",
            "cell_current",
            "cell_current_limit",
            "ended_by",
            "end_charge",
            "duration",
            "nominal_energy",
            "delivered",
            "heat",
            "left_behind",
            "usable_share",
            "largest_cell_current",
            "largest_in",
            "widest_share",
        ),
    ),
    "joining": Topic(
        "Joining packs",
        _joining,
        ("packs.held_back",),
        ("state_of_charge",),
        (
            "pack",
            "others",
            "difference",
            "allowed",
            "allowed_by",
            "allowed_charge",
            "verdict",
            "peak",
            "limit",
            "time_over",
            "time_half",
            "time_end",
            "voltage_end",
            "charge_end",
            "moved",
            "loss",
            "caution",
        ),
        choices=_joined,
    ),
    "wiring": Topic(
        "Wires, plugs and fuses",
        lambda build, case: (wiring_study.study(build, case),),
        (
            "wiring.pack_area",
            "wiring.main_area",
            "wiring.phase_area",
            "wiring.fuse_rating",
            "wiring.insulation_limit",
            "controller.battery_current_limit",
            "controller.phase_current_limit",
            GAIN,
        ),
        ("speed", "slope", "head_wind", "air_temperature", "trim"),
        (
            "gear",
            "hottest",
            "hottest_temperature",
            "wire_margin",
            "drop",
            "loss",
            "compared",
            "plug",
            "fuse",
            "window_low",
            "window_low_by",
            "window_high",
            "window_high_by",
            "short_current",
            "surge",
            "precharge",
            "assumed",
            "caution",
        ),
    ),
}
