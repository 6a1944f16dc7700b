"""The balance studies: against the formulas asked one by one, against roots, in limits, and for builds that lack something."""

import numpy as np
import pytest

from unikit.formulas import delay, reflex
from unikit.inputs import replace
from unikit.studies import balance, chance, loop, windows

from . import examples

HILL = examples.cases()[[case.name for case in examples.cases()].index("Harbour hill")]


@pytest.fixture(scope="module")
def found():
    return balance.study(examples.build(), HILL)


def matrices(build, case, gain, way=0):
    built = loop.loop(loop.completed(build), case, build.gears.named())
    return reflex.system_matrices(built.plant, built.reflex, built.path, built.hold[way], built.gear_ratio, gain)


def test_the_window_is_the_overlap_of_both_directions_and_roots_agree(found):
    build = examples.build()
    windows_of = balance.windows(loop.loop(loop.completed(build), HILL, build.gears.named()))
    assert found.toppling_gain == max(one.toppling_gain for one in windows_of)
    assert found.onset_gain == min(one.onset_gain for one in windows_of)
    at = [found.toppling_gain, found.onset_gain]
    inside = [max(delay.root_count(*matrices(build, HILL, gain, way)) for way in (0, 1)) for gain in (1.02 * at[0], 0.98 * at[1])]
    outside = [max(delay.root_count(*matrices(build, HILL, gain, way)) for way in (0, 1)) for gain in (0.98 * at[0], 1.02 * at[1])]
    assert inside == [0, 0] and min(outside) >= 1


def test_the_best_gain_and_the_margins_are_those_of_the_loop(found):
    build = loop.completed(examples.build())
    built = loop.loop(build, HILL, build.gears.named())
    both = [
        reflex.loop_margins(built.plant, built.reflex, built.path, hold, built.gear_ratio, gain)
        for hold, gain in zip(built.hold, built.gain, strict=True)
    ]
    assert found.vector_margin == pytest.approx(min(one.vector for one in both), rel=1e-9)
    assert found.stronger == pytest.approx(min(one.gain_up for one in both), rel=1e-9)
    assert found.vector_best == found.vector_over_gain.max()
    assert found.toppling_gain < found.best_gain < found.onset_gain
    stable = (found.gain > found.toppling_gain) & (found.gain < found.onset_gain)
    assert np.array_equal(found.vector_over_gain > 0, stable)


def test_the_dead_time_budget_is_where_the_gain_becomes_the_onset_gain(found):
    slow = replace(examples.build(), {"sensor.dead_time": found.dead_time_budget})
    both = balance.windows(loop.loop(loop.completed(slow), HILL, slow.gears.named()))
    gains = found.driving_gain, found.resisting_gain
    distances = [abs(edge - gain) for one, gain in zip(both, gains, strict=True) for edge in (one.toppling_gain, one.onset_gain)]
    assert min(distances) < 1e-6
    assert balance.study(slow, HILL).vector_margin < 1e-4 < found.vector_margin


def test_an_ideal_assist_at_the_restoring_gain_without_legs_is_the_ungeared_wheel():
    changes = {"sensor.dead_time": 0.0, "sensor.filter_corner": 10e3, "motor.quadrature_inductance": 1e-6}
    changes |= {"rider.leg_damping": 0.0, "rider.leg_stiffness": 0.0}
    build = replace(examples.build(), changes)
    restoring = balance.study(build, HILL).restoring_gain
    gear = build.gears.engaged
    found = balance.study(replace(build, {f"assist.driving_gain.{gear}": restoring}), HILL)
    built = loop.loop(loop.completed(replace(build, {f"assist.driving_gain.{gear}": restoring})), HILL, build.gears.named())
    free = loop.ungeared(loop.completed(build), HILL)
    one = reflex.loop_margins(built.plant, built.reflex, built.path, built.driving_leverage, built.gear_ratio, restoring)
    other = reflex.loop_margins(free.plant, free.reflex, free.path, 1.0, 1.0, 0.0)
    assert one.vector == pytest.approx(other.vector, rel=2e-3)
    assert found.vector_ungeared == pytest.approx(other.vector, abs=2e-3)


def test_an_ungeared_build_keeps_all_of_its_own_margin():
    found = balance.study(examples.build("harbour_ungeared"), HILL)
    assert found.vector_share == pytest.approx(1.0, abs=2e-3)
    assert found.toppling_gain == 0 and found.dead_time_budget == np.inf
    assert found.restoring_gain == pytest.approx(0.0)


def test_no_window_is_told_in_words_and_nothing_is_nan_unseen():
    slow = replace(examples.build(), {"rider.reaction_delay": 0.35})
    found = balance.study(slow, HILL)
    assert found.onset_gain == 0 and "is stable: the rider's" in found.reason
    assert found.vector_margin == 0 and found.dead_time_budget == 0
    summary = found.summary()
    assert summary["gain with the largest vector margin"] == "unknown" and "stable" in summary["why there is no window"]
    riders = chance.study(slow, HILL, count=16)
    assert riders.chance == 0 and np.isnan(riders.recommended_gain) and not riders.inside.any()


def test_what_is_measured_is_not_assumed():
    build = examples.build()
    assert "reaction delay" in balance.study(build, HILL).assumed
    measured = replace(build, {path: "40 ms" for path in ("rider.muscle_lag",)} | {"rider.reaction_delay": 0.1})
    found = balance.study(measured, HILL)
    assert "reaction delay" not in found.assumed and "muscle lag" not in found.assumed
    assert found.reaction_delay == 0.1
    assert loop.assumed(loop.completed(build)) == ()


def test_longer_cranks_and_a_quicker_rider_widen_the_window(found):
    longer = balance.study(replace(examples.build(), {"cranks.length": 0.15}), HILL)
    assert longer.toppling_gain < found.toppling_gain
    quicker = balance.study(replace(examples.build(), {"rider.reaction_delay": 0.09}), HILL)
    assert quicker.onset_gain > found.onset_gain and quicker.vector_share > found.vector_share


# -- over riders --------------------------------------------------------------------


@pytest.fixture(scope="module")
def riders():
    return chance.study(examples.build(), HILL, count=64)


def test_the_chance_is_the_share_of_riders_that_the_formulas_call_stable(riders):
    drawn = chance.riders(examples.build(), 64)
    built = loop.loop(drawn, HILL, drawn.gears.named())
    pick = lambda record, row: type(record)(*(np.broadcast_to(part, (64,))[row].item() for part in record))
    stable = 0
    for row in range(64):
        both = [
            delay.root_count(
                *reflex.system_matrices(pick(built.plant, row), pick(built.reflex, row), built.path, hold[row], built.gear_ratio, gain[row])
            )
            for hold, gain in zip(built.hold, built.gain, strict=True)
        ]
        stable += both == [0, 0]
    assert riders.chance == stable / 64
    assert 0 < riders.chance < 1


def test_the_recommended_gain_has_the_largest_mean_margin_and_a_better_chance_than_the_edges(riders):
    assert riders.recommended_gain == riders.gain[np.argmax(riders.vector)]
    assert riders.chance_recommended >= riders.chance
    assert riders.inside.max() - riders.chance_recommended < 0.1
    assert np.all(np.diff(riders.toppling) >= 0) and np.all(np.diff(riders.onset) <= 0)
    assert 0.2 < riders.onset_ratio_low <= riders.onset_ratio <= riders.onset_ratio_high


def test_the_same_seed_gives_the_same_riders_and_another_seed_others(riders):
    again = chance.study(replace(examples.build(), {"cranks.length": examples.build().cranks.length}), HILL, count=64)
    assert np.array_equal(again.vector, riders.vector)
    assert not np.array_equal(chance.study(examples.build(), HILL, count=64, seed=5).vector, riders.vector)


def test_a_rider_who_is_known_in_full_has_a_chance_of_all_or_nothing():
    build, middle = examples.build(), loop.completed(examples.build()).rider
    stated = ("rider.mass", "rider.drag_area", "rider.drag_height", "rider.zero_cadence_torque", *loop.ASSUMED)
    known = {path: getattr(middle, path.partition(".")[2]) for path in stated} | {"wheel.rolling_coefficient": 0.008}
    found = chance.study(replace(build, known), HILL, count=8)
    assert found.assumed == "nothing"
    assert set(np.unique(found.inside)) <= {0.0, 1.0} and found.chance == 1.0


def test_margins_of_findings_are_those_of_each_rider(riders):
    build = examples.build()
    judged = chance.judged(build, HILL, build.gears.named(), 64)
    assert (judged.share > 0).mean() == riders.chance
    assert np.array_equal(judged.edges > 0, judged.share > 0) and np.all(judged.edges[judged.edges > 0] >= 1)
    assert np.array_equal(judged.dead_time > 0, judged.share > 0) and np.all(judged.dead_time[judged.dead_time > 0] >= 1)
    assert np.median(judged.share) == pytest.approx(riders.share_middle)


# -- every gear, and what moves the window --------------------------------------------


def test_every_gear_has_its_own_window_and_the_gain_of_the_long_gear_may_be_outside_of_the_short_one():
    build = examples.build()
    every = windows.every_gear(build, HILL)
    alone = [balance.study(build, HILL, gear) for gear in build.gears.gear]
    assert every.onset_gain == pytest.approx([one.onset_gain for one in alone])
    assert list(every.as_set) == ["inside", "inside"]
    high = replace(build, {"assist.driving_gain.long": 0.8, "assist.resisting_gain.long": 0.8})
    assert windows.every_gear(high, HILL).as_set[1] == "inside"
    assert windows.every_gear(high, HILL).with_engaged[0] == "driving: above onset, resisting: above onset"


def test_each_move_changes_what_it_names_and_the_first_row_is_the_build():
    build = examples.build()
    moved = windows.moves(build, HILL)
    found = balance.study(build, HILL)
    assert (moved.toppling_gain[0], moved.onset_gain[0]) == (found.toppling_gain, found.onset_gain)
    row = [place for place, name in enumerate(moved.changed) if name == "rider's delay"]
    assert [moved.to[place] for place in row] == ["80 ms", "180 ms"] and moved.onset_gain[row[0]] > moved.onset_gain[row[1]]
    assert len(windows.moves(examples.build("harbour_ungeared"), HILL).changed) == len(moved.changed) - 4  # it has no sensor
