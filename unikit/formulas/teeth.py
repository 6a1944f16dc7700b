"""Strength of spur gear teeth: bending at the root, pressure between the flanks."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from .checks import not_negative, one_of, positive, warn_outside, within
from .registry import formula

# Lewis form factors of teeth of standard height at 20 degrees, load at the tip; the last one is the rack.
_TEETH = (12.0, 13.0, 14.0, 15.0, 16.0, 17.0, 18.0, 19.0, 20.0, 21.0, 22.0, 24.0, 26.0, 28.0, 30.0, 34.0, 38.0, 43.0, 50.0, 60.0, 75.0)
_TEETH += (100.0, 150.0, 300.0, np.inf)
_LEWIS = (
    0.245,
    0.261,
    0.277,
    0.290,
    0.296,
    0.303,
    0.309,
    0.314,
    0.322,
    0.328,
    0.331,
    0.337,
    0.346,
    0.353,
    0.359,
    0.371,
    0.384,
    0.397,
    0.409,
)
_LEWIS += (0.422, 0.435, 0.447, 0.460, 0.472, 0.485)
_INVERSE = tuple(1.0 / teeth for teeth in reversed(_TEETH))

FINISHES = ("cast", "cut", "hobbed", "ground")
_DEDENDUM, _TIP_ROUNDING, _FLANK = 1.25, 0.38, np.radians(20.0)  # of the basic rack of ISO 53, in modules
_TANGENT = np.pi / 3  # the critical section lies where the fillet makes 30 degrees with the middle of the tooth
_ROUNDS = 12


class LineContact(NamedTuple):
    """Two cylinders pressed together: half the width of the flat, and the pressure in its middle."""

    half_width: u.Metre
    pressure: u.Pascal


@formula(
    equation=r"Y(z)", source="lewis_table", valid="full-depth teeth at 20 degrees without profile shift, 12 teeth or more, load at the tip"
)
def lewis_form_factor(teeth: u.Number) -> u.Ratio:
    """Lewis form factor Y of a tooth, by the table with interpolation over 1/z.

    Two tables circulate that differ by up to 1.1 % (0.258 against 0.261 at 13
    teeth); this is the one with the larger numbers.

    Args:
        teeth: teeth of the gear; infinite for a rack.

    >>> float(lewis_form_factor(20)), float(lewis_form_factor(np.inf))
    (0.322, 0.485)
    """
    positive("teeth", teeth)
    warn_outside("teeth", teeth, 12.0, np.inf, "the table of Lewis factors")
    return np.interp(1.0 / np.asarray(teeth, float), _INVERSE, tuple(reversed(_LEWIS)))


@formula(
    equation=r"\sigma = \frac{F_t}{b\,m\,Y}", source="shigley_design", valid="load at the tip of one tooth, without stress concentration"
)
def lewis_bending_stress(tangential_force: u.Newton, module: u.Metre, face_width: u.Metre, form_factor: u.Ratio) -> u.Pascal:
    """Bending stress at the root of a tooth taken as a beam.

    Args:
        tangential_force: force along the pitch circle; velocity and overload factors multiply it.
        module: module of the teeth.
        face_width: width of the teeth along the axle.
        form_factor: Lewis form factor Y.

    >>> round(float(lewis_bending_stress(1000.0, 0.002, 0.02, 0.322) / 1e6), 2)
    77.64
    """
    positive("module", module)
    positive("face_width", face_width)
    positive("form_factor", form_factor)
    return tangential_force / (face_width * module * form_factor)


@formula(
    equation=r"K_v = \frac{3.05+v}{3.05},\ \frac{6.1+v}{6.1},\ \frac{3.56+\sqrt v}{3.56},\ \sqrt{\frac{5.56+\sqrt v}{5.56}}",
    source="shigley_design",
    sign="in the order cast, cut, hobbed, ground; v in m/s",
)
def velocity_factor(pitch_speed: u.MetrePerSecond, finish: str) -> u.Ratio:
    """By how much the load on a moving tooth is above the steady one.

    Args:
        pitch_speed: speed of the pitch circle.
        finish: how the teeth were made, "cast", "cut" (milled), "hobbed" (or shaped), "ground" (or shaved).

    >>> round(float(velocity_factor(5.0, "cut")), 3)
    1.82
    """
    one_of("finish", finish, FINISHES)
    not_negative("pitch_speed", pitch_speed)
    if finish in ("cast", "cut"):
        base = 3.05 if finish == "cast" else 6.1
        return (base + pitch_speed) / base
    if finish == "hobbed":
        return (3.56 + np.sqrt(pitch_speed)) / 3.56
    return np.sqrt((5.56 + np.sqrt(pitch_speed)) / 5.56)


@formula(equation=r"F_n = \frac{T}{r\,\cos\alpha}", source="statics", sign="as that of the torque")
def tooth_force(torque: u.NewtonMetre, pitch_radius: u.Metre, pressure_angle: u.Radian) -> u.Newton:
    """Force along the line of action, at right angles to the flanks; at a pressure angle of 0 the tangential force.

    Args:
        torque: torque that the mesh carries.
        pitch_radius: radius of the working pitch circle.
        pressure_angle: working pressure angle.

    >>> round(tooth_force(100.0, 0.05, 0.0))
    2000
    """
    positive("pitch_radius", pitch_radius)
    within("pressure_angle", pressure_angle, 0.0, 1.2)
    return torque / (pitch_radius * np.cos(pressure_angle))


@formula(
    equation=r"\sigma = \frac{F_t}{b\,m}\,\frac{K_o K_v K_s K_m K_B}{J}",
    source="shigley_design",
    valid="the factors are those of AGMA 2001; only their product counts",
)
def root_stress(
    tangential_force: u.Newton,
    module: u.Metre,
    face_width: u.Metre,
    geometry_factor: u.Ratio,
    overload: u.Ratio = 1.0,
    dynamic: u.Ratio = 1.0,
    size: u.Ratio = 1.0,
    face_load: u.Ratio = 1.0,
    rim: u.Ratio = 1.0,
) -> u.Pascal:
    """Bending stress at the root with stress concentration, load where one pair carries all.

    Args:
        tangential_force: force along the pitch circle.
        module: module of the teeth.
        face_width: width of the teeth along the axle.
        geometry_factor: J of the tooth.
        overload: shocks from outside.
        dynamic: velocity factor.
        size: size factor.
        face_load: load where it is greatest over the mean along the width.
        rim: rim thickness factor.

    >>> round(float(root_stress(1000.0, 0.002, 0.02, 0.25) / 1e6), 6)
    100.0
    """
    positive("module", module)
    positive("face_width", face_width)
    positive("geometry_factor", geometry_factor)
    return tangential_force * overload * dynamic * size * face_load * rim / (face_width * module * geometry_factor)


@formula(
    equation=r"J = \frac{1}{Y_F Y_S},\ Y_F = \frac{6 h \cos\alpha_F}{s_F^2\cos\alpha},\ Y_S = (1.2 + 0.13 L)\,q_s^{1/(1.21 + 2.3/L)}",
    source="iso6336_3",
    sign="lengths in modules; L = s_F/h, q_s = s_F/(2 rho_F)",
    valid="external spur teeth of the basic rack of ISO 53 (height 1.25, rounding 0.38, 20 degrees); 1 <= q_s < 8",
)
def geometry_factor(teeth: u.Number, shift: u.Ratio, overlap: u.Ratio, tip_share: u.Ratio) -> u.Ratio:
    """Form and notch of a tooth whose load stands at the highest point at which one pair carries all.

    Profile shift counts, which no table of form factors has.

    Args:
        teeth: teeth of the gear; a large number stands for a rack.
        shift: profile shift over the module.
        overlap: contact ratio of the mesh.
        tip_share: contact ratio that this gear's tip adds beyond the pitch point.

    >>> round(float(geometry_factor(20, 0.0, 1.55, 0.76)), 3)
    0.331
    """
    positive("teeth", teeth)
    within("shift", shift, -0.9, 0.9)
    within("overlap", overlap, 1.0, 2.0)
    # With z the number of teeth all lengths are in modules. First the 30 degree tangent to the fillet that the rack's tip makes.
    lever = _TIP_ROUNDING - _DEDENDUM + shift
    edge = np.pi / 4 - _DEDENDUM * np.tan(_FLANK) - (1 - np.sin(_FLANK)) * _TIP_ROUNDING / np.cos(_FLANK)
    turned = 2 / teeth * (np.pi / 2 - edge) - np.pi / 3
    theta = np.pi / 6
    for _ in range(_ROUNDS):
        theta = theta - (theta - 2 * lever / teeth * np.tan(theta) + turned) / (1 - 2 * lever / teeth / np.cos(theta) ** 2)
    reach = lever / np.cos(theta) - _TIP_ROUNDING
    root = teeth * np.sin(_TANGENT - theta) + np.sqrt(3.0) * reach
    rounding = _TIP_ROUNDING + 2 * lever**2 / (np.cos(theta) * (teeth * np.cos(theta) ** 2 - 2 * lever))
    # Then the load: how far along the line of action from the pitch point, in roll angles of this gear.
    tangent = np.tan(_FLANK) + 2 * np.pi / teeth * (tip_share - overlap + 1)
    base = teeth * np.cos(_FLANK)
    involute = lambda slope: slope - np.arctan(slope)
    half = (np.pi / 2 + 2 * shift * np.tan(_FLANK)) / teeth + involute(np.tan(_FLANK)) - involute(tangent)
    leaning = np.arctan(tangent) - half
    arm = 0.5 * (
        (np.cos(half) - np.sin(half) * np.tan(leaning)) * base * np.sqrt(1 + tangent**2) - teeth * np.cos(_TANGENT - theta) - reach
    )
    form = 6 * arm * np.cos(leaning) / (root**2 * np.cos(_FLANK))
    slender = root / arm
    notch = (1.2 + 0.13 * slender) * (root / (2 * rounding)) ** (1 / (1.21 + 2.3 / slender))
    return 1 / (form * notch)


@formula(equation=r"Z_E = \sqrt{\frac{1}{\pi\left(\frac{1-\nu_1^2}{E_1} + \frac{1-\nu_2^2}{E_2}\right)}}", source="iso6336_2")
def elastic_coefficient(modulus_1: u.Pascal, poisson_1: u.Ratio, modulus_2: u.Pascal, poisson_2: u.Ratio) -> u.RootPascal:
    """What the two materials give to the pressure between flanks; steel on steel 190 in roots of N/mm2.

    Args:
        modulus_1: elastic modulus of one gear.
        poisson_1: its Poisson ratio.
        modulus_2: elastic modulus of the other.
        poisson_2: its Poisson ratio.

    >>> round(float(elastic_coefficient(206e9, 0.3, 206e9, 0.3) / 1e3), 2)
    189.81
    """
    positive("modulus_1", modulus_1)
    positive("modulus_2", modulus_2)
    return 1 / np.sqrt(np.pi * ((1 - poisson_1**2) / modulus_1 + (1 - poisson_2**2) / modulus_2))


@formula(
    equation=r"Z_H = \sqrt{\frac{2}{\cos^2\alpha\,\tan\alpha}}", source="iso6336_2", valid="spur gears whose profile shifts add to nothing"
)
def zone_factor(pressure_angle: u.Radian) -> u.Ratio:
    """What the curvature of the flanks at the pitch point gives to the pressure.

    Args:
        pressure_angle: pressure angle of the basic rack.

    >>> round(float(zone_factor(np.radians(20.0))), 3)
    2.495
    """
    within("pressure_angle", pressure_angle, 0.1, 1.2)
    return np.sqrt(2 / (np.cos(pressure_angle) ** 2 * np.tan(pressure_angle)))


@formula(
    equation=r"p = Z_E\sqrt{\frac{F}{l}\left(\frac{1}{r_1} + \frac{1}{r_2}\right)},\quad a = \frac{2F}{\pi\,l\,p}",
    source="hertz_1882",
    sign="a hollow partner has a negative radius",
    valid="long cylinders, elastic, without friction; flat small against the radii",
)
def line_contact(force: u.Newton, length: u.Metre, radius_1: u.Metre, radius_2: u.Metre, elastic_coefficient: u.RootPascal) -> LineContact:
    """Greatest pressure and half width where two cylinders touch along a line.

    Args:
        force: force that presses them together.
        length: length of the line.
        radius_1: radius of one cylinder.
        radius_2: radius of the other.
        elastic_coefficient: what the materials give.

    >>> round(line_contact(1000.0, 0.02, 0.01, 0.03, 189.81e3).pressure / 1e6)
    490
    """
    positive("length", length)
    curvature = 1.0 / np.asarray(radius_1, float) + 1.0 / np.asarray(radius_2, float)
    positive("1/radius_1 + 1/radius_2", curvature)
    positive("force", force)
    pressure = elastic_coefficient * np.sqrt(force / length * curvature)
    return LineContact((2 * force / (np.pi * length * pressure))[()], pressure[()])


@formula(
    equation=r"p = Z_E\sqrt{\frac{F_t}{b\cos\alpha\sin\alpha}\left(\frac{1}{r_1} \pm \frac{1}{r_2}\right)}",
    source="shigley_design, iso6336_2",
    sign="plus for an external mesh, minus where the second gear is a ring",
    valid="at the pitch point, where one pair carries all",
)
def contact_stress(
    tangential_force: u.Newton,
    face_width: u.Metre,
    pinion_radius: u.Metre,
    wheel_radius: u.Metre,
    pressure_angle: u.Radian,
    elastic_coefficient: u.RootPascal,
    internal: bool = False,
) -> u.Pascal:
    """Pressure between two flanks at the pitch point.

    Args:
        tangential_force: force along the pitch circle; velocity and overload factors multiply it.
        face_width: width of the teeth along the axle.
        pinion_radius: pitch radius of the smaller gear.
        wheel_radius: pitch radius of the larger gear.
        pressure_angle: working pressure angle.
        elastic_coefficient: what the materials give.
        internal: whether the larger gear is a ring.

    >>> round(contact_stress(1000.0, 0.02, 0.02, 0.06, np.radians(20.0), 189.8e3) / 1e6)
    611
    """
    positive("tangential_force", tangential_force)
    positive("face_width", face_width)
    positive("pinion_radius", pinion_radius)
    curvature = 1.0 / np.asarray(pinion_radius, float) + (-1.0 if internal else 1.0) / np.asarray(wheel_radius, float)
    positive("curvature of the flanks", curvature)
    angle = np.cos(pressure_angle) * np.sin(pressure_angle)
    return elastic_coefficient * np.sqrt(tangential_force / (face_width * angle) * curvature)


@formula(
    equation=r"Z_B = \max\left(1, \sqrt{\frac{\rho_1 \rho_2}{\rho_1' \rho_2'}}\right),\ \rho_1' = \rho_1 - (1 - \varepsilon_1)\,p_b",
    source="iso6336_2",
    sign="the other curvature grows by as much in an external mesh, and shrinks by as much in a ring",
)
def single_contact_factor(
    pinion_teeth: u.Number, wheel_teeth: u.Number, pressure_angle: u.Radian, pinion_tip: u.Ratio, internal: bool = False
) -> u.Ratio:
    """Pressure at the lowest point of the pinion's flank at which one pair carries all, over that at the pitch point.

    Args:
        pinion_teeth: teeth of the smaller gear.
        wheel_teeth: teeth of the larger gear.
        pressure_angle: working pressure angle.
        pinion_tip: contact ratio that the pinion's tip adds beyond the pitch point.
        internal: whether the larger gear is a ring.

    >>> round(float(single_contact_factor(17, 52, np.radians(20.0), 0.7)), 3)
    1.144
    """
    positive("pinion_teeth", pinion_teeth)
    positive("wheel_teeth", wheel_teeth)
    one, other = (0.5 * np.asarray(teeth, float) * np.sin(pressure_angle) for teeth in (pinion_teeth, wheel_teeth))
    back = (1 - pinion_tip) * np.pi * np.cos(pressure_angle)
    lower, beside = one - back, other + (-back if internal else back)
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.where(lower > 0, np.sqrt(one * other / np.where(lower > 0, lower * beside, 1.0)), np.inf)
    return np.maximum(1.0, factor)[()]
