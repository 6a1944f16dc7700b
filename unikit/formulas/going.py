"""Getting going and stopping: what torque, lean and tyre allow along the road.

Steady acceleration and steady braking are one thing with two signs; the body
is taken to lean as far as the acceleration asks for at each moment.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from .checks import not_negative, positive
from .reflex import Plant
from .registry import formula
from .road import GRAVITY

_SIGN = "lean, torque and acceleration positive forward, slope positive uphill, head wind positive against the travel"


class Rocking(NamedTuple):
    """Greatest wheel torque and greatest lean of a machine that is rocked to and fro."""

    wheel_torque: u.NewtonMetre
    lean: u.Radian


@formula(
    equation=r"A = \frac{m g l\sin\theta - r\,(M g\sin\gamma + F_r + F_d) - F_d l_d\cos\alpha}{r M_e + m l\cos\alpha},"
    r"\quad \alpha = \theta + \gamma",
    source="rolling_pendulum",
    sign=_SIGN,
    valid="rigid body, no slip; the lean is held, so that nothing turns but the wheel",
)
def acceleration_at_lean(
    lean: u.Radian,
    body_mass: u.Kilogram,
    centre_of_mass_height: u.Metre,
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
) -> u.MetrePerSecondSquared:
    """Steady acceleration, negative when braking, at which a body that leans so neither rises nor falls.

    Args:
        lean: angle of the body from the true vertical, held.
        body_mass: rider and all that leans with the rider.
        centre_of_mass_height: height of that mass above the axle.
        wheel_mass: wheel with all that turns.
        wheel_inertia: inertia of the wheel about the axle.
        wheel_radius: rolling radius.
        slope: rise over horizontal run.
        speed: speed over the road, forward.
        head_wind: wind against forward travel.
        air_density: density of the air.
        drag_area: drag coefficient times frontal area.
        drag_height: height above the axle at which the air pushes.
        rolling_coefficient: rolling force over load.

    >>> round(float(acceleration_at_lean(-0.15, 84.0, 0.8, 8.0, 0.3, 0.36)), 3)
    -0.981
    """
    for name, value in (("body_mass", body_mass), ("centre_of_mass_height", centre_of_mass_height), ("wheel_radius", wheel_radius)):
        positive(name, value)
    for name, value in (("wheel_mass", wheel_mass), ("wheel_inertia", wheel_inertia), ("speed", speed)):
        not_negative(name, value)
    grade, moment, total = np.arctan(slope), body_mass * centre_of_mass_height, body_mass + wheel_mass
    air = np.add(speed, head_wind)
    drag = 0.5 * air_density * drag_area * air * np.abs(air)
    rest = total * GRAVITY * (np.sin(grade) + rolling_coefficient * np.cos(grade)) + drag
    along = np.cos(lean + grade)
    held = moment * GRAVITY * np.sin(lean) - wheel_radius * rest - drag * drag_height * along
    return held / (wheel_radius * (total + wheel_inertia / wheel_radius**2) + moment * along)


@formula(
    equation=r"D = g\,(\mu\cos\gamma + \sin\gamma) + \frac{F_d}{M}",
    source="coulomb_friction",
    sign="deceleration positive; slope positive uphill, drag positive against the travel",
    valid="the body's rise and fall does not change the load on the tyre",
)
def grip_deceleration(friction: u.Ratio, total_mass: u.Kilogram, slope: u.Slope = 0.0, drag: u.Newton = 0.0) -> u.MetrePerSecondSquared:
    """Greatest deceleration that the tyre's grip allows.

    Args:
        friction: greatest force of the tyre along the road over its load.
        total_mass: rider and machine.
        slope: rise over horizontal run.
        drag: force of the air against the travel.

    >>> round(float(grip_deceleration(0.4, 92.0)), 3)
    3.924
    """
    not_negative("friction", friction)
    positive("total_mass", total_mass)
    grade = np.arctan(slope)
    return GRAVITY * (friction * np.cos(grade) + np.sin(grade)) + drag / total_mass


@formula(
    equation=r"s = \tan\gamma,\quad M g\,(\sin\gamma + C_{rr}\cos\gamma) = \frac{T}{r}",
    source="statics",
    sign="wheel torque positive forward, slope positive uphill",
    valid="standing or steady rolling, no wind; inf where the torque would hold the machine on a wall",
)
def steepest_slope(wheel_torque: u.NewtonMetre, total_mass: u.Kilogram, wheel_radius: u.Metre, rolling_coefficient: u.Ratio) -> u.Slope:
    """Steepest slope on which a wheel torque keeps the machine from rolling back.

    Args:
        wheel_torque: torque at the wheel, 0 or above.
        total_mass: rider and machine.
        wheel_radius: rolling radius.
        rolling_coefficient: rolling force over load, taken to be overcome as well.

    >>> round(float(steepest_slope(45.0, 92.0, 0.36, 0.008)), 4)
    0.1317
    """
    not_negative("wheel_torque", wheel_torque)
    positive("total_mass", total_mass)
    positive("wheel_radius", wheel_radius)
    not_negative("rolling_coefficient", rolling_coefficient)
    share = wheel_torque / (wheel_radius * total_mass * GRAVITY * np.hypot(1.0, rolling_coefficient))
    angle = np.arcsin(np.minimum(share, 1.0)) - np.arctan(rolling_coefficient)
    return np.where(share >= 1.0, np.inf, np.tan(angle))[()]


@formula(
    equation=r"\hat T = \frac{\omega^2\,\hat x}{b_v + s_\theta\,b / (a + \omega^2)},\quad \hat\theta = \frac{b\,\hat T}{a + \omega^2}",
    source="rolling_pendulum",
    sign="sizes; lean and torque are largest together, at the end of the travel, and push back to the middle",
    valid="small lean, still air; harmonic to-and-fro; the least that moves the machine so, without corrections",
)
def rocking(plant: Plant, travel: u.Metre, frequency: u.RadianPerSecond) -> Rocking:
    """Wheel torque and lean of a machine that is rocked to and fro under the rider.

    Args:
        plant: the machine near standstill.
        travel: from the middle to the end, along the road.
        frequency: angular frequency of to and fro.

    >>> found = rocking(Plant(41.5, 0.1876, 0.0, -29.6, 0.163, 0.0, 0.36), 0.2, 5.0265)
    >>> round(float(found.wheel_torque), 1), round(float(found.lean), 4)
    (63.3, 0.1779)
    """
    positive("plant.lean_by_lean", plant.lean_by_lean)
    positive("plant.lean_by_torque", plant.lean_by_torque)
    positive("plant.speed_by_torque", plant.speed_by_torque)
    positive("travel", travel)
    positive("frequency", frequency)
    square = np.square(np.asarray(frequency, float))
    lean_per_torque = plant.lean_by_torque / (plant.lean_by_lean + square)
    torque = square * travel / (plant.speed_by_torque + plant.speed_by_lean * lean_per_torque)
    return Rocking(torque, lean_per_torque * torque)
