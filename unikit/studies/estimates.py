"""What each line of a datasheet says about one and the same number, which lines contradict, and which mix-up would explain it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from ..formulas import datasheet as printed
from ..formulas import drive, motor
from ..inputs import Datasheet, Problem
from ..inputs.datasheet import RPM
from ..inputs.paths import find
from ..inputs.records import printed as in_words

# Bands that are assumed where a datasheet prints none: shares of the number. Common practice, no source.
BANDS = {
    "speed_constant": 0.05,
    "torque_constant": 0.05,
    "motor_constant": 0.07,
    "resistance": 0.08,
    "inductance": 0.2,
    "no_load.voltage": 0.01,
    "no_load.current": 0.3,
    "no_load.speed": 0.05,
    "rated.torque": 0.05,
    "rated.speed": 0.05,
    "rated.current": 0.07,
    "rated.power": 0.05,
    "rated.efficiency": 0.02,
    "rated.voltage": 0.01,
    "stall.torque": 0.1,
    "stall.current": 0.1,
    "mass": 0.03,
    "outer_diameter": 0.01,
    "width": 0.02,
}
SPREAD_OF_BAND = 2.0  # standard deviations in the half-width of a band: nearly all pieces lie in it

Slip = tuple[float, str]


@dataclass(frozen=True)
class Estimate:
    """A number as some fields of a datasheet give it.

    ``band`` is the half-width relative to the value; ``slips`` are factors
    by which the value would change if a word or a unit was meant otherwise.
    A ``bound`` is no estimate but a limit that others must not pass; a ``least``
    one may come out too low, such as torque per ampere where the iron saturates.
    """

    fields: tuple[str, ...]
    value: float
    band: float
    by: str
    slips: tuple[Slip, ...] = ()
    bound: bool = False
    least: bool = False


@dataclass(frozen=True)
class Contradiction:
    """Two lines of a datasheet that cannot both hold."""

    about: str
    one: Estimate
    other: Estimate
    one_text: str
    other_text: str
    times: float
    explained_by: tuple[str, ...]

    @property
    def ratio(self) -> float:
        """What the first line says over what the second says."""
        return self.one.value / self.other.value

    def problem(self, file: str = "") -> Problem:
        """The same as one line of an error: both fields, both values, and what would explain them."""
        why = "; ".join(self.explained_by) or "no known mix-up of conventions explains it"
        return Problem(
            file,
            f"{self.one_text} and {self.other_text}",
            "",
            f"one {self.about} from both within their tolerances",
            f"a factor of {max(self.ratio, 1 / self.ratio):.3g}, {self.times:.1f} times their joint tolerance ({why})",
        )


def value_of(sheet: Datasheet, path: str) -> Any:
    """The number or word under a dotted path; None where the datasheet has none."""
    at: Any = sheet
    for step in path.split("."):
        at = None if at is None else getattr(at, step)
    return at


def band_of(sheet: Datasheet, path: str) -> float:
    """Half-width of a number's band, relative to it: as printed, else as assumed."""
    spread = sheet.spreads.get(path)
    if spread is None:
        return BANDS[path]
    if spread.shape == "normal":
        return spread.parameters[1] / abs(spread.nominal)
    return max(spread.nominal - spread.parameters[0], spread.parameters[-1] - spread.nominal) / abs(spread.nominal)


def text_of(sheet: Datasheet, path: str) -> str:
    """A field with its value and its word, as a message can print it."""
    word = {
        "torque_constant": "torque_constant_per",
        "speed_constant": "speed_constant_per",
        "resistance": "resistance_of",
        "rated.current": "rated.current_in",
        "stall.current": "stall.current_in",
    }.get(path)
    convention = f" ({value_of(sheet, word)})" if word and value_of(sheet, word) else ""
    return f"{path} = {in_words(find(Datasheet, path), value_of(sheet, path))}{convention}"


def joint(bands: Sequence[float]) -> float:
    """The band of a product of numbers that vary each on its own."""
    return math.sqrt(sum(band**2 for band in bands))


# -- estimates of the torque constant -----------------------------------------------


def torque_constants(sheet: Datasheet, phase_resistance: float | None, drag: float) -> list[Estimate]:
    """Every way in which the datasheet gives the torque per ampere of phase peak.

    Args:
        sheet: the datasheet.
        phase_resistance: resistance of one phase of the star, where the datasheet gives one.
        drag: torque of iron and bearings, which a shaft torque lacks; 0 where it is not known.
    """
    found = []
    if sheet.speed_constant is not None:
        volt = sheet.speed_constant_per or "peak line to line"
        value = motor.torque_constant(printed.line_speed_constant(sheet.speed_constant, volt), "peak")
        found.append(
            _estimate(sheet, ("speed_constant",), value, "datasheet.line_speed_constant, motor.torque_constant", _volts(sheet, volt))
        )
    if sheet.torque_constant is not None:
        value = printed.peak_torque_constant(sheet.torque_constant, sheet.torque_constant_per)
        slips = (*_amperes("torque_constant", sheet.torque_constant_per), *_COILS)
        found.append(_estimate(sheet, ("torque_constant",), value, "datasheet.peak_torque_constant", slips))
    run = sheet.no_load
    if run is not None and run.speed is not None:
        drop = 0.0 if run.current is None or phase_resistance is None else run.current * 2 * phase_resistance
        speed_constant = printed.line_speed_constant(run.speed / (run.voltage - drop), "direct voltage")
        value = motor.torque_constant(speed_constant, "peak")
        slips = (*_turns("no_load.speed", sheet), *_BRIDGE)
        found.append(_estimate(sheet, ("no_load.speed", "no_load.voltage"), value, "drive.no_load_speed turned round", slips))
    for place, extra in (("rated", drag), ("stall", 0.0)):
        point = getattr(sheet, place)
        if point is not None and point.torque is not None and point.current is not None:
            value = printed.peak_torque_constant((point.torque + extra) / point.current, point.current_in)
            paths, slips = (f"{place}.torque", f"{place}.current"), tuple(_amperes(f"{place}.current", point.current_in))
            # The drag belongs to another speed, and its run may be what is wrong: it counts as known to a half.
            band = joint([*(band_of(sheet, path) for path in paths), 0.5 * extra / (point.torque + extra)])
            found.append(Estimate(paths, float(value), band, "motor.current_for_torque turned round", slips, least=place == "stall"))
    if sheet.motor_constant is not None and phase_resistance is not None and sheet.resistance is not None:
        value = float(printed.torque_constant_by_loss(sheet.motor_constant, phase_resistance))
        slips = (*_LOSSES, *((math.sqrt(factor), text) for factor, text in leads("resistance", sheet.resistance_of)))
        band = joint([band_of(sheet, "motor_constant"), band_of(sheet, "resistance") / 2])
        found.append(Estimate(("motor_constant", "resistance"), value, band, "datasheet.torque_constant_by_loss", slips))
    return found


def _estimate(sheet: Datasheet, paths: tuple[str, ...], value: float, by: str, slips: Sequence[Slip]) -> Estimate:
    return Estimate(paths, float(value), joint([band_of(sheet, path) for path in paths]), by, tuple(slips))


def _volts(sheet: Datasheet, volt: str) -> Iterator[Slip]:
    for other, factor in printed.VOLTS.items():
        if factor != printed.VOLTS[volt]:
            yield factor / printed.VOLTS[volt], f"if speed_constant is per volt of {other}, not {volt}"
    yield 1 / RPM, "if speed_constant is in rpm per volt, not rad/s per volt (a factor of 60/2π)"
    yield RPM, "if speed_constant is in rad/s per volt, not rpm per volt (a factor of 60/2π)"
    yield 2 / math.sqrt(3), "if speed_constant is one over the torque constant per ampere of phase peak (a factor of √3/2)"
    if sheet.pole_pairs is not None and sheet.pole_pairs > 1:
        yield float(sheet.pole_pairs), "if speed_constant counts electrical turns (a factor of the pole pairs)"


def _amperes(path: str, word: str) -> Iterator[Slip]:
    for other, factor in motor.CONVENTIONS.items():
        if other != word:
            yield motor.CONVENTIONS[word] / factor, f"if {path} is in the convention {other!r}, not {word!r}"


_COILS: tuple[Slip, ...] = (
    (1.5, "if torque_constant is the back-EMF of one phase in V·s/rad (a factor of 3/2)"),
    (2 / 3, "if torque_constant counts 3/2 twice (a factor of 2/3)"),
    (1 / math.sqrt(3), "if torque_constant is per ampere in one branch of a delta (a factor of √3)"),
    (math.sqrt(3), "if torque_constant is that of the coils in delta and the rest that of a star (a factor of √3)"),
    (1 / RPM, "if torque_constant comes from a speed in rpm (a factor of 60/2π)"),
    (RPM, "if torque_constant comes from a speed in rpm (a factor of 60/2π)"),
)
_BRIDGE: tuple[Slip, ...] = (
    (2 / math.pi * math.sqrt(3), "if the bridge of the no-load run drives six step (a factor of 1.10)"),
    (math.sqrt(3) / 2, "if the bridge of the no-load run modulates sine against triangle (a factor of √3/2)"),
    (math.sqrt(2), "if no_load.voltage is the rms between two leads (a factor of √2)"),
    (math.sqrt(3), "if the no-load run is of the coils in delta and the rest of a star (a factor of √3)"),
    (1 / math.sqrt(3), "if the no-load run is of the coils in star and the rest of a delta (a factor of √3)"),
)
_LOSSES: tuple[Slip, ...] = (
    (math.sqrt(2 / 3), "if motor_constant leaves out the 3/2 of three phases"),
    (1 / math.sqrt(2), "if motor_constant was made from the torque constant per ampere rms and the resistance of one phase"),
    (math.sqrt(2), "if motor_constant was made from the torque constant per ampere of peak and the resistance between two leads"),
)


def _turns(path: str, sheet: Datasheet) -> Iterator[Slip]:
    yield 1 / RPM, f"if {path} is in rpm, not rad/s (a factor of 60/2π)"
    yield RPM, f"if {path} is in rad/s, not rpm (a factor of 60/2π)"
    if sheet.pole_pairs is not None and sheet.pole_pairs > 1:
        yield float(sheet.pole_pairs), f"if {path} counts electrical turns (a factor of the pole pairs)"


def leads(path: str, word: str) -> Iterator[Slip]:
    """Factors of a resistance that was measured between something else than is said."""
    for other, factor in printed.LEADS.items():
        if other != word:
            yield factor / printed.LEADS[word], f"if {path} is of {other!r}, not {word!r}"


# -- contradictions -----------------------------------------------------------------


def contradictions(about: str, estimates: Sequence[Estimate], text: Callable[[str], str]) -> list[Contradiction]:
    """Every pair of estimates that lies further apart than both bands together: no piece within both would agree with both.

    The bands add up, not their squares: a page that prints everything has fifteen pairs, and one of them is always far out.
    """
    found = []
    for place, one in enumerate(estimates):
        for other in estimates[place + 1 :]:
            apart, band = _apart(one, other), one.band + other.band
            if apart > band:
                words = tuple(" and ".join(map(text, item.fields)) for item in (one, other))
                found.append(Contradiction(about, one, other, *words, apart / band, _explained(one, other, band)))
    return found


def _apart(one: Estimate, other: Estimate) -> float:
    """How far two estimates are apart, in logarithms; nothing where only the other way round there would be anything to explain."""
    apart = math.log(one.value / other.value)
    if one.least and other.least:
        return 0.0
    if other.bound or one.least:
        return max(apart, 0.0)
    return max(-apart, 0.0) if other.least else abs(apart)


def _explained(one: Estimate, other: Estimate, band: float) -> tuple[str, ...]:
    """The mix-ups that bring the two within their bands, the nearest first."""
    found = []
    for item in (one, other):
        for factor, sentence in item.slips:
            meant = replace(item, value=factor * item.value)
            left = _apart(meant, other) if item is one else _apart(one, meant)
            if left <= band:
                found.append((left, abs(math.log(factor)), sentence))
    return tuple(dict.fromkeys(sentence for *_, sentence in sorted(found)))


def suspect(estimates: Sequence[Estimate], found: Sequence[Contradiction]) -> Estimate | None:
    """The one estimate without which all others agree, where there are enough to tell."""
    if len(estimates) < 3 or not found:
        return None
    guilty = [item for item in estimates if all(item in (pair.one, pair.other) for pair in found)]
    return guilty[0] if len(guilty) == 1 else None


def reconciled(estimates: Sequence[Estimate]) -> tuple[float, float]:
    """The mean of the estimates, weighted by one over the square of their bands, and its band; what may be too low counts only alone."""
    estimates = [item for item in estimates if not item.least] or estimates
    weights = [1 / item.band**2 for item in estimates]
    mean = sum(weight * math.log(item.value) for weight, item in zip(weights, estimates, strict=True)) / sum(weights)
    return math.exp(mean), 1 / math.sqrt(sum(weights))


# -- the rated point and the held rotor ---------------------------------------------

Comparison = tuple[str, Estimate, Estimate]


def comparisons(sheet: Datasheet, constant: float | None, phase_resistance: float | None, band: float) -> Iterator[Comparison]:
    """What else of a datasheet can be held against each other, where it is printed: what it is about, and the two sides.

    Args:
        sheet: the datasheet.
        constant: torque per ampere of phase peak; None where it is in dispute.
        phase_resistance: resistance of one phase of the star, where the datasheet gives one.
        band: band of the torque constant.
    """
    point, run = sheet.rated, sheet.no_load
    if _prints(point, "torque", "speed", "power"):
        yield (
            "rated power",
            _estimate(sheet, ("rated.torque", "rated.speed"), point.torque * point.speed, "", _speeds(sheet)),
            _power(sheet),
        )
    if _prints(point, "speed") and _prints(run, "speed"):
        voltage = run.voltage if point.voltage is None else point.voltage
        limit = _estimate(sheet, ("no_load.speed",), run.speed * voltage / run.voltage, "", _speeds(sheet, "no_load.speed"))
        yield (
            "order of rated and no-load speed",
            _estimate(sheet, ("rated.speed",), point.speed, "", _speeds(sheet)),
            replace(limit, bound=True),
        )
    if constant is None or phase_resistance is None:
        return
    if _prints(point, "torque", "efficiency") and (point.power is not None or point.speed is not None):
        yield "loss at the rated point", *_loss(sheet, constant, phase_resistance, band)
    supply = next((path for path in ("no_load.voltage", "rated.voltage") if value_of(sheet, path) is not None), None)
    if _prints(sheet.stall, "torque") and sheet.stall.current is None and supply is not None:
        most = printed.held_torque(value_of(sheet, supply), constant, phase_resistance)
        slips = tuple((1 / factor, words) for factor, words in leads("resistance", sheet.resistance_of))
        wide = joint([band, band_of(sheet, "resistance")])
        limit = Estimate(("resistance", supply), most, wide, "datasheet.held_torque", slips, True)
        yield "torque with the rotor held", _estimate(sheet, ("stall.torque",), sheet.stall.torque, "", ()), limit


def _prints(part: Any, *names: str) -> bool:
    return part is not None and all(getattr(part, name) is not None for name in names)


def _speeds(sheet: Datasheet, path: str = "rated.speed") -> list[Slip]:
    return [(1 / factor, words) for factor, words in _turns(path, sheet)]


def _power(sheet: Datasheet) -> Estimate:
    share = sheet.rated.efficiency
    slips = [] if share is None else [(share, "if rated.power is electric power, not mechanical")]
    return _estimate(sheet, ("rated.power",), sheet.rated.power, "", slips)


def _loss(sheet: Datasheet, constant: float, phase_resistance: float, band: float) -> tuple[Estimate, Estimate]:
    """The copper loss of the rated torque, and the room that the efficiency leaves for it."""
    point = sheet.rated
    source = "rated.power" if point.power is not None else "rated.speed"
    power = point.power if point.power is not None else point.torque * point.speed
    loss = Estimate(
        ("resistance", "rated.torque"),
        motor.copper_loss(motor.current_for_torque(point.torque, constant), phase_resistance),
        joint([2 * band, 2 * band_of(sheet, "rated.torque"), band_of(sheet, "resistance")]),
        "motor.copper_loss",
        tuple(leads("resistance", sheet.resistance_of)),
    )
    room = printed.loss_by_efficiency(power, point.efficiency)
    wide = joint([band_of(sheet, "rated.efficiency") / (1 - point.efficiency), band_of(sheet, source)])
    return loss, Estimate(("rated.efficiency", source), room, wide, "datasheet.loss_by_efficiency", (), True)


def no_load_rotation(sheet: Datasheet, constant: float) -> float:
    """Rotation of the run without load: as printed, else from the torque constant."""
    run = sheet.no_load
    return run.speed if run.speed is not None else drive.no_load_speed(run.voltage, constant)
