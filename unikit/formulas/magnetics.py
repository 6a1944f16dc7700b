"""Iron and magnets: how losses scale, how a bench run splits them, and the field in the gap."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from .. import units as u
from .checks import not_negative, positive
from .registry import formula


class IronDrag(NamedTuple):
    """The two parts of the drag of the iron, as :func:`motor.iron_loss` takes them."""

    hysteresis_torque: u.NewtonMetre
    eddy_drag: u.NewtonMetreSecondPerRadian


@formula(
    equation=r"k_e = \frac{P_b/\omega_b - P_a/\omega_a}{\omega_b - \omega_a},\quad T_h = \frac{P_a}{\omega_a} - k_e\,\omega_a",
    source="bird_circuit_theory",
    valid="loss of the iron alone: bearing and copper loss taken off first",
)
def iron_loss_separation(power_a: u.Watt, rotation_a: u.RadianPerSecond, power_b: u.Watt, rotation_b: u.RadianPerSecond) -> IronDrag:
    """Hysteresis torque and eddy drag from the iron loss at two rotations.

    Args:
        power_a: iron loss at the slower rotation.
        rotation_a: slower rotation.
        power_b: iron loss at the faster rotation.
        rotation_b: faster rotation.

    >>> at = iron_loss_separation(6.0, 10.0, 14.0, 20.0)
    >>> round(at.hysteresis_torque, 9), round(at.eddy_drag, 9)
    (0.5, 0.01)
    """
    positive("rotation_a", rotation_a)
    positive("rotation_b - rotation_a", rotation_b - rotation_a)
    eddy_drag = (power_b / rotation_b - power_a / rotation_a) / (rotation_b - rotation_a)
    return IronDrag(power_a / rotation_a - eddy_drag * rotation_a, eddy_drag)


@formula(
    equation=r"P = P_0\,\frac{f}{f_0}\left(\frac{B}{B_0}\right)^{n}",
    source="bird_circuit_theory",
    valid="below saturation; exponent 1.6 to 2.2 by material",
)
def hysteresis_loss_scaled(
    loss: u.WattPerCubicMetre,
    flux_frequency: u.Hertz,
    reference_frequency: u.Hertz,
    flux_density: u.Tesla,
    reference_flux_density: u.Tesla,
    exponent: u.Number = 1.6,
) -> u.WattPerCubicMetre:
    """Hysteresis loss at another frequency and flux density.

    Args:
        loss: loss at the reference frequency and flux density.
        flux_frequency: frequency wanted.
        reference_frequency: frequency at which the loss is known.
        flux_density: peak flux density wanted.
        reference_flux_density: peak flux density at which the loss is known.
        exponent: exponent of the flux density.

    >>> hysteresis_loss_scaled(1000.0, 100.0, 50.0, 1.0, 1.0)
    2000.0
    """
    not_negative("loss", loss)
    positive("reference_frequency", reference_frequency)
    positive("reference_flux_density", reference_flux_density)
    return loss * (flux_frequency / reference_frequency) * (flux_density / reference_flux_density) ** exponent


@formula(
    equation=r"P = \frac{\pi^2 d^2 \hat B^2 f^2}{6\,\rho\,\rho_m}",
    source="bertotti",
    valid="sine flux, sheet thin against the skin depth; the classical part only, well below the whole loss of electrical steel",
)
def classical_eddy_loss(
    thickness: u.Metre, flux_density: u.Tesla, flux_frequency: u.Hertz, resistivity: u.OhmMetre, density: u.KilogramPerCubicMetre
) -> u.WattPerKilogram:
    """Classical eddy-current loss of a lamination.

    Args:
        thickness: thickness of the sheet.
        flux_density: peak flux density.
        flux_frequency: frequency of the flux.
        resistivity: resistivity of the steel.
        density: density of the steel.

    >>> round(classical_eddy_loss(0.00035, 1.5, 50.0, 52e-8, 7650.0), 4)
    0.2849
    """
    positive("resistivity", resistivity)
    positive("density", density)
    return (math.pi * thickness * flux_density * flux_frequency) ** 2 / (6 * resistivity * density)


@formula(
    equation=r"B_g = \frac{B_r}{1 + \mu_r\,g/l_m}",
    source="definition",
    valid="one-dimensional load line: ideal iron, no leakage, magnet as wide as the gap",
)
def gap_flux_density(remanence: u.Tesla, relative_permeability: u.Ratio, gap: u.Metre, magnet_length: u.Metre) -> u.Tesla:
    """Flux density in the air gap of a surface-magnet motor without current.

    Args:
        remanence: remanence of the magnet at its temperature.
        relative_permeability: recoil permeability of the magnet over that of vacuum.
        gap: length of the air gap.
        magnet_length: length of the magnet along its magnetisation.

    >>> round(gap_flux_density(1.3, 1.05, 0.001, 0.004), 4)
    1.0297
    """
    positive("magnet_length", magnet_length)
    not_negative("gap", gap)
    return remanence / (1 + relative_permeability * gap / magnet_length)


@formula(
    equation=r"T = \frac{K_T\,\hat I}{\sqrt{1 + (\hat I/I_s)^2}}",
    source="definition",
    sign="torque has the sign of the current",
    valid="a smooth roll-off with one number, not a law of the iron; between the currents at which it was found",
)
def saturated_torque(
    current_peak: u.Ampere, torque_constant_peak: u.NewtonMetrePerAmpere, saturation_current: u.Ampere = np.inf
) -> u.NewtonMetre:
    """Torque of a quadrature current when the iron saturates.

    Args:
        current_peak: peak of the phase current.
        torque_constant_peak: torque per ampere of phase peak at small current.
        saturation_current: current at which the torque per ampere has fallen to 71 %; endless for no fall.

    >>> round(float(saturated_torque(60.0, 0.9, 60.0)), 4), float(saturated_torque(10.0, 0.9))
    (38.1838, 9.0)
    """
    positive("saturation_current", saturation_current)
    return torque_constant_peak * current_peak / np.sqrt(1 + (current_peak / saturation_current) ** 2)


@formula(
    equation=r"\hat I = \frac{T}{\sqrt{K_T^2 - (T/I_s)^2}}",
    source="definition",
    sign="current has the sign of the torque",
    valid="torque below torque constant times saturation current, which no current exceeds in this model",
)
def current_when_saturated(
    torque: u.NewtonMetre, torque_constant_peak: u.NewtonMetrePerAmpere, saturation_current: u.Ampere = np.inf
) -> u.Ampere:
    """Quadrature current, phase peak, for a torque when the iron saturates.

    Args:
        torque: electromagnetic torque, before iron and bearing drag.
        torque_constant_peak: torque per ampere of phase peak at small current.
        saturation_current: current at which the torque per ampere has fallen to 71 %; endless for no fall.

    >>> round(float(current_when_saturated(38.1838, 0.9, 60.0)), 3)
    60.0
    """
    positive("saturation_current", saturation_current)
    left = torque_constant_peak**2 - (torque / saturation_current) ** 2
    positive("torque_constant_peak * saturation_current - torque", left)
    return torque / np.sqrt(left)
