"""Trains that can be cut: the conditions on sun, planets and ring, and the search for tooth counts that keep them all.

The planets carry a profile shift, the sun its opposite and the ring the same:
so both meshes keep the standard centre distance and the ring's teeth follow
from a common axis as without shift.  Everything here is in modules.  The tips
of the ring are shortened to where the planets' flanks begin, as a maker would.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from .. import units as u
from . import epicyclic, internal_mesh, involute, outline
from .checks import not_negative, positive, within
from .involute import ADDENDUM, DEDENDUM, PRESSURE_ANGLE

MOST_RING_TEETH = 400
FEWEST_TEETH = 6
# Common practice, no source: a drive that keeps two pairs of teeth at work a fifth of the time, and tips that do not chip.
LEAST_CONTACT_RATIO, LEAST_TIP = 1.2, 0.2
CONDITIONS = (
    "ratio",
    "shared axis",
    "assembly",
    "neighbouring planets",
    "undercut",
    "pointed teeth",
    "tips in the ring",
    "contact ratio",
)


class Shape(NamedTuple):
    """A train in modules: diameters, contact, and what is available over what is required for each condition on its shape."""

    centre_distance: u.Ratio
    sun_tip: u.Ratio
    sun_root: u.Ratio
    planet_tip: u.Ratio
    planet_root: u.Ratio
    ring_tip: u.Ratio
    ring_root: u.Ratio
    shortened: u.Ratio  # of the ring's teeth
    sun_contact: u.Ratio
    ring_contact: u.Ratio
    sun_recess: u.Ratio  # ways of contact from the pitch point, in modules
    planet_recess: u.Ratio
    ring_recess: u.Ratio
    sun_thickness: u.Ratio  # of the tips
    planet_thickness: u.Ratio
    neighbour_gap: u.Ratio
    neighbours: u.Ratio
    undercut: u.Ratio
    pointed: u.Ratio
    tips: u.Ratio
    contact: u.Ratio
    radial_entry: u.Ratio


def shape(
    sun_teeth: u.Number,
    planet_teeth: u.Number,
    planets: u.Number,
    planet_shift: u.Ratio = 0.0,
    closest: u.Radian | None = None,
    pressure_angle: u.Radian = PRESSURE_ANGLE,
    addendum: u.Ratio = ADDENDUM,
    dedendum: u.Ratio = DEDENDUM,
    gap: u.Ratio = 0.0,
) -> Shape:
    """The shape of trains whose gears share an axis; broadcasts.

    Args:
        sun_teeth: teeth of the sun.
        planet_teeth: teeth of each planet.
        planets: how many planets; one has no neighbour.
        planet_shift: profile shift of the planets over the module.
        closest: smallest angle between two planets; equal angles if left out.
        pressure_angle: pressure angle of the basic rack.
        addendum: addendum of the basic rack over the module.
        dedendum: its dedendum over the module.
        gap: room that must be left between the tips of neighbours, over the module.

    >>> made = shape(45, 13, 4, 0.3)
    >>> round(float(made.sun_contact), 2), round(float(made.ring_contact), 2), round(float(made.undercut), 3)
    (1.52, 1.58, 1.086)
    """
    sun, planet, x = (np.asarray(value, float) for value in (sun_teeth, planet_teeth, planet_shift))
    ring, apart = sun + 2 * planet, (sun + planet) / 2
    bases = [involute.base_diameter(teeth, 1.0, pressure_angle) for teeth in (sun, planet, ring)]
    sun_tip = involute.tip_diameter(sun, 1.0, -x, addendum)
    planet_tip = involute.tip_diameter(planet, 1.0, x, addendum)
    full = involute.tip_diameter(ring, 1.0, x, addendum, internal=True)
    flank = involute.flank_path(planet, 1.0, x, pressure_angle, addendum)
    ring_tip = np.maximum(full, involute.tip_for_path(flank, bases[2], pressure_angle, internal=True))
    # a tip below the base circle has no path; it is counted as one without
    paths = [
        involute.addendum_path(np.maximum(tip, base), base, pressure_angle)
        for tip, base in zip((sun_tip, planet_tip), bases[:2], strict=True)
    ]
    paths.append(involute.addendum_path(ring_tip, bases[2], pressure_angle, internal=True))
    # contact cannot go on where the mate's flank has ended
    sun_way = np.minimum(paths[0], flank)
    planet_way = np.minimum(paths[1], involute.flank_path(sun, 1.0, -x, pressure_angle, addendum))
    sun_contact = involute.contact_ratio(sun_way, planet_way, 1.0, pressure_angle)
    ring_contact = involute.contact_ratio(paths[2], paths[1], 1.0, pressure_angle)
    thick = [
        involute.tooth_thickness(np.maximum(tip, base), teeth, 1.0, shift, pressure_angle)
        for tip, base, teeth, shift in ((sun_tip, bases[0], sun, -x), (planet_tip, bases[1], planet, x))
    ]
    half = np.where(np.equal(planets, 1), np.inf, (2 * np.pi / np.asarray(planets, float) if closest is None else closest) / 2)
    chord = np.where(np.isinf(half), np.inf, 2 * apart * np.sin(np.minimum(half, np.pi / 2)))
    least = [involute.least_teeth(shift, pressure_angle, addendum) for shift in (x, -x)]
    with np.errstate(divide="ignore"):
        undercut = np.minimum(planet / least[0], sun / least[1])
    mesh = (planet, ring, np.maximum(planet_tip, bases[1]), ring_tip, bases[1], bases[2])
    return Shape(
        centre_distance=apart,
        sun_tip=sun_tip,
        sun_root=involute.root_diameter(sun, 1.0, -x, dedendum),
        planet_tip=planet_tip,
        planet_root=involute.root_diameter(planet, 1.0, x, dedendum),
        ring_tip=ring_tip,
        ring_root=involute.root_diameter(ring, 1.0, x, dedendum, internal=True),
        shortened=(ring_tip - full) / 2,
        sun_contact=sun_contact,
        ring_contact=ring_contact,
        sun_recess=sun_way,
        planet_recess=paths[1],
        ring_recess=paths[2],
        sun_thickness=thick[0],
        planet_thickness=thick[1],
        neighbour_gap=chord - planet_tip,
        neighbours=chord / (planet_tip + gap),
        undercut=undercut,
        pointed=np.minimum(*thick) / LEAST_TIP,
        tips=internal_mesh.tip_passing(*mesh, apart, pressure_angle),
        contact=np.minimum(sun_contact, ring_contact) / LEAST_CONTACT_RATIO,
        radial_entry=internal_mesh.radial_entry(*mesh, pressure_angle),
    )


def places(sun_teeth: int, ring_teeth: int, planets: int) -> np.ndarray:
    """Directions of all planets, as near to equal angles as they go in.

    >>> np.degrees(places(18, 54, 4)).round(1).tolist()
    [0.0, 90.0, 180.0, 270.0]
    """
    return outline.planet_place(sun_teeth, ring_teeth, planets, np.arange(1, int(planets) + 1))


def closest(sun_teeth: u.Number, ring_teeth: u.Number, planets: u.Number) -> u.Radian:
    """Smallest angle between neighbours at the places that are nearest to equal angles; broadcasts.

    >>> round(float(np.degrees(closest(18, 54, 5))), 1)
    70.0
    """
    total = np.asarray(sun_teeth) + ring_teeth
    return 2 * np.pi / total * np.floor(total / np.asarray(planets))


class Candidate(NamedTuple):
    """One train of the search, kept or refused."""

    sun: int
    planet: float  # a half too many where the gears share no axis
    ring: int
    planets: int
    ratio: float
    refused_by: tuple[str, ...]  # every condition that it does not keep

    @property
    def words(self) -> str:
        """Teeth of sun, planet and ring, ratio, planets, and what refused it."""
        by = f", refused by {' and '.join(self.refused_by)}" if self.refused_by else ""
        return f"{self.sun}/{self.planet:g}/{self.ring}, ratio {self.ratio:.4f} with {self.planets} planet{'s' * (self.planets > 1)}{by}"


class Found(NamedTuple):
    """What a search came to: the trains that keep every condition, and what stood in the way of the others."""

    trains: tuple[Candidate, ...]
    tried: int
    refused: dict[str, int]  # how many each condition was the first to refuse
    nearest: Candidate | None  # where none was found: the one that breaks fewest conditions, and of those the nearest in ratio

    @property
    def reason(self) -> str:
        """In words: what was found, or what stood in the way."""
        if self.trains:
            return f"{len(self.trains)} of {self.tried} keep every condition"
        if self.nearest is None:
            return "the ring has too few teeth for any sun and planet"
        counts = ", ".join(f"{name} refused {number}" for name, number in self.refused.items() if number)
        tried = f"none of {self.tried}: {counts}" if self.tried else "no tooth counts within the tolerance"
        return f"{tried}; nearest {self.nearest.words}"


def search(
    wanted_ratio: float,
    tolerance: float,
    greatest_ring_teeth: int,
    planets: int | Sequence[int],
    planet_shift: float = 0.0,
    uneven: bool = False,
    gap: float = 0.0,
    pressure_angle: float = PRESSURE_ANGLE,
    addendum: float = ADDENDUM,
    dedendum: float = DEDENDUM,
    fewest_teeth: int = FEWEST_TEETH,
) -> Found:
    """Every train of a step-up hub (sun fixed, carrier driven, ring out) near a ratio that can be cut and put together.

    All pairs of sun and ring are tried with each number of planets.  The
    nearest ratio comes first, of equal ones the smallest ring, then the most
    planets.  A refused train is counted at the first of ``CONDITIONS`` that it
    breaks; only trains within the tolerance are counted.

    Args:
        wanted_ratio: turns of the ring per turn of the carrier.
        tolerance: how far the ratio may be off, either way.
        greatest_ring_teeth: most teeth that the ring may have.
        planets: how many planets, one number or several.
        planet_shift: profile shift of the planets over the module.
        uneven: whether planets may stand at angles that are only nearly equal.
        gap: room between the tips of neighbouring planets, over the module.
        pressure_angle: pressure angle of the basic rack.
        addendum: addendum of the basic rack over the module.
        dedendum: its dedendum over the module.
        fewest_teeth: fewest teeth that sun and planets may have.

    >>> found = search(1.6338, 0.01, 71, 4, 0.3)
    >>> found.trains[0][:4]
    (45, 13, 71, 4)
    >>> print(search(1.6338, 0.01, 71, 4).reason)  # doctest: +ELLIPSIS
    none of 41: ...; nearest 45/13/71, ratio 1.6338 with 4 planets, refused by undercut
    """
    numbers = tuple(planets) if isinstance(planets, Sequence) else (planets,)
    for number in numbers:
        within("planets", number, 1, 12)
    within("wanted_ratio", wanted_ratio, 0.0, 10.0)
    within("tolerance", tolerance, 0.0, 1.0)
    within("greatest_ring_teeth", greatest_ring_teeth, 1, MOST_RING_TEETH)
    positive("fewest_teeth", fewest_teeth)
    not_negative("gap", gap)
    sun, ring = np.meshgrid(
        np.arange(fewest_teeth, greatest_ring_teeth + 1), np.arange(fewest_teeth, greatest_ring_teeth + 1), indexing="ij"
    )
    kept = ring >= sun + 2 * fewest_teeth
    sun, ring = sun[kept], ring[kept]
    off = np.abs(epicyclic.ratio(sun, ring, "sun", "carrier", "ring") - wanted_ratio) if sun.size else np.zeros(0)
    near = off <= tolerance + 1e-12
    options = {"planet_shift": planet_shift, "pressure_angle": pressure_angle, "addendum": addendum, "dedendum": dedendum, "gap": gap}
    tried = _judged(sun[near], ring[near], off[near], numbers, uneven, tolerance, options)
    first = np.argmax(tried.broken, axis=0)
    good = ~tried.broken.any(axis=0)
    refused = {name: int(np.sum(~good & (first == place))) for place, name in enumerate(CONDITIONS) if name != "ratio"}
    trains = tuple(tried.candidate(place) for place in np.lexsort((-tried.planets, tried.ring, np.round(tried.off, 12))) if good[place])
    if trains or not sun.size:
        return Found(trains, len(good), refused, None)
    every = _judged(sun, ring, off, numbers, uneven, tolerance, options)  # also beyond the tolerance
    order = np.lexsort((every.ring, np.round(every.off, 12), every.broken.sum(axis=0)))
    return Found((), len(good), refused, every.candidate(int(order[0])))


class _Judged(NamedTuple):
    sun: np.ndarray
    planet: np.ndarray
    ring: np.ndarray
    planets: np.ndarray
    off: np.ndarray
    broken: np.ndarray  # one row for each of CONDITIONS

    def candidate(self, place: int) -> Candidate:
        sun, ring = int(self.sun[place]), int(self.ring[place])
        by = tuple(name for name, broken in zip(CONDITIONS, self.broken[:, place], strict=True) if broken)
        planet = float(self.planet[place])
        return Candidate(sun, int(planet) if planet % 1 == 0 else planet, ring, int(self.planets[place]), 1 + sun / ring, by)


def _judged(
    sun: np.ndarray, ring: np.ndarray, off: np.ndarray, numbers: Sequence[int], uneven: bool, tolerance: float, options: dict
) -> _Judged:
    """Every pair of sun and ring with every number of planets, and the conditions that it breaks."""
    sun, ring, off = (np.tile(values, len(numbers)) for values in (sun, ring, off))
    planets = np.repeat(np.asarray(numbers), len(sun) // len(numbers))
    planet = (ring - sun) / 2
    made = shape(sun, planet, planets, closest=closest(sun, ring, planets) if uneven else None, **options)
    whole = np.equal(planet % 1, 0)
    broken = np.array(
        [
            off > tolerance + 1e-12,
            ~whole,
            np.zeros_like(whole) if uneven else (sun + ring) % planets != 0,
            ~(made.neighbours > 1),
            ~(made.undercut >= 1),
            ~(made.pointed >= 1),
            ~(made.tips >= 1),
            ~(made.contact >= 1),
        ]
    )
    return _Judged(sun, planet, ring, planets, off, broken)
