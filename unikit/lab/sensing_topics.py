"""The panels of the sensing chain."""

from __future__ import annotations

from .topic import Topic

SENSING: dict[str, Topic] = {}
