"""What a thousand events cost, against the same rides one by one and against an adaptive solver, in one run.

Run with ``python -m pytest tests/benchmarks/test_event_speed.py -s -m ''``.
"""

import time

import numpy as np
from machines import EFFICIENCY, PATH, PDA_100
from riding import REAL, machine
from riding_by_steps import by_steps

from unikit.formulas import events
from unikit.formulas.events import Drive, Event

RIDES = 1000
TABLE = {"speeds": np.array([0.0, 5.0, 8.0, 12.0]), "highest": np.array([40.0, 40.0, 20.0, 0.0]), "lowest": np.full(4, -20.0)}
MOTOR = Drive(EFFICIENCY, 1.5, 0.353, 0.353, **TABLE)


def timed(function, repeat):
    """Least wall time and least processor time of a call [s], and the last answer."""
    wall, processor = [], []
    for _ in range(repeat):
        start, own = time.perf_counter(), time.process_time()
        answer = function()
        wall.append(time.perf_counter() - start)
        processor.append(time.process_time() - own)
    return min(wall), min(processor), answer


def test_a_thousand_events_of_four_seconds():
    loss = np.linspace(0.0, 0.6, RIDES)
    legs = REAL._replace(crank_angle=1.57)
    run = lambda size: events.simulate(machine(), PDA_100, PATH, legs, MOTOR, Event(speed_loss=size))
    run(loss[:2])
    whole, own, course = timed(lambda: run(loss), 3)
    one, one_own, single = timed(lambda: run(loss[400]), 3)
    many, many_own, _ = timed(lambda: run(np.linspace(0.0, 0.6, 10_000)), 1)
    assert np.array_equal(single.lean, course.lean[400])
    print(f"\n{RIDES} events of 4 s, step 1 ms: {whole:.2f} s ({own:.2f} s of processor); {course.caught.mean():.0%} caught")
    print(f"10,000 events: {many:.1f} s ({many_own:.1f} s of processor)")
    print(f"one event alone: {one:.2f} s ({one_own:.2f} s); one by one the {RIDES} take {RIDES * one_own / own:.0f} times as long")
    assert own < 5.0
    assert RIDES * one_own > 100 * own


def test_against_an_adaptive_solver():
    event = Event(speed_loss=0.3)
    slow, slow_own, expected = timed(lambda: by_steps(machine(), PDA_100, PATH._replace(motor_lag=0.004), REAL, MOTOR, event, 0.0, 0.4), 1)
    fast, fast_own, course = timed(lambda: events.simulate(machine(), PDA_100, PATH._replace(motor_lag=0.004), REAL, MOTOR, event, 0.4), 3)
    print(f"\none event of 0.4 s: {fast_own:.3f} s here, {slow_own:.2f} s by scipy's solve_ivp piece by piece")
    print(f"difference in lean {np.abs(course.lean - expected[0]).max():.1e} rad; {slow_own / fast_own:.0f} times the time, for one ride")
    assert slow_own > fast_own


def test_largest_caught():
    speeds = np.linspace(2.0, 7.0, 12)
    find = lambda road: events.largest_caught(road, PDA_100, PATH, REAL, MOTOR, Event(), "speed_loss", 0.8, phases=8, passes=7)
    wall, own, found = timed(lambda: find(machine(speeds)), 1)
    print(f"\nlargest speed loss of 12 builds, 8 crank angles, to 1/128: {wall:.1f} s ({own:.1f} s of processor)")
    one, one_own, alone = timed(lambda: find(machine(speeds[3])), 1)
    print(f"of one build: {one:.1f} s ({one_own:.1f} s)")
    assert alone == found[3]
    assert own < 12 * one_own
