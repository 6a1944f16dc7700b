"""Repeated climbs: against marching through every one of them, and the formulas for one body as a limit."""

import dataclasses

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from unikit.formulas import network
from unikit.inputs import replace
from unikit.studies import duties, heat, hold
from unikit.studies.motor import point

from . import examples

CLIMB = {"slope": 0.09, "speed": 2.8, "duration": 480.0, "air_temperature": 293.15}


def marched(build, case, between, pause, magnets, cycles):
    """Temperatures over climbs and pauses with losses at given magnets: ends of the climbs, and when a limit is first met."""
    gear = build.gears.named(build.gears.engaged)
    other = dataclasses.replace(case, speed=0.0, slope=0.0) if between == "rest" else dataclasses.replace(case, slope=-case.slope)
    parts, events = [], []
    for one, time, warm in ((case, case.duration, magnets[0]), (other, pause, magnets[1])):
        base = hold.ground(build, one, one.speed)
        split = point(build, one, gear, 293.15, warm)
        copper = 0.0 if one is other and between == "rest" else split.copper_loss
        parts.append((base, time, copper))
    base = parts[0][0]
    events = [lambda _, kelvin, one=one: kelvin[one.body] - one.temperature for one in base.limits]
    now, clock, first, ends, peaks = base.network.start, 0.0, np.inf, [], []
    for _ in range(cycles):
        for number, (ground, time, copper) in enumerate(parts):
            matrix, winding = network.balance(ground.network.conductance), ground.winding

            def rate(_, kelvin, ground=ground, matrix=matrix, copper=copper, winding=winding):
                losses = ground.network.losses.copy()
                losses[winding] += copper * (1 + 0.00393 * (kelvin[winding] - 293.15))
                return (losses - matrix @ (kelvin - ground.network.ambient)) / ground.network.capacity

            done = solve_ivp(rate, (0.0, time), now, method="DOP853", rtol=1e-9, atol=1e-8, events=events, max_step=time / 20)
            met = [one[0] for one in done.t_events if one.size]
            first = min(first, *(clock + one for one in met)) if met else first
            now, clock = done.y[:, -1], clock + time
            peaks.append(done.y.max(axis=1))
            if number == 0:
                ends.append(now)
    return np.array(ends), first, np.array(peaks)


@pytest.mark.parametrize("between", duties.BETWEEN)
@pytest.mark.parametrize("start", [None, 320.0])
def test_climbs_against_marching(between, start):
    build, case = examples.described(), examples.case(**(CLIMB | {"winding_start": start}))
    gear = build.gears.named("long")
    found = duties.study(build, case, between=between, pause=300.0)
    warm = duties.settled_magnets(build, case, gear, between, 300.0)
    ends, first, peaks = marched(build, case, between, 300.0, warm, 60)
    assert found.winding == pytest.approx(ends[:12, 0], abs=1e-4)
    assert found.magnets == pytest.approx(ends[:12, 2], abs=1e-4)
    assert found.winding_often == pytest.approx(ends[-1, 0], abs=1e-3)
    assert found.magnets_often == pytest.approx(peaks[-2:, 2].max(), abs=2e-2)  # the solver's own steps miss the very top
    assert found.magnets_often >= ends[-1, 2]
    assert found.climbs == np.inf and first == np.inf


@pytest.mark.parametrize("between", duties.BETWEEN)
@pytest.mark.parametrize("limit", ["derating", "magnets"])
def test_number_of_climbs_against_marching(between, limit):
    changes = {"controller__derating_start": "58 degC"} if limit == "derating" else {"motor__magnet_limit": "39 degC"}
    build, case = examples.described(motor__phase_resistance=0.25, **changes), examples.case(**(CLIMB | {"slope": 0.12}))
    found = duties.study(build, case, between=between)
    gear = build.gears.named("long")
    warm = duties.settled_magnets(build, case, gear, between, case.duration)
    _, first, _ = marched(build, case, between, case.duration, warm, 14)
    assert found.ended_by == limit
    assert found.ended_after == pytest.approx(first, abs=0.01)
    whole, left = divmod(first, 2 * case.duration)
    assert found.climbs == whole + (left > case.duration)
    assert 0 < found.climbs < 14


def test_what_one_body_says_comes_true_for_one_body():
    stiff = {"motor__winding_to_stator": 1000.0, "motor__stator_to_housing": 1000.0, "motor__magnet_temperature_coefficient": 0.0}
    # little iron loss and little growth of the copper's: the formulas know neither
    build = examples.strong(**stiff, motor__hysteresis_torque=0.0, motor__eddy_drag=0.0)
    case = examples.case(**(CLIMB | {"slope": 0.02, "winding_start": None}))
    found = duties.study(build, case, between="descent", pause=1e-3)
    assert found.winding_often == pytest.approx(found.winding_endless, abs=0.01)
    assert found.winding_often_alone == pytest.approx(found.winding_often, abs=0.1)
    found = duties.study(build, dataclasses.replace(case, duration=3600.0), between="rest", pause=600.0)
    rise, alone = found.winding_once - found.air, found.winding_once_alone - found.air
    assert alone == pytest.approx(rise, rel=0.02) and rise > 0.5


def test_one_body_is_too_kind_to_a_short_climb():
    build, case = examples.described(), examples.case(**(CLIMB | {"duration": 180.0}))
    found = duties.study(build, case)
    assert found.winding_once > found.winding_once_alone + 2.0
    assert found.winding_often > found.winding_often_alone
    assert found.torque_endless < found.torque_once < 0.8 * found.torque_once_alone


def test_the_way_down_is_no_rest():
    build, case = examples.described(), examples.case(**CLIMB)
    rest, down = (duties.study(build, case, between=between) for between in duties.BETWEEN)
    assert down.winding_often > rest.winding_often
    longer = duties.study(build, case, pause=3 * case.duration)
    assert longer.winding_often < rest.winding_often and longer.winding_once == rest.winding_once


def test_once_and_without_end_are_those_of_the_heat_study():
    build, case = examples.described(), examples.case(**(CLIMB | {"winding_start": None}))
    found = duties.study(build, case)
    assert found.winding_once == pytest.approx(heat.study(build, case).winding_end, abs=0.01)
    endless = heat.study(build, dataclasses.replace(case, duration=3e5), points=3)
    assert found.winding_endless == pytest.approx(endless.winding_end, abs=0.01)
    assert found.torque_endless == pytest.approx(endless.continuous_torque, rel=1e-6)


def test_a_cycle_that_runs_away_has_no_settled_temperature():
    build = examples.strong(motor__winding_to_stator=0.4, assist__driving_gain__long=3.0)
    found = duties.study(build, examples.case(**(CLIMB | {"slope": 0.3, "duration": 3600.0})), pause=60.0)
    assert found.winding_often == found.magnets_often == found.winding_often_alone == np.inf
    assert found.climbs == 0 and 0 < found.ended_after < 3600.0
    assert found.summary()["S3: winding after a climb, at last"] == "no limit"


def test_what_makes_no_sense_is_refused():
    build, case = examples.build(), examples.case(**CLIMB)
    with pytest.raises(ValueError, match="between must be one of 'rest', 'descent', got 'lunch'"):
        duties.study(build, case, between="lunch")
    with pytest.raises(ValueError, match="a climb must last more than 0 s"):
        duties.study(build, replace(case, {"duration": 0.0}))
    with pytest.raises(ValueError, match=r"has no motor"):
        duties.study(examples.build("harbour_ungeared"), case)
