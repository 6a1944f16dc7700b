"""Motor, sensor and battery lost: steps, limits, times and settings against the split, searches and known limits."""

import numpy as np
import pytest
from published import published
from scipy.integrate import quad
from scipy.optimize import brentq

from unikit.formulas import capture
from unikit.inputs import replace
from unikit.studies import cut_out, heat, leverage
from unikit.studies import loop as loops
from unikit.studies.catch import stand

from . import examples

AIR = 294.15


@pytest.mark.parametrize(("delay", "row"), [(0.10, published("CUT-100")), (0.15, published("CUT-150"))])
def test_first_limits(delay, row):
    result = cut_out.study(examples.first_machine(rider__reaction_delay=delay), examples.case(air_temperature=AIR, speed=4.0))
    assert result.limit == pytest.approx(row.value, abs=row.tolerance)


@pytest.mark.parametrize("case", examples.cases(), ids=lambda case: case.name)
def test_the_pedal_step_is_that_of_the_leverage_study(case):
    assert cut_out.study(examples.build(), case).pedal_step == pytest.approx(leverage.study(examples.build(), case).cut_out_step, rel=1e-9)


def test_the_limit_has_the_drag_in_it_and_the_margin_counts_it_once():
    build, case = examples.first_machine(motor__hysteresis_torque=1.0), examples.case(slope=0.02, speed=4.0)
    free = examples.first_machine()
    with_drag, without = cut_out.study(build, case), cut_out.study(free, case)
    here = stand(build, case, build.gears.named())
    late = np.exp(-here.rate * 0.1) / (1 + here.rate * 0.03)
    assert with_drag.limit == pytest.approx(late * here.forward.legs - 1.0, rel=1e-12)
    assert with_drag.motor_torque > without.motor_torque and with_drag.margin < without.margin
    assert cut_out.cut_out_margin(build, case)[0] == pytest.approx(with_drag.margin, rel=1e-12)
    assert with_drag.margin == pytest.approx((with_drag.limit + 1.0) / with_drag.motor_torque / 1.5, rel=1e-12)


def test_at_the_largest_trim_the_margin_is_one_and_at_the_largest_gain_too():
    build, case = examples.first_machine(gain=0.1), examples.case(slope=0.015, speed=4.0, trim="level")
    largest = cut_out.study(build, case).largest_trim
    assert 0 < largest < 6.0
    capped = replace(build, {"assist.trim_cap": largest})
    assert cut_out.study(capped, case).margin == pytest.approx(1.0, rel=1e-9)
    margin, words = cut_out.trim_margin(build, case)
    assert margin == pytest.approx(largest / cut_out.study(build, case).trim) and words.endswith(f"{largest:.1f} N·m caught")
    climb = examples.case(slope=0.04, speed=4.0)
    gain = cut_out.study(build, climb).largest_gain
    set_so = replace(build, {"assist.driving_gain.long": gain})
    assert cut_out.study(set_so, climb).margin == pytest.approx(1.0, rel=1e-9)


def test_on_a_descent_the_brake_is_lost_and_the_body_falls_back():
    build, case = examples.first_machine(), examples.case(slope=-0.04, speed=4.0)
    result = cut_out.study(build, case)
    assert result.way == "back" and result.pedal_step > 0
    here = stand(build, case, build.gears.named())
    strength = 0.8 * capture.worst_strength(here.split.cadence, here.rate, 0.2).share
    strength = strength * build.rider.zero_cadence_torque * (1 - here.split.cadence / 25.0)
    assert result.pedals_left == pytest.approx(strength + here.split.pedal_torque, rel=1e-12)
    assert here.backward.leverage == pytest.approx(1 / (0.97 * 1.5))


def test_times_after_the_loss():
    build, case = examples.first_machine(gain=0.0), examples.case(slope=0.03, speed=4.0, trim="level")
    result = cut_out.study(build, case)
    here = stand(build, case, build.gears.named())
    exact = np.arccosh(1 + np.radians(30) * here.stiffness / result.motor_torque) / here.rate
    assert result.time_unanswered == pytest.approx(exact, abs=2e-4)
    # the first computation of this model gave 0.60 to 0.74 s with a rider who answers as ever: more than nobody, less than at the limit
    assert 0.45 < result.time_unanswered < 0.60 < result.time_answered < 0.9
    easy = cut_out.study(examples.first_machine(gain=0.1), examples.case(speed=4.0))
    assert easy.time_answered == np.inf and easy.recoverable.startswith("at once")


def test_a_ramp_saves_what_a_step_does_not():
    build, case = examples.first_machine(), examples.case(slope=0.03, speed=4.0)
    margins = [
        float(cut_out.ratio(cut_out.replaced(at(build, case), ramp) * at(build, case).forward.legs, 10.0)) for ramp in (0, 0.2, 1, 4)
    ]
    assert np.all(np.diff(margins[:3]) > 0) and margins[3] >= margins[2]
    assert cut_out.study(build, case, ramp_time=2.0).ramped_limit > 2 * cut_out.study(build, case).limit
    with pytest.raises(ValueError, match="ramp_time must be 0 s or above, got -1"):
        cut_out.study(build, case, ramp_time=-1.0)


def at(build, case):
    return stand(build, case, build.gears.named())


def test_words_for_each_kind_of_answer():
    said = [cut_out.in_words(*pair) for pair in ((1.2, 3.0), (0.8, 3.0), (0.3, 1.1), (0.3, 0.7), (0.1, 0.2))]
    assert len(set(said)) == 5
    assert said[0].startswith("at once, by") and said[-1].startswith("neither")
    assert "without the factor" in said[1] and "without the factor" in said[3] and "without" not in said[2]


def test_failures_one_by_one():
    build, case = examples.build(), next(one for one in examples.cases() if one.name == "Harbour hill")
    rows = {row[0]: row for row in zip(*vars(cut_out.failures(build, case)).values(), strict=True)}
    split = leverage.torque_split(build, build.gears.named(), case.speed, *steady(build, case))
    step = {words: row[2] for words, row in rows.items()}
    assert step["motor, controller or packs lost"] == pytest.approx(split.motor_torque)
    assert step["sensor lost, the trim stays"] == pytest.approx(split.motor_torque - split.trim)
    assert step["sensor off by 3 N·m forward"] == pytest.approx(3 * 0.34)
    assert step["winding shorted"] > split.motor_torque + 40
    assert rows["sensor stuck while the feet let go"][1] == "back" and rows["winding shorted"][1] == "forward"
    assert rows["winding shorted"][5] < 0.2 < rows["sensor off by 3 N·m forward"][5]
    ramped = rows["cut-back over the ramp (full packs, low voltage)"]
    assert ramped[4] == build.assist.ramp_time and ramped[5] > rows["motor, controller or packs lost"][5]
    slow = rows["derating at the winding's own pace"]
    # the winding alone, its loss growing with it from 115 to 140 degC
    growing = lambda kelvin: split.copper_loss * (1 + 0.00393 * (kelvin - 293.15)) / 420.0
    by_hand = quad(lambda kelvin: 1 / growing(kelvin), 388.15, 413.15)[0]
    assert slow[4] == pytest.approx(by_hand, rel=1e-9) and slow[5] >= ramped[5]


def test_derating_takes_at_least_the_time_of_a_winding_that_keeps_its_heat():
    build = examples.strong(assist__driving_gain__long=2.0)
    case = examples.case(slope=0.2, speed=3.0, winding_start=388.15)
    gear = build.gears.named("long")
    least = cut_out.derating_time(build, heat.network(build, case, gear).losses[0])
    for lead in (1e-2, 0.1, 1.0, 3.0):  # the less is led off, the nearer
        tight = replace(build, {"motor.winding_to_stator": lead})
        held = heat.network(tight, case, gear).reached("winding", 413.15)
        assert least < held
        assert lead > 0.01 or held == pytest.approx(least, rel=1e-3)
    assert cut_out.derating_time(build, 0.0) == np.inf


def steady(build, case):
    from unikit.studies.drive import drive
    from unikit.studies.loads import loads, trim_torque

    return loads(build, case).wheel_torque, drive(build, case.state_of_charge), trim_torque(build, case)


def test_the_short_of_a_build_against_its_energy():
    build = examples.build()
    _, _, state = cut_out.ready(build, examples.case(), None)
    rotation = np.linspace(0.5, 60.0, 4000)
    torque, peak, at_peak = cut_out.short_circuit(state, rotation)
    assert torque.max() == pytest.approx(peak, rel=1e-6) and rotation[np.argmax(torque)] == pytest.approx(at_peak, rel=2e-3)
    # slow: back-EMF of each phase over its resistance, all of it heat
    emf = state.torque_constant_peak / 1.5 * 0.5
    assert torque[0] * 0.5 == pytest.approx(1.5 * emf**2 / state.phase_resistance, rel=2e-3)


def test_settings_fall_with_the_slope_and_with_weaker_legs():
    build, case = examples.first_machine(gain=0.1), examples.case(speed=4.0)
    table = cut_out.settings(build, case, slopes=(0.0, 0.01, 0.02, 0.03), speeds=(4.0,))
    assert np.all(np.diff(table.largest_gain_alone[1:]) <= 0) and np.all(np.diff(table.largest_trim[1:]) <= 0)
    weaker = cut_out.settings(replace(build, {"rider.zero_cadence_torque": 40.0}), case, slopes=(0.02,), speeds=(4.0,))
    assert weaker.largest_trim[0] < table.largest_trim[2]
    ramped = cut_out.settings(build, case, slopes=(0.02,), speeds=(4.0,), ramp_time=2.0)
    assert ramped.largest_trim[0] > table.largest_trim[2]
    assert len(cut_out.settings(build, case).table()) == 18

    def margin(slope):
        return cut_out.cut_out_margin(replace(build, {"assist.trim_cap": 0.0}), replace(case, {"slope": slope}))[0] - 1

    edge = brentq(margin, 0.01, 0.12)
    just = cut_out.settings(build, case, slopes=(edge,), speeds=(4.0,))
    assert just.largest_gain_alone[0] == pytest.approx(0.1, rel=1e-6)


def test_draws_surround_the_middle():
    build, case = examples.build(), next(one for one in examples.cases() if one.name == "Flat cruise")
    middle, doubt = cut_out.study(build, case), cut_out.doubt(build, case, count=80)
    assert doubt.limit_low < middle.limit < doubt.limit_high
    assert doubt.trim_low < doubt.trim_middle < doubt.trim_high
    assert doubt.holds == 1.0 and doubt.assumed == middle.assumed
    assert len(doubt.summary()) == 13  # one label would hide another of the same words
    assert doubt.afterwards == "does not balance"
    assert doubt.trim_holds == 1.0  # there is no trim in this case
    trimmed = replace(case, {"slope": 0.02, "trim": "level"})
    some = cut_out.doubt(build, trimmed, count=80)
    assert some.trim_holds < 0.1 and some.trim_middle < abs(cut_out.study(build, trimmed).trim)


def test_a_build_without_motor_is_told_so():
    for build in (examples.build("harbour_ungeared"), bare()):
        for ask in (cut_out.study, cut_out.failures, cut_out.settings, cut_out.doubt, cut_out.cut_out_margin, cut_out.trim_margin):
            with pytest.raises(ValueError, match="has no motor that could be lost"):
                ask(build, examples.case())


def bare():
    """The commuter with everything electric taken off."""
    return replace(examples.build(), dict.fromkeys(("motor", "controller", "sensor", "assist", "packs")))


def test_nothing_to_lose_is_endless():
    build = replace(examples.first_machine(gain=0.0), {"motor.hysteresis_torque": 0.0, "motor.eddy_drag": 0.0})
    assert cut_out.cut_out_margin(build, examples.case()) == (np.inf, "no motor torque to lose")
    assert cut_out.trim_margin(build, examples.case())[0] == np.inf
    assert loops.assumed(build) == ()
