"""How far, how long and how far back to stop: by legs, by legs and motor, by the brake, and what ends it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .. import units as u
from ..formulas import balance, capture, gearing, going, leverage
from ..formulas.reflex import Path, Reflex
from ..inputs import Build, Case, Gear
from ..units import Values
from . import instant
from . import loop as loops
from .cranks import DEGREE
from .drive import Drive, drive
from .legs import greatest_torque
from .loads import loads
from .results import Result, shown
from .split import answer

# How far back from the vertical a rider leans to brake.  Assumed and never measured: common practice, no source.
LEAN_LEAST, LEAN, LEAN_MOST = np.radians((6.0, 10.0, 14.0))
# Grip of the tyre: road design counts on 0.35 to 0.40 for stopping distances, wet roads included; a loose or icy one has less.
FRICTION = 0.4
RECOVER = DEGREE  # further lean back that the legs must still be able to catch; assumed: common practice, no source
NONE = "too little torque"
NO_ASSIST = Path(0.0, np.inf, 0.0)
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(3)


@dataclass(frozen=True)
class Way(Result):
    """Stopping by one set of means, from each of many speeds."""

    means: str = shown("means")
    speed: u.MetrePerSecond = shown("speed", "km/h")
    deceleration: u.MetrePerSecondSquared = shown("deceleration at this speed", "m/s^2", 2)
    limited_by: np.ndarray = shown("ended by")
    lean: u.Radian = shown("lean, back negative", "deg")
    wheel_torque: u.NewtonMetre = shown("wheel torque of all means", "N*m")
    distance: u.Metre = shown("distance to a stop", "m")
    time: u.Second = shown("time to a stop", "s")

    def at(self, speed: float) -> tuple[float, float, float, str]:
        """Distance, time, lean and the word for what ends it, from the nearest of the speeds; the case's own is one of them."""
        row = int(np.argmin(np.abs(self.speed - speed)))
        return float(self.distance[row]), float(self.time[row]), float(self.lean[row]), str(self.limited_by[row])


@dataclass(frozen=True)
class Stopping(Result):
    """Stopping from the case's speed and over speed, by all means that the build has."""

    gear: str = shown("gear")
    speed_now: u.MetrePerSecond = shown("speed", "km/h")
    slope: u.Slope = shown("slope", "%")
    lean_back: u.Radian = shown("lean back that is taken as possible", "deg", 0)
    balance_distance: u.Metre = shown("distance that this lean allows at least", "m")
    balance_deceleration: u.MetrePerSecondSquared = shown("deceleration that goes with it", "m/s^2", 2)
    legs_distance: u.Metre = shown("distance by legs alone", "m")
    legs_time: u.Second = shown("time by legs alone", "s")
    legs_by: str = shown("legs alone ended by")
    motor_distance: u.Metre = shown("distance by legs and motor", "m")
    motor_time: u.Second = shown("time by legs and motor", "s")
    motor_by: str = shown("legs and motor ended by")
    full_distance: u.Metre = shown("distance by legs and motor, packs full", "m")
    full_by: str = shown("with full packs ended by")
    brake_distance: u.Metre = shown("distance by legs and brake", "m")
    brake_time: u.Second = shown("time by legs and brake", "s")
    brake_lean: u.Radian = shown("lean at that, back negative", "deg")
    brake_by: str = shown("legs and brake ended by")
    reserve: u.NewtonMetre = shown("crank torque kept back to recover a degree", "N*m")
    leg_torque: u.NewtonMetre = shown("crank torque of the legs, holding back", "N*m")
    energy: u.Joule = shown("energy of the motion", "J", 0)
    assumed: str = shown("assumed, not measured")
    speed: u.MetrePerSecond = shown("from", "km/h")
    distance_over_balance: u.Metre = shown("by the lean alone", "m")
    distance_least_lean: u.Metre = shown("by a lean of 6°", "m")
    distance_most_lean: u.Metre = shown("by a lean of 14°", "m")
    distance_over_legs: u.Metre = shown("by legs", "m")
    distance_over_motor: u.Metre = shown("by legs and motor", "m")
    distance_over_full: u.Metre = shown("by legs and motor, packs full", "m")
    distance_over_brake: u.Metre = shown("by legs and brake", "m")
    ways: dict[str, Way]


@dataclass(frozen=True)
class Bounds:
    """What rider and road are taken to bear: lean back, grip, and the lean that must still be caught."""

    lean: float = LEAN
    friction: float = FRICTION
    recover: float = RECOVER


def study(build: Build, case: Case, gear: Gear | None = None, bounds: Bounds | None = None, points: int = 81) -> Stopping:
    """Stopping from every speed up to the greatest pedalled one, on the case's slope and in its wind.

    At each speed the deceleration is the least of three: what the means give at
    the wheel, what the lean back balances, and what the tyre grips.  The legs
    give their mean over the turn less what they must keep to recover; the motor
    follows them by the resisting gain, with all trim dialled back, within its
    limits.  The distance begins when the rider already leans back: getting
    there, reaction and ramps come on top.
    """
    gear, bounds = gear or build.gears.named(build.gears.engaged), bounds or Bounds()
    _check(bounds)
    open_numbers = tuple(path for path in loops.assumed(build) if path in ("rider.reaction_delay", "rider.muscle_lag", "rider.drag_height"))
    build = loops.completed(build)
    pedalled = np.minimum(build.rider.greatest_cadence, build.rider.greatest_pedal_speed / build.cranks.length)
    fastest = max(float(gearing.speed(pedalled, build.wheel.radius, gear.ratio)), 1.02 * case.speed)
    grid = np.unique(np.append(np.linspace(0.0, fastest, points), case.speed))
    here = int(np.searchsorted(grid, case.speed))
    ways = {name: _way(name, build, case, gear, means, grid, bounds) for name, means in _means(build, case).items()}
    lean, least, most = (
        _way("lean", build, case, gear, None, grid, replace(bounds, lean=one)) for one in (bounds.lean, LEAN_LEAST, LEAN_MOST)
    )
    found = {}
    for key, name in (("legs", "legs"), ("motor", "legs and motor"), ("full", "packs full"), ("brake", "legs and brake")):
        way = ways.get(name)
        distance, time, angle, by = way.at(case.speed) if way else (None, None, None, "the build has none")
        found |= {f"{key}_distance": distance, f"{key}_by": by, f"distance_over_{key}": way.distance if way else None}
        if key != "full":
            found[f"{key}_time"] = time
        if key == "brake":
            found["brake_lean"] = angle
    cadence = gearing.cadence(case.speed, build.wheel.radius, gear.ratio)
    return Stopping(
        gear=gear.name,
        speed_now=case.speed,
        slope=case.slope,
        lean_back=bounds.lean,
        balance_distance=float(lean.distance[here]),
        balance_deceleration=float(lean.deceleration[here]),
        **found,
        reserve=float(_kept(build, case, gear, bounds)),
        leg_torque=float(greatest_torque(build, cadence, True)),
        energy=float(0.5 * _inertia(build) * case.speed**2),
        assumed=", ".join(["lean back", "grip", "recovery", *([loops.in_words(open_numbers)] if open_numbers else [])]),
        speed=grid,
        distance_over_balance=lean.distance,
        distance_least_lean=least.distance,
        distance_most_lean=most.distance,
        ways=ways,
    )


def _check(bounds: Bounds) -> None:
    """One clear word on numbers that no rider or road has."""
    if not 0 < bounds.lean < np.radians(45):
        raise ValueError(f"lean must be above 0 and below 45 degrees, got {np.degrees(bounds.lean):.4g} degrees")
    if not 0 < bounds.friction <= 2:
        raise ValueError(f"friction must be above 0 and at most 2, got {bounds.friction:.4g}")
    if not 0 <= bounds.recover < np.radians(20):
        raise ValueError(f"recover must be 0 or above and below 20 degrees, got {np.degrees(bounds.recover):.4g} degrees")


@dataclass(frozen=True)
class _Means:
    """What brakes beside the legs."""

    drive: Drive | None = None
    braking: bool = False  # whether the motor follows the legs; its drag counts anyway
    brake: bool = False


def _means(build: Build, case: Case) -> dict[str, _Means]:
    """The sets of means that a build has."""
    state = drive(build, case.state_of_charge)
    found = {"legs": _Means(state)}
    if state is not None and build.assist is not None:
        found |= {"legs and motor": _Means(state, True), "packs full": _Means(drive(build, 1.0), True)}
    if build.brake.kind != "none":
        found["legs and brake"] = _Means(state, brake=True)
    return found


def _inertia(build: Build) -> Values:
    return build.total_mass + build.wheel_inertia / build.wheel.radius**2


def _kept(build: Build, case: Case, gear: Gear, bounds: Bounds) -> Values:
    """Mean crank torque that the legs keep back: what catches a further lean, late as they are and without the motor."""
    plant = balance.linear_plant(**loops.body(build), slope=case.slope)
    late = Reflex(0.0, 0.0, 0.0, 0.0, build.rider.reaction_delay, build.rider.muscle_lag, 0.0, 0.0, 1.0)
    own = leverage.gear_leverage(gear.ratio, gear.efficiency, resisting=True)
    return bounds.recover / capture.capture_lean(plant, late, NO_ASSIST, own, 0.0, 1.0, 0.0)


def _braking(build: Build, case: Case, gear: Gear, means: _Means, speed: np.ndarray, bounds: Bounds) -> tuple[np.ndarray, np.ndarray]:
    """Greatest braking wheel torque of the means over speed, as a size, and the word for what ends it."""
    rotation = speed / build.wheel.radius
    cadence = gearing.cadence(speed, build.wheel.radius, gear.ratio)
    legs = np.maximum(greatest_torque(build, cadence, True) - _kept(build, case, gear, bounds), 0.0)
    torque = legs * leverage.gear_leverage(gear.ratio, gear.efficiency, resisting=True) + instant.drag_at(means.drive, rotation)
    by = np.full(speed.shape, "legs", dtype=object)
    if means.braking:
        limits = means.drive.limits(rotation)
        given = -answer(build, gear, -legs, limits, -build.assist.trim_cap, resisting=True)
        wanted = -answer(build, gear, -legs, instant.NO_BOUND, -build.assist.trim_cap, resisting=True)
        torque, by = torque + given, np.where(given < wanted - 1e-9, limits.lowest_by, "legs and gain").astype(object)
    if means.brake:
        torque, by = torque + build.brake.greatest_torque, np.full(speed.shape, "legs and brake", dtype=object)
    return torque, by


def _least(build: Build, case: Case, gear: Gear, means: _Means | None, speed: np.ndarray, bounds: Bounds) -> tuple[np.ndarray, np.ndarray]:
    """Deceleration at each speed, and what ends it; without means, what lean and grip allow."""
    masses, road = loops.body(build), loops.road(build, case, speed=speed)
    parts = {name: value for name, value in (masses | road).items() if name != "body_inertia"}
    force = loads(build, case, speed=speed)
    found = [-going.acceleration_at_lean(-bounds.lean, **parts) + 0 * speed]
    found.append(going.grip_deceleration(bounds.friction, build.total_mass, case.slope, force.air) + 0 * speed)
    words = [np.full(speed.shape, word, dtype=object) for word in ("lean back", "grip of the tyre")]
    if means is not None:
        torque, by = _braking(build, case, gear, means, speed, bounds)
        found.append((torque / build.wheel.radius + force.force) / _inertia(build))
        words.append(by)
    least = np.argmin(found, axis=0)
    return np.min(found, axis=0), np.choose(least, words)


def _way(name: str, build: Build, case: Case, gear: Gear, means: _Means | None, grid: np.ndarray, bounds: Bounds) -> Way:
    """Distance and time by quadrature over speed: ds = v dv / D and dt = dv / D, from rest up; endless where nothing slows it."""
    low, high = grid[:-1, None], grid[1:, None]
    inner = low + (high - low) * (_NODES + 1) / 2
    every, words = _least(build, case, gear, means, np.append(grid, inner.ravel()), bounds)
    deceleration, by = every[: grid.size], words[: grid.size]
    between = every[grid.size :].reshape(inner.shape)
    slows = np.all(between > 0, axis=1)
    weight = _WEIGHTS / 2 * (high - low) / np.where(between > 0, between, 1.0)
    distance, time = (np.append(0.0, np.cumsum(np.where(slows, part.sum(axis=1), np.inf))) for part in (inner * weight, weight))
    loaded = loads(build, case, speed=grid)
    road = loops.road(build, case, speed=grid)
    lean = balance.equilibrium(**loops.body(build), **road, acceleration=-deceleration).lean
    return Way(
        means=name,
        speed=grid,
        deceleration=deceleration,
        limited_by=np.where(deceleration > 0, by, NONE),
        lean=lean,
        wheel_torque=build.wheel.radius * (loaded.force - _inertia(build) * deceleration),
        distance=distance,
        time=time,
    )
