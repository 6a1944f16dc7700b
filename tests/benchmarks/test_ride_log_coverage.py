"""A thousand computed rides in gusty winds: how often the 95 % intervals hold the truth, and what a fit costs."""

from time import perf_counter

import numpy as np
import pytest
from rides import fitted

from unikit.formulas import road_fit
from unikit.studies.ride_logged import Scenario

RIDES = 1000


@pytest.mark.parametrize(
    "name, seed, scenario", [("gusty", 100, Scenario()), ("calmer, hillier", 200, Scenario(gust_deviation=0.45, hills=1.3))]
)
def test_intervals_hold_the_truth_as_often_as_they_say(name, seed, scenario):
    begin = perf_counter()
    of, truth, held, settled = fitted(RIDES, seed, scenario)
    print(f"\n{name}: {RIDES} rides ridden, cut and fitted in {perf_counter() - begin:.0f} s, {100 * settled.mean():.1f} % settled")
    for place, what in enumerate(road_fit.FITTED):
        error, off = of["error"][:, place], of["value"][:, place] - truth[:, place]
        print(
            f"{what:22} {100 * held[:, place].mean():.1f} % covered, bias {off.mean() / error.mean():+.2f}, "
            f"scatter {off.std() / error.mean():.2f} of the error {error.mean():.4g}, freedom {np.median(of['freedom'][:, place]):.0f}"
        )
    assert np.all((held.mean(axis=0) >= 0.93) & (held.mean(axis=0) <= 0.97))
