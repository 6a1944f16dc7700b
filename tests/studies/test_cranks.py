"""Foot force over the crank turn and over crank length: statics by hand, both directions, and limits."""

import numpy as np
import pytest

from unikit.formulas import balance
from unikit.inputs import replace
from unikit.studies import cranks, instant, loop
from unikit.studies.drive import drive

from . import examples


def wide(**changes):
    return examples.strong(**changes)


def test_a_degree_by_hand_at_the_best_angle_and_thirty_degrees_after_the_dead_centre():
    build, case = wide(), examples.case(slope=0.0, trim="none")
    found = cranks.study(build, case, points=361)
    stiffness = balance.static_stiffness(**loop.body(build))
    assert found.torque_per_degree == pytest.approx(stiffness * np.pi / 180, rel=1e-12)
    gear, length = build.gears.named("long"), build.cranks.length
    alone = found.torque_per_degree * gear.ratio / gear.efficiency / length
    assisted = found.torque_per_degree / (gear.efficiency / gear.ratio + 0.34) / length
    assert found.level_degree_alone == pytest.approx(alone, rel=1e-9)
    assert found.level_degree == pytest.approx(assisted, rel=1e-9)
    assert found.level_degree_ungeared == pytest.approx(found.torque_per_degree / build.cranks.reference_length, rel=1e-12)
    # at 30 degrees from the top the lever is half as long
    assert found.degree_alone_over_turn[30] == pytest.approx(2 * alone, rel=1e-9)
    assert np.isinf(found.degree_alone_over_turn[[0, 180, 360]]).all()
    back = found.torque_per_degree / (1 / gear.efficiency / gear.ratio + 0.22) / length
    assert found.level_degree_resisting == pytest.approx(back, rel=1e-9)


def test_the_share_of_the_turn_is_counted_in_angles():
    build, case = wide(), examples.case(slope=0.06)
    found = cranks.study(build, case, points=20_001)
    for name, share in (("", found.share_weight), ("_alone", found.share_weight_alone), ("_ungeared", found.share_weight_ungeared)):
        force = getattr(found, f"hold{name}_over_turn") + getattr(found, f"degree{name}_over_turn")
        assert share == pytest.approx(np.mean(force[:-1] <= found.weight), abs=2e-4), name


def test_cranks_that_do_the_assists_work_do_it_without_assist():
    build, case = wide(assist__driving_gain__long=0.2), examples.case()
    found = cranks.study(build, case)
    longer = replace(build, {"cranks.length": found.equal_crank, "assist.driving_gain.long": 0.0})
    assert cranks.study(longer, case).level_degree == pytest.approx(found.level_degree, rel=1e-9)


def test_lengths_agree_with_the_study_of_each_length():
    build = wide()
    for case in (examples.case(slope=0.05, speed=3.0), examples.case(slope=-0.06, speed=3.0)):
        lengths = [0.11, 0.131, 0.16]
        over = cranks.lengths(build, case, length=lengths)
        for row, length in enumerate(lengths):
            one = cranks.study(replace(build, {"cranks.length": length}), case)
            assert over.degree[row] == pytest.approx(one.level_degree, rel=1e-9)
            assert over.degree_alone[row] == pytest.approx(one.level_degree_alone, rel=1e-9)
            assert over.hold_alone[row] == pytest.approx(one.level_hold_alone, rel=1e-9)
            assert over.share_weight_alone[row] == pytest.approx(one.share_weight_alone, rel=1e-9)
        assert np.all(np.diff(over.degree_alone) < 0) and np.all(np.diff(over.pedal_speed) > 0)
        assert np.all(np.diff(over.fastest) <= 0) and np.all(np.diff(over.pedal_above_road) < 0)


def test_on_a_descent_the_legs_hold_back_and_the_loss_of_the_gear_helps():
    found = cranks.study(wide(), examples.case(slope=-0.06, speed=3.0))
    assert found.way == "holding back"
    up = cranks.study(wide(), examples.case(slope=0.06, speed=3.0))
    assert up.way == "driving" and found.level_degree_alone < up.level_degree_alone


def test_a_motor_at_its_limit_leaves_the_degree_to_the_gear():
    build = replace(examples.build(), {"assist.torque_cap": 0.5})
    found = cranks.study(build, examples.case(slope=0.06))
    assert found.level_degree == pytest.approx(found.level_degree_alone, rel=1e-9)


def test_a_build_without_gear_and_motor_is_the_ungeared_wheel():
    found = cranks.study(examples.build("harbour_ungeared"), examples.case(slope=0.05))
    assert found.level_degree == found.level_degree_alone == pytest.approx(found.level_degree_ungeared, rel=1e-12)
    assert found.share_weight == found.share_weight_ungeared
    assert found.equal_crank == examples.build("harbour_ungeared").cranks.length


def test_a_steeper_slope_leaves_less_of_the_turn():
    shares = [cranks.study(examples.build(), examples.case(slope=slope, speed=2.0)).share_weight_alone for slope in (0.0, 0.05, 0.1, 0.5)]
    assert shares == sorted(shares, reverse=True) and shares[-1] == 0


# -- one moment of the turn -----------------------------------------------------------


def test_pedal_and_wheel_torque_are_each_others_inverse_within_and_beyond_the_limits():
    build = examples.build()
    gear, limits = build.gears.named("long"), drive(build).limits(5.0)
    torque = np.linspace(-150, 150, 61)
    for trim in (0.0, 6.0, -6.0):
        pedals = instant.pedal_torque(build, gear, torque, limits, trim)
        back = np.where(
            pedals < 0,
            instant.wheel_torque(build, gear, pedals, limits, trim, resisting=True),
            instant.wheel_torque(build, gear, pedals, limits, trim),
        )
        assert back == pytest.approx(torque, abs=1e-9)
        assert np.all(np.diff(pedals) > 0)


def test_a_sensor_on_one_crank_feels_one_foot_twice_and_the_other_not():
    build = replace(examples.build(), {"sensor.location": "one crank"})
    assert list(instant.felt(build, np.array([0.5, 2.0, 4.0, 6.0]))) == [2.0, 2.0, 0.0, 0.0]
    assert instant.felt(examples.build(), 1.0) == 1.0
    found = cranks.study(build, examples.case(trim="none"), points=361)
    assert found.degree_over_turn[90] < found.degree_over_turn[270] == pytest.approx(found.degree_alone_over_turn[270], rel=1e-9)


def test_weight_is_split_between_two_feet():
    build = examples.build()
    whole = instant.weight_torque(build, np.pi / 2)
    assert whole == pytest.approx(78.0 * 9.81 * 0.131, rel=1e-12)
    assert instant.weight_torque(build, np.pi / 2, 0.75) == pytest.approx(whole / 2, rel=1e-12)
    with pytest.raises(ValueError, match="front_share must be above 0.5"):
        instant.weight_torque(build, 1.0, 0.5)
