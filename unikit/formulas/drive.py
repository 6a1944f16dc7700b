"""What inverter and pack let the motor do: voltage, bus power and the reachable torque."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from .. import units as u
from .checks import not_negative, one_of, positive, within
from .registry import formula

MODULATION = {"space vector": 1 / math.sqrt(3), "sine triangle": 0.5, "six step": 2 / math.pi}
LIMIT_WORDS = np.array(["phase current", "battery current", "charge current", "voltage"])
_NO_LIMIT = 1e12  # stands in for an infinite current limit: far above any machine, and zero times it is zero


class Limits(NamedTuple):
    """The reachable torques at one rotation, and the word for what ends each."""

    highest: u.NewtonMetre
    lowest: u.NewtonMetre
    highest_by: str | np.ndarray
    lowest_by: str | np.ndarray


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


def _battery_reach(work, copper, power):
    """Currents up to which copper·i² + work·i ≤ power, forward and backward, as magnitudes."""
    root = work + np.sqrt(work**2 + 4 * copper * power)
    return np.divide(2 * power, root, out=np.zeros_like(root), where=root > 0), root / (2 * copper)


def _charge_reach(work, copper, power):
    """Current backward up to which copper·i² − work·i ≥ −power, the root nearer to zero; infinite if never reached."""
    square = work**2 - 4 * copper * power
    root = work + np.sqrt(np.maximum(square, 0.0))
    return np.divide(2 * power, root, out=np.full_like(root, np.inf), where=square > 0)


@formula(
    equation=(
        r"(R\,i + \omega_e\psi)^2 + (\omega_e L_q i)^2 \le (m\,U)^2,\quad "
        r"U = E - R_p I_b,\quad U I_b = \tfrac{3}{2} R\,i^2 + K_T\,i\,\omega + P_0,\quad -I_c \le I_b \le I_d,\quad |i| \le \hat I"
    ),
    source="fitzgerald_machinery, pwm_theory",
    sign="torque positive along positive rotation; lowest is at or below 0, highest at or above",
    valid="steady state, d-axis current zero, no saturation of the iron, torque before iron and bearing drag",
)
def torque_limits(
    rotation: u.RadianPerSecond,
    torque_constant_peak: u.NewtonMetrePerAmpere,
    phase_resistance: u.Ohm,
    quadrature_inductance: u.Henry,
    pole_pairs: u.Number,
    open_circuit_voltage: u.Volt,
    pack_resistance: u.Ohm,
    phase_current_limit: u.Ampere,
    battery_current_limit: u.Ampere,
    charge_current_limit: u.Ampere,
    bridge_resistance: u.Ohm = 0.0,
    standby_power: u.Watt = 0.0,
    modulation: str = "space vector",
) -> Limits:
    """Greatest and lowest electromagnetic torque that motor, inverter and pack allow at a rotation.

    The torques are the ends of the one unbroken range of torques around zero
    in which every limit is kept (stronger braking may feed back less again, but
    is not counted where it lies beyond a forbidden stretch); what ends it is named by "phase current",
    "battery current" (also where the pack gives its greatest power), "charge
    current" or "voltage".  The bus sags with the current that the motor itself
    draws, and rises while it feeds back.

    Where the back-EMF alone exceeds the voltage limit there is no controlled
    torque at zero d-axis current: both torques are 0, by "voltage".  Field
    weakening is not modelled.  Mind the hazard at such speeds: when the
    inverter switches off, its diodes rectify the back-EMF onto the bus, which
    charges the pack uncontrolled, brakes the wheel and can destroy parts rated
    for less voltage.

    Args:
        rotation: rotation of the rotor, either sign.
        torque_constant_peak: torque per ampere of phase peak, at the temperature of the magnets.
        phase_resistance: resistance of one phase, at the temperature of the winding.
        quadrature_inductance: inductance in the quadrature axis.
        pole_pairs: pairs of poles.
        open_circuit_voltage: voltage of the pack without current.
        pack_resistance: resistance of pack and wiring.
        phase_current_limit: greatest peak of the phase current.
        battery_current_limit: greatest current out of the pack; inf for none.
        charge_current_limit: greatest current into the pack; inf for none.
        bridge_resistance: resistance of one switch; one switch of each leg always conducts.
        standby_power: what the electronics draw without any current in the motor.
        modulation: "space vector", "sine triangle" or "six step".

    >>> at = torque_limits(20.0, 0.8, 0.1, 0.3e-3, 20, 50.0, 0.1, 40.0, 20.0, 5.0)
    >>> float(round(at.highest, 2)), str(at.highest_by), float(round(at.lowest, 2)), str(at.lowest_by)
    (32.0, 'phase current', -15.41, 'charge current')
    """
    one_of("modulation", modulation, tuple(MODULATION))
    for name, value in (
        ("torque_constant_peak", torque_constant_peak),
        ("phase_resistance", phase_resistance),
        ("pole_pairs", pole_pairs),
        ("open_circuit_voltage", open_circuit_voltage),
    ):
        positive(name, value)
    for name, value in (
        ("quadrature_inductance", quadrature_inductance),
        ("pack_resistance", pack_resistance),
        ("phase_current_limit", phase_current_limit),
        ("battery_current_limit", battery_current_limit),
        ("charge_current_limit", charge_current_limit),
        ("bridge_resistance", bridge_resistance),
        ("standby_power", standby_power),
    ):
        not_negative(name, value)
    # The problem is the same for both senses of rotation, so it is solved for forward rotation and turned back at the end.
    given = np.broadcast_arrays(
        rotation,
        torque_constant_peak,
        phase_resistance + np.asarray(bridge_resistance),
        quadrature_inductance,
        pole_pairs,
        open_circuit_voltage,
        pack_resistance,
        np.minimum(phase_current_limit, _NO_LIMIT),
        np.minimum(battery_current_limit, _NO_LIMIT),
        np.minimum(charge_current_limit, _NO_LIMIT),
        standby_power,
    )
    signed, constant, series, inductance, poles, source, inner, phase, draw, charge, standby = (np.asarray(a, dtype=float) for a in given)
    turning = np.abs(signed)
    work, copper = constant * turning, 1.5 * series
    # Beyond half the open-circuit voltage more current gives less power.
    draw = np.minimum(draw, source / np.maximum(2 * inner, 1e-100))
    spare = draw * (source - inner * draw) - standby
    forward, backward = _battery_reach(work, copper, np.maximum(spare, 0.0))
    charging = _charge_reach(work, copper, charge * (source + inner * charge) + standby)
    candidates = np.stack([np.stack([phase, forward, np.full_like(phase, np.inf)]), np.stack([phase, backward, charging])])
    reach, by = candidates.min(axis=1), candidates.argmin(axis=1)

    emf, reactance, share = work / 1.5, turning * poles * inductance, MODULATION[modulation]

    def margin(i):
        """Above 0 where bus voltage and power suffice at current i, with its slope.

        U² − E·U + R_p·P = 0 has a root U at or above the wanted voltage q
        exactly where E²/4 − max(q − E/2, 0)² − R_p·P ≥ 0.  That is concave in
        i, so Newton's method from outside closes in on the root from one side.
        """
        drop = series * i + emf
        wanted = np.hypot(drop, reactance * i) / share
        excess = np.maximum(wanted - source / 2, 0.0)
        rate = (series * drop + reactance**2 * i) / (share**2 * np.maximum(wanted, 1e-100))
        value = source**2 / 4 - excess**2 - inner * (copper * i**2 + work * i + standby)
        return value, -2 * excess * rate - inner * (2 * copper * i + work)

    feasible = (spare >= 0) & (margin(np.zeros_like(phase))[0] >= 0)
    # The bus is highest at the most power fed back; no current beyond this one can meet the voltage limit.
    bus_top = (source + np.sqrt(source**2 + inner * work**2 / copper)) / 2
    sense = np.array([1.0, -1.0]).reshape((2,) + (1,) * phase.ndim)
    current = sense * np.minimum(reach, (share * bus_top + emf) / series)
    for _ in range(100):
        value, slope = margin(current)
        outside = feasible & (value < 0)
        step = np.divide(value, slope, out=np.zeros_like(value), where=outside)
        current = current - step
        if not np.any(np.abs(step) > 1e-15 * np.abs(current)):
            break
    by = np.where(np.abs(current) < reach, 3, by)
    current = np.where(feasible, current, 0.0)
    by = np.where(feasible, by, np.where(spare < 0, 1, 3))
    torque = constant * current
    ahead = signed >= 0
    return Limits(
        np.where(ahead, torque[0], -torque[1])[()],
        np.where(ahead, torque[1], -torque[0])[()],
        LIMIT_WORDS[np.where(ahead, by[0], by[1])],
        LIMIT_WORDS[np.where(ahead, by[1], by[0])],
    )
