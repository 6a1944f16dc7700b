"""A case ridden steadily with a cool winding: what packs and wires both start from, worked out once for both."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from ..formulas.reach import Limits
from ..inputs import Build, Case, Gear
from .cells import one_at_a_time
from .drive import Drive, drive
from .loads import loads, trim_torque
from .split import Split, torque_split


class Steady(NamedTuple):
    """The drive in the case's state, its limits at the case's speed, and who gives what."""

    drive: Drive
    limits: Limits
    split: Split


@lru_cache(16)  # records are compared by their values, so a build that was changed is another one
def steady(build: Build, case: Case, gear: Gear) -> Steady:
    """Who gives what in a case, for a build with a motor."""
    state = drive(build, case.state_of_charge)
    limits = state.limits(case.speed / build.wheel.radius)
    split = torque_split(build, gear, case.speed, loads(build, case).wheel_torque, state, trim_torque(build, case), limits)
    one_at_a_time(build.packs, split.battery_power)
    return Steady(state, limits, split)
