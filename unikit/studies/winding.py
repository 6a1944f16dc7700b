"""Which winding of this motor suits this controller and these packs?"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import gearing, motor
from ..inputs import Build, Case, Gear
from .drive import ROOM, Drive, drive
from .loads import loads, trim_torque
from .motor import gust_torque
from .results import Result, shown
from .rewind import with_turns
from .split import torque_split

FEWEST, MOST, POINTS = 0.5, 2.0, 33
NEAR = 0.02  # share of the greatest torque: what is nearer to it than this is as good
BEYOND = "end of the range"
PEDALLED = "voltage at the greatest cadence"
FASTEST = 4.0  # the search for the end of torque goes up to this many times the speed at which back-EMF meets the packs
SECTIONS, ROUNDS = 16, 3  # of that search: each round looks at the section of the last one in which the torque ends


@dataclass(frozen=True)
class Winding(Result):
    """The motor of a build with other turns: torque, currents and reserve over turns, and which are recommended."""

    gear: str = shown("gear")
    recommended: u.Ratio = shown("turns recommended, over those as built", "", 2)
    fewer_by: str = shown("with fewer turns the torque is ended by")
    more_by: str = shown("with more turns it is ended by")
    turns: u.Ratio = shown("turns looked at, over those as built", "", 2)
    reserve: u.NewtonMetre = shown("reserve there at the worst crank angle", "N*m")
    reserve_by: str = shown("ended by")
    gust_torque: u.NewtonMetre = shown("wheel torque the case's gust adds", "N*m")
    recommended_reserve: u.NewtonMetre = shown("reserve at the turns recommended", "N*m")
    standstill: u.NewtonMetre = shown("greatest torque at standstill", "N*m")
    available: u.NewtonMetre = shown("greatest torque at the case's speed", "N*m")
    fastest: u.MetrePerSecond | None = shown("speed at which voltage leaves no torque", "km/h")
    phase_current: u.Ampere = shown("phase current, peak of the wave at its highest", "A")
    battery_current: u.Ampere = shown("battery current, mean", "A")
    copper_loss: u.Watt = shown("copper loss", "W")
    motor_constant: u.NewtonMetrePerRootWatt = shown("motor constant", "N*m/W^0.5", 2)
    torque_constant: u.NewtonMetrePerAmpere = shown("torque constant, per ampere of peak", "N*m/A", 3)
    phase_resistance: u.Ohm = shown("resistance of one phase", "mohm")
    turns_over: u.Ratio = shown("turns over those as built", "", 3)
    reserve_over: u.NewtonMetre = shown("reserve", "N*m")
    ended_by: np.ndarray = shown("reserve ended by")
    standstill_over: u.NewtonMetre = shown("torque at standstill", "N*m")
    available_over: u.NewtonMetre = shown("torque at the case's speed", "N*m")
    fastest_over: u.MetrePerSecond | None = shown("speed without torque", "km/h")
    phase_current_over: u.Ampere = shown("phase current", "A")
    battery_current_over: u.Ampere = shown("battery current", "A")
    copper_loss_over: u.Watt = shown("copper loss in the case", "W")
    cap: u.NewtonMetre = shown("reserve that the torque cap leaves", "N*m")


def study(
    build: Build,
    case: Case,
    gear: Gear | None = None,
    turns: float = 1.0,
    winding_temperature: float = ROOM,
    magnet_temperature: float = ROOM,
    search: bool = True,
) -> Winding:
    """The build with half to twice its turns in the case.

    Torques are those that motor, controller and packs allow; the torque cap,
    which a person sets, is told beside them as the reserve that it leaves.  Recommended are the
    turns with the largest reserve at the case's speed, and where many are as
    good within two per cent of the torque, the middle of them: from there it is as far to
    one limit as to the other.  Turns that leave no torque at the rider's greatest cadence do not count.

    Args:
        build: the build; its winding counts as 1.
        case: what is asked.
        gear: the gear; the engaged one if left out.
        turns: turns to look at, over those as built.
        winding_temperature: temperature of the winding.
        magnet_temperature: temperature of the magnets.
        search: also look for the speed at which no torque is left, which takes longer than all the rest.

    Raises ValueError for a build without a motor.
    """
    if build.motor is None:
        raise ValueError(f"build {build.name!r} has no motor: the winding study needs one")
    gear = gear or build.gears.named(build.gears.engaged)
    over = np.geomspace(FEWEST, MOST, POINTS)
    wound = with_turns(build, np.append(over, turns))
    state = drive(wound, case.state_of_charge, winding_temperature, magnet_temperature)
    found = _at(wound, case, gear, state)
    best, fewer, more = _recommended(*(found[name][:-1] for name in ("available", "ended_by", "pedalled")))
    found["fastest"] = build.wheel.radius * _end_of_torque(_free(state)) if search else None
    return Winding(
        gear=gear.name,
        recommended=float(over[best]),
        fewer_by=fewer,
        more_by=more,
        turns=turns,
        reserve_by=str(found["ended_by"][-1]),
        gust_torque=gust_torque(build, case, case.speed),
        recommended_reserve=float(found["reserve"][best]),
        turns_over=over,
        ended_by=found["ended_by"][:-1],
        cap=float(found["cap"][-1]),
        **{name: None if found[name] is None else float(found[name][-1]) for name in _SINGLE},
        **{f"{name}_over": None if found[name] is None else found[name][:-1] for name in _OVER},
    )


_OVER = ("reserve", "standstill", "available", "fastest", "phase_current", "battery_current", "copper_loss")
_SINGLE = (*_OVER, "motor_constant", "torque_constant", "phase_resistance")


def _free(state: Drive) -> Drive:
    """The drive without the torque cap."""
    return dataclasses.replace(state, torque_cap=np.inf)


def _at(wound: Build, case: Case, gear: Gear, state: Drive) -> dict[str, np.ndarray]:
    """Everything at the turns of a build that holds a column of them, but the end of the torque."""
    shape = np.shape(wound.motor.torque_constant_peak)
    here = torque_split(wound, gear, case.speed, loads(wound, case).wheel_torque, state, trim_torque(wound, case))
    # Standstill, the case, and the greatest cadence in one call: the limits cost much the same for one speed as for three.
    speeds = np.array([0.0, case.speed, gearing.speed(wound.rider.greatest_cadence, wound.wheel.radius, gear.ratio)])
    limits = _free(state).limits(np.broadcast_to(speeds[:, None] / wound.wheel.radius, (3, *shape)))
    peak = here.highest - here.reserve  # the most that the motor gives in the turn
    alike = lambda value: np.broadcast_to(value, shape)
    return {
        "standstill": limits.highest[0],
        "available": limits.highest[1],
        "pedalled": limits.highest[2] > 0,
        "ended_by": np.asarray(limits.highest_by)[1],
        "reserve": np.maximum(limits.highest[1] - peak, 0.0),
        "phase_current": alike(here.phase_current),
        "battery_current": alike(here.battery_current),
        "copper_loss": alike(here.copper_loss),
        "motor_constant": alike(motor.motor_constant(np.sqrt(2) * state.torque_constant_peak, 2 * state.phase_resistance)),
        "torque_constant": alike(wound.motor.torque_constant_peak),
        "phase_resistance": alike(wound.motor.phase_resistance),
        "cap": alike(np.maximum(state.torque_cap * state.derating - peak, 0.0)),
    }


def _end_of_torque(state: Drive) -> np.ndarray:
    """Rotation at which no torque is left; infinite where there is some left at the end of the search."""
    high = FASTEST * np.asarray(state.back_emf_rotation(), float)
    low = np.zeros_like(high)
    share = np.linspace(0.0, 1.0, SECTIONS + 1)[:, None]
    never = state.limits(high).highest > 0
    for _ in range(ROUNDS):
        tried = low + (high - low) * share
        torque = state.limits(tried).highest
        place = np.maximum((torque <= 0).argmax(axis=0), 1)  # the first one without torque closes the section
        low, high = (np.take_along_axis(tried, (place - step)[None], 0)[0] for step in (1, 0))
    return np.where(never, np.inf, high)


def _recommended(torque: np.ndarray, by: np.ndarray, reaches: np.ndarray) -> tuple[int, str, str]:
    """The place in the middle of those whose torque is as good as the greatest, and what ends it on either side.

    Turns whose voltage leaves no torque at a speed that the rider can still pedal are not recommended, if others are to be had.
    """
    allowed = reaches if reaches.any() else np.ones_like(reaches)
    top = int(np.where(allowed, torque, -np.inf).argmax())
    good = allowed & (torque >= (1 - NEAR) * torque[top])
    first, last = top, top
    while first > 0 and good[first - 1]:
        first -= 1
    while last < len(torque) - 1 and good[last + 1]:
        last += 1
    fewer = str(by[first - 1]) if first > 0 else BEYOND
    more = BEYOND if last == len(torque) - 1 else str(by[last + 1]) if allowed[last + 1] else PEDALLED
    return (first + last) // 2, fewer, more
