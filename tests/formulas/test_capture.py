"""What can still be caught: closed forms against integrals over time, and the states against the frequency response."""

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from machines import AIR, EFFICIENCY, MASSES, PATH, PDA_100, plant
from published import published

from unikit.formulas import balance, capture, leverage, pedalling, reflex
from unikit.formulas.reflex import Path
from unikit.formulas.road import GRAVITY

MOMENT = MASSES["body_mass"] * MASSES["centre_of_mass_height"]
INERTIA = MOMENT * MASSES["centre_of_mass_height"] + MASSES["body_inertia"]
ROLLING = MASSES["body_mass"] + MASSES["wheel_mass"] + MASSES["wheel_inertia"] / MASSES["wheel_radius"] ** 2
WHEEL = {name: MASSES[name] for name in ("body_mass", "wheel_mass", "wheel_inertia", "wheel_radius")}
TIME = np.linspace(0.0, 6.0, 600_001)


def delayed(values, late):
    """The same course later."""
    return np.interp(TIME - late, TIME, values, left=0.0)


def lagged(values, lag):
    """The same course through a lag of first order, exact for a course that is straight between samples."""
    from scipy.signal import lfilter

    step = TIME[1] - TIME[0]
    keep = np.exp(-step / lag)
    gain = lag / step * (1 - keep)
    return lfilter([1 - gain, gain - keep], [1, -keep], values)


def weighted(values, rate):
    """The integral of rate * exp(-rate t) * values."""
    return np.trapezoid(rate * np.exp(-rate * TIME) * values, TIME)


@pytest.mark.checks("independent", "capture.capture_lean")
@pytest.mark.parametrize("motor_reserve", [100.0, 0.0])
def test_capture_lean_is_the_integral_of_the_answer_over_time(motor_reserve):
    machine, hold, gain, reserve = plant(), 0.64, 0.35, 30.0
    rate = np.sqrt(machine.lean_by_lean)
    legs = lagged(delayed(np.full(TIME.shape, reserve), PDA_100.delay), PDA_100.muscle_lag)
    asked = np.minimum(gain * legs, motor_reserve)
    motor = lagged(lagged(delayed(asked, PATH.dead_time), 1 / (2 * np.pi * PATH.filter_corner)), PATH.motor_lag)
    torque = hold * legs + motor
    expected = machine.lean_by_torque / machine.lean_by_lean * weighted(torque, rate)
    found = capture.capture_lean(machine, PDA_100, PATH, hold, gain, reserve, motor_reserve)
    assert found == pytest.approx(expected, rel=1e-4)
    # the growing part of the lean stays bounded from just below this lean and runs away from just above
    for share, away in ((0.999, -1), (1.001, 1)):
        growing = share * expected - machine.lean_by_torque / rate * np.cumsum(np.exp(-rate * TIME) * torque) * (TIME[1] - TIME[0])
        assert np.sign(growing[-1]) == away


@pytest.mark.checks("independent", "capture.capture_lean_rate", "capture.capture_speed_loss")
def test_a_blow_at_the_wheel_keeps_the_moment_of_momentum_of_the_body():
    lean, rate, loss = 0.07, 6.4, 0.4
    for step in (1e-3, 1e-4):  # a short push that takes the speed off, against the equations of motion
        pull = loss / step
        wanted = -pull * (ROLLING - MOMENT**2 / INERTIA) * MASSES["wheel_radius"]
        still = {"slope": 0.0, **{**MASSES}}
        moved = np.array(balance.motion(0.0, 0.0, 0.0, **still))
        pushed = np.linalg.solve([[ROLLING, MOMENT], [MOMENT, INERTIA]], [wanted / MASSES["wheel_radius"], 0.0])
        assert (moved[1] + pushed[0]) * step == pytest.approx(-loss, rel=1e-12)
        gained = (moved[0] + pushed[1]) * step
        assert gained == pytest.approx(loss * MOMENT / INERTIA, rel=1e-12)
    largest = capture.capture_speed_loss(lean, rate, MASSES["body_mass"], MASSES["centre_of_mass_height"], MASSES["body_inertia"])
    assert largest * MOMENT / INERTIA == pytest.approx(capture.capture_lean_rate(lean, rate), rel=1e-13)
    assert capture.capture_lean_rate(lean, rate) == pytest.approx(rate * lean, rel=1e-15)


@pytest.mark.checks("independent", "capture.capture_grade_step")
def test_a_step_of_slope_pushes_the_body_like_the_lean_that_it_costs():
    lean = 1e-4
    slope = capture.capture_grade_step(lean, **WHEEL)
    pitch = balance.motion(0.0, 0.0, 0.0, **MASSES, slope=slope).lean_acceleration
    assert pitch == pytest.approx(balance.linear_plant(**MASSES).lean_by_lean * lean, rel=1e-6)


@pytest.mark.checks("independent", "capture.capture_push")
@pytest.mark.parametrize("height", [0.3, 0.9])
def test_a_push_of_the_air_pitches_the_body_like_the_lean_that_it_costs(height):
    lean = 1e-3
    push = capture.capture_push(lean, centre_of_mass_height=MASSES["centre_of_mass_height"], drag_height=height, **WHEEL)
    air = {"air_density": 2.0, "drag_area": 1.0, "head_wind": np.sqrt(push), "drag_height": height}
    pitch = balance.motion(0.0, 0.0, 0.0, **MASSES, **air).lean_acceleration
    assert abs(pitch) == pytest.approx(balance.linear_plant(**MASSES).lean_by_lean * lean, rel=1e-12)


def test_a_push_at_the_neutral_height_has_no_limit():
    body = {"centre_of_mass_height": 0.8, "body_mass": 80.0, "wheel_mass": 20.0, "wheel_inertia": 0.0, "wheel_radius": 0.36}
    neutral = balance.gust_neutral_height(**body)
    assert capture.capture_push(0.05, drag_height=neutral, **body) == np.inf
    assert capture.capture_push(0.05, drag_height=neutral + 0.01, **body) < 1e5


@pytest.mark.checks("independent", "capture.cut_out_limit")
@pytest.mark.parametrize(("ramp", "drag"), [(0.0, 0.0), (0.0, 0.6), (0.15, 0.0), (0.1, 0.6)])
def test_at_the_limit_of_a_cut_out_the_growing_part_comes_to_rest(ramp, drag):
    rate, hold, reserve = 6.44, 0.64, 30.0
    limit = float(capture.cut_out_limit(rate, PDA_100, hold, reserve, motor_drag=drag, ramp_time=ramp))
    lost = (limit + drag) * (np.minimum(TIME / ramp, 1.0) if ramp else 1.0)
    legs = hold * lagged(delayed(np.full(TIME.shape, reserve), PDA_100.delay), PDA_100.muscle_lag)
    assert weighted(legs - lost, rate) == pytest.approx(0.0, abs=1e-3 * limit)


@pytest.mark.checks("limit", "capture.cut_out_limit")
def test_a_slow_ramp_leaves_what_the_legs_can_hold_and_drag_alone_may_be_too_much():
    assert capture.cut_out_limit(6.44, PDA_100, 0.64, 30.0, ramp_time=50.0) == pytest.approx(0.64 * 30.0, rel=1e-14)
    assert capture.cut_out_limit(6.44, PDA_100, 0.64, 30.0, motor_drag=0.5, ramp_time=50.0) == pytest.approx(0.64 * 30.0 - 0.5, rel=1e-14)
    assert capture.cut_out_limit(6.44, PDA_100, 0.64, 1.0, motor_drag=5.0) == 0.0
    ramps = capture.cut_out_limit(6.44, PDA_100, 0.64, 30.0, ramp_time=np.array([0.0, 1e-9, 0.05, 0.1, 0.2]))
    assert ramps[1] == pytest.approx(ramps[0], rel=1e-8)
    assert np.all(np.diff(ramps[1:]) > 0)
    with_drag = leverage.cut_out_step(float(ramps[0]), 0.0, 0.64)  # the step that the legs must make stays below their reserve
    assert with_drag < 30.0


@pytest.mark.checks("independent", "capture.laplace_strength")
@pytest.mark.parametrize("angle", [0.0, 1.0, 2.9, 4.0])
@pytest.mark.parametrize("cadence", [7.4, -7.4, 1.0, 20.0])
def test_the_weighted_strength_is_the_integral_over_the_turn(angle, cadence):
    expected = weighted(pedalling.torque_shape(angle + cadence * TIME, 0.2), 6.44)
    assert capture.laplace_strength(angle, cadence, 6.44, 0.2) == pytest.approx(expected, rel=1e-6)


@pytest.mark.checks("limit", "capture.laplace_strength")
def test_legs_at_rest_keep_their_angle_and_fast_legs_their_mean():
    assert capture.laplace_strength(0.7, 0.0, 6.44, 0.2) == pytest.approx(pedalling.torque_shape(0.7, 0.2), rel=1e-8)
    assert capture.laplace_strength(0.7, 1e5, 6.44, 0.2) == pytest.approx(1.0, abs=1e-4)


@pytest.mark.checks("independent", "capture.worst_strength")
@pytest.mark.parametrize("cadence", [7.4, -7.4, 0.5, 18.0])
def test_no_crank_angle_counts_for_less_than_the_worst(cadence):
    angles = np.linspace(0.0, np.pi, 20_001)
    shares = capture.laplace_strength(angles, cadence, 6.44, 0.2)
    found = capture.worst_strength(cadence, 6.44, 0.2)
    assert found.share == pytest.approx(shares.min(), abs=1e-6) and found.share <= shares.min() + 1e-12
    assert found.crank_angle == pytest.approx(angles[np.argmin(shares)], abs=1e-3)


@pytest.mark.checks("independent", "pedalling.shape_second_harmonic")
def test_second_harmonic_of_the_rectified_sine():
    turn = np.arange(4096) * 2 * np.pi / 4096
    harmonics = np.abs(np.fft.rfft(np.abs(np.sin(turn)))) / 2048
    assert harmonics[2] == pytest.approx(4 / (3 * np.pi), rel=1e-5)
    assert pedalling.shape_second_harmonic(0.2) == pytest.approx(0.8 * harmonics[2] / (0.2 + 0.8 * harmonics[0] / 2), rel=1e-5)


@pytest.mark.checks("independent", "capture.ripple_lean")
@pytest.mark.parametrize("path", [PATH, Path(0.03, 6.0, 0.01)])
def test_ripple_is_what_the_states_do_with_a_pulsing_pedal(path):
    hold, ratio, gain, cadence, mean, floor = 0.64, 1.5, 0.35, 5.5, 12.0, 0.2
    machine = plant()
    system = reflex.system_matrices(machine, PDA_100, path, hold, ratio, gain)
    rate = 2j * cadence
    given = np.zeros(8, complex)  # lean, lean rate, speed, muscle, two of the legs, filter, motor
    given[1:3] = -machine.lean_by_torque * hold, machine.speed_by_torque * hold
    given[6] = gain * np.exp(-rate * path.dead_time) * 2 * np.pi * path.filter_corner
    matrix = rate * np.eye(8) - system.a_matrix - sum(part * np.exp(-rate * late) for part, late in system.delayed)
    # a rider who predicts feels the fall that the pulse causes, one delay later
    late = PDA_100.acceleration * np.exp(-rate * PDA_100.delay) / PDA_100.muscle_lag
    given[3] = -late * machine.lean_by_torque * hold
    lean = np.linalg.solve(matrix, given)[0] * pedalling.shape_second_harmonic(floor) * mean
    found = capture.ripple_lean(machine, PDA_100, path, hold, ratio, gain, mean, cadence, floor)
    assert found == pytest.approx(2 * abs(lean), rel=1e-11)


def first_example():
    """Level road at 4 m/s, gear 1.5, restoring gain, worst crank angle: leverage, gain, reserves, plant."""
    machine, still = plant(), balance.equilibrium(**MASSES, speed=4.0, **AIR)
    hold, gain, cadence = leverage.gear_leverage(1.5, EFFICIENCY), leverage.restoring_gain(1.5, EFFICIENCY), 4.0 / 0.36 / 1.5
    worst = capture.worst_strength(cadence, np.sqrt(machine.lean_by_lean), 0.2).share
    strongest = 700.0 * 0.125 / pedalling.shape_peak(0.2) * worst * (1 - cadence / 25.0)
    steady = still.wheel_torque / (hold + gain)
    return machine, hold, gain, strongest - steady, 40.0 - gain * steady


def test_first_numbers_of_capture_cut_out_and_ripple():
    machine, hold, gain, pedals, motor = first_example()
    rate = np.sqrt(machine.lean_by_lean)
    lean = capture.capture_lean(machine, PDA_100, PATH, hold, gain, pedals, motor)
    row = published("BAL-17")
    assert capture.capture_speed_loss(lean, rate, 84.0, 0.8, 10.0) == pytest.approx(row.value, abs=row.tolerance)
    row = published("BAL-20")
    assert 100 * capture.capture_grade_step(lean, **WHEEL) == pytest.approx(row.value, abs=row.tolerance)
    row = published("BAL-18")
    assert capture.cut_out_limit(rate, PDA_100, hold, pedals) == pytest.approx(row.value, abs=row.tolerance)
    climb = plant(speed=3.0, slope=0.03)
    torque = balance.equilibrium(**MASSES, speed=3.0, slope=0.03, **AIR).wheel_torque / (hold + gain)
    row = published("BAL-19")
    found = capture.ripple_lean(climb, PDA_100, PATH, hold, 1.5, gain, torque, 3.0 / 0.36 / 1.5, 0.2)
    assert np.degrees(found) == pytest.approx(row.value, abs=row.tolerance)


def test_static_lean_that_a_torque_holds_is_that_of_the_equations():
    lean = np.radians(15.7)
    torque = MOMENT * GRAVITY * np.sin(lean) / (1 + MOMENT * np.cos(lean) / (MASSES["wheel_radius"] * ROLLING))
    assert balance.motion(lean, 0.0, torque, **MASSES).lean_acceleration == pytest.approx(0.0, abs=1e-12)


LISTS = {"gear_leverage": [0.5, 0.7], "assist_gain": [0.0, 0.3, 0.6]}  # down and across


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (
            capture.capture_lean,
            LISTS | {"plant": plant(), "reflex": PDA_100, "path": PATH, "pedal_reserve": [10.0, 40.0], "motor_reserve": 9.0},
        ),
        (capture.capture_lean_rate, {"capture_lean": [0.0, 0.1], "toppling_rate": [5.0, 6.0, 7.0]}),
        (
            capture.capture_speed_loss,
            {
                "capture_lean": [0.0, 0.1],
                "toppling_rate": [5.0, 6.0, 7.0],
                "body_mass": 80.0,
                "centre_of_mass_height": 0.8,
                "body_inertia": 9.0,
            },
        ),
        (capture.capture_grade_step, WHEEL | {"capture_lean": [0.02, 0.1], "wheel_mass": [5.0, 8.0, 11.0]}),
        (capture.capture_push, WHEEL | {"capture_lean": [0.02, 0.1], "centre_of_mass_height": 0.8, "drag_height": [0.5, 0.9, 1.0]}),
        (
            capture.cut_out_limit,
            {
                "toppling_rate": [5.0, 7.0],
                "reflex": PDA_100,
                "gear_leverage": 0.6,
                "pedal_reserve": [0.0, 30.0, 60.0],
                "ramp_time": [0.0, 0.1],
            },
        ),
        (capture.laplace_strength, {"crank_angle": [0.0, 1.0, 4.0], "cadence": [-3.0, 0.0, 8.0], "toppling_rate": 6.4, "floor": 0.2}),
        (capture.worst_strength, {"cadence": [-3.0, 1.0, 8.0], "toppling_rate": [5.0, 7.0], "floor": 0.2}),
        (
            capture.ripple_lean,
            LISTS
            | {
                "plant": plant(),
                "reflex": PDA_100,
                "path": PATH,
                "gear_ratio": 1.5,
                "pedal_torque": [5.0, -9.0],
                "cadence": 6.0,
                "floor": 0.2,
            },
        ),
    ],
)
def test_arrays_give_what_a_loop_gives(function, arguments):
    assert_broadcasts(function, **arguments)


def test_impossible_reserves_are_refused_in_words():
    with pytest.raises(ValueError, match=r"pedal_reserve must be 0 or above, got -1"):
        capture.capture_lean(plant(), PDA_100, PATH, 0.6, 0.3, -1.0, 20.0)
    with pytest.raises(ValueError, match=r"toppling_rate must be above 0, got 0"):
        capture.cut_out_limit(0.0, PDA_100, 0.6, 20.0)
    with pytest.raises(ValueError, match=r"ramp_time must be 0 or above"):
        capture.cut_out_limit(6.0, PDA_100, 0.6, 20.0, ramp_time=-1.0)
    with pytest.raises(ValueError, match=r"floor must be from 0 to 1, got 1\.2"):
        capture.worst_strength(6.0, 6.4, 1.2)
    with pytest.raises(ValueError, match=r"cadence must be above 0, got 0"):
        capture.ripple_lean(plant(), PDA_100, PATH, 0.6, 1.5, 0.3, 10.0, 0.0, 0.2)
