"""Another winding of the same motor: turns, strands, star and delta, copper in the slot, and alternating current in it.

The numbers are those of one phase of the equivalent star.  What a winding cannot
change is the motor constant at the same copper: it trades current for voltage.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from .. import units as u
from .checks import not_negative, one_of, positive, within
from .motor import COPPER_COEFFICIENT
from .registry import formula

COPPER_HEAT = 385.0  # J/(kg K), pure copper at 300 K, from handbook tables
COPPER_RESISTIVITY = 1e-6 / 58  # ohm metre at 20 °C, annealed copper
VACUUM = 4e-7 * math.pi  # permeability of vacuum
JOINED = {"star": 1.0, "delta": 1 / math.sqrt(3)}


class Coils(NamedTuple):
    """One phase of a winding, as the star that acts the same."""

    torque_constant_peak: u.NewtonMetrePerAmpere
    phase_resistance: u.Ohm
    inductance: u.Henry


@formula(
    equation=r"K_T' = n\,K_T,\quad R' = \frac{n^2}{a}\,R,\quad L' = n^2 L",
    source="hanselman_motors",
    valid="the same slots, iron and magnets; end turns of the same length",
)
def rewound(
    torque_constant_peak: u.NewtonMetrePerAmpere,
    phase_resistance: u.Ohm,
    inductance: u.Henry,
    turns_ratio: u.Ratio,
    copper_ratio: u.Ratio = 1.0,
) -> Coils:
    """Torque constant, resistance and inductance with other turns, and with more or less copper in the slots.

    Args:
        torque_constant_peak: torque per ampere of phase peak before.
        phase_resistance: resistance of one phase before.
        inductance: inductance of one phase before.
        turns_ratio: turns after over turns before.
        copper_ratio: copper section of a slot after over before, all turns and strands together.

    >>> rewound(1.0, 0.1, 0.001, 2.0)
    Coils(torque_constant_peak=2.0, phase_resistance=0.4, inductance=0.004)
    """
    positive("turns_ratio", turns_ratio)
    positive("copper_ratio", copper_ratio)
    not_negative("phase_resistance", phase_resistance)
    square = turns_ratio**2
    return Coils(turns_ratio * torque_constant_peak, square / copper_ratio * phase_resistance, square * inductance)


@formula(equation=r"I' = I / n", source="definition", valid="the same slots: a field is made by ampere-turns")
def same_field_current(current: u.Ampere, turns_ratio: u.Ratio) -> u.Ampere:
    """Current that makes the same field with other turns: so also saturates the same iron, or demagnetises the same magnets.

    Args:
        current: current before, of any convention; the result is of the same.
        turns_ratio: turns after over turns before.

    >>> same_field_current(60.0, 1.5)
    40.0
    """
    positive("turns_ratio", turns_ratio)
    return current / turns_ratio


@formula(
    equation=r"n = \frac{j'}{j},\quad j_\mathrm{star} = 1,\ j_\mathrm{delta} = \tfrac{1}{\sqrt 3}",
    source="bird_circuit_theory",
    valid="sine back-EMF; a delta whose back-EMF has third harmonics also drives a current round itself, which heats and brakes",
)
def joining_ratio(before: str, after: str) -> u.Ratio:
    """Turns ratio that acts the same as joining the same coils the other way.

    Args:
        before: "star" or "delta".
        after: "star" or "delta".

    >>> round(joining_ratio("star", "delta"), 4)
    0.5774
    """
    one_of("before", before, tuple(JOINED))
    one_of("after", after, tuple(JOINED))
    return JOINED[after] / JOINED[before]


@formula(equation=r"R_Y = \tfrac{1}{3} R_\Delta", source="bird_circuit_theory", valid="three equal branches")
def star_resistance(branch_resistance: u.Ohm) -> u.Ohm:
    """Resistance of one phase of the star that acts the same as a delta.

    Args:
        branch_resistance: resistance of one branch of the delta, from lead to lead, cut free from the others.

    >>> round(star_resistance(0.3), 9)
    0.1
    """
    not_negative("branch_resistance", branch_resistance)
    return branch_resistance / 3


@formula(equation=r"A = s\,\tfrac{\pi}{4} d^2", source="definition")
def copper_section(strand_diameter: u.Metre, strands: u.Number) -> u.SquareMetre:
    """Copper section of a conductor of parallel strands.

    Args:
        strand_diameter: diameter of the bare copper of a strand.
        strands: strands in hand.

    >>> round(1e6 * copper_section(0.0005, 8), 4)
    1.5708
    """
    positive("strand_diameter", strand_diameter)
    positive("strands", strands)
    return strands * math.pi / 4 * strand_diameter**2


@formula(
    equation=r"f = \frac{z\,A}{A_s}",
    source="trade_practice",
    valid="share of copper alone; round wire wound by hand seldom passes 0.4 of the bare slot, a machine's orderly layers 0.5 to 0.6",
)
def copper_fill(conductors: u.Number, copper_section: u.SquareMetre, slot_area: u.SquareMetre) -> u.Ratio:
    """Share of a slot that is copper.

    Args:
        conductors: conductors in the slot; a coil of N turns has N in each of its two slots.
        copper_section: copper section of one conductor, all strands together.
        slot_area: area of the bare slot.

    >>> round(copper_fill(20, 1.5708e-6, 80e-6), 4)
    0.3927
    """
    positive("conductors", conductors)
    positive("copper_section", copper_section)
    positive("slot_area", slot_area)
    return conductors * copper_section / slot_area


@formula(
    equation=r"R = \frac{\rho_{20}\,[1 + \alpha\,(\vartheta - 20)]\,l}{A},\quad \rho_{20} = \tfrac{1}{58}\,\Omega\,\mathrm{mm^2/m}",
    source="iec60028",
    valid="annealed copper; direct current",
)
def wire_resistance(length: u.Metre, copper_section: u.SquareMetre, temperature_celsius: u.Celsius = 20.0) -> u.Ohm:
    """Resistance of a length of copper.

    Args:
        length: length of the wire.
        copper_section: copper section, all strands together.
        temperature_celsius: temperature of the copper.

    >>> round(wire_resistance(10.0, 1e-6), 5)
    0.17241
    """
    positive("copper_section", copper_section)
    not_negative("length", length)
    within("temperature_celsius", temperature_celsius, -200, 400)
    return COPPER_RESISTIVITY * (1 + COPPER_COEFFICIENT * (temperature_celsius - 20)) * length / copper_section


@formula(
    equation=r"\delta = \sqrt{\frac{\rho}{\pi f \mu_0 \mu_r}}",
    source="skin_depth_table",
    valid="a conductor thick against the depth",
)
def skin_depth(current_frequency: u.Hertz, resistivity: u.OhmMetre = COPPER_RESISTIVITY, relative_permeability: u.Ratio = 1.0) -> u.Metre:
    """Depth at which an alternating current in a thick conductor has fallen to 1/e.

    Args:
        current_frequency: frequency of the current.
        resistivity: resistivity of the conductor.
        relative_permeability: permeability over that of vacuum.

    >>> round(1000 * float(skin_depth(50.0)), 2)
    9.35
    """
    positive("current_frequency", current_frequency)
    positive("resistivity", resistivity)
    positive("relative_permeability", relative_permeability)
    return np.sqrt(resistivity / (math.pi * np.asarray(current_frequency) * VACUUM * relative_permeability))


@formula(
    equation=r"F = \xi\left[\frac{\sinh 2\xi + \sin 2\xi}{\cosh 2\xi - \cos 2\xi}"
    r" + \frac{2(m^2 - 1)}{3}\,\frac{\sinh\xi - \sin\xi}{\cosh\xi + \cos\xi}\right],\quad \xi = \frac{\sqrt\pi\,d}{2\,\delta}",
    source="dowell_1966",
    valid="round strands as squares of the same section, layers across the whole slot width; strands twisted so that all carry the same",
)
def strand_resistance_ratio(strand_diameter: u.Metre, skin_depth: u.Metre, layers: u.Number) -> u.Ratio:
    """Resistance of strands in a slot to alternating current, over that to direct current.

    In a slot the field of all layers below passes through each strand, so the
    layers count with their square, long before a single strand is thick against the skin depth.

    Args:
        strand_diameter: diameter of the bare copper of a strand.
        skin_depth: skin depth at the frequency of the current.
        layers: strands that lie above each other in the depth of the slot.

    >>> round(float(strand_resistance_ratio(0.001, 0.0093, 10)), 4)
    1.0009
    """
    positive("strand_diameter", strand_diameter)
    positive("skin_depth", skin_depth)
    within("layers", layers, 1, np.inf)
    thick = np.asarray(math.sqrt(math.pi) / 2 * np.asarray(strand_diameter) / skin_depth, dtype=float)
    # Scaled by exp(-2 thick), so that a thick bar does not overflow. Below 0.01 the differences cancel, and the series is exact enough.
    x = np.maximum(thick, 0.01)
    one, two = np.exp(-x), np.exp(-2 * x)
    skin = (1 - two**2 + 2 * two * np.sin(2 * x)) / (1 + two**2 - 2 * two * np.cos(2 * x))
    near = (1 - two - 2 * one * np.sin(x)) / (1 + two + 2 * one * np.cos(x))
    square = np.asarray(layers, dtype=float) ** 2
    series = 1 + (5 * square - 1) / 45 * thick**4
    return np.where(thick < 0.01, series, x * (skin + 2 * (square - 1) / 3 * near))[()]
