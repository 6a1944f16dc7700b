"""Motor: values that need more than one call, and second routes to the same numbers."""

import math

import numpy as np
import pytest
from published import published
from scipy.optimize import minimize_scalar

from unikit import units
from unikit.formulas import FORMULAS, dq, drive, magnetics, motor

RPM = 2 * math.pi / 60
SALIENT = dict(direct_inductance=0.37e-3, quadrature_inductance=1.2e-3, magnet_flux=0.066)
KINDS = [SALIENT, SALIENT | {"quadrature_inductance": 0.37e-3}, SALIENT | {"direct_inductance": 1.5e-3}]


def agrees(row, value):
    assert float(value) == pytest.approx(row.value, abs=row.tolerance, rel=0)


# -- worked examples -------------------------------------------------------------


def test_no_load_run_and_the_same_motor_loaded():
    constant = motor.torque_constant_no_load(50.0, 1.25, 1.03, 2100 * RPM)
    drag_power = constant * 2100 * RPM * 1.25
    agrees(published("M-01 power"), drag_power)
    emf = constant * 1700 * RPM
    agrees(published("M-02"), emf * (48 - emf) / 1.03 - drag_power)


def test_constants_from_the_speed_constant():
    speed_constant = 10 * RPM
    peak = motor.torque_constant(speed_constant, "peak")
    agrees(published("M-03"), motor.magnet_flux(peak, 20))
    assert motor.torque_constant(speed_constant, "rms") == pytest.approx(math.sqrt(2) * peak, rel=1e-14)
    # One volt rms between the leads at a speed is sqrt(2) V of peak there.
    assert motor.torque_constant_by_spinning(1 / math.sqrt(2), speed_constant) == pytest.approx(peak, rel=1e-14)


def test_six_step_current_against_an_integrated_turn():
    angle = (np.arange(360_000) + 0.5) * 2 * np.pi / 360_000
    phases = angle[:, None] - np.arange(3) * 2 * np.pi / 3
    wave = np.cos(phases)
    current = np.sign(wave) * (np.abs(wave) > 0.5)
    torque = (wave * current).sum(axis=1) / math.sqrt(3)  # line-to-line peak 1
    agrees(published("M-06"), torque.mean())
    agrees(published("M-06 ripple"), np.ptp(torque) / torque.mean())
    assert motor.torque_constant(1.0, "six step") == pytest.approx(torque.mean(), rel=1e-9)
    sine = (wave * wave).sum(axis=1) / math.sqrt(3)
    assert motor.torque_constant(1.0, "peak") == pytest.approx(sine.mean(), rel=1e-12)
    flat = np.clip(wave.clip(-0.5, 0.5) * 2, -1, 1)  # any flank will do: no current flows in it
    assert motor.torque_constant(1.0, "dc") == pytest.approx(((flat * current).sum(axis=1) / 2).mean(), rel=1e-9)


def test_permanent_magnet_motor_above_its_rated_flux():
    rate = 4000 * RPM
    constant = motor.torque_constant_by_spinning(220.0, 3200 * RPM)
    flux = motor.magnet_flux(constant, 1)
    agrees(published("M-07"), flux)
    current = motor.current_for_torque(0.65 * 25_000 / rate, constant)
    agrees(published("M-07 current"), current)
    voltage = 220 * math.sqrt(2 / 3)
    inductance = 1.75e-3
    linked = dq.flux_linkage(0.0, current, inductance, inductance, flux)
    agrees(published("M-08"), linked / (voltage / rate))
    direct = dq.weakening_current(current, voltage, rate, inductance, inductance, flux)
    agrees(published("M-09"), direct)
    agrees(published("M-09 rms"), np.hypot(direct, current) / math.sqrt(2))


def test_salient_machine_weakened_and_at_greatest_torque_per_volt():
    at = dq.weakening_point(240.0, 300 / math.sqrt(3), 1545.809, **SALIENT)
    agrees(published("M-15 torque"), dq.dq_torque(*at, 3, **SALIENT))
    at = dq.torque_per_volt_current(0.05, **SALIENT)
    agrees(published("M-32 torque"), dq.dq_torque(*at, 3, **SALIENT))


def test_iron_loss_by_frequency():
    rate = 2 * math.pi * 50
    agrees(published("M-28"), motor.iron_loss(1.2 * rate, 40 / rate, 0.0))
    agrees(published("M-28 eddy"), motor.iron_loss(1.2 * rate, 0.0, 20 / rate**2))
    parts = magnetics.iron_loss_separation(105.0, rate, 145.2, 1.2 * rate)
    agrees(published("M-33"), motor.iron_loss(rate, parts.hysteresis_torque, 0.0))
    agrees(published("M-33 eddy"), motor.iron_loss(rate, 0.0, parts.eddy_drag))
    assert motor.iron_loss(1.2 * rate, *parts) == pytest.approx(145.2, rel=1e-12)


def test_electrical_frequency():
    agrees(published("M-31"), motor.electrical_rate(250 * RPM, 20) / (2 * math.pi))
    agrees(published("M-34"), motor.electrical_rate(300 * RPM, 23) / (2 * math.pi))


# -- second routes ---------------------------------------------------------------


def test_power_balance_of_the_axes():
    row = published("M-11")
    rng = np.random.default_rng(1)
    cases = [(-100.0, 150.0, 600.0, 0.018, 3, SALIENT)]
    cases += [(*rng.uniform(-200, 200, 2), rng.uniform(-2000, 2000), rng.uniform(0, 1), 7, KINDS[i % 3]) for i in range(100)]
    for direct, quadrature, rate, resistance, poles, machine in cases:
        voltage = dq.dq_voltages(direct, quadrature, rate, resistance, **machine)
        electric = 1.5 * (voltage.direct * direct + voltage.quadrature * quadrature)
        shaft = dq.dq_torque(direct, quadrature, poles, **machine) * rate / poles
        copper = motor.copper_loss(np.hypot(direct, quadrature), resistance)
        assert electric == pytest.approx(shaft + copper, rel=1e-12, abs=1e-12 * (abs(shaft) + copper))
        if machine is cases[0][5] and direct == -100.0:
            agrees(row, electric)


@pytest.mark.parametrize("machine", KINDS)
def test_torque_per_ampere_is_a_numerical_maximum(machine):
    best = minimize_scalar(
        lambda angle: -dq.dq_torque(80 * math.cos(angle), 80 * math.sin(angle), 3, **machine), bounds=(0, math.pi), method="bounded"
    )
    at = dq.torque_per_ampere_current(80.0, **machine)
    assert dq.dq_torque(*at, 3, **machine) == pytest.approx(-best.fun, rel=1e-9)
    assert np.hypot(*at) == pytest.approx(80.0, rel=1e-14)
    assert dq.torque_per_ampere_current(0.0, **machine) == (0.0, 0.0)


@pytest.mark.parametrize("machine", KINDS)
def test_torque_per_volt_is_a_numerical_maximum(machine):
    def torque(angle):
        direct = (0.05 * math.cos(angle) - machine["magnet_flux"]) / machine["direct_inductance"]
        return dq.dq_torque(direct, 0.05 * math.sin(angle) / machine["quadrature_inductance"], 3, **machine)

    best = minimize_scalar(lambda angle: -torque(angle), bounds=(0, math.pi), method="bounded")
    at = dq.torque_per_volt_current(0.05, **machine)
    assert dq.dq_torque(*at, 3, **machine) == pytest.approx(-best.fun, rel=1e-9)
    assert dq.flux_linkage(*at, **machine) == pytest.approx(0.05, rel=1e-13)


@pytest.mark.parametrize(("machine", "current"), list(zip(KINDS, (100.0, 100.0, 30.0), strict=True)))
def test_weakening_uses_the_whole_voltage_and_the_whole_current(machine, current):
    at = dq.weakening_point(current, 40.0, 900.0, **machine)
    assert np.hypot(*dq.dq_voltages(*at, 900.0, 0.0, **machine)) == pytest.approx(40.0, rel=1e-12)
    assert np.hypot(*at) == pytest.approx(current, rel=1e-13)
    assert dq.weakening_current(at.quadrature, 40.0, 900.0, **machine) == pytest.approx(at.direct, rel=1e-9)
    # No angle of the same current that keeps within the voltage gives more torque.
    angle = np.linspace(0, np.pi, 20_001)
    around = current * np.cos(angle), current * np.sin(angle)
    kept = dq.flux_linkage(*around, **machine) <= 40.0 / 900.0
    assert dq.dq_torque(*around, 3, **machine)[kept].max() == pytest.approx(dq.dq_torque(*at, 3, **machine), rel=1e-2)
    assert dq.dq_torque(*around, 3, **machine)[kept].max() <= dq.dq_torque(*at, 3, **machine) * (1 + 1e-12)
    assert dq.weakening_point(current, 40.0, 100.0, **machine) == dq.torque_per_ampere_current(current, **machine)
    assert dq.weakening_current(10.0, 40.0, 100.0, **machine) == 0.0


@pytest.mark.parametrize("machine", KINDS)
def test_voltage_is_used_up_at_the_base_rate(machine):
    at = dq.torque_per_ampere_current(100.0, **machine)
    rate = dq.base_rate(*at, 40.0, 0.1, **machine)
    assert np.hypot(*dq.dq_voltages(*at, rate, 0.1, **machine)) == pytest.approx(40.0, rel=1e-12)


@pytest.mark.checks("limit", "dq.characteristic_current")
def test_characteristic_current_cancels_the_magnets():
    current = dq.characteristic_current(SALIENT["magnet_flux"], SALIENT["direct_inductance"])
    assert dq.flux_linkage(-current, 0.0, **SALIENT) == pytest.approx(0.0, abs=1e-16)


def test_winding_temperature_read_back_from_its_resistance():
    hot = motor.resistance_at(0.1, 133.0, 22.0)
    zero = 1 / motor.COPPER_COEFFICIENT - 20
    assert motor.temperature_by_resistance(0.1, hot, 22.0, zero) == pytest.approx(133.0, rel=1e-12)
    assert motor.resistance_coefficient(zero) == pytest.approx(motor.COPPER_COEFFICIENT, rel=1e-14)


@pytest.mark.checks("independent", "motor.pulsed_copper_loss", "motor.current_for_torque")
@pytest.mark.parametrize("floor", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("steady", [-25.0, 0.0, 8.0])
def test_pulsed_loss_against_an_integrated_crank_turn(floor, steady):
    angle = (np.arange(20_000) + 0.5) * 2 * np.pi / 20_000
    shape = floor + (1 - floor) * np.abs(np.sin(angle))
    shape /= shape.mean()
    current = motor.current_for_torque(12.0 * shape + steady, 0.8)
    integrated = motor.copper_loss(current, 0.09).mean()
    assert motor.pulsed_copper_loss(12.0, steady, 0.8, 0.09, (shape**2).mean()) == pytest.approx(integrated, rel=1e-12)


@pytest.mark.checks("independent", "motor.iron_drag")
def test_iron_drag_is_loss_over_rotation_and_nothing_at_rest():
    rotation = np.array([-40.0, -1e-9, 1e-9, 25.0])
    drag = motor.iron_drag(rotation, 0.5, 0.01)
    assert drag * rotation == pytest.approx(motor.iron_loss(rotation, 0.5, 0.01), rel=1e-14)
    assert motor.iron_drag(0.0, 0.5, 0.01) == 0.0
    assert list(np.sign(drag)) == [-1, -1, 1, 1]


@pytest.mark.checks("independent", "motor.phase_resistance")
def test_loss_is_the_same_by_every_reading():
    line = 0.13
    by_line = motor.copper_loss_line(17.0, line)
    assert motor.copper_loss_rms(17.0, motor.phase_resistance(line)) == pytest.approx(by_line, rel=1e-14)
    assert motor.copper_loss(17.0 * math.sqrt(2), motor.phase_resistance(line)) == pytest.approx(by_line, rel=1e-14)
    torque = 0.9 * 17.0
    assert torque / math.sqrt(by_line) == pytest.approx(motor.motor_constant(0.9, line), rel=1e-14)
    assert motor.motor_constant(1.8, 4 * line) == pytest.approx(motor.motor_constant(0.9, line), rel=1e-14)


# -- all formulas of the topic -----------------------------------------------------

TYPICAL = dict(
    bridge_resistance=0.004, bus_voltage=48.0, charge_current_limit=8.0, battery_current_limit=25.0, coefficient=-0.0012,
    cold_celsius=20.0, cold_resistance=0.1, current=1.2, current_peak=60.0, current_rms=20.0, density=7650.0,
    direct_current=-20.0, direct_inductance=0.37e-3, eddy_drag=0.01, electrical_rate=900.0, exponent=1.7, flux_density=1.1,
    flux_frequency=60.0, flux_linkage=0.05, gap=0.001, hot_resistance=0.13, hysteresis_torque=0.4, line_resistance=0.2,
    line_voltage_rms=24.0, loss=1000.0, magnet_flux=0.066, magnet_length=0.004, material_constant=235.0, mean_torque=12.0,
    modulation_index=0.8, open_circuit_voltage=50.0, pack_resistance=0.1, phase_current_limit=60.0, phase_resistance=0.1,
    phase_voltage=45.0, pole_pairs=20.0, power_a=6.0, power_b=14.0, power_factor=0.8, quadrature_current=20.0,
    quadrature_inductance=0.5e-3, reference_celsius=20.0, reference_flux_density=1.5, reference_frequency=50.0,
    relative_permeability=1.05, remanence=1.3, resistance=0.1, resistivity=52e-8, rotation=30.0, rotation_a=10.0, rotation_b=20.0,
    saturation_current=90.0,
    shape_mean_square=1.2, speed_constant=1.0, standby_power=4.0, steady_torque=5.0, temperature_celsius=90.0, thickness=0.35e-3,
    torque=15.0, torque_constant_peak=0.82, torque_constant_rms=1.1, value=1.3, voltage=48.0,
)  # fmt: skip
MINE = [name for name in FORMULAS if name.split(".")[0] in ("motor", "drive", "dq", "magnetics")]


@pytest.mark.parametrize("name", MINE)
def test_arrays_equal_a_loop_of_numbers(name):
    entry = FORMULAS[name]
    numbers = [argument for argument, unit in entry.arguments.items() if unit is not None]
    words = {"convention": "rms"} if "convention" in entry.arguments else {}
    rng = np.random.default_rng(3)
    column = {argument: TYPICAL[argument] * rng.uniform(0.97, 1.03, 6) for argument in numbers}
    together = entry.function(**column, **words)
    singly = [entry.function(**{a: float(v[i]) for a, v in column.items()}, **words) for i in range(6)]
    if isinstance(entry.result, dict):
        for field, unit in entry.result.items():
            one_by_one = [getattr(single, field) for single in singly]
            if unit is None:
                assert list(getattr(together, field)) == one_by_one
            else:
                assert getattr(together, field) == pytest.approx(np.array(one_by_one), rel=1e-13)
    else:
        assert together == pytest.approx(np.array(singly), rel=1e-13)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: motor.torque_constant(1.0, "average"), "convention must be one of 'peak', 'rms', 'dc', 'six step', got 'average'"),
        (lambda: motor.torque_constant(0.0, "peak"), "speed_constant must be above 0, got 0"),
        (lambda: motor.magnet_flux(0.8, 0), "pole_pairs must be above 0, got 0"),
        (lambda: motor.resistance_at(0.1, 373.15 + 100, 20.0), "temperature_celsius must be from -200 to 400, got 473.15"),
        (lambda: motor.pulsed_copper_loss(1.0, 0.0, 0.8, 0.1, 0.9), "shape_mean_square - 1 must be 0 or above"),
        (lambda: dq.weakening_current(100.0, 10.0, 900.0, **SALIENT), "leaves of the squared flux linkage must be 0 or above"),
        (lambda: dq.weakening_point(30.0, 10.0, 900.0, **SALIENT), "phase_voltage must be enough for current_peak at electrical_rate"),
        (lambda: dq.base_rate(0.0, 100.0, 1.0, 0.1, **SALIENT), "drop leaves of the squared phase voltage must be 0 or above"),
        (lambda: magnetics.iron_loss_separation(6.0, 20.0, 14.0, 20.0), "rotation_b - rotation_a must be above 0, got 0"),
        (
            lambda: drive.phase_voltage_limit(48.0, "sine"),
            "modulation must be one of 'space vector', 'sine triangle', 'six step', got 'sine'",
        ),
        (lambda: drive.capacitor_ripple(1.0, 1.3, 0.9), "modulation_index must be from 0 to 1.1547, got 1.3"),
    ],
)
def test_impossible_arguments_are_refused_by_name(call, text):
    with pytest.raises(ValueError) as refused:
        call()
    assert text in str(refused.value)


def test_units_at_the_door():
    torque = motor.current_for_torque.with_units(torque="20 N*m", torque_constant_peak="0.8 N*m/A")
    assert torque.to("A").magnitude == pytest.approx(25.0)
    with pytest.raises(units.UnitError):
        motor.current_for_torque.with_units(torque="20 J", torque_constant_peak="0.8 N*m/A")


@pytest.mark.checks("limit", "magnetics.saturated_torque", "magnetics.current_when_saturated")
def test_saturation_at_its_ends_and_at_its_own_current():
    """71 % at the saturation current is what the build file says of it; far above, the torque nears a ceiling."""
    assert magnetics.saturated_torque(1e-3, 0.9, 60.0) == pytest.approx(0.9e-3, rel=1e-9)
    assert magnetics.saturated_torque(60.0, 0.9, 60.0) == pytest.approx(0.9 * 60 * np.sqrt(0.5))
    assert magnetics.saturated_torque(-1e7, 0.9, 60.0) == pytest.approx(-54.0, rel=1e-6)
    assert magnetics.current_when_saturated(1e-3, 0.9, 60.0) == pytest.approx(1e-3 / 0.9, rel=1e-9)
    current = np.linspace(-200, 200, 9)
    assert magnetics.current_when_saturated(magnetics.saturated_torque(current, 0.9, 60.0), 0.9, 60.0) == pytest.approx(current)
    with pytest.raises(ValueError, match="must be above 0"):
        magnetics.current_when_saturated(54.0, 0.9, 60.0)
