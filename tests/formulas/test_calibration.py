"""Weights on a crank and the sensor under them: against vectors, draws, Fourier sums and published examples."""

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from scipy.integrate import quad
from scipy.optimize import brentq

from unikit.formulas import calibration, fitting

# JCGM 100:2008, H.3: readings of a thermometer and their corrections, as the documentation of a library lists them (read there)
READINGS = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
CORRECTIONS = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])


@pytest.mark.checks("published", "fitting.line")
def test_the_calibration_of_a_thermometer_in_the_guide():
    """JCGM 100 H.3: -0.1712 and 0.00218 with 0.0029 and 0.00067, correlation -0.930; -0.1494 with 0.0041 at 30 degrees (from memory)."""
    fit = fitting.line(np.stack([np.ones(11), READINGS - 20], axis=-1), CORRECTIONS)
    scatter = np.sqrt(fit.chi_square / fit.freedom)
    assert fit.value == pytest.approx([-0.1712, 0.00218], abs=5e-5) and fit.value[1] == pytest.approx(0.00218, abs=5e-6)
    assert scatter * fit.error == pytest.approx([0.0029, 0.00067], abs=5e-5)
    assert scatter == pytest.approx(0.0035, abs=5e-5)
    assert fitting.correlation(fit.covariance)[0, 1] == pytest.approx(-0.930, abs=5e-4)
    at = np.array([1.0, 10.0])
    assert at @ fit.value == pytest.approx(-0.1494, abs=5e-5)
    assert scatter * np.sqrt(at @ fit.covariance @ at) == pytest.approx(0.0041, abs=5e-5)


@pytest.mark.checks("independent", "calibration.hung_torque")
def test_a_hung_weight_turns_as_arm_times_force():
    for angle in (-0.9, 0.0, 0.4):
        arm, weight = 0.131 * np.array([np.cos(angle), np.sin(angle), 0]), np.array([0, -20 * 9.81, 0])
        assert calibration.hung_torque(20.0, 9.81, 0.131, angle) == pytest.approx(-np.cross(arm, weight)[2], rel=1e-12)


@pytest.mark.checks("independent", "calibration.hung_torque_uncertain")
@pytest.mark.parametrize("angle", [0.0, 0.6])
def test_uncertainty_of_a_hung_weight_against_draws(angle):
    values, deviations = (25.0, 9.81, 0.131, angle), (0.1, 0.01, 0.0004, 0.06)
    stream = np.random.default_rng(2)
    drawn = calibration.hung_torque(*(value + size * stream.normal(size=400_000) for value, size in zip(values, deviations, strict=True)))
    made = calibration.hung_torque_uncertain(*values, *deviations)
    assert made.deviation == pytest.approx(drawn.std(), rel=0.01)
    assert made.torque == pytest.approx(calibration.hung_torque(*values))


@pytest.mark.checks("independent", "calibration.loop_half_width")
def test_the_loop_has_the_area_of_rayleighs():
    """A loop of Rayleigh's with branches (R/2)(A^2 - x^2) about its middle loses 4/3 R A^3; ours has R = 4 h / A."""
    greatest, hysteresis = 50.0, 0.006
    area = quad(lambda torque: 2 * calibration.loop_half_width(torque, greatest, hysteresis), 0, greatest)[0]
    half = greatest / 2
    assert area == pytest.approx(4 / 3 * (4 * hysteresis / half) * half**3, rel=1e-9)


@pytest.mark.checks("limit", "calibration.loop_half_width")
def test_the_loop_closes_at_its_ends_and_is_as_wide_backwards():
    assert calibration.loop_half_width(np.array([0.0, 50.0]), 50.0, 0.01).tolist() == [0.0, 0.0]
    assert calibration.loop_half_width(-25.0, -50.0, 0.01) == -calibration.loop_half_width(25.0, 50.0, 0.01) == -0.5


@pytest.mark.checks("independent", "calibration.loop_lag")
@pytest.mark.parametrize("hysteresis", [0.001, 0.01, 0.1])
def test_the_lag_is_that_of_the_first_harmonic(hysteresis):
    turn = 2 * np.pi * (np.arange(200_000) + 0.5) / 200_000
    torque = 1 + np.sin(turn)
    seen = torque - np.sign(np.cos(turn)) * calibration.loop_half_width(torque, 2.0, hysteresis)
    first = np.mean(seen * np.exp(-1j * turn)) / np.mean(torque * np.exp(-1j * turn))
    assert -np.angle(first) == pytest.approx(calibration.loop_lag(hysteresis), rel=1e-6)


@pytest.mark.checks("independent", "calibration.output", "calibration.torque_of_output")
def test_a_torque_comes_back_from_its_output():
    line = (1.6, 0.0155, 0.03, -4e-4, 295.0)
    torque, temperature = np.linspace(-60, 60, 7)[:, None], np.array([275.0, 295.0, 320.0])
    shown = calibration.output(torque, temperature, *line)
    assert calibration.torque_of_output(shown, temperature, *line) == pytest.approx(np.broadcast_to(torque, shown.shape), abs=1e-9)
    assert np.diff(shown, axis=0) == pytest.approx(np.broadcast_to(20 * 0.0155 * (1 - 4e-4 * (temperature - 295)), (6, 3)))


@pytest.mark.checks("independent", "fitting.extra_scatter")
def test_extra_scatter_against_another_root_finder():
    stream = np.random.default_rng(5)
    variance = stream.uniform(0.2, 2.0, 40)
    residual = np.sqrt(variance + 1.3) * stream.normal(size=40)
    root = brentq(lambda square: np.sum(residual**2 / (variance + square)) - 38, 0, 50, xtol=1e-13)
    assert fitting.extra_scatter(residual, variance, 38.0) == pytest.approx(np.sqrt(root), rel=1e-8)


@pytest.mark.checks("limit", "fitting.extra_scatter")
def test_no_extra_scatter_where_the_known_errors_are_enough():
    assert fitting.extra_scatter(np.array([0.1, -0.1, 0.1]), np.ones(3), 3.0) == 0.0
    both = fitting.extra_scatter(np.array([[0.1, -0.1], [3.0, -3.0]]), np.ones((2, 2)), 2.0)
    assert both == pytest.approx([0.0, np.sqrt(8)])


@pytest.mark.checks("limit", "calibration.normal_gravity")
def test_gravity_is_the_same_north_and_south_and_least_at_the_equator():
    assert calibration.normal_gravity(0.0) == 9.7803267715
    assert calibration.normal_gravity(-0.7) == calibration.normal_gravity(0.7) > 9.79


def test_formulas_broadcast_and_refuse():
    assert_broadcasts(calibration.hung_torque, mass=[0.0, 20.0], gravity=9.81, crank_length=[0.1, 0.13], crank_angle=0.2)
    assert_broadcasts(
        calibration.hung_torque_uncertain,
        mass=[5.0, 20.0],
        gravity=9.81,
        crank_length=[0.1, 0.13],
        crank_angle=0.2,
        mass_deviation=0.01,
        gravity_deviation=0.001,
        crank_length_deviation=0.001,
        crank_angle_deviation=[0.01, 0.02],
    )
    assert_broadcasts(calibration.loop_half_width, torque=[0.0, 20.0, 40.0], greatest_torque=[40.0, 50.0], hysteresis=0.01)
    assert_broadcasts(calibration.loop_lag, hysteresis=[0.0, 0.01])
    assert_broadcasts(calibration.normal_gravity, latitude=[0.0, 0.5])
    line = {"offset": 1.6, "gain": 0.015, "zero_drift": 0.03, "gain_drift": -4e-4, "reference_temperature": 293.15}
    assert_broadcasts(calibration.output, torque=[-20.0, 20.0], temperature=[280.0, 300.0], **line)
    assert_broadcasts(calibration.torque_of_output, output=[1.2, 2.0], temperature=[280.0, 300.0], **line)
    with pytest.raises(ValueError, match="mass must be 0 or above"):
        calibration.hung_torque(-1.0, 9.81, 0.13)
    with pytest.raises(ValueError, match="latitude must be from"):
        calibration.normal_gravity(90.0)
