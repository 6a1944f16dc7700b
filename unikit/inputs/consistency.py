"""What must hold between fields.

Each rule yields the field that is wrong, its value, what was expected and what
was found.  A rule that asks for a value which could not be read is skipped.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..formulas import epicyclic, trains
from .assist_parts import Assist
from .build import Build, Case
from .datasheet import Datasheet, NoLoad, Rated, Stall
from .drive_parts import Controller, Motor
from .fields import nearest, pretty, specs
from .hub_parts import Gear, Gears, Hub
from .parts import Brake, Rider
from .paths import leaves
from .records import Finding, Partial, rule
from .spreads import Spread
from .supply_parts import Pack, Packs, Wiring

RATIO_TOLERANCE = 0.005


@rule(Rider)
def _comfortable_below_greatest(rider: Rider) -> Iterator[Finding]:
    if np.any(np.asarray(rider.comfortable_cadence) > rider.greatest_cadence):
        found = pretty(rider.comfortable_cadence, "rotation", "rpm")
        yield "comfortable_cadence", None, f"at most greatest_cadence, {pretty(rider.greatest_cadence, 'rotation', 'rpm')}", found


@rule(Gear)
def _teeth_give_the_ratio(gear: Gear) -> Iterator[Finding]:
    teeth = {name: getattr(gear, name) for name in ("sun_teeth", "planet_teeth", "ring_teeth", "planets")}
    missing = [name for name, value in teeth.items() if value is None]
    if len(missing) == len(teeth):
        return
    for name in missing:
        yield name, None, "a whole number, since other tooth counts are given", "nothing"
    if gear.sun_teeth is None or gear.ring_teeth is None:
        return
    ratio = epicyclic.ratio(gear.sun_teeth, gear.ring_teeth, fixed="sun", driver="carrier", driven="ring")
    if np.any(np.abs(np.asarray(gear.ratio) / ratio - 1) > RATIO_TOLERANCE):
        expected = (
            f"{float(np.max(ratio)):.5g} within {RATIO_TOLERANCE:.1%}, from {show_teeth(gear)} with the sun fixed, carrier in, ring out"
        )
        yield "ratio", gear.ratio, expected, pretty(gear.ratio, "ratio", "")


@rule(Gear)
def _gears_share_an_axis(gear: Gear) -> Iterator[Finding]:
    if _all_given(gear) and gear.ring_teeth != gear.sun_teeth + 2 * gear.planet_teeth:
        expected = (
            f"{gear.sun_teeth + 2 * gear.planet_teeth}, sun_teeth and twice planet_teeth, so that sun, planets and ring share an axis"
        )
        yield "ring_teeth", gear.ring_teeth, expected, f"{gear.ring_teeth}"


@rule(Gear)
def _planets_go_in(gear: Gear) -> Iterator[Finding]:
    if not _all_given(gear) or gear.ring_teeth != gear.sun_teeth + 2 * gear.planet_teeth:
        return
    total, count = gear.sun_teeth + gear.ring_teeth, gear.planets
    if gear.planet_spacing != "uneven" and not epicyclic.assembles(gear.sun_teeth, gear.planet_teeth, gear.ring_teeth, count):
        fits = ", ".join(str(number) for number in range(1, 13) if total % number == 0)
        expected = f"one of {fits}, by which sun and ring teeth together, {total}, can be divided; or planet_spacing 'uneven'"
        yield "planets", count, expected, f"{count}"
    elif count > 1:
        angle = trains.closest(gear.sun_teeth, gear.ring_teeth, count) if gear.planet_spacing == "uneven" else 2 * np.pi / count
        tip = gear.planet_teeth + 2 * (1 + np.max(0.0 if gear.planet_shift is None else gear.planet_shift))
        apart = (gear.sun_teeth + gear.planet_teeth) * np.sin(angle / 2)
        if apart <= tip:
            expected = f"fewer planets: their axes are {apart:.2f} modules apart, less than the {tip:.2f} across the tips of a planet"
            yield "planets", count, expected, f"{count}"


def _all_given(gear: Gear) -> bool:
    return all(value is not None for value in (gear.sun_teeth, gear.planet_teeth, gear.ring_teeth, gear.planets))


def show_teeth(gear: Gear) -> str:
    """The tooth counts that make the ratio, in words."""
    return f"{gear.sun_teeth} teeth on the sun and {gear.ring_teeth} on the ring"


@rule(Gears)
def _engaged_gear_exists(gears: Gears) -> Iterator[Finding]:
    names = [gear.name for gear in gears.gear]
    if gears.engaged not in names:
        yield (
            "engaged",
            gears.engaged,
            f"one of the gears {', '.join(map(repr, names))}",
            f"{gears.engaged!r}{nearest(gears.engaged, names)}",
        )


@rule(Hub)
def _axle_has_a_wall(hub: Hub) -> Iterator[Finding]:
    for inner, outer in (("axle_bore", "axle_diameter"), ("axle_bore", "seat_diameter"), ("spline_inner", "spline_outer")):
        small, large = getattr(hub, inner), getattr(hub, outer)
        if small is not None and large is not None and np.any(np.asarray(small) >= large):
            yield inner, None, f"less than {outer}, {pretty(large, 'length', 'mm')}", pretty(small, "length", "mm")


@rule(Hub)
def _bearings_are_whole(hub: Hub) -> Iterator[Finding]:
    for bearing in ("planet_bearing", "hub_bearing", "crank_bearing"):
        yield from _together(hub, (bearing, f"{bearing}_dynamic", f"{bearing}_static"), bearing.replace("_", " "))
    yield from _together(hub, ("crank_bearing_spacing", "pedal_overhang"), "crank spindle")


@rule(Hub)
def _seat_is_of_one_kind(hub: Hub) -> Iterator[Finding]:
    belongs = {"key_width": "key", "key_height": "key", "key_shear_limit": "key", "seat_diameter": "key"}
    belongs |= {"spline_teeth": "spline", "spline_outer": "spline", "spline_inner": "spline"}
    for name, seat in belongs.items():
        if getattr(hub, name) is not None and hub.sun_seat != seat:
            yield name, getattr(hub, name), f"nothing, or the sun_seat {seat!r}", f"the sun_seat {hub.sun_seat!r}"
    for name in ("seat_length", "seat_pressure_limit"):
        if getattr(hub, name) is not None and hub.sun_seat not in ("key", "spline"):
            yield name, getattr(hub, name), "nothing, or the sun_seat 'key' or 'spline'", f"the sun_seat {hub.sun_seat!r}"


@rule(Hub)
def _strengths_of_the_axle_are_in_order(hub: Hub) -> Iterator[Finding]:
    for lower in ("axle_yield", "axle_endurance"):
        one, most = getattr(hub, lower), hub.axle_tensile
        if one is not None and most is not None and np.any(np.asarray(one) > most):
            yield lower, None, f"at most axle_tensile, {pretty(most, 'pressure', 'MPa')}", pretty(one, "pressure", "MPa")


@rule(Hub)
def _bolts_have_an_arm(hub: Hub) -> Iterator[Finding]:
    if hub.arm_bolt_limit is not None and hub.arm_bolt_spacing is None and hub.arm_length is None:
        yield "arm_length", None, "the arm's length or the distance of its bolts, since arm_bolt_limit is given", "nothing"


@rule(Controller)
def _derating_has_a_width(controller: Controller) -> Iterator[Finding]:
    if np.any(np.asarray(controller.derating_end) <= controller.derating_start):
        start, end = (pretty(value, "temperature", "°C") for value in (controller.derating_start, controller.derating_end))
        yield "derating_end", None, f"a temperature above derating_start, {start}", end


def _together(record: Motor | Controller | Pack | Wiring | Hub, names: tuple[str, ...], thing: str) -> Iterator[Finding]:
    """What describes one thing is given as a whole or left out as a whole."""
    missing = [name for name in names if getattr(record, name) is None]
    if len(missing) < len(names):
        for name in missing:
            yield name, None, f"a value, since others of the {thing} are given", "nothing"


@rule(Motor)
def _air_gap_is_whole(motor: Motor) -> Iterator[Finding]:
    yield from _together(motor, ("gap_diameter", "gap_width", "stack_length"), "air gap")


@rule(Motor)
def _ring_is_whole(motor: Motor) -> Iterator[Finding]:
    yield from _together(motor, ("magnet_capacity", "magnet_to_housing"), "magnets' ring")


@rule(Motor)
def _gap_fits_the_housing(motor: Motor) -> Iterator[Finding]:
    if motor.gap_diameter is not None and np.any(np.asarray(motor.gap_diameter) >= motor.housing_diameter):
        wide = pretty(motor.housing_diameter, "length", "mm")
        yield "gap_diameter", None, f"less than housing_diameter, {wide}", pretty(motor.gap_diameter, "length", "mm")


@rule(Motor)
def _stack_fits_the_housing(motor: Motor) -> Iterator[Finding]:
    if motor.stack_length is not None and np.any(np.asarray(motor.stack_length) > motor.housing_width):
        long = pretty(motor.housing_width, "length", "mm")
        yield "stack_length", None, f"at most housing_width, {long}", pretty(motor.stack_length, "length", "mm")


@rule(Controller)
def _heat_sink_is_whole(controller: Controller) -> Iterator[Finding]:
    names = ("bridge_capacity", "bridge_to_sink", "sink_capacity", "sink_to_air", "bridge_limit")
    yield from _together(controller, names, "heat sink")


@rule(Assist)
def _trim_step_within_cap(assist: Assist) -> Iterator[Finding]:
    if np.any((np.asarray(assist.trim_step) > assist.trim_cap) & (np.asarray(assist.trim_cap) > 0)):  # a cap of 0 switches the trim off
        yield "trim_step", None, f"at most trim_cap, {pretty(assist.trim_cap, 'torque', 'N*m')}", pretty(assist.trim_step, "torque", "N*m")


@rule(Brake)
def _no_brake_no_torque(brake: Brake) -> Iterator[Finding]:
    if brake.kind == "none" and np.any(np.asarray(brake.greatest_torque) > 0):
        yield "greatest_torque", None, "0 N·m for the kind 'none'", pretty(brake.greatest_torque, "torque", "N*m")


@rule(Pack)
def _charge_rises_from_empty_to_full(pack: Pack) -> Iterator[Finding]:
    charge = pack.curve_charge
    if charge[0] != 0 or charge[-1] != 1:
        yield "curve_charge", charge, "a list from 0 to 1", f"a list from {charge[0]:g} to {charge[-1]:g}"
    yield from _rising("curve_charge", charge)


@rule(Pack)
def _voltage_rises(pack: Pack) -> Iterator[Finding]:
    yield from _rising("curve_voltage", pack.curve_voltage)


def _rising(name: str, values: tuple[float, ...]) -> Iterator[Finding]:
    for place, (before, after) in enumerate(zip(values, values[1:], strict=False), 2):
        if after <= before:
            yield name, values, "a list that rises from point to point", f"{after:g} after {before:g} at point {place}"
            return


@rule(Pack)
def _one_voltage_for_each_charge(pack: Pack) -> Iterator[Finding]:
    if len(pack.curve_voltage) != len(pack.curve_charge):
        yield (
            "curve_voltage",
            pack.curve_voltage,
            f"{len(pack.curve_charge)} voltages, one for each of curve_charge",
            f"{len(pack.curve_voltage)}",
        )


@rule(Pack)
def _lowest_voltage_below_the_top(pack: Pack) -> Iterator[Finding]:
    top = pack.curve_voltage[-1]
    if np.any(np.asarray(pack.lowest_cell_voltage) >= top):
        yield (
            "lowest_cell_voltage",
            None,
            f"a voltage below the top of the curve, {top:g} V",
            pretty(pack.lowest_cell_voltage, "voltage", "V"),
        )


@rule(Pack)
def _slow_parts_are_whole(pack: Pack) -> Iterator[Finding]:
    names = ("fast_resistance", "fast_time", "slow_resistance", "slow_time")
    yield from _together(pack, names, "resistances that come with time")


@rule(Pack)
def _fast_is_faster(pack: Pack) -> Iterator[Finding]:
    if pack.fast_time is not None and pack.slow_time is not None and np.any(np.asarray(pack.slow_time) <= pack.fast_time):
        yield "slow_time", None, f"more than fast_time, {pretty(pack.fast_time, 'time', 's')}", pretty(pack.slow_time, "time", "s")


@rule(Pack)
def _one_resistance_for_each_charge(pack: Pack) -> Iterator[Finding]:
    curve, points = pack.curve_resistance, len(pack.curve_charge)
    if curve is not None and len(curve) != points:
        yield "curve_resistance", curve, f"{points} values, one for each of curve_charge", f"{len(curve)}"


@rule(Pack)
def _warmth_is_whole(pack: Pack) -> Iterator[Finding]:
    yield from _together(pack, ("activation_energy", "resistance_temperature"), "resistances' answer to temperature")


@rule(Packs)
def _parallel_packs_have_as_many_cells_in_series(packs: Packs) -> Iterator[Finding]:
    if packs.joined == "parallel":
        yield from _alike(packs, "series", "as many cells in series as pack")


@rule(Packs)
def _parallel_packs_have_one_chemistry(packs: Packs) -> Iterator[Finding]:
    if packs.joined == "parallel":
        yield from _alike(packs, "chemistry", "the chemistry of pack")


def _alike(packs: Packs, name: str, words: str) -> Iterator[Finding]:
    """Packs in parallel must agree in what makes their voltage; who says nothing of it does not disagree."""
    said = [pack for pack in packs.pack if getattr(pack, name) is not None]
    for pack in said[1:]:
        first, value = said[0], getattr(pack, name)
        if value != getattr(first, name):
            expected = f"{words} {first.name!r}, {getattr(first, name)}, since the packs are in parallel"
            yield f"pack.{pack.name}.{name}", value, expected, f"{value}"


@rule(Wiring)
def _short_circuit_is_hotter(wiring: Wiring) -> Iterator[Finding]:
    if np.any(np.asarray(wiring.short_limit) <= wiring.insulation_limit):
        limit, short = (pretty(value, "temperature", "°C") for value in (wiring.insulation_limit, wiring.short_limit))
        yield "short_limit", None, f"a temperature above insulation_limit, {limit}", short


@rule(Wiring)
def _fuse_is_whole(wiring: Wiring) -> Iterator[Finding]:
    names = ("fuse_rating", "fuse_voltage", "fuse_breaking_current", "fuse_melting", "fuse_let_through")
    yield from _together(wiring, names, "fuse")


@rule(Wiring)
def _fuse_melts_before_it_clears(wiring: Wiring) -> Iterator[Finding]:
    if wiring.fuse_melting is None or wiring.fuse_let_through is None:
        return
    if np.any(np.asarray(wiring.fuse_melting) > wiring.fuse_let_through):
        through, melting = (pretty(value, "current squared time", "A^2*s") for value in (wiring.fuse_let_through, wiring.fuse_melting))
        yield "fuse_melting", None, f"at most fuse_let_through, {through}", melting


@rule(Wiring)
def _precharge_is_whole(wiring: Wiring) -> Iterator[Finding]:
    yield from _together(wiring, ("precharge_resistance", "precharge_time", "precharge_energy"), "precharge")


@rule(Build)
def _motor_has_what_it_needs(build: Build) -> Iterator[Finding]:
    if build.motor is None:
        return
    if build.controller is None:
        yield "controller", None, "a table [controller], since there is a motor", "nothing"


@rule(Build)
def _motor_has_packs(build: Build) -> Iterator[Finding]:
    if build.motor is not None and build.packs is None:
        yield "packs", None, "a table [packs], since there is a motor", "nothing"


@rule(Build)
def _assist_has_a_motor(build: Build) -> Iterator[Finding]:
    if build.assist is not None and build.motor is None:
        yield "motor", None, "a table [motor], since there is an assist", "nothing"


@rule(Build)
def _assist_has_a_sensor(build: Build) -> Iterator[Finding]:
    if build.assist is not None and build.sensor is None:
        yield "sensor", None, "a table [sensor], since there is an assist", "nothing"


@rule(Build)
def _driving_gains_fit_the_gears(build: Build) -> Iterator[Finding]:
    if build.assist is not None:
        yield from _fit("assist.driving_gain", build.assist.driving_gain, build)


@rule(Build)
def _resisting_gains_fit_the_gears(build: Build) -> Iterator[Finding]:
    if build.assist is not None:
        yield from _fit("assist.resisting_gain", build.assist.resisting_gain, build)


def _fit(path: str, gains: dict[str, float], build: Build) -> Iterator[Finding]:
    names = [gear.name for gear in build.gears.gear]
    for name in gains:
        if name not in names:
            yield f"{path}.{name}", None, f"one of the gears {', '.join(map(repr, names))}", f"{name!r}{nearest(name, names)}"
    for name in names:
        if name not in gains:
            yield f"{path}.{name}", None, "a gain for every gear (0 for none)", "nothing"


@rule(Datasheet)
def _a_number_says_its_convention(sheet: Datasheet) -> Iterator[Finding]:
    yield from _worded(sheet, "torque_constant", "torque_constant_per")
    yield from _worded(sheet, "resistance", "resistance_of")
    yield from _worded(sheet, "inductance", "inductance_of")
    if sheet.speed_constant is None and sheet.speed_constant_per is not None:
        yield "speed_constant", None, "a speed constant, since speed_constant_per is given", "nothing"
    if sheet.resistance is None and sheet.resistance_temperature is not None:
        yield "resistance", None, "a resistance, since resistance_temperature is given", "nothing"


@rule(Rated)
@rule(Stall)
def _a_current_says_its_convention(point: Rated | Stall) -> Iterator[Finding]:
    yield from _worded(point, "current", "current_in")


def _worded(sheet: Datasheet | Rated | Stall, number: str, word: str) -> Iterator[Finding]:
    """A number whose meaning hangs on a word needs the word, and the word is nothing without its number."""
    if getattr(sheet, number) is not None and getattr(sheet, word) is None:
        words = specs(type(sheet) if not isinstance(sheet, Partial) else sheet.record)[word].words
        yield word, None, f"one of {', '.join(map(repr, words))}, since {number} is given", "nothing"
    if getattr(sheet, number) is None and getattr(sheet, word) is not None:
        yield number, None, f"a number, since {word} is given", "nothing"


@rule(NoLoad)
def _a_run_has_its_voltage(run: NoLoad) -> Iterator[Finding]:
    if run.voltage is None and (run.speed is not None or run.current is not None):
        yield "voltage", None, "a voltage, since speed and current of a run without load belong to one", "nothing"


@rule(Build)
@rule(Case)
@rule(Datasheet)
def _spreads_belong_to_numbers(whole: Build | Case | Datasheet) -> Iterator[Finding]:
    if isinstance(whole, Partial) or not whole.spreads:
        return
    values = {path: (spec, value) for path, spec, value in leaves(whole)}
    for path, spread in whole.spreads.items():
        spec, value = values.get(path, (None, None))
        if spec is None or spec.form != "number" or spec.whole:
            yield path, None, "the path of a number that can be uncertain", f"a spread for {path!r}{nearest(path, values)}"
        elif not isinstance(spread, Spread) or value is None or not np.array_equal(value, spread.nominal):
            yield path, value, "the nominal value of its spread", f"{spread}"
