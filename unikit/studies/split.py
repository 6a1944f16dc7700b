"""The split of wheel torque between legs and motor: the one function every study uses.

T_wheel = Tp (gear leverage + k) + trim - motor drag, as a mean over the crank
turn.  The pedal torque pulses, the assist follows it, the trim does not.  When
the motor reaches a limit somewhere in the turn, the pedals take the rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import gearing, leverage, motor, pack, pedalling
from ..inputs import Build, Gear
from .drive import Drive
from .results import Result, shown

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)
_ANGLES = np.pi * (_NODES + 1) / 2  # half a crank turn; the other half is alike for two legs
_MEAN = _WEIGHTS / 2


@dataclass(frozen=True)
class Split(Result):
    """Who gives what at the wheel, at steady speed, and what it costs."""

    speed: u.MetrePerSecond = shown("road speed", "km/h")
    cadence: u.RadianPerSecond = shown("cadence", "rpm", 0)
    wheel_torque: u.NewtonMetre = shown("wheel torque the road asks", "N*m")
    pedal_torque: u.NewtonMetre = shown("pedal torque, mean", "N*m")
    leg_wheel_torque: u.NewtonMetre = shown("wheel torque from the legs", "N*m")
    motor_torque: u.NewtonMetre = shown("motor torque, mean", "N*m")
    motor_peak: u.NewtonMetre = shown("motor torque, peak in the turn", "N*m")
    motor_drag: u.NewtonMetre = shown("motor drag", "N*m", 2)
    trim: u.NewtonMetre = shown("trim torque", "N*m")
    reserve: u.NewtonMetre = shown("reserve at the worst crank angle", "N*m")
    highest: u.NewtonMetre = shown("greatest motor torque", "N*m")
    highest_by: str | np.ndarray = shown("set by")
    clipped: u.Ratio = shown("assist lost to limits", "%", 0)
    leg_power: u.Watt = shown("leg power", "W", 0)
    gear_loss: u.Watt = shown("gear loss", "W")
    iron_loss: u.Watt = shown("iron loss", "W")
    copper_loss: u.Watt = shown("copper loss", "W")
    bridge_loss: u.Watt = shown("controller loss", "W")
    standby: u.Watt = shown("standby power", "W")
    pack_loss: u.Watt = shown("heat in packs and wires", "W")
    battery_power: u.Watt = shown("power from the cells", "W", 0)
    battery_current: u.Ampere = shown("battery current, mean", "A")
    phase_current: u.Ampere = shown("phase current, peak of the wave at its highest", "A")
    leg_share: u.Ratio = shown("leg share", "%", 0)
    consumption: u.JoulePerMetre = shown("from the cells", "Wh/km")


def assist_gain(build: Build, gear: Gear, resisting: bool = False) -> u.Values:
    """The gain set for a gear and direction; 0 without assist."""
    if build.assist is None or build.motor is None:
        return 0.0
    gains = build.assist.resisting_gain if resisting else build.assist.driving_gain
    return gains.get(gear.name, 0.0)


def _shapes(build: Build) -> tuple[np.ndarray, np.ndarray]:
    """Pedal torque and measured torque over the turn, both with mean 1, and on the same nodes.

    A sensor on one crank feels one leg only: its half turn counts double, the
    other half is zero.
    """
    shape = pedalling.torque_shape(_ANGLES, np.asarray(build.rider.torque_floor)[..., None])
    if build.sensor is not None and build.sensor.location == "one crank":
        return np.concatenate([2 * shape, 0 * shape], axis=-1), np.concatenate([_MEAN, _MEAN]) / 2
    return shape, _MEAN


def _pedal_torque(needed, gear_leverage, gain, shape, weights, trim, low, high):
    """Solve gear_leverage * Tp + mean(clip(gain * Tp * shape + trim)) = needed for the mean pedal torque.

    The left side rises with Tp without a break, so a bracketed Newton search ends
    after as many steps as the turn has kinks.
    """
    below, above = (needed - high) / gear_leverage, (needed - low) / gear_leverage
    unclipped = (needed - trim) / (gear_leverage + gain)
    torque = np.where(np.isfinite(below), np.clip(unclipped, below, above), unclipped)
    scale = np.abs(needed) + 1.0
    for _ in range(60):
        asked = (gain * torque)[..., None] * shape + trim[..., None]
        given = np.clip(asked, low[..., None], high[..., None])
        error = gear_leverage * torque + given @ weights - needed
        if np.all(np.abs(error) <= 1e-13 * scale):
            break
        below, above = np.where(error < 0, torque, below), np.where(error > 0, torque, above)
        slope = gear_leverage + gain * (np.where(asked == given, shape, 0.0) @ weights)
        step = torque - error / slope
        torque = np.where((step >= below) & (step <= above), step, (below + above) / 2)
    return torque


def torque_split(
    build: Build,
    gear: Gear,
    speed: u.Values,
    wheel_torque: u.Values,
    drive: Drive | None,
    trim: u.Values = 0.0,
) -> Split:
    """Split a steady wheel torque at a speed between legs and motor.

    Args:
        build: the build; its numbers may be arrays.
        gear: the engaged gear.
        speed: road speed, forward.
        wheel_torque: what the road asks of the wheel, driving positive.
        drive: the drive in its state, or None for legs alone.
        trim: steady motor torque dialled in by the rider.
    """
    speed, needed = np.broadcast_arrays(np.asarray(speed, float), np.asarray(wheel_torque, float))
    rotation = speed / build.wheel.radius
    cadence = gearing.cadence(speed, build.wheel.radius, gear.ratio)
    zero = np.zeros(np.broadcast(needed, rotation, np.asarray(gear.efficiency), np.asarray(trim)).shape)
    limits = drive.limits(rotation) if drive else None
    high, low = (zero + limits.highest, zero + limits.lowest) if limits else (zero, zero)
    drag = zero + drive.drag(rotation) if drive else zero
    trim = np.clip(zero + trim, low, high)
    driving_leverage = leverage.gear_leverage(gear.ratio, gear.efficiency)
    resisting_leverage = leverage.gear_leverage(gear.ratio, gear.efficiency, resisting=True)
    resisting = needed + drag < trim
    gear_leverage = np.where(resisting, resisting_leverage, driving_leverage)
    gain = np.where(resisting, assist_gain(build, gear, resisting=True), assist_gain(build, gear)) if drive else zero
    shape, weights = _shapes(build)
    pedal = _pedal_torque(needed + drag, gear_leverage, gain, shape, weights, trim, low, high)

    asked = (gain * pedal)[..., None] * shape + trim[..., None]
    given = np.clip(asked, low[..., None], high[..., None])
    mean = given @ weights
    leg_wheel = gear_leverage * pedal
    crank_power, leg_wheel_power = pedal * cadence, leg_wheel * rotation
    electric = _electric(drive, rotation, given, weights) if drive else _NO_ELECTRIC
    total = leg_wheel + mean
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(total != 0, leg_wheel / np.where(total == 0, 1.0, total), 1.0)
        consumption = np.where(speed > 0, electric["battery_power"] / np.where(speed == 0, 1.0, speed), np.inf if drive else 0.0)
        lost = np.where(asked @ weights != 0, 1 - mean / np.where(asked @ weights == 0, 1.0, asked @ weights), 0.0)
    peak = np.take_along_axis(given, np.abs(given).argmax(axis=-1)[..., None], axis=-1)[..., 0]
    return Split(
        speed=_plain(zero + speed),
        cadence=_plain(zero + cadence),
        wheel_torque=_plain(zero + needed),
        pedal_torque=_plain(pedal),
        leg_wheel_torque=_plain(leg_wheel),
        motor_torque=_plain(mean),
        motor_peak=_plain(peak),
        motor_drag=_plain(drag),
        trim=_plain(trim),
        reserve=_plain(np.maximum(high - given.max(axis=-1), 0.0)),
        highest=_plain(high),
        highest_by=_plain(zero.astype(str) if limits is None else np.broadcast_to(limits.highest_by, zero.shape)) if limits else "no motor",
        clipped=_plain(lost),
        leg_power=_plain(crank_power),
        gear_loss=_plain(_gear_loss(crank_power, leg_wheel_power, gear.efficiency)),
        leg_share=_plain(share),
        consumption=_plain(zero + consumption),
        **{name: _plain(zero + value) for name, value in electric.items()},
    )


def _gear_loss(crank_power, wheel_power, efficiency):
    """Loss of the gear from its own rule: a share of the power that enters it."""
    return (1 - efficiency) * np.where(crank_power >= 0, crank_power, -wheel_power)


_NO_ELECTRIC = dict.fromkeys(
    ("iron_loss", "copper_loss", "bridge_loss", "standby", "pack_loss", "battery_power", "battery_current", "phase_current"), 0.0
)


def _electric(drive: Drive, rotation, torque, weights) -> dict[str, u.Values]:
    """Losses and battery power as means over the turn, each from its own formula."""

    def spread(value):
        return np.asarray(value)[..., None] if np.ndim(value) else value

    current = motor.current_for_torque(torque, spread(drive.torque_constant_peak))
    copper = motor.copper_loss(current, spread(drive.phase_resistance))
    bridge = motor.copper_loss(current, spread(drive.bridge_resistance))
    bus = torque * rotation[..., None] + copper + bridge + spread(drive.standby_power)
    battery = pack.current_at_power(spread(drive.open_circuit_voltage), spread(drive.pack_resistance), bus)
    return {
        "iron_loss": motor.iron_loss(rotation, drive.hysteresis_torque, drive.eddy_drag),
        "copper_loss": copper @ weights,
        "bridge_loss": bridge @ weights,
        "standby": drive.standby_power,
        "pack_loss": drive.pack_resistance * (battery**2 @ weights),
        "battery_power": drive.open_circuit_voltage * (battery @ weights),
        "battery_current": battery @ weights,
        "phase_current": np.abs(current).max(axis=-1),
    }


def _plain(value):
    """A scalar for a scalar question."""
    value = np.asarray(value)
    return value.item() if value.ndim == 0 else value
