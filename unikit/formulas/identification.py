"""A rider's delay and gains from a log of lean rate and pedal torque.

The log is taken while the rider balances, so the loop is closed: what the
rider adds by chance moves the machine, and the rider answers that motion too.
Plain least squares takes this echo for an answer.  Here the chance part is
modelled as coloured noise together with the answer, and the errors of
predicting each sample from the samples before it are made least; because the
rider answers late, that is free of bias in a closed loop.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from . import _prediction
from .checks import not_negative, positive, within
from .registry import formula

LOWEST_RATE = 50.0  # Hz
SHORTEST_LOG = 20.0  # s
LEAST_MOTION = 0.004  # rad/s, standard deviation of the lean rate: below this sensors and road shake more than the rider sways
LONGEST_NOISE_MEMORY = 0.15  # s
LEAST_NOISE_LAGS, MOST_NOISE_LAGS = 2, 24
COARSE_STEP = 0.01  # s
STEPS_AHEAD = 3  # samples that integration and interpolation look ahead: a delay below that would let the future in
FINE_POINTS = 33
BLOCK = 0.5  # s, longer than what one sample's noise does to the errors
INTERVAL = 1.959964  # standard deviations of a normal distribution on either side that hold 95 %
_WIDEST = 0.1  # s, standard error of a delay that says nothing


class RiderFit(NamedTuple):
    """What a log says of its rider; intervals hold the true value in 95 of 100 logs."""

    delay: u.Second
    proportional: u.NewtonMetrePerRadian
    derivative: u.NewtonMetreSecondPerRadian
    acceleration: u.KilogramSquareMetre
    speed_answer: u.NewtonSecond  # pedal torque per speed, proportional gain times speed gain
    delay_error: u.Second  # standard errors
    proportional_error: u.NewtonMetrePerRadian
    derivative_error: u.NewtonMetreSecondPerRadian
    acceleration_error: u.KilogramSquareMetre
    speed_answer_error: u.NewtonSecond
    delay_low: u.Second  # ends of the 95 % interval of the delay, from the profile of the likelihood
    delay_high: u.Second
    muscle_lag: u.Second  # as given
    explained: u.Ratio  # share of the pedal torque's variance that the answer explains
    noise_order: u.Number
    noise_time: u.Second  # how long the remnant remembers: variance times time per independent sample
    effective_samples: u.Number  # independent samples of the remnant in the log
    prediction_error: u.NewtonMetre  # standard deviation of one step's error
    profile_delay: u.Second
    profile_excess: u.Number  # twice the loss of log likelihood at each delay of the profile; 3.84 is the end of 95 %
    answer: u.NewtonMetre  # pedal torque that the lean explains, at each sample from `first` on
    remainder: u.NewtonMetre  # measured less explained
    first: u.Number


def _padded(values: np.ndarray) -> np.ndarray:
    return np.concatenate([[2 * values[0] - values[1]], values, [2 * values[-1] - values[-2]]])


def lagged(values: u.Values, lag: u.Second, step: u.Second) -> u.Values:
    """A signal behind a first-order lag, exact for the cubic through four neighbouring samples."""
    from scipy.signal import lfilter

    if lag == 0:
        return np.array(values, float)
    ratio = step / lag
    nodes, weights = np.polynomial.legendre.leggauss(8)
    nodes = (nodes + 1) / 2
    kernel = ratio * np.exp(-ratio * (1 - nodes)) * weights / 2
    taps = _prediction.cubic(nodes)[0].T @ kernel  # what each of the samples before, at, after and after the next adds in one step
    padded = _padded(np.asarray(values, float))
    drive = sum(tap * padded[place : len(padded) - 3 + place] for place, tap in enumerate(taps))
    decay = np.exp(-ratio)
    return lfilter([1.0], [1.0, -decay], np.concatenate([[values[0]], drive]))


def _integral(values: np.ndarray, step: float) -> np.ndarray:
    """Integral from sample to sample by the cubic through four neighbours."""
    padded = _padded(values)
    pieces = 13 * (values[:-1] + values[1:]) - padded[:-3] - padded[3:]
    return np.concatenate([[0.0], np.cumsum(pieces)]) * step / 24


def _checked(name: str, values: u.Values, count: int | None) -> np.ndarray:
    array = np.asarray(values, float)
    if array.ndim != 1 or (count is not None and len(array) != count):
        wanted = "a list of samples" if count is None else f"{count} samples, as many as the lean rate has"
        raise ValueError(f"{name} must be {wanted}, got shape {array.shape}")
    bad = np.flatnonzero(~np.isfinite(array))
    if len(bad):
        raise ValueError(f"{name} must be finite, got {array[bad[0]]} at sample {bad[0] + 1} and {len(bad)} such samples in all")
    if np.ptp(array) <= 1e-9 * max(1e-3, np.abs(array).max()):
        raise ValueError(f"{name} must vary, got {array[0]:g} in all samples: is its sensor connected?")
    return array


@formula(
    equation=r"A(q)\left[T_p(t) - \sum_j K_j\,\frac{\theta^{(j)}(t-\tau_h)}{1 + s\tau_m} - d(t)\right] = e(t),\quad"
    r" \min_{\tau_h, K, A, d}\sum e^2",
    source="ljung_identification, forssell_ljung_1999",
    sign="positive lean and positive torque forward; positive gains answer a lean forward by driving forward",
    valid="one steady ride; the rider answers late by at least three samples; lean rate measured with little noise",
)
def rider(
    lean_rate: u.RadianPerSecond,
    pedal_torque: u.NewtonMetre,
    sampling_rate: u.Hertz,
    muscle_lag: u.Second = 0.03,
    predictive: bool = False,
    speed: u.MetrePerSecond | None = None,
    crank_rate: u.RadianPerSecond | None = None,
    leg_damping: u.NewtonMetreSecondPerRadian = 0.0,
    leg_stiffness: u.NewtonMetrePerRadian = 0.0,
    replanning_time: u.Second = 0.2,
    shortest_delay: u.Second = 0.04,
    longest_delay: u.Second = 0.35,
    drift_time: u.Second = 120.0,
    noise_order: u.Number | None = None,
    lean_rate_noise: u.RadianPerSecond = 0.0,
) -> RiderFit:
    """Reaction delay and gains of the rider of a log, with standard errors and 95 % intervals.

    The lean is the integral of the lean rate; its unknown start, the offset of
    the sensor and all that is slower than the drift time are found along with
    the rest, as a constant, a ramp and sines.  A longer muscle lag is paid for
    with a shorter delay: the lag is taken as known.  So is what the legs do passively:
    it answers at once, and what answers at once cannot be told from chance in
    a closed loop.  With the crank rate it is taken off the pedal torque first.

    Args:
        lean_rate: rate of the body's lean at each sample.
        pedal_torque: torque at the crank at each sample.
        sampling_rate: samples per second.
        muscle_lag: time constant of the muscle, assumed.
        predictive: true for a rider who may also answer lean acceleration.
        speed: road speed at each sample, if the rider answers it.
        crank_rate: rate of the cranks against the body at each sample; needed where the legs have damping or stiffness.
        leg_damping: damping of the legs at the crank, assumed.
        leg_stiffness: stiffness of the legs at the crank, assumed.
        replanning_time: time after which the legs have taken up a new cadence, assumed.
        shortest_delay: least delay to look at; at least three samples.
        longest_delay: greatest delay to look at.
        drift_time: period from which on changes are taken for drift.
        noise_order: order of the noise model; by a criterion if left out, 0 for plain least squares.
        lean_rate_noise: standard deviation of the sensor's white noise, as a log of the machine at rest shows it.

    >>> stream = np.random.default_rng(1)
    >>> rate = np.cumsum(stream.normal(size=6000)) % 7 - 3.5
    >>> torque = np.roll(lagged(50 * rate, 0.03, 0.01), 12) + stream.normal(size=6000)
    >>> found = rider(rate, torque, 100.0)
    >>> bool(abs(found.delay - 0.12) < 0.003), bool(abs(found.derivative - 50) < 2)
    (True, True)
    """
    rate = _checked("lean_rate", lean_rate, None)
    torque = _checked("pedal_torque", pedal_torque, len(rate))
    if not sampling_rate >= LOWEST_RATE:
        raise ValueError(f"sampling_rate must be at least {LOWEST_RATE:g} Hz to tell delays of a rider, got {sampling_rate:g}")
    step = 1 / sampling_rate
    if len(rate) * step < SHORTEST_LOG:
        raise ValueError(f"the log must last at least {SHORTEST_LOG:g} s, got {len(rate) * step:.3g} s")
    not_negative("muscle_lag", muscle_lag)
    positive("replanning_time", replanning_time)
    positive("drift_time", drift_time)
    not_negative("lean_rate_noise", lean_rate_noise)
    moved = float(np.std(rate))
    most_noise = float(np.std(np.diff(rate)) / np.sqrt(2))
    if lean_rate_noise > 1.1 * most_noise:
        raise ValueError(f"lean_rate_noise must be at most {most_noise:.3g} rad/s, which the log itself shows, got {lean_rate_noise:g}")
    if moved < LEAST_MOTION:
        raise ValueError(
            f"the rider hardly moved: lean rate has a standard deviation of {np.degrees(moved):.2g} deg/s, "
            f"below {np.degrees(LEAST_MOTION):.2g} deg/s; such a log cannot tell the delay"
        )
    shortest = max(shortest_delay, STEPS_AHEAD * step)
    within("longest_delay", longest_delay, shortest + 3 * COARSE_STEP, 1.0)

    delayed = [lagged(_integral(rate, step), muscle_lag, step), lagged(rate, muscle_lag, step)]
    if predictive:
        positive("muscle_lag", muscle_lag)
        delayed.append((rate - delayed[1]) / muscle_lag)
    if speed is not None:
        delayed.append(lagged(_checked("speed", speed, len(rate)), muscle_lag, step))
    settle = 8 * muscle_lag
    if crank_rate is not None:
        torque = torque + _legs(_checked("crank_rate", crank_rate, len(rate)), leg_damping, leg_stiffness, replanning_time, step)
        settle += 8 * replanning_time
    elif leg_damping or leg_stiffness:
        raise ValueError("crank_rate is needed to take what the legs do passively off the pedal torque")
    most = min(MOST_NOISE_LAGS, int(round(LONGEST_NOISE_MEMORY * sampling_rate))) if noise_order is None else int(noise_order)
    delay_lags, settle = (int(np.ceil(time * sampling_rate)) for time in (longest_delay, settle))
    first = max(settle, most + delay_lags + _prediction.TAPS)
    slow = _prediction.drift(len(rate) - first, int((len(rate) - first) * step / drift_time))
    torque, *delayed = (part - np.polyval(np.polyfit(np.arange(len(part)), part, 1), np.arange(len(part))) for part in (torque, *delayed))
    echoes = [lean_rate_noise * echo for echo in _echoes(muscle_lag, step, len(delayed), predictive)]
    data = _prediction.gram(torque, delayed, most, delay_lags, slow, echoes)
    middle, found = _least(data, step, np.array([shortest, longest_delay]), noise_order)
    seen = _prediction.errors_at(torque, delayed, slow, middle / step, found.gains, found.noise)
    hessian = _prediction.curvature(data, middle / step, found.gains, found.noise)
    if not (found.misfit > 0 and np.all(np.diag(hessian) > 0)):
        raise ValueError(f"with lean_rate_noise {lean_rate_noise:g} rad/s nothing is left to fit: the log cannot tell the delay")
    plain, spread = _prediction.covariance(hessian, seen, int(round(BLOCK * sampling_rate)))
    errors = np.sqrt(np.diag(spread))[: 1 + len(delayed)]
    errors[0] *= step
    if not errors[0] < _WIDEST:
        raise ValueError(f"the log cannot tell the delay: its standard error is {errors[0]:.2g} s; a livelier or longer ride is needed")
    scale = data.count * plain[0, 0] / spread[0, 0]
    profile = _profile(data, step, np.array([shortest, longest_delay]), found, middle, errors[0], scale)
    variance = found.misfit / (data.count - len(plain))
    independent = variance / found.noise.sum() ** 2 / np.mean(seen.remainder**2)  # samples per independent one
    names = ["proportional", "derivative"] + ["acceleration"] * predictive + ["speed_answer"] * (speed is not None)
    gains = dict.fromkeys(("acceleration", "speed_answer", "acceleration_error", "speed_answer_error"), 0.0)
    gains |= dict(zip(names, found.gains.tolist(), strict=True))
    gains |= {f"{name}_error": float(error) for name, error in zip(names, errors[1:], strict=True)}
    return RiderFit(
        delay=middle,
        delay_error=float(errors[0]),
        delay_low=_crossing(*profile, middle, -1),
        delay_high=_crossing(*profile, middle, 1),
        muscle_lag=muscle_lag,
        explained=float(1 - np.mean(seen.remainder**2) / np.mean((seen.answer + seen.remainder) ** 2)),
        noise_order=len(found.noise) - 1,
        noise_time=float(independent * step),
        effective_samples=float(len(seen.remainder) / independent),
        prediction_error=float(np.sqrt(variance)),
        profile_delay=profile[0],
        profile_excess=profile[1],
        answer=seen.answer,
        remainder=seen.remainder,
        first=first,
        **gains,
    )


def _legs(crank_rate: np.ndarray, damping: float, stiffness: float, replanning_time: float, step: float) -> np.ndarray:
    """What passive legs take from the pedal torque, (c s + k) T^2 s / (T s + 1)^2 of the crank rate."""
    once = lagged(crank_rate, replanning_time, step)
    twice = lagged(once, replanning_time, step)
    return damping * (crank_rate - 2 * once + twice) + stiffness * replanning_time * (once - twice)


def _chosen_order(data: _prediction.Gram, whole: np.ndarray, gains: np.ndarray) -> int:
    """Order of the noise model by Schwarz's criterion, from the remainder at the best delay with the longest model.

    Akaike's let the order wander from log to log, which scattered the gains by a fifth more than their errors say.
    """
    mix = np.concatenate([[1.0], -gains])
    moments = np.einsum("skrl,s,r->kl", whole, mix, mix)
    scores = []
    for order in range(LEAST_NOISE_LAGS, len(moments)):
        inner = np.linalg.solve(moments[1 : order + 1, 1 : order + 1], moments[1 : order + 1, 0])
        scores.append(data.count * np.log(moments[0, 0] - inner @ moments[1 : order + 1, 0]) + np.log(data.count) * order)
    return LEAST_NOISE_LAGS + int(np.argmin(scores))


def _echoes(muscle_lag: float, step: float, inputs: int, predictive: bool) -> list[np.ndarray]:
    """What one sample of noise in the lean rate leaves in each input; in the lean it is too little to count."""
    blip = np.zeros(5 + int(np.ceil(8 * muscle_lag / step)))
    blip[2] = 1.0
    late = lagged(blip, muscle_lag, step)
    found = [np.zeros_like(blip)] * inputs
    found[1] = late
    if predictive:
        found[2] = (blip - late) / muscle_lag
    return found


def _coarse(ends: np.ndarray) -> np.ndarray:
    return np.linspace(*ends, int(np.ceil(np.ptp(ends) / COARSE_STEP)) + 1)


def _least(data: _prediction.Gram, step: float, ends: np.ndarray, noise_order: int | None) -> tuple[float, _prediction.Solution]:
    """The delay with the least misfit: on a coarse grid, then ever finer around the best."""
    coarse, order = _coarse(ends), data.noise_lags
    if noise_order is None:
        rough = _prediction.solve(_prediction.at_delays(data, coarse / step, order), rounds=6)
        best = int(np.argmin(rough.misfit))
        order = _chosen_order(data, _prediction.at_delays(data, coarse[best] / step, order)[0], rough.gains[best])
    found = _prediction.solve(_prediction.at_delays(data, coarse / step, order))
    best = int(np.argmin(found.misfit))
    if best in (0, len(coarse) - 1):
        raise ValueError(
            f"the best delay lies at the end of the search, {coarse[best]:.3g} s: "
            "the log cannot tell the delay, or longest_delay is too short"
        )
    middle, width = coarse[best], COARSE_STEP
    for _ in range(5):
        fine = np.clip(middle + width * np.linspace(-1, 1, 9), *ends)
        found = _prediction.solve(_prediction.at_delays(data, fine / step, order))
        best = int(np.argmin(found.misfit))
        middle, width = fine[best], width / 4
    return float(middle), _prediction.Solution(found.gains[best], found.noise[best], float(found.misfit[best]))


def _profile(data, step, ends, found, middle, error, scale) -> tuple[np.ndarray, np.ndarray]:
    """Twice the loss of log likelihood over the delay, on the coarse grid and densely around the best."""
    delays = np.union1d(_coarse(ends), np.clip(middle + np.linspace(-4, 4, FINE_POINTS) * error, *ends))
    misfit = _prediction.solve(_prediction.at_delays(data, delays / step, len(found.noise) - 1)).misfit
    return delays, scale * np.log(np.maximum(misfit / found.misfit, 1.0))


def _crossing(delays: np.ndarray, excess: np.ndarray, middle: float, side: int) -> float:
    """Where the profile rises to the end of the 95 % interval on one side; the last delay looked at if it does not."""
    chosen = delays * side >= middle * side
    away, height = np.abs(delays[chosen] - middle), excess[chosen]
    sort = np.argsort(away)
    away, height = away[sort], height[sort]
    above = np.flatnonzero(height >= INTERVAL**2)
    if not len(above):
        return float(middle + side * away[-1])
    place = above[0]
    return (
        float(middle + side * np.interp(INTERVAL**2, height[place - 1 : place + 1], away[place - 1 : place + 1]))
        if place
        else float(middle)
    )
