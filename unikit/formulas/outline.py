"""The outline of gears tooth by tooth, as a rack cuts them, and how planets must be turned to go in."""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import positive
from .involute import ADDENDUM, DEDENDUM, PRESSURE_ANGLE, base_diameter, root_diameter, tip_diameter, tooth_thickness
from .registry import formula


def rack_fillet(
    teeth: int, shift: float, pressure_angle: float, addendum: float, dedendum: float, points: int
) -> tuple[np.ndarray, np.ndarray]:
    """Radius, and angle from the middle of the space, of the root that the rounded tip of a rack cuts; in modules.

    The arc joins the straight flank at the addendum.  Its normal passes through the pitch point while the rack rolls on the pitch circle.
    """
    rounding = (dedendum - addendum) / (1 - np.sin(pressure_angle))
    depth = dedendum - rounding - shift  # of the arc's centre below the pitch line
    offset = np.pi / 4 - dedendum * np.tan(pressure_angle) - rounding * (1 - np.sin(pressure_angle)) / np.cos(pressure_angle)
    along = np.linspace(0.0, 1.0, points) ** 2 * max(depth, 0.0) / np.tan(pressure_angle)
    far = np.maximum(np.hypot(along, depth), 1e-12)
    x, y = along * (1 + rounding / far), teeth / 2 - depth * (1 + rounding / far)
    return np.hypot(x, y), np.arctan2(x, y) - 2 * (along - offset) / teeth


def _around(radius: np.ndarray, half: np.ndarray, teeth: int) -> np.ndarray:
    """Corners around a gear whose tooth 0 is centred on the x axis: one tooth has these half angles at these radii, from root to tip."""
    flank_radius = np.concatenate([radius, radius[::-1]])
    flank_angle = np.concatenate([-half, half[::-1]])
    angle = (2 * np.pi / teeth * np.arange(teeth)[:, None] + flank_angle).ravel()
    far = np.tile(flank_radius, teeth)
    return np.column_stack([far * np.cos(angle), far * np.sin(angle)])


def outside(
    teeth: int,
    module: float,
    shift: float = 0.0,
    pressure_angle: float = PRESSURE_ANGLE,
    addendum: float = ADDENDUM,
    dedendum: float = DEDENDUM,
    points: int = 12,
) -> np.ndarray:
    """Outline of an outside gear, one row of x and y a corner; tooth 0 is centred on the x axis.

    Where the rack undercuts, its fillet takes away the foot of the involute.

    Args:
        teeth: number of teeth.
        module: module.
        shift: profile shift over the module.
        pressure_angle: pressure angle of the basic rack.
        addendum: addendum of the basic rack over the module.
        dedendum: its dedendum over the module.
        points: corners of one flank.

    >>> outside(13, 0.001, 0.3).shape
    (312, 2)
    """
    tip, root = (float(of(teeth, 1.0, shift, size)) / 2 for of, size in ((tip_diameter, addendum), (root_diameter, dedendum)))
    base = float(base_diameter(teeth, 1.0, pressure_angle)) / 2
    cut_radius, cut_angle = rack_fillet(teeth, shift, pressure_angle, addendum, dedendum, 40)
    # close together at the root, where the fillet bends
    radius = root + (tip - root) * np.linspace(0.0, 1.0, points) ** 1.4
    flank = np.maximum(radius, base)
    thick = tooth_thickness(2 * flank, teeth, 1.0, shift, pressure_angle) / (2 * flank)
    involute_half = np.where(radius < base, np.inf, thick)
    fillet_half = np.interp(radius, cut_radius, np.pi / teeth - cut_angle, right=np.inf)
    half = np.minimum(np.minimum(involute_half, fillet_half), np.pi / teeth)
    return module * _around(radius, np.maximum(half, 0.0), teeth)


def inside(
    teeth: int,
    module: float,
    shift: float = 0.0,
    tip: float | None = None,
    pressure_angle: float = PRESSURE_ANGLE,
    addendum: float = ADDENDUM,
    dedendum: float = DEDENDUM,
    points: int = 12,
) -> np.ndarray:
    """Outline of the inside teeth of a ring, one row of x and y a corner; tooth 0 is centred on the x axis.

    Its flanks run on to the root: which fillet the cutter leaves depends on the cutter.

    Args:
        teeth: number of teeth.
        module: module.
        shift: profile shift over the module.
        tip: tip diameter, if the tips are shortened.
        pressure_angle: pressure angle of the basic rack.
        addendum: addendum of the basic rack over the module.
        dedendum: its dedendum over the module.
        points: corners of one flank.

    >>> inside(71, 0.001, 0.3).shape
    (1704, 2)
    """
    low = float(tip_diameter(teeth, 1.0, shift, addendum, internal=True)) if tip is None else tip / module
    high = float(root_diameter(teeth, 1.0, shift, dedendum, internal=True))
    base = float(base_diameter(teeth, 1.0, pressure_angle))
    diameter = np.linspace(high, low, points)
    flank = np.maximum(diameter, base)
    half = tooth_thickness(flank, teeth, 1.0, shift, pressure_angle, internal=True) / flank
    return module * _around(diameter / 2, np.clip(half, 0.0, np.pi / teeth), teeth)


@formula(
    equation=r"\psi = \theta + \pi + \frac{z_s\theta + \pi}{z_p}",
    source="definition",
    sign="counter-clockwise positive; a tooth of the fixed sun is centred on the zero direction",
    valid="no backlash",
)
def planet_turn(sun_teeth: u.Number, planet_teeth: u.Number, place: u.Radian) -> u.Radian:
    """Direction of one of a planet's teeth when it meshes with the sun at a place around it.

    Args:
        sun_teeth: teeth of the sun.
        planet_teeth: teeth of the planet.
        place: direction of the planet's axis from the sun's.

    >>> round(float(np.degrees(planet_turn(16, 16, 0.0))), 2)
    191.25
    """
    positive("planet_teeth", planet_teeth)
    return np.asarray(place) + np.pi + (sun_teeth * np.asarray(place) + np.pi) / planet_teeth


@formula(
    equation=r"\theta_k = \frac{2\pi}{z_s + z_r}\,\operatorname{round}\frac{(k-1)(z_s + z_r)}{n}",
    source="sdp_planetary",
    sign="the first planet at zero, the others counter-clockwise",
    valid="gears that share their axis",
)
def planet_place(sun_teeth: u.Number, ring_teeth: u.Number, planets: u.Number, which: u.Number) -> u.Radian:
    """Place of a planet that goes in, the nearest to equal angles.

    Every whole multiple of a turn over the sum of both tooth counts is a place where a planet fits into sun and ring.

    Args:
        sun_teeth: teeth of the sun.
        ring_teeth: teeth of the ring.
        planets: how many planets.
        which: which of them, from 1.

    >>> round(float(np.degrees(planet_place(18, 54, 5, 2))), 3)
    70.0
    """
    for name, value in (("sun_teeth", sun_teeth), ("ring_teeth", ring_teeth), ("planets", planets), ("which", which)):
        positive(name, value)
    places = np.asarray(sun_teeth) + ring_teeth
    return 2 * np.pi / places * np.floor((np.asarray(which) - 1) * places / planets + 0.5)
