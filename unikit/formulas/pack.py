"""Open-circuit voltage, sag and energy of battery packs."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from .checks import not_negative, positive, within
from .registry import formula

GAS_CONSTANT = 8.314462618  # J/(mol K), exact in the SI of 2019


class RoundTrip(NamedTuple):
    """What comes back of one charge and discharge."""

    charge_efficiency: u.Ratio
    energy_efficiency: u.Ratio


@formula(equation=r"E = V\,Q", source="definition")
def energy(voltage: u.Volt, charge: u.Coulomb) -> u.Joule:
    """Energy of a charge at a constant (nominal or mean) voltage.

    Args:
        voltage: nominal or mean voltage.
        charge: charge.

    >>> energy(36.0, 2.5 * 3600) / 3600
    90.0
    """
    return voltage * charge


def _curve(curve_charge, curve_voltage):
    charge, voltage = np.asarray(curve_charge, float), np.asarray(curve_voltage, float)
    if charge.ndim != 1 or charge.size < 2 or not np.all(np.diff(charge) > 0):
        raise ValueError("curve_charge must be one rising list of at least two states of charge")
    if voltage.shape[-1:] != charge.shape:
        raise ValueError(f"curve_voltage must have one voltage for each of the {charge.size} states of charge, got shape {voltage.shape}")
    positive("curve_voltage", voltage)
    return charge, voltage


@formula(
    equation=r"V_0(s) = V_k + (V_{k+1} - V_k)\,\frac{s - s_k}{s_{k+1} - s_k}",
    source="definition",
    valid="inside the curve; a state of charge outside it is refused, not held at the end",
)
def open_circuit_voltage(state_of_charge: u.Ratio, curve_charge: u.Ratio, curve_voltage: u.Volt) -> u.Volt:
    """Voltage at rest, by straight lines between the points of a measured curve.

    Args:
        state_of_charge: charge left, as a share of the whole.
        curve_charge: states of charge of the curve, rising.
        curve_voltage: voltages of the curve, points along the last axis.

    >>> float(open_circuit_voltage(0.25, (0.0, 0.5, 1.0), (3.0, 3.6, 4.2)))
    3.3
    """
    charge, voltage = _curve(curve_charge, curve_voltage)
    within("state_of_charge", state_of_charge, charge[0], charge[-1])
    if voltage.ndim == 1:
        return np.interp(state_of_charge, charge, voltage)
    passed = np.clip(np.asarray(state_of_charge)[..., None], charge[:-1], charge[1:]) - charge[:-1]
    return voltage[..., 0] + np.sum(passed * np.diff(voltage) / np.diff(charge), axis=-1)


@formula(equation=r"V = n_s\,V_c", source="bird_circuits")
def string_voltage(cell_voltage: u.Volt, series: u.Number) -> u.Volt:
    """Voltage of cells in series.

    Args:
        cell_voltage: voltage of one cell.
        series: cells, or groups of parallel cells, in series.

    >>> string_voltage(3.6, 10)
    36.0
    """
    positive("series", series)
    return cell_voltage * series


@formula(equation=r"R = \frac{n_s}{n_p}\,R_c + R_w", source="bird_circuits", valid="cells alike")
def string_resistance(cell_resistance: u.Ohm, series: u.Number, parallel: u.Number, wiring_resistance: u.Ohm = 0.0) -> u.Ohm:
    """Resistance of a pack of groups in series, each of parallel cells, with its wiring.

    Args:
        cell_resistance: resistance of one cell.
        series: groups in series.
        parallel: cells in each group.
        wiring_resistance: all that is in series with the cells, out and back.

    >>> string_resistance(0.2, 8, 1)
    1.6
    """
    not_negative("cell_resistance", cell_resistance)
    positive("series", series)
    positive("parallel", parallel)
    not_negative("wiring_resistance", wiring_resistance)
    return cell_resistance * series / parallel + wiring_resistance


@formula(equation=r"V = \frac{V_a R_b + V_b R_a}{R_a + R_b}", source="bird_circuits", valid="the two resistances not both 0")
def joined_voltage(voltage_a: u.Volt, resistance_a: u.Ohm, voltage_b: u.Volt, resistance_b: u.Ohm) -> u.Volt:
    """Voltage of two packs in parallel without load.

    Args:
        voltage_a: open-circuit voltage of one pack.
        resistance_a: its resistance.
        voltage_b: open-circuit voltage of the other pack.
        resistance_b: its resistance.

    >>> round(joined_voltage(54.6, 0.1, 48.0, 0.1), 6)
    51.3
    """
    not_negative("resistance_a", resistance_a)
    not_negative("resistance_b", resistance_b)
    positive("resistance_a + resistance_b", resistance_a + resistance_b)
    return (voltage_a * resistance_b + voltage_b * resistance_a) / (resistance_a + resistance_b)


@formula(equation=r"R = \frac{R_a R_b}{R_a + R_b}", source="bird_circuits", valid="the two resistances not both 0")
def joined_resistance(resistance_a: u.Ohm, resistance_b: u.Ohm) -> u.Ohm:
    """Resistance of two packs in parallel.

    Args:
        resistance_a: resistance of one pack.
        resistance_b: resistance of the other.

    >>> joined_resistance(2.0, 2.0)
    1.0
    """
    not_negative("resistance_a", resistance_a)
    not_negative("resistance_b", resistance_b)
    positive("resistance_a + resistance_b", resistance_a + resistance_b)
    return resistance_a * resistance_b / (resistance_a + resistance_b)


@formula(equation=r"I = \frac{V_a - V_b}{R}", source="definition", sign="positive from pack a into pack b")
def equalising_current(voltage_a: u.Volt, voltage_b: u.Volt, resistance: u.Ohm) -> u.Ampere:
    """Current from one pack into another at the moment they are joined in parallel.

    Packs are joined only when their voltages agree: the current is as large as
    a short circuit of the difference, and nothing but resistance limits it.

    Args:
        voltage_a: open-circuit voltage of one pack.
        voltage_b: open-circuit voltage of the other.
        resistance: resistance of the whole loop, both packs and the leads.

    >>> round(equalising_current(54.6, 48.0, 0.2), 6)
    33.0
    """
    positive("resistance", resistance)
    return (voltage_a - voltage_b) / resistance


@formula(equation=r"V = V_0 - I R", source="robertson_circuits", sign="discharge positive")
def terminal_voltage(open_circuit_voltage: u.Volt, resistance: u.Ohm, current: u.Ampere) -> u.Volt:
    """Voltage at the terminals under load.

    Args:
        open_circuit_voltage: voltage at rest.
        resistance: resistance of the pack.
        current: current, out of the pack positive.

    >>> terminal_voltage(6.0, 0.15, 10.0)
    4.5
    """
    not_negative("resistance", resistance)
    return open_circuit_voltage - current * resistance


@formula(equation=r"I = \frac{V_0 - V}{R}", source="bird_circuits", sign="discharge positive")
def branch_current(open_circuit_voltage: u.Volt, resistance: u.Ohm, terminal_voltage: u.Volt) -> u.Ampere:
    """Current that one of several joined packs gives or takes.

    Args:
        open_circuit_voltage: voltage of this pack at rest.
        resistance: resistance of this pack.
        terminal_voltage: voltage at the common terminals.

    >>> round(branch_current(2.0, 1.0, 2.2857), 4)
    -0.2857
    """
    positive("resistance", resistance)
    return (open_circuit_voltage - terminal_voltage) / resistance


@formula(equation=r"R = \frac{V_0 - V}{I}", source="grob_circuits", sign="discharge positive")
def internal_resistance(open_circuit_voltage: u.Volt, terminal_voltage: u.Volt, current: u.Ampere) -> u.Ohm:
    """Resistance of a pack from its sag under a known current.

    Args:
        open_circuit_voltage: voltage before the load.
        terminal_voltage: voltage under the load.
        current: current of the load, or negative for a charge.

    >>> internal_resistance(100.0, 80.0, 2.0)
    10.0
    """
    positive("size of current", np.abs(current))
    return (open_circuit_voltage - terminal_voltage) / current


@formula(
    equation=r"P_\mathrm{max} = \frac{V_0^2}{4 R}", source="patil_circuits", valid="half of it is lost in the pack; a bound, not a rating"
)
def greatest_power(open_circuit_voltage: u.Volt, resistance: u.Ohm) -> u.Watt:
    """Most power that a source can give at its terminals, at half its voltage.

    Args:
        open_circuit_voltage: voltage at rest.
        resistance: resistance of the pack.

    >>> greatest_power(40.0, 0.1)
    4000.0
    """
    positive("resistance", resistance)
    return open_circuit_voltage**2 / (4 * resistance)


@formula(
    equation=r"I = \frac{2 P}{V_0 + \sqrt{V_0^2 - 4 R P}}",
    source="definition",
    sign="discharge positive; negative power charges",
    valid="up to the greatest power, where half the energy is lost in the pack",
)
def current_at_power(open_circuit_voltage: u.Volt, resistance: u.Ohm, power: u.Watt) -> u.Ampere:
    """Current at which the terminals give a power; of the two answers the smaller current.

    Args:
        open_circuit_voltage: voltage at rest.
        resistance: resistance of the pack.
        power: power at the terminals.

    >>> float(current_at_power(50.0, 0.1, 490.0))
    10.0
    """
    positive("open_circuit_voltage", open_circuit_voltage)
    not_negative("resistance", resistance)
    inside = open_circuit_voltage**2 - 4 * resistance * power
    if not np.all(inside >= 0):
        raise ValueError("power must be at most the greatest power of the pack, open_circuit_voltage**2 / (4 resistance), everywhere")
    return 2 * power / (open_circuit_voltage + np.sqrt(inside))


# In the terminal voltage v the weight of each step of charge is 1 - RP/v^2, smooth
# also where the greatest power is met, so that few nodes give all the digits.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(12)


@formula(
    equation=r"E = P \int \frac{Q\,\mathrm{d}s}{I(s)} = Q \int_{s_1}^{s_0} \frac{V_0(s) + \sqrt{V_0(s)^2 - 4 R P}}{2}\,\mathrm{d}s",
    source="definition",
    valid="constant power, resistance alike at every state of charge; no limit of cell voltage is applied",
)
def delivered_energy(
    power: u.Watt,
    charge: u.Coulomb,
    resistance: u.Ohm,
    curve_charge: u.Ratio,
    curve_voltage: u.Volt,
    from_charge: u.Ratio = 1.0,
    to_charge: u.Ratio = 0.0,
) -> u.Joule:
    """Energy that reaches the terminals at a constant power between two states of charge.

    The time is this energy divided by the power.  At a power near 0 it is the
    charge times the mean open-circuit voltage; what is missing at a higher
    power went into the resistance.

    Args:
        power: constant power at the terminals.
        charge: charge of the full pack.
        resistance: resistance of the pack.
        curve_charge: states of charge of the curve, rising.
        curve_voltage: open-circuit voltages of the whole pack, points along the last axis.
        from_charge: state of charge at the start.
        to_charge: state of charge at the end.

    >>> print(round(delivered_energy(0.0, 3600.0, 0.1, (0.0, 1.0), (30.0, 42.0)) / 3600, 9))
    36.0
    """
    not_negative("power", power)
    positive("charge", charge)
    not_negative("resistance", resistance)
    points, voltage = _curve(curve_charge, curve_voltage)
    within("from_charge", from_charge, points[0], points[-1])
    within("to_charge", to_charge, points[0], points[-1])
    not_negative("from_charge - to_charge", np.asarray(from_charge) - to_charge)
    # each segment of the curve, cut to the part between the two states of charge
    slope = np.diff(voltage) / np.diff(points)
    lower, upper = (np.clip(np.asarray(end, float)[..., None], points[:-1], points[1:]) for end in (to_charge, from_charge))
    width = upper - lower
    product = np.asarray(resistance * np.asarray(power, float))[..., None]  # R P
    first, last = (voltage[..., :-1] + (end - points[:-1]) * slope for end in (upper, lower))
    weakest = np.min(np.where(width > 0, np.minimum(first, last), np.inf), axis=-1, keepdims=True)
    if np.any(weakest**2 < 4 * product):
        most = np.min(weakest[..., 0] ** 2 / (4 * np.maximum(resistance, 1e-300)))
        raise ValueError(
            f"power must be at most what the pack can give down to to_charge: the greatest power falls to {most:.4g} W on the way"
        )
    high, low = ((end + np.sqrt(np.maximum(end**2 - 4 * product, 0.0))) / 2 for end in (first, last))
    node = ((low + high)[..., None] + (high - low)[..., None] * _NODES) / 2
    share = _WEIGHTS * np.maximum(1 - product[..., None] / node**2, 1e-300)
    mean = np.sum(share * node, axis=-1) / np.sum(share, axis=-1)
    return charge * np.sum(width * mean, axis=-1)


@formula(
    equation=r"\eta_Q = \frac{Q_\mathrm{out}}{Q_\mathrm{in}},\quad \eta_E = \eta_Q\,\frac{V_\mathrm{out}}{V_\mathrm{in}}",
    source="dhogal_circuits",
)
def round_trip(charge_out: u.Coulomb, voltage_out: u.Volt, charge_in: u.Coulomb, voltage_in: u.Volt) -> RoundTrip:
    """Charge and energy that come back of what was put in, between equal states of charge.

    Args:
        charge_out: charge taken out.
        voltage_out: mean voltage while discharging.
        charge_in: charge put in.
        voltage_in: mean voltage while charging.

    >>> float(round_trip(9.0, 3.6, 10.0, 4.0).charge_efficiency)
    0.9
    """
    positive("charge_in", charge_in)
    positive("voltage_in", voltage_in)
    returned = charge_out / charge_in
    return RoundTrip(returned, returned * voltage_out / voltage_in)


@formula(
    equation=r"f = \exp\!\left[\frac{E_a}{R}\left(\frac{1}{T_0} - \frac{1}{T}\right)\right]",
    source="chen2020",
    valid="one process with one activation energy; the whole resistance of a cell has several",
)
def arrhenius_factor(activation_energy: u.JoulePerMole, temperature: u.Kelvin, reference_temperature: u.Kelvin = 298.15) -> u.Ratio:
    """Speed of a reaction against its speed at the reference temperature; its resistance goes with the inverse.

    Args:
        activation_energy: activation energy.
        temperature: temperature of the cell.
        reference_temperature: temperature at which the factor is 1.

    >>> float(arrhenius_factor(35e3, 298.15))
    1.0
    """
    positive("temperature", temperature)
    positive("reference_temperature", reference_temperature)
    return np.exp(activation_energy / GAS_CONSTANT * (1 / reference_temperature - 1 / temperature))
