"""Series of weights on a pedal: what they must say, and in which order the weights were hung.

A sensor with hysteresis answers by the path of its load.  So a series is one
path: from nothing up to the heaviest weight, and down again where it says so.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

KIND = "weights"
UP, UP_AND_DOWN = "up", "up and down"
FORWARD, BACKWARD = "forward", "backward"
WORDS = {"side": (FORWARD, BACKWARD), "loading": (UP, UP_AND_DOWN)}
STEEPEST = np.radians(60.0)  # of a crank from the horizontal: beyond that the lever arm hangs on the angle more than on the length

Wrong = tuple[str, "int | None", str, str]  # quantity, row, what was expected, what was found


def shared(quantity: str) -> str:
    """The instrument of a quantity that names none: the same in all series, because crank and weights are; only a zero is of its series."""
    return "" if quantity == "zero_shift" else quantity.replace("_", " ")


def top(masses: np.ndarray) -> int:
    """The row of the heaviest weight, the last where it was read more than once."""
    return len(masses) - 1 - int(np.argmax(masses[::-1]))


def wrong(values: Mapping[str, np.ndarray], words: Mapping[str, str]) -> str:
    """The first thing that is wrong with a series, in words; empty if nothing."""
    return next((f"{quantity}: expected {expected}; found: {found}" for quantity, _, expected, found in problems(values, words)), "")


def problems(values: Mapping[str, np.ndarray], words: Mapping[str, str]) -> Iterator[Wrong]:
    """What is wrong with a series, first things first; leading axes of the values are series alike."""
    masses = values["hung_mass"]
    if masses.ndim == 0:
        yield "hung_mass", None, "a column with the mass of each reading", "one number for all"
        return
    for one in masses.reshape(-1, masses.shape[-1]):
        yield from _order(one, words["loading"])
    angle = values["crank_angle"]
    if np.any(np.abs(angle) > STEEPEST):
        row = int(np.argmax(np.max(np.abs(np.atleast_2d(angle)), axis=0))) if angle.ndim else None
        found = f"{np.degrees(np.max(np.abs(angle))):.3g} deg"
        yield "crank_angle", row, f"at most {np.degrees(STEEPEST):.0f} deg from the horizontal, either way", found
    for name in ("crank_length", "local_gravity"):
        if np.any(values[name] <= 0):
            yield name, None, "a number above 0", f"{np.min(values[name]):g}"
    if "converter_counts" in values:
        yield from _counts(values["converter_counts"], values["converter_bits"], values["converter_range"])


def _order(masses: np.ndarray, loading: str) -> Iterator[Wrong]:
    if masses[0] != 0:
        yield "hung_mass", 0, "a first reading with nothing hung, 0 kg: hysteresis is counted from rest", f"{masses[0]:g} kg"
        return
    heaviest, steps = top(masses), np.diff(masses)
    if masses[heaviest] <= 0:
        yield "hung_mass", len(masses) - 1, "weights that rise", "none above 0 kg"
    elif np.any(steps[:heaviest] < 0):
        row = int(np.argmax(steps[:heaviest] < 0)) + 1
        found = f"{masses[row]:g} kg after {masses[row - 1]:g} kg; is the order lost, or are these two series?"
        yield "hung_mass", row, "weights that rise up to the heaviest", found
    elif loading == UP and heaviest < len(masses) - 1:
        found = f"{masses[heaviest + 1]:g} kg after the heaviest"
        yield "hung_mass", heaviest + 1, f"weights that rise throughout, since loading = {UP!r}", found
    elif loading == UP_AND_DOWN and heaviest == len(masses) - 1:
        yield (
            "hung_mass",
            heaviest,
            f"readings on the way down too, since loading = {UP_AND_DOWN!r}",
            "the heaviest weight as the last reading",
        )
    elif np.any(steps[heaviest:] > 0):
        row = heaviest + int(np.argmax(steps[heaviest:] > 0)) + 1
        found = f"{masses[row]:g} kg after {masses[row - 1]:g} kg; is the order lost, or are these two series?"
        yield "hung_mass", row, "weights that fall after the heaviest", found


def _counts(counts: np.ndarray, bits: np.ndarray, full: np.ndarray) -> Iterator[Wrong]:
    whole = float(np.max(bits))
    if bits.ndim or whole != round(whole) or not 1 <= whole <= 32:
        yield "converter_bits", None, "a constant whole number from 1 to 32", f"{whole:g}"
        return
    if full.ndim or full <= 0:
        yield "converter_range", None, "a constant above 0 V", f"{np.min(full):g} V"
    most = 2**whole - 1
    if np.any(counts > most):
        row = int(np.argmax(np.max(np.atleast_2d(counts), axis=0)))
        yield "converter_counts", row, f"at most {most:.0f}, the last count of {whole:.0f} bits", f"{np.max(counts):g}"
    elif np.any(counts >= most):
        row = int(np.argmax(np.max(np.atleast_2d(counts), axis=0)))
        yield "converter_counts", row, f"less than {most:.0f}: a converter at its end shows nothing more", f"{np.max(counts):g}"
