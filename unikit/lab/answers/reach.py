"""Expected answers of the lesson on the limits in four quadrants."""

from __future__ import annotations

import math
from functools import cache

from ...formulas import bus
from ...inputs import Build, Case, replace
from ...studies import reach
from ...studies.drive import drive
from ..exercises import Exercise, Slip, declare
from . import build, case

RATING = 75.0  # volt, of another controller
COLD, ROOM = 273.15, 293.15
HOLDING = 15 / 3.6  # m/s, where the full packs are asked
PUSHED, TIME = 300.0, 0.020  # watt fed back, and seconds that a protection takes
STALL_RMS = 45.0  # ampere
WANTED, FAST = 10.0, 60 / 3.6  # newton metres at a speed
LIFTED = {"assist.torque_cap": "80 N*m"}


def trip_speed(rating: float = RATING, lines: float = math.sqrt(3), magnets: float = COLD) -> float:
    """Speed at which the back-EMF between two leads reaches a rating."""
    constant = drive(build(), magnet_temperature=magnets).torque_constant_peak
    return rating / (lines * constant / 1.5) * build().wheel.radius


def full() -> Case:
    """The long descent with packs that are full."""
    return replace(case("long_descent"), {"state_of_charge": 1.0})


@cache
def held(charge: float = 1.0) -> float:
    """Braking torque that is left at the speed asked, motor at 20 °C."""
    return -float(drive(build(), charge).limits(HOLDING / build().wheel.radius).lowest)


def capacitance() -> float:
    """Capacitance with which braking takes the time asked from the full packs' voltage to the rating."""
    ends = reach.study(build(), full())
    return TIME / float(bus.time_to_voltage(ends.full_voltage, ends.rating, 1.0, PUSHED))


@cache
def stall_time(peak: float = STALL_RMS * math.sqrt(2)) -> float:
    """Time to derating of a stalled motor, from 20 °C, with the torque cap lifted."""
    changed = replace(build(), LIFTED | {"controller.phase_current_limit": peak})
    return reach.study(changed, case("flat_cruise"), winding_temperature=ROOM).standstill_time


@cache
def weakening() -> float:
    """Smallest field weakening current that gives the torque wanted at the speed wanted, charged as in the head wind."""
    from scipy.optimize import brentq

    def over(current: float) -> float:
        changed = replace(weakened(), {"controller.weakening_current": current})
        return float(reach.reserve(changed, case("head_wind"), FAST, WANTED))

    return brentq(over, 8.0, 30.0, xtol=1e-4)


def weakened() -> Build:
    """The example build with the torque cap lifted."""
    return replace(build(), LIFTED)


VOLTAGE = reach.study(build(), full()).full_voltage

declare(
    Exercise(
        "reach.1",
        "speed",
        trip_speed,
        hints=(
            Slip(math.sqrt(3), "the factor is the root of 3: the voltage between two leads is more than that of one phase"),
            Slip(
                trip_speed(magnets=build().motor.reference_temperature) / trip_speed(),
                "that is with the magnets at the file's reference temperature: cold ones are stronger",
            ),
            "km/h for m/s",
            "radius for diameter",
        ),
    ),
    Exercise(
        "reach.2",
        "torque",
        held,
        hints=(
            "sign",
            Slip(held(0.9) / held(), "that is at 90 % of charge"),
        ),
    ),
    Exercise(
        "reach.3",
        "capacitance",
        capacitance,
        hints=(
            Slip(0.5, "the factor is 2: the energy in a capacitor is half of C times the square of the voltage"),
            Slip(
                (build().controller.voltage_rating ** 2 - VOLTAGE**2) / build().controller.voltage_rating ** 2,
                "you seem to begin with an empty capacitor: it already holds the packs' voltage",
            ),
            Slip(
                (build().controller.voltage_rating ** 2 - VOLTAGE**2) / (build().controller.voltage_rating - VOLTAGE) ** 2,
                "the difference of the squares is asked, not the square of the difference",
            ),
        ),
    ),
    Exercise(
        "reach.4",
        "time",
        stall_time,
        hints=(
            Slip(stall_time(STALL_RMS) / stall_time(), "the factor is about 2: you took the rms current for the peak of the wave"),
            Slip(0.5, "that is for one phase that carries the peak all the time; the mean of the winding is asked"),
        ),
    ),
    Exercise(
        "reach.5",
        "current",
        weakening,
        tolerance=0.02,
        hints=(Slip(1 / math.sqrt(2), "the factor is the root of 2: an rms current where the peak of the wave is asked?"),),
    ),
)
