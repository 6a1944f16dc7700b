"""Leverage of a gear, and what the feet feel when the motor stops."""

import numpy as np
import pytest
from scipy.integrate import trapezoid

from unikit.inputs import replace
from unikit.studies import leverage
from unikit.studies.legs import endurance, greatest_torque

from . import examples


def test_the_restoring_gain_restores():
    build = examples.build()
    gain = leverage.study(build, examples.case()).restoring_gain
    restored = leverage.study(replace(build, {"assist.driving_gain.long": gain}), examples.case())
    assert restored.leverage_left == pytest.approx(1.0, rel=1e-12)
    # the foot then feels what it felt on the ungeared wheel, but for the drag of the motor, which no gain knows
    free = replace(build, {"assist.driving_gain.long": gain, "motor.hysteresis_torque": 0.0, "motor.eddy_drag": 0.0})
    result = leverage.study(free, examples.case(slope=0.03))
    assert result.foot_force == pytest.approx(result.foot_force_ungeared, rel=1e-9)


def test_the_restoring_cranks_restore_without_assist():
    build = examples.build()
    length = leverage.study(build, examples.case()).restoring_crank
    longer = replace(build, {"cranks.length": length, "assist.driving_gain.long": 0.0})
    assert leverage.study(longer, examples.case()).leverage_left == pytest.approx(1.0, rel=1e-12)


def test_leverage_loss_and_leverage_are_one_apart():
    result = leverage.study(replace(examples.build(), {"assist.driving_gain.long": 0.0}), examples.case())
    assert result.leverage_left == pytest.approx(1 - result.leverage_loss, rel=1e-12)
    assert result.gear_leverage_resisting > result.gear_leverage


@pytest.mark.parametrize(("slope", "trim"), [(0.06, "steps"), (0.0, "none"), (-0.06, "none"), (-0.06, "level")])
def test_cut_out_by_statics(slope, trim):
    """Right after the motor stopped the road asks what it asked, and the iron drags."""
    build, case = examples.build(), examples.case(slope=slope, trim=trim, speed=4.0)
    result = leverage.study(build, case)
    mass, radius, root = build.total_mass, build.wheel.radius, np.sqrt(1 + slope**2)
    force = mass * 9.81 * (0.008 + slope) / root + 0.5 * case.air_density * 0.55 * 16.0 + 0.35 + 0.02 * 4.0
    needed = force * radius + 0.45 + 0.018 * 4.0 / radius
    gear = build.gears.named("long")
    alone = needed * gear.ratio * (gear.efficiency if needed < 0 else 1 / gear.efficiency)
    length = build.cranks.length
    assert result.foot_force_alone == pytest.approx(alone / length, rel=1e-9)
    sign = np.sign(alone)
    assert result.cut_out_step == pytest.approx(sign * (alone - result.foot_force * length), rel=1e-9)
    able = greatest_torque(build, 4.0 / radius / gear.ratio) * (0.7 if alone < 0 else 1.0)
    assert result.leg_torque_left == pytest.approx(able - sign * result.foot_force * length, rel=1e-9)
    assert result.cut_out_step > 0  # uphill the legs must push more, downhill hold back more


def test_a_build_without_motor_has_nothing_to_lose():
    result = leverage.study(examples.build("harbour_ungeared"), examples.case(slope=0.05))
    assert result.cut_out_step == 0 and result.foot_force_alone == result.foot_force == result.foot_force_ungeared


def test_foot_force_over_the_turn_has_the_mean():
    result = leverage.study(examples.build(), examples.case(slope=0.04), points=20_001)
    for name in ("foot_force", "foot_force_alone", "foot_force_ungeared"):
        over = getattr(result, f"{name}_over_turn")
        assert trapezoid(over, result.crank_angle) / (2 * np.pi) == pytest.approx(getattr(result, name), rel=1e-6)


def test_other_cranks_keep_the_power_of_the_legs():
    build = examples.build()
    cadence = np.linspace(0.1, 30, 2000)
    powers = [(greatest_torque(replace(build, {"cranks.length": length}), cadence) * cadence).max() for length in (0.11, 0.143, 0.17)]
    assert powers == pytest.approx([powers[0]] * 3, rel=1e-5)
    assert greatest_torque(build, 100.0) == 0  # faster than any leg


def test_legs_that_hold_back_do_not_tire_in_this_model():
    assert endurance(examples.build(), -300.0) == np.inf
    assert endurance(examples.build(), 270.0) == pytest.approx(14.2e3 / 100.0)
