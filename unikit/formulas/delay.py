"""Linear systems with delays: roots, their number, stability boundaries, and margins with the delay exact.

A system is x' = A x + sum of B_i x(t - tau_i): ``a_matrix`` is A and ``delayed``
a list of pairs (B_i, tau_i).  Delays may be zero, matrices of any rank, and
leading axes of all three are many systems at once.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from . import _chebyshev, _free, _response
from .checks import not_negative, positive
from .registry import formula

_SIGN = "a positive real part grows; roots by falling real part, of a pair the upper one first"
_VALID = "retarded systems: no delayed derivative of a state"


class HopfPoint(NamedTuple):
    """A pair of gains at which a pair of roots sits on the imaginary axis."""

    proportional: u.PerSecondSquared
    derivative: u.PerSecond


class Margins(NamedTuple):
    """How far a loop can be changed before it passes through -1; inf (0 for gain_down) where nothing of the kind makes it.

    ``phase`` is positive where the loop lacks lag to reach -1, negative where it lacks lead.
    """

    gain_down: u.Ratio
    gain_up: u.Ratio
    phase: u.Radian
    phase_frequency: u.RadianPerSecond
    vector: u.Ratio
    vector_frequency: u.RadianPerSecond


# -- roots -------------------------------------------------------------------------


@formula(
    equation=r"\det\left(s\,\mathbf{I} - \mathbf{A} - \sum_i \mathbf{B}_i\,e^{-s\tau_i}\right) = 0",
    source="breda_generator, trefethen_spectral",
    sign=_SIGN,
    valid=_VALID,
)
def rightmost_roots(a_matrix: u.Values, delayed: u.Values, count: u.Number = 6) -> u.PerSecond:
    """The roots with the largest real parts; the last axis of the answer counts them.

    The delayed signals alone are written as polynomials over the past, and the
    eigenvalues of the matrix that this gives are polished by Newton's method on
    the exact equation until the correction is down to rounding.  Where the
    polish leads away from its start, the order is raised; where the highest
    order does not do either, an error says near which value.  Fewer than
    ``count`` come back from a system without delay, which has no more, and
    where the others lie left of -7/(longest delay) and cannot be told for sure;
    among many systems they are filled up with -inf.

    Args:
        a_matrix: A, with the states along its last two axes.
        delayed: pairs of a matrix B and its delay in seconds.
        count: how many roots.

    >>> rightmost_roots([[0.0]], [([[-1.0]], 1.0)], count=2).round(6).tolist()
    [(-0.318132+1.337236j), (-0.318132-1.337236j)]
    """
    if int(count) != count or count < 1:
        raise ValueError(f"count must be a whole number above 0, got {count}")
    system, lead = _chebyshev.read(a_matrix, delayed)
    found = _chebyshev.rightmost(system, int(count))
    return found.reshape(*lead, int(count)) if lead else found[0, np.isfinite(found[0])]


@formula(equation=r"\max_k \Re s_k < 0", source="breda_generator", sign=_SIGN, valid=_VALID)
def is_stable(a_matrix: u.Values, delayed: u.Values) -> bool:
    """Whether all roots lie left of the imaginary axis; an array of answers for many systems.

    A root on the axis, to within 1e-9 of the rate 1/longest delay or of the
    root itself, counts as not stable.

    Args:
        a_matrix: A, with the states along its last two axes.
        delayed: pairs of a matrix B and its delay in seconds.

    >>> is_stable([[0.0]], [([[-1.0]], [1.5, 1.6])]).tolist()
    [True, False]
    """
    system, lead = _chebyshev.read(a_matrix, delayed)
    root = _chebyshev.rightmost(system, 1)[:, 0]
    rate = np.abs(root)
    if system.delayed:
        longest = _chebyshev.longest_delay(system)
        rate = rate + np.divide(1.0, longest, out=np.zeros_like(longest), where=longest > 0)
    stable = root.real < -1e-9 * rate
    return stable.reshape(lead) if lead else bool(stable[0])


@formula(
    equation=r"N = \frac{1}{2\pi}\oint \mathrm{d}\arg \det\left(s\,\mathbf{I} - \mathbf{A} - \sum_i \mathbf{B}_i\,e^{-s\tau_i}\right)",
    source="stepan_delay",
    sign="roots right of the imaginary axis, each as often as its multiplicity",
    valid=_VALID,
)
def root_count(a_matrix: u.Values, delayed: u.Values) -> u.Number:
    """How many roots lie right of the imaginary axis, by the argument principle.

    Uses no generator and no eigenvalue of it.  The contour runs down the upper
    imaginary axis, sampled until the phase cannot be mistaken, and is closed by
    an arc beyond the largest possible root, along which the phase is known from
    both its ends.

    Args:
        a_matrix: A, with the states along its last two axes; one system.
        delayed: pairs of a matrix B and its delay in seconds.

    >>> root_count([[0.0]], [([[-1.0]], 1.5)]), root_count([[0.0]], [([[-1.0]], 1.6)])
    (0, 2)
    """
    system, lead = _chebyshev.read(a_matrix, delayed)
    if lead:
        raise ValueError(f"root_count takes one system at a time, got leading axes of shape {lead}; is_stable takes many")
    states = system.matrix.shape[-1]
    radius = 1.25 * float(_chebyshev.reach(system, 0.0)[0])
    if radius == 0:
        raise ValueError("a root sits on the imaginary axis at 0 rad/s: no state grows or decays by itself")
    frequency = np.concatenate([[0.0], np.geomspace(1e-4, 1.0, 32)]) * radius
    signs, turn = _sample(system, frequency, radius)
    # beyond the reach every eigenvalue of (A + sum B exp(-s tau))/s is below one, so no factor of the determinant turns past a right angle
    late = system.matrix[0] + sum(gain[0] * np.exp(-1j * radius * time[0]) for gain, time in system.delayed)
    arc = states * np.pi / 2 + float(np.angle(1 - np.linalg.eigvals(late / (1j * radius))).sum())
    delays = sum(np.linalg.matrix_rank(gain[0]) * time[0] for gain, time in system.delayed)
    while True:
        step = np.diff(frequency)
        coarse = np.maximum(step * np.maximum(turn[:-1], turn[1:]), step * delays) > 0.7
        if not coarse.any():
            break
        tight = coarse & (step <= 1e-9 * radius)
        if tight.any():
            raise ValueError(
                f"a root sits on the imaginary axis near {frequency[:-1][tight][0]:.6g} rad/s, to within rounding: it has no side"
            )
        cuts = np.linspace(0, 1, 5)[1:-1]
        extra = (frequency[:-1][coarse, None] + step[coarse, None] * cuts).ravel()
        more = _sample(system, extra, radius)
        order = np.argsort(np.concatenate([frequency, extra]))
        frequency, signs, turn = (np.concatenate(pair)[order] for pair in ((frequency, extra), (signs, more[0]), (turn, more[1])))
    along = np.angle(signs[:-1] / signs[1:]).sum()  # from the top down
    return int(np.rint((arc + along) / np.pi))


def _sample(system: _chebyshev.System, frequency: np.ndarray, radius: float) -> tuple[np.ndarray, np.ndarray]:
    """Direction of the characteristic function on the imaginary axis, and how fast it may turn."""
    s = 1j * frequency
    step, _ = _chebyshev.newton(system, s, np.full(s.shape, radius))
    return np.linalg.slogdet(_chebyshev.characteristic(system, s)[0])[0], 1 / np.maximum(np.abs(step), 1e-300)


# -- boundaries ----------------------------------------------------------------------


@formula(
    equation=r"\tau_c = \frac{\sqrt{2}}{\Omega}\ \text{(PD)}, \quad \frac{2}{\Omega}\ \text{(with acceleration)}",
    source="stepan_2009, insperger_2013",
    valid="x'' = a x held by delayed feedback without other lags; at the limit no gains are left",
)
def critical_delay(toppling_rate: u.RadianPerSecond, predictive: bool = False) -> u.Second:
    """The delay from which on no gains hold an inverted pendulum.

    Args:
        toppling_rate: rate at which it falls by itself, the root of a.
        predictive: feedback of the acceleration too, besides lean and its rate.

    >>> print(round(critical_delay(6.44), 4))
    0.2196
    """
    positive("toppling_rate", toppling_rate)
    return np.sqrt(4.0 if predictive else 2.0) / toppling_rate


@formula(
    equation=r"k_p = (\omega^2 + a)\cos\omega\tau + k_a\omega^2, \quad"
    r" k_d = (\omega^2 + a)\,\frac{\sin\omega\tau}{\omega}, \quad a = \Omega^2",
    source="stepan_delay, insperger_2013",
    sign=r"x'' - a x = -k_p x(t-\tau) - k_d x'(t-\tau) - k_a x''(t-\tau)",
    valid="the other boundary, a root at zero, is k_p = a; nothing holds from k_a = 1 on",
)
def hopf_curve(
    toppling_rate: u.RadianPerSecond, delay: u.Second, frequency: u.RadianPerSecond, acceleration_gain: u.Ratio = 0.0
) -> HopfPoint:
    """Gains at which a delayed pendulum begins to sway at a frequency, the D-curve.

    Args:
        toppling_rate: rate at which the pendulum falls by itself.
        delay: delay of the feedback.
        frequency: angular frequency of the sway; 0 is the end on the line of the static limit.
        acceleration_gain: gain on the acceleration, below 1.

    >>> point = hopf_curve(9.81**0.5, 0.2, 3.0)
    >>> print(round(point.proportional, 4), round(point.derivative, 4))
    15.5246 3.5403
    """
    positive("toppling_rate", toppling_rate)
    not_negative("delay", delay)
    not_negative("frequency", frequency)
    size, angle = np.square(frequency) + np.square(toppling_rate), np.multiply(frequency, delay)
    return HopfPoint(size * np.cos(angle) + np.multiply(acceleration_gain, np.square(frequency)), size * delay * np.sinc(angle / np.pi))


# -- motion -----------------------------------------------------------------------


@formula(
    equation=r"\dot x = \mathbf{A}\,x + \sum_i \mathbf{B}_i\,x(t - \tau_i),\quad x(t < 0) = 0,\ x(0) = x_0",
    source="method_of_steps",
    valid="steps much shorter than the motion; the error falls with the square of the step",
)
def free_motion(a_matrix: u.Values, delayed: u.Values, initial_state: u.Values, time_step: u.Second, steps: u.Number) -> u.Number:
    """What the states do after a start out of rest, as an array of steps + 1 rows.

    The trapezoidal rule; the past enters by its integral, so that the jump at
    the start costs no order.

    Args:
        a_matrix: A, with the states along its axes; one system.
        delayed: pairs of a matrix B and its delay in seconds.
        initial_state: states at time zero; before it all were zero.
        time_step: time between two rows.
        steps: how many.

    >>> path = free_motion([[0.0]], [([[-1.0]], 1.0)], [1.0], 0.01, 200)
    >>> path[[0, 100, 150], 0].round(4).tolist()
    [1.0, 1.0, 0.5]
    """
    system, lead = _chebyshev.read(a_matrix, delayed)
    if lead:
        raise ValueError(f"free_motion takes one system at a time, got leading axes of shape {lead}")
    positive("time_step", time_step)
    if int(steps) != steps or steps < 1:
        raise ValueError(f"steps must be a whole number above 0, got {steps}")
    state = np.asarray(initial_state, float)
    if state.shape != system.matrix.shape[-1:]:
        raise ValueError(f"initial_state must have the {system.matrix.shape[-1]} states of a_matrix, got shape {state.shape}")
    return _free.march(system, state, time_step, int(steps))


# -- frequency responses ----------------------------------------------------------------


@formula(equation=r"H = e^{-j\omega\tau}", source="definition")
def pure_delay(frequency: u.RadianPerSecond, delay: u.Second) -> u.Ratio:
    """Frequency response of a delay (complex).

    Args:
        frequency: angular frequency.
        delay: delay.

    >>> print(round(float(np.degrees(np.angle(pure_delay(10.0, 0.05)))), 3))
    -28.648
    """
    not_negative("delay", delay)
    return np.exp(-1j * np.multiply(frequency, delay))


@formula(
    equation=r"H = \frac{1 - e^{-j\omega T}}{j\omega T} = e^{-j\omega T/2}\,\frac{\sin(\omega T/2)}{\omega T/2}",
    source="astrom_murray",
    valid="the fundamental of a held signal; frequencies well below that of the sampling",
)
def sample_and_hold(frequency: u.RadianPerSecond, period: u.Second) -> u.Ratio:
    """Frequency response of taking samples and holding each until the next (complex): late by half a period.

    A sensor's dead time counts its computation and this half period.

    Args:
        frequency: angular frequency.
        period: time from one sample to the next.

    >>> held = sample_and_hold(14.0, 0.01)
    >>> print(round(float(-np.angle(held) / 14.0), 6), round(float(abs(held)), 5))
    0.005 0.99918
    """
    not_negative("period", period)
    half = np.multiply(frequency, period) / 2
    return np.exp(-1j * half) * np.sinc(half / np.pi)


@formula(equation=r"H = \frac{1}{1 + j\omega T}", source="definition")
def first_order_lag(frequency: u.RadianPerSecond, lag: u.Second) -> u.Ratio:
    """Frequency response of a first-order lag (complex).

    Args:
        frequency: angular frequency.
        lag: time constant of the lag.

    >>> print(round(float(np.degrees(np.angle(first_order_lag(10.0, 0.1)))), 6))
    -45.0
    """
    not_negative("lag", lag)
    return 1 / (1 + 1j * np.multiply(frequency, lag))


@formula(equation=r"H = \frac{\omega_n^2}{\omega_n^2 - \omega^2 + 2 j \zeta \omega_n \omega}", source="definition")
def second_order_lag(frequency: u.RadianPerSecond, natural_frequency: u.RadianPerSecond, damping_ratio: u.Ratio) -> u.Ratio:
    """Frequency response of a second-order lag (complex).

    Args:
        frequency: angular frequency.
        natural_frequency: undamped angular frequency.
        damping_ratio: damping over critical damping.

    >>> print(round(float(np.degrees(np.angle(second_order_lag(12.566, 125.66, 0.7)))), 2))
    -8.05
    """
    positive("natural_frequency", natural_frequency)
    not_negative("damping_ratio", damping_ratio)
    part = np.divide(frequency, natural_frequency)
    return 1 / (1 - part**2 + 2j * damping_ratio * part)


@formula(
    equation=r"g = \frac{-1}{L},\ \Im L = 0; \quad \varphi = \arg(-L),\ |L| = 1; \quad \min_\omega |1 + L|",
    source="astrom_murray",
    sign="closed loop 1 + L = 0; gains are factors on L",
    valid="frequencies dense enough that neighbours differ little in phase; whether the loop is stable is not asked here",
)
def margins(frequency: u.RadianPerSecond, loop: u.Values) -> Margins:
    """Gain, phase and vector margin of a loop with its delays exact.

    A function is sampled at the frequencies and then called again until each
    margin is exact to rounding; of samples the cubic through four neighbours
    stands in for it.  Leading axes of what comes back are many loops at once;
    the function is then called with frequencies of the same leading axes.

    Args:
        frequency: rising angular frequencies; 0 too where the loop is finite and real there.
        loop: function of the frequency that gives L, or L at the frequencies (complex).

    >>> found = margins(np.geomspace(0.1, 100, 300), lambda w: 2 * pure_delay(w, 0.3) / (1j * w))
    >>> print(round(found.gain_up, 4), round(found.phase, 4), round(found.phase_frequency, 4))
    2.618 0.9708 2.0
    """
    grid = np.asarray(frequency, float)
    if grid.ndim != 1 or len(grid) < 4 or not np.all(np.diff(grid) > 0):
        raise ValueError(f"frequency must be a list of at least 4 rising values, got shape {grid.shape}")
    not_negative("frequency", grid)
    values = np.asarray(loop(grid) if callable(loop) else loop, complex)
    if values.shape[-1:] != grid.shape:
        raise ValueError(f"loop must have one value for each of the {len(grid)} frequencies along its last axis, got shape {values.shape}")
    if not np.all(np.isfinite(values)):
        raise ValueError("loop must be finite at every frequency; leave 0 out where the loop has an integrator")
    respond = loop if callable(loop) else _response.interpolated(grid, values)

    _, there, real = _response.crossings(grid, values, respond, lambda response: response.imag)
    factor = np.where(real & (there.real < 0), -1 / np.where(there.real == 0, 1.0, there.real), np.nan)
    at, there, real = _response.crossings(grid, values, respond, lambda response: (np.abs(response) - 1) / (np.abs(response) + 1))
    phase = np.where(real, np.angle(-there), np.inf)
    least = np.argmin(np.abs(phase), axis=-1)[..., None]
    phase = np.take_along_axis(phase, least, -1)[..., 0]
    at = np.where(np.isfinite(phase), np.take_along_axis(at, least, -1)[..., 0], np.inf)
    vector, vector_frequency = _response.closest(grid, values, respond, lambda response: np.abs(1 + response))
    with np.errstate(invalid="ignore"):
        down = np.where(factor <= 1, factor, 0.0).max(axis=-1)
        up = np.where(factor >= 1, factor, np.inf).min(axis=-1)
    return Margins(*(part[()] for part in (down, up, phase, at, vector, vector_frequency)))


@formula(equation=r"\tau_m = \frac{\varphi}{\omega_c}", source="definition", valid="the lag that a loop lacks to reach -1")
def delay_margin(phase: u.Radian, phase_frequency: u.RadianPerSecond) -> u.Second:
    """The further delay that uses up a phase margin.

    Args:
        phase: phase margin.
        phase_frequency: angular frequency at which the loop has magnitude 1.

    >>> print(round(delay_margin(0.4431, 1.2271), 4))
    0.3611
    """
    positive("phase_frequency", phase_frequency)
    return np.divide(phase, phase_frequency)
