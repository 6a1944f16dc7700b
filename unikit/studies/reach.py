"""Which torque does the drive reach both ways at each speed, what ends it, and what happens if the controller trips there?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import bus, dq, duty, gearing, motor
from ..formulas import drive as drives
from ..formulas.reach import Limits
from ..inputs import Build, Case, Gear
from .drive import ROOM, Drive, drive
from .loads import loads, trim_torque
from .motor import gust_torque
from .results import Result, shown
from .split import torque_split

STEP = 2e-6  # share of a speed: how near to a step in the torque its two sides are looked at
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
    """Both ends of the torque over speed, and the hazards that come with speed and current; backward speeds are negative."""

    speed: u.MetrePerSecond = shown("speed", "km/h")
    highest: u.NewtonMetre = shown("greatest torque along the travel", "N*m")
    highest_by: np.ndarray = shown("ended by")
    lowest: u.NewtonMetre = shown("greatest torque against the travel", "N*m")
    lowest_by: np.ndarray = shown("ended by, against")
    trip_voltage: u.Volt = shown("voltage between two leads if the controller trips", "V")
    winding_temperature: u.Kelvin = shown("temperature of the winding", "°C", 0)
    magnet_temperature: u.Kelvin = shown("temperature of the magnets", "°C", 0)
    standstill_torque: u.NewtonMetre = shown("torque at standstill", "N*m")
    standstill_current: u.Ampere = shown("its phase current, peak of the wave", "A")
    standstill_current_rms: u.Ampere = shown("its phase current, rms", "A")
    standstill_loss: u.Watt = shown("its copper loss", "W", 0)
    standstill_time: u.Second = shown("until derating begins, held at that current", "s", 0)
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
    stall_hazard: str = shown("stall")
    trip_hazard: str = shown("trip at speed")
    magnet_hazard: str = shown("magnets")
    unplugged_hazard: str = shown("unplugged while braking")

    def stretches(self, against: bool = False) -> list[tuple[str, float, float]]:
        """Forward riding cut where another limit ends the torque along the travel, or against it: its name, and the speeds from and to."""
        ahead = self.speed >= 0
        speed, by = self.speed[ahead], (self.lowest_by if against else self.highest_by)[ahead]
        first = np.flatnonzero(np.r_[True, by[1:] != by[:-1]])
        return [
            (str(by[a]), float(speed[a]), float(speed[min(b, len(speed) - 1)]))
            for a, b in zip(first, np.r_[first[1:], len(by)], strict=True)
        ]


def study(
    build: Build,
    case: Case,
    winding_temperature: float | None = None,
    magnet_temperature: float | None = None,
    fastest: float | None = None,
    points: int = 141,
) -> Reach:
    """The ends of the torque from backing up to fast riding, and what a trip, a stall or an unplugged pack does.

    Args:
        build: the build.
        case: gives the charge, and the temperatures that are left out.
        winding_temperature: the winding; as the case starts if left out.
        magnet_temperature: the magnets; the air's if left out.
        fastest: greatest speed; if left out one that shows where the back-EMF reaches full packs. A quarter of it is backed up.
        points: speeds from 0 to the fastest; both sides of a step in the torque are put between them.

    Raises ValueError for a build without a motor.
    """
    winding, magnets = temperatures(case, winding_temperature, magnet_temperature)
    state = _drive(build, case, winding, magnets)
    machine, controller = build.motor, build.controller
    radius = build.wheel.radius
    full = drive(build, 1.0)
    if fastest is None:
        fastest = _outlook(build, case, full)
    steps = (_turning(state, radius, fastest), 2 * np.pi * state.electrical_frequency_limit / machine.pole_pairs * radius)
    beside = [step * side for step in steps if 0 < step < fastest for side in (1 - STEP, 1 + STEP)]
    speed = np.sort(np.r_[np.linspace(0.0, fastest, points), beside])
    limits = state.limits(speed / radius)
    flat, end = (
        _end(lambda at: state.limits(at / radius), holds, speed, limits)
        for holds in (lambda found: found.highest_by == limits.highest_by[0], lambda found: (found.highest > 0) | (found.lowest < 0))
    )
    still = float(limits.highest[0])
    stall, warm = (
        there.point(still, 0.0) for there in (state, _drive(build, case, max(winding, float(controller.derating_start)), magnets))
    )
    at_ends = state.point(np.r_[limits.highest, limits.lowest], np.r_[speed, speed] / radius)
    braked = slice(len(speed), None)
    fed = -float(np.min((at_ends.battery_current * at_ends.bus_voltage)[braked]))
    fed = fed if fed > 1e-6 else 0.0  # full packs let nothing through
    current = float(np.hypot(stall.direct_current, stall.quadrature_current))
    back = np.flatnonzero((speed > 0) & (speed <= fastest / 4))[::-1]  # backing up is riding forward in a mirror
    speed = np.r_[-speed[back], speed]
    tripped = trip_voltage(build, speed)
    numbers = {
        "standstill_time": float(
            duty.adiabatic_time(controller.derating_start - winding, machine.winding_capacity, stall.copper_loss, warm.copper_loss)
        ),
        "standstill_loss": float(stall.copper_loss),
        "base_speed": float(state.back_emf_rotation() * radius),
        "rating_speed": float(controller.voltage_rating * fastest / tripped[-1]),
        "rating": controller.voltage_rating,
        "full_voltage": float(full.open_circuit_voltage),
        "greatest_weakening": float(np.max(-at_ends.direct_current, initial=0.0)),
        "short_circuit_current": shorted_current(build, state, fastest),
        "demagnetising_current": machine.demagnetising_current,
        "unplugged_time": None
        if controller.bus_capacitance is None
        else float(bus.time_to_voltage(full.open_circuit_voltage, controller.voltage_rating, controller.bus_capacitance, fed)),
    }
    return Reach(
        speed=speed,
        highest=np.r_[-limits.lowest[back], limits.highest],
        highest_by=np.r_[limits.lowest_by[back], limits.highest_by],
        lowest=np.r_[-limits.highest[back], limits.lowest],
        lowest_by=np.r_[limits.highest_by[back], limits.lowest_by],
        trip_voltage=tripped,
        winding_temperature=winding,
        magnet_temperature=magnets,
        standstill_torque=still,
        standstill_current=current,
        standstill_current_rms=current / np.sqrt(2),
        flat_speed=flat,
        fastest=end,
        frequency=float(motor.electrical_rate(fastest / radius, machine.pole_pairs) / (2 * np.pi)),
        **numbers,
        **_hazards(numbers, fed),
    )


def trip_voltage(build: Build, speed: u.MetrePerSecond) -> u.Volt:
    """Peak of the back-EMF between two leads of a motor with cold magnets: what is left of the voltage if the controller trips."""
    cold = drive(build, magnet_temperature=COLD)
    return np.sqrt(3) * drives.back_emf_amplitude(np.asarray(speed, float) / build.wheel.radius, cold.torque_constant_peak)


def shorted_current(build: Build, state: Drive, speed: float) -> u.Ampere:
    """Direct current against the magnets, peak, if the three leads are joined at a speed, as a damaged bridge can do."""
    machine = build.motor
    return -float(
        dq.short_circuit_current(
            motor.electrical_rate(speed / build.wheel.radius, machine.pole_pairs),
            state.phase_resistance,
            machine.direct_inductance or machine.quadrature_inductance,
            machine.quadrature_inductance,
            motor.magnet_flux(state.torque_constant_peak, machine.pole_pairs),
        ).direct
    )


def _hazards(found: dict[str, float | None], fed: float) -> dict[str, str]:
    """What the numbers mean for hands, parts and packs."""
    pushed = max(found["greatest_weakening"], found["short_circuit_current"])
    born, time = found["demagnetising_current"], found["unplugged_time"]
    trip = f"from {_kmh(found['base_speed'])} the diodes charge the packs, uncontrolled"
    if born is None:
        magnets = f"up to {pushed:.0f} A against them; the build does not say what they bear hot"
    else:
        magnets = f"up to {pushed:.0f} A against them, they bear {born:.0f} A hot" + (
            "" if pushed < born else ": they can be lost for good"
        )
    if fed <= 0:
        unplugged = "nothing is fed back here"
    elif time is None:
        unplugged = f"{fed:.0f} W with nowhere to go; the build does not say the capacitance"
    else:
        unplugged = f"{fed:.0f} W with nowhere to go: {found['rating']:.0f} V within {1000 * time:.1f} ms"
    return {
        "stall_hazard": f"{found['standstill_loss']:.0f} W without cooling wind; one phase may carry the peak and burn in half the time",
        "trip_hazard": f"{trip}; from {_kmh(found['rating_speed'])} it passes {found['rating']:.0f} V",
        "magnet_hazard": magnets,
        "unplugged_hazard": unplugged,
    }


def _kmh(speed: float) -> str:
    return f"{3.6 * speed:.0f} km/h"


@dataclass(frozen=True)
class Here(Result):
    """What a case asks of the motor at its peak in the turn, and how far it is from there to the end that way."""

    gear: str = shown("gear")
    speed: u.MetrePerSecond = shown("speed", "km/h")
    torque: u.NewtonMetre = shown("motor torque of the case, peak in the turn", "N*m")
    end: u.NewtonMetre = shown("torque at which it ends that way", "N*m")
    ended_by: str = shown("ended there by")
    left: u.NewtonMetre = shown("left until then", "N*m")
    gust_torque: u.NewtonMetre = shown("wheel torque the case's gust adds", "N*m")
    phase_current: u.Ampere = shown("phase current of the case, peak of the wave", "A")
    phase_current_rms: u.Ampere = shown("phase current of the case, rms", "A")
    direct_current: u.Ampere = shown("of it along the magnets, peak", "A")
    voltage_share: u.Ratio = shown("voltage taken, of what the bridge can make", "%", 0)
    bus_voltage: u.Volt = shown("bus voltage under this load", "V")
    battery_current: u.Ampere = shown("battery current at the peak in the turn", "A")


def here(
    build: Build, case: Case, gear: Gear | None = None, winding_temperature: float | None = None, magnet_temperature: float | None = None
) -> Here:
    """The case's own point between the ends, at the crank angle where the motor gives most; temperatures as in :func:`study`."""
    winding, magnets = temperatures(case, winding_temperature, magnet_temperature)
    state = _drive(build, case, winding, magnets)
    gear = gear or build.gears.named(build.gears.engaged)
    split = torque_split(build, gear, case.speed, loads(build, case).wheel_torque, state, trim_torque(build, case))
    torque, driving = split.motor_peak, split.motor_peak >= 0
    at = state.point(torque, case.speed / build.wheel.radius)
    current = float(np.hypot(at.direct_current, at.quadrature_current))
    return Here(
        gear=gear.name,
        speed=case.speed,
        torque=torque,
        end=split.highest if driving else split.lowest,
        ended_by=str(split.highest_by if driving else split.lowest_by),
        left=split.highest - torque if driving else torque - split.lowest,
        gust_torque=gust_torque(build, case, case.speed),
        phase_current=current,
        phase_current_rms=current / np.sqrt(2),
        direct_current=float(at.direct_current),
        voltage_share=float(at.phase_voltage / drives.phase_voltage_limit(at.bus_voltage, state.modulation)),
        bus_voltage=float(at.bus_voltage),
        battery_current=float(at.battery_current),
    )


def temperatures(case: Case, winding_temperature: float | None = None, magnet_temperature: float | None = None) -> tuple[float, float]:
    """Temperatures of winding and magnets: those given, else the winding as the case starts and the magnets at the air's."""
    start = case.air_temperature if case.winding_start is None else case.winding_start
    return (
        start if winding_temperature is None else winding_temperature,
        case.air_temperature if magnet_temperature is None else magnet_temperature,
    )


def _outlook(build: Build, case: Case, full: Drive) -> float:
    """Speed up to which the ends are worth drawing: past the back-EMF of full packs, as far as it is near what can be pedalled."""
    gear = build.gears.named(build.gears.engaged)
    pedalled = gearing.speed(build.rider.greatest_cadence, build.wheel.radius, gear.ratio)
    reached = 1.3 * float(full.back_emf_rotation()) * build.wheel.radius
    return float(max(1.25 * pedalled, 1.1 * case.speed, min(reached, 2.8 * pedalled), 1.0))


def _drive(build: Build, case: Case, winding_temperature: float, magnet_temperature: float) -> Drive:
    state = drive(build, case.state_of_charge, winding_temperature, magnet_temperature)
    if state is None:
        raise ValueError(f"build {build.name!r} has no motor: the reach study needs one")
    return state


def _turning(state: Drive, radius: float, fastest: float) -> float:
    """Speed up to which the bridge has the voltage for no torque; that is quick to find, and the torque ends in a step there."""
    low, high = 0.0, fastest
    for _ in range(2):
        speeds = np.linspace(low, high, 1025)
        free = state.point(0.0, speeds / radius)
        short = np.flatnonzero(free.phase_voltage > drives.phase_voltage_limit(free.bus_voltage, state.modulation) * (1 + 1e-9))
        if not short.size or short[0] == 0:
            return np.inf if not short.size else 0.0
        low, high = speeds[short[0] - 1], speeds[short[0]]
    return float(low + high) / 2


def _end(limits: Callable[[np.ndarray], Limits], holds: Callable[[Limits], np.ndarray], speed: np.ndarray, found: Limits) -> float:
    """Speed up to which something holds from standstill on; inf where it still holds at the last speed."""
    ended = np.flatnonzero(~np.asarray(holds(found), bool))
    if not ended.size or ended[0] == 0:
        return 0.0 if ended.size else np.inf
    low, high = speed[ended[0] - 1], speed[ended[0]]
    while high - low > 2 * STEP * high:
        speeds = np.linspace(low, high, 129)
        held = np.asarray(holds(limits(speeds[1:-1])), bool)
        first = int(np.argmin(np.r_[held, False]))
        low, high = speeds[first], speeds[first + 1]
    return float(low)
