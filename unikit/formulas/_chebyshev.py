"""Roots of linear systems with delays: the reduced generator and its polish.

Behind ``delay``.  A system x' = A x + sum_i B_i x(t - tau_i) is turned into a
larger one without delays: each delayed signal, not each state, gets its own
polynomial over the last tau_i seconds, held by its values at Chebyshev points.
The eigenvalues of that matrix start Newton's method on
det(s I - A - sum_i B_i exp(-s tau_i)), which knows nothing of polynomials.

Systems lie along the first axis of every array here; its length is 1 for one.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from functools import cache, reduce
from typing import Any, NamedTuple

import numpy as np

from .checks import not_negative

SYSTEMS_AT_ONCE = 512  # what stays in the cache; more are shared out among the cores
GREATEST_ORDER = 192
POLISH_STEPS = 30
# A root left of -7/tau dies to a thousandth within the delay; values over that time then differ so much that no order finds it for sure.
NEGLIGIBLE_DECAY = -7.0
ORDER_OF_THE_SLOW = 40  # from here on nothing is sought there
RESOLVED = 0.9  # a polynomial follows exp(-s theta) up to abs(s) tau of about its order
TESTED = np.array([1.0, 1.4, 2.0, 4.0, 16.0])
GREATEST_DECAY = -300.0  # real part times longest delay, so that exp(-s tau) stays finite


class System(NamedTuple):
    """State matrices (systems, n, n), and for each delay its matrices and times."""

    matrix: np.ndarray
    delayed: tuple[tuple[np.ndarray, np.ndarray], ...]

    def part(self, chosen: Any) -> System:
        """Some of the systems."""
        return System(self.matrix[chosen], tuple((b[chosen], t[chosen]) for b, t in self.delayed))


# -- reading ---------------------------------------------------------------------


def read(a_matrix: Any, delayed: Any) -> tuple[System, tuple[int, ...]]:
    """Check and stack what a caller gave; also the shape of the leading axes."""
    matrix = _square("a_matrix", a_matrix, None)
    pairs = []
    for place, pair in enumerate(delayed):
        if len(pair) != 2:
            raise ValueError(f"delayed[{place}] must be a pair of a matrix and a delay, got {len(pair)} items")
        time = np.asarray(pair[1], float)
        not_negative(f"the delay of delayed[{place}]", time)
        if not np.all(np.isfinite(time)):
            raise ValueError(f"the delay of delayed[{place}] must be finite")
        pairs.append((_square(f"the matrix of delayed[{place}]", pair[0], matrix.shape[-1]), time))
    lead = np.broadcast_shapes(matrix.shape[:-2], *(b.shape[:-2] for b, _ in pairs), *(t.shape for _, t in pairs))
    size = matrix.shape[-2:]
    stack = lambda array, tail: (np.broadcast_to(array, lead + tail) if lead else array).reshape((-1,) + tail)
    return System(stack(matrix, size), tuple((stack(b, size), stack(t, ())) for b, t in pairs)), lead


def _square(name: str, value: Any, states: int | None) -> np.ndarray:
    array = np.asarray(value)
    if array.dtype.kind not in "biuf" or array.ndim < 2 or array.shape[-1] != array.shape[-2] or not array.shape[-1]:
        raise ValueError(f"{name} must be a square matrix of real numbers, got {array.dtype} of shape {array.shape}")
    if states not in (None, array.shape[-1]):
        raise ValueError(f"{name} must have the {states} rows of a_matrix, got {array.shape[-1]}")
    if not np.all(np.isfinite(array)):
        raise ValueError(f"{name} must be finite in every place")
    return array.astype(float)


def without_idle(system: System) -> System:
    """Leave out what cannot move a root: delays in no loop, and delays of zero, which join the state matrix.

    An entry of a matrix enters the determinant only if its row and column lie
    on a common cycle of influences.  All systems must have the same delays at
    zero and the same matrices at zero (see :func:`groups`).
    """
    matrix = system.matrix
    active = []
    for gain, time in system.delayed:
        if time.any():
            active.append((gain, time))
        else:
            matrix = matrix + gain
    if not active:
        return System(matrix, ())
    reach = np.eye(matrix.shape[-1]) + sum((part != 0).any(axis=0) for part in (matrix, *(gain for gain, _ in active)))
    for _ in range(int(matrix.shape[-1]).bit_length()):
        reach = np.minimum(reach @ reach, 1.0)
    on_cycle = (reach > 0) & (reach.T > 0)
    kept = ((np.where(on_cycle, gain, 0.0), time) for gain, time in active)
    return System(matrix, tuple((gain, time) for gain, time in kept if gain.any()))


def groups(system: System) -> list[np.ndarray]:
    """Indices of systems that have the same delays, or their matrices, at zero."""
    code = np.zeros(len(system.matrix), int)
    for gain, time in system.delayed:
        code = 3 * code + np.where(gain.any(axis=(1, 2)), time == 0, 2)
    return [np.flatnonzero(code == value) for value in np.unique(code)]


# -- the generator ---------------------------------------------------------------


@cache
def differentiation(order: int) -> np.ndarray:
    """Differentiation of a polynomial of this order by its values at cos(pi k / order), k from 0."""
    points = np.sin(np.pi * (order - 2 * np.arange(order + 1)) / (2 * order))
    weight = np.where(np.arange(order + 1) % 2, -1.0, 1.0)
    weight[[0, -1]] *= 2
    gap = points[:, None] - points + np.eye(order + 1)
    matrix = weight[:, None] / weight / gap
    matrix -= np.diag(matrix.sum(axis=1))
    return matrix


def factors(gain: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Left and right factors of delayed matrices: the fewest scalar signals that carry them all."""
    rows, columns = (np.flatnonzero((gain != 0).any(axis=axis)) for axis in ((0, 2), (0, 1)))
    unit = np.eye(gain.shape[-1])
    if len(rows) <= len(columns):
        left, right = np.broadcast_to(unit[:, rows], gain.shape[:2] + rows.shape), gain[:, rows]
    else:
        left, right = gain[:, :, columns], np.broadcast_to(unit[columns], (len(gain), len(columns), gain.shape[-1]))
    if min(len(rows), len(columns)) > 1:
        one, size, other = np.linalg.svd(gain)
        rank = int((size > 1e-14 * size[:, :1]).sum(axis=1).max())
        if rank < left.shape[-1]:
            left, right = one[:, :, :rank] * size[:, None, :rank], other[:, :rank]
    return left, right


def orders(system: System, order: int) -> list[int]:
    """Polynomial order for each delay: the full one for the longest, less for shorter ones."""
    longest = longest_delay(system)
    return [3 + int(np.ceil((order - 3) * np.max(time / longest) - 1e-9)) for _, time in system.delayed]


def longest_delay(system: System) -> np.ndarray:
    """The longest delay of each system."""
    return reduce(np.maximum, [time for _, time in system.delayed])


def generator(system: System, order: int) -> np.ndarray:
    """The matrix whose rightmost eigenvalues approximate the rightmost roots.

    Behind the states stand, for each delayed signal, its values at all
    Chebyshev points of the last tau seconds but the newest, which is the
    signal now.  Their rate is the slope of the polynomial through them.
    """
    parts = [(*factors(gain), time, number) for (gain, time), number in zip(system.delayed, orders(system, order), strict=True)]
    states = system.matrix.shape[-1]
    size = states + sum(number * left.shape[-1] for left, _, _, number in parts)
    whole = np.zeros((len(system.matrix), size, size))
    whole[:, :states, :states] = system.matrix
    start = states
    for left, right, time, number in parts:
        slope = differentiation(number)
        rate = (2 / time)[:, None, None]
        for signal in range(left.shape[-1]):
            place = slice(start, start + number)
            whole[:, place, place] = rate * slope[1:, 1:]
            whole[:, place, :states] = rate * slope[1:, :1] * right[:, signal, None, :]
            whole[:, :states, start + number - 1] = left[:, :, signal]
            start += number
    return whole


# -- the characteristic function ---------------------------------------------------
#
# Here points s lie along one axis: point k belongs to system k, or all to the only one.


def characteristic(system: System, s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The matrix s I - A - sum B exp(-s tau) and its derivative."""
    unit = np.eye(system.matrix.shape[-1])
    value, slope = s[:, None, None] * unit - system.matrix, unit
    for gain, time in system.delayed:
        term = np.exp(-s * time)[:, None, None] * gain
        value = value - term
        slope = slope + time[:, None, None] * term
    return value, slope


def newton(system: System, s: np.ndarray, scale: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Newton's correction f/f' of the characteristic function f, and the points where it was taken."""
    at, nudge = s, 3e-15
    while True:
        value, slope = characteristic(system, at)
        try:
            return 1 / np.linalg.solve(value, np.broadcast_to(slope, value.shape)).trace(axis1=1, axis2=2), at
        except np.linalg.LinAlgError:  # exactly on a root: step aside by about its rounding, from a real point along the axis
            at, nudge = s + nudge * scale * np.where(s.imag == 0, 1.0, 0.6 + 0.8j), 10 * nudge


def polish(system: System, s: np.ndarray, scale: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Newton's method from every point; the end, and whether the correction there is down to rounding.

    The correction f/f' is the distance to the root to first order, so that it
    serves as residual too.  At a multiple root the steps only shrink by a
    share, and stall at a root of the rounding.
    """
    s, settled, left = s.copy(), np.zeros(s.shape, bool), np.arange(len(s))
    longest, before = np.broadcast_to(longest_delay(system), s.shape), np.full(s.shape, np.inf)
    for _ in range(POLISH_STEPS):
        part = system if len(left) == len(s) or len(system.matrix) == 1 else system.part(left)
        step, at = newton(part, s[left], scale[left])
        now, size = at - step, np.abs(step)
        reached = np.abs(now)
        good = np.isfinite(now) & (now.real * longest[left] > GREATEST_DECAY)
        stalled = (size <= 1e-5 * (reached + scale[left])) & (size >= 0.9 * before[left])
        small = stalled | (size <= 1e-10 * reached + 1e-13 * scale[left])
        s[left] = np.where(good & ~stalled, now, s[left])
        settled[left], before[left] = good & small, size
        left = left[good & ~small]
        if not len(left):
            break
    return s, settled


# -- the rightmost roots -------------------------------------------------------------


def rightmost(system: System, count: int) -> np.ndarray:
    """The rightmost roots of every system, (systems, count), filled up with -inf where a system has no more."""
    found = np.full((len(system.matrix), count), -np.inf, complex)
    if len(found) == 1:
        roots = _group(without_idle(system), count)
        found[:, : roots.shape[1]] = roots
        return found
    pieces = [piece for group in groups(system) for piece in np.array_split(group, -(-len(group) // SYSTEMS_AT_ONCE))]

    def work(piece: np.ndarray) -> None:
        roots = _group(without_idle(system.part(piece)), count)
        found[piece, : roots.shape[1]] = roots

    if pieces:
        with ThreadPoolExecutor() as pool:  # the eigenvalues of a stack are found without Python's lock
            list(pool.map(work, pieces))
    return found


def _group(system: System, count: int) -> np.ndarray:
    """As :func:`rightmost`, for systems with the same delays at zero; at a higher order where one does not do."""
    if not system.delayed:
        return _ordered(np.linalg.eigvals(system.matrix).astype(complex))[:, :count]
    order, found = 6 + count, np.empty((len(system.matrix), count), complex)
    left = np.arange(len(found))
    while True:
        part = system.part(left)
        with np.errstate(all="ignore"):
            found[left], doubt = _attempt(part, count, order)
        left, doubt = left[~np.isnan(doubt)], doubt[~np.isnan(doubt)]
        if not len(left):
            return found
        if order >= GREATEST_ORDER:
            raise ValueError(
                f"the rightmost roots could not be found for sure: near s = {doubt[0]:.4g} 1/s polynomials of order {order} do not follow "
                f"the delay of {longest_delay(system)[left[0]]:.3g} s; it is too long for motion as fast as this, or count is too large"
            )
        order = min(2 * order, GREATEST_ORDER)


def _attempt(system: System, count: int, order: int) -> tuple[np.ndarray, np.ndarray]:
    """Roots from one order, and for each system the rightmost start in doubt: nan where none is, -inf where only roots are lacking."""
    start = np.linalg.eigvals(generator(system, order)).astype(complex)
    longest = longest_delay(system)[:, None]
    start[(start.imag < 0) | (start.real * longest < GREATEST_DECAY)] = -np.inf  # the lower half plane mirrors the upper
    start = _ordered(start)
    size = np.abs(np.where(np.isfinite(start), start, 0.0))
    scale = np.minimum(size.max(axis=1, keepdims=True), 1 / longest)
    scale = np.where(scale > 0, scale, 1 / longest)

    # polish those that count, and those so close to them that they may pass them
    before = np.cumsum(1 + (start.imag > 0), axis=1) - 1 - (start.imag > 0)
    rows = np.arange(len(start))
    last = start.real[rows, (before < count).sum(axis=1) - 1][:, None]
    chosen = np.isfinite(start) & ((before < count) | (start.real >= last - 0.05 * (size + scale)))
    owner = np.nonzero(chosen)[0]
    end, settled = np.full(start.shape, -np.inf, complex), np.zeros(start.shape, bool)
    end[chosen], settled[chosen] = polish(_of(system, owner), start[chosen], scale[owner, 0])
    end = np.where(end.imag < 0, end.conj(), end)
    near = np.abs(end) + scale
    shift = np.where(chosen, np.abs(end - start), 0.0)
    sure = settled & (shift <= 0.02 * near)
    width = np.flatnonzero(sure.any(axis=0)).max(initial=-1) + 1
    crowded = np.zeros(sure.shape, bool)
    crowded[:, :width] = _crowded(system, np.where(sure, end, -np.inf)[:, :width], near[:, :width])
    sure &= ~crowded

    paired = sure & (end.imag != 0)
    found = _ordered(np.where(np.concatenate([sure, paired], axis=1), np.concatenate([end, end.conj()], axis=1), -np.inf))[:, :count]
    if found.shape[1] < count:
        found = np.pad(found, ((0, 0), (0, count - found.shape[1])), constant_values=-np.inf)
    edge = found[:, -1:].real
    if order >= ORDER_OF_THE_SLOW:
        edge = np.maximum(edge, NEGLIGIBLE_DECAY / longest)

    # an unsure start may stand for a root not found, and so may one further left that Newton's method sends right
    others = np.isfinite(start) & ~chosen & (start.real >= edge - 0.3 * size)
    if others.any():
        owner = np.nonzero(others)[0]
        step, at = newton(_of(system, owner), start[others], scale[owner, 0])
        ahead = at - step
        others[others] = ~(ahead.real < edge[owner, 0])
    doubtful = others | (chosen & ~sure & (start.real >= edge - 0.05 * near))
    if doubtful.any():
        doubtful[doubtful] = _missed(system, start, doubtful, scale, found, edge)
    doubtful |= crowded & (end.real >= edge)
    first = np.argmax(doubtful, axis=1)
    limit = RESOLVED * order / longest[:, 0]
    beyond = np.where(np.isfinite(edge[:, 0]) & _quiet(system, edge[:, 0], limit), np.nan, edge[:, 0] + 1j * limit)
    return found, np.where(doubtful[rows, first], start[rows, first], beyond)


def _quiet(system: System, edge: np.ndarray, limit: np.ndarray) -> np.ndarray:
    """Whether the delayed signals are too weak for roots right of the edge and faster than the order resolves.

    There det(s I - A) is not zero once the polish is sure of all starts, and
    the whole determinant is not while the gain round all delays, each sign
    taken for the worst, stays below one.
    """
    with np.errstate(all="ignore"):
        s = edge[:, None] + 1j * limit[:, None] * TESTED
        unit = np.eye(system.matrix.shape[-1])
        inverse = np.linalg.inv(s[..., None, None] * unit - system.matrix[:, None])
        total = np.zeros(inverse.shape)
        for gain, time in system.delayed:
            total += np.abs(inverse @ gain[:, None]) * np.exp(-edge * time)[:, None, None, None]
        for _ in range(3):
            total = total @ total
        return (np.trace(total, axis1=-2, axis2=-1) < 1).all(axis=1)  # of the eighth power: above that of the spectral radius


def _missed(system: System, start: np.ndarray, unsure: np.ndarray, scale: np.ndarray, found: np.ndarray, edge: np.ndarray) -> np.ndarray:
    """Whether unsure starts lead to roots right of those found, or might."""
    owner = np.nonzero(unsure)[0]
    part, last = _of(system, owner), edge[owner, 0]
    end, settled = polish(part, start[unsure], scale[owner, 0])
    end = np.where(end.imag < 0, end.conj(), end)
    known = (np.abs(found[owner] - end[:, None]) <= 1e-6 * (np.abs(end) + scale[owner, 0])[:, None]).any(axis=1)
    return np.where(settled, (end.real > last) & ~known, np.abs(start[unsure]) <= reach(part, last))


def reach(system: System, real_part: np.ndarray) -> np.ndarray:
    """A bound on abs(s) of every root right of a real part: the Perron root of all influences taken positive."""
    total = np.abs(system.matrix)
    for gain, time in system.delayed:
        total = total + np.abs(gain) * np.exp(np.minimum(-np.asarray(real_part) * time, -GREATEST_DECAY))[:, None, None]
    return np.abs(np.linalg.eigvals(total)).max(axis=1)


def _of(system: System, owner: np.ndarray) -> System:
    """The system of each point."""
    return system if len(system.matrix) == 1 else system.part(owner)


def _crowded(system: System, roots: np.ndarray, near: np.ndarray) -> np.ndarray:
    """Where more starts ended in one root than it is roots."""
    mirror = np.where(roots.imag != 0, roots.conj(), -np.inf)
    gap = 1e-6 * near[:, :, None]
    copies = (np.abs(roots[:, :, None] - roots[:, None]) <= gap).sum(axis=2) + (np.abs(roots[:, :, None] - mirror[:, None]) <= gap).sum(
        axis=2
    )
    crowd = copies > 1
    if crowd.any():
        distance = 1e-3 * near[crowd]
        step, _ = newton(_of(system, np.nonzero(crowd)[0]), roots[crowd] + distance, distance)
        crowd[crowd] = copies[crowd] > np.rint((distance / step).real)
    return crowd


def _ordered(values: np.ndarray) -> np.ndarray:
    """Values by falling real part, of a pair the upper one first."""
    return values[np.arange(len(values))[:, None], np.lexsort((-values.imag, -values.real))]
