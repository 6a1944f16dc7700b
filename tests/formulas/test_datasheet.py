"""What a datasheet prints, against waveforms and a simulated idle run."""

import math

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from published import published

from unikit.formulas import datasheet, drive, motor

RPM = math.pi / 30


def agrees(row, value):
    assert float(value) == pytest.approx(row.value, abs=row.tolerance, rel=0)


@pytest.mark.checks("independent", "datasheet.line_speed_constant")
def test_each_kind_of_volt_by_its_waveform():
    """One turning sine winding read by four meters gives one speed constant."""
    angle = np.linspace(0, 2 * np.pi, 7201)[:-1]
    rotation, phase = 25.0, 8.0 * np.cos(angle)
    line = phase - 8.0 * np.cos(angle - 2 * np.pi / 3)
    rms = lambda wave: np.sqrt(np.mean(wave**2))
    readings = {"peak line to line": line.max(), "rms line to line": rms(line), "peak phase": phase.max(), "rms phase": rms(phase)}
    for word, volts in readings.items():
        assert datasheet.line_speed_constant(rotation / volts, word) == pytest.approx(rotation / line.max(), rel=1e-6), word


@pytest.mark.checks("independent", "datasheet.line_speed_constant", "drive.no_load_speed")
def test_direct_voltage_by_the_no_load_speed():
    rotation = drive.no_load_speed(48.0, 0.9)
    assert motor.torque_constant(datasheet.line_speed_constant(rotation / 48.0, "direct voltage"), "peak") == pytest.approx(0.9, rel=1e-12)


@pytest.mark.checks("independent", "datasheet.peak_torque_constant")
@pytest.mark.parametrize("convention", motor.CONVENTIONS)
def test_every_convention_comes_back_to_the_peak(convention):
    printed = motor.torque_constant(10 * RPM, convention)
    agrees(published("M-04"), datasheet.peak_torque_constant(printed, convention))


@pytest.mark.checks("independent", "datasheet.torque_constant_by_loss", "datasheet.resistance_by_loss")
def test_motor_constant_by_the_loss_of_a_torque():
    constant = datasheet.torque_constant_by_loss(1.8, 0.09)
    assert motor.copper_loss(motor.current_for_torque(1.8, constant), 0.09) == pytest.approx(1.0, rel=1e-12)
    assert datasheet.resistance_by_loss(constant, 1.8) == pytest.approx(0.09, rel=1e-12)


@pytest.mark.checks("independent", "datasheet.idle_drag")
def test_idle_run_by_the_balance_of_a_drive():
    """Drag of 0.6 N m at 20 rad/s: the current that a bus at its voltage limit needs gives the drag back."""
    constant, resistance, drag, rotation = 0.8, 0.1, 0.6, 20.0
    current = motor.current_for_torque(drag, constant)
    voltage = math.sqrt(3) * (resistance * current + constant * rotation / 1.5)
    power = drive.bus_power(drag, rotation, current, resistance)
    assert datasheet.idle_drag(voltage, power / voltage, resistance, rotation) == pytest.approx(drag, rel=1e-12)


@pytest.mark.checks("independent", "datasheet.held_torque")
def test_held_torque_by_the_limits_of_a_drive_without_limits_of_current():
    none = dict(phase_current_limit=1e9, battery_current_limit=1e9, charge_current_limit=1e9, pack_resistance=0.0)
    found = motor.torque_limits(
        rotation=0.0,
        torque_constant_peak=0.8,
        phase_resistance=0.1,
        quadrature_inductance=1e-4,
        pole_pairs=20,
        open_circuit_voltage=48.0,
        **none,
    )
    assert datasheet.held_torque(48.0, 0.8, 0.1) == pytest.approx(float(found.highest), rel=1e-9)


@pytest.mark.checks("independent", "datasheet.loss_by_efficiency")
def test_loss_is_what_goes_in_and_does_not_come_out():
    assert datasheet.loss_by_efficiency(250.0, 250.0 / 310.0) == pytest.approx(60.0)


def test_formulas_broadcast():
    assert_broadcasts(datasheet.idle_drag, voltage=[36.0, 48.0], current=[0.5, 1.0, 2.0], phase_resistance=0.1, rotation=20.0)
    assert_broadcasts(datasheet.held_torque, voltage=[36.0, 48.0], torque_constant_peak=[0.5, 1.0], phase_resistance=0.1)
    assert_broadcasts(datasheet.resistance_by_loss, torque_constant_peak=[0.5, 1.0], motor_constant=[1.0, 2.0])


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: datasheet.line_speed_constant(1.0, "volt"), "volt must be one of 'peak line to line', 'rms line to line'"),
        (lambda: datasheet.peak_torque_constant(1.0, "mean"), "convention must be one of"),
        (lambda: datasheet.star_phase(0.1, "mesh"), "measured must be one of 'line', 'star phase', 'delta phase'"),
        (lambda: datasheet.loss_by_efficiency(100.0, 1.2), "efficiency must be from 0 to 1"),
        (lambda: datasheet.idle_drag(48.0, 1.0, 0.1, 0.0), "rotation must be above 0"),
    ],
)
def test_impossible_arguments_are_refused(call, said):
    with pytest.raises(ValueError, match=said):
        call()
