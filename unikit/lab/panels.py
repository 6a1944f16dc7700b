"""The topic panels: each is a study, a picture and a choice of controls.

``gearing(build)`` and its sisters take a build, and a case if the first of
``data/cases`` should not be asked, and return a widget.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from ..inputs import Build, Case, load_case, replace, save_build
from ..studies import gearing as gearing_study
from ..studies import heat as heat_study
from ..studies import leverage as leverage_study
from ..studies import machine
from ..studies import motor as motor_study
from ..studies import review as review_study
from ..studies import ride as ride_study
from .figures import PICTURES
from .figures.scene import Scene
from .panel import Panel
from .settings import Desk

RATIO, GAIN = "gears.gear.{gear}.ratio", "assist.driving_gain.{gear}"
MACHINE = (RATIO, "cranks.length", "wheel.rolling_circumference", GAIN)


def gearing(build: Build, case: Case, **options: Any) -> Panel:
    """Speeds and their causes, and the leverage left over speed."""
    return _panel(build, case, "Gearing", _gearing, MACHINE, ("slope", "head_wind", "trim"), options)


def leverage(build: Build, case: Case, **options: Any) -> Panel:
    """Foot force over the crank turn, and what the legs must do if the motor stops."""
    fields = (*MACHINE, "gears.gear.{gear}.efficiency", "rider.mass", "assist.trim_cap")
    return _panel(build, case, "Leverage", _leverage, fields, ("speed", "slope", "trim"), options)


def motor(build: Build, case: Case, **options: Any) -> Panel:
    """Wheel torque over speed, split into legs, motor and reserve."""
    fields = (
        "motor.torque_constant_peak",
        "motor.phase_resistance",
        "controller.phase_current_limit",
        "controller.battery_current_limit",
        "assist.torque_cap",
        GAIN,
        RATIO,
    )
    return _panel(build, case, "Motor", _motor, fields, ("speed", "slope", "head_wind", "gust", "state_of_charge", "trim"), options)


def heat(build: Build, case: Case, **options: Any) -> Panel:
    """Reserve over the time of the case, and rise over allowed rise."""
    fields = ("motor.phase_resistance", "motor.torque_constant_peak", "motor.winding_to_stator", "motor.stator_to_housing", GAIN, "rider.mass")
    return _panel(build, case, "Heat", _heat, fields, ("speed", "slope", "duration", "air_temperature", "trim"), options)


def ride(build: Build, case: Case, **options: Any) -> Panel:
    """Distance against probability, and the energy of a kilometre by cause."""
    fields = (GAIN, "rider.drag_area", "wheel.rolling_coefficient", "rider.mass", "packs.held_back")
    return _panel(build, case, "Range", _ride, fields, ("speed", "slope", "head_wind", "distance", "state_of_charge", "trim"), options)


def review(build: Build, case: Case, **options: Any) -> Panel:
    """All findings of the engaged gear in one case."""
    fields = (*MACHINE, "assist.trim_cap", "motor.torque_constant_peak", "rider.mass", "rider.critical_power")
    return _panel(build, case, "Review", _review, fields, ("speed", "slope", "head_wind", "gust", "duration", "distance", "trim"), options)


def _gearing(build: Build, case: Case) -> Scene:
    return Scene(machine.study(build, case), gearing_study.study(build, case))


def _leverage(build: Build, case: Case) -> Scene:
    return Scene(machine.study(build, case), leverage_study.study(build, case))


def _motor(build: Build, case: Case) -> Scene:
    result = motor_study.study(build, case)
    gear = build.gears.named(build.gears.engaged)
    return Scene(machine.study(build, case), result, motor_study.point(build, case, gear))


def _heat(build: Build, case: Case) -> Scene:
    return Scene(machine.study(build, case), heat_study.study(build, case))


def _ride(build: Build, case: Case) -> Scene:
    reach = ride_study.reach(build, case, count=600) if build.packs is not None else None
    return Scene(machine.study(build, case), ride_study.study(build, case), reach)


def _review(build: Build, case: Case) -> Scene:
    engaged = build.gears.named(build.gears.engaged)
    return Scene(machine.study(build, case), review_study.review(build, [case], [engaged]))


SCENES: dict[str, Callable[[Build, Case], Scene]] = {
    "gearing": _gearing,
    "leverage": _leverage,
    "motor": _motor,
    "heat": _heat,
    "range": _ride,
    "review": _review,
}


def scene(topic: str, build: Build, case: Case) -> Scene:
    """What the picture of a topic draws, for a figure without a panel."""
    return SCENES[topic](build, case)


def _panel(
    build: Build,
    case: Case,
    title: str,
    make: Callable[[Build, Case], Scene],
    build_fields: Sequence[str],
    case_fields: Sequence[str],
    options: dict[str, Any],
) -> Panel:
    """Put a desk of controls, a study and a picture together."""
    desk = Desk(build, case, build_fields, case_fields)

    def study(**values: Any) -> Scene:
        return make(*desk.variant(values))

    def save(values: dict[str, Any], name: str) -> None:
        changed, _ = desk.variant(values)
        save_build(replace(changed, {}), Path(f"{name}.toml") if not name.endswith(".toml") else Path(name))

    heading = f"{title}: {build.name}, {case.name}"
    return Panel(study, PICTURES[title.lower()], desk.controls, desk.start, title=heading, save=save, **options)
