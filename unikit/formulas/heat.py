"""Temperature rise of one body and of a chain of bodies, and duty.

Convection and radiation stand in :mod:`unikit.formulas.convection` and can be
reached from here too.
"""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import not_negative, positive
from .registry import formula

# -- a chain of bodies ---------------------------------------------------------
#
# C_i dT_i/dt = P_i + s_i (T_i - T_ref) + g_{i-1} (T_{i-1} - T_i) - g_i (T_i - T_{i+1}),
# with T_{n+1} the ambient.  In x = T - T_ambient this is C x' = q - A x with a
# symmetric A, so that sqrt(C) turns it into a symmetric eigenvalue problem.


def _chain(link_conductance, losses, ambient, loss_slope, loss_reference):
    link, slope = np.asarray(link_conductance, float), np.asarray(loss_slope, float)
    positive("link_conductance", link)
    if link.ndim == 0:
        raise ValueError("link_conductance must be a list with one value per node, the last towards the ambient")
    nodes = link.shape[-1]
    for name, value in (("losses", losses), ("loss_slope", slope)):
        if np.ndim(value) and np.shape(value)[-1] != nodes:
            raise ValueError(f"{name} must have one value for each of the {nodes} nodes, got shape {np.shape(value)}")
    ambient, reference = np.asarray(ambient, float)[..., None], np.asarray(loss_reference, float)[..., None]
    diagonal = link - slope
    diagonal[..., 1:] += link[..., :-1]
    matrix = diagonal[..., None] * np.eye(nodes)
    index = np.arange(nodes - 1)
    matrix[..., index, index + 1] = matrix[..., index + 1, index] = -link[..., :-1]
    return matrix, losses + slope * (ambient - reference), ambient


@formula(
    equation=r"\mathbf{A}\,(\mathbf{T} - T_\infty) = \mathbf{P} + \mathbf{s}\,(T_\infty - T_0)",
    source="incropera",
    sign="losses positive into the node; loss slope positive where losses grow with temperature",
    valid="conductances constant; losses linear in the temperature of their own node",
)
def network_steady(
    link_conductance: u.WattPerKelvin,
    losses: u.Watt,
    loss_slope: u.WattPerKelvin,
    loss_reference: u.Kelvin,
    ambient: u.Kelvin,
) -> u.Kelvin:
    """Steady temperatures of a chain of bodies, each with losses that grow with its temperature.

    Link i joins node i to node i + 1, the last link joins the last node to the
    ambient.  Nodes lie along the last axis; the axes before it broadcast, and
    with them ambient and loss reference, which have no axis of nodes.

    Args:
        link_conductance: conductance of each link.
        losses: losses at each node at the loss reference.
        loss_slope: growth of these losses per kelvin.
        loss_reference: temperature at which the losses are stated.
        ambient: temperature of the air.

    >>> network_steady([5.0, 2.0], [60.0, 20.0], 0.0, 293.15, 300.0).tolist()
    [352.0, 340.0]
    """
    matrix, source, ambient = _chain(link_conductance, losses, ambient, loss_slope, loss_reference)
    edge = np.linalg.eigvalsh(matrix)
    if np.any(edge[..., 0] <= 1e-13 * np.abs(edge).max(axis=-1)):
        raise ValueError(
            "loss_slope must be small enough for a steady state: here the losses grow faster with temperature "
            "than the links can carry away (thermal runaway)"
        )
    shape = np.broadcast_shapes(source.shape, matrix.shape[:-1])
    return ambient + np.linalg.solve(matrix, np.broadcast_to(source, shape)[..., None])[..., 0]


def _modes(capacity, link_conductance, losses, ambient, start, loss_slope, loss_reference):
    """Rates, shapes, and start and drive of each mode of the chain, seen from the ambient."""
    positive("capacity", capacity)
    matrix, source, ambient = _chain(link_conductance, losses, ambient, loss_slope, loss_reference)
    root = np.sqrt(np.broadcast_to(np.asarray(capacity, float), np.broadcast_shapes(np.shape(capacity), matrix.shape[-1:])))
    rate, vector = np.linalg.eigh(matrix / (root[..., :, None] * root[..., None, :]))
    shape = vector / root[..., :, None]
    begin = np.einsum("...ik,...i->...k", vector, root * (start - ambient))
    drive = np.einsum("...ik,...i->...k", shape, source + np.zeros_like(root))
    return rate, shape, begin, drive, ambient


@formula(
    equation=r"\mathbf{C}\,\dot{\mathbf{T}} = \mathbf{P} + \mathbf{s}\,(\mathbf{T} - T_0) - \mathbf{G}\,(\mathbf{T} - T_\infty)",
    source="incropera",
    sign="losses positive into the node; loss slope positive where losses grow with temperature",
    valid="conductances and capacities constant; losses linear in the temperature of their own node",
)
def network_response(
    capacity: u.JoulePerKelvin,
    link_conductance: u.WattPerKelvin,
    losses: u.Watt,
    ambient: u.Kelvin,
    start: u.Kelvin,
    time: u.Second,
    loss_slope: u.WattPerKelvin = 0.0,
    loss_reference: u.Kelvin = 293.15,
) -> u.Kelvin:
    """Temperatures of a chain of bodies after a time under constant load, exactly.

    Link i joins node i to node i + 1, the last link joins the last node to the
    ambient.  Nodes lie along the last axis of the arguments that have them and
    of the result; time, ambient and loss reference have no axis of nodes and
    broadcast with the axes before it.  Also valid where the losses run away.

    Args:
        capacity: heat capacity of each node.
        link_conductance: conductance of each link.
        losses: losses at each node at the loss reference.
        ambient: temperature of the air.
        start: temperature of each node at the start.
        time: time since the start.
        loss_slope: growth of the losses per kelvin.
        loss_reference: temperature at which the losses are stated.

    >>> network_response([400.0, 3000.0], [5.0, 2.0], [60.0, 20.0], 0.0, 0.0, 600.0).round(5).tolist()
    [21.54999, 10.97656]
    """
    not_negative("time", time)
    rate, shape, begin, drive, ambient = _modes(capacity, link_conductance, losses, ambient, start, loss_slope, loss_reference)
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
        return np.sign(np.sum(weight[..., None, :] * np.exp(-gap * time[..., None]), axis=-1))

    knots = np.concatenate([np.zeros_like(end), np.minimum(turning, end), end], axis=-1)
    low, high = knots[..., :-1], knots[..., 1:]
    before = sign(low)
    found = before * sign(high) < 0
    for _ in range(60):
        middle = (low + high) / 2
        same = sign(middle) == before
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return np.sort(np.where(found, (low + high) / 2, np.inf), axis=-1)


@formula(
    equation=r"t^* = \min\{t \ge 0 : T_j(t) \ge T_\mathrm{lim}\}",
    source="incropera",
    valid="conductances and capacities constant; losses linear in the temperature of their own node",
)
def network_time_to_limit(
    capacity: u.JoulePerKelvin,
    link_conductance: u.WattPerKelvin,
    losses: u.Watt,
    ambient: u.Kelvin,
    start: u.Kelvin,
    node: u.Number,
    limit: u.Kelvin,
    loss_slope: u.WattPerKelvin = 0.0,
    loss_reference: u.Kelvin = 293.15,
) -> u.Second:
    """Time until one node of a chain first reaches a limit; inf where it never does, 0 where it is there already.

    The temperature need not rise all the time: all its turning points are
    found first, and the first crossing is sought between them.  Axes as in
    the response; limit has no axis of nodes.

    Args:
        capacity: heat capacity of each node.
        link_conductance: conductance of each link.
        losses: losses at each node at the loss reference.
        ambient: temperature of the air.
        start: temperature of each node at the start.
        node: index of the node from 0, the one farthest from the air.
        limit: temperature to reach.
        loss_slope: growth of the losses per kelvin.
        loss_reference: temperature at which the losses are stated.

    >>> print(round(network_time_to_limit([400.0, 3000.0], [5.0, 2.0], [60.0, 20.0], 0.0, 0.0, 0, 21.54999), 2))
    600.0
    """
    rate, shape, begin, drive, ambient = _modes(capacity, link_conductance, losses, ambient, start, loss_slope, loss_reference)
    nodes = rate.shape[-1]
    if int(node) != node or not -nodes <= node < nodes:
        raise ValueError(f"node must be a whole number from 0 to {nodes - 1}, got {node}")
    # a mode that neither grows nor decays is given a rate too small to matter, to be free of its limit
    slow = 1e-9 * np.max(np.divide(link_conductance, capacity), axis=-1, keepdims=True)
    rate = np.where(np.abs(rate) < slow, slow, rate)
    lasting = drive / rate
    weight = shape[..., int(node), :] * (begin - lasting)
    level = np.sum(shape[..., int(node), :] * lasting, axis=-1, keepdims=True) + ambient - np.asarray(limit, float)[..., None]
    lead = np.broadcast_shapes(weight.shape[:-1], level.shape[:-1])
    weight = np.concatenate([np.broadcast_to(weight, lead + (nodes,)), np.broadcast_to(level, lead + (1,))], axis=-1)
    rate = np.concatenate([np.broadcast_to(rate, lead + (nodes,)), np.zeros(lead + (1,))], axis=-1)
    there = (np.add(start, np.zeros(nodes))[..., int(node)] >= limit) | (weight.sum(axis=-1) >= 0)
    order = np.argsort(rate, axis=-1)
    first = _crossings(np.take_along_axis(weight, order, -1), np.take_along_axis(rate, order, -1))[..., 0]
    return np.where(there, 0.0, first)[()]
