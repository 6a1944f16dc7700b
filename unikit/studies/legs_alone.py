"""Does the rider get the machine home on legs alone when motor, electronics or packs have failed?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import gearing, leverage
from ..inputs import Build, Case, Gear
from ..inputs.variants import refuse_draws
from .descending import comfort
from .drive import drive
from .legs import greatest_torque
from .loads import loads
from .results import Result, shown
from .riding import WALK
from .split import torque_split

SLOW = 0.5  # of the comfortable cadence: slower riding is not counted on; chosen, no source


@dataclass(frozen=True)
class LegsAlone(Result):
    """The distance of a case with a dead motor that still drags: work asked of the legs against what they have, over speed.

    The speed is the one that leaves most; nan where the legs turn the cranks at none.
    """

    gear: str = shown("gear")
    distance: u.Metre = shown("distance", "km")
    margin: u.Ratio = shown("work that the legs have over work asked", digits=2)
    speed: u.MetrePerSecond = shown("at", "km/h")
    time: u.Second = shown("takes", "min", 0)
    leg_power: u.Watt = shown("leg power", "W", 0)
    pedal_torque: u.NewtonMetre = shown("pedal torque, mean", "N*m")
    greatest_torque: u.NewtonMetre = shown("greatest pedal torque there", "N*m")
    brake_torque: u.NewtonMetre = shown("torque of the brake", "N*m")
    asked: u.Joule = shown("work asked of the legs", "Wh", 0)
    available: u.Joule = shown("work that the legs have in that time", "Wh", 0)
    motor_drag: u.NewtonMetre = shown("drag of the dead motor", "N*m", 2)
    time_on_foot: u.Second = shown("on foot it takes", "min", 0)
    speeds: u.MetrePerSecond = shown("speed", "km/h")
    margins: u.Ratio = shown("work available over work asked", digits=2)
    powers: u.Watt = shown("leg power", "W", 0)


def study(build: Build, case: Case, gear: Gear | None = None, points: int = 41) -> LegsAlone:
    """Ride the case's distance, slope and wind without the motor, at the speed that leaves the legs most.

    Speeds are those from half of the comfortable cadence to all of it.  What the legs have is critical power
    for the time, and once the work capacity above it; downhill they hold back as in the study of descents: what is
    more than critical power goes to the brake, and what that cannot take they must.
    """
    refuse_draws("legs alone", build, case)
    gear = gear or build.gears.named(build.gears.engaged)
    wheel = build.wheel.radius
    fastest = gearing.speed(build.rider.comfortable_cadence, wheel, gear.ratio)
    speed = np.linspace(SLOW * fastest, fastest, points)
    state = drive(build, 1.0)
    drag = state.drag(speed / wheel) if state else 0.0 * speed
    road = loads(build, case, speed).wheel_torque + drag
    held = leverage.gear_leverage(gear.ratio, gear.efficiency, resisting=True) * comfort(build, gearing.cadence(speed, wheel, gear.ratio))
    brake = np.clip(-road - held, 0.0, build.brake.greatest_torque if build.brake.kind != "none" else 0.0)
    split = torque_split(build, gear, speed, road + brake, None)
    time = case.distance / speed
    able = greatest_torque(build, split.cadence, split.pedal_torque < 0)
    asked = np.abs(split.leg_power) * time
    available = build.rider.critical_power * time + build.rider.work_capacity
    margin = np.where(asked > 0, available / np.where(asked > 0, asked, 1.0), np.inf)
    margin = np.where(np.abs(split.pedal_torque) <= able, margin, 0.0)
    best = int(np.argmax(margin))
    here = speed[best] if margin[best] > 0 else np.nan
    return LegsAlone(
        gear=gear.name,
        distance=case.distance,
        margin=float(margin[best]),
        speed=float(here),
        time=float(case.distance / here),
        leg_power=float(split.leg_power[best]),
        pedal_torque=float(split.pedal_torque[best]),
        greatest_torque=float(able[best]),
        brake_torque=float(brake[best]),
        asked=float(asked[best]),
        available=float(available[best]),
        motor_drag=float(drag[best]),
        time_on_foot=case.distance / WALK,
        speeds=speed,
        margins=margin,
        powers=split.leg_power,
    )
