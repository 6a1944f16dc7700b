"""The one pint registry, and the unit names that signatures are written in.

Inside the kit every number is a plain SI float or array.  Units exist at the
edge only: in files, in text boxes, and behind ``formula.with_units``.  This
module reads a number with its unit without evaluating anything, and refuses
what dimensions alone cannot tell apart (torque and energy, turning and
frequency, a temperature and a temperature rise).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Union

import numpy as np

Values = Union[float, np.ndarray]
LONGEST_TEXT = 64


class UnitError(ValueError):
    """A text or quantity does not carry the unit that was asked for."""


@dataclass(frozen=True)
class Kind:
    """What a number measures: its SI unit and the units a person may write for it."""

    name: str
    base: str
    allowed: dict[str, str]

    @property
    def examples(self) -> str:
        """The allowed units as one would write them, for messages."""
        return ", ".join(unit or "a bare number" for unit in self.allowed)


@dataclass(frozen=True)
class Unit:
    """The unit of one argument or result: a kind, and the unit its number is in."""

    kind: str
    symbol: str


def _kind(name: str, *units: str, **aliases: str) -> tuple[str, Kind]:
    allowed = {unit: unit for unit in units} | aliases
    return name, Kind(name, units[0], allowed)


KINDS: dict[str, Kind] = dict(
    [
        ("length", Kind("length", "m", {u: u for u in ("m", "mm", "cm", "km", "in", "ft")} | {'"': "in"})),
        _kind("area", "m^2", "cm^2", "mm^2"),
        _kind("mass", "kg", "g", "lb"),
        _kind("time", "s", "ms", "min", "h"),
        ("speed", Kind("speed", "m/s", {"m/s": "m/s", "km/h": "km/h", "kmh": "km/h", "mph": "mile/hour"})),
        _kind("acceleration", "m/s^2"),
        ("rotation", Kind("rotation", "rad/s", {"rad/s": "rad/s", "rpm": "rpm", "deg/s": "deg/s", "°/s": "deg/s"})),
        ("angle", Kind("angle", "rad", {"rad": "rad", "deg": "deg", "°": "deg"})),
        _kind("frequency", "Hz", "kHz"),
        _kind("force", "N", "kN", "lbf"),
        ("torque", Kind("torque", "N*m", {"N*m": "N*m", "Nm": "N*m", "mN*m": "mN*m", "lbf*ft": "lbf*ft", "lbf*in": "lbf*in"})),
        ("energy", Kind("energy", "J", {"J": "J", "kJ": "kJ", "MJ": "MJ", "W*h": "W*h", "Wh": "W*h", "kWh": "kW*h", "kW*h": "kW*h"})),
        _kind("power", "W", "kW"),
        _kind("current", "A", "mA", "kA"),
        _kind("voltage", "V", "mV"),
        ("resistance", Kind("resistance", "ohm", {"ohm": "ohm", "Ω": "ohm", "mohm": "mohm", "mΩ": "mohm", "kohm": "kohm", "kΩ": "kohm"})),
        _kind("inductance", "H", "mH", "uH"),
        ("capacitance", Kind("capacitance", "F", {"F": "F", "mF": "mF", "uF": "uF", "µF": "uF", "nF": "nF"})),
        _kind("irradiance", "W/m^2"),
        ("magnetic flux", Kind("magnetic flux", "Wb", {"Wb": "Wb", "mWb": "mWb", "V*s": "V*s", "mV*s": "mV*s"})),
        _kind("flux density", "T", "mT"),
        _kind("field strength", "A/m", "kA/m"),
        ("charge", Kind("charge", "A*s", {"A*s": "A*s", "A*h": "A*h", "Ah": "A*h", "mA*h": "mA*h", "mAh": "mA*h"})),
        ("temperature", Kind("temperature", "K", {"K": "K", "°C": "degC", "degC": "degC", "C": "degC", "°F": "degF", "degF": "degF"})),
        ("temperature rise", Kind("temperature rise", "K", {"K": "K"})),
        ("temperature coefficient", Kind("temperature coefficient", "1/K", {"1/K": "1/K", "/K": "1/K", "%/K": "percent/K"})),
        _kind("torque constant", "N*m/A"),
        ("speed constant", Kind("speed constant", "rad/s/V", {"rad/s/V": "rad/s/V", "rpm/V": "rpm/V"})),
        (
            "drag per rotation",
            Kind("drag per rotation", "N*m*s/rad", {"N*m*s/rad": "N*m*s/rad", "N*m*s": "N*m*s/rad", "N*m/rpm": "N*m/rpm"}),
        ),
        _kind("drag per speed", "N*s/m"),
        _kind("torque per speed", "N*s"),
        _kind("thermal resistance", "K/W"),
        _kind("thermal conductance", "W/K"),
        ("thermal capacity", Kind("thermal capacity", "J/K", {"J/K": "J/K", "kJ/K": "kJ/K"})),
        ("heat transfer coefficient", Kind("heat transfer coefficient", "W/m^2/K", {"W/m^2/K": "W/m^2/K", "W/(m^2*K)": "W/m^2/K"})),
        _kind("thermal conductivity", "W/m/K"),
        _kind("kinematic viscosity", "m^2/s"),
        _kind("dynamic viscosity", "Pa*s"),
        _kind("density", "kg/m^3"),
        (
            "pressure",
            Kind("pressure", "Pa", {"Pa": "Pa", "hPa": "hPa", "kPa": "kPa", "bar": "bar", "mbar": "mbar", "MPa": "MPa", "GPa": "GPa"}),
        ),
        _kind("inertia", "kg*m^2"),
        ("specific energy", Kind("specific energy", "J/m", {"J/m": "J/m", "Wh/km": "W*h/km", "W*h/km": "W*h/km"})),
        _kind("resistivity", "ohm*m"),
        _kind("molar energy", "J/mol", "kJ/mol"),
        _kind("volume", "m^3", "cm^3"),
        _kind("motor constant", "N*m/W^0.5"),
        _kind("power density", "W/m^3"),
        _kind("mass power", "W/kg"),
        ("stiffness", Kind("stiffness", "N*m/rad", {"N*m/rad": "N*m/rad", "Nm/rad": "N*m/rad", "N*m/deg": "N*m/deg"})),
        ("angular acceleration", Kind("angular acceleration", "rad/s^2", {"rad/s^2": "rad/s^2", "deg/s^2": "deg/s^2"})),
        _kind("rate", "1/s"),
        _kind("rate squared", "1/s^2"),
        _kind("inverse inertia", "1/kg/m^2"),
        _kind("inverse mass length", "1/kg/m"),
        _kind("inverse length time", "1/m/s"),
        _kind("lean per speed", "s/m"),
        ("ratio", Kind("ratio", "", {"": "", "%": "percent"})),
        ("slope", Kind("slope", "", {"": "", "%": "percent"})),
        ("number", Kind("number", "", {"": ""})),
        ("bridge output", Kind("bridge output", "V/V", {"V/V": "V/V", "mV/V": "mV/V", "uV/V": "uV/V", "µV/V": "uV/V"})),
        (
            "noise density",
            Kind("noise density", "V/Hz^0.5", {"V/Hz^0.5": "V/Hz^0.5", "nV/Hz^0.5": "nV/Hz^0.5", "uV/Hz^0.5": "uV/Hz^0.5"}),
        ),
        ("torque drift", Kind("torque drift", "N*m/K", {"N*m/K": "N*m/K", "Nm/K": "N*m/K", "mN*m/K": "mN*m/K"})),
        ("torque per voltage", Kind("torque per voltage", "N*m/V", {"N*m/V": "N*m/V", "Nm/V": "N*m/V"})),
        ("voltage per torque", Kind("voltage per torque", "V/(N*m)", {"V/(N*m)": "V/(N*m)", "mV/(N*m)": "mV/(N*m)"})),
        _kind("current squared time", "A^2*s"),
        _kind("speed squared time", "m^2/s"),
        _kind("speed cubed time", "m^3/s^2"),
        _kind("root of a pressure", "Pa^0.5", "MPa^0.5"),
        _kind("resistance per length", "ohm/m", "ohm/km", "mohm/m"),
    ]
)


def _annotate(kind: str, symbol: str | None = None) -> Any:
    return Annotated[Values, Unit(kind, KINDS[kind].base if symbol is None else symbol)]


Metre = _annotate("length")
SquareMetre = _annotate("area")
CubicMetre = _annotate("volume")
Kilogram = _annotate("mass")
Second = _annotate("time")
MetrePerSecond = _annotate("speed")
MetrePerSecondSquared = _annotate("acceleration")
RadianPerSecond = _annotate("rotation")
Radian = _annotate("angle")
Hertz = _annotate("frequency")
Newton = _annotate("force")
NewtonMetre = _annotate("torque")
Joule = _annotate("energy")
WattHour = _annotate("energy", "W*h")
Watt = _annotate("power")
Ampere = _annotate("current")
Volt = _annotate("voltage")
Ohm = _annotate("resistance")
Henry = _annotate("inductance")
Weber = _annotate("magnetic flux")
Tesla = _annotate("flux density")
AmperePerMetre = _annotate("field strength")
Coulomb = _annotate("charge")
Kelvin = _annotate("temperature")
Celsius = _annotate("temperature", "degC")
KelvinRise = _annotate("temperature rise")
PerKelvin = _annotate("temperature coefficient")
NewtonMetrePerAmpere = _annotate("torque constant")
RadianPerSecondPerVolt = _annotate("speed constant")
NewtonMetreSecondPerRadian = _annotate("drag per rotation")
NewtonSecondPerMetre = _annotate("drag per speed")
NewtonSecond = _annotate("torque per speed")
KelvinPerWatt = _annotate("thermal resistance")
Farad = _annotate("capacitance")
WattPerSquareMetre = _annotate("irradiance")
WattPerKelvin = _annotate("thermal conductance")
JoulePerKelvin = _annotate("thermal capacity")
WattPerSquareMetreKelvin = _annotate("heat transfer coefficient")
WattPerMetreKelvin = _annotate("thermal conductivity")
SquareMetrePerSecond = _annotate("kinematic viscosity")
PascalSecond = _annotate("dynamic viscosity")
KilogramPerCubicMetre = _annotate("density")
Pascal = _annotate("pressure")
KilogramSquareMetre = _annotate("inertia")
JoulePerMetre = _annotate("specific energy")
OhmMetre = _annotate("resistivity")
JoulePerMole = _annotate("molar energy")
NewtonMetrePerRootWatt = _annotate("motor constant")
WattPerCubicMetre = _annotate("power density")
WattPerKilogram = _annotate("mass power")
NewtonMetrePerRadian = _annotate("stiffness")
RadianPerSecondSquared = _annotate("angular acceleration")
PerSecond = _annotate("rate")
PerSecondSquared = _annotate("rate squared")
PerKilogramSquareMetre = _annotate("inverse inertia")
PerKilogramMetre = _annotate("inverse mass length")
PerMetreSecond = _annotate("inverse length time")
SecondPerMetre = _annotate("lean per speed")
VoltPerVolt = _annotate("bridge output")
VoltPerRootHertz = _annotate("noise density")
NewtonMetrePerKelvin = _annotate("torque drift")
NewtonMetrePerVolt = _annotate("torque per voltage")
VoltPerNewtonMetre = _annotate("voltage per torque")
AmpereSquaredSecond = _annotate("current squared time")
SpeedSquaredSecond = _annotate("speed squared time")
SpeedCubedSecond = _annotate("speed cubed time")
OhmPerMetre = _annotate("resistance per length")
RootPascal = _annotate("root of a pressure")
Ratio = _annotate("ratio")
Slope = _annotate("slope")
Number = _annotate("number")


# -- the guard -----------------------------------------------------------------

_TURNS = {"radian", "degree", "revolution", "turn", "revolutions_per_minute", "revolutions_per_second", "gradian"}
_RATES = {"hertz", "becquerel", "counts_per_second", "curie"}


def meaning(units: Any) -> str | None:
    """Which of two kinds with equal dimensions a pint unit means, or None if it does not say."""
    reg = registry()
    names = dict(reg.Unit(units)._units)
    dims = reg.get_dimensionality(reg.Unit(units))
    if dims == reg.get_dimensionality("joule"):
        if "newton_metre" in names:
            return "torque"
        factors = [reg.get_dimensionality(name) for name in names]
        if any(d in (reg.get_dimensionality("joule"), reg.get_dimensionality("watt")) for d in factors):
            return "energy"
        return "torque" if reg.get_dimensionality("newton") in factors else None
    if dims == reg.get_dimensionality("hertz"):
        stems = {reg.parse_unit_name(name)[0][1] for name in names}
        if stems & _TURNS:
            return "rotation"
        return "frequency" if stems & _RATES else None
    return None


@cache
def registry() -> Any:
    """The kit's pint registry, made at the first call (about 0.4 s) and then shared.

    Converting, adding or comparing a torque with an energy, or a rotation with
    a frequency, raises :class:`UnitError`; ``Nm`` is the newton metre.
    """
    import pint

    class GuardedRegistry(pint.UnitRegistry):
        def convert(self, value, src, dst, inplace=False):
            if src != dst:
                have, want = meaning(src), meaning(dst)
                if have and want and have != want:
                    raise UnitError(f"cannot read {_article(have)} in {src} as {_article(want)} in {dst}: they only share their dimension")
            return super().convert(value, src, dst, inplace)

        def parse_expression(self, input_string, *args, **kwargs):
            text = str(input_string)
            if len(text) > LONGEST_TEXT or "," in text or '"' in text or "**" in text.strip("*"):
                raise UnitError(f"cannot read {shorten(text)} as a quantity: write one number with a decimal point and one unit")
            return super().parse_expression(input_string, *args, **kwargs)

    made = GuardedRegistry(cache_folder=None)
    made.define("newton_metre = newton * meter = Nm = newton_meter")
    compare = made.Quantity.compare

    def guarded_compare(self, other, op):
        if hasattr(other, "units") and self.units != other.units:
            other = other.to(self.units)
        return compare(self, other, op)

    made.Quantity.compare = guarded_compare  # pint compares by root units, past the guard in convert
    pint.set_application_registry(made)
    return made


# -- reading -------------------------------------------------------------------

_NUMBER = re.compile(r"\s*([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?)\s*(.*?)\s*", re.DOTALL)
_SUPERSCRIPTS = str.maketrans({"²": "^2", "³": "^3", "·": "*", "⋅": "*", "µ": "u", "μ": "u", "Ω": "Ω", "º": "°"})


def shorten(value: object, width: int = 40) -> str:
    """Show a value in a message without flooding it."""
    text = repr(value)
    return text if len(text) <= width else text[: width - 4] + "..." + text[0]


def spelling(unit: str) -> str:
    """Bring a written unit to the form of the tables: ``N·m``, ``N m`` and ``N*m`` are one."""
    return re.sub(r"\s*([*/])\s*", r"\1", re.sub(r"(?<=[\w°Ω])\s+(?=[A-Za-z°Ω])", "*", unit.translate(_SUPERSCRIPTS)))


@cache
def _scale(expression: str, base: str) -> float:
    return float(registry().convert(1.0, expression, base)) if expression != base else 1.0


def convert(value: Values, kind: str, unit: str, into: str | None = None) -> Values:
    """Convert a number of a kind from one allowed unit into another (the SI unit by default)."""
    target = KINDS[kind].base if into is None else _lookup(into, kind, into)
    source = _lookup(unit, kind, unit)
    if kind == "temperature":
        if source == target:
            return value
        reg = registry()
        return reg.Quantity(value, source).to(target).magnitude
    return value * _scale(source, target)


def _lookup(unit: str, kind: str, text: object) -> str:
    allowed = KINDS[kind].allowed
    spelled = spelling(unit)
    if spelled in allowed:
        return allowed[spelled]
    other = next((k.name for k in KINDS.values() if spelled in k.allowed and spelled), None)
    if other:
        found = f"{unit!r} is a unit of {other}"
    elif unit.startswith(","):
        found = "a comma stands in the number (use a decimal point)"
    else:
        found = f"{shorten(unit)} is not an allowed unit" if spelled else "the unit is missing"
    raise UnitError(f"cannot read {shorten(text)} as {_article(kind)}: {found}; allowed: {KINDS[kind].examples}")


def _article(kind: str) -> str:
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"


def parse(text: str, kind: str) -> float:
    """Read one number with one allowed unit as SI.

    Nothing is evaluated: ``"25 °C"``, ``"1.2e3 W"`` and ``'29 in'`` are read,
    ``"1,5 m"``, ``"2**3 m"`` and ``"2 ft 3 in"`` are refused.

    >>> parse("18 km/h", "speed")
    5.0
    """
    wrong = f"cannot read {shorten(text)} as {_article(kind)}"
    if not isinstance(text, str):
        raise UnitError(f"{wrong}: write text with a unit, such as '1 {next(iter(KINDS[kind].allowed))}'")
    if len(text) > LONGEST_TEXT:
        raise UnitError(f"{wrong}: the text has {len(text)} characters, at most {LONGEST_TEXT} are read")
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise UnitError(f"{wrong}: it does not start with a plain number")
    number = float(match.group(1))
    if not math.isfinite(number):
        raise UnitError(f"{wrong}: the number is too large")
    _lookup(match.group(2), kind, text)
    return float(convert(number, kind, match.group(2)))


# -- the door ------------------------------------------------------------------


def magnitude(value: Any, unit: Unit, name: str = "value") -> Values:
    """The plain number of a quantity, a text or (without a unit) a number, in ``unit``.

    Raises :class:`UnitError` when the quantity measures something else, also
    where the dimensions agree.
    """
    kind = KINDS[unit.kind]
    if isinstance(value, str):
        return convert(parse(value, unit.kind), unit.kind, kind.base, unit.symbol)
    if not hasattr(value, "dimensionality"):
        if kind.base == "":
            return value
        raise UnitError(f"{name} needs a unit: it is {_article(unit.kind)} in {unit.symbol}, got {shorten(value)}")
    have = meaning(value.units)
    names = [str(n) for n in dict(value.units._units)]
    wrong = None
    if unit.kind in ("torque", "energy", "rotation", "frequency") and have != unit.kind:
        wrong = _article(have) if have else "a quantity that does not say which it is"
    elif kind.base == "" and names and any(n in _TURNS for n in names):
        wrong = "an angle"
    elif unit.kind == "temperature" and any(n.startswith("delta_") for n in names):
        wrong = "a temperature rise"
    elif unit.kind == "temperature rise" and any(n.startswith("degree_") for n in names):
        wrong = "a temperature"
    if wrong:
        raise UnitError(f"{name} must be {_article(unit.kind)} in {unit.symbol or 'no unit'}, got {wrong} in {value.units}")
    try:
        return value.to(unit.symbol or "dimensionless").magnitude
    except UnitError:
        raise
    except Exception as error:  # pint's own errors differ in type between versions
        raise UnitError(f"{name} must be {_article(unit.kind)} in {unit.symbol or 'no unit'}, got {value.units}") from error


def quantity(value: Values, unit: Unit) -> Any:
    """Wrap a plain number as a pint quantity."""
    return registry().Quantity(value, unit.symbol or "dimensionless")
