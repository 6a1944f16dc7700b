"""A ride along a route against its own equations: energy, every loss by its own formula, the split of torque, packs, heat and legs."""

from dataclasses import replace as with_fields
from functools import cache

import numpy as np
import pytest
from made_routes import flat, hilly

from unikit.formulas import _journey as j
from unikit.formulas import air, heat, pedalling, road, sag
from unikit.inputs import load_cases, replace
from unikit.inputs.route import make_route
from unikit.studies import journey, riding
from unikit.studies.cells import pack_temperature
from unikit.studies.drive import drive
from unikit.studies.network import matrix, paths
from unikit.studies.split import torque_split

from .examples import ALL_PATHS, DATA, NAMES, build, case, described, strange

PLAIN_PACK = {
    f"packs.pack.{name}.{field}": None
    for name in ("left", "right", "rear")
    for field in ("curve_resistance", "activation_energy", "resistance_temperature")
}


def windy(**changes):
    return case(**({"speed": 4.5, "wanted_speed": 5.5, "wind_speed": 4.0, "wind_from": 2.0, "trim": "steps"} | changes))


WAYS = {
    "full at the top": {"state_of_charge": 1.0, "trim": "level"},
    "nearly empty": {"state_of_charge": 0.02},
    "empty": {"state_of_charge": 0.0},
    "hot": {"winding_start": 400.0},
    "old packs": {"capacity_left": 0.6, "resistance_growth": 2.5},
    "hard and slow": {"hard_power": 500.0, "lowest_cadence": 3.0},
    "gale": {"wind_speed": 20.0},
}


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.checks("independent")
def test_energy_closes_for_all_builds_and_cases(name):
    worst = 0.0
    cases = [one for one in load_cases(DATA / "cases") if one.wanted_speed > 1] + [windy(**changes) for changes in WAYS.values()]
    for number, one in enumerate(cases):
        found = journey.study(build(name), one, hilly(np.random.default_rng(number)), compiled=False)
        worst = max(worst, abs(found.open_share))
    assert worst < 1e-12


@pytest.mark.checks("independent")
def test_energy_closes_for_strange_builds_on_strange_ways():
    rng = np.random.default_rng(8)
    for _ in range(60):
        made = strange(rng)
        changes = rng.choice(
            [
                {},
                {"brake.kind": "none", "brake.greatest_torque": 0.0},
                {"motor.saturation_current": 40.0},
                {"controller.weakening_current": 30.0},
            ]
        )
        made = replace(made, changes | rng.choice([{}, ALL_PATHS]))
        asked = windy(**WAYS[rng.choice(list(WAYS))])
        found = journey.study(made, asked, hilly(rng, 120), compiled=False)
        assert abs(found.open_share) < 1e-12
        for field, value in vars(found).items():
            if isinstance(value, np.ndarray) and value.dtype == float:
                assert np.isfinite(value).all(), field


@cache
def waves(step=10.0):
    """Smooth hills."""
    distance = np.arange(0.0, 4000.0 + step / 2, step)
    heading = 1.5 * (distance[1:] + distance[:-1]) / 2000
    return make_route(
        "waves", "made for a test", distance, 120 + 6 * np.sin(distance / 130) + 1.5 * np.sin(distance / 47), heading=heading, shelter=0.7
    )


def again(made, asked, way):
    """The steps of a ride without stops worked out anew with the public formulas, from what the course says of their ends."""
    found = journey.study(made, asked, way, compiled=False)
    assert np.array_equal(found.distance, way.distance[1:]), "a way whose steps are not cut"
    assert (found.on_the_way == "ridden").all()
    before = lambda ends, start: np.concatenate([[start], ends[:-1]])
    gear = made.gears.named(made.gears.engaged)
    begin, end, length = before(found.speed, 0.0), found.speed, way.step
    speed, time = (begin + end) / 2, np.diff(found.elapsed, prepend=0.0)
    middle = (way.altitude[1:] + way.altitude[:-1]) / 2
    wind = road.relative_wind(speed, asked.wind_speed, asked.wind_from, way.heading)
    forces = {
        "rolling": way.surface * road.rolling_force(made.total_mass, made.wheel.rolling_coefficient, way.slope),
        "slope": road.slope_force(made.total_mass, way.slope),
        "air": road.drag_force(
            air.density_at(middle, asked.air_temperature), made.rider.drag_area, speed,
            way.shelter * wind.head_wind, way.shelter * wind.cross_wind,
        ),
        "bearing": road.bearing_force(speed, made.wheel.bearing_drag, made.wheel.bearing_drag_per_speed),
    }  # fmt: skip
    push = road.acceleration_force(made.total_mass, (end**2 - begin**2) / (2 * length), made.wheel_inertia, made.wheel.radius)
    wheel = made.wheel.radius * (sum(forces.values()) + push) + found.brake_torque
    start = asked.air_temperature if asked.winding_start is None else asked.winding_start
    charge, winding, magnets = before(found.charge, asked.state_of_charge), before(found.winding, start), before(found.magnets, start)
    lasting = drive(made, charge, winding, magnets, lasting=pack_temperature(asked))
    wanted = made.wheel.radius * road.slope_force(made.total_mass, way.slope)
    if asked.trim == "steps":
        wanted = made.assist.trim_step * np.round(wanted / made.assist.trim_step)
    trim = np.clip(wanted, -made.assist.trim_cap, made.assist.trim_cap) * (asked.trim != "none")
    limits = lasting.limits(speed / made.wheel.radius)
    at_once = drive(made, charge, winding, magnets)
    # sag by the formulas of packs, with the currents of the course
    pack = made.packs.pack[0]
    sagging = np.zeros(len(length))
    current = found.battery_power / at_once.open_circuit_voltage
    if pack.fast_resistance is not None and pack.curve_resistance is None:
        course = sag.course(
            [0.0, *found.elapsed], current, sum(one.capacity for one in made.packs.pack),
            0.0, pack.fast_resistance, pack.fast_time, pack.slow_resistance, pack.slow_time,
            pack.curve_charge, pack.curve_voltage, asked.state_of_charge,
        )  # fmt: skip
        assert found.charge == pytest.approx(course.state_of_charge, abs=1e-12)
        late = (pack.fast_resistance * course.fast_current + pack.slow_resistance * course.slow_current) * pack.series
        sagging = before(late / pack.parallel / len(made.packs.pack), 0.0)
    source = with_fields(lasting, open_circuit_voltage=at_once.open_circuit_voltage - sagging, pack_resistance=at_once.pack_resistance)
    split = torque_split(made, gear, speed, wheel, source, trim, limits)
    return found, forces, split, time, sagging, winding


FREE = {"assist.torque_cap": 200.0, "controller.phase_current_limit": 300.0, "controller.battery_current_limit": 200.0} | {
    f"packs.pack.{name}.{field}": value
    for name in ("left", "right", "rear")
    for field, value in (("lowest_cell_voltage", 0.5), ("charge_current_limit", 100.0))
}
SPLITS = {
    "spindle": {},
    "one crank": {"sensor.location": "one crank"},
    "floor of 1": {"rider.torque_floor": 1.0},
    "saturated": {"motor.saturation_current": 40.0},
    "strong assist": {"assist.driving_gain.long": 1.5, "assist.resisting_gain.long": 0.6},
}


@pytest.mark.parametrize("changes", SPLITS.values(), ids=SPLITS)
@pytest.mark.parametrize("trim", ["none", "steps", "level"])
@pytest.mark.checks("independent")
def test_every_step_is_the_split_of_torque_and_its_losses(changes, trim):
    made = replace(build(), PLAIN_PACK | FREE | changes)
    found, forces, split, time, sagging, _ = again(made, windy(trim=trim, state_of_charge=0.85), waves())
    assert found.pedal_torque == pytest.approx(split.pedal_torque, abs=1e-8)
    assert found.motor_torque == pytest.approx(split.motor_torque, abs=1e-8)
    assert found.trim == pytest.approx(split.trim, abs=1e-12)
    free = split.reserve < 60  # the ends themselves are compared elsewhere
    assert found.reserve[free] == pytest.approx(split.reserve[free], abs=0.3)
    for name, force in forces.items():
        assert getattr(found, name) == pytest.approx(np.sum(force * waves().step), rel=1e-11), name
    assert found.gear_loss == pytest.approx(np.sum(split.gear_loss * time), rel=1e-9)
    assert found.iron_loss == pytest.approx(np.sum(split.iron_loss * time), rel=1e-9)
    assert found.copper_loss == pytest.approx(np.sum(split.copper_loss * time), rel=1e-7)
    assert found.controller_loss == pytest.approx(np.sum((split.bridge_loss + split.standby) * time), rel=1e-7)
    assert found.pack_loss == pytest.approx(np.sum((split.pack_loss + sagging * split.battery_current) * time), rel=1e-6)
    given = (split.battery_power + sagging * split.battery_current) * time
    assert found.cells == pytest.approx(given.sum(), rel=1e-8)
    assert found.fed_back == pytest.approx(-given[given < 0].sum(), rel=1e-6)
    assert found.legs == pytest.approx(np.sum(np.maximum(split.leg_power, 0) * time), rel=1e-9)
    assert found.legs_held_back == pytest.approx(-np.sum(np.minimum(split.leg_power, 0) * time), rel=1e-8)


@pytest.mark.checks("independent")
def test_limited_steps_are_the_split_of_torque_within_the_error_of_the_limits():
    made = replace(
        build(), PLAIN_PACK | {"assist.driving_gain.long": 1.6, "assist.torque_cap": 26.0, "controller.charge_current_limit": 0.5}
    )
    found, _, split, _, _, _ = again(made, windy(state_of_charge=0.97, trim="level", winding_start=392.0), waves())
    assert found.cut > 300, "the limits are met"
    assert found.pedal_torque == pytest.approx(split.pedal_torque, abs=0.04 * 26)
    assert found.motor_torque == pytest.approx(split.motor_torque, abs=0.02 * 26)
    assert found.reserve == pytest.approx(split.reserve, abs=0.02 * 26)
    assert found.braking_reserve == pytest.approx(split.braking_reserve, abs=0.02 * 26)


@pytest.mark.checks("independent")
def test_the_cut_out_step_is_what_the_split_without_the_motor_asks_more():
    made = replace(build(), FREE)
    found, forces, split, _, _, _ = again(made, windy(trim="level"), waves())
    gear = made.gears.named("long")
    alone = torque_split(made, gear, split.speed, split.wheel_torque + split.motor_drag, None)
    assert found.cut_out_step == pytest.approx(alone.pedal_torque - split.pedal_torque, abs=1e-8)
    turned = np.sign(alone.pedal_torque) != np.sign(split.pedal_torque)
    assert turned.any(), "the trim drives more than the road asks, so that the legs hold back until the motor stops"


ENDS = {"motor.end_winding_area": 0.05, "motor.stator_to_axle": 0.35}


@pytest.mark.parametrize(
    ("made", "ring"), [(described(), True), (build(), False), (replace(build(), ENDS), False)], ids=["ring", "plain", "ends"]
)
@pytest.mark.checks("independent")
def test_temperatures_follow_the_network_step_by_step(made, ring):
    asked = windy(winding_start=330.0, sun=600.0)
    found, _, split, time, _, winding = again(made, asked, waves())
    bodies = 4 if ring else 3
    capacity = [made.motor.winding_capacity, made.motor.stator_capacity, made.motor.housing_capacity]
    if ring:
        capacity.insert(2, made.motor.magnet_capacity)
    conductance = matrix(made, paths(made, split.speed, asked.air_temperature))
    shine = heat.sunlit_power(asked.sun, made.motor.housing_diameter, made.motor.housing_width, made.motor.emissivity)
    now, course = np.full(bodies, 330.0), []
    for k in range(len(time)):
        losses = np.zeros(bodies)
        losses[0], losses[1], losses[-1] = split.copper_loss[k], split.iron_loss[k], shine
        now = heat.network_response(capacity, conductance[k], losses, asked.air_temperature, now, time[k], 0.0 * losses, 293.15)
        course.append(now)
    course = np.array(course)
    assert np.ptp(course[:, 0]) > 5
    assert found.winding == pytest.approx(course[:, 0], abs=0.03)
    assert found.magnets == pytest.approx(course[:, 2], abs=0.03)


@pytest.mark.checks("independent", "pedalling.work_left")
def test_work_above_critical_power_follows_the_closed_form():
    made, asked = build(), windy(hard_power=420.0, trim="none", wind_speed=0.0)
    found, _, split, time, _, _ = again(made, asked, waves())
    capacity, left = made.rider.work_capacity, made.rider.work_capacity
    for k, power in enumerate(np.maximum(split.leg_power, 0.0)):
        left = float(pedalling.work_left(time[k], power, made.rider.critical_power, capacity, left))
        assert found.work_left[k] * capacity == pytest.approx(left, rel=1e-7, abs=1e-3)
    assert found.least_work_left < 0.9


def ends(made, asked, charge, winding, magnets, rotation):
    """The march's own limits of torque in states of the drive."""
    rides = riding.prepare(made, asked, flat())
    p, steps, found = rides.parameters[0].tolist(), rides.route.tolist(), []
    tables = [one.tolist() for one in (rides.pack[0], rides.conductance[0], rides.high[0], rides.low[0], rides.points)]
    for one in zip(charge, winding, magnets, rotation, strict=True):
        state, here = [0.0] * j.STATE, [0.0] * j.HERE
        state[j.CHARGE_LEFT], state[j.WINDING], state[j.MAGNETS] = one[:3]
        j.step_here(p, steps, 0, tables, state, here)
        if here[j.ON]:
            j.limits_at(p, tables, one[3], here)
        found.append((here[j.TOP], here[j.BOTTOM]))
    return np.array(found).T


FAST = {"rider.comfortable_cadence": 14.0, "rider.greatest_cadence": 15.0, "gears.gear.long.ratio": 1.7}
DRIVES = {
    "commuter": (build(), case(), 0.005),
    "up to the voltage": (replace(build(), FAST | {"motor.torque_constant_peak": 1.6}), case(wanted_speed=9.0), 0.01),
    "saturated": (replace(build(), FAST | {"motor.saturation_current": 40.0}), case(wanted_speed=9.0), 0.01),
    "measured, with weakening": (build("harbour_measured"), case(), 0.005),
    "weakened far beyond the voltage": (
        replace(build(), FAST | {"motor.torque_constant_peak": 1.6, "controller.weakening_current": 20.0}), case(wanted_speed=9.0), 0.09,
    ),
    "brakes harder than it drives, at the voltage": (
        replace(build(), FAST | {"motor.torque_constant_peak": 1.6, "controller.battery_current_limit": 2.0}), case(wanted_speed=9.0), 0.01,
    ),
    "cold and old": (build(), case(air_temperature=258.0, resistance_growth=2.0), 0.01),
}  # fmt: skip


@pytest.mark.parametrize(("made", "asked", "share"), DRIVES.values(), ids=DRIVES)
@pytest.mark.checks("independent")
def test_limits_of_the_march_are_those_of_the_drive(made, asked, share):
    """As a share of the greatest limit, all but a hundredth of random states: braking ends in a jump where no more can be fed back."""
    rng = np.random.default_rng(2)
    count = 600
    p = riding.prepare(made, asked, flat()).parameters[0]
    charge = rng.choice([rng.uniform(0.01, 0.1, count), rng.uniform(0.1, 1.0, count), rng.uniform(0.95, 1.0, count)])
    charge = np.where(
        rng.random(count) < 0.3, rng.uniform(0.01, 0.1, count), np.where(rng.random(count) < 0.5, charge, rng.uniform(0.9, 1, count))
    )
    winding, magnets = rng.uniform(260, p[j.DERATING_END], count), rng.uniform(260, made.motor.magnet_limit, count)
    rotation = rng.uniform(0, asked.wanted_speed / made.wheel.radius, count)
    high, low = ends(made, asked, charge, winding, magnets, rotation)
    limits = drive(riding.aged(made, asked), charge, winding, magnets, lasting=pack_temperature(asked)).limits(rotation)
    assert np.quantile(np.abs(high - limits.highest), 0.99) < share * limits.highest.max()
    assert np.quantile(np.abs(low - limits.lowest), 0.99) < share * -limits.lowest.min()
