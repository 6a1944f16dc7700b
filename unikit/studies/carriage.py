"""Which packs go on an aircraft, what does the wanted distance need, and how is that divided into packs that go?"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from .. import units as u
from ..formulas import carriage, gearing
from ..inputs import Build, Case, Gear, Pack
from . import reach, ride
from .results import Result, show, shown
from .verdicts import Rule

WATT_HOUR = 3600.0
MOST_IN_SERIES, MOST_IN_PARALLEL = 60, 60  # of one pack, as a build file may have it
MOST_PACKS = 8
SMALL, LARGE = carriage.NO_APPROVAL_LIMIT, carriage.APPROVAL_LIMIT  # Wh of one pack: where the classes end
EACH, LARGE_EACH = (carriage.rule(carriage.SPARE, limit).most for limit in (SMALL, LARGE))  # packs that one traveller may carry
rules_page = carriage.page
DATED = f"{carriage.rule(carriage.SPARE, SMALL).cited}; {carriage.PREVAIL}"  # what every answer ends with

RULES = (
    Rule(
        "carriage",
        "Is every pack below the limit for carrying without approval?",
        "100 Wh",
        "rated energy of the largest pack",
        SMALL / LARGE,
        1.0,
        "smaller packs, more of them",
        "carriage",
        f"tight means up to 160 Wh, which need the operator's approval; {carriage.PREVAIL}",
    ),
    Rule(
        "carriage count",
        "Can one traveller take all packs as spares?",
        f"packs per traveller: {EACH} in all, of them {LARGE_EACH} above 100 Wh, none above 160 Wh",
        "packs of the build",
        0.5,
        1.0,
        "packs of at most 100 Wh, fewer packs, a second traveller",
        "carriage",
        f"tight means that two travellers are needed; {carriage.PREVAIL}",
    ),
)


def _rated(build: Build) -> np.ndarray:
    """Rated energy of each pack in watt-hours, as it is printed on it."""
    return np.array([float(one.energy) / WATT_HOUR for one in build.packs.pack])


def _per_traveller(energies: np.ndarray) -> float:
    """Share of packs of these rated energies that one traveller may take; 0 where one of them is no baggage."""
    kinds = carriage.battery_class(energies)
    if np.any(kinds == carriage.NOT_AS_BAGGAGE):
        return 0.0
    large = int(np.sum(kinds == carriage.OPERATOR_APPROVAL))
    return min(EACH / len(energies), LARGE_EACH / large if large else np.inf)


def margins(build: Build) -> list[tuple[str, float, str]]:
    """The findings on carriage: key, margin and what sets it; no case changes them."""
    if build.packs is None:
        return [(rule.key, np.nan, "no packs") for rule in RULES]
    energies, names = _rated(build), build.packs.names
    largest = int(np.argmax(energies))
    large = int(np.sum(carriage.battery_class(energies) != carriage.NO_APPROVAL))
    number = f"{len(energies)} pack{'s' if len(energies) != 1 else ''}, {large or 'none'} of them above 100 Wh"
    # Rounded, so that the last bit of a conversion moves no pack out of its class.
    size = round(float(SMALL / energies[largest]), 9)
    words = f"pack {names[largest]} is rated {energies[largest]:.0f} Wh"
    return [("carriage", size, words), ("carriage count", _per_traveller(energies), number)]


@dataclass(frozen=True)
class Carriage(Result):
    """The packs of a build as spares in the cabin, and the rated energy that a case needs."""

    count: int = shown("packs of the build", digits=0)
    energy: u.Joule = shown("rated energy of all packs", "Wh")
    largest: u.Joule = shown("rated energy of the largest", "Wh")
    largest_class: str = shown("class of the largest")
    large: int = shown("packs above 100 Wh", digits=0)
    refused: int = shown("packs above 160 Wh", digits=0)
    travellers: int = shown("travellers", digits=0)
    taken_by: str = shown("can be taken by")
    mass: u.Kilogram = shown("mass of all packs", "kg", 2)
    pack: np.ndarray = shown("pack")
    pack_energy: u.Joule = shown("rated energy", "Wh")
    pack_class: np.ndarray = shown("class")
    pack_mass: u.Kilogram = shown("mass", "kg", 2)
    distance: u.Metre | None = shown("distance wanted", "km")
    consumption: u.JoulePerMetre | None = shown("from the cells", "Wh/km")
    held_back: u.Ratio | None = shown("charge held back", "%", 0)
    delivered: u.Ratio | None = shown("energy in the cells over rated energy", "%")
    wanted: u.Joule | None = shown("rated energy wanted", "Wh")
    covered: u.Ratio | None = shown("rated energy of all packs over wanted", "%", 0)
    by: str = shown("as spares, by")
    travellers_needed: float = np.inf
    conditions: tuple[str, ...] = ()


def study(build: Build, case: Case | None = None, travellers: int = 1, gear: Gear | None = None) -> Carriage:
    """The class and the number of a build's packs, and what a case wants of them.

    Packs are counted as spares, each out of the machine.  The rated energy
    wanted is the one with which the range of ``ride.study`` is the distance of
    the case: what the cells give over the distance, divided by the share of the
    charge from the case's start down to what is held back, and by the energy in
    the cells for each watt-hour printed on the packs.

    Args:
        build: the build; a ValueError if it has no packs.
        case: what is ridden at the other end; without it nothing is wanted.
        travellers: persons among whom the packs are shared.
        gear: the gear of the case; the engaged one if left out.
    """
    if build.packs is None:
        raise ValueError(f"build {build.name!r} has no packs: there is nothing to carry")
    _whole("travellers", travellers)
    energies = _rated(build)
    kinds, share = carriage.battery_class(energies), _per_traveller(energies)
    needed = float(np.ceil(1 / share / carriage.ROUNDING)) if share else np.inf
    largest = int(np.argmax(energies))
    each, number = np.unique(np.round(energies, 9), return_counts=True)
    counts = np.ceil(number / travellers).astype(int)
    words = dict.fromkeys(sentence for pair in zip(each, counts, strict=True) for sentence in carriage.conditions(*pair, installed=False))
    return Carriage(
        count=len(energies),
        energy=float(build.packs.energy),
        largest=energies[largest] * WATT_HOUR,
        largest_class=str(kinds[largest]),
        large=int(np.sum(kinds != carriage.NO_APPROVAL)),
        refused=int(np.sum(kinds == carriage.NOT_AS_BAGGAGE)),
        travellers=travellers,
        taken_by=f"{_persons(needed)} as spares" if share else "nobody, as baggage",
        mass=float(build.packs.mass),
        pack=np.array(build.packs.names),
        pack_energy=energies * WATT_HOUR,
        pack_class=kinds,
        pack_mass=np.array([float(one.mass) for one in build.packs.pack]),
        **_wanted(build, case, gear),
        by=DATED,
        travellers_needed=needed,
        conditions=tuple(words),
    )


def _persons(number: float) -> str:
    return f"{number:.0f} traveller{'s' if number > 1 else ''}"


def _wanted(build: Build, case: Case | None, gear: Gear | None) -> dict[str, float | None]:
    """The part of the study that a case adds."""
    if case is None:
        return dict.fromkeys(("distance", "consumption", "held_back", "delivered", "wanted", "covered"))
    steady = ride.study(build, case, gear)
    rated, held_back = float(build.packs.energy), float(build.packs.held_back)
    used = max(case.state_of_charge - held_back, 0.0)
    asked = max(float(steady.consumption), 0.0) * case.distance if case.distance > 0 else 0.0
    wanted = 0.0 if asked == 0 else asked * rated / steady.energy if steady.energy > 0 else np.inf
    return {
        "distance": case.distance,
        "consumption": float(steady.consumption),
        "held_back": held_back,
        "delivered": float(steady.energy) / (rated * used) if used else np.nan,
        "wanted": float(wanted),
        "covered": rated / wanted if wanted else np.inf,
    }


# -- dividing a wanted energy into packs that go ----------------------------------


class Cell(NamedTuple):
    """The cell at hand: what a pack of any number of them is made up from."""

    nominal_voltage: u.Volt
    capacity: u.Coulomb
    full_voltage: u.Volt
    lowest_voltage: u.Volt
    mass: u.Kilogram  # with its share of case, wires and electronics
    current_limit: u.Ampere = np.inf

    @property
    def energy(self) -> u.Joule:
        """Rated energy of one cell."""
        return self.nominal_voltage * self.capacity


class Window(NamedTuple):
    """What the voltage of all packs together has to keep to: empty not below the one, full not above the other."""

    lowest: u.Volt
    highest: u.Volt


def cell(build: Build) -> Cell:
    """The cell of a build's first pack."""
    one = build.packs.pack[0]
    mass, most = one.mass / (one.series * one.parallel), np.inf if one.cell_current_limit is None else one.cell_current_limit
    return Cell(one.cell_nominal_voltage, one.cell_capacity, one.curve_voltage[-1], one.lowest_cell_voltage, mass, most)


def window(build: Build, case: Case) -> Window:
    """From the back-EMF between two leads at the greatest speed that is pedalled or wanted, to the controller's rating.

    Below the one the motor has no voltage left for torque when the packs are
    near empty; above the other full packs exceed what the controller bears.
    """
    gear = build.gears.named(build.gears.engaged)
    pedalled = gearing.speed(build.rider.greatest_cadence, build.wheel.radius, gear.ratio)
    return Window(float(reach.trip_voltage(build, max(pedalled, case.speed, case.wanted_speed))), build.controller.voltage_rating)


@dataclass(frozen=True)
class Plans(Result):
    """Every way to divide a wanted energy, the first one first; empty where nothing fits."""

    wanted: u.Joule = shown("rated energy wanted", "Wh")
    travellers: int = shown("travellers", digits=0)
    most_packs: int = shown("packs at most", digits=0)
    lowest_voltage: u.Volt = shown("voltage needed when empty", "V")
    highest_voltage: u.Volt = shown("voltage admitted when full", "V")
    found: int = shown("plans that fit", digits=0)
    answer: str = shown("first plan")
    packs: np.ndarray = shown("packs")
    series: np.ndarray = shown("in series")
    parallel: np.ndarray = shown("strings")
    joined: np.ndarray = shown("packs in series")
    pack_energy: u.Joule = shown("each", "Wh")
    carried: u.Joule = shown("in all", "Wh")
    mass: u.Kilogram = shown("mass", "kg")
    cell_current: u.Ampere = shown("a cell gives", "A")
    set_by: np.ndarray = shown("number set by")
    full_voltage: u.Volt = shown("full", "V")
    pack_class: np.ndarray = shown("class")
    travellers_needed: np.ndarray = shown("travellers")

    def words(self, row: int = 0) -> str:
        """One plan in words."""
        number, strings, joined = (int(getattr(self, name)[row]) for name in ("packs", "parallel", "joined"))
        in_series = f", {joined} and {joined} in series" if joined < number else ", in series"
        how = "" if number == 1 else ", in parallel" if joined == 1 else in_series
        size = f"{self.series[row]} cells in series, {strings} string{'s' if strings > 1 else ''}"
        energy = show(self.pack_energy[row] / WATT_HOUR, "Wh", 1) + (" each" if number > 1 else "")
        return f"{number} pack{'s' if number > 1 else ''} of {size}, {energy}{how}: {self.pack_class[row]}"


def plan(
    at_hand: Cell,
    wanted_energy: u.Joule,
    voltage: Window,
    current: u.Ampere = 0.0,
    series: Sequence[int] | None = None,
    joins: Sequence[int] = (1, 2),
    most_packs: int = MOST_PACKS,
    travellers: int = 1,
    approval: bool = True,
) -> Plans:
    """Divide a wanted energy into equal packs below the class limits.

    Looked at are all packs of 1 to 60 cells in series and 1 to 60 strings, of
    which one or more are joined in series and as many of these side by side as
    the energy and the current take.  They are listed with no approval before approval, then by
    fewer travellers, fewer packs, fewer packs in series, less mass, and more
    cells in series.

    Args:
        at_hand: the cell.
        wanted_energy: rated energy that all packs together have to reach.
        voltage: the window that all cells in series together have to keep to.
        current: greatest current that all packs together have to give.
        series: numbers of cells in series, all packs in a line counted, that are looked at; all if left out.
        joins: numbers of packs in series that are looked at.
        most_packs: greatest number of packs.
        travellers: persons among whom the packs are shared.
        approval: whether packs that need the operator's approval are looked at.
    """
    for name, value in (("most_packs", most_packs), ("travellers", travellers), *(("joins", one) for one in joins)):
        _whole(name, value)
    if np.isnan(wanted_energy):
        raise ValueError("wanted_energy must be a number, got nan")
    tried = _candidates(at_hand, wanted_energy, current, series, joins)
    passed = {
        "voltage": _between(tried["in_line"], at_hand, voltage),
        "class": (tried["kind"] == carriage.NO_APPROVAL) | ((tried["kind"] == carriage.OPERATOR_APPROVAL) & approval),
        "packs": tried["packs"] <= most_packs,
        "travellers": tried["people"] <= travellers,
    }
    good = np.flatnonzero(np.logical_and.reduce(list(passed.values())))
    keys = ("-in_line", "mass", "joined", "packs", "people", "asks")  # the last one leads
    order = good[np.lexsort([-tried[key[1:]][good] if key[0] == "-" else tried[key][good] for key in keys])]
    result = Plans(
        wanted=float(wanted_energy),
        travellers=travellers,
        most_packs=most_packs,
        lowest_voltage=voltage.lowest,
        highest_voltage=voltage.highest,
        found=len(order),
        answer="",
        packs=tried["packs"][order].astype(int),
        series=tried["series"][order],
        parallel=tried["parallel"][order],
        joined=tried["joined"][order],
        pack_energy=tried["pack_energy"][order],
        carried=(tried["packs"] * tried["pack_energy"])[order],
        mass=tried["mass"][order],
        cell_current=tried["cell_current"][order],
        set_by=tried["set_by"][order],
        full_voltage=(tried["in_line"] * at_hand.full_voltage)[order],
        pack_class=tried["kind"][order],
        travellers_needed=tried["people"][order].astype(int),
    )
    answer = result.words() if len(order) else f"nothing fits: {_obstacle(tried, passed, result)}"
    return dataclasses.replace(result, answer=f"{answer}; {DATED}")


def _candidates(at_hand: Cell, wanted: float, current: float, series: Sequence[int] | None, joins: Sequence[int]) -> dict[str, np.ndarray]:
    """Every pack and join, with the least number of them that holds the wanted energy and gives the current."""
    grid = np.meshgrid(np.arange(1, MOST_IN_SERIES + 1), np.arange(1, MOST_IN_PARALLEL + 1), np.unique(joins), indexing="ij")
    cells, strings, joined = (one.ravel() for one in grid)
    if series is not None:
        chosen = np.isin(cells * joined, series)
        cells, strings, joined = cells[chosen], strings[chosen], joined[chosen]
    energy = cells * strings * at_hand.energy
    for_energy = np.maximum(np.ceil(wanted / (joined * energy) / carriage.ROUNDING), 1.0)
    for_current = np.ceil(current / (strings * at_hand.current_limit) / carriage.ROUNDING)
    lines = np.maximum(for_energy, for_current)
    packs = joined * lines
    kind = carriage.battery_class(energy / WATT_HOUR)
    asks = np.where(kind == carriage.NO_APPROVAL, 0, 1)
    return {
        "series": cells,
        "parallel": strings,
        "joined": joined,
        "in_line": cells * joined,
        "pack_energy": energy,
        "packs": packs,
        "mass": packs * cells * strings * at_hand.mass,
        "cell_current": current / (lines * strings),
        "set_by": np.where(for_current > for_energy, "current", "energy"),
        "kind": kind,
        "asks": asks,
        # what is no baggage is stopped by its class, not by its number
        "people": np.where(kind == carriage.NOT_AS_BAGGAGE, 1.0, np.ceil(packs / np.where(asks, LARGE_EACH, EACH))),
    }


def _between(in_line: np.ndarray, at_hand: Cell, voltage: Window) -> np.ndarray:
    rounding = carriage.ROUNDING
    return (in_line * at_hand.lowest_voltage * rounding >= voltage.lowest) & (in_line * at_hand.full_voltage <= voltage.highest * rounding)


def _obstacle(tried: dict[str, np.ndarray], passed: dict[str, np.ndarray], result: Plans) -> str:
    """The condition without which something would fit, and what would do; several where only together they leave nothing."""
    if np.isinf(result.wanted):
        return "no rated energy is enough for a case that stands still, or that starts with no more charge than is held back"
    if not len(tried["packs"]):
        return "no pack and join makes the cells in series that are looked at"
    failed = ~np.array(list(passed.values()))
    number = failed.sum(axis=0)
    nearest = failed[:, number == number.min()]
    tried = {name: values[number == number.min()] for name, values in tried.items()}
    said = [
        _would_do(name, {key: one[nearest[row]] for key, one in tried.items()}, result)
        for row, name in enumerate(passed)
        if nearest[row].any()
    ]
    return (
        "; or ".join(said) if number.min() == 1 else f"no one condition alone, but at least {number.min()} together of: {'; '.join(said)}"
    )


def _would_do(name: str, tried: dict[str, np.ndarray], result: Plans) -> str:
    """What one condition admits, and the nearest that would do without it."""
    if name == "voltage":
        line = np.unique(tried["in_line"])
        allowed = f"{result.lowest_voltage:.1f} V when empty and {result.highest_voltage:.1f} V when full"
        return (
            f"the voltage stood in the way, {line[0]} {f'to {line[-1]} ' if len(line) > 1 else ''}cells in series are outside of {allowed}"
        )
    if name == "class":
        return f"the class stood in the way, only packs of {tried['pack_energy'].min() / WATT_HOUR:.1f} Wh or more would hold it"
    key, most = ("packs", result.most_packs) if name == "packs" else ("people", result.travellers)
    return f"the number of {name}, {most} at most, stood in the way, {tried[key].min():.0f} would do"


def plans(
    build: Build,
    case: Case,
    series: Sequence[int] | None = None,
    joins: Sequence[int] = (1, 2),
    most_packs: int = MOST_PACKS,
    travellers: int = 1,
    approval: bool = True,
) -> Plans:
    """Divide what a case wants, with the cell of a build and the voltages and the current of its controller; see ``plan``."""
    if build.motor is None:
        raise ValueError(f"build {build.name!r} has no motor: the carriage study needs one")
    wanted = study(build, case).wanted
    current = build.controller.battery_current_limit
    return plan(cell(build), wanted, window(build, case), current, series, joins, most_packs, travellers, approval)


def with_plan(build: Build, chosen: Plans, row: int = 0) -> Build:
    """The build with the packs of one plan, each of the cell of its first pack, so that any study can be asked about them."""
    if not chosen.found:
        raise ValueError(chosen.answer)
    number, joined, parallel = (int(getattr(chosen, name)[row]) for name in ("packs", "joined", "parallel"))
    if joined not in (1, number):
        raise ValueError(
            f"a build joins all packs one way, in parallel or in series; the plan has {number} packs, {joined} and {joined} in series"
        )
    first = build.packs.pack[0]
    made = {
        "series": int(chosen.series[row]),
        "parallel": parallel,
        "charge_current_limit": first.charge_current_limit * parallel / first.parallel,
        "mass": float(chosen.mass[row]) / number,
    }
    packs = tuple(dataclasses.replace(first, name=f"pack_{place}", **made) for place in range(1, number + 1))
    joint = "series" if joined > 1 else "parallel"
    spreads = {path: spread for path, spread in build.spreads.items() if not path.startswith("packs.pack.")}
    return dataclasses.replace(build, packs=dataclasses.replace(build.packs, joined=joint, pack=packs), spreads=spreads)


def with_capacity(build: Build, capacity: u.Coulomb) -> Build:
    """The build with cells of another capacity and a mass of the packs that goes with it."""

    def changed(one: Pack) -> Pack:
        return dataclasses.replace(one, cell_capacity=capacity, mass=one.mass * capacity / one.cell_capacity)

    packs = tuple(changed(one) for one in build.packs.pack)
    lost = ("cell_capacity", "mass")
    spreads = {path: one for path, one in build.spreads.items() if not (path.startswith("packs.pack.") and path.endswith(lost))}
    return dataclasses.replace(build, packs=dataclasses.replace(build.packs, pack=packs), spreads=spreads)


def _whole(name: str, value: float) -> None:
    if value < 1 or value % 1 != 0:
        raise ValueError(f"{name} must be a whole number from 1, got {value}")
