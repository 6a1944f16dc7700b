"""May these packs be joined in parallel as they are, and what happens if they are?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import joining, pack
from ..inputs import Build, Pack
from .cells import one_at_a_time
from .results import Result, shown
from .verdicts import Rule
from .wires import lead_resistance, plug_resistance

CAUTION = (
    "Packs are joined by someone who knows what they do: each measured first, charged or left to rest until their voltages agree, "
    "with a fuse at every pack. Nothing but resistance limits this current; it heats cells, can weld contacts and draws arcs."
)
STEPS = 101
COURSE = 241  # times of the transient
AFTER_ALL = 1e12  # seconds
SETTLED = 0.03  # share of the current at first below which the course is not drawn on

RULES = (
    Rule(
        "joining",
        "May a full pack be joined with packs that are as empty as the build lets them get?",
        "voltage difference at which the current of joining meets the limits of the cells",
        "difference between a full pack and one at the charge held back",
        1.0,
        1.25,
        "charge them to the same voltage before joining",
        "joining",
        "short is the usual case for small packs: the remedy costs nothing",
    ),
)


@dataclass(frozen=True)
class Sides(Result):
    """What joining does to each pack."""

    pack: np.ndarray = shown("pack")
    charge: u.Ratio = shown("charge before", "%")
    charge_end: u.Ratio = shown("charge after", "%")
    open_voltage: u.Volt = shown("voltage before", "V", 2)
    peak: u.Ampere = shown("current at first, out of it", "A")
    limit: u.Ampere = shown("limit of its cells in this direction", "A")
    loss: u.Joule = shown("heat in all of it", "J", 0)
    cells: u.Joule = shown("of it in the cells", "J", 0)
    plug: u.Joule = shown("of it in the plug", "J", 1)
    lead: u.Joule = shown("of it in the lead", "J", 1)


@dataclass(frozen=True)
class Joining(Result):
    """One pack joined with the others at a chosen difference."""

    pack: str = shown("pack that is joined")
    others: str = shown("with")
    charge: u.Ratio = shown("its charge", "%", 0)
    others_charge: u.Ratio = shown("charge of the others", "%", 0)
    difference: u.Volt = shown("its voltage over theirs", "V", 2)
    allowed: u.Volt = shown("difference that the cells allow", "V", 2)
    allowed_by: str = shown("allowed by")
    allowed_charge: u.Ratio = shown("that is, from this charge, apart by", "%", 1)
    verdict: str = shown("so")
    peak: u.Ampere = shown("current at first", "A")
    limit: u.Ampere = shown("current at the limit of the cells", "A")
    resistance: u.Ohm = shown("resistance of the loop", "mohm", 0)
    time_over: u.Second = shown("time above the limits", "s", 0)
    time_half: u.Second = shown("time until half of the charge has moved", "s", 0)
    time_end: u.Second = shown("time until below a tenth of the limits", "min", 0)
    voltage_end: u.Volt = shown("common voltage in the end", "V", 2)
    charge_end: u.Ratio = shown("its charge in the end", "%", 1)
    moved: u.Coulomb = shown("charge that moves", "A*h", 2)
    loss: u.Joule = shown("heat in cells, plugs and leads", "J", 0)
    caution: str = shown("caution")
    time: u.Second = shown("time", "s", 0)
    current: u.Ampere = shown("current out of the pack", "A", 2)
    voltage: u.Volt = shown("voltage at the joint", "V", 2)
    charge_over: u.Ratio = shown("charge of the pack", "%")
    loss_over: u.Joule = shown("heat so far", "J", 0)
    sides: Sides
    sweep_charge: np.ndarray  # charge of the others, and below what it makes
    sweep_difference: np.ndarray
    sweep_current: np.ndarray
    limit_giving: float  # of the current out of the pack, and into it
    limit_taking: float


@dataclass(frozen=True)
class Pairs(Result):
    """Every pair of packs of a build."""

    pair: np.ndarray = shown("pair")
    resistance: u.Ohm = shown("resistance of the loop", "mohm", 0)
    allowed: u.Volt = shown("difference that the cells allow", "V", 2)
    allowed_charge: u.Ratio = shown("apart by, at most, where the curve is steepest", "%", 1)
    difference: u.Volt = shown("difference, one full and one at what is held back", "V", 2)
    peak: u.Ampere = shown("current at first, joined like that", "A")
    moved: u.Coulomb = shown("charge that moves", "A*h", 2)
    loss: u.Joule = shown("heat", "J", 0)


class _Group:
    """Packs as numbers: charge, resistance, curves on common points, and the limits of their cells."""

    def __init__(self, packs: Sequence[Pack]) -> None:
        self.packs = tuple(packs)
        self.points = np.unique(np.concatenate([one.curve_charge for one in packs]))
        self.curves = np.array([one.series * np.interp(self.points, one.curve_charge, one.curve_voltage) for one in packs])
        self.charge = np.array([float(one.capacity) for one in packs])
        self.cells = np.array([float(pack.string_resistance(one.cell_resistance, one.series, one.parallel)) for one in packs])
        self.resistance = self.cells + np.array([float(one.wiring_resistance) for one in packs])
        self.taking = np.array([float(one.charge_current_limit) for one in packs])
        self.giving = np.array(
            [np.inf if one.cell_current_limit is None else float(one.cell_current_limit * one.parallel) for one in packs]
        )

    def voltages(self, state: np.ndarray) -> np.ndarray:
        """Open-circuit voltages at states of charge, packs along the last axis."""
        return np.stack([np.interp(state[..., k], self.points, curve) for k, curve in enumerate(self.curves)], axis=-1)

    def loop(self) -> tuple[float, np.ndarray]:
        """Resistance of the loop of the first pack with the others, and the share of its current in each of them."""
        conductance = 1 / self.resistance[1:]
        return self.resistance[0] + 1 / conductance.sum(), conductance / conductance.sum()

    def limits(self) -> tuple[tuple[float, str], tuple[float, str]]:
        """Greatest current out of the first pack, and into it, each with the word for what sets it."""
        _, share = self.loop()
        found = []
        for own, theirs, words in (
            (self.giving, self.taking, ("discharge", "charge")),
            (self.taking, self.giving, ("charge", "discharge")),
        ):
            most = np.r_[own[0], theirs[1:] / share]
            who = int(np.argmin(most))
            found.append((float(most[who]), f"{words[who > 0]} current of pack {self.packs[who].name}"))
        return found[0], found[1]

    def difference(self, state: np.ndarray) -> np.ndarray:
        """Voltage of the first pack over that of the others together."""
        _, share = self.loop()
        voltages = self.voltages(state)
        return voltages[..., 0] - voltages[..., 1:] @ share


def _grouped(build: Build, name: str | None = None) -> _Group:
    """The named pack first, the others after it; a lone pack meets another like it."""
    if build.packs is None:
        raise ValueError(f"build {build.name!r} has no packs: the joining study needs them")
    if build.packs.joined == "series":
        raise ValueError(f"the packs of build {build.name!r} are in series: the joining study needs packs in parallel")
    one_at_a_time(build.packs)
    packs = build.packs.pack
    if name is not None and name not in build.packs.names:
        raise ValueError(f"build {build.name!r} has no pack {name!r}: there are {', '.join(build.packs.names)}")
    first = next((one for one in packs if one.name == name), packs[0])
    return _Group([first, *(one for one in packs if one is not first)] if len(packs) > 1 else [first, first])


def study(build: Build, which: str | None = None, charge: float = 1.0, others: float | None = None) -> Joining:
    """Join one pack with all others, which are joined with each other already, without load.

    Args:
        build: the build; its packs are in parallel.
        which: name of the pack; the first if left out. A lone pack is joined with a second one like it.
        charge: its state of charge.
        others: state of charge of the others; what the build holds back if left out.

    The resistance is the one that is there at once; the slower part of a cell's own voltage makes the current die away
    sooner than told here, and the voltages meet later. Raises ValueError for a build without packs or with packs in series.
    """
    group = _grouped(build, which)
    others = build.packs.held_back if others is None else others
    for name, value in (("charge", charge), ("others", others)):
        if np.ndim(value) or not 0 <= value <= 1:
            raise ValueError(f"{name} must be one state of charge from 0 to 1, got {value}")
    lone = len(build.packs.pack) == 1
    state = np.r_[charge, np.full(len(group.packs) - 1, float(others))]
    loop, _ = group.loop()
    (give, give_by), (take, take_by) = group.limits()
    difference = float(group.difference(state))
    limit, by = (give, give_by) if difference > 0 or (difference == 0 and give < take) else (take, take_by)
    allowed = float(joining.allowed_difference(limit, np.inf, loop))
    course, times = _course(group, state)
    here = course(times)
    end = joining.settled(state, group.charge, group.points, group.curves)
    limits = np.where(here.current[:, 0] < 0, group.taking, group.giving)
    late = course(_late(times))
    moved = abs(state[0] - end.state_of_charge[0]) * group.charge[0]
    gone = np.abs(state[0] - late.state_of_charge[0]) * group.charge[0]
    sweep = np.linspace(group.points[0], group.points[-1], STEPS)
    seen = group.difference(np.column_stack([np.full(STEPS, float(charge)), *([sweep] * (len(group.packs) - 1))]))
    fuller = max(float(charge), float(others))
    return Joining(
        pack=group.packs[0].name,
        others="another pack like it" if lone else ", ".join(one.name for one in group.packs[1:]),
        charge=float(charge),
        others_charge=float(others),
        difference=difference,
        allowed=allowed,
        allowed_by=by,
        allowed_charge=float(joining.allowed_charge_difference(fuller, allowed, group.points, group.curves[0])),
        verdict=_verdict(difference, allowed),
        peak=abs(difference) / loop,
        limit=limit,
        resistance=loop,
        time_over=_until(group, state, limits),
        time_half=float(np.interp(0.5 * moved, gone, _late(times))) if moved > 0 else 0.0,
        time_end=_until(group, state, 0.1 * limits),
        voltage_end=end.voltage,
        charge_end=float(end.state_of_charge[0]),
        moved=float(moved),
        loss=float(end.loss),
        caution=CAUTION,
        time=times,
        current=here.current[0],
        voltage=here.voltage,
        charge_over=here.state_of_charge[0],
        loss_over=here.loss.sum(axis=0),
        sides=_sides(build, group, state, here, end, limits, lone),
        sweep_charge=sweep,
        sweep_difference=seen,
        sweep_current=seen / loop,
        limit_giving=give,
        limit_taking=take,
    )


def _course(group: _Group, state: np.ndarray):
    """What flows at given times, and the times that show it: until the current is a small share of the limit or of itself."""
    course = lambda time: joining.join(state, group.charge, group.resistance, group.points, group.curves, time)
    small = max(SETTLED * float(np.abs(course([0.0]).current).max()), 1e-6)
    last = joining.time_until_below(state, group.charge, group.resistance, group.points, group.curves, small)
    return course, np.linspace(0.0, max(last, 60.0), COURSE)


def _late(times: np.ndarray) -> np.ndarray:
    return np.linspace(0.0, 3 * times[-1], 3 * COURSE)


def _until(group: _Group, state: np.ndarray, limits: np.ndarray) -> float:
    """Time after which every current is below its limit; a limit of 0 is never kept."""
    if np.any(limits <= 0):
        return np.inf
    finite = np.where(np.isfinite(limits), limits, 1e9)
    return float(joining.time_until_below(state, group.charge, group.resistance, group.points, group.curves, finite))


def _verdict(difference: float, allowed: float) -> str:
    if abs(difference) <= allowed:
        return "within the limits of the cells; measured and equalised first all the same"
    return f"not like this: {abs(difference) / allowed:.1f} times the limit" if allowed > 0 else "not like this: these cells take no charge"


def _sides(build: Build, group: _Group, state, here, end, limits, lone: bool) -> Sides:
    """Each pack's part; the heat is shared as its resistances are."""
    total = joining.join(state, group.charge, group.resistance, group.points, group.curves, (AFTER_ALL,)).loss[:, 0]
    wiring = build.wiring
    plug = np.nan if wiring is None or wiring.connector_resistance is None else plug_resistance(wiring)
    lead = np.nan if wiring is None else lead_resistance(wiring)
    names = [one.name for one in group.packs]
    return Sides(
        pack=np.array([names[0], "the other"] if lone else names),
        charge=state,
        charge_end=end.state_of_charge,
        open_voltage=group.voltages(state),
        peak=here.current[:, 0],
        limit=limits,
        loss=total,
        cells=total * group.cells / group.resistance,
        plug=total * plug / group.resistance,
        lead=total * lead / group.resistance,
    )


def pairs(build: Build, charge: float = 1.0, others: float | None = None) -> Pairs:
    """Every pair of packs by itself: the difference that their cells allow, and what really happens at two states of charge."""
    _grouped(build)
    packs = build.packs.pack
    others = build.packs.held_back if others is None else others
    rows = []
    for k, one in enumerate(packs):
        for other in packs[k + 1 :] or ((one,) if len(packs) == 1 else ()):
            group, state = _Group([one, other]), np.array([charge, others], float)
            loop, difference = group.loop()[0], float(group.difference(state))
            limit = min(most for most, _ in group.limits())
            allowed = float(joining.allowed_difference(limit, np.inf, loop))
            end = joining.settled(state, group.charge, group.points, group.curves)
            full = np.linspace(float(build.packs.held_back), 1.0, STEPS)
            apart = float(joining.allowed_charge_difference(full, allowed, group.points, group.curves[0]).min())
            moved = abs(charge - end.state_of_charge[0]) * group.charge[0]
            name = f"{one.name} and {'another like it' if other is one else other.name}"
            rows.append((name, loop, allowed, apart, abs(difference), abs(difference) / loop, moved, end.loss))
    return Pairs(*(np.array(column) for column in zip(*rows, strict=True)))


def margins(build: Build) -> list[tuple[str, float, str]]:
    """The finding on joining: every pack full against the others at what is held back, and the other way round; the worst counts."""
    if build.packs is None:
        return []
    if build.packs.joined == "series" or len(build.packs.pack) == 1:
        words = "packs in series" if build.packs.joined == "series" else "one pack alone"
        return [("joining", np.inf, f"{words}: nothing to join")]
    one_at_a_time(build.packs)
    held_back, worst = float(build.packs.held_back), (np.inf, "all packs are at one voltage")
    seen = set()
    for one in build.packs.pack:
        if (alike := _alike(one)) in seen:  # joined with the same others
            continue
        seen.add(alike)
        group = _grouped(build, one.name)
        loop, _ = group.loop()
        rest = len(group.packs) - 1
        for (limit, by), state in zip(group.limits(), (np.r_[1.0, [held_back] * rest], np.r_[held_back, [1.0] * rest]), strict=True):
            apart = abs(float(group.difference(state)))
            margin = limit * loop / apart if apart > 0 else np.inf
            if margin < worst[0]:
                worst = margin, f"{apart:.1f} V apart, {limit * loop:.1f} V allowed by {by.rpartition(' ')[2]}"
    return [("joining", float(worst[0]), worst[1])]


def _alike(one: Pack) -> tuple:
    """What of a pack counts when it is joined."""
    electric = (one.series, one.parallel, one.cell_capacity, one.cell_resistance, one.wiring_resistance, one.charge_current_limit)
    return (*map(float, electric), one.cell_current_limit, one.curve_charge, one.curve_voltage)
