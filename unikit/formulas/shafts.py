"""Axles and what holds them: torsion and bending of hollow shafts, fatigue, keys, splines, torque arms."""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import not_negative, positive, within
from .registry import formula


def _hollow(diameter: u.Metre, bore: u.Metre) -> u.Ratio:
    """What a bore leaves of the section modulus, as a share."""
    positive("diameter", diameter)
    not_negative("bore", bore)
    positive("diameter - bore", np.asarray(diameter) - bore)
    return 1 - (bore / diameter) ** 4


@formula(
    equation=r"\tau = \frac{16\,T\,d}{\pi\,(d^4 - d_i^4)}",
    source="gere_mechanics",
    sign="as that of the torque",
    valid="round, elastic, away from notches",
)
def torsion_stress(torque: u.NewtonMetre, diameter: u.Metre, bore: u.Metre = 0.0) -> u.Pascal:
    """Shear stress at the surface of a round shaft in torsion.

    Args:
        torque: torque in the shaft.
        diameter: outer diameter.
        bore: diameter of the bore, 0 for a solid shaft.

    >>> round(float(torsion_stress(4000.0, 0.08, 0.06) / 1e6), 2)
    58.21
    """
    return 16 * torque / (np.pi * diameter**3 * _hollow(diameter, bore))


@formula(
    equation=r"\sigma = \frac{32\,M\,d}{\pi\,(d^4 - d_i^4)}",
    source="gere_mechanics",
    sign="as that of the moment",
    valid="round, elastic, away from notches",
)
def bending_stress(moment: u.NewtonMetre, diameter: u.Metre, bore: u.Metre = 0.0) -> u.Pascal:
    """Stress at the surface of a round shaft in bending.

    Args:
        moment: bending moment.
        diameter: outer diameter.
        bore: diameter of the bore, 0 for a solid shaft.

    >>> round(float(bending_stress(100.0, 0.02) / 1e6), 2)
    127.32
    """
    return 32 * moment / (np.pi * diameter**3 * _hollow(diameter, bore))


@formula(equation=r"\theta = \frac{32\,T\,l}{\pi\,G\,(d^4 - d_i^4)}", source="gere_mechanics", sign="as that of the torque")
def twist(torque: u.NewtonMetre, length: u.Metre, diameter: u.Metre, shear_modulus: u.Pascal, bore: u.Metre = 0.0) -> u.Radian:
    """Angle by which one end of a round shaft turns against the other.

    Args:
        torque: torque in the shaft.
        length: length of the shaft.
        diameter: outer diameter.
        shear_modulus: shear modulus of the material.
        bore: diameter of the bore, 0 for a solid shaft.

    >>> round(float(twist(100.0, 0.1, 0.02, 79e9)), 5)
    0.00806
    """
    positive("shear_modulus", shear_modulus)
    return 32 * torque * length / (np.pi * shear_modulus * diameter**4 * _hollow(diameter, bore))


@formula(equation=r"d = \sqrt[3]{\frac{16\,T}{\pi\,\tau\,(1 - c^4)}}", source="gere_mechanics", sign="c is bore over diameter")
def diameter_for_stress(torque: u.NewtonMetre, shear_limit: u.Pascal, bore_ratio: u.Ratio = 0.0) -> u.Metre:
    """Outer diameter at which a torque gives a shear stress.

    Args:
        torque: torque in the shaft.
        shear_limit: shear stress allowed.
        bore_ratio: bore over diameter.

    >>> round(float(1e3 * diameter_for_stress(1200.0, 40e6)), 1)
    53.5
    """
    positive("shear_limit", shear_limit)
    return np.cbrt(16 * torque / (np.pi * shear_limit * _hollow(1.0, bore_ratio)))


@formula(equation=r"d = \sqrt[4]{\frac{32\,T\,l}{\pi\,G\,\theta\,(1 - c^4)}}", source="gere_mechanics", sign="c is bore over diameter")
def diameter_for_twist(
    torque: u.NewtonMetre, length: u.Metre, angle: u.Radian, shear_modulus: u.Pascal, bore_ratio: u.Ratio = 0.0
) -> u.Metre:
    """Outer diameter at which a torque gives an angle of twist.

    Args:
        torque: torque in the shaft.
        length: length over which the twist is counted.
        angle: twist allowed over that length.
        shear_modulus: shear modulus of the material.
        bore_ratio: bore over diameter.

    >>> round(float(1e3 * diameter_for_twist(1200.0, 1.0, np.radians(0.75), 78e9)), 1)
    58.8
    """
    positive("angle", angle)
    positive("shear_modulus", shear_modulus)
    return (32 * torque * length / (np.pi * shear_modulus * angle * _hollow(1.0, bore_ratio))) ** 0.25


@formula(
    equation=r"\sigma_v = \sqrt{\sigma^2 + 3\tau^2}", source="shigley_design", valid="ductile material; bending and torsion of a shaft"
)
def von_mises(normal_stress: u.Pascal, shear_stress: u.Pascal) -> u.Pascal:
    """Stress in plain tension that is as hard on a ductile material.

    Args:
        normal_stress: stress from bending.
        shear_stress: stress from torsion at the same place.

    >>> float(von_mises(30.0, 0.0)), round(float(von_mises(0.0, 10.0)), 2)
    (30.0, 17.32)
    """
    return np.sqrt(normal_stress**2 + 3 * shear_stress**2)


@formula(equation=r"\tau_\mathrm{max} = \sqrt{\tau^2 + (\sigma/2)^2}", source="wentzell_design", valid="bending and torsion of a shaft")
def maximum_shear(normal_stress: u.Pascal, shear_stress: u.Pascal) -> u.Pascal:
    """Greatest shear stress in any direction.

    Args:
        normal_stress: stress from bending.
        shear_stress: stress from torsion.

    >>> float(maximum_shear(60.0, 40.0))
    50.0
    """
    return np.sqrt(shear_stress**2 + (normal_stress / 2) ** 2)


@formula(equation=r"n = \frac{S_y}{\sqrt{\sigma^2 + 3\tau^2}}", source="shigley_design")
def yield_factor(normal_stress: u.Pascal, shear_stress: u.Pascal, yield_strength: u.Pascal) -> u.Ratio:
    """By what factor all loads may grow until a ductile shaft yields.

    Args:
        normal_stress: greatest stress from bending.
        shear_stress: greatest stress from torsion.
        yield_strength: yield strength.

    >>> round(float(yield_factor(105.0, 39.76, 565.4)), 2)
    4.5
    """
    return yield_strength / von_mises(normal_stress, shear_stress)


@formula(
    equation=r"\frac{1}{n} = \frac{\sigma_a}{S_e} + \frac{\sigma_m}{S_{ut}}",
    source="shigley_design",
    sign="stresses of von Mises, notches in them",
    valid="endless life of a ductile steel",
)
def goodman_factor(alternating: u.Pascal, mean: u.Pascal, endurance: u.Pascal, tensile: u.Pascal) -> u.Ratio:
    """By what factor all loads may grow until a part fails in fatigue, by the line of Goodman; without load there is no limit.

    Args:
        alternating: amplitude of the stress.
        mean: mean of the stress.
        endurance: alternating stress that the part bears for ever.
        tensile: tensile strength.

    >>> round(float(goodman_factor(105.0, 68.86, 202.0, 723.9)), 2)
    1.63
    """
    not_negative("alternating", alternating)
    not_negative("mean", mean)
    positive("endurance", endurance)
    positive("tensile", tensile)
    with np.errstate(divide="ignore"):
        return np.divide(1.0, alternating / endurance + mean / tensile)[()]


@formula(
    equation=r"\frac{1}{n^2} = \left(\frac{\sigma_a}{S_e}\right)^2 + \left(\frac{\sigma_m}{S_y}\right)^2",
    source="shigley_design",
    sign="stresses of von Mises, notches in them",
    valid="endless life of a ductile steel",
)
def elliptic_factor(alternating: u.Pascal, mean: u.Pascal, endurance: u.Pascal, yield_strength: u.Pascal) -> u.Ratio:
    """The same by the ellipse, which asks less than the line.

    Args:
        alternating: amplitude of the stress.
        mean: mean of the stress.
        endurance: alternating stress that the part bears for ever.
        yield_strength: yield strength.

    >>> round(float(elliptic_factor(105.0, 68.86, 202.0, 565.4)), 2)
    1.87
    """
    return 1 / np.sqrt((alternating / endurance) ** 2 + (mean / yield_strength) ** 2)


@formula(equation=r"\tau = \frac{2\,T}{d\,b\,l}", source="wentzell_design")
def key_shear(torque: u.NewtonMetre, diameter: u.Metre, width: u.Metre, length: u.Metre) -> u.Pascal:
    """Shear stress in a parallel key.

    Args:
        torque: torque that it transmits.
        diameter: diameter of the shaft.
        width: width of the key.
        length: length of the key.

    >>> round(key_shear(100.0, 0.02, 0.005, 0.02) / 1e6, 6)
    100.0
    """
    for name, value in (("diameter", diameter), ("width", width), ("length", length)):
        positive(name, value)
    return 2 * torque / (diameter * width * length)


@formula(equation=r"p = \frac{4\,T}{d\,h\,l}", source="wentzell_design", valid="half of the key's height carries")
def key_pressure(torque: u.NewtonMetre, diameter: u.Metre, height: u.Metre, length: u.Metre) -> u.Pascal:
    """Pressure on the sides of a parallel key.

    Args:
        torque: torque that it transmits.
        diameter: diameter of the shaft.
        height: height of the key.
        length: length of the key.

    >>> round(key_pressure(100.0, 0.02, 0.005, 0.02) / 1e6, 6)
    200.0
    """
    for name, value in (("diameter", diameter), ("height", height), ("length", length)):
        positive(name, value)
    return 4 * torque / (diameter * height * length)


@formula(equation=r"p = \frac{8\,T}{l\,n\,(D^2 - d^2)}", source="singh_design", valid="straight sides, all of them carrying alike")
def spline_pressure(torque: u.NewtonMetre, teeth: u.Number, outer: u.Metre, inner: u.Metre, length: u.Metre) -> u.Pascal:
    """Pressure on the sides of a spline.

    Args:
        torque: torque that it transmits.
        teeth: number of splines.
        outer: outer diameter.
        inner: inner diameter.
        length: length of the spline.

    >>> round(float(spline_pressure(596.8, 8, 0.060, 0.052, 0.111) / 1e6), 2)
    6.0
    """
    positive("outer - inner", np.asarray(outer) - inner)
    positive("teeth", teeth)
    positive("length", length)
    return 8 * torque / (length * teeth * (outer**2 - inner**2))


@formula(equation=r"F = \frac{T}{L}", source="statics", sign="as that of the torque")
def arm_force(torque: u.NewtonMetre, length: u.Metre) -> u.Newton:
    """Force at the end of a torque arm.

    Args:
        torque: torque that the arm holds.
        length: from the axle to where it is held.

    >>> arm_force(60.0, 0.12)
    500.0
    """
    positive("length", length)
    return torque / length


@formula(
    equation=r"F = \frac{T}{s}", source="statics", sign="opposite on the two bolts", valid="no friction under the heads; nothing else holds"
)
def bolt_pair_force(torque: u.NewtonMetre, spacing: u.Metre) -> u.Newton:
    """Force across each of two bolts that hold a torque between them.

    Args:
        torque: torque that they hold.
        spacing: distance of the bolts.

    >>> bolt_pair_force(60.0, 0.04)
    1500.0
    """
    positive("spacing", spacing)
    return torque / spacing


@formula(
    equation=r"\hat M_b = k\,\frac{m g}{2}\,a,\quad g = 9.81",
    source="statics",
    valid="an axle held at both ends, the load shared by halves",
)
def axle_moment(mass: u.Kilogram, overhang: u.Metre, drop_factor: u.Ratio = 1.0) -> u.NewtonMetre:
    """Bending moment in a fixed axle between its end in the frame and the bearing that it carries.

    Args:
        mass: mass that rests on the axle.
        overhang: from the end in the frame to the bearing.
        drop_factor: load of a landing over the weight.

    >>> round(float(axle_moment(80.0, 0.02, 3.0)), 2)
    23.54
    """
    within("drop_factor", drop_factor, 0.0, 100.0)
    not_negative("overhang", overhang)
    return drop_factor * mass * 9.81 / 2 * overhang
