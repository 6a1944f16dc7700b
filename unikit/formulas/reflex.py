"""The loop of rider, legs and assist around a falling machine, with every delay exact.

The rider answers lean and its rate late (delay, then muscle lag); the legs on
the fixed cranks answer at once with damping and stiffness, which the rider's
re-planned cadence washes out.  The sensor feels both and the motor adds its
share after dead time, filter and motor lag.  All is linear around a steady
ride and averaged over the crank turn.

Rates and frequencies are in rad/s.  Fields of the records and the other
arguments broadcast; a frequency goes on the last axis.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from . import _margins, _states, _tuning, _window, delay
from .checks import not_negative, positive, within
from .registry import formula

_SIGN = "positive lean and positive torque forward; the loop gain is negative feedback: the characteristic equation is 1 + L = 0"
_VALID = "small deviations from a steady ride; rigid rider; phase-averaged legs"
_NOT_FOUND = "no assist gain from 0 to {greatest:g} is stable: {cause}"
_CAUSES = (
    "the gear leverage alone is above the onset gain",
    "the toppling gain lies higher",
    "the lag of sensor, filter, electronics and motor is too long",
    "the rider's delay is too long",
    "the rider's gains do not balance this machine even without delay",
)


class Plant(NamedTuple):
    """Small deviations from a steady ride: what lean, wheel torque and speed do to the accelerations of lean and speed."""

    lean_by_lean: u.PerSecondSquared
    lean_by_torque: u.PerKilogramSquareMetre
    lean_by_speed: u.PerMetreSecond
    speed_by_lean: u.MetrePerSecondSquared
    speed_by_torque: u.PerKilogramMetre
    speed_by_speed: u.PerSecond
    wheel_radius: u.Metre


class Reflex(NamedTuple):
    """A rider: pedal torque per lean, per lean rate and per lean acceleration, how late, and the passive legs."""

    proportional: u.NewtonMetrePerRadian
    derivative: u.NewtonMetreSecondPerRadian
    acceleration: u.KilogramSquareMetre  # torque per angular acceleration; 0 for a rider who does not predict
    speed_gain: u.SecondPerMetre  # lean back per speed above the wanted one
    delay: u.Second
    muscle_lag: u.Second
    leg_damping: u.NewtonMetreSecondPerRadian
    leg_stiffness: u.NewtonMetrePerRadian
    replanning_time: u.Second  # 0 for legs that give way at once


class Path(NamedTuple):
    """The way from the torque at the crank to the torque of the motor."""

    dead_time: u.Second  # computation and half a sample
    filter_corner: u.Hertz  # inf for no filter
    motor_lag: u.Second


_UNASSISTED = Path(0.0, np.inf, 0.0)


class GainWindow(NamedTuple):
    """The stable assist gains; frequency 0 marks an edge where nothing oscillates, or the end of what was looked at."""

    toppling_gain: u.Ratio
    toppling_frequency: u.RadianPerSecond
    onset_gain: u.Ratio
    onset_frequency: u.RadianPerSecond
    reason: str  # empty, or in words why there is no window; both gains are 0 then


def _check(plant: Plant, reflex: Reflex, path: Path, gear_leverage: u.Ratio, gear_ratio: u.Ratio) -> _window.Loop:
    positive("plant.lean_by_lean", plant.lean_by_lean)
    positive("plant.lean_by_torque", plant.lean_by_torque)
    positive("plant.wheel_radius", plant.wheel_radius)
    within("reflex.delay", reflex.delay, 0.0, 2.0)
    within("reflex.muscle_lag", reflex.muscle_lag, 1e-3, 1.0)
    for name in ("leg_damping", "leg_stiffness", "replanning_time"):
        not_negative(f"reflex.{name}", getattr(reflex, name))
    within("path.dead_time", path.dead_time, 0.0, 2.0)
    positive("path.filter_corner", path.filter_corner)
    not_negative("path.motor_lag", path.motor_lag)
    positive("gear_leverage", gear_leverage)
    positive("gear_ratio", gear_ratio)
    return _window.Loop(*plant, *reflex, path.dead_time, 0.5 / (np.pi * path.filter_corner), path.motor_lag, gear_leverage, gear_ratio)


def _answer(shape: tuple[int, ...], values: np.ndarray) -> u.Values:
    return values.reshape(shape) if shape else values[0].item()


@formula(
    equation=r"H(s) = \frac{e^{-s\tau_e}}{(1 + s / 2\pi f_c)(1 + s\tau_m)},\quad s = j\omega",
    source="definition",
    valid="torque below the limits of motor and electronics",
)
def path_response(frequency: u.RadianPerSecond, path: Path) -> u.Number:
    """Motor torque over the torque that the assist gain asks for, complex.

    Args:
        frequency: angular frequency.
        path: dead time, filter corner and motor lag of the assist.

    >>> round(float(abs(path_response(62.83185, Path(0.01, 10.0, 0.0)))), 4)
    0.7071
    """
    not_negative("path.dead_time", path.dead_time)
    positive("path.filter_corner", path.filter_corner)
    not_negative("path.motor_lag", path.motor_lag)
    s = 1j * np.asarray(frequency, float)
    return np.exp(-s * path.dead_time) / ((1 + s / (2 * np.pi * path.filter_corner)) * (1 + s * path.motor_lag))


@formula(
    equation=r"P_\theta = \frac{-b\,(s - a_{vv}) + a_v b_v}{(s^2 - a)(s - a_{vv}) - a_v s_\theta},\quad s = j\omega",
    source="rolling_pendulum",
    sign=_SIGN,
    valid="small deviations from a steady ride; no rider",
)
def lean_response(frequency: u.RadianPerSecond, plant: Plant) -> u.Number:
    """Lean over wheel torque of the machine alone, in rad per N*m, complex.

    Args:
        frequency: angular frequency, above 0.
        plant: the machine near its steady ride.

    >>> float(lean_response(8.0, Plant(36.0, 0.2, 0.0, -29.0, 0.14, 0.0, 0.36)).real)
    0.002
    """
    positive("frequency", frequency)
    pole, lean, _ = _window.wheel_response(np.asarray(frequency, float), plant)
    return lean / pole


@formula(
    equation=r"L = (\lambda + kH)\,(C + Z P_c),\quad C = -e^{-s\tau_h}\frac{(K_p + K_d s + K_a s^2) P_\theta + K_p k_v P_v}{1 + s\tau_m},"
    r"\quad Z = \frac{(c s + \kappa)\tau_w^2 s}{(\tau_w s + 1)^2},\quad P_c = \frac{P_v / r - s P_\theta}{G}",
    source="rolling_pendulum, milton_pendulum, insperger_2013",
    sign=_SIGN,
    valid=_VALID,
)
def loop_response(
    frequency: u.RadianPerSecond,
    plant: Plant,
    reflex: Reflex,
    path: Path,
    gear_leverage: u.Ratio,
    gear_ratio: u.Ratio,
    assist_gain: u.Ratio,
    voluntary: bool = False,
) -> u.Number:
    """Response around the whole loop at a frequency, complex; delays are exact.

    Args:
        frequency: angular frequency, above 0.
        plant: the machine near its steady ride.
        reflex: the rider.
        path: the assist path.
        gear_leverage: wheel torque per crank torque through the gear alone.
        gear_ratio: wheel turns per crank turn.
        assist_gain: motor torque at the wheel per torque at the crank.
        voluntary: true for the loop broken at the rider's command, with the legs' own resistance as part of the machine.

    >>> plant = Plant(41.5, 0.19, 0.0, -29.0, 0.14, -0.03, 0.36)
    >>> rider = Reflex(300.0, 54.0, 0.0, 0.02, 0.1, 0.03, 2.0, 40.0, 0.2)
    >>> round(float(abs(loop_response(8.0, plant, rider, Path(0.01, 10.0, 0.003), 0.65, 1.5, 0.3))), 4)
    0.8216
    """
    loop = _check(plant, reflex, path, gear_leverage, gear_ratio)
    positive("frequency", frequency)
    not_negative("assist_gain", assist_gain)
    return _window.around(np.asarray(frequency, float), loop, assist_gain, voluntary)


@formula(
    equation=r"1 + L(j\omega) = 0\ \Rightarrow\ k(\omega) = -\frac{1 + \lambda Q}{H Q},\quad Q = C + Z P_c,\quad k \in \mathbb{R}",
    source="nyquist_gain",
    sign=_SIGN,
    valid=_VALID + "; the widest stable interval of gains up to the greatest",
)
def gain_window(
    plant: Plant, reflex: Reflex, path: Path, gear_leverage: u.Ratio, gear_ratio: u.Ratio, greatest_gain: u.Ratio = 4.0
) -> GainWindow:
    """Toppling gain and onset gain: the exact ends of the assist gains at which the loop is stable.

    The gear leverage has a direction; what holds in both is :func:`common_window` of both.

    Args:
        plant: the machine near its steady ride.
        reflex: the rider.
        path: the assist path.
        gear_leverage: wheel torque per crank torque through the gear alone.
        gear_ratio: wheel turns per crank turn.
        greatest_gain: gain up to which the window is looked for; an onset gain equal to it, with frequency 0, lies beyond.

    >>> plant = Plant(41.5, 0.19, 0.0, -29.0, 0.14, -0.03, 0.36)
    >>> rider = Reflex(300.0, 54.0, 0.0, 0.02, 0.1, 0.03, 2.0, 40.0, 0.2)
    >>> found = gain_window(plant, rider, Path(0.01, 10.0, 0.003), 0.65, 1.5)
    >>> round(found.toppling_gain, 3), round(found.onset_gain, 3), found.reason
    (0.104, 0.421, '')
    """
    positive("greatest_gain", greatest_gain)
    loop, shape = _window.columns(_check(plant, reflex, path, gear_leverage, gear_ratio))
    found = _window.window(loop, greatest_gain)
    reason = np.full(len(found.found), "", dtype=object)
    rows = np.nonzero(~found.found)[0]
    if len(rows):
        reason[rows] = _reasons(_window.rows_of(loop, rows), found.below_zero[rows], found.higher[rows], greatest_gain)
    return GainWindow(*(_answer(shape, part) for part in found[:4]), reason.reshape(shape) if shape else str(reason[0]))


def _reasons(loop: _window.Loop, below_zero: np.ndarray, higher: np.ndarray, greatest: float) -> np.ndarray:
    """Why no gain is stable: the first remedy that brings a window back."""
    none = np.zeros((1, 1))
    ideal = loop._replace(dead_time=none, filter_lag=none, motor_lag=none)
    causes = np.full(below_zero.shape, _CAUSES[-1], dtype=object)
    causes[below_zero] = _CAUSES[0]
    unknown = ~below_zero
    trials = (higher, loop, 4 * greatest), (True, ideal, greatest), (True, ideal._replace(delay=none), greatest)
    for cause, (worth, cured, reach) in zip(_CAUSES[1:], trials, strict=False):
        rows = np.nonzero(unknown & worth)[0]
        if len(rows):
            found = rows[np.broadcast_to(_window.window(_window.rows_of(cured, rows), reach).found, rows.shape)]
            causes[found], unknown[found] = cause, False
    return np.array([_NOT_FOUND.format(greatest=greatest, cause=cause) for cause in causes], dtype=object)


@formula(
    equation=r"[\max(k_{lo,d}, k_{lo,r}),\ \min(k_{hi,d}, k_{hi,r})]",
    source="nyquist_gain",
    valid="both of one and the same build and case",
)
def common_window(driving_window: GainWindow, resisting_window: GainWindow) -> GainWindow:
    """The gains that are stable both while the pedals drive the wheel and while they hold it back.

    Args:
        driving_window: window with the gear leverage of driving pedals.
        resisting_window: window with the gear leverage of resisting pedals.

    >>> common_window(GainWindow(0.17, 1.6, 0.44, 7.0, ""), GainWindow(0.12, 1.6, 0.38, 6.8, ""))[:3:2]
    (0.17, 0.38)
    """
    low = np.greater_equal(driving_window.toppling_gain, resisting_window.toppling_gain)
    high = np.less_equal(driving_window.onset_gain, resisting_window.onset_gain)
    gains = (
        np.where(low, driving_window.toppling_gain, resisting_window.toppling_gain),
        np.where(high, driving_window.onset_gain, resisting_window.onset_gain),
    )
    rates = np.where(low, driving_window.toppling_frequency, resisting_window.toppling_frequency)
    rates = rates, np.where(high, driving_window.onset_frequency, resisting_window.onset_frequency)
    reason = np.where(np.equal(driving_window.reason, ""), resisting_window.reason, driving_window.reason).astype(object)
    apart = np.equal(reason, "") & (gains[0] >= gains[1])
    reason = np.where(apart, "the window of driving pedals and that of resisting pedals do not meet", reason)
    parts = [np.where(np.equal(reason, ""), part, 0.0) for part in (gains[0], rates[0], gains[1], rates[1])]
    if np.ndim(reason) == 0:
        return GainWindow(*(float(part) for part in parts), str(reason))
    return GainWindow(*parts, reason)


@formula(
    equation=r"\min\{g: 1 + gL \text{ stable}\},\ \max\{g\},\ \min_{|L|=1}|\arg(-L)|,\ \min_\omega|1 + L|",
    source="definition",
    sign=_SIGN,
    valid=_VALID + "; of a loop that is stable",
)
def loop_margins(
    plant: Plant,
    reflex: Reflex,
    path: Path,
    gear_leverage: u.Ratio,
    gear_ratio: u.Ratio,
    assist_gain: u.Ratio,
    voluntary: bool = False,
) -> delay.Margins:
    """How far the loop is from oscillating or toppling: gain, phase and vector margin.

    The gain margins say by what factor rider and legs together may change, or
    with ``voluntary`` the rider's command alone.

    Args:
        plant: the machine near its steady ride.
        reflex: the rider.
        path: the assist path.
        gear_leverage: wheel torque per crank torque through the gear alone.
        gear_ratio: wheel turns per crank turn.
        assist_gain: motor torque at the wheel per torque at the crank.
        voluntary: true for the loop broken at the rider's command, with the legs' own resistance as part of the machine.

    >>> plant = Plant(41.5, 0.19, 0.0, -29.0, 0.14, -0.03, 0.36)
    >>> rider = Reflex(300.0, 54.0, 0.0, 0.02, 0.1, 0.03, 2.0, 40.0, 0.2)
    >>> found = loop_margins(plant, rider, Path(0.01, 10.0, 0.003), 1.0, 1.0, 0.0)
    >>> round(float(found.gain_up), 3), round(float(found.vector), 3)
    (1.251, 0.141)
    """
    loop = _check(plant, reflex, path, gear_leverage, gear_ratio)
    not_negative("assist_gain", assist_gain)
    lead, _ = _window.columns(loop)
    frequency = _window.grid(lead, float(np.max(assist_gain)))
    if np.all(_window.wheel_response(np.zeros((1, 1)), lead)[0] != 0):  # without drag the speed has no rest to return to
        frequency = np.append(0.0, frequency)
    whole = _window.Loop(*(np.asarray(part, float)[..., None] for part in loop))
    gain = np.asarray(assist_gain, float)[..., None]
    return delay.margins(frequency, lambda rate: _window.around(rate, whole, gain, voluntary))


@formula(
    equation=r"\min_\omega|1 + L|,\quad 1 + L = (1 + \lambda Q) + k H Q",
    source="nyquist_gain, astrom_murray",
    sign=_SIGN,
    valid=_VALID + "; to one part in a thousand; 0 outside the widest stable interval of gains",
)
def vector_margins(plant: Plant, reflex: Reflex, path: Path, gear_leverage: u.Ratio, gear_ratio: u.Ratio, assist_gains: u.Ratio) -> u.Ratio:
    """Vector margins of many assist gains at once, along the last axis of the answer; 0 where the loop is not stable.

    Args:
        plant: the machine near its steady ride.
        reflex: the rider.
        path: the assist path.
        gear_leverage: wheel torque per crank torque through the gear alone.
        gear_ratio: wheel turns per crank turn.
        assist_gains: motor torque at the wheel per torque at the crank; the last axis counts the gains.

    >>> plant = Plant(41.5, 0.19, 0.0, -29.0, 0.14, -0.03, 0.36)
    >>> rider = Reflex(300.0, 54.0, 0.0, 0.02, 0.1, 0.03, 2.0, 40.0, 0.2)
    >>> vector_margins(plant, rider, Path(0.01, 10.0, 0.003), 0.65, 1.5, [0.1, 0.2, 0.3, 0.5]).round(3).tolist()
    [0.0, 0.098, 0.083, 0.0]
    """
    loop, shape = _window.columns(_check(plant, reflex, path, gear_leverage, gear_ratio))
    not_negative("assist_gains", assist_gains)
    gains = np.asarray(assist_gains, float)
    if gains.ndim == 0:
        raise ValueError(f"assist_gains must be a list of gains, got {gains}")
    lead = np.broadcast_shapes(shape, gains.shape[:-1])
    loop = _window.Loop(*(part if len(part) == 1 else np.broadcast_to(part.reshape(shape), lead).reshape(-1, 1) for part in loop))
    gains = np.broadcast_to(gains, lead + gains.shape[-1:]).reshape(-1, gains.shape[-1])
    return _margins.vectors(loop, gains).reshape(lead + gains.shape[-1:])


class StateSpace(NamedTuple):
    """x' = A x + sum of B_i x(t - tau_i), as the delay room reads it."""

    a_matrix: u.Values
    delayed: u.Values  # pairs of a matrix and its delay


@formula(
    equation=r"\dot x = A\,x + \sum_i B_i\,x(t - \tau_i)",
    source="rolling_pendulum, milton_pendulum",
    sign=_SIGN,
    valid=_VALID,
)
def system_matrices(
    plant: Plant, reflex: Reflex, path: Path, gear_leverage: u.Ratio, gear_ratio: u.Ratio, assist_gain: u.Ratio
) -> StateSpace:
    """The closed loop in states: lean, lean rate, speed, muscle torque, and those of legs, filter and motor that have a lag.

    Args:
        plant: the machine near its steady ride.
        reflex: the rider.
        path: the assist path.
        gear_leverage: wheel torque per crank torque through the gear alone.
        gear_ratio: wheel turns per crank turn.
        assist_gain: motor torque at the wheel per torque at the crank.

    >>> plant = Plant(41.5, 0.19, 0.0, -29.0, 0.14, -0.03, 0.36)
    >>> rider = Reflex(300.0, 54.0, 0.0, 0.02, 0.1, 0.03, 2.0, 40.0, 0.2)
    >>> system_matrices(plant, rider, Path(0.01, 10.0, 0.003), 0.65, 1.5, 0.3).a_matrix.shape
    (8, 8)
    """
    loop = _check(plant, reflex, path, gear_leverage, gear_ratio)
    return StateSpace(*_states.matrices(loop, assist_gain))


@formula(
    equation=r"(K_p, K_d, K_a) = \arg\max\ \min_\omega |1 + L(j\omega)|",
    source="nyquist_gain, insperger_2013",
    valid=_VALID + "; a rider who has learned this machine; gains up to 4 times what the machine itself is measured by",
)
def tuned_reflex(
    plant: Plant,
    delay: u.Second,
    muscle_lag: u.Second,
    predictive: bool = False,
    speed_gain: u.SecondPerMetre = 0.0,
    leg_damping: u.NewtonMetreSecondPerRadian = 0.0,
    leg_stiffness: u.NewtonMetrePerRadian = 0.0,
    replanning_time: u.Second = 0.0,
    path: Path = _UNASSISTED,
    gear_leverage: u.Ratio = 1.0,
    gear_ratio: u.Ratio = 1.0,
    assist_gain: u.Ratio = 0.0,
) -> Reflex:
    """The rider whose gains keep a machine as far from instability as this delay lets them; without more, the ungeared wheel.

    Where no gains balance the wheel they are those that come nearest, seen from the longest lag that can be balanced;
    :func:`gain_window` then says why it is empty.

    Args:
        plant: the machine near its steady ride.
        delay: from lean to the first change of muscle force.
        muscle_lag: time constant with which the muscle then follows.
        predictive: true for a rider who also answers lean acceleration.
        speed_gain: lean back per speed above the wanted one.
        leg_damping: damping of the legs at the crank.
        leg_stiffness: stiffness of the legs at the crank.
        replanning_time: time after which the legs have taken up a new cadence.
        path: the assist path.
        gear_leverage: wheel torque per crank torque through the gear alone.
        gear_ratio: wheel turns per crank turn.
        assist_gain: motor torque at the wheel per torque at the crank that the rider has learned with.

    >>> plant = Plant(41.5, 0.19, 0.0, -29.0, 0.14, -0.03, 0.36)
    >>> rider = tuned_reflex(plant, 0.1, 0.03, speed_gain=0.02, leg_damping=2.0, leg_stiffness=40.0, replanning_time=0.2)
    >>> round(float(rider.proportional)), round(float(rider.derivative)), rider.acceleration
    (277, 52, 0.0)
    """
    rider = Reflex(1.0, 0.0, 0.0, speed_gain, delay, muscle_lag, leg_damping, leg_stiffness, replanning_time)
    not_negative("assist_gain", assist_gain)
    learned = _check(plant, rider, path, gear_leverage, gear_ratio)._replace(assist_gain=assist_gain)
    loop, shape = _window.columns(learned)
    gains = _tuning.tune(loop, predictive)
    return rider._replace(**{name: _answer(shape, gains[:, place]) for place, name in enumerate(Reflex._fields[:3])})
