"""Joined packs: closed forms against the march, the march against an integrator, accounts of charge and energy, limits."""

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from unikit.formulas import joining, pack

# a curve with a steep end, a flat middle and a steep top, for 13 cells in series
POINTS = (0.0, 0.04, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
CURVE = 13 * np.array([3.00, 3.26, 3.43, 3.55, 3.61, 3.66, 3.72, 3.79, 3.88, 3.98, 4.07, 4.18])
STRAIGHT = {"curve_charge": (0.0, 1.0), "curve_voltage": ((40.0, 52.0), (38.0, 54.0))}
UNEQUAL = {"state_of_charge": (0.95, 0.3), "charge": (7380.0, 14760.0)}
OHMS = (0.39, 0.21)


def closed():
    """Voltage difference, loop resistance and time constant of the two unequal packs with straight curves."""
    tau = joining.time_constant(sum(OHMS), 12.0, 7380.0, 16.0, 14760.0)
    return 40.0 + 0.95 * 12.0 - (38.0 + 0.3 * 16.0), sum(OHMS), tau


@pytest.mark.checks(
    "independent",
    *("joining.time_constant", "joining.current_after", "joining.moved_charge", "joining.joining_loss"),
    *("joining.join", "joining.settled", "joining.time_to_current", "joining.time_until_below"),
)
def test_straight_curves_march_and_closed_form():
    difference, ohms, tau = closed()
    time = np.r_[0.0, np.geomspace(1.0, 12 * tau, 60)]
    course = joining.join(**UNEQUAL, resistance=OHMS, **STRAIGHT, time=time)
    expected = joining.current_after(difference, ohms, tau, time)
    np.testing.assert_allclose(course.current, np.array([expected, -expected]), rtol=1e-9, atol=1e-12)
    moved = joining.moved_charge(difference, ohms, tau)
    assert quad(lambda t: joining.current_after(difference, ohms, tau, t), 0.0, 40 * tau)[0] == pytest.approx(moved, rel=1e-7)
    end = joining.settled(**UNEQUAL, **STRAIGHT)
    assert (0.95 - end.state_of_charge[0]) * 7380.0 == pytest.approx(moved, rel=1e-12)
    assert (end.state_of_charge[1] - 0.3) * 14760.0 == pytest.approx(moved, rel=1e-12)
    assert end.loss == pytest.approx(joining.joining_loss(difference, ohms, tau), rel=1e-12)
    late = joining.join(**UNEQUAL, resistance=OHMS, **STRAIGHT, time=(60 * tau,))
    assert late.loss.sum() == pytest.approx(end.loss, rel=1e-12)
    assert late.loss[0] / late.loss[1] == pytest.approx([OHMS[0] / OHMS[1]], rel=1e-12)
    assert late.voltage[0] == pytest.approx(end.voltage, rel=1e-12)
    below = joining.time_until_below(**UNEQUAL, resistance=OHMS, **STRAIGHT, current=1.0)
    assert below == pytest.approx(joining.time_to_current(difference, ohms, tau, 1.0), rel=1e-9)


@pytest.mark.checks("independent", "joining.join", "joining.settled", "joining.time_until_below")
@pytest.mark.parametrize(
    ("states", "charges", "ohms"),
    [
        ((1.0, 0.15), (7380.0, 7380.0), (0.389, 0.389)),
        ((1.0, 0.15, 0.15), (7380.0,) * 3, (0.389,) * 3),
        ((0.97, 0.1, 0.45), (7380.0, 5000.0, 12000.0), (0.389, 0.5, 0.25)),
        ((0.5, 0.5, 0.2, 0.9), (7380.0, 9000.0, 5000.0, 12000.0), (0.3, 0.6, 0.2, 0.05)),
    ],
)
def test_real_curves_against_an_integrator(states, charges, ohms):
    charge, resistance, count = np.array(charges), np.array(ohms), len(states)
    time = np.array([0.0, 1.0, 30.0, 300.0, 1500.0, 4000.0])

    def rates(_, x):
        open_voltage = np.interp(x[:count], POINTS, CURVE)
        current = (open_voltage - (open_voltage / resistance).sum() / (1 / resistance).sum()) / resistance
        return np.r_[-current / charge, resistance * current**2]

    found = solve_ivp(rates, (0, time[-1]), np.r_[states, np.zeros(count)], "DOP853", t_eval=time, rtol=1e-9, atol=1e-11, max_step=10.0)
    course = joining.join(states, charge, resistance, POINTS, CURVE, time)
    np.testing.assert_allclose(course.state_of_charge, found.y[:count], atol=1e-7)
    np.testing.assert_allclose(course.loss, found.y[count:], rtol=1e-6, atol=1e-6)
    # accounts: what left is what came, and what the packs hold less is the heat
    assert np.abs(course.current.sum(axis=0)).max() < 1e-9 * np.abs(course.current).max()
    end = joining.settled(states, charge, POINTS, CURVE)
    late = joining.join(states, charge, resistance, POINTS, CURVE, (1e6,))
    assert late.loss.sum() == pytest.approx(end.loss, rel=1e-6)
    np.testing.assert_allclose(late.state_of_charge[:, 0], end.state_of_charge, atol=1e-6)
    assert (charge * late.state_of_charge[:, 0]).sum() == pytest.approx((charge * states).sum(), rel=1e-12)
    assert late.voltage[0] == pytest.approx(end.voltage, rel=1e-9)
    below = joining.time_until_below(states, charge, resistance, POINTS, CURVE, 0.5)
    around = joining.join(states, charge, resistance, POINTS, CURVE, (0.999 * below, 1.001 * below, 1.3 * below))
    size = np.abs(around.current).max(axis=0)
    assert size[0] > 0.5 > size[1] > size[2]


def test_charge_and_energy_are_the_integrals_of_the_current():
    times = np.linspace(0.0, 3000.0, 200_001)
    course = joining.join((1.0, 0.15), 7380.0, 0.389, POINTS, CURVE, times)
    moved = np.trapezoid(course.current[0], times)
    assert 7380.0 * (1.0 - course.state_of_charge[0, -1]) == pytest.approx(moved, rel=1e-7)
    assert course.loss[:, -1].sum() == pytest.approx(2 * 0.389 * np.trapezoid(course.current[0] ** 2, times), rel=1e-6)


def test_packs_at_one_voltage_rest_and_a_bend_at_the_start_is_no_obstacle():
    still = joining.join((0.5, 0.5), 7380.0, 0.3, POINTS, CURVE, (0.0, 100.0))
    assert np.abs(still.current).max() < 1e-12 and np.abs(still.loss).max() < 1e-20
    np.testing.assert_allclose(still.state_of_charge, 0.5, rtol=1e-15)
    assert joining.time_until_below((0.5, 0.5), 7380.0, 0.3, POINTS, CURVE, 0.1) == 0.0
    on, off = (joining.join((one, 0.2), 7380.0, 0.3, POINTS, CURVE, (200.0,)) for one in (0.9, 0.9 + 1e-9))
    np.testing.assert_allclose(on.current, off.current, rtol=1e-6)


@pytest.mark.checks("independent", "joining.allowed_difference", "joining.allowed_charge_difference")
def test_allowed_difference_meets_the_limit():
    allowed = joining.allowed_difference(3.3, 20.0, 0.778)
    assert pack.equalising_current(50.0 + allowed, 50.0, 0.778) == pytest.approx(3.3)
    for full in (1.0, 0.8, 0.35):
        lower = full - joining.allowed_charge_difference(full, allowed, POINTS, CURVE)
        gap = lambda s, full=full: np.interp(full, POINTS, CURVE) - np.interp(s, POINTS, CURVE) - allowed
        assert lower == pytest.approx(brentq(gap, 0.0, full), abs=1e-12)
        assert joining.join((full, lower), 7380.0, 0.389, POINTS, CURVE, (0.0,)).current[0, 0] == pytest.approx(3.3)
    assert joining.allowed_charge_difference(0.4, 100.0, POINTS, CURVE) == 0.4


def test_broadcasting():
    assert_broadcasts(joining.time_constant, resistance=[0.1, 0.5], slope_a=[5.0, 9.0], charge_a=7000.0, slope_b=8.0, charge_b=9000.0)
    assert_broadcasts(joining.current_after, voltage_difference=[1.0, 4.0], resistance=[0.1, 0.5], time_constant=50.0, time=20.0)
    assert_broadcasts(joining.time_to_current, voltage_difference=[0.01, 4.0], resistance=[0.1, 0.5], time_constant=50.0, current=1.0)
    assert_broadcasts(joining.joining_loss, voltage_difference=[1.0, 4.0], resistance=[0.1, 0.5], time_constant=50.0)
    assert_broadcasts(joining.moved_charge, voltage_difference=[1.0, 4.0], resistance=[0.1, 0.5], time_constant=50.0)
    assert_broadcasts(joining.allowed_difference, charge_limit=[1.0, 9.0], discharge_limit=[2.0, 20.0], resistance=0.4)
    assert_broadcasts(
        joining.allowed_charge_difference,
        state_of_charge=[0.5, 1.0],
        voltage_difference=[0.1, 3.0],
        curve_charge=POINTS,
        curve_voltage=tuple(CURVE),
    )


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: joining.join((0.5,), 7000.0, 0.1, POINTS, CURVE, (0.0,)), "state_of_charge must be one list of at least two packs"),
        (lambda: joining.join((0.5, 1.2), 7000.0, 0.1, POINTS, CURVE, (0.0,)), "state_of_charge must be from 0 to 1"),
        (lambda: joining.join((0.5, 0.2), 7000.0, 0.0, POINTS, CURVE, (0.0,)), "resistance must be above 0"),
        (lambda: joining.settled((0.5, 0.2), 7000.0, (0.0, 1.0), (40.0, 40.0)), "steps of curve_voltage must be above 0"),
        (lambda: joining.settled((1.0, 0.9), 7000.0, (0.0, 1.0), ((40.0, 50.0), (30.0, 38.0))), "reach one voltage"),
        (lambda: joining.join((1.0, 0.9), 7000.0, 0.1, (0.0, 1.0), ((40.0, 50.0), (30.0, 38.0)), (0.0,)), "pass the end of its curve"),
        (lambda: joining.time_to_current(2.0, 0.1, 10.0, 0.0), "current must be above 0"),
    ],
)
def test_messages(call, message):
    with pytest.raises(ValueError, match=message):
        call()
