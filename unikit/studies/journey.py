"""What does a ride along a route cost, who pays it, how far do the packs go, and what is left in reserve at every metre?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import _journey as j
from ..inputs import Build, Case, Gear, Route
from .cells import aged
from .results import Result, shown
from .ride import usable_energy
from .riding import Ridden, Rides, prepare, run

CAUSES = (
    ("rolling", j.SUM_ROLLING),
    ("air", j.SUM_AIR),
    ("slope", j.SUM_SLOPE),
    ("bearings", j.SUM_BEARING),
    ("gear", j.SUM_GEAR),
    ("iron", j.SUM_IRON),
    ("copper", j.SUM_COPPER),
    ("bridge", j.SUM_BRIDGE),
    ("standby", j.SUM_STANDBY),
    ("packs and wires", j.SUM_PACK),
    ("brake", j.SUM_BRAKE),
    ("getting off", j.SUM_GETTING_OFF),
    ("speed at the end", j.SUM_KINETIC),
)


@dataclass(frozen=True)
class Journey(Result):
    """One ride along one route: energy by cause, who gave it, range, and the course over the distance."""

    route: str = shown("route")
    gear: str = shown("gear")
    length: u.Metre = shown("length", "km", 2)
    climb: u.Metre = shown("climb", "m", 0)
    time: u.Second = shown("time, with stops", "min")
    moving: u.Second = shown("of it moving", "min")
    mean_speed: u.MetrePerSecond = shown("mean speed while moving", "km/h")
    walked: u.Metre = shown("walked", "m", 0)
    consumption: u.JoulePerMetre = shown("from the cells", "Wh/km", 2)
    leg_share: u.Ratio = shown("leg share", "%", 0)
    legs: u.Joule = shown("work of the legs, driving", "Wh")
    legs_held_back: u.Joule = shown("work that the legs took up", "Wh")
    on_foot: u.Joule = shown("work on foot", "Wh")
    cells: u.Joule = shown("from the cells, net", "Wh")
    fed_back: u.Joule = shown("of it fed back", "Wh")
    rolling: u.Joule = shown("rolling", "Wh")
    air: u.Joule = shown("air", "Wh")
    slope: u.Joule = shown("slope, up less down", "Wh")
    uphill: u.Joule = shown("of it uphill alone", "Wh")
    bearing: u.Joule = shown("bearings", "Wh")
    acceleration: u.Joule = shown("put into speed, which braking and slowing give back", "Wh")
    gear_loss: u.Joule = shown("gear loss", "Wh")
    iron_loss: u.Joule = shown("iron loss", "Wh")
    copper_loss: u.Joule = shown("copper loss", "Wh")
    controller_loss: u.Joule = shown("controller loss and standby", "Wh")
    pack_loss: u.Joule = shown("heat in packs and wires", "Wh")
    brake: u.Joule = shown("heat in the brake and on getting off", "Wh")
    open_share: u.Ratio = shown("left open in the balance of energy", "%", 7)
    charge_end: u.Ratio = shown("charge at the end", "%")
    usable: u.Joule = shown("energy above what is held back, at the start", "Wh", 0)
    range: u.Metre = shown("range to the charge held back", "km")
    hottest_winding: u.Kelvin | None = shown("winding at its hottest", "°C", 0)
    hottest_magnets: u.Kelvin | None = shown("magnets at their hottest", "°C", 0)
    least_reserve: u.NewtonMetre | None = shown("least reserve at the worst crank angle", "N*m")
    least_reserve_at: u.Metre | None = shown("at", "km", 2)
    most_cut_out: u.NewtonMetre | None = shown("largest cut-out step", "N*m")
    most_cut_out_at: u.Metre | None = shown("there at", "km", 2)
    cut: u.Metre = shown("a limit of the motor is met on", "m", 0)
    over: u.Metre = shown("nothing holds the speed down on", "m", 0)
    least_work_left: u.Ratio = shown("least of the work above critical power left", "%", 0)
    not_counted: str | None = shown("not counted in the losses")
    distance: u.Metre = shown("distance", "km", 3)
    altitude: u.Metre = shown("altitude", "m")
    speed: u.MetrePerSecond = shown("speed", "km/h")
    pedal_torque: u.NewtonMetre = shown("pedal torque, mean", "N*m")
    motor_torque: u.NewtonMetre = shown("motor torque, mean", "N*m")
    trim: u.NewtonMetre = shown("trim torque", "N*m")
    reserve: u.NewtonMetre = shown("reserve", "N*m")
    braking_reserve: u.NewtonMetre = shown("reserve for braking", "N*m")
    cut_out_step: u.NewtonMetre = shown("cut-out step", "N*m")
    brake_torque: u.NewtonMetre = shown("brake torque", "N*m")
    battery_power: u.Watt = shown("power from the cells", "W", 0)
    charge: u.Ratio = shown("charge", "%")
    winding: u.Kelvin = shown("winding", "°C")
    magnets: u.Kelvin = shown("magnets", "°C")
    work_left: u.Ratio = shown("work above critical power left", "%")
    elapsed: u.Second = shown("time from the start", "min")
    on_the_way: np.ndarray = shown("how")


def study(
    build: Build,
    case: Case,
    route: Route,
    gear: Gear | None = None,
    powered: bool = True,
    progress: Callable[[float], object] | None = None,
    compiled: bool = True,
) -> Journey:
    """Ride a build along a route.

    The rider holds the wanted speed or the comfortable cadence, eases off at
    ``leg_power``, and gives up to ``hard_power`` where ``speed`` of the case would not be held, as
    long as work above critical power is left.  Before stops, limits and
    descents they slow down in time; what legs and motor do not hold back the
    brake does.  Where the legs cannot ride they walk.  Arrays have one entry a
    step; steps of the route above 25 m are cut.  Speed, charge and temperatures
    are those at its end.  Height and with it the air's density are those of the
    route.  The result says what a build states and its losses leave out.

    Args:
        build: the build; numbers are nominal ones.
        case: charge, wind, air, trim and pace; its slope, duration and distance are not asked for.
        route: the way.
        gear: the gear; the engaged one if left out.
        powered: whether the motor gives anything; without power it drags.
        progress: called with the share that is done; it may raise an error, such as KeyboardInterrupt, to stop.
        compiled: whether the compiled kernel is used where it is installed; the numbers are the same.
    """
    gear = gear or build.gears.named(build.gears.engaged)
    rides = prepare(build, case, route, gear, powered=powered)
    return told(build, case, route, gear, rides, run(rides, progress, compiled=compiled))


def left_open(totals: np.ndarray) -> np.ndarray:
    """What is given less what is taken, over the sum of all that was given."""
    given = totals[..., j.CELLS] + totals[..., j.LEGS_GIVE] - totals[..., j.LEGS_TAKE] + totals[..., j.ON_FOOT]
    taken = sum(totals[..., place] for _, place in CAUSES)
    size = np.abs(totals[..., j.CELLS]) + totals[..., j.LEGS_GIVE] + totals[..., j.LEGS_TAKE] + np.abs(totals[..., j.ON_FOOT])
    return (given - taken) / np.maximum(size, 1e-300)


def leg_share(totals: np.ndarray) -> np.ndarray:
    """Work of the legs at the wheel over that of legs and motor, while they drive."""
    both = totals[..., j.LEGS_AT_WHEEL] + totals[..., j.MOTOR_AT_WHEEL]
    return np.where(both > 0, totals[..., j.LEGS_AT_WHEEL] / np.where(both > 0, both, 1.0), 1.0)


def ranges(totals: np.ndarray, end: np.ndarray, length: float, held_back: u.Values, left: u.Values) -> np.ndarray:
    """Distance to the charge held back: where it was met, else as far as what is left goes at the mean consumption of the route."""
    met, mean = end[..., j.MET], totals[..., j.CELLS] / length
    on = np.where(mean > 0, left / np.where(mean > 0, mean, 1.0), np.inf)
    return np.where((met < end[..., j.GONE]) | (end[..., j.CHARGE_LEFT] <= held_back), met, length + on)


def not_counted(build: Build) -> str | None:
    """What the build says of its motor and the losses of a ride leave out, in words."""
    machine, controller = build.motor, build.controller
    if machine is None or controller is None:
        return None
    found = []
    if controller.weakening_current is not None and np.any(controller.weakening_current > 0):
        found.append("current that weakens the magnets where the voltage asks for it")
    if machine.direct_inductance is not None and np.any(machine.direct_inductance != machine.quadrature_inductance):
        found.append("torque that unlike inductances give")
    return " and ".join(found) or None


def told(build: Build, case: Case, route: Route, gear: Gear, rides: Rides, ridden: Ridden) -> Journey:
    """The march of one ride in words and units."""
    sums, end, extremes, kept = ridden.totals[0], ridden.end[0], ridden.extremes[0], ridden.kept
    motor = build.motor is not None and build.packs is not None
    route = rides.way
    there = route.distance[1:]
    capacity = rides.parameters[0, j.CAPACITY]
    usable = usable_energy(aged(build, case), case.state_of_charge) if motor else 0.0
    reach = np.inf
    if motor:
        left = usable_energy(aged(build, case), min(max(end[j.CHARGE_LEFT], 0.0), 1.0))
        reach = float(ranges(sums, end, route.length, build.packs.held_back, left))
    spare, step = kept[:, j.AT_RESERVE], np.abs(kept[:, j.AT_CUT_OUT])
    ridden_steps = kept[:, j.AT_WAY] == 0
    saddled = motor and bool(ridden_steps.any())
    narrow = int(np.argmin(np.where(ridden_steps, spare, np.inf)))
    return Journey(
        route=route.name,
        gear=gear.name,
        length=route.length,
        climb=route.climb,
        time=end[j.TIME],
        moving=sums[j.MOVING],
        mean_speed=route.length / sums[j.MOVING],
        walked=sums[j.WALKED],
        consumption=sums[j.CELLS] / route.length,
        leg_share=float(leg_share(sums)),
        legs=sums[j.LEGS_GIVE],
        legs_held_back=sums[j.LEGS_TAKE],
        on_foot=sums[j.ON_FOOT],
        cells=sums[j.CELLS],
        fed_back=sums[j.FED_BACK],
        rolling=sums[j.SUM_ROLLING],
        air=sums[j.SUM_AIR],
        slope=sums[j.SUM_SLOPE],
        uphill=sums[j.CLIMBED],
        bearing=sums[j.SUM_BEARING],
        acceleration=sums[j.GAINED],
        gear_loss=sums[j.SUM_GEAR],
        iron_loss=sums[j.SUM_IRON],
        copper_loss=sums[j.SUM_COPPER],
        controller_loss=sums[j.SUM_BRIDGE] + sums[j.SUM_STANDBY],
        pack_loss=sums[j.SUM_PACK],
        brake=sums[j.SUM_BRAKE] + sums[j.SUM_GETTING_OFF] + sums[j.SUM_KINETIC],
        open_share=float(left_open(sums)),
        charge_end=end[j.CHARGE_LEFT],
        usable=usable,
        range=reach,
        hottest_winding=extremes[j.HOTTEST_WINDING] if motor else None,
        hottest_magnets=extremes[j.HOTTEST_MAGNETS] if motor else None,
        least_reserve=extremes[j.LEAST_RESERVE] if saddled else None,
        least_reserve_at=there[narrow] if saddled else None,
        most_cut_out=extremes[j.MOST_CUT_OUT] if saddled else None,
        most_cut_out_at=there[int(np.argmax(step))] if saddled else None,
        cut=sums[j.CUT],
        over=sums[j.OVER],
        least_work_left=extremes[j.LEAST_WORK] / capacity,
        not_counted=not_counted(build) if motor else None,
        distance=there,
        altitude=route.altitude[1:],
        speed=kept[:, j.AT_SPEED],
        pedal_torque=kept[:, j.AT_PEDAL],
        motor_torque=kept[:, j.AT_MOTOR],
        trim=kept[:, j.AT_TRIM],
        reserve=spare,
        braking_reserve=kept[:, j.AT_BRAKING_RESERVE],
        cut_out_step=kept[:, j.AT_CUT_OUT],
        brake_torque=kept[:, j.AT_BRAKE],
        battery_power=kept[:, j.AT_POWER],
        charge=kept[:, j.AT_CHARGE],
        winding=kept[:, j.AT_WINDING],
        magnets=kept[:, j.AT_MAGNETS],
        work_left=kept[:, j.AT_WORK_LEFT] / capacity,
        elapsed=kept[:, j.AT_TIME],
        on_the_way=np.where(ridden_steps, "ridden", "walked"),
    )
