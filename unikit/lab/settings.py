"""The one shared set of build and case controls, by dotted field name."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ..inputs import Build, Case, describe, replace
from .controls import Choice, Control


@dataclass(frozen=True)
class Setting:
    """How a field is offered to the reader: label, unit and slider range in that unit."""

    label: str
    unit: str
    low: float
    high: float
    step: float


# {gear} stands for the engaged gear's name, {pack} for that of the first pack: moved alone, it becomes unlike the others.
BUILD = {
    "gears.gear.{gear}.ratio": Setting("Gear ratio", "", 0.8, 2.4, 0.01),
    "gears.gear.{gear}.efficiency": Setting("Gear efficiency", "%", 80, 100, 0.5),
    "gears.gear.{gear}.module": Setting("Module", "mm", 0.5, 3, 0.05),
    "gears.gear.{gear}.planet_shift": Setting("Planet shift", "", -0.4, 0.8, 0.01),
    "gears.gear.{gear}.ring_room": Setting("Room for the ring", "mm", 40, 200, 1),
    "cranks.length": Setting("Cranks", "mm", 80, 180, 1),
    "wheel.rolling_circumference": Setting("Wheel roll-out", "mm", 900, 2900, 10),
    "wheel.rolling_coefficient": Setting("Rolling coefficient", "", 0.003, 0.03, 0.0005),
    "rider.mass": Setting("Rider with load", "kg", 20, 130, 1),
    "rider.drag_area": Setting("Drag area", "m^2", 0.1, 0.9, 0.01),
    "rider.critical_power": Setting("Critical power", "W", 20, 350, 5),
    "rider.zero_cadence_torque": Setting("Greatest leg torque", "N*m", 10, 180, 1),
    "rider.centre_of_mass_height": Setting("Centre of mass", "mm", 300, 1200, 5),
    "rider.reaction_delay": Setting("Reaction delay", "ms", 40, 250, 1),
    "rider.muscle_lag": Setting("Muscle lag", "ms", 10, 120, 1),
    "rider.leg_damping": Setting("Leg damping", "N*m*s/rad", 0, 15, 0.1),
    "rider.leg_stiffness": Setting("Leg stiffness", "N*m/rad", 0, 300, 1),
    "wheel.mass": Setting("Wheel without motor", "kg", 1, 15, 0.1),
    "assist.driving_gain.{gear}": Setting("Assist gain", "", 0, 1.5, 0.01),
    "assist.resisting_gain.{gear}": Setting("Gain, holding back", "", 0, 1.5, 0.01),
    "sensor.filter_corner": Setting("Filter corner", "Hz", 2, 60, 0.5),
    "sensor.dead_time": Setting("Dead time", "ms", 0, 80, 1),
    "sensor.chain.amplifier_gain": Setting("Amplifier gain", "", 50, 1500, 5),
    "sensor.chain.rest_output": Setting("Output at rest", "V", 0.5, 2.2, 0.05),
    "sensor.chain.shaft_diameter": Setting("Strained shaft", "mm", 15, 45, 0.5),
    "sensor.chain.shaft_bore": Setting("Its bore", "mm", 0, 24, 0.5),
    "sensor.chain.arm_height": Setting("Strained arm, height", "mm", 3, 30, 0.5),
    "sensor.chain.converter_bits": Setting("Converter, bits", "", 6, 18, 1),
    "sensor.chain.averaged_samples": Setting("Samples averaged", "", 1, 64, 1),
    "sensor.chain.dead_band": Setting("Dead band", "N*m", 0, 10, 0.1),
    "sensor.chain.zero_drift": Setting("Drift of the zero", "mN*m/K", 0, 300, 5),
    "sensor.chain.warming": Setting("Element warms by", "K", 0, 50, 1),
    "assist.torque_cap": Setting("Torque cap", "N*m", 1, 60, 0.5),
    "assist.trim_cap": Setting("Trim cap", "N*m", 0, 30, 0.5),
    "assist.trim_step": Setting("Trim step", "N*m", 0, 6, 0.1),
    "motor.torque_constant_peak": Setting("Torque constant, peak", "N*m/A", 0.05, 2.5, 0.01),
    "motor.phase_resistance": Setting("Phase resistance", "mohm", 5, 500, 1),
    "controller.phase_current_limit": Setting("Phase current, peak", "A", 2, 120, 1),
    "controller.battery_current_limit": Setting("Battery current", "A", 1, 60, 0.5),
    "controller.charge_current_limit": Setting("Charge current", "A", 0, 40, 0.5),
    "controller.weakening_current": Setting("Field weakening, peak", "A", 0, 120, 1),
    "controller.electrical_frequency_limit": Setting("Electrical frequency", "Hz", 20, 1000, 5),
    "controller.voltage_rating": Setting("Voltage rating", "V", 10, 120, 1),
    "motor.saturation_current": Setting("Saturation current, peak", "A", 5, 500, 5),
    "brake.greatest_torque": Setting("Brake torque", "N*m", 0, 120, 1),
    "motor.winding_to_stator": Setting("Winding to stator", "W/K", 0.2, 30, 0.1),
    "motor.stator_to_housing": Setting("Stator to housing", "W/K", 0.2, 20, 0.1),
    "motor.gap_width": Setting("Air gap", "mm", 0.3, 3, 0.05),
    "motor.magnet_to_housing": Setting("Magnets to housing", "W/K", 0.5, 80, 0.5),
    "motor.end_winding_area": Setting("Ends of the winding", "cm^2", 10, 800, 5),
    "motor.stator_to_axle": Setting("Stator to axle", "W/K", 0, 5, 0.05),
    "motor.magnet_limit": Setting("Magnet limit", "°C", 50, 150, 1),
    "wiring.pack_area": Setting("Pack lead", "mm^2", 0.2, 16, 0.05),
    "wiring.main_area": Setting("Main lead", "mm^2", 0.2, 25, 0.05),
    "wiring.phase_area": Setting("Motor lead", "mm^2", 0.2, 25, 0.05),
    "wiring.fuse_rating": Setting("Fuse", "A", 1, 80, 0.5),
    "wiring.insulation_limit": Setting("Insulation bears", "°C", 60, 150, 1),
    "gears.gear.{gear}.face_width": Setting("Face width", "mm", 4, 40, 0.5),
    "hub.shock_factor": Setting("Shock factor", "", 1, 4, 0.05),
    "hub.drop_factor": Setting("Drop over weight", "", 1, 8, 0.1),
    "hub.seat_length": Setting("Key or spline", "mm", 5, 40, 0.5),
    "hub.axle_diameter": Setting("Axle", "mm", 8, 50, 0.5),
    "hub.arm_bolt_spacing": Setting("Arm bolts apart", "mm", 10, 100, 1),
    "hub.crank_bearing_spacing": Setting("Crank bearing span", "mm", 20, 160, 1),
    "packs.held_back": Setting("Charge held back", "%", 0, 50, 1),
    "packs.pack.{pack}.cell_capacity": Setting("First pack's cells", "A*h", 0.5, 10, 0.05),
    "packs.pack.{pack}.cell_resistance": Setting("First pack, ohmic", "mohm", 2, 150, 1),
    "packs.pack.{pack}.slow_resistance": Setting("First pack, slow", "mohm", 0, 150, 1),
    "packs.pack.{pack}.lowest_cell_voltage": Setting("First pack off at", "V", 2, 3.5, 0.05),
}
CASE = {
    "speed": Setting("Speed", "km/h", 0, 40, 0.5),
    "slope": Setting("Slope", "%", -15, 20, 0.5),
    "head_wind": Setting("Head wind", "m/s", -12, 15, 0.5),
    "gust": Setting("Gust on top", "m/s", 0, 15, 0.5),
    "duration": Setting("Duration", "min", 1, 60, 1),
    "distance": Setting("Distance", "km", 0.5, 80, 0.5),
    "state_of_charge": Setting("Charge of the packs", "%", 5, 100, 1),
    "air_temperature": Setting("Air", "°C", -15, 45, 1),
    "sun": Setting("Sunshine", "W/m^2", 0, 1100, 10),
    "winding_start": Setting("Winding at the start", "°C", -15, 180, 1),
    "pack_temperature": Setting("Cells of the packs", "°C", -20, 50, 1),
    "wanted_speed": Setting("Wanted speed", "km/h", 2, 40, 0.5),
    "wind_speed": Setting("Wind by direction", "m/s", 0, 15, 0.5),
    "wind_from": Setting("That wind comes from", "deg", 0, 360, 5),
    "leg_power": Setting("Legs give at ease", "W", 20, 350, 5),
}
BUILD_CHOICES = {"rider.prediction": ("Rider answers up to", {"lean rate": "rate", "acceleration": "acceleration"})}
NEEDS_MOTOR = (
    "gust",
    "state_of_charge",
    "distance",
    "trim",
    "winding_start",
    "pack_temperature",
)  # of the case: what legs alone do not ask about
# What a case may leave open, and where its control then begins.
CASE_OPEN: Mapping[str, Callable[[Build, Case], float]] = {
    "winding_start": lambda build, case: case.air_temperature,
    "pack_temperature": lambda build, case: case.air_temperature,
    "leg_power": lambda build, case: build.rider.critical_power,
    "wind_speed": lambda build, case: 0.0,  # a wind of no speed: head and cross wind hold
    "wind_from": lambda build, case: 0.0,
}
CASE_CHOICES = {"trim": ("Trim torque", ("none", "steps", "level"))}


class Desk:
    """The controls of one panel over one build and case, and the variant they stand for.

    Fields that the build does not have (a motor's, in a build without one) are left out.

    Args:
        build: what is varied, and saved with nothing but what the reader moved.
        case: the same for the ride.
        build_fields: dotted paths, keys of ``BUILD`` and ``BUILD_CHOICES``.
        case_fields: fields of the case.
        completed: the build with numbers where it has none, for the controls to begin at; a field that nobody moves stays open.
    """

    def __init__(
        self, build: Build, case: Case, build_fields: Sequence[str], case_fields: Sequence[str], completed: Build | None = None
    ) -> None:
        self.build, self.case, self.gear = build, case, build.gears.engaged
        self.controls: list[Control | Choice] = []
        self.start: dict[str, Any] = {}
        for pattern in build_fields:
            path = pattern.format(gear=self.gear, pack=build.packs.names[0] if build.packs else "")
            value = _value(completed or build, path)
            if value is None:
                continue
            if pattern in BUILD_CHOICES:
                self._choose(path, *BUILD_CHOICES[pattern], value)
            else:
                self._add(path, BUILD[pattern], describe(path).kind, value)
        for name in case_fields:
            path = f"case.{name}"
            if name in NEEDS_MOTOR and build.motor is None:
                continue
            if name in CASE_CHOICES:
                self._choose(path, *CASE_CHOICES[name], getattr(case, name))
            else:
                value = getattr(case, name)
                value = CASE_OPEN[name](build, case) if value is None else value
                self._add(path, CASE[name], describe(name, Case).kind, value)

    def _add(self, path: str, setting: Setting, kind: str, value: float) -> None:
        self.controls.append(Control(path, setting.label, setting.unit, setting.low, setting.high, setting.step, kind))
        self.start[path] = value

    def _choose(self, path: str, label: str, words: Sequence[str] | Mapping[str, str], value: str) -> None:
        self.controls.append(Choice(path, label, words))
        self.start[path] = value

    def variant(self, values: Mapping[str, Any]) -> tuple[Build, Case]:
        """The build and the case with the values of the controls that differ from the start.

        What differs in the seventh digit alone went through the reader's units and
        back: such a number was not touched, and keeps its spread.
        """
        changed = {path: value for path, value in values.items() if not _same(value, self.start[path])}
        build = {path: value for path, value in changed.items() if not path.startswith("case.")}
        case = {path.removeprefix("case."): value for path, value in changed.items() if path.startswith("case.")}
        return (replace(self.build, build) if build else self.build, replace(self.case, case) if case else self.case)


def _same(value: Any, start: Any) -> bool:
    return value == start if isinstance(value, str) else math.isclose(value, start, rel_tol=1e-6, abs_tol=1e-12)


def _value(build: Build, path: str) -> Any:
    """The number under a dotted path; None where the build has no such part."""
    if path == "wheel.rolling_circumference":
        return build.wheel.circumference
    if path == "brake.greatest_torque" and build.brake.kind == "none":
        return None
    at: Any = build
    for step in path.split("."):
        if at is None:
            return None
        if isinstance(at, Mapping):
            at = at.get(step)
        elif isinstance(at, tuple):
            at = next((item for item in at if item.name == step), None)
        else:
            at = getattr(at, step)
    return at
