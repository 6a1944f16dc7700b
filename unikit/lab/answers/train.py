"""Expected answers of the lesson on the gear train."""

from __future__ import annotations

import math

from ...formulas import involute, trains
from ...inputs import Gear
from ...studies import train
from ..exercises import Exercise, Slip, declare
from . import build

SHORT_TEETH = 11  # of a planet, in the exercise on undercut


def long() -> Gear:
    """The gear of the lesson."""
    return build().gears.named("long")


def shift() -> float:
    """Smallest shift with which planets of few teeth are not undercut."""
    return involute.least_shift(SHORT_TEETH)


def bearing_room(factor: float = 1.0) -> float:
    """Diameter inside the roots of a planet of the example."""
    gear = long()
    return float(involute.root_diameter(gear.planet_teeth, gear.module, factor * gear.planet_shift))


def most_planets() -> float:
    """How many planets go in at equal angles around 40 and 80 teeth and clear each other."""
    sun, ring = 40, 80
    fitting = [n for n in range(1, 13) if (sun + ring) % n == 0]
    return float(max(n for n in fitting if trains.shape(sun, (ring - sun) / 2, n).neighbours > 1))


def hub_ratio(room: float = 0.085) -> float:
    """Ratio of the first train of the search in a smaller hub."""
    found = train.search(build(), long(), room=room)
    return float(found.ratios[0])


def largest_module(across: float | None = None) -> float:
    """Largest module with which the example's train fits the room for its ring, whose roots are so many modules across."""
    gear = long()
    made = trains.shape(gear.sun_teeth, gear.planet_teeth, gear.planets, gear.planet_shift)
    return gear.ring_room / (float(made.ring_root) if across is None else across)


def design_shift() -> float:
    """Largest shift of the example's planets with which no tip is thinner than the limit."""
    from scipy.optimize import brentq

    gear = long()
    return brentq(
        lambda shift: float(trains.shape(gear.sun_teeth, gear.planet_teeth, gear.planets, shift).pointed) - 1, 0.3, 0.8, xtol=1e-9
    )


declare(
    Exercise(
        "train.1",
        "ratio",
        shift,
        hints=(
            "sign",
            Slip((1 - SHORT_TEETH * math.sin(involute.PRESSURE_ANGLE) ** 2) / shift(), "half of the teeth times the square of the sine"),
        ),
    ),
    Exercise(
        "train.2",
        "length",
        bearing_room,
        hints=(
            "radius for diameter",
            Slip(bearing_room(0.0) / bearing_room(), "you seem to have left out the shift: it moves the roots too"),
            Slip(bearing_room(0.5) / bearing_room(), "the shift counts on both sides of the planet"),
        ),
    ),
    Exercise(
        "train.3",
        "number",
        most_planets,
        hints=(
            Slip(1.5, "so many go in, but look at the tips of neighbours"),
            Slip(1.25, "so many go in, but look at the tips of neighbours"),
        ),
    ),
    Exercise(
        "train.4",
        "ratio",
        hub_ratio,
        tolerance=0.001,
        hints=(Slip((hub_ratio() - 1) / hub_ratio(), "the ring turns once with the carrier besides: add 1"),),
    ),
    Exercise(
        "train.5",
        "length",
        largest_module,
        hints=(
            Slip(
                largest_module(long().ring_teeth) / largest_module(),
                "that fills the room with the pitch circle: the roots of the ring lie outside of it",
            ),
        ),
    ),
    Exercise("train.6", "ratio", design_shift, hints=("sign",)),
)
