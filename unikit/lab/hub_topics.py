"""The hub's panels: the gear train and its strength."""

from __future__ import annotations

from .topic import Topic

HUB: dict[str, Topic] = {}
