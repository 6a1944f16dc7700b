"""How fast is a build comfortably and at most, what sets it, and what one change of a part moves?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import gearing, leverage, pedalling
from ..inputs import Build, Case, Gear, InputError, replace
from .drive import drive
from .legs import greatest_torque
from .loads import loads, trim_torque
from .results import Result, shown
from .rules import look_up
from .split import answer, torque_split

CAUSES = ("cadence", "pedal speed", "leg torque", "air", "motor voltage", "local limit")
FASTEST = 25.0  # m/s, end of the search

# Rules of our own for "comfortable"; a person may disagree and change the rider's limits instead.
EASY_SHARE_OF_TORQUE = 0.5
EASY_SHARE_OF_PEDAL_SPEED = 0.9


@dataclass(frozen=True)
class Gearing(Result):
    """Speeds of one gear with their causes, and the leverage that is left over speed."""

    gear: str = shown("gear")
    gear_ratio: u.Ratio = shown("gear ratio", digits=3)
    development: u.Metre = shown("development", "m", 2)
    travel_ratio: u.Ratio = shown("road travel per pedal travel", digits=2)
    comfortable_speed: u.MetrePerSecond = shown("comfortable speed", "km/h")
    comfortable_by: str = shown("comfortable speed set by")
    greatest_speed: u.MetrePerSecond = shown("greatest speed", "km/h")
    greatest_by: str = shown("greatest speed set by")
    cadence: u.RadianPerSecond = shown("cadence at the case's speed", "rpm", 0)
    pedal_speed: u.MetrePerSecond = shown("pedal speed at the case's speed", "m/s", 2)
    saddle_shift: u.Metre = shown("saddle up against the reference cranks", "mm", 0)
    comfortable_limits: dict[str, float]  # m/s for each cause; inf where it does not bind
    greatest_limits: dict[str, float]
    speed: u.MetrePerSecond = shown("speed", "km/h")
    leverage_left: u.Ratio = shown("leverage left against the ungeared wheel", "%")
    wheel_torque_left: u.NewtonMetre = shown("wheel torque of a full push", "N*m")


def study(build: Build, case: Case, gear: Gear | None = None, points: int = 81) -> Gearing:
    """Comfortable and greatest speed of a gear in a case.

    Comfortable: the lowest of comfortable cadence, nine tenths of the greatest
    pedal speed, critical power against the road (``air``), the speed up to which
    the motor still gives the whole assist, and a local assist limit.  Greatest:
    greatest cadence and pedal speed, the torque line of the legs in a short
    effort, and the speed at which the back-EMF reaches the resting packs.
    """
    gear = gear or build.gears.named(build.gears.engaged)
    radius = build.wheel.radius
    grid = np.linspace(0.5, FASTEST, 491)
    state = drive(build, case.state_of_charge)
    split = torque_split(build, gear, grid, loads(build, case, grid).wheel_torque, state, trim_torque(build, case))
    available = greatest_torque(build, split.cadence)
    rule = look_up(case.rules)
    local = rule.assist_speed_limit if rule is not None and rule.assist_speed_limit else np.inf
    rider, by_voltage = build.rider, np.isin(split.highest_by, ("voltage", "field weakening"))
    comfortable = {
        "cadence": gearing.speed(rider.comfortable_cadence, radius, gear.ratio),
        "pedal speed": gearing.speed(EASY_SHARE_OF_PEDAL_SPEED * rider.greatest_pedal_speed / build.cranks.length, radius, gear.ratio),
        "leg torque": _first(grid, EASY_SHARE_OF_TORQUE * available - split.pedal_torque),
        "air": _first(grid, rider.critical_power - split.leg_power),
        "motor voltage": _first(grid, np.where(by_voltage, 1e-6 - split.clipped, 1.0)) if state else np.inf,
        "local limit": local,
    }
    greatest = {
        "cadence": gearing.speed(rider.greatest_cadence, radius, gear.ratio),
        "pedal speed": gearing.speed(rider.greatest_pedal_speed / build.cranks.length, radius, gear.ratio),
        "leg torque": _first(grid, available - split.pedal_torque),
        "air": np.inf,
        "motor voltage": float(state.back_emf_rotation() * radius) if state else np.inf,
        "local limit": np.inf,
    }
    comfortable_by, greatest_by = min(comfortable, key=comfortable.get), min(greatest, key=greatest.get)
    speed = np.linspace(0.0, greatest[greatest_by], points) if greatest[greatest_by] > 0 else np.zeros(points)
    push, whole = _full_push(build, gear, case, state, speed)
    now = gearing.cadence(case.speed, radius, gear.ratio)
    return Gearing(
        gear=gear.name,
        gear_ratio=gear.ratio,
        development=gearing.development(2 * np.pi * radius, gear.ratio),
        travel_ratio=gearing.travel_ratio(radius, build.cranks.length, gear.ratio),
        comfortable_speed=comfortable[comfortable_by],
        comfortable_by=comfortable_by,
        greatest_speed=greatest[greatest_by],
        greatest_by=greatest_by,
        cadence=now,
        pedal_speed=gearing.pedal_speed(now, build.cranks.length),
        saddle_shift=pedalling.saddle_shift(build.cranks.reference_length, build.cranks.length),
        comfortable_limits=comfortable,
        greatest_limits=greatest,
        speed=speed,
        leverage_left=push,
        wheel_torque_left=whole,
    )


def _first(grid: np.ndarray, margin: np.ndarray) -> float:
    """First speed at which a margin runs out, by the line between two grid points; inf if never."""
    short = np.flatnonzero(margin < 0)
    if short.size == 0:
        return np.inf
    i = int(short[0])
    if i == 0:
        return 0.0
    return float(grid[i - 1] + (grid[i] - grid[i - 1]) * margin[i - 1] / (margin[i - 1] - margin[i]))


def _full_push(build: Build, gear: Gear, case: Case, state, speed: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Leverage of the hardest push at each speed against an ungeared wheel, and its wheel torque.

    The assist follows the push only as far as the motor's limits at that speed.
    """
    cadence = gearing.cadence(speed, build.wheel.radius, gear.ratio)
    push = greatest_torque(build, cadence)
    own = leverage.gear_leverage(gear.ratio, gear.efficiency) * push
    whole = own + (answer(build, gear, push, state.limits(speed / build.wheel.radius)) if state else 0.0)
    left = np.where(push > 0, whole / np.where(push > 0, push, 1.0), own * 0 + leverage.gear_leverage(gear.ratio, gear.efficiency))
    return left * build.cranks.length / build.cranks.reference_length, whole


@dataclass(frozen=True)
class Moves(Result):
    """What one change of one part moves, all else kept."""

    part: np.ndarray = shown("changed")
    comfortable_speed: u.MetrePerSecond = shown("comfortable speed", "km/h")
    comfortable_by: np.ndarray = shown("set by")
    greatest_speed: u.MetrePerSecond = shown("greatest speed", "km/h")
    greatest_by: np.ndarray = shown("greatest set by")
    leverage_left: u.Ratio = shown("leverage left at rest", "%")


def moves(build: Build, case: Case, gear: Gear | None = None, share: float = 0.05) -> Moves:
    """Change gear ratio, cranks and wheel one at a time by a share, up and down.

    A change to a size that no build may have is left out.
    """
    name = (gear or build.gears.named(build.gears.engaged)).name
    parts = {"gear ratio": f"gears.gear.{name}.ratio", "cranks": "cranks.length", "wheel": "wheel.rolling_circumference"}
    now = {parts["gear ratio"]: build.gears.named(name).ratio, "cranks.length": build.cranks.length}
    now["wheel.rolling_circumference"] = 2 * np.pi * build.wheel.radius
    rows = [("as built", study(build, case, build.gears.named(name)))]
    for part, path in parts.items():
        for change in (-share, share):
            try:
                other = replace(build, {path: now[path] * (1 + change)})
            except InputError:
                continue
            rows.append((f"{part} {100 * change:+.0f} %", study(other, case, other.gears.named(name))))
    return Moves(
        part=np.array([label for label, _ in rows]),
        comfortable_speed=np.array([r.comfortable_speed for _, r in rows]),
        comfortable_by=np.array([r.comfortable_by for _, r in rows]),
        greatest_speed=np.array([r.greatest_speed for _, r in rows]),
        greatest_by=np.array([r.greatest_by for _, r in rows]),
        leverage_left=np.array([r.leverage_left[0] for _, r in rows]),
    )
