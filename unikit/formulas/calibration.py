"""A torque sensor under weights: the torque that hangs on a crank, and how the sensor answers it.

Torque is positive forwards.  A series of weights goes from nothing to a
greatest torque and may come back; the loop between the two ways has parabolic
branches, as Rayleigh found for small loops, and a width in proportion to the
greatest torque, as the inner friction of metals has it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from .checks import not_negative, positive, within
from .registry import formula

# Geodetic Reference System 1980: gravity at the equator, and the two numbers of Somigliana's closed form
EQUATOR, RISE, SQUARE = 9.7803267715, 0.001931851353, 0.00669438002290


class TorqueAndDeviation(NamedTuple):
    """A torque and its standard deviation."""

    torque: u.NewtonMetre
    deviation: u.NewtonMetre


@formula(
    equation=r"g(\varphi) = g_e\,\frac{1+k\sin^2\varphi}{\sqrt{1-e^2\sin^2\varphi}}",
    source="moritz_2000",
    valid="at sea level; 3.1e-6 m/s^2 less for each metre of height, and some 1e-4 m/s^2 of local rock",
)
def normal_gravity(latitude: u.Radian) -> u.MetrePerSecondSquared:
    """Gravity by latitude: it differs by half a per cent between equator and pole, and so does a hung weight.

    Args:
        latitude: north or south of the equator.

    >>> round(float(normal_gravity(np.radians(45.0))), 5)
    9.8062
    """
    within("latitude", latitude, -np.pi / 2, np.pi / 2)
    square = np.sin(latitude) ** 2
    return EQUATOR * (1 + RISE * square) / np.sqrt(1 - SQUARE * square)


@formula(equation=r"\tau = m\,g\,l\cos\theta", source="definition", sign="the side is told by the caller; here at least 0")
def hung_torque(mass: u.Kilogram, gravity: u.MetrePerSecondSquared, crank_length: u.Metre, crank_angle: u.Radian = 0.0) -> u.NewtonMetre:
    """Torque of a mass that hangs on the pedal: its weight pulls straight down, so the arm is the horizontal part of the crank.

    Args:
        mass: what hangs on the pedal, hook and strap included.
        gravity: at the place of the test.
        crank_length: from the axle of the crank to that of the pedal.
        crank_angle: of the crank from the horizontal.

    >>> round(float(hung_torque(20.0, 9.81, 0.131)), 3)
    25.702
    """
    not_negative("mass", mass)
    positive("gravity", gravity)
    positive("crank_length", crank_length)
    return mass * gravity * crank_length * np.cos(crank_angle)


@formula(
    equation=r"u_\tau^2 = \tau^2\left(\frac{u_m^2}{m^2}+\frac{u_g^2}{g^2}+\frac{u_l^2}{l^2}\right)"
    r"+(m g l)^2\left[\sin^2\!\theta\;u_\theta^2+\tfrac12\cos^2\!\theta\;u_\theta^4\right]",
    source="jcgm_100",
    valid="independent errors; the next term of the angle is kept, because the first is nothing at a level crank",
)
def hung_torque_uncertain(
    mass: u.Kilogram,
    gravity: u.MetrePerSecondSquared,
    crank_length: u.Metre,
    crank_angle: u.Radian,
    mass_deviation: u.Kilogram,
    gravity_deviation: u.MetrePerSecondSquared,
    crank_length_deviation: u.Metre,
    crank_angle_deviation: u.Radian,
) -> TorqueAndDeviation:
    """Torque of a hung mass and its standard deviation.

    Args:
        mass: what hangs on the pedal.
        gravity: at the place of the test.
        crank_length: from axle to pedal axle.
        crank_angle: of the crank from the horizontal.
        mass_deviation: standard deviation of the mass.
        gravity_deviation: standard deviation of the gravity.
        crank_length_deviation: standard deviation of the length.
        crank_angle_deviation: standard deviation of the angle.

    >>> made = hung_torque_uncertain(20.0, 9.81, 0.131, 0.0, 0.0, 0.0, 0.00131, 0.0)
    >>> round(float(made.deviation / made.torque), 6)
    0.01
    """
    torque = hung_torque(mass, gravity, crank_length, crank_angle)
    flat = mass * gravity * crank_length
    parts = (
        mass_deviation * gravity * crank_length * np.cos(crank_angle),
        torque * gravity_deviation / gravity,
        torque * crank_length_deviation / crank_length,
        flat * np.sin(crank_angle) * crank_angle_deviation,
        flat * np.cos(crank_angle) * np.asarray(crank_angle_deviation) ** 2 / np.sqrt(2),
    )
    return TorqueAndDeviation(torque, np.sqrt(sum(np.asarray(one) ** 2 for one in parts)))


@formula(
    equation=r"w = 4h\,\tau\left(1-\frac{\tau}{\tau_m}\right)",
    source="rayleigh_1887",
    sign="of the torque",
    valid="between no torque and the greatest of the series; loops worked in by a few series before",
)
def loop_half_width(torque: u.NewtonMetre, greatest_torque: u.NewtonMetre, hysteresis: u.Ratio) -> u.NewtonMetre:
    """Half of the distance between the way up and the way down, as torque.

    Loading reads this much less than the torque, unloading this much more.

    Args:
        torque: where in the loop.
        greatest_torque: where the series turned.
        hysteresis: half width in the middle of the loop over the greatest torque.

    >>> float(loop_half_width(25.0, 50.0, 0.004))
    0.2
    """
    return 4 * hysteresis * np.asarray(torque) * (1 - np.asarray(torque) / greatest_torque)


@formula(
    equation=r"\tan\varphi = \frac{16\,h}{3\pi}",
    source="rayleigh_1887",
    sign="positive: the output is late",
    valid="a torque that goes to and fro between nothing and a greatest value as a sine does; first harmonic",
)
def loop_lag(hysteresis: u.Ratio) -> u.Radian:
    """Phase by which the loop makes the output late, at every cadence the same.

    Args:
        hysteresis: half width in the middle of the loop over the greatest torque.

    >>> round(float(np.degrees(loop_lag(0.01))), 3)
    0.973
    """
    return np.arctan(16 * np.asarray(hysteresis) / (3 * np.pi))


@formula(
    equation=r"V = V_0 + S\left\{\zeta\,(T-T_0) + [1+\beta\,(T-T_0)]\,\tau\right\}",
    source="definition",
    sign="torque positive forwards; the loop's part is added to the torque",
)
def output(
    torque: u.NewtonMetre,
    temperature: u.Kelvin,
    offset: u.Volt,
    gain: u.VoltPerNewtonMetre,
    zero_drift: u.NewtonMetrePerKelvin = 0.0,
    gain_drift: u.PerKelvin = 0.0,
    reference_temperature: u.Kelvin = 293.15,
) -> u.Volt:
    """What a sensor of torque shows.

    Args:
        torque: on the sensor, less or more what the loop makes of it.
        temperature: of the sensor.
        offset: output without torque at the reference temperature.
        gain: change of the output per torque, at the reference temperature.
        zero_drift: how the zero moves, as torque.
        gain_drift: share by which the gain changes.
        reference_temperature: where offset and gain are stated.

    >>> round(float(output(30.0, 303.15, 1.5, 0.02, 0.05, 0.0)), 6)
    2.11
    """
    rise = np.asarray(temperature) - reference_temperature
    return offset + gain * (zero_drift * rise + (1 + gain_drift * rise) * torque)


@formula(
    equation=r"\tau = \frac{(V-V_0)/S - \zeta\,(T-T_0)}{1+\beta\,(T-T_0)}",
    source="definition",
    sign="torque positive forwards",
)
def torque_of_output(
    output: u.Volt,
    temperature: u.Kelvin,
    offset: u.Volt,
    gain: u.VoltPerNewtonMetre,
    zero_drift: u.NewtonMetrePerKelvin = 0.0,
    gain_drift: u.PerKelvin = 0.0,
    reference_temperature: u.Kelvin = 293.15,
) -> u.NewtonMetre:
    """The torque that an output stands for.

    Args:
        output: of the sensor.
        temperature: of the sensor.
        offset: output without torque at the reference temperature.
        gain: change of the output per torque, at the reference temperature.
        zero_drift: how the zero moves, as torque.
        gain_drift: share by which the gain changes.
        reference_temperature: where offset and gain are stated.

    >>> round(float(torque_of_output(2.11, 303.15, 1.5, 0.02, 0.05, 0.0)), 9)
    30.0
    """
    rise = np.asarray(temperature) - reference_temperature
    return ((output - np.asarray(offset)) / gain - zero_drift * rise) / (1 + gain_drift * rise)
