"""What a datasheet may say about a motor: every number may be missing, and a number that has conventions says which it follows."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from .. import units as u
from ..formulas.datasheet import LEADS, VOLTS
from ..formulas.motor import CONVENTIONS
from .build import report
from .fields import Named, field
from .reading import from_table, label, read_toml
from .records import Part
from .spreads import Spread

FORMAT = 1
RPM = np.pi / 30
CURRENTS = tuple(CONVENTIONS)

record = dataclass(frozen=True, kw_only=True, eq=False, repr=False)


@record
class NoLoad(Part):
    """A run without load on a direct supply."""

    table: ClassVar[str] = "no_load"
    voltage: u.Volt | None = field("direct voltage of the supply", low=1, high=400, default=None)
    current: u.Ampere | None = field("direct current from the supply", low=0.001, high=100, default=None)
    speed: u.RadianPerSecond | None = field("rotation", low=1 * RPM, high=20e3 * RPM, unit="rpm", default=None)


@record
class Rated(Part):
    """The rated point; it presupposes the cooling that the maker had in mind."""

    table: ClassVar[str] = "rated"
    torque: u.NewtonMetre | None = field("torque at the shaft", low=0.01, high=500, default=None)
    speed: u.RadianPerSecond | None = field("rotation", low=1 * RPM, high=20e3 * RPM, unit="rpm", default=None)
    current: u.Ampere | None = field("current of the motor", low=0.05, high=1000, default=None)
    current_in: str | None = field("what an ampere of that current means", words=CURRENTS, default=None)
    power: u.Watt | None = field("mechanical power", low=1, high=50e3, default=None)
    efficiency: u.Ratio | None = field("mechanical power over electric power", low=0.05, high=0.995, default=None)
    voltage: u.Volt | None = field("direct voltage of the supply", low=1, high=400, default=None)


@record
class Stall(Part):
    """Torque with the rotor held."""

    table: ClassVar[str] = "stall"
    torque: u.NewtonMetre | None = field("torque with the rotor held", low=0.01, high=2000, default=None)
    current: u.Ampere | None = field(
        "current of the motor that gives it; by voltage and resistance if left out", low=0.05, high=3000, default=None
    )
    current_in: str | None = field("what an ampere of that current means", words=CURRENTS, default=None)


@record
class Datasheet(Part):
    """What is printed about a motor, and in which convention."""

    format: u.Number = field("number of the file format", low=FORMAT, high=FORMAT, whole=True)
    name: str = field("name of the motor")
    pole_pairs: u.Number | None = field("pole pairs: half of the poles", low=1, high=60, whole=True, default=None)
    speed_constant: u.RadianPerSecondPerVolt | None = field("rotation per volt", low=0.1 * RPM, high=5000 * RPM, unit="rpm/V", default=None)
    speed_constant_per: str | None = field(
        "which volt that is; peak line to line, and said to be assumed, if left out", words=tuple(VOLTS), default=None
    )
    torque_constant: u.NewtonMetrePerAmpere | None = field("torque per ampere", low=0.002, high=50, default=None)
    torque_constant_per: str | None = field("which ampere that is", words=CURRENTS, default=None)
    motor_constant: u.NewtonMetrePerRootWatt | None = field("torque over the root of the copper loss", low=0.005, high=50, default=None)
    resistance: u.Ohm | None = field("resistance", low=0.0005, high=50, unit="mohm", default=None)
    resistance_of: str | None = field("between what it is measured", words=tuple(LEADS), default=None)
    resistance_temperature: u.Kelvin | None = field("temperature for which it holds", low=233.15, high=373.15, unit="°C", default=None)
    inductance: u.Henry | None = field("inductance", low=1e-6, high=0.2, unit="mH", default=None)
    inductance_of: str | None = field("between what it is measured", words=tuple(LEADS), default=None)
    no_load: NoLoad | None = field("run without load", default=None)
    rated: Rated | None = field("rated point", default=None)
    stall: Stall | None = field("rotor held", default=None)
    mass: u.Kilogram | None = field("mass", low=0.05, high=20, default=None)
    outer_diameter: u.Metre | None = field("outer diameter of the housing", low=0.03, high=0.6, unit="mm", default=None)
    width: u.Metre | None = field("width of the housing", low=0.01, high=0.3, unit="mm", default=None)
    insulation_class: str | None = field("thermal class of the insulation", words=("A", "E", "B", "F", "H"), default=None)
    magnet_limit: u.Kelvin | None = field("temperature that the magnets may reach", low=303.15, high=523.15, unit="°C", default=None)
    spreads: Mapping[str, Spread] = field("tolerance of each number that has one, by its dotted path", default=Named())

    def __str__(self) -> str:
        return "\n".join(report(self))


def load_datasheet(path: str | os.PathLike[str]) -> Datasheet:
    """Read a datasheet file.

    Raises :class:`InputError` that names everything wrong with the file.
    """
    return from_table(Datasheet, read_toml(path), label(path))
