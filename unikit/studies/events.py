"""A bump, a gust, a slope or a lost motor in time: what rider and machine do after it, and how far the closed form is from that.

The rider is simulated with hard limits of legs and motor and at several crank
angles, the machine falls by its full equations.  What is shown is the worst
crank angle.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from .. import units as u
from ..formulas import cut_out as losses
from ..formulas import events, leverage
from ..formulas.reflex import Path, Reflex
from ..inputs import Build, Case, Gear
from . import loop as loops
from .capture import BUMP
from .catch import MACHINES, envelope, stand
from .cut_out import replaced, sides
from .drive import drive
from .loads import trim_torque
from .results import Result, shown
from .split import assist_gain

STEP, DURATION = 0.002, 4.0  # s
PHASES = 8
SETTLING = 0.1  # 1/s: the rate at which a rider takes a lasting push for granted; assumed, so slow that it leaves the gain window as it is
SWINGS = 0.5  # share of the greatest lean that the last quarter may still have
FALL = np.radians(30.0)
LIMIT_POINTS = 49
ALONE, READY = "motor off, adapted", "as built, ready"
OPEN = "being computed"


class Kind(NamedTuple):
    """One kind of event: the part of the simulated event, its size unless told, and the size in words."""

    part: str
    size: float
    unit: str
    lost: bool = False  # something of the motor fails, so that machines without one have nothing to show


KINDS = {
    "bump": Kind("speed_loss", BUMP, "m/s taken off"),
    "gust": Kind("gust", np.nan, "m/s of head wind more"),  # that of the case
    "climb": Kind("slope_step", 0.03, "of slope more"),
    "push": Kind("lean_rate", np.radians(15.0), "rad/s of lean rate"),
    "cut-out": Kind("ramp_time", 0.0, "s of ramp", lost=True),
    "sensor offset": Kind("sensor_offset", 3.0, "N·m at the sensor", lost=True),
}


@dataclass(frozen=True)
class Event(Result):
    """Lean, speed and torques after an event, each for the worst crank angle; a curve ends with the fall."""

    gear: str = shown("gear")
    event: str = shown("event")
    size: str = shown("its size")
    steady_lean: u.Radian = shown("lean before", "deg")
    steady_pedal_torque: u.NewtonMetre = shown("pedal torque before", "N*m")
    steady_motor_torque: u.NewtonMetre = shown("motor torque before, net of drag", "N*m")
    outcome: str = shown("as built, habitual rider")
    outcome_beside: str = shown("beside it")
    outcome_ungeared: str = shown("ungeared wheel")
    greatest_lean: u.Radian = shown("greatest lean from the one before, as built", "deg")
    crank_angle: u.Radian = shown("worst crank angle", "deg", 0)
    caught_angles: u.Ratio = shown("crank angles at which it is caught", "%", 0)
    reaction_delay: u.Second = shown("rider's delay", "ms", 0)
    assumed: str = shown("assumed, not measured")
    time: u.Second = shown("time", "s", 2)
    lean: u.Radian = shown("lean", "deg")
    lean_beside: u.Radian = shown("lean, beside it", "deg")
    lean_ungeared: u.Radian = shown("lean, ungeared", "deg")
    speed: u.MetrePerSecond = shown("speed", "km/h")
    speed_beside: u.MetrePerSecond = shown("speed, beside it", "km/h")
    speed_ungeared: u.MetrePerSecond = shown("speed, ungeared", "km/h")
    pedal_torque: u.NewtonMetre = shown("pedal torque", "N*m")
    pedal_torque_beside: u.NewtonMetre = shown("pedal torque, beside it", "N*m")
    pedal_torque_ungeared: u.NewtonMetre = shown("pedal torque, ungeared", "N*m")
    motor_torque: u.NewtonMetre = shown("motor torque, net of drag", "N*m")
    beside: str = ALONE  # what the second machine is


CURVES = ("lean", "speed", "pedal_torque", "motor_torque")


def possible(build: Build) -> tuple[str, ...]:
    """The events that can happen to a build."""
    return tuple(name for name, kind in KINDS.items() if not kind.lost or build.motor is not None)


def before(build: Build, case: Case, event: str = "bump", size: float | None = None, gear: Gear | None = None) -> Event:
    """The steady ride before an event, with what follows still open; quick."""
    whole, gear, kind, size = _asked(build, case, event, size, gear)
    still = _steady(whole, case, gear)
    open_curves = {f"{name}{row}": np.full(1, np.nan) for name in CURVES for row in ("", "_beside", "_ungeared")}
    return Event(
        **_head(build, gear, event, kind, size, still),
        **dict.fromkeys(("outcome", "outcome_beside", "outcome_ungeared"), OPEN),
        **dict.fromkeys(("greatest_lean", "crank_angle", "caught_angles"), np.nan),
        time=np.zeros(1),
        **{name: curve for name, curve in open_curves.items() if not name.startswith("motor_torque_")},
    )


def study(
    build: Build,
    case: Case,
    event: str = "bump",
    size: float | None = None,
    gear: Gear | None = None,
    phases: int = PHASES,
    duration: float = DURATION,
    settling_rate: float = SETTLING,
) -> Event:
    """What follows an event in a case.

    As built the rider is the habitual one.  Beside it stands the gear alone with
    a rider who has adapted to it, and the ungeared wheel.  Where the motor
    itself fails these have nothing to lose: then the one beside is the same
    machine with a rider who has the effort of the gear alone ready, and the
    ungeared wheel is left out.

    Args:
        build: the build.
        case: the steady ride before the event.
        event: "bump", "gust", "climb", "push", "cut-out" or "sensor offset".
        size: of the event, in SI; for a cut-out the ramp time. Its usual one when left out.
        gear: the gear; the engaged one when left out.
        phases: crank angles over half a turn.
        duration: how long to look on.
        settling_rate: rate at which the rider takes a lasting push for granted.
    """
    whole, gear, kind, size = _asked(build, case, event, size, gear)
    names = ("assisted", "ready") if kind.lost else MACHINES
    parts = _rides(whole, case, gear, names, phases)
    still = _steady(whole, case, gear)
    happens = events.Event(**({kind.part: size} | ({"cut_out": 1.0} if event == "cut-out" else {})))
    course = events.simulate(*parts, happens, duration, STEP, FALL, every=5, settling_rate=settling_rate)
    away = np.abs(course.lean - still.lean).max(axis=-1)
    worst = [int(np.argmin(fall) if np.isfinite(fall).any() else np.argmax(far)) for fall, far in zip(course.fall_time, away, strict=True)]
    first, second = (_shown(course, row, worst[row]) for row in (0, 1))
    third = {name: np.full(course.time.shape, np.nan) for name in CURVES} if kind.lost else _shown(course, 2, worst[2])
    return Event(
        **_head(build, gear, event, kind, size, still),
        outcome=_outcome(course, 0),
        outcome_beside=_outcome(course, 1),
        outcome_ungeared="nothing to lose" if kind.lost else _outcome(course, 2),
        greatest_lean=float(away[0, worst[0]]),
        crank_angle=float(worst[0] * np.pi / phases),
        caught_angles=float(course.caught[0].mean()),
        time=course.time,
        **first,
        **{f"{name}_beside": value for name, value in second.items() if name != "motor_torque"},
        **{f"{name}_ungeared": value for name, value in third.items() if name != "motor_torque"},
    )


def _asked(build: Build, case: Case, event: str, size: float | None, gear: Gear | None) -> tuple[Build, Gear, Kind, float]:
    whole = loops.completed(build)
    kind, size = _kind(build, case, event, size)
    return whole, whole.gears.named(None if gear is None else gear.name), kind, size


def _head(build: Build, gear: Gear, event: str, kind: Kind, size: float, still: events.Ride) -> dict[str, Any]:
    return {
        "gear": gear.name,
        "event": event,
        "size": f"{size:.3g} {kind.unit}",
        "steady_lean": still.lean,
        "steady_pedal_torque": still.pedal_torque,
        "steady_motor_torque": still.motor_torque,
        "reaction_delay": loops.completed(build).rider.reaction_delay,
        "assumed": loops.in_words(loops.assumed(build)),
        "beside": READY if kind.lost else ALONE,
    }


def _steady(build: Build, case: Case, gear: Gear) -> events.Ride:
    """The steady ride as built, with the motor's torque net of its drag as in a course."""
    machine, _, _, _, drives = _rides(build, case, gear, ("assisted",), 0)
    lean, wheel, pedal, motor = (float(part[0]) for part in events.steady_ride(machine, drives))
    return events.Ride(lean, wheel, pedal, motor - float(np.ravel(drives.motor_drag)[0]))


def _kind(build: Build, case: Case, event: str, size: float | None) -> tuple[Kind, float]:
    if event not in KINDS:
        raise ValueError(f"event must be one of {', '.join(map(repr, KINDS))}, got {event!r}")
    kind = KINDS[event]
    if kind.lost and (build.motor is None or build.packs is None or build.controller is None):
        raise ValueError(f"build {build.name!r} has no motor: a {event} needs one")
    size = size if size is not None else case.gust if event == "gust" else kind.size
    if not np.isfinite(size):
        raise ValueError(f"size of a {event} must be a finite number, got {size}")
    return kind, float(size)


def _outcome(course: events.Course, row: int) -> str:
    share = float(course.caught[row].mean())
    first = float(course.fall_time[row].min())
    if share == 1:
        return "caught at every crank angle" if not _swings(course, row) else "stays up at every crank angle, but swings on"
    return f"falls after {first:.2f} s" + ("" if share == 0 else f" at the worst crank angle, caught at {share:.0%} of them")


def _swings(course: events.Course, row: int) -> bool:
    """Whether the lean still moves at the end almost as far as it ever did."""
    late = course.lean[row][:, 3 * course.time.size // 4 :]
    return bool(np.any(np.ptp(late, axis=-1) > SWINGS * np.ptp(course.lean[row], axis=-1)))


def _shown(course: events.Course, row: int, phase: int) -> dict[str, np.ndarray]:
    """One ride as far as it goes."""
    gone = course.time > course.fall_time[row, phase]
    return {name: np.where(gone, np.nan, getattr(course, name)[row, phase]) for name in CURVES}


def _rides(build: Build, case: Case, gear: Gear, names: tuple[str, ...], phases: int, speed: u.Values | None = None):
    """Machine, riders, path, legs and drives of some machines down, speeds across if there are any, crank angles last."""
    speed = np.asarray(case.speed if speed is None else speed, float)
    deep = speed.ndim + (phases > 0)

    def down(values) -> np.ndarray:
        return np.reshape(np.array(values, float), (len(names), *(1,) * deep))

    riders = [_rider(build, gear, name) for name in names]
    solid = [name == "ungeared" for name in names]
    motored = [name in ("assisted", "ready") for name in names]
    cranks = [(build.cranks.reference_length if one else build.cranks.length) / build.cranks.reference_length for one in solid]
    state = drive(build, case.state_of_charge)
    across = speed[..., None] if phases > 0 else speed
    speeds = np.linspace(0.0, 2.0 * float(speed.max()) + 2.0, LIMIT_POINTS)
    limits = state.limits(speeds / build.wheel.radius) if state else None
    drag = state.drag(across / build.wheel.radius) if state else 0.0
    table = lambda values: down(motored)[..., None] * (values if limits is not None else np.zeros(LIMIT_POINTS))
    gains = [assist_gain(build, gear, way) if state else 0.0 for way in (False, True)]
    road = loops.road(build, case)
    machine = events.Machine(**loops.body(build), **(road | {"speed": across}))
    reflex = Reflex(*(down([rider[place] for rider in riders]) for place in range(len(Reflex._fields))))
    legs = events.Legs(
        zero_cadence_torque=build.rider.zero_cadence_torque * down(cranks),
        zero_torque_cadence=build.rider.zero_torque_cadence / down(cranks),
        torque_floor=build.rider.torque_floor,
        backward_strength=build.rider.backward_strength,
        crank_angle=np.arange(phases) * np.pi / phases if phases > 0 else 0.0,
    )
    drives = events.Drive(
        gear_efficiency=down([1.0 if one else gear.efficiency for one in solid]),
        gear_ratio=down([1.0 if one else gear.ratio for one in solid]),
        driving_gain=down(motored) * gains[0],
        resisting_gain=down(motored) * gains[1],
        trim=down(motored) * (trim_torque(build, case) if state else 0.0),
        motor_drag=down([not one for one in solid]) * drag,
        speeds=speeds,
        highest=table(limits.highest if limits else 0.0),
        lowest=table(limits.lowest if limits else 0.0),
    )
    return machine, reflex, _resolved(loops.path(build)), legs, drives


def _rider(build: Build, gear: Gear, name: str) -> Reflex:
    """The habitual rider as built and ungeared, the adapted one on the gear alone and where the feet are ready for it."""
    if name in ("alone", "ready") and leverage.gear_leverage(gear.ratio, gear.efficiency) < 1:
        rider = loops.adapted(build, gear, assisted=False)
    else:
        rider = loops.at_cranks(loops.habit(build), 1.0 if name == "ungeared" else build.cranks.length / build.cranks.reference_length)
    return rider._replace(**{part: _whole(getattr(rider, part)) for part in ("delay", "muscle_lag", "replanning_time")})


def _whole(time: float) -> float:
    """A time that a step can follow: 0 or at least one step."""
    return time if time >= STEP else STEP if time > STEP / 2 else 0.0


def _resolved(path: Path) -> Path:
    lag = _whole(0.5 / (np.pi * path.filter_corner))
    return Path(_whole(path.dead_time), 0.5 / (np.pi * lag) if lag > 0 else np.inf, _whole(path.motor_lag))


@dataclass(frozen=True)
class Envelopes(Result):
    """Largest loss of speed caught in simulation at the worst crank angle, beside the closed form; one row a speed."""

    speed: u.MetrePerSecond = shown("speed", "km/h")
    closed: u.MetrePerSecond = shown("closed form, as built", "m/s", 3)
    simulated: u.MetrePerSecond = shown("simulated, habitual rider", "m/s", 3)
    closed_beside: u.MetrePerSecond = shown("closed form, motor off", "m/s", 3)
    simulated_beside: u.MetrePerSecond = shown("simulated, adapted rider", "m/s", 3)
    closed_ungeared: u.MetrePerSecond = shown("closed form, ungeared", "m/s", 3)
    simulated_ungeared: u.MetrePerSecond = shown("simulated, ungeared", "m/s", 3)
    ratio: u.Ratio = shown("simulated over closed, as built", digits=2)
    ratio_beside: u.Ratio = shown("motor off", digits=2)
    ratio_ungeared: u.Ratio = shown("ungeared", digits=2)


def envelopes(
    build: Build,
    case: Case,
    gear: Gear | None = None,
    speeds: tuple[float, ...] = (2.0, 4.0, 6.0),
    phases: int = PHASES,
    passes: int = 6,
    settling_rate: float = SETTLING,
) -> Envelopes:
    """The capture envelope of bumps by simulation and in closed form; takes seconds."""
    build = loops.completed(build)
    gear = build.gears.named(None if gear is None else gear.name)
    speed = np.asarray(speeds, float)
    closed = {name: np.broadcast_to(envelope(build, case, stand(build, case, gear, name, speed)).bump, speed.shape) for name in MACHINES}
    parts = _rides(build, case, gear, MACHINES, 0, speed)
    upper = 1.6 * np.stack([closed[name] for name in MACHINES]) + 0.05
    found = events.largest_caught(
        *parts,
        events.Event(),
        "speed_loss",
        upper,
        phases,
        passes,
        duration=DURATION,
        step=STEP,
        fall_lean=FALL,
        settling_rate=settling_rate,
    )
    caught = dict(zip(MACHINES, np.nan_to_num(np.broadcast_to(found, upper.shape)), strict=True))
    ratios = {name: caught[name] / np.where(closed[name] > 0, closed[name], np.nan) for name in MACHINES}
    return Envelopes(
        speed,
        closed["assisted"],
        caught["assisted"],
        closed["alone"],
        caught["alone"],
        closed["ungeared"],
        caught["ungeared"],
        ratios["assisted"],
        ratios["alone"],
        ratios["ungeared"],
    )


@dataclass(frozen=True)
class LostTrims(Result):
    """Largest trim torque whose loss, with all assist, is caught at the worst crank angle; one row a ramp. Without any factor."""

    ramp_time: u.Second = shown("motor gone over", "s")
    closed: u.NewtonMetre = shown("closed form", "N*m")
    habitual: u.NewtonMetre = shown("simulated, habitual rider", "N*m")
    ready: u.NewtonMetre = shown("simulated, effort ready", "N*m")


def lost_trims(
    build: Build,
    case: Case,
    gear: Gear | None = None,
    ramps: tuple[float, ...] = (0.0, 0.5, 1.0, 2.0, 4.0),
    phases: int = PHASES,
    passes: int = 6,
    settling_rate: float = SETTLING,
) -> LostTrims:
    """The trim that may be lost by simulation and in closed form, on the slope of the case; takes seconds.

    Trim beyond what carries the whole ride is not looked at.
    """
    build = loops.completed(build)
    _kind(build, case, "cut-out", None)
    gear = build.gears.named(None if gear is None else gear.name)
    over = np.asarray(ramps, float)
    here = stand(build, case, gear)
    steady, hold, strength, gain = sides(build, here, gear)
    closed = losses.largest_trim(steady, hold, gain, strength, replaced(here, over))
    machine, reflex, path, legs, drives = _rides(build, case, gear, ("assisted", "ready"), 0, np.full(over.shape, case.speed))
    sign = 1.0 if here.split.wheel_torque + here.split.motor_drag >= 0 else -1.0
    found = events.largest_caught(
        machine,
        reflex,
        path,
        legs,
        drives,
        events.Event(cut_out=1.0, ramp_time=over),
        "trim",
        sign * float(steady),
        phases,
        passes,
        duration=DURATION + float(over.max()),
        step=STEP,
        fall_lean=FALL,
        settling_rate=settling_rate,
    )
    caught = np.abs(np.broadcast_to(found, (2, *over.shape)))
    return LostTrims(over, closed, caught[0], caught[1])
