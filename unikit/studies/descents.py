"""Who holds back on a steady descent, where does its energy go, and what if the packs are full at the top?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from .. import units as u
from ..formulas.road import slope_angle
from ..inputs import Build, Case, Gear
from ..inputs.variants import refuse_draws
from ..units import Values
from . import leverage
from .cells import aged
from .cut_out import short_circuit
from .descending import March, Road, charge_as_asked, march, pedals_held
from .loads import loads
from .results import Result, shown

TOPS = (1.0, 0.99, 0.98, 0.97, 0.96, 0.95, 0.9, 0.8)
SHARES = ("rolling", "air", "bearing", "legs", "gear_loss", "iron_loss", "copper_loss", "electronics", "pack_loss", "stored", "brake")


@dataclass(frozen=True)
class Energies(Result):
    """Energy of a steady descent by cause, each by its own formula."""

    height: u.Joule = shown("energy of the height", "Wh", 2)
    rolling: u.Joule = shown("of it rolling", "Wh", 2)
    air: u.Joule = shown("of it air", "Wh", 2)
    bearing: u.Joule = shown("of it bearings", "Wh", 2)
    legs: u.Joule = shown("of it taken up by the legs", "Wh", 2)
    gear_loss: u.Joule = shown("of it loss of the gear", "Wh", 2)
    iron_loss: u.Joule = shown("of it iron of the motor", "Wh", 2)
    copper_loss: u.Joule = shown("of it copper of the motor", "Wh", 2)
    electronics: u.Joule = shown("of it electronics", "Wh", 2)
    pack_loss: u.Joule = shown("of it heat in packs and wires", "Wh", 2)
    stored: u.Joule = shown("of it stored in the cells", "Wh", 2)
    brake: u.Joule = shown("of it heat of the brake", "Wh", 2)
    unaccounted: u.Ratio = shown("not accounted for, of the height", "", 9)


@dataclass(frozen=True)
class ByCharge(Result):
    """Who holds back and where the power goes at every charge of the packs; powers in the order of ``SHARES``."""

    charge: u.Ratio = shown("charge", "%", 2)
    foot: u.Newton = shown("foot force", "N")
    motor: u.NewtonMetre = shown("motor torque", "N*m", 2)
    brake: u.NewtonMetre = shown("torque of the brake", "N*m", 2)
    way_as_asked: u.Metre = shown("way until the motor brakes less than asked", "km", 3)
    powers: np.ndarray | None = None


@dataclass(frozen=True)
class Descent(Energies):
    """A steady descent of the case's distance at its speed."""

    gear: str = shown("gear")
    slope: u.Slope = shown("slope", "%")
    speed: u.MetrePerSecond = shown("speed", "km/h")
    length: u.Metre = shown("length of the descent", "km", 2)
    drop: u.Metre = shown("height of the descent", "m", 0)
    duration: u.Second = shown("time of the descent", "min")
    asked: u.NewtonMetre = shown("wheel torque that the road asks", "N*m")
    cadence: u.RadianPerSecond = shown("cadence", "rpm", 0)
    cadence_limit: u.RadianPerSecond = shown("cadence not to be passed", "rpm", 0)
    start_charge: u.Ratio = shown("charge at the top", "%")
    end_charge: u.Ratio = shown("charge at the bottom", "%")
    foot_start: u.Newton = shown("foot force at the top", "N", 0)
    foot_end: u.Newton = shown("foot force at the bottom", "N", 0)
    foot_alone: u.Newton = shown("foot force if the motor stops", "N", 0)
    pedal_greatest: u.NewtonMetre = shown("crank torque of the legs, holding back, at most", "N*m")
    pedal_comfort: u.NewtonMetre = shown("what they hold for long", "N*m")
    pedal_strength: u.NewtonMetre = shown("what they hold for a moment", "N*m")
    legs_held: str = shown("legs")
    motor_start: u.NewtonMetre = shown("motor torque at the top", "N*m")
    motor_end: u.NewtonMetre = shown("motor torque at the bottom", "N*m")
    motor_by: str = shown("motor's braking at the bottom")
    brake_greatest: u.NewtonMetre = shown("torque of the brake, at most", "N*m")
    brake_power: u.Watt = shown("power of the brake, at most", "W", 0)
    charging: u.Watt = shown("power into the cells, at most", "W", 0)
    charge_as_asked: u.Ratio = shown("charge up to which the motor brakes as asked", "%")
    as_asked_by: str = shown("ended there by")
    way_as_asked: u.Metre = shown("way until the motor brakes less than asked", "km", 2)
    charge_to_leave: u.Ratio = shown("charge to leave out at the top, for the whole descent", "%")
    full_motor: u.NewtonMetre = shown("motor torque with full packs", "N*m")
    full_foot: u.Newton = shown("foot force with full packs", "N", 0)
    full_brake: u.Watt = shown("power of the brake with full packs", "W", 0)
    short_torque: u.NewtonMetre | None = shown("a shorted winding would brake with, see cut-out", "N*m")
    distance: u.Metre = shown("distance", "km", 3)
    charge: u.Ratio = shown("charge", "%", 2)
    motor_over: u.NewtonMetre = shown("motor torque", "N*m", 2)
    foot_over: u.Newton = shown("foot force", "N")
    brake_over: u.NewtonMetre = shown("torque of the brake", "N*m", 2)
    cells_over: u.Watt = shown("power into the cells", "W", 1)
    by_charge: ByCharge
    SHARES: ClassVar[tuple[str, ...]] = SHARES


@dataclass(frozen=True)
class Tops(Result):
    """The same descent begun at several charges."""

    start_charge: u.Ratio = shown("charge at the top", "%")
    end_charge: u.Ratio = shown("at the bottom", "%")
    way_as_asked: u.Metre = shown("braked as asked for", "km", 2)
    stored: u.Joule = shown("stored", "Wh", 2)
    legs: u.Joule = shown("taken up by the legs", "Wh", 2)
    brake: u.Joule = shown("heat of the brake", "Wh", 2)
    foot: u.Newton = shown("foot force, at most", "N", 0)
    brake_power: u.Watt = shown("power of the brake, at most", "W", 0)


@dataclass(frozen=True)
class _Whole:
    """Road, march and what they begin from."""

    road: Road
    march: March
    start: float
    as_asked: float
    by: str

    @property
    def speed(self) -> float:
        return self.road.case.speed

    def way_as_asked(self, start: Values) -> np.ndarray:
        """Way from charges at the top until the motor brakes less than asked."""
        start = np.asarray(start, float)
        if np.isnan(self.as_asked):
            return 0.0 * start
        if self.as_asked >= 1.0 or self.march.way <= 0:
            return np.where(start > self.as_asked, 0.0, np.inf)
        return np.where(start > self.as_asked, 0.0, self.speed * self.march.time_between(start, self.as_asked))

    def energies(self, start: float, time: float) -> tuple[float, dict[str, float]]:
        """Charge at the bottom and energies by cause."""
        end, found = self.march.energies(start, time)
        if self.march.way < 0 and self.march.first == 0 and self.march.time_between(start, end) < time * (1 - 1e-9):
            raise ValueError(
                f"case {self.road.case.name!r}: the packs are empty before its {self.speed * time / 1000:.3g} km are over; "
                "this slope charges nothing"
            )
        force, length = loads(self.road.build, self.road.case), self.speed * time
        parts = {
            "height": -force.slope * length,
            "rolling": force.rolling * length,
            "air": force.air * length,
            "bearing": force.bearing * length,
            "electronics": found["bridge_loss"] + found["standby"],
        } | {name: found[name] for name in ("legs", "gear_loss", "iron_loss", "copper_loss", "pack_loss", "stored", "brake")}
        parts = {name: float(value) for name, value in parts.items()}
        return end, parts | {"unaccounted": (parts["height"] - sum(parts[name] for name in SHARES)) / parts["height"]}


def _whole(build: Build, case: Case, gear: Gear | None) -> _Whole:
    refuse_draws("descents", build, case)
    if case.slope >= 0:
        raise ValueError(f"case {case.name!r}: slope is {100 * case.slope:.3g} %, and the descents study needs one below 0")
    if case.speed <= 0:
        raise ValueError(f"case {case.name!r}: speed is 0, and the descents study needs one above 0")
    if case.distance <= 0:
        raise ValueError(f"case {case.name!r}: distance is 0, and the descents study needs one above 0")
    road = Road(aged(build, case), case, gear or build.gears.named(build.gears.engaged))
    as_asked, by = charge_as_asked(road)
    marks = () if np.isnan(as_asked) else (as_asked,)
    return _Whole(road, march(road, *marks), float(case.state_of_charge), as_asked, by)


def study(build: Build, case: Case, gear: Gear | None = None, points: int = 61) -> Descent:
    """Descend the case's distance on its slope at its speed, from its charge.

    Speed is kept all the way; whoever must hold back for it does.  The packs'
    resistance is that of a load that lasts, winding and magnets stay as warm
    as they are at the start.  Packs that differ are taken as equally charged.
    """
    whole = _whole(build, case, gear)
    road, walk, case = whole.road, whole.march, whole.road.case
    time = case.distance / case.speed
    end, parts = whole.energies(whole.start, time)
    crank, edges = road.build.cranks.length, walk.held
    distance = np.linspace(0.0, case.distance, points)
    charge = walk.charge_after(whole.start, distance / case.speed)
    over = lambda values: walk.at(charge, values)
    pedal, motor, brake = over(edges.split.pedal_torque), over(edges.split.motor_torque), over(edges.brake)
    cells = -over(edges.split.battery_power)
    full = lambda values: float(walk.at(1.0, values))
    state = road.state
    limits = walk.at(end, edges.split.lowest) if state else 0.0
    left = _to_leave(whole, time)
    limit = road.build.rider.comfortable_cadence if case.descent_cadence is None else case.descent_cadence
    return Descent(
        **parts,
        gear=road.gear.name,
        slope=case.slope,
        speed=case.speed,
        length=case.distance,
        drop=float(case.distance * np.sin(-slope_angle(case.slope))),
        duration=time,
        asked=road.asked,
        cadence=road.cadence,
        cadence_limit=float(limit),
        start_charge=whole.start,
        end_charge=end,
        foot_start=float(pedal[0] / crank),
        foot_end=float(pedal[-1] / crank),
        foot_alone=float(leverage.cut_out(road.build, road.gear, case).pedal_torque / crank),
        pedal_greatest=float(max(-pedal.min(), 0.0)),
        pedal_comfort=road.comfort,
        pedal_strength=road.strength,
        legs_held=str(pedals_held(road, pedal.min())),
        motor_start=float(motor[0]),
        motor_end=float(motor[-1]),
        motor_by=_ended(whole, end, limits),
        brake_greatest=float(brake.max()),
        brake_power=float(brake.max() * road.rotation),
        charging=float(max(cells.max(), 0.0)),
        charge_as_asked=whole.as_asked,
        as_asked_by=whole.by,
        way_as_asked=float(whole.way_as_asked(whole.start)),
        charge_to_leave=left,
        full_motor=full(edges.split.motor_torque),
        full_foot=full(edges.split.pedal_torque) / crank,
        full_brake=full(edges.brake) * road.rotation,
        short_torque=None if state is None else float(short_circuit(state, road.rotation)[0]),
        distance=distance,
        charge=charge,
        motor_over=motor,
        foot_over=pedal / crank,
        brake_over=brake,
        cells_over=cells,
        by_charge=_by_charge(whole),
    )


def _ended(whole: _Whole, charge: float, lowest: float) -> str:
    """In words, what limits the motor's braking at a charge."""
    if whole.road.build.motor is None:
        return "no motor"
    if whole.road.wanted >= 0:
        return "none asked"
    if lowest <= whole.road.wanted:
        return "as asked"
    return str(whole.road.drive(charge).limits(whole.road.rotation).lowest_by)


def _to_leave(whole: _Whole, time: float) -> float:
    """Charge missing from full at the top with which the motor brakes as asked for a time; nan where no charge is low enough."""
    if np.isnan(whole.as_asked):
        return np.nan
    if whole.as_asked >= 1.0 or whole.march.way <= 0:
        return 0.0
    if time > whole.march.time_between(float(whole.march.edges[whole.march.first]), whole.as_asked):
        return np.nan
    return 1.0 - float(whole.march.charge_after(whole.as_asked, -time))


def charge_to_leave(build: Build, case: Case, drop: float, gear: Gear | None = None) -> u.Ratio:
    """Charge to leave out of full packs at the top, so that the motor brakes as asked over a whole descent of so many metres of height.

    nan where the motor brakes less than asked at any charge, or no charge is low enough for such a height.
    """
    if not drop > 0:
        raise ValueError(f"drop must be above 0 m, got {drop}")
    whole = _whole(build, case, gear)
    return _to_leave(whole, drop / np.sin(-slope_angle(case.slope)) / case.speed)


def _by_charge(whole: _Whole) -> ByCharge:
    """Who holds back and where the power goes at every charge, whatever the descent's length."""
    road, walk = whole.road, whole.march
    force, held = loads(road.build, road.case), walk.held
    named = {name: getattr(force, name) * road.case.speed for name in ("rolling", "air", "bearing")}
    named |= {"electronics": held.power("bridge_loss") + held.power("standby"), "stored": -np.asarray(held.power("battery_power"))}
    flat = lambda values: np.broadcast_to(values, walk.edges.shape)
    powers = [flat(named[name] if name in named else held.power(name)) for name in SHARES]
    return ByCharge(
        charge=walk.edges,
        foot=flat(held.split.pedal_torque) / road.build.cranks.length,
        motor=flat(held.split.motor_torque),
        brake=flat(held.brake),
        way_as_asked=whole.way_as_asked(walk.edges),
        powers=np.array(powers),
    )


def tops(build: Build, case: Case, gear: Gear | None = None, charges: tuple[float, ...] = TOPS) -> Tops:
    """The case's descent begun at several charges of the packs."""
    if not charges or not all(0 < one <= 1 for one in charges):
        raise ValueError(f"charges must be above 0 and at most 1, and at least one, got {charges}")
    whole = _whole(build, case, gear)
    road, walk, time = whole.road, whole.march, case.distance / case.speed
    rows = []
    for start in charges:
        end, parts = whole.energies(start, time)
        path = np.append(walk.edges[(walk.edges > min(start, end)) & (walk.edges < max(start, end))], [start, end])
        foot = walk.at(path, walk.held.split.pedal_torque) / road.build.cranks.length
        brake = walk.at(path, walk.held.brake).max() * road.rotation
        way = min(float(whole.way_as_asked(start)), case.distance)
        rows.append((start, end, way, parts["stored"], parts["legs"], parts["brake"], float(foot[np.argmax(np.abs(foot))]), float(brake)))
    return Tops(*(np.array(column) for column in zip(*rows, strict=True)))


def back_down(case: Case) -> Case | None:
    """The case ridden down its slope: as it is, or back where it goes up; None on the level and at rest."""
    return None if case.slope == 0 or case.speed == 0 else replace(case, slope=-abs(case.slope))
