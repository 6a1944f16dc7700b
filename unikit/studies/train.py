"""Can the gear train of a build be cut and put together, and which other trains would give its ratio?"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from .. import units as u
from ..formulas import epicyclic, gearing, involute, outline, trains
from ..inputs import Build, Case, Gear, replace
from .results import Result, shown
from .verdicts import Rule

TOLERANCE = 0.02  # of the ratio, in the search
PLANETS = (3, 4, 5, 6)  # tried where a build does not say how many
MOST_TEETH = 90  # of the ring, where a build says nothing of its size
LISTED = 12
OUTSIDE = "a fixed sun, cranks on the carrier and a ring that drives the wheel give more than 1 and less than 2 wheel turns per crank turn"
TEETH = ("sun_teeth", "planet_teeth", "ring_teeth", "planets")

RULES: tuple[Rule, ...] = (
    Rule(
        "train geometry",
        "Can the gear train be cut and put together, and do its teeth keep in contact?",
        "contact ratio, teeth, distance of neighbouring planets, thickness of tips, room for the ring: that with the least left",
        "a contact ratio of 1.2, teeth without undercut, planets that clear each other, tips of 0.2 modules, the ring's roots",
        1.0,
        1.05,
        "planet shift, tooth counts, module, fewer planets",
        "train",
        "1.2 and 0.2 are common practice; the rest is geometry",
    ),
)


@dataclass(frozen=True)
class Train(Result):
    """One train: its sizes, its margins, and how fast it turns at the case's speed."""

    gear: str = shown("gear")
    origin: str = shown("train")
    teeth: str = shown("teeth of sun, planet and ring")
    planets: u.Number = shown("planets", digits=0)
    spacing: str = shown("planets stand")
    ratio: u.Ratio = shown("wheel turns per crank turn", digits=4)
    smallest: u.Ratio = shown("smallest margin", digits=2)
    limited_by: str = shown("smallest margin is that of")
    sun_contact: u.Ratio = shown("contact ratio at the sun", digits=2)
    ring_contact: u.Ratio = shown("contact ratio at the ring", digits=2)
    planet_shift: u.Ratio = shown("profile shift of the planets", digits=2)
    least_shift: u.Ratio = shown("shift below which planets are undercut", digits=3)
    most_shift: u.Ratio = shown("shift above which the sun is undercut", digits=3)
    module: u.Metre = shown("module", "mm", 2)
    ring_room: u.Metre = shown("room for the ring's roots", "mm", 1)
    ring_root: u.Metre = shown("diameter at the ring's roots", "mm", 2)
    ring_pitch: u.Metre = shown("pitch diameter of the ring", "mm", 2)
    ring_tip: u.Metre = shown("diameter between the ring's tips", "mm", 2)
    shortened: u.Metre = shown("ring's teeth shortened by", "mm", 3)
    sun_tip: u.Metre = shown("tip diameter of the sun", "mm", 2)
    sun_root: u.Metre = shown("root diameter of the sun", "mm", 2)
    planet_tip: u.Metre = shown("tip diameter of a planet", "mm", 2)
    planet_root: u.Metre = shown("root diameter of a planet, around its bearing", "mm", 2)
    centre_distance: u.Metre = shown("axle to planet", "mm", 3)
    neighbour_gap: u.Metre = shown("gap between the tips of neighbours", "mm", 2)
    planet_thickness: u.Metre = shown("thickness of a planet's tips", "mm", 2)
    sun_thickness: u.Metre = shown("thickness of the sun's tips", "mm", 2)
    clearance: u.Metre = shown("clearance at the tips", "mm", 2)
    entry: str = shown("planets go into the ring")
    carrier_speed: u.RadianPerSecond = shown("carrier at the case's speed", "rpm", 0)
    ring_speed: u.RadianPerSecond = shown("ring, with the wheel", "rpm", 0)
    planet_speed: u.RadianPerSecond = shown("planet on its bearing", "rpm", 0)
    mesh_frequency: u.Hertz = shown("teeth that come into mesh", "Hz", 0)
    sliding_speed: u.MetrePerSecond = shown("fastest sliding of two flanks", "m/s", 2)
    condition: np.ndarray = shown("condition")
    margin: u.Ratio = shown("available over required", digits=2)
    counts: tuple[int, int, int, int]  # teeth of sun, planet and ring, and planets
    places: np.ndarray  # directions of the planets, radians

    @property
    def outlines(self) -> Outlines:
        """The teeth of all gears, in modules, turned so that they mesh."""
        return _outlines(self.counts, float(self.planet_shift), self.spacing == UNEVEN)


EQUAL, UNEVEN = "at equal angles", "at uneven angles"


class Outlines(NamedTuple):
    """Corners of the gears in modules, around the axle; the sun has a tooth in the zero direction."""

    sun: np.ndarray
    planets: tuple[np.ndarray, ...]
    ring: np.ndarray
    centres: np.ndarray


@lru_cache(maxsize=32)
def _outlines(counts: tuple[int, int, int, int], shift: float, uneven: bool) -> Outlines:
    sun, planet, ring, planets = counts
    where = _places(sun, ring, planets, uneven)
    made = trains.shape(sun, planet, planets, shift)
    small = outline.outside(planet, 1.0, shift)
    turns = outline.planet_turn(sun, planet, where)
    centres = (sun + planet) / 2 * np.column_stack([np.cos(where), np.sin(where)])
    return Outlines(
        outline.outside(sun, 1.0, -shift, points=9),
        tuple(_turned(small, turn) + centre for turn, centre in zip(turns, centres, strict=True)),
        _turned(outline.inside(ring, 1.0, shift, float(made.ring_tip), points=7), planet * np.pi / ring),
        centres,
    )


def _turned(corners: np.ndarray, angle: float) -> np.ndarray:
    cosine, sine = np.cos(angle), np.sin(angle)
    return corners @ np.array([[cosine, sine], [-sine, cosine]])


def _places(sun: int, ring: int, planets: int, uneven: bool) -> np.ndarray:
    return trains.places(sun, ring, planets) if uneven else 2 * np.pi / planets * np.arange(planets)


def study(build: Build, case: Case, gear: Gear | None = None, origin: str = "as the build says") -> Train:
    """The train of a gear: can it be cut and put together, and how does it turn at the case's speed?

    Lengths are unknown without a module; a planet shift that is left out is none.
    The ring's tips are shortened to where the planets' flanks begin.  ``origin`` says where the train comes from.

    Raises ValueError for a gear without tooth counts.
    """
    gear = gear or build.gears.named()
    missing = what_is_missing(gear)
    if missing:
        raise ValueError(missing)
    sun, planet, ring, planets = counts = tuple(int(getattr(gear, name)) for name in TEETH)
    module = np.nan if gear.module is None else gear.module
    shift = 0.0 if gear.planet_shift is None else gear.planet_shift
    made, margins = shape(gear), _available(gear)
    worst = min(margins, key=margins.get)
    cadence = gearing.cadence(case.speed, build.wheel.radius, gear.ratio)
    speeds = epicyclic.member_speeds(sun, ring, "sun", "carrier", cadence)
    spin = epicyclic.planet_speed(sun, planet, 0.0, cadence)
    # flanks slide at their way from the pitch point times the difference of their gears' speeds
    reach = max(abs(spin) * max(made.sun_recess, made.planet_recess), abs(spin - speeds.ring) * max(made.planet_recess, made.ring_recess))
    return Train(
        gear=gear.name,
        origin=origin,
        teeth=f"{sun}/{planet}/{ring}",
        planets=planets,
        spacing=_stand(gear),
        ratio=epicyclic.ratio(sun, ring, "sun", "carrier", "ring"),
        smallest=float(margins[worst]),
        limited_by=worst,
        sun_contact=float(made.sun_contact),
        ring_contact=float(made.ring_contact),
        planet_shift=shift,
        least_shift=involute.least_shift(planet),
        most_shift=-involute.least_shift(sun),
        module=module,
        ring_room=np.nan if gear.ring_room is None else gear.ring_room,
        ring_pitch=module * ring,
        clearance=module * (involute.DEDENDUM - involute.ADDENDUM),
        entry="along the radius or the axle" if made.radial_entry >= 1 else "along the axle only",
        carrier_speed=speeds.carrier,
        ring_speed=speeds.ring,
        planet_speed=spin - cadence,
        mesh_frequency=sun * cadence / (2 * np.pi),
        sliding_speed=module * reach,
        condition=np.array(list(margins)),
        margin=np.array(list(margins.values()), float),
        counts=counts,
        places=_places(sun, ring, planets, gear.planet_spacing == "uneven"),
        **{name: module * float(getattr(made, name)) for name in _SIZES},
    )


_SIZES = (
    "ring_root",
    "ring_tip",
    "shortened",
    "sun_tip",
    "sun_root",
    "planet_tip",
    "planet_root",
    "centre_distance",
    "neighbour_gap",
    "planet_thickness",
    "sun_thickness",
)


def what_is_missing(gear: Gear) -> str:
    """Why a gear has no train to look at, in words; nothing where it has one."""
    missing = [name for name in TEETH if getattr(gear, name) is None]
    if not missing:
        return ""
    if _one_piece(gear):
        return f"gear {gear.name!r} turns as one piece: it has no train to cut"
    return f"gear {gear.name!r} does not say its {', '.join(missing)}: give the tooth counts, or take one of the trains of the search"


def _one_piece(gear: Gear) -> bool:
    """Whether a gear is none at all: cranks and wheel turn together."""
    return gear.sun_teeth is None and bool(np.all(np.asarray(gear.ratio) == 1))


def _stand(gear: Gear) -> str:
    """How the planets stand; those that go in at equal angles do so even where the build allows others."""
    return UNEVEN if gear.planet_spacing == "uneven" and (gear.sun_teeth + gear.ring_teeth) % gear.planets else EQUAL


def shape(gear: Gear) -> trains.Shape:
    """The shape of a gear's train, in modules; a planet shift that is left out is none."""
    close = trains.closest(gear.sun_teeth, gear.ring_teeth, gear.planets) if gear.planet_spacing == "uneven" else None
    return trains.shape(gear.sun_teeth, gear.planet_teeth, gear.planets, 0.0 if gear.planet_shift is None else gear.planet_shift, close)


def _available(gear: Gear) -> dict[str, u.Ratio]:
    """Available over required, for each condition on a train that shares its axis and goes together."""
    made = shape(gear)
    margins = {
        "contact at the sun": made.sun_contact / trains.LEAST_CONTACT_RATIO,
        "contact at the ring": made.ring_contact / trains.LEAST_CONTACT_RATIO,
        "undercut": made.undercut,
        "neighbouring planets": made.neighbours,
        "pointed teeth": made.pointed,
        # an angle over an angle: above 1 the tips pass, and how far above says little of the room
        "tips in the ring": np.where(made.tips >= 1, np.inf, made.tips)[()],
    }
    if gear.ring_room is not None and gear.module is not None:
        margins["room for the ring"] = gear.ring_room / (gear.module * made.ring_root)
    return margins


def margins(build: Build, case: Case, gear: Gear) -> list[tuple[str, u.Ratio, str]]:
    """Finding ``train geometry``: the smallest margin of the train and what it is that of; unknown without tooth counts."""
    missing = what_is_missing(gear)
    if missing:
        return [("train geometry", np.inf if _one_piece(gear) else np.nan, missing)]
    every = _available(gear)
    worst = min(every, key=lambda name: np.median(every[name]))
    smallest = np.min(np.broadcast_arrays(*every.values()), axis=0)
    return [("train geometry", smallest if np.ndim(smallest) else float(smallest), worst)]


@dataclass(frozen=True)
class Search(Result):
    """Trains near a ratio that can be cut and put together in the hub's size; the best first."""

    gear: str = shown("gear")
    wanted: u.Ratio = shown("wanted ratio", digits=4)
    room: str = shown("searched")
    found: u.Number = shown("trains that keep every condition", digits=0)
    reason: str = shown("in words")
    nearest: str | None = shown("nearest miss")  # where none was found
    sun: np.ndarray = shown("sun")
    planet: np.ndarray = shown("planet")
    ring: np.ndarray = shown("ring")
    planets: np.ndarray = shown("planets")
    ratios: u.Ratio = shown("ratio", digits=4)
    off: u.Ratio = shown("off by", "%", 2)
    undercut: u.Ratio = shown("teeth over least without undercut", digits=2)
    sun_contacts: u.Ratio = shown("contact, sun", digits=2)
    ring_contacts: u.Ratio = shown("contact, ring", digits=2)
    ring_roots: u.Metre = shown("ring's roots", "mm", 1)
    planet_roots: u.Metre = shown("planet's roots", "mm", 1)
    refused: dict[str, int]  # how many trains each condition was the first to refuse
    best: Gear | None  # the gear with the first train
    miss: Gear | None  # the gear with the nearest miss, where its planets can be put in


def search(
    build: Build,
    gear: Gear | None = None,
    ratio: float | None = None,
    planets: tuple[int, ...] | None = None,
    tolerance: float = TOLERANCE,
    room: float | None = None,
) -> Search:
    """All trains near a ratio within the room for the ring, with the module and the planet shift of the gear.

    Args:
        build: the build.
        gear: the gear; the engaged one if left out.
        ratio: wanted turns of the wheel per crank turn; that of the gear if left out.
        planets: numbers of planets to try; that of the gear, or three to six, if left out.
        tolerance: how far the ratio may be off, either way.
        room: greatest diameter at the ring's roots; that of the gear if left out, or as many teeth as it has now.
    """
    gear = gear or build.gears.named()
    wanted = float(gear.ratio if ratio is None else ratio)
    shift = 0.0 if gear.planet_shift is None else float(gear.planet_shift)
    numbers = planets or (PLANETS if gear.planets is None else (int(gear.planets),))
    most, words = _most_teeth(gear, gear.ring_room if room is None else room, shift)
    found = trains.search(wanted, tolerance, most, numbers, shift, gear.planet_spacing == "uneven")
    kept = found.trains[:LISTED]
    sun, planet, ring, count = (np.array([train[place] for train in kept], int) for place in range(4))
    made = trains.shape(sun, planet, count, shift) if kept else None
    module = np.nan if gear.module is None else gear.module
    column = lambda name: getattr(made, name) if kept else np.zeros(0)
    actual = 1 + sun / np.maximum(ring, 1)
    return Search(
        gear=gear.name,
        wanted=wanted,
        room=f"{words}, {_or(numbers)} planets, within {tolerance:g} of the ratio",
        found=len(found.trains),
        reason=found.reason if 1 < wanted < 2 else f"{OUTSIDE}; {found.reason}",
        sun=sun,
        planet=planet,
        ring=ring,
        planets=count,
        ratios=actual,
        off=actual / wanted - 1,
        undercut=column("undercut"),
        sun_contacts=column("sun_contact"),
        ring_contacts=column("ring_contact"),
        ring_roots=module * column("ring_root"),
        planet_roots=module * column("planet_root"),
        refused=found.refused,
        nearest=None if found.nearest is None else found.nearest.words,
        best=_geared(gear, kept[0] if kept else None),
        miss=_geared(gear, found.nearest),
    )


def _geared(gear: Gear, train: trains.Candidate | None) -> Gear | None:
    """The gear with the teeth of a train; none where they cannot stand together, as no build may state them."""
    if train is None or {"shared axis", "assembly", "neighbouring planets"} & set(train.refused_by):
        return None
    return dataclasses.replace(gear, ratio=train.ratio, **dict(zip(TEETH, train[:4], strict=True)))


def chosen(build: Build, case: Case, planets: int = 0) -> tuple[Search, Train | None]:
    """The search at the build's ratio, and the train to look at.

    That is the train of the build where it has one and no number of planets
    is asked; else the first of the search, or the nearest miss where there is none.
    """
    gear = build.gears.named()
    found = search(build, gear, planets=(planets,) if planets else None)
    if _one_piece(gear):
        return dataclasses.replace(found, reason=what_is_missing(gear), nearest=None, miss=None), None
    if not (planets or what_is_missing(gear)):
        return found, study(build, case, gear)
    if found.best is not None:
        return found, study(build, case, found.best, "first of the search")
    return found, found.miss and study(build, case, found.miss, f"nearest miss, refused by {found.nearest.partition('refused by ')[2]}")


def geared(build: Build, planets: int = 0) -> Build:
    """The build with the first train of the search at its ratio; as it is where it has its own, or where there is none."""
    gear = build.gears.named()
    if not (planets or what_is_missing(gear)) or _one_piece(gear):
        return build
    best = search(build, gear, planets=(planets,) if planets else None).best
    changed = {} if best is None else {f"gears.gear.{gear.name}.{name}": getattr(best, name) for name in ("ratio", *TEETH)}
    return replace(build, changed) if changed else build


def _or(numbers: tuple[int, ...]) -> str:
    return " or ".join(map(str, numbers)) if len(numbers) < 3 else f"{numbers[0]} to {numbers[-1]}"


def _most_teeth(gear: Gear, room: float | None, shift: float) -> tuple[int, str]:
    """Most teeth that the ring may have, and where that comes from."""
    if room is not None and gear.module is not None:
        most = int(np.floor(room / gear.module - 2 * (involute.DEDENDUM + shift) + 1e-9))
        return min(max(most, 1), trains.MOST_RING_TEETH), f"rings up to {1000 * room:.4g} mm at the roots"
    if gear.ring_teeth is not None:
        return int(gear.ring_teeth), f"rings up to {gear.ring_teeth:g} teeth, as now"
    return MOST_TEETH, f"rings up to {MOST_TEETH} teeth, since room or module is not given"
