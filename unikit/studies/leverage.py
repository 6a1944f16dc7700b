"""How much leverage does the gear take, what gives it back, and what do the feet feel?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import leverage, pedalling
from ..inputs import Build, Case, Gear
from .drive import drive
from .legs import greatest_torque
from .loads import loads, trim_torque
from .results import Result, shown
from .split import assist_gain, torque_split


@dataclass(frozen=True)
class Leverage(Result):
    """Leverage of one gear, with and without assist, against the ungeared wheel."""

    gear: str = shown("gear")
    gear_leverage: u.Ratio = shown("gear leverage, driving", digits=3)
    gear_leverage_resisting: u.Ratio = shown("gear leverage, resisting", digits=3)
    leverage_loss: u.Ratio = shown("leverage loss against the ungeared wheel", "%")
    assist_gain: u.Ratio = shown("assist gain as set", digits=3)
    leverage: u.Ratio = shown("leverage with assist", digits=3)
    leverage_left: u.Ratio = shown("leverage left with assist, cranks counted", "%")
    restoring_gain: u.Ratio = shown("restoring gain", digits=3)
    restoring_crank: u.Metre = shown("cranks that would restore it without assist", "mm", 0)
    foot_force: u.Newton = shown("mean foot force in the case", "N", 0)
    foot_force_ungeared: u.Newton = shown("the same on the ungeared wheel", "N", 0)
    foot_force_alone: u.Newton = shown("the same if the motor stops", "N", 0)
    cut_out_step: u.NewtonMetre = shown("cut-out step at the crank", "N*m")
    leg_torque_left: u.NewtonMetre = shown("crank torque the legs have left that way", "N*m")
    crank_angle: u.Radian = shown("crank angle", "deg", 0)
    foot_force_over_turn: u.Newton = shown("foot force with assist", "N", 0)
    foot_force_ungeared_over_turn: u.Newton = shown("foot force ungeared", "N", 0)
    foot_force_alone_over_turn: u.Newton = shown("foot force without motor", "N", 0)


def study(build: Build, case: Case, gear: Gear | None = None, points: int = 181) -> Leverage:
    """Leverage of a gear and what the feet feel in a case.

    The ungeared wheel of the comparison has the same rider and load and the
    reference cranks.  Foot forces over the turn follow the rider's torque shape.
    The cut-out step counts in the direction in which the legs must act alone:
    driving on the flat and uphill, resisting on a descent.
    """
    gear = gear or build.gears.named(build.gears.engaged)
    length, reference = build.cranks.length, build.cranks.reference_length
    driving = leverage.gear_leverage(gear.ratio, gear.efficiency)
    gain = assist_gain(build, gear)
    asked = loads(build, case).wheel_torque
    state = drive(build, case.state_of_charge)
    with_motor = torque_split(build, gear, case.speed, asked, state, trim_torque(build, case))
    alone = cut_out(build, gear, case)
    direction = np.sign(alone.pedal_torque) or 1.0  # on a descent the legs resist, and their strength backwards counts
    angle = np.linspace(0.0, 2 * np.pi, points)
    shape = pedalling.torque_shape(angle, build.rider.torque_floor)
    force = with_motor.pedal_torque / length
    force_ungeared = leverage.foot_force(asked, 1.0, reference)
    return Leverage(
        gear=gear.name,
        gear_leverage=driving,
        gear_leverage_resisting=leverage.gear_leverage(gear.ratio, gear.efficiency, resisting=True),
        leverage_loss=leverage.leverage_loss(gear.ratio, gear.efficiency, length, reference),
        assist_gain=gain,
        leverage=leverage.leverage(gear.ratio, gain, gear.efficiency),
        leverage_left=leverage.leverage(gear.ratio, gain, gear.efficiency) * length / reference,
        restoring_gain=leverage.restoring_gain(gear.ratio, gear.efficiency, length, reference),
        restoring_crank=reference / driving,
        foot_force=force,
        foot_force_ungeared=force_ungeared,
        foot_force_alone=alone.pedal_torque / length,
        cut_out_step=direction * (alone.pedal_torque - with_motor.pedal_torque),
        leg_torque_left=greatest_torque(build, with_motor.cadence, direction < 0) - direction * with_motor.pedal_torque,
        crank_angle=angle,
        foot_force_over_turn=force * shape,
        foot_force_ungeared_over_turn=force_ungeared * shape,
        foot_force_alone_over_turn=alone.pedal_torque / length * shape,
    )


def cut_out(build: Build, gear: Gear, case: Case):
    """The split right after the motor stopped: legs alone, against the road and the motor's own drag."""
    state = drive(build, case.state_of_charge)
    rotation = case.speed / build.wheel.radius
    drag = state.drag(rotation) if state else 0.0
    return torque_split(build, gear, case.speed, loads(build, case).wheel_torque + drag, None)
