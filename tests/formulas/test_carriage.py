"""Carriage: classes with their limits included, and sentences that say where they come from."""

import re

import numpy as np
import pytest
from published import published

from unikit import units
from unikit.formulas import carriage, pack


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


CASES = [(energy, count, installed) for energy in (90.0, 140.0, 360.0) for count in (1, 3, 25) for installed in (False, True)]


@pytest.mark.parametrize("case", CASES)
def test_every_sentence_names_a_dated_source_and_the_cautions_are_there(case):
    said = carriage.conditions(*case)
    for sentence in said:
        sources = re.search(r"\(([^()]*(?:\([^()]*\)[^()]*)*)\)\.$", sentence).group(1)
        assert re.search(r"IATA|ICAO|49 CFR|FAA", sources), sentence
        assert re.search(r"\b20\d\d\b", sources), sentence
        assert not re.search(r"\b(il)?legal|\bsafe\b|\ballowed\b|\bpermitted\b", sentence), sentence
    assert "Operators and states may be stricter" in said[-1]
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
