"""What the course of a thermal network over a ride costs, against scipy's integrator at the same error, in one run.

The integrator is started anew at each step, because what it is given jumps there.

Run with ``python -m pytest tests/benchmarks/test_heat_speed.py -s -m ''``.  What counts is the time of this
process alone; a piece of reference work around each call says how much slower the machine is at that
moment than when it is idle, and the limits are stretched by as much.
"""

import time

import numpy as np
from warm_rides import by_integrator, ride

from unikit.formulas import heat

STEPS, RIDES = 3600, 1000
REFERENCE = 3.5e-3  # s for the reference work on an idle two-core server, where the limits were set


def process_time(work):
    """Time of a call [s] and its answer."""
    start = time.process_time()
    answer = work()
    return time.process_time() - start, answer


def reference():
    """Small array operations in about the mixture of the march."""
    table, out, matrix = np.full((4, 1000), 0.3), np.empty((4, 1000)), np.full((4, 4), 0.2)
    row, spare = table[0].copy(), np.empty(1000)
    for _ in range(300):
        np.matmul(matrix, table, out=out)
        for _ in range(4):
            np.multiply(table, 1.0001, out=out)
        for _ in range(8):
            np.add(row, 0.5, out=spare)


def spent(work, repeat):
    """Median time of a call [s], the same on an idle machine, and the last answer."""
    times, slower = [], []
    for _ in range(repeat):
        slower += [process_time(reference)[0] / REFERENCE for _ in range(3)]
        took, answer = process_time(work)
        times.append(took)
        slower += [process_time(reference)[0] / REFERENCE for _ in range(3)]
    return np.median(times), np.median(times) / max(1.0, np.median(slower)), answer


def test_one_ride_and_a_thousand():
    given = ride(STEPS, step=1.0)
    one, idle, course = spent(lambda: heat.network_course(**given), 8)
    exact = by_integrator(given)
    error = np.abs(course.temperature - exact).max()
    print(f"\none ride, {STEPS} steps, 4 bodies, derating: {1e3 * one:.1f} ms ({1e3 * idle:.1f} on an idle machine), error {error:.1e} K")
    for tolerance in (1e-3, 1e-4, 1e-5, 1e-6):
        other, _, rough = spent(lambda tolerance=tolerance: by_integrator(given, tolerance), 1)
        apart = np.abs(rough - exact).max()
        print(f"solve_ivp, rtol {tolerance:.0e}: {1e3 * other:.0f} ms, error {apart:.1e} K; {other / one:.0f} times the time")
    generator = np.random.default_rng(2)
    many = given | {
        "capacity": given["capacity"] * generator.uniform(0.7, 1.4, (RIDES, 1)),
        "start": given["start"] + generator.uniform(0.0, 30.0, (RIDES, 1)),
        "every": 60,
    }
    all_of_them, all_idle, courses = spent(lambda: heat.network_course(**many), 3)
    alone = heat.network_course(**many | {"capacity": many["capacity"][7], "start": many["start"][7]})
    apart = np.abs(courses.temperature[7] - alone.temperature).max()
    print(
        f"{RIDES} rides side by side: {all_of_them:.2f} s ({all_idle:.2f} on an idle machine), one of them alone differs by {apart:.0e} K"
    )
    print(f"one after the other in the integrator: {RIDES * other:.0f} s, {RIDES * other / all_of_them:.0f} times the time")
    made = course.copper_heat + course.other_heat.sum()
    stored = given["capacity"] @ (course.temperature[-1] - course.temperature[0])
    print(f"heat in less heat out less heat stored, of what came in: {abs(made - np.trace(course.carried) - stored) / made:.0e}")
    assert error < 1e-4
    assert apart < 1e-6
    assert abs(made - np.trace(course.carried) - stored) < 1e-6 * made
    assert idle < 0.030
    assert all_idle < 0.5
