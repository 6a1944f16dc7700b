"""The gains that keep a curve in the complex plane as far from zero as can be, for many curves at once.

A curve is affine in the gains.  Where each of its chords is nearest to zero,
the line across that direction at a distance t has zero on one side; as long as
both ends of every chord stay on the other side, no chord comes nearer than t.
The largest t under these conditions is a linear programme.  Each pass makes one
step of an interior-point method towards its solution and then turns the lines
to where the chords are now nearest, which only leaves more room: the least
distance never falls below t, and the curve cannot pass over zero on the way,
so its winding number stays what it was.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

_PASSES = 60
_CENTRE = 0.1  # share of the gap between bound and present value that a step leaves
_STRIDE = 0.95  # share of the way to the next condition that a step may go


class Curve(NamedTuple):
    """Complex values along the last axis: a free part, shape (curves, points), and one per gain, shape (curves, gains, points)."""

    free: np.ndarray
    slope: np.ndarray

    def at(self, gains: np.ndarray) -> np.ndarray:
        """The curves at some gains, shape (curves, gains)."""
        return self.free + (gains[:, None] @ self.slope)[:, 0]

    def rows(self, rows: np.ndarray) -> Curve:
        """Some of the curves."""
        return Curve(self.free[rows], self.slope[rows])


def nearest(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distance of each chord from zero, and the direction from zero to the chord's nearest point."""
    start, along = values[:, :-1], values[:, 1:] - values[:, :-1]
    square = along.real**2 + along.imag**2
    share = -(start.real * along.real + start.imag * along.imag) / np.maximum(square, 1e-300)
    point = start + np.minimum(np.maximum(share, 0.0), 1.0) * along
    distance = np.abs(point)
    return distance, point / np.maximum(distance, 1e-300)


def beyond(away: np.ndarray, values: np.ndarray) -> np.ndarray:
    """How far both ends of each chord lie in a direction; first all starts, then all ends."""
    real, imag, start, end = away.real, away.imag, values[:, :-1], values[:, 1:]
    return np.concatenate([real * start.real + imag * start.imag, real * end.real + imag * end.imag], axis=1)


def push(
    curve: Curve,
    gains: np.ndarray,
    limits: tuple[np.ndarray, np.ndarray],
    close: float,
    slack: float = 0.3,
    away: np.ndarray | None = None,
) -> np.ndarray:
    """Gains between two limits that leave no more than a share `close` of the distance to be won; they start between the limits.

    `slack` is the share of the distance that is given away at first, so as not to start in a corner.  Lines across other
    directions than those of the nearest points may be given: they stay until all chords lie beyond them.
    """
    least, most = limits
    size = gains.shape[1]
    answer, waiting = gains.copy(), np.arange(len(gains))
    both = np.concatenate([curve.slope[:, :, :-1], curve.slope[:, :, 1:]], axis=2)
    real, imag = both.real.copy(), both.imag.copy()
    walls = np.hstack([np.eye(size + 1, size), -np.eye(size + 1, size)])
    if away is None:
        away = nearest(curve.at(gains))[1]
    lies = beyond(away, curve.at(gains))
    reach = lies.min(axis=1)
    bound, force = reach - slack * np.abs(reach), None
    for _ in range(_PASSES):
        twice = np.concatenate([away, away], axis=1)[:, None]
        ends = twice.shape[-1]
        room = np.concatenate([lies - bound[:, None], gains - least, most - gains], axis=1)
        normal = np.empty((len(gains), size + 1, ends + 2 * size))
        normal[:, :size, :ends] = twice.real * real + twice.imag * imag
        normal[:, size, :ends] = -1.0
        normal[:, :, ends:] = walls
        if force is None:
            force = 1 / room
            force /= force[:, :ends].sum(axis=1, keepdims=True)
        gap = (room * force).sum(axis=1)
        open_ = gap > close * np.abs(reach)
        if not open_.all():
            answer[waiting[~open_]] = gains[~open_]
            if not open_.any():
                return answer
            waiting, gains, bound, force, room, normal, gap, real, imag, away = (
                part[open_] for part in (waiting, gains, bound, force, room, normal, gap, real, imag, away)
            )
            curve = curve.rows(open_)
        aim = (_CENTRE / room.shape[1]) * gap[:, None] / room
        weight = force / room
        side = normal @ aim[:, :, None]
        side[:, size] += 1.0
        step = np.linalg.solve((normal * weight[:, None]) @ normal.transpose(0, 2, 1), side)[:, :, 0]
        moved = (step[:, None] @ normal)[:, 0]
        pressed = aim - force - weight * moved
        share = np.minimum(1.0, _STRIDE / np.maximum((-moved / room).max(axis=1), 1e-9))
        gains, bound = gains + share[:, None] * step[:, :size], bound + share * step[:, size]
        share = np.minimum(1.0, _STRIDE / np.maximum((-pressed / force).max(axis=1), 1e-9))
        force = force + share[:, None] * pressed
        values = curve.at(gains)
        away = np.where(bound[:, None] > 0, nearest(values)[1], away)
        lies = beyond(away, values)
        reach = lies.min(axis=1)
    answer[waiting] = gains
    return answer
