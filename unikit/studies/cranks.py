"""What one foot must press over the crank turn, to hold a slope and to stop a fall, and what longer cranks do to it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import balance, gearing, leverage, pedalling
from ..formulas.road import GRAVITY
from ..inputs import Build, Case, Gear
from ..units import Values
from . import instant
from . import loop as loops
from .drive import Drive, drive
from .legs import greatest_torque
from .loads import loads, trim_torque
from .results import Result, shown
from .split import assist_gain

DEGREE = np.pi / 180
SHORTEST, LONGEST = 0.08, 0.18  # metres, the cranks that are compared; the build's own are always among them


@dataclass(frozen=True)
class Turn(Result):
    """Downward force of one foot over the crank turn, for the slope and for one degree of lean."""

    gear: str = shown("gear")
    way: str = shown("legs are")
    torque_per_degree: u.NewtonMetre = shown("wheel torque that stops one degree of lean", "N*m")
    slope_torque: u.NewtonMetre = shown("wheel torque that holds the case", "N*m")
    level_degree: u.Newton = shown("foot force for one degree, crank level", "N", 0)
    level_degree_alone: u.Newton = shown("for one degree, gear alone", "N", 0)
    level_degree_ungeared: u.Newton = shown("for one degree, ungeared wheel", "N", 0)
    level_degree_resisting: u.Newton = shown("for one degree, holding back with assist", "N", 0)
    level_hold: u.Newton = shown("foot force that holds the case, crank level", "N", 0)
    level_hold_alone: u.Newton = shown("holding the case, gear alone", "N", 0)
    level_hold_ungeared: u.Newton = shown("holding the case, ungeared wheel", "N", 0)
    weight: u.Newton = shown("rider's weight", "N", 0)
    share_weight: u.Ratio = shown("share of the turn in which weight does both", "%", 0)
    share_weight_alone: u.Ratio = shown("by weight, gear alone", "%", 0)
    share_weight_ungeared: u.Ratio = shown("by weight, ungeared wheel", "%", 0)
    share_strength: u.Ratio = shown("share of the turn in which strength does both", "%", 0)
    share_strength_alone: u.Ratio = shown("by strength, gear alone", "%", 0)
    share_strength_ungeared: u.Ratio = shown("by strength, ungeared wheel", "%", 0)
    equal_crank: u.Metre = shown("cranks that would do the assist's work", "mm", 0)
    crank_angle: u.Radian = shown("crank angle", "deg", 0)
    degree_over_turn: u.Newton = shown("for a degree, with assist", "N", 0)
    degree_alone_over_turn: u.Newton = shown("for a degree, gear alone", "N", 0)
    degree_ungeared_over_turn: u.Newton = shown("for a degree, ungeared", "N", 0)
    hold_over_turn: u.Newton = shown("to hold, with assist", "N", 0)
    hold_alone_over_turn: u.Newton = shown("to hold, gear alone", "N", 0)
    hold_ungeared_over_turn: u.Newton = shown("to hold, ungeared", "N", 0)


def study(build: Build, case: Case, gear: Gear | None = None, points: int = 181) -> Turn:
    """Force straight down on one pedal over the turn, in three machines.

    To hold: what the steady ride of the case asks.  For a degree: what is
    added for each degree of lean so that the fall stops growing, the least that
    any correction must bring; in the direction in which the legs work anyway.  A foot that presses straight down has no lever
    at the dead centres: the force has no bound there, and the share of the turn
    within the rider's weight (standing on one pedal, not pulling at the
    saddle) or strength says how much of the turn is left.  The shares ask for
    both together.
    """
    gear = gear or build.gears.named(build.gears.engaged)
    rotation = case.speed / build.wheel.radius
    state, reference = drive(build, case.state_of_charge), build.cranks.reference_length
    limits, trim = instant.limits_at(state, rotation), trim_torque(build, case)
    road, drag = loads(build, case).wheel_torque, instant.drag_at(state, rotation)
    degree = float(torque_per_degree(build, case.slope))
    angle = np.linspace(0.0, 2 * np.pi, points)
    over = np.append(angle, np.pi / 2)
    seen = instant.felt(build, over)
    cadence = rotation / gear.ratio

    def pressed(torque: Values, arm: float) -> np.ndarray:
        return leverage.downward_force(np.abs(torque), 1.0, arm, over)

    def torques(wheel: Values, own: bool) -> np.ndarray:
        """Crank torque over the turn with assist, or with the gear alone."""
        return instant.pedal_torque(build, gear, wheel, None if own else limits, 0.0 if own else trim, 1.0 if own else seen) + 0 * over

    holding = [torques(road + drag, own) for own in (False, True)]
    back = _holds_back(build, case, state)
    way = -1.0 if back else 1.0
    both = [torques(road + drag + way * degree, own) for own in (False, True)]
    degrees = [pressed(after - before, build.cranks.length) for before, after in zip(holding, both, strict=True)]
    holds = [pressed(torque, build.cranks.length) for torque in holding]
    degrees.append(pressed(degree, reference))
    holds.append(pressed(road, reference))
    resisting = instant.pedal_torque(build, gear, trim - degree, limits, trim, instant.felt(build, np.pi / 2))
    alone, whole = _leverages(build, gear, back)
    lengths = (build.cranks.length, build.cranks.length, reference)
    worst = [*(float(np.abs(torque).max()) for torque in both), abs(road + way * degree)]
    own, other = _strength(build, cadence, back), _strength(build, rotation, back, reference)
    strengths = [own, own, other]
    by_weight = [pedalling.turn_share(torque, _weight(build) * arm) for torque, arm in zip(worst, lengths, strict=True)]
    floor = build.rider.torque_floor
    by_strength = [pedalling.turn_share(torque, most, floor) if most > 0 else 0.0 for torque, most in zip(worst, strengths, strict=True)]
    return Turn(
        gear=gear.name,
        way="holding back" if back else "driving",
        torque_per_degree=degree,
        slope_torque=road,
        level_degree=degrees[0][-1],
        level_degree_alone=degrees[1][-1],
        level_degree_ungeared=degrees[2][-1],
        level_degree_resisting=float(np.abs(resisting)) / build.cranks.length,
        level_hold=holds[0][-1],
        level_hold_alone=holds[1][-1],
        level_hold_ungeared=holds[2][-1],
        weight=_weight(build),
        share_weight=by_weight[0],
        share_weight_alone=by_weight[1],
        share_weight_ungeared=by_weight[2],
        share_strength=by_strength[0],
        share_strength_alone=by_strength[1],
        share_strength_ungeared=by_strength[2],
        equal_crank=build.cranks.length * whole / alone,
        crank_angle=angle,
        degree_over_turn=degrees[0][:-1],
        degree_alone_over_turn=degrees[1][:-1],
        degree_ungeared_over_turn=degrees[2][:-1],
        hold_over_turn=holds[0][:-1],
        hold_alone_over_turn=holds[1][:-1],
        hold_ungeared_over_turn=holds[2][:-1],
    )


def _holds_back(build: Build, case: Case, state: Drive | None) -> bool:
    """Whether the legs hold back in the case: then a lean back asks for more of it, and is what is looked at."""
    return bool(loads(build, case).wheel_torque + instant.drag_at(state, case.speed / build.wheel.radius) < 0)


def _leverages(build: Build, gear: Gear, resisting: bool) -> tuple[float, float]:
    """Leverage of the gear alone and with assist, below the motor's limits."""
    return (
        leverage.gear_leverage(gear.ratio, gear.efficiency, resisting),
        leverage.leverage(gear.ratio, assist_gain(build, gear, resisting), gear.efficiency, resisting),
    )


def torque_per_degree(build: Build, slope: Values = 0.0) -> u.NewtonMetre:
    """Wheel torque that one degree of lean more asks for, so that the fall does not grow."""
    return DEGREE * balance.static_stiffness(**loops.body(build), slope=slope)


def _weight(build: Build) -> Values:
    return build.rider.mass * GRAVITY


def _strength(build: Build, cadence: Values, resisting: bool, length: Values | None = None) -> Values:
    """Greatest crank torque at the best angle, on the build's cranks or on others of which the line keeps its power."""
    scale = 1.0 if length is None else length / build.cranks.length
    return scale * greatest_torque(build, cadence * scale, resisting) * pedalling.shape_peak(build.rider.torque_floor)


@dataclass(frozen=True)
class Lengths(Result):
    """The same build over crank length: the remedy that needs no electronics, and what it costs."""

    gear: str = shown("gear")
    crank_length: u.Metre = shown("cranks", "mm", 0)
    leverage_left_alone: u.Ratio = shown("leverage left, gear alone", "%", 0)
    leverage_left: u.Ratio = shown("leverage left, with assist", "%", 0)
    restoring_gain: u.Ratio = shown("restoring gain", digits=3)
    degree: u.Newton = shown("for a degree, with assist", "N", 0)
    degree_alone: u.Newton = shown("for a degree, gear alone", "N", 0)
    degree_ungeared: u.Newton = shown("for a degree, ungeared wheel", "N", 0)
    hold_alone: u.Newton = shown("to hold the case, gear alone", "N", 0)
    share_weight_alone: u.Ratio = shown("share of the turn by weight, gear alone", "%", 0)
    pedal_speed: u.MetrePerSecond = shown("pedal speed at the case's speed", "m/s", 2)
    fastest: u.MetrePerSecond = shown("greatest pedalled speed", "km/h")
    pedal_above_road: u.Metre = shown("pedal axle above the road, upright", "mm", 0)
    saddle_shift: u.Metre = shown("saddle up against the reference cranks", "mm", 0)


def lengths(build: Build, case: Case, gear: Gear | None = None, length: Values | None = None, points: int = 91) -> Lengths:
    """Foot forces with the crank level, and the costs, over crank length; all else as built.

    Whether a pedal touches the ground in a turn depends on lean and pedal
    width, which a build does not know: the height of the pedal's axle upright
    is all that is said.
    """
    gear = gear or build.gears.named(build.gears.engaged)
    if length is None:
        length = np.linspace(min(SHORTEST, build.cranks.length), max(LONGEST, build.cranks.length), points)
    length = np.atleast_1d(np.asarray(length, float))
    state, reference = drive(build, case.state_of_charge), build.cranks.reference_length
    rotation = case.speed / build.wheel.radius
    alone, whole = _leverages(build, gear, _holds_back(build, case, state))
    degree, cadence = float(torque_per_degree(build, case.slope)), rotation / gear.ratio
    asked = abs(loads(build, case).wheel_torque + instant.drag_at(state, rotation))
    hold = instant.pedal_torque(build, gear, loads(build, case).wheel_torque + instant.drag_at(state, rotation))
    rider = build.rider
    turning = np.minimum(rider.greatest_cadence, rider.greatest_pedal_speed / length)
    level = np.pi / 2
    return Lengths(
        gear=gear.name,
        crank_length=length,
        leverage_left_alone=alone * length / reference,
        leverage_left=whole * length / reference,
        restoring_gain=leverage.restoring_gain(gear.ratio, gear.efficiency, length, reference),
        degree=leverage.downward_force(degree, whole, length, level),
        degree_alone=leverage.downward_force(degree, alone, length, level),
        degree_ungeared=leverage.downward_force(degree, 1.0, reference, level) + 0 * length,
        hold_alone=abs(hold) / length,
        share_weight_alone=pedalling.turn_share((asked + degree) / alone, _weight(build) * length),
        pedal_speed=gearing.pedal_speed(cadence, length),
        fastest=gearing.speed(turning, build.wheel.radius, gear.ratio),
        pedal_above_road=build.wheel.radius - length,
        saddle_shift=pedalling.saddle_shift(reference, length),
    )
