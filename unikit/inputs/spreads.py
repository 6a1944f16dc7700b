"""A number that is not known exactly: how it is written, kept and drawn."""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass

import numpy as np

from .. import units

SHAPES = {"normal": 2, "uniform": 2, "triangular": 3}
LONGEST = 4 * units.LONGEST_TEXT

_CALL = re.compile(r"\s*(normal|uniform|triangular)\s*\((.*)\)\s*", re.DOTALL)
_STEP = re.compile(r"±|\+/-")


@dataclass(frozen=True)
class Spread:
    """The distribution of one number, with its parameters in SI.

    ``normal``: mean and one standard deviation; ``uniform``: both ends;
    ``triangular``: low end, mode, high end.
    """

    shape: str
    parameters: tuple[float, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "parameters", tuple(float(item) for item in self.parameters))
        if SHAPES.get(self.shape) != len(self.parameters):
            given = f"{self.shape!r} with {len(self.parameters)} parameters"
            raise ValueError(f"a spread is normal with 2, uniform with 2 or triangular with 3 parameters, got {given}")
        if not np.isfinite(self.parameters).all():
            raise ValueError(f"the parameters of a spread must be finite, got {self.parameters}")
        if self.shape == "normal" and self.parameters[1] <= 0:
            raise ValueError("the standard deviation must be above 0")
        if self.shape != "normal" and not (self.parameters[0] < self.parameters[-1] and list(self.parameters) == sorted(self.parameters)):
            raise ValueError("the ends must rise")

    @property
    def nominal(self) -> float:
        """The number to use when one is needed: mean, middle or mode."""
        if self.shape == "uniform":
            return (self.parameters[0] + self.parameters[1]) / 2
        return self.parameters[0 if self.shape == "normal" else 1]

    @property
    def ends(self) -> tuple[float, float]:
        """The lowest and the highest number that can be drawn, before the field's limits."""
        return (-np.inf, np.inf) if self.shape == "normal" else (self.parameters[0], self.parameters[-1])

    def quantile(self, probability: np.ndarray, low: float = -np.inf, high: float = np.inf) -> np.ndarray:
        """Numbers at these probabilities, for the distribution cut off at ``low`` and ``high``."""
        if self.shape == "normal":
            from scipy.special import ndtr, ndtri

            mean, deviation = self.parameters
            below, above = ndtr((low - mean) / deviation), ndtr((high - mean) / deviation)
            return np.clip(mean + deviation * ndtri(below + probability * (above - below)), low, high)
        first, last = self.parameters[0], self.parameters[-1]
        if self.shape == "uniform":
            return first + probability * (last - first)
        mode = self.parameters[1]
        rising = first + np.sqrt(probability * (last - first) * (mode - first))
        falling = last - np.sqrt((1 - probability) * (last - first) * (last - mode))
        return np.where(probability < (mode - first) / (last - first), rising, falling)

    def draw(self, count: int, seed: int, path: str, low: float = -np.inf, high: float = np.inf) -> np.ndarray:
        """Draw numbers; each path has a stream of its own, so that one more spread leaves the others as they were."""
        stream = np.random.default_rng([seed, zlib.crc32(path.encode())])
        return self.quantile(stream.random(count), low, high)


def read(text: str, kind: str) -> tuple[float, Spread | None]:
    """Read a number that may carry a spread: the nominal SI number, and the spread.

    >>> read("74 kg ± 2 kg", "mass")
    (74.0, Spread(shape='normal', parameters=(74.0, 2.0)))
    >>> read("85 mohm ± 10 %", "resistance")[1].parameters
    (0.085, 0.0085)
    >>> read("0.5 to 0.6", "ratio")[0]
    0.55
    """
    if len(text) > LONGEST:
        raise units.UnitError(
            f"cannot read {units.shorten(text)} as a number: the text has {len(text)} characters, at most {LONGEST} are read"
        )
    call = _CALL.fullmatch(text)
    if call:
        shape, pieces = call.group(1), call.group(2).split(",")
        if len(pieces) != SHAPES[shape]:
            raise units.UnitError(f"{shape}(…) takes {SHAPES[shape]} numbers, got {len(pieces)}")
    elif _STEP.search(text):
        shape, pieces = "normal", _STEP.split(text)
        if len(pieces) != 2:
            raise units.UnitError("± may stand once")
    elif re.search(r"\sto\s", text):
        shape, pieces = "uniform", re.split(r"\sto\s", text)
        if len(pieces) != 2:
            raise units.UnitError("'to' may stand once")
    else:
        return units.parse(text, kind), None
    numbers = [units.parse(piece, kind) for piece in pieces[: None if shape != "normal" else 1]]
    if shape == "normal":
        numbers.append(_step(pieces[1], kind, numbers[0]))
    spread = Spread(shape, tuple(numbers))
    return spread.nominal, spread


def takes_percent(kind: str) -> bool:
    """Whether "± 10 %" means a share of the number: not where per cent is a unit of its own, nor for a temperature."""
    return kind not in ("ratio", "slope", "number", "temperature")


def _step(text: str, kind: str, value: float) -> float:
    if takes_percent(kind) and text.strip().endswith("%"):
        return abs(value) * units.parse(text, "ratio")
    return units.parse(text, step_kind(kind))


def step_kind(kind: str) -> str:
    """The kind of a standard deviation: temperatures step in kelvin."""
    return "temperature rise" if kind == "temperature" else kind


def write(value: float, kind: str, unit: str) -> str:
    """The shortest text that reads back as exactly this number, in the display unit where that is short."""
    base = units.KINDS[kind].base
    found = []
    for option in dict.fromkeys((unit, base)):
        shown = float(units.convert(value, kind, base, option))
        for digits in range(1, 18):
            text = f"{_plain(shown, digits)} {_written(option)}".rstrip()
            if units.parse(text, kind) == value:
                found.append(text)
                break
    short = [text for text in found if len(text) <= 16]
    return (short or sorted(found, key=len))[0]


def write_spread(spread: Spread, kind: str, unit: str) -> str:
    """The text of a spread, as :func:`read` takes it."""
    first, *rest = spread.parameters
    if spread.shape == "normal":
        step = step_kind(kind)
        step_unit = "K" if step != kind else unit
        return f"{write(first, kind, unit)} ± {write(rest[0], step, step_unit)}"
    if spread.shape == "uniform":
        return f"{write(first, kind, unit)} to {write(rest[0], kind, unit)}"
    return f"triangular({', '.join(write(item, kind, unit) for item in spread.parameters)})"


def _plain(number: float, digits: int) -> str:
    text = f"{number:.{digits}g}"
    if "e" in text and 1e-6 < abs(number) < 1e9:
        text = f"{float(text):f}" if abs(number) >= 1 else np.format_float_positional(float(text), trim="-")
        return text.rstrip("0").rstrip(".") if "." in text else text
    return text


def _written(unit: str) -> str:
    return unit.replace("*", "·").replace("^2", "²").replace("^3", "³").replace("degC", "°C")
