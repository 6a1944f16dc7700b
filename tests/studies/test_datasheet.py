"""From a datasheet to a motor: nothing silent, every mix-up named, and a known motor found again."""

import dataclasses
import math

import numpy as np
import pytest
from pages import KNOWN, MIX_UPS, TIGHT, banded, changed, full, noisy

from unikit.formulas import drive
from unikit.inputs import Datasheet, InputError, Motor, NoLoad, Rated, Spread, Stall, load_build, load_datasheet, save_build
from unikit.inputs.fields import specs
from unikit.studies import datasheet
from unikit.studies.estimates import BANDS, band_of

BUILD = load_build("data/builds/harbour_commuter.toml")
BUILDS = [BUILD, load_build("data/builds/classroom_demonstrator.toml")]


# -- round trip ----------------------------------------------------------------


@pytest.mark.parametrize("build", BUILDS, ids=lambda build: build.name)
def test_a_known_motor_comes_back(build):
    machine = build.motor
    found = datasheet.study(full(machine))
    assert found.contradictions == () and found.ways == 5 and len(found.estimates) == 6
    part = found.part()
    assert part.torque_constant_peak == pytest.approx(machine.torque_constant_peak, rel=2e-3)
    exact = ("phase_resistance", "quadrature_inductance", "mass", "housing_diameter", "housing_width")
    assert [getattr(part, name) for name in exact] == pytest.approx([getattr(machine, name) for name in exact], rel=1e-3)
    for name in ("pole_pairs", "reference_temperature", "insulation_class", "magnet_limit"):
        assert getattr(part, name) == getattr(machine, name)
    drag = part.hysteresis_torque + 20.0 * part.eddy_drag
    assert drag == pytest.approx(machine.hysteresis_torque + 20.0 * machine.eddy_drag, rel=1e-3), "the sum is known, its split is not"


@pytest.mark.parametrize("build", BUILDS, ids=lambda build: build.name)
@pytest.mark.parametrize("sheet", ["full", "bare"])
def test_what_is_assumed_lies_in_the_range_that_is_told(build, sheet):
    made = full(build.motor)
    if sheet == "bare":
        made = Datasheet(format=1, name="bare", torque_constant=made.torque_constant, torque_constant_per="peak", mass=made.mass)
    found = datasheet.study(made)
    for path, spread in found.spreads.items():
        name = path.removeprefix("motor.")
        known = getattr(build.motor, name)
        if spread.shape == "triangular":
            assert spread.parameters[0] <= known <= spread.parameters[2], (name, known, spread)


def test_noise_within_the_tolerances_is_no_contradiction_and_the_motor_is_found_within_its_own():
    generator, alarms, missed = np.random.default_rng(5), 0, 0
    machine, count = BUILD.motor, 150
    clean = full(machine, None)
    for _ in range(count):
        found = datasheet.study(noisy(clean, generator))
        alarms += bool(found.contradictions)
        if not found.contradictions:
            missed += abs(found.torque_constant / machine.torque_constant_peak - 1) > found.tolerance
    assert alarms <= 0.10 * count, "about one in fifteen in the long run, of pages that print everything"
    assert missed <= 0.10 * count


# -- mix-ups ---------------------------------------------------------------------


@pytest.mark.parametrize(("name", "change", "said"), MIX_UPS, ids=[name for name, *_ in MIX_UPS])
def test_every_mix_up_is_recognised_and_both_fields_are_named(name, change, said):
    found = datasheet.study(banded(changed(KNOWN, change), TIGHT))
    assert found.motor is None and found.contradictions
    fields = {"resistance_of": "resistance"} | {key: key.replace("__", ".") for key in change}
    touched = fields[next(iter(change))] if "resistance_of" not in change else "resistance"
    for pair in found.contradictions:
        assert touched in (*pair.one.fields, *pair.other.fields), "no other line is accused"
        assert pair.times > 1 and pair.one_text in str(pair.problem()) and pair.other_text in str(pair.problem())
    assert any(said in sentence for pair in found.contradictions for sentence in pair.explained_by)
    assert np.isnan(found.torque_constant), "no number is printed that is in dispute"
    with pytest.raises(InputError) as caught:
        found.part()
    assert len(caught.value.problems) == len(found.contradictions)


def test_the_odd_one_out_is_named_and_can_be_left_out():
    mixed = banded(changed(KNOWN, {"torque_constant": KNOWN.torque_constant * math.sqrt(2)}), TIGHT)
    found = datasheet.study(mixed)
    assert found.suspect.fields == ("torque_constant",)
    assert found.explanation == "if torque_constant is in the convention 'rms', not 'peak'"
    again = datasheet.study(mixed, leave_out=["torque_constant"])
    assert again.part().torque_constant_peak == pytest.approx(BUILD.motor.torque_constant_peak, rel=2e-3) and again.ways == 4


def test_a_factor_that_no_mix_up_explains_is_said_to_be_one():
    found = datasheet.study(banded(changed(KNOWN, {"torque_constant": KNOWN.torque_constant * 1.27}), TIGHT))
    assert found.explanation == "no one mix-up of conventions"
    assert "no known mix-up of conventions explains it" in str(found.contradictions[0].problem())


@pytest.mark.parametrize(
    ("change", "fields"),
    [
        ({"stall": Stall(torque=900.0)}, ("stall.torque", "no_load.voltage")),
        ({"rated__efficiency": 0.98}, ("rated.efficiency", "resistance")),
        ({"rated__speed": 25.0, "rated__power": None}, ("rated.speed", "no_load.speed")),
    ],
)
def test_what_must_stay_below_a_bound_is_named_beyond_it_only(change, fields):
    found = datasheet.study(banded(changed(KNOWN, change), TIGHT))
    (pair,) = found.contradictions
    assert all(field in (*pair.one.fields, *pair.other.fields) for field in fields)


def test_a_held_rotor_with_less_torque_per_ampere_saturates_and_one_with_more_contradicts():
    half = datasheet.study(banded(changed(KNOWN, {"stall__torque": 0.7 * KNOWN.stall.torque}), TIGHT))
    assert half.contradictions == () and half.saturation.startswith("70% of that at small currents: the iron saturates, or")
    assert half.torque_constant == pytest.approx(BUILD.motor.torque_constant_peak, rel=2e-3), "it does not pull the mean down"
    assert datasheet.study(KNOWN).saturation == "as at small currents"
    more = datasheet.study(banded(changed(KNOWN, {"stall__torque": 1.3 * KNOWN.stall.torque}), TIGHT))
    assert more.suspect.fields == ("stall.torque", "stall.current")
    alone = Datasheet(format=1, name="x", stall=Stall(torque=40.0, current=40.0, current_in="peak"), mass=4.0)
    found = datasheet.study(alone)
    assert found.part().torque_constant_peak == pytest.approx(1.0) and found.saturation == "not to be compared"


def test_below_a_bound_there_is_nothing_to_explain():
    held = drive.no_load_speed(1.0, 1.0)  # any number: what matters is that a small stall torque is no contradiction
    assert held > 0
    assert datasheet.study(banded(changed(KNOWN, {"stall": Stall(torque=30.0), "rated__efficiency": 0.5}), TIGHT)).contradictions == ()


# -- nothing silent --------------------------------------------------------------


OPTIONAL = (
    "speed_constant",
    "resistance",
    "inductance",
    "mass",
    "outer_diameter",
    "width",
    "magnet_limit",
    "insulation_class",
    "pole_pairs",
)
TELLS = {
    "resistance": "phase_resistance",
    "inductance": "quadrature_inductance",
    "outer_diameter": "housing_diameter",
    "width": "housing_width",
}


@pytest.mark.parametrize("missing", OPTIONAL)
def test_a_missing_number_is_said_to_be_assumed_or_derived_from_others(missing):
    made = Datasheet(
        format=1,
        name="short",
        **{name: getattr(KNOWN, name) for name in (*OPTIONAL, "torque_constant", "torque_constant_per") if name != missing},
        **{f"{name}_of": "line" for name in ("resistance", "inductance") if name != missing},
    )
    found = datasheet.study(made)
    rows = dict(zip(found.field, zip(found.how, found.basis, strict=True), strict=True))
    name = TELLS.get(missing, "torque_constant_peak" if missing == "speed_constant" else missing)
    how, basis = rows[name]
    assert how == ("given" if missing == "speed_constant" else "assumed") and basis
    if how == "assumed":
        assert "no source" in basis or "IEC" in basis or "tables" in basis
    assert set(rows) == set(specs(Motor)) - {"source", "note"}, "every field of the part has its row"
    assert found.given + found.derived + found.assumed + found.left_out == len(rows)


def test_every_row_has_a_basis_and_an_assumed_number_its_range():
    for name in ("half_a_page", "one_line"):
        found = datasheet.study(load_datasheet(f"data/datasheets/{name}.toml"))
        assert all(found.basis)
        for field, value, interval, how in zip(found.field, found.value, found.interval, found.how, strict=True):
            assert how in ("given", "derived", "assumed", "left out")
            assert bool(value) == (how != "left out")
            if how == "assumed" and field != "insulation_class":
                assert " … " in interval, field


@pytest.mark.parametrize(
    ("more", "unused"),
    [
        ({}, "nothing"),
        ({"rated": Rated(efficiency=0.8, voltage=48.0)}, "rated.efficiency, rated.voltage"),
        ({"rated": Rated(torque=10.0, current=9.0, current_in="rms", speed=20.0)}, "rated.speed"),
        ({"rated": Rated(torque=12.0, power=240.0, speed=20.0)}, "nothing"),
        ({"stall": Stall(torque=30.0)}, "stall.torque"),
        ({"no_load": NoLoad(voltage=48.0)}, "no_load.voltage"),
        ({"no_load": NoLoad(voltage=48.0, current=0.5)}, "nothing"),
    ],
)
def test_what_is_printed_but_used_for_nothing_is_said_to_be(more, unused):
    found = datasheet.study(Datasheet(format=1, name="x", torque_constant=0.9, torque_constant_per="peak", mass=4.0, **more))
    assert found.unused == unused and found.motor is not None


def test_the_speed_constant_without_a_word_is_said_to_be_taken_as_peak():
    found = datasheet.study(Datasheet(format=1, name="x", speed_constant=1.0, mass=4.0))
    assert "volt of peak line to line assumed" in found.basis[list(found.field).index("torque_constant_peak")]


def test_a_page_without_torque_or_without_size_is_refused():
    with pytest.raises(InputError, match="speed_constant: expected one of speed_constant, torque_constant, no_load with its speed"):
        datasheet.study(Datasheet(format=1, name="x", mass=4.0, resistance=0.1, resistance_of="line"))
    with pytest.raises(InputError, match="mass: expected mass, outer_diameter, motor_constant or resistance, or a wheel"):
        datasheet.study(Datasheet(format=1, name="x", speed_constant=1.0))


def test_the_wheel_gives_a_size_where_nothing_else_does_and_bounds_one():
    found = datasheet.study(Datasheet(format=1, name="x", speed_constant=1.0), BUILD.wheel)
    assert found.part().housing_diameter == pytest.approx(0.4 * BUILD.wheel.bead_seat_diameter, rel=1e-3)
    with pytest.raises(
        InputError, match="outer_diameter = 600 mm: expected a diameter within the rim of the wheel; found: a rim of 559 mm"
    ):
        datasheet.study(Datasheet(format=1, name="x", speed_constant=1.0, outer_diameter=0.6), BUILD.wheel)


def test_resistance_by_motor_constant_and_mass_by_resistance():
    found = datasheet.study(Datasheet(format=1, name="x", torque_constant=0.95, torque_constant_per="peak", motor_constant=2.66))
    rows = dict(zip(found.field, found.how, strict=True))
    assert (rows["torque_constant_peak"], rows["phase_resistance"], rows["mass"]) == ("given", "derived", "assumed")
    assert found.part().phase_resistance == pytest.approx((0.95 / 2.66) ** 2 / 1.5, rel=1e-3)
    assert found.part().mass == pytest.approx(2.66 / 0.5, rel=1e-3)


def test_leaving_out_what_is_not_there_is_an_error():
    with pytest.raises(ValueError, match=r"the datasheet gives no 'torque_constnt' \(did you mean 'torque_constant'\?\)"):
        datasheet.study(KNOWN, leave_out=["torque_constnt"])
    with pytest.raises(ValueError, match="the datasheet gives no 'name'"):
        datasheet.study(KNOWN, leave_out=["name"])


def test_an_idle_run_that_only_heats_its_copper_is_refused():
    with pytest.raises(InputError, match="no_load.current = 100 A"):
        datasheet.study(changed(full(BUILD.motor, None), {"no_load": NoLoad(voltage=5.0, current=100.0)}))


def test_bands_as_printed_and_as_assumed():
    sheet = load_datasheet("data/datasheets/half_a_page.toml")
    assert band_of(sheet, "speed_constant") == pytest.approx(0.06) and band_of(sheet, "rated.torque") == BANDS["rated.torque"]
    wide = dataclasses.replace(sheet, mass=4.0, spreads={"mass": Spread("uniform", (3.0, 5.0))})
    assert band_of(wide, "mass") == pytest.approx(0.25)


def test_the_motor_goes_into_a_build_with_its_tolerances_and_can_be_saved(tmp_path):
    found = datasheet.study(load_datasheet("data/datasheets/half_a_page.toml"))
    build = datasheet.fitted(BUILD, found)
    assert build.motor == found.motor and "motor.phase_resistance" in build.spreads and "rider.mass" in build.spreads
    assert build.spreads["motor.torque_constant_peak"].parameters[1] == pytest.approx(found.torque_constant * found.tolerance / 2, rel=0.01)
    save_build(build, tmp_path / "x.toml")
    assert load_build(tmp_path / "x.toml") == build


def test_the_example_that_contradicts_itself():
    found = datasheet.study(load_datasheet("data/datasheets/two_minds.toml"))
    assert found.suspect.fields == ("torque_constant",)
    assert found.summary()["torque per ampere of phase peak"] == "unknown"
    assert len(found.table()) == 0 and found.given is None
