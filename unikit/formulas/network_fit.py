"""The thermal network of a motor from a run in which a direct current warms its winding.

Readings of resistance, housing and air (better of the stator too) are explained
by bodies and conductances.  All that is not known enters as a number to be
found, with what is known of it beforehand: the six numbers of the network, the
cold resistance, the temperature at the start, the scale of the power, the
moments of switching between two readings, the air as a smooth curve, and the
offset of each temperature sensor.  So the intervals hold these doubts too.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from .. import units as u
from ._bench_march import Bodies, Drive, course
from .checks import positive
from .motor import COPPER_COEFFICIENT
from .registry import formula

COLD = 293.15  # K, at which the resistance is stated
INTERVAL = 1.959964  # standard deviations of a normal distribution on either side that hold 95 %
LONGEST_STEP, STEP_BEHIND_SWITCH, STEP_SETTLING = 20.0, 0.5, 2.5  # s, of the march: short where a slope jumps and while it settles
SETTLING = 180.0  # s
AIR_TIME = 1200.0  # s between the knots of the air's curve
SWITCHED = 0.1  # share of the greatest current: a greater jump from reading to reading is a switch
WIDE = np.log(10.0)  # standard deviation of what is known of each number of the network beforehand, as a logarithm
COARSE_RESISTANCE = 0.05  # share: readings of the resistance that scatter more are left out
ROUNDS, ENOUGH = 40, 1e-3  # of the search, and the gain still to be had at which it ends, in the sum of squares
LEVEL = 0.02  # a rise in the sum of squares so small that it is the march's own grain where a switch falls on a reading
FIRST, LAST = 0.001, 0.999  # of a switch between two readings, as shares of their interval
FEWEST, MOST_SWITCHES = 20, 20  # readings, and jumps of the current

NETWORK = ("winding_capacity", "stator_capacity", "housing_capacity", "winding_to_stator", "stator_to_housing", "housing_factor")
SHARED = (*NETWORK, "resistance", "power_scale")  # what a motor and its instruments keep from run to run
BODIES = ("stator", "magnets", "housing")


class Sensor(NamedTuple):
    """Readings of a temperature sensor."""

    values: u.Kelvin
    noise: u.KelvinRise  # standard deviation of each reading
    offset: u.KelvinRise  # standard deviation of what all its readings are off


class Readings(NamedTuple):
    """What a run recorded; ``sensors`` may hold stator and magnets beside housing and air."""

    time: u.Second
    current: u.Ampere
    voltage: u.Volt
    current_noise: u.Ampere
    voltage_noise: u.Volt
    power_scale: u.Ratio  # standard deviation of the scale of current times voltage
    sensors: Mapping[str, Sensor]


class Setup(NamedTuple):
    """What is known of the motor on its bench and is not looked for."""

    heated_share: u.Ratio  # of the winding that carries the current
    rises: u.KelvinRise  # of the housing over the air, rising from 0
    to_air: u.WattPerKelvin  # computed conductance from housing to air at these rises
    air: u.Kelvin  # for which it is computed
    per_air: u.PerKelvin = 0.0  # what it gains with the temperature of the air, as a share
    paths: Mapping[tuple[str, str], u.WattPerKelvin] = MappingProxyType({})  # other paths, by the names of their ends; "air" is one
    magnet_capacity: u.JoulePerKelvin | None = None  # none: the magnets' ring counts with the housing


class NetworkFit(NamedTuple):
    """The network that explains a run best; standard errors of the logarithms, and what it predicts at each reading."""

    winding_capacity: u.JoulePerKelvin
    stator_capacity: u.JoulePerKelvin
    housing_capacity: u.JoulePerKelvin
    winding_to_stator: u.WattPerKelvin
    stator_to_housing: u.WattPerKelvin
    housing_factor: u.Ratio
    resistance: u.Ohm  # between the leads at 20 degC
    error: u.Ratio  # standard errors of the six, as shares
    correlation: u.Ratio  # between the six
    covariance: u.Values  # of the logarithms of the six and the resistance, power scale and offsets of ``names``
    names: tuple[str, ...]
    mean: u.Values  # values of what the covariance stands for
    start: u.Kelvin
    misfit: u.Number  # mean square of the weighted remainders: 1 if the network and the noise are as stated
    count: u.Number  # readings that were used
    predicted: Mapping[str, u.Kelvin]  # by sensor, and winding; what the sensor would read without noise
    error_of_prediction: Mapping[str, u.KelvinRise]
    measured: Mapping[str, u.Kelvin]
    noise: Mapping[str, u.KelvinRise]

    def interval(self, name: str) -> tuple[float, float]:
        """Ends of the 95 % interval of one number of the network."""
        wide = np.exp(INTERVAL * self.error[NETWORK.index(name)])
        return getattr(self, name) / wide, getattr(self, name) * wide


class _Grid(NamedTuple):
    """Points of time between and at the readings; those in an interval with a switch move with its moment."""

    interval: np.ndarray  # of each step
    fixed: np.ndarray  # ends of each step as shares of its interval, (steps, 2)
    moving: np.ndarray  # what the share of the switch adds to them
    switch: np.ndarray  # number of the switch in each step's interval, or -1
    after: np.ndarray  # whether the step lies behind the switch
    readings: np.ndarray  # points at which there are readings


def _grid(time: np.ndarray, switched: np.ndarray) -> _Grid:
    rows, readings = [], [0]

    def ends(gap: float, longest: float) -> list[tuple[float, float]]:
        edges = np.linspace(0.0, 1.0, int(np.ceil(gap / longest - 1e-9)) + 1)
        return list(zip(edges, edges[1:], strict=False))

    jumped = time[0]
    for place, gap in enumerate(np.diff(time)):
        longest = STEP_SETTLING if time[place] - jumped < SETTLING else LONGEST_STEP
        if place in switched:
            number, jumped = int(np.flatnonzero(switched == place)[0]), time[place]
            rows += [(place, 0.0, 0.0, low, high, number, 0) for low, high in ends(gap, longest)]
            rows += [(place, low, high, 1 - low, 1 - high, number, 1) for low, high in ends(gap, STEP_BEHIND_SWITCH)]
        else:
            rows += [(place, low, high, 0.0, 0.0, -1, 0) for low, high in ends(gap, STEP_BEHIND_SWITCH if place == 0 else longest)]
        readings.append(len(rows))
    table = np.array(rows, float)
    whole = table[:, [0, 5, 6]].astype(int)
    return _Grid(whole[:, 0], table[:, 1:3], table[:, 3:5], whole[:, 1], whole[:, 2].astype(bool), np.array(readings))


class _Model:
    """The run as a function of all numbers to be found; offsets of sensors come in by hand."""

    def __init__(self, readings: Readings, setup: Setup, told: np.ndarray) -> None:
        from scipy.interpolate import BSpline

        time, current = readings.time, np.abs(readings.current)
        self.setup, self.time = setup, time
        jump = np.abs(np.diff(current))
        self.switched = np.flatnonzero(jump > SWITCHED * current.max())
        if len(self.switched) > MOST_SWITCHES:
            jumps = f"it jumps {len(self.switched)} times"
            raise ValueError(f"the current must be switched at most {MOST_SWITCHES} times, and be steady between: {jumps}")
        self.grid = _grid(time, self.switched)
        self.bodies = ["winding", *(["idle"] if setup.heated_share < 1 else []), "stator"]
        self.bodies += [] if setup.magnet_capacity is None else ["magnets"]
        self.bodies += ["housing"]
        grid, square = self.grid, current**2
        before, after = square[grid.interval], square[grid.interval + 1]
        middle = grid.fixed.copy()
        self.square = before[:, None] + (after - before)[:, None] * middle
        inside = grid.switch >= 0
        self.square[inside] = np.where(grid.after[inside], after[inside], before[inside])[:, None]
        share = 2 * _share_of_voltage(readings, told, self.switched)[grid.interval][:, None]
        self.square, self.power = (1 - share) * self.square, share * self._measured_power(readings)
        points = time[grid.interval] + (grid.fixed + grid.moving / 2)[:, 0] * np.diff(time)[grid.interval]
        points = np.append(points, time[-1])
        pieces = max(1, int(round((time[-1] - time[0]) / AIR_TIME)))
        knots = np.r_[[time[0]] * 3, np.linspace(time[0], time[-1], pieces + 1), [time[-1]] * 3]
        self.air_at_points = BSpline.design_matrix(points, knots, 3).toarray()
        self.air_at_readings = self.air_at_points[grid.readings]
        moments, air = len(self.switched), self.air_at_points.shape[1]
        self.small = np.concatenate([np.full(8, 1e-4), [1e-2], np.full(moments, 1e-4), np.full(air, 1e-2)])  # of each number, to see slopes
        self.moments, self.air = slice(9, 9 + moments), slice(9 + moments, 9 + moments + air)

    def _measured_power(self, readings: Readings) -> np.ndarray:
        """Current times voltage at the ends of the steps between two switches: curved, as the winding warms, so in a smooth line."""
        from scipy.interpolate import CubicSpline

        time, grid, watts = self.time, self.grid, readings.current * readings.voltage
        ends = time[grid.interval][:, None] + grid.fixed * np.diff(time)[grid.interval][:, None]
        made, borders = np.zeros_like(ends), [0, *(self.switched + 1), len(time)]
        for first, last in zip(borders, borders[1:], strict=False):
            inside = (grid.interval >= first) & (grid.interval < last - 1)
            if inside.any():
                made[inside] = CubicSpline(time[first:last], watts[first:last])(ends[inside])
        return made

    def temperatures(self, numbers: np.ndarray) -> np.ndarray:
        """Temperatures at the readings for sets of numbers, (readings, sets, bodies)."""
        setup, grid, sets = self.setup, self.grid, len(numbers)
        winding, stator, housing, inner, outer, factor, resistance = np.exp(numbers[:, :7]).T
        power_scale, start = numbers[:, 7], numbers[:, 8]
        share, bodies = setup.heated_share, self.bodies
        by_name = {"winding": share * winding, "idle": (1 - share) * winding, "stator": stator, "housing": housing}
        by_name["magnets"] = np.full(sets, setup.magnet_capacity or np.nan)
        place = {name: number for number, name in enumerate(bodies)}
        conductance = np.zeros((sets, len(bodies), len(bodies)))
        place.setdefault("magnets", place["housing"])
        for (one, other), size in {("winding", "stator"): inner, ("stator", "housing"): outer, **setup.paths}.items():
            parts = [("winding", share), ("idle", 1 - share)] if one == "winding" and share < 1 else [(one, 1.0)]
            for part, weight in parts:
                here, there = place[part], place[part if other == "air" else other]
                conductance[:, here, there] += weight * size
                if here != there:
                    conductance[:, there, here] += weight * size
        capacity = np.stack([by_name[name] for name in bodies], axis=1)
        grown = 1 + COPPER_COEFFICIENT * (start - COLD)
        gain = COPPER_COEFFICIENT * (resistance / (1 + power_scale))[:, None, None] * self.square
        heat = gain * (grown / COPPER_COEFFICIENT)[:, None, None] + self.power / (1 + power_scale)[:, None, None]
        shares = np.broadcast_to(grid.fixed, (sets, *grid.fixed.shape))
        if len(self.switched):
            moment = np.where(grid.switch >= 0, numbers[:, self.moments][:, grid.switch], 0.0)
            shares = shares + grid.moving * moment[:, :, None]
        step = (shares[..., 1] - shares[..., 0]) * np.diff(self.time)[grid.interval]
        air = numbers[:, self.air] @ self.air_at_points.T
        made = course(
            Bodies(capacity, conductance, factor, setup.rises, setup.to_air),
            Drive(step, *np.moveaxis(heat, -1, 0), *np.moveaxis(gain, -1, 0), air, 1 + setup.per_air * (air - setup.air), start),
        )
        return made[grid.readings]


def _share_of_voltage(readings: Readings, told: np.ndarray, switched: np.ndarray) -> np.ndarray:
    """What the voltage over the resistance is worth beside the measured current, in each interval between readings.

    The same noisy current gives heat and resistance.  Were the heat its square
    times the resistance, a current read too high would warm the computed
    winding and cool the measured one, and the remainders would hang together.
    The best mean of current I and voltage over resistance U/R, I + k (U/R - I),
    has an error that is independent of that of U/I; its heat is to first order
    (1 - 2k) I^2 R + 2k U I.  Where the voltage is not used, and while the
    current is switched, k is 0.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        current, voltage = (readings.current_noise / readings.current) ** 2, (readings.voltage_noise / readings.voltage) ** 2
        share = np.where(told & (current > 0), current / (current + voltage), 0.0)
    between = np.where(told[1:] & told[:-1], (share[1:] + share[:-1]) / 2, 0.0)
    between[switched] = 0.0
    return between


def _checked(readings: Readings) -> np.ndarray:
    """The resistance at each reading, NaN where the current is too small to tell it."""
    for name in ("housing", "air"):
        if name not in readings.sensors:
            raise ValueError(f"sensors must hold housing and air, got {', '.join(readings.sensors)}")
    lengths = {len(readings.time), len(readings.current), len(readings.voltage), *(len(one.values) for one in readings.sensors.values())}
    if len(lengths) > 1 or len(readings.time) < FEWEST:
        raise ValueError(f"each quantity must have one value for each of at least {FEWEST} readings, got {sorted(lengths)}")
    positive("time between readings", np.diff(readings.time))
    with np.errstate(divide="ignore", invalid="ignore"):
        resistance = np.asarray(readings.voltage) / readings.current
        scatter = np.hypot(readings.voltage_noise / np.abs(readings.voltage), readings.current_noise / np.abs(readings.current))
        told = (scatter < COARSE_RESISTANCE) & np.isfinite(resistance)
    if told.sum() < 10:
        raise ValueError("the current must be large enough to tell the resistance in at least 10 readings: their noise is above 5 %")
    positive("voltage over current", resistance[told])
    return np.where(told, resistance, np.nan)


@formula(
    equation=r"\min_{C, \Lambda, k, \dots} \sum_i \left(\frac{T_i - T(t_i)}{\sigma_i}\right)^2"
    r" + \sum_j \left(\frac{x_j - x_{j,0}}{s_j}\right)^2,\quad"
    r" \mathbf{C}\,\dot{\mathbf{T}} = \mathbf{P}(I, U, T) - \mathbf{G}\,(\mathbf{T} - T_\infty),\quad"
    r" G_\mathrm{housing} = k\,G_\mathrm{computed}(T_\mathrm{housing} - T_\infty)",
    source="marquardt_1963, jcgm_100, incropera",
    sign="heat positive into the winding",
    valid="all bodies at one temperature at the start; star winding; copper loss alone; errors normal",
)
def identify(
    readings: Readings,
    setup: Setup,
    guess: u.Values,
    used: bool | np.ndarray = True,
    before: NetworkFit | None = None,
) -> NetworkFit:
    """The thermal network of a run, with standard errors and what it predicts at each reading.

    Readings of the air are always used.  With a fit of another run before,
    network, resistance and sensors are known from there, and few or no readings
    of this run are needed to predict it.

    Args:
        readings: what was recorded.
        setup: what is known of the motor on its bench.
        guess: the six numbers of the network to begin with.
        used: true for the readings to fit.
        before: what another run with the same instruments has told already.

    >>> from unikit.formulas import heat
    >>> time, links = np.arange(0.0, 5400.0, 10.0), heat.chain([8.0, 4.0, 1.5])
    >>> course = heat.network_response([300.0, 1200.0, 2000.0], links, [68.0, 0.0, 0.0], 293.15, 293.15, time, [0.26724, 0.0, 0.0])
    >>> ohm = 0.17 * (1 + COPPER_COEFFICIENT * (course[:, 0] - COLD))
    >>> sensors = {"housing": Sensor(course[:, 2], 0.1, 0.3), "air": Sensor(0 * time + 293.15, 0.1, 0.3)}
    >>> run = Readings(time, 0 * time + 20.0, 20.0 * ohm, 0.004, 4e-4, 0.003, sensors)
    >>> setup = Setup(1.0, np.array([0.0, 100.0]), np.array([1.5, 1.5]), 293.15)
    >>> found = identify(run, setup, [420.0, 1350.0, 1900.0, 9.0, 3.0, 0.8])
    >>> [float(f"{getattr(found, name):.3g}") for name in NETWORK]
    [300.0, 1200.0, 2000.0, 8.0, 4.0, 1.0]
    """
    resistance = _checked(readings)
    positive("guess", guess)
    used = np.broadcast_to(np.asarray(used, bool), np.shape(readings.time))
    model = _Model(readings, setup, used & np.isfinite(resistance))
    if used.sum() < FEWEST and before is None:
        raise ValueError(f"at least {FEWEST} readings must be used where no other run is known before, got {used.sum()}")
    sensors = [name for name in (*BODIES, "air") if name in readings.sensors]
    unknown = [name for name in sensors if name != "air" and name not in model.bodies]
    if unknown:
        raise ValueError(f"there is a sensor at {unknown[0]}, but the motor's network has no such body: it has {', '.join(model.bodies)}")
    numbers = _begin(readings, model, resistance, guess, before)
    inner, offsets = len(model.small), np.zeros(len(sensors))
    known = _known(readings, model, sensors, numbers, before)
    everything = np.concatenate([numbers, offsets if before is None else before.mean[len(SHARED) :]])
    moments = np.arange(len(everything))[model.moments]
    damping, best = 1e-6, None
    for _ in range(ROUNDS):
        made = _linear(readings, model, resistance, sensors, everything, used)
        away = everything - known[0]
        loss = made.remainder @ made.remainder + away @ known[1] @ away
        if best is None or loss < best[0]:
            best, damping = (loss, everything, made), max(damping / 10, 1e-9)
        elif loss < best[0] + LEVEL:
            break
        else:
            damping *= 10
        loss, everything, made = best
        normal = made.slope.T @ made.slope + known[1]
        down = made.slope.T @ made.remainder - known[1] @ (everything - known[0])
        # a moment at an end of its interval that would go on outwards stays there, and the others go on without it
        free = np.ones(len(everything), bool)
        free[moments] = ~((everything[moments] <= FIRST) & (down[moments] < 0) | (everything[moments] >= LAST) & (down[moments] > 0))
        within = np.ix_(free, free)
        if down[free] @ np.linalg.solve(normal[within], down[free]) < ENOUGH:
            break
        step = np.linalg.solve(normal[within] + damping * np.diag(np.diag(normal[within])), down[free])
        step[:7] = np.clip(step[:7], -1.0, 1.0)  # at most a factor of e at once
        everything = everything.copy()
        everything[free] += step
        everything[moments] = np.clip(everything[moments], FIRST, LAST)
    else:
        raise ValueError(f"no network was found in {ROUNDS} rounds: begin with other numbers, or look at the readings")
    loss, everything, made = best
    covariance = np.linalg.inv(made.slope.T @ made.slope + known[1])
    count = int(len(made.remainder))
    misfit = float(made.remainder @ made.remainder / max(count - inner - 1, 1))
    if misfit > 1 + 4 * np.sqrt(2 / count):  # more is left over than the noise explains
        covariance = covariance * misfit
    kept = [*range(len(SHARED)), *range(inner, len(everything))]
    error = np.sqrt(np.diag(covariance))[: len(NETWORK)]
    named = dict(zip(("winding", *sensors), range(1 + len(sensors)), strict=True))
    spread = np.sqrt(np.einsum("crp,pq,crq->cr", made.whole, covariance, made.whole))
    cold = np.exp(everything[6])
    by_resistance = {"winding": COLD + (resistance / cold - 1) / COPPER_COEFFICIENT}
    return NetworkFit(
        **dict(zip(NETWORK, np.exp(everything[: len(NETWORK)]).tolist(), strict=True)),
        resistance=float(cold),
        error=error,
        correlation=covariance[:6, :6] / error[:, None] / error,
        covariance=covariance[np.ix_(kept, kept)],
        names=(*SHARED, *(f"{name} offset" for name in sensors)),
        mean=everything[kept],
        start=float(everything[8]),
        misfit=misfit,
        count=count,
        predicted={name: made.predicted[row] for name, row in named.items()},
        error_of_prediction={name: spread[row] for name, row in named.items()},
        measured=by_resistance | {name: readings.sensors[name].values for name in sensors},
        noise={name: made.noise[row] for name, row in named.items()},
    )


class _Linear(NamedTuple):
    """The model at some numbers, and how it moves with each of them."""

    predicted: np.ndarray  # (channels, readings), the winding first
    noise: np.ndarray
    whole: np.ndarray  # (channels, readings, numbers)
    remainder: np.ndarray  # of the readings in use, over their noise
    slope: np.ndarray


def _linear(readings, model, resistance, sensors, everything, used) -> _Linear:
    inner = len(model.small)
    sets = np.vstack([np.zeros(inner), np.diag(model.small)]) + everything[:inner]
    bodies = model.temperatures(sets)
    air = (sets[:, model.air] @ model.air_at_readings.T).T
    place = {name: number for number, name in enumerate(model.bodies)}
    channels = ["winding", *sensors]
    by_set = np.stack([air if name == "air" else bodies[:, :, place[name]] for name in channels])  # (channels, readings, sets)
    cold = np.exp(everything[6])
    whole = np.zeros((*by_set.shape[:2], len(everything)))
    whole[..., :inner] = (by_set[..., 1:] - by_set[..., :1]) / model.small
    predicted = by_set[..., 0]
    # a greater cold resistance makes the same reading a lower temperature; the remainder feels it like a warmer winding
    whole[0, :, 6] += predicted[0] - COLD + 1 / COPPER_COEFFICIENT
    noise, apart = np.empty_like(predicted), np.empty_like(predicted)
    scatter = np.hypot(readings.voltage_noise / readings.current, resistance * readings.current_noise / readings.current)
    noise[0] = np.abs(scatter) / (COPPER_COEFFICIENT * cold)
    apart[0] = (resistance / cold - 1) / COPPER_COEFFICIENT + COLD - predicted[0]
    for row, name in enumerate(sensors, 1):
        offset = inner + row - 1
        whole[row, :, offset] = 1.0
        predicted[row] = predicted[row] + everything[offset]
        noise[row] = readings.sensors[name].noise
        apart[row] = readings.sensors[name].values - predicted[row]
    chosen = np.array([np.ones_like(used) if name == "air" else used for name in channels]) & np.isfinite(apart)
    return _Linear(predicted, noise, whole, apart[chosen] / noise[chosen], whole[chosen] / noise[chosen][:, None])


def _begin(readings, model, resistance, guess, before) -> np.ndarray:
    """Numbers to begin with."""
    start = float(np.median(readings.sensors["housing"].values[:3]))
    if before is None:
        first = resistance[np.isfinite(resistance)][0]
        shared = [*np.log(guess), np.log(first / (1 + COPPER_COEFFICIENT * (start - COLD))), 0.0]
    else:
        shared = before.mean[: len(SHARED)]
    air = np.linalg.lstsq(model.air_at_readings, readings.sensors["air"].values, rcond=None)[0]
    return np.concatenate([shared, [start], np.full(len(model.switched), 0.5), air])


def _known(readings, model, sensors, numbers, before) -> tuple[np.ndarray, np.ndarray]:
    """What is known beforehand: means, and how sharply (inverse of the covariance)."""
    inner = len(numbers)
    mean, sharp = np.concatenate([numbers, np.zeros(len(sensors))]), np.zeros((inner + len(sensors),) * 2)
    moments = np.arange(inner)[model.moments]
    sharp[moments, moments] = 12.0  # anywhere between two readings
    names = (*SHARED, *(f"{name} offset" for name in sensors))
    places = np.array([*range(len(SHARED)), *range(inner, len(mean))])
    if before is not None:
        if before.names != names:
            raise ValueError(f"the run before must have the same sensors: it has {', '.join(before.names[len(SHARED) :])}")
        mean[places] = before.mean
        sharp[np.ix_(places, places)] = np.linalg.inv(before.covariance)
        return mean, sharp
    spreads = [*[WIDE] * len(NETWORK), np.inf, max(readings.power_scale, 1e-9)]
    spreads += [max(readings.sensors[name].offset, 1e-9) for name in sensors]
    sharp[places, places] = np.asarray(spreads) ** -2.0
    return mean, sharp
