"""What the review judges over drawn riders is, rider by rider, what the studies answer for one."""

import numpy as np
import pytest

from unikit.inputs import replace
from unikit.studies import capture, chance, cut_out

from . import examples

HILL = next(case for case in examples.cases() if case.name == "Harbour hill")
COUNT = 6


def one(drawn, row):
    """One rider out of the draws, as a build of single numbers."""
    values = {}
    for path in drawn_paths():
        at = drawn
        for step in path.split("."):
            at = next(item for item in at if item.name == step) if isinstance(at, tuple) else getattr(at, step)
        values[path] = float(at[row])
    return replace(examples.build(), values | {"rider.prediction": "acceleration"})


def drawn_paths():
    build = examples.build()
    return [*build.spreads, *(path for path in chance.loops.assumed(build) if path != "rider.prediction")]


@pytest.mark.parametrize("gear", ["direct", "long"])
@pytest.mark.parametrize("slope", [0.02, -0.04])
def test_margins_over_riders_are_those_of_each_rider(gear, slope):
    build, case = examples.build(), replace(HILL, {"slope": slope})
    gear = build.gears.named(gear)
    lost, trims = cut_out.margins(build, case, gear, COUNT, chance.SEED)
    speeds = capture.speed_margins(build, case, gear, COUNT, chance.SEED, points=61)
    drawn = chance.riders(build, COUNT)
    assert len({*speeds.tolist()}) > 1
    for row in range(COUNT):
        single = one(drawn, row)
        assert lost[row] == pytest.approx(cut_out.cut_out_margin(single, case, gear)[0], rel=1e-9)
        assert trims[row] == pytest.approx(cut_out.trim_margin(single, case, gear)[0], rel=1e-9, abs=1e-12)
        assert speeds[row] == pytest.approx(capture.speed_margin(single, case, gear)[0], rel=0.01)
    assert np.isfinite(trims).all() and lost.shape == trims.shape == speeds.shape == (COUNT,)
