"""The map of slopes over speed: its lines are held just as long as they say, and its edges are where the split has them."""

import dataclasses

import numpy as np
import pytest

from unikit.inputs import replace
from unikit.studies import climbs, hold
from unikit.studies.motor import point

from . import examples

HILL = {"slope": 0.06, "speed": 3.2, "air_temperature": 292.15, "trim": "none"}


def light(**changes):
    """The commuter as it is, described in full and with half of the copper: heat ends it before the torque cap."""
    return replace(examples.build(), examples.ALL_PATHS | {"motor.phase_resistance": 0.2} | changes)


def test_lines_are_held_as_long_as_they_say():
    build, case = light(), examples.case(**HILL)
    found = climbs.study(build, case, points=6)
    assert found.lines.shape == (6, 6) and np.isinf(found.times[-1])
    assert (found.lines[:, 1:] < found.lines[:, :-1])[np.isfinite(found.lines[:, 1:])].all()
    met = np.isfinite(found.lines[:, :-1])
    assert met.sum() > 20
    again = hold.hold(build, case, found.speed[:, None], np.where(met, found.lines[:, :-1], 0.0))
    assert again.time[met] == pytest.approx(np.broadcast_to(found.times[:-1], met.shape)[met], rel=1e-4)
    assert (again.ended_by == found.lines_ended[:, :-1])[met].all()


@pytest.mark.parametrize("trim", ["none", "level", "steps"])
def test_for_ever_ends_at_its_line(trim):
    build, case = light(), examples.case(**(HILL | {"trim": trim}))
    found = climbs.outline(build, case, points=7, within=climbs.SLOPE)
    assert found.lines.shape == (7, 1)
    for shift, held in ((-2e-7, True), (2e-7, False)):
        times = hold.hold(build, case, found.speed, found.slope + shift).time
        assert (np.isinf(times) == held).all()


def test_the_line_of_for_ever_is_the_continuous_torque():
    build, case = light(), examples.case(**HILL)
    found = climbs.outline(build, case, points=5, within=climbs.SLOPE)
    gear = build.gears.named("long")
    for speed, slope, torque in zip(found.speed, found.slope, found.torque, strict=True):
        split = point(build, dataclasses.replace(case, speed=speed, slope=slope), gear)
        assert split.reserve > 0
        assert split.motor_torque == pytest.approx(torque, rel=1e-5)  # without trim the torque pulses as the legs do


def test_the_cases_own_point():
    build = light()
    for slope, ended in ((0.03, "none"), (0.15, "derating")):
        case = examples.case(**(HILL | {"slope": slope}))
        found, alone = climbs.study(build, case), hold.hold(build, case)
        assert (found.holds, found.ended_by) == (float(alone.time), ended)
        assert (slope <= found.slope_for_ever) == (ended == "none")
        assert found.motor_torque == point(build, case, build.gears.named("long")).motor_torque
        assert climbs.outline(build, case).holds is None


def test_edges_of_motor_and_legs():
    build, case = light(), examples.case(**HILL)
    found = climbs.study(build, case)
    gear = build.gears.named("long")
    for shift in (-1e-5, 1e-5):
        split = point(build, dataclasses.replace(case, slope=found.slope_cut + shift), gear)
        assert (split.reserve == 0) == (shift > 0) and found.cut_by in ("torque cap", split.highest_by)
        split = point(build, dataclasses.replace(case, slope=found.slope_legs + shift), gear)
        assert (split.leg_power > build.rider.critical_power) == (shift > 0)


def test_where_the_torque_cap_comes_before_heat_no_slope_is_too_much():
    build = replace(examples.described(), {"assist.torque_cap": 6.0})
    found = climbs.study(build, examples.case(**HILL))
    assert np.isposinf(found.lines).all() and found.for_ever_by == "none" and found.cut_by == "torque cap"
    assert np.isinf(found.holds) and found.summary()["slope that holds for ever at this speed"] == "no limit"


def test_where_not_even_the_flat_is_held():
    case = examples.case(**(HILL | {"head_wind": 9.0, "slope": 0.0}))
    found = climbs.study(light(**{"motor.phase_resistance": 0.5, "assist.torque_cap": 60.0}), case, points=9)
    assert np.isneginf(found.slope[-1]) and found.slope[0] > 0
    assert found.for_ever_by in ("derating", "magnets")


def test_speeds_reach_beyond_the_case():
    build = light()
    gear = build.gears.named("long")
    for speed in (1.0, 15.0):
        found = climbs.speeds(build, examples.case(**(HILL | {"speed": speed})), gear, 9)
        assert found[0] == climbs.SLOWEST and found[-1] >= 1.05 * speed and len(found) == 9


def test_a_build_without_motor_is_refused_in_one_sentence():
    with pytest.raises(ValueError, match=r"build 'Harbour ungeared' has no motor: the climbs study needs one"):
        climbs.outline(examples.build("harbour_ungeared"), examples.case())
