"""Carriage: what the packs are, what a case wants, and plans against every other way to divide it."""

import dataclasses
import itertools
import math

import numpy as np
import pytest

from unikit.formulas import carriage as rules
from unikit.inputs import load_case, replace
from unikit.studies import carriage, ride

from . import examples

BUILD = examples.build()
WIND, HILL, DESCENT = (load_case(f"data/cases/{name}.toml") for name in ("head_wind", "harbour_hill", "long_descent"))
ENDING = "operator and state rules prevail"


def with_packs(*energies_wh):
    """The build with packs of one cell's rated energy each."""
    first = BUILD.packs.pack[0]
    packs = tuple(
        dataclasses.replace(first, name=f"pack_{place}", cell_capacity=energy * 3600 / (first.series * first.cell_nominal_voltage))
        for place, energy in enumerate(energies_wh, 1)
    )
    return dataclasses.replace(BUILD, packs=dataclasses.replace(BUILD.packs, pack=packs), spreads={})


# -- the packs of a build ----------------------------------------------------------


def test_the_packs_of_the_build_are_classed_counted_and_cited():
    found = carriage.study(BUILD)
    by_hand = 13 * 3.6 * 2.05
    assert found.pack_energy / 3600 == pytest.approx([by_hand] * 3)
    assert found.pack_class.tolist() == ["no approval"] * 3 and found.largest_class == "no approval"
    assert (found.count, found.large, found.refused, found.travellers_needed) == (3, 0, 0, 1)
    assert found.conditions[-1].endswith(f"{ENDING}.")
    assert any("3 is within that" in sentence for sentence in found.conditions)
    assert found.wanted is None and "rated energy wanted" not in found.summary()
    last = list(found.summary().values())[-1]
    assert last == carriage.plans(BUILD, WIND).answer.partition(": no approval; ")[2] == f"IATA 2018; IATA 2026; {ENDING}"


@pytest.mark.parametrize(
    ("energies", "large", "needed", "size", "count"),
    [
        ((100.0,), 0, 1, 1.0, 20.0),
        ((100.1,), 1, 1, 0.999, 2.0),
        ((160.0, 160.0), 2, 1, 0.625, 1.0),
        ((150.0, 150.0, 150.0), 3, 2, 0.667, 2 / 3),
        ((150.0, 150.0, 90.0), 2, 1, 0.667, 1.0),
        ((90.0,) * 12, 0, 1, 1.111, 20 / 12),
        ((90.0, 160.1), 1, math.inf, 0.6246, 0.0),
    ],
)
def test_limits_of_size_and_number_for_each_traveller(energies, large, needed, size, count):
    build = with_packs(*energies)
    found = carriage.study(build)
    assert (found.large, found.travellers_needed) == (large, needed)
    assert found.taken_by == ("nobody, as baggage" if math.isinf(needed) else f"{needed} traveller{'s' * (needed > 1)} as spares")
    margins = {key: margin for key, margin, _ in carriage.margins(build)}
    assert margins == {"carriage": pytest.approx(size, abs=6e-4), "carriage count": pytest.approx(count)}


@pytest.mark.parametrize(
    ("energies", "size", "count"),
    [
        ((100.0,), "holds", "holds"),
        ((100.0 * (1 + 1e-12),), "holds", "holds"),
        ((160.0 * (1 + 1e-12),) * 2, "tight", "holds"),
        ((140.0,) * 3, "tight", "tight"),
        ((140.0,) * 5, "tight", "short"),
        ((160.2,), "short", "short"),
    ],
)
def test_findings_in_words(energies, size, count):
    build = with_packs(*energies)
    verdict = {rule.key: rule for rule in carriage.RULES}
    found = {key: verdict[key].verdict(margin) for key, margin, _ in carriage.margins(build)}
    assert found == {"carriage": size, "carriage count": count}


def test_findings_of_a_build_without_packs_are_unknown():
    found = carriage.margins(examples.build("harbour_ungeared"))
    assert [key for key, *_ in found] == [rule.key for rule in carriage.RULES]
    assert all(math.isnan(margin) and words == "no packs" for _, margin, words in found)
    with pytest.raises(ValueError, match="has no packs: there is nothing to carry"):
        carriage.study(examples.build("harbour_ungeared"))
    with pytest.raises(ValueError, match="has no motor: the carriage study needs one"):
        carriage.plans(examples.build("harbour_ungeared"), WIND)


def test_conditions_ask_about_each_travellers_share():
    found = carriage.study(with_packs(140.0, 140.0, 140.0), travellers=2)
    assert any("2 is within that" in sentence for sentence in found.conditions)
    assert any("3 is more than that" in sentence for sentence in carriage.study(with_packs(140.0, 140.0, 140.0)).conditions)
    with pytest.raises(ValueError, match="travellers must be a whole number from 1, got 0"):
        carriage.study(BUILD, travellers=0)


# -- what a case wants -------------------------------------------------------------


@pytest.mark.parametrize("case", [WIND, HILL], ids=lambda case: case.name)
def test_with_the_rated_energy_wanted_the_range_is_the_distance(case):
    found, steady = carriage.study(BUILD, case), ride.study(BUILD, case)
    assert found.covered == pytest.approx(steady.range / case.distance)
    used = case.state_of_charge - BUILD.packs.held_back
    by_hand = steady.consumption * case.distance / used / found.delivered
    assert found.wanted == pytest.approx(by_hand)


def test_with_nothing_held_back_and_full_packs_the_share_is_that_of_the_curve():
    full, case = replace(BUILD, {"packs.held_back": 0}), replace(WIND, {"state_of_charge": 1})
    one = BUILD.packs.pack[0]
    mean = np.trapezoid(one.curve_voltage, one.curve_charge)
    assert carriage.study(full, case).delivered == pytest.approx(mean / one.cell_nominal_voltage)


def test_a_descent_wants_nothing_and_an_empty_start_wants_more_than_any_pack_holds():
    found = carriage.study(BUILD, DESCENT)
    assert found.wanted == 0 and math.isinf(found.covered)
    for_current = carriage.plans(BUILD, DESCENT)  # three strings of 11 A for the controller's 24 A, though no energy is wanted
    assert (for_current.packs[0], for_current.set_by[0]) == (3, "current")
    unstated = replace(BUILD, {f"packs.pack.{name}.cell_current_limit": None for name in BUILD.packs.names})
    assert carriage.plans(unstated, DESCENT).packs[0] == 1
    for changes in ({"state_of_charge": 0.15}, {"speed": 0}):
        case = replace(WIND, changes)
        assert math.isinf(carriage.study(BUILD, case).wanted)
        assert "no rated energy is enough" in carriage.plans(BUILD, case).answer


# -- plans against every other way ---------------------------------------------------

CELLS = [
    carriage.Cell(3.6, 2.05 * 3600, 4.18, 3.0, 0.055),
    carriage.Cell(3.6, 2.5 * 3600, 4.2, 2.8, 0.06, 10.0),
    carriage.Cell(3.2, 3.2 * 3600, 3.65, 2.5, 0.09, 25.0),
    carriage.Cell(3.6, 5.0 * 3600, 4.2, 2.5, 0.07, 7.0),
    carriage.Cell(4.0, 2.5 * 3600, 4.3, 3.0, 0.06),  # 10 and 16 cells are 100.0 and 160.0 Wh to the last bit
]
WINDOWS = [carriage.Window(20.0, 63.0), carriage.Window(33.0, 52.0), carriage.Window(40.0, 42.0), carriage.Window(0.0, 100.0)]


def every_way(cell, wanted, voltage, current, series, joins, most_packs, travellers, approval):
    """All divisions, by loops over every number; the least number of lines by counting up."""
    found = set()
    for cells, joined in itertools.product(range(1, 61), joins):
        line = cells * joined
        if series is not None and line not in series:
            continue
        if line * cell.lowest_voltage < voltage.lowest or line * cell.full_voltage > voltage.highest:
            continue
        for strings in range(1, 61):
            watt_hours = cells * strings * cell.nominal_voltage * cell.capacity / 3600
            if watt_hours > (160.0 if approval else 100.0) + 1e-6:
                break
            most = 20 if watt_hours <= 100.0 + 1e-6 else 2
            for packs in range(joined, min(most_packs, most * travellers) + 1, joined):
                enough = packs * watt_hours >= wanted / 3600 - 1e-6
                bears = packs // joined * strings * cell.current_limit >= current - 1e-9
                if enough and bears:
                    found.add((packs, cells, strings, joined))
                    break
    return found


def as_set(plans):
    return set(zip(plans.packs.tolist(), plans.series.tolist(), plans.parallel.tolist(), plans.joined.tolist(), strict=True))


RANDOM = np.random.default_rng(23)
QUESTIONS = [
    (
        CELLS[RANDOM.integers(len(CELLS))],
        float(RANDOM.choice([0.0, 90.0, 100.0, 160.0, 200.0, 287.8, 320.0, 400.0, 640.0, 900.0, 1500.0])) * 3600,
        WINDOWS[RANDOM.integers(len(WINDOWS))],
        float(RANDOM.choice([0.0, 15.0, 24.0, 60.0])),
        [None, (13,), (10, 12, 14), (20,)][RANDOM.integers(4)],
        [(1,), (1, 2), (2,), (1, 2, 3)][RANDOM.integers(4)],
        int(RANDOM.integers(1, 25)),
        int(RANDOM.integers(1, 4)),
        bool(RANDOM.integers(2)),
    )
    for _ in range(60)
]


@pytest.mark.parametrize("question", QUESTIONS, ids=range(len(QUESTIONS)))
def test_plans_are_those_of_a_search_through_all_numbers(question):
    found, expected = carriage.plan(*question), every_way(*question)
    assert as_set(found) == expected
    assert found.found == len(expected)
    assert found.answer.startswith("nothing fits") == (not expected) and found.answer.endswith(ENDING)


def test_the_questions_reach_both_answers():
    empty = [not carriage.plan(*question).found for question in QUESTIONS]
    assert 10 < sum(empty) < len(QUESTIONS) - 10


def test_every_plan_keeps_to_what_was_asked():
    wind = replace(WIND, {"distance": "18 km"})
    found, asked = carriage.plans(BUILD, wind, travellers=2), carriage.study(BUILD, wind).wanted
    assert found.found > 15
    assert np.all(found.carried >= asked * (1 - 1e-9))
    assert np.all(rules.battery_class(found.pack_energy / 3600) == found.pack_class)
    assert not np.any(found.pack_class == "not as baggage")
    assert np.all(found.packs % found.joined == 0) and np.all(found.packs <= found.most_packs)
    assert np.all(found.packs / np.where(found.pack_class == "no approval", 20, 2) <= found.travellers_needed)
    single = found.packs * found.parallel * found.series * carriage.cell(BUILD).mass
    assert found.mass == pytest.approx(single)


def test_plans_come_in_the_stated_order():
    found = carriage.plans(BUILD, replace(WIND, {"distance": "12 km"}), travellers=3)
    rows = list(
        zip(
            found.pack_class != "no approval",
            found.travellers_needed,
            found.packs,
            found.joined,
            np.round(found.mass, 9),
            -found.series * found.joined,
            strict=True,
        )
    )
    assert rows == sorted(rows) and len({row[0] for row in rows}) == 2


def test_of_plans_that_are_equal_else_the_one_with_more_cells_in_series_comes_first():
    found = carriage.plan(CELLS[0], 80 * 3600.0, carriage.Window(0.0, 100.0), joins=(1,), most_packs=1, approval=False)
    twelve = found.series * found.parallel == 12
    assert found.series[twelve].tolist() == [12, 6, 4, 3, 2, 1]


def test_limits_are_inside_their_class_in_a_plan_too():
    found = carriage.plan(CELLS[4], 100.0 * 3600, carriage.Window(30.0, 70.0), most_packs=1)
    sizes = dict(zip(found.pack_energy.round(6) / 3600, found.pack_class, strict=True))
    assert sizes[100.0] == "no approval" and sizes[160.0] == "operator approval" and max(sizes) == 160.0


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"most_packs": 2, "wanted_energy": 300 * 3600.0}, "the number of packs, 2 at most, stood in the way, 4 would do"),
        ({"series": (13,), "most_packs": 2}, "the class stood in the way"),
        (
            {"travellers": 1, "most_packs": 40, "wanted_energy": 2100 * 3600.0},
            "the number of travellers, 1 at most, stood in the way, 2 would do",
        ),
        ({"approval": False, "series": (14,), "travellers": 2}, "the class stood in the way, only packs of 103.3 Wh or more would hold it"),
        (
            {"series": (16, 17)},
            "the voltage stood in the way, 16 to 17 cells in series are outside of 30.0 V when empty and 63.0 V when full",
        ),
        ({"series": (16,), "most_packs": 1}, "no one condition alone, but at least 2 together of: the voltage"),
        ({"joins": (2,), "series": (13,)}, "no pack and join makes the cells in series that are looked at"),
    ],
)
def test_nothing_fits_names_what_stood_in_the_way(changes, words):
    asked = {"wanted_energy": 280 * 3600.0, "voltage": carriage.Window(30.0, 63.0), "joins": (1,)} | changes
    found = carriage.plan(CELLS[0], **asked)
    assert found.found == 0 and found.answer.startswith("nothing fits: ") and words in found.answer
    assert len(found.packs) == 0


def test_what_would_do_does():
    asked = {"wanted_energy": 300 * 3600.0, "voltage": carriage.Window(30.0, 63.0), "joins": (1,)}
    assert carriage.plan(CELLS[0], **asked, most_packs=3).found == 0 and carriage.plan(CELLS[0], **asked, most_packs=4).found > 0
    assert carriage.plan(CELLS[0], **asked, series=(14,)).found == 0
    assert carriage.plan(CELLS[0], **asked, series=(14,), travellers=2).found > 0


def test_twenty_small_packs_are_for_one_traveller_and_the_next_is_for_a_second():
    asked = {"voltage": carriage.Window(30.0, 63.0), "series": (13,), "joins": (1,), "most_packs": 30, "travellers": 2}
    each = 13 * CELLS[0].energy
    for number, people in ((20, 1), (21, 2)):
        found = carriage.plan(CELLS[0], number * each, **asked)
        assert (found.packs[0], found.travellers_needed[0]) == (number, people)


def test_a_cell_that_bears_less_needs_more_strings():
    free = carriage.plan(CELLS[0], 90 * 3600.0, carriage.Window(38.0, 63.0), current=24.0)
    held = carriage.plan(CELLS[0]._replace(current_limit=8.0), 90 * 3600.0, carriage.Window(38.0, 63.0), current=24.0)
    assert (free.packs[0], held.packs[0]) == (1, 3)
    assert held.set_by[0] == "current" and held.cell_current[0] == pytest.approx(8.0)
    assert np.all(held.cell_current <= 8.0 + 1e-9)


def test_the_build_with_a_plan_goes_at_least_as_far():
    wind = replace(WIND, {"distance": "14 km"})
    found = carriage.plans(BUILD, wind)
    for row in range(found.found):
        if found.joined[row] not in (1, found.packs[row]):
            with pytest.raises(ValueError, match="a build joins all packs one way"):
                carriage.with_plan(BUILD, found, row)
            continue
        made = carriage.with_plan(BUILD, found, row)
        assert float(made.packs.energy) == pytest.approx(found.carried[row]) and made.packs.mass == pytest.approx(found.mass[row])
        assert {key: m for key, m, _ in carriage.margins(made)}["carriage count"] >= 1 / found.travellers_needed[row]
        # another voltage changes the losses a little, and with them the consumption
        steady = ride.study(made, wind)
        assert steady.range >= 0.97 * wind.distance
    with pytest.raises(ValueError, match="nothing fits"):
        carriage.with_plan(BUILD, carriage.plans(BUILD, replace(WIND, {"distance": "300 km"})))


def test_other_cells_change_capacity_mass_and_energy_alike():
    made = carriage.with_capacity(BUILD, 1.5 * BUILD.packs.pack[0].cell_capacity)
    assert made.packs.mass == pytest.approx(1.5 * BUILD.packs.mass) and made.packs.energy == pytest.approx(1.5 * BUILD.packs.energy)
    assert {path for path in BUILD.spreads if path not in made.spreads} == set()


def test_the_window_is_that_of_back_emf_and_rating():
    found = carriage.window(BUILD, WIND)
    assert found.highest == BUILD.controller.voltage_rating
    faster = carriage.window(BUILD, replace(WIND, {"wanted_speed": "40 km/h"}))
    slow_speed = 135 * math.pi / 30 * 1.6338 * BUILD.wheel.radius
    assert faster.lowest / found.lowest == pytest.approx(40 / 3.6 / slow_speed)


def test_impossible_questions_are_refused_by_name():
    for name, value in (("most_packs", 0), ("travellers", 1.5), ("joins", (0,))):
        with pytest.raises(ValueError, match=f"{name} must be a whole number from 1"):
            carriage.plan(CELLS[0], 1e6, WINDOWS[0], **{name: value})
    with pytest.raises(ValueError, match="wanted_energy must be a number, got nan"):
        carriage.plan(CELLS[0], math.nan, WINDOWS[0])


def test_how_packs_are_joined_in_words():
    asked = carriage.Window(30.0, 63.0)
    two = carriage.plan(CELLS[0], 70 * 3600.0, asked, series=(10,), joins=(2,))
    assert (two.packs[0], two.joined[0]) == (2, 2) and ", in series: " in two.words()
    four = carriage.plan(CELLS[0], 130 * 3600.0, asked, series=(10,), joins=(2,), approval=False)
    rows = [row for row in range(four.found) if four.packs[row] == 4]
    assert rows and all(", 2 and 2 in series: " in four.words(row) for row in rows)
