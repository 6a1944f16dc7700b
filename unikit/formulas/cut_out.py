"""What a lost motor does to the lean over time, and how much trim or gain may be lost at all.

All of it is the straight-line machine: lean grows with the toppling rate, and
the legs answer with what they have left, late.  What may be lost is told by
:func:`capture.cut_out_limit`; here it is solved for the settings of the assist.
"""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import not_negative, positive, within
from .reflex import Reflex
from .registry import formula

_LIMITS = "motor below its limits; the pedals work in one direction before and after"


def _growth(time: u.Values, rate: u.Values) -> u.Values:
    """Lean over stiffness of a torque of 1 that begins at time 0."""
    return 2 * np.sinh(rate * np.maximum(time, 0.0) / 2) ** 2


def _ramp(time: u.Values, rate: u.Values) -> u.Values:
    """The same for a torque that grows by 1 per unit of time."""
    time = np.maximum(time, 0.0)
    return np.sinh(rate * time) / rate - time


def _lagged(time: u.Values, rate: u.Values, lag: u.Values) -> u.Values:
    """The same for a torque that comes through a lag of first order."""
    time = np.maximum(time, 0.0)
    lag = np.maximum(lag, 1e-9)
    lag = np.where(np.abs(lag * rate - 1) < 1e-5, (1 + 1e-5) / rate, lag)  # the two parts have a common limit there
    square = (lag * rate) ** 2
    late = square * (np.exp(-time / lag) - np.cosh(rate * time)) + lag * rate * np.sinh(rate * time)
    return _growth(time, rate) - late / (1 - square)


@formula(
    equation=r"\ddot\theta = \Omega^2\theta + \frac{\Omega^2}{S}\,[T(t) - T_h(t)],\quad T = T_{m0}\min(t/t_r, 1),\quad"
    r" T_h = T_a\,(1 - e^{-(t - \tau_h)/\tau_m})\ \text{from}\ t = \tau_h",
    source="rolling_pendulum",
    sign="positive the way the lost torque lets the body fall",
    valid="small lean, speed kept; the answer begins with the loss and stays at its limit",
)
def lean_after_loss(
    time: u.Second,
    toppling_rate: u.RadianPerSecond,
    static_stiffness: u.NewtonMetrePerRadian,
    reflex: Reflex,
    lost_torque: u.NewtonMetre,
    answer_torque: u.NewtonMetre = 0.0,
    ramp_time: u.Second = 0.0,
) -> u.Radian:
    """Lean that has grown at a time after a wheel torque began to go; without an answer unless one is given.

    Args:
        time: time since the loss began.
        toppling_rate: rate at which a lean grows.
        static_stiffness: wheel torque per lean that just keeps the body from falling.
        reflex: the rider; delay and muscle lag count.
        lost_torque: wheel torque that is lost in the end.
        answer_torque: wheel torque with which the legs answer from the delay on.
        ramp_time: time over which the torque goes evenly; 0 for at once.

    >>> rider = Reflex(300.0, 54.0, 0.0, 0.02, 0.1, 0.03, 2.0, 40.0, 0.2)
    >>> left, answered = (lean_after_loss(0.5, 6.44, 221.0, rider, 11.3, torque) for torque in (0.0, 20.0))
    >>> round(float(np.degrees(left)), 1), round(float(np.degrees(answered)), 1)
    (33.8, 10.2)
    """
    not_negative("time", time)
    positive("toppling_rate", toppling_rate)
    positive("static_stiffness", static_stiffness)
    not_negative("reflex.delay", reflex.delay)
    not_negative("reflex.muscle_lag", reflex.muscle_lag)
    not_negative("ramp_time", ramp_time)
    time, rate = np.asarray(time, float), np.asarray(toppling_rate, float)
    ramped = np.asarray(ramp_time) > 0
    span = np.where(ramped, ramp_time, 1.0)
    lost = np.where(ramped, (_ramp(time, rate) - _ramp(time - span, rate)) / span, _growth(time, rate))
    return (lost_torque * lost - answer_torque * _lagged(time - reflex.delay, rate, reflex.muscle_lag)) / static_stiffness


def _check(gear_leverage, steady_torque, greatest_torque, replaced_share, factor) -> None:
    positive("gear_leverage", gear_leverage)
    not_negative("steady_torque", steady_torque)
    not_negative("greatest_torque", greatest_torque)
    within("replaced_share", replaced_share, 0.0, 1.0)
    if not np.all(np.asarray(factor) >= 1):
        raise ValueError(f"factor must be 1 or above, got {factor}")


@formula(
    equation=r"T_t = \frac{c\lambda\,[(\lambda + k)\,T_\max - T_0] - f k\,T_0}{\lambda\,(f - c)},\quad 0 \le T_t \le T_0",
    source="capture_point, virtual_work",
    sign="all positive in the direction in which the pedals work",
    valid=_LIMITS,
)
def largest_trim(
    steady_torque: u.NewtonMetre,
    gear_leverage: u.Ratio,
    assist_gain: u.Ratio,
    greatest_torque: u.NewtonMetre,
    replaced_share: u.Ratio,
    factor: u.Ratio = 1.0,
) -> u.NewtonMetre:
    """Largest trim torque that may be lost together with the assist; 0 where the assist alone is too much already.

    Args:
        steady_torque: wheel torque that legs and motor give together, the motor's drag counted; trim beyond it is not looked at.
        gear_leverage: wheel torque per crank torque through the gear alone.
        assist_gain: motor torque at the wheel per torque at the crank.
        greatest_torque: crank torque that the legs can give.
        replaced_share: share of what the legs have left that a loss at once may have.
        factor: by how much the legs must have more than they need.

    >>> round(float(largest_trim(24.0, 0.65, 0.35, 60.0, 0.44)), 2), float(largest_trim(24.0, 0.65, 0.35, 60.0, 0.44, factor=1.5))
    (5.21, 0.0)
    """
    _check(gear_leverage, steady_torque, greatest_torque, replaced_share, factor)
    not_negative("assist_gain", assist_gain)
    legs = gear_leverage * ((gear_leverage + assist_gain) * greatest_torque - steady_torque)
    spare = replaced_share * legs - factor * assist_gain * steady_torque
    weight = gear_leverage * (factor - np.asarray(replaced_share))
    with np.errstate(divide="ignore", invalid="ignore"):
        trim = np.where(weight > 0, spare / weight, np.where(spare >= 0, np.inf, 0.0))
    return np.clip(trim, 0.0, steady_torque)


@formula(
    equation=r"k = \lambda\,\frac{c\,(\lambda T_\max - T_0) - (f - c)\,T_t}{f T_0 - c\lambda T_\max}",
    source="capture_point, virtual_work",
    sign="all positive in the direction in which the pedals work",
    valid=_LIMITS,
)
def largest_gain(
    steady_torque: u.NewtonMetre,
    gear_leverage: u.Ratio,
    trim_torque: u.NewtonMetre,
    greatest_torque: u.NewtonMetre,
    replaced_share: u.Ratio,
    factor: u.Ratio = 1.0,
) -> u.Ratio:
    """Largest assist gain that may be lost together with the trim; inf where any may, 0 where the trim alone is too much already.

    Args:
        steady_torque: wheel torque that legs and motor give together, the motor's drag counted.
        gear_leverage: wheel torque per crank torque through the gear alone.
        trim_torque: steady motor torque dialled in; what is more than the steady torque counts as that.
        greatest_torque: crank torque that the legs can give.
        replaced_share: share of what the legs have left that a loss at once may have.
        factor: by how much the legs must have more than they need.

    >>> round(float(largest_gain(24.0, 0.65, 5.21, 60.0, 0.44)), 2), float(largest_gain(4.5, 0.65, 0.0, 60.0, 0.44))
    (0.35, inf)
    """
    _check(gear_leverage, steady_torque, greatest_torque, replaced_share, factor)
    not_negative("trim_torque", trim_torque)
    trim_torque = np.minimum(trim_torque, steady_torque)
    spare = replaced_share * (gear_leverage * greatest_torque - steady_torque) - (factor - np.asarray(replaced_share)) * trim_torque
    asked = factor * np.asarray(steady_torque) - replaced_share * gear_leverage * greatest_torque
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = np.where(asked > 0, gear_leverage * spare / asked, np.inf)
    return np.where(spare >= 0, gain, 0.0)
