"""Who holds a build back on a steady descent at every charge of the packs, and the march of the charge on the way down.

The order is the machine's: the trim first, then legs and motor together
through the resisting gain, each within its limits; what is more than the legs
bear for long the friction brake takes, and what that cannot take the legs must.
At a steady speed nothing but the charge changes, so time is an integral over
it, and so is every energy.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from ..formulas import leverage
from ..inputs import Build, Case, Gear
from ..units import Values
from . import instant
from .cells import one_at_a_time, pack_temperature
from .drive import Drive, drive
from .legs import greatest_torque
from .loads import loads, trim_torque
from .reach import temperatures
from .split import Split, answer, torque_split

LOWEST = 0.01  # charge at which a march downward ends
FULL = 1e-6  # so near to full nothing more is stored
STILL = 1e-13  # charge per second that is nothing but rounding
LOSSES = ("gear_loss", "iron_loss", "copper_loss", "bridge_loss", "standby", "pack_loss")
POWERS = (*LOSSES, "legs", "brake", "battery_power")
_NODES, _WEIGHTS = ((np.polynomial.legendre.leggauss(3)[0] + 1) / 2, np.polynomial.legendre.leggauss(3)[1] / 2)
# Values at the nodes of a cell to the coefficients of the integral of their parabola from the cell's lower end.
_PRIMITIVE = np.linalg.inv(np.vander(_NODES, increasing=True)) / np.array([1.0, 2.0, 3.0])[:, None]


def comfort(build: Build, cadence: Values) -> Values:
    """Mean crank torque that the legs hold back for long: critical power, and never more than their strength.

    Negative work costs less oxygen than positive work of the same power (Abbott, Bigland and Ritchie, J. Physiol. 117:380, 1952, from
    memory), so critical power is a careful bound for the breath. What knees and thighs bear it does not say.
    """
    return np.minimum(build.rider.critical_power / np.maximum(cadence, 1e-9), greatest_torque(build, cadence, True))


@dataclass(frozen=True)
class Road:
    """A build on a descent: what is asked of it, whatever the charge."""

    build: Build
    case: Case
    gear: Gear

    @cached_property
    def asked(self) -> float:
        """Wheel torque that the road asks, negative where it must be held back."""
        return float(loads(self.build, self.case).wheel_torque)

    @cached_property
    def trim(self) -> float:
        """Trim as the case sets it."""
        return float(trim_torque(self.build, self.case))

    @cached_property
    def rotation(self) -> float:
        """Rotation of the wheel."""
        return self.case.speed / self.build.wheel.radius

    @cached_property
    def cadence(self) -> float:
        """Rotation of the cranks."""
        return self.rotation / self.gear.ratio

    @cached_property
    def comfort(self) -> float:
        """Crank torque that the legs hold back for long."""
        return float(comfort(self.build, self.cadence))

    @cached_property
    def strength(self) -> float:
        """Crank torque that they hold back at most, for a short effort."""
        return float(greatest_torque(self.build, self.cadence, True))

    @cached_property
    def brake(self) -> float:
        """Greatest torque of the friction brake."""
        return float(self.build.brake.greatest_torque) if self.build.brake.kind != "none" else 0.0

    @cached_property
    def state(self) -> Drive | None:
        """The drive at the charge of the case."""
        return self.drive(self.case.state_of_charge)

    def drive(self, charge: Values) -> Drive | None:
        """The drive at a charge, warm as the case starts, under a load that lasts."""
        return drive(self.build, charge, *temperatures(self.case), lasting=pack_temperature(self.case))

    def held_at(self, pedal: float, state: Drive | None, limits) -> Values:
        """Wheel torque of legs that hold back with a crank torque, and of the motor with them."""
        own = leverage.gear_leverage(self.gear.ratio, self.gear.efficiency, resisting=True) * pedal
        given = answer(self.build, self.gear, pedal, limits, self.trim, resisting=True) if state else 0.0
        return own + given - instant.drag_at(state, self.rotation)

    def holding(self, charge: Values) -> Holding:
        """Who holds back at some charges of the packs."""
        state = self.drive(charge)
        limits = instant.limits_at(state, self.rotation) or instant.NO_MOTOR
        comfortable = self.held_at(-self.comfort, state, limits) + 0.0 * np.asarray(charge, float)
        brake = np.clip(comfortable - self.asked, 0.0, self.brake)
        split = torque_split(self.build, self.gear, self.case.speed, self.asked + brake, state, self.trim, limits if state else None)
        return Holding(split, brake, self.rotation)

    @cached_property
    def wanted(self) -> float:
        """The hardest braking of the motor in the turn that trim and gain ask for, if nothing limits it; as a torque, so negative."""
        state = self.state
        if state is None:
            return 0.0
        asked = max(self.asked, float(self.held_at(-self.comfort, state, instant.NO_BOUND)))
        return float(torque_split(self.build, self.gear, self.case.speed, asked, state, self.trim).asked_peak)


@dataclass(frozen=True)
class Holding:
    """Legs and motor, and the friction brake's torque at the wheel as a size."""

    split: Split
    brake: Values
    rotation: float

    def power(self, name: str) -> Values:
        """A loss, or what the legs and the brake take up; of the legs below 0 where they drive."""
        if name == "legs":
            return -np.asarray(self.split.leg_power)
        return self.brake * self.rotation if name == "brake" else getattr(self.split, name)


def charge_as_asked(road: Road) -> tuple[float, str]:
    """Highest charge at which the motor brakes as asked over the whole turn, and what ends it above; nan where nowhere, 1 where always."""
    if road.wanted >= 0 or road.state is None:
        return 1.0, "nothing"
    low, high = LOWEST, 1.0
    for _ in range(2):  # where the limit bites it is smooth, so the finer look needs no third
        charge = np.linspace(low, high, 101)
        limits = road.drive(charge).limits(road.rotation)
        short = limits.lowest - road.wanted
        by = np.broadcast_to(limits.lowest_by, charge.shape)
        good = np.flatnonzero(short <= 0)
        if not good.size:
            return np.nan, str(by[0])
        if good[-1] == charge.size - 1:
            return 1.0, "nothing"
        last = good[-1]
        low, high, word = charge[last], charge[last + 1], str(by[last + 1])
    return float(low + (high - low) * short[last] / (short[last] - short[last + 1])), word


@dataclass(frozen=True)
class March:
    """The charge of the packs over the time of a steady descent, and the energies by cause.

    ``edges`` cut the charges into cells; numbers at the three Gauss points of
    each make parabolas, whose integrals are exact in whole cells and in parts.
    """

    edges: np.ndarray
    pace: np.ndarray  # seconds per charge, cells by nodes; every one of the same sign
    power: dict[str, np.ndarray]  # watts, the same
    voltage: np.ndarray  # at rest, the same
    held: Holding  # at the edges
    capacity: float
    first: int  # cells in which the charge moves: from the first
    last: int  # up to this one, not included

    @cached_property
    def clock(self) -> np.ndarray:
        """Time at the edges of the moving cells, counted from the lowest of them."""
        return np.append(0.0, np.cumsum(self._whole(self.pace)))

    def _whole(self, values: np.ndarray) -> np.ndarray:
        """Integrals over the moving cells."""
        rows = slice(self.first, self.last)
        return np.diff(self.edges)[rows] * (values[rows] @ _WEIGHTS)

    def _place(self, charge: Values) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Moving cell of a charge, its width, and how far into it the charge lies."""
        edges = self.edges[self.first : self.last + 1]
        cell = np.clip(np.searchsorted(edges, charge, side="right") - 1, 0, len(edges) - 2)
        width = edges[cell + 1] - edges[cell]
        return cell, width, (np.asarray(charge, float) - edges[cell]) / width

    def _part(self, values: np.ndarray, charge: Values) -> np.ndarray:
        """Integral over the charge from the lowest moving one."""
        cell, width, share = self._place(charge)
        terms = values[self.first : self.last][cell] @ _PRIMITIVE.T
        inside = width * share * (terms[..., 0] + share * (terms[..., 1] + share * terms[..., 2]))
        return np.append(0.0, np.cumsum(self._whole(values)))[cell] + inside

    def _moving(self, charge: float) -> bool:
        return self.last > self.first and self.edges[self.first] <= charge <= self.edges[self.last]

    @property
    def way(self) -> float:
        """1 where the packs gain, -1 where they give, 0 where their charge stays."""
        return float(np.sign(self.pace[self.first, 0])) if self.last > self.first else 0.0

    def at(self, charge: Values, values: Values) -> np.ndarray:
        """Values that are known at the edges, at other charges."""
        return np.interp(charge, self.edges, np.broadcast_to(values, self.edges.shape))

    def charge_after(self, start: float, time: Values) -> np.ndarray:
        """Charge some time after a start; at the end of the moving cells it stays."""
        time = np.asarray(time, float)
        if not self._moving(start):
            return start + 0.0 * time
        at = self._part(self.pace, start) + time
        clock, edges, way = self.clock, self.edges[self.first : self.last + 1], self.way
        at = np.clip(at, min(clock[-1], 0.0), max(clock[-1], 0.0))
        cell = np.clip(np.searchsorted(way * clock, way * at, side="right") - 1, 0, len(edges) - 2)
        width, terms = edges[cell + 1] - edges[cell], self.pace[self.first : self.last][cell] @ _PRIMITIVE.T
        wanted = (at - clock[cell]) / width
        share = (at - clock[cell]) / (clock[cell + 1] - clock[cell])
        for _ in range(6):  # the pace hardly changes within a cell
            now = share * (terms[..., 0] + share * (terms[..., 1] + share * terms[..., 2]))
            slope = terms[..., 0] + share * (2 * terms[..., 1] + share * 3 * terms[..., 2])
            share = np.clip(share - (now - wanted) / slope, 0.0, 1.0)
        return edges[cell] + width * share

    def time_between(self, start: Values, end: float) -> np.ndarray:
        """Time from some charges to another; inf where the march does not lead there."""
        start = np.asarray(start, float)
        if self.last == self.first:
            return np.where(start == end, 0.0, np.inf)
        low, high = self.edges[self.first], self.edges[self.last]
        leads = (start >= low) & (start <= high) & (low <= end <= high) & (self.way * (end - start) >= 0)
        inside = np.clip(start, low, high)
        return np.where(leads, self._part(self.pace, end) - self._part(self.pace, inside), np.where(start == end, 0.0, np.inf))

    def _settled(self, charge: float, moved: bool) -> tuple[int, int, float]:
        """Two edges, and the share of the second with which the packs neither gain nor give: there the charge stays.

        Below such a place they gain and above it they give, whether the current falls to nothing or turns at a limit.
        """
        cell = (self.last if self.way > 0 else self.first - 1) if moved else int(np.searchsorted(self.edges, charge, side="right")) - 1
        low = min(max(cell, 0), len(self.edges) - 2)
        below, above = np.broadcast_to(self.held.power("battery_power"), self.edges.shape)[[low, low + 1]]
        if below != above and below * above <= 0:
            return low, low + 1, float(below / (below - above))
        return low, low + 1, float((charge - self.edges[low]) / (self.edges[low + 1] - self.edges[low]))

    def energies(self, start: float, time: float) -> tuple[float, dict[str, float]]:
        """Charge at the end, and the energy of every cause; ``stored`` is charge moved times voltage, of its own."""
        end = float(self.charge_after(start, time))
        moving = self._moving(start)
        gone = float(self._part(self.pace, end) - self._part(self.pace, start)) if moving else 0.0
        rest = max(time - gone, 0.0)
        low, high, share = self._settled(end, moving)
        found = {}
        for name, power in self.power.items():
            path = float(self._part(power * self.pace, end) - self._part(power * self.pace, start)) if moving else 0.0
            there = np.broadcast_to(self.held.power(name), self.edges.shape)
            found[name] = path + rest * float((1 - share) * there[low] + share * there[high])
        stored = self.capacity * float(self._part(self.voltage, end) - self._part(self.voltage, start)) if moving else 0.0
        return end, found | {"stored": stored}


def march(road: Road, *marks: float) -> March:
    """The march over all charges around the case's own; ``marks`` are charges at which something changes."""
    packs, start = road.build.packs, road.case.state_of_charge
    state = road.state
    if packs is None or state is None:
        power = {name: np.zeros((1, 3)) for name in POWERS}
        return March(np.array([0.0, 1.0]), np.zeros((1, 3)), power, np.zeros((1, 3)), road.holding(start), 0.0, 0, 0)
    one_at_a_time(packs, *(getattr(state, one.name) for one in fields(state) if one.name not in ("modulation", "draw_by", "charge_by")))
    curve = np.concatenate([one.curve_charge for one in packs.pack])
    near = 1 - 0.02 * 1.35 ** -np.arange(33.0)  # the current dies away towards full
    inside = [one for one in (start, *marks, *curve) if LOWEST < one < 1 - FULL]
    edges = np.unique(np.concatenate([np.linspace(LOWEST, 0.8, 9), np.linspace(0.8, 0.98, 25), near[near < 1 - FULL], inside]))
    edges = np.append(edges, [1 - FULL, 1.0])
    edges = edges[np.append(True, np.diff(edges) > 1e-9)]
    nodes = edges[:-1, None] + np.diff(edges)[:, None] * _NODES
    every = np.append(nodes.ravel(), edges)
    held = road.holding(every)
    cells = nodes.size
    inner = lambda values: np.broadcast_to(values, every.shape)[:cells].reshape(nodes.shape)
    series = packs.joined == "series"
    capacity = min(one.capacity for one in packs.pack) if series else sum(one.capacity for one in packs.pack)
    rate = -inner(held.split.battery_current) / capacity
    rate = np.where(np.abs(rate) < STILL, 0.0, rate)
    cell = min(int(np.searchsorted(edges, min(start, 1 - 2 * FULL), side="right")) - 1, len(edges) - 2)
    here = float(np.sign(rate[cell, 1]))
    same = np.all(np.sign(rate) == here, axis=1) if here else np.zeros(len(edges) - 1, bool)
    same[-1] &= here < 0  # nothing more is stored there
    cell -= 1 if here < 0 and cell > 0 and edges[cell] == start else 0
    first, last = _run(same, cell)
    pace = np.divide(1.0, rate, out=np.zeros_like(rate), where=rate != 0)
    at_edges = Split(**{one.name: _ends(getattr(held.split, one.name), every.shape, cells) for one in fields(Split)})
    whole = Holding(at_edges, _ends(held.brake, every.shape, cells), road.rotation)
    voltage = inner(road.drive(every).open_circuit_voltage)
    return March(edges, pace, {name: inner(held.power(name)) for name in POWERS}, voltage, whole, capacity, first, last)


def _ends(values, shape, cells):
    return np.broadcast_to(values, shape)[cells:]


def _run(same: np.ndarray, cell: int) -> tuple[int, int]:
    """The unbroken run of cells around one."""
    if not same[cell]:
        return cell, cell
    below, above = np.flatnonzero(~same[:cell]), np.flatnonzero(~same[cell:])
    return (int(below[-1]) + 1 if below.size else 0), (cell + int(above[0]) if above.size else len(same))


def pedals_held(road: Road, pedal: Values) -> np.ndarray:
    """In words, whether the legs bear what is left to them."""
    held = -np.asarray(pedal)
    return np.select(
        [held > road.strength * (1 + 1e-9), held > road.comfort * (1 + 1e-9)],
        ["not held: more than the legs' strength", "more than the legs hold for long"],
        "held",
    )[()]
