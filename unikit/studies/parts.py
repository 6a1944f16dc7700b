"""Hub, sensing chain, packs, wiring and carriage as findings: the worst of the cases counts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ..inputs import Build, Case, Gear
from . import calibrated, carriage, joining, pack, sensing_margins, strength, train, wiring
from .findings import judged
from .verdicts import Finding

ANY = "any"


def findings(build: Build, cases: Sequence[Case], gears: Sequence[Gear]) -> list[Finding]:
    """All findings on the parts of a build."""
    return [one for gear in gears for one in _of_gear(build, cases, gear)] + _of_build(build)


def _of_gear(build: Build, cases: Sequence[Case], gear: Gear) -> list[Finding]:
    """Findings on the parts of one gear; what differs from case to case names the one that is worst."""
    studies: list[Any] = [train, strength]
    if build.motor is not None:
        studies.append(sensing_margins)
    if build.packs is not None:
        studies += [pack, wiring]
    found = []
    for study in studies:
        for rows in zip(*(study.margins(build, case, gear) for case in cases), strict=True):
            worst, (key, margin, words) = min(enumerate(rows), key=lambda row: -np.inf if np.isnan(row[1][1]) else row[1][1])
            differs = len(cases) > 1 and any(row[1] != margin for row in rows) and not np.isnan(margin)
            found.append(judged(key, ANY, gear.name, margin, f"{words} ({cases[worst].name})" if differs else words))
    return found


def _of_build(build: Build) -> list[Finding]:
    """Findings on the parts that neither gear nor case changes."""
    studies: list[Any] = []
    if build.motor is not None:
        studies.append(calibrated)
    if build.packs is not None:
        studies += [joining, carriage]
    return [judged(key, ANY, "-", margin, words) for study in studies for key, margin, words in study.margins(build)]
