"""The torque that motor, inverter and pack reach, with field weakening and saturation, and the currents of a torque."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from . import _plane
from ._bracket import crossing
from .checks import not_negative, one_of, positive
from .drive import MODULATION
from .registry import formula

LIMIT_WORDS = np.array(["phase current", "battery current", "charge current", "voltage", "field weakening", "electrical frequency"])
PHASE, BATTERY, CHARGE, VOLTAGE, WEAKENING, FREQUENCY = range(len(LIMIT_WORDS))
_FINE = 1e-12  # how closely ends are found, as a share
_EDGE = 1e-9  # slack over the squared voltage that counts as none
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
    torque, by = _end(m.at(both), way, phase[both], drawn[both], fed[both])
    (high, low), (high_by, low_by) = np.split(torque, 2), np.split(by, 2)
    follows = m.rate <= 2 * np.pi * frequency
    high, low = np.where(follows, high, 0.0), np.where(follows, low, 0.0)
    high_by, low_by = np.where(follows, high_by, FREQUENCY), np.where(follows, low_by, FREQUENCY)
    ahead = sense > 0
    highest, lowest = np.where(ahead, high, -low), np.where(ahead, low, -high)
    by = LIMIT_WORDS[np.where(ahead, high_by, low_by)], LIMIT_WORDS[np.where(ahead, low_by, high_by)]
    return Limits(*(part.reshape(shape)[()] for part in (highest, lowest, *by)))


def _end(m: _plane.Machine, way, phase, drawn, fed) -> tuple[np.ndarray, np.ndarray]:
    """Greatest torque one way (1 along the rotation, -1 against it), and the number of the word for what ends it."""
    start = np.zeros_like(phase)
    y = way * np.minimum(_phase_reach(m, phase), _farthest(m, drawn))
    by = np.full(phase.shape, PHASE)
    x, _, spare = _plane.commanded(m, start)
    powered = _plane.power(m, x, start) <= drawn
    possible = powered & (spare >= -1e-12 * m.source**2)
    # 1. Along the currents of most torque per ampere: the pack's power.
    over = possible & (_plane.power(m, _plane.favoured(m, y), y) > drawn)
    if _plane.linear(m):
        y, by = np.where(over, way * _drawing(m, way, np.maximum(drawn, m.standby)), y), np.where(over, BATTERY, by)
    else:
        y, by = _along(m, y, by, over, BATTERY, lambda part, at: _plane.power(part, _plane.favoured(part, at), at) - drawn[over])
    torque = _plane.torque(m, _plane.favoured(m, y), y)
    # 2. The voltage, with as much weakening as there may be.
    spare = _plane.slack(m, _plane.favoured(m, y), y)[0]
    short = possible & (spare < -1e-13 * m.source**2)
    plain = short & (m.weakening == 0)
    y, by = _along(m, y, by, plain, VOLTAGE, lambda part, at: -_plane.slack(part, start[plain], at)[0])
    torque = np.where(plain, _plane.torque(m, start, y), torque)
    weak = np.flatnonzero(short & (m.weakening > 0))
    if weak.size:
        torque[weak], by[weak] = _corner(m.at(weak), y[weak], phase[weak], drawn[weak])
    torque, by = np.where(possible, torque, 0.0), np.where(possible, by, np.where(powered, VOLTAGE, BATTERY))
    # 3. What is fed back, on the way from no torque to the end found so far.
    braking = np.flatnonzero(possible & (torque < 0))
    if braking.size:
        torque[braking], by[braking] = _fed_back(m.at(braking), torque[braking], by[braking], fed[braking])
    return torque, by


def _phase_reach(m: _plane.Machine, phase) -> np.ndarray:
    """Quadrature current of most torque per ampere at the whole phase current."""
    y = phase.copy()
    if _plane.salient(m):
        y = crossing(lambda y: np.hypot(_plane.favoured(m, y), y) - phase, 0 * phase, phase, _FINE * phase)
    return y


def _farthest(m: _plane.Machine, drawn) -> np.ndarray:
    """A quadrature current that pack and voltage allow neither way: where the search begins without a phase limit."""
    work = m.turning * m.torque_per_flux * (m.flux + np.abs(m.quadrature - m.direct) * m.weakening)
    by_power = (work + np.sqrt(work**2 + 6 * m.resistance * drawn)) / (3 * m.resistance)
    top = m.source + np.sqrt(m.source**2 + m.inner * work**2 / m.resistance)
    by_voltage = (m.share * top + m.rate * (m.flux + m.direct * m.weakening)) / m.resistance
    return 1.01 * np.minimum(by_power, by_voltage) + 1e-6


def _drawing(m: _plane.Machine, way, power) -> np.ndarray:
    """Size of the quadrature current that draws a bus power above the standby, torque and current in proportion."""
    work, spare = way * m.turning * m.torque_per_flux * m.flux, power - m.standby
    root = np.sqrt(work**2 + 6 * m.resistance * spare)
    # Each of two forms where it does not take the difference of nearly equal numbers.
    return np.where(work > 0, 2 * spare / np.where(work > 0, work + root, 1.0), (root - work) / (3 * m.resistance))


def _feeding(m: _plane.Machine, power) -> np.ndarray:
    """Size of the least braking current that feeds back a bus power at or below the standby, torque and current in proportion."""
    work, fed = m.turning * m.torque_per_flux * m.flux, m.standby - power
    root = np.sqrt(np.maximum(work**2 - 6 * m.resistance * fed, 0.0))
    return 2 * fed / np.maximum(work + root, 1e-300)


def _along(m: _plane.Machine, y, by, chosen, word: int, beyond) -> tuple[np.ndarray, np.ndarray]:
    """Quadrature currents brought back to where ``beyond`` becomes 0, for the chosen elements."""
    if not chosen.any():
        return y, by
    part, end = m.at(chosen), y[chosen]
    y, by = y.copy(), by.copy()
    y[chosen] = crossing(lambda at: beyond(part, at), 0 * end, end, _FINE * np.abs(end))
    by[chosen] = word
    return y, by


def _weakest(m: _plane.Machine, outside) -> tuple[np.ndarray, np.ndarray]:
    """Currents where the edge of the voltage has its greatest torque, from a torque that the voltage does not allow.

    Along equal torque the slack is greatest somewhere; what is sought is the
    torque at which that greatest slack is 0, by Newton's method from outside.
    """
    torque, low, high = outside, -m.weakening, np.zeros_like(outside)

    def rise(x, wanted):
        """Slope of the slack over the direct current at equal torque."""
        y = _plane.quadrature(m, wanted, x)
        _, by_x, by_y = _plane.slack(m, x, y)
        along_x, along_y = _plane.slopes(m, x, y)
        return by_x - by_y * along_x / along_y

    for _ in range(40):
        # The slope falls as the direct current rises; below 0 throughout, or above, the best is at an end.
        x = crossing(lambda at: -rise(at, torque), low, high, 1e-9 * m.weakening)  # noqa: B023 - called in this turn of the loop alone
        x = np.where(np.isfinite(x), x, np.where(x < 0, low, high))
        y = _plane.quadrature(m, torque, x)
        value, _, by_y = _plane.slack(m, x, y)
        usable = by_y * outside < 0
        ahead = torque - np.where(usable, value * _plane.slopes(m, x, y)[1] / np.where(usable, by_y, 1.0), 0.0)
        torque, before = np.where(np.abs(ahead) < np.abs(outside), ahead, outside), torque
        if np.all(np.abs(torque - before) <= 1e-14 * np.abs(outside)):
            break
    return x, _plane.quadrature(m, torque, x)


def _corner(m: _plane.Machine, outside, phase, drawn) -> tuple[np.ndarray, np.ndarray]:
    """Greatest torque where the voltage allows it with weakening only: until phase current, pack or weakening end it.

    ``outside`` is a quadrature current that the voltage does not allow.
    """

    def passed(part, x, y, chosen):
        return np.stack([np.hypot(x, y) / phase[chosen] - 1, _plane.power(part, x, y) / drawn[chosen] - 1])

    every = np.arange(len(outside))
    x, y = _weakest(m, _plane.torque(m, _plane.favoured(m, outside), outside))
    torque = _plane.torque(m, x, y)
    word = np.where(x <= -m.weakening, WEAKENING, VOLTAGE)
    at_end = passed(m, x, y, every).max(axis=0)
    ended = np.flatnonzero(at_end > 0)
    if ended.size:
        part, most = m.at(ended), torque[ended]

        def ends(short):
            """The currents run into their greatest torque as a square root does: what is sought is the root of what is short of it."""
            return passed(part, *_plane.commanded(part, most * (1 - short**2))[:2], ended)

        short = crossing(lambda at: ends(at).max(axis=0), np.ones_like(most), 0 * most, _FINE)
        short = np.where(np.isfinite(short), short, 1.0)
        torque[ended] = most * (1 - short**2)
        word[ended] = np.choose(ends(short).argmax(axis=0), [WEAKENING, BATTERY])
    return torque, word


def _fed_back(m: _plane.Machine, torque, by, fed) -> tuple[np.ndarray, np.ndarray]:
    """Braking brought back to the first torque at which as much is fed back as may be."""

    # Most is fed back where the copper loss grows as fast as the power of the shaft.
    pull = m.turning * m.torque_per_flux * m.flux / (3 * m.resistance)
    most = pull
    for _ in range(30 if np.any(m.roll) else 0):
        square = (m.roll * most) ** 2
        most = most - (most * (1 + square) ** 1.5 - pull) / ((1 + square) ** 0.5 * (1 + 4 * square))
    end = np.maximum(torque, _plane.torque(m, np.zeros_like(most), -most))
    if np.any(m.weakening):
        (_, _, free), (x, y, spare) = _plane.commanded(m, np.zeros_like(end)), _plane.commanded(m, end)
        # The slack is concave: where both ends of the way need no weakening nothing between them does.
        weakened = (m.weakening > 0) & ((np.abs(free) < _EDGE * m.source**2) | (np.abs(spare) < _EDGE * m.source**2))
    else:
        (x, y), weakened = _plane.least(m, end), np.zeros(end.shape, bool)
    over = _plane.power(m, x, y) < fed
    for chosen, currents in ((over & ~weakened, _plane.least), (over & weakened, lambda part, at: _plane.commanded(part, at)[:2])):
        if not chosen.any():
            continue
        part, limit, far = m.at(chosen), fed[chosen], end[chosen]
        by[chosen] = CHARGE
        if currents is _plane.least and _plane.linear(m):
            torque[chosen] = _plane.torque(part, 0 * far, -_feeding(part, np.minimum(limit, part.standby)))
            continue
        beyond = lambda at: limit - _plane.power(part, *currents(part, at))  # noqa: B023 - called in this turn of the loop alone
        found = crossing(beyond, 0 * far, far, _FINE * np.abs(far))
        torque[chosen] = np.where(np.isfinite(found), found, 0.0)
    return torque, by


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
    allowed = spare >= -_EDGE * m.source**2
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
