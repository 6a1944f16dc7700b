"""The same case again and again with a rest between: how hot does the winding get once every round is like the one before?"""

from __future__ import annotations

import numpy as np

from ..formulas import heat
from ..inputs import Build, Case
from .drive import ROOM
from .network import MAGNETS, WINDING, Network, assembled
from .warming import Asked, flux

INSTANTS = np.linspace(0.0, 1.0, 25)  # of the case at which the temperatures are looked at


def repeated(build: Build, case: Case, need: Asked) -> float:
    """Hottest winding when the case and a rest of the same length take turns for ever; inf where each round is hotter.

    The torque of the case is held, without derating, and the machine rests at
    a standstill in the same air and sunshine with the motor off.  Both halves
    are linear, so the round that repeats itself follows without marching; the
    magnets are taken as warm as they get in it.
    """
    if case.duration == 0:
        return case.air_temperature
    rest, base = assembled(build, case, 0.0, 0.0, 0.0), assembled(build, case, 0.0, need.whole.iron_loss)
    cooled, cooling = _after(rest, case.duration)
    magnets = case.air_temperature
    for _ in range(6):
        ride = base.with_copper(need.full / float(flux(build, magnets)) ** 2)
        try:
            warmed, warming = _after(ride, case.duration)
        except ValueError:  # it runs away within the case
            return np.inf
        if np.abs(np.linalg.eigvals(warming @ cooling)).max() >= 1:
            return np.inf
        begin = np.linalg.solve(np.eye(len(cooled)) - cooling @ warming, cooled + cooling @ warmed) + case.air_temperature
        course = heat.network_response(
            ride.capacity, ride.conductance, ride.losses, ride.ambient, begin, case.duration * INSTANTS, ride.loss_slope, ROOM
        )
        before, magnets = magnets, course[:, ride.place[MAGNETS]].max()
        if abs(magnets - before) < 0.05:
            break
    return float(course[:, ride.place[WINDING]].max())


def _after(now: Network, time: float) -> tuple[np.ndarray, np.ndarray]:
    """Rises over the air after a time from the air's temperature, and what each kelvin at the start adds to them."""
    bodies = len(now.capacity)
    start = now.ambient + np.concatenate([np.zeros((1, bodies)), np.eye(bodies)])
    ends = heat.network_response(now.capacity, now.conductance, now.losses, now.ambient, start, time, now.loss_slope, ROOM) - now.ambient
    return ends[0], (ends[1:] - ends[0]).T
