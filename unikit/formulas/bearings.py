"""Rolling bearings: basic rating life, loads that change, static factor, and the loads of a shaft on two bearings."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import units as u
from .checks import not_negative, one_of, positive
from .registry import formula

KINDS = ("ball", "roller")
_MILLION = 1e6


class Reactions(NamedTuple):
    """Loads of two bearings."""

    first: u.Newton
    second: u.Newton


@formula(equation=r"p = 3\ \mathrm{(ball)},\quad \frac{10}{3}\ \mathrm{(roller)}", source="iso281")
def life_exponent(kind: str) -> u.Ratio:
    """Power of the load with which a bearing's life falls.

    Args:
        kind: "ball" or "roller".

    >>> life_exponent("ball")
    3.0
    """
    one_of("kind", kind, KINDS)
    return 3.0 if kind == "ball" else 10.0 / 3.0


@formula(
    equation=r"L_{10} = 10^6\left(\frac{C}{P}\right)^p",
    source="iso281",
    sign="in turns of one ring against the other",
    valid="nine of ten bearings last longer; clean, well lubricated, load at most half of C",
)
def rating_life(load: u.Newton, dynamic_rating: u.Newton, kind: str) -> u.Number:
    """Turns that nine of ten bearings outlast.

    Args:
        load: equivalent radial load; without load there is no end.
        dynamic_rating: basic dynamic load rating.
        kind: "ball" or "roller".

    >>> float(rating_life(1000.0, 10e3, "ball"))
    1000000000.0
    """
    not_negative("load", load)
    positive("dynamic_rating", dynamic_rating)
    with np.errstate(divide="ignore"):
        return (_MILLION * np.divide(dynamic_rating, load) ** life_exponent(kind))[()]


@formula(equation=r"C = P\left(\frac{L_{10}}{10^6}\right)^{1/p}", source="iso281")
def needed_rating(load: u.Newton, turns: u.Number, kind: str) -> u.Newton:
    """Basic dynamic load rating that a wanted life asks for.

    Args:
        load: equivalent radial load.
        turns: wanted life in turns.
        kind: "ball" or "roller".

    >>> round(needed_rating(1000.0, 1e9, "ball"))
    10000
    """
    not_negative("turns", turns)
    return load * (turns / _MILLION) ** (1 / life_exponent(kind))


@formula(
    equation=r"P = \left(\frac{\sum_i q_i P_i^p}{\sum_i q_i}\right)^{1/p}",
    source="iso281",
    sign="q is the share of turns with a load; the last axis runs over the loads",
    valid="damage adds up turn by turn (Palmgren, Miner)",
)
def equivalent_load(loads: u.Newton, shares: u.Ratio, kind: str) -> u.Newton:
    """The steady load under which a bearing lives as long as under loads that change.

    Args:
        loads: the loads.
        shares: share of the turns for which each acts.
        kind: "ball" or "roller".

    >>> round(float(equivalent_load([3.0, 2.0, 1.0, 0.0], [0.1, 0.2, 0.3, 0.4], "ball")), 4)
    1.6631
    """
    not_negative("loads", loads)
    not_negative("shares", shares)
    power = life_exponent(kind)
    shares = np.asarray(shares, float)
    whole = np.sum(shares, axis=-1)
    positive("sum of shares", whole)
    return (np.sum(shares * np.asarray(loads, float) ** power, axis=-1) / whole) ** (1 / power)


@formula(equation=r"D = \sum_i \frac{n_i}{N_i}", source="palmgren_miner", valid="the order of the loads does not count; spent at 1")
def spent_life(turns: u.Number, lives: u.Number) -> u.Ratio:
    """Share of a life that turns under several loads have used up; the last axis runs over the loads.

    Args:
        turns: turns under each load.
        lives: life in turns if that load acted alone.

    >>> float(spent_life([1e6, 2e6], [4e6, 8e6]))
    0.5
    """
    not_negative("turns", turns)
    positive("lives", lives)
    return np.sum(np.asarray(turns, float) / np.asarray(lives, float), axis=-1)


@formula(
    equation=r"s_0 = \frac{C_0}{P_0}",
    source="iso76",
    valid="radial load; the dent of the worst ball is one ten-thousandth of its diameter at 1",
)
def static_factor(load: u.Newton, static_rating: u.Newton) -> u.Ratio:
    """Basic static load rating over the greatest load.

    Args:
        load: greatest radial load; without load there is no limit.
        static_rating: basic static load rating.

    >>> float(static_factor(2000.0, 5000.0))
    2.5
    """
    not_negative("load", load)
    positive("static_rating", static_rating)
    with np.errstate(divide="ignore"):
        return np.divide(static_rating, load)[()]


@formula(
    equation=r"F_1 = F\left(1 - \frac{x}{L}\right),\quad F_2 = F\,\frac{x}{L}",
    source="statics",
    sign="x from the first bearing towards the second; negative or above L where the force hangs over; a negative load pulls the other way",
)
def two_bearing_loads(force: u.Newton, distance: u.Metre, spacing: u.Metre) -> Reactions:
    """Loads of two bearings from one force across their shaft.

    Args:
        force: force across the shaft.
        distance: from the first bearing to where it acts.
        spacing: distance of the bearings.

    >>> two_bearing_loads(1000.0, -0.05, 0.1)
    Reactions(first=1500.0, second=-500.0)
    """
    positive("spacing", spacing)
    second = force * (distance / spacing)
    return Reactions(force - second, second)
