"""The sensor of pedal torque, and how the motor answers it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from .. import units as u
from .fields import field
from .records import Part

record = dataclass(frozen=True, kw_only=True, eq=False, repr=False)


@record
class Chain(Part):
    """From torque to command: strain element or a given sensitivity, amplifier, filter, converter, controller input."""

    table: ClassVar[str] = "sensor.chain"
    element: str = field("what is strained", words=("hollow shaft", "arm", "rated"))
    shaft_diameter: u.Metre | None = field("outer diameter of the strained shaft", low=0.003, high=0.1, unit="mm", default=None)
    shaft_bore: u.Metre | None = field("its bore", low=0, high=0.095, unit="mm", default=None)
    arm_height: u.Metre | None = field("height of the strained arm, in the plane of bending", low=0.002, high=0.1, unit="mm", default=None)
    arm_width: u.Metre | None = field("its width, across the plane of bending", low=0.001, high=0.1, unit="mm", default=None)
    arm_distance: u.Metre | None = field(
        "from the force on the arm to the middle of the gauges", low=0.005, high=0.4, unit="mm", default=None
    )
    arm_length: u.Metre | None = field("from the force on the arm to the axle that it turns", low=0.01, high=0.4, unit="mm", default=None)
    elastic_modulus: u.Pascal | None = field("elastic modulus of the element", low=1e9, high=5e11, unit="GPa", default=None)
    poisson_ratio: u.Ratio | None = field("its Poisson ratio", low=0, high=0.5, default=None)
    element_yield: u.Pascal | None = field("its yield strength", low=1e7, high=3e9, unit="MPa", default=None)
    element_strength: u.Pascal | None = field("its tensile strength", low=1e7, high=4e9, unit="MPa", default=None)
    element_endurance: u.Pascal | None = field("alternating stress that it bears for ever", low=1e6, high=2e9, unit="MPa", default=None)
    stress_concentration: u.Ratio | None = field(
        "greatest stress at a hole, keyway or shoulder over that of the plain section; 1 if left out", low=1, high=6, default=None
    )
    gauge_factor: u.Ratio | None = field("relative change of a gauge's resistance per strain", low=0.5, high=300, default=None)
    bridge: str | None = field(
        "how many of the bridge's arms are active gauges; full if left out", words=("quarter", "half", "full"), default=None
    )
    gauge_resistance: u.Ohm | None = field("resistance of one gauge", low=50, high=20e3, unit="ohm", default=None)
    rated_torque: u.NewtonMetre | None = field(
        "torque at which the element gives its rated output; of a bought one its rating", low=0.1, high=2000, default=None
    )
    rated_output: u.VoltPerVolt | None = field(
        "output at that torque over the excitation; for a shaft or arm as measured, instead of shape and gauge factor",
        low=1e-5,
        high=0.2,
        unit="mV/V",
        default=None,
    )
    excitation: u.Volt = field("voltage across the bridge", low=0.1, high=24)
    amplifier_gain: u.Ratio = field("output voltage over bridge voltage", low=1, high=1e5)
    rest_output: u.Volt = field("output of the amplifier without torque", low=0, high=24)
    lowest_output: u.Volt = field("lowest output of the amplifier", low=0, high=24)
    highest_output: u.Volt = field("highest output of the amplifier", low=0.1, high=24)
    input_noise: u.VoltPerRootHertz | None = field("noise of the amplifier at its input", low=0, high=1e-5, unit="nV/Hz^0.5", default=None)
    zero_drift: u.NewtonMetrePerKelvin | None = field(
        "drift of the zero with temperature, as torque where it is measured", low=0, high=10, default=None
    )
    warming: u.KelvinRise | None = field("change of the element's temperature after the zero was last set", low=0, high=80, default=None)
    upper_resistor: u.Ohm | None = field(
        "between amplifier and converter: of a filter or a divider; none if left out", low=1, high=1e7, default=None
    )
    lower_resistor: u.Ohm | None = field(
        "between converter and ground, which makes a divider; none if left out", low=1, high=1e8, default=None
    )
    converter_resistance: u.Ohm | None = field(
        "resistance of the converter's input, which loads the resistors; endless if left out", low=1e3, high=1e10, default=None
    )
    filter_capacitor: u.Farad | None = field("at the converter's input; none if left out", low=1e-11, high=1e-2, unit="uF", default=None)
    converter_range: u.Volt = field("voltage at which the converter is full", low=0.1, high=24)
    converter_bits: u.Number = field("bits of the converter", low=6, high=32, whole=True)
    sampling_frequency: u.Hertz | None = field("how often it samples", low=1, high=1e6, unit="Hz", default=None)
    averaged_samples: u.Number | None = field("samples in the moving average; 1 if left out", low=1, high=4096, whole=True, default=None)
    processing_time: u.Second | None = field(
        "converting, computing and sending, from sample to command; none if left out", low=0, high=1, unit="ms", default=None
    )
    dead_band: u.NewtonMetre | None = field("crank torque below which nothing is commanded; none if left out", low=0, high=50, default=None)
    input_low: u.Volt = field("converter voltage below which the controller commands nothing more", low=0, high=24)
    input_high: u.Volt = field("converter voltage above which the controller commands nothing more", low=0.1, high=24)
    torque_per_volt: u.NewtonMetrePerVolt = field("commanded motor torque per volt of the scaled input", low=0.01, high=2000)
    input_scale: u.Ratio | None = field(
        "factor that the controller puts on its input; what the assist gain needs if left out", low=0, high=100, default=None
    )


@record
class TorqueSensor(Part):
    """Where pedal torque is measured, and how late."""

    table: ClassVar[str] = "sensor"
    location: str = field("where it measures", words=("one crank", "spindle", "reaction member"))
    filter_corner: u.Hertz = field("corner frequency of the first-order filter", low=0.1, high=10e3)
    dead_time: u.Second = field("time from torque to command, without filter; half a sampling period counts", low=0, high=1, unit="ms")
    chain: Chain | None = field("how the torque becomes a command", default=None)


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
