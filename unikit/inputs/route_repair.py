"""From a recorded way to a route: faults of the altitudes mended and told, even steps, a stated smoothing."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from .. import units as u
from ..formulas import geodesy, profile
from .columns import refuse
from .errors import show
from .fields import Named
from .route import ALTITUDES, Route, make_route

STEP = 10.0  # m
SMOOTHING = 30.0  # m
CLOSEST = 0.5  # m: points nearer to the one before are the same place
CLOSED = 50.0  # m between start and end of a way that ends where it began
SHORTEST_ROUND = 500.0  # m of such a way
WIDEST_GAP = 20e3  # m
MOST_STEPS = 500_000
STEEPEST = 0.35  # slope of a step that is told: hardly a road; common practice, no source
FINEST = 10  # parts of a step in which the profile is smoothed

OF_STEPS = ("heading", "surface", "shelter")


@dataclass(frozen=True, eq=False)
class Way:
    """What a file says about a way, point by point, before anything is mended."""

    file: str
    name: str
    source: str
    altitude: u.Metre  # nan where it is missing
    distance: u.Metre | None = None  # along the road; by the coordinates if left out
    latitude: u.Radian | None = None
    longitude: u.Radian | None = None
    others: Mapping[str, np.ndarray] = field(default_factory=Named)  # heading, surface, shelter, speed limit, stop: from each point on
    starts: tuple[int, ...] = (0,)  # the first point of each segment
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Repaired:
    """A way whose altitudes are mended, with what was found."""

    way: Way  # without the points that were merged
    distance: u.Metre  # of its points: along the road, or on the map where coordinates gave it
    on_map: bool
    altitude: u.Metre
    missing: np.ndarray
    spikes: np.ndarray
    stuck: np.ndarray
    merged: int
    closing_error: u.Metre  # nan where the way is not closed and no altitude is known
    noise: u.Metre  # standard deviation of a single altitude; 0 where nobody recorded them
    usual: u.Metre  # smoothing length if nobody asks for another
    notes: tuple[str, ...]

    @property
    def spacing(self) -> u.Metre:
        """Usual distance from point to point."""
        return float(np.median(np.diff(self.distance)))

    def slope_noise(self, smoothing: Any, step: float) -> np.ndarray:
        """Doubt that scatter leaves in the slope of a step: never more than that of a straight line between two points."""
        straight, length = np.sqrt(2) * self.noise / max(self.spacing, step), np.asarray(smoothing, float)
        smooth = profile.slope_noise(self.noise, self.spacing, np.where(length > 0, length, self.spacing))
        return np.where(length > 0, np.minimum(straight, smooth), straight)

    def renamed(self, name: str) -> Repaired:
        """The same under another name."""
        return dataclasses.replace(self, way=dataclasses.replace(self.way, name=name))

    @property
    def climb_recorded(self) -> u.Metre:
        """Climb of the altitudes as they stand in the file, missing ones bridged."""
        return float(profile.climb(profile.bridged(self.distance, self.way.altitude)))


def repaired(way: Way, known: Mapping[float, float] | None = None, closed: bool | None = None) -> Repaired:
    """Mend the altitudes of a way.

    Args:
        way: as it stands in its file.
        known: altitudes that are known, by distance from the start: the drift of a barometer is taken out there.
        closed: whether the way ends where it began, at the same altitude; found from the coordinates if left out.
    """
    way, distance, merged = _apart(way)
    if len(distance) < 3:
        raise refuse(way.file, "a way of at least 3 points that lie apart", f"{len(distance)}")
    with np.errstate(invalid="ignore"):
        missing = ~((way.altitude >= ALTITUDES[0]) & (way.altitude <= ALTITUDES[1]))
    impossible = int(np.count_nonzero(missing & np.isfinite(way.altitude)))
    if impossible:
        way = dataclasses.replace(way, altitude=np.where(missing, np.nan, way.altitude))
    if missing.sum() > len(missing) - 2:
        raise refuse(way.file, "altitudes at two points at least", "none" if missing.all() else "one")
    # A spike beside a hung stretch would hide the step at its end, so spikes go first.
    spikes = profile.spikes(distance, way.altitude)
    rest = np.where(spikes, np.nan, way.altitude)
    stuck = profile.stuck(distance, rest)
    altitude = profile.bridged(distance, np.where(stuck, np.nan, rest))
    altitude, error, told = _tied(way, distance, altitude, known, closed)
    deviation = float(profile.noise(distance, altitude))
    notes = [f"{len(distance):,} points over {distance[-1] / 1000:.2f} km, usually {np.median(np.diff(distance)):.1f} m apart"]
    notes += _gaps(way, distance)
    counts = {"points merged with the one before": merged, "altitudes missing": missing.sum(), "spikes": spikes.sum()}
    counts["altitudes repeated by a hung sensor"] = stuck.sum()
    notes.append("; ".join(f"{what}: {count:,}" for what, count in counts.items()) + "; straight lines stand for what was taken out")
    if impossible:
        notes.append(f"altitudes that no road has, below {ALTITUDES[0]:g} m or above {ALTITUDES[1]:g} m: {impossible:,}, taken as missing")
    notes += [told, f"a single altitude scatters by {deviation:.2f} m"]
    found = (missing, spikes, stuck, merged, error, deviation, SMOOTHING, (*way.notes, *notes))
    return Repaired(way, distance, way.distance is None, altitude, *found)


def as_written(way: Way, usual: float) -> Repaired:
    """A way with distances that nobody recorded: nothing is looked for, nothing mended."""
    nothing = np.zeros(way.altitude.size, bool)
    return Repaired(way, way.distance, False, way.altitude, nothing, nothing, nothing, 0, np.nan, 0.0, usual, way.notes)


def _apart(way: Way) -> tuple[Way, np.ndarray, int]:
    """The way without points that lie on the one before, and the distances of the rest."""
    kept = np.arange(way.altitude.size)
    while True:
        gap = np.diff(way.distance[kept]) if way.distance is not None else _between(way, kept)
        near = np.append(False, gap < CLOSEST)
        if not near.any():
            break
        run = np.arange(len(near)) - np.maximum.accumulate(np.where(near, 0, np.arange(len(near))))
        kept = kept[~(near & (run % 2 == 1))]  # every other one of a run, until all lie apart
    if way.distance is None and len(gap) and gap.max() > WIDEST_GAP:
        place = int(np.argmax(gap))
        raise refuse(
            way.file, f"points at most {WIDEST_GAP / 1000:g} km apart", f"{gap[place] / 1000:,.0f} km after point {kept[place] + 1:,}"
        )
    merged = way.altitude.size - len(kept)
    if merged:
        stop = way.others.get("stop")
        others = {name: values[kept] for name, values in way.others.items()}
        if stop is not None:  # a stop at a merged point belongs to the point that stands for it
            others["stop"] = np.add.reduceat(stop, kept)
        part = lambda values: None if values is None else values[kept]
        starts = tuple(sorted({int(np.searchsorted(kept, start)) for start in way.starts} - {len(kept)}))
        changed = {name: part(getattr(way, name)) for name in ("altitude", "distance", "latitude", "longitude")}
        way = dataclasses.replace(way, others=Named(others), starts=starts, **changed)
    return way, np.append(0.0, np.cumsum(gap)), merged


def _between(way: Way, kept: np.ndarray) -> np.ndarray:
    """Lengths on the map from point to point."""
    found = np.empty(max(len(kept) - 1, 0))
    for start in range(0, len(found), profile.BLOCK):  # the formula needs ten numbers a point
        rows = kept[start : start + profile.BLOCK + 1]
        latitude, longitude = way.latitude[rows], way.longitude[rows]
        found[start : start + profile.BLOCK] = geodesy.line(latitude[:-1], longitude[:-1], latitude[1:], longitude[1:]).length
    return found


def _tied(way: Way, distance: np.ndarray, altitude: np.ndarray, known: Any, closed: bool | None) -> tuple[np.ndarray, float, str]:
    """Altitudes without drift, the closing error, and a sentence on it."""
    if known:
        at = _told(way, known)
        if not 0 <= at[0] <= at[-1] <= distance[-1]:
            wrong = at[0] if at[0] < 0 else at[-1]
            raise refuse(way.file, f"known altitudes at distances from 0 to {distance[-1]:.0f} m", f"one at {wrong:g} m")
        error = np.interp(at, distance, altitude) - [known[place] for place in at]
        worst = float(error[np.argmax(np.abs(error))])
        told = f"tied to known altitudes at {len(at)} places, where it was off by up to {worst:+.1f} m"
        return profile.tied(distance, altitude, at, [known[place] for place in at]), worst, told
    if closed is None:
        closed = way.latitude is not None and distance[-1] > SHORTEST_ROUND
        if closed:
            gap = geodesy.line(way.latitude[0], way.longitude[0], way.latitude[-1], way.longitude[-1]).length
            closed = bool(gap < CLOSED)
    if not closed:
        return altitude, np.nan, "the way does not end where it began: a drift of the altitudes, if there is one, is still in them"
    error = float(altitude[-1] - altitude[0])
    left = profile.drift_left(distance[-1] / 2, distance[-1], error)
    told = f"the way ends where it began: a drift of {error:+.1f} m was taken out evenly; half way it may be off by {left:.1f} m"
    return profile.tied(distance, altitude, [0.0, distance[-1]], [altitude[0]] * 2), error, told


def _told(way: Way, known: Any) -> list[float]:
    """The distances at which altitudes are told, in order."""
    try:
        numbers = isinstance(known, Mapping) and np.isfinite(np.array([*known.items()], float)).all()
    except (TypeError, ValueError):
        numbers = False
    if not numbers:
        raise refuse(way.file, "known altitudes as numbers of metres by distance in metres, such as {0.0: 3.0}", show(known))
    return sorted(known)


def _gaps(way: Way, distance: np.ndarray) -> list[str]:
    """Sentences on what the record leaves out."""
    gap, notes = np.diff(distance), []
    between = [gap[start - 1] for start in way.starts if start > 0]
    if between:
        notes.append(f"{len(between) + 1} segments; straight lines bridge gaps of up to {max(between):.0f} m between them")
    if gap.max() > max(100.0, 10 * np.median(gap), *between):  # a gap between segments is told already
        notes.append(f"the longest straight line between two points is {gap.max():.0f} m")
    return notes


def grid(found: Repaired, step: float, parts: bool = False) -> tuple[np.ndarray, int]:
    """Even distances from start to end about a step apart, or the finer ones where the profile is smoothed; and their ratio."""
    count = max(2, round(found.distance[-1] / step))
    if count > MOST_STEPS:
        raise refuse(found.way.file, f"at most {MOST_STEPS:,} steps", f"{count:,}: choose a longer step")
    finer = int(np.clip(np.ceil(found.distance[-1] / count / found.spacing), 1, FINEST))
    return np.linspace(0.0, found.distance[-1], count * (finer if parts else 1) + 1), finer


def smooth(found: Repaired, step: float, smoothing: Any) -> np.ndarray:
    """The altitudes at even steps, for one smoothing length or each of several."""
    fine, finer = grid(found, step, True)
    return profile.smoothed(np.interp(fine, found.distance, found.altitude), fine[1], smoothing)[..., ::finer]


def resampled(found: Repaired, step: float = STEP, smoothing: float | None = None) -> Route:
    """The route at even steps, smoothed as usual if no length is given."""
    smoothing = found.usual if smoothing is None else smoothing
    for name, value, low, high in (("step", step, 0.5, 1000.0), ("smoothing", smoothing, 0.0, 5000.0)):
        if not (isinstance(value, (int, float, np.number)) and low <= value <= high):
            raise ValueError(f"{name} must be a number of metres from {low:g} to {high:g}, got {value!r}")
    way, (at, _) = found.way, grid(found, step)
    altitude = smooth(found, step, smoothing)
    middle, places = (at[1:] + at[:-1]) / 2, {}
    others = {}
    for name, values in way.others.items():
        if name != "stop":
            others[name] = values[_before(found.distance, middle)] if name in OF_STEPS else _least(found.distance, values, at)
    if "stop" in way.others:
        nearest = np.rint(found.distance / at[1]).astype(int)
        others["stop"] = np.bincount(np.minimum(nearest, len(at) - 1), way.others["stop"], len(at))
    if way.latitude is not None:
        places, heading = _course(found, step, smoothing)
        others.setdefault("heading", heading)
    road = at
    if found.on_map:  # the map shows the horizontal run; the road is longer by the rise
        road = np.append(0.0, np.cumsum(np.hypot(np.diff(at), np.diff(altitude))))
    try:
        route = make_route(way.name, way.source, road, altitude, found.notes, **others, **places)
    except ValueError as error:
        raise refuse(way.file, "a profile that a road can have; more smoothing may help", str(error)) from None
    how = f"smoothed over {smoothing:g} m (standard deviation of the Gaussian)" if smoothing else "not smoothed"
    note = f"{how}, at steps of {at[1]:.2f} m"
    if found.noise:
        note += f"; noise leaves ±{100 * found.slope_noise(smoothing, at[1]):.2f} % of slope"
    mended = profile.climb(found.altitude)
    before = f"{found.climb_recorded:.0f} m as recorded, {mended:.0f} m mended" if found.noise else f"{mended:.0f} m as written"
    climbs = f"climb: {before}, {route.climb:.0f} m {'smoothed' if smoothing else 'at these steps'}"
    return dataclasses.replace(route, notes=(*found.notes, note, climbs, *_steep(route)))


def _steep(route: Route) -> list[str]:
    """A warning where a step is steeper than roads are."""
    worst = int(np.argmax(np.abs(route.slope)))
    slope, place = route.slope[worst], route.distance[worst] / 1000
    return [f"steepest step {100 * slope:.0f} %, at {place:.2f} km: hardly a road, look at the file there"] if abs(slope) > STEEPEST else []


def _before(distance: np.ndarray, at: np.ndarray) -> np.ndarray:
    """For each place the point at or before it."""
    return np.clip(np.searchsorted(distance, at, side="right") - 1, 0, len(distance) - 1)


def _least(distance: np.ndarray, values: np.ndarray, at: np.ndarray) -> np.ndarray:
    """The lowest value from each place to the next, so that a short limit of speed is not stepped over."""
    return np.minimum.reduceat(values, _before(distance, at))


def _course(found: Repaired, step: float, smoothing: float) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Coordinates at the points, and the headings of the steps on the course smoothed as the altitudes are."""
    fine, finer = grid(found, step, True)
    places, courses = [], []
    unbroken = found.way.longitude if np.ptp(found.way.longitude) < np.pi else np.unwrap(found.way.longitude)
    for values in (found.way.latitude, unbroken):
        there = np.interp(fine, found.distance, values)
        places.append(there[::finer].copy())
        courses.append(profile.smoothed(there, fine[1], smoothing)[::finer].copy())
    latitude, longitude = courses
    heading = geodesy.line(latitude[:-1], longitude[:-1], latitude[1:], longitude[1:]).heading
    return {"latitude": places[0], "longitude": np.remainder(places[1] + np.pi, 2 * np.pi) - np.pi}, heading
