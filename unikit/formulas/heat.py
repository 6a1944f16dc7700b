"""Temperature rise of one body and of a chain of bodies.

Convection and radiation stand in ``convection``, duty types and insulation in
``duty``; both can be reached from here too.
"""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import not_negative, positive
from .convection import (  # noqa: F401 - reached as heat.…
    air_gap_coefficient,
    air_gap_nusselt,
    cylinder_crossflow_nusselt,
    finned_conductance,
    horizontal_cylinder_nusselt,
    housing_conductance,
    plate_nusselt,
    radiation_coefficient,
    rayleigh,
    rotating_cylinder_nusselt,
    rotating_disc_nusselt,
    straight_fin_efficiency,
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
from .registry import formula

# -- one body ------------------------------------------------------------------


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
    slow = 1e-8 * np.max(np.divide(link_conductance, capacity), axis=-1, keepdims=True)
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
