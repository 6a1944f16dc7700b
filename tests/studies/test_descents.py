"""Descents: energy that closes, published energies of a height, the march by integration in time, limits by hand, full packs."""

import dataclasses

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from unikit.formulas.road import GRAVITY
from unikit.inputs import replace
from unikit.studies import descending, descents, leverage, reach, stopping
from unikit.studies.cells import Stack, pack_temperature
from unikit.studies.drive import drive
from unikit.studies.legs import greatest_torque
from unikit.studies.loads import loads, trim_torque
from unikit.studies.split import torque_split

from . import examples


def down(percent=4.5, **changes):
    return examples.case(**({"speed": 3.8, "slope": -percent / 100, "distance": 2500.0, "state_of_charge": 0.95} | changes))


def total(found):
    return sum(getattr(found, name) for name in descents.SHARES)


@pytest.mark.parametrize("trim", ["none", "steps", "level"])
@pytest.mark.parametrize("percent", [0.5, 2.0, 4.5, 9.0, 14.0])
@pytest.mark.parametrize("charge", [0.4, 0.93, 0.985, 1.0])
def test_energy_closes(trim, percent, charge):
    """Every loss by its own formula; what is stored is charge times voltage, and the march is not told of the balance."""
    found = descents.study(examples.build(), down(percent, trim=trim, state_of_charge=charge))
    assert total(found) == pytest.approx(found.height, rel=1e-6) and abs(found.unaccounted) < 1e-6


@pytest.mark.parametrize("name", ["harbour_commuter", "harbour_measured", "classroom_demonstrator"])
@pytest.mark.parametrize("charge", [0.8, 0.97])
def test_what_is_stored_is_the_energy_between_two_charges_of_the_cells(name, charge):
    build, case = examples.build(name), down(6.0, trim="level", state_of_charge=charge, speed=2.2)
    found = descents.study(build, case)
    gains = found.end_charge > charge
    assert gains == (name != "classroom_demonstrator")  # the small motor burns it all in its copper, and more
    low, high = sorted((charge, found.end_charge))
    stored = Stack(build.packs, pack_temperature(case)).energy(low, high)
    assert found.stored == pytest.approx(stored if gains else -stored, rel=1e-6)


def test_packs_in_series_and_worn_packs():
    build = replace(examples.build("harbour_commuter"), {"packs.joined": "series", "controller.voltage_rating": 200.0})
    case = down(6.0, trim="level", state_of_charge=0.9)
    found = descents.study(build, case)
    assert found.stored == pytest.approx(Stack(build.packs, pack_temperature(case)).energy(0.9, found.end_charge), rel=1e-6)
    lower, small = dataclasses.replace(case, state_of_charge=0.5), replace(build, {"packs.pack.rear.cell_capacity": 0.5 * 2.05 * 3600})
    gain, smaller = (descents.study(one, lower).end_charge - 0.5 for one in (build, small))
    assert smaller == pytest.approx(2 * gain, rel=0.02), "in series the smallest counts"
    plain = descents.study(examples.build(), case)
    assert descents.study(examples.build(), dataclasses.replace(case, capacity_left=1.0, resistance_growth=1.0)).stored == pytest.approx(
        plain.stored, rel=1e-12
    )
    case = dataclasses.replace(case, state_of_charge=0.6)
    plain = descents.study(examples.build(), case)
    worn = descents.study(examples.build(), dataclasses.replace(case, capacity_left=0.7, resistance_growth=2.0))
    gained = lambda one: one.end_charge - 0.6
    assert gained(worn) == pytest.approx(gained(plain) / 0.7, rel=0.03) and worn.pack_loss > 1.9 * plain.pack_loss
    assert worn.charge_as_asked < plain.charge_as_asked


def test_power_of_the_brake_is_its_energy_over_the_time():
    """From full packs nothing changes on the way down: brake and feet stay as they are at the top."""
    case = down(6.0, slope=-0.14, state_of_charge=1.0)
    found = descents.study(examples.build(), case)
    assert found.brake_power > 100 and found.full_brake == pytest.approx(found.brake_power)
    assert found.brake == pytest.approx(found.brake_power * found.duration, rel=1e-6)
    assert found.brake_power == pytest.approx(found.brake_greatest * case.speed / examples.build().wheel.radius)
    assert found.full_foot == found.foot_start == found.foot_end


@pytest.mark.parametrize("trim", ["none", "level"])
def test_power_into_the_cells_adds_up_to_what_is_stored(trim):
    found = descents.study(examples.build(), down(6.0, trim=trim), points=201)
    assert np.trapezoid(found.cells_over, found.distance / found.speed) == pytest.approx(found.stored, rel=5e-3)
    assert found.charging == found.cells_over.max() > 0


def with_mass(mass, **changes):
    build = examples.strong(**changes)
    return replace(build, {"rider.mass": build.rider.mass + mass - build.total_mass})


@pytest.mark.parametrize(
    ("mass", "drop", "share", "printed", "tolerance"),
    # m g h and m g h eta in watt-hours (definition)
    [(100.0, 100.0, 1.0, 27.25, 0.01), (95.0, 150.0, 0.6, 23.298, 0.005)],
)
def test_energy_of_the_height(mass, drop, share, printed, tolerance):
    slope = -0.05
    case = down(5.0, distance=drop / np.sin(np.arctan(-slope)), trim="level", state_of_charge=0.3)
    found = descents.study(with_mass(mass, assist__trim_cap=60.0), case)
    assert found.drop == pytest.approx(drop, rel=1e-12)
    assert share * found.height / 3600 == pytest.approx(printed, abs=tolerance)
    kept = found.height - found.rolling - found.air - found.bearing - found.iron_loss - found.legs
    assert 0 < found.stored < kept  # no more than what reaches the motor's magnets


def test_a_lossless_motor_stores_all_that_road_and_air_leave():
    """A bound by hand: with a gear that the trim leaves idle and next to no resistance, stored is height less road, air and standby."""
    build = with_mass(
        95.0,
        assist__trim_cap=60.0,
        motor__phase_resistance=6e-4,
        motor__hysteresis_torque=0.0,
        motor__eddy_drag=0.0,
        controller__bridge_resistance=0.0,
    )
    case = down(5.0, trim="level", state_of_charge=0.3)
    found = descents.study(build, case)
    force = loads(build, case)
    legs = torque_split(build, build.gears.named("long"), case.speed, force.wheel_torque, drive(build, 0.3), trim_torque(build, case))
    left = found.height - found.rolling - found.air - found.bearing - found.legs - found.gear_loss
    standby = build.controller.standby_power * found.duration
    assert found.legs == pytest.approx(-legs.leg_power * found.duration, rel=1e-3)
    assert 0.985 * (left - standby) < found.stored < left - standby  # the cells' slow resistances are left


@pytest.mark.parametrize(("trim", "charge"), [("level", 0.95), ("none", 0.985), ("level", 0.99), ("none", 0.6)])
def test_the_march_by_integration_in_time(trim, charge):
    build, case = examples.build(), down(5.0, trim=trim, state_of_charge=charge, distance=3000.0)
    found, gear = descents.study(build, case), build.gears.named("long")
    capacity = sum(one.capacity for one in build.packs.pack)
    road = descending.Road(build, case, gear)

    def rates(time, state):
        held = road.holding(float(min(state[0], 1.0)))
        return [-held.split.battery_current / capacity, -held.split.leg_power, held.split.copper_loss, held.brake * held.rotation]

    ran = solve_ivp(rates, (0, case.distance / case.speed), [charge, 0.0, 0.0, 0.0], rtol=1e-8, atol=1e-9, max_step=20.0)
    end, legs, copper, brake = ran.y[:, -1]
    assert found.end_charge == pytest.approx(end, abs=2e-6)
    assert found.legs == pytest.approx(legs, rel=1e-4, abs=0.5) and found.copper_loss == pytest.approx(copper, rel=1e-4)
    assert found.brake == pytest.approx(brake, rel=1e-3, abs=0.1)
    assert found.charge[-1] == found.end_charge and np.all(np.diff(found.charge) > 0)


def test_below_every_limit_the_charge_rises_by_current_over_capacity():
    build, case = examples.build(), down(4.0, state_of_charge=0.5)
    found = descents.study(build, case)
    state = drive(build, 0.5, case.air_temperature, case.air_temperature, lasting=case.air_temperature)
    split = torque_split(build, build.gears.named("long"), case.speed, loads(build, case).wheel_torque, state)
    hours = case.distance / case.speed / 3600
    assert found.end_charge - 0.5 == pytest.approx(-split.battery_current * hours / (3 * 2.05), rel=2e-3)
    assert found.foot_start == pytest.approx(split.pedal_torque / build.cranks.length, rel=1e-12)
    assert found.motor_by == "as asked" and found.legs_held == "held"


def test_the_motor_brakes_as_asked_up_to_the_charge_that_is_told():
    build, case = examples.build(), down(5.0, trim="level", state_of_charge=0.9)
    found = descents.study(build, case)
    below, above = (
        descents.study(build, dataclasses.replace(case, state_of_charge=found.charge_as_asked + step)) for step in (-1e-4, 1e-4)
    )
    assert below.motor_start == pytest.approx(found.motor_start, rel=1e-3)
    assert below.way_as_asked > 0 and above.way_as_asked == 0
    assert above.motor_start > below.motor_start and above.motor_by == "full pack" == found.as_asked_by
    # the cells at full voltage: what is fed back is (full - rest) over the resistance
    state = drive(build, found.charge_as_asked, case.air_temperature, case.air_temperature, lasting=case.air_temperature)
    fed = (13 * 4.18 - state.open_circuit_voltage) / state.pack_resistance
    hardest = descending.Road(build, case, build.gears.named("long")).wanted
    point = state.point(hardest, case.speed / build.wheel.radius)
    assert point.battery_current == pytest.approx(-fed, rel=2e-3)


def test_charge_to_leave_out_is_just_enough():
    build, case = examples.build(), down(5.0, trim="level", state_of_charge=0.9)
    leave = descents.charge_to_leave(build, case, 120.0)
    length = 120.0 / np.sin(np.arctan(0.05))
    exact = dataclasses.replace(case, state_of_charge=1 - leave, distance=length)
    found = descents.study(build, exact)
    assert found.way_as_asked == pytest.approx(length, rel=1e-6) and found.end_charge == pytest.approx(found.charge_as_asked, abs=1e-7)
    assert found.charge_to_leave == pytest.approx(leave, abs=1e-9)
    assert descents.charge_to_leave(build, case, 240.0) > leave
    assert np.isnan(descents.charge_to_leave(build, case, 5000.0))  # no charge is low enough
    with pytest.raises(ValueError, match="drop must be above 0"):
        descents.charge_to_leave(build, case, 0.0)


def test_full_packs_take_the_motors_brake_away():
    build, case = examples.build(), down(5.0, trim="level", state_of_charge=1.0)
    found = descents.study(build, case)
    assert found.way_as_asked == 0 and found.stored == 0 and found.end_charge == 1.0
    assert found.motor_start == found.full_motor == found.motor_end
    # what is left is what copper, bridge and standby burn
    burnt = -found.full_motor * case.speed / build.wheel.radius * found.duration
    assert burnt == pytest.approx(found.copper_loss + found.electronics + found.pack_loss, rel=1e-6)
    assert found.foot_alone < found.full_foot < descents.study(build, dataclasses.replace(case, state_of_charge=0.8)).foot_start
    alone = leverage.cut_out(build, build.gears.named("long"), case).pedal_torque
    assert found.foot_alone == pytest.approx(alone / build.cranks.length, rel=1e-12)
    rows = descents.tops(build, case)
    assert np.all(np.diff(rows.stored[:6]) > 0) and np.all(np.diff(rows.legs[:6]) < 0) and np.all(np.diff(rows.way_as_asked[:6]) >= 0)
    assert rows.stored[0] == found.stored and rows.legs[0] == pytest.approx(found.legs, rel=1e-12)


def test_what_else_holds_the_motor_back_is_named():
    case = down(7.0, trim="level", state_of_charge=0.5)
    choked = descents.study(replace(examples.build(), {"controller.charge_current_limit": 0.5}), case)
    assert np.isnan(choked.charge_as_asked) and choked.as_asked_by == choked.motor_by == "charge current"
    assert choked.way_as_asked == 0 and np.isnan(choked.charge_to_leave)
    assert descents.study(replace(examples.build(), {"assist.torque_cap": 9.0}), case).as_asked_by == "torque cap"
    hot = descents.study(examples.build(), dataclasses.replace(case, winding_start=405.0))
    assert hot.as_asked_by == "derating" and hot.legs > descents.study(examples.build(), case).legs


def test_the_brake_takes_what_is_more_than_the_legs_hold_for_long():
    build, case = examples.build(), down(12.0)
    found = descents.study(build, case)
    cadence = case.speed / build.wheel.radius / 1.6338
    assert found.pedal_comfort == pytest.approx(build.rider.critical_power / cadence, rel=1e-9)
    assert found.pedal_strength == pytest.approx(greatest_torque(build, cadence, True), rel=1e-12)
    assert found.pedal_greatest == pytest.approx(found.pedal_comfort, rel=1e-6) and found.brake > 0 and found.legs_held == "held"
    # wheel torque by hand: legs / (efficiency ratio) + gain times legs + iron + brake
    drag = build.motor.hysteresis_torque + build.motor.eddy_drag * case.speed / build.wheel.radius
    by_hand = found.pedal_comfort * (1 / (0.965 * 1.6338) + 0.22) + drag + found.brake_over[0]
    assert by_hand == pytest.approx(-found.asked, rel=1e-6)
    assert found.brake == pytest.approx(np.trapezoid(found.brake_over, found.distance) / build.wheel.radius, rel=2e-3)
    without = descents.study(replace(build, {"brake.kind": "none", "brake.greatest_torque": 0.0}), case)
    assert without.brake == 0 and without.legs_held == "more than the legs hold for long"
    weak = descents.study(replace(build, {"brake.kind": "none", "brake.greatest_torque": 0.0}), down(30.0))
    assert weak.legs_held.startswith("not held")
    little = descents.study(replace(build, {"brake.greatest_torque": 2.0}), down(14.0))
    assert little.brake_greatest == 2.0 and little.pedal_greatest > little.pedal_comfort


def test_a_gentle_slope_costs_charge_and_an_empty_pack_is_told():
    found = descents.study(examples.build(), down(0.5, state_of_charge=0.5))
    assert found.stored < 0 and found.end_charge < 0.5 and found.legs < 0
    assert found.charge_to_leave == 0 and np.isinf(found.way_as_asked) and found.motor_by == "none asked"
    with pytest.raises(ValueError, match=r"packs are empty before its 90 km are over"):
        descents.study(examples.build(), down(0.5, state_of_charge=0.05, distance=90e3))


def test_builds_without_motor_and_bad_cases():
    bare = descents.study(examples.build("harbour_ungeared"), down(4.0))
    assert bare.motor_by == "no motor" and bare.stored == bare.copper_loss == 0 and bare.short_torque is None
    assert bare.legs == pytest.approx(bare.height - bare.rolling - bare.air - bare.bearing, rel=1e-9)
    assert bare.summary() and len(bare.table()) == 61
    for words, changes in (("slope is 0 %", {"slope": 0.0}), ("speed is 0", {"speed": 0.0}), ("distance is 0", {"distance": 0.0})):
        with pytest.raises(ValueError, match=words):
            descents.study(examples.build(), down(**changes))
    with pytest.raises(ValueError, match="charges must be above 0"):
        descents.tops(examples.build(), down(), charges=(0.0,))
    assert descents.back_down(down(slope=0.06)).slope == -0.06 and descents.back_down(down(slope=0.0)) is None


def test_it_agrees_with_stopping_and_limits_on_what_full_packs_leave():
    build, case = examples.build(), down(5.0, trim="level", state_of_charge=1.0, speed=4.0)
    found = descents.study(build, case)
    ends = reach.study(build, case)
    row = int(np.argmin(np.abs(ends.speed - case.speed)))
    assert ends.lowest_by[row] == "full pack" == found.motor_by
    assert found.full_motor == pytest.approx(np.interp(case.speed, ends.speed, ends.lowest), rel=0.02)
    assert stopping.study(build, case).full_by in ("full pack", "legs and gain", "too little torque")


def test_where_the_power_goes_over_charge():
    build, case = examples.build(), down(5.0, trim="level")
    by = descents.study(build, case).by_charge
    height = build.total_mass * GRAVITY * np.sin(np.arctan(0.05)) * case.speed
    assert by.powers.sum(axis=0) == pytest.approx(height, rel=1e-9)
    assert np.all(by.powers[descents.SHARES.index("stored")] <= height)


@pytest.mark.parametrize("seed", range(25))
def test_strange_builds_close_too(seed):
    rng = np.random.default_rng(seed)
    case = down(
        rng.uniform(0.5, 15),
        trim=rng.choice(["none", "steps", "level"]).item(),
        state_of_charge=rng.uniform(0.3, 1.0),
        speed=rng.uniform(1.5, 6.0),
        distance=rng.uniform(200, 9000),
    )
    found = descents.study(examples.strange(rng), case)
    assert abs(found.unaccounted) < 1e-6 and found.start_charge - 0.3 < found.end_charge <= 1.0
    assert found.brake >= 0 and found.copper_loss >= 0 and found.gear_loss >= 0


def test_parts_of_cells_integrate_parabolas_exactly():
    build, case = examples.build(), down(5.0, trim="level")
    walk = descending.march(descending.Road(build, case, build.gears.named("long")))
    low, nodes = walk.edges[walk.first], (np.polynomial.legendre.leggauss(3)[0] + 1) / 2
    charge = walk.edges[:-1, None] + np.diff(walk.edges)[:, None] * nodes
    bent = dataclasses.replace(walk, pace=3 * charge**2 + 2 * charge + 1)
    by_hand = lambda one: (one**3 + one**2 + one) - (low**3 + low**2 + low)
    at = np.linspace(low, walk.edges[walk.last], 73)
    assert bent.time_between(at, at[-1]) == pytest.approx(by_hand(at[-1]) - by_hand(at), rel=1e-12, abs=1e-12)
    assert bent.charge_after(0.4, by_hand(0.77) - by_hand(0.4)) == pytest.approx(0.77, rel=1e-12)


def test_a_charge_at_which_the_packs_neither_gain_nor_give_keeps_the_balance():
    """Near full a motor that may feed nothing back can leave the standby to the packs: the charge settles between."""
    rng = np.random.default_rng([7, 1204])
    case = down(
        rng.uniform(0.3, 15),
        trim=rng.choice(["none", "steps", "level"]).item(),
        state_of_charge=rng.uniform(0.3, 1.0),
        speed=rng.uniform(1.0, 7.0),
        distance=rng.uniform(200, 9000),
    )
    build = examples.strange(rng)
    found = descents.study(build, case)
    walk = descending.march(descending.Road(build, case, build.gears.named(build.gears.engaged)))
    assert walk.way < 0 and walk.first > 0 and found.end_charge == walk.edges[walk.first]
    assert abs(found.unaccounted) < 1e-6
