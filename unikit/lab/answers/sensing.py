"""Expected answers of the lesson on the sensing chain."""

from __future__ import annotations

from functools import cache

from ...inputs import Build, replace
from ...studies import sensing, torque_chain
from ...studies.torque_chain import BACK, FORWARD
from ..exercises import Exercise, Slip, declare
from . import build, case

GAIN = 0.45  # assist gain wanted
STRONGER = 550.0  # amplifier gain
WEAKER = 250.0  # amplifier gain that asks for a softer shaft
DRIFT = 0.12  # N*m/K
SAMPLES = 32
FINE = 0.01  # of a trim step


def chain(**fields: float) -> Build:
    """The example build with another chain."""
    return replace(build(), {f"sensor.chain.{name}": value for name, value in fields.items()})


def signal(one: Build) -> torque_chain.Signal:
    """Its signal in the engaged gear."""
    return torque_chain.signal(one, one.gears.named())


def scale(way: int = FORWARD) -> float:
    """Input scale for the gain wanted."""
    return signal(replace(build(), {"assist.driving_gain.long": GAIN})).scale(way)


def followed(way: int = BACK) -> float:
    """Push at which the chain with the stronger amplifier ends."""
    return signal(chain(amplifier_gain=STRONGER)).saturation(way)[0]


@cache
def bore(reserve: float = sensing.RESERVE) -> float:
    """Bore that makes up for the weaker amplifier."""
    made = sensing.size(chain(amplifier_gain=WEAKER), case("harbour_hill"), change="bore", reserve=reserve)
    return made.build.sensor.chain.shaft_bore


def warming(at_crank: bool = False) -> float:
    """Warming after which the drifted zero commands one trim step."""
    gain = 1.0 if at_crank else signal(build()).gain(FORWARD)
    return build().assist.trim_step / (gain * DRIFT)


def rate() -> float:
    """Sampling frequency with which the longer average keeps the dead time."""
    part = build().sensor
    return SAMPLES / (2 * (part.dead_time - part.chain.processing_time))


def bits(at_crank: bool = False) -> int:
    """Fewest bits whose step in commanded torque is at most the share asked of a trim step."""
    wanted, one = FINE * build().assist.trim_step, signal(build())
    gain = 1.0 if at_crank else one.gain(FORWARD)
    return next(count for count in range(6, 25) if gain * one.step * 2 ** (one.chain.converter_bits - count) <= wanted)


declare(
    Exercise(
        "sensing.1",
        "ratio",
        scale,
        hints=(
            Slip(scale(BACK) / scale(), "that is the scale for holding back, whose gain was left alone"),
            Slip(1 / scale() ** 2, "the other way up"),
        ),
    ),
    Exercise(
        "sensing.2",
        "torque",
        followed,
        hints=(
            "sign",
            Slip(followed(FORWARD) / followed(), "that is the way of driving: holding back, the voltage falls towards the lower end"),
            Slip(signal(build()).saturation(BACK)[0] / followed(), "that is with the amplifier as built"),
        ),
    ),
    Exercise(
        "sensing.3",
        "length",
        bore,
        tolerance="0.05 mm",
        hints=(
            Slip(0.5, "the factor is 2: a bore is a diameter"),
            Slip(bore(1.0) / bore(), "that leaves no reserve over the hardest push"),
        ),
    ),
    Exercise(
        "sensing.4",
        "temperature rise",
        warming,
        hints=(Slip(warming(True) / warming(), "that is a trim step at the crank: at the wheel the assist gain comes in"),),
    ),
    Exercise(
        "sensing.5",
        "frequency",
        rate,
        hints=(
            Slip((SAMPLES - 1) / SAMPLES, "you seem to have left out the half period for which a sample is held"),
            Slip(2.0, "the factor is 2: an average is late by half of its length"),
            Slip(
                (build().sensor.dead_time - build().sensor.chain.processing_time) / build().sensor.dead_time,
                "you seem to have left out the time for computing and sending",
            ),
        ),
    ),
    Exercise(
        "sensing.6",
        "number",
        bits,
        hints=(
            Slip(bits(True) / bits(), "that is finer than needed: at the wheel a step is smaller than at the crank, by the assist gain"),
        ),
    ),
)
