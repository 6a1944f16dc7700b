"""Convection and radiation: plates, cylinders, rotating discs, air gaps, end spaces, sunshine, and the housing of a motor in the wheel."""

from __future__ import annotations

import numpy as np

from .. import units as u
from . import air
from .checks import not_negative, positive, warn_outside, within
from .registry import formula

GRAVITY = 9.81
STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m^2 K^4), exact in the SI of 2019


@formula(equation=r"\mathrm{Ra} = \frac{g\,\beta\,|\Delta T|\,L^3}{\nu\,\alpha}", source="incropera", valid="g = 9.81 m/s^2")
def rayleigh(
    expansion: u.PerKelvin,
    temperature_difference: u.KelvinRise,
    length: u.Metre,
    kinematic_viscosity: u.SquareMetrePerSecond,
    thermal_diffusivity: u.SquareMetrePerSecond,
) -> u.Number:
    """Rayleigh number of natural convection.

    Args:
        expansion: volume expansion coefficient, 1/T for a gas.
        temperature_difference: surface against air.
        length: height of a plate, diameter of a horizontal cylinder.
        kinematic_viscosity: kinematic viscosity of the air.
        thermal_diffusivity: thermal diffusivity of the air, viscosity over Prandtl number.

    >>> f"{rayleigh(1 / 320, 40.0, 0.2, 18e-6, 25.6e-6):.3e}"
    '2.129e+07'
    """
    positive("length", length)
    positive("kinematic_viscosity", kinematic_viscosity)
    positive("thermal_diffusivity", thermal_diffusivity)
    return GRAVITY * expansion * np.abs(temperature_difference) * length**3 / (kinematic_viscosity * thermal_diffusivity)


@formula(
    equation=r"\mathrm{Nu} = 0.664\,\mathrm{Re}^{1/2}\mathrm{Pr}^{1/3}\ \text{or}\ (0.037\,\mathrm{Re}^{4/5} - 871)\,\mathrm{Pr}^{1/3}",
    source="incropera",
    valid="smooth plate along the flow, Re to 1e8, Pr 0.6 to 60; turbulent from Re = 5e5",
)
def plate_nusselt(reynolds: u.Number, prandtl: u.Number) -> u.Number:
    """Mean Nusselt number of a plate along the flow, on its length.

    Args:
        reynolds: Reynolds number of speed and length.
        prandtl: Prandtl number.

    >>> print(round(plate_nusselt(9600.0, 0.687), 2))
    57.41
    """
    not_negative("reynolds", reynolds)
    positive("prandtl", prandtl)
    warn_outside("reynolds", reynolds, 0.0, 1e8, "the flat plate of Incropera et al.")
    warn_outside("prandtl", prandtl, 0.6, 60.0, "the flat plate of Incropera et al.")
    laminar = 0.664 * np.sqrt(reynolds)
    return np.where(np.asarray(reynolds) <= 5e5, laminar, 0.037 * np.power(reynolds, 0.8) - 871)[()] * np.power(prandtl, 1 / 3)


@formula(
    equation=r"\mathrm{Nu} = 0.3 + \frac{0.62\,\mathrm{Re}^{1/2}\mathrm{Pr}^{1/3}}{[1+(0.4/\mathrm{Pr})^{2/3}]^{1/4}}"
    r"\left[1+\left(\frac{\mathrm{Re}}{282000}\right)^{5/8}\right]^{4/5}",
    source="churchill_bernstein, incropera",
    valid="Re Pr above 0.2, Re to 1e7; other correlations differ by up to 16 %",
)
def cylinder_crossflow_nusselt(reynolds: u.Number, prandtl: u.Number) -> u.Number:
    """Mean Nusselt number of a cylinder across the flow, on its diameter.

    Args:
        reynolds: Reynolds number of speed and diameter.
        prandtl: Prandtl number.

    >>> print(round(cylinder_crossflow_nusselt(6071.0, 0.70), 2))
    40.64
    """
    not_negative("reynolds", reynolds)
    positive("prandtl", prandtl)
    warn_outside("reynolds * prandtl", np.multiply(reynolds, prandtl), 0.2, np.inf, "Churchill and Bernstein")
    warn_outside("reynolds", reynolds, 0.0, 1e7, "Churchill and Bernstein")
    slow = 0.62 * np.sqrt(reynolds) * np.power(prandtl, 1 / 3) / (1 + (0.4 / prandtl) ** (2 / 3)) ** 0.25
    return 0.3 + slow * (1 + np.power(np.divide(reynolds, 282e3), 0.625)) ** 0.8


@formula(
    equation=r"\mathrm{Nu} = \left\{0.825 + \frac{0.387\,\mathrm{Ra}^{1/6}}{[1+(0.492/\mathrm{Pr})^{9/16}]^{8/27}}\right\}^2",
    source="churchill_chu_plate, incropera",
    valid="Ra to 1e12",
)
def vertical_plate_nusselt(rayleigh: u.Number, prandtl: u.Number) -> u.Number:
    """Mean Nusselt number of natural convection at a vertical plate, on its height.

    Args:
        rayleigh: Rayleigh number of the height.
        prandtl: Prandtl number.

    >>> print(round(vertical_plate_nusselt(1.8144e9, 0.69), 1))
    147.2
    """
    return _natural(rayleigh, prandtl, 0.825, 0.492)


@formula(
    equation=r"\mathrm{Nu} = \left\{0.60 + \frac{0.387\,\mathrm{Ra}^{1/6}}{[1+(0.559/\mathrm{Pr})^{9/16}]^{8/27}}\right\}^2",
    source="churchill_chu_cylinder, incropera",
    valid="long cylinder, Ra to 1e12",
)
def horizontal_cylinder_nusselt(rayleigh: u.Number, prandtl: u.Number) -> u.Number:
    """Mean Nusselt number of natural convection at a horizontal cylinder, on its diameter.

    Args:
        rayleigh: Rayleigh number of the diameter.
        prandtl: Prandtl number.

    >>> print(round(horizontal_cylinder_nusselt(5.0757e6, 0.697), 2))
    23.09
    """
    return _natural(rayleigh, prandtl, 0.60, 0.559)


def _natural(rayleigh, prandtl, offset, scale):
    not_negative("rayleigh", rayleigh)
    positive("prandtl", prandtl)
    warn_outside("rayleigh", rayleigh, 0.0, 1e12, "Churchill and Chu")
    return (offset + 0.387 * np.power(rayleigh, 1 / 6) / (1 + (scale / prandtl) ** (9 / 16)) ** (8 / 27)) ** 2


@formula(
    equation=r"\mathrm{Nu} = 0.3259\,\mathrm{Re}^{1/2}\frac{\mathrm{Re}_c}{\mathrm{Re}}"
    r" + 0.015\,\mathrm{Re}^{4/5}\left[1-\left(\frac{\mathrm{Re}_c}{\mathrm{Re}}\right)^{1.3}\right]\ (\mathrm{Re}>\mathrm{Re}_c)",
    source="rotating_disc",
    valid="free disc in still air (Pr 0.71), one temperature all over; turbulent from Re 2e5 to 3e5",
)
def rotating_disc_nusselt(reynolds: u.Number, transition_reynolds: u.Number = 2.4e5) -> u.Number:
    """Mean Nusselt number of one face of a disc that turns in still air, on its radius.

    Laminar up to the transition; beyond it the middle stays laminar and the
    outer ring is turbulent.

    Args:
        reynolds: rotation times radius squared over viscosity.
        transition_reynolds: where the flow becomes turbulent.

    >>> print(round(rotating_disc_nusselt(37070.0), 2))
    62.75
    """
    not_negative("reynolds", reynolds)
    not_negative("transition_reynolds", transition_reynolds)
    inner = np.minimum(1.0, np.divide(transition_reynolds, np.maximum(reynolds, 1e-300)))  # share of the area that is laminar
    return 0.3259 * np.sqrt(reynolds) * inner + 0.015 * np.power(reynolds, 0.8) * (1 - inner**1.3)


def _rotating_cylinder(reynolds, rayleigh):
    return 0.11 * np.power(0.5 * np.square(reynolds) + rayleigh, 0.35)


@formula(
    equation=r"\mathrm{Nu} = 0.11\,(0.5\,\mathrm{Re}^2 + \mathrm{Ra})^{0.35}",
    source="kreith",
    valid="air, Re to 8000; above it 0.073 Re^0.7 (Dropkin and Carmi 1957) is about 15 % lower",
)
def rotating_cylinder_nusselt(reynolds: u.Number, rayleigh: u.Number) -> u.Number:
    """Mean Nusselt number of a horizontal cylinder that turns in still air, on its diameter.

    The Reynolds number is that of the surface speed and the diameter,
    rotation times diameter squared over twice the viscosity.  A textbook
    example puts radians per second into pi D^2 n / nu, which is the surface
    speed only for turns per second, and so gets 2 pi times as much.

    Args:
        reynolds: Reynolds number of surface speed and diameter.
        rayleigh: Rayleigh number of the diameter.

    >>> print(round(rotating_cylinder_nusselt(2008.0, 3.557e7), 2))
    49.28
    """
    not_negative("reynolds", reynolds)
    not_negative("rayleigh", rayleigh)
    warn_outside("reynolds", reynolds, 0.0, 8000.0, "the rotating cylinder of Kreith et al.")
    return _rotating_cylinder(reynolds, rayleigh)


@formula(
    equation=r"\mathrm{Ta} = \frac{\omega^2\,r_m\,d^3}{\nu^2}",
    source="becker_kaye",
    valid="inner cylinder turning or outer housing turning slowly; gap small against the radius",
)
def taylor_number(rotation: u.RadianPerSecond, mean_radius: u.Metre, gap: u.Metre, kinematic_viscosity: u.SquareMetrePerSecond) -> u.Number:
    """Taylor number of an air gap.

    Args:
        rotation: rotation of rotor against stator.
        mean_radius: radius of the middle of the gap.
        gap: radial width of the gap.
        kinematic_viscosity: kinematic viscosity of the air.

    >>> round(taylor_number(314.159, 0.05, 0.7e-3, 20.92e-6), 1)
    3867.6
    """
    positive("mean_radius", mean_radius)
    positive("gap", gap)
    positive("kinematic_viscosity", kinematic_viscosity)
    return rotation**2 * mean_radius * gap**3 / kinematic_viscosity**2


@formula(
    equation=r"\mathrm{Nu} = 2;\ 0.128\,\mathrm{Ta}^{0.367}\ (\mathrm{Ta}\ge1700);\ 0.409\,\mathrm{Ta}^{0.241}\ (\mathrm{Ta}\ge10^4)",
    source="becker_kaye",
    valid="Ta to 1e7; the length in Nu is twice the gap; the pieces meet within 2 %",
)
def air_gap_nusselt(taylor: u.Number) -> u.Number:
    """Nusselt number of a smooth air gap without axial flow, on twice its width.

    The coefficient is Nu times conductivity over twice the gap: below the
    first vortices Nu = 2 is plain conduction through the gap.

    Args:
        taylor: Taylor number.

    >>> print(round(air_gap_nusselt(3867.6), 3))
    2.653
    """
    not_negative("taylor", taylor)
    warn_outside("taylor", taylor, 0.0, 1e7, "Becker and Kaye")
    return np.select(
        [np.asarray(taylor) < 1700, np.asarray(taylor) < 1e4],
        [2.0, 0.128 * np.power(taylor, 0.367)],
        0.409 * np.power(taylor, 0.241),
    )[()]


@formula(equation=r"h = \frac{\mathrm{Nu}\,k}{2\,d}", source="becker_kaye")
def air_gap_coefficient(nusselt: u.Number, conductivity: u.WattPerMetreKelvin, gap: u.Metre) -> u.WattPerSquareMetreKelvin:
    """Heat transfer coefficient from wall to wall of an air gap.

    Args:
        nusselt: Nusselt number of the gap, on twice its width.
        conductivity: thermal conductivity of the air.
        gap: radial width of the gap.

    >>> round(air_gap_coefficient(2.0, 0.0281, 0.8e-3), 3)
    35.125
    """
    positive("gap", gap)
    return nusselt * conductivity / (2 * gap)


@formula(
    equation=r"h = k_1\,(1 + k_2\,v^{k_3})",
    source="end_space",
    valid="totally enclosed motors, surface speed to 20 m/s; the curves that were collected there differ by a factor of two",
)
def end_space_coefficient(
    surface_speed: u.MetrePerSecond,
    still: u.WattPerSquareMetreKelvin = 15.0,
    growth: u.Number = 0.4,
    exponent: u.Number = 0.9,
) -> u.WattPerSquareMetreKelvin:
    """Heat transfer coefficient at the ends of a winding and at the covers around them.

    Args:
        surface_speed: speed of the rotor's surface against the stator, by its size.
        still: coefficient with the rotor at rest: natural convection and radiation.
        growth: growth with the speed in metres per second.
        exponent: exponent of the speed.

    >>> print(end_space_coefficient(0.0), round(end_space_coefficient(2.0), 2))
    15.0 26.2
    """
    not_negative("still", still)
    not_negative("growth", growth)
    positive("exponent", exponent)
    speed = np.abs(surface_speed)
    warn_outside("surface_speed", speed, 0.0, 20.0, "the end space of Staton, Boglietti and Cavagnino")
    return still * (1 + growth * speed**exponent)


@formula(
    equation=r"P = \alpha\,E\,A_p,\quad A_p = \sqrt{(\pi D^2/4)^2 + (D\,b)^2}",
    source="incropera",
    valid="the direction of the sun in which the cylinder throws its largest shadow; diffuse light not counted apart",
)
def sunlit_power(irradiance: u.WattPerSquareMetre, diameter: u.Metre, width: u.Metre, absorptivity: u.Ratio = 0.9) -> u.Watt:
    """Heat that a short cylinder, such as the housing of a hub motor, takes from sunshine.

    Args:
        irradiance: sunshine on a surface that faces the sun.
        diameter: diameter of the cylinder.
        width: width of the cylinder.
        absorptivity: share of the sunshine that stays; dark paint 0.9, white paint 0.2, bare metal between.

    >>> print(round(sunlit_power(1000.0, 0.25, 0.06, 0.9), 1))
    46.2
    """
    not_negative("irradiance", irradiance)
    positive("diameter", diameter)
    positive("width", width)
    within("absorptivity", absorptivity, 0.0, 1.0)
    return absorptivity * irradiance * np.hypot(np.pi / 4 * np.square(diameter), np.multiply(diameter, width))


@formula(
    equation=r"h_r = \varepsilon\,\sigma\,(T_s + T_a)(T_s^2 + T_a^2)",
    source="incropera",
    valid="grey surface in surroundings at air temperature; sun and warm ground not counted",
)
def radiation_coefficient(emissivity: u.Ratio, surface_temperature: u.Kelvin, air_temperature: u.Kelvin) -> u.WattPerSquareMetreKelvin:
    """Radiation as a heat transfer coefficient.

    Args:
        emissivity: emissivity of the surface; bare metal is low, paint of any colour high.
        surface_temperature: temperature of the surface.
        air_temperature: temperature of air and surroundings.

    >>> round(radiation_coefficient(0.8, 423.0, 298.0), 2)
    8.76
    """
    within("emissivity", emissivity, 0.0, 1.0)
    positive("surface_temperature", surface_temperature)
    positive("air_temperature", air_temperature)
    return emissivity * STEFAN_BOLTZMANN * (surface_temperature + air_temperature) * (surface_temperature**2 + air_temperature**2)


@formula(
    equation=r"G = \sum_{\mathrm{faces},\,\mathrm{rim}} A"
    r"\left[\sqrt[3]{h_\mathrm{natural}^3 + h_\mathrm{rotation}^3 + h_\mathrm{road\ air}^3} + h_r\right]",
    source="incropera, churchill_bernstein, churchill_chu_plate, churchill_chu_cylinder, rotating_disc, kreith",
    sign="speed and rotation count by their size",
    valid="an upper estimate: the road air reaches the housing unhindered by spokes, legs and frame; air at sea level",
)
def housing_conductance(
    road_speed: u.MetrePerSecond,
    rotation: u.RadianPerSecond,
    diameter: u.Metre,
    width: u.Metre,
    air_temperature: u.Kelvin,
    emissivity: u.Ratio = 0.9,
    surface_temperature: u.Kelvin | None = None,
) -> u.WattPerKelvin:
    """Heat per kelvin from the housing of a motor that turns with the wheel.

    Two round faces and a rim.  Natural convection, rotation and road air act
    on each together; their coefficients are joined as a sum of cubes, the rule
    for mixed convection.  Road air: faces as plates of the mean chord along
    the flow, rim as a cylinder across it.  Rotation: faces as free discs, rim
    by the law of the rotating cylinder without its natural part; the rim goes
    beyond the range of that law, which moves the whole by about 1 %.  Natural:
    faces as vertical plates of the mean chord, rim as a horizontal cylinder.

    Args:
        road_speed: speed of the road air past the housing.
        rotation: rotation of the housing.
        diameter: outer diameter of the housing.
        width: outer width of the housing.
        air_temperature: temperature of air and surroundings.
        emissivity: emissivity of the housing.
        surface_temperature: temperature of the housing; 40 K above the air when left out.

    >>> print(round(housing_conductance(5.0, 14.0, 0.25, 0.06, 298.15), 2))
    3.92
    """
    positive("diameter", diameter)
    positive("width", width)
    positive("air_temperature", air_temperature)
    surface = np.add(air_temperature, 40.0) if surface_temperature is None else surface_temperature
    radiation = radiation_coefficient(emissivity, surface, air_temperature)
    film = (np.asarray(surface) + air_temperature) / 2
    conductivity, viscosity, prandtl = air.conductivity(film), air.kinematic_viscosity(film), air.prandtl(film)
    speed, turning = np.abs(road_speed), np.abs(rotation)
    chord = np.pi / 4 * np.asarray(diameter)
    buoyancy = rayleigh(1 / film, np.subtract(surface, air_temperature), 1.0, viscosity, viscosity / prandtl)
    faces = (
        vertical_plate_nusselt(buoyancy * chord**3, prandtl) / chord,
        rotating_disc_nusselt(turning * np.square(diameter) / (4 * viscosity)) * 2 / diameter,
        plate_nusselt(speed * chord / viscosity, prandtl) / chord,
    )
    # the cross-flow law starts at Re Pr = 0.2; what it gives there is nothing beside natural convection
    rim = (
        horizontal_cylinder_nusselt(buoyancy * np.power(diameter, 3), prandtl) / diameter,
        _rotating_cylinder(turning * np.square(diameter) / (2 * viscosity), 0.0) / diameter,
        cylinder_crossflow_nusselt(np.maximum(speed * diameter / viscosity, 1.0), prandtl) / diameter,
    )
    face, edge = (conductivity * np.cbrt(sum(part**3 for part in parts)) + radiation for parts in (faces, rim))
    return np.pi / 2 * np.square(diameter) * face + np.pi * diameter * width * edge
