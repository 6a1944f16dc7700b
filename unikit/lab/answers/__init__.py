"""Expected answers of the exercises, one module a topic: computed by the studies, never printed.

A module declares its exercises when it is imported; ``exercises.check`` imports
it at the first use of its topic.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

from ...inputs import Build, Case, load_build, load_case

DATA = Path(__file__).resolve().parents[3] / "data"


@cache
def build(name: str = "harbour_commuter") -> Build:
    """An example build, as its file stands."""
    return load_build(DATA / "builds" / f"{name}.toml")


@cache
def case(name: str) -> Case:
    """A reference case, as its file stands."""
    return load_case(DATA / "cases" / f"{name}.toml")
