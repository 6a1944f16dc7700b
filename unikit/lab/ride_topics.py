"""What the panels of the ride ask: slopes and trim."""

from __future__ import annotations

from typing import Any

from ..inputs import Build, Case
from ..studies import descents as descents_study
from ..studies import slopes as slopes_study
from .topic import BRAKING_GAIN, GAIN, RATIO, Topic


def _slopes(build: Build, case: Case) -> tuple[Any, ...]:
    down = descents_study.back_down(case)
    return slopes_study.study(build, case), None if down is None else descents_study.study(build, down)


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
}
