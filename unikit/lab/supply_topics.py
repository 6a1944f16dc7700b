"""The panels of packs, wiring and carriage."""

from __future__ import annotations

from .topic import Topic

SUPPLY: dict[str, Topic] = {}
