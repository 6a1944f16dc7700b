"""A lost torque over time against numerical integration, and the largest trim and gain against a search by the split of torque."""

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from machines import PDA_100, plant
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from unikit.formulas import capture, cut_out, dq, leverage, road

RATE, STIFFNESS = 6.44, 221.0


@pytest.mark.checks("independent", "cut_out.lean_after_loss")
@pytest.mark.parametrize("ramp", [0.0, 0.15, 0.8])
@pytest.mark.parametrize(("answer", "lag"), [(0.0, 0.03), (17.0, 0.03), (17.0, 0.0), (17.0, 1 / RATE), (17.0, 0.25)])
def test_the_lean_after_a_loss_is_that_of_the_equation_of_motion(ramp, answer, lag):
    rider, lost = PDA_100._replace(muscle_lag=lag), 11.3

    def rates(time, state):
        lean, rate = state
        going = lost * (min(time / ramp, 1.0) if ramp else 1.0)
        late = time - rider.delay
        legs = 0.0 if late <= 0 else answer * (1 - np.exp(-late / lag) if lag else 1.0)
        return [rate, RATE**2 * lean + RATE**2 / STIFFNESS * (going - legs)]

    time = np.linspace(0.0, 0.9, 19)
    course = solve_ivp(rates, (0, 0.9), [0.0, 0.0], t_eval=time, rtol=1e-10, atol=1e-12, max_step=1e-3).y[0]
    found = cut_out.lean_after_loss(time, RATE, STIFFNESS, rider, lost, answer, ramp)
    np.testing.assert_allclose(found, course, atol=2e-5)


@pytest.mark.checks("limit", "cut_out.lean_after_loss")
def test_an_answer_at_the_limit_of_a_cut_out_just_stops_the_fall():
    reserve, hold = 30.0, 0.65
    limit = capture.cut_out_limit(RATE, PDA_100, hold, reserve)
    time = np.linspace(0.0, 3.0, 31)
    for factor, sign in ((0.999, -1), (1.001, 1)):
        course = cut_out.lean_after_loss(time, RATE, STIFFNESS, PDA_100, factor * limit, hold * reserve)
        assert np.sign(course[-1]) == sign and abs(course[-1]) > 1
    still = cut_out.lean_after_loss(0.0, RATE, STIFFNESS, PDA_100, 10.0, 20.0, 0.3)
    assert still == 0


def caught(trim, gain, steady, hold, strength, share, factor):
    """What the legs can replace less what they must, by the split of torque: lost is the motor torque of the steady ride."""
    pedals = (steady - trim) / (hold + gain)
    lost = leverage.cut_out_step(gain * pedals + trim, 0.0, 1.0)
    return share * hold * (strength - pedals) - factor * lost


CASES = [(24.0, 0.65, 60.0, 0.44, 1.0), (14.0, 0.6, 70.0, 0.35, 1.5), (30.0, 0.9, 55.0, 0.5, 1.5)]


@pytest.mark.checks("independent", "cut_out.largest_trim")
@pytest.mark.parametrize(("steady", "hold", "strength", "share", "factor"), CASES)
@pytest.mark.parametrize("gain", [0.0, 0.1, 0.35])
def test_the_largest_trim_is_where_the_legs_just_replace_the_motor(steady, hold, strength, share, factor, gain):
    ask = lambda trim: caught(trim, gain, steady, hold, strength, share, factor)
    expected = 0.0 if ask(0.0) < 0 else steady if ask(steady) > 0 else brentq(ask, 0.0, steady)
    assert cut_out.largest_trim(steady, hold, gain, strength, share, factor) == pytest.approx(expected, abs=1e-9)


@pytest.mark.checks("independent", "cut_out.largest_gain")
@pytest.mark.parametrize(("steady", "hold", "strength", "share", "factor"), CASES)
@pytest.mark.parametrize("trim", [0.0, 2.0, 8.0])
def test_the_largest_gain_is_where_the_legs_just_replace_the_motor(steady, hold, strength, share, factor, trim):
    ask = lambda gain: caught(trim, gain, steady, hold, strength, share, factor)
    expected = 0.0 if ask(0.0) < 0 else np.inf if ask(1e9) > 0 else brentq(ask, 0.0, 1e9, xtol=1e-12)
    assert cut_out.largest_gain(steady, hold, trim, strength, share, factor) == pytest.approx(expected, abs=1e-6)


@pytest.mark.checks("limit", "cut_out.largest_trim", "cut_out.largest_gain")
def test_a_slow_ramp_and_strong_legs_may_lose_all_and_weak_legs_nothing():
    assert cut_out.largest_trim(20.0, 0.65, 0.3, 60.0, 1.0) == 20.0
    assert cut_out.largest_trim(20.0, 0.65, 0.3, 10.0, 1.0) == 0.0
    assert cut_out.largest_gain(20.0, 0.65, 5.0, 60.0, 1.0) == np.inf
    assert cut_out.largest_gain(20.0, 0.65, 5.0, 10.0, 0.4) == 0.0
    assert cut_out.largest_gain(20.0, 0.65, 500.0, 200.0, 1.0) == np.inf  # a trim beyond the need counts as the need


@pytest.mark.checks("independent", "road.wind_for_force")
@pytest.mark.parametrize("cross", [0.0, 3.0])
@pytest.mark.parametrize(("speed", "wind", "added"), [(4.0, 1.0, 5.0), (4.0, -9.0, 12.0), (0.0, 0.0, 7.0), (6.0, 2.0, -11.0)])
def test_the_wind_for_a_force_is_the_one_that_adds_it(speed, wind, added, cross):
    push = road.drag_force(1.2, 0.55, speed, wind + added, cross) - road.drag_force(1.2, 0.55, speed, wind, cross)
    assert road.wind_for_force(push, 1.2, 0.55, speed, wind, cross) == pytest.approx(added, rel=1e-12)


@pytest.mark.checks("limit", "road.wind_for_force")
def test_an_endless_push_needs_an_endless_wind():
    assert road.wind_for_force(np.inf, 1.2, 0.55, 4.0, 1.0, 2.0) == np.inf
    assert road.wind_for_force(0.0, 1.2, 0.55, 4.0, 1.0, 2.0) == pytest.approx(0.0, abs=1e-12)
    with pytest.raises(ValueError, match="drag_area must be above 0"):
        road.wind_for_force(5.0, 1.2, 0.0, 4.0, 1.0)


@pytest.mark.checks("independent", "dq.short_circuit_current")
@pytest.mark.parametrize("rate", [20.0, 300.0, 4000.0, -300.0])
def test_a_shorted_machine_turns_all_its_power_into_copper_loss(rate):
    ohm, direct, quadrature, flux, pairs = 0.085, 0.2e-3, 0.28e-3, 0.0275, 23
    at = dq.short_circuit_current(rate, ohm, direct, quadrature, flux)
    np.testing.assert_allclose(dq.dq_voltages(*at, rate, ohm, direct, quadrature, flux), 0.0, atol=1e-12)
    power = dq.dq_torque(*at, pairs, direct, quadrature, flux) * rate / pairs
    assert power == pytest.approx(-1.5 * ohm * (at.direct**2 + at.quadrature**2), rel=1e-12)


@pytest.mark.checks("limit", "dq.short_circuit_current")
def test_the_short_brakes_most_where_reactance_is_resistance():
    ohm, henry, flux, pairs = 0.085, 0.28e-3, 0.0275, 23
    rates = np.linspace(1.0, 2000.0, 4001)
    torque = -dq.dq_torque(*dq.short_circuit_current(rates, ohm, henry, henry, flux), pairs, henry, henry, flux)
    assert rates[np.argmax(torque)] == pytest.approx(ohm / henry, rel=2e-3)
    assert torque.max() == pytest.approx(0.75 * pairs * flux**2 / henry, rel=1e-6)
    slow = 1e-3  # without inductance it would be the back-EMF over the resistance
    at = dq.short_circuit_current(slow, ohm, henry, henry, flux)
    assert at.quadrature == pytest.approx(-slow * flux / ohm, rel=1e-9)
    assert dq.short_circuit_current(1e9, ohm, henry, henry, flux).direct == pytest.approx(-dq.characteristic_current(flux, henry), rel=1e-9)


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (
            cut_out.lean_after_loss,
            {
                "time": [0.0, 0.1, 0.4, 1.0],
                "toppling_rate": [5.0, 6.5],
                "static_stiffness": 221.0,
                "reflex": PDA_100,
                "lost_torque": [3.0, 8.0, 9.0, 11.0],
                "answer_torque": [0.0, 20.0],
                "ramp_time": [0.0, 0.2, 0.2, 2.0],
            },
        ),
        (
            cut_out.largest_trim,
            {
                "steady_torque": [5.0, 24.0, 90.0],
                "gear_leverage": 0.6,
                "assist_gain": [0.0, 0.4],
                "greatest_torque": 60.0,
                "replaced_share": [0.4, 0.9, 1.0],
            },
        ),
        (
            cut_out.largest_gain,
            {
                "steady_torque": [5.0, 24.0, 90.0],
                "gear_leverage": 0.6,
                "trim_torque": [0.0, 4.0],
                "greatest_torque": 60.0,
                "replaced_share": [0.4, 0.9, 1.0],
            },
        ),
        (
            road.wind_for_force,
            {"force": [-5.0, 0.0, 40.0], "air_density": 1.2, "drag_area": 0.5, "ground_speed": [0.0, 5.0], "head_wind": 1.0},
        ),
        (
            dq.short_circuit_current,
            {
                "electrical_rate": [10.0, 400.0],
                "phase_resistance": [0.05, 0.1, 0.2],
                "direct_inductance": 2e-4,
                "quadrature_inductance": 3e-4,
                "magnet_flux": 0.03,
            },
        ),
    ],
)
def test_arrays_give_what_a_loop_gives(function, arguments):
    assert_broadcasts(function, **arguments)


def test_impossible_losses_are_refused_in_words():
    with pytest.raises(ValueError, match=r"time must be 0 or above, got -1"):
        cut_out.lean_after_loss(-1.0, RATE, STIFFNESS, PDA_100, 5.0)
    with pytest.raises(ValueError, match=r"static_stiffness must be above 0"):
        cut_out.lean_after_loss(1.0, RATE, 0.0, PDA_100, 5.0)
    with pytest.raises(ValueError, match=r"replaced_share must be from 0 to 1, got 1\.2"):
        cut_out.largest_trim(5.0, 0.6, 0.3, 50.0, 1.2)
    with pytest.raises(ValueError, match=r"factor must be 1 or above, got 0\.5"):
        cut_out.largest_gain(5.0, 0.6, 0.3, 50.0, 0.4, factor=0.5)
    assert np.sqrt(plant().lean_by_lean) == pytest.approx(RATE, abs=0.01)
