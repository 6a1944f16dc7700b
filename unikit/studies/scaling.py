"""What may be assumed of a direct-drive hub motor from its mass and size, with the range in which real ones lie.

All ranges are common practice without a source, from what such motors weigh and
are made of, unless a basis says otherwise.  They are first guesses with honest
width, to be replaced by a bench run as soon as there is a motor.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from ..formulas import datasheet as printed
from ..inputs import Datasheet, InputError, Problem, Wheel
from ..inputs.fields import Spec
from .estimates import band_of

PRACTICE = "common practice, no source"
GIVEN, DERIVED, ASSUMED, LEFT_OUT = "given", "derived", "assumed", "left out"


@dataclass(frozen=True)
class Known:
    """A number with the interval in which it lies, how it is known, and from what."""

    value: float
    low: float
    high: float
    how: str
    basis: str

    def within(self, spec: Spec) -> Known:
        """The same, cut off at the limits of a field."""
        low, value, high = (min(max(number, spec.low), spec.high) for number in (self.low, self.value, self.high))
        return replace(self, low=low, value=value, high=high)


@dataclass(frozen=True)
class Share:
    """A coefficient by which one number follows from another: likely value, low and high end, and its words."""

    likely: float
    low: float
    high: float
    words: str

    def of(self, base: Known, name: str) -> Known:
        """What follows from a number of that name; both intervals at their worst."""
        text = f"{self.words}, {self.low:.3g} to {self.high:.3g}; from {name} ({base.how}); {PRACTICE}"
        return Known(self.likely * base.value, self.low * base.low, self.high * base.high, ASSUMED, text)

    def into(self, base: Known, name: str) -> Known:
        """What a number of that name follows from: the other way round."""
        text = f"{self.words}, {self.low:.3g} to {self.high:.3g}; from {name} ({base.how}); {PRACTICE}"
        return Known(base.value / self.likely, base.low / self.high, base.high / self.low, ASSUMED, text)


DENSITY = Share(2000.0, 1500.0, 2800.0, "2000 kg/m³ over the whole housing")
FLATNESS = Share(0.28, 0.2, 0.45, "width 0.28 of the diameter")
IN_RIM = Share(0.4, 0.3, 0.6, "diameter 0.4 of the rim's")
STRENGTH = Share(0.5, 0.3, 0.7, "motor constant 0.5 N·m/W^½ for each kg")
ELECTRIC_TIME = Share(2.5e-3, 1e-3, 6e-3, "inductance over resistance 0.0025 s")
HYSTERESIS = Share(0.08, 0.04, 0.16, "0.08 N·m for each kg")
EDDY = Share(0.0025, 0.001, 0.006, "0.0025 N·m·s/rad for each kg")
HYSTERESIS_SHARE = Share(0.55, 0.3, 0.8, "share 0.55 of the drag without load")
RIM_SHARE = Share(0.6, 0.4, 0.8, "0.6 of mass times the square of the radius")
BY_MASS = {
    "winding_capacity": Share(90.0, 60.0, 120.0, "90 J/K for each kg: a quarter is copper"),
    "stator_capacity": Share(200.0, 130.0, 310.0, "200 J/K for each kg: iron and its carrier"),
    "housing_capacity": Share(250.0, 150.0, 420.0, "250 J/K for each kg: covers, rim and magnets"),
}
BY_SURFACE = {
    "winding_to_stator": Share(75.0, 40.0, 130.0, "75 W/K for each m² of housing"),
    "stator_to_housing": Share(28.0, 15.0, 50.0, "28 W/K for each m² of housing"),
}
FIXED = {
    "pole_pairs": Known(20.0, 10.0, 30.0, ASSUMED, f"direct-drive hubs have 10 to 30; {PRACTICE}"),
    "magnet_temperature_coefficient": Known(-0.0012, -0.0013, -0.001, ASSUMED, "NdFeB; public tables of magnet grades"),
    "emissivity": Known(0.85, 0.7, 0.95, ASSUMED, f"painted or anodised; {PRACTICE}"),
    "magnet_limit": Known(353.15, 353.15, 423.15, ASSUMED, f"the lowest grade of NdFeB bears 80 °C, better ones up to 150 °C; {PRACTICE}"),
    "reference_temperature": Known(293.15, 288.15, 298.15, ASSUMED, f"20 °C, a bench in a room; {PRACTICE}"),
}
INSULATION = ("B", f"class B, 130 °C by IEC 60085: the least that motor wire is sold for; {PRACTICE}")


@dataclass(frozen=True)
class Size:
    """Mass, diameter and width of a motor, each with how it is known."""

    mass: Known
    diameter: Known
    width: Known

    @property
    def surface(self) -> Known:
        """Surface of the housing: rim and both covers."""
        area = lambda d, w: math.pi * d * w + math.pi / 2 * d**2
        return self._with(area)

    @property
    def radius_squared_mass(self) -> Known:
        """Mass times the square of the outer radius."""
        ends = zip(*((one.value, one.low, one.high) for one in (self.mass, self.diameter)), strict=True)
        return Known(*(mass * across**2 / 4 for mass, across in ends), self._how(self.mass, self.diameter), "")

    def _with(self, measure) -> Known:
        ends = ((self.diameter.value, self.width.value), (self.diameter.low, self.width.low), (self.diameter.high, self.width.high))
        return Known(*(measure(*pair) for pair in ends), self._how(self.diameter, self.width), "")

    @staticmethod
    def _how(*parts: Known) -> str:
        return next((how for how in (ASSUMED, DERIVED) if how in [part.how for part in parts]), GIVEN)


def given(sheet: Datasheet, path: str, value: float) -> Known:
    """A number as it is printed."""
    band = band_of(sheet, path)
    words = "as printed" if path in sheet.spreads else f"as printed; tolerance of {band:.0%} assumed, {PRACTICE}"
    return Known(value, value * (1 - band), value * (1 + band), GIVEN, words)


def size(sheet: Datasheet, wheel: Wheel | None, constant: Known, resistance: Known | None) -> Size:
    """Mass and size: as printed, from each other, from what the motor gives, or from the wheel it must fit.

    Raises InputError where nothing says how large the motor is, or where it is too large for the wheel.
    """
    mass, diameter, width = (
        None if getattr(sheet, name) is None else given(sheet, name, getattr(sheet, name)) for name in ("mass", "outer_diameter", "width")
    )
    if wheel is not None and diameter is not None and diameter.value >= wheel.bead_seat_diameter:
        found = f"a rim of {1000 * wheel.bead_seat_diameter:.0f} mm"
        raise InputError(
            [Problem("", "outer_diameter", f"{1000 * diameter.value:.0f} mm", "a diameter within the rim of the wheel", found)]
        )
    strength = _strength(sheet, constant, resistance)
    if mass is None and diameter is not None:
        width = width or FLATNESS.of(diameter, "outer_diameter")
        mass = DENSITY.of(_volume(diameter, width), "outer_diameter and width")
    if mass is None and strength is not None:
        mass = STRENGTH.into(strength, "motor constant")
    if mass is None and wheel is not None:
        diameter = IN_RIM.of(Known(*3 * (wheel.bead_seat_diameter,), GIVEN, ""), "the wheel's rim")
        width = width or FLATNESS.of(diameter, "outer_diameter")
        mass = DENSITY.of(_volume(diameter, width), "outer_diameter and width")
    if mass is None:
        expected = "mass, outer_diameter, motor_constant or resistance, or a wheel that it must fit"
        raise InputError([Problem("", "mass", "", expected, "none of them: nothing says how large the motor is")])
    if diameter is None:
        volume = DENSITY.into(mass, "mass")
        across = lambda one, flat: (4 * one / (math.pi * flat)) ** (1 / 3)
        basis = f"{volume.basis}; {FLATNESS.words}"
        ends = ((volume.value, FLATNESS.likely), (volume.low, FLATNESS.high), (volume.high, FLATNESS.low))
        diameter = Known(*(across(*pair) for pair in ends), ASSUMED, basis)
    return Size(mass, diameter, width or FLATNESS.of(diameter, "outer_diameter"))


def _volume(diameter: Known, width: Known) -> Known:
    of = lambda d, w: math.pi / 4 * d**2 * w
    ends = ((diameter.value, width.value), (diameter.low, width.low), (diameter.high, width.high))
    return Known(*(of(*pair) for pair in ends), ASSUMED if ASSUMED in (diameter.how, width.how) else DERIVED, "")


def _strength(sheet: Datasheet, constant: Known, resistance: Known | None) -> Known | None:
    """Motor constant: as printed, else from torque constant and resistance."""
    if sheet.motor_constant is not None:
        return given(sheet, "motor_constant", sheet.motor_constant)
    if resistance is None:
        return None
    per = math.sqrt(1.5)
    return Known(
        constant.value / per / math.sqrt(resistance.value),
        constant.low / per / math.sqrt(resistance.high),
        constant.high / per / math.sqrt(resistance.low),
        DERIVED,
        "motor.motor_constant",
    )


def resistance_by_mass(constant: Known, mass: Known) -> Known:
    """Resistance of a motor of this mass, where the datasheet prints none."""
    strength = STRENGTH.of(mass, "mass")
    ends = ((constant.value, strength.value), (constant.low, strength.high), (constant.high, strength.low))
    return Known(*(printed.resistance_by_loss(*pair) for pair in ends), ASSUMED, strength.basis)
