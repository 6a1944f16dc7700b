"""From half a datasheet to the motor part of a build: what is given, what follows from it, and what is assumed."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import datasheet as printed
from ..inputs import Build, Datasheet, InputError, Motor, Problem, Spread, Wheel
from ..inputs.fields import Spec, nearest, pretty, specs
from ..inputs.paths import leaves
from ..inputs.reading import Reader
from ..inputs.variants import to_tree
from . import scaling
from .estimates import (
    SPREAD_OF_BAND,
    Contradiction,
    Estimate,
    band_of,
    comparisons,
    contradictions,
    joint,
    no_load_rotation,
    reconciled,
    suspect,
    text_of,
    torque_constants,
)
from .results import Result, shown
from .scaling import ASSUMED, DERIVED, GIVEN, LEFT_OUT, Known

BAND_OF_ROTATION = 0.05  # of the run without load
CAUTION = (
    "Nothing here was measured. Continuous figures of a datasheet presuppose the cooling that its maker had in mind; "
    "measure the motor before you trust it with a current."
)
# What goes into the motor part by itself.
OWN = {"pole_pairs", "resistance", "resistance_temperature", "inductance", "mass", "outer_diameter", "width", "magnet_limit"}
OWN |= {"motor_constant", "no_load.current"}
ENOUGH = (
    "one of speed_constant, torque_constant, no_load with its speed, torque and current of the rated point or of the held rotor, "
    "or motor_constant with resistance"
)


@dataclass(frozen=True)
class Reading(Result):
    """The motor that a datasheet describes, field by field, or what contradicts."""

    name: str = shown("datasheet")
    torque_constant: u.NewtonMetrePerAmpere = shown("torque per ampere of phase peak", "N*m/A", 3)
    tolerance: u.Ratio = shown("known within, either way", "%")
    ways: int = shown("ways in which the page gives it", digits=0)
    given: int | None = shown("numbers given", digits=0)
    derived: int | None = shown("numbers derived", digits=0)
    assumed: int | None = shown("numbers assumed", digits=0)
    left_out: int | None = shown("numbers left out", digits=0)
    saturation: str = shown("torque per ampere with the rotor held")
    unused: str = shown("printed, but used for nothing")
    disagreement: str = shown("contradictions")
    explanation: str = shown("what would explain them")
    field: np.ndarray = shown("field")
    value: np.ndarray = shown("value")
    interval: np.ndarray = shown("from … to")
    how: np.ndarray = shown("how it is known")
    basis: np.ndarray = shown("from what")
    motor: Motor | None = None
    spreads: Mapping[str, Spread] = dataclasses.field(default_factory=dict)
    estimates: tuple[Estimate, ...] = ()
    contradictions: tuple[Contradiction, ...] = ()
    suspect: Estimate | None = None

    def part(self) -> Motor:
        """The motor part; InputError with a line for each contradiction where the page says two things."""
        if self.motor is None:
            raise InputError([pair.problem() for pair in self.contradictions])
        return self.motor


def study(sheet: Datasheet, wheel: Wheel | None = None, leave_out: Iterable[str] = ()) -> Reading:
    """Read a datasheet: every number of the motor part is given, derived or assumed, and said to be.

    Lines that give the same number are weighed by their tolerances.  Where two of them cannot both
    hold, the reading names them and what would explain the difference, and has no motor:
    which line to believe is for a person to say, with ``leave_out``.

    Args:
        sheet: the datasheet.
        wheel: the wheel that the motor must fit; it bounds the size, and gives one where nothing else does.
        leave_out: fields not to believe, by dotted path such as ``"rated.current"``.

    Raises InputError where the datasheet gives no torque constant at all, or nothing that says how large the motor is.
    """
    sheet = without(sheet, leave_out)
    text = lambda path: text_of(sheet, path)
    phase = None if sheet.resistance is None else float(printed.star_phase(sheet.resistance, sheet.resistance_of))
    first = torque_constants(sheet, phase, 0.0)
    if not first:
        raise InputError([Problem("", "speed_constant", "", ENOUGH, "none of them: the page does not say what torque an ampere gives")])
    drag = _drag(sheet, reconciled(first)[0], phase)
    found = torque_constants(sheet, phase, 0.0 if drag is None else drag.value)
    constant, band = reconciled(found)
    pairs = contradictions("torque constant", found, text)
    compared = list(comparisons(sheet, None if pairs else constant, phase, band))
    for topic, *sides in compared:
        pairs += contradictions(topic, sides, text)
    sides = [*found, *(side for _, *both in compared for side in both)]
    about = dict(name=sheet.name, torque_constant=constant, tolerance=band, ways=len(_counted(found)), estimates=tuple(found))
    about["saturation"] = _saturation(found, constant, band)
    about["unused"] = ", ".join(_unused(sheet, {path for side in sides for path in side.fields})) or "nothing"
    if pairs:
        odd = suspect(found, [pair for pair in pairs if pair.about == "torque constant"])
        return Reading(
            **about | dict(torque_constant=np.nan, tolerance=np.nan),
            **dict.fromkeys(("given", "derived", "assumed", "left_out")),
            disagreement="; ".join(f"{pair.one_text} against {pair.other_text}" for pair in pairs),
            explanation="; ".join(_common(pairs)) or "no one mix-up of conventions",
            **dict.fromkeys(("field", "value", "interval", "how", "basis"), np.array([], str)),
            contradictions=tuple(pairs),
            suspect=odd,
        )
    known, words = _known(sheet, wheel, found, phase, drag)
    return Reading(**about, disagreement="none", explanation="none needed", **_part(sheet, known, words))


def _counted(found: list[Estimate]) -> list[Estimate]:
    """The estimates that the torque constant is the mean of."""
    return [item for item in found if not item.least] or found


def _saturation(found: list[Estimate], constant: float, band: float) -> str:
    """What the held rotor says of the iron, beside the torque constant."""
    held = next((item for item in found if item.least), None)
    if held is None or held in _counted(found):
        return "not to be compared"
    share = held.value / constant
    if share >= 1 - held.band - band:
        return "as at small currents"
    return f"{share:.0%} of that at small currents: the iron saturates, or the current follows another convention"


def _unused(sheet: Datasheet, used: set[str]) -> list[str]:
    """Numbers of the datasheet that neither give nor check anything, because what they would need is not printed."""
    numbers = [path for path, spec, value in leaves(sheet) if value is not None and spec.form == "number" and not spec.required]
    if sheet.no_load is not None and sheet.no_load.current is not None:
        used = used | {"no_load.voltage"}
    return [path for path in numbers if path not in used | OWN]


def _common(pairs: list[Contradiction]) -> list[str]:
    """The mix-ups that explain every contradiction at once, the nearest to the first of them first."""
    return [sentence for sentence in pairs[0].explained_by if all(sentence in pair.explained_by for pair in pairs)]


def without(sheet: Datasheet, leave_out: Iterable[str]) -> Datasheet:
    """The datasheet without some of its fields, and without the words that belong to them."""
    tree, left = to_tree(sheet), tuple(leave_out)
    for path in left:
        *tables, name = path.split(".")
        at = tree
        for table in tables:
            at = at.get(table, {})
        known = [key for key, spec, value in leaves(sheet) if value is not None and not spec.required]
        if path not in known:
            raise ValueError(f"leave_out: the datasheet gives no {path!r}{nearest(path, known)}")
        for key in (name, f"{name}_per", f"{name}_of", f"{name}_in", f"{name}_temperature"):
            at.pop(key, None)
    reader = Reader(plain=True, spreads={path: spread for path, spread in sheet.spreads.items() if path not in left})
    made = reader.record(Datasheet, tree, "")
    if reader.problems:
        raise InputError(reader.problems)
    return made


def page(reading: Reading) -> str:
    """The reading as lines of text: how many numbers are known in which way, and each of them."""
    lines = [f"{label}: {text}" for label, text in reading.summary().items()]
    widths = [max(map(len, column)) for column in (reading.field, reading.value, reading.interval, reading.how)]
    for row in zip(reading.field, reading.value, reading.interval, reading.how, reading.basis, strict=True):
        lines.append("  ".join([*(text.ljust(width) for text, width in zip(row, widths, strict=False)), row[-1]]))
    return "\n".join([*lines, CAUTION])


def fitted(build: Build, reading: Reading) -> Build:
    """The build with the motor of a datasheet in it, and with its tolerances as spreads of the motor's numbers."""
    others = {path: spread for path, spread in build.spreads.items() if not path.startswith("motor.")}
    part = reading.part()
    return dataclasses.replace(build, motor=part, spreads=others | dict(reading.spreads))


def _drag(sheet: Datasheet, constant: float, phase: float | None) -> Known | None:
    """Torque of iron and bearings in the run without load."""
    run = sheet.no_load
    if run is None or run.current is None:
        return None
    drag = printed.idle_drag(run.voltage, run.current, phase or 0.0, no_load_rotation(sheet, constant))
    band = joint([band_of(sheet, "no_load.current"), band_of(sheet, "no_load.voltage"), BAND_OF_ROTATION])
    if drag <= 0:
        raise InputError(
            [Problem("", text_of(sheet, "no_load.current"), "", "less copper loss than power without load", f"a drag of {drag:.3g} N·m")]
        )
    return Known(drag, drag * (1 - band), drag * (1 + band), DERIVED, "datasheet.idle_drag")


def _known(
    sheet: Datasheet, wheel: Wheel | None, found: list[Estimate], phase: float | None, drag: Known | None
) -> tuple[dict[str, Known], dict[str, tuple[str, str, str]]]:
    """Every number of the motor part, and every word with how it is known."""
    constant = _constant(sheet, found)
    resistance = None
    if phase is not None:
        resistance = _converted(sheet, "resistance", phase)
    elif sheet.motor_constant is not None:
        band = joint([2 * (constant.high / constant.value - 1), 2 * band_of(sheet, "motor_constant")])
        value = printed.resistance_by_loss(constant.value, sheet.motor_constant)
        resistance = Known(value, value * (1 - band), value * (1 + band), DERIVED, "datasheet.resistance_by_loss from motor_constant")
    size = scaling.size(sheet, wheel, constant, resistance)
    resistance = resistance or scaling.resistance_by_mass(constant, size.mass)
    inductance = (
        scaling.ELECTRIC_TIME.of(resistance, "phase_resistance")
        if sheet.inductance is None
        else _converted(sheet, "inductance", printed.star_phase(sheet.inductance, sheet.inductance_of))
    )
    known = {
        "torque_constant_peak": constant,
        "phase_resistance": resistance,
        "quadrature_inductance": inductance,
        **_iron(sheet, size.mass, drag, constant.value),
        "mass": size.mass,
        "rotor_inertia": scaling.RIM_SHARE.of(size.radius_squared_mass, "mass and outer_diameter"),
        **{name: share.of(size.mass, "mass") for name, share in scaling.BY_MASS.items()},
        **{name: share.of(size.surface, "surface") for name, share in scaling.BY_SURFACE.items()},
        "housing_diameter": size.diameter,
        "housing_width": size.width,
        **scaling.FIXED,
    }
    for name, path in (("pole_pairs", "pole_pairs"), ("magnet_limit", "magnet_limit"), ("reference_temperature", "resistance_temperature")):
        value = getattr(sheet, path)
        if value is not None:
            known[name] = Known(value, value, value, GIVEN, "as printed")
    word = (
        (sheet.insulation_class, GIVEN, "as printed") if sheet.insulation_class else (scaling.INSULATION[0], ASSUMED, scaling.INSULATION[1])
    )
    return known, {"insulation_class": word}


def _constant(sheet: Datasheet, found: list[Estimate]) -> Known:
    value, band = reconciled(found)
    found = _counted(found)
    low, high = value * (1 - band), value * (1 + band)
    if len(found) > 1:
        lines = ", ".join(" and ".join(item.fields) for item in found)
        return Known(value, low, high, DERIVED, f"mean of {lines}, weighed by their tolerances")
    (one,) = found
    if one.fields == ("torque_constant",) and sheet.torque_constant_per == "peak":
        return scaling.given(sheet, "torque_constant", value)
    basis = f"{one.by} from {' and '.join(one.fields)}"
    if one.fields == ("speed_constant",) and sheet.speed_constant_per is None:
        basis += "; volt of peak line to line assumed, since the page does not say"
    return Known(value, low, high, DERIVED, basis)


def _converted(sheet: Datasheet, path: str, value: float) -> Known:
    """Resistance or inductance of a phase, from what is printed."""
    word = getattr(sheet, f"{path}_of")
    as_printed = scaling.given(sheet, path, value)
    return (
        as_printed
        if word == "star phase"
        else dataclasses.replace(as_printed, how=DERIVED, basis=f"datasheet.star_phase from {path} ({word})")
    )


def _iron(sheet: Datasheet, mass: Known, drag: Known | None, constant: float) -> dict[str, Known]:
    """The two parts of the iron's drag: by the run without load, else by mass."""
    if drag is None:
        return {"hysteresis_torque": scaling.HYSTERESIS.of(mass, "mass"), "eddy_drag": scaling.EDDY.of(mass, "mass")}
    rotation, share = no_load_rotation(sheet, constant), scaling.HYSTERESIS_SHARE
    rest = scaling.Share(
        (1 - share.likely) / rotation, (1 - share.high) / rotation, (1 - share.low) / rotation, "the rest of it, by the rotation"
    )
    name = f"the drag of {drag.value:.2g} N·m by datasheet.idle_drag"
    return {"hysteresis_torque": share.of(drag, name), "eddy_drag": rest.of(drag, name)}


def _part(sheet: Datasheet, known: Mapping[str, Known], words: Mapping[str, tuple[str, str, str]]) -> dict[str, object]:
    """The motor part with its spreads, and the table that says how each number is known."""
    values: dict[str, object] = {name: word for name, (word, *_) in words.items()}
    spreads, rows = {}, []
    for name, spec in specs(Motor).items():
        if name in words:
            rows.append((name, words[name][0], "", *words[name][1:]))
        elif name in known:
            one = known[name].within(spec)
            values[name] = value = _rounded(one.value, spec)
            spread = None if spec.whole else _spread(one, value, spec)
            if spread is not None:
                spreads[f"motor.{name}"] = spread
            ends = (pretty(one.low, spec.kind, spec.unit, 4), pretty(one.high, spec.kind, spec.unit, 4))
            rows.append((name, pretty(value, spec.kind, spec.unit, 4), "" if ends[0] == ends[1] else " … ".join(ends), one.how, one.basis))
        elif name not in ("source", "note"):
            rows.append((name, "", "", LEFT_OUT, spec.meaning))
    counts = {how: sum(row[3] == how for row in rows) for how in (GIVEN, DERIVED, ASSUMED, LEFT_OUT)}
    said = ", ".join(f"{number} {how}" for how, number in counts.items())
    made = Motor(**values, source=f"datasheet {sheet.name!r}: {said}")
    columns = (np.array(column, str) for column in zip(*rows, strict=True))
    table = dict(zip(("field", "value", "interval", "how", "basis"), columns, strict=True))
    return table | dict(
        motor=made, spreads=spreads, given=counts[GIVEN], derived=counts[DERIVED], assumed=counts[ASSUMED], left_out=counts[LEFT_OUT]
    )


def _rounded(value: float, spec: Spec) -> float:
    """Four digits: more would claim a knowledge that no datasheet gives. A temperature's zero is nobody's, so it keeps all."""
    if spec.whole:
        return round(value)
    return value if spec.kind == "temperature" else float(f"{value:.4g}")


def _spread(one: Known, value: float, spec: Spec) -> Spread | None:
    """What a build file holds of an interval: a normal number whose band is two deviations wide, or a triangle where it is assumed."""
    if one.high <= one.low:
        return None
    if one.how == ASSUMED:
        low, high = (_rounded(end, spec) for end in (one.low, one.high))
        return Spread("triangular", (min(low, value), value, max(high, value)))
    return Spread("normal", (value, float(f"{(one.high - one.low) / (2 * SPREAD_OF_BAND):.3g}")))
