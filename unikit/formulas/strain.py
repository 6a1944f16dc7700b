"""Strained elements that measure torque: shafts in torsion, arms in bending, their gauges and bridges."""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import not_negative, positive, within
from .registry import formula
from .shafts import torsion_stress

BRIDGES = (1, 2, 4)  # active gauges: quarter, half and full bridge


@formula(equation=r"G = \frac{E}{2(1 + \nu)}", source="definition", valid="isotropic material")
def shear_modulus(elastic_modulus: u.Pascal, poisson_ratio: u.Ratio) -> u.Pascal:
    """Shear modulus of an isotropic material.

    Args:
        elastic_modulus: elastic modulus.
        poisson_ratio: Poisson ratio.

    >>> round(shear_modulus(206.18e9, 0.3) / 1e9, 3)
    79.3
    """
    positive("elastic_modulus", elastic_modulus)
    within("poisson_ratio", poisson_ratio, 0.0, 0.5)
    return elastic_modulus / (2 * (1 + poisson_ratio))


@formula(
    equation=r"\varepsilon_{45} = \frac{\gamma}{2} = \frac{\tau}{2G}",
    source="gere_mechanics, doebelin_measurement",
    sign="of the torque: longer along one helix at 45 degrees, shorter by as much along the other",
    valid="round shaft, elastic; bending and thrust leave a full bridge of four such gauges without output",
)
def torsion_strain(torque: u.NewtonMetre, diameter: u.Metre, bore: u.Metre, shear_modulus: u.Pascal) -> u.Ratio:
    """Strain at the surface of a hollow shaft in torsion, at 45 degrees to its axis.

    Args:
        torque: torque in the shaft.
        diameter: its outer diameter.
        bore: its bore; 0 for a solid shaft.
        shear_modulus: of its material.

    >>> round(1e6 * torsion_strain(50.0, 0.017, 0.0, 79.3e9), 2)
    326.81
    """
    positive("shear_modulus", shear_modulus)
    return torsion_stress(torque, diameter, bore) / (2 * shear_modulus)


@formula(
    equation=r"b = \sqrt[4]{d^4 - \frac{8\,T\,d}{\pi\,G\,\varepsilon_{45}}}",
    source="gere_mechanics",
    sign="sizes of torque and strain",
    valid="nan where even the solid shaft of this diameter is strained more",
)
def bore_for_strain(torque: u.NewtonMetre, diameter: u.Metre, strain: u.Ratio, shear_modulus: u.Pascal) -> u.Metre:
    """Bore of a shaft that gives a wanted strain at its surface.

    Args:
        torque: torque in the shaft.
        diameter: its outer diameter.
        strain: strain wanted at 45 degrees.
        shear_modulus: of its material.

    >>> bore = bore_for_strain(100.0, 0.025, 500e-6, 79.3e9)
    >>> round(1e3 * float(bore), 3), round(1e6 * torsion_strain(100.0, 0.025, float(bore), 79.3e9), 6)
    (21.901, 500.0)
    """
    positive("torque", torque)
    positive("strain", strain)
    positive("diameter", diameter)
    positive("shear_modulus", shear_modulus)
    left = diameter**4 - 8 * torque * diameter / (np.pi * shear_modulus * strain)
    return np.where(left >= 0, np.abs(left), np.nan)[()] ** 0.25


@formula(
    equation=r"d = \sqrt[3]{\frac{8\,T}{\pi\,G\,\varepsilon_{45}\,(1 - (b/d)^4)}}",
    source="gere_mechanics",
    sign="sizes of torque and strain",
)
def diameter_for_strain(torque: u.NewtonMetre, bore_share: u.Ratio, strain: u.Ratio, shear_modulus: u.Pascal) -> u.Metre:
    """Outer diameter of a shaft of one shape that gives a wanted strain at its surface.

    Args:
        torque: torque in the shaft.
        bore_share: bore over diameter; 0 for a solid shaft.
        strain: strain wanted at 45 degrees.
        shear_modulus: of its material.

    >>> print(round(1e3 * diameter_for_strain(50.0, 0.0, 326.81e-6, 79.3e9), 3))
    17.0
    """
    positive("torque", torque)
    positive("strain", strain)
    positive("shear_modulus", shear_modulus)
    not_negative("bore_share", bore_share)
    positive("1 - bore_share", 1 - bore_share)
    return np.cbrt(8 * torque / (np.pi * shear_modulus * strain * (1 - bore_share**4)))


@formula(
    equation=r"\sigma = \frac{6\,F\,a}{w\,h^2}",
    source="gere_mechanics",
    sign="of the force: tension on the side from which it bends the arm away",
    valid="slender arm of rectangular section, elastic, away from its root and its holes",
)
def bending_stress(force: u.Newton, distance: u.Metre, width: u.Metre, height: u.Metre) -> u.Pascal:
    """Stress at the surface of an arm that a force bends.

    Args:
        force: force across the arm.
        distance: from the force to the place that is looked at.
        width: width of the arm, across the plane of bending.
        height: its height, in that plane.

    >>> round(bending_stress(100.0, 0.06, 0.02, 0.01) / 1e6, 3)
    18.0
    """
    not_negative("distance", distance)
    positive("width", width)
    positive("height", height)
    return 6 * force * distance / (width * height**2)


@formula(
    equation=r"\varepsilon = \frac{\sigma}{E} = \frac{6\,F\,a}{E\,w\,h^2}",
    source="gere_mechanics",
    sign="of the force",
    valid="slender arm of rectangular section, elastic, gauges along the arm on both sides",
)
def bending_strain(force: u.Newton, distance: u.Metre, width: u.Metre, height: u.Metre, elastic_modulus: u.Pascal) -> u.Ratio:
    """Strain at the surface of an arm that a force bends.

    Args:
        force: force across the arm.
        distance: from the force to the middle of the gauges.
        width: width of the arm, across the plane of bending.
        height: its height, in that plane.
        elastic_modulus: of its material.

    >>> round(1e6 * bending_strain(100.0, 0.06, 0.02, 0.01, 70e9), 2)
    257.14
    """
    positive("elastic_modulus", elastic_modulus)
    return bending_stress(force, distance, width, height) / elastic_modulus


# -- gauges and bridges ------------------------------------------------------------


@formula(
    equation=r"k = 1 + 2\nu + \frac{\Delta\rho/\rho}{\varepsilon}",
    source="doebelin_measurement",
    valid="a straight wire that is strained along itself",
)
def gauge_factor(poisson_ratio: u.Ratio, resistivity_change: u.Ratio, strain: u.Ratio) -> u.Ratio:
    """Relative change of a gauge's resistance per strain.

    Args:
        poisson_ratio: of the wire.
        resistivity_change: relative change of its resistivity at that strain.
        strain: the strain.

    >>> round(gauge_factor(0.3, 0.003, 0.03), 3)
    1.7
    """
    within("poisson_ratio", poisson_ratio, 0.0, 0.5)
    if np.any(np.asarray(strain) == 0):
        raise ValueError("strain must be another number than 0")
    return 1 + 2 * poisson_ratio + resistivity_change / strain


@formula(
    equation=r"\frac{U_o}{U_e} = \frac{1 + x_1}{2 + x_1 + x_2} - \frac{1 + x_4}{2 + x_3 + x_4}",
    source="wheatstone",
    sign="positive when the first and the third arm grow",
    valid="four arms of equal resistance without strain, fed with a constant voltage, nothing drawn from the output",
)
def wheatstone_output(first: u.Ratio, second: u.Ratio, third: u.Ratio, fourth: u.Ratio) -> u.VoltPerVolt:
    """Output of a bridge over its excitation, exact, for any changes of its four arms in turn round the bridge.

    Args:
        first: relative change of the first arm's resistance.
        second: of the second one, in series with the first across the excitation.
        third: of the third one, opposite to the first.
        fourth: of the last one, opposite to the second.

    >>> round(1e3 * wheatstone_output(0.002, 0.0, 0.0, 0.0), 6), round(1e3 * wheatstone_output(0.002, -0.002, 0.002, -0.002), 6)
    (0.4995, 2.0)
    """
    for name, value in {"first": first, "second": second, "third": third, "fourth": fourth}.items():
        positive(f"1 + {name}", 1 + value)
    return (1 + first) / (2 + first + second) - (1 + fourth) / (2 + third + fourth)


def _active(active_gauges: u.Number) -> np.ndarray:
    count = np.asarray(active_gauges)
    if not np.all(np.isin(count, BRIDGES)):
        raise ValueError(f"active_gauges must be 1, 2 or 4, got {active_gauges}")
    return count


@formula(
    equation=r"\frac{U_o}{U_e} = \frac{k\,\varepsilon}{4 + 2 k\,\varepsilon}\ (n = 1),\quad \frac{n}{4}\,k\,\varepsilon\ (n = 2, 4)",
    source="wheatstone",
    sign="of the strain",
    valid="half a bridge: two neighbours with opposite strains; full: all four, neighbours opposite; both are then exactly linear",
)
def bridge_output(gauge_factor: u.Ratio, strain: u.Ratio, active_gauges: u.Number = 4) -> u.VoltPerVolt:
    """Output of a quarter, half or full bridge over its excitation, exact.

    Args:
        gauge_factor: relative change of a gauge's resistance per strain.
        strain: strain of each active gauge, as a size.
        active_gauges: 1, 2 or 4 of them.

    >>> print(round(1e3 * bridge_output(2.0, 1e-3, 1), 6), round(1e3 * bridge_output(2.0, 1e-3), 6))
    0.4995 2.0
    """
    count, change = _active(active_gauges), gauge_factor * strain
    positive("2 + gauge_factor * strain", change + 2)
    return np.where(count == 1, change / (4 + 2 * change), count * change / 4)[()]


@formula(equation=r"\frac{U_o}{U_e} = \frac{n}{4}\,k\,\varepsilon", source="wheatstone", sign="of the strain", valid="small strains")
def bridge_output_linear(gauge_factor: u.Ratio, strain: u.Ratio, active_gauges: u.Number = 4) -> u.VoltPerVolt:
    """Output of a bridge over its excitation as the usual straight line.

    Args:
        gauge_factor: relative change of a gauge's resistance per strain.
        strain: strain of each active gauge, as a size.
        active_gauges: 1, 2 or 4 of them.

    >>> print(round(1e3 * bridge_output_linear(2.0, 1e-3, 1), 6))
    0.5
    """
    return _active(active_gauges) * gauge_factor * strain / 4
