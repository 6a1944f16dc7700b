"""One climb from cold, the same climb again and again, the climb without end: how warm, how often, and how far one body is off.

The duty types of IEC 60034-1 for a wheel: S1 is the climb without end, S2 one
climb from the temperature of the air, S3 the climb again and again with a rest
or with the way down between.  All three on the full network of bodies, the
repeated ones exactly, without steps in time; beside them what the formulas for
one body would say.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .. import units as u
from ..formulas import duty, heat
from ..formulas.cycles import network_cycles, network_periodic
from ..inputs import Build, Case, Gear
from . import pulse
from .drive import ROOM
from .hold import NEVER, Ground, allowed, ground, resting
from .motor import point
from .network import ALPHA
from .results import Result, shown

BETWEEN = ("rest", "descent")
MOST = 400  # climbs that are counted; what has not ended it by then hardly will
SHOWN = 12
KELVIN = 1e-3  # how closely the warmest moment is found


@dataclass(frozen=True)
class Duties(Result):
    """The case's climb as each duty type, on the network and as one body."""

    gear: str = shown("gear")
    climb: u.Second = shown("time of a climb", "min")
    pause: u.Second = shown("time between climbs", "min")
    between: str = shown("between climbs")
    winding_limit: u.Kelvin = shown("derating or limit of the winding", "°C", 0)
    magnet_limit: u.Kelvin = shown("limit of the magnets", "°C", 0)
    air: u.Kelvin = shown("air", "°C", 0)
    winding_endless: u.Kelvin = shown("S1: winding without end", "°C")
    winding_once: u.Kelvin = shown("S2: winding after one climb from cold", "°C")
    winding_once_alone: u.Kelvin = shown("S2 as one body", "°C")
    winding_often: u.Kelvin = shown("S3: winding after a climb, at last", "°C")
    winding_often_alone: u.Kelvin = shown("S3 as one body", "°C")
    magnets_often: u.Kelvin = shown("S3: magnets at their warmest, at last", "°C")
    climbs: float = shown("S3: climbs before the first limit", "", 0)
    ended_by: str = shown("S3: then ended by")
    ended_after: u.Second = shown("S3: the limit comes after", "min", 0)
    time_constant: u.Second = shown("time constant as one body", "min", 0)
    torque_endless: u.NewtonMetre = shown("S1: motor torque", "N*m")
    torque_once: u.NewtonMetre = shown("S2: motor torque for this time from cold", "N*m")
    torque_once_alone: u.NewtonMetre = shown("S2: the same as one body", "N*m")
    number: np.ndarray = shown("climb", "", 0)
    winding: u.Kelvin = shown("winding at the end of the climb", "°C")
    magnets: u.Kelvin = shown("magnets at the end of the climb", "°C")
    housing: u.Kelvin = shown("housing at the end of the climb", "°C")
    descent: Duties | None = None  # the same with the way down between, where both were asked for


@dataclass(frozen=True)
class _Cycle:
    """A climb and what comes between as parts of a cycle."""

    ground: Ground  # of the climb
    conductance: np.ndarray
    losses: np.ndarray
    loss_slope: np.ndarray
    time: np.ndarray

    def settled(self) -> np.ndarray:
        """Temperatures at the beginning of climb and pause, at last; inf where they grow without end."""
        now = self.ground.network
        try:
            return network_periodic(now.capacity, self.conductance, self.losses, now.ambient, self.time, self.loss_slope, ROOM)
        except ValueError:
            return np.full((2, len(now.capacity)), np.inf)

    def means(self) -> tuple[float, float]:
        """Mean temperature of the magnets over the climb and over the pause of the settled cycle, by Simpson's rule."""
        begin, body = self.settled(), self.ground.magnets
        if not np.all(np.isfinite(begin)):
            return np.inf, np.inf
        half = [heat.network_response(**self.part(part), start=begin[part], time=self.time[part] / 2)[body] for part in (0, 1)]
        return tuple(float(begin[part, body] + 4 * half[part] + begin[1 - part, body]) / 6 for part in (0, 1))

    def course(self, cycles: int) -> np.ndarray:
        """Temperatures at the beginning of climb and pause of each cycle from the case's start."""
        now = self.ground.network
        return network_cycles(now.capacity, self.conductance, self.losses, now.ambient, now.start, self.time, cycles, self.loss_slope, ROOM)

    def part(self, number: int) -> dict[str, np.ndarray]:
        """Arguments of the network's formulas in one part."""
        now = self.ground.network
        return {
            "capacity": now.capacity,
            "conductance": self.conductance[number],
            "losses": self.losses[number],
            "loss_slope": self.loss_slope[number],
            "ambient": now.ambient,
            "loss_reference": ROOM,
        }


def _cycle(build: Build, case: Case, gear: Gear, between: str, pause: float, magnets: tuple[float, float]) -> _Cycle:
    climb, other = ground(build, case, case.speed), _other(case, between)
    down = ground(build, other, other.speed)
    copper = np.array([
        point(build, case, gear, ROOM, magnets[0]).copper_loss,
        point(build, other, gear, ROOM, magnets[1]).copper_loss if between == "descent" else 0.0,  # nobody holds it up at rest
    ])  # fmt: skip
    here = np.eye(len(climb.network.capacity))[climb.winding] * copper[:, None]
    return _Cycle(
        climb,
        np.stack([climb.network.conductance, down.network.conductance]),
        np.stack([climb.network.losses, down.network.losses]) + here,
        ALPHA * here,
        np.array([case.duration, pause]),
    )


def _other(case: Case, between: str) -> Case:
    """The case between two climbs: standing, or the same hill downwards at the same speed."""
    if between not in BETWEEN:
        raise ValueError(f"between must be one of {', '.join(map(repr, BETWEEN))}, got {between!r}")
    return replace(case, speed=0.0, slope=0.0) if between == "rest" else replace(case, slope=-case.slope)


def study(build: Build, case: Case, gear: Gear | None = None, between: str = "rest", pause: float | None = None) -> Duties:
    """The case's climb once, without end, and again and again.

    Magnets weaken with warmth: one climb from cold is taken with theirs over
    it, repeated climbs all with those of the settled cycle.

    Args:
        build: a build with a motor.
        case: the climb; its duration is that of one climb.
        gear: the gear; the engaged one if left out.
        between: ``rest``, standing in the air without current, or ``descent``, the same hill downwards at the same speed.
        pause: seconds between two climbs; as long as the climb if left out.
    """
    gear = gear or build.gears.named(build.gears.engaged)
    pause = case.duration if pause is None else pause
    if case.duration <= 0 or pause < 0:
        raise ValueError("a climb must last more than 0 s and a pause not less than 0 s")
    cycle = _cycle(build, case, gear, between, pause, settled_magnets(build, case, gear, between, pause))
    begin = cycle.settled()
    base = cycle.ground
    course = cycle.course(SHOWN)
    count, ended_by, after = _until(cycle)
    cold = resting(base)
    once, _ = _held(build, case, gear, cold, case.duration)
    endless, copper = _held(build, case, gear, cold, np.inf)
    alone = _alone(case, cold, copper, endless, pause)
    torques = _torques(build, case, cold)
    winding, housing = base.winding, base.network.place[3]
    return Duties(
        gear=gear.name,
        climb=case.duration,
        pause=pause,
        between=between,
        winding_limit=base.limits[0].temperature,
        magnet_limit=base.limits[1].temperature,
        air=case.air_temperature,
        winding_endless=float(endless[winding]),
        winding_once=float(once[winding]),
        winding_often=float(begin[1, winding]),
        magnets_often=_warmest(cycle, begin, base.magnets),
        climbs=count,
        ended_by=ended_by,
        ended_after=after,
        number=np.arange(1, SHOWN + 1),
        winding=course[:, 1, winding],
        magnets=course[:, 1, base.magnets],
        housing=course[:, 1, housing],
        **alone,
        **torques,
    )


def both(build: Build, case: Case, gear: Gear | None = None) -> Duties:
    """The same with a rest as long as the climb between, and beside it with the way down."""
    rest, descent = (study(build, case, gear, between) for between in BETWEEN)
    return replace(rest, descent=descent)


def settled_magnets(build: Build, case: Case, gear: Gear, between: str, pause: float) -> tuple[float, float]:
    """Mean temperature of the magnets over a climb and over a pause when the cycle has settled, which the losses are taken at.

    Of a cycle that runs away it is their limit.
    """
    now = (ROOM, ROOM)
    for _ in range(20):
        cycle = _cycle(build, case, gear, between, pause, now)
        before, now = now, tuple(mean if np.isfinite(mean) else build.motor.magnet_limit for mean in cycle.means())
        if max(abs(one - other) for one, other in zip(before, now, strict=True)) < KELVIN:
            break
    return now


def _until(cycle: _Cycle) -> tuple[float, str, float]:
    """Whole climbs before the first limit is met, which one it is, and the time until then with all pauses."""
    chunk, done, start = 40, 0, cycle.ground.network.start
    limits = cycle.ground.limits
    while done < MOST:
        now = replace(cycle, ground=replace(cycle.ground, network=replace(cycle.ground.network, start=start)))
        course = now.course(chunk + 1)
        if not np.all(np.isfinite(course)):
            course = course[: int(np.argmax(~np.isfinite(course).all(axis=(1, 2))))]
        times = np.stack(
            [
                [
                    heat.network_time_to_limit(**cycle.part(part), start=course[:chunk, part], body=one.body, limit=one.temperature)
                    for one in limits
                ]
                for part in (0, 1)
            ]
        )  # fmt: skip - (parts, limits, cycles)
        within = times <= cycle.time[:, None, None]
        if within.any():
            number = int(np.argmax(within.any(axis=(0, 1))))
            part = int(np.argmax(within[:, :, number].any(axis=1)))
            which = int(np.argmin(times[part, :, number]))
            whole = done + number
            after = whole * cycle.time.sum() + part * cycle.time[0] + times[part, which, number]
            return float(whole + part), limits[which].name, float(after)
        if np.max(np.abs(course[-1] - course[-2])) < 1e-9:
            break
        start, done = course[chunk, 0], done + chunk
    return np.inf, NEVER, np.inf


def _warmest(cycle: _Cycle, begin: np.ndarray, body: int) -> float:
    """Greatest temperature of a body over the settled cycle; magnets go on warming when the climb has ended.

    By bisection on the temperature that is still reached.
    """
    low = float(begin[:, body].max())
    if not np.isfinite(low):
        return np.inf
    high = float(begin.max()) + 1.0  # heat flows from warm to cold: no body gets warmer than the warmest was

    def reaches(limit: float) -> bool:
        return any(
            heat.network_time_to_limit(**cycle.part(part), start=begin[part], body=body, limit=limit) <= cycle.time[part] for part in (0, 1)
        )

    while high - low > KELVIN:
        middle = (low + high) / 2
        low, high = (middle, high) if reaches(middle) else (low, middle)
    return low


def _held(build: Build, case: Case, gear: Gear, cold: Ground, time: float) -> tuple[np.ndarray, float]:
    """Temperatures after a time of climbing from cold, or without end, and the copper loss with magnets as warm as they are meanwhile."""
    magnets = ROOM
    for _ in range(20):
        copper = float(point(build, case, gear, ROOM, magnets).copper_loss)
        before, magnets = magnets, float(cold.warmth(copper, time, 0))
        if not np.isfinite(magnets) or abs(magnets - before) < KELVIN:
            break
    return cold.at(copper, time), copper


def _alone(case: Case, cold: Ground, copper: float, endless: np.ndarray, pause: float) -> dict[str, float]:
    """The same climbs for one body with all of the capacity, the steady rise of the winding, and one way to the air."""
    air, rise = case.air_temperature, float(endless[cold.winding] - case.air_temperature)
    power = float(cold.network.losses.sum()) + copper * (1 + ALPHA * (float(endless[cold.winding]) - ROOM))
    if not (np.isfinite(rise) and power > 0 and rise > 0):
        level = air if power <= 0 or rise <= 0 else np.inf
        return {"winding_once_alone": level, "winding_often_alone": level, "time_constant": np.inf}
    resistance, capacity = rise / power, float(cold.network.capacity.sum())
    constant = float(heat.time_constant(resistance, capacity))
    return {
        "winding_once_alone": air + float(heat.temperature_rise(power, resistance, capacity, case.duration)),
        "winding_often_alone": air + float(duty.intermittent_peak_rise(rise, case.duration, pause, constant, constant)),
        "time_constant": constant,
    }


def _torques(build: Build, case: Case, cold: Ground) -> dict[str, float]:
    """Motor torque, pulsing as the legs do, for ever and for the time of the climb from cold; the latter also as one body."""
    found = allowed(cold, np.array([np.inf, case.duration]))
    endless, once = pulse.torque(build, found.copper, found.magnets)
    there = cold.steady(found.copper[0])
    copper = float(found.copper[0] * (1 + ALPHA * (there[cold.winding] - ROOM)))
    others = float(cold.network.losses.sum())
    alone = 0.0
    if copper > 0:
        resistance = float(there[cold.winding] - case.air_temperature) / (copper + others)
        constant = heat.time_constant(resistance, float(cold.network.capacity.sum()))
        alone = float(endless * duty.short_time_factor(case.duration, constant, others / copper))
    return {"torque_endless": float(endless), "torque_once": float(once), "torque_once_alone": alone}
