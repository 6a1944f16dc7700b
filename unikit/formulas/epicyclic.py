"""Planetary gear trains: ratio, assembly, clearance, reaction torque, search for tooth counts."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from .. import units as u
from .checks import one_of, positive, within
from .registry import formula

MEMBERS = ("sun", "ring", "carrier")
_MOST_RING_TEETH = 1000


class MemberTorques(NamedTuple):
    """Torque that each member gets from outside the train."""

    sun: u.NewtonMetre
    ring: u.NewtonMetre
    carrier: u.NewtonMetre


class MemberSpeeds(NamedTuple):
    """Turning rate of each member, seen from the frame."""

    sun: u.RadianPerSecond
    ring: u.RadianPerSecond
    carrier: u.RadianPerSecond


class Train(NamedTuple):
    """One planetary train that can be built."""

    sun: int
    planet: int
    ring: int
    planets: int
    ratio: float


def _weights(sun_teeth: u.Number, ring_teeth: u.Number) -> dict[str, u.Number]:
    """Factors w with sum(w * speed) = 0 over the members.

    They add to zero, and without loss the outside torques stand in the same
    proportion, whoever is held or driven: no work is lost in any motion that
    the train allows.
    """
    positive("sun_teeth", sun_teeth)
    positive("ring_teeth - sun_teeth", ring_teeth - sun_teeth)
    return {"sun": sun_teeth, "ring": ring_teeth, "carrier": -(sun_teeth + ring_teeth)}


def _roles(**roles: str) -> None:
    for role, member in roles.items():
        one_of(role, member, MEMBERS)
    if len(set(roles.values())) < len(roles):
        raise ValueError(f"{', '.join(roles)} must be different members, got {', '.join(map(repr, roles.values()))}")


def _whole(name: str, value: u.Number) -> None:
    positive(name, value)
    if not np.all(np.mod(value, 1) == 0):
        raise ValueError(f"{name} must be a whole number, got {np.array2string(np.asarray(value), threshold=6)}")


@formula(
    equation=r"i = -\frac{w_\mathrm{driver}}{w_\mathrm{driven}},\quad w_s = z_s,\ w_r = z_r,\ w_c = -(z_s + z_r)",
    source="willis",
    sign="negative where driver and driven turn opposite ways",
)
def ratio(sun_teeth: u.Number, ring_teeth: u.Number, fixed: str, driver: str, driven: str) -> u.Ratio:
    """Turns of the driven member per turn of the driver.

    Args:
        sun_teeth: teeth of the sun.
        ring_teeth: teeth of the ring.
        fixed: member held still, "sun", "ring" or "carrier".
        driver: member that is turned.
        driven: member that is the output.

    >>> ratio(30, 60, fixed="sun", driver="carrier", driven="ring")
    1.5
    """
    _roles(fixed=fixed, driver=driver, driven=driven)
    weights = _weights(sun_teeth, ring_teeth)
    return -weights[driver] / weights[driven]


@formula(
    equation=r"z_r = z_s + 2 z_p,\quad \frac{z_s + z_r}{n} \in \mathbb{N}",
    source="sdp_planetary",
    valid="standard gears without profile shift, planets at equal angles",
)
def assembles(sun_teeth: u.Number, planet_teeth: u.Number, ring_teeth: u.Number, planets: u.Number) -> bool:
    """Whether the gears share an axis and the planets go in at equal angles.

    Args:
        sun_teeth: teeth of the sun.
        planet_teeth: teeth of each planet.
        ring_teeth: teeth of the ring.
        planets: how many planets.

    >>> bool(assembles(16, 16, 48, 4)), bool(assembles(16, 16, 48, 3))
    (True, False)
    """
    for name, value in (("sun_teeth", sun_teeth), ("planet_teeth", planet_teeth), ("ring_teeth", ring_teeth), ("planets", planets)):
        _whole(name, value)
    coaxial = np.equal(ring_teeth, sun_teeth + 2 * planet_teeth)
    return coaxial & np.equal(np.mod(sun_teeth + ring_teeth, planets), 0)


@formula(
    equation=r"z_p + 2 a < (z_s + z_p)\,\sin\frac{\pi}{n}",
    source="sdp_planetary",
    valid="planets at equal angles; leaves no room for a carrier web between them",
)
def planets_clear(sun_teeth: u.Number, planet_teeth: u.Number, planets: u.Number, addendum: u.Ratio = 1.0) -> bool:
    """Whether the tips of neighbouring planets pass each other.

    Args:
        sun_teeth: teeth of the sun.
        planet_teeth: teeth of each planet.
        planets: how many planets; a single one has no neighbour.
        addendum: tooth tip above the pitch circle over the module.

    >>> bool(planets_clear(16, 16, 4)), bool(planets_clear(16, 16, 8))
    (True, False)
    """
    for name, value in (("sun_teeth", sun_teeth), ("planet_teeth", planet_teeth), ("planets", planets)):
        _whole(name, value)
    positive("addendum", addendum)
    room = (sun_teeth + planet_teeth) * np.sin(np.pi / np.asarray(planets))
    return np.equal(planets, 1) | (planet_teeth + 2 * addendum < room)


@formula(
    equation=r"\frac{T_s}{z_s} = \frac{T_r}{z_r} = -\frac{T_c}{z_s + z_r}",
    source="planetary_torques",
    sign="torque from outside on the member, all positive the same way round; they add to zero",
    valid="steady and without loss in the meshes",
)
def member_torques(sun_teeth: u.Number, ring_teeth: u.Number, driver: str, driver_torque: u.NewtonMetre) -> MemberTorques:
    """Torques on all three members when one of them is known.

    Args:
        sun_teeth: teeth of the sun.
        ring_teeth: teeth of the ring.
        driver: member whose torque is known.
        driver_torque: torque on it from outside.

    >>> member_torques(16, 64, "sun", 100.0)
    MemberTorques(sun=100.0, ring=400.0, carrier=-500.0)
    """
    _roles(driver=driver)
    weights = _weights(sun_teeth, ring_teeth)
    return MemberTorques(*(driver_torque * (weights[member] / weights[driver]) for member in MEMBERS))


@formula(
    equation=r"T_\mathrm{fixed} = -(T_\mathrm{driver} + T_\mathrm{driven}),\quad T_\mathrm{driven} = -\frac{\eta}{i}\,T_\mathrm{driver}",
    source="planetary_torques",
    sign="torque from outside on the fixed member, positive the way the driver's torque is",
    valid="steady; power goes from the driver to the driven member, and what is lost is lost against the fixed one",
)
def reaction_torque(
    sun_teeth: u.Number, ring_teeth: u.Number, fixed: str, driver: str, driven: str, driver_torque: u.NewtonMetre, efficiency: u.Ratio = 1.0
) -> u.NewtonMetre:
    """Torque that must hold the fixed member still: of a train that steps up, every loss adds to it.

    Args:
        sun_teeth: teeth of the sun.
        ring_teeth: teeth of the ring.
        fixed: member held still, "sun", "ring" or "carrier".
        driver: member that is turned.
        driven: member that is the output.
        driver_torque: torque on the driver from outside.
        efficiency: power out over power in.

    >>> round(reaction_torque(30, 60, fixed="sun", driver="carrier", driven="ring", driver_torque=60.0), 9)
    -20.0
    >>> round(reaction_torque(30, 60, "sun", "carrier", "ring", 60.0, 0.95), 9)
    -22.0
    """
    within("efficiency", efficiency, 0.0, 1.0)
    return -driver_torque * (1 - efficiency / ratio(sun_teeth, ring_teeth, fixed, driver, driven))


@formula(
    equation=r"z_s\omega_s + z_r\omega_r = (z_s + z_r)\,\omega_c",
    source="willis",
    sign="all positive the same way round",
)
def member_speeds(sun_teeth: u.Number, ring_teeth: u.Number, fixed: str, driver: str, driver_speed: u.RadianPerSecond) -> MemberSpeeds:
    """Turning rates of all three members when one is held and one is turned.

    Args:
        sun_teeth: teeth of the sun.
        ring_teeth: teeth of the ring.
        fixed: member held still, "sun", "ring" or "carrier".
        driver: member that is turned.
        driver_speed: its turning rate.

    >>> member_speeds(30, 60, fixed="sun", driver="carrier", driver_speed=8.0)
    MemberSpeeds(sun=0.0, ring=12.0, carrier=8.0)
    """
    _roles(fixed=fixed, driver=driver)
    (driven,) = set(MEMBERS) - {fixed, driver}
    share = ratio(sun_teeth, ring_teeth, fixed, driver, driven)
    factors = {fixed: share - share, driver: share / share, driven: share}
    return MemberSpeeds(*(driver_speed * factors[member] for member in MEMBERS))


@formula(
    equation=r"\omega_p = \omega_c - \frac{z_s}{z_p}(\omega_s - \omega_c)",
    source="willis",
    sign="seen from the frame; take the carrier's speed off for the planet's bearing",
)
def planet_speed(
    sun_teeth: u.Number, planet_teeth: u.Number, sun_speed: u.RadianPerSecond, carrier_speed: u.RadianPerSecond
) -> u.RadianPerSecond:
    """Turning rate of a planet about its own axis.

    Args:
        sun_teeth: teeth of the sun.
        planet_teeth: teeth of each planet.
        sun_speed: turning rate of the sun.
        carrier_speed: turning rate of the carrier.

    >>> planet_speed(30, 15, 0.0, 1.0)
    3.0
    """
    positive("sun_teeth", sun_teeth)
    positive("planet_teeth", planet_teeth)
    return carrier_speed - sun_teeth / planet_teeth * (sun_speed - carrier_speed)


def find_teeth(
    wanted_ratio: float,
    tolerance: float,
    greatest_ring_teeth: int,
    planets: int,
    fixed: str = "sun",
    driver: str = "carrier",
    driven: str = "ring",
    smallest_teeth: int = 13,
) -> list[Train]:
    """Every train of standard gears that comes near a ratio, assembles and leaves its planets clear.

    All pairs of sun and planet teeth are tried; the ring follows from the
    common axis.  The list is empty when there is none.  The nearest ratio
    comes first, and of equal ones the smallest ring.  ``trains.search`` also
    asks whether a step-up train can be cut, and says what refused the others.

    Args:
        wanted_ratio: turns of the driven member per turn of the driver.
        tolerance: how far the ratio may be off, either way.
        greatest_ring_teeth: most teeth that the ring may have.
        planets: how many planets.
        fixed: member held still, "sun", "ring" or "carrier".
        driver: member that is turned.
        driven: member that is the output.
        smallest_teeth: fewest teeth that sun and planets may have.

    >>> find_teeth(1.5, 0.0, 60, 3)[0]
    Train(sun=26, planet=13, ring=52, planets=3, ratio=1.5)
    """
    _roles(fixed=fixed, driver=driver, driven=driven)
    for name, value in (("planets", planets), ("smallest_teeth", smallest_teeth), ("greatest_ring_teeth", greatest_ring_teeth)):
        _whole(name, value)
    within("greatest_ring_teeth", greatest_ring_teeth, 1, _MOST_RING_TEETH)
    within("tolerance", tolerance, 0.0, math.inf)
    within("wanted_ratio", wanted_ratio, -math.inf, math.inf)
    sun, planet = np.meshgrid(
        np.arange(smallest_teeth, greatest_ring_teeth - 2 * smallest_teeth + 1),
        np.arange(smallest_teeth, (greatest_ring_teeth - smallest_teeth) // 2 + 1),
        indexing="ij",
    )
    kept = sun + 2 * planet <= greatest_ring_teeth
    sun, planet = sun[kept], planet[kept]
    ring = sun + 2 * planet
    found = ratio(sun, ring, fixed, driver, driven)
    off = np.abs(found - wanted_ratio)
    # the hair keeps trains that lie exactly on the edge of a tolerance such as 0.1
    kept = (off <= tolerance + 1e-12) & assembles(sun, planet, ring, planets) & planets_clear(sun, planet, planets)
    order = np.lexsort((ring[kept], np.round(off[kept], 12)))
    chosen = zip(sun[kept][order], planet[kept][order], ring[kept][order], found[kept][order], strict=True)
    return [Train(int(s), int(p), int(r), int(planets), float(i)) for s, p, r, i in chosen]
