"""The altitudes along a route: what is wrong with a record of them, what is left of it, and how much climb it holds.

Altitudes lie along the last axis, leading axes are profiles; ``distance`` is
one list for all of them.  A value that is not known is nan.
"""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import not_negative, positive
from .registry import formula

BLOCK = 2**14  # points
SCALE = 1.482602  # standard deviation over median absolute deviation of normal errors


def _points(distance: u.Values, altitude: u.Values) -> tuple[np.ndarray, np.ndarray]:
    """Both as arrays, with distances that rise."""
    distance, altitude = np.asarray(distance, float), np.asarray(altitude, float)
    if distance.ndim != 1 or altitude.shape[-1:] != distance.shape:
        raise ValueError(f"altitude must have as many points as distance, got shapes {altitude.shape} and {distance.shape}")
    if not np.all(np.diff(distance) > 0):
        raise ValueError("distance must rise from point to point")
    return distance, altitude


@formula(
    equation=r"|z_i - \operatorname{med} z| > \max\left(t\cdot 1.4826\,\operatorname{med}|z - \operatorname{med} z|,\; z_0,\; "
    r"s_0\,\Delta x\right)",
    source="pearson2002",
    valid="spikes of at most as many points in a row as the window has on one side; a nan is no spike",
)
def spikes(
    distance: u.Metre, altitude: u.Metre, side: u.Number = 3, threshold: u.Number = 3.0, least: u.Metre = 2.0, steepest: u.Slope = 0.35
) -> bool:
    """Which altitudes leap from their neighbours and back: Hampel's identifier, with what a road can do left alone.

    A point is a spike if it departs from the median of its window by more than
    its neighbours scatter, by more than ``least``, and by more than the steepest
    road would rise over the wider of the gaps beside it.

    Args:
        distance: of the points.
        altitude: at the points.
        side: points of the window on each side.
        threshold: scaled median absolute deviations that a point may depart.
        least: departure that is never a spike.
        steepest: greatest slope of a road.

    >>> spikes([0.0, 5.0, 10.0, 15.0, 20.0], [1.0, 1.1, 30.0, 1.3, 1.4]).tolist()
    [False, False, True, False, False]
    """
    distance, altitude = _points(distance, altitude)
    positive("side", side)
    not_negative("threshold", threshold)
    not_negative("least", least)
    positive("steepest", steepest)
    side, edge = int(side), np.full((*altitude.shape[:-1], int(side)), np.nan)
    known, gap = np.isfinite(altitude), np.diff(distance, prepend=distance[0], append=distance[-1])
    padded = np.concatenate([edge, np.where(known, altitude, np.nan), edge], axis=-1)
    window = np.lib.stride_tricks.sliding_window_view(padded, 2 * side + 1, axis=-1)
    found = np.zeros(altitude.shape, bool)
    for start in range(0, distance.size, BLOCK):  # a window for each of two million points would need a gigabyte
        chosen = slice(start, start + BLOCK)
        part = window[..., chosen, :]
        middle = _median(part)
        scatter = SCALE * _median(np.abs(part - middle[..., None]))
        wide = np.maximum(gap[:-1][chosen], gap[1:][chosen])
        allowed = np.maximum(np.maximum(threshold * scatter, least), steepest * wide)
        with np.errstate(invalid="ignore"):  # nan is no spike
            found[..., chosen] = np.abs(altitude[..., chosen] - middle) > allowed
    return found & known


def _median(window: np.ndarray) -> np.ndarray:
    """Median along the last axis without the nans; 0 where there is nothing else."""
    ordered = np.sort(window, axis=-1)  # nans go last
    count = np.isfinite(window).sum(axis=-1)
    pick = lambda place: np.take_along_axis(ordered, place[..., None], axis=-1)[..., 0]
    middle = (pick(np.maximum(count - 1, 0) // 2) + pick(np.minimum(count // 2, np.maximum(count - 1, 0)))) / 2
    return np.where(count > 0, middle, 0.0)


@formula(
    equation=r"z_j = z_{j+1} = \dots = z_k,\quad |z_{k+1} - z_k| > \max\left(z_0,\; s_0\,(x_{k+1} - x_k)\right)",
    source="definition",
    valid="a run of equal values that ends within what a road can rise counts as a level road",
)
def stuck(distance: u.Metre, altitude: u.Metre, fewest: u.Number = 5, least: u.Metre = 2.0, steepest: u.Slope = 0.35) -> bool:
    """Which altitudes repeat the one before because the sensor hung: runs of one value that end in a step no road has.

    The first value of a run was still true and is not marked.

    Args:
        distance: of the points.
        altitude: at the points; nan breaks no run.
        fewest: points that make a run.
        least: step that is never a sign of it.
        steepest: greatest slope of a road.

    >>> stuck([0.0, 5.0, 10.0, 15.0, 20.0, 25.0], [1.0, 1.0, 1.0, 1.0, 1.0, 9.0]).tolist()
    [False, True, True, True, True, False]
    """
    distance, altitude = _points(distance, altitude)
    positive("fewest", fewest)
    not_negative("least", least)
    positive("steepest", steepest)
    found = np.zeros(altitude.shape, bool)
    for one in np.ndindex(altitude.shape[:-1]):
        known = np.flatnonzero(np.isfinite(altitude[one]))
        value = altitude[one][known]
        first = np.flatnonzero(np.append(True, value[1:] != value[:-1]))  # of each run, among the known points
        long = np.flatnonzero(np.diff(known[first]) >= fewest)  # a run that reaches the end shows no step
        for begin, end in zip(first[long], first[long + 1], strict=True):
            road = steepest * (distance[known[end]] - distance[known[end - 1]])
            if abs(value[end] - value[begin]) > max(least, road):
                found[one][known[begin + 1 : end]] = True
    return found


@formula(equation=r"z(x) = z_a + (z_b - z_a)\frac{x - x_a}{x_b - x_a}", source="definition", valid="beyond the last known value it is held")
def bridged(distance: u.Metre, altitude: u.Metre) -> u.Metre:
    """Altitudes with straight lines where values are not known.

    Args:
        distance: of the points.
        altitude: at the points; nan where it is not known.

    >>> bridged([0.0, 10.0, 40.0], [2.0, np.nan, 6.0]).tolist()
    [2.0, 3.0, 6.0]
    """
    distance, altitude = _points(distance, altitude)
    found = altitude.copy()
    for one in np.ndindex(altitude.shape[:-1]):
        known = np.isfinite(found[one])
        if not known.any():
            raise ValueError("altitude must be known at one point at least")
        if not known.all():
            found[one][~known] = np.interp(distance[~known], distance[known], found[one][known])
    return found


@formula(
    equation=r"z' = z - \delta(x),\quad \delta(x_j) = z(x_j) - z_j,\quad \delta\ \text{straight between the known points, held beyond}",
    source="level_circuit",
    sign="known altitudes are kept, the record gives way",
    valid="drift that grows evenly with distance between known points",
)
def tied(distance: u.Metre, altitude: u.Metre, known_distance: u.Metre, known_altitude: u.Metre) -> u.Metre:
    """Altitudes with the drift of a barometer taken out at points whose altitude is known, or on a way that ends where it began.

    One known point shifts the whole profile. For a closed way the known points
    are its start and its end, both with the altitude of the start.

    Args:
        distance: of the points.
        altitude: at the points.
        known_distance: where the altitude is known, rising.
        known_altitude: the altitude there.

    >>> tied([0.0, 50.0, 100.0], [4.0, 9.0, 6.0], [0.0, 100.0], [4.0, 4.0]).tolist()
    [4.0, 8.0, 4.0]
    """
    distance, altitude = _points(distance, altitude)
    at, known = np.atleast_1d(np.asarray(known_distance, float)), np.atleast_1d(np.asarray(known_altitude, float))
    if at.ndim != 1 or known.shape != at.shape or not np.all(np.diff(at) > 0):
        raise ValueError("known_distance must rise, with one known_altitude each")
    error = _straight(at, distance, altitude) - known
    return altitude - _straight(distance, at, error)


def _straight(wanted: np.ndarray, distance: np.ndarray, value: np.ndarray) -> np.ndarray:
    """Values on straight lines between points, along the last axis; held beyond the ends."""
    if distance.size == 1:
        return np.broadcast_to(value[..., :1], (*value.shape[:-1], wanted.size))
    low = np.clip(np.searchsorted(distance, wanted, side="right") - 1, 0, distance.size - 2)
    share = np.clip((wanted - distance[low]) / (distance[low + 1] - distance[low]), 0.0, 1.0)
    return value[..., low] * (1 - share) + value[..., low + 1] * share


@formula(
    equation=r"\sigma = |\delta|\,\sqrt{\frac{x}{L}\left(1 - \frac{x}{L}\right)}",
    source="brownian_bridge",
    valid="drift that wanders as chance has it; its rate is taken from one closing error, so it is known no better than to a factor",
)
def drift_left(distance: u.Metre, length: u.Metre, closing_error: u.Metre) -> u.Metre:
    """Standard deviation that a wandering drift leaves between two points that it is tied to.

    Args:
        distance: from the first of them.
        length: between them.
        closing_error: what the drift had come to at the second.

    >>> drift_left(2500.0, 10000.0, -8.0).round(3).item()
    3.464
    """
    positive("length", length)
    share = np.divide(distance, length)
    not_negative("distance", distance)
    not_negative("length less distance", 1 - share)
    return np.abs(closing_error) * np.sqrt(share * (1 - share))


@formula(
    equation=r"\mathbf{z}_\ell = e^{\frac{\ell^2}{2}\,\mathbf{D}}\,\mathbf{z},\quad "
    r"(\mathbf{D}\mathbf{z})_i = \frac{z_{i-1} - 2 z_i + z_{i+1}}{h^2},"
    r"\quad z_0,\ z_n\ \text{held}",
    source="lindeberg1990",
    valid="points at even steps; smoothing twice is smoothing once by the root of the sum of squares",
)
def smoothed(altitude: u.Metre, spacing: u.Metre, length: u.Metre) -> u.Metre:
    """Altitudes at even steps, smoothed over a length, with both ends held.

    The discrete Gaussian: what diffusion makes of the profile. It makes no new
    summit or hollow, so climb can only fall as the length grows. ``length`` is
    the standard deviation of the Gaussian; waves of 5.3 lengths keep half their height.

    Args:
        altitude: at even steps, along the last axis.
        spacing: step from point to point.
        length: smoothing length; 0 leaves all as it is.

    >>> smoothed([0.0, 0.0, 9.0, 0.0, 0.0], 10.0, 10.0).round(2).tolist()
    [0.0, 1.8, 4.17, 1.8, 0.0]
    """
    altitude = np.asarray(altitude, float)
    positive("spacing", spacing)
    not_negative("length", length)
    count = altitude.shape[-1] - 1
    if count < 2:
        return altitude + np.zeros(np.shape(np.asarray(length, float)) + (1,))
    share = np.linspace(0.0, 1.0, count + 1)
    straight = altitude[..., :1] * (1 - share) + altitude[..., -1:] * share
    bump = altitude - straight  # zero at both ends: a sum of sines, of which each dies away by itself
    waves = np.fft.rfft(np.concatenate([bump[..., :-1], -bump[..., :0:-1]], axis=-1))
    del bump  # of a long route each of these is tens of megabytes
    reach = np.asarray(length, float)[..., None]
    decay = np.exp(-((reach / spacing) ** 2) * (1 - np.cos(np.pi * np.arange(count + 1) / count)))
    waves = waves * decay
    del decay
    found = straight + np.fft.irfft(waves, 2 * count)[..., : count + 1]
    found = np.where(reach > 0, found, altitude)
    found[..., 0], found[..., -1] = altitude[..., 0], altitude[..., -1]  # to the last bit
    return found


@formula(equation=r"\sum_i \max(z_{i+1} - z_i,\,0)", source="definition", valid="depends on step and smoothing, which must be said with it")
def climb(altitude: u.Metre) -> u.Metre:
    """Sum of all rises from point to point.

    Args:
        altitude: at the points, along the last axis.

    >>> float(climb([0.0, 3.0, 1.0, 5.0]))
    7.0
    """
    return np.maximum(np.diff(np.asarray(altitude, float), axis=-1), 0.0).sum(axis=-1)


@formula(
    equation=r"\hat\sigma^2 = \frac{1}{n - 2}\sum_i \frac{(a_i z_{i-1} + b_i z_{i+1} - z_i)^2}{a_i^2 + b_i^2 + 1},\quad "
    r"a_i = \frac{x_{i+1} - x_i}{x_{i+1} - x_{i-1}},\quad b_i = 1 - a_i",
    source="gasser1986",
    valid="errors without memory from point to point; the road's own curvature between three points counts as noise",
)
def noise(distance: u.Metre, altitude: u.Metre) -> u.Metre:
    """Standard deviation of single altitudes, from how far each lies off the line between its neighbours.

    Args:
        distance: of the points.
        altitude: at the points.

    >>> round(float(noise([0.0, 5.0, 10.0, 15.0], [1.0, 1.6, 1.4, 2.0])), 3)
    0.327
    """
    distance, altitude = _points(distance, altitude)
    if distance.size < 3:
        raise ValueError(f"distance must have at least 3 points, got {distance.size}")
    ahead = (distance[2:] - distance[1:-1]) / (distance[2:] - distance[:-2])
    left = ahead * altitude[..., :-2] + (1 - ahead) * altitude[..., 2:] - altitude[..., 1:-1]
    return np.sqrt(np.mean(left**2 / (ahead**2 + (1 - ahead) ** 2 + 1), axis=-1))


@formula(
    equation=r"\sigma_s = \sigma\sqrt{\frac{h}{4\sqrt{\pi}\,\ell^3}}",
    source="lindeberg1990",
    valid="errors without memory; smoothing length of at least two spacings, far from the ends",
)
def slope_noise(altitude_noise: u.Metre, spacing: u.Metre, length: u.Metre) -> u.Slope:
    """Standard deviation of the slope that noise leaves after smoothing.

    Args:
        altitude_noise: standard deviation of single altitudes.
        spacing: distance between the points that were recorded.
        length: smoothing length.

    >>> float(slope_noise(0.5, 4.0, 30.0).round(5))
    0.00229
    """
    not_negative("altitude_noise", altitude_noise)
    positive("spacing", spacing)
    positive("length", length)
    return altitude_noise * (spacing / (4 * np.pi**0.5 * np.power(length, 3.0))) ** 0.5
