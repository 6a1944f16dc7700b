"""The train of a build: against sheets of numbers worked by hand, its finding, and the search in a hub's size."""

import dataclasses
import math
import time

import numpy as np
import pytest
from matplotlib.path import Path

from unikit.formulas import gearing
from unikit.inputs import load_build, load_case, replace
from unikit.studies import train

LONG = "gears.gear.long."


@pytest.fixture(scope="module")
def build(root):
    return load_build(root / "data/builds/harbour_commuter.toml")


@pytest.fixture(scope="module")
def case(root):
    return load_case(root / "data/cases/harbour_hill.toml")


def test_sizes_of_the_example_by_hand(build, case):
    found = train.study(build, case)
    assert found.ring_pitch == pytest.approx(0.08875) and found.centre_distance == pytest.approx(0.03625)
    assert (found.planet_tip, found.planet_root) == pytest.approx((0.00125 * 15.6, 0.00125 * 11.1))
    assert (found.sun_tip, found.sun_root) == pytest.approx((0.00125 * 46.4, 0.00125 * 41.9))
    assert found.ring_root == pytest.approx(0.00125 * 74.1) and found.ring_tip - 2 * found.shortened == pytest.approx(0.00125 * 69.6)
    assert found.neighbour_gap == pytest.approx(0.0725 * math.sin(math.pi / 4) - 0.0195)
    assert found.least_shift == pytest.approx(1 - 13 * math.sin(math.radians(20)) ** 2 / 2)
    assert found.ratio == pytest.approx(116 / 71) and found.counts == (45, 13, 71, 4)
    table = dict(zip(found.condition, found.margin, strict=True))
    assert table["room for the ring"] == pytest.approx(0.1 / found.ring_root)
    assert table["contact at the sun"] == pytest.approx(found.sun_contact / 1.2)
    assert table["undercut"] == pytest.approx(13 * math.sin(math.radians(20)) ** 2 / 2 / 0.7)
    assert found.smallest == min(found.margin) and found.limited_by == found.condition[np.argmin(found.margin)]


def test_speeds_roll_without_slip_and_flanks_slide_in_proportion_to_the_speed(build, case):
    found = train.study(build, case)
    cadence = gearing.cadence(case.speed, build.wheel.radius, build.gears.named().ratio)
    assert found.carrier_speed == pytest.approx(cadence)
    # the planet rolls on the fixed sun, and the ring on the planet
    axle_to_planet, pitch = found.centre_distance, 13 * found.module / 2
    spin = found.planet_speed + cadence
    assert cadence * axle_to_planet == pytest.approx(spin * pitch)
    assert found.ring_speed * 71 * found.module / 2 == pytest.approx(cadence * axle_to_planet + spin * pitch)
    assert found.mesh_frequency == pytest.approx(found.planet_speed * 13 / (2 * math.pi))
    faster = train.study(build, replace(case, {"speed": 2 * case.speed}))
    assert faster.sliding_speed == pytest.approx(2 * found.sliding_speed)
    # the velocities of both flanks where the planet's tip leaves the fixed sun, along the flank
    angle, base = math.radians(20), pitch * math.cos(math.radians(20))
    reach = math.sqrt((found.planet_tip / 2) ** 2 - base**2) - pitch * math.sin(angle)
    sun_flank = (
        45 * found.module / 2 * math.sin(angle) - reach
    )  # distance of the point from where the line of action leaves the base circle
    planet_flank = pitch * math.sin(angle) + reach
    seen = abs(found.planet_speed * planet_flank - cadence * sun_flank)  # from the carrier the sun turns backwards
    assert found.sliding_speed == pytest.approx(seen, rel=1e-9)


@pytest.mark.parametrize(
    ("changes", "by", "short"),
    [
        ({}, "room for the ring", False),
        ({"planet_shift": 0.0}, "undercut", True),
        ({"planet_shift": 0.75}, "pointed teeth", True),
        ({"ring_room": "90 mm"}, "room for the ring", True),
        ({"planet_shift": 0.0, "module": None, "ring_room": None}, "undercut", True),
        (
            {"ratio": 1.25, "sun_teeth": 24, "planet_teeth": 36, "ring_teeth": 96, "planets": 4, "ring_room": None, "planet_shift": 0.0},
            "neighbouring planets",
            False,
        ),
    ],
)
def test_the_finding_names_what_is_left_least(build, case, changes, by, short):
    changed = replace(build, {LONG + name: value for name, value in changes.items()})
    ((key, margin, words),) = train.margins(changed, case, changed.gears.named())
    assert (key, words) == ("train geometry", by) and (margin < 1) == short
    found = train.study(changed, case)
    assert (found.smallest, found.limited_by) == (pytest.approx(margin), by)
    (rule,) = train.RULES
    assert rule.key == key and rule.verdict(margin) == ("short" if short else "holds")


def test_a_gear_without_teeth_is_unknown_and_one_that_turns_as_a_piece_has_nothing_to_lose(build, case):
    bare = replace(build, {LONG + "ratio": 1.55})
    ((_, margin, words),) = train.margins(bare, case, bare.gears.named())
    assert math.isnan(margin) and words.startswith("gear 'long' does not say its sun_teeth, planet_teeth, ring_teeth, planets")
    with pytest.raises(ValueError, match="does not say its sun_teeth"):
        train.study(bare, case)
    ((_, margin, words),) = train.margins(build, case, build.gears.named("direct"))
    assert margin == math.inf and words == "gear 'direct' turns as one piece: it has no train to cut"


def test_a_build_without_module_keeps_its_margins_and_does_not_know_its_lengths(root, case):
    classroom = load_build(root / "data/builds/classroom_demonstrator.toml")
    found = train.study(classroom, case)
    assert math.isnan(found.ring_root) and found.summary()["diameter at the ring's roots"] == "unknown"
    assert found.limited_by == "undercut" and found.smallest == pytest.approx(15 * math.sin(math.radians(20)) ** 2 / 2)


def test_margins_of_many_shifts_at_once_are_those_of_each(build, case):
    shifts = np.array([0.0, 0.2, 0.3, 0.7])
    changed = replace(build, {LONG + "planet_shift": shifts})
    ((_, margin, words),) = train.margins(changed, case, changed.gears.named())
    single = [train.margins(b, case, b.gears.named())[0][1] for b in (replace(build, {LONG + "planet_shift": x}) for x in shifts)]
    assert margin == pytest.approx(single) and isinstance(words, str)


def test_margins_are_cheap(build, case):
    gear, spent = build.gears.named(), []
    for _ in range(30):
        begun = time.process_time()
        train.margins(build, case, gear)
        spent.append(time.process_time() - begun)
    assert np.median(spent) < 0.003


def test_search_lists_the_example_first_and_stays_in_the_room(build):
    found = train.search(build, planets=(3, 4, 5, 6))
    assert (found.sun[0], found.planet[0], found.ring[0], found.planets[0]) == (45, 13, 71, 4)
    assert np.all(found.ring_roots <= 0.1 + 1e-12) and np.all(found.undercut >= 1) and np.all(np.abs(found.ratios - found.wanted) <= 0.02)
    assert 3 < len(found.sun) <= train.LISTED <= found.found
    narrow = train.search(build, room=0.085)
    assert list(narrow.ring) == [64] and narrow.room.startswith("rings up to 85 mm at the roots, 4 planets")
    assert train.search(build, room=0.085 - 1e-9 + 0.00125 * (71 + 3.1) - 0.085).sun[0] != 45  # a hair too small for 71 teeth


def test_search_without_room_or_module_says_what_it_took_instead(build):
    bare = replace(build, {LONG + "ring_room": None})
    assert train.search(bare).room.startswith("rings up to 71 teeth, as now")
    other = replace(bare, {LONG + "ratio": 1.55, LONG + "module": None})
    assert train.search(other).room.startswith("rings up to 90 teeth, since room or module is not given, 3 to 6 planets")


def test_a_ratio_that_this_arrangement_cannot_give_says_so(build):
    for ratio in (0.8, 2.3):
        found = train.search(build, ratio=ratio)
        assert found.found == 0 and found.reason.startswith(train.OUTSIDE) and "refused by ratio" in found.nearest


def test_what_is_looked_at_is_the_builds_own_then_the_first_then_the_nearest_miss(build, case):
    found, own = train.chosen(build, case)
    assert own.origin == "as the build says" and own.counts == (45, 13, 71, 4)
    found, first = train.chosen(build, case, planets=6)
    assert first.origin == "first of the search" and first.counts == (found.sun[0], found.planet[0], found.ring[0], 6)
    found, miss = train.chosen(replace(build, {LONG + "planet_shift": 0.0}), case, planets=4)
    assert found.best is None and miss.origin == "nearest miss, refused by undercut" and miss.smallest < 1
    found, none = train.chosen(replace(build, {LONG + "ratio": 1.6, LONG + "ring_room": "80 mm"}), case, planets=7)
    assert none is None and found.reason.endswith("36/12/60, ratio 1.6000 with 7 planets, refused by assembly")
    whole = dataclasses.replace(build, gears=dataclasses.replace(build.gears, engaged="direct"))
    found, none = train.chosen(whole, case)
    assert none is None and found.reason == "gear 'direct' turns as one piece: it has no train to cut"


def test_a_build_gets_the_teeth_of_the_first_train_and_a_ratio_that_they_give(build):
    assert train.geared(build) is build
    moved = train.geared(replace(build, {LONG + "ratio": 1.5}))
    gear, first = moved.gears.named(), train.search(build, ratio=1.5, planets=(3, 4, 5, 6))
    assert (gear.sun_teeth, gear.planet_teeth, gear.ring_teeth, gear.planets) == (
        first.sun[0],
        first.planet[0],
        first.ring[0],
        first.planets[0],
    )
    assert gear.ratio == pytest.approx(1 + gear.sun_teeth / gear.ring_teeth) and moved.cranks.length == build.cranks.length
    stuck = replace(build, {LONG + "ratio": 1.9})
    assert train.geared(stuck) is stuck


@pytest.mark.parametrize("changes", [{}, {"planets": 3, "planet_spacing": "uneven"}, {"planets": 2}])
def test_outlines_mesh_without_running_into_each_other(build, case, changes):
    found = train.study(replace(build, {LONG + name: value for name, value in changes.items()}), case)
    drawn = found.outlines
    assert len(drawn.planets) == found.planets and found.spacing == (
        "at uneven angles" if "planet_spacing" in changes else "at equal angles"
    )
    sun, ring = Path(drawn.sun), Path(drawn.ring)
    for planet, centre in zip(drawn.planets, drawn.centres, strict=True):
        smaller = centre + (planet - centre) * 0.99  # what touches may not be counted as inside
        assert not sun.contains_points(smaller).any() and ring.contains_points(smaller).all()
        turned = np.array([[math.cos(0.15), -math.sin(0.15)], [math.sin(0.15), math.cos(0.15)]])
        wrong = centre + (smaller - centre) @ turned
        assert sun.contains_points(wrong).any() and not ring.contains_points(wrong).all()
