"""The march behind ``joining.join``: packs side by side on one pair of terminals, exact from bend to bend of their curves.

Between two bends every open-circuit voltage is a straight line over charge, so
each pack is a capacitor behind a resistor and the currents are sums of decaying
exponentials.  A step ends where the first pack reaches a bend; nothing is
integrated numerically, so no step can be too long and none unstable.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from ._bracket import crossing

LOOKS = 160  # times within a step at which the voltages are looked at for a bend that was passed
LONG = 40.0  # of the slowest time constant: what is left of a current by then is below the last digit


class Piece:
    """Voltages and currents of the packs from one bend to the next."""

    def __init__(self, start: float, voltage: np.ndarray, capacitance: np.ndarray, coupling: np.ndarray) -> None:
        self.start, self.end, scale = start, np.inf, np.sqrt(capacitance)
        self.rate, modes = np.linalg.eigh(coupling / np.outer(scale, scale))
        shape = modes / scale[:, None] * (modes.T @ (scale * voltage))
        self.rate[0] = 0.0  # all at one voltage: the mode that stays
        self.shape, self.flow = shape, coupling @ shape
        self.flow[:, 0] = 0.0
        fast, slow = self.rate[-1], self.rate[1]
        self.looks = np.r_[0.0, np.geomspace(1e-7 / fast, LONG / slow, LOOKS)]

    def voltage(self, time: np.ndarray) -> np.ndarray:
        """Open-circuit voltages, packs by times since the start of the piece."""
        return self.shape @ np.exp(-np.multiply.outer(self.rate, time))

    def current(self, time: np.ndarray) -> np.ndarray:
        """Currents out of the packs."""
        return self.flow @ np.exp(-np.multiply.outer(self.rate, time))

    def charge(self, time: np.ndarray) -> np.ndarray:
        """Charge that has left the packs since the start of the piece."""
        return self.flow[:, 1:] @ (-np.expm1(-np.multiply.outer(self.rate[1:], time)) / self.rate[1:, None])

    def squares(self, time: np.ndarray) -> np.ndarray:
        """Integral of the squared currents since the start of the piece."""
        both = self.rate[1:, None] + self.rate[1:]
        decayed = -np.expm1(-np.multiply.outer(both, time)) / both[..., None]
        return np.einsum("ki,kj,ij...->k...", self.flow[:, 1:], self.flow[:, 1:], decayed)

    def passes(self, pack: int, bend: float, place: int) -> float:
        """When a pack's voltage passes a bend between the look before a place and that place."""
        before, after = self.looks[place - 1], self.looks[place]
        way = np.sign(self.voltage(np.array([after]))[pack, 0] - bend)
        found = crossing(lambda t: way * (self.voltage(np.atleast_1d(t))[pack, 0] - bend), before, after, 1e-14 * after)
        return float(found) if np.isfinite(found) else float(before)  # not finite: at the bend already


def march(state: np.ndarray, charge: np.ndarray, resistance: np.ndarray, points: np.ndarray, curves: np.ndarray) -> list[Piece]:
    """The pieces from the moment of joining until all packs have one voltage."""
    return _march(*(np.ascontiguousarray(one, float).tobytes() for one in (state, charge, resistance, points, curves)))


@lru_cache(8)  # one study asks for currents at several times, and for several times of currents
def _march(*given: bytes) -> list[Piece]:
    state, charge, resistance, points, curves = map(np.frombuffer, given)
    curves = curves.reshape(len(state), len(points))
    conductance = 1 / resistance
    coupling = np.diag(conductance) - np.outer(conductance, conductance) / conductance.sum()
    voltage = np.array([np.interp(one, points, curve) for one, curve in zip(state, curves, strict=True)])
    flow = coupling @ voltage
    # A pack that starts at a bend takes the side into which its current leads.
    side = np.where(flow > 0, np.searchsorted(points, state, "left"), np.searchsorted(points, state, "right"))
    segment = np.clip(side - 1, 0, len(points) - 2)
    row, start, pieces = np.arange(len(state)), 0.0, []
    tiny = 1e-13 * np.abs(voltage).max()
    for _ in range(4 * len(state) * len(points)):
        slope = np.diff(curves)[row, segment] / np.diff(points)[segment]
        piece = Piece(start, voltage, charge / slope, coupling)
        pieces.append(piece)
        low, high = curves[row, segment], curves[row, segment + 1]
        seen = piece.voltage(piece.looks)
        outside = (seen < low[:, None] - tiny) | (seen > high[:, None] + tiny)
        if not outside.any():
            return pieces
        place = int(np.argmax(outside.any(axis=0)))
        bends = [(pack, (high if seen[pack, place] > high[pack] else low)[pack]) for pack in np.flatnonzero(outside[:, place])]
        when, who, bend = min((piece.passes(pack, bend, place), pack, bend) for pack, bend in bends)
        voltage = piece.voltage(np.array([when]))[:, 0]
        voltage[who] = bend
        segment[who] += 1 if bend == high[who] else -1
        if not 0 <= segment[who] <= len(points) - 2:
            raise ValueError("curve_voltage must let all packs reach one voltage: one of them would pass the end of its curve")
        piece.end = start = start + when
    raise RuntimeError("the packs did not settle")  # cannot happen: every step passes a bend and voltages only draw together
