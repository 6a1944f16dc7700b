"""Where rising curves cross zero, many at once and without their derivatives."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

ROUNDS = 100  # bisection alone would narrow any bracket of floats by then


def crossing(curve: Callable[[np.ndarray], np.ndarray], low: np.ndarray, high: np.ndarray, width: float | np.ndarray) -> np.ndarray:
    """Places at which curves turn from below zero to zero or above, each to within a width.

    ``low`` is the end at which the curve is below zero, wherever it lies.
    Chandrupatla's rule (Advances in Engineering Software 28:145, 1997):
    inverse quadratic interpolation where three points lie well for it,
    bisection elsewhere, so that jumps and plateaus do no harm.  A curve
    that is nowhere below zero gives -inf, one that is so throughout inf.
    """
    near, far = np.broadcast_arrays(np.asarray(low, float), np.asarray(high, float))
    near, far = near + 0.0, far + 0.0
    value, other = curve(near), curve(far)
    outside = np.where(value >= 0, -np.inf, np.where(other < 0, np.inf, 0.0))
    done = outside != 0
    share = np.full(near.shape, 0.5)
    for _ in range(ROUNDS):
        place = near + share * (far - near)
        found = curve(place)
        same = (found < 0) == (value < 0)
        third, third_value = np.where(same, near, far), np.where(same, value, other)
        far, other = np.where(same, far, near), np.where(same, other, value)
        near, value = place, found
        span = np.abs(far - near)
        done |= (span <= width) | (value == 0)
        if done.all():
            break
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            xi, phi = (near - far) / (third - far), (value - other) / (third_value - other)
            bent = (phi**2 < xi) & ((1 - phi) ** 2 < 1 - xi)
            quadratic = value / (other - value) * third_value / (other - third_value) + (third - near) / (far - near) * value / (
                third_value - value
            ) * other / (third_value - other)
            least = np.minimum(0.25 * width / np.maximum(span, 1e-300), 0.5)
            share = np.where(bent & np.isfinite(quadratic), np.clip(quadratic, least, 1 - least), 0.5)
    best = np.where(np.abs(value) <= np.abs(other), near, far)
    return np.where(outside != 0, outside, best)[()]
