"""What each panel asks: its studies, what the reader can change, and which numbers are printed."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from ..inputs import Build, Case
from ..studies import balance as balance_study
from ..studies import capture as capture_study
from ..studies import chance as chance_study
from ..studies import climbs as climbs_study
from ..studies import cranks as cranks_study
from ..studies import cut_out as cut_out_study
from ..studies import duties as duties_study
from ..studies import events as event_study
from ..studies import gearing as gearing_study
from ..studies import going as going_study
from ..studies import heat as heat_study
from ..studies import leverage as leverage_study
from ..studies import loop as loops
from ..studies import motor as motor_study
from ..studies import reach as reach_study
from ..studies import review as review_study
from ..studies import ride as ride_study
from ..studies import stability as stability_study
from ..studies import stopping as stopping_study
from ..studies import winding as winding_study
from ..studies.rewind import with_turns
from .controls import Choice

RATIO, GAIN = "gears.gear.{gear}.ratio", "assist.driving_gain.{gear}"
BRAKING_GAIN = "assist.resisting_gain.{gear}"
MACHINE = (RATIO, "cranks.length", "wheel.rolling_circumference", GAIN)


@dataclass(frozen=True)
class Topic:
    """What a panel asks, what it offers to change, and which numbers it prints: fields of its first result, all when none are named.

    ``later`` gives the results of topics of which a part takes longer than a
    redraw may; until then the picture is drawn without that part.
    """

    title: str
    results: Callable[..., tuple[Any, ...]]
    build_fields: tuple[str, ...]
    case_fields: tuple[str, ...]
    numbers: tuple[str, ...] = ()
    later: Callable[..., tuple[Any, ...]] | None = None  # the results with the parts that take longer
    completes: bool = False  # controls of what the build does not say about the rider begin in the middle of its range
    learned: bool = False  # the results also take the build as opened: the rider learned on it
    choices: Callable[[Build], tuple[Choice, ...]] = lambda build: ()  # words that are asked besides, and given to the studies by name
    made: Callable[..., Build] = lambda build, **chosen: build  # the build that the choices make of it, which is what is saved


def _engaged(build: Build):
    return build.gears.named(build.gears.engaged)


def _motor(build: Build, case: Case) -> tuple[Any, ...]:
    return motor_study.study(build, case), motor_study.point(build, case, _engaged(build))


def _reach(build: Build, case: Case, magnets: str = "air") -> tuple[Any, ...]:
    hot = build.motor.magnet_limit if magnets == "limit" and build.motor else None
    return reach_study.study(build, case, magnet_temperature=hot), reach_study.here(build, case, magnet_temperature=hot)


def _magnets(build: Build) -> tuple[Choice, ...]:
    return (Choice("magnets", "Magnets", {"at air temperature": "air", "at their limit": "limit"}),) if build.motor else ()


def _balance(build: Build, case: Case) -> tuple[Any, ...]:
    return (balance_study.study(build, case),)


def _balance_later(build: Build, case: Case) -> tuple[Any, ...]:
    return balance_study.study(build, case), chance_study.study(build, case)


def _stability(build: Build, case: Case, opened: Build) -> tuple[Any, ...]:
    return (stability_study.study(build, case, learned=opened),)


def _stability_later(build: Build, case: Case, opened: Build) -> tuple[Any, ...]:
    return *_stability(build, case, opened), stability_study.relearned(build, case)


def _cranks(build: Build, case: Case) -> tuple[Any, ...]:
    return cranks_study.study(build, case), cranks_study.lengths(build, case)


def _capture(build: Build, case: Case) -> tuple[Any, ...]:
    whole = loops.completed(build)  # once for both studies
    envelope = dataclasses.replace(capture_study.study(whole, case), assumed=loops.in_words(loops.assumed(build)))
    return envelope, None if build.motor is None else cut_out_study.study(whole, case)


def _capture_later(build: Build, case: Case) -> tuple[Any, ...]:
    envelope, lost = _capture(build, case)
    return dataclasses.replace(envelope, doubt=capture_study.doubt(build, case)), lost


def _event(build: Build, case: Case, event: str = "bump") -> tuple[Any, ...]:
    return (event_study.before(build, case, event),)


def _event_later(build: Build, case: Case, event: str = "bump") -> tuple[Any, ...]:
    return (event_study.study(build, case, event),)


def _events(build: Build) -> tuple[Choice, ...]:
    return (Choice("event", "Event", event_study.possible(build)),)


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


def _ride(build: Build, case: Case) -> tuple[Any, ...]:
    return ride_study.study(build, case), ride_study.reach(build, case) if build.packs is not None else None


def _review(build: Build, case: Case, riders: int = 0) -> tuple[Any, ...]:
    return (review_study.review(build, [case], [_engaged(build)], riders),)


def _start(build: Build, case: Case, riders: int = 0) -> tuple[Any, ...]:
    return gearing_study.study(build, case), *_review(build, case, riders)


def _with_riders(results: Callable[..., tuple[Any, ...]]) -> Callable[[Build, Case], tuple[Any, ...]]:
    """The same results with the findings on balance."""
    return lambda build, case: results(build, case, review_study.RIDERS)


ASKED = {
    "start": Topic(
        "The machine",
        _start,
        (RATIO, "cranks.length", GAIN, "motor.torque_constant_peak", "rider.mass"),
        ("slope", "speed"),
        (
            "gear",
            "gear_ratio",
            "comfortable_speed",
            "comfortable_by",
            "greatest_speed",
            "greatest_by",
            "cadence",
            "saddle_shift",
        ),
        _with_riders(_start),
    ),
    "gearing": Topic("Gearing", lambda build, case: (gearing_study.study(build, case),), MACHINE, ("slope", "head_wind", "trim")),
    "leverage": Topic(
        "Leverage",
        lambda build, case: (leverage_study.study(build, case),),
        (*MACHINE, "gears.gear.{gear}.efficiency", "rider.mass", "assist.trim_cap"),
        ("speed", "slope", "trim"),
    ),
    "balance": Topic(
        "Balance and assist gain",
        _balance,
        (RATIO, GAIN, "cranks.length", "sensor.filter_corner", "sensor.dead_time", "rider.mass", "rider.reaction_delay"),
        ("slope",),
        (
            "gear",
            "driving_gain",
            "resisting_gain",
            "toppling_gain",
            "onset_gain",
            "onset_frequency",
            "restoring_gain",
            "best_gain",
            "recommended_gain",
            "chance",
            "chance_recommended",
            "vector_share",
            "share_middle",
            "share_experienced",
            "weaker",
            "stronger",
            "dead_time",
            "dead_time_budget",
            "reaction_delay",
            "reason",
            "assumed",
        ),
        _balance_later,
        completes=True,
    ),
    "stability": Topic(
        "Delay and stability",
        _stability,
        (
            "rider.reaction_delay",
            "rider.muscle_lag",
            "rider.prediction",
            "rider.leg_damping",
            "rider.leg_stiffness",
            "rider.centre_of_mass_height",
            "wheel.mass",
            GAIN,
            RATIO,
            "cranks.length",
        ),
        (),
        (
            "toppling_rate",
            "toppling_rate_fixed",
            "critical_delay",
            "critical_delay_predictive",
            "reaction_delay",
            "delay_budget",
            "proportional",
            "derivative",
            "motion",
            "growth_rate",
            "frequency",
            "changing_time",
            "stable_area",
            "pendulum_area",
        ),
        later=_stability_later,
        completes=True,
        learned=True,
    ),
    "cranks": Topic(
        "Cranks and lean",
        _cranks,
        (*MACHINE, "rider.mass", "assist.torque_cap"),
        ("speed", "slope", "trim"),
        (
            "gear",
            "way",
            "torque_per_degree",
            "level_degree",
            "level_degree_alone",
            "level_degree_ungeared",
            "level_degree_resisting",
            "level_hold",
            "level_hold_alone",
            "weight",
            "share_weight",
            "share_weight_alone",
            "share_strength",
            "share_strength_alone",
            "equal_crank",
        ),
    ),
    "going": Topic(
        "Getting going",
        lambda build, case: (going_study.study(build, case),),
        (*MACHINE, "rider.mass", "assist.torque_cap", "motor.phase_resistance"),
        ("slope", "trim"),
        (
            "gear",
            "asked",
            "steepest",
            "steepest_alone",
            "acceleration",
            "limited_by",
            "limited_alone_by",
            "weak_time",
            "weak_time_alone",
            "growth_alone",
            "stand_motor",
            "stand_rate",
            "stand_time",
            "push_motor",
            "push_time",
            "rock_share",
            "rock_share_alone",
            "rock_share_ungeared",
            "assumed",
        ),
    ),
    "stopping": Topic(
        "Stopping",
        lambda build, case: (stopping_study.study(build, case),),
        (RATIO, "cranks.length", BRAKING_GAIN, "assist.trim_cap", "controller.charge_current_limit", "brake.greatest_torque", "rider.mass"),
        ("speed", "slope", "head_wind", "state_of_charge"),
    ),
    "capture": Topic(
        "Capture and cut-out",
        _capture,
        (RATIO, GAIN, "cranks.length", "assist.trim_cap", "rider.zero_cadence_torque", "rider.reaction_delay"),
        ("speed", "slope", "gust", "trim", "wanted_speed"),
        (
            "gear",
            "balance_limited_speed",
            "ended_by",
            "limited_by",
            "alone_speed",
            "ungeared_speed",
            "wanted_bump",
            "bump",
            "wanted_gust",
            "gust",
            "gust_way",
            "climb",
            "motor_torque",
            "limit",
            "margin",
            "recoverable",
            "time_unanswered",
            "largest_trim",
            "largest_gain_alone",
            "assumed",
        ),
        later=_capture_later,
        completes=True,
    ),
    "event": Topic(
        "After an event",
        _event,
        (RATIO, GAIN, "cranks.length", "rider.mass", "rider.reaction_delay"),
        ("speed", "slope", "trim"),
        later=_event_later,
        completes=True,
        choices=_events,
    ),
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
    "ride": Topic(
        "Range",
        _ride,
        (GAIN, "rider.drag_area", "wheel.rolling_coefficient", "rider.mass", "packs.held_back"),
        ("speed", "slope", "head_wind", "distance", "state_of_charge", "trim"),
        (
            "gear",
            "road_power",
            "leg_power",
            "leg_share",
            "endurance",
            "battery_power",
            "battery_current",
            "consumption",
            "energy",
            "range",
            "distance",
        ),
    ),
    "review": Topic(
        "Review",
        _review,
        (*MACHINE, "assist.trim_cap", "motor.torque_constant_peak", "rider.mass", "rider.critical_power"),
        ("speed", "slope", "head_wind", "gust", "duration", "distance", "trim"),
        later=_with_riders(_review),
    ),
}
