"""Answers of the lesson on delay and stability."""

from __future__ import annotations

from dataclasses import replace as replaced
from functools import cache

import numpy as np

from ...formulas import delay
from ...inputs import replace
from ...studies import loop as loops
from ...studies import stability
from ..exercises import Exercise, Slip, declare
from . import build, case

STICK = 5.2  # rad/s
TALLER = "1065 mm"
RATE, LATE, ON_RATE = 6.0, 0.120, 1.5  # toppling rate, delay and scaled gain on lean rate of the third exercise
TIRED = "165 ms"
CRANKS = "150 mm"
GAINS = np.linspace(0.3, 0.8, 51)


def stick() -> float:
    """Critical delay of a stick, answered by lean and its rate."""
    return float(delay.critical_delay(STICK))


def taller() -> float:
    """Critical delay of the machine with the rider's centre of mass higher up."""
    return _taller().critical_delay


def _taller() -> stability.Stability:
    return stability.study(replace(build(), {"rider.centre_of_mass_height": TALLER}), case("harbour_hill"))


def greatest_gain() -> float:
    """Greatest gain on lean, over what just holds, of a pendulum with a given gain on lean rate."""
    from scipy.optimize import brentq

    def rate_gain(frequency: float) -> float:
        return delay.hopf_curve(RATE, LATE, frequency).derivative / RATE - ON_RATE

    return delay.hopf_curve(RATE, LATE, brentq(rate_gain, 0.1, 0.5 * np.pi / LATE)).proportional / RATE**2


def doubling_time() -> float:
    """Time in which the sway doubles when the rider is late and the gains are those learned before."""
    return tired().changing_time


def tired() -> stability.Stability:
    """The example build with a late rider who has not learned anew."""
    return stability.study(replace(build(), {"rider.reaction_delay": TIRED}), case("harbour_hill"), learned=build())


def longer_budget() -> float:
    """Delay at which the gains as learned fail, with longer cranks."""
    return stability.study(replace(build(), {"cranks.length": CRANKS}), case("harbour_hill"), learned=build()).delay_budget


@cache
def _as_learned() -> loops.Loop:
    whole = build()
    return loops.loop(loops.completed(whole), case("harbour_hill"), whole.gears.named())


def budget_with(gain: float) -> float:
    """Delay at which the gains as learned fail, with one assist gain for both directions."""
    return stability.budget(replaced(_as_learned(), driving_gain=gain, resisting_gain=gain))


@cache
def latest_gain() -> float:
    """The assist gain, in steps of 0.01, with which the rider may be latest."""
    return float(GAINS[np.argmax([budget_with(float(gain)) for gain in GAINS])])


_OWN = build().gears.named()

declare(
    Exercise(
        "stability.1",
        "time",
        stick,
        hints=(
            Slip(np.sqrt(2), "that is the limit of one who answers the acceleration as well"),
            Slip(1 / np.sqrt(2), "that is the time in which a lean grows by the factor e; the critical delay is longer"),
        ),
    ),
    Exercise(
        "stability.2",
        "time",
        taller,
        hints=(
            Slip(
                _taller().toppling_rate / _taller().toppling_rate_fixed, "that is with the axle held: the wheel rolls away under the body"
            ),
            Slip(np.sqrt(2), "that is the limit of one who answers the acceleration as well"),
        ),
    ),
    Exercise(
        "stability.3",
        "ratio",
        greatest_gain,
        hints=(Slip(1 / greatest_gain(), "that is the least gain that holds; the greatest is asked for"),),
    ),
    Exercise(
        "stability.4",
        "time",
        doubling_time,
        tolerance=0.02,
        hints=(
            Slip(1 / np.log(2), "that is the time for a growth by the factor e; twice is asked for"),
            Slip(1 / tired().frequency / doubling_time(), "that is the time of one sway to and fro"),
        ),
    ),
    Exercise(
        "stability.5",
        "time",
        longer_budget,
        hints=(
            Slip(
                stability.study(build(), case("harbour_hill")).delay_budget / longer_budget(),
                "that is with the cranks as built: push longer ones on first",
            ),
        ),
    ),
    Exercise(
        "stability.6",
        "ratio",
        latest_gain,
        tolerance=0.08,
        hints=(
            Slip(
                build().assist.resisting_gain[_OWN.name] / latest_gain(),
                "that is the gain as set for resisting: does a little more help or harm?",
            ),
        ),
    ),
)
