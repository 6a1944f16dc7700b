"""Short lines against a library that solves the geodesic exactly, and smoothing against the kernel of Bessel functions."""

import numpy as np
import pytest

from unikit.formulas import geodesy, profile
from unikit.inputs import make_ride
from unikit.studies import stretches

pytestmark = pytest.mark.reference


@pytest.mark.parametrize(
    ("length", "lowest", "highest", "allowed"),
    [(10.0, 0, 84.9, 1e-9), (1000.0, 0, 60, 1e-8), (1000.0, 60, 84.9, 2e-7), (20_000.0, 0, 60, 2e-6), (20_000.0, 60, 84.7, 6e-5)],
)
@pytest.mark.checks("independent", "geodesy.line")
def test_length_and_heading_by_geographiclib(length, lowest, highest, allowed):
    from geographiclib.geodesic import Geodesic

    random = np.random.default_rng(int(length + highest))
    for _ in range(300):
        start = random.choice([-1, 1]) * random.uniform(lowest, highest), random.uniform(-180, 180)
        way = Geodesic.WGS84.Line(*start, random.uniform(0, 360))
        middle, end = way.Position(length / 2), way.Position(length)
        if abs(end["lat2"]) > 84.99:
            continue
        found = geodesy.line(*np.radians([*start, end["lat2"], end["lon2"]]))
        assert found.length == pytest.approx(length, rel=allowed)
        off = found.heading - np.radians(middle["azi2"])
        assert abs(np.remainder(off + np.pi, 2 * np.pi) - np.pi) < 4 * allowed


@pytest.mark.parametrize("ratio", [0.3, 1.0, 2.5])
@pytest.mark.checks("independent", "profile.smoothed")
def test_smoothing_far_from_the_ends_is_the_kernel_of_bessel_functions(ratio):
    from scipy.special import ive

    bump = np.zeros(201)
    bump[100] = 1.0
    found = profile.smoothed(bump, 10.0, 10.0 * ratio)
    assert found == pytest.approx(ive(np.arange(201) - 100, ratio**2), abs=1e-12)


@pytest.mark.parametrize("latitude", [0.0, -44.0, 70.0])
def test_distance_by_positions_is_that_of_exact_lines_on_the_ellipsoid(latitude):
    from geographiclib.geodesic import Geodesic

    time, along = np.arange(0.0, 300.0), Geodesic.WGS84.Line(latitude, 179.999, 60.0)
    places = [along.Position(5 * second) for second in time]
    degrees = {"latitude": [place["lat2"] for place in places], "longitude": [place["lon2"] for place in places]}
    log = make_ride("line", "invented", {"time": time, "speed": np.full(300, 5.0)} | {name: np.radians(at) for name, at in degrees.items()})
    assert stretches.cut(log, 60.0).position_distance.sum() == pytest.approx(5 * 299, rel=1e-6)
