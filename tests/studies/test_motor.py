"""The drive over speed, and its point in a case."""

import numpy as np
import pytest

from unikit.inputs import replace
from unikit.studies import motor
from unikit.studies.drive import drive

from . import examples


def test_legs_motor_and_drag_make_what_the_road_asks():
    build = examples.build()
    result = motor.study(build, examples.case(slope=0.05, trim="steps"))
    state = drive(build, 0.8)
    drag = state.drag(result.speed / build.wheel.radius)
    assert result.leg_torque_over_speed + result.motor_torque_over_speed - drag == pytest.approx(result.asked_over_speed, rel=1e-9)
    assert (result.reserve_over_speed <= result.highest + 1e-12).all() and (result.reserve_over_speed >= 0).all()
    assert (result.lowest <= 0).all() and (result.highest >= 0).all()


def test_the_point_lies_on_the_curve():
    build, case = examples.build(), examples.case(speed=7.0, slope=0.02)
    result = motor.study(build, case, points=141, fastest=14.0)
    assert result.speed[70] == 7.0
    assert result.reserve == pytest.approx(result.reserve_over_speed[70], rel=1e-12)
    assert result.asked_torque == pytest.approx(result.asked_over_speed[70], rel=1e-12)
    assert result.available == pytest.approx(result.highest[70], rel=1e-12) and result.available_by == result.highest_by[70]


def test_beyond_the_no_load_speed_no_torque_is_left():
    result = motor.study(examples.build(), examples.case(), fastest=20.0)
    beyond = result.speed > result.no_load_speed
    assert beyond.any() and (result.highest[beyond] == 0).all() and (result.highest_by[beyond] == "voltage").all()


def test_braking_is_judged_by_the_braking_limits():
    build = replace(examples.build(), {"assist.resisting_gain.long": 2.0})
    result = motor.study(build, examples.case(slope=-0.12, state_of_charge=1.0))
    assert result.asked_peak < 0 and result.available <= 0
    assert result.available_by == "full pack"  # full packs take nothing but the standby power
    half = motor.study(build, examples.case(slope=-0.12, state_of_charge=0.5))
    assert abs(half.available) > abs(result.available)


def test_what_is_asked_does_not_shrink_with_the_limit():
    """Otherwise the motor would always be found strong enough for what it gives."""
    case = examples.case(slope=0.12, speed=3.0, trim="steps")
    peaks = {cap: motor.study(replace(examples.build(), {"assist.torque_cap": cap}), case) for cap in (34.0, 20.0, 5.0)}
    assert peaks[34.0].asked_peak == peaks[20.0].asked_peak == peaks[5.0].asked_peak
    assert peaks[5.0].motor_peak == 5.0 < peaks[5.0].asked_peak


def test_the_gust_adds_its_air_force():
    build, case = examples.build(), examples.case(head_wind=2.0, gust=6.0, cross_wind=3.0)
    result = motor.study(build, case)
    half = 0.5 * case.air_density * 0.55
    expected = half * (13.0 * np.hypot(13.0, 3.0) - 7.0 * np.hypot(7.0, 3.0)) * build.wheel.radius
    assert result.gust_torque == pytest.approx(expected, rel=1e-12)
    assert motor.study(build, examples.case()).gust_torque == 0
    assert result.gust_over_speed[0] - result.asked_over_speed[0] == pytest.approx(
        half * (8.0 * np.hypot(8.0, 3.0) - 2.0 * np.hypot(2.0, 3.0)) * build.wheel.radius, rel=1e-12
    )


def test_efficiency_counts_from_the_cells_and_is_unknown_where_nothing_is_driven():
    climbing = motor.study(examples.build(), examples.case(slope=0.06, trim="steps"))
    assert 0.3 < climbing.efficiency < 0.95
    for case in (examples.case(speed=0.0, slope=0.05), examples.case(slope=-0.06)):
        result = motor.study(examples.build(), case)
        assert np.isnan(result.efficiency) and result.summary()["cells to wheel"] == "unknown"


def test_a_warm_motor_has_less():
    case = examples.case(slope=0.1, trim="steps")
    cold, warm = (motor.study(examples.build(), case, winding_temperature=t, magnet_temperature=t) for t in (293.15, 370.0))
    assert warm.motor_constant < cold.motor_constant and warm.copper_loss > cold.copper_loss
    assert warm.no_load_speed > cold.no_load_speed  # weaker magnets


def test_a_build_without_motor_is_refused_in_one_sentence():
    with pytest.raises(ValueError, match=r"build 'Harbour ungeared' has no motor: the motor study needs one"):
        motor.study(examples.build("harbour_ungeared"), examples.case())


def test_a_gear_that_is_not_there_is_named_with_those_that_are():
    with pytest.raises(ValueError, match=r"gear must be one of 'direct', 'long', got 'middle'"):
        examples.build().gears.named("middle")
