"""The gains at which a loop of rider and assist is stable: exact edges, for many builds at once.

The loop is affine in the assist gain, so the gain that puts a root on the
imaginary axis at a frequency is a number that one can write down.  Where it is
real, it is an edge.  Between the edges the number of unstable roots is
constant; it is counted by the argument principle in one interval, and from
there each edge says by its direction how many roots cross.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, NamedTuple

import numpy as np

from .. import units as u

BLOCK = 256  # builds per pass: so many fit into the cache
_LOWEST = 1e-3  # rad/s; a root this slow is no matter of balance
_SLOW, _WIDE = np.geomspace(_LOWEST, 0.1, 34)[:-1], np.geomspace(1.0, 1e5, 121)


class Loop(NamedTuple):
    """All numbers of a loop; the fields broadcast against each other and against a frequency."""

    lean_by_lean: u.Values
    lean_by_torque: u.Values
    lean_by_speed: u.Values
    speed_by_lean: u.Values
    speed_by_torque: u.Values
    speed_by_speed: u.Values
    wheel_radius: u.Values
    proportional: u.Values
    derivative: u.Values
    acceleration: u.Values
    speed_gain: u.Values
    delay: u.Values
    muscle_lag: u.Values
    leg_damping: u.Values
    leg_stiffness: u.Values
    replanning_time: u.Values
    dead_time: u.Values
    filter_lag: u.Values
    motor_lag: u.Values
    gear_leverage: u.Values
    gear_ratio: u.Values
    assist_gain: u.Values = 0.0  # only where a rider is tuned; elsewhere the gain is what is asked for


class Response(NamedTuple):
    """Parts of the loop at a frequency: what the path does, the machine's polynomial, and rider and legs times that polynomial."""

    lag: u.Values
    pole: u.Values
    rider: u.Values


class Window(NamedTuple):
    """Edges per build, none where found is false; what else the search saw of intervals below zero or above the greatest gain."""

    low: np.ndarray
    low_frequency: np.ndarray
    high: np.ndarray
    high_frequency: np.ndarray
    found: np.ndarray
    below_zero: np.ndarray
    higher: np.ndarray


def _complex(real: u.Values, imag: u.Values) -> np.ndarray:
    out = np.empty(np.broadcast(real, imag).shape, complex)
    out.real, out.imag = real, imag
    return out


def late(omega: u.Values, time: u.Values) -> np.ndarray:
    angle = omega * time
    return _complex(np.cos(angle), -np.sin(angle))


def path_lag(omega: u.Values, loop: Loop) -> np.ndarray:
    """Motor torque over assist gain times pedal torque."""
    first, second = omega * loop.filter_lag, omega * loop.motor_lag
    return late(omega, loop.dead_time) / _complex(1 - first * second, first + second)


def lever(omega: u.Values, loop: Loop) -> u.Values:
    """Wheel torque over crank torque with the loop's own assist gain."""
    return loop.gear_leverage + loop.assist_gain * path_lag(omega, loop)


def wheel_response(omega: u.Values, plant: Any) -> tuple[np.ndarray, np.ndarray, u.Values]:
    """Characteristic polynomial of the machine, and what multiplies it in lean and in speed (a real one) per wheel torque."""
    square, b = omega * omega, plant.lean_by_torque
    sum_ = square + plant.lean_by_lean
    pole = _complex(plant.speed_by_speed * sum_ - plant.lean_by_speed * plant.speed_by_lean, -omega * sum_)
    lean = _complex(b * plant.speed_by_speed + plant.lean_by_speed * plant.speed_by_torque, -omega * b)
    return pole, lean, -sum_ * plant.speed_by_torque - b * plant.speed_by_lean


def rider_parts(omega: u.Values, loop: Loop) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Polynomial of the machine, and times that polynomial what the command and what the legs make of wheel torque."""
    square = omega * omega
    pole, lean, speed = wheel_response(omega, loop)
    still, rising = lean.real, omega * lean.imag
    direct = loop.proportional - loop.acceleration * square
    wanted = _complex(
        direct * still - loop.derivative * rising + loop.proportional * loop.speed_gain * speed,
        loop.derivative * omega * still + direct * lean.imag,
    )
    command = wanted * late(omega, loop.delay) / _complex(1.0, omega * loop.muscle_lag)
    crank = _complex(speed / loop.wheel_radius + rising, -omega * still)
    fast = omega * loop.replanning_time
    given = _complex(-loop.leg_damping * square, loop.leg_stiffness * omega) * (loop.replanning_time**2 / loop.gear_ratio)
    return pole, command, given * crank / _complex(1 - fast * fast, 2 * fast)


def response(omega: u.Values, loop: Loop) -> Response:
    """The loop's parts at a frequency; the loop is (gear leverage + gain * lag) * rider / pole."""
    pole, command, legs = rider_parts(omega, loop)
    return Response(path_lag(omega, loop), pole, legs - command)


def around(omega: u.Values, loop: Loop, gain: u.Values, voluntary: bool) -> np.ndarray:
    """Response around the loop, broken at the crank torque, or at the rider's command with the legs inside."""
    pole, command, legs = rider_parts(omega, loop)
    leverage = loop.gear_leverage + gain * path_lag(omega, loop)
    return -leverage * command / (pole + leverage * legs) if voluntary else leverage * (legs - command) / pole


def stable_cubic(omega: u.Values, loop: Loop) -> np.ndarray:
    """A polynomial of the machine's degree whose roots are all stable; over it the characteristic function stays finite."""
    rate = np.sqrt(loop.lean_by_lean)
    square = omega * omega
    return _complex(rate * (loop.lean_by_lean - 3 * square), omega * (3 * loop.lean_by_lean - square))


def columns(loop: Loop) -> tuple[Loop, tuple[int, ...]]:
    """Builds down the first axis; what is the same for all builds stays a single number."""
    shape = np.broadcast_shapes(*(np.shape(part) for part in loop))

    def column(part: u.Values) -> np.ndarray:
        array = np.asarray(part, float)
        return array.reshape(1, 1) if array.size == 1 else np.broadcast_to(array, shape).reshape(-1, 1)

    return Loop(*map(column, loop)), shape


def rows_of(loop: Loop, rows: np.ndarray | slice) -> Loop:
    """Some builds out of columns."""
    return Loop(*(part if len(part) == 1 else part[rows] for part in loop))


def count(loop: Loop) -> int:
    """How many builds columns hold."""
    return max(len(part) for part in loop)


def grid(loop: Loop, greatest: float) -> np.ndarray:
    """Frequencies up to where no gain up to the greatest can hold the loop at one; fine enough for its phase."""
    omega, square = _WIDE, _WIDE**2
    plain = omega * (square + loop.lean_by_lean)
    _, lean, speed = wheel_response(0.0, loop)
    lean, speed = abs(lean.real) + loop.lean_by_torque * omega, abs(speed) + square * loop.speed_by_torque
    wanted = (abs(loop.proportional) + abs(loop.derivative) * omega + abs(loop.acceleration) * square) * lean
    wanted = wanted + abs(loop.proportional * loop.speed_gain) * speed
    legs = (loop.leg_damping + loop.leg_stiffness / omega) * (speed / loop.wheel_radius + omega * lean) / loop.gear_ratio
    strength = loop.gear_leverage + greatest / np.sqrt(1 + (omega * loop.filter_lag) ** 2)
    reaches = np.any((wanted / (omega * loop.muscle_lag) + legs) * strength >= plain, axis=0)
    last = min(int(np.max(np.nonzero(reaches)[0], initial=0)) + 1, len(omega) - 1)
    top = max(float(omega[last]), 5.0 * float(np.sqrt(np.max(loop.lean_by_lean))))
    step = 0.25 / float(np.max(loop.delay + loop.dead_time) + 1e-3)
    bend = min(step / 0.04, top)
    middle = 0.1 * np.exp(np.linspace(0.0, np.log(bend / 0.1), max(int(np.log(bend / 0.1) / 0.04), 2)))
    return np.concatenate([_SLOW, middle, np.arange(bend + step, top + 2 * step, step)])


def turns(values: np.ndarray) -> np.ndarray:
    """Unstable roots, from the characteristic function over a stable polynomial along the frequencies from a real start."""
    x, y = values.real, values.imag
    above = y >= 0
    change = above[..., 1:] != above[..., :-1]
    left = (x[..., :-1] * y[..., 1:] - x[..., 1:] * y[..., :-1]) * np.where(above[..., 1:], 1, -1) < 0
    crossed = np.where(change & left, np.where(above[..., 1:], 1, -1), 0).sum(axis=-1)
    return 2 * crossed + (x[..., 0] < 0)


def _start(loop: Loop, first: Response) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pole and rider at rate zero, and which builds leave the speed undetermined (a root at zero that no gain moves)."""
    still = response(np.zeros((1, 1)), loop)
    pole, rider = still.pole.real, still.rider.real
    neutral = (abs(pole) < 1e-14) & (abs(rider) < 1e-14)
    turned = 1 / (1j * _LOWEST)  # without the root at zero the first frequency stands for zero
    pole = np.where(neutral, (first.pole * turned).real, pole)
    return pole, np.where(neutral, (first.rider * turned).real, rider), neutral


def _folds(omega: np.ndarray, height: np.ndarray, evaluate) -> tuple[np.ndarray, ...]:
    """Pairs of edges between two grid points: where the height nearly touches zero, look at the vertex of the parabola."""
    left, here, right = height[:, :-2], height[:, 1:-1], height[:, 2:]
    side = np.sign(here)
    row, place = np.nonzero((left * side > here * side) & (right * side >= here * side) & (here != 0))
    x0, x1, x2 = omega[place], omega[place + 1], omega[place + 2]
    y0, y1, y2 = left[row, place], here[row, place], right[row, place]
    slope = (y1 - y0) / (x1 - x0)
    bend = ((y2 - y1) / (x2 - x1) - slope) / (x2 - x0)
    vertex = np.clip(0.5 * (x0 + x1 - slope / np.where(bend == 0, 1.0, bend)), x0, x2)
    lowest = y1 + (slope + bend * (vertex - x0)) * (vertex - x1)
    near = lowest * y1 < 0.3 * y1 * y1
    row, x0, x2, y0, y2, vertex = (part[near] for part in (row, x0, x2, y0, y2, vertex))
    found = evaluate(row, vertex)
    real = found * y0 < 0
    row, x0, x2, y0, y2, vertex, found = (part[real] for part in (row, x0, x2, y0, y2, vertex, found))
    return np.tile(row, 2), np.append(x0, vertex), np.append(vertex, x2), np.append(y0, found), np.append(found, y2)


def _edges(loop: Loop, omega: np.ndarray, parts: Response) -> tuple[np.ndarray, ...]:
    """Build, frequency, gain and roots gained (as the gain grows) of every crossing at a frequency above zero."""
    flat = Loop(*(part[:, 0] for part in loop))

    def at(row: np.ndarray, rate: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        own = Loop(*(part if len(part) == 1 else part[row] for part in flat))
        found = response(rate, own)
        return -(found.pole + own.gear_leverage * found.rider), found.lag * found.rider, own

    def evaluate(row: np.ndarray, rate: np.ndarray) -> np.ndarray:
        top, bottom, own = at(row, rate)
        return (top.imag * bottom.real - top.real * bottom.imag) / (rate * rate + own.lean_by_lean) ** 3

    top, bottom = -(parts.pole + loop.gear_leverage * parts.rider), parts.lag * parts.rider
    height = (top.imag * bottom.real - top.real * bottom.imag) / (omega * omega + loop.lean_by_lean) ** 3
    above = height > 0
    row, place = np.nonzero(above[:, 1:] != above[:, :-1])
    more = _folds(omega, height, evaluate)
    row, low, high, low_height, high_height = (
        np.append(one, two)
        for one, two in zip((row, omega[place], omega[place + 1], height[row, place], height[row, place + 1]), more, strict=True)
    )
    gained = np.where(high_height > 0, 2, -2)
    middle, done = low, np.zeros(len(low), bool)
    for _ in range(50):  # false position; an end that stays loses weight by as much as the other end gained
        wanted = low + (high - low) * low_height / np.where(done, 1.0, low_height - high_height)
        done |= np.abs(wanted - middle) <= 1e-12 * middle
        middle = np.where(done, middle, wanted)
        found = evaluate(row, middle)
        done |= found == 0
        if np.all(done):
            break
        same = (found > 0) == (high_height > 0)
        weight = 1 - found / np.where(done, 1.0, np.where(same, high_height, low_height))
        weight = np.where(weight > 0, weight, 0.5)
        low, high = np.where(same, low, middle), np.where(same, middle, high)
        low_height = np.where(same, weight * low_height, found)
        high_height = np.where(same, found, weight * high_height)
    top, bottom, _ = at(row, middle)
    gain = np.full(len(row), np.inf)  # where rider and legs do nothing at all, no gain does
    np.divide((top * bottom.conj()).real, np.abs(bottom) ** 2, out=gain, where=bottom != 0)
    return row, middle, gain, gained, above[:, 0]


def _window(loop: Loop, omega: np.ndarray, greatest: float) -> Window:
    builds = count(loop)
    parts = response(omega, loop)
    row, rate, gain, gained, rising = _edges(loop, omega, parts)
    pole, rider, neutral = _start(loop, Response(*(part[:, :1] for part in parts)))
    leverage = np.broadcast_to(loop.gear_leverage, (builds, 1))
    still = np.full((builds, 1), -np.inf)
    np.divide(-(pole + leverage * rider), rider, out=still, where=np.broadcast_to(rider != 0, (builds, 1)))
    row, rate = np.append(row, np.arange(builds)), np.append(rate, np.zeros(builds))
    gain = np.append(gain, still[:, 0])
    gained = np.append(gained, np.broadcast_to(np.where(rising, 1, -1), builds))
    higher = np.bincount(row, (gain >= greatest) & (gained < 0), minlength=builds) > 0  # roots that only a larger gain takes away
    keep = (gain > -leverage[row, 0]) & (gain < greatest)
    order = np.lexsort((gain[keep], row[keep]))
    row, rate, gain, gained = (part[keep][order] for part in (row, rate, gain, gained))
    number = np.bincount(row, minlength=builds)
    place = np.arange(len(row)) - (np.cumsum(number) - number)[row]
    size = (builds, int(number.max(initial=0)))
    edge, frequency, step = np.full(size, greatest), np.zeros(size), np.zeros(size, int)
    edge[row, place], frequency[row, place], step[row, place] = gain, rate, gained
    low, high = np.hstack([-leverage, edge]), np.hstack([edge, np.full((builds, 1), greatest)])
    cubic = stable_cubic(omega, loop)
    if np.any(neutral):
        cubic = np.where(neutral, cubic / (1 + np.sqrt(loop.lean_by_lean) / (1j * omega)), cubic)

    def roots(middle: np.ndarray) -> np.ndarray:
        still = np.broadcast_to(pole + (leverage + middle) * rider, (builds, 1))
        return turns(np.hstack([still, (parts.pole + (loop.gear_leverage + middle * parts.lag) * parts.rider) / cubic]))

    every = np.arange(builds)
    width, middles = high - np.maximum(low, 0.0), 0.5 * (high + np.maximum(low, 0.0))
    clearest = np.argmax(width / (leverage + middles), axis=1)  # counted here, where no root is near the axis
    inside = np.hstack([np.zeros((builds, 1), int), np.cumsum(step, axis=1)])
    stable = inside + (roots(middles[every, clearest][:, None]) - inside[every, clearest])[:, None] == 0
    best = np.argmax(np.where(stable, width, -np.inf), axis=1)
    found = stable[every, best] & (width[every, best] > 0)
    if np.any(found & (best != clearest)):
        found &= roots(middles[every, best][:, None]) == 0  # both counts must agree
    ends = np.hstack([np.zeros((builds, 1)), frequency, np.zeros((builds, 1))])
    lowest = np.maximum(low[every, best], 0.0)
    return Window(
        np.where(found, lowest, 0.0),
        np.where(found & (lowest > 0), ends[every, best], 0.0),
        np.where(found, high[every, best], 0.0),
        np.where(found, ends[every, best + 1], 0.0),
        found,
        np.any(stable & (high > low) & (high <= 0), axis=1),
        higher,
    )


def window(loop: Loop, greatest: float) -> Window:
    """The widest stable interval of gains from zero to the greatest, of every build in columns."""
    omega = grid(loop, greatest)
    return Window(*map(np.concatenate, zip(*in_blocks(lambda block: _window(block, omega, greatest), loop), strict=True)))


def in_blocks(function: Callable[..., Any], loop: Loop, *more: np.ndarray) -> list[Any]:
    """What a function makes of so many builds at a time as fit into the cache; numpy lets the cores work side by side.

    Further arrays have one row per build.
    """
    builds = max(count(loop), *map(len, more)) if more else count(loop)
    if builds <= BLOCK:
        return [function(loop, *more)]
    blocks = [slice(start, start + BLOCK) for start in range(0, builds, BLOCK)]
    with ThreadPoolExecutor(max_workers=min(os.cpu_count() or 1, len(blocks))) as cores:
        return list(cores.map(lambda block: function(rows_of(loop, block), *(part[block] for part in more)), blocks))
