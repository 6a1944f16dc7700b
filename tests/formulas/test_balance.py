"""The falling machine: equilibrium, limits that are known without it, energy, and the small deviations against the large ones."""

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from machines import AIR, MASSES, plant
from published import published

from unikit.formulas import balance, capture, reflex
from unikit.formulas.road import GRAVITY

BODY, WHEEL = MASSES["body_mass"], MASSES["wheel_mass"]
HEIGHT, RADIUS = MASSES["centre_of_mass_height"], MASSES["wheel_radius"]
MOMENT = BODY * HEIGHT
INERTIA = MOMENT * HEIGHT + MASSES["body_inertia"]
ROLLING = BODY + WHEEL + MASSES["wheel_inertia"] / RADIUS**2


def test_names_that_other_floors_use():
    assert balance.capture_lean is capture.capture_lean
    assert (balance.loop_margins, balance.gain_window) == (reflex.loop_margins, reflex.gain_window)


@pytest.mark.checks("independent", "balance.equilibrium")
@pytest.mark.parametrize("slope", [-0.12, 0.0, 0.06, 0.3])
def test_on_a_slope_the_common_centre_of_mass_stands_over_the_contact_point(slope):
    lean, grade = balance.equilibrium(**MASSES, slope=slope).lean, np.arctan(slope)
    wheel = -RADIUS * np.sin(grade)
    assert BODY * (wheel + HEIGHT * np.sin(lean)) + WHEEL * wheel == pytest.approx(0.0, abs=1e-13)


@pytest.mark.checks("independent", "balance.equilibrium")
def test_moments_about_the_contact_point_in_wind():
    slope, wind = 0.07, 6.0
    found = balance.equilibrium(**MASSES, slope=slope, speed=5.0, head_wind=wind, **(AIR | {"rolling_coefficient": 0.0}))
    grade = np.arctan(slope)
    drag = 0.5 * AIR["air_density"] * AIR["drag_area"] * 11.0**2
    axle = RADIUS * np.array([-np.sin(grade), np.cos(grade)])
    up = np.array([np.sin(found.lean), np.cos(found.lean)])
    weight = GRAVITY * (BODY * (axle + HEIGHT * up)[0] + WHEEL * axle[0])
    push = -drag * np.array([np.cos(grade), np.sin(grade)])
    place = axle + AIR["drag_height"] * up
    pitch = place[1] * push[0] - place[0] * push[1]
    assert weight + pitch == pytest.approx(0.0, abs=1e-10)


@pytest.mark.checks("independent", "balance.equilibrium")
@pytest.mark.parametrize("acceleration", [-1.5, 0.8])
def test_a_steady_acceleration_keeps_the_lean(acceleration):
    road = {"slope": 0.05, "speed": 5.0, "head_wind": 2.0, **AIR}
    found = balance.equilibrium(**MASSES, **road, acceleration=acceleration)
    moved = balance.motion(found.lean, 0.0, found.wheel_torque, **MASSES, **road)
    assert moved == pytest.approx((0.0, acceleration), abs=1e-12)


@pytest.mark.checks("independent", "balance.trim_shift")
def test_trim_changes_neither_lean_nor_roots_only_who_supplies_the_torque():
    found = balance.equilibrium(**MASSES, slope=0.06)
    hold, gain, trim = 0.63, 0.4, 7.0
    pedals = found.wheel_torque / (hold + gain)
    less = pedals - balance.trim_shift(trim, hold, gain)
    assert hold * less + gain * less + trim == pytest.approx(found.wheel_torque, rel=1e-14)
    assert balance.motion(found.lean, 0.0, (hold + gain) * less + trim, **MASSES, slope=0.06) == pytest.approx((0.0, 0.0), abs=1e-12)


@pytest.mark.checks("limit", "balance.toppling_rate", "balance.linear_plant")
def test_an_axle_that_cannot_move_and_a_wheel_without_mass():
    held = balance.linear_plant(**(MASSES | {"wheel_mass": 1e9}))
    assert held.lean_by_lean == pytest.approx(MOMENT * GRAVITY / INERTIA, rel=1e-6)
    assert held.lean_by_torque == pytest.approx(1 / INERTIA, rel=1e-6)
    light = balance.linear_plant(**(MASSES | {"wheel_mass": 0.0, "wheel_inertia": 0.0}))
    assert light.lean_by_lean == pytest.approx(MOMENT * GRAVITY / MASSES["body_inertia"], rel=1e-12)


@pytest.mark.checks("independent", "balance.linear_plant", "reflex.lean_response")
def test_legs_locked_to_the_wheel_topple_at_the_zero_of_the_crank_speed():
    machine = balance.linear_plant(**MASSES)
    locked = np.sqrt(MOMENT * GRAVITY / (INERTIA + ROLLING * RADIUS**2 + 2 * MOMENT * RADIUS))
    matrix = np.array([[0.0, 1.0, 0.0], [machine.lean_by_lean, 0.0, machine.lean_by_speed], [machine.speed_by_lean, 0.0, 0.0]])
    torque = np.array([0.0, -machine.lean_by_torque, machine.speed_by_torque])
    crank = np.array([0.0, -1.0, 1 / RADIUS])
    at = lambda rate: np.linalg.solve(rate * np.eye(3) - matrix, torque)
    assert crank @ at(locked) == pytest.approx(0.0, abs=1e-9 * np.linalg.norm(at(locked)))
    assert reflex.lean_response(7.0, machine) == pytest.approx(at(7.0j)[0], rel=1e-13)


@pytest.mark.checks("independent", "balance.linear_plant", "balance.motion")
def test_small_deviations_are_the_differences_of_large_ones():
    road = {"slope": 0.08, "head_wind": 3.0, **AIR}
    still = balance.equilibrium(**MASSES, speed=5.0, **road)
    step = 1e-5

    def moved(lean=0.0, torque=0.0, speed=0.0):
        return np.array(balance.motion(still.lean + lean, 0.0, still.wheel_torque + torque, **MASSES, speed=5.0 + speed, **road))

    slopes = [(moved(**{name: step}) - moved(**{name: -step})) / (2 * step) for name in ("lean", "torque", "speed")]
    found = balance.linear_plant(**MASSES, speed=5.0, **road)
    assert np.transpose(slopes).ravel() * [1, -1, 1, 1, 1, 1] == pytest.approx(np.array(found[:6]), rel=1e-6, abs=1e-9)


def energy(lean, rate, speed, place, slope):
    grade = np.arctan(slope)
    moving = 0.5 * ROLLING * speed**2 + MOMENT * np.cos(lean + grade) * speed * rate + 0.5 * INERTIA * rate**2
    return moving + (BODY + WHEEL) * GRAVITY * place * np.sin(grade) + MOMENT * GRAVITY * np.cos(lean)


def ride(torque, slope=0.06, start=(0.1, -0.4, 2.0), seconds=0.6):
    """Lean, lean rate, speed, place and work of the torque, integrated without wind and loss."""
    from scipy.integrate import solve_ivp

    def change(time, state):
        lean, rate, speed, _, _ = state
        now = torque(time)
        pitch, pull = balance.motion(lean, rate, now, **MASSES, slope=slope, speed=speed)
        return [rate, pitch, pull, speed, now * (speed / RADIUS - rate)]

    return solve_ivp(change, (0, seconds), [*start, 0.0, 0.0], rtol=1e-12, atol=1e-12).y[:, [0, -1]]


@pytest.mark.checks("independent", "balance.motion")
def test_energy_stays_without_torque_and_grows_by_the_work_of_the_torque():
    first, last = ride(lambda time: 0.0).T
    assert energy(*last[:4], 0.06) == pytest.approx(energy(*first[:4], 0.06), rel=1e-11)
    first, last = ride(lambda time: 25.0 * np.sin(9 * time) + 10.0).T
    assert energy(*last[:4], 0.06) - energy(*first[:4], 0.06) == pytest.approx(last[4], rel=1e-8)
    assert abs(last[4]) > 1.0


@pytest.mark.checks("independent", "balance.motion", "balance.equilibrium")
def test_backward_is_the_mirror_of_forward():
    there = balance.motion(0.2, -0.7, 15.0, **MASSES, slope=0.05, speed=3.0, head_wind=2.0, **AIR)
    back = balance.motion(-0.2, 0.7, -15.0, **MASSES, slope=-0.05, speed=-3.0, head_wind=-2.0, **AIR)
    assert back == pytest.approx(tuple(-part for part in there), rel=1e-14)
    there = balance.equilibrium(**MASSES, slope=0.05, speed=3.0, head_wind=2.0, **AIR)
    back = balance.equilibrium(**MASSES, slope=-0.05, speed=-3.0, head_wind=-2.0, **AIR)
    assert back == pytest.approx(tuple(-part for part in there), rel=1e-14)


@pytest.mark.checks("independent", "balance.gust_neutral_height")
def test_a_gust_at_the_neutral_height_pitches_the_body_neither_way():
    wheel = {name: value for name, value in MASSES.items() if name != "body_inertia"}
    height = balance.gust_neutral_height(**wheel)
    assert plant(drag_height=height).lean_by_speed == pytest.approx(0.0, abs=1e-15)
    assert plant(drag_height=height - 0.05).lean_by_speed > 0 > plant(drag_height=height + 0.05).lean_by_speed


@pytest.mark.checks("independent", "balance.static_stiffness", "balance.toppling_rate")
@pytest.mark.parametrize("slope", [0.0, 0.1])
def test_stiffness_and_rate_are_those_of_the_plant(slope):
    machine = balance.linear_plant(**MASSES, slope=slope)
    assert balance.static_stiffness(**MASSES, slope=slope) == pytest.approx(machine.lean_by_lean / machine.lean_by_torque, rel=1e-13)
    assert balance.toppling_rate(**MASSES, slope=slope) ** 2 == pytest.approx(machine.lean_by_lean, rel=1e-13)
    lean = 1e-5
    found = balance.equilibrium(**MASSES, slope=slope)
    torque = balance.static_stiffness(**MASSES, slope=slope) * lean
    pitch = balance.motion(found.lean + lean, 0.0, found.wheel_torque + torque, **MASSES, slope=slope).lean_acceleration
    assert pitch == pytest.approx(0.0, abs=1e-3 * machine.lean_by_lean * lean)


def test_first_numbers_of_the_plant():
    for row in (published("BAL-04"), published("BAL-05")):
        assert getattr(plant(), row.field) == pytest.approx(row.value, abs=row.tolerance)


LISTS = {"body_mass": [60.0, 84.0, 110.0], "wheel_radius": [0.3, 0.42]}
ROAD = {"slope": [-0.05, 0.0, 0.1], "speed": [0.0, -2.0], "head_wind": [-3.0, 4.0, 0.0]}
WITHOUT_INERTIA = {name: value for name, value in MASSES.items() if name != "body_inertia"}


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (balance.equilibrium, MASSES | LISTS | AIR),
        (balance.equilibrium, MASSES | ROAD | {"acceleration": [0.3, -1.0]} | AIR),
        (balance.linear_plant, MASSES | LISTS | ROAD | AIR),
        (balance.toppling_rate, MASSES | LISTS | {"slope": [0.0, 0.1, 0.2]}),
        (balance.static_stiffness, MASSES | LISTS | {"slope": [0.0, 0.1, 0.2]}),
        (balance.gust_neutral_height, WITHOUT_INERTIA | LISTS),
        (balance.motion, {"lean": [0.0, 0.3, -1.0], "lean_rate": [0.0, 2.0], "wheel_torque": [1.0, 5.0, -20.0]} | MASSES | AIR),
        (balance.trim_shift, {"trim_torque": [-5.0, 8.0], "gear_leverage": [0.5, 0.7, 1.0], "assist_gain": 0.3}),
    ],
)
def test_arrays_give_what_a_loop_gives(function, arguments):
    assert_broadcasts(function, **arguments)


def test_impossible_machines_and_roads_are_refused_in_words():
    with pytest.raises(ValueError, match=r"body_inertia must be above 0, got -3"):
        balance.linear_plant(**(MASSES | {"body_inertia": -3.0}))
    with pytest.raises(ValueError, match=r"wheel_inertia must be 0 or above, got -0\.1"):
        balance.toppling_rate(**(MASSES | {"wheel_inertia": -0.1}))
    with pytest.raises(ValueError, match=r"drag_area must be 0 or above"):
        balance.equilibrium(**MASSES, drag_area=-0.5)
    with pytest.raises(ValueError, match=r"no lean of the body balances a wheel torque of \d+\.\d N\*m: slope, wind or acceleration"):
        balance.equilibrium(**(MASSES | {"centre_of_mass_height": 0.2}), slope=3.0)
    with pytest.raises(ValueError, match=r"gear_leverage must be above 0, got 0"):
        balance.trim_shift(5.0, 0.0, 0.3)
