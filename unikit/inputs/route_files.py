"""Files of routes: GPX 1.1, tables with declared columns, and made-up routes of a few lines."""

from __future__ import annotations

import csv
import dataclasses
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

import numpy as np

from .. import units as u
from .columns import Column, Declared, read_table, refuse
from .errors import InputError, show
from .fields import Named, field, nearest
from .gpx import LARGEST_LATITUDE, read_gpx
from .reading import Reader, label, read_toml
from .records import Part
from .route import Route, make_route
from .route_repair import OF_STEPS, STEP, Repaired, Way, as_written, repaired, resampled
from .spreads import Spread
from .writing import write_text

FORMAT = 1
BEND = 20.0  # m: smoothing of the bends between the slopes of a made-up route
MOST_LEGS = 1000
MOST_RISE = 0.45  # m in a metre of road, which is the steepest slope of 0.5

# What a column may hold, with its kind of unit.
QUANTITIES: dict[str, str] = {
    "distance": "length",
    "altitude": "length",
    "latitude": "angle",
    "longitude": "angle",
    "heading": "angle",
    "surface": "ratio",
    "shelter": "ratio",
    "speed_limit": "speed",
    "stop": "time",
}
_MAY_MISS = ("altitude", "heading", "speed_limit", "stop", "surface", "shelter")
_USUAL = {"heading": np.nan, "speed_limit": np.inf, "stop": 0.0, "surface": 1.0, "shelter": 1.0}  # for an empty cell
_NAMES = ("format", "name", "source", "note", "delimiter", "decimal", "columns")
# The columns of our own tables of routes, each with its unit.
OWN = {
    "distance": ("distance [m]", "m"),
    "altitude": ("altitude [m]", "m"),
    "heading": ("heading [deg]", "deg"),
    "surface": ("surface", ""),
    "shelter": ("shelter", ""),
    "speed_limit": ("speed limit [m/s]", "m/s"),
    "stop": ("stop [s]", "s"),
    "latitude": ("latitude [deg]", "deg"),
    "longitude": ("longitude [deg]", "deg"),
}

record = dataclass(frozen=True, kw_only=True, eq=False, repr=False)


@record
class Leg(Part):
    """One leg of a made-up route."""

    table: ClassVar[str] = "legs"
    length: u.Metre = field("length along the road", low=1, high=200e3)
    slope: u.Slope | None = field("rise over horizontal run", low=-0.5, high=0.5, unit="%", default=None)
    rise: u.Metre | None = field("rise from its start to its end; instead of the slope", low=-3000, high=3000, default=None)
    heading: u.Radian | None = field("direction of travel, clockwise from north", low=0, high=2 * np.pi, unit="deg", default=None)
    surface: u.Ratio = field("rolling coefficient over that of the build", low=0.2, high=20, default=1.0)
    shelter: u.Ratio = field("share of the wind that reaches the rider", low=0, high=1, default=1.0)
    speed_limit: u.MetrePerSecond | None = field("greatest speed", low=0.5, high=30, unit="km/h", default=None)
    stop: u.Second = field("time to stand at its end", low=0, high=86400, default=0.0)


@record
class _Head(Part):
    """What stands above the legs."""

    format: u.Number = field("number of the file format", low=FORMAT, high=FORMAT, whole=True)
    name: str = field("name of the route")
    source: str = field("where it comes from")
    altitude: u.Metre = field("altitude of the start", low=-430, high=5000)
    bend: u.Metre = field("smoothing of the bends between the slopes", low=0, high=500, default=BEND)
    spreads: Mapping[str, Spread] = field("what is refused: a route has no spreads", default=Named())


def _wrong_rise(leg: Leg) -> tuple[str, str, str] | None:
    """What is wrong between slope, rise and length: field, expected, found."""
    if (leg.slope is None) == (leg.rise is None):
        return "slope", "either a slope or a rise", "neither" if leg.slope is None else "both"
    if leg.rise is not None and abs(leg.rise) > MOST_RISE * leg.length:
        return "rise", f"at most {MOST_RISE:g} m in a metre of road", f"{abs(leg.rise) / leg.length:.2f} m"
    return None


def load_route(
    path: str | os.PathLike[str],
    mapping: str | os.PathLike[str] | None = None,
    *,
    step: u.Metre = STEP,
    smoothing: u.Metre | None = None,
    known: Mapping[float, float] | None = None,
    closed: bool | None = None,
    part: str | None = None,
) -> Route:
    """Read a route from a file ``.gpx``, ``.csv`` or ``.toml``.

    Recordings are mended, smoothed and told of in ``notes``. A table without a
    mapping is one that :func:`save_route` wrote: it is taken as it stands, as is
    a made-up route but for its bends.

    Args:
        path: the file.
        mapping: the file that declares the columns of a table.
        step: length of the steps.
        smoothing: standard deviation of the Gaussian that smooths altitudes; 30 m for recordings, ``bend`` for made-up routes if left out.
        known: known altitudes by distance from the start, where the drift of a barometer is taken out.
        closed: whether the way ends where it began; by the coordinates if left out.
        part: name of the track or route of a GPX file; the one with the most points if left out.

    Raises :class:`InputError` that names file, place, value and what was expected.
    """
    if _suffix(path) == ".csv" and mapping is None:
        return _own_table(path)
    return resampled(read_route(path, mapping, known=known, closed=closed, part=part), step, smoothing)


def read_route(
    path: str | os.PathLike[str],
    mapping: str | os.PathLike[str] | None = None,
    *,
    known: Mapping[float, float] | None = None,
    closed: bool | None = None,
    part: str | None = None,
) -> Repaired:
    """A route before it is brought to even steps, with all that was mended; arguments as in :func:`load_route`."""
    suffix = _suffix(path)
    if suffix == ".toml":
        return as_written(*_made_up(path))
    if suffix == ".csv" and mapping is None:
        route = _own_table(path)
        others = {name: getattr(route, name) for name in ("heading", "surface", "shelter", "speed_limit", "stop")}
        others |= {name: np.append(others[name], others[name][-1]) for name in OF_STEPS}
        places = {"latitude": route.latitude, "longitude": route.longitude}
        return as_written(Way(label(path), route.name, route.source, route.altitude, route.distance, others=Named(others), **places), 0.0)
    way = _recorded(path, part) if suffix == ".gpx" else _table(path, mapping)
    return repaired(way, known, closed)


def _suffix(path: str | os.PathLike[str]) -> str:
    suffix = Path(path).suffix.lower()
    if suffix not in (".gpx", ".csv", ".toml"):
        raise refuse(
            label(path), "a file .gpx, .csv or .toml", f"one that ends in {show(suffix)}" if suffix else "a name without an ending"
        )
    return suffix


def _recorded(path: str | os.PathLike[str], wanted: str | None) -> Way:
    """The chosen track or route of a GPX file."""
    found = read_gpx(path)
    lone = f"; {found.waypoints:,} lone point{'s' * (found.waypoints != 1)} cannot be ridden" if found.waypoints else ""
    if not found.parts:
        raise refuse(found.file, "a track or route with points", "none" + lone)
    names = ", ".join(show(part.name) for part in found.parts[:8])
    chosen = [part for part in found.parts if wanted in (None, part.name)]
    if not chosen:
        raise refuse(found.file, f"a track or route named {show(wanted)}", names)
    part = max(chosen, key=lambda one: len(one.latitude))
    notes = [f"{len(found.parts)} tracks and routes ({names}): read is the one with the most points"] if len(chosen) > 1 else []
    notes += [f"{found.waypoints:,} lone points were passed over"] if found.waypoints else []
    latitude, longitude, altitude = part.arrays()
    starts = tuple(sorted({start for start in part.starts if start < len(latitude)}))
    name, source = part.name or Path(path).stem, f"{part.kind} of {Path(path).name}"
    return Way(found.file, name, source, altitude, None, np.radians(latitude), np.radians(longitude), starts=starts, notes=tuple(notes))


# -- tables ------------------------------------------------------------------------


def _table(path: str | os.PathLike[str], mapping: str | os.PathLike[str]) -> Way:
    """A table as its mapping declares it."""
    name, source, delimiter, decimal, columns = _mapping(mapping)
    table = read_table(path, _may_miss(columns), delimiter, decimal)
    values, file = _filled(table.values), table.file
    distance = values.pop("distance", None)
    if distance is not None:
        back = np.flatnonzero(np.diff(distance) < 0)
        if len(back):
            line, column = table.lines[back[0] + 1], columns["distance"].column
            raise refuse(f"{file}:{line}", "distances that do not fall", "a shorter one", column, f"{distance[back[0] + 1]:.6g} m")
        distance = distance - distance[0]
    places = _places(values, file)
    return Way(file, name, source, values.pop("altitude"), distance, others=Named(values), **places)


def _mapping(path: str | os.PathLike[str]) -> tuple[str, str, str, str, dict[str, Column]]:
    """Name, source, separators and columns that a mapping declares."""
    table, declared = read_toml(path), Declared(label(path))
    declared.only(table, _NAMES)
    if table.get("format") != FORMAT:
        declared.wrong("format", table.get("format"), f"format = {FORMAT}", show(table.get("format")))
    texts = [declared.text(table, name) for name in ("name", "source")]
    separators, entries, found = declared.separators(table), table.get("columns"), {}
    if not isinstance(entries, Mapping):
        declared.wrong(
            "columns", None, "a table [columns.altitude] and one for each other quantity", show(entries) if entries else "nothing"
        )
        entries = {}
    for quantity, entry in entries.items():
        place = f"columns.{quantity}"
        if quantity not in QUANTITIES:
            declared.wrong(place, None, f"one of {', '.join(QUANTITIES)}", f"an unknown quantity{nearest(quantity, QUANTITIES)}")
            continue
        column = declared.column(entry, QUANTITIES[quantity], place, ("column", "unit", "sign"))
        if column:
            found[quantity] = column
    declared.once(found, "columns")
    whole = "altitude" in entries and ("distance" in entries or {"latitude", "longitude"} <= set(entries))
    if entries and not whole:
        declared.wrong("columns", None, "altitude, and distance or latitude and longitude", ", ".join(entries))
    elif len({"latitude", "longitude"} & set(entries)) == 1:
        declared.wrong("columns", None, "latitude and longitude together", "one of them")
    declared.done()
    return *texts, *separators, found


def _may_miss(columns: Mapping[str, Column]) -> dict[str, Column]:
    """The columns of a table, with empty cells allowed where a value may be missing."""
    return {name: dataclasses.replace(column, missing=("",)) if name in _MAY_MISS else column for name, column in columns.items()}


def _filled(values: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """The columns of a table with the usual value in empty cells; headings from 0 to below a turn."""
    found = {name: np.where(np.isnan(value), _USUAL.get(name, np.nan), value) for name, value in values.items()}
    if "heading" in found:
        found["heading"] = np.remainder(found["heading"], 2 * np.pi)
    return found


def _places(values: dict[str, np.ndarray], file: str) -> dict[str, np.ndarray]:
    """Latitude and longitude, taken out of the columns of a table."""
    places = {name: values.pop(name) for name in ("latitude", "longitude") if name in values}
    for (name, value), most in zip(places.items(), (LARGEST_LATITUDE, 180.0), strict=False):
        if np.abs(value).max() > np.radians(most) + 1e-12:
            raise refuse(file, f"degrees from -{most:g} to {most:g}", f"{np.degrees(value[np.argmax(np.abs(value))]):.6g}", name)
    return places


def _own_table(path: str | os.PathLike[str]) -> Route:
    """A table that :func:`save_route` wrote."""
    file, header = label(path), None
    try:
        with open(path, encoding="utf-8-sig", newline="") as handle:
            header = [name.strip() for name in next(csv.reader([handle.readline(4096)]), [])]
    except (OSError, UnicodeDecodeError, csv.Error):
        pass  # read_table says what is wrong
    columns = {name: Column(title, unit, 1, QUANTITIES[name]) for name, (title, unit) in OWN.items() if header is None or title in header}
    if header is not None and not {"distance", "altitude"} <= set(columns):
        expected = "the columns 'distance [m]' and 'altitude [m]', or a mapping that declares others"
        raise refuse(f"{file}:1", expected, ", ".join(map(show, header[:12])) or "nothing")
    values = _filled(read_table(path, _may_miss(columns), ",", ".").values)
    places = _places(values, file)
    steps = {name: values.pop(name)[:-1] for name in OF_STEPS if name in values}  # the last row has no step after it
    try:
        return make_route(Path(path).stem, f"table {Path(path).name}", **values, **steps, **places)
    except ValueError as error:
        raise refuse(file, "a route", str(error)) from None


def save_route(route: Route, path: str | os.PathLike[str], overwrite: bool = False) -> None:
    """Write a route as a table that :func:`load_route` reads back; name, source and notes stay behind.

    Each row is a point; heading, surface and shelter are those of the step that begins there. An
    existing file is kept unless ``overwrite`` is asked for.
    """
    if Path(path).suffix.lower() != ".csv":
        raise refuse(label(path), "the name of a file .csv", "another ending")
    texts, titles = [], []
    for name, (title, unit) in OWN.items():
        values = getattr(route, name)
        if values is None:
            continue
        values = np.append(values, values[-1]) if name in OF_STEPS else values
        shown = u.convert(values, QUANTITIES[name], u.KINDS[QUANTITIES[name]].base, unit)
        texts.append(["" if not np.isfinite(value) else repr(value) for value in np.asarray(shown, float).tolist()])
        titles.append(title)
    write_text("\n".join([",".join(titles), *map(",".join, zip(*texts, strict=True))]) + "\n", path, overwrite)


# -- made-up routes ----------------------------------------------------------------


def _made_up(path: str | os.PathLike[str]) -> tuple[Way, float]:
    """A route of a few lines, and the smoothing of its bends."""
    table, file = dict(read_toml(path)), label(path)
    reader, given = Reader(file), table.pop("legs", None)
    head = reader.record(_Head, table, "")
    legs: list[Any] = []
    if not isinstance(given, list) or not 1 <= len(given) <= MOST_LEGS:
        found = "nothing, it is missing" if given is None else f"{len(given)} of them" if isinstance(given, list) else show(given)
        reader.complain("legs", None, f"1 to {MOST_LEGS} tables [[legs]], each with length and slope or rise", found)
    else:
        legs = [reader.record(Leg, leg, f"legs[{place}]") for place, leg in enumerate(given, 1)]
        for place, leg in enumerate(legs, 1):
            if isinstance(leg, Leg) and (wrong := _wrong_rise(leg)):
                reader.complain(f"legs[{place}].{wrong[0]}", None, *wrong[1:])
    if reader.spreads:
        reader.complain(next(iter(reader.spreads)), None, "a number without a spread", "a spread")
    if reader.problems:
        raise InputError(reader.problems)
    rise = np.array([leg.rise if leg.slope is None else leg.length * leg.slope / np.hypot(1, leg.slope) for leg in legs])
    distance = np.append(0.0, np.cumsum([leg.length for leg in legs]))
    values = lambda name, usual: [usual if getattr(leg, name) is None else getattr(leg, name) for leg in legs]
    others = {name: np.array([*(row := values(name, usual)), row[-1]]) for name, usual in _USUAL.items() if name != "stop"}
    others["stop"] = np.array([0.0, *values("stop", 0.0)])
    altitude = head.altitude + np.append(0.0, np.cumsum(rise))
    notes = (f"made up of {len(legs)} legs",)
    return Way(file, head.name, head.source, altitude, distance, others=Named(others), notes=notes), head.bend
