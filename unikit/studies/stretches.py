"""A ride log cut into stretches: for each, the integrals that an energy balance needs.

A stretch never crosses the end of an unbroken piece of the log.  Integrals are
sums of trapezoids between the log's own rows, and neighbouring stretches share
the row between them, so that sums over stretches are those of the whole log.
Speed and distance are negative while the wheel rolls back.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, fields, replace

import numpy as np

from .. import units as u
from ..formulas import geodesy
from ..inputs.ride_logs import Progress, RideLog, RideStream
from .results import Result, shown

STANDING_SPEED = 0.5  # m/s; slower is standing: wheel sensors report little of use below it, common practice, no source
SHORTEST_STAND = 3.0  # s; a shorter halt stays within its stretch
LONGEST = 3600.0  # s; of a stretch that is cut by its length, so that standing cannot make it endless
POSITION_STEP = 20.0  # m of road between positions that are joined: closer ones add their scatter, farther ones cut corners
STEADY = 0.05  # usual standard deviation of speed over its mean up to which a stretch is steady


@dataclass(frozen=True)
class Stretches(Result):
    """One entry a stretch, in the order of time; None for what the log does not hold, nan where it is unknown for a while.

    In the integrals v is speed, h the heading and dt the time.
    """

    name: str
    steady_share: float
    start: u.Second = shown("start", "s", 1)
    duration: u.Second = shown("duration", "s", 1)
    distance: u.Metre = shown("distance", "m", 1)  # integral of v dt
    mean_speed: u.MetrePerSecond = shown("mean speed", "km/h", 2)
    start_speed: u.MetrePerSecond = shown("speed at the start", "km/h", 2)
    end_speed: u.MetrePerSecond = shown("speed at the end", "km/h", 2)
    speed_variation: u.Ratio = shown("speed variation", "%", 1)  # standard deviation over mean; inf while standing
    speed_squared: u.SpeedSquaredSecond = shown("v² dt", "m^2/s", 1)
    speed_cubed: u.SpeedCubedSecond = shown("v³ dt", "m^3/s^2", 1)
    standing: np.ndarray = shown("standing")
    steady: np.ndarray = shown("steady")
    standing_share: u.Ratio = shown("time standing", "%", 1)
    rows: np.ndarray = shown("rows")  # first and last included
    largest_gap: u.Second = shown("longest interval", "s", 2)
    piece: np.ndarray = shown("piece")
    stated_distance: u.Metre | None = shown("distance by its column", "m", 1)
    altitude_change: u.Metre | None = shown("altitude change", "m", 2)
    slope_rise: u.Metre | None = shown("rise by the slope's column", "m", 2)  # integral of v sin(atan slope) dt
    position_distance: u.Metre | None = shown("distance by positions", "m", 1)  # straight lines over POSITION_STEP of road
    pedal_work: u.Joule | None = shown("pedal work", "Wh", 3)  # driving less braking
    braking_work: u.Joule | None = shown("braking work of the legs", "Wh", 3)  # where pedal power is negative, as a positive number
    motor_torque: u.NewtonMetre | None = shown("mean motor torque along the way", "N*m", 2)  # times distance over wheel radius is its work
    electrical_work: u.Joule | None = shown("electrical work", "Wh", 3)  # integral of U I dt
    fed_back_work: u.Joule | None = shown("electrical work fed back", "Wh", 3)  # where battery power is negative, as a positive number
    charge: u.Coulomb | None = shown("charge", "Ah", 4)
    current_squared: u.AmpereSquaredSecond | None = shown("I² dt", "A^2*s", 1)
    winding_temperature: u.Kelvin | None = shown("mean winding temperature", "degC", 1)
    air_temperature: u.Kelvin | None = shown("mean air temperature", "degC", 1)
    heading: u.Radian | None = shown("mean heading", "deg", 0)  # weighted by the way; nan while standing
    way_north: u.Metre | None = shown("v cos(h) dt", "m", 1)
    way_east: u.Metre | None = shown("v sin(h) dt", "m", 1)
    way_north_north: u.Metre | None = shown("v cos²(h) dt", "m", 1)
    way_north_east: u.Metre | None = shown("v cos(h) sin(h) dt", "m", 1)
    speed_squared_north: u.SpeedSquaredSecond | None = shown("v² cos(h) dt", "m^2/s", 1)
    speed_squared_east: u.SpeedSquaredSecond | None = shown("v² sin(h) dt", "m^2/s", 1)
    air_speed_work: u.SpeedCubedSecond | None = shown("(v + w)|v + w| v dt", "m^3/s^2", 1)  # w the measured head wind

    def __len__(self) -> int:
        return len(self.start)

    @property
    def moving(self) -> np.ndarray:
        """Which are not standing."""
        return ~self.standing

    @property
    def speed_squared_change(self) -> np.ndarray:
        """Square of the speed at the end less that at the start; times half the mass it is the change of kinetic energy."""
        return self.end_speed**2 - self.start_speed**2

    def pick(self, chosen: np.ndarray) -> Stretches:
        """Those that a mask or indices choose."""
        return replace(self, **{item: value[chosen] for item, value in arrays(self).items()})


def arrays(stretches: Stretches) -> dict[str, np.ndarray]:
    """The columns that are there, by field name."""
    values = {item.name: getattr(stretches, item.name) for item in fields(Stretches)}
    return {name: value for name, value in values.items() if isinstance(value, np.ndarray)}


def cut(log: RideLog, time: u.Second | None = None, *, length: u.Metre | None = None, steady: u.Ratio = STEADY) -> Stretches:
    """Cut a log into stretches of a time or of a length of road, whichever is given.

    Standing for at least ``SHORTEST_STAND`` is a stretch of its own.  A stretch
    ends with the first row at or beyond what was asked; what is left before a
    halt or the end of a piece is a shorter one.
    """
    check_cut(time, length, steady)
    _check_speed(log.name, log.values)
    return _integrate(log, list(_bounds(log, time, length)), steady)


def stretches_of(
    path: str | os.PathLike[str],
    mapping_path: str | os.PathLike[str],
    time: u.Second | None = None,
    *,
    length: u.Metre | None = None,
    steady: u.Ratio = STEADY,
    progress: Progress | None = None,
) -> tuple[Stretches, tuple[str, ...]]:
    """Stretches of a ride log's file, and the notes of its reading, without ever holding the whole log.

    They are those that :func:`cut` makes of the whole log.
    """
    check_cut(time, length, steady)
    stream = RideStream(path, mapping_path, progress=progress)
    _check_speed(stream.layout.name, stream.layout.columns)
    parts, rest, halted = [], None, False
    for part in stream:
        rest = part if rest is None else _extended(rest, part)
        settled = [bound for bound in _bounds(rest, time, length, halted) if rest["time"][bound[1]] <= rest["time"][-1] - SHORTEST_STAND]
        if settled:
            parts.append(_integrate(rest, settled, steady))
            _, end, halted = settled[-1]
            rest = _from(rest, end)
    parts.append(_integrate(rest, list(_bounds(rest, time, length, halted)), steady))
    return join(parts), stream.notes


def _extended(log: RideLog, more: RideLog) -> RideLog:
    values = {name: np.concatenate([log[name], more[name]]) for name in log.values}
    return replace(log, values=values, piece=np.concatenate([log.piece, more.piece]))


def _from(log: RideLog, row: int) -> RideLog:
    return replace(log, values={name: values[row:] for name, values in log.values.items()}, piece=log.piece[row:])


def _check_speed(name: str, quantities: Collection[str]) -> None:
    if "speed" not in quantities:
        raise ValueError(f"log {name!r} has no speed, which stretches need; it holds {', '.join(quantities)}")


def check_cut(time: float | None, length: float | None, steady: float) -> None:
    """Refuse what cannot be cut by."""
    asked = [(value, unit) for value, unit in ((time, "s"), (length, "m")) if value is not None]
    if len(asked) != 1:
        raise ValueError(f"cut by a time or by a length, got {'both' if asked else 'neither'}")
    value, unit = asked[0]
    if not value > 0:
        raise ValueError(f"cut by a time or by a length above 0 {unit}, got {value:g} {unit}")
    if not 0 <= steady <= 1:
        raise ValueError(f"steady must be a share from 0 to 1, got {steady}")


def _bounds(log: RideLog, time: float | None, length: float | None, halted: bool = False) -> Iterator[tuple[int, int, bool]]:
    """First and last row of each stretch, and whether it is one of standing; ``halted`` if the log begins amid a long halt."""
    clock, speed = log["time"], log["speed"]
    slow = np.abs(speed) < STANDING_SPEED
    way = _way(log)
    for first, last in _pieces(log.piece):
        for begin, end, standing in _runs(clock, slow, first, last, halted and first == 0):
            at = begin
            while at < end:
                if length is None:
                    beyond = np.searchsorted(clock, clock[at] + time * (1 - 1e-9))
                else:
                    beyond = np.searchsorted(way, way[at] + length * (1 - 1e-9))
                    beyond = min(beyond, np.searchsorted(clock, clock[at] + LONGEST))
                stop = min(max(int(beyond), at + 1), end)
                yield at, stop, standing
                at = stop


def _way(log: RideLog) -> np.ndarray:
    """Road that was passed, forward or backward, up to each row."""
    speed = np.abs(log["speed"])
    return np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(log["time"]))])


def _pieces(piece: np.ndarray) -> list[tuple[int, int]]:
    """First and last row of each unbroken piece."""
    ends = np.flatnonzero(np.diff(piece))
    return list(zip([0, *(ends + 1)], [*ends, len(piece) - 1], strict=True)) if len(piece) else []


def _runs(clock: np.ndarray, slow: np.ndarray, first: int, last: int, halted: bool) -> Iterator[tuple[int, int, bool]]:
    """Moving and standing by turns within a piece; a halt shorter than ``SHORTEST_STAND`` counts as moving."""
    stands = slow[first:last] & slow[first + 1 : last + 1]  # of the intervals
    edges = [0, *(np.flatnonzero(np.diff(stands)) + 1), len(stands)]
    begin, standing = first, None
    for left, right in zip(edges[:-1], edges[1:], strict=True):
        if left == right:
            return
        long = clock[first + right] - clock[first + left] >= SHORTEST_STAND * (1 - 1e-9) or (halted and left == 0)
        held = bool(stands[left]) and long
        if standing is not None and held != standing:
            yield begin, first + left, standing
            begin = first + left
        standing = held
    yield begin, last, bool(standing)


def _integrate(log: RideLog, bounds: list[tuple[int, int, bool]], steady: float) -> Stretches:
    begin, end = (np.array([bound[place] for bound in bounds], int) for place in (0, 1))
    standing = np.array([bound[2] for bound in bounds], bool)
    clock, speed = log["time"], log["speed"]
    interval = np.diff(clock)

    def total(each: np.ndarray) -> np.ndarray:
        """Sum of what belongs to intervals."""
        if not len(begin):
            return np.empty(0)
        return np.add.reduceat(np.append(each, 0.0), np.column_stack([begin, end]).ravel())[::2]

    def integral(integrand: np.ndarray) -> np.ndarray:
        return total(0.5 * (integrand[1:] + integrand[:-1]) * interval)

    def of(integrand: str, *needed: str) -> np.ndarray | None:
        """The integral of an expression of ``_INTEGRANDS``, if the log holds what it needs."""
        return integral(_INTEGRANDS[integrand](speed, *(log[name] for name in needed))) if all(name in log for name in needed) else None

    def change(quantity: str) -> np.ndarray | None:
        return log[quantity][end] - log[quantity][begin] if quantity in log else None

    duration, distance, squared = clock[end] - clock[begin], integral(speed), integral(speed**2)
    mean = distance / duration
    spread = np.sqrt(np.maximum(squared / duration - mean**2, 0.0))
    variation = np.divide(spread, np.abs(mean), out=np.full(len(mean), np.inf), where=~standing & (mean != 0))
    slow = np.abs(speed) < STANDING_SPEED
    with np.errstate(invalid="ignore", divide="ignore"):
        torque = of("along the way", "motor_torque")
        torque = None if torque is None else torque / np.where(distance == 0, np.nan, distance)
    north, east = of("north", "heading"), of("east", "heading")
    heading = None if north is None else np.where(standing, np.nan, np.mod(np.arctan2(east, north), 2 * np.pi))
    means = {name: None if name not in log else integral(log[name]) / duration for name in ("winding_temperature", "air_temperature")}
    return Stretches(
        name=log.name,
        steady_share=steady,
        start=clock[begin],
        duration=duration,
        distance=distance,
        mean_speed=mean,
        start_speed=speed[begin],
        end_speed=speed[end],
        speed_variation=variation,
        speed_squared=squared,
        speed_cubed=integral(speed**3),
        standing=standing,
        steady=variation <= steady,
        standing_share=total(interval * (slow[1:] & slow[:-1])) / duration,
        rows=end - begin + 1,
        largest_gap=np.array([interval[left:right].max() for left, right in zip(begin, end, strict=True)]),
        piece=log.piece[begin],
        stated_distance=change("distance"),
        altitude_change=change("altitude"),
        slope_rise=of("rise", "slope"),
        position_distance=_by_positions(log, begin, end) if "latitude" in log and "longitude" in log else None,
        pedal_work=of("itself", "pedal_power"),
        braking_work=of("negative", "pedal_power"),
        motor_torque=torque,
        electrical_work=of("product", "battery_voltage", "battery_current"),
        fed_back_work=of("negative product", "battery_voltage", "battery_current"),
        charge=of("itself", "battery_current"),
        current_squared=of("square", "battery_current"),
        **means,
        heading=heading,
        way_north=north,
        way_east=east,
        way_north_north=of("north north", "heading"),
        way_north_east=of("north east", "heading"),
        speed_squared_north=of("squared north", "heading"),
        speed_squared_east=of("squared east", "heading"),
        air_speed_work=of("through the air", "head_wind"),
    )


def _by_positions(log: RideLog, begin: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Length of the straight lines between positions ``POSITION_STEP`` of road apart, and the last one of each stretch."""
    latitude, longitude, way, found = log["latitude"], log["longitude"], _way(log), np.full(len(begin), np.nan)
    for number, (first, last) in enumerate(zip(begin, end, strict=True)):
        marks = np.searchsorted(way, np.arange(way[first], way[last], POSITION_STEP))
        rows = np.unique(np.concatenate([marks, [first, last]]))
        here = latitude[rows], longitude[rows]
        if np.all(np.abs(here[0]) <= geodesy.LARGEST_LATITUDE) and np.isfinite(here[1]).all():
            found[number] = geodesy.line(here[0][:-1], here[1][:-1], here[0][1:], here[1][1:]).length.sum()
    return found


_INTEGRANDS: Mapping = {
    "itself": lambda v, x: x,
    "negative": lambda v, x: np.maximum(-x, 0.0),
    "square": lambda v, x: x**2,
    "product": lambda v, x, y: x * y,
    "negative product": lambda v, x, y: np.maximum(-x * y, 0.0),
    "along the way": lambda v, x: v * x,
    "rise": lambda v, slope: v * slope / np.sqrt(1 + slope**2),
    "north": lambda v, h: v * np.cos(h),
    "east": lambda v, h: v * np.sin(h),
    "north north": lambda v, h: v * np.cos(h) ** 2,
    "north east": lambda v, h: v * np.cos(h) * np.sin(h),
    "squared north": lambda v, h: v**2 * np.cos(h),
    "squared east": lambda v, h: v**2 * np.sin(h),
    "through the air": lambda v, w: (v + w) * np.abs(v + w) * v,
}


def join(parts: list[Stretches]) -> Stretches:
    """Stretches of one log that were cut one part after another."""
    first = parts[0]
    return replace(first, **{name: np.concatenate([getattr(part, name) for part in parts]) for name in arrays(first)})
