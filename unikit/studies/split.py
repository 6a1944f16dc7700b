"""The split of wheel torque between legs and motor: the one function every study uses.

T_wheel = Tp (gear leverage + k) + trim - motor drag, as a mean over the crank
turn.  The pedal torque pulses, the assist follows it, the trim does not.  When
the motor reaches a limit somewhere in the turn, the pedals take the rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import gearing, leverage, motor, pedalling
from ..formulas.reach import Limits
from ..inputs import Build, Gear
from .drive import Drive
from .results import Result, shown

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(12)
_QUARTER = np.pi / 2


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
    braking_reserve: u.NewtonMetre = shown("the same for braking", "N*m")
    highest: u.NewtonMetre = shown("greatest motor torque", "N*m")
    highest_by: str | np.ndarray = shown("set by")
    lowest: u.NewtonMetre = shown("greatest braking motor torque", "N*m")
    lowest_by: str | np.ndarray = shown("braking set by")
    asked_peak: u.NewtonMetre = shown("peak that assist and trim would ask without limits", "N*m")
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


@dataclass(frozen=True)
class _Pulse:
    """Torque that the sensor feels while the mean pedal torque is 1: floor + swing sin(angle) over ``share`` of the turn, else 0."""

    floor: np.ndarray
    swing: np.ndarray
    share: float

    def at(self, angle: np.ndarray) -> np.ndarray:
        """Values at angles along the last axis."""
        return self.floor[..., None] + self.swing[..., None] * np.sin(angle)

    def ends(self) -> list[np.ndarray]:
        """The values between which all others lie."""
        return [self.floor, self.floor + self.swing, *([0 * self.floor] if self.share < 1 else [])]


def felt_share(build: Build) -> float:
    """Part of the turn in which the sensor feels a leg: half for one crank, whose torque counts double to make up for it."""
    return 0.5 if build.sensor is not None and build.sensor.location == "one crank" else 1.0


def _pulse(build: Build) -> _Pulse:
    """The pulse of a build.

    A sensor on one crank feels one leg only: its half turn counts double, the
    other half is zero.
    """
    share = felt_share(build)
    floor = np.asarray(pedalling.torque_shape(0.0, build.rider.torque_floor)) / share
    return _Pulse(floor, np.asarray(pedalling.shape_peak(build.rider.torque_floor)) / share - floor, share)


def _over_turn(height, trim, low, high, pulse: _Pulse) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The pulse at some points of the turn, the motor torque given there for a pulse of some height, and the points' weights.

    All quarters of a turn are alike, and in a quarter the torque rises or falls
    throughout.  So it meets each limit once at most: what lies between these
    two angles is smooth and gets Gauss's points, what lies beyond is constant
    and gets one point at each end, where the extremes are.
    """
    swing = height * pulse.swing
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        kinks = [np.where(swing == 0, end, (limit - trim - height * pulse.floor) / swing) for end, limit in ((0.0, low), (1.0, high))]
    first, last = (np.arcsin(np.clip(pick(*kinks), 0.0, 1.0))[..., None] for pick in (np.minimum, np.maximum))
    angle = np.concatenate([0 * first, first + (last - first) * (_NODES + 1) / 2, 0 * last + _QUARTER], axis=-1)
    weights = np.concatenate([first, (last - first) * _WEIGHTS / 2, _QUARTER - last], axis=-1) / _QUARTER
    felt = pulse.at(angle)
    if pulse.share < 1:
        felt = np.concatenate([felt, 0 * first], axis=-1)
        weights = np.concatenate([pulse.share * weights, 0 * first + 1 - pulse.share], axis=-1)
    return felt, np.clip(height[..., None] * felt + trim[..., None], low[..., None], high[..., None]), weights


def pulse_of(build: Build) -> tuple[u.Values, u.Values, float]:
    """What the sensor feels of a mean pedal torque of 1: the lowest, the swing above it, and the share of the turn in which it feels it."""
    pulse = _pulse(build)
    return pulse.floor, pulse.swing, pulse.share


def over_quarter(build: Build) -> tuple[np.ndarray, np.ndarray]:
    """What the sensor feels of a mean pedal torque of 1 at some points of the turn, but where it feels nothing, and their weights."""
    pulse = _pulse(build)
    return pulse.at(_QUARTER * (_NODES + 1) / 2), pulse.share * _WEIGHTS / 2


def _mean(values, weights):
    return np.sum(values * weights, axis=-1)


def answer(
    build: Build, gear: Gear, pedal_torque: u.Values, limits: Limits, trim: u.Values = 0.0, resisting: bool = False
) -> u.NewtonMetre:
    """Mean motor torque that answers a mean pedal torque on top of a trim, as far as the limits let it follow over the turn."""
    height = assist_gain(build, gear, resisting) * np.asarray(pedal_torque, float)
    height, trim, low, high = np.broadcast_arrays(height, trim, limits.lowest, limits.highest)
    _, given, weights = _over_turn(height, trim, low, high, _pulse(build))
    return _mean(given, weights)


def _pedal_torque(needed, gear_leverage, gain, pulse, trim, low, high):
    """Solve gear_leverage * Tp + mean(clip(gain * Tp * pulse + trim)) = needed for the mean pedal torque.

    The left side rises with Tp without a break, so a bracketed Newton search
    finds the one answer.
    """
    below, above = (needed - high) / gear_leverage, (needed - low) / gear_leverage
    torque = np.clip((needed - trim) / (gear_leverage + gain), below, above)
    scale = np.abs(needed) + 1.0
    for _ in range(60):
        felt, given, weights = _over_turn(gain * torque, trim, low, high, pulse)
        error = gear_leverage * torque + _mean(given, weights) - needed
        if np.all(np.abs(error) <= 1e-13 * scale):
            break
        below, above = np.where(error < 0, torque, below), np.where(error > 0, torque, above)
        inside = (given > low[..., None]) & (given < high[..., None])
        step = torque - error / (gear_leverage + gain * _mean(np.where(inside, felt, 0.0), weights))
        torque = np.where((step >= below) & (step <= above), step, (below + above) / 2)
    return torque


def torque_split(
    build: Build,
    gear: Gear,
    speed: u.Values,
    wheel_torque: u.Values,
    drive: Drive | None,
    trim: u.Values = 0.0,
    limits: Limits | None = None,
) -> Split:
    """Split a steady wheel torque at a speed between legs and motor.

    The trim is brought within the limits first; the assist gets what is left.

    Args:
        build: the build; its numbers may be arrays.
        gear: the engaged gear.
        speed: road speed, forward.
        wheel_torque: what the road asks of the wheel, driving positive.
        drive: the drive in its state, or None for legs alone.
        trim: steady motor torque dialled in by the rider.
        limits: those of the drive at these speeds, where they are known already.
    """
    rotation = np.asarray(speed, float) / build.wheel.radius
    limits = limits or (drive.limits(rotation) if drive else _NO_LIMITS)
    driving_gain, resisting_gain = (assist_gain(build, gear, way) if drive else 0.0 for way in (False, True))
    pulse = _pulse(build)
    parts = (rotation, wheel_torque, trim, gear.ratio, gear.efficiency, driving_gain, resisting_gain, pulse.floor, limits.highest)
    zero = np.zeros(np.broadcast_shapes(*map(np.shape, parts), drive.shape if drive else ()))
    speed, needed, rotation = zero + speed, zero + wheel_torque, zero + rotation
    cadence = gearing.cadence(speed, build.wheel.radius, gear.ratio)
    high, low = zero + limits.highest, zero + limits.lowest
    drag = zero + drive.drag(rotation) if drive else zero
    wanted_trim = zero + trim if drive else zero
    trim = np.clip(wanted_trim, low, high)

    def pedals(trim):
        """Gear leverage and assist gain in the direction in which the pedals work."""
        resisting = needed + drag < trim
        return leverage.gear_leverage(gear.ratio, gear.efficiency, resisting), np.where(resisting, resisting_gain, driving_gain)

    gear_leverage, gain = pedals(trim)
    pedal = _pedal_torque(needed + drag, gear_leverage, gain, pulse, trim, low, high)
    _, given, weights = _over_turn(gain * pedal, trim, low, high, pulse)
    mean, wanted = _mean(given, weights), gain * pedal + wanted_trim
    leg_wheel = gear_leverage * pedal
    crank_power, leg_wheel_power = pedal * cadence, leg_wheel * rotation
    electric = _electric(drive, rotation, given, weights) if drive else _NO_ELECTRIC
    total = needed + drag
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(total != 0, leg_wheel / np.where(total == 0, 1.0, total), 1.0)
        consumption = np.where(speed > 0, electric["battery_power"] / np.where(speed == 0, 1.0, speed), np.inf if drive else 0.0)
    lost = np.minimum(np.abs(wanted - mean) / np.where(wanted == 0, 1.0, np.abs(wanted)), 1.0)
    free_leverage, free_gain = pedals(wanted_trim)
    free_height = free_gain * (needed + drag - wanted_trim) / (free_leverage + free_gain)
    asked = np.stack([free_height * end + wanted_trim for end in pulse.ends()], axis=-1)
    return Split(
        speed=_plain(zero + speed),
        cadence=_plain(zero + cadence),
        wheel_torque=_plain(zero + needed),
        pedal_torque=_plain(pedal),
        leg_wheel_torque=_plain(leg_wheel),
        motor_torque=_plain(mean),
        motor_peak=_plain(_largest(given)),
        motor_drag=_plain(drag),
        trim=_plain(trim),
        reserve=_plain(np.maximum(high - given.max(axis=-1), 0.0)),
        braking_reserve=_plain(np.maximum(given.min(axis=-1) - low, 0.0)),
        highest=_plain(high),
        highest_by=_plain(np.broadcast_to(limits.highest_by, zero.shape)),
        lowest=_plain(low),
        lowest_by=_plain(np.broadcast_to(limits.lowest_by, zero.shape)),
        asked_peak=_plain(_largest(asked)),
        clipped=_plain(lost),
        leg_power=_plain(crank_power),
        gear_loss=_plain(_gear_loss(crank_power, leg_wheel_power, gear.efficiency)),
        leg_share=_plain(share),
        consumption=_plain(zero + consumption),
        **{name: _plain(zero + value) for name, value in electric.items()},
    )


def _largest(values):
    """The value farthest from 0 along the last axis."""
    return np.take_along_axis(values, np.abs(values).argmax(axis=-1)[..., None], axis=-1)[..., 0]


def _gear_loss(crank_power, wheel_power, efficiency):
    """Loss of the gear from its own rule: a share of the power that enters it."""
    return (1 - efficiency) * np.where(crank_power >= 0, crank_power, -wheel_power)


_NO_LIMITS = Limits(0.0, 0.0, "no motor", "no motor")
_NO_ELECTRIC = dict.fromkeys(
    ("iron_loss", "copper_loss", "bridge_loss", "standby", "pack_loss", "battery_power", "battery_current", "phase_current"), 0.0
)


def _electric(drive: Drive, rotation, torque, weights) -> dict[str, u.Values]:
    """Losses and battery power as means over the turn, each from its own formula."""

    there = Drive(**{name: np.asarray(value)[..., None] if np.ndim(value) else value for name, value in vars(drive).items()})
    at = there.point(torque, rotation[..., None])
    return {
        "iron_loss": motor.iron_loss(rotation, drive.hysteresis_torque, drive.eddy_drag),
        "copper_loss": _mean(at.copper_loss, weights),
        "bridge_loss": _mean(at.bridge_loss, weights),
        "standby": drive.standby_power,
        "pack_loss": _mean(at.pack_loss, weights),
        "battery_power": drive.open_circuit_voltage * _mean(at.battery_current, weights),
        "battery_current": _mean(at.battery_current, weights),
        "phase_current": np.hypot(at.direct_current, at.quadrature_current).max(axis=-1),
    }


def _plain(value):
    """A scalar for a scalar question."""
    value = np.asarray(value)
    return value.item() if value.ndim == 0 else value
