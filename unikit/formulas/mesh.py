"""Losses where teeth slide on each other, and what they cost a planetary train that steps up."""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import not_negative, positive, within
from .registry import formula


@formula(
    equation=r"\zeta = \pi\mu\left(\frac{1}{z_1} \pm \frac{1}{z_2}\right)(\varepsilon_1^2 + \varepsilon_2^2 + 1 - \varepsilon)",
    source="niemann_winter",
    sign="minus where the second gear is a ring; epsilon is the sum of both shares",
    valid="Coulomb friction, the same all along; two pairs in contact carry half each; contact ratio 1 to 2",
)
def mesh_loss(
    friction: u.Ratio, pinion_teeth: u.Number, wheel_teeth: u.Number, pinion_tip: u.Ratio, wheel_tip: u.Ratio, internal: bool = False
) -> u.Ratio:
    """Share of the power through a mesh that friction between its teeth takes.

    Args:
        friction: mean coefficient of friction between the teeth.
        pinion_teeth: teeth of the first gear.
        wheel_teeth: teeth of the second gear.
        pinion_tip: contact ratio beyond the pitch point towards the tip of the first gear (its recess, where it drives).
        wheel_tip: the same towards the tip of the second gear (the approach).
        internal: whether the second gear is a ring.

    >>> round(float(mesh_loss(0.08, 20, 60, 0.76, 0.88)), 4)
    0.0119
    """
    not_negative("friction", friction)
    positive("pinion_teeth", pinion_teeth)
    positive("wheel_teeth", wheel_teeth)
    whole = np.asarray(pinion_tip) + wheel_tip
    within("contact ratio", whole, 1.0, 2.0)
    sliding = 1.0 / np.asarray(pinion_teeth, float) + (-1.0 if internal else 1.0) / np.asarray(wheel_teeth, float)
    return np.pi * friction * sliding * (pinion_tip**2 + wheel_tip**2 + 1 - whole)


@formula(
    equation=r"\eta = \frac{\eta_0\,(1+k)}{1 + \eta_0 k},\quad \eta' = \frac{k + \eta_0}{k + 1},\quad k = \frac{z_r}{z_s}",
    source="willis",
    sign="the second where the wheel drives the cranks; eta_0 is the product of both meshes' efficiencies with the carrier held",
    valid="sun fixed, carrier in, ring out; only the power through the meshes as the carrier sees it is subject to loss",
)
def step_up_efficiency(sun_teeth: u.Number, ring_teeth: u.Number, mesh_efficiency: u.Ratio, resisting: bool = False) -> u.Ratio:
    """Efficiency of the whole train: less is lost than in its meshes, because most of the power goes round with the carrier.

    Args:
        sun_teeth: teeth of the sun.
        ring_teeth: teeth of the ring.
        mesh_efficiency: efficiency from sun to ring with the carrier held.
        resisting: whether the wheel drives the cranks.

    >>> round(float(step_up_efficiency(45, 71, 0.97)), 4)
    0.9881
    """
    positive("sun_teeth", sun_teeth)
    positive("ring_teeth - sun_teeth", ring_teeth - sun_teeth)
    within("mesh_efficiency", mesh_efficiency, 0.0, 1.0)
    k = ring_teeth / sun_teeth
    return (k + mesh_efficiency) / (k + 1) if resisting else mesh_efficiency * (1 + k) / (1 + mesh_efficiency * k)
