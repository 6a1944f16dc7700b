"""Expected answers of the lesson on range with doubt."""

from __future__ import annotations

from functools import cache
from typing import Any

from ...inputs import Case, Route, load_route, replace, thinned
from ...studies import journey, outlook
from ..exercises import Exercise, Slip, declare
from . import DATA, build, case

EVENING = {"wind_speed": "6 m/s ± 1.5 m/s", "wind_from": "250 deg ± 25 deg", "state_of_charge": "42 % ± 3 %"}
STEPS, RIDES = 505, 64  # of the route and of the draws, as in the lesson
SLOW, MORE, PROBABILITY, ERROR = "13 km/h", "18 %", 0.85, 0.01


@cache
def hill() -> Route:
    """The route of the lesson."""
    return load_route(DATA / "routes" / "over_the_hill.gpx")


def evening(**changes: Any) -> Case:
    """The case of the lesson."""
    return replace(case("head_wind"), EVENING | changes)


@cache
def ridden(gear: str | None = None, powered: bool = True, **changes: Any) -> journey.Journey:
    """The lesson's ride with another gear, or other fields of the case."""
    # the march in plain Python gives the same numbers, and nobody waits for a compiler at the import of a lesson
    return journey.study(build(), evening(**changes), hill(), build().gears.named(gear or "long"), powered, compiled=False)


@cache
def just_home() -> float:
    """The least charge at the start with which nominal numbers get home."""
    from scipy.optimize import brentq

    return brentq(lambda charge: ridden(state_of_charge=charge).range - hill().length, 0.2, 0.6, xtol=1e-4)


@cache
def chance(held_back: str = MORE) -> float:
    """Probability of getting home with another charge held back, by the draws of the lesson."""
    return outlook.study(replace(build(), {"packs.held_back": held_back}), evening(), thinned(hill(), STEPS), count=RIDES).chance


def plain_draws(share: float = PROBABILITY, error: float = ERROR) -> float:
    """Draws, each by itself, for a standard error of a probability."""
    return share * (1 - share) / error**2


declare(
    Exercise(
        "journey.1",
        "specific energy",
        lambda: ridden(wanted_speed=SLOW).consumption,
        hints=(
            Slip(3.6, "the factor is 3.6: joule per metre or watt-hour per kilometre?"),
            Slip(1 / 3.6, "the factor is 3.6: joule per metre or watt-hour per kilometre?"),
            Slip(
                ridden().consumption / ridden(wanted_speed=SLOW).consumption, "that is at the speed that the case wants as its file stands"
            ),
        ),
    ),
    Exercise(
        "journey.2",
        "ratio",
        just_home,
        hints=(
            Slip(1 - build().packs.held_back / just_home(), "that is what the ride takes: what is held back must be in the packs as well"),
            "percent for fraction",
        ),
    ),
    Exercise(
        "journey.3",
        "number",
        plain_draws,
        hints=(
            Slip(ERROR, "that is without a square: the error falls with the root of the number of draws"),
            Slip(1 / (1 - PROBABILITY), "the variance of a yes or no is p(1 − p), not p alone"),
        ),
    ),
    Exercise(
        "journey.4",
        "time",
        lambda: ridden("direct", powered=False).time,
        hints=(
            Slip(ridden("direct").time / ridden("direct", powered=False).time, "that is with the motor: powered=False"),
            Slip(ridden(powered=False).time / ridden("direct", powered=False).time, "that is in the long gear, the engaged one"),
        ),
    ),
    Exercise(
        "journey.5",
        "ratio",
        chance,
        0.02,
        hints=(
            Slip(chance(f"{build().packs.held_back:.0%}") / chance(), "that is with the charge held back as the file has it"),
            Slip((1 - chance()) / chance(), "that is the probability of not getting home"),
        ),
    ),
)
