"""The speed at a power, against other root finders and at its edges."""

import numpy as np
import pytest

from unikit.formulas import road

KIT = {"mass": 90.0, "air_density": 1.2, "rolling_coefficient": 0.006}


def other_roots(power, slope, head_wind, drag_area, viscous):
    """All forward speeds by numpy.roots: one cubic where the air comes from ahead, one where from behind."""
    constant = road.slope_force(90.0, slope) + road.rolling_force(90.0, 0.006, slope)
    found = []
    for sign in (1, -1):
        half = sign * 0.6 * drag_area
        roots = np.roots([half, 2 * half * head_wind + viscous, half * head_wind**2 + constant, -power])
        real = roots[np.abs(roots.imag) < 1e-7 * np.abs(roots)].real
        found += [v for v in real if v > 0 and sign * (v + head_wind) >= 0]
    return sorted(found)


@pytest.mark.checks("independent", "road.speed_at_power")
@pytest.mark.parametrize("kind", ["driving", "braking"])
def test_fastest_root_by_numpy_roots(kind):
    random = np.random.default_rng(20)
    shape = 400
    power = random.uniform(1, 1500, shape) if kind == "driving" else -(10 ** random.uniform(-2, 3, shape))
    slope, head = random.uniform(-0.3, 0.2, shape), random.uniform(-15, 20, shape)
    area, viscous = random.uniform(0.3, 0.8, shape), random.choice([0.0, 0.3], shape)
    expected = [other_roots(*each) for each in zip(power, slope, head, area, viscous, strict=True)]
    exists = np.array([bool(roots) for roots in expected])
    call = lambda i: road.speed_at_power(
        power[i], slope=slope[i], head_wind=head[i], drag_area=area[i], bearing_drag_per_speed=viscous[i], **KIT
    )
    fastest = np.array([roots[-1] for roots in expected if roots])
    assert call(exists) == pytest.approx(fastest, rel=1e-7)
    if kind == "driving":
        assert exists.all() and all(len(roots) == 1 for roots in expected)
    else:
        assert 80 < exists.sum() < 350
        for i in np.flatnonzero(~exists)[:40]:
            with pytest.raises(ValueError, match="no steady speed with power"):
                call(i)


@pytest.mark.checks("independent", "road.speed_at_power", "road.road_force")
def test_driving_with_cross_wind_by_brentq():
    from scipy.optimize import brentq

    random = np.random.default_rng(7)
    power, slope, head, cross = (random.uniform(*edges, 60) for edges in ((0.01, 900), (-0.2, 0.2), (-12, 25), (-10, 10)))
    together = road.speed_at_power(power, slope=slope, head_wind=head, cross_wind=cross, drag_area=0.6, bearing_drag=0.1, **KIT)
    for i, found in enumerate(together):
        numbers = {"slope": slope[i], "head_wind": head[i], "cross_wind": cross[i], "drag_area": 0.6, "bearing_drag": 0.1, **KIT}
        assert found == pytest.approx(
            brentq(lambda v, n=numbers, p=power[i]: v * road.road_force(v, **n) - p, 1e-9, 500, xtol=1e-13), rel=1e-9
        )


@pytest.mark.checks("independent", "road.speed_at_power")
def test_braking_with_cross_wind_leaves_no_root_above():
    random = np.random.default_rng(11)
    slope, head, cross = (random.uniform(*edges, 300) for edges in ((-0.2, 0.0), (-15, 5), (-4, 4)))
    numbers = {"slope": slope, "head_wind": head, "cross_wind": cross, "drag_area": 0.6, **KIT}
    coasting = road.speed_at_power(0.0, **numbers)
    moving = coasting > 0.1
    numbers = {name: value[moving] if np.ndim(value) else value for name, value in numbers.items()}
    coasting, share = coasting[moving], np.linspace(1e-6, 1, 4001)[:, None]
    taken = coasting * share * road.road_force(coasting * share, **numbers)
    power = random.uniform(0.05, 0.98, coasting.size) * taken.min(axis=0)
    found = road.speed_at_power(power, **numbers)
    assert found * road.road_force(found, **numbers) == pytest.approx(power, rel=1e-9)
    assert np.all(found < coasting)
    assert np.all(np.where(coasting * share > found * (1 + 1e-6), taken, 0.0) > power)
    later = found * 1.0001 * road.road_force(found * 1.0001, **numbers)
    assert np.all(later > power)  # faster, the road and the air take up more: stable


@pytest.mark.checks("limit", "road.speed_at_power")
def test_four_braking_speeds_with_a_tail_wind_as_fast_as_the_machine():
    half, tail, pull = 0.3, 10.0, -0.5
    slope = pull / np.sqrt((90 * road.GRAVITY) ** 2 - pull**2)
    numbers = {"slope": slope, "head_wind": -tail, "air_density": 1.2, "drag_area": half / 0.6, "mass": 90.0, "rolling_coefficient": 0.0}
    speed = np.linspace(0.01, 12, 200001)
    taken = speed * road.road_force(speed, **numbers)
    crossings = speed[:-1][np.diff(np.sign(taken + 5.0)) != 0]
    assert len(crossings) == 4
    assert road.speed_at_power(-5.0, **numbers) == pytest.approx(crossings[-1], abs=1e-4)
    crossings = speed[:-1][np.diff(np.sign(taken + 20.0)) != 0]  # harder braking: back to two, far below the wind
    assert len(crossings) == 2
    assert road.speed_at_power(-20.0, **numbers) == pytest.approx(crossings[-1], abs=1e-4)


@pytest.mark.checks("limit", "road.speed_at_power")
def test_edges_of_power():
    steep = {"slope": -0.1, "head_wind": 0.0, "drag_area": 0.6, **KIT}
    coasting = road.speed_at_power(0.0, **steep)
    around = road.speed_at_power(np.array([-1e-3, 0.0, 1e-3]), **steep)
    assert around[0] < coasting == around[1] < around[2]
    assert around == pytest.approx(np.full(3, coasting), rel=1e-6)
    # without wind the greatest braking power is at the third root of the cubic: v = coasting / sqrt(3)
    pull = -road.road_force(0.0, **steep)
    most = 2 / 3 / np.sqrt(3) * pull * coasting
    assert road.speed_at_power(-most * (1 - 1e-9), **steep) == pytest.approx(coasting / np.sqrt(3), rel=1e-4)
    with pytest.raises(ValueError, match=rf"no steady speed with power -6000 W: .* braking can take up {most:.6g} W at most"):
        road.speed_at_power(np.array([100.0, -6000.0]), **steep)


@pytest.mark.checks("limit", "road.speed_at_power")
def test_where_nothing_drives_or_nothing_holds():
    uphill = {"slope": 0.05, "head_wind": 12.0, "drag_area": 0.6, **KIT}
    assert road.speed_at_power(0.0, **uphill) == 0.0
    assert road.speed_at_power(1e-9, **uphill) == pytest.approx(1e-9 / road.road_force(0.0, **uphill), rel=1e-9)
    with pytest.raises(ValueError, match="no steady speed with power -5 W: .* braking can take up 0 W at most"):
        road.speed_at_power(-5.0, **uphill)
    airless = {"mass": 90.0, "head_wind": 0.0, "air_density": 0.0, "drag_area": 0.6, "rolling_coefficient": 0.006}
    assert road.speed_at_power(200.0, slope=0.05, **airless) == pytest.approx(200 / road.road_force(1.0, slope=0.05, **airless))
    for power in (200.0, 0.0, -200.0):
        with pytest.raises(ValueError, match=rf"no steady speed with power {power:g} W: neither air nor bearings hold the machine back"):
            road.speed_at_power(power, slope=-0.05, **airless)
    held = road.speed_at_power(0.0, slope=-0.05, bearing_drag_per_speed=2.0, **airless)
    assert 2.0 * held == pytest.approx(-road.road_force(0.0, slope=-0.05, **airless))


def test_a_wind_that_is_not_a_number_is_refused():
    with pytest.raises(ValueError, match="head_wind must be finite, got nan"):
        road.speed_at_power(100.0, slope=0.0, head_wind=float("nan"), drag_area=0.6, **KIT)


def test_one_speed_is_a_plain_number_and_many_are_an_array():
    one = road.speed_at_power(150.0, slope=0.0, head_wind=0.0, drag_area=0.6, **KIT)
    many = road.speed_at_power([150.0, 200.0], slope=0.0, head_wind=[[0.0], [3.0]], drag_area=0.6, **KIT)
    assert type(one) is float and many.shape == (2, 2)
    assert many[0, 0] == pytest.approx(one, rel=1e-14)
