"""The search behind ``reflex.tuned_reflex``: from a guess by the machine's own measures to the greatest vector margin."""

from __future__ import annotations

import numpy as np

from . import _maximin, _window

_LEAST, _MOST = np.array([0.4, 0.0, 0.0]), np.array([4.0, 4.0, 2.0])  # gains over what the machine itself measures them by
# first guess of those, fitted to tuned riders: times 1, lag of nerve and muscle, its square, damping and stiffness of the legs,
# lean back, time of replanning, and stiffness times that time, all by the measures of the machine
_GUESS = {
    2: np.array([[1.39, -0.44, 0.06, 0.34, 0.1, 0.31, 0.03, 0.81], [2.45, -2.18, 1.09, 1.88, 1.9, 5.25, 0.0, -2.13]]),
    3: np.array(
        [
            [1.99, -0.86, 0.15, 0.4, 0.17, 0.86, 0.06, 0.86],
            [1.74, -0.23, 0.22, 1.78, 1.48, 4.62, 0.01, -1.58],
            [0.47, 0.22, 0.15, 0.21, -0.74, 0.4, -0.03, 0.35],
        ]
    ),
}
_QUICKER = 1.0, 0.9, 0.8, 0.65, 0.5, 0.3, 0.1, 0.03  # riders who have this share of the lag may be steady with that guess
_CLEAR = 0.02  # distance from zero that a guess must keep
# what may be left to win, what is given away at first, and the parts of the chords in lows of the distance
_ROUNDS = (1e-2, 0.3, 4), (1e-3, 0.05, 5), (3e-4, 0.03, 10)
_STAGES = 12
_BOLD = 1.8  # lag that is tried, over the lag that surely can be borne with the same gains
_LASTS = 0.2  # share of what is missing that must be in sight to go on
_LONGER = 0.03, 0.06, 0.125, 0.25, 0.5, 1.0  # of what the share lacks
_LOWEST = 1e-3  # rad/s
_RATES, _LOWS = 80, 5  # frequencies, and lows of the distance that are looked into


def tune(loop: _window.Loop, predictive: bool) -> np.ndarray:
    """Proportional, derivative and acceleration gains of every build in columns, shape (builds, 3)."""
    return np.concatenate(_window.in_blocks(lambda block: _block(block, 3 if predictive else 2), loop))


def _block(loop: _window.Loop, size: int) -> np.ndarray:
    builds = _window.count(loop)
    square = np.broadcast_to(loop.lean_by_lean, (builds, 1))
    unit = np.hstack([square, np.sqrt(square), np.ones_like(square)])[:, :size]
    unit = unit / (loop.lean_by_torque * (loop.gear_leverage + loop.assist_gain))
    limits = _LEAST[:size], _MOST[:size]
    rates = _rates(np.sqrt(square), loop)
    coarse = _curve(rates, loop, unit)
    gains, share = _guess(loop, unit)
    late = np.nonzero((share > 0) & (share < 1))[0]
    if len(late):
        own = _window.rows_of(loop, late)
        gains[late], share[late] = _later(coarse.rows(late), rates[late], own, unit[late], gains[late], share[late], limits)
    rows = np.nonzero(share == 1)[0]
    if len(rows):
        own, some, held = _window.rows_of(loop, rows), coarse.rows(rows), gains[rows]
        for close, slack, cuts in _ROUNDS:
            omega = _closer(rates[rows], some.at(held), cuts)
            held = _maximin.push(_curve(omega, own, unit[rows]), held, limits, close, slack)
        gains[rows] = held
    return np.hstack([gains * unit, np.zeros((builds, 3 - size))])


def _later(
    coarse: _maximin.Curve,
    rates: np.ndarray,
    loop: _window.Loop,
    unit: np.ndarray,
    gains: np.ndarray,
    share: np.ndarray,
    limits: tuple[np.ndarray, np.ndarray],
) -> tuple[np.ndarray, np.ndarray]:
    """From riders who are steady with a share of their lag to the whole lag, or to gains that come nearest; and the share reached."""
    gains, share, reached = gains.copy(), share.copy(), np.full(len(gains), np.nan)
    before, going = share.copy(), np.arange(len(gains))
    for _ in range(_STAGES):
        own, now = _window.rows_of(loop, going), share[going]
        omega = _closer(rates[going], _sooner(coarse.rows(going), rates[going], own, now).at(gains[going]))
        curve = _curve(omega, own, unit[going])
        steady = _sooner(curve, omega, own, now)
        held = _maximin.push(steady, gains[going], limits, 0.1)
        distance, away = _maximin.nearest(steady.at(held))
        nearest, sure = distance.min(axis=1), now
        for part in _LONGER:
            tried = now + part * (1 - now)
            sure = np.where(np.all(_maximin.beyond(away, _sooner(curve, omega, own, tried).at(held)) > 0, axis=1), tried, sure)
        bold = np.minimum(now + _BOLD * (sure - now), 1.0)
        further = _sooner(curve, omega, own, bold)
        moved = _maximin.push(further, held, limits, 0.3, away=away)
        holds = np.all(_maximin.beyond(away, further.at(moved)) > 0, axis=1)
        gains[going], share[going] = np.where(holds[:, None], moved, held), np.where(holds, bold, sure)
        # the distance falls nearly in proportion to 1 / share: will it last?
        lasts = nearest * (1 / before[going] - 1 / now) > _LASTS * (reached[going] - nearest) * (1 / now - 1)
        lasts |= np.isnan(reached[going])
        before[going], reached[going] = now, nearest
        going = going[lasts & (share[going] < 1) & (share[going] > now)]
        if not len(going):
            break
    rest = np.nonzero(share < 1)[0]
    if len(rest):
        own, some, held = _window.rows_of(loop, rest), coarse.rows(rest), gains[rest]
        omega = _closer(rates[rest], _sooner(some, rates[rest], own, share[rest]).at(held))
        curve = _curve(omega, own, unit[rest])
        away = _maximin.nearest(_sooner(curve, omega, own, share[rest]).at(held))[1]
        gains[rest] = _maximin.push(curve, held, limits, 1e-2, away=away)
        share[rest] = np.where(np.all(_maximin.beyond(away, curve.at(gains[rest])) > 0, axis=1), 1.0, share[rest])
    return gains, share


def _rates(rate: np.ndarray, loop: _window.Loop) -> np.ndarray:
    """Frequencies from where even the speed has come to rest to where the loop has lost its strength; closer towards the top."""
    step = np.linspace(0.0, 1.0, _RATES)
    high = np.maximum(9 * rate, 4 / (loop.delay + 0.5 * loop.muscle_lag))
    return _LOWEST * np.exp(np.log(high / _LOWEST) * (1.5 - 0.5 * step) * step)


def _curve(omega: np.ndarray, loop: _window.Loop, unit: np.ndarray) -> _maximin.Curve:
    """1 + L: what the legs make, and what each gain makes."""
    pole, first, legs = _window.rider_parts(omega, loop._replace(proportional=1.0, derivative=0.0, acceleration=0.0))
    s, lean = 1j * omega, _window.wheel_response(omega, loop)[1]
    second = s * lean * _window.late(omega, loop.delay) / (1 + s * loop.muscle_lag)
    terms = np.stack([first, second, s * second][: unit.shape[1]], axis=1)
    lever = _window.lever(omega, loop) / pole
    return _maximin.Curve(1 + lever * legs, terms * (-lever[:, None] * unit[:, :, None]))


def _sooner(curve: _maximin.Curve, omega: np.ndarray, loop: _window.Loop, share: np.ndarray) -> _maximin.Curve:
    """The same with a share of the lag of nerve and muscle."""
    s, share = 1j * omega, share[:, None]
    faster = np.exp(s * loop.delay * (1 - share)) * (1 + s * loop.muscle_lag) / (1 + s * loop.muscle_lag * share)
    return curve._replace(slope=curve.slope * faster[:, None])


def _closer(omega: np.ndarray, values: np.ndarray, cuts: int = 5) -> np.ndarray:
    """The frequencies and more of them around the lowest lows of the distance."""
    distance = _maximin.nearest(values)[0]
    wall = np.full((len(omega), 1), np.inf)
    low = (distance < np.hstack([wall, distance[:, :-1]])) & (distance <= np.hstack([distance[:, 1:], wall]))
    place = np.argsort(np.where(low, distance, np.inf), axis=1, kind="stable")[:, :_LOWS]
    place = np.clip(place[:, :, None] + np.arange(-1, 2), 0, distance.shape[1] - 1).reshape(len(omega), -1)
    start, end = np.take_along_axis(omega, place, 1)[..., None], np.take_along_axis(omega, place + 1, 1)[..., None]
    more = start + (end - start) * (np.arange(1, cuts) / cuts)
    return np.sort(np.hstack([omega, more.reshape(len(omega), -1)]), axis=1)


def _guess(loop: _window.Loop, unit: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Gains by the machine's measures, and the share of the lag with which they are steady."""
    builds, size = unit.shape
    rate = unit[:, :1] / unit[:, 1:2]
    column = lambda values: np.broadcast_to(values, (builds, 1))
    assisted = loop.assist_gain / (loop.gear_leverage + loop.assist_gain)
    lag = column((loop.delay + loop.muscle_lag + assisted * (loop.dead_time + loop.filter_lag + loop.motor_lag)) * rate)
    stiffness, again = loop.leg_stiffness / loop.gear_ratio / unit[:, :1], loop.replanning_time * rate
    known = (
        loop.leg_damping / loop.gear_ratio / unit[:, 1:2],
        stiffness,
        loop.speed_gain * loop.wheel_radius * rate,
        again,
        stiffness * again,
    )
    gains, share = np.empty((builds, size)), np.zeros(builds)
    for part in _QUICKER:
        rows = np.nonzero(share == 0)[0]
        if not len(rows):
            break
        features = np.hstack([column(1.0), part * lag, (part * lag) ** 2, *map(column, known)])[rows]
        gains[rows] = np.clip(features @ _GUESS[size].T, _LEAST[:size] + 0.05, _MOST[:size] - 0.05)
        own = _window.rows_of(loop, rows)
        quicker = own._replace(delay=part * own.delay, muscle_lag=part * own.muscle_lag)
        share[rows] = np.where(_holds(quicker, gains[rows] * unit[rows]), part, 0.0)
    return gains, share


def _holds(loop: _window.Loop, gains: np.ndarray) -> np.ndarray:
    """Whether the loop is stable, and not by so little that the frequencies might mislead."""
    gains = np.hstack([gains, np.zeros((len(gains), 3 - gains.shape[1]))])
    names = "proportional", "derivative", "acceleration"
    loop = loop._replace(**{name: gains[:, place : place + 1] for place, name in enumerate(names)})
    omega = np.hstack([np.zeros((len(gains), 1)), _rates(np.broadcast_to(np.sqrt(loop.lean_by_lean), (len(gains), 1)), loop)])
    pole, command, legs = _window.rider_parts(omega, loop)
    whole = pole + _window.lever(omega, loop) * (legs - command)
    distance, _ = _maximin.nearest(whole[:, 1:] / pole[:, 1:])
    return (distance.min(axis=1) > _CLEAR) & (_window.turns(whole / _window.stable_cubic(omega, loop)) == 0)
