"""Speeds and what ends them: every cause can bind, and each limit is found again by a root finder."""

from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import trapezoid
from scipy.optimize import brentq

from unikit.inputs import replace
from unikit.studies import gearing, heat, motor
from unikit.studies.drive import drive
from unikit.studies.legs import greatest_torque
from unikit.studies.loads import loads, trim_torque
from unikit.studies.rules import local_rules
from unikit.studies.split import torque_split

from . import examples

# a rider whom nothing ends, from which each test takes one thing away
FREE = {
    "rider__comfortable_cadence": 25.0,
    "rider__greatest_cadence": 30.0,
    "rider__greatest_pedal_speed": 6.0,
    "rider__critical_power": 600.0,
    "rider__zero_cadence_torque": 300.0,
    "rider__zero_torque_cadence": 40.0,
    "motor__torque_constant_peak": 0.3,
}


def at(build, case, speed):
    """Road, split and legs at one speed."""
    gear = build.gears.named(build.gears.engaged)
    state = drive(build, case.state_of_charge)
    split = torque_split(build, gear, speed, loads(build, case, speed).wheel_torque, state, trim_torque(build, case))
    return split, greatest_torque(build, split.cadence)


def test_comfort_ended_by_cadence():
    build, case = examples.plain(**(FREE | {"rider__comfortable_cadence": 9.0})), examples.case()
    result = gearing.study(build, case)
    assert result.comfortable_by == "cadence"
    assert result.comfortable_speed == pytest.approx(9.0 * 1.7 * 0.345, rel=1e-12)


def test_comfort_ended_by_pedal_speed():
    build, case = examples.plain(**(FREE | {"rider__greatest_pedal_speed": 1.5, "cranks__reference_length": 0.165})), examples.case()
    result = gearing.study(build, case)
    assert result.comfortable_by == "pedal speed"
    assert result.comfortable_speed == pytest.approx(0.9 * 1.5 / 0.150 * 1.7 * 0.345, rel=1e-12)
    # the greatest speed is ended by the whole of it
    assert result.greatest_by == "pedal speed" and result.greatest_speed == pytest.approx(result.comfortable_speed / 0.9, rel=1e-12)


def test_comfort_ended_by_leg_torque():
    build, case = examples.plain(**(FREE | {"rider__zero_cadence_torque": 45.0})), examples.case(slope=0.02)
    result = gearing.study(build, case)
    assert result.comfortable_by == "leg torque"
    speed = brentq(lambda v: 0.5 * at(build, case, v)[1] - at(build, case, v)[0].pedal_torque, 1.0, 20.0, xtol=1e-10)
    assert result.comfortable_speed == pytest.approx(speed, rel=1e-4)


def test_comfort_ended_by_air():
    build, case = examples.plain(**(FREE | {"rider__critical_power": 180.0})), examples.case(head_wind=3.0)
    build = replace(build, {"motor": None, "controller": None, "sensor": None, "assist": None, "packs": None})
    result = gearing.study(build, case)
    assert result.comfortable_by == "air"
    mass = build.rider.mass + build.frame.mass + build.wheel.mass

    def excess(speed):
        force = 0.008 * mass * 9.81 + 0.35 + 0.02 * speed + 0.5 * case.air_density * 0.45 * (speed + 3.0) ** 2
        return force * speed / 0.965 - 180.0

    assert result.comfortable_speed == pytest.approx(brentq(excess, 0.1, 20.0), rel=1e-4)


def test_comfort_ended_by_motor_voltage():
    build, case = examples.plain(**(FREE | {"motor__torque_constant_peak": 1.6, "assist__driving_gain__long": 1.0})), examples.case()
    result = gearing.study(build, case)
    assert result.comfortable_by == "motor voltage"

    def spare(speed):
        split, _ = at(build, case, speed)
        return split.highest - split.asked_peak

    speed = brentq(spare, 1.0, 12.0, xtol=1e-10)
    assert at(build, case, speed)[0].highest_by == "voltage"
    assert result.comfortable_speed == pytest.approx(speed, abs=0.051)  # one step of the grid: there the assist begins to be cut


def test_comfort_ended_by_a_local_limit():
    build = examples.plain(**FREE)
    limited = [rule for rule in local_rules().values() if rule.assist_speed_limit]
    assert limited
    for rule in limited:
        result = gearing.study(build, examples.case(rules=rule.key))
        assert result.comfortable_by == "local limit" and result.comfortable_speed == rule.assist_speed_limit
        assert result.greatest_by != "local limit"  # the rider may pedal on
    assert gearing.study(build, examples.case()).comfortable_by != "local limit"


def test_every_cause_was_met_above():
    text = Path(__file__).read_text(encoding="utf-8")
    for cause in gearing.CAUSES:
        assert f'comfortable_by == "{cause}"' in text


def test_greatest_ended_by_cadence():
    build = examples.plain(**(FREE | {"rider__comfortable_cadence": 9.0, "rider__greatest_cadence": 13.0}))
    result = gearing.study(build, examples.case())
    assert result.greatest_by == "cadence" and result.greatest_speed == pytest.approx(13.0 * 1.7 * 0.345, rel=1e-12)


def test_greatest_ended_by_leg_torque():
    build, case = examples.plain(**(FREE | {"rider__zero_cadence_torque": 60.0})), examples.case(slope=0.04)
    result = gearing.study(build, case)
    assert result.greatest_by == "leg torque"
    speed = brentq(lambda v: at(build, case, v)[1] - at(build, case, v)[0].pedal_torque, 1.0, 20.0, xtol=1e-10)
    assert result.greatest_speed == pytest.approx(speed, rel=1e-4)


def test_greatest_ended_by_motor_voltage():
    build = examples.plain(**(FREE | {"motor__torque_constant_peak": 2.0}))
    result = gearing.study(build, examples.case(state_of_charge=1.0))
    assert result.greatest_by == "motor voltage"
    constant = 2.0 * (1 - 0.0012 * -5)  # magnets at 20 °C, constant stated at 25 °C
    assert result.greatest_speed == pytest.approx(13 * 4.18 / np.sqrt(3) * 1.5 / constant * 0.345, rel=1e-12)


def test_a_climb_that_no_leg_can_do_has_no_speed():
    result = gearing.study(examples.build("harbour_ungeared"), examples.case(slope=0.5))
    assert result.greatest_speed == 0 and result.greatest_by == "leg torque"
    assert np.isfinite(result.leverage_left).all() and (result.speed == 0).all()


def test_the_leverage_curve_is_the_leverage_until_a_limit_ends_it():
    build, case = examples.plain(assist__torque_cap=20.0), examples.case()
    result = gearing.study(build, case)
    angle = np.linspace(0, np.pi, 20_001)
    push = 95.0 * (0.2 + 0.8 * np.sin(angle)) / (0.2 + 0.8 * 2 / np.pi)
    given = trapezoid(np.minimum(0.34 * push, 20.0), angle) / np.pi  # the torque cap ends the assist of a full push at rest
    assert result.leverage_left[0] == pytest.approx(0.965 / 1.7 + given / 95.0, rel=1e-6)
    assert result.wheel_torque_left[0] == pytest.approx(95.0 * 0.965 / 1.7 + given, rel=1e-6)
    gentle = examples.plain(assist__torque_cap=400.0, controller__phase_current_limit=500.0)
    assert gearing.study(gentle, case).leverage_left[0] == pytest.approx(0.965 / 1.7 + 0.34, rel=1e-12)
    alone = replace(build, {"motor": None, "controller": None, "sensor": None, "assist": None, "packs": None})
    assert gearing.study(alone, case).leverage_left == pytest.approx(0.965 / 1.7)


def test_longer_cranks_give_leverage_and_take_speed():
    build, case = examples.plain(rider__greatest_pedal_speed=2.0), examples.case()
    moved = gearing.moves(build, case)
    rows = {name: place for place, name in enumerate(moved.part)}
    now = rows["as built"]
    assert [moved.greatest_by[rows[name]] for name in ("as built", "cranks +5 %")] == ["pedal speed", "pedal speed"]
    assert moved.greatest_speed[rows["cranks +5 %"]] == pytest.approx(moved.greatest_speed[now] / 1.05, rel=1e-9)
    assert moved.leverage_left[rows["cranks +5 %"]] > moved.leverage_left[now] > moved.leverage_left[rows["cranks -5 %"]]
    assert moved.leverage_left[rows["gear ratio +5 %"]] < moved.leverage_left[now] < moved.leverage_left[rows["gear ratio -5 %"]]
    for name in ("gear ratio +5 %", "wheel +5 %"):
        assert moved.greatest_speed[rows[name]] == pytest.approx(1.05 * moved.greatest_speed[now], rel=1e-9)
    assert len(moved.table()) == 7


def test_a_move_beyond_what_a_build_may_be_is_left_out():
    build = replace(examples.build(), {"cranks.length": 0.25})
    assert "cranks +5 %" not in gearing.moves(build, examples.case()).part
    assert "cranks -5 %" in gearing.moves(build, examples.case()).part


def test_speed_zero_and_far_too_fast():
    for speed in (0.0, 25.0):
        result = gearing.study(examples.build(), examples.case(speed=speed, wanted_speed=0.0))
        assert np.isfinite(result.cadence) and result.cadence >= 0


# -- facts of the trade, each alone --------------------------------------------------------------


def test_trade_a_step_up_of_1_7_cruises_at_25_to_30():
    # common practice, no source
    result = gearing.study(examples.plain(), examples.case())
    assert 25.0 <= 3.6 * result.comfortable_speed <= 30.0


def test_trade_35_is_near_the_top_on_usual_cranks():
    # common practice, no source
    result = gearing.study(examples.plain(), examples.case())
    assert 33.0 <= 3.6 * result.greatest_speed <= 37.0


def test_trade_shorter_cranks_raise_the_top():
    # common practice, no source
    usual, short = (gearing.study(examples.plain(cranks__length=length), examples.case()) for length in (0.150, 0.125))
    assert short.greatest_speed > 1.03 * usual.greatest_speed


def test_trade_the_saddle_goes_up_by_what_the_crank_loses():
    # common practice, no source
    result = gearing.study(examples.plain(cranks__length=0.125), examples.case())
    assert result.saddle_shift == pytest.approx(0.025, rel=1e-12)


def test_trade_20_newton_metres_at_the_wheel_are_an_ordinary_command():
    # common practice, no source
    build, case = examples.plain(), examples.case(speed=22 / 3.6, slope=0.0, duration=1800.0)
    over = motor.study(build, case)
    commuting = (over.speed > 10 / 3.6) & (over.speed < 28 / 3.6)
    assert over.highest[commuting].min() >= 20.0
    chain = heat.network(build, case, build.gears.named("long"))
    copper = 1.5 * build.motor.phase_resistance * (20.0 / build.motor.torque_constant_peak) ** 2
    held = chain.__class__(
        **(vars(chain) | {"losses": chain.losses * [0, 1, 1] + [copper, 0, 0], "loss_slope": np.array([0.00393 * copper, 0, 0])})
    )
    winding, _, magnets, _ = held.at(case.duration)
    assert winding < build.controller.derating_start and magnets < build.motor.magnet_limit


def test_assist_that_field_weakening_cuts_is_cut_by_the_voltage():
    slow = {"motor.torque_constant_peak": 2.0, "motor.phase_resistance": 0.35, "assist.driving_gain.long": 1.2}
    slow |= {"controller.battery_current_limit": 200.0, "controller.phase_current_limit": 40.0}
    case = examples.case(slope=0.04)
    plain, weakened = (
        gearing.study(replace(examples.strong(), slow | {"controller.weakening_current": amps}), case).comfortable_limits["motor voltage"]
        for amps in (None, 15.0)
    )
    assert 3.0 < plain < weakened < 15.0
