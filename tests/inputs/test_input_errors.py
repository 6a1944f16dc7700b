"""What the reader says about each kind of mistake, word for word."""

import dataclasses
import pickle
import re

import pytest

from unikit.inputs import InputError, load_build, load_cases, replace

MASS = "expected a mass from 20 kg to 200 kg (units: kg, g, lb)"
NUMBERS = [
    ('"78 kg ± 1.5 kg"', '"-3 kg"', f"b.toml: rider.mass = '-3 kg': {MASS}; found: -3 kg"),
    ('"78 kg ± 1.5 kg"', '"900 kg"', f"b.toml: rider.mass = '900 kg': {MASS}; found: 900 kg"),
    ('"78 kg ± 1.5 kg"', "78", f'b.toml: rider.mass = 78: {MASS}; found: a number without its unit (write it as text, such as "78 kg")'),
    ('"78 kg ± 1.5 kg"', '"78"', f"b.toml: rider.mass = '78': {MASS}; found: the unit is missing"),
    ('"78 kg ± 1.5 kg"', '"78 stone"', f"b.toml: rider.mass = '78 stone': {MASS}; found: 'stone' is not an allowed unit"),
    ('"78 kg ± 1.5 kg"', '"78,5 kg"', f"b.toml: rider.mass = '78,5 kg': {MASS}; found: a comma stands in the number (use a decimal point)"),
    ('"78 kg ± 1.5 kg"', '"nan kg"', f"b.toml: rider.mass = 'nan kg': {MASS}; found: it does not start with a plain number"),
    ('"78 kg ± 1.5 kg"', '"1e400 kg"', f"b.toml: rider.mass = '1e400 kg': {MASS}; found: the number is too large"),
    ('"78 kg ± 1.5 kg"', "nan", f'b.toml: rider.mass = nan: {MASS}; found: a number without its unit (write it as text, such as "nan kg")'),
    ('"78 kg ± 1.5 kg"', "true", f"b.toml: rider.mass = True: {MASS}; found: True"),
    ('"78 kg ± 1.5 kg"', "[78]", f"b.toml: rider.mass = [78]: {MASS}; found: [78]"),
    ('"78 kg ± 1.5 kg"', "{ kg = 78 }", f"b.toml: rider.mass = a table: {MASS}; found: a table"),
    ('"78 kg ± 1.5 kg"', "2020-01-01", f"b.toml: rider.mass = datetime.date(2020, 1, 1): {MASS}; found: datetime.date(2020, 1, 1)"),
    (
        '"34 N·m"',
        '"20 J"',
        "b.toml: assist.torque_cap = '20 J': expected a torque from 0 N·m to 500 N·m (units: N*m, Nm, mN*m, lbf*ft, lbf*in); "
        "found: 'J' is a unit of energy",
    ),
    (
        '"115 °C"',
        '"115"',
        "b.toml: controller.derating_start = '115': expected a temperature from 30 °C to 250 °C (units: K, °C, degC, C, °F, degF); "
        "found: the unit is missing",
    ),
    (
        "torque_floor = 0.2",
        "torque_floor = inf",
        "b.toml: rider.torque_floor = inf: expected a ratio from 0 to 1 (a bare number or %); found: not a finite number",
    ),
    (
        "torque_floor = 0.2",
        "torque_floor = 1e400",
        "b.toml: rider.torque_floor = inf: expected a ratio from 0 to 1 (a bare number or %); found: not a finite number",
    ),
    (
        "torque_floor = 0.2",
        f"torque_floor = {10**400}",
        "expected a ratio from 0 to 1 (a bare number or %); found: a number that is too large",
    ),
    ("torque_floor = 0.2", 'torque_floor = "20 kg"', "expected a ratio from 0 to 1 (a bare number or %); found: 'kg' is a unit of mass"),
    (
        "pole_pairs = 23",
        "pole_pairs = 23.5",
        "b.toml: motor.pole_pairs = 23.5: expected a whole number from 1 to 60; found: 23.5, which is not whole",
    ),
    (
        "pole_pairs = 23",
        'pole_pairs = "23 ± 1"',
        "b.toml: motor.pole_pairs = '23 ± 1': expected a whole number from 1 to 60; found: a count with a spread",
    ),
    (
        "long = 0.34",
        "long = -0.1",
        "b.toml: assist.driving_gain.long = -0.1: expected a ratio from 0 to 10 (a bare number or %); found: -0.1",
    ),
    (
        "[0, 0.04",
        '["x", 0.04',
        "b.toml: packs.pack.left.curve_charge[0] = 'x': expected a ratio from 0 to 1 (a bare number or %); found: it does not start",
    ),
    (
        '"3.26 V"',
        '"3.2 V to 3.3 V"',
        "b.toml: packs.pack.left.curve_voltage[1] = '3.2 V to 3.3 V': expected a point of a curve without a spread; found: a spread",
    ),
]


@pytest.mark.parametrize(("old", "new", "line"), NUMBERS, ids=[f"{new[:20]}" for _, new, _ in NUMBERS])
def test_a_number_that_cannot_be(complaints, old, new, line):
    found = complaints((old, new))
    assert len(found) == 1
    assert line in found[0]


SPREADS = [
    ('"78 kg ± 1.5"', "found: the unit is missing"),
    ('"78 ± 1.5 kg"', "found: the unit is missing"),
    ('"78 kg ± 0 kg"', "found: the standard deviation must be above 0"),
    ('"78 kg ± -2 kg"', "found: the standard deviation must be above 0"),
    ('"80 kg to 70 kg"', "found: the ends must rise"),
    ('"70 kg to 70 kg"', "found: the ends must rise"),
    ('"10 kg to 70 kg"', "found: a range that reaches 10 kg"),
    ('"triangular(70 kg, 99 kg, 78 kg)"', "found: the ends must rise"),
    ('"triangular(70 kg, 78 kg)"', "found: triangular(…) takes 3 numbers, got 2"),
    ('"70 kg ± 1 kg ± 1 kg"', "found: ± may stand once"),
    ('"70 kg to 71 kg to 72 kg"', "found: 'to' may stand once"),
    ('"lognormal(70 kg, 2 kg)"', "found: it does not start with a plain number"),
    ('"uniform(70 kg, 2 J)"', "found: 'J' is a unit of energy"),
    (f'"{"7" * 400}"', "found: the text has 400 characters, at most 256 are read"),
]


@pytest.mark.parametrize(("text", "found"), SPREADS, ids=[text[:24] for text, _ in SPREADS])
def test_a_spread_that_cannot_be(complaints, text, found):
    (line,) = complaints(('"78 kg ± 1.5 kg"', text))
    assert line.startswith("b.toml: rider.mass = ")
    assert MASS in line
    assert line.endswith(found)


def test_a_step_of_temperature_is_in_kelvin(complaints):
    (line,) = complaints(('"90 °C"', '"90 °C ± 5 °C"'))
    assert line.startswith("b.toml: motor.magnet_limit = '90 °C ± 5 °C': expected a temperature from 30 °C to 250 °C")
    assert line.endswith("found: '°C' is a unit of temperature")


NAMES = [
    (("drag_area", "drag_aera"), ["b.toml: rider.drag_aera: an unknown name (did you mean 'drag_area'?)"]),
    (("[rider]", "[ridr]"), ["b.toml: ridr: an unknown table (did you mean 'rider'?)"]),
    (
        ("torque_floor = 0.2\n", ""),
        ["b.toml: rider.torque_floor: expected a ratio from 0 to 1 (a bare number or %); found: nothing, it is missing"],
    ),
    (("format = 1\n", ""), ["b.toml: format: expected the number 1; found: nothing, it is missing"]),
    (("format = 1\n", "format = 2\n"), ["b.toml: format = 2: expected the number 1; found: 2"]),
    (("[rider]", "[engine]\n[rider]"), ["b.toml: engine: an unknown table"]),
    (("format = 1\n", 'format = 1\n"a\\u001bb" = 1\n'), ["b.toml: 'a\\x1bb': an unknown name"]),
    (('"disc"', '"disk"'), ["b.toml: brake.kind = 'disk': expected one of 'none', 'rim', 'disc'; found: 'disk' (did you mean 'disc'?)"]),
    (
        ('name = "left"', 'name = "le.ft"'),
        ["b.toml: packs.pack[0].name = 'le.ft': expected a name of letters, digits, - and _ that starts with a letter; found: 'le.ft'"],
    ),
    (
        ('name = "left"', 'name = "right"'),
        ["b.toml: packs.pack: expected 1 to 12 tables [[…pack]], each with a name of its own; found: the name 'right' twice"],
    ),
    (('name = "Harbour commuter"', 'name = " "'), ["b.toml: name = ' ': expected a text of 1 to 4000 characters; found: 1 characters"]),
    (('name = "Harbour commuter"', "name = 7"), ["b.toml: name = 7: expected a text of 1 to 4000 characters; found: 7"]),
]


@pytest.mark.parametrize(("edit", "lines"), NAMES, ids=[lines[0][8:40] for _, lines in NAMES])
def test_a_name_that_is_wrong(complaints, edit, lines):
    assert complaints(edit) == lines


def test_missing_and_misplaced_tables(complaints):
    assert complaints(text="format = 1\nname = 'x'\nrider = 3\n[gears]\ngear = 3\n[packs]\npack = []\n") == [
        "b.toml: rider = 3: expected a table [rider]; found: 3",
        "b.toml: frame: expected the table [frame]; found: nothing, it is missing",
        "b.toml: wheel: expected the table [wheel]; found: nothing, it is missing",
        "b.toml: cranks: expected the table [cranks]; found: nothing, it is missing",
        "b.toml: gears.engaged: expected a name of letters, digits, - and _ that starts with a letter; found: nothing, it is missing",
        "b.toml: gears.gear = 3: expected 1 to 12 tables [[…gear]], each with a name of its own; found: 3",
        "b.toml: brake: expected the table [brake]; found: nothing, it is missing",
        "b.toml: packs.joined: expected one of 'parallel', 'series'; found: nothing, it is missing",
        "b.toml: packs.held_back: expected a ratio from 0 to 0.95 (a bare number or %); found: nothing, it is missing",
        "b.toml: packs.pack: expected 1 to 12 tables [[…pack]], each with a name of its own; found: 0 of them",
    ]


def test_everything_at_once_and_rules_still_look_at_what_could_be_read(complaints):
    found = complaints(
        ('"78 kg ± 1.5 kg"', '"-1 kg"'),
        ("inseam", "insaem"),
        ('"62 A"', '"62 V"'),
        ('"140 °C"', '"100 °C"'),
        ('engaged = "long"', 'engaged = "lang"'),
        ("ratio = 1.6338", "ratio = 1.7"),
        ("efficiency = 0.965", "efficiency = 7"),
    )
    assert [line.split(" ")[1].rstrip(":") for line in found] == [
        "rider.insaem",
        "rider.mass",
        "gears.gear.long.efficiency",
        "gears.gear.long.ratio",
        "gears.engaged",
        "controller.phase_current_limit",
        "controller.derating_end",
    ]


RULES = [
    (
        ('engaged = "long"', 'engaged = "lang"'),
        "gears.engaged = 'lang': expected one of the gears 'direct', 'long'; found: 'lang' (did you mean 'long'?)",
    ),
    (
        ("long = 0.22", "lone = 0.22\nlong = 0.22"),
        "assist.resisting_gain.lone: expected one of the gears 'direct', 'long'; found: 'lone' (did you mean 'long'?)",
    ),
    (("long = 0.34", ""), "assist.driving_gain.long: expected a gain for every gear (0 for none); found: nothing"),
    (
        ("[0, 0.04", "[0.01, 0.04"),
        "packs.pack.left.curve_charge = (0.01, 0.04, 0.1, 0.2, ...): expected a list from 0 to 1; found: a list from 0.01 to 1",
    ),
    (
        ("[0, 0.04", "[0, 0.14"),
        "curve_charge = (0.0, 0.14, 0.1, 0.2, ...): expected a list that rises from point to point; found: 0.1 after 0.14 at point 3",
    ),
    (
        ('"3.26 V"', '"3.44 V"'),
        "curve_voltage = (3.0, 3.44, 3.43, 3.55, ...): expected a list that rises from point to point; found: 3.43 after 3.44 at point 3",
    ),
    (
        ('lowest_cell_voltage = "3.0 V"', 'lowest_cell_voltage = "4.2 V"'),
        "expected a voltage below the top of the curve, 4.18 V; found: 4.2 V",
    ),
    (
        ('derating_end = "140 °C"', 'derating_end = "115 °C"'),
        "controller.derating_end: expected a temperature above derating_start, 115 °C; found: 115 °C",
    ),
    (
        ("pole_pairs = 23", 'pole_pairs = 23\ngap_diameter = "186 mm"\ngap_width = "0.8 mm"'),
        "motor.stack_length: expected a value, since others of the air gap are given; found: nothing",
    ),
    (
        ("pole_pairs = 23", 'pole_pairs = 23\nmagnet_capacity = "500 J/K"'),
        "motor.magnet_to_housing: expected a value, since others of the magnets' ring are given; found: nothing",
    ),
    (
        ("pole_pairs = 23", 'pole_pairs = 23\ngap_diameter = "225 mm"\ngap_width = "0.8 mm"\nstack_length = "30 mm"'),
        "motor.gap_diameter: expected less than housing_diameter, 225 mm; found: 225 mm",
    ),
    (
        ("pole_pairs = 23", 'pole_pairs = 23\ngap_diameter = "186 mm"\ngap_width = "0.8 mm"\nstack_length = "63 mm"'),
        "motor.stack_length: expected at most housing_width, 62 mm; found: 63 mm",
    ),
    (
        ('bridge_limit = "105 °C"\n', ""),
        "controller.bridge_limit: expected a value, since others of the heat sink are given; found: nothing",
    ),
    (('trim_step = "1.5 N·m"', 'trim_step = "15 N·m"'), "assist.trim_step: expected at most trim_cap, 9 N·m; found: 15 N·m"),
    (
        ('comfortable_cadence = "88 rpm"', 'comfortable_cadence = "150 rpm"'),
        "rider.comfortable_cadence: expected at most greatest_cadence, 135 rpm; found: 150 rpm",
    ),
    (('kind = "disc"', 'kind = "none"'), "brake.greatest_torque: expected 0 N·m for the kind 'none'; found: 58 N·m"),
    (
        ("ratio = 1.6338", "ratio = 1.65"),
        "gears.gear.long.ratio = 1.65: expected 1.6338 within 0.5%, "
        "from 45 teeth on the sun and 71 on the ring with the sun fixed, carrier in, ring out; found: 1.65",
    ),
    (
        ("planet_teeth = 13\n", ""),
        "gears.gear.long.planet_teeth: expected a whole number, since other tooth counts are given; found: nothing",
    ),
    (
        ("planet_teeth = 13\n", "planet_teeth = 14\n"),
        "gears.gear.long.ring_teeth = 71: expected 73, sun_teeth and twice planet_teeth, so that sun, planets and ring share an axis; "
        "found: 71",
    ),
    (
        ("planets = 4\n", "planets = 3\n"),
        "gears.gear.long.planets = 3: expected one of 1, 2, 4, by which sun and ring teeth together, 116, can be divided; "
        "or planet_spacing 'uneven'; found: 3",
    ),
    (
        ("planets = 4\n", 'planets = 12\nplanet_spacing = "uneven"\n'),
        "gears.gear.long.planets = 12: expected fewer planets: their axes are 14.00 modules apart, less than the 15.60 across the tips "
        "of a planet; found: 12",
    ),
    (
        ('shaft_bore = "21 mm"', 'shaft_bore = "26 mm"'),
        "sensor.chain.shaft_bore: expected less than shaft_diameter, 25 mm; found: 26 mm",
    ),
    (("poisson_ratio = 0.29\n", ""), "sensor.chain.poisson_ratio: expected a value, since the element is 'hollow shaft'; found: nothing"),
    (
        ('bridge = "full"', 'bridge = "full"\nrated_torque = "90 N*m"'),
        "sensor.chain.rated_output: expected a value, since rated_torque is given; found: nothing",
    ),
    (
        ('bridge = "full"', 'bridge = "full"\narm_width = "9 mm"'),
        "sensor.chain.arm_width: expected nothing, since the element is 'hollow shaft'; found: 9 mm",
    ),
    (
        ('element_yield = "620 MPa"', 'element_yield = "790 MPa"'),
        "sensor.chain.element_yield: expected at most element_strength, 780 MPa; found: 790 MPa",
    ),
    (
        ('element_endurance = "260 MPa"', 'element_endurance = "780 MPa"'),
        "sensor.chain.element_endurance: expected less than element_strength, 780 MPa; found: 780 MPa",
    ),
    (
        ('lowest_output = "0.08 V"', 'lowest_output = "1.4 V"'),
        "lowest_output: expected less than rest_output, 1.4 V; found: 1.4 V",
    ),
    (
        ('highest_output = "3.2 V"', 'highest_output = "1.3 V"'),
        "rest_output: expected less than highest_output, 1.3 V; found: 1.4 V",
    ),
    (
        ('input_low = "0.25 V"', 'input_low = "1.5 V"'),
        "sensor.chain.rest_output: expected a voltage that reaches the converter between 1.5 V and 3.05 V, the ends of input and "
        "converter; found: 1.4 V there",
    ),
    (
        ('upper_resistor = "8870 ohm"\n', ""),
        "sensor.chain.upper_resistor: expected a value, since filter_capacitor is given: the amplifier's output would meet it directly; "
        "found: nothing",
    ),
    (
        ('sampling_frequency = "1 kHz"\n', ""),
        "sensor.chain.sampling_frequency: expected a value, since averaged_samples is given; found: nothing",
    ),
    (
        ('short_limit = "160 °C"', 'short_limit = "85 °C"'),
        "wiring.short_limit: expected a temperature above insulation_limit, 90 °C; found: 85 °C",
    ),
    (('fuse_voltage = "63 V"\n', ""), "wiring.fuse_voltage: expected a value, since others of the fuse are given; found: nothing"),
    (
        ('fuse_melting = "180 A²·s"', 'fuse_melting = "600 A²·s"'),
        "wiring.fuse_melting: expected at most fuse_let_through, 520 A²·s; found: 600 A²·s",
    ),
    (
        ('precharge_energy = "4 J"\n', ""),
        "wiring.precharge_energy: expected a value, since others of the precharge are given; found: nothing",
    ),
]


@pytest.mark.parametrize(("edit", "line"), RULES, ids=[line[:30] for _, line in RULES])
def test_what_must_hold_between_fields(complaints, edit, line):
    (found,) = complaints(edit)
    assert found.endswith(line)


PACKS = [
    (
        ("0.9, 1]", "1]"),
        [
            "expected 11 voltages, one for each of curve_charge; found: 12",
            "curve_resistance = (2.9, 1.75, 1.35, 1.12, ...): expected 11 values, one for each of curve_charge; found: 12",
        ],
    ),
    (
        ('fast_time = "6 s"\n', ""),
        ["left.fast_time: expected a value, since others of the resistances that come with time are given; found: nothing"],
    ),
    (('slow_time = "240 s"', 'slow_time = "4 s"'), ["packs.pack.left.slow_time: expected more than fast_time, 6 s; found: 4 s"]),
    (
        ('activation_energy = "21 kJ/mol"\n', ""),
        ["left.activation_energy: expected a value, since others of the resistances' answer to temperature are given; found: nothing"],
    ),
    (
        ("series = 13", "series = 14"),
        [
            f"packs.pack.{name}.series = 13: expected as many cells in series as pack 'left', 14, since the packs are in parallel; "
            "found: 13"
            for name in ("right", "rear")
        ],
    ),
    (
        ('chemistry = "nickel manganese cobalt"\n', 'chemistry = "iron phosphate"\n'),
        [
            f"packs.pack.{name}.chemistry = 'nickel manganese cobalt': expected the chemistry of pack 'left', iron phosphate, "
            "since the packs are in parallel; found: nickel manganese cobalt"
            for name in ("right", "rear")
        ],
    ),
]


@pytest.mark.parametrize(("edit", "lines"), PACKS, ids=[lines[0][-30:] for _, lines in PACKS])
def test_what_must_hold_in_a_pack_and_between_packs(complaints, edit, lines):
    found = complaints(edit)
    assert len(found) == len(lines)
    for said, line in zip(found, lines, strict=True):
        assert said.startswith("b.toml: packs.pack.") and said.endswith(line)


def test_packs_in_series_may_differ_in_number_and_what_is_not_said_does_not_disagree(commuter):
    changed = replace(commuter, {"packs.joined": "series", "packs.pack.rear.series": 14, "packs.pack.left.chemistry": "iron phosphate"})
    assert [pack.series for pack in changed.packs.pack] == [13, 13, 14]
    assert replace(commuter, {"packs.pack.left.chemistry": None}).packs.pack[0].chemistry is None


@pytest.mark.parametrize(
    ("table", "lines"),
    [
        ("motor", ["b.toml: motor: expected a table [motor], since there is an assist; found: nothing"]),
        ("sensor", ["b.toml: sensor: expected a table [sensor], since there is an assist; found: nothing"]),
        ("controller", ["b.toml: controller: expected a table [controller], since there is a motor; found: nothing"]),
    ],
)
def test_parts_that_need_each_other(complaints, commuter_path, table, lines):
    text = re.sub(rf"\[{table}(\.\w+)?\]\n.*?\n\n", "", commuter_path.read_text(encoding="utf-8"), flags=re.DOTALL)
    assert complaints(text=text) == lines


def test_a_motor_needs_packs(complaints, commuter_path):
    text = commuter_path.read_text(encoding="utf-8").partition("[packs]")[0]
    assert complaints(text=text) == ["b.toml: packs: expected a table [packs], since there is a motor; found: nothing"]


def test_a_record_made_in_code_is_checked_too(commuter):
    with pytest.raises(InputError) as caught:
        dataclasses.replace(commuter.rider, mass=-1.0, inseam=0.1)
    assert str(caught.value).splitlines() == [
        f"rider.mass = -1.0: {MASS}; found: -1 kg",
        'rider.inseam = 0.1: expected a length from 300 mm to 1300 mm (units: m, mm, cm, km, in, ft, "); found: 100 mm',
    ]


def test_the_problems_can_be_asked_for_and_travel_between_processes(tmp_path, complaints):
    complaints(('"78 kg ± 1.5 kg"', '"-3 kg"'))
    with pytest.raises(InputError) as caught:
        load_build("b.toml")
    assert isinstance(caught.value, ValueError)
    (problem,) = pickle.loads(pickle.dumps(caught.value)).problems
    assert (problem.file, problem.field, problem.value, problem.found) == ("b.toml", "rider.mass", "'-3 kg'", "-3 kg")


def test_a_flood_of_mistakes_is_cut(complaints):
    found = complaints(("format = 1\n", "format = 1\n" + "".join(f"k{i} = 1\n" for i in range(70))))
    assert found[:2] == ["b.toml: k0: an unknown name", "b.toml: k1: an unknown name"]
    assert len(found) == 51
    assert found[-1] == "and 20 more"


def test_all_cases_of_a_folder_complain_together(tmp_path):
    (tmp_path / "a.toml").write_text("name = 'a'\nspeed = 3\n")
    (tmp_path / "b.toml").write_text("name = 'b'\nsloep = 3\n")
    with pytest.raises(InputError) as caught:
        load_cases(tmp_path)
    lines = str(caught.value).splitlines()
    assert f"{tmp_path / 'a.toml'}: speed = 3: expected a speed from 0 km/h to 90 km/h" in lines[0]
    assert any(line.startswith(f"{tmp_path / 'b.toml'}: sloep: an unknown name (did you mean 'slope'?)") for line in lines)
    with pytest.raises(InputError, match="expected a folder with case files; found: no folder"):
        load_cases(tmp_path / "none")
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError, match=r"expected at least one file \*.toml; found: none"):
        load_cases(tmp_path / "empty")
