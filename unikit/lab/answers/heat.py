"""Expected answers of the heat lesson."""

from __future__ import annotations

import math
from functools import cache

from ...formulas import pedalling
from ...inputs import Build, Case, replace
from ...studies import heat
from ...studies.rewind import with_length
from ..exercises import Exercise, Slip, declare
from . import build, case

LIGHT = 0.5  # length of the lesson's light motor
WARM = 273.15 + 60.0
STEEPER = "11 %"

# What the lesson leaves out at first, and what it then says of ring, air gap, end space and axle.
MORE = {
    "motor.magnet_capacity": "520 J/K",
    "motor.magnet_to_housing": "28 W/K",
    "motor.gap_diameter": "186 mm",
    "motor.gap_width": "0.8 mm",
    "motor.stack_length": "28 mm",
    "motor.end_winding_area": "210 cm^2",
    "motor.stator_to_axle": "0.35 W/K",
}


@cache
def motor(length: float = 1.0, described: bool = False) -> Build:
    """The lesson's motor as a chain of three bodies, or described in full; shorter where it is asked."""
    return with_length(replace(build(), MORE if described else dict.fromkeys(MORE)), length)


def cold_hill() -> heat.Heat:
    """The hill with a motor at the air's temperature."""
    return heat.study(motor(), replace(case("harbour_hill"), {"winding_start": None}))


def climb(start: float | None = None) -> Case:
    """The long climb of the lesson."""
    changes = {"slope": "9 %", "speed": "10 km/h", "duration": "30 min", "winding_start": start}
    return replace(case("harbour_hill"), changes)


def held_torque(limit: float | None = None) -> float:
    """Motor torque held for ever in the flat with the winding where derating begins, or at another limit."""
    chain = heat.network(motor(), case("flat_cruise"), motor().gears.named())
    return float(heat.continuous_torque(motor(), chain, limit or motor().controller.derating_start))


def derating_after(start: float | None = WARM) -> float:
    """Time until the light motor is derated on the long climb."""
    return heat.study(motor(LIGHT), climb(start)).derating_after


def _lightest(temperature) -> float:
    """Mass of the motor whose temperature on the long climb is where derating begins."""
    from scipy.optimize import brentq

    start = motor().controller.derating_start

    def above(length: float) -> float:
        found = temperature(heat.study(with_length(motor(), length), climb()))
        return min(found, 1000.0) - start  # a run-away has no steady temperature

    return with_length(motor(), brentq(above, 0.4, 1.5, xtol=1e-6)).motor.mass


def lightest() -> float:
    """Lightest motor that is not yet derated at the end of the long climb."""
    return _lightest(lambda result: result.winding_end)


def lightest_for_ever() -> float:
    """Lightest motor that the climb never brings to derating."""
    return _lightest(lambda result: result.winding_steady)


@cache
def carried(path: str = "stator to air") -> float:
    """Heat that a path of the light motor, described in full, carries on the long climb in the mean."""
    found = heat.accounts(motor(LIGHT, described=True), climb())
    return float(found.mean[list(found.entry).index(path)])


@cache
def taken_over(described: bool = False) -> float:
    """What the feet have more to bear at the end of a steeper long climb with the light motor."""
    found = heat.study(motor(LIGHT, described), replace(climb(), {"slope": STEEPER}))
    return float(found.foot_force_end - found.foot_force_start)


SQUARE = pedalling.shape_mean_square(build().rider.torque_floor)
CLASS = heat.study(motor(), case("flat_cruise")).winding_limit

declare(
    Exercise(
        "heat.1",
        "temperature",
        lambda: cold_hill().winding_end,
        "0.5 K",
        hints=(
            Slip(
                heat.study(motor(), case("harbour_hill")).winding_end / cold_hill().winding_end,
                "that is with the warm start of the case: take winding_start away",
            ),
            Slip(1 - cold_hill().air / cold_hill().winding_end, "that is the rise: add the temperature of the air"),
        ),
    ),
    Exercise(
        "heat.2",
        "torque",
        held_torque,
        hints=(
            Slip(
                held_torque(CLASS) / held_torque(),
                "that is the torque at the limit of the class: no torque is left there, derating begins lower",
            ),
            Slip(math.sqrt(SQUARE), "that is a steady torque: pedalled torque pulses and heats more than its mean"),
        ),
    ),
    Exercise(
        "heat.3",
        "time",
        derating_after,
        hints=(
            Slip(derating_after(None) / derating_after(), "that is the cold motor: this one starts at 60 °C"),
            Slip(60.0, "the factor is 60: minutes or seconds?"),
            Slip(1 / 60.0, "the factor is 60: minutes or seconds?"),
        ),
    ),
    Exercise(
        "heat.4",
        "mass",
        lightest,
        0.015,
        hints=(
            Slip(lightest_for_ever() / lightest(), "that one would climb for ever: the task ends after the time of the climb"),
            Slip(1 / build().motor.mass, "is that the length? The task asks for the mass"),
        ),
    ),
    Exercise(
        "heat.5",
        "power",
        carried,
        0.02,
        hints=(
            Slip(
                carried("winding to housing") / carried(),
                "that path crosses the air at the ends of the winding: the axle starts at the stator",
            ),
            Slip(climb().duration / 1000.0, "that is the heat of the whole climb in kJ: divide by its time"),
        ),
    ),
    Exercise(
        "heat.6",
        "force",
        taken_over,
        0.02,
        hints=(Slip(taken_over(described=True) / taken_over(), "that is the motor described in full: the task asks for three bodies"),),
    ),
)
