"""How long does the motor hold a load at a speed, until the first of its temperatures reaches a limit - and which load holds so long?

Speeds, loads and times broadcast.  The copper loss is the one unknown of all
of it: the network of bodies follows from the speed, the limit is reached after
a time that falls with the copper loss, and the copper loss rises with torque.
Magnets weaken with warmth, so a torque asks more current of a warm motor.  One
loss stands for all of the time: that with the magnets at their mean over it,
each moment weighed by what its heat still does to the body that meets the
limit at the end; for ever, at their steady temperature.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from .. import units as u
from ..formulas import heat, motor
from ..formulas._bracket import crossing
from ..inputs import Build, Case, Gear
from ..units import Values
from . import pulse
from .drive import ROOM, drive
from .loads import loads, trim_torque
from .network import ALPHA, MAGNETS, WINDING, Network, assembled
from .split import torque_split

NEVER = "none"
KELVIN, WATT = 1e-7, 1e-10  # how closely temperatures are found, and copper losses as a share
LONG = 1e9  # s: beyond it nothing changes any more
MOMENTS = 12  # parts of the time over which the magnets' warmth is taken, shorter and shorter towards the end


@dataclass(frozen=True)
class Limit:
    """One temperature that ends it."""

    name: str
    body: int
    temperature: float


@dataclass(frozen=True)
class Ground:
    """The network of a build at some speeds with all its heat but the copper's, and the limits."""

    network: Network
    limits: tuple[Limit, ...]

    @property
    def winding(self) -> int:
        """Row of the winding among the bodies."""
        return self.network.place[WINDING]

    @property
    def magnets(self) -> int:
        """Row of the magnets among the bodies."""
        return self.network.place[MAGNETS]

    def load(self, copper: Values) -> dict[str, Values]:
        """Arguments of the network's formulas with a copper loss at 20 °C."""
        here = np.eye(len(self.network.capacity))[self.winding] * np.asarray(copper, float)[..., None]
        now = self.network
        return {
            "capacity": now.capacity,
            "conductance": now.conductance,
            "losses": now.losses + here,
            "ambient": now.ambient,
            "loss_slope": ALPHA * here,
            "loss_reference": ROOM,
        }

    def at(self, copper: Values, time: Values) -> np.ndarray:
        """Temperatures of the bodies after a time; of the steady state where it is inf and there is one."""
        time = np.asarray(time, float)
        ends = np.isfinite(time)
        if not ends.any():
            return self.steady(copper)
        course = heat.network_response(**self.load(copper), start=self.network.start, time=np.where(ends, time, 0.0))
        return course if ends.all() else np.where(ends[..., None], course, self.steady(copper))

    def steady(self, copper: Values) -> np.ndarray:
        """Steady temperatures; inf where the copper loss runs away."""
        rest, rise = self.settled
        winding = self.winding
        grown = np.asarray(copper, float) * (1 + ALPHA * (rest[..., winding] - ROOM))
        left = 1 - ALPHA * np.asarray(copper, float) * rise[..., winding]
        with np.errstate(divide="ignore", invalid="ignore"):
            power = np.where(left > 0, grown / np.where(left > 0, left, 1.0), np.inf)
            return rest + power[..., None] * rise

    @property
    def settled(self) -> tuple[np.ndarray, np.ndarray]:
        """Steady temperatures without copper loss, and the rise of each body for one watt of heat in the winding."""
        now = self.network
        rise = np.linalg.inv(heat.balance(now.conductance))
        return now.ambient + np.einsum("...ij,...j->...i", rise, now.losses), rise[..., :, self.winding]

    def warmth(self, copper: Values, time: Values, which: Values) -> np.ndarray:
        """Temperature of the magnets that a constant copper loss is taken at, so that a limit is met as with theirs over the time.

        To the first order in their weakening exactly: heat of each moment
        counts as much as it has left at the end in the limit's body.
        """
        time, copper = np.asarray(time, float), np.asarray(copper, float)
        ends = np.isfinite(time)
        lasting = self.steady(copper)[..., self.magnets]
        if not ends.any():
            return lasting
        edges, middles = (np.linspace(begin, 1 - begin, number) ** 3 for begin, number in ((0.0, MOMENTS + 1), (0.5 / MOMENTS, MOMENTS)))
        finite = np.where(ends, time, 1.0)[..., None]
        load = self.load(copper)
        spread = {name: load[name][..., None, :] for name in ("losses", "loss_slope")}
        spread["conductance"] = load["conductance"][..., None, :, :]
        watt = np.eye(len(load["capacity"]))[self.winding]
        left = heat.network_response(load["capacity"], spread["conductance"], watt, 0.0, 0.0, finite * edges, spread["loss_slope"], 0.0)
        body = np.array([one.body for one in self.limits])[np.asarray(which)][..., None, None]
        left = np.take_along_axis(left, np.broadcast_to(body, left.shape[:-1] + (1,)), axis=-1)[..., 0]
        course = heat.network_response(**(load | spread), start=self.network.start, time=finite * (1 - middles))[..., self.magnets]
        mean = np.sum(np.diff(left, axis=-1) * course, axis=-1) / np.where(left[..., -1] > 0, left[..., -1], 1.0)
        return np.where(ends, np.where(finite[..., 0] > 0, mean, np.max(self.network.start)), lasting)

    def reached(self, copper: Values) -> tuple[np.ndarray, np.ndarray]:
        """Time until the first limit, and which one it is as a number; inf and the first one where none is reached."""
        times = [
            heat.network_time_to_limit(**self.load(copper), start=self.network.start, body=one.body, limit=one.temperature)
            for one in self.limits
        ]
        return np.min(times, axis=0), np.argmin(times, axis=0)

    def names(self, which: Values, time: Values) -> np.ndarray:
        """The limits' names by their numbers; ``none`` where the time is inf."""
        return np.where(np.isfinite(time), np.array([one.name for one in self.limits])[which], NEVER)


def ground(build: Build, case: Case, speed: Values) -> Ground:
    """The network at some speeds, without copper loss; ValueError for a build without a motor."""
    if build.motor is None or build.controller is None:
        raise ValueError(f"build {build.name!r} has no motor: the climbs study needs one")
    machine = build.motor
    iron = motor.iron_loss(np.asarray(speed, float) / build.wheel.radius, machine.hysteresis_torque, machine.eddy_drag)
    now = assembled(build, case, 0.0, iron, speed)
    bears, begins = heat.mean_winding_limit(machine.insulation_class) + 273.15, build.controller.derating_start
    first = ("derating", begins) if begins <= bears else ("winding", bears)
    limits = (Limit(first[0], now.place[WINDING], first[1]), Limit("magnets", now.place[MAGNETS], machine.magnet_limit))
    return Ground(now, limits)


# -- the copper loss that a time allows ----------------------------------------


@dataclass(frozen=True)
class Allowed:
    """The greatest copper loss at 20 °C that a time allows, which limit ends it, and the magnets that the loss is taken at."""

    copper: np.ndarray
    which: np.ndarray
    magnets: np.ndarray


def allowed(base: Ground, time: Values) -> Allowed:
    """The greatest copper loss with which no limit is reached before a time; inf asks for ever.

    Temperatures rise with the copper loss, so the bracket is that of a heat
    which does not grow with temperature, taken at the limit and at the coldest.
    Copper loss 0 means that a limit is reached without any.
    """
    time = np.asarray(time, float) + np.zeros(base.network.conductance.shape[:-2])
    each: list[np.ndarray] = []
    for one in base.limits:
        each.append(_least(base, one, time, each[0] if each else None))
    copper, which = np.min(each, axis=0), np.argmin(each, axis=0)
    if np.any(base.network.start > base.network.ambient):  # a motor that cools at first may have been warmer on the way
        copper, which = _on_the_way(base, time, copper, which)
    return Allowed(copper, which, base.warmth(copper, time, which))


def _least(base: Ground, limit: Limit, time: np.ndarray, most: np.ndarray | None = None) -> np.ndarray:
    """Copper loss at which one limit is met just at a time, or the greatest one that is asked about."""
    rest, rise = base.settled
    winding = base.winding
    steady = np.maximum((limit.temperature - rest[..., limit.body]) / rise[..., limit.body], 0.0)
    steady = steady / (1 + ALPHA * (rest[..., winding] + steady * rise[..., winding] - ROOM)) + np.zeros(time.shape)
    ends = np.isfinite(time)
    if not ends.any():
        return steady
    finite = np.where(ends, time, 1.0)
    plain = {name: value for name, value in base.load(0.0).items() if name not in ("losses", "loss_slope")}
    cold = heat.network_response(**plain, losses=base.network.losses, start=base.network.start, time=finite)[..., limit.body]
    one = np.eye(len(base.network.capacity))[winding]
    gain = heat.network_response(base.network.capacity, base.network.conductance, one, 0.0, 0.0, finite)[..., limit.body]
    heated = np.maximum(limit.temperature - cold, 0.0) / gain  # watts that would do it if they did not grow with temperature
    coldest = min(base.network.ambient, float(np.min(base.network.start)))
    high = heated / (1 + ALPHA * (coldest - ROOM))
    high = high if most is None else np.minimum(high, most)
    low = heated / (1 + ALPHA * (limit.temperature - ROOM)) if limit.body == winding else 0.0 * heated

    def over(copper: np.ndarray) -> np.ndarray:
        settled = 600 * base.network.capacity[winding] / (ALPHA * np.maximum(copper, 1.0))  # or run away, which a float would not hold
        course = heat.network_response(**base.load(copper), start=base.network.start, time=np.minimum(finite, settled))
        return course[..., limit.body] - limit.temperature

    found = crossing(over, np.minimum(low, high), high, WATT * float(np.max(high, initial=1.0)))
    found = np.where(np.isfinite(found), found, np.where(found > 0, high, low))
    return np.where(ends, np.where(heated > 0, found, 0.0), steady)


def _on_the_way(base: Ground, time, copper, which) -> tuple[np.ndarray, np.ndarray]:
    """The same where the temperature is not greatest at the end, by the first crossing itself."""
    before = base.reached(copper * (1 - 1e-7))[0]
    early = (copper > 0) & (before < np.where(np.isfinite(time), time * (1 - 1e-6), LONG))
    if not np.any(early):
        return copper, which

    def sooner(value: np.ndarray) -> np.ndarray:
        return np.where(base.reached(value)[0] < np.where(np.isfinite(time), time, np.inf), 1.0, -1.0)

    found = crossing(sooner, 0 * copper, copper, WATT * float(np.max(copper)))
    found = np.where(np.isfinite(found), found, 0.0)
    return np.where(early, found, copper), np.where(early, base.reached(found * (1 + 1e-6))[1], which)


# -- from copper loss to torque and slope ----------------------------------------


def copper_loss(build: Build, case: Case, gear: Gear, speed: Values, slope: Values, magnet_temperature: Values) -> u.Watt:
    """Copper loss at 20 °C of the split at a speed on a slope."""
    state = drive(build, case.state_of_charge, ROOM, magnet_temperature)
    wheel_torque = loads(build, case, speed, slope).wheel_torque
    return torque_split(build, gear, speed, wheel_torque, state, trim_torque(build, case, slope)).copper_loss


# -- how long a load is held -------------------------------------------------------


@dataclass(frozen=True)
class Hold:
    """Time until the first limit, its name, and winding and magnets by then; in the steady state where the time is inf."""

    time: u.Second
    ended_by: str | np.ndarray
    copper_loss: u.Watt
    winding: u.Kelvin
    magnets: u.Kelvin


def _until(base: Ground, loss: Callable[[np.ndarray], Values], shape: tuple[int, ...]) -> Hold:
    """Time for a load whose copper loss depends on the temperature of the magnets.

    Warmer magnets mean more loss, which ends it sooner and so with colder
    magnets: there is one temperature at which the two agree.
    """
    zero = np.zeros(shape)
    start = float(np.max(base.network.start))
    low = zero + min(base.network.ambient, float(np.min(base.network.start)))
    high = zero + max(base.limits[1].temperature, start)

    def above(magnets: np.ndarray) -> np.ndarray:
        copper = loss(magnets) + zero
        return magnets - base.warmth(copper, *base.reached(copper))

    found = crossing(above, low, high, KELVIN)
    magnets = np.where(np.isfinite(found), found, np.where(found > 0, high, low))
    copper = loss(magnets) + zero
    time, which = base.reached(copper)
    there = base.at(copper, time)
    return Hold(time, base.names(which, time), copper, there[..., base.winding], there[..., base.magnets])


def hold(build: Build, case: Case, speed: Values | None = None, slope: Values | None = None, gear: Gear | None = None) -> Hold:
    """How long the motor holds what a speed on a slope asks of it; both may replace those of the case."""
    speed, slope = (np.asarray(own if value is None else value, float) for own, value in ((case.speed, speed), (case.slope, slope)))
    gear = gear or build.gears.named(build.gears.engaged)
    base, shape = ground(build, case, speed), np.broadcast_shapes(speed.shape, slope.shape)
    return _until(base, lambda magnets: copper_loss(build, case, gear, speed, slope, magnets), shape)


def hold_torque(build: Build, case: Case, torque: Values, speed: Values | None = None) -> Hold:
    """How long the motor holds a torque that pulses as the legs do, whether or not battery and current limits would allow it."""
    speed = np.asarray(case.speed if speed is None else speed, float)
    torque = np.asarray(torque, float)
    base, shape = ground(build, case, speed), np.broadcast_shapes(speed.shape, torque.shape)
    return _until(base, lambda magnets: pulse.copper_loss(build, torque, magnets), shape)


def resting(base: Ground) -> Ground:
    """The same with the bodies at the temperature of the air at the start."""
    cold = replace(base.network, start=np.full_like(base.network.start, base.network.ambient))
    return replace(base, network=cold)
