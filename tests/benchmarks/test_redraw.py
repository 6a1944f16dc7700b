"""How long a panel takes from a changed slider to new pictures and numbers, in the kernel.

Run with ``python -m pytest tests/benchmarks/test_redraw.py -s``.  What counts is the time of this
process alone; on a machine that others use too, a piece of reference work in the same run says how
much slower everything is at the moment, and the limit is stretched by as much.
"""

import time
import zlib

import numpy as np
import pytest

from unikit.inputs import load_build, load_case
from unikit.lab import panels

LIMIT = 40.0  # ms
REFERENCE = 2.9  # ms for the reference work on an idle two-core server, where the limit was set
REDRAWS = 40


def reference():
    """Python, numpy and zlib, as in a redraw."""
    total = 0.0
    for i in range(20_000):
        total += (i * 0.37) % 1.7
    grid = np.linspace(0.0, 1.0, 500)
    for _ in range(120):
        total += float(np.sqrt(grid * grid + 1.0).sum())
    return total + len(zlib.compress(bytes(1_000_000), 1))


def process_ms(work, *arguments):
    start = time.process_time()
    work(*arguments)
    return 1e3 * (time.process_time() - start)


@pytest.mark.parametrize("topic", panels.ASKED)
def test_redraw_within_the_limit(root, topic):
    panel = getattr(panels, topic)(load_build(root / "data/builds/harbour_commuter.toml"), load_case(root / "data/cases/harbour_hill.toml"))
    name, row = next((name, row) for name, row in panel.rows.items() if row.slider is not None)
    start = row.box.value
    spent, slower = [], []
    for i in range(REDRAWS):
        value = start * (1 + 0.004 * (i % 9 - 4)) + (1e-3 if i % 9 == 4 else 0.0)
        spent.append(process_ms(setattr, row.box, "value", value))
        slower.append(process_ms(reference) / REFERENCE)
        assert panel.error is None
    study = np.median([process_ms(lambda: panel.study(**panel.values())) for _ in range(REDRAWS // 4)])
    load = max(1.0, float(np.median(slower)))
    median = float(np.median(spent))
    print(
        f"{topic:9} redraw {median:5.1f} ms, of it study {study:4.1f} ms; machine at {load:4.2f} of idle: {median / load:5.1f} ms  ({name})"
    )
    assert median / load <= LIMIT
