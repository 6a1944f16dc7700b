"""Where the teeth of a gear and of the ring around it get into each other's way."""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import positive, within
from .involute import PRESSURE_ANGLE, involute
from .registry import formula


def _refuse_what_is_no_ring(gear_teeth: u.Number, ring_teeth: u.Number) -> None:
    positive("gear_teeth", gear_teeth)
    positive("ring_teeth - gear_teeth", np.asarray(ring_teeth) - gear_teeth)


@formula(
    equation=r"\frac{\theta_1 z_1/z_2 + \operatorname{inv}\alpha_w - \operatorname{inv}\alpha_{a2}}{\theta_2},\quad"
    r"\theta_1 = \arccos\frac{r_{a2}^2 - r_{a1}^2 - a^2}{2 a r_{a1}} + \operatorname{inv}\alpha_{a1} - \operatorname{inv}\alpha_w,\ "
    r"\theta_2 = \arccos\frac{a^2 + r_{a2}^2 - r_{a1}^2}{2 a r_{a2}}",
    source="sdp_internal",
    sign="1 where the tips just pass each other, above it with room",
    valid="tip of the ring not inside its base circle",
)
def tip_passing(
    gear_teeth: u.Number,
    ring_teeth: u.Number,
    gear_tip: u.Metre,
    ring_tip: u.Metre,
    gear_base: u.Metre,
    ring_base: u.Metre,
    centre_distance: u.Metre,
    working_angle: u.Radian = PRESSURE_ANGLE,
) -> u.Ratio:
    """Angle by which a tooth leaves a ring over the angle that it needs to pass the tip of the ring's tooth.

    Args:
        gear_teeth: teeth of the gear inside.
        ring_teeth: teeth of the ring.
        gear_tip: tip diameter of the gear.
        ring_tip: tip diameter of the ring.
        gear_base: base diameter of the gear.
        ring_base: base diameter of the ring.
        centre_distance: distance of the axes.
        working_angle: pressure angle at which they work.

    >>> base = 0.001 * np.cos(PRESSURE_ANGLE)
    >>> round(float(tip_passing(30, 60, 0.032, 0.058, 30 * base, 60 * base, 0.015)), 2)
    1.03
    """
    _refuse_what_is_no_ring(gear_teeth, ring_teeth)
    gear, ring, apart = np.asarray(gear_tip) / 2, np.asarray(ring_tip) / 2, centre_distance
    within("ring_base over ring_tip", np.asarray(ring_base) / ring_tip, 0.0, 1.0 + 1e-12)
    at_gear, at_ring = np.arccos(gear_base / (2 * gear)), np.arccos(np.minimum(ring_base / (2 * ring), 1.0))
    left = np.arccos(np.clip((ring**2 - gear**2 - apart**2) / (2 * apart * gear), -1, 1)) + involute(at_gear) - involute(working_angle)
    needed = np.arccos(np.clip((apart**2 + ring**2 - gear**2) / (2 * apart * ring), -1, 1))
    return (left * gear_teeth / ring_teeth + involute(working_angle) - involute(at_ring)) / needed


@formula(
    equation=r"\frac{\theta_1 + \operatorname{inv}\alpha_{a1} - \operatorname{inv}\alpha_w}"
    r"{(z_2/z_1)\,(\theta_2 + \operatorname{inv}\alpha_{a2} - \operatorname{inv}\alpha_w)},\quad"
    r"\sin^2\theta_1 = \frac{1 - (\cos\alpha_{a1}/\cos\alpha_{a2})^2}{1 - (z_1/z_2)^2},\ "
    r"\sin^2\theta_2 = \frac{(\cos\alpha_{a2}/\cos\alpha_{a1})^2 - 1}{(z_2/z_1)^2 - 1}",
    source="sdp_internal",
    sign="1 where it just goes in, above it with room",
    valid="tip of the ring not inside its base circle",
)
def radial_entry(
    gear_teeth: u.Number,
    ring_teeth: u.Number,
    gear_tip: u.Metre,
    ring_tip: u.Metre,
    gear_base: u.Metre,
    ring_base: u.Metre,
    working_angle: u.Radian = PRESSURE_ANGLE,
) -> u.Ratio:
    """Whether a gear can be put into its ring along the radius; below 1 it goes in along the axis only.

    Args:
        gear_teeth: teeth of the gear inside.
        ring_teeth: teeth of the ring.
        gear_tip: tip diameter of the gear.
        ring_tip: tip diameter of the ring.
        gear_base: base diameter of the gear.
        ring_base: base diameter of the ring.
        working_angle: pressure angle at which they work.

    >>> base = 0.001 * np.cos(PRESSURE_ANGLE)
    >>> round(float(radial_entry(30, 60, 0.032, 0.058, 30 * base, 60 * base)), 2)
    1.03
    """
    _refuse_what_is_no_ring(gear_teeth, ring_teeth)
    at_gear, at_ring = gear_base / np.asarray(gear_tip), np.minimum(ring_base / np.asarray(ring_tip), 1.0)
    share = np.asarray(gear_teeth) / ring_teeth
    first = np.arcsin(np.sqrt(np.clip((1 - (at_gear / at_ring) ** 2) / (1 - share**2), 0, 1)))
    second = np.arcsin(np.sqrt(np.clip(((at_ring / at_gear) ** 2 - 1) / (1 / share**2 - 1), 0, 1)))
    way = first + involute(np.arccos(at_gear)) - involute(working_angle)
    return way * share / (second + involute(np.arccos(at_ring)) - involute(working_angle))
