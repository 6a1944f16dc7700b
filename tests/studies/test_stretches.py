"""Stretches of a ride log: integrals against quadrature, sums against the whole, cuts where they belong."""

import numpy as np
import pytest
from scipy.integrate import quad

from unikit.inputs.ride_logs import make_ride
from unikit.studies import stretches


def speed(t):
    return 5 + 2 * np.sin(t / 20)


def heading(t):
    return 0.3 + t / 50


def ride(count=3001, seed=None, **more):
    """A smooth ride on even or random times."""
    time = np.linspace(0, 300, count)
    if seed is not None:
        time = np.sort(np.random.default_rng(seed).uniform(0, 300, count))
    values = {
        "time": time,
        "speed": speed(time),
        "heading": np.mod(heading(time), 2 * np.pi),
        "pedal_power": 80 + 20 * np.cos(time / 7),
        "battery_voltage": 48 - time / 100,
        "battery_current": 3 + np.sin(time / 11),
        "altitude": 10 * np.sin(time / 60),
        "head_wind": 1 + np.cos(time / 30),
    }
    return make_ride("smooth", "invented", values | {name: value(time) for name, value in more.items()})


INTEGRALS = {
    "distance": speed,
    "speed_squared": lambda t: speed(t) ** 2,
    "speed_cubed": lambda t: speed(t) ** 3,
    "pedal_work": lambda t: 80 + 20 * np.cos(t / 7),
    "electrical_work": lambda t: (48 - t / 100) * (3 + np.sin(t / 11)),
    "charge": lambda t: 3 + np.sin(t / 11),
    "current_squared": lambda t: (3 + np.sin(t / 11)) ** 2,
    "way_north": lambda t: speed(t) * np.cos(heading(t)),
    "way_east": lambda t: speed(t) * np.sin(heading(t)),
    "way_north_north": lambda t: speed(t) * np.cos(heading(t)) ** 2,
    "way_north_east": lambda t: speed(t) * np.cos(heading(t)) * np.sin(heading(t)),
    "speed_squared_north": lambda t: speed(t) ** 2 * np.cos(heading(t)),
    "speed_squared_east": lambda t: speed(t) ** 2 * np.sin(heading(t)),
    "air_speed_work": lambda t: (speed(t) + 1 + np.cos(t / 30)) ** 2 * speed(t),
}


@pytest.mark.parametrize("name", INTEGRALS)
def test_integrals_are_those_of_adaptive_quadrature(name):
    found = stretches.cut(ride(), 60.0)
    assert len(found) == 5
    for start, duration, value in zip(found.start, found.duration, getattr(found, name), strict=True):
        expected, _ = quad(INTEGRALS[name], start, start + duration, epsabs=1e-9)
        scale, _ = quad(lambda t: abs(INTEGRALS[name](t)), start, start + duration, limit=200)
        assert value == pytest.approx(expected, abs=2e-5 * scale)


@pytest.mark.parametrize("name", INTEGRALS)
def test_sums_over_stretches_are_those_of_the_whole(name):
    log = ride(seed=1)
    whole, parts = stretches.cut(log, 1e9), stretches.cut(log, length=37.0)
    assert len(whole) == 1 and len(parts) > 30
    assert getattr(parts, name).sum() == pytest.approx(getattr(whole, name)[0], rel=1e-12, abs=1e-9)
