"""The hub's panels: the gear train and its strength."""

from __future__ import annotations

from typing import Any

from ..inputs import Build, Case
from ..studies import strength as strength_study
from ..studies import train as train_study
from .controls import Choice
from .topic import RATIO, Topic, engaged

PLANETS = (3, 4, 5, 6)


def _train(build: Build, case: Case, planets: int = 0) -> tuple[Any, ...]:
    return train_study.chosen(build, case, planets)


def _planets(build: Build) -> tuple[Choice, ...]:
    """How many planets: those of the build, or each number by itself."""
    gear = engaged(build)
    as_it_is = f"as built, {gear.planets:g}" if gear.planets is not None else f"{PLANETS[0]} to {PLANETS[-1]}"
    return (Choice("planets", "Planets", {as_it_is: 0} | {str(number): number for number in PLANETS}),)


HUB: dict[str, Topic] = {
    "train": Topic(
        "Gear train",
        _train,
        (RATIO, "gears.gear.{gear}.module", "gears.gear.{gear}.planet_shift", "gears.gear.{gear}.ring_room"),
        ("speed",),
        (
            "gear",
            "origin",
            "teeth",
            "planets",
            "spacing",
            "ratio",
            "smallest",
            "limited_by",
            "sun_contact",
            "ring_contact",
            "planet_shift",
            "least_shift",
            "shortened",
            "ring_root",
            "planet_root",
            "centre_distance",
            "neighbour_gap",
            "planet_thickness",
            "planet_speed",
            "sliding_speed",
            "wanted",
            "room",
            "found",
            "reason",
        ),
        choices=_planets,
        made=train_study.geared,
    ),
    "strength": Topic(
        "What the hub bears",
        lambda build, case: (strength_study.study(build, case),),
        (
            "gears.gear.{gear}.face_width",
            "gears.gear.{gear}.module",
            "gears.gear.{gear}.planet_shift",
            "hub.seat_length",
            "hub.axle_diameter",
            "hub.arm_bolt_spacing",
            "hub.crank_bearing_spacing",
            "hub.shock_factor",
            "hub.drop_factor",
            "rider.zero_cadence_torque",
            "rider.mass",
            "cranks.length",
        ),
        ("speed", "slope"),
        (
            "gear",
            "weakest",
            "weakest_factor",
            "crank_mean",
            "crank_hardest",
            "crank_shock",
            "sun_torque",
            "motor_torque",
            "axle_torque",
            "tooth_force",
            "drop_force",
            "mesh_efficiency",
            "efficiency",
            "unknown",
            "assumed",
            "caution",
        ),
    ),
}
