"""Windings of one motor over turns: what stays, what ends the torque, and which turns are recommended."""

import dataclasses

import numpy as np
import pytest

from unikit.inputs import load_build, load_case, replace, save_build
from unikit.studies import winding
from unikit.studies.drive import drive
from unikit.studies.motor import point
from unikit.studies.rewind import with_joining, with_strands, with_turns

BUILD = load_build("data/builds/harbour_commuter.toml")
DEMONSTRATOR = load_build("data/builds/classroom_demonstrator.toml")
HILL, WIND = (load_case(f"data/cases/{name}.toml") for name in ("harbour_hill", "head_wind"))
WOUND = winding.study(BUILD, WIND)


def test_copper_loss_and_motor_constant_do_not_depend_on_the_turns():
    assert WOUND.copper_loss_over == pytest.approx(np.full(winding.POINTS, WOUND.copper_loss))
    other = winding.study(BUILD, WIND, turns=1.6)
    assert (other.copper_loss, other.motor_constant) == pytest.approx((WOUND.copper_loss, WOUND.motor_constant))
    assert other.torque_constant == pytest.approx(1.6 * WOUND.torque_constant)
    assert other.phase_resistance == pytest.approx(1.6**2 * WOUND.phase_resistance)


def test_currents_and_speed_go_with_one_over_the_turns():
    assert WOUND.turns_over * WOUND.phase_current_over == pytest.approx(np.full(winding.POINTS, WOUND.phase_current))
    state = drive(BUILD, WIND.state_of_charge)
    assert WOUND.fastest == pytest.approx(BUILD.wheel.radius * state.back_emf_rotation(), rel=0.01), (
        "no torque is left about where back-EMF meets the packs"
    )
    assert WOUND.turns_over * WOUND.fastest_over == pytest.approx(np.full(winding.POINTS, WOUND.fastest), rel=0.01)


@pytest.mark.parametrize("build", [BUILD, DEMONSTRATOR], ids=lambda build: build.name)
@pytest.mark.parametrize("turns", [0.6, 1.0, 1.5])
def test_each_number_is_that_of_the_build_wound_so(build, turns):
    found = winding.study(build, HILL, turns=turns)
    free = replace(with_turns(build, turns), {"assist.torque_cap": 500.0})
    one = point(free, HILL, free.gears.named())
    capped = point(with_turns(build, turns), HILL, build.gears.named())
    assert found.available == pytest.approx(one.highest)
    assert found.reserve_by == str(one.highest_by)
    assert found.reserve == pytest.approx(max(one.highest - (capped.highest - capped.reserve), 0.0), abs=1e-9)
    assert (found.phase_current, found.battery_current, found.copper_loss) == pytest.approx(
        (capped.phase_current, capped.battery_current, capped.copper_loss)
    )
    assert min(found.reserve, found.cap) == pytest.approx(capped.reserve, abs=1e-9)


def test_the_phase_current_ends_it_on_the_left_and_the_voltage_on_the_right():
    found = winding.study(DEMONSTRATOR, WIND)
    assert (found.fewer_by, found.more_by) == ("phase current", "voltage")
    assert found.ended_by[0] == "phase current" and found.ended_by[-1] == "voltage"
    best = int(np.argmin(np.abs(found.turns_over - found.recommended)))
    assert found.available_over[best] >= (1 - winding.NEAR) * found.available_over.max()
    assert found.recommended_reserve == found.reserve_over[best]
    good = np.flatnonzero(found.available_over >= (1 - winding.NEAR) * found.available_over.max())
    assert good[0] < best < good[-1], "in the middle of those that are as good"


def test_a_smaller_controller_asks_for_more_turns_and_a_faster_ride_for_fewer():
    small = winding.study(replace(DEMONSTRATOR, {"controller.phase_current_limit": 14.0}), WIND)
    before = winding.study(DEMONSTRATOR, WIND)
    assert small.recommended > before.recommended
    fast = winding.study(DEMONSTRATOR, dataclasses.replace(WIND, speed=2 * WIND.speed))
    assert fast.recommended < before.recommended


def test_turns_without_torque_at_the_greatest_cadence_are_not_recommended():
    quick = replace(BUILD, {"rider.greatest_cadence": "250 rpm"})
    found = winding.study(quick, HILL)
    assert found.more_by == winding.PEDALLED
    assert found.recommended < winding.study(BUILD, HILL).recommended


def test_what_takes_long_can_be_left_out_and_the_rest_is_the_same():
    quick, whole = winding.study(BUILD, WIND, search=False), WOUND
    assert quick.fastest is None and quick.fastest_over is None and whole.fastest > 0
    assert "speed at which voltage leaves no torque" not in quick.summary()
    assert (quick.recommended, quick.more_by, quick.reserve) == (whole.recommended, whole.more_by, whole.reserve)


def test_where_nothing_ends_it_within_the_range_this_is_said():
    assert winding.study(BUILD, HILL).more_by == winding.BEYOND


def test_a_build_without_motor_is_an_error():
    with pytest.raises(ValueError, match="'Harbour ungeared' has no motor: the winding study needs one"):
        winding.study(load_build("data/builds/harbour_ungeared.toml"), HILL)


# -- variants of a build -----------------------------------------------------------


FULL = replace(
    BUILD,
    {
        "motor.saturation_current": 90.0,
        "motor.demagnetising_current": 120.0,
        "motor.direct_inductance": 2.2e-4,
        "controller.weakening_current": 30.0,
    },
)


def test_turns_keep_torque_for_the_same_loss_in_random_builds():
    generator = np.random.default_rng(11)
    for _ in range(25):
        build = replace(
            BUILD,
            {
                "motor.torque_constant_peak": generator.uniform(0.4, 1.6),
                "motor.phase_resistance": generator.uniform(0.03, 0.3),
                "assist.torque_cap": generator.uniform(15, 60),
                "controller.phase_current_limit": 400.0,
            },
        )
        case = dataclasses.replace(HILL, slope=generator.uniform(0, 0.08), speed=generator.uniform(1, 3))
        turns, gear = generator.uniform(0.6, 1.2), build.gears.named()
        one, other = (point(each, case, gear) for each in (build, with_turns(build, turns)))
        assert other.motor_torque == pytest.approx(one.motor_torque, rel=1e-9)
        assert other.copper_loss == pytest.approx(one.copper_loss, rel=1e-9)
        assert turns * other.phase_current == pytest.approx(one.phase_current, rel=1e-9)


def test_currents_that_stand_for_a_field_go_with_one_over_the_turns():
    wound = with_turns(FULL, 1.5)
    assert wound.motor.saturation_current == pytest.approx(60.0) and wound.motor.demagnetising_current == pytest.approx(80.0)
    assert wound.motor.direct_inductance == pytest.approx(2.25 * 2.2e-4) and wound.controller.weakening_current == pytest.approx(20.0)
    assert (wound.motor.mass, wound.motor.hysteresis_torque, wound.motor.winding_to_stator) == (
        FULL.motor.mass,
        FULL.motor.hysteresis_torque,
        FULL.motor.winding_to_stator,
    )
    share = [build.motor.torque_constant_peak * build.motor.saturation_current for build in (FULL, wound)]
    assert share[0] == pytest.approx(share[1]), "the torque at which the iron saturates stays"
    left_open = with_turns(replace(BUILD, {"motor.demagnetising_current": None}), 1.5).motor
    assert left_open.saturation_current is None and left_open.demagnetising_current is None


def test_another_winding_is_not_known_any_better(tmp_path):
    known = {"motor.torque_constant_peak": "0.95 N·m/A ± 4 %", "motor.phase_resistance": "80 mohm to 95 mohm"}
    loose = replace(BUILD, known | {"motor.quadrature_inductance": "triangular(0.1 mH, 0.28 mH, 0.5 mH)"})
    wound = with_turns(loose, 1.37)
    for path in ("torque_constant_peak", "phase_resistance", "quadrature_inductance"):
        one, other = (build.spreads[f"motor.{path}"] for build in (loose, wound))
        assert np.divide(other.parameters, other.nominal) == pytest.approx(np.divide(one.parameters, one.nominal))
    assert wound.spreads["rider.mass"] == BUILD.spreads["rider.mass"]
    save_build(wound, tmp_path / "wound.toml")
    assert load_build(tmp_path / "wound.toml") == wound


def test_star_to_delta_and_back():
    delta = with_joining(FULL, "star", "delta")
    assert delta.motor.phase_resistance == pytest.approx(FULL.motor.phase_resistance / 3)
    assert delta.motor.torque_constant_peak == pytest.approx(FULL.motor.torque_constant_peak / 3**0.5)
    assert with_joining(delta, "delta", "star").motor.phase_resistance == pytest.approx(FULL.motor.phase_resistance)


def test_more_strands_lower_the_resistance_and_weigh_what_their_copper_weighs():
    more = with_strands(BUILD, 1.0, 1.2)
    assert more.motor.phase_resistance == pytest.approx(BUILD.motor.phase_resistance / 1.2)
    assert more.motor.torque_constant_peak == BUILD.motor.torque_constant_peak
    assert more.motor.mass - BUILD.motor.mass == pytest.approx(0.2 * BUILD.motor.winding_capacity / 385)
    assert more.motor.winding_capacity == pytest.approx(1.2 * BUILD.motor.winding_capacity)
    same = with_strands(BUILD, 1.25, 0.8)
    assert same.motor.phase_resistance == pytest.approx(1.25**2 * BUILD.motor.phase_resistance), "the same copper, other turns"
    assert same.motor.mass == pytest.approx(BUILD.motor.mass)
