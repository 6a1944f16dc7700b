"""Packs: values that need more than one call, energy by second routes, limits, broadcasting, messages."""

import numpy as np
import pytest
from published import published
from scipy.integrate import solve_ivp, trapezoid
from scipy.interpolate import make_interp_spline

from unikit.formulas import FORMULAS, pack

CHARGE = 10 * 3600.0
CURVE = (0.0, 0.05, 0.2, 0.6, 0.9, 1.0), (30.0, 33.5, 35.2, 37.4, 40.5, 41.8)
PACK = {"charge": CHARGE, "resistance": 0.12, "curve_charge": CURVE[0], "curve_voltage": CURVE[1]}


def matches(row, value):
    assert value == pytest.approx(row.value, abs=row.tolerance, rel=0)


def test_two_unequal_sources_on_one_load():
    voltage, resistance = pack.joined_voltage(4.0, 2.0, 2.0, 1.0), pack.joined_resistance(2.0, 1.0)
    at_load = pack.joined_voltage(voltage, resistance, 0.0, 4.0)
    matches(published("B-07-v"), at_load)
    matches(published("B-07-1"), pack.branch_current(4.0, 2.0, at_load))
    matches(published("B-07-2"), pack.branch_current(2.0, 1.0, at_load))
    load = voltage / (resistance + 4.0)
    matches(published("B-07-load"), load)
    assert pack.branch_current(4.0, 2.0, at_load) + pack.branch_current(2.0, 1.0, at_load) == pytest.approx(load, rel=1e-14)


@pytest.mark.checks("independent", "pack.equalising_current", "pack.joined_voltage", "pack.terminal_voltage")
def test_joined_packs_meet_at_one_voltage():
    flow = pack.equalising_current(54.6, 48.0, 0.1 + 0.15)
    assert pack.terminal_voltage(54.6, 0.1, flow) == pytest.approx(pack.terminal_voltage(48.0, 0.15, -flow), rel=1e-14)
    assert pack.terminal_voltage(54.6, 0.1, flow) == pytest.approx(pack.joined_voltage(54.6, 0.1, 48.0, 0.15), rel=1e-14)


@pytest.mark.checks("independent", "pack.open_circuit_voltage")
def test_curve_by_a_spline_of_first_degree():
    state = np.linspace(0.0, 1.0, 101)
    assert pack.open_circuit_voltage(state, *CURVE) == pytest.approx(make_interp_spline(*CURVE, k=1)(state), rel=1e-13)
    stacked = pack.open_circuit_voltage(state[:, None], CURVE[0], np.outer([1.0, 2.0], CURVE[1]))
    assert stacked == pytest.approx(np.outer(pack.open_circuit_voltage(state, *CURVE), [1.0, 2.0]), rel=1e-13)


@pytest.mark.checks("independent", "pack.current_at_power")
@pytest.mark.parametrize("power", [-900.0, 0.0, 1e-9, 700.0, 3499.0])
def test_power_is_voltage_times_current(power):
    current = pack.current_at_power(41.0, 0.12, power)
    assert pack.terminal_voltage(41.0, 0.12, current) * current == pytest.approx(power, rel=1e-12)
    assert np.sign(current) == np.sign(power)
    assert pack.terminal_voltage(41.0, 0.12, current) >= 20.5


@pytest.mark.checks("limit", "pack.current_at_power", "pack.greatest_power")
def test_greatest_power_is_at_half_the_voltage():
    most = pack.greatest_power(40.0, 0.125)
    assert pack.current_at_power(40.0, 0.125, most) == pytest.approx(40.0 / (2 * 0.125), rel=1e-12)
    assert pack.current_at_power(40.0, 0.0, 200.0) == pytest.approx(5.0, rel=1e-14)
    with pytest.raises(ValueError, match="power must be at most the greatest power of the pack"):
        pack.current_at_power(40.0, 0.125, np.array([10.0, most * 1.0001]))


@pytest.mark.checks("independent", "pack.delivered_energy")
@pytest.mark.parametrize(("power", "start", "end"), [(150.0, 1.0, 0.0), (900.0, 0.97, 0.11), (1800.0, 1.0, 0.03)])
def test_energy_by_integrating_the_state_of_charge(power, start, end):
    def rate(_, state):
        return [-pack.current_at_power(float(np.interp(state[0], *CURVE)), 0.12, power) / CHARGE]

    def empty(_, state):
        return state[0] - end

    empty.terminal = True
    # below the last point the curve is held, so that the solver may look past the end
    run = solve_ivp(rate, (0, 1e6), [start], events=empty, rtol=1e-11, atol=1e-13, max_step=20 * 3600 / power * 10)
    energy = pack.delivered_energy(power, from_charge=start, to_charge=end, **PACK)
    assert energy == pytest.approx(power * run.t_events[0][0], rel=1e-8)


@pytest.mark.checks("limit", "pack.delivered_energy")
def test_energy_at_low_power_is_charge_times_mean_voltage():
    at_rest = CHARGE * trapezoid(CURVE[1], CURVE[0])
    assert pack.delivered_energy(0.0, **PACK) == pytest.approx(at_rest, rel=1e-13)
    assert pack.delivered_energy(1e-6, **PACK) == pytest.approx(at_rest, rel=1e-9)
    assert pack.delivered_energy(500.0, **(PACK | {"resistance": 0.0})) == pytest.approx(at_rest, rel=1e-13)
    flat = PACK | {"curve_charge": (0.0, 1.0), "curve_voltage": (36.0, 36.0)}
    current = pack.current_at_power(36.0, 0.12, 800.0)
    assert pack.delivered_energy(800.0, **flat) == pytest.approx(CHARGE * pack.terminal_voltage(36.0, 0.12, current), rel=1e-13)
    # where the pack only just can: half the voltage all the way
    assert pack.delivered_energy(pack.greatest_power(36.0, 0.12), **flat) == pytest.approx(CHARGE * 18.0, rel=1e-7)


@pytest.mark.checks("independent", "pack.delivered_energy")
def test_energy_adds_up_and_keeps_its_digits_at_the_greatest_power():
    parts = pack.delivered_energy(600.0, from_charge=np.array([1.0, 0.7, 0.33]), to_charge=np.array([0.7, 0.33, 0.0]), **PACK)
    assert parts.sum() == pytest.approx(pack.delivered_energy(600.0, **PACK), rel=1e-13)
    assert pack.delivered_energy(600.0, from_charge=0.5, to_charge=0.5, **PACK) == 0.0
    # closed form of one straight segment down to the greatest power, in the terminal voltage v
    high, low, resistance = 42.0, 30.0, 0.1
    power = pack.greatest_power(low, resistance)
    top, bottom = (high + np.sqrt(high**2 - low**2)) / 2, low / 2
    closed = ((top**2 - bottom**2) / 2 - resistance * power * np.log(top / bottom)) / (high - low)
    assert pack.delivered_energy(power, 1.0, resistance, (0.0, 1.0), (low, high)) == pytest.approx(closed, rel=1e-12)


def test_energy_is_refused_where_the_pack_cannot_give_the_power():
    limit = pack.greatest_power(CURVE[1][0], 0.12)
    assert pack.delivered_energy(limit * (1 - 1e-9), **PACK) > 0
    with pytest.raises(ValueError, match=r"power must be at most what the pack can give down to to_charge.*falls to 1875 W"):
        pack.delivered_energy(limit * 1.01, **PACK)
    assert pack.delivered_energy(limit * 1.01, to_charge=0.05, **PACK) > 0


def test_energy_broadcasts_over_packs_and_powers():
    power, resistance = np.array([[100.0], [400.0]]), np.array([0.05, 0.1, 0.2])
    series = np.outer([0.9, 1.0, 1.1], CURVE[1])
    together = pack.delivered_energy(power, CHARGE, resistance, CURVE[0], series, 0.95, np.array([0.1, 0.2, 0.3]))
    looped = [
        [pack.delivered_energy(p, CHARGE, r, CURVE[0], v, 0.95, e) for r, v, e in zip(resistance, series, (0.1, 0.2, 0.3), strict=True)]
        for p in power[:, 0]
    ]
    assert together == pytest.approx(np.array(looped), rel=1e-13)


SCALARS = {
    "pack.energy": (36.0, 9000.0),
    "pack.open_circuit_voltage": (0.4,),
    "pack.string_voltage": (3.6, 10.0),
    "pack.string_resistance": (0.02, 10.0, 4.0, 0.01),
    "pack.joined_voltage": (41.0, 0.1, 40.0, 0.2),
    "pack.joined_resistance": (0.1, 0.2),
    "pack.equalising_current": (41.0, 40.0, 0.3),
    "pack.terminal_voltage": (41.0, 0.1, 20.0),
    "pack.branch_current": (41.0, 0.1, 39.0),
    "pack.internal_resistance": (41.0, 39.0, 20.0),
    "pack.greatest_power": (41.0, 0.1),
    "pack.current_at_power": (41.0, 0.1, 400.0),
    "pack.delivered_energy": (400.0, 9000.0, 0.1),
    "pack.round_trip": (9.0, 3.6, 10.0, 4.0),
    "pack.arrhenius_factor": (35e3, 275.0, 298.15),
}


def test_every_formula_is_in_the_table():
    assert {name for name in FORMULAS if name.startswith("pack.")} == set(SCALARS)


@pytest.mark.parametrize("name", SCALARS)
def test_arrays_equal_a_loop(name):
    scale = np.array([[1.0, 1.02], [1.05, 1.1]])
    curve = {"curve_charge": CURVE[0], "curve_voltage": CURVE[1]} if "curve_charge" in FORMULAS[name].arguments else {}
    call = lambda s: (
        np.stack(FORMULAS[name].function(*(v * s for v in SCALARS[name]), **curve), axis=-1)
        if name == "pack.round_trip"
        else (FORMULAS[name].function(*(v * s for v in SCALARS[name]), **curve))
    )
    assert call(scale) == pytest.approx(np.array([[call(s) for s in row] for row in scale]), rel=1e-13)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: pack.open_circuit_voltage(1.01, *CURVE), "state_of_charge must be from 0 to 1, got 1.01"),
        (lambda: pack.open_circuit_voltage(0.5, (0.0, 0.5, 0.5), (3.0, 3.5, 4.0)), "curve_charge must be one rising list"),
        (lambda: pack.open_circuit_voltage(0.5, (0.0, 1.0), (3.0, 3.5, 4.0)), r"one voltage for each of the 2 states.*shape \(3,\)"),
        (lambda: pack.open_circuit_voltage(0.5, (0.0, 1.0), (0.0, 4.0)), "curve_voltage must be above 0"),
        (lambda: pack.equalising_current(54.0, 48.0, 0.0), "resistance must be above 0"),
        (lambda: pack.joined_voltage(54.0, 0.0, 48.0, 0.0), r"resistance_a \+ resistance_b must be above 0"),
        (lambda: pack.internal_resistance(54.0, 48.0, 0.0), "size of current must be above 0"),
        (lambda: pack.delivered_energy(-5.0, **PACK), "power must be 0 or above"),
        (lambda: pack.delivered_energy(5.0, from_charge=0.2, to_charge=0.3, **PACK), "from_charge - to_charge must be 0 or above"),
        (lambda: pack.string_resistance(0.02, 10, 0), "parallel must be above 0"),
    ],
)
def test_impossible_arguments_are_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()
