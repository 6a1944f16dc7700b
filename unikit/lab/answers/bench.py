"""Answers of the lesson on a motor on the bench."""

from __future__ import annotations

import math
from functools import cache

from ...formulas import magnetics, motor
from ...inputs import load_bench
from ...inputs.bench import Bench
from ...studies import motor_bench
from ..exercises import Exercise, Slip, declare
from . import DATA, build

LIMIT = 62.0  # A, the controller's phase current limit of the commuter
WARM = 80.0  # °C


@cache
def record() -> Bench:
    """The example record, as its files stand."""
    return load_bench(DATA / "bench" / "harbour_hub.toml")


@cache
def found(*left_out: str) -> motor_bench.MotorBench:
    """The motor of the example record."""
    return motor_bench.study(build(), record(), left_out)


def own_power_error() -> float:
    """Half of the interval of the eddy drag if the motor was never spun from outside with a torque meter."""
    alone = found("spun_cold", "spun_warm")
    return (alone.eddy_drag_high - alone.eddy_drag_low) / 2


def torque_at_limit() -> float:
    """Torque at the controller's limit, by torque constant and saturation current of the bench."""
    return float(magnetics.saturated_torque(LIMIT, found().torque_constant_peak, found().saturation_current))


def warm_constant() -> float:
    """Torque constant with the magnets at 80 °C."""
    reference = found().reference_temperature - 273.15
    return float(motor.magnet_at(found().torque_constant_peak, WARM, reference, found().magnet_temperature_coefficient))


def drag_share() -> float:
    """Share of the drag at 20 rad/s that does not depend on speed."""
    return found().hysteresis_torque / float(motor.iron_drag(20.0, found().hysteresis_torque, found().eddy_drag))


declare(
    Exercise(
        "bench.1",
        "torque",
        torque_at_limit,
        hints=(
            Slip(
                LIMIT * found().torque_constant_peak / torque_at_limit(),
                "that is torque constant times current: at this current the iron saturates",
            ),
            Slip(
                float(magnetics.saturated_torque(LIMIT / math.sqrt(2), found().torque_constant_peak, found().saturation_current))
                / torque_at_limit(),
                "the limit is a peak already: did you divide by the root of two?",
            ),
        ),
    ),
    Exercise(
        "bench.2",
        "torque constant",
        warm_constant,
        0.005,
        hints=(Slip(found().torque_constant_peak / warm_constant(), "that is the torque constant at the reference temperature"),),
    ),
    Exercise(
        "bench.3",
        "ratio",
        drag_share,
        0.02,
        hints=("percent for fraction", Slip((1 - drag_share()) / drag_share(), "that is the share that grows with speed")),
    ),
    Exercise(
        "bench.4",
        "drag per rotation",
        own_power_error,
        0.02,
        hints=(
            Slip(2.0, "that is the whole width of the interval, from end to end"),
            Slip(
                (found().eddy_drag_high - found().eddy_drag_low) / 2 / own_power_error(),
                "that is with all runs: leave the two spun ones out",
            ),
        ),
    ),
)
