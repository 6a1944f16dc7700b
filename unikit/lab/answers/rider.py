"""Answers of the lesson on a rider from a log."""

from __future__ import annotations

from functools import cache

from ...inputs import Log, load_log
from ...studies import rider
from ..exercises import Exercise, Slip, declare
from . import DATA

SLOWER_MUSCLE = 0.045  # s


@cache
def log(name: str) -> Log:
    """An example log, as its file stands."""
    return load_log(DATA / "logs" / f"{name}.csv", DATA / "logs" / "first_rides.toml")


@cache
def found(name: str, predictive: bool = False, **said: float) -> rider.RiderResult:
    """The rider of an example log, with the sensor's noise from the log at rest."""
    assumed = {"lean_rate_noise": rider.resting_noise(log("at_rest")), **said}
    return rider.study(log(name), rider.Assumed(**assumed), predictive)


def predictive_delay() -> float:
    """Reaction delay of the rider who answers lean acceleration too."""
    return found("predictive_rider", True).delay


def torque_per_lean() -> float:
    """Pedal torque per lean of that rider."""
    return found("predictive_rider", True).proportional


def slower_muscle_delay() -> float:
    """Reaction delay of the first rider if the muscle lag is longer."""
    return found("reflexive_rider", muscle_lag=SLOWER_MUSCLE).delay


declare(
    Exercise(
        "rider.1",
        "time",
        predictive_delay,
        "0.5 ms",
        hints=(
            Slip(found("reflexive_rider").delay / predictive_delay(), "that is the first rider; the second one's log is another file"),
            Slip(
                found("predictive_rider", True, lean_rate_noise=0.0).delay / predictive_delay(),
                "the noise of the gyro is missing: what does the log at rest say?",
            ),
        ),
    ),
    Exercise(
        "rider.2",
        "stiffness",
        torque_per_lean,
        hints=(
            "degrees for radians",
            Slip(
                found("reflexive_rider").proportional / torque_per_lean(), "that is the first rider; the second one's log is another file"
            ),
        ),
    ),
    Exercise(
        "rider.3",
        "time",
        slower_muscle_delay,
        "0.5 ms",
        hints=(Slip(found("reflexive_rider").delay / slower_muscle_delay(), "that is the delay with the standard muscle lag of 30 ms"),),
    ),
)
