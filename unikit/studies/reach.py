"""Which torque does the drive reach both ways at each speed, what ends it, and what happens if the controller trips there?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import bus, dq, duty, motor
from ..formulas import drive as drives
from ..inputs import Build, Case
from .drive import ROOM, Drive, drive
from .results import Result, shown

COLD = 273.15  # K: magnets of a winter morning have their greatest flux


@dataclass(frozen=True)
class Map(Result):
    """A grid of motor torque over road speed; backward is negative.  Grids have the shape (torques, speeds)."""

    speed: u.MetrePerSecond
    torque: u.NewtonMetre
    allowed: np.ndarray
    limit_words: np.ndarray
    limit_number: np.ndarray
    reserve: u.NewtonMetre
    direct_current: u.Ampere
    quadrature_current: u.Ampere
    phase_voltage: u.Volt
    bus_voltage: u.Volt
    battery_current: u.Ampere
    copper_loss: u.Watt
    bridge_loss: u.Watt
    pack_loss: u.Watt
    standby_power: u.Watt
    iron_loss: u.Watt
    shaft_power: u.Watt
    cell_power: u.Watt

    @property
    def limit(self) -> np.ndarray:
        """What ends the torque that way at that speed, in words, at every point of the grid."""
        return self.limit_words[self.limit_number]


def torque_map(
    build: Build,
    case: Case,
    speed: u.MetrePerSecond,
    torque: u.NewtonMetre,
    winding_temperature: float = ROOM,
    magnet_temperature: float = ROOM,
) -> Map:
    """Every point of a grid: whether it is reached, what ends the torque at its speed and in its direction, the reserve and all losses.

    ``limit`` names at every point what ends the torque that way at that speed.
    Points that are not reached carry no numbers but the reserve, which is below
    0 there: what is missing.  Torque is electromagnetic; the shaft gets it less
    the drag of the iron.  Raises ValueError for a build without a motor.
    """
    state = _drive(build, case, winding_temperature, magnet_temperature)
    speed, torque = np.asarray(speed, float), np.asarray(torque, float)
    rotation = speed / build.wheel.radius
    limits = state.limits(rotation)
    ahead = torque[:, None] >= 0
    reserve = np.where(ahead, limits.highest - torque[:, None], torque[:, None] - limits.lowest)
    allowed = reserve >= 0
    wanted, turning = np.broadcast_arrays(torque[:, None], rotation)
    found = state.point(wanted[allowed], turning[allowed])
    words, numbers = np.unique(np.r_[limits.highest_by, limits.lowest_by], return_inverse=True)

    def grid(values) -> np.ndarray:
        """The numbers of the reached points in their places."""
        whole = np.full(allowed.shape, np.nan)
        whole[allowed] = values
        return whole

    iron = motor.iron_loss(rotation, state.hysteresis_torque, state.eddy_drag)
    return Map(
        speed=speed,
        torque=torque,
        allowed=allowed,
        limit_words=words,
        limit_number=np.where(ahead, *np.split(numbers, 2)),
        reserve=reserve,
        direct_current=grid(found.direct_current),
        quadrature_current=grid(found.quadrature_current),
        phase_voltage=grid(found.phase_voltage),
        bus_voltage=grid(found.bus_voltage),
        battery_current=grid(found.battery_current),
        copper_loss=grid(found.copper_loss),
        bridge_loss=grid(found.bridge_loss),
        pack_loss=grid(found.pack_loss),
        standby_power=grid(state.standby_power),
        iron_loss=np.where(allowed, iron, np.nan),
        shaft_power=np.where(allowed, wanted * turning - iron, np.nan),
        cell_power=state.open_circuit_voltage * grid(found.battery_current),
    )


def reserve(
    build: Build,
    case: Case,
    speed: u.MetrePerSecond,
    torque: u.NewtonMetre = 0.0,
    state_of_charge: u.Ratio | None = None,
    winding_temperature: u.Kelvin = ROOM,
    magnet_temperature: u.Kelvin = ROOM,
) -> u.NewtonMetre:
    """Torque that the motor can still add to a torque at any speed, charge and temperature; arguments broadcast."""
    charge = case.state_of_charge if state_of_charge is None else state_of_charge
    state = drive(build, charge, winding_temperature, magnet_temperature)
    if state is None:
        raise ValueError(f"build {build.name!r} has no motor: there is no reserve")
    return state.limits(np.asarray(speed, float) / build.wheel.radius).highest - torque


@dataclass(frozen=True)
class Reach(Result):
    """Both ends of the torque over speed, and the hazards that come with speed and current."""

    speed: u.MetrePerSecond = shown("speed", "km/h")
    highest: u.NewtonMetre = shown("greatest torque along the travel", "N*m")
    highest_by: np.ndarray = shown("ended by")
    lowest: u.NewtonMetre = shown("greatest torque against the travel", "N*m")
    lowest_by: np.ndarray = shown("ended by, against")
    trip_voltage: u.Volt = shown("voltage between two leads if the controller trips", "V")
    standstill_torque: u.NewtonMetre = shown("torque at standstill", "N*m")
    standstill_current: u.Ampere = shown("its phase current, peak", "A")
    standstill_current_rms: u.Ampere = shown("its phase current, rms", "A")
    standstill_loss: u.Watt = shown("its copper loss, cold", "W", 0)
    standstill_time: u.Second = shown("winding from 20 °C to derating at that current", "s", 0)
    flat_speed: u.MetrePerSecond = shown("speed up to which the torque is ended as at standstill", "km/h")
    base_speed: u.MetrePerSecond = shown("speed at which the back-EMF reaches the packs", "km/h")
    fastest: u.MetrePerSecond = shown("greatest speed with any torque", "km/h")
    frequency: u.Hertz = shown("electrical frequency at the fastest speed drawn", "Hz", 0)
    rating_speed: u.MetrePerSecond = shown("speed at which a trip reaches the voltage rating, cold magnets", "km/h")
    rating: u.Volt = shown("voltage rating", "V")
    full_voltage: u.Volt = shown("voltage of the full packs", "V")
    greatest_weakening: u.Ampere = shown("greatest current against the magnets, peak", "A")
    short_circuit_current: u.Ampere = shown("current against the magnets if the leads are joined at speed, peak", "A")
    demagnetising_current: u.Ampere | None = shown("what the hot magnets bear, peak", "A")
    unplugged_time: u.Second | None = shown("time from full packs' voltage to the rating, braking without packs", "s", 4)


def study(
    build: Build,
    case: Case,
    winding_temperature: float = ROOM,
    magnet_temperature: float = ROOM,
    fastest: float = 14.0,
    points: int = 281,
) -> Reach:
    """The ends of the torque from backing up to fast riding, and what a trip, a stall or an unplugged pack does.

    Raises ValueError for a build without a motor.
    """
    state = _drive(build, case, winding_temperature, magnet_temperature)
    machine, controller = build.motor, build.controller
    radius = build.wheel.radius
    speed = np.linspace(-fastest, fastest, points)
    limits = state.limits(speed / radius)
    ahead = speed >= 0
    still = state.limits(0.0)
    stall = state.point(float(still.highest), 0.0)
    warm = _drive(build, case, controller.derating_start, magnet_temperature).point(float(still.highest), 0.0)
    weakened = state.point(np.r_[limits.highest, limits.lowest], np.r_[speed, speed] / radius).direct_current
    cold = _drive(build, case, winding_temperature, COLD)
    inductances = (machine.direct_inductance or machine.quadrature_inductance, machine.quadrature_inductance)
    shorted = dq.short_circuit_current(
        motor.electrical_rate(fastest / radius, machine.pole_pairs),
        state.phase_resistance,
        *inductances,
        motor.magnet_flux(state.torque_constant_peak, machine.pole_pairs),
    )
    room = controller.derating_start - winding_temperature
    full = drive(build, 1.0).open_circuit_voltage
    braked = state.point(limits.lowest[ahead], speed[ahead] / radius)
    fed = -float(np.min(braked.battery_current * braked.bus_voltage))
    return Reach(
        speed=speed,
        highest=limits.highest,
        highest_by=limits.highest_by,
        lowest=limits.lowest,
        lowest_by=limits.lowest_by,
        trip_voltage=np.sqrt(3) * drives.back_emf_amplitude(speed / radius, cold.torque_constant_peak),
        standstill_torque=float(still.highest),
        standstill_current=float(stall.quadrature_current),
        standstill_current_rms=float(stall.quadrature_current) / np.sqrt(2),
        standstill_loss=float(stall.copper_loss),
        standstill_time=float(duty.adiabatic_time(room, machine.winding_capacity, stall.copper_loss, warm.copper_loss)),
        flat_speed=_end(lambda at: state.limits(at / radius).highest_by == still.highest_by, fastest),
        base_speed=state.back_emf_rotation() * radius,
        fastest=_end(lambda at: state.limits(at / radius).highest > 0, fastest),
        frequency=motor.electrical_rate(fastest / radius, machine.pole_pairs) / (2 * np.pi),
        rating_speed=drives.no_load_speed(controller.voltage_rating, cold.torque_constant_peak, "space vector") * radius,
        rating=controller.voltage_rating,
        full_voltage=full,
        greatest_weakening=float(-weakened.min()),
        short_circuit_current=float(-shorted.direct),
        demagnetising_current=machine.demagnetising_current,
        unplugged_time=None
        if controller.bus_capacitance is None
        else float(bus.time_to_voltage(full, controller.voltage_rating, controller.bus_capacitance, fed)),
    )


def _drive(build: Build, case: Case, winding_temperature: float, magnet_temperature: float) -> Drive:
    state = drive(build, case.state_of_charge, winding_temperature, magnet_temperature)
    if state is None:
        raise ValueError(f"build {build.name!r} has no motor: there is no torque to reach")
    return state


def _end(holds: Callable[[np.ndarray], np.ndarray], fastest: float) -> float:
    """Speed up to which something holds from standstill on, to a millionth of the fastest; inf where it still holds there."""
    low, high = 0.0, fastest
    for _ in range(3):
        speeds = np.linspace(low, high, 129)
        ended = np.flatnonzero(~np.asarray(holds(speeds), bool))
        if not ended.size:
            return np.inf
        if ended[0] == 0:
            return 0.0
        low, high = speeds[ended[0] - 1], speeds[ended[0]]
    return float(low)
