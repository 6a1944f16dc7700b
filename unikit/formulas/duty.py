"""Duty types, equivalent load, and what insulation bears."""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import not_negative, one_of, positive
from .registry import formula


@formula(
    equation=r"K = \sqrt{\frac{1 + a}{1 - e^{-t/\tau}} - a}",
    source="dubey_drives",
    valid="duty type S2; losses grow with the square of the load; rest until cold",
)
def short_time_factor(time: u.Second, time_constant: u.Second, constant_loss_ratio: u.Ratio = 0.0) -> u.Ratio:
    """Load for a short time over continuous load, for the same greatest rise.

    Args:
        time: time under load, from cold.
        time_constant: thermal time constant.
        constant_loss_ratio: losses that do not depend on load, over copper loss at continuous load.

    >>> print(round(short_time_factor(600.0, 3600.0), 3))
    2.552
    """
    positive("time", time)
    positive("time_constant", time_constant)
    not_negative("constant_loss_ratio", constant_loss_ratio)
    return np.sqrt((1 + constant_loss_ratio) / -np.expm1(-np.asarray(time) / time_constant) - constant_loss_ratio)


def _intermittent(on_time, off_time, heating_time_constant, cooling_time_constant):
    """Rise at the end of each load, over the rise under that load for ever."""
    positive("on_time", on_time)
    not_negative("off_time", off_time)
    positive("heating_time_constant", heating_time_constant)
    positive("cooling_time_constant", cooling_time_constant)
    heating = np.divide(on_time, heating_time_constant)
    return np.expm1(-heating) / np.expm1(-(heating + np.divide(off_time, cooling_time_constant)))


@formula(
    equation=r"K = \sqrt{\frac{1 + a}{k} - a},\quad k = \frac{1 - e^{-t_r/\tau_r}}{1 - e^{-t_r/\tau_r - t_s/\tau_s}}",
    source="dubey_drives",
    valid="duty type S3 after many cycles; losses grow with the square of the load, none at rest",
)
def intermittent_factor(
    on_time: u.Second,
    off_time: u.Second,
    heating_time_constant: u.Second,
    cooling_time_constant: u.Second,
    constant_loss_ratio: u.Ratio = 0.0,
) -> u.Ratio:
    """Load in each cycle of load and rest over continuous load, for the same greatest rise.

    Args:
        on_time: time under load in each cycle.
        off_time: time at rest in each cycle.
        heating_time_constant: thermal time constant under load.
        cooling_time_constant: thermal time constant at rest.
        constant_loss_ratio: losses that do not depend on load, over copper loss at continuous load.

    >>> print(round(intermittent_factor(600.0, 600.0, 3600.0, 5400.0), 4))
    1.2569
    """
    not_negative("constant_loss_ratio", constant_loss_ratio)
    share = _intermittent(on_time, off_time, heating_time_constant, cooling_time_constant)
    return np.sqrt((1 + constant_loss_ratio) / share - constant_loss_ratio)


@formula(
    equation=r"\theta = \theta_\infty\,\frac{1 - e^{-t_r/\tau_r}}{1 - e^{-t_r/\tau_r - t_s/\tau_s}}",
    source="singhal_drives",
    valid="duty type S3 after many cycles",
)
def intermittent_peak_rise(
    steady_rise: u.KelvinRise,
    on_time: u.Second,
    off_time: u.Second,
    heating_time_constant: u.Second,
    cooling_time_constant: u.Second,
) -> u.KelvinRise:
    """Greatest rise in cycles of load and rest.

    Args:
        steady_rise: rise under the load for ever.
        on_time: time under load in each cycle.
        off_time: time at rest in each cycle.
        heating_time_constant: thermal time constant under load.
        cooling_time_constant: thermal time constant at rest.

    >>> print(round(intermittent_peak_rise(50.0, 30.0, 45.0, 110.0, 150.0), 2))
    27.37
    """
    return steady_rise * _intermittent(on_time, off_time, heating_time_constant, cooling_time_constant)


@formula(
    equation=r"P_\mathrm{rms} = \sqrt{\frac{\sum P_i^2 t_i}{\sum t_i}}",
    source="singhal_drives",
    valid="cycle short against the thermal time constant; losses grow with the square of the load",
)
def duty_rms(power: u.Watt, time: u.Second) -> u.Watt:
    """Continuous load with the same mean copper loss as a cycle of loads; rest counts as a load of 0.

    Args:
        power: load of each part, parts along the last axis; torque or current serve as well.
        time: duration of each part.

    >>> print(round(duty_rms([50.0, 100.0, 0.0], [20.0, 20.0, 20.0]), 2))
    64.55
    """
    not_negative("time", time)
    load, time = np.broadcast_arrays(np.asarray(power, float), np.asarray(time, float))
    positive("sum of time", time.sum(axis=-1))
    return np.sqrt(np.sum(load**2 * time, axis=-1) / time.sum(axis=-1))


_LIMITS = {"A": 105.0, "E": 120.0, "B": 130.0, "F": 155.0, "H": 180.0, "N": 200.0}
_RISES = {"A": 60.0, "E": 75.0, "B": 80.0, "F": 105.0, "H": 125.0}  # A and E from memory


@formula(equation=r"T_\mathrm{class}", source="iec60085", valid="classes A, E, B, F, H, N")
def insulation_limit(insulation_class: str) -> u.Celsius:
    """Temperature for which an insulation class is named.

    Args:
        insulation_class: letter of the class.

    >>> insulation_limit("F")
    155.0
    """
    one_of("insulation_class", insulation_class, tuple(_LIMITS))
    return _LIMITS[insulation_class]


@formula(
    equation=r"\theta_\mathrm{class}",
    source="iec60034_1",
    valid="mean winding temperature by resistance, air at 40 degC; classes A, E (from memory), B, F, H",
)
def rise_limit(insulation_class: str) -> u.KelvinRise:
    """Rise that a rated machine may show by the resistance of its winding.

    Args:
        insulation_class: letter of the class.

    >>> rise_limit("F")
    105.0
    """
    one_of("insulation_class", insulation_class, tuple(_RISES))
    return _RISES[insulation_class]


@formula(
    equation=r"\bar T = 40\,^\circ\mathrm{C} + \theta_\mathrm{class}",
    source="iec60034_1",
    valid="classes A, E, B, F, H; the hottest spot is then 5 to 15 K above the mean, at the limit of the class",
)
def mean_winding_limit(insulation_class: str) -> u.Celsius:
    """Mean temperature of a winding at which its hottest spot is taken to reach the limit of its class.

    Args:
        insulation_class: letter of the class.

    >>> mean_winding_limit("F")
    145.0
    """
    return 40.0 + rise_limit(insulation_class)


@formula(equation=r"L = L_0\,2^{-\Delta T/\Delta T_{1/2}}", source="hubert_machines", valid="rule of thumb; ageing by heat alone")
def insulation_life(life: u.Second, excess: u.KelvinRise, halving: u.KelvinRise = 10.0) -> u.Second:
    """Life of an insulation that is hotter than it was made for.

    Args:
        life: life at the rated temperature.
        excess: temperature above the rated one.
        halving: excess that halves the life.

    >>> insulation_life(20.0, 10.0)
    10.0
    """
    positive("life", life)
    positive("halving", halving)
    return life * 2 ** (-excess / halving)


@formula(
    equation=r"t = \frac{C\,\Delta T}{P_2 - P_1}\,\ln\frac{P_2}{P_1}",
    source="adiabatic_winding",
    valid="nothing leaves the winding meanwhile, so a real one takes longer; its heat is spread evenly over all phases",
)
def adiabatic_time(rise: u.KelvinRise, thermal_capacity: u.JoulePerKelvin, power_start: u.Watt, power_end: u.Watt) -> u.Second:
    """Time in which a winding that keeps all of its heat warms up by a rise.

    Args:
        rise: temperature at the end less temperature at the start; below 0 counts as 0.
        thermal_capacity: heat that warms it by one kelvin.
        power_start: loss at the start; 0 gives inf.
        power_end: loss at the end, larger because a warm winding resists more.

    >>> round(float(adiabatic_time(80.0, 400.0, 200.0, 260.0)), 1)
    139.9
    """
    positive("thermal_capacity", thermal_capacity)
    not_negative("power_start", power_start)
    not_negative("power_end - power_start", np.subtract(power_end, power_start))
    heats = np.asarray(power_start) > 0
    growth = np.where(heats, np.subtract(power_end, power_start) / np.where(heats, power_start, 1.0), 0.0)
    mean = np.where(heats, power_start, 1.0) * np.where(growth > 1e-9, growth / np.log1p(np.maximum(growth, 1e-9)), 1.0)
    return np.where(heats, thermal_capacity * np.maximum(rise, 0.0) / mean, np.where(np.asarray(rise) > 0, np.inf, 0.0))[()]
