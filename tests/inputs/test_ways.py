"""A route ridden back, and there and back."""

import numpy as np
import pytest

from unikit.inputs import make_route, there_and_back, way_back


def hill(**others):
    given = {
        "heading": [0.5, np.nan, 6.0],
        "surface": [1.0, 2.0, 1.5],
        "shelter": [0.2, 0.3, 0.4],
        "speed_limit": [4.0, np.inf, 5.0, 6.0],
        "stop": [1.0, 20.0, 0.0, 30.0],
    }
    return make_route("hill", "invented", [0.0, 100.0, 250.0, 600.0], [10.0, 14.0, 12.0, 40.0], **(given | others))


def test_back_turns_everything_round():
    route = hill(latitude=[0.9, 0.91, 0.92, 0.93], longitude=[0.1, 0.1, 0.2, 0.2])
    back = way_back(route)
    assert back.distance.tolist() == [0, 350, 500, 600]
    assert back.step.tolist() == route.step[::-1].tolist()
    assert back.slope == pytest.approx(-route.slope[::-1])
    assert (back.climb, back.descent) == (route.descent, route.climb)
    assert np.cos(back.heading - route.heading[::-1])[[0, 2]] == pytest.approx([-1, -1])
    assert np.isnan(back.heading[1])
    assert back.surface.tolist() == [1.5, 2, 1] and back.shelter.tolist() == [0.4, 0.3, 0.2]
    assert back.stop.tolist() == [30, 0, 20, 1] and back.speed_limit.tolist() == [6, 5, np.inf, 4]
    assert back.latitude.tolist() == [0.93, 0.92, 0.91, 0.9]
    again = way_back(back)
    for name in ("distance", "altitude", "surface", "shelter", "speed_limit", "stop", "latitude", "longitude"):
        assert np.array_equal(getattr(again, name), getattr(route, name)), name
    assert np.allclose(np.mod(again.heading, 2 * np.pi), np.mod(route.heading, 2 * np.pi), equal_nan=True)


def test_there_and_back_is_one_after_the_other():
    route = hill()
    both, back = there_and_back(route, 45.0), way_back(route)
    assert both.length == 1200 and both.climb == pytest.approx(route.climb + route.descent) == both.descent
    assert np.array_equal(both.step, np.concatenate([route.step, back.step]))
    assert np.array_equal(both.heading, np.concatenate([route.heading, back.heading]), equal_nan=True)
    assert both.altitude.tolist() == [10, 14, 12, 40, 12, 14, 10]
    assert both.stop.tolist() == [1, 20, 0, 45, 0, 20, 1], "the stay at the far end counts once"
    assert there_and_back(route).stop[3] == 60
    assert there_and_back(hill(stop=0.0), 0.0).stop.max() == 0
    with pytest.raises(ValueError, match="stay must be a time of 0 s or more, got -1"):
        there_and_back(route, -1)
