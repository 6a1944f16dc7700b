"""Involute teeth: thickness, contact, undercut and interference of external and internal spur gears.

Teeth are those of the basic rack: pressure angle, addendum and dedendum over
the module are arguments.  A positive profile shift moves a profile away from
its gear's axis, outside teeth and inside teeth alike; then two gears of a pair
keep their standard centre distance when an outside mesh has opposite shifts,
and an inside mesh equal ones.
"""

from __future__ import annotations

import numpy as np

from .. import units as u
from ._bracket import crossing
from .checks import not_negative, positive, within
from .registry import formula

PRESSURE_ANGLE = float(np.radians(20.0))
ADDENDUM, DEDENDUM = 1.0, 1.25  # of the basic rack, over the module
_STEEPEST = 1.45  # rad, end of the search for an angle


def _steep(angle: u.Radian) -> None:
    within("pressure_angle", angle, 0.05, 1.2)


@formula(equation=r"\operatorname{inv}\alpha = \tan\alpha - \alpha", source="sdp_involute, involute_table")
def involute(pressure_angle: u.Radian) -> u.Ratio:
    """Angle by which the involute has turned where the flank has this pressure angle.

    Args:
        pressure_angle: angle between the flank and the radius.

    >>> round(float(involute(np.radians(20.0))), 6)
    0.014904
    """
    return np.tan(pressure_angle) - pressure_angle


@formula(equation=r"\tan\alpha - \alpha = \operatorname{inv}\alpha", source="definition", valid="angles up to 83 degrees")
def involute_angle(involute_value: u.Ratio) -> u.Radian:
    """Pressure angle whose involute function has a value, by bracketed search.

    Args:
        involute_value: value of the involute function.

    >>> round(float(np.degrees(involute_angle(0.0149044))), 4)
    20.0
    """
    within("involute_value", involute_value, 0.0, float(np.tan(_STEEPEST) - _STEEPEST))
    value = np.asarray(involute_value, float)
    low, high = np.full(value.shape, -0.01), np.full(value.shape, _STEEPEST)
    return np.maximum(crossing(lambda angle: np.tan(angle) - angle - value, low, high, 1e-13), 0.0)


@formula(equation=r"d_b = m z \cos\alpha", source="sdp_involute")
def base_diameter(teeth: u.Number, module: u.Metre, pressure_angle: u.Radian = PRESSURE_ANGLE) -> u.Metre:
    """Diameter of the circle from which the involute is unwound.

    Args:
        teeth: number of teeth.
        module: module.
        pressure_angle: pressure angle of the basic rack.

    >>> round(float(base_diameter(40, 0.001)), 6)
    0.037588
    """
    positive("teeth", teeth)
    return module * teeth * np.cos(pressure_angle)


@formula(
    equation=r"d_a = m\,(z + 2h_a + 2x)\ \text{outside},\quad m\,(z - 2h_a + 2x)\ \text{inside}",
    source="sdp_involute",
    sign="shift positive away from the axis",
    valid="tips that are not shortened",
)
def tip_diameter(teeth: u.Number, module: u.Metre, shift: u.Ratio = 0.0, addendum: u.Ratio = ADDENDUM, internal: bool = False) -> u.Metre:
    """Diameter over the tips of the teeth; of a ring, between them.

    Args:
        teeth: number of teeth.
        module: module.
        shift: profile shift over the module.
        addendum: addendum of the basic rack over the module.
        internal: whether the teeth stand inside.

    >>> round(float(tip_diameter(13, 0.00125, 0.3)), 6), round(float(tip_diameter(71, 0.00125, 0.3, internal=True)), 6)
    (0.0195, 0.087)
    """
    positive("teeth", teeth)
    return module * (teeth + np.where(internal, -2, 2) * addendum + 2 * shift)[()]


@formula(
    equation=r"d_f = m\,(z - 2h_f + 2x)\ \text{outside},\quad m\,(z + 2h_f + 2x)\ \text{inside}",
    source="sdp_involute",
    sign="shift positive away from the axis",
)
def root_diameter(teeth: u.Number, module: u.Metre, shift: u.Ratio = 0.0, dedendum: u.Ratio = DEDENDUM, internal: bool = False) -> u.Metre:
    """Diameter at the bottom of the spaces between the teeth.

    Args:
        teeth: number of teeth.
        module: module.
        shift: profile shift over the module.
        dedendum: dedendum of the basic rack over the module.
        internal: whether the teeth stand inside.

    >>> round(float(root_diameter(13, 0.00125, 0.3)), 6), round(float(root_diameter(71, 0.00125, 0.3, internal=True)), 6)
    (0.013875, 0.092625)
    """
    positive("teeth", teeth)
    return module * (teeth + np.where(internal, 2, -2) * dedendum + 2 * shift)[()]


@formula(
    equation=r"s_y = d_y\left[\frac{\pi/2 \pm 2x\tan\alpha}{z} \pm (\operatorname{inv}\alpha - \operatorname{inv}\alpha_y)\right],"
    r"\quad \cos\alpha_y = \frac{d_b}{d_y}",
    source="sdp_involute",
    sign="upper signs outside, lower ones inside; below 0 where the two flanks have crossed",
    valid="from the base circle outwards, no backlash taken off",
)
def tooth_thickness(
    diameter: u.Metre,
    teeth: u.Number,
    module: u.Metre,
    shift: u.Ratio = 0.0,
    pressure_angle: u.Radian = PRESSURE_ANGLE,
    internal: bool = False,
) -> u.Metre:
    """Thickness of a tooth along the circle of a diameter; at the tip it says whether the tooth is pointed.

    Args:
        diameter: where the thickness is asked.
        teeth: number of teeth.
        module: module.
        shift: profile shift over the module.
        pressure_angle: pressure angle of the basic rack.
        internal: whether the teeth stand inside.

    >>> round(float(tooth_thickness(0.120, 12, 0.010, 0.3)), 7)
    0.0178918
    """
    share = base_diameter(teeth, module, pressure_angle) / diameter
    within("base diameter over diameter", share, 0.0, 1.0 + 1e-12)
    way = np.where(internal, -1.0, 1.0)
    turned = involute(pressure_angle) - involute(np.arccos(np.minimum(share, 1.0)))
    return diameter * ((np.pi / 2 + way * 2 * shift * np.tan(pressure_angle)) / teeth + way * turned)


@formula(
    equation=r"\cos\alpha_w = \frac{m\,(z_2 \pm z_1)\cos\alpha}{2a}",
    source="sdp_involute",
    sign="plus for an outside mesh, minus for a ring as the second gear",
)
def working_pressure_angle(
    first_teeth: u.Number,
    second_teeth: u.Number,
    module: u.Metre,
    centre_distance: u.Metre,
    pressure_angle: u.Radian = PRESSURE_ANGLE,
    internal: bool = False,
) -> u.Radian:
    """Pressure angle at which a pair works at a centre distance.

    Args:
        first_teeth: teeth of the first gear.
        second_teeth: teeth of the second gear, or of the ring.
        module: module.
        centre_distance: distance of the axes.
        pressure_angle: pressure angle of the basic rack.
        internal: whether the second gear is a ring.

    >>> round(float(np.degrees(working_pressure_angle(12, 24, 0.003, 0.0565))), 4)
    26.0888
    """
    apart = second_teeth + np.where(internal, -1, 1) * first_teeth
    positive("second_teeth - first_teeth" if np.all(internal) else "teeth", apart)
    share = module * apart * np.cos(pressure_angle) / (2 * centre_distance)
    within("base circles over centre_distance", share, 0.0, 1.0)
    return np.arccos(share)


@formula(
    equation=r"x_2 \pm x_1 = (z_2 \pm z_1)\,\frac{\operatorname{inv}\alpha_w - \operatorname{inv}\alpha}{2\tan\alpha}",
    source="sdp_involute, bolsover",
    sign="plus for an outside mesh; with a ring the shift of the ring less that of its mate",
    valid="no backlash",
)
def shift_sum(
    first_teeth: u.Number,
    second_teeth: u.Number,
    working_angle: u.Radian,
    pressure_angle: u.Radian = PRESSURE_ANGLE,
    internal: bool = False,
) -> u.Ratio:
    """Profile shifts, together, that let a pair run without backlash at a working pressure angle.

    Args:
        first_teeth: teeth of the first gear.
        second_teeth: teeth of the second gear, or of the ring.
        working_angle: pressure angle at which the pair works.
        pressure_angle: pressure angle of the basic rack.
        internal: whether the second gear is a ring.

    >>> round(float(shift_sum(12, 24, np.radians(26.0888))), 3)
    0.96
    """
    _steep(pressure_angle)
    apart = second_teeth + np.where(internal, -1, 1) * first_teeth
    return apart * (involute(working_angle) - involute(pressure_angle)) / (2 * np.tan(pressure_angle))


@formula(
    equation=r"a = \frac{m\,(z_2 \pm z_1)}{2}\,\frac{\cos\alpha}{\cos\alpha_w},\quad"
    r"\operatorname{inv}\alpha_w = \operatorname{inv}\alpha + \frac{2\,(x_2 \pm x_1)\tan\alpha}{z_2 \pm z_1}",
    source="sdp_involute",
    sign="plus for an outside mesh, minus for a ring as the second gear",
    valid="no backlash",
)
def centre_distance(
    first_teeth: u.Number,
    second_teeth: u.Number,
    module: u.Metre,
    first_shift: u.Ratio = 0.0,
    second_shift: u.Ratio = 0.0,
    pressure_angle: u.Radian = PRESSURE_ANGLE,
    internal: bool = False,
) -> u.Metre:
    """Distance of the axes at which a pair with profile shifts runs without backlash.

    Args:
        first_teeth: teeth of the first gear.
        second_teeth: teeth of the second gear, or of the ring.
        module: module.
        first_shift: profile shift of the first gear over the module.
        second_shift: profile shift of the second gear over the module.
        pressure_angle: pressure angle of the basic rack.
        internal: whether the second gear is a ring.

    >>> round(float(centre_distance(12, 24, 0.003, 0.6, 0.36)), 6)
    0.0565
    """
    way = np.where(internal, -1, 1)
    apart = second_teeth + way * first_teeth
    positive("second_teeth - first_teeth" if np.all(internal) else "teeth", apart)
    wanted = involute(pressure_angle) + 2 * (second_shift + way * first_shift) * np.tan(pressure_angle) / apart
    return module * apart / 2 * np.cos(pressure_angle) / np.cos(involute_angle(wanted))


@formula(
    equation=r"g = \sqrt{r_a^2 - r_b^2} - r_b\tan\alpha_w\ \text{outside},\quad r_b\tan\alpha_w - \sqrt{r_a^2 - r_b^2}\ \text{inside}",
    source="khurmi_gears, sdp_involute",
)
def addendum_path(tip: u.Metre, base: u.Metre, working_angle: u.Radian = PRESSURE_ANGLE, internal: bool = False) -> u.Metre:
    """Way that contact takes along the line of action from the pitch point to the tip of a gear's teeth.

    The sum over both gears of a mesh is its path of contact.

    Args:
        tip: tip diameter.
        base: base diameter.
        working_angle: pressure angle at which the pair works.
        internal: whether the teeth stand inside.

    >>> path = [addendum_path(tip, base_diameter(teeth, 0.012)) for tip, teeth in ((0.38, 30), (0.98, 80))]
    >>> round(float(sum(path)), 6)
    0.052258
    """
    within("base over tip", np.asarray(base) / tip, 0.0, 1.0)
    return np.where(internal, -1.0, 1.0)[()] * (np.sqrt(np.square(tip) - np.square(base)) - base * np.tan(working_angle)) / 2


@formula(
    equation=r"r_a = \sqrt{r_b^2 + (r_b\tan\alpha_w \pm g)^2}",
    source="definition",
    sign="plus outside, minus inside",
)
def tip_for_path(contact_path: u.Metre, base: u.Metre, working_angle: u.Radian = PRESSURE_ANGLE, internal: bool = False) -> u.Metre:
    """Tip diameter with which contact goes so far along the line of action: how much a tip must be shortened to end there.

    Args:
        contact_path: way from the pitch point to the tip.
        base: base diameter.
        working_angle: pressure angle at which the pair works.
        internal: whether the teeth stand inside.

    >>> base = base_diameter(30, 0.012)
    >>> round(float(tip_for_path(addendum_path(0.38, base), base)), 9)
    0.38
    """
    positive("base", base)
    along = base / 2 * np.tan(working_angle) + np.where(internal, -1.0, 1.0)[()] * contact_path
    return 2 * np.sqrt(np.square(base / 2) + np.square(np.maximum(along, 0.0)))


@formula(equation=r"\varepsilon = \frac{g_1 + g_2}{\pi m\cos\alpha}", source="khurmi_gears, sdp_involute")
def contact_ratio(first_path: u.Metre, second_path: u.Metre, module: u.Metre, pressure_angle: u.Radian = PRESSURE_ANGLE) -> u.Ratio:
    """How many pairs of teeth touch in the mean; below 1 the drive has gaps.

    Args:
        first_path: way of contact from the pitch point to the tip of the first gear.
        second_path: the same for the second gear.
        module: module.
        pressure_angle: pressure angle of the basic rack.

    >>> round(float(contact_ratio(0.028, 0.0242577, 0.012)), 3)
    1.475
    """
    positive("module", module)
    return (first_path + second_path) / (np.pi * module * np.cos(pressure_angle))


@formula(
    equation=r"g_F = \min\left(\frac{h_a - x}{\sin\alpha},\ \frac{z\sin\alpha}{2}\right) m",
    source="definition",
    valid="an outside gear cut by the basic rack, at the working pressure angle of the rack",
)
def flank_path(
    teeth: u.Number, module: u.Metre, shift: u.Ratio = 0.0, pressure_angle: u.Radian = PRESSURE_ANGLE, addendum: u.Ratio = ADDENDUM
) -> u.Metre:
    """Way from the pitch point along the line of action to where a flank cut by a rack begins to be an involute.

    A mating tip that reaches further meets the fillet, or the undercut.

    Args:
        teeth: number of teeth.
        module: module.
        shift: profile shift over the module.
        pressure_angle: pressure angle of the basic rack.
        addendum: height of the straight part of the rack over the module.

    >>> round(float(flank_path(13, 0.001, 0.3)), 6)
    0.002047
    """
    positive("teeth", teeth)
    return module * np.minimum((addendum - shift) / np.sin(pressure_angle), teeth * np.sin(pressure_angle) / 2)


@formula(
    equation=r"z_\mathrm{min} = \frac{2\,(h_a - x)}{\sin^2\alpha}",
    source="khurmi_gears, shigley_gears",
    valid="cut by a rack or hob",
)
def least_teeth(shift: u.Ratio = 0.0, pressure_angle: u.Radian = PRESSURE_ANGLE, addendum: u.Ratio = ADDENDUM) -> u.Number:
    """Fewest teeth, unrounded, that a rack cuts without undercutting their roots.

    Args:
        shift: profile shift over the module.
        pressure_angle: pressure angle of the basic rack.
        addendum: height of the straight part of the rack over the module.

    >>> round(float(least_teeth()), 2), round(float(least_teeth(0.3)), 2)
    (17.1, 11.97)
    """
    _steep(pressure_angle)
    return 2 * np.maximum(addendum - shift, 0.0) / np.sin(pressure_angle) ** 2


@formula(
    equation=r"x_\mathrm{min} = h_a - \frac{z\sin^2\alpha}{2}",
    source="sdp_involute",
    valid="cut by a rack or hob",
)
def least_shift(teeth: u.Number, pressure_angle: u.Radian = PRESSURE_ANGLE, addendum: u.Ratio = ADDENDUM) -> u.Ratio:
    """Smallest profile shift over the module with which a rack does not undercut.

    Args:
        teeth: number of teeth.
        pressure_angle: pressure angle of the basic rack.
        addendum: height of the straight part of the rack over the module.

    >>> round(float(least_shift(13)), 4)
    0.2396
    """
    positive("teeth", teeth)
    return addendum - teeth * np.sin(pressure_angle) ** 2 / 2


@formula(
    equation=r"z_\mathrm{min} = \frac{2h_a\left[G + \sqrt{G^2 \pm (2G \pm 1)\sin^2\alpha}\,\right]}{(2G \pm 1)\sin^2\alpha}",
    source="khurmi_gears, shigley_gears",
    sign="plus for an outside mesh, minus for a ring as the mate",
    valid="standard teeth without shift, full addendum on the mate",
)
def least_teeth_with_mate(
    ratio: u.Ratio, pressure_angle: u.Radian = PRESSURE_ANGLE, addendum: u.Ratio = ADDENDUM, internal: bool = False
) -> u.Number:
    """Fewest teeth, unrounded, of a gear whose mate's tips do not reach below the involute.

    Args:
        ratio: teeth of the mate over teeth of the gear, 1 or above.
        pressure_angle: pressure angle.
        addendum: addendum of the mate over the module.
        internal: whether the mate is a ring.

    >>> round(float(least_teeth_with_mate(3.0)), 3), round(float(least_teeth_with_mate(3.0, internal=True)), 2)
    (14.981, 20.18)
    """
    _steep(pressure_angle)
    way = np.where(internal, -1.0, 1.0)
    within("ratio", ratio, 1.0, np.inf)
    square = np.sin(pressure_angle) ** 2
    turned = (2 * ratio + way) * square
    return 2 * addendum * (ratio + np.sqrt(np.square(ratio) + way * turned)) / turned


@formula(
    equation=r"c = a - \frac{d_a + d_f}{2}\ \text{outside},\quad \left|\frac{d_f - d_a}{2}\right| - a\ \text{inside}",
    source="definition",
)
def tip_clearance(tip: u.Metre, root: u.Metre, centre_distance: u.Metre, internal: bool = False) -> u.Metre:
    """Room between the tips of one gear and the bottom of the other's spaces.

    Args:
        tip: tip diameter of one gear.
        root: root diameter of the other.
        centre_distance: distance of the axes.
        internal: whether one of them is a ring.

    >>> round(float(tip_clearance(0.0195, 0.092625, 0.03625, internal=True)), 7)
    0.0003125
    """
    not_negative("centre_distance", centre_distance)
    inside = np.abs(np.asarray(root) - tip) / 2 - centre_distance
    return np.where(internal, inside, centre_distance - (np.asarray(tip) + root) / 2)[()]
