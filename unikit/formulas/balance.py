"""The machine that falls forward and back: a wheel that rolls without slip under a body that is an inverted pendulum.

Lean is the angle of the body from the true vertical, positive forward; wheel
torque drives the wheel forward and pushes the body back as much.  Pedals, hub
and motor all react on the body, so only their sum counts.  The body is rigid
and nothing moves sideways; how the path curves where a slope begins, and how a
falling body changes the load on the tyre, are left out.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from .capture import capture_lean  # noqa: F401 - balance.capture_lean is the name that other floors use
from .checks import not_negative, positive
from .reflex import Plant, gain_window, loop_margins, loop_response  # noqa: F401 - as above
from .registry import formula
from .road import GRAVITY

_SIGN = "lean and wheel torque positive forward, slope positive uphill, head wind positive against the travel"
_RIGID = "rigid body, no slip, no sideways motion"


class Equilibrium(NamedTuple):
    """Where the machine stays at a steady speed or a steady acceleration."""

    lean: u.Radian
    wheel_torque: u.NewtonMetre


class Motion(NamedTuple):
    """Accelerations of the body's lean and of the machine along the road."""

    lean_acceleration: u.RadianPerSecondSquared
    acceleration: u.MetrePerSecondSquared


class _Masses(NamedTuple):
    total: u.Values
    rolling: u.Values  # what a force along the road must accelerate, the wheel's turning included
    weight: u.Values  # moment of the body's weight about the axle at a right angle
    inertia: u.Values  # body about the axle


def _masses(
    body_mass: u.Values,
    centre_of_mass_height: u.Values,
    body_inertia: u.Values,
    wheel_mass: u.Values,
    wheel_inertia: u.Values,
    wheel_radius: u.Values,
) -> _Masses:
    positive("body_mass", body_mass)
    positive("centre_of_mass_height", centre_of_mass_height)
    positive("body_inertia", body_inertia)
    not_negative("wheel_mass", wheel_mass)
    not_negative("wheel_inertia", wheel_inertia)
    positive("wheel_radius", wheel_radius)
    total = body_mass + wheel_mass
    moment = body_mass * centre_of_mass_height
    return _Masses(total, total + wheel_inertia / wheel_radius**2, moment * GRAVITY, moment * centre_of_mass_height + body_inertia)


def _forces(
    total_mass: u.Values,
    slope: u.Values,
    speed: u.Values,
    head_wind: u.Values,
    air_density: u.Values,
    drag_area: u.Values,
    rolling_coefficient: u.Values,
) -> tuple[u.Values, u.Values, u.Values]:
    """Slope angle, air force, and the force of weight and tyre along the road; against forward travel positive."""
    not_negative("air_density", air_density)
    not_negative("drag_area", drag_area)
    not_negative("rolling_coefficient", rolling_coefficient)
    grade = np.arctan(slope)
    air = speed + head_wind
    heading = 1 - 2 * (np.asarray(speed) < 0)
    rest = total_mass * GRAVITY * (np.sin(grade) + heading * rolling_coefficient * np.cos(grade))
    return grade, 0.5 * air_density * drag_area * air * abs(air), rest


def _lean(torque: u.Values, weight: u.Values, along: u.Values, grade: u.Values) -> u.Values:
    """Lean at which weight balances a torque and a moment `along` of forces along the road at the axle's height and above."""
    upright, across = weight + along * np.sin(grade), along * np.cos(grade)
    share = torque / np.hypot(upright, across)
    if not np.all(np.abs(share) < 1):
        raise ValueError(
            f"no lean of the body balances a wheel torque of {np.array2string(np.asarray(torque), precision=1, threshold=6)} N*m: "
            "slope, wind or acceleration ask for more than the body's weight can hold"
        )
    return np.arctan2(across, upright) + np.arcsin(share)


@formula(
    equation=r"T_0 = r\,(M_e A + M g\sin\gamma + F_r + F_d),\quad m g l\sin\theta_0 = T_0 + (m l A + F_d l_d)\cos(\theta_0 + \gamma)",
    source="rolling_pendulum",
    sign=_SIGN,
    valid=_RIGID + "; trim torque changes neither lean nor wheel torque, only who supplies it",
)
def equilibrium(
    body_mass: u.Kilogram,
    centre_of_mass_height: u.Metre,
    body_inertia: u.KilogramSquareMetre,
    wheel_mass: u.Kilogram,
    wheel_inertia: u.KilogramSquareMetre,
    wheel_radius: u.Metre,
    slope: u.Slope = 0.0,
    speed: u.MetrePerSecond = 0.0,
    head_wind: u.MetrePerSecond = 0.0,
    air_density: u.KilogramPerCubicMetre = 1.225,
    drag_area: u.SquareMetre = 0.0,
    drag_height: u.Metre = 0.0,
    rolling_coefficient: u.Ratio = 0.0,
    acceleration: u.MetrePerSecondSquared = 0.0,
) -> Equilibrium:
    """Lean and wheel torque of a steady ride, or of a steady acceleration or braking.

    Args:
        body_mass: rider and all that leans with the rider.
        centre_of_mass_height: height of that mass above the axle.
        body_inertia: pitch inertia of that mass about its own centre.
        wheel_mass: wheel with all that turns.
        wheel_inertia: inertia of the wheel about the axle.
        wheel_radius: rolling radius.
        slope: rise over horizontal run.
        speed: speed over the road.
        head_wind: wind against forward travel.
        air_density: density of the air.
        drag_area: drag coefficient times frontal area.
        drag_height: height above the axle at which the air pushes.
        rolling_coefficient: rolling force over load.
        acceleration: steady acceleration along the road, negative when braking.

    >>> found = equilibrium(84.0, 0.8, 10.0, 8.0, 0.3, 0.36, slope=0.06)
    >>> round(float(found.lean), 4), round(float(found.wheel_torque), 2)
    (0.0295, 19.46)
    """
    parts = _masses(body_mass, centre_of_mass_height, body_inertia, wheel_mass, wheel_inertia, wheel_radius)
    grade, drag, rest = _forces(parts.total, slope, speed, head_wind, air_density, drag_area, rolling_coefficient)
    torque = wheel_radius * (parts.rolling * acceleration + rest + drag)
    along = parts.weight / GRAVITY * acceleration + drag * drag_height
    lean = _lean(torque, parts.weight, along, grade)
    return Equilibrium(lean, torque + 0.0 * lean)


@formula(
    equation=r"\ddot\theta = a\,\theta - b\,T + a_v v,\quad \dot v = s_\theta\theta + b_v T + a_{vv} v;\quad"
    r" a = \frac{k_\theta M_e}{\Delta},\ b = \frac{M_e + h/r}{\Delta},\ \Delta = M_e J - h^2",
    source="rolling_pendulum",
    sign=_SIGN + "; all are deviations from the steady ride",
    valid=_RIGID + "; small deviations",
)
def linear_plant(
    body_mass: u.Kilogram,
    centre_of_mass_height: u.Metre,
    body_inertia: u.KilogramSquareMetre,
    wheel_mass: u.Kilogram,
    wheel_inertia: u.KilogramSquareMetre,
    wheel_radius: u.Metre,
    slope: u.Slope = 0.0,
    speed: u.MetrePerSecond = 0.0,
    head_wind: u.MetrePerSecond = 0.0,
    air_density: u.KilogramPerCubicMetre = 1.225,
    drag_area: u.SquareMetre = 0.0,
    drag_height: u.Metre = 0.0,
    rolling_coefficient: u.Ratio = 0.0,
) -> Plant:
    """The machine near a steady ride, without rider and motor.

    Args:
        body_mass: rider and all that leans with the rider.
        centre_of_mass_height: height of that mass above the axle.
        body_inertia: pitch inertia of that mass about its own centre.
        wheel_mass: wheel with all that turns.
        wheel_inertia: inertia of the wheel about the axle.
        wheel_radius: rolling radius.
        slope: rise over horizontal run.
        speed: speed over the road.
        head_wind: wind against forward travel.
        air_density: density of the air.
        drag_area: drag coefficient times frontal area.
        drag_height: height above the axle at which the air pushes.
        rolling_coefficient: rolling force over load.

    >>> plant = linear_plant(84.0, 0.8, 10.0, 8.0, 0.3, 0.36)
    >>> round(float(plant.lean_by_lean), 3), round(float(plant.lean_by_torque), 5)
    (41.515, 0.18761)
    """
    parts = _masses(body_mass, centre_of_mass_height, body_inertia, wheel_mass, wheel_inertia, wheel_radius)
    grade, drag, rest = _forces(parts.total, slope, speed, head_wind, air_density, drag_area, rolling_coefficient)
    lean = _lean(wheel_radius * (rest + drag), parts.weight, drag * drag_height, grade)
    cosine = np.cos(lean + grade)
    coupling = parts.weight / GRAVITY * cosine
    stiffness = parts.weight * np.cos(lean) + drag * drag_height * np.sin(lean + grade)
    slowing = air_density * drag_area * abs(speed + head_wind)
    determinant = parts.rolling * parts.inertia - coupling**2
    return Plant(
        stiffness * parts.rolling / determinant,
        (parts.rolling + coupling / wheel_radius) / determinant,
        slowing * (coupling - parts.rolling * drag_height * cosine) / determinant,
        -coupling * stiffness / determinant,
        (parts.inertia / wheel_radius + coupling) / determinant,
        slowing * (coupling * drag_height * cosine - parts.inertia) / determinant,
        wheel_radius + 0.0 * determinant,
    )


def _at_rest(slope: u.Values, parts: _Masses, wheel_radius: u.Values) -> tuple[u.Values, u.Values]:
    """Stiffness of the weight and coupling of lean and travel on a slope, without wind and loss."""
    grade = np.arctan(slope)
    lean = _lean(wheel_radius * parts.total * GRAVITY * np.sin(grade), parts.weight, 0.0, grade)
    return parts.weight * np.cos(lean), parts.weight / GRAVITY * np.cos(lean + grade)


@formula(
    equation=r"\Omega = \sqrt{\frac{m g l\cos\theta_0\,M_e}{M_e J - h^2}}",
    source="rolling_pendulum",
    valid=_RIGID + "; free wheel, without wind",
)
def toppling_rate(
    body_mass: u.Kilogram,
    centre_of_mass_height: u.Metre,
    body_inertia: u.KilogramSquareMetre,
    wheel_mass: u.Kilogram,
    wheel_inertia: u.KilogramSquareMetre,
    wheel_radius: u.Metre,
    slope: u.Slope = 0.0,
) -> u.RadianPerSecond:
    """Rate at which a small lean grows when nobody acts: by the factor e in one over this rate.

    Args:
        body_mass: rider and all that leans with the rider.
        centre_of_mass_height: height of that mass above the axle.
        body_inertia: pitch inertia of that mass about its own centre.
        wheel_mass: wheel with all that turns.
        wheel_inertia: inertia of the wheel about the axle.
        wheel_radius: rolling radius.
        slope: rise over horizontal run.

    >>> round(float(toppling_rate(84.0, 0.8, 10.0, 8.0, 0.3, 0.36)), 4)
    6.4432
    """
    parts = _masses(body_mass, centre_of_mass_height, body_inertia, wheel_mass, wheel_inertia, wheel_radius)
    stiffness, coupling = _at_rest(slope, parts, wheel_radius)
    return np.sqrt(stiffness * parts.rolling / (parts.rolling * parts.inertia - coupling**2))


@formula(
    equation=r"\frac{a}{b} = \frac{m g l\cos\theta_0}{1 + h / (r M_e)}",
    source="rolling_pendulum",
    valid=_RIGID + "; free wheel, without wind",
)
def static_stiffness(
    body_mass: u.Kilogram,
    centre_of_mass_height: u.Metre,
    body_inertia: u.KilogramSquareMetre,
    wheel_mass: u.Kilogram,
    wheel_inertia: u.KilogramSquareMetre,
    wheel_radius: u.Metre,
    slope: u.Slope = 0.0,
) -> u.NewtonMetrePerRadian:
    """Wheel torque per lean that just keeps the body from falling further.

    Args:
        body_mass: rider and all that leans with the rider.
        centre_of_mass_height: height of that mass above the axle.
        body_inertia: pitch inertia of that mass about its own centre; it does not matter here.
        wheel_mass: wheel with all that turns.
        wheel_inertia: inertia of the wheel about the axle.
        wheel_radius: rolling radius.
        slope: rise over horizontal run.

    >>> round(float(static_stiffness(84.0, 0.8, 10.0, 8.0, 0.3, 0.36)), 1)
    221.3
    """
    parts = _masses(body_mass, centre_of_mass_height, body_inertia, wheel_mass, wheel_inertia, wheel_radius)
    stiffness, coupling = _at_rest(slope, parts, wheel_radius)
    return stiffness / (1 + coupling / (wheel_radius * parts.rolling))


@formula(
    equation=r"l_d = \frac{m\,l}{M_e}",
    source="rolling_pendulum",
    valid=_RIGID + "; first moment of a gust",
)
def gust_neutral_height(
    body_mass: u.Kilogram,
    centre_of_mass_height: u.Metre,
    wheel_mass: u.Kilogram,
    wheel_inertia: u.KilogramSquareMetre,
    wheel_radius: u.Metre,
) -> u.Metre:
    """Height above the axle at which a push along the road pitches the body neither way at first.

    Args:
        body_mass: rider and all that leans with the rider.
        centre_of_mass_height: height of that mass above the axle.
        wheel_mass: wheel with all that turns.
        wheel_inertia: inertia of the wheel about the axle.
        wheel_radius: rolling radius.

    >>> round(gust_neutral_height(84.0, 0.8, 8.0, 0.3, 0.36), 3)
    0.713
    """
    parts = _masses(body_mass, centre_of_mass_height, 1.0, wheel_mass, wheel_inertia, wheel_radius)
    return parts.weight / GRAVITY / parts.rolling


@formula(
    equation=r"M_e\dot v + h\ddot\theta - m l\dot\theta^2\sin\alpha = \frac{T}{r} - F_r - F_d - M g\sin\gamma,\quad"
    r" h\dot v + J\ddot\theta = m g l\sin\theta - T - F_d l_d\cos\alpha,\quad \alpha = \theta + \gamma",
    source="rolling_pendulum",
    sign=_SIGN,
    valid=_RIGID + "; any lean, constant slope",
)
def motion(
    lean: u.Radian,
    lean_rate: u.RadianPerSecond,
    wheel_torque: u.NewtonMetre,
    body_mass: u.Kilogram,
    centre_of_mass_height: u.Metre,
    body_inertia: u.KilogramSquareMetre,
    wheel_mass: u.Kilogram,
    wheel_inertia: u.KilogramSquareMetre,
    wheel_radius: u.Metre,
    slope: u.Slope = 0.0,
    speed: u.MetrePerSecond = 0.0,
    head_wind: u.MetrePerSecond = 0.0,
    air_density: u.KilogramPerCubicMetre = 1.225,
    drag_area: u.SquareMetre = 0.0,
    drag_height: u.Metre = 0.0,
    rolling_coefficient: u.Ratio = 0.0,
) -> Motion:
    """Accelerations of lean and speed at any lean; power of the wheel torque is torque times (speed / radius - lean rate).

    Args:
        lean: angle of the body from the true vertical.
        lean_rate: its rate of change.
        wheel_torque: torque of pedals and motor together on the wheel.
        body_mass: rider and all that leans with the rider.
        centre_of_mass_height: height of that mass above the axle.
        body_inertia: pitch inertia of that mass about its own centre.
        wheel_mass: wheel with all that turns.
        wheel_inertia: inertia of the wheel about the axle.
        wheel_radius: rolling radius.
        slope: rise over horizontal run.
        speed: speed over the road.
        head_wind: wind against forward travel.
        air_density: density of the air.
        drag_area: drag coefficient times frontal area.
        drag_height: height above the axle at which the air pushes.
        rolling_coefficient: rolling force over load.

    >>> found = motion(0.1, 0.0, 0.0, 84.0, 0.8, 10.0, 8.0, 0.3, 0.36)
    >>> round(float(found.lean_acceleration), 3), round(float(found.acceleration), 3)
    (4.024, -2.853)
    """
    parts = _masses(body_mass, centre_of_mass_height, body_inertia, wheel_mass, wheel_inertia, wheel_radius)
    grade, drag, rest = _forces(parts.total, slope, speed, head_wind, air_density, drag_area, rolling_coefficient)
    angle, moment = lean + grade, parts.weight / GRAVITY
    coupling = moment * np.cos(angle)
    along = wheel_torque / wheel_radius - rest - drag + moment * lean_rate**2 * np.sin(angle)
    about = parts.weight * np.sin(lean) - wheel_torque - drag * drag_height * np.cos(angle)
    determinant = parts.rolling * parts.inertia - coupling**2
    return Motion((parts.rolling * about - coupling * along) / determinant, (parts.inertia * along - coupling * about) / determinant)


@formula(
    equation=r"\Delta T_p = \frac{T_{tr}}{\lambda + k}",
    source="rolling_pendulum, virtual_work",
    sign="positive takes load off the pedals",
    valid="steady ride; neither the steady lean nor the roots of the loop change",
)
def trim_shift(trim_torque: u.NewtonMetre, gear_leverage: u.Ratio, assist_gain: u.Ratio) -> u.NewtonMetre:
    """Steady pedal torque that a trim torque takes off the legs.

    Args:
        trim_torque: steady wheel torque that does not depend on the pedals.
        gear_leverage: wheel torque per crank torque through the gear alone.
        assist_gain: motor torque at the wheel per torque at the crank.

    >>> trim_shift(8.0, 0.6, 0.4)
    8.0
    """
    positive("gear_leverage", gear_leverage)
    not_negative("assist_gain", assist_gain)
    return trim_torque / (gear_leverage + assist_gain)
