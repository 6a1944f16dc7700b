"""Time of gain windows and margins, one build and ten thousand, in one run.

``python -m pytest tests/benchmarks/test_balance_speed.py -s -m ''``
"""

import time
import timeit

import numpy as np
from machines import EFFICIENCY, PATH, PD_100, many, plant

from unikit.formulas import reflex

HOLD = EFFICIENCY / 1.5


def best(call, number):
    return min(timeit.repeat(call, number=number, repeat=7)) / number


def test_one_build():
    machine = plant()
    window = best(lambda: reflex.gain_window(machine, PD_100, PATH, HOLD, 1.5), 20)
    margins = best(lambda: reflex.loop_margins(machine, PD_100, PATH, HOLD, 1.5, 0.3), 20)
    tuning = best(lambda: reflex.tuned_reflex(machine, 0.12, 0.03), 2)
    print(f"\none build: window {1e3 * window:.2f} ms, margins {1e3 * margins:.2f} ms, tuning {1e3 * tuning:.0f} ms")
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
