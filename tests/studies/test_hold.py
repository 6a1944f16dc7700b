"""How long a load is held: against marching with the magnets inside, one body, and the steady state."""

import dataclasses

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from unikit.formulas import duty, network
from unikit.inputs import replace
from unikit.studies import heat, hold, pulse
from unikit.studies.motor import point

from . import examples

COLD = {"slope": 0.06, "speed": 3.0, "air_temperature": 295.15, "winding_start": None, "trim": "steps"}
SPEEDS = np.array([0.4, 2.0, 5.0])[:, None]
TIMES = np.array([90.0, 600.0, 3600.0, np.inf])


def builds():
    """The chain, the network with ring, gap and end space, and one whose magnets come first."""
    return {
        "chain": examples.strong(),
        "ring": examples.described(),
        "magnets": examples.described(motor__magnet_limit="60 degC"),
    }


BUILDS = builds()
STARTS = (None, 330.0)


def first_limit(build, case, slope_torque):
    """Time until the first limit, marched with the magnets inside: they weaken from moment to moment, and the loss grows with that."""
    base = hold.ground(build, case, case.speed)
    now = base.network
    matrix, split = network.balance(now.conductance), slope_torque

    def rate(_, kelvin):
        weak = 1 + build.motor.magnet_temperature_coefficient * (kelvin[base.magnets] - 298.15)
        weak /= 1 + build.motor.magnet_temperature_coefficient * (293.15 - 298.15)
        heat_in = now.losses.copy()
        heat_in[now.place[1]] = split.iron_loss
        heat_in[base.winding] = split.copper_loss / weak**2 * (1 + 0.00393 * (kelvin[base.winding] - 293.15))
        return (heat_in - matrix @ (kelvin - now.ambient)) / now.capacity

    events = [lambda _, kelvin, one=one: kelvin[one.body] - one.temperature for one in base.limits]
    for event in events:
        event.terminal, event.direction = True, 1
    done = solve_ivp(rate, (0.0, 3e5), now.start, method="LSODA", rtol=1e-10, atol=1e-9, events=events)
    ended = [number for number, times in enumerate(done.t_events) if times.size]
    return (done.t[-1] if ended else np.inf), (base.limits[ended[0]].name if ended else "none"), done.y[base.magnets, -1]


@pytest.mark.parametrize("start", STARTS)
@pytest.mark.parametrize("name", BUILDS)
def test_points_of_the_map_against_marching(name, start):
    """The magnets' mean is good to the first order in their weakening; the rest of the model is exact."""
    build, rng = BUILDS[name], np.random.default_rng(5)
    case = examples.case(**(COLD | {"winding_start": start}))
    gear = build.gears.named("long")
    speed, slope = rng.uniform(0.5, 6.0, 5), rng.uniform(0.08, 0.3, 5)
    found = hold.hold(build, case, speed, slope, gear)
    rigid = replace(build, {"motor.magnet_temperature_coefficient": 0.0})
    same = hold.hold(rigid, case, speed, slope, gear)
    for number in range(5):
        one = dataclasses.replace(case, speed=speed[number], slope=slope[number])
        time, ended_by, magnets = first_limit(build, one, point(build, one, gear))
        assert found.time[number] == pytest.approx(time, rel=8e-3)
        assert found.ended_by[number] == ended_by
        assert found.magnets[number] == pytest.approx(magnets, abs=0.7)
        assert same.time[number] == pytest.approx(first_limit(rigid, one, point(rigid, one, gear))[0], rel=2e-6)
    assert np.isfinite(found.time).any()


def test_the_cause_changes_with_the_magnets():
    case = examples.case(**COLD)
    causes = {name: set(hold.hold_torque(build, case, np.array([25.0, 60.0]), SPEEDS).ended_by.ravel()) for name, build in BUILDS.items()}
    assert causes["ring"] <= {"derating", "none"} and "magnets" in causes["magnets"]
    bold = replace(BUILDS["ring"], {"controller.derating_start": "160 degC", "controller.derating_end": "180 degC"})
    assert "winding" in hold.hold_torque(bold, case, 60.0, SPEEDS).ended_by


@pytest.mark.parametrize("start", STARTS)
@pytest.mark.parametrize("name", BUILDS)
def test_what_a_time_allows_is_held_just_that_long(name, start):
    build, case = BUILDS[name], examples.case(**(COLD | {"winding_start": start}))
    base = hold.ground(build, case, SPEEDS)
    found = hold.allowed(base, TIMES)
    assert found.copper.shape == (3, 4) and (np.diff(found.copper, axis=1) < 0).all()
    torque = pulse.torque(build, found.copper, found.magnets)
    again = hold.hold_torque(build, case, torque[:, :3], SPEEDS)
    assert again.time == pytest.approx(np.broadcast_to(TIMES[:3], (3, 3)), rel=1e-6)
    just = hold.hold_torque(build, case, torque[:, 3:] * np.array([1 - 1e-6, 1 + 1e-6]), SPEEDS)
    assert np.isinf(just.time[:, 0]).all() and np.isfinite(just.time[:, 1]).all()


@pytest.mark.parametrize("name", BUILDS)
def test_for_ever_is_the_continuous_torque_of_the_heat_study(name):
    build, case = BUILDS[name], examples.case(**COLD)
    gear, base = build.gears.named("long"), hold.ground(build, case, SPEEDS)
    found = hold.allowed(base, np.inf)
    torque = pulse.torque(build, found.copper, found.magnets)
    for number, speed in enumerate(SPEEDS[:, 0]):
        now = heat.network(build, dataclasses.replace(case, speed=float(speed)), gear)
        expected = heat.continuous_torque(build, now, base.limits[0].temperature, build.motor.magnet_limit)
        assert torque[number, 0] == pytest.approx(float(expected), rel=1e-9)


def test_the_boundary_of_for_ever_by_an_equation_of_its_own():
    """Root of the settled winding over torque, magnets and copper at the temperatures they settle at."""
    build, case, speed = BUILDS["ring"], examples.case(**COLD), 3.0
    machine, base = build.motor, hold.ground(build, case, speed)
    now = base.network
    matrix = network.balance(now.conductance)
    angle = np.linspace(0, np.pi, 20_001)
    push = build.rider.torque_floor + (1 - build.rider.torque_floor) * np.sin(angle)
    swing = np.mean((push**2)[:-1]) / np.mean(push[:-1]) ** 2
    limit = min(145.0 + 273.15, build.controller.derating_start)

    def winding(torque):
        temperature = np.full(4, now.ambient)
        for _ in range(200):
            constant = machine.torque_constant_peak * (1 + machine.magnet_temperature_coefficient * (temperature[2] - 298.15))
            resistance = machine.phase_resistance * (1 + 0.00393 * (temperature[0] - 293.15)) / (1 + 0.00393 * 5)
            losses = now.losses.copy()
            losses[0] = 1.5 * resistance * swing * (torque / constant) ** 2
            temperature = now.ambient + np.linalg.solve(matrix, losses)
        return temperature[0]

    found = hold.allowed(base, np.inf)
    torque = pulse.torque(build, found.copper, found.magnets)
    assert torque == pytest.approx(brentq(lambda value: winding(value) - limit, 5.0, 60.0, xtol=1e-10), rel=1e-6)


def test_one_body_is_the_formula_for_short_time():
    """Everything joined as if of one piece, all loss in the copper, no growth and no weakening: Dubey's factor."""
    stiff = {"motor.winding_to_stator": 1000.0, "motor.stator_to_housing": 1000.0, "motor.magnet_temperature_coefficient": 0.0}
    iron = {"motor.hysteresis_torque": 0.0, "motor.eddy_drag": 0.0}
    build, case = replace(examples.strong(), stiff | iron), examples.case(**COLD)
    base = hold.ground(build, case, 3.0)
    time = np.array([1200.0, 3600.0, 20000.0])
    found = hold.allowed(base, np.append(time, np.inf))
    constant = base.network.capacity.sum() / base.network.conductance[-1, -1]
    # without growth the loss is that at the limit all the time: the formula knows no other
    grown = np.sqrt(found.copper[:3] / found.copper[3])
    factor = duty.short_time_factor(time, constant)
    assert (grown > factor).all()  # copper that is still cold heats less
    assert grown == pytest.approx(factor, rel=0.12)
    assert grown[2] / factor[2] == pytest.approx(1.0, abs=0.01)


def test_a_motor_that_was_warmer_on_the_way_is_not_missed():
    """Start just below derating: the winding runs ahead at once and comes down while the housing cools."""
    build = BUILDS["ring"]
    start = build.controller.derating_start - 3.0
    case = examples.case(**(COLD | {"winding_start": start}))
    base = hold.ground(replace(build, {"motor.magnet_limit": "140 degC"}), case, SPEEDS)
    found = hold.allowed(base, TIMES)
    before, after = (base.reached(found.copper * factor)[0] for factor in (1 - 1e-5, 1 + 1e-5))
    assert (before >= TIMES * (1 - 1e-3)).all() and (after <= TIMES).all()
    simple = hold.allowed(hold.resting(base), TIMES)
    assert (found.copper[:, 0] < 0.5 * simple.copper[:, 0]).all()
    assert found.copper[:, 1:] == pytest.approx(np.broadcast_to(found.copper[:, 1:2], (3, 3)), rel=0.2)  # the first minutes decide


def test_a_start_above_a_limit_allows_nothing():
    case = examples.case(**(COLD | {"winding_start": 400.0}))
    base = hold.ground(BUILDS["ring"], case, SPEEDS)
    assert (hold.allowed(base, TIMES).copper == 0).all()
    assert hold.hold(BUILDS["ring"], case).time == 0.0


def test_hot_air_and_sun_take_from_the_torque():
    build, case = BUILDS["ring"], examples.case(**COLD)

    def torque(**changes):
        base = hold.ground(build, examples.case(**(COLD | changes)), SPEEDS)
        found = hold.allowed(base, np.inf)
        return pulse.torque(build, found.copper, found.magnets)

    plain, hot, sunny = torque(), torque(air_temperature=case.air_temperature + 15.0), torque(sun=900.0)
    assert (hot < plain).all() and (sunny < plain).all()
    # sunshine is a loss in the housing: as many kelvin as it would heat a motor that stands without load
    base = hold.ground(build, examples.case(**(COLD | {"sun": 900.0})), SPEEDS)
    rest, _ = base.settled
    warmer = torque(air_temperature=case.air_temperature + float(rest[1, 0, base.winding] - case.air_temperature))
    assert sunny[1] == pytest.approx(warmer[1], rel=0.05)


def test_a_build_without_motor_is_refused_in_one_sentence():
    with pytest.raises(ValueError, match=r"build 'Harbour ungeared' has no motor: the climbs study needs one"):
        hold.hold(examples.build("harbour_ungeared"), examples.case())
