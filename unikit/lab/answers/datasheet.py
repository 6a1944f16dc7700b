"""Expected answers of the lesson on datasheets and windings."""

from __future__ import annotations

import math

from ... import units
from ...formulas import datasheet as printed
from ...formulas import motor as formulas
from ...formulas import winding as windings
from ...inputs import Datasheet
from ...studies import motor
from ...studies.drive import drive
from ...studies.findings import FINDINGS
from ..exercises import Exercise, Slip, declare
from . import build, case

SPEED = units.parse("6.4 rpm/V", "speed constant")
BRANCH = 0.27  # ohm
RUN = {"voltage": 48.0, "current": 0.6, "phase_resistance": 0.09, "rotation": units.parse("400 rpm", "rotation")}
PAGE = Datasheet(
    format=1,
    name="exercise",
    speed_constant=units.parse("9.3 rpm/V", "speed constant"),
    speed_constant_per="peak line to line",
    torque_constant=1.03,
    torque_constant_per="peak",
    mass=4.6,
)
LIMIT = 35.0  # ampere


def constant() -> float:
    """Torque constant per ampere of peak from a speed constant per volt rms between two leads."""
    return formulas.torque_constant(printed.line_speed_constant(SPEED, "rms line to line"), "peak")


def drag() -> float:
    """Torque of iron and bearings from a run without load."""
    return printed.idle_drag(**RUN)


def convention() -> str:
    """The convention that brings the page's torque constant nearest to its speed constant."""
    peak = formulas.torque_constant(PAGE.speed_constant, "peak")
    return min(formulas.CONVENTIONS, key=lambda word: abs(math.log(printed.peak_torque_constant(PAGE.torque_constant, word) / peak)))


def fewest_turns(times: float | None = None) -> float:
    """Fewest turns, over those as built, with which a small controller still covers the gust in the head wind some times."""
    times = FINDINGS["gust"].holds if times is None else times
    asked = motor.study(build(), case("head_wind"))
    constant = drive(build(), case("head_wind").state_of_charge).torque_constant_peak
    return (asked.motor_peak + times * asked.gust_torque) / (LIMIT * constant)


declare(
    Exercise(
        "datasheet.1",
        "torque constant",
        constant,
        hints=(
            Slip(1 / math.sqrt(2), "that takes the volt for one of peak: the same sine has more volts at its peak"),
            Slip(0.5, "the factor is 2: the root of 2 belongs on the other side"),
            Slip(math.sqrt(2), "that is per ampere rms: the build file wants per ampere of phase peak"),
            "rpm for rad/s",
        ),
    ),
    Exercise(
        "datasheet.2",
        "resistance",
        lambda: windings.star_resistance(BRANCH),
        hints=(
            Slip(3.0, "that is the branch itself: the build file wants the phase of the star that acts the same"),
            Slip(1.5, "half is for a resistance between two leads: this branch was cut free from the others"),
            Slip(2.0, "that is what a meter reads between two leads of the delta: one phase of the star is half of it"),
        ),
    ),
    Exercise(
        "datasheet.3",
        "torque",
        drag,
        0.015,
        hints=("rpm for rad/s", Slip(2 * math.pi, "the factor is 2π: did you take turns for radians?")),
    ),
    Exercise("datasheet.4", "word", convention),
    Exercise(
        "datasheet.5",
        "ratio",
        fewest_turns,
        0.02,
        hints=(
            Slip(fewest_turns(1.0) / fewest_turns(), "that covers the gust once, which is tight: the table of findings asks more to hold"),
            Slip(1 / fewest_turns() ** 2, "upside down: with fewer turns the same torque takes more current"),
            "percent for fraction",
        ),
    ),
)
