"""The reachable torque: against a point-by-point search, its balances, and its edges."""

import numpy as np
import pytest
from scipy.optimize import brentq

from unikit.formulas import drive, motor

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
    if slack(0.0, rotation, m) < 0:
        return 0.0
    walk = sense * m["phase_current_limit"] * np.linspace(0, 1.001, points)
    # The charge limit can be passed and met again within one stride: stop where the margin is least, too.
    work = m["torque_constant_peak"] * rotation
    least = -work / (3 * (m["phase_resistance"] + m["bridge_resistance"]))
    if least * sense > 0:
        walk = np.sort(np.append(walk, least))[:: int(sense)]
    inside = 0.0
    for outside in walk:
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


@pytest.mark.checks("independent", "drive.torque_limits", "drive.no_load_speed")
@pytest.mark.parametrize("seed", range(150))
def test_limits_agree_with_a_search_point_by_point(seed):
    machine, rotation = random_machine(np.random.default_rng(seed))
    at = motor.torque_limits(rotation, **machine)
    # A search needs no sense of rotation, so it is done as it stands.
    assert at.highest == pytest.approx(searched(rotation, machine, 1.0), rel=1e-6, abs=1e-6)
    assert at.lowest == pytest.approx(searched(rotation, machine, -1.0), rel=1e-6, abs=1e-6)
