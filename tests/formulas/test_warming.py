"""The course of a network over a ride: an integrator, exact answers, energy, pieces, many rides at once, limits, messages."""

import numpy as np
import pytest
from warm_rides import LINKS, by_integrator, matrix, ride

from unikit.formulas import heat


@pytest.mark.checks("independent", "warming.network_course")
def test_against_an_integrator():
    given = ride(240)
    found = heat.network_course(**given)
    expected = by_integrator(given)
    assert expected[:, 0].max() > 355.0  # derating has taken much
    # steps of 5 s, a fifth of what the quickest body needs: a finer march is nearer
    assert np.abs(found.temperature - expected).max() < 2e-3
    finer = {name: np.repeat(given[name], 5, axis=0) for name in ("conductance", "losses", "copper_loss", "ambient")}
    fine = heat.network_course(**(given | finer | {"step": 1.0, "steps": 1200, "every": 5}))
    assert np.abs(fine.temperature - expected).max() < 1e-4
    assert fine.time == pytest.approx(found.time, rel=1e-14)


@pytest.mark.checks("independent", "warming.network_course")
def test_constant_linear_load_is_the_exact_response():
    links = matrix(LINKS, [0.0, 0.3, 0.0, 3.0])
    capacity, start = [350.0, 1500.0, 600.0, 2600.0], np.array([320.0, 310.0, 301.0, 299.0])
    found = heat.network_course(
        2.0, 900, capacity, links[None], [[0.0, 35.0, 2.0, 4.0]], [[140.0]], [303.15], start, loss_growth=0.004, every=30
    )
    exact = heat.network_response(capacity, links, [140.0, 35.0, 2.0, 4.0], 303.15, start, found.time, [0.56, 0.0, 0.0, 0.0], 293.15)
    assert found.temperature == pytest.approx(exact, abs=1e-6)


@pytest.mark.checks("limit", "warming.network_course")
def test_a_winding_settles_where_derating_leaves_what_the_links_carry():
    found = heat.network_course(
        10.0, 3000, [400.0, 3000.0], heat.chain([5.0, 2.0])[None], [[0.0, 0.0]], 500.0 * np.linspace(0, 1, 3)[None] ** 2, [300.0],
        [300.0, 300.0], derating_start=380.0, derating_end=400.0, headroom=1.25, every=3000,
    )  # fmt: skip
    winding, housing = found.temperature[-1]
    share = 1.25 * (400.0 - winding) / 20.0
    assert 0 < share < 1
    assert 500.0 * share**2 == pytest.approx(2.0 * (housing - 300.0), rel=1e-9)
    assert winding - housing == pytest.approx(500.0 * share**2 / 5.0, rel=1e-9)


@pytest.mark.checks("independent", "warming.network_course")
@pytest.mark.parametrize("rides", [(), (7,)])
def test_heat_comes_in_by_its_own_law_and_leaves_on_its_own_path(rides):
    generator = np.random.default_rng(3)
    given = ride(360)
    given["start"] = given["start"] + generator.uniform(0, 30, (*rides, 1))
    given["capacity"] = given["capacity"] * generator.uniform(0.8, 1.3, (*rides, 1))
    found = heat.network_course(**given)
    stored = given["capacity"] * (found.temperature[..., -1, :] - found.temperature[..., 0, :])
    made = found.other_heat.copy()
    made[..., 0] += found.copper_heat
    left = found.carried.sum(axis=-1)
    assert made - left == pytest.approx(stored, rel=1e-9, abs=1e-6 * made.sum(axis=-1).min())
    to_air = np.trace(found.carried, axis1=-2, axis2=-1)
    assert made.sum(axis=-1) == pytest.approx(to_air + stored.sum(axis=-1), rel=1e-9)
    inner = found.carried * (1 - np.eye(4))
    assert inner == pytest.approx(-np.swapaxes(inner, -1, -2), rel=1e-14)
    assert found.other_heat[..., 1] == pytest.approx(5.0 * given["losses"][:, 1].sum(), rel=1e-12)
    # the accounts of one path and of the copper again, from the course alone
    if not rides:
        fine = {name: np.repeat(given[name], 5, axis=0) for name in ("conductance", "losses", "copper_loss", "ambient")}
        fine = given | fine | {"step": 1.0, "steps": 1800}
        kelvin = heat.network_course(**fine).temperature
        middle = (kelvin[1:] + kelvin[:-1]) / 2
        assert found.carried[3, 3] == pytest.approx(np.sum(fine["conductance"][:, 3, 3] * (middle[:, 3] - fine["ambient"])), rel=1e-5)
        share = np.clip(1.5 * (373.15 - middle[:, 0]) / 30.0, 0, 1)
        loss = np.minimum(fine["copper_loss"][:, -1] * share**2 / (1 - 0.0012 * (middle[:, 2] - 298.15)) ** 2, 280.0)
        assert found.copper_heat == pytest.approx(np.sum(loss * (1 + 0.00393 * (middle[:, 0] - 293.15))), rel=1e-4)


def test_many_rides_are_single_rides_side_by_side():
    generator = np.random.default_rng(5)
    given = ride(240)
    given["start"] = given["start"] + generator.uniform(0, 30, (2, 3, 1))
    given["copper_loss"] = given["copper_loss"] * generator.uniform(0.8, 1.2, (3, 1, 1))
    given["derating_end"] = np.array([383.15, 385.0, np.inf])
    given["derating_start"] = np.array([353.15, 360.0, np.inf])
    given["conductance"] = given["conductance"] * generator.uniform(0.9, 1.2, (2, 1, 1, 1, 1))
    given["headroom"] = np.array([[1.4], [1.2], [0.7]])
    together = heat.network_course(**given)
    assert together.temperature.shape == (2, 3, 241, 4) and together.copper_heat.shape == (2, 3)
    for i in range(2):
        for j in range(3):
            one = given | {
                "start": given["start"][i, j],
                "copper_loss": given["copper_loss"][j],
                "conductance": given["conductance"][i, 0],
            }
            one |= {name: given[name][j] for name in ("derating_start", "derating_end", "headroom")}
            alone = heat.network_course(**one)
            assert together.temperature[i, j] == pytest.approx(alone.temperature, abs=1e-6)
            assert together.copper_heat[i, j] == pytest.approx(alone.copper_heat, rel=1e-8)
            assert together.carried[i, j] == pytest.approx(alone.carried, rel=1e-6, abs=1e-3)


@pytest.mark.parametrize("cut", [1, 119, 300])
def test_a_ride_can_be_stopped_and_resumed(cut):
    given = ride(480)
    whole = heat.network_course(**given)
    by_steps = ("conductance", "losses", "copper_loss", "ambient")
    first = heat.network_course(**(given | {name: given[name][:cut] for name in by_steps} | {"steps": cut}))
    rest = {name: given[name][cut:] for name in by_steps} | {"steps": 480 - cut, "start": first.temperature[-1]}
    second = heat.network_course(**(given | rest))
    pieces = np.concatenate([first.temperature, second.temperature[1:]])
    assert pieces == pytest.approx(whole.temperature, abs=1e-6)
    assert first.copper_heat + second.copper_heat == pytest.approx(whole.copper_heat, rel=1e-8)
    assert first.carried + second.carried == pytest.approx(whole.carried, rel=1e-6, abs=1e-2)


def test_records_are_every_so_many_steps():
    given = ride(480)
    whole, seldom = heat.network_course(**given), heat.network_course(**(given | {"every": 8}))
    assert seldom.temperature == pytest.approx(whole.temperature[::8], abs=1e-6)
    assert seldom.time.tolist() == whole.time[::8].tolist()


def test_long_steps_are_cut_to_what_the_quickest_body_needs():
    given = ride(24)
    shorter = {name: np.repeat(given[name], 10, axis=0) for name in ("conductance", "losses", "copper_loss", "ambient")}
    long = heat.network_course(**(given | {"step": 100.0}))
    short = heat.network_course(**(given | shorter | {"step": 10.0, "steps": 240, "every": 10}))
    assert long.temperature == pytest.approx(short.temperature, abs=5e-3)
    tiny = given | {"capacity": np.array([1e-3, 1350.0, 520.0, 1900.0])}
    with pytest.raises(ValueError, match=r"step must be below .* s: the quickest body follows within 0.000106 s"):
        heat.network_course(**tiny)


def test_weak_magnets_ask_more_current_up_to_its_limit():
    plain = {"step": 1.0, "steps": 1, "capacity": [1e3, 1e9], "conductance": heat.chain([1e-6, 1e-6])[None], "losses": [[0.0, 0.0]]}
    plain |= {"copper_loss": [[100.0]], "ambient": [300.0], "start": [300.0, 400.0], "magnets": 1}
    cold = heat.network_course(**plain).copper_heat
    weak = heat.network_course(**plain, flux_growth=-0.002, flux_reference=300.0).copper_heat
    assert cold == pytest.approx(100.0, rel=1e-12) and weak == pytest.approx(100.0 / 0.8**2, rel=1e-12)
    assert heat.network_course(**plain, flux_growth=-0.002, flux_reference=300.0, copper_limit=130.0).copper_heat == pytest.approx(130.0)
    gone = heat.network_course(**plain, flux_growth=-0.01, flux_reference=300.0, least_flux=0.1).copper_heat
    assert gone == pytest.approx(100.0 / 0.1**2, rel=1e-12)


def test_losses_that_run_away_are_refused():
    given = ride(480, derating_start=np.inf, derating_end=np.inf, copper_limit=np.inf, loss_growth=0.2)
    slow = {"capacity": 100 * given["capacity"], "step": 500.0}
    for changes in ({}, {"start": given["start"] + np.zeros((8, 1))}):
        with pytest.raises(ValueError, match="run away"):
            heat.network_course(**(given | slow | changes))


def left(level, share):
    """Copper loss with shares of the torque left, of bodies so large that nothing warms within the second."""
    winding = 400.0 - 40.0 * np.asarray(share)  # derating from 340 K, a headroom of 1.5
    one = {"step": 1.0, "steps": 1, "capacity": [1e12, 1e12], "conductance": heat.chain([1e-6, 1e-6])[None], "losses": [[0.0, 0.0]]}
    start = np.stack([winding, winding], axis=-1)
    derating = {"headroom": 1.5, "derating_start": 340.0, "derating_end": 400.0}
    return heat.network_course(**one, copper_loss=[level], ambient=[300.0], start=start, **derating).copper_heat


@pytest.mark.checks("limit", "warming.network_course")
@pytest.mark.parametrize("knots", [1, 2, 3, 4, 17])
def test_what_derating_leaves_goes_through_its_knots(knots):
    share = np.linspace(0.0, 1.0, knots) if knots > 1 else np.array([1.0])
    between = np.linspace(-0.2, 1.2, 101)
    held = np.clip(between, 0.0, 1.0)
    level = 200.0 * share**1.7 + 3.0
    assert left(level, share) == pytest.approx(level, rel=1e-9)
    assert np.all(np.diff(left(level, between)) >= -1e-9)
    if knots > 2:
        for parabola in (lambda s: 200.0 * s**2, lambda s: 200.0 * s**2 + 30.0 * s, lambda s: 150.0 * s**2 + 30.0 * s + 5.0):
            assert left(parabola(share), between) == pytest.approx(parabola(held), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"steps": 0}, "steps must be a whole number of 1 or above, got 0"),
        ({"every": 7}, "every must divide the number of steps, 48, got 7"),
        ({"step": 0.0}, "step must be above 0"),
        ({"winding": 4}, "winding must be a whole number from 0 to 3, got 4"),
        ({"ambient": np.full(47, 300.0)}, r"the last axes of ambient must be \(1 or 48\), got shape \(47,\)"),
        ({"losses": np.zeros((48, 3))}, r"the last axes of losses must be \(1 or 48, 4\), got shape \(48, 3\)"),
        ({"capacity": 5.0}, r"the last axes of capacity must be \(4\), got shape \(\)"),
        ({"copper_loss": -np.ones((48, 3))}, "copper_loss must be 0 or above"),
        ({"derating_end": 343.15}, "derating_end must be above derating_start"),
        ({"derating_end": np.inf}, "derating_end must be a temperature, since derating_start is one"),
    ],
)
def test_a_course_refuses_in_words(change, message):
    with pytest.raises(ValueError, match=message):
        heat.network_course(**(ride(48) | change))
