"""Planetary trains: rolling pitch circles, torque and power balance, and the search against a plain loop."""

import itertools
import math
from fractions import Fraction

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from published import published

from unikit.formulas import epicyclic

MEMBERS = ("sun", "ring", "carrier")
ROLES = list(itertools.permutations(MEMBERS))
TRAINS = [(30, 15), (24, 33), (60, 20), (13, 40)]  # sun and planet teeth


@pytest.mark.checks("independent", "epicyclic.member_speeds", "epicyclic.planet_speed", "epicyclic.ratio")
@pytest.mark.parametrize(("fixed", "driver", "driven"), ROLES)
@pytest.mark.parametrize(("sun", "planet"), TRAINS)
def test_pitch_circles_roll_without_slip(fixed, driver, driven, sun, planet):
    ring = sun + 2 * planet
    speeds = epicyclic.member_speeds(sun, ring, fixed, driver, 5.0)
    spin = epicyclic.planet_speed(sun, planet, speeds.sun, speeds.carrier)
    centre = speeds.carrier * (sun + planet)
    assert centre - spin * planet == pytest.approx(speeds.sun * sun, abs=1e-9)
    assert centre + spin * planet == pytest.approx(speeds.ring * ring, abs=1e-9)
    assert (getattr(speeds, fixed), getattr(speeds, driver)) == (0.0, 5.0)
    assert getattr(speeds, driven) / 5.0 == pytest.approx(epicyclic.ratio(sun, ring, fixed, driver, driven), rel=1e-14)


def test_ring_and_planet_relation_has_minus_signs():
    # A public simulation-library page prints z_r w_r + z_p w_p - (z_r + z_p) w_c = 0.
    # An internal mesh turns both the same way: with the carrier still, that form has the wrong sign.
    sun, planet, ring = 30, 15, 60
    speeds = epicyclic.member_speeds(sun, ring, fixed="carrier", driver="ring", driver_speed=1.0)
    spin = epicyclic.planet_speed(sun, planet, speeds.sun, speeds.carrier)
    assert spin > 0 and speeds.sun < 0
    assert ring * speeds.ring - planet * spin - (ring - planet) * speeds.carrier == pytest.approx(0.0, abs=1e-12)
    assert ring * speeds.ring + planet * spin - (ring + planet) * speeds.carrier > 100


@pytest.mark.checks("published", "epicyclic.member_speeds")
def test_speeds_of_sun_and_ring_add_up_at_the_carrier():
    # P-PLN-03: carrier angle is (sun + 2 ring)/3 for k = 2
    by_sun = epicyclic.member_speeds(50, 100, fixed="ring", driver="sun", driver_speed=7.0).carrier
    by_ring = epicyclic.member_speeds(50, 100, fixed="sun", driver="ring", driver_speed=-4.0).carrier
    assert by_sun + by_ring == pytest.approx((7.0 + 2 * -4.0) / 3, rel=1e-14)


@pytest.mark.checks("independent", "epicyclic.member_torques", "epicyclic.reaction_torque")
@pytest.mark.parametrize(("fixed", "driver", "driven"), ROLES)
@pytest.mark.parametrize(("sun", "planet"), TRAINS)
def test_torques_add_to_zero_and_no_power_is_lost(fixed, driver, driven, sun, planet):
    ring = sun + 2 * planet
    torques = epicyclic.member_torques(sun, ring, driver, 35.0)
    speeds = epicyclic.member_speeds(sun, ring, fixed, driver, 5.0)
    assert getattr(torques, driver) == 35.0
    assert sum(torques) == pytest.approx(0.0, abs=1e-12 * max(map(abs, torques)))
    power = [torque * rate for torque, rate in zip(torques, speeds, strict=True)]
    assert sum(power) == pytest.approx(0.0, abs=1e-10)
    assert getattr(torques, driven) * getattr(speeds, driven) == pytest.approx(-35.0 * 5.0, rel=1e-12)
    reaction = epicyclic.reaction_torque(sun, ring, fixed, driver, driven, 35.0)
    # from the ratio alone: the output torque follows from power, the reaction from the sum
    output = -35.0 / epicyclic.ratio(sun, ring, fixed, driver, driven)
    assert reaction == pytest.approx(-(35.0 + output), rel=1e-12)
    lossy = epicyclic.reaction_torque(sun, ring, fixed, driver, driven, 35.0, 0.9)
    assert lossy == pytest.approx(-(35.0 + 0.9 * output), rel=1e-12)
    # nine tenths of the power reach the driven member while all three torques still add to nothing
    assert -(35.0 + lossy) * getattr(speeds, driven) == pytest.approx(-0.9 * 35.0 * 5.0, rel=1e-12)


@pytest.mark.checks("published", "epicyclic.assembles", "epicyclic.planets_clear")
@pytest.mark.parametrize(("planets", "goes_in", "clear"), [(4, True, True), (3, False, True), (8, True, False)])
def test_conditions_for_16_16_48(planets, goes_in, clear):
    # P-PLN-01: Stock Drive Products T-116, Eqs. 13-5, 13-7, 13-9
    assert epicyclic.assembles(16, 16, 48, planets) == goes_in
    assert epicyclic.planets_clear(16, 16, planets) == clear


@pytest.mark.checks("limit", "epicyclic.assembles", "epicyclic.planets_clear")
def test_off_axis_gears_do_not_assemble_and_one_planet_has_no_neighbour():
    assert not epicyclic.assembles(16, 15, 48, 4)
    assert epicyclic.planets_clear(13, 60, 1)
    # two planets opposite each other: centres are sun + planet apart, so sun must outgrow the two tips
    assert [bool(epicyclic.planets_clear(sun, 40, 2)) for sun in (2, 3)] == [False, True]


def test_speed_up_hub_of_the_sheet_can_be_built():
    row = published("P-PLN-05")
    found = epicyclic.find_teeth(row.value, 0.0, 60, planets=3)
    assert (30, 15, 60, 3, 1.5) in found


def by_loop(wanted, tolerance, greatest, planets, roles, smallest):
    """Every train by plain loops over exact fractions and angles, sharing nothing with the search."""
    found = set()
    for sun in range(smallest, greatest):
        for ring in range(sun + 1, greatest + 1):
            planet, odd = divmod(ring - sun, 2)
            if odd or planet < smallest or (sun + ring) % planets:
                continue
            # turns of each member with `fixed` at rest, from the train seen on its carrier
            seen = {"carrier": Fraction(0), "sun": Fraction(1), "ring": Fraction(-sun, ring)}
            rates = {name: value - seen[roles[0]] for name, value in seen.items()}
            turns = rates[roles[2]] / rates[roles[1]]
            if abs(turns - Fraction(wanted)) > Fraction(tolerance):
                continue
            apart = 2 * (sun + planet) / 2 * math.sin(math.pi / planets)
            if planets == 1 or apart > planet + 2:
                found.add((sun, planet, ring, planets, float(turns)))
    return found


@pytest.mark.parametrize(
    ("wanted", "tolerance", "greatest", "planets", "roles", "smallest"),
    [
        ("1.5", "0.02", 120, 3, ("sun", "carrier", "ring"), 13),
        ("1.5", "0.1", 90, 4, ("sun", "carrier", "ring"), 12),
        ("1.4", "0.05", 100, 5, ("sun", "carrier", "ring"), 17),
        ("1.25", "0", 96, 1, ("sun", "carrier", "ring"), 13),
        ("0.25", "0.03", 110, 3, ("ring", "sun", "carrier"), 13),
        ("-0.5", "0.05", 100, 3, ("carrier", "sun", "ring"), 13),
        ("4", "0.5", 100, 3, ("ring", "carrier", "sun"), 13),
    ],
)
def test_search_lists_exactly_what_a_plain_loop_finds(wanted, tolerance, greatest, planets, roles, smallest):
    fixed, driver, driven = roles
    found = epicyclic.find_teeth(float(wanted), float(tolerance), greatest, planets, fixed, driver, driven, smallest)
    expected = by_loop(wanted, tolerance, greatest, planets, roles, smallest)
    assert len(found) == len(set(found)) and expected
    assert {train[:4] for train in found} == {train[:4] for train in expected}
    assert sorted(found) == [pytest.approx(train, rel=1e-14) for train in sorted(expected)]
    off = [round(abs(train.ratio - float(wanted)), 12) for train in found]
    assert list(zip(off, [train.ring for train in found], strict=True)) == sorted(zip(off, [train.ring for train in found], strict=True))
    assert all(type(number) is int for number in found[0][:4])


@pytest.mark.parametrize("arguments", [(3.0, 0.1, 200, 3), (1.5, 0.01, 20, 3), (1.5, 0.0, 150, 40)])
def test_search_returns_an_empty_list_when_there_is_none(arguments):
    assert epicyclic.find_teeth(*arguments) == []


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (epicyclic.ratio, {"sun_teeth": [20, 30], "ring_teeth": [60, 70, 80], "fixed": "sun", "driver": "carrier", "driven": "ring"}),
        (epicyclic.assembles, {"sun_teeth": [16, 18, 20], "planet_teeth": 16, "ring_teeth": [48, 50], "planets": 4}),
        (epicyclic.planets_clear, {"sun_teeth": [16, 60], "planet_teeth": 16, "planets": [1, 2, 3, 4, 8]}),
        (epicyclic.member_torques, {"sun_teeth": [20, 30], "ring_teeth": 60, "driver": "sun", "driver_torque": [1.0, 8.0, -3.0]}),
        (
            epicyclic.reaction_torque,
            {
                "sun_teeth": [20, 30],
                "ring_teeth": 60,
                "fixed": "ring",
                "driver": "sun",
                "driven": "carrier",
                "driver_torque": [1.0, 8.0, -3.0],
                "efficiency": 0.9,
            },
        ),
        (
            epicyclic.member_speeds,
            {"sun_teeth": [20, 30], "ring_teeth": [60, 80, 90], "fixed": "sun", "driver": "ring", "driver_speed": 2.0},
        ),
        (epicyclic.planet_speed, {"sun_teeth": [20, 30], "planet_teeth": 15, "sun_speed": [0.0, 1.0, 2.0], "carrier_speed": 3.0}),
    ],
)
def test_arrays_give_what_a_loop_gives(function, arguments):
    assert_broadcasts(function, **arguments)


def test_impossible_trains_are_refused_in_words():
    with pytest.raises(ValueError, match=r"driver must be one of 'sun', 'ring', 'carrier', got 'planet'"):
        epicyclic.ratio(30, 60, "sun", "planet", "ring")
    with pytest.raises(ValueError, match=r"fixed, driver, driven must be different members, got 'sun', 'ring', 'sun'"):
        epicyclic.reaction_torque(30, 60, "sun", "ring", "sun", 10.0)
    with pytest.raises(ValueError, match=r"ring_teeth - sun_teeth must be above 0, got -30"):
        epicyclic.ratio(60, 30, "sun", "carrier", "ring")
    with pytest.raises(ValueError, match=r"planet_teeth must be a whole number, got 15\.5"):
        epicyclic.assembles(30, 15.5, 61, 3)
    with pytest.raises(ValueError, match=r"planets must be above 0, got 0"):
        epicyclic.planets_clear(30, 15, 0)
    with pytest.raises(ValueError, match=r"greatest_ring_teeth must be from 1 to 1000, got 100000"):
        epicyclic.find_teeth(1.5, 0.1, 100000, 3)
    with pytest.raises(ValueError, match=r"tolerance must be from 0 to inf, got nan"):
        epicyclic.find_teeth(1.5, np.nan, 100, 3)
