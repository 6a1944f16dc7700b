"""Every part of the hub held against its loads: what it bears, what it may bear, and the factor in load that is left."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..formulas import bearings, shafts, teeth
from ..inputs import Build, Gear
from ..inputs.fields import pretty
from ..units import Values
from .hub_loads import ANGLE, REVERSED, HubLoads, axle_stresses, bearing_loads, value

STEEL = float(teeth.elastic_coefficient(206e9, 0.3, 206e9, 0.3))
RACK = 2000.0  # teeth: the ring's tooth is taken for that of a rack, common practice, no source
UNLOADED = "not loaded in this gear"
TEETH, SEAT, AXLE, ARM, BEARINGS = "teeth", "seat", "axle", "torque arm", "bearings"


@dataclass(frozen=True)
class Checked:
    """One part: what it bears, what it may bear, and the factor in load that is left."""

    part: str
    group: str
    factor: Values  # NaN where something is not stated
    bears: Values = np.nan
    limit: Values = np.nan
    kind: str = "pressure"
    missing: tuple[str, ...] = ()

    def texts(self) -> tuple[str, str]:
        """What it bears and what it may bear, with unit."""
        if self.missing:
            return "unknown", ""
        if np.isnan(self.bears):
            return UNLOADED, ""
        unit = "MPa" if self.kind == "pressure" else "N"
        return pretty(float(self.bears), self.kind, unit, 4), pretty(float(self.limit), self.kind, unit, 4)


def checks(build: Build, gear: Gear, found: HubLoads) -> Iterator[Checked]:
    yield from _tooth_checks(build, gear, found)
    yield from _seat_checks(build, gear, found)
    yield from axle_checks(build, gear, found)
    yield _arm_check(build, gear, found)
    yield from _bearing_checks(build, gear, found)


def _absent(build: Build, *names: str) -> tuple[str, ...]:
    """Fields of the hub that are not stated."""
    if build.hub is None:
        return ("[hub]",)
    return tuple(f"hub.{name}" for name in names if value(build, name) is None)


def _of_gear(gear: Gear, *names: str) -> tuple[str, ...]:
    return tuple(f"gears.gear.{gear.name}.{name}" for name in names if getattr(gear, name) is None)


def _stress(part: str, group: str, stress: Values, limit: Values, power: float = 1.0) -> Checked:
    """A part whose stress grows with the load, or with its root where ``power`` is 2."""
    return Checked(part, group, np.inf if stress == 0.0 else (limit / stress) ** power, stress, limit)


def _force(part: str, group: str, force: Values, limit: Values, factor: Values | None = None) -> Checked:
    one = (np.inf if force == 0.0 else limit / force) if factor is None else factor
    return Checked(part, group, one, force, limit, "force")


def lewis(gear: Gear, found: HubLoads) -> tuple[Values, Values, Values]:
    """Lewis's stress at the roots of sun, planet and ring; below twelve teeth his table ends, and the ring is taken for a rack."""
    forms = (teeth.lewis_form_factor(np.maximum(count, 12.0)) for count in (gear.sun_teeth, gear.planet_teeth, np.inf))
    return tuple(teeth.lewis_bending_stress(found.tooth_force, gear.module, gear.face_width, form) for form in forms)


_TOOTH_PARTS = ("sun's tooth, bending", "planet's tooth, bending both ways", "ring's tooth, bending")
_FLANK_PARTS = ("flanks of sun and planet", "flanks of planet and ring")


def _tooth_checks(build: Build, gear: Gear, found: HubLoads) -> Iterator[Checked]:
    if found.tooth_force == 0.0:
        for part in (*_TOOTH_PARTS, *_FLANK_PARTS):
            yield Checked(part, TEETH, np.inf)
        return
    missing = (found.why_no_teeth,) if found.why_no_teeth else _of_gear(gear, "module", "face_width")
    if not missing and any(not 1.0 <= overlap <= 2.0 for overlap in found.tooth.overlaps):
        missing = ("a contact ratio from 1 to 2",)
    bending = missing + _absent(build, "tooth_bending_limit")
    pressing = missing + _absent(build, "tooth_contact_limit")
    if bending:
        for part in _TOOTH_PARTS:
            yield Checked(part, TEETH, np.nan, missing=bending)
    else:
        limits = value(build, "tooth_bending_limit") * np.array([1.0, REVERSED, 1.0])
        for part, geometry, limit in zip(_TOOTH_PARTS, _geometry(gear, found), limits, strict=True):
            yield _stress(part, TEETH, teeth.root_stress(found.tooth_force, gear.module, gear.face_width, geometry), limit)
    if pressing:
        for part in _FLANK_PARTS:
            yield Checked(part, TEETH, np.nan, missing=pressing)
        return
    small = gear.module * gear.planet_teeth / 2
    for part, count, internal in zip(_FLANK_PARTS, (gear.sun_teeth, gear.ring_teeth), (False, True), strict=True):
        at_pitch = teeth.contact_stress(found.tooth_force, gear.face_width, small, gear.module * count / 2, ANGLE, STEEL, internal)
        tip = found.tooth.planet_in_ring if internal else found.tooth.planet
        lower = teeth.single_contact_factor(gear.planet_teeth, count, ANGLE, tip, internal)
        if not internal:  # the sun's flank may be the worse one, where the sun is the smaller gear
            lower = np.maximum(lower, teeth.single_contact_factor(count, gear.planet_teeth, ANGLE, found.tooth.sun))
        yield _stress(part, TEETH, at_pitch * lower, value(build, "tooth_contact_limit"), 2.0)


def _geometry(gear: Gear, found: HubLoads) -> tuple[Values, Values, Values]:
    """Geometry factors of sun, planet (the worse of its meshes) and ring."""
    shift = 0.0 if gear.planet_shift is None else gear.planet_shift
    inner, outer = found.tooth.overlaps
    meshes = (inner, found.tooth.planet), (outer, found.tooth.planet_in_ring)
    planet = [teeth.geometry_factor(float(gear.planet_teeth), shift, overlap, tip) for overlap, tip in meshes]
    return (
        teeth.geometry_factor(float(gear.sun_teeth), -shift, inner, found.tooth.sun),
        np.minimum(*planet),
        teeth.geometry_factor(RACK, 0.0, outer, found.tooth.ring),
    )


def _seat_checks(build: Build, gear: Gear, found: HubLoads) -> Iterator[Checked]:
    seat = value(build, "sun_seat")
    if seat == "one piece":
        return
    torque = found.sun_torque
    parts = {"spline": ("spline, pressure on its sides",), "key": ("key, pressure on its sides", "key, shear")}.get(
        seat, ("seat of the sun",)
    )
    if torque == 0.0:
        for part in parts:
            yield Checked(part, SEAT, np.inf)
        return
    unloaded = (found.why_no_teeth,) if np.isnan(torque) else ()
    if seat == "spline":
        names = ("spline_teeth", "spline_outer", "spline_inner", "seat_length")
        missing = unloaded + _absent(build, *names, "seat_pressure_limit")
        if missing:
            yield Checked(parts[0], SEAT, np.nan, missing=missing)
        else:
            pressure = shafts.spline_pressure(torque, *(value(build, name) for name in names))
            yield _stress(parts[0], SEAT, pressure, value(build, "seat_pressure_limit"))
    elif seat == "key":
        under = "axle_diameter" if value(build, "seat_diameter") is None else "seat_diameter"
        for part, side, limit, stress in (
            (parts[0], "key_height", "seat_pressure_limit", shafts.key_pressure),
            (parts[1], "key_width", "key_shear_limit", shafts.key_shear),
        ):
            names = (under, side, "seat_length")
            missing = unloaded + _absent(build, *names, limit)
            if missing:
                yield Checked(part, SEAT, np.nan, missing=missing)
            else:
                yield _stress(part, SEAT, stress(torque, *(value(build, name) for name in names)), value(build, limit))
    else:
        yield Checked(parts[0], SEAT, np.nan, missing=unloaded + _absent(build, "sun_seat"))


def axle_checks(build: Build, gear: Gear, found: HubLoads) -> Iterator[Checked]:
    parts = ("axle, yield in a drop", "axle, fatigue")
    size = (found.why_no_teeth,) if np.isnan(found.sun_torque) else ()
    size += _absent(build, "axle_diameter", "axle_overhang")
    for part, names in zip(parts, (("axle_yield",), ("axle_endurance", "axle_tensile")), strict=True):
        missing = tuple(dict.fromkeys(size + _absent(build, *names)))
        if missing:
            yield Checked(part, AXLE, np.nan, missing=missing)
            continue
        stresses = axle_stresses(build, found)
        if part == parts[0]:
            yield _stress(part, AXLE, shafts.von_mises(*stresses["greatest"]), value(build, "axle_yield"))
            continue
        alternating, mean = (shafts.von_mises(*stresses[name]) for name in ("alternating", "mean"))
        factor = shafts.goodman_factor(alternating, mean, value(build, "axle_endurance"), value(build, "axle_tensile"))
        endurance = value(build, "axle_endurance")
        yield Checked(part, AXLE, factor, endurance / factor, endurance)  # as an alternating stress that is as hard as both together


def _arm_check(build: Build, gear: Gear, found: HubLoads) -> Checked:
    spacing, length = value(build, "arm_bolt_spacing"), value(build, "arm_length")
    missing = (found.why_no_teeth,) if np.isnan(found.axle_torque) else ()
    missing += _absent(build, "arm_bolt_limit") or (() if spacing or length else ("hub.arm_length",))
    part = "bolts of the torque arm" if spacing is not None or length is None else "bolt of the torque arm"
    if missing:
        return Checked(part, ARM, np.nan, missing=missing)
    if spacing is None:
        return _force(part, ARM, shafts.arm_force(found.axle_torque, length), value(build, "arm_bolt_limit"))
    return _force(part, ARM, shafts.bolt_pair_force(found.axle_torque, spacing), value(build, "arm_bolt_limit"))


BEARING_NAMES = ("planet_bearing", "hub_bearing", "crank_bearing")


def _bearing_checks(build: Build, gear: Gear, found: HubLoads) -> Iterator[Checked]:
    borne = bearing_loads(build, gear, found)
    for name in BEARING_NAMES:
        words = name.replace("_", " ")
        lasting, resting = f"{words}, life", f"{words}, at rest"
        if name == "planet_bearing" and found.tooth_force == 0.0:
            yield Checked(lasting, BEARINGS, np.inf)
            yield Checked(resting, BEARINGS, np.inf)
            continue
        needs = {"planet_bearing": _of_gear(gear, "module"), "hub_bearing": (), "crank_bearing": ()}[name]
        if name == "planet_bearing" and found.why_no_teeth:
            needs = (found.why_no_teeth,)
        if name == "crank_bearing":
            needs = _absent(build, "crank_bearing_spacing", "pedal_overhang")
        missing = tuple(dict.fromkeys((*needs, *_absent(build, name, f"{name}_dynamic", "wanted_life"))))
        at_rest = tuple(dict.fromkeys((*needs, *_absent(build, f"{name}_static"))))
        if missing:
            yield Checked(lasting, BEARINGS, np.nan, missing=missing)
        else:
            kind, load = value(build, name), _equivalent(build, borne[name], name)
            most = value(build, f"{name}_dynamic") / bearings.needed_rating(1.0, _turns(build, borne[name]), kind)
            yield _force(lasting, BEARINGS, load, most)
        if at_rest:
            yield Checked(resting, BEARINGS, np.nan, missing=at_rest)
        else:
            greatest, rating = borne[name][2], value(build, f"{name}_static")
            yield _force(resting, BEARINGS, greatest, rating, bearings.static_factor(greatest, rating))


def _equivalent(build: Build, borne: tuple, name: str) -> Values:
    return bearings.equivalent_load(borne[0], borne[1], value(build, name))


def _turns(build: Build, borne: tuple) -> Values:
    """Turns of a bearing over the wanted distance."""
    return value(build, "wanted_life") / build.wheel.circumference * borne[3]


def lives(build: Build, gear: Gear, found: HubLoads) -> dict[str, float]:
    """Distance that nine of ten of each bearing outlast; endless where nothing turns under load."""
    borne, lasting = bearing_loads(build, gear, found), {}
    for name in BEARING_NAMES:
        kind, rating = value(build, name), value(build, f"{name}_dynamic")
        if name in borne and kind is not None and rating is not None:
            turns = bearings.rating_life(_equivalent(build, borne[name], name), rating, kind)
            lasting[name] = float(turns / borne[name][3] * build.wheel.circumference)
        else:
            lasting[name] = np.inf if name == "planet_bearing" and found.tooth_force == 0.0 else np.nan
    return lasting
