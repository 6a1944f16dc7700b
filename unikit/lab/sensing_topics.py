"""The panels of the sensing chain."""

from __future__ import annotations

from typing import Any

from ..inputs import Build, Case
from ..studies import sensing as sensing_study
from .controls import Choice
from .topic import GAIN, Topic

PUSHES = {"a third of the hardest": 1 / 3, "a hundredth": 0.01, "a tenth": 0.1, "the hardest": 1.0, "half as hard again": 1.5}


def _sensing(build: Build, case: Case, share: float = 1 / 3) -> tuple[Any, ...]:
    return sensing_study.study(build, case, share=share), sensing_study.chain(build, case)


def _pushes(build: Build) -> tuple[Choice, ...]:
    return () if build.motor is None else (Choice("share", "Push looked at", PUSHES),)


SENSING: dict[str, Topic] = {
    "sensing": Topic(
        "Sensing chain",
        _sensing,
        (
            "sensor.chain.amplifier_gain",
            "sensor.chain.shaft_diameter",
            "sensor.chain.shaft_bore",
            "sensor.chain.arm_height",
            "sensor.chain.rest_output",
            "sensor.chain.converter_bits",
            "sensor.chain.averaged_samples",
            "sensor.chain.dead_band",
            "sensor.chain.zero_drift",
            "sensor.chain.warming",
            "assist.torque_cap",
            GAIN,
            "rider.zero_cadence_torque",
        ),
        ("slope",),
        (
            "gear",
            "felt",
            "looked",
            "answered",
            "unanswered",
            "gain",
            "scale",
            "sensitivity",
            "resolution",
            "resolution_wheel",
            "resolution_by",
            "edge",
            "phantom",
            "phantom_steps",
            "phantom_rest",
            "peak",
            "peak_back",
            "range",
            "range_back",
            "ended_by",
            "ended_back_by",
            "overload",
            "fatigue",
            "dead_time",
            "corner",
            "timing",
            "fault_high",
            "fault",
        ),
        choices=_pushes,
    ),
}
