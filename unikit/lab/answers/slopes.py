"""Expected answers of the lesson on slopes and trim."""

from __future__ import annotations

from functools import cache

from ...formulas import road
from ...inputs import Case, replace
from ...studies import descents, slopes
from ..exercises import Exercise, Slip, declare
from . import build, case

MASS, RADIUS, STEEP = 96.0, 0.34, 0.05  # by hand
CAP = 12.0  # N·m, what you fit
PACE = 17 / 3.6  # m/s, where the step is asked
DROP, CHARGE = 140.0, 0.8  # metres of height, and the charge at which the foot force is asked
PUSH = 55.0  # newtons
HEIGHT, LOADED, KEPT = 150.0, 95.0, 0.6  # by hand


def trim() -> float:
    """Trim that levels the slope."""
    return RADIUS * road.slope_force(MASS, STEEP)


def covered(cap: float = CAP) -> float:
    """Slope that another cap covers."""
    return slopes.study(replace(build(), {"assist.trim_cap": cap}), case("harbour_hill")).covered


@cache
def step(speed: float = PACE) -> float:
    """Largest step that stays unnoticed at another speed."""
    return slopes.study(build(), replace(case("harbour_hill"), {"speed": speed})).largest_step


def levelled() -> Case:
    """The long descent with level trim."""
    return replace(case("long_descent"), {"trim": "level"})


@cache
def left_out(drop: float = DROP, policy: str = "level") -> float:
    """Charge to leave out before a descent."""
    return descents.charge_to_leave(build(), replace(levelled(), {"trim": policy}), drop)


@cache
def gain(push: float = PUSH) -> float:
    """Resisting gain with which the feet hold back with a force on the long descent without trim."""
    down = replace(case("long_descent"), {"state_of_charge": CHARGE})

    from scipy.optimize import brentq

    def over(value: float) -> float:
        return descents.study(replace(build(), {"assist.resisting_gain.long": value}), down, points=2).foot_start + push

    return brentq(over, 0.0, 1.5, xtol=1e-6)


def kept() -> float:
    """Energy that comes back of a height."""
    return KEPT * LOADED * road.GRAVITY * HEIGHT


declare(
    Exercise("slopes.1", "torque", trim, hints=("sign", "radius for diameter")),
    Exercise(
        "slopes.2",
        "slope",
        covered,
        hints=("percent for fraction", Slip(covered(9.0) / covered(), "that is the cap of the file: the task asks for the larger one")),
    ),
    Exercise(
        "slopes.3",
        "torque",
        step,
        hints=(
            Slip(0.5, "half a step is left between two steps at most: the step may be twice what may be left"),
            Slip(step(11.5 / 3.6) / step(), "that is at the speed of the file"),
        ),
    ),
    Exercise(
        "slopes.4",
        "ratio",
        left_out,
        0.01,
        hints=(
            Slip((1 - left_out()) / left_out(), "that is the charge to begin with: the task asks how much is left out"),
            Slip(left_out(DROP, "none") / left_out(), "that is without trim: with the slope levelled the motor charges more"),
        ),
    ),
    Exercise(
        "slopes.5",
        "ratio",
        gain,
        0.02,
        hints=(Slip(0.22 / gain(), "that is the gain of the file"),),
    ),
    Exercise(
        "slopes.6",
        "energy",
        kept,
        hints=(Slip(1 / KEPT, "that is all of the height: only a part comes back"), Slip(1 / 3600, "joules or watt-hours?")),
    ),
)
