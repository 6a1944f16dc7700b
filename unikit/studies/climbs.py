"""Which slope at which speed, and for how long?  Lines of equal time until heat ends it, and the slope that is held for ever."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .. import units as u
from ..formulas import gearing
from ..formulas._bracket import crossing
from ..inputs import Build, Case, Gear
from ..units import Values
from . import pulse
from .drive import ROOM, drive
from .hold import NEVER, allowed, ground, hold
from .loads import loads, trim_torque
from .results import Result, shown
from .split import Split, torque_split

TIMES = (5.0, 10.0, 20.0, 40.0, 80.0)  # minutes: the lines of the map
STEEPEST = 0.5  # as a case may be
SLOPE, QUICK = 1e-7, 2e-4  # how closely slopes are found, and where a picture is only being dragged
SLOWEST = 0.3  # m/s: riding at all


@dataclass(frozen=True)
class Climbs(Result):
    """How long the case's own load is held, the slopes that are held for ever, and the lines of equal time over speed.

    A slope of inf means that no slope is too much for the motor at that speed,
    because its limits of torque come first; -inf, that not even the flat is held.
    """

    gear: str = shown("gear")
    holds: u.Second | None = shown("this slope is held for", "min", 0)
    ended_by: str | None = shown("then ended by")
    winding: u.Kelvin | None = shown("winding by then", "°C", 0)
    magnets: u.Kelvin | None = shown("magnets by then", "°C", 0)
    motor_torque: u.NewtonMetre = shown("motor torque, mean", "N*m")
    continuous_torque: u.NewtonMetre = shown("motor torque that holds for ever", "N*m")
    slope_for_ever: u.Slope = shown("slope that holds for ever at this speed", "%")
    for_ever_by: str = shown("a steeper one is ended by")
    slope_cut: u.Slope = shown("slope from which the motor's peaks are cut", "%")
    cut_by: str = shown("cut by")
    slope_legs: u.Slope = shown("slope at which the legs are at critical power", "%")
    leg_power: u.Watt = shown("leg power", "W", 0)
    critical_power: u.Watt = shown("critical power", "W", 0)
    climb: u.Second = shown("time of the climb", "min")
    speed_here: u.MetrePerSecond = shown("speed of the case", "km/h")
    slope_here: u.Slope = shown("slope of the case", "%")
    speed: u.MetrePerSecond = shown("speed", "km/h")
    torque: u.NewtonMetre = shown("motor torque for ever", "N*m")
    slope: u.Slope = shown("slope for ever", "%")
    ended: np.ndarray = shown("a steeper one is ended by, over speed")
    cut: u.Slope = shown("slope from which peaks are cut", "%")
    legs: u.Slope = shown("slope at critical power", "%")
    times: u.Second  # of the lines; the last one is inf
    lines: u.Slope  # (speeds, times)
    lines_torque: u.NewtonMetre
    lines_ended: np.ndarray


def study(build: Build, case: Case, gear: Gear | None = None, times: tuple[float, ...] = TIMES, points: int = 25) -> Climbs:
    """The map over speed with its lines, and the time for which the case's own point is held.

    Args:
        build: a build with a motor.
        case: air, wind, sun, trim, charge and the temperature to start from; its speed and slope are the marked point.
        gear: the gear; the engaged one if left out.
        times: minutes of the lines of equal time, beside that of for ever.
        points: speeds.
    """
    gear = gear or build.gears.named(build.gears.engaged)
    return replace(outline(build, case, gear, times, points, SLOPE), **_here(build, case, gear))


def outline(
    build: Build, case: Case, gear: Gear | None = None, times: tuple[float, ...] = (), points: int = 11, within: float = QUICK
) -> Climbs:
    """The same without the time of the case's own point, by default with the line of for ever alone and found less closely: fast."""
    gear = gear or build.gears.named(build.gears.engaged)
    speed = speeds(build, case, gear, points)
    every = np.append(60.0 * np.array(times), np.inf)
    both = np.append(speed, max(case.speed, SLOWEST))[:, None]  # the case's own speed is one more row
    base = ground(build, case, both)
    found = allowed(base, every)
    lines, cut, legs = slopes(build, case, gear, both, found.copper, found.magnets, within)
    torque = pulse.torque(build, found.copper, found.magnets)
    ended = np.array([one.name for one in base.limits])[found.which]
    cut_by = _split(build, case, gear, both[-1, 0], np.clip(cut[-1] + within, 0.0, STEEPEST)).highest_by
    split = _split(build, case, gear, np.asarray(case.speed), np.asarray(case.slope))
    return Climbs(
        gear=gear.name,
        holds=None,
        ended_by=None,
        winding=None,
        magnets=None,
        motor_torque=split.motor_torque,
        continuous_torque=float(torque[-1, -1]),
        slope_for_ever=float(lines[-1, -1]),
        for_ever_by=str(ended[-1, -1]) if lines[-1, -1] < np.inf else NEVER,
        slope_cut=float(cut[-1]),
        cut_by=str(cut_by) if cut[-1] < np.inf else NEVER,
        slope_legs=float(legs[-1]),
        leg_power=split.leg_power,
        critical_power=build.rider.critical_power,
        climb=case.duration,
        speed_here=case.speed,
        slope_here=case.slope,
        speed=speed,
        torque=torque[:-1, -1],
        slope=lines[:-1, -1],
        ended=ended[:-1, -1],
        cut=cut[:-1],
        legs=legs[:-1],
        times=every,
        lines=lines[:-1],
        lines_torque=torque[:-1],
        lines_ended=ended[:-1],
    )


def _here(build: Build, case: Case, gear: Gear) -> dict[str, float | str]:
    """How long the case's own point is held."""
    here = hold(build, case, gear=gear)
    names = {"holds": here.time, "winding": here.winding, "magnets": here.magnets}
    return {name: float(value) for name, value in names.items()} | {"ended_by": str(here.ended_by)}


def speeds(build: Build, case: Case, gear: Gear, points: int) -> np.ndarray:
    """From riding at all to the greatest cadence, and at least a little beyond the case's speed."""
    fastest = gearing.speed(build.rider.greatest_cadence, build.wheel.radius, gear.ratio)
    return np.linspace(SLOWEST, max(fastest, 1.1 * case.speed, 1.0), points)


def slopes(
    build: Build, case: Case, gear: Gear, speed: np.ndarray, copper: np.ndarray, magnet_temperature: np.ndarray, within: float = SLOPE
) -> tuple[u.Slope, u.Slope, u.Slope]:
    """Steepest slopes, from the flat upwards: for the copper losses that are allowed, for the motor's peaks and for the legs.

    The first have the shape of the losses at 20 °C, the others are for a cool
    motor: where its peaks begin to be cut, and where the legs are at critical
    power.  inf where no slope asks so much, -inf where the flat does.

    Args:
        build: the build.
        case: wind, air, trim and charge.
        gear: the gear.
        speed: speeds along the first axis, shape (speeds, 1).
        copper: losses, shape (speeds, times), falling along the times.
        magnet_temperature: of the magnets with each.
        within: how closely slopes are found.
    """
    cool = np.full((len(speed), 2), ROOM)
    shape = len(speed), copper.shape[1] + 2
    state = drive(build, case.state_of_charge, ROOM, np.concatenate([magnet_temperature, cool], axis=1))
    limits = state.limits(speed / build.wheel.radius)

    def over(slope: np.ndarray) -> np.ndarray:
        wheel_torque = loads(build, case, speed, slope).wheel_torque
        split = torque_split(build, gear, speed, wheel_torque, state, trim_torque(build, case, slope), limits)
        cut = np.where(split.reserve[:, -2:-1] > 0, -1.0, 1.0)
        legs = split.leg_power[:, -1:] - build.rider.critical_power
        return np.concatenate([split.copper_loss[:, :-2] - copper, cut, legs], axis=1)

    found = crossing(over, np.zeros(shape), np.full(shape, STEEPEST), within)
    # lines that a step of trim joins are one, not one over the other by what they were found within
    return np.minimum.accumulate(found[:, :-2], axis=1), found[:, -2], found[:, -1]


def _split(build: Build, case: Case, gear: Gear, speed: Values, slope: Values) -> Split:
    """The split with a cool motor."""
    state = drive(build, case.state_of_charge)
    return torque_split(build, gear, speed, loads(build, case, speed, slope).wheel_torque, state, trim_torque(build, case, slope))
