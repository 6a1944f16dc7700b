"""The ends of the reachable torque, one machine, rotation and direction per element of flat arrays: behind ``reach``."""

from __future__ import annotations

import numpy as np

from . import _plane
from ._bracket import crossing

PHASE, BATTERY, CHARGE, VOLTAGE, WEAKENING, FREQUENCY = range(6)  # what ends it, in the order of ``reach.LIMIT_WORDS``
_FINE = 1e-12  # how closely ends are found, as a share
EDGE = 1e-9  # slack over the squared voltage that counts as none


def end(m: _plane.Machine, way, phase, drawn, fed) -> tuple[np.ndarray, np.ndarray]:
    """Greatest torque one way (1 along the rotation, -1 against it), and the number of the word for what ends it."""
    start = np.zeros_like(phase)
    y = way * np.minimum(_phase_reach(m, phase), _farthest(m, drawn))
    by = np.full(phase.shape, PHASE)
    x, _, spare = _plane.commanded(m, start)
    powered = _plane.power(m, x, start) <= drawn
    possible = powered & (spare >= -1e-12 * m.source**2)
    # 1. Along the currents of most torque per ampere: the pack's power.
    over = possible & (_plane.power(m, _plane.favoured(m, y), y) > drawn)
    if _plane.linear(m):
        y, by = np.where(over, way * _drawing(m, way, np.maximum(drawn, m.standby)), y), np.where(over, BATTERY, by)
    else:
        y, by = _along(m, y, by, over, BATTERY, lambda part, at: _plane.power(part, _plane.favoured(part, at), at) - drawn[over])
    torque = _plane.torque(m, _plane.favoured(m, y), y)
    # 2. The voltage, with as much weakening as there may be.
    spare = _plane.slack(m, _plane.favoured(m, y), y)[0]
    short = possible & (spare < -1e-13 * m.source**2)
    plain = short & (m.weakening == 0)
    y, by = _along(m, y, by, plain, VOLTAGE, lambda part, at: -_plane.slack(part, start[plain], at)[0])
    torque = np.where(plain, _plane.torque(m, start, y), torque)
    weak = np.flatnonzero(short & (m.weakening > 0))
    if weak.size:
        torque[weak], by[weak] = _corner(m.at(weak), y[weak], phase[weak], drawn[weak])
    torque, by = np.where(possible, torque, 0.0), np.where(possible, by, np.where(powered, VOLTAGE, BATTERY))
    # 3. What is fed back, on the way from no torque to the end found so far.
    braking = np.flatnonzero(possible & (torque < 0))
    if braking.size:
        torque[braking], by[braking] = _fed_back(m.at(braking), torque[braking], by[braking], fed[braking])
    return torque, by


def _phase_reach(m: _plane.Machine, phase) -> np.ndarray:
    """Quadrature current of most torque per ampere at the whole phase current."""
    y = phase.copy()
    if _plane.salient(m):
        y = crossing(lambda y: np.hypot(_plane.favoured(m, y), y) - phase, 0 * phase, phase, _FINE * phase)
    return y


def _farthest(m: _plane.Machine, drawn) -> np.ndarray:
    """A quadrature current that pack and voltage allow neither way: where the search begins without a phase limit."""
    work = m.turning * m.torque_per_flux * (m.flux + np.abs(m.quadrature - m.direct) * m.weakening)
    by_power = (work + np.sqrt(work**2 + 6 * m.resistance * drawn)) / (3 * m.resistance)
    top = m.source + np.sqrt(m.source**2 + m.inner * work**2 / m.resistance)
    by_voltage = (m.share * top + m.rate * (m.flux + m.direct * m.weakening)) / m.resistance
    return 1.01 * np.minimum(by_power, by_voltage) + 1e-6


def _drawing(m: _plane.Machine, way, power) -> np.ndarray:
    """Size of the quadrature current that draws a bus power above the standby, torque and current in proportion."""
    work, spare = way * m.turning * m.torque_per_flux * m.flux, power - m.standby
    root = np.sqrt(work**2 + 6 * m.resistance * spare)
    # Each of two forms where it does not take the difference of nearly equal numbers.
    return np.where(work > 0, 2 * spare / np.where(work > 0, work + root, 1.0), (root - work) / (3 * m.resistance))


def _feeding(m: _plane.Machine, power) -> np.ndarray:
    """Size of the least braking current that feeds back a bus power at or below the standby, torque and current in proportion."""
    work, fed = m.turning * m.torque_per_flux * m.flux, m.standby - power
    root = np.sqrt(np.maximum(work**2 - 6 * m.resistance * fed, 0.0))
    return 2 * fed / np.maximum(work + root, 1e-300)


def _along(m: _plane.Machine, y, by, chosen, word: int, beyond) -> tuple[np.ndarray, np.ndarray]:
    """Quadrature currents brought back to where ``beyond`` becomes 0, for the chosen elements."""
    if not chosen.any():
        return y, by
    part, end = m.at(chosen), y[chosen]
    y, by = y.copy(), by.copy()
    y[chosen] = crossing(lambda at: beyond(part, at), 0 * end, end, _FINE * np.abs(end))
    by[chosen] = word
    return y, by


def _weakest(m: _plane.Machine, outside) -> tuple[np.ndarray, np.ndarray]:
    """Currents where the edge of the voltage has its greatest torque, from a torque that the voltage does not allow.

    Along equal torque the slack is greatest somewhere; what is sought is the
    torque at which that greatest slack is 0, by Newton's method from outside.
    """
    torque, low, high = outside, -m.weakening, np.zeros_like(outside)

    def rise(x, wanted):
        """Slope of the slack over the direct current at equal torque."""
        y = _plane.quadrature(m, wanted, x)
        _, by_x, by_y = _plane.slack(m, x, y)
        along_x, along_y = _plane.slopes(m, x, y)
        return by_x - by_y * along_x / along_y

    for _ in range(40):
        # The slope falls as the direct current rises; below 0 throughout, or above, the best is at an end.
        x = crossing(lambda at: -rise(at, torque), low, high, 1e-9 * m.weakening)  # noqa: B023 - called in this turn of the loop alone
        x = np.where(np.isfinite(x), x, np.where(x < 0, low, high))
        y = _plane.quadrature(m, torque, x)
        value, _, by_y = _plane.slack(m, x, y)
        usable = by_y * outside < 0
        ahead = torque - np.where(usable, value * _plane.slopes(m, x, y)[1] / np.where(usable, by_y, 1.0), 0.0)
        torque, before = np.where(np.abs(ahead) < np.abs(outside), ahead, outside), torque
        if np.all(np.abs(torque - before) <= 1e-14 * np.abs(outside)):
            break
    return x, _plane.quadrature(m, torque, x)


def _meeting(m: _plane.Machine, x, y, other) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Where the edge of the voltage meets another limit, by Newton's method for both, and whether it was found.

    ``other`` gives a limit's excess as a share and its slopes over the two currents.
    """
    for _ in range(12):
        value, by_x, by_y = _plane.slack(m, x, y)
        excess, along_x, along_y = other(m, x, y)
        turn = by_x * along_y - by_y * along_x
        turn = np.where(turn == 0, 1e-300, turn)
        step_x, step_y = (excess * by_y - value * along_y) / turn, (value * along_x - excess * by_x) / turn
        x, y = np.clip(x + step_x, -_plane.FAR, _plane.FAR), np.clip(y + step_y, -_plane.FAR, _plane.FAR)
        if np.all(np.abs(step_x) + np.abs(step_y) <= 1e-9 * (np.abs(x) + np.abs(y))):
            break
    good = (np.abs(_plane.slack(m, x, y)[0]) <= EDGE * m.source**2) & (np.abs(other(m, x, y)[0]) <= EDGE)
    return x, y, good & (x <= _plane.favoured(m, y)) & (x >= -m.weakening)


def _circle(phase):
    """Excess over the phase current."""
    return lambda m, x, y: ((x**2 + y**2) / phase**2 - 1, 2 * x / phase**2, 2 * y / phase**2)


def _powered(limit):
    """Excess over a power of the bus."""

    def excess(m, x, y):
        along_x, along_y = _plane.slopes(m, x, y)
        ohmic, scale = 3 * m.resistance, np.maximum(np.abs(limit), 1.0)
        rise_x, rise_y = ohmic * x + m.turning * along_x, ohmic * y + m.turning * along_y
        return (_plane.power(m, x, y) - limit) / scale, rise_x / scale, rise_y / scale

    return excess


def _corner(m: _plane.Machine, outside, phase, drawn) -> tuple[np.ndarray, np.ndarray]:
    """Greatest torque where the voltage allows it with weakening only: until phase current, pack or weakening end it.

    ``outside`` is a quadrature current that the voltage does not allow.
    """

    def passed(x, y, chosen):
        return np.stack([np.hypot(x, y) / phase[chosen] - 1, _plane.power(m.at(chosen), x, y) / drawn[chosen] - 1])

    x, y = _weakest(m, _plane.torque(m, _plane.favoured(m, outside), outside))
    torque = _plane.torque(m, x, y)
    word = np.where(x <= -m.weakening, WEAKENING, VOLTAGE)
    left = np.flatnonzero(passed(x, y, np.arange(len(x))).max(axis=0) > 0)
    # Most ends are found at once where the edge of the voltage meets the one limit or the other ...
    for name, limit in ((WEAKENING, lambda part: _circle(phase[part])), (BATTERY, lambda part: _powered(drawn[part]))):
        part = m.at(left)
        there_x, there_y, met = _meeting(part, x[left], y[left], limit(left))
        met &= (there_x >= x[left]) & (passed(there_x, there_y, left).max(axis=0) <= EDGE) & (there_y * y[left] >= 0)
        found = left[met]
        torque[found], word[found] = _plane.torque(m.at(found), there_x[met], there_y[met]), name
        left = left[~met]
    # ... and the others are sought on the way from no torque.
    if left.size:
        part, most = m.at(left), torque[left]

        def ends(short):
            """The currents run into their greatest torque as a square root does: what is sought is the root of what is short of it."""
            return passed(*_plane.commanded(part, most * (1 - short**2))[:2], left)

        short = crossing(lambda at: ends(at).max(axis=0), np.ones_like(most), 0 * most, _FINE)
        short = np.where(np.isfinite(short), short, 1.0)
        torque[left] = most * (1 - short**2)
        word[left] = np.choose(ends(short).argmax(axis=0), [WEAKENING, BATTERY])
    return torque, word


def _fed_back(m: _plane.Machine, torque, by, fed) -> tuple[np.ndarray, np.ndarray]:
    """Braking brought back to the first torque at which as much is fed back as may be."""

    # Most is fed back where the copper loss grows as fast as the power of the shaft.
    pull = m.turning * m.torque_per_flux * m.flux / (3 * m.resistance)
    most = pull
    for _ in range(30 if np.any(m.roll) else 0):
        square = (m.roll * most) ** 2
        most = most - (most * (1 + square) ** 1.5 - pull) / ((1 + square) ** 0.5 * (1 + 4 * square))
    end = np.maximum(torque, _plane.torque(m, np.zeros_like(most), -most))
    if np.any(m.weakening):
        (_, _, free), (x, y, spare) = _plane.commanded(m, np.zeros_like(end)), _plane.commanded(m, end)
        # The slack is concave: where both ends of the way need no weakening nothing between them does.
        weakened = (m.weakening > 0) & ((np.abs(free) < EDGE * m.source**2) | (np.abs(spare) < EDGE * m.source**2))
    else:
        (x, y), weakened = _plane.least(m, end), np.zeros(end.shape, bool)
    over = _plane.power(m, x, y) < fed
    for chosen, currents in ((over & ~weakened, _plane.least), (over & weakened, lambda part, at: _plane.commanded(part, at)[:2])):
        if not chosen.any():
            continue
        part, limit, far = m.at(chosen), fed[chosen], end[chosen]
        by[chosen] = CHARGE
        if currents is _plane.least and _plane.linear(m):
            torque[chosen] = _plane.torque(part, 0 * far, -_feeding(part, np.minimum(limit, part.standby)))
            continue
        place = np.flatnonzero(chosen)
        if currents is not _plane.least:
            there_x, there_y, met = _meeting(part, x[chosen], y[chosen], _powered(limit))
            met &= (there_y <= 0) & (_plane.torque(part, there_x, there_y) >= far)
            torque[place[met]] = _plane.torque(part, there_x, there_y)[met]
            place, part, limit, far = place[~met], part.at(~met), limit[~met], far[~met]
        beyond = lambda at: limit - _plane.power(part, *currents(part, at))  # noqa: B023 - called in this turn of the loop alone
        found = crossing(beyond, 0 * far, far, _FINE * np.abs(far))
        torque[place] = np.where(np.isfinite(found), found, 0.0)
    return torque, by
