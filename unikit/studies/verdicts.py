"""What a finding is judged by: a margin, its limits and the word for it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

HOLDS, TIGHT, SHORT, UNKNOWN = "holds", "tight", "short", "unknown"
NO_LEAN = "no lean of the body balances"  # how the balance formulas begin where no steady ride exists


@dataclass(frozen=True)
class Rule:
    """One row of the table."""

    key: str
    question: str
    available: str
    required: str
    tight: float
    holds: float
    moved_by: str
    studied_in: str
    why: str = "limits are a convention of this kit"

    def verdict(self, margin: float) -> str:
        """The margin in a word; ``unknown`` when a needed input is missing."""
        if math.isnan(margin):
            return UNKNOWN
        return HOLDS if margin >= self.holds else TIGHT if margin >= self.tight else SHORT

    def over(self, margins: np.ndarray) -> tuple[float, str, int]:
        """The median margin of many draws, the verdict over them, and how many of 100 hold.

        It holds only if 95 of 100 hold, and is short if fewer than half are at least tight.
        """
        held = float(np.mean(margins >= self.holds))
        verdict = HOLDS if held >= 0.95 else TIGHT if np.mean(margins >= self.tight) >= 0.5 else SHORT
        return float(np.quantile(margins, 0.5, method="lower")), verdict, int(100 * held)


@dataclass(frozen=True)
class Finding:
    """One margin in words."""

    key: str
    case: str
    gear: str
    margin: float
    verdict: str
    limited_by: str
    moved_by: str
    studied_in: str


def ratio(available: float, required: float) -> float:
    """Available over required; endless when nothing is required."""
    if required <= 0:
        return np.inf
    return max(available, 0.0) / required
