"""Rides that never happened: a known rider balances a known machine, and sensors with noise record it.

``python -m unikit.studies.ridden`` writes the example logs of ``data/logs``.
The truth is known here, which no log from a road can offer: whatever reads
logs is judged by it.  Rider, machine and scenario are invented.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from .. import units as u
from ..formulas import balance, delay, reflex
from ..inputs import Build, Log, load_build, make_log

TIME_STEP = 0.0025  # s; the rider's delay is interpolated between steps
WARM_UP = 12.0  # s that are ridden before the log begins

# The riders of the example logs: what a reader of the logs should find again.
REFLEXIVE = reflex.Reflex(
    proportional=270.0,
    derivative=48.0,
    acceleration=0.0,
    speed_gain=0.02,
    delay=0.11,
    muscle_lag=0.03,
    leg_damping=2.0,
    leg_stiffness=40.0,
    replanning_time=0.2,
)
PREDICTIVE = REFLEXIVE._replace(proportional=330.0, derivative=55.0, acceleration=3.2, delay=0.14)
RIDERS = {"reflexive": (REFLEXIVE, 11), "predictive": (PREDICTIVE, 12)}  # with the seed of the log


@dataclass(frozen=True)
class Scenario:
    """What shakes a ride and what the sensors add; standard deviations and corner frequencies, all invented."""

    speed: u.MetrePerSecond = 3.0
    duration: u.Second = 120.0
    sampling_rate: u.Hertz = 100.0
    road_torque: u.NewtonMetre = 1.0  # bumps and gusts, as torque at the wheel
    road_corner: u.Hertz = 2.0
    remnant: u.NewtonMetre = 1.5  # pedal torque that answers nothing
    remnant_corner: u.Hertz = 1.0
    gyro_noise: u.RadianPerSecond = 0.001  # of each sample
    gyro_offset: u.RadianPerSecond = 0.01
    torque_noise: u.NewtonMetre = 0.15
    speed_noise: u.MetrePerSecond = 0.003
    crank_noise: u.RadianPerSecond = 0.01


@dataclass(frozen=True)
class Ridden:
    """Samples of many rides of one rider, as (ride, sample)."""

    sampling_rate: u.Hertz
    lean_rate: u.RadianPerSecond
    pedal_torque: u.NewtonMetre
    speed: u.MetrePerSecond
    crank_rate: u.RadianPerSecond
    rider: reflex.Reflex = field(repr=False)

    def log(self, number: int = 0) -> Log:
        """One of the rides as a log."""
        names = ("lean_rate", "pedal_torque", "speed", "crank_rate")
        return make_log("computed ride", "computed, invented", self.sampling_rate, {name: getattr(self, name)[number] for name in names})


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
        scenario.sampling_rate,
        lean_rate.T,
        torque.T,
        (scenario.speed + kept[..., 2] + scenario.speed_noise * stream.normal(size=shape)).T,
        (crank + scenario.crank_noise * stream.normal(size=shape)).T,
        rider,
    )


def ridden_log(build: Build, rider: reflex.Reflex, seed: int, scenario: Scenario | None = None) -> Log:
    """One ride of a known rider as a log."""
    return ride(build, rider, scenario or Scenario(), seed).log()


def resting_log(seed: int, scenario: Scenario | None = None) -> Log:
    """The sensors of a machine that stands still, held by a helper, for half a minute."""
    still = scenario or Scenario()
    stream = np.random.default_rng(seed)
    count = int(30 * still.sampling_rate)
    values = {
        "lean_rate": still.gyro_offset + still.gyro_noise * stream.normal(size=count),
        "pedal_torque": still.torque_noise * stream.normal(size=count),
        "speed": np.zeros(count),
        "crank_rate": np.zeros(count),
    }
    return make_log("machine at rest", "computed, invented", still.sampling_rate, values)


def text_of(log: Log) -> str:
    """A log as the table that the mapping of the example logs declares."""
    columns = {
        "time_ms": (1000 * log["time"], "%.0f"),
        "gyro_pitch_deg_s": (-np.degrees(log["lean_rate"]), "%.3f"),
        "crank_torque_Nm": (log["pedal_torque"], "%.2f"),
        "speed_kmh": (3.6 * log["speed"], "%.2f"),
        "cadence_rpm": (log["crank_rate"] * 30 / np.pi, "%.1f"),
    }
    rows = zip(*(np.char.mod(form, values) for values, form in columns.values()), strict=True)
    return "\n".join([",".join(columns), *(",".join(row) for row in rows)]) + "\n"


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the example logs into a folder, by default ``data/logs``."""
    given = sys.argv[1:] if arguments is None else arguments
    folder = Path(given[0] if given else "data/logs")
    build = load_build(Path("data/builds/harbour_ungeared.toml"))
    logs = {f"{name}_rider": ridden_log(build, rider, seed) for name, (rider, seed) in RIDERS.items()}
    for name, log in (logs | {"at_rest": resting_log(13)}).items():
        path = folder / f"{name}.csv"
        path.write_text(text_of(log), encoding="utf-8", newline="\n")
        print(f"{path}: written")
    return 0


if __name__ == "__main__":
    sys.exit(main())
