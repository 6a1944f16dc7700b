"""Gearing: values that need more than one call."""

import numpy as np
import pytest
from published import published

from unikit import units
from unikit.formulas import gearing


def test_cadence_from_speed_and_travel_ratio():
    row = published("P-KIN-05")
    rate = gearing.cadence(units.parse("3 mph", "speed"), 0.3302, 22 / 34)
    assert units.convert(rate, "rotation", "rad/s", "rpm") == pytest.approx(row.value, abs=row.tolerance)


def test_nominal_circumference_is_high_for_a_small_wheel():
    row = published("P-KIN-14")
    high = gearing.wheel_circumference(0.406, 0.047) / 1.515 - 1
    assert 100 * high == pytest.approx(row.value, abs=row.tolerance)


@pytest.mark.checks("independent", "gearing.speed", "gearing.cadence", "gearing.development")
def test_round_trip_and_development_per_turn():
    cadence = np.linspace(1, 15, 7)
    road = gearing.speed(cadence, 0.36, 1.63)
    assert gearing.cadence(road, 0.36, 1.63) == pytest.approx(cadence, rel=1e-14)
    turn = gearing.development(2 * np.pi * 0.36, 1.63)
    assert road == pytest.approx(turn * cadence / (2 * np.pi), rel=1e-14)


@pytest.mark.parametrize("bad", [0.0, -1.0, float("nan"), np.array([0.3, -0.1])])
def test_impossible_wheel_is_refused_by_name(bad):
    with pytest.raises(ValueError, match=r"wheel_radius must be above 0, got"):
        gearing.speed(6.0, bad, 1.5)
