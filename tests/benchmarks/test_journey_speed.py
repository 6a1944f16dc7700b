"""Time of a ride along a route: compiled, plain, prepared, and against a general solver of the same equations, in one run.

``python -m pytest tests/benchmarks/test_journey_speed.py -s -m ''``
"""

import time
import tracemalloc

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


class Equations:
    """The same equations as rates over the distance, as one would hand them to a solver.

    State: speed squared, time, charge, fast and slow sag, winding, stator and
    housing, work left.  The ceiling is followed by its own slope and what is
    missing to it within 2 m.  The solver is started anew at each stop; standing
    is worked out between.  Steps of the road are looked up, as a table would be.
    """

    PLACES = (j.CHARGE_LEFT, j.FAST_SAG, j.SLOW_SAG, j.WINDING, j.STATOR, j.HOUSING, j.WORK_LEFT)

    def __init__(self, rides):
        lists = (rides.parameters[0], rides.route, rides.pack[0], rides.conductance[0], rides.high[0], rides.low[0], rides.points)
        self.p, self.route, self.pack, self.links, self.high, self.low, self.points = (array.tolist() for array in lists)
        self.ends = rides.way.distance.tolist()
        self.square = (rides.ceiling[0] ** 2).tolist()
        self.start = rides.start[0].tolist()
        self.here, self.found = [0.0] * j.HERE, [0.0] * j.FOUND
        self.torque, self.weight, self.forces, self.through = [0.0] * 9, [0.0] * 9, [0.0] * 4, [0.0] * 7
        self.calls = 0

    def __call__(self, x, y):
        self.calls += 1
        p, here, found = self.p, self.here, self.found
        i = min(int(x / 10.0), len(self.ends) - 2)
        length = self.ends[i + 1] - self.ends[i]
        square = max(y[0], 1e-3)
        speed = square**0.5
        state = [0.0] * j.STATE
        for place, value in zip(self.PLACES, y[2:], strict=True):
            state[place] = float(value)
        state[j.MAGNETS] = state[j.HOUSING]
        j.step_here(p, self.route, i, self.pack, self.points, state, state[j.CHARGE_LEFT] > 0, 0.0, here)
        fall = (self.square[i + 1] - self.square[i]) / length
        missing = self.square[i] + fall * (x - self.ends[i]) - square
        rate = min(2 * p[j.QUICKER], fall + missing / 2.0)
        rate = max(rate, -square / 1e-3)
        short = 1e-3
        pedal = j.ride_to(p, self.high, self.low, short, speed, (square + rate * short) ** 0.5, here, self.torque, self.weight, found)
        most = j.pushing(p, j.faded(p, p[j.LEG_POWER], state[j.WORK_LEFT]), found[j.CADENCE])
        least = -min(j.pushing(p, p[j.LEG_POWER], found[j.CADENCE]), p[j.BACKWARD] * j.most_torque(p, found[j.CADENCE]))
        limited = pedal > most
        pedal = min(max(pedal, least), most)
        mean = j.turn_nodes(
            found[j.GAIN] * pedal,
            found[j.SET_TRIM],
            found[j.BOTTOM],
            found[j.TOP],
            p[j.FLOOR],
            p[j.SWING],
            p[j.FELT],
            self.torque,
            self.weight,
        )
        if limited:
            pull = (found[j.LEVER] * pedal + mean - found[j.DRAG]) / p[j.RADIUS]
            rate = 2 * (pull - j.road_force(p, here, speed)) / p[j.HEAVY]
        turning = speed / p[j.RADIUS]
        kept, totals, scratch = [0.0] * j.KEPT, [0.0] * j.TOTALS, list(state)
        copper = j.draw_on(p, self.pack, 1e-9, turning, self.torque, self.weight, here[j.ON] != 0.0, scratch, totals, kept, here)
        current = kept[j.AT_POWER] / here[j.REST]
        late = here[j.LATE] * current
        power = max(pedal * found[j.CADENCE], 0.0)
        over = power - p[j.CRITICAL]
        left = -over if over > 0 else -(1 - state[j.WORK_LEFT] / p[j.CAPACITY]) * over
        place = speed / p[j.SPEED_STEP]
        row = min(int(place), len(self.links[0]) - 2)
        through = [values[row] + (values[row + 1] - values[row]) * (place - row) for values in self.links]
        warm = j.heat_rates(
            p, through, state[j.WINDING], state[j.STATOR], state[j.MAGNETS], state[j.HOUSING], copper, found[j.DRAG] * turning
        )
        rates = (
            -current / p[j.CHARGE],
            (p[j.FAST_SHARE] * late - state[j.FAST_SAG]) / p[j.FAST_TIME],
            ((1 - p[j.FAST_SHARE]) * late - state[j.SLOW_SAG]) / p[j.SLOW_TIME],
            warm[0],
            warm[1],
            warm[3],
            left,
        )
        return [rate, 1 / speed, *(value / speed for value in rates)]

    def solved(self, rtol):
        """Charge and time at the end."""
        stops = [k for k, wait in enumerate(self.route[j.STOP]) if wait > 0] + [len(self.ends) - 2]
        y, x = [1e-3, 0.0, *(self.start[place] for place in self.PLACES)], 0.0
        for k in stops:
            scale = np.array([1.0, 10.0, 1e-2, 0.1, 0.1, 10.0, 10.0, 10.0, 1e3])
            y = solve_ivp(self, (x, self.ends[k + 1]), y, rtol=rtol, atol=rtol * scale).y[:, -1].tolist()
            x = self.ends[k + 1]
            if k == stops[-1]:
                break
            state = [0.0] * j.STATE
            for place, value in zip(self.PLACES, y[2:], strict=True):
                state[place] = value
            state[j.MAGNETS] = state[j.HOUSING]
            wait = self.route[j.STOP][k] + 2 * j.GETTING_OFF
            totals, kept = [0.0] * j.TOTALS, [0.0] * j.KEPT
            j.rest_for(self.p, self.pack, self.links, wait, state, totals, kept, self.torque, self.weight, self.through, self.here)
            y = [1e-3, y[1] + wait, *(state[place] for place in self.PLACES)]
        return y[2], y[1]


def test_against_a_general_solver_at_equal_error():
    length = 20e3
    fine = riding.run(riding.prepare(BUILD, CASE, way(length, fine=32))).end[0]
    rides = riding.prepare(BUILD, CASE, way(length))
    used = CASE.state_of_charge - fine[j.CHARGE_LEFT]

    def error(charge, seconds):
        """The larger of the errors in the charge used and in the time, as shares."""
        return max(abs(charge - fine[j.CHARGE_LEFT]) / used, abs(seconds / fine[j.TIME] - 1))

    own = riding.run(rides)
    mine = error(own.end[0, j.CHARGE_LEFT], own.end[0, j.TIME])
    seconds = best(lambda: riding.run(rides), 9)
    plain = best(lambda: riding.run(rides, compiled=False), 3)
    way_of = "compiled" if j.compiled() else "plain"
    print(f"\n20 km at 10 m: error {mine:.1e}; {way_of} {1e3 * seconds:.2f} ms, plain {1e3 * plain:.0f} ms")
    for rtol in (1e-2, 1e-3, 1e-4, 1e-5, 1e-6):
        equations = Equations(rides)
        start = time.perf_counter()
        theirs = error(*equations.solved(rtol))
        theirs_seconds = time.perf_counter() - start
        ratio = theirs_seconds / seconds
        print(f"solve_ivp at {rtol:.0e}: error {theirs:.1e}, {equations.calls} calls, {theirs_seconds:.2f} s: {ratio:.0f} times {way_of}")
        if theirs <= mine:
            break
    print(f"at equal error or the nearest that was tried: {ratio:.0f} times {way_of}, {theirs_seconds / plain:.0f} times plain")
    if j.compiled() is None:
        pytest.skip("numba is not installed: the extra 'fast'")
    assert ratio >= 100
