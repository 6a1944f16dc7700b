"""Descents of thousands of strange builds: the energy closes in every one.

Run with ``python -m pytest tests/benchmarks/test_many_descents.py -s -m ''``.
"""

import numpy as np

from tests.studies import examples
from unikit.studies import descents


def test_energy_closes_for_three_thousand_builds():
    worst, empty = 0.0, 0
    for seed in range(3000):
        rng = np.random.default_rng([7, seed])
        case = examples.case(
            slope=-rng.uniform(0.003, 0.15),
            trim=rng.choice(["none", "steps", "level"]).item(),
            state_of_charge=rng.uniform(0.3, 1.0),
            speed=rng.uniform(1.0, 7.0),
            distance=rng.uniform(200, 9000),
        )
        try:
            found = descents.study(examples.strange(rng), case)
        except ValueError as problem:
            assert "packs are empty" in str(problem)
            empty += 1
            continue
        worst = max(worst, abs(found.unaccounted))
    print(f"worst share not accounted for: {worst:.1e}; packs emptied in {empty}")
    assert worst < 1e-6 and empty < 30
