"""A network of bodies that warm each other and the air: under constant load exactly, and until a limit.

C_i dT_i/dt = P_i + s_i (T_i - T_ref) + sum_j g_ij (T_j - T_i) + g_ii (T_a - T_i),
with g_ij the link between two bodies and g_ii that of a body to the ambient.
In x = T - T_a this is C x' = q - A x with a symmetric A, so that sqrt(C) turns
it into a symmetric eigenvalue problem.
"""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import not_negative, positive
from .registry import formula


@formula(
    equation=r"g_{i,i+1} = g_{i+1,i} = \Lambda_i,\quad g_{nn} = \Lambda_n",
    source="definition",
    valid="bodies in a row, each joined to the next, the last to the ambient",
)
def chain(link_conductance: u.WattPerKelvin) -> u.WattPerKelvin:
    """Conductance matrix of a row of bodies.

    Args:
        link_conductance: conductance of each link along the last axis: link i joins body i to body i + 1, the last to the ambient.

    >>> chain([5.0, 2.0]).tolist()
    [[0.0, 5.0], [5.0, 2.0]]
    """
    link = np.asarray(link_conductance, float)
    positive("link_conductance", link)
    if link.ndim == 0:
        raise ValueError("link_conductance must be a list with one value per body, the last towards the ambient")
    bodies = link.shape[-1]
    matrix = np.zeros(link.shape + (bodies,))
    inner = np.arange(bodies - 1)
    matrix[..., inner, inner + 1] = matrix[..., inner + 1, inner] = link[..., :-1]
    matrix[..., -1, -1] = link[..., -1]
    return matrix


def checked(conductance) -> np.ndarray:
    """The conductance matrix as an array, or ValueError in words."""
    matrix = np.asarray(conductance, float)
    if matrix.ndim < 2 or matrix.shape[-1] != matrix.shape[-2]:
        raise ValueError(f"conductance must be a square matrix along the last two axes, got shape {matrix.shape}")
    not_negative("conductance", matrix)
    if not np.array_equal(matrix, np.swapaxes(matrix, -1, -2)):
        raise ValueError("conductance must be symmetric: heat crosses a link alike both ways")
    positive("the sum of conductance along its diagonal, the links to the ambient,", np.trace(matrix, axis1=-2, axis2=-1))
    return matrix


def balance(conductance: np.ndarray) -> np.ndarray:
    """Matrix L of the heat balance: L (T - T_a) is the heat that leaves each body."""
    bodies = conductance.shape[-1]
    return np.eye(bodies) * (conductance.sum(axis=-1)[..., None] + conductance) - conductance


def _balance(conductance, losses, ambient, loss_slope, loss_reference):
    matrix, slope = balance(checked(conductance)), np.asarray(loss_slope, float)
    bodies = matrix.shape[-1]
    for name, value in (("losses", losses), ("loss_slope", slope)):
        if np.ndim(value) and np.shape(value)[-1] != bodies:
            raise ValueError(f"{name} must have one value for each of the {bodies} bodies, got shape {np.shape(value)}")
    ambient, reference = np.asarray(ambient, float)[..., None], np.asarray(loss_reference, float)[..., None]
    return matrix - slope[..., None] * np.eye(bodies), losses + slope * (ambient - reference), ambient


@formula(
    equation=r"\mathbf{L}\,(\mathbf{T} - T_\infty) = \mathbf{P} + \mathbf{s}\,(\mathbf{T} - T_0),"
    r"\quad L_{ii} = \textstyle\sum_j g_{ij},\ L_{ij} = -g_{ij}",
    source="incropera",
    sign="losses positive into the body; loss slope positive where losses grow with temperature",
    valid="conductances constant; losses linear in the temperature of their own body",
)
def network_steady(
    conductance: u.WattPerKelvin,
    losses: u.Watt,
    loss_slope: u.WattPerKelvin,
    loss_reference: u.Kelvin,
    ambient: u.Kelvin,
) -> u.Kelvin:
    """Steady temperatures of a network of bodies, each with losses that grow with its temperature.

    Bodies lie along the last axis, of the conductances along the last two; the
    axes before broadcast, and with them ambient and loss reference, which have
    no axis of bodies.

    Args:
        conductance: symmetric; off the diagonal links between two bodies, on it the link of each body to the ambient, 0 for none.
        losses: losses of each body at the loss reference.
        loss_slope: growth of these losses per kelvin.
        loss_reference: temperature at which the losses are stated.
        ambient: temperature of the air.

    >>> network_steady([[0.0, 5.0], [5.0, 2.0]], [60.0, 20.0], 0.0, 293.15, 300.0).tolist()
    [352.0, 340.0]
    """
    matrix, source, ambient = _balance(conductance, losses, ambient, loss_slope, loss_reference)
    edge = np.linalg.eigvalsh(matrix)
    if np.any(edge[..., 0] <= 1e-13 * np.abs(edge).max(axis=-1)):
        raise ValueError(
            "loss_slope must be small enough for a steady state: here the losses grow faster with temperature "
            "than the links can carry away (thermal runaway, or a body without any way to the ambient)"
        )
    shape = np.broadcast_shapes(source.shape, matrix.shape[:-1])
    return ambient + np.linalg.solve(matrix, np.broadcast_to(source, shape)[..., None])[..., 0]


def _modes(capacity, conductance, losses, ambient, start, loss_slope, loss_reference):
    """Rates, shapes, and start and drive of each mode of the network, seen from the ambient."""
    positive("capacity", capacity)
    matrix, source, ambient = _balance(conductance, losses, ambient, loss_slope, loss_reference)
    root = np.sqrt(np.broadcast_to(np.asarray(capacity, float), np.broadcast_shapes(np.shape(capacity), matrix.shape[-1:])))
    rate, vector = np.linalg.eigh(matrix / (root[..., :, None] * root[..., None, :]))
    shape = vector / root[..., :, None]
    begin = np.einsum("...ik,...i->...k", vector, root * (start - ambient))
    drive = np.einsum("...ik,...i->...k", shape, source + np.zeros_like(root))
    return rate, shape, begin, drive, ambient


@formula(
    equation=r"\mathbf{C}\,\dot{\mathbf{T}} = \mathbf{P} + \mathbf{s}\,(\mathbf{T} - T_0) - \mathbf{L}\,(\mathbf{T} - T_\infty)",
    source="incropera",
    sign="losses positive into the body; loss slope positive where losses grow with temperature",
    valid="conductances and capacities constant; losses linear in the temperature of their own body",
)
def network_response(
    capacity: u.JoulePerKelvin,
    conductance: u.WattPerKelvin,
    losses: u.Watt,
    ambient: u.Kelvin,
    start: u.Kelvin,
    time: u.Second,
    loss_slope: u.WattPerKelvin = 0.0,
    loss_reference: u.Kelvin = 293.15,
) -> u.Kelvin:
    """Temperatures of a network of bodies after a time under constant load, exactly.

    Bodies lie along the last axis of the arguments that have them (of the
    conductances along the last two) and of the result; time, ambient and loss
    reference have no axis of bodies and broadcast with the axes before it.
    Also valid where the losses run away.

    Args:
        capacity: heat capacity of each body.
        conductance: symmetric; off the diagonal links between two bodies, on it the link of each body to the ambient, 0 for none.
        losses: losses of each body at the loss reference.
        ambient: temperature of the air.
        start: temperature of each body at the start.
        time: time since the start.
        loss_slope: growth of the losses per kelvin.
        loss_reference: temperature at which the losses are stated.

    >>> network_response([400.0, 3000.0], chain([5.0, 2.0]), [60.0, 20.0], 0.0, 0.0, 600.0).round(5).tolist()
    [21.54999, 10.97656]
    """
    not_negative("time", time)
    rate, shape, begin, drive, ambient = _modes(capacity, conductance, losses, ambient, start, loss_slope, loss_reference)
    time = np.asarray(time, float)[..., None]
    with np.errstate(over="ignore", invalid="ignore"):
        grown = np.expm1(-rate * time)
        still = rate == 0
        run = np.where(still, time, -grown / np.where(still, 1.0, rate))
        result = ambient + np.einsum("...ik,...k->...i", shape, (grown + 1) * begin + run * drive)
    if not np.all(np.isfinite(result)):
        raise ValueError("time must be short enough for finite temperatures: the losses run away with temperature before it")
    return result


def _crossings(weight, rate):
    """Times above 0 at which sum(weight exp(-rate t)) changes its sign, in order, filled up with inf.

    Rates rise along the last axis.  Without its slowest factor such a sum has a
    derivative of one term less, so between the crossings of that derivative it
    is monotone and none of its own crossings can be missed.
    """
    if weight.shape[-1] == 1:
        return weight[..., :0]
    gap = (rate - rate[..., :1])[..., None, :]
    turning = _crossings(-weight[..., 1:] * gap[..., 0, 1:], rate[..., 1:])
    # past this time the slowest term outweighs all others together
    slowest, rest = np.abs(weight[..., 0]), np.abs(weight[..., 1:]).sum(axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        settled = np.clip(np.nan_to_num(np.log(rest / slowest), nan=0.0), 0.0, 700.0) + 1.0
    end = (settled / gap[..., 0, 1])[..., None]

    def sign(time):
        return np.sign((np.exp(-gap * time[..., None]) @ weight[..., None])[..., 0])

    knots = np.concatenate([np.zeros_like(end), np.minimum(turning, end), end], axis=-1)
    low, high = knots[..., :-1], knots[..., 1:]
    before = sign(low)
    found = before * sign(high) < 0
    for _ in range(60 if found.any() else 0):
        middle = (low + high) / 2
        same = sign(middle) == before
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return np.sort(np.where(found, (low + high) / 2, np.inf), axis=-1)


@formula(
    equation=r"t^* = \min\{t \ge 0 : T_j(t) \ge T_\mathrm{lim}\}",
    source="incropera",
    valid="conductances and capacities constant; losses linear in the temperature of their own body",
)
def network_time_to_limit(
    capacity: u.JoulePerKelvin,
    conductance: u.WattPerKelvin,
    losses: u.Watt,
    ambient: u.Kelvin,
    start: u.Kelvin,
    body: u.Number,
    limit: u.Kelvin,
    loss_slope: u.WattPerKelvin = 0.0,
    loss_reference: u.Kelvin = 293.15,
) -> u.Second:
    """Time until one body of a network first reaches a limit; inf where it never does, 0 where it is there already.

    The temperature need not rise all the time: all its turning points are
    found first, and the first crossing is sought between them.  Axes as in
    the response; limit has no axis of bodies.

    Args:
        capacity: heat capacity of each body.
        conductance: symmetric; off the diagonal links between two bodies, on it the link of each body to the ambient, 0 for none.
        losses: losses of each body at the loss reference.
        ambient: temperature of the air.
        start: temperature of each body at the start.
        body: index of the body from 0.
        limit: temperature to reach.
        loss_slope: growth of the losses per kelvin.
        loss_reference: temperature at which the losses are stated.

    >>> print(round(network_time_to_limit([400.0, 3000.0], chain([5.0, 2.0]), [60.0, 20.0], 0.0, 0.0, 0, 21.54999), 2))
    600.0
    """
    rate, shape, begin, drive, ambient = _modes(capacity, conductance, losses, ambient, start, loss_slope, loss_reference)
    bodies = rate.shape[-1]
    if int(body) != body or not -bodies <= body < bodies:
        raise ValueError(f"body must be a whole number from 0 to {bodies - 1}, got {body}")
    # a mode that neither grows nor decays is given a rate too small to matter, to be free of its limit
    slow = 1e-8 * np.max(np.sum(conductance, axis=-1) / capacity, axis=-1, keepdims=True)
    rate = np.where(np.abs(rate) < slow, slow, rate)
    lasting = drive / rate
    weight = shape[..., int(body), :] * (begin - lasting)
    level = np.sum(shape[..., int(body), :] * lasting, axis=-1, keepdims=True) + ambient - np.asarray(limit, float)[..., None]
    lead = np.broadcast_shapes(weight.shape[:-1], level.shape[:-1])
    weight = np.concatenate([np.broadcast_to(weight, lead + (bodies,)), np.broadcast_to(level, lead + (1,))], axis=-1)
    rate = np.concatenate([np.broadcast_to(rate, lead + (bodies,)), np.zeros(lead + (1,))], axis=-1)
    there = (np.add(start, np.zeros(bodies))[..., int(body)] >= limit) | (weight.sum(axis=-1) >= 0)
    order = np.argsort(rate, axis=-1)
    weight, rate = np.take_along_axis(weight, order, -1), np.take_along_axis(rate, order, -1)
    least = 1e-10 * np.abs(rate).max(axis=-1)  # like bodies have like rates: kept apart, too little to matter
    for later in range(1, bodies + 1):
        rate[..., later] = np.maximum(rate[..., later], rate[..., later - 1] + least)
    first = _crossings(weight, rate)[..., 0]
    return np.where(there, 0.0, first)[()]
