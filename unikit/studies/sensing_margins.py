"""The findings of the sensing chain: what each compares, and the margins of a build."""

from __future__ import annotations

import numpy as np

from ..formulas import road
from ..inputs import Build, Case, Gear
from . import cranks
from .torque_chain import BACK, FORWARD, NAN, Signal, missing, signal
from .verdicts import NO_LEAN, Rule

LEAN = 0.1  # degree

RULES: tuple[Rule, ...] = (
    Rule(
        "sensor range",
        "Does the sensing chain follow the rider's hardest push, driving and holding back?",
        "crank torque at which the first stage ends",
        "rider's greatest crank torque at the best angle, from a standstill",
        1.0,
        1.2,
        "lower amplifier gain, stiffer element, rest output nearer to the middle, wider input of the controller",
        "sensing",
        "the worse of both ways; the motor's torque cap is no part of the chain; a landing on the pedals may be harder than any push",
    ),
    Rule(
        "torque resolution",
        "Is the commanded torque fine enough to stand on?",
        "wheel torque that levels a tenth of a degree of lean",
        "largest jump of the command: a step of the converter, the span of the noise, or the edge of the dead band",
        1.0,
        2.0,
        "narrower dead band, more bits, more gain, lower noise",
        "sensing",
        "a tenth of a degree is a convention of this kit; endless without assist in the gear",
    ),
    Rule(
        "phantom torque",
        "Is the torque that nobody pushed small once the sensor has warmed?",
        "one trim step, or what rolling asks on the level if that is less",
        "torque at the wheel that the drifted zero commands",
        1.0,
        3.0,
        "zero set again when warm, full bridge, element away from motor and sun",
        "sensing",
        "the dead band is not counted: it hides the drift at rest and not on top of a push; unknown without zero_drift and warming",
    ),
    Rule(
        "sensor element",
        "Does the strained element bear the rider?",
        "torque at which it yields, tires, or leaves its rating, the lowest",
        "the rider's greatest crank torques, both ways in turn",
        1.2,
        2.0,
        "thicker element, less notch, stronger material, with more gain to make up for it",
        "sensing",
        "from a standstill at the best angle; a landing or a kick is not in it",
    ),
    Rule(
        "sensor timing",
        "Is the assist as quick as the findings on balance are told?",
        "delay that [sensor] states: that of its filter corner and its dead time",
        "delay of the chain's own parts: filter, sampling, average and computing",
        0.8,
        0.95,
        "the times of the parts written into [sensor], then faster sampling, fewer samples in the average, a higher corner",
        "sensing",
        "findings on balance count the stated times; unknown where the chain does not state its parts",
    ),
)


def margins(build: Build, case: Case, gear: Gear | None = None) -> list[tuple[str, float, str]]:
    """The findings' margins with what limits each; nan where an input is missing, and which."""
    gear = gear or build.gears.named()
    why = missing(build, gear)
    if why:
        return [(rule.key, NAN, why) for rule in RULES]
    found = signal(build, gear)
    return [
        (rule.key, float(margin), words)
        for rule, (margin, words) in zip(
            RULES, (_range(found), _resolution(found, case), _phantom(found), _element(found), _timing(found)), strict=True
        )
    ]


def lean_torque(build: Build, case: Case) -> float:
    """Wheel torque that levels a tenth of a degree of lean."""
    return LEAN * float(cranks.torque_per_degree(build, case.slope))


def _range(found: Signal) -> tuple[float, str]:
    ways = []
    for way, most, word in ((FORWARD, found.peak[0], "driving"), (BACK, found.peak[1], "holding back")):
        end, by = found.saturation(way)
        ways.append((end / most, f"{by}, {word}"))
    return min(ways)


def _resolution(found: Signal, case: Case) -> tuple[float, str]:
    gain = found.largest_gain
    if gain == 0:
        return float("inf"), "no assist in this gear"
    band = found.chain.dead_band or 0.0
    jump, by = max((band, "edge of the dead band"), (found.resolution, found.resolution_by))
    try:
        level = lean_torque(found.build, case)
    except ValueError as error:
        if not str(error).startswith(NO_LEAN):
            raise
        return NAN, f"{NO_LEAN} this ride"
    return level / (gain * jump), by


def _phantom(found: Signal) -> tuple[float, str]:
    if np.isnan(found.drift):
        return NAN, "no zero_drift or no warming in [sensor.chain]"
    if found.largest_gain == 0:
        return float("inf"), "no assist in this gear"
    wheel, mass = found.build.wheel, found.build.total_mass
    rolls = wheel.radius * (road.rolling_force(mass, wheel.rolling_coefficient, 0.0) + wheel.bearing_drag)
    step = float(found.build.assist.trim_step)
    least, by = min((step, "one trim step"), (rolls, "rolling on the level")) if step > 0 else (rolls, "rolling on the level")
    return (least / found.phantom if found.phantom > 0 else float("inf")), f"against {by}"


def _element(found: Signal) -> tuple[float, str]:
    known = [(value, word) for value, word in ((found.overload, _ends(found)), (found.fatigue, "fatigue")) if not np.isnan(value)]
    return min(known) if known else (NAN, "no element_yield, nor element_endurance with element_strength, in [sensor.chain]")


def _ends(found: Signal) -> str:
    return "rated torque" if found.chain.element == "rated" else "yield"


def _timing(found: Signal) -> tuple[float, str]:
    sensor = found.build.sensor
    stated, parts = (
        0.5 / (np.pi * corner) + late for corner, late in ((sensor.filter_corner, sensor.dead_time), (found.corner, found.dead_time))
    )
    if np.isnan(parts):
        return NAN, "parts of filter or sampling not in [sensor.chain]"
    return float(stated / parts), f"{1000 * parts:.1f} ms by the parts, {1000 * stated:.1f} ms stated"
