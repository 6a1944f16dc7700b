"""Exercises that a reader can check: an answer with its unit in, one line out.

A lesson declares its exercises in ``answers``; a reader calls ``check("gearing.1", "12.3 km/h")``.
The expected answer is never printed.  A wrong answer that is off by a known
slip, such as rpm taken for rad/s, gets a hint that names it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import import_module
from importlib.util import find_spec
from typing import Any

from .. import units


@dataclass(frozen=True)
class Slip:
    """A likely slip: the wrong answer is the right one times ``factor``, and the sentence that helps."""

    factor: float
    sentence: str


def _both_ways(factor: float, sentence: str) -> tuple[Slip, Slip]:
    return Slip(factor, sentence), Slip(1 / factor, sentence)


SLIPS: dict[str, tuple[Slip, ...]] = {
    "rpm for rad/s": _both_ways(
        float(units.convert(1.0, "rotation", "rpm")), "the factor is that between rpm and rad/s: in which of the two is your cadence?"
    ),
    "km/h for m/s": _both_ways(
        float(units.convert(1.0, "speed", "km/h")), "the factor is 3.6, that between km/h and m/s: in which of the two is your speed?"
    ),
    "radius for diameter": _both_ways(2.0, "the factor is 2: did you take a radius for a diameter, or the other way round?"),
    "percent for fraction": _both_ways(100.0, "the factor is 100: is your slope or share in percent or a fraction?"),
    "degrees for radians": _both_ways(
        float(units.convert(1.0, "angle", "deg")), "the factor is that between degrees and radians: in which of the two is your angle?"
    ),
    "hours for seconds": _both_ways(3600.0, "the factor is 3600: did you mix seconds and hours?"),
    "mass for weight": _both_ways(9.81, "the factor is about 9.81: did you leave out g, or put it in twice?"),
    "sign": (Slip(-1.0, "the size is right, the sign is not: which way counts as positive?"),),
}


def forgot(what: str, factor: float) -> Slip:
    """The slip of leaving out a factor, such as ``forgot("the gear's efficiency", 0.94)``."""
    return Slip(1 / factor, f"you seem to have left out {what}")


@dataclass(frozen=True)
class Exercise:
    """One question with a checkable answer.

    Args:
        key: its name, such as ``"gearing.1"``.
        kind: what the answer measures (a kind of ``unikit.units``), or ``"word"``.
        expected: the SI number or word, or a function that returns it.
        tolerance: relative as a number, or absolute as a text with unit such as ``"0.5 K"``.
        hints: names from ``SLIPS``, or slips of the exercise's own.
    """

    key: str
    kind: str
    expected: float | str | Callable[[], float | str]
    tolerance: float | str = 0.01
    hints: Sequence[str | Slip] = ()

    def __post_init__(self) -> None:
        if self.kind != "word" and self.kind not in units.KINDS:
            raise ValueError(f"exercise {self.key}: unknown kind {self.kind!r}")
        unknown = [hint for hint in self.hints if isinstance(hint, str) and hint not in SLIPS]
        if unknown:
            raise ValueError(f"exercise {self.key}: unknown hint {unknown[0]!r}; known: {', '.join(SLIPS)}")

    @property
    def slips(self) -> list[Slip]:
        """All slips that this exercise can name."""
        return [slip for hint in self.hints for slip in (SLIPS[hint] if isinstance(hint, str) else (hint,))]

    def verdict(self, answer: Any) -> str:
        """The line that ``check`` prints."""
        expected = self.expected() if callable(self.expected) else self.expected
        if self.kind == "word":
            same = str(answer).strip().casefold() == str(expected).casefold()
            return f"right: {answer}" if same else f"not yet: {units.shorten(answer)} is not the word"
        bare = units.KINDS[self.kind].base == "" and isinstance(answer, (int, float)) and not isinstance(answer, bool)
        try:
            given = float(answer) if bare else units.parse(answer, self.kind)
        except units.UnitError as error:
            return f"not yet: {error}"
        if self._close(given, expected):
            return f"right: {answer}"
        for slip in self.slips:
            if self._close(given, expected * slip.factor):
                return f"not yet: {slip.sentence}"
        return f"not yet: {answer} is {_aside(given, expected)}"

    def _close(self, given: float, expected: float) -> bool:
        if isinstance(self.tolerance, str):
            # A difference of temperatures is a rise: 0.5 K, whatever the scale.
            kind = "temperature rise" if self.kind == "temperature" else self.kind
            return math.isfinite(given) and abs(given - expected) <= units.parse(self.tolerance, kind)
        return math.isclose(given, expected, rel_tol=self.tolerance)


def _aside(given: float, expected: float) -> str:
    if not math.isfinite(given):
        return "not a finite number"
    if given * expected < 0:
        return "of the wrong sign"
    return "too large" if abs(given) > abs(expected) else "too small"


EXERCISES: dict[str, Exercise] = {}


def declare(*exercises: Exercise) -> None:
    """Make exercises known to ``check``; declaring one again replaces it, so that a cell can be run twice."""
    EXERCISES.update({exercise.key: exercise for exercise in exercises})


def check(key: str, answer: Any) -> None:
    """Print whether an answer, a text with unit such as ``"12.3 N*m"``, is right, or a hint."""
    if key not in EXERCISES:
        _declare_topic(str(key).partition(".")[0])
    exercise = EXERCISES.get(key)
    print(exercise.verdict(answer) if exercise else f"there is no exercise {key!r}; known: {', '.join(sorted(EXERCISES)) or 'none yet'}")


def _declare_topic(topic: str) -> None:
    """Declare the exercises of a lesson of this kit, if there is one on the topic."""
    name = f"{__package__}.answers.{topic}"
    if topic.isidentifier() and find_spec(name):
        import_module(name)
