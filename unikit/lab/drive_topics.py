"""What the panels of motor, winding, limits, heat and climbs ask."""

from __future__ import annotations

from typing import Any

from ..inputs import Build, Case
from ..studies import climbs as climbs_study
from ..studies import duties as duties_study
from ..studies import heat as heat_study
from ..studies import motor as motor_study
from ..studies import reach as reach_study
from ..studies import winding as winding_study
from ..studies.rewind import with_turns
from .controls import Choice
from .topic import GAIN, RATIO, Topic, engaged


def _motor(build: Build, case: Case) -> tuple[Any, ...]:
    return motor_study.study(build, case), motor_study.point(build, case, engaged(build))


def _reach(build: Build, case: Case, magnets: str = "air") -> tuple[Any, ...]:
    hot = build.motor.magnet_limit if magnets == "limit" and build.motor else None
    return reach_study.study(build, case, magnet_temperature=hot), reach_study.here(build, case, magnet_temperature=hot)


def _magnets(build: Build) -> tuple[Choice, ...]:
    return (Choice("magnets", "Magnets", {"at air temperature": "air", "at their limit": "limit"}),) if build.motor else ()


def _winding(build: Build, case: Case, turns: float = 1.0, search: bool = False) -> tuple[Any, ...]:
    return (winding_study.study(build, case, turns=turns, search=search),)


def _winding_later(build: Build, case: Case, turns: float = 1.0) -> tuple[Any, ...]:
    return _winding(build, case, turns, search=True)


def _wound(build: Build, turns: float = 1.0) -> Build:
    return build if turns == 1.0 else with_turns(build, turns)  # untouched numbers keep their spreads


def _turns(build: Build) -> tuple[Choice, ...]:
    if build.motor is None:
        return ()
    others = {f"{turns:g} times as many": turns for turns in (0.5, 0.6, 0.7, 0.8, 0.9, 1.1, 1.2, 1.3, 1.4, 1.6, 1.8, 2.0)}
    return (Choice("turns", "Turns looked at", {"as built": 1.0} | others),)


def _climbs(build: Build, case: Case) -> tuple[Any, ...]:
    return (climbs_study.outline(build, case),)


def _climbs_later(build: Build, case: Case) -> tuple[Any, ...]:
    return climbs_study.study(build, case), duties_study.both(build, case) if case.duration > 0 else None


DRIVE = {
    "motor": Topic(
        "Motor",
        _motor,
        (
            "motor.torque_constant_peak",
            "motor.phase_resistance",
            "controller.phase_current_limit",
            "controller.battery_current_limit",
            "assist.torque_cap",
            GAIN,
            RATIO,
        ),
        ("speed", "slope", "head_wind", "gust", "state_of_charge", "trim"),
        (
            "gear",
            "asked_torque",
            "motor_torque",
            "motor_peak",
            "available",
            "available_by",
            "reserve",
            "gust_torque",
            "phase_current",
            "battery_current",
            "copper_loss",
            "iron_loss",
            "efficiency",
            "no_load_speed",
            "motor_constant",
        ),
    ),
    "winding": Topic(
        "Winding",
        _winding,
        (
            "controller.phase_current_limit",
            "controller.battery_current_limit",
            "assist.torque_cap",
            "motor.torque_constant_peak",
            "motor.phase_resistance",
            GAIN,
            RATIO,
        ),
        ("speed", "slope", "head_wind", "gust", "state_of_charge", "trim"),
        (
            "gear",
            "recommended",
            "fewer_by",
            "more_by",
            "recommended_reserve",
            "gust_torque",
            "turns",
            "reserve",
            "reserve_by",
            "cap",
            "standstill",
            "available",
            "fastest",
            "phase_current",
            "battery_current",
            "copper_loss",
            "motor_constant",
            "torque_constant",
            "phase_resistance",
        ),
        _winding_later,
        choices=_turns,
        made=_wound,
    ),
    "reach": Topic(
        "Limits of the drive",
        _reach,
        (
            "assist.torque_cap",
            "controller.phase_current_limit",
            "controller.battery_current_limit",
            "controller.charge_current_limit",
            "controller.weakening_current",
            "controller.electrical_frequency_limit",
            "controller.voltage_rating",
            "motor.saturation_current",
        ),
        ("speed", "slope", "state_of_charge", "winding_start", "trim"),
        (
            "gear",
            "torque",
            "end",
            "ended_by",
            "left",
            "gust_torque",
            "phase_current",
            "phase_current_rms",
            "direct_current",
            "voltage_share",
            "bus_voltage",
            "battery_current",
            "standstill_torque",
            "standstill_current",
            "standstill_current_rms",
            "standstill_time",
            "stall_hazard",
            "flat_speed",
            "fastest",
            "base_speed",
            "rating_speed",
            "trip_hazard",
            "greatest_weakening",
            "short_circuit_current",
            "demagnetising_current",
            "magnet_hazard",
            "unplugged_time",
            "unplugged_hazard",
        ),
        choices=_magnets,
    ),
    "heat": Topic(
        "Heat",
        lambda build, case: (heat_study.study(build, case),),
        (
            "motor.phase_resistance",
            "motor.torque_constant_peak",
            "motor.winding_to_stator",
            "motor.stator_to_housing",
            "motor.gap_width",
            "motor.magnet_to_housing",
            "motor.end_winding_area",
            "motor.stator_to_axle",
            GAIN,
            "rider.mass",
        ),
        ("speed", "slope", "duration", "air_temperature", "sun", "trim"),
        (
            "gear",
            "copper_loss",
            "iron_loss",
            "sunshine",
            "winding_end",
            "magnet_end",
            "winding_steady",
            "derating_after",
            "reserve_spent_after",
            "limit_after",
            "magnet_limit_after",
            "continuous_torque",
            "assist_left_end",
            "foot_force_start",
            "foot_force_end",
            "bridge_hottest",
            "felt",
        ),
    ),
    "climbs": Topic(
        "Climbs",
        _climbs,
        (
            "motor.phase_resistance",
            "motor.torque_constant_peak",
            "motor.stator_to_housing",
            "motor.magnet_limit",
            "assist.torque_cap",
            GAIN,
            "rider.mass",
        ),
        ("speed", "slope", "duration", "air_temperature", "sun", "trim"),
        (
            "gear",
            "holds",
            "ended_by",
            "winding",
            "magnets",
            "motor_torque",
            "continuous_torque",
            "slope_for_ever",
            "for_ever_by",
            "slope_cut",
            "cut_by",
            "slope_legs",
            "leg_power",
            "climb",
            "winding_once",
            "winding_often",
            "magnets_often",
            "winding_endless",
            "climbs",
        ),
        _climbs_later,
    ),
}
