"""What each panel asks: its studies, what the reader can change, and which numbers are printed."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

from ..inputs import Build, Case
from ..studies import balance as balance_study
from ..studies import capture as capture_study
from ..studies import chance as chance_study
from ..studies import cranks as cranks_study
from ..studies import cut_out as cut_out_study
from ..studies import events as event_study
from ..studies import gearing as gearing_study
from ..studies import going as going_study
from ..studies import leverage as leverage_study
from ..studies import loop as loops
from ..studies import parts as parts_study
from ..studies import review as review_study
from ..studies import ride as ride_study
from ..studies import stability as stability_study
from ..studies import stopping as stopping_study
from .controls import Choice
from .drive_topics import DRIVE
from .hub_topics import HUB
from .ride_topics import RIDE
from .sensing_topics import SENSING
from .supply_topics import SUPPLY
from .topic import BRAKING_GAIN, GAIN, MACHINE, RATIO, Topic, engaged


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


def _ride(build: Build, case: Case) -> tuple[Any, ...]:
    return ride_study.study(build, case), ride_study.reach(build, case) if build.packs is not None else None


def _review(build: Build, case: Case, riders: int = 0, speeds: gearing_study.Gearing | None = None) -> tuple[Any, ...]:
    return (review_study.review(build, [case], [engaged(build)], riders, speeds, of_parts=False),)


def _parts(build: Build, case: Case) -> tuple[Any, ...]:
    found = parts_study.findings(build, [case], [engaged(build)])
    return (review_study.Review(build.name, tuple(found), ()),)


def _start(build: Build, case: Case, riders: int = 0) -> tuple[Any, ...]:
    speeds = gearing_study.study(build, case)
    return speeds, *_review(build, case, riders, speeds)


def _with_riders(results: Callable[..., tuple[Any, ...]]) -> Callable[[Build, Case], tuple[Any, ...]]:
    """The same results with the findings on balance."""
    return lambda build, case: results(build, case, review_study.RIDERS)


ASKED = (
    {
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
            (
                RATIO,
                "cranks.length",
                BRAKING_GAIN,
                "assist.trim_cap",
                "controller.charge_current_limit",
                "brake.greatest_torque",
                "rider.mass",
            ),
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
    }
    | DRIVE
    | HUB
    | SENSING
    | SUPPLY
    | {
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
    }
    | RIDE
    | {
        "review": Topic(
            "Review",
            _review,
            (*MACHINE, "assist.trim_cap", "motor.torque_constant_peak", "rider.mass", "rider.critical_power"),
            ("speed", "slope", "head_wind", "gust", "duration", "distance", "trim"),
            later=_with_riders(_review),
        ),
        "parts": Topic(
            "Hub, sensing, packs and wiring",
            _parts,
            (
                "cranks.length",
                GAIN,
                "rider.mass",
                "gears.gear.{gear}.module",
                "gears.gear.{gear}.face_width",
                "hub.shock_factor",
                "hub.drop_factor",
                "wiring.fuse_rating",
                "packs.held_back",
            ),
            ("speed", "slope", "head_wind"),
        ),
    }
)
