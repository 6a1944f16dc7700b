"""The steady speed behind :func:`unikit.formulas.road.speed_at_power`, for arrays at once.

For speeds v from 0 up, the force is F(v) = c + k f(v + w) + b v with the odd,
rising f(a) = a sqrt(a^2 + q^2), and the power is G(v) = v F(v).  F rises, so
F = 0 has one root at most, and above it G rises: driving needs no more than a
bracket.  Below it G < 0 may rise and fall.  What is known there is the sign of
G'': f'' has the sign of a, so G is convex wherever v > -w, and below it G'' is
positive, then negative, then positive again, either end of which may be
missing.  Braking therefore looks, from the coasting speed down, through one
convex, one concave and one convex piece, and cannot pass by a root.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from ..units import Values

Curve = Callable[[np.ndarray], np.ndarray]


class _Load(NamedTuple):
    """The numbers of F, all of one shape."""

    constant: np.ndarray
    half: np.ndarray
    head: np.ndarray
    cross: np.ndarray
    viscous: np.ndarray

    def force(self, v: np.ndarray) -> np.ndarray:
        along = v + self.head
        return self.constant + self.half * along * np.hypot(along, self.cross) + self.viscous * v

    def stiffness(self, v: np.ndarray) -> np.ndarray:
        """F', never below zero."""
        along = v + self.head
        size = np.hypot(along, self.cross)
        return self.half * (size + _over(along * along, size)) + self.viscous

    def power(self, v: np.ndarray) -> np.ndarray:
        return v * self.force(v)

    def power_slope(self, v: np.ndarray) -> np.ndarray:
        return self.force(v) + v * self.stiffness(v)

    def power_bend(self, v: np.ndarray) -> np.ndarray:
        along = v + self.head
        size = np.hypot(along, self.cross)
        share = _over(along, size)
        return 2 * self.stiffness(v) + v * self.half * share * (3 - share * share)

    def part(self, mask: np.ndarray) -> _Load:
        return _Load(*(item[mask] for item in self))


def _over(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """a / b, and 0 where b is 0."""
    return np.divide(a, b, out=np.zeros_like(a), where=b != 0)


def _crossing(curve: Curve, low: np.ndarray, high: np.ndarray, slope: Curve | None = None) -> np.ndarray:
    """Where a curve that changes once from below zero to above does so between low and high.

    Newton's step where it stays inside the bracket and halves the one before,
    bisection elsewhere or without a slope.  A curve that is above zero
    throughout gives low, one below zero gives high.
    """
    finest = 0.0 if slope else 1e-18 * (high - low)  # bisection towards 0 would not end by the relative width
    x = 0.5 * (low + high)
    step = high - low
    for _ in range(300):
        value = curve(x)
        below = value < 0
        low, high = np.where(below, x, low), np.where(below, high, x)
        target = 0.5 * (low + high)
        if slope is not None:
            gradient = slope(x)
            newton = x - _over(value, gradient)
            fast = (newton >= low) & (newton <= high) & (np.abs(newton - x) <= 0.5 * np.abs(step)) & (gradient != 0)
            target = np.where(fast, newton, target)
        step, x = target - x, target
        if np.all((np.abs(step) <= 2e-16 * x) | (high - low <= 4e-16 * high + finest)):
            break
    return x


def _reach(curve: Curve, low: np.ndarray) -> np.ndarray:
    """A speed at which a rising curve is no longer below zero, found by doubling."""
    high = 2 * low + 1.0
    while np.any(short := curve(high) < 0):
        high = np.where(short, 2 * high, high)
    return high


def speed(power: Values, constant: Values, half: Values, head: Values, cross: Values, viscous: Values) -> Values:
    """The fastest steady speed; see ``road.speed_at_power`` for the meaning and the errors."""
    given = {
        "power": power,
        "force of slope, rolling and bearings": constant,
        "air_density times drag_area": half,
        "head_wind": head,
        "cross_wind": cross,
        "bearing_drag_per_speed": viscous,
    }
    for name, value in given.items():
        if not np.all(np.isfinite(value)):
            raise ValueError(f"{name} must be finite, got {np.array2string(np.asarray(value), threshold=6)}")
    power, *numbers = np.broadcast_arrays(*(np.asarray(value, float) for value in given.values()))
    load = _Load(*numbers)
    unchecked = (load.half == 0) & (load.viscous == 0) & ((load.constant < 0) | ((load.constant == 0) & (power > 0)))
    if np.any(unchecked):
        raise ValueError(f"no steady speed with power {_first(power, unchecked)} W: neither air nor bearings hold the machine back")
    forward = np.where(load.force(np.zeros_like(power)) < 0, 1.0, 0.0)  # does it coast forward at all?
    found = _crossing(load.force, 0 * forward, forward * _reach(load.force, 0 * forward), load.stiffness)
    if np.any(mask := power > 0):
        some, wanted, low = load.part(mask), power[mask], found[mask]
        lacking = lambda v: some.power(v) - wanted
        found[mask] = _crossing(lacking, low, _reach(lacking, low), some.power_slope)
    if np.any(mask := power < 0):
        found[mask] = _braking(load.part(mask), power[mask], found[mask])
    return float(found) if found.ndim == 0 else found


def _first(values: np.ndarray, mask: np.ndarray) -> str:
    return f"{values[mask].flat[0]:.6g}"


def _braking(load: _Load, power: np.ndarray, coasting: np.ndarray) -> np.ndarray:
    """The largest root of G = power below zero, between rest and the coasting speed."""
    lower, upper = (np.minimum(v, coasting) for v in _concave(load))
    first = _crossing(load.power_slope, 0 * lower, lower)  # the lowest point of each convex piece
    last = _crossing(load.power_slope, upper, coasting)
    deepest = np.minimum(load.power(first), load.power(last))
    missing = deepest > power
    if np.any(missing):
        raise ValueError(
            f"no steady speed with power {_first(power, missing)} W: at this slope and wind braking can take up "
            f"{_first(np.maximum(-deepest, 0.0), missing)} W at most"
        )
    in_last, in_concave = load.power(last) <= power, load.power(lower) <= power
    low = np.where(in_last, last, first)
    high = np.where(in_last, coasting, np.where(in_concave, upper, lower))
    return _crossing(lambda v: load.power(v) - power, low, high, load.power_slope)


def _concave(load: _Load) -> tuple[np.ndarray, np.ndarray]:
    """The ends of the range of speed in which G is concave; equal where there is none.

    With s = -w - v, the tail wind left over, G'' falls and then rises again as s
    goes from 0 to -w; it turns where 3 f'' = (-w - s) f''', cleared here of roots.
    """
    tail, square = np.maximum(-load.head, 0.0), load.cross * load.cross
    turn = _crossing(
        lambda s: s * (2 * s * s + 3 * square) * (s * s + square) - (tail - s) * square * square,
        0 * tail,
        tail,
    )
    lower = tail - _crossing(lambda s: load.power_bend(tail - s), turn, tail)
    upper = tail - _crossing(lambda s: -load.power_bend(tail - s), 0 * turn, turn)
    return lower, upper
