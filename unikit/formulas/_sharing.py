"""The numerics of packs that give a power together: one implicit step after another.

Within a step every current is taken as linear in time.  The followers are
then known exactly, the voltage of each pack at the end of the step is linear
in its current there, and the power that is asked gives one quadratic equation.
"""

from __future__ import annotations

import numpy as np

ROUNDS = 3  # of each step: curve and resistance at its end hang on the charge that it takes


def _piece(points: np.ndarray, at: np.ndarray) -> np.ndarray:
    """The piece of the curve on which a state of charge lies; the end pieces go on."""
    return np.clip(np.searchsorted(points, at, side="right") - 1, 0, points.size - 2)


def _pick(table: np.ndarray, piece: np.ndarray) -> np.ndarray:
    return np.take_along_axis(table, piece[..., None], axis=-1)[..., 0]


def march(
    time, power, charge, ohmic, wiring, fast, fast_time, slow, slow_time, points, voltage, factor, from_charge, series=False
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:  # fmt: skip
    """Voltage, currents, states of charge and heat at each instant; arguments as in ``sag.share``."""
    time, power = np.asarray(time, float), np.asarray(power, float)
    lines = np.broadcast_shapes(time.shape[1:], power.shape)
    parts = (charge, ohmic, wiring, fast, fast_time, slow, slow_time, from_charge)
    shape = np.broadcast_shapes(np.broadcast_shapes(*map(np.shape, parts), voltage.shape[:-1]), (*lines, 1))
    charge, ohmic, wiring, fast, fast_time, slow, slow_time, left = (np.broadcast_to(np.asarray(one, float), shape) for one in parts)
    voltage = np.broadcast_to(voltage, (*shape, points.size))
    factor = np.broadcast_to(np.asarray(factor, float), (*shape, points.size))
    slopes, factor_slopes = np.diff(voltage) / np.diff(points), np.diff(factor) / np.diff(points)
    followers = np.zeros((2, *shape))
    weights, constants = np.stack([fast, slow]), np.stack([fast_time, slow_time])
    heats = np.zeros(shape)

    def common(source, inner):
        """Voltage at the terminals and current of each pack, from each pack's voltage without current and its resistance."""
        if series:
            whole, total = source.sum(axis=-1), inner.sum(axis=-1)
        else:
            total = 1 / (1 / inner).sum(axis=-1)
            whole = total * (source / inner).sum(axis=-1)
        with np.errstate(invalid="ignore"):
            terminal = (whole + np.sqrt(whole**2 - 4 * total * power)) / 2
        if series:
            current = np.broadcast_to((power / terminal)[..., None], shape)
            return terminal, current
        return terminal, (source - terminal[..., None]) / inner

    def rest(left):
        piece = _piece(points, left)
        slope, aside = _pick(slopes, piece), left - points[piece]
        return _pick(voltage[..., :-1], piece) + slope * aside, slope, _pick(factor[..., :-1], piece) + _pick(factor_slopes, piece) * aside

    source, _, share = rest(left)
    terminal, current = common(source, wiring + share * ohmic)
    lost = ((wiring + share * ohmic) * current) * current
    found = [(terminal, current, left, heats)]
    for step in np.diff(time, axis=0):
        step = np.broadcast_to(step, lines)[..., None]
        kept = np.exp(-step / constants)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = np.where(step > 1e-9 * constants, -np.expm1(-step / constants) * constants / step, 1.0 - step / (2 * constants))
        begun = kept * followers + (mean - kept) * current  # what is known of the followers at the end
        ended, guess = 1 - mean, current
        for _ in range(ROUNDS):
            after = left - step * (current + guess) / (2 * charge)
            source, slope, share = rest(after)
            tilt = slope * step / (2 * charge)  # how the voltage at rest answers to the current at the end
            inner = wiring + share * (ohmic + (weights * ended).sum(axis=0))
            terminal, guess = common(source + tilt * guess - share * (weights * begun).sum(axis=0), inner + tilt)
        followers = begun + ended * guess
        left = left - step * (current + guess) / (2 * charge)
        before, lost = lost, (wiring + share * ohmic) * guess**2 + share * (weights * followers).sum(axis=0) * guess
        heats = heats + step * (before + lost) / 2
        current = guess
        found.append((terminal, current, left, heats))
    return tuple(np.stack(one) for one in zip(*found, strict=True))
