"""What the panels of the ride ask: slopes and trim, ride logs."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from ..inputs import Build, Case
from ..inputs.ride_logs import RideLog
from ..studies import descents as descents_study
from ..studies import ride_log as ride_log_study
from ..studies import ride_logged
from ..studies import slopes as slopes_study
from .controls import Choice
from .topic import BRAKING_GAIN, GAIN, RATIO, Topic


def _slopes(build: Build, case: Case) -> tuple[Any, ...]:
    down = descents_study.back_down(case)
    return slopes_study.study(build, case), None if down is None else descents_study.study(build, down)


_example = lru_cache(8)(ride_logged.example)  # builds are compared by their values


def _ride_log(build: Build, case: Case, opened: Build, ride: str = "errand", log: RideLog | None = None) -> tuple[Any, ...]:
    return ride_log_study.believed(build, case, log or _example(opened, ride)), None


def _ride_log_later(build: Build, case: Case, opened: Build, ride: str = "errand", log: RideLog | None = None) -> tuple[Any, ...]:
    log = log or _example(opened, ride)
    return ride_log_study.believed(build, case, log), ride_log_study.study(build, case, log)


def _rides(build: Build) -> tuple[Choice, ...]:
    return (Choice("ride", "Example ride", {name: name for name in ride_logged.EXAMPLES}),)


RIDE = {
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
        choices=_rides,
    ),
}
