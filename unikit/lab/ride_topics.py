"""What the panels of the ride ask: range along a route, slopes and trim, ride logs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from ..inputs import Build, Case, Route, replace, steady_way, there_and_back, thinned
from ..inputs.ride_logs import RideLog
from ..studies import descents as descents_study
from ..studies import journey as journey_study
from ..studies import outlook as outlook_study
from ..studies import ride_log as ride_log_study
from ..studies import ride_logged
from ..studies import slopes as slopes_study
from ..studies.riding import LONGEST_STEP, is_compiled
from .controls import Choice
from .topic import BRAKING_GAIN, GAIN, RATIO, Topic

DRAGGED = {True: 4000, False: 400}  # steps of a route while a slider moves, with the compiled march and without
PAUSED = {True: 50_000, False: 2500}  # and as soon as it rests
DRAWN = {True: (2000, 256), False: (400, 32)}  # steps and rides of the outlook


def _eased(case: Case) -> Case:
    """The case with a direction for a wind that has only a speed: the one its control shows."""
    return replace(case, {"wind_from": 0.0}) if case.wind_speed is not None and case.wind_from is None else case


def _light(route: Route, steps: int) -> Route:
    """The route in about so many steps, but in none so long that the march would cut it again."""
    return thinned(route, max(steps, math.ceil(route.length / LONGEST_STEP)))


def _journey_quick(build: Build, case: Case, route: Route) -> tuple[Any, ...]:
    return (journey_study.study(build, _eased(case), _light(route, DRAGGED[is_compiled()])),)


def _journey_later(build: Build, case: Case, route: Route) -> tuple[Any, ...]:
    case, fast = _eased(case), is_compiled()
    ridden = journey_study.study(build, case, _light(route, PAUSED[fast]))
    if build.motor is None or build.packs is None:
        return (ridden,)
    steps, rides = DRAWN[fast]
    return ridden, outlook_study.study(build, case, _light(route, steps), count=rides)


def _routes(build: Build, case: Case, routes: Any) -> Choice:
    """Routes by the names that the reader sees; those of the case itself where none are handed over."""
    routes = getattr(routes, "routes", routes)
    if routes is None or (not isinstance(routes, Route) and not len(routes)):
        out = steady_way("slope of the case", max(case.distance, 100.0), case.slope)
        routes = (out, there_and_back(out))
    elif isinstance(routes, Route):
        routes = (routes,)
    if not isinstance(routes, Mapping):
        routes = {route.name: route for route in routes}
    return Choice("route", "Route", dict(routes))


def _slopes(build: Build, case: Case) -> tuple[Any, ...]:
    down = descents_study.back_down(case)
    return slopes_study.study(build, case), None if down is None else descents_study.study(build, down)


_example = lru_cache(8)(ride_logged.example)  # builds are compared by their values


def _log(opened: Build, ride: str | RideLog) -> RideLog:
    return ride if isinstance(ride, RideLog) else _example(opened, ride)


def _ride_log(build: Build, case: Case, opened: Build, ride: str | RideLog) -> tuple[Any, ...]:
    return ride_log_study.believed(build, case, _log(opened, ride)), None


def _ride_log_later(build: Build, case: Case, opened: Build, ride: str | RideLog) -> tuple[Any, ...]:
    log = _log(opened, ride)
    return ride_log_study.believed(build, case, log), ride_log_study.study(build, case, log)


def _rides(build: Build, case: Case, log: RideLog | None) -> Choice:
    """A log that is handed over, else the computed example rides."""
    return Choice("ride", "Ride", {name: name for name in ride_logged.EXAMPLES} if log is None else {log.name: log})


RIDE = {
    "journey": Topic(
        "Range along a route",
        _journey_quick,
        (GAIN, RATIO, "rider.drag_area", "packs.held_back"),
        ("state_of_charge", "wanted_speed", "leg_power", "wind_speed", "wind_from", "head_wind", "air_temperature", "trim"),
        (
            "route",
            "gear",
            "length",
            "climb",
            "chance",
            "chance_error",
            "rides",
            "likely",
            "range",
            "consumption",
            "leg_share",
            "cells",
            "fed_back",
            "charge_end",
            "time",
            "mean_speed",
            "walked",
            "least_reserve",
            "least_reserve_at",
            "most_cut_out",
            "most_cut_out_at",
            "cut",
            "over",
            "least_work_left",
            "hottest_winding",
            "open_share",
        ),
        _journey_later,
        given=_routes,
    ),
    "slopes": Topic(
        "Slopes and trim",
        _slopes,
        ("assist.trim_step", "assist.trim_cap", GAIN, BRAKING_GAIN, RATIO, "cranks.length", "rider.mass"),
        ("speed", "slope", "distance", "state_of_charge", "trim"),
        (
            "gear",
            "slope_torque",
            "trim_level",
            "trim_set",
            "covered",
            "step_slope",
            "foot_none",
            "foot_steps",
            "foot_level",
            "residual_force",
            "noticed",
            "largest_step",
            "step_force",
            "residual_lean",
            "largest_lost",
            "drop",
            "start_charge",
            "end_charge",
            "height",
            "stored",
            "legs",
            "brake",
            "foot_start",
            "foot_end",
            "legs_held",
            "motor_start",
            "motor_end",
            "foot_alone",
            "charge_as_asked",
            "as_asked_by",
            "way_as_asked",
            "charge_to_leave",
            "full_foot",
        ),
    ),
    "ride_log": Topic(
        "What a ride log says",
        _ride_log,
        ("wheel.rolling_coefficient", "rider.drag_area", "rider.mass", "motor.torque_constant_peak", "motor.phase_resistance"),
        ("air_temperature",),
        (
            "log",
            "stretches",
            "mean_excess",
            "believed_rolling",
            "believed_area",
            "believed_efficiency",
            "rolling_coefficient",
            "rolling_coefficient_low",
            "rolling_coefficient_high",
            "drag_area",
            "drag_area_low",
            "drag_area_high",
            "drive_efficiency",
            "drive_efficiency_low",
            "drive_efficiency_high",
            "wind_from_north",
            "wind_from_east",
            "gust_deviation",
            "outliers",
        ),
        later=_ride_log_later,
        learned=True,
        given=_rides,
    ),
}
