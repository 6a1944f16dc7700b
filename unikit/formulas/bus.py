"""The capacitor on the direct-current side of a controller: what charges it, what discharges it, and what energy lifts it."""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import not_negative, positive, within
from .registry import formula


@formula(
    equation=r"U_2 = \sqrt{U_1^2 + \frac{2 E}{C}}",
    source="definition",
    sign="energy into the capacitor positive",
    valid="nothing but the capacitor takes the energy: the packs are switched off or unplugged",
)
def lifted_voltage(bus_voltage: u.Volt, energy: u.Joule, capacitance: u.Farad) -> u.Volt:
    """Voltage of a bus without battery after energy was fed into it.

    Args:
        bus_voltage: voltage before.
        energy: what was fed in.
        capacitance: capacitance of the bus.

    >>> round(float(lifted_voltage(54.0, 0.5265, 1e-3)), 6)
    63.0
    """
    not_negative("bus_voltage", bus_voltage)
    positive("capacitance", capacitance)
    square = np.square(bus_voltage) + 2 * np.divide(energy, capacitance)
    not_negative("what the energy leaves of the squared bus voltage", square)
    return np.sqrt(square)


@formula(
    equation=r"t = \frac{C\,(U_2^2 - U_1^2)}{2 P}",
    source="definition",
    valid="constant power, nothing but the capacitor takes it; inf where no power is fed in",
)
def time_to_voltage(bus_voltage: u.Volt, highest_voltage: u.Volt, capacitance: u.Farad, power: u.Watt) -> u.Second:
    """Time in which braking lifts a bus without battery to a voltage.

    Args:
        bus_voltage: voltage at the start.
        highest_voltage: voltage that must not be passed.
        capacitance: capacitance of the bus.
        power: power fed into the bus.

    >>> round(float(time_to_voltage(54.0, 63.0, 1e-3, 200.0)), 9)
    0.0026325
    """
    positive("capacitance", capacitance)
    not_negative("bus_voltage", bus_voltage)
    rising = np.asarray(power, float) > 0
    room = np.maximum(np.square(highest_voltage) - np.square(bus_voltage), 0.0)
    return np.where(rising, np.multiply(capacitance, room) / (2 * np.where(rising, power, 1.0)), np.inf)[()]


@formula(equation=r"u = U\left(1 - e^{-t/(R C)}\right)", source="bird_circuit_theory", valid="from an empty capacitor")
def charging_voltage(supply_voltage: u.Volt, resistance: u.Ohm, capacitance: u.Farad, time: u.Second) -> u.Volt:
    """Voltage of a capacitor that is charged through a resistor, as at switching on.

    Args:
        supply_voltage: voltage of the packs.
        resistance: charging resistor with all that is in series.
        capacitance: capacitance of the bus.
        time: time since switching on.

    >>> round(float(charging_voltage(120.0, 47e3, 15e-6, 0.705)), 3)
    75.854
    """
    positive("resistance", resistance)
    positive("capacitance", capacitance)
    not_negative("time", time)
    return -supply_voltage * np.expm1(-np.asarray(time) / (resistance * capacitance))


@formula(equation=r"u = U\,e^{-t/(R C)}", source="bird_circuit_theory")
def discharging_voltage(start_voltage: u.Volt, resistance: u.Ohm, capacitance: u.Farad, time: u.Second) -> u.Volt:
    """Voltage of a capacitor that empties through a resistor, as after unplugging.

    Args:
        start_voltage: voltage at the start.
        resistance: all that discharges it.
        capacitance: capacitance of the bus.
        time: time since the start.

    >>> round(float(discharging_voltage(40.0, 3e3, 1e-3, 6.0)), 4)
    5.4134
    """
    positive("resistance", resistance)
    positive("capacitance", capacitance)
    not_negative("time", time)
    return start_voltage * np.exp(-np.asarray(time) / (resistance * capacitance))


@formula(equation=r"E = \tfrac{1}{2} C\,U^2", source="definition", valid="whatever the resistor")
def charging_loss(supply_voltage: u.Volt, capacitance: u.Farad) -> u.Joule:
    """Energy that the charging resistor turns into heat; as much as the capacitor then holds.

    Args:
        supply_voltage: voltage of the packs.
        capacitance: capacitance of the bus.

    >>> round(charging_loss(54.0, 1e-3), 6)
    1.458
    """
    positive("capacitance", capacitance)
    return 0.5 * capacitance * supply_voltage**2


@formula(equation=r"t = -R C\,\ln(1 - s)", source="bird_circuit_theory", valid="from an empty capacitor; s below 1")
def charging_time(share: u.Ratio, resistance: u.Ohm, capacitance: u.Farad) -> u.Second:
    """Time in which a capacitor is charged through a resistor to a share of the voltage behind it.

    Args:
        share: share of the voltage.
        resistance: charging resistor with all that is in series.
        capacitance: capacitance of the bus.

    >>> print(round(float(charging_time(0.95, 100.0, 1e-3)), 6))
    0.299573
    """
    within("share", share, 0.0, 1 - 1e-12)
    positive("resistance", resistance)
    positive("capacitance", capacitance)
    return -np.multiply(resistance, capacitance) * np.log1p(-np.asarray(share))


@formula(
    equation=r"\int i^2\,\mathrm{d}t = \frac{U^2 C}{2 R}",
    source="definition",
    valid="leads without inductance, which would flatten the peak",
)
def inrush_let_through(voltage_difference: u.Volt, resistance: u.Ohm, capacitance: u.Farad) -> u.AmpereSquaredSecond:
    """Square of the current times time of the surge that fills a capacitor: what a fuse must bear without melting.

    Args:
        voltage_difference: voltage of the packs less what the capacitor holds already.
        resistance: all that is in series.
        capacitance: capacitance of the bus.

    >>> print(round(inrush_let_through(54.0, 0.1, 1e-3), 6))
    14.58
    """
    positive("resistance", resistance)
    positive("capacitance", capacitance)
    return np.square(voltage_difference) * capacitance / (2 * resistance)
