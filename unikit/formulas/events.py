"""Blows, gusts, slopes and faults of the motor in time: what a balanced ride does after them, many rides at once.

The machine falls by its full equations, the rider and the assist are those of
``reflex`` with hard limits of legs and motor.  A ride starts in its steady
state; the event comes at time 0.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, NamedTuple

import numpy as np

from .. import units as u
from . import _march, balance
from .checks import not_negative, one_of, positive, within
from .reflex import Path, Reflex
from .registry import formula

BLOCK = 4096  # rides per pass: fewer would let two cores wait for each other
TOGETHER = 1024  # so many rides take hardly longer than one
_SIGN = "lean and torques positive forward, slope positive uphill, head wind positive against the travel, speed loss positive where slowed"
_VALID = "rigid body, no slip, no sideways motion; a rider of linear reflexes with hard limits, who neither foresees nor tires"
_NEVER = {"path.filter_corner", "event.gust_time", "event.slope_time"}  # may be inf
TABLES = ("speeds", "highest", "lowest")
KINDS = ("speed_loss", "lean_rate", "gust", "slope_step", "sensor_offset", "trim")


class Stopped(Exception):
    """The caller's ``stop`` asked to end a simulation before its end."""


class Machine(NamedTuple):
    """Masses, road and air of a steady ride."""

    body_mass: u.Kilogram
    centre_of_mass_height: u.Metre
    body_inertia: u.KilogramSquareMetre
    wheel_mass: u.Kilogram
    wheel_inertia: u.KilogramSquareMetre
    wheel_radius: u.Metre
    slope: u.Slope = 0.0
    speed: u.MetrePerSecond = 0.0
    head_wind: u.MetrePerSecond = 0.0
    air_density: u.KilogramPerCubicMetre = 1.225
    drag_area: u.SquareMetre = 0.0
    drag_height: u.Metre = 0.0
    rolling_coefficient: u.Ratio = 0.0


class Legs(NamedTuple):
    """Greatest crank torque, and where in the turn the event finds the cranks."""

    zero_cadence_torque: u.NewtonMetre  # mean over a turn, on the cranks of this build
    zero_torque_cadence: u.RadianPerSecond
    torque_floor: u.Ratio  # torque at the dead centres over the peak torque
    backward_strength: u.Ratio  # greatest torque that pushes back over the forward one
    crank_angle: u.Radian = 0.0


class Drive(NamedTuple):
    """Gear, assist and motor; the limits of the motor stand over road speed on their last axis."""

    gear_efficiency: u.Ratio
    gear_ratio: u.Ratio
    driving_gain: u.Ratio = 0.0
    resisting_gain: u.Ratio = 0.0
    trim: u.NewtonMetre = 0.0
    motor_drag: u.NewtonMetre = 0.0  # at the wheel, against its rotation
    speeds: u.MetrePerSecond = 0.0
    highest: u.NewtonMetre = 0.0
    lowest: u.NewtonMetre = 0.0


class Event(NamedTuple):
    """What happens at time 0; each part is nothing unless named."""

    speed_loss: u.MetrePerSecond = 0.0
    lean_rate: u.RadianPerSecond = 0.0
    gust: u.MetrePerSecond = 0.0
    gust_time: u.Second = np.inf
    slope_step: u.Slope = 0.0
    slope_time: u.Second = np.inf
    cut_out: u.Ratio = 0.0
    ramp_time: u.Second = 0.0
    short_drag: u.NewtonMetreSecondPerRadian = 0.0
    sensor_offset: u.NewtonMetre = 0.0
    stuck: u.Ratio = 0.0


class Course(NamedTuple):
    """Samples on the last axis, the first just after the event; a ride that fell keeps its last sample before the fall."""

    time: u.Second
    lean: u.Radian
    lean_rate: u.RadianPerSecond
    speed: u.MetrePerSecond
    pedal_torque: u.NewtonMetre
    motor_torque: u.NewtonMetre  # at the wheel, net of drag and braking
    caught: bool | np.ndarray
    fall_time: u.Second  # inf where the ride was caught


class Ride(NamedTuple):
    """The steady ride before the event."""

    lean: u.Radian
    wheel_torque: u.NewtonMetre
    pedal_torque: u.NewtonMetre
    motor_torque: u.NewtonMetre  # before its drag


def _numbers(**records: NamedTuple) -> list[Any]:
    """The records as arrays of finite numbers."""
    found = []
    for name, record in records.items():
        parts = []
        for field, value in record._asdict().items():
            full = f"{name}.{field}"
            try:
                array = np.asarray(value, float)
            except (TypeError, ValueError):
                raise ValueError(f"{full} must be a number or an array of numbers, got {value!r}") from None
            bad = np.isnan(array) if full in _NEVER else ~np.isfinite(array)
            if np.any(bad):
                raise ValueError(f"{full} must be a finite number, got {array[bad].flat[0]}")
            parts.append(array)
        found.append(type(record)(*parts))
    return found


def _check(machine: Machine, reflex: Reflex, path: Path, legs: Legs, drive: Drive, event: Event, step: float) -> None:
    for name in ("zero_cadence_torque", "zero_torque_cadence"):
        positive(f"legs.{name}", getattr(legs, name))
    within("legs.torque_floor", legs.torque_floor, 0.0, 1.0)
    within("legs.backward_strength", legs.backward_strength, 0.0, 10.0)
    positive("drive.gear_efficiency", drive.gear_efficiency)
    within("drive.gear_efficiency", drive.gear_efficiency, 0.0, 1.0)
    positive("drive.gear_ratio", drive.gear_ratio)
    for name in ("driving_gain", "resisting_gain", "motor_drag"):
        not_negative(f"drive.{name}", getattr(drive, name))
    for name in ("gust_time", "slope_time", "ramp_time", "short_drag"):
        not_negative(f"event.{name}", getattr(event, name))
    within("event.cut_out", event.cut_out, 0.0, 1.0)
    within("event.stuck", event.stuck, 0.0, 1.0)
    if not np.all(np.diff(np.atleast_1d(drive.speeds)) > 0):
        raise ValueError("drive.speeds must rise from each point of the table of motor torque to the next")
    if np.any(np.less(drive.highest, drive.lowest)):
        raise ValueError("drive.highest must nowhere be below drive.lowest")
    for name in ("leg_damping", "leg_stiffness"):
        not_negative(f"reflex.{name}", getattr(reflex, name))
    positive("path.filter_corner", path.filter_corner)
    within("reflex.muscle_lag", reflex.muscle_lag, step, 1.0)
    times = {"reflex.delay": reflex.delay, "path.dead_time": path.dead_time, "path.motor_lag": path.motor_lag}
    times |= {"the lag of path.filter_corner": 0.5 / (np.pi * path.filter_corner), "reflex.replanning_time": reflex.replanning_time}
    for name, value in times.items():
        array = np.asarray(value, float)
        if np.any((array < 0) | ((array > 0) & (array < step * (1 - 1e-9)))):
            raise ValueError(f"{name} must be 0 or at least the step of {step:g} s, got {np.array2string(array, threshold=6)} s")
    within("reflex.delay", reflex.delay, 0.0, 2.0)
    within("path.dead_time", path.dead_time, 0.0, 2.0)


@formula(
    equation=r"T_0 + T_d = \lambda\,T_{p0} + \mathrm{clip}(k\,T_{p0} + T_{tr}),\quad \lambda, k\ \text{by the sign of}\ T_{p0}",
    source="rolling_pendulum, virtual_work",
    sign=_SIGN,
    valid="steady ride forward; pedal torque as the mean over a turn, whether the legs can give it or not",
)
def steady_ride(machine: Machine, drive: Drive) -> Ride:
    """What rider and motor share between them before an event.

    Args:
        machine: masses, road and air.
        drive: gear, assist and motor.

    >>> machine = Machine(84.0, 0.8, 10.0, 8.0, 0.3, 0.36, slope=0.06, speed=4.0)
    >>> ride = steady_ride(machine, Drive(0.97, 1.5, 0.35, 0.35, speeds=0.0, highest=40.0, lowest=-20.0))
    >>> round(float(ride.wheel_torque), 2), round(float(ride.pedal_torque), 2)
    (19.46, 19.52)
    """
    machine, drive = _numbers(machine=machine, drive=drive)
    positive("drive.gear_ratio", drive.gear_ratio)
    positive("drive.gear_efficiency", drive.gear_efficiency)
    still = balance.equilibrium(*machine)
    speed = machine.speed
    need = still.wheel_torque + np.where(speed < 0, -1.0, 1.0) * drive.motor_drag
    low, high = (_at_speed(speed, drive.speeds, table) for table in (drive.lowest, drive.highest))
    ahead = np.where(speed < 0, -1.0, 1.0) * (need - np.clip(drive.trim, low, high)) >= 0
    leverage = np.where(ahead, drive.gear_efficiency, 1 / drive.gear_efficiency) / drive.gear_ratio
    gain = np.where(ahead, drive.driving_gain, drive.resisting_gain)
    motor = np.clip(gain * (need - drive.trim) / (leverage + gain) + drive.trim, low, high)
    pedal = (need - motor) / leverage
    return Ride(still.lean + 0.0 * pedal, still.wheel_torque + 0.0 * pedal, pedal, motor)


def _at_speed(speed: np.ndarray, speeds: u.Values, table: u.Values) -> np.ndarray:
    """A table of the motor at the speed of each ride."""
    speeds, table = np.broadcast_arrays(np.atleast_1d(np.asarray(speeds, float)), np.atleast_1d(np.asarray(table, float)))
    shape = np.broadcast_shapes(speed.shape, table.shape[:-1])
    flat = [np.broadcast_to(part, (*shape, part.shape[-1])).reshape(-1, part.shape[-1]) for part in (speeds, table)]
    found = [np.interp(one, *row) for one, row in zip(np.broadcast_to(speed, shape).ravel(), zip(*flat, strict=True), strict=True)]
    return np.reshape(found, shape)


def _flat(parts: dict[str, Any], tables: dict[str, Any]) -> tuple[dict[str, np.ndarray], tuple[int, ...]]:
    """One value per ride of everything; the shape of the rides."""
    tables = dict(zip(tables, np.broadcast_arrays(*(np.atleast_1d(np.asarray(part, float)) for part in tables.values())), strict=True))
    points = next(iter(tables.values())).shape
    shapes = {name: np.shape(part) for name, part in parts.items()}
    try:
        shape = np.broadcast_shapes(points[:-1], *shapes.values())
    except ValueError:
        listed = ", ".join(f"{name} {size}" for name, size in shapes.items() if size)
        raise ValueError(f"the scenarios do not fit together; their shapes are {listed}, motor table {points}") from None
    flat = {name: np.ascontiguousarray(np.broadcast_to(np.asarray(part, float), shape)).reshape(-1) for name, part in parts.items()}
    flat |= {name: np.broadcast_to(part, (*shape, points[-1])).reshape(-1, points[-1]) for name, part in tables.items()}
    return flat, shape


@formula(
    equation=r"\dot x = f(x(t), y(t - \tau_h), u(t - \tau_e)),\quad x_{n+1} = x_n + \tfrac{h}{2}\,(f_n + f^*_{n+1}),\quad"
    r" -\beta\,\bar T(-\omega_c)\,g(\varphi) \le T_p \le \bar T(\omega_c)\,g(\varphi)",
    source="rolling_pendulum, milton_pendulum, heun_method",
    sign=_SIGN,
    valid=_VALID,
)
def simulate(
    machine: Machine,
    reflex: Reflex,
    path: Path,
    legs: Legs,
    drive: Drive,
    event: Event,
    duration: u.Second = 4.0,
    step: u.Second = 0.001,
    fall_lean: u.Radian = 0.52,
    every: u.Number = 10,
    settling_rate: u.PerSecond = 0.0,
    pulsing: bool = False,
    stop: Callable[[float], bool] | None = None,
) -> Course:
    """Rides after an event: lean, speed and torques over time, and whether the rider caught it.

    Caught means: the lean never came further than ``fall_lean`` from the
    steady one, and at the end lean and lean rate over the toppling rate
    together are within it too, so that no fall is under way.  An oscillation
    that stays bounded counts as caught.

    Args:
        machine: masses, road and air.
        reflex: the rider.
        path: from the torque at the crank to the torque of the motor.
        legs: greatest crank torque and the crank angle at time 0.
        drive: gear, assist and motor.
        event: what happens at time 0.
        duration: how long to look on.
        step: time step.
        fall_lean: lean away from the steady one that counts as a fall.
        every: steps from one sample to the next.
        settling_rate: rate at which the rider makes a lasting command the new steady pedal torque.
        pulsing: true for a steady pedal torque that follows the shape of the turn.
        stop: asked now and then with the share done; true ends the work with ``Stopped``.

    >>> machine = Machine(84.0, 0.8, 10.0, 8.0, 0.3, 0.36, speed=4.0, drag_area=0.55, drag_height=0.75, rolling_coefficient=0.008)
    >>> rider = Reflex(400.0, 69.0, 3.5, 0.02, 0.1, 0.03, 2.0, 40.0, 0.2)
    >>> drive = Drive(0.97, 1.5, 0.35, 0.35, speeds=0.0, highest=40.0, lowest=-20.0)
    >>> legs = Legs(60.0, 25.0, 0.2, 0.8)
    >>> course = simulate(machine, rider, Path(0.01, 10.0, 0.003), legs, drive, Event(speed_loss=np.array([0.2, 0.8])))
    >>> course.caught.tolist(), course.lean.shape
    ([True, False], (2, 401))
    """
    positive("step", step)
    within("duration", duration, float(step), 3600.0)
    positive("fall_lean", fall_lean)
    not_negative("settling_rate", settling_rate)
    if int(every) != every or every < 1:
        raise ValueError(f"every must be a whole number of steps, 1 or more, got {every}")
    machine, reflex, path, legs, drive, event = _numbers(machine=machine, reflex=reflex, path=path, legs=legs, drive=drive, event=event)
    _check(machine, reflex, path, legs, drive, event, float(step))
    ride = steady_ride(machine, drive)
    plant = balance.linear_plant(*machine)
    parts = machine._asdict() | legs._asdict() | event._asdict() | drive._asdict() | reflex._asdict()
    tables = {name: parts.pop(name) for name in TABLES}
    ahead = np.sign(ride.pedal_torque) * np.where(machine.speed < 0, -1, 1) >= 0
    parts |= {
        "dead_time": path.dead_time,
        "motor_lag": path.motor_lag,
        "filter_lag": 0.5 / (np.pi * path.filter_corner),
        "steady_lean": ride.lean,
        "steady_pedal": ride.pedal_torque,
        "steady_motor": ride.motor_torque,
        "steady_asked": np.where(ahead, drive.driving_gain, drive.resisting_gain) * ride.pedal_torque,
        "settling_rate": settling_rate,
        "fall_lean": fall_lean,
        "toppling_rate": np.sqrt(plant.lean_by_lean),
    }
    given, shape = _flat(parts, tables)
    steps = int(np.ceil(duration / step - 1e-9))
    samples, fall_time, end = _blocks(given, float(step), steps, int(every), pulsing, stop)
    lean, rate, speed, pedal, motor = (part.T.reshape(*shape, -1) for part in samples)
    away = np.abs(end[0] - given["steady_lean"] + end[1] / given["toppling_rate"])
    falls = np.isinf(fall_time) & (away > given["fall_lean"])
    fall_time = np.where(falls, steps * step, fall_time).reshape(shape)
    caught = np.isinf(fall_time)
    time = np.arange(samples.shape[1]) * (every * step)
    return Course(time, lean, rate, speed, pedal, motor, caught if shape else bool(caught), fall_time if shape else float(fall_time))


def _blocks(given: dict, step: float, steps: int, every: int, pulsing: bool, stop: Callable | None) -> tuple[np.ndarray, ...]:
    """The march over all rides, in blocks side by side."""
    rides = len(given["speed"])
    starts = range(0, rides, BLOCK)
    done, one_at_a_time = dict.fromkeys(starts, 0), threading.Lock()
    ended = threading.Event()

    def block(start: int) -> tuple[np.ndarray, ...]:
        own = {name: part[start : start + BLOCK] for name, part in given.items()}

        def ask(number: int) -> None:
            if stop is None:
                return
            with one_at_a_time:
                done[start] = number
                if ended.is_set() or stop(sum(done.values()) / (len(starts) * steps)):
                    ended.set()
                    raise Stopped("the simulation was stopped before its end")

        return _march.run(_march.March(own, step, pulsing), steps, every, own["fall_lean"], ask)

    if len(starts) <= 1:
        return block(0)
    with ThreadPoolExecutor(max_workers=min(os.cpu_count() or 1, len(starts))) as cores:  # numpy lets the cores work side by side
        parts = list(cores.map(block, starts))
    return tuple(np.concatenate(part, axis=-1) for part in zip(*parts, strict=True))


def _stretched(record: Any) -> Any:
    """A record with two more axes of rides, for sizes and crank angles; the table of the motor keeps its own axis last."""
    wider = lambda field, value: value[..., None, None, :] if field in TABLES and value.ndim else value[..., None, None]
    return type(record)(*(wider(field, np.asarray(value, float)) for field, value in record._asdict().items()))


@formula(
    equation=r"\max\{d \le d_\mathrm{up}: \text{caught at every}\ \varphi_0\}",
    source="definition",
    sign=_SIGN,
    valid=_VALID + "; where a larger disturbance is caught again behind one that is not, the smaller of the edges met is given",
)
def largest_caught(
    machine: Machine,
    reflex: Reflex,
    path: Path,
    legs: Legs,
    drive: Drive,
    event: Event,
    kind: str,
    upper: u.Number,
    phases: u.Number = 8,
    passes: u.Number = 8,
    duration: u.Second = 4.0,
    step: u.Second = 0.001,
    fall_lean: u.Radian = 0.52,
    settling_rate: u.PerSecond = 0.0,
    pulsing: bool = False,
    stop: Callable[[float], bool] | None = None,
) -> u.Number:
    """Largest disturbance of a kind that is caught at the worst crank angle; ``upper`` itself where that is caught.

    Args:
        machine: masses, road and air.
        reflex: the rider.
        path: from the torque at the crank to the torque of the motor.
        legs: greatest crank torque; the crank angle is where the phases start.
        drive: gear, assist and motor.
        event: what else happens at time 0, such as the cut-out when the trim is asked for.
        kind: a part of the event, or ``trim`` of the drive.
        upper: greatest disturbance to try, in the unit of its kind; below 0 for the other direction.
        phases: crank angles over half a turn, evenly.
        passes: halvings of the range; the answer lies below the true one by at most ``upper`` over 2 to this power.
        duration: how long to look on.
        step: time step.
        fall_lean: lean away from the steady one that counts as a fall.
        settling_rate: rate at which the rider makes a lasting command the new steady pedal torque.
        pulsing: true for a steady pedal torque that follows the shape of the turn.
        stop: asked now and then with the share done; true ends the work with ``Stopped``.

    >>> machine = Machine(84.0, 0.8, 10.0, 8.0, 0.3, 0.36, speed=4.0, drag_area=0.55, drag_height=0.75, rolling_coefficient=0.008)
    >>> rider = Reflex(400.0, 69.0, 3.5, 0.02, 0.1, 0.03, 2.0, 40.0, 0.2)
    >>> legs, drive = Legs(60.0, 25.0, 0.2, 0.8), Drive(0.97, 1.0)
    >>> found = largest_caught(machine, rider, Path(0.0, np.inf, 0.0), legs, drive, Event(), "speed_loss", 1.0, 4, 5, 2.0, 0.002)
    >>> 0.3 < found < 0.5
    True
    """
    one_of("kind", kind, KINDS)
    for name, value in (("phases", phases), ("passes", passes)):
        if int(value) != value or value < 1:
            raise ValueError(f"{name} must be a whole number, 1 or more, got {value}")
    if not np.all(np.isfinite(upper)):
        raise ValueError(f"upper must be a finite number, got {upper}")
    machine, reflex, path, legs, drive, event = _numbers(machine=machine, reflex=reflex, path=path, legs=legs, drive=drive, event=event)
    _check(machine, reflex, path, legs, drive, event, float(step))
    records = [_stretched(record) for record in (machine, reflex, path, legs, drive, event)]
    upper, fall, rate = (np.asarray(value, float)[..., None, None] for value in (upper, fall_lean, settling_rate))
    shapes = [part.shape[: -3 if field in TABLES and part.ndim > 2 else -2] for one in records for field, part in one._asdict().items()]
    shape = np.broadcast_shapes(*shapes, *(part.shape[:-2] for part in (upper, fall, rate)))
    machine, reflex, path, legs, drive, event = records
    legs = legs._replace(crank_angle=legs.crank_angle + np.arange(phases) * (np.pi / phases))
    rest = {"duration": duration, "step": step, "fall_lean": fall, "settling_rate": rate, "pulsing": pulsing}
    rest["every"] = max(int(duration / step), 1)  # no samples but the first and the last are needed
    together = max(int(np.log2(max(TOGETHER // (int(np.prod(shape)) * int(phases)), 1))), 1)
    batches = [together] * (int(passes) // together) + [int(passes) % together] * (int(passes) % together > 0)

    def caught(share: np.ndarray, number: int) -> np.ndarray:
        size = share[..., None] * upper
        own = (drive._replace(trim=size), event) if kind == "trim" else (drive, event._replace(**{kind: size}))
        asked = None if stop is None else lambda done: stop((number + done) / len(batches))
        return np.all(simulate(machine, reflex, path, legs, *own, stop=asked, **rest).caught, axis=-1)

    low, width = np.zeros(shape), 1.0
    for number, halvings in enumerate(batches):  # many sizes at once where the batch is small; a step costs little more for them
        parts = 2**halvings
        inner = low[..., None] + width * np.arange(0 if number == 0 else 1, parts + (number == 0)) / parts
        holds = np.cumprod(np.broadcast_to(caught(inner, number), (*shape, inner.shape[-1])), axis=-1).sum(axis=-1)
        if number == 0:
            never, always, holds = holds == 0, holds == parts + 1, np.clip(holds - 1, 0, parts - 1)
        width /= parts
        low = low + width * holds
    share = np.where(always, 1.0, np.where(never, 0.0, low))
    answer = share * upper[..., 0, 0]
    return answer if answer.ndim else float(answer)
