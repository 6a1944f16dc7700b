"""Fits against certified data sets, against other libraries' routes, and against what they say of their own errors."""

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import curve_fit, least_squares

from unikit.formulas import fitting

# y and x of each point, in the order of the published set; recalled, and right: all certified digits come out
NORRIS = """0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1 448.6 778.9 777.0 559.2 558.2
0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5 10.8 11.6 557.7 556.0 228.3 228.1 998.0 995.8 888.8 887.6 119.6 120.2
0.3 0.3 0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2 998.5 999.0 778.9 779.0 10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9
0.2 0.5"""
MISRA_Y = np.array([10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78])
MISRA_X = np.array([77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0])
PEARSON_X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
PEARSON_Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
YORK_X = 1 / np.sqrt([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1.0])
YORK_Y = 1 / np.sqrt([1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500])


def columns(x):
    return np.stack([np.ones_like(x), x], axis=-1)


def rising(p):
    return p[..., :1] * (1 - np.exp(-p[..., 1:2] * MISRA_X))


@pytest.mark.checks("published", "fitting.line")
def test_norris_of_the_statistical_reference_datasets():
    """National Institute of Standards and Technology, Norris: certified parameters, errors and scatter (from memory)."""
    y, x = np.array(NORRIS.split(), float).reshape(-1, 2).T
    fit = fitting.line(columns(x), y)
    scatter = np.sqrt(fit.chi_square / fit.freedom)
    assert fit.freedom == 34
    assert fit.value == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-11)
    assert scatter == pytest.approx(0.884796396144373, rel=1e-11)
    assert fit.error * scatter == pytest.approx([0.232818234301152, 0.429796848199937e-3], rel=1e-11)


@pytest.mark.checks("published", "fitting.curve")
@pytest.mark.parametrize("start", [(500, 1e-4), (250, 5e-4)])
def test_misra1a_of_the_statistical_reference_datasets(start):
    """National Institute of Standards and Technology, Misra1a, from both published starts (from memory)."""
    fit = fitting.curve(rising, start, MISRA_Y)
    assert fit.value == pytest.approx([2.3894212918e2, 5.5015643181e-4], rel=1e-8)
    assert fit.error * np.sqrt(fit.chi_square / fit.freedom) == pytest.approx([2.7070075241, 7.2668688436e-6], rel=1e-6)
    assert fit.chi_square == pytest.approx(1.2455138894e-1, rel=1e-9)


@pytest.mark.checks("published", "fitting.line_both")
def test_pearsons_points_with_yorks_weights():
    """York 1966, often repeated: intercept 5.47991, slope -0.480533, sum of squares over freedom 1.4833 (from memory)."""
    fit = fitting.line_both(PEARSON_X, PEARSON_Y, YORK_X, YORK_Y)
    assert fit.value == pytest.approx([5.47991, -0.480533], abs=6e-6)
    assert fit.chi_square / fit.freedom == pytest.approx(1.4833, abs=5e-5)


@pytest.mark.checks("independent", "fitting.line_both")
def test_errors_of_both_coordinates_against_all_true_values_as_parameters():
    """The same sum of squares with each true x as a parameter of its own, by another library's optimiser."""

    def left(p):
        return np.concatenate([(PEARSON_X - p[2:]) / YORK_X, (PEARSON_Y - p[0] - p[1] * p[2:]) / YORK_Y])

    other = least_squares(left, [5.0, -0.5, *PEARSON_X], xtol=1e-14, ftol=1e-14, gtol=1e-14)
    covariance = np.linalg.inv(other.jac.T @ other.jac)[:2, :2]
    fit = fitting.line_both(PEARSON_X, PEARSON_Y, YORK_X, YORK_Y)
    assert fit.value == pytest.approx(other.x[:2], rel=1e-6)
    assert fit.covariance == pytest.approx(covariance, rel=1e-4)
    assert fit.chi_square == pytest.approx(2 * other.cost, rel=1e-8)


@pytest.mark.checks("limit", "fitting.line_both")
def test_without_errors_of_x_it_is_the_plain_line():
    plain = fitting.line(columns(PEARSON_X), PEARSON_Y, YORK_Y)
    both = fitting.line_both(PEARSON_X, PEARSON_Y, 1e-7, YORK_Y)
    assert both.value == pytest.approx(plain.value, rel=1e-6)
    assert both.covariance == pytest.approx(plain.covariance, rel=1e-6)


@pytest.mark.checks("independent", "fitting.line")
def test_a_weighted_line_against_another_library():
    stream = np.random.default_rng(1)
    x, deviation = np.linspace(0, 5, 12), stream.uniform(0.1, 2, 12)
    y = 2 - 3 * x + deviation * stream.normal(size=12)
    fit = fitting.line(columns(x), y, deviation)
    weighted = columns(x) / deviation[:, None]
    other, *_ = np.linalg.lstsq(weighted, y / deviation, rcond=None)
    assert fit.value == pytest.approx(other, rel=1e-10)
    assert fit.covariance == pytest.approx(np.linalg.inv(weighted.T @ weighted), rel=1e-10)
    assert fit.residual == pytest.approx((y - columns(x) @ other) / deviation, abs=1e-10)


@pytest.mark.checks("independent", "fitting.curve")
def test_a_weighted_curve_against_another_library():
    deviation = 0.05 + 0.002 * MISRA_Y
    other, covariance = curve_fit(
        lambda x, a, b: a * (1 - np.exp(-b * x)), MISRA_X, MISRA_Y, p0=(250, 5e-4), sigma=deviation, absolute_sigma=True, ftol=1e-13
    )
    fit = fitting.curve(rising, (250, 5e-4), MISRA_Y, deviation)
    assert fit.value == pytest.approx(other, rel=1e-6)
    assert fit.covariance == pytest.approx(covariance, rel=1e-4)


def test_many_data_sets_at_once_are_the_sets_one_by_one():
    stream = np.random.default_rng(2)
    y = MISRA_Y + 0.1 * stream.normal(size=(5, len(MISRA_Y)))
    together = fitting.curve(rising, (250, 5e-4), y, 0.1)
    lines = fitting.line(columns(MISRA_X), y, 0.1)
    both = fitting.line_both(np.broadcast_to(MISRA_X, y.shape), y, 1.0, 0.1)
    for number in range(5):
        alone = fitting.curve(rising, (250, 5e-4), y[number], 0.1)
        assert together.value[number] == pytest.approx(alone.value, rel=1e-7)
        assert together.covariance[number] == pytest.approx(alone.covariance, rel=1e-6)
        assert lines.value[number] == pytest.approx(fitting.line(columns(MISRA_X), y[number], 0.1).value)
        assert both.value[number] == pytest.approx(fitting.line_both(MISRA_X, y[number], 1.0, 0.1).value, rel=1e-7)


def test_standardised_residuals_have_the_spread_that_they_say():
    """A point far out pulls the line to itself, so its residual is small; in its own standard deviation it is like the others."""
    stream = np.random.default_rng(3)
    x = np.array([0.0, 0.1, 0.2, 0.3, 5.0])
    fit = fitting.line(columns(x), stream.normal(size=(20_000, 5)))
    assert fit.standardised.std(axis=0) == pytest.approx(np.ones(5), abs=0.02)
    assert fit.residual[:, -1].std() < 0.2
    assert fit.chi_square.mean() == pytest.approx(3, abs=0.05)


def test_what_was_known_beforehand_weighs_like_one_more_measurement():
    def off(value, p):
        return value - p[..., :1, None]

    condition = fitting.Condition(off, np.array([[1.0], [2.0], [3.0]]), lambda value: np.full(value.shape, 0.5))
    fit = fitting.adjustment([condition], np.array([1.0]), np.ones(1), np.array([4.0]), np.array([0.25]))
    weight = 3 / 0.5**2 + 1 / 0.25**2
    assert fit.value == pytest.approx([(6 / 0.5**2 + 4 / 0.25**2) / weight])
    assert fit.error == pytest.approx([weight**-0.5])
    assert len(fit.residual) == 4 and fit.freedom == 3


def test_equations_of_one_row_share_its_errors():
    """Two meters in one row read by one noisy clock: weighed as if independent, the rate would look better known than it is."""
    time = np.linspace(1, 10, 10)

    def off(value, p):
        clock, first, second = np.moveaxis(value, -1, 0)
        return np.stack([first - p[..., :1] * clock, second - p[..., :1] * clock], axis=-1)

    measured, deviation = np.stack([time, 2 * time, 2 * time], axis=-1), np.array([0.1, 1e-4, 1e-4])
    condition = fitting.Condition(off, measured, lambda value: np.broadcast_to(deviation, value.shape))
    free = np.array([np.inf])
    fit = fitting.adjustment([condition], np.array([1.5]), np.ones(1), np.zeros(1), free)
    one = fitting.adjustment([condition._replace(equation=lambda v, p: off(v, p)[..., :1])], np.array([1.5]), np.ones(1), np.zeros(1), free)
    assert fit.value == pytest.approx([2.0]) and fit.error == pytest.approx(one.error, rel=1e-3)


def test_a_parameter_that_nothing_tells_is_refused():
    with pytest.raises(ValueError, match="do not determine every parameter"):
        fitting.line(np.ones((4, 2)), np.arange(4.0))


@pytest.mark.checks("independent", "fitting.confidence_interval")
def test_intervals_against_another_library():
    for freedom in (1, 4, 30):
        low, high = fitting.confidence_interval(3.0, 2.0, 0.9, freedom)
        assert (low, high) == pytest.approx(stats.t.interval(0.9, freedom, 3.0, 2.0), rel=1e-9)
    assert fitting.confidence_interval(0.0, 1.0) == pytest.approx(stats.norm.interval(0.95), rel=1e-9)


@pytest.mark.checks("independent", "fitting.misfit_probability", "fitting.correlation")
def test_misfit_and_correlation_against_another_library():
    assert fitting.misfit_probability(7.3, 5) == pytest.approx(stats.chi2.sf(7.3, 5), rel=1e-10)
    draws = np.random.default_rng(4).multivariate_normal([0, 0], [[4, 1.2], [1.2, 1]], 50)
    assert fitting.correlation(np.cov(draws.T)) == pytest.approx(np.corrcoef(draws.T))
