"""The network of bodies by second routes: matrix exponential, integrators, energy, limits, broadcasting, messages."""

import numpy as np
import pytest
from published import published
from scipy.integrate import quad_vec, solve_ivp
from scipy.linalg import expm

from unikit.formulas import heat

CAPACITY, LINK, LOSSES = [400.0, 3000.0], heat.chain([5.0, 2.0]), [60.0, 20.0]
LINKS = {(0, 1): 9.0, (1, 2): 0.7, (0, 3): 0.4, (1, 3): 5.0, (2, 3): 25.0}  # winding, iron, ring, housing
TO_AIR = [0.0, 0.3, 0.0, 3.2]
MOTOR = {
    "capacity": [350.0, 1500.0, 600.0, 2600.0],
    "losses": [140.0, 35.0, 2.0, 4.0],
    "loss_slope": [0.5, -0.02, 0.0, 0.0],
    "loss_reference": 293.15,
    "ambient": 303.15,
}


def joined(links, to_air):
    """The matrix of these links, written out one by one."""
    matrix = np.diag(to_air)
    for (one, other), value in links.items():
        matrix[one, other] = matrix[other, one] = value
    return matrix


MOTOR["conductance"] = joined(LINKS, TO_AIR)


def matches(row, value):
    assert value == pytest.approx(row.value, abs=row.tolerance, rel=0)


def steady(case):
    return heat.network_steady(**{k: v for k, v in case.items() if k != "capacity"})


def test_two_nodes_against_their_published_answer():
    end = heat.network_steady(LINK, LOSSES, 0.0, 293.15, 0.0)
    matches(published("T-12-steady-1"), end[0])
    matches(published("T-12-steady-2"), end[1])
    later = heat.network_response(CAPACITY, LINK, LOSSES, 0.0, 0.0, 600.0)
    matches(published("T-12-1"), later[0])
    matches(published("T-12-2"), later[1])
    assert heat.network_time_to_limit(CAPACITY, LINK, LOSSES, 0.0, 0.0, 0, later[0]) == pytest.approx(600.0, rel=1e-10)


def slope_matrix(case):
    """The equations written out link by link, not by the way the formula builds them."""
    capacity = np.array(case["capacity"])
    constant = np.array(case["losses"]) - np.array(case["loss_slope"]) * case["loss_reference"] + np.array(TO_AIR) * case["ambient"]
    matrix = np.diag(np.array(case["loss_slope"]) - TO_AIR)
    for (one, other), value in LINKS.items():
        for here, there in ((one, other), (other, one)):
            matrix[here, here] -= value
            matrix[here, there] += value
    return matrix / capacity[:, None], constant / capacity


@pytest.mark.checks("independent", "network.network_response", "network.network_steady")
def test_response_by_matrix_exponential_and_by_integration():
    start, time = np.array([320.0, 310.0, 301.0, 299.0]), 745.0
    matrix, constant = slope_matrix(MOTOR)
    whole = np.zeros((5, 5))
    whole[:4, :4], whole[:4, 4] = matrix, constant
    by_exponential = (expm(whole * time) @ np.append(start, 1.0))[:4]
    stepped = solve_ivp(lambda _, x: matrix @ x + constant, (0, time), start, rtol=1e-10, atol=1e-10, method="DOP853").y[:, -1]
    ours = heat.network_response(start=start, time=time, **MOTOR)
    assert ours == pytest.approx(by_exponential, rel=1e-11)
    assert ours == pytest.approx(stepped, rel=1e-9)
    assert matrix @ steady(MOTOR) + constant == pytest.approx(np.zeros(4), abs=1e-12)
    assert heat.network_response(start=start, time=1e7, **MOTOR) == pytest.approx(steady(MOTOR), rel=1e-12)
    assert heat.network_response(start=start, time=0.0, **MOTOR) == pytest.approx(start, rel=1e-14)


@pytest.mark.checks("independent", "network.network_response")
def test_losses_go_to_the_air_or_stay_in_the_bodies():
    start, time = np.array([300.0, 302.0, 315.0, 330.0]), 2000.0

    def flows(t):
        now = heat.network_response(start=start, time=t, **MOTOR)
        losses = np.array(MOTOR["losses"]) + np.array(MOTOR["loss_slope"]) * (now - MOTOR["loss_reference"])
        return np.array([losses.sum(), TO_AIR @ (now - MOTOR["ambient"])])

    (supplied, given), _ = quad_vec(flows, 0.0, time, epsrel=1e-13)
    stored = np.sum(np.array(MOTOR["capacity"]) * (heat.network_response(start=start, time=time, **MOTOR) - start))
    assert supplied == pytest.approx(given + stored, rel=1e-10)
    end = steady(MOTOR)
    losses = np.array(MOTOR["losses"]) + np.array(MOTOR["loss_slope"]) * (end - MOTOR["loss_reference"])
    assert losses.sum() == pytest.approx(TO_AIR @ (end - MOTOR["ambient"]), rel=1e-12)


@pytest.mark.checks(
    "limit", "network.network_steady", "network.network_response", "heat.temperature_rise", "heat.copper_steady_temperature"
)
def test_one_node_is_a_single_body_and_a_winding_that_warms():
    loss = 3 * 18**2 * 0.08
    node = heat.network_steady([[1 / 1.2]], [loss], [0.00393 * loss], 293.15, 298.15) - 273.15
    assert node[0] == pytest.approx(heat.copper_steady_temperature(25.0, 1.2, loss), rel=1e-12)
    warmed = heat.network_response([3000.0], [[2.0]], [60.0], 300.0, 300.0, 1500.0)[0]
    assert warmed - 300.0 == pytest.approx(heat.temperature_rise(60.0, 0.5, 3000.0, 1500.0), rel=1e-12)


def test_runaway_is_refused_in_steady_state_only():
    runaway = MOTOR | {"loss_slope": [9.0, 0.0, 0.0, 0.0]}
    with pytest.raises(ValueError, match="thermal runaway"):
        steady(runaway)
    edge = 1 / (1 / 2.0 + 1 / 5.0)  # where a slope at the first node equals the way out
    with pytest.raises(ValueError, match="loss_slope must be small enough for a steady state"):
        heat.network_steady(LINK, LOSSES, [edge, 0.0], 293.15, 293.15)
    heat.network_steady(LINK, LOSSES, [0.999 * edge, 0.0], 293.15, 293.15)
    with pytest.raises(ValueError, match="thermal runaway"):
        heat.copper_steady_temperature(25.0, 1.2, np.array([50.0, 220.0]))
    first = heat.network_time_to_limit(start=303.15, body=0, limit=500.0, **runaway)
    assert heat.network_response(start=303.15, time=first, **runaway)[0] == pytest.approx(500.0, rel=1e-12)
    with pytest.raises(ValueError, match="time must be short enough"):
        heat.network_response(start=303.15, time=1e8, **runaway)
    # losses that grow exactly as the heat leaves: the temperature rises in a straight line
    straight = heat.network_time_to_limit([400.0], [[2.0]], [60.0], 300.0, 300.0, 0, 330.0, [2.0], 300.0)
    assert straight == pytest.approx(400.0 * 30.0 / 60.0, rel=1e-6)
    assert heat.network_response([400.0], [[2.0]], [60.0], 300.0, 300.0, 200.0, [2.0], 300.0)[0] == pytest.approx(330.0, rel=1e-12)


@pytest.mark.checks("independent", "network.network_time_to_limit")
def test_first_crossing_against_a_scan_of_the_response():
    generator = np.random.default_rng(7)
    many = 200
    spread = lambda values: np.array(values) * generator.uniform(0.4, 2.5, (many, 4))
    case = {
        "capacity": spread(MOTOR["capacity"]),
        "conductance": MOTOR["conductance"] * generator.uniform(0.4, 2.5, (many, 1, 1)),
        "losses": spread(MOTOR["losses"]),
        "loss_slope": MOTOR["loss_slope"],
        "ambient": 300.0,
        "start": 300.0 + generator.uniform(0.0, 60.0, (many, 4)),
    }
    scan = np.concatenate([np.linspace(0.0, 2000.0, 2001), np.geomspace(2001.0, 1e6, 500)])
    for node in range(4):
        seen = heat.network_response(time=scan[:, None], **case)[..., node] >= 350.0
        index = seen.argmax(axis=0)
        after = np.where(seen.any(axis=0), scan[index], np.inf)
        before = np.where(seen.any(axis=0), scan[np.maximum(index - 1, 0)], np.inf)
        found = heat.network_time_to_limit(body=node, limit=350.0, **case)
        assert np.all(found <= after)
        assert np.all(found >= before)
        assert {0.0, np.inf} < set(found.tolist())
        finite = np.isfinite(found) & (found > 0)
        at = heat.network_response(time=np.where(finite, found, 0.0), **case)[finite, node]
        assert at == pytest.approx(np.full(finite.sum(), 350.0), rel=1e-12)


@pytest.mark.checks("limit", "network.network_time_to_limit")
def test_a_limit_passed_on_the_way_down_and_up_again():
    # a hot stator warms the winding quickly over the limit; then both cool and stay below
    hot = {
        "capacity": [100.0, 5000.0],
        "conductance": heat.chain([20.0, 10.0]),
        "losses": [0.0, 0.0],
        "ambient": 300.0,
        "start": [300.0, 360.0],
    }
    once = heat.network_time_to_limit(body=0, limit=350.0, **hot)
    assert 0 < once < 30
    assert heat.network_steady(heat.chain([20.0, 10.0]), [0.0, 0.0], 0.0, 293.15, 300.0) == pytest.approx([300.0, 300.0])
    assert heat.network_time_to_limit(body=0, limit=359.9, **hot) == np.inf
    assert heat.network_time_to_limit(body=1, limit=360.0, **hot) == 0.0
    # a warm winding on cold iron first cools, then warms over the limit
    dip = {
        "capacity": [100.0, 900.0],
        "conductance": heat.chain([20.0, 2.0]),
        "losses": [90.0, 0.0],
        "ambient": 300.0,
        "start": [330.0, 300.0],
    }
    late = heat.network_time_to_limit(body=0, limit=331.0, **dip)
    early = heat.network_response(time=np.linspace(0.1, late - 0.1, 500), **dip)[:, 0]
    assert early.min() < 315.0
    assert early.max() < 331.0
    assert heat.network_response(time=late, **dip)[0] == pytest.approx(331.0, rel=1e-12)


def test_chain_broadcasts_like_a_loop():
    scale = np.array([0.7, 1.0, 1.3])
    case = {k: np.array(v) for k, v in MOTOR.items()}
    case["losses"] = scale[:, None] * case["losses"]
    case["ambient"] = 300.0 + 10 * scale
    case["loss_reference"] = 290.0 + scale
    rows = [{k: (v[i] if k in ("losses", "ambient", "loss_reference") else v) for k, v in case.items()} for i in range(3)]
    time = np.array([0.0, 50.0, 900.0])
    start = np.array([310.0, 305.0, 304.0, 303.0])
    assert steady(case) == pytest.approx(np.array([steady(row) for row in rows]), rel=1e-13)
    together = heat.network_response(start=start, time=time[:, None], **case)
    assert together.shape == (3, 3, 4)
    single = [[heat.network_response(start=start, time=t, **row) for row in rows] for t in time]
    assert together == pytest.approx(np.array(single), rel=1e-13)
    limits = np.array([[320.0], [333.0], [900.0]])
    found = heat.network_time_to_limit(start=start, body=0, limit=limits, **case)
    alone = [[heat.network_time_to_limit(start=start, body=0, limit=limit, **row) for row in rows] for limit in limits[:, 0]]
    assert found == pytest.approx(np.array(alone), rel=1e-10)
    assert heat.network_time_to_limit(start=start, body=-4, limit=limits, **case) == pytest.approx(found, rel=1e-14)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"losses": [1.0, 2.0]}, r"losses must have one value for each of the 4 bodies, got shape \(2,\)"),
        ({"loss_slope": [1.0, 2.0]}, "loss_slope must have one value for each of the 4 bodies"),
        ({"conductance": -MOTOR["conductance"]}, "conductance must be 0 or above"),
        ({"conductance": [9.0, 5.0, 3.0, 1.0]}, r"conductance must be a square matrix along the last two axes, got shape \(4,\)"),
        ({"conductance": np.triu(MOTOR["conductance"])}, "conductance must be symmetric"),
        ({"conductance": joined(LINKS, [0.0] * 4)}, "links to the ambient, must be above 0"),
        ({"capacity": [1.0, -1.0, 1.0, 1.0]}, "capacity must be above 0"),
        ({"body": 4}, "body must be a whole number from 0 to 3, got 4"),
        ({"body": 0.5}, "body must be a whole number from 0 to 3, got 0.5"),
    ],
)
def test_network_refuses_in_words(change, message):
    with pytest.raises(ValueError, match=message):
        heat.network_time_to_limit(**(MOTOR | {"start": 300.0, "body": 0, "limit": 350.0} | change))


def test_chain_refuses_what_is_no_row():
    with pytest.raises(ValueError, match="link_conductance must be above 0"):
        heat.chain([1.0, 0.0, 1.0])
    with pytest.raises(ValueError, match="link_conductance must be a list with one value per body"):
        heat.chain(2.0)


@pytest.mark.checks("independent", "network.chain", "network.network_steady")
def test_a_chain_has_its_resistances_in_series():
    link = np.array([[9.0, 6.0, 3.5], [2.0, 8.0, 1.5]])
    steady = heat.network_steady(heat.chain(link), [60.0, 0.0, 0.0], 0.0, 293.15, 300.0)
    assert steady == pytest.approx(300.0 + 60.0 * np.cumsum((1 / link)[:, ::-1], axis=1)[:, ::-1], rel=1e-13)


@pytest.mark.checks("limit", "network.network_time_to_limit", "network.network_response")
def test_like_bodies_side_by_side_warm_as_one():
    """Two windings alike on one housing have two modes of one rate; they must warm as one of twice the size."""
    twin = joined({(0, 2): 4.0, (1, 2): 4.0}, [0.0, 0.0, 3.0])
    both = {"capacity": [300.0, 300.0, 2000.0], "conductance": twin, "losses": [50.0, 50.0, 0.0], "ambient": 300.0, "start": 300.0}
    one = {"capacity": [600.0, 2000.0], "conductance": heat.chain([8.0, 3.0]), "losses": [100.0, 0.0], "ambient": 300.0, "start": 300.0}
    time = np.array([[10.0], [200.0], [4000.0]])
    assert heat.network_response(time=time[:, 0], **both)[:, 0] == pytest.approx(
        heat.network_response(time=time[:, 0], **one)[:, 0], rel=1e-12
    )
    for limit in (310.0, 330.0, 344.0):
        together = heat.network_time_to_limit(body=1, limit=limit, **both)
        assert together == pytest.approx(heat.network_time_to_limit(body=0, limit=limit, **one), rel=1e-8)
    apart = {"capacity": [300.0] * 3, "conductance": 3.0 * np.eye(3), "losses": [50.0, 60.0, 5.0], "ambient": 300.0, "start": 300.0}
    assert heat.network_time_to_limit(body=0, limit=310.0, **apart) == pytest.approx(100.0 * np.log(2.5), rel=1e-8)


def test_a_body_without_any_way_to_the_air_has_no_steady_state():
    lonely = joined({(0, 1): 4.0}, [0.0, 2.0, 0.0])
    with pytest.raises(ValueError, match="a body without any way to the ambient"):
        heat.network_steady(lonely, [50.0, 0.0, 1.0], 0.0, 293.15, 300.0)
    warmed = heat.network_response([100.0, 100.0, 100.0], lonely, [50.0, 0.0, 1.0], 300.0, 300.0, 60.0)
    assert warmed[2] == pytest.approx(300.6, rel=1e-12)
