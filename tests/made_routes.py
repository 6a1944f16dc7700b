"""Made routes for the tests of rides along a route: hills, walls, stops, winds, and steps of any length."""

import numpy as np

from unikit.inputs.route import Route, make_route


def flat(length: float = 2000.0, step: float = 10.0, slope: float = 0.0, **arrays) -> Route:
    """A straight way on one slope."""
    distance = np.arange(0.0, length + step / 2, step)
    return make_route("even", "made for a test", distance, distance * slope / np.hypot(1.0, slope), **arrays)


def hilly(rng: np.random.Generator, count: int = 240, step: float = 10.0) -> Route:
    """Hills, a wall of 20 %, a steep descent, stops, limits, bad surface and shelter, wherever they come to lie."""
    distance = np.concatenate([[0.0], np.cumsum(step * rng.uniform(0.3, 1.7, count))])
    slope = 0.05 * np.sin(distance[:-1] / rng.uniform(50, 400) + rng.uniform(0, 6)) + rng.normal(0, 0.01, count)
    wall, fall = rng.integers(0, count - 25, 2)
    slope[wall : wall + 8] = 0.20
    slope[fall : fall + rng.integers(2, 25)] = -rng.uniform(0.05, 0.2)
    stop = np.where(rng.random(count + 1) < 0.02, rng.uniform(0, 60, count + 1), 0.0)
    if rng.random() < 0.5:  # two stops one after the other
        stop[60:62] = 15.0
    rise = np.diff(distance) * slope / np.hypot(1.0, slope)
    return make_route(
        "hilly",
        "made for a test",
        distance,
        rng.uniform(0, 800) + np.concatenate([[0.0], np.cumsum(rise)]),
        heading=rng.uniform(0, 2 * np.pi, count),
        surface=np.where(rng.random(count) < 0.1, 2.5, 1.0),
        shelter=rng.uniform(0, 1, count),
        speed_limit=np.where(rng.random(count + 1) < 0.03, 2.5, np.inf),
        stop=stop,
    )
