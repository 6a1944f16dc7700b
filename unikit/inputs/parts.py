"""The parts of a build that are neither hub gear nor drive: rider, frame, wheel, cranks and brake."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from .. import units as u
from ..formulas import gearing
from .fields import field
from .records import Part

RPM = np.pi / 30  # limits of cadence in round numbers

record = dataclass(frozen=True, kw_only=True, eq=False, repr=False)


@record
class Rider(Part):
    """One rider: body, air drag, endurance and pedalling strength."""

    table: ClassVar[str] = "rider"
    mass: u.Kilogram = field("mass of the rider with clothes and load", low=20, high=200)
    inseam: u.Metre = field("inside leg from the floor to the crotch, without shoes", low=0.3, high=1.3, unit="mm")
    centre_of_mass_height: u.Metre = field("height of the seated rider's centre of mass above the wheel axle", low=0.1, high=1.5, unit="mm")
    pitch_inertia: u.KilogramSquareMetre = field("moment of inertia in pitch about the rider's own centre of mass", low=0.05, high=60)
    drag_area: u.SquareMetre = field("drag coefficient times frontal area of rider and machine", low=0.02, high=1.5)
    critical_power: u.Watt = field("power that the rider can hold for a long time", low=5, high=600)
    work_capacity: u.Joule = field("work that can be done above critical power", low=100, high=60e3, unit="kJ")
    zero_cadence_torque: u.NewtonMetre = field("greatest crank torque at standstill, mean over a turn", low=1, high=300)
    zero_torque_cadence: u.RadianPerSecond = field(
        "cadence at which the greatest torque falls to nothing", low=50 * RPM, high=400 * RPM, unit="rpm"
    )
    comfortable_cadence: u.RadianPerSecond = field("cadence the rider likes to hold", low=5 * RPM, high=240 * RPM, unit="rpm")
    greatest_cadence: u.RadianPerSecond = field("cadence the rider can follow in control", low=10 * RPM, high=300 * RPM, unit="rpm")
    greatest_pedal_speed: u.MetrePerSecond = field("speed of the pedal on its circle that the rider can follow", low=0.1, high=6)
    torque_floor: u.Ratio = field("crank torque at the dead centres over the peak", low=0, high=1)
    backward_strength: u.Ratio = field("greatest resisting torque over greatest driving torque", low=0, high=1.5)
    reaction_delay: u.Second | None = field(
        "time from a lean to the first change of pedal torque that answers it", low=0.02, high=0.6, unit="ms", default=None
    )
    muscle_lag: u.Second | None = field(
        "time constant with which the pedal torque then follows", low=0.005, high=0.3, unit="ms", default=None
    )
    prediction: str | None = field(
        "what the rider answers: lean and its rate alone, or its acceleration as well", words=("rate", "acceleration"), default=None
    )
    speed_gain: u.SecondPerMetre | None = field("lean back per speed above the wanted one", low=0, high=0.2, default=None)
    leg_damping: u.NewtonMetreSecondPerRadian | None = field(
        "damping of the passive legs, as felt at the reference cranks", low=0, high=40, default=None
    )
    leg_stiffness: u.NewtonMetrePerRadian | None = field(
        "stiffness of the passive legs, as felt at the reference cranks", low=0, high=1000, default=None
    )
    replanning_time: u.Second | None = field(
        "time after which the legs have taken up another cadence", low=0.01, high=5, unit="ms", default=None
    )
    drag_height: u.Metre | None = field("height above the wheel axle at which the air pushes", low=0.05, high=2, unit="mm", default=None)


@record
class Frame(Part):
    """Saddle, frame and what sits on them, without rider, controller and packs."""

    table: ClassVar[str] = "frame"
    mass: u.Kilogram = field("mass of frame, saddle and brake", low=0.1, high=40)
    centre_of_mass_height: u.Metre = field("height of its centre of mass above the wheel axle", low=-0.5, high=1.5, unit="mm")


@record
class Wheel(Part):
    """The wheel with tyre, hub and gear, without motor; cranks and pedals count with it."""

    table: ClassVar[str] = "wheel"
    bead_seat_diameter: u.Metre = field("bead seat diameter of the rim", low=0.1, high=0.9, unit="mm")
    tyre_width: u.Metre = field("nominal width of the tyre, taken as its height too", low=0.01, high=0.13, unit="mm")
    rolling_circumference: u.Metre | None = field(
        "measured roll-out; takes the place of the nominal size", low=0.3, high=3.5, unit="mm", default=None
    )
    mass: u.Kilogram = field("mass of wheel, tyre, hub, gear, cranks and pedals", low=0.2, high=20)
    inertia: u.KilogramSquareMetre = field("moment of inertia about the axle", low=0.0005, high=3)
    rolling_coefficient: u.Ratio = field("rolling resistance over load", low=0.001, high=0.1)
    bearing_drag: u.Newton = field("drag of bearings and seals at the road, at standstill", low=0, high=20)
    bearing_drag_per_speed: u.NewtonSecondPerMetre = field("what that drag gains with road speed", low=0, high=5)

    @property
    def circumference(self) -> u.Metre:
        """Rolling circumference: as measured, else nominal."""
        if self.rolling_circumference is not None:
            return self.rolling_circumference
        return gearing.wheel_circumference(self.bead_seat_diameter, self.tyre_width)

    @property
    def radius(self) -> u.Metre:
        """Rolling radius."""
        return self.circumference / (2 * np.pi)


@record
class Cranks(Part):
    """The cranks, and those of the ungeared wheel the rider learned on."""

    table: ClassVar[str] = "cranks"
    length: u.Metre = field("crank length", low=0.04, high=0.25, unit="mm")
    reference_length: u.Metre = field("crank length of the ungeared wheel that the rider learned on", low=0.04, high=0.25, unit="mm")


@record
class Brake(Part):
    """The friction brake."""

    table: ClassVar[str] = "brake"
    kind: str = field("where it acts", words=("none", "rim", "disc"))
    greatest_torque: u.NewtonMetre = field("greatest braking torque at the wheel", low=0, high=500)
