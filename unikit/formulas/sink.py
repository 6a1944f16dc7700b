"""Heat sinks: fins, and the chain from the junction of a switch to the air."""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import not_negative, positive, within
from .registry import formula


@formula(
    equation=r"\eta = \frac{\tanh(m L)}{m L},\quad m = \sqrt{\frac{2 h}{k\,t}}", source="incropera", valid="straight fin, tip without loss"
)
def straight_fin_efficiency(
    heat_transfer_coefficient: u.WattPerSquareMetreKelvin, conductivity: u.WattPerMetreKelvin, thickness: u.Metre, length: u.Metre
) -> u.Ratio:
    """Heat that a fin gives against the same fin at the temperature of its foot all over.

    Args:
        heat_transfer_coefficient: at its faces.
        conductivity: thermal conductivity of the fin.
        thickness: thickness.
        length: length from foot to tip; half the thickness added allows for the tip.

    >>> print(round(straight_fin_efficiency(50.0, 100.0, 0.001, 0.0316228), 4))
    0.7616
    """
    positive("conductivity", conductivity)
    positive("thickness", thickness)
    positive("length", length)
    positive("heat_transfer_coefficient", heat_transfer_coefficient)
    reach = np.sqrt(2 * heat_transfer_coefficient / (conductivity * thickness)) * length
    return np.tanh(reach) / reach


@formula(equation=r"G = h\,[A - A_f\,(1 - \eta)]", source="incropera")
def finned_conductance(
    heat_transfer_coefficient: u.WattPerSquareMetreKelvin, total_area: u.SquareMetre, fin_area: u.SquareMetre, fin_efficiency: u.Ratio
) -> u.WattPerKelvin:
    """Conductance of a finned surface.

    Args:
        heat_transfer_coefficient: alike on fins and between them.
        total_area: area of the fins and of the surface between them.
        fin_area: area of the fins alone.
        fin_efficiency: efficiency of the fins.

    >>> round(finned_conductance(50.0, 0.0716, 0.0527, 0.95), 3)
    3.448
    """
    within("fin_efficiency", fin_efficiency, 0.0, 1.0)
    not_negative("total_area - fin_area", np.subtract(total_area, fin_area))
    return heat_transfer_coefficient * (total_area - fin_area * (1 - fin_efficiency))


@formula(
    equation=r"G = \sqrt{h\,U\,k\,A}\,\tanh\left(L\sqrt{\frac{h\,U}{k\,A}}\right)",
    source="incropera",
    valid="fin of one section from foot to tip, tip without loss; a length of inf is the endless fin",
)
def fin_conductance(
    heat_transfer_coefficient: u.WattPerSquareMetreKelvin,
    perimeter: u.Metre,
    conductivity: u.WattPerMetreKelvin,
    section: u.SquareMetre,
    length: u.Metre,
) -> u.WattPerKelvin:
    """Heat per kelvin of its foot that a pin or fin gives to the air.

    Args:
        heat_transfer_coefficient: at its surface.
        perimeter: length round its section.
        conductivity: thermal conductivity of the fin.
        section: area of its section.
        length: length from foot to tip.

    >>> print(round(fin_conductance(100.0, 0.0157, 180.0, 1.963e-5, 0.05), 4))
    0.0583
    """
    positive("heat_transfer_coefficient", heat_transfer_coefficient)
    positive("perimeter", perimeter)
    positive("conductivity", conductivity)
    positive("section", section)
    positive("length", length)
    along, off = np.multiply(conductivity, section), np.multiply(heat_transfer_coefficient, perimeter)
    return np.sqrt(along * off) * np.tanh(length * np.sqrt(off / along))


@formula(
    equation=r"R_{sa} = \frac{T_j - T_a}{P} - R_{jc} - R_{cs}",
    source="jacob_power",
    valid="steady state; below 0 no sink is large enough",
)
def sink_resistance(rise: u.KelvinRise, power: u.Watt, junction_to_case: u.KelvinPerWatt, case_to_sink: u.KelvinPerWatt) -> u.KelvinPerWatt:
    """Thermal resistance to the air that a heat sink may have at most.

    Args:
        rise: rise over the air that the junction may have.
        power: loss of the switch.
        junction_to_case: thermal resistance from junction to case.
        case_to_sink: thermal resistance from case to sink.

    >>> print(round(sink_resistance(85.0, 2.92, 2.5, 2.0), 2))
    24.61
    """
    positive("power", power)
    not_negative("junction_to_case", junction_to_case)
    not_negative("case_to_sink", case_to_sink)
    return np.divide(rise, power) - junction_to_case - case_to_sink
