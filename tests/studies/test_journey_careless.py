"""Careless builds, cases and routes: one clear error or a ride with finite numbers and closed energy, and soon."""

import time

import numpy as np
import pytest
from made_routes import flat, hilly

from unikit.inputs import draw, replace
from unikit.inputs.paths import leaves
from unikit.inputs.route import make_route
from unikit.studies import journey, ride, riding

from .examples import NAMES, build, case, described, strange


def shaken(rng, whole):
    """Some numbers at the ends of what is allowed, or far from where they were; None where the build refuses them together."""
    chosen = [
        (path, spec, value) for path, spec, value in leaves(whole) if spec.form == "number" and value is not None and spec.low is not None
    ]
    changes = {}
    for place in rng.integers(0, len(chosen), rng.integers(1, 6)):
        path, spec, value = chosen[place]
        new = float(rng.choice([spec.low, spec.high, value * rng.uniform(0.3, 3)]))
        changes[path] = int(new) if spec.whole else new
    try:
        return replace(whole, changes)
    except ValueError:
        return None


def told(found):
    for name, value in vars(found).items():
        if isinstance(value, (float, np.floating)) and name not in ("range",):
            assert np.isfinite(value), name
        if isinstance(value, np.ndarray) and value.dtype == float:
            assert np.isfinite(value).all(), name
    assert abs(found.open_share) < 1e-11


@pytest.mark.filterwarnings("error")
def test_extreme_but_allowed_numbers():
    rng, rides, slowest = np.random.default_rng(12), 0, 0.0
    while rides < 120:
        made = shaken(rng, rng.choice([build(rng.choice(NAMES)), described(), strange(rng)]))
        asked = shaken(rng, case(speed=4.0, state_of_charge=rng.choice([0.0, 0.02, 0.5, 1.0]), trim=rng.choice(["none", "steps", "level"])))
        if made is None or asked is None or asked.wanted_speed < riding.SLOWEST:
            continue
        start = time.process_time()
        told(journey.study(made, asked, hilly(rng, 100), compiled=False))
        slowest, rides = max(slowest, time.process_time() - start), rides + 1
    assert slowest < 5.0


def test_a_gear_of_least_efficiency_rides():
    told(journey.study(replace(build(), {"gears.gear.long.efficiency": 0.3}), case(), hilly(np.random.default_rng(1)), compiled=False))
    with pytest.raises(ValueError, match=r"gears\.gear\.long\.efficiency"):
        replace(build(), {"gears.gear.long.efficiency": 0.05})


@pytest.mark.parametrize("points", [[0.0, 3000.0], [0.0, 6.0], [0.0, 1e-6], [0.0, 1000.0, 1000.001, 2000.0]])
def test_few_points_far_apart_or_close(points):
    found = journey.study(build(), case(), make_route("few", "made", points, np.zeros(len(points))), compiled=False)
    told(found)
    if points[1] > 100:
        assert found.walked == 0
        assert found.mean_speed == pytest.approx(5.0, rel=0.05)
        assert found.distance[-1] == pytest.approx(points[-1])


def test_a_cut_route_is_the_same_way():
    way = make_route(
        "long steps", "made", [0, 100, 130, 400.0], [0, 5, 2, 10.0], heading=[1.0, 2.0, 3.0], surface=[1, 2, 1.0], shelter=[1, 0.5, 0.2],
        speed_limit=[np.inf, 3.0, 4.0, np.inf], stop=[0, 9.0, 0, 0],
    )  # fmt: skip
    fine = riding.cut(way)
    assert fine.step.max() <= riding.LONGEST_STEP
    assert fine.climb == pytest.approx(way.climb)
    for name in ("slope", "heading", "surface", "shelter"):
        there = np.searchsorted(way.distance, fine.distance[:-1], side="right") - 1
        assert getattr(fine, name) == pytest.approx(getattr(way, name)[there]), name
    assert fine.stop[np.isin(fine.distance, way.distance)].tolist() == way.stop.tolist()
    assert fine.stop.sum() == 9
    assert riding.cut(fine) is fine


def test_stops_without_a_time_are_no_stops():
    plain, again = flat(1000.0), flat(1000.0, stop=0.0)
    assert journey.study(build(), case(), plain, compiled=False).time == journey.study(build(), case(), again, compiled=False).time


def test_packs_that_die_on_a_hill():
    made = replace(build(), {"assist.driving_gain.long": 1.0})
    asked = case(state_of_charge=0.155, speed=3.0, wanted_speed=4.0, hard_power=350.0)
    found = journey.study(made, asked, flat(12_000.0, slope=0.04), compiled=False)
    told(found)
    assert found.charge.min() > -0.005
    assert found.charge_end < 0.02
    assert 0 < found.range < 1500, "the charge held back is met soon"
    dead = int(np.argmax(found.battery_power == 0))  # they do not keep the electronics up any more
    assert dead > 0
    assert np.all(found.motor_torque[dead + 1 :] == 0)
    assert found.pedal_torque[dead + 2] > found.pedal_torque[dead // 2]


def test_range_is_the_first_time_that_what_is_held_back_is_met():
    """Down a long hill the packs come back above it: the range stays."""
    distance = np.arange(0.0, 6001.0, 10.0)
    way = make_route("up and down", "made", distance, np.where(distance < 400, 0.05 * distance, 20 - 0.04 * (distance - 400)))
    made = replace(build(), {"packs.held_back": 0.4, "assist.driving_gain.long": 1.0})
    found = journey.study(made, case(state_of_charge=0.405, wanted_speed=4.0, speed=2.0), way, compiled=False)
    first = int(np.argmax(found.charge <= 0.4))
    assert found.charge_end > 0.404
    assert found.distance[first - 1] <= found.range <= found.distance[first]


def test_power_of_a_step_before_a_stop_is_that_of_the_step():
    stop = np.where(np.arange(101) == 50, 60.0, 0.0)
    found = journey.study(build(), case(), flat(1000.0, stop=stop), compiled=False)
    assert found.speed[49] == 0
    assert found.battery_power[49] < 0, "braking feeds back; standing draws"
    assert np.diff(found.elapsed)[48] > 66


def test_a_weak_brake_gives_what_it_can():
    weak = replace(build(), {"brake.greatest_torque": 3.0})
    found = journey.study(
        weak, case(wanted_speed=3.0, speed=3.0, leg_power=20.0, state_of_charge=1.0), flat(300.0, slope=-0.08), compiled=False
    )
    assert found.brake_torque.max() == 3.0
    assert np.count_nonzero(found.brake_torque == 3.0) > 20
    told(found)


def test_a_gale_from_ahead_is_walked():
    found = journey.study(build(), case(head_wind=20.0, state_of_charge=0.0), flat(500.0), compiled=False)
    told(found)
    assert found.walked == pytest.approx(500.0)
    assert found.least_reserve is None
    assert found.cut_out_step.max() == 0


def test_nobody_gets_on_and_off_again_and_again():
    steep = journey.study(build(), case(state_of_charge=0.0), flat(600.0, slope=0.22), compiled=False)
    turns = np.count_nonzero(steep.on_the_way[1:] != steep.on_the_way[:-1])
    assert steep.walked == pytest.approx(600.0)
    assert turns == 0
    for step in (2.0, 10.0):  # on legs alone a hill that can be ridden slowly is ridden, whatever the steps
        found = journey.study(build(), case(state_of_charge=0.0, hard_power=170.0), flat(600.0, step, slope=0.03), compiled=False)
        assert found.walked == 0


@pytest.mark.parametrize(
    ("charge", "hard", "cadence", "slope"), [(0.0, 300.0, 5.0, 0.08), (0.0, 220.0, 6.0, 0.06), (0.8, 300.0, 6.0, 0.08)]
)
@pytest.mark.parametrize("step", [2.0, 10.0])
def test_mounting_waits_until_legs_are_rested(charge, hard, cadence, slope, step):
    """Where the legs can hold the lowest cadence only for a while they walk on until half of the work is there again."""
    asked = case(state_of_charge=charge, hard_power=hard, speed=4.0, lowest_cadence=cadence)
    found = journey.study(build(), asked, flat(3000.0, step, slope=slope), compiled=False)
    turns = np.count_nonzero(found.on_the_way[1:] != found.on_the_way[:-1])
    assert found.walked > 400
    assert found.walked / (turns / 2 + 1) > 75
    mounted = (found.on_the_way[:-1] == "walked") & (found.on_the_way[1:] == "ridden")
    assert np.all(found.work_left[:-1][mounted] >= 0.5)


def test_what_cannot_be_ridden_is_refused_in_words():
    way = flat(100.0)
    refused = {
        "case.wind_from must say": (case(wind_speed=3.0), way),
        "does not say where it heads": (case(wind_speed=3.0, wind_from=0.0), way),
        "case.wanted_speed must be at least 0.5": (case(wanted_speed=0.0), way),
        "speed_limit must be at least 0.5": (case(), flat(100.0, speed_limit=0.01)),
        "a stop must last at most 86400 s": (case(), flat(100.0, stop=1e12)),
    }
    for words, (asked, where) in refused.items():
        with pytest.raises(ValueError, match=words):
            journey.study(build(), asked, where)


def test_without_motor_or_power():
    alone = journey.study(replace(build(), {"assist.driving_gain.long": 0.0}), case(), flat(1000.0), powered=False, compiled=False)
    told(alone)
    assert alone.cells == 0
    assert alone.iron_loss > 0
    assert alone.leg_share == 1


def test_the_brake_comes_before_legs_at_their_limit_and_after_legs_at_ease():
    steep = flat(400.0, slope=-0.08)
    asked = case(speed=3.0, wanted_speed=3.0, state_of_charge=1.0, leg_power=40.0)
    braked = journey.study(build(), asked, steep, compiled=False)
    bare = replace(build(), {"brake.kind": "none", "brake.greatest_torque": 0.0})
    free = journey.study(bare, asked, steep, compiled=False)
    assert braked.over == 0
    assert braked.brake_torque[20] > 0
    gear = build().gears.named("long")
    ease = 40.0 / (3.0 / build().wheel.radius / gear.ratio)
    strength = build().rider.zero_cadence_torque * build().cranks.length / build().cranks.reference_length
    scale = build().cranks.length / build().cranks.reference_length
    most = 0.7 * strength * (1 - 3.0 / build().wheel.radius / gear.ratio * scale / build().rider.zero_torque_cadence)
    assert -braked.pedal_torque[20] == pytest.approx(min(ease, most), rel=1e-6)
    assert free.over == 0
    assert -braked.pedal_torque[20] < -free.pedal_torque[20] < most
    told(free)


def test_a_full_pack_takes_nothing_back():
    full = journey.study(build(), case(state_of_charge=1.0, wanted_speed=4.0), flat(1500.0, slope=-0.05), compiled=False)
    part = journey.study(build(), case(state_of_charge=0.6, wanted_speed=4.0), flat(1500.0, slope=-0.05), compiled=False)
    assert full.charge.max() <= 1.0
    assert full.fed_back < 0.02 * part.fed_back
    assert full.brake + full.legs_held_back > part.brake + part.legs_held_back


def single(whole, place):
    """One of the draws of a build or case."""
    drawn = {path: float(value[place]) for path, spec, value in leaves(whole) if spec.form == "number" and np.ndim(value) == 1}
    return replace(whole, drawn)


@pytest.mark.parametrize("changes", [{}, {"controller.weakening_current": 25.0, "motor.torque_constant_peak": 1.4}])
def test_draws_ride_as_one_by_one(changes):
    spread = {f"packs.pack.{name}.fast_resistance": "9 mohm ± 2 mohm" for name in ("left", "right", "rear")}
    made, way = draw(replace(build(), changes | spread), 5, 3), hilly(np.random.default_rng(9), 80)
    asked = draw(replace(case(), {"air_temperature": "9 °C ± 3 K", "capacity_left": "80 % to 90 %"}), 5, 3)
    together = riding.run_many(riding.prepare(made, asked, way, count=5), compiled=False)
    for place in range(5):
        alone = riding.run(riding.prepare(single(made, place), single(asked, place), way), compiled=False)
        assert together.totals[place] == pytest.approx(alone.totals[0], rel=2e-3, abs=2.0)
        assert together.end[place] == pytest.approx(alone.end[0], rel=1e-3, abs=1e-3)


def test_a_quick_winding_is_no_trouble():
    made = replace(build(), {"motor.winding_capacity": 2.0})
    stop = np.where(np.arange(101) == 50, 600.0, 0.0)
    found = journey.study(made, case(winding_start=360.0), flat(1000.0, stop=stop), compiled=False)
    told(found)
    usual = journey.study(build(), case(winding_start=360.0), flat(1000.0, stop=stop), compiled=False)
    assert found.winding[49] == pytest.approx(usual.winding[49], abs=5.0)
    assert 290 < found.winding.min() < found.winding.max() < 375


@pytest.mark.checks("independent")
def test_hard_power_comes_back_to_critical_power_with_the_last_tenth_of_the_work():
    made, asked = build(), case(state_of_charge=0.0, speed=6.0, wanted_speed=6.0, hard_power=300.0)
    found = journey.study(made, asked, flat(2500.0, slope=0.06), compiled=False)
    mean = (found.speed + np.concatenate([[0.0], found.speed[:-1]])) / 2
    power = found.pedal_torque * mean / made.wheel.radius / made.gears.named("long").ratio
    left = np.concatenate([[1.0], found.work_left[:-1]])
    wanted = made.rider.critical_power + (300.0 - made.rider.critical_power) * np.minimum(left / 0.1, 1.0)
    assert left.min() < 0.05
    assert power[20:-20] == pytest.approx(wanted[20:-20], rel=1e-6)


def test_what_losses_leave_out_is_said_of_builds_that_need_it():
    assert journey.study(build(), case(), flat(200.0), compiled=False).not_counted is None
    told = journey.study(build("harbour_measured"), case(), flat(200.0), compiled=False)
    assert "current that weakens the magnets" in told.not_counted
    assert "unlike inductances" in told.summary()["not counted in the losses"]


@pytest.mark.checks("independent")
@pytest.mark.parametrize("joined", ["series", "parallel"])
def test_unlike_packs_give_what_was_said_to_be_usable(joined):
    """The energy from the cells is what usable energy lost, in series as far as the smallest goes."""
    unlike = {"packs.joined": joined, "controller.voltage_rating": 200.0, "packs.pack.rear.cell_capacity": 3600.0}
    made = replace(build(), unlike)
    found = journey.study(made, case(state_of_charge=0.6), flat(5e3, slope=0.02), compiled=False)
    assert 0.16 < found.charge_end < 0.55
    left = ride.usable_energy(made, found.charge_end)
    assert found.cells == pytest.approx(found.usable - left, rel=2e-3)
    alike = ride.usable_energy(replace(made, {f"packs.pack.{name}.cell_capacity": 3600.0 for name in ("left", "right", "rear")}), 0.6)
    assert (found.usable == pytest.approx(alike)) == (joined == "series")


@pytest.mark.checks("independent")
def test_times_and_climb_by_hand():
    stop = np.where(np.isin(np.arange(101), (30, 70)), 25.0, 0.0)
    distance = np.arange(0.0, 1001.0, 10.0)
    way = make_route("waves", "made for a test", distance, 5 * np.sin(distance / 60), stop=stop)
    found = journey.study(build(), case(), way, compiled=False)
    assert found.walked == 0
    assert found.time - found.moving == pytest.approx(2 * (25.0 + 2 * 3.0), rel=1e-9)
    assert found.uphill == pytest.approx(build().total_mass * 9.81 * way.climb, rel=1e-9)
    assert abs(found.slope) < 0.2 * found.uphill


@pytest.mark.checks("independent")
def test_old_packs_go_as_much_less_far_as_they_hold_less():
    new, old = (
        journey.study(build(), case(capacity_left=left, winding_start=293.15), flat(2000.0), compiled=False) for left in (None, 0.8)
    )
    assert old.usable == pytest.approx(0.8 * new.usable, rel=1e-12)
    assert 0.8 - old.charge_end == pytest.approx((0.8 - new.charge_end) / 0.8, rel=0.01)
