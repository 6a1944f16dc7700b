"""What a compiled kernel would bring: one ride of 10,000 steps, four ways, in one run.

Run with ``python -m pytest tests/benchmarks/test_compiled_kernel.py -s -m ''``; numba is measured where it is installed.
"""

import importlib.util
import time

import numpy as np
import pytest

STEPS = 10_000


def ride(step, slopes, dt):
    """Speed and two temperatures of a machine under constant leg power, explicit steps; plain floats."""
    speed, winding, housing = 4.0, 300.0, 300.0
    for slope in slopes:
        speed, winding, housing = step(speed, winding, housing, slope, dt)
    return speed, winding, housing


def step(speed, winding, housing, slope, dt):
    force = 90.0 * 9.81 * (0.008 + slope) + 0.33 * speed * speed + 0.05
    torque = 0.36 * force
    assist = torque * 0.34 / (0.585 + 0.34)
    if assist > 34.0:
        assist = 34.0
    elif assist < -34.0:
        assist = -34.0
    current = assist / 0.95
    copper = 1.5 * 0.085 * (1.0 + 0.00393 * (winding - 293.15)) * current * current
    acceleration = (140.0 / max(speed, 0.5) - force + assist / 0.36) / 92.0
    to_housing = (winding - housing) * 2.4
    return (
        max(speed + dt * acceleration, 0.2),
        winding + dt * (copper - to_housing) / 1700.0,
        housing + dt * (to_housing + 3.0 - 2.2 * (housing - 293.0)) / 1900.0,
    )


def step_array(speed, winding, housing, slope, dt):
    """The same step for many variants at once."""
    force = 90.0 * 9.81 * (0.008 + slope) + 0.33 * speed * speed + 0.05
    assist = np.clip(0.36 * force * 0.34 / (0.585 + 0.34), -34.0, 34.0)
    current = assist / 0.95
    copper = 1.5 * 0.085 * (1.0 + 0.00393 * (winding - 293.15)) * current * current
    acceleration = (140.0 / np.maximum(speed, 0.5) - force + assist / 0.36) / 92.0
    to_housing = (winding - housing) * 2.4
    return (
        np.maximum(speed + dt * acceleration, 0.2),
        winding + dt * (copper - to_housing) / 1700.0,
        housing + dt * (to_housing + 3.0 - 2.2 * (housing - 293.0)) / 1900.0,
    )


def timed(function, repeat=3):
    best, answer = float("inf"), None
    for _ in range(repeat):
        start = time.perf_counter()
        answer = function()
        best = min(best, time.perf_counter() - start)
    return best, answer


def test_step_loop():
    slopes = 0.04 * np.sin(np.linspace(0.0, 20.0, STEPS))
    plain, expected = timed(lambda: ride(step, slopes.tolist(), 0.2))
    scalars, same = timed(lambda: ride(step_array, slopes, 0.2), repeat=1)
    assert same == pytest.approx(expected, rel=1e-12)

    def variants():
        state = tuple(np.full(1000, value) for value in (4.0, 300.0, 300.0))
        for slope in slopes:
            state = step_array(*state, slope, 0.2)
        return state

    wide, answer = timed(variants, repeat=1)
    assert [column[7] for column in answer] == pytest.approx(expected, rel=1e-12)
    print(f"\n{STEPS} steps, one build: Python floats {1e3 * plain:.1f} ms, numpy scalars {scalars / plain:.1f} times that")
    print(f"1,000 builds at once in numpy: {wide:.2f} s, {1000 * plain / wide:.0f} times faster than 1,000 loops of Python floats")
    if importlib.util.find_spec("numba"):
        import numba

        compiled_step = numba.njit(step)

        @numba.njit
        def compiled_ride(slopes, dt):
            speed, winding, housing = 4.0, 300.0, 300.0
            for slope in slopes:
                speed, winding, housing = compiled_step(speed, winding, housing, slope, dt)
            return speed, winding, housing

        first, _ = timed(lambda: compiled_ride(slopes, 0.2), repeat=1)
        compiled, compiled_answer = timed(lambda: compiled_ride(slopes, 0.2), repeat=20)
        assert compiled_answer == pytest.approx(expected, rel=1e-9)
        print(f"numba: {1e3 * compiled:.2f} ms, {plain / compiled:.0f} times faster than Python floats; first call {first:.1f} s")
