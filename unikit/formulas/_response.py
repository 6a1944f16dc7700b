"""Where a sampled frequency response crosses a line or comes closest to a point: behind ``delay.margins``.

Responses lie along the last axis, frequencies; the axes before it are loops.
Loops have different numbers of crossings, so crossings are lists of one length
with a mask.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

ZOOM = np.linspace(0.0, 1.0, 9)


def interpolated(frequency: np.ndarray, values: np.ndarray) -> Callable[[np.ndarray], np.ndarray]:
    """The cubic through the four samples around each frequency."""

    def respond(wanted: np.ndarray) -> np.ndarray:
        wanted = np.broadcast_to(wanted, values.shape[:-1] + np.shape(wanted)[-1:])
        first = np.clip(np.searchsorted(frequency, wanted) - 2, 0, len(frequency) - 4)
        at = [frequency[first + k] for k in range(4)]
        total = np.zeros(wanted.shape, complex)
        for k in range(4):
            weight = np.ones(wanted.shape)
            for other in range(4):
                if other != k:
                    weight = weight * (wanted - at[other]) / (at[k] - at[other])
            total += weight * np.take_along_axis(values, first + k, axis=-1)
        return total

    return respond


def _listed(mask: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places of a mask along its last axis, as lists of one length (at least one), and which of them are real."""
    number = mask.sum(axis=-1)
    longest = max(1, int(number.max()))
    places = np.argsort(~mask, axis=-1, kind="stable")[..., :longest]
    return places, np.arange(longest) < number[..., None]


def crossings(
    frequency: np.ndarray, values: np.ndarray, respond: Callable[[np.ndarray], np.ndarray], height: Callable[[np.ndarray], Any]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Frequencies at which a height of the response is zero, the response there, and which of them are real.

    Ridders' method inside each pair of samples between which the height changes its sign.
    """
    sampled = height(values)
    changes = sampled == 0
    changes[..., :-1] |= sampled[..., :-1] * sampled[..., 1:] < 0
    place, real = _listed(changes)
    after = np.minimum(place + 1, len(frequency) - 1)
    below, above = np.take_along_axis(sampled, place, -1), np.take_along_axis(sampled, after, -1)
    low = frequency[place]
    high = np.where((below == 0) | ~real, low, frequency[after])  # a sample on the line is the crossing itself
    found, response = low, np.take_along_axis(values, place, -1)
    for _ in range(40):
        if np.all(high - low <= 4e-16 * high):
            break
        middle = (low + high) / 2
        at_middle = height(respond(middle))
        root = np.sqrt(np.maximum(at_middle**2 - below * above, 0.0))
        with np.errstate(invalid="ignore", divide="ignore"):
            ahead = middle + (middle - low) * np.sign(below - above) * at_middle / root
        ahead = np.where(np.isfinite(ahead), np.clip(ahead, low, high), middle)
        done = np.all(np.abs(ahead - found) <= 1e-8 * high)  # each step doubles the digits
        found, response = ahead, respond(ahead)
        at_found = height(response)
        points = np.sort(np.stack([low, np.minimum(middle, ahead), np.maximum(middle, ahead), high]), axis=0)
        first = np.where(middle <= ahead, at_middle, at_found)
        second = np.where(middle <= ahead, at_found, at_middle)
        heights = [below, first, second, above]
        part = np.where(below * first <= 0, 0, np.where(first * second <= 0, 1, 2))
        low, high = (np.take_along_axis(points, (part + k)[None], 0)[0] for k in (0, 1))
        below, above = (np.choose(part + k, heights) for k in (0, 1))
        if done:
            break
    return found, response, real


def closest(
    frequency: np.ndarray, values: np.ndarray, respond: Callable[[np.ndarray], np.ndarray], distance: Callable[[np.ndarray], Any]
) -> tuple[np.ndarray, np.ndarray]:
    """The least distance of a response and its frequency; each low of the samples that may hold it is looked into."""
    sampled = distance(values)
    edge = np.full(sampled.shape[:-1] + (1,), np.inf)
    before, after = np.concatenate([edge, sampled[..., :-1]], -1), np.concatenate([sampled[..., 1:], edge], -1)
    none = np.zeros(edge.shape)
    hop = np.abs(np.diff(values, axis=-1))  # between two samples the curve may come nearer by as much
    hop = np.maximum(np.concatenate([none, hop], -1), np.concatenate([hop, none], -1))
    lows = (sampled <= before) & (sampled <= after) & (sampled - hop <= sampled.min(axis=-1, keepdims=True))
    place, real = _listed(lows)
    place = np.where(real, place, place[..., :1])
    low, high = frequency[np.maximum(place - 1, 0)], frequency[np.minimum(place + 1, len(frequency) - 1)]
    for _ in range(4):
        points = low[..., None] + (high - low)[..., None] * ZOOM
        apart = distance(respond(points.reshape(*points.shape[:-2], -1))).reshape(points.shape)
        best = np.clip(np.argmin(apart, axis=-1), 1, len(ZOOM) - 2)[..., None]
        three = [np.take_along_axis(points, best + k, -1)[..., 0] for k in (-1, 0, 1)]
        low, middle, high = three
    # the lowest point of the parabola through the last three, or the lowest of all where that lies lower
    left, centre, right = (np.take_along_axis(apart, best + k, -1)[..., 0] for k in (-1, 0, 1))
    bend = left - 2 * centre + right
    lowest = middle + (high - middle) * np.clip(np.divide(left - right, 2 * bend, out=np.zeros_like(bend), where=bend > 0), -1, 1)
    points, apart = np.stack([lowest, *three]), np.stack([distance(respond(lowest)), left, centre, right])
    order = np.argmin(apart, axis=0)[None]
    least, where = np.take_along_axis(apart, order, 0)[0], np.take_along_axis(points, order, 0)[0]
    chosen = np.argmin(least, axis=-1)[..., None]
    return np.take_along_axis(least, chosen, -1)[..., 0], np.take_along_axis(where, chosen, -1)[..., 0]
