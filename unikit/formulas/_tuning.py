"""The search behind ``reflex.tuned_reflex``: nested grids, because the smallest distance of a curve from a point has kinks."""

from __future__ import annotations

import numpy as np

from . import _window

_FIRST, _LATER = {2: 25, 3: 13}, {2: 9, 3: 7}  # points per gain
_PASSES, _SHRINK = 18, 0.6
_LOW, _HIGH = np.array([0.9, 0.4, 0.0]), np.array([3.5, 4.0, 1.6])  # gains over what the machine itself measures them by


def tune(loop: _window.Loop, predictive: bool) -> np.ndarray:
    """Proportional, derivative and acceleration gains of every build in columns, shape (builds, 3)."""
    loop = loop._replace(proportional=np.ones((1, 1)), derivative=np.zeros((1, 1)), acceleration=np.zeros((1, 1)))
    omega = np.append(0.0, np.geomspace(0.02, max(60.0, 8.0 * float(np.sqrt(np.max(loop.lean_by_lean)))), 150))
    s, scale = 1j * omega, 1 / _window.stable_cubic(omega, loop)
    pole, first, legs = (part * scale for part in _window.rider_parts(omega, loop))
    second = s * scale * _window.rider_parts(omega, loop._replace(speed_gain=np.zeros((1, 1))))[1]
    unit = np.hstack([loop.lean_by_lean, np.sqrt(loop.lean_by_lean), np.ones_like(loop.lean_by_lean)]) / loop.lean_by_torque
    shape = np.broadcast_shapes(pole.shape, first.shape, legs.shape)
    pole, legs, first, second = (np.broadcast_to(part, shape) for part in (pole, legs, first, second))
    terms = np.stack([first, second, s * second], axis=1)
    unit = np.broadcast_to(unit, (shape[0], 3))
    return np.stack([_one(*parts, predictive) for parts in zip(pole, legs, terms, unit, strict=True)])


def _one(pole: np.ndarray, legs: np.ndarray, terms: np.ndarray, unit: np.ndarray, predictive: bool) -> np.ndarray:
    size = 3 if predictive else 2
    low, high = _LOW[:size], _HIGH[:size]
    centre, half = 0.5 * (low + high), 0.5 * (high - low)
    points, distance = _FIRST[size], np.abs(pole[1:])
    for _ in range(_PASSES):
        steps = np.linspace(-1.0, 1.0, points)
        axes = [np.maximum(c + h * steps, 0.0) for c, h in zip(centre, half, strict=True)]
        tried = np.stack([axis.ravel() for axis in np.meshgrid(*axes, indexing="ij")], axis=1)
        whole = (tried * unit[:size]) @ -terms[:size] + (pole + legs)
        margin = (np.abs(whole[:, 1:]) / distance).min(axis=1)
        roots = _window.turns(whole)
        # past the edge of stability the distance counts against, so that the search finds its way in
        worth = np.where(roots == 0, margin, -margin - 0.1 * roots)
        centre, half, points = tried[np.argmax(worth)], half * (_SHRINK if points == _LATER[size] else 2.0 / points), _LATER[size]
    return np.append(centre * unit[:size], np.zeros(3 - size))
