"""Parts: the findings on hub, sensing chain, packs, wiring and carriage as margins on one scale."""

from __future__ import annotations

from ...studies.findings import PARTS
from .review import margins_picture, span

__all__ = ["picture", "span"]

picture = margins_picture(
    tuple(rule.key for rule in PARTS), "Margins of hub, sensing chain, packs, wiring and carriage on one scale, each with what limits it"
)
