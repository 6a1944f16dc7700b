"""Answers of the lesson on routes and climb."""

from __future__ import annotations

from functools import cache

from ...formulas import profile
from ...inputs import read_route
from ...studies import routes
from ..exercises import Exercise, Slip, declare
from . import DATA

LONGER = 80.0  # m of smoothing
SCATTER, APART = 1.2, 4.0  # m: of a worse recorder
WANTED = 0.005  # doubt of a slope
CLOSING, PART = 9.0, 0.25  # m of drift at the end, and the share of the way that is asked for


@cache
def hill(smoothing: float) -> routes.Routes:
    """The recorded way over the hill."""
    return routes.study(read_route(DATA / "routes" / "over_the_hill.gpx"), smoothing)


def climb_with_longer_smoothing() -> float:
    """Climb over the hill with a longer smoothing."""
    return hill(LONGER).climb


def steepest_with_longer_smoothing() -> float:
    """The steepest 100 m up with it."""
    return hill(LONGER).steepest


def doubt_of_a_slope() -> float:
    """What the worse recorder leaves in doubt of a slope at the usual smoothing."""
    return float(profile.slope_noise(SCATTER, APART, 30.0))


def smoothing_for_the_doubt() -> float:
    """Smoothing length at which the worse recorder's slopes are as sure as wanted."""
    return 30.0 * (doubt_of_a_slope() / WANTED) ** (2 / 3)


def doubt_of_drift() -> float:
    """What drift leaves in doubt of the altitude at a share of a closed way."""
    return float(profile.drift_left(PART, 1.0, CLOSING))


declare(
    Exercise(
        "routes.1",
        "length",
        climb_with_longer_smoothing,
        "1 m",
        hints=(
            Slip(hill(LONGER).climb_recorded / climb_with_longer_smoothing(), "that is the climb as the file has it, faults and all"),
            Slip(
                hill(LONGER).climb_mended / climb_with_longer_smoothing(), "that is the climb of the mended points: they are not smoothed"
            ),
        ),
    ),
    Exercise("routes.2", "slope", steepest_with_longer_smoothing, 0.01, hints=("percent for fraction",)),
    Exercise(
        "routes.3",
        "slope",
        doubt_of_a_slope,
        hints=(
            "percent for fraction",
            Slip(
                (0.35 / SCATTER) * (7.0 / APART) ** 0.5,
                "that is the doubt of the demo's recorder: take the scatter and the spacing of the other",
            ),
        ),
    ),
    Exercise(
        "routes.4",
        "length",
        smoothing_for_the_doubt,
        hints=(
            Slip(
                30.0 * doubt_of_a_slope() / WANTED / smoothing_for_the_doubt(),
                "the doubt does not fall as one over the length: look at the power in the formula",
            ),
        ),
    ),
    Exercise(
        "routes.5",
        "length",
        doubt_of_drift,
        hints=(
            Slip(0.5 * CLOSING / doubt_of_drift(), "that is the doubt half way: a quarter of the way is nearer to an end that is known"),
            Slip(PART * CLOSING / doubt_of_drift(), "that is the drift that is taken out there, not what stays in doubt"),
        ),
    ),
)
