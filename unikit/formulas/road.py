"""Forces of road and air, and the speed that a power gives.

Forces are positive against forward travel.  The machine may also roll
backwards: what always opposes the motion (rolling, bearings) then changes its
sign in :func:`road_force`; at rest it is the force that starts the machine
forward.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from . import _steady
from .checks import not_negative, positive
from .registry import formula

GRAVITY = 9.81  # m/s^2; the standard value 9.80665 is smaller by 0.03 %, as is the spread of places


class RelativeWind(NamedTuple):
    """The wind as the rider meets it."""

    head_wind: u.MetrePerSecond
    cross_wind: u.MetrePerSecond
    yaw: u.Radian


def _heading(ground_speed: u.Values) -> u.Values:
    """1 forward and at rest, -1 backward."""
    return 1 - 2 * (ground_speed < 0)


def _effective_mass(mass: u.Values, inertia: u.Values, wheel_radius: u.Values) -> u.Values:
    positive("mass", mass)
    not_negative("inertia", inertia)
    positive("wheel_radius", wheel_radius)
    return mass + inertia / wheel_radius**2


@formula(equation=r"\theta = \arctan s", source="definition", sign="uphill positive")
def slope_angle(slope: u.Slope) -> u.Radian:
    """Angle of a slope.

    Args:
        slope: rise over horizontal run.

    >>> f"{slope_angle(0.075):.5f}"
    '0.07486'
    """
    return np.arctan(slope)


@formula(equation=r"A_d = C_d\,A", source="wilson_bicycling_science")
def drag_area(drag_coefficient: u.Number, frontal_area: u.SquareMetre) -> u.SquareMetre:
    """Drag area of a rider with the machine.

    Args:
        drag_coefficient: drag coefficient for the frontal area.
        frontal_area: frontal area of rider and machine.

    >>> round(drag_area(1.15, 0.55), 4)
    0.6325
    """
    not_negative("drag_coefficient", drag_coefficient)
    not_negative("frontal_area", frontal_area)
    return drag_coefficient * frontal_area


@formula(
    equation=r"V_h = V_w\cos(\beta_w - \beta),\quad V_c = V_w\sin(\beta_w - \beta),\quad \psi = \operatorname{atan2}(|V_c|,\,v + V_h)",
    source="martin1998",
    sign="head wind positive against forward travel; cross wind positive from the right; yaw from 0 to pi",
)
def relative_wind(
    ground_speed: u.MetrePerSecond, wind_speed: u.MetrePerSecond, wind_direction: u.Radian, travel_direction: u.Radian
) -> RelativeWind:
    """Wind triangle: the parts of the wind along and across the way, and the yaw of the air flow.

    Args:
        ground_speed: speed over the road.
        wind_speed: wind speed at the height of the rider, which is below that of the weather report.
        wind_direction: direction that the wind comes from, clockwise from north.
        travel_direction: direction of travel, clockwise from north.

    >>> found = relative_wind(5.0, 3.0, 0.5, 0.5)
    >>> float(found.head_wind), float(found.yaw)
    (3.0, 0.0)
    """
    not_negative("wind_speed", wind_speed)
    angle = np.subtract(wind_direction, travel_direction)
    head_wind, cross_wind = wind_speed * np.cos(angle), wind_speed * np.sin(angle)
    return RelativeWind(head_wind, cross_wind, np.arctan2(np.abs(cross_wind), ground_speed + head_wind))


@formula(
    equation=r"F = \tfrac{1}{2}\rho A_d\,V_a\sqrt{V_a^2 + V_c^2},\quad V_a = v + V_h",
    source="martin1998",
    sign="positive against forward travel, negative where a tail wind is faster than the machine",
    valid="the drag area does not depend on yaw; Martin's form is the one without cross wind",
)
def drag_force(
    air_density: u.KilogramPerCubicMetre,
    drag_area: u.SquareMetre,
    ground_speed: u.MetrePerSecond,
    head_wind: u.MetrePerSecond,
    cross_wind: u.MetrePerSecond = 0.0,
) -> u.Newton:
    """Air force along the way.

    Args:
        air_density: density of the air.
        drag_area: drag coefficient times frontal area.
        ground_speed: speed over the road.
        head_wind: wind against forward travel, negative from behind.
        cross_wind: wind across the way, of either sign.

    >>> drag_force(1.2, 0.5, 4.0, 1.0), drag_force(1.2, 0.5, 4.0, -5.0)
    (7.5, -0.3)
    """
    not_negative("air_density", air_density)
    not_negative("drag_area", drag_area)
    along = ground_speed + head_wind
    return 0.5 * air_density * drag_area * along * (along * along + cross_wind * cross_wind) ** 0.5


@formula(
    equation=r"V_g = \operatorname{sgn}(q)\sqrt{\tfrac{1}{2}\left(\sqrt{V_c^4 + 4 q^2} - V_c^2\right)} - V_a,\quad"
    r" q = V_a\sqrt{V_a^2 + V_c^2} + \frac{2 F}{\rho A_d},\quad V_a = v + V_h",
    source="martin1998",
    sign="force and wind positive against forward travel",
    valid="the drag area does not depend on yaw; the cross wind stays as it is",
)
def wind_for_force(
    force: u.Newton,
    air_density: u.KilogramPerCubicMetre,
    drag_area: u.SquareMetre,
    ground_speed: u.MetrePerSecond,
    head_wind: u.MetrePerSecond,
    cross_wind: u.MetrePerSecond = 0.0,
) -> u.MetrePerSecond:
    """Head wind that must be added to add a force of the air: :func:`drag_force` the other way round.

    Args:
        force: force to be added; inf gives inf.
        air_density: density of the air.
        drag_area: drag coefficient times frontal area.
        ground_speed: speed over the road.
        head_wind: wind against forward travel before.
        cross_wind: wind across the way.

    >>> round(float(wind_for_force(drag_force(1.2, 0.5, 4.0, 6.0) - drag_force(1.2, 0.5, 4.0, 1.0), 1.2, 0.5, 4.0, 1.0)), 9)
    5.0
    """
    positive("air_density", air_density)
    positive("drag_area", drag_area)
    along, across = np.add(ground_speed, head_wind), np.square(cross_wind)
    wanted = along * np.sqrt(along**2 + across) + 2 * np.divide(force, air_density * drag_area)
    return np.sign(wanted) * np.sqrt((np.sqrt(across**2 + 4 * wanted**2) - across) / 2) - along


@formula(
    equation=r"F = C_{rr}\,m\,g\cos\theta",
    source="martin1998",
    sign="for travel forward: positive against it",
    valid="constant rolling coefficient; g = 9.81 m/s2",
)
def rolling_force(mass: u.Kilogram, rolling_coefficient: u.Ratio, slope: u.Slope) -> u.Newton:
    """Rolling resistance of the tyre.

    Args:
        mass: mass on the wheel with the wheel.
        rolling_coefficient: rolling resistance per force normal to the road.
        slope: rise over horizontal run.

    >>> round(rolling_force(90.0, 0.006, 0.05), 4)
    5.2908
    """
    positive("mass", mass)
    not_negative("rolling_coefficient", rolling_coefficient)
    return rolling_coefficient * mass * GRAVITY / (1 + slope * slope) ** 0.5


@formula(
    equation=r"F = m\,g\sin\theta,\quad \sin\theta = \frac{s}{\sqrt{1 + s^2}}",
    source="martin1998",
    sign="positive against forward travel, negative downhill",
    valid="any slope: the true sine, not the tangent; g = 9.81 m/s2",
)
def slope_force(mass: u.Kilogram, slope: u.Slope) -> u.Newton:
    """Force of gravity along the slope.

    Args:
        mass: mass of rider and machine.
        slope: rise over horizontal run.

    >>> round(slope_force(90.0, 0.2), 2)
    173.15
    """
    positive("mass", mass)
    return mass * GRAVITY * slope / (1 + slope * slope) ** 0.5


@formula(
    equation=r"F = \operatorname{sgn}(v)\,b_0 + b_1 v",
    source="martin1998",
    sign="against the motion; at rest the force that starts the machine forward",
    valid="Martin's 0.091 N and 0.0087 N s/m belong to the two wheels of a bicycle",
)
def bearing_force(ground_speed: u.MetrePerSecond, bearing_drag: u.Newton, bearing_drag_per_speed: u.NewtonSecondPerMetre) -> u.Newton:
    """Drag of the wheel bearings, as a force at the road.

    Args:
        ground_speed: speed over the road.
        bearing_drag: part that does not depend on speed.
        bearing_drag_per_speed: part that grows with speed, per speed.

    >>> round(bearing_force(8.0, 0.09, 0.009), 3)
    0.162
    """
    not_negative("bearing_drag", bearing_drag)
    not_negative("bearing_drag_per_speed", bearing_drag_per_speed)
    return _heading(ground_speed) * bearing_drag + bearing_drag_per_speed * ground_speed


@formula(equation=r"F = \left(m + \frac{I}{r^2}\right)a", source="martin1998", sign="positive while gaining forward speed")
def acceleration_force(
    mass: u.Kilogram, acceleration: u.MetrePerSecondSquared, inertia: u.KilogramSquareMetre = 0.0, wheel_radius: u.Metre = 1.0
) -> u.Newton:
    """Force that accelerates the machine with its turning wheel.

    Args:
        mass: mass of rider and machine with the wheel.
        acceleration: acceleration along the road.
        inertia: moment of inertia of what turns with the wheel.
        wheel_radius: rolling radius.

    >>> acceleration_force(90.0, 0.5, 0.16, 0.4)
    45.5
    """
    return _effective_mass(mass, inertia, wheel_radius) * acceleration


@formula(equation=r"E = \tfrac{1}{2}\left(m + \frac{I}{r^2}\right)v^2", source="martin1998")
def kinetic_energy(mass: u.Kilogram, speed: u.MetrePerSecond, inertia: u.KilogramSquareMetre, wheel_radius: u.Metre) -> u.Joule:
    """Kinetic energy of the machine with its turning wheel.

    Args:
        mass: mass of rider and machine with the wheel.
        speed: road speed.
        inertia: moment of inertia of what turns with the wheel.
        wheel_radius: rolling radius.

    >>> kinetic_energy(90.0, 4.0, 0.16, 0.4)
    728.0
    """
    return 0.5 * _effective_mass(mass, inertia, wheel_radius) * speed**2


@formula(
    equation=r"F = \operatorname{sgn}(v)\,F_\mathrm{roll} + F_\mathrm{slope} + F_\mathrm{air} + F_\mathrm{bearing}",
    source="martin1998",
    sign="positive against forward travel; at rest the force that starts the machine forward",
    valid="steady speed; g = 9.81 m/s2",
)
def road_force(
    ground_speed: u.MetrePerSecond,
    mass: u.Kilogram,
    slope: u.Slope,
    head_wind: u.MetrePerSecond,
    air_density: u.KilogramPerCubicMetre,
    drag_area: u.SquareMetre,
    rolling_coefficient: u.Ratio,
    cross_wind: u.MetrePerSecond = 0.0,
    bearing_drag: u.Newton = 0.0,
    bearing_drag_per_speed: u.NewtonSecondPerMetre = 0.0,
) -> u.Newton:
    """Force at the tyre that holds a steady speed: rolling, slope, air and bearings.

    Args:
        ground_speed: speed over the road.
        mass: mass of rider and machine.
        slope: rise over horizontal run.
        head_wind: wind against forward travel, negative from behind.
        air_density: density of the air.
        drag_area: drag coefficient times frontal area.
        rolling_coefficient: rolling resistance per force normal to the road.
        cross_wind: wind across the way, of either sign.
        bearing_drag: bearing drag that does not depend on speed.
        bearing_drag_per_speed: bearing drag per speed.

    >>> round(road_force(5.0, 90.0, 0.03, 0.0, 1.2, 0.6, 0.008), 2)
    42.54
    """
    return (
        _heading(ground_speed) * rolling_force(mass, rolling_coefficient, slope)
        + slope_force(mass, slope)
        + drag_force(air_density, drag_area, ground_speed, head_wind, cross_wind)
        + bearing_force(ground_speed, bearing_drag, bearing_drag_per_speed)
    )


@formula(
    equation=r"P = v\,F(v)",
    source="martin1998",
    sign="power at the wheel positive while it drives, negative while it brakes; speed forward, 0 or above",
    valid="steady speed; g = 9.81 m/s2",
)
def speed_at_power(
    power: u.Watt,
    mass: u.Kilogram,
    slope: u.Slope,
    head_wind: u.MetrePerSecond,
    air_density: u.KilogramPerCubicMetre,
    drag_area: u.SquareMetre,
    rolling_coefficient: u.Ratio,
    cross_wind: u.MetrePerSecond = 0.0,
    bearing_drag: u.Newton = 0.0,
    bearing_drag_per_speed: u.NewtonSecondPerMetre = 0.0,
) -> u.MetrePerSecond:
    """Steady forward speed at which the road and the air take up a power at the wheel.

    Above zero power there is one such speed. At zero power it is the coasting
    speed, and 0 where nothing drives the machine forward. Below zero, braking,
    there are two or none (four in a narrow range, with a tail wind about as
    fast as the machine): the fastest is returned, which is stable - a machine
    that runs faster is slowed - and always slower than coasting. A
    ``ValueError`` says so where no steady speed exists; with arrays, where one
    of the elements has none.

    Args:
        power: power at the wheel.
        mass: mass of rider and machine.
        slope: rise over horizontal run.
        head_wind: wind against forward travel, negative from behind.
        air_density: density of the air.
        drag_area: drag coefficient times frontal area.
        rolling_coefficient: rolling resistance per force normal to the road.
        cross_wind: wind across the way, of either sign.
        bearing_drag: bearing drag that does not depend on speed.
        bearing_drag_per_speed: bearing drag per speed.

    >>> round(speed_at_power(150.0, 90.0, 0.0, 0.0, 1.225, 0.6325, 0.006), 3)
    6.665
    """
    not_negative("air_density", air_density)
    not_negative("drag_area", drag_area)
    not_negative("bearing_drag", bearing_drag)
    not_negative("bearing_drag_per_speed", bearing_drag_per_speed)
    constant = rolling_force(mass, rolling_coefficient, slope) + slope_force(mass, slope) + bearing_drag
    return _steady.speed(power, constant, 0.5 * air_density * drag_area, head_wind, cross_wind, bearing_drag_per_speed)
