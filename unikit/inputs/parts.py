"""The parts of a build: rider, machine, drive and packs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from .. import units as u
from ..formulas import gearing
from ..formulas import pack as pack_formulas
from .fields import field
from .records import Part

RPM = np.pi / 30  # limits of cadence in round numbers

record = dataclass(frozen=True, kw_only=True, eq=False, repr=False)


@record
class Rider(Part):
    """One rider: body, air drag, endurance and pedalling strength."""

    table: ClassVar[str] = "rider"
    mass: u.Kilogram = field("mass of the rider with clothes and load", low=20, high=200)
    inseam: u.Metre = field("inside leg from the floor to the crotch, without shoes", low=0.3, high=1.3, unit="mm")
    centre_of_mass_height: u.Metre = field("height of the seated rider's centre of mass above the wheel axle", low=0.1, high=1.5, unit="mm")
    pitch_inertia: u.KilogramSquareMetre = field("moment of inertia in pitch about the rider's own centre of mass", low=0.05, high=60)
    drag_area: u.SquareMetre = field("drag coefficient times frontal area of rider and machine", low=0.02, high=1.5)
    critical_power: u.Watt = field("power that the rider can hold for a long time", low=5, high=600)
    work_capacity: u.Joule = field("work that can be done above critical power", low=100, high=60e3, unit="kJ")
    zero_cadence_torque: u.NewtonMetre = field("greatest crank torque at standstill, mean over a turn", low=1, high=300)
    zero_torque_cadence: u.RadianPerSecond = field(
        "cadence at which the greatest torque falls to nothing", low=50 * RPM, high=400 * RPM, unit="rpm"
    )
    comfortable_cadence: u.RadianPerSecond = field("cadence the rider likes to hold", low=5 * RPM, high=240 * RPM, unit="rpm")
    greatest_cadence: u.RadianPerSecond = field("cadence the rider can follow in control", low=10 * RPM, high=300 * RPM, unit="rpm")
    greatest_pedal_speed: u.MetrePerSecond = field("speed of the pedal on its circle that the rider can follow", low=0.1, high=6)
    torque_floor: u.Ratio = field("crank torque at the dead centres over the peak", low=0, high=1)
    backward_strength: u.Ratio = field("greatest resisting torque over greatest driving torque", low=0, high=1.5)
    reaction_delay: u.Second | None = field(
        "time from a lean to the first change of pedal torque that answers it", low=0.02, high=0.6, unit="ms", default=None
    )
    muscle_lag: u.Second | None = field(
        "time constant with which the pedal torque then follows", low=0.005, high=0.3, unit="ms", default=None
    )
    prediction: str | None = field(
        "what the rider answers: lean and its rate alone, or its acceleration as well", words=("rate", "acceleration"), default=None
    )
    speed_gain: u.SecondPerMetre | None = field("lean back per speed above the wanted one", low=0, high=0.2, default=None)
    leg_damping: u.NewtonMetreSecondPerRadian | None = field(
        "damping of the passive legs, as felt at the reference cranks", low=0, high=40, default=None
    )
    leg_stiffness: u.NewtonMetrePerRadian | None = field(
        "stiffness of the passive legs, as felt at the reference cranks", low=0, high=1000, default=None
    )
    replanning_time: u.Second | None = field(
        "time after which the legs have taken up another cadence", low=0.01, high=5, unit="ms", default=None
    )
    drag_height: u.Metre | None = field("height above the wheel axle at which the air pushes", low=0.05, high=2, unit="mm", default=None)


@record
class Frame(Part):
    """Saddle, frame and what sits on them, without rider, controller and packs."""

    table: ClassVar[str] = "frame"
    mass: u.Kilogram = field("mass of frame, saddle and brake", low=0.1, high=40)
    centre_of_mass_height: u.Metre = field("height of its centre of mass above the wheel axle", low=-0.5, high=1.5, unit="mm")


@record
class Wheel(Part):
    """The wheel with tyre, hub and gear, without motor; cranks and pedals count with it."""

    table: ClassVar[str] = "wheel"
    bead_seat_diameter: u.Metre = field("bead seat diameter of the rim", low=0.1, high=0.9, unit="mm")
    tyre_width: u.Metre = field("nominal width of the tyre, taken as its height too", low=0.01, high=0.13, unit="mm")
    rolling_circumference: u.Metre | None = field(
        "measured roll-out; takes the place of the nominal size", low=0.3, high=3.5, unit="mm", default=None
    )
    mass: u.Kilogram = field("mass of wheel, tyre, hub, gear, cranks and pedals", low=0.2, high=20)
    inertia: u.KilogramSquareMetre = field("moment of inertia about the axle", low=0.0005, high=3)
    rolling_coefficient: u.Ratio = field("rolling resistance over load", low=0.001, high=0.1)
    bearing_drag: u.Newton = field("drag of bearings and seals at the road, at standstill", low=0, high=20)
    bearing_drag_per_speed: u.NewtonSecondPerMetre = field("what that drag gains with road speed", low=0, high=5)

    @property
    def circumference(self) -> u.Metre:
        """Rolling circumference: as measured, else nominal."""
        if self.rolling_circumference is not None:
            return self.rolling_circumference
        return gearing.wheel_circumference(self.bead_seat_diameter, self.tyre_width)

    @property
    def radius(self) -> u.Metre:
        """Rolling radius."""
        return self.circumference / (2 * np.pi)


@record
class Cranks(Part):
    """The cranks, and those of the ungeared wheel the rider learned on."""

    table: ClassVar[str] = "cranks"
    length: u.Metre = field("crank length", low=0.04, high=0.25, unit="mm")
    reference_length: u.Metre = field("crank length of the ungeared wheel that the rider learned on", low=0.04, high=0.25, unit="mm")


@record
class Gear(Part):
    """One gear that can be engaged."""

    table: ClassVar[str] = "gears.gear"
    name: str = field("name of the gear", named=True)
    ratio: u.Ratio = field("wheel turns per crank turn", low=0.2, high=5)
    efficiency: u.Ratio = field("power out over power in", low=0.3, high=1)
    sun_teeth: u.Number | None = field("teeth of the sun, which is fixed", low=6, high=400, whole=True, default=None)
    planet_teeth: u.Number | None = field("teeth of a planet", low=6, high=400, whole=True, default=None)
    ring_teeth: u.Number | None = field("teeth of the ring, which drives the wheel", low=12, high=800, whole=True, default=None)
    planets: u.Number | None = field("number of planets on the carrier, which the cranks turn", low=1, high=12, whole=True, default=None)


@record
class Gears(Part):
    """The gears of the hub, and which one is engaged."""

    table: ClassVar[str] = "gears"
    engaged: str = field("name of the engaged gear", named=True)
    gear: tuple[Gear, ...] = field("the gears")

    @property
    def names(self) -> tuple[str, ...]:
        """The names of all gears, in the order of the file."""
        return tuple(gear.name for gear in self.gear)

    def named(self, name: str | None = None) -> Gear:
        """The gear of that name; the engaged one without a name."""
        wanted = self.engaged if name is None else name
        for gear in self.gear:
            if gear.name == wanted:
                return gear
        raise ValueError(f"gear must be one of {', '.join(map(repr, self.names))}, got {wanted!r}")


@record
class Motor(Part):
    """A permanent-magnet motor that turns with the wheel, and the way its heat takes."""

    table: ClassVar[str] = "motor"
    pole_pairs: u.Number = field("pole pairs", low=1, high=60, whole=True)
    torque_constant_peak: u.NewtonMetrePerAmpere = field(
        "torque per ampere of peak phase current at the reference temperature", low=0.005, high=20
    )
    phase_resistance: u.Ohm = field("resistance of one phase (star) at the reference temperature", low=0.0005, high=20, unit="mohm")
    reference_temperature: u.Kelvin = field("temperature for which resistance and torque constant hold", low=233.15, high=373.15, unit="°C")
    quadrature_inductance: u.Henry = field("inductance of one phase in the quadrature axis", low=1e-6, high=0.1, unit="mH")
    magnet_temperature_coefficient: u.PerKelvin = field("change of the magnets' flux with temperature", low=-0.01, high=0, unit="%/K")
    hysteresis_torque: u.NewtonMetre = field("drag torque of the iron that does not depend on speed", low=0, high=20)
    eddy_drag: u.NewtonMetreSecondPerRadian = field("drag torque of the iron per rotation rate", low=0, high=1)
    mass: u.Kilogram = field("mass", low=0.05, high=20)
    rotor_inertia: u.KilogramSquareMetre = field("moment of inertia of what turns with the wheel", low=1e-6, high=1)
    winding_capacity: u.JoulePerKelvin = field("thermal capacity of the winding", low=1, high=20e3)
    stator_capacity: u.JoulePerKelvin = field("thermal capacity of the stator iron", low=1, high=20e3)
    housing_capacity: u.JoulePerKelvin = field("thermal capacity of the housing", low=1, high=20e3)
    winding_to_stator: u.WattPerKelvin = field("thermal conductance from winding to stator iron", low=0.01, high=1000)
    stator_to_housing: u.WattPerKelvin = field("thermal conductance from stator iron to housing", low=0.01, high=1000)
    housing_diameter: u.Metre = field("outer diameter of the housing", low=0.03, high=0.6, unit="mm")
    housing_width: u.Metre = field("width of the housing", low=0.01, high=0.3, unit="mm")
    emissivity: u.Ratio = field("emissivity of the housing", low=0, high=1)
    insulation_class: str = field("thermal class of the winding's insulation", words=("A", "E", "B", "F", "H"))
    magnet_limit: u.Kelvin = field("temperature that the magnets may reach", low=303.15, high=523.15, unit="°C")
    direct_inductance: u.Henry | None = field(
        "inductance of one phase in the direct axis; that of the quadrature axis if left out", low=1e-6, high=0.1, unit="mH", default=None
    )
    saturation_current: u.Ampere | None = field(
        "phase current, peak, at which the torque per ampere has fallen to 71 %; no fall if left out", low=1, high=5000, default=None
    )
    demagnetising_current: u.Ampere | None = field(
        "greatest direct current against the magnets, peak, that they bear at their limit of temperature", low=0.5, high=5000, default=None
    )
    magnet_capacity: u.JoulePerKelvin | None = field(
        "thermal capacity of the magnets and their ring; counted with the housing if left out", low=1, high=20e3, default=None
    )
    magnet_to_housing: u.WattPerKelvin | None = field(
        "thermal conductance from the magnets' ring to the housing", low=0.01, high=1000, default=None
    )
    gap_diameter: u.Metre | None = field("diameter of the air gap", low=0.02, high=0.6, unit="mm", default=None)
    gap_width: u.Metre | None = field("radial width of the air gap", low=0.0002, high=0.01, unit="mm", default=None)
    stack_length: u.Metre | None = field("length of the iron along the axle", low=0.003, high=0.3, unit="mm", default=None)
    end_winding_area: u.SquareMetre | None = field(
        "surface of the ends of the winding towards the covers, both sides", low=1e-4, high=0.5, default=None
    )
    stator_to_axle: u.WattPerKelvin | None = field(
        "thermal conductance from stator iron through the axle to frame and air; none if left out", low=0, high=100, default=None
    )


@record
class Controller(Part):
    """The motor's power electronics and its limits."""

    table: ClassVar[str] = "controller"
    phase_current_limit: u.Ampere = field("greatest phase current, peak", low=0.5, high=500)
    battery_current_limit: u.Ampere = field("greatest current drawn from the packs", low=0.1, high=300)
    charge_current_limit: u.Ampere = field("greatest current fed back to the packs", low=0, high=300)
    voltage_rating: u.Volt = field("greatest voltage at the terminals", low=5, high=200)
    bridge_resistance: u.Ohm = field("resistance of the bridge in each phase", low=0, high=1, unit="mohm")
    standby_power: u.Watt = field("power drawn with the motor off", low=0, high=100)
    modulation: str = field("how the bridge makes its voltage", words=("space vector", "sine triangle", "six step"))
    derating_start: u.Kelvin = field("winding temperature at which the torque begins to be cut back", low=303.15, high=523.15, unit="°C")
    derating_end: u.Kelvin = field("winding temperature at which no torque is left", low=303.15, high=523.15, unit="°C")
    mass: u.Kilogram = field("mass", low=0.01, high=10)
    weakening_current: u.Ampere | None = field(
        "greatest direct current against the magnets, peak, that it commands to weaken their field; none if left out",
        low=0,
        high=500,
        default=None,
    )
    electrical_frequency_limit: u.Hertz | None = field(
        "greatest electrical frequency that it follows; no limit if left out", low=10, high=10e3, default=None
    )
    bus_capacitance: u.Farad | None = field("capacitance on its direct-current side", low=1e-6, high=0.1, unit="uF", default=None)
    bridge_capacity: u.JoulePerKelvin | None = field(
        "thermal capacity of the power switches with their base", low=0.01, high=1000, default=None
    )
    bridge_to_sink: u.WattPerKelvin | None = field(
        "thermal conductance from the switches to the heat sink", low=0.01, high=1000, default=None
    )
    sink_capacity: u.JoulePerKelvin | None = field("thermal capacity of the heat sink", low=0.1, high=20e3, default=None)
    sink_to_air: u.WattPerKelvin | None = field("thermal conductance from the heat sink to the air", low=0.01, high=100, default=None)
    bridge_limit: u.Kelvin | None = field("temperature that the switches may reach", low=323.15, high=473.15, unit="°C", default=None)


@record
class TorqueSensor(Part):
    """Where pedal torque is measured, and how late."""

    table: ClassVar[str] = "sensor"
    location: str = field("where it measures", words=("one crank", "spindle", "reaction member"))
    filter_corner: u.Hertz = field("corner frequency of the first-order filter", low=0.1, high=10e3)
    dead_time: u.Second = field("time from torque to command, without filter; half a sampling period counts", low=0, high=1, unit="ms")


@record
class Assist(Part):
    """How the motor answers the pedals."""

    table: ClassVar[str] = "assist"
    driving_gain: Mapping[str, u.Ratio] = field("motor torque per crank torque while the pedals drive, by gear", low=0, high=10)
    resisting_gain: Mapping[str, u.Ratio] = field("motor torque per crank torque while the pedals resist, by gear", low=0, high=10)
    torque_cap: u.NewtonMetre = field("greatest motor torque that the assist asks for", low=0, high=500)
    ramp_time: u.Second = field("time to bring the assist in or out", low=0, high=60)
    trim_step: u.NewtonMetre = field("one step of trim torque", low=0, high=100)
    trim_cap: u.NewtonMetre = field("greatest trim torque", low=0, high=300)


@record
class Brake(Part):
    """The friction brake."""

    table: ClassVar[str] = "brake"
    kind: str = field("where it acts", words=("none", "rim", "disc"))
    greatest_torque: u.NewtonMetre = field("greatest braking torque at the wheel", low=0, high=500)


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
