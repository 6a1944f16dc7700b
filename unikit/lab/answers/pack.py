"""Expected answers of the lesson on packs under load."""

from __future__ import annotations

from functools import cache

from ...formulas import pack as pack_formulas
from ...formulas import sag
from ...inputs import Case, Pack, replace
from ...studies import cells, pack
from ...studies.findings import Rule
from ..exercises import Exercise, Slip, declare
from . import build, case

WARM, COLD, COLDER, FREEZING = 298.15, 263.15, 258.15, 273.15
HALF = 0.5
CURRENT, LOADED, RESTED = 5.0, 300.0, 60.0  # ampere out of one pack, seconds of load and of rest
SOON = 60.0  # seconds after which the resistance is asked
HARD = 400.0  # watt
SAG: Rule = next(rule for rule in pack.RULES if rule.key == "sag")
ONE: Pack = build().packs.pack[0]


def resistance(time: float = SOON) -> float:
    """Resistance of one pack after a time at a current, warm and half full."""
    return float(cells.resistance(ONE, HALF, WARM, time))


def still_missing(time: float = LOADED) -> float:
    """What one pack still lacks of its voltage at rest, a minute after a load."""
    cell = (ONE.fast_resistance, ONE.fast_time, ONE.slow_resistance, ONE.slow_time)
    return ONE.series * float(sag.voltage_to_recover(RESTED, CURRENT / ONE.parallel, time, *cell))


def cold(temperature: float = COLDER) -> Case:
    """The head wind with cells at another temperature."""
    return replace(case("head_wind"), {"pack_temperature": temperature})


@cache
def cut_off(temperature: float = COLDER) -> float:
    """Charge left at which the head wind's peak is cut off."""
    return pack.study(build(), cold(temperature)).peak_cut_off


@cache
def delivered(power: float = HARD, temperature: float = FREEZING) -> pack.Discharge:
    """A hard ride from full packs."""
    return pack.discharge(build(), replace(cold(temperature), {"state_of_charge": 1.0}), power=power)


def sag_margin(held_back: float, temperature: float = COLD) -> float:
    """Margin of the finding on sag with another charge held back."""
    changed = replace(build(), {"packs.held_back": held_back})
    return next(margin for key, margin, _ in pack.margins(changed, cold(temperature), changed.gears.named()) if key == "sag")


@cache
def to_hold_back(wanted: float = SAG.holds) -> float:
    """Smallest charge held back with which the packs give the head wind's peak with a margin, cells cold."""
    from scipy.optimize import brentq

    return brentq(lambda share: sag_margin(share) - wanted, 0.05, 0.9, xtol=1e-6)


declare(
    Exercise(
        "pack.1",
        "resistance",
        resistance,
        hints=(
            Slip(ONE.cell_resistance * ONE.series / resistance() + ONE.wiring_resistance / resistance(), "that is the first moment alone"),
            Slip((resistance() - ONE.wiring_resistance) / resistance(), "you seem to have left out the wiring"),
            Slip(resistance(1e9) / resistance(), "that is after many minutes: the slow part has hardly come after one"),
            Slip(1 / len(build().packs.pack), "that is for the three packs in parallel: one pack is asked"),
        ),
    ),
    Exercise(
        "pack.2",
        "voltage",
        still_missing,
        hints=(
            Slip(1 / ONE.series, "that is one cell: a pack has more of them in series"),
            Slip(still_missing(1e9) / still_missing(), "that is after a load without end: the slow part had not come in full"),
            Slip(
                (still_missing() + CURRENT * pack_formulas.string_resistance(ONE.cell_resistance, ONE.series, 1)) / still_missing(),
                "the ohmic part comes back at once when the load ends",
            ),
        ),
    ),
    Exercise(
        "pack.3",
        "ratio",
        cut_off,
        0.02,
        hints=("percent for fraction", Slip(cut_off(282.15) / cut_off(), "that is with cells as warm as the air of the case")),
    ),
    Exercise(
        "pack.4",
        "energy",
        lambda: delivered().delivered,
        hints=(
            Slip(
                (delivered().full_energy - delivered().heat) / delivered().delivered,
                "that leaves nothing in the packs: what ends this ride, and what is left behind?",
            ),
            Slip(delivered().nominal_energy / delivered().delivered, "that is the energy printed on the packs"),
            Slip(delivered(141.0).delivered / delivered().delivered, "that is at the mean power of the head wind"),
            "hours for seconds",
        ),
    ),
    Exercise(
        "pack.5",
        "ratio",
        to_hold_back,
        0.02,
        hints=(
            "percent for fraction",
            Slip(to_hold_back(1.0) / to_hold_back(), "with that it is just given, without the margin that the finding asks to hold"),
        ),
    ),
)
