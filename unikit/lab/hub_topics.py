"""The hub's panels: the gear train and its strength."""

from __future__ import annotations

from ..studies import strength as strength_study
from .topic import Topic

HUB: dict[str, Topic] = {
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
