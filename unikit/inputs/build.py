"""A build - one rider with one complete set of parts - and the case that is asked of it."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Mapping

from .. import units as u
from ..formulas import air
from .assist_parts import Assist, TorqueSensor
from .drive_parts import Controller, Motor
from .fields import Named, field
from .hub_parts import Gears, Hub
from .parts import Brake, Cranks, Frame, Rider, Wheel
from .paths import leaves
from .records import Part, Record, printed
from .spreads import Spread, write_spread
from .supply_parts import Packs, Wiring

FORMAT = 1

record = dataclasses.dataclass(frozen=True, kw_only=True, eq=False, repr=False)


@record
class Build(Part):
    """One rider with one complete set of parts.

    Without ``motor`` it is a machine that legs alone drive.  ``spreads`` maps
    the dotted path of every uncertain number to its distribution.
    """

    format: u.Number = field("number of the file format", low=FORMAT, high=FORMAT, whole=True)
    name: str = field("name of the build")
    rider: Rider = field("the rider")
    frame: Frame = field("saddle and frame")
    wheel: Wheel = field("the wheel")
    cranks: Cranks = field("the cranks")
    gears: Gears = field("the gears")
    hub: Hub | None = field("what the geared hub is made of", default=None)
    motor: Motor | None = field("the motor", default=None)
    controller: Controller | None = field("the motor's electronics", default=None)
    sensor: TorqueSensor | None = field("the sensor of pedal torque", default=None)
    assist: Assist | None = field("how the motor answers the pedals", default=None)
    brake: Brake = field("the friction brake")
    packs: Packs | None = field("the battery packs", default=None)
    wiring: Wiring | None = field("the wiring of packs, controller and motor", default=None)
    spreads: Mapping[str, Spread] = field("distribution of each uncertain number by its dotted path", default=Named())

    @property
    def total_mass(self) -> u.Kilogram:
        """Mass of rider and machine."""
        return self.body_mass + self.wheel_mass

    @property
    def body_mass(self) -> u.Kilogram:
        """Mass of what leans: rider, frame, controller and packs."""
        return self.rider.mass + self._frame_mass

    @property
    def wheel_mass(self) -> u.Kilogram:
        """Mass of what sits on the axle: wheel and motor."""
        return self.wheel.mass + (self.motor.mass if self.motor else 0.0)

    @property
    def wheel_inertia(self) -> u.KilogramSquareMetre:
        """Moment of inertia of what turns with the wheel."""
        return self.wheel.inertia + (self.motor.rotor_inertia if self.motor else 0.0)

    @property
    def body_centre_of_mass_height(self) -> u.Metre:
        """Height of the body's centre of mass above the axle; controller and packs count at the frame's height."""
        moments = self.rider.mass * self.rider.centre_of_mass_height + self._frame_mass * self.frame.centre_of_mass_height
        return moments / self.body_mass

    @property
    def body_inertia(self) -> u.KilogramSquareMetre:
        """Moment of inertia of the body in pitch about its centre of mass; frame, controller and packs count as one point."""
        apart = self.rider.centre_of_mass_height - self.frame.centre_of_mass_height
        return self.rider.pitch_inertia + self.rider.mass * self._frame_mass / self.body_mass * apart**2

    @property
    def _frame_mass(self) -> u.Kilogram:
        return self.frame.mass + (self.controller.mass if self.controller else 0.0) + (self.packs.mass if self.packs else 0.0)

    def __str__(self) -> str:
        return "\n".join(report(self))


@record
class Case(Part):
    """What is asked of a build: a speed on a slope in a wind, for a time and a distance."""

    name: str = field("name of the case")
    speed: u.MetrePerSecond = field("road speed", low=0, high=25, unit="km/h")
    slope: u.Slope = field("rise over run", low=-0.5, high=0.5, unit="%")
    head_wind: u.MetrePerSecond = field("wind against the travel", low=-40, high=40)
    cross_wind: u.MetrePerSecond = field("wind across the travel", low=-40, high=40, default=0.0)
    gust: u.MetrePerSecond = field("sudden addition to the head wind", low=0, high=40, default=0.0)
    altitude: u.Metre = field("height above sea level", low=-500, high=6000, default=0.0)
    air_temperature: u.Kelvin = field("air temperature", low=223.15, high=333.15, unit="°C")
    duration: u.Second = field("how long it lasts", low=0, high=1e6, unit="min")
    distance: u.Metre = field("how far it goes", low=0, high=1e6, unit="km")
    state_of_charge: u.Ratio = field("charge of the packs at the start", low=0, high=1)
    trim: str = field("how the rider sets trim torque", words=("none", "steps", "level"), default="none")
    wanted_speed: u.MetrePerSecond = field("speed that the rider would like to hold", low=0, high=25, unit="km/h")
    rules: str | None = field("key of the local rules to compare with", named=True, default=None)
    winding_start: u.Kelvin | None = field(
        "winding temperature at the start; air temperature if left out", low=223.15, high=523.15, unit="°C", default=None
    )
    pack_temperature: u.Kelvin | None = field(
        "cell temperature of the packs; air temperature if left out", low=223.15, high=343.15, unit="°C", default=None
    )
    sun: u.WattPerSquareMetre = field("sunshine that falls on the hub", low=0, high=1400, default=0.0)
    wind_speed: u.MetrePerSecond | None = field(
        "wind over a route, at the height of the rider; head and cross wind as they are if left out", low=0, high=40, default=None
    )
    wind_from: u.Radian | None = field(
        "direction that this wind comes from, clockwise from north", low=-2 * math.tau, high=2 * math.tau, unit="deg", default=None
    )
    leg_power: u.Watt | None = field(
        "power at which the rider eases off on a route, but for climbs; critical power if left out", low=1, high=1000, default=None
    )
    hard_power: u.Watt | None = field(
        "greatest leg power on a climb while work above critical power is left; what five minutes take if left out",
        low=1,
        high=1500,
        default=None,
    )
    lowest_cadence: u.RadianPerSecond | None = field(
        "cadence below which the rider gets off and walks", low=0.2, high=12, unit="rpm", default=None
    )
    descent_cadence: u.RadianPerSecond | None = field(
        "cadence that is not passed while holding back; the comfortable one if left out", low=0.5, high=25, unit="rpm", default=None
    )
    capacity_left: u.Ratio | None = field("charge of the full packs now over that when new; 1 if left out", low=0.2, high=1, default=None)
    resistance_growth: u.Ratio | None = field(
        "resistance of the packs' cells now over that when new; 1 if left out", low=0.5, high=10, default=None
    )
    spreads: Mapping[str, Spread] = field("distribution of each uncertain number by its name", default=Named())

    @property
    def air_density(self) -> u.KilogramPerCubicMetre:
        """Density of dry air at this height and temperature, at standard pressure."""
        return air.density_at(self.altitude, self.air_temperature)

    def __str__(self) -> str:
        return "\n".join(report(self))


def report(whole: Record) -> Iterator[str]:
    """The lines that print a build, a case or a datasheet: table by table, with units and spreads."""
    found = [(*path.rpartition(".")[::2], spec, value, whole.spreads.get(path)) for path, spec, value in leaves(whole)]
    width = max(len(name) for _, name, *_ in found)
    table = ""
    for place, name, spec, value, spread in found:
        text = write_spread(spread, spec.kind, spec.unit) if spread else printed(spec, value)
        if text and place != table:
            table = place
            yield f"\n[{table}]"
        if text:
            yield f"{name:<{width}}  {text}"
