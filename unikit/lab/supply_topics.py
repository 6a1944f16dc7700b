"""The panels of packs, wiring and carriage."""

from __future__ import annotations

from typing import Any

from ..inputs import Build, Case
from ..studies import pack as pack_study
from .topic import GAIN, Topic


def _pack(build: Build, case: Case) -> tuple[Any, ...]:
    load = pack_study.study(build, case)
    return load, pack_study.discharge(build, case, power=load.cruise_power)


SUPPLY: dict[str, Topic] = {
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
}
