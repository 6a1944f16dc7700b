"""Reachable torque with field weakening, saturation and saliency, and the currents of a torque: against optimisers, balances and limits."""

import numpy as np
import pytest
from scipy.optimize import minimize

from unikit.formulas import dq, drive, motor, reach

MACHINE = dict(
    torque_constant_peak=0.95,
    phase_resistance=0.085,
    quadrature_inductance=0.28e-3,
    pole_pairs=23,
    open_circuit_voltage=48.0,
    pack_resistance=0.2,
    phase_current_limit=62.0,
    battery_current_limit=40.0,
    charge_current_limit=12.0,
    bridge_resistance=0.006,
    standby_power=6.0,
    direct_inductance=0.22e-3,
    saturation_current=110.0,
    weakening_current=45.0,
)
LIMITS = ("phase_current_limit", "battery_current_limit", "charge_current_limit")


def without_limits(m):
    """The arguments of the operating point."""
    return {name: value for name, value in m.items() if name not in LIMITS}


def state(x, y, rotation, m):
    """Torque, pack current, bus voltage and phase voltage of two currents, the pack solved as its own quadratic."""
    poles, source, inner = m["pole_pairs"], m["open_circuit_voltage"], m["pack_resistance"]
    series, apart = m["phase_resistance"] + m["bridge_resistance"], m["direct_inductance"] - m["quadrature_inductance"]
    flux = m["torque_constant_peak"] / (1.5 * poles) / np.sqrt(1 + (y / m["saturation_current"]) ** 2)
    torque = 1.5 * poles * y * (flux + apart * x)
    power = 1.5 * series * (x**2 + y**2) + torque * rotation + m["standby_power"]
    under = source**2 - 4 * inner * power
    pack = 2 * power / (source + np.sqrt(np.maximum(under, 0.0)))
    rate = poles * rotation
    along = series * x - rate * m["quadrature_inductance"] * y
    across = series * y + rate * (flux + m["direct_inductance"] * x)
    return torque, np.where(under >= 0, pack, np.inf), source - inner * pack, np.hypot(along, across)


def room(x, y, rotation, m):
    """How much each limit leaves, as shares; all at or above 0 is allowed."""
    _, pack, bus, phase = state(x, y, rotation, m)
    return np.array(
        [
            1 - phase / (drive.MODULATION["space vector"] * np.maximum(bus, 1e-9)),
            (min(m["battery_current_limit"], 1e4) - np.minimum(pack, 1e5)) / m["open_circuit_voltage"],
            1 - np.hypot(x, y) / m["phase_current_limit"],
        ]
    )


def most(rotation, m, way):
    """Greatest torque one way by a dense scan that zooms in, then a general optimiser; 0 where the range is empty."""
    widest, longest = min(m["weakening_current"], m["phase_current_limit"]), m["phase_current_limit"]
    if not (room(np.linspace(-widest, 0.0, 20_001), 0.0, rotation, m).min(axis=0) >= 0).any():
        return 0.0
    low, high = -widest, 0.0
    for _ in range(6):
        x, y = np.meshgrid(np.linspace(low, high, 121), way * np.linspace(0, longest, 2001), indexing="ij")
        torque = np.where(room(x, y, rotation, m).min(axis=0) >= -1e-12, way * state(x, y, rotation, m)[0], -np.inf)
        row, column = np.unravel_index(torque.argmax(), torque.shape)
        step = (high - low) / 120
        low, high = max(-widest, x[row, 0] - 3 * step), min(0.0, x[row, 0] + 3 * step)
    best, scale = torque[row, column], max(torque[row, column], 1.0)
    polished = minimize(
        lambda at: -way * float(state(*at, rotation, m)[0]) / scale,
        [x[row, column], y[row, column]],
        method="SLSQP",
        bounds=[(-widest, 0.0), tuple(sorted((0.0, way * longest)))],
        constraints={"type": "ineq", "fun": lambda at: room(*at, rotation, m)},
        options={"ftol": 1e-15, "maxiter": 300},
    )
    allowed = room(*polished.x, rotation, m).min() >= -1e-8
    return max(best, way * float(state(*polished.x, rotation, m)[0]) if allowed else 0.0)


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
        charge_current_limit=np.inf,
        bridge_resistance=0.005,
        standby_power=5.0,
        saturation_current=rng.choice([np.inf, rng.uniform(40, 300)]),
        weakening_current=rng.choice([rng.uniform(5, 50), 500.0]),
    )
    machine["direct_inductance"] = machine["quadrature_inductance"] * rng.choice([1.0, rng.uniform(0.4, 1.0)])
    edge = drive.no_load_speed(machine["open_circuit_voltage"], machine["torque_constant_peak"])
    return machine, rng.uniform(0.3, 1.6) * edge


@pytest.mark.checks("independent", "reach.torque_limits")
@pytest.mark.parametrize("seed", range(24))
def test_ends_agree_with_a_dense_optimiser(seed):
    machine, rotation = random_machine(np.random.default_rng(seed))
    at = reach.torque_limits(rotation, **machine)
    for found, way in ((at.highest, 1.0), (-at.lowest, -1.0)):
        assert found == pytest.approx(most(rotation, machine, way), rel=1e-6, abs=1e-5)


@pytest.mark.checks("independent", "reach.operating_point")
@pytest.mark.parametrize("share", [-0.97, -0.5, 0.0, 0.4, 0.8, 0.999])
def test_an_operating_point_takes_the_least_current_that_voltage_and_pack_allow(share):
    rotations = np.linspace(5.0, 36.0, 9)
    limits = reach.torque_limits(rotations, **MACHINE)
    torques = share * np.where(share >= 0, limits.highest, -limits.lowest)
    at = reach.operating_point(torques, rotations, **without_limits(MACHINE))
    free = MACHINE | {"battery_current_limit": np.inf, "phase_current_limit": 1e3}
    for i, (torque, rotation) in enumerate(zip(torques, rotations, strict=True)):
        x, y = at.direct_current[i], at.quadrature_current[i]
        given, pack, bus, phase = state(x, y, rotation, MACHINE)
        assert given == pytest.approx(torque, rel=1e-10, abs=1e-10)
        assert [at.battery_current[i], at.bus_voltage[i], at.phase_voltage[i]] == pytest.approx([float(pack), bus, phase], rel=1e-10)
        assert phase <= bus / np.sqrt(3) * (1 + 1e-9)
        other = minimize(
            lambda at: (at[0] ** 2 + at[1] ** 2) / 1e3,
            [min(x - 1.0, -1.0), y],
            method="SLSQP",
            constraints=[
                {"type": "eq", "fun": lambda at: (state(*at, rotation, MACHINE)[0] - torque) / 10},  # noqa: B023
                {"type": "ineq", "fun": lambda at: room(*at, rotation, free)[0]},  # noqa: B023
            ],
            options={"ftol": 1e-15, "maxiter": 500},
        )
        assert np.hypot(x, y) == pytest.approx(np.hypot(*other.x), rel=1e-6, abs=1e-4)


def test_energy_of_every_operating_point_is_closed():
    rotations, shares = np.linspace(-36.0, 36.0, 41), np.linspace(-1.0, 1.0, 21)[:, None]
    limits = reach.torque_limits(rotations, **MACHINE)
    torques = np.where(shares >= 0, shares * limits.highest, -shares * limits.lowest)
    at = reach.operating_point(torques, rotations, **without_limits(MACHINE))
    lost = at.copper_loss + at.bridge_loss + at.pack_loss + MACHINE["standby_power"]
    cells = MACHINE["open_circuit_voltage"] * at.battery_current
    assert np.abs(cells - torques * rotations - lost).max() <= 1e-9 * np.abs(cells).max()
    square = at.direct_current**2 + at.quadrature_current**2
    assert at.copper_loss == pytest.approx(1.5 * 0.085 * square, rel=1e-14)
    assert at.bridge_loss == pytest.approx(1.5 * 0.006 * square, rel=1e-12)


def test_with_voltage_to_spare_the_split_is_that_of_most_torque_per_ampere():
    inductances = dict(direct_inductance=0.37e-3, quadrature_inductance=1.2e-3)
    for current in (20.0, 120.0, 240.0):
        best = dq.torque_per_ampere_current(current, magnet_flux=0.066, **inductances)
        torque = dq.dq_torque(*best, 3, magnet_flux=0.066, **inductances)
        at = reach.operating_point(torque, 1.0, 1.5 * 3 * 0.066, 0.018, inductances["quadrature_inductance"], 3, 400.0, 0.0, 0.0, 0.0)
        assert at.direct_current == 0.0  # a controller that does not weaken keeps it at 0
        at = reach.operating_point(
            torque, 1.0, 1.5 * 3 * 0.066, 0.018, 1.2e-3, 3, 400.0, 0.0, direct_inductance=0.37e-3, weakening_current=300.0
        )
        assert [at.direct_current, at.quadrature_current] == pytest.approx(list(best), rel=1e-9)


@pytest.mark.checks("limit", "reach.torque_limits")
def test_far_above_base_speed_the_torque_is_that_of_the_published_circle_and_ellipse():
    """Morimoto 1990: current circle and voltage ellipse without resistance, at twice the base speed (check M-15)."""
    at = reach.torque_limits(
        1545.809 / 3,
        1.5 * 3 * 0.066,
        1e-9,
        1.2e-3,
        3,
        300.0,
        0.0,
        240.0,
        np.inf,
        np.inf,
        direct_inductance=0.37e-3,
        weakening_current=240.0,
    )
    assert at.highest == pytest.approx(103.9075, abs=2e-3) and at.highest_by == "field weakening"


def test_saturation_takes_torque_from_the_current():
    still = MACHINE | {"direct_inductance": None, "pack_resistance": 0.01, "battery_current_limit": np.inf}
    assert reach.torque_limits(0.0, **still).highest == pytest.approx(0.95 * 62 / np.sqrt(1 + (62 / 110) ** 2), rel=1e-12)
    at = reach.operating_point(0.95 * 110 / np.sqrt(2), 0.0, **without_limits(still))
    assert at.quadrature_current == pytest.approx(110.0, rel=1e-9)
    beyond = reach.operating_point(0.96 * 110, 0.0, **without_limits(still))
    assert np.isnan(beyond.quadrature_current)


def test_each_limit_has_its_name():
    names = {
        (2.0, "highest"): "phase current",
        (28.0, "highest"): "battery current",
        (50.0, "highest"): "field weakening",
        (24.0, "lowest"): "charge current",
    }
    for (rotation, end), name in names.items():
        assert getattr(reach.torque_limits(rotation, **MACHINE), f"{end}_by") == name
    slow = MACHINE | {"weakening_current": 0.0, "battery_current_limit": np.inf}
    assert reach.torque_limits(30.0, **slow).highest_by == "voltage"
    useless = MACHINE | {"phase_current_limit": 400.0, "weakening_current": 400.0, "battery_current_limit": np.inf}
    assert reach.torque_limits(30.0, **useless).highest_by == "voltage"  # more weakening would take torque
    slow = reach.torque_limits(30.0, **MACHINE, electrical_frequency_limit=100.0)  # 110 Hz
    assert slow == (0.0, 0.0, "electrical frequency", "electrical frequency")


def test_weakening_adds_torque_and_speed_and_never_takes_any():
    rotations = np.linspace(0.0, 60.0, 241)
    with_it, without = (
        reach.torque_limits(rotations, **MACHINE | {"direct_inductance": None, "weakening_current": c}) for c in (45.0, 0.0)
    )
    assert np.all(with_it.highest >= without.highest - 1e-9) and np.any(with_it.highest > without.highest + 5)
    assert rotations[with_it.highest > 0].max() > rotations[without.highest > 0].max() + 3


def test_fed_back_current_is_met_while_the_field_is_weakened():
    rotations = np.linspace(26.0, 36.0, 11)
    at = reach.torque_limits(rotations, **MACHINE)
    assert set(at.lowest_by) == {"charge current"}
    point = reach.operating_point(at.lowest, rotations, **without_limits(MACHINE))
    assert point.battery_current == pytest.approx(-12.0, rel=1e-9)
    assert np.any(point.direct_current < -0.5 + motor.current_for_torque(0.0, 0.95))


def test_points_broadcast_and_turn_with_the_sense_of_rotation():
    torque, rotation = np.linspace(-20, 20, 5)[:, None], np.linspace(-30, 30, 7)
    grid = reach.operating_point(torque, rotation, **without_limits(MACHINE))
    assert grid.direct_current.shape == (5, 7)
    turned = reach.operating_point(-torque, -rotation, **without_limits(MACHINE))
    assert np.array_equal(grid.quadrature_current, -turned.quadrature_current) and np.array_equal(grid.copper_loss, turned.copper_loss)
    alone = reach.operating_point(20.0, 30.0, **without_limits(MACHINE))
    assert [part[-1, -1] for part in grid] == pytest.approx(list(alone), rel=1e-12)


@pytest.mark.parametrize("name", ["saturation_current", "direct_inductance", "weakening_current", "electrical_frequency_limit"])
def test_impossible_numbers_are_named(name):
    with pytest.raises(ValueError, match=name):
        reach.torque_limits(10.0, **MACHINE | {name: -1.0})
