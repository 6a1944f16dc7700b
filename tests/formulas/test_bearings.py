"""Bearings: worked examples, the damage sum, and statics."""

import numpy as np
import pytest
from broadcasting import assert_broadcasts

from unikit.formulas import bearings


@pytest.mark.checks("independent", "bearings.equivalent_load", "bearings.spent_life", "bearings.rating_life", "bearings.life_exponent")
@pytest.mark.parametrize("kind", bearings.KINDS)
def test_equivalent_load_lives_as_long_as_the_damage_sum_says(kind):
    loads, shares, rating = np.array([300.0, 900.0, 2500.0]), np.array([0.7, 0.29, 0.01]), 6000.0
    lives = bearings.rating_life(loads, rating, kind)
    turns = bearings.rating_life(bearings.equivalent_load(loads, shares, kind), rating, kind)
    assert bearings.spent_life(shares * turns, lives) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.checks("limit", "bearings.equivalent_load", "bearings.rating_life", "bearings.needed_rating", "bearings.life_exponent")
def test_limits():
    assert bearings.equivalent_load([500.0, 0.0], [1.0, 0.0], "roller") == pytest.approx(500.0)
    assert bearings.rating_life(0.0, 1000.0, "ball") == np.inf
    assert bearings.rating_life(1000.0, 1000.0, "roller") == 1e6
    double = bearings.rating_life(500.0, 1000.0, "roller") / 1e6
    assert double == pytest.approx(2 ** (10 / 3)) and bearings.life_exponent("roller") == pytest.approx(10 / 3)
    assert bearings.needed_rating(500.0, 1e6 * double, "roller") == pytest.approx(1000.0)


@pytest.mark.checks("limit", "bearings.static_factor")
def test_static_factor():
    assert bearings.static_factor(2000.0, 3000.0) == 1.5 and bearings.static_factor(0.0, 3000.0) == np.inf


@pytest.mark.checks("independent", "bearings.two_bearing_loads")
@pytest.mark.parametrize("place", [-0.06, 0.0, 0.03, 0.1, 0.17])
def test_forces_and_moments_balance(place):
    force, spacing = 900.0, 0.1
    first, second = bearings.two_bearing_loads(force, place, spacing)
    assert first + second == pytest.approx(force)
    assert second * spacing == pytest.approx(force * place, abs=1e-9)


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="kind must be one of 'ball', 'roller', got 'plain'"):
        bearings.rating_life(1.0, 1.0, "plain")
    with pytest.raises(ValueError, match="spacing must be above 0"):
        bearings.two_bearing_loads(1.0, 0.0, 0.0)
    with pytest.raises(ValueError, match="sum of shares must be above 0"):
        bearings.equivalent_load([1.0], [0.0], "ball")


def test_broadcast():
    assert_broadcasts(bearings.rating_life, load=[100.0, 200.0], dynamic_rating=[1000.0, 2000.0], kind="roller")
    assert_broadcasts(bearings.needed_rating, load=[100.0, 200.0], turns=[1e6, 1e7], kind="ball")
    assert_broadcasts(bearings.static_factor, load=[100.0, 200.0], static_rating=[1000.0, 2000.0])
    assert_broadcasts(bearings.two_bearing_loads, force=[100.0, 200.0], distance=[-0.1, 0.2], spacing=0.1)
    loads = np.array([[[100.0, 50.0]], [[300.0, 20.0]]])
    many = bearings.equivalent_load(loads, [[0.2, 0.8], [0.5, 0.5], [1.0, 0.0]], "ball")
    assert many.shape == (2, 3) and many[1, 2] == pytest.approx(300.0)
