"""A review from a cold start; off by default.

Run with ``python -m pytest tests/benchmarks/test_review_time.py -s -m ''``.
"""

import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("path", sorted((ROOT / "data" / "builds").glob("*.toml")), ids=lambda path: path.stem)
def test_a_review_takes_less_than_three_seconds(path):
    start = time.perf_counter()
    done = subprocess.run([sys.executable, "-m", "unikit", "review", str(path)], capture_output=True, cwd=ROOT, timeout=60)
    took = time.perf_counter() - start
    print(f"\n{path.stem}: {took:.2f} s")
    assert done.returncode == 0, done.stderr.decode()
    assert took < 3.0
