"""Records: frozen, derived values, variants, readable print."""

import copy
import dataclasses
import math
import pickle
import re

import numpy as np
import pytest

from unikit.formulas import gearing
from unikit.inputs import Build, Gear, InputError, describe, draw, fields, load_case, replace
from unikit.inputs.fields import check, pretty
from unikit.inputs.paths import leaves
from unikit.inputs.spreads import read


def test_numbers_of_the_file_arrive_in_si(commuter):
    assert commuter.rider.zero_torque_cadence == pytest.approx(229 * 2 * math.pi / 60)
    assert commuter.rider.critical_power == 170
    assert commuter.motor.magnet_temperature_coefficient == pytest.approx(-0.0012)
    assert commuter.controller.derating_end == pytest.approx(413.15)
    assert commuter.packs.pack[0].cell_capacity == pytest.approx(7380)
    assert commuter.packs.held_back == pytest.approx(0.15)
    assert (commuter.motor.pole_pairs, type(commuter.motor.pole_pairs)) == (23, int)
    assert commuter.assist.driving_gain == {"direct": 0, "long": 0.34}


def test_masses_and_inertias_come_from_the_parts(commuter, ungeared):
    assert commuter.wheel_mass == pytest.approx(4.1 + 4.6)
    assert commuter.body_mass == pytest.approx(78 + 4.3 + 0.45 + 3 * 0.72)
    assert commuter.total_mass == pytest.approx(commuter.body_mass + commuter.wheel_mass)
    assert commuter.wheel_inertia == pytest.approx(0.17 + 0.035)
    assert (ungeared.total_mass, ungeared.wheel_inertia) == (pytest.approx(78 + 2.9 + 3.1), 0.165)


def test_the_body_is_balanced_about_its_centre_and_its_inertia_is_taken_there(commuter):
    points = [(78, 0.965), (4.3 + 0.45 + 3 * 0.72, 0.41)]
    height = commuter.body_centre_of_mass_height
    assert sum(mass * (at - height) for mass, at in points) == pytest.approx(0, abs=1e-12)
    assert commuter.body_inertia == pytest.approx(8.7 + sum(mass * (at - height) ** 2 for mass, at in points))


def test_a_measured_roll_out_takes_the_place_of_the_nominal_size(commuter):
    nominal = gearing.wheel_circumference(0.559, 0.054)
    assert commuter.wheel.radius == pytest.approx(nominal / (2 * math.pi))
    measured = replace(commuter, {"wheel.rolling_circumference": 2.05})
    assert measured.wheel.circumference == 2.05
    assert measured.wheel.radius == pytest.approx(2.05 / (2 * math.pi))


def test_packs_add_up(commuter):
    assert commuter.packs.pack[0].nominal_voltage == pytest.approx(46.8)
    assert commuter.packs.pack[0].energy / 3600 == pytest.approx(46.8 * 2.05)
    assert commuter.packs.energy == pytest.approx(3 * commuter.packs.pack[0].energy)
    assert commuter.packs.names == ("left", "right", "rear")
    doubled = replace(commuter, {"packs.pack.left.parallel": 2})
    assert doubled.packs.pack[0].capacity == pytest.approx(2 * 7380)


def test_gears_by_name(commuter):
    assert commuter.gears.names == ("direct", "long")
    assert commuter.gears.named("direct").ratio == 1
    assert commuter.gears.named().name == "long"
    with pytest.raises(ValueError, match="gear must be one of 'direct', 'long', got 'lang'"):
        commuter.gears.named("lang")


def test_records_are_frozen_and_can_be_copied_hashed_and_sent(commuter):
    with pytest.raises(dataclasses.FrozenInstanceError):
        commuter.rider.mass = 3
    with pytest.raises(TypeError):
        commuter.assist.driving_gain["long"] = 1
    for twin in (copy.deepcopy(commuter), pickle.loads(pickle.dumps(commuter))):
        assert twin == commuter and hash(twin) == hash(commuter)
    assert commuter != commuter.rider


def test_print_has_units_and_spreads(commuter, root):
    lines = str(commuter).splitlines()
    assert "[rider]" in lines and "[gears.gear.long]" in lines and "[assist.driving_gain]" in lines
    shown = {line.split("  ")[0]: line.split("  ")[-1].strip() for line in lines if "  " in line}
    assert shown["drag_area"] == "0.55 m² ± 0.05 m²"
    assert shown["cell_capacity"] == "2.05 A·h"
    assert shown["curve_voltage"] == "3 V to 4.18 V in 12 points"
    assert repr(commuter.cranks) == "Cranks(length=131 mm, reference_length=143 mm)"
    assert repr(replace(commuter, {"cranks.length": np.array([0.12, 0.13])}).cranks).startswith(
        "Cranks(length=120 mm to 130 mm in 2 values"
    )
    assert str(commuter.cranks).splitlines() == ["length            131 mm", "reference_length  143 mm"]
    assert "\nslope              6 %\n" in str(load_case(root / "data" / "cases" / "harbour_hill.toml"))


def test_a_build_of_draws_prints_ranges(commuter):
    lines = str(draw(commuter, 9, 1)).splitlines()
    (mass,) = [line for line in lines if line.startswith("mass") and "values" in line]
    assert re.fullmatch(r"mass +7\d\.?\d* kg to [78]\d\.?\d* kg in 9 values", mass)


def test_replace_takes_si_numbers_texts_words_and_whole_tables(commuter):
    changed = replace(
        commuter,
        {
            "cranks.length": 0.125,
            "gears.engaged": "direct",
            "rider.mass": "70 kg to 80 kg",
            "packs.pack.rear.mass": 0.8,
            "assist.driving_gain": {"direct": 0.1, "long": 0.3},
            "brake": {"kind": "none", "greatest_torque": 0.0},
        },
    )
    assert changed.cranks.length == 0.125
    assert changed.gears.engaged == "direct"
    assert (changed.rider.mass, changed.spreads["rider.mass"].shape) == (75, "uniform")
    assert [pack.mass for pack in changed.packs.pack] == [0.72, 0.72, 0.8]
    assert changed.assist.driving_gain == {"direct": 0.1, "long": 0.3}
    assert changed.brake.kind == "none"
    assert changed.spreads["rider.drag_area"] == commuter.spreads["rider.drag_area"]
    assert commuter.cranks.length == pytest.approx(0.131)


def test_replace_works_with_arrays(commuter):
    lengths = np.linspace(0.1, 0.15, 6)
    changed = replace(commuter, {"cranks.length": lengths, "rider.mass": np.full((6, 1), 70.0)})
    assert np.array_equal(changed.cranks.length, lengths)
    assert changed.total_mass.shape == (6, 1)
    lengths[0] = 9
    assert changed.cranks.length[0] == 0.1


def test_another_ratio_is_another_train(commuter):
    long = replace(commuter, {"gears.gear.long.ratio": 1.7}).gears.named("long")
    assert (long.ratio, long.sun_teeth, long.ring_teeth, long.planets) == (1.7, None, None, None)
    same = replace(commuter, {"gears.gear.long.ratio": 1.6338}).gears.named("long")
    assert same.sun_teeth == 45
    teeth = {"gears.gear.long.sun_teeth": 47, "gears.gear.long.planet_teeth": 12, "gears.gear.long.planets": 2}
    assert replace(commuter, {"gears.gear.long.ratio": 1.66197, **teeth}).gears.named("long").sun_teeth == 47
    with pytest.raises(InputError, match=r"gears.gear.long.ratio = 1.6338: expected 1.662 within 0.5%, from 47 teeth"):
        replace(commuter, teeth)


def test_a_machine_can_lose_its_motor(commuter):
    bare = replace(commuter, dict.fromkeys(("motor", "controller", "sensor", "assist", "packs")))
    assert bare.motor is None
    assert bare.total_mass == pytest.approx(commuter.total_mass - 4.6 - 0.45 - 3 * 0.72)
    assert [path for path in bare.spreads if path.startswith("packs")] == []


REFUSED = [
    (
        {"cranks.lenght": 1},
        "cranks.lenght = 1: expected the path of a field; found: there is no field 'cranks.lenght' (did you mean 'length'?)",
    ),
    ({"gears.gear.lang.ratio": 1}, "gears.gear.lang.ratio = 1: expected one of 'direct', 'long'; found: 'lang' (did you mean 'long'?)"),
    (
        {"gears.gear.long.name": "x"},
        "gears.gear.long.name = 'x': expected the path of a value, or of a whole list of tables; found: a name",
    ),
    ({"gears.gear.long": 1}, "gears.gear.long = 1: expected the path of a value, or of a whole list of tables; found: a name"),
    ({"rider.mass": -1.0}, "rider.mass = -1.0: expected a mass from 20 kg to 200 kg (units: kg, g, lb); found: -1 kg"),
    (
        {"rider.mass": np.array([70.0, np.nan])},
        "rider.mass = [70., nan]: expected a mass from 20 kg to 200 kg (units: kg, g, lb); found: a value that is not",
    ),
    (
        {"rider.mass": np.array([70.0, 7.0])},
        "rider.mass = [70.,  7.]: expected a mass from 20 kg to 200 kg (units: kg, g, lb); found: 7 kg to 70 kg in 2 values",
    ),
    ({"rider.mass": np.array([])}, "rider.mass = []: expected a mass from 20 kg to 200 kg (units: kg, g, lb); found: no value"),
    ({"rider.mass": np.array(["a"])}, "rider.mass = ['a']: expected a mass from 20 kg to 200 kg (units: kg, g, lb); found: ['a']"),
    (
        {"motor.pole_pairs": np.array([3, 4.5])},
        "motor.pole_pairs = [3. , 4.5]: expected a whole number from 1 to 60; found: a value that is not whole",
    ),
    ({"rider": None}, "rider: expected a table [rider]; found: None"),
    (
        {"note": "x\ud800"},
        "note = 'x\\ud800': expected a text of at most 4000 characters; found: half of a surrogate pair, which no file can hold",
    ),
    ({"note": "." * 251}, "expected a text of at most 4000 characters; found: a line with more than 250 dots"),
    ({"note": "x" * 4001}, "expected a text of at most 4000 characters; found: 4001 characters"),
    ({"assist.driving_gain.fast": 0.1}, "assist.driving_gain.fast: expected one of the gears 'direct', 'long'; found: 'fast'"),
]


@pytest.mark.parametrize(("changes", "line"), REFUSED, ids=[next(iter(changes)) for changes, _ in REFUSED])
def test_replace_refuses_what_a_file_may_not_say(commuter, changes, line):
    with pytest.raises(InputError) as caught:
        replace(commuter, changes)
    assert len(caught.value.problems) == 1
    assert line in str(caught.value)


def test_replace_needs_the_table_it_changes(ungeared):
    with pytest.raises(InputError) as caught:
        replace(ungeared, {"motor.mass": 3.0, "rider.mass": 1.0, "wheel.x": 1})
    assert str(caught.value).splitlines() == [
        "motor.mass = 3.0: expected a build with a table [motor]; found: none",
        "wheel.x = 1: expected the path of a field; found: there is no field 'wheel.x'",
    ]


def test_describe_says_what_a_slider_needs():
    ratio = describe("gears.gear.long.ratio")
    assert (ratio.kind, ratio.low, ratio.high, ratio.meaning) == ("ratio", 0.2, 5, "wheel turns per crank turn")
    length = describe("cranks.length")
    assert (length.kind, length.unit, length.form, length.required) == ("length", "mm", "number", True)
    assert describe("assist.driving_gain.long").form == "number"
    assert describe("brake.kind").words == ("none", "rim", "disc")
    assert describe("packs.pack.left").form == "part"
    for wrong in ("cranks.lenght", "cranks.length.more", "", "gears.gear.long.ratoi"):
        with pytest.raises(ValueError, match="there is no field"):
            describe(wrong)


def test_every_value_is_declared_with_a_meaning_and_limits(commuter):
    known = fields()
    assert all(spec.meaning for spec in known.values())
    assert all(math.isfinite(spec.low) and spec.low < spec.high or spec.name == "format" for spec in known.values() if spec.kind)
    for path, spec, _ in leaves(commuter):
        assert describe(path) == spec
        words = path.split(".")
        if len(words) > 2 and path not in known:
            words[2] = "<name>"
        assert ".".join(words) in known


@pytest.mark.parametrize(("path", "spec"), [(path, spec) for path, spec in fields().items() if spec.form == "number"])
def test_both_ends_of_every_range_can_be_written_and_nothing_beyond(path, spec):
    for end, beyond in ((spec.low, -1), (spec.high, 1)):
        assert check(spec, read(pretty(end, spec.kind, spec.unit), spec.kind)[0])[1] == ""
        outside = end + beyond * (1 if spec.whole else 1e-3 * max(abs(end), spec.high - spec.low))
        assert check(spec, outside)[1] != ""


def test_a_build_can_be_made_in_code(commuter):
    gear = Gear(name="long", ratio=1.6, efficiency=0.95)
    made = dataclasses.replace(commuter, gears=dataclasses.replace(commuter.gears, gear=(commuter.gears.gear[0], gear)))
    assert isinstance(made, Build)
    assert made.gears.named().ratio == 1.6
    with pytest.raises(InputError, match="assist.driving_gain.long: expected one of the gears 'short'; found: 'long'"):
        dataclasses.replace(
            commuter,
            gears=dataclasses.replace(commuter.gears, engaged="short", gear=(dataclasses.replace(gear, name="short"),)),
        )


def test_planets_go_in_at_uneven_angles_when_the_build_says_so(commuter):
    three = {"gears.gear.long.planets": 3}
    with pytest.raises(InputError, match="by which sun and ring teeth together, 116, can be divided"):
        replace(commuter, three)
    assert replace(commuter, three | {"gears.gear.long.planet_spacing": "uneven"}).gears.named("long").planets == 3
