"""Sag of packs under load: an ohmic part at once, a fast and a slow part that follow the current with their time constants.

V = E(s) - R I - R_f i_f - R_s i_s, with the followers di/dt = (I - i)/tau.  A
follower is the current that its resistance feels: it needs no capacitor, and
stays exact while the resistances change with the state of charge.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from ._sharing import march
from .checks import not_negative, positive, within
from .registry import formula


class Course(NamedTuple):
    """A pack over a course of current, at the end of each step."""

    voltage: u.Volt
    state_of_charge: u.Ratio
    fast_current: u.Ampere
    slow_current: u.Ampere


class Sharing(NamedTuple):
    """Packs over a course of power, at each instant; packs along the last axis of all but the voltage."""

    voltage: u.Volt
    pack_voltage: u.Volt
    current: u.Ampere
    state_of_charge: u.Ratio
    heat: u.Joule


@formula(
    equation=r"i(t) = I + (i_0 - I)\,e^{-t/\tau}",
    source="bird_circuit_theory",
    sign="discharge positive",
    valid="constant current; linear cell",
)
def following_current(current: u.Ampere, time: u.Second, time_constant: u.Second, start_current: u.Ampere = 0.0) -> u.Ampere:
    """Current that a resistance with a time constant feels, after a time at a constant current.

    Args:
        current: constant current of the cell.
        time: how long it has flowed.
        time_constant: time constant of this resistance.
        start_current: what the resistance felt before.

    >>> print(round(following_current(10.0, 30.0, 30.0), 4))
    6.3212
    """
    not_negative("time", time)
    positive("time_constant", time_constant)
    return current + (start_current - current) * np.exp(-np.asarray(time, float) / time_constant)


@formula(
    equation=r"R(t) = R_0 + R_f\,(1 - e^{-t/\tau_f}) + R_s\,(1 - e^{-t/\tau_s})",
    source="bird_circuit_theory",
    valid="constant current out of a rested cell; without end all three resistances count, at the first moment the ohmic one alone",
)
def resistance_after(
    time: u.Second, ohmic_resistance: u.Ohm, fast_resistance: u.Ohm, fast_time: u.Second, slow_resistance: u.Ohm, slow_time: u.Second
) -> u.Ohm:
    """Sag over current, after a time at a constant current.

    Args:
        time: how long the current has flowed; may be infinite.
        ohmic_resistance: what answers at once.
        fast_resistance: what comes with the fast time constant.
        fast_time: the fast time constant.
        slow_resistance: what comes with the slow time constant.
        slow_time: the slow time constant.

    >>> print(round(resistance_after(10.0, 0.030, 0.010, 5.0, 0.012, 200.0), 6))
    0.039232
    """
    for name, value in (("ohmic", ohmic_resistance), ("fast", fast_resistance), ("slow", slow_resistance)):
        not_negative(f"{name}_resistance", value)
    fast, slow = (following_current(1.0, time, one) for one in (fast_time, slow_time))
    return ohmic_resistance + fast_resistance * fast + slow_resistance * slow


@formula(
    equation=r"\Delta V = I \sum_{k = f,s} R_k\,(1 - e^{-t/\tau_k})\,e^{-t_r/\tau_k}",
    source="bird_circuit_theory",
    valid="constant current out of a rested cell, then none; the ohmic part comes back at once",
)
def voltage_to_recover(
    rest_time: u.Second,
    current: u.Ampere,
    time: u.Second,
    fast_resistance: u.Ohm,
    fast_time: u.Second,
    slow_resistance: u.Ohm,
    slow_time: u.Second,
) -> u.Volt:
    """Voltage by which a cell is still below its open-circuit voltage, a while after a load has ended.

    Args:
        rest_time: how long the cell has rested.
        current: current of the load before.
        time: how long that load lasted.
        fast_resistance: what comes with the fast time constant.
        fast_time: the fast time constant.
        slow_resistance: what comes with the slow time constant.
        slow_time: the slow time constant.

    >>> print(round(voltage_to_recover(60.0, 4.0, 600.0, 0.010, 5.0, 0.012, 200.0), 6))
    0.033789
    """
    felt = [following_current(0.0, rest_time, one, following_current(current, time, one)) for one in (fast_time, slow_time)]
    return fast_resistance * felt[0] + slow_resistance * felt[1]


@formula(
    equation=r"P = V\,\frac{V_0 - V}{R},\quad V = \max\left(V_\mathrm{low}, \frac{V_0}{2}\right)",
    source="patil_circuits",
    valid="a bound, not a rating; 0 where the pack at rest is at or below the voltage",
)
def power_above(open_circuit_voltage: u.Volt, resistance: u.Ohm, lowest_voltage: u.Volt) -> u.Watt:
    """Greatest power at the terminals that does not pull them below a voltage.

    With the resistance after a time it is the power of a constant current that
    reaches the voltage at the end of this time; a constant power of this size
    ends a little above it, because its current was smaller before.

    Args:
        open_circuit_voltage: voltage at rest, less what an earlier load has left behind.
        resistance: sag over current, after the time that is asked.
        lowest_voltage: what the terminals must keep.

    >>> float(power_above(48.0, 0.2, 40.0))
    1600.0
    """
    positive("resistance", resistance)
    not_negative("lowest_voltage", lowest_voltage)
    held = np.maximum(lowest_voltage, np.asarray(open_circuit_voltage, float) / 2)
    return held * np.maximum(open_circuit_voltage - held, 0.0) / resistance


_SECONDS = 48  # steps of a load at constant power


@formula(
    equation=r"P = V\,I,\quad V = V_0 - R_0 I - R_f i_f - R_s i_s,\quad \tau_k\,\dot i_k = I - i_k",
    source="definition",
    sign="discharge positive",
    valid="the state of charge stands still; linear cell",
)
def voltage_at_power(
    power: u.Watt,
    time: u.Second,
    open_circuit_voltage: u.Volt,
    ohmic_resistance: u.Ohm,
    fast_resistance: u.Ohm,
    fast_time: u.Second,
    slow_resistance: u.Ohm,
    slow_time: u.Second,
) -> u.Volt:
    """Voltage after a time at a constant power: as it falls the current grows, so it falls further.

    Args:
        power: power at the terminals, from a rested pack.
        time: how long it has been given.
        open_circuit_voltage: voltage at rest.
        ohmic_resistance: what answers at once.
        fast_resistance: what comes with the fast time constant.
        fast_time: the fast time constant.
        slow_resistance: what comes with the slow time constant.
        slow_time: the slow time constant.

    >>> print(round(voltage_at_power(600.0, 60.0, 48.0, 0.3, 0.1, 5.0, 0.12, 200.0), 4))
    41.8199
    """
    not_negative("time", time)
    positive("ohmic_resistance", ohmic_resistance)
    parts = (power, time, open_circuit_voltage, ohmic_resistance, fast_resistance, fast_time, slow_resistance, slow_time)
    power, time, rest, ohmic, fast, fast_time, slow, slow_time = (one[..., None] for one in np.broadcast_arrays(*parts))

    def after(steps: int) -> np.ndarray:
        instants = np.expand_dims(np.linspace(0.0, 1.0, steps + 1) ** 2, tuple(range(1, time.ndim + 1))) * time  # short steps first
        rested = np.stack([rest, rest], axis=-1)
        found = march(
            instants[..., 0], power[..., 0], np.inf, ohmic, 0.0, fast, fast_time, slow, slow_time, np.array([0.0, 1.0]), rested, 1.0, 1.0
        )
        return found[0][-1]

    finer = after(2 * _SECONDS)
    voltage = finer + (finer - after(_SECONDS)) / 3  # the error of a step goes with its square
    if np.any(np.isnan(voltage)):
        raise ValueError("power must be at most what the pack can give for this time, everywhere: its voltage collapses before the end")
    return voltage[()]


def _steps(time) -> np.ndarray:
    time = np.asarray(time, float)
    if time.ndim < 1 or time.shape[0] < 2 or not np.all(np.diff(time, axis=0) >= 0):
        raise ValueError("time must be a list of at least two instants along the first axis, none before the one in front of it")
    return time


@formula(
    equation=r"\mathbf{x}_{n+1} = e^{\mathbf{A}\Delta t}\,\mathbf{x}_n + \mathbf{A}^{-1}(e^{\mathbf{A}\Delta t} - \mathbf{1})"
    r"\,\mathbf{b}\,I_n,\quad \mathbf{x} = (s, i_f, i_s)",
    source="bird_circuit_theory",
    sign="discharge positive",
    valid="current constant within each step: exact for steps of any length; a state of charge outside the curve is refused",
)
def course(
    time: u.Second,
    current: u.Ampere,
    charge: u.Coulomb,
    ohmic_resistance: u.Ohm,
    fast_resistance: u.Ohm,
    fast_time: u.Second,
    slow_resistance: u.Ohm,
    slow_time: u.Second,
    curve_charge: u.Ratio,
    curve_voltage: u.Volt,
    from_charge: u.Ratio = 1.0,
) -> Course:
    """A rested pack over a course of current.

    Args:
        time: instants between the steps, rising along the first axis, one more than there are currents.
        current: current of each step, along the first axis.
        charge: charge of the full pack.
        ohmic_resistance: what answers at once.
        fast_resistance: what comes with the fast time constant.
        fast_time: the fast time constant.
        slow_resistance: what comes with the slow time constant.
        slow_time: the slow time constant.
        curve_charge: states of charge of the open-circuit curve, rising.
        curve_voltage: its voltages.
        from_charge: state of charge at the start.

    >>> pulse = course([0.0, 10.0, 40.0], [5.0, 0.0], 7200.0, 0.03, 0.01, 5.0, 0.012, 200.0, [0.0, 1.0], [3.0, 4.2], 0.5)
    >>> pulse.voltage.round(4).tolist()
    [3.3955, 3.589]
    """
    step = np.diff(_steps(time), axis=0)
    current = np.asarray(current, float)
    if current.shape[:1] != step.shape[:1]:
        raise ValueError(f"current must have one value for each of the {len(step)} steps along the first axis, got shape {current.shape}")
    positive("charge", charge)
    positive("fast_time", fast_time)
    positive("slow_time", slow_time)
    used = np.cumsum(current * step, axis=0) / charge
    left = from_charge - used
    points = np.asarray(curve_charge, float)
    within("state_of_charge", np.concatenate([np.ravel(from_charge), np.ravel(left)]), points[0], points[-1])
    rest = np.interp(left, points, np.asarray(curve_voltage, float))
    followers = []
    for constant in (fast_time, slow_time):
        felt = np.empty(np.broadcast_shapes(left.shape, np.shape(constant)))
        kept, come, now = np.exp(-step / constant), -np.expm1(-step / constant) * current, 0.0  # following_current, for all steps at once
        for place in range(len(step)):
            felt[place] = now = kept[place] * now + come[place]
        followers.append(felt)
    voltage = rest - ohmic_resistance * current - fast_resistance * followers[0] - slow_resistance * followers[1]
    return Course(voltage, left, *followers)


@formula(
    equation=r"V_k = E_k(s_k) - (R_w + f(s_k) R_0) I_k - f(s_k)(R_f i_f + R_s i_s);\quad"
    r"\text{parallel: } V_k = V,\ V\textstyle\sum I_k = P;\quad \text{series: } I_k = I,\ I\sum V_k = P",
    source="definition",
    sign="discharge positive; a current below 0 charges this pack",
    valid="current linear in time within a step, so that the error goes with its square; NaN from where the voltage collapses",
)
def share(
    time: u.Second,
    power: u.Watt,
    charge: u.Coulomb,
    ohmic_resistance: u.Ohm,
    wiring_resistance: u.Ohm,
    fast_resistance: u.Ohm,
    fast_time: u.Second,
    slow_resistance: u.Ohm,
    slow_time: u.Second,
    curve_charge: u.Ratio,
    curve_voltage: u.Volt,
    curve_resistance: u.Ratio = 1.0,
    from_charge: u.Ratio = 1.0,
    in_series: bool = False,
) -> Sharing:
    """Rested packs in parallel or in series that give a power together.

    Packs lie along the last axis, points of the curve behind it; axes before
    it broadcast with the power and with the axes of time behind its first.
    A power that changes has as many axes as the time, its first along the
    instants; where it jumps, an instant stands twice.

    Args:
        time: instants, rising along the first axis.
        power: power at the common terminals, constant or at each instant.
        charge: charge of each full pack.
        ohmic_resistance: what answers at once in the cells of each pack.
        wiring_resistance: wires, fuse and plug of each pack, in series with its cells.
        fast_resistance: what comes with the fast time constant.
        fast_time: the fast time constant.
        slow_resistance: what comes with the slow time constant.
        slow_time: the slow time constant.
        curve_charge: states of charge of the curves, rising; beyond its ends a curve goes on straight.
        curve_voltage: open-circuit voltages of each pack.
        curve_resistance: resistances of the cells at these states of charge, over those given.
        from_charge: state of charge of each pack at the start.
        in_series: packs in series and not in parallel.

    >>> two = share([0.0, 60.0], 400.0, [7200.0, 7200.0], [0.3, 0.6], 0.0, 0.0, 5.0, 0.0, 60.0, [0.0, 1.0], [[36.0, 46.0]] * 2, 1.0, 0.8)
    >>> two.current.round(3).tolist()
    [[6.334, 3.167], [6.134, 3.472]]
    """
    time = _steps(time)
    positive("charge", charge)
    positive("ohmic_resistance + wiring_resistance", np.asarray(ohmic_resistance) + wiring_resistance)
    for name, value in (("fast_resistance", fast_resistance), ("slow_resistance", slow_resistance)):
        not_negative(name, value)
    positive("fast_time", fast_time)
    positive("slow_time", slow_time)
    if np.ndim(power) >= time.ndim and (np.ndim(power) > time.ndim or len(power) != len(time)):
        raise ValueError(
            f"power must have fewer axes than time, or one value for each of the {len(time)} instants along its first, "
            f"got shape {np.shape(power)}"
        )
    points, voltage = np.asarray(curve_charge, float), np.asarray(curve_voltage, float)
    if points.ndim != 1 or points.size < 2 or not np.all(np.diff(points) > 0):
        raise ValueError("curve_charge must be one rising list of at least two states of charge")
    if voltage.ndim < 2 or voltage.shape[-1] != points.size:
        raise ValueError(f"curve_voltage must have packs and then {points.size} voltages along its last axes, got shape {voltage.shape}")
    return Sharing(
        *march(
            time, power, charge, ohmic_resistance, wiring_resistance, fast_resistance, fast_time, slow_resistance, slow_time,
            points, voltage, curve_resistance, from_charge, in_series,
        )
    )  # fmt: skip


@formula(
    equation=r"t = H \left(\frac{Q}{I H}\right)^{k}",
    source="peukert1897",
    valid="constant current; a fit to lead-acid cells. Lithium cells come near k = 1: there sag and the lowest voltage end the discharge",
)
def peukert_time(current: u.Ampere, charge: u.Coulomb, rated_time: u.Second, exponent: u.Number) -> u.Second:
    """How long a cell gives a constant current, from the charge that it gives in its rated time.

    Args:
        current: constant current.
        charge: charge that the cell gives in the rated time.
        rated_time: time for which the charge is stated.
        exponent: 1 for a charge that does not hang on the current.

    >>> print(round(peukert_time(10.0, 100.0 * 3600, 20.0 * 3600, 1.2) / 3600, 4))
    8.7055
    """
    positive("current", current)
    positive("charge", charge)
    positive("rated_time", rated_time)
    positive("exponent", exponent)
    return rated_time * (charge / (current * rated_time)) ** exponent
