"""What legs and motor can still add to a steady ride when the body begins to fall, forward or backward.

Closed form, at the worst crank angle: the legs go to their limit one delay
after the fall begins, and the motor follows them as far as its reserve goes.
Gains of the rider do not enter: it is the best that a rider with this delay
can do.  Needs a completed build; its numbers may be arrays, then speeds stand
in a column.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from .. import units as u
from ..formulas import balance, capture, leverage, road
from ..formulas.reflex import Plant, Reflex
from ..inputs import Build, Case, Gear
from . import loop as loops
from .drive import drive
from .legs import greatest_torque
from .loads import loads, trim_torque
from .split import Split, assist_gain, torque_split

MACHINES = ("assisted", "alone", "ungeared")  # as built, the gear with a motor that is off, and a wheel without gear and motor torque


@dataclass(frozen=True)
class Way:
    """What can be added in one direction: by the pedals at the crank, by legs and motor at the wheel."""

    pedals: u.Values
    legs: u.Values
    asked: u.Values  # motor torque that the assist would add
    motor: u.Values  # and what of it the motor can add
    leverage: u.Values  # of the legs alone in this direction

    @property
    def hold(self) -> u.Values:
        """Wheel torque per crank torque of the legs alone, over the whole step."""
        return np.where(self.pedals > 0, self.legs / np.where(self.pedals > 0, self.pedals, 1.0), self.leverage)

    @property
    def gain(self) -> u.Values:
        """Motor torque asked per crank torque over the whole step."""
        return np.where(self.pedals > 0, self.asked / np.where(self.pedals > 0, self.pedals, 1.0), 0.0)


@dataclass(frozen=True)
class Stand:
    """A steady ride, and what can be added to it."""

    plant: Plant
    reflex: Reflex
    split: Split
    driving_strength: u.Values  # crank torque of the legs that counts, at the worst crank angle
    resisting_strength: u.Values
    forward: Way
    backward: Way

    @property
    def rate(self) -> u.RadianPerSecond:
        """Toppling rate."""
        return np.sqrt(self.plant.lean_by_lean)

    @property
    def stiffness(self) -> u.NewtonMetrePerRadian:
        """Wheel torque per lean that keeps the body from falling further."""
        return self.plant.lean_by_lean / self.plant.lean_by_torque


@cache
def _solid() -> Gear:
    """The gear of a wheel that has none."""
    return Gear(name="ungeared", ratio=1.0, efficiency=1.0)


def late(build: Build) -> Reflex:
    """The rider as far as a catch at the limit needs one: delay and muscle lag, no gains."""
    return Reflex(0.0, 0.0, 0.0, 0.0, build.rider.reaction_delay, build.rider.muscle_lag, 0.0, 0.0, 0.0)


def stand(
    build: Build,
    case: Case,
    gear: Gear,
    machine: str = "assisted",
    speed: u.Values | None = None,
    slope: u.Values | None = None,
    trim: u.Values | None = None,
) -> Stand:
    """The steady ride of a machine; speed, slope and trim torque may replace those of the case."""
    speed = case.speed if speed is None else speed
    plant = balance.linear_plant(**loops.body(build), **loops.road(build, case, speed, slope))
    asked, length = loads(build, case, speed, slope).wheel_torque, build.cranks.length
    state = None if machine == "ungeared" else drive(build, case.state_of_charge)
    if machine == "assisted":
        split = torque_split(build, gear, speed, asked, state, trim_torque(build, case, slope) if trim is None else trim)
    else:
        drag = state.drag(np.asarray(speed) / build.wheel.radius) if state else 0.0  # a motor that is off still drags
        gear, length = (_solid(), build.cranks.reference_length) if machine == "ungeared" else (gear, length)
        split = torque_split(build, gear, speed, asked + drag, None)
    rate, floor = np.sqrt(plant.lean_by_lean), build.rider.torque_floor
    share = capture.worst_strength(split.cadence, rate, floor).share
    strengths = [share * greatest_torque(build, split.cadence, way, length) for way in (False, True)]
    gains = [assist_gain(build, gear, way) if machine == "assisted" and state else 0.0 for way in (False, True)]
    felt = _felt(build, split.cadence, rate)
    holds = [leverage.gear_leverage(gear.ratio, gear.efficiency, resisting=way) for way in (False, True)]
    steady = np.where(np.asarray(split.pedal_torque) < 0, gains[1], gains[0]) * split.pedal_torque
    ways = []
    for sign, strength, gain, hold, reserve in zip((1, -1), strengths, gains, holds, (split.reserve, split.braking_reserve), strict=True):
        pedals = np.maximum(strength - sign * split.pedal_torque, 0.0)
        left = pedals > 0
        legs = np.where(left, np.maximum(hold * strength - sign * split.leg_wheel_torque, 0.0), 0.0)
        asked_motor = np.where(left, np.maximum(gain * strength - sign * steady, 0.0), 0.0) * felt
        motor = np.minimum(asked_motor, reserve if machine == "assisted" and state else 0.0)
        ways.append(Way(pedals, legs, asked_motor, motor, hold))
    return Stand(plant, late(build), split, *strengths, *ways)


def _felt(build: Build, cadence: u.Values, rate: u.Values) -> u.Values:
    """Share of the pedals' answer that the sensor feels at the worst crank angle, weighted as the answer is.

    A sensor on one crank feels nothing for half a turn and then the double.
    """
    if build.sensor is None or build.sensor.location != "one crank":
        return 1.0
    half = np.exp(-np.pi * rate / np.maximum(cadence, 1e-9))
    return 2 * half / (1 + half)


def lean(build: Build, found: Stand, way: Way) -> u.Radian:
    """Largest sudden lean that can be caught one way."""
    return capture.capture_lean(found.plant, found.reflex, loops.path(build), way.hold, way.gain, way.pedals, way.motor)


@dataclass(frozen=True)
class Envelope:
    """The largest disturbances that can be caught: each from the lean of the way in which it makes the body fall."""

    lean: u.Radian
    lean_back: u.Radian
    lean_rate: u.RadianPerSecond
    lean_rate_back: u.RadianPerSecond
    bump: u.MetrePerSecond
    climb: u.Slope
    drop: u.Slope
    gust: u.MetrePerSecond
    gust_pitches_back: u.Values


def envelope(build: Build, case: Case, found: Stand) -> Envelope:
    """What can be caught from a steady ride.

    A gust pitches the body back where the air pushes above the gust-neutral
    height, and forward where it pushes below.
    """
    forward, backward = lean(build, found, found.forward), lean(build, found, found.backward)
    body = loops.body(build)
    wheel = {name: body[name] for name in ("body_mass", "wheel_mass", "wheel_inertia", "wheel_radius")}
    inertia = {name: body[name] for name in ("body_mass", "centre_of_mass_height", "body_inertia")}
    height = body["centre_of_mass_height"]
    back = np.greater(build.rider.drag_height, balance.gust_neutral_height(centre_of_mass_height=height, **wheel))
    push = capture.capture_push(
        np.where(back, backward, forward), centre_of_mass_height=height, drag_height=build.rider.drag_height, **wheel
    )
    gust = road.wind_for_force(push, case.air_density, build.rider.drag_area, found.split.speed, case.head_wind, case.cross_wind)
    return Envelope(
        lean=forward,
        lean_back=backward,
        lean_rate=capture.capture_lean_rate(forward, found.rate),
        lean_rate_back=capture.capture_lean_rate(backward, found.rate),
        bump=capture.capture_speed_loss(forward, found.rate, **inertia),
        climb=capture.capture_grade_step(forward, **wheel),
        drop=capture.capture_grade_step(backward, **wheel),
        gust=gust,
        gust_pitches_back=back,
    )
