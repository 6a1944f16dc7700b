"""Steady-state model of a direct-drive permanent-magnet motor: constants, temperature and losses.

Currents are peaks of the phase current unless a name says otherwise.  The
torque constant of one and the same motor is three different numbers per
ampere of phase peak, phase rms and direct current; every name says which.
"""

from __future__ import annotations

import math

import numpy as np

from .. import units as u
from .checks import not_negative, one_of, positive, within
from .drive import phase_voltage_limit  # noqa: F401 - reached as motor.…
from .reach import operating_point, torque_limits  # noqa: F401
from .registry import formula

COPPER_COEFFICIENT = 0.00393  # 1/K, annealed copper, tied to 20 °C
CONVENTIONS = {"peak": math.sqrt(3) / 2, "rms": math.sqrt(1.5), "dc": 1.0, "six step": 3 / math.pi}


@formula(
    equation=r"K_T = \frac{c}{K_v},\quad c = \tfrac{\sqrt 3}{2},\ \sqrt{\tfrac{3}{2}},\ 1,\ \tfrac{3}{\pi}",
    source="definition",
    valid="speed constant per volt of PEAK line-to-line back-EMF",
)
def torque_constant(speed_constant: u.RadianPerSecondPerVolt, convention: str) -> u.NewtonMetrePerAmpere:
    """Torque constant from the speed constant, in the convention that is asked for.

    Args:
        speed_constant: rotation per volt of peak line-to-line back-EMF.
        convention: "peak" (sine, per ampere of phase peak), "rms" (sine, per ampere of phase rms),
            "dc" (trapezoidal back-EMF with six-step current, per ampere of direct current) or
            "six step" (sine back-EMF with six-step current, mean per ampere of direct current).

    >>> round(torque_constant(1.0, "peak"), 4), round(torque_constant(1.0, "rms"), 4)
    (0.866, 1.2247)
    """
    one_of("convention", convention, tuple(CONVENTIONS))
    positive("speed_constant", speed_constant)
    return CONVENTIONS[convention] / speed_constant


@formula(
    equation=r"K_T = \tfrac{3}{2}\sqrt{\tfrac{2}{3}}\,\frac{U_\mathrm{LL}}{\omega}",
    source="fitzgerald_machinery",
    valid="sine back-EMF; an ideal meter of true rms",
)
def torque_constant_by_spinning(line_voltage_rms: u.Volt, rotation: u.RadianPerSecond) -> u.NewtonMetrePerAmpere:
    """Torque per ampere of phase peak, from the open-circuit voltage of the motor turned from outside.

    Args:
        line_voltage_rms: rms voltage between two open leads.
        rotation: rotation at which it was measured.

    >>> round(torque_constant_by_spinning(20.0, 30.0), 4)
    0.8165
    """
    positive("rotation", rotation)
    return math.sqrt(1.5) * line_voltage_rms / rotation


@formula(
    equation=r"K_T = K_E = \frac{U - R\,I}{\omega}",
    source="fitzgerald_machinery",
    valid="direct-current motor, or six-step drive seen from its bus; steady rotation",
)
def torque_constant_no_load(voltage: u.Volt, current: u.Ampere, resistance: u.Ohm, rotation: u.RadianPerSecond) -> u.NewtonMetrePerAmpere:
    """Torque per ampere of direct current, from a run without load.

    Args:
        voltage: direct voltage at the terminals.
        current: direct current of the run.
        resistance: resistance between the terminals.
        rotation: rotation of the run.

    >>> round(torque_constant_no_load(48.0, 1.0, 0.2, 50.0), 6)
    0.956
    """
    positive("rotation", rotation)
    return (voltage - current * resistance) / rotation


@formula(equation=r"\psi = \frac{2 K_T}{3 p}", source="fitzgerald_machinery")
def magnet_flux(torque_constant_peak: u.NewtonMetrePerAmpere, pole_pairs: u.Number) -> u.Weber:
    """Peak flux linkage of a phase with the magnets.

    Args:
        torque_constant_peak: torque per ampere of phase peak.
        pole_pairs: pairs of poles.

    >>> round(magnet_flux(0.9, 20), 6)
    0.03
    """
    positive("torque_constant_peak", torque_constant_peak)
    positive("pole_pairs", pole_pairs)
    return torque_constant_peak / (1.5 * pole_pairs)


@formula(
    equation=r"R_\mathrm{ph} = \tfrac{1}{2} R_\mathrm{LL}",
    source="definition",
    valid="star; a delta winding is taken as the star that acts the same",
)
def phase_resistance(line_resistance: u.Ohm) -> u.Ohm:
    """Resistance of one phase from the one measured between two leads.

    Args:
        line_resistance: resistance between two leads, the third open.

    >>> phase_resistance(0.2)
    0.1
    """
    not_negative("line_resistance", line_resistance)
    return 0.5 * line_resistance


@formula(equation=r"\omega_e = p\,\omega", source="definition")
def electrical_rate(rotation: u.RadianPerSecond, pole_pairs: u.Number) -> u.RadianPerSecond:
    """Electrical angular frequency.

    Args:
        rotation: rotation of the rotor.
        pole_pairs: pairs of poles.

    >>> electrical_rate(20.0, 23)
    460.0
    """
    positive("pole_pairs", pole_pairs)
    return rotation * pole_pairs


@formula(equation=r"\hat I = \frac{T}{K_T}", source="fitzgerald_machinery", sign="current has the sign of the torque")
def current_for_torque(torque: u.NewtonMetre, torque_constant_peak: u.NewtonMetrePerAmpere) -> u.Ampere:
    """Quadrature current (phase peak) for a torque, with no current in the direct axis.

    Args:
        torque: electromagnetic torque, before iron and bearing drag.
        torque_constant_peak: torque per ampere of phase peak.

    >>> current_for_torque(20.0, 0.8)
    25.0
    """
    positive("torque_constant_peak", torque_constant_peak)
    return torque / torque_constant_peak


@formula(
    equation=r"R = R_0\,\frac{1 + \alpha\,(\vartheta - 20)}{1 + \alpha\,(\vartheta_0 - 20)},\quad \alpha = 0.00393/\mathrm{K}",
    source="iec60028",
    valid="annealed copper; direct current (no skin effect)",
)
def resistance_at(resistance: u.Ohm, temperature_celsius: u.Celsius, reference_celsius: u.Celsius) -> u.Ohm:
    """Resistance of a copper winding at another temperature.

    Args:
        resistance: resistance at the reference temperature.
        temperature_celsius: temperature wanted.
        reference_celsius: temperature at which the resistance is known.

    >>> round(resistance_at(0.1, 120.0, 20.0), 4)
    0.1393
    """
    not_negative("resistance", resistance)
    within("temperature_celsius", temperature_celsius, -200, 400)
    within("reference_celsius", reference_celsius, -200, 400)
    return resistance * (1 + COPPER_COEFFICIENT * (temperature_celsius - 20)) / (1 + COPPER_COEFFICIENT * (reference_celsius - 20))


@formula(
    equation=r"\vartheta_2 = \frac{R_2}{R_1}\,(K + \vartheta_1) - K",
    source="iec60034_1, winding_resistance_page",
    valid="copper: K is 235 in IEC 60034-1 and 234.5 elsewhere, which moves a rise by about 0.2 K",
)
def temperature_by_resistance(
    cold_resistance: u.Ohm, hot_resistance: u.Ohm, cold_celsius: u.Celsius, material_constant: u.KelvinRise = 235.0
) -> u.Celsius:
    """Mean temperature of a winding from its resistance, cold and hot.

    Args:
        cold_resistance: resistance at the cold temperature.
        hot_resistance: resistance right after the run.
        cold_celsius: temperature of the winding when cold.
        material_constant: how far below 0 °C the straight line of resistance meets zero.

    >>> round(temperature_by_resistance(0.1, 0.135, 20.0), 2)
    109.25
    """
    positive("cold_resistance", cold_resistance)
    positive("hot_resistance", hot_resistance)
    return hot_resistance / cold_resistance * (material_constant + cold_celsius) - material_constant


@formula(equation=r"\alpha = \frac{1}{K + \vartheta}", source="winding_resistance_page")
def resistance_coefficient(material_constant: u.KelvinRise, reference_celsius: u.Celsius = 20.0) -> u.PerKelvin:
    """Relative change of resistance per kelvin, from the material's constant.

    Args:
        material_constant: how far below 0 °C the straight line of resistance meets zero.
        reference_celsius: temperature to which the coefficient is tied.

    >>> round(resistance_coefficient(234.5), 6)
    0.003929
    """
    positive("material_constant + reference_celsius", material_constant + reference_celsius)
    return 1 / (material_constant + reference_celsius)


@formula(
    equation=r"X = X_0\,[1 + a\,(\vartheta - \vartheta_0)]",
    source="magnet_grades",
    valid="reversible range of the grade; NdFeB near -0.12 %/K, ferrite near -0.20 %/K for remanence and torque constant",
)
def magnet_at(value: u.Number, temperature_celsius: u.Celsius, reference_celsius: u.Celsius, coefficient: u.PerKelvin) -> u.Number:
    """Remanence, coercivity, flux or torque constant at another magnet temperature.

    Args:
        value: the number at the reference temperature, in any unit; the result is in the same.
        temperature_celsius: temperature of the magnets.
        reference_celsius: temperature at which the value is known.
        coefficient: relative change per kelvin.

    >>> round(magnet_at(1.30, 80.0, 20.0, -0.0012), 4)
    1.2064
    """
    return value * (1 + coefficient * (temperature_celsius - reference_celsius))


@formula(equation=r"P = \tfrac{3}{2}\,R_\mathrm{ph}\,\hat I^2", source="fitzgerald_machinery")
def copper_loss(current_peak: u.Ampere, phase_resistance: u.Ohm) -> u.Watt:
    """Copper loss of the three phases.

    Args:
        current_peak: peak of the phase current.
        phase_resistance: resistance of one phase, winding to star point.

    >>> round(copper_loss(20.0, 0.1), 9)
    60.0
    """
    not_negative("phase_resistance", phase_resistance)
    return 1.5 * phase_resistance * current_peak**2


@formula(equation=r"P = 3\,R_\mathrm{ph}\,I^2", source="definition")
def copper_loss_rms(current_rms: u.Ampere, phase_resistance: u.Ohm) -> u.Watt:
    """Copper loss of the three phases from the rms of the phase current.

    Args:
        current_rms: rms of the phase current.
        phase_resistance: resistance of one phase, winding to star point.

    >>> round(copper_loss_rms(20.0, 0.05), 9)
    60.0
    """
    not_negative("phase_resistance", phase_resistance)
    return 3 * phase_resistance * current_rms**2


@formula(equation=r"P = \tfrac{3}{2}\,R_\mathrm{LL}\,I^2", source="definition")
def copper_loss_line(current_rms: u.Ampere, line_resistance: u.Ohm) -> u.Watt:
    """Copper loss of the three phases from what a meter reads at the leads.

    Args:
        current_rms: rms of the current in a lead.
        line_resistance: resistance between two leads.

    >>> round(copper_loss_line(20.0, 0.1), 9)
    60.0
    """
    not_negative("line_resistance", line_resistance)
    return 1.5 * line_resistance * current_rms**2


@formula(
    equation=r"P = \tfrac{3}{2}\,\frac{R_\mathrm{ph}}{K_T^2}\,(m_2 T^2 + 2\,T\,T_s + T_s^2)",
    source="definition",
    sign="the two torques add with their signs",
    valid="mean over whole turns of the crank; temperature of the winding steady over a turn",
)
def pulsed_copper_loss(
    mean_torque: u.NewtonMetre,
    steady_torque: u.NewtonMetre,
    torque_constant_peak: u.NewtonMetrePerAmpere,
    phase_resistance: u.Ohm,
    shape_mean_square: u.Ratio,
) -> u.Watt:
    """Mean copper loss when one part of the torque follows the pulsing pedals and one part is steady.

    Args:
        mean_torque: mean over a turn of the part that pulses.
        steady_torque: part that does not pulse.
        torque_constant_peak: torque per ampere of phase peak.
        phase_resistance: resistance of one phase, winding to star point.
        shape_mean_square: mean square of the pulse shape, whose mean is 1; at least 1.

    >>> round(pulsed_copper_loss(10.0, 5.0, 0.8, 0.1, 1.2), 4)
    57.4219
    """
    positive("torque_constant_peak", torque_constant_peak)
    not_negative("phase_resistance", phase_resistance)
    not_negative("shape_mean_square - 1", shape_mean_square - 1)
    square = shape_mean_square * mean_torque**2 + 2 * mean_torque * steady_torque + steady_torque**2
    return 1.5 * phase_resistance / torque_constant_peak**2 * square


@formula(
    equation=r"K_m = \frac{K_{T,\mathrm{rms}}}{\sqrt{\tfrac{3}{2} R_\mathrm{LL}}}",
    source="motor_constant_page",
    valid="does not change with the number of turns",
)
def motor_constant(torque_constant_rms: u.NewtonMetrePerAmpere, line_resistance: u.Ohm) -> u.NewtonMetrePerRootWatt:
    """Torque over the root of the copper loss that it costs.

    Args:
        torque_constant_rms: torque per ampere of phase rms.
        line_resistance: resistance between two leads.

    >>> round(float(motor_constant(0.5, 0.1)), 4)
    1.291
    """
    positive("line_resistance", line_resistance)
    return torque_constant_rms / np.sqrt(1.5 * line_resistance)


@formula(
    equation=r"P = T_h\,|\omega| + k_e\,\omega^2",
    source="bird_circuit_theory",
    valid="constant flux density; hysteresis per turn and eddy currents by frequency squared",
)
def iron_loss(rotation: u.RadianPerSecond, hysteresis_torque: u.NewtonMetre, eddy_drag: u.NewtonMetreSecondPerRadian) -> u.Watt:
    """Iron loss of the motor at a rotation, from the magnets alone.

    Args:
        rotation: rotation of the rotor, either sign.
        hysteresis_torque: part of the drag that does not depend on speed.
        eddy_drag: part of the drag that grows with speed, per rotation.

    >>> iron_loss(-20.0, 0.5, 0.01)
    14.0
    """
    not_negative("hysteresis_torque", hysteresis_torque)
    not_negative("eddy_drag", eddy_drag)
    return hysteresis_torque * abs(rotation) + eddy_drag * rotation**2


@formula(
    equation=r"T = T_h\,\mathrm{sgn}\,\omega + k_e\,\omega",
    source="bird_circuit_theory",
    sign="sign of the rotation; zero at rest; taken off the electromagnetic torque",
)
def iron_drag(rotation: u.RadianPerSecond, hysteresis_torque: u.NewtonMetre, eddy_drag: u.NewtonMetreSecondPerRadian) -> u.NewtonMetre:
    """Drag torque of the iron loss.

    Args:
        rotation: rotation of the rotor, either sign.
        hysteresis_torque: part of the drag that does not depend on speed.
        eddy_drag: part of the drag that grows with speed, per rotation.

    >>> float(round(iron_drag(-20.0, 0.5, 0.01), 9))
    -0.7
    """
    not_negative("hysteresis_torque", hysteresis_torque)
    not_negative("eddy_drag", eddy_drag)
    return hysteresis_torque * np.sign(rotation) + eddy_drag * rotation
