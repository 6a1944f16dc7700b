"""Legs and motor at one crank angle: what the split says of the mean over a turn, said of a moment."""

from __future__ import annotations

import numpy as np

from ..formulas import leverage, pedalling
from ..formulas.reach import Limits
from ..inputs import Build, Gear
from ..units import Values
from .drive import Drive
from .split import assist_gain

NO_MOTOR = Limits(0.0, 0.0, "no motor", "no motor")
NO_BOUND = Limits(np.inf, -np.inf, "none", "none")


def felt(build: Build, crank_angle: Values) -> Values:
    """What the sensor tells of a foot's torque, over that torque: a sensor on one crank counts its own foot twice and not the other."""
    if build.sensor is None or build.sensor.location != "one crank":
        return 1.0
    return np.where(np.sin(crank_angle) > 0, 2.0, 0.0)


def weight_torque(build: Build, crank_angle: Values, front_share: float = 1.0) -> Values:
    """Crank torque of a rider who stands on the pedals, as a size; the foot in front drives, the foot behind would resist.

    Args:
        build: the build.
        crank_angle: angle of either crank from top dead centre.
        front_share: share of the weight on the one pedal, above a half; the other pedal bears the rest.
    """
    if not 0.5 < front_share <= 1.0:
        raise ValueError(f"front_share must be above 0.5 and at most 1, got {front_share}: with half or less no torque is left that way")
    over = (2 * front_share - 1) * build.rider.mass
    return np.abs(pedalling.body_weight_torque(over, build.cranks.length, crank_angle))


def wheel_torque(
    build: Build,
    gear: Gear,
    pedal_torque: Values,
    limits: Limits | None = None,
    trim: Values = 0.0,
    seen: Values = 1.0,
    resisting: bool = False,
) -> Values:
    """Torque of pedals and motor on the wheel at one crank angle, motor drag not taken off.

    Args:
        build: the build.
        gear: the engaged gear.
        pedal_torque: at the cranks, positive forward.
        limits: what the motor may do at this rotation; None for legs alone.
        trim: steady motor torque dialled in by the rider.
        seen: what the sensor tells of the pedal torque, see :func:`felt`.
        resisting: whether the pedals hold the wheel back.
    """
    own = leverage.gear_leverage(gear.ratio, gear.efficiency, resisting) * pedal_torque
    if limits is None:
        return own
    return own + np.clip(assist_gain(build, gear, resisting) * seen * pedal_torque + trim, limits.lowest, limits.highest)


def pedal_torque(
    build: Build,
    gear: Gear,
    wheel_torque: Values,
    limits: Limits | None = None,
    trim: Values = 0.0,
    seen: Values = 1.0,
) -> Values:
    """Crank torque that brings a torque to the wheel at one crank angle: :func:`wheel_torque` the other way round.

    The motor has its trim first, then follows the pedals as far as its limits
    let it; what it lacks the pedals add.
    """
    limits, gains = limits or NO_MOTOR, (0.0, 0.0)
    if limits is not NO_MOTOR:
        gains = assist_gain(build, gear), assist_gain(build, gear, resisting=True)
    resisting = np.less(wheel_torque, np.clip(trim, limits.lowest, limits.highest))
    own = leverage.gear_leverage(gear.ratio, gear.efficiency, resisting)
    followed = (wheel_torque - trim) / (own + np.where(resisting, gains[1], gains[0]) * seen)
    return np.clip(followed, (wheel_torque - limits.highest) / own, (wheel_torque - limits.lowest) / own)


def limits_at(state: Drive | None, rotation: Values) -> Limits | None:
    """Limits of the drive at a wheel rotation; None without a motor."""
    return state.limits(rotation) if state else None


def drag_at(state: Drive | None, rotation: Values) -> Values:
    """Iron drag of the motor on the wheel; 0 without a motor."""
    return state.drag(rotation) if state else 0.0
