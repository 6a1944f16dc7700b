"""Conductors, contacts and fuses: sizes, resistance, voltage drop, warmth, and what a short circuit does."""

from __future__ import annotations

import numpy as np

from .. import units as u
from . import air
from ._bracket import crossing
from .checks import not_negative, positive, within
from .convection import horizontal_cylinder_nusselt, radiation_coefficient, rayleigh
from .motor import COPPER_COEFFICIENT
from .registry import formula
from .winding import COPPER_RESISTIVITY, wire_resistance

# IEC 60228, class 5, plain copper: nominal section in mm2 and greatest resistance at 20 degC in ohm/km
CLASS_5 = {
    0.5: 39.0,
    0.75: 26.0,
    1.0: 19.5,
    1.5: 13.3,
    2.5: 7.98,
    4.0: 4.95,
    6.0: 3.30,
    10.0: 1.91,
    16.0: 1.21,
    25.0: 0.780,
    35.0: 0.554,
    50.0: 0.386,
}
MIL = 25.4e-6  # metre
FUSE_SHARE = 0.75  # of its rating that a fuse is asked to carry for long; common practice
WIDTH = 1e-11  # kelvin
HOT_AIR = 600.0  # kelvin: end of the tables of air; a hotter film counts as that
GREATEST = 1300.0  # kelvin: beyond it copper melts, and no temperature is looked for


@formula(equation=r"d = 0.127\,\mathrm{mm}\cdot 92^{(36-n)/39}", source="astm_b258", valid="0, 00, 000 and 0000 are n = 0, -1, -2, -3")
def awg_diameter(gauge: u.Number) -> u.Metre:
    """Diameter of a solid wire of the American wire gauge.

    Args:
        gauge: number of the gauge; the thicker the wire, the lower.

    >>> print(round(1e3 * awg_diameter(36), 6))
    0.127
    """
    return 0.127e-3 * 92.0 ** ((36 - np.asarray(gauge, float)) / 39)[()]


@formula(
    equation=r"A = \tfrac{\pi}{4} d^2",
    source="astm_b258",
    valid="the copper of a stranded wire of the same number is the same within a few per cent, its diameter is larger",
)
def awg_area(gauge: u.Number) -> u.SquareMetre:
    """Copper section of a wire of the American wire gauge.

    Args:
        gauge: number of the gauge.

    >>> print(round(1e6 * awg_area(10), 4))
    5.2612
    """
    return np.pi / 4 * awg_diameter(gauge) ** 2


@formula(equation=r"n = 36 - 39\,\log_{92}\frac{d}{0.127\,\mathrm{mm}},\quad d = \sqrt{4A/\pi}", source="astm_b258")
def awg_gauge(copper_section: u.SquareMetre) -> u.Number:
    """Number of the American wire gauge that a copper section has; between two numbers it is not whole.

    Args:
        copper_section: copper of all strands.

    >>> print(round(float(awg_gauge(5.2612e-6)), 3))
    10.0
    """
    positive("copper_section", copper_section)
    return 36 - 39 * np.log(np.sqrt(4 * np.asarray(copper_section) / np.pi) / 0.127e-3) / np.log(92.0)


@formula(
    equation=r"A = N\,a\,\tfrac{\pi}{4}\,(1\,\mathrm{mil})^2",
    source="grob_circuits",
    valid="1 mil is 25.4 um; the lay of the strands not counted",
)
def circular_mil_area(circular_mils: u.Number, strands: u.Number = 1) -> u.SquareMetre:
    """Copper section of strands whose size is given in circular mils.

    Args:
        circular_mils: size of one strand: the square of its diameter in thousandths of an inch.
        strands: how many there are.

    >>> print(round(1e6 * circular_mil_area(1022.0), 4))
    0.5179
    """
    positive("circular_mils", circular_mils)
    positive("strands", strands)
    return np.multiply(circular_mils, strands) * np.pi / 4 * MIL**2


@formula(
    equation=r"R = 10.4\,\frac{\Omega\,\mathrm{cmil}}{\mathrm{ft}}\,\frac{l}{A}",
    source="grob_circuits",
    valid="copper at 20 degC; 0.3 % above 1/58 ohm mm2/m",
)
def circular_mil_resistance(length: u.Metre, circular_mils: u.Number) -> u.Ohm:
    """Resistance of a wire whose size is given in circular mils.

    Args:
        length: length of the wire.
        circular_mils: size of the wire.

    >>> print(round(circular_mil_resistance(30.48, 1022.0), 4))
    1.0176
    """
    not_negative("length", length)
    positive("circular_mils", circular_mils)
    return 10.4 * length / 0.3048 / circular_mils


@formula(
    equation=r"R'_{20}\ \text{of the table}",
    source="iec60228",
    valid="plain copper, 0.5 mm2 to 50 mm2; a greatest value: it lies 11 % to 16 % above 1/58 ohm mm2/m over the section",
)
def class_5_resistance(nominal_section: u.SquareMetre) -> u.OhmPerMetre:
    """Greatest resistance per length at 20 °C that a flexible conductor (class 5) may have.

    The table is above resistivity over section: strands lie in a spiral, and
    the sections are names rather than measures.

    Args:
        nominal_section: one of the sections of the series.

    >>> print(round(1e3 * class_5_resistance(2.5e-6), 3))
    7.98
    """
    asked = np.round(np.asarray(nominal_section, float) * 1e6, 6)
    known = np.isin(asked, list(CLASS_5))
    if not np.all(known):
        raise ValueError(
            f"nominal_section must be one of {', '.join(f'{one:g}' for one in CLASS_5)} mm2, got {asked[~known].flat[0]:g} mm2"
        )
    sections, resistances = np.array(list(CLASS_5)), np.array(list(CLASS_5.values()))
    return resistances[np.searchsorted(sections, asked)] / 1e3


@formula(equation=r"U = I\,\frac{2\,\rho(\vartheta)\,l}{A}", source="iec60028", valid="direct current, out and back alike")
def voltage_drop(current: u.Ampere, length: u.Metre, copper_section: u.SquareMetre, temperature_celsius: u.Celsius = 20.0) -> u.Volt:
    """Voltage lost on the way out and back.

    Args:
        current: current.
        length: length one way.
        copper_section: copper section.
        temperature_celsius: temperature of the copper.

    >>> print(round(voltage_drop(25.0, 1.5, awg_area(10)), 5))
    0.24578
    """
    return current * wire_resistance(np.multiply(2.0, length), copper_section, temperature_celsius)


@formula(
    equation=r"P = I^2\,\frac{2\,\rho(\vartheta)\,l}{A}",
    source="iec60028",
    valid="direct current, or the rms of a changing one; out and back alike",
)
def lead_loss(current: u.Ampere, length: u.Metre, copper_section: u.SquareMetre, temperature_celsius: u.Celsius = 20.0) -> u.Watt:
    """Heat in a lead, out and back together.

    Args:
        current: current, rms where it changes.
        length: length one way.
        copper_section: copper section.
        temperature_celsius: temperature of the copper.

    >>> print(round(lead_loss(25.0, 1.5, awg_area(10)), 4))
    6.1446
    """
    return np.square(current) * wire_resistance(np.multiply(2.0, length), copper_section, temperature_celsius)


@formula(equation=r"P = n\,R_c\,I^2", source="definition", valid="a contact as new; corrosion and loose pins multiply it")
def contact_loss(current: u.Ampere, contact_resistance: u.Ohm, contacts: u.Number = 2) -> u.Watt:
    """Heat in the contacts of a plug.

    Args:
        current: current, rms where it changes.
        contact_resistance: resistance of one contact.
        contacts: contacts that the current passes, out and back.

    >>> print(round(contact_loss(20.0, 0.5e-3), 9))
    0.4
    """
    not_negative("contact_resistance", contact_resistance)
    not_negative("contacts", contacts)
    return contacts * contact_resistance * np.square(current)


def _bundle(copper_section, insulation, conductors):
    """Diameters of copper, of one wire, and of a band drawn tight around all of them."""
    copper = np.sqrt(4 * np.asarray(copper_section, float) / np.pi)
    wire = copper + 2 * insulation
    return copper, wire, wire * np.where(np.asarray(conductors) > 1, 1 + np.asarray(conductors) / np.pi, 1.0)


def _outside(surface, ambient, diameter, emissivity):
    """Heat per metre and kelvin from the outside of a horizontal cylinder in still air: natural convection and radiation."""
    film = np.minimum((surface + ambient) / 2, HOT_AIR)
    viscosity, prandtl, conductivity = air.kinematic_viscosity(film), air.prandtl(film), air.conductivity(film)
    nusselt = horizontal_cylinder_nusselt(rayleigh(1 / film, surface - ambient, diameter, viscosity, viscosity / prandtl), prandtl)
    return np.pi * diameter * (nusselt * conductivity / diameter + radiation_coefficient(emissivity, surface, ambient))


def _inner(copper, wire, bundle, conductors, air_layer, insulation_conductivity, ambient):
    """Kelvin from copper to outside per watt and metre of all conductors together."""
    through = np.log(wire / copper) / (2 * np.pi * insulation_conductivity * conductors)
    return through + np.log1p(2 * air_layer / bundle) / (2 * np.pi * air.conductivity(ambient))


class _Lead:
    """A lead in still air: everything as a function of the rise of its outside, which needs no iteration."""

    def __init__(self, copper_section, ambient, insulation, conductors, air_layer, insulation_conductivity, emissivity):
        for name, value in (("copper_section", copper_section), ("air_temperature", ambient), ("conductors", conductors)):
            positive(name, value)
        not_negative("insulation_thickness", insulation)
        not_negative("air_layer", air_layer)
        positive("insulation_conductivity", insulation_conductivity)
        copper, wire, bundle = _bundle(copper_section, insulation, conductors)
        self.inner = _inner(copper, wire, bundle, conductors, air_layer, insulation_conductivity, ambient)
        self.outside, self.ambient, self.emissivity = bundle + 2 * np.asarray(air_layer), np.asarray(ambient, float), emissivity
        self.cold = conductors * COPPER_RESISTIVITY / np.asarray(copper_section, float)  # ohm per metre of all, at 20 degC

    def heat(self, rise):
        """Heat per metre at a rise of the outside."""
        return rise * _outside(self.ambient + rise, self.ambient, self.outside, self.emissivity)

    def copper(self, rise):
        """Rise of the copper at a rise of the outside."""
        return rise + self.heat(rise) * self.inner

    def square(self, rise):
        """Squared current that keeps the outside at this rise."""
        heat = self.heat(rise)
        copper = self.ambient + rise + heat * self.inner
        return heat / (self.cold * (1 + COPPER_COEFFICIENT * (copper - 293.15)))

    @property
    def shape(self):
        return np.broadcast(self.inner, self.outside, self.ambient, self.cold, self.emissivity).shape


@formula(
    equation=r"n I^2 R'(T_c) = \pi D\,[h(T_s) + h_r(T_s)]\,(T_s - T_a),\quad "
    r"T_c - T_s = n I^2 R'(T_c)\left[\frac{\ln(d_i/d)}{2\pi k_i n} + \frac{\ln(D/D_b)}{2\pi k_a}\right]",
    source="iec60028, incropera, churchill_chu_cylinder",
    valid="a long lead at rest in still air, level; its ends take no heat away and bring none; no sun; air at sea level",
)
def conductor_temperature(
    current: u.Ampere,
    copper_section: u.SquareMetre,
    air_temperature: u.Kelvin,
    insulation_thickness: u.Metre = 0.8e-3,
    conductors: u.Number = 1,
    air_layer: u.Metre = 0.0,
    insulation_conductivity: u.WattPerMetreKelvin = 0.2,
    emissivity: u.Ratio = 0.9,
) -> u.Kelvin:
    """Temperature that the copper of a lead comes to under a constant current; inf where it would melt first.

    Several conductors side by side count as one cylinder as large as a band
    drawn tight around them; a sleeve adds a layer of still air.

    Args:
        current: current in each conductor, rms where it changes.
        copper_section: copper section of one conductor.
        air_temperature: temperature of air and surroundings.
        insulation_thickness: thickness of the insulation.
        conductors: conductors with the same current that lie together.
        air_layer: still air between them and a sleeve around.
        insulation_conductivity: of the insulation; plastics and rubbers have about 0.2.
        emissivity: of the outside; plastics have about 0.9.

    >>> print(round(float(conductor_temperature(30.0, 5.26e-6, 293.15)) - 273.15, 1))
    36.0
    """
    lead = _Lead(copper_section, air_temperature, insulation_thickness, conductors, air_layer, insulation_conductivity, emissivity)
    asked = np.square(np.asarray(current, float))
    shape = np.broadcast_shapes(asked.shape, lead.shape)
    none = np.zeros(shape)
    over = lambda rise: lead.square(rise) - asked
    rise = crossing(over, none, none + GREATEST - np.max(lead.ambient), WIDTH)
    rise = np.where(asked == 0, 0.0, rise)
    found = np.isfinite(rise)
    copper = lead.copper(np.where(found, rise, 1.0))
    return (lead.ambient + np.where(found & (copper < GREATEST), copper, np.inf))[()]


@formula(
    equation=r"I = \sqrt{\frac{\pi D\,[h(T_s) + h_r(T_s)]\,(T_s - T_a)}{n R'(T_\mathrm{lim})}}",
    source="iec60028, incropera, churchill_chu_cylinder",
    valid="as for the temperature of a conductor",
)
def ampacity(
    copper_section: u.SquareMetre,
    limit: u.Kelvin,
    air_temperature: u.Kelvin,
    insulation_thickness: u.Metre = 0.8e-3,
    conductors: u.Number = 1,
    air_layer: u.Metre = 0.0,
    insulation_conductivity: u.WattPerMetreKelvin = 0.2,
    emissivity: u.Ratio = 0.9,
) -> u.Ampere:
    """Constant current that warms a lead to the limit of its insulation; 0 where the air alone is as warm.

    Args:
        copper_section: copper section of one conductor.
        limit: temperature that the insulation bears all the time.
        air_temperature: temperature of air and surroundings.
        insulation_thickness: thickness of the insulation.
        conductors: conductors with the same current that lie together.
        air_layer: still air between them and a sleeve around.
        insulation_conductivity: of the insulation.
        emissivity: of the outside.

    >>> print(round(float(ampacity(5.26e-6, 363.15, 303.15)), 1))
    59.6
    """
    lead = _Lead(copper_section, air_temperature, insulation_thickness, conductors, air_layer, insulation_conductivity, emissivity)
    positive("limit", limit)
    allowed = np.maximum(np.asarray(limit, float) - lead.ambient, 0.0)
    none = np.zeros(np.broadcast_shapes(allowed.shape, lead.shape))
    rise = crossing(lambda rise: lead.copper(rise) - allowed, none, none + allowed, WIDTH)
    rise = np.where(np.isfinite(rise), rise, np.where(rise < 0, 0.0, allowed))
    return np.sqrt(lead.square(rise))[()]


@formula(
    equation=r"C = [c_\mathrm{Cu}\,A + c_i\,\tfrac{\pi}{4}(d_i^2 - d^2)]\,l",
    source="iec60949",
    valid="copper 3.45 MJ/(K m3); insulation 2 MJ/(K m3), which plastics and rubbers have within about 30 %",
)
def lead_capacity(length: u.Metre, copper_section: u.SquareMetre, insulation_thickness: u.Metre = 0.8e-3) -> u.JoulePerKelvin:
    """Heat capacity of one conductor with its insulation.

    Args:
        length: length of the conductor.
        copper_section: copper section.
        insulation_thickness: thickness of the insulation.

    >>> print(round(float(lead_capacity(1.0, 5.26e-6)), 2))
    35.18
    """
    not_negative("length", length)
    positive("copper_section", copper_section)
    copper, wire, _ = _bundle(copper_section, insulation_thickness, 1)
    return (3.45e6 * np.asarray(copper_section) + 2e6 * np.pi / 4 * (wire**2 - copper**2)) * length


@formula(
    equation=r"I^2 t = k^2 S^2,\quad k = 226\sqrt{\ln\left(1 + \frac{T_f - T_i}{234.5 + T_i}\right)}\ "
    r"\frac{\mathrm{A\,s^{1/2}}}{\mathrm{mm^2}}",
    source="iec60949",
    valid="copper, a short circuit so brief (to about 5 s) that no heat leaves the conductor",
)
def withstood_let_through(copper_section: u.SquareMetre, start_celsius: u.Celsius, end_celsius: u.Celsius) -> u.AmpereSquaredSecond:
    """Square of the current times time that warms a conductor from one temperature to another.

    Args:
        copper_section: copper section.
        start_celsius: temperature at the start; in the worst case that which the insulation bears all the time.
        end_celsius: temperature that it bears in a short circuit.

    >>> print(round(float(withstood_let_through(1e-6, 70.0, 160.0)) ** 0.5, 1))
    115.0
    """
    positive("copper_section", copper_section)
    within("start_celsius", start_celsius, -200.0, 1000.0)
    not_negative("end_celsius - start_celsius", np.subtract(end_celsius, start_celsius))
    square = 226.0**2 * np.log1p(np.subtract(end_celsius, start_celsius) / (234.5 + np.asarray(start_celsius)))
    return square * np.square(np.asarray(copper_section) * 1e6)


@formula(equation=r"I = \frac{k\,S}{\sqrt t}", source="iec60949", valid="as for the square of the current times time; to about 5 s")
def short_circuit_current(copper_section: u.SquareMetre, start_celsius: u.Celsius, end_celsius: u.Celsius, time: u.Second) -> u.Ampere:
    """Current that a conductor bears for a short time.

    Args:
        copper_section: copper section.
        start_celsius: temperature at the start.
        end_celsius: temperature that the insulation bears in a short circuit.
        time: how long.

    >>> print(round(float(short_circuit_current(2.5e-6, 70.0, 160.0, 1.0)), 1))
    287.5
    """
    positive("time", time)
    return np.sqrt(withstood_let_through(copper_section, start_celsius, end_celsius) / time)


@formula(
    equation=r"I = 80\,d^{3/2}",
    source="preece_1884",
    valid="d in mm: bare round copper, level in free air, so long that its ends do not cool it; nothing to size a wire by",
)
def fusing_current(diameter: u.Metre) -> u.Ampere:
    """Current at which a bare copper wire melts in the end.

    Args:
        diameter: diameter of the solid wire.

    >>> print(round(float(fusing_current(awg_diameter(10))), 1))
    333.1
    """
    positive("diameter", diameter)
    return 80.0 * np.power(np.multiply(diameter, 1e3), 1.5)


@formula(
    equation=r"I_n \ge \frac{I}{s}",
    source="trade_practice",
    valid="s = 0.75 for a fuse at room temperature in small enclosures; lower where it is warm",
)
def least_fuse_rating(current: u.Ampere, share: u.Ratio = FUSE_SHARE) -> u.Ampere:
    """Smallest rating of a fuse that carries a current all the time without ageing.

    Args:
        current: current that flows all the time, rms where it changes.
        share: share of its rating that a fuse is asked to carry for long.

    >>> least_fuse_rating(15.0)
    20.0
    """
    not_negative("current", current)
    within("share", share, 1e-3, 1.0)
    return current / share
