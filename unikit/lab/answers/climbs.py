"""Expected answers of the lesson on climbs and duty."""

from __future__ import annotations

from functools import cache

import numpy as np

from ...inputs import Build, Case, replace
from ...studies import climbs, duties, hold, pulse
from ...studies.rewind import with_length
from ..exercises import Exercise, Slip, declare
from . import build, case

# What the lesson adds to the example build: the magnets' ring, the air gap, the end space and the axle.
DESCRIBED = {
    "motor.magnet_capacity": "520 J/K",
    "motor.magnet_to_housing": "28 W/K",
    "motor.gap_diameter": "186 mm",
    "motor.gap_width": "0.8 mm",
    "motor.stack_length": "28 mm",
    "motor.end_winding_area": "210 cm^2",
    "motor.stator_to_axle": "0.35 W/K",
}
WARM, STEEP, SLOW = 273.15 + 60.0, 0.12, 5.0 / 3.6
HOT = {"air_temperature": "34 °C", "sun": 900.0}


@cache
def motor(length: float = 0.5) -> Build:
    """The lesson's light motor, or the whole one."""
    return with_length(replace(build(), DESCRIBED), length)


def climb(**changes) -> Case:
    """The lesson's long climb, from cold."""
    plain = {"slope": "9 %", "speed": "10 km/h", "duration": "30 min", "winding_start": None}
    return replace(case("harbour_hill"), plain | changes)


@cache
def slope(length: float = 1.0) -> float:
    """Slope that the whole motor holds for ever at the climb's speed."""
    return climbs.outline(motor(length), climb(), points=2, within=climbs.SLOPE).slope_for_ever


@cache
def time(start: float | None = WARM) -> float:
    """Time for which the light motor holds a steeper slope, from warm."""
    return float(hold.hold(motor(), climb(slope=STEEP, winding_start=start)).time)


@cache
def torque(**changes) -> float:
    """Motor torque that the light motor holds for ever when it creeps."""
    base = hold.ground(motor(), climb(**changes), SLOW)
    found = hold.allowed(base, np.inf)
    return float(pulse.torque(motor(), found.copper, found.magnets))


@cache
def moment(between: str = "descent") -> float:
    """Time from the start of the first climb, with all ways down, until derating begins."""
    return duties.study(motor(), climb(), between=between).ended_after


@cache
def cap() -> float:
    """Largest torque cap with which no slope at the climb's speed is too much for the light motor."""
    from scipy.optimize import brentq

    base = hold.ground(motor(), climb(), climb().speed)
    found = hold.allowed(base, np.inf)
    magnets = found.magnets
    gear = motor().gears.named()

    def over(value: float) -> float:
        one = replace(motor(), {"assist.torque_cap": value})
        return float(hold.copper_loss(one, climb(), gear, climb().speed, climbs.STEEPEST, magnets) - found.copper)

    return brentq(over, 1.0, 60.0, xtol=1e-9)


def ever() -> float:
    """The pulsing torque for ever at the climb's speed."""
    return climbs.outline(motor(), climb(), points=2).continuous_torque


declare(
    Exercise(
        "climbs.1",
        "slope",
        slope,
        hints=(
            "percent for fraction",
            Slip(slope(0.5) / slope(), "that is the light motor: the task asks for the whole one"),
        ),
    ),
    Exercise(
        "climbs.2",
        "time",
        time,
        0.02,
        hints=(
            Slip(time(None) / time(), "that is from cold: this motor starts at 60 °C"),
            Slip(60.0, "the factor is 60: minutes or seconds?"),
            Slip(1 / 60.0, "the factor is 60: minutes or seconds?"),
        ),
    ),
    Exercise(
        "climbs.3",
        "torque",
        lambda: torque(**HOT),
        hints=(
            Slip(torque() / torque(**HOT), "that is in mild air and in the shade"),
            Slip(torque(air_temperature=HOT["air_temperature"]) / torque(**HOT), "that is in the shade: the sun heats the housing too"),
        ),
    ),
    Exercise(
        "climbs.4",
        "time",
        moment,
        0.02,
        hints=(
            Slip(60.0, "the factor is 60: minutes or seconds?"),
            Slip(1 / 60.0, "the factor is 60: minutes or seconds?"),
            Slip((moment() - climb().duration) / moment(), "count the way down as well: the time runs from the start of the first climb"),
        ),
    ),
    Exercise(
        "climbs.5",
        "torque",
        cap,
        0.015,
        hints=(Slip(ever() / cap(), "that torque is the mean of one that pulses: a cap cuts its peaks, and flat torque heats less"),),
    ),
)
