"""Time of a ride along a route: compiled, plain, prepared, and against a general solver of the same equations, in one run.

``python -m pytest tests/benchmarks/test_journey_speed.py -s -m ''``
"""

import time
import tracemalloc
from functools import cache
from itertools import product
from types import FunctionType

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from unikit.formulas import _journey as j
from unikit.inputs import Case, draw, load_build
from unikit.inputs.route import make_route
from unikit.studies import journey, riding

BUILD = load_build("data/builds/harbour_commuter.toml")
CASE = Case(
    name="even pace", speed=0.5, wanted_speed=5.0, slope=0.0, head_wind=1.0, air_temperature=288.15, duration=0.0, distance=0.0,
    state_of_charge=0.95, trim="none", leg_power=150.0, hard_power=150.0,
)  # fmt: skip


def way(length, step=10.0, fine=1):
    """Hills, and a stop every 5 km; ``fine`` cuts the same steps."""
    distance = np.arange(0.0, length + step / 2, step)
    altitude = 100 + 40 * np.sin(distance / 2500) + 4 * np.sin(distance / 230)
    stop = np.where((distance % 5000 == 0) & (distance > 0) & (distance < length), 20.0, 0.0)
    if fine == 1:
        return make_route("hills", "made", distance, altitude, stop=stop)
    closer = np.arange(0.0, length + step / fine / 2, step / fine)
    there = np.zeros(len(closer))
    there[::fine] = stop
    return make_route("hills", "made", closer, np.interp(closer, distance, altitude), stop=there)


def best(call, number=5):
    times = []
    for _ in range(number):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return min(times)


def test_a_hundred_kilometres():
    route = way(100e3)
    steps = len(route.step)
    prepared = best(lambda: riding.prepare(BUILD, CASE, route))
    rides = riding.prepare(BUILD, CASE, route)
    plain = best(lambda: riding.run(rides, compiled=False))
    told = best(lambda: journey.study(BUILD, CASE, route))
    print(f"\n100 km at 10 m, {steps} steps: prepared in {1e3 * prepared:.1f} ms; plain {plain:.3f} s, {1e6 * plain / steps:.1f} us a step")
    print(f"the whole study {told:.3f} s, {'compiled' if j.compiled() else 'plain'}")
    assert plain < 1.0
    if j.compiled() is None:
        pytest.skip("numba is not installed: the extra 'fast'")
    start = time.perf_counter()
    riding.run(rides)
    first = time.perf_counter() - start
    fast = best(lambda: riding.run(rides))
    print(f"compiled {1e3 * fast:.1f} ms, {1e6 * fast / steps:.2f} us a step, {plain / fast:.0f} times as fast; at first {first:.2f} s")
    assert fast < 0.25
    assert told < 0.25


def test_cost_is_linear_in_the_length():
    compiled, rows = j.compiled() is not None, []
    for length in (10e3, 30e3, 100e3, 300e3, 1000e3):
        rides = riding.prepare(BUILD, CASE, way(length))
        riding.run(rides, compiled=compiled)
        seconds = best(lambda rides=rides: riding.run(rides, compiled=compiled), 3)
        rows.append((length, 1e6 * seconds / rides.route.shape[1]))
        print(f"\n{length / 1e3:6.0f} km: {seconds:.4f} s, {rows[-1][1]:.2f} us a step", end="")
    print()
    assert rows[-1][1] < 2.5 * rows[2][1]


def test_memory_of_a_thousand_kilometres():
    route = way(1000e3)
    tracemalloc.start()
    journey.study(BUILD, CASE, route, compiled=j.compiled() is not None)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    print(f"\n1,000 km at 10 m, {len(route.step)} steps: {most / 1e6:.0f} MB at most")
    assert most < 300e6


def test_many_draws_are_prepared():
    for count in (100, 1000):
        build, case = draw(BUILD, count, 1), draw(CASE, count, 1)
        seconds = best(lambda build=build, case=case, count=count: riding.prepare(build, case, way(5e3), count=count), 2)
        print(f"\n{count} draws prepared in {seconds:.3f} s", end="")
    print()
    assert seconds < 2.0


def rates(x, y, p, route, tables, step, square, close, tie, full, state, totals, row, here):
    """The same equations as rates over the distance, as one would hand them to a solver.

    ``y``: speed squared, time, charge used, fast and slow sag, winding, stator and
    housing, work left.  Steps of the road are looked up, as a table would be; the
    ceiling is the one that the march comes to with small steps, and what is off it is made up within ``tie``.
    """
    speed = min(max(y[0], 1e-12), 900.0) ** 0.5  # trial steps of the solver go far
    state[j.CHARGE_LEFT], state[j.FAST_SAG], state[j.SLOW_SAG] = full - y[2], y[3], y[4]
    state[j.WINDING], state[j.STATOR], state[j.MAGNETS], state[j.HOUSING], state[j.WORK_LEFT] = y[5], y[6], y[7], y[7], y[8]
    j.step_here(p, route, min(int(x / step), len(route[0]) - 1), tables, state, here)
    k = min(int(x / close), len(square) - 2)
    fall = (square[k + 1] - square[k]) / close
    rate = min(2 * p[j.QUICKER], fall + (square[k] + fall * (x - k * close) - y[0]) / tie)
    short = 1e-6 * speed * speed
    power = j.faded(p, p[j.LEG_POWER], state[j.WORK_LEFT])
    if j.lacking(p, tables, short, speed, max(speed * speed + rate * short, 0.0) ** 0.5, power, here) > 0.0:
        here[j.PEDAL] = j.pushing(p, power, here[j.CADENCE])
        wheel = here[j.LEVER] * here[j.PEDAL] + j.turn_nodes(p, here[j.PEDAL], here)
        rate = 2 * ((wheel - here[j.DRAG]) / p[j.RADIUS] - j.road_forces(p, speed, here)) / p[j.HEAVY]
    else:
        j.hold_back(p, here)
        j.turn_nodes(p, here[j.PEDAL], here)
    turning = speed / p[j.RADIUS]
    copper = j.draw_on(p, 0.0, turning, state, totals, row, here)  # no time: rates alone
    current = row[j.AT_POWER] / here[j.REST]
    late = here[j.LATE] * current
    over = max(here[j.PEDAL] * here[j.CADENCE], 0.0) - p[j.CRITICAL]
    j.warm_up(p, tables[1], speed, 0.0, copper, 0.0, state, here)
    warm = j.heat_rates(p, here, y[5], y[6], y[7], y[7], copper, here[j.DRAG] * turning)
    return (
        rate, 1 / speed, current / p[j.CHARGE] / speed,
        (p[j.FAST_SHARE] * late - y[3]) / p[j.FAST_TIME] / speed, ((1 - p[j.FAST_SHARE]) * late - y[4]) / p[j.SLOW_TIME] / speed,
        warm[0] / speed, warm[1] / speed, warm[3] / speed, (-over if over > 0 else -(1 - y[8] / p[j.CAPACITY]) * over) / speed,
    )  # fmt: skip


class Equations:
    """``rates`` for a general solver, which is started anew at each stop; standing is worked out between.

    ``tie``: m over which it makes up what it is off the ceiling.  ``brink``: m beside a
    stop that are worked out by hand, since time over distance is singular at a standstill.
    """

    PLACES = (j.FAST_SAG, j.SLOW_SAG, j.WINDING, j.STATOR, j.HOUSING, j.WORK_LEFT)
    SCALE = np.array([1.0, 10.0, 1e-2, 0.1, 0.1, 10.0, 10.0, 10.0, 1e3])

    def __init__(self, rides, fine, compiled, tie=2.0, brink=1e-3, method="RK45"):
        tables = (rides.pack[0], rides.conductance[0], rides.high[0], rides.low[0], rides.points)
        scratch = [np.zeros(count) for count in (j.STATE, j.TOTALS, j.KEPT, j.HERE)]
        self.p, self.route, self.square = rides.parameters[0], rides.route, fine.ceiling[0] ** 2
        if compiled:
            self.rates = compiled_rates()
        else:
            tables = tuple(one.tolist() for one in tables)
            scratch = [one.tolist() for one in scratch]
            self.rates, self.p, self.route, self.square = rates, self.p.tolist(), self.route.tolist(), self.square.tolist()
        self.compiled, self.tables, self.scratch, self.start = compiled, tables, scratch, rides.start[0]
        self.end, self.steps = rides.way.distance, (float(rides.way.step[0]), float(fine.way.step[0]))
        self.tie, self.brink, self.method, self.calls = tie, brink, method, 0

    def __call__(self, x, y):
        self.calls += 1
        step, close = self.steps
        full = self.start[j.CHARGE_LEFT]
        values = y if self.compiled else y.tolist()
        return self.rates(x, values, self.p, self.route, self.tables, step, self.square, close, self.tie, full, *self.scratch)

    def solved(self, rtol):
        """Charge used, time, and temperature of the winding at the end."""
        kernel = j.compiled() if self.compiled else j
        stops = [k for k, wait in enumerate(self.route[j.STOP]) if wait > 0] + [len(self.end) - 2]
        y, x = [0.0, 0.0, 0.0, *(self.start[place] for place in self.PLACES)], 0.0
        quick, slow = 2 * self.p[j.QUICKER] * self.brink, 2 * riding.SLOWER * self.brink  # squares of the speeds beside a stop
        for k in stops:
            y[0], y[1] = quick, y[1] + 2 * self.brink / quick**0.5
            until = self.end[k + 1] - self.brink
            y = solve_ivp(self, (x + self.brink, until), y, self.method, rtol=rtol, atol=rtol * self.SCALE).y[:, -1]
            x, y[1] = self.end[k + 1], y[1] + 2 * self.brink / slow**0.5
            if k == stops[-1]:
                break
            state, totals, row, here = (one.copy() for one in self.scratch)
            state[j.SPEED], state[j.TIME], state[j.CHARGE_LEFT] = 0.0, 0.0, self.start[j.CHARGE_LEFT] - y[2]
            for place, value in zip(self.PLACES, y[3:], strict=True):
                state[place] = value
            state[j.MAGNETS] = state[j.HOUSING]
            kernel.rest_for(self.p, self.tables, self.route[j.STOP][k] + 2 * j.GETTING_OFF, state, totals, row, here)
            used = self.start[j.CHARGE_LEFT] - state[j.CHARGE_LEFT]
            y = [0.0, y[1] + state[j.TIME], used, *(state[place] for place in self.PLACES)]
        return np.array([y[2], y[1], y[5]])


@cache
def compiled_rates():
    """``rates`` compiled with the compiled march."""
    from numba import njit

    return njit(FunctionType(rates.__code__, globals() | {"j": j.compiled()}))


def of_march(rides, compiled):
    end = riding.run(rides, compiled=compiled).end[0]
    return np.array([rides.start[0, j.CHARGE_LEFT] - end[j.CHARGE_LEFT], end[j.TIME], end[j.WINDING]])


def test_march_and_solver_come_to_the_same_ride():
    """Each towards its own limit: steps of 10 m down to 8 cm, tolerances down to 1e-8."""
    fast, length = j.compiled() is not None, 5e3
    rides, finest = riding.prepare(BUILD, CASE, way(length)), riding.prepare(BUILD, CASE, way(length, fine=128))
    limit = Equations(rides, finest, fast, tie=0.5, brink=1e-5).solved(1e-8)
    print()
    for fine in (1, 4, 16, 64, 128):
        off = of_march(riding.prepare(BUILD, CASE, way(length, fine=fine)), fast) / limit - 1
        print(f"steps of {10 / fine:6.3f} m: charge used {off[0]:+.1e}, time {off[1]:+.1e}, winding {off[2]:+.1e} off the solver at 1e-8")
    assert np.abs(off).max() < 1e-5


def test_against_a_general_solver_at_equal_error():
    """The march as it is ridden against solvers on the same equations in plain Python, and, for what it is worth, on compiled ones."""
    length, fast = 20e3, j.compiled() is not None
    fine = riding.prepare(BUILD, CASE, way(length, fine=32))
    limit = of_march(fine, fast)
    rides = riding.prepare(BUILD, CASE, way(length))
    error = lambda found: np.abs(found / limit - 1)[:2].max()  # the larger of the errors in the charge used and in the time, as shares
    mine = error(of_march(rides, fast))
    plain, seconds = (best(lambda compiled=compiled: riding.run(rides, compiled=compiled), 5) for compiled in (False, True))
    print(f"\n20 km at 10 m: error {mine:.1e}; plain {1e3 * plain:.0f} ms, compiled {1e3 * seconds:.2f} ms")
    least = {}
    for compiled, method, rtol in product((False, True) if fast else (False,), ("RK45", "LSODA"), (1e-2, 1e-3, 1e-4, 1e-5)):
        equations = Equations(rides, fine, compiled, method=method)
        equations(1.0, np.array([1.0, 0.0, 0.0, 0.0, 0.0, 290.0, 290.0, 290.0, 1e4]))  # so that it is compiled by now
        start = time.perf_counter()
        theirs = error(equations.solved(rtol))
        theirs_seconds = time.perf_counter() - start
        print(
            f"{'compiled' if compiled else 'plain'} {method} at {rtol:.0e}: {theirs:.1e}, {equations.calls} calls, {theirs_seconds:.2f} s"
        )
        if theirs <= 1.5 * mine:
            least[compiled] = min(least.get(compiled, np.inf), theirs_seconds)
    print(f"at equal error, both plain: {least[False] / plain:.0f} times as fast")
    if not fast:
        pytest.skip("numba is not installed: the extra 'fast'")
    print(f"both compiled: {least[True] / seconds:.0f}; compiled march against equations in plain Python: {least[False] / seconds:.0f}")
    assert least[False] / seconds >= 100
    assert least[True] / seconds >= 10
