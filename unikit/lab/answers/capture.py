"""Answers of the lesson on capture and cut-out."""

from __future__ import annotations

from ...formulas import capture as formulas
from ...inputs import replace
from ...studies import capture, cut_out
from ..exercises import Exercise, Slip, declare, forgot
from . import build, case

LEAN, RATE, MASS, HEIGHT, INERTIA = 0.05, 6.4, 80.0, 0.85, 9.0
BUMP = 0.20
SLOPE, SPEED = 0.03, 4.0


def speed_loss() -> float:
    """Sudden loss of speed that turns the body as fast as the lean that can be caught."""
    return formulas.capture_speed_loss(LEAN, RATE, MASS, HEIGHT, INERTIA)


def fastest(bump: float = BUMP) -> float:
    """Balance-limited speed on the quays with a larger bump."""
    return capture.study(build(), case("flat_cruise"), bump=bump).balance_limited_speed


def largest_gain() -> float:
    """Largest gain whose loss can be caught on a slope without trim."""
    return cut_out.settings(build(), case("harbour_hill"), slopes=(SLOPE,), speeds=(SPEED,)).largest_gain_alone[0]


def ramped_margin(length: float) -> float:
    """Margin of an intended cut-back on the hill with cranks of some length."""
    return cut_out.study(replace(build(), {"cranks.length": length}), case("harbour_hill")).ramped_margin


def crank() -> float:
    """Shortest cranks with which the cut-back over the ramp can be caught on the hill, the factor counted."""
    from scipy.optimize import brentq

    return brentq(lambda length: ramped_margin(length) - 1.0, 0.11, 0.20)


_WITHOUT_FACTOR = capture.study(build(), case("flat_cruise"), bump=BUMP / capture.FACTOR).balance_limited_speed

declare(
    Exercise(
        "capture.1",
        "speed",
        speed_loss,
        hints=(
            Slip(MASS * HEIGHT**2 / (MASS * HEIGHT**2 + INERTIA), "you seem to have left out the body's own inertia: J is m l² and more"),
            forgot("the toppling rate", RATE),
            "km/h for m/s",
        ),
    ),
    Exercise(
        "capture.2",
        "speed",
        fastest,
        hints=(
            Slip(fastest(capture.BUMP) / fastest(), "that is the speed for the smaller bump of the study: give it the larger one"),
            Slip(_WITHOUT_FACTOR / fastest(), "that covers the bump once: a closed form must cover it with its factor"),
            "km/h for m/s",
        ),
    ),
    Exercise(
        "capture.3",
        "ratio",
        largest_gain,
        hints=(
            Slip(
                cut_out.settings(build(), case("harbour_hill"), slopes=(0.06,), speeds=(SPEED,)).largest_gain_alone[0] / largest_gain(),
                "that is the gain for the hill of the case: the slope here is another one",
            ),
            "percent for fraction",
        ),
    ),
    Exercise(
        "capture.4",
        "length",
        crank,
        tolerance="1 mm",
        hints=(Slip(build().cranks.length / crank(), "those are the cranks as built: with them the cut-back is not quite caught"),),
    ),
)
