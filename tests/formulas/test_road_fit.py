"""The fit of rides: gusts by other integration, restricted likelihood on a published example and against another optimiser."""

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from unikit.formulas import _restricted, gusts, road, road_fit
from unikit.inputs import load_build, load_case
from unikit.studies import ride_balance, ride_log, ride_logged

# Davies and Goldsmith, Statistical Methods in Research and Production: yield of dyestuff, six batches of five (from memory)
DYESTUFF = np.loadtxt(
    """1545 1440 1440 1520 1580 1540 1555 1490 1560 1495 1595 1550 1605 1510 1560
    1445 1440 1595 1465 1545 1595 1630 1515 1635 1625 1520 1455 1450 1480 1445""".splitlines()
).ravel()


@pytest.fixture(scope="module")
def ride():
    build, case = load_build("data/builds/harbour_commuter.toml"), load_case("data/cases/flat_cruise.toml")
    logged = ride_logged.ride(ride_logged.hidden(build), case, seed=3, rides=2)
    every = [ride_balance.account_of(build, case, logged.log(number)) for number in range(2)]
    sensors = [road_fit.Sensors(one.torque_zero, one.torque_zero_deviation, 0.005, 0.005) for one in every]
    return [one.account for one in every], ride_log.machine_of(build, case), sensors, ride_log.begin_of(build)


@pytest.mark.checks("independent", "gusts.gusty_drag")
@pytest.mark.parametrize("along, across, deviation", [(6.0, 0.0, 0.9), (5.0, 2.0, 0.5), (3.5, -1.0, 1.0), (-5.0, 1.0, 0.8)])
def test_drag_in_gusts_against_adaptive_integration(along, across, deviation):
    def density(y, x):
        force = road.drag_force(1.2, 0.6, x, 0.0, y)
        return force * stats.norm.pdf(x, along, deviation) * stats.norm.pdf(y, across, deviation)

    ends = [(centre - 7 * deviation, centre + 7 * deviation) for centre in (along, across)]
    other, _ = integrate.dblquad(density, *ends[0], *ends[1], epsabs=1e-7)
    assert gusts.gusty_drag(1.2, 0.6, along, across, deviation) == pytest.approx(other, rel=2e-3)


@pytest.mark.checks("limit", "gusts.gusty_drag")
def test_without_gusts_it_is_the_drag_of_the_road():
    assert gusts.gusty_drag(1.2, 0.5, 4.0, 1.5, 0.0) == pytest.approx(road.drag_force(1.2, 0.5, 4.0, 0.0, 1.5), rel=1e-9)
    strong = gusts.gusty_drag(1.2, 0.5, 50.0, 0.0, 1.0) - gusts.gusty_drag(1.2, 0.5, 50.0, 0.0, 0.0)
    assert strong == pytest.approx(0.5 * 1.2 * 0.5 * 1.5, rel=1e-3)  # 3/2 of the variance where the air speed is large


@pytest.mark.checks("independent", "gusts.gust_likeness")
@pytest.mark.parametrize("time", [2.0, 20.0, 300.0])
def test_likeness_of_means_against_double_integration(time):
    start, duration = np.array([0.0, 20.0, 61.0]), np.array([20.0, 33.0, 12.0])
    found = gusts.gust_likeness(start, duration, time)
    for one in range(3):
        for other in range(3):
            points = [start[k] + duration[k] * (np.arange(3000) + 0.5) / 3000 for k in (one, other)]
            rough = np.exp(-np.abs(points[0][:, None] - points[1][None, :]) / time).mean()
            assert found[one, other] == pytest.approx(rough, rel=1e-5)


@pytest.mark.checks("independent", "gusts.end_noise")
def test_noise_of_ends_against_drawn_altitudes():
    distance, shared = np.array([80.0, 120.0, 100.0, 60.0]), np.array([True, True, False, False])
    draws = 0.2 * np.random.default_rng(1).normal(size=(200_000, 6))
    ends = [(0, 1), (1, 2), (2, 3), (4, 5)]
    force = np.stack([90 * 9.81 * (draws[:, last] - draws[:, first]) for first, last in ends], axis=-1) / distance
    assert gusts.end_noise(90.0, distance, shared, 0.2) == pytest.approx(np.cov(force.T), abs=0.1)


def _blocks(noise):
    """Covariance of six batches of five, by the logarithms of the deviations between and within, with its slopes."""
    between, within = np.exp(2 * noise[..., 0])[..., None, None], np.exp(2 * noise[..., 1])[..., None, None]
    batches, own = np.kron(np.eye(6), np.ones((5, 5))), np.eye(30)
    return between * batches + within * own, np.stack([2 * between * batches, 2 * within * own])


@pytest.mark.checks("published", "road_fit.fit")
def test_restricted_likelihood_finds_the_published_dyestuff_variances():
    """Bates, Fitting linear mixed-effects models (from memory): 42.00 between, 49.51 within, mean 1527.50, standard error 19.38.

    In a balanced layout the exact test of the mean has five degrees of freedom.
    """
    design, free = np.ones((30, 1)), np.full(2, 1e3)
    begin = np.log([30.0, 30.0])
    noise = _restricted.search(design, DYESTUFF, _blocks, begin, begin, free, 60)
    mixed = _restricted.finish(design, DYESTUFF, _blocks, noise, free)
    assert np.exp(noise) == pytest.approx([42.00, 49.51], abs=0.006)
    assert mixed.value == pytest.approx([1527.50], abs=0.005)
    assert np.sqrt(mixed.covariance[0]) == pytest.approx([19.38], abs=0.006)
    assert mixed.freedom == pytest.approx([5.0], abs=0.01)


@pytest.mark.checks("independent", "road_fit.fit")
def test_noise_numbers_against_another_optimiser(ride):
    accounts, machine, sensors, begin = ride
    fit = road_fit.fit(accounts[0], machine, sensors[0], begin)
    assert fit.settled
    design, values, covariance = road_fit._straightened(accounts[0], machine, sensors[0], fit.value, fit.noise)

    def loss(noise):
        matrix = covariance(noise)[0]
        inverse = np.linalg.inv(matrix)
        inner = design.T @ inverse @ design
        left = values - design @ np.linalg.solve(inner, design.T @ inverse @ values)
        surprise = (noise - road_fit.KNOWN_NOISE) / road_fit.KNOWN_NOISE_DEVIATION
        return np.linalg.slogdet(matrix)[1] + np.linalg.slogdet(inner)[1] + left @ inverse @ left + surprise @ surprise

    other = optimize.minimize(loss, road_fit.KNOWN_NOISE, method="Nelder-Mead", options={"maxiter": 4000, "xatol": 1e-4, "fatol": 1e-7})
    assert fit.noise == pytest.approx(other.x, abs=0.02)
    inverse = np.linalg.inv(covariance(other.x)[0])
    value = np.linalg.solve(design.T @ inverse @ design, design.T @ inverse @ values)
    assert np.all(np.abs(fit.value - value) < 0.02 * fit.error)


def test_slopes_against_differences(ride):
    accounts, machine, _, begin = ride
    at = begin + np.array([0.001, 0.03, -0.01, 1.0, -0.7, 0.2, 0.004, 0.003])
    found = road_fit.slopes(accounts[0], machine, at, 0.6)
    for place, step in enumerate([1e-6, 1e-4, 1e-5, 1e-4, 1e-4, 1e-4, 1e-5, 1e-5]):
        ends = []
        for way in (1, -1):
            trial = at.copy()
            trial[place] += way * step
            ends.append(road_fit.pushed(accounts[0], trial) - road_fit.resisted(accounts[0], machine, trial, 0.6))
        assert found[:, place] == pytest.approx(-(ends[0] - ends[1]) / (2 * step), rel=1e-5, abs=1e-5)


def test_many_rides_at_once_are_the_same_as_one_by_one(ride):
    accounts, machine, sensors, begin = ride
    together = road_fit.fit(
        ride_balance.stacked(accounts), machine, road_fit.Sensors(*(np.array(pair) for pair in zip(*sensors, strict=True))), begin
    )
    for number in range(2):
        alone = road_fit.fit(accounts[number], machine, sensors[number], begin)
        count = len(alone.residual)
        assert np.all(np.abs(together.value[number] - alone.value) < 1e-6 * alone.error)
        assert together.error[number] == pytest.approx(alone.error, rel=1e-6)
        assert together.by_others[number, :count] == pytest.approx(alone.by_others, abs=1e-5)


@pytest.mark.checks("limit", "road_fit.fit")
def test_without_noise_the_truth_comes_back():
    """Stretches made by the road's own formulas, out and back over hills, without any error."""
    truth = np.array([0.009, 0.6, 0.95, 1.5, -0.5, 0.3, 0.0, 0.0])
    count, stream = 60, np.random.default_rng(4)
    speed, slope, way = stream.uniform(2.5, 6.5, count), stream.uniform(-0.05, 0.05, count), stream.uniform(0, 2 * np.pi, count)
    machine = road_fit.Machine(95.0, 1.22, 0.35, 0.02)
    head = truth[3] * np.cos(way) + truth[4] * np.sin(way)
    cross = truth[4] * np.cos(way) - truth[3] * np.sin(way)
    force = road.road_force(speed, 95.0, slope, head, 1.22, truth[1], truth[0], cross, 0.35, 0.02)
    distance, nothing = 25.0 * speed, np.zeros(count)
    work = force * distance / np.where(force >= 0, truth[2], 1 / truth[2])
    turn = 1.8 * distance
    rise = distance * slope / np.sqrt(1 + slope**2)
    account = road_fit.Account(
        start=25.0 * np.arange(count),
        duration=np.full(count, 25.0),
        distance=distance,
        speed=speed,
        speed_deviation=nothing,
        north=np.cos(way),
        east=np.sin(way),
        rise=rise,
        gain=95.0 * 9.81 * rise,
        drive_work=np.where(force >= 0, work + truth[5] * turn, 0.0),
        drive_turn=np.where(force >= 0, turn, 0.0),
        hold_work=np.where(force >= 0, 0.0, work + truth[5] * turn),
        hold_turn=np.where(force >= 0, 0.0, turn),
        motor_work=nothing,
        motor_slope=nothing,
        answer=nothing,
        shared=np.append(np.ones(count - 1, bool), False),
        used=np.ones(count, bool),
    )
    assert road_fit.pushed(account, truth) == pytest.approx(road_fit.resisted(account, machine, truth) + 0 * rise, abs=1e-9)
    fit = road_fit.fit(account, machine, road_fit.Sensors(0.3, 0.01, 0.005, 0.005), [0.008, 0.55, 0.965, 0, 0, 0, 0, 0])
    assert np.all(np.abs(fit.value - truth)[:5] < [1e-4, 0.01, 2e-3, 0.02, 0.02])


def _alone(noise):
    """Noise numbers of which all others are as good as nothing."""
    place, size = noise
    numbers = np.full(len(road_fit.NOISE), -20.0)
    numbers[1], numbers[place] = np.log(20.0), np.log(size)
    return numbers


def test_parts_of_the_noise_against_drawn_errors(ride):
    """A barometer that walks at random, white noise of sensors summed second by second, and what is alike for 200 s."""
    accounts, machine, _, begin = ride
    one = accounts[0]
    count = len(one.distance)
    covariance = road_fit.Noise(one, machine, begin, np.array(1e-6))
    draws = np.random.default_rng(8).normal(size=(20_000, count))
    walked = machine.mass * road.GRAVITY * 0.012 * draws * np.sqrt(one.duration) / one.distance
    drift = covariance(_alone((3, 0.012)))[0][:count, :count]
    assert np.diagonal(drift) == pytest.approx(walked.var(axis=0), rel=0.06)
    white = covariance(_alone((4, 1.5)))[0][:count, :count]
    seconds = np.random.default_rng(9).normal(size=(20_000, 25)) * 1.5
    whole = np.isclose(one.duration, 25.0)
    assert whole.sum() > 20
    assert np.diagonal(white)[whole] == pytest.approx(np.full(whole.sum(), seconds.mean(axis=1).var()), rel=0.05)
    slow = covariance(_alone((5, 0.3)))[0][:count, :count]
    middle = one.start + one.duration / 2
    far = np.abs(middle[:, None] - middle) > 60.0
    assert slow[far] == pytest.approx(0.09 * np.exp(-np.abs(middle[:, None] - middle) / 200.0)[far], rel=0.01, abs=1e-9)


@pytest.mark.checks("independent", "road_fit.fit")
def test_doubt_about_the_noise_adds_what_weights_that_move_add(ride):
    """Kenward and Roger: twice the scatter of the estimate that comes from weights which follow the noise numbers; and gusts add drag."""
    accounts, machine, sensors, begin = ride
    fit = road_fit.fit(accounts[0], machine, sensors[0], begin)
    design, values, covariance = road_fit._straightened(accounts[0], machine, sensors[0], fit.value, fit.noise)
    mixed = _restricted.finish(design, values, covariance, fit.noise, road_fit.KNOWN_NOISE_DEVIATION)
    matrix = covariance(fit.noise)[0]

    def weights(noise):
        inverse = np.linalg.inv(covariance(noise)[0])
        return np.linalg.solve(design.T @ inverse @ design, design.T @ inverse)

    size = len(fit.noise)
    moved = [(weights(fit.noise + 1e-4 * way) - weights(fit.noise - 1e-4 * way)) / 2e-4 for way in np.eye(size)]
    doubt, plain = mixed.noise_covariance, _restricted.parts(design, values, matrix).covariance
    added = sum(doubt[k, m] * moved[k] @ matrix @ moved[m].T for k in range(size) for m in range(size))
    assert np.diagonal(mixed.covariance - plain) == pytest.approx(2 * np.diagonal(added), rel=0.02)
    gust = np.exp(fit.noise[0])
    ends = [road_fit.resisted(accounts[0], machine, fit.value, gust * np.exp(way)) for way in (0.01, -0.01)]
    shift = weights(fit.noise) @ np.append((ends[0] - ends[1]) / 0.02, np.zeros(3))
    more = np.diagonal(fit.covariance - mixed.covariance)[:2]
    assert more == pytest.approx(doubt[0, 0] * shift[:2] ** 2, rel=0.2)
