"""Rides in time: against roots, energy, mirror images, closed forms, and themselves at other steps."""

import numpy as np
import pytest
from machines import EFFICIENCY, MASSES, PATH, PD_100, PDA_100, PDA_150, plant
from published import published
from riding import REAL, STRONG, drive, machine, modes

from unikit.formulas import balance, capture, delay, events, leverage, pedalling, reflex
from unikit.formulas.events import Drive, Event, Legs, Machine
from unikit.formulas.reflex import Path
from unikit.formulas.road import GRAVITY

HOLD = EFFICIENCY / 1.5
NOBODY = PDA_100._replace(proportional=0.0, derivative=0.0, acceleration=0.0, leg_damping=0.0, leg_stiffness=0.0)
MOMENT = MASSES["body_mass"] * MASSES["centre_of_mass_height"]
INERTIA = MOMENT * MASSES["centre_of_mass_height"] + MASSES["body_inertia"]
ROLLING = MASSES["body_mass"] + MASSES["wheel_mass"] + MASSES["wheel_inertia"] / MASSES["wheel_radius"] ** 2


def apart(course, road, motor):
    """Lean away from the steady one."""
    return course.lean - np.asarray(events.steady_ride(road, motor).lean)[..., None]


@pytest.mark.checks("independent", "events.simulate")
@pytest.mark.parametrize(("person", "gain"), [(PD_100, 0.3), (PDA_100, 0.35), (PDA_150, 0.35)])
@pytest.mark.parametrize("path", [PATH, Path(0.0125, np.inf, 0.0)])
def test_a_small_deviation_dies_with_the_rightmost_roots_of_the_loop(person, gain, path):
    system = reflex.system_matrices(plant(), person, path, HOLD, 1.5, gain)
    expected = delay.rightmost_roots(*system, count=3)
    road, motor = machine(), drive(gain)
    course = events.simulate(road, person, path, STRONG, motor, Event(lean_rate=1e-6), duration=8.0, step=0.002, every=25)
    found = modes(apart(course, road, motor)[40:], 0.05, 8)
    for root in expected[expected.imag >= 0][:2]:
        nearest = found[np.argmin(np.abs(found - root))]
        assert abs(nearest - root) < 0.005 * abs(root)


@pytest.mark.checks("independent", "events.simulate")
def test_resisting_pedals_and_a_rider_who_settles_have_the_roots_of_their_own_loops():
    road, motor = machine(slope=-0.06), Drive(0.9, 1.5, 0.1, 0.3, speeds=0.0, highest=1e5, lowest=-1e5)
    assert events.steady_ride(road, motor).pedal_torque < 0
    matrix, delayed = reflex.system_matrices(plant(slope=-0.06), PDA_100, PATH, 1 / (0.9 * 1.5), 1.5, 0.3)
    wider = lambda part: np.pad(part, ((0, 1), (0, 1)))
    matrix, delayed = wider(matrix), [(wider(part), late) for part, late in delayed]
    for part in (matrix, *(part for part, _ in delayed)):
        part[:, 8] = part[:, 3]  # what is learned acts as the muscle's torque does
    matrix[3, 8], matrix[8, 3] = 0.0, 0.3
    expected = delay.rightmost_roots(matrix, delayed, count=3)
    course = events.simulate(
        road, PDA_100, PATH, STRONG, motor, Event(lean_rate=1e-6), duration=10.0, step=0.002, every=25, settling_rate=0.3
    )
    found = modes(apart(course, road, motor)[40:], 0.05, 8)
    for root in expected[:2]:
        assert np.abs(found - root).min() < 0.005 * abs(root)


@pytest.mark.checks("independent", "events.simulate", "reflex.gain_window")
@pytest.mark.parametrize("person", [PD_100, PDA_150])
def test_oscillations_grow_just_above_the_onset_gain_and_die_just_below(person):
    window = reflex.gain_window(plant(), person, PATH, HOLD, 1.5)
    road, motor = machine(), drive(window.onset_gain * np.array([0.99, 1.0, 1.01]))
    course = events.simulate(road, person, PATH, STRONG, motor, Event(lean_rate=1e-6), duration=10.0, step=0.002, every=25)
    edge = [modes(row[60:], 0.05, 8) for row in apart(course, road, motor)]
    edge = [found[np.argmin(np.abs(found - 1j * window.onset_frequency))] for found in edge]
    assert edge[0].real < -0.01 and edge[2].real > 0.01
    assert abs(edge[1].real) < 0.005 * window.onset_frequency
    assert edge[1].imag == pytest.approx(window.onset_frequency, rel=0.005)


ORDER_EVENTS = {
    "speed loss": Event(speed_loss=0.1),
    "lean rate": Event(lean_rate=0.15),
    "gust": Event(gust=3.0, gust_time=0.4),
    "slope": Event(slope_step=0.01, slope_time=0.4),
    "cut-out": Event(cut_out=0.4),
    "ramp": Event(cut_out=0.6, ramp_time=0.3),
    "short": Event(short_drag=0.02),
    "sensor": Event(sensor_offset=3.0),
}


@pytest.mark.checks("independent", "events.simulate")
@pytest.mark.parametrize("path", [Path(0.012 + 0.004 / 3, 10.0, 0.006), Path(0.012 + 0.004 / 3, np.inf, 0.0), Path(0.0, np.inf, 0.0)])
def test_the_error_is_of_second_order_in_the_step(path):
    road = machine(slope=0.02)
    motor = drive(0.4, trim=1.0, motor_drag=0.2)
    person = PDA_100._replace(delay=0.1 + 0.004 / 3)
    stacked = Event(*(np.array(part) for part in zip(*ORDER_EVENTS.values(), strict=True)))

    def end(step):  # of each delay a third or two thirds of a step stay over at every one of these steps
        course = events.simulate(road, person, path, Legs(90.0, 25.0, 1.0, 0.8), motor, stacked, 0.8, step, every=round(0.8 / step))
        assert course.caught.all()
        return np.stack([course.lean[:, -1], course.lean_rate[:, -1], course.speed[:, -1]])

    finest = end(1.25e-4)
    errors = np.array([np.linalg.norm(end(step) - finest, axis=0) for step in (4e-3, 2e-3, 1e-3)])
    orders = np.log2(errors[0] / errors[2]) / 2
    assert np.all(orders > 1.85) and np.all(orders < 2.15), dict(zip(ORDER_EVENTS, orders.round(2).tolist(), strict=True))
    assert errors[2].max() < 2e-5


@pytest.mark.checks("independent", "events.simulate")
def test_an_end_inside_a_step_costs_no_order():
    worst = []
    for step in (8e-3, 4e-3, 2e-3):
        ends = 0.32 + step * np.array([0.2, 0.5, 0.7])
        run = lambda size, ends=ends: events.simulate(
            machine(),
            PDA_100,
            Path(0.01, 10.0, 0.0),
            STRONG,
            drive(0.35),
            Event(slope_step=0.01, slope_time=ends),
            0.6,
            size,
            every=round(0.6 / size),
        ).lean[:, -1]
        worst.append(np.abs(run(step) - run(2.5e-4)).max())
    assert np.log2(worst[0] / worst[2]) / 2 > 1.7


def energy(course):
    """Kinetic energy and the weight of the body, on the level."""
    lean, rate, speed = course.lean, course.lean_rate, course.speed
    moving = 0.5 * ROLLING * speed**2 + MOMENT * np.cos(lean) * speed * rate + 0.5 * INERTIA * rate**2
    return moving + MOMENT * GRAVITY * np.cos(lean)


@pytest.mark.checks("limit", "events.simulate")
def test_energy_stays_when_nothing_drives_and_nothing_is_lost():
    changes = []
    for step in (1e-3, 5e-4):
        road = Machine(**MASSES, speed=3.0)
        course = events.simulate(road, NOBODY, PATH, STRONG, drive(0.0), Event(lean_rate=0.5), 0.8, step, fall_lean=10.0, every=1)
        changes.append(np.ptp(energy(course)) / (0.5 * ROLLING * 9.0))
    assert np.abs(course.lean[-1]) > 1.5
    assert changes[1] < 2e-6 and changes[0] / changes[1] > 3.5


@pytest.mark.checks("independent", "events.simulate")
def test_work_of_the_torques_on_the_wheel_is_the_energy_gained():
    road, motor = Machine(**MASSES, speed=3.0), drive(0.35, motor_drag=0.5, trim=1.0)
    course = events.simulate(road, PDA_100, PATH, STRONG, motor, Event(speed_loss=0.2), 1.5, 5e-4, every=1)
    spin = course.speed / MASSES["wheel_radius"] - course.lean_rate
    hold = leverage.gear_leverage(1.5, EFFICIENCY, course.pedal_torque * spin < 0)
    power = (hold * course.pedal_torque + course.motor_torque) * spin
    work = np.append(0.0, np.cumsum(0.5 * (power[1:] + power[:-1])) * 5e-4)
    gained = energy(course) - energy(course)[0]
    assert np.ptp(gained) > 20.0
    np.testing.assert_allclose(work, gained, atol=1e-4 * np.ptp(gained))


@pytest.mark.checks("limit", "events.simulate")
def test_the_mirror_image_of_a_ride_is_the_ride_of_the_mirror_image():
    level = {"air_density": 1.2, "rolling_coefficient": 0.0}
    table = {"speeds": np.array([-8.0, 0.0, 8.0]), "highest": np.array([30.0, 20.0, 9.0]), "lowest": np.array([-9.0, -20.0, -30.0])}
    sign = np.array([1.0, -1.0])
    road = Machine(**MASSES, speed=4.0 * sign, **level)
    legs = Legs(60.0, 25.0, 0.2, 1.0, crank_angle=0.7 * sign)
    motor = Drive(0.9, 1.5, 0.3, 0.2, trim=2.0 * sign, motor_drag=0.4, **table)
    event = Event(speed_loss=0.25 * sign, sensor_offset=2.0 * sign, slope_step=0.01 * sign, cut_out=0.5, ramp_time=0.3)
    course = events.simulate(road, PDA_100, PATH, legs, motor, event, pulsing=True, settling_rate=0.3)
    assert np.ptp(course.lean[0]) > 0.02
    for part in course[1:6]:
        np.testing.assert_allclose(part[1], -part[0], rtol=0, atol=1e-9 * np.abs(part).max())
    assert course.caught[0] == course.caught[1]


@pytest.mark.checks("independent", "events.simulate")
def test_without_a_rider_the_fall_is_the_growing_exponential():
    rate, road = float(np.sqrt(plant(speed=0.0, drag_area=0.0).lean_by_lean)), Machine(**MASSES)
    course = events.simulate(road, NOBODY, PATH, STRONG, drive(0.0), Event(lean_rate=1e-3), fall_lean=0.02, every=1)
    assert course.fall_time == pytest.approx(np.arcsinh(0.02 * rate / 1e-3) / rate, rel=1e-4)
    assert not course.caught
    assert np.all(course.lean[round(course.fall_time * 1000) + 1 :] == course.lean[-1]) and course.lean[-1] < 0.02


def test_a_fall_that_is_under_way_at_the_end_is_not_caught():
    still = {"machine": Machine(**MASSES), "reflex": NOBODY, "path": PATH, "legs": STRONG, "drive": drive(0.0)}
    course = events.simulate(**still, event=Event(lean_rate=0.5), duration=0.33)
    assert np.abs(course.lean).max() < 0.52 and not course.caught and course.fall_time == pytest.approx(0.33)
    assert events.simulate(**still, event=Event(), duration=0.33).caught


@pytest.mark.checks("independent", "events.simulate", "capture.cut_out_limit", "capture.capture_lean")
@pytest.mark.parametrize("ramp", [0.0, 0.15])
def test_the_closed_form_of_a_cut_out_balances_the_divergent_mode(ramp):
    """A body that falls back just so fast that the legs' late answer would match it balances the motor torque that may be lost."""
    still = {"slope": 0.0, "speed": 0.0, "air_density": 1.2, "drag_area": 0.0, "rolling_coefficient": 0.0}
    road, reserve = Machine(**MASSES, **still), 0.02
    at_rest = plant(speed=0.0, drag_area=0.0, rolling_coefficient=0.0)
    rate = float(np.sqrt(at_rest.lean_by_lean))
    lost = float(capture.cut_out_limit(rate, PDA_100, 1 / 1.5, reserve, ramp_time=ramp))
    backward = -rate * float(capture.capture_lean(at_rest, PDA_100, PATH, 1 / 1.5, 0.0, reserve, 0.0))
    share = np.array([0.995, 1.0, 1.005])
    motor = Drive(1.0, 1.5, trim=lost * share, highest=1.0)  # no loss in the gear, whose direction would change with the swing
    course = events.simulate(road, NOBODY, PATH, STRONG, motor, Event(cut_out=1.0, ramp_time=ramp, lean_rate=backward), duration=1.2)
    growing = course.lean[:, -1] + course.lean_rate[:, -1] / rate
    assert growing[0] < 0 < growing[2]
    assert abs(growing[1]) < 0.25 * growing[2]


@pytest.mark.checks("independent", "capture.capture_lean", "events.simulate")
def test_the_closed_form_of_capture_weighs_the_motor_as_the_simulation_does():
    road, offset, gain = Machine(**MASSES), 0.05, 0.4
    at_rest = plant(speed=0.0, drag_area=0.0, rolling_coefficient=0.0)
    rate, instant = float(np.sqrt(at_rest.lean_by_lean)), PDA_100._replace(delay=0.0, muscle_lag=0.0)
    both = [float(capture.capture_lean(at_rest, instant, PATH, HOLD, k, offset, 1.0)) for k in (gain, 0.0)]
    share = np.array([0.995, 1.0, 1.005])
    event = Event(sensor_offset=offset, lean_rate=rate * (both[0] - both[1]) * share)
    course = events.simulate(road, NOBODY, PATH, STRONG, drive(gain), event, duration=1.2)
    growing = course.lean[:, -1] + course.lean_rate[:, -1] / rate
    assert growing[0] < 0 < growing[2]
    assert abs(growing[1]) < 0.25 * growing[2]


@pytest.mark.checks("independent", "events.simulate", "capture.ripple_lean")
@pytest.mark.parametrize("gain", [0.0, 0.353])
def test_the_ripple_of_pulsing_pedals_is_that_of_the_linear_loop(gain):
    road, motor, floor = machine(3.0, slope=0.03), drive(gain), 0.2
    ride, cadence = events.steady_ride(road, motor), 3.0 / MASSES["wheel_radius"] / 1.5
    legs = Legs(1e5, 1e6, floor, 1.0)
    course = events.simulate(road, PDA_100, PATH, legs, motor, Event(), duration=14.0, step=0.002, every=2, pulsing=True)
    late = course.lean[-2 * round(np.pi / cadence / 0.004) :]
    expected = capture.ripple_lean(plant(3.0, slope=0.03), PDA_100, PATH, HOLD, 1.5, gain, ride.pedal_torque, cadence, floor)
    assert np.ptp(late) == pytest.approx(expected, rel=0.015)  # the shape has harmonics above the second
    turn = 2 * cadence * np.arange(len(late)) * 0.004
    waves = [np.cos(turn), np.sin(turn), np.cos(2 * turn), np.sin(2 * turn), np.ones_like(turn), turn]
    cosine, sine = np.linalg.lstsq(np.transpose(waves), late, rcond=None)[0][:2]
    assert 2 * np.hypot(cosine, sine) == pytest.approx(expected, rel=0.01)


@pytest.mark.checks("independent", "events.steady_ride")
@pytest.mark.parametrize("slope", [-0.05, 0.0, 0.06])
@pytest.mark.parametrize("trim", [-4.0, 0.0, 9.0, 60.0])
def test_nothing_happens_without_an_event(slope, trim):
    road = machine(slope=slope)
    motor = Drive(0.93, 1.5, 0.3, 0.2, trim, 0.6, np.array([0.0, 3.0, 6.0]), np.array([30.0, 10.0, 5.0]), np.array([-12.0, -6.0, -3.0]))
    course = events.simulate(road, PDA_100, PATH, STRONG, motor, Event(), duration=1.0)
    ride = events.steady_ride(road, motor)
    np.testing.assert_allclose(course.lean, ride.lean, rtol=0, atol=1e-10)
    np.testing.assert_allclose(course.speed, 4.0, rtol=1e-10)
    np.testing.assert_allclose(course.motor_torque, ride.motor_torque - 0.6, rtol=1e-8)
    np.testing.assert_allclose(course.pedal_torque, ride.pedal_torque, rtol=1e-8)


@pytest.mark.checks("independent", "events.simulate")
def test_each_moment_of_a_hard_fall_obeys_the_equations_of_motion():
    road = machine(slope=0.05, head_wind=2.0)
    motor = Drive(0.9, 1.5, 0.4, 0.3, 2.0, 0.6, [0.0, 6.0], [20.0, 5.0], [-12.0, -3.0])
    event = Event(speed_loss=0.5, gust=4.0, slope_step=0.03, cut_out=0.3)
    course = events.simulate(road, PDA_100, PATH, REAL, motor, event, duration=0.85, step=2e-4, fall_lean=2.0, every=1)
    assert np.ptp(course.lean) > 0.8
    spin = course.speed / MASSES["wheel_radius"] - course.lean_rate
    torque = leverage.gear_leverage(1.5, 0.9, course.pedal_torque * spin < 0) * course.pedal_torque + course.motor_torque
    there = road._replace(slope=0.08, head_wind=6.0, speed=course.speed)
    expected = balance.motion(course.lean, course.lean_rate, torque, *there)
    for rate, wanted in zip((course.lean_rate, course.speed), expected, strict=True):
        measured = (rate[2:] - rate[:-2]) / 4e-4
        smooth = np.abs(wanted[2:] - 2 * wanted[1:-1] + wanted[:-2]) < 1e-3  # away from kinks at limits
        assert smooth.mean() > 0.95
        np.testing.assert_allclose(measured[smooth], wanted[1:-1][smooth], rtol=0, atol=5e-3)


def test_faults_of_the_motor_do_what_their_names_say():
    road, motor = machine(slope=0.02), drive(0.3, trim=2.0, motor_drag=0.5)
    ride = events.steady_ride(road, motor)
    run = lambda event: events.simulate(road, PDA_100, Path(0.01, np.inf, 0.0), REAL, motor, event, every=1, duration=0.3)
    cut = run(Event(cut_out=1.0))
    np.testing.assert_allclose(cut.motor_torque, -0.5, rtol=1e-12)
    ramp = run(Event(cut_out=0.5, ramp_time=0.01)).motor_torque
    assert ramp[[0, 5, 10]] == pytest.approx([ride.motor_torque - 0.5, 0.75 * ride.motor_torque - 0.5, 0.5 * ride.motor_torque - 0.5])
    stuck = run(Event(stuck=1.0, lean_rate=0.3))
    np.testing.assert_allclose(stuck.motor_torque, ride.motor_torque - 0.5, rtol=1e-12)
    assert np.ptp(stuck.pedal_torque) > 1.0
    offset = run(Event(sensor_offset=5.0)).motor_torque
    assert offset[9] == pytest.approx(ride.motor_torque - 0.5, rel=1e-9) and offset[12] == pytest.approx(offset[9] + 1.5, rel=0.02)
    short = run(Event(short_drag=2.0))
    spin = short.speed / MASSES["wheel_radius"] - short.lean_rate
    np.testing.assert_allclose(short.motor_torque, -0.5 - 2.0 * spin, rtol=1e-12)
    blow = run(Event(speed_loss=0.3))
    assert blow.speed[0] == pytest.approx(3.7) and blow.lean_rate[0] == pytest.approx(
        0.3 * MOMENT * np.cos(blow.lean[0] + 0.02) / INERTIA, rel=1e-6
    )


def test_legs_and_motor_stay_within_their_limits():
    table = {"speeds": np.array([3.0, 4.0, 5.0]), "highest": np.array([9.0, 6.0, 1.0]), "lowest": np.array([-6.0, -4.0, -2.0])}
    motor = Drive(EFFICIENCY, 1.5, 0.8, 0.8, **table)
    event = Event(speed_loss=np.array([0.4, -0.4]))
    course = events.simulate(machine(), PDA_100, Path(0.0, np.inf, 0.0), REAL, motor, event, duration=1.0, every=1)
    for row in range(2):
        high, low = (np.interp(course.speed[row], table["speeds"], table[name]) for name in ("highest", "lowest"))
        given = course.motor_torque[row]
        standing = course.time < course.fall_time[row] - 0.01
        assert np.all((given <= high + 1e-9) & (given >= low - 1e-9))
        assert np.any(given[standing] > high[standing] - 1e-9) or np.any(given[standing] < low[standing] + 1e-9)
    cadence = (course.speed / MASSES["wheel_radius"] - course.lean_rate) / 1.5
    angle = np.cumsum(cadence, axis=1) * 1e-3 - 0.5e-3 * (cadence + cadence[:, :1])
    shape = pedalling.torque_shape(angle, 0.2)
    standing = course.time[None, :] < course.fall_time[:, None] - 0.01
    forward = REAL.zero_cadence_torque * (1 - cadence / 25.0) * shape
    assert np.all((course.pedal_torque <= forward + 0.02)[standing])
    assert np.all((course.pedal_torque >= -0.8 * REAL.zero_cadence_torque * shape - 0.02)[standing])
    assert np.any((course.pedal_torque > forward - 0.02)[standing])


@pytest.mark.checks("independent", "events.largest_caught")
def test_the_largest_disturbance_is_caught_at_every_angle_and_a_little_more_is_not():
    road, motor = machine(np.array([3.0, 5.0])), drive(0.35, limit=40.0)
    rest = road, PDA_100, PATH, REAL, motor
    for kind, upper in (("speed_loss", 0.8), ("lean_rate", -1.2)):
        found = events.largest_caught(*rest, Event(), kind, upper, phases=4, passes=5, step=0.002)
        assert found.shape == (2,) and np.all(np.abs(found) > 0.05)
        angles = REAL._replace(crank_angle=np.arange(4)[:, None] * np.pi / 4)
        for size, expected in ((found, True), (found + upper / 32, False)):
            caught = events.simulate(road, PDA_100, PATH, angles, motor, Event(**{kind: size}), step=0.002).caught
            assert np.all(caught.all(axis=0) == expected)
    assert events.largest_caught(*rest, Event(), "speed_loss", 0.01, 2, 2, 1.0).tolist() == [0.01, 0.01]
    tables = {"speeds": [0.0, 8.0], "highest": [[[40.0, 20.0]], [[4.0, 2.0]]], "lowest": -20.0}  # two motors down, two speeds across
    small = events.largest_caught(*rest[:4], motor._replace(**tables), Event(), "speed_loss", [0.8, 0.6], 2, 5, step=0.002)
    assert small.shape == (2, 2) and np.all(small[0] > small[1])
    hopeless = NOBODY._replace(proportional=[400.0, 10.0], derivative=69.0)
    assert events.largest_caught(road, hopeless, *rest[2:], Event(gust=1.0), "speed_loss", 0.4, 2, 3, step=0.002)[1] == 0.0
    used = PDA_100._replace(**{name: getattr(PDA_100, name) / HOLD for name in ("proportional", "derivative", "acceleration")})
    lost = events.largest_caught(machine(), used, PATH, REAL, drive(0.0, limit=40.0), Event(cut_out=1.0), "trim", 20.0, 4, 5, step=0.002)
    strength = capture.worst_strength(4.0 / 0.36 / 1.5, 6.44, 0.2).share * pedalling.torque_at_cadence(REAL[0], 25.0, 4.0 / 0.36 / 1.5)
    assert 0.4 < lost / capture.cut_out_limit(6.44, PDA_100, HOLD, float(strength) - 2.0) < 1.6


def test_many_rides_give_what_single_rides_give():
    speed, loss = np.array([3.0, 5.0])[:, None], [0.1, 0.2, 0.9]
    table = {"speeds": [0.0, 6.0], "highest": np.array([[40.0, 10.0], [20.0, 5.0]])[:, None, :], "lowest": -9.0}
    motor = Drive(EFFICIENCY, 1.5, 0.3, 0.3, **table)
    path = Path([0.01, 0.0, 0.0], [10.0, np.inf, 10.0], [0.003, 0.003, 0.0])  # where some have no lag
    person = PDA_100._replace(delay=[0.1, 0.0, 0.1], replanning_time=[0.2, 0.2, 0.0], derivative=[69.0, 69.0, 60.0])
    whole = events.simulate(machine(speed), person, path, REAL, motor, Event(speed_loss=loss), duration=0.8)
    assert whole.lean.shape == (2, 3, 81) and whole.caught.shape == (2, 3)
    alone = lambda record, place: type(record)(*(np.broadcast_to(part, 3)[place] for part in record))
    for row in range(2):
        own = motor._replace(highest=table["highest"][row, 0])
        for column in range(3):
            rest = alone(person, column), alone(path, column), REAL, own, Event(speed_loss=loss[column])
            one = events.simulate(machine(speed[row, 0]), *rest, duration=0.8)
            assert isinstance(one.caught, bool) and one.caught == whole.caught[row, column]
            for part, single in zip(whole[1:6], one[1:6], strict=True):
                np.testing.assert_allclose(part[row, column], single, rtol=1e-12, atol=1e-12)


def test_the_door_takes_quantities():
    usual = {"machine": machine(), "reflex": PDA_100, "path": PATH, "legs": REAL, "drive": drive(0.3), "event": Event(speed_loss=0.9)}
    course = events.simulate.with_units(**usual, duration="800 ms", fall_lean="30 deg")
    plain = events.simulate(**usual, duration=0.8, fall_lean=np.radians(30.0))
    assert course.fall_time.to("ms").magnitude == pytest.approx(1000 * plain.fall_time)
    assert course.caught is False and np.allclose(course.lean.to("rad").magnitude, plain.lean)


def test_blocks_side_by_side_give_the_same(monkeypatch):
    event = Event(speed_loss=np.linspace(0.0, 0.6, 7))
    run = lambda: events.simulate(machine(), PDA_100, PATH, REAL, drive(0.3), event, duration=0.5)
    whole = run()
    monkeypatch.setattr(events, "BLOCK", 3)
    for one, other in zip(whole, run(), strict=True):
        np.testing.assert_array_equal(one, other)


def test_work_can_be_stopped():
    seen = []
    stop = lambda share: seen.append(share) or share > 0.4
    with pytest.raises(events.Stopped, match="stopped before its end"):
        events.simulate(machine(), PDA_100, PATH, REAL, drive(0.3), Event(), stop=stop)
    assert 0.4 < seen[-1] < 0.6 and len(seen) > 5
    seen.clear()
    with pytest.raises(events.Stopped):
        events.largest_caught(machine(), PDA_100, PATH, REAL, drive(0.3), Event(), "gust", 5.0, 2, 12, 0.5, stop=stop)
    assert 0.4 < seen[-1] < 0.65 and seen == sorted(seen)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"reflex": PDA_100._replace(delay=-0.1)}, r"reflex\.delay must be 0 or at least the step of 0\.001 s, got -0\.1 s"),
        ({"reflex": PDA_100._replace(delay=3.0)}, r"reflex\.delay must be from 0 to 2, got 3"),
        ({"path": Path(0.0004, 10.0, 0.003)}, r"path\.dead_time must be 0 or at least the step of 0\.001 s"),
        ({"path": Path(0.01, 10.0, 0.0002)}, r"path\.motor_lag must be 0 or at least the step"),
        ({"path": Path(0.01, 500.0, 0.0)}, r"the lag of path\.filter_corner must be 0 or at least the step"),
        ({"path": Path(0.01, 0.0, 0.0)}, r"path\.filter_corner must be above 0, got 0"),
        ({"drive": drive(0.3)._replace(gear_ratio=0.0)}, r"drive\.gear_ratio must be above 0, got 0"),
        ({"drive": drive(-0.3)}, r"drive\.driving_gain must be 0 or above, got -0\.3"),
        ({"drive": Drive(0.9, 1.5, speeds=np.array([1.0, 1.0]))}, r"drive\.speeds must rise"),
        ({"drive": Drive(0.9, 1.5, lowest=3.0)}, r"drive\.highest must nowhere be below drive\.lowest"),
        ({"machine": machine(np.nan)}, r"machine\.speed must be a finite number, got nan"),
        ({"machine": machine("fast")}, r"machine\.speed must be a number or an array of numbers, got 'fast'"),
        ({"machine": machine(head_wind=100.0, drag_height=0.0)}, r"no lean of the body balances a wheel torque"),
        ({"legs": REAL._replace(torque_floor=1.2)}, r"legs\.torque_floor must be from 0 to 1, got 1\.2"),
        ({"event": Event(cut_out=1.5)}, r"event\.cut_out must be from 0 to 1, got 1\.5"),
        ({"event": Event(speed_loss=np.inf)}, r"event\.speed_loss must be a finite number, got inf"),
        ({"event": Event(speed_loss=np.zeros(2), gust=np.zeros(3))}, r"the scenarios do not fit together; their shapes are .*gust \(3,\)"),
        ({"step": 0.0}, r"step must be above 0, got 0"),
        ({"duration": 0.0001}, r"duration must be from 0\.001 to 3600, got 0\.0001"),
        ({"every": 0.5}, r"every must be a whole number of steps, 1 or more, got 0\.5"),
    ],
)
def test_what_cannot_be_is_refused_in_words(change, message):
    usual = {"machine": machine(), "reflex": PDA_100, "path": PATH, "legs": REAL, "drive": drive(0.3), "event": Event()}
    with pytest.raises(ValueError, match=message):
        events.simulate(**(usual | change))


def test_an_unknown_disturbance_is_refused_in_words():
    usual = machine(), PDA_100, PATH, REAL, drive(0.3), Event()
    with pytest.raises(ValueError, match=r"kind must be one of 'speed_loss', .* got 'wind'"):
        events.largest_caught(*usual, "wind", 1.0)
    with pytest.raises(ValueError, match=r"phases must be a whole number, 1 or more, got 0"):
        events.largest_caught(*usual, "gust", 1.0, phases=0)
    with pytest.raises(ValueError, match=r"upper must be a finite number, got inf"):
        events.largest_caught(*usual, "gust", np.inf)


def test_first_numbers_of_the_largest_speed_loss():
    row = published("BAL-26")
    gain = leverage.restoring_gain(1.5, EFFICIENCY)
    usual = machine(), PDA_100, PATH, REAL, drive(gain, limit=40.0)
    found = events.largest_caught(*usual, Event(), "speed_loss", 0.64, passes=7, duration=2.5, step=0.002)
    assert found == pytest.approx(row.value, abs=row.tolerance)
    at_worst = capture.worst_strength(4.0 / 0.36 / 1.5, 6.44, 0.2).share * pedalling.torque_at_cadence(REAL[0], 25.0, 4.0 / 0.36 / 1.5)
    reserve = at_worst - events.steady_ride(usual[0], usual[4]).pedal_torque
    closed = capture.capture_lean(plant(), PDA_100, PATH, HOLD, gain, reserve, 38.0)
    assert 1.0 < found / capture.capture_speed_loss(closed, np.sqrt(plant().lean_by_lean), 84.0, 0.8, 10.0) < 1.3


def test_first_numbers_of_a_lost_trim_lie_between_two_ways_to_carry_the_slope():
    used = PDA_100._replace(**{name: getattr(PDA_100, name) / HOLD for name in ("proportional", "derivative", "acceleration")})
    legs, trim = REAL._replace(crank_angle=np.arange(8) * np.pi / 8), np.arange(4.0, 9.0, 0.25)[:, None]
    level = float(events.steady_ride(machine(), drive(0.0)).wheel_torque)
    limits = []
    for beyond in (0.0, level):
        road, motor = machine(slope=(trim - beyond) / (92.0 * GRAVITY * MASSES["wheel_radius"])), drive(0.0, trim=trim)
        course = events.simulate(road, used, PATH, legs, motor, Event(cut_out=1.0), 2.5, 0.002, settling_rate=0.3)
        caught = course.caught.all(axis=1)
        limits.append(trim[np.argmin(caught) - 1, 0])
        assert caught[0] and not caught[-1] and np.all(np.diff(caught.astype(int)) <= 0)
    assert limits[0] < published("BAL-27").value < limits[1] < 1.3 * limits[0]
