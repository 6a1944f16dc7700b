"""Linear systems with delays step by step in time: behind ``delay.free_motion``."""

from __future__ import annotations

import numpy as np


def march(matrix: np.ndarray, delayed: list[tuple[np.ndarray, float]], start: np.ndarray, step: float, steps: int) -> np.ndarray:
    """States at every step, from rest before time zero.

    The trapezoidal rule for the states; what a delayed state gives over a step
    is the difference of its integral, which is continuous where the state
    itself jumps.  A delay shorter than a step reaches into the step itself and
    joins the implicit side.
    """
    size = len(start)
    places = [divmod(time / step, 1.0) for _, time in delayed]
    shifts = [(gain, int(whole), part) for (gain, _), (whole, part) in zip(delayed, places, strict=True)]
    unit = np.eye(size)
    now = sum((gain * (1 - part) for gain, whole, part in shifts if whole == 0), np.zeros_like(matrix))
    ahead = np.linalg.inv(unit - 0.5 * step * (matrix + now))
    here = ahead @ (unit + 0.5 * step * matrix)
    past = [(ahead @ gain, whole, part) for gain, whole, part in shifts]
    known = 0.5 * step * ahead @ now
    states, sums = np.zeros((steps + 1, size)), np.zeros((steps + 1, size))
    states[0] = start
    for k in range(steps):
        following = here @ states[k]
        for gain, whole, part in past:
            first = k - whole  # the integral from first - part to first + 1 - part
            if first < 0 and first + 1 - part <= 0:
                continue
            if whole == 0:
                taken = part * (sums[k] - sums[k - 1]) if k and part else 0.0 * start
            else:
                taken = (1 - part) * (sums[first + 1] - sums[max(first, 0)])
                if part and first > 0:
                    taken = taken + part * (sums[first] - sums[first - 1])
            following = following + gain @ taken
        following = following + known @ states[k]
        states[k + 1] = following
        sums[k + 1] = sums[k] + 0.5 * step * (states[k] + following)
    return states
