"""Restricted maximum likelihood with covariances that depend on a few noise numbers: behind ``road_fit``.

Leading axes are data sets, each with its own noise numbers.  The noise numbers
are logarithms, known beforehand within a normal distribution that may be wide:
so none runs off to nothing where the data do not tell it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

MOST_STEPS = 60
MOST_HALVINGS = 8
LONGEST_STEP = 1.0  # of a logarithm
SETTLED = 1e-4  # of a noise number's standard error

# Values, design and covariance at noise numbers (sets, K), with the covariance's slopes (K, sets, n, n) when asked for.
Covariance = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]


class Parts(NamedTuple):
    """What a set of noise numbers makes of the data."""

    objective: np.ndarray
    value: np.ndarray
    covariance: np.ndarray  # of the parameters, noise taken as known
    inverse: np.ndarray  # of the noise covariance
    projection: np.ndarray
    pulled: np.ndarray  # projection times values
    weighted: np.ndarray  # inverse times design


class Mixed(NamedTuple):
    """Parameters with errors that count the doubt about the noise, and the noise numbers."""

    value: np.ndarray
    covariance: np.ndarray
    freedom: np.ndarray  # of Student's t, for each parameter
    noise: np.ndarray
    noise_covariance: np.ndarray
    by_others: np.ndarray  # of each value: how far it is from what all the others make expected, in standard deviations
    inverse: np.ndarray


def parts(design: np.ndarray, values: np.ndarray, noise_covariance: np.ndarray, surprise: np.ndarray | None = None) -> Parts:
    """Generalised least squares at a known covariance, and the restricted log likelihood."""
    lower = np.linalg.cholesky(noise_covariance)
    inverse = np.linalg.inv(noise_covariance)
    weighted = inverse @ design
    information = np.swapaxes(design, -1, -2) @ weighted
    covariance = np.linalg.inv(information)
    projection = inverse - weighted @ covariance @ np.swapaxes(weighted, -1, -2)
    pulled = (projection @ values[..., None])[..., 0]
    value = (covariance @ (np.swapaxes(weighted, -1, -2) @ values[..., None]))[..., 0]
    determinants = 2 * np.log(np.diagonal(lower, axis1=-2, axis2=-1)).sum(-1) + np.linalg.slogdet(information)[1]
    objective = -0.5 * (determinants + np.sum(values * pulled, axis=-1) + (0.0 if surprise is None else np.sum(surprise**2, axis=-1)))
    return Parts(objective, value, covariance, inverse, projection, pulled, weighted)


def _curvature(found: Parts, slopes: np.ndarray, pull: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Gradient of the log likelihood by the noise numbers, and its expected curvature."""
    turned = found.projection @ slopes  # (K, sets, n, n)
    trace = np.trace(turned, axis1=-2, axis2=-1)
    square = np.einsum("...i,k...ij,...j->k...", found.pulled, slopes, found.pulled)
    gradient = np.moveaxis(square - trace, 0, -1) / 2
    curvature = np.einsum("k...ij,l...ji->...kl", turned, turned, optimize=True) / 2
    return gradient, curvature + np.eye(len(slopes)) * pull


def search(
    design: np.ndarray, values: np.ndarray, covariance: Covariance, noise: np.ndarray, known: np.ndarray, deviation: np.ndarray, most: int
) -> np.ndarray:
    """Noise numbers that make the restricted likelihood greatest, by at most so many steps of Fisher's scoring."""
    pull = 1 / deviation**2
    at = np.array(noise, float)
    matrix, slopes = covariance(at)
    found = parts(design, values, matrix, (at - known) / deviation)
    for _ in range(most):
        gradient, curvature = _curvature(found, slopes, pull)
        step = np.linalg.solve(curvature, (gradient - (at - known) * pull)[..., None])[..., 0]
        spread = np.sqrt(np.diagonal(np.linalg.inv(curvature), axis1=-2, axis2=-1))
        if np.all(np.abs(step) <= SETTLED * spread):
            break
        step = np.clip(step, -LONGEST_STEP, LONGEST_STEP)
        for _ in range(MOST_HALVINGS):
            matrix, slopes = covariance(at + step)
            fresh = parts(design, values, matrix, (at + step - known) / deviation)
            worse = fresh.objective < found.objective - 1e-9
            if not np.any(worse):
                break
            step = np.where(worse[..., None], step / 4, step)
        at, found = at + step, fresh
    return at


def finish(design: np.ndarray, values: np.ndarray, covariance: Covariance, noise: np.ndarray, deviation: np.ndarray) -> Mixed:
    """Parameters at the noise found, with Kenward and Roger's errors and Satterthwaite's freedom."""
    matrix, slopes = covariance(noise)
    found = parts(design, values, matrix)
    _, curvature = _curvature(found, slopes, 1 / deviation**2)
    doubt = np.linalg.inv(curvature)
    moved = slopes @ found.weighted  # (K, sets, n, p)
    first = np.swapaxes(found.weighted, -1, -2) @ moved  # (K, sets, p, p)
    second = np.einsum("k...ip,...ij,l...jq->kl...pq", moved, found.inverse, moved, optimize=True)
    through = np.einsum("k...pq,...qr,l...rs->kl...ps", first, found.covariance, first, optimize=True)
    excess = np.einsum("...kl,kl...pq->...pq", doubt, second - through)
    whole = found.covariance + 2 * found.covariance @ excess @ found.covariance
    slope = np.diagonal(found.covariance @ first @ found.covariance, axis1=-2, axis2=-1)  # (K, sets, p)
    variance = np.diagonal(found.covariance, axis1=-2, axis2=-1)
    freedom = 2 * variance**2 / np.maximum(np.einsum("k...p,...kl,l...p->...p", slope, doubt, slope), 1e-300)
    own = np.diagonal(found.projection, axis1=-2, axis2=-1)
    by_others = found.pulled / np.sqrt(np.maximum(own, 1e-300))
    return Mixed(found.value, whole, freedom, noise, doubt, by_others, found.inverse)
