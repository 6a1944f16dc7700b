"""Texts of route files for tests: GPX from arrays, and a mapping of a table."""

import numpy as np

from unikit.formulas import geodesy

NAMESPACE = "http://www.topografix.com/GPX/1/1"
HEAD = f'<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="tests" xmlns="{NAMESPACE}">'
MAPPING = """
format = 1
name = "Trial"
source = "invented"
delimiter = "semicolon"
decimal = "comma"
[columns.distance]
column = "km"
unit = "km"
[columns.altitude]
column = "height"
unit = "ft"
[columns.speed_limit]
column = "limit"
unit = "km/h"
[columns.stop]
column = "wait"
unit = "min"
"""


def points(latitude, longitude, altitude=None, tag="trkpt"):
    """Points in degrees and metres; no elevation where it is None or nan."""
    rows = []
    for row, (north, east) in enumerate(zip(latitude, longitude, strict=True)):
        height = "" if altitude is None or np.isnan(altitude[row]) else f"<ele>{altitude[row]:.3f}</ele>"
        rows.append(f'<{tag} lat="{north:.8f}" lon="{east:.8f}">{height}</{tag}>')
    return "\n".join(rows)


def track(*segments, name="A way"):
    """A file with one track of some segments of points."""
    inside = "".join(f"<trkseg>{segment}</trkseg>" for segment in segments)
    return f"{HEAD}<trk><name>{name}</name>{inside}</trk></gpx>"


def straight(count=200, spacing=5.0, north=1.0, east=0.0, start=(12.0, -140.0)):
    """Latitude and longitude in degrees of points on a straight line."""
    away = spacing * np.arange(count)
    place = geodesy.place(*np.radians(start), north * away, east * away)
    return np.degrees(place.latitude), np.degrees(place.longitude)


# For a process of its own: its peak memory in kilobytes. The one that getrusage tells is inherited from the parent.
PEAK = """
def peak():
    with open("/proc/self/status") as status:
        return next(int(line.split()[1]) for line in status if line.startswith("VmHWM"))
"""
