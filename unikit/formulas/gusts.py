"""Gusts and a barometer that errs, as a ride cut into stretches meets them: mean drag, and what makes stretches alike."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from .checks import not_negative, positive
from .registry import formula
from .road import GRAVITY

_POINTS, _CHANCES = np.polynomial.hermite_e.hermegauss(5)
_CHANCES = _CHANCES / _CHANCES.sum()


@formula(
    equation=r"F = \tfrac{1}{2}\rho A_d\,\mathrm{E}\left[(V_a + \xi)\sqrt{(V_a + \xi)^2 + (V_c + \eta)^2}\right],\quad "
    r"\xi, \eta \sim N(0, \sigma)",
    source="martin1998, gauss_hermite",
    sign="positive against forward travel",
    valid="normal gusts alike in all directions; by Gauss's rule with five by five points",
)
def gusty_drag(
    air_density: u.KilogramPerCubicMetre,
    drag_area: u.SquareMetre,
    along: u.MetrePerSecond,
    across: u.MetrePerSecond,
    gust_deviation: u.MetrePerSecond,
) -> u.Newton:
    """Mean air force in gusts that average to nothing: they add drag all the same.

    Args:
        air_density: density of the air.
        drag_area: drag coefficient times frontal area.
        along: air speed along the way without gusts.
        across: air speed across the way without gusts.
        gust_deviation: standard deviation of the gusts in each of two directions.

    >>> round(float(gusty_drag(1.2, 0.5, 5.0, 0.0, 1.0)), 2)
    7.95
    """
    not_negative("air_density", air_density)
    not_negative("drag_area", drag_area)
    not_negative("gust_deviation", gust_deviation)
    return 0.5 * air_density * drag_area * pressure(along, across, gust_deviation).mean


class Pressure(NamedTuple):
    """Air speed along the way times that past the rider, in gusts."""

    mean: np.ndarray
    by_along: np.ndarray  # mean slopes
    by_across: np.ndarray
    square: np.ndarray  # mean square


def pressure(along: u.Values, across: u.Values, gust: u.Values) -> Pressure:
    """Means over gusts that are normal and alike in all directions, by Gauss's rule."""
    force = by_along = by_across = square = 0.0
    for ahead, one in zip(_POINTS, _CHANCES, strict=True):
        for beside, other in zip(_POINTS, _CHANCES, strict=True):
            x, y, chance = along + ahead * np.asarray(gust), across + beside * np.asarray(gust), one * other
            speed = np.sqrt(x * x + y * y + 1e-12)
            force = force + chance * x * speed
            by_along = by_along + chance * (speed + x * x / speed)
            by_across = by_across + chance * x * y / speed
            square = square + chance * (x * speed) ** 2
    return Pressure(force, by_along, by_across, square)


@formula(
    equation=(
        r"\rho_{jk} = e^{-\kappa g_{jk}}\,\frac{1-e^{-\kappa T_j}}{\kappa T_j}\,\frac{1-e^{-\kappa T_k}}{\kappa T_k},\quad "
        r"\rho_{jj} = \frac{2\,(\kappa T_j - 1 + e^{-\kappa T_j})}{(\kappa T_j)^2},\quad \kappa = \frac{1}{\tau}"
    ),
    source="vanmarcke_random_fields",
    valid="gusts that forget exponentially; stretches in the order of time that do not overlap",
)
def gust_likeness(stretch_start: u.Second, duration: u.Second, gust_time: u.Second) -> u.Ratio:
    """Covariance of the gusts' means over stretches, over the variance of the gusts; a matrix in the last two axes.

    Args:
        stretch_start: when each stretch begins, along the last axis.
        duration: how long it lasts.
        gust_time: time in which the likeness of two moments falls to 1/e.

    >>> gust_likeness(np.array([0.0, 10.0]), np.array([10.0, 10.0]), 1e9).round(6).tolist()
    [[1.0, 1.0], [1.0, 1.0]]
    """
    positive("duration", duration)
    positive("gust_time", gust_time)
    start, duration = np.asarray(stretch_start, float), np.asarray(duration, float)
    time = np.asarray(gust_time, float)[..., None]
    share = duration / time
    mean = -np.expm1(-share) / share
    later = start[..., None, :] - (start + duration)[..., :, None]  # from the end of the row's stretch to the start of the column's
    gap = np.maximum(np.maximum(later, np.swapaxes(later, -1, -2)), 0.0)
    likeness = np.exp(-gap / time[..., None]) * mean[..., :, None] * mean[..., None, :]
    small = share < 1e-3  # where the difference below would be lost in the last digits
    safe = np.where(small, 1.0, share)
    own = np.where(small, 1 - share / 3, 2 * (safe + np.expm1(-safe)) / safe**2)
    index = np.arange(start.shape[-1])
    likeness[..., index, index] = own
    return likeness


@formula(
    equation=r"C_{jj} = \frac{2 (m g \sigma)^2}{d_j^2},\quad C_{j,j+1} = -\frac{(m g \sigma)^2}{d_j d_{j+1}}"
    r"\ \text{where they share an end}",
    source="jcgm_100",
    valid="independent errors of the altitude at the ends of the stretches",
)
def end_noise(mass: u.Kilogram, distance: u.Metre, shared: bool | np.ndarray, altitude_noise: u.Metre) -> u.Number:
    """Covariance of the stretches' forces by errors of the altitude at their ends, in N²; a matrix in the last two axes.

    Args:
        mass: mass of rider and machine.
        distance: length of each stretch, along the last axis.
        shared: whether it ends where the next one begins.
        altitude_noise: standard deviation of one altitude.

    >>> (end_noise(1 / 9.81, np.array([1.0, 2.0]), np.array([True, False]), 1.0) + 0.0).round(6).tolist()
    [[2.0, -0.5], [-0.5, 0.5]]
    """
    positive("distance", distance)
    distance = np.asarray(distance, float)
    count = distance.shape[-1]
    ends = np.zeros(np.broadcast_shapes(distance.shape, np.shape(shared)) + (count,))
    index = np.arange(count)
    ends[..., index, index] = 2.0
    ends[..., index[:-1], index[1:]] = -1.0 * np.asarray(shared)[..., :-1]
    ends[..., index[1:], index[:-1]] = ends[..., index[:-1], index[1:]]
    force = (mass * GRAVITY * np.asarray(altitude_noise, float))[..., None] / distance
    return ends * force[..., :, None] * force[..., None, :]
