"""How warm does the motor get in a case, what does derating leave of the assist, and what holds for ever?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import heat, motor
from ..inputs import Build, Case, Gear
from . import pulse
from .bridge import bridge
from .drive import ROOM
from .network import ALPHA, HOTTEST, HOUSING, MAGNETS, NAMES, STATOR, WINDING, Network, assembled, network, paths  # noqa: F401 - reached as heat.…
from .repeat import repeated
from .results import Result, shown
from .warming import Course, course, splits


@dataclass(frozen=True)
class Heat(Result):
    """Temperatures of the motor's bodies over the case, with derating in the loop, and what motor and legs then give."""

    gear: str = shown("gear")
    copper_loss: u.Watt = shown("copper loss at 20 °C, before derating", "W")
    iron_loss: u.Watt = shown("iron loss", "W")
    sunshine: u.Watt = shown("sunshine taken up", "W")
    housing_conductance: u.WattPerKelvin = shown("housing to air", "W/K", 2)
    winding_end: u.Kelvin = shown("winding at the end of the case", "°C", 0)
    magnet_end: u.Kelvin = shown("magnets at the end of the case", "°C", 0)
    housing_end: u.Kelvin = shown("housing at the end of the case", "°C", 0)
    winding_steady: u.Kelvin = shown("winding if the torque were held for ever", "°C", 0)
    winding_repeated: u.Kelvin = shown("winding, case and equal rest repeated", "°C", 0)
    air: u.Kelvin = shown("air", "°C", 0)
    winding_limit: u.Kelvin = shown("limit of the winding in the mean", "°C", 0)
    magnet_limit: u.Kelvin = shown("limit of the magnets", "°C", 0)
    derating_after: u.Second = shown("derating begins after", "min")
    reserve_spent_after: u.Second = shown("derating has spent the reserve after", "min")
    limit_after: u.Second = shown("winding limit after", "min")
    magnet_limit_after: u.Second = shown("magnet limit after", "min")
    continuous_torque: u.NewtonMetre = shown("motor torque that holds for ever", "N*m")
    assist_left_end: u.Ratio = shown("motor torque left at the end", "%", 0)
    foot_force_start: u.Newton = shown("foot force before derating", "N", 0)
    foot_force_end: u.Newton = shown("foot force at the end", "N", 0)
    felt: str = shown("what the legs feel of it")
    bridge_limit: u.Kelvin | None = shown("limit of the controller's switches", "°C", 0)
    bridge_hottest: u.Kelvin | None = shown("controller's switches at their hottest", "°C", 0)
    bridge_limit_after: u.Second | None = shown("limit of the switches after", "min")
    time: u.Second = shown("time", "min")
    winding: u.Kelvin = shown("winding", "°C")
    stator: u.Kelvin = shown("stator", "°C")
    magnets: u.Kelvin = shown("magnets", "°C")
    housing: u.Kelvin = shown("housing", "°C")
    reserve: u.NewtonMetre = shown("reserve", "N*m")
    motor_torque: u.NewtonMetre = shown("motor torque, mean", "N*m")
    assist_left: u.Ratio = shown("motor torque left", "%", 0)
    leg_torque: u.NewtonMetre = shown("pedal torque, mean", "N*m")
    foot_force: u.Newton = shown("mean foot force", "N", 0)
    bridge: u.Kelvin | None = shown("controller's switches", "°C")
    sink: u.Kelvin | None = shown("controller's heat sink", "°C")


def study(build: Build, case: Case, gear: Gear | None = None, points: int = 121) -> Heat:
    """Heat a build through a case at steady speed.

    As the winding passes the start of derating the greatest torque falls;
    once the reserve is spent the motor gives less and heats less, and the legs
    give the rest.  Moments after the end of the case are those if it went on.
    Raises ValueError for a build without a motor.
    """
    gear = _gear(build, gear)
    way, parts = course(build, case, gear, points - 1)
    time = np.linspace(0.0, case.duration, points)
    kelvin = way.at(points, parts)
    winding, magnets = kelvin[:, WINDING], kelvin[:, MAGNETS]
    split = splits(build, case, gear, winding, magnets)
    motor_torque, whole = np.asarray(split.motor_torque), float(way.asked.whole.motor_torque)
    left = motor_torque / whole if whole else np.ones(points)
    foot = np.asarray(split.pedal_torque) / build.cranks.length
    spent = _spent(way, build, time, split.reserve)
    winding_limit = heat.mean_winding_limit(build.motor.insulation_class) + 273.15
    lasting = min(winding_limit, build.controller.derating_start)
    switches = bridge(build, case, time, split)
    return Heat(
        gear=gear.name,
        copper_loss=way.network.losses[way.network.place[WINDING]],
        iron_loss=way.network.losses[way.network.place[STATOR]],
        sunshine=float(way.network.losses[way.network.place[HOUSING]]),
        housing_conductance=paths(build, case.speed, case.air_temperature)["housing", "air"],
        winding_end=winding[-1],
        magnet_end=magnets[-1],
        housing_end=kelvin[-1, HOUSING],
        winding_steady=way.network.steady()[WINDING],
        winding_repeated=repeated(build, case, way.asked),
        air=case.air_temperature,
        winding_limit=winding_limit,
        magnet_limit=build.motor.magnet_limit,
        derating_after=way.when("winding", build.controller.derating_start),
        reserve_spent_after=spent,
        limit_after=way.when("winding", winding_limit),
        magnet_limit_after=way.when("magnets", build.motor.magnet_limit),
        continuous_torque=float(continuous_torque(build, way.network, lasting, build.motor.magnet_limit)),
        assist_left_end=left[-1],
        foot_force_start=foot[0],
        foot_force_end=foot[-1],
        felt=_felt(time, foot, left, spent),
        bridge_limit=switches and switches.limit,
        bridge_hottest=switches and switches.hottest,
        bridge_limit_after=switches and switches.limit_after,
        time=time,
        winding=winding,
        stator=kelvin[:, STATOR],
        magnets=magnets,
        housing=kelvin[:, HOUSING],
        bridge=switches and switches.bridge,
        sink=switches and switches.sink,
        reserve=split.reserve,
        motor_torque=motor_torque,
        assist_left=left,
        leg_torque=split.pedal_torque,
        foot_force=foot,
    )


def _gear(build: Build, gear: Gear | None) -> Gear:
    if build.motor is None:
        raise ValueError(f"build {build.name!r} has no motor: the heat study needs one")
    return gear or build.gears.named(build.gears.engaged)


def _spent(way: Course, build: Build, time: np.ndarray, reserve: np.ndarray) -> float:
    """First moment without reserve; inf if some is left through the whole case."""
    gone = np.flatnonzero(reserve <= 0)
    if not gone.size:
        return np.inf
    first, exact = gone[0], way.when("winding", way.bite(build))
    return float(exact if first and time[first - 1] < exact <= time[first] else time[first])


def _felt(time: np.ndarray, foot: np.ndarray, left: np.ndarray, spent: float) -> str:
    """The moment when the legs begin to take over, and how far it goes until the end."""
    if not spent < time[-1]:
        return "nothing: the motor gives all that is asked to the end"
    if abs(foot[-1] - foot[0]) < 0.5 and spent > 0:
        return "nothing yet: the reserve is just spent"
    at = np.clip(spent + np.array([0.0, 60.0]), 0.0, time[-1])
    begin, soon = np.interp(at, time, foot)
    when = "from the start" if spent == 0 else f"after {spent / 60:.1f} min"
    return (
        f"{when} the legs take over, {soon - begin:+.0f} N at the foot in the first minute; "
        f"at the end {foot[-1]:.0f} N, with {100 * left[-1]:.0f} % of the motor torque left"
    )


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
    settled = np.minimum(now.ambient + rest + copper[..., None] * rise[..., winding], HOTTEST)
    return pulse.torque(build, copper / (1 + ALPHA * (settled[..., winding] - ROOM)), settled[..., magnets])


@dataclass(frozen=True)
class Lasting(Result):
    """Motor torque that holds for ever over road speed, and what sets it; other limits of the drive are not in it."""

    speed: u.MetrePerSecond = shown("road speed", "km/h")
    torque: u.NewtonMetre = shown("motor torque that holds for ever", "N*m")
    by: np.ndarray = shown("set by")
    to_air: u.WattPerKelvin = shown("housing to air", "W/K", 2)
    iron_loss: u.Watt = shown("iron loss", "W")


def lasting(build: Build, case: Case, fastest: float = 12.0, points: int = 49) -> Lasting:
    """Continuous torque over speed, in the air and the sunshine of a case: more air cools, more iron loss heats."""
    _gear(build, None)
    machine = build.motor
    speed = np.linspace(0.0, fastest, points)
    iron = motor.iron_loss(speed / build.wheel.radius, machine.hysteresis_torque, machine.eddy_drag)
    now = assembled(build, case, 0.0, iron, speed)
    limit = heat.mean_winding_limit(machine.insulation_class) + 273.15
    derating = build.controller.derating_start
    by_winding, by_magnets = (
        continuous_torque(build, now, min(limit, derating)),
        continuous_torque(build, now, np.inf, machine.magnet_limit),
    )
    word = "winding limit" if limit < derating else "derating"
    return Lasting(
        speed=speed,
        torque=continuous_torque(build, now, min(limit, derating), machine.magnet_limit),
        by=np.where(by_magnets < by_winding, "magnets", word),
        to_air=paths(build, speed, case.air_temperature)["housing", "air"],
        iron_loss=iron,
    )


@dataclass(frozen=True)
class Accounts(Result):
    """Where the heat of a case came from and where it went."""

    entry: np.ndarray = shown("heat")
    heat: u.Joule = shown("over the case", "kJ")
    mean: u.Watt = shown("in the mean", "W")


def accounts(build: Build, case: Case, gear: Gear | None = None) -> Accounts:
    """Each loss by its own law, what each path carried, and what each body holds at the end; sources less sinks and stores is nothing."""
    gear = _gear(build, gear)
    way, _ = course(build, case, gear)
    now = way.network
    rows = [("copper loss", way.copper_heat), ("iron loss", way.other_heat[now.place[STATOR]])]
    rows += [("sunshine", way.other_heat[now.place[HOUSING]])]
    place = dict(zip(NAMES, now.place, strict=True))
    for one, other in paths(build, case.speed, case.air_temperature):
        here = place[one]
        rows.append((f"{one} to {other}", way.carried[here, place.get(other, here)]))
    gained = way.temperature[-1] - way.temperature[0]
    named = {here: name for name, here in place.items()}
    rows += [(f"stored in {name}", now.capacity[here] * gained[NAMES.index(name)]) for here, name in sorted(named.items())]
    lasted = way.step * (len(way.temperature) - 1)
    values = np.array([value for _, value in rows])
    return Accounts(np.array([name for name, _ in rows], object), values, values / lasted if case.duration else 0 * values)
