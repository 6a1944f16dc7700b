"""The numerics of packs that give a power together: one implicit step after another.

Within a step every current is taken as linear in time.  The followers are
then known exactly, the voltage of each pack at the end of the step is linear
in its current there, and the power that is asked gives one quadratic equation.
"""

from __future__ import annotations

import numpy as np

ROUNDS = 2  # of each step: curve and resistance at its end hang on the charge that it takes


def march(
    time, power, charge, ohmic, wiring, fast, fast_time, slow, slow_time, points, voltage, factor, from_charge, series=False
) -> tuple[np.ndarray, ...]:
    """Voltage of all, and voltage, current, state of charge and heat of each pack at each instant; arguments as in ``sag.share``."""
    time, power = np.asarray(time, float), np.asarray(power, float)
    varies = power.ndim == time.ndim
    lines = np.broadcast_shapes(time.shape[1:], power.shape[1:] if varies else power.shape)
    powers = np.broadcast_to(power, (len(time), *lines))
    parts = (charge, ohmic, wiring, fast, fast_time, slow, slow_time, from_charge)
    shape = np.broadcast_shapes(np.broadcast_shapes(*map(np.shape, parts), voltage.shape[:-1]), (*lines, 1))
    charge, ohmic, wiring, fast, fast_time, slow, slow_time, left = (np.broadcast_to(np.asarray(one, float), shape) for one in parts)
    rest = _curves(points, voltage, factor, shape)
    weights, constants = np.stack([fast, slow]), np.stack([fast_time, slow_time])
    steps = np.broadcast_to(np.diff(time, axis=0), (len(time) - 1, *lines))[..., None]

    def common(source, inner, power):
        """Voltage of all, and voltage and current of each pack, from each pack's voltage without current and its resistance."""
        if series:
            whole, total = source.sum(axis=-1), inner.sum(axis=-1)
        else:
            conductance = 1 / inner
            total = 1 / conductance.sum(axis=-1)
            whole = total * (source * conductance).sum(axis=-1)
        terminal = (whole + np.sqrt(whole**2 - 4 * total * power)) / 2
        if series:
            current = np.broadcast_to((power / terminal)[..., None], shape)
            return terminal, source - inner * current, current
        own = np.broadcast_to(terminal[..., None], shape)
        return terminal, own, (source - own) * conductance

    with np.errstate(invalid="ignore"):  # a voltage that has collapsed
        source, _, share = rest(left)
        felt, heats = np.zeros((2, *shape)), np.zeros(shape)
        terminal, own, current = common(source, wiring + share * ohmic, powers[0])
        lost = (wiring + share * ohmic) * current**2
        found = [(terminal, own, current, left, heats)]
        for step, power in zip(steps, powers[1:], strict=True):
            kept = np.exp(-step / constants)
            mean = np.where(step > 1e-9 * constants, (1 - kept) * constants / np.maximum(step, 1e-300), 1.0)
            begun, ended = kept * felt + (mean - kept) * current, 1 - mean  # followers at the end: what is known, and per ampere there
            dragged, lagging = (weights * begun).sum(axis=0), (weights * ended).sum(axis=0)
            per_ampere = step / (2 * charge)
            guess = current
            for _ in range(ROUNDS):
                source, slope, share = rest(left - per_ampere * (current + guess))
                tilt = slope * per_ampere  # how the voltage at rest answers to the current at the end
                terminal, own, guess = common(source + tilt * guess - share * dragged, wiring + share * (ohmic + lagging) + tilt, power)
            felt, left = begun + ended * guess, left - per_ampere * (current + guess)
            before, lost = lost, guess * ((wiring + share * ohmic) * guess + share * (weights * felt).sum(axis=0))
            heats = heats + step * (before + lost) / 2
            current = guess
            found.append((terminal, own, current, left, heats))
    return tuple(np.stack(one) for one in zip(*found, strict=True))


def _curves(points, voltage, factor, shape):
    """Voltage at rest, its slope and the growth of the resistances at a state of charge of each pack; the end pieces go on."""
    voltage, factor = (np.broadcast_to(np.asarray(one, float), (*shape, points.size)) for one in (voltage, factor))
    width = np.diff(points)
    table = np.stack([voltage[..., :-1], np.diff(voltage) / width, factor[..., :-1], np.diff(factor) / width]).reshape(4, -1)
    first, inner = np.arange(int(np.prod(shape))).reshape(shape) * width.size, points[1:-1]

    def rest(left):
        piece = np.searchsorted(inner, left, side="right")
        level, slope, grown, growing = table[:, first + piece]
        aside = left - points[piece]
        return level + slope * aside, slope, grown + growing * aside

    return rest
