"""What a ride along a route is made of: build, case and route as the flat numbers that the march takes, for one ride or many.

Numbers of build and case may be arrays of draws, one entry a ride.  What the
packs can give and take is worked out beforehand by the same functions as in
every other study, over the charge; and what voltage and current allow a drive
with weakening, for a grid of rotation, charge and temperatures, and read between.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from ..formulas import _journey as j
from ..formulas import air, gearing, pedalling
from ..formulas.drive import MODULATION
from ..inputs import Build, Case, Gear, Route
from ..inputs import replace as varied
from ..inputs.paths import leaves
from ..inputs.route import make_route
from .cells import Stack, aged, joined, pack_temperature
from .drive import FLUX_LEFT, ROOM, drive
from .network import ALPHA, paths, sunshine
from .split import assist_gain, pulse_of

W = TypeVar("W", Build, Case)

CHARGES = np.array([0.0, 0.03, 0.08, 0.2, 0.5, 1.0])  # of the limits' table
NEAR_END = np.array([0.0, 0.0025, 0.005, 0.0075, 0.01, 0.0125, 0.015, 0.02, 0.025, 0.03, 0.035, 0.045, 0.05, 0.06, 0.07])
LEVELS = np.concatenate([NEAR_END, np.arange(0.04, 0.97, 0.02), 1 - NEAR_END])  # of charge, for what the packs give and take
TURNINGS, SPEEDS = 25, 9  # rotations of the limits' table, and speeds of the conductances
COLDEST, WARMER = 223.15, 30.0  # K: where that table begins, and how far above the magnets' limit it ends
QUICKER, SLOWER = 0.4, 0.5  # m/s^2 that the rider takes: a lean of two to three degrees; chosen, no source
WALK = 1.1  # m/s on foot with the machine; chosen, no source
LOWEST_CADENCE = 20 * np.pi / 30  # below it the rider gets off, if the case does not say; chosen, no source
NO_CAP = 1e9  # N m, for none: derating leaves nothing of it
LONGEST_STEP = 25.0  # m: longer ones are cut
SLOWEST, LONGEST_STOP = 0.5, 86400.0  # m/s below which nobody keeps upright, and s
QUICKEST = 1.0  # 1/s: bodies that follow more quickly count with as much capacity as makes them as slow; no step of a ride tells them apart
EFFORT = 300.0  # s: hard power is what work capacity and critical power give for so long, if the case does not say
LINKS = (
    ("winding", "stator"),
    ("stator", "housing"),
    ("housing", "air"),
    ("magnets", "housing"),
    ("stator", "magnets"),
    ("winding", "housing"),
    ("stator", "air"),
)


@dataclass(frozen=True)
class Rides:
    """Arguments of the march: rides along the first axis, one row where all are alike."""

    parameters: np.ndarray
    route: np.ndarray
    ceiling: np.ndarray
    pack: np.ndarray
    conductance: np.ndarray
    high: np.ndarray
    low: np.ndarray
    points: np.ndarray
    start: np.ndarray
    way: Route  # the route with long steps cut

    def __len__(self) -> int:
        return len(self.parameters)


def prepare(build: Build, case: Case, route: Route, gear: Gear | None = None, count: int = 1, powered: bool = True) -> Rides:
    """Build, case and route as the march takes them; ``count`` rides where numbers are arrays of draws.

    Without power the motor is there, and its iron drags, but it gives nothing.
    """
    gear = gear or build.gears.named(build.gears.engaged)
    _checked(case, route)
    route = cut(route)
    build = aged(build, case)
    p = np.zeros((count, j.PARAMETERS))
    _of_rider(p, build, case, gear)
    steps = _of_route(route)
    ceiling = ceilings(build, case, route, gear, count)
    start = np.zeros((count, j.STATE))
    start[:, j.WORK_LEFT] = build.rider.work_capacity
    start[:, [j.WINDING, j.STATOR, j.MAGNETS, j.HOUSING]] = np.reshape(
        case.air_temperature if case.winding_start is None else case.winding_start, (-1, 1)
    )
    one, nothing = np.zeros((1, 6, 2)), np.zeros((1, 4 * len(CHARGES), 2))
    one[:, 0] = 0.0, 1.0
    if build.motor is None or build.packs is None or build.controller is None:
        p[:, j.TURNING_STEP] = p[:, j.SPEED_STEP] = p[:, j.FAST_TIME] = p[:, j.SLOW_TIME] = 1.0
        p[:, j.HOT_WINDING] = p[:, j.HOT_MAGNETS] = 1.0
        return Rides(p, steps, ceiling, one, np.zeros((1, len(LINKS), 2)), nothing, nothing, CHARGES, start, route)
    start[:, j.CHARGE_LEFT] = case.state_of_charge if powered else 0.0
    fastest = 1.3 * ceiling.max() / np.min(build.wheel.radius)
    _of_machine(p, build, case)
    p[:, j.TURNING_STEP] = fastest / (TURNINGS - 1)
    p[:, j.SPEED_STEP] = fastest * np.max(build.wheel.radius) / (SPEEDS - 1)
    packs = _of_packs(p, build, case, count)
    high, low = _limits(p, build, case, fastest, count) if p[:, j.WEAKENING].any() else (nothing, nothing)
    conductance = _links(p, build, case, count)
    points = np.interp(CHARGES, packs[0, 0], packs[0, 1])  # what the voltage allows follows the voltage more closely than the charge
    return Rides(p, steps, ceiling, packs, conductance, high, low, points, start, route)


def _checked(case: Case, route: Route) -> None:
    if case.wind_speed is not None and case.wind_from is None:
        raise ValueError("case.wind_from must say where the wind comes from, since case.wind_speed is given")
    if case.wind_speed is not None and np.isnan(route.heading).any():
        raise ValueError(f"route {route.name!r} does not say where it heads: give the case a head_wind in the place of wind_speed")
    if np.any(np.asarray(case.wanted_speed) < SLOWEST):
        raise ValueError(f"case.wanted_speed must be at least {SLOWEST} m/s along a route, got {np.min(case.wanted_speed):.3g} m/s")
    if np.any(route.speed_limit < SLOWEST):
        raise ValueError(
            f"route {route.name!r}: speed_limit must be at least {SLOWEST} m/s everywhere, got {route.speed_limit.min():.3g} m/s; "
            "where nobody rides put a stop"
        )
    if np.any(route.stop > LONGEST_STOP):
        raise ValueError(f"route {route.name!r}: a stop must last at most {LONGEST_STOP:.0f} s, a day, got {route.stop.max():.3g} s")


def cut(route: Route) -> Route:
    """The route with long steps cut into equal parts, and a step from one stop to the next at least in four: the ride is even in a step."""
    standing = route.stop > 0
    standing[[0, -1]] = True
    parts = np.ceil(route.step / LONGEST_STEP).astype(int)
    parts = np.where(standing[:-1] & standing[1:], np.maximum(parts, 4), parts)
    if np.all(parts == 1):
        return route
    step = np.repeat(np.arange(len(parts)), parts)
    first = np.cumsum(parts) - parts
    share = (np.arange(len(step)) - first[step]) / parts[step]
    place = np.append(step + share, len(parts))  # of the points, in numbers of the old ones
    old = np.arange(len(parts) + 1)
    inner = np.append(share > 0, False)
    before = np.append(step, len(parts))
    after = np.minimum(before + 1, len(parts))
    limit = np.where(inner, np.maximum(route.speed_limit[before], route.speed_limit[after]), route.speed_limit[before])
    between = lambda values: None if values is None else np.interp(place, old, values)
    return make_route(
        route.name,
        route.source,
        between(route.distance),
        between(route.altitude),
        route.notes,
        speed_limit=limit,
        stop=np.where(inner, 0.0, route.stop[before]),
        latitude=between(route.latitude),
        longitude=between(route.longitude),
        **{key: getattr(route, key)[step] for key in ("heading", "surface", "shelter")},
    )


def ceilings(build: Build, case: Case, route: Route, gear: Gear, count: int = 1) -> np.ndarray:
    """Speeds at the points that the rider does not pass: cadence, limits of the route, descents, and braking in time for what comes."""
    wheel = build.wheel.radius
    level = np.minimum(gearing.speed(build.rider.comfortable_cadence, wheel, gear.ratio), case.wanted_speed)
    down = build.rider.comfortable_cadence if case.descent_cadence is None else case.descent_cadence
    downhill = np.minimum(gearing.speed(down, wheel, gear.ratio), case.wanted_speed)
    # a point belongs to the steeper descent of the two steps beside it
    falls = route.slope < -0.5 * np.mean(build.wheel.rolling_coefficient)
    point = np.concatenate([falls, [False]]) | np.concatenate([[False], falls])
    level, downhill = (np.reshape(value, (-1, 1)) for value in (level, downhill))
    most = np.where(point, downhill, level) * np.ones((1, len(point)))
    most = np.minimum(most, route.speed_limit)
    most[:, route.stop > 0] = 0.0
    most[:, -1] = 0.0
    # speed squared falls by at most 2 a s: the least over all that comes
    reach = np.minimum.accumulate((most**2 + 2 * SLOWER * route.distance)[:, ::-1], axis=1)[:, ::-1]
    return np.sqrt(np.maximum(reach - 2 * SLOWER * route.distance, 0.0))


def _of_route(route: Route) -> np.ndarray:
    columns = np.zeros((j.ROUTE, len(route.step)))
    slope = route.slope
    middle = (route.altitude[1:] + route.altitude[:-1]) / 2
    columns[j.LENGTH] = route.step
    columns[j.COSINE] = 1 / np.sqrt(1 + slope**2)
    columns[j.SINE] = slope * columns[j.COSINE]
    columns[j.PRESSURE] = air.density_at(middle, ROOM) * ROOM  # density times temperature
    heading = np.nan_to_num(route.heading)
    columns[j.NORTH], columns[j.EAST] = route.shelter * np.cos(heading), route.shelter * np.sin(heading)
    columns[j.SHELTER], columns[j.SURFACE] = route.shelter, route.surface
    columns[j.STOP] = route.stop[1:]
    columns[j.STOP, -1] = 0.0  # the ride is over there
    return columns


def _of_rider(p: np.ndarray, build: Build, case: Case, gear: Gear) -> None:
    rider, wheel, cranks = build.rider, build.wheel, build.cranks
    scale = cranks.length / cranks.reference_length
    power = rider.critical_power if case.leg_power is None else case.leg_power
    hard = pedalling.sustainable_power(EFFORT, rider.critical_power, rider.work_capacity) if case.hard_power is None else case.hard_power
    lowest = LOWEST_CADENCE if case.lowest_cadence is None else case.lowest_cadence
    turned = wheel.inertia + (build.motor.rotor_inertia if build.motor else 0.0)
    with_motor = build.motor is not None and build.packs is not None
    blowing = case.wind_speed is not None
    low, swing, share = pulse_of(build)
    for place, value in {
        j.MASS: build.total_mass,
        j.HEAVY: build.total_mass + turned / wheel.radius**2,
        j.RADIUS: wheel.radius,
        j.ROLLING: wheel.rolling_coefficient,
        j.DRAG_AREA: rider.drag_area,
        j.BEARING: wheel.bearing_drag,
        j.BEARING_PER_SPEED: wheel.bearing_drag_per_speed,
        j.RATIO: gear.ratio,
        j.EFFICIENCY: gear.efficiency,
        j.DRIVING_GAIN: assist_gain(build, gear) if with_motor else 0.0,
        j.RESISTING_GAIN: assist_gain(build, gear, resisting=True) if with_motor else 0.0,
        j.STRENGTH: rider.zero_cadence_torque * scale,
        j.FASTEST: rider.zero_torque_cadence / scale,
        j.BACKWARD: rider.backward_strength,
        j.CRITICAL: rider.critical_power,
        j.CAPACITY: rider.work_capacity,
        j.LEG_POWER: power,
        j.HARD_POWER: np.maximum(hard, power),
        j.PACE: np.minimum(case.speed, case.wanted_speed),
        j.LOWEST: gearing.speed(lowest, wheel.radius, gear.ratio),
        j.WALK: WALK,
        j.QUICKER: QUICKER,
        j.BRAKE: 0.0 if build.brake.kind == "none" else build.brake.greatest_torque,
        j.AIR: case.air_temperature,
        j.WIND_NORTH: case.wind_speed * np.cos(case.wind_from) if blowing else 0.0,
        j.WIND_EAST: case.wind_speed * np.sin(case.wind_from) if blowing else 0.0,
        j.HEAD_WIND: 0.0 if blowing else case.head_wind,
        j.CROSS_WIND: 0.0 if blowing else case.cross_wind,
        j.FLOOR: low,
        j.SWING: swing,
        j.FELT: share,
        j.QUICKEST: 0.0,
    }.items():
        p[:, place] = value
    if build.assist is not None and with_motor:
        p[:, j.TRIM_POLICY] = ("none", "steps", "level").index(case.trim)
        p[:, j.TRIM_STEP], p[:, j.TRIM_CAP] = build.assist.trim_step, build.assist.trim_cap


def _of_machine(p: np.ndarray, build: Build, case: Case) -> None:
    machine, controller = build.motor, build.controller
    winding = lambda celsius: 1 + ALPHA * (celsius - ROOM)
    reference = machine.reference_temperature
    ring = 0.0 if machine.magnet_capacity is None else machine.magnet_capacity
    frequency = np.inf if controller.electrical_frequency_limit is None else controller.electrical_frequency_limit
    for place, value in {
        j.HAS_MOTOR: 1.0,
        j.TORQUE_CAP: build.assist.torque_cap if build.assist else NO_CAP,
        j.DERATING_START: controller.derating_start,
        j.DERATING_END: controller.derating_end,
        j.CONSTANT: machine.torque_constant_peak,
        j.CONSTANT_GROWTH: machine.magnet_temperature_coefficient,
        j.LEAST_CONSTANT: FLUX_LEFT * machine.torque_constant_peak,
        j.SATURATION: 0.0 if machine.saturation_current is None else 1 / machine.saturation_current,
        j.WINDING_RESISTANCE: machine.phase_resistance,
        j.WINDING_GROWTH: ALPHA / winding(reference),
        j.REFERENCE: reference,
        j.BRIDGE_RESISTANCE: controller.bridge_resistance,
        j.HYSTERESIS: machine.hysteresis_torque,
        j.EDDY: machine.eddy_drag,
        j.STANDBY: controller.standby_power,
        j.HELD_BACK: build.packs.held_back,
        j.SUN: sunshine(build, case),
        j.WINDING_CAPACITY: machine.winding_capacity,
        j.STATOR_CAPACITY: machine.stator_capacity,
        j.RING_CAPACITY: ring,
        j.HOUSING_CAPACITY: machine.housing_capacity,
        j.COLD_WINDING: COLDEST,
        j.HOT_WINDING: controller.derating_end,
        j.COLD_MAGNETS: COLDEST,
        j.HOT_MAGNETS: machine.magnet_limit + WARMER,
        j.PHASE_LIMIT: controller.phase_current_limit,
        j.POLES: machine.pole_pairs,
        j.INDUCTANCE: machine.quadrature_inductance,
        j.SHARE: MODULATION[controller.modulation],
        j.WEAKENING: 0.0 if controller.weakening_current is None else controller.weakening_current,
        j.FASTEST_TURNING: 2 * np.pi * frequency / machine.pole_pairs,
    }.items():
        p[:, place] = value


def repeated(whole: W, times: int) -> W:
    """The same with every array of draws repeated entry by entry, so that a grid fits beside it."""
    arrays = {path: np.repeat(value, times) for path, spec, value in leaves(whole) if spec.form == "number" and np.ndim(value) == 1}
    return varied(whole, arrays) if arrays else whole


def _grid(build: Build, case: Case, count: int, *axes: np.ndarray):
    """Build and case beside a grid of further numbers: all flat, rides first; and the shape to put results into."""
    spread = any(np.ndim(value) == 1 and spec.form == "number" for whole in (build, case) for _, spec, value in leaves(whole))
    rides = count if spread else 1
    size = int(np.prod([len(axis) for axis in axes]))
    flat = [np.tile(part.ravel(), rides) for part in np.meshgrid(*axes, indexing="ij")]
    return repeated(build, size), repeated(case, size), flat, (rides, *(len(axis) for axis in axes))


def _of_packs(p: np.ndarray, build: Build, case: Case, count: int) -> np.ndarray:
    """Charge, voltage at rest, ohmic and delayed resistance, most and least power of all packs together, by charge; charge and times."""
    charges = np.unique(np.concatenate([LEVELS, *(one.curve_charge for one in build.packs.pack)]))
    wide, there, (level,), shape = _grid(awake(build), case, count, charges)
    temperature = pack_temperature(there)
    stack = Stack(wide.packs, temperature)
    at_once, lasting = joined(stack, level), joined(stack, level, np.inf)
    state = drive(wide, level, lasting=temperature)
    source, inner = state.open_circuit_voltage, state.pack_resistance
    most = np.minimum(state.battery_current_limit, source / (2 * inner))  # beyond it more current gives less power
    feeding = state.charge_current_limit
    found = np.zeros((shape[0], 6, len(charges)))
    for place, value in enumerate((
        level, at_once.voltage, at_once.resistance, lasting.resistance - at_once.resistance,
        most * (source - inner * most), -feeding * (source + inner * feeding),
    )):  # fmt: skip
        found[:, place] = np.broadcast_to(value, level.shape).reshape(shape)
    each = [one.cell_capacity * one.parallel for one in build.packs.pack]
    # in series the weakest ends it for all
    p[:, j.CHARGE] = np.min(np.broadcast_arrays(*each), axis=0) if build.packs.joined == "series" else sum(each)
    fast, slow, quick, late = (
        sum(0.0 if getattr(one, name) is None else getattr(one, name) for one in build.packs.pack)
        for name in ("fast_resistance", "slow_resistance", "fast_time", "slow_time")
    )
    p[:, j.FAST_SHARE] = np.where(np.add(fast, slow) > 0, fast / np.where(np.add(fast, slow) > 0, np.add(fast, slow), 1.0), 0.0)
    p[:, j.FAST_TIME], p[:, j.SLOW_TIME] = (np.maximum(time / len(build.packs.pack), 1e-3) for time in (quick, late))
    return found


def awake(build: Build) -> Build:
    """The build with electronics that draw nothing at rest: the march itself sees where packs do not keep them up."""
    return varied(build, {"controller.standby_power": 0.0})


def _limits(p: np.ndarray, build: Build, case: Case, fastest: float, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Greatest and lowest motor torque of a drive with weakening that current and voltage allow, over charge, temperatures and rotation.

    What packs, cap, derating and the controller's frequency allow the march works out itself.
    """
    warmth = np.arange(4.0)
    turning = np.linspace(0.0, fastest, TURNINGS)
    wide, there, (level, state, rotation), shape = _grid(awake(build), case, count, CHARGES, warmth, turning)
    hot_winding, hot_magnets = (np.repeat(p[: shape[0], place], level.size // shape[0]) for place in (j.HOT_WINDING, j.HOT_MAGNETS))
    winding, magnets = np.where(state >= 2, hot_winding, COLDEST), np.where(state % 2 == 1, hot_magnets, COLDEST)
    found = drive(wide, level, winding, magnets, lasting=pack_temperature(there))
    free = {"torque_cap": np.inf, "derating": 1.0, "battery_current_limit": np.inf, "charge_current_limit": np.inf}
    with np.errstate(over="ignore"):
        found = replace(found, electrical_frequency_limit=np.inf, **free).limits(rotation)
    rows = (shape[0], len(CHARGES) * len(warmth), TURNINGS)
    return found.highest.reshape(rows), found.lowest.reshape(rows)


def _links(p: np.ndarray, build: Build, case: Case, count: int) -> np.ndarray:
    """Conductances of the motor's paths over speed; the rate of the quickest body into the rows."""
    speeds = p[0, j.SPEED_STEP] * np.arange(SPEEDS)
    wide, there, (speed,), shape = _grid(build, case, count, speeds)
    found = paths(wide, speed, there.air_temperature)
    table = np.zeros((shape[0], len(LINKS), SPEEDS))
    for place, name in enumerate(LINKS):
        if name in found:
            table[:, place] = np.broadcast_to(found[name], speed.shape).reshape(shape)
    most = table.max(axis=-1).T
    machine = build.motor
    joints = {
        j.WINDING_CAPACITY: most[0] + most[5],
        j.STATOR_CAPACITY: most[0] + most[1] + most[4] + most[6],
        j.HOUSING_CAPACITY: most[1] + most[2] + most[3] + most[5],
    }
    if machine.magnet_capacity is None:
        joints[j.HOUSING_CAPACITY] = joints[j.HOUSING_CAPACITY] + most[4]
    else:
        joints[j.RING_CAPACITY] = most[3] + most[4]
    for place, joint in joints.items():
        p[:, place] = np.maximum(p[:, place], joint / QUICKEST)
    # no eigenvalue is above twice the greatest rate
    p[:, j.QUICKEST] = 2 * np.max([joint / p[:, place] for place, joint in joints.items()], axis=0)
    return table


@dataclass(frozen=True)
class Ridden:
    """What came of rides: sums, ends and extremes by the places of the march, rides along the first axis; the course of a single one."""

    totals: np.ndarray
    end: np.ndarray
    extremes: np.ndarray
    kept: np.ndarray | None = None


def _room(rides: Rides) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    totals, extremes = np.zeros((len(rides), j.TOTALS)), np.zeros((len(rides), j.EXTREMES))
    extremes[:, j.LEAST_RESERVE] = extremes[:, j.LEAST_WORK] = np.inf
    return rides.start.copy(), totals, extremes


def is_compiled() -> bool:
    """Whether rides are marched by compiled code here: some thirty times as fast, with the same numbers."""
    return j.compiled() is not None


def run(rides: Rides, progress: Callable[[float], object] | None = None, piece: int = 2000, compiled: bool = True) -> Ridden:
    """One ride with its course, in pieces; ``progress`` hears the share that is done, and may raise to stop."""
    kernel = j.compiled() if compiled else None
    state, totals, extremes = _room(rides)
    steps = rides.route.shape[1]
    kept = np.zeros((steps, j.KEPT))
    tables = (rides.pack[0], rides.conductance[0], rides.high[0], rides.low[0], rides.points)
    given = [rides.parameters[0], rides.route, rides.ceiling[0], tables, state[0], totals[0], extremes[0], kept, np.zeros(j.HERE)]
    if kernel is None:  # lists of floats are what plain Python is quickest with
        given = [tuple(part.tolist() for part in one) if isinstance(one, tuple) else one.tolist() for one in given]
    for first in range(0, steps, piece):
        (kernel or j).march(*given, first, min(first + piece, steps))
        if progress is not None:
            progress(min(first + piece, steps) / steps)
    end, totals, extremes, kept = (np.asarray(array, float) for array in given[-5:-1])
    return Ridden(totals[None], end[None], extremes[None], kept)


def run_many(rides: Rides, compiled: bool = True) -> Ridden:
    """Many rides without their courses."""
    kernel = j.compiled() if compiled else None
    state, totals, extremes = _room(rides)
    given = [rides.parameters, rides.route, rides.ceiling, rides.pack, rides.conductance, rides.high, rides.low]
    given += [rides.points, state, totals, extremes, np.zeros((1, j.KEPT)), np.zeros(j.HERE)]
    if kernel is None:
        given = [array.tolist() for array in given]
    (kernel or j).march_many(*given)
    end, totals, extremes = (np.asarray(array, float) for array in given[-5:-2])
    return Ridden(totals, end, extremes)
