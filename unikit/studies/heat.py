"""How warm does the motor get in a case, when is the reserve spent, and what holds for ever?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import heat, motor, pedalling
from ..inputs import Build, Case, Gear
from .drive import ROOM, drive
from .loads import loads, trim_torque
from .motor import point
from .results import Result, shown
from .split import torque_split

WINDING, STATOR, HOUSING = range(3)
HOTTEST = 673.0  # K: no insulation and no magnet outlives it
LONGEST = 6 * 3600.0


@dataclass(frozen=True)
class Heat(Result):
    """Temperatures of winding, stator and housing over the case, and the reserve they leave."""

    gear: str = shown("gear")
    copper_loss: u.Watt = shown("copper loss at 20 °C", "W")
    iron_loss: u.Watt = shown("iron loss", "W")
    housing_conductance: u.WattPerKelvin = shown("housing to air", "W/K", 2)
    winding_end: u.Kelvin = shown("winding at the end of the case", "°C", 0)
    housing_end: u.Kelvin = shown("housing at the end of the case", "°C", 0)
    winding_steady: u.Kelvin = shown("winding if it went on for ever", "°C", 0)
    air: u.Kelvin = shown("air", "°C", 0)
    winding_limit: u.Kelvin = shown("limit of the winding in the mean", "°C", 0)
    magnet_limit: u.Kelvin = shown("limit of the magnets", "°C", 0)
    derating_after: u.Second = shown("derating begins after", "min")
    reserve_spent_after: u.Second = shown("derating has spent the reserve after", "min")
    limit_after: u.Second = shown("winding limit after", "min")
    magnet_limit_after: u.Second = shown("magnet limit after", "min")
    continuous_torque: u.NewtonMetre = shown("motor torque that holds for ever", "N*m")
    time: u.Second = shown("time", "min")
    winding: u.Kelvin = shown("winding", "°C")
    stator: u.Kelvin = shown("stator", "°C")
    housing: u.Kelvin = shown("housing", "°C")
    reserve: u.NewtonMetre = shown("reserve", "N*m")


@dataclass(frozen=True)
class Network:
    """The chain winding - stator - housing - air of a build in a case, in SI."""

    capacity: np.ndarray
    link_conductance: np.ndarray
    losses: np.ndarray
    loss_slope: np.ndarray
    ambient: float
    start: np.ndarray


def network(build: Build, case: Case, gear: Gear, magnet_temperature: float = ROOM) -> Network:
    """The thermal chain with the losses that the torque split gives.

    Copper loss rises with the winding's own temperature; the magnets take the
    housing's.  All magnets and windings start at ``winding_start`` of the case,
    or at the air's temperature.
    """
    cold = point(build, case, gear, ROOM, magnet_temperature)
    rising = motor.resistance_at(1.0, 120.0, 20.0) - 1.0
    machine = build.motor
    to_air = heat.housing_conductance(
        road_speed=case.speed,
        rotation=case.speed / build.wheel.radius,
        diameter=machine.housing_diameter,
        width=machine.housing_width,
        air_temperature=case.air_temperature,
        emissivity=machine.emissivity,
    )
    start = case.air_temperature if case.winding_start is None else case.winding_start
    return Network(
        capacity=np.array([machine.winding_capacity, machine.stator_capacity, machine.housing_capacity]),
        link_conductance=np.array([machine.winding_to_stator, machine.stator_to_housing, to_air]),
        losses=np.array([cold.copper_loss, cold.iron_loss, 0.0]),
        loss_slope=np.array([cold.copper_loss * rising / 100.0, 0.0, 0.0]),
        ambient=case.air_temperature,
        start=np.full(3, start),
    )


def temperatures(chain: Network, time: np.ndarray) -> np.ndarray:
    """Temperatures of the three nodes at given times, shape (times, 3).

    Held from the moment when one of them reaches 400 °C: the motor is lost by
    then, and losses that run away would leave all numbers behind.
    """

    def at(time: np.ndarray) -> np.ndarray:
        return heat.network_response(
            chain.capacity, chain.link_conductance, chain.losses, chain.ambient, chain.start, time, chain.loss_slope, ROOM
        )

    try:
        course = at(time)
    except ValueError:  # it runs away before the last of the times
        course = np.array([np.inf])
    if course.max() < HOTTEST:  # the search for the moment takes ten times as long as the course
        return course
    return at(np.minimum(time, min(_reached(chain, node, HOTTEST) for node in (WINDING, STATOR, HOUSING))))


def _reached(chain: Network, node: int, limit: float) -> float:
    """Time until a node reaches a limit; inf if never."""
    return float(
        heat.network_time_to_limit(
            chain.capacity, chain.link_conductance, chain.losses, chain.ambient, chain.start, node, limit, chain.loss_slope, ROOM
        )
    )


def study(build: Build, case: Case, gear: Gear | None = None, points: int = 121) -> Heat:
    """Heat a build through a case at steady torque.

    The torque is held as long as the reserve lasts; beyond the moment when
    derating has spent it the motor gives less and the legs more, so the curves
    after it are what would happen if the torque were still held.
    Raises ValueError for a build without a motor.
    """
    if build.motor is None:
        raise ValueError(f"build {build.name!r} has no motor: the heat study needs one")
    gear = gear or build.gears.named(build.gears.engaged)
    time = np.linspace(0.0, case.duration, points)
    chain = network(build, case, gear)
    housing = ROOM
    for _ in range(20):  # the magnets weaken with the housing's temperature at the end, and the copper loss grows with that
        before, housing = housing, temperatures(chain, np.array([case.duration]))[0, HOUSING]
        if abs(housing - before) < 0.01:
            break
        chain = network(build, case, gear, housing)
    course = temperatures(chain, time)
    winding, magnet = course[:, WINDING], course[:, HOUSING]
    state = drive(build, case.state_of_charge, winding, magnet)
    split = torque_split(
        build, gear, np.full(points, case.speed), np.full(points, loads(build, case).wheel_torque), state, trim_torque(build, case)
    )
    winding_limit = heat.mean_winding_limit(build.motor.insulation_class) + 273.15
    lasting = min(winding_limit, build.controller.derating_start)

    return Heat(
        gear=gear.name,
        copper_loss=chain.losses[WINDING],
        iron_loss=chain.losses[STATOR],
        housing_conductance=chain.link_conductance[HOUSING],
        winding_end=winding[-1],
        housing_end=magnet[-1],
        winding_steady=_steady(chain),
        air=case.air_temperature,
        winding_limit=winding_limit,
        magnet_limit=build.motor.magnet_limit,
        derating_after=_reached(chain, WINDING, build.controller.derating_start),
        reserve_spent_after=_spent(time, split.reserve),
        limit_after=_reached(chain, WINDING, winding_limit),
        magnet_limit_after=_reached(chain, HOUSING, build.motor.magnet_limit),
        continuous_torque=continuous_torque(build, chain, lasting, build.motor.magnet_limit),
        time=time,
        winding=winding,
        stator=course[:, STATOR],
        housing=magnet,
        reserve=split.reserve,
    )


def _steady(chain: Network) -> float:
    """Winding temperature after a very long time; no limit when its own loss runs away."""
    try:
        return heat.network_steady(chain.link_conductance, chain.losses, chain.loss_slope, ROOM, chain.ambient)[WINDING]
    except ValueError:
        return np.inf


def _spent(time: np.ndarray, reserve: np.ndarray) -> float:
    """First moment without reserve; inf if some is left through the whole case."""
    gone = np.flatnonzero(reserve <= 0)
    return float(time[gone[0]]) if gone.size else np.inf


def continuous_torque(build: Build, chain: Network, limit: float, magnet_limit: float = np.inf) -> float:
    """Pulsing motor torque at which the winding, or else the magnets, settle just at a limit, at the case's speed.

    The winding's heat crosses all three links, the iron's only the last two, so
    the copper loss that is left at the limit follows directly.
    """
    resistance = 1.0 / chain.link_conductance
    iron = chain.losses[STATOR] * resistance[STATOR:].sum()
    by_winding = (limit - chain.ambient - iron) / resistance.sum()
    by_magnets = (magnet_limit - chain.ambient) / resistance[HOUSING] - chain.losses[STATOR]
    copper = max(min(by_winding, by_magnets), 0.0)
    winding = chain.ambient + iron + copper * resistance.sum()
    state = drive(
        build, winding_temperature=winding, magnet_temperature=chain.ambient + (copper + chain.losses[STATOR]) * resistance[HOUSING]
    )
    per_square = motor.copper_loss(motor.current_for_torque(1.0, state.torque_constant_peak), state.phase_resistance)
    pulse = pedalling.shape_mean_square(build.rider.torque_floor)
    if build.sensor is not None and build.sensor.location == "one crank":
        pulse *= 2.0  # twice the torque in half of the turn
    return float(np.sqrt(copper / (per_square * pulse)))
