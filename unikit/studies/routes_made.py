"""Three routes around a harbour town that does not exist: a few lines, a recording with the usual faults, a table with its mapping.

``python -m unikit.studies.routes_made`` writes the example routes of
``data/routes``.  The way over the hill is known exactly before a seeded stream
of chance records it, so whatever cleans recordings can be judged by it.  Town,
roads and altitudes are invented; the coordinates lie in open sea.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from .. import units as u
from ..formulas import geodesy, profile
from ..inputs import Route, make_route
from .bench_files import write

SEED = 24
SEA = np.radians(-44.0), np.radians(-131.5)  # latitude and longitude of the start: open ocean
LENGTH = 12_600.0  # m of the way over the hill, on the map
BEND = 40.0  # m: its slopes are rounded by a Gaussian of this standard deviation
# Kilometres from the start and metres of altitude, with straight slopes between.
HILL = ((0, 3), (1.2, 4), (3.0, 96), (3.8, 104), (4.6, 62), (5.2, 66), (6.4, 148), (7.0, 152), (8.8, 40), (9.6, 44), (10.3, 92), (10.8, 90))
HILL_END = ((12.2, 3), (12.6, 3))

# What the recorder of the hill adds; all invented.
SPACING = 7.0  # m from point to point
NOISE = 0.35  # m, without memory
WANDER, WANDER_LENGTH = 0.5, 400.0  # m: slow errors with a memory
DRIFT = 7.5  # m until the end: the weather changes
SPIKES = 14
HUNG = (5700.0, 420.0)  # m from the start, and length: the sensor repeats itself on the second climb
MISSING = (3300.0, 180.0)  # altitudes left out
LOST = (9850.0, 150.0)  # no points at all: a second segment begins after it
STOOD = (6900.0, 25)  # points recorded while standing at the top
SIDEWAYS, SIDEWAYS_LENGTH = 1.0, 120.0  # m: the position wanders

ROUND = """\
# A made-up route of a few lines: out along the quay, up to the upper town, and back down to the harbour.
format = 1
name = "Harbour round"
source = "invented, as the harbour town of Skarrowmouth is"
altitude = "3 m"
bend = "20 m"
legs = [
  {length = "900 m", slope = "0 %", heading = "80 deg", surface = 1.4, speed_limit = "12 km/h", stop = "20 s"},
  {length = "1.4 km", slope = "0.5 %", heading = "95 deg"},
  {length = "1.1 km", slope = "5.5 %", heading = "20 deg", shelter = "60 %"},
  {length = "350 m", slope = "9 %", heading = "5 deg", shelter = "40 %", stop = "45 s"},
  {length = "1.6 km", slope = "0.8 %", heading = "280 deg", shelter = "50 %"},
  {length = "900 m", slope = "-2 %", heading = "265 deg", surface = 1.8},
  {length = "1.3 km", rise = "-84 m", heading = "190 deg", shelter = "70 %", speed_limit = "15 km/h"},
  {length = "1.2 km", rise = "-9.6 m", heading = "175 deg", speed_limit = "15 km/h"},
]
"""

# A table of a path, as somebody with a measuring wheel might write it down.
PATH_LENGTH, PATH_SPACING, PATH_HEIGHT = 3200.0, 40.0, 46.0  # m
PATH_NOISE = 0.15  # m
ROUGH = (1200.0, 2000.0)  # m: gravel, to be ridden slowly
FORGOTTEN, SLIPPED = 880.0, 2440.0  # m: a height left out, and one written down wrong by 30 m

PATH_MAPPING = """\
# How to read moor_path.csv, a path that nobody measured: which column holds what, in which unit.
format = 1
name = "Moor path"
source = "invented"
delimiter = "semicolon"
decimal = "comma"

[columns.distance] # along the road; or latitude and longitude
column = "km"
unit = "km"

[columns.altitude] # an empty cell is a missing altitude
column = "height / m"
unit = "m"

[columns.surface] # rolling coefficient over that of the build, from this row on
column = "roughness"
unit = "%"

[columns.speed_limit] # from this row on; an empty cell is none
column = "at most / (km/h)"
unit = "km/h"
"""


def hill(step: u.Metre = 10.0) -> Route:
    """The way over the hill as it is, before anyone records it."""
    north, east, altitude, at = _hill(step)
    place = geodesy.place(*SEA, north, east)
    heading = np.arctan2(np.diff(east), np.diff(north)) % (2 * np.pi)
    road = np.append(0.0, np.cumsum(np.hypot(np.diff(at), np.diff(altitude))))
    where = {"latitude": place.latitude, "longitude": place.longitude}
    return make_route("Over the hill", "invented", road, altitude, ("known exactly",), heading=heading, **where)


def _hill(step: float) -> tuple[np.ndarray, ...]:
    """North, east, altitude and distance on the map along the way over the hill."""
    turn = np.linspace(0, 2 * np.pi, 40_001)
    radius = 1 + 0.28 * np.cos(2 * turn + 0.6) + 0.13 * np.sin(3 * turn)  # a closed line that winds a little
    x, y = radius * np.cos(turn), radius * np.sin(turn)
    along = np.append(0.0, np.cumsum(np.hypot(np.diff(x), np.diff(y))))
    size = LENGTH / along[-1]
    at = np.linspace(0.0, LENGTH, round(LENGTH / step) + 1)
    north, east = (np.interp(at, size * along, size * (values - values[0])) for values in (x, y))
    knots = np.array(HILL + HILL_END, float)
    fine = np.linspace(0.0, LENGTH, 12_601)
    altitude = profile.smoothed(np.interp(fine, 1000 * knots[:, 0], knots[:, 1]), fine[1], BEND)
    return north, east, np.interp(at, fine, altitude), at


def _wandering(stream: np.random.Generator, count: int, deviation: float, length: float) -> np.ndarray:
    """First-order noise along the way."""
    from scipy.signal import lfilter

    decay = np.exp(-SPACING / length)
    fresh = stream.normal(size=count)
    fresh[1:] *= np.sqrt(1 - decay**2)
    return deviation * lfilter([1.0], [1.0, -decay], fresh)


def recording(seed: int = SEED) -> str:
    """The way over the hill as GPX 1.1, as a recorder with the usual faults would have it."""
    stream = np.random.default_rng(seed)
    north, east, altitude, at = _hill(SPACING)
    count = len(at)
    north, east = (values + _wandering(stream, count, SIDEWAYS, SIDEWAYS_LENGTH) for values in (north, east))
    recorded = altitude + NOISE * stream.normal(size=count) + _wandering(stream, count, WANDER, WANDER_LENGTH) + DRIFT * at / LENGTH
    inside = lambda stretch: (at >= stretch[0]) & (at < sum(stretch))
    hung = np.flatnonzero(inside(HUNG))
    recorded[hung] = recorded[hung[0]]
    free = np.flatnonzero(~inside((HUNG[0] - 100, HUNG[1] + 200)) & ~inside(MISSING) & ~inside(LOST))
    spikes = stream.choice(free[5:-5:5], SPIKES, replace=False)
    recorded[spikes] += stream.choice([-1.0, 1.0], SPIKES) * stream.uniform(8.0, 40.0, SPIKES)
    place = geodesy.place(*SEA, north, east)
    latitude, longitude = np.degrees(place.latitude), np.degrees(place.longitude)
    rows, missing, lost = [], inside(MISSING), inside(LOST)
    stood = int(STOOD[0] / at[1])
    for row in range(count):
        if lost[row]:
            if not lost[row - 1]:
                rows += ["</trkseg>", "<trkseg>"]
            continue
        height = "" if missing[row] else f"<ele>{recorded[row]:.1f}</ele>"
        rows += [f'<trkpt lat="{latitude[row]:.7f}" lon="{longitude[row]:.7f}">{height}</trkpt>'] * (STOOD[1] if row == stood else 1)
    return "\n".join(
        [
            '<?xml version="1.0" encoding="UTF-8"?>',
            '<gpx version="1.1" creator="unikit.studies.routes_made" xmlns="http://www.topografix.com/GPX/1/1">',
            "<metadata><desc>Computed, invented: no such place, no such ride; the coordinates lie in open sea.</desc></metadata>",
            "<trk>",
            "<name>Over the hill</name>",
            "<trkseg>",
            *rows,
            "</trkseg>",
            "</trk>",
            "</gpx>",
            "",
        ]
    )


def path(seed: int = SEED) -> str:
    """A table of the path over the moor."""
    at = np.arange(0.0, PATH_LENGTH + 1, PATH_SPACING)
    height = 8 + PATH_HEIGHT * np.sin(1.5 * np.pi * at / PATH_LENGTH) ** 2 + PATH_NOISE * np.random.default_rng(seed).normal(size=at.size)
    height[at == SLIPPED] += 30
    rows = ["km;height / m;roughness;at most / (km/h)"]
    for place, altitude in zip(at, height, strict=True):
        rough = ROUGH[0] <= place < ROUGH[1]
        told = "" if place == FORGOTTEN else f"{altitude:.1f}"
        rows.append(f"{place / 1000:.2f};{told};{180 if rough else 100};{10 if rough else ''}".replace(".", ","))
    return "\n".join([*rows, ""])


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the example routes into a folder, by default ``data/routes``."""
    given = sys.argv[1:] if arguments is None else arguments
    folder = Path(given[0] if given else "data/routes")
    made = write({"harbour_round.toml": ROUND, "over_the_hill.gpx": recording()}, folder)
    for file in made + write({"moor_path.csv": path(), "moor_path.toml": PATH_MAPPING}, folder / "tables"):
        print(f"{file}: written")
    return 0


if __name__ == "__main__":
    sys.exit(main())
