"""What the geared hub bears: teeth, seat of the sun, axle, torque arm and bearings under push, shock and drop.

First-order checks.  A factor says by how much all loads may grow until a part
reaches its limit; none of them says that a part may be built.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import mesh, shafts
from ..formulas._bracket import crossing
from ..inputs import Build, Case, Gear, replace
from ..units import Values
from .hub_checks import ARM, AXLE, BEARING_NAMES, BEARINGS, SEAT, TEETH, axle_checks, checks, lewis, lives
from .hub_loads import HubLoads, assumed, hub_loads, value
from .results import Result, shown
from .verdicts import Rule

CAUTION = (
    "First-order checks with assumed factors: a shop drawing needs a licensed or competent engineer. "
    "A torque arm or an axle that lets go throws the rider."
)
THICKEST = 0.1  # m, end of the search for an axle

# The way of a push from the pedal to the road and to the frame, and how the names of the parts there begin.
PLACES = {
    "crank bearings": ("crank bearing",),
    "teeth": ("sun's", "planet's", "ring's", "flanks"),
    "planet bearings": ("planet bearing",),
    "hub bearings": ("hub bearing",),
    "seat of the sun": ("key", "spline", "seat"),
    "axle": ("axle",),
    "torque arm": ("bolt",),
}

RULES = (
    Rule(
        "teeth",
        "Do the teeth bear the hardest push with its shock?",
        "tooth load at which the weakest tooth reaches its limit of bending or pressure",
        "tooth load of the hardest push at standstill, times shock, load sharing and face load factor",
        1.0,
        1.25,
        "wider teeth, larger module, more planets, profile shift, better steel",
        "strength",
        "a first-order check; unknown where the build does not state teeth and steel",
    ),
    Rule(
        "axle and seat",
        "Do axle, seat of the sun and torque arm hold the gear's and the motor's reaction torque in a drop?",
        "load at which the weakest of key or spline, axle and torque arm reaches its limit",
        "reaction torque of sun and motor together, and the rider's weight in a drop",
        1.0,
        1.3,
        "longer key, thicker axle, longer torque arm, stronger bolts",
        "strength",
        "a torque arm that lets go throws the rider; a first-order check",
    ),
    Rule(
        "bearings",
        "Do the bearings of planets, hub and cranks last, and do they bear a drop?",
        "load under which the weakest bearing lasts the wanted distance, or which it bears at rest",
        "its equivalent load in the case, or its load in a drop or the hardest push",
        1.0,
        1.2,
        "bearings with a higher rating, roller bearings, wider spacing",
        "strength",
        "nine of ten bearings last longer than the basic rating life",
    ),
)


@dataclass(frozen=True)
class Strength(Result):
    """Every part of the hub in one gear and case with the factor in load that is left."""

    gear: str = shown("gear")
    weakest: str = shown("weakest part of those told")
    weakest_factor: u.Ratio = shown("its loads may grow by the factor", "", 2)
    crank_mean: u.NewtonMetre = shown("crank torque of the case, mean", "N*m")
    crank_hardest: u.NewtonMetre = shown("hardest push at standstill, peak of the turn", "N*m", 0)
    crank_shock: u.NewtonMetre = shown("the same in a stumble", "N*m", 0)
    sun_torque: u.NewtonMetre = shown("reaction torque of the sun then", "N*m", 0)
    motor_torque: u.NewtonMetre = shown("greatest reaction torque of the motor", "N*m", 0)
    axle_torque: u.NewtonMetre = shown("torque that axle and torque arm may have to hold", "N*m", 0)
    tooth_force: u.Newton = shown("force on a tooth of the most loaded planet, all factors", "N", 0)
    sun_lewis: u.Pascal = shown("sun's root by Lewis, load at the tip, no notch", "MPa", 0)
    planet_lewis: u.Pascal = shown("planet's root by Lewis", "MPa", 0)
    ring_lewis: u.Pascal = shown("ring's root by Lewis, as a rack", "MPa", 0)
    pin_force: u.Newton = shown("force on that planet's bearing", "N", 0)
    arm_end_force: u.Newton = shown("force at the end of the torque arm", "N", 0)
    drop_force: u.Newton = shown("load on the axle in a drop", "N", 0)
    planet_life: u.Metre = shown("planet bearings last, by fatigue alone", "km", 0)
    hub_life: u.Metre = shown("hub bearings last, by fatigue alone", "km", 0)
    crank_life: u.Metre = shown("crank bearings last, by fatigue alone", "km", 0)
    mesh_efficiency: u.Ratio = shown("efficiency by the meshes' friction alone", "%", 2)
    efficiency: u.Ratio = shown("efficiency that the build states", "%", 2)
    unknown: str = shown("unknown because not stated")
    assumed: str = shown("assumed")
    caution: str = shown("caution")
    part: np.ndarray = shown("part")
    bears: np.ndarray = shown("bears")
    limit: np.ndarray = shown("may bear")
    factor: u.Ratio = shown("factor in load", "", 2)
    group: np.ndarray = shown("group")

    def along(self) -> list[tuple[str, float, str]]:
        """The way of the push: each place with the factor of its worst part, and that part; NaN where nothing is told."""
        found = []
        for place, starts in PLACES.items():
            own = [(float(one), str(part)) for one, part in zip(self.factor, self.part, strict=True) if str(part).startswith(starts)]
            if own:
                unknown = any(np.isnan(one) for one, _ in own)
                factor, part = min(own)
                found.append((place, np.nan if unknown else factor, part))
        return found


def study(build: Build, case: Case, gear: Gear | None = None) -> Strength:
    """Loads and factors of every part of the hub.

    A factor is in load: limit over stress where stress grows with the load, its
    square for the pressure between flanks, which grows with the root, and for a
    bearing's life the root that its exponent takes.  A build without the fields
    says which are missing.
    """
    gear = gear or build.gears.named(build.gears.engaged)
    found = hub_loads(build, case, gear)
    rows = list(checks(build, gear, found))
    told = [row for row in rows if np.isfinite(row.factor)]
    weakest = min(told, key=lambda row: row.factor, default=None)
    lost = dict.fromkeys(name for row in rows for name in row.missing)
    lasting = lives(build, gear, found)
    arm = value(build, "arm_length")
    geared = found.tooth is not None and gear.face_width is not None
    by_lewis = lewis(gear, found) if geared else (0.0 if found.tooth_force == 0.0 else np.nan,) * 3
    return Strength(
        gear=gear.name,
        weakest=weakest.part if weakest else "unknown",
        weakest_factor=float(weakest.factor) if weakest else np.nan,
        **{name: float(getattr(found, name)) for name in _FROM_LOADS},
        **{name: float(stress) for name, stress in zip(("sun_lewis", "planet_lewis", "ring_lewis"), by_lewis, strict=True)},
        arm_end_force=np.nan if arm is None else float(shafts.arm_force(found.axle_torque, arm)),
        planet_life=lasting["planet_bearing"],
        hub_life=lasting["hub_bearing"],
        crank_life=lasting["crank_bearing"],
        mesh_efficiency=float(mesh_efficiency(build, gear, found)),
        efficiency=float(gear.efficiency),
        unknown="; ".join(lost) if lost else "nothing",
        assumed=assumed(build),
        caution=CAUTION,
        part=np.array([row.part for row in rows]),
        bears=np.array([row.texts()[0] for row in rows]),
        limit=np.array([row.texts()[1] for row in rows]),
        factor=np.array([float(row.factor) for row in rows]),
        group=np.array([row.group for row in rows]),
    )


_FROM_LOADS = (
    *("crank_mean", "crank_hardest", "crank_shock", "sun_torque", "motor_torque"),
    *("axle_torque", "tooth_force", "pin_force", "drop_force"),
)


def margins(build: Build, case: Case, gear: Gear | None = None, crank_mean: float | None = None) -> list[tuple[str, float, str]]:
    """The three findings: key, margin, and what limits it; NaN where a field is missing.

    ``crank_mean`` is the mean crank torque of the case, for those who have it already.
    """
    if build.hub is None:
        return [(rule.key, np.nan, "the build does not describe its hub") for rule in RULES]
    gear = gear or build.gears.named(build.gears.engaged)
    rows = list(checks(build, gear, hub_loads(build, case, gear, crank_mean)))
    groups = {"teeth": (TEETH,), "axle and seat": (SEAT, AXLE, ARM), "bearings": (BEARINGS,)}
    found = []
    for key, names in groups.items():
        own = [row for row in rows if row.group in names]
        missing = list(dict.fromkeys(name for row in own for name in row.missing))
        worst = min(own, key=lambda row: row.factor)
        if missing:
            found.append((key, np.nan, f"not stated: {', '.join(missing)}"))
        else:
            found.append((key, float(worst.factor), worst.part if np.isfinite(worst.factor) else "nothing is loaded in this gear"))
    return found


def mesh_efficiency(build: Build, gear: Gear, found: HubLoads) -> Values:
    """Efficiency of the train by friction between the teeth alone; 1 where no teeth run."""
    if found.tooth is None:
        return 1.0 if gear.ratio == 1.0 and gear.sun_teeth is None else np.nan
    if any(not 1.0 <= overlap <= 2.0 for overlap in found.tooth.overlaps):
        return np.nan
    friction, tooth = value(build, "mesh_friction"), found.tooth
    inner = mesh.mesh_loss(friction, gear.planet_teeth, gear.sun_teeth, tooth.planet, tooth.sun)
    outer = mesh.mesh_loss(friction, gear.planet_teeth, gear.ring_teeth, tooth.planet_in_ring, tooth.ring, True)
    return mesh.step_up_efficiency(gear.sun_teeth, gear.ring_teeth, (1 - inner) * (1 - outer))


# -- the other way round -----------------------------------------------------------


@dataclass(frozen=True)
class Needed(Result):
    """What each part would have to be to bear its loads with a wanted factor, all else kept; unknown where fields are missing."""

    gear: str = shown("gear")
    factor: u.Ratio = shown("wanted factor in load", "", 2)
    face_width: u.Metre = shown("teeth as wide as", "mm")
    module: u.Metre = shown("or a module of", "mm", 2)
    seat_length: u.Metre = shown("key or spline as long as", "mm")
    axle_diameter: u.Metre = shown("axle as thick as, with its bore", "mm")
    arm_bolt_spacing: u.Metre = shown("bolts of the torque arm as far apart as", "mm")
    planet_bearing_dynamic: u.Newton = shown("planet bearing: dynamic rating", "kN", 2)
    planet_bearing_static: u.Newton = shown("planet bearing: static rating", "kN", 2)
    hub_bearing_dynamic: u.Newton = shown("hub bearing: dynamic rating", "kN", 2)
    hub_bearing_static: u.Newton = shown("hub bearing: static rating", "kN", 2)
    crank_bearing_dynamic: u.Newton = shown("crank bearing: dynamic rating", "kN", 2)
    crank_bearing_static: u.Newton = shown("crank bearing: static rating", "kN", 2)


def needed(build: Build, case: Case, gear: Gear | None = None, factor: float = 1.0) -> Needed:
    """The sizes at which each part would have the wanted factor in load.

    Stress at a root and the square of the pressure on flanks fall alike with the
    face width, and with the square of the module, because the pitch circles grow too.
    """
    gear = gear or build.gears.named(build.gears.engaged)
    found = hub_loads(build, case, gear)
    rows = {row.part: row for row in checks(build, gear, found)}
    worst = lambda *groups: min((float(row.factor) for row in rows.values() if row.group in groups), default=np.nan)
    short = factor / worst(TEETH)
    scaled = lambda size, by: np.nan if size is None else float(size * by)
    return Needed(
        gear=gear.name,
        factor=factor,
        face_width=scaled(gear.face_width, short),
        module=scaled(gear.module, np.sqrt(short)),
        seat_length=scaled(value(build, "seat_length"), factor / worst(SEAT)),
        axle_diameter=_axle_diameter(build, gear, found, factor),
        arm_bolt_spacing=scaled(value(build, "arm_bolt_spacing"), factor / worst(ARM)),
        **{
            f"{name}_{rating}": scaled(value(build, f"{name}_{rating}"), factor / rows[f"{name.replace('_', ' ')}, {state}"].factor)
            for name in BEARING_NAMES
            for rating, state in (("dynamic", "life"), ("static", "at rest"))
        },
    )


def _axle_diameter(build: Build, gear: Gear, found: HubLoads, factor: float) -> float:
    """Diameter at which the axle has the wanted factor with the bore that it has."""
    if any(row.missing for row in axle_checks(build, gear, found)):
        return np.nan
    bore = float(value(build, "axle_bore"))

    def left(diameter: np.ndarray) -> np.ndarray:
        other = replace(build, {"hub.axle_diameter": float(diameter), "hub.seat_diameter": None})
        return np.asarray(min(float(row.factor) for row in axle_checks(other, gear, found)) - factor)

    return float(crossing(left, np.asarray(max(bore * 1.001, 0.004)), np.asarray(THICKEST), 1e-6))
