"""What the hub has to carry: push, shock and drop, through meshes, axle, torque arm and bearings."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from ..formulas import bearings, epicyclic, involute, pedalling, shafts, teeth
from ..inputs import Build, Case, Gear, Hub, describe
from ..inputs.records import printed
from ..units import Values
from .drive import drive
from .legs import greatest_torque
from .loads import loads, trim_torque
from .split import torque_split
from .train import shape

ANGLE = involute.PRESSURE_ANGLE
REVERSED = 0.7  # of the bending limit, for a tooth that bends both ways: ISO 6336-3, from memory
GRAVITY = 9.81
NO_HUB = Hub()

PRACTICE = "common practice, no source"
# What a build may leave out about the use of its hub, and what is taken then.
USUAL: dict[str, float | str] = {
    "tooth_finish": "hobbed",
    "mesh_friction": 0.08,
    "shock_factor": 1.5,
    "load_sharing": 1.4,
    "face_load_factor": 1.3,
    "drop_factor": 3.0,
    "drop_share": 0.002,
    "axle_bore": 0.0,
    "axle_notch_bending": 2.0,
    "axle_notch_torsion": 1.7,
}
ALWAYS = (
    f"{REVERSED} of the bending limit for planets, which bend both ways (ISO 6336-3, from memory); "
    f"20 degree teeth, the ring's as a rack's, steel of 206 GPa ({PRACTICE})"
)
_ANGLES = (np.arange(24) + 0.5) * np.pi / 24  # of half a crank turn


def value(build: Build, name: str) -> Values | str | None:
    """A field of the hub; what is usual where the build leaves it out; None where nothing is."""
    given = getattr(build.hub or NO_HUB, name)
    return USUAL.get(name) if given is None else given


def assumed(build: Build) -> str:
    """What the build leaves out about its hub and is taken as usual, and what is taken for every build, in words."""
    left = [name for name in USUAL if getattr(build.hub or NO_HUB, name) is None]
    return f"{'; '.join(_in_words(name) for name in left)} ({PRACTICE}); {ALWAYS}" if left else ALWAYS


@cache
def _in_words(name: str) -> str:
    return f"{name} {printed(describe(f'hub.{name}'), USUAL[name])}"


@dataclass(frozen=True)
class Tooth:
    """Contact ratios beyond the pitch point towards the tip of each gear: of the mesh sun-planet, then of planet-ring."""

    sun: Values
    planet: Values
    planet_in_ring: Values
    ring: Values

    @property
    def overlaps(self) -> tuple[Values, Values]:
        """Contact ratios of the meshes sun-planet and planet-ring."""
        return self.sun + self.planet, self.planet_in_ring + self.ring


@dataclass(frozen=True)
class HubLoads:
    """Torques and forces in the gear; forces of the most loaded planet."""

    why_no_teeth: str  # why there are no forces on teeth; empty where there are
    crank_mean: Values  # in the case
    crank_hardest: Values  # steady, at the best crank angle
    crank_shock: Values
    sun_torque: Values  # of the shock
    motor_torque: Values  # most that the electronics let through at standstill, by their phase current
    asked_motor_torque: Values  # most that the assist asks
    dynamic: Values
    tooth_force: Values  # tangential, with shock, sharing, face and velocity
    pin_force: Values  # of the shock; without face and velocity factor
    drop_force: Values  # on the axle as a whole
    tooth: Tooth | None = None

    @property
    def axle_torque(self) -> Values:
        """The sun's and the motor's together: they oppose each other while both drive; they add when the rider holds back while
        the motor drives, or pushes while it brakes."""
        return self.sun_torque + self.motor_torque


def why_no_teeth(gear: Gear) -> str:
    """Why no forces on teeth can be told; empty where they can."""
    counts = (gear.sun_teeth, gear.planet_teeth, gear.ring_teeth, gear.planets)
    if all(count is None for count in counts):
        return "no teeth are loaded in this gear" if gear.ratio == 1.0 else f"gear {gear.name!r} does not state its teeth"
    return ""


def tips(gear: Gear) -> Tooth:
    """Where contact ends, in the shape that the study of the train gives: at the tips, or where the partner's flank ends."""
    made, pitch = shape(gear), np.pi * np.cos(ANGLE)
    sun, planet = made.sun_recess / pitch, made.planet_recess / pitch
    return Tooth(sun=sun, planet=made.sun_contact - sun, planet_in_ring=planet, ring=made.ring_recess / pitch)


def pedalled(build: Build, case: Case, gear: Gear) -> Values:
    """Mean crank torque of the case, as a size."""
    asked = loads(build, case).wheel_torque
    return abs(torque_split(build, gear, case.speed, asked, drive(build, case.state_of_charge), trim_torque(build, case)).pedal_torque)


def hub_loads(build: Build, case: Case, gear: Gear, crank_mean: Values | None = None) -> HubLoads:
    """Loads of the hub in one gear.

    The hardest push is the legs' torque at standstill times peak over mean of the
    rider's torque shape; a stumble multiplies it by the shock factor. The sun
    holds what does not reach the wheel, losses included. The mean crank torque
    of the case is computed if it is not given.
    """
    rider, missing = build.rider, why_no_teeth(gear)
    hardest = greatest_torque(build, 0.0) * pedalling.shape_peak(rider.torque_floor)
    shock = hardest * value(build, "shock_factor")
    most = build.motor.torque_constant_peak * build.controller.phase_current_limit if build.motor else 0.0
    common = {
        "why_no_teeth": missing,
        "crank_mean": pedalled(build, case, gear) if crank_mean is None else abs(crank_mean),
        "crank_hardest": hardest,
        "crank_shock": shock,
        "motor_torque": most,
        "asked_motor_torque": np.minimum(most, build.assist.torque_cap) if build.motor and build.assist else most,
        "drop_force": value(build, "drop_factor") * build.body_mass * GRAVITY,
    }
    nothing = 0.0 if gear.sun_teeth is None and gear.ratio == 1.0 else np.nan
    if gear.sun_teeth is None or gear.ring_teeth is None:
        return HubLoads(sun_torque=nothing, dynamic=1.0, tooth_force=nothing, pin_force=nothing, **common)
    sun = -epicyclic.reaction_torque(gear.sun_teeth, gear.ring_teeth, "sun", "carrier", "ring", shock, gear.efficiency)
    if gear.module is None:
        return HubLoads(sun_torque=sun, dynamic=1.0, tooth_force=np.nan, pin_force=np.nan, **common)
    radius = gear.module * gear.sun_teeth / 2
    rolling = radius * case.speed / build.wheel.radius / gear.ratio  # as the carrier sees it
    dynamic = teeth.velocity_factor(rolling, value(build, "tooth_finish"))
    sharing = value(build, "load_sharing") if gear.planets > 1 else 1.0
    each = teeth.tooth_force(sun, radius, 0.0) * sharing / gear.planets
    return HubLoads(
        sun_torque=sun,
        dynamic=dynamic,
        tooth_force=each * dynamic * value(build, "face_load_factor"),
        pin_force=teeth.tooth_force(shock, gear.module * (gear.sun_teeth + gear.planet_teeth) / 2, 0.0) * sharing / gear.planets,
        tooth=tips(gear),
        **common,
    )


def spectrum(build: Build, steady: Values, hardest: Values) -> tuple[np.ndarray, np.ndarray]:
    """Loads and shares of turns of a bearing whose load follows the pedals: the case's torque shape, now and then the hardest."""
    rare = value(build, "drop_share")
    shape = pedalling.torque_shape(_ANGLES, build.rider.torque_floor)
    return np.append(steady * shape, hardest), np.append(np.full(shape.size, (1 - rare) / shape.size), rare)


def bearing_loads(build: Build, gear: Gear, found: HubLoads) -> dict[str, tuple[np.ndarray, np.ndarray, Values, Values]]:
    """Of each bearing: loads, their shares of the turns, the greatest load, and turns for a turn of the wheel."""
    rare, half = value(build, "drop_share"), 0.5 * build.body_mass * GRAVITY
    drop = 0.5 * found.drop_force
    bear = {"hub_bearing": (np.array([half, drop]), np.array([1 - rare, rare]), drop, 1.0)}
    over, spacing = value(build, "pedal_overhang"), value(build, "crank_bearing_spacing")
    if over is not None and spacing is not None:
        near, far = bearings.two_bearing_loads(1.0, -over, spacing)
        foot = found.crank_mean / build.cranks.length, found.crank_shock / build.cranks.length
        landing = value(build, "drop_factor") * build.rider.mass * GRAVITY / 2  # on both pedals alike
        hardest = np.maximum(near * foot[1], landing)
        one, shares = spectrum(build, near * foot[0], hardest)
        other, _ = spectrum(build, -far * foot[0], hardest)
        bear["crank_bearing"] = (np.append(one, other), np.append(shares, shares) / 2, hardest, 1 / gear.ratio)
    if found.tooth is not None:
        steady, shares = spectrum(build, found.pin_force * found.crank_mean / found.crank_shock, found.pin_force)
        bear["planet_bearing"] = (steady, shares, found.pin_force, gear.sun_teeth / gear.planet_teeth / gear.ratio)
    return bear


def axle_stresses(build: Build, found: HubLoads) -> dict[str, tuple[Values, Values]]:
    """Stress from bending and from torsion: greatest, and amplitude and mean with notches; fields must be there.

    Greatest is a drop and a stumble while the motor pulls the other way.  Again
    and again come drop and no load, and the hardest push either way against the
    trim that is set, or all that the assist asks without the pedals.
    """
    size = value(build, "axle_diameter"), value(build, "axle_bore")
    moment = shafts.axle_moment(build.body_mass, value(build, "axle_overhang"), value(build, "drop_factor"))
    push = found.sun_torque / value(build, "shock_factor")
    asked = found.asked_motor_torque
    trim = np.minimum(build.assist.trim_cap, asked) if build.assist else 0.0
    ahead, back = (np.maximum(share * push + trim, asked) for share in (1.0, build.rider.backward_strength))
    bent, twisted = shafts.bending_stress(moment, *size), shafts.torsion_stress(1.0, *size)
    notch = value(build, "axle_notch_bending"), value(build, "axle_notch_torsion")
    return {
        "greatest": (bent, twisted * found.axle_torque),
        "alternating": (notch[0] * bent / 2, notch[1] * twisted * (ahead + back) / 2),
        "mean": (notch[0] * bent / 2, notch[1] * twisted * np.abs(ahead - back) / 2),
    }
