"""Expected answers of the lesson on packs on an aircraft."""

from __future__ import annotations

import math
from functools import cache

from ...formulas import carriage as rules
from ...inputs import Build, Case, replace
from ...studies import carriage
from ..exercises import Exercise, Slip, declare
from . import build, case

FAR, BEARS, HELD_BACK = "30 km", "10 A", "25 %"
IN_SERIES, STRINGS = 7, 2
LARGE, SMALL = 9, 6  # packs above 100 Wh, and below


@cache
def wheel() -> Build:
    """The build of the lesson: its cells bear 10 A."""
    return replace(build(), {f"packs.pack.{name}.cell_current_limit": BEARS for name in build().packs.names})


def wind(**changes: str | float) -> Case:
    """The case of the lesson, with changes."""
    return replace(case("head_wind"), {"distance": "18 km", "state_of_charge": 1.0} | changes)


def wanted(held_back: str = HELD_BACK, distance: str = FAR) -> float:
    """Rated energy that the case wants."""
    return carriage.study(replace(wheel(), {"packs.held_back": held_back}), wind(distance=distance)).wanted


def largest_cell(limit: float = rules.APPROVAL_LIMIT) -> float:
    """Capacity of the cells of a pack that reaches a limit."""
    return 3600 * limit / (IN_SERIES * STRINGS * wheel().packs.pack[0].cell_nominal_voltage)


def travellers() -> float:
    """Persons for all packs: two above 100 Wh each, twenty in all."""
    large, every = (rules.rule(rules.SPARE, size).most for size in (rules.APPROVAL_LIMIT, rules.NO_APPROVAL_LIMIT))
    return float(max(math.ceil(LARGE / large), math.ceil((LARGE + SMALL) / every)))


def lightest(capacity: float = 2.5 * 3600) -> float:
    """Mass of the lightest plan without approval, in parallel."""
    made = carriage.with_capacity(wheel(), capacity)
    return float(min(carriage.plans(made, wind(distance=FAR), series=(11, 12, 13), joins=(1,), approval=False).mass))


def slow_enough() -> float:
    """Speed at which the packs of the build hold the far distance."""
    from scipy.optimize import brentq

    return brentq(lambda speed: carriage.study(wheel(), wind(distance=FAR, speed=speed)).covered - 1, 2.0, 9.0, xtol=1e-9)


declare(
    Exercise(
        "carriage.1",
        "energy",
        wanted,
        hints=(
            Slip(wanted("15 %") / wanted(), "that holds back as much as the file has: the task asks for more"),
            Slip(wanted("0 %") / wanted(), "that plans with the whole charge: a part of it is held back"),
            Slip(1000.0, "the factor is 1000: metres or kilometres?"),
            "hours for seconds",
        ),
    ),
    Exercise(
        "carriage.2",
        "charge",
        largest_cell,
        hints=(
            Slip(rules.NO_APPROVAL_LIMIT / rules.APPROVAL_LIMIT, "that needs no approval: the task asks for what goes with it"),
            Slip(STRINGS, "that is the capacity of a whole pack: it has two strings"),
            Slip(0.5, "each pack is judged by itself, not the two in series together"),
            Slip(
                wheel().packs.pack[0].cell_nominal_voltage / wheel().packs.pack[0].curve_voltage[-1],
                "that takes the voltage of full cells: a pack is rated at its nominal voltage",
            ),
        ),
    ),
    Exercise(
        "carriage.3",
        "number",
        travellers,
        hints=(
            Slip(1 / travellers(), "one person carries two packs above 100 Wh, whatever else"),
            Slip(
                math.ceil((LARGE + SMALL) / 2) / travellers(),
                "only packs above 100 Wh are limited to two: the small ones are counted with twenty",
            ),
        ),
    ),
    Exercise(
        "carriage.4",
        "mass",
        lightest,
        hints=(
            Slip(lightest(wheel().packs.pack[0].cell_capacity) / lightest(), "that is with the cells of the build as it is"),
            Slip(0.25, "that is one pack: the plan has several"),
        ),
    ),
    Exercise(
        "carriage.5",
        "speed",
        slow_enough,
        hints=(
            "km/h for m/s",
            Slip(wind().speed / slow_enough(), "that is the speed of the case as it is"),
        ),
    ),
)
