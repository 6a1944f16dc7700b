"""Watt-hour classes for taking packs on an aircraft.

A summary with dates, to plan a build by.  It is no ruling: the operator and
the states on the way may be stricter, and the texts change from year to year.
What was read, in which edition, stands in ``carriage_rules.toml``.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

from .. import units as u
from .checks import positive, warn_outside
from .registry import formula

NO_APPROVAL = "no approval"
OPERATOR_APPROVAL = "operator approval"
NOT_AS_BAGGAGE = "not as baggage"
PREVAIL = "operator and state rules prevail"

SPARE, INSTALLED, VEHICLE, POWER_BANK = "spare pack", "installed pack", "pack in a vehicle for recreation", "power bank"
CARGO, MOBILITY_AID = "cargo, packs alone (UN 3480)", "mobility aid"

# Limits are inclusive; a pack of 160 Wh must not fall out of its class by the last bit of a conversion.
ROUNDING = 1.0 + 1e-9
STANDARD_GRAVITY = 9.80665  # m/s^2, exact by definition


@dataclass(frozen=True)
class Source:
    """A text, its edition or date, and how it was seen."""

    short: str  # with its year
    text: str
    edition: str
    seen: str

    def __str__(self) -> str:
        return f"{self.text}, {self.edition}"


@dataclass(frozen=True)
class Rule:
    """One row of the table: what is asked of a kind of pack within a range of rated energy."""

    what: str
    above: float
    approval: str
    carried: str
    terminals: str
    charge: str
    sources: tuple[Source, ...]
    up_to: float = np.inf
    most: float = np.inf  # per person
    counted: str = ""
    more: bool = False  # whether the operator may approve more of them
    charge_limit: float = 1.0
    terminals_sources: tuple[Source, ...] = ()  # where others than those of the row say how terminals are protected

    @property
    def cited(self) -> str:
        """Its sources in short, each with its year."""
        return _short(self.sources)

    @property
    def every_source(self) -> tuple[Source, ...]:
        """Its sources and those on its terminals, each once."""
        return tuple(dict.fromkeys((*self.sources, *self.terminals_sources)))


def _short(sources: tuple[Source, ...]) -> str:
    return "; ".join(one.short for one in sources)


@cache
def table() -> tuple[Rule, ...]:
    """Every row, in the order of the file."""
    data = tomllib.loads(files(__package__).joinpath("carriage_rules.toml").read_text(encoding="utf-8"))
    source = {key: Source(**one) for key, one in data["source"].items()}
    cited = ("sources", "terminals_sources")
    return tuple(Rule(**row | {name: tuple(source[key] for key in row.get(name, ())) for name in cited}) for row in data["rule"])


def rule(what: str, energy_wh: u.WattHour) -> Rule:
    """The row for one pack by its rated energy.

    >>> rule("spare pack", 100.0).most, rule("spare pack", 100.1).most
    (20, 2)
    """
    positive("energy_wh", energy_wh)
    rows = [one for one in table() if one.what == what]
    if not rows:
        raise ValueError(
            f"what must be one of {', '.join(repr(name) for name in dict.fromkeys(one.what for one in table()))}, got {what!r}"
        )
    return next((one for one in rows if energy_wh <= one.up_to * ROUNDING), rows[-1])


NO_APPROVAL_LIMIT, APPROVAL_LIMIT = (float(one.up_to) for one in table() if one.what == SPARE and np.isfinite(one.up_to))


@formula(
    equation=r"E \le 100,\quad 100 < E \le 160,\quad E > 160\ \mathrm{W\,h}",
    source="iata_2018",
    valid="lithium-ion packs carried as spares in the cabin, each judged by its own rated energy; as of 2018 and, by summaries, of 2026",
)
def battery_class(energy_wh: u.WattHour) -> str:
    """Class of one spare pack: "no approval", "operator approval" or "not as baggage".

    Args:
        energy_wh: rated energy of the pack, nominal voltage times capacity.

    >>> battery_class(100.0), battery_class(158.4), battery_class(160.1)
    ('no approval', 'operator approval', 'not as baggage')
    """
    positive("energy_wh", energy_wh)
    if np.ndim(energy_wh) == 0:
        if energy_wh <= NO_APPROVAL_LIMIT * ROUNDING:
            return NO_APPROVAL
        return OPERATOR_APPROVAL if energy_wh <= APPROVAL_LIMIT * ROUNDING else NOT_AS_BAGGAGE
    array = np.asarray(energy_wh)
    below = [array <= NO_APPROVAL_LIMIT * ROUNDING, array <= APPROVAL_LIMIT * ROUNDING]
    return np.select(below, [NO_APPROVAL, OPERATOR_APPROVAL], NOT_AS_BAGGAGE)


@formula(
    equation=r"a = g_n\,\min\!\left(150,\ \sqrt{\frac{100850\ \mathrm{kg}}{m}}\right)",
    source="un_tests",
    valid="half sine of 6 ms, batteries of at most 12 kg",
)
def shock_acceleration(mass: u.Kilogram) -> u.MetrePerSecondSquared:
    """Peak of the shock that a pack's type has to pass before it may be shipped (test T.4).

    Args:
        mass: gross mass of the pack.

    >>> round(float(shock_acceleration(6.0)) / STANDARD_GRAVITY, 2)
    129.65
    """
    positive("mass", mass)
    warn_outside("mass", mass, 0.0, 12.0, "the small batteries of test T.4")
    return STANDARD_GRAVITY * np.minimum(150.0, np.sqrt(100850.0 / np.asarray(mass, float)))


def conditions(energy_wh: float, count: int, installed: bool, power_bank: bool = False) -> tuple[str, ...]:
    """What else is asked of equal packs, in sentences that each name their source and its date.

    Args:
        energy_wh: rated energy of one pack.
        count: how many such packs one person carries.
        installed: true where they stay in the machine, false where they are carried as spares.
        power_bank: true for what is made to charge other devices; its rules are others than those of spare packs.

    >>> print(conditions(90.0, 2, installed=False)[1].partition(" (")[0])
    Spare packs travel in the cabin only, never in checked baggage
    """
    positive("count", count)
    if count % 1 != 0:
        raise ValueError(f"count must be a whole number, got {count}")
    if installed and power_bank:
        raise ValueError("installed must be false for a power bank: it drives no machine")
    row = rule(POWER_BANK if power_bank else INSTALLED if installed else SPARE, float(energy_wh))
    if row.approval == NOT_AS_BAGGAGE:
        found = _as_cargo(energy_wh, row)
    elif power_bank:
        found = _power_bank(energy_wh, row, count)
    elif installed:
        found = _installed(energy_wh, row, count)
    else:
        found = _spare(energy_wh, row, count)
    aid, banks = rule(MOBILITY_AID, 1.0), rule(POWER_BANK, 1.0)
    every = dict.fromkeys(str(one) for each in (row, rule(SPARE, 1.0), banks) for one in each.every_source)
    return (
        *found,
        "The wider limits for mobility aids (one battery of 300 Wh, or two of 160 Wh) are for passengers who need the aid; "
        f"a machine for sport is none ({aid.cited}).",
        f"Power banks are another matter with rules of their own: cabin only, at most {banks.most} per person, not recharged on board; "
        f"do not count a pack as one, or one as a pack ({banks.sources[0].short}).",
        f"Operators and states may be stricter and the texts change: read the current ones and ask before booking ({'; '.join(every)}); "
        f"{PREVAIL}.",
    )


def _tested(row: Rule) -> str:
    return (
        "Every pack must be of a type that has passed the UN Manual of Tests and Criteria, part III, subsection 38.3; "
        f"a pack built at home has passed nothing until its type is tested ({row.sources[0].short})."
    )


def _count(count: int, row: Rule, cited: str = "") -> str:
    compared = f"{count:.0f} is more than that" if count > row.most else f"{count:.0f} is within that"
    more = ", unless the operator approves more" if row.more else ""
    return f"At most {row.most} {row.counted} per person{more}: {compared} ({cited or row.cited})."


def _asked(row: Rule) -> str:
    return "goes without the approval of the operator" if row.approval == NO_APPROVAL else "needs the approval of the operator"


def _range(row: Rule) -> str:
    return f"is not above {row.up_to} Wh" if row.above == 0 else f"is above {row.above} Wh and not above {row.up_to} Wh"


def _spare(energy_wh: float, row: Rule, count: int) -> tuple[str, ...]:
    return (
        f"A pack of {energy_wh:g} Wh {_range(row)}: as a spare it {_asked(row)} ({row.cited}).",
        f"Spare packs travel in the {row.carried} ({row.cited}).",
        _count(count, row),
        f"The terminals of each spare pack must be protected, {row.terminals} ({_short(row.terminals_sources)}).",
        _tested(row),
    )


def _installed(energy_wh: float, row: Rule, count: int) -> tuple[str, ...]:
    return (
        f"A pack of {energy_wh:g} Wh installed in a portable electronic device {_asked(row)} ({row.cited}).",
        "A vehicle may not pass as a portable electronic device: it has a page of its own, with approval above 100 Wh and nothing "
        f"above 160 Wh; ask the operator, and plan for packs that come out ({rule(VEHICLE, energy_wh).cited}).",
        *((_count(count, row),) if row.counted else ()),
        "A device in checked baggage must be switched off completely and protected from damage and from switching on by itself "
        f"({row.cited}).",
        _tested(row),
    )


def _power_bank(energy_wh: float, row: Rule, count: int) -> tuple[str, ...]:
    return (
        f"A power bank of {energy_wh:g} Wh {_range(row)}: it {_asked(row)}, as a spare battery would ({row.sources[-1].short}).",
        f"Power banks travel in the {row.carried} ({row.sources[0].short}).",
        _count(count, row, row.sources[0].short),
        f"The terminals of each power bank must be protected, {row.terminals} ({row.sources[0].short}).",
        "What is made in the first place to power another device counts as a power bank; a pack of the machine with an outlet for "
        f"other devices may be taken for one ({rule(SPARE, energy_wh).terminals_sources[0].short}).",
        _tested(rule(SPARE, energy_wh)),
    )


def _as_cargo(energy_wh: float, row: Rule) -> tuple[str, ...]:
    alone = rule(CARGO, energy_wh)
    return (
        f"A pack of {energy_wh:g} Wh is above {row.above} Wh: it does not go as baggage, spare or installed, in the cabin or in the hold; "
        f"it is prepared as cargo under the Dangerous Goods Regulations ({row.cited}).",
        f"Packs shipped alone (UN 3480) go on cargo aircraft only, at no more than {100 * alone.charge_limit:.0f} % state of charge "
        f"({alone.cited}).",
        _tested(row),
    )


def page() -> str:
    """The table and its sources as a Markdown page (kept in ``docs/carriage_rules.md``)."""
    lines = [
        "# Packs on an aircraft: what was read",
        "",
        "Generated from `unikit/formulas/carriage_rules.toml`; a test keeps it current. A summary with dates to plan a build by, not",
        f"the texts themselves and no ruling: {PREVAIL}. Limits belong to the row that they end: 100 Wh is not above 100 Wh.",
        "",
        "| carried as | rated energy | approval | per person | where | terminals | state of charge | read in |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for row in table():
        low, high = f"above {row.above:g}" if row.above else "", f"up to {row.up_to:g}" if np.isfinite(row.up_to) else ""
        energy = f"{low}{', ' if low and high else ''}{high} Wh" if low or high else "any"
        number = f"{row.most} {row.counted}{', more by approval' if row.more else ''}" if row.counted else "–"
        lines.append(
            f"| {' | '.join((row.what, energy, row.approval, number, row.carried, row.terminals, row.charge, _short(row.every_source)))} |"
        )
    lines += ["", "| read in | text | edition | seen |", "| --- | --- | --- | --- |"]
    sources = dict.fromkeys(one for row in table() for one in row.every_source)
    lines += [f"| {one.short} | {one.text} | {one.edition} | {one.seen} |" for one in sources]
    return "\n".join(lines) + "\n"
