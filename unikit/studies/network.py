"""The thermal network of a build: bodies, the paths between them, and their temperatures under constant load."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ..formulas import air, heat, motor
from ..inputs import Build, Case, Gear
from ..units import Values
from .drive import ROOM
from .motor import point

NAMES = ("winding", "stator", "magnets", "housing")
AIR = "air"
WINDING, STATOR, MAGNETS, HOUSING = range(4)
HOTTEST = 673.0  # K: no insulation and no magnet outlives it
FILM = 40.0  # K over the air: the housing and the air of gap and end space, where their coefficients are taken
ALPHA = (motor.resistance_at(1.0, 120.0, 20.0) - 1.0) / 100.0  # growth of the copper's resistance per kelvin, of that at 20 °C

Paths = Mapping[tuple[str, str], Values]


def paths(build: Build, speed: Values, air_temperature: float, surface_temperature: float | None = None) -> Paths:
    """Conductance of each path for heat by the names of its ends; ``air`` is an end too.

    Paths that the build does not describe are left out, and a ring of magnets
    that it does not describe counts with the housing.  Speeds broadcast.

    Args:
        build: the build, with a motor.
        speed: road speed.
        air_temperature: temperature of the air.
        surface_temperature: temperature of the housing; 40 K above the air when left out.
    """
    machine = build.motor
    rotation = np.asarray(speed, float) / build.wheel.radius
    ring = _place(build)[MAGNETS]
    found = {
        ("winding", "stator"): machine.winding_to_stator,
        ("stator", "housing"): machine.stator_to_housing,
        ("housing", AIR): heat.housing_conductance(
            road_speed=speed,
            rotation=rotation,
            diameter=machine.housing_diameter,
            width=machine.housing_width,
            air_temperature=air_temperature,
            emissivity=machine.emissivity,
            surface_temperature=surface_temperature,
        ),
    }
    if ring != _place(build)[HOUSING]:
        found["magnets", "housing"] = machine.magnet_to_housing
    if machine.gap_diameter is not None:
        found["stator", "magnets"] = _gap(build, rotation, air_temperature + FILM)
    if machine.end_winding_area is not None:
        found["winding", "housing"] = _end_space(build, rotation)
    if machine.stator_to_axle is not None:
        found["stator", AIR] = machine.stator_to_axle
    return found


def _gap(build: Build, rotation: Values, temperature: float) -> Values:
    """Air gap: conduction at first, vortices when it turns fast."""
    machine = build.motor
    radius = machine.gap_diameter / 2
    taylor = heat.taylor_number(rotation, radius, machine.gap_width, air.kinematic_viscosity(temperature))
    coefficient = heat.air_gap_coefficient(heat.air_gap_nusselt(taylor), air.conductivity(temperature), machine.gap_width)
    return coefficient * 2 * np.pi * radius * machine.stack_length


def _end_space(build: Build, rotation: Values) -> Values:
    """Ends of the winding to the air around them, and that air to the covers, one after the other."""
    machine = build.motor
    radius = (machine.housing_diameter if machine.gap_diameter is None else machine.gap_diameter) / 2
    coefficient = heat.end_space_coefficient(rotation * radius)
    covers = np.pi / 2 * np.square(machine.housing_diameter)
    return coefficient / (1 / machine.end_winding_area + 1 / covers)


def _place(build: Build) -> tuple[int, ...]:
    """Row of each name among the bodies that the build describes."""
    return (0, 1, 2, 2) if build.motor.magnet_capacity is None else (0, 1, 2, 3)


def matrix(build: Build, found: Paths) -> np.ndarray:
    """The paths as the conductance matrix of the formulas, on the last two axes."""
    place = dict(zip(NAMES, _place(build), strict=True))
    shape = np.broadcast_shapes(*(np.shape(value) for value in found.values()))
    conductance = np.zeros(shape + (max(place.values()) + 1,) * 2)
    for (one, other), value in found.items():
        here = place[one]
        there = here if other == AIR else place[other]
        conductance[..., here, there] += value
        if there != here:
            conductance[..., there, here] += value
    return conductance


@dataclass(frozen=True)
class Network:
    """Bodies of a motor in a case, and their temperatures while losses and paths stay as they are, in SI.

    Ask it by name or in the order of ``names``; the arrays of bodies are one
    shorter where the build does not describe the magnets' ring.
    """

    capacity: np.ndarray
    conductance: np.ndarray
    losses: np.ndarray
    loss_slope: np.ndarray
    ambient: float
    start: np.ndarray
    place: tuple[int, ...]
    names: tuple[str, ...] = NAMES

    def at(self, time: Values) -> np.ndarray:
        """Temperatures after a time, names along the last axis.

        Held from the moment when one of them reaches 400 °C: the motor is lost
        by then, and losses that run away would leave all numbers behind.
        """
        time = np.asarray(time, float)
        try:
            course = self._response(time)
        except ValueError:  # it runs away before the last of the times
            course = np.array([np.inf])
        if course.max() >= HOTTEST:  # the search for the moment takes ten times as long as the course
            course = self._response(np.minimum(time, min(self.reached(name, HOTTEST) for name in self.names)))
        return course[..., self.place]

    def steady(self) -> np.ndarray:
        """Temperatures after a very long time, by the order of the names; no limit where the losses run away."""
        try:
            return heat.network_steady(self.conductance, self.losses, self.loss_slope, ROOM, self.ambient)[..., self.place]
        except ValueError:
            return np.full(len(self.names), np.inf)

    def with_copper(self, copper_loss: float) -> Network:
        """The same with another copper loss at 20 °C."""
        losses, slope, here = self.losses.copy(), self.loss_slope.copy(), self.place[WINDING]
        losses[here], slope[here] = copper_loss, copper_loss * ALPHA
        return replace(self, losses=losses, loss_slope=slope)

    def reached(self, name: str, limit: float) -> float:
        """Time until the body of a name reaches a temperature; inf if never."""
        if name not in self.names:
            raise ValueError(f"name must be one of {', '.join(map(repr, self.names))}, got {name!r}")
        body = self.place[self.names.index(name)]
        return float(heat.network_time_to_limit(**self._load(), body=body, limit=limit, loss_slope=self.loss_slope, loss_reference=ROOM))

    def _response(self, time: np.ndarray) -> np.ndarray:
        return heat.network_response(**self._load(), time=time, loss_slope=self.loss_slope, loss_reference=ROOM)

    def _load(self) -> dict[str, Values]:
        return {name: getattr(self, name) for name in ("capacity", "conductance", "losses", "ambient", "start")}


def network(build: Build, case: Case, gear: Gear, magnet_temperature: float = ROOM) -> Network:
    """The network with the losses that the torque split gives at this temperature of the magnets.

    Copper loss rises with the winding's own temperature, iron loss does not;
    sunshine warms the housing.  All bodies start at ``winding_start`` of the
    case, or at the air's temperature.
    """
    cold = point(build, case, gear, ROOM, magnet_temperature)
    return assembled(build, case, cold.copper_loss, cold.iron_loss)


def assembled(build: Build, case: Case, copper_loss: float, iron_loss: Values, speed: Values | None = None) -> Network:
    """The network of a build in a case with given losses, the copper's at 20 °C; another speed, or many, may be asked about."""
    machine, place = build.motor, _place(build)
    conductance = matrix(build, paths(build, case.speed if speed is None else speed, case.air_temperature))
    bodies = conductance.shape[-1]
    losses = np.zeros(np.shape(iron_loss) + (bodies,))
    losses[..., place[WINDING]], losses[..., place[STATOR]] = copper_loss, iron_loss
    losses[..., place[HOUSING]] += sunshine(build, case)
    start = case.air_temperature if case.winding_start is None else case.winding_start
    ring = () if machine.magnet_capacity is None else (machine.magnet_capacity,)
    return Network(
        capacity=np.array([machine.winding_capacity, machine.stator_capacity, *ring, machine.housing_capacity]),
        conductance=conductance,
        losses=losses,
        loss_slope=np.array([copper_loss * ALPHA] + [0.0] * (bodies - 1)),
        ambient=case.air_temperature,
        start=np.full(bodies, start),
        place=place,
    )


def sunshine(build: Build, case: Case) -> float:
    """Heat that the housing takes from the sun; its paint is taken to swallow sunshine as it sends out warmth."""
    machine = build.motor
    return heat.sunlit_power(case.sun, machine.housing_diameter, machine.housing_width, machine.emissivity)
