"""Uncertain numbers: how they are read, and whether their draws are what they say."""

import dataclasses
import zlib

import numpy as np
import pytest

from unikit.inputs import Case, InputError, Spread, draw, draw_at, load_case, meaning, replace
from unikit.inputs.spreads import read, write, write_spread

COUNT = 40_000

TEXTS = [
    ("74 kg ± 2 kg", "mass", Spread("normal", (74, 2)), 74),
    ("74 kg +/- 500 g", "mass", Spread("normal", (74, 0.5)), 74),
    ("normal(74 kg, 2 kg)", "mass", Spread("normal", (74, 2)), 74),
    ("85 mohm ± 10 %", "resistance", Spread("normal", (0.085, 0.0085)), 0.085),
    ("-4 m/s ± 25 %", "speed", Spread("normal", (-4, 1)), -4),
    ("6 % ± 1 %", "ratio", Spread("normal", (0.06, 0.01)), 0.06),
    ("-0.12 %/K ± 5 %", "temperature coefficient", Spread("normal", (-0.0012, 0.00006)), -0.0012),
    ("70 kg to 78 kg", "mass", Spread("uniform", (70, 78)), 74),
    ("uniform( 70 kg , 78 kg )", "mass", Spread("uniform", (70, 78)), 74),
    ("triangular(70 kg, 73 kg, 78 kg)", "mass", Spread("triangular", (70, 73, 78)), 73),
    ("0.5 ± 0.1", "ratio", Spread("normal", (0.5, 0.1)), 0.5),
    ("4 % to 6 %", "slope", Spread("uniform", (0.04, 0.06)), 0.05),
    ("-2 m/s to 4 m/s", "speed", Spread("uniform", (-2, 4)), 1),
    ("25 °C ± 2 K", "temperature", Spread("normal", (298.15, 2)), 298.15),
    ("normal(25 °C, 2 K)", "temperature", Spread("normal", (298.15, 2)), 298.15),
    ("10 °C to 20 °C", "temperature", Spread("uniform", (283.15, 293.15)), 288.15),
]


@pytest.mark.parametrize(("text", "kind", "spread", "nominal"), TEXTS, ids=[text for text, *_ in TEXTS])
def test_a_text_becomes_a_nominal_number_and_a_spread(text, kind, spread, nominal):
    value, found = read(text, kind)
    assert value == pytest.approx(nominal, rel=1e-12)
    assert found.shape == spread.shape
    assert found.parameters == pytest.approx(spread.parameters, rel=1e-12)


@pytest.mark.parametrize("unit", ["kg", "g", "lb"])
def test_a_written_spread_reads_back_exactly(unit):
    generator = np.random.default_rng(2)
    for _ in range(20):
        low, mode, high = np.sort(generator.uniform(20, 200, 3)).tolist()
        for spread in (Spread("normal", (low, mode)), Spread("uniform", (low, high)), Spread("triangular", (low, mode, high))):
            assert read(write_spread(spread, "mass", unit), "mass") == (spread.nominal, spread)


def test_numbers_are_written_in_the_display_unit_where_that_is_short():
    assert write(0.131, "length", "mm") == "131 mm"
    assert write(2.05 * 3600, "charge", "A*h") == "2.05 A·h"
    assert write(0.28 * 0.001, "inductance", "mH") == "0.28 mH"
    assert write(0.00028, "inductance", "mH") == "0.00028 H", "one bit apart from 0.28 mH, and read back exactly"
    assert write(363.15, "temperature", "°C") == "90 °C"
    assert write(24.0, "rotation", "rpm") == "24 rad/s"
    assert write(1e-7, "resistance", "ohm") == "1e-07 ohm"
    assert write(250000.0, "energy", "J") == "250000 J"


DRAWS = [
    (Spread("normal", (78, 1.5)), 78, 1.5),
    (Spread("uniform", (155, 185)), 170, 30 / 12**0.5),
    (Spread("triangular", (6, 8, 12)), 26 / 3, ((36 + 64 + 144 - 48 - 72 - 96) / 18) ** 0.5),
    (Spread("triangular", (6, 6, 12)), 8, (36 / 18) ** 0.5),
    (Spread("triangular", (6, 12, 12)), 10, (36 / 18) ** 0.5),
]


@pytest.mark.parametrize(("spread", "mean", "deviation"), DRAWS, ids=[str(spread.parameters) for spread, *_ in DRAWS])
def test_draws_have_the_mean_and_deviation_of_their_distribution(spread, mean, deviation):
    drawn = spread.draw(COUNT, 11, "some.path")
    sampling = deviation / COUNT**0.5
    assert drawn.mean() == pytest.approx(mean, abs=4 * sampling)
    assert drawn.std() == pytest.approx(deviation, abs=4 * sampling)
    assert drawn.min() >= spread.ends[0] and drawn.max() <= spread.ends[1]


def test_a_normal_cut_at_its_mean_is_half_a_normal():
    drawn = Spread("normal", (0, 2)).draw(COUNT, 3, "x", low=0)
    assert drawn.min() >= 0
    assert drawn.mean() == pytest.approx(2 * (2 / np.pi) ** 0.5, abs=4 * 2 * (1 - 2 / np.pi) ** 0.5 / COUNT**0.5)


def test_draw_makes_arrays_of_the_uncertain_numbers_only(commuter):
    drawn = draw(commuter, COUNT, 7)
    assert drawn.rider.mass.shape == drawn.packs.pack[1].cell_resistance.shape == (COUNT,)
    assert drawn.rider.mass.mean() == pytest.approx(78, abs=4 * 1.5 / COUNT**0.5)
    assert drawn.rider.drag_area.std() == pytest.approx(0.05, abs=4 * 0.05 / COUNT**0.5)
    assert drawn.rider.inseam == commuter.rider.inseam
    assert drawn.total_mass.shape == (COUNT,)
    assert not drawn.spreads
    assert drawn.wheel.rolling_coefficient.mean() == pytest.approx(0.026 / 3, abs=3e-5)
    with pytest.raises(ValueError, match="read-only"):
        drawn.rider.mass[0] = 1


def test_draws_stay_within_the_limits_of_their_field(commuter):
    wide = replace(commuter, {"rider.torque_floor": "0.2 ± 0.5"})
    drawn = draw(wide, COUNT, 7).rider.torque_floor
    assert 0 <= drawn.min() < 0.001 and 0.999 < drawn.max() <= 1


def test_the_seed_decides_and_other_numbers_do_not_disturb(commuter):
    first, again, other = draw(commuter, 50, 7), draw(commuter, 50, 7), draw(commuter, 50, 8)
    assert first == again
    assert hash(first) == hash(again)
    assert first != other
    fewer = replace(commuter, {"rider.drag_area": 0.5, "rider.critical_power": 170.0})
    assert np.array_equal(draw(fewer, 50, 7).rider.mass, first.rider.mass)
    left, right = (pack.cell_resistance for pack in first.packs.pack[:2])
    assert abs(np.corrcoef(left, right)[0, 1]) < 0.5


def test_a_case_is_drawn_too_and_temperatures_step_in_kelvin(root):
    case = load_case(root / "data" / "cases" / "head_wind.toml")
    drawn = draw(case, COUNT, 1)
    assert drawn.air_temperature.mean() == pytest.approx(282.15, abs=4 * 3 / COUNT**0.5)
    assert drawn.head_wind.std() == pytest.approx(2, abs=4 * 2 / COUNT**0.5)
    assert drawn.air_density.shape == (COUNT,)


def test_a_build_without_spreads_is_its_own_draw(commuter):
    certain = replace(commuter, {path: spread.nominal for path, spread in commuter.spreads.items()})
    assert not certain.spreads
    assert draw(certain, 10, 1) == certain
    with pytest.raises(ValueError, match="count must be at least 1, got 0"):
        draw(commuter, 0, 1)


def test_draws_at_given_probabilities(commuter, root):
    shares = np.array([0.05, 0.5, 0.95])
    drawn = draw_at(commuter, {"rider.drag_area": shares, "rider.critical_power": shares, "packs.pack.rear.cell_resistance": shares[::-1]})
    assert drawn.rider.drag_area == pytest.approx([0.55 - 1.6449 * 0.05, 0.55, 0.55 + 1.6449 * 0.05], abs=1e-5)
    assert drawn.rider.critical_power == pytest.approx([156.5, 170, 183.5])
    assert np.all(np.diff(drawn.packs.pack[2].cell_resistance) < 0)
    assert drawn.rider.mass == 78 and set(drawn.spreads) == set(commuter.spreads) - {
        "rider.drag_area",
        "rider.critical_power",
        "packs.pack.rear.cell_resistance",
    }
    case = load_case(root / "data" / "cases" / "head_wind.toml")
    assert draw_at(case, {"head_wind": shares}).head_wind[1] == pytest.approx(case.head_wind)
    for path, share, message in (
        ("rider.mas", 0.5, r"'rider.mas' has no spread in 'Harbour commuter' \(did you mean 'rider.mass'\?\)"),
        ("cranks.length", 0.5, "'cranks.length' has no spread"),
        ("rider.mass", [0.5, 1.5], "probabilities of 'rider.mass' must be from 0 to 1"),
        ("rider.mass", [0.5, np.nan], "probabilities of 'rider.mass' must be from 0 to 1"),
    ):
        with pytest.raises(ValueError, match=message):
            draw_at(commuter, {path: share})


def test_draws_at_the_probabilities_of_plain_draws_are_the_plain_draws(commuter):
    shares = {path: np.random.default_rng([7, zlib.crc32(path.encode())]).random(40) for path in commuter.spreads}
    assert draw_at(commuter, shares) == draw(commuter, 40, 7)


def test_every_path_in_words(commuter):
    assert meaning("rider.mass") == "mass of the rider with clothes and load"
    assert meaning("assist.driving_gain.long").endswith(" (long)")
    assert meaning("head_wind", Case) == "wind against the travel"
    assert len({meaning(path) for path in commuter.spreads}) == len(commuter.spreads)
    with pytest.raises(ValueError, match="there is no field 'rider.mas'"):
        meaning("rider.mas")


@pytest.mark.parametrize(
    ("shape", "parameters", "text"),
    [
        ("normal", (1,), "a spread is normal with 2, uniform with 2 or triangular with 3 parameters, got 'normal' with 1 parameters"),
        ("beta", (1, 2), "got 'beta' with 2 parameters"),
        ("normal", (1, 0), "the standard deviation must be above 0"),
        ("normal", (1, float("nan")), "the parameters of a spread must be finite"),
        ("uniform", (2, 1), "the ends must rise"),
        ("triangular", (1, 3, 2), "the ends must rise"),
    ],
)
def test_an_impossible_spread_is_refused(shape, parameters, text):
    with pytest.raises(ValueError, match=text):
        Spread(shape, parameters)


def test_a_spread_belongs_to_a_number_and_to_its_nominal_value(commuter):
    for spreads, line in (
        ({"rider.mas": Spread("normal", (78, 1))}, "rider.mas: expected the path of a number that can be uncertain; found: a spread for"),
        ({"motor.pole_pairs": Spread("normal", (23, 1))}, "motor.pole_pairs: expected the path of a number that can be uncertain"),
        ({"rider.mass": Spread("normal", (70, 1))}, "rider.mass = 78.0: expected the nominal value of its spread"),
    ):
        with pytest.raises(InputError) as caught:
            dataclasses.replace(commuter, spreads=spreads)
        assert str(caught.value).startswith(line)
