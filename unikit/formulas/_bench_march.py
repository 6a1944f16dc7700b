"""Temperatures of bodies in a measured run, step by step: behind ``network_fit``.

Many sets of parameters run side by side.  Between two grid points the linear
part is solved exactly for inputs that are straight lines; what is not linear,
the housing's natural convection and the copper loss that changes with the
winding, is carried on in a straight line through its last two values.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

REFERENCE_RISE = 30.0  # K, at which the housing's conductance joins the part that is solved exactly


class Bodies(NamedTuple):
    """Bodies of a run: heated part of the winding first, housing last; sets of parameters along the first axis."""

    capacity: np.ndarray  # (sets, bodies)
    conductance: np.ndarray  # (sets, bodies, bodies): links, and on the diagonal links to the air without the housing's own
    factor: np.ndarray  # (sets,): on the housing's own conductance to the air
    rises: np.ndarray  # of the housing over the air, rising from 0
    to_air: np.ndarray  # the housing's own conductance at these rises


class Drive(NamedTuple):
    """What drives a run, on a grid of times; sets of parameters along the first axis."""

    step: np.ndarray  # (sets, steps)
    left: np.ndarray  # (sets, steps): heat in the winding at its start temperature, at the left end of each step
    right: np.ndarray  # the same at the right end
    left_gain: np.ndarray  # (sets, steps): what it gains per kelvin of the winding
    right_gain: np.ndarray
    air: np.ndarray  # (sets, steps + 1): temperature of the air
    better: np.ndarray  # (sets, steps + 1): factor on the housing's own conductance by the temperature of the air
    start: np.ndarray  # (sets,): temperature of all bodies at the start


def weights(rate: np.ndarray, step: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Of each mode over a step: what is left of it, and what a straight input adds by its left and its right end."""
    span = rate * step
    grown = -np.expm1(-span)
    mean = grown / span
    return 1 - grown, (mean - 1 + grown) / rate, (1 - mean) / rate


def course(bodies: Bodies, drive: Drive) -> np.ndarray:
    """Temperatures at the grid's points, (points, sets, bodies)."""
    sets, count = bodies.capacity.shape
    reference = np.interp(REFERENCE_RISE, bodies.rises, bodies.to_air)
    own = bodies.factor * reference
    to_air = np.diagonal(bodies.conductance, axis1=1, axis2=2).copy()
    links = bodies.conductance * (1 - np.eye(count))
    to_air[:, -1] += own
    matrix = np.eye(count) * (to_air + links.sum(axis=-1))[:, :, None] - links
    root = np.sqrt(bodies.capacity)
    rate, vector = np.linalg.eigh(matrix / (root[:, :, None] * root[:, None, :]))
    shape = vector / root[:, :, None]  # (sets, bodies, modes)
    kept, by_left, by_right = (np.swapaxes(part, 0, 1).copy() for part in weights(rate[:, None, :], drive.step[:, :, None]))

    # what is known beforehand
    lifted = drive.air - drive.start[:, None]
    by_air = np.einsum("sbm,sb->sm", shape, to_air)
    left = drive.left[..., None] * shape[:, None, 0] + lifted[:, :-1, None] * by_air[:, None]
    right = drive.right[..., None] * shape[:, None, 0] + lifted[:, 1:, None] * by_air[:, None]
    known = by_left * np.swapaxes(left, 0, 1) + by_right * np.swapaxes(right, 0, 1)

    # what depends on the temperatures themselves, at winding and housing: loss that grows, and the housing's own conductance
    ends = shape[:, [0, -1]]  # (sets, 2, modes)
    back = np.swapaxes(ends, 1, 2).copy()
    by_left, by_right = (part[:, :, None] * ends for part in (by_left, by_right))
    for side, gain in ((by_left, drive.left_gain), (by_right, drive.right_gain)):
        side[:, :, 0] *= gain.T[..., None]
    by_ends = np.concatenate([by_left, by_right], axis=2)  # (steps, sets, 4, modes)
    ratio = np.ones((drive.step.shape[1], sets, 1))
    ratio[1:, :, 0] = drive.step.T[1:] / drive.step.T[:-1]
    lifted, factor, better = lifted.T.copy(), -bodies.factor, drive.better.T.copy()
    modes = np.zeros((len(kept) + 1, sets, 1, count))
    both, before = np.zeros((sets, 1, 4)), np.zeros((sets, 2))
    off, ahead = both[:, 0, :2], both[:, 0, 2:]
    kept, known = kept[:, :, None], known[:, :, None]
    for now in range(len(kept)):
        mode = modes[now]
        np.matmul(mode, back, out=both[..., :2])  # rise of winding and housing over the start
        rise = off[:, 1] - lifted[now]
        off[:, 1] = factor * rise * (np.interp(np.abs(rise), bodies.rises, bodies.to_air) * better[now] - reference)
        if now == 0:
            before[:] = off
        np.subtract(off, before, out=ahead)
        np.multiply(ahead, ratio[now], out=ahead)
        ahead += off
        before[:] = off
        after = np.multiply(kept[now], mode, out=modes[now + 1])
        after += known[now]
        after += both @ by_ends[now]
    made = np.swapaxes(modes[:, :, 0], 0, 1) @ np.swapaxes(shape, 1, 2)  # (sets, points, bodies)
    return np.swapaxes(drive.start[:, None, None] + made, 0, 1)
