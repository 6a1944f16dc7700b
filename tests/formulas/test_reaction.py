"""Rider gains that hold the loop, against the roots of the same loop as matrices."""

import numpy as np
import pytest

from unikit.formulas import delay, reaction, reflex
from unikit.formulas.reflex import Path, Plant, Reflex

PLANT = Plant(41.5, 0.19, 0.01, -29.0, 0.14, -0.03, 0.36)
RIDER = Reflex(300.0, 54.0, 2.0, 0.02, 0.1, 0.03, 2.0, 40.0, 0.2)
PATH = Path(0.01, 10.0, 0.003)
REST = (PLANT, RIDER, PATH, 0.65, 1.5, 0.3)


def matrices(gain=0.3, **gains):
    return reflex.system_matrices(PLANT, RIDER._replace(**gains), PATH, 0.65, 1.5, gain)


@pytest.mark.checks("independent", "reaction.gain_boundary")
@pytest.mark.parametrize("frequency", [0.5, 3.0, 6.0, 9.0])
def test_on_the_boundary_the_frequency_is_a_root(frequency):
    point = reaction.gain_boundary(frequency, *REST)
    a_matrix, delayed = matrices(proportional=point.proportional, derivative=point.derivative)
    s = 1j * frequency
    whole = s * np.eye(len(a_matrix)) - a_matrix - sum(gain * np.exp(-s * late) for gain, late in delayed)
    size = np.linalg.svd(whole)[1]
    assert size[-1] < 1e-10 * size[0]


@pytest.mark.checks("limit", "reaction.gain_boundary")
def test_without_lag_legs_and_speed_the_boundary_is_that_of_the_pendulum():
    bare = Plant(40.0, 0.2, 0.0, -29.0, 0.14, 0.0, 0.36)
    rider = Reflex(1.0, 0.0, 0.0, 0.0, 0.12, 1e-3, 0.0, 0.0, 0.2)
    found = reaction.gain_boundary(np.array([2.0, 5.0]), bare, rider, Path(0.0, np.inf, 0.0), 1.0, 1.0, 0.0)
    expected = delay.hopf_curve(40.0**0.5, 0.121, np.array([2.0, 5.0]))  # the lag of 1 ms counts as delay
    assert found.proportional * 0.2 == pytest.approx(expected.proportional, rel=1e-4)
    assert found.derivative * 0.2 == pytest.approx(expected.derivative, rel=1e-4)


@pytest.mark.checks("independent", "reaction.stable_gains")
def test_between_the_ends_no_root_grows_and_beyond_them_one_does():
    rates = np.linspace(30.0, 90.0, 13)
    found = reaction.stable_gains(rates, *REST, 3000.0)
    held = np.isfinite(found.lowest)
    assert 3 < held.sum() < 13
    for rate, low, high in zip(rates[held], found.lowest[held], found.highest[held], strict=True):
        counts = [
            delay.root_count(*matrices(proportional=gain, derivative=rate))
            for gain in (0.995 * low, 1.005 * low, 0.995 * high, 1.005 * high)
        ]
        assert counts[0] > 0 and counts[3] > 0
        if high / low > 1.02:
            assert counts[1] == counts[2] == 0
    for rate in rates[~held]:
        assert min(delay.root_count(*matrices(proportional=gain, derivative=rate)) for gain in np.linspace(50, 1500, 60)) > 0


@pytest.mark.checks("independent", "reaction.delay_budget")
@pytest.mark.parametrize("gain", [0.2, 0.3, 0.4])
def test_with_a_delay_of_the_budget_a_root_sits_on_the_axis(gain):
    rest = (PLANT, RIDER, PATH, 0.65, 1.5, gain)
    late = reaction.delay_budget(*rest)
    root = delay.rightmost_roots(*reflex.system_matrices(PLANT, RIDER._replace(delay=late), *rest[2:]), count=4)
    assert np.min(np.abs(root.real)) < 1e-7
    counts = [delay.root_count(*reflex.system_matrices(PLANT, RIDER._replace(delay=share * late), *rest[2:])) for share in (0.97, 1.03)]
    assert counts[0] == delay.root_count(*reflex.system_matrices(PLANT, RIDER._replace(delay=0.0), *rest[2:]))
    assert counts[1] != counts[0]


def test_many_builds_at_once_are_the_builds_one_by_one():
    gains = np.array([0.2, 0.3, 0.4])
    every = reaction.delay_budget(*REST[:-1], gains)
    assert every == pytest.approx([reaction.delay_budget(*REST[:-1], gain) for gain in gains], rel=1e-9)
    lags = np.array([0.02, 0.03])
    both = reaction.delay_budget(PLANT, RIDER._replace(muscle_lag=lags), *REST[2:])
    assert both == pytest.approx([reaction.delay_budget(PLANT, RIDER._replace(muscle_lag=lag), *REST[2:]) for lag in lags], rel=1e-9)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: reaction.gain_boundary(0.0, *REST), "frequency must"),
        (lambda: reaction.stable_gains([-1.0], *REST, 100.0), "derivative must"),
        (lambda: reaction.stable_gains([1.0], *REST, 0.0), "greatest must"),
        (lambda: reaction.delay_budget(*REST[:-1], -0.1), "assist_gain must"),
        (lambda: delay.free_motion([[0.0]], [], [1.0, 2.0], 0.1, 3), "the 1 states"),
        (lambda: delay.free_motion([[0.0]], [], [1.0], 0.1, 0), "steps must"),
        (lambda: delay.free_motion(np.zeros((2, 1, 1)), [], [1.0], 0.1, 2), "one system"),
    ],
)
def test_bad_arguments_are_told_in_words(call, said):
    with pytest.raises(ValueError, match=said):
        call()


@pytest.mark.checks("independent", "delay.free_motion")
@pytest.mark.parametrize("late", [0.7, 0.7333, 0.0033])
def test_free_motion_is_the_series_from_delay_to_delay_and_its_error_falls_with_the_square_of_the_step(late):
    errors = []
    for step in (0.02, 0.01, 0.005):
        steps = round((2.0 if late > 0.1 else 0.02) / step)
        time = step * np.arange(steps + 1)
        path = delay.free_motion([[0.0]], [([[-1.0]], late)], [1.0], step, steps)[:, 0]
        exact, term = np.ones(len(time)), 1.0
        for k in range(1, 12):
            term /= k
            exact = exact + (-1) ** k * term * np.maximum(time - k * late, 0.0) ** k * (time > k * late)
        errors.append(np.max(np.abs(path - exact)))
    assert errors[2] < 3e-5
    assert errors[2] < 1e-12 or 3.0 < errors[1] / errors[2] < 5.5


@pytest.mark.checks("limit", "delay.free_motion")
def test_free_motion_without_delay_is_the_exponential():
    path = delay.free_motion([[0.0, 1.0], [9.0, 0.0]], [], [0.0, 1.0], 1e-3, 500)
    assert path[-1] == pytest.approx([np.sinh(1.5) / 3, np.cosh(1.5)], rel=1e-5)
