"""Linear systems with delays step by step in time: behind ``delay.free_motion``."""

from __future__ import annotations

import numpy as np

from . import _chebyshev


def march(system: _chebyshev.System, start: np.ndarray, step: float, steps: int) -> np.ndarray:
    """States of one system at every step, from rest before time zero.

    The trapezoidal rule for the states.  What a delayed signal gives over a step
    is the difference of its integral, which is continuous where the signal
    itself jumps.  A delay shorter than a step reaches into the step itself and
    joins the implicit side.
    """
    matrix, unit = system.matrix[0], np.eye(len(start))
    columns, rows, places = [], [], []
    for gain, time in system.delayed:
        left, right = _chebyshev.factors(gain)
        columns += list(left[0].T)
        rows += list(right[0])
        places += [divmod(float(time[0]) / step, 1.0)] * right.shape[1]
    now = sum(
        (np.outer(column, row) * (1 - part) for column, row, (whole, part) in zip(columns, rows, places, strict=True) if whole == 0),
        np.zeros_like(matrix),
    )
    ahead = np.linalg.inv(unit - 0.5 * step * (matrix + now))
    here = ahead @ (unit + 0.5 * step * (matrix + now))
    pushes, signals = ahead @ np.reshape(columns, (-1, len(start))).T, np.reshape(rows, (-1, len(start)))
    empty = 2 + int(max((whole for whole, _ in places), default=0))  # integrals over the rest before time zero
    sums = [[0.0] * (empty + 1) for _ in places]
    shifts = [(past, empty - int(whole), part) for past, (whole, part) in zip(sums, places, strict=True)]
    states = np.zeros((steps + 1, len(start)))
    states[0] = state = start
    signal = (signals @ state).tolist()
    for k in range(steps):
        taken = [
            part * (past[k + place] - past[k + place - 1])
            + (0.0 if place == empty else (1 - part) * (past[k + place + 1] - past[k + place]))
            for past, place, part in shifts
        ]
        states[k + 1] = state = here @ state + pushes @ taken
        following = (signals @ state).tolist()
        for past, old, new in zip(sums, signal, following, strict=True):
            past.append(past[-1] + 0.5 * step * (old + new))
        signal = following
    return states
