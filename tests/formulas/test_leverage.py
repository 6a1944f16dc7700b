"""Leverage: the same foot force at the road, power through the gear, and the moment the motor stops."""

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from published import published

from unikit.formulas import gearing, leverage

RATIOS = [0.8, 1.0, 1.5, 2.1]
EFFICIENCIES = [0.9, 0.97, 1.0]


def test_road_force_per_foot_force_with_and_without_the_gear():
    row = published("P-KIN-13")
    foot = leverage.foot_force(wheel_torque=1.0, leverage=leverage.gear_leverage(1.5, 1.0), crank_length=0.15)
    road = 1.0 / 0.368
    assert road / foot == pytest.approx(row.value, abs=row.tolerance)
    # a lossless gear gives away force as it gains travel
    assert road / foot == pytest.approx(1 / gearing.travel_ratio(0.368, 0.15, 1.5), rel=1e-14)
    assert leverage.leverage_loss(1.5, 1.0) == pytest.approx(1 / 3, rel=1e-14)


@pytest.mark.checks("independent", "leverage.gear_leverage")
@pytest.mark.parametrize("efficiency", EFFICIENCIES)
def test_power_leaves_the_gear_less_its_loss_in_both_directions(efficiency):
    crank_rate, crank_torque, ratio = 7.0, 30.0, 1.55
    wheel_rate = ratio * crank_rate
    driven = crank_torque * leverage.gear_leverage(ratio, efficiency) * wheel_rate
    assert driven == pytest.approx(efficiency * crank_torque * crank_rate, rel=1e-14)
    from_wheel = crank_torque * leverage.gear_leverage(ratio, efficiency, resisting=True) * wheel_rate
    assert crank_torque * crank_rate == pytest.approx(efficiency * from_wheel, rel=1e-14)


@pytest.mark.checks("independent", "leverage.restoring_gain", "leverage.leverage", "leverage.foot_force")
@pytest.mark.parametrize("ratio", RATIOS)
@pytest.mark.parametrize(("crank", "reference"), [(0.15, 0.15), (0.125, 0.15), (0.165, 0.114)])
def test_restoring_gain_gives_the_foot_force_of_the_ungeared_wheel(ratio, crank, reference):
    gain = leverage.restoring_gain(ratio, 0.96, crank_length=crank, reference_crank_length=reference)
    foot = leverage.foot_force(20.0, leverage.leverage(ratio, gain, 0.96), crank)
    assert foot == pytest.approx(20.0 / reference, rel=1e-13)


@pytest.mark.checks("independent", "leverage.leverage_loss", "leverage.restoring_gain")
def test_loss_is_the_gain_that_is_missing_seen_from_the_reference():
    loss = leverage.leverage_loss(1.5, 0.95, crank_length=0.14, reference_crank_length=0.16)
    gain = leverage.restoring_gain(1.5, 0.95, crank_length=0.14, reference_crank_length=0.16)
    assert loss * 0.16 / 0.14 == pytest.approx(gain, rel=1e-14)
    assert leverage.leverage_loss(1.0, 1.0) == 0.0


@pytest.mark.checks("independent", "leverage.cut_out_step")
@pytest.mark.parametrize(("motor", "resisting"), [(25.0, False), (-12.0, True)])
def test_after_cut_out_the_legs_carry_what_the_motor_gave_and_its_drag(motor, resisting):
    hold, drag = leverage.gear_leverage(1.5, 0.95, resisting=resisting), 0.7
    needed, pedals = 40.0, 10.0
    rest = needed - hold * pedals - motor
    after = pedals + leverage.cut_out_step(motor, drag, hold)
    assert hold * after - drag + rest == pytest.approx(needed, rel=1e-14)


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (leverage.gear_leverage, {"gear_ratio": RATIOS, "gear_efficiency": EFFICIENCIES, "resisting": True}),
        (leverage.gear_leverage, {"gear_ratio": RATIOS, "gear_efficiency": 0.9, "resisting": [False, True, True, False]}),
        (leverage.leverage, {"gear_ratio": RATIOS, "assist_gain": [0.0, 0.4], "gear_efficiency": 0.95}),
        (leverage.leverage_loss, {"gear_ratio": RATIOS, "gear_efficiency": EFFICIENCIES}),
        (
            leverage.restoring_gain,
            {"gear_ratio": RATIOS, "crank_length": [0.1, 0.15], "reference_crank_length": 0.15, "gear_efficiency": 0.9},
        ),
        (leverage.foot_force, {"wheel_torque": [-5.0, 0.0, 30.0], "leverage": [0.6, 1.0], "crank_length": 0.15}),
        (leverage.cut_out_step, {"motor_torque": [-5.0, 30.0], "motor_drag": [0.0, 1.0], "gear_leverage": 0.6}),
    ],
)
def test_arrays_give_what_a_loop_gives(function, arguments):
    assert_broadcasts(function, **arguments)


def test_impossible_arguments_are_refused_by_name():
    with pytest.raises(ValueError, match=r"gear_efficiency must be from 0 to 1, got 1\.02"):
        leverage.gear_leverage(1.5, 1.02)
    with pytest.raises(ValueError, match=r"gear_efficiency must be above 0, got \[0\.9 0\. \]"):
        leverage.leverage(1.5, 0.3, np.array([0.9, 0.0]))
    with pytest.raises(ValueError, match=r"gear_ratio must be above 0, got -1\.5"):
        leverage.leverage_loss(-1.5, 0.95)
    with pytest.raises(ValueError, match=r"leverage must be above 0, got 0"):
        leverage.foot_force(20.0, 0.0, 0.15)
    with pytest.raises(ValueError, match="crank_length and reference_crank_length belong together: give both"):
        leverage.restoring_gain(1.5, 0.95, crank_length=0.15)
