"""GPX 1.1: the points of its tracks and routes, read as a stream, whatever the file holds.

The parser is the one of the standard library (expat), fed in chunks and asked
for its events; no tree is built, so a file needs no more memory than its
points.  What could make it work without end is refused at once: document types
and entities, tokens and texts without end, nesting, size, number of points.
"""

from __future__ import annotations

import array
import math
import os
import stat
from dataclasses import dataclass, field
from xml.parsers import expat

import numpy as np

from .columns import refuse
from .errors import InputError, show
from .reading import label

NAMESPACE = "http://www.topografix.com/GPX/1/1"
MOST_BYTES = 2**28
MOST_POINTS = 2_000_000
MOST_NESTED = 64
MOST_PARTS = 10_000  # tracks, routes and segments
MOST_NAMES = 1_000  # different ones: the parser keeps each for ever
LONGEST_TOKEN = 2**20  # bytes between two events
LONGEST_NUMBER = 64  # characters
LONGEST_NAME = 80
LARGEST_LATITUDE = 85.0  # degrees: where the formulas of short lines end
CHUNK = 2**16

_SPACED = NAMESPACE + " "
_INSIDE = {  # what is read within what; all else is passed over with all that it holds
    "gpx": {"trk", "rte", "wpt"},
    "trk": {"trkseg", "name"},
    "rte": {"rtept", "name"},
    "trkseg": {"trkpt"},
    "trkpt": {"ele"},
    "rtept": {"ele"},
}
_PACKED = {b"\x1f\x8b": "gzip", b"PK": "zip", b"BZh": "bzip2", b"\xfd7zXZ": "xz", b"\x28\xb5\x2f\xfd": "zstd", b"7z\xbc\xaf": "7z"}


@dataclass
class Part:
    """One track or route of a file: its points in degrees and metres, nan where the altitude is missing."""

    kind: str
    name: str = ""
    latitude: array.array = field(default_factory=lambda: array.array("d"))
    longitude: array.array = field(default_factory=lambda: array.array("d"))
    altitude: array.array = field(default_factory=lambda: array.array("d"))
    starts: list[int] = field(default_factory=list)  # the first point of each segment that has any

    def arrays(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Latitude, longitude and altitude."""
        return tuple(np.frombuffer(one, float) for one in (self.latitude, self.longitude, self.altitude))


@dataclass(frozen=True)
class Gpx:
    """What a file holds: tracks and routes that have points, and how many lone points were passed over."""

    file: str
    parts: tuple[Part, ...]
    waypoints: int


def read_gpx(path: str | os.PathLike[str]) -> Gpx:
    """Read the tracks and routes of a GPX 1.1 file.

    Raises :class:`InputError` that names file, line and what was expected.
    """
    file = label(path)
    try:
        state = os.stat(path)
        if not stat.S_ISREG(state.st_mode):
            raise refuse(file, "a file", "a folder" if stat.S_ISDIR(state.st_mode) else "something that is not a regular file")
        if state.st_size > MOST_BYTES:
            raise refuse(file, f"a file of at most {MOST_BYTES:,} bytes", f"{state.st_size:,} bytes")
        with open(path, "rb") as handle:
            return _Reader(file).read(handle)
    except FileNotFoundError:
        raise refuse(file, "a file", "nothing, there is no such file") from None
    except OSError as error:
        raise refuse(file, "a file that can be read", error.strerror or str(error)) from None


class _Reader:
    """The events of one file, and what was gathered from them."""

    def __init__(self, file: str) -> None:
        self.file, self.parts, self.waypoints, self.points, self.segments = file, [], 0, 0, 0
        self.open: list[str] = []  # names of the elements that are read
        self.passed = 0  # depth within an element that is passed over
        self.text: list[str] = []
        self.names: set[str] = set()
        self.parser = parser = expat.ParserCreate(namespace_separator=" ")
        parser.buffer_text = True
        parser.StartElementHandler, parser.EndElementHandler = self._start, self._end
        parser.StartNamespaceDeclHandler = lambda *names: self.names.update(map(str, names))
        parser.StartDoctypeDeclHandler = self._doctype
        parser.EntityDeclHandler = self._doctype

    def read(self, handle) -> Gpx:
        total, first = 0, True
        try:
            while chunk := handle.read(CHUNK):
                if first:
                    self._begins(chunk)
                    first = False
                total += len(chunk)
                if total > MOST_BYTES:
                    raise refuse(self.file, f"a file of at most {MOST_BYTES:,} bytes", "more")
                self.parser.Parse(chunk, False)
                if total - max(self.parser.CurrentByteIndex, 0) > LONGEST_TOKEN:
                    raise self._wrong(f"no tag, comment or text longer than {LONGEST_TOKEN:,} bytes", "a longer one")
            if first:
                raise refuse(self.file, "a file in GPX 1.1", "an empty file")
            self.parser.Parse(b"", True)
        except expat.ExpatError as error:
            where = f"{self.file}:{error.lineno}"
            raise refuse(where, "well-formed XML", f"{expat.ErrorString(error.code)} at column {error.offset + 1}") from None
        except (ValueError, LookupError) as error:  # an encoding that nobody knows
            if isinstance(error, InputError):
                raise
            raise refuse(self.file, "text in a known encoding", str(error)) from None
        return Gpx(self.file, tuple(part for part in self.parts if part.latitude), self.waypoints)

    def _begins(self, chunk: bytes) -> None:
        packed = next((name for start, name in _PACKED.items() if chunk.startswith(start)), None)
        if packed:
            raise refuse(self.file, "a file in GPX 1.1", f"a file packed by {packed}: unpack it first")
        text = chunk[:256].replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
        if not text.startswith(b"<"):
            begins = show(chunk[:12].decode("ascii", "backslashreplace"))
            raise refuse(self.file, "a file in GPX 1.1, which begins with '<'", f"a file that begins with {begins}")

    def _wrong(self, expected: str, found: str, name: str = "", value: str | None = None) -> InputError:
        return refuse(f"{self.file}:{self.parser.CurrentLineNumber}", expected, found, name, value)

    def _doctype(self, *_) -> None:
        raise self._wrong("a file without document type and entities", "a <!DOCTYPE> declaration")

    def _start(self, full: str, given: dict[str, str]) -> None:
        if len(self.open) + self.passed >= MOST_NESTED:
            raise self._wrong(f"at most {MOST_NESTED} elements within each other", "more")
        self.names.add(full)
        self.names.update(given)
        if len(self.names) > MOST_NAMES:
            raise self._wrong(f"at most {MOST_NAMES:,} different names of elements and attributes", "more")
        if self.passed:
            self.passed += 1
            return
        space, _, name = full.rpartition(" ")
        if not self.open:
            self._root(space, name, given)
        elif space != NAMESPACE or name not in _INSIDE.get(self.open[-1], ()):
            self.passed = 1
            return
        self.open.append(name)
        if name in ("trkpt", "rtept"):
            self._point(given)
        elif name in ("ele", "name"):
            self.text.clear()
            self.parser.CharacterDataHandler = self._characters
        elif name in ("trk", "rte"):
            self.parts.append(Part("track" if name == "trk" else "route"))
        if name in ("rte", "trkseg"):
            self.parts[-1].starts.append(len(self.parts[-1].latitude))
        self.segments += name in ("trk", "rte", "trkseg")
        if self.segments > MOST_PARTS:
            raise self._wrong(f"at most {MOST_PARTS:,} tracks, routes and segments", "more")
        self.waypoints += name == "wpt"

    def _root(self, space: str, name: str, given: dict[str, str]) -> None:
        if name != "gpx" or space != NAMESPACE:
            version = given.get("version", "")
            found = f"<{name[:40]}> of {show(space) if space else 'no namespace'}" + (f", version {show(version)}" if version else "")
            raise self._wrong(f"GPX 1.1: a <gpx> of the namespace {NAMESPACE!r}", found)

    def _point(self, given: dict[str, str]) -> None:
        self.points += 1
        if self.points > MOST_POINTS:
            raise self._wrong(f"at most {MOST_POINTS:,} points", "more")
        part, where = self.parts[-1], f"<{self.open[-1]}>"
        for name, values, most in (("lat", part.latitude, LARGEST_LATITUDE), ("lon", part.longitude, 180.0)):
            text = given.get(name)
            number = _number(text or "")
            if number is None or not abs(number) <= most:
                found = "nothing, it is missing" if text is None else show(text)
                raise self._wrong(f"degrees from -{most:g} to {most:g}", found, f"{where} {name}")
            values.append(number)
        part.altitude.append(math.nan)

    def _characters(self, text: str) -> None:
        if self.passed:
            return
        if self.open[-1] == "name":
            if not self.text:  # long names are cut, not refused
                self.text.append(text[:LONGEST_NAME])
        else:
            self.text.append(text)
            if sum(map(len, self.text)) > LONGEST_NUMBER:
                raise self._wrong(f"a number of at most {LONGEST_NUMBER} characters", "more", "<ele>")

    def _end(self, _: str) -> None:
        if self.passed:
            self.passed -= 1
            return
        name = self.open.pop()
        if name not in ("ele", "name"):
            return
        self.parser.CharacterDataHandler = None
        text, part = "".join(self.text).strip(), self.parts[-1]
        if name == "name":
            part.name = " ".join(text.split())
            return
        number = _number(text)
        if text and number is None:
            raise self._wrong("metres", show(text), "<ele>")
        part.altitude[-1] = number if number is not None and math.isfinite(number) else math.nan  # NaN and inf are missing values


def _number(text: str) -> float | None:
    """A number as XML writes it."""
    if "_" in text:
        return None
    try:
        return float(text)
    except ValueError:
        return None
