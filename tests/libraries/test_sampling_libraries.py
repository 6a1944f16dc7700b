"""Sensitivity indices against two libraries of general use."""

import numpy as np
import pytest
from scipy import stats

from unikit.formulas import sampling

pytestmark = pytest.mark.reference
PROBLEM = {"num_vars": 3, "names": ["a", "b", "c"], "bounds": [[0.0, 1.0]] * 3}


def ishigami(points):
    x = np.pi * (2 * points - 1)
    return np.sin(x[..., 0]) + 7 * np.sin(x[..., 1]) ** 2 + 0.1 * x[..., 2] ** 4 * np.sin(x[..., 0])


def rides(count, replicates, seed):
    """Values at base and other draws, and with each number exchanged."""
    both = np.stack([sampling.points(6, count, seed, place) for place in range(replicates)])
    first, second = both[..., :3], both[..., 3:]
    mixed = np.stack([np.where(np.arange(3) == place, second, first) for place in range(3)])
    return ishigami(first), ishigami(second), ishigami(mixed)


def test_the_same_values_give_the_same_indices_in_salib():
    from SALib.analyze import sobol

    base, other, mixed = rides(256, 16, 4)
    flat = np.concatenate([base.reshape(1, -1), mixed.reshape(3, -1), other.reshape(1, -1)]).T.ravel()
    theirs = sobol.analyze(PROBLEM, flat, calc_second_order=False, num_resamples=200, seed=1)
    first, total = sampling.first_order(base, other, mixed), sampling.total_effect(base, other, mixed)
    np.testing.assert_allclose(first.value, theirs["S1"], atol=2e-3)  # it takes the mean of all values away, and no bias
    np.testing.assert_allclose(total.value, theirs["ST"], atol=5e-4)
    # its bootstrap takes quasi-random draws for independent ones and so tells more than the replicates differ
    assert np.mean(first.error) < np.mean(theirs["S1_conf"] / 1.96) < 3 * np.mean(first.error)
    assert np.mean(total.error) < np.mean(theirs["ST_conf"] / 1.96) < 5 * np.mean(total.error)


def test_indices_of_salibs_own_draws():
    from SALib.analyze import sobol
    from SALib.sample import sobol as sampler

    draws = sampler.sample(PROBLEM, 4096, calc_second_order=False, seed=3)
    theirs = sobol.analyze(PROBLEM, ishigami(draws), calc_second_order=False, num_resamples=100, seed=1)
    base, other, mixed = rides(256, 16, 8)
    for found, name in ((sampling.first_order(base, other, mixed), "S1"), (sampling.total_effect(base, other, mixed), "ST")):
        assert np.all(np.abs(found.value - theirs[name]) < 3 * found.error + theirs[f"{name}_conf"])


def test_indices_of_scipy():
    theirs = stats.sobol_indices(func=lambda x: ishigami(x.T)[None], n=4096, dists=[stats.uniform()] * 3, rng=np.random.default_rng(2))
    base, other, mixed = rides(256, 16, 8)
    first, total = sampling.first_order(base, other, mixed), sampling.total_effect(base, other, mixed)
    for found, known in ((first, theirs.first_order), (total, theirs.total_order)):
        assert np.all(np.abs(found.value - np.ravel(known)) < 4 * found.error + 0.005)
