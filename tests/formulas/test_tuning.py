"""Tuned riders: against a general optimiser, against rightmost roots, and one by one against many; vector margins of many gains."""

import numpy as np
import pytest
from machines import AIR, PATH, PD_100, PDA_150, many, plant

from unikit.formulas import _maximin, balance, delay, reflex
from unikit.formulas.reflex import Path

AT_ONCE = Path(0.0, np.inf, 0.0)
GAINS = ("proportional", "derivative", "acceleration")
RATES = np.append(np.geomspace(0.001, 0.3, 300), np.geomspace(0.31, 60.0, 6000))


def people(number, seed):
    """Machines, and all of a rider that tuning asks for."""
    draw = np.random.default_rng(seed).uniform
    some = lambda low, high: draw(low, high, number)
    machine = balance.linear_plant(
        some(60, 115), some(0.65, 1.0), some(6, 14), some(5, 12), some(0.2, 0.5), some(0.3, 0.45), speed=some(1, 7), **AIR
    )
    names = "delay", "muscle_lag", "speed_gain", "leg_damping", "leg_stiffness", "replanning_time"
    limits = (0.06, 0.2), (0.02, 0.06), (0, 0.04), (0, 6), (0, 150), (0.1, 0.3)
    return machine, {name: some(*between) for name, between in zip(names, limits, strict=True)}


def one(machine, person, place):
    return type(machine)(*(float(part[place]) for part in machine)), {name: float(part[place]) for name, part in person.items()}


def ungeared(machine, rider):
    return reflex.system_matrices(machine, rider, AT_ONCE, 1.0, 1.0, 0.0)


@pytest.mark.checks("independent", "reflex.tuned_reflex")
@pytest.mark.parametrize("predictive", [False, True])
def test_a_general_optimiser_finds_no_more(predictive):
    from scipy.optimize import minimize

    machines, persons = people(40, seed=2)
    size, tried = 2 + predictive, 0
    for place in range(0, 40, 8):
        machine, person = one(machines, persons, place)
        found = reflex.tuned_reflex(machine, predictive=predictive, **person)
        unit = np.array(found[:size])

        def lost(shares, machine=machine, found=found, unit=unit):
            rider = found._replace(**dict(zip(GAINS, shares * unit, strict=False)))
            margin = np.min(np.abs(1 + reflex.loop_response(RATES, machine, rider, AT_ONCE, 1.0, 1.0, 0.0)))
            return -margin if delay.is_stable(*ungeared(machine, rider)) else margin  # beyond the edge the distance grows again

        here = -lost(np.ones(size))
        if here > 0:
            tried += 1
            for start in (np.full(size, 1.01), np.array([0.97, 1.04, 0.95])[:size]):
                other = minimize(lost, start, method="Nelder-Mead", options={"xatol": 1e-4, "fatol": 1e-6, "maxiter": 250})
                assert -other.fun <= here * (1 + 1e-3) + 1e-5  # of the rates between those looked at
    assert tried >= 4


@pytest.mark.checks("independent", "reflex.tuned_reflex")
def test_predictive_riders_balance_and_others_up_to_the_delay_at_which_no_gains_do():
    machine, person = people(300, seed=5)
    predictive = reflex.tuned_reflex(machine, predictive=True, **person)
    assert delay.is_stable(*ungeared(machine, predictive)).mean() > 0.99
    plain = reflex.tuned_reflex(machine, **person)
    stable = delay.is_stable(*ungeared(machine, plain))
    assert 0.85 < stable.mean() < 0.95
    draw = np.random.default_rng(6)
    for place in np.nonzero(~stable)[0][:6]:  # nor do any of two thousand other pairs of gains balance these
        own, single = one(machine, person, place)
        unit = np.array([own.lean_by_lean, own.lean_by_lean**0.5]) / own.lean_by_torque
        pairs = dict(zip(GAINS, (draw.uniform((0.9, 0.2), (2.2, 2.8), (2000, 2)) * unit).T, strict=False))
        others = reflex.tuned_reflex(own, **single)._replace(**pairs)
        assert not np.any(delay.is_stable(*ungeared(own, others)))


@pytest.mark.checks("limit", "reflex.tuned_reflex")
def test_from_no_delay_to_one_that_nothing_balances():
    machine, late = plant(), np.linspace(0.0, 0.24, 25)
    found = reflex.tuned_reflex(machine, late, 0.03)
    stable = delay.is_stable(*ungeared(machine, found))
    last = late[stable][-1]
    assert np.all(stable == (late <= last))
    # the muscle's lag counts in full against the delay up to which a pendulum can be balanced
    assert delay.critical_delay(np.sqrt(machine.lean_by_lean)) - 0.03 == pytest.approx(last, abs=0.01)
    change = np.abs(np.diff(np.stack(found[:2]) / np.array([[300.0], [54.0]])))
    assert np.all(change < 0.25) and np.all(change[:, late[1:] > 0.05] < 0.15)  # no jump where balance is lost
    beyond = reflex.tuned_reflex(machine, 2.0, 1.0, predictive=True)
    assert np.all(np.isfinite(beyond[:3])) and delay.root_count(*ungeared(machine, beyond)) > 0


@pytest.mark.parametrize("predictive", [False, True])
def test_a_rider_alone_and_among_others_gets_the_same_gains(predictive):
    machine, person = people(270, seed=8)  # more than one block
    found = reflex.tuned_reflex(machine, predictive=predictive, **person)
    for place in (0, 41, 100, 255, 256, 269):
        own, single = one(machine, person, place)
        alone = reflex.tuned_reflex(own, predictive=predictive, **single)
        assert [part[place] for part in found[:3]] == pytest.approx(alone[:3], rel=1e-9)
        assert all(isinstance(part, float) for part in alone[:3])
    again = reflex.tuned_reflex(machine, predictive=predictive, **person)
    assert all(np.array_equal(one_part, other) for one_part, other in zip(found[:3], again[:3], strict=True))


def test_pushing_a_curve_from_zero_widens_its_distance_and_keeps_its_turns():
    # a circle around zero whose centre is the gain: the best centre is zero, and the distance then that of its chords
    place = np.exp(1j * np.linspace(0, 2 * np.pi, 73))
    slope = np.ones((2, 1, 73), complex)
    slope[1] = 1j
    curve = _maximin.Curve(np.stack([place, 2 * place]), slope)
    found = _maximin.push(curve, np.array([[0.9], [-1.7]]), (np.array([-3.0]), np.array([3.0])), 1e-6)
    assert found[:, 0] == pytest.approx([0.0, 0.0], abs=1e-4)
    assert _maximin.nearest(curve.at(found))[0].min(axis=1) == pytest.approx(np.array([1, 2]) * np.cos(np.pi / 72), rel=1e-5)
    # outside of the circle it stays outside, and goes as far as it may
    apart = _maximin.push(curve, np.array([[1.1], [2.2]]), (np.array([-3.0]), np.array([3.0])), 1e-6)
    assert apart[:, 0] == pytest.approx([3.0, 3.0], abs=1e-4)


@pytest.mark.checks("independent", "reflex.vector_margins")
def test_vector_margins_are_those_of_one_loop_after_the_other():
    builds, gains = many(60, seed=12), np.linspace(0.0, 1.1, 23)
    found = reflex.vector_margins(*builds, gains)
    column = lambda part: type(part)(*(np.asarray(value)[..., None] for value in part))
    wide = (*map(column, builds[:3]), builds[3][:, None], builds[4][:, None])
    inside = delay.is_stable(*reflex.system_matrices(*wide, gains))
    np.testing.assert_array_equal(found > 0, inside)
    single = reflex.loop_margins(*wide, gains).vector
    assert inside.sum() > 300
    np.testing.assert_allclose(found[inside], single[inside], rtol=1e-3, atol=1e-6)


@pytest.mark.checks("independent", "reflex.vector_margins")
@pytest.mark.parametrize("person", [PD_100, PDA_150])
def test_vector_margins_against_a_fine_curve(person):
    gains, rates = np.array([0.2, 0.3, 0.4]), np.geomspace(1e-3, 200.0, 400_001)
    found = reflex.vector_margins(plant(), person, PATH, 0.65, 1.5, gains)
    for gain, value in zip(gains, found, strict=True):
        curve = reflex.loop_response(rates, plant(), person, PATH, 0.65, 1.5, gain)
        assert value == pytest.approx(np.min(np.abs(1 + curve)), rel=5e-4)


def test_vector_margins_broadcast_and_refuse_in_words():
    holds = np.array([[0.6], [0.7]])
    found = reflex.vector_margins(plant(), PD_100, PATH, holds, np.array([1.4, 1.5, 1.6]), np.linspace(0, 0.5, 4))
    assert found.shape == (2, 3, 4)
    single = reflex.vector_margins(plant(), PD_100, PATH, 0.7, 1.6, np.linspace(0, 0.5, 4))
    np.testing.assert_allclose(found[1, 2], single, rtol=1e-6)
    own = reflex.vector_margins(plant(), PD_100, PATH, holds[:, 0], 1.5, np.array([[0.1, 0.2, 0.3], [0.2, 0.3, 0.4]]))
    assert own[0, 1] == pytest.approx(reflex.vector_margins(plant(), PD_100, PATH, 0.6, 1.5, [0.2])[0], rel=1e-6)
    with pytest.raises(ValueError, match=r"assist_gains must be a list of gains, got 0\.3"):
        reflex.vector_margins(plant(), PD_100, PATH, 0.6, 1.5, 0.3)
    with pytest.raises(ValueError, match=r"assist_gains must be 0 or above"):
        reflex.vector_margins(plant(), PD_100, PATH, 0.6, 1.5, [-0.1])


@pytest.mark.checks("independent", "delay.margins", "reflex.loop_margins")
def test_a_low_between_two_samples_is_not_passed_by():
    builds = many(512, seed=1)
    gain = 0.6461538461538461
    among = reflex.loop_margins(*builds, gain).vector
    exact = reflex.vector_margins(*builds, [gain])[:, 0]
    inside = exact > 1e-3
    assert inside.sum() > 50
    np.testing.assert_allclose(among[inside], exact[inside], rtol=1e-3)


@pytest.mark.checks("independent", "reflex.tuned_reflex")
@pytest.mark.parametrize(("ratio", "gain"), [(1.5, 0.0), (1.5, 0.353), (2.0, 0.8)])
def test_a_rider_who_learned_a_geared_and_assisted_machine_against_a_general_optimiser(ratio, gain):
    from machines import EFFICIENCY, PATH, PD_100, plant
    from scipy.optimize import minimize

    hold = EFFICIENCY / ratio
    person = {name: getattr(PD_100, name) for name in PD_100._fields[3:]}
    found = reflex.tuned_reflex(plant(), path=PATH, gear_leverage=hold, gear_ratio=ratio, assist_gain=gain, **person)

    def lost(scaled):
        reach = abs(scaled) / (hold + gain)
        tried = found._replace(proportional=reach[0] * 300, derivative=reach[1] * 50)
        return -float(reflex.vector_margins(plant(), tried, PATH, hold, ratio, [gain])[0])

    best = min(minimize(lost, [one, other], method="Nelder-Mead").fun for one in (0.9, 1.3) for other in (1.0, 1.3))
    reached = reflex.loop_margins(plant(), found, PATH, hold, ratio, gain).vector
    assert reached == pytest.approx(-best, rel=3e-3)
