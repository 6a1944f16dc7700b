"""A route as recorded and as mended: what was wrong, how steep it is, and how much climb each smoothing leaves."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from .. import units as u
from ..formulas import profile
from ..inputs import Route
from ..inputs.route_repair import STEP, Repaired, resampled, smooth
from .results import Result, shown

STRETCH = 100.0  # m over which the steepest slope is looked for
LENGTHS = np.append(0.0, np.geomspace(2.0, 500.0, 48))  # m


@dataclass(frozen=True)
class Routes(Result):
    """One route: faults of its record, climb over smoothing, steepest stretch."""

    name: str = shown("route")
    length: u.Metre = shown("length", "km", 2)
    step: u.Metre = shown("step", "m", 2)
    smoothing: u.Metre = shown("smoothing length", "m", 0)
    climb: u.Metre = shown("climb, smoothed", "m", 0)
    climb_recorded: u.Metre = shown("climb as the file has it", "m", 0)
    climb_mended: u.Metre = shown("climb of the mended points", "m", 0)
    climb_half: u.Metre = shown("climb with half the smoothing", "m", 0)
    climb_double: u.Metre = shown("climb with twice the smoothing", "m", 0)
    noise_climb: u.Metre = shown("climb that noise alone adds on level road", "m", 0)
    descent: u.Metre = shown("descent, smoothed", "m", 0)
    points: u.Number = shown("points", "", 0)
    spacing: u.Metre = shown("usual distance between points", "m", 1)
    merged: u.Number = shown("points merged with the one before", "", 0)
    missing: u.Number = shown("altitudes missing", "", 0)
    spikes: u.Number = shown("spikes", "", 0)
    stuck: u.Number = shown("altitudes repeated by a hung sensor", "", 0)
    closing_error: u.Metre = shown("drift taken out", "m", 1)
    drift_left: u.Metre = shown("doubt of altitude half way, of the drift", "m", 1)
    noise: u.Metre = shown("scatter of a single altitude", "m", 2)
    slope_noise: u.Slope = shown("doubt of a slope, of the scatter", "%", 2)
    steepest: u.Slope = shown("steepest 100 m up", "%", 1)
    steepest_at: u.Metre = shown("steepest 100 m up, from", "km", 2)
    steepest_down: u.Slope = shown("steepest 100 m down", "%", 1)
    steepest_down_at: u.Metre = shown("steepest 100 m down, from", "km", 2)
    distance: u.Metre = shown("distance", "m", 1)
    altitude: u.Metre = shown("altitude", "m", 2)
    lengths: u.Metre  # smoothing lengths, and the climb of each
    climbs: u.Metre
    noise_climbs: u.Metre  # that noise alone adds on level road
    route: Route
    repaired: Repaired


@lru_cache(maxsize=4)
def _climbs(found: Repaired, step: float) -> np.ndarray:
    """Climb at each smoothing length; one after the other, so that a long route needs little memory."""
    made = np.array([profile.climb(smooth(found, step, length)) for length in LENGTHS])
    made.flags.writeable = False
    return made


def study(found: Repaired, smoothing: u.Metre | None = None, step: u.Metre = STEP) -> Routes:
    """What was mended in a route, and what it is at a smoothing.

    Args:
        found: the route as :func:`unikit.inputs.read_route` gives it.
        smoothing: standard deviation of the Gaussian; the usual one of the file if left out.
        step: length of the steps.
    """
    route = resampled(found, step, smoothing)
    length = found.usual if smoothing is None else smoothing
    half, double = (float(profile.climb(smooth(found, step, factor * length))) for factor in (0.5, 2.0))
    steepest, at = _steepest(route.distance, route.altitude)
    down, down_at = _steepest(route.distance, -route.altitude)
    error = found.closing_error
    slope = float(found.slope_noise(length, step))
    return Routes(
        name=route.name,
        length=route.length,
        step=float(np.mean(route.step)),
        smoothing=length,
        climb=route.climb,
        climb_recorded=found.climb_recorded,
        climb_mended=float(profile.climb(found.altitude)),
        climb_half=half,
        climb_double=double,
        noise_climb=_on_level_road(slope, route.length),
        descent=route.descent,
        points=len(found.distance),
        spacing=found.spacing,
        merged=found.merged,
        missing=int(found.missing.sum()),
        spikes=int(found.spikes.sum()),
        stuck=int(found.stuck.sum()),
        closing_error=error,
        drift_left=float(profile.drift_left(0.5, 1.0, error)),
        noise=found.noise,
        slope_noise=slope,
        steepest=steepest,
        steepest_at=at,
        steepest_down=-down,
        steepest_down_at=down_at,
        distance=route.distance,
        altitude=route.altitude,
        lengths=LENGTHS,
        climbs=_climbs(found, step),
        noise_climbs=_on_level_road(found.slope_noise(LENGTHS, step), route.length),
        route=route,
        repaired=found,
    )


def _on_level_road(slope: u.Slope, length: u.Metre) -> u.Metre:
    """Climb on a level road from slopes that scatter normally about zero: the mean of their rises."""
    return slope / np.sqrt(2 * np.pi) * length


def _steepest(distance: np.ndarray, altitude: np.ndarray) -> tuple[float, float]:
    """The greatest rise over run on a stretch between points of the route, and where it begins."""
    stretch = min(STRETCH, float(distance[-1]))
    begin = distance[distance <= distance[-1] - stretch + 1e-9]
    rise = np.interp(begin + stretch, distance, altitude) - altitude[: len(begin)]
    slope = rise / np.sqrt(stretch**2 - rise**2)
    place = int(np.argmax(slope))
    return float(slope[place]), float(begin[place])
