"""What inverter and pack give and take: voltage, bus power and currents."""

from __future__ import annotations

import math

import numpy as np

from .. import units as u
from .checks import not_negative, one_of, positive, within
from .registry import formula

MODULATION = {"space vector": 1 / math.sqrt(3), "sine triangle": 0.5, "six step": 2 / math.pi}


@formula(
    equation=r"\hat U_\mathrm{ph} = m\,U_\mathrm{bus},\quad m = \tfrac{1}{\sqrt 3},\ \tfrac{1}{2},\ \tfrac{2}{\pi}",
    source="pwm_theory",
    valid="fundamental only; dead time and the drop of the switches not taken off",
)
def phase_voltage_limit(bus_voltage: u.Volt, modulation: str = "space vector") -> u.Volt:
    """Greatest peak of the phase voltage that the inverter can make.

    Args:
        bus_voltage: direct voltage at the inverter.
        modulation: "space vector", "sine triangle" (no third harmonic) or "six step".

    >>> round(phase_voltage_limit(48.0), 3)
    27.713
    """
    one_of("modulation", modulation, tuple(MODULATION))
    not_negative("bus_voltage", bus_voltage)
    return MODULATION[modulation] * bus_voltage


@formula(
    equation=r"\omega_0 = \frac{3\,m\,U_\mathrm{bus}}{2\,K_T}",
    source="definition",
    valid="no iron or bearing drag, no field weakening; K_T per ampere of phase peak",
)
def no_load_speed(bus_voltage: u.Volt, torque_constant_peak: u.NewtonMetrePerAmpere, modulation: str = "space vector") -> u.RadianPerSecond:
    """Rotation at which the back-EMF takes up the whole phase voltage.

    With space vector modulation this is also where the back-EMF begins to feed
    the bus through the diodes of an inverter that is switched off.

    Args:
        bus_voltage: direct voltage at the inverter.
        torque_constant_peak: torque per ampere of phase peak.
        modulation: "space vector", "sine triangle" or "six step".

    >>> round(no_load_speed(48.0, 0.826993343) * 60 / 6.283185307, 3)
    480.0
    """
    positive("torque_constant_peak", torque_constant_peak)
    return 1.5 * phase_voltage_limit(bus_voltage, modulation) / torque_constant_peak


@formula(
    equation=r"\hat U_\mathrm{ph} = \tfrac{2}{3} K_T\,|\omega|",
    source="definition",
    valid="sine back-EMF; K_T per ampere of phase peak; the voltage between two leads is sqrt(3) times as much",
)
def back_emf_amplitude(rotation: u.RadianPerSecond, torque_constant_peak: u.NewtonMetrePerAmpere) -> u.Volt:
    """Peak of the phase voltage of a turning motor without current.

    Args:
        rotation: rotation of the rotor, either sign.
        torque_constant_peak: torque per ampere of phase peak, at the temperature of the magnets.

    >>> round(back_emf_amplitude(-30.0, 0.9), 6)
    18.0
    """
    positive("torque_constant_peak", torque_constant_peak)
    return torque_constant_peak / 1.5 * abs(rotation)


@formula(
    equation=r"P_\mathrm{bus} = T\,\omega + \tfrac{3}{2}\,(R_\mathrm{ph} + R_\mathrm{br})\,\hat I^2 + P_0",
    source="fitzgerald_machinery",
    sign="positive out of the pack; torque positive along positive rotation",
    valid="sine currents; switching loss only as far as it is in the standby power",
)
def bus_power(
    torque: u.NewtonMetre,
    rotation: u.RadianPerSecond,
    current_peak: u.Ampere,
    phase_resistance: u.Ohm,
    bridge_resistance: u.Ohm = 0.0,
    standby_power: u.Watt = 0.0,
) -> u.Watt:
    """Power that the inverter draws from the bus; negative when it feeds back.

    Args:
        torque: electromagnetic torque, before iron and bearing drag.
        rotation: rotation of the rotor.
        current_peak: peak of the phase current.
        phase_resistance: resistance of one phase, winding to star point.
        bridge_resistance: resistance of one switch; one switch of each leg always conducts.
        standby_power: what the electronics draw without any current in the motor.

    >>> bus_power(20.0, 25.0, 20.0, 0.1)
    560.0
    """
    not_negative("phase_resistance", phase_resistance)
    return torque * rotation + 1.5 * (phase_resistance + bridge_resistance) * current_peak**2 + standby_power


@formula(
    equation=r"I_\mathrm{dc} = \frac{3}{2\sqrt 2}\,M\,I\cos\varphi",
    source="kolar_round_2006",
    sign="positive out of the bus into the motor",
    valid="lossless inverter",
)
def bus_current(current_rms: u.Ampere, modulation_index: u.Ratio, power_factor: u.Ratio) -> u.Ampere:
    """Mean current that the inverter draws from its bus.

    Args:
        current_rms: rms of the phase current.
        modulation_index: peak of the phase voltage over half the bus voltage.
        power_factor: cosine of the angle between phase voltage and current; negative when feeding back.

    >>> round(bus_current(10.0, 0.8, 0.9), 4)
    7.6368
    """
    not_negative("modulation_index", modulation_index)
    return 1.5 / math.sqrt(2) * modulation_index * power_factor * current_rms


@formula(
    equation=r"I_C = I\sqrt{2M\left[\frac{\sqrt 3}{4\pi} + \cos^2\varphi\left(\frac{\sqrt 3}{\pi} - \frac{9M}{16}\right)\right]}",
    source="kolar_round_2006",
    valid="linear modulation, modulation index to 1.155; no ripple in the phase currents, all ripple through the capacitor",
)
def capacitor_ripple(current_rms: u.Ampere, modulation_index: u.Ratio, power_factor: u.Ratio) -> u.Ampere:
    """Rms of the ripple current in the capacitor on the bus.

    Args:
        current_rms: rms of the phase current.
        modulation_index: peak of the phase voltage over half the bus voltage.
        power_factor: cosine of the angle between phase voltage and current.

    >>> round(float(capacitor_ripple(10.0, 0.61, 1.0)), 3)
    6.497
    """
    within("modulation_index", modulation_index, 0.0, 2 / math.sqrt(3))
    within("power_factor", power_factor, -1.0, 1.0)
    inner = math.sqrt(3) / (4 * math.pi) + power_factor**2 * (math.sqrt(3) / math.pi - 9 * modulation_index / 16)
    return current_rms * np.sqrt(2 * modulation_index * inner)


@formula(
    equation=r"U_\mathrm{dc} = \frac{3\sqrt 2}{\pi}\,U_\mathrm{LL}",
    source="fitzgerald_machinery",
    valid="mean of a loaded three-phase diode bridge, no commutation drop; into a capacitor without load it rises to the peak",
)
def rectified_voltage(line_voltage_rms: u.Volt) -> u.Volt:
    """Mean voltage that the diodes of a switched-off inverter make of the back-EMF.

    Args:
        line_voltage_rms: rms voltage between two leads.

    >>> round(rectified_voltage(24.0), 3)
    32.411
    """
    not_negative("line_voltage_rms", line_voltage_rms)
    return 3 * math.sqrt(2) / math.pi * line_voltage_rms
