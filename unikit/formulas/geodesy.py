"""Short lines on the WGS 84 ellipsoid: length, heading, and where a step leads."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from .checks import within
from .registry import formula

SEMI_MAJOR_AXIS = 6378137.0  # m, WGS 84
FLATTENING = 1 / 298.257223563  # WGS 84
ECCENTRICITY_SQUARED = FLATTENING * (2 - FLATTENING)
LARGEST_LATITUDE = np.radians(85.0)  # nearer to a pole a parallel is too crooked for a straight line


class Radii(NamedTuple):
    """Radii of curvature of the ellipsoid."""

    meridian: u.Metre  # along the meridian
    prime_vertical: u.Metre  # across it


class Line(NamedTuple):
    """A short line."""

    length: u.Metre
    heading: u.Radian  # at its middle, clockwise from north, from 0 to below 2 pi


class Place(NamedTuple):
    """A point of the ellipsoid."""

    latitude: u.Radian
    longitude: u.Radian


@formula(
    equation=r"M = \frac{a(1 - e^2)}{(1 - e^2\sin^2\varphi)^{3/2}},\quad N = \frac{a}{\sqrt{1 - e^2\sin^2\varphi}},\quad e^2 = f(2 - f)",
    source="wgs84",
    sign="north positive",
)
def radii(latitude: u.Radian) -> Radii:
    """Radii of curvature along the meridian and across it.

    Args:
        latitude: geodetic latitude.

    >>> [round(float(radius)) for radius in radii(0.0)]
    [6335439, 6378137]
    """
    within("latitude", latitude, -np.pi / 2 * (1 + 1e-12), np.pi / 2 * (1 + 1e-12))
    bend = 1 - ECCENTRICITY_SQUARED * np.sin(latitude) ** 2
    across = SEMI_MAJOR_AXIS / np.sqrt(bend)
    return Radii(across * (1 - ECCENTRICITY_SQUARED) / bend, across)


@formula(
    equation=r"n = (M + h)\,\Delta\varphi,\quad e = (N + h)\cos\varphi_m\,\Delta\lambda,\quad l = \sqrt{n^2 + e^2},\quad "
    r"\beta = \operatorname{atan2}(e, n)",
    source="wgs84",
    sign="heading clockwise from north, at the middle of the line; north and east positive; the line may cross 180 degrees",
    valid="within 85 degrees of latitude; length of 1 km to 2e-7, of 20 km to 2e-6 within 60 degrees and to 6e-5 near 85",
)
def line(latitude: u.Radian, longitude: u.Radian, latitude_end: u.Radian, longitude_end: u.Radian, altitude: u.Metre = 0.0) -> Line:
    """Length and heading of a short line, by the radii of curvature at its mean latitude.

    Args:
        latitude: of the start.
        longitude: of the start.
        latitude_end: of the end.
        longitude_end: of the end.
        altitude: height above the ellipsoid at which the length is wanted.

    >>> found = line(0.0, 3.14, 0.0, -3.14)
    >>> round(float(found.length)), round(float(np.degrees(found.heading)))
    (20316, 90)
    """
    for name, value in (("latitude", latitude), ("latitude_end", latitude_end)):
        within(name, value, -LARGEST_LATITUDE, LARGEST_LATITUDE)
    middle = np.add(latitude, latitude_end) / 2
    along, across = radii(middle)
    east_angle = np.remainder(np.subtract(longitude_end, longitude) + np.pi, 2 * np.pi) - np.pi  # the short way round
    north = (along + altitude) * np.subtract(latitude_end, latitude)
    east = (across + altitude) * np.cos(middle) * east_angle
    return Line(np.hypot(north, east), np.remainder(np.arctan2(east, north), 2 * np.pi))


@formula(
    equation=r"\varphi = \varphi_0 + \frac{n}{M},\quad \lambda = \lambda_0 + \frac{e}{N\cos\varphi_m}",
    source="wgs84",
    sign="north and east positive; longitude from -pi to pi",
    valid="steps of a few kilometres within 85 degrees of latitude",
)
def place(latitude: u.Radian, longitude: u.Radian, north: u.Metre, east: u.Metre) -> Place:
    """The point that lies some way north and east of another: :func:`line` the other way round.

    Args:
        latitude: of the point that one leaves.
        longitude: of the point that one leaves.
        north: way to the north.
        east: way to the east.

    >>> found = place(0.5, 0.0, 0.0, 1000.0)
    >>> round(float(line(0.5, 0.0, *found).length), 6)
    1000.0
    """
    within("latitude", latitude, -LARGEST_LATITUDE, LARGEST_LATITUDE)
    middle = latitude + np.divide(north, 2 * radii(latitude).meridian)
    for _ in range(4):  # the radius belongs to the middle, which depends on it: each turn wins three digits
        middle = latitude + np.divide(north, 2 * radii(middle).meridian)
    turned = longitude + np.divide(east, radii(middle).prime_vertical * np.cos(middle))
    return Place(*np.broadcast_arrays(2 * middle - latitude, np.remainder(turned + np.pi, 2 * np.pi) - np.pi))
