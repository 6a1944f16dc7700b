"""The search for trains: every listed one is put together tooth by tooth, and the list is what plain loops find."""

import math

import numpy as np
import pytest
from placed_teeth import Teeth, least_depth, tips_apart

from unikit.formulas import involute, outline, trains

SEARCHES = [
    (1.6338, 0.02, 75, (3, 4, 5, 6), 0.3, False),
    (1.5, 0.03, 66, (3, 4), 0.2, False),
    (1.4, 0.02, 80, (5,), 0.0, False),
    (1.55, 0.004, 70, (3, 5), 0.25, True),
]


def placed(train, uneven):
    """Where the planets are put: at equal angles, or at those that the kit proposes."""
    if not uneven:
        return 2 * math.pi * np.arange(train.planets) / train.planets
    return trains.places(train.sun, train.ring, train.planets)


@pytest.mark.parametrize(("wanted", "tolerance", "ring", "planets", "shift", "uneven"), SEARCHES)
def test_every_listed_train_goes_together_tooth_by_tooth(wanted, tolerance, ring, planets, shift, uneven):
    found = trains.search(wanted, tolerance, ring, planets, shift, uneven)
    assert len(found.trains) > 3
    for train in found.trains[:5]:
        assert abs(1 + train.sun / train.ring - wanted) <= tolerance + 1e-12 and train.ring <= ring
        made = trains.shape(train.sun, train.planet, train.planets, shift)
        where = placed(train, uneven)
        for place in where:
            depth, _ = least_depth(train.sun, train.planet, train.ring, shift, place, float(made.ring_tip) / 2, steps=20 * train.planet)
            assert depth < 0.1, (train, place)  # in modules; a twentieth of a pitch is the step of the turns tried
        for one, other in zip(where, np.roll(where, -1), strict=True):
            assert tips_apart(train.sun, train.planet, shift, one, other) > 0


def test_planets_that_do_not_assemble_have_teeth_in_each_others_way():
    for train in ((45, 13, 71, 3), (30, 15, 60, 4), (24, 15, 54, 5)):
        sun, planet, ring, planets = train
        assert (sun + ring) % planets
        assert max(least_depth(sun, planet, ring, 0.2, 2 * math.pi * k / planets)[0] for k in range(planets)) > 0.3


@pytest.mark.checks("independent", "outline.planet_turn", "outline.planet_place")
@pytest.mark.parametrize(("sun", "planet", "planets"), [(45, 13, 4), (18, 18, 5), (24, 15, 7)])
def test_planets_are_turned_as_those_that_were_pushed_in(sun, planet, planets):
    ring = sun + 2 * planet
    for place in outline.planet_place(sun, ring, planets, np.arange(1, planets + 1)):
        depth, turned = least_depth(sun, planet, ring, 0.2, float(place), steps=2000)
        assert depth < 0.01
        off = (turned - outline.planet_turn(sun, planet, place)) % (2 * np.pi / planet)
        assert min(off, 2 * np.pi / planet - off) < 2 * np.pi / planet / 500


@pytest.mark.checks("published", "outline.planet_place")
def test_half_angle_between_two_planets_of_the_handbook():
    # Stock Drive Products T-116, Eq. 13-8: 13 times 180/(18 + 54) = 32.5 degrees
    assert math.degrees(outline.planet_place(18, 54, 11, 3)) / 2 == pytest.approx(13 * 180 / 72, abs=1e-9)
    assert np.degrees(trains.closest(18, 54, 5)) == pytest.approx(70.0) and np.degrees(
        np.diff(trains.places(18, 54, 5))
    ).min() == pytest.approx(70.0)


def by_loops(wanted, tolerance, most, planets, shift):
    """Every train by plain loops and elementary geometry; the first condition that each of the others breaks is counted."""
    kept, refused = set(), dict.fromkeys(trains.CONDITIONS[1:], 0)
    sine = math.sin(math.radians(20)) ** 2
    for number in planets:
        for sun in range(6, most + 1):
            for ring in range(sun + 12, most + 1):
                if abs(1 + sun / ring - wanted) > tolerance + 1e-12:
                    continue
                planet, odd = divmod(ring - sun, 2)
                if odd:
                    refused["shared axis"] += 1
                elif (sun + ring) % number:
                    refused["assembly"] += 1
                elif number > 1 and (sun + planet) * math.sin(math.pi / number) <= planet + 2 + 2 * shift:
                    refused["neighbouring planets"] += 1
                elif planet * sine / 2 < 1 - shift or sun * sine / 2 < 1 + shift:
                    refused["undercut"] += 1
                elif min(2 * one.tip * float(one.half(np.array([one.tip]))[0]) for one in (Teeth(planet, shift), Teeth(sun, -shift))) < 0.2:
                    refused["pointed teeth"] += 1
                elif contacts(sun, planet, ring, shift) < 1.2:
                    refused["contact ratio"] += 1
                else:
                    kept.add((sun, planet, ring, number))
    return kept, refused


def contacts(sun, planet, ring, shift):
    """The smaller contact ratio, by walking along the line of action and asking which teeth reach each point."""
    angle = math.radians(20)
    along = np.linspace(-4.0, 4.0, 80001)
    worst = math.inf
    for mate, side, tip in ((sun, -1, sun / 2 + 1 - shift), (ring, 1, ring / 2 - 1 + shift)):
        base, other = planet / 2 * math.cos(angle), mate / 2 * math.cos(angle)
        # distances from both axes at a point that is `along` from the pitch point, positive towards the planet's tip
        from_planet = np.hypot(base, planet / 2 * math.sin(angle) + along)
        from_mate = np.hypot(other, mate / 2 * math.sin(angle) + side * along)
        touching = (from_planet <= planet / 2 + 1 + shift) & (planet / 2 * math.sin(angle) + along >= 0)
        touching &= along >= -(1 - shift) / math.sin(angle)  # where the rack has left the planet's flank
        touching &= from_mate <= tip if side < 0 else from_mate >= tip
        worst = min(worst, np.ptp(along[touching]) / (math.pi * math.cos(angle)))
    return worst


@pytest.mark.parametrize(
    ("wanted", "tolerance", "most", "planets", "shift"),
    [
        (1.6, 0.05, 60, (3, 4, 6), 0.3),
        (1.5, 0.2, 40, (1, 3), 0.0),
        (1.2, 0.04, 52, (5, 7), 0.6),
        (1.3, 0.1, 44, (2,), 0.8),
        (1.35, 0.05, 60, (3,), -0.4),
    ],
)
def test_search_lists_and_counts_exactly_what_plain_loops_do(wanted, tolerance, most, planets, shift):
    found = trains.search(wanted, tolerance, most, planets, shift)
    kept, refused = by_loops(wanted, tolerance, most, planets, shift)
    assert {train[:4] for train in found.trains} == kept
    counted = {name: number for name, number in found.refused.items() if name != "tips in the ring"}
    assert counted == {name: number for name, number in refused.items() if name != "tips in the ring"}
    assert found.tried == len(kept) + sum(refused.values())
    off = [(round(abs(train.ratio - wanted), 12), train.ring, -train.planets) for train in found.trains]
    assert off == sorted(off)


def test_stub_teeth_that_lose_contact_are_refused():
    stub = {"addendum": 0.75, "dedendum": 1.0}
    found = trains.search(1.5, 0.1, 60, (3, 4), **stub)
    kept = [trains.shape(train.sun, train.planet, train.planets, **stub) for train in found.trains]
    assert found.refused["contact ratio"] > 0 and kept
    assert all(min(made.sun_contact, made.ring_contact) >= 1.2 for made in kept)
    longer = trains.search(1.5, 0.1, 60, (3, 4), addendum=0.8, dedendum=1.05)
    assert longer.refused["contact ratio"] < found.refused["contact ratio"]


@pytest.mark.parametrize(
    ("wanted", "most", "planets", "shift", "by"),
    [
        (1.6338, 71, 4, 0.0, "undercut"),
        (1.9, 80, (3, 4), 0.3, "ratio"),
        (1.25, 100, 5, 0.3, "neighbouring planets"),
        (1.6338, 71, 7, 0.3, "assembly"),
    ],
)
def test_what_stands_in_the_way_is_named(wanted, most, planets, shift, by):
    found = trains.search(wanted, 0.0001, most, planets, shift)
    assert found.trains == () and found.nearest.refused_by == (by,)
    assert (
        found.reason.endswith(f"refused by {by}") and f"{found.nearest.sun}/{found.nearest.planet:g}/{found.nearest.ring}" in found.reason
    )
    if by != "ratio":
        assert found.refused[by] > 0
        assert f"{by} refused {found.refused[by]}" in found.reason


def test_the_nearest_miss_is_the_nearest_of_all_that_break_one_condition():
    found = trains.search(1.9, 0.01, 60, (3,), 0.3)
    every = [trains.search(1 + sun / ring, 1e-9, ring, 3, 0.3).trains for sun in range(6, 49) for ring in range(sun + 12, 61)]
    kept = {train for some in every for train in some}
    assert found.nearest.refused_by == ("ratio",)
    assert found.nearest.ratio == pytest.approx(max(train.ratio for train in kept), rel=1e-14)


def test_a_ring_that_is_too_small_for_any_gear_says_so():
    assert trains.search(1.5, 0.1, 12, 3).reason == "the ring has too few teeth for any sun and planet"


def test_uneven_spacing_lets_planets_in_that_equal_angles_refuse():
    even, uneven = (trains.search(1.6338, 0.0001, 71, 3, 0.3, way) for way in (False, True))
    assert even.trains == () and even.refused["assembly"] > 0
    assert uneven.trains[0][:4] == (45, 13, 71, 3)


def test_a_gap_between_neighbours_is_asked_for():
    tight = trains.shape(16, 16, 5)
    assert tight.neighbours > 1 > trains.shape(16, 16, 5, gap=1.0).neighbours
    assert tight.neighbour_gap == pytest.approx(32 * math.sin(math.pi / 5) - 18)


def test_contact_is_what_is_walked_along_the_line_of_action():
    for sun, planet, shift in ((45, 13, 0.3), (24, 20, 0.0), (60, 18, 0.5), (20, 40, -0.2)):
        made = trains.shape(sun, planet, 3, shift)
        assert min(made.sun_contact, made.ring_contact) == pytest.approx(contacts(sun, planet, sun + 2 * planet, shift), abs=2e-4)


def test_contact_ends_where_an_undercut_flank_ends():
    # 8 teeth are undercut: the sun's tip touches the planet no further than the base circle, where the line of action leaves it
    made, angle = trains.shape(40, 8, 3), math.radians(20)
    assert made.sun_recess == pytest.approx(4 * math.sin(angle))
    assert made.sun_recess < involute.addendum_path(42.0, involute.base_diameter(40, 1.0))
    planet = math.sqrt(5**2 - (4 * math.cos(angle)) ** 2) - 4 * math.sin(angle)
    assert made.sun_contact == pytest.approx((4 * math.sin(angle) + planet) / (math.pi * math.cos(angle)))
    few = trains.shape(8, 40, 1)  # and the planet's tip on the sun
    assert few.sun_contact == pytest.approx(made.sun_contact) and few.planet_recess > few.sun_contact * math.pi * math.cos(angle) - planet


@pytest.mark.parametrize("shift", [-0.3, 0.0, 0.3])
def test_outlines_are_the_teeth_unwound_from_a_string(shift):
    for inside in (False, True):
        draw = outline.inside if inside else outline.outside
        corners, teeth = draw(30, 1.0, shift, points=40), Teeth(30, shift, inside)
        radius, angle = np.hypot(*corners.T), np.arctan2(corners[:, 1], corners[:, 0])
        assert [radius.min(), radius.max()] == pytest.approx(sorted((teeth.tip, teeth.root)), abs=1e-12)
        flank = radius > (teeth.base if inside else 15 - (1 - shift) + 0.35)  # beyond the fillet
        off = np.abs((angle + np.pi / 30) % (np.pi / 15) - np.pi / 30)[flank]
        assert off == pytest.approx(np.minimum(teeth.half(radius[flank]), np.pi / 30), abs=1e-9)


@pytest.mark.parametrize("inside", [False, True])
def test_outlines_enclose_what_teeth_and_spaces_leave(inside):
    corners, teeth = (outline.inside if inside else outline.outside)(40, 1.0, 0.1, points=80), Teeth(40, 0.1, inside)
    x, y = corners.T
    enclosed = np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2
    radius = np.linspace(min(teeth.root, teeth.tip), max(teeth.root, teeth.tip), 4001)
    solid = np.minimum(teeth.half(radius) * 40 / np.pi, 1.0)
    share = 1 - solid if inside else solid
    between = np.sum((share * 2 * np.pi * radius)[:-1] + (share * 2 * np.pi * radius)[1:]) / 2 * (radius[1] - radius[0])
    assert enclosed == pytest.approx(np.pi * radius[0] ** 2 + between, rel=2e-3)  # outside the fillets add a little


def test_an_undercut_tooth_is_drawn_thinner_than_its_involute():
    corners = outline.outside(7, 1.0, points=60)
    radius, angle = np.hypot(*corners.T), np.arctan2(corners[:, 1], corners[:, 0])
    foot = (radius > involute.base_diameter(7, 1.0) / 2) & (np.abs(angle) < np.pi / 7)
    thinner = Teeth(7, 0.0).half(radius[foot]) - np.abs(angle[foot])
    assert thinner.min() > -1e-9 and thinner.max() > 2e-3


def test_impossible_searches_are_refused_in_words():
    for arguments, said in (
        ((1.5, 0.1, 100, 0), r"planets must be from 1 to 12, got 0"),
        ((25.0, 0.1, 100, 3), r"wanted_ratio must be from 0 to 10, got 25"),
        ((1.5, np.nan, 100, 3), r"tolerance must be from 0 to 1, got nan"),
        ((1.5, 0.1, 1000, 3), r"greatest_ring_teeth must be from 1 to 400, got 1000"),
    ):
        with pytest.raises(ValueError, match=said):
            trains.search(*arguments)
