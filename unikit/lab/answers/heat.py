"""Expected answers of the heat lesson."""

from __future__ import annotations

import math

from ...formulas import pedalling
from ...inputs import Case, replace
from ...studies import heat
from ...studies.rewind import with_length
from ..exercises import Exercise, Slip, declare
from . import build, case

LIGHT = 0.5  # length of the lesson's light motor
WARM = 273.15 + 60.0


def cold_hill() -> heat.Heat:
    """The hill with a motor at the air's temperature."""
    return heat.study(build(), replace(case("harbour_hill"), {"winding_start": None}))


def climb(start: float | None = None) -> Case:
    """The long climb of the lesson."""
    changes = {"slope": "9 %", "speed": "10 km/h", "duration": "30 min", "winding_start": start}
    return replace(case("harbour_hill"), changes)


def held_torque(limit: float | None = None) -> float:
    """Motor torque held for ever in the flat with the winding where derating begins, or at another limit."""
    chain = heat.network(build(), case("flat_cruise"), build().gears.named())
    return heat.continuous_torque(build(), chain, limit or build().controller.derating_start)


def derating_after(start: float | None = WARM) -> float:
    """Time until the light motor is derated on the long climb."""
    return heat.study(with_length(build(), LIGHT), climb(start)).derating_after


def _lightest(temperature) -> float:
    """Mass of the motor whose temperature on the long climb is where derating begins."""
    from scipy.optimize import brentq

    start = build().controller.derating_start

    def above(length: float) -> float:
        found = temperature(heat.study(with_length(build(), length), climb()))
        return min(found, 1000.0) - start  # a run-away has no steady temperature

    return with_length(build(), brentq(above, 0.4, 1.5, xtol=1e-6)).motor.mass


def lightest() -> float:
    """Lightest motor that is not yet derated at the end of the long climb."""
    return _lightest(lambda result: result.winding_end)


def lightest_for_ever() -> float:
    """Lightest motor that the climb never brings to derating."""
    return _lightest(lambda result: result.winding_steady)


SQUARE = pedalling.shape_mean_square(build().rider.torque_floor)
CLASS = heat.study(build(), case("flat_cruise")).winding_limit

declare(
    Exercise(
        "heat.1",
        "temperature",
        lambda: cold_hill().winding_end,
        "0.5 K",
        hints=(
            Slip(
                heat.study(build(), case("harbour_hill")).winding_end / cold_hill().winding_end,
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
)
