"""What must hold between the fields of a hub, and how it is said."""

import pytest

from unikit.inputs import InputError, load_build, replace

RULES = [
    (
        ('axle_bore = "22 mm"', 'axle_bore = "28 mm"'),
        [f"hub.axle_bore: expected less than {outer}, 28 mm; found: 28 mm" for outer in ("axle_diameter", "seat_diameter")],
    ),
    (('hub_bearing = "ball"\n', ""), ["hub.hub_bearing: expected a value, since others of the hub bearing are given; found: nothing"]),
    (
        ('planet_bearing_static = "4.4 kN"\n', ""),
        ["hub.planet_bearing_static: expected a value, since others of the planet bearing are given; found: nothing"],
    ),
    (
        ('pedal_overhang = "78 mm"\n', ""),
        ["hub.pedal_overhang: expected a value, since others of the crank spindle are given; found: nothing"],
    ),
    (
        ('key_width = "5 mm"', "spline_teeth = 8"),
        ["hub.spline_teeth = 8: expected nothing, or the sun_seat 'spline'; found: the sun_seat 'key'"],
    ),
    (('axle_yield = "650 MPa"', 'axle_yield = "950 MPa"'), ["hub.axle_yield: expected at most axle_tensile, 900 MPa; found: 950 MPa"]),
    (
        ('axle_endurance = "290 MPa"', 'axle_endurance = "1 GPa"'),
        ["hub.axle_endurance: expected at most axle_tensile, 900 MPa; found: 1000 MPa"],
    ),
    (
        ('sun_seat = "key"', 'sun_seat = "glue"'),
        ["hub.sun_seat = 'glue': expected one of 'key', 'spline', 'one piece'; found: 'glue'"],
    ),
    (
        ('tooth_finish = "hobbed"', 'tooth_finish = "sawn"'),
        ["hub.tooth_finish = 'sawn': expected one of 'cast', 'cut', 'hobbed', 'ground'; found: 'sawn'"],
    ),
    (
        ("drop_factor = 3\n", "drop_factor = 0.5\n"),
        ["hub.drop_factor = 0.5: expected a ratio from 1 to 12 (a bare number or %); found: 0.5"],
    ),
]


@pytest.mark.parametrize(("edit", "lines"), RULES, ids=[edit[1][:24] or edit[0][:24] for edit, _ in RULES])
def test_a_hub_that_cannot_be(complaints, edit, lines):
    found = [line for line in complaints(edit) if "hub." in line]
    assert [line.partition("b.toml: ")[2] for line in found] == lines


def test_a_bore_wider_than_the_seat(complaints):
    found = complaints(('seat_diameter = "28 mm"', 'seat_diameter = "21 mm"'))
    assert "hub.axle_bore: expected less than seat_diameter, 21 mm; found: 22 mm" in found[0]


def test_a_seat_of_one_piece_has_neither_length_nor_key(complaints):
    said = "\n".join(complaints(('sun_seat = "key"', 'sun_seat = "one piece"')))
    for name in ("key_width", "key_height", "key_shear_limit", "seat_diameter", "seat_length", "seat_pressure_limit"):
        assert f"hub.{name} = " in said


def test_bolts_need_an_arm(commuter_path):
    build = load_build(commuter_path)
    assert replace(build, {"hub.arm_bolt_spacing": None}).hub.arm_length == 0.11
    with pytest.raises(
        InputError, match=r"hub.arm_length: expected the arm's length or the distance of its bolts, since arm_bolt_limit is given"
    ):
        replace(build, {"hub.arm_bolt_spacing": None, "hub.arm_length": None})


def test_a_hub_may_be_left_out_whole_or_in_part(commuter_path):
    build = load_build(commuter_path)
    assert replace(build, {"hub.axle_bore": None, "hub.wanted_life": None}).hub.axle_bore is None
