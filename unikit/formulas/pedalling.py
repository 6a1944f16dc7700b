"""What legs give over cadence, crank angle and time, and where the saddle goes."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from .. import units as u
from .checks import not_negative, positive, within
from .registry import formula
from .road import GRAVITY

_MEAN_SINE = 2.0 / math.pi


class CriticalPower(NamedTuple):
    """The two numbers of the critical-power model."""

    critical_power: u.Watt
    work_capacity: u.Joule


# -- over cadence ----------------------------------------------------------------


@formula(
    equation=r"\bar T = T_0\left(1 - \frac{\omega}{\omega_0}\right),\quad 0 \le \bar T \le T_0",
    source="gardner_2007",
    sign="torque and cadence positive forward",
    valid="short efforts of both legs; pedals that push back (cadence below 0) are taken to meet no more than the torque at rest",
)
def torque_at_cadence(
    zero_cadence_torque: u.NewtonMetre, zero_torque_cadence: u.RadianPerSecond, cadence: u.RadianPerSecond
) -> u.NewtonMetre:
    """Greatest crank torque at a cadence, as the mean over a turn.

    Args:
        zero_cadence_torque: where the torque-cadence line meets cadence 0, mean over a turn.
        zero_torque_cadence: where the line meets torque 0.
        cadence: crank turning rate.

    >>> torque_at_cadence(160.0, 24.0, 6.0), torque_at_cadence(160.0, 24.0, 30.0)
    (120.0, 0.0)
    """
    positive("zero_cadence_torque", zero_cadence_torque)
    positive("zero_torque_cadence", zero_torque_cadence)
    share = 1.0 - cadence / zero_torque_cadence
    if share.__class__ is float:
        return zero_cadence_torque * (0.0 if share < 0.0 else 1.0 if share > 1.0 else share)
    return zero_cadence_torque * np.clip(share, 0.0, 1.0)


@formula(equation=r"\omega_\mathrm{opt} = \frac{\omega_0}{2}", source="gardner_2007")
def optimal_cadence(zero_torque_cadence: u.RadianPerSecond) -> u.RadianPerSecond:
    """Cadence of the greatest short-time power on a straight torque-cadence line.

    Args:
        zero_torque_cadence: where the line meets torque 0.

    >>> optimal_cadence(24.0)
    12.0
    """
    positive("zero_torque_cadence", zero_torque_cadence)
    return zero_torque_cadence / 2


@formula(equation=r"P_\mathrm{max} = \frac{T_0\,\omega_0}{4}", source="gardner_2007")
def greatest_power(zero_cadence_torque: u.NewtonMetre, zero_torque_cadence: u.RadianPerSecond) -> u.Watt:
    """Greatest short-time power on a straight torque-cadence line.

    Args:
        zero_cadence_torque: where the line meets cadence 0, mean over a turn.
        zero_torque_cadence: where the line meets torque 0.

    >>> greatest_power(160.0, 24.0)
    960.0
    """
    positive("zero_cadence_torque", zero_cadence_torque)
    positive("zero_torque_cadence", zero_torque_cadence)
    return zero_cadence_torque * zero_torque_cadence / 4


# -- over the crank angle ----------------------------------------------------------


def _mean(floor: u.Ratio) -> u.Ratio:
    within("floor", floor, 0.0, 1.0)
    return floor + (1.0 - floor) * _MEAN_SINE


@formula(
    equation=r"g(\varphi) = \frac{f + (1-f)\,|\sin\varphi|}{f + (1-f)\,2/\pi}",
    source="rectified_sine",
    valid="an idealised shape of two equal legs; a measured rider differs",
)
def torque_shape(crank_angle: u.Radian, floor: u.Ratio) -> u.Ratio:
    """Crank torque over its own mean, along the turn.

    Args:
        crank_angle: angle of either crank from top dead centre.
        floor: torque at the dead centres over the peak torque.

    >>> round(float(torque_shape(1.5707963, 0.0)), 4), float(torque_shape(0.7, 1.0))
    (1.5708, 1.0)
    """
    return (floor + (1.0 - floor) * np.abs(np.sin(crank_angle))) / _mean(floor)


@formula(
    equation=r"\overline{g^2} = \frac{f^2 + \frac{4}{\pi} f(1-f) + \frac{1}{2}(1-f)^2}{\left(f + (1-f)\,2/\pi\right)^2}",
    source="rectified_sine",
)
def shape_mean_square(floor: u.Ratio) -> u.Ratio:
    """Mean of the squared torque over the square of the mean torque: what copper loss grows by.

    Args:
        floor: torque at the dead centres over the peak torque.

    >>> round(shape_mean_square(0.0), 4), shape_mean_square(1.0)
    (1.2337, 1.0)
    """
    mean = _mean(floor)
    rest = 1.0 - floor
    return (floor * floor + 2.0 * _MEAN_SINE * floor * rest + 0.5 * rest * rest) / (mean * mean)


@formula(equation=r"g_\mathrm{max} = \frac{1}{f + (1-f)\,2/\pi}", source="rectified_sine")
def shape_peak(floor: u.Ratio) -> u.Ratio:
    """Peak torque over mean torque.

    Args:
        floor: torque at the dead centres over the peak torque.

    >>> round(shape_peak(0.0), 4), shape_peak(1.0)
    (1.5708, 1.0)
    """
    return 1.0 / _mean(floor)


@formula(
    equation=r"|g_2| = \frac{(1-f)\,4/(3\pi)}{f + (1-f)\,2/\pi}",
    source="rectified_sine",
    sign="the torque at the dead centres is the low one",
)
def shape_second_harmonic(floor: u.Ratio) -> u.Ratio:
    """Amplitude of the torque pulse at twice the cadence, over the mean torque.

    Args:
        floor: torque at the dead centres over the peak torque.

    >>> round(shape_second_harmonic(0.0), 4)
    0.6667
    """
    return (1.0 - floor) * (2.0 / 3.0) * _MEAN_SINE / _mean(floor)


@formula(
    equation=r"T = m\,g\,L\,\sin\varphi,\quad g = 9.81",
    source="statics",
    sign="positive where the weight turns the crank forward",
)
def body_weight_torque(mass: u.Kilogram, crank_length: u.Metre, crank_angle: u.Radian) -> u.NewtonMetre:
    """Crank torque of a rider who stands with the whole weight on one pedal.

    Args:
        mass: mass that rests on the pedal.
        crank_length: crank length.
        crank_angle: angle of that pedal's crank from top dead centre, forward.

    >>> round(float(body_weight_torque(70.0, 0.15, 1.5707963)), 1)
    103.0
    """
    positive("mass", mass)
    positive("crank_length", crank_length)
    return mass * GRAVITY * crank_length * np.sin(crank_angle)


@formula(
    equation=r"n = 1 - \frac{2}{\pi}\arcsin\frac{T / \hat T - f}{1 - f}",
    source="rectified_sine",
    sign="sizes of torques",
    valid="two equal legs of which each pushes in its own half turn",
)
def turn_share(torque: u.NewtonMetre, greatest_torque: u.NewtonMetre, floor: u.Ratio = 0.0) -> u.Ratio:
    """Share of the crank turn in which the legs can give a torque.

    Args:
        torque: crank torque that is asked.
        greatest_torque: crank torque that they can give at the best angle.
        floor: what they can give at the dead centres over that; 0 for a foot that only presses down.

    >>> round(float(turn_share(50.0, 100.0)), 4), float(turn_share(120.0, 100.0)), float(turn_share(20.0, 100.0, 0.2))
    (0.6667, 0.0, 1.0)
    """
    not_negative("torque", torque)
    positive("greatest_torque", greatest_torque)
    within("floor", floor, 0.0, 1.0)
    asked, swing = np.divide(torque, greatest_torque), 1.0 - np.asarray(floor, float)
    sine = np.where(swing > 0, (asked - floor) / np.where(swing > 0, swing, 1.0), 0.0)  # no swing: the same all round
    return np.where(asked > 1.0, 0.0, 1.0 - 2.0 / np.pi * np.arcsin(np.clip(sine, 0.0, 1.0)))[()]


# -- over time ---------------------------------------------------------------------


@formula(
    equation=r"t = \frac{W'}{P - P_c}\ \left[{} - \frac{W'}{P_\mathrm{max} - P_c}\right]",
    source="monod_scherrer_1965, morton_1996",
    valid="efforts of about 2 to 30 minutes; the bracket is the three-parameter form",
)
def time_to_exhaustion(power: u.Watt, critical_power: u.Watt, work_capacity: u.Joule, greatest_power: u.Watt | None = None) -> u.Second:
    """How long a power can be held: without end at or below critical power.

    Args:
        power: steady power of the legs.
        critical_power: power that the model lets the rider hold without end.
        work_capacity: work that the rider can do above critical power.
        greatest_power: greatest power of an instant; when given, the time is 0 from there on.

    >>> time_to_exhaustion(300.0, 200.0, 15000.0), time_to_exhaustion(200.0, 200.0, 15000.0)
    (150.0, inf)
    >>> time_to_exhaustion(300.0, 200.0, 15000.0, greatest_power=800.0)
    125.0
    """
    positive("critical_power", critical_power)
    positive("work_capacity", work_capacity)
    offset = 0.0
    if greatest_power is not None:
        positive("greatest_power - critical_power", greatest_power - critical_power)
        offset = work_capacity / (greatest_power - critical_power)
    excess = power - critical_power
    if excess.__class__ is float and offset.__class__ is float:
        if excess <= 0.0:
            return math.inf
        time = work_capacity / excess - offset
        return 0.0 if time < 0.0 else time
    above = ~(np.asarray(excess) <= 0.0)  # NaN counts as above, so that it stays visible
    time = work_capacity / np.where(above, excess, 1.0) - offset
    return np.where(above, np.maximum(time, 0.0), math.inf)


@formula(equation=r"P = P_c + \frac{W'}{t}", source="monod_scherrer_1965", valid="efforts of about 2 to 30 minutes")
def sustainable_power(time: u.Second, critical_power: u.Watt, work_capacity: u.Joule) -> u.Watt:
    """Greatest power that can be held for a time.

    Args:
        time: how long it must last.
        critical_power: power that the model lets the rider hold without end.
        work_capacity: work that the rider can do above critical power.

    >>> sustainable_power(150.0, 200.0, 15000.0)
    300.0
    """
    positive("time", time)
    positive("critical_power", critical_power)
    not_negative("work_capacity", work_capacity)
    return critical_power + work_capacity / time


@formula(
    equation=r"\dot W = \begin{cases} P_c - P & P > P_c\\ (1 - W/W')(P_c - P) & P \le P_c\end{cases},\quad 0 \le W \le W'",
    source="skiba_2015, monod_scherrer_1965",
    sign="full at the work capacity, spent at 0",
    valid="power held throughout; how fast legs recover differs from rider to rider",
)
def work_left(time: u.Second, power: u.Watt, critical_power: u.Watt, work_capacity: u.Joule, start_work: u.Joule | None = None) -> u.Joule:
    """What is left of the work above critical power after a time: spent above critical power, coming back below it.

    Args:
        time: how long the power is held.
        power: steady power of the legs.
        critical_power: power that the model lets the rider hold without end.
        work_capacity: work that the rider can do above critical power.
        start_work: what was left of it before; all of it if left out.

    >>> float(work_left(30.0, 300.0, 200.0, 15000.0)), round(float(work_left(100.0, 50.0, 200.0, 15000.0, 12000.0)), 1)
    (12000.0, 13896.4)
    """
    positive("critical_power", critical_power)
    positive("work_capacity", work_capacity)
    not_negative("time", time)
    start = work_capacity if start_work is None else start_work
    not_negative("work_capacity - start_work", np.subtract(work_capacity, start))
    excess = np.subtract(power, critical_power)
    missing = np.subtract(work_capacity, start) * np.exp(np.minimum(excess, 0.0) * time / work_capacity)
    return np.where(excess > 0, np.maximum(start - excess * time, 0.0), work_capacity - missing)[()]


@formula(
    equation=r"P_c = \frac{P_a t_a - P_b t_b}{t_a - t_b},\quad W' = (P_a - P_c)\,t_a",
    source="monod_scherrer_1965",
    valid="two trials to exhaustion of about 2 to 30 minutes; two points leave no check, a third tells how far to trust them",
)
def critical_power_from_trials(power_a: u.Watt, time_a: u.Second, power_b: u.Watt, time_b: u.Second) -> CriticalPower:
    """Critical power and work capacity from two trials to exhaustion.

    Args:
        power_a: mean power of one trial.
        time_a: its duration.
        power_b: mean power of the other trial.
        time_b: its duration.

    >>> critical_power_from_trials(250.0, 600.0, 350.0, 200.0)
    CriticalPower(critical_power=200.0, work_capacity=30000.0)
    """
    for name, value in (("power_a", power_a), ("time_a", time_a), ("power_b", power_b), ("time_b", time_b)):
        positive(name, value)
    difference = time_a - time_b
    if not np.all((power_b - power_a) * difference > 0) or not np.all((power_a * time_a - power_b * time_b) * difference > 0):
        raise ValueError(
            "the longer trial must have the smaller power and the greater work, or no critical power fits; got "
            f"{power_a} W for {time_a} s and {power_b} W for {time_b} s"
        )
    critical_power = (power_a * time_a - power_b * time_b) / difference
    return CriticalPower(critical_power, (power_a - critical_power) * time_a)


# -- saddle and cranks ---------------------------------------------------------------


@formula(
    equation=r"h = k\,\ell - L",
    source="hamley_thomas_1967, peveler_2005",
    valid="a starting point: rules differ by 2 cm, and the knee decides",
)
def saddle_height(inseam: u.Metre, crank_length: u.Metre, factor: u.Ratio = 1.09) -> u.Metre:
    """Height of the saddle over the crank axle, along the line to the lowest pedal.

    Args:
        inseam: inside leg, floor to crotch.
        crank_length: crank length.
        factor: saddle to lowest pedal over inseam.

    >>> round(saddle_height(0.80, 0.15), 3)
    0.722
    """
    positive("inseam", inseam)
    positive("crank_length", crank_length)
    positive("factor", factor)
    return factor * inseam - crank_length


@formula(equation=r"\Delta h = L_\mathrm{before} - L_\mathrm{after}", source="trade_practice", sign="positive raises the saddle")
def saddle_shift(crank_length_before: u.Metre, crank_length_after: u.Metre) -> u.Metre:
    """How far the saddle moves when the cranks are changed, for the same stretch of the leg.

    Args:
        crank_length_before: old cranks.
        crank_length_after: new cranks.

    >>> round(saddle_shift(0.150, 0.125), 3)
    0.025
    """
    positive("crank_length_before", crank_length_before)
    positive("crank_length_after", crank_length_after)
    return crank_length_before - crank_length_after


@formula(
    equation=r"L = k\,\ell",
    source="crank_rules",
    valid="a rule of thumb for bicycles, not measured; unicycle cranks are chosen for leverage and cadence",
)
def crank_length_from_inseam(inseam: u.Metre, factor: u.Ratio) -> u.Metre:
    """Crank length by a rule of thumb.

    Args:
        inseam: inside leg, floor to crotch.
        factor: crank length over inseam; 0.21 and 0.216 are in use.

    >>> round(crank_length_from_inseam(0.80, 0.21), 3)
    0.168
    """
    positive("inseam", inseam)
    positive("factor", factor)
    return inseam * factor
