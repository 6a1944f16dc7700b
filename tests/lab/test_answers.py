"""The exercises of the lessons: their own answers pass, others do not, and each hint is given for its slip."""

import importlib
import math
import pkgutil
import re
import subprocess
import sys

import numpy as np
import pytest
from scipy.integrate import trapezoid

from unikit import units
from unikit.formulas import balance
from unikit.formulas.carriage import battery_class
from unikit.formulas.delay import is_stable
from unikit.inputs import replace
from unikit.lab import answers
from unikit.lab.answers import build, case
from unikit.lab.exercises import EXERCISES, Exercise
from unikit.studies import capture as capture_study
from unikit.studies import cells, loads, loop
from unikit.studies import cut_out as cut_out_study
from unikit.studies import datasheet as datasheet_study
from unikit.studies import gearing as gearing_study
from unikit.studies import heat as heat_study
from unikit.studies import hold as hold_study
from unikit.studies import machine as machine_study
from unikit.studies import motor as motor_study
from unikit.studies import pack as pack_study
from unikit.studies import review as review_study
from unikit.studies import ride as ride_study
from unikit.studies import sensing as sensing_study
from unikit.studies import stopping as stopping_study
from unikit.studies import winding as winding_study
from unikit.studies.findings import FINDINGS
from unikit.studies.rewind import with_length
from unikit.studies.verdicts import SHORT

TOPICS = sorted(module.name for module in pkgutil.iter_modules(answers.__path__))
MODULES = {topic: importlib.import_module(f"{answers.__name__}.{topic}") for topic in TOPICS}
ALL = {key: exercise for key, exercise in EXERCISES.items() if key.partition(".")[0] in TOPICS}
NUMBERS = [key for key, exercise in ALL.items() if exercise.kind != "word"]
HINTS = [(key, number) for key in NUMBERS for number in range(len(ALL[key].slips))]


def expected(exercise: Exercise):
    return exercise.expected() if callable(exercise.expected) else exercise.expected


def written(exercise: Exercise, value: float, digits: int, unit: str | None = None) -> str:
    kind = units.KINDS[exercise.kind]
    unit = kind.base if unit is None else unit
    return f"{float(units.convert(value, exercise.kind, kind.base, unit)):.{digits}g} {unit}".strip()


@pytest.mark.parametrize("topic", TOPICS)
def test_a_topic_has_three_to_six_exercises_numbered_from_one(topic):
    keys = [key for key in ALL if key.startswith(f"{topic}.")]
    assert keys == [f"{topic}.{number}" for number in range(1, len(keys) + 1)]
    assert 3 <= len(keys) <= 6


@pytest.mark.parametrize("key", NUMBERS)
def test_its_own_answer_is_right_in_every_unit(key):
    exercise = ALL[key]
    for unit in units.KINDS[exercise.kind].allowed:
        answer = written(exercise, expected(exercise), 4, unit)
        assert exercise.verdict(answer) == f"right: {answer}"


@pytest.mark.parametrize("key", NUMBERS)
def test_a_fifth_more_or_less_is_not_right_and_the_answer_is_not_given_away(key):
    exercise = ALL[key]
    for factor in (1.2, 0.8):
        said = exercise.verdict(written(exercise, factor * expected(exercise), 4))
        assert said.startswith("not yet: ")
        assert written(exercise, expected(exercise), 4) not in said


@pytest.mark.parametrize(("key", "number"), HINTS)
def test_each_slip_gets_its_hint(key, number):
    exercise = ALL[key]
    slip = exercise.slips[number]
    assert exercise.verdict(written(exercise, slip.factor * expected(exercise), 12)) == f"not yet: {slip.sentence}"


@pytest.mark.parametrize("key", sorted(set(ALL) - set(NUMBERS)))
def test_a_word_is_right_or_not(key):
    exercise = ALL[key]
    assert exercise.verdict(expected(exercise)) == f"right: {expected(exercise)}"
    assert exercise.verdict("something") == "not yet: 'something' is not the word"


def test_check_finds_the_exercises_of_a_lesson_by_itself():
    program = "from unikit.lab.exercises import check; check('gearing.1', '0 rpm'); check('nothing.1', '0 rpm')"
    said = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout.splitlines()
    assert said[0] == "not yet: 0 rpm is too small"
    assert re.fullmatch(r"there is no exercise 'nothing.1'; known: gearing.1(, gearing\.\d)+", said[1])


# -- the answers against the studies, by another way than they were found ------------


def test_the_gain_of_the_first_lesson_brings_the_wanted_share_back():
    start = MODULES["start"]
    changed = replace(build(), {"assist.driving_gain.long": start.gain()})
    pushes = machine_study.study(changed, case("harbour_hill"))
    assert pushes.push_assisted / pushes.push_ungeared == pytest.approx(start.WANTED_SHARE, rel=1e-12)


def test_the_roll_out_makes_the_wanted_speed_comfortable():
    cruise = case("flat_cruise")
    larger = replace(build(), {"wheel.rolling_circumference": MODULES["gearing"].roll_out()})
    result = gearing_study.study(larger, cruise)
    assert result.comfortable_by == "cadence"
    assert result.comfortable_speed == pytest.approx(cruise.wanted_speed, rel=1e-12)


def test_the_longer_cranks_of_the_gearing_lesson_are_ended_by_pedal_speed():
    longer = replace(build(), {"cranks.length": MODULES["gearing"].LONGER})
    assert gearing_study.study(longer, case("flat_cruise")).greatest_by == "pedal speed"


def test_the_cranks_of_the_leverage_lesson_are_just_long_enough():
    review = MODULES["review"]
    length, holds = MODULES["leverage"].crank(), FINDINGS["cut-out step"].holds
    for longer, enough in ((-0.0005, False), (0.0005, True)):
        margin = review.margin(replace(build(), {"cranks.length": length + longer}), "harbour_hill", "cut-out step")
        assert (margin >= holds) is enough


def test_the_degree_of_lean_of_the_leverage_lesson_by_statics():
    lesson, whole, hill = MODULES["leverage"], build(), case("harbour_hill")
    gear, cranks = whole.gears.named(), whole.cranks.length
    torque = math.radians(1.0) * balance.static_stiffness(**loop.body(whole), slope=hill.slope)
    alone = gear.efficiency / gear.ratio
    assert lesson.near_dead_centre() == pytest.approx(torque / alone / cranks / math.sin(math.radians(30.0)), rel=1e-9)
    assert lesson.equal_crank() * alone == pytest.approx(cranks * (alone + whole.assist.driving_gain[gear.name]), rel=1e-12)


def test_the_torque_and_the_share_of_the_going_lesson_by_statics():
    lesson, hill = MODULES["going"], case("harbour_hill")
    assert lesson.weight_torque() == pytest.approx(70 * 9.81 * 0.15 * 0.96 / 1.5, rel=1e-12)
    assert lesson.constant() == pytest.approx(5.0 * 5.0 / 1.2 - 0.5 * 1.2 * (5.0 / 1.2) ** 2, rel=1e-12)
    longer = replace(build(), {"cranks.length": lesson.LONGER})
    gear, at_rest = longer.gears.named(), loads.loads(longer, hill, speed=0.0).wheel_torque
    sine = (at_rest + longer.motor.hysteresis_torque) * gear.ratio / gear.efficiency / (longer.rider.mass * 9.81 * 0.15)
    assert lesson.share() == pytest.approx(1 - 2 / math.pi * math.asin(sine), abs=0.01)


def test_the_lean_of_the_going_lesson_stops_in_the_wanted_distance_and_full_packs_do_not():
    lesson, descent = MODULES["going"], case("long_descent")
    for more, enough in ((-0.01, False), (0.01, True)):
        found = stopping_study.study(build(), descent, bounds=stopping_study.Bounds(lean=lesson.lean() * (1 + more)))
        assert found.brake_by == "lean back" and (found.brake_distance <= lesson.WANTED) is enough
    none = replace(build(), {"controller.charge_current_limit": 0.0})
    assert lesson.full() == pytest.approx(stopping_study.study(none, descent).motor_distance, rel=0.03)


def test_the_speed_and_the_gain_of_the_review_lesson_just_hold():
    review = MODULES["review"]
    slower = review_study.review(build(), [replace(case("head_wind"), {"speed": review.lasting_speed()})], [build().gears.named()])
    assert next(f.margin for f in slower.findings if f.key == "endurance") == pytest.approx(review.HOLDS, rel=1e-6)
    assert review.margin(review.with_gain(review.gain()), "head_wind", "endurance") == pytest.approx(review.HOLDS, rel=1e-6)


def test_the_gain_of_the_review_lesson_makes_nothing_else_short():
    review = MODULES["review"]
    cases = [case(name) for name in ("flat_cruise", "harbour_hill", "head_wind", "long_descent")]

    def short(whole):
        return {(f.key, f.case, f.gear) for f in review_study.review(whole, cases).findings if f.verdict == SHORT}

    before, after = short(build()), short(review.with_gain(review.gain() + 0.001))
    assert ("endurance", "Head wind", "long") in before - after
    assert after < before


def test_the_bump_of_the_capture_lesson_is_just_covered_at_its_speed():
    for speed, covered in ((-0.05, True), (0.05, False)):
        there = replace(case("flat_cruise"), {"speed": MODULES["capture"].fastest() + speed})
        assert (capture_study.study(build(), there).bump >= 1.5 * MODULES["capture"].BUMP) is covered


def test_the_gain_and_the_cranks_of_the_capture_lesson_are_just_enough():
    capture = MODULES["capture"]
    hill = replace(case("harbour_hill"), {"slope": capture.SLOPE, "speed": capture.SPEED, "trim": "none"})
    for factor, caught in ((0.99, True), (1.01, False)):
        changed = replace(build(), {"assist.driving_gain.long": factor * capture.largest_gain()})
        assert (cut_out_study.cut_out_margin(changed, hill)[0] >= 1) is caught
    assert capture.ramped_margin(capture.crank() - 0.001) < 1 < capture.ramped_margin(capture.crank() + 0.001)


def test_the_current_of_the_motor_lesson_covers_the_gust_just_enough():
    limit = MODULES["motor"].smallest_current()
    for more, holds in ((-0.01, False), (0.01, True)):
        limited = replace(build(), {"controller.phase_current_limit": limit + more, "assist.torque_cap": "60 N*m"})
        result = motor_study.study(limited, case("head_wind"))
        assert result.available_by == "phase current"
        assert (result.reserve / result.gust_torque >= FINDINGS["gust"].holds) is holds


def test_the_turns_of_the_datasheet_lesson_cover_the_gust_just_enough():
    lesson = MODULES["datasheet"]
    small = replace(build(), {"controller.phase_current_limit": lesson.LIMIT})
    for factor, holds in ((0.995, False), (1.005, True)):
        found = winding_study.study(small, case("head_wind"), turns=factor * lesson.fewest_turns())
        assert found.reserve_by == "phase current"
        assert (found.reserve / found.gust_torque >= FINDINGS["gust"].holds) is holds


def test_the_convention_of_the_datasheet_lesson_is_the_one_that_the_study_names():
    lesson = MODULES["datasheet"]
    (pair,) = datasheet_study.study(lesson.PAGE).contradictions
    conventions = [sentence for sentence in pair.explained_by if "convention" in sentence]
    assert repr(lesson.convention()) in conventions[0]
    assert lesson.drag() == pytest.approx((48 * 0.6 - 2 * 0.09 * 0.6**2) / (400 * math.pi / 30), rel=1e-9)


def test_the_lightest_motor_of_the_heat_lesson_is_derated_just_at_the_end():
    heat, climb = MODULES["heat"], MODULES["heat"].climb()
    length = heat.lightest() / build().motor.mass
    assert heat_study.study(with_length(heat.motor(), 1.01 * length), climb).derating_after > climb.duration
    assert heat_study.study(with_length(heat.motor(), 0.99 * length), climb).derating_after < climb.duration


def test_the_axle_of_the_heat_lesson_carries_by_its_two_ends():
    heat, climb = MODULES["heat"], MODULES["heat"].climb()
    light = heat.motor(heat.LIGHT, described=True)
    course = heat_study.study(light, climb)
    across = light.motor.stator_to_axle * trapezoid(course.stator - course.air, x=course.time) / climb.duration
    assert heat.carried() == pytest.approx(across, rel=1e-3)


def test_the_cap_of_the_climbs_lesson_is_the_last_with_which_no_slope_is_too_much():
    lesson = MODULES["climbs"]
    for factor, held in ((0.999, True), (1.001, False)):
        one = replace(lesson.motor(), {"assist.torque_cap": factor * lesson.cap()})
        times = hold_study.hold(one, lesson.climb(), slope=np.array([0.3, 0.4, 0.5])).time
        assert np.isinf(times).all() == held
    assert lesson.cap() > lesson.ever()


def test_the_warm_start_and_the_second_climb_of_the_climbs_lesson_by_the_heat_study():
    lesson, light = MODULES["climbs"], MODULES["climbs"].motor()
    steep = lesson.climb(slope=lesson.STEEP, winding_start=lesson.WARM)
    at_the_end = replace(steep, {"duration": lesson.time()})  # the heat study takes the magnets as they are at the end
    assert heat_study.study(light, at_the_end).derating_after == pytest.approx(lesson.time(), rel=1e-3)
    assert 2 * lesson.climb().duration < lesson.moment() < 3 * lesson.climb().duration  # during the second climb


def test_the_largest_cell_of_the_range_lesson_is_the_last_without_approval():
    capacity = MODULES["range"].largest_cell()
    for factor, named in ((1.0, "no approval"), (1.001, "operator approval")):
        changed = replace(build(), {"packs.pack.rear.cell_capacity": factor * capacity})
        assert battery_class(changed.packs.pack[2].energy / 3600) == named


def test_the_gain_of_the_range_lesson_reaches_there_and_back_in_nine_of_ten_draws():
    gain, wanted = MODULES["range"].gain_for(), 2 * case("head_wind").distance
    for factor, reached in ((0.99, True), (1.01, False)):
        changed = replace(build(), {"assist.driving_gain.long": factor * gain})
        assert (ride_study.reach(changed, case("head_wind")).likely >= wanted) is reached


def test_the_gain_of_the_stability_lesson_leaves_more_time_than_its_neighbours_and_the_gains_as_set():
    lesson = MODULES["stability"]
    best = lesson.latest_gain()
    assert 0.3 < best < 0.8
    assert all(lesson.budget_with(best) >= lesson.budget_with(best + step) for step in (-0.05, -0.01, 0.01, 0.05))
    assert lesson.budget_with(best) > lesson.budget_with(build().assist.resisting_gain["long"])


def test_the_greatest_gain_of_the_stability_lesson_is_the_last_that_the_roots_allow():
    lesson = MODULES["stability"]
    for share, stable in ((0.995, True), (1.005, False)):
        answer = [[0, 0], [-share * lesson.greatest_gain() * lesson.RATE**2, -lesson.ON_RATE * lesson.RATE]]
        assert is_stable([[0, 1], [lesson.RATE**2, 0]], [(answer, lesson.LATE)]) is stable


def test_the_answers_on_carriage_hold_another_way():
    answers = MODULES["carriage"]
    wheel, far = answers.wheel(), answers.wind(distance=answers.FAR)
    held = replace(wheel, {"packs.held_back": answers.HELD_BACK})
    grown = replace(
        held,
        {f"packs.pack.{one.name}.cell_capacity": one.cell_capacity * answers.wanted() / wheel.packs.energy for one in wheel.packs.pack},
    )
    assert ride_study.study(grown, far).range == pytest.approx(far.distance, rel=0.01)  # other cells, the same resistance
    size = 14 * wheel.packs.pack[0].cell_nominal_voltage * answers.largest_cell() / 3600
    assert (battery_class(size), battery_class(1.0001 * size)) == ("operator approval", "not as baggage")
    slow = answers.wind(distance=answers.FAR, speed=answers.slow_enough())
    assert ride_study.study(wheel, slow).range == pytest.approx(slow.distance, rel=1e-6)
    assert answers.lightest() == pytest.approx(4 * 11 * 2.5 / 2.05 * wheel.packs.mass / 39)


def test_the_charge_of_the_pack_lesson_is_the_last_that_gives_the_peak():
    lesson, cold = MODULES["pack"], MODULES["pack"].cold()
    peak = pack_study.study(build(), cold).peak_power
    for share, enough in ((lesson.cut_off() - 0.01, False), (lesson.cut_off() + 0.01, True)):
        stack = cells.Stack(build().packs, lesson.COLDER)
        most = cells.joined(stack, share, pack_study.PEAK, pack_study.study(build(), cold).cruise_power).greatest_power
        assert bool(most > peak) is enough


def test_the_charge_held_back_of_the_pack_lesson_makes_sag_hold_just_so():
    lesson = MODULES["pack"]
    for more, verdict in ((0.01, "holds"), (-0.01, "tight")):
        assert lesson.SAG.verdict(lesson.sag_margin(lesson.to_hold_back() + more)) == verdict


def test_the_resistance_and_the_rest_of_the_pack_lesson_by_hand():
    lesson = MODULES["pack"]
    slow, fast = 1 - math.exp(-60 / 240), 1 - math.exp(-60 / 6)
    assert lesson.resistance() == pytest.approx(13 * (0.028 + 0.009 * fast + 0.012 * slow) + 0.025, rel=1e-12)
    assert lesson.still_missing() == pytest.approx(13 * 5 * 0.012 * (1 - math.exp(-300 / 240)) * math.exp(-60 / 240), rel=1e-3)


def test_the_answers_on_the_sensing_chain_by_the_chains_own_study():
    lesson, hill = MODULES["sensing"], case("harbour_hill")
    more = replace(build(), {"assist.driving_gain.long": lesson.GAIN, "sensor.chain.input_scale": lesson.scale()})
    assert sensing_study.study(more, hill).agreement == "agree"
    strong = lesson.signal(lesson.chain(amplifier_gain=lesson.STRONGER))
    assert strong.command(-lesson.followed()) == pytest.approx(strong.command(-2 * lesson.followed()), abs=0.03)
    assert strong.command(-0.9 * lesson.followed()) > strong.command(-lesson.followed())
    soft = sensing_study.study(lesson.chain(amplifier_gain=lesson.WEAKER, shaft_bore=lesson.bore()), hill)
    assert min(soft.range / soft.peak, soft.range_back / soft.peak_back) == pytest.approx(sensing_study.RESERVE)
    assert sensing_study.study(lesson.chain(zero_drift=lesson.DRIFT, warming=lesson.warming()), hill).phantom_steps == pytest.approx(1)
    late = lesson.chain(averaged_samples=lesson.SAMPLES, sampling_frequency=lesson.rate())
    assert sensing_study.study(late, hill).dead_time == pytest.approx(build().sensor.dead_time)
    for count, enough in ((lesson.bits(), True), (lesson.bits() - 1, False)):
        step = lesson.signal(lesson.chain(converter_bits=count)).step * 0.34
        assert (step <= lesson.FINE * build().assist.trim_step) is enough
