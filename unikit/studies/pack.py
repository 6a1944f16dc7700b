"""What do the packs give under load, what cuts them off, how is the current shared, and where does the printed energy go?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import cells as published
from ..formulas import sag
from ..inputs import Build, Case, Gear
from .cells import OTHERS, SLOW, Source, Stack, aged, joined, missing, one_at_a_time, pack_temperature
from .motor import gust_torque
from .results import Result, shown
from .steady import steady
from .verdicts import Rule, ratio

PEAK = 10.0  # seconds that a peak lasts: a gust, the steep end of a hill
COLD, WARM = 263.15, 298.15
STEPS = 48  # of a discharge
_GRID = np.linspace(0.0, 1.0, 201)

RULES = (
    Rule(
        "sag",
        "Do the packs still give the peak of the case when only the charge held back is left?",
        "greatest power at the lowest cell voltage after 10 s on top of the cruise, at the case's temperature",
        "power at the motor's peak in the turn with the case's gust on top, as far as the drive gives it",
        1.0,
        1.3,
        "more packs or strings in parallel, cells of lower resistance, more charge held back, warm packs",
        "pack",
        "below 1 the first pack switches off and the others carry the load, or none does",
    ),
    Rule(
        "cell current",
        "Do the cells bear the current of the peak, shared as the resistances share it?",
        "greatest current that one cell may be discharged with",
        "largest current of a cell at the peak of the case, at the charge held back",
        1.0,
        1.25,
        "more strings in parallel, packs that are alike, a lower battery current limit",
        "pack",
    ),
)


@dataclass(frozen=True)
class Asked:
    """Power that the drive asks of the packs at their terminals: on the mean of a turn, and at most."""

    cruise: u.Watt
    peak: u.Watt


@dataclass(frozen=True)
class Load(Result):
    """The packs of a build under the load of a case, and the power that they can give over the charge left."""

    gear: str = shown("gear")
    set_of: str = shown("packs")
    not_said: str = shown("not said in the build")
    alike: str = shown("unlike packs")
    temperature: u.Kelvin = shown("temperature of the cells", "°C", 0)
    state_of_charge: u.Ratio = shown("charge left in the case", "%", 0)
    nominal_voltage: u.Volt = shown("nominal voltage of all packs", "V")
    rest_voltage: u.Volt = shown("voltage at rest at this charge", "V")
    published_voltage: u.Volt = shown("one cell of a published set at this charge", "V", 3)
    cell_voltage: u.Volt = shown("one cell of the build, the mean of the packs", "V", 3)
    resistance: u.Ohm = shown("resistance of all packs at once", "mohm", 0)
    resistance_peak: u.Ohm = shown("resistance after 10 s", "mohm", 0)
    resistance_steady: u.Ohm = shown("resistance after some minutes", "mohm", 0)
    cruise_power: u.Watt = shown("power asked, mean", "W", 0)
    cruise_current: u.Ampere = shown("current of all packs at that power, after some minutes", "A")
    cruise_voltage: u.Volt = shown("voltage then", "V")
    peak_power: u.Watt = shown("power asked at most", "W", 0)
    peak_current: u.Ampere = shown("current of all packs at the peak", "A")
    peak_voltage: u.Volt = shown("voltage after 10 s of peak on top of the mean", "V")
    greatest_power: u.Watt = shown("greatest power above the lowest cell voltage, after 10 s", "W", 0)
    greatest_held_back: u.Watt = shown("the same at the charge held back", "W", 0)
    peak_cut_off: u.Ratio = shown("charge left at which a peak of 10 s is cut off", "%", 0)
    peak_cut_off_cold: u.Ratio = shown("the same with packs at -10 °C", "%", 0)
    held_back: u.Ratio = shown("charge held back", "%", 0)
    cell_current: u.Ampere = shown("largest cell current at the peak, at the charge held back", "A")
    cell_current_limit: u.Ampere = shown("what its cell may give", "A")
    charge: u.Ratio = shown("charge left", "%")
    voltage_at_rest: u.Volt = shown("voltage at rest", "V")
    voltage_mean: u.Volt = shown("voltage at the mean power, after some minutes", "V")
    voltage_peak: u.Volt = shown("voltage at the peak, after 10 s", "V")
    power_at_once: u.Watt = shown("greatest power in the first moment", "W", 0)
    power_peak: u.Watt = shown("greatest power after 10 s", "W", 0)
    power_steady: u.Watt = shown("greatest power for minutes", "W", 0)
    power_cold: u.Watt = shown("after 10 s with packs at -10 °C", "W", 0)
    power_warm: u.Watt = shown("after 10 s with packs at 25 °C", "W", 0)


@dataclass(frozen=True)
class Discharge(Result):
    """A ride at the mean power of a case until the first pack switches off or only the charge held back is left."""

    power: u.Watt = shown("power of the ride", "W", 0)
    ended_by: str = shown("ended by")
    end_charge: u.Ratio = shown("charge left at the end", "%")
    duration: u.Second = shown("ridden for", "min", 0)
    nominal_energy: u.Joule = shown("energy printed on the packs", "Wh", 0)
    full_energy: u.Joule = shown("energy in full cells, at rest", "Wh", 0)
    not_charged: u.Joule = shown("of it not charged", "Wh", 0)
    delivered: u.Joule = shown("of it delivered", "Wh", 0)
    heat: u.Joule = shown("of it heat in packs", "Wh")
    left_behind: u.Joule = shown("of it left behind", "Wh", 0)
    usable_share: u.Ratio = shown("delivered, of what is printed", "%", 0)
    largest_cell_current: u.Ampere = shown("largest cell current of the ride", "A", 2)
    largest_in: str = shown("in pack")
    widest_share: u.Ratio = shown("greatest current of a pack over the mean of all", "%", 0)
    time: u.Second = shown("time", "min")
    charge_over: u.Ratio = shown("charge left over the ride", "%")
    voltage_over: u.Volt = shown("voltage", "V")
    names: tuple[str, ...] = ()
    pack_currents: np.ndarray | None = None  # instants, packs
    pack_charges: np.ndarray | None = None


def asked(build: Build, case: Case, gear: Gear) -> Asked:
    """What a case asks of the packs, in the mean of a turn and at its peak with the gust on top."""
    state, limits, split = steady(build, case, gear)
    rotation = case.speed / build.wheel.radius
    mean = split.battery_power - split.pack_loss
    torque = np.minimum(split.motor_peak + gust_torque(build, case, case.speed), limits.highest)
    at = state.point(torque, rotation)
    peak = state.open_circuit_voltage * at.battery_current - at.pack_loss
    return Asked(float(mean), float(max(mean, peak, build.controller.standby_power)))


def study(build: Build, case: Case, gear: Gear | None = None) -> Load:
    """Sag, greatest power and what is asked, at the case's charge and temperature and over the charge left, packs as worn as it says.

    All packs are taken as equally charged here; :func:`discharge` follows what
    unlike packs make of it.
    """
    build, gear = aged(build, case), gear or build.gears.named(build.gears.engaged)
    stack, load = _stack(build, case), asked(build, case, gear)
    now, cruise, held = case.state_of_charge, max(load.cruise, 0.0), build.packs.held_back
    lasting, peak = joined(stack, now, np.inf), joined(stack, now, PEAK, cruise)
    current, top = lasting.current(load.cruise), peak.current(load.peak)
    curves = _curves(build, stack, load)
    last = joined(stack, held, PEAK, cruise)
    place, largest = _largest(build, stack, held, load.peak, cruise)
    cell = float(np.mean(stack.at_rest(now) / [one.series for one in build.packs.pack]))
    chemistry = build.packs.pack[0].chemistry
    return Load(
        gear=gear.name,
        set_of=f"{len(build.packs.pack)} in {build.packs.joined}" if len(build.packs.pack) > 1 else "one",
        not_said=missing(build.packs, SLOW + OTHERS) or "nothing",
        alike=_unlike(build),
        temperature=float(stack.temperature),
        state_of_charge=now,
        nominal_voltage=_nominal(build),
        rest_voltage=float(lasting.voltage),
        published_voltage=float(published.published_voltage(now, chemistry)) if chemistry in published.PUBLISHED else np.nan,
        cell_voltage=cell,
        resistance=float(joined(stack, now).resistance),
        resistance_peak=float(peak.resistance),
        resistance_steady=float(lasting.resistance),
        cruise_power=load.cruise,
        cruise_current=float(current),
        cruise_voltage=float(lasting.loaded(load.cruise)),
        peak_power=load.peak,
        peak_current=float(top),
        peak_voltage=float(peak.loaded(load.peak)),
        greatest_power=float(peak.greatest_power),
        greatest_held_back=float(last.greatest_power),
        peak_cut_off=_cut_off(curves["power_peak"], load.peak),
        peak_cut_off_cold=_cut_off(curves["power_cold"], load.peak),
        held_back=held,
        cell_current=largest,
        cell_current_limit=np.nan if place.cell_current_limit is None else place.cell_current_limit,
        charge=_GRID,
        **curves,
    )


def discharge(build: Build, case: Case, gear: Gear | None = None, power: u.Watt | None = None) -> Discharge | None:
    """Ride on at the case's mean power, or another, until the packs end it; None where the packs gain.

    The packs start equally charged and at rest.  What cells and wires lose is
    counted as heat in full: what the slow parts hold at the end becomes heat
    when the packs rest.
    """
    build = aged(build, case)
    stack = _stack(build, case)
    power = asked(build, case, gear or build.gears.named(build.gears.engaged)).cruise if power is None else power
    if not np.isfinite(power):
        raise ValueError(f"power must be a number of watts, got {power}")
    if power <= 0:
        return None
    start, held = case.state_of_charge, build.packs.held_back
    whole = stack.energy(0.0, start)
    time = _instants(whole / power if whole > 0 else 1.0)
    run = sag.share(time, power, **stack.described(), from_charge=start, in_series=stack.series)
    left = _set_charge(stack, run.state_of_charge)
    with np.errstate(invalid="ignore"):
        room = np.min(run.pack_voltage - stack.lowest, axis=-1)
    ends = {"voltage": np.where(np.isnan(room), -np.inf, room), "held": np.where(np.isnan(left), np.inf, left - held)}
    first = {name: _first_below(margin) for name, margin in ends.items()}
    by = min(first, key=first.get)
    place = first[by]
    at = lambda values: _between(values, place)
    states = np.clip(at(run.state_of_charge), 0.0, 1.0)
    cut = lambda values: np.concatenate([values[: int(np.ceil(place))], [at(values)]])
    currents = cut(run.current)
    each = currents / [one.parallel for one in build.packs.pack]
    row, column = np.unravel_index(np.nanargmax(each), each.shape) if np.isfinite(each).any() else (0, 0)
    duration = float(_between(time, place))
    delivered, heat = power * duration, float(np.sum(at(run.heat)))
    mean = currents.mean(axis=-1, keepdims=True)
    return Discharge(
        power=power,
        ended_by="charge held back" if by == "held" else _lowest_words(build, at(run.pack_voltage) - stack.lowest),
        end_charge=float(_set_charge(stack, states)),
        duration=duration,
        nominal_energy=build.packs.energy,
        full_energy=stack.energy(0.0, 1.0),
        not_charged=stack.energy(start, 1.0),
        delivered=delivered,
        heat=heat,
        left_behind=stack.energy(0.0, states),
        usable_share=delivered / build.packs.energy,
        largest_cell_current=float(each[row, column]),
        largest_in=build.packs.names[column],
        widest_share=float(np.nanmax(currents / mean)) if np.isfinite(currents).any() else np.nan,
        time=cut(time),
        charge_over=cut(left),
        voltage_over=cut(run.voltage),
        names=build.packs.names,
        pack_currents=currents,
        pack_charges=cut(run.state_of_charge),
    )


def margins(build: Build, case: Case, gear: Gear) -> list[tuple[str, float, str]]:
    """Margin and words of each rule; NaN with what is missing where the build does not say enough."""
    if build.motor is None or build.packs is None:
        return []
    build = aged(build, case)
    stack, held = _stack(build, case), build.packs.held_back
    load = asked(build, case, gear)
    cruise, lacking = max(load.cruise, 0.0), missing(build.packs, SLOW)
    if lacking:
        found = [("sag", np.nan, lacking)]
    else:
        most = float(joined(stack, held, PEAK, cruise).greatest_power)
        found = [("sag", ratio(most, load.peak), f"{most:.0f} W at {100 * held:.0f} % charge, {load.peak:.0f} W asked")]
    lacking = missing(build.packs, ("cell_current_limit",))
    if lacking:
        return [*found, ("cell current", np.nan, lacking)]
    place, largest = _largest(build, stack, held, load.peak, cruise)
    return [*found, ("cell current", ratio(place.cell_current_limit, largest), f"{largest:.1f} A in pack {place.name}")]


def _stack(build: Build, case: Case) -> Stack:
    if build.motor is None or build.packs is None:
        raise ValueError(f"build {build.name!r} has no motor: the pack study needs one")
    one_at_a_time(build.packs, pack_temperature(case), case.state_of_charge)
    return Stack(build.packs, pack_temperature(case))


def _nominal(build: Build) -> u.Volt:
    volts = [one.nominal_voltage for one in build.packs.pack]
    return float(sum(volts) if build.packs.joined == "series" else np.mean(volts))


def _unlike(build: Build) -> str:
    """What unlike packs do, in words."""
    packs = build.packs.pack
    charges = {one.name: one.capacity for one in packs}
    small = min(charges, key=charges.get)
    if build.packs.joined == "series" and max(charges.values()) > charges[small] * 1.001:
        return f"one current for all in series: pack {small} is empty first and ends the ride, the others keep the rest"
    names = ("capacity", "cell_resistance", "wiring_resistance", "fast_resistance", "slow_resistance")
    if len({tuple(getattr(one, name) for name in names) + (one.parallel, one.curve_voltage) for one in packs}) > 1:
        return "they share the current unequally" if build.packs.joined == "parallel" else "they warm unequally"
    return "none"


def _curves(build: Build, stack: Stack, load: Asked) -> dict[str, np.ndarray]:
    """Over the charge left: voltages under what is asked, and the greatest power after three times, after a peak also cold and warm."""
    here = lambda temperature, time: joined(Stack(build.packs, temperature), _GRID, time, load.cruise if load.cruise > 0 else 0.0)
    first, later, lasting = (here(stack.temperature, time) for time in (0.0, PEAK, np.inf))
    return {
        "voltage_at_rest": lasting.voltage,
        "voltage_mean": lasting.loaded(load.cruise),
        "voltage_peak": later.loaded(load.peak),
        "power_at_once": first.greatest_power,
        "power_peak": later.greatest_power,
        "power_steady": lasting.greatest_power,
        "power_cold": here(COLD, PEAK).greatest_power,
        "power_warm": here(WARM, PEAK).greatest_power,
    }


def _cut_off(power: np.ndarray, wanted: float) -> float:
    """Charge below which a power is not given any more, coming from full packs; 0 where it always is, 1 where it never is."""
    short = np.flatnonzero(power < wanted)
    if not short.size:
        return 0.0
    last = short[-1]
    if last == len(power) - 1:
        return 1.0
    part = (wanted - power[last]) / (power[last + 1] - power[last])
    return float(_GRID[last] + part * (_GRID[last + 1] - _GRID[last]))


def _largest(build: Build, stack: Stack, left: u.Values, peak: float, cruise: float):
    """The pack whose cells come nearest to their limit at the peak (else the largest current), and that current.

    Both the first moment and the end of the peak are looked at: the ohmic
    resistances share first, the slow parts move the shares later.
    """
    sources: list[Source] = [joined(stack, left, time, cruise) for time in (0.0, PEAK)]
    each = np.max([source.currents(peak) for source in sources], axis=0) / [one.parallel for one in build.packs.pack]
    bounds = [np.nan if one.cell_current_limit is None else one.cell_current_limit for one in build.packs.pack]
    weight = each / bounds if np.isfinite(bounds).all() else each
    place = int(np.argmax(weight))
    return build.packs.pack[place], float(each[place])


def _instants(whole: float) -> np.ndarray:
    """Instants of a discharge that lasts no longer than a time: fine at first, where the slow parts come."""
    first = np.minimum(np.geomspace(1.0, 400.0, 10), 0.05 * whole)
    return np.concatenate([[0.0], np.unique(first), np.linspace(first.max(), whole, STEPS)[1:]])


def _lowest_words(build: Build, room: np.ndarray) -> str:
    """Which packs are at their lowest cell voltage, as many as are there together; or that the power is too much before that."""
    names = [name for name, one in zip(build.packs.names, room, strict=True) if one < room.min() + 1e-3]
    if not names or room.min() > 0.01 * build.packs.pack[0].lowest_cell_voltage:
        return "more power than the packs can give"
    return "lowest cell voltage" + ("" if len(names) == len(room) else f" of pack {' and '.join(names)}")


def _set_charge(stack: Stack, states: np.ndarray) -> np.ndarray:
    """Charge left in all packs together: in parallel the mean by capacity, in series that of the emptiest."""
    return states.min(axis=-1) if stack.series else states @ stack.charge / stack.charge.sum()


def _first_below(margin: np.ndarray) -> float:
    """Where a margin first reaches zero, in steps; the end of the list if it never does."""
    below = np.flatnonzero(~(margin > 0))
    if not below.size:
        return float(len(margin) - 1)
    after = int(below[0])
    if after == 0:
        return 0.0
    high, low = margin[after - 1], margin[after]
    return after - 1 + (high / (high - low) if np.isfinite(low) else 0.0)


def _between(values: np.ndarray, place: float) -> np.ndarray:
    """A value between two steps."""
    low = min(int(place), len(values) - 1)
    part = place - low
    return values[low] if part == 0 else values[low] + part * (values[low + 1] - values[low])
