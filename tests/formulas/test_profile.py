"""Altitudes along a route: what is taken for a fault, what is left alone, and climb over smoothing."""

import numpy as np
import pytest

from unikit.formulas import profile

X = np.arange(0.0, 4000.0, 4.0)


def road(seed: int, roughest: float = 0.25) -> np.ndarray:
    """A smooth road with slopes up to the roughest, at X: sums of waves of 80 m and longer."""
    random = np.random.default_rng(seed)
    waves = random.uniform(80, 2000, 12)
    altitude = sum(wave * random.normal() * np.sin(2 * np.pi * X / wave + random.uniform(0, 6)) for wave in waves)
    return altitude * random.uniform(0.1, 1.0) * roughest / np.abs(np.diff(altitude) / 4).max()


@pytest.mark.checks("independent", "profile.spikes")
@pytest.mark.parametrize("seed", range(20))
def test_every_spike_is_found_and_nothing_else(seed):
    random = np.random.default_rng(seed)
    clean = road(seed, 0.15)
    at = random.choice(np.arange(5, 990, 9), 25, replace=False)
    length = random.integers(1, 3, 25)
    bad = np.zeros(X.size, bool)
    for place, count in zip(at, length, strict=True):
        bad[place : place + count] = True
    spoiled = clean + np.where(bad, np.repeat(random.choice([-1, 1], 250), 4) * 20.0, 0.0) + random.uniform(-0.1, 0.1, X.size)
    assert np.array_equal(profile.spikes(X, spoiled), bad)


@pytest.mark.parametrize("seed", range(30))
@pytest.mark.parametrize("spread", [1.0, 7.0])
def test_a_clean_road_holds_no_fault(seed, spread):
    x, z = spread * X, spread * road(seed)
    assert not profile.spikes(x, z).any() and not profile.stuck(x, z).any()
    rounded = np.round(z)  # an altimeter that counts whole metres
    assert not profile.spikes(x, rounded).any() and not profile.stuck(x, rounded).any()


def test_a_lone_summit_between_far_points_is_no_spike_but_one_between_near_points_is():
    z = np.array([0.0, 0, 0, 0, 30, 0, 0, 0, 0])
    assert not profile.spikes(100.0 * np.arange(9), z).any()
    assert profile.spikes(5.0 * np.arange(9), z).nonzero()[0].tolist() == [4]


@pytest.mark.checks("limit", "profile.stuck")
def test_a_level_road_is_not_stuck_and_a_hung_sensor_is():
    ramp = 0.05 * X
    level = np.where(X < 2000, ramp, 100.0)
    assert not profile.stuck(X, level).any()
    hung = ramp.copy()
    hung[200:300] = ramp[200]
    assert profile.stuck(X, hung).nonzero()[0].tolist() == list(range(201, 300))
    hung[[210, 299]] = np.nan  # holes break no run, and are no values that hang
    assert profile.stuck(X, hung).nonzero()[0].tolist() == [place for place in range(201, 299) if place != 210]
    hung = ramp.copy()
    hung[-100:] = ramp[-100]  # to the end: nothing shows that it was wrong
    assert not profile.stuck(X, hung).any()


@pytest.mark.checks("independent", "profile.bridged")
def test_bridges_are_those_of_interpolation():
    random = np.random.default_rng(3)
    z = np.where(random.random((5, X.size)) < 0.4, np.nan, random.normal(size=(5, X.size)))
    known = np.isfinite(z)
    wanted = [np.interp(X, X[one], row[one]) for one, row in zip(known, z, strict=True)]
    assert profile.bridged(X, z) == pytest.approx(np.array(wanted), abs=1e-12)
    with pytest.raises(ValueError, match="altitude must be known at one point at least"):
        profile.bridged(X, np.full(X.size, np.nan))


@pytest.mark.checks("limit", "profile.tied")
def test_a_drift_in_proportion_to_distance_is_taken_out_whole():
    true = road(1)
    true += (true[0] - true[-1]) * X / X[-1]
    drifted = true + 3.0 + 9.0 * X / X[-1]
    assert profile.tied(X, drifted, [0.0, X[-1]], [true[0], true[0]]) == pytest.approx(true, abs=1e-9)
    assert profile.tied(X, true + 3.0, 100.0, true[25]) == pytest.approx(true, abs=1e-9)
    several = profile.tied(X, drifted + 2 * np.sin(X / 300), X[[0, 300, 800]], true[[0, 300, 800]])
    assert several[[0, 300, 800]] == pytest.approx(true[[0, 300, 800]], abs=1e-9)
    both = profile.tied(X, np.array([drifted, true]), [0.0, X[-1]], [true[0], true[0]])
    assert both == pytest.approx(np.array([true, true]), abs=1e-9)
    with pytest.raises(ValueError, match="known_distance must rise"):
        profile.tied(X, true, [5.0, 5.0], [1.0, 2.0])


@pytest.mark.checks("independent", "profile.drift_left")
def test_what_wandering_leaves_is_what_wanderings_leave():
    random = np.random.default_rng(8)
    walks = np.cumsum(random.normal(size=(20_000, 100)), axis=1)
    share = np.arange(1, 101) / 100
    left = walks - share * walks[:, -1:]
    rate = np.sqrt(np.mean(walks[:, -1] ** 2))
    for place in (9, 49, 79):
        assert left[:, place].std() == pytest.approx(profile.drift_left(100 * share[place], 100.0, rate), rel=0.02)
    with pytest.raises(ValueError, match="length less distance must be 0 or above"):
        profile.drift_left(101.0, 100.0, 1.0)


@pytest.mark.checks("independent", "profile.smoothed")
@pytest.mark.parametrize("length", [3.0, 10.0, 80.0])
def test_smoothing_is_diffusion_with_held_ends(length):
    """The exponential of the matrix of second differences, by a library."""
    from scipy.linalg import expm

    z = np.random.default_rng(2).normal(size=60)
    matrix = (np.eye(60, k=1) - 2 * np.eye(60) + np.eye(60, k=-1)) / 10.0**2
    matrix[[0, -1]] = 0
    assert profile.smoothed(z, 10.0, length) == pytest.approx(expm(matrix * length**2 / 2) @ z, abs=1e-11)


@pytest.mark.checks("limit", "profile.smoothed")
@pytest.mark.parametrize("wave", [100.0, 200.0, 533.0])
def test_a_wave_is_lowered_as_a_gaussian_does(wave):
    x = np.linspace(0, 4 * wave, 1601)
    z = np.sin(2 * np.pi * x / wave)
    assert profile.smoothed(z, x[1], 40.0)[1300] == pytest.approx(z[1300] * np.exp(-0.5 * (2 * np.pi * 40 / wave) ** 2), rel=1e-3)


@pytest.mark.checks("limit", "profile.smoothed", "profile.climb")
@pytest.mark.parametrize("seed", range(15))
def test_ends_stay_and_climb_never_rises_with_smoothing(seed):
    random = np.random.default_rng(seed)
    z = road(seed) + random.normal(0, random.uniform(0, 3), X.size)
    lengths = np.r_[0.0, np.geomspace(0.1, 3e4, 60)]
    found = profile.smoothed(z, 4.0, lengths)
    assert found.shape == (61, X.size)
    assert np.all(found[:, 0] == z[0]) and np.all(found[:, -1] == z[-1])
    assert np.array_equal(found[0], z)
    rises = profile.climb(found)
    assert np.all(np.diff(rises) <= 1e-9)
    assert rises[-1] == pytest.approx(max(z[-1] - z[0], 0.0), abs=0.01)  # nothing is left but the straight line
    assert profile.smoothed(profile.smoothed(z, 4.0, 30.0), 4.0, 40.0) == pytest.approx(profile.smoothed(z, 4.0, 50.0), abs=1e-9)


def test_smoothing_two_points_or_many_profiles():
    assert profile.smoothed([3.0, 5.0], 1.0, [0.0, 9.0]).tolist() == [[3.0, 5.0], [3.0, 5.0]]
    z = np.random.default_rng(5).normal(size=(3, 40))
    every = profile.smoothed(z[:, None], 1.0, np.array([0.0, 2.0]))
    assert every.shape == (3, 2, 40)
    assert every[2, 1] == pytest.approx(profile.smoothed(z[2], 1.0, 2.0), abs=1e-13)
    with pytest.raises(ValueError, match="length must be 0 or above"):
        profile.smoothed(z, 1.0, -1.0)


@pytest.mark.checks("independent", "profile.noise")
def test_noise_is_found_on_uneven_points_of_a_road():
    random = np.random.default_rng(6)
    x = np.cumsum(random.uniform(2, 6, 4000))
    z = 40 * np.sin(x / 700) + random.normal(0, 0.6, x.size)
    assert profile.noise(x, z) == pytest.approx(0.6, rel=0.04)
    assert profile.noise(x, 0.07 * x) == pytest.approx(0, abs=1e-9)


@pytest.mark.checks("independent", "profile.slope_noise")
def test_the_slope_that_noise_leaves_is_what_noise_leaves():
    z = np.random.default_rng(7).normal(0, 0.5, (300, 1000))
    for length in (12.0, 30.0, 60.0):
        slope = np.diff(profile.smoothed(z, 4.0, length), axis=-1)[:, 200:-200] / 4
        assert slope.std() == pytest.approx(profile.slope_noise(0.5, 4.0, length), rel=0.03)


def test_points_that_do_not_rise_are_refused():
    for function in (profile.spikes, profile.stuck, profile.bridged, profile.noise):
        with pytest.raises(ValueError, match="distance must rise from point to point"):
            function([0.0, 1.0, 1.0, 2.0], [0.0, 1.0, 2.0, 3.0])
        with pytest.raises(ValueError, match="as many points as distance"):
            function([0.0, 1.0, 2.0, 3.0], [0.0, 1.0])
