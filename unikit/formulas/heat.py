"""Temperature rise of one body.

Networks of bodies stand in ``network``, convection and radiation in
``convection``, fins and heat sinks in ``sink``, duty types and insulation in
``duty``; all can be reached from here too.
"""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import not_negative, positive
from .convection import (  # noqa: F401 - reached as heat.…
    air_gap_coefficient,
    air_gap_nusselt,
    cylinder_crossflow_nusselt,
    end_space_coefficient,
    horizontal_cylinder_nusselt,
    housing_conductance,
    plate_nusselt,
    radiation_coefficient,
    rayleigh,
    rotating_cylinder_nusselt,
    rotating_disc_nusselt,
    sunlit_power,
    taylor_number,
    vertical_plate_nusselt,
)
from .duty import (  # noqa: F401
    duty_rms,
    insulation_life,
    insulation_limit,
    intermittent_factor,
    intermittent_peak_rise,
    mean_winding_limit,
    rise_limit,
    short_time_factor,
)
from .network import balance, chain, network_response, network_steady, network_time_to_limit  # noqa: F401
from .registry import formula
from .sink import fin_conductance, finned_conductance, sink_resistance, straight_fin_efficiency  # noqa: F401


@formula(equation=r"\theta_\infty = P\,R", source="incropera")
def steady_rise(power: u.Watt, thermal_resistance: u.KelvinPerWatt) -> u.KelvinRise:
    """Rise over the air after a long time.

    Args:
        power: losses.
        thermal_resistance: thermal resistance to the air.

    >>> steady_rise(60.0, 0.5)
    30.0
    """
    positive("thermal_resistance", thermal_resistance)
    return power * thermal_resistance


@formula(equation=r"\tau = R\,C", source="incropera")
def time_constant(thermal_resistance: u.KelvinPerWatt, thermal_capacity: u.JoulePerKelvin) -> u.Second:
    """Thermal time constant of one body.

    Args:
        thermal_resistance: thermal resistance to the air.
        thermal_capacity: heat capacity.

    >>> time_constant(0.5, 3000.0)
    1500.0
    """
    positive("thermal_resistance", thermal_resistance)
    positive("thermal_capacity", thermal_capacity)
    return thermal_resistance * thermal_capacity


@formula(
    equation=r"\theta = P R\left(1 - e^{-t/(R C)}\right)",
    source="incropera",
    valid="one body of one temperature, from the temperature of the air, constant losses",
)
def temperature_rise(
    power: u.Watt, thermal_resistance: u.KelvinPerWatt, thermal_capacity: u.JoulePerKelvin, time: u.Second
) -> u.KelvinRise:
    """Rise of one body over the air after a time.

    Args:
        power: losses.
        thermal_resistance: thermal resistance to the air.
        thermal_capacity: heat capacity.
        time: time since it was at the temperature of the air.

    >>> print(round(temperature_rise(60.0, 0.5, 3000.0, 1500.0), 3))
    18.964
    """
    not_negative("time", time)
    return -steady_rise(power, thermal_resistance) * np.expm1(-np.asarray(time) / time_constant(thermal_resistance, thermal_capacity))


@formula(
    equation=r"t = -\tau\,\ln\left(1 - \frac{\theta}{\theta_\infty}\right)", source="gupta_drives", valid="from the temperature of the air"
)
def time_to_rise(rise: u.KelvinRise, steady_rise: u.KelvinRise, time_constant: u.Second) -> u.Second:
    """Time in which one body reaches a rise; inf where it stays below.

    Args:
        rise: rise to reach.
        steady_rise: rise after a long time.
        time_constant: thermal time constant.

    >>> print(round(time_to_rise(60.0, 100.0, 3600.0) / 60, 1))
    55.0
    """
    not_negative("rise", rise)
    positive("steady_rise", steady_rise)
    positive("time_constant", time_constant)
    share = np.divide(rise, steady_rise)
    reached = share < 1
    return np.where(reached, -np.log1p(-np.where(reached, share, 0.0)) * time_constant, np.inf)[()]


@formula(
    equation=r"\tau = \frac{-t_1}{\ln(\theta_2/\theta_1 - 1)}",
    source="singhal_drives",
    valid="rises at t and 2 t after a start at the temperature of the air, constant losses",
)
def reading_time_constant(first_rise: u.KelvinRise, second_rise: u.KelvinRise, time: u.Second) -> u.Second:
    """Time constant from two readings of a warming body.

    Args:
        first_rise: rise after the time.
        second_rise: rise after twice the time; above the first, below its double.
        time: time of the first reading.

    >>> print(round(reading_time_constant(20.0, 30.0, 1800.0) / 60, 2))
    43.28
    """
    positive("first_rise", first_rise)
    positive("second_rise - first_rise", np.subtract(second_rise, first_rise))
    positive("2 first_rise - second_rise", 2 * np.asarray(first_rise) - second_rise)
    positive("time", time)
    return -time / np.log(np.divide(second_rise, first_rise) - 1)


@formula(
    equation=r"T = \frac{T_a + R P_0 (1 - \alpha T_0)}{1 - R P_0 \alpha}",
    source="definition",
    valid="copper loss only, linear in temperature; an error where it runs away",
)
def copper_steady_temperature(
    ambient_celsius: u.Celsius,
    thermal_resistance: u.KelvinPerWatt,
    reference_loss: u.Watt,
    reference_celsius: u.Celsius = 20.0,
    coefficient: u.PerKelvin = 0.00393,
) -> u.Celsius:
    """Steady temperature of a winding whose resistance grows as it warms.

    Args:
        ambient_celsius: temperature of the air.
        thermal_resistance: thermal resistance from winding to air.
        reference_loss: copper loss of the current at the reference temperature.
        reference_celsius: reference temperature.
        coefficient: temperature coefficient of the resistance at the reference temperature.

    >>> round(copper_steady_temperature(25.0, 1.2, 3 * 18**2 * 0.08), 2)
    175.24
    """
    positive("thermal_resistance", thermal_resistance)
    not_negative("reference_loss", reference_loss)
    rise = thermal_resistance * reference_loss
    if not np.all(rise * coefficient < 1):
        raise ValueError(
            "reference_loss must be below 1 / (thermal_resistance * coefficient): here the copper loss grows faster "
            "with temperature than the heat can leave (thermal runaway)"
        )
    return (ambient_celsius + rise * (1 - coefficient * reference_celsius)) / (1 - rise * coefficient)
