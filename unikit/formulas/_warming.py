"""The march in time behind ``warming.network_course``: many networks of bodies side by side, one step after the other.

Runge and Kutta's method of fourth order on arrays (bodies, columns).  A column
whose winding enters or leaves derating within a step does that step in two
parts that meet there, so that the bend costs no order.  What leaves a body
on a path is its link times the integral of a temperature difference, kept with
the weights of the method; these accounts close to rounding.

One network alone would leave the columns empty.  Its time is cut into blocks
that are marched side by side from guessed temperatures, together with their
neighbours for the derivatives, and Newton's method joins the blocks.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

_WEIGHTS = np.array([[1.0, 2.0, 2.0, 1.0], [1.0, 1.0, 1.0, 0.0]]) / 6.0  # of the step, and of the integral over it
CLOSE = 0.1  # K: nearer than this the derivatives of the sweep before serve once more
_NOTHING, _ALL = np.array(0.0), np.array(1.0)
JOINED = 1e-7  # K: blocks that meet this closely are one course
NEVER = 1e9  # K: where derating ends if there is none
NEAR = 2.0  # K: a winding this far below derating cannot reach it within a step unnoticed
NUDGE = 0.02  # K: for derivatives; the equations are all but linear


class Load(NamedTuple):
    """What may change from step to step: steps along the first axis or one for all, columns along the last or one for all."""

    matrix: np.ndarray  # (steps, bodies, bodies, columns) heat into the bodies by their temperatures
    source: np.ndarray  # (steps, bodies, columns) and what does not depend on them
    full: np.ndarray  # (steps, columns) copper loss at the references, nothing cut
    curve: np.ndarray  # (steps, powers, pieces, columns) and what derating leaves of it: polynomials over the torque that is left
    span: np.ndarray  # (steps, columns) kelvin of the winding over which it falls to nothing
    limit: np.ndarray  # (steps, columns) greatest copper loss at the winding's reference
    link: np.ndarray  # (steps, links, columns)
    ambient: np.ndarray  # (steps, columns)

    def rows(self) -> Callable[[int], Load]:
        """A function that gives the values of one step; what never changes is the same object every time."""
        parts = list(self)
        changing = [place for place, part in enumerate(self) if len(part) > 1]
        now = [part[0] if len(part) == 1 else part for part in self]

        def row(step: int) -> Load:
            for place in changing:
                now[place] = parts[place][step]
            return Load._make(now)

        return row

    def columns(self, chosen: np.ndarray) -> Load:
        """The values of some columns."""
        return Load(*(part if part.shape[-1] == 1 else part[..., chosen] for part in self))

    def between(self, first: int, last: int) -> Load:
        """The steps from the first up to the last, that one not counted."""
        return Load(*(part if len(part) == 1 else part[first:last] for part in self))

    def blocks(self, count: int, times: int) -> Load:
        """Steps of ``count`` equal blocks side by side as columns, all of it repeated ``times``."""
        found = []
        for part in self:
            steps, inner, columns = len(part), part.shape[1:-1], part.shape[-1]
            if steps == 1:
                found.append(part if columns == 1 else np.tile(part, (1,) * (part.ndim - 1) + (times * count,)))
                continue
            cut = np.moveaxis(part.reshape(count, steps // count, *inner, columns), 0, -2).reshape(steps // count, *inner, count * columns)
            found.append(np.tile(cut, (1,) * (cut.ndim - 1) + (times,)))
        return Load(*found)


class Winding(NamedTuple):
    """How the copper loss depends on the temperatures; every number for all columns or one for each."""

    winding: int
    magnets: int
    resistance: tuple[np.ndarray, np.ndarray]  # at 0 K and its growth per kelvin, of that at the reference
    flux: tuple[np.ndarray, np.ndarray]
    least_flux: float
    end: np.ndarray  # temperature at which nothing is left; NEVER for no derating
    lowest: int  # power from which on the one piece of the curve begins

    def columns(self, chosen: np.ndarray) -> Winding:
        """The numbers of some columns."""

        def pick(value):
            return value[chosen] if np.ndim(value) and len(value) > 1 else value

        pairs = {name: tuple(map(pick, getattr(self, name))) for name in ("resistance", "flux")}
        return self._replace(end=pick(self.end), **pairs)

    def tiled(self, times: int) -> Winding:
        """The numbers of all columns, repeated."""
        return self.columns(np.tile(np.arange(max(map(np.size, (*self.resistance, *self.flux, self.end)))), times))


class March:
    """Columns that go on side by side, with room for what is worked out on the way."""

    def __init__(self, per_capacity: np.ndarray, columns: int, law: Winding, incidence: np.ndarray, to_air: int, limited: bool) -> None:
        self._limited, self.law, self._incidence, self._to_air = limited, law, incidence, to_air
        bodies = len(per_capacity)
        # one number for all columns is an array without axes, and what is added to all of them is as wide as they are: numpy is quickest so
        self.per_capacity = np.broadcast_to(per_capacity, (bodies, columns)).copy()
        self._cold, self._growth, self._offset, self._fall, self._end = map(_plain, (*law.resistance, *law.flux, law.end))
        self._least = np.array(law.least_flux)
        self._heat, self._sums = np.empty((4, bodies, columns)), np.empty((2, bodies, columns))
        self._copper, self._spare = np.empty((4, columns)), np.empty((3, columns))
        self._ahead, self._inner, self._source = np.empty((3, bodies, columns))
        self.integral, self.copper = np.empty((bodies, columns)), np.empty(columns)
        self._cuts = bool(np.any(law.end < NEVER))
        self._now, self._length, self._before, self._there, self._warmest, self._least_span = (None,) * 6
        self._column, self._along = np.arange(columns), np.empty((len(incidence), columns))

    def _take(self, now: Load) -> None:
        """Lay out the values of a step."""
        if self._now is None or now.span is not self._now.span:
            self._before, self._least_span = None, now.span.min()
        self._now, lone = now, now.matrix.shape[-1] == 1
        self._matrix = now.matrix[..., 0] if lone else now.matrix
        self._multiply = np.matmul if lone else _by_column
        np.copyto(self._source, now.source)
        self._limit, self._full, self._span = map(_plain, (now.limit, now.full, now.span))
        powers = now.curve[: len(now.curve) - self.law.lowest, 0]
        self._powers = [_plain(power) for power in powers] if now.curve.shape[1] == 1 else None

    def _level(self, winding: np.ndarray, hot: bool) -> np.ndarray:
        """Copper loss at the references as far as derating leaves it."""
        if not hot:
            return self._full
        left, level, curve = self._spare[1], self._spare[2], self._now.curve
        np.subtract(self._end, winding, out=left)
        np.divide(left, self._span, out=left)
        np.maximum(left, _NOTHING, out=left)
        np.minimum(left, _ALL, out=left)
        if self._powers is not None:
            first, *others = self._powers
        else:
            pieces = curve.shape[1]
            np.multiply(left, pieces, out=left)
            place = np.minimum(left.astype(np.intp), pieces - 1)
            np.subtract(left, place, out=left)
            first, *others = curve[:, place, self._column] if curve.shape[-1] > 1 else curve[:, :, 0].take(place, axis=1)
        for other in others:
            first = np.multiply(left, first, out=level)
            np.add(level, other, out=level)
        for _ in range(self.law.lowest):
            first = np.multiply(left, first, out=level)
        return first

    def _rates(self, x: np.ndarray, stage: int, hot: bool) -> None:
        """Heat into each body."""
        law, out, copper, spare = self.law, self._heat[stage], self._copper[stage], self._spare[0]
        winding, heated = x[law.winding], out[law.winding]
        self._multiply(self._matrix, x, out=out)
        np.add(out, self._source, out=out)
        np.multiply(x[law.magnets], self._fall, out=copper)
        np.add(copper, self._offset, out=copper)
        np.maximum(copper, self._least, out=copper)
        np.multiply(copper, copper, out=copper)
        np.divide(self._level(winding, hot), copper, out=copper)
        if self._limited:
            np.minimum(copper, self._limit, out=copper)
        np.multiply(winding, self._growth, out=spare)
        np.add(spare, self._cold, out=spare)
        np.multiply(copper, spare, out=copper)
        np.add(heated, copper, out=heated)

    def _leap(self, x: np.ndarray, now: Load, step: float | np.ndarray, hot: bool, out: np.ndarray) -> None:
        """One step of Runge and Kutta, without regard to where derating begins or ends."""
        if now is not self._now:
            self._take(now)
        ahead, heat, inner, (length, whole, half) = self._ahead, self._heat, self._inner, self._reach(step)
        self._rates(x, 0, hot)
        for stage in range(3):
            np.multiply(heat[stage], whole if stage == 2 else half, out=ahead)
            np.add(ahead, x, out=ahead)
            self._rates(ahead, stage + 1, hot)
        bodies, columns = x.shape
        np.matmul(_WEIGHTS, heat.reshape(4, bodies * columns), out=self._sums.reshape(2, bodies * columns))
        np.multiply(self._sums, whole, out=self._sums)
        np.add(self._sums[1], x, out=inner)
        np.multiply(inner, length, out=self.integral)
        np.add(x, self._sums[0], out=out)
        np.matmul(_WEIGHTS[0], self._copper, out=self.copper)
        np.multiply(self.copper, length, out=self.copper)

    def _reach(self, step: float | np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The step, and kelvin per watt over it and over half of it."""
        if step is not self._length:
            whole = self.per_capacity * step
            self._length, self._of_step = step, (np.asarray(step), whole, whole / 2)
        return self._of_step

    def _over(self, x: np.ndarray) -> np.ndarray:
        """Winding's temperature over the one from which derating takes something."""
        over = x[self.law.winding] - self._end
        return np.add(over, self._span, out=over)

    def advance(self, x: np.ndarray, now: Load, step: float, out: np.ndarray) -> None:
        """One step on, with the integrals of temperatures and copper loss over it."""
        if now is not self._now:
            self._take(now)
        if not self._cuts:
            self._leap(x, now, step, False, out)
            return
        if self._before is None or x is not self._there:
            self._before = self._over(x)
            self._warmest = self._before.max()
        before, warmest = self._before, self._warmest
        hot = warmest > -NEAR
        self._leap(x, now, step, hot, out)
        after = self._over(out)
        self._warmest = after.max()
        if hot or self._warmest > 0:
            crosses = before * after < 0
            if max(warmest, self._warmest) > self._least_span:
                crosses |= (before > self._span) != (after > self._span)
            crossed = np.flatnonzero(crosses)
            if crossed.size:
                self._cross(x, now, step, out, crossed, before[crossed], after[crossed])
                after = self._over(out)
                self._warmest = after.max()
        self._before, self._there = after, out

    def _cross(self, x, now, step, out, crossed, before, after) -> None:
        """The step of these columns again, in two parts that meet where derating begins or ends."""
        law, now, start = self.law.columns(crossed), now.columns(crossed), x[:, crossed]
        winding, there = law.winding, out[law.winding, crossed]
        edge = law.end - np.where(before * after < 0, now.span, 0.0)
        per_capacity = self.per_capacity[:, crossed]
        slope = self._heat[0][winding, crossed] * per_capacity[winding] * step
        part = _root(there - start[winding] - slope, slope, start[winding] - edge)
        small = March(per_capacity, crossed.size, law, self._incidence, self._to_air, self._limited)
        met, end = np.empty((2, *start.shape))
        small._leap(start, now, part * step, True, met)
        integral, copper = small.integral.copy(), small.copper.copy()
        small._leap(met, now, (1 - part) * step, True, end)
        out[:, crossed], self.integral[:, crossed], self.copper[crossed] = end, integral + small.integral, copper + small.copper

    def leaving(self, load: Load) -> np.ndarray | None:
        """Links times incidence for each step, where links and air are alike in all columns."""
        alike = load.link.shape[-1] == load.ambient.shape[-1] == 1
        return load.link * self._incidence if alike else None

    def flows(self, now: Load, step: float, leaving: np.ndarray | None) -> np.ndarray:
        """Heat that went along each link in the step just made; with ``leaving`` of the step as if the air had 0 K."""
        along = self._along
        if leaving is not None:
            return np.matmul(leaving, self.integral, out=along)
        np.matmul(self._incidence, self.integral, out=along)
        along[self._to_air :] -= now.ambient * step
        return np.multiply(along, now.link, out=along)

    def from_air(self, load: Load, steps: int, step: float) -> np.ndarray:
        """Heat that the air would send along each link over all steps if the bodies had 0 K, in a column."""
        sent = np.zeros((len(self._incidence), 1))
        each = load.link[:, self._to_air :] * load.ambient[:, None]
        sent[self._to_air :] = each.sum(axis=0) * (step * steps / max(len(each), 1))
        return sent


def _plain(value: np.ndarray) -> np.ndarray:
    """One number for all columns as an array without axes; numbers of each column as they are."""
    return value if value.shape[-1] > 1 else value.reshape(())


def _by_column(matrix: np.ndarray, x: np.ndarray, out: np.ndarray) -> np.ndarray:
    """Product of matrix and vector in each column."""
    return np.einsum("ijb,jb->ib", matrix, x, out=out)


def _root(bend: np.ndarray, slope: np.ndarray, gone: np.ndarray) -> np.ndarray:
    """Share s of a step at which gone + slope s + bend s^2 = 0; it changes its sign between 0 and 1."""
    half = -0.5 * (slope + np.copysign(np.sqrt(np.maximum(slope**2 - 4 * bend * gone, 0.0)), slope))
    with np.errstate(divide="ignore", invalid="ignore"):
        first, second = half / bend, gone / half
    first, second = (np.where(np.isfinite(root), root, -1.0) for root in (first, second))
    inside = np.where((second >= 0) & (second <= 1), second, first)
    return np.clip(inside, 0.0, 1.0)


class Path(NamedTuple):
    """A course and its accounts: (records, bodies, columns), and sums over all steps."""

    temperature: np.ndarray
    copper: np.ndarray
    flows: np.ndarray


def serial(march: March, load: Load, x: np.ndarray, steps: int, step: float, parts: int, every: int) -> Path:
    """Step after step, each in ``parts``."""
    course = np.empty((steps // every + 1, *x.shape))
    course[0], x, other = x, x.copy(), np.empty_like(x)
    copper, flows, small = np.zeros(x.shape[1]), np.zeros((load.link.shape[1], x.shape[1])), step / parts
    row, leaving = load.rows(), march.leaving(load)
    for number in range(steps):
        now, away = row(number), None if leaving is None else leaving[number if len(leaving) > 1 else 0]
        for _ in range(parts):
            march.advance(x, now, small, other)
            x, other = other, x
            np.add(copper, march.copper, out=copper)
            np.add(flows, march.flows(now, small, away), out=flows)
        if (number + 1) % every == 0:
            course[(number + 1) // every] = x
    if leaving is not None:
        flows -= march.from_air(load, steps, step)
    return Path(course, copper, flows)


def blockwise(make, load: Load, x: np.ndarray, steps: int, step: float, parts: int) -> Path | None:
    """The same for few columns: blocks of time side by side, joined by Newton's method.

    Each sweep leaves at least one more block exact, so the sweeps come to an
    end whatever the equations; as a rule there are three or four.
    ``make(times)`` gives a march of ``times`` copies of all columns.  None where the temperatures run away.
    """
    bodies, lone = x.shape
    count = _block_count(steps, parts)
    length = steps // count
    whole = load.between(0, count * length)
    side, wide = whole.blocks(count, 1), whole.blocks(count, bodies + 1)
    plain, nudged = make(count), make(count * (bodies + 1))
    nudges = np.concatenate([np.zeros((1, bodies)), NUDGE * np.eye(bodies)]).T[:, :, None, None]
    joint = _guess(side, plain.law, plain.per_capacity, x, count, length * step)
    slopes = None
    for _ in range(2 * count):
        if slopes is None:
            begin = (joint[:, None] + nudges).reshape(bodies, -1)
            end = serial(nudged, wide, begin, length, step, parts, length).temperature[-1].reshape(bodies, bodies + 1, count, lone)
            slopes, end, path = (end[:, 1:] - end[:, :1]) / NUDGE, end[:, 0], None
        else:
            path = serial(plain, side, joint.reshape(bodies, -1), length, step, parts, 1)
            end = path.temperature[-1].reshape(bodies, count, lone)
        missed = end[:, :-1] - joint[:, 1:]
        error = np.abs(missed).max()
        if not np.isfinite(error):
            return None
        if path is not None and error <= JOINED:
            break
        late, turned = missed.transpose(1, 2, 0)[..., None].copy(), slopes.transpose(2, 3, 0, 1).copy()  # blocks, rides, bodies
        for block in range(1, count - 1):
            late[block] += turned[block] @ late[block - 1]
        joint[:, 1:] += late[..., 0].transpose(2, 0, 1)
        if error > CLOSE:
            slopes = None
    rest = serial(make(1), load.between(count * length, steps), end[:, -1], steps - count * length, step, parts, 1)
    shown = path.temperature[:-1].reshape(length, bodies, count, lone)
    course = np.concatenate([np.moveaxis(shown, 2, 0).reshape(-1, bodies, lone), rest.temperature])
    copper = path.copper.reshape(count, lone).sum(axis=0) + rest.copper
    return Path(course, copper, path.flows.reshape(-1, count, lone).sum(axis=1) + rest.flows)


def _guess(load: Load, law: Winding, per_capacity: np.ndarray, x: np.ndarray, count: int, span_of: float) -> np.ndarray:
    """Temperatures at the start of each block by one implicit step of Euler's for each, with derating where it settles."""
    bodies, lone = x.shape
    mean = Load(*(part.mean(axis=0) for part in load))

    def split(part):
        return np.moveaxis(np.broadcast_to(part, part.shape[:-1] + (count * lone,)).reshape(*part.shape[:-1], count, lone), -2, 0)

    matrix, source, curve, full, span, limit = (
        np.moveaxis(split(part), -1, 1) for part in (mean.matrix, mean.source, mean.curve, mean.full, mean.span, mean.limit)
    )
    holds = 1 / split(per_capacity).transpose(0, 2, 1) / span_of
    inverse = np.linalg.inv(holds[..., None] * np.eye(bodies) - matrix)

    def single(value):
        return np.broadcast_to(value, (count * lone,)).reshape(count, lone)[0]

    (cold, growth), (offset, fall), last = map(single, law.resistance), map(single, law.flux), single(law.end)
    level = np.concatenate([curve[:, :, -1], full[..., None]], axis=-1)  # at the ends of the pieces
    knots = last[:, None] - span[..., None] * np.linspace(0.0, 1.0, level.shape[-1])  # temperatures of the winding there
    joint, now = np.empty((count, lone, bodies)), x.T
    for block in range(count):
        joint[block] = now
        base = np.einsum("vij,vj->vi", inverse[block], source[block] + holds[block] * now)
        gain, cool = inverse[block][:, :, law.winding], base[:, law.winding]
        flux = np.maximum(offset + fall * now[:, law.magnets], law.least_flux)[:, None]
        loss = np.minimum(level[block] / flux**2, limit[block][:, None])
        rise = gain[:, law.winding, None] * loss
        above = cool[:, None] + rise * (cold + growth * knots[block].T).T - knots[block]
        warm = cool + rise[:, -1] * (cold + growth * cool) / np.maximum(1 - growth * rise[:, -1], 0.2)  # bounded where it runs away
        for ride in np.flatnonzero(above[:, -1] > 0):
            warm[ride] = max(np.interp(0.0, above[ride], knots[block, ride]), cool[ride])
        now = base + gain * ((warm - cool) / gain[:, law.winding])[:, None]
    return joint.transpose(2, 0, 1).copy()


def _block_count(steps: int, parts: int) -> int:
    """Number of blocks with the least work: joining a block costs about an eighth of marching a part of a step in all sweeps."""
    return min(range(2, min(steps, 240) + 1), key=lambda count: 8 * parts * (steps // count) + 2 * parts * (steps % count) + count)
