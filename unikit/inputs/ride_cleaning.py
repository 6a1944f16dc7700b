"""What is repaired in a ride log, block by block, and told.

The clock is brought to rise, the log is divided where it breaks, values that
no ride has are masked, short holes are filled; how often and where first, the
notes say.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .. import units
from .columns import Column, Table, refuse
from .fields import pretty
from .route import ALTITUDES

# Lowest and highest value in SI that a ride can have; a value outside is a fault of sensor or logger.  Common practice, no source.
POSSIBLE: Mapping[str, tuple[float, float]] = {
    "lean_rate": (-50.0, 50.0),
    "pedal_torque": (-1000.0, 1000.0),
    "speed": (-40.0, 40.0),
    "crank_rate": (-100.0, 100.0),
    "pedal_power": (-5000.0, 5000.0),
    "motor_torque": (-2000.0, 2000.0),
    "distance": (-1e9, 1e9),
    "altitude": ALTITUDES,
    "latitude": (-math.pi / 2, math.pi / 2),
    "longitude": (-math.pi, 2 * math.pi),
    "heading": (-2 * math.pi, 2 * math.pi),
    "slope": (-1.0, 1.0),
    "battery_voltage": (0.0, 1000.0),
    "battery_current": (-1000.0, 1000.0),
    "winding_temperature": (213.15, 623.15),
    "air_temperature": (183.15, 343.15),
    "head_wind": (-80.0, 80.0),
}
_ANGLES = ("heading", "longitude")  # a turn more is the same
HIGHEST_SPEED = POSSIBLE["speed"][1]
ROLL_BACK = 5.0  # m/s; a distance that falls faster began again
LONGEST_PAUSE = 30 * 86400.0  # s; no log pauses longer, so its clock was set
LONGEST_RIDE = 1e10  # s from the first row; beyond, times lose their milliseconds
CLOCK_SHOWN_OVER = 200.0  # m that would have been ridden in a gap, from which on the distance shows whether it was one
_STOOD_STILL = 0.1  # share of that way up to which the clock moved and the machine did not
DERIVED: Mapping[str, tuple[str, ...]] = {"pedal_power": ("pedal_torque", "crank_rate")}  # products that a mapping may ask for


Rows = dict[str, np.ndarray]  # by quantity, with ``line`` of the file, and ``begins`` where a new piece does


@dataclass
class Found:
    """How often something was found, where first, and the largest of it."""

    count: int = 0
    line: int = 0
    largest: float = 0.0
    shown: str = ""

    def add(self, line: float, size: float = 0.0, shown: str = "", count: int = 1) -> None:
        """Count it once more, or several times."""
        if not self.count:
            self.line, self.shown = int(line), shown
        self.count += count
        self.largest = max(self.largest, size)


class Cleaner:
    """Takes the blocks of a table one after another and gives clean rows back, a little later."""

    def __init__(self, columns: Mapping[str, Column], longest: units.Second, derive: Sequence[str] = ()) -> None:
        self.columns, self.longest, self.derive = columns, longest, tuple(derive)
        self.found: defaultdict[str, Found] = defaultdict(Found)
        self.rows = self.kept = self.pieces = 0
        self._clock = _Clock(longest, self.found)
        self._distance = _Distance(longest, self.found)
        self._holes = _Holes(longest, self.found)
        self._broken = False

    def feed(self, table: Table, last: bool = False) -> Rows:
        """Clean rows, with ``piece``, of what has come so far; with ``last`` all that are left."""
        if table.torn:
            self.found["torn"].add(table.torn)
        for row in table.headed:
            self.found["headed"].add(table.lines[row])
        self.rows += len(table.lines)
        begins = np.zeros(len(table.lines), bool)
        begins[list(table.headed)] = True
        rows = self._possible(table) | {"line": np.array(table.lines, float), "begins": begins}
        rows = self._holes.feed(self._distance.feed(self._clock.feed(rows, table.file, last)), last)
        return self._finish(rows)

    def _possible(self, table: Table) -> Rows:
        """Values that no ride has become unknown."""
        values = dict(table.values)
        for quantity in values.keys() & POSSIBLE.keys():
            given, (low, high) = values[quantity], POSSIBLE[quantity]
            slack = 1e-9 * max(abs(low), abs(high))
            outside = np.flatnonzero((given < low - slack) | (given > high + slack))
            if len(outside):
                declared, row = self.columns[quantity], outside[0]
                shown = pretty(float(given[row]), declared.kind, declared.unit)
                self.found[f"impossible {quantity}"].add(table.lines[row], 0.0, shown, len(outside))
                values[quantity] = np.where((given < low - slack) | (given > high + slack), np.nan, given)
        return values

    def _finish(self, rows: Rows) -> Rows:
        """Leave out rows without a speed, compute what is declared as derived, number the pieces."""
        if "speed" in rows:
            lost = np.isnan(rows["speed"])
            if lost.any():
                self.found["no speed"].add(rows["line"][lost][0], count=int(lost.sum()))
            if lost.any() or self._broken:
                after = np.cumsum(lost) + self._broken  # a piece begins where the count of lost rows has grown since the row kept before
                before = np.concatenate([[0], after[~lost][:-1]])
                rows = {name: values[~lost] for name, values in rows.items()}
                rows["begins"] = rows["begins"] | (after[~lost] != before)
                self._broken = bool(lost[-1]) if len(lost) else self._broken
            zero = int(np.count_nonzero(rows["speed"] == 0))
            if zero:
                self.found["zero speed"].add(rows["line"][rows["speed"] == 0][0], count=zero)
        for quantity in self.derive:
            rows[quantity] = np.prod([rows[factor] for factor in DERIVED[quantity]], axis=0)
        for quantity in rows.keys() - {"time", "line", "begins", *self.derive}:
            unknown = np.isnan(rows[quantity])
            if unknown.any():
                self.found[f"unknown {quantity}"].add(rows["line"][unknown][0], count=int(unknown.sum()))
        begins = rows.pop("begins")
        if len(begins) and not self.kept:
            begins[0] = True
        rows["piece"] = self.pieces - 1 + np.cumsum(begins)
        self.pieces += int(begins.sum())
        self.kept += len(begins)
        return rows


def _joined(first: Rows | None, second: Rows) -> Rows:
    return second if first is None else {name: np.concatenate([first[name], values]) for name, values in second.items()}


def _part(rows: Rows, chosen: slice | np.ndarray) -> Rows:
    return {name: values[chosen] for name, values in rows.items()}


class _Clock:
    """Brings the times to rise from 0, and finds where the log breaks."""

    def __init__(self, longest: float, found: Mapping[str, Found]) -> None:
        self.longest, self.found = longest, found
        self.zero: float | None = None  # time of the first row, as the file has it
        self.last = math.nan  # time of the row kept last, from the first row, as the file has it
        self.out = -math.inf  # and as it is given on
        self.shift = 0.0
        self.usual = longest
        self.place = (math.nan, math.nan)  # speed and distance of that row
        self.held: Rows | None = None  # the row before the next block: what follows it decides on it

    def feed(self, rows: Rows, file: str, last: bool) -> Rows:
        rows = _joined(self.held, rows)
        times = rows["time"]
        stop = max(len(times) - (not last), 0)
        self.held = _part(rows, slice(stop, None))
        if not stop:
            return _part(rows, slice(0, 0))
        if self.zero is None:
            self.zero = float(times[0])
        with np.errstate(invalid="ignore"):
            elapsed = times - self.zero
            far = np.flatnonzero(~(np.abs(elapsed) <= LONGEST_RIDE))
        if len(far):
            found = f"{elapsed[far[0]]:.6g} s; is the unit right?"
            raise refuse(f"{file}:{int(rows['line'][far[0]])}", "a time within 300 years of that of the first row", found)
        keep, given = self._quick(elapsed[:stop], rows["begins"][:stop]) or self._row_by_row(elapsed.tolist(), rows, stop)
        latest = np.flatnonzero(keep)
        if len(latest):
            self.place = tuple(float(rows[name][latest[-1]]) if name in rows else math.nan for name in ("speed", "distance"))
        rows = _part(rows, slice(stop)) | {"time": given}
        return _part(rows, keep)

    def _quick(self, elapsed: np.ndarray, begins: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
        """Which rows are kept, and their times, if there is nothing to repair."""
        given = elapsed + self.shift
        intervals = np.diff(given, prepend=self.out)
        if begins.any() or not np.all((intervals > 0) & (intervals <= self.longest)):
            return None
        self.last, self.out, self.usual = float(elapsed[-1]), float(given[-1]), float(intervals[-1])
        return np.ones(len(elapsed), bool), given

    def _row_by_row(self, elapsed: list[float], rows: Rows, stop: int) -> tuple[np.ndarray, np.ndarray]:
        keep, given = np.zeros(stop, bool), np.zeros(stop)
        begins, lines, before = rows["begins"], rows["line"], -1
        for row in range(stop):
            time, interval, headed = elapsed[row], elapsed[row] - self.last, bool(begins[row])
            if self.out == -math.inf:
                interval = 0.0  # the first row of all
            elif not headed and -self.longest <= interval <= 0:
                self.found["early" if interval else "repeated"].add(lines[row], -interval)
                continue
            elif interval > self.longest or interval <= 0:
                onward = elapsed[row + 1] - self.last if row + 1 < len(elapsed) else math.inf
                if not headed and 0 < onward <= self.longest:
                    self.found["stray"].add(lines[row])
                    continue
                begins[row] = True
                if interval > 0 and not self._was_set(interval, rows, row, before):
                    self.found["gap"].add(lines[row], interval)
                else:
                    self.found["forward" if interval > 0 else "back"].add(lines[row], abs(interval))
                    self.shift = self.out + self.usual - time
            elif not headed:
                self.usual = interval
            if time + self.shift <= self.out:
                self.found["repeated"].add(lines[row])
                continue
            keep[row], given[row] = True, time + self.shift
            self.last, self.out, before = time, time + self.shift, row
        return keep, given

    def _was_set(self, interval: float, rows: Rows, row: int, before: int) -> bool:
        """Whether the clock was set forward, rather than the record interrupted: the distance says so, or no pause is so long."""
        if interval > LONGEST_PAUSE:
            return True
        if "speed" not in rows or "distance" not in rows:
            return False
        speed, distance = (float(rows[name][before]) for name in ("speed", "distance")) if before >= 0 else self.place
        way = 0.5 * abs(speed + float(rows["speed"][row])) * interval
        return way >= CLOCK_SHOWN_OVER and 0 <= float(rows["distance"][row]) - distance <= _STOOD_STILL * way


class _Distance:
    """Finds where a stated distance begins again, or leaps."""

    def __init__(self, longest: float, found: Mapping[str, Found]) -> None:
        self.longest, self.found = longest, found
        self.last: Rows | None = None  # the last row whose distance is known

    def feed(self, rows: Rows) -> Rows:
        if "distance" not in rows or not len(rows["time"]):
            return rows
        begins = rows["begins"].copy()
        known = np.flatnonzero(np.isfinite(rows["distance"]))
        part = np.cumsum(begins)
        new = {"time": rows["time"][known], "distance": rows["distance"][known], "part": part[known]}
        joined = _joined(self.last, new)
        change, time = np.diff(joined["distance"]), np.maximum(np.diff(joined["time"]), self.longest)
        same = np.diff(joined["part"]) == 0
        offset = 0 if self.last is None else -1
        for what, wrong in (("distance fell", change < -ROLL_BACK * time), ("distance leapt", change > HIGHEST_SPEED * time)):
            places = np.flatnonzero(wrong & same)
            for place in places:
                row = known[place + 1 + offset]
                begins[row] = True
                self.found[what].add(rows["line"][row], abs(float(change[place])))
        if len(known):
            self.last = {name: values[-1:].copy() for name, values in new.items()}
            self.last["part"] -= part[-1]
        elif self.last is not None:
            self.last["part"] = self.last["part"] - part[-1]
        return rows | {"begins": begins}


class _Holes:
    """Fills short holes by straight lines; what is missing for longer stays unknown."""

    def __init__(self, longest: float, found: Mapping[str, Found]) -> None:
        self.longest, self.found = longest, found
        self.near: Rows | None = None  # rows that holes may reach into, as they came
        self.given = 0  # how many of them went out already

    def feed(self, rows: Rows, last: bool) -> Rows:
        rows = _joined(self.near, rows)
        time = rows["time"]
        if not len(time):
            return rows
        end = len(time) if last else max(int(np.searchsorted(time, time[-1] - self.longest)), self.given)
        piece, ready = np.cumsum(rows["begins"]), slice(self.given, end)
        out = _part(rows, ready)
        for quantity in out.keys() - {"time", "line", "begins"}:
            holes = np.isnan(rows[quantity])
            if holes[ready].any():
                filled = _filled(rows[quantity], holes, time, piece, self.longest, quantity in _ANGLES)
                done = holes[ready] & ~np.isnan(filled[ready])
                if done.any():
                    self.found[f"filled {quantity}"].add(out["line"][done][0], count=int(done.sum()))
                out[quantity] = filled[ready]
        start = int(np.searchsorted(time, time[max(end - 1, 0)] - self.longest))
        self.near, self.given = _part(rows, slice(start, None)), end - start
        return out


def _filled(values: np.ndarray, holes: np.ndarray, time: np.ndarray, piece: np.ndarray, longest: float, angle: bool) -> np.ndarray:
    known, missing = np.flatnonzero(~holes), np.flatnonzero(holes)
    if not len(known):
        return values
    place = np.searchsorted(known, missing)
    missing, place = (found[(place > 0) & (place < len(known))] for found in (missing, place))
    left, right = known[place - 1], known[place]
    short = (time[right] - time[left] <= longest) & (piece[left] == piece[right])
    missing, left, right = missing[short], left[short], right[short]
    change = values[right] - values[left]
    if angle:
        change = np.mod(change + np.pi, 2 * np.pi) - np.pi
    filled = values.copy()
    filled[missing] = values[left] + change * (time[missing] - time[left]) / (time[right] - time[left])
    return filled


def sentences(cleaner: Cleaner) -> tuple[str, ...]:
    """What was repaired or left out, in words."""
    told = []
    for what, found in cleaner.found.items():
        kind, _, quantity = what.partition(" ")
        text = _SAID.get(what) or _SAID[kind]
        name = quantity.replace("_", " ")
        counted = {f"{thing}s": f"{found.count:,} {thing}{'s' * (found.count != 1)}" for thing in ("row", "gap", "value", "missing value")}
        counted["times"] = "once" if found.count == 1 else f"{found.count:,} times"
        number = {"line": f"{found.line:,}", "largest": f"{found.largest:.6g}", "shown": found.shown}
        told.append(text.format(name=name, longest=f"{cleaner.longest:g}", **number, **counted))
    for quantity in cleaner.derive:
        told.append(f"{quantity} is computed: {' times '.join(DERIVED[quantity])}".replace("_", " "))
    return tuple(told)


_SAID = {
    "headed": "the names stand again {times}, first before line {line}: a new piece each time",
    "torn": "the last row, line {line}, breaks off: left out",
    "impossible": "{name}: {values} that no ride has, first {shown} on line {line}: taken as unknown",
    "repeated": "{rows} with the time of the row before, first line {line}: left out",
    "early": "{rows} with an earlier time than the row before, by at most {largest} s, first line {line}: left out",
    "stray": "{rows} whose time fits neither the row before nor the row after, first line {line}: left out",
    "gap": "{gaps} longer than {longest} s, the longest {largest} s, first before line {line}: a new piece after each",
    "forward": "the clock was set forward {times}, by at most {largest} s, first at line {line}: a new piece, and time runs on",
    "back": "time began again or was set back {times}, by at most {largest} s, first at line {line}: "
    "a new piece, and time runs on; how long the break was is unknown",
    "distance fell": "the distance began again {times}, first at line {line}: a new piece",
    "distance leapt": "the distance leapt farther than any ride goes {times}, by at most {largest} m, first at line {line}: a new piece",
    "filled": "{name}: {missing values}, none for longer than {longest} s, first line {line}: filled by straight lines",
    "unknown": "{name}: {values} missing for longer than {longest} s, first line {line}: unknown",
    "no speed": "{rows} whose speed is missing for longer than {longest} s, first line {line}: left out, the piece ends there",
    "zero speed": "speed is 0 in {rows}, first line {line}: kept",
}
