"""Going and stopping: against the nonlinear motion, statics by hand, numerical search and simulation."""

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from machines import MASSES
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from unikit.formulas import balance, duty, going, leverage, pedalling, road

RANDOM = np.random.default_rng(11)
FOR_LEAN = {name: value for name, value in MASSES.items() if name != "body_inertia"}


def roads(count):
    """Random slopes, winds and speeds."""
    return {
        "slope": RANDOM.uniform(-0.12, 0.12, count),
        "speed": RANDOM.uniform(0, 9, count),
        "head_wind": RANDOM.uniform(-6, 6, count),
        "drag_area": 0.55,
        "drag_height": 0.8,
        "rolling_coefficient": 0.01,
    }


@pytest.mark.checks("independent", "going.acceleration_at_lean")
def test_a_held_lean_neither_rises_nor_falls_at_its_acceleration():
    lean, on = RANDOM.uniform(-0.3, 0.3, 40), roads(40)
    acceleration = going.acceleration_at_lean(lean, **FOR_LEAN, **on)
    found = balance.equilibrium(**MASSES, **on, acceleration=acceleration)
    assert found.lean == pytest.approx(lean, abs=1e-12)
    moved = balance.motion(lean, 0.0, found.wheel_torque, **MASSES, **on)
    assert np.abs(moved.lean_acceleration).max() < 1e-10
    assert moved.acceleration == pytest.approx(acceleration, abs=1e-10)


def test_a_light_wheel_on_the_flat_brakes_like_a_broom_on_a_hand():
    """Without wheel mass and with a wheel of no size the push acts at the axle: A = g tan(lean)."""
    found = going.acceleration_at_lean(-0.2, 84.0, 0.8, 0.0, 0.0, 1e-9)
    assert found == pytest.approx(-9.81 * np.tan(0.2), rel=1e-8)


@pytest.mark.checks("independent", "going.grip_deceleration")
def test_a_block_that_slides_to_a_stop_on_a_slope():
    """Energy of the block goes into friction and height: v^2 / 2 = D s."""
    mass, speed, slope, friction = 92.0, 6.0, 0.07, 0.4
    way = speed**2 / (2 * going.grip_deceleration(friction, mass, slope))
    angle = np.arctan(slope)
    work = friction * mass * 9.81 * np.cos(angle) * way + mass * 9.81 * np.sin(angle) * way
    assert 0.5 * mass * speed**2 == pytest.approx(work, rel=1e-12)
    assert going.grip_deceleration(0.1, mass, -0.1) == pytest.approx(0.0, abs=1e-12)  # the slope on which it just slides


@pytest.mark.checks("independent", "going.steepest_slope")
@pytest.mark.parametrize("torque", [0.0, 12.0, 45.0, 150.0])
def test_the_steepest_slope_is_where_weight_and_tyre_take_the_whole_torque(torque):
    taken = lambda slope: 0.36 * float(road.slope_force(92.0, slope) + road.rolling_force(92.0, 0.01, slope)) - torque
    assert going.steepest_slope(torque, 92.0, 0.36, 0.01) == pytest.approx(brentq(taken, -1, 3), abs=1e-10)
    assert going.steepest_slope(1e4, 92.0, 0.36, 0.01) == np.inf


@pytest.mark.checks("independent", "going.rocking")
@pytest.mark.parametrize("frequency", [0.4, 0.8, 1.6])
def test_rocking_is_what_the_nonlinear_machine_does_under_that_torque(frequency):
    plant, travel, rate = balance.linear_plant(**MASSES), 0.002, 2 * np.pi * frequency
    torque, lean = going.rocking(plant, travel, rate)

    def change(time, state):
        now = balance.motion(state[0], state[1], -torque * np.cos(rate * time), **MASSES)
        return [state[1], now.lean_acceleration, state[3], now.acceleration]

    ends = solve_ivp(change, (0.0, 0.5 / frequency), [-lean, 0.0, travel, 0.0], rtol=1e-11, atol=1e-13).y[:, -1]
    assert ends[2] == pytest.approx(-travel, rel=2e-3)  # half a period later it is at the other end
    assert ends[0] == pytest.approx(lean, rel=5e-2)
    assert torque < rate**2 * travel * 0.36 * (92.0 + 0.3 / 0.36**2)  # less than taking the whole body along


@pytest.mark.checks("limit", "going.rocking")
def test_very_slow_rocking_only_accelerates_the_mass():
    torque, _ = going.rocking(balance.linear_plant(**MASSES), 0.3, 2 * np.pi * 1e-4)
    assert torque == pytest.approx((2 * np.pi * 1e-4) ** 2 * 0.3 * 0.36 * (92.0 + 0.3 / 0.36**2), rel=1e-6)


@pytest.mark.checks("independent", "pedalling.turn_share")
@pytest.mark.parametrize(("torque", "floor"), [(0.0, 0.0), (30.0, 0.0), (80.0, 0.0), (30.0, 0.2), (10.0, 0.2), (95.0, 0.6), (100.5, 0.3)])
def test_the_share_of_the_turn_is_the_share_of_angles(torque, floor):
    angle = (np.arange(200_000) + 0.5) / 200_000 * 2 * np.pi
    shape = 100.0 * pedalling.torque_shape(angle, floor) / pedalling.shape_peak(floor)
    assert pedalling.turn_share(torque, 100.0, floor) == pytest.approx(np.mean(shape >= torque), abs=2e-5)


@pytest.mark.checks("limit", "pedalling.turn_share")
def test_legs_that_never_weaken_give_all_or_nothing():
    assert pedalling.turn_share(99.0, 100.0, 1.0) == 1.0 and pedalling.turn_share(101.0, 100.0, 1.0) == 0.0


@pytest.mark.checks("independent", "leverage.downward_force")
def test_a_foot_that_sinks_does_the_work_of_the_wheel():
    angle, step, length, worth = 1.1, 1e-5, 0.14, 0.6
    force = leverage.downward_force(18.0, worth, length, angle)
    sunk = length * (np.cos(angle - step) - np.cos(angle + step))
    assert force * sunk == pytest.approx(18.0 / worth * 2 * step, rel=1e-9)
    assert leverage.downward_force(18.0, worth, length, np.pi) == np.inf
    assert leverage.downward_force(0.0, worth, length, 0.0) == 0.0


@pytest.mark.checks("independent", "duty.adiabatic_time")
def test_a_winding_that_keeps_its_heat_by_integration_over_temperature():
    first, last, rise, capacity = 210.0, 290.0, 85.0, 430.0
    by_hand = quad(lambda warm: capacity / (first + (last - first) * warm / rise), 0.0, rise)[0]
    assert duty.adiabatic_time(rise, capacity, first, last) == pytest.approx(by_hand, rel=1e-12)
    assert duty.adiabatic_time(rise, capacity, first, first) == pytest.approx(capacity * rise / first, rel=1e-9)
    assert duty.adiabatic_time(rise, capacity, 0.0, 0.0) == np.inf and duty.adiabatic_time(-3.0, capacity, 10.0, 10.0) == 0.0


def test_broadcasting():
    assert_broadcasts(going.acceleration_at_lean, **(FOR_LEAN | {"lean": [-0.2, 0.0, 0.1], "slope": [-0.05, 0.0, 0.06], "speed": 3.0}))
    assert_broadcasts(going.grip_deceleration, friction=[0.2, 0.5], total_mass=90.0, slope=[-0.1, 0.0, 0.1])
    assert_broadcasts(
        going.steepest_slope, wheel_torque=[0.0, 40.0, 900.0], total_mass=[80.0, 100.0], wheel_radius=0.36, rolling_coefficient=0.01
    )
    assert_broadcasts(pedalling.turn_share, torque=[0.0, 40.0, 90.0], greatest_torque=80.0, floor=[0.0, 0.3, 1.0])
    assert_broadcasts(leverage.downward_force, wheel_torque=[0.0, 20.0], leverage=0.6, crank_length=0.14, crank_angle=[0.0, 0.4, 2.0])
    assert_broadcasts(duty.adiabatic_time, rise=[-1.0, 40.0], thermal_capacity=400.0, power_start=[0.0, 90.0], power_end=120.0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: going.acceleration_at_lean(0.1, 0.0, 0.8, 8.0, 0.3, 0.36), "body_mass must be above 0"),
        (lambda: going.acceleration_at_lean(0.1, 84.0, 0.8, 8.0, 0.3, 0.36, speed=-1.0), "speed must be 0 or above"),
        (lambda: going.grip_deceleration(-0.1, 92.0), "friction must be 0 or above"),
        (lambda: going.steepest_slope(-1.0, 92.0, 0.36, 0.01), "wheel_torque must be 0 or above"),
        (lambda: going.rocking(balance.linear_plant(**MASSES), 0.0, 1.0), "travel must be above 0"),
        (lambda: pedalling.turn_share(1.0, 0.0), "greatest_torque must be above 0"),
        (lambda: leverage.downward_force(-1.0, 0.6, 0.14, 1.0), "wheel_torque must be 0 or above"),
        (lambda: duty.adiabatic_time(10.0, 400.0, 50.0, 40.0), "power_end - power_start must be 0 or above"),
    ],
)
def test_impossible_arguments_are_named(call, words):
    with pytest.raises(ValueError, match=words):
        call()
