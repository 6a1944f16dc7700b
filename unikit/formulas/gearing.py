"""Kinematics from crank to road: wheel, gear ratio, cadence and speed."""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import not_negative, positive
from .registry import formula


@formula(
    equation=r"C = \pi\,(d_\mathrm{bs} + 2 w)",
    source="iso5775",
    valid="nominal size; a measured roll-out is better, and small wheels come out up to 4 % high",
)
def wheel_circumference(bead_seat_diameter: u.Metre, tyre_width: u.Metre) -> u.Metre:
    """Nominal rolling circumference of a tyre.

    Args:
        bead_seat_diameter: bead seat diameter of the rim.
        tyre_width: nominal width of the tyre, taken as its height too.

    >>> round(wheel_circumference(0.622, 0.028), 3)
    2.13
    """
    positive("bead_seat_diameter", bead_seat_diameter)
    not_negative("tyre_width", tyre_width)
    return np.pi * (bead_seat_diameter + 2 * tyre_width)


@formula(equation=r"D = C\,G", source="definition")
def development(wheel_circumference: u.Metre, gear_ratio: u.Ratio) -> u.Metre:
    """Road travelled in one crank turn.

    Args:
        wheel_circumference: rolling circumference of the wheel.
        gear_ratio: wheel turns per crank turn.

    >>> development(2.2, 1.5)
    3.3000000000000003
    """
    positive("wheel_circumference", wheel_circumference)
    positive("gear_ratio", gear_ratio)
    return wheel_circumference * gear_ratio


@formula(equation=r"v = \omega_c\,G\,r", source="definition", sign="forward positive")
def speed(cadence: u.RadianPerSecond, wheel_radius: u.Metre, gear_ratio: u.Ratio) -> u.MetrePerSecond:
    """Road speed at a cadence.

    Args:
        cadence: crank turning rate.
        wheel_radius: rolling radius.
        gear_ratio: wheel turns per crank turn.

    >>> speed(6.0, 0.35, 2.0)
    4.199999999999999
    """
    positive("wheel_radius", wheel_radius)
    positive("gear_ratio", gear_ratio)
    return cadence * gear_ratio * wheel_radius


@formula(equation=r"\omega_c = \frac{v}{G\,r}", source="definition", sign="forward positive")
def cadence(speed: u.MetrePerSecond, wheel_radius: u.Metre, gear_ratio: u.Ratio) -> u.RadianPerSecond:
    """Crank turning rate at a road speed.

    Args:
        speed: road speed.
        wheel_radius: rolling radius.
        gear_ratio: wheel turns per crank turn.

    >>> cadence(4.2, 0.35, 2.0)
    6.000000000000001
    """
    positive("wheel_radius", wheel_radius)
    positive("gear_ratio", gear_ratio)
    return speed / (gear_ratio * wheel_radius)


@formula(equation=r"v_p = \omega_c\,L", source="definition")
def pedal_speed(cadence: u.RadianPerSecond, crank_length: u.Metre) -> u.MetrePerSecond:
    """Speed of the pedal along its circle.

    Args:
        cadence: crank turning rate.
        crank_length: crank length.

    >>> pedal_speed(10.0, 0.12)
    1.2
    """
    positive("crank_length", crank_length)
    return cadence * crank_length


@formula(equation=r"\frac{v}{v_p} = \frac{r\,G}{L}", source="brown_gain_ratios")
def travel_ratio(wheel_radius: u.Metre, crank_length: u.Metre, gear_ratio: u.Ratio) -> u.Ratio:
    """Road travel per pedal travel; its inverse is road force per pedal force without loss.

    Args:
        wheel_radius: rolling radius.
        crank_length: crank length.
        gear_ratio: wheel turns per crank turn.

    >>> round(travel_ratio(0.3302, 0.175, 22 / 34), 3)
    1.221
    """
    positive("wheel_radius", wheel_radius)
    positive("crank_length", crank_length)
    positive("gear_ratio", gear_ratio)
    return wheel_radius * gear_ratio / crank_length
