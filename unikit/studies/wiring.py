"""Do leads, plugs, fuses and precharge bear what flows in a case, and what goes wrong if something shorts?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import bus
from ..formulas import wiring as wires
from ..inputs import Build, Case, Gear, Wiring
from .results import Result, shown
from .verdicts import Rule
from .wires import INSULATION, LEADS, SLEEVE_AIR, Flow, Leads, around, flow, lead_resistance, plug_resistance

CHARGED = 0.95  # of the packs' voltage: what the capacitor should have before the main contact closes
USUAL_LIMIT = 363.15  # kelvin, insulation where a build does not say it
NO_WIRING = "no table [wiring] in the build"
NO_FUSE = "no fuse described: fuse_rating and its companions"
NO_PRECHARGE = "no precharge described: precharge_resistance and its companions"
NO_CAPACITOR = "controller.bus_capacitance not stated"
CAUTION = (
    "A short in these leads burns: packs give hundreds of amperes at once, direct current draws arcs, capacitors stay charged after "
    "unplugging. Fuse at the pack, cover every pole, and let a qualified person make and check high-current wiring."
)

RULES = (
    Rule(
        "wire",
        "Do the leads stay below the limit of their insulation?",
        "rise over the air that the insulation allows",
        "rise of the hottest lead in the case, for as long as it likes",
        1.0,
        1.3,
        "thicker copper, leads apart instead of in one sleeve, insulation for a higher temperature, lower current",
        "wiring",
        "unknown when the build does not describe its wiring",
    ),
    Rule(
        "fuse",
        "Does the fuse carry the ride, bear the surge, and open before wire, plug or main lead are harmed?",
        "the narrowest of its conditions",
        "what that condition asks; the words name it",
        1.0,
        1.1,
        "a rating inside the window, a thicker lead, precharge, a fuse for higher voltage or breaking current",
        "wiring",
        "unknown when the build does not describe the fuse",
    ),
    Rule(
        "precharge",
        "Is the controller's capacitor charged in time, by a resistor that bears it?",
        "the narrower of time and pulse energy",
        f"time to {100 * CHARGED:.0f} % of the full packs' voltage, and the energy of the filled capacitor",
        1.0,
        1.2,
        "longer precharge, another resistance, a resistor for larger pulses",
        "wiring",
        "unknown when the build does not describe precharge or the capacitor",
    ),
)


@dataclass(frozen=True)
class Check:
    """One condition: what is there over what is asked, and both in words, in full and as a finding has room for."""

    name: str
    margin: float
    words: str
    brief: str

    @property
    def failed(self) -> bool:
        """Whether it is not met."""
        return self.margin < 1


@dataclass(frozen=True)
class Wired(Result):
    """Leads, plug, fuse and precharge of a build in a case."""

    gear: str = shown("gear")
    hottest: str = shown("hottest lead against its limit")
    hottest_temperature: u.Kelvin = shown("its copper in the end", "°C")
    wire_margin: u.Ratio = shown("allowed rise over its rise", "", 2)
    drop: u.Volt = shown("voltage lost from pack to controller", "V", 2)
    loss: u.Watt = shown("heat in all leads and plugs", "W", 2)
    resistance: u.Ohm = shown("leads and contacts, as one pack sees them", "mohm")
    stated: u.Ohm = shown("stated for wiring, fuse and plug", "mohm")
    compared: str = shown("compared")
    plug: str = shown("plug")
    fuse: str = shown("fuse")
    window_low: u.Ampere = shown("a fuse from", "A")
    window_low_by: str = shown("because it must carry")
    window_high: u.Ampere = shown("to", "A")
    window_high_by: str = shown("because of")
    short_current: u.Ampere = shown("current through one fuse in a short circuit", "A", 0)
    surge: u.Ampere = shown("peak of the surge without precharge", "A", 0)
    precharge: str = shown("precharge")
    assumed: str = shown("assumed")
    caution: str = shown("caution")
    lead: np.ndarray = shown("lead")
    area: u.SquareMetre = shown("copper", "mm^2", 2)
    current: u.Ampere = shown("current in the case, rms", "A")
    temperature: u.Kelvin = shown("temperature in the end", "°C")
    bears: u.Ampere = shown("current to its limit", "A")
    limit_current: u.Ampere = shown("current at the controller's limits", "A")
    limit_temperature: u.Kelvin = shown("temperature in the end at these", "°C")
    limit_time: u.Second = shown("time at these to its limit", "s", 0)
    time_constant: u.Second = shown("time constant", "s", 0)
    fuse_checks: tuple[Check, ...]
    precharge_checks: tuple[Check, ...]
    fuse_rating: float | None  # for the picture, with what all fuses together let into the main lead
    fused: int
    plug_current: float | None


@dataclass(frozen=True)
class Chosen(Result):
    """The smallest conductors that hold, and the fuses that fit the build's own leads."""

    lead: np.ndarray = shown("lead")
    needed: u.Ampere = shown("current that it must bear", "A")
    needed_by: np.ndarray = shown("because of")
    gauge: u.Number = shown("American wire gauge", "", 0)
    gauge_area: u.SquareMetre = shown("its copper", "mm^2", 2)
    section: u.SquareMetre = shown("flexible conductor of IEC 60228", "mm^2", 2)
    fuse: str = shown("fuse")
    assumed: str = shown("assumed")


def study(build: Build, case: Case, gear: Gear | None = None) -> Wired:
    """Every lead, the plug, the fuse and the precharge in one case, for as long as it lasts.

    Leads lie at rest in still air as warm as the case. Raises ValueError for a build without a motor; what a build does
    not say about its wiring is unknown here, and ``choose`` tells which leads it would need.
    """
    now, made = flow(build, case, gear), build.wiring
    checks, window = _fuse(build, now, case.air_temperature), _window(build, now, case.air_temperature)
    before = _precharge(build, now)
    known = _known(made, now, case.air_temperature) if made is not None else _unknown()
    stated = max(float(one.wiring_resistance) for one in build.packs.pack)
    capacitance = build.controller.bus_capacitance
    return Wired(
        gear=now.gear,
        stated=stated,
        compared=_compared(known["resistance"], stated),
        plug=_plug(made, now),
        fuse=_in_words(checks, NO_WIRING if made is None else NO_FUSE),
        window_low=window[0][0],
        window_low_by=window[0][1],
        window_high=window[1][0],
        window_high_by=window[1][1],
        short_current=now.short,
        surge=now.full / now.source if capacitance is not None else np.nan,
        precharge=_in_words(before, _no_precharge(build)),
        assumed=_assumed(made),
        caution=CAUTION,
        lead=np.array(LEADS),
        current=now.rms,
        limit_current=now.limit,
        fuse_checks=checks,
        precharge_checks=before,
        fuse_rating=None if made is None else made.fuse_rating,
        fused=now.fused,
        plug_current=None if made is None else made.connector_current,
        **known,
    )


def _known(made: Wiring, now: Flow, air: float) -> dict:
    """What follows from the leads of a build."""
    leads = Leads(made, air)
    warm, rms = leads.warm(now.rms), now.rms
    margin = _rise_margin(leads, warm)
    worst = int(np.argmin(margin))
    ohms, plug = leads.resistance(warm), plug_resistance(made)
    packs = now.fused * now.in_line
    ways = np.array([2 * packs, 2, 3])  # of all packs, out and back; of three phases
    heat = float(np.sum(rms**2 * ohms * ways * leads.length)) + packs * wires.contact_loss(rms[0], plug / 2)
    drops = rms * ohms * 2 * leads.length
    main = float(wires.wire_resistance(2 * made.main_length, made.main_area))
    return {
        "hottest": LEADS[worst],
        "hottest_temperature": float(warm[worst]),
        "wire_margin": float(margin[worst]),
        "drop": float(now.in_line * (drops[0] + rms[0] * plug) + drops[1]),
        "loss": heat,
        "resistance": lead_resistance(made) + plug + main * now.fused / now.in_line,
        "area": leads.section,
        "temperature": warm,
        "bears": leads.bears(),
        "limit_temperature": leads.warm(now.limit),
        "limit_time": leads.time_to_limit(now.limit, np.minimum(warm, made.insulation_limit)),
        "time_constant": leads.time_constant(),
    }


def _unknown() -> dict:
    one, three = np.nan, np.full(3, np.nan)
    singles = ("hottest_temperature", "wire_margin", "drop", "loss", "resistance")
    arrays = ("area", "temperature", "bears", "limit_temperature", "limit_time", "time_constant")
    return {"hottest": NO_WIRING} | dict.fromkeys(singles, one) | dict.fromkeys(arrays, three)


def _rise_margin(leads: Leads, warm: np.ndarray) -> np.ndarray:
    """Allowed rise over rise of each lead; endless where nothing flows, nothing where the air alone is too warm."""
    allowed, rise = max(leads.made.insulation_limit - leads.air, 0.0), warm - leads.air
    return np.where(rise > 0, allowed / np.where(rise > 0, rise, 1.0), np.inf if allowed > 0 else 0.0)


def _compared(found: float, stated: float) -> str:
    if np.isnan(found):
        return NO_WIRING
    left = 1e3 * (stated - found)
    if left < 0:
        return f"leads and contacts alone make {-left:.1f} mΩ more than the packs state"
    return f"{left:.1f} mΩ of what the packs state are left for fuse, splices and tabs"


def _plug(made: Wiring | None, now: Flow) -> str:
    if made is None:
        return NO_WIRING
    if made.connector_current is None:
        return "connector_current not stated"
    heat = f", {wires.contact_loss(now.rms[0], made.connector_resistance):.2g} W in its contacts" if made.connector_resistance else ""
    return f"{made.connector_current:.0f} A rated, {now.rms[0]:.1f} A in the case{heat}"


def _conditions(build: Build, now: Flow, air: float) -> list[tuple[str, str, float, float, Callable[[float], str]]]:
    """Each condition on the fuse: its name, in full and in brief, available, required, and how both are written."""
    made, leads = build.wiring, Leads(build.wiring, air)
    rating, bears = made.fuse_rating, leads.bears()
    withstood, let_through = _withstood(made, leads.section[:2]), made.fuse_let_through * np.array([1, now.fused**2])
    lead = int(np.argmin(withstood / let_through))
    amps, heat, short, volts = ("{:.1f} A".format, _heat, "{:.0f} A".format, "{:.1f} V".format)
    found = [
        ("carries the ride", "ride", rating, float(wires.least_fuse_rating(now.rms[0])), amps),
        ("carries the controller's limit", "controller's limit", rating, float(now.limit[0]), amps),
        ("below the pack's lead", "pack's lead", float(bears[0]), rating, amps),
        ("below the main lead", "main lead", float(bears[1]), now.fused * rating, amps),
    ]
    if made.connector_current is not None:
        found.append(("below the plug", "plug", made.connector_current, rating, amps))
    found += [
        (f"lets through less than the {LEADS[lead]} bears", "let-through", float(withstood[lead]), float(let_through[lead]), heat),
        ("breaks a short circuit", "short circuit", made.fuse_breaking_current, now.short, short),
        ("voltage", "voltage", made.fuse_voltage, now.full, volts),
    ]
    if build.controller.bus_capacitance is not None:
        found.append(("bears the surge", "surge", made.fuse_melting, _surge_heat(build, now), heat))
    return found


def _withstood(made: Wiring, sections: np.ndarray) -> np.ndarray:
    """What sections bear in a short circuit, in the worst case from the limit of their insulation on."""
    return wires.withstood_let_through(sections, made.insulation_limit - 273.15, made.short_limit - 273.15)


def _heat(let_through: float) -> str:
    return f"{float(f'{let_through:.3g}'):g} A²s"  # three digits, without powers of ten as far as that reads well


def _fuse(build: Build, now: Flow, air: float) -> tuple[Check, ...]:
    """The conditions on the fuse, the narrowest first."""
    if build.wiring is None or build.wiring.fuse_rating is None:
        return ()
    made = []
    for name, brief, available, required, how in _conditions(build, now, air):
        margin, numbers = available / required if required > 0 else np.inf, f"{how(available)}, {how(required)} asked"
        made.append(Check(name, margin, f"{name}: {numbers}", f"{brief}: {numbers}"))
    return tuple(sorted(made, key=lambda check: check.margin))


def _surge_heat(build: Build, now: Flow) -> float:
    """Square of the current times time through one fuse while the capacitor is filled: precharge and what is left for the contact."""
    made, capacitance = build.wiring, build.controller.bus_capacitance
    left, before = now.full, 0.0
    if made.precharge_resistance is not None:
        left = float(bus.discharging_voltage(now.full, made.precharge_resistance, capacitance, made.precharge_time))
        before = float(bus.inrush_let_through(now.full, made.precharge_resistance, capacitance))
    return now.share**2 * (before + float(bus.inrush_let_through(left, now.source, capacitance)))


def _window(build: Build, now: Flow, air: float) -> tuple[tuple[float, str], tuple[float, str]]:
    """Ratings between which a fuse fits, and what sets each end."""
    low = max(
        (float(now.limit[0]), "the controller's battery current"),
        (float(wires.least_fuse_rating(now.rms[0])), f"{now.rms[0]:.1f} A all the time with {100 * wires.FUSE_SHARE:.0f} % of its rating"),
    )
    if build.wiring is None:
        return low, (np.nan, NO_WIRING)
    bears = Leads(build.wiring, air).bears()
    ends = [(float(bears[0]), "the pack's lead"), (float(bears[1] / now.fused), "the main lead, which all fuses feed together")]
    if build.wiring.connector_current is not None:
        ends.append((float(build.wiring.connector_current), "the plug"))
    return low, min(ends)


def _no_precharge(build: Build) -> str:
    if build.wiring is None:
        return NO_WIRING
    return NO_PRECHARGE if build.wiring.precharge_resistance is None else NO_CAPACITOR


def _precharge(build: Build, now: Flow) -> tuple[Check, ...]:
    """The conditions on the precharge, the narrower first."""
    made, capacitance = build.wiring, build.controller.bus_capacitance
    if made is None or made.precharge_resistance is None or capacitance is None:
        return ()
    needed = float(bus.charging_time(CHARGED, made.precharge_resistance, capacitance))
    pulse = float(bus.charging_loss(now.full, capacitance))
    found = (
        ("time", made.precharge_time / needed, f"{100 * CHARGED:.0f} % after {needed:.2g} s, {made.precharge_time:.2g} s given"),
        ("pulse", made.precharge_energy / pulse, f"pulse of {pulse:.3g} J, the resistor bears {made.precharge_energy:.3g} J"),
    )
    return tuple(sorted((Check(name, margin, words, words) for name, margin, words in found), key=lambda check: check.margin))


def _in_words(checks: tuple[Check, ...], missing: str) -> str:
    """Which conditions fail, or which is the narrowest."""
    if not checks:
        return missing
    failed = [check.words for check in checks if check.failed]
    every = "both" if len(checks) == 2 else f"all {len(checks)}"
    return f"not met: {'; '.join(failed)}" if failed else f"{every} conditions met; narrowest {checks[0].words}"


def _assumed(made: Wiring | None) -> str:
    found = []
    if made is None:
        found.append(f"insulation for {USUAL_LIMIT - 273.15:.0f} °C, leads together in a sleeve")
    if made is None or made.insulation_thickness is None:
        found.append(f"insulation {1e3 * INSULATION:.1f} mm thick")
    if made is None or made.laid == "sleeve":
        found.append(f"{1e3 * SLEEVE_AIR:.0f} mm of still air in the sleeve")
    return ", ".join(found) or "nothing"


def choose(build: Build, case: Case, gear: Gear | None = None) -> Chosen:
    """The smallest conductor of each series that holds in the case, and which fuses fit the leads that the build has.

    A lead behind a fuse must bear its rating for ever; without one it must bear the smallest fuse that carries the case.
    Motor leads have no fuse: they must bear the controller's limit for ever.
    """
    now, made = flow(build, case, gear), build.wiring
    rating = None if made is None else made.fuse_rating
    fused = max(float(wires.least_fuse_rating(now.rms[0])), float(now.limit[0])) if rating is None else float(rating)
    needed = np.maximum(now.rms, [fused, now.fused * fused, now.limit[2]])
    behind = "the smallest fuse" if rating is None else f"the fuse of {rating:.3g} A"
    whose = [behind, f"{now.fused} times {behind}" if now.fused > 1 else behind, "the controller's phase current"]
    by = np.array([name if need > amps else "the case" for name, need, amps in zip(whose, needed, now.rms, strict=True)])
    limit = USUAL_LIMIT if made is None else made.insulation_limit
    gauges = np.arange(30, -4, -1)
    table = np.array(list(wires.CLASS_5)) * 1e-6
    real = wires.wire_resistance(1.0, 1.0) / wires.class_5_resistance(table)  # the section that has the table's resistance
    around_them = around(made)
    laid = {**around_them, "conductors": around_them["conductors"][:, None]}
    bears = [wires.ampacity(sections, limit, case.air_temperature, **laid) for sections in (wires.awg_area(gauges), real)]
    holds = [amps >= needed[:, None] for amps in bears]
    if rating is not None:  # let-through of one fuse in a pack's lead; of all at once, their currents added, in the main lead
        for fine, sections in zip(holds, (wires.awg_area(gauges), real), strict=True):
            fine[:2] &= _withstood(made, sections) >= made.fuse_let_through * np.array([[1], [now.fused**2]])
    picked = [_smallest(fine, series) for fine, series in zip(holds, (gauges, table), strict=True)]
    return Chosen(
        lead=np.array(LEADS),
        needed=needed,
        needed_by=by,
        gauge=picked[0],
        gauge_area=wires.awg_area(picked[0]),
        section=picked[1],
        fuse=_range_in_words(_window(build, now, case.air_temperature)),
        assumed=_assumed(made),
    )


def _smallest(holds: np.ndarray, series: np.ndarray) -> np.ndarray:
    """The first of a series, from thin to thick, that holds; nan where none does."""
    return np.where(holds.any(axis=1), series[np.argmax(holds, axis=1)], np.nan)


def _range_in_words(window) -> str:
    (low, low_by), (high, high_by) = window
    if np.isnan(high):
        return f"from {low:.1f} A; how far up is not known: {high_by}"
    if low > high:
        return f"none fits: the ride asks for at least {low:.1f} A ({low_by}), {high_by} allows at most {high:.1f} A"
    return f"from {low:.1f} A ({low_by}) to {high:.1f} A ({high_by})"


def margins(build: Build, case: Case, gear: Gear | None = None) -> list[tuple[str, float, str]]:
    """The findings on leads, fuse and precharge."""
    if build.motor is None:
        return []
    if build.wiring is None:
        return [(key, np.nan, NO_WIRING) for key in ("wire", "fuse", "precharge")]
    now = flow(build, case, gear)
    leads = Leads(build.wiring, case.air_temperature)
    warm = leads.warm(now.rms)
    rise = _rise_margin(leads, warm)
    worst = int(np.argmin(rise))
    found = [("wire", float(rise[worst]), f"{LEADS[worst]} at {warm[worst] - 273.15:.0f} °C")]
    for key, checks, missing in (
        ("fuse", _fuse(build, now, case.air_temperature), NO_FUSE),
        ("precharge", _precharge(build, now), _no_precharge(build)),
    ):
        found.append((key, checks[0].margin, checks[0].brief) if checks else (key, np.nan, missing))
    return found
