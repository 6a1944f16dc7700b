"""Short lines on the ellipsoid: published lengths, the antimeridian, and the way back."""

import numpy as np
import pytest
from broadcasting import assert_broadcasts

from unikit.formulas import geodesy


@pytest.mark.checks("independent", "geodesy.radii")
def test_the_meridian_is_as_long_as_its_radius_says():
    """A quarter of the meridian from the radius of curvature, integrated: 10,001,965.729 m (published for WGS 84, from memory)."""
    nodes, weights = np.polynomial.legendre.leggauss(40)
    quarter = np.sum(weights * geodesy.radii(np.pi / 4 * (nodes + 1)).meridian) * np.pi / 4
    assert quarter == pytest.approx(10_001_965.729, abs=0.001)


@pytest.mark.checks("independent", "geodesy.line")
@pytest.mark.parametrize("latitude", [-72.0, -33.0, 0.0, 18.0, 51.0, 80.0])
def test_a_degree_is_as_long_as_the_printed_series_says(latitude):
    turn = np.radians(latitude)
    north = geodesy.line(*np.radians([latitude - 0.005, 5.0, latitude + 0.005, 5.0]))
    east = geodesy.line(*np.radians([latitude, 5.0, latitude, 5.01]))
    series = 111132.92 - 559.82 * np.cos(2 * turn) + 1.175 * np.cos(4 * turn) - 0.0023 * np.cos(6 * turn)
    assert north.length == pytest.approx(0.01 * series, rel=1e-6) and north.heading == 0
    series = 111412.84 * np.cos(turn) - 93.5 * np.cos(3 * turn) + 0.118 * np.cos(5 * turn)
    assert east.length == pytest.approx(0.01 * series, rel=1e-5) and east.heading == pytest.approx(np.pi / 2)


@pytest.mark.checks("limit", "geodesy.place", "geodesy.line")
def test_a_step_and_its_line_are_one_also_across_the_antimeridian():
    random = np.random.default_rng(4)
    latitude = np.radians(random.uniform(-84.5, 84.5, 500))
    longitude = np.radians(random.choice([-179.99, 179.99, 0.0, 75.0], 500))
    north, east = random.uniform(-3000, 3000, (2, 500))
    found = geodesy.place(latitude, longitude, north, east)
    assert np.all(np.abs(found.longitude) <= np.pi)
    line = geodesy.line(latitude, longitude, *found)
    assert line.length == pytest.approx(np.hypot(north, east), rel=1e-10)
    assert np.cos(line.heading - np.arctan2(east, north)) == pytest.approx(np.ones(500), abs=1e-12)
    back = geodesy.line(*found, latitude, longitude)
    assert back.length == pytest.approx(line.length, rel=1e-9)
    assert np.cos(back.heading - line.heading) == pytest.approx(-np.ones(500), abs=1e-12)


def test_headings_run_clockwise_from_north():
    here = np.radians([40.0, 179.9999])
    for heading, (north, east) in {0: (9, 0), 45: (9, 9), 90: (0, 9), 180: (-9, 0), 270: (0, -9), 315: (9, -9)}.items():
        found = geodesy.line(*here, *geodesy.place(*here, north, east))
        assert np.degrees(found.heading) == pytest.approx(heading, abs=1e-5) or heading == 0
    assert geodesy.line(*here, *here).length == 0


def test_height_makes_a_line_longer():
    low, high = (geodesy.line(0.7, 0.1, 0.7001, 0.1002, altitude) for altitude in (0.0, 1000.0))
    assert high.length / low.length - 1 == pytest.approx(1000 / 6.378e6, rel=0.01)


def test_near_a_pole_a_line_is_refused():
    with pytest.raises(ValueError, match="latitude_end must be from -1.48353 to 1.48353"):
        geodesy.line(1.48, 0.0, 1.49, 0.0)
    with pytest.raises(ValueError, match="latitude must be"):
        geodesy.place(float("nan"), 0.0, 1.0, 1.0)
    with pytest.raises(ValueError, match="latitude must be"):
        geodesy.radii(2.0)


def test_broadcasting():
    assert_broadcasts(geodesy.radii, latitude=[-0.3, 0.0, 1.2])
    assert_broadcasts(
        geodesy.line, latitude=[0.1, 0.2], longitude=[3.14, 0.0, -3.1], latitude_end=0.15, longitude_end=3.1, altitude=[0.0, 9.0]
    )
    assert_broadcasts(geodesy.place, latitude=[-0.9, 0.2], longitude=[3.14, 0.0], north=[50.0, -9.0], east=[5.0, 80.0])
