"""Logs of whole rides: a table of text from any logger, read as a mapping of ours declares it, and cleaned.

Nothing is guessed silently: what is repaired or left out is told in the notes
of the log.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from .fields import Named
from .log_mapping import Recorded, check_shapes


@dataclass(frozen=True, eq=False)
class RideLog(Recorded):
    """One ride on its own times, which need not be even: SI arrays by quantity, which cannot be written to.

    Time rises from row to row.  Rows of one ``piece`` follow each other
    unbroken; nothing is integrated from one piece to the next.  A value that
    is unknown is nan.
    """

    piece: np.ndarray
    notes: tuple[str, ...] = ()  # what was repaired or left out


def make_ride(name: str, source: str, values: Mapping[str, Any], piece: Any = None, notes: tuple[str, ...] = ()) -> RideLog:
    """A ride log from SI arrays with their times, such as a computed ride; one piece where none are given."""
    count = check_shapes(values)
    kept = {quantity: np.array(value, float) for quantity, value in values.items()}
    pieces = np.zeros(count, int) if piece is None else np.array(piece, int)
    if "time" not in kept or not np.all(np.diff(kept["time"]) > 0):
        raise ValueError("a ride log needs times that rise from row to row")
    if pieces.shape != (count,) or np.any(np.diff(pieces) < 0):
        raise ValueError(f"piece must be {count} whole numbers that do not fall")
    for value in (*kept.values(), pieces):
        value.flags.writeable = False
    return RideLog(name, source, Named(kept), pieces, tuple(notes))
