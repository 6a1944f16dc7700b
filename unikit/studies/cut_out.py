"""What happens when motor, sensor or battery is lost, what may be lost at all, and how the trim cap and the gain follow from that?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import capture, cut_out, dq, duty, leverage, motor
from ..inputs import Build, Case, Gear
from . import loop as loops
from .capture import DRAWS, FACTOR, SEED, habitual
from .catch import Stand, Way, stand
from .chance import riders
from .drive import ROOM, Drive, drive
from .loads import loads, trim_torque
from .results import Result, shown
from .split import assist_gain

LEAN = np.radians(30.0)  # a lean from which the straight-line machine tells nothing more, and no one steps off upright
OFFSET = 3.0  # N*m at the crank: an assumed fault of the torque sensor
TIME = np.linspace(0.0, 6.0, 1201)
SLOPES = np.linspace(-0.10, 0.12, 45)
FORWARD, BACK = "forward", "back"


@dataclass(frozen=True)
class CutOut(Result):
    """The motor lost at once in a case: step, limit, time, and what trim and gain the legs could replace."""

    gear: str = shown("gear")
    motor_torque: u.NewtonMetre = shown("motor torque that is lost, its drag counted", "N*m")
    motor_drag: u.NewtonMetre = shown("of it against its own drag", "N*m", 2)
    pedal_step: u.NewtonMetre = shown("pedal step asked at once", "N*m")
    pedals_left: u.NewtonMetre = shown("pedal torque left, worst crank angle", "N*m")
    way: str = shown("the body falls")
    limit: u.NewtonMetre = shown("motor torque net of drag whose loss can be caught", "N*m")
    ramp_time: u.Second = shown("ramp of an intended cut-back", "s")
    ramped_limit: u.NewtonMetre = shown("motor torque net of drag that can be caught over that ramp", "N*m")
    margin: u.Ratio = shown("caught over lost and factor", digits=2)
    ramped_margin: u.Ratio = shown("the same over that ramp", digits=2)
    recoverable: str = shown("recoverable, closed form")
    time_unanswered: u.Second = shown("30° of lean after, nobody answering", "s", 2)
    time_answered: u.Second = shown("30° of lean after, legs at their limit", "s", 2)
    trim: u.NewtonMetre = shown("trim torque in the case", "N*m")
    largest_trim: u.NewtonMetre = shown("largest trim that may be lost, gain as set", "N*m")
    trim_slope: u.Slope = shown("slope that such a trim cancels", "%", 2)
    largest_gain: u.Ratio = shown("largest gain that may be lost, trim as in the case", digits=3)
    largest_gain_alone: u.Ratio = shown("largest gain that may be lost without trim", digits=3)
    short_torque: u.NewtonMetre = shown("shorted winding brakes with", "N*m")
    short_peak: u.NewtonMetre = shown("at most", "N*m")
    short_peak_speed: u.MetrePerSecond = shown("at", "km/h")
    offset_torque: u.NewtonMetre = shown("sensor off by 3 N·m: wheel torque", "N*m")
    largest_offset: u.NewtonMetre = shown("sensor offset that can be caught", "N*m")
    assumed: str = shown("assumed, not measured")
    slope_here: u.Slope = shown("slope of the case", "%")
    slope: u.Slope = shown("slope", "%")
    trim_over_slope: u.NewtonMetre = shown("largest trim that may be lost", "N*m")
    ramped_trim_over_slope: u.NewtonMetre = shown("over the ramp", "N*m")
    slope_torque: u.NewtonMetre = shown("torque of the slope", "N*m")
    set_trim_over_slope: u.NewtonMetre = shown("trim as set", "N*m")
    lost_over_slope: u.NewtonMetre = shown("motor torque lost", "N*m")
    limit_over_slope: u.NewtonMetre = shown("caught with the factor", "N*m")


def study(build: Build, case: Case, gear: Gear | None = None, ramp_time: float | None = None, offset: float = OFFSET) -> CutOut:
    """The loss of the motor in a case, and what may be lost over slope at its speed.

    ``ramp_time`` of an intended cut-back is that of the assist when left out.
    Limits are closed form at the worst crank angle; margin, trim and gain have
    the factor of the closed form in them.  Raises ValueError for a build
    without a motor.
    """
    assumed = loops.assumed(build)
    build, gear, state = ready(build, case, gear)
    ramp = _ramp(build, ramp_time)
    here = stand(build, case, gear)
    lost, way, direction = taken(here, -here.split.motor_torque)
    drag = here.split.motor_drag if direction == FORWARD else 0.0
    share, ramped = replaced(here, 0.0), replaced(here, ramp)
    margin, ramped_margin = (float(ratio(part * way.legs, lost)) for part in (share, ramped))
    over = stand(build, case, gear, slope=SLOPES)
    over_lost = np.where(over.split.motor_torque >= 0, over.forward.legs, over.backward.legs)
    short, peak, peak_rotation = short_circuit(state, case.speed / build.wheel.radius)
    gains = [assist_gain(build, gear, resisting) for resisting in (False, True)]
    step = cut_out_pedals(here, lost, direction)
    weight = build.wheel.radius * build.total_mass * 9.81
    largest = trim_limit(build, here, gear, 0.0)
    back = replaced(here, 0.0) * here.backward.legs / FACTOR
    return CutOut(
        gear=gear.name,
        motor_torque=float(lost),
        motor_drag=here.split.motor_drag,
        pedal_step=float(step),
        pedals_left=float(way.pedals),
        way=direction,
        limit=float(capture.cut_out_limit(here.rate, here.reflex, way.hold, way.pedals, drag)),
        ramp_time=ramp,
        ramped_limit=float(capture.cut_out_limit(here.rate, here.reflex, way.hold, way.pedals, drag, ramp)),
        margin=margin,
        ramped_margin=ramped_margin,
        recoverable=in_words(margin, ramped_margin),
        time_unanswered=time_to_lean(here, lost, 0.0),
        time_answered=time_to_lean(here, lost, float(way.legs)),
        trim=float(np.abs(here.split.trim)),
        largest_trim=float(largest),
        trim_slope=float(largest / weight),
        largest_gain=float(gain_limit(build, here, gear, 0.0, here.split.trim)),
        largest_gain_alone=float(gain_limit(build, here, gear, 0.0, 0.0)),
        short_torque=float(short),
        short_peak=float(peak),
        short_peak_speed=float(peak_rotation * build.wheel.radius),
        offset_torque=float(max(gains) * offset),
        largest_offset=float(back / max(gains)) if max(gains) > 0 else np.inf,
        assumed=loops.in_words(assumed),
        slope_here=case.slope,
        slope=SLOPES,
        trim_over_slope=trim_limit(build, over, gear, 0.0),
        ramped_trim_over_slope=trim_limit(build, over, gear, ramp),
        slope_torque=np.abs(build.wheel.radius * loads(build, case, slope=SLOPES).slope),
        set_trim_over_slope=np.abs(trim_torque(build, case, SLOPES)) + 0 * SLOPES,
        lost_over_slope=np.abs(over.split.motor_torque),
        limit_over_slope=replaced(over, 0.0) * over_lost / FACTOR,
    )


def ready(build: Build, case: Case, gear: Gear | None) -> tuple[Build, Gear, Drive]:
    """The completed build, its gear of that name and its drive."""
    state = drive(build, case.state_of_charge)
    if state is None:
        raise ValueError(f"build {build.name!r} has no motor that could be lost: the cut-out study needs motor, controller and packs")
    build = loops.completed(build)
    return build, build.gears.named(None if gear is None else gear.name), state


def _ramp(build: Build, ramp_time: float | None) -> float:
    if ramp_time is None:
        return build.assist.ramp_time if build.assist is not None else 0.0
    if not ramp_time >= 0:
        raise ValueError(f"ramp_time must be 0 s or above, got {ramp_time}")
    return ramp_time


def taken(here: Stand, change: u.Values) -> tuple[u.Values, Way, str]:
    """Size of a sudden change of wheel torque, the way in which the legs must answer it, and how the body falls."""
    forward = change <= 0  # drive is lost or a brake comes on: the wheel stays behind
    return np.abs(change), here.forward if forward else here.backward, FORWARD if forward else BACK


def replaced(here: Stand, ramp_time: u.Values) -> u.Ratio:
    """Share of what the legs have left that a loss may have, by delay, muscle lag and ramp."""
    return capture.cut_out_limit(here.rate, here.reflex, 1.0, 1.0, ramp_time=ramp_time)


def ratio(caught: u.Values, lost: u.Values) -> u.Ratio:
    """Caught over lost with the factor of the closed form; endless where nothing is lost."""
    lost = np.asarray(lost)
    return np.where(lost > 1e-9, caught / (FACTOR * np.where(lost > 1e-9, lost, 1.0)), np.inf)


def cut_out_pedals(here: Stand, lost: u.Values, direction: str) -> u.NewtonMetre:
    """Pedal step asked at once, as a size: from the steady torque to what carries the wheel without the motor."""
    sign = 1.0 if direction == FORWARD else -1.0
    after = here.split.leg_wheel_torque + sign * lost
    hold = np.where(np.asarray(after) < 0, here.backward.leverage, here.forward.leverage)
    return sign * (after / hold - here.split.pedal_torque)


def in_words(sudden: float, ramped: float) -> str:
    """Whether a loss can be caught, and under which assumption."""
    if sudden >= 1:
        return "at once, by legs that go to their limit after the delay"
    if FACTOR * sudden >= 1:
        return "at once only without the factor"
    if ramped >= 1:
        return "not at once; over the ramp, answered from its beginning"
    if FACTOR * ramped >= 1:
        return "not at once; over the ramp only without the factor"
    return "neither at once nor over the ramp"


def time_to_lean(here: Stand, lost: float, answer: float, lean: float = LEAN, ramp_time: float = 0.0) -> float:
    """Time from a loss to a lean; inf if the answer keeps it from being reached."""
    course = cut_out.lean_after_loss(TIME, here.rate, here.stiffness, here.reflex, lost, answer, ramp_time)
    past = np.flatnonzero(course >= lean)
    if not past.size or past[0] == 0:
        return np.inf
    after = past[0]
    return float(np.interp(lean, course[after - 1 : after + 1], TIME[after - 1 : after + 1]))


def sides(build: Build, here: Stand, gear: Gear) -> tuple[u.Values, u.Values, u.Values, u.Values]:
    """Size of the torque that legs and motor give together; leverage and strength of the legs and gain in the direction of the pedals."""
    steady = np.asarray(here.split.wheel_torque + here.split.motor_drag)
    resisting = steady < 0
    hold = leverage.gear_leverage(gear.ratio, gear.efficiency, resisting)
    gain = np.where(resisting, assist_gain(build, gear, resisting=True), assist_gain(build, gear))
    return np.abs(steady), hold, np.where(resisting, here.resisting_strength, here.driving_strength), gain


def trim_limit(build: Build, here: Stand, gear: Gear, ramp_time: u.Values) -> u.NewtonMetre:
    """Largest trim, at most the one that carries it all, whose loss can be caught with the factor, the gain as set."""
    steady, hold, strength, gain = sides(build, here, gear)
    return cut_out.largest_trim(steady, hold, gain, strength, replaced(here, ramp_time), FACTOR)


def gain_limit(build: Build, here: Stand, gear: Gear, ramp_time: u.Values, trim: u.Values) -> u.Ratio:
    """Largest gain whose loss can be caught with the factor, together with a trim."""
    steady, hold, strength, _ = sides(build, here, gear)
    return cut_out.largest_gain(steady, hold, np.abs(trim), strength, replaced(here, ramp_time), FACTOR)


def short_circuit(state: Drive, rotation: u.Values) -> tuple[u.NewtonMetre, u.NewtonMetre, u.RadianPerSecond]:
    """Braking torque of three joined leads at a rotation of the wheel, its peak over rotation, and where that is.

    The build knows one inductance, so both axes have it.
    """
    pairs, henry = state.pole_pairs, state.quadrature_inductance
    flux = state.torque_constant_peak / (1.5 * pairs)
    rotation_of_peak = state.phase_resistance / (pairs * henry)

    def braking(at):
        currents = dq.short_circuit_current(pairs * at, state.phase_resistance, henry, henry, flux)
        return -dq.dq_torque(*currents, pairs, henry, henry, flux)

    return braking(rotation), braking(rotation_of_peak), rotation_of_peak


@dataclass(frozen=True)
class Failures(Result):
    """One row for each thing that can fail: the step at the wheel, what the legs must do and whether they can."""

    failure: np.ndarray = shown("what fails")
    way: np.ndarray = shown("the body falls")
    wheel_step: u.NewtonMetre = shown("step at the wheel", "N*m")
    pedal_step: u.NewtonMetre = shown("pedal step asked", "N*m")
    over: u.Second = shown("over", "s")
    margin: u.Ratio = shown("caught over step and factor", digits=2)
    time_unanswered: u.Second = shown("30° of lean after, unanswered", "s", 2)


def failures(build: Build, case: Case, gear: Gear | None = None, ramp_time: float | None = None, offset: float = OFFSET) -> Failures:
    """What a failing part does to the wheel in a case, one after the other, by the legs' closed-form limit."""
    build, gear, state = ready(build, case, gear)
    ramp, here = _ramp(build, ramp_time), stand(build, case, gear)
    split, gains = here.split, [assist_gain(build, gear, resisting) for resisting in (False, True)]
    gain = gains[split.pedal_torque < 0]
    assist = split.motor_torque - split.trim
    braking = short_circuit(state, case.speed / build.wheel.radius)[0]
    rows = [
        ("motor, controller or packs lost", -split.motor_torque, 0.0),
        ("sensor lost, the trim stays", -assist, 0.0),
        ("sensor stuck while the feet let go", assist, 0.0),
        (f"sensor off by {offset:g} N·m forward", gain * offset, 0.0),
        (f"sensor off by {offset:g} N·m backward", -gain * offset, 0.0),
        ("winding shorted", -split.motor_torque - braking, 0.0),
        ("cut-back over the ramp (full packs, low voltage)", -split.motor_torque, ramp),
        ("derating at the winding's own pace", -split.motor_torque, derating_time(build, split.copper_loss)),
    ]
    found = []
    for words, change, over in rows:
        step, way, direction = taken(here, change)
        caught = replaced(here, over if np.isfinite(over) else 3600.0) * way.legs
        pedals = cut_out_pedals(here, step, direction)
        time = time_to_lean(here, step, 0.0, ramp_time=min(over, TIME[-1]))
        found.append((words, direction, step, pedals, over, ratio(caught, step), time))
    columns = list(zip(*found, strict=True))
    return Failures(*(np.array(one, object) for one in columns[:2]), *(np.array(one, float) for one in columns[2:]))


def derating_time(build: Build, copper_loss: float) -> u.Second:
    """Least time in which derating takes the torque away: the winding keeps all of its loss, as large as a hot winding makes it.

    The bound is wanted here, not the course of the heat study: it holds
    whatever the other bodies are like when derating begins, because all they
    can do is to take heat from the winding and so to stretch the time, and so
    does the falling torque.  ``copper_loss`` is that of a winding at 20 °C.
    """
    controller, machine = build.controller, build.motor
    start, end = controller.derating_start, controller.derating_end
    hot = (copper_loss * motor.resistance_at(1.0, kelvin - 273.15, ROOM - 273.15) for kelvin in (start, end))
    return float(duty.adiabatic_time(end - start, machine.winding_capacity, *hot))


@dataclass(frozen=True)
class Settings(Result):
    """One row for each slope and speed: the largest trim and gain whose loss can be caught with the factor."""

    slope: u.Slope = shown("slope", "%")
    speed: u.MetrePerSecond = shown("speed", "km/h")
    slope_torque: u.NewtonMetre = shown("torque of the slope", "N*m")
    largest_trim: u.NewtonMetre = shown("largest trim, gain as set", "N*m")
    largest_gain: u.Ratio = shown("largest gain, trim as in the case", digits=2)
    largest_gain_alone: u.Ratio = shown("largest gain without trim", digits=2)


def settings(
    build: Build,
    case: Case,
    gear: Gear | None = None,
    slopes: tuple[float, ...] = (-0.06, -0.03, 0.0, 0.03, 0.06, 0.09),
    speeds: tuple[float, ...] = (2.0, 4.0, 6.0),
    ramp_time: float = 0.0,
) -> Settings:
    """What a builder may set as trim cap and gain if all of it may be lost over ``ramp_time`` on these slopes at these speeds."""
    build, gear, _ = ready(build, case, gear)
    slope, speed = (part.ravel() for part in np.meshgrid(slopes, speeds, indexing="ij"))
    here = stand(build, case, gear, speed=speed, slope=slope)
    return Settings(
        slope=slope,
        speed=speed,
        slope_torque=np.abs(build.wheel.radius * loads(build, case, speed, slope).slope),
        largest_trim=trim_limit(build, here, gear, ramp_time),
        largest_gain=gain_limit(build, here, gear, ramp_time, here.split.trim),
        largest_gain_alone=gain_limit(build, here, gear, ramp_time, 0.0),
    )


@dataclass(frozen=True)
class Doubt(Result):
    """Cut-out limit and largest trim over the stated and assumed uncertainty of build and rider."""

    gear: str = shown("gear")
    draws: u.Number = shown("riders drawn", digits=0)
    limit_low: u.NewtonMetre = shown("motor torque whose loss can be caught, lowest twentieth", "N*m")
    limit_middle: u.NewtonMetre = shown("motor torque whose loss can be caught, median", "N*m")
    limit_high: u.NewtonMetre = shown("motor torque whose loss can be caught, highest twentieth", "N*m")
    trim_low: u.NewtonMetre = shown("largest trim, lowest twentieth", "N*m")
    trim_middle: u.NewtonMetre = shown("largest trim, median", "N*m")
    trim_high: u.NewtonMetre = shown("largest trim, highest twentieth", "N*m")
    trim_holds: u.Ratio = shown("of these riders catch the loss of the case's trim at this gain", "%", 0)
    margin_middle: u.Ratio = shown("caught over lost and factor, median", digits=2)
    holds: u.Ratio = shown("of these riders catch the loss in the case with the factor", "%", 0)
    afterwards: str = shown("habitual rider with the motor off")
    assumed: str = shown("assumed, not measured")


def doubt(build: Build, case: Case, gear: Gear | None = None, count: int = DRAWS, seed: int = SEED) -> Doubt:
    """The same over ``count`` seeded draws of all uncertain numbers."""
    ready(build, case, gear)
    drawn = riders(build, count, seed)
    gear = drawn.gears.named(None if gear is None else gear.name)
    here = stand(drawn, case, gear)
    forward = np.asarray(here.split.motor_torque) >= 0
    share, legs = replaced(here, 0.0), np.where(forward, here.forward.legs, here.backward.legs)
    drag = np.where(forward, here.split.motor_drag, 0.0)
    limits = np.broadcast_to(np.maximum(share * legs - drag, 0.0), (count,))
    trims = np.broadcast_to(trim_limit(drawn, here, gear, 0.0), (count,))
    caught, _ = margins(build, case, gear, count, seed)
    limit_low, limit_middle, limit_high = np.quantile(limits, (0.05, 0.5, 0.95)).tolist()
    trim_low, trim_middle, trim_high = np.quantile(trims, (0.05, 0.5, 0.95)).tolist()
    return Doubt(
        gear=gear.name,
        draws=count,
        limit_low=limit_low,
        limit_middle=limit_middle,
        limit_high=limit_high,
        trim_low=trim_low,
        trim_middle=trim_middle,
        trim_high=trim_high,
        trim_holds=float((trims >= np.abs(here.split.trim)).mean()),
        margin_middle=float(np.quantile(caught, 0.5, method="lower")),
        holds=float((caught >= 1).mean()),
        afterwards=habitual(build, case, gear)[1],
        assumed=loops.in_words(loops.assumed(build)),
    )


def margins(build: Build, case: Case, gear: Gear, count: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """For draws of all uncertain numbers: torque whose loss can be caught over what is lost, and trim that may be lost over the case's.

    Both with the factor of the closed form; endless where there is nothing to lose.
    """
    ready(build, case, gear)
    drawn = riders(build, count, seed)
    here = stand(drawn, case, drawn.gears.named(gear.name))
    motor, trim = np.asarray(here.split.motor_torque), np.abs(here.split.trim)
    legs = np.where(motor >= 0, here.forward.legs, here.backward.legs)
    largest = trim_limit(drawn, here, drawn.gears.named(gear.name), 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        kept = np.where(trim > 0, largest / np.where(trim > 0, trim, 1.0), np.inf)
        caught = np.where(np.abs(motor) < 1e-9, np.inf, ratio(replaced(here, 0.0) * legs, np.abs(motor)))
    return np.broadcast_to(caught, (count,)), np.broadcast_to(kept, (count,))


def cut_out_margin(build: Build, case: Case, gear: Gear | None = None) -> tuple[float, str]:
    """Torque whose loss can be caught over what is lost and the factor, and words for it."""
    build, gear, _ = ready(build, case, gear)
    here = stand(build, case, gear)
    lost, way, _ = taken(here, -here.split.motor_torque)
    caught = float(replaced(here, 0.0) * way.legs)
    if lost < 1e-9:
        return np.inf, "no motor torque to lose"
    return float(ratio(caught, lost)), f"{lost:.0f} N·m lost, {caught:.0f} N·m caught"


def trim_margin(build: Build, case: Case, gear: Gear | None = None) -> tuple[float, str]:
    """Largest trim whose loss can be caught with the factor, over the trim of the case, and words for it."""
    build, gear, _ = ready(build, case, gear)
    here = stand(build, case, gear)
    trim, largest = float(np.abs(here.split.trim)), float(trim_limit(build, here, gear, 0.0))
    if trim == 0:
        return np.inf, f"no trim; {largest:.1f} N·m caught"
    return largest / trim, f"trim {trim:.1f} N·m, {largest:.1f} N·m caught"
