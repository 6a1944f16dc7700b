"""Answers of the lesson on gearing."""

from __future__ import annotations

import math

from ...formulas import epicyclic
from ...formulas import gearing as formulas
from ...inputs import replace
from ...studies import gearing
from ..exercises import Exercise, Slip, declare, forgot
from . import build, case

SPEED = 20 / 3.6
LONGER = "150 mm"
WANTED_RATIO, TOLERANCE, GREATEST_RING, PLANETS = 1.55, 0.02, 80, 4


def cadence() -> float:
    """Cadence at 20 km/h in the engaged gear."""
    return formulas.cadence(SPEED, build().wheel.radius, build().gears.named().ratio)


def greatest_speed() -> float:
    """Greatest speed on the flat with longer cranks."""
    return gearing.study(replace(build(), {"cranks.length": LONGER}), case("flat_cruise")).greatest_speed


def train() -> epicyclic.Train:
    """The train nearest to the wanted ratio."""
    return epicyclic.find_teeth(WANTED_RATIO, TOLERANCE, GREATEST_RING, PLANETS)[0]


def roll_out() -> float:
    """Smallest roll-out with which the wanted speed on the flat is within the comfortable cadence."""
    cruise = case("flat_cruise")
    return build().wheel.circumference * cruise.wanted_speed / gearing.study(build(), cruise).comfortable_limits["cadence"]


declare(
    Exercise(
        "gearing.1",
        "rotation",
        cadence,
        hints=(
            "rpm for rad/s",
            "km/h for m/s",
            "radius for diameter",
            Slip(build().gears.named().ratio, "that is the turning rate of the wheel: the cranks turn slower by the gear ratio"),
        ),
    ),
    Exercise(
        "gearing.2",
        "speed",
        greatest_speed,
        hints=(
            "km/h for m/s",
            "radius for diameter",
            forgot("the gear ratio: the wheel turns faster than the cranks", build().gears.named().ratio),
            Slip(
                gearing.study(build(), case("flat_cruise")).greatest_speed / greatest_speed(),
                "that is the speed at the greatest cadence: do the pedals of longer cranks still keep within their own limit there?",
            ),
        ),
    ),
    Exercise(
        "gearing.3",
        "number",
        lambda: train().ring,
        0.001,
        hints=(
            Slip(train().sun / train().ring, "that is the sun, which is held; the ring is asked for"),
            Slip(train().planet / train().ring, "that is a planet; the ring is asked for"),
        ),
    ),
    Exercise(
        "gearing.4",
        "length",
        roll_out,
        hints=(
            Slip(1 / math.pi, "that is the diameter of the wheel; the roll-out is asked for"),
            Slip(1 / math.tau, "that is the radius of the wheel; the roll-out is asked for"),
            Slip((build().wheel.circumference / roll_out()) ** 2, "the wrong way round: a slower wheel turn needs a larger wheel"),
        ),
    ),
)
