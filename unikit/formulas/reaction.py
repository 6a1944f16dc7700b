"""The rider's gains that hold the whole loop, and how late a rider with given gains may be.

The characteristic function of the loop is affine in the proportional and in the
derivative gain.  A root on the imaginary axis at a frequency is one complex
equation for two real gains: it gives the boundary of the stable gains as a
curve over the frequency, with every delay exact.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from . import _response, _window
from .checks import not_negative, positive
from .reflex import Path, Plant, Reflex, _check
from .registry import formula

_VALID = "small deviations from a steady ride; rigid rider; phase-averaged legs; acceleration gain and speed gain as the rider has them"
_STEPS = 12  # of false position, from neighbours on the frequency grid


class GainPoint(NamedTuple):
    """A pair of rider gains at the crank."""

    proportional: u.NewtonMetrePerRadian
    derivative: u.NewtonMetreSecondPerRadian


class StableGains(NamedTuple):
    """Ends of the proportional gains that are stable with each derivative gain; both nan where none is."""

    lowest: u.NewtonMetrePerRadian
    highest: u.NewtonMetrePerRadian


def _parts(omega: np.ndarray, loop: _window.Loop, gain: u.Values) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Characteristic function over a stable cubic, as free - proportional * first - derivative * second."""
    unit = loop._replace(proportional=1.0, derivative=0.0, acceleration=0.0)
    pole, first, legs = _window.rider_parts(omega, unit)
    second = 1j * omega * _window.rider_parts(omega, unit._replace(speed_gain=0.0))[1]
    leverage = loop.gear_leverage + gain * _window.path_lag(omega, loop)
    scale = 1 / _window.stable_cubic(omega, loop)
    free = pole + leverage * (legs - loop.acceleration * 1j * omega * second)
    return free * scale, leverage * first * scale, leverage * second * scale


@formula(
    equation=r"D(j\omega) = K_p\,E_1(j\omega) + K_d\,E_2(j\omega)\ \Rightarrow\ (K_p, K_d)(\omega)",
    source="stepan_delay, nyquist_gain",
    valid=_VALID + "; the other boundary, a root at zero, is one value of the proportional gain",
)
def gain_boundary(
    frequency: u.RadianPerSecond,
    plant: Plant,
    reflex: Reflex,
    path: Path,
    gear_leverage: u.Ratio,
    gear_ratio: u.Ratio,
    assist_gain: u.Ratio,
) -> GainPoint:
    """Rider gains at which the whole loop sways at a frequency without growing or dying, the D-curve.

    Args:
        frequency: angular frequency of the sway, above 0.
        plant: the machine near its steady ride.
        reflex: the rider; proportional and derivative gain are not used.
        path: the assist path.
        gear_leverage: wheel torque per crank torque through the gear alone.
        gear_ratio: wheel turns per crank turn.
        assist_gain: motor torque at the wheel per torque at the crank.

    >>> plant = Plant(41.5, 0.19, 0.0, -29.0, 0.14, -0.03, 0.36)
    >>> rider = Reflex(300.0, 54.0, 0.0, 0.02, 0.1, 0.03, 2.0, 40.0, 0.2)
    >>> found = gain_boundary(6.0, plant, rider, Path(0.01, 10.0, 0.003), 0.65, 1.5, 0.3)
    >>> round(float(found.proportional), 2), round(float(found.derivative), 2)
    (336.0, 53.74)
    """
    loop = _check(plant, reflex, path, gear_leverage, gear_ratio)
    positive("frequency", frequency)
    not_negative("assist_gain", assist_gain)
    free, first, second = _parts(np.asarray(frequency, float), loop, assist_gain)
    cross = (first * second.conj()).imag
    return GainPoint((free * second.conj()).imag / cross, (first * free.conj()).imag / cross)


@formula(
    equation=r"\{K_p: D - K_p E_1 - K_d E_2 \text{ stable}\}",
    source="stepan_delay, nyquist_gain",
    valid=_VALID + "; the widest stable interval from zero up to the greatest",
)
def stable_gains(
    derivative: u.NewtonMetreSecondPerRadian,
    plant: Plant,
    reflex: Reflex,
    path: Path,
    gear_leverage: u.Ratio,
    gear_ratio: u.Ratio,
    assist_gain: u.Ratio,
    greatest: u.NewtonMetrePerRadian,
) -> StableGains:
    """Proportional gains that hold the loop, for each derivative gain of a list; one loop at a time.

    Args:
        derivative: derivative gains, a list.
        plant: the machine near its steady ride.
        reflex: the rider; proportional and derivative gain are not used.
        path: the assist path.
        gear_leverage: wheel torque per crank torque through the gear alone.
        gear_ratio: wheel turns per crank turn.
        assist_gain: motor torque at the wheel per torque at the crank.
        greatest: proportional gain up to which is looked.

    >>> plant = Plant(41.5, 0.19, 0.0, -29.0, 0.14, -0.03, 0.36)
    >>> rider = Reflex(300.0, 54.0, 0.0, 0.02, 0.1, 0.03, 2.0, 40.0, 0.2)
    >>> found = stable_gains([40.0, 54.0], plant, rider, Path(0.01, 10.0, 0.003), 0.65, 1.5, 0.3, 2000.0)
    >>> found.lowest.round(1).tolist(), found.highest.round(1).tolist()
    ([243.4, 236.4], [288.6, 336.3])
    """
    rates = np.asarray(derivative, float)
    not_negative("derivative", rates)
    not_negative("assist_gain", assist_gain)
    positive("greatest", greatest)
    loop = _check(plant, reflex._replace(proportional=greatest, derivative=float(rates.max())), path, gear_leverage, gear_ratio)
    omega = _window.grid(_window.columns(loop)[0], float(assist_gain))
    free, first, second = _parts(omega, loop, assist_gain)
    top = free - rates[:, None] * second
    edges = _edges(rates, omega, top, first, lambda at: _parts(at, loop, assist_gain), greatest)
    middle = 0.5 * (edges[:, 1:] + edges[:, :-1])
    start = _start(omega, loop, assist_gain, top, first, middle)
    along = top[:, None] - middle[..., None] * first
    stable = _window.turns(np.concatenate([start[..., None], along], axis=-1)) == 0
    width = np.where(stable, np.diff(edges, axis=1), 0.0)
    best = np.argmax(width, axis=1)
    every = np.arange(len(rates))
    none = width[every, best] <= 0
    return StableGains(np.where(none, np.nan, edges[every, best]), np.where(none, np.nan, edges[every, best + 1]))


def _start(omega, loop, gain, top, first, middle) -> np.ndarray:
    """The real value from which the characteristic function sets out at rate zero."""
    free, still, _ = (part.real for part in _parts(np.zeros(1), loop, gain))
    if abs(free[0]) < 1e-12 and abs(still[0]) < 1e-12:  # the speed is left to itself: a root at zero that no gain moves
        turned = np.real((top[:, :1] - middle * first[0]) / (1j * omega[0]))
        return turned
    return free[0] - middle * still[0]


def _edges(rates, omega, top, first, parts, greatest) -> np.ndarray:
    """Proportional gains up to the greatest that put a root on the imaginary axis, a row for each derivative gain, filled up with it."""
    height = (top * first.conj()).imag
    row, place = np.nonzero((height[:, 1:] > 0) != (height[:, :-1] > 0))
    low, high, low_height, high_height = omega[place], omega[place + 1], height[row, place], height[row, place + 1]
    for _ in range(_STEPS):  # false position; an end that stays counts half
        middle = low + (high - low) * low_height / (low_height - high_height)
        free, one, two = parts(middle)
        found = ((free - rates[row] * two) * one.conj()).imag
        up = (found > 0) == (high_height > 0)
        low, low_height, high_height = (
            np.where(up, low, middle),
            np.where(up, 0.5 * low_height, found),
            np.where(up, found, 0.5 * high_height),
        )
        high = np.where(up, middle, high)
        flat = low_height == high_height
        high_height = np.where(flat, high_height + 1e-300, high_height)
    gain = ((free - rates[row] * two) * one.conj()).real / np.abs(one) ** 2
    free, still, _ = (part.real for part in parts(np.zeros(1)))
    rest = free[0] / still[0] if abs(still[0]) > 1e-12 else np.real(top[:, 0] / first[0])
    row, gain = np.append(row, np.arange(len(rates))), np.append(gain, np.broadcast_to(rest, len(rates)))
    keep = (gain > 0) & (gain < greatest)
    order = np.lexsort((gain[keep], row[keep]))
    row, gain = row[keep][order], gain[keep][order]
    number = np.bincount(row, minlength=len(rates))
    edges = np.full((len(rates), int(number.max(initial=0)) + 2), float(greatest))
    edges[:, 0] = 0.0
    edges[row, 1 + np.arange(len(row)) - (np.cumsum(number) - number)[row]] = gain
    return edges


@formula(
    equation=r"e^{-j\omega\tau} = W(\omega),\quad \tau_b = \min_{|W(\omega)| = 1} \frac{-\arg W \bmod 2\pi}{\omega}",
    source="nyquist_gain",
    valid="small deviations from a steady ride; muscle lag, legs and assist kept, the rider's delay varied from zero",
)
def delay_budget(plant: Plant, reflex: Reflex, path: Path, gear_leverage: u.Ratio, gear_ratio: u.Ratio, assist_gain: u.Ratio) -> u.Second:
    """The rider's delay at which the loop with its gains first has a root on the imaginary axis.

    The rider's own delay does not count.  With less the loop is as it is
    without delay; endless where no delay brings a root there.

    Args:
        plant: the machine near its steady ride.
        reflex: the rider; the delay is not used.
        path: the assist path.
        gear_leverage: wheel torque per crank torque through the gear alone.
        gear_ratio: wheel turns per crank turn.
        assist_gain: motor torque at the wheel per torque at the crank.

    >>> plant = Plant(41.5, 0.19, 0.0, -29.0, 0.14, -0.03, 0.36)
    >>> rider = Reflex(300.0, 54.0, 0.0, 0.02, 0.1, 0.03, 2.0, 40.0, 0.2)
    >>> round(float(delay_budget(plant, rider, Path(0.01, 10.0, 0.003), 0.65, 1.5, 0.3)), 4)
    0.12
    """
    loop = _check(plant, reflex._replace(delay=0.0), path, gear_leverage, gear_ratio)
    not_negative("assist_gain", assist_gain)
    columns, shape = _window.columns(loop)
    gain = np.asarray(assist_gain, float)

    def needed(omega: np.ndarray) -> np.ndarray:
        pole, command, legs = _window.rider_parts(omega, columns)
        leverage = columns.gear_leverage + gain.reshape(-1, 1) * _window.path_lag(omega, columns)
        return (pole + leverage * legs) / (leverage * command)

    omega = _window.grid(columns._replace(delay=np.full((1, 1), 0.2)), float(np.max(gain)))
    rate, there, real = _response.crossings(omega, needed(omega), needed, lambda response: np.log(np.abs(response)))
    time = np.mod(-np.angle(there), 2 * np.pi) / np.where(real, rate, 1.0)
    least = np.where(real, time, np.inf).min(axis=-1)
    shape = np.broadcast_shapes(shape, gain.shape)
    return np.broadcast_to(least, shape or (1,)).reshape(shape) if shape else float(least[0])
