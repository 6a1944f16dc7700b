"""Air density and transport properties."""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import positive, warn_outside, within
from .registry import formula

EARTH_RADIUS = 6356766.0  # m, the nominal radius of the standard atmosphere
STANDARD_GRAVITY = 9.80665  # m/s^2, part of the definition of the standard atmosphere
DRY_AIR_CONSTANT = 287.05287  # J/(kg K)
SEA_LEVEL_TEMPERATURE = 288.15  # K
SEA_LEVEL_PRESSURE = 101325.0  # Pa
LAPSE_RATE = 0.0065  # K per metre of geopotential altitude
_LAPSE_EXPONENT = STANDARD_GRAVITY / (DRY_AIR_CONSTANT * LAPSE_RATE)
_LAYER = "lowest layer, -5 km to 11 km; up to 44 km the same line is carried on with a warning"
_COMPARED = "Lemmon and Jacobsen (2004), against which it was compared"


@formula(
    equation=r"T = 288.15\,\mathrm{K} - 0.0065\,H,\quad H = \frac{r h}{r + h}",
    source="iso2533",
    sign="altitude above mean sea level positive",
    valid=_LAYER,
)
def standard_temperature(altitude: u.Metre) -> u.Kelvin:
    """Temperature of the standard atmosphere.

    Args:
        altitude: geometric altitude above mean sea level.

    >>> round(standard_temperature(1000.0), 3)
    281.651
    """
    within("altitude", altitude, -10000.0, 44000.0)
    warn_outside("altitude", altitude, -5000.0, 11000.0, "the lowest layer of ISO 2533")
    return SEA_LEVEL_TEMPERATURE - LAPSE_RATE * (EARTH_RADIUS * altitude / (EARTH_RADIUS + altitude))


@formula(
    equation=r"p = 101325\,\mathrm{Pa}\left(\frac{T}{288.15\,\mathrm{K}}\right)^{g_0/(R L)}",
    source="iso2533",
    sign="altitude above mean sea level positive",
    valid=_LAYER,
)
def standard_pressure(altitude: u.Metre) -> u.Pascal:
    """Pressure of the standard atmosphere.

    Args:
        altitude: geometric altitude above mean sea level.

    >>> round(standard_pressure(1000.0))
    89876
    """
    return SEA_LEVEL_PRESSURE * (standard_temperature(altitude) / SEA_LEVEL_TEMPERATURE) ** _LAPSE_EXPONENT


@formula(
    equation=r"\rho = \frac{p(h)}{R\,T(h)}",
    source="iso2533",
    sign="altitude above mean sea level positive",
    valid=_LAYER,
)
def standard_density(altitude: u.Metre) -> u.KilogramPerCubicMetre:
    """Density of the standard atmosphere.

    Args:
        altitude: geometric altitude above mean sea level.

    >>> round(standard_density(1000.0), 4)
    1.1117
    """
    return density_at(altitude, standard_temperature(altitude))


@formula(
    equation=r"\rho = \frac{p(h)}{R\,T}",
    source="iso2533",
    sign="altitude above mean sea level positive",
    valid=_LAYER + "; dry air: saturated air is lighter by 0.5 % at 10 degC, 1.2 % at 25 degC and 2.1 % at 35 degC",
)
def density_at(altitude: u.Metre, temperature: u.Kelvin) -> u.KilogramPerCubicMetre:
    """Density of dry air under the standard pressure of an altitude, at a given air temperature.

    Args:
        altitude: geometric altitude above mean sea level.
        temperature: air temperature.

    >>> round(density_at(500.0, 303.15), 4)
    1.097
    """
    positive("temperature", temperature)
    return standard_pressure(altitude) / (DRY_AIR_CONSTANT * temperature)


@formula(
    equation=r"\rho = \frac{p M_a}{Z R T}\left[1 - x_v\left(1 - \frac{M_v}{M_a}\right)\right],\quad x_v = h\,f(p,t)\,\frac{p_{sv}(t)}{p}",
    source="cipm2007",
    valid="15 degC to 27 degC and 600 hPa to 1100 hPa; 400 parts of carbon dioxide in a million",
)
def moist_density(temperature: u.Kelvin, pressure: u.Pascal, relative_humidity: u.Ratio) -> u.KilogramPerCubicMetre:
    """Density of moist air by the CIPM-2007 equation.

    Args:
        temperature: air temperature.
        pressure: air pressure where the air is, not reduced to sea level.
        relative_humidity: relative humidity, 0 to 1.

    >>> f"{moist_density(293.15, 101325.0, 0.5):.4f}"
    '1.1993'
    """
    positive("temperature", temperature)
    positive("pressure", pressure)
    within("relative_humidity", relative_humidity, 0.0, 1.0)
    warn_outside("temperature", temperature, 288.15, 300.15, "CIPM-2007")
    warn_outside("pressure", pressure, 60000.0, 110000.0, "CIPM-2007")
    celsius = temperature - 273.15
    saturation = np.exp(1.2378847e-5 * temperature**2 - 1.9121316e-2 * temperature + 33.93711047 - 6343.1645 / temperature)
    enhancement = 1.00062 + 3.14e-8 * pressure + 5.6e-7 * celsius**2
    vapour = relative_humidity * enhancement * saturation / pressure  # mole fraction
    compressibility = (
        1
        - pressure
        / temperature
        * (
            1.58123e-6
            - 2.9331e-8 * celsius
            + 1.1043e-10 * celsius**2
            + (5.707e-6 - 2.051e-8 * celsius) * vapour
            + (1.9898e-4 - 2.376e-6 * celsius) * vapour**2
        )
        + (pressure / temperature) ** 2 * (1.83e-11 - 0.765e-8 * vapour**2)
    )
    dry_mass, vapour_mass = 28.96546e-3, 18.01528e-3  # kg/mol
    return pressure * dry_mass / (compressibility * 8.314472 * temperature) * (1 - vapour * (1 - vapour_mass / dry_mass))


@formula(
    equation=r"k = \frac{2.648151\times10^{-3}\,T^{3/2}}{T + 245.4\times10^{-12/T}}",
    source="iso2533, lemmon_jacobsen_air",
    valid="200 K to 600 K: within 2.2 % of Lemmon and Jacobsen (1.4 % from 250 K)",
)
def conductivity(temperature: u.Kelvin) -> u.WattPerMetreKelvin:
    """Thermal conductivity of air near atmospheric pressure.

    Args:
        temperature: air temperature; for heat transfer the mean of surface and surroundings.

    >>> round(conductivity(300.0), 4)
    0.0263
    """
    positive("temperature", temperature)
    warn_outside("temperature", temperature, 200.0, 600.0, _COMPARED)
    return 2.648151e-3 * temperature**1.5 / (temperature + 245.4 * 10 ** (-12 / temperature))


@formula(
    equation=r"\mu = \frac{1.458\times10^{-6}\,T^{3/2}}{T + 110.4}",
    source="iso2533, lemmon_jacobsen_air",
    valid="200 K to 600 K: within 2 % of Lemmon and Jacobsen (1 % up to 400 K)",
)
def dynamic_viscosity(temperature: u.Kelvin) -> u.PascalSecond:
    """Dynamic viscosity of air near atmospheric pressure, after Sutherland.

    Args:
        temperature: air temperature; for heat transfer the mean of surface and surroundings.

    >>> f"{dynamic_viscosity(300.0):.3e}"
    '1.846e-05'
    """
    positive("temperature", temperature)
    warn_outside("temperature", temperature, 200.0, 600.0, _COMPARED)
    return 1.458e-6 * temperature**1.5 / (temperature + 110.4)


@formula(
    equation=r"\nu = \frac{\mu}{\rho} = \frac{\mu(T)\,R\,T}{p}",
    source="iso2533",
    valid="200 K to 600 K; dry air as an ideal gas",
)
def kinematic_viscosity(temperature: u.Kelvin, pressure: u.Pascal = SEA_LEVEL_PRESSURE) -> u.SquareMetrePerSecond:
    """Kinematic viscosity of air.

    Args:
        temperature: air temperature; for heat transfer the mean of surface and surroundings.
        pressure: air pressure.

    >>> f"{kinematic_viscosity(300.0):.3e}"
    '1.569e-05'
    """
    positive("pressure", pressure)
    return dynamic_viscosity(temperature) * DRY_AIR_CONSTANT * temperature / pressure


@formula(
    equation=r"\mathrm{Pr} = \frac{\mu\,c_p}{k},\quad \frac{c_p}{R} = \frac{7}{2} + \sum_i x_i\,E\!\left(\frac{\theta_i}{T}\right)",
    source="iso2533, diatomic_heat_capacity, lemmon_jacobsen_air",
    valid="200 K to 600 K: within 1.7 % of Lemmon and Jacobsen up to 400 K, 3.5 % above",
)
def prandtl(temperature: u.Kelvin) -> u.Number:
    """Prandtl number of air near atmospheric pressure.

    Args:
        temperature: air temperature; for heat transfer the mean of surface and surroundings.

    >>> f"{prandtl(300.0):.3f}"
    '0.707'
    """
    return dynamic_viscosity(temperature) * _specific_heat(temperature) / conductivity(temperature)


def _specific_heat(temperature: u.Values) -> u.Values:
    """Specific heat of dry air at constant pressure in J/(kg K): rigid rotors and harmonic oscillators.

    The mole fractions and vibration temperatures are those of nitrogen and
    oxygen; E is Einstein's function.  Real air differs by less than 0.3 %.
    """
    vibration = 0.0
    for fraction, characteristic in ((0.78084, 3393.0), (0.20948, 2273.0)):
        ratio = characteristic / temperature
        vibration = vibration + fraction * (ratio / (2 * np.sinh(ratio / 2))) ** 2
    return DRY_AIR_CONSTANT * (3.5 + vibration)
