"""The numbers of a build's sensing chain, stage by stage; all torques are those at the crank unless a name says otherwise."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..formulas import converter, pedalling, sensing, shafts, strain
from ..formulas.road import GRAVITY
from ..inputs import Build, Chain, Gear
from ..inputs.chain_rules import divider
from ..units import Values
from .legs import greatest_torque
from .split import assist_gain, felt_share

NAN = float("nan")
GAUGES = {None: 4, "full": 4, "half": 2, "quarter": 1}
PEAK_TO_PEAK = 6.6  # rms of a noise to what it spans all but one moment in a thousand; common practice, no source
ROOM = 293.15  # K, of the gauges
FORWARD, BACK = 1, -1


@dataclass(frozen=True)
class Signal:
    """A chain in one gear of a build: what each stage makes of a torque, and where it ends.

    ``share`` is the torque at the element over that at the crank, ``seen`` the
    part of the turn in which a leg is felt: a sensor on one crank feels one of
    two, and its torque counts double.
    """

    build: Build
    chain: Chain
    gear: Gear
    share: float
    seen: float

    # -- element and bridge -----------------------------------------------------------

    @cached_property
    def peak(self) -> tuple[float, float]:
        """The rider's greatest crank torque from a standstill at the best angle, driving and holding back, as sizes."""
        best = pedalling.shape_peak(self.build.rider.torque_floor)
        return tuple(float(greatest_torque(self.build, 0.0, way) * best) for way in (False, True))

    @cached_property
    def weight_torque(self) -> float:
        """Torque of the rider who stands on one level pedal."""
        return float(self.build.rider.mass * GRAVITY * self.build.cranks.length)

    @cached_property
    def strain(self) -> float:
        """Strain at the gauges per torque; nan for a bought element."""
        part = self.chain
        if part.element == "hollow shaft":
            modulus = strain.shear_modulus(part.elastic_modulus, part.poisson_ratio)
            return float(strain.torsion_strain(self.share, part.shaft_diameter, part.shaft_bore or 0.0, modulus))
        if part.element == "arm":
            force = self.share / part.arm_length
            return float(strain.bending_strain(force, part.arm_distance, part.arm_width, part.arm_height, part.elastic_modulus))
        return NAN

    @cached_property
    def output(self) -> float:
        """Output of the bridge over its excitation per torque, as the straight line; what was measured goes before the shape."""
        if self.chain.rated_output is not None:
            return float(self.chain.rated_output / self.chain.rated_torque * self.share)
        return self.shaped

    @cached_property
    def shaped(self) -> float:
        """The same by shape and gauges; nan for a bought element."""
        if self.chain.element == "rated":
            return NAN
        return float(strain.bridge_output_linear(self.chain.gauge_factor, self.strain, GAUGES[self.chain.bridge]))

    @cached_property
    def curvature(self) -> float:
        """How far the bridge's straight line is above the exact output at the greatest torque, as a share."""
        if self.chain.element == "rated":
            return NAN
        exact = strain.bridge_output(self.chain.gauge_factor, self.strain * max(self.peak), GAUGES[self.chain.bridge])
        return float(self.shaped * max(self.peak) / exact - 1)

    # -- voltages -----------------------------------------------------------------------

    @cached_property
    def divider(self) -> float:
        """Voltage at the converter over output of the amplifier."""
        return float(divider(self.chain))

    @cached_property
    def amplified(self) -> float:
        """Output of the amplifier per torque, volts."""
        return float(sensing.sensitivity(self.output, 1.0, self.chain.excitation, self.chain.amplifier_gain))

    @cached_property
    def sensitivity(self) -> float:
        """Voltage at the converter per torque, volts."""
        return self.amplified * self.divider

    @cached_property
    def step(self) -> float:
        """One step of the converter as torque."""
        return float(sensing.adc_step(self.chain.converter_range, self.chain.converter_bits) / self.sensitivity)

    def ends(self, way: int) -> dict[str, float]:
        """Torque, as a size, at which each stage ends, driving or holding back; the motor's torque cap is the last one."""
        chain, rest = self.chain, self.chain.rest_output
        amplifier, full, last = (
            (chain.highest_output, chain.converter_range, chain.input_high)
            if way == FORWARD
            else (chain.lowest_output, 0.0, chain.input_low)
        )
        here = self.sensitivity
        return {
            "amplifier": abs(float(sensing.saturation_torque(amplifier, rest, self.amplified))),
            "converter": abs(float(sensing.saturation_torque(full, rest * self.divider, here))),
            "controller input": abs(float(sensing.saturation_torque(last, rest * self.divider, here))),
            "torque cap": self.cap / self.gain(way) if self.gain(way) > 0 else float("inf"),
        }

    def saturation(self, way: int) -> tuple[float, str]:
        """The torque at which the first stage of the chain itself ends, and which one."""
        ends = {name: value for name, value in self.ends(way).items() if name != "torque cap"}
        first = min(ends, key=ends.__getitem__)
        return ends[first], first

    def first(self, way: int) -> str:
        """What first ends the motor's answer as a push grows, the motor's torque cap among it."""
        ends = self.ends(way)
        return min(ends, key=ends.__getitem__)

    # -- gains ----------------------------------------------------------------------------

    @cached_property
    def cap(self) -> float:
        """Greatest motor torque that the assist asks for."""
        return float(self.build.assist.torque_cap) if self.build.assist else 0.0

    def wanted(self, way: int) -> float:
        """Motor torque per torque felt that the build's assist gain needs; twice the gain where one leg of two is felt."""
        return float(assist_gain(self.build, self.gear, way == BACK)) / self.seen

    def scale(self, way: int) -> float:
        """The controller's input scale that this needs."""
        return float(sensing.input_scale(self.wanted(way), self.sensitivity, self.chain.torque_per_volt))

    @cached_property
    def disagreement(self) -> float:
        """Gain that the chain's own input scale gives over the one that the build states; nan without a scale or a gain."""
        if self.chain.input_scale is None or self.wanted(FORWARD) == 0:
            return NAN
        return float(sensing.assist_gain(self.sensitivity, self.chain.torque_per_volt, self.chain.input_scale) / self.wanted(FORWARD))

    def gain(self, way: int) -> float:
        """Motor torque per torque felt as the chain gives it: by its own input scale, or as wanted where it leaves the scale open."""
        return self.wanted(way) * (1.0 if np.isnan(self.disagreement) else self.disagreement)

    def command(self, torque: Values, steps: bool = True) -> Values:
        """Motor torque that the chain commands for torques at the crank, driving positive."""
        torque = np.asarray(torque, float)
        gain = np.where(torque < 0, self.gain(BACK), self.gain(FORWARD))
        low, high = -self.saturation(BACK)[0], self.saturation(FORWARD)[0]
        made = sensing.commanded_torque(torque, gain, self.chain.dead_band or 0.0, low, high, self.step if steps else 0.0)
        return np.clip(made, -self.cap, self.cap)

    @cached_property
    def largest_gain(self) -> float:
        """The larger gain of both ways: what counts where nobody knows the sign."""
        return max(self.gain(FORWARD), self.gain(BACK))

    # -- noise, drift, time -----------------------------------------------------------------

    @cached_property
    def corner(self) -> float:
        """Corner frequency of the chain's own filter; nan without one."""
        if self.chain.upper_resistor is None or self.chain.filter_capacitor is None:
            return NAN
        return float(sensing.filter_corner(self.chain.upper_resistor * self.divider, self.chain.filter_capacitor))

    @cached_property
    def dead_time(self) -> float:
        """Holding, averaging, computing and sending; nan where the sampling is not stated."""
        chain = self.chain
        if chain.sampling_frequency is None:
            return NAN
        return float(sensing.chain_dead_time(chain.sampling_frequency, chain.averaged_samples or 1, chain.processing_time or 0.0))

    @cached_property
    def noise(self) -> float:
        """Noise (rms) of gauges and amplifier after filter and average, as torque; nan where the amplifier's is not stated."""
        chain = self.chain
        if chain.input_noise is None:
            return NAN
        corner = self.build.sensor.filter_corner if np.isnan(self.corner) else self.corner
        band = converter.noise_bandwidth(corner)
        gauges = converter.johnson_noise(chain.gauge_resistance or 0.0, ROOM, band)
        whole = np.hypot(gauges, converter.amplifier_noise(chain.input_noise, band))
        if chain.sampling_frequency is not None:
            whole = whole * converter.averaged_share(chain.averaged_samples or 1, chain.sampling_frequency, corner)
        return float(whole / (chain.excitation * self.output))

    @cached_property
    def rounding(self) -> float:
        """Noise (rms) of the converter's steps, as torque."""
        return float(converter.quantisation_noise(self.step))

    @cached_property
    def resolution(self) -> float:
        """The smallest change of torque that is told from none: a step of the converter, or what the noise spans."""
        return float(np.fmax(self.step, PEAK_TO_PEAK * self.noise))

    @property
    def resolution_by(self) -> str:
        """What sets it, in words."""
        if np.isnan(self.noise):
            return "step of the converter; noise unknown without input_noise"
        return "step of the converter" if self.step >= self.resolution else "noise"

    @cached_property
    def effective_bits(self) -> float:
        """Bits of the ideal converter that would be as noisy over the range of the chain; nan where the noise is not known."""
        if np.isnan(self.noise):
            return NAN
        span = (self.saturation(FORWARD)[0] + self.saturation(BACK)[0]) / (2 * np.sqrt(2))
        return float(converter.effective_bits(converter.signal_to_noise_decibel(span, np.hypot(self.noise, self.rounding))))

    @cached_property
    def drift(self) -> float:
        """Torque at the crank that a drifted zero pretends; nan where drift or warming are not stated."""
        if self.chain.zero_drift is None or self.chain.warming is None:
            return NAN
        return float(sensing.phantom_torque(self.chain.zero_drift, self.chain.warming, self.share, 1.0))

    @cached_property
    def phantom(self) -> float:
        """Motor torque, as a size, that the drifted zero commands, whichever way it has drifted."""
        return min(self.largest_gain * self.drift, self.cap) if not np.isnan(self.drift) else NAN

    # -- what the element bears ---------------------------------------------------------------

    @cached_property
    def stress(self) -> float:
        """Equivalent stress of the plain section where it is greatest, per torque; nan for a bought element."""
        part = self.chain
        if part.element == "hollow shaft":
            shear = shafts.torsion_stress(self.share, part.shaft_diameter, part.shaft_bore or 0.0)
            return float(shafts.von_mises(0.0, shear))
        if part.element == "arm":  # at its root, not at the gauges
            return float(strain.bending_stress(self.share / part.arm_length, part.arm_length, part.arm_width, part.arm_height))
        return NAN

    @cached_property
    def overload(self) -> float:
        """Factor by which the rider's greatest torque may grow until the element yields, or until a bought one leaves its rating."""
        if self.chain.element == "rated":
            return float(self.chain.rated_torque / (self.share * max(self.peak)))
        return NAN if self.chain.element_yield is None else float(self.chain.element_yield / (self.stress * max(self.peak)))

    @cached_property
    def fatigue(self) -> float:
        """Factor by which turns between the greatest torques of both ways may grow for a life without end."""
        part = self.chain
        if part.element_endurance is None or part.element_strength is None:
            return NAN
        forward, back = self.peak
        notched = self.stress * (part.stress_concentration or 1.0)
        alternating, mean = notched * (forward + back) / 2, notched * abs(forward - back) / 2
        return float(shafts.goodman_factor(alternating, mean, part.element_endurance, part.element_strength))

    # -- a broken wire ------------------------------------------------------------------------

    def fault(self, way: int) -> float:
        """Motor torque, as a size, that a sensor resting on a rail commands."""
        return min(self.gain(way) * self.saturation(way)[0], self.cap)

    @cached_property
    def fault_window(self) -> float:
        """Voltage at the converter by which the nearer rail lies outside the controller's input: what a check has to tell a fault by."""
        high = min(self.chain.highest_output * self.divider, self.chain.converter_range) - self.chain.input_high
        low = self.chain.input_low - self.chain.lowest_output * self.divider
        return float(min(high, low))


def missing(build: Build, gear: Gear) -> str:
    """Why this build has no signal in a gear, in words; empty if it has one."""
    if build.motor is None or build.assist is None:
        return "no motor with an assist"
    if build.sensor.chain is None:
        return "no [sensor.chain]"
    if build.sensor.location == "reaction member" and not gear.ratio > 1:
        return "what holds the gear still feels nothing, unless the gear steps up"
    return ""


def signal(build: Build, gear: Gear) -> Signal:
    """The chain of a build in a gear.

    Raises ValueError where there is none, with what is missing.
    """
    if build.motor is None:
        raise ValueError(f"build {build.name!r} has no motor: the sensing study needs one")
    why = missing(build, gear)
    if why:
        raise ValueError(f"build {build.name!r} in gear {gear.name!r}: {why}; the sensing study needs that")
    _one(build, gear)
    return Signal(build, build.sensor.chain, gear, element_share(build, gear), felt_share(build))


def _one(build: Build, gear: Gear) -> None:
    """Refuse a column of variants: ends and words of a chain are those of one."""
    for part in (build.sensor.chain, build.rider, build.cranks, build.assist, gear):
        values = list(vars(part).values())
        values += [one for value in values if isinstance(value, Mapping) for one in value.values()]
        if any(np.ndim(value) for value in values if isinstance(value, np.ndarray)):
            raise ValueError(f"build {build.name!r} holds a column of variants: the sensing study takes one at a time")


def element_share(build: Build, gear: Gear) -> float:
    """Torque at the element over that at the crank, pedals driving."""
    return float(sensing.reaction_share(gear.ratio, gear.efficiency)) if build.sensor.location == "reaction member" else 1.0
