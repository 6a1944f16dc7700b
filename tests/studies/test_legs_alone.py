"""Home without the motor: work that the legs have against work that is asked of them."""

import numpy as np
import pytest
from scipy.integrate import quad

from unikit.inputs import replace
from unikit.studies import legs_alone

from . import examples


def test_work_by_hand():
    """Level road, no wind: each force on a sheet of paper, the drag of the dead motor beside them."""
    build, case = examples.build(), examples.case(slope=0.0, speed=4.0, distance=8000.0)
    found = legs_alone.study(build, case)
    v, radius = found.speed, build.wheel.radius
    force = 0.008 * build.total_mass * 9.81 + 0.35 + 0.02 * v + 0.5 * case.air_density * 0.55 * v**2
    drag = 0.45 + 0.018 * v / radius
    power = (force * v + drag * v / radius) / 0.965
    assert found.motor_drag == pytest.approx(drag) and found.leg_power == pytest.approx(power, rel=1e-9)
    assert found.asked == pytest.approx(quad(lambda _: power, 0, 8000.0 / v)[0])
    assert found.available == pytest.approx(build.rider.critical_power * 8000.0 / v + build.rider.work_capacity)
    assert found.margin == pytest.approx(found.available / found.asked) and found.time == pytest.approx(8000.0 / v)


def test_the_speed_is_the_one_that_leaves_most():
    for case in examples.cases():
        found = legs_alone.study(examples.build(), case)
        assert found.margin == found.margins.max() and found.speed in found.speeds
        fastest = found.speeds[-1]
        assert found.speeds[0] == pytest.approx(fastest / 2)


def test_a_dead_motor_costs_what_it_drags_and_a_longer_gear_costs_more():
    build, case = examples.build(), examples.case(slope=0.03, distance=3000.0)
    light = replace(build, {"motor.hysteresis_torque": 0.0, "motor.eddy_drag": 0.0})
    assert legs_alone.study(light, case).margin > legs_alone.study(build, case).margin
    by_gear = [legs_alone.study(build, case, build.gears.named(name)).margin for name in ("direct", "long")]
    assert by_gear[0] > by_gear[1]


def test_legs_that_do_not_turn_the_cranks_say_so():
    found = legs_alone.study(examples.build(), examples.case(slope=0.45, distance=500.0))
    assert found.margin == 0 and np.isnan(found.speed) and "unknown" in found.summary().values()


def test_downhill_the_legs_hold_back_and_the_brake_takes_what_they_do_not_bear_for_long():
    build = examples.build()
    bare = replace(build, {"brake.kind": "none", "brake.greatest_torque": 0.0})
    gentle, steep = examples.case(slope=-0.06), examples.case(slope=-0.12)
    found = legs_alone.study(build, gentle)
    v, turning = found.speed, found.speed / build.wheel.radius
    kept = build.total_mass * 9.81 * 0.06 / np.hypot(1, 0.06)
    kept -= 0.008 * build.total_mass * 9.81 / np.hypot(1, 0.06) + 0.35 + 0.02 * v + 0.5 * gentle.air_density * 0.55 * v**2
    power = (kept * v - (0.45 + 0.018 * turning) * turning) * 0.965  # the gear helps
    assert found.leg_power == pytest.approx(-power, rel=1e-6) and found.brake_torque == 0
    assert found.margin == pytest.approx(
        (build.rider.critical_power * found.time + build.rider.work_capacity) / (power * found.time), rel=1e-6
    )
    braked, alone = legs_alone.study(build, steep), legs_alone.study(bare, steep)
    assert braked.brake_torque > 0 and braked.leg_power == pytest.approx(-build.rider.critical_power) and braked.margin > 1
    assert alone.margin == 0, "more than the legs' strength at every speed"
    assert legs_alone.study(bare, gentle).margin == found.margin


def test_a_long_way_is_held_at_critical_power_or_not_at_all():
    """Over a long way the work capacity no longer counts: the margin tends to critical power over leg power."""
    build = examples.build()
    found = legs_alone.study(build, examples.case(slope=0.05, distance=1e6))
    assert found.margin == pytest.approx(build.rider.critical_power / found.leg_power, rel=0.01)


def test_a_build_without_a_motor_has_no_drag():
    found = legs_alone.study(examples.build("harbour_ungeared"), examples.case(slope=0.02))
    assert found.motor_drag == 0 and found.margin > 1
