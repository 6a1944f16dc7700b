"""What a panel asks, and the fields that several topics offer to change."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from ..inputs import Build, Case, Gear
from .controls import Choice

RATIO, GAIN = "gears.gear.{gear}.ratio", "assist.driving_gain.{gear}"
BRAKING_GAIN = "assist.resisting_gain.{gear}"
MACHINE = (RATIO, "cranks.length", "wheel.rolling_circumference", GAIN)


@dataclass(frozen=True)
class Topic:
    """What a panel asks, what it offers to change, and which numbers it prints: fields of its first result, all when none are named.

    ``later`` gives the results of topics of which a part takes longer than a
    redraw may; until then the picture is drawn without that part.
    """

    title: str
    results: Callable[..., tuple[Any, ...]]
    build_fields: tuple[str, ...]
    case_fields: tuple[str, ...]
    numbers: tuple[str, ...] = ()
    later: Callable[..., tuple[Any, ...]] | None = None  # the results with the parts that take longer
    completes: bool = False  # controls of what the build does not say about the rider begin in the middle of its range
    learned: bool = False  # the results also take the build as opened: the rider learned on it
    choices: Callable[[Build], tuple[Choice, ...]] = lambda build: ()  # words that are asked besides, and given to the studies by name
    given: Callable[[Build, Case, Any], Choice] | None = None  # a choice among things that are handed to the panel, such as routes
    made: Callable[..., Build] = lambda build, **chosen: build  # the build that the choices make of it, which is what is saved


def engaged(build: Build) -> Gear:
    """The engaged gear."""
    return build.gears.named(build.gears.engaged)
