"""Answers of the lesson on the review."""

from __future__ import annotations

from ...formulas import pedalling
from ...inputs import Build, replace
from ...studies import heat, review, ride
from ...studies.findings import FINDINGS
from ..exercises import Exercise, Slip, declare
from . import build, case

RULES = "european-union"
HOLDS = FINDINGS["endurance"].holds


def margin(whole: Build, name: str, key: str) -> float:
    """Margin of one finding of the engaged gear in one case."""
    found = review.review(whole, [case(name)], [whole.gears.named()])
    return next(one.margin for one in found.findings if one.key == key)


def heat_margin() -> float:
    """Margin of the magnets' rise on the hill."""
    return margin(build(), "harbour_hill", "magnet heat")


def verdict_on_rules() -> str:
    """The word that the review gives for a local rule."""
    found = review.review(build(), [replace(case("flat_cruise"), {"rules": RULES})])
    return next(one.verdict for one in found.findings if one.key == "local rules")


def with_gain(gain: float) -> Build:
    """The example build with another driving gain in the engaged gear."""
    return replace(build(), {f"assist.driving_gain.{build().gears.engaged}": gain})


def lasting_speed(times: float = HOLDS) -> float:
    """Speed against the wind that the legs hold for a multiple of the time of the case."""
    from scipy.optimize import brentq

    wind = case("head_wind")
    return brentq(
        lambda speed: ride.study(build(), replace(wind, {"speed": speed})).leg_power - _power(times), 0.5 * wind.speed, wind.speed
    )


def gain(times: float = HOLDS) -> float:
    """Driving gain with which the legs hold the case's own speed against the wind for a multiple of its time."""
    from scipy.optimize import brentq

    return brentq(lambda value: ride.study(with_gain(value), case("head_wind")).leg_power - _power(times), 0.0, 1.0)


def _power(times: float) -> float:
    """Leg power that lasts for a multiple of the time of the windy case."""
    rider = build().rider
    return pedalling.sustainable_power(times * case("head_wind").duration, rider.critical_power, rider.work_capacity)


def _by_temperatures() -> float:
    """The heat margin of who divides temperatures where rises are judged."""
    warm = heat.study(build(), case("harbour_hill"))
    return (warm.magnet_limit - 273.15) / (warm.magnet_end - 273.15)


declare(
    Exercise(
        "review.1",
        "ratio",
        heat_margin,
        hints=(
            Slip(_by_temperatures() / heat_margin(), "those are temperatures divided: take the air's temperature off both first"),
            Slip(heat_margin() ** -2, "upside down: a margin is what is available divided by what is required"),
            "percent for fraction",
        ),
    ),
    Exercise("review.2", "word", verdict_on_rules),
    Exercise(
        "review.3",
        "speed",
        lasting_speed,
        0.005,
        hints=(
            "km/h for m/s",
            Slip(lasting_speed(1.0) / lasting_speed(), "there the legs last just as long as the case: that is tight, not yet holding"),
        ),
    ),
    Exercise(
        "review.4",
        "ratio",
        gain,
        hints=(
            "percent for fraction",
            Slip(gain(1.0) / gain(), "there the legs last just as long as the case: that is tight, not yet holding"),
            Slip((gain() - build().assist.driving_gain["long"]) / gain(), "that is what must be added; the whole gain is asked for"),
        ),
    ),
)
