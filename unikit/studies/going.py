"""Can a rider get going in this gear with the weight on one pedal, and what does standing still ask of the motor?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import balance, duty, going
from ..formulas.reach import Limits
from ..inputs import Build, Case, Gear
from ..units import Values
from . import instant
from . import loop as loops
from .drive import ROOM, drive
from .loads import loads, trim_torque
from .results import Result, shown

LEVEL = np.pi / 2  # the crank angle at which most riders begin: pedals level
ONE_TURN = 2 * np.pi
BREAKAWAY = 1e-6  # rad/s: the iron drags as soon as the wheel turns, and not before
LEAN = np.radians(10.0)  # forward lean with which a rider begins; assumed and never measured: common practice, no source
# A rider who waits without holding on rocks the cranks so far to each side of the dead centre, somewhat slower than once a
# second.  Both are assumed: common practice, no source.
ROCK_SWING, ROCK_FREQUENCY = np.radians(30.0), 2 * np.pi * 0.8


@dataclass(frozen=True)
class Push(Result):
    """One machine - ungeared, gear alone, or with assist - pushed by weight alone, over the crank angle."""

    machine: str = shown("machine")
    wheel_torque: u.NewtonMetre = shown("wheel torque by weight", "N*m")
    steepest: u.Slope = shown("steepest slope it holds", "%")
    acceleration: u.MetrePerSecondSquared = shown("steady acceleration on the case's slope", "m/s^2", 2)
    travelled: np.ndarray  # crank angle from level cranks on, half a degree apart
    speed: np.ndarray  # there, from standstill; nan beyond the place where it comes to rest
    time: np.ndarray  # to there; inf beyond it
    asked: float  # wheel torque that starts it up the case's slope
    greatest: float  # steady acceleration at the best angle
    lean: float  # radians, that goes with it
    limited_by: str  # weight or lean
    share: float  # of the turn in which it can begin
    carries: float  # of the turn from which the first push carries through the next dead centre
    dead_speed: float  # at the next dead centre, from level cranks
    weak_time: float  # seconds with less than the asked torque around it
    growth: float  # factor by which a lean that nobody answers grows meanwhile


@dataclass(frozen=True)
class Going(Result):
    """Getting going in a gear by weight on one pedal, and standing still, with and without assist."""

    gear: str = shown("gear")
    slope: u.Slope = shown("slope", "%")
    asked: u.NewtonMetre = shown("wheel torque that starts it", "N*m")
    steepest: u.Slope = shown("steepest slope by weight, best angle, assisted", "%")
    steepest_alone: u.Slope = shown("steepest, gear alone", "%")
    steepest_ungeared: u.Slope = shown("steepest, ungeared wheel", "%")
    acceleration: u.MetrePerSecondSquared = shown("greatest steady acceleration there, assisted", "m/s^2", 2)
    acceleration_alone: u.MetrePerSecondSquared = shown("acceleration, gear alone", "m/s^2", 2)
    acceleration_ungeared: u.MetrePerSecondSquared = shown("acceleration, ungeared wheel", "m/s^2", 2)
    lean: u.Radian = shown("lean that goes with it, assisted", "deg")
    limited_by: str = shown("acceleration ended by, assisted")
    limited_alone_by: str = shown("acceleration ended by, gear alone")
    lean_of_weight: u.Radian = shown("lean that the whole weight would ask for, assisted", "deg")
    share: u.Ratio = shown("share of the turn in which it can begin, assisted", "%", 0)
    share_alone: u.Ratio = shown("share, gear alone", "%", 0)
    share_ungeared: u.Ratio = shown("share, ungeared wheel", "%", 0)
    carries: u.Ratio = shown("share from which the push carries through, assisted", "%", 0)
    carries_alone: u.Ratio = shown("carries through, gear alone", "%", 0)
    dead_speed: u.MetrePerSecond = shown("speed at the dead centre from level cranks, assisted", "km/h")
    dead_speed_alone: u.MetrePerSecond = shown("speed at the dead centre, gear alone", "km/h")
    weak_time: u.Second = shown("time with too little torque around it, assisted", "s", 2)
    weak_time_alone: u.Second = shown("too little torque, gear alone", "s", 2)
    growth_alone: u.Ratio = shown("an unanswered lean grows meanwhile, gear alone, by the factor", digits=1)
    stand_motor: u.NewtonMetre = shown("motor torque standing still on the slope", "N*m")
    stand_current: u.Ampere = shown("phase current at that, peak", "A")
    stand_loss: u.Watt = shown("copper loss at that", "W", 0)
    stand_rate: u.KelvinRise = shown("winding warms each second by", "K", 2)
    stand_time: u.Second = shown("derating begins after, no heat leaving", "s", 0)
    push_motor: u.NewtonMetre = shown("motor torque of the whole weight, level cranks", "N*m")
    push_loss: u.Watt = shown("copper loss at that push", "W", 0)
    push_time: u.Second = shown("derating would begin after, no heat leaving", "s", 0)
    rock_torque: u.NewtonMetre = shown("wheel torque of rocking on the spot, peak", "N*m")
    rock_lean: u.Radian = shown("lean that goes with rocking, peak", "deg")
    rock_motor: u.NewtonMetre = shown("motor torque of rocking, peak", "N*m")
    rock_foot: u.NewtonMetre = shown("crank torque of rocking, assisted, peak", "N*m")
    rock_foot_alone: u.NewtonMetre = shown("crank torque of rocking, gear alone, peak", "N*m")
    rock_share: u.Ratio = shown("that over what weight gives at the end of the swing, assisted", "%", 0)
    rock_share_alone: u.Ratio = shown("rocking over weight, gear alone", "%", 0)
    rock_share_ungeared: u.Ratio = shown("rocking over weight, ungeared wheel", "%", 0)
    assumed: str = shown("assumed, not measured")
    crank_angle: u.Radian = shown("crank angle", "deg", 0)
    steepest_over_turn: u.Slope = shown("steepest slope, assisted", "%")
    steepest_alone_over_turn: u.Slope = shown("steepest slope, gear alone", "%")
    steepest_ungeared_over_turn: u.Slope = shown("steepest slope, ungeared", "%")
    pushes: dict[str, Push]


@dataclass(frozen=True)
class _Ground:
    """What a push has to overcome, the same for all machines of a build."""

    force: float
    masses: dict[str, Values]
    road: dict[str, Values]
    toppling_rate: float

    @property
    def inertia(self) -> float:
        """Mass that a force along the road accelerates, the wheel's turning included."""
        total = self.masses["body_mass"] + self.masses["wheel_mass"]
        return total + self.masses["wheel_inertia"] / self.masses["wheel_radius"] ** 2

    def acceleration(self, wheel_torque: Values) -> Values:
        """Steady acceleration that a wheel torque keeps up, at the lean that goes with it."""
        return (wheel_torque / self.masses["wheel_radius"] - self.force) / self.inertia

    def borne(self, lean: float) -> float:
        """Greatest wheel torque that a body with a lean bears without being thrown back."""
        parts = {name: value for name, value in (self.masses | self.road).items() if name != "body_inertia"}
        return float(self.masses["wheel_radius"] * (self.inertia * going.acceleration_at_lean(lean, **parts) + self.force))


def study(build: Build, case: Case, gear: Gear | None = None, front_share: float = 1.0, lean: float = LEAN, points: int = 181) -> Going:
    """Getting going from standstill on the case's slope, by weight alone.

    At each crank angle weight gives a wheel torque.  The steady acceleration
    that a torque keeps up is the one whose lean it balances: at less lean the
    push throws the body back, at more the body falls on.  So the rider presses
    with no more than the lean bears, or than weight gives.  What is left at the
    dead centres is momentum; a push carries through one if the speed it has
    made lasts until the other foot gives more than the slope takes.

    Args:
        build: the build; what it does not say about the rider is taken in the middle of its range.
        case: slope, wind and charge; its speed does not count.
        gear: the engaged gear if left out.
        front_share: share of the weight on the pedal that drives; the other foot holds back with the rest.
        lean: forward lean that the rider begins with, radians.
        points: crank angles over the turn.
    """
    gear, build = gear or build.gears.named(build.gears.engaged), loops.completed(build)
    state = drive(build, case.state_of_charge)
    limits, trim = instant.limits_at(state, 0.0), trim_torque(build, case)
    angle = np.linspace(0.0, ONE_TURN, points)
    ground = _ground(build, case)
    level = ground.masses["wheel_radius"] * ground.force
    drag = instant.drag_at(state, BREAKAWAY)

    def assisted(at: np.ndarray) -> np.ndarray:
        weight = instant.weight_torque(build, at, front_share)
        return instant.wheel_torque(build, gear, weight, limits, trim, instant.felt(build, at)) - drag

    def alone(at: np.ndarray) -> np.ndarray:
        return instant.wheel_torque(build, gear, instant.weight_torque(build, at, front_share)) - drag

    def ungeared(at: np.ndarray) -> np.ndarray:
        return instant.weight_torque(build, at, front_share) * (build.cranks.reference_length / build.cranks.length)

    ratios = {"assisted": gear.ratio, "gear alone": gear.ratio, "ungeared": 1.0}
    ways = {"assisted": assisted, "gear alone": alone, "ungeared": ungeared}
    pushes = {name: _push(name, given, angle, ratios[name], ground, lean) for name, given in ways.items()}
    own, bare, free = pushes.values()
    most = ground.acceleration(own.wheel_torque.max())
    whole = float(balance.equilibrium(**ground.masses, **ground.road, acceleration=most).lean)
    return Going(
        gear=gear.name,
        slope=case.slope,
        asked=level,
        steepest=float(own.steepest.max()),
        steepest_alone=float(bare.steepest.max()),
        steepest_ungeared=float(free.steepest.max()),
        acceleration=own.greatest,
        acceleration_alone=bare.greatest,
        acceleration_ungeared=free.greatest,
        lean=own.lean,
        limited_by=own.limited_by,
        limited_alone_by=bare.limited_by,
        lean_of_weight=whole,
        share=own.share,
        share_alone=bare.share,
        share_ungeared=free.share,
        carries=own.carries,
        carries_alone=bare.carries,
        dead_speed=own.dead_speed,
        dead_speed_alone=bare.dead_speed,
        weak_time=own.weak_time,
        weak_time_alone=bare.weak_time,
        growth_alone=bare.growth,
        **_standing(build, case, gear, limits, trim, front_share),
        **_rocking(build, gear, limits, ground, front_share),
        assumed="lean to begin with, swing and frequency of rocking",
        crank_angle=angle,
        steepest_over_turn=own.steepest,
        steepest_alone_over_turn=bare.steepest,
        steepest_ungeared_over_turn=free.steepest,
        pushes=pushes,
    )


def _ground(build: Build, case: Case) -> _Ground:
    masses = loops.body(build)
    rate = float(balance.toppling_rate(**masses, slope=case.slope))
    return _Ground(float(loads(build, case, speed=0.0).force), masses, loops.road(build, case, speed=0.0), rate)


def _push(name: str, given, angle: np.ndarray, ratio: float, ground: _Ground, lean: float) -> Push:
    """What a torque over the crank angle does on the ground from standstill."""
    radius, mass = ground.masses["wheel_radius"], ground.masses["body_mass"] + ground.masses["wheel_mass"]
    torque, asked, borne = given(angle), radius * ground.force, ground.borne(lean)
    best = float(ground.acceleration(min(torque.max(), borne)))
    # the energy from each angle to the one beyond the next dead centre where the torque suffices again
    fine = np.linspace(0.0, 3 * np.pi, 1081)
    surplus = np.minimum(given(fine), borne) - asked
    energy = np.append(0.0, np.cumsum((surplus[1:] + surplus[:-1]) / 2)) * (fine[1] - fine[0]) * ratio
    can = (surplus >= 0)[: len(fine) // 3 * 2]
    through = np.zeros_like(can)
    for half in (0, 1):  # one half turn after the other: the foot in front, then the other foot
        span = np.arange(half * 360, (half + 1) * 360)
        centre = (half + 1) * 360
        lowest = energy[centre : centre + 181].min()  # until the other crank is level: by then it has its most
        through[span] = can[span] & (lowest - energy[span] > 0)
    return Push(
        machine=name,
        wheel_torque=torque,
        steepest=going.steepest_slope(np.maximum(torque, 0.0), mass, radius, ground.road["rolling_coefficient"]),
        acceleration=ground.acceleration(np.minimum(torque, borne)),
        **_run(fine, energy, surplus, ratio, ground),
        asked=asked,
        greatest=best,
        lean=float(balance.equilibrium(**ground.masses, **ground.road, acceleration=best).lean),
        limited_by="lean" if borne < torque.max() else "weight",
        share=float(can.mean()),
        carries=float(through.mean()),
    )


def _run(fine: np.ndarray, energy: np.ndarray, surplus: np.ndarray, ratio: float, ground: _Ground) -> dict:
    """Speed and time from level cranks on, and what happens around the next dead centre."""
    start, centre = 180, 360  # half a degree apart: level cranks, and the dead centre after them
    gained = energy[start:] - energy[start]
    moving = np.logical_and.accumulate((gained[1:] > 0) & (surplus[start] > 0))
    root = np.sqrt(np.maximum(gained, 0.0))
    way = ground.masses["wheel_radius"] * ratio * (fine[1] - fine[0])
    with np.errstate(divide="ignore"):
        step = np.where(moving, np.sqrt(2 * ground.inertia) * way / (root[1:] + root[:-1]), np.inf)  # exact for an even push
    time = np.append(0.0, np.cumsum(step))
    speed = np.where(np.append(True, moving), np.sqrt(2 / ground.inertia) * root, np.nan)
    weak = (surplus[start:] < 0)[1:] & (np.arange(1, len(gained)) <= centre - start + 180)
    weak_time = float(step[weak].sum()) if weak.any() else 0.0
    with np.errstate(over="ignore"):
        growth = float(np.exp(ground.toppling_rate * weak_time))
    at = centre - start
    reached = bool(moving[at - 1])
    return {
        "travelled": fine[start:],
        "speed": speed,
        "time": time,
        "dead_speed": float(speed[at]) if reached else 0.0,
        "weak_time": weak_time,
        "growth": growth,
    }


def _standing(build: Build, case: Case, gear: Gear, limits: Limits | None, trim: Values, front_share: float) -> dict:
    """Motor torque of holding the slope without turning, and of a whole push, and how long a winding bears them."""
    if limits is None:
        return dict.fromkeys(
            ("stand_motor", "stand_current", "stand_loss", "stand_rate", "stand_time", "push_motor", "push_loss", "push_time")
        )
    still = loads(build, case, speed=0.0)
    asked = build.wheel.radius * (still.slope + still.air)  # a tyre that does not roll asks for nothing
    own = instant.pedal_torque(build, gear, asked, limits, trim)
    hold = asked - instant.wheel_torque(build, gear, own, resisting=bool(own < 0))
    weight = instant.weight_torque(build, LEVEL, front_share)
    push = instant.wheel_torque(build, gear, weight, limits, trim) - instant.wheel_torque(build, gear, weight)
    start = case.air_temperature if case.winding_start is None else case.winding_start
    end, capacity = build.controller.derating_start, build.motor.winding_capacity
    found = {}
    for name, torque in (("stand", hold), ("push", push)):
        first, last, room = (drive(build, case.state_of_charge, at).point(float(torque), 0.0) for at in (start, max(end, start), ROOM))
        found |= {f"{name}_motor": float(torque), f"{name}_loss": float(room.copper_loss)}
        found[f"{name}_time"] = float(duty.adiabatic_time(end - start, capacity, first.copper_loss, last.copper_loss))
        if name == "stand":
            rate = float(first.copper_loss / capacity)  # joules of one second
            found |= {"stand_current": float(abs(room.quadrature_current)), "stand_rate": rate}
    return found


def _rocking(build: Build, gear: Gear, limits: Limits | None, ground: _Ground, front_share: float) -> dict:
    """Rocking to and fro on the spot with one foot low, as riders do who wait without holding on."""
    plant = balance.linear_plant(**ground.masses)
    travel = ground.masses["wheel_radius"] * ROCK_SWING
    found, free = (going.rocking(plant, travel * ratio, ROCK_FREQUENCY) for ratio in (gear.ratio, 1.0))
    wheel = float(found.wheel_torque)
    foot, alone = (float(instant.pedal_torque(build, gear, wheel, limit)) for limit in (limits, None))
    able = float(instant.weight_torque(build, ROCK_SWING, front_share))
    reference = able * build.cranks.reference_length / build.cranks.length
    return {
        "rock_torque": wheel,
        "rock_lean": float(found.lean),
        "rock_motor": None if limits is None else wheel - float(instant.wheel_torque(build, gear, foot)),
        "rock_foot": foot,
        "rock_foot_alone": alone,
        "rock_share": foot / able,
        "rock_share_alone": alone / able,
        "rock_share_ungeared": float(free.wheel_torque) / reference,
    }
