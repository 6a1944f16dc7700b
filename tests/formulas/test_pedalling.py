"""Pedalling: the torque-cadence line, the pulse of the turn, critical power and the saddle."""

import math

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from published import published
from scipy.integrate import solve_ivp

from unikit.formulas import pedalling

TURN = np.linspace(0, 2 * np.pi, 20000, endpoint=False)
FLOORS = [0.0, 0.2, 0.55, 1.0]


@pytest.mark.checks("independent", "pedalling.torque_at_cadence", "pedalling.optimal_cadence", "pedalling.greatest_power")
def test_greatest_power_is_the_top_of_torque_times_cadence():
    cadence = np.linspace(0, 30, 30001)
    power = cadence * pedalling.torque_at_cadence(180.0, 26.4, cadence)
    assert cadence[power.argmax()] == pytest.approx(pedalling.optimal_cadence(26.4), abs=0.001)
    assert power.max() == pytest.approx(pedalling.greatest_power(180.0, 26.4), rel=1e-7)


@pytest.mark.checks("limit", "pedalling.torque_at_cadence")
def test_line_ends_at_both_intercepts():
    assert pedalling.torque_at_cadence(180.0, 26.0, 0.0) == 180.0
    assert pedalling.torque_at_cadence(180.0, 26.0, 26.0) == 0.0
    assert pedalling.torque_at_cadence(180.0, 26.0, np.array([-5.0, 40.0])).tolist() == [180.0, 0.0]


def test_rectified_sine_mean_over_peak():
    row = published("P-RID-10")
    assert 1 / pedalling.shape_peak(0.0) == pytest.approx(row.value, abs=row.tolerance)
    assert pedalling.torque_shape(TURN, 0.0).mean() / pedalling.torque_shape(TURN, 0.0).max() == pytest.approx(row.value, abs=row.tolerance)
    assert math.sqrt(pedalling.shape_mean_square(0.0)) == pytest.approx(math.pi / (2 * math.sqrt(2)), rel=1e-14)


@pytest.mark.checks(
    "independent", "pedalling.torque_shape", "pedalling.shape_mean_square", "pedalling.shape_peak", "pedalling.shape_second_harmonic"
)
@pytest.mark.parametrize("floor", FLOORS)
def test_closed_forms_against_the_sampled_turn(floor):
    shape = pedalling.torque_shape(TURN, floor)
    assert shape.mean() == pytest.approx(1.0, abs=1e-7)
    assert np.mean(shape**2) == pytest.approx(pedalling.shape_mean_square(floor), abs=1e-7)
    assert shape.max() == pytest.approx(pedalling.shape_peak(floor), rel=1e-12)
    harmonics = 2 * np.fft.rfft(shape) / len(TURN)
    assert abs(harmonics[2]) == pytest.approx(pedalling.shape_second_harmonic(floor), abs=1e-7)
    assert abs(harmonics[1]) < 1e-9, "two equal legs leave no pulse at the cadence itself"


def test_one_leg_gives_half_the_rectified_sine():
    row = published("P-RID-13")
    torque = pedalling.body_weight_torque(2.0, 0.125, TURN)
    assert np.maximum(torque, 0.0).mean() / torque.max() == pytest.approx(row.value, abs=row.tolerance)
    assert torque.mean() == pytest.approx(0.0, abs=1e-12), "what stays on the pedal after the bottom takes back as much"


@pytest.mark.checks("independent", "pedalling.time_to_exhaustion", "pedalling.sustainable_power", "pedalling.critical_power_from_trials")
def test_trials_made_with_the_model_give_its_parameters_back():
    times = np.array([180.0, 900.0])
    powers = pedalling.sustainable_power(times, 231.0, 17500.0)
    assert pedalling.time_to_exhaustion(powers, 231.0, 17500.0) == pytest.approx(times, rel=1e-12)
    found = pedalling.critical_power_from_trials(powers[0], times[0], powers[1], times[1])
    assert found.critical_power == pytest.approx(231.0, rel=1e-12)
    assert found.work_capacity == pytest.approx(17500.0, rel=1e-12)


@pytest.mark.checks("limit", "pedalling.time_to_exhaustion")
def test_time_has_no_end_at_critical_power_and_none_at_the_greatest():
    assert pedalling.time_to_exhaustion(230.0, 230.0, 15000.0) == math.inf
    assert pedalling.time_to_exhaustion(np.array([100.0, 230.0]), 230.0, 15000.0).tolist() == [math.inf, math.inf]
    assert pedalling.time_to_exhaustion(900.0, 230.0, 15000.0, greatest_power=900.0) == 0.0
    assert pedalling.time_to_exhaustion(1200.0, 230.0, 15000.0, greatest_power=900.0) == 0.0
    assert math.isnan(pedalling.time_to_exhaustion(math.nan, 230.0, 15000.0))
    assert np.isnan(pedalling.time_to_exhaustion(np.array([math.nan, 300.0]), 230.0, 15000.0)).tolist() == [True, False]
    two, three = (pedalling.time_to_exhaustion(400.0, 230.0, 15000.0, greatest_power=top) for top in (None, 1e12))
    assert three == pytest.approx(two, rel=1e-8), "a rider without a greatest power is the two-parameter one"


def test_saddle_rules_agree():
    row = published("P-KIN-10")
    to_pedal = pedalling.saddle_height(0.85, 0.175) + 0.175
    assert to_pedal == pytest.approx(row.value, abs=1e-12)
    assert to_pedal == pytest.approx(0.883 * 0.85 + 0.175, abs=row.tolerance)


# Common practice of the trade, no source: whoever fits shorter cranks raises the saddle by what the crank loses.
@pytest.mark.checks("independent", "pedalling.saddle_shift", "pedalling.saddle_height")
def test_trade_practice_shorter_cranks_raise_the_saddle_by_what_the_crank_loses():
    before, after = 0.150, 0.125
    raised = pedalling.saddle_height(0.82, after) - pedalling.saddle_height(0.82, before)
    assert raised == pytest.approx(0.025, abs=1e-12)
    assert pedalling.saddle_shift(before, after) == pytest.approx(raised, abs=1e-12)
    assert pedalling.saddle_shift(after, before) < 0, "longer cranks lower it"


@pytest.mark.checks("independent", "pedalling.work_left")
def test_work_left_solves_its_differential_equation():
    critical, capacity = 210.0, 14_000.0

    def rate(_, left):
        return critical - power if power > critical else (1 - left / capacity) * (critical - power)

    left, time = capacity, 47.0
    for power in (330.0, 90.0, 210.0, 260.0, 0.0, 209.0):
        after = pedalling.work_left(time, power, critical, capacity, left)
        integrated = solve_ivp(rate, (0, time), [left], rtol=1e-11, atol=1e-9)
        assert after == pytest.approx(integrated.y[0, -1], rel=1e-9)
        left = float(after)


@pytest.mark.checks("limit", "pedalling.work_left", "pedalling.time_to_exhaustion")
def test_work_left_is_spent_when_the_power_cannot_be_held_any_longer():
    time = pedalling.time_to_exhaustion(350.0, 250.0, 12_000.0)
    assert pedalling.work_left(time, 350.0, 250.0, 12_000.0) == pytest.approx(0.0, abs=1e-9)
    assert pedalling.work_left(2 * time, 350.0, 250.0, 12_000.0) == 0.0
    # so far below critical power that W' would come back in W'/(CP - P), after that time 1/e of it is still missing
    assert pedalling.work_left(120.0, 150.0, 250.0, 12_000.0, 0.0) == pytest.approx(12_000.0 * (1 - np.exp(-1)), rel=1e-12)
    with pytest.raises(ValueError, match="work_capacity - start_work"):
        pedalling.work_left(1.0, 150.0, 250.0, 12_000.0, 13_000.0)


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (
            pedalling.work_left,
            {"time": [0.0, 60.0], "power": [100.0, 250.0, 300.0], "critical_power": [200.0, 260.0], "work_capacity": 15000.0},
        ),
        (
            pedalling.torque_at_cadence,
            {"zero_cadence_torque": [120.0, 160.0], "zero_torque_cadence": 24.0, "cadence": [-2.0, 0.0, 9.0, 30.0]},
        ),
        (pedalling.optimal_cadence, {"zero_torque_cadence": [20.0, 26.0]}),
        (pedalling.greatest_power, {"zero_cadence_torque": [120.0, 160.0], "zero_torque_cadence": [20.0, 24.0, 26.0]}),
        (pedalling.torque_shape, {"crank_angle": [-1.0, 0.0, 2.0, 4.0], "floor": FLOORS}),
        (pedalling.shape_mean_square, {"floor": FLOORS}),
        (pedalling.shape_peak, {"floor": FLOORS}),
        (pedalling.shape_second_harmonic, {"floor": FLOORS}),
        (pedalling.body_weight_torque, {"mass": [50.0, 90.0], "crank_length": 0.15, "crank_angle": [0.0, 1.0, 4.0]}),
        (pedalling.time_to_exhaustion, {"power": [100.0, 250.0, 300.0, 950.0], "critical_power": [200.0, 250.0], "work_capacity": 15000.0}),
        (
            pedalling.time_to_exhaustion,
            {"power": [100.0, 250.0, 950.0], "critical_power": 200.0, "work_capacity": 15000.0, "greatest_power": [600.0, 900.0]},
        ),
        (pedalling.sustainable_power, {"time": [60.0, 600.0], "critical_power": [200.0, 250.0, 300.0], "work_capacity": 15000.0}),
        (pedalling.critical_power_from_trials, {"power_a": [250.0, 260.0], "time_a": 1200.0, "power_b": [310.0, 330.0], "time_b": 180.0}),
        (pedalling.saddle_height, {"inseam": [0.75, 0.85], "crank_length": [0.1, 0.15]}),
        (pedalling.saddle_shift, {"crank_length_before": [0.15, 0.165], "crank_length_after": [0.1, 0.125]}),
        (pedalling.crank_length_from_inseam, {"inseam": [0.75, 0.85], "factor": [0.21, 0.216]}),
    ],
)
def test_arrays_give_what_a_loop_gives(function, arguments):
    assert_broadcasts(function, **arguments)


def test_impossible_arguments_are_refused_by_name():
    with pytest.raises(ValueError, match=r"floor must be from 0 to 1, got 1\.2"):
        pedalling.torque_shape(0.5, 1.2)
    with pytest.raises(ValueError, match=r"zero_torque_cadence must be above 0, got 0"):
        pedalling.torque_at_cadence(120.0, 0.0, 5.0)
    with pytest.raises(ValueError, match=r"greatest_power - critical_power must be above 0, got -50"):
        pedalling.time_to_exhaustion(300.0, 250.0, 15000.0, greatest_power=200.0)
    with pytest.raises(ValueError, match=r"time must be above 0, got 0"):
        pedalling.sustainable_power(0.0, 250.0, 15000.0)
    with pytest.raises(ValueError, match=r"inseam must be above 0"):
        pedalling.saddle_height(-0.8, 0.15)


@pytest.mark.parametrize("trials", [(260.0, 600.0, 260.0, 600.0), (300.0, 900.0, 250.0, 300.0), (100.0, 600.0, 400.0, 300.0)])
def test_trials_that_no_critical_power_fits_are_refused(trials):
    with pytest.raises(ValueError, match="the longer trial must have the smaller power and the greater work"):
        pedalling.critical_power_from_trials(*trials)
