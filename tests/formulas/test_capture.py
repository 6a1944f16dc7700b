"""What can still be caught: against numerical integration, against the plant's own growth, and against a first computation."""

import numpy as np
import pytest
from machines import EFFICIENCY, MASSES, PATH, PD_100, PDA_100, plant
from published import published
from scipy.integrate import quad, solve_ivp

from unikit.formulas import balance, capture, gearing, pedalling
from unikit.formulas.reflex import Path, Reflex

GEAR = 1.5
LEVERAGE = EFFICIENCY / GEAR
RESTORING = 1.0 - LEVERAGE
ROLLING = {name: MASSES[name] for name in ("wheel_mass", "wheel_inertia", "wheel_radius")}


def legs(cadence, length=0.125, force=700.0, floor=0.2, fastest=25.0):
    """Mean greatest crank torque of the riders that the first computation took."""
    return force * length * (floor + (1 - floor) * 2 / np.pi) * (1 - cadence / fastest)


def falling(machine, reflex, torque_course, ratio):
    """Divergent part of the motion for a start at ``ratio`` of the captured lean, integrated without the capture formula."""
    rate = np.sqrt(machine.lean_by_lean)

    def rhs(time, state):
        return [state[1], machine.lean_by_lean * state[0] - machine.lean_by_torque * torque_course(time)]

    done = solve_ivp(rhs, (0, 4.0), [ratio, 0.0], rtol=1e-10, atol=1e-14, max_step=0.01)
    return done.y[0, -1] + done.y[1, -1] / rate


@pytest.mark.checks("independent", "capture.capture_lean")
@pytest.mark.parametrize("reserve", [8.0, 80.0])
def test_capture_is_the_edge_between_falling_forward_and_back(reserve):
    """The catching torque over time through delay, muscle, dead time, filter and motor, integrated with the plant alone."""
    machine, late, path = plant(speed=0.0, head_wind=0.0), Reflex(1.0, 1.0, 0.0, 0.0, 0.12, 0.04, 0.0, 0.0, 0.2), Path(0.02, 8.0, 0.005)
    gain, pedal = 0.4, 30.0
    caught = capture.capture_lean(machine, late, path, LEVERAGE, gain, pedal, reserve)
    corner = 1 / (2 * np.pi * path.filter_corner)

    def course(time):
        legs_late = 1 - np.exp(-max(time - late.delay, 0) / late.muscle_lag)
        start = late.delay + path.dead_time
        lags = (late.muscle_lag, corner, path.motor_lag)
        after = max(time - start, 0)
        step = 1 - sum(
            tau**2 / np.prod([tau - other for other in lags if other != tau]) * np.exp(-after / tau) for tau in lags
        )  # step through three lags in a row
        return LEVERAGE * pedal * legs_late + min(gain * pedal, reserve) * (step if after > 0 else 0.0)

    assert falling(machine, late, course, 0.998 * caught) < 0 < falling(machine, late, course, 1.002 * caught)


@pytest.mark.checks("independent", "capture.capture_lean_rate", "capture.capture_speed_loss")
def test_a_sudden_stop_of_the_axle_is_a_lean_rate():
    """Impulse at the axle: the coupled equations keep J dθ' + h dv = 0, so the speed loss is a lean rate times J / h."""
    lean, rate = 0.05, balance.toppling_rate(**MASSES)
    spin = capture.capture_lean_rate(lean, rate)
    assert spin == pytest.approx(lean * rate, rel=1e-12)
    moment = MASSES["body_mass"] * MASSES["centre_of_mass_height"]
    inertia = moment * MASSES["centre_of_mass_height"] + MASSES["body_inertia"]
    body = {name: MASSES[name] for name in ("body_mass", "centre_of_mass_height", "body_inertia")}
    assert capture.capture_speed_loss(lean, rate, **body) == pytest.approx(spin * inertia / moment, rel=1e-12)


@pytest.mark.checks("independent", "capture.capture_grade_step", "capture.capture_push")
def test_a_grade_step_and_a_push_are_the_accelerations_of_the_nonlinear_plant():
    lean, wind = 1e-5, {"air_density": 1.2, "drag_area": 0.55}
    body = {name: MASSES[name] for name in ("body_mass", "centre_of_mass_height")}
    slope = capture.capture_grade_step(lean, MASSES["body_mass"], **ROLLING)
    start = balance.motion(0.0, 0.0, 0.0, **MASSES)
    leaned = balance.motion(lean, 0.0, 0.0, **MASSES)
    stepped = balance.motion(0.0, 0.0, 0.0, **MASSES, slope=slope)
    assert abs(stepped.lean_acceleration) == pytest.approx(abs(leaned.lean_acceleration - start.lean_acceleration), rel=1e-3)
    for height in (0.2, 1.2):
        force = capture.capture_push(lean, **body, **ROLLING, drag_height=height)
        speed = np.sqrt(2 * force / (wind["air_density"] * wind["drag_area"]))
        pushed = balance.motion(0.0, 0.0, 0.0, **MASSES, **wind, head_wind=speed, drag_height=height)
        assert abs(pushed.lean_acceleration) == pytest.approx(abs(leaned.lean_acceleration), rel=1e-3)


@pytest.mark.checks("limit", "capture.capture_push")
def test_at_the_gust_neutral_height_no_push_pitches_the_body():
    height = balance.gust_neutral_height(**{name: MASSES[name] for name in ("body_mass", "centre_of_mass_height")}, **ROLLING)
    body = {name: MASSES[name] for name in ("body_mass", "centre_of_mass_height")}
    assert capture.capture_push(0.05, **body, **ROLLING, drag_height=height) > 1e10


@pytest.mark.checks("independent", "capture.cut_out_limit")
@pytest.mark.parametrize("ramp", [0.0, 0.7, 2.5])
def test_the_lost_torque_balances_the_divergent_part(ramp):
    """Both sides weighted with exp(-rate t) by quadrature: what the motor gives up and what the legs add."""
    rate, reserve = 6.4, 30.0
    limit = capture.cut_out_limit(rate, PD_100, LEVERAGE, reserve, motor_drag=0.0, ramp_time=ramp)
    added, _ = quad(
        lambda t: LEVERAGE * reserve * (1 - np.exp(-(t - PD_100.delay) / PD_100.muscle_lag)) * np.exp(-rate * t), PD_100.delay, 8, limit=200
    )
    lost, _ = quad(
        lambda t: min(t / ramp, 1.0) * np.exp(-rate * t) if ramp else np.exp(-rate * t), 0, 8, limit=200, points=[ramp] if ramp else None
    )
    assert limit == pytest.approx(min(added / lost, LEVERAGE * reserve), rel=5e-3)
    assert capture.cut_out_limit(rate, PD_100, LEVERAGE, reserve, motor_drag=1.5, ramp_time=ramp) == pytest.approx(limit - 1.5)
    assert capture.cut_out_limit(rate, PD_100, LEVERAGE, 0.0, motor_drag=1.5) == 0.0


@pytest.mark.checks("independent", "capture.laplace_strength", "capture.worst_strength")
@pytest.mark.parametrize("cadence", [-9.0, 0.5, 7.4, 16.0])
def test_weighted_strength_by_quadrature(cadence):
    rate, floor = 6.4, 0.2
    angles = np.linspace(0, np.pi, 181)

    def weighted(start):
        points = (np.arange(60) * np.pi - start * np.sign(cadence)) / abs(cadence)
        inside = [p for p in points if 0 < p < 5]
        shape = lambda t: rate * np.exp(-rate * t) * pedalling.torque_shape(start + cadence * t, floor)
        return quad(shape, 0, 5, points=inside or None, limit=400)[0]

    found = capture.laplace_strength(angles, cadence, rate, floor)
    assert found[::30] == pytest.approx([weighted(angle) for angle in angles[::30]], rel=1e-6)
    worst = capture.worst_strength(cadence, rate, floor)
    assert worst.share == pytest.approx(found.min(), rel=1e-3)
    assert capture.laplace_strength(worst.crank_angle, cadence, rate, floor) == pytest.approx(worst.share, rel=1e-12)


@pytest.mark.checks("independent", "capture.ripple_lean")
def test_ripple_is_the_forced_swing_of_the_closed_loop():
    """The same loop as matrices, driven by the second harmonic through the legs and the motor at once."""
    from unikit.formulas import reflex

    machine, torque, cadence, floor, gain = plant(speed=3.0, slope=0.03), 13.0, 5.0, 0.2, 0.35
    rate = 2 * cadence
    around = reflex.loop_response(rate, machine, PDA_100, PATH, LEVERAGE, GEAR, gain)
    alone = reflex.lean_response(rate, machine)
    push = torque * pedalling.shape_second_harmonic(floor) * (LEVERAGE + gain * reflex.path_response(rate, PATH))
    expected = 2 * abs(alone * push / (1 + around))
    assert capture.ripple_lean(machine, PDA_100, PATH, LEVERAGE, GEAR, gain, torque, cadence, floor) == pytest.approx(expected, rel=1e-9)


def test_first_computation():
    """The numbers of a first computation of the same model; trends, not proof."""
    machine, cadence = plant(), gearing.cadence(4.0, MASSES["wheel_radius"], GEAR)
    steady = balance.equilibrium(**MASSES, speed=4.0, air_density=1.2, drag_area=0.55, drag_height=0.75, rolling_coefficient=0.008)
    pedal = steady.wheel_torque / (LEVERAGE + RESTORING)
    rate = np.sqrt(machine.lean_by_lean)
    worst = capture.worst_strength(cadence, rate, 0.2).share
    reserve = worst * legs(cadence) - pedal
    lean = capture.capture_lean(machine, PDA_100, PATH, LEVERAGE, RESTORING, reserve, 40.0)
    body = {name: MASSES[name] for name in ("body_mass", "centre_of_mass_height", "body_inertia")}
    row = published("BAL-17")
    assert capture.capture_speed_loss(lean, rate, **body) == pytest.approx(row.value, abs=0.04)
    row = published("BAL-18")
    alone = worst * legs(cadence) - steady.wheel_torque / LEVERAGE
    assert capture.cut_out_limit(rate, PD_100, LEVERAGE, alone) == pytest.approx(row.value, abs=1.0)
    row = published("BAL-20")
    assert 100 * capture.capture_grade_step(lean, MASSES["body_mass"], **ROLLING) == pytest.approx(row.value, abs=0.6)
    row = published("BAL-19")
    slow = gearing.cadence(3.0, MASSES["wheel_radius"], GEAR)
    climb = balance.equilibrium(
        **MASSES, slope=0.03, speed=3.0, air_density=1.2, drag_area=0.55, drag_height=0.75, rolling_coefficient=0.008
    )
    swing = capture.ripple_lean(
        plant(speed=3.0, slope=0.03), PDA_100, PATH, LEVERAGE, GEAR, RESTORING, climb.wheel_torque / (LEVERAGE + RESTORING), slow, 0.2
    )
    assert np.degrees(swing) == pytest.approx(row.value, abs=0.15)


def test_impossible_arguments_are_refused_in_words():
    with pytest.raises(ValueError, match="gear_leverage must be above 0"):
        capture.capture_lean(plant(), PD_100, PATH, 0.0, 0.3, 30.0, 20.0)
    with pytest.raises(ValueError, match="ramp_time must be 0 or above"):
        capture.cut_out_limit(6.4, PD_100, 0.6, 30.0, ramp_time=-1.0)
