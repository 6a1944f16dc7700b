"""Rides that never happened: a known rider balances a known machine, and sensors with noise record it.

``python -m unikit.studies.ridden`` writes the example logs of ``data/logs``.
The truth is known here, which no log from a road can offer: whatever reads
logs is judged by it.  Rider, machine and scenario are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .. import units as u
from ..formulas import balance, delay, reflex
from ..inputs import Build

TIME_STEP = 0.0025  # s; the rider's delay is interpolated between steps
WARM_UP = 12.0  # s that are ridden before the log begins


@dataclass(frozen=True)
class Scenario:
    """What shakes a ride and what the sensors add; standard deviations and corner frequencies, all invented."""

    speed: u.MetrePerSecond = 3.0
    duration: u.Second = 120.0
    sampling_rate: u.Hertz = 100.0
    road_torque: u.NewtonMetre = 1.0  # bumps and gusts, as torque at the wheel
    road_corner: u.Hertz = 2.0
    remnant: u.NewtonMetre = 1.0  # pedal torque that answers nothing
    remnant_corner: u.Hertz = 1.0
    gyro_noise: u.RadianPerSecond = 0.001  # of each sample
    gyro_offset: u.RadianPerSecond = 0.01
    torque_noise: u.NewtonMetre = 0.15
    speed_noise: u.MetrePerSecond = 0.003
    crank_noise: u.RadianPerSecond = 0.01


@dataclass(frozen=True)
class Ridden:
    """Samples of many rides of one rider, as (ride, sample)."""

    time: u.Second
    lean_rate: u.RadianPerSecond
    pedal_torque: u.NewtonMetre
    speed: u.MetrePerSecond
    crank_rate: u.RadianPerSecond
    rider: reflex.Reflex = field(repr=False)


def _coloured(stream: np.random.Generator, rides: int, count: int, deviation: float, corner: float, step: float) -> np.ndarray:
    """First-order noise of a standard deviation, as (sample, ride)."""
    from scipy.signal import lfilter

    decay = np.exp(-2 * np.pi * corner * step)
    fresh = stream.normal(size=(count, rides))
    fresh[1:] *= np.sqrt(1 - decay**2)
    return deviation * lfilter([1.0], [1.0, -decay], fresh, axis=0)


def ride(build: Build, rider: reflex.Reflex, scenario: Scenario, seed: int, rides: int = 1) -> Ridden:
    """Let a rider balance a build without assist on the flat, and record it.

    The loop is that of :func:`reflex.system_matrices`, driven by road and
    remnant; a rider who answers lean acceleration feels what they do to it too.
    """
    from scipy.linalg import expm

    gear = build.gears.named()
    plant = balance.linear_plant(
        build.body_mass,
        build.body_centre_of_mass_height,
        build.body_inertia,
        build.wheel_mass,
        build.wheel_inertia,
        build.wheel.radius,
        speed=scenario.speed,
        drag_area=build.rider.drag_area,
        drag_height=build.body_centre_of_mass_height,
        rolling_coefficient=build.wheel.rolling_coefficient,
        air_density=1.2,
    )
    leverage = gear.efficiency / gear.ratio
    matrix, delayed = reflex.system_matrices(plant, rider, reflex.Path(0.0, np.inf, 0.0), leverage, gear.ratio, 0.0)
    late, wait = np.asarray(delayed[0][0]), float(delayed[0][1])
    if not delay.is_stable(matrix, [(late, wait)]):
        raise ValueError("this rider does not balance this machine: the ride would end at once; choose other gains or a shorter delay")
    states = len(matrix)
    steady = balance.equilibrium(
        build.body_mass,
        build.body_centre_of_mass_height,
        build.body_inertia,
        build.wheel_mass,
        build.wheel_inertia,
        build.wheel.radius,
        speed=scenario.speed,
        air_density=1.2,
        drag_area=build.rider.drag_area,
        drag_height=build.body_centre_of_mass_height,
        rolling_coefficient=build.wheel.rolling_coefficient,
    )

    every = max(1, round(1 / (scenario.sampling_rate * TIME_STEP)))
    step = 1 / (scenario.sampling_rate * every)
    samples = int(round(scenario.duration * scenario.sampling_rate))
    skip = int(round(WARM_UP * scenario.sampling_rate))
    count = (samples + skip) * every
    stream = np.random.default_rng(seed)
    road = _coloured(stream, rides, count + 1, scenario.road_torque, scenario.road_corner, step)
    remnant = _coloured(stream, rides, count + 1, scenario.remnant, scenario.remnant_corner, step)
    wheel = road + leverage * remnant  # torque at the wheel that the states do not hold

    # both ends of a step weigh in as they do where the drive is straight between them
    push = np.zeros(states)
    push[1], push[2] = -plant.lean_by_torque, plant.speed_by_torque
    big = np.zeros((3 * states, 3 * states))
    big[:states, :states] = matrix * step
    big[:states, states : 2 * states] = np.eye(states) * step
    big[states : 2 * states, 2 * states :] = np.eye(states)
    power = expm(big)
    move, once, rise = (power[:states, n * states : (n + 1) * states] for n in range(3))
    old, new = (once - rise).T, rise.T
    back = wait / step
    whole = int(np.floor(back))
    part = back - whole
    if whole < 1:
        raise ValueError(f"rider.delay must be at least {step:g} s, one step of the ride, got {wait:g}")
    felt = rider.acceleration * -plant.lean_by_torque / rider.muscle_lag  # the muscle's drive by a torque at the wheel
    history = np.zeros((whole + 2, rides, states))  # a ring: what the rider sees late
    shaken = np.zeros((whole + 2, rides))
    kept = np.zeros((count + 1, rides, states))
    state, before = np.zeros((rides, states)), np.zeros((rides, states))
    move, late, ring = move.T, late.T, whole + 2
    for now in range(count):
        history[now % ring], shaken[now % ring] = state, wheel[now]
        # at the end of this step the rider answers the state of `back` steps before it
        one, other = (now + 1 - whole) % ring, (now - whole) % ring
        after = ((1 - part) * history[one] + part * history[other]) @ late
        after[:, 3] += felt * ((1 - part) * shaken[one] + part * shaken[other])
        after += wheel[now + 1][:, None] * push
        state = state @ move + before @ old + after @ new
        before = after
        kept[now + 1] = state
    chosen = slice(skip * every, count, every)
    kept, remnant = kept[chosen], remnant[chosen]
    # without assist the torque of legs and muscle is what the speed's row weighs by the gear
    row = matrix[2].copy()
    row[0] -= plant.speed_by_lean
    row[2] -= plant.speed_by_speed
    pedal = (kept @ row) / (plant.speed_by_torque * leverage)
    shape = (samples, rides)
    lean_rate = kept[..., 1] + scenario.gyro_offset + scenario.gyro_noise * stream.normal(size=shape)
    torque = steady.wheel_torque / leverage + pedal + remnant + scenario.torque_noise * stream.normal(size=shape)
    crank = ((scenario.speed + kept[..., 2]) / plant.wheel_radius - kept[..., 1]) / gear.ratio
    return Ridden(
        np.arange(samples) / scenario.sampling_rate,
        lean_rate.T,
        torque.T,
        (scenario.speed + kept[..., 2] + scenario.speed_noise * stream.normal(size=shape)).T,
        (crank + scenario.crank_noise * stream.normal(size=shape)).T,
        rider,
    )
