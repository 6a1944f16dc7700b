"""The table of findings: what each compares, when it holds, and what would move it.

A margin is what is available divided by what is required.  ``docs/findings.md``
is generated from this table.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

HOLDS, TIGHT, SHORT, UNKNOWN = "holds", "tight", "short", "unknown"


@dataclass(frozen=True)
class Rule:
    """One row of the table."""

    key: str
    question: str
    available: str
    required: str
    tight: float
    holds: float
    moved_by: str
    studied_in: str
    why: str = "limits are a convention of this kit"

    def verdict(self, margin: float) -> str:
        """The margin in a word; ``unknown`` when a needed input is missing."""
        if math.isnan(margin):
            return UNKNOWN
        return HOLDS if margin >= self.holds else TIGHT if margin >= self.tight else SHORT

    def over(self, margins: np.ndarray) -> tuple[float, str, int]:
        """The median margin of many draws, the verdict over them, and how many of 100 hold.

        It holds only if 95 of 100 hold, and is short if fewer than half are at least tight.
        """
        held = float(np.mean(margins >= self.holds))
        verdict = HOLDS if held >= 0.95 else TIGHT if np.mean(margins >= self.tight) >= 0.5 else SHORT
        return float(np.quantile(margins, 0.5, method="lower")), verdict, int(100 * held)


_TABLE = (
    Rule(
        "pace",
        "Does this gear reach the wanted speed in comfort?",
        "comfortable speed",
        "wanted speed of the case",
        0.9,
        1.0,
        "gear ratio, crank length, wheel, assist gain",
        "gearing",
    ),
    Rule(
        "top speed",
        "Is there speed left above the case before legs or motor end it?",
        "greatest speed",
        "speed of the case",
        1.1,
        1.25,
        "gear ratio, shorter cranks, winding with a higher no-load speed",
        "gearing",
    ),
    Rule(
        "leverage",
        "How much of the ungeared wheel's leverage is left, assist counted, in the worse direction?",
        "leverage times crank length, the lower of driving and resisting",
        "ungeared wheel with the reference cranks",
        0.7,
        0.9,
        "assist gain, longer cranks, shorter gear",
        "leverage",
    ),
    Rule(
        "push",
        "Can the legs give the mean crank torque of the case?",
        "greatest mean crank torque at this cadence",
        "mean crank torque asked",
        1.5,
        2.0,
        "trim torque, assist gain, longer cranks, shorter gear",
        "leverage",
    ),
    Rule(
        "endurance",
        "Do the legs last as long as the case?",
        "time to exhaustion at this leg power",
        "duration of the case",
        1.0,
        1.5,
        "assist gain, trim torque, lower speed",
        "range",
    ),
    Rule(
        "motor torque",
        "Does the motor give the assist and trim asked, at the worst crank angle?",
        "greatest motor torque at this speed and charge, as warm as the case leaves it",
        "peak that assist and trim would ask without limits",
        1.0,
        1.3,
        "phase current limit, winding, pack voltage, lower gain",
        "motor",
    ),
    Rule(
        "gust",
        "Does the reserve cover the torque that the case's gust adds?",
        "reserve at the worst crank angle",
        "torque the gust adds at the wheel",
        1.0,
        1.5,
        "lower trim, phase current limit, winding, pack voltage",
        "motor",
    ),
    Rule(
        "back-EMF",
        "Is the back-EMF below the packs at the greatest speed the rider can pedal?",
        "speed at which back-EMF reaches the packs",
        "greatest speed of the gear",
        1.0,
        1.15,
        "winding with fewer turns, higher pack voltage, shorter gear",
        "motor",
    ),
    Rule(
        "trip voltage",
        "Does the controller bear the back-EMF if it trips at the greatest speed?",
        "voltage rating of the controller",
        "peak of the back-EMF between two leads, magnets at 0 °C, at the greatest speed of the gear or that of the case",
        1.0,
        1.15,
        "winding with fewer turns, controller with a higher rating, shorter gear",
        "reach",
        "the packs hold the voltage down while they are connected: counted is what comes when they are not",
    ),
    Rule(
        "braking reserve",
        "Does the motor hold back as asked when the packs are full?",
        "greatest braking motor torque at full packs, as warm as the case leaves it",
        "braking peak that assist and trim would ask without limits",
        1.0,
        1.3,
        "lower resisting gain, a brake for the rest, packs that are not charged to the top before a descent",
        "reach",
        "endless where the case does not ask the motor to hold back",
    ),
    Rule(
        "magnet current",
        "Do the magnets bear the strongest current against them?",
        "direct current that the magnets bear at their limit of temperature",
        "field weakening as set, or the current of joined leads at the greatest speed, the larger",
        1.0,
        1.2,
        "less field weakening, magnets of a higher grade, more inductance",
        "reach",
        "unknown when the build does not say what its magnets bear",
    ),
    Rule(
        "winding heat",
        "Does the winding stay below its class through the case?",
        "allowed rise of the winding in the mean, by its insulation class",
        "rise at the end of the case",
        1.0,
        1.3,
        "trim torque, assist gain, pace, better path from winding to stator",
        "heat",
    ),
    Rule(
        "magnet heat",
        "Do the magnets stay below their limit through the case?",
        "allowed rise of the magnets",
        "rise of the magnets at the end of the case",
        1.0,
        1.3,
        "less loss, more air on the housing, magnets of a higher grade",
        "heat",
        "the magnets' own body where the build describes their ring, else the housing",
    ),
    Rule(
        "repeated climbs",
        "Does the winding stay below derating if the case comes again and again, with a rest as long between?",
        "rise of the winding at which derating begins, or its class if that is lower",
        "greatest rise once every round is like the one before, torque held",
        1.0,
        1.2,
        "longer rests, lower trim, lower gain, pace, more air on the housing, a longer motor",
        "heat",
        "rest at a standstill in the same air and sunshine, the motor off",
    ),
    Rule(
        "controller heat",
        "Do the controller's switches stay below their limit through the case?",
        "allowed rise of the switches",
        "their greatest rise in the case",
        1.0,
        1.3,
        "larger heat sink, more air on it, lower bridge resistance, lower phase current",
        "heat",
        "unknown when the build does not describe the heat sink",
    ),
    Rule(
        "energy",
        "Do the packs last the wanted distance, with the held back charge untouched?",
        "range at this pace",
        "wanted distance",
        1.0,
        1.3,
        "more packs, lower speed, lower gain, less drag area",
        "range",
    ),
    Rule(
        "cut-out step",
        "Can the legs supply at once what is missing if the motor stops?",
        "mean crank torque the legs have left",
        "cut-out step",
        1.5,
        2.5,
        "lower trim, lower gain, longer cranks, gentler slope, a cut-back that ramps",
        "leverage",
        "statics only: time to react and balance are not in it, so a margin here is necessary, not sufficient",
    ),
    Rule(
        "trim",
        "Can the trim torque cancel the slope?",
        "cap of the trim torque",
        "torque of the slope",
        0.5,
        1.0,
        "trim cap (a higher cap costs more if it is lost), lower mass",
        "leverage",
    ),
    Rule(
        "gain window",
        "How far are the gains as set from toppling and from oscillating, in the worse direction?",
        "the nearer edge: gain over toppling gain, or onset gain over gain",
        "the gain as set",
        1.1,
        1.5,
        "assist gain, shorter gear, longer cranks, faster sensor and filter, measuring the rider",
        "balance",
        "over draws of the rider",
    ),
    Rule(
        "balance margin",
        "How much of the ungeared wheel's distance from losing balance is left to the same rider?",
        "vector margin with the gains as set, in the worse direction",
        "vector margin of the same rider on the ungeared wheel without assist",
        0.3,
        0.6,
        "assist gain nearer to the recommended one, longer cranks, shorter gear, faster sensor and filter",
        "balance",
        "over draws of the rider",
    ),
    Rule(
        "dead time",
        "Is the assist quick enough?",
        "dead time from which the gain as set is unstable",
        "dead time of the assist",
        1.2,
        2.0,
        "faster sensor and controller, higher filter corner, gain nearer to the recommended one",
        "balance",
        "over draws of the rider",
    ),
    Rule(
        "balance speed",
        "Up to which speed can the case's gust and a small bump still be caught?",
        "balance-limited speed, with a factor of 1.5 on the closed form at the worst crank angle",
        "wanted speed of the case",
        0.8,
        1.0,
        "more motor torque at speed, shorter gear, longer cranks, lower speed",
        "capture",
        "over draws of the rider",
    ),
    Rule(
        "cut-out catch",
        "If the motor stops at once in the case, can the legs catch the fall in time?",
        "motor torque whose loss can be caught, with a factor of 1.5 on the closed form at the worst crank angle",
        "motor torque of the case",
        0.67,
        1.0,
        "learning the gear with the motor off, lower trim, lower gain, longer cranks, gentler slope, a cut-back that ramps",
        "capture",
        "over draws of the rider; nothing is caught by one who does not balance the gear alone; on a steep climb it is short for every "
        "such machine; the closed form is kind: what it calls caught a simulated event must confirm",
    ),
    Rule(
        "trim loss",
        "Is the trim of the case within what may be lost at once?",
        "largest trim whose loss can be caught, with the same factor",
        "trim of the case",
        0.67,
        1.0,
        "learning the gear with the motor off, lower trim cap, lower gain, longer cranks, trim that ramps out",
        "capture",
        "over draws of the rider, as for the cut-out",
    ),
    Rule(
        "joint limit",
        "Do the packs stay below the controller's voltage rating when full?",
        "voltage rating of the controller",
        "voltage of the full packs",
        1.0,
        1.05,
        "fewer cells in series, controller with a higher rating",
        "motor",
    ),
    Rule(
        "carriage",
        "Is every pack below the limit for carrying without approval?",
        "100 Wh",
        "rated energy of the largest pack",
        0.625,
        1.0,
        "smaller packs, more of them",
        "range",
        "tight means up to 160 Wh, which need the operator's approval",
    ),
    Rule(
        "local rules",
        "Does the text of the chosen local rule cover a vehicle with one wheel?",
        "text of the rule",
        "one wheel",
        1.0,
        1.0,
        "ask the authority; this kit gives no advice on law",
        "review",
        "always unknown: the kit gives no verdict, the note of the review states the text beside the build's figures",
    ),
)

FINDINGS = {rule.key: rule for rule in _TABLE}


def page() -> str:
    """The table as a Markdown page (kept in ``docs/findings.md``)."""
    lines = [
        "# Findings",
        "",
        "Generated from `unikit/studies/findings.py`; a test keeps it current.",
        "",
        "A margin is what is available divided by what is required. A finding is the margin in a word: `holds`, `tight`,",
        "`short`, or `unknown` when a needed input is missing. Temperature is judged as rise over allowed rise. No finding",
        "says that a machine may be ridden: nothing here was tried on a person.",
        "",
        "What depends on the rider's delay, muscles and legs is judged over draws of them, from the build's own ranges or from assumed",
        "ones that the review names: it holds only if 95 of 100 draws hold, and is short if fewer than half are at least tight. The margin",
        "printed is the median.",
        "",
        "| finding | question | available | required | tight from | holds from | what would move it | studied in | note |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for rule in _TABLE:
        cells = (rule.key, rule.question, rule.available, rule.required, f"{rule.tight:g}", f"{rule.holds:g}")
        lines.append(f"| {' | '.join((*cells, rule.moved_by, rule.studied_in, rule.why))} |")
    return "\n".join(lines) + "\n"
