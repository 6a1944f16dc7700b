"""Cycles of loads on a network of bodies: against one body, against marching, and where they run away."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from unikit.formulas import cycles, duty, network
from unikit.formulas._bracket import crossing

CAPACITY = np.array([420.0, 1350.0, 500.0, 1900.0])
AIR = 300.0


def drawn(seed, parts=None):
    """A random network of four bodies with two or three parts, each with other links, losses and growth."""
    rng = np.random.default_rng(seed)
    parts = parts or 2 + seed % 2
    link = rng.uniform(0.0, 8.0, (parts, 4, 4))
    conductance = (link + np.swapaxes(link, 1, 2)) / 2
    losses = rng.uniform(0.0, 90.0, (parts, 4)) * np.array([1.0, 0.3, 0.0, 0.2])
    growth = 0.0039 * losses * np.array([1.0, 0.0, 0.0, 0.0])
    return {"conductance": conductance, "losses": losses, "loss_slope": growth, "time": rng.uniform(60.0, 1500.0, parts)}


def marched(load, start, turns):
    """Temperatures at the beginning of each part of each cycle, by a solver of differential equations."""
    found, now = [], np.full(4, float(start))
    for _ in range(turns):
        for part, time in enumerate(load["time"]):
            found.append(now)
            matrix = network.balance(load["conductance"][part])

            def rate(_, kelvin, part=part, matrix=matrix):
                made = load["losses"][part] + load["loss_slope"][part] * (kelvin - 293.15)
                return (made - matrix @ (kelvin - AIR)) / CAPACITY

            now = solve_ivp(rate, (0.0, time), now, method="DOP853", rtol=1e-11, atol=1e-9).y[:, -1]
    return np.array(found).reshape(turns, len(load["time"]), 4)


@pytest.mark.checks("independent", "cycles.network_cycles")
@pytest.mark.parametrize("seed", range(4))
def test_cycles_against_marching(seed):
    load = drawn(seed)
    found = cycles.network_cycles(CAPACITY, ambient=AIR, start=310.0, cycles=3, **load)
    assert found == pytest.approx(marched(load, 310.0, 3), abs=1e-6)


@pytest.mark.checks("independent", "cycles.network_periodic")
@pytest.mark.parametrize("seed", range(4))
def test_the_settled_cycle_is_where_long_marching_ends(seed):
    load = drawn(seed)
    settled = cycles.network_periodic(CAPACITY, ambient=AIR, **load)
    assert settled == pytest.approx(marched(load, 310.0, 60)[-1], abs=1e-5)


@pytest.mark.checks("limit", "cycles.network_periodic")
def test_one_body_is_the_intermittent_duty_of_the_books():
    capacity, on, off = 3000.0, np.array([30.0, 600.0, 4000.0]), np.array([45.0, 300.0, 9000.0])
    warm, cool = 2.0, 1.4
    for one, other in zip(on, off, strict=True):
        settled = cycles.network_periodic([capacity], [[[warm]], [[cool]]], [[100.0], [0.0]], 0.0, [one, other])
        assert settled[1, 0] == pytest.approx(duty.intermittent_peak_rise(50.0, one, other, capacity / warm, capacity / cool), rel=1e-12)


@pytest.mark.checks("published", "cycles.network_periodic", "cycles.network_cycles")
def test_a_machine_of_one_body_in_the_book():
    """Gupta and Singhal, Fundamentals of Electric Drives: 50 K in the end under load, 30 min on, 45 min off, 110 and 150 min: 27.37 K."""
    minutes = {"time": [30.0, 45.0], "conductance": [[[1 / 110.0]], [[1 / 150.0]]], "losses": [[50.0 / 110.0], [0.0]]}
    assert cycles.network_periodic([1.0], ambient=0.0, **minutes)[1, 0] == pytest.approx(27.37, abs=0.005)
    assert cycles.network_cycles([1.0], ambient=0.0, start=0.0, cycles=40, **minutes)[-1, 1, 0] == pytest.approx(27.37, abs=0.005)


@pytest.mark.checks("limit", "cycles.network_periodic")
def test_a_cycle_of_one_load_is_the_steady_state():
    load = drawn(7)
    conductance, losses, growth = (load[name][:1] for name in ("conductance", "losses", "loss_slope"))
    settled = cycles.network_periodic(CAPACITY, conductance, losses, AIR, [500.0], growth)
    assert settled[0] == pytest.approx(network.network_steady(conductance[0], losses[0], growth[0], 293.15, AIR), rel=1e-12)


def test_many_cycles_at_once_are_a_loop():
    loads = [drawn(seed, parts=2) for seed in (0, 3)]
    together = {name: np.stack([load[name] for load in loads]) for name in loads[0]}
    air = np.array([290.0, 305.0])
    settled = cycles.network_periodic(CAPACITY, ambient=air, **together)
    course = cycles.network_cycles(CAPACITY, ambient=air, start=320.0, cycles=2, **together)
    for number, load in enumerate(loads):
        assert settled[number] == pytest.approx(cycles.network_periodic(CAPACITY, ambient=air[number], **load), rel=1e-12)
        one = cycles.network_cycles(CAPACITY, ambient=air[number], start=320.0, cycles=2, **load)
        assert course[number] == pytest.approx(one, rel=1e-12)


def test_a_cycle_that_runs_away_is_told_and_one_that_rests_enough_is_not():
    conductance, losses, growth = [[[2.0]], [[2.0]]], [[600.0], [0.0]], [[2.4], [0.0]]
    with pytest.raises(ValueError, match="thermal runaway"):
        cycles.network_periodic([3000.0], conductance, losses, AIR, [6000.0, 100.0], growth)
    settled = cycles.network_periodic([3000.0], conductance, losses, AIR, [600.0, 600.0], growth)
    assert np.isfinite(settled).all() and settled[1, 0] > settled[0, 0] > AIR


def test_durations_must_be_a_list():
    with pytest.raises(ValueError, match="time must be a list with the duration of each part"):
        cycles.network_periodic([3000.0], [[[2.0]]], [[100.0]], 0.0, 600.0)


def test_crossings_of_smooth_curves_jumps_and_plateaus():
    place = np.array([0.2, 0.7, 0.31, 0.5, 0.5, 0.001])
    curves = (
        lambda x: x**3 - 0.2**3,
        lambda x: np.exp(20 * x) - np.exp(20 * 0.7),
        lambda x: np.where(x < 0.31, -1.0, 1e6),
        lambda x: np.where(x < 0.5, -1e-12, 0.0),
        lambda x: np.cbrt(x - 0.5),
        lambda x: np.minimum(x - 0.001, 0.0) + np.maximum(x - 0.9, 0.0) + 1e-15,
    )
    asked = []

    def every(x):
        asked.append(x)
        return np.array([curve(one) for curve, one in zip(curves, x, strict=True)])

    found = crossing(every, np.zeros(6), np.ones(6), 1e-10)
    assert found == pytest.approx(place, abs=2e-10)
    assert len(asked) < 60
    assert found[0] == pytest.approx(brentq(curves[0], 0, 1), abs=1e-9)


def test_a_curve_without_a_crossing_says_on_which_side_it_lies():
    assert crossing(lambda x: x + np.array([1.0, -3.0, 0.0]), np.zeros(3), np.ones(3), 1e-9).tolist() == [-np.inf, np.inf, -np.inf]
