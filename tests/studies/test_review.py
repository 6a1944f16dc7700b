"""The review: every finding in its table, every gear in every case, plain words and no more than they say."""

import re

import numpy as np
import pytest

from unikit.inputs import InputError, replace
from unikit.inputs.paths import leaves
from unikit.studies import findings, gearing, heat, hold, legs_alone, leverage, motor, ride
from unikit.studies.drive import drive
from unikit.studies.findings import FINDINGS
from unikit.studies.review import CAUTIONS, Review, review
from unikit.studies.rules import local_rules
from unikit.studies.verdicts import HOLDS, SHORT, TIGHT, UNKNOWN

from . import examples

OF_THE_CASE = ("pace", "top speed", "leverage", "push", "endurance", "gain window", "balance margin", "balance speed")
OVER_RIDERS = ("gain window", "balance margin", "balance speed", "dead time", "cut-out catch", "trim loss")
OF_THE_MOTOR = (
    "dead time",
    "cut-out catch",
    "trim loss",
    "motor torque",
    "gust",
    "back-EMF",
    "trip voltage",
    "braking reserve",
    "magnet current",
    "winding heat",
    "magnet heat",
    "repeated climbs",
    "controller heat",
    "energy",
    "getting home",
    "climb",
    "legs alone",
    "cut-out step",
    "trim",
)
OF_THE_HUB = ("train geometry", "teeth", "axle and seat", "bearings")
OF_THE_SENSOR = ("sensor range", "torque resolution", "phantom torque", "sensor element", "sensor timing")
OF_THE_SUPPLY = ("sag", "cell current", "wire", "fuse", "precharge")
OF_THE_BUILD = ("joint limit", "joining", "carriage", "carriage count")
OF_THE_PARTS = (*OF_THE_HUB, *OF_THE_SENSOR, "sensor scale", *OF_THE_SUPPLY, "joining", "carriage", "carriage count")


def margin(build, case, key, gear="long"):
    """One finding of a review."""
    (found,) = (f for f in review(build, [case]).findings if f.key == key and f.gear in (gear, "-"))
    return found


@pytest.mark.parametrize("name", examples.NAMES)
def test_every_gear_in_every_case(name):
    build = examples.build(name)
    found = review(build, examples.cases()).findings
    expected = OF_THE_CASE + (OF_THE_MOTOR if build.motor else ())
    rows = [(key, case.name, gear) for case in examples.cases() for gear in build.gears.names for key in expected]
    of_gear = OF_THE_HUB + (OF_THE_SENSOR if build.motor else ()) + (OF_THE_SUPPLY if build.packs else ())
    rows += [(key, "any", gear) for gear in build.gears.names for key in of_gear]
    rows += [(key, "any", "-") for key in (OF_THE_BUILD if build.packs else ())] + [("local rules", "any", "-")]
    rows += [("sensor scale", "any", "-")] if build.motor else []
    assert sorted((f.key, f.case, f.gear) for f in found) == sorted(rows)
    for f in found:
        assert f.verdict == FINDINGS[f.key].verdict(f.margin) or f.key in OVER_RIDERS
        assert f.limited_by and f.moved_by == FINDINGS[f.key].moved_by


def test_every_finding_has_its_row_and_every_row_its_finding(root):
    assert set(FINDINGS) == {*OF_THE_CASE, *OF_THE_MOTOR, *OF_THE_PARTS, "joint limit", "local rules"}
    page = (root / "docs" / "findings.md").read_text(encoding="utf-8")
    assert page == findings.page()
    for key, rule in FINDINGS.items():
        assert f"| {key} | {rule.question} |" in page
        assert 0 < rule.tight <= rule.holds
        assert len({page.count(text) > 0 for text in (rule.available, rule.required, rule.moved_by)}) == 1


@pytest.mark.parametrize("rule", FINDINGS.values(), ids=lambda rule: rule.key)
def test_verdicts_turn_at_their_limits(rule):
    assert rule.verdict(rule.holds) == rule.verdict(np.inf) == HOLDS
    assert rule.verdict(np.nextafter(rule.holds, 0)) == (TIGHT if rule.tight < rule.holds else SHORT)
    assert rule.verdict(np.nextafter(rule.tight, 0)) == rule.verdict(0.0) == rule.verdict(-np.inf) == SHORT
    assert rule.verdict(np.nan) == UNKNOWN
    if rule.tight < rule.holds:
        assert rule.verdict(rule.tight) == TIGHT


def test_margins_by_hand():
    build, case = examples.build(), examples.case(slope=0.06, speed=3.2, trim="steps", wanted_speed=4.0, gust=9.0)
    slope = build.wheel.radius * 93.61 * 9.81 * 0.06 / np.sqrt(1 + 0.06**2)
    assert margin(build, case, "trim").margin == pytest.approx(9.0 / slope, rel=1e-9)
    assert margin(build, case, "carriage").margin == pytest.approx(100 / (13 * 2.05 * 3.6))
    assert margin(build, case, "joint limit").margin == pytest.approx(63 / (13 * 4.18))
    driving, resisting = 0.965 / 1.6338 + 0.34, 1 / (0.965 * 1.6338) + 0.22
    assert margin(build, case, "leverage").margin == pytest.approx(min(driving, resisting) * 131 / 143, rel=1e-9)
    assert margin(build, case, "pace").margin == pytest.approx(min(88 * np.pi / 30 * 1.6338 * build.wheel.radius / 4.0, 9), rel=1e-9)
    density = case.air_density
    gust = 0.5 * density * 0.55 * (12.2**2 - 3.2**2) * build.wheel.radius
    found = margin(build, case, "gust")
    assert found.limited_by.endswith(f"{gust:.0f} N·m asked") and 0.3 < found.margin < 3


def test_every_margin_is_available_over_required():
    """Each from the numbers of the study it names, in a climb where all of them are finite."""
    build = replace(examples.build(), {"motor.torque_constant_peak": 1.2})
    case = examples.case(slope=0.07, speed=3.9, trim="steps", gust=7.0, duration=1500.0, distance=6000.0, wanted_speed=5.0)
    speeds, felt, steady = gearing.study(build, case), leverage.study(build, case), ride.study(build, case)
    warm, cold = heat.study(build, case), motor.study(build, case)
    drives = motor.study(build, case, winding_temperature=warm.winding_end, magnet_temperature=warm.magnet_end)
    pedal, air = felt.foot_force * 0.131, case.air_temperature
    expected = {
        "pace": speeds.comfortable_speed / 5.0,
        "top speed": speeds.greatest_speed / 3.9,
        "push": (felt.leg_torque_left + pedal) / pedal,
        "endurance": 14.2e3 / (steady.leg_power - 170.0) / 1500.0 if steady.leg_power > 170.0 else np.inf,
        "motor torque": drives.highest[np.searchsorted(drives.speed, 3.9)] / drives.motor_peak,
        "gust": (drives.available - drives.motor_peak) / drives.gust_torque,
        "back-EMF": cold.no_load_speed / speeds.greatest_speed,
        "winding heat": (145 + 273.15 - air) / (warm.winding[-1] - air),
        "magnet heat": (90 + 273.15 - air) / (warm.magnets[-1] - air),
        "repeated climbs": (115 + 273.15 - air) / (warm.winding_repeated - air),
        "energy": steady.energy / steady.consumption / 6000.0,
        "cut-out step": felt.leg_torque_left / (felt.foot_force_alone * 0.131 - pedal),
    }
    assert steady.leg_power > 100
    for key, value in expected.items():
        assert margin(build, case, key).margin == pytest.approx(value, rel=1e-9), key
        assert key == "endurance" or np.isfinite(value)
    tired = margin(build, examples.case(slope=0.12, speed=4.5), "endurance")
    power = ride.study(build, examples.case(slope=0.12, speed=4.5)).leg_power
    assert tired.margin == pytest.approx(14.2e3 / (power - 170.0) / 1800.0, rel=1e-9)


def test_packs_in_series_add_up_at_the_controller():
    build = replace(examples.build(), {"packs.joined": "series", "controller.voltage_rating": 150.0})
    assert margin(build, examples.case(), "joint limit").margin == pytest.approx(150 / (39 * 4.18))


def test_a_weak_motor_is_found_short():
    case = examples.case(slope=0.12, speed=3.0, trim="steps")
    assert margin(examples.strong(), case, "motor torque").verdict == HOLDS
    weak = margin(replace(examples.build(), {"assist.torque_cap": 12.0}), case, "motor torque")
    assert weak.verdict == SHORT and weak.limited_by.startswith("torque cap")
    full = examples.case(slope=-0.2, speed=6.0, state_of_charge=1.0)
    braking = margin(replace(examples.build(), {"assist.resisting_gain.long": 2.0}), full, "motor torque")
    assert braking.verdict == SHORT and braking.limited_by.startswith("full pack")


def test_heat_is_rise_over_allowed_rise():
    build, case = examples.build(), examples.case(slope=0.05, speed=2.5, trim="steps", air_temperature=300.0, duration=1500.0)
    found = margin(build, case, "winding heat")
    winding = float(re.search(r"winding at (\d+) °C", found.limited_by).group(1))
    assert found.margin == pytest.approx((145 + 273.15 - 300) / (winding + 273.15 - 300), rel=0.03)
    hot = margin(replace(build, {"motor.insulation_class": "A", "motor.winding_to_stator": 1.2}), case, "winding heat")
    assert hot.margin < 0.8 * found.margin


def test_the_controller_is_judged_only_when_its_heat_sink_is_described():
    case = examples.case(slope=0.09, speed=3.0, trim="steps")
    found = margin(examples.silent(), case, "controller heat")
    assert found.verdict == UNKNOWN and found.limited_by == "heat sink not described"
    build = examples.described()
    found, warm = margin(build, case, "controller heat"), heat.study(build, case)
    assert found.margin == pytest.approx((373.15 - 293.15) / (warm.bridge_hottest - 293.15), rel=1e-9)
    small = margin(replace(build, {"controller.sink_to_air": 0.05, "controller.bridge_resistance": 0.05}), case, "controller heat")
    assert small.margin < 0.5 * found.margin


def test_magnets_are_judged_by_their_own_body():
    build, case = examples.described(), examples.case(slope=0.09, speed=3.0, trim="steps", winding_start=330.0)
    found, warm = margin(build, case, "magnet heat"), heat.study(build, case)
    assert warm.magnet_end - warm.housing_end > 0.2
    assert found.margin == pytest.approx((90 + 273.15 - 293.15) / (warm.magnet_end - 293.15), rel=1e-9)


def test_what_a_trip_full_packs_and_joined_leads_do():
    build = replace(examples.build(), {"motor.demagnetising_current": 150.0, "assist.resisting_gain.long": 0.6})
    case = examples.case(slope=-0.1, speed=9.0)
    fastest = max(9.0, gearing.study(build, case).greatest_speed)
    line = np.sqrt(3) * 0.95 * (1 + 0.0012 * 25) / 1.5 * fastest / build.wheel.radius
    assert margin(build, case, "trip voltage").margin == pytest.approx(63.0 / line, rel=1e-9)
    warm = heat.study(build, case)
    asked = motor.study(build, case, winding_temperature=warm.winding_end, magnet_temperature=warm.magnet_end).asked_peak
    full = drive(build, 1.0, warm.winding_end, warm.magnet_end)
    held = margin(build, case, "braking reserve")
    assert asked < 0 and held.margin == pytest.approx(full.limits(9.0 / build.wheel.radius).lowest / asked, rel=1e-9)
    assert held.verdict == SHORT and held.limited_by.startswith("full pack")
    climb = margin(build, examples.case(slope=0.05), "braking reserve")
    assert climb.margin == np.inf and climb.limited_by == "nothing to hold back"
    rate, flux = 23 * fastest / build.wheel.radius, full.torque_constant_peak / (1.5 * 23)
    shorted = rate**2 * 0.00028 * flux / (full.phase_resistance**2 + (rate * 0.00028) ** 2)
    assert margin(build, case, "magnet current").margin == pytest.approx(150.0 / shorted, rel=1e-9)
    weak = replace(build, {"controller.weakening_current": 140.0})
    assert margin(weak, case, "magnet current").margin == pytest.approx(150.0 / 140.0)
    unsaid = margin(examples.silent(), case, "magnet current")
    assert unsaid.verdict == UNKNOWN and unsaid.limited_by == "what the magnets bear is not said"


def test_losing_the_motor_counts_in_both_directions():
    for slope in (0.1, -0.1):
        found = margin(examples.build(), examples.case(slope=slope, trim="level"), "cut-out step")
        assert np.isfinite(found.margin) and "to supply at once" in found.limited_by


def test_a_rider_who_cannot_push_is_short_not_broken():
    case, build = examples.case(slope=0.4, speed=6.0, trim="level", gust=20.0), examples.build("classroom_demonstrator")
    found = review(build, [case], gears=[build.gears.named("raised")])
    assert {f.verdict for f in found.findings if f.key in ("push", "endurance", "cut-out step")} == {SHORT}
    assert all(f.margin >= 0 or np.isnan(f.margin) for f in found.findings)


@pytest.mark.parametrize("name", examples.NAMES)
@pytest.mark.parametrize(
    "changes",
    [
        {"speed": 0.0, "wanted_speed": 0.0},
        {"speed": 0.0, "slope": 0.1, "trim": "level"},
        {"duration": 0.0, "distance": 0.0},
        {"distance": 0.0, "state_of_charge": 0.0},
        {"state_of_charge": 1.0, "slope": -0.5, "speed": 12.0},
        {"slope": 0.5, "speed": 25.0, "head_wind": 40.0, "gust": 40.0},
        {"head_wind": -40.0, "air_temperature": 223.15, "altitude": 6000.0},
        {"air_temperature": 333.15, "winding_start": 523.15, "duration": 1e6},
    ],
)
def test_the_ends_of_what_a_case_may_ask(name, changes):
    found = review(examples.build(name), [examples.case(**changes)])
    assert len(found.findings) > 5 and "nan" not in str(found) and "inf" not in str(found)
    assert found.table().shape == (len(found.findings), 8)


def extreme(rng, whole):
    """Some numbers of a build or a case at or near the ends of what a file may say; None where they contradict each other."""
    changes = {}
    usable = [(path, spec) for path, spec, value in leaves(whole) if spec.form == "number" and value is not None and "teeth" not in path]
    for place in rng.choice(len(usable), size=rng.integers(1, 8), replace=False):
        path, spec = usable[place]
        ends = [spec.low, spec.high, rng.uniform(spec.low, spec.high), spec.low + (spec.high - spec.low) * rng.uniform() ** 6]
        value = rng.choice(ends).item()
        changes[path] = round(value) if spec.whole else value
    try:
        return replace(whole, changes)
    except InputError:
        return None


@pytest.mark.parametrize("seed", range(12))
def test_whatever_a_file_may_say_ends_in_findings_or_one_sentence(seed):
    rng = np.random.default_rng(seed)
    for _ in range(5):
        build = extreme(rng, examples.build(rng.choice(examples.NAMES).item()))
        case = extreme(rng, examples.cases()[rng.integers(len(examples.cases()))])
        if build is None or case is None:
            continue
        try:
            found = review(build, [case])
        except ValueError as error:
            assert re.match(r"the packs of build '[^']+' lack", str(error)), error
        else:
            assert all(f.verdict in (HOLDS, TIGHT, SHORT, UNKNOWN) for f in found.findings)
            assert all(np.isfinite(f.margin) or f.margin == np.inf or f.verdict == UNKNOWN for f in found.findings)
            assert all(
                f.verdict != UNKNOWN or f.key in (*OVER_RIDERS, *OF_THE_PARTS, "local rules", "controller heat", "magnet current")
                for f in found.findings
            )
            assert "nan" not in str(found)


def test_the_words_are_plain_and_conclude_nothing():
    for name in examples.NAMES:
        for rules in (None, *local_rules()):
            cases = [replace(case, {"rules": rules}) if rules else case for case in examples.cases()[: 1 if rules else None]]
            found = review(examples.build(name), cases)
            text = str(found) + found.table().to_csv() + str(found.summary())
            assert re.search(r"\b(un)?safe(ly)?\b|\b(il)?legal(ly)?\b|\blawful", text, re.IGNORECASE) is None
            assert all(caution in str(found) for caution in CAUTIONS)
            (rule,) = (f for f in found.findings if f.key == "local rules")
            assert rule.verdict == UNKNOWN
            if rules:
                assert "Local law prevails" in str(found)
    assert re.search(r"\bsafe|\blegal", findings.page(), re.IGNORECASE) is None


def test_the_text_carries_every_finding_with_its_verdict():
    build, cases = examples.build(), examples.cases()
    found = review(build, cases)
    text = str(found)
    for case in cases:
        assert f"\n{case.name}, gear direct\n" in text and f"\n{case.name}, gear long\n" in text
    lines = re.findall(r"^  (holds|tight|short|unknown) +([\d.]+|> 99|-)  ", text, re.MULTILINE)
    assert len(lines) == len(found.findings)
    for f, (verdict, number) in zip(found.findings, lines, strict=True):
        assert verdict == f.verdict
        assert number == ("-" if np.isnan(f.margin) else "> 99" if f.margin >= 100 else f"{f.margin:.2f}")
    short = {f.key for f in found.findings if f.verdict in (SHORT, TIGHT)}
    for key in short:
        assert re.search(rf"^  {key} +{re.escape(FINDINGS[key].moved_by)}$", text, re.MULTILINE)


def test_the_summary_counts_and_names_the_narrowest():
    found = review(examples.build(), examples.cases())
    lines = found.summary()
    assert sum(int(lines[word]) for word in (HOLDS, TIGHT, SHORT, UNKNOWN)) == len(found.findings)
    worst = min((f for f in found.findings if f.verdict != UNKNOWN), key=lambda f: f.margin / FINDINGS[f.key].holds)
    assert lines["narrowest"].startswith(f"{worst.key}, {worst.case}, gear {worst.gear}: ")
    loose = Review("packs", tuple(f for f in found.findings if f.key == "joining"), ())
    assert loose.summary()["narrowest"].startswith("joining, All cases: 0.21, ")
    assert "narrowest" not in Review("empty", (), ()).summary()


def test_what_is_missing_and_what_is_uncertain_is_said():
    alone = review(examples.build("harbour_ungeared"), examples.cases())
    assert any(note.startswith("No motor and no packs") for note in alone.notes)
    assert any("uncertainty" in note for note in review(examples.build(), examples.cases()).notes)


def test_one_gear_can_be_reviewed_alone():
    build = examples.build()
    found = review(build, examples.cases(), gears=[build.gears.named("long")])
    assert {f.gear for f in found.findings} == {"long", "-"}


def test_an_area_that_is_not_in_the_table_is_named():
    with pytest.raises(ValueError, match="no local rule 'atlantis'; the table has: great-britain"):
        review(examples.build(), [examples.case(rules="atlantis")])


def test_a_ride_that_no_lean_balances_is_unknown_and_not_an_error():
    low = replace(examples.build(), {"rider.centre_of_mass_height": 0.11, "frame.centre_of_mass_height": -0.1})
    found = review(low, [examples.case(slope=0.5)]).findings
    balance = [f for f in found if f.key in OVER_RIDERS]
    assert len(balance) == 2 * len(OVER_RIDERS)
    assert {(f.verdict, f.limited_by) for f in balance} == {(UNKNOWN, "no lean of the body balances this ride")}
    (level,) = (f for f in found if f.key == "torque resolution" and f.gear == "long")
    assert (level.verdict, level.limited_by) == (UNKNOWN, "no lean of the body balances this ride")


def test_nothing_is_caught_by_a_rider_who_does_not_balance_the_gear_alone():
    build, case = examples.build(), examples.case(slope=0.02, trim="steps")
    found = {f.gear: f for f in review(build, [case]).findings if f.key == "cut-out catch"}
    assert found["long"].margin == 0 and found["long"].verdict == SHORT and "0 of 100 balance the gear alone" in found["long"].limited_by
    assert found["direct"].margin > 0 and "caught" in found["direct"].limited_by


def test_parts_are_judged_once_for_the_worst_of_the_cases():
    build, cases = examples.build(), examples.cases()
    alone = {case.name: {f.key: f for f in review(build, [case]).findings if f.gear == "long"} for case in cases}
    found = {f.key: f for f in review(build, cases).findings if (f.case, f.gear) == ("any", "long")}
    assert set(found) == {*OF_THE_HUB, *OF_THE_SENSOR, *OF_THE_SUPPLY}
    for key, one in found.items():
        margins = {name: of_case[key].margin for name, of_case in alone.items()}
        assert one.margin == min(margins.values())
        if len(set(margins.values())) > 1:
            assert one.limited_by.endswith(f"({min(margins, key=margins.get)})")
    assert found["sag"].limited_by.endswith("(Head wind)") and found["sensor range"].limited_by.count("(") == 0


def test_a_review_of_the_ride_alone_leaves_the_parts_out():
    build = examples.build()
    found = review(build, [examples.case()], of_parts=False).findings
    assert {f.key for f in found} == {*OF_THE_CASE, *OF_THE_MOTOR, "joint limit", "local rules"}


def test_findings_on_the_whole_way_are_those_of_their_studies():
    build = examples.build("classroom_demonstrator")
    case, gear = examples.cases()[2], build.gears.named("raised")
    assert case.name == "Head wind"
    found = {f.key: f for f in review(build, [case], [gear]).findings}
    far = ride.reach(build, case, gear, 256)
    assert found["getting home"].margin == pytest.approx(far.likely / case.distance)
    assert found["getting home"].limited_by == f"{100 * far.chance:.0f} ± {100 * far.chance_error:.0f} of 100 draws last 5.5 km"
    certain = {f.key: f for f in review(build, [replace(case, {"distance": 100.0})], [gear]).findings}
    assert certain["getting home"].limited_by == "all 256 draws last 0.1 km"
    alone = legs_alone.study(build, case, gear)
    assert found["legs alone"].margin == alone.margin and f"{alone.leg_power:.0f} W" in found["legs alone"].limited_by
    hill = next(case for case in examples.cases() if case.name == "Harbour hill")
    climb = {f.key: f for f in review(build, [hill], [gear]).findings}["climb"]
    held = hold.hold(build, hill, gear=gear)
    assert climb.margin == pytest.approx(float(held.time) / hill.duration) and climb.verdict == SHORT and "derating" in climb.limited_by
