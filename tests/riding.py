"""Rides for the checks of events: strong or real legs, drives, and what modes a sampled course is made of."""

import numpy as np
from machines import AIR, EFFICIENCY, MASSES

from unikit.formulas.events import Drive, Legs, Machine

STRONG = Legs(1e5, 1e6, 1.0, 1.0)  # never at a limit
REAL = Legs(700.0 * 0.125 * (0.2 + 0.8 * 2 / np.pi), 25.0, 0.2, 0.8)


def machine(speed=4.0, **road):
    return Machine(**(MASSES | {"speed": speed} | AIR | road))


def drive(gain, ratio=1.5, limit=1e5, **more):
    return Drive(EFFICIENCY, ratio, gain, gain, speeds=0.0, highest=limit, lowest=-limit, **more)


def modes(values, spacing, count):
    """Complex rates of a sum of exponentials, from even samples (Prony): the columns of a Hankel matrix depend linearly."""
    rows = np.lib.stride_tricks.sliding_window_view(values / np.abs(values).max(), count + 1)
    weights = np.linalg.lstsq(rows[:, :-1], rows[:, -1], rcond=1e-12)[0]
    return np.log(np.roots(np.append(1.0, -weights[::-1])).astype(complex)) / spacing
