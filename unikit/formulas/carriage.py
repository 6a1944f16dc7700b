"""Watt-hour classes for taking packs on an aircraft.

A summary with dates, to plan a build by.  It is no ruling: the operator and
the states on the way may be stricter, and the texts change from year to year.
"""

from __future__ import annotations

import numpy as np

from .. import units as u
from .checks import positive
from .registry import formula

NO_APPROVAL = "no approval"
OPERATOR_APPROVAL = "operator approval"
NOT_AS_BAGGAGE = "not as baggage"

NO_APPROVAL_LIMIT = 100.0
APPROVAL_LIMIT = 160.0
# Limits are inclusive; a pack of 160 Wh must not fall out of its class by the last bit of a conversion.
_ROUNDING = 1.0 + 1e-9

_SPARES = {NO_APPROVAL: 20, OPERATOR_APPROVAL: 2}
_DEVICES = 15

_IATA = "IATA, Passengers Travelling with Lithium Batteries, 2018 edition"
_US = "49 CFR 175.10(a), edition of 1 October 2018"
_FAA = "FAA, PackSafe page on portable recreational vehicles, undated, as quoted in 2026"
_POWER_BANKS = "ICAO Doc 9284, 2025-2026 edition, addendum 1, in force from 27 March 2026"
_CARGO = "ICAO Doc 9284, 2015-2016 edition, addendum 4 of 23 February 2016"


@formula(
    equation=r"E \le 100,\quad 100 < E \le 160,\quad E > 160\ \mathrm{W\,h}",
    source="iata_2018",
    valid="lithium-ion packs carried as spares in the cabin, each judged by its own rated energy; as of 2018",
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
        if energy_wh <= NO_APPROVAL_LIMIT * _ROUNDING:
            return NO_APPROVAL
        return OPERATOR_APPROVAL if energy_wh <= APPROVAL_LIMIT * _ROUNDING else NOT_AS_BAGGAGE
    array = np.asarray(energy_wh)
    below = [array <= NO_APPROVAL_LIMIT * _ROUNDING, array <= APPROVAL_LIMIT * _ROUNDING]
    return np.select(below, [NO_APPROVAL, OPERATOR_APPROVAL], NOT_AS_BAGGAGE)


def conditions(energy_wh: float, count: int, installed: bool) -> tuple[str, ...]:
    """What else is asked of equal packs, in sentences that each name their source and its date.

    Args:
        energy_wh: rated energy of one pack.
        count: how many such packs one person carries.
        installed: true where they stay in the machine, false where they are carried as spares.

    >>> print(conditions(90.0, 2, installed=False)[1].partition(" (")[0])
    Spare packs travel in the cabin only, never in checked baggage
    """
    kind = battery_class(float(energy_wh))
    positive("count", count)
    if count % 1 != 0:
        raise ValueError(f"count must be a whole number, got {count}")
    if kind == NOT_AS_BAGGAGE:
        found = _as_cargo(energy_wh)
    elif installed:
        found = _installed(energy_wh, kind, count)
    else:
        found = _spare(energy_wh, kind, count)
    return (
        *found,
        "The wider limits for mobility aids (one battery of 300 Wh, or two of 160 Wh) are for passengers who need the aid; "
        f"a machine for sport is none ({_FAA}).",
        "Power banks are another matter with rules of their own: cabin only, at most two per person, not recharged on board; "
        f"do not count a pack as one, or one as a pack ({_POWER_BANKS}).",
        "Operators and states may be stricter and the texts change: read the current one and ask the operator before booking "
        f"({_IATA}; {_US}; {_POWER_BANKS}).",
    )


def _tested() -> str:
    return (
        "Every pack must be of a type that has passed the UN Manual of Tests and Criteria, part III, subsection 38.3; "
        f"a pack built at home has passed nothing until its type is tested ({_IATA})."
    )


def _count(count: int, most: int, what: str, more: str) -> str:
    compared = f"{count:.0f} is more than that" if count > most else f"{count:.0f} is within that"
    return f"At most {most} {what} per person{more}: {compared} ({_IATA})."


def _spare(energy_wh: float, kind: str, count: int) -> tuple[str, ...]:
    if kind == NO_APPROVAL:
        first = f"A pack of {energy_wh:g} Wh is not above 100 Wh: as a spare it goes without the approval of the operator ({_IATA})."
        number = _count(count, _SPARES[kind], "spare batteries of any type", ", unless the operator approves more")
    else:
        first = (
            f"A pack of {energy_wh:g} Wh is above 100 Wh and not above 160 Wh: as a spare it needs the approval of the operator ({_IATA})."
        )
        number = _count(count, _SPARES[kind], "spare batteries above 100 Wh", "")
    return (
        first,
        f"Spare packs travel in the cabin only, never in checked baggage ({_IATA}).",
        number,
        "The terminals of each spare pack must be protected by itself: original packaging, insulated terminals, or a bag or pouch "
        f"of its own ({_US}; {_IATA}).",
        _tested(),
    )


def _installed(energy_wh: float, kind: str, count: int) -> tuple[str, ...]:
    if kind == NO_APPROVAL:
        first = f"A pack of {energy_wh:g} Wh installed in a portable electronic device goes without the approval of the operator ({_IATA})."
        number = (_count(count, _DEVICES, "devices", ", unless the operator approves more"),)
    else:
        first = f"A pack of {energy_wh:g} Wh installed in a portable electronic device needs the approval of the operator ({_IATA})."
        number = ()
    return (
        first,
        "A vehicle may not pass as a portable electronic device: it has a page of its own, with approval above 100 Wh and nothing "
        f"above 160 Wh; ask the operator, and plan for packs that come out ({_FAA}).",
        *number,
        f"A device in checked baggage must be switched off completely and protected from damage and from switching on by itself ({_IATA}).",
        _tested(),
    )


def _as_cargo(energy_wh: float) -> tuple[str, ...]:
    return (
        f"A pack of {energy_wh:g} Wh is above 160 Wh: it does not go as baggage, spare or installed, in the cabin or in the hold; "
        f"it is prepared as cargo under the Dangerous Goods Regulations ({_IATA}).",
        f"Packs shipped alone (UN 3480) go on cargo aircraft only, at no more than 30 % state of charge ({_CARGO}).",
        _tested(),
    )
