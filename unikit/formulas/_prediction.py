"""Prediction errors of a delayed linear answer with coloured noise, from one Gram matrix of lagged signals.

A record of N samples is read once, into the Gram matrix of its lagged columns.
Every delay, noise model and gain after that is a quadratic form in it, so
that hundreds of candidate delays cost little more than one.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

CHUNK = 20_000  # samples
TAPS = 4  # cubic interpolation between samples: two on either side of the delayed moment


class Gram(NamedTuple):
    """Inner products of lagged columns: the output's, then those of every delayed input."""

    matrix: np.ndarray
    noise_lags: int  # greatest order of the noise model
    input_lags: int  # columns of each delayed input
    inputs: int
    count: int  # samples that count, less what the slow drift took


class Solution(NamedTuple):
    """For each delay: the gains and noise model with the least sum of squared prediction errors."""

    gains: np.ndarray
    noise: np.ndarray  # first coefficient 1
    misfit: np.ndarray


def drift(count: int, periods: int) -> np.ndarray:
    """Orthonormal columns of constant, ramp and whole sines; a lag of one of them is again one of them."""
    place = (np.arange(count) - (count - 1) / 2) / count
    angle = 2 * np.pi * place[:, None] * np.arange(1, periods + 1)
    return np.linalg.qr(np.column_stack([np.ones(count), place, np.cos(angle), np.sin(angle)]))[0]


def gram(
    output: np.ndarray, delayed: list[np.ndarray], noise_lags: int, delay_lags: int, slow: np.ndarray, echoes: list[np.ndarray]
) -> Gram:
    """Read the record, `CHUNK` samples at once: the last ones, as many as the slow columns have, which are taken out.

    What white sensor noise adds to the inner products on average is taken off
    too; `echoes` holds what one sample of it leaves in each input.
    """
    input_lags = noise_lags + delay_lags + TAPS
    count = len(slow)
    start = len(output) - count
    lags = [(output, lag) for lag in range(noise_lags + 1)] + [(signal, lag) for signal in delayed for lag in range(input_lags)]
    inner, along = np.zeros((len(lags), len(lags))), np.zeros((slow.shape[1], len(lags)))
    for low in range(0, count, CHUNK):
        high = min(low + CHUNK, count)
        block = np.stack([signal[start + low - lag : start + high - lag] for signal, lag in lags], axis=1)
        inner += block.T @ block
        along += slow[low:high].T @ block
    trace = np.zeros((len(lags), input_lags + len(echoes[0])))
    for number, echo in enumerate(echoes):
        for lag in range(input_lags):
            trace[noise_lags + 1 + number * input_lags + lag, lag : lag + len(echo)] = echo
    left = count - slow.shape[1]
    return Gram(inner - along.T @ along - left * (trace @ trace.T), noise_lags, input_lags, len(delayed), left)


def cubic(part: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Cubic interpolation at a part of a step between the second and third of four samples, and its slope."""
    f = part[:, None]
    value = np.hstack([-f * (f - 1) * (f - 2) / 6, (f + 1) * (f - 1) * (f - 2) / 2, -(f + 1) * f * (f - 2) / 2, (f + 1) * f * (f - 1) / 6])
    slope = np.hstack([-(3 * f**2 - 6 * f + 2) / 6, (3 * f**2 - 4 * f - 1) / 2, -(3 * f**2 - 2 * f - 2) / 2, (3 * f**2 - 1) / 6])
    return value, slope


def _shift(data: Gram, steps: np.ndarray, order: int, slope: bool) -> np.ndarray:
    """For each delay in steps, the columns of a delayed input from its lagged samples."""
    whole = np.floor(steps).astype(int)
    taps = cubic(steps - whole)[int(slope)]
    made = np.zeros((len(steps), data.input_lags, order + 1))
    rows = np.arange(len(steps))
    for lag in range(order + 1):
        for tap in range(TAPS):
            made[rows, whole - 1 + tap + lag, lag] = taps[:, tap]
    return made


def at_delays(data: Gram, steps: np.ndarray, order: int, slopes: bool = False) -> np.ndarray:
    """The Gram matrix at each delay, as (delay, signal, lag, signal, lag); with `slopes` also of the inputs' slopes over the delay."""
    steps, size = np.atleast_1d(np.asarray(steps, float)), order + 1
    signals = 1 + data.inputs + (data.inputs if slopes else 0)
    pick = np.zeros((len(steps), len(data.matrix), signals * size))
    output = data.noise_lags + 1
    pick[:, np.arange(size), np.arange(size)] = 1.0
    shifts = [_shift(data, steps, order, slope) for slope in ([False, True] if slopes else [False])]
    for number in range(data.inputs):
        low = output + number * data.input_lags
        for place, shift in zip((1 + number, 1 + data.inputs + number), shifts, strict=False):
            pick[:, low : low + data.input_lags, place * size : (place + 1) * size] = shift
    found = np.swapaxes(pick, 1, 2) @ (data.matrix @ pick)
    return found.reshape(len(steps), signals, size, signals, size)


def _parts(whole: np.ndarray, mix: np.ndarray, noise: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The quadratic form with the noise filter put in, with the mix of signals put in, and with one of each."""
    count, signals, size = whole.shape[:3]
    half = (whole.reshape(count, -1, size) @ noise[:, :, None]).reshape(count, signals, size, signals)
    filtered = np.einsum("dskr,dk->dsr", half, noise)
    across = (mix[:, None, :] @ whole.reshape(count, signals, -1)).reshape(count, size, signals, size)
    mixed = np.einsum("dkrl,dr->dkl", across, mix)
    return filtered, mixed, np.einsum("dlsk,dk->dsl", across, noise)


def solve(whole: np.ndarray, rounds: int = 60, tolerance: float = 1e-10) -> Solution:
    """Least squared prediction errors over gains and noise model, at each delay on its own.

    The errors are linear in the gains and linear in the noise model, so two
    rounds of turns lead near enough for Gauss's step on both together; a step
    that makes a delay worse is halved.
    """
    count, signals, size = whole.shape[:3]
    mix, noise = np.zeros((count, signals)), np.zeros((count, size))
    mix[:, 0] = noise[:, 0] = 1.0
    for _ in range(3):
        filtered = _parts(whole, mix, noise)[0]
        mix[:, 1:] = -_solved(filtered[:, 1:, 1:], filtered[:, 1:, 0])
        mixed = _parts(whole, mix, noise)[1]
        if size > 1:
            noise[:, 1:] = -_solved(mixed[:, 1:, 1:], mixed[:, 1:, 0])
    misfit = np.full(count, np.inf)
    kept, share, step = (mix.copy(), noise.copy()), np.ones(count), None
    for _ in range(rounds):
        filtered, mixed, cross = _parts(whole, mix, noise)
        now = np.einsum("dsr,ds,dr->d", filtered, mix, mix)
        better = now <= misfit * (1 + 1e-13)
        share = np.where(better, 1.0, share / 2)
        gain = np.where(better, misfit - now, np.inf)
        for one, other in zip(kept, (mix, noise), strict=True):
            one[better] = other[better]
        if step is None or better.any():
            fresh = _step(filtered, mixed, cross, mix, noise)
            step = fresh if step is None else np.where(better[:, None], fresh, step)
        misfit = np.where(better, now, misfit)
        if np.all((gain < tolerance * misfit) | (share < 1e-4)):
            break
        mix, noise = kept[0].copy(), kept[1].copy()
        mix[:, 1:] += share[:, None] * step[:, : signals - 1]
        noise[:, 1:] += share[:, None] * step[:, signals - 1 :]
    return Solution(-kept[0][:, 1:], kept[1], misfit)


def _step(filtered, mixed, cross, mix, noise):
    """Gauss's step: columns of the errors' slopes over the mix of signals and over the noise model."""
    between = cross[:, 1:, 1:]
    hessian = np.block([[filtered[:, 1:, 1:], between], [np.swapaxes(between, 1, 2), mixed[:, 1:, 1:]]])
    slope = np.concatenate([np.einsum("dsr,dr->ds", filtered, mix)[:, 1:], np.einsum("dkl,dl->dk", mixed, noise)[:, 1:]], axis=1)
    return -_solved(hessian, slope)


def _solved(matrix: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Solve symmetric systems scaled to a unit diagonal; a column that is a copy of others gets next to nothing."""
    scale = 1 / np.sqrt(np.maximum(np.diagonal(matrix, axis1=-2, axis2=-1), 1e-300))
    scaled = matrix * scale[..., :, None] * scale[..., None, :] + 1e-13 * np.eye(matrix.shape[-1])
    return np.linalg.solve(scaled, (right * scale)[..., None])[..., 0] * scale


class Errors(NamedTuple):
    """The record at one solution: what the inputs explain, what is left, its prediction errors and their slopes."""

    answer: np.ndarray
    remainder: np.ndarray
    errors: np.ndarray
    slopes: np.ndarray  # over the delay in steps, the gains and the noise model


def errors_at(output: np.ndarray, delayed: list[np.ndarray], slow: np.ndarray, step: float, gains: np.ndarray, noise: np.ndarray) -> Errors:
    """Errors and slopes sample by sample; in a closed loop the inputs hold past noise, so that the noise model's slopes count too."""
    from scipy.signal import lfilter

    count, whole = len(slow), int(np.floor(step))
    start, order = len(output) - count, len(noise) - 1

    def cleared(column: np.ndarray) -> np.ndarray:
        return column[start:] - slow @ (slow.T @ column[start:])

    late, late_slope = (
        [np.concatenate([np.zeros(whole - 1), lfilter(taps[0], [1.0], signal)[: len(signal) - whole + 1]]) for signal in delayed]
        for taps in cubic(np.array([step - whole]))
    )
    answer = sum(gain * signal for gain, signal in zip(gains, late, strict=True))
    remainder = output - answer
    columns = [lfilter(noise, [1.0], -sum(gain * signal for gain, signal in zip(gains, late_slope, strict=True)))]
    columns += [lfilter(noise, [1.0], -signal) for signal in late]
    columns += [np.concatenate([np.zeros(lag), remainder[: len(remainder) - lag]]) for lag in range(1, order + 1)]
    slopes = np.stack([cleared(column) for column in columns], axis=1)
    return Errors(cleared(answer), cleared(remainder), cleared(lfilter(noise, [1.0], remainder)), slopes)


def curvature(data: Gram, step: float, gains: np.ndarray, noise: np.ndarray) -> np.ndarray:
    """Half the second derivative of the misfit over delay, gains and noise model, as Gauss has it."""
    whole = at_delays(data, np.array([step]), len(noise) - 1, slopes=True)[0]
    inputs, first = len(gains), len(noise) - 1
    columns = np.zeros((1 + 2 * inputs, len(noise), 1 + inputs + first))
    columns[1 + inputs :, :, 0] = -gains[:, None] * noise
    for number in range(inputs):
        columns[1 + number, :, 1 + number] = -noise
    for lag in range(first):
        columns[: 1 + inputs, lag + 1, 1 + inputs + lag] = np.concatenate([[1.0], -gains])
    flat = columns.reshape(-1, columns.shape[-1])
    return flat.T @ whole.reshape(len(flat), len(flat)) @ flat


def covariance(hessian: np.ndarray, found: Errors, block: int) -> tuple[np.ndarray, np.ndarray]:
    """Covariance of delay, gains and noise model: from the curvature alone, and from the scatter of the slopes in blocks of samples.

    The second holds too where the errors are not quite white, because sensors
    add noise that the model has no place for.
    """
    count, parameters = found.slopes.shape
    scale = 1 / np.sqrt(np.diag(hessian))
    inverse = np.linalg.inv(hessian * np.outer(scale, scale)) * np.outer(scale, scale)
    drawn = found.slopes * found.errors[:, None]
    total = np.concatenate([np.zeros((1, parameters)), np.cumsum(drawn - drawn.mean(axis=0), axis=0)])
    sums = total[block:] - total[:-block]
    scatter = sums.T @ sums / block * count / len(sums)
    return inverse * (found.errors @ found.errors) / (count - parameters), inverse @ scatter @ inverse
