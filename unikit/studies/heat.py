"""How warm does the motor get in a case, when is the reserve spent, and what holds for ever?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import heat, motor, pedalling
from ..inputs import Build, Case, Gear
from .drive import ROOM, drive
from .loads import loads, trim_torque
from .network import HOUSING, MAGNETS, STATOR, WINDING, Network, network, paths  # noqa: F401 - reached as heat.…
from .results import Result, shown
from .split import torque_split


@dataclass(frozen=True)
class Heat(Result):
    """Temperatures of winding, stator and housing over the case, and the reserve they leave."""

    gear: str = shown("gear")
    copper_loss: u.Watt = shown("copper loss at 20 °C", "W")
    iron_loss: u.Watt = shown("iron loss", "W")
    housing_conductance: u.WattPerKelvin = shown("housing to air", "W/K", 2)
    winding_end: u.Kelvin = shown("winding at the end of the case", "°C", 0)
    magnet_end: u.Kelvin = shown("magnets at the end of the case", "°C", 0)
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
    magnets: u.Kelvin = shown("magnets", "°C")
    housing: u.Kelvin = shown("housing", "°C")
    reserve: u.NewtonMetre = shown("reserve", "N*m")


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
    now = network(build, case, gear)
    magnet = ROOM
    for _ in range(20):  # the magnets weaken with their temperature at the end, and the copper loss grows with that
        before, magnet = magnet, now.at(case.duration)[MAGNETS]
        if abs(magnet - before) < 0.01:
            break
        now = network(build, case, gear, magnet)
    course = now.at(time)
    winding, magnet = course[:, WINDING], course[:, MAGNETS]
    state = drive(build, case.state_of_charge, winding, magnet)
    split = torque_split(
        build, gear, np.full(points, case.speed), np.full(points, loads(build, case).wheel_torque), state, trim_torque(build, case)
    )
    winding_limit = heat.mean_winding_limit(build.motor.insulation_class) + 273.15
    lasting = min(winding_limit, build.controller.derating_start)

    return Heat(
        gear=gear.name,
        copper_loss=now.losses[WINDING],
        iron_loss=now.losses[STATOR],
        housing_conductance=paths(build, case.speed, case.air_temperature)["housing", "air"],
        winding_end=winding[-1],
        magnet_end=magnet[-1],
        housing_end=course[-1, HOUSING],
        winding_steady=now.steady()[WINDING],
        air=case.air_temperature,
        winding_limit=winding_limit,
        magnet_limit=build.motor.magnet_limit,
        derating_after=now.reached("winding", build.controller.derating_start),
        reserve_spent_after=_spent(time, split.reserve),
        limit_after=now.reached("winding", winding_limit),
        magnet_limit_after=now.reached("magnets", build.motor.magnet_limit),
        continuous_torque=continuous_torque(build, now, lasting, build.motor.magnet_limit),
        time=time,
        winding=winding,
        stator=course[:, STATOR],
        magnets=magnet,
        housing=course[:, HOUSING],
        reserve=split.reserve,
    )


def _spent(time: np.ndarray, reserve: np.ndarray) -> float:
    """First moment without reserve; inf if some is left through the whole case."""
    gone = np.flatnonzero(reserve <= 0)
    return float(time[gone[0]]) if gone.size else np.inf


def continuous_torque(build: Build, now: Network, limit: float, magnet_limit: float = np.inf) -> u.NewtonMetre:
    """Pulsing motor torque at which the winding, or else the magnets, settle just at a limit.

    Temperatures are linear in the losses, so the copper loss that is left at
    the limit follows directly.  A network of many speeds gives as many torques.
    """
    winding, magnets = now.place[WINDING], now.place[MAGNETS]
    rise = np.linalg.inv(heat.balance(now.conductance))  # of each body, in kelvin per watt in each body
    others = now.losses.copy()
    others[..., winding] = 0.0
    rest = np.einsum("...ij,...j->...i", rise, others)
    copper = (limit - now.ambient - rest[..., winding]) / rise[..., winding, winding]
    by_magnets = (magnet_limit - now.ambient - rest[..., magnets]) / rise[..., magnets, winding]
    copper = np.maximum(np.minimum(copper, by_magnets), 0.0)
    settled = now.ambient + rest + copper[..., None] * rise[..., winding]
    state = drive(build, winding_temperature=settled[..., winding], magnet_temperature=settled[..., magnets])
    per_square = motor.copper_loss(motor.current_for_torque(1.0, state.torque_constant_peak), state.phase_resistance)
    pulse = pedalling.shape_mean_square(build.rider.torque_floor)
    if build.sensor is not None and build.sensor.location == "one crank":
        pulse *= 2.0  # twice the torque in half of the turn
    return np.sqrt(copper / (per_square * pulse))
