"""The reachable torque: against a point-by-point search, its balances, and its edges."""

import numpy as np
import pytest
from published import published
from scipy.optimize import brentq

from unikit.formulas import dq, drive, motor, reach

MACHINE = dict(
    torque_constant_peak=0.82,
    phase_resistance=0.09,
    quadrature_inductance=0.25e-3,
    pole_pairs=20,
    open_circuit_voltage=50.0,
    pack_resistance=0.12,
    phase_current_limit=60.0,
    battery_current_limit=25.0,
    charge_current_limit=8.0,
    bridge_resistance=0.004,
    standby_power=4.0,
)


def bus(current, rotation, m):
    """Power, pack current and bus voltage at a quadrature current, the pack solved as its own quadratic."""
    power = 1.5 * (m["phase_resistance"] + m["bridge_resistance"]) * current**2
    power += m["torque_constant_peak"] * current * rotation + m["standby_power"]
    inner, source = m["pack_resistance"], m["open_circuit_voltage"]
    under = source**2 - 4 * inner * power
    if under < 0:
        return power, np.nan, np.nan
    pack = 2 * power / (source + np.sqrt(under))
    return power, pack, source - inner * pack


def phase_voltage(current, rotation, m):
    """Magnitude of the phase voltage from the dq equations, bridge included."""
    rate = m["pole_pairs"] * rotation
    flux = m["torque_constant_peak"] / (1.5 * m["pole_pairs"])
    series = m["phase_resistance"] + m["bridge_resistance"]
    return np.hypot(series * current + rate * flux, rate * m["quadrature_inductance"] * current)


def slack(current, rotation, m):
    """Smallest of all the relative distances to a limit; above 0 is allowed."""
    power, pack, volts = bus(current, rotation, m)
    if np.isnan(pack):
        return -1.0
    limit = drive.MODULATION[m["modulation"]] * volts
    return min(
        1 - phase_voltage(current, rotation, m) / limit,
        (m["battery_current_limit"] - pack) / m["open_circuit_voltage"],
        (m["charge_current_limit"] + pack) / m["open_circuit_voltage"],
        (m["phase_current_limit"] - abs(current)) / m["phase_current_limit"],
    )


def searched(rotation, m, sense, points=3000):
    """Walk outward from zero to the first forbidden current and close in on the edge."""
    inside = sense * 1e-9  # at zero itself a limit of zero is met exactly, on both sides
    if slack(inside, rotation, m) < 0:
        return 0.0
    walk = sense * m["phase_current_limit"] * np.linspace(0, 1.001, points)
    # The charge limit can be passed and met again within one stride: stop where the margin is least, too.
    work = m["torque_constant_peak"] * rotation
    least = -work / (3 * (m["phase_resistance"] + m["bridge_resistance"]))
    if least * sense > 0:
        walk = np.sort(np.append(walk, least))[:: int(sense)]
    for outside in walk[walk * sense > 1e-9]:
        if slack(outside, rotation, m) < 0:
            return m["torque_constant_peak"] * brentq(slack, inside, outside, args=(rotation, m), xtol=1e-13, rtol=1e-13)
        inside = outside
    raise AssertionError("no limit found")


def random_machine(rng):
    machine = dict(
        torque_constant_peak=rng.uniform(0.3, 1.5),
        phase_resistance=rng.uniform(0.02, 0.4),
        quadrature_inductance=rng.uniform(0.05e-3, 1e-3),
        pole_pairs=int(rng.integers(5, 30)),
        open_circuit_voltage=rng.uniform(20, 80),
        pack_resistance=rng.choice([0.0, rng.uniform(0.01, 0.6)]),
        phase_current_limit=rng.uniform(10, 120),
        battery_current_limit=rng.choice([np.inf, rng.uniform(5, 60)]),
        charge_current_limit=rng.choice([np.inf, 0.0, rng.uniform(1, 30)]),
        bridge_resistance=rng.choice([0.0, 0.005]),
        standby_power=rng.choice([0.0, rng.uniform(0, 15)]),
        modulation=str(rng.choice(list(drive.MODULATION))),
    )
    edge = drive.no_load_speed(machine["open_circuit_voltage"], machine["torque_constant_peak"], machine["modulation"])
    return machine, rng.uniform(-1.1, 1.1) * edge


@pytest.mark.checks("independent", "reach.torque_limits", "drive.no_load_speed")
@pytest.mark.parametrize("seed", range(150))
def test_limits_agree_with_a_search_point_by_point(seed):
    machine, rotation = random_machine(np.random.default_rng(seed))
    at = motor.torque_limits(rotation, **machine)
    # A search needs no sense of rotation, so it is done as it stands.
    assert at.highest == pytest.approx(searched(rotation, machine, 1.0), rel=1e-6, abs=1e-6)
    assert at.lowest == pytest.approx(searched(rotation, machine, -1.0), rel=1e-6, abs=1e-6)


def test_six_step_waveform():
    angle = (np.arange(360_000) + 0.5) * 2 * np.pi / 360_000
    legs = 0.5 * np.sign(np.cos(angle[:, None] - np.arange(3) * 2 * np.pi / 3))
    phase = legs[:, 0] - legs.mean(axis=1)
    row = published("I-02")
    assert np.sqrt((phase**2).mean()) == pytest.approx(row.value, abs=row.tolerance)
    fundamental = 2 * (phase * np.cos(angle)).mean()
    assert drive.phase_voltage_limit(1.0, "six step") == pytest.approx(fundamental, rel=1e-9)


@pytest.mark.checks("independent", "drive.bus_power", "drive.bus_current")
def test_bus_power_is_the_power_of_the_axes_and_of_the_phasors():
    flux = motor.magnet_flux(0.82, 20)
    at = dq.dq_voltages(0.0, 30.0, 20 * 25.0, 0.1, 0.3e-3, 0.3e-3, flux)
    power = drive.bus_power(torque=0.82 * 30, rotation=25.0, current_peak=30.0, phase_resistance=0.1)
    assert power == pytest.approx(1.5 * at.quadrature * 30.0, rel=1e-13)
    peak = np.hypot(*at)
    assert drive.bus_current(30 / np.sqrt(2), peak / 24.0, at.quadrature / peak) == pytest.approx(power / 48.0, rel=1e-13)


def test_range_is_unbroken_over_speed():
    edge = drive.no_load_speed(50.0, 0.82)
    speeds = np.linspace(-1.2 * edge, 1.2 * edge, 24_001)
    at = motor.torque_limits(speeds, **MACHINE)
    assert np.all(at.highest >= 0) and np.all(at.lowest <= 0)
    running = np.abs(speeds) < 0.99 * edge
    free = motor.torque_limits(speeds, **MACHINE | {"charge_current_limit": np.inf})
    forward = running & (speeds > 0)
    for side in (at.highest[forward], free.highest[running], free.lowest[running]):
        assert np.abs(np.diff(side)).max() < 0.1
    beyond = np.abs(speeds) > 1.01 * edge
    assert not at.highest[beyond].any() and not at.lowest[beyond].any()
    assert set(at.highest_by[beyond]) == set(at.lowest_by[beyond]) == {"voltage"}


def test_both_senses_of_rotation_mirror_each_other():
    speeds = np.linspace(0.0, 60.0, 61)
    ahead, back = motor.torque_limits(speeds, **MACHINE), motor.torque_limits(-speeds, **MACHINE)
    assert np.array_equal(ahead.highest, -back.lowest) and np.array_equal(ahead.lowest, -back.highest)
    assert np.array_equal(ahead.highest_by, back.lowest_by) and np.array_equal(ahead.lowest_by, back.highest_by)


@pytest.mark.parametrize(
    ("rotation", "highest_by", "lowest_by"),
    [
        (0.0, "phase current", "phase current"),
        (22.0, "battery current", "charge current"),
        (45.0, "voltage", "charge current"),
        (-45.0, "charge current", "voltage"),
        (80.0, "voltage", "voltage"),
    ],
)
def test_what_limits_is_named(rotation, highest_by, lowest_by):
    at = motor.torque_limits(rotation, **MACHINE)
    assert (at.highest_by, at.lowest_by) == (highest_by, lowest_by)


@pytest.mark.checks("limit", "reach.torque_limits")
def test_no_torque_left_at_the_no_load_speed():
    free = MACHINE | {"standby_power": 0.0}
    for modulation in drive.MODULATION:
        edge = drive.no_load_speed(50.0, 0.82, modulation)
        below = motor.torque_limits(edge * (1 - 1e-9), **free, modulation=modulation)
        assert 0 < below.highest < 1e-5 and below.highest_by == "voltage"
        assert below.lowest < -1
        above = motor.torque_limits(edge * (1 + 1e-9), **free, modulation=modulation)
        assert above == (0.0, 0.0, "voltage", "voltage")


def test_pack_current_and_voltage_at_the_limits_are_those_asked_for():
    speeds = np.linspace(5.0, 52.0, 200)
    at = motor.torque_limits(speeds, **MACHINE)
    series = MACHINE["phase_resistance"]
    seen = set()
    for rotation, highest, lowest, highest_by, lowest_by in zip(speeds, *at, strict=True):
        for torque, by in ((highest, highest_by), (lowest, lowest_by)):
            current = motor.current_for_torque(torque, 0.82)
            power, pack, volts = bus(current, rotation, MACHINE)
            assert drive.bus_power(torque, rotation, current, series, 0.004, 4.0) == pytest.approx(power, rel=1e-12)
            assert power == pytest.approx(volts * pack, rel=1e-10)
            reached = {
                "battery current": pack / 25.0,
                "charge current": -pack / 8.0,
                "phase current": abs(current) / 60.0,
                "voltage": phase_voltage(current, rotation, MACHINE) / drive.phase_voltage_limit(volts),
            }
            assert reached[by] == pytest.approx(1.0, rel=1e-10)
            assert max(reached.values()) <= 1 + 1e-10
            seen.add(by)
    assert seen == set(reach.LIMIT_WORDS[:4])


def test_without_a_battery_limit_the_pack_gives_its_greatest_power():
    weak = MACHINE | {"pack_resistance": 1.0, "battery_current_limit": np.inf, "phase_current_limit": np.inf}
    at = motor.torque_limits(10.0, **weak)
    assert at.highest_by == "battery current"
    power, pack, volts = bus(motor.current_for_torque(at.highest, 0.82) * (1 - 1e-12), 10.0, weak)
    assert (power, volts) == (pytest.approx(50.0**2 / 4), pytest.approx(25.0, rel=1e-4))


def test_charge_limit_takes_the_nearer_of_two_roots():
    # Braking past the point of most power fed back would meet the limit again; that range is not joined to zero.
    weak = MACHINE | {"phase_current_limit": 500.0, "battery_current_limit": np.inf}
    at = motor.torque_limits(25.0, **weak)
    current = motor.current_for_torque(at.lowest, 0.82)
    assert at.lowest_by == "charge current"
    assert -0.82 * 25.0 / (3 * 0.094) < current < 0
    slow = motor.torque_limits(5.0, **weak)
    assert slow.lowest_by == "voltage"


def test_electronics_that_draw_more_than_the_pack_may_give():
    starved = MACHINE | {"battery_current_limit": 0.05}
    assert motor.torque_limits(10.0, **starved) == (0.0, 0.0, "battery current", "battery current")


def test_shapes_broadcast():
    at = motor.torque_limits(np.linspace(0, 50, 5), **MACHINE | {"open_circuit_voltage": np.array([[44.0], [50.0]])})
    assert at.highest.shape == at.lowest_by.shape == (2, 5)
    for row, volts in enumerate((44.0, 50.0)):
        alone = motor.torque_limits(np.linspace(0, 50, 5), **MACHINE | {"open_circuit_voltage": volts})
        assert at.highest[row] == pytest.approx(alone.highest, rel=1e-14)


@pytest.mark.parametrize(
    ("argument", "value", "text"),
    [
        ("modulation", "sine", "modulation must be one of 'space vector', 'sine triangle', 'six step', got 'sine'"),
        ("phase_resistance", 0.0, "phase_resistance must be above 0, got 0"),
        ("charge_current_limit", -5.0, "charge_current_limit must be 0 or above, got -5"),
        ("open_circuit_voltage", np.nan, "open_circuit_voltage must be above 0, got nan"),
    ],
)
def test_impossible_machines_are_refused_by_name(argument, value, text):
    with pytest.raises(ValueError) as refused:
        motor.torque_limits(10.0, **MACHINE | {argument: value})
    assert text in str(refused.value)
