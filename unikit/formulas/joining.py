"""Packs at different charge joined in parallel: the current, how it dies away, what it moves and what it burns."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from ._bracket import crossing
from ._joined import LONG, march
from .checks import not_negative, positive, within
from .pack import _curve
from .registry import formula


class Settled(NamedTuple):
    """What packs come to that are joined and left alone."""

    voltage: u.Volt
    state_of_charge: u.Ratio
    loss: u.Joule


class Course(NamedTuple):
    """What flows after packs were joined; one row for each pack, one column for each time."""

    current: u.Ampere
    state_of_charge: u.Ratio
    voltage: u.Volt
    loss: u.Joule


@formula(
    equation=r"\tau = \frac{R}{k_a/Q_a + k_b/Q_b},\quad k = \frac{\mathrm{d}V_0}{\mathrm{d}s}",
    source="definition",
    valid="two packs, open-circuit voltage a straight line over the charge; the slow part of a cell's own voltage not counted",
)
def time_constant(resistance: u.Ohm, slope_a: u.Volt, charge_a: u.Coulomb, slope_b: u.Volt, charge_b: u.Coulomb) -> u.Second:
    """Time in which the current between two joined packs falls to 37 %.

    Args:
        resistance: resistance of the whole loop, both packs and the leads.
        slope_a: rise of one pack's open-circuit voltage from empty to full, by its slope at this charge.
        charge_a: charge of that pack when full.
        slope_b: the same for the other pack.
        charge_b: its charge when full.

    >>> print(round(time_constant(0.2, 10.0, 7200.0, 10.0, 7200.0), 6))
    72.0
    """
    for name, value in (("resistance", resistance), ("slope_a", slope_a), ("charge_a", charge_a), ("slope_b", slope_b)):
        positive(name, value)
    positive("charge_b", charge_b)
    return resistance / (np.divide(slope_a, charge_a) + np.divide(slope_b, charge_b))


@formula(equation=r"I = \frac{\Delta V}{R}\,e^{-t/\tau}", source="definition", sign="out of the pack with the higher voltage positive")
def current_after(voltage_difference: u.Volt, resistance: u.Ohm, time_constant: u.Second, time: u.Second) -> u.Ampere:
    """Current between two packs some time after they were joined.

    Args:
        voltage_difference: difference of the open-circuit voltages before.
        resistance: resistance of the whole loop.
        time_constant: time in which the current falls to 37 %.
        time: time since they were joined.

    >>> print(round(float(current_after(2.0, 0.2, 72.0, 72.0)), 4))
    3.6788
    """
    positive("resistance", resistance)
    positive("time_constant", time_constant)
    not_negative("time", time)
    return np.divide(voltage_difference, resistance) * np.exp(-np.divide(time, time_constant))


@formula(equation=r"q = \frac{\Delta V}{R}\,\tau", source="definition", sign="out of the pack with the higher voltage positive")
def moved_charge(voltage_difference: u.Volt, resistance: u.Ohm, time_constant: u.Second) -> u.Coulomb:
    """Charge that has gone over when two joined packs are at one voltage; the resistance cancels.

    Args:
        voltage_difference: difference of the open-circuit voltages before.
        resistance: resistance of the whole loop.
        time_constant: time in which the current falls to 37 %.

    >>> print(round(moved_charge(2.0, 0.2, 72.0), 6))
    720.0
    """
    positive("resistance", resistance)
    positive("time_constant", time_constant)
    return np.divide(voltage_difference, resistance) * time_constant


@formula(
    equation=r"E = \frac{\Delta V^2\,\tau}{2 R}",
    source="definition",
    valid="all of it in the resistance, however small that is; shared in proportion to its parts",
)
def joining_loss(voltage_difference: u.Volt, resistance: u.Ohm, time_constant: u.Second) -> u.Joule:
    """Energy that two joined packs turn into heat until they are at one voltage.

    Args:
        voltage_difference: difference of the open-circuit voltages before.
        resistance: resistance of the whole loop.
        time_constant: time in which the current falls to 37 %.

    >>> print(round(joining_loss(2.0, 0.2, 72.0), 6))
    720.0
    """
    positive("resistance", resistance)
    positive("time_constant", time_constant)
    return np.square(voltage_difference) * time_constant / (2 * np.asarray(resistance))[()]


@formula(equation=r"t = \tau\,\ln\frac{|\Delta V|}{R\,I}", source="definition", valid="0 where the current is below from the start")
def time_to_current(voltage_difference: u.Volt, resistance: u.Ohm, time_constant: u.Second, current: u.Ampere) -> u.Second:
    """Time after which the current between two joined packs is below a value.

    Args:
        voltage_difference: difference of the open-circuit voltages before.
        resistance: resistance of the whole loop.
        time_constant: time in which the current falls to 37 %.
        current: the value.

    >>> print(round(float(time_to_current(2.0, 0.2, 72.0, 1.0)), 3))
    165.786
    """
    positive("resistance", resistance)
    positive("time_constant", time_constant)
    positive("current", current)
    over = np.abs(voltage_difference) / np.multiply(resistance, current)
    return np.multiply(time_constant, np.log(np.maximum(over, 1.0)))[()]


@formula(equation=r"\Delta V = R\,\min(I_\mathrm{charge}, I_\mathrm{discharge})", source="definition")
def allowed_difference(charge_limit: u.Ampere, discharge_limit: u.Ampere, resistance: u.Ohm) -> u.Volt:
    """Difference of voltage at which the current of joining just meets the limits of the cells.

    Args:
        charge_limit: greatest current that the pack with the lower voltage may be charged with.
        discharge_limit: greatest current that the other may give; inf where it is not known.
        resistance: resistance of the whole loop.

    >>> float(allowed_difference(3.0, 20.0, 0.5))
    1.5
    """
    not_negative("charge_limit", charge_limit)
    not_negative("discharge_limit", discharge_limit)
    positive("resistance", resistance)
    return np.minimum(charge_limit, discharge_limit) * resistance


@formula(
    equation=r"s - s_b:\quad V_0(s_b) = V_0(s) - \Delta V",
    source="definition",
    valid="packs with the same curve; where even an empty pack is nearer than that, all of s",
)
def allowed_charge_difference(
    state_of_charge: u.Ratio, voltage_difference: u.Volt, curve_charge: u.Ratio, curve_voltage: u.Volt
) -> u.Ratio:
    """How much emptier another pack may be for a difference of voltage: much where the curve is flat, little where it is steep.

    Args:
        state_of_charge: state of charge of the fuller pack.
        voltage_difference: difference of voltage that is allowed.
        curve_charge: states of charge of the curve, rising.
        curve_voltage: voltages of the curve, rising.

    >>> print(round(float(allowed_charge_difference(1.0, 2.0, (0.0, 0.5, 1.0), (40.0, 50.0, 54.0))), 6))
    0.25
    """
    points, voltage = _curve(curve_charge, curve_voltage)
    positive("steps of curve_voltage", np.diff(voltage))
    within("state_of_charge", state_of_charge, points[0], points[-1])
    not_negative("voltage_difference", voltage_difference)
    lower = np.interp(state_of_charge, points, voltage) - voltage_difference
    return state_of_charge - np.interp(lower, voltage, points)


def _packs(state_of_charge, charge, curve_charge, curve_voltage):
    points, curves = _curve(curve_charge, curve_voltage)
    state = np.atleast_1d(np.asarray(state_of_charge, float))
    if state.ndim != 1 or len(state) < 2:
        raise ValueError("state_of_charge must be one list of at least two packs")
    charge = np.broadcast_to(np.asarray(charge, float), state.shape)
    curves = np.broadcast_to(curves, (len(state), len(points)))
    within("state_of_charge", state, points[0], points[-1])
    positive("charge", charge)
    positive("steps of curve_voltage", np.diff(curves))
    return state, charge, points, curves


@formula(
    equation=r"\sum_k Q_k\,s_k(V) = \sum_k Q_k\,s_{k0},\quad E = \sum_k Q_k \int_{s_k(V)}^{s_{k0}} V_k\,\mathrm{d}s",
    source="definition",
    valid="curves of straight lines; one set of packs at a call",
)
def settled(state_of_charge: u.Ratio, charge: u.Coulomb, curve_charge: u.Ratio, curve_voltage: u.Volt) -> Settled:
    """Common voltage, states of charge and energy lost when joined packs have come to rest; no resistance is in it.

    Args:
        state_of_charge: states of charge before, one for each pack.
        charge: charges of the full packs.
        curve_charge: states of charge of the curves, rising.
        curve_voltage: open-circuit voltages of the whole packs, rising, one row for each pack or one for all.

    >>> end = settled((1.0, 0.5), 7200.0, (0.0, 1.0), (40.0, 50.0))
    >>> print(round(end.voltage, 6), round(end.loss, 6))
    47.5 4500.0
    """
    state, charge, points, curves = _packs(state_of_charge, charge, curve_charge, curve_voltage)
    total = float(charge @ state)
    bends = np.unique(curves)
    held = sum(one * np.interp(bends, curve, points) for one, curve in zip(charge, curves, strict=True))
    ends = max(curve[0] for curve in curves), min(curve[-1] for curve in curves)
    voltage = float(np.interp(total, held, bends))
    if not ends[0] <= voltage <= ends[1]:
        raise ValueError("curve_voltage must let all packs reach one voltage: one of them would pass the end of its curve")
    after = np.array([np.interp(voltage, curve, points) for curve in curves])
    stored = [_area(points, curve, one, other) for curve, one, other in zip(curves, after, state, strict=True)]
    return Settled(voltage, after, float(charge @ np.array(stored)))


def _area(points, curve, low, high):
    """Integral of a curve of straight lines between two places."""
    within_it = np.unique(np.r_[low, high, points[(points > min(low, high)) & (points < max(low, high))]])
    return np.sign(high - low) * np.trapezoid(np.interp(within_it, points, curve), within_it)


@formula(
    equation=r"I_k = \frac{V_k(s_k) - U}{R_k},\quad \sum_k I_k = 0,\quad \dot s_k = -\frac{I_k}{Q_k},\quad "
    r"E_k = \int R_k I_k^2\,\mathrm{d}t",
    source="definition",
    sign="out of a pack positive",
    valid="resistances that do not change; exact for curves of straight lines; one set of packs at a call",
)
def join(
    state_of_charge: u.Ratio, charge: u.Coulomb, resistance: u.Ohm, curve_charge: u.Ratio, curve_voltage: u.Volt, time: u.Second
) -> Course:
    """Currents, states of charge, voltage at the joint and heat in each pack's resistance after packs were joined without load.

    Args:
        state_of_charge: states of charge before, one for each pack.
        charge: charges of the full packs.
        resistance: resistances of the packs with their leads up to the joint.
        curve_charge: states of charge of the curves, rising.
        curve_voltage: open-circuit voltages of the whole packs, rising, one row for each pack or one for all.
        time: times since they were joined, one list.

    >>> course = join((1.0, 0.5), 7200.0, 0.1, (0.0, 1.0), (40.0, 50.0), (0.0, 72.0))
    >>> print(course.current[0].round(4), course.loss.sum(axis=0).round(2))
    [25.     9.197] [   0.   3890.99]
    """
    state, charge, points, curves = _packs(state_of_charge, charge, curve_charge, curve_voltage)
    resistance = np.broadcast_to(np.asarray(resistance, float), state.shape)
    positive("resistance", resistance)
    time = np.atleast_1d(np.asarray(time, float))
    not_negative("time", time)
    shape = (len(state), len(time))
    current, gone, squares = np.empty(shape), np.empty(shape), np.empty(shape)
    before, spent = np.zeros((len(state), 1)), np.zeros((len(state), 1))
    for piece in march(state, charge, resistance, points, curves):
        here = (time >= piece.start) & (time < piece.end)
        since = time[here] - piece.start
        current[:, here], gone[:, here], squares[:, here] = piece.current(since), before + piece.charge(since), spent + piece.squares(since)
        if np.isfinite(piece.end):
            whole = np.array([piece.end - piece.start])
            before, spent = before + piece.charge(whole), spent + piece.squares(whole)
    left = state[:, None] - gone / charge[:, None]
    open_voltage = np.array([np.interp(one, points, curve) for one, curve in zip(left, curves, strict=True)])
    weight = 1 / resistance
    return Course(current, left, weight @ open_voltage / weight.sum(), resistance[:, None] * squares)


@formula(
    equation=r"t = \max\{t : \max_k |I_k(t)|/I_{k,\mathrm{lim}} \ge 1\}",
    source="definition",
    valid="as for the currents themselves; 0 where all are below from the start",
)
def time_until_below(
    state_of_charge: u.Ratio, charge: u.Coulomb, resistance: u.Ohm, curve_charge: u.Ratio, curve_voltage: u.Volt, current: u.Ampere
) -> u.Second:
    """Time after which the currents of all joined packs stay below a value, or each below its own.

    Args:
        state_of_charge: states of charge before, one for each pack.
        charge: charges of the full packs.
        resistance: resistances of the packs with their leads up to the joint.
        curve_charge: states of charge of the curves, rising.
        curve_voltage: open-circuit voltages of the whole packs, rising, one row for each pack or one for all.
        current: the value, or one for each pack.

    >>> print(round(time_until_below((1.0, 0.5), 7200.0, 0.1, (0.0, 1.0), (40.0, 50.0), 1.0), 3))
    231.759
    """
    state, charge, points, curves = _packs(state_of_charge, charge, curve_charge, curve_voltage)
    resistance = np.broadcast_to(np.asarray(resistance, float), state.shape)
    positive("resistance", resistance)
    positive("current", current)
    limit = np.broadcast_to(np.asarray(current, float), state.shape)[:, None]
    pieces = march(state, charge, resistance, points, curves)
    for piece in reversed(pieces):
        last = piece.end - piece.start if np.isfinite(piece.end) else LONG / piece.rate[1]
        looks = np.r_[piece.looks[piece.looks < last], last]
        over = np.max(np.abs(piece.current(looks)) / limit, axis=0) - 1
        if over[-1] >= 0:
            return piece.start + last
        if np.any(over >= 0):
            place = int(np.flatnonzero(over >= 0)[-1])
            under = lambda t, piece=piece: 1 - np.max(np.abs(piece.current(np.atleast_1d(t))) / limit, axis=0)[0]
            return piece.start + float(crossing(under, looks[place], looks[place + 1], 1e-13 * looks[place + 1]))
    return 0.0
