"""What the packs of a build are at a charge, at a temperature and after a time: their resistance, and what the build does not say of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import pack, sag
from ..inputs import Build, Case, Pack, Packs, replace

SLOW = ("fast_resistance", "fast_time", "slow_resistance", "slow_time")
OTHERS = ("curve_resistance", "activation_energy", "resistance_temperature")
RESISTANCES = ("cell_resistance", "fast_resistance", "slow_resistance")


def pack_temperature(case: Case) -> u.Kelvin:
    """Temperature of the cells: as the case says, else that of the air."""
    return case.air_temperature if case.pack_temperature is None else case.pack_temperature


def aged(build: Build, case: Case) -> Build:
    """The build with packs as worn as the case says; the same where it says nothing."""
    changes = {"cell_capacity": case.capacity_left} | dict.fromkeys(RESISTANCES, case.resistance_growth)
    changes = {name: factor for name, factor in changes.items() if factor is not None}
    if build.packs is None or not changes:
        return build
    worn = {(one.name, name): (getattr(one, name), factor) for one in build.packs.pack for name, factor in changes.items()}
    return replace(build, {f"packs.pack.{one}.{name}": new * by for (one, name), (new, by) in worn.items() if new is not None})


def missing(packs: Packs, names: tuple[str, ...]) -> str:
    """The fields of these names that some pack leaves out, in words; empty when all are there."""
    found = [name for name in names if any(getattr(one, name) is None for one in packs.pack)]
    return f"{', '.join(found)} of the packs not given" if found else ""


def one_at_a_time(packs: Packs, *others: u.Values) -> None:
    """Refuse packs, or other numbers, that are drawn from their uncertainty: what these studies search for has one answer at a time."""
    numbers = (value for one in packs.pack for value in vars(one).values() if isinstance(value, np.ndarray))
    if any(np.ndim(value) for value in (*numbers, *others)):
        raise ValueError("a number of build or case is a list of draws: studies of packs, joining and wiring look at one build at a time")


def growth(one: Pack, state_of_charge: u.Values, temperature: u.Values) -> u.Ratio:
    """The cells' resistances at a charge and a temperature over those that the build states; 1 as far as it does not say."""
    factor = np.ones(())
    if one.curve_resistance is not None:
        factor = np.interp(state_of_charge, one.curve_charge, one.curve_resistance)
    return factor * warmth(one, temperature)


def warmth(one: Pack, temperature: u.Values) -> u.Ratio:
    """The same for the temperature alone."""
    if one.activation_energy is None:
        return np.ones(())
    return 1 / pack.arrhenius_factor(one.activation_energy, temperature, one.resistance_temperature)


def resistance(one: Pack, state_of_charge: u.Values, temperature: u.Values, time: u.Values = 0.0) -> u.Ohm:
    """Sag of a pack over its current, after a time at this current; without end all its parts count, as far as the build states them."""
    cell = one.cell_resistance
    if one.fast_resistance is not None:
        cell = sag.resistance_after(time, cell, one.fast_resistance, one.fast_time, one.slow_resistance, one.slow_time)
    cell = cell * growth(one, state_of_charge, temperature)
    return pack.string_resistance(cell, one.series, one.parallel, one.wiring_resistance)


@dataclass(frozen=True)
class Stack:
    """All packs at one temperature; packs lie along the last axis."""

    packs: Packs
    temperature: u.Values

    def _each(self, what) -> np.ndarray:
        return np.stack(np.broadcast_arrays(*(np.asarray(what(one), float) for one in self.packs.pack)), axis=-1)

    @property
    def series(self) -> bool:
        """Whether the packs are in series."""
        return self.packs.joined == "series"

    @property
    def charge(self) -> np.ndarray:
        """Charge of each full pack."""
        return self._each(lambda one: one.capacity)

    @property
    def lowest(self) -> np.ndarray:
        """Voltage at which each pack switches off."""
        return self._each(lambda one: pack.string_voltage(one.lowest_cell_voltage, one.series))

    def at_rest(self, state_of_charge: u.Values) -> np.ndarray:
        """Open-circuit voltage of each pack, all equally charged."""
        cell = lambda one: pack.open_circuit_voltage(state_of_charge, one.curve_charge, one.curve_voltage)
        return self._each(lambda one: pack.string_voltage(cell(one), one.series))

    def resistance(self, state_of_charge: u.Values, time: u.Values = 0.0) -> np.ndarray:
        """Resistance of each pack after a time, all equally charged."""
        return self._each(lambda one: resistance(one, state_of_charge, self.temperature, time))

    def energy(self, low: u.Ratio, high: u.Ratio) -> float:
        """Energy in the cells of all packs between two states of charge, each one number or one for each pack."""
        low, high = (np.broadcast_to(end, len(self.packs.pack)) for end in (low, high))
        return sum(
            float(pack.delivered_energy(0.0, one.capacity * one.series, 0.0, one.curve_charge, one.curve_voltage, end, start))
            for one, start, end in zip(self.packs.pack, low, high, strict=True)
        )

    def described(self) -> dict[str, np.ndarray]:
        """The arguments of ``sag.share`` that describe the packs, on one list of states of charge for all."""
        each = self._each
        points = np.unique(np.concatenate([one.curve_charge for one in self.packs.pack]))
        ones = lambda one: np.ones(len(one.curve_charge)) if one.curve_resistance is None else one.curve_resistance
        cell = lambda name: each(lambda one: (getattr(one, name) or 0.0) * warmth(one, self.temperature) * one.series / one.parallel)
        return {
            "charge": self.charge,
            "ohmic_resistance": cell("cell_resistance"),
            "wiring_resistance": each(lambda one: one.wiring_resistance),
            "fast_resistance": cell("fast_resistance"),
            "fast_time": each(lambda one: one.fast_time or 1.0),
            "slow_resistance": cell("slow_resistance"),
            "slow_time": each(lambda one: one.slow_time or 1.0),
            "curve_charge": points,
            "curve_voltage": np.array([one.series * np.interp(points, one.curve_charge, one.curve_voltage) for one in self.packs.pack]),
            "curve_resistance": np.array([np.interp(points, one.curve_charge, ones(one)) for one in self.packs.pack]),
        }


@dataclass(frozen=True)
class Source:
    """The packs together: a voltage behind a resistance, and the current at which the first of them reaches its lowest voltage."""

    voltage: u.Values
    resistance: u.Values
    limit: u.Values
    each: np.ndarray
    inner: np.ndarray
    series: bool

    @property
    def greatest_power(self) -> u.Watt:
        """Greatest power before the first pack is at its lowest voltage."""
        return sag.power_above(self.voltage, self.resistance, np.maximum(self.voltage - self.resistance * self.limit, 0.0))

    def current(self, power: u.Values) -> u.Ampere:
        """Current of all packs together at a power; no more than at the greatest power."""
        most = pack.greatest_power(self.voltage, self.resistance) * (1 - 1e-12)
        return pack.current_at_power(self.voltage, self.resistance, np.minimum(power, most))

    def loaded(self, power: u.Values) -> u.Volt:
        """Voltage at a power; NaN where it is more than the packs can give."""
        held = self.voltage - self.resistance * self.current(power)
        return np.where(power <= pack.greatest_power(self.voltage, self.resistance), held, np.nan)

    def currents(self, power: u.Values) -> np.ndarray:
        """Current of each pack."""
        total = np.asarray(self.current(power))[..., None]
        if self.series:
            return np.broadcast_to(total, np.broadcast_shapes(total.shape, self.each.shape))
        return pack.branch_current(
            self.each, self.inner, np.asarray(self.voltage)[..., None] - np.asarray(self.resistance)[..., None] * total
        )


def joined(stack: Stack, state_of_charge: u.Values, time: u.Values = 0.0, before: u.Values = 0.0) -> Source:
    """All packs together after a time at a load, on top of an earlier power that they have given for long.

    What the earlier load has pulled the voltage down by and the resistance
    after the time does not count is taken from each pack's voltage at rest.
    """
    each, inner = stack.at_rest(state_of_charge), stack.resistance(state_of_charge, time)
    if np.any(np.asarray(before) != 0):
        steady = stack.resistance(state_of_charge, np.inf)
        each = each - (steady - inner) * _source(stack, each, steady).currents(before)
    return _source(stack, each, inner)


def _source(stack: Stack, each: np.ndarray, inner: np.ndarray) -> Source:
    if stack.series:
        limit = np.min((each - stack.lowest) / inner, axis=-1)
        return Source(each.sum(axis=-1), inner.sum(axis=-1), np.maximum(limit, 0.0), each, inner, True)
    conductance = (1 / inner).sum(axis=-1)
    voltage = (each / inner).sum(axis=-1) / conductance
    limit = np.maximum((voltage - stack.lowest.max(axis=-1)) * conductance, 0.0)
    return Source(voltage, 1 / conductance, limit, each, inner, False)
