"""The map of four quadrants against a general optimiser called point by point.

``python -m pytest tests/benchmarks/test_reach_speed.py -s -m ''``
"""

import time
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

from unikit.formulas import reach as formulas
from unikit.inputs import load_build, load_case, replace
from unikit.studies import reach
from unikit.studies.drive import drive

ROOT = Path(__file__).parents[2]
KINDS = {
    "no weakening": {"controller.weakening_current": 0.0},
    "weakening": {"controller.weakening_current": 35.0},
    "weakening, saturation": {"controller.weakening_current": 35.0, "motor.saturation_current": 120.0},
    "and saliency": {"controller.weakening_current": 35.0, "motor.saturation_current": 120.0, "motor.direct_inductance": 0.24e-3},
}
SAMPLE = 40  # points that the optimiser is asked, spread over the map


def room(at, rotation, d):
    """Torque, and what voltage, battery, charge and phase current leave, as shares."""
    x, y = at
    direct = d.quadrature_inductance if d.direct_inductance is None else d.direct_inductance
    flux = d.torque_constant_peak / (1.5 * d.pole_pairs) / np.sqrt(1 + (y / d.saturation_current) ** 2)
    torque = 1.5 * d.pole_pairs * y * (flux + (direct - d.quadrature_inductance) * x)
    series, rate = d.phase_resistance + d.bridge_resistance, d.pole_pairs * rotation
    power = 1.5 * series * (x**2 + y**2) + torque * rotation + d.standby_power
    pack = 2 * power / (d.open_circuit_voltage + np.sqrt(max(d.open_circuit_voltage**2 - 4 * d.pack_resistance * power, 0.0)))
    bus = d.open_circuit_voltage - d.pack_resistance * pack
    phase = np.hypot(series * x - rate * d.quadrature_inductance * y, series * y + rate * (flux + direct * x))
    shares = 1 - phase * np.sqrt(3) / bus, (d.battery_current_limit - pack) / 50, 1 - np.hypot(x, y) / d.phase_current_limit
    return torque, np.array(shares)


def optimum(rotation, d):
    """Greatest torque by SLSQP, from a few starts."""
    best = 0.0
    for start in (0.2, 0.6):
        found = minimize(
            lambda at: -room(at, rotation, d)[0] / 50,
            [-0.3 * d.weakening_current, start * d.phase_current_limit],
            method="SLSQP",
            bounds=[(-d.weakening_current, 0.0), (0.0, d.phase_current_limit)],
            constraints={"type": "ineq", "fun": lambda at: room(at, rotation, d)[1]},
            options={"ftol": 1e-13, "maxiter": 200},
        )
        if room(found.x, rotation, d)[1].min() > -1e-7:
            best = max(best, -50 * found.fun)
    return best


def least_current(torque, rotation, d):
    """Least current of a torque by SLSQP."""
    found = minimize(
        lambda at: (at[0] ** 2 + at[1] ** 2) / 1e3,
        [-1.0, torque / d.torque_constant_peak],
        method="SLSQP",
        bounds=[(-d.weakening_current, 0.0), (None, None)],
        constraints=[
            {"type": "eq", "fun": lambda at: (room(at, rotation, d)[0] - torque) / 10},
            {"type": "ineq", "fun": lambda at: room(at, rotation, d)[1][0]},
        ],
        options={"ftol": 1e-13, "maxiter": 200},
    )
    return float(np.hypot(*found.x))


def test_a_map_of_four_quadrants():
    case = load_case(ROOT / "data/cases/harbour_hill.toml")
    base = replace(load_build(ROOT / "data/builds/harbour_commuter.toml"), {"assist.torque_cap": 80.0})
    speed, torque = np.linspace(-14.0, 14.0, 200), np.linspace(-62.0, 62.0, 200)
    print()
    for name, change in KINDS.items():
        build = replace(base, change)
        state = drive(build, case.state_of_charge)
        reach.torque_map(build, case, speed, torque)
        took = []
        for _ in range(15):
            begin = time.perf_counter()
            found = reach.torque_map(build, case, speed, torque)
            took.append(time.perf_counter() - begin)
        rng = np.random.default_rng(5)
        speeds = rng.uniform(1.0, 14.0, SAMPLE) / build.wheel.radius
        exact = formulas.Limits(*state.limits(speeds)).highest
        begin = time.perf_counter()
        ends = np.array([optimum(rotation, state) for rotation in speeds])
        an_end = (time.perf_counter() - begin) / SAMPLE
        wanted = 0.9 * rng.uniform(0.0, 1.0, SAMPLE) * exact
        point = state.point(wanted, speeds)
        begin = time.perf_counter()
        currents = np.array([least_current(*at, state) for at in zip(wanted, speeds, strict=True)])
        a_point = (time.perf_counter() - begin) / SAMPLE
        whole = 400 * an_end + int(found.allowed.sum()) * a_point
        error = np.abs(ends / exact - 1).max(), np.abs(currents - np.hypot(point.direct_current, point.quadrature_current)).max()
        print(
            f"{name:24} map {1e3 * np.median(took):5.1f} ms; optimiser {1e3 * an_end:.1f} ms an end, {1e3 * a_point:.1f} ms a point, "
            f"so {whole:.0f} s a map, {whole / np.median(took):.0f} times; it differs by {error[0]:.0e} (torque), {error[1]:.0e} A"
        )
        assert np.median(took) < 0.1 and whole / np.median(took) > 100
