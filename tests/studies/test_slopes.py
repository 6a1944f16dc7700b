"""Slopes and trim: published exercises through the study, limits by hand, the saw-tooth, lean and hysteresis."""

import dataclasses

import numpy as np
import pytest
from scipy.optimize import brentq

from unikit.formulas import balance
from unikit.formulas.road import GRAVITY
from unikit.inputs import replace
from unikit.studies import balance as balance_study
from unikit.studies import cut_out, loop, slopes
from unikit.studies.loads import loads, trim_torque

from . import examples


def steep(percent, **changes):
    return examples.case(speed=3.2, slope=percent / 100, **changes)


def weighing(mass, **changes):
    """The commuter with a total mass, and next to no drag of motor, tyre and bearings."""
    build = examples.strong(
        motor__hysteresis_torque=0.0,
        motor__eddy_drag=0.0,
        wheel__bearing_drag=0.0,
        wheel__bearing_drag_per_speed=0.0,
        **({"wheel__rolling_coefficient": 0.001} | changes),
    )
    found = replace(build, {"rider.mass": build.rider.mass + mass - build.total_mass})
    assert found.total_mass == pytest.approx(mass, rel=1e-12)
    return found


def at(result, slope):
    return int(np.argmin(np.abs(result.slope - slope)))


@pytest.mark.parametrize(
    ("mass", "degrees", "speed", "power", "printed", "tolerance"),
    [
        # introductory-physics exercise, ch. 5 (read): force to climb back at the speed of coasting, 2 m g sin(theta) with g = 9.8
        (50.0, 5.0, 6 / 3.6, False, 85.41, 0.05),
        # the same exercise with other numbers and a power (inputs read, number recomputed)
        (60.0, 6.0, 4.5, True, 553.2, 0.5),
    ],
)
def test_whoever_coasts_down_at_a_speed_climbs_back_at_it_with_twice_the_weight_along_the_slope(
    mass, degrees, speed, power, printed, tolerance
):
    """The drag is the tyre's, set so that the machine coasts: what it is made of does not matter at one speed."""
    rise = float(np.tan(np.radians(degrees)))
    case = examples.case(speed=speed, slope=rise)
    rough = lambda rolling: weighing(mass, wheel__rolling_coefficient=rolling, rider__drag_area=0.6)
    build = rough(brentq(lambda one: float(loads(rough(one), case, slope=-rise).wheel_torque), 0.001, 0.1, xtol=1e-14))
    found = slopes.study(build, case, slopes=np.array([-rise, rise]))
    down, up = found.wheel_torque[at(found, -rise)], found.wheel_torque[at(found, rise)]
    assert down == pytest.approx(0.0, abs=1e-9) and found.pedal_over_none[at(found, -rise)] == pytest.approx(0.0, abs=1e-9)
    force = up / build.wheel.radius * 9.8 / GRAVITY
    assert force * (speed if power else 1.0) == pytest.approx(printed, abs=tolerance)


def test_the_cubic_of_a_climb_after_a_descent():
    """Exercise (inputs read, number recomputed): 75 kg coast down 4° at 12 km/h; the power that makes 32 km/h down climbs at 8.013 m/s.

    With the drag area of a record the speeds are larger; in units of the coasting speed they are the same.
    """
    rise = float(np.tan(np.radians(4.0)))
    build = weighing(75.0, rider__drag_area=1.5)

    def power(speed, slope):
        """At the wheel, the tyre's part left aside, which the exercise does not know."""
        case = examples.case(speed=speed, slope=slope)
        found = slopes.study(build, case, slopes=np.array([slope]))
        return (found.wheel_torque[at(found, slope)] / build.wheel.radius - float(loads(build, case).rolling)) * speed

    coasting = brentq(lambda speed: power(speed, -rise), 1.0, 20.0)
    pumped = power(coasting * 32 / 12, -rise)
    climbing = brentq(lambda speed: power(speed, rise) - pumped, 2.0, 25.0)
    assert climbing / coasting * 12 / 3.6 == pytest.approx(8.013, abs=0.01)


def test_a_steep_grade_counts_by_its_sine():
    build = weighing(90.0)
    found = slopes.study(build, steep(20.0))
    assert found.slope_torque / build.wheel.radius == pytest.approx(173.15, abs=0.02)  # 20 %: the sine, not 176.58 N (definition)
    found = slopes.study(build, steep(7.5))
    assert np.degrees(np.arcsin(found.slope_torque / (build.wheel.radius * 90.0 * GRAVITY))) == pytest.approx(4.2892, abs=5e-4)


def test_level_trim_leaves_what_the_flat_asks():
    """With a cap that covers it and still air, a levelled slope asks of the feet what the level does, but for the tyre's cosine."""
    build = examples.strong(assist__trim_cap=60.0)
    flat = slopes.study(build, steep(0.0))
    for percent in (-8.0, -3.0, 2.0, 7.0):
        found = slopes.study(build, steep(percent))
        assert found.trim_level == pytest.approx(found.slope_torque, rel=1e-12)
        assert found.foot_level == pytest.approx(flat.foot_flat, rel=2e-2)
        assert found.foot_flat == pytest.approx(flat.foot_level, rel=1e-12)


def test_the_case_stands_among_the_slopes_and_none_is_the_split_without_trim():
    build, case = examples.build(), steep(4.3)
    found = slopes.study(build, case)
    row = at(found, case.slope)
    assert found.slope[row] == case.slope
    assert found.foot_none == found.foot_over_none[row] and found.foot_steps == found.foot_over_steps[row]
    assert np.all(np.diff(found.slope) > 0)
    gear = build.gears.named("long")
    drag = build.motor.hysteresis_torque + build.motor.eddy_drag * case.speed / build.wheel.radius
    by_hand = (found.wheel_torque[row] + drag) / (gear.efficiency / gear.ratio + 0.34)
    assert found.pedal_none == pytest.approx(by_hand, rel=1e-9)


@pytest.mark.parametrize("policy", ["none", "steps", "level"])
def test_trim_is_that_of_every_other_study(policy):
    build, case = examples.build(), steep(2.3, trim=policy)
    found = slopes.study(build, case)
    assert found.trim_set == trim_torque(build, case)
    assert trim_torque(build, case) == trim_torque(build, dataclasses.replace(case, trim="none"), policy=policy)


def test_the_saw_tooth_has_the_height_of_half_a_step_and_stays_within_the_cap():
    build, case = examples.strong(), steep(1.0)
    found = slopes.study(build, case)
    tooth = found.pedal_over_steps - found.pedal_over_level
    inside = np.abs(found.slope) < found.covered * (1 - 1e-6)
    # where the road drives, gear and gain of the other direction count
    driven = inside & (found.pedal_over_level > 0) & (found.pedal_over_steps > 0)
    assert np.abs(tooth[driven]).max() == pytest.approx(found.residual, rel=1e-4)
    assert np.all(tooth[np.abs(found.slope) > found.covered * (1 + 1e-5)] == pytest.approx(0.0, abs=1e-9))
    changes = np.flatnonzero(np.abs(np.diff(found.trim_over_steps)) > 1e-6)
    assert len(changes) == 2 * round(build.assist.trim_cap / build.assist.trim_step)
    assert found.trim_over_steps[changes + 1] - found.trim_over_steps[changes] == pytest.approx(build.assist.trim_step, rel=1e-9)
    assert found.residual == pytest.approx(0.75 / (0.965 / 1.6338 + 0.34), rel=1e-3)


def test_the_cap_covers_the_slope_whose_torque_it_is():
    build = examples.build()
    found = slopes.study(build, steep(1.0))
    assert build.wheel.radius * build.total_mass * GRAVITY * np.sin(np.arctan(found.covered)) == pytest.approx(9.0, rel=1e-12)
    assert found.step_slope == pytest.approx(found.covered / 6, rel=2e-3)
    beyond = slopes.study(build, dataclasses.replace(steep(1.0), slope=found.covered + 0.01))
    assert beyond.trim_level == beyond.trim_steps == 9.0


def test_the_largest_unnoticed_step_leaves_just_what_is_noticed():
    build, case = examples.strong(), steep(1.0)
    found = slopes.study(build, case)
    finer = replace(build, {"assist.trim_step": found.largest_step})
    assert slopes.study(finer, case).residual_share == pytest.approx(1.0, rel=1e-9)
    assert slopes.study(build, case, share=0.5).largest_step == pytest.approx(found.largest_step / 2, rel=1e-12)
    assert found.noticed == pytest.approx(0.07 * abs(found.foot_flat), rel=1e-12)


def test_one_step_more_is_felt_as_twice_the_residual():
    build, case = examples.strong(), steep(1.0)
    found = slopes.study(build, case)
    assert found.step_force == pytest.approx(2 * found.residual_force, rel=1e-6)
    capped = slopes.study(build, steep(8.0))  # the cap allows no more: one step less is felt the same
    assert capped.step_force == pytest.approx(found.step_force, rel=1e-6)


def test_lean_between_steps_is_that_of_a_machine_that_neither_rises_nor_falls():
    build, case = replace(examples.strong(), {"wheel.bearing_drag": 0.0, "wheel.bearing_drag_per_speed": 0.0}), steep(1.1)
    found, full = slopes.study(build, case), loop.completed(build)
    torque = found.wheel_torque + found.trim_over_steps - found.trim_over_level
    road = loop.road(full, case, slope=found.slope)
    moved = balance.motion(found.lean_over_steps, 0.0, torque, **loop.body(full), **road)
    assert np.abs(moved.lean_acceleration).max() < 1e-8
    inertia = build.total_mass + build.wheel_inertia / build.wheel.radius**2
    assert moved.acceleration * inertia * build.wheel.radius == pytest.approx(found.trim_over_steps - found.trim_over_level, abs=1e-8)
    assert found.residual_lean > 0 and np.abs(found.lean_over_steps - found.lean_over_level).max() == pytest.approx(
        found.residual_lean, rel=0.02
    )


def test_a_sudden_step_leans_more_than_one_over_the_ramp():
    found = slopes.study(examples.build(), steep(1.0))
    assert found.step_lean > 10 * found.step_lean_ramped > 0
    quick = slopes.study(examples.build(), steep(1.0)).ramp_time
    assert quick == examples.build().assist.ramp_time
    sudden = slopes.study(replace(examples.build(), {"assist.ramp_time": 0.0}), steep(1.0))
    assert sudden.step_lean_ramped == sudden.step_lean == pytest.approx(found.step_lean, rel=1e-12)


def test_stepping_with_hysteresis_by_hand():
    torque = np.array([0.0, 0.9, 1.05, 1.25, 1.3, 2.0])
    assert slopes.stepped(torque, 2.0, 9.0).tolist() == [0, 0, 2, 2, 2, 2]
    assert slopes.stepped(torque, 2.0, 9.0, 0.25).tolist() == [0, 0, 0, 0, 2, 2]  # only past 1 + 0.25
    assert slopes.stepped(torque[::-1], 2.0, 9.0, -0.25).tolist() == [2, 2, 2, 2, 2, 0]  # back only below 1 - 0.25
    assert slopes.stepped(40.0, 2.0, 9.0) == 9.0 and slopes.stepped(0.7, 0.0, 9.0) == 0.7
    found = slopes.study(examples.strong(), steep(1.0))
    assert np.all(found.trim_rising <= found.trim_over_steps + 1e-9) and np.all(found.trim_falling >= found.trim_over_steps - 1e-9)
    assert found.residual_hysteresis == pytest.approx(1.25 * found.residual, rel=1e-12)
    wavering = slopes.study(examples.strong(), dataclasses.replace(steep(1.0), slope=found.wobble))
    assert wavering.slope_torque == pytest.approx(0.25 * 1.5, rel=1e-12)


def test_what_may_be_lost_is_that_of_the_cut_out_study():
    build, case = examples.build(), steep(2.0, trim="steps")
    assert slopes.study(build, case).largest_lost == pytest.approx(cut_out.study(build, case).largest_trim, rel=1e-12)


def test_trim_does_not_move_the_gain_window():
    """A steady torque is no gain: the linear loop is the same with it, as long as no limit is met."""
    build = examples.strong()
    windows = [balance_study.study(build, steep(2.0, trim=policy)) for policy in ("none", "level")]
    assert windows[0].toppling_gain == windows[1].toppling_gain and windows[0].onset_gain == windows[1].onset_gain


def test_builds_without_motor_or_steps_and_bad_numbers():
    with pytest.raises(ValueError, match="has no motor: the slopes study needs one"):
        slopes.study(examples.build("harbour_ungeared"), steep(2.0))
    found = slopes.study(replace(examples.build(), {"assist.trim_step": 0.0}), steep(2.0))
    assert found.trim_steps == found.trim_level and found.residual == found.step_force == found.steps == 0
    for words, bad in (("share", {"share": 0.0}), ("hysteresis", {"hysteresis": 1.0}), ("hysteresis", {"hysteresis": -0.1})):
        with pytest.raises(ValueError, match=words):
            slopes.study(examples.build(), steep(2.0), **bad)


@pytest.mark.parametrize("seed", range(12))
def test_strange_builds_keep_their_order(seed):
    rng = np.random.default_rng(seed)
    build, case = examples.strange(rng), steep(rng.uniform(-9, 9), trim="steps")
    found = slopes.study(build, case)
    assert np.all(np.isfinite(found.foot_over_steps)) and np.all(np.diff(found.trim_over_level) >= -1e-9)
    assert np.all(np.abs(found.trim_over_steps) <= build.assist.trim_cap * (1 + 1e-12))
    assert found.summary() and len(found.table()) == len(found.slope)
