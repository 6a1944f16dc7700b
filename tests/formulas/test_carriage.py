"""Carriage: classes with their limits included, and sentences that say where they come from."""

import re

import numpy as np
import pytest
from published import published

from unikit import units
from unikit.formulas import OutsideRangeWarning, air, carriage, pack


@pytest.mark.checks("published", "carriage.battery_class")
@pytest.mark.parametrize(
    ("energy_wh", "expected"),
    [
        (99.0, "no approval"),
        (100.0, "no approval"),
        (100.1, "operator approval"),
        (160.0, "operator approval"),
        (160.1, "not as baggage"),
        (250.0, "not as baggage"),  # P-AVI-08: the exception for mobility aids is not for machines of sport
    ],
)
def test_classes_include_their_limits(energy_wh, expected):
    # P-AVI-02: IATA, Passengers Travelling with Lithium Batteries, 2018 edition
    assert carriage.battery_class(energy_wh) == expected
    assert carriage.battery_class.with_units(f"{energy_wh} W*h") == expected
    assert carriage.battery_class.with_units(f"{energy_wh * 3.6} kJ") == expected


def rated(voltage, charge):
    return units.convert(pack.energy(units.parse(voltage, "voltage"), units.parse(charge, "charge")), "energy", "J", "W*h")


def test_rated_energy_puts_a_pack_in_its_class():
    row = published("P-AVI-01")
    energy = rated("36 V", "4.4 Ah")
    assert energy == pytest.approx(row.value, abs=row.tolerance)
    assert carriage.battery_class(energy) == "operator approval"


def test_blocks_of_one_string_go_where_two_strings_do_not():
    row = published("P-AVI-05")
    assert rated("36 V", "2.5 Ah") == pytest.approx(row.value, abs=row.tolerance)
    assert carriage.battery_class(rated("36 V", "2.5 Ah")) == "no approval"
    assert carriage.battery_class(rated("36 V", "5 Ah")) == "not as baggage"


def test_arrays_give_what_a_loop_gives():
    energies = [50.0, 100.0, 100.1, 160.0, 161.0]
    assert carriage.battery_class(np.array(energies)).tolist() == [carriage.battery_class(e) for e in energies]


KINDS = ((False, False), (True, False), (False, True))  # installed, power bank
CASES = [(energy, count, *kind) for energy in (90.0, 140.0, 360.0) for count in (1, 3, 25) for kind in KINDS]


@pytest.mark.parametrize("case", CASES)
def test_every_sentence_names_a_dated_source_and_the_cautions_are_there(case):
    said = carriage.conditions(*case)
    for sentence in said:
        sources = re.search(r"\(([^()]*(?:\([^()]*\)[^()]*)*)\)(?:; operator and state rules prevail)?\.$", sentence).group(1)
        assert re.search(r"IATA|ICAO|49 CFR|FAA", sources), sentence
        assert re.search(r"\b20\d\d\b", sources), sentence
        assert not re.search(r"\b(il)?legal|\bsafe\b|\ballowed\b|\bpermitted\b", sentence), sentence
    assert "Operators and states may be stricter" in said[-1]
    assert said[-1].endswith("operator and state rules prevail.")
    assert sum("Power banks are another matter" in sentence for sentence in said) == 1
    assert sum("mobility aids" in sentence and "a machine for sport is none" in sentence for sentence in said) == 1
    assert sum("38.3" in sentence for sentence in said) == 1


def test_spares_are_cabin_only_counted_and_protected():
    small, middle = carriage.conditions(90.0, 3, False), carriage.conditions(140.0, 3, False)
    for said in (small, middle):
        assert any("cabin only, never in checked baggage" in sentence for sentence in said)
        assert any("terminals of each spare pack must be protected" in sentence for sentence in said)
    assert "without the approval" in small[0] and "needs the approval" in middle[0]
    assert any("At most 20 spare batteries" in sentence and "3 is within that" in sentence for sentence in small)
    assert any("At most 2 spare batteries above 100 Wh per person: 3 is more than that" in sentence for sentence in middle)
    assert any("2 is within that" in sentence for sentence in carriage.conditions(140.0, 2, False))


def test_installed_packs_are_devices_only_if_the_operator_says_so():
    for energy in (90.0, 140.0):
        said = carriage.conditions(energy, 1, True)
        assert any("may not pass as a portable electronic device" in sentence for sentence in said)
        assert not any("Spare packs travel" in sentence for sentence in said)
    assert any("At most 15 devices" in sentence for sentence in carriage.conditions(90.0, 16, True))


@pytest.mark.parametrize("installed", [True, False])
def test_large_packs_are_sent_to_cargo(installed):
    said = carriage.conditions(250.0, 1, installed)
    assert "does not go as baggage" in said[0]
    assert "30 % state of charge" in said[1]


def test_impossible_packs_are_refused_by_name():
    with pytest.raises(ValueError, match=r"energy_wh must be above 0, got \[50\.  0\.\]"):
        carriage.battery_class(np.array([50.0, 0.0]))
    with pytest.raises(ValueError, match=r"count must be above 0, got 0"):
        carriage.conditions(90.0, 0, False)
    with pytest.raises(ValueError, match=r"count must be a whole number, got 1\.5"):
        carriage.conditions(90.0, 1.5, False)
    with pytest.raises(ValueError, match=r"installed must be false for a power bank"):
        carriage.conditions(90.0, 1, True, power_bank=True)
    with pytest.raises(ValueError, match=r"what must be one of 'spare pack', .*, got 'suitcase'"):
        carriage.rule("suitcase", 90.0)


@pytest.mark.parametrize(
    ("energy_wh", "expected"),
    [
        (100.0 + 1e-13, "no approval"),
        (36.0 * 100.0 / 36.0, "no approval"),
        (13 * 3.6 * (100.0 / (13 * 3.6)), "no approval"),
        (0.1 * 3 * 1000 / 3, "no approval"),  # 100.00000000000001
        (100.0 + 1e-5, "operator approval"),
        (160.0 * 3600 / 3600, "operator approval"),
        (np.nextafter(160.0, np.inf), "operator approval"),
        (160.0 + 1e-5, "not as baggage"),
    ],
)
def test_the_last_bit_of_a_conversion_changes_no_class(energy_wh, expected):
    assert carriage.battery_class(energy_wh) == expected
    assert carriage.rule(carriage.SPARE, energy_wh).approval == expected


def test_every_row_of_the_table_is_sourced_dated_and_whole():
    for row in carriage.table():
        assert row.sources and row.carried and row.terminals and row.charge and row.approval
        assert (row.most < np.inf) == bool(row.counted)
        for source in row.sources:
            assert re.search(r"\b20\d\d\b", source.short) and re.search(r"\b20\d\d\b", source.edition) and source.text
            assert re.match(r"read|from memory", source.seen)
    for what in (carriage.SPARE, carriage.INSTALLED, carriage.VEHICLE, carriage.POWER_BANK):
        rows = [row for row in carriage.table() if row.what == what]
        assert [(row.above, row.up_to) for row in rows] == [(0, 100), (100, 160), (160, np.inf)]
        assert [row.approval for row in rows[1:]] == ["operator approval", "not as baggage"]


def test_power_banks_are_counted_apart_from_spare_packs():
    # P-AVI-04: ICAO Doc 9284, 2025-2026 edition, addendum 1, in force from 27 March 2026 (read, secondary)
    bank, spare = carriage.rule(carriage.POWER_BANK, 74.0), carriage.rule(carriage.SPARE, 74.0)
    assert (bank.most, spare.most) == (2, 20)
    said = carriage.conditions(74.0, 3, False, power_bank=True)
    assert any("At most 2 power banks per person: 3 is more than that" in sentence for sentence in said)
    assert any("not recharged on board" in sentence and "should not charge a device" in sentence for sentence in said)
    assert not any("20 spare batteries" in sentence for sentence in said)


def test_the_mobility_limits_open_nothing_for_a_machine_of_sport():
    # P-AVI-08
    assert carriage.battery_class(250.0) == carriage.rule(carriage.VEHICLE, 250.0).approval == "not as baggage"
    assert "does not apply" in carriage.rule(carriage.MOBILITY_AID, 250.0).approval


def test_packs_alone_go_as_cargo_at_three_tenths_of_their_capacity():
    row = published("P-AVI-10")
    share = carriage.rule(carriage.CARGO, 360.0).charge_limit
    left = units.convert(pack.energy(36.0, share * 10.0 * 3600), "energy", "J", "W*h")
    assert left == pytest.approx(row.value, abs=row.tolerance)
    assert carriage.table()[-3].charge_limit == share  # packed with equipment, from 2026
    assert all(one.charge_limit == 1.0 for one in carriage.table() if not one.what.startswith("cargo"))


@pytest.mark.checks("limit", "carriage.shock_acceleration")
def test_light_packs_are_capped_at_150_times_gravity():
    edge = 100850 / 150**2  # 4.48 kg: P-AVI-09
    assert edge == pytest.approx(4.48, abs=0.005)
    masses = np.array([0.1, 0.99 * edge, edge, 1.01 * edge])
    found = carriage.shock_acceleration(masses) / 9.80665
    assert found[:3] == pytest.approx([150.0] * 3) and found[3] < 149.5
    with pytest.warns(OutsideRangeWarning, match="small batteries"):
        carriage.shock_acceleration(13.0)


def test_altitude_simulation_stands_for_fifty_thousand_feet():
    row = published("P-AVI-06")
    top, height = 11_000.0, 50_000 * 0.3048
    geopotential = [6356766.0 * one / (6356766.0 + one) for one in (top, height)]  # ISO 2533
    falling = np.exp(-9.80665 / (287.05287 * air.standard_temperature(top)) * (geopotential[1] - geopotential[0]))
    pressure = air.standard_pressure(top) * falling
    assert units.convert(pressure, "pressure", "Pa", "kPa") == pytest.approx(row.value, abs=row.tolerance)
