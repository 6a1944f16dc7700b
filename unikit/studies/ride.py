"""What does a steady ride cost, who pays it, and how far do the packs go?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import pack
from ..inputs import Build, Case, Gear, Packs, draw
from .cells import aged, pack_temperature
from .drive import ROOM, drive
from .legs import endurance
from .loads import loads, trim_torque
from .results import Result, shown
from .split import torque_split


@dataclass(frozen=True)
class Ride(Result):
    """One steady case: power by cause, leg share, energy per distance and range."""

    gear: str = shown("gear")
    speed: u.MetrePerSecond = shown("speed", "km/h")
    road_power: u.Watt = shown("power at the road", "W", 0)
    rolling: u.Watt = shown("of it rolling", "W")
    slope: u.Watt = shown("of it slope", "W")
    air: u.Watt = shown("of it air", "W")
    bearing: u.Watt = shown("of it bearings", "W")
    gear_loss: u.Watt = shown("gear loss", "W")
    iron_loss: u.Watt = shown("iron loss", "W")
    copper_loss: u.Watt = shown("copper loss", "W")
    controller_loss: u.Watt = shown("controller loss and standby", "W")
    pack_loss: u.Watt = shown("heat in packs and wires", "W")
    leg_power: u.Watt = shown("leg power", "W", 0)
    leg_share: u.Ratio = shown("leg share", "%", 0)
    endurance: u.Second = shown("legs hold this for", "min", 0)
    battery_power: u.Watt = shown("power from the cells", "W", 0)
    battery_current: u.Ampere = shown("battery current", "A")
    consumption: u.JoulePerMetre = shown("from the cells", "Wh/km")
    energy: u.Joule = shown("energy in the packs above what is held back", "Wh", 0)
    range: u.Metre = shown("range at this pace", "km")
    distance: u.Metre = shown("distance wanted", "km")


def usable_energy(build: Build, state_of_charge: u.Values = 1.0) -> u.Joule:
    """Energy in the cells of all packs between a state of charge and what is held back; 0 when that is begun already."""
    if build.packs is None:
        return 0.0
    return stored_energy(build.packs, np.maximum(state_of_charge, build.packs.held_back), build.packs.held_back)


def stored_energy(packs: Packs, state_of_charge: u.Values, down_to: u.Values) -> u.Joule:
    """Energy that the cells of all packs give between two states of charge, the higher one first; in series as far as the smallest goes."""
    charges = [one.cell_capacity * one.parallel for one in packs.pack]
    if packs.joined == "series":
        charges = [np.min(np.broadcast_arrays(*charges), axis=0)] * len(charges)
    total = 0.0
    for one, charge in zip(packs.pack, charges, strict=True):
        total = total + pack.delivered_energy(0.0, charge * one.series, 0.0, one.curve_charge, one.curve_voltage, state_of_charge, down_to)
    return total


def study(build: Build, case: Case, gear: Gear | None = None, winding_temperature: float = ROOM) -> Ride:
    """Ride a case steadily in one gear; numbers of the build may be arrays.

    Energy is counted at the cells, so heat in packs and wires is part of the
    consumption; the packs' resistance is that after some minutes, as far as
    they state it, and they are as worn as the case says.  Range is distance until only the charge held back is left, at
    the case's own pace and without stops.
    """
    build = aged(build, case)
    gear = gear or build.gears.named(build.gears.engaged)
    forces = loads(build, case)
    state = drive(build, case.state_of_charge, winding_temperature, lasting=pack_temperature(case))
    split = torque_split(build, gear, case.speed, forces.wheel_torque, state, trim_torque(build, case))
    energy = usable_energy(build, case.state_of_charge)
    reach = np.where(split.consumption > 0, energy / np.where(split.consumption > 0, split.consumption, 1.0), np.inf)
    return Ride(
        gear=gear.name,
        speed=case.speed,
        road_power=forces.force * case.speed,
        rolling=forces.rolling * case.speed,
        slope=forces.slope * case.speed,
        air=forces.air * case.speed,
        bearing=forces.bearing * case.speed,
        gear_loss=split.gear_loss,
        iron_loss=split.iron_loss,
        copper_loss=split.copper_loss,
        controller_loss=split.bridge_loss + split.standby,
        pack_loss=split.pack_loss,
        leg_power=split.leg_power,
        leg_share=split.leg_share,
        endurance=endurance(build, split.leg_power),
        battery_power=split.battery_power,
        battery_current=split.battery_current,
        consumption=split.consumption,
        energy=energy,
        range=reach if np.ndim(reach) else float(reach),
        distance=case.distance,
    )


@dataclass(frozen=True)
class Reach(Result):
    """Distance against the probability of getting there on the packs, from the stated uncertainty of build and case."""

    draws: int = shown("draws", digits=0)
    likely: u.Metre = shown("reached in nine of ten draws", "km")
    middle: u.Metre = shown("reached in half of the draws", "km")
    chance: u.Ratio = shown("chance of the wanted distance", "%", 0)
    chance_error: u.Ratio = shown("sampling error of that chance", "%", 1)
    distance: u.Metre = shown("distance", "km")
    probability: u.Ratio = shown("probability", "%")


def reach(build: Build, case: Case, gear: Gear | None = None, count: int = 600, seed: int = 20, points: int = 121) -> Reach:
    """Range over the stated uncertainty of build and case: ``count`` seeded draws of all uncertain numbers."""
    name = (gear or build.gears.named(build.gears.engaged)).name
    drawn = draw(build, count, seed)
    ranges = np.broadcast_to(study(drawn, draw(case, count, seed), drawn.gears.named(name)).range, (count,))
    finite = ranges[np.isfinite(ranges)]
    furthest = 1.15 * finite.max() if finite.size else max(case.distance, 1.0)
    distance = np.linspace(0.0, max(furthest, 1.1 * case.distance), points)
    probability = (ranges[:, None] >= distance).mean(axis=0)
    chance = float((ranges >= case.distance).mean())
    rising = np.sort(ranges)  # no interpolation: a draw may have no limit
    return Reach(
        draws=count,
        likely=float(rising[int(0.1 * (count - 1))]),
        middle=float(rising[int(0.5 * (count - 1))]),
        chance=chance,
        chance_error=float(np.sqrt(chance * (1 - chance) / count)),
        distance=distance,
        probability=probability,
    )
