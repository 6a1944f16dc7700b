"""The machine as it stands on the slope: its measures, and what a foot's push becomes at the road."""

from __future__ import annotations

from dataclasses import dataclass

from .. import units as u
from ..formulas import gearing, leverage, pedalling
from ..inputs import Build, Case, Gear
from .results import Result, shown
from .split import assist_gain

PUSH = 100.0  # newton: the foot force that the side view follows to the road


@dataclass(frozen=True)
class Machine(Result):
    """Measures for the side view, and the road force of a push of 100 N on a level crank."""

    gear: str = shown("gear")
    slope: u.Slope = shown("slope", "%")
    wheel_radius: u.Metre = shown("wheel radius", "mm", 0)
    crank_length: u.Metre = shown("cranks", "mm", 0)
    saddle_height: u.Metre = shown("saddle above the axle", "mm", 0)
    inseam: u.Metre = shown("inseam", "mm", 0)
    tyre_width: u.Metre = shown("tyre", "mm", 0)
    motor_diameter: u.Metre = shown("motor across", "mm", 0)
    pedalled_speed: u.MetrePerSecond = shown("speed at the rider's greatest cadence", "km/h")
    total_mass: u.Kilogram = shown("rider and machine", "kg")
    travel_ratio: u.Ratio = shown("road travel per pedal travel", digits=2)
    push_ungeared: u.Newton = shown("100 N on the pedal: at the road, ungeared wheel", "N")
    push_gear: u.Newton = shown("through the gear alone", "N")
    push_assisted: u.Newton = shown("with assist", "N")


def study(build: Build, case: Case, gear: Gear | None = None) -> Machine:
    """Measures of the machine and the road force of a 100 N push at the best crank angle.

    The ungeared wheel of the comparison has the same size and the reference cranks.
    """
    gear = gear or build.gears.named(build.gears.engaged)
    radius, length = build.wheel.radius, build.cranks.length
    driving = leverage.gear_leverage(gear.ratio, gear.efficiency)
    assisted = leverage.leverage(gear.ratio, assist_gain(build, gear), gear.efficiency)
    return Machine(
        gear=gear.name,
        slope=case.slope,
        wheel_radius=radius,
        crank_length=length,
        saddle_height=pedalling.saddle_height(build.rider.inseam, length),
        inseam=build.rider.inseam,
        tyre_width=build.wheel.tyre_width,
        motor_diameter=build.motor.housing_diameter if build.motor else 0.0,
        pedalled_speed=gearing.speed(build.rider.greatest_cadence, radius, gear.ratio),
        total_mass=build.total_mass,
        travel_ratio=gearing.travel_ratio(radius, length, gear.ratio),
        push_ungeared=PUSH * build.cranks.reference_length / radius,
        push_gear=PUSH * driving * length / radius,
        push_assisted=PUSH * assisted * length / radius,
    )
