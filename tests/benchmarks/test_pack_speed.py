"""What a discharge with two time constants and two joined packs cost, against an integrator at equal error, in one run.

Run with ``python -m pytest tests/benchmarks/test_pack_speed.py -s -m ''``.
"""

import time

import numpy as np
from scipy.integrate import solve_ivp

from unikit.formulas import joining, sag

POINTS = np.array([0, 0.04, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1])
CURVE = 13 * np.array([3.00, 3.26, 3.43, 3.55, 3.61, 3.66, 3.72, 3.79, 3.88, 3.98, 4.07, 4.18])
CHARGE = 7380.0  # A s


def timed(function, repeat):
    """Least time of a call [s] and its answer."""
    spent = []
    for _ in range(repeat):
        start = time.perf_counter()
        answer = function()
        spent.append(time.perf_counter() - start)
    return min(spent), answer


def test_a_discharge_of_an_hour():
    instants = np.arange(0.0, 3601.0)
    current = 1.5 + np.sin(np.arange(3600) / 7.0) + (np.arange(3600) % 60 < 10) * 2.0
    part = (0.39, 0.12, 6.0, 0.15, 240.0)
    ours, found = timed(lambda: sag.course(instants, current, CHARGE, *part, POINTS, CURVE), 5)

    def integrated(tolerance):
        state, voltage = np.array([1.0, 0.0, 0.0]), np.empty(3600)
        for step, now in enumerate(current):
            rates = lambda _, x, now=now: [-now / CHARGE, (now - x[1]) / part[2], (now - x[2]) / part[4]]
            state = solve_ivp(rates, (0.0, 1.0), state, rtol=tolerance, atol=tolerance).y[:, -1]
            voltage[step] = np.interp(state[0], POINTS, CURVE) - part[0] * now - part[1] * state[1] - part[3] * state[2]
        return voltage

    theirs, other = timed(lambda: integrated(1e-6), 1)
    error = np.abs(found.voltage - other).max()
    print(f"\ndischarge, 3,600 steps: {1e3 * ours:.1f} ms, solve_ivp {theirs:.2f} s, {theirs / ours:.0f} times; {error:.1e} V apart")
    assert error < 1e-4
    assert theirs > 20 * ours


def test_two_packs_joined():
    states, ohms = np.array([1.0, 0.15]), np.array([0.389, 0.389])
    instants = np.linspace(0.0, 4000.0, 400)
    ours, found = timed(lambda: joining.join(states, CHARGE, ohms, POINTS, CURVE, instants), 20)

    def rates(_, x):
        current = np.diff(np.interp(x[:2], POINTS, CURVE))[0] / ohms.sum()
        return [current / CHARGE, -current / CHARGE, ohms.sum() * current**2]

    exact = solve_ivp(rates, (0, 4000.0), [*states, 0.0], "DOP853", t_eval=instants, rtol=1e-9, atol=1e-11, max_step=10.0)
    theirs, other = timed(lambda: solve_ivp(rates, (0, 4000.0), [*states, 0.0], t_eval=instants, rtol=1e-6, atol=1e-8), 5)
    off = [np.abs(answer - exact.y[:2]).max() for answer in (found.state_of_charge, other.y[:2])]
    print(
        f"\ntwo packs joined, 400 instants: {1e3 * ours:.2f} ms, solve_ivp {1e3 * theirs:.1f} ms, {theirs / ours:.0f} times; "
        f"errors {off[0]:.0e} and {off[1]:.0e} of the charge"
    )
    assert off[0] < max(off[1], 1e-7)
    assert theirs > 2 * ours
