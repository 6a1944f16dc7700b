"""A route ridden back, and there and back."""

import numpy as np
import pytest

from unikit.inputs import make_route, steady_way, there_and_back, thinned, way_back


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


def test_a_steady_way_rises_by_its_slope():
    route = steady_way("ramp", 1234.0, 0.08)
    assert route.length == 1234 and np.allclose(route.slope, 0.08) and (route.step <= 10).all() and (route.heading == 0).all()
    assert steady_way("short", 3.0, -0.02).step.size == 2
    with pytest.raises(ValueError, match="length must be above 0 m, got 0"):
        steady_way("none", 0.0, 0.0)


def test_a_thinned_route_keeps_ends_stops_limits_and_means():
    random = np.random.default_rng(4)
    distance = np.append(0.0, np.cumsum(random.uniform(5, 15, 1000)))
    stop, limit = np.zeros(1001), np.full(1001, np.inf)
    stop[[333, 667]], limit[500] = (20.0, 5.0), 3.0
    route = make_route(
        "long", "invented", distance, 30 * np.sin(distance / 700), stop=stop, speed_limit=limit,
        surface=random.uniform(0.8, 1.5, 1000), heading=np.mod(6.2 + 0.2 * np.sin(np.arange(1000)), 2 * np.pi),
    )  # fmt: skip
    few = thinned(route, 100)
    assert 100 <= few.step.size <= 102 and few.length == route.length and few.stop.sum() == 25
    assert set(few.distance[few.stop > 0]) == set(distance[[333, 667]])
    assert few.surface @ few.step == pytest.approx(route.surface @ route.step)
    assert np.cos(few.heading - 6.2).min() > 0.97, "a mean of headings around north is north"
    held = np.flatnonzero(few.speed_limit == 3.0)
    assert few.distance[held[0]] <= distance[500] <= few.distance[held[-1]] and held.size <= 3
    assert thinned(route, 1000) is route and "thinned from 1,000" in few.notes[-1]
    assert np.isnan(thinned(make_route("x", "invented", distance, distance * 0), 10).heading).all()
    with pytest.raises(ValueError, match="most must be at least 1, got 0"):
        thinned(route, 0)
