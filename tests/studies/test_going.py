"""Getting going by weight: statics and energy by hand, simulation of the push, and standing still."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from unikit.formulas import balance, heat
from unikit.inputs import replace
from unikit.studies import going, loop
from unikit.studies.drive import drive

from . import examples

FREE = {"motor.hysteresis_torque": 0.0, "motor.eddy_drag": 0.0, "wheel.bearing_drag": 0.0, "wheel.bearing_drag_per_speed": 0.0}
FAR_LEAN = np.radians(40.0)  # so far that the lean never ends the push


def plain(**changes):
    return replace(examples.strong(), FREE | {path.replace("__", "."): value for path, value in changes.items()})


def test_the_steepest_slope_at_level_cranks_by_hand():
    build = plain()
    found = going.study(build, examples.case(slope=0.03), points=361)
    weight = 78.0 * 9.81 * 0.131
    gear, radius, mass = build.gears.named("long"), build.wheel.radius, build.total_mass
    for slope, worth in ((found.steepest_alone, gear.efficiency / gear.ratio), (found.steepest, gear.efficiency / gear.ratio + 0.34)):
        rolling = build.wheel.rolling_coefficient
        angle = np.arctan(slope)
        assert mass * 9.81 * (np.sin(angle) + rolling * np.cos(angle)) * radius == pytest.approx(worth * weight, rel=1e-9)
    assert found.steepest_alone_over_turn[90] == found.steepest_alone
    # thirty degrees from the dead centre half of the torque is left
    assert np.sin(np.arctan(found.steepest_alone_over_turn[30])) == pytest.approx(0.5 * np.sin(np.arctan(found.steepest_alone)), rel=0.06)


def test_a_start_on_the_steepest_slope_has_nothing_left_to_accelerate_with():
    build = plain(assist__driving_gain__long=0.0)
    steepest = going.study(build, examples.case()).steepest_alone
    edge = going.study(build, examples.case(slope=steepest))
    assert edge.acceleration_alone == pytest.approx(0.0, abs=1e-9) and edge.share_alone < 0.02
    assert edge.carries_alone == 0 and edge.dead_speed_alone == 0 and edge.weak_time_alone == np.inf


def test_a_push_carries_through_from_the_best_angle_up_to_two_over_pi_of_the_steepest():
    """Mean of the rectified sine: the torque over a half turn must exceed what the slope takes."""
    build = plain(assist__driving_gain__long=0.0, wheel__rolling_coefficient=0.001)
    most = np.sin(np.arctan(going.study(build, examples.case()).steepest_alone))
    slopes = [np.tan(np.arcsin(2 / np.pi * most * share)) for share in (0.985, 1.015)]
    carried = [going.study(build, examples.case(slope=slope), lean=FAR_LEAN).carries_alone for slope in slopes]
    assert carried[0] > 0 and carried[1] == 0


@pytest.mark.parametrize("slope", [0.0, 0.06, 0.1])
def test_speed_and_time_through_the_dead_centre_by_simulation(slope):
    build = plain(assist__driving_gain__long=0.0)
    case = examples.case(slope=slope)
    push = going.study(build, case, lean=FAR_LEAN).pushes["gear alone"]
    gear, radius = build.gears.named("long"), build.wheel.radius
    inertia = build.total_mass + build.wheel_inertia / radius**2
    worth = gear.efficiency / gear.ratio * 78.0 * 9.81 * 0.131

    def change(time, state):
        angle, speed = state
        return [speed / radius / gear.ratio, (worth * abs(np.sin(angle)) / radius - push.asked / radius) / inertia]

    dead = lambda time, state: state[0] - np.pi
    again = lambda time, state: state[0] - 1.5 * np.pi
    again.terminal = True
    ran = solve_ivp(change, (0, 10), [np.pi / 2, 0.0], events=(dead, again), rtol=1e-9, atol=1e-11, max_step=0.005)
    assert push.dead_speed == pytest.approx(ran.y_events[0][0][1], rel=2e-4)
    assert push.time[180] == pytest.approx(ran.t_events[0][0], rel=2e-3)
    over = ran.t_events[1].size > 0  # the other crank is level
    assert np.isfinite(push.time[360]) == over == np.isfinite(push.weak_time)
    if over:
        assert push.time[360] == pytest.approx(ran.t_events[1][0], rel=2e-3)
        slow = np.diff(ran.t)[worth * np.abs(np.sin((ran.y[0, 1:] + ran.y[0, :-1]) / 2)) < push.asked].sum()
        assert push.weak_time == pytest.approx(slow, abs=0.02)


def test_the_lean_that_goes_with_the_acceleration_is_one_that_the_motion_holds():
    build, case = examples.build(), examples.case(slope=0.04)
    found = going.study(build, case)
    full = loop.completed(build)
    masses, road = loop.body(full), loop.road(full, case, speed=0.0)
    torque = balance.equilibrium(**masses, **road, acceleration=found.acceleration).wheel_torque
    moved = balance.motion(found.lean, 0.0, torque, **masses, **road)
    assert abs(moved.lean_acceleration) < 1e-9 and moved.acceleration == pytest.approx(found.acceleration, rel=1e-9)
    assert found.limited_by == "lean" and found.lean == pytest.approx(going.LEAN, rel=1e-6)


def test_a_little_lean_ends_the_push_and_much_lean_leaves_it_to_weight():
    build, case = examples.build(), examples.case(slope=0.05)
    cautious, bold = (going.study(build, case, lean=np.radians(degrees)) for degrees in (5, 35))
    assert cautious.limited_by == "lean" and bold.limited_by == "weight"
    assert cautious.acceleration < bold.acceleration
    assert bold.lean == pytest.approx(bold.lean_of_weight, rel=1e-9)


def test_more_slope_less_assist_and_two_feet_all_take_from_the_start():
    build = examples.build()
    steeper = [going.study(build, examples.case(slope=slope)) for slope in (0.0, 0.05, 0.1, 0.15)]
    assert [one.share_alone for one in steeper] == sorted((one.share_alone for one in steeper), reverse=True)
    assert [one.carries for one in steeper] == sorted((one.carries for one in steeper), reverse=True)
    assert all(one.carries <= one.share and one.share_alone <= one.share for one in steeper)
    both_feet = going.study(build, examples.case(slope=0.05), front_share=0.8)
    assert both_feet.share_alone < steeper[1].share_alone
    with pytest.raises(ValueError, match="front_share must be above 0.5 and at most 1, got 0.4"):
        going.study(build, examples.case(), front_share=0.4)


def test_standing_still_on_a_slope_by_hand_and_by_the_thermal_network():
    build = replace(examples.build(), {"wheel.rolling_coefficient": 0.008})
    case = examples.case(slope=0.08, air_temperature=293.15)
    found = going.study(build, case)
    angle, gear = np.arctan(0.08), build.gears.named("long")
    asked = build.total_mass * 9.81 * np.sin(angle) * build.wheel.radius
    share = 0.34 / (gear.efficiency / gear.ratio + 0.34)
    assert found.stand_motor == pytest.approx(share * asked, rel=1e-9)
    current = found.stand_motor / drive(build).torque_constant_peak
    assert found.stand_current == pytest.approx(current, rel=1e-9)
    resistance = drive(build, 0.8, 293.15).phase_resistance
    assert found.stand_rate == pytest.approx(1.5 * resistance * current**2 / 420.0, rel=1e-9)
    # no conductance to the stator: the network of the heat study must take as long
    copper = 1.5 * resistance * current**2
    rising = (1.5 * drive(build, 0.8, 393.15).phase_resistance * current**2 - copper) / 100.0
    time = heat.network_time_to_limit(
        np.array([420.0, 1e12, 1e12]), heat.chain([1e-9, 1.0, 1.0]), np.array([copper, 0.0, 0.0]), 293.15, np.full(3, 293.15), 0, 388.15,
        np.array([rising, 0.0, 0.0]), 293.15,
    )  # fmt: skip
    assert found.stand_time == pytest.approx(float(time), rel=1e-3)
    assert found.push_time < found.stand_time and found.push_motor > found.stand_motor


def test_on_the_flat_nothing_is_held_and_nothing_warms():
    found = going.study(examples.build(), examples.case(slope=0.0))
    assert found.stand_motor == pytest.approx(0.0, abs=1e-12) and found.stand_time == np.inf


def test_trim_that_cancels_the_slope_leaves_the_motor_with_all_of_it():
    build = replace(examples.build(), {"assist.trim_cap": 30.0})
    found = going.study(build, examples.case(slope=0.05, trim="level"))
    asked = build.total_mass * 9.81 * np.sin(np.arctan(0.05)) * build.wheel.radius
    assert found.stand_motor == pytest.approx(asked, rel=1e-9)


def test_a_build_without_motor_asks_nothing_of_one():
    found = going.study(examples.build("harbour_ungeared"), examples.case(slope=0.05))
    assert found.stand_motor is None and found.rock_motor is None
    assert found.steepest == found.steepest_alone == pytest.approx(found.steepest_ungeared, rel=1e-12)
    assert "motor torque standing still on the slope" not in found.summary()


def test_rocking_in_a_gear_asks_more_of_the_feet_and_gain_gives_some_of_it_back():
    found = going.study(examples.build(), examples.case())
    assert found.rock_share_ungeared < found.rock_share < found.rock_share_alone
    gear = examples.build().gears.named("long")
    # travel grows with the ratio, and so does the torque; the gear then divides it once more
    expected = found.rock_share_ungeared * gear.ratio**2 / gear.efficiency * 143 / 131
    assert found.rock_share_alone == pytest.approx(expected, rel=1e-9)


def test_a_sensor_on_one_crank_helps_one_foot_only():
    build = replace(examples.build(), {"sensor.location": "one crank"})
    found = going.study(build, examples.case(slope=0.05), points=361)
    assert found.steepest_over_turn[90] > found.steepest_over_turn[270] == pytest.approx(found.steepest_alone_over_turn[270], rel=1e-9)


def test_the_table_has_the_slopes_over_the_turn():
    table = going.study(examples.build(), examples.case()).table()
    assert len(table) == 181 and "steepest slope, gear alone [%]" in table
