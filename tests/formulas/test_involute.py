"""Involute teeth: against tables, against flanks unwound from a string, and against teeth pushed into each other."""

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from placed_teeth import Teeth

from unikit.formulas import internal_mesh, involute, outline

ANGLE = involute.PRESSURE_ANGLE
COS = np.cos(ANGLE)


@pytest.mark.checks("published", "involute.addendum_path", "involute.contact_ratio", "involute.base_diameter")
def test_path_arc_and_ratio_of_contact_of_a_worked_example():
    # Khurmi & Gupta, Theory of Machines, Ex. 12.3: module 12 mm, 30 and 80 teeth, addendum 10 mm; 52.3 mm, 55.61 mm, 1.475
    paths = [involute.addendum_path(0.012 * teeth + 0.020, involute.base_diameter(teeth, 0.012)) for teeth in (30, 80)]
    assert sum(paths) == pytest.approx(0.0523, abs=5e-5)
    assert sum(paths) / COS == pytest.approx(0.05561, abs=5e-6)
    assert involute.contact_ratio(*paths, 0.012) == pytest.approx(1.4752, abs=5e-5)


@pytest.mark.checks("independent", "involute.involute", "involute.involute_angle", "involute.base_diameter")
def test_a_string_unwound_from_the_base_circle_turns_by_the_involute_function():
    unwound = np.linspace(0.0, 1.2, 40)
    base = involute.base_diameter(25, 0.002) / 2
    x, y = base * (np.cos(unwound) + unwound * np.sin(unwound)), base * (np.sin(unwound) - unwound * np.cos(unwound))
    angle = np.arccos(base / np.hypot(x, y))
    assert np.arctan2(y, x) == pytest.approx(involute.involute(angle), abs=1e-12)
    assert involute.involute_angle(np.arctan2(y, x)) == pytest.approx(angle, abs=2e-5)  # flat at zero, where the root is soft
    assert involute.involute_angle(np.arctan2(y, x)[10:]) == pytest.approx(angle[10:], abs=1e-11)


@pytest.mark.checks("independent", "involute.tip_diameter", "involute.root_diameter", "involute.tip_clearance")
@pytest.mark.parametrize("shift", [-0.2, 0.0, 0.4])
def test_shifted_pairs_at_standard_distance_keep_the_clearance_of_the_rack(shift):
    module, planet, sun, ring = 0.002, 18, 30, 66
    apart = module * (planet + sun) / 2
    tips = [involute.tip_diameter(*one) for one in ((planet, module, shift), (sun, module, -shift))]
    roots = [involute.root_diameter(*one) for one in ((planet, module, shift), (sun, module, -shift))]
    inner = involute.tip_diameter(ring, module, shift, internal=True), involute.root_diameter(ring, module, shift, internal=True)
    rooms = [involute.tip_clearance(tips[0], roots[1], apart), involute.tip_clearance(tips[1], roots[0], apart)]
    rooms += [involute.tip_clearance(tips[0], inner[1], apart, True), involute.tip_clearance(inner[0], roots[0], apart, True)]
    assert rooms == pytest.approx([0.25 * module] * 4, abs=1e-12)


@pytest.mark.checks("independent", "involute.tooth_thickness")
@pytest.mark.parametrize("shift", [-0.3, 0.0, 0.3])
def test_tooth_and_space_fill_the_circle_and_match_flanks_unwound_from_a_string(shift):
    radius = np.linspace(19.0, 21.0, 7)
    tooth = involute.tooth_thickness(2 * radius, 40, 1.0, shift)
    space = involute.tooth_thickness(2 * radius, 40, 1.0, shift, internal=True)
    assert tooth + space == pytest.approx(2 * np.pi * radius / 40, rel=1e-13)
    assert tooth == pytest.approx(2 * radius * Teeth(40, shift).half(radius), rel=1e-12)


@pytest.mark.checks("independent", "involute.centre_distance", "involute.shift_sum", "involute.working_pressure_angle")
@pytest.mark.parametrize("internal", [False, True])
def test_centre_distance_and_shifts_lead_back_to_each_other_and_leave_no_backlash(internal):
    first, second, module, shifts = 14, 47, 0.0015, (0.25, 0.55)
    apart = involute.centre_distance(first, second, module, *shifts, internal=internal)
    works = involute.working_pressure_angle(first, second, module, apart, internal=internal)
    total = shifts[1] + (-shifts[0] if internal else shifts[0])
    assert involute.shift_sum(first, second, works, internal=internal) == pytest.approx(total, abs=1e-9)
    # on the working pitch circles the two teeth together fill one pitch
    circles = [involute.base_diameter(teeth, module) / np.cos(works) for teeth in (first, second)]
    thick = [
        involute.tooth_thickness(circle, teeth, module, shift, internal=inside)
        for circle, teeth, shift, inside in zip(circles, (first, second), shifts, (False, internal), strict=True)
    ]
    assert sum(thick) == pytest.approx(np.pi * circles[0] / first, rel=1e-9)
    assert involute.centre_distance(first, second, module, 0.3, 0.3 if internal else -0.3, internal=internal) == pytest.approx(
        module * (second + (-first if internal else first)) / 2, rel=1e-9
    )


@pytest.mark.checks("independent", "involute.least_teeth", "involute.least_shift", "involute.flank_path")
def test_undercut_begins_where_the_straight_rack_leaves_the_base_tangent():
    for teeth in (9, 13, 17, 18, 25):
        shift = involute.least_shift(teeth)
        assert involute.least_teeth(shift) == pytest.approx(teeth, rel=1e-12)
        assert involute.flank_path(teeth, 1.0, shift) == pytest.approx(involute.base_diameter(teeth, 1.0) * np.tan(ANGLE) / 2, rel=1e-12)
        # the root as the rounded rack cuts it: it ends where the involute begins, but with too little shift it cuts into the involute
        radius, space = outline.rack_fillet(teeth, shift + 0.03, ANGLE, 1.0, 1.25, 400)
        half = Teeth(teeth, shift + 0.03).half(radius[-1:])
        assert radius[-1] > involute.base_diameter(teeth, 1.0) / 2
        assert np.pi / teeth - space[-1:] == pytest.approx(half, abs=1e-12)
        radius, space = outline.rack_fillet(teeth, shift - 0.4, ANGLE, 1.0, 1.25, 400)
        above = radius > involute.base_diameter(teeth, 1.0) / 2
        assert np.min(np.pi / teeth - space[above] - Teeth(teeth, shift - 0.4).half(radius[above])) < -5e-5


@pytest.mark.checks("limit", "involute.least_teeth_with_mate")
@pytest.mark.checks("independent", "involute.least_teeth_with_mate")
def test_a_mate_reaches_just_to_the_base_tangent_and_a_large_one_is_a_rack():
    for internal, ratio in ((False, 1.0), (False, 4.0), (True, 1.8), (True, 5.0)):
        teeth = float(involute.least_teeth_with_mate(ratio, internal=internal))
        base = involute.base_diameter(ratio * teeth, 1.0)
        path = involute.addendum_path(involute.tip_diameter(ratio * teeth, 1.0, internal=internal), base, internal=internal)
        assert path == pytest.approx(teeth / 2 * np.sin(ANGLE), rel=1e-9)
    both = [involute.least_teeth_with_mate(1e7, internal=internal) for internal in (False, True)]
    assert both == pytest.approx([involute.least_teeth()] * 2, rel=1e-5)


@pytest.mark.checks("independent", "involute.addendum_path")
@pytest.mark.parametrize(("teeth", "internal"), [(18, False), (71, True)])
def test_tips_end_the_path_of_contact_where_their_circles_meet_the_line_of_action(teeth, internal):
    inward = -1 if internal else 1
    tip, along = teeth / 2 + inward, np.linspace(0, 4, 800_001)
    # a point of the line of action, at a distance from the pitch point, is as far from the centre as the tip
    far = np.hypot(teeth / 2 + inward * along * np.sin(ANGLE), along * np.cos(ANGLE))
    assert involute.addendum_path(2 * tip, teeth * COS, internal=internal) == pytest.approx(along[np.argmin(np.abs(far - tip))], abs=2e-5)


@pytest.mark.checks("independent", "involute.tip_for_path")
@pytest.mark.parametrize("internal", [False, True])
def test_a_tip_and_its_path_lead_back_to_each_other(internal):
    base = involute.base_diameter(60, 0.001)
    tip = np.array([0.0575, 0.058, 0.0585]) if internal else np.array([0.061, 0.062, 0.0625])
    path = involute.addendum_path(tip, base, internal=internal)
    assert np.all(path > 0) and involute.tip_for_path(path, base, internal=internal) == pytest.approx(tip, rel=1e-13)


@pytest.mark.checks("published", "internal_mesh.radial_entry")
@pytest.mark.parametrize(
    ("cutter", "least"),
    [(16, 34), (17, 35), (18, 36), (19, 37), (20, 38), (21, 39), (22, 40), (24, 42), (25, 43), (27, 45), (28, 46), (30, 48)]
    + [(31, 49), (32, 50), (33, 51), (34, 52), (35, 53), (38, 56), (40, 58), (50, 68), (60, 78), (80, 98), (96, 114), (100, 118)],
)
def test_least_rings_that_a_cutter_enters_along_the_radius(cutter, least):
    # Stock Drive Products T-116, Table 5-3a: standard ring, cutter addendum 1.25.  For 15 teeth the table prints 34, the equation gives 33.
    def room(ring):
        return internal_mesh.radial_entry(cutter, ring, cutter + 2.5, ring - 2.0, cutter * COS, ring * COS)

    assert room(least - 1) < 1 <= room(least)


@pytest.mark.checks("published", "internal_mesh.tip_passing")
@pytest.mark.parametrize("gear", [20, 26, 34, 50, 100])
def test_tips_pass_in_a_standard_ring_with_nine_teeth_more(gear):
    # Stock Drive Products T-116, p. T-45: avoided "if the difference of the number of teeth is larger than 9"
    def room(ring):
        return internal_mesh.tip_passing(gear, ring, gear + 2.0, max(ring - 2.0, ring * COS), gear * COS, ring * COS, (ring - gear) / 2)

    assert room(gear + 10) >= 1 > room(gear + 7)


@pytest.mark.checks("independent", "internal_mesh.tip_passing")
@pytest.mark.parametrize(("gear", "ring", "passes"), [(30, 42, True), (30, 36, False)])
def test_tips_that_pass_do_so_when_the_gear_is_rolled_by_hand(gear, ring, passes):
    small, around, far = Teeth(gear, 0.0), Teeth(ring, 0.0, inside=True), (ring - gear) / 2
    apart = internal_mesh.tip_passing(gear, ring, gear + 2.0, ring - 2.0, gear * COS, ring * COS, far)
    radius, angle = small.outline(30)
    tips = radius > small.pitch + 0.3  # the roots have no fillets here
    deepest = max(
        around.depth(
            far + radius[tips] * np.cos(angle[tips] + turn), radius[tips] * np.sin(angle[tips] + turn), turn * gear / ring + np.pi / ring
        ).max()
        for turn in 2 * np.pi / gear * np.linspace(0, 1, 25)
    )
    assert (apart >= 1) == passes == (deepest < 1e-3)


def test_a_ring_whose_tips_are_not_shortened_cuts_into_the_fillets_of_the_planets():
    sun, planet, ring = 24, 18, 60
    corners = outline.outside(planet, 1.0, points=60)
    far, radius, angle = (sun + planet) / 2, np.hypot(*corners.T), np.arctan2(corners[:, 1], corners[:, 0])
    path = involute.flank_path(planet, 1.0)
    tip = involute.tip_for_path(path, involute.base_diameter(ring, 1.0), internal=True) / 2
    assert tip > ring / 2 - 1
    deepest = []
    for ends in (tip, None):
        around = Teeth(ring, 0.0, inside=True, tip=ends)
        turns = 2 * np.pi / planet * np.linspace(0, 1, 60)
        x, y = (far + radius * np.cos(angle + turns[:, None]), radius * np.sin(angle + turns[:, None]))
        deepest.append(max(around.depth(a, b, turn * planet / ring + np.pi / ring).max() for a, b, turn in zip(x, y, turns, strict=True)))
    assert deepest[0] < 2e-3 < 5e-3 < deepest[1]


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (involute.involute, {"pressure_angle": [0.2, 0.3, 0.4]}),
        (involute.involute_angle, {"involute_value": [0.0, 0.015, 0.3]}),
        (involute.base_diameter, {"teeth": [13, 20], "module": [0.001, 0.002, 0.003]}),
        (involute.tip_diameter, {"teeth": [13, 20], "module": 0.001, "shift": [0.0, 0.1, 0.3], "internal": [True, False]}),
        (involute.root_diameter, {"teeth": [13, 20], "module": 0.001, "shift": [0.0, 0.1, 0.3], "internal": [True, False]}),
        (
            involute.tooth_thickness,
            {"diameter": 0.02, "teeth": [19, 20], "module": 0.001, "shift": [0.0, 0.1, 0.3], "internal": [True, False]},
        ),
        (
            involute.working_pressure_angle,
            {"first_teeth": 12, "second_teeth": [24, 30], "module": 0.003, "centre_distance": [0.0605, 0.064, 0.08]},
        ),
        (involute.shift_sum, {"first_teeth": [12, 13], "second_teeth": 30, "working_angle": [0.3, 0.4, 0.5]}),
        (involute.centre_distance, {"first_teeth": [12, 13], "second_teeth": 30, "module": 0.001, "second_shift": [0.0, 0.2, 0.4]}),
        (involute.addendum_path, {"tip": [0.02, 0.03], "base": [0.017, 0.018, 0.019]}),
        (involute.tip_for_path, {"contact_path": [0.001, 0.002], "base": [0.017, 0.018, 0.019], "internal": [True, False]}),
        (involute.contact_ratio, {"first_path": [0.001, 0.002], "second_path": [0.001, 0.002, 0.003], "module": 0.001}),
        (involute.flank_path, {"teeth": [9, 30], "module": 0.001, "shift": [-0.2, 0.0, 0.3]}),
        (involute.least_teeth, {"shift": [-0.2, 0.0, 1.3], "pressure_angle": [0.3, 0.35]}),
        (involute.least_shift, {"teeth": [9, 20, 30], "pressure_angle": [0.3, 0.35]}),
        (involute.least_teeth_with_mate, {"ratio": [1.0, 2.0, 5.0], "internal": [True, False]}),
        (involute.tip_clearance, {"tip": [0.02, 0.03], "root": [0.017, 0.018, 0.1], "centre_distance": 0.03, "internal": [True, False]}),
        (outline.planet_turn, {"sun_teeth": [20, 30], "planet_teeth": 15, "place": [0.0, 1.0, 2.0]}),
        (outline.planet_place, {"sun_teeth": [20, 30], "ring_teeth": 60, "planets": [3, 4, 5], "which": 2}),
    ],
)
def test_arrays_give_what_a_loop_gives(function, arguments):
    assert_broadcasts(function, **arguments)


@pytest.mark.parametrize("function", [internal_mesh.tip_passing, internal_mesh.radial_entry])
def test_arrays_of_rings_give_what_a_loop_gives(function):
    gear, ring = np.array([14.0, 20.0, 25.0]), np.array([50.0, 60.0])[:, None]
    more = {"centre_distance": (ring - gear) / 2} if function is internal_mesh.tip_passing else {}
    whole = function(gear, ring, gear + 2, ring - 2, gear * COS, ring * COS, **more)
    for place in np.ndindex(whole.shape):
        z, r = gear[place[1]], ring[place[0], 0]
        one = {"centre_distance": (r - z) / 2} if more else {}
        assert whole[place] == pytest.approx(function(z, r, z + 2, r - 2, z * COS, r * COS, **one), rel=1e-13)


def test_impossible_teeth_are_refused_in_words():
    with pytest.raises(ValueError, match=r"involute_value must be from 0 to "):
        involute.involute_angle(-0.1)
    with pytest.raises(ValueError, match=r"base diameter over diameter must be from 0 to 1, got 1\.0"):
        involute.tooth_thickness(0.018, 20, 0.001)
    with pytest.raises(ValueError, match=r"second_teeth - first_teeth must be above 0, got -4"):
        involute.working_pressure_angle(24, 20, 0.001, 0.02, internal=True)
    with pytest.raises(ValueError, match=r"base circles over centre_distance must be from 0 to 1"):
        involute.working_pressure_angle(12, 24, 0.003, 0.04)
    with pytest.raises(ValueError, match=r"ratio must be from 1 to inf, got 0\.5"):
        involute.least_teeth_with_mate(0.5)
    with pytest.raises(ValueError, match=r"ring_teeth - gear_teeth must be above 0, got -2"):
        internal_mesh.tip_passing(20, 18, 0.02, 0.018, 0.019, 0.017, 0.001)
    with pytest.raises(ValueError, match=r"base over tip must be from 0 to 1"):
        involute.addendum_path(0.02, 0.03)
