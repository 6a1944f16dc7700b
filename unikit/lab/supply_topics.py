"""The panels of packs, wiring and carriage."""

from __future__ import annotations

from typing import Any

from ..inputs import Build, Case
from ..studies import joining as joining_study
from ..studies import wiring as wiring_study
from .controls import Choice
from .topic import GAIN, Topic

HELD_BACK = "held back"


def _joining(build: Build, case: Case, joined: str | None = None, others: float | str = HELD_BACK) -> tuple[Any, ...]:
    return (joining_study.study(build, joined, case.state_of_charge, None if others == HELD_BACK else others),)


def _joined(build: Build) -> tuple[Choice, ...]:
    charges = {"at what is held back": HELD_BACK} | {f"at {share:.0%}": share for share in (0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0)}
    several = build.packs is not None and len(build.packs.pack) > 1
    which = (Choice("joined", "Pack that is joined", build.packs.names),) if several else ()
    return (*which, Choice("others", "The others", charges))


SUPPLY: dict[str, Topic] = {
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
