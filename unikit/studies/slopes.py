"""Which trim torque levels a slope, what is left for the feet with steps and without trim, and how does a step feel?

A steady lean belongs to road, wind and speed, whoever gives the torque.  What
the nearest step of trim leaves over is therefore felt in one of two ways: by
a rider who keeps the speed, as foot force; by one whose feet press on as if
the slope were levelled, as a slow gain or loss of speed and the lean that
goes with it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import balance, cut_out, going, leverage
from ..inputs import Build, Case, Gear
from ..inputs.variants import refuse_draws
from ..units import Values
from . import catch
from . import cut_out as losses
from . import loop as loops
from .cells import aged
from .loads import loads, trim_torque
from .results import Result, shown
from .split import Split, assist_gain, torque_split

# About 7 % of a held force, at the fingers, "consistent with a wide range of previous results, some of which are associated with other body
# surfaces and muscle systems": Pang, Tan and Durlach, Perception and Psychophysics 49:531, 1991 (abstract read). A foot on a still pedal
# was measured by Abbink and van der Helm, IEEE SMC 2004, p. 2525 (abstract read, without the number). Nothing was found on turning pedals.
NOTICED = 0.07
# How far past the middle between two steps a rider goes before changing: a share of a step. Assumed: common practice, no source.
HYSTERESIS = 0.25
POLICIES = ("none", "steps", "level")
STEEP = 0.15
MOST_STEPS = 60  # finer steps than this are drawn as if there were none
BESIDE = 1e-7  # slope: how near to a change of step its two sides are looked at


@dataclass(frozen=True)
class Slopes(Result):
    """Trim, pedals and lean over slope at the case's speed, and what a step of trim is to the rider."""

    gear: str = shown("gear")
    slope_here: u.Slope = shown("slope", "%")
    slope_torque: u.NewtonMetre = shown("wheel torque of the slope alone", "N*m")
    trim_level: u.NewtonMetre = shown("trim that levels it, within cap and limits", "N*m")
    trim_steps: u.NewtonMetre = shown("trim of the nearest step", "N*m")
    trim_set: u.NewtonMetre = shown("trim as the case sets it", "N*m")
    steps: u.Number = shown("steps of trim", "", 0)
    covered: u.Slope = shown("slope that the cap covers, up and down", "%", 2)
    step_slope: u.Slope = shown("slope of one step", "%", 2)
    foot_none: u.Newton = shown("foot force without trim", "N", 0)
    foot_steps: u.Newton = shown("foot force with the nearest step", "N", 0)
    foot_level: u.Newton = shown("foot force with the slope levelled", "N", 0)
    pedal_none: u.NewtonMetre = shown("pedal torque without trim", "N*m")
    pedal_steps: u.NewtonMetre = shown("pedal torque with the nearest step", "N*m")
    pedal_level: u.NewtonMetre = shown("pedal torque with the slope levelled", "N*m")
    residual: u.NewtonMetre = shown("pedal torque between two steps, at most", "N*m", 2)
    residual_force: u.Newton = shown("foot force between two steps, at most", "N")
    residual_lean: u.Radian = shown("lean between two steps, feet pressing on", "deg", 2)
    residual_acceleration: u.MetrePerSecondSquared = shown("gain of speed between two steps, feet pressing on", "m/s^2", 3)
    foot_flat: u.Newton = shown("foot force on the flat at this speed", "N", 0)
    noticed: u.Newton = shown("change of foot force that is noticed", "N")
    residual_share: u.Ratio = shown("foot force between two steps over what is noticed", "", 1)
    largest_step: u.NewtonMetre = shown("largest step that stays unnoticed", "N*m", 2)
    step_force: u.Newton = shown("foot force of one step more or less", "N")
    ramp_time: u.Second = shown("a step comes over", "s")
    step_lean: u.Radian = shown("lean of a sudden step before the legs answer", "deg", 2)
    step_lean_ramped: u.Radian = shown("lean of a step over the ramp before the legs answer", "deg", 3)
    hysteresis: u.Ratio = shown("goes past the middle by, of a step", "%", 0)
    residual_hysteresis: u.NewtonMetre = shown("pedal torque left then, at most", "N*m", 2)
    wobble: u.Slope = shown("slope may waver by, without a step", "%", 2)
    largest_lost: u.NewtonMetre = shown("largest trim that may be lost, see cut-out", "N*m")
    assumed: str = shown("assumed, not measured")
    slope: u.Slope = shown("slope", "%", 2)
    wheel_torque: u.NewtonMetre = shown("wheel torque", "N*m")
    trim_over_level: u.NewtonMetre = shown("trim, level", "N*m")
    trim_over_steps: u.NewtonMetre = shown("trim, steps", "N*m")
    trim_rising: u.NewtonMetre = shown("trim, slope rising", "N*m")
    trim_falling: u.NewtonMetre = shown("trim, slope falling", "N*m")
    pedal_over_none: u.NewtonMetre = shown("pedal torque, no trim", "N*m")
    pedal_over_steps: u.NewtonMetre = shown("pedal torque, steps", "N*m")
    pedal_over_level: u.NewtonMetre = shown("pedal torque, level", "N*m")
    foot_over_none: u.Newton = shown("foot force, no trim", "N")
    foot_over_steps: u.Newton = shown("foot force, steps", "N")
    foot_over_level: u.Newton = shown("foot force, level", "N")
    lean_over_level: u.Radian = shown("lean, speed kept", "deg", 2)
    lean_over_steps: u.Radian = shown("lean, feet as with the slope levelled", "deg", 2)


def study(
    build: Build,
    case: Case,
    gear: Gear | None = None,
    slopes: np.ndarray | None = None,
    share: float = 1.0,
    hysteresis: float = HYSTERESIS,
) -> Slopes:
    """Trim policies over slope at the case's speed and wind.

    Args:
        build: the build; ValueError for one without a motor.
        case: gives speed, wind, charge and the slope that the numbers are about.
        gear: the engaged one if left out.
        slopes: slopes to look at, -15 to 15 % if left out; the case's and both sides of every change of step are added.
        share: how much of what a rider notices a step may leave over.
        hysteresis: how far past the middle between two steps the rider goes before changing, as a share of a step.
    """
    refuse_draws("slopes", build, case)
    if build.motor is None or build.assist is None:
        raise ValueError(f"build {build.name!r} has no motor: the slopes study needs one")
    if not share > 0:
        raise ValueError(f"share must be above 0, got {share}: it is the part of what is noticed that a step may leave")
    if not 0 <= hysteresis < 1:
        raise ValueError(f"hysteresis must be 0 or above and below 1 step, got {hysteresis}")
    assumed = loops.assumed(build)
    build, gear, state = losses.ready(aged(build, case), case, gear or build.gears.named(build.gears.engaged))
    over = _grid(build, case, slopes)
    here = int(np.searchsorted(over, case.slope))
    asked = loads(build, case, slope=over).wheel_torque
    trims = np.stack([trim_torque(build, case, over, policy) + 0 * over for policy in POLICIES])
    limits = state.limits(case.speed / build.wheel.radius)
    split = torque_split(build, gear, case.speed, asked, state, trims, limits)
    none, steps, level = split.pedal_torque
    crank, now = build.cranks.length, split.pedal_torque[:, here]
    step, cap = float(build.assist.trim_step), float(build.assist.trim_cap)
    trim = float(split.trim[1, here])
    other = trim + step if trim + step <= cap * (1 + 1e-9) else trim - step  # one more, or one less where the cap allows no more
    level_road = loads(build, case, slope=0.0).wheel_torque
    needed = np.array([level_road, asked[here], asked[here]])
    flat, before, after = torque_split(build, gear, case.speed, needed, state, np.array([0.0, trim, other]), limits).pedal_torque
    flat, change = float(flat), float(abs(after - before))
    own, noticed = _felt(build, gear, flat), NOTICED * abs(flat) / crank
    left = 0.5 * step / own
    lean, shifted = _leans(build, case, over, split)
    slow = 0.5 * step / build.wheel.radius / _inertia(build)
    lost = catch.stand(build, case, gear)
    delay, ramp = lost.reflex.delay, float(build.assist.ramp_time)
    sudden, ramped = (
        float(cut_out.lean_after_loss(delay, lost.rate, lost.stiffness, lost.reflex, step, ramp_time=time)) for time in (0.0, ramp)
    )
    torque = _slope_torque(build, case, over)
    rising, falling = (stepped(torque, step, cap, way * hysteresis) for way in (1, -1))
    return Slopes(
        gear=gear.name,
        slope_here=case.slope,
        slope_torque=float(torque[here]),
        trim_level=float(split.trim[2, here]),
        trim_steps=trim,
        trim_set=float(split.trim[POLICIES.index(case.trim), here]),
        steps=float(np.round(trim / step)) if step > 0 else 0.0,
        covered=float(_covered(build, cap)),
        step_slope=float(_covered(build, step)),
        **{f"foot_{name}": float(value / crank) for name, value in zip(POLICIES, now, strict=True)},
        **{f"pedal_{name}": float(value) for name, value in zip(POLICIES, now, strict=True)},
        residual=left,
        residual_force=left / crank,
        residual_lean=float(_lean(build, case, case.slope, slow) - _lean(build, case, case.slope, 0.0)),
        residual_acceleration=slow,
        foot_flat=flat / crank,
        noticed=noticed,
        residual_share=left / crank / noticed if noticed > 0 else np.inf,
        largest_step=2 * share * noticed * crank * own,
        step_force=change / crank,
        ramp_time=ramp,
        step_lean=sudden,
        step_lean_ramped=ramped,
        hysteresis=hysteresis,
        residual_hysteresis=left * (1 + hysteresis),
        wobble=float(_covered(build, hysteresis * step)),
        largest_lost=float(losses.trim_limit(build, lost, gear, 0.0)),
        assumed=", ".join(["what is noticed", "hysteresis", *([loops.in_words(assumed)] if assumed else [])]),
        slope=over,
        wheel_torque=asked,
        trim_over_level=split.trim[2],
        trim_over_steps=split.trim[1],
        trim_rising=rising,
        trim_falling=falling,
        pedal_over_none=none,
        pedal_over_steps=steps,
        pedal_over_level=level,
        foot_over_none=none / crank,
        foot_over_steps=steps / crank,
        foot_over_level=level / crank,
        lean_over_level=lean,
        lean_over_steps=shifted,
    )


def stepped(slope_torque: Values, step: float, cap: float, past: float = 0.0) -> Values:
    """Trim in steps for a slope that rises (``past`` above 0) or falls (below 0) evenly; it changes so far past the middle, in steps."""
    if step <= 0:
        return np.clip(slope_torque, -cap, cap)
    count = np.asarray(slope_torque) / step - 0.5 * past
    return np.clip(step * (np.ceil(count - 0.5) if past >= 0 else np.floor(count + 0.5)), -cap, cap) + 0.0  # no negative zero


def _slope_torque(build: Build, case: Case, slope: Values) -> Values:
    return build.wheel.radius * loads(build, case, slope=slope).slope


def _covered(build: Build, trim: Values) -> Values:
    """Slope that a trim levels."""
    return going.steepest_slope(trim, build.total_mass, build.wheel.radius, 0.0)


def _grid(build: Build, case: Case, slopes: np.ndarray | None) -> np.ndarray:
    """Slopes in order, with the case's, the ends of the cap and both sides of every change of step."""
    wanted = np.linspace(-STEEP, STEEP, 61) if slopes is None else np.asarray(slopes, float)
    step, cap = float(build.assist.trim_step), float(build.assist.trim_cap)
    ends = np.array([cap])
    if step > 0 and cap / step <= MOST_STEPS:
        ends = np.append(np.arange(0.5, cap / step, 1.0) * step, cap)
    ends = _covered(build, ends)
    ends = ends[ends < min(0.5, float(np.max(np.abs(wanted), initial=0.0)))]
    beside = np.concatenate([ends - BESIDE, ends + BESIDE])
    return np.unique(np.concatenate([wanted, beside, -beside, [case.slope]]))


def _felt(build: Build, gear: Gear, pedal_torque: float) -> float:
    """Wheel torque per pedal torque in the direction in which the pedals work: leverage and gain."""
    resisting = pedal_torque < 0
    return float(leverage.gear_leverage(gear.ratio, gear.efficiency, resisting) + assist_gain(build, gear, resisting))


def _inertia(build: Build) -> Values:
    return build.total_mass + build.wheel_inertia / build.wheel.radius**2


def _lean(build: Build, case: Case, slope: Values, acceleration: Values) -> Values:
    return balance.equilibrium(**loops.body(build), **loops.road(build, case, slope=slope), acceleration=acceleration).lean


def _leans(build: Build, case: Case, slope: np.ndarray, split: Split) -> tuple[np.ndarray, np.ndarray]:
    """Lean over slope at a steady speed, and with the nearest step while the feet press as with the slope levelled."""
    over = (split.trim[1] - split.trim[2]) / build.wheel.radius / _inertia(build)
    return _lean(build, case, slope, 0.0 * slope), _lean(build, case, slope, over)
