"""The motor and its electronics."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from .. import units as u
from .fields import field
from .records import Part

record = dataclass(frozen=True, kw_only=True, eq=False, repr=False)


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
