"""Rider: reaction delay and gains from a log of a ride, with how well they are known."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .. import units as u
from ..formulas import identification
from ..inputs import Build, Log, Spread, replace
from ..inputs.spreads import write_spread
from .results import Result, shown

LAGS = (0.02, 0.06)  # s, the range that the muscle lag is thought to lie in


@dataclass(frozen=True)
class Assumed:
    """What a log does not tell and has to be said; the standard values are assumed, not measured."""

    muscle_lag: u.Second = 0.03
    leg_damping: u.NewtonMetreSecondPerRadian = 2.0
    leg_stiffness: u.NewtonMetrePerRadian = 40.0
    replanning_time: u.Second = 0.2
    lean_rate_noise: u.RadianPerSecond = 0.0


@dataclass(frozen=True)
class RiderResult(Result):
    """The rider of a log; the ends are those of 95 % intervals."""

    log: str = shown("log")
    duration: u.Second = shown("duration", "s", 0)
    sampling_rate: u.Hertz = shown("samples per second", "Hz", 0)
    delay: u.Second = shown("reaction delay", "ms", 1)
    delay_low: u.Second = shown("reaction delay, low end", "ms", 1)
    delay_high: u.Second = shown("reaction delay, high end", "ms", 1)
    delay_quick_muscle: u.Second = shown("reaction delay if the muscle lag is 20 ms", "ms", 1)
    delay_slow_muscle: u.Second = shown("reaction delay if the muscle lag is 60 ms", "ms", 1)
    muscle_lag: u.Second = shown("muscle lag, assumed", "ms", 0)
    proportional: u.NewtonMetrePerRadian = shown("pedal torque per lean", "N*m/deg", 2)
    proportional_low: u.NewtonMetrePerRadian = shown("pedal torque per lean, low end", "N*m/deg", 2)
    proportional_high: u.NewtonMetrePerRadian = shown("pedal torque per lean, high end", "N*m/deg", 2)
    derivative: u.NewtonMetreSecondPerRadian = shown("pedal torque per lean rate", "N*m*s/rad", 1)
    derivative_low: u.NewtonMetreSecondPerRadian = shown("pedal torque per lean rate, low end", "N*m*s/rad", 1)
    derivative_high: u.NewtonMetreSecondPerRadian = shown("pedal torque per lean rate, high end", "N*m*s/rad", 1)
    acceleration: u.KilogramSquareMetre | None = shown("pedal torque per lean acceleration", "kg*m^2", 2)
    acceleration_low: u.KilogramSquareMetre | None = shown("pedal torque per lean acceleration, low end", "kg*m^2", 2)
    acceleration_high: u.KilogramSquareMetre | None = shown("pedal torque per lean acceleration, high end", "kg*m^2", 2)
    explained: u.Ratio = shown("share of the pedal torque explained", "%", 1)
    remnant: u.NewtonMetre = shown("what is left, standard deviation", "N*m", 2)
    remnant_time: u.Second = shown("memory of what is left", "s", 2)
    effective_samples: u.Number = shown("independent samples of what is left", "", 0)
    noise_order: u.Number = shown("order of the noise model", "", 0)
    assumed: Assumed = field(repr=False, kw_only=True)
    fit: identification.RiderFit = field(repr=False, kw_only=True)

    @property
    def delay_error(self) -> u.Second:
        """Standard error of the delay, with the doubt about the muscle lag as that of a uniform range."""
        doubt = abs(self.delay_slow_muscle - self.delay_quick_muscle) / np.sqrt(12)
        return float(np.hypot(self.fit.delay_error, doubt))


def study(
    log: Log,
    assumed: Assumed | None = None,
    predictive: bool = False,
    noise_order: int | None = None,
    longest_delay: u.Second = 0.35,
) -> RiderResult:
    """Find the rider of a log.

    The log must hold lean rate and pedal torque.  Road speed, where it is
    there, lets the rider lean back when too fast; the crank rate is needed to
    take the legs' own resistance off.  ``noise_order=0`` is plain least
    squares, which is wrong here and shown in the lesson for that.
    """
    said = assumed or Assumed()

    def fit(muscle_lag: float) -> identification.RiderFit:
        return identification.rider(
            log["lean_rate"],
            log["pedal_torque"],
            log.sampling_rate,
            muscle_lag=muscle_lag,
            predictive=predictive,
            speed=log.get("speed"),
            crank_rate=log.get("crank_rate"),
            leg_damping=said.leg_damping,
            leg_stiffness=said.leg_stiffness,
            replanning_time=said.replanning_time,
            longest_delay=longest_delay,
            noise_order=noise_order,
            lean_rate_noise=said.lean_rate_noise,
        )

    if (said.leg_damping or said.leg_stiffness) and "crank_rate" not in log:
        raise ValueError(
            f"log {log.name!r} has no crank_rate: without it the legs' own resistance cannot be taken off; "
            "record it, or assume legs without damping and stiffness and expect too short a delay"
        )
    found = fit(said.muscle_lag)
    quick, slow = (fit(lag).delay for lag in LAGS)
    ends = {}
    for name in ("proportional", "derivative", "acceleration"):
        value, half = getattr(found, name), identification.INTERVAL * getattr(found, f"{name}_error")
        known = name != "acceleration" or predictive
        ends |= {name: value, f"{name}_low": value - half, f"{name}_high": value + half} if known else {name: None}
    if not predictive:
        ends |= {"acceleration_low": None, "acceleration_high": None}
    return RiderResult(
        log=log.name,
        duration=log.duration,
        sampling_rate=log.sampling_rate,
        delay=found.delay,
        delay_low=found.delay_low,
        delay_high=found.delay_high,
        delay_quick_muscle=quick,
        delay_slow_muscle=slow,
        muscle_lag=said.muscle_lag,
        **ends,
        explained=found.explained,
        remnant=float(np.std(found.remainder)),
        remnant_time=found.noise_time,
        effective_samples=found.effective_samples,
        noise_order=found.noise_order,
        assumed=said,
        fit=found,
    )


def resting_noise(log: Log) -> u.RadianPerSecond:
    """Standard deviation of the lean rate's white noise, from a log of the machine at rest; drift does not count."""
    rate = log["lean_rate"]
    if len(rate) < 200:
        raise ValueError(f"log {log.name!r} must hold at least 200 samples of the machine at rest, got {len(rate)}")
    return float(np.std(np.diff(rate)) / np.sqrt(2))


def with_rider(build: Build, found: RiderResult) -> Build:
    """The build with the rider of the log: the delay with its doubt as a spread, and what was assumed for muscle and legs.

    The gains stay behind: a build's rider is tuned anew to the wheel learned on.
    """
    said = found.assumed
    return replace(
        build,
        {
            "rider.reaction_delay": write_spread(Spread("normal", (found.delay, found.delay_error)), "time", "s"),
            "rider.prediction": "rate" if found.acceleration is None else "acceleration",
            "rider.muscle_lag": said.muscle_lag,
            "rider.leg_damping": said.leg_damping,
            "rider.leg_stiffness": said.leg_stiffness,
            "rider.replanning_time": said.replanning_time,
        },
    )
