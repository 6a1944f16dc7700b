"""How far does the pulse of the pedals rock the body, with assist and trim and without, and at which speed most?"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from .. import units as u
from ..formulas import capture
from ..inputs import Build, Case, Gear
from . import loop as loops
from .balance import inside, windows
from .catch import stand
from .loop import Loop
from .results import Result, shown

SLOWEST, POINTS = 0.3, 121  # m/s: below it the pulse is a sway that the rider answers turn by turn


@dataclass(frozen=True)
class Ripple(Result):
    """Lean from the foremost to the rearmost, over speed and in the case; nan where that rider's loop is not stable."""

    gear: str = shown("gear")
    pedal_torque: u.NewtonMetre = shown("steady pedal torque", "N*m")
    lean: u.Radian = shown("lean by the pulse, as set", "deg", 2)
    lean_untrimmed: u.Radian = shown("without trim", "deg", 2)
    lean_alone: u.Radian = shown("motor off, rider adapted", "deg", 2)
    lean_ungeared: u.Radian = shown("ungeared wheel", "deg", 2)
    resonance_speed: u.MetrePerSecond = shown("speed at which a pulse rocks most", "km/h")
    resonance_frequency: u.Hertz = shown("pulses there", "Hz", 2)
    stable: str = shown("habitual rider in the case")
    assumed: str = shown("assumed, not measured")
    speed: u.MetrePerSecond = shown("speed", "km/h")
    lean_over_speed: u.Radian = shown("lean as set", "deg", 2)
    untrimmed_over_speed: u.Radian = shown("lean without trim", "deg", 2)
    alone_over_speed: u.Radian = shown("motor off, adapted", "deg", 2)
    ungeared_over_speed: u.Radian = shown("ungeared", "deg", 2)


def study(build: Build, case: Case, gear: Gear | None = None, fastest: float = 10.0) -> Ripple:
    """Lean that steady but pulsing pedals keep going, over speed.

    With the motor off the rider is one who has adapted, for the habitual rider
    may topple.  The rider does not compensate for the pulse.
    """
    if not fastest > SLOWEST:
        raise ValueError(f"fastest must be a speed above {SLOWEST} m/s, got {fastest}")
    assumed = loops.assumed(build)
    build = loops.completed(build)
    gear = build.gears.named(None if gear is None else gear.name)
    speed = np.linspace(SLOWEST, fastest, POINTS)
    here = max(case.speed, SLOWEST)
    lean, pulls = _machine(build, case, gear, "assisted", np.append(speed, here))
    others = {
        name: _machine(build, case, gear, machine, np.append(speed, here), trim)[0]
        for name, machine, trim in (("untrimmed", "assisted", 0.0), ("alone", "alone", None), ("ungeared", "ungeared", None))
    }
    resonance = _peak(speed, pulls[:-1])
    return Ripple(
        gear=gear.name,
        pedal_torque=float(stand(build, case, gear, speed=here).split.pedal_torque),
        lean=float(lean[-1]),
        lean_untrimmed=float(others["untrimmed"][-1]),
        lean_alone=float(others["alone"][-1]),
        lean_ungeared=float(others["ungeared"][-1]),
        resonance_speed=resonance,
        resonance_frequency=resonance / (build.wheel.radius * gear.ratio * np.pi),
        stable="balances" if np.isfinite(lean[-1]) else "does not balance with the gains as set",
        assumed=loops.in_words(assumed),
        speed=speed,
        lean_over_speed=lean[:-1],
        untrimmed_over_speed=others["untrimmed"][:-1],
        alone_over_speed=others["alone"][:-1],
        ungeared_over_speed=others["ungeared"][:-1],
    )


def _machine(build: Build, case: Case, gear: Gear, machine: str, speed: np.ndarray, trim: float | None = None):
    """Lean by the pulse of the steady torque, and by a steady torque of 1, over speeds."""
    found = stand(build, case, gear, machine, speed, trim=trim)
    resisting = np.asarray(found.split.pedal_torque) < 0
    loop = _loop(build, case, gear, machine)
    hold = np.where(resisting, loop.resisting_leverage, loop.driving_leverage)
    gain = np.where(resisting, loop.resisting_gain, loop.driving_gain)
    stable = [bool(inside(window, one)) for window, one in zip(windows(loop), (loop.driving_gain, loop.resisting_gain), strict=True)]
    each = capture.ripple_lean(
        found.plant, loop.reflex, loop.path, hold, loop.gear_ratio, gain, 1.0, found.split.cadence, build.rider.torque_floor
    )
    each = np.where(np.where(resisting, stable[1], stable[0]), each, np.nan)
    return each * np.abs(found.split.pedal_torque), each


def _loop(build: Build, case: Case, gear: Gear, machine: str) -> Loop:
    """The loop of a machine in the case, its rider adapted where the motor is off."""
    if machine == "ungeared":
        return loops.ungeared(build, case)
    loop = loops.loop(build, case, gear)
    if machine == "assisted":
        return loop
    return dataclasses.replace(loop, reflex=loops.adapted(build, gear, assisted=False), driving_gain=0.0, resisting_gain=0.0)


def _peak(speed: np.ndarray, values: np.ndarray) -> float:
    """Speed of the greatest value between the ends; nan where there is none."""
    if not np.isfinite(values).any():
        return float("nan")
    place = int(np.nanargmax(values))
    if place in (0, len(speed) - 1):
        return float("nan")
    before, top, after = values[place - 1 : place + 2]
    return float(speed[place] + 0.5 * (before - after) / (before - 2 * top + after) * (speed[1] - speed[0]))
