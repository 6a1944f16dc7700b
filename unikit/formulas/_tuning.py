"""The search behind ``reflex.tuned_reflex``: from a guess by the machine's own measures to the largest least distance of 1 + L from zero."""

from __future__ import annotations

import numpy as np

from . import _maximin, _window

_LEAST, _MOST = np.array([0.4, 0.0, 0.0]), np.array([4.0, 4.0, 2.0])  # gains over what the machine itself measures them by
# first guess of those, fitted to tuned riders: times 1, the lag of nerve and muscle, leg stiffness, lean back and time of
# replanning, all by the measures of the machine
_GUESS = {
    2: np.array([[1.15, -0.39, 1.13, -0.09, 0.28], [2.13, 0.31, -0.84, 4.6, -0.62]]),
    3: np.array([[1.61, -0.51, 1.32, 0.49, 0.23], [2.34, 0.25, -0.87, 5.56, -0.49], [0.1, 0.58, -0.14, 0.34, 0.09]]),
}
_QUICKER = 1.0, 0.9, 0.8, 0.65, 0.5, 0.3, 0.1, 0.03  # riders who have this share of the lag may be steady with that guess
_CLEAR = 0.02  # distance from zero that a guess must keep
_STAGES = 12
_LONGER = 0.03, 0.06, 0.125, 0.25, 0.5, 1.0  # of what the share lacks
_RATES, _LOWS, _CUTS = 64, 4, 5  # frequencies, lows of the distance that are looked into, parts of the chords there


def tune(loop: _window.Loop, predictive: bool) -> np.ndarray:
    """Proportional, derivative and acceleration gains of every build in columns, shape (builds, 3)."""
    return np.concatenate(_window.in_blocks(lambda block: _block(block, 3 if predictive else 2), loop))


def _block(loop: _window.Loop, size: int) -> np.ndarray:
    builds = _window.count(loop)
    square = np.broadcast_to(loop.lean_by_lean, (builds, 1))
    unit = np.hstack([square, np.sqrt(square), np.ones_like(square)])[:, :size] / loop.lean_by_torque
    least, most = _LEAST[:size], _MOST[:size]
    rates = _rates(np.sqrt(square), loop)
    coarse = _curve(rates, loop, unit)
    gains, share = _guess(loop, unit)
    waiting = np.nonzero(share < 1)[0]
    for _ in range(_STAGES):
        if not len(waiting):
            break
        own, late = _window.rows_of(loop, waiting), share[waiting]
        omega = _closer(rates[waiting], _sooner(coarse.rows(waiting), rates[waiting], own, late).at(gains[waiting]))
        curve = _curve(omega, own, unit[waiting])
        steady = _sooner(curve, omega, own, late)
        gains[waiting] = moved = _maximin.push(steady, gains[waiting], least, most, 0.1, 0.3)
        _, away = _maximin.nearest(steady.at(moved))
        for part in _LONGER:
            tried = late + part * (1 - late)
            holds = np.all(_maximin.beyond(away, _sooner(curve, omega, own, tried).at(moved)) > 0, axis=1)
            share[waiting] = np.where(holds, tried, share[waiting])
        waiting = waiting[(share[waiting] < 1) & (share[waiting] > late)]
    rows = np.nonzero(share == 1)[0]
    if len(rows):
        own, some, held = _window.rows_of(loop, rows), coarse.rows(rows), gains[rows]
        for close, slack in ((1e-2, 0.3), (3e-4, 0.05)):
            omega = _closer(rates[rows], some.at(held))
            held = _maximin.push(_curve(omega, own, unit[rows]), held, least, most, close, slack)
        gains[rows] = held
    return np.hstack([gains * unit, np.zeros((builds, 3 - size))])


def _rates(rate: np.ndarray, loop: _window.Loop) -> np.ndarray:
    """Frequencies from where lean no longer matters to where the loop has lost its strength; closer to each other towards the top."""
    step = np.linspace(0.0, 1.0, _RATES)
    low, high = 0.003 * rate, np.maximum(9 * rate, 4 / (loop.delay + 0.5 * loop.muscle_lag))
    return low * np.exp(np.log(high / low) * (1.4 - 0.4 * step) * step)


def _curve(omega: np.ndarray, loop: _window.Loop, unit: np.ndarray) -> _maximin.Curve:
    """1 + L of the ungeared loop: what the legs make, and what each gain makes."""
    pole, first, legs = _window.rider_parts(omega, loop._replace(proportional=1.0, derivative=0.0, acceleration=0.0))
    s, lean = 1j * omega, _window.wheel_response(omega, loop)[1]
    second = s * lean * _window.late(omega, loop.delay) / (1 + s * loop.muscle_lag)
    terms = np.stack([first, second, s * second][: unit.shape[1]], axis=1)
    return _maximin.Curve(1 + legs / pole, terms * (unit[:, :, None] / -pole[:, None]))


def _sooner(curve: _maximin.Curve, omega: np.ndarray, loop: _window.Loop, share: np.ndarray) -> _maximin.Curve:
    """The same with a share of the lag of nerve and muscle."""
    s, share = 1j * omega, share[:, None]
    faster = np.exp(s * loop.delay * (1 - share)) * (1 + s * loop.muscle_lag) / (1 + s * loop.muscle_lag * share)
    return curve._replace(slope=curve.slope * faster[:, None])


def _closer(omega: np.ndarray, values: np.ndarray) -> np.ndarray:
    """The frequencies and more of them around the lowest lows of the distance."""
    distance = _maximin.nearest(values)[0]
    wall = np.full((len(omega), 1), np.inf)
    low = (distance <= np.hstack([wall, distance[:, :-1]])) & (distance <= np.hstack([distance[:, 1:], wall]))
    place = np.argsort(np.where(low, distance, np.inf), axis=1, kind="stable")[:, :_LOWS]
    place = np.clip(place[:, :, None] + np.arange(-1, 2), 0, distance.shape[1] - 1).reshape(len(omega), -1)
    start, end = np.take_along_axis(omega, place, 1)[..., None], np.take_along_axis(omega, place + 1, 1)[..., None]
    more = start + (end - start) * (np.arange(1, _CUTS) / _CUTS)
    return np.sort(np.hstack([omega, more.reshape(len(omega), -1)]), axis=1)


def _guess(loop: _window.Loop, unit: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Gains by the machine's measures, and the share of the lag with which they are steady."""
    builds, size = unit.shape
    rate = unit[:, :1] / unit[:, 1:2]
    column = lambda values: np.broadcast_to(values, (builds, 1))
    lag = column((loop.delay + loop.muscle_lag) * rate)
    known = [loop.leg_stiffness / unit[:, :1], loop.speed_gain * loop.wheel_radius * rate, loop.replanning_time * rate]
    gains, share = np.empty((builds, size)), np.zeros(builds)
    for part in _QUICKER:
        rows = np.nonzero(share == 0)[0]
        if not len(rows):
            break
        features = np.hstack([column(1.0), part * lag, *map(column, known)])[rows]
        gains[rows] = np.clip(features @ _GUESS[size].T, _LEAST[:size] + 0.05, _MOST[:size] - 0.05)
        own = _window.rows_of(loop, rows)
        quicker = own._replace(delay=part * own.delay, muscle_lag=part * own.muscle_lag)
        share[rows] = np.where(_holds(quicker, gains[rows] * unit[rows]), part, 0.0)
    return gains, share


def _holds(loop: _window.Loop, gains: np.ndarray) -> np.ndarray:
    """Whether the ungeared loop is stable, and not by so little that the frequencies might mislead."""
    gains = np.hstack([gains, np.zeros((len(gains), 3 - gains.shape[1]))])
    names = "proportional", "derivative", "acceleration"
    loop = loop._replace(**{name: gains[:, place : place + 1] for place, name in enumerate(names)})
    omega = np.hstack([np.zeros((len(gains), 1)), _rates(np.broadcast_to(np.sqrt(loop.lean_by_lean), (len(gains), 1)), loop)])
    pole, command, legs = _window.rider_parts(omega, loop)
    whole = pole + legs - command
    distance, _ = _maximin.nearest(whole[:, 1:] / pole[:, 1:])
    return (distance.min(axis=1) > _CLEAR) & (_window.turns(whole / _window.stable_cubic(omega, loop)) == 0)
