"""Quasi-random draws: whether they converge faster, whether they say truly how far off they are, and indices known exactly."""

import numpy as np
import pytest
from scipy import stats
from scipy.special import ndtri
from scipy.stats import norm

from unikit.formulas import sampling

WEIGHTS = np.array([1.0, 0.7, 0.4, 0.3, 0.2])
PRODUCT = np.array([0.0, 1.0, 4.5, 9.0, 99.0, 99.0])
DEVIATION = np.sqrt(np.sum(WEIGHTS**2))


def draws(dimensions, count, replicates, seed):
    return np.stack([sampling.points(dimensions, count, seed, place) for place in range(replicates)])


def ridge(points):
    """A sum of normal numbers, so that every share and quantile of it is known."""
    return ndtri(points) @ WEIGHTS


def ishigami(points):
    x = np.pi * (2 * points - 1)
    return np.sin(x[..., 0]) + 7 * np.sin(x[..., 1]) ** 2 + 0.1 * x[..., 2] ** 4 * np.sin(x[..., 0])


def ishigami_indices():
    """T. Ishigami, T. Homma, ISUMA 1990, with a = 7 and b = 0.1: indices by hand from the three variances (from memory, recomputed)."""
    variance = 7**2 / 8 + 0.1 * np.pi**4 / 5 + 0.1**2 * np.pi**8 / 18 + 0.5
    alone = np.array([0.5 * (1 + 0.1 * np.pi**4 / 5) ** 2, 7**2 / 8, 0.0])
    together = 0.1**2 * np.pi**8 * 8 / 225
    return alone / variance, (alone + np.array([together, 0.0, together])) / variance


def product(points):
    return np.prod((np.abs(4 * points - 2) + PRODUCT) / (1 + PRODUCT), axis=-1)


def product_indices():
    """Sobol's g-function (I. M. Sobol', Mathematics and Computers in Simulation 55, 2001; from memory, recomputed)."""
    alone = 1 / (3 * (1 + PRODUCT) ** 2)
    whole = np.prod(1 + alone)
    return alone / (whole - 1), alone * whole / (1 + alone) / (whole - 1)


def indices(function, dimensions, count, replicates, seed, guessed=False):
    """Both kinds of indices, an entry for each uncertain number."""
    both = draws(2 * dimensions, count, replicates, seed)
    first, second = both[..., :dimensions], both[..., dimensions:]
    base, other = function(first), function(second)
    mixed = np.stack([function(np.where(np.arange(dimensions) == place, second, first)) for place in range(dimensions)])
    guess = sampling.additive_guess(first, second, base, other) if guessed else sampling.NO_GUESS
    return sampling.first_order(base, other, mixed, guess), sampling.total_effect(base, other, mixed, guess)


def test_printed_indices():
    """Indices printed to four digits in the literature on sensitivity (from memory)."""
    alone, total = ishigami_indices()
    assert alone == pytest.approx([0.3139, 0.4424, 0.0], abs=5e-5)
    assert total == pytest.approx([0.5576, 0.4424, 0.2437], abs=5e-5)


@pytest.mark.checks("published", "sampling.first_order", "sampling.total_effect")
@pytest.mark.parametrize(("function", "exact", "dimensions"), [(ishigami, ishigami_indices, 3), (product, product_indices, 6)])
def test_indices_known_exactly(function, exact, dimensions):
    for found, known in zip(indices(function, dimensions, 512, 16, 5), exact(), strict=True):
        np.testing.assert_allclose(found.value, known, rtol=0, atol=0.02)
        assert np.all(np.abs(found.value - known) <= 4 * found.error + 1e-9)
        assert found.error.max() < 0.01


def test_interval_of_an_index_holds_it_in_95_of_100_seeds():
    held = []
    for seed in range(200):
        for found, known in zip(indices(ishigami, 3, 64, 16, seed), ishigami_indices(), strict=True):
            held.append((found.low <= known) & (known <= found.high))
    share = np.mean(held, axis=0)  # 400 for each number
    assert np.all((share > 0.91) & (share < 0.985)), share


@pytest.mark.checks("independent", "sampling.additive_guess")
def test_a_guess_takes_most_of_the_error_where_numbers_hardly_interact():
    exact = WEIGHTS**2 / DEVIATION**2
    held = []
    for seed in range(60):
        for found, plain in zip(indices(ridge, 5, 16, 16, seed, guessed=True), indices(ridge, 5, 16, 16, seed), strict=True):
            held.append(((found.low <= exact) & (exact <= found.high), found.error.max() / plain.error.max()))
    inside, ratio = (np.array(column) for column in zip(*held, strict=True))
    assert inside.mean() > 0.91
    assert np.median(ratio) < 0.15
    base = draws(3, 64, 2, 4)  # 3 sqrt(5) P2(2x - 1) has variance 9
    curve = 2.0 + 3.0 * np.sqrt(5.0) * (6 * base[..., 1] ** 2 - 6 * base[..., 1] + 1)
    guess = sampling.additive_guess(base, base, curve, curve)
    assert guess.variance == pytest.approx([0.0, 9.0, 0.0], abs=1e-9)
    assert guess.base == pytest.approx(curve - 2)


@pytest.mark.parametrize(("function", "exact", "dimensions"), [(ishigami, ishigami_indices, 3), (product, product_indices, 6)])
def test_a_guess_does_no_harm_where_numbers_interact(function, exact, dimensions):
    for found, known in zip(indices(function, dimensions, 512, 16, 5, guessed=True), exact(), strict=True):
        assert np.all(np.abs(found.value - known) <= 4 * found.error + 1e-9)
        assert found.error.max() < 0.01


def test_too_few_draws_for_a_guess_give_none():
    both = draws(20, 2, 4, 1)
    guess = sampling.additive_guess(both[..., :10], both[..., 10:], both[..., 0], both[..., 10])
    assert not guess.variance.any() and not guess.mixed.any() and guess.mixed.shape == (10, 4, 2)


def test_a_number_that_does_not_matter_and_one_that_is_all():
    first, total = indices(lambda x: 5 + 3 * x[..., 1], 3, 64, 16, 2)
    assert total.value == pytest.approx([0, 1, 0], abs=5e-3)
    assert first.value == pytest.approx([0, 1, 0], abs=1e-2)
    first, total = indices(lambda x: np.full(x.shape[:-1], 7.3), 3, 64, 16, 2)
    assert np.all(first.value == 0) and np.all(total.value == 0), "nothing varies, so nothing has a share"


@pytest.mark.checks("limit", "sampling.points")
def test_points_are_balanced_reproducible_and_come_in_pieces():
    whole = sampling.points(7, 64, seed=9, replicate=3)
    assert np.all((whole > 0) & (whole < 1))
    for bins in (2, 8, 64):  # every block of a power of two has one point in each of as many bins
        assert np.all([np.bincount((column * bins).astype(int), minlength=bins) == 64 // bins for column in whole.T])
    pieces = [sampling.points(7, 16, seed=9, replicate=3, begin=begin) for begin in range(0, 64, 16)]
    assert np.array_equal(np.concatenate(pieces), whole)
    assert not np.array_equal(sampling.points(7, 64, seed=9, replicate=4), whole)
    assert not np.array_equal(sampling.points(7, 64, seed=10, replicate=3), whole)


@pytest.mark.checks("independent", "sampling.points")
def test_each_point_is_anywhere_with_equal_chance():
    first = np.array([sampling.points(2, 4, seed=seed)[1] for seed in range(2000)])
    assert first.mean(axis=0) == pytest.approx([0.5, 0.5], abs=0.03)
    assert first.var(axis=0) == pytest.approx([1 / 12, 1 / 12], abs=0.004)
    assert abs(np.corrcoef(first.T)[0, 1]) < 0.07


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"count": 12}, "count must be a power of two, got 12"),
        ({"begin": 3}, "begin must be a multiple of count"),
        ({"dimensions": 0}, "dimensions must be from 1"),
        ({"seed": -1}, "seed must be 0 or above"),
    ],
)
def test_impossible_points_are_refused(wrong, message):
    with pytest.raises(ValueError, match=message):
        sampling.points(**({"dimensions": 2, "count": 4, "seed": 1} | wrong))


def error_of_mean(seeds, total, plain):
    off = []
    for seed in range(seeds):
        points = np.random.default_rng(seed).random((total, 1, 5)) if plain else draws(5, total // 16, 16, seed)
        off.append(sampling.mean(np.exp(0.3 * ridge(points))).value - np.exp(0.045 * DEVIATION**2))
    return np.sqrt(np.mean(np.square(off)))


@pytest.mark.checks("independent", "sampling.mean", "sampling.points")
def test_quasi_random_draws_converge_faster_than_plain_ones():
    few, many = (error_of_mean(60, total, plain=False) for total in (256, 4096))
    plain_few, plain_many = (error_of_mean(60, total, plain=True) for total in (256, 4096))
    assert plain_few / plain_many == pytest.approx(4, rel=0.3), "16 times the draws, a fourth of the error"
    assert few / many > 8, "nearly in proportion to the draws"
    assert plain_few > 2.5 * few and plain_many > 8 * many


ANSWERS = {
    "mean": (lambda y: sampling.mean(np.exp(0.3 * y)), np.exp(0.045 * DEVIATION**2)),
    "probability": (lambda y: sampling.probability(y < 0.9), norm.cdf(0.9 / DEVIATION)),
    "rare": (lambda y: sampling.probability(y > 2.6), norm.sf(2.6 / DEVIATION)),
    "tenth": (lambda y: sampling.quantile(y, 0.1), DEVIATION * ndtri(0.1)),
    "middle": (lambda y: sampling.quantile(y, 0.5), 0.0),
}


@pytest.mark.checks("independent", "sampling.mean", "sampling.probability", "sampling.quantile")
@pytest.mark.parametrize("plain", [False, True])
def test_stated_sampling_error_is_that_over_many_seeds(plain):
    seeds = 300
    held = {name: [] for name in ANSWERS}
    for seed in range(seeds):
        y = ridge(np.random.default_rng(seed).random((512, 1, 5)) if plain else draws(5, 32, 16, seed))
        for name, (answer, known) in ANSWERS.items():
            found = answer(y)
            held[name].append((found.low <= known <= found.high, found.value - known, found.error))
    for name, rows in held.items():
        inside, off, error = np.array(rows, float).T
        assert 0.915 <= inside.mean() <= 0.99, name
        assert np.sqrt(np.mean(off**2)) == pytest.approx(np.sqrt(np.mean(error**2)), rel=0.2), name


@pytest.mark.checks("independent", "sampling.mean")
def test_error_of_plain_draws_is_the_standard_error_of_the_mean():
    values = np.random.default_rng(4).gamma(2.0, size=40)
    found, known = sampling.mean(values[:, None]), stats.t.interval(0.95, 39, values.mean(), stats.sem(values))
    assert found.error == pytest.approx(stats.sem(values), rel=1e-12)
    assert (found.low, found.high) == pytest.approx(known, rel=1e-10)


def test_error_of_an_index_is_the_jackknife_written_out():
    base, other, mixed = np.random.default_rng(6).normal(size=(3, 5, 8))
    middle = (base.mean() + other.mean()) / 2
    a, b, m = (item - middle for item in (base, other, mixed))

    def share(rows):
        pooled = np.concatenate([a[rows], b[rows]])
        return np.mean((a[rows] - m[rows]) ** 2) / 2 / pooled.var()

    whole, without = share(np.arange(5)), np.array([share(np.delete(np.arange(5), place)) for place in range(5)])
    found = sampling.total_effect(base, other, mixed)
    assert found.value == pytest.approx(5 * whole - 4 * without.mean(), rel=1e-12)
    assert found.error == pytest.approx(np.sqrt(4 / 5 * np.sum((without - without.mean()) ** 2)), rel=1e-12)


@pytest.mark.checks("published", "sampling.probability")
def test_interval_of_a_share_is_that_of_wilson():
    """R. G. Newcombe, Statistics in Medicine 17, 1998, table I: 81 of 263 gives 0.2553 to 0.3662 (from memory)."""
    events = (np.arange(263) < 81).astype(float)[:, None]
    found = sampling.probability(events)
    assert (found.low, found.high) == pytest.approx((0.2553, 0.3662), abs=7e-4)  # Student's t with 262 degrees of freedom, and n - 1
    assert found.value == pytest.approx(81 / 263)


@pytest.mark.checks("limit", "sampling.probability")
def test_a_share_on_which_all_draws_agree_still_has_an_interval():
    sure, never = sampling.probability(np.ones((16, 32))), sampling.probability(np.zeros((16, 32)))
    assert (sure.value, sure.high) == (1, 1) and (never.value, never.low) == (0, 0)
    assert 1 - sure.low == pytest.approx(never.high)
    assert never.high == pytest.approx(2.1314**2 / (512 + 2.1314**2), rel=1e-3), "Student's t with 15 degrees of freedom"
    half = sampling.probability(np.tile([0.0, 1.0], (16, 16)))
    assert half.error == pytest.approx(1 / (32 * np.sqrt(12 * 16))), "replicates agree to the draw: what is left is rounding"


@pytest.mark.checks("limit", "sampling.quantile")
def test_quantiles_with_values_without_limit():
    values = np.where(np.arange(512) < 300, np.arange(512.0), np.inf).reshape(16, 32)
    assert sampling.quantile(values, 0.9)[:2] == (np.inf, 0.0)
    shuffled = np.random.default_rng(1).permutation(values.ravel()).reshape(16, 32)
    assert sampling.quantile(shuffled, 0.5).value == 255
    assert sampling.quantile(shuffled, 0.585).high == np.inf


@pytest.mark.checks("independent", "sampling.deviation_left")
def test_deviation_left_is_that_of_the_others():
    left = sampling.deviation_left(DEVIATION, WEIGHTS**2 / DEVIATION**2)
    assert left == pytest.approx([np.sqrt(np.sum(np.delete(WEIGHTS, place) ** 2)) for place in range(5)])
    assert sampling.deviation_left(2.0, np.array([-0.01, 1.02])) == pytest.approx([2.0, 0.0])


def test_quantities_stand_in_leading_axes():
    y = ridge(draws(5, 32, 8, 1))
    pair = np.stack([y, 2 * y + 1])
    for answer in (sampling.mean, lambda v: sampling.quantile(v, 0.3), lambda v: sampling.probability(v > 0.5)):
        both = answer(pair)
        for place in range(2):
            alone = answer(pair[place])
            for part, one in zip(both, alone, strict=True):
                assert part[place] == pytest.approx(float(one), rel=1e-12)


@pytest.mark.parametrize("values", [np.ones((1, 8)), np.ones(8), np.array([[1.0, np.nan], [1.0, 2.0]])])
def test_what_gives_no_error_is_refused(values):
    with pytest.raises(ValueError, match="values must"):
        sampling.mean(values)
