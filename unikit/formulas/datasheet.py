"""One motor, many printed numbers: what each says about the torque per ampere of phase peak and the resistance of one phase."""

from __future__ import annotations

import math

import numpy as np

from .. import units as u
from . import motor, winding
from .checks import not_negative, one_of, positive, within
from .drive import MODULATION
from .registry import formula

# Volts of peak line-to-line back-EMF for one volt of the other kind.
VOLTS = {
    "peak line to line": 1.0,
    "rms line to line": math.sqrt(2),
    "peak phase": math.sqrt(3),
    "rms phase": math.sqrt(6),
    "direct voltage": 1.0,
}
LEADS = {"line": motor.phase_resistance(1.0), "star phase": 1.0, "delta phase": winding.star_resistance(1.0)}


@formula(
    equation=r"K_v = \frac{K_v'}{c},\quad c = 1,\ \sqrt 2,\ \sqrt 3,\ \sqrt 6,\ 1",
    source="definition",
    valid="sine back-EMF; direct voltage: of an inverter that makes as much peak between two leads, as with space vectors",
)
def line_speed_constant(speed_constant: u.RadianPerSecondPerVolt, volt: str) -> u.RadianPerSecondPerVolt:
    """Speed constant per volt of peak line-to-line back-EMF, from one per another volt.

    Args:
        speed_constant: rotation per volt as it is printed.
        volt: "peak line to line", "rms line to line", "peak phase", "rms phase" or "direct voltage".

    >>> round(line_speed_constant(1.0, "rms line to line"), 4)
    0.7071
    """
    one_of("volt", volt, tuple(VOLTS))
    positive("speed_constant", speed_constant)
    return speed_constant / VOLTS[volt]


@formula(
    equation=r"K_T = \frac{\sqrt 3/2}{c}\,K_T'",
    source="definition",
    valid="as in torque_constant",
)
def peak_torque_constant(torque_constant: u.NewtonMetrePerAmpere, convention: str) -> u.NewtonMetrePerAmpere:
    """Torque constant per ampere of phase peak, from that of another convention.

    Args:
        torque_constant: torque per ampere as it is printed.
        convention: "peak", "rms", "dc" or "six step", as in ``motor.torque_constant``.

    >>> round(peak_torque_constant(1.4142, "rms"), 4)
    1.0
    """
    one_of("convention", convention, tuple(motor.CONVENTIONS))
    positive("torque_constant", torque_constant)
    return motor.CONVENTIONS["peak"] / motor.CONVENTIONS[convention] * torque_constant


@formula(
    equation=r"R = c\,R',\quad c_\mathrm{line} = \tfrac12,\ c_\mathrm{star} = 1,\ c_\mathrm{delta} = \tfrac13",
    source="bird_circuit_theory",
    valid="three equal phases; inductance alike",
)
def star_phase(value: u.Number, measured: str) -> u.Number:
    """Resistance or inductance of one phase of the equivalent star.

    Args:
        value: the number as it is printed, in any unit; the result is in the same.
        measured: "line" (between two leads), "star phase", or "delta phase" (one branch alone).

    >>> star_phase(0.2, "line")
    0.1
    """
    one_of("measured", measured, tuple(LEADS))
    not_negative("value", value)
    return LEADS[measured] * value


@formula(
    equation=r"K_T = K_m \sqrt{\tfrac{3}{2} R}",
    source="motor_constant_page",
    valid="at the temperature of the resistance",
)
def torque_constant_by_loss(motor_constant: u.NewtonMetrePerRootWatt, phase_resistance: u.Ohm) -> u.NewtonMetrePerAmpere:
    """Torque per ampere of phase peak, from motor constant and resistance.

    Args:
        motor_constant: torque over the root of the copper loss.
        phase_resistance: resistance of one phase of the star.

    >>> round(float(torque_constant_by_loss(2.0, 0.1)), 4)
    0.7746
    """
    not_negative("phase_resistance", phase_resistance)
    return motor_constant * np.sqrt(1.5 * np.asarray(phase_resistance))


@formula(
    equation=r"R = \tfrac{2}{3}\left(\frac{K_T}{K_m}\right)^2",
    source="motor_constant_page",
    valid="at the temperature at which the motor constant holds",
)
def resistance_by_loss(torque_constant_peak: u.NewtonMetrePerAmpere, motor_constant: u.NewtonMetrePerRootWatt) -> u.Ohm:
    """Resistance of one phase, from torque constant and motor constant.

    Args:
        torque_constant_peak: torque per ampere of phase peak.
        motor_constant: torque over the root of the copper loss.

    >>> round(resistance_by_loss(0.7746, 2.0), 4)
    0.1
    """
    positive("motor_constant", motor_constant)
    return (torque_constant_peak / motor_constant) ** 2 / 1.5


@formula(
    equation=r"T = \frac{U I - \tfrac12 R_\mathrm{LL} \cdot \tfrac32\,\hat I^2}{\omega},\quad \hat I \approx \tfrac{2}{\sqrt 3}\,I",
    source="fitzgerald_machinery",
    valid="idle at full voltage, where the bus power divides by the peak of the phase voltage; controller and bearings count with the iron",
)
def idle_drag(voltage: u.Volt, current: u.Ampere, phase_resistance: u.Ohm, rotation: u.RadianPerSecond) -> u.NewtonMetre:
    """Drag torque of iron and bearings, from a run without load on a direct supply.

    Args:
        voltage: direct voltage of the supply.
        current: direct current from the supply.
        phase_resistance: resistance of one phase of the star; 0 leaves the copper loss in the drag.
        rotation: rotation of the run.

    >>> round(idle_drag(48.0, 1.0, 0.1, 50.0), 4)
    0.956
    """
    positive("rotation", rotation)
    not_negative("phase_resistance", phase_resistance)
    # Without reactive voltage 3/2 U_ph I_ph = U I with U_ph = U/sqrt 3, so I_ph = 2/sqrt 3 I.
    return (voltage * current - 1.5 * phase_resistance * (4 / 3) * current**2) / rotation


@formula(
    equation=r"T = K_T\,\frac{m\,U}{R}",
    source="fitzgerald_machinery",
    valid="rotor held, full voltage, no limit of current: a number of arithmetic that a direct drive must never see",
)
def held_torque(
    voltage: u.Volt, torque_constant_peak: u.NewtonMetrePerAmpere, phase_resistance: u.Ohm, modulation: str = "space vector"
) -> u.NewtonMetre:
    """Greatest torque that the voltage alone would allow at standstill.

    Args:
        voltage: direct voltage of the supply.
        torque_constant_peak: torque per ampere of phase peak.
        phase_resistance: resistance of one phase of the star.
        modulation: how the bridge makes its voltage, as in ``drive.phase_voltage_limit``.

    >>> round(held_torque(48.0, 1.0, 0.1), 1)
    277.1
    """
    positive("phase_resistance", phase_resistance)
    one_of("modulation", modulation, tuple(MODULATION))
    return torque_constant_peak * MODULATION[modulation] * voltage / phase_resistance


@formula(
    equation=r"P_l = P\,\frac{1 - \eta}{\eta}",
    source="definition",
)
def loss_by_efficiency(power: u.Watt, efficiency: u.Ratio) -> u.Watt:
    """All losses at a point, from the power given out and the efficiency.

    Args:
        power: mechanical power.
        efficiency: power out over power in.

    >>> round(loss_by_efficiency(240.0, 0.8), 6)
    60.0
    """
    positive("efficiency", efficiency)
    within("efficiency", efficiency, 0.0, 1.0)
    return power * (1 - efficiency) / efficiency
