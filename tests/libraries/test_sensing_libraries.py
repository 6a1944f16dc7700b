"""Averages and filters of the sensing chain against a signal library."""

import numpy as np
import pytest

from unikit.formulas import converter, sensing

pytestmark = pytest.mark.reference


@pytest.mark.checks("independent", "converter.averaging_delay", "converter.averaging_response")
def test_a_moving_average_has_the_librarys_response_and_group_delay():
    from scipy import signal

    for samples in (2, 8, 33):
        weights = np.full(samples, 1 / samples)
        rate, response = signal.freqz(weights, worN=512, fs=1000.0)
        assert converter.averaging_response(2 * np.pi * rate, samples, 1000.0) == pytest.approx(response, abs=1e-10)
        _, delay = signal.group_delay((weights, 1), w=np.array([5.0, 20.0, 27.0]), fs=1000.0)
        assert delay / 1000.0 == pytest.approx(np.full(3, converter.averaging_delay(samples, 1000.0)), rel=1e-6)


@pytest.mark.checks("independent", "sensing.filter_corner")
def test_a_filter_halves_the_power_where_the_librarys_does():
    from scipy import signal

    resistance, capacitance = 8870.0, 1e-6
    corner = sensing.filter_corner(resistance, capacitance)
    _, response = signal.freqs([1.0], [resistance * capacitance, 1.0], worN=[2 * np.pi * corner])
    assert abs(response[0]) ** 2 == pytest.approx(0.5, rel=1e-12)
