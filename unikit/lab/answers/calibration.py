"""Answers of the lesson on weights on a crank."""

from __future__ import annotations

import math
from functools import cache

from ...formulas import calibration as formulas
from ...inputs import Build, load_bench
from ...inputs.bench import Bench
from ...studies import calibrated, calibration, weighed
from ..exercises import Exercise, Slip, declare
from . import DATA
from . import build as example

MASS, LENGTH, ANGLE = 25.0, 0.150, 20.0  # kg, m, degrees
LENGTH_DOUBT = 0.6e-3  # m
OUTPUT, WARM = 1.980, 313.15  # V, K
RISE = 20.0  # K


@cache
def record() -> Bench:
    """The example record, as its files stand."""
    return load_bench(DATA / "bench" / "harbour_crank.toml")


@cache
def build() -> Build:
    """The example build with the electronics of the sensor as believed."""
    return weighed.with_sensor(example())


@cache
def found(*left_out: str) -> calibration.Calibration:
    """The sensor of the example record."""
    return calibration.study(record(), left_out)


def hung() -> float:
    """Torque of 25 kg on a crank of 150 mm, 20 degrees from the horizontal."""
    return float(formulas.hung_torque(MASS, 9.81, LENGTH, math.radians(ANGLE)))


def crank_share() -> float:
    """95 % half width of the gain, as a share, if the crank were all that is not known: 0.6 mm of 150 mm."""
    made = formulas.hung_torque_uncertain(MASS, 9.81, LENGTH, 0.0, 0.0, 0.0, LENGTH_DOUBT, 0.0)
    return 1.96 * float(made.deviation / made.torque)


def torque_of_reading() -> float:
    """Torque that the sensor of the record means by 1980 mV at 40 °C."""
    return calibrated.torque_at(found(), OUTPUT, WARM).torque


def phantom() -> float:
    """Motor torque that answers the drift of the zero after 20 K of warming, without a dead band."""
    return example().assist.driving_gain["long"] * abs(found().zero_drift) * RISE


def cold_alone() -> float:
    """Half of the interval of the offset if the sensor was never warm."""
    alone = found(*(name for name in weighed.SERIES if name.startswith("warm")))
    return (alone.offset_high - alone.offset_low) / 2


def _cold_torque() -> float:
    line = found().estimate.line() | {"zero_drift": 0.0, "gain_drift": 0.0}
    return float(formulas.torque_of_output(OUTPUT, WARM, **line))


declare(
    Exercise(
        "calibration.1",
        "torque",
        hung,
        hints=(
            "mass for weight",
            Slip(1 / math.cos(math.radians(ANGLE)), "that is the torque of a level crank: only its horizontal part is an arm"),
            Slip(math.tan(math.radians(ANGLE)), "that takes the sine: the angle is counted from the horizontal"),
        ),
    ),
    Exercise(
        "calibration.2",
        "ratio",
        crank_share,
        0.02,
        hints=("percent for fraction", Slip(1 / 1.96, "that is one standard deviation: 95 % asks for 1.96 of them")),
    ),
    Exercise(
        "calibration.3",
        "torque",
        torque_of_reading,
        0.003,
        hints=(Slip(_cold_torque() / torque_of_reading(), "that is by the line at 20 °C: the sensor is 20 K warmer"),),
    ),
    Exercise(
        "calibration.4",
        "torque",
        phantom,
        0.02,
        hints=(Slip(1 / example().assist.driving_gain["long"], "that is at the crank: the motor answers with the assist gain"),),
    ),
    Exercise(
        "calibration.5",
        "voltage",
        cold_alone,
        0.02,
        hints=(
            Slip(2.0, "that is the whole width of the interval, from end to end"),
            Slip((found().offset_high - found().offset_low) / 2 / cold_alone(), "that is with all series: leave the warm ones out"),
        ),
    ),
)
