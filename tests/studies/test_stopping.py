"""Stopping: constant deceleration, energy, simulation, the nonlinear motion, and what ends it."""

import dataclasses

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from unikit.formulas import balance
from unikit.inputs import replace
from unikit.studies import loop, stopping
from unikit.studies.loads import loads

from . import examples

WIDE = stopping.Bounds(lean=np.radians(40.0), friction=2.0, recover=0.0)
STILL = {
    "rider.drag_area": 0.02,
    "wheel.rolling_coefficient": 0.001,
    "wheel.bearing_drag": 0.0,
    "wheel.bearing_drag_per_speed": 0.0,
}


def fast(**changes):
    return examples.case(speed=5.0, trim="none", **changes)


def inertia(build):
    return build.total_mass + build.wheel_inertia / build.wheel.radius**2


def test_constant_deceleration_is_speed_squared_over_twice_it():
    """With next to no air and tyre, grip alone ends the stop at a constant rate."""
    build = replace(examples.build("harbour_ungeared"), STILL | {"brake.greatest_torque": 500.0})
    found = stopping.study(build, fast(air_temperature=293.15), bounds=stopping.Bounds(np.radians(40.0), 0.2, 0.0))
    way = found.ways["legs and brake"]
    assert way.at(5.0)[3] == "grip of the tyre"
    rate = 0.2 * 9.81
    assert found.brake_distance == pytest.approx(25.0 / (2 * rate), rel=5e-3)
    assert found.brake_time == pytest.approx(5.0 / rate, rel=5e-3)


@pytest.mark.parametrize("slope", [-0.04, 0.0, 0.05])
@pytest.mark.parametrize("name", ["legs", "legs and motor", "packs full", "legs and brake"])
def test_distance_and_time_by_simulation(slope, name):
    build, case = examples.build(), fast(slope=slope, head_wind=1.0)
    way = stopping.study(build, case).ways[name]
    rate = lambda speed: np.interp(speed, way.speed, way.deceleration)
    stop = lambda time, state: state[1] - 1e-3
    stop.terminal = True
    ran = solve_ivp(lambda time, state: [state[1], -rate(state[1])], (0, 60), [0.0, 5.0], events=stop, rtol=1e-8, max_step=0.02)
    distance, time, *_ = way.at(5.0)
    assert distance == pytest.approx(ran.y[0, -1], rel=4e-3)
    assert time == pytest.approx(ran.t[-1], rel=4e-3)


@pytest.mark.parametrize("name", ["legs", "legs and motor", "legs and brake"])
def test_what_all_means_take_is_the_energy_of_motion_and_height_less_air_and_tyre(name):
    build, case = examples.build(), fast(slope=-0.03)
    way = stopping.study(build, case, points=1201).ways[name]
    rows = way.speed <= case.speed
    speed, torque, distance = way.speed[rows], way.wheel_torque[rows], way.distance[rows]
    steps, middle = np.diff(distance), lambda values: (values[1:] + values[:-1]) / 2
    braked = -np.sum(middle(torque) / build.wheel.radius * steps)
    force = loads(build, case, speed=speed)
    lost = np.sum(middle(force.rolling + force.air + force.bearing) * steps)
    fallen = build.total_mass * 9.81 * np.sin(np.arctan(0.03)) * distance[-1]
    assert braked + lost == pytest.approx(0.5 * inertia(build) * case.speed**2 + fallen, rel=2e-4)


def test_lean_and_torque_are_those_of_a_machine_that_neither_rises_nor_falls():
    build = replace(examples.build(), {"wheel.bearing_drag": 0.0, "wheel.bearing_drag_per_speed": 0.0})
    case = fast(slope=-0.02)
    full = loop.completed(build)
    for way in stopping.study(build, case).ways.values():
        moved = balance.motion(way.lean, 0.0, way.wheel_torque, **loop.body(full), **loop.road(full, case, speed=way.speed))
        assert np.abs(moved.lean_acceleration).max() < 1e-8
        assert moved.acceleration == pytest.approx(-way.deceleration, abs=1e-8)
        assert np.degrees(way.lean).min() > -10.0 - 1e-6


def test_the_legs_alone_by_hand():
    build = replace(examples.build(), {"motor.hysteresis_torque": 0.0, "motor.eddy_drag": 0.0})
    case = fast()
    found = stopping.study(build, case, bounds=WIDE)
    gear, radius = build.gears.named("long"), build.wheel.radius
    scale = 131 / 143
    cadence = 5.0 / radius / gear.ratio
    legs = 0.7 * 95.0 * scale * (1 - cadence / (229 * np.pi / 30 / scale))
    assert found.leg_torque == pytest.approx(legs, rel=1e-9) and found.reserve == 0
    row = int(np.searchsorted(found.speed, 5.0))
    rate = (legs / gear.efficiency / gear.ratio / radius + loads(build, case).force) / inertia(build)
    assert found.ways["legs"].deceleration[row] == pytest.approx(rate, rel=1e-9)
    assert found.legs_by == "legs"


def test_recovery_keeps_back_what_the_late_legs_need_for_a_degree():
    build, case = examples.build(), fast()
    full = loop.completed(build)
    found = stopping.study(build, case)
    rate = balance.toppling_rate(**loop.body(full))
    late = np.exp(rate * full.rider.reaction_delay) * (1 + rate * full.rider.muscle_lag)
    gear = build.gears.named("long")
    wheel = balance.static_stiffness(**loop.body(full)) * np.pi / 180
    assert found.reserve == pytest.approx(wheel * late * gear.efficiency * gear.ratio, rel=1e-9)
    keen = stopping.study(build, case, bounds=stopping.Bounds(recover=0.0))
    assert keen.legs_distance < found.legs_distance


def test_each_limit_ends_it_when_it_is_the_narrowest():
    build, case = examples.build(), fast()
    lean = stopping.study(build, case, bounds=stopping.Bounds(lean=np.radians(2.0)))
    assert {lean.legs_by, lean.motor_by, lean.brake_by} == {"lean back"} and lean.legs_distance == pytest.approx(lean.balance_distance)
    icy = stopping.study(build, case, bounds=stopping.Bounds(friction=0.02))
    assert icy.brake_by == "grip of the tyre"
    weak = stopping.study(replace(build, {"brake.greatest_torque": 2.0}), case)
    assert weak.brake_by == "legs and brake"
    full = stopping.study(build, examples.case(speed=5.0, state_of_charge=1.0))
    assert full.motor_by == full.full_by == "full pack" and full.motor_distance == full.full_distance
    little = stopping.study(replace(build, {"controller.charge_current_limit": 0.5}), case)
    assert little.motor_by == "charge current"
    capped = stopping.study(replace(build, {"assist.torque_cap": 3.0}), case)
    assert capped.motor_by == "torque cap"


def test_more_of_anything_that_brakes_stops_sooner():
    build, case = examples.build(), fast(slope=-0.03)
    now = stopping.study(build, case)
    assert now.brake_distance <= now.motor_distance <= now.full_distance <= now.legs_distance
    uphill = stopping.study(build, fast(slope=0.03))
    assert uphill.legs_distance < now.legs_distance
    more = replace(build, {"assist.resisting_gain.long": 0.5})
    assert stopping.study(more, case).motor_distance < now.motor_distance
    assert np.all(np.diff(now.distance_over_legs) > 0)
    assert np.all(now.distance_most_lean <= now.distance_over_balance) and np.all(now.distance_over_balance <= now.distance_least_lean)


def test_on_a_descent_too_steep_for_the_legs_there_is_no_stop():
    found = stopping.study(examples.build(), fast(slope=-0.2))
    assert found.legs_distance == np.inf and found.legs_by == "too little torque"
    assert found.summary()["distance by legs alone"] == "no limit"


def test_builds_without_motor_packs_or_brake():
    bare = stopping.study(examples.build("harbour_ungeared"), fast())
    assert bare.motor_distance is None and bare.motor_by == "the build has none" and bare.distance_over_full is None
    assert "from [km/h]" in bare.table()
    bench = stopping.study(examples.build("classroom_demonstrator"), examples.case(speed=2.0))
    assert bench.brake_distance is None and bench.motor_distance > 0
    assert set(bench.ways) == {"legs", "legs and motor", "packs full"}


def test_a_motor_without_assist_only_drags():
    bare = dataclasses.replace(examples.build(), assist=None)
    assert set(stopping.study(bare, fast()).ways) == {"legs", "legs and brake"}


def test_what_is_assumed_is_named_and_what_is_measured_is_not():
    assert stopping.study(examples.build(), fast()).assumed == "lean back, grip, recovery, reaction delay, muscle lag, drag height"
    measured = replace(examples.build(), {"rider.reaction_delay": 0.12, "rider.muscle_lag": 0.04, "rider.drag_height": 0.9})
    assert stopping.study(measured, fast()).assumed == "lean back, grip, recovery"


def test_from_standstill_there_is_nothing_to_stop():
    found = stopping.study(examples.build(), examples.case(speed=0.0))
    assert found.legs_distance == found.brake_time == found.energy == 0


def test_a_case_faster_than_the_legs_is_still_answered():
    found = stopping.study(examples.build(), examples.case(speed=15.0))
    assert found.speed[-1] > 15.0 and np.isfinite(found.brake_distance) and found.leg_torque == 0


@pytest.mark.parametrize(
    ("bounds", "words"),
    [
        (stopping.Bounds(lean=0.0), "lean must be above 0 and below 45 degrees, got 0 degrees"),
        (stopping.Bounds(lean=1.0), "got 57.3 degrees"),
        (stopping.Bounds(friction=0.0), "friction must be above 0"),
        (stopping.Bounds(recover=-0.1), "recover must be 0 or above"),
    ],
)
def test_bounds_that_nobody_has_are_named(bounds, words):
    with pytest.raises(ValueError, match=words):
        stopping.study(examples.build(), fast(), bounds=bounds)
