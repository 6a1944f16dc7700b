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
JOINED = 1e-8  # K: blocks that meet this closely are one course
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
        self._limited = limited
        self.law, self._incidence, self._to_air, self.per_capacity = law, incidence, to_air, per_capacity
        bodies = len(per_capacity)
        self._heat, self._sums = np.empty((4, bodies, columns)), np.empty((2, bodies, columns))
        self._copper, self._spare = np.empty((4, columns)), np.empty((3, columns))
        self._ahead, self._inner = np.empty((2, bodies, columns))
        self.integral, self.copper = np.empty((bodies, columns)), np.empty(columns)
        self._cuts = bool(np.any(law.end < NEVER))
        self._step, self._of_step, self._before, self._span, self._there = None, None, None, None, None
        self._column, self._along = np.arange(columns), np.empty((len(incidence), columns))

    def _level(self, x: np.ndarray, now: Load, hot: bool) -> np.ndarray:
        """Copper loss at the references as far as derating leaves it."""
        if not hot:
            return now.full
        left, level, pieces = self._spare[1], self._spare[2], now.curve.shape[1]
        np.subtract(self.law.end, x[self.law.winding], out=left)
        np.divide(left, now.span, out=left)
        np.maximum(left, 0.0, out=left)
        np.minimum(left, 1.0, out=left)
        if pieces == 1:
            first, *others = now.curve[:, 0]
        else:
            np.multiply(left, pieces, out=left)
            place = np.minimum(left.astype(np.intp), pieces - 1)
            np.subtract(left, place, out=left)
            first, *others = now.curve[:, place, self._column] if now.curve.shape[-1] > 1 else now.curve[:, :, 0].take(place, axis=1)
        np.multiply(first, left, out=level)
        for other in others[:-1]:
            np.add(level, other, out=level)
            np.multiply(level, left, out=level)
        return np.add(level, others[-1], out=level)

    def _rates(self, x: np.ndarray, now: Load, stage: int, hot: bool) -> None:
        law, out, copper, spare = self.law, self._heat[stage], self._copper[stage], self._spare[0]
        if now.matrix.shape[-1] == 1:
            np.matmul(now.matrix[..., 0], x, out=out)
        else:
            np.einsum("ijb,jb->ib", now.matrix, x, out=out)
        np.add(out, now.source, out=out)
        np.multiply(x[law.magnets], law.flux[1], out=copper)
        np.add(copper, law.flux[0], out=copper)
        np.maximum(copper, law.least_flux, out=copper)
        np.multiply(copper, copper, out=copper)
        np.divide(self._level(x, now, hot), copper, out=copper)
        if self._limited:
            np.minimum(copper, now.limit, out=copper)
        np.multiply(x[law.winding], law.resistance[1], out=spare)
        np.add(spare, law.resistance[0], out=spare)
        np.multiply(copper, spare, out=copper)
        np.add(out[law.winding], copper, out=out[law.winding])

    def _leap(self, x: np.ndarray, now: Load, step: float | np.ndarray, hot: bool, out: np.ndarray) -> None:
        """One step of Runge and Kutta, without regard to where derating begins or ends."""
        ahead, heat, inner, (whole, half) = self._ahead, self._heat, self._inner, self._reach(step)
        self._rates(x, now, 0, hot)
        for stage in range(3):
            np.multiply(heat[stage], whole if stage == 2 else half, out=ahead)
            np.add(ahead, x, out=ahead)
            self._rates(ahead, now, stage + 1, hot)
        bodies, columns = x.shape
        np.matmul(_WEIGHTS, heat.reshape(4, bodies * columns), out=self._sums.reshape(2, bodies * columns))
        np.multiply(self._sums, whole, out=self._sums)
        np.add(self._sums[1], x, out=inner)
        np.multiply(inner, step, out=self.integral)
        np.add(x, self._sums[0], out=out)
        np.matmul(_WEIGHTS[0], self._copper, out=self.copper)
        np.multiply(self.copper, step, out=self.copper)

    def _reach(self, step: float | np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Kelvin per watt over a step and over half of it."""
        if step is not self._step:
            whole = self.per_capacity * step
            self._step, self._of_step = step, (whole, whole / 2)
        return self._of_step

    def _over(self, x: np.ndarray, now: Load) -> np.ndarray:
        """Winding's temperature over the one from which derating takes something."""
        over = x[self.law.winding] - self.law.end
        return np.add(over, now.span, out=over)

    def advance(self, x: np.ndarray, now: Load, step: float, out: np.ndarray) -> None:
        """One step on, with the integrals of temperatures and copper loss over it."""
        if not self._cuts:
            self._leap(x, now, step, False, out)
            return
        before = self._before if now.span is self._span and x is self._there else self._over(x, now)
        hot = before.max() > -NEAR
        self._leap(x, now, step, hot, out)
        after = self._over(out, now)
        if hot or after.max() > 0:
            crossed = np.flatnonzero(((before > 0) != (after > 0)) | ((before > now.span) != (after > now.span)))
            if crossed.size:
                self._cross(x, now, step, out, crossed, before[crossed], after[crossed])
                after = self._over(out, now)
        self._before, self._span, self._there = after, now.span, out

    def _cross(self, x, now, step, out, crossed, before, after) -> None:
        """The step of these columns again, in two parts that meet where derating begins or ends."""
        law, now, start = self.law.columns(crossed), now.columns(crossed), x[:, crossed]
        winding, there = law.winding, out[law.winding, crossed]
        edge = law.end - np.where((before > 0) != (after > 0), now.span, 0.0)
        per_capacity = self.per_capacity if self.per_capacity.shape[1] == 1 else self.per_capacity[:, crossed]
        slope = self._heat[0][winding, crossed] * per_capacity[winding] * step
        part = _root(there - start[winding] - slope, slope, start[winding] - edge)
        small = March(per_capacity, crossed.size, law, self._incidence, self._to_air, self._limited)
        met, end = np.empty((2, *start.shape))
        small._leap(start, now, part * step, True, met)
        integral, copper = small.integral.copy(), small.copper.copy()
        small._leap(met, now, (1 - part) * step, True, end)
        out[:, crossed], self.integral[:, crossed], self.copper[crossed] = end, integral + small.integral, copper + small.copper

    def flows(self, now: Load, step: float) -> np.ndarray:
        """Heat that went along each link in the step just made."""
        along = np.matmul(self._incidence, self.integral, out=self._along)
        along[self._to_air :] -= now.ambient * step
        return np.multiply(along, now.link, out=along)


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
    row = load.rows()
    for number in range(steps):
        now = row(number)
        for _ in range(parts):
            march.advance(x, now, small, other)
            x, other = other, x
            np.add(copper, march.copper, out=copper)
            np.add(flows, march.flows(now, small), out=flows)
        if (number + 1) % every == 0:
            course[(number + 1) // every] = x
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
        move = np.zeros((bodies, lone))
        for block in range(count - 1):
            move = missed[:, block] + np.einsum("ijv,jv->iv", slopes[:, :, block], move)
            joint[:, block + 1] += move
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
