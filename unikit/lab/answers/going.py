"""Answers of the lesson on getting going and stopping."""

from __future__ import annotations

from functools import cache

import numpy as np

from ...formulas import leverage, pedalling
from ...inputs import replace
from ...studies import going, stopping
from ..exercises import Exercise, Slip, declare, forgot
from . import build, case

MASS, CRANK, RATIO, EFFICIENCY = 70.0, 0.150, 1.5, 0.96
SPEED, DECELERATION = 5.0, 1.2  # m/s (18 km/h) and m/s2
LONGER, WANTED = "150 mm", 5.0  # cranks, and metres to a stop


def weight_torque() -> float:
    """Wheel torque of a rider who stands on one level crank, through the gear alone."""
    return float(pedalling.body_weight_torque(MASS, CRANK, np.pi / 2)) * leverage.gear_leverage(RATIO, EFFICIENCY)


@cache
def _begun(length: str | None = None) -> going.Going:
    changes = {} if length is None else {"cranks.length": length}
    return going.study(replace(build(), changes), case("harbour_hill"))


def share() -> float:
    """Share of the turn in which the gear alone can begin on the hill, with longer cranks."""
    return _begun(LONGER).share_alone


def constant() -> float:
    """Stopping distance at a constant deceleration."""
    return SPEED**2 / (2 * DECELERATION)


@cache
def _stopped(charge: float) -> stopping.Stopping:
    return stopping.study(build(), replace(case("long_descent"), {"state_of_charge": charge}))


def full() -> float:
    """Distance by legs and motor down the long descent with packs that take nothing."""
    return _stopped(1.0).motor_distance


def lean() -> float:
    """Lean back with which legs and brake stop within the wanted distance on that descent."""
    from scipy.optimize import brentq

    def over(lean: float) -> float:
        return stopping.study(build(), case("long_descent"), bounds=stopping.Bounds(lean=lean)).brake_distance - WANTED

    return brentq(over, np.radians(6.0), np.radians(20.0), xtol=1e-5)


declare(
    Exercise(
        "going.1",
        "torque",
        weight_torque,
        hints=(
            "mass for weight",
            forgot("the gear: its ratio and its efficiency", leverage.gear_leverage(RATIO, EFFICIENCY)),
            forgot("the gear's efficiency", EFFICIENCY),
            "radius for diameter",
        ),
    ),
    Exercise(
        "going.2",
        "ratio",
        share,
        hints=(
            "percent for fraction",
            Slip(_begun().share_alone / share(), "that is the share with the cranks as built"),
            Slip(_begun(LONGER).share / share(), "that is the share with assist; the gear alone is asked for"),
        ),
    ),
    Exercise(
        "going.3",
        "length",
        constant,
        hints=(
            Slip(2.0, "the factor is 2: while it slows, the speed is only half of the first in the mean"),
            Slip(3.6**2, "the factor is 3.6 squared: in which unit is your speed?"),
        ),
    ),
    Exercise(
        "going.4",
        "length",
        full,
        hints=(Slip(_stopped(0.98).motor_distance / full(), "that is with the charge of the case, which still takes some current"),),
    ),
    Exercise("going.5", "angle", lean, tolerance=0.02, hints=("degrees for radians", "sign")),
)
