"""Does the motor give the torque that is asked at each speed, and what is left in reserve?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import motor, road
from ..inputs import Build, Case, Gear
from .drive import ROOM, drive
from .loads import loads, trim_torque
from .results import Result, shown
from .split import Split, torque_split


@dataclass(frozen=True)
class Motor(Result):
    """Wheel torque over speed, split into legs, motor and reserve, and the case's own point."""

    gear: str = shown("gear")
    asked_torque: u.NewtonMetre = shown("wheel torque asked in the case", "N*m")
    motor_torque: u.NewtonMetre = shown("motor torque, mean", "N*m")
    motor_peak: u.NewtonMetre = shown("motor torque, peak in the turn", "N*m")
    asked_peak: u.NewtonMetre = shown("peak that assist and trim would ask without limits", "N*m")
    available: u.NewtonMetre = shown("greatest motor torque that way at the case's speed", "N*m")
    available_by: str = shown("set by")
    reserve: u.NewtonMetre = shown("reserve at the worst crank angle", "N*m")
    gust_torque: u.NewtonMetre = shown("wheel torque the case's gust adds", "N*m")
    phase_current: u.Ampere = shown("phase current, peak of the wave", "A")
    battery_current: u.Ampere = shown("battery current, mean", "A")
    copper_loss: u.Watt = shown("copper loss", "W")
    iron_loss: u.Watt = shown("iron loss", "W")
    efficiency: u.Ratio = shown("cells to wheel", "%")
    no_load_speed: u.MetrePerSecond = shown("speed at which back-EMF reaches the packs", "km/h")
    motor_constant: u.NewtonMetrePerRootWatt = shown("motor constant", "N*m/W^0.5", 2)
    speed: u.MetrePerSecond = shown("speed", "km/h")
    highest: u.NewtonMetre = shown("greatest motor torque at this speed", "N*m")
    highest_by: np.ndarray = shown("active limit")
    lowest: u.NewtonMetre = shown("greatest braking motor torque", "N*m")
    lowest_by: np.ndarray = shown("active braking limit")
    leg_torque_over_speed: u.NewtonMetre = shown("legs at the wheel", "N*m")
    motor_torque_over_speed: u.NewtonMetre = shown("motor", "N*m")
    reserve_over_speed: u.NewtonMetre = shown("reserve", "N*m")
    asked_over_speed: u.NewtonMetre = shown("road asks", "N*m")
    gust_over_speed: u.NewtonMetre = shown("road and gust ask", "N*m")


def study(
    build: Build,
    case: Case,
    gear: Gear | None = None,
    winding_temperature: float = ROOM,
    magnet_temperature: float = ROOM,
    fastest: float = 14.0,
    points: int = 141,
) -> Motor:
    """The drive over speed for the case's slope and wind, and its point at the case's speed.

    Raises ValueError for a build without a motor.
    """
    state = drive(build, case.state_of_charge, winding_temperature, magnet_temperature)
    if state is None:
        raise ValueError(f"build {build.name!r} has no motor: the motor study needs one")
    gear = gear or build.gears.named(build.gears.engaged)
    speed = np.linspace(0.0, fastest, points)
    asked, trim = loads(build, case, speed).wheel_torque, trim_torque(build, case)
    over = torque_split(build, gear, speed, asked, state, trim)
    limits = state.limits(speed / build.wheel.radius)
    here = point(build, case, gear, winding_temperature, magnet_temperature)
    braking = here.asked_peak < 0
    mechanical = (here.motor_torque - here.motor_drag) * case.speed / build.wheel.radius
    return Motor(
        gear=gear.name,
        asked_torque=here.wheel_torque,
        motor_torque=here.motor_torque,
        motor_peak=here.motor_peak,
        asked_peak=here.asked_peak,
        available=here.lowest if braking else here.highest,
        available_by=str(here.lowest_by if braking else here.highest_by),
        reserve=here.reserve,
        gust_torque=gust_torque(build, case, case.speed),
        phase_current=here.phase_current,
        battery_current=here.battery_current,
        copper_loss=here.copper_loss,
        iron_loss=here.iron_loss,
        efficiency=mechanical / here.battery_power if mechanical > 0 else np.nan,
        no_load_speed=state.back_emf_rotation() * build.wheel.radius,
        motor_constant=motor.motor_constant(np.sqrt(2) * state.torque_constant_peak, 2 * state.phase_resistance),
        speed=speed,
        highest=limits.highest,
        highest_by=limits.highest_by,
        lowest=limits.lowest,
        lowest_by=limits.lowest_by,
        leg_torque_over_speed=over.leg_wheel_torque,
        motor_torque_over_speed=over.motor_torque,
        reserve_over_speed=over.reserve,
        asked_over_speed=asked,
        gust_over_speed=asked + gust_torque(build, case, speed),
    )


def point(build: Build, case: Case, gear: Gear, winding_temperature: u.Values = ROOM, magnet_temperature: u.Values = ROOM) -> Split:
    """The torque split of the case itself with the motor at given temperatures."""
    state = drive(build, case.state_of_charge, winding_temperature, magnet_temperature)
    return torque_split(build, gear, case.speed, loads(build, case).wheel_torque, state, trim_torque(build, case))


def gust_torque(build: Build, case: Case, speed: u.Values) -> u.NewtonMetre:
    """Wheel torque that the case's gust adds to the head wind while the speed is held."""
    density, area = case.air_density, build.rider.drag_area
    gusting = road.drag_force(density, area, speed, case.head_wind + case.gust, case.cross_wind)
    return build.wheel.radius * (gusting - road.drag_force(density, area, speed, case.head_wind, case.cross_wind))
