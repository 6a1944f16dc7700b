"""What does the motor do for a push of this size, where does it stop following, and how large is the torque that nobody pushed?"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field

import numpy as np

from .. import units as u
from ..formulas import strain
from ..formulas.reflex import Path
from ..inputs import Build, Case, Gear, replace
from . import balance
from . import loop as loops
from .results import Result, shown
from .sensing_margins import lean_torque
from .torque_chain import BACK, FORWARD, NAN, Signal, signal

AGREES = 0.02  # of the gain: what the trade's resistors and gauges scatter anyway
PUSHES = 0.01, 400  # the smallest push of the curve in steps of the converter, and its points
RESERVE = 1.3
LATEST = 2.0  # s: dead time up to which the balance is computed


@dataclass(frozen=True)
class Sensing(Result):
    """A sensing chain in one gear: sensitivity, gain, resolution, drift, rails, strength and time, and the command over the push."""

    gear: str = shown("gear")
    location: str = shown("measured at")
    location_share: u.Ratio = shown("torque there over crank torque", "%", 1)
    felt: str = shown("felt of the legs")
    sensitivity: u.VoltPerNewtonMetre = shown("at the converter for torque at the crank", "mV/(N*m)", 3)
    gain: u.Ratio = shown("assist gain that the chain gives", digits=3)
    scale: u.Ratio = shown("input scale that the assist gain needs", digits=4)
    scale_resisting: u.Ratio = shown("input scale, holding back", digits=4)
    agreement: str = shown("gain of chain and of build")
    resolution: u.NewtonMetre = shown("smallest change told, at the crank", "N*m", 3)
    resolution_wheel: u.NewtonMetre = shown("the same in commanded torque", "N*m", 3)
    resolution_by: str = shown("set by")
    noise: u.NewtonMetre = shown("noise of gauges and amplifier, rms at the crank", "N*m", 4)
    rounding: u.NewtonMetre = shown("noise of rounding, rms at the crank", "N*m", 4)
    effective_bits: u.Number = shown("effective bits over the range", digits=1)
    dead_band: u.NewtonMetre = shown("dead band at the crank", "N*m", 2)
    edge: u.NewtonMetre = shown("jump of the command at its edge", "N*m", 2)
    drift: u.NewtonMetre = shown("push that a drifted zero pretends", "N*m", 2)
    phantom: u.NewtonMetre = shown("torque that nobody pushed, at the wheel", "N*m", 2)
    phantom_steps: u.Ratio = shown("in trim steps", digits=2)
    phantom_rest: str = shown("with nobody pushing")
    peak: u.NewtonMetre = shown("rider's hardest push", "N*m")
    peak_back: u.NewtonMetre = shown("rider's hardest push, holding back", "N*m")
    weight_torque: u.NewtonMetre = shown("standing on one level pedal", "N*m")
    range: u.NewtonMetre = shown("chain follows up to", "N*m")
    range_by: str = shown("ended by")
    range_back: u.NewtonMetre = shown("chain follows up to, holding back", "N*m")
    range_back_by: str = shown("ended by, holding back")
    cap_push: u.NewtonMetre = shown("push at which the motor's torque cap ends it", "N*m")
    microstrain: u.Number = shown("strain of a gauge at the hardest push, in millionths", digits=0)
    curvature: u.Ratio = shown("bridge bends from its straight line by", "%", 3)
    overload: u.Ratio = shown("hardest push may grow until the element yields, by", digits=2)
    fatigue: u.Ratio = shown("and for a life without end, by", digits=2)
    corner: u.Hertz = shown("filter corner by the parts", "Hz", 2)
    corner_filed: u.Hertz = shown("filter corner that the build states", "Hz", 2)
    dead_time: u.Second = shown("dead time by the parts", "ms", 2)
    dead_time_filed: u.Second = shown("dead time that the build states", "ms", 2)
    timing: str = shown("times of chain and of build")
    fault_high: u.NewtonMetre = shown("torque commanded by an output at its upper end", "N*m")
    fault_low: u.NewtonMetre = shown("torque commanded by an output at its lower end, holding back", "N*m")
    fault_window: u.Volt = shown("the rails lie outside the controller's input by", "mV", 0)
    fault: str = shown("a broken wire")
    looked: u.NewtonMetre = shown("push looked at", "N*m")
    answered: u.NewtonMetre = shown("motor answers it with", "N*m", 2)
    unanswered: u.NewtonMetre = shown("of what the gain asks, missing", "N*m", 1)
    trim_step: u.NewtonMetre = shown("one trim step", "N*m", 2)
    lean_torque: u.NewtonMetre = shown("wheel torque that levels a tenth of a degree of lean", "N*m", 2)
    ended_by: str = shown("driving, the motor's answer is first ended by")
    ended_back_by: str = shown("holding back, it is first ended by")
    push: u.NewtonMetre = shown("push", "N*m", 3)
    driving: u.NewtonMetre = shown("motor torque, driving", "N*m", 3)
    resisting: u.NewtonMetre = shown("motor torque, holding back", "N*m", 3)
    ideal: u.NewtonMetre = shown("gain times push", "N*m", 3)


def study(build: Build, case: Case, gear: Gear | None = None, share: float = 1 / 3) -> Sensing:
    """The whole chain from crank torque to commanded motor torque, in one gear of a build.

    Args:
        build: with a motor, an assist and a sensing chain.
        case: its slope counts for the torque that levels a lean.
        gear: the engaged one if left out.
        share: the push looked at over the rider's hardest.

    Raises ValueError where the build has no motor or no ``[sensor.chain]``.
    """
    if not share > 0:
        raise ValueError(f"share must be above 0, got {share}")
    found = signal(build, _gear(build, gear))
    gain = found.gain(FORWARD)
    (end, by), (end_back, by_back) = found.saturation(FORWARD), found.saturation(BACK)
    step, looked = build.assist.trim_step, share * found.peak[0]
    push = np.geomspace(PUSHES[0] * found.step, 2.5 * max(end, end_back, *found.peak), PUSHES[1])
    return Sensing(
        gear=found.gear.name,
        location=build.sensor.location,
        location_share=found.share,
        felt=_felt(found),
        sensitivity=found.sensitivity,
        gain=gain * found.seen,
        scale=found.scale(FORWARD),
        scale_resisting=found.scale(BACK),
        agreement=_agreement(found),
        resolution=found.resolution,
        resolution_wheel=found.largest_gain * found.resolution,
        resolution_by=found.resolution_by,
        noise=found.noise,
        rounding=found.rounding,
        effective_bits=found.effective_bits,
        dead_band=found.chain.dead_band or 0.0,
        edge=found.largest_gain * (found.chain.dead_band or 0.0),
        drift=found.drift,
        phantom=found.phantom,
        phantom_steps=found.phantom / step if step > 0 else NAN,
        phantom_rest=_phantom_rest(found),
        peak=found.peak[0],
        peak_back=found.peak[1],
        weight_torque=found.weight_torque,
        range=end,
        range_by=by,
        range_back=end_back,
        range_back_by=by_back,
        cap_push=found.ends(FORWARD)["torque cap"],
        microstrain=1e6 * found.strain * found.peak[0],
        curvature=found.curvature,
        overload=found.overload,
        fatigue=found.fatigue,
        corner=found.corner,
        corner_filed=build.sensor.filter_corner,
        dead_time=found.dead_time,
        dead_time_filed=build.sensor.dead_time,
        timing=_timing(found),
        fault_high=found.fault(FORWARD),
        fault_low=found.fault(BACK),
        fault_window=found.fault_window,
        fault=_fault(found),
        looked=looked,
        answered=float(found.command(looked)),
        unanswered=gain * looked - float(found.command(looked)),
        trim_step=step,
        lean_torque=lean_torque(build, case),
        ended_by=found.first(FORWARD),
        ended_back_by=found.first(BACK),
        push=push,
        driving=found.command(push),
        resisting=-found.command(-push),
        ideal=gain * push,
    )


def _gear(build: Build, gear: Gear | None) -> Gear:
    return build.gears.named(None if gear is None else gear.name)


def _felt(found: Signal) -> str:
    if found.seen == 1:
        return "both legs"
    return f"one leg: gain {found.gain(FORWARD):.2f} in its half of the turn, none in the other"


def _agreement(found: Signal) -> str:
    if np.isnan(found.disagreement):
        return "the chain leaves its input scale open: it is set as needed"
    if abs(found.disagreement - 1) <= AGREES:
        return "agree"
    return f"disagree: the chain gives {found.disagreement:.2f} times the build's"


def _phantom_rest(found: Signal) -> str:
    if np.isnan(found.drift):
        return "unknown without zero_drift and warming"
    if found.drift <= (found.chain.dead_band or 0.0):
        return "the dead band keeps it from the motor; on top of a push it comes through"
    return "it reaches the motor: the dead band is narrower"


def _timing(found: Signal) -> str:
    """What the parts say against what the balance study is told."""
    sensor, said = found.build.sensor, []
    if not np.isnan(found.corner) and abs(found.corner / sensor.filter_corner - 1) > AGREES:
        said.append(f"the filter's parts give {found.corner:.1f} Hz")
    if not np.isnan(found.dead_time) and abs(found.dead_time - sensor.dead_time) > AGREES * max(found.dead_time, sensor.dead_time):
        said.append(f"sampling, average and computing take {1000 * found.dead_time:.1f} ms")
    if said:
        return "disagree: " + ", ".join(said)
    left = [name for name, value in (("filter", found.corner), ("sampling", found.dead_time)) if np.isnan(value)]
    return f"agree as far as stated: nothing on the {' and the '.join(left)}" if left else "agree"


def _fault(found: Signal) -> str:
    if found.fault_window > 0:
        return f"can be told from a push by {1000 * found.fault_window:.0f} mV, if the controller looks for it"
    return "cannot be told from a hard push: a rail lies within the controller's input"


# -- stage by stage -----------------------------------------------------------------------


@dataclass(frozen=True)
class Stages(Result):
    """The chain as a staircase: what each stage makes of a newton metre and of the hardest push, and how much of it that uses."""

    gear: str = shown("gear")
    stage: np.ndarray = shown("stage")
    unit: np.ndarray = shown("unit")
    per_newton_metre: np.ndarray = shown("for 1 N·m more")
    at_rest: np.ndarray = shown("at rest")
    at_peak: np.ndarray = shown("at the hardest push")
    at_peak_back: np.ndarray = shown("at the hardest push back")
    used: u.Ratio = shown("range used", "%", 0)
    used_back: u.Ratio = shown("range used back", "%", 0)


def chain(build: Build, case: Case, gear: Gear | None = None) -> Stages:
    """The stages of a chain; values without regard to the ends, so that one sees by how much they would be passed."""
    found = signal(build, _gear(build, gear))
    part, (forward, back) = found.chain, found.peak
    ends = [found.ends(way) for way in (FORWARD, BACK)]
    bridge, code = 1000 * found.output * part.excitation, 2.0**part.converter_bits / part.converter_range
    rest = part.rest_output * found.divider
    rows = [
        ("torque at the element", "N·m", found.share, 0.0, None),
        ("strain of a gauge", "millionths", 1e6 * found.strain, 0.0, None),
        ("bridge", "mV", bridge, 0.0, None),
        ("amplifier", "V", found.amplified, part.rest_output, "amplifier"),
        ("converter", "V", found.sensitivity, rest, "converter"),
        ("code", "steps", found.sensitivity * code, rest * code, "converter"),
        ("controller input", "V", found.sensitivity, rest, "controller input"),
        ("commanded torque", "N·m", found.gain(FORWARD), 0.0, "torque cap"),
    ]
    stage, unit, each, start, name = zip(*rows, strict=True)
    each, start = np.array(each), np.array(start)
    each_back = np.append(each[:-1], found.gain(BACK))
    return Stages(
        gear=found.gear.name,
        stage=np.array(stage),
        unit=np.array(unit),
        per_newton_metre=each,
        at_rest=start,
        at_peak=start + forward * each,
        at_peak_back=start - back * each_back,
        used=np.array([_used(forward, ends[0], one) for one in name]),
        used_back=np.array([_used(back, ends[1], one) for one in name]),
    )


def _used(most: float, ends: dict[str, float], name: str | None) -> float:
    """The hardest push over the end of a stage; nan for a stage without an end."""
    if name is None:
        return NAN
    return most / ends[name] if ends[name] > 0 else float("inf")


# -- what the chain costs the balance -------------------------------------------------------


@dataclass(frozen=True)
class Cost(Result):
    """Onset gain and dead-time budget with the chain as stated, as its parts make it, and without any delay."""

    gear: str = shown("gear")
    chain: np.ndarray = shown("sensing")
    filter_corner: u.Hertz = shown("filter corner", "Hz")
    dead_time: u.Second = shown("dead time", "ms")
    gain: u.Ratio = shown("assist gain while a leg is felt", digits=3)
    onset_gain: u.Ratio = shown("onset gain, worse direction", digits=3)
    dead_time_budget: u.Second = shown("dead time from which the gain as set is unstable", "ms", 0)


def cost(build: Build, case: Case, gear: Gear | None = None) -> Cost:
    """What filter and dead time take from the balance of the rider in the middle of the stated ranges.

    What the parts do not say is taken as the build states it.  A sensor on one
    crank has twice the assist gain for half a turn, which is long against the
    time in which such a loop begins to oscillate: it counts in full.
    """
    found = signal(build, _gear(build, gear))
    loop = loops.loop(loops.completed(build), case, found.gear)
    sensor, lag = build.sensor, loop.path.motor_lag
    parts = (
        sensor.dead_time if np.isnan(found.dead_time) else found.dead_time,
        sensor.filter_corner if np.isnan(found.corner) else found.corner,
    )
    if parts[0] > LATEST:
        late = f"the chain's parts are {parts[0]:.2f} s late"
        raise ValueError(f"build {build.name!r}: {late}, and the balance study goes up to {LATEST:g} s")
    rows = {"as the build states": (sensor.dead_time, sensor.filter_corner), "by the parts": parts, "at once": (0.0, float("inf"))}
    onset, budget = [], []
    for late, corner in rows.values():
        one = dataclasses.replace(loop, path=Path(late, corner, lag))
        onset.append(min(float(window.onset_gain) for window in balance.windows(one)))
        budget.append(float(balance.budget(one, one.gain[:, None] / found.seen).min()))
    return Cost(
        gear=found.gear.name,
        chain=np.array(list(rows)),
        filter_corner=np.array([corner for _, corner in rows.values()]),
        dead_time=np.array([late for late, _ in rows.values()]),
        gain=np.full(len(rows), float(loop.gain.max()) / found.seen),
        onset_gain=np.array(onset),
        dead_time_budget=np.array(budget),
    )


# -- sizing ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Size(Result):
    """A chain whose range fits the rider's hardest push with a reserve, by one part that was changed."""

    changed: str = shown("changed")
    before: str = shown("from")
    after: str = shown("to")
    rest: u.Volt = shown("rest output that would leave both ways the same reserve", "V", 3)
    reserve: u.Ratio = shown("range over hardest push, the worse way", digits=2)
    resolution: u.NewtonMetre = shown("smallest change told, at the crank", "N*m", 3)
    overload: u.Ratio = shown("overload factor of the element", digits=2)
    fatigue: u.Ratio = shown("fatigue factor of the element", digits=2)
    build: Build | None = field(default=None)


SIZED = {"gain": "amplifier_gain", "bore": "shaft_bore", "diameter": "shaft_diameter", "height": "arm_height"}


def size(build: Build, case: Case, gear: Gear | None = None, change: str = "gain", reserve: float = RESERVE) -> Size:
    """Change one part so that the chain follows up to ``reserve`` times the hardest push in the worse way.

    Args:
        build: with a sensing chain.
        case: not used by the chain itself; asked for as by all studies.
        gear: the engaged one if left out.
        change: "gain" of the amplifier, "bore" of the shaft, its "diameter" with the bore in proportion, or "height" of the arm.
        reserve: range over hardest push that is wanted.

    Raises ValueError where the part is not there, or no such part does it.
    """
    if change not in SIZED:
        raise ValueError(f"change must be one of {', '.join(map(repr, SIZED))}, got {change!r}")
    if not reserve > 0:
        raise ValueError(f"reserve must be above 0, got {reserve}")
    found = signal(build, _gear(build, gear))
    part, name = found.chain, SIZED[change]
    if getattr(part, name) is None and name != "shaft_bore" or (name == "shaft_bore" and part.element != "hollow shaft"):
        raise ValueError(f"change {change!r} needs sensor.chain.{name}, which a chain with the element {part.element!r} does not have")
    if change != "gain" and part.rated_output is not None:
        raise ValueError(f"change {change!r}: rated_output was measured on the element as it is; change 'gain', or leave rated_output out")
    more = _reserve(found) / reserve  # what the sensitivity is to grow by
    values = _sized(found, change, more)
    wrong = [key for key, value in values.items() if not np.isfinite(value)]
    if wrong:
        raise ValueError(f"no bore in a shaft of {1000 * part.shaft_diameter:.1f} mm does it: solid it is strained more; take less gain")
    made = replace(build, {f"sensor.chain.{key}": value for key, value in values.items()})
    after = signal(made, made.gears.named(found.gear.name))
    forward, back = found.peak
    rails = [end / found.divider for end in (part.input_low, min(part.input_high, part.converter_range))]
    low, high = max(part.lowest_output, rails[0]), min(part.highest_output, rails[1])
    return Size(
        changed=name,
        before=_text(getattr(part, name) or 0.0, name),
        after=_text(values[name], name),
        rest=low + (high - low) * back / (forward + back),
        reserve=_reserve(after),
        resolution=after.resolution,
        overload=after.overload,
        fatigue=after.fatigue,
        build=made,
    )


def _sized(found: Signal, change: str, more: float) -> dict[str, float]:
    part = found.chain
    if change == "gain":
        return {"amplifier_gain": more * part.amplifier_gain}
    if change == "height":
        return {"arm_height": part.arm_height / more**0.5}  # the strain goes with one over the square of the height
    modulus, wanted = strain.shear_modulus(part.elastic_modulus, part.poisson_ratio), more * found.strain
    if change == "bore":
        return {"shaft_bore": float(strain.bore_for_strain(found.share, part.shaft_diameter, wanted, modulus))}
    share = (part.shaft_bore or 0.0) / part.shaft_diameter
    diameter = float(strain.diameter_for_strain(found.share, share, wanted, modulus))
    return {"shaft_diameter": diameter} | ({"shaft_bore": share * diameter} if share else {})


def _text(value: float, name: str) -> str:
    return f"{value:.1f}" if name == "amplifier_gain" else f"{1000 * value:.3f} mm"


def _reserve(found: Signal) -> float:
    """Range over hardest push, in the worse way."""
    return min(found.saturation(way)[0] / most for way, most in zip((FORWARD, BACK), found.peak, strict=True))
