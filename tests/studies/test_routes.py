"""The study of a route: its numbers are those of the route, and the demo files are those of the script."""

import dataclasses

import numpy as np
import pytest
from scipy.stats import norm

from unikit.formulas import profile
from unikit.inputs import load_route, read_route
from unikit.studies import routes, routes_made


@pytest.fixture(scope="module")
def hill(root):
    return read_route(root / "data/routes/over_the_hill.gpx")


def test_the_script_gives_the_files_byte_for_byte(root, tmp_path, capsys):
    assert routes_made.main([str(tmp_path)]) == 0
    files = lambda folder: {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*.*")}
    assert files(tmp_path) == files(root / "data/routes")
    assert capsys.readouterr().out.count(": written") == len(files(tmp_path)) == 4


def test_the_table_is_read_as_its_mapping_declares(root):
    tables = root / "data/routes/tables"
    route = load_route(tables / "moor_path.csv", tables / "moor_path.toml")
    assert route.length == pytest.approx(3200) and route.climb == pytest.approx(2 * routes_made.PATH_HEIGHT, abs=4)
    assert any("altitudes missing: 1; spikes: 1" in note for note in route.notes)
    rough = (route.distance > 1200) & (route.distance < 1999)
    assert np.all(route.speed_limit[rough] == pytest.approx(10 / 3.6)) and np.all(route.surface[rough[:-1]] == pytest.approx(1.8))
    assert np.all(np.isinf(route.speed_limit[route.distance > 2000.1]))


def test_another_seed_gives_another_recording_of_the_same_way():
    one, other = routes_made.recording(1), routes_made.recording(2)
    assert one != other and one.count("<trkpt") == other.count("<trkpt")
    assert one.count("</trkseg>") == 2


def test_the_hill_ends_where_it_begins_and_is_one_road():
    true = routes_made.hill()
    assert true.altitude[0] == pytest.approx(true.altitude[-1], abs=1e-9)
    assert true.latitude[0] == pytest.approx(true.latitude[-1], abs=1e-9) and true.longitude[0] == pytest.approx(
        true.longitude[-1], abs=1e-9
    )
    assert np.abs(true.slope).max() < 0.08 and true.climb == pytest.approx(240.8, abs=0.5)


def test_what_the_recorder_did_is_found(hill):
    found = routes.study(hill)
    assert found.spikes == routes_made.SPIKES and found.merged == routes_made.STOOD[1] - 1
    assert found.stuck == pytest.approx(routes_made.HUNG[1] / routes_made.SPACING, abs=2)
    assert found.missing == pytest.approx(routes_made.MISSING[1] / routes_made.SPACING, abs=2)
    assert found.noise == pytest.approx(routes_made.NOISE, rel=0.05)
    assert found.closing_error == pytest.approx(routes_made.DRIFT, abs=2)
    true = routes_made.hill()
    assert found.climb == pytest.approx(true.climb, abs=6)
    assert found.climb_recorded > 3 * true.climb and found.climb_mended > 1.5 * true.climb
    assert found.steepest == pytest.approx(true.slope.max(), abs=0.01)  # the slow errors climb too
    middle = [np.interp(one.length / 2, one.distance, one.altitude) for one in (found, true)]
    assert abs(middle[0] - middle[1]) < found.drift_left


def test_the_numbers_are_those_of_the_loaded_route(hill, root):
    for smoothing in (0.0, 15.0, 80.0):
        found, route = routes.study(hill, smoothing), load_route(root / "data/routes/over_the_hill.gpx", smoothing=smoothing)
        assert (found.climb, found.descent, found.length) == (route.climb, route.descent, route.length)
        assert np.array_equal(found.altitude, route.altitude) and found.smoothing == smoothing


def test_climb_falls_over_the_lengths_and_agrees_with_single_ones(hill):
    found = routes.study(hill, float(routes.LENGTHS[20]))
    assert np.all(np.diff(found.climbs) <= 1e-9) and found.climb == pytest.approx(found.climbs[20])
    assert found.climb_half >= found.climb >= found.climb_double
    with pytest.raises(ValueError):
        found.climbs[0] = 1.0
    with pytest.raises(dataclasses.FrozenInstanceError):
        found.climb = 1.0


def test_the_climb_of_noise_on_level_road_is_what_noise_climbs(hill):
    z = np.random.default_rng(3).normal(0, hill.noise, (60, 3000))
    spacing = hill.spacing
    for length in (0.0, 20.0, 50.0):
        smooth = profile.smoothed(z, spacing, length)[:, 300:-300]
        climbed = profile.climb(smooth).mean() / (spacing * (smooth.shape[1] - 1))
        found = routes.study(hill, length, spacing)
        assert found.noise_climb / found.length == pytest.approx(climbed, rel=0.05)


@pytest.mark.parametrize("share", [0.1, 0.4, 0.7, 1.0, 2.0])
def test_the_doubt_of_a_slope_between_points_far_apart_is_never_less_than_it_is(hill, share):
    """Straight lines between the points, smoothed: the weights of a Gaussian over each of them."""
    far = dataclasses.replace(hill, distance=100 * hill.distance)
    ends = norm.cdf((np.arange(-60, 61) + 0.5) / share)
    true = far.noise / far.spacing * np.sqrt((np.diff(ends, 2) ** 2).sum())
    found = far.slope_noise(np.array([0.0, share * far.spacing]), 10.0)
    assert found[0] == pytest.approx(np.sqrt(2) * far.noise / far.spacing)
    assert true <= found[1] <= 1.5 * true


def test_a_made_up_route_has_no_faults_and_its_steepest_leg(root):
    found = routes.study(read_route(root / "data/routes/harbour_round.toml"))
    assert not any((found.spikes, found.stuck, found.missing, found.merged, found.noise, found.slope_noise)) and np.isnan(
        found.closing_error
    )
    assert found.steepest == pytest.approx(0.09, abs=1e-3) and 3300 < found.steepest_at < 3700
    assert found.steepest_down == pytest.approx(-84 / np.sqrt(1300**2 - 84**2), abs=1e-3)
    assert found.smoothing == 20 and list(found.table().columns) == ["distance [m]", "altitude [m]"] and len(found.table()) == 876


def test_the_steepest_stretch_is_rise_over_horizontal_run(tmp_path):
    (tmp_path / "steep.toml").write_text(
        "format = 1\nname = 'n'\nsource = 's'\naltitude = '3 m'\nbend = '0 m'\n"
        "legs = [{length = '300 m', slope = '40 %'}, {length = '300 m', slope = '-30 %'}]"
    )
    found = routes.study(read_route(tmp_path / "steep.toml"))
    assert found.steepest == pytest.approx(0.4, rel=1e-9) and found.steepest_down == pytest.approx(-0.3, rel=1e-9)


def test_the_steepest_stretch_of_a_short_route_is_the_whole():
    assert routes._steepest(np.array([0.0, 30.0, 60.0]), np.array([0.0, 3.0, 3.6]))[0] == pytest.approx(0.06, rel=1e-2)
