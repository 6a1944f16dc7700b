"""What the text of a local rule says beside a build's figures, never more than that.

Most definitions count wheels and do not reach a machine with one.  Nothing
here is advice on law: local law prevails, and every answer says how old the
text is and where it was read.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib.resources import files

import numpy as np

from .. import units
from ..formulas.checks import not_negative

NOT_DETERMINED = "class not determined"
COVERS = ("yes", "no", "not excluded")


@dataclass(frozen=True)
class LocalRule:
    """One definition as its text stood on a date; limits in SI, None where the text seen has none."""

    key: str
    area: str
    text: str
    power_limit: float | None
    assist_speed_limit: float | None
    printed_power_limit: str
    printed_assist_speed_limit: str
    wheels: str
    covers_one_wheel: str
    as_of: date
    source: str
    seen: str
    note: str


def _limit(printed: str, kind: str) -> float | None:
    return units.parse(printed, kind) if printed else None


@cache
def local_rules() -> dict[str, LocalRule]:
    """Every rule of the table, by its key."""
    table = files("unikit").joinpath("inputs", "tables", "local_rules.csv").read_text(encoding="utf-8")
    found = {}
    for line in csv.DictReader(table.splitlines()):
        power, speed = line.pop("power_limit"), line.pop("assist_speed_limit")
        found[line["key"]] = LocalRule(
            **(line | {"as_of": date.fromisoformat(line["as_of"])}),
            power_limit=_limit(power, "power"),
            assist_speed_limit=_limit(speed, "speed"),
            printed_power_limit=power,
            printed_assist_speed_limit=speed,
        )
    return found


def look_up(key: str | None) -> LocalRule | None:
    """The rule with a key; None when no key is given.

    >>> look_up("great-britain").printed_assist_speed_limit
    '15.5 mph'
    """
    if key is None:
        return None
    if key not in local_rules():
        raise ValueError(f"no local rule {units.shorten(key)}; the table has: {', '.join(local_rules())}")
    return local_rules()[key]


def assessment(rule: LocalRule | None, power: float | None, speed: float | None) -> str:
    """The text of a rule beside a build's figures, in sentences.

    The class is left open unless the text itself covers one wheel; where it
    does, its limits are stated beside the figures and nothing is concluded.

    Args:
        rule: the rule, or None when no area is named.
        power: power of the build's motor [W], None if there is none or it is not known.
        speed: speed up to which it assists [m/s], None if not known.
    """
    if rule is None:
        return f"{NOT_DETERMINED}: no area is named. Local law prevails."
    last = f"{rule.note} Local law prevails; this text is as of {rule.as_of.isoformat()}, from: {rule.source} ({rule.seen})."
    if rule.covers_one_wheel != "yes":
        reach = "does not reach one wheel" if rule.covers_one_wheel == "no" else "does not say whether it means one wheel"
        return f"{rule.area}: {NOT_DETERMINED}. {rule.text}: the text {reach} ({rule.wheels}). {last}"
    limits = f"power {_stated(rule.printed_power_limit)}, assistance {_stated(rule.printed_assist_speed_limit, 'up to ')}"
    return f"{rule.area}: {rule.text}: the text covers one wheel ({rule.wheels}). Its limits: {limits}. {_figures(power, speed)} {last}"


def _stated(printed: str, before: str = "") -> str:
    return before + printed if printed else "not limited in the text seen"


def _figures(power: float | None, speed: float | None) -> str:
    shown_power = "unknown" if power is None else f"{power:.0f} W"
    shown_speed = "an unknown speed" if speed is None else f"{3.6 * speed:.1f} km/h"
    return f"This build: power {shown_power}, assistance up to {shown_speed}; a rule mostly means continuous rated power."


def japan_assist_ratio(speed: units.MetrePerSecond) -> units.Ratio:
    """Greatest ratio of motor force to human force in the Japanese text, at a speed.

    2 below 10 km/h, then falling in a straight line to 0 at 24 km/h (Road
    Traffic Act, Enforcement Regulation Art. 1-3; read at the testing body).

    Args:
        speed: road speed [m/s].

    >>> float(round(japan_assist_ratio(17 / 3.6), 12))
    1.0
    """
    not_negative("speed", speed)
    return np.clip(2.0 - (3.6 * np.asarray(speed) - 10.0) / 7.0, 0.0, 2.0)[()]
