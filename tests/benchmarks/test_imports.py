"""How long the floors take to import, each in a fresh Python.

Run with ``python -m pytest tests/benchmarks/test_imports.py -s -m ''``.
"""

import subprocess
import sys

import pytest

PROGRAM = "import time; start = time.perf_counter(); import {names}; print(time.perf_counter() - start)"


def cold(names: str, runs: int = 3) -> float:
    """Seconds of the fastest of some imports, each in a new process."""
    times = []
    for _ in range(runs):
        done = subprocess.run([sys.executable, "-c", PROGRAM.format(names=names)], capture_output=True, text=True, check=True, timeout=120)
        times.append(float(done.stdout))
    return min(times)


@pytest.mark.parametrize("names", ["unikit, unikit.formulas, unikit.inputs", "unikit.studies.review"])
def test_cold_import(names):
    seconds = cold(names)
    print(f"\nimport {names}: {seconds:.2f} s (numpy alone {cold('numpy'):.2f} s, the panels on top {cold('unikit.lab.panels', 1):.2f} s)")
    assert seconds < 0.5
