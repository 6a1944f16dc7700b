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
    return of_gears(build, cases, gears) + of_build(build)


def of_gears(build: Build, cases: Sequence[Case], gears: Sequence[Gear]) -> list[Finding]:
    """Findings on the parts in each gear; what differs from case to case names the one that is worst."""
    return [one for gear in gears for one in _of_gear(build, cases, gear)]


def _of_gear(build: Build, cases: Sequence[Case], gear: Gear) -> list[Finding]:
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


def of_build(build: Build) -> list[Finding]:
    """Findings on the parts that neither gear nor case changes."""
    studies: list[Any] = []
    if build.motor is not None:
        studies.append(calibrated)
    if build.packs is not None:
        studies += [joining, carriage]
    return [judged(key, ANY, "-", margin, words) for study in studies for key, margin, words in study.margins(build)]
