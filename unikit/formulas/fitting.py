"""Fits by least squares with what is known of their errors: lines, curves, and errors in every measured quantity.

Parameters and measured quantities are numbers in any unit; a result is in the
units of what was given.  Every function takes many data sets at once: leading
axes of its arrays are sets.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from .. import units as u
from ._bracket import crossing
from .checks import positive, within
from .registry import formula

MOST_ROUNDS = 300  # of damped steps
MOST_TURNS = 60  # of an adjustment, which takes about eight
LITTLE = 1e-6  # of a standard error: the same for an adjustment
SETTLED = 1e-8  # of a standard error: a step below that ends the search
STEP = np.finfo(float).eps ** (1 / 3)  # of central differences
FREE = 1e-7  # singular value over the greatest below which a direction is not determined


class NotSettled(ValueError):
    """A search that has not come to rest."""


class Fit(NamedTuple):
    """Parameters, how well they are known, and what is left."""

    value: u.Number  # parameters along the last axis
    covariance: u.Number
    residual: u.Number  # measured less fitted, in standard deviations of the measurement
    standardised: u.Number  # the same in its own standard deviation, which is smaller because the fit follows the data
    chi_square: u.Number
    freedom: u.Number

    @property
    def error(self) -> u.Number:
        """Standard errors of the parameters."""
        return np.sqrt(np.diagonal(self.covariance, axis1=-2, axis2=-1))


class Interval(NamedTuple):
    """Both ends of an interval."""

    low: u.Number
    high: u.Number


class Condition(NamedTuple):
    """Equations that hold between the true values of what was measured in each row of a run.

    ``equation`` takes true values (..., rows, quantities) and parameters
    (..., parameters) and gives (..., rows, equations), zero where all is true.
    ``deviation`` gives the standard deviations at given values; ``holds`` are
    the places of the parameters that the equations hold, all if left out.
    """

    equation: Callable[[np.ndarray, np.ndarray], np.ndarray]
    measured: np.ndarray
    deviation: Callable[[np.ndarray], np.ndarray]
    holds: Sequence[int] | None = None


def _factor(design: np.ndarray, left: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Least-squares answer to design times step = left, covariance at unit deviation, and the leverage of each row."""
    if not (np.isfinite(design).all() and np.isfinite(left).all()):
        raise NotSettled("the fit has left what its equations can compute: is the start far off, or do the data contradict the model?")
    scale = np.linalg.norm(design, axis=-2, keepdims=True)
    scale = np.where(scale > 0, scale, 1.0)
    orthogonal, upper = np.linalg.qr(design / scale)
    if np.any(np.abs(np.diagonal(upper, axis1=-2, axis2=-1)) < FREE):
        raise ValueError("the data do not determine every parameter: leave some out, or say what is known of them beforehand")
    inverse = np.linalg.inv(upper) / np.swapaxes(scale, -1, -2)
    step = (inverse @ (np.swapaxes(orthogonal, -1, -2) @ left[..., None]))[..., 0]
    return step, inverse @ np.swapaxes(inverse, -1, -2), np.sum(orthogonal**2, axis=-1)


def _fit(value: np.ndarray, covariance: np.ndarray, residual: np.ndarray, leverage: np.ndarray) -> Fit:
    own = np.sqrt(np.maximum(1 - leverage, 1e-12))
    freedom = residual.shape[-1] - value.shape[-1]
    return Fit(value, covariance, residual, residual / own, np.sum(residual**2, axis=-1), freedom)


@formula(
    equation=r"\hat\theta = (X^T W X)^{-1} X^T W y,\quad \mathrm{cov}\,\hat\theta = (X^T W X)^{-1},\quad W = \mathrm{diag}(1/\sigma_i^2)",
    source="bevington_robinson",
    valid="standard deviations known, errors independent; more rows than parameters",
)
def line(design: u.Number, values: u.Number, deviation: u.Number = 1.0) -> Fit:
    """Parameters of a linear model by weighted least squares.

    Args:
        design: a row for each value, a column for each parameter.
        values: what was measured.
        deviation: standard deviation of each value.

    >>> x = np.array([0.0, 1.0, 2.0])
    >>> line(np.stack([np.ones(3), x], axis=-1), 3 + 2 * x).value.round(9).tolist()
    [3.0, 2.0]
    """
    positive("deviation", deviation)
    values = np.asarray(values, float)
    deviation = np.broadcast_to(deviation, values.shape)
    weighted, wanted = np.asarray(design, float) / deviation[..., None], values / deviation
    value, covariance, leverage = _factor(weighted, wanted)
    return _fit(value, covariance, wanted - (weighted @ value[..., None])[..., 0], leverage)


def _slopes(
    function: Callable[[np.ndarray], np.ndarray], at: np.ndarray, scale: np.ndarray, places: Sequence[int] | None = None
) -> np.ndarray:
    """Derivatives of a function by entries of the last axis, as a new last axis, by central differences; zero by the others."""
    columns: list[np.ndarray | None] = [None] * at.shape[-1]
    for place in range(at.shape[-1]) if places is None else places:
        step = STEP * np.maximum(np.abs(at[..., place]), scale[..., place])
        up, down = at.copy(), at.copy()
        up[..., place] += step
        down[..., place] -= step
        high, low = function(up), function(down)
        width = (up - down)[..., place]
        columns[place] = (high - low) / width.reshape(width.shape + (1,) * (high.ndim - width.ndim))
    none = np.zeros(np.shape(next(one for one in columns if one is not None)))
    return np.stack([none if one is None else one for one in columns], axis=-1)


@formula(
    equation=r"\theta \leftarrow \theta + (J^T W J + \lambda D)^{-1} J^T W\,[y - f(\theta)],\quad "
    r"\mathrm{cov}\,\hat\theta = (J^T W J)^{-1}",
    source="bevington_robinson, levenberg_1944",
    valid="standard deviations known, errors independent; a start from which the misfit falls to its least",
)
def curve(model: Callable[[np.ndarray], np.ndarray], begin: u.Number, values: u.Number, deviation: u.Number = 1.0) -> Fit:
    """Parameters of a model that is not linear in them, by Gauss-Newton steps damped where they would not improve.

    Args:
        model: function from parameters (last axis) to values (last axis).
        begin: parameters to begin with; their size sets the steps of the numerical derivatives.
        values: what was measured.
        deviation: standard deviation of each value.

    >>> x = np.linspace(0, 4, 9)
    >>> decay = lambda p: p[..., :1] * np.exp(-p[..., 1:2] * x)
    >>> curve(decay, [1.0, 1.0], 5 * np.exp(-0.4 * x)).value.round(6).tolist()
    [5.0, 0.4]
    """
    positive("deviation", deviation)
    values = np.asarray(values, float)
    deviation = np.broadcast_to(deviation, values.shape)
    at = np.array(np.broadcast_to(begin, values.shape[:-1] + np.shape(begin)[-1:]), float)
    scale = np.where(at != 0, np.abs(at), 1.0)
    damping = np.full(at.shape[:-1], 1e-3)

    def left(parameters: np.ndarray) -> np.ndarray:
        return (values - model(parameters)) / deviation

    residual = left(at)
    for _ in range(MOST_ROUNDS):
        design = -_slopes(left, at, scale)
        length = np.linalg.norm(design, axis=-2)
        damped = np.sqrt(damping)[..., None, None] * (length[..., None] * np.eye(at.shape[-1]))
        padded = np.concatenate([residual, np.zeros(at.shape)], axis=-1)
        step, covariance, _ = _factor(np.concatenate([design, damped], axis=-2), padded)
        fresh = left(at + step)
        better = np.sum(fresh**2, axis=-1) <= np.sum(residual**2, axis=-1)
        at = np.where(better[..., None], at + step, at)
        residual = np.where(better[..., None], fresh, residual)
        damping = np.where(better, np.maximum(damping / 5, 1e-15), damping * 3)
        small = np.abs(step) <= SETTLED * np.sqrt(np.diagonal(covariance, axis1=-2, axis2=-1)) + 1e-13 * np.abs(at)
        if np.all(small):
            break
    else:
        raise NotSettled(f"the fit has not settled after {MOST_ROUNDS} rounds: is the start far off, or a parameter not determined?")
    _, covariance, leverage = _factor(-_slopes(left, at, scale), residual)
    return _fit(at, covariance, residual, leverage)


class _Whitened(NamedTuple):
    """Equations of a run at a trial of parameters and true values, in standard deviations of their errors."""

    design: np.ndarray
    left: np.ndarray
    by_value: np.ndarray
    variance: np.ndarray
    lower: np.ndarray


def _whitened(one: Condition, value: np.ndarray, at: np.ndarray, scale: np.ndarray) -> _Whitened:
    deviation = one.deviation(value)
    by_parameter = _slopes(lambda parameters: one.equation(value, parameters), at, scale, one.holds)
    by_value = _slopes_in_rows(one.equation, value, at, deviation)
    left = one.equation(value, at) + np.einsum("...em,...m->...e", by_value, one.measured - value)
    spread = np.einsum("...em,...m,...fm->...ef", by_value, deviation**2, by_value)
    try:
        lower = np.linalg.cholesky(spread)
    except np.linalg.LinAlgError:
        raise ValueError("equations of a row repeat each other, or have left what they can compute") from None
    white = np.linalg.solve(lower, left[..., None])[..., 0]
    return _Whitened(-np.linalg.solve(lower, by_parameter), white, by_value, deviation**2, lower)


def _joined(parts: Sequence[_Whitened], at: np.ndarray, known_deviation: np.ndarray) -> np.ndarray:
    """The design of all runs with a row for each parameter that was known beforehand."""
    held = np.isfinite(known_deviation)
    known = np.diag(1 / np.where(held, known_deviation, 1.0))[held]
    flat = [one.design.reshape(at.shape[:-1] + (-1, at.shape[-1])) for one in parts]
    return np.concatenate([*flat, np.broadcast_to(known, at.shape[:-1] + known.shape)], axis=-2)


def adjustment(
    conditions: Sequence[Condition], start: np.ndarray, scale: np.ndarray, known: np.ndarray, known_deviation: np.ndarray
) -> Fit:
    """Parameters that join several runs in which every quantity was measured with an error.

    The true values are found along with the parameters: of all that fulfil the
    equations, those nearest to the measured ones in standard deviations.
    Equations of one row share its errors, so they are weighed together.  A
    parameter with a finite ``known_deviation`` was known beforehand that well.
    Residuals come in the order of the conditions, by row and equation, and
    then of what was known.
    """
    at, held = np.array(start, float), np.isfinite(known_deviation)
    scale = np.broadcast_to(scale, at.shape)
    true = [np.array(one.measured, float) for one in conditions]
    for _ in range(MOST_TURNS):
        parts = [_whitened(one, value, at, scale) for one, value in zip(conditions, true, strict=True)]
        design = _joined(parts, at, known_deviation)
        surprise = ((known - at) / known_deviation)[..., held]
        residual = np.concatenate([*(one.left.reshape(at.shape[:-1] + (-1,)) for one in parts), surprise], axis=-1)
        step, covariance, leverage = _factor(design, residual)
        moved = 0.0
        for place, (one, part) in enumerate(zip(conditions, parts, strict=True)):
            still = part.left - np.einsum("...rep,...p->...re", part.design, step)
            pull = np.linalg.solve(np.swapaxes(part.lower, -1, -2), still[..., None])[..., 0]
            fresh = one.measured - part.variance * np.einsum("...em,...e->...m", part.by_value, pull)
            moved = max(moved, float(np.max(np.abs(fresh - true[place]) / np.sqrt(np.where(part.variance > 0, part.variance, 1.0)))))
            true[place] = fresh
        at = at + step
        if moved < LITTLE and np.all(np.abs(step) <= LITTLE * np.sqrt(np.diagonal(covariance, axis1=-2, axis2=-1))):
            break
    else:
        raise NotSettled(f"the adjustment has not settled after {MOST_TURNS} rounds: do runs contradict each other widely?")
    return _fit(at, covariance, residual - (design @ step[..., None])[..., 0], leverage)


def prospect(conditions: Sequence[Condition], start: np.ndarray, scale: np.ndarray, known_deviation: np.ndarray) -> np.ndarray:
    """Standard errors that an adjustment can be expected to reach, at given parameters, before it is made."""
    at = np.asarray(start, float)
    parts = [_whitened(one, one.measured, at, np.broadcast_to(scale, at.shape)) for one in conditions]
    design = _joined(parts, at, known_deviation)
    return np.sqrt(np.diagonal(_factor(design, np.zeros(design.shape[:-1]))[1], axis1=-2, axis2=-1))


def foreseen(one: Condition, fit: Fit) -> tuple[np.ndarray, np.ndarray]:
    """What the equations of a run outside the fit leave at its measured values, and the variance that was to be expected."""
    by_parameter = _slopes(lambda parameters: one.equation(one.measured, parameters), fit.value, fit.error, one.holds)
    variance = np.einsum("...rep,...pq,...req->...re", by_parameter, fit.covariance, by_parameter)
    off, scatter = scattered(one, fit.value)
    return off, variance + scatter


def scattered(one: Condition, parameters: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What the equations of a run leave at its measured values, and the variance that the errors of its rows give them."""
    deviation = one.deviation(one.measured)
    by_value = _slopes_in_rows(one.equation, one.measured, parameters, deviation)
    return one.equation(one.measured, parameters), np.sum((by_value * deviation[..., None, :]) ** 2, axis=-1)


@formula(
    equation=r"\sum_i \frac{r_i^2}{v_i+s^2} = Q",
    source="paule_mandel_1982, viechtbauer_2007",
    valid="independent normal errors; Q is the freedom for the estimate, a quantile of chi-square for an end of its interval",
)
def extra_scatter(residual: u.Number, variance: u.Number, target: u.Number) -> u.Number:
    """Scatter that readings have beyond what is known of their errors; zero where they have none.

    Args:
        residual: reading less fitted, along the last axis.
        variance: what is known of each reading's errors.
        target: what the sum of squares should come to.

    >>> float(extra_scatter(np.array([1.0, -1.0, 1.0, -1.0]), np.full(4, 0.36), 4.0).round(9))
    0.8
    """
    positive("variance", variance)
    positive("target", target)
    residual, variance = np.broadcast_arrays(np.asarray(residual, float), np.asarray(variance, float))
    target = np.broadcast_to(np.asarray(target, float), residual.shape[:-1])
    most = np.sqrt(np.sum(residual**2, axis=-1) / target)

    def short(scatter: np.ndarray) -> np.ndarray:
        return target - np.sum(residual**2 / (variance + scatter[..., None] ** 2), axis=-1)

    return np.maximum(crossing(short, np.zeros_like(most), most, 1e-12 * most + 1e-300), 0.0)


def _slopes_in_rows(
    equation: Callable[[np.ndarray, np.ndarray], np.ndarray], value: np.ndarray, parameters: np.ndarray, scale: np.ndarray
) -> np.ndarray:
    """Derivatives of the equations of each row by the quantities of that row."""
    columns = []
    for place in range(value.shape[-1]):
        step = STEP * np.maximum(np.abs(value[..., place]), scale[..., place]) + (value[..., place] == 0) * STEP
        up, down = value.copy(), value.copy()
        up[..., place] += step
        down[..., place] -= step
        columns.append((equation(up, parameters) - equation(down, parameters)) / (up - down)[..., place, None])
    return np.stack(columns, axis=-1)


@formula(
    equation=r"\sum_i\left[\frac{(x_i - \hat x_i)^2}{\sigma_{x,i}^2} + \frac{(y_i - a - b\,\hat x_i)^2}{\sigma_{y,i}^2}\right] = \min",
    source="deming_1943, york_1966",
    valid="errors of x and y independent, standard deviations known",
)
def line_both(x: u.Number, y: u.Number, x_deviation: u.Number, y_deviation: u.Number) -> Fit:
    """Intercept and slope of a straight line where both coordinates were measured with errors.

    Args:
        x: first coordinate of each point.
        y: second coordinate of each point.
        x_deviation: standard deviation of each x.
        y_deviation: standard deviation of each y.

    >>> line_both([0.0, 1.0, 2.0], [3.0, 5.0, 7.0], 0.1, 0.1).value.round(9).tolist()
    [3.0, 2.0]
    """
    positive("x_deviation", x_deviation)
    positive("y_deviation", y_deviation)
    x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
    points = np.stack([x, y], axis=-1)
    deviation = np.stack([np.broadcast_to(x_deviation, x.shape), np.broadcast_to(y_deviation, x.shape)], axis=-1)

    def off(value: np.ndarray, parameters: np.ndarray) -> np.ndarray:
        return (value[..., 1] - parameters[..., :1] - parameters[..., 1:2] * value[..., 0])[..., None]

    start = line(np.stack([np.ones_like(x), x], axis=-1), y, deviation[..., 1]).value
    free = np.full(2, np.inf)
    return adjustment([Condition(off, points, lambda value: deviation)], start, np.ones(2), np.zeros(2), free)


@formula(
    equation=r"\hat\theta \pm t_{\nu,\,(1+p)/2}\;s_\theta",
    source="jcgm_100",
    valid="normal errors; Student's t where the scatter was estimated from the same data, the normal distribution where it was known",
)
def confidence_interval(value: u.Number, error: u.Number, confidence: u.Ratio = 0.95, freedom: u.Number = np.inf) -> Interval:
    """Ends of a confidence interval.

    Args:
        value: estimate.
        error: its standard error.
        confidence: share of such intervals that hold the true value.
        freedom: degrees of freedom of the estimated scatter; endless where the scatter was known.

    >>> [round(float(end), 3) for end in confidence_interval(0.0, 1.0)]
    [-1.96, 1.96]
    >>> [round(float(end), 3) for end in confidence_interval(0.0, 1.0, 0.95, 10)]
    [-2.228, 2.228]
    """
    from scipy.special import stdtrit

    within("confidence", confidence, 1e-6, 1 - 1e-9)
    positive("freedom", freedom)
    half = stdtrit(np.minimum(freedom, 1e12), (1 + np.asarray(confidence)) / 2) * error
    return Interval(value - half, value + half)


@formula(equation=r"\rho_{ij} = \frac{C_{ij}}{\sqrt{C_{ii} C_{jj}}}", source="definition")
def correlation(covariance: u.Number) -> u.Number:
    """Correlation of parameters from their covariance.

    Args:
        covariance: covariance matrix in the last two axes.

    >>> correlation(np.array([[4.0, 1.0], [1.0, 1.0]])).tolist()
    [[1.0, 0.5], [0.5, 1.0]]
    """
    error = np.sqrt(np.diagonal(covariance, axis1=-2, axis2=-1))
    return covariance / (error[..., :, None] * error[..., None, :])


@formula(
    equation=r"p = Q\left(\tfrac{\nu}{2}, \tfrac{\chi^2}{2}\right)",
    source="bevington_robinson",
    valid="normal errors with the stated standard deviations",
)
def misfit_probability(chi_square: u.Number, freedom: u.Number) -> u.Ratio:
    """Chance that a right model with the stated errors misses the data by as much or more.

    Args:
        chi_square: sum of squared residuals, each in its standard deviation.
        freedom: rows less parameters.

    >>> round(float(misfit_probability(18.307, 10)), 4)
    0.05
    """
    from scipy.special import gammaincc

    positive("freedom", freedom)
    return gammaincc(np.asarray(freedom) / 2, np.asarray(chi_square) / 2)
