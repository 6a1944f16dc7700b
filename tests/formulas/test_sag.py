"""Sag under load by a general solver of differential equations, by limits and by what adds up; broadcasting and messages."""

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from scipy.integrate import quad, solve_ivp
from scipy.linalg import expm

from unikit.formulas import FORMULAS, cells, pack, sag

CELL = {"ohmic_resistance": 0.4, "fast_resistance": 0.12, "fast_time": 6.0, "slow_resistance": 0.15, "slow_time": 210.0}
BRANCHES = {name: value for name, value in CELL.items() if name != "ohmic_resistance"}
CURVE = (0.0, 0.04, 0.1, 0.3, 0.6, 1.0), (39.0, 42.4, 44.6, 46.9, 49.3, 54.3)
ONE = {"curve_charge": CURVE[0], "curve_voltage": [CURVE[1]], "from_charge": 0.9}
LARGER = (2.5, 1.6, 1.2, 1.05, 1.0, 1.1)


# -- one pack: the exact answers to a constant current ---------------------------------


@pytest.mark.checks("independent", "sag.following_current", "sag.resistance_after", "sag.voltage_to_recover")
def test_a_load_and_the_rest_after_it_by_integrating_capacitors_and_resistances():
    capacities = [BRANCHES["fast_time"] / 0.12, BRANCHES["slow_time"] / 0.15]

    def rate(time, over):
        current = 4.0 if time < 90.0 else 0.0
        return [(current - over[0] / 0.12) / capacities[0], (current - over[1] / 0.15) / capacities[1]]

    loaded = solve_ivp(rate, (0, 90), [0.0, 0.0], rtol=1e-11, atol=1e-13)
    rested = solve_ivp(rate, (90, 130), loaded.y[:, -1], rtol=1e-11, atol=1e-13)
    sagged = 4.0 * sag.resistance_after(90.0, **CELL)
    assert sagged == pytest.approx(4.0 * 0.4 + loaded.y[:, -1].sum(), rel=1e-9)
    assert sag.voltage_to_recover(40.0, 4.0, 90.0, **BRANCHES) == pytest.approx(rested.y[:, -1].sum(), rel=1e-9)


@pytest.mark.checks("limit", "sag.resistance_after", "sag.voltage_to_recover", "sag.following_current")
def test_the_first_moment_and_no_end():
    assert sag.resistance_after(0.0, **CELL) == 0.4
    assert sag.resistance_after(np.inf, **CELL) == pytest.approx(0.4 + 0.12 + 0.15, rel=1e-15)
    assert sag.voltage_to_recover(0.0, 3.0, np.inf, **BRANCHES) == pytest.approx(3.0 * 0.27, rel=1e-15)
    assert sag.voltage_to_recover(1e6, 3.0, 60.0, **BRANCHES) == 0.0
    assert sag.following_current(5.0, 0.0, 7.0, 2.0) == 2.0


@pytest.mark.checks("independent", "sag.course")
def test_a_course_of_current_by_a_matrix_exponential():
    time, current, charge = np.array([0.0, 3.0, 50.0, 51.0, 400.0]), np.array([6.0, 1.0, -3.0, 2.0]), 7000.0
    # state: share of charge, both followers, and the current as a state that stands still
    rates = np.array([[0, 0, 0, -1 / charge], [0, -1 / 6.0, 0, 1 / 6.0], [0, 0, -1 / 210.0, 1 / 210.0], [0, 0, 0, 0]])
    state, found = np.array([0.7, 0.0, 0.0, 0.0]), sag.course(time, current, charge, **CELL, **curve(), from_charge=0.7)
    for number, (step, amps) in enumerate(zip(np.diff(time), current, strict=True)):
        state[3] = amps
        state = expm(rates * step) @ state
        voltage = np.interp(state[0], *CURVE) - 0.4 * amps - 0.12 * state[1] - 0.15 * state[2]
        assert [part[number] for part in found] == pytest.approx([voltage, *state[:3]], rel=1e-12)


def curve(**more):
    return {"curve_charge": CURVE[0], "curve_voltage": CURVE[1]} | more


@pytest.mark.checks("independent", "sag.course", "sag.resistance_after")
def test_steps_of_a_course_may_be_cut_anywhere():
    once = sag.course([0.0, 60.0], [5.0], 9000.0, **CELL, **curve(), from_charge=0.9)
    often = sag.course([0.0, 0.5, 7.0, 7.0, 60.0], [5.0] * 4, 9000.0, **CELL, **curve(), from_charge=0.9)
    assert [part[-1] for part in often] == pytest.approx([part[-1] for part in once], rel=1e-14)
    rest = pack.open_circuit_voltage(0.9 - 300 / 9000, *CURVE)
    assert once.voltage[0] == pytest.approx(rest - 5.0 * sag.resistance_after(60.0, **CELL), rel=1e-14)


@pytest.mark.checks("independent", "sag.voltage_at_power")
@pytest.mark.parametrize(("power", "time"), [(300.0, 20.0), (700.0, 2.0), (-400.0, 100.0), (620.0, 900.0)])
def test_a_constant_power_by_a_solver(power, time):
    def rate(_, felt):
        current = pack.current_at_power(48.0 - 0.12 * felt[0] - 0.15 * felt[1], 0.4, power)
        return [(current - felt[0]) / 6.0, (current - felt[1]) / 210.0]

    felt = solve_ivp(rate, (0, time), [0.0, 0.0], rtol=1e-11, atol=1e-13).y[:, -1]
    source = 48.0 - 0.12 * felt[0] - 0.15 * felt[1]
    expected = source - 0.4 * pack.current_at_power(source, 0.4, power)
    assert sag.voltage_at_power(power, time, 48.0, **CELL) == pytest.approx(expected, rel=2e-7)


@pytest.mark.checks("limit", "sag.voltage_at_power")
def test_a_constant_power_at_the_first_moment_and_for_ever():
    for time, resistance in ((0.0, 0.4), (1e5, 0.67)):
        expected = 48.0 - resistance * pack.current_at_power(48.0, resistance, 500.0)
        assert sag.voltage_at_power(500.0, time, 48.0, **CELL) == pytest.approx(expected, rel=1e-6)


@pytest.mark.checks("independent", "sag.power_above")
def test_the_greatest_power_leaves_exactly_the_voltage():
    power = sag.power_above(48.0, 0.5, 39.0)
    assert 48.0 - 0.5 * pack.current_at_power(48.0, 0.5, power) == pytest.approx(39.0, rel=1e-13)
    assert sag.power_above(48.0, 0.5, 10.0) == pytest.approx(pack.greatest_power(48.0, 0.5), rel=1e-13)
    assert sag.power_above(38.0, 0.5, 39.0) == 0.0


def test_a_power_held_for_a_time_ends_a_little_above_the_voltage_that_bounds_it():
    power = sag.power_above(48.0, sag.resistance_after(30.0, **CELL), 39.0)
    ended = sag.voltage_at_power(power, 30.0, 48.0, **CELL)
    assert 39.0 < ended < 39.3


# -- a set of packs ----------------------------------------------------------------------


def unequal(series: bool = False, power: float = 300.0):
    """Three packs, each its own, over a discharge by share and by a solver with the shared voltage as an inner problem."""
    kinds = {
        "charge": np.array([7380.0, 7380.0, 5900.0]),
        "ohmic_resistance": np.array([0.36, 0.55, 0.40]),
        "wiring_resistance": np.array([0.025, 0.03, 0.025]),
        "fast_resistance": np.array([0.12, 0.2, 0.12]),
        "fast_time": np.array([6.0, 5.0, 8.0]),
        "slow_resistance": np.array([0.14, 0.21, 0.0]),
        "slow_time": np.array([210.0, 260.0, 210.0]),
    }
    start, factor = np.array([0.95, 0.95, 0.9]), np.array([LARGER, LARGER, np.ones(6)])
    voltages = np.array([CURVE[1], CURVE[1], np.array(CURVE[1]) + 0.2])

    def currents(state):
        left, fast, slow = state.reshape(3, 3)
        grown = [np.interp(s, CURVE[0], f) for s, f in zip(left, factor, strict=True)]
        rest = [np.interp(s, CURVE[0], v) for s, v in zip(left, voltages, strict=True)]
        inner = kinds["wiring_resistance"] + grown * kinds["ohmic_resistance"]
        source = rest - np.asarray(grown) * (kinds["fast_resistance"] * fast + kinds["slow_resistance"] * slow)
        if series:
            each = np.full(3, pack.current_at_power(source.sum(), inner.sum(), power))
        else:
            joined = 1 / np.sum(1 / inner)
            whole = joined * np.sum(source / inner)
            each = (source - (whole - joined * pack.current_at_power(whole, joined, power))) / inner
        return each, source - inner * each, np.asarray(rest)

    def rate(_, state):
        each, terminal, rest = currents(state[:9])
        _, fast, slow = state[:9].reshape(3, 3)
        followers = [(each - fast) / kinds["fast_time"], (each - slow) / kinds["slow_time"]]
        return np.concatenate([-each / kinds["charge"], *followers, each * (rest - terminal)])

    table = {"curve_charge": CURVE[0], "curve_voltage": voltages, "curve_resistance": factor, "from_charge": start}
    return kinds, table, currents, rate


@pytest.mark.checks("independent", "sag.share")
@pytest.mark.parametrize("series", [False, True])
def test_unequal_packs_under_load_by_a_solver(series):
    kinds, table, currents, rate = unequal(series)
    end = 2000.0
    run = solve_ivp(
        rate, (0, end), np.concatenate([table["from_charge"], np.zeros(9)]), rtol=1e-9, atol=1e-11, max_step=5.0, t_eval=[end / 2, end]
    )
    time = np.concatenate([np.linspace(0, 60, 121), np.linspace(60, end / 2, 301)[1:], np.linspace(end / 2, end, 301)[1:]])
    got = sag.share(time, 300.0, **kinds, **table, in_series=series)
    for state, place in ((run.y[:, 0], 420), (run.y[:, 1], 720)):
        each, terminal, _ = currents(state[:9])
        assert got.current[place] == pytest.approx(each, rel=2e-4)
        assert got.state_of_charge[place] == pytest.approx(state[:3], rel=2e-4)
        assert got.voltage[place] == pytest.approx(terminal.sum() if series else terminal[0], rel=2e-5)
        assert got.heat[place] == pytest.approx(state[9:], rel=5e-4)


@pytest.mark.checks("independent", "sag.share")
@pytest.mark.parametrize("series", [False, True])
def test_what_the_cells_lose_is_delivered_or_becomes_heat(series):
    kinds, table, *_ = unequal(series)
    time = np.concatenate([np.linspace(0, 60, 61), np.linspace(60, 2000, 300)[1:]])
    got = sag.share(time, 300.0, **kinds, **table, in_series=series)
    chemical = [
        charge * quad(lambda s, line=line: np.interp(s, CURVE[0], line), low, high, points=[0.3, 0.6], epsabs=1e-10)[0]
        for charge, line, low, high in zip(
            kinds["charge"], table["curve_voltage"], got.state_of_charge[-1], table["from_charge"], strict=True
        )
    ]
    assert sum(chemical) == pytest.approx(300.0 * 2000.0 + got.heat[-1].sum(), rel=2e-6)
    assert np.all(np.diff(got.heat, axis=0) >= 0)
    assert got.voltage * got.current.sum(axis=-1) == pytest.approx(np.full(len(time), 300.0 * (3 if series else 1)), rel=1e-9)


@pytest.mark.checks("independent", "sag.share")
def test_a_power_that_rises_jumps_and_charges_by_a_solver():
    wanted = lambda time: 100.0 + 0.5 * time if time < 200.0 else -150.0

    def current(time, state):
        rest = np.interp(state[0], *CURVE) - 0.12 * state[1] - 0.15 * state[2]
        return pack.current_at_power(rest, 0.4, wanted(time))

    def rate(time, state):
        amps = current(time, state)
        return [-amps / 7000.0, (amps - state[1]) / 6.0, (amps - state[2]) / 210.0]

    up = solve_ivp(rate, (0, 200 - 1e-9), [0.9, 0.0, 0.0], rtol=1e-11, atol=1e-12, max_step=1.0)
    down = solve_ivp(rate, (200, 260), up.y[:, -1], rtol=1e-11, atol=1e-12, max_step=1.0)
    time = np.concatenate([np.linspace(0, 200, 801), np.linspace(200, 260, 241)])
    power = np.array([*(100.0 + 0.5 * time[:801]), *np.full(241, -150.0)])
    got = sag.share(time, power, [7000.0], **CELL, wiring_resistance=0.0, **ONE)
    assert got.current[800, 0] == pytest.approx(current(199.999999, up.y[:, -1]), rel=1e-6)
    assert got.current[801, 0] == pytest.approx(current(200.0, up.y[:, -1]), rel=1e-6)
    assert got.current[-1, 0] == pytest.approx(current(260.0, down.y[:, -1]), rel=1e-5)
    assert got.state_of_charge[-1, 0] == pytest.approx(down.y[0, -1], rel=1e-7)
    both = sag.share(time[:, None], np.stack([power, 0 * power + 100.0], axis=1), [7000.0], **CELL, wiring_resistance=0.0, **ONE)
    assert both.current[:, 0] == pytest.approx(got.current, rel=1e-13)


def test_half_the_step_gives_a_quarter_of_the_error():
    kinds, table, *_ = unequal()

    def ended(steps):
        return sag.share(
            np.linspace(0, 1500, steps + 1), 300.0, **kinds, **table
        ).heat[-1].sum()  # fmt: skip

    exact = ended(1600)
    assert abs(ended(400) - exact) < 0.35 * abs(ended(200) - exact)


@pytest.mark.checks("limit", "sag.share")
def test_equal_packs_share_alike_and_one_alone_is_its_own_course_of_current():
    alike = {"charge": [7000.0] * 2, **{name: [value] * 2 for name, value in CELL.items()}, "wiring_resistance": 0.0}
    got = sag.share([0.0, 1.0, 30.0, 300.0], 500.0, **alike, curve_charge=CURVE[0], curve_voltage=[CURVE[1]] * 2, from_charge=0.9)
    assert got.current[:, 0] == pytest.approx(got.current[:, 1], rel=1e-14)
    time = np.linspace(0, 300, 1201)
    one = sag.share(time, 250.0, [7000.0], **CELL, wiring_resistance=0.0, **ONE)
    mean = (one.current[1:, 0] + one.current[:-1, 0]) / 2
    stepped = sag.course(time, mean, 7000.0, **CELL, **curve(), from_charge=0.9)
    assert stepped.state_of_charge == pytest.approx(one.state_of_charge[1:, 0], rel=1e-12)
    assert stepped.voltage[-1] == pytest.approx(one.voltage[-1], rel=1e-5)


def test_powers_and_temperatures_together_are_the_same_as_each_alone():
    kinds, table, *_ = unequal()
    powers, warmth = np.array([100.0, 300.0, 500.0]), np.array([1.0, 2.0])[:, None]
    time = np.linspace(0, 1, 40)[:, None, None] * (600.0, 400.0, 200.0)
    hot = {name: kinds[name] * (warmth[..., None] if "fast_r" in name or "ohmic" in name else 1.0) for name in kinds}
    whole = sag.share(time, powers, **hot, **table)
    for row in range(2):
        for column in range(3):
            single = {name: np.broadcast_to(value, (2, 1, 3) if np.ndim(value) == 3 else (3,)) for name, value in hot.items()}
            single = {name: value[row, 0] if value.ndim == 3 else value for name, value in single.items()}
            alone = sag.share(time[:, 0, column], powers[column], **single, **table)
            for part, other in zip(whole, alone, strict=True):
                assert part[:, row, column] == pytest.approx(other, rel=1e-13)


def test_a_voltage_that_collapses_is_nan_from_there():
    got = sag.share([0.0, 1.0, 2.0], 2000.0, [7000.0], **CELL, wiring_resistance=0.0, **(ONE | {"from_charge": 0.1}))
    assert np.isnan(got.voltage).all()
    with pytest.raises(ValueError, match="power must be at most what the pack can give for this time"):
        sag.voltage_at_power(np.array([10.0, 1100.0]), 900.0, 48.0, **CELL)


# -- others ------------------------------------------------------------------------------


@pytest.mark.checks("limit", "sag.peukert_time")
def test_an_exponent_of_one_and_the_rated_current():
    assert sag.peukert_time(3.0, 36000.0, 7200.0, 1.0) == pytest.approx(12000.0)
    assert sag.peukert_time(5.0, 36000.0, 7200.0, 1.3) == pytest.approx(7200.0)


@pytest.mark.checks("limit", "cells.graphite_potential", "cells.nickel_potential", "cells.phosphate_potential", "cells.published_voltage")
def test_the_published_cells_are_empty_and_full_at_the_voltages_between_which_they_were_used():
    for chemistry, low, high in (("nickel manganese cobalt", 2.5, 4.2), ("iron phosphate", 2.0, 3.6)):
        assert cells.published_voltage(np.array([0.0, 1.0]), chemistry) == pytest.approx([low, high], abs=1e-6)
        assert np.all(np.diff(cells.published_voltage(np.linspace(0, 1, 401), chemistry)) > 0)
        window = cells.PUBLISHED[chemistry]
        positive = {"nickel": cells.nickel_potential, "phosphate": cells.phosphate_potential}[window.positive]
        assert positive(window.positive_full) - cells.graphite_potential(window.negative_full) == pytest.approx(high, abs=1e-6)
    plateau = cells.published_voltage(np.array([0.3, 0.8]), "iron phosphate")
    assert plateau[1] - plateau[0] == pytest.approx(0.104, abs=0.0005)


LISTS = {
    "sag.following_current": {"current": [1.0, 4.0], "time": [0.0, 3.0, 9.0], "time_constant": 7.0},
    "sag.resistance_after": {"time": [0.0, 3.0, np.inf], "ohmic_resistance": [0.1, 0.2], **BRANCHES},
    "sag.voltage_to_recover": {"rest_time": [0.0, 4.0], "current": [1.0, 2.0, 3.0], "time": 30.0, **BRANCHES},
    "sag.power_above": {"open_circuit_voltage": [40.0, 50.0], "resistance": [0.1, 0.4, 0.9], "lowest_voltage": 39.0},
    "sag.voltage_at_power": {"power": [0.0, 200.0], "time": [0.0, 3.0, 80.0], "open_circuit_voltage": 48.0, **CELL},
    "sag.peukert_time": {"current": [1.0, 2.0], "charge": [36e3, 40e3, 50e3], "rated_time": 3600.0, "exponent": 1.1},
    "cells.graphite_potential": {"stoichiometry": [0.1, 0.9]},
    "cells.nickel_potential": {"stoichiometry": [0.3, 0.9]},
    "cells.phosphate_potential": {"stoichiometry": [0.0, 0.9]},
    "cells.published_voltage": {"state_of_charge": [0.0, 0.3], "chemistry": "iron phosphate"},
}


def test_every_formula_is_in_the_table():
    apart = {"sag.course", "sag.share"}  # their axes are tested above
    assert {name for name in FORMULAS if name.startswith(("sag.", "cells."))} == set(LISTS) | apart


@pytest.mark.parametrize("name", LISTS)
def test_arrays_equal_a_loop(name):
    arguments = dict(LISTS[name])
    if sum(isinstance(value, list) for value in arguments.values()) == 1:
        first = next(key for key, value in arguments.items() if isinstance(value, list))
        many = FORMULAS[name].function(**(arguments | {first: np.array(arguments[first])}))
        assert many == pytest.approx([FORMULAS[name].function(**(arguments | {first: one})) for one in arguments[first]], rel=1e-14)
    else:
        assert_broadcasts(FORMULAS[name].function, **arguments)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: sag.following_current(1.0, -1.0, 5.0), "time must be 0 or above"),
        (lambda: sag.following_current(1.0, 1.0, 0.0), "time_constant must be above 0"),
        (lambda: sag.resistance_after(1.0, 0.1, -0.1, 5.0, 0.1, 50.0), "fast_resistance must be 0 or above"),
        (lambda: sag.power_above(40.0, 0.0, 39.0), "resistance must be above 0"),
        (lambda: sag.course([0.0], [1.0], 7000.0, **CELL, **curve()), "time must be a list of at least two instants"),
        (lambda: sag.course([0.0, 5.0], [1.0, 2.0], 7000.0, **CELL, **curve()), "one value for each of the 1 steps"),
        (lambda: sag.course([0.0, 9000.0], [1.0], 7000.0, **CELL, **curve()), "state_of_charge must be from 0 to 1"),
        (lambda: sag.share([0.0, -1.0], 1.0, [1.0], 1, 0, 0, 1, 0, 1, (0, 1), [(3, 4)]), "none before the one in front"),
        (lambda: sag.share([0.0, 1.0], 1.0, [1.0], 1, 0, 0, 1, 0, 1, (0, 0), [(3, 4)]), "curve_charge must be one rising list"),
        (lambda: sag.share([0.0, 1.0], 1.0, [1.0], 1, 0, 0, 1, 0, 1, (0, 1), (3, 4)), "packs and then 2 voltages"),
        (lambda: sag.share([0.0, 1.0], [1.0] * 3, [1.0], 1, 0, 0, 1, 0, 1, (0, 1), [(3, 4)]), "for each of the 2 instants.*shape \\(3,\\)"),
        (lambda: sag.peukert_time(0.0, 1.0, 1.0, 1.0), "current must be above 0"),
        (lambda: cells.published_voltage(0.5, "titanate"), "chemistry must be one of 'nickel manganese cobalt', 'iron phosphate'"),
        (lambda: cells.graphite_potential(1.2), "stoichiometry must be from 0 to 1"),
    ],
)
def test_impossible_arguments_are_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()
