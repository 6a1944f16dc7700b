"""Battery packs and the wiring between them and the controller."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from .. import units as u
from ..formulas import pack as pack_formulas
from .fields import field
from .records import Part

record = dataclass(frozen=True, kw_only=True, eq=False, repr=False)

CHEMISTRIES = ("nickel manganese cobalt", "nickel cobalt aluminium", "lithium cobalt", "lithium manganese", "iron phosphate", "titanate")


@record
class Pack(Part):
    """One battery pack, in terms of its cells."""

    table: ClassVar[str] = "packs.pack"
    name: str = field("name of the pack", named=True)
    series: u.Number = field("cells in series", low=1, high=60, whole=True)
    parallel: u.Number = field("strings in parallel", low=1, high=60, whole=True)
    cell_capacity: u.Coulomb = field("charge that one cell delivers", low=180, high=360e3, unit="A*h")
    cell_nominal_voltage: u.Volt = field("nominal voltage of one cell", low=1, high=4.5)
    cell_resistance: u.Ohm = field("resistance of one cell", low=0.0001, high=1, unit="mohm")
    wiring_resistance: u.Ohm = field("resistance of wiring, fuse and plug", low=0, high=1, unit="mohm")
    curve_charge: tuple[u.Ratio, ...] = field("states of charge of the open-circuit curve", low=0, high=1)
    curve_voltage: tuple[u.Volt, ...] = field("open-circuit voltages of one cell at these states of charge", low=0.5, high=5)
    lowest_cell_voltage: u.Volt = field("cell voltage at which the pack switches off", low=0.5, high=4.5)
    charge_current_limit: u.Ampere = field("greatest current that the pack may be charged with", low=0, high=200)
    mass: u.Kilogram = field("mass", low=0.02, high=30)
    chemistry: str | None = field("what the cells are made of", words=CHEMISTRIES, default=None)
    fast_resistance: u.Ohm | None = field(
        "resistance of one cell that comes with the fast time constant", low=0, high=1, unit="mohm", default=None
    )
    fast_time: u.Second | None = field("the fast time constant", low=0.01, high=300, default=None)
    slow_resistance: u.Ohm | None = field(
        "resistance of one cell that comes with the slow time constant", low=0, high=1, unit="mohm", default=None
    )
    slow_time: u.Second | None = field("the slow time constant", low=1, high=10e3, default=None)
    curve_resistance: tuple[u.Ratio, ...] | None = field(
        "resistances at the states of charge of the curve, over those at half charge", low=0.1, high=30, default=None
    )
    activation_energy: u.JoulePerMole | None = field(
        "how the resistances fall with temperature, as an activation energy", low=0, high=120e3, unit="kJ/mol", default=None
    )
    resistance_temperature: u.Kelvin | None = field(
        "cell temperature for which the resistances hold", low=243.15, high=333.15, unit="°C", default=None
    )
    cell_current_limit: u.Ampere | None = field("greatest current that one cell may be discharged with", low=0.05, high=500, default=None)

    @property
    def nominal_voltage(self) -> u.Volt:
        """Nominal voltage of the pack."""
        return self.series * self.cell_nominal_voltage

    @property
    def capacity(self) -> u.Coulomb:
        """Charge that the pack delivers."""
        return self.parallel * self.cell_capacity

    @property
    def energy(self) -> u.Joule:
        """Nominal energy, as it is printed on a pack."""
        return pack_formulas.energy(self.nominal_voltage, self.capacity)


@record
class Packs(Part):
    """All packs and how they are joined."""

    table: ClassVar[str] = "packs"
    joined: str = field("how the packs are joined", words=("parallel", "series"))
    held_back: u.Ratio = field("share of the charge that is kept in reserve", low=0, high=0.95)
    pack: tuple[Pack, ...] = field("the packs")

    @property
    def names(self) -> tuple[str, ...]:
        """The names of all packs, in the order of the file."""
        return tuple(pack.name for pack in self.pack)

    @property
    def mass(self) -> u.Kilogram:
        """Mass of all packs."""
        return sum(pack.mass for pack in self.pack)

    @property
    def energy(self) -> u.Joule:
        """Nominal energy of all packs."""
        return sum(pack.energy for pack in self.pack)


@record
class Wiring(Part):
    """Conductors, connectors, fuses and precharge between packs, controller and motor."""

    table: ClassVar[str] = "wiring"
    pack_area: u.SquareMetre = field("copper of the lead from one pack, one way", low=1e-8, high=1e-4, unit="mm^2")
    pack_length: u.Metre = field("its length, one way", low=0.01, high=5, unit="mm")
    main_area: u.SquareMetre = field("copper of the lead that carries all packs together, one way", low=1e-8, high=1e-4, unit="mm^2")
    main_length: u.Metre = field("its length, one way", low=0.01, high=5, unit="mm")
    phase_area: u.SquareMetre = field("copper of one motor lead", low=1e-8, high=1e-4, unit="mm^2")
    phase_length: u.Metre = field("its length", low=0.01, high=5, unit="mm")
    insulation_limit: u.Kelvin = field("temperature that the insulation bears all the time", low=323.15, high=573.15, unit="°C")
    short_limit: u.Kelvin = field("temperature that it bears in a short circuit", low=353.15, high=723.15, unit="°C")
    insulation_thickness: u.Metre | None = field("thickness of the insulation", low=5e-5, high=0.01, unit="mm", default=None)
    laid: str = field("how the leads lie: each free in air, or out and back (or all phases) together in a sleeve", words=("free", "sleeve"))
    connector_resistance: u.Ohm | None = field("resistance of one contact of a pack's plug", low=0, high=0.1, unit="mohm", default=None)
    connector_current: u.Ampere | None = field("current for which the plug is rated", low=0.5, high=500, default=None)
    fuse_rating: u.Ampere | None = field("rated current of the fuse in each pack's lead", low=0.1, high=500, default=None)
    fuse_voltage: u.Volt | None = field("direct voltage that it can interrupt", low=5, high=2000, default=None)
    fuse_breaking_current: u.Ampere | None = field("greatest current that it can interrupt", low=10, high=300e3, unit="kA", default=None)
    fuse_melting: u.AmpereSquaredSecond | None = field(
        "square of the current times time at which it begins to melt", low=1e-3, high=1e7, default=None
    )
    fuse_let_through: u.AmpereSquaredSecond | None = field(
        "square of the current times time that it lets through until it has cleared", low=0.01, high=1e7, default=None
    )
    precharge_resistance: u.Ohm | None = field(
        "resistor through which the controller's capacitor is filled first", low=0.5, high=1e5, default=None
    )
    precharge_time: u.Second | None = field("how long it is in the circuit", low=0.001, high=60, default=None)
    precharge_energy: u.Joule | None = field("energy that this resistor bears in one pulse", low=0.001, high=1e4, default=None)
