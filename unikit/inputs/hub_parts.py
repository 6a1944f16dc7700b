"""The gears of the hub, and the strength of what carries them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from .. import units as u
from .fields import field
from .records import Part

record = dataclass(frozen=True, kw_only=True, eq=False, repr=False)


@record
class Gear(Part):
    """One gear that can be engaged."""

    table: ClassVar[str] = "gears.gear"
    name: str = field("name of the gear", named=True)
    ratio: u.Ratio = field("wheel turns per crank turn", low=0.2, high=5)
    efficiency: u.Ratio = field("power out over power in", low=0.3, high=1)
    sun_teeth: u.Number | None = field("teeth of the sun, which is fixed", low=6, high=400, whole=True, default=None)
    planet_teeth: u.Number | None = field("teeth of a planet", low=6, high=400, whole=True, default=None)
    ring_teeth: u.Number | None = field("teeth of the ring, which drives the wheel", low=12, high=800, whole=True, default=None)
    planets: u.Number | None = field("number of planets on the carrier, which the cranks turn", low=1, high=12, whole=True, default=None)
    planet_spacing: str | None = field("angles of the planets around the sun; equal if left out", words=("equal", "uneven"), default=None)
    module: u.Metre | None = field("module of the teeth", low=0.0002, high=0.006, unit="mm", default=None)
    face_width: u.Metre | None = field("width of the teeth along the axle", low=0.001, high=0.08, unit="mm", default=None)
    planet_shift: u.Ratio | None = field(
        "profile shift of the planets over the module; the sun has its opposite, the ring the same; none if left out",
        low=-0.8,
        high=0.8,
        default=None,
    )
    ring_room: u.Metre | None = field(
        "room for the ring: greatest diameter at the roots of its teeth, without the rim around them",
        low=0.02,
        high=0.6,
        unit="mm",
        default=None,
    )


@record
class Gears(Part):
    """The gears of the hub, and which one is engaged."""

    table: ClassVar[str] = "gears"
    engaged: str = field("name of the engaged gear", named=True)
    gear: tuple[Gear, ...] = field("the gears")

    @property
    def names(self) -> tuple[str, ...]:
        """The names of all gears, in the order of the file."""
        return tuple(gear.name for gear in self.gear)

    def named(self, name: str | None = None) -> Gear:
        """The gear of that name; the engaged one without a name."""
        wanted = self.engaged if name is None else name
        for gear in self.gear:
            if gear.name == wanted:
                return gear
        raise ValueError(f"gear must be one of {', '.join(map(repr, self.names))}, got {wanted!r}")


@record
class Hub(Part):
    """What a geared hub is made of: teeth, bearings, axle, the seat of the sun and the torque arm."""

    table: ClassVar[str] = "hub"
    tooth_bending_limit: u.Pascal | None = field(
        "stress at the root of a tooth that the steel bears for ever, load from one side", low=1e6, high=2e9, unit="MPa", default=None
    )
    tooth_contact_limit: u.Pascal | None = field(
        "pressure between two flanks that the steel bears for ever", low=1e7, high=4e9, unit="MPa", default=None
    )
    tooth_finish: str | None = field("how the teeth were made", words=("cast", "cut", "hobbed", "ground"), default=None)
    mesh_friction: u.Ratio | None = field("coefficient of friction between the teeth", low=0.005, high=0.3, default=None)
    shock_factor: u.Ratio | None = field("peak of the crank torque in a stumble over the hardest steady push", low=1, high=6, default=None)
    load_sharing: u.Ratio | None = field("load of the planet that carries most over an equal share", low=1, high=3, default=None)
    face_load_factor: u.Ratio | None = field(
        "load on a tooth where it is greatest over the mean along its width", low=1, high=4, default=None
    )
    drop_factor: u.Ratio | None = field("load on the wheel when it lands from a drop over the weight", low=1, high=12, default=None)
    drop_share: u.Ratio | None = field("share of all turns under such a drop or the hardest push", low=0, high=0.3, default=None)
    wanted_life: u.Metre | None = field("distance that the bearings should last", low=1e3, high=1e9, unit="km", default=None)
    planet_bearing: str | None = field("bearing of a planet", words=("ball", "roller"), default=None)
    planet_bearing_dynamic: u.Newton | None = field("its basic dynamic load rating", low=10, high=1e6, unit="kN", default=None)
    planet_bearing_static: u.Newton | None = field("its basic static load rating", low=10, high=1e6, unit="kN", default=None)
    hub_bearing: str | None = field("bearing between hub and axle, one on either side", words=("ball", "roller"), default=None)
    hub_bearing_dynamic: u.Newton | None = field("its basic dynamic load rating", low=10, high=1e6, unit="kN", default=None)
    hub_bearing_static: u.Newton | None = field("its basic static load rating", low=10, high=1e6, unit="kN", default=None)
    crank_bearing: str | None = field("bearing of the crank spindle, one on either side", words=("ball", "roller"), default=None)
    crank_bearing_dynamic: u.Newton | None = field("its basic dynamic load rating", low=10, high=1e6, unit="kN", default=None)
    crank_bearing_static: u.Newton | None = field("its basic static load rating", low=10, high=1e6, unit="kN", default=None)
    crank_bearing_spacing: u.Metre | None = field("distance of the two crank bearings", low=0.01, high=0.3, unit="mm", default=None)
    pedal_overhang: u.Metre | None = field(
        "from the middle of a pedal to the nearer crank bearing, along the axle", low=0.02, high=0.3, unit="mm", default=None
    )
    axle_diameter: u.Metre | None = field(
        "outer diameter of the fixed axle where it leaves the hub", low=0.004, high=0.1, unit="mm", default=None
    )
    axle_bore: u.Metre | None = field("bore of the axle; solid if left out", low=0, high=0.09, unit="mm", default=None)
    axle_overhang: u.Metre | None = field(
        "from the frame's end to the nearer hub bearing, along the axle", low=0.001, high=0.2, unit="mm", default=None
    )
    axle_yield: u.Pascal | None = field("yield strength of the axle's steel", low=1e7, high=3e9, unit="MPa", default=None)
    axle_tensile: u.Pascal | None = field("tensile strength of the axle's steel", low=1e7, high=3e9, unit="MPa", default=None)
    axle_endurance: u.Pascal | None = field(
        "alternating stress that the axle as machined bears for ever", low=1e6, high=2e9, unit="MPa", default=None
    )
    axle_notch_bending: u.Ratio | None = field("fatigue notch factor of the axle in bending", low=1, high=6, default=None)
    axle_notch_torsion: u.Ratio | None = field("fatigue notch factor of the axle in torsion", low=1, high=6, default=None)
    sun_seat: str | None = field("how the sun is held on the axle", words=("key", "spline", "one piece"), default=None)
    seat_diameter: u.Metre | None = field(
        "diameter of the axle under the sun, where a key holds it; axle_diameter if left out", low=0.004, high=0.12, unit="mm", default=None
    )
    seat_pressure_limit: u.Pascal | None = field(
        "pressure that the sides of key or spline bear", low=1e6, high=2e9, unit="MPa", default=None
    )
    seat_length: u.Metre | None = field("length of key or spline", low=0.001, high=0.2, unit="mm", default=None)
    key_width: u.Metre | None = field("width of the key", low=0.0005, high=0.05, unit="mm", default=None)
    key_height: u.Metre | None = field("height of the key", low=0.0005, high=0.05, unit="mm", default=None)
    key_shear_limit: u.Pascal | None = field("shear stress that the key bears", low=1e6, high=2e9, unit="MPa", default=None)
    spline_teeth: u.Number | None = field("number of splines", low=3, high=100, whole=True, default=None)
    spline_outer: u.Metre | None = field("outer diameter of the spline", low=0.004, high=0.12, unit="mm", default=None)
    spline_inner: u.Metre | None = field("inner diameter of the spline", low=0.003, high=0.12, unit="mm", default=None)
    arm_length: u.Metre | None = field("torque arm, from the axle to where the frame holds it", low=0.01, high=0.6, unit="mm", default=None)
    arm_bolt_spacing: u.Metre | None = field(
        "distance of the two bolts that hold the torque arm; one at its end if left out",
        low=0.005,
        high=0.3,
        unit="mm",
        default=None,
    )
    arm_bolt_limit: u.Newton | None = field("shear force that one of these bolts bears", low=10, high=1e6, unit="kN", default=None)
