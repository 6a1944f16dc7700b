"""The controller's heat: power switches with their base, heat sink, air."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..formulas import heat
from ..inputs import Build, Case
from .split import Split


@dataclass(frozen=True)
class Bridge:
    """Temperatures of the switches and their heat sink over the case's time, in SI."""

    bridge: np.ndarray
    sink: np.ndarray
    limit: float
    hottest: float
    limit_after: float


def bridge(build: Build, case: Case, time: np.ndarray, split: Split) -> Bridge | None:
    """Warm the controller by the split's bridge loss and the standby power; None where its heat sink is not described.

    It starts at the temperature of the air.  The loss falls when derating cuts
    the current: it is taken as constant between two times, and the network
    being linear each change adds its own response.
    """
    controller = build.controller
    if controller.bridge_capacity is None:
        return None
    chain = heat.chain([controller.bridge_to_sink, controller.sink_to_air])
    capacity, air = [controller.bridge_capacity, controller.sink_capacity], case.air_temperature
    loss = np.broadcast_to(np.asarray(split.bridge_loss, float), time.shape)
    between = (loss[1:] + loss[:-1]) / 2
    base = [between[0], controller.standby_power]
    kelvin = heat.network_response(capacity, chain, base, air, air, time)
    if np.ptp(between) > 0:
        kelvin = kelvin + _added(capacity, chain, np.diff(between), time)
    limit, limit_after = controller.bridge_limit, np.inf
    over = np.flatnonzero(kelvin[:, 0] >= limit)
    if over.size:
        here = max(over[0], 1)
        rise = kelvin[here, 0] - kelvin[here - 1, 0]
        limit_after = time[here] - (kelvin[here, 0] - limit) / rise * (time[here] - time[here - 1]) if rise > 0 else time[over[0]]
        if np.ptp(between[:here]) == 0:
            limit_after = heat.network_time_to_limit(capacity, chain, base, air, air, 0, limit)
    return Bridge(kelvin[:, 0], kelvin[:, 1], limit, float(kelvin[:, 0].max()), float(limit_after))


def _added(capacity, chain, change: np.ndarray, time: np.ndarray) -> np.ndarray:
    """What changes of the bridge loss, at all times but the first and the last, add to the temperatures."""
    one_watt = heat.network_response(capacity, chain, [1.0, 0.0], 0.0, 0.0, time)
    added = np.zeros((time.size, 2))
    for body in range(2):
        added[1:, body] = np.convolve(change, one_watt[:, body])[: time.size - 1]
    return added
