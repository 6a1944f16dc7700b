"""The permanent-magnet machine in rotor coordinates, with current in the direct axis.

Amplitude-invariant transformation: currents, voltages and flux linkages are
phase peaks.  The direct axis points along the flux of the magnets; a negative
direct current weakens it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from .checks import not_negative, positive
from .registry import formula


class DqVoltages(NamedTuple):
    """Phase-peak voltages in the two axes."""

    direct: u.Volt
    quadrature: u.Volt


class DqCurrents(NamedTuple):
    """Phase-peak currents in the two axes."""

    direct: u.Ampere
    quadrature: u.Ampere


def _machine(direct_inductance, quadrature_inductance, magnet_flux) -> None:
    positive("direct_inductance", direct_inductance)
    positive("quadrature_inductance", quadrature_inductance)
    positive("magnet_flux", magnet_flux)


@formula(
    equation=r"u_d = R\,i_d - \omega_e L_q i_q,\quad u_q = R\,i_q + \omega_e (\psi + L_d i_d)",
    source="fitzgerald_machinery",
    sign="motor convention: positive current times positive voltage is power into the machine",
    valid="steady state, no saturation, no iron loss",
)
def dq_voltages(
    direct_current: u.Ampere,
    quadrature_current: u.Ampere,
    electrical_rate: u.RadianPerSecond,
    phase_resistance: u.Ohm,
    direct_inductance: u.Henry,
    quadrature_inductance: u.Henry,
    magnet_flux: u.Weber,
) -> DqVoltages:
    """Terminal voltages in the two axes.

    Args:
        direct_current: current in the direct axis, phase peak.
        quadrature_current: current in the quadrature axis, phase peak.
        electrical_rate: electrical angular frequency.
        phase_resistance: resistance of one phase.
        direct_inductance: inductance in the direct axis.
        quadrature_inductance: inductance in the quadrature axis.
        magnet_flux: peak flux linkage of a phase with the magnets.

    >>> at = dq_voltages(0.0, 30.0, 500.0, 0.1, 0.0002, 0.0003, 0.03)
    >>> round(at.direct, 6), round(at.quadrature, 6)
    (-4.5, 18.0)
    """
    not_negative("phase_resistance", phase_resistance)
    _machine(direct_inductance, quadrature_inductance, magnet_flux)
    return DqVoltages(
        phase_resistance * direct_current - electrical_rate * quadrature_inductance * quadrature_current,
        phase_resistance * quadrature_current + electrical_rate * (magnet_flux + direct_inductance * direct_current),
    )


@formula(
    equation=r"T = \tfrac{3}{2}\,p\,[\psi\,i_q + (L_d - L_q)\,i_d i_q]",
    source="fitzgerald_machinery",
    sign="positive along positive rotation for positive quadrature current",
    valid="no saturation",
)
def dq_torque(
    direct_current: u.Ampere,
    quadrature_current: u.Ampere,
    pole_pairs: u.Number,
    direct_inductance: u.Henry,
    quadrature_inductance: u.Henry,
    magnet_flux: u.Weber,
) -> u.NewtonMetre:
    """Electromagnetic torque: magnet part and reluctance part.

    Args:
        direct_current: current in the direct axis, phase peak.
        quadrature_current: current in the quadrature axis, phase peak.
        pole_pairs: pairs of poles.
        direct_inductance: inductance in the direct axis.
        quadrature_inductance: inductance in the quadrature axis.
        magnet_flux: peak flux linkage of a phase with the magnets.

    >>> round(dq_torque(-10.0, 30.0, 20, 0.0002, 0.0003, 0.03), 6)
    27.9
    """
    positive("pole_pairs", pole_pairs)
    _machine(direct_inductance, quadrature_inductance, magnet_flux)
    return 1.5 * pole_pairs * quadrature_current * (magnet_flux + (direct_inductance - quadrature_inductance) * direct_current)


@formula(equation=r"\lambda = \sqrt{(\psi + L_d i_d)^2 + (L_q i_q)^2}", source="fitzgerald_machinery", valid="no saturation")
def flux_linkage(
    direct_current: u.Ampere,
    quadrature_current: u.Ampere,
    direct_inductance: u.Henry,
    quadrature_inductance: u.Henry,
    magnet_flux: u.Weber,
) -> u.Weber:
    """Peak flux linkage of a phase: voltage per electrical angular frequency without resistance.

    Args:
        direct_current: current in the direct axis, phase peak.
        quadrature_current: current in the quadrature axis, phase peak.
        direct_inductance: inductance in the direct axis.
        quadrature_inductance: inductance in the quadrature axis.
        magnet_flux: peak flux linkage of a phase with the magnets.

    >>> round(float(flux_linkage(0.0, 100.0, 0.0002, 0.0004, 0.03)), 9)
    0.05
    """
    _machine(direct_inductance, quadrature_inductance, magnet_flux)
    return np.hypot(magnet_flux + direct_inductance * direct_current, quadrature_inductance * quadrature_current)


@formula(
    equation=r"i_d = \frac{\psi - \sqrt{\psi^2 + 8 (L_q - L_d)^2 \hat I^2}}{4 (L_q - L_d)},\quad i_q = \sqrt{\hat I^2 - i_d^2}",
    source="morimoto_1990",
    sign="the solution with positive torque",
    valid="no saturation; the direct current is 0 where the two inductances are equal",
)
def torque_per_ampere_current(
    current_peak: u.Ampere, direct_inductance: u.Henry, quadrature_inductance: u.Henry, magnet_flux: u.Weber
) -> DqCurrents:
    """Split of a current into the axes that gives the greatest torque.

    Args:
        current_peak: peak of the phase current.
        direct_inductance: inductance in the direct axis.
        quadrature_inductance: inductance in the quadrature axis.
        magnet_flux: peak flux linkage of a phase with the magnets.

    >>> at = torque_per_ampere_current(240.0, 0.37e-3, 1.2e-3, 0.066)
    >>> float(round(at.direct, 2)), float(round(at.quadrature, 2))
    (-150.99, 186.56)
    """
    not_negative("current_peak", current_peak)
    _machine(direct_inductance, quadrature_inductance, magnet_flux)
    saliency = (quadrature_inductance - direct_inductance) * current_peak
    # The printed form times its conjugate: no division by the difference of the inductances.
    direct = -2 * saliency * current_peak / (magnet_flux + np.sqrt(magnet_flux**2 + 8 * saliency**2))
    return DqCurrents(direct, np.sqrt(current_peak**2 - direct**2))


@formula(
    equation=(
        r"\lambda_d = \lambda\cos\delta,\quad \cos\delta = \frac{-2 (L_q - L_d)\lambda}"
        r"{L_q\psi + \sqrt{(L_q\psi)^2 + 8 (L_q - L_d)^2\lambda^2}},\quad i_d = \frac{\lambda_d - \psi}{L_d},\quad "
        r"i_q = \frac{\lambda\sin\delta}{L_q}"
    ),
    source="morimoto_1990",
    sign="the solution with positive torque",
    valid="no saturation, resistance neglected; the current may be more than the machine bears",
)
def torque_per_volt_current(
    flux_linkage: u.Weber, direct_inductance: u.Henry, quadrature_inductance: u.Henry, magnet_flux: u.Weber
) -> DqCurrents:
    """Currents of the greatest torque at a flux linkage, that is at a voltage and speed.

    Args:
        flux_linkage: peak flux linkage of a phase, voltage over electrical angular frequency.
        direct_inductance: inductance in the direct axis.
        quadrature_inductance: inductance in the quadrature axis.
        magnet_flux: peak flux linkage of a phase with the magnets.

    >>> at = torque_per_volt_current(0.05, 0.37e-3, 1.2e-3, 0.066)
    >>> float(round(at.direct, 2)), float(round(at.quadrature, 2))
    (-229.18, 38.61)
    """
    not_negative("flux_linkage", flux_linkage)
    _machine(direct_inductance, quadrature_inductance, magnet_flux)
    saliency = (quadrature_inductance - direct_inductance) * flux_linkage
    linked = quadrature_inductance * magnet_flux
    cosine = -2 * saliency / (linked + np.sqrt(linked**2 + 8 * saliency**2))
    return DqCurrents(
        (flux_linkage * cosine - magnet_flux) / direct_inductance, flux_linkage * np.sqrt(1 - cosine**2) / quadrature_inductance
    )


@formula(
    equation=r"\hat I_\mathrm{ch} = \psi / L_d",
    source="schiferl_lipo_1990",
    valid="with a current limit above this one the speed has no upper end, resistance and iron loss neglected",
)
def characteristic_current(magnet_flux: u.Weber, direct_inductance: u.Henry) -> u.Ampere:
    """Direct current that would cancel the flux of the magnets; also the steady short-circuit current at high speed.

    Args:
        magnet_flux: peak flux linkage of a phase with the magnets.
        direct_inductance: inductance in the direct axis.

    >>> round(characteristic_current(0.03, 0.0003), 6)
    100.0
    """
    positive("magnet_flux", magnet_flux)
    positive("direct_inductance", direct_inductance)
    return magnet_flux / direct_inductance


@formula(
    equation=r"i_d = -\frac{\omega_e^2 L_q\,\psi}{R^2 + \omega_e^2 L_d L_q},\quad i_q = -\frac{\omega_e R\,\psi}{R^2 + \omega_e^2 L_d L_q}",
    source="fitzgerald_machinery",
    sign="motor convention: the torque of these currents is against the rotation",
    valid="all three leads together, steady state, no saturation; the first moments of a short may have more",
)
def short_circuit_current(
    electrical_rate: u.RadianPerSecond,
    phase_resistance: u.Ohm,
    direct_inductance: u.Henry,
    quadrature_inductance: u.Henry,
    magnet_flux: u.Weber,
) -> DqCurrents:
    """Currents of a turning machine whose three leads are joined; :func:`dq_torque` of them is the braking torque.

    Args:
        electrical_rate: electrical angular frequency.
        phase_resistance: resistance of one phase, with all that lies in the short.
        direct_inductance: inductance in the direct axis.
        quadrature_inductance: inductance in the quadrature axis.
        magnet_flux: peak flux linkage of a phase with the magnets.

    >>> at = short_circuit_current(300.0, 0.09, 0.0003, 0.0003, 0.03)
    >>> round(at.direct, 6), round(at.quadrature, 6)
    (-50.0, -50.0)
    """
    positive("phase_resistance", phase_resistance)
    _machine(direct_inductance, quadrature_inductance, magnet_flux)
    driven = electrical_rate * magnet_flux / (phase_resistance**2 + electrical_rate**2 * direct_inductance * quadrature_inductance)
    return DqCurrents(-electrical_rate * quadrature_inductance * driven, -phase_resistance * driven)


@formula(
    equation=r"i_d = \min\left(0,\ \frac{\sqrt{(\hat U/\omega_e)^2 - (L_q i_q)^2} - \psi}{L_d}\right)",
    source="fitzgerald_machinery",
    sign="at or below 0",
    valid="no saturation, resistance neglected",
)
def weakening_current(
    quadrature_current: u.Ampere,
    phase_voltage: u.Volt,
    electrical_rate: u.RadianPerSecond,
    direct_inductance: u.Henry,
    quadrature_inductance: u.Henry,
    magnet_flux: u.Weber,
) -> u.Ampere:
    """Least direct current that lets a quadrature current flow at a voltage and speed.

    Args:
        quadrature_current: current in the quadrature axis, phase peak.
        phase_voltage: peak of the phase voltage at hand.
        electrical_rate: electrical angular frequency, above 0.
        direct_inductance: inductance in the direct axis.
        quadrature_inductance: inductance in the quadrature axis.
        magnet_flux: peak flux linkage of a phase with the magnets.

    >>> round(float(weakening_current(50.0, 25.0, 1000.0, 0.0003, 0.0003, 0.03)), 3)
    -33.333
    """
    positive("electrical_rate", electrical_rate)
    _machine(direct_inductance, quadrature_inductance, magnet_flux)
    left = (phase_voltage / electrical_rate) ** 2 - (quadrature_inductance * quadrature_current) ** 2
    not_negative("what the quadrature current leaves of the squared flux linkage", left)
    return np.minimum(0.0, (np.sqrt(left) - magnet_flux) / direct_inductance)


@formula(
    equation=r"(\psi + L_d i_d)^2 + L_q^2 (\hat I^2 - i_d^2) = (\hat U/\omega_e)^2,\quad i_q = \sqrt{\hat I^2 - i_d^2}",
    source="morimoto_1990",
    sign="the solution with positive torque",
    valid="no saturation, resistance neglected; above base speed until the greatest torque per volt takes less current",
)
def weakening_point(
    current_peak: u.Ampere,
    phase_voltage: u.Volt,
    electrical_rate: u.RadianPerSecond,
    direct_inductance: u.Henry,
    quadrature_inductance: u.Henry,
    magnet_flux: u.Weber,
) -> DqCurrents:
    """Currents where the whole of a current meets the whole of a voltage; below base speed, of the greatest torque.

    Args:
        current_peak: peak of the phase current.
        phase_voltage: peak of the phase voltage at hand.
        electrical_rate: electrical angular frequency, above 0.
        direct_inductance: inductance in the direct axis.
        quadrature_inductance: inductance in the quadrature axis.
        magnet_flux: peak flux linkage of a phase with the magnets.

    >>> at = weakening_point(60.0, 25.0, 1000.0, 0.0003, 0.0003, 0.03)
    >>> float(round(at.direct, 3)), float(round(at.quadrature, 3))
    (-33.278, 49.926)
    """
    positive("electrical_rate", electrical_rate)
    start = torque_per_ampere_current(current_peak, direct_inductance, quadrature_inductance, magnet_flux)
    linked = phase_voltage / np.asarray(electrical_rate)
    spare = flux_linkage(*start, direct_inductance, quadrature_inductance, magnet_flux) <= linked
    half = magnet_flux * direct_inductance
    rest = magnet_flux**2 + (quadrature_inductance * current_peak) ** 2 - linked**2
    square = half**2 - (direct_inductance**2 - quadrature_inductance**2) * rest
    # Of the two crossings, the one that is reached by weakening from the greatest torque per ampere.
    crossing = -rest / (half + np.sqrt(np.maximum(square, 0.0)))
    if np.any(~spare & ((square < 0) | (crossing < -np.asarray(current_peak)))):
        raise ValueError("phase_voltage must be enough for current_peak at electrical_rate: the flux cannot be weakened so far")
    direct = np.where(spare, start.direct, crossing)[()]
    return DqCurrents(direct, np.sqrt(current_peak**2 - direct**2))


@formula(
    equation=r"\omega_e:\ |R\,\vec i + j\,\omega_e\vec\lambda| = \hat U",
    source="morimoto_1990",
    valid="no saturation; with resistance",
)
def base_rate(
    direct_current: u.Ampere,
    quadrature_current: u.Ampere,
    phase_voltage: u.Volt,
    phase_resistance: u.Ohm,
    direct_inductance: u.Henry,
    quadrature_inductance: u.Henry,
    magnet_flux: u.Weber,
) -> u.RadianPerSecond:
    """Electrical angular frequency up to which the voltage is enough for the given currents.

    Args:
        direct_current: current in the direct axis, phase peak.
        quadrature_current: current in the quadrature axis, phase peak.
        phase_voltage: peak of the phase voltage at hand, above the resistive drop.
        phase_resistance: resistance of one phase.
        direct_inductance: inductance in the direct axis.
        quadrature_inductance: inductance in the quadrature axis.
        magnet_flux: peak flux linkage of a phase with the magnets.

    >>> round(float(base_rate(0.0, 0.0, 30.0, 0.1, 0.0003, 0.0003, 0.03)), 6)
    1000.0
    """
    linked = flux_linkage(direct_current, quadrature_current, direct_inductance, quadrature_inductance, magnet_flux)
    spare = phase_voltage**2 - phase_resistance**2 * (direct_current**2 + quadrature_current**2)
    not_negative("what the resistive drop leaves of the squared phase voltage", spare)
    torque_part = magnet_flux + (direct_inductance - quadrature_inductance) * direct_current
    coupling = phase_resistance * quadrature_current * torque_part
    return (np.sqrt(coupling**2 + linked**2 * spare) - coupling) / linked**2
