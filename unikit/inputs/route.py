"""A route: what lies along the way, as SI arrays over the distance travelled."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from .. import units as u

ALTITUDES = (-500.0, 9000.0)  # m: lowest and highest that a ride can have; common practice, no source


@dataclass(frozen=True, eq=False)
class Route:
    """A way from start to end, cut into steps at points.

    Points have one entry more than steps; arrays cannot be written to.
    """

    name: str
    source: str
    distance: u.Metre  # at the points, along the road, from 0
    altitude: u.Metre  # at the points
    heading: u.Radian  # of the steps, clockwise from north; nan where unknown
    surface: u.Ratio  # of the steps: rolling coefficient there over that of the build
    shelter: u.Ratio  # of the steps: share of the wind that reaches the rider
    speed_limit: u.MetrePerSecond  # at the points, inf for none
    stop: u.Second  # at the points: how long the rider stands there, 0 for no stop
    latitude: u.Radian | None = None  # at the points
    longitude: u.Radian | None = None
    notes: tuple[str, ...] = ()  # what was done to the record: cleaned, smoothed, left out

    @property
    def step(self) -> u.Metre:
        """Length of each step."""
        return np.diff(self.distance)

    @property
    def slope(self) -> u.Slope:
        """Rise over horizontal run of each step."""
        rise = np.diff(self.altitude)
        return rise / np.sqrt(self.step**2 - rise**2)

    @property
    def length(self) -> u.Metre:
        """From start to end."""
        return float(self.distance[-1])

    @property
    def climb(self) -> u.Metre:
        """Sum of all rises from point to point; it depends on step and smoothing."""
        return float(np.maximum(np.diff(self.altitude), 0.0).sum())

    @property
    def descent(self) -> u.Metre:
        """Sum of all falls from point to point."""
        return float(np.maximum(-np.diff(self.altitude), 0.0).sum())


# For the arrays that may be left out: what stands for them, and whether they belong to points or to steps.
_USUAL: Mapping[str, tuple[float, bool]] = {
    "heading": (np.nan, False),
    "surface": (1.0, False),
    "shelter": (1.0, False),
    "speed_limit": (np.inf, True),
    "stop": (0.0, True),
}


def make_route(name: str, source: str, distance: Any, altitude: Any, notes: tuple[str, ...] = (), **others: Any) -> Route:
    """A checked route from SI arrays; one number for all points or steps may stand for an array.

    Raises ValueError that names the array and what was expected.
    """
    distance, altitude = np.array(distance, float), np.array(altitude, float)
    if distance.ndim != 1 or len(distance) < 2:
        raise ValueError(f"distance must be a list of at least 2 points, got shape {distance.shape}")
    if altitude.shape != distance.shape:
        raise ValueError(f"altitude must have as many points as distance, {len(distance)}, got shape {altitude.shape}")
    for key, known in (("distance", np.isfinite(distance)), ("altitude", np.isfinite(altitude))):
        if not known.all():
            raise ValueError(f"{key} must be a finite number at every point; it is none at point {np.argmin(known) + 1:,}")
    rises = np.diff(distance) > 0
    if distance[0] != 0 or not rises.all():
        found = f"it begins at {distance[0]:g} m" if distance[0] != 0 else f"it does not rise after point {np.argmin(rises) + 1:,}"
        raise ValueError(f"distance must begin at 0 and rise from point to point; {found}")
    low, high = ALTITUDES
    worst = altitude[np.argmax(np.maximum(low - altitude, altitude - high))]
    if not low <= worst <= high:
        raise ValueError(f"altitude must be from {low:g} m to {high:g} m; it is {worst:.6g} m at its worst")
    if np.any(np.abs(np.diff(altitude)) >= 0.9 * np.diff(distance)):
        raise ValueError("altitude must change by less than 0.9 m in a metre of road")
    arrays = {"distance": distance, "altitude": altitude}
    for key, (usual, of_points) in _USUAL.items():
        count = len(distance) - (not of_points)
        given = np.asarray(others.pop(key, usual), float)
        if given.shape not in ((), (count,)):
            raise ValueError(f"{key} must be one number or {count} of them, got shape {given.shape}")
        arrays[key] = np.broadcast_to(given, (count,)).copy()
    for key in ("surface", "shelter", "stop"):
        if not (np.isfinite(arrays[key]).all() and np.all(arrays[key] >= 0)):
            raise ValueError(f"{key} must be finite and not negative everywhere")
    if not np.all(arrays["speed_limit"] > 0):
        raise ValueError("speed_limit must be above 0 everywhere; a stop is a time to stand, not a speed of 0")
    for key in ("latitude", "longitude"):
        place = others.pop(key, None)
        if place is not None:
            arrays[key] = np.array(place, float)
            if arrays[key].shape != distance.shape:
                raise ValueError(f"{key} must have as many points as distance, {len(distance)}, got shape {arrays[key].shape}")
    if ("latitude" in arrays) != ("longitude" in arrays):
        raise ValueError("latitude and longitude must be given together")
    if others:
        raise ValueError(f"a route has no {', '.join(map(repr, others))}")
    for array in arrays.values():
        array.flags.writeable = False
    return Route(name, source, notes=tuple(notes), **arrays)
