"""The course of a case through the thermal network with derating in the loop: the motor gives less as it warms, the legs more."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..formulas import heat, motor
from ..inputs import Build, Case, Gear
from ..units import Values
from .drive import ROOM, drive
from .loads import loads, trim_torque
from .network import ALPHA, HOTTEST, MAGNETS, NAMES, WINDING, Network, assembled
from .split import Split, torque_split

KNOTS = 33  # torques left by derating for which the split is worked out
STEP, MOST = 8.0, 2400  # s of a step, and steps of a course; longer courses take longer steps
LASTING = 20.0  # slowest time constants after which nothing moves any more
QUICK = 2.5  # steps of the fastest body are cut into 20 parts at most: what would be quicker is slowed down to that
FLUX_LOST = 0.3  # share of the flux below which the loss does not follow the magnets any more: they are lost by then
SLACK = 3.0  # K: no body gets hotter after the case than its hottest then or in the steady state of the held torque, by more than this
NARROW = 0.5  # K: derating that takes the torque away within less is taken to be this wide


@dataclass(frozen=True)
class Asked:
    """What a case asks of the motor, and what derating leaves of it."""

    whole: Split  # before derating
    copper_loss: np.ndarray  # at 20 °C and with the magnets at their reference, for KNOTS torques from none to the peak asked
    headroom: float  # greatest torque before derating over that peak

    @property
    def full(self) -> float:
        """Copper loss before derating, at 20 °C and with the magnets at their reference."""
        return float(self.copper_loss[-1])


def splits(build: Build, case: Case, gear: Gear, winding: Values, magnets: Values) -> Split:
    """The torque split of a case with winding and magnets at these temperatures."""
    state = drive(build, case.state_of_charge, winding, magnets)
    shape = np.broadcast_shapes(np.shape(winding), np.shape(magnets))
    asked = loads(build, case).wheel_torque
    return torque_split(build, gear, np.full(shape, case.speed), np.full(shape, asked), state, trim_torque(build, case))


def flux(build: Build, magnets: Values) -> Values:
    """Flux of the magnets of that at their reference temperature; never below the least that is followed."""
    machine = build.motor
    return np.maximum(1 + machine.magnet_temperature_coefficient * (np.asarray(magnets) - machine.reference_temperature), FLUX_LOST)


def asked(build: Build, case: Case, gear: Gear, magnets: float) -> Asked:
    """What a case asks of the motor with the magnets at a temperature."""
    controller = build.controller
    start, end = controller.derating_start, controller.derating_end
    whole = splits(build, case, gear, np.array(start), np.array(magnets))
    peak, cap = abs(whole.motor_peak), build.assist.torque_cap if build.assist else np.inf
    if peak == 0 or not np.isfinite(cap):
        return Asked(whole, np.zeros(1), np.inf)
    headroom = max(cap / peak, 1.0)
    winding = end - (end - start) / headroom * np.linspace(0.0, 1.0, KNOTS)
    loss = splits(build, case, gear, winding, np.full(KNOTS, magnets)).copper_loss
    return Asked(whole, loss / (1 + ALPHA * (winding - ROOM)) * flux(build, magnets) ** 2, headroom)


@dataclass(frozen=True)
class Course:
    """Temperatures of a case over its time, in steps; after the last nothing moves any more, or the case ends."""

    step: float
    temperature: np.ndarray  # (steps + 1, names)
    asked: Asked
    network: Network  # its copper loss is that before derating with the magnets as warm as they end
    copper_heat: float
    other_heat: np.ndarray  # of each body
    carried: np.ndarray  # from body to body, on the diagonal to the ambient
    lasting: bool  # whether the last temperatures hold for ever
    _given: dict

    def at(self, count: int, parts: int) -> np.ndarray:
        """Temperatures at ``count`` times that are ``parts`` steps apart."""
        return self.temperature[np.minimum(np.arange(count) * parts, len(self.temperature) - 1)]

    def bite(self, build: Build) -> float:
        """Temperature of the winding from which derating takes some of the torque that is asked."""
        start, end = build.controller.derating_start, build.controller.derating_end
        return end - (end - start) / self.asked.headroom

    def when(self, name: str, limit: float) -> float:
        """Time until the body of a name first reaches a temperature, also after the case if it went on; inf if never."""
        place, steps = NAMES.index(name), len(self.temperature) - 1
        over = np.flatnonzero(self.temperature[:, place] >= limit)
        if over.size:
            return self.step * over[0] - self._back(place, over[0], limit)
        if self.lasting or max(self.temperature[-1].max(), self.network.steady().max()) < limit - SLACK:
            return np.inf
        return steps * self.step + self._after.when(name, limit)

    def _back(self, place: int, index: int, limit: float) -> float:
        """How long before a record a body was at a temperature: the step before it, made again at other lengths."""
        if index == 0:
            return 0.0
        before = self.temperature[index - 1]
        low, high = 0.0, self.step
        below, above = before[place] - limit, self.temperature[index, place] - limit
        for _ in range(6):
            if above - below <= 0 or high - low < 1e-6 * self.step:
                break
            length = high - (high - low) * above / (above - below)
            if not 0 < length < self.step:
                break
            missed = self._march(before, length, 1).temperature[-1][list(self.network.place)][place] - limit
            if abs(missed) < 1e-7:
                return self.step - length
            if missed < 0:
                low, below = length, missed
            else:
                high, above = length, missed
        return self.step - high

    @cached_property
    def _after(self) -> Course:
        """What would follow if the case went on until nothing moves."""
        steps = int(np.clip(np.ceil(_longest(self.network) / (2 * STEP)), 2, MOST))
        return _course(self, self.temperature[-1], max(2 * STEP, _longest(self.network) / MOST), steps, True)

    def _march(self, start: np.ndarray, step: float, steps: int) -> heat.Course:
        bodies = np.empty(len(self.network.capacity))
        bodies[list(self.network.place)] = start
        return heat.network_course(step=step, steps=steps, start=bodies, **self._given | {"capacity": _slowed(self._given, bodies, step)})


def _course(like: Course, start: np.ndarray, step: float, steps: int, lasting: bool) -> Course:
    found = like._march(start, step, steps)
    kelvin = found.temperature[:, list(like.network.place)]
    lost = np.flatnonzero(kelvin.max(axis=1) > HOTTEST)
    if lost.size:  # held from there on: no motor is left
        kelvin[lost[0] :] = np.minimum(kelvin[lost[0]], HOTTEST)
    return Course(
        step=step,
        temperature=kelvin,
        asked=like.asked,
        network=like.network,
        copper_heat=float(found.copper_heat),
        other_heat=found.other_heat,
        carried=found.carried,
        lasting=lasting,
        _given=like._given,
    )


def _slowed(given: dict, start: np.ndarray, step: float) -> np.ndarray:
    """Capacities, those raised that would follow within so small a part of a step that the steps could not."""
    conductance, capacity = given["conductance"][0], given["capacity"]
    least = conductance.sum(axis=-1) * step / QUICK
    level = given["copper_loss"][0]
    span = (given["derating_end"] - given["derating_start"]) / given["headroom"]
    steepest = 2 * np.abs(np.diff(level)).max(initial=0.0) * (len(level) - 1) / span
    hottest = max(given["derating_end"], start.max())
    weak = max(1 + given["flux_growth"] * (hottest - given["flux_reference"]), FLUX_LOST)
    hot = 1 + ALPHA * (given["derating_end"] - ROOM)
    least[given["winding"]] += steepest * hot / weak**2 * step / (10 * QUICK)
    return np.maximum(capacity, least)


def _longest(now: Network) -> float:
    """Time after which nothing moves any more."""
    root = np.sqrt(now.capacity)
    rates = np.linalg.eigvalsh(heat.balance(now.conductance) / (root[:, None] * root))
    return LASTING / rates[0]


def course(build: Build, case: Case, gear: Gear, records: int = 120) -> tuple[Course, int]:
    """The course of a case, and how many of its steps make one of ``records`` equal parts of the case's time.

    The split of torque is worked out for the magnets as warm as they get, in
    so many rounds that its losses do not change any more; without a limit of
    current or voltage in the way one round is enough, because the current
    follows the magnets' flux within the course.
    """
    machine, controller = build.motor, build.controller
    start = case.air_temperature if case.winding_start is None else case.winding_start
    need, magnets = asked(build, case, gear, start), start
    base = assembled(build, case, 0.0, need.whole.iron_loss)
    for _ in range(4):
        now = base.with_copper(need.full / float(flux(build, magnets)) ** 2)
        end = controller.derating_end
        headroom = min(need.headroom, max((end - controller.derating_start) / NARROW, 1.0))
        given = {
            "capacity": now.capacity,
            "conductance": now.conductance[None],
            "losses": _without_copper(now)[None],
            "copper_loss": need.copper_loss[None],
            "ambient": [now.ambient],
            "winding": now.place[WINDING],
            "magnets": now.place[MAGNETS],
            "loss_growth": ALPHA,
            "loss_reference": ROOM,
            "flux_growth": machine.magnet_temperature_coefficient,
            "flux_reference": machine.reference_temperature,
            "least_flux": FLUX_LOST,
            "copper_limit": greatest_copper_loss(build),
            "headroom": headroom,
            "derating_start": min(controller.derating_start, end - NARROW),
            "derating_end": end,
        }
        begin = np.full(len(NAMES), start)
        empty = Course(1.0, begin[None], need, now, 0.0, now.losses * 0, now.conductance * 0, False, given)
        if case.duration == 0:
            return empty, 1
        parts, step, steps, lasting = _steps(now, case.duration, records)
        found = _course(empty, begin, step, steps, lasting)
        magnets = found.temperature[-1, MAGNETS]
        if _only_the_cap(build, case, need, magnets):
            break
        again = asked(build, case, gear, magnets)
        if again.copper_loss.shape == need.copper_loss.shape and np.allclose(again.copper_loss, need.copper_loss, rtol=1e-4, atol=1e-6):
            break
        need = again
    return replace(found, network=base.with_copper(need.full / float(flux(build, magnets)) ** 2)), parts


def _only_the_cap(build: Build, case: Case, need: Asked, magnets: float) -> bool:
    """Whether the cap of the assist alone cuts the torque, with cold and with warm magnets: then the split is the same with both."""
    state = drive(build, case.state_of_charge, build.controller.derating_start, np.array([case.air_temperature, magnets]))
    found = state.limits(case.speed / build.wheel.radius)
    return bool(np.all((found.highest_by if need.whole.motor_peak >= 0 else found.lowest_by) == "torque cap"))


def greatest_copper_loss(build: Build) -> float:
    """Copper loss at 20 °C with the phase current at the controller's limit."""
    machine = build.motor
    cold = motor.resistance_at(machine.phase_resistance, ROOM - 273.15, machine.reference_temperature - 273.15)
    return motor.copper_loss(build.controller.phase_current_limit, cold)


def _without_copper(now: Network) -> np.ndarray:
    losses = now.losses.copy()
    losses[now.place[WINDING]] = 0.0
    return losses


def _steps(now: Network, duration: float, records: int) -> tuple[int, float, int, bool]:
    """Steps in a record, their length and number, and whether nothing moves after them."""
    longest = min(duration, _longest(now))
    step = max(STEP, longest / MOST)
    parts = max(int(np.ceil(duration / records / step)), 1)
    step = duration / records / parts
    steps = min(int(np.ceil(longest / step)), records * parts)
    return parts, step, steps, longest < duration
