"""Expected answers of the motor lesson."""

from __future__ import annotations

import math

from ... import units
from ...formulas import motor as formulas
from ...formulas import pedalling
from ...inputs import Case, replace
from ...studies import motor
from ...studies.drive import drive
from ...studies.findings import FINDINGS
from ...studies.rewind import with_turns
from ..exercises import Exercise, Slip, declare
from . import build, case

DATASHEET = units.parse("9.3 rpm/V", "speed constant")
TURNS = 1.25


def constant() -> float:
    """Torque constant per ampere of phase peak from the speed constant of a datasheet."""
    return formulas.torque_constant(DATASHEET, "peak")


def untrimmed() -> Case:
    """The hill without trim torque."""
    return replace(case("harbour_hill"), {"trim": "none"})


def loss() -> float:
    """Copper loss on the hill when the pedals alone command the motor."""
    return motor.study(build(), untrimmed()).copper_loss


def no_load_speed() -> float:
    """Speed at which back-EMF reaches the packs in the flat, with more turns."""
    return motor.study(with_turns(build(), TURNS), case("flat_cruise")).no_load_speed


def current_for_gust(factor: float, torque: str = "motor_peak") -> float:
    """Phase current that gives a motor torque of the head wind case and some times its gust."""
    asked = motor.study(build(), case("head_wind"))
    constant = drive(build(), case("head_wind").state_of_charge).torque_constant_peak
    return formulas.current_for_torque(getattr(asked, torque) + factor * asked.gust_torque, constant)


def smallest_current() -> float:
    """Smallest phase current limit with which the gust finding holds in the head wind."""
    return current_for_gust(FINDINGS["gust"].holds)


FLOOR = build().rider.torque_floor
SQUARE, PEAK = pedalling.shape_mean_square(FLOOR), pedalling.shape_peak(FLOOR)
RMS = Slip(1 / math.sqrt(2), "the factor is the root of 2: an rms current where the peak of the wave is asked?")

declare(
    Exercise(
        "motor.1",
        "torque constant",
        constant,
        hints=(
            Slip(
                2 / math.sqrt(3), "that is one over the speed constant, the convention of direct current: the build file wants phase peak"
            ),
            Slip(math.sqrt(2), "that is per ampere rms: the build file wants per ampere of phase peak"),
            "rpm for rad/s",
        ),
    ),
    Exercise(
        "motor.2",
        "power",
        loss,
        hints=(
            Slip(1 / SQUARE, "that is the loss of the mean torque: the pulse adds to it, take the mean of the square"),
            Slip(PEAK**2 / SQUARE, "that is the loss at the peak of the pulse, not its mean over the turn"),
            Slip(2.0, "the factor is 2: did you take the resistance between two leads for that of one phase?"),
        ),
    ),
    Exercise(
        "motor.3",
        "speed",
        no_load_speed,
        hints=(
            Slip(TURNS, "that is the motor as it is: did you change the turns?"),
            Slip(TURNS**2, "wrong way: more turns give more back-EMF at the same speed"),
            Slip(1 / TURNS, "back-EMF grows with the turns, not with their square"),
            "km/h for m/s",
            "radius for diameter",
        ),
    ),
    Exercise(
        "motor.4",
        "current",
        smallest_current,
        hints=(
            Slip(
                current_for_gust(1.0) / smallest_current(),
                "that covers the gust once, which is tight: the table of findings asks more to hold",
            ),
            Slip(
                current_for_gust(FINDINGS["gust"].holds, "motor_torque") / smallest_current(),
                "that starts from the mean motor torque: the reserve is counted from the peak in the turn",
            ),
            RMS,
        ),
    ),
)
