"""Quasi-random draws, what their answers are worth, and which uncertain number moves an answer most.

Values of one quantity over many draws stand in an array whose last two axes
are replicates and the draws in each: replicates are independent of each
other, draws within one need not be.  Plain random draws are replicates of one
draw each, so an array (draws, 1).  Leading axes are quantities.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from .checks import not_negative, within
from .fitting import confidence_interval
from .registry import formula

CONFIDENCE = 0.95  # of the intervals
BITS = 30  # of a point
MOST_DEGREE = 5  # of the polynomials of a guess: a normal number is known by them to one part in a hundred of its variance


class Estimate(NamedTuple):
    """An answer from draws, its standard error by sampling alone, and both ends of its 95 % interval."""

    value: u.Number
    error: u.Number
    low: u.Number
    high: u.Number


@formula(
    equation=r"x_n = \mathbf{L}\,\mathbf{C}\,(n_0, n_1, \ldots)^T \oplus \mathbf{s},\quad "
    r"\mathbf{C}\ \text{direction numbers},\ \mathbf{L}, \mathbf{s}\ \text{random by replicate}",
    source="sobol_1967, joe_kuo_2008, matousek_1998, owen_2020",
    valid="balanced in blocks of a power of two, each beginning at a multiple of its length",
)
def points(dimensions: u.Number, count: u.Number, seed: u.Number, replicate: u.Number = 0, begin: u.Number = 0) -> u.Ratio:
    """Points of a scrambled Sobol sequence in the unit cube: a row for each draw, a column for each uncertain number.

    The same seed, replicate and place in the sequence give the same points, in
    whatever pieces they are asked for.  No point lies on the cube's faces.

    Args:
        dimensions: how many uncertain numbers.
        count: how many points, a power of two.
        seed: any whole number from 0; another one scrambles otherwise.
        replicate: which of the independent scramblings.
        begin: place of the first point in the sequence, a multiple of count.

    >>> points(2, 4, seed=1).shape
    (4, 2)
    >>> bool((points(2, 4, seed=1)[2:] == points(2, 2, seed=1, begin=2)).all())
    True
    """
    from scipy.stats import qmc

    within("dimensions", dimensions, 1, qmc.Sobol.MAXDIM)
    if count < 1 or count & (count - 1):
        raise ValueError(f"count must be a power of two, got {count}")
    if begin < 0 or begin % count or begin + count > 2**BITS:
        raise ValueError(f"begin must be a multiple of count from 0, and the last point within 2^{BITS}, got {begin}")
    not_negative("seed", seed)
    not_negative("replicate", replicate)
    engine = qmc.Sobol(dimensions, scramble=True, bits=BITS, seed=np.random.default_rng([seed, replicate]))
    if begin:
        engine.fast_forward(begin)
    return engine.random(count) + 0.5 ** (BITS + 1)


class Guess(NamedTuple):
    """A sum of functions of one uncertain number each, whose variances are known exactly, at the draws of a quantity."""

    base: u.Values
    other: u.Values
    mixed: u.Values  # a set for each number
    variance: u.Values  # of each number's function


NO_GUESS = Guess(0.0, 0.0, 0.0, np.zeros(1))


@formula(
    equation=r"\bar y = \frac{1}{R}\sum_r \bar y_r,\quad s^2 = \frac{1}{R(R-1)}\sum_r(\bar y_r - \bar y)^2,\quad \bar y \pm t_{R-1}\,s",
    source="lecuyer_lemieux_2002, lecuyer_2023",
    valid="at least two independent replicates of equal length",
)
def mean(values: u.Number) -> Estimate:
    """Mean of a quantity; its error is seen from how far independent replicates differ.

    Args:
        values: the quantity, by replicate and draw.

    >>> found = mean(np.array([[1.0, 3.0], [2.0, 4.0]]))
    >>> float(found.value), float(found.error)
    (2.5, 0.5)
    """
    values, replicates = _by_replicate(values)
    each = values.mean(axis=-1)
    middle, error = each.mean(axis=-1), each.std(axis=-1, ddof=1) / np.sqrt(replicates)
    return Estimate(middle, error, *confidence_interval(middle, error, CONFIDENCE, replicates - 1))


@formula(
    equation=r"p = \bar y,\quad n_e = \frac{p(1-p)}{s^2},\quad "
    r"\frac{p + t^2/2n_e \pm t\sqrt{p(1-p)/n_e + t^2/4n_e^2}}{1 + t^2/n_e}",
    source="wilson_1927, korn_graubard_1998, lecuyer_lemieux_2002",
    valid="at least two independent replicates; where all draws agree, as many count as were made",
)
def probability(events: u.Ratio) -> Estimate:
    """Probability of an event; the interval stays between 0 and 1, also where all draws agree.

    The error is that of the replicates' counts, but not below what rounding to
    whole draws leaves open.

    Args:
        events: whether it happened (1 or 0), by replicate and draw.

    >>> found = probability(np.ones((100, 1)))
    >>> float(found.value), round(float(found.low), 3)
    (1.0, 0.962)
    """
    events, replicates = _by_replicate(events)
    within("events", events, 0.0, 1.0)
    each, count = events.mean(axis=-1), events.shape[-1]
    share = each.mean(axis=-1)
    by_chance = np.sqrt(share * (1 - share) / (replicates * count))
    rounding = 1 / (count * np.sqrt(12 * replicates))
    error = np.maximum(each.std(axis=-1, ddof=1) / np.sqrt(replicates), np.minimum(rounding, by_chance))
    open_ = error > 0
    worth = np.where(open_, share * (1 - share) / np.where(open_, error, 1.0) ** 2, replicates * count)
    step = confidence_interval(0.0, 1.0, CONFIDENCE, replicates - 1).high ** 2 / worth
    middle, half = share + step / 2, np.sqrt(step * (share * (1 - share) + step / 4))
    return Estimate(share, error, np.clip((middle - half) / (1 + step), 0, share), np.clip((middle + half) / (1 + step), share, 1))


@formula(
    equation=r"\hat y_p = \hat F^{-1}(p),\quad [\hat F^{-1}(p - t\,s),\ \hat F^{-1}(p + t\,s)],\quad s\ \text{error of}\ \hat F(\hat y_p)",
    source="woodruff_1952, lecuyer_lemieux_2002",
    valid="at least two independent replicates; values may be endless",
)
def quantile(values: u.Number, share: u.Ratio) -> Estimate:
    """The value that a share of all draws does not pass; its error follows from the error of the share at that value.

    Args:
        values: the quantity, by replicate and draw.
        share: share of the draws at or below it.

    >>> float(quantile(np.arange(100.0)[:, None], 0.5).value)
    49.0
    """
    within("share", share, 0.0, 1.0)
    values, replicates = _by_replicate(values)
    rising = np.sort(values.reshape(values.shape[:-2] + (-1,)), axis=-1)
    draws = rising.shape[-1]

    def at(probability_: np.ndarray) -> np.ndarray:
        place = np.clip(np.ceil(np.clip(probability_, 0, 1) * draws - 1e-9).astype(int) - 1, 0, draws - 1)
        return np.take_along_axis(rising, np.broadcast_to(place, rising.shape[:-1])[..., None], axis=-1)[..., 0]

    middle = at(np.asarray(share))
    error = probability(values <= middle[..., None, None]).error
    step = confidence_interval(0.0, error, CONFIDENCE, replicates - 1).high
    below, above = at(share - error), at(share + error)
    width = np.where(below == above, 0.0, np.subtract(above, below, where=below != above, out=np.zeros(np.shape(below))))
    return Estimate(middle, width / 2, at(share - step), at(share + step))


@formula(
    equation=r"S_i = \frac{1}{V N}\sum_j y_{B,j}\,(y_{A_B^i,j} - y_{A,j})",
    source="saltelli_2010, hammersley_handscomb_1964, miller_1974",
    valid="uncertain numbers independent of each other; mixed draws are the base ones with one number from the other draws",
)
def first_order(base_values: u.Number, other_values: u.Number, mixed_values: u.Number, additive: Guess = NO_GUESS) -> Estimate:
    """Share of the variance that one uncertain number explains alone, which is what would go away if it were known.

    The error is that of the jackknife over replicates.

    Args:
        base_values: the quantity at the base draws, by replicate and draw.
        other_values: the quantity at the other draws.
        mixed_values: the quantity at the base draws with this number taken from the other draws, a set for each number.
        additive: a sum of functions of one number each at the same draws; what is known of it exactly need not be sampled.

    >>> x = points(2, 64, seed=3)[None]
    >>> first_order(x[..., 0], x[..., 1], x[..., 1]).value.round(1).item()
    1.0
    """
    return _index(base_values, other_values, mixed_values, additive, lambda a, b, m: b * (m - a))


@formula(
    equation=r"S_{Ti} = \frac{1}{2 V N}\sum_j (y_{A,j} - y_{A_B^i,j})^2",
    source="jansen_1999, saltelli_2010, hammersley_handscomb_1964, miller_1974",
    valid="uncertain numbers independent of each other; mixed draws are the base ones with one number from the other draws",
)
def total_effect(base_values: u.Number, other_values: u.Number, mixed_values: u.Number, additive: Guess = NO_GUESS) -> Estimate:
    """Share of the variance in which one uncertain number has a part, alone or with others; zero if it does not matter.

    Args:
        base_values: the quantity at the base draws, by replicate and draw.
        other_values: the quantity at the other draws.
        mixed_values: the quantity at the base draws with this number taken from the other draws, a set for each number.
        additive: a sum of functions of one number each at the same draws; what is known of it exactly need not be sampled.

    >>> x = points(2, 64, seed=3)[None].repeat(2, axis=0)
    >>> float(total_effect(x[..., 0], x[..., 1], x[..., 0]).value)
    0.0
    """
    return _index(base_values, other_values, mixed_values, additive, lambda a, b, m: (a - m) ** 2 / 2)


@formula(
    equation=r"g(x) = \sum_i\sum_k c_{ik}\sqrt{2k+1}\,P_k(2x_i - 1),\quad \mathrm{Var}\,g_i = \sum_k c_{ik}^2",
    source="hammersley_handscomb_1964, legendre",
    valid="fitted to the very draws; with eight draws or more to a coefficient what that costs is far below the sampling error",
)
def additive_guess(base_points: u.Ratio, other_points: u.Ratio, base_values: u.Number, other_values: u.Number) -> Guess:
    """The sum of polynomials of one number each that comes nearest to a quantity, for indices with less sampling error.

    Args:
        base_points: probabilities of the base draws, by replicate, draw and number.
        other_points: those of the other draws.
        base_values: the quantity at the base draws, by replicate and draw.
        other_values: the quantity at the other draws.

    >>> x = np.stack([points(2, 64, seed=3, replicate=place) for place in range(2)])
    >>> guess = additive_guess(x[..., :1], x[..., 1:], 3 * x[..., 0], 3 * x[..., 1])
    >>> (guess.variance * 12).round(9).tolist()
    [9.0]
    """
    values = np.stack([np.asarray(base_values, float), np.asarray(other_values, float)])
    draws = np.stack([base_points, other_points])
    within("points", draws, 0.0, 1.0)
    numbers = draws.shape[-1]
    degree = min(MOST_DEGREE, values.size // (8 * numbers))
    if degree < 1:
        none = np.zeros(np.shape(base_values))
        return Guess(none, none, np.zeros((numbers, *none.shape)), np.zeros(numbers))
    bends = np.polynomial.legendre.legvander(2 * draws - 1, degree)[..., 1:] * np.sqrt(2 * np.arange(1, degree + 1) + 1)
    flat = bends.reshape(values.size, -1)
    constant = np.ones((values.size, 1))
    weights = np.linalg.lstsq(np.hstack([constant, flat]), values.ravel(), rcond=None)[0][1:].reshape(numbers, degree)
    each = np.moveaxis(np.sum(bends * weights, axis=-1), -1, 0)  # number, base or other, replicate, draw
    base_guess, other_guess = each.sum(axis=0)
    return Guess(base_guess, other_guess, base_guess - each[:, 0] + each[:, 1], np.sum(weights**2, axis=-1))


@formula(
    equation=r"\sqrt{\mathrm{E}\,\mathrm{Var}(Y \mid X_i)} = \sigma\sqrt{1 - S_i}",
    source="saltelli_2010",
    valid="mean of the variances that would be left; the root of each one may lie on either side",
)
def deviation_left(deviation: u.Number, share: u.Ratio) -> u.Number:
    """Standard deviation that is left once an uncertain number is known.

    Args:
        deviation: standard deviation now.
        share: share of the variance that the number explains alone; an estimate outside 0 to 1 counts as its end.

    >>> float(deviation_left(10.0, 0.36))
    8.0
    """
    not_negative("deviation", deviation)
    return deviation * np.sqrt(1 - np.clip(share, 0.0, 1.0))


def _by_replicate(values: np.ndarray) -> tuple[np.ndarray, int]:
    values = np.asarray(values, float)
    if values.ndim < 2 or values.shape[-2] < 2:
        raise ValueError(f"values must have at least two replicates along the last axis but one, got shape {values.shape}")
    if np.isnan(values).any():
        raise ValueError("values must be numbers, got nan")
    return values, values.shape[-2]


def _index(base, other, mixed, guess, part) -> Estimate:
    """A share of the variance of base and other draws, with the jackknife over replicates; the guess is the control variate."""
    base, other, mixed = (np.asarray(item, float) for item in (base, other, mixed))
    middle = (base.mean(axis=(-2, -1)) + other.mean(axis=(-2, -1))) / 2  # any constant leaves the estimate unbiased
    base, other, mixed = (item - middle[..., None, None] for item in (base, other, mixed))

    def sums(a, b, m) -> list[np.ndarray]:
        return [np.mean(item, axis=-1) for item in (part(a, b, m), (a + b) / 2, (a**2 + b**2) / 2)]

    own, guessed = sums(base, other, mixed), sums(*(np.broadcast_to(item, mixed.shape) for item in guess[:3]))
    unknown = np.stack([np.broadcast_to(one, guessed[0].shape) - other_one for one, other_one in zip(own, guessed, strict=True)])
    replicates, nothing, known = unknown.shape[-1], 1e-24 * middle**2, np.asarray(guess.variance, float)  # nothing: rounding alone

    def share(means: np.ndarray, nothing: np.ndarray, known: np.ndarray) -> np.ndarray:
        variance = means[2] + guess.variance.sum() - means[1] ** 2
        some = variance > nothing
        return np.where(some, (means[0] + known) / np.where(some, variance, 1.0), 0.0)

    known = known.reshape(known.shape if np.ndim(unknown[0]) > 1 else ())
    value = share(unknown.mean(axis=-1), nothing, known)
    if replicates < 2:
        error = np.full(np.shape(value), np.nan)
        return Estimate(value, error, error, error)
    without = share((unknown.sum(axis=-1, keepdims=True) - unknown) / (replicates - 1), nothing[..., None], known[..., None])
    centre = without.mean(axis=-1)
    value = replicates * value - (replicates - 1) * centre
    error = np.sqrt((replicates - 1) * np.mean((without - centre[..., None]) ** 2, axis=-1))
    return Estimate(value, error, *confidence_interval(value, error, CONFIDENCE, replicates - 1))
