"""The torque that motor, inverter and pack reach, with field weakening and saturation, and the currents of a torque."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from . import _plane
from ._ends import EDGE, FREQUENCY, end
from .checks import not_negative, one_of, positive
from .drive import MODULATION
from .registry import formula

LIMIT_WORDS = np.array(["phase current", "battery current", "charge current", "voltage", "field weakening", "electrical frequency"])
_NO_LIMIT = 1e12  # stands in for an infinite limit: far above any machine, and zero times it is zero


class Limits(NamedTuple):
    """The reachable torques at one rotation, and the word for what ends each."""

    highest: u.NewtonMetre
    lowest: u.NewtonMetre
    highest_by: str | np.ndarray
    lowest_by: str | np.ndarray


class OperatingPoint(NamedTuple):
    """What a torque takes; not a number where no direct current lets the voltage be enough."""

    direct_current: u.Ampere
    quadrature_current: u.Ampere
    phase_voltage: u.Volt
    bus_voltage: u.Volt
    battery_current: u.Ampere
    copper_loss: u.Watt
    bridge_loss: u.Watt
    pack_loss: u.Watt


def _given(
    rotation,
    torque_constant_peak,
    phase_resistance,
    quadrature_inductance,
    pole_pairs,
    open_circuit_voltage,
    pack_resistance,
    bridge_resistance,
    standby_power,
    modulation,
    direct_inductance,
    saturation_current,
    weakening_current,
    *others,
) -> tuple[_plane.Machine, np.ndarray, tuple[np.ndarray, ...], tuple[int, ...]]:
    """The checked machine on flat arrays, turned forward; the sense of rotation, the other arguments, and the shape of all."""
    one_of("modulation", modulation, tuple(MODULATION))
    if direct_inductance is None:
        direct_inductance = quadrature_inductance
    for name, value in (
        ("torque_constant_peak", torque_constant_peak),
        ("phase_resistance", phase_resistance),
        ("pole_pairs", pole_pairs),
        ("open_circuit_voltage", open_circuit_voltage),
        ("saturation_current", saturation_current),
    ):
        positive(name, value)
    for name, value in (
        ("quadrature_inductance", quadrature_inductance),
        ("direct_inductance", direct_inductance),
        ("pack_resistance", pack_resistance),
        ("bridge_resistance", bridge_resistance),
        ("standby_power", standby_power),
        ("weakening_current", weakening_current),
    ):
        not_negative(name, value)
    poles = np.asarray(pole_pairs, float)
    values = (
        np.abs(rotation),
        np.abs(rotation) * poles,
        1.5 * poles,
        torque_constant_peak / (1.5 * poles),
        direct_inductance,
        quadrature_inductance,
        1 / np.asarray(saturation_current, float),
        phase_resistance + np.asarray(bridge_resistance, float),
        open_circuit_voltage,
        pack_resistance,
        standby_power,
        MODULATION[modulation],
        weakening_current,
        np.where(np.asarray(rotation) >= 0, 1.0, -1.0),
        *others,
    )
    arrays = np.broadcast_arrays(*(np.asarray(value, float) for value in values))
    flat = [array.ravel() for array in arrays]
    return _plane.Machine(*flat[:13]), flat[13], tuple(flat[14:]), arrays[0].shape


@formula(
    equation=(
        r"|R\,\vec i + j\,\omega_e\vec\lambda| \le m\,U,\quad "
        r"U = E - R_p I_b,\quad U I_b = \tfrac{3}{2} R\,\vec i^{\,2} + T\,\omega + P_0,\quad "
        r"-I_c \le I_b \le I_d,\quad |\vec i| \le \hat I,\quad "
        r"T = \tfrac{3}{2} p\,i_q\left[\frac{\psi}{\sqrt{1 + (i_q/I_s)^2}} + (L_d - L_q)\,i_d\right]"
    ),
    source="fitzgerald_machinery, pwm_theory, morimoto_1990",
    sign="torque positive along positive rotation; lowest is at or below 0, highest at or above",
    valid="steady state; inductances constant; torque before iron and bearing drag",
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
    direct_inductance: u.Henry | None = None,
    saturation_current: u.Ampere = np.inf,
    weakening_current: u.Ampere = 0.0,
    electrical_frequency_limit: u.Hertz = np.inf,
) -> Limits:
    """Greatest and lowest electromagnetic torque that motor, inverter and pack allow at a rotation.

    The torques are the ends of the one unbroken range of torques around zero
    in which every limit is kept (stronger braking may feed back less again, but
    is not counted where it lies beyond a forbidden stretch).  The bus sags with
    the current that the motor itself draws, and rises while it feeds back.
    What ends the range is named:

    - "phase current", "charge current";
    - "battery current", also where the pack gives its greatest power;
    - "voltage" where the direct current may not weaken the field, or where
      weakening it more would not help;
    - "field weakening" where the voltage is reached and the current against the
      magnets takes up the rest of the phase current, or its own limit;
    - "electrical frequency" above which the controller follows no more.

    Where the voltage is not enough even for no torque, both torques are 0.
    Mind the hazard of speeds above the one at which the back-EMF reaches the
    bus: when the inverter switches off or trips, its diodes rectify the
    back-EMF onto the bus, which charges the pack uncontrolled, brakes the wheel
    and can destroy parts rated for less voltage.

    Args:
        rotation: rotation of the rotor, either sign.
        torque_constant_peak: torque per ampere of phase peak, at the temperature of the magnets, before the iron saturates.
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
        direct_inductance: inductance in the direct axis; that of the quadrature axis if left out.
        saturation_current: quadrature current at which the torque per ampere has fallen to 71 %; inf for none.
        weakening_current: greatest direct current against the magnets; 0 keeps the direct current at 0.
        electrical_frequency_limit: greatest electrical frequency that the controller follows; inf for none.

    >>> at = torque_limits(20.0, 0.8, 0.1, 0.3e-3, 20, 50.0, 0.1, 40.0, 20.0, 5.0)
    >>> float(round(at.highest, 2)), str(at.highest_by), float(round(at.lowest, 2)), str(at.lowest_by)
    (32.0, 'phase current', -15.41, 'charge current')
    """
    for name, value in (
        ("phase_current_limit", phase_current_limit),
        ("battery_current_limit", battery_current_limit),
        ("charge_current_limit", charge_current_limit),
        ("electrical_frequency_limit", electrical_frequency_limit),
    ):
        not_negative(name, value)
    m, sense, others, shape = _given(
        rotation,
        torque_constant_peak,
        phase_resistance,
        quadrature_inductance,
        pole_pairs,
        open_circuit_voltage,
        pack_resistance,
        bridge_resistance,
        standby_power,
        modulation,
        direct_inductance,
        saturation_current,
        weakening_current,
        *(np.minimum(value, _NO_LIMIT) for value in (phase_current_limit, battery_current_limit, charge_current_limit)),
        electrical_frequency_limit,
    )
    phase, draw, charge, frequency = others
    m = m._replace(weakening=np.minimum(m.weakening, phase))
    # Beyond half the open-circuit voltage more current gives less power.
    draw = np.minimum(draw, m.source / np.maximum(2 * m.inner, 1e-100))
    drawn, fed = draw * (m.source - m.inner * draw), -charge * (m.source + m.inner * charge)
    both = np.tile(np.arange(len(phase)), 2)  # once along the rotation, once against it
    way = np.repeat([1.0, -1.0], len(phase))
    torque, by = end(m.at(both), way, phase[both], drawn[both], fed[both])
    (high, low), (high_by, low_by) = np.split(torque, 2), np.split(by, 2)
    follows = m.rate <= 2 * np.pi * frequency
    high, low = np.where(follows, high, 0.0), np.where(follows, low, 0.0)
    high_by, low_by = np.where(follows, high_by, FREQUENCY), np.where(follows, low_by, FREQUENCY)
    ahead = sense > 0
    highest, lowest = np.where(ahead, high, -low), np.where(ahead, low, -high)
    by = LIMIT_WORDS[np.where(ahead, high_by, low_by)], LIMIT_WORDS[np.where(ahead, low_by, high_by)]
    return Limits(*(part.reshape(shape)[()] for part in (highest, lowest, *by)))


@formula(
    equation=(
        r"\min_{i_d \le 0}\ \vec i^{\,2}:\ T = \tfrac{3}{2} p\,i_q\left[\frac{\psi}{\sqrt{1 + (i_q/I_s)^2}} + (L_d - L_q)\,i_d\right], "
        r"\quad |R\,\vec i + j\,\omega_e\vec\lambda| \le m\,U"
    ),
    source="fitzgerald_machinery, morimoto_1990",
    sign="battery current positive out of the pack; direct current at or below 0 where the axes are alike",
    valid="steady state; inductances constant; torque before iron and bearing drag; current limits are not looked at",
)
def operating_point(
    torque: u.NewtonMetre,
    rotation: u.RadianPerSecond,
    torque_constant_peak: u.NewtonMetrePerAmpere,
    phase_resistance: u.Ohm,
    quadrature_inductance: u.Henry,
    pole_pairs: u.Number,
    open_circuit_voltage: u.Volt,
    pack_resistance: u.Ohm,
    bridge_resistance: u.Ohm = 0.0,
    standby_power: u.Watt = 0.0,
    modulation: str = "space vector",
    direct_inductance: u.Henry | None = None,
    saturation_current: u.Ampere = np.inf,
    weakening_current: u.Ampere = 0.0,
) -> OperatingPoint:
    """Currents, voltages and losses of a torque at a rotation, with the least current that the voltage allows.

    Args:
        torque: electromagnetic torque, positive along positive rotation.
        rotation: rotation of the rotor, either sign.
        torque_constant_peak: torque per ampere of phase peak, at the temperature of the magnets, before the iron saturates.
        phase_resistance: resistance of one phase, at the temperature of the winding.
        quadrature_inductance: inductance in the quadrature axis.
        pole_pairs: pairs of poles.
        open_circuit_voltage: voltage of the pack without current.
        pack_resistance: resistance of pack and wiring.
        bridge_resistance: resistance of one switch; one switch of each leg always conducts.
        standby_power: what the electronics draw without any current in the motor.
        modulation: "space vector", "sine triangle" or "six step".
        direct_inductance: inductance in the direct axis; that of the quadrature axis if left out.
        saturation_current: quadrature current at which the torque per ampere has fallen to 71 %; inf for none.
        weakening_current: greatest direct current against the magnets; 0 keeps the direct current at 0.

    >>> at = operating_point(16.0, 20.0, 0.8, 0.1, 0.3e-3, 20, 50.0, 0.1)
    >>> float(round(at.quadrature_current, 3)), float(round(at.copper_loss, 3)), float(round(at.battery_current, 3))
    (20.0, 60.0, 7.719)
    """
    machine = (
        torque_constant_peak,
        phase_resistance,
        quadrature_inductance,
        pole_pairs,
        open_circuit_voltage,
        pack_resistance,
        bridge_resistance,
        standby_power,
        modulation,
        direct_inductance,
        saturation_current,
        weakening_current,
        torque,
    )
    m, sense, (wanted,), shape = _given(rotation, *machine)
    start = None
    if wanted.size > 100 and _plane.salient(m) and all(np.ndim(part) == 0 for part in machine[:-1]):
        # The least currents of a torque do not depend on the rotation: they are sought once for each torque of one machine.
        values, place = np.unique(sense * wanted, return_inverse=True)
        start = tuple(part[place] for part in _plane.least(m.at(np.zeros(len(values), int)), values))
    x, y, spare = _plane.commanded(m, sense * wanted, start)
    allowed = spare >= -EDGE * m.source**2
    x, y = (np.where(allowed, part, np.nan) for part in (x, y))
    square = 1.5 * (x**2 + y**2)
    bridge = np.broadcast_to(np.asarray(bridge_resistance, float), shape).ravel()
    wanted_power = _plane.power(m, x, y)
    battery = 2 * wanted_power / (m.source + np.sqrt(np.maximum(m.source**2 - 4 * m.inner * wanted_power, 0.0)))
    along, across = _plane.voltages(m, x, y)
    parts = (
        x,
        sense * y,
        np.hypot(along, across),
        m.source - m.inner * battery,
        battery,
        square * (m.resistance - bridge),
        square * bridge,
        m.inner * battery**2,
    )
    return OperatingPoint(*(part.reshape(shape)[()] for part in parts))
