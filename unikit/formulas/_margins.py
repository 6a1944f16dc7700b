"""The least distance of 1 + L from zero for many assist gains of many builds, which share the frequencies of their build.

1 + L = c + k d is affine in the gain, so its square is a polynomial in the gain
whose coefficients are known at each frequency.  The lowest samples stand for
the lows around them: through three neighbours in the complex plane goes a
parabola, whose nearest point is found by Newton's method.
"""

from __future__ import annotations

import numpy as np

from . import _window

_GREATEST = 4.0  # as far as gain_window looks
_RATES, _LOWS = 320, 3
_SMALL, _NEAR = 0.05, 0.003  # distances that are looked at once more, and the share of the frequency around them


def vectors(loop: _window.Loop, gain: np.ndarray) -> np.ndarray:
    """Least distance per build in columns and gain, shape (builds, gains); 0 outside the window of the build."""
    window = _window.window(loop, max(_GREATEST, 1.01 * float(np.max(gain, initial=0.0))))
    low, high = (np.broadcast_to(part, len(gain))[:, None] for part in (window.low, window.high))
    inside = (gain < high) & ((gain > low) | (low == 0))
    least = _window.in_blocks(_closest, loop, gain)
    return np.where(inside, np.concatenate(least), 0.0)


def _closest(loop: _window.Loop, gain: np.ndarray) -> np.ndarray:
    """Least distance per build in columns and gain, shape (builds, gains)."""
    builds = len(gain)
    rate = np.broadcast_to(np.sqrt(loop.lean_by_lean), (builds, 1))
    step = np.linspace(0.0, 1.0, _RATES)
    high = np.maximum(12 * rate, 6 / (loop.delay + 0.5 * loop.muscle_lag))
    span = np.log(high / 1e-3)
    omega = 1e-3 * np.exp(span * step * (1.4 - 0.4 * step))
    part = _window.response(omega, loop)
    free, slope = 1 + loop.gear_leverage * part.rider / part.pole, part.lag * part.rider / part.pole
    cross = 2 * (free.real * slope.real + free.imag * slope.imag)
    square = np.stack([free.real**2 + free.imag**2, cross, slope.real**2 + slope.imag**2], axis=1)
    height = np.stack([np.ones_like(gain), gain, gain**2], axis=2) @ square
    least, at = np.full(gain.shape, np.inf), np.zeros(gain.shape)
    rows, places = np.arange(builds)[:, None], np.arange(gain.shape[1])
    for _ in range(_LOWS):
        low = np.clip(np.argmin(height, axis=2), 1, _RATES - 2)
        place, distance = _parabola(*(free[rows, low + k] + gain * slope[rows, low + k] for k in (-1, 0, 1)))
        nearer = distance < least
        least = np.where(nearer, distance, least)
        at = np.where(nearer, omega[rows, low] + 0.5 * place * (omega[rows, low + 1] - omega[rows, low - 1]), at)
        for k in range(-2, 3):
            height[rows, places, np.clip(low + k, 0, _RATES - 1)] = np.inf
    row, place = np.nonzero(least < _SMALL)  # of a small distance the parabola is no longer the thousandth part
    if len(row):
        own = _window.Loop(*(part[0] if len(part) == 1 else part[row, 0] for part in loop))
        near = [_window.around(at[row, place] * (1 + k * _NEAR), own, gain[row, place], False) for k in (-1, 0, 1)]
        least[row, place] = _parabola(*(1 + part for part in near))[1]
    return np.minimum(least, _standing(loop, gain))


def _standing(loop: _window.Loop, gain: np.ndarray) -> np.ndarray:
    """Distance at frequency zero; inf where the loop is not finite there."""
    still = _window.response(np.zeros((1, 1)), loop)
    pole, rider = still.pole.real, still.rider.real
    return np.where(pole == 0, np.inf, np.abs(1 + (loop.gear_leverage + gain) * rider / np.where(pole == 0, 1.0, pole)))


def _parabola(left: np.ndarray, here: np.ndarray, right: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where the parabola through three points at -1, 0 and 1 is nearest to zero, and how near."""
    along, bend = 0.5 * (right - left), 0.5 * (right + left) - here
    dot = lambda one, other: one.real * other.real + one.imag * other.imag
    # half the square of the distance, by powers of the place: its slope is c1 + c2 p + c3 p^2 + c4 p^3
    slopes = dot(here, along), dot(along, along) + 2 * dot(here, bend), 3 * dot(along, bend), 2 * dot(bend, bend)
    place = np.zeros_like(slopes[0])
    for _ in range(5):
        value = slopes[0] + place * (slopes[1] + place * (slopes[2] + place * slopes[3]))
        steep = slopes[1] + place * (2 * slopes[2] + 3 * place * slopes[3])
        # where the square bends down there is no low but at an end
        place = np.clip(np.where(steep > 0, place - value / np.where(steep > 0, steep, 1.0), -np.sign(value)), -1.0, 1.0)
    return place, np.abs(here + place * (along + place * bend))
