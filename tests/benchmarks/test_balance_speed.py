"""Time of gain windows, margins and tuning, one build and many, in one run.

``python -m pytest tests/benchmarks/test_balance_speed.py -s -m ''``
"""

import time
import timeit

import numpy as np
from machines import EFFICIENCY, PATH, PD_100, many, plant

from unikit.formulas import _window, delay, reflex

HOLD = EFFICIENCY / 1.5


def best(call, number):
    return min(timeit.repeat(call, number=number, repeat=7)) / number


def test_one_build():
    machine = plant()
    window = best(lambda: reflex.gain_window(machine, PD_100, PATH, HOLD, 1.5), 20)
    margins = best(lambda: reflex.loop_margins(machine, PD_100, PATH, HOLD, 1.5, 0.3), 20)
    print(f"\none build: window {1e3 * window:.2f} ms, margins {1e3 * margins:.2f} ms")
    assert window < 5e-3
    assert margins < 2e-3


def test_ten_thousand_builds():
    builds = many(10_000, seed=1)
    start = time.perf_counter()
    found = reflex.gain_window(*builds)
    seconds = time.perf_counter() - start
    stable = np.mean(found.reason == "")
    print(f"\n10,000 builds: windows, counts and reasons {seconds:.2f} s; {100 * stable:.0f} % have a window")
    assert 0.2 < stable < 1.0
    assert seconds < 2.0


def nested_grids(machine, late, lag, predictive):
    """Gains by grids around the best of the grid before, one rider at a time: what one would write first."""
    rate = machine.lean_by_lean**0.5
    unit = np.array([rate**2, rate, 1.0])[: 2 + predictive] / machine.lean_by_torque
    low, high = np.array([0.9, 0.4, 0.0])[: 2 + predictive], np.array([3.5, 4.0, 1.6])[: 2 + predictive]
    rider = reflex.Reflex(0.0, 0.0, 0.0, 0.0, late, lag, 0.0, 0.0, 0.0)
    omega = np.append(0.0, np.geomspace(0.02, 60.0, 150))
    loop = _window.Loop(*machine, *rider, 0.0, 0.0, 0.0, 1.0, 1.0)
    cubic, names = _window.stable_cubic(omega, loop), ("proportional", "derivative", "acceleration")
    pole = _window.rider_parts(omega, loop)[0]
    parts = [_window.rider_parts(omega, loop._replace(**{name: 1.0}))[1] for name in names[: 2 + predictive]]
    terms, free, distance = np.stack(parts) / cubic, pole / cubic, np.abs(pole / cubic)[1:]
    centre, half, points = 0.5 * (low + high), 0.5 * (high - low), 13 if predictive else 25
    for _ in range(18):
        axes = [np.maximum(c + h * np.linspace(-1, 1, points), 0.0) for c, h in zip(centre, half, strict=True)]
        tried = np.stack([axis.ravel() for axis in np.meshgrid(*axes, indexing="ij")], axis=1)
        whole = free - (tried * unit) @ terms
        roots, margin = _window.turns(whole), (np.abs(whole[:, 1:]) / distance).min(axis=1)
        centre = tried[np.argmax(np.where(roots == 0, margin, -margin - 0.1 * roots))]
        later = 7 if predictive else 9
        half, points = half * (0.6 if points == later else 2 / points), later
    return rider._replace(**dict(zip(names, centre * unit, strict=False)))


def test_tuning_one_rider():
    machine = plant()
    for predictive in (False, True):
        own = best(lambda predictive=predictive: reflex.tuned_reflex(machine, 0.12, 0.03, predictive), 5)
        grids = best(lambda predictive=predictive: nested_grids(machine, 0.12, 0.03, predictive), 1)
        print(f"\none {'predictive' if predictive else 'plain'} rider: tuned in {1e3 * own:.1f} ms, by grids in {1e3 * grids:.1f} ms")
        assert own < grids


def test_tuning_many_riders():
    machine, rider, *_ = many(512, seed=1)
    for predictive in (False, True):
        start = time.perf_counter()
        found = reflex.tuned_reflex(machine, rider.delay, rider.muscle_lag, predictive)
        own, start = time.perf_counter() - start, time.perf_counter()
        singles = [type(machine)(*(part[place] for part in machine)) for place in range(0, 512, 16)]
        others = [
            nested_grids(single, rider.delay[16 * place], rider.muscle_lag[16 * place], predictive) for place, single in enumerate(singles)
        ]
        grids = 16 * (time.perf_counter() - start)
        print(f"\n512 {'predictive' if predictive else 'plain'} riders: {own:.2f} s, by grids {grids:.1f} s")
        assert own < grids / 4
        at_once = reflex.Path(0.0, np.inf, 0.0)
        for place, (single, other) in enumerate(zip(singles, others, strict=True)):
            mine = type(found)(*(np.broadcast_to(part, 512)[16 * place] for part in found))
            if delay.is_stable(*reflex.system_matrices(single, other, at_once, 1.0, 1.0, 0.0)):
                margins = [float(reflex.loop_margins(single, one, at_once, 1.0, 1.0, 0.0).vector) for one in (mine, other)]
                assert margins[0] > margins[1] * (1 - 1e-3)
                assert delay.is_stable(*reflex.system_matrices(single, mine, at_once, 1.0, 1.0, 0.0))


def test_vector_margins_of_many_gains():
    builds, gains = many(512, seed=1), np.linspace(0.0, 1.0, 40)
    start = time.perf_counter()
    found = reflex.vector_margins(*builds, gains)
    own, start = time.perf_counter() - start, time.perf_counter()
    others = [reflex.loop_margins(*builds, gain).vector for gain in gains[::8]]
    each = 8 * (time.perf_counter() - start)
    print(f"\n512 builds, 40 gains: {own:.2f} s, one gain after the other {each:.1f} s")
    assert own < each / 4
    inside = found[:, ::8] > 1e-3
    np.testing.assert_allclose(found[:, ::8][inside], np.array(others).T[inside], rtol=1e-3)
