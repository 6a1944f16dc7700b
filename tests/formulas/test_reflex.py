"""The loop of rider, legs and assist: the window by three routes, the loop against its states, margins, reasons in words."""

import numpy as np
import pytest
from machines import EFFICIENCY, PATH, PD_100, PDA_100, PDA_150, many, plant, rider
from published import published

from unikit.formulas import delay, leverage, reflex
from unikit.formulas.reflex import GainWindow, Path

LEGLESS = {"leg_damping": 0.0, "leg_stiffness": 0.0}


def window(person, ratio, path=PATH, resisting=False, efficiency=EFFICIENCY, machine=None, **more):
    hold = leverage.gear_leverage(ratio, efficiency, resisting)
    return reflex.gain_window(machine or plant(), person, path, hold, ratio, **more)


def determinant(system, rate):
    matrix = rate * np.eye(len(system.a_matrix)) - system.a_matrix
    return np.linalg.det(matrix - sum(part * np.exp(-rate * late) for part, late in system.delayed))


def unstable(system):
    return delay.root_count(*system)


def one(parts, place):
    """One build out of records of many."""
    pick = lambda part: type(part)(*(np.asarray(value)[place].item() if np.ndim(value) else value for value in part))
    return [pick(part) if isinstance(part, tuple) else float(part[place]) for part in parts]


@pytest.mark.checks("independent", "reflex.gain_window", "reflex.system_matrices")
@pytest.mark.parametrize(("person", "ratio"), [(PD_100, 1.25), (PD_100, 1.5), (PDA_150, 2.0), (PDA_100, 2.0)])
@pytest.mark.parametrize("path", [PATH, Path(0.02, np.inf, 0.003), Path(0.02, np.inf, 0.0), Path(0.0, 5.0, 0.0)])
def test_at_an_edge_a_root_lies_on_the_axis_and_two_cross(person, ratio, path):
    hold, found = EFFICIENCY / ratio, window(person, ratio, path)
    for gain, frequency in ((found.toppling_gain, found.toppling_frequency), (found.onset_gain, found.onset_frequency)):
        system = reflex.system_matrices(plant(), person, path, hold, ratio, gain)
        rate, step = 1j * frequency, 1e-6
        slope = (determinant(system, rate + step) - determinant(system, rate - step)) / (2 * step)
        assert abs(determinant(system, rate) / slope) < 1e-8
    gains = (0.98 * found.toppling_gain, 0.5 * (found.toppling_gain + found.onset_gain), 1.02 * found.onset_gain)
    assert [unstable(reflex.system_matrices(plant(), person, path, hold, ratio, gain)) for gain in gains] == [2, 0, 2]


@pytest.mark.checks("independent", "reflex.gain_window")
def test_edges_are_where_the_rightmost_root_crosses():
    hold, found = EFFICIENCY / 1.5, window(PD_100, 1.5)

    def growth(gain):
        return float(np.max(delay.rightmost_roots(*reflex.system_matrices(plant(), PD_100, PATH, hold, 1.5, gain)).real))

    from scipy.optimize import brentq

    assert found.toppling_gain == pytest.approx(brentq(growth, 0.1, 0.25, xtol=1e-10), abs=1e-6)
    assert found.onset_gain == pytest.approx(brentq(growth, 0.35, 0.6, xtol=1e-10), abs=1e-6)


@pytest.mark.checks("independent", "reflex.gain_window")
def test_edges_of_fifty_builds_are_where_the_rightmost_root_crosses():
    builds = many(50, seed=3)
    found = reflex.gain_window(*builds)
    has = found.reason == ""
    assert 15 < has.sum() < 50

    def rightmost(gain):
        return np.max(delay.rightmost_roots(*reflex.system_matrices(*builds, gain), count=4).real, axis=-1)

    for edge, within in ((found.toppling_gain, 1), (found.onset_gain, -1)):
        step = 1e-5  # from the two growths beside the edge to the gain without growth, to second order
        beyond, inside = rightmost(np.maximum(edge - within * step, 0.0)), rightmost(edge + within * step)
        crossing = edge - within * step + within * 2 * step * beyond / np.where(has & (edge > 0), beyond - inside, 1.0)
        real = has & (edge > 0)
        assert real.sum() > 10
        assert np.all(beyond[real] > 0) and np.all(inside[real] < 0)
        np.testing.assert_allclose(crossing[real], edge[real], rtol=0, atol=1e-6)


@pytest.mark.checks("independent", "reflex.gain_window")
def test_what_is_inside_the_window_is_stable_and_what_is_outside_is_not():
    builds = many(120, seed=11)
    found = reflex.gain_window(*builds)
    for gain in np.linspace(0.01, 2.0, 14):
        stable = delay.is_stable(*reflex.system_matrices(*builds, gain))
        np.testing.assert_array_equal(stable, (found.toppling_gain < gain) & (gain < found.onset_gain))
    middle = 0.5 * (found.toppling_gain + found.onset_gain)
    for place in range(0, 120, 8):
        count = unstable(reflex.system_matrices(*one(builds, place), middle[place]))
        assert (count == 0) == (found.reason[place] == "")


@pytest.mark.parametrize(("ratio", "low", "high"), [(1.25, "BAL-11", "BAL-12"), (1.5, "BAL-13", "BAL-14"), (2.0, "BAL-15", "BAL-16")])
def test_first_numbers_of_the_window(ratio, low, high):
    rows = {"BAL-11": published("BAL-11"), "BAL-12": published("BAL-12"), "BAL-13": published("BAL-13")}
    rows |= {"BAL-14": published("BAL-14"), "BAL-15": published("BAL-15"), "BAL-16": published("BAL-16")}
    found = window(PD_100, ratio)
    assert found.toppling_gain == pytest.approx(rows[low].value, abs=rows[low].tolerance)
    assert found.onset_gain == pytest.approx(rows[high].value, abs=rows[high].tolerance)


@pytest.mark.checks("independent", "reflex.common_window")
def test_the_worse_of_driving_and_resisting_pedals():
    driving, resisting = window(PD_100, 1.5, efficiency=0.93), window(PD_100, 1.5, efficiency=0.93, resisting=True)
    both = reflex.common_window(driving, resisting)
    assert (both.toppling_gain, both.onset_gain) == (driving.toppling_gain, resisting.onset_gain)
    assert (both.toppling_frequency, both.onset_frequency) == (driving.toppling_frequency, resisting.onset_frequency)
    # more leverage through the gear leaves less room for the motor, by less than the difference, for the motor comes late
    assert 0 < driving.onset_gain - resisting.onset_gain < leverage.gear_leverage(1.5, 0.93, True) - leverage.gear_leverage(1.5, 0.93)
    apart = reflex.common_window(GainWindow(0.4, 1.0, 0.6, 7.0, ""), GainWindow(0.1, 1.0, 0.3, 7.0, ""))
    assert apart == GainWindow(0.0, 0.0, 0.0, 0.0, "the window of driving pedals and that of resisting pedals do not meet")
    none = GainWindow(0.0, 0.0, 0.0, 0.0, "no assist gain is stable")
    assert reflex.common_window(driving, none) == none == reflex.common_window(none, driving)
    column = lambda one, other: GainWindow(*(np.array(pair) for pair in zip(one, other, strict=True)))
    stacked = reflex.common_window(column(driving, none), column(resisting, driving))
    assert [part[0] for part in stacked] == list(both) and [part[1] for part in stacked] == list(none)


@pytest.mark.checks("independent", "reflex.loop_response", "reflex.path_response")
def test_ideal_assist_at_the_restoring_gain_without_legs_is_the_ungeared_loop():
    rates, person = np.geomspace(0.1, 100.0, 50), PD_100._replace(**LEGLESS)
    ideal = Path(0.0, np.inf, 0.0)
    gain = leverage.restoring_gain(1.6, 0.95)
    geared = reflex.loop_response(rates, plant(), person, ideal, leverage.gear_leverage(1.6, 0.95), 1.6, gain)
    plain = reflex.loop_response(rates, plant(), person, ideal, 1.0, 1.0, 0.0)
    assert geared == pytest.approx(plain, rel=1e-13)
    assert reflex.path_response(rates, ideal) == pytest.approx(np.ones(50), rel=1e-15)


@pytest.mark.checks("independent", "reflex.path_response")
def test_the_path_is_a_delay_and_two_lags():
    rate = 2 * np.pi * 3
    expected = np.exp(-1j * rate * 0.012) / (1 + 1j * rate / (2 * np.pi * 20.0)) / (1 + 1j * rate * 0.004)
    assert reflex.path_response(rate, Path(0.012, 20.0, 0.004)) == pytest.approx(expected, rel=1e-14)


@pytest.mark.checks("independent", "reflex.loop_response", "reflex.system_matrices")
def test_the_states_have_the_loop_of_the_frequency_response():
    rates = np.array([0.3, 2.0, 9.0, 40.0])
    passive = PDA_100._replace(proportional=0.0, derivative=0.0, acceleration=0.0, **LEGLESS)
    for path in (PATH, Path(0.02, np.inf, 0.0)):
        loop = reflex.loop_response(rates, plant(), PDA_100, path, 0.6, 1.6, 0.4)
        whole, alone = (reflex.system_matrices(plant(), person, path, 0.6, 1.6, 0.4) for person in (PDA_100, passive))
        for rate, value in zip(rates, loop, strict=True):
            assert determinant(whole, 1j * rate) / determinant(alone, 1j * rate) == pytest.approx(1 + value, rel=1e-11)


@pytest.mark.checks("independent", "reflex.loop_margins")
@pytest.mark.parametrize(("person", "hold", "gain"), [(PD_100, 1.0, 0.0), (PDA_150, 0.65, 0.35), (PDA_100, 0.65, 0.3)])
def test_margins_against_a_fine_curve_and_the_gains_that_just_hold(person, hold, gain):
    ratio = 1.0 if hold == 1.0 else 1.5
    found = reflex.loop_margins(plant(), person, PATH, hold, ratio, gain)
    rates = np.linspace(0.3, 40.0, 400_001)
    loop = reflex.loop_response(rates, plant(), person, PATH, hold, ratio, gain)
    nearest = np.argmin(np.abs(1 + loop))
    assert found.vector == pytest.approx(abs(1 + loop[nearest]), abs=1e-6)
    assert found.vector_frequency == pytest.approx(rates[nearest], rel=1e-3)
    unity = np.nonzero(np.diff(np.abs(loop) > 1))[0]
    assert found.phase == pytest.approx(np.min(np.abs(np.angle(-loop[unity]))), abs=1e-3)
    for share, side in ((found.gain_down, -1), (found.gain_up, 1)):
        counts = []
        for more in (share * (1 + side * 1e-3), share * (1 - side * 1e-3)):
            legs = {"leg_damping": person.leg_damping * more, "leg_stiffness": person.leg_stiffness * more}
            gains = {name: getattr(person, name) * more for name in ("proportional", "derivative", "acceleration")}
            counts.append(unstable(reflex.system_matrices(plant(), person._replace(**legs, **gains), PATH, hold, ratio, gain)))
        assert counts[0] > 0 == counts[1]


@pytest.mark.checks("independent", "reflex.loop_margins", "reflex.loop_response")
@pytest.mark.parametrize(("hold", "ratio", "gain"), [(1.0, 1.0, 0.0), (0.65, 1.5, 0.353)])
def test_voluntary_margins_are_the_factors_on_the_command_alone(hold, ratio, gain):
    found = reflex.loop_margins(plant(), PD_100, PATH, hold, ratio, gain, voluntary=True)
    for share, side in ((found.gain_down, -1), (found.gain_up, 1)):
        counts = []
        for more in (share * (1 + side * 1e-4), share * (1 - side * 1e-4)):
            person = PD_100._replace(proportional=more * PD_100.proportional, derivative=more * PD_100.derivative)
            counts.append(unstable(reflex.system_matrices(plant(), person, PATH, hold, ratio, gain)))
        assert counts[0] > 0 == counts[1]
    late = PD_100._replace(delay=PD_100.delay + delay.delay_margin(found.phase, found.phase_frequency))
    assert reflex.loop_response(found.phase_frequency, plant(), late, PATH, hold, ratio, gain, voluntary=True) == pytest.approx(
        -1, abs=1e-6
    )


def test_first_numbers_of_the_margins():
    found = reflex.loop_margins(plant(), PD_100, PATH, 1.0, 1.0, 0.0, voluntary=True)
    row = published("BAL-21")
    assert found.gain_up == pytest.approx(row.value, abs=row.tolerance)
    row = published("BAL-22")
    assert np.degrees(found.phase) == pytest.approx(row.value, abs=row.tolerance)
    row = published("BAL-23")
    gain = leverage.restoring_gain(1.5, 0.93)
    found = reflex.loop_margins(plant(), PD_100, PATH, leverage.gear_leverage(1.5, 0.93, True), 1.5, gain, voluntary=True)
    assert found.gain_up == pytest.approx(row.value, abs=row.tolerance)


@pytest.mark.checks("independent", "reflex.tuned_reflex")
@pytest.mark.parametrize(("predictive", "late"), [(False, 0.08), (False, 0.12), (True, 0.15)])
def test_no_gains_nearby_keep_the_ungeared_wheel_further_from_instability(predictive, late):
    legs = {"speed_gain": 0.02, "leg_damping": 2.0, "leg_stiffness": 40.0, "replanning_time": 0.2}
    found = reflex.tuned_reflex(plant(), late, 0.03, predictive, **legs)
    rates = np.geomspace(0.05, 100.0, 4000)

    def margin(person):
        return np.min(np.abs(1 + reflex.loop_response(rates, plant(), person, PATH, 1.0, 1.0, 0.0)))

    best = margin(found)
    assert unstable(reflex.system_matrices(plant(), found, PATH, 1.0, 1.0, 0.0)) == 0
    names = ("proportional", "derivative", "acceleration")[: 2 + predictive]
    for step in (0.01, 0.03):
        for signs in np.ndindex(*(3,) * len(names)):
            moved = {name: getattr(found, name) * (1 + step * (sign - 1)) for name, sign in zip(names, signs, strict=True)}
            assert margin(found._replace(**moved)) < best + 2e-3
    assert (found.acceleration > 0) == predictive


def test_prediction_tolerates_a_longer_delay_and_a_longer_delay_costs_margin():
    machine, late = plant(), np.array([0.08, 0.12, 0.16])
    rates = np.geomspace(0.05, 100.0, 1500)
    margins = []
    for predictive in (False, True):
        found = reflex.tuned_reflex(machine, late, 0.03, predictive)
        assert found.proportional.shape == (3,)
        single = reflex.tuned_reflex(machine, 0.12, 0.03, predictive)
        assert [part[1] for part in found[:3]] == pytest.approx(single[:3], rel=1e-12)
        column = found._replace(**{name: getattr(found, name)[:, None] for name in ("proportional", "derivative", "acceleration", "delay")})
        margins.append(np.min(np.abs(1 + reflex.loop_response(rates, machine, column, PATH, 1.0, 1.0, 0.0)), axis=1))
    assert np.all(np.diff(margins, axis=1) < 0)
    assert np.all(margins[1] > margins[0])


def test_an_array_of_builds_gives_what_single_builds_give():
    builds = many(300, seed=7)  # more than one block
    found = reflex.gain_window(*builds)
    for place in (0, 17, 255, 256, 299):
        single = reflex.gain_window(*one(builds, place))
        assert [part[place] for part in found[:4]] == pytest.approx(single[:4], rel=1e-9)
        assert found.reason[place] == single.reason
        assert isinstance(single.onset_gain, float) and isinstance(single.reason, str)
    square = reflex.gain_window(plant(), PD_100, PATH, np.array([[0.6], [0.7]]), np.array([1.4, 1.5, 1.6]))
    assert square.onset_gain.shape == square.reason.shape == (2, 3)
    assert square.onset_gain[1, 2] == pytest.approx(reflex.gain_window(plant(), PD_100, PATH, 0.7, 1.6).onset_gain, rel=1e-9)


def test_responses_and_matrices_of_many_builds_are_those_of_single_ones():
    builds = many(5, seed=2)
    matrices = reflex.system_matrices(*builds, np.linspace(0.1, 0.5, 5))
    responses = reflex.loop_response(6.0, *builds, 0.3)
    for place in range(5):
        own = one(builds, place)
        single = reflex.system_matrices(*own, np.linspace(0.1, 0.5, 5)[place])
        np.testing.assert_allclose(matrices.a_matrix[place], single.a_matrix, rtol=1e-13)
        for (many_part, many_late), (part, late) in zip(matrices.delayed, single.delayed, strict=True):
            np.testing.assert_allclose(many_part[place], part, rtol=1e-13)
            assert many_late[place] == late
        assert responses[place] == pytest.approx(reflex.loop_response(6.0, *own, 0.3), rel=1e-13)
        assert reflex.lean_response(6.0, builds[0])[place] == pytest.approx(reflex.lean_response(6.0, own[0]), rel=1e-13)


def test_standing_still_without_wind_the_speed_is_left_undetermined_but_lean_is_judged():
    still = plant(speed=0.0)
    assert still.speed_by_speed == 0.0
    person = PD_100._replace(speed_gain=0.0, **LEGLESS)
    slow = person._replace(speed_gain=1e-7)
    free, held = (window(each, 1.5, machine=still) for each in (person, slow))
    assert free.onset_gain == pytest.approx(held.onset_gain, rel=1e-4)
    assert free.toppling_gain == pytest.approx(held.toppling_gain, rel=1e-4) and free.toppling_gain > 0
    stable = [
        unstable_lean(reflex.system_matrices(still, person, PATH, EFFICIENCY / 1.5, 1.5, gain)) for gain in (0.2, free.onset_gain * 1.02)
    ]
    assert stable == [0, 2]


def unstable_lean(system):
    """The count without the speed, which nothing feels here."""
    keep = np.arange(len(system.a_matrix)) != 2
    return unstable(
        reflex.StateSpace(system.a_matrix[np.ix_(keep, keep)], [(part[np.ix_(keep, keep)], late) for part, late in system.delayed])
    )


@pytest.mark.parametrize(
    ("person", "path", "ratio", "more", "cause"),
    [
        (
            PD_100._replace(proportional=0.0, derivative=0.0),
            PATH,
            1.5,
            {},
            "the rider's gains do not balance this machine even without delay",
        ),
        (PD_100._replace(delay=0.25), PATH, 1.5, {}, "the rider's delay is too long"),
        (PD_100, Path(0.3, 2.0, 0.003), 2.0, {}, "the lag of sensor, filter, electronics and motor is too long"),
        (PD_100, PATH, 0.6, {}, "the gear leverage alone is above the onset gain"),
        (PD_100, PATH, 2.0, {"greatest_gain": 0.2}, "the toppling gain lies higher"),
    ],
)
def test_no_stable_gain_is_answered_in_words(person, path, ratio, more, cause):
    found = window(person, ratio, path, **more)
    assert found == GainWindow(0.0, 0.0, 0.0, 0.0, f"no assist gain from 0 to {more.get('greatest_gain', 4):g} is stable: {cause}")


def test_an_onset_beyond_what_is_looked_at_has_no_frequency():
    found = window(PD_100, 1.5, greatest_gain=0.3)
    assert (found.onset_gain, found.onset_frequency, found.reason) == (0.3, 0.0, "")


def test_impossible_loops_are_refused_in_words():
    with pytest.raises(ValueError, match=r"gear_ratio must be above 0, got 0"):
        reflex.gain_window(plant(), PD_100, PATH, 0.6, 0.0)
    with pytest.raises(ValueError, match=r"reflex\.muscle_lag must be from 0\.001 to 1, got 0"):
        reflex.gain_window(plant(), rider(300.0, 50.0, 0.0, 0.1, 0.0), PATH, 0.6, 1.5)
    with pytest.raises(ValueError, match=r"reflex\.delay must be from 0 to 2, got -0\.1"):
        reflex.loop_response(3.0, plant(), rider(300.0, 50.0, 0.0, -0.1), PATH, 0.6, 1.5, 0.3)
    with pytest.raises(ValueError, match=r"path\.filter_corner must be above 0"):
        reflex.path_response(3.0, Path(0.01, 0.0, 0.0))
    with pytest.raises(ValueError, match=r"greatest_gain must be above 0"):
        reflex.gain_window(plant(), PD_100, PATH, 0.6, 1.5, greatest_gain=-1.0)
    with pytest.raises(ValueError, match=r"the time constant of the motor must be 0 in all builds or in none of one call"):
        reflex.system_matrices(plant(), PD_100, Path(0.01, 10.0, np.array([0.0, 0.003])), 0.6, 1.5, 0.3)


@pytest.mark.checks("independent", "reflex.vector_margins")
def test_vector_margins_of_many_agree_with_the_margins_of_one_and_are_zero_outside_the_window():
    machine, people, path, hold, ratio = many(40, 11)
    gains = np.linspace(0.0, 1.2, 13)
    found = reflex.vector_margins(machine, people, path, hold, ratio, gains)
    low, _, high, _, reason = reflex.gain_window(machine, people, path, hold, ratio)
    stable = (reason == "")[:, None] & ((gains > low[:, None]) | ((low[:, None] == 0) & (gains == 0))) & (gains < high[:, None])
    assert found.shape == (40, 13) and 50 < stable.sum() < 500
    assert np.array_equal(found > 0, stable)
    for place, gain in enumerate(gains):
        single = reflex.loop_margins(machine, people, path, hold, ratio, gain).vector
        assert found[stable[:, place], place] == pytest.approx(single[stable[:, place]], abs=2e-3)
    own = np.linspace(0.1, 0.6, 40)[:, None]  # a gain of its own for each build
    of_own = reflex.vector_margins(machine, people, path, hold, ratio, own)
    across = reflex.vector_margins(machine, people, path, hold, ratio, own[:, 0])
    assert of_own[:, 0] == pytest.approx(np.diagonal(across), abs=2e-3)
