"""The wiring of a build: currents by hand, each condition of the fuse failed alone, precharge, and the choice of conductors."""

import dataclasses

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from unikit.formulas import motor
from unikit.formulas import wiring as wires
from unikit.formulas.winding import wire_resistance
from unikit.inputs import replace
from unikit.studies import motor as motor_study
from unikit.studies import wiring
from unikit.studies.drive import drive

from . import examples

CASE = examples.cases()[1]


def fitting(**changes):
    """The commuter with a fuse that meets all conditions."""
    return replace(examples.build(), {"wiring.fuse_rating": "10 A"} | {f"wiring.{name}": value for name, value in changes.items()})


def test_currents_are_those_that_warm():
    build, found = examples.build(), wiring.study(examples.build(), CASE)
    here = motor_study.point(build, CASE, build.gears.named("long"))
    state = drive(build, CASE.state_of_charge)
    assert state.pack_resistance * found.current[1] ** 2 == pytest.approx(here.pack_loss)
    assert motor.copper_loss_rms(found.current[2], state.phase_resistance) == pytest.approx(here.copper_loss)
    assert found.current[0] == pytest.approx(found.current[1] / 3)
    assert found.current[1] > here.battery_current > 0
    assert found.limit_current == pytest.approx([8.0, 24.0, 62 / np.sqrt(2)])


def test_a_series_build_has_one_current():
    packs = {"packs.joined": "series", "controller.voltage_rating": "200 V"} | {
        f"packs.pack.{one}.series": 4 for one in ("left", "right", "rear")
    }
    build = replace(examples.build(), packs)
    found, made = wiring.study(build, CASE), build.wiring
    assert found.current[0] == found.current[1] and found.fused == 1
    ohms = 3 * (4 * 0.028 + 0.025)
    assert found.short_current == pytest.approx(3 * 4 * 4.18 / ohms)
    warm = found.temperature - 273.15
    pack, main, phase = (
        wire_resistance(length, area, t)
        for length, area, t in zip((0.56, 0.7, 0.6), (made.pack_area, made.main_area, made.phase_area), warm, strict=True)
    )
    pack += 2 * made.connector_resistance
    i, _, k = found.current
    assert found.drop == pytest.approx(i * (3 * pack + main))  # the leads and plugs of three packs in one line
    assert found.loss == pytest.approx(i**2 * (3 * pack + main) + 3 * k**2 * phase)
    cold = wire_resistance(0.56, made.pack_area) + 2 * made.connector_resistance + wire_resistance(0.7, made.main_area) / 3
    assert found.resistance == pytest.approx(cold)


def test_drop_loss_and_resistance_by_hand():
    build = examples.build()
    found, made = wiring.study(build, CASE), build.wiring
    warm = found.temperature - 273.15
    pack, main, phase = (
        wire_resistance(length, area, t)
        for length, area, t in zip((0.56, 0.7, 0.6), (made.pack_area, made.main_area, made.phase_area), warm, strict=True)
    )
    i, j, k = found.current
    assert found.drop == pytest.approx(i * (pack + 2 * made.connector_resistance) + j * main)
    assert found.loss == pytest.approx(3 * i**2 * (pack + 2 * made.connector_resistance) + j**2 * main + 3 * k**2 * phase)
    cold = wire_resistance(0.56, made.pack_area) + 2 * made.connector_resistance + 3 * wire_resistance(0.7, made.main_area)
    assert found.resistance == pytest.approx(cold) and found.stated == 0.025
    assert found.compared == f"{1e3 * (0.025 - cold):.1f} mΩ of what the packs state are left for fuse, splices and tabs"
    thin = wiring.study(replace(build, {"wiring.main_area": "1 mm^2"}), CASE)
    assert thin.compared.endswith("more than the packs state")


def test_temperature_and_bearing_close_the_balance():
    found = wiring.study(examples.build(), CASE)
    laid = {"conductors": np.array([2, 2, 3]), "air_layer": 1e-3}
    assert found.temperature == pytest.approx(wires.conductor_temperature(found.current, found.area, CASE.air_temperature, **laid))
    assert wires.conductor_temperature(found.bears, found.area, CASE.air_temperature, **laid) == pytest.approx(np.full(3, 363.15), abs=1e-4)
    free = wiring.study(replace(examples.build(), {"wiring.laid": "free"}), CASE)
    assert np.all(free.bears > 1.2 * found.bears) and free.assumed == "nothing"
    assert free.limit_current == pytest.approx([8.0, 24.0, 62.0])  # apart, one motor lead has the peak while the motor stands
    assert found.assumed == "1 mm of still air in the sleeve"
    # 44 A in the motor lead: far beyond its limit in the end, and within minutes on the way
    assert found.limit_temperature[2] > 363.15 and 60 < found.limit_time[2] < 600
    assert np.isinf(found.limit_time[0])


@pytest.mark.parametrize("peak", [60.0, 110.0])
def test_time_to_the_limit_step_by_step(peak):
    """The balance of one conductor of three in time, its loss with the temperature and its way out by the formula for ampacity."""
    found = wiring.study(replace(examples.build(), {"controller.phase_current_limit": peak}), CASE)
    area, air = found.area[2], CASE.air_temperature
    laid = {"conductors": 3, "air_layer": 1e-3}

    def rate(_, x):
        leaving = wires.ampacity(area, x[0], air, **laid) ** 2 * wire_resistance(1.0, area, x[0] - 273.15)
        return [(found.limit_current[2] ** 2 * wire_resistance(1.0, area, x[0] - 273.15) - leaving) / wires.lead_capacity(1.0, area)]

    hot = lambda t, x: x[0] - 363.15
    hot.terminal = True
    run = solve_ivp(rate, (0, 5000), [found.temperature[2]], events=hot, rtol=1e-8)
    assert found.limit_time[2] == pytest.approx(run.t_events[0][0], rel=0.05)


def test_the_margin_of_the_hottest_lead():
    margins = {key: (margin, words) for key, margin, words in wiring.margins(examples.build(), CASE)}
    found = wiring.study(examples.build(), CASE)
    rise = found.temperature - CASE.air_temperature
    assert margins["wire"][0] == pytest.approx((363.15 - CASE.air_temperature) / rise.max())
    assert margins["wire"][1] == f"motor lead at {found.temperature[2] - 273.15:.0f} °C" and found.hottest == "motor lead"
    thin = dict(
        (key, (margin, words)) for key, margin, words in wiring.margins(replace(examples.build(), {"wiring.phase_area": "0.2 mm^2"}), CASE)
    )
    assert thin["wire"][0] < 1 and "motor lead" in thin["wire"][1]


def test_the_commuters_fuse_lets_too_much_into_the_main_lead():
    found = wiring.study(examples.build(), CASE)
    assert found.fuse.startswith("not met: below the main lead: 34.4 A, 45.0 A asked")
    assert found.window_low == pytest.approx(8.0) and found.window_high == pytest.approx(found.bears[1] / 3)
    assert found.window_high_by.startswith("the main lead")
    good = wiring.study(fitting(), CASE)
    assert good.fuse.startswith(f"all {len(good.fuse_checks)} conditions met; narrowest") and len(good.fuse_checks) == 9


@pytest.mark.parametrize(
    ("changes", "failed"),
    [
        ({"fuse_rating": "7 A"}, "carries the controller's limit"),
        ({"pack_area": "0.3 mm^2"}, "below the pack's lead"),
        ({"main_area": "2 mm^2"}, "below the main lead"),
        ({"connector_current": "9 A"}, "below the plug"),
        ({"fuse_let_through": "90000 A^2*s"}, "lets through less than the main lead bears"),
        ({"fuse_let_through": "5000 A^2*s", "pack_area": "0.6 mm^2"}, "lets through less than the pack lead bears"),
        ({"fuse_breaking_current": "0.2 kA"}, "breaks a short circuit"),
        ({"fuse_voltage": "32 V"}, "voltage"),
        ({"precharge_time": "0.2 s", "fuse_melting": "0.1 A^2*s"}, "bears the surge"),
    ],
)
def test_every_condition_of_the_fuse_fails_alone(changes, failed):
    found = wiring.study(fitting(**changes), CASE)
    assert [check.name for check in found.fuse_checks if check.failed] == [failed]
    assert found.fuse.startswith(f"not met: {failed}: ")
    ((_, margin, words),) = [one for one in wiring.margins(fitting(**changes), CASE) if one[0] == "fuse"]
    assert margin == found.fuse_checks[0].margin < 1 and found.fuse == f"not met: {found.fuse_checks[0].words}"
    assert words == found.fuse_checks[0].brief and len(words) <= 42  # as much as the picture of the parts has room for


def test_a_fuse_that_the_ride_itself_ages():
    weak = replace(fitting(fuse_rating="3 A"), {"controller.battery_current_limit": "8 A"})
    hard = dataclasses.replace(CASE, slope=0.09, trim="level")
    found = wiring.study(weak, hard)
    assert "carries the ride" in [check.name for check in found.fuse_checks]
    ride = next(check for check in found.fuse_checks if check.name == "carries the ride")
    assert ride.margin == pytest.approx(3.0 * 0.75 / found.current[0])
    tighter = wiring.study(replace(weak, {"controller.battery_current_limit": "5 A"}), hard)
    assert tighter.window_low == pytest.approx(tighter.current[0] / 0.75) and tighter.window_low > 5 / 3
    assert tighter.window_low_by.endswith("A all the time with 75 % of its rating")


def test_short_circuit_through_one_fuse_comes_from_the_other_packs():
    one = 13 * 0.028 + 0.025
    assert wiring.study(examples.build(), CASE).short_current == pytest.approx(13 * 4.18 / (one / 2))
    alone = wiring.study(examples.build("classroom_demonstrator"), CASE)
    assert alone.short_current == pytest.approx(7 * 4.17 / (7 * 0.041 + 0.030))


def test_unlike_packs_share_and_short_as_their_conductances_do():
    lower = tuple(volts - 0.05 for volts in examples.build().packs.pack[2].curve_voltage)
    changes = {"packs.pack.left.cell_resistance": 0.014, "packs.pack.rear.wiring_resistance": 0.1, "packs.pack.rear.curve_voltage": lower}
    found = wiring.study(replace(examples.build(), changes), CASE)
    inner = np.array([13 * 0.014 + 0.025, 13 * 0.028 + 0.025, 13 * 0.028 + 0.1])
    total = np.sum(1 / inner)
    assert found.current[0] / found.current[1] == pytest.approx(1 / inner[0] / total) == pytest.approx(found.limit_current[0] / 24.0)
    # on the side of the rear pack, the weakest, both others feed a fault through its fuse
    assert found.short_current == pytest.approx(13 * 4.18 * (1 / inner[0] + 1 / inner[1]))


def test_surge_with_and_without_precharge():
    build = examples.build()
    found = wiring.study(build, CASE)
    volts, farads, ohms = 13 * 4.18, 1500e-6, (13 * 0.028 + 0.025) / 3
    assert found.surge == pytest.approx(volts / ohms)
    surge = next(check for check in found.fuse_checks if check.name == "bears the surge")
    left = volts * np.exp(-0.8 / (100 * farads))
    heat = (volts**2 / 100 + left**2 / ohms) * farads / 2 / 9
    assert surge.margin == pytest.approx(180 / heat)
    without = fitting(precharge_resistance=None, precharge_time=None, precharge_energy=None)
    bare = next(check for check in wiring.study(without, CASE).fuse_checks if check.name == "bears the surge")
    assert bare.margin == pytest.approx(180 / (volts**2 * farads / (2 * ohms) / 9))


def test_precharge():
    found = wiring.study(examples.build(), CASE)
    time, pulse = (next(check for check in found.precharge_checks if check.name == name) for name in ("time", "pulse"))
    assert time.margin == pytest.approx(0.8 / (-100 * 1500e-6 * np.log(0.05)))
    assert pulse.margin == pytest.approx(4 / (0.5 * 1500e-6 * (13 * 4.18) ** 2))
    short = wiring.study(replace(examples.build(), {"wiring.precharge_time": "0.3 s", "wiring.precharge_energy": "2 J"}), CASE)
    assert short.precharge == "not met: 95 % after 0.45 s, 0.3 s given; pulse of 2.21 J, the resistor bears 2 J"


def test_what_is_not_described_is_unknown_and_says_so():
    bare = replace(examples.build(), {"wiring": None})
    found = wiring.study(bare, CASE)
    assert np.isnan(found.wire_margin) and found.fuse == found.plug == found.precharge == wiring.NO_WIRING
    assert found.summary()["allowed rise over its rise"] == "unknown" and found.current[2] > 0
    assert [(key, np.isnan(margin), words) for key, margin, words in wiring.margins(bare, CASE)] == [
        (rule.key, True, wiring.NO_WIRING) for rule in wiring.RULES
    ]
    half = replace(
        examples.build(),
        {f"wiring.{name}": None for name in ("fuse_rating", "fuse_voltage", "fuse_breaking_current", "fuse_melting", "fuse_let_through")}
        | {f"wiring.precharge_{name}": None for name in ("resistance", "time", "energy")}
        | {"wiring.connector_current": None},
    )
    found = wiring.study(half, CASE)
    assert (found.fuse, found.precharge, found.plug) == (wiring.NO_FUSE, wiring.NO_PRECHARGE, "connector_current not stated")
    unknown = replace(examples.build(), {"controller.bus_capacitance": None})
    assert wiring.study(unknown, CASE).precharge == wiring.NO_CAPACITOR
    assert "bears the surge" not in [check.name for check in wiring.study(unknown, CASE).fuse_checks]
    with pytest.raises(ValueError, match="has no motor: the wiring study needs one"):
        wiring.study(examples.build("harbour_ungeared"), CASE)
    assert wiring.margins(examples.build("harbour_ungeared"), CASE) == []


def test_an_undescribed_wiring_changes_nothing_else():
    bare = replace(examples.build(), {"wiring": None})
    gear = bare.gears.named("long")
    assert motor_study.point(bare, CASE, gear) == motor_study.point(examples.build(), CASE, gear)


def test_the_smallest_conductors():
    found = wiring.choose(examples.build(), CASE)
    laid = [{"conductors": n, "air_layer": 1e-3} for n in (2, 2, 3)]
    assert found.needed == pytest.approx([15.0, 45.0, 62 / np.sqrt(2)])
    assert list(found.needed_by) == ["the fuse of 15 A", "3 times the fuse of 15 A", "the controller's phase current"]
    for gauge, need, how in zip(found.gauge, found.needed, laid, strict=True):
        bears = [wires.ampacity(wires.awg_area(n), 363.15, CASE.air_temperature, **how) for n in (gauge, gauge + 1)]
        assert bears[0] >= need > bears[1]
    for section, need, how in zip(found.section, found.needed, laid, strict=True):
        series = list(wires.CLASS_5)
        place = series.index(pytest.approx(1e6 * section))
        real = [wire_resistance(1.0, 1.0) / wires.class_5_resistance(1e-6 * one) for one in series[place - 1 : place + 1]]
        assert (
            wires.ampacity(real[1], 363.15, CASE.air_temperature, **how)
            >= need
            > wires.ampacity(real[0], 363.15, CASE.air_temperature, **how)
        )
    assert found.fuse.startswith("from 8.0 A (the controller's battery current) to 11.5 A (the main lead")


def test_let_through_of_all_fuses_together_in_the_main_lead():
    """Three fuses let the same current through at the same time: nine times the let-through of one, by the constant of the sections."""
    square = 226**2 * np.log1p(70 / (234.5 + 90))
    check = next(one for one in wiring.study(fitting(fuse_let_through="9000 A^2*s"), CASE).fuse_checks if "lets through" in one.name)
    assert check.margin == pytest.approx(square * 3.31**2 / (9 * 9000)) and check.name.endswith("main lead bears")
    calm, rough = (wiring.choose(fitting(fuse_let_through=f"{heat} A^2*s"), CASE) for heat in (520, 30000))
    for lead, together in ((0, 1), (1, 9)):
        bears = [square * (1e6 * wires.awg_area(n)) ** 2 for n in (rough.gauge[lead], rough.gauge[lead] + 1)]
        assert bears[0] >= together * 30000 > bears[1] and rough.gauge[lead] < calm.gauge[lead]
        assert rough.section[lead] > calm.section[lead]


def test_no_fuse_fits_and_the_two_that_contradict_are_named():
    build = replace(examples.build(), {"wiring.main_area": "0.75 mm^2"})
    found = wiring.choose(build, CASE)
    assert found.fuse.startswith("none fits: the ride asks for at least 8.0 A (the controller's battery current), the main lead")
    bare = wiring.choose(replace(examples.build(), {"wiring": None}), CASE)
    assert bare.fuse == f"from 8.0 A; how far up is not known: {wiring.NO_WIRING}"
    assert bare.assumed.startswith("insulation for 90 °C, leads together in a sleeve, insulation 0.8 mm thick")
    assert list(bare.needed_by[:2]) == ["the smallest fuse", "3 times the smallest fuse"]
