"""A network of bodies under loads that come again: every cycle exactly, and the cycle it settles in."""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import positive
from .network import network_response
from .registry import formula


def _maps(capacity, conductance, losses, ambient, time, loss_slope, loss_reference):
    """For each part of the cycle: rise over the ambient at its end = matrix @ rise at its beginning + shift."""
    conductance, losses, time = (np.asarray(value, float) for value in (conductance, losses, time))
    bodies, parts = conductance.shape[-1], time.shape[-1] if time.ndim else 0
    if not parts:
        raise ValueError("time must be a list with the duration of each part of the cycle")
    ambient = np.asarray(ambient, float)
    each = ambient[..., None]  # one ambient for all parts
    shift = network_response(capacity, conductance, losses, each, each[..., None], time, loss_slope, loss_reference) - each[..., None]
    # without sources, seen from the ambient, each body once at one kelvin: the columns of the matrix
    slope = np.asarray(loss_slope, float)
    columns = network_response(
        capacity,
        conductance[..., None, :, :],
        0.0,
        0.0,
        np.eye(bodies),
        time[..., None],
        slope[..., None, :] if slope.ndim else slope,
        0.0,
    )
    return np.swapaxes(columns, -1, -2), shift, ambient


def _turn(matrix, shift):
    """Matrix and shift of the whole cycle."""
    whole, moved = np.eye(matrix.shape[-1]), 0.0
    for part in range(matrix.shape[-3]):
        moved = (matrix[..., part, :, :] @ (moved + np.zeros(matrix.shape[-1]))[..., None])[..., 0] + shift[..., part, :]
        whole = matrix[..., part, :, :] @ whole
    return whole, moved


def _through(matrix, shift, begin):
    """Rises at the beginning of each part, and after the last."""
    states = [begin]
    for part in range(matrix.shape[-3]):
        states.append((matrix[..., part, :, :] @ states[-1][..., None])[..., 0] + shift[..., part, :])
    return np.stack(np.broadcast_arrays(*states[:-1]), axis=-2), states[-1]


@formula(
    equation=r"\mathbf{x}_\infty = (\mathbf{1} - \mathbf{M})^{-1}\,\mathbf{m},\quad "
    r"\mathbf{x}_{k+1} = \mathbf{M}\,\mathbf{x}_k + \mathbf{m}\ \text{over one cycle}",
    source="definition",
    sign="losses positive into the body; loss slope positive where losses grow with temperature",
    valid="the cycle has come so often that it repeats; within a part all is constant but losses linear in the body's own temperature",
)
def network_periodic(
    capacity: u.JoulePerKelvin,
    conductance: u.WattPerKelvin,
    losses: u.Watt,
    ambient: u.Kelvin,
    time: u.Second,
    loss_slope: u.WattPerKelvin = 0.0,
    loss_reference: u.Kelvin = 293.15,
) -> u.Kelvin:
    """Temperatures at the beginning of each part of a cycle of loads that has come again for ever.

    Parts lie along the last axis of ``time``, and along the axis before that
    of the bodies in the result and where an argument differs by part:
    ``losses`` and ``loss_slope`` (parts, bodies), ``conductance`` (parts,
    bodies, bodies).  One ambient holds for the whole cycle.

    Args:
        capacity: heat capacity of each body.
        conductance: symmetric matrix of each part; off the diagonal the links between two bodies, on it the link to the ambient.
        losses: losses of each body in each part at the loss reference.
        ambient: temperature of the air.
        time: duration of each part.
        loss_slope: growth of the losses per kelvin.
        loss_reference: temperature at which the losses are stated.

    >>> network_periodic([3000.0], [[[2.0]], [[2.0]]], [[100.0], [0.0]], 0.0, [600.0, 900.0]).round(4).ravel().tolist()
    [14.3115, 26.0773]
    """
    matrix, shift, ambient = _maps(capacity, conductance, losses, ambient, time, loss_slope, loss_reference)
    whole, moved = _turn(matrix, shift)
    if np.any(np.abs(np.linalg.eigvals(whole)).max(axis=-1) >= 1 - 1e-13):
        raise ValueError(
            "loss_slope must be small enough for a cycle that repeats: here the losses grow faster with temperature "
            "than the links can carry away over the cycle (thermal runaway)"
        )
    begin = np.linalg.solve(np.eye(whole.shape[-1]) - whole, moved[..., None])[..., 0]
    return ambient[..., None, None] + _through(matrix, shift, begin)[0]


@formula(
    equation=r"\mathbf{x}_k = \mathbf{M}^k\,\mathbf{x}_0 + \textstyle\sum_{i<k}\mathbf{M}^i\,\mathbf{m}",
    source="definition",
    sign="losses positive into the body; loss slope positive where losses grow with temperature",
    valid="within a part all is constant but losses linear in the body's own temperature",
)
def network_cycles(
    capacity: u.JoulePerKelvin,
    conductance: u.WattPerKelvin,
    losses: u.Watt,
    ambient: u.Kelvin,
    start: u.Kelvin,
    time: u.Second,
    cycles: u.Number,
    loss_slope: u.WattPerKelvin = 0.0,
    loss_reference: u.Kelvin = 293.15,
) -> u.Kelvin:
    """Temperatures at the beginning of each part of the first cycles of loads, exactly.

    Axes of the arguments as in the periodic state; the result has an axis of
    cycles before the axes of parts and bodies.  What runs away beyond the
    numbers of the machine is inf.

    Args:
        capacity: heat capacity of each body.
        conductance: symmetric matrix of each part; off the diagonal the links between two bodies, on it the link to the ambient.
        losses: losses of each body in each part at the loss reference.
        ambient: temperature of the air.
        start: temperature of each body before the first cycle.
        time: duration of each part.
        cycles: how many cycles.
        loss_slope: growth of the losses per kelvin.
        loss_reference: temperature at which the losses are stated.

    >>> network_cycles([3000.0], [[[2.0]], [[2.0]]], [[100.0], [0.0]], 0.0, 0.0, [600.0, 900.0], 2).round(4).ravel().tolist()
    [0.0, 16.484, 9.0466, 22.5481]
    """
    positive("cycles", cycles)
    matrix, shift, ambient = _maps(capacity, conductance, losses, ambient, time, loss_slope, loss_reference)
    rise = np.asarray(start, float) + np.zeros(matrix.shape[-1]) - ambient[..., None]
    found = []
    with np.errstate(over="ignore", invalid="ignore"):
        for _ in range(int(cycles)):
            states, rise = _through(matrix, shift, rise)
            found.append(states)
    course = ambient[..., None, None, None] + np.stack(np.broadcast_arrays(*found), axis=-3)
    return np.where(np.isfinite(course), course, np.inf)
