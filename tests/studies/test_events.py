"""Events in time, through a build: steady rides, outcomes known without the simulation, and the envelope beside the closed form."""

import numpy as np
import pytest

from unikit.formulas import cut_out as losses
from unikit.inputs import replace
from unikit.studies import catch, cut_out, events
from unikit.studies import loop as loops

from . import examples

LEVEL = {"air_temperature": 294.15, "speed": 4.0}


def test_without_an_event_nothing_happens():
    for name in ("bump", "gust", "climb", "push"):
        result = events.study(examples.first_machine(), examples.case(**LEVEL), name, 0.0, duration=2.0)
        assert np.ptp(result.lean) < 1e-9 and np.ptp(result.pedal_torque) < 1e-6
        assert result.lean[0] == pytest.approx(result.steady_lean, abs=1e-12)
        assert result.pedal_torque[0] == pytest.approx(result.steady_pedal_torque, rel=1e-9)
        assert result.motor_torque[-1] == pytest.approx(result.steady_motor_torque, rel=1e-9)
        assert result.outcome == "caught at every crank angle"


def test_the_steady_ride_is_that_of_the_torque_split():
    build, case = examples.first_machine(), examples.case(slope=0.03, trim="level", **LEVEL)
    split = catch.stand(build, case, build.gears.named()).split
    result = events.before(build, case)
    assert result.steady_pedal_torque == pytest.approx(split.pedal_torque, rel=1e-9)
    assert result.steady_motor_torque == pytest.approx(split.motor_torque, rel=1e-9)
    assert result.outcome == "being computed" and np.isnan(result.lean).all()


def test_small_bumps_are_caught_large_ones_are_not():
    build, case = examples.first_machine(), examples.case(**LEVEL)
    small, large = (events.study(build, case, "bump", size) for size in (0.2, 0.9))
    assert small.outcome == small.outcome_ungeared == "caught at every crank angle" and small.caught_angles == 1.0
    assert large.outcome.startswith("falls after 0.") and large.caught_angles == 0.0
    assert np.isnan(large.lean[-1]) and np.nanmax(large.lean) < np.radians(40)
    assert small.speed[0] == pytest.approx(3.8)
    first = 0.2 * 0.8 * 84.0 / (84.0 * 0.64 + 10.0)  # the blow turns the body by h dv / J
    assert (small.lean[1] - small.lean[0]) / 0.01 == pytest.approx(first, rel=0.1)


def test_a_motor_lost_far_beyond_the_limit_falls_as_the_straight_line_says():
    build = examples.first_machine(gain=0.0)
    case = examples.case(slope=0.05, trim="level", **LEVEL)
    result = events.study(build, case, "cut-out")
    assert result.outcome.startswith("falls after") and result.outcome_ungeared == "nothing to lose"
    assert np.isnan(result.lean_ungeared).all()
    here = catch.stand(loops.completed(build), case, build.gears.named())
    early = result.time <= 0.2
    course = losses.lean_after_loss(result.time[early], here.rate, here.stiffness, here.reflex, here.split.motor_torque)
    # the passive legs hold a little of it back even before the rider answers
    np.testing.assert_allclose((result.lean - result.steady_lean)[early], course, rtol=0.25, atol=1e-3)
    assert np.all((result.lean - result.steady_lean)[early] <= course + 1e-9)


def test_a_ramp_and_an_adapted_rider_save_what_a_step_does_not():
    build, case = examples.first_machine(), examples.case(slope=0.02, trim="level", **LEVEL)
    sudden, slow = (events.study(build, case, "cut-out", ramp, duration=6.0) for ramp in (0.0, 4.0))
    assert sudden.outcome.startswith("falls") and slow.outcome_beside.startswith(("caught", "stays up"))
    assert slow.beside == "as built, ready"


def test_the_simulated_envelope_lies_where_the_first_computation_put_it():
    found = events.envelopes(examples.first_machine(), examples.case(**LEVEL), speeds=(2.0, 4.0, 6.0), settling_rate=0.3)
    for name in ("ratio", "ratio_beside", "ratio_ungeared"):
        assert np.all((getattr(found, name) > 1.0) & (getattr(found, name) < 1.27)), name
    # 0.38, 0.38, 0.30 m/s; 0.24, 0.24, 0.16; 0.46, 0.38, 0.16 were found there on a grid of 0.02, with gains 4 % higher
    np.testing.assert_allclose(found.simulated, [0.38, 0.38, 0.30], atol=0.02)
    np.testing.assert_allclose(found.simulated_beside, [0.24, 0.24, 0.16], atol=0.02)
    np.testing.assert_allclose(found.simulated_ungeared, [0.46, 0.38, 0.16], atol=0.02)


def test_the_trim_that_may_be_lost_is_the_largest_after_which_nobody_falls():
    build, case = examples.first_machine(gain=0.0), examples.case(slope=0.03, **LEVEL)
    found = events.lost_trims(build, case, ramps=(0.0, 1.0, 4.0), settling_rate=0.3)
    assert np.all(np.diff(found.ready) > 1) and np.all(
        found.habitual == 0.0
    )  # the gear alone lies below the habitual rider's toppling gain
    assert 0.4 < found.ready[0] / found.closed[0] < 0.8  # the first computation had 6.5 of 8.6 N·m, with some gain
    assert found.ready[1] < 0.5 * found.closed[1]  # who waits to feel a ramp gets far less than who answers from its beginning
    for row, ramp in enumerate(found.ramp_time[:2]):
        for trim, falls in ((0.97 * found.ready[row], False), (found.ready[row] + 0.5, True)):
            capped = replace(build, {"assist.trim_cap": trim})
            asked = replace(case, {"trim": "level"})
            after = events.study(capped, asked, "cut-out", ramp, duration=8.0, settling_rate=0.3)
            assert after.outcome_beside.startswith("falls") is falls, (ramp, trim)
    assert found.closed[0] == pytest.approx(float(cut_out.replaced(at(build, case), 0.0)) * closed_by_hand(build, case), rel=1e-9)


def at(build, case):
    return catch.stand(build, case, build.gears.named())


def closed_by_hand(build, case):
    """Without gain, lost is the trim, and what the legs have left grows by what the trim takes off them: T = c (λ P - T0 + T)."""
    here, share = at(build, case), float(cut_out.replaced(at(build, case), 0.0))
    left = 0.97 / 1.5 * here.driving_strength - here.split.wheel_torque
    return left / (1 - share)


def test_a_build_without_motor_shows_the_legs_alone():
    build, case = examples.build("harbour_ungeared"), examples.case(gust=2.0, **LEVEL)
    assert events.possible(build) == ("bump", "gust", "climb", "push")
    result = events.study(build, case, "gust")
    assert result.size.startswith("2 m/s") and result.outcome == result.outcome_ungeared
    assert np.all(result.motor_torque == 0)
    np.testing.assert_allclose(result.lean, result.lean_ungeared, atol=1e-9)
    for name in ("cut-out", "sensor offset"):
        with pytest.raises(ValueError, match=f"has no motor: a {name} needs one"):
            events.study(build, case, name)
    with pytest.raises(ValueError, match="has no motor: a cut-out needs one"):
        events.lost_trims(build, case)


def test_a_swing_that_goes_on_is_told():
    build = replace(examples.build(), {"assist.resisting_gain.long": 0.2, "rider.drag_height": 0.9})
    result = events.study(build, examples.case(**LEVEL), "bump", 0.15)
    assert result.outcome == "stays up at every crank angle, but swings on"


def test_times_shorter_than_the_step_are_met_by_none_or_one_step():
    assert [events._whole(time) for time in (0.0, 0.0005, 0.0015, 0.002, 0.0091)] == [0.0, 0.0, 0.002, 0.002, 0.0091]
    quick = replace(examples.build(), {"motor.quadrature_inductance": 1e-5, "sensor.filter_corner": 900.0, "sensor.dead_time": 0.0})
    assert events.study(quick, examples.case(**LEVEL), "bump", 0.05, duration=1.0).caught_angles == 1.0


def test_unknown_events_and_sizes_are_refused_in_words():
    with pytest.raises(ValueError, match="event must be one of 'bump', 'gust', 'climb', 'push', 'cut-out', 'sensor offset', got 'puddle'"):
        events.study(examples.build(), examples.case(), "puddle")
    with pytest.raises(ValueError, match="size of a bump must be a finite number, got inf"):
        events.study(examples.build(), examples.case(), "bump", np.inf)
