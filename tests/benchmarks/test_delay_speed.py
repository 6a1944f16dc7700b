"""What roots, margins and the stability of many builds cost, against python-control with Padé at equal error, in one run.

Run with ``python -m pytest tests/benchmarks/test_delay_speed.py -s -m ''``.
"""

import time

import numpy as np
import pytest
from delayed_loops import DEAD_TIME, RIDER_DELAY, machine, machine_loop

from unikit.formulas import delay

BUILDS = 10_000


def timed(function, repeat=40):
    """Least time of a call [s], which the machine's other work disturbs least, and the last answer."""
    spent = []
    for _ in range(repeat):
        start = time.perf_counter()
        answer = function()
        spent.append(time.perf_counter() - start)
    return min(spent), answer


def pade_poles(a_matrix, delayed, orders):
    """Closed-loop poles of the machine with Padé approximants; the factors are known, so nothing is spent on finding them."""
    control = pytest.importorskip("control")
    (rider, late), (sensed, dead) = delayed
    plant = control.ss(a_matrix, np.eye(6)[:, [3, 4]], np.stack([rider[3], sensed[4]]), np.zeros((2, 2)))
    parts = [control.ss(control.tf(*control.pade(tau, order))) for tau, order in zip((late, dead), orders, strict=True)]
    return control.feedback(plant, control.append(*parts), sign=1).poles()


def test_rightmost_roots():
    system = machine()
    spent, roots = timed(lambda: delay.rightmost_roots(*system))
    error = np.abs(1 + machine_loop(roots)).max()
    one, _ = timed(lambda: delay.rightmost_roots(*system, count=1))
    stable, _ = timed(lambda: delay.is_stable(*system))
    count, _ = timed(lambda: delay.root_count(*system))
    print(f"\n6 rightmost roots, 6 states, 2 delays: {1e3 * spent:.2f} ms, residual of 1 + L {error:.0e}")
    print(f"the first root {1e3 * one:.2f} ms, is_stable {1e3 * stable:.2f} ms, root_count {1e3 * count:.2f} ms")
    for orders in ((3, 2), (6, 3), (8, 3), (10, 4), (12, 4)):
        other, poles = timed(lambda orders=orders: pade_poles(*system, orders))
        apart = [np.abs(poles - root).min() for root in roots]
        print(
            f"python-control, Padé {orders[0]}+{orders[1]}: {1e3 * other:.2f} ms, error of the first four {max(apart[:4]):.0e}, "
            f"of six {max(apart):.0e}; {other / spent:.1f} times the time"
        )
    assert error < 1e-9
    assert spent < 1.0e-3


def test_margins():
    control = pytest.importorskip("control")
    frequency = np.geomspace(0.02, 300, 1000)
    spent, found = timed(lambda: delay.margins(frequency, lambda w: machine_loop(1j * w)))
    coarse, rough = timed(lambda: delay.margins(frequency, machine_loop(1j * frequency)))
    print(f"\nmargins, 1,000 frequencies, exact: {1e3 * spent:.2f} ms; from samples {1e3 * coarse:.2f} ms")
    print(f"samples against exact: gain {abs(rough.gain_up / found.gain_up - 1):.0e}, phase {abs(rough.phase / found.phase - 1):.0e}")

    def library(orders):
        (rider, late), (sensed, dead) = machine()[1]
        rider_delay, dead_time = (control.ss(control.tf(*control.pade(tau, n))) for tau, n in zip((late, dead), orders, strict=True))
        plant = control.ss(machine()[0], np.eye(6)[:, [3, 4]], np.stack([rider[3], sensed[4]]), np.zeros((2, 2)))
        inner = control.feedback(plant, control.append(control.ss([], [], [], [[0.0]]), dead_time), sign=1)[0, 0]
        return control.stability_margins(-control.series(inner, rider_delay), returnall=True)

    for orders in ((2, 1), (4, 2), (6, 3)):
        other, (gain, *_) = timed(lambda orders=orders: library(orders), repeat=10)
        error = abs(min(gain[gain > 1]) / found.gain_up - 1)
        print(
            f"python-control, Padé {orders[0]}+{orders[1]}: {1e3 * other:.1f} ms, error of the gain margin {error:.0e}; "
            f"{other / spent:.1f} times the time"
        )
    assert spent < 2.0e-3


def test_stability_of_many_builds():
    draw = np.random.default_rng(4).uniform
    matrix, ((rider, _), (sensed, _)) = machine(draw(0.0, 0.7, BUILDS), draw(200.0, 300.0, BUILDS), draw(40.0, 60.0, BUILDS))
    delayed = [(rider, draw(0.7, 1.6, BUILDS) * RIDER_DELAY), (sensed, draw(0.2, 5.0, BUILDS) * DEAD_TIME)]
    spent, stable = timed(lambda: delay.is_stable(matrix, delayed), repeat=3)
    some = np.arange(0, BUILDS, 50)
    counted = [delay.root_count(matrix[k], [(gain[k], tau[k]) for gain, tau in delayed]) == 0 for k in some]
    print(f"\nis_stable of {BUILDS} builds: {spent:.2f} s, {1e6 * spent / BUILDS:.0f} µs each; {stable.mean():.0%} stable")
    assert stable[some].tolist() == counted
    assert spent < 2.0


def test_a_mode_in_time_against_a_generic_delay_equation_solver():
    """One second of the slowest mode: the generic solver (``pip install ddeint``) integrates it, the root says it."""
    ddeint = pytest.importorskip("ddeint").ddeint
    matrix, delayed = machine()
    matrix, delayed = np.asarray(matrix), [(np.asarray(gain), time_) for gain, time_ in delayed]
    spent, roots = timed(lambda: delay.rightmost_roots(matrix, delayed))
    root = roots[0]
    characteristic = matrix + sum(gain * np.exp(-root * time_) for gain, time_ in delayed) - root * np.eye(len(matrix))
    shape = np.linalg.svd(characteristic)[2][-1].conj()
    exact = lambda at: np.real(shape * np.exp(root * at))
    slope = lambda state, at: matrix @ state(at) + sum(gain @ state(at - time_) for gain, time_ in delayed)
    other, course = timed(lambda: ddeint(slope, exact, np.linspace(0.0, 1.0, 401)), repeat=1)
    error = np.abs(course[-1] - exact(1.0)).max() / np.abs(shape).max()
    ours = np.abs(1 + machine_loop(root)).max()
    print(f"\nroots {1e3 * spent:.2f} ms at {ours:.0e}; generic solver {1e3 * other:.0f} ms at {error:.0e}: {other / spent:.0f} times")
    assert ours < 1e-9 < error and other > 20 * spent
