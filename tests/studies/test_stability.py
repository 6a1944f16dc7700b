"""Delay and stability: the maps against roots, the motion against an integration from delay to delay, the limits against closed forms."""

import numpy as np
import pytest

from unikit.formulas import delay, reflex
from unikit.formulas.reflex import Path, Reflex
from unikit.inputs import load_case, replace
from unikit.studies import loop, stability, stages

from . import examples


@pytest.fixture(scope="module")
def hill(root):
    return load_case(root / "data/cases/harbour_hill.toml")


@pytest.fixture(scope="module")
def found(hill):
    return stability.study(examples.build(), hill)


def growth(found, proportional, derivative):
    """Growth rate of the whole loop with other gains, in the direction of the study."""
    built = found.loop
    way = stability.DIRECTIONS.index(found.direction)
    hold, gain = built.hold[way], built.gain[way]
    unit = stability.scale(built.plant, hold + gain)
    rider = built.reflex._replace(proportional=proportional * unit.proportional, derivative=derivative * unit.derivative)
    matrices = reflex.system_matrices(built.plant, rider, built.path, hold, built.gear_ratio, gain)
    return delay.rightmost_roots(*matrices, count=1)[..., 0].real


def grid_about(area, points=19):
    """Gains on a grid about twice as wide and high as the area, without those close to its edge."""
    ends = [(0.5 * (low + high), high - low) for low, high in ((np.min(side), np.max(side)) for side in area)]
    p, d = (grid.ravel() for grid in np.meshgrid(*(np.linspace(max(m - w, 0.01), m + w, points) for m, w in ends)))
    turns = np.linspace(0, 2 * np.pi, 8, endpoint=False)
    around = [area.holds(p + 0.02 * ends[0][1] * np.cos(turn), d + 0.02 * ends[1][1] * np.sin(turn)) for turn in turns]
    clear = np.all([one == area.holds(p, d) for one in around], axis=0)
    return p[clear], d[clear]


@pytest.mark.parametrize("changes", [{}, {"rider.prediction": "rate"}, {"rider.reaction_delay": 0.09, "gears.engaged": "direct"}])
def test_the_loop_is_stable_inside_its_area_and_not_outside(hill, changes):
    found = stability.study(replace(examples.build(), changes), hill)
    p, d = grid_about(found.whole)
    stable = growth(found, p, d) < 0
    assert np.array_equal(stable, found.whole.holds(p, d))
    assert 0.08 * len(p) < stable.sum() < 0.4 * len(p)


def test_the_edge_of_the_loops_area_has_a_root_on_the_imaginary_axis(found):
    p, d = found.whole
    assert np.max(np.abs(growth(found, p, d))) < 1e-5
    assert len(p) > 50


@pytest.mark.parametrize("acceleration", [0.0, 0.4])
@pytest.mark.parametrize("late", [0.05, 0.12, 0.2])
def test_the_pendulum_is_stable_inside_its_area_and_not_outside(late, acceleration):
    rate, lag = 6.0, 1e-4  # a lag that does not matter, so that the acceleration is no state's own derivative
    area = stability.pendulum_area(rate, late, acceleration)
    p, d = grid_about(area)
    if acceleration:
        falling = [[0, 1, 0], [rate**2, 0, -1], [0, 0, -1 / lag]]
        back = np.zeros((len(p), 3, 3))
        back[:, 2, 0], back[:, 2, 1], back[:, 2, 2] = (p + acceleration) * rate**2 / lag, d * rate / lag, -acceleration / lag
        counted = np.array([delay.root_count(falling, [(one, late)]) for one in back[::7]])
        assert np.array_equal(counted == 0, area.holds(p, d)[::7])
    else:
        back = np.zeros((len(p), 2, 2))
        back[:, 1, 0], back[:, 1, 1] = -p * rate**2, -d * rate
        assert np.array_equal(delay.is_stable([[0, 1], [rate**2, 0]], [(back, late)]), area.holds(p, d))
    assert 0.08 * len(p) < area.holds(p, d).sum() < 0.4 * len(p)


@pytest.mark.parametrize(("acceleration", "square"), [(0.0, 2.0), (0.5, 3.0), (0.999, 3.998)])
def test_the_pendulums_area_vanishes_at_the_critical_delay(acceleration, square):
    rate = 6.3
    last = np.sqrt(square) / rate
    sizes = [stability.pendulum_area(rate, share * last, acceleration).size for share in (0.5, 0.9, 0.985, 1.0001)]
    assert sizes[0] > sizes[1] > sizes[2] > 0 and sizes[3] == 0
    assert delay.critical_delay(rate) == pytest.approx(np.sqrt(2) / rate)


def test_the_loops_area_vanishes_at_the_critical_delay_when_nothing_but_the_delay_is_left(hill):
    built = loop.ungeared(loop.completed(examples.build()), hill)
    plant = built.plant._replace(lean_by_speed=0.0, speed_by_speed=0.0)
    rider = Reflex(1.0, 0.0, 0.0, 0.0, 0.1, 1e-3, 0.0, 0.0, 0.2)
    bare = loop.Loop(plant, rider, Path(0.0, np.inf, 0.0), 1.0, 1.0, 1.0, 0.0, 0.0)
    last = delay.critical_delay(np.sqrt(plant.lean_by_lean))
    assert stages.latest(bare, 1.0, 0.0) + 1e-3 == pytest.approx(last, rel=0.005)  # the lag counts as delay
    area = stability.loop_area(bare, 1.0, 0.0)
    pendulum = stability.pendulum_area(np.sqrt(plant.lean_by_lean), 0.101)
    assert area.size == pytest.approx(pendulum.size, rel=0.02)


def test_the_area_of_a_square_and_what_it_holds():
    square = stability.Area(np.array([1.0, 3.0, 3.0, 1.0]), np.array([0.0, 0.0, 2.0, 2.0]))
    assert square.size == 4.0
    assert square.holds([2.0, 0.5, 3.5, 2.0], [1.0, 1.0, 1.0, 2.5]).tolist() == [True, False, False, False]
    assert stability.NOTHING.size == 0 and not stability.NOTHING.holds(1.0, 1.0)


def by_steps(matrices, start, end):
    """The same motion by solve_ivp, in pieces short of the shortest delay, each with the earlier ones as its past."""
    from scipy.integrate import solve_ivp

    past, breaks = [], sorted({0.0, end, *np.arange(0.0, end, 0.9 * min(late for _, late in matrices.delayed))})
    kinks = sorted({round(k * late, 12) for _, late in matrices.delayed for k in range(1, 30) if k * late < end} | set(breaks))

    def before(time):
        if time < 0:
            return 0.0 * start
        return next(piece for until, piece in past if time <= until + 1e-12)(time)

    state = start
    for begin, until in zip(kinks, kinks[1:], strict=False):
        middle = 0.5 * (begin + until)  # on which side of the jump at zero the delayed state is, decided once for a piece

        def slope(time, x, middle=middle):
            late = sum(gain @ (before(time - tau) if middle > tau else 0.0 * x) for gain, tau in matrices.delayed)
            return matrices.a_matrix @ x + late

        solved = solve_ivp(slope, (begin, until), state, rtol=1e-8, atol=1e-11, dense_output=True)
        past.append((until, solved.sol))
        state = solved.y[:, -1]
    return before


def test_the_motion_after_a_push_is_that_of_an_integration_from_delay_to_delay(found):
    built = found.loop
    way = stability.DIRECTIONS.index(found.direction)
    hold, gain = built.hold[way], built.gain[way]
    matrices = reflex.system_matrices(built.plant, built.reflex, built.path, hold, built.gear_ratio, gain)
    start = np.zeros(len(matrices.a_matrix))
    start[1] = stability.PUSH
    exact = by_steps(matrices, start, 1.2)
    at = np.arange(0, 241, 20)
    expected = np.array([exact(time)[0] for time in found.time[at]])
    assert found.lean[at] == pytest.approx(expected, abs=2e-3 * np.max(np.abs(found.lean)))
    free = found.time < built.reflex.delay
    assert found.lean[free] != pytest.approx(found.lean_nobody[free], rel=1e-3)  # the legs act at once


def test_late_in_the_motion_the_rightmost_root_is_seen(hill):
    found = stability.study(replace(examples.build(), {"rider.reaction_delay": 0.17}), hill, learned=examples.build())
    assert found.growth_rate > 0.5 and found.motion == "sways more and more"
    late = found.time > 1.5
    crossings = found.time[late][1:][np.diff(np.sign(found.lean[late])) != 0]
    assert np.mean(np.diff(crossings)) == pytest.approx(0.5 / found.frequency, rel=0.02)


def test_at_the_delay_budget_the_learned_gains_stand_on_the_edge(found, hill):
    for share, sign in ((0.98, -1), (1.02, 1)):
        other = stability.study(
            replace(examples.build(), {"rider.reaction_delay": share * found.delay_budget}), hill, learned=examples.build()
        )
        assert np.sign(other.growth_rate) == sign
        assert (other.proportional, other.derivative) == pytest.approx((found.proportional, found.derivative))
        assert other.whole.holds(other.proportional, other.derivative) == (sign < 0)
    assert found.whole.holds(found.proportional, found.derivative)


def test_a_late_rider_who_learns_this_machine_holds_it_where_old_gains_do_not(hill):
    slow = replace(examples.build(), {"rider.reaction_delay": 0.15})
    kept, anew = stability.study(slow, hill, learned=examples.build()), stability.relearned(slow, hill)
    assert anew.growth_rate < 0 < kept.growth_rate
    assert kept.whole.size > 0
    assert anew.proportional != kept.proportional
    assert "learned this machine" in next(iter(anew.summary()))


def test_the_toppling_rates_are_those_of_the_pendulum_with_and_without_a_wheel(found):
    body = loop.body(examples.build())
    inertia = body["body_inertia"] + body["body_mass"] * body["centre_of_mass_height"] ** 2
    held = np.sqrt(body["body_mass"] * 9.81 * body["centre_of_mass_height"] / inertia)
    assert found.toppling_rate_fixed == pytest.approx(held, rel=1e-6)
    assert found.toppling_rate > 1.8 * found.toppling_rate_fixed
    assert found.critical_delay_predictive == pytest.approx(np.sqrt(2) * found.critical_delay)


def test_words_for_what_the_motion_does():
    words = [stability.in_words(*pair) for pair in ((-1.0, 0.0), (1.0, 0.0), (-1.0, 0.5), (1.0, 0.5))]
    assert words == ["comes back without swaying", "topples", "sways and comes to rest", "sways more and more"]


# -- stages ---------------------------------------------------------------------------


def test_stages_lead_from_the_critical_delay_to_the_loop_of_the_study(found, hill):
    made = stages.stages(examples.build(), hill)
    assert made.stage == ("delay alone", "muscle lag", "legs and speed", "acceleration answered", "gear", "assist")
    latest = dict(zip(made.stage, made.latest, strict=True))
    assert latest["delay alone"] == pytest.approx(delay.critical_delay(stability.study(examples.build(), hill).toppling_rate), rel=0.015)
    assert latest["muscle lag"] == pytest.approx(latest["delay alone"] - found.muscle_lag, abs=0.006)  # lags nearly add
    assert latest["acceleration answered"] > latest["legs and speed"] and latest["gear"] < latest["acceleration answered"]
    area = dict(zip(made.stage, made.stable_area, strict=True))
    assert area["assist"] <= found.stable_area + 1e-9
    assert len(stages.stages(replace(examples.build("harbour_ungeared"), {"rider.prediction": "rate"}), hill).stage) == 4


def test_areas_shrink_with_the_delay_and_learned_gains_fail_where_the_budget_says(found, hill):
    made = stages.over_delay(examples.build(), hill, [0.08, 0.12, 0.16, 0.2, 0.3])
    assert np.all(np.diff(made.stable_area) < 0) or made.stable_area[-1] == 0
    assert np.all(np.diff(made.pendulum_area) <= 0) and made.pendulum_area[-1] == 0
    assert np.array_equal(made.growth_rate > 0, made.delay > found.delay_budget)


def test_the_curve_of_the_assist_gain_is_real_at_the_edges_of_the_window(hill):
    made = stages.assist_axis(examples.build(), hill, frequency=np.linspace(0.2, 3.0, 2001))
    sign = np.nonzero(np.diff(np.sign(made.imaginary)))[0]
    real = made.real[sign]
    for edge in (made.toppling_gain, made.onset_gain):
        assert np.min(np.abs(real - edge)) < 0.01 * edge
    assert np.min(np.abs(made.frequency[sign] - made.onset_frequency)) < 0.01
