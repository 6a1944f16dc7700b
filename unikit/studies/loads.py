"""What the road asks of the wheel in a case."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..formulas import road
from ..inputs import Build, Case
from ..units import Values


@dataclass(frozen=True)
class Loads:
    """Forces against the motion, each from its own formula, and the wheel torque they ask."""

    rolling: Values
    slope: Values
    air: Values
    bearing: Values
    wheel_torque: Values

    @property
    def force(self) -> Values:
        """Sum of the four."""
        return self.rolling + self.slope + self.air + self.bearing


def loads(build: Build, case: Case, speed: Values | None = None, slope: Values | None = None, head_wind: Values | None = None) -> Loads:
    """Forces at a steady speed; speed, slope and head wind may replace those of the case."""
    speed = case.speed if speed is None else speed
    slope = case.slope if slope is None else slope
    head_wind = case.head_wind if head_wind is None else head_wind
    rolling = road.rolling_force(build.total_mass, build.wheel.rolling_coefficient, slope)
    climbing = road.slope_force(build.total_mass, slope)
    air = road.drag_force(case.air_density, build.rider.drag_area, speed, head_wind, case.cross_wind)
    bearing = road.bearing_force(speed, build.wheel.bearing_drag, build.wheel.bearing_drag_per_speed)
    return Loads(rolling, climbing, air, bearing, build.wheel.radius * (rolling + climbing + air + bearing))


def trim_torque(build: Build, case: Case, slope: Values | None = None, policy: str | None = None) -> Values:
    """Steady motor torque that the rider dials in for the slope, by the case's policy.

    ``level`` cancels the slope, ``steps`` takes the nearest step, ``none`` is zero;
    always within the cap of the assist.  A step of 0 has no steps.  Another
    policy, like another slope, may replace that of the case.
    """
    policy = case.trim if policy is None else policy
    if build.assist is None or build.motor is None or policy == "none":
        return 0.0
    wanted = build.wheel.radius * road.slope_force(build.total_mass, case.slope if slope is None else slope)
    step = np.asarray(build.assist.trim_step)
    if policy == "steps":
        wanted = np.where(step > 0, step * np.round(wanted / np.where(step > 0, step, 1.0)), wanted)[()]
    return np.clip(wanted, -build.assist.trim_cap, build.assist.trim_cap)
