"""Accounts of a ride: sums against quadrature and against known ways, disagreements told, climbs against a search of turning points."""

import dataclasses

import numpy as np
import pytest
from scipy.integrate import quad

from unikit.formulas import geodesy
from unikit.inputs import make_ride
from unikit.studies import ride_accounts, stretches

LATITUDE, LONGITUDE = np.radians(20.0), np.radians(-30.0)  # somewhere in an ocean


def speed(t):
    return 6 + np.sin(t / 30)


def power(t):
    return 100 * np.sin(t / 50) + 30


def ride(scale=1.0, halt=False, **more):
    """A ride round a circle of 1 km radius, with its distance and positions."""
    time = np.arange(0.0, 600.0, 0.2)
    v = speed(time)
    if halt:
        v = np.where((time > 200) & (time < 260), 0.0, v)
    way = np.concatenate([[0.0], np.cumsum(0.5 * (v[1:] + v[:-1]) * 0.2)])
    north, east = 1000 * np.sin(way / 1000), 1000 * (1 - np.cos(way / 1000))
    place = geodesy.place(LATITUDE, LONGITUDE, scale * north, scale * east)
    values = {
        "time": time,
        "speed": v,
        "distance": scale * way,
        "latitude": place.latitude,
        "longitude": place.longitude,
        "pedal_power": power(time),
        "battery_voltage": np.full(len(time), 50.0),
        "battery_current": power(time) / 50,
        "altitude": 20 * np.sin(time / 60),
    }
    return make_ride("circle", "invented", values | more)


def test_totals_are_those_of_quadrature():
    found = ride_accounts.study(stretches.cut(ride(), 30.0))
    end = 599.8
    assert found.way == pytest.approx(quad(speed, 0, end)[0], rel=1e-6)
    net, back = quad(power, 0, end, limit=200)[0], quad(lambda t: max(-power(t), 0), 0, end, limit=400)[0]
    assert found.pedal_total == pytest.approx(net, rel=1e-5) and found.electrical_total == pytest.approx(net, rel=1e-5)
    assert found.braking_total == pytest.approx(back, rel=1e-4) and found.fed_back_total == pytest.approx(back, rel=1e-4)
    assert found.charge_total == pytest.approx(net / 50, rel=1e-5)
    assert found.pedal_per_way == pytest.approx(net / found.way, rel=1e-5) and found.pedal_known == 1
    assert found.moving_speed == pytest.approx(found.way / end)
    assert found.recorded == pytest.approx(end) and found.moving == pytest.approx(end) and found.unrecorded == pytest.approx(0)


@pytest.mark.parametrize("by", [{"time": 7.0}, {"time": 100.0}, {"length": 250.0}])
def test_totals_do_not_depend_on_the_cut(by):
    one, other = ride_accounts.study(stretches.cut(ride(halt=True), **by)), ride_accounts.study(stretches.cut(ride(halt=True), 1e6))
    for name in (
        "recorded",
        "moving",
        "standing_time",
        "way",
        "stated_way",
        "pedal_total",
        "electrical_total",
        "charge_total",
        "braking_total",
    ):
        assert getattr(one, name) == pytest.approx(getattr(other, name), rel=1e-12), name
    assert one.position_way == pytest.approx(other.position_way, rel=1e-4)


def test_three_distances_agree_or_it_is_told():
    found = ride_accounts.study(stretches.cut(ride(), 30.0))
    assert found.stated_excess == pytest.approx(0, abs=1e-9)
    assert found.position_excess == pytest.approx(0, abs=5e-5)  # chords of 20 m
    assert not any("look at" in note for note in found.notes)
    longer = ride_accounts.study(stretches.cut(ride(1.05), 30.0))
    assert longer.stated_excess == pytest.approx(0.05) and longer.position_excess == pytest.approx(0.05, abs=3e-4)
    assert sum("5.0 % longer than by speed" in note for note in longer.notes) == 2
    lost = ride_accounts.study(stretches.cut(ride(distance=np.full(3000, np.nan)), 30.0))
    assert np.isnan(lost.stated_way) and "distance by its column is known in no stretch" in lost.notes


def test_positions_that_scatter_do_not_lengthen_the_way_much():
    log = ride()
    north, east = np.random.default_rng(4).normal(size=(2, len(log["time"])))
    place = geodesy.place(log["latitude"], log["longitude"], north, east)
    found = ride_accounts.study(stretches.cut(ride(latitude=place.latitude, longitude=place.longitude), 60.0))
    # a leg of 20 m whose ends scatter by 1 m each way is longer by 1 / 20 m in the mean
    assert found.position_excess == pytest.approx(1 / 400, abs=1.5e-3)


@pytest.mark.parametrize("lost", [np.nan, np.radians(89.0)])
def test_positions_that_are_unknown_or_beside_a_pole_make_their_stretch_unknown(lost):
    latitude = ride()["latitude"].copy()
    latitude[0] = lost
    found = stretches.cut(ride(latitude=latitude), 60.0).position_distance
    assert np.isnan(found[0]) and np.isfinite(found[1:]).all()


def test_halts_and_gaps_are_told_apart():
    log = ride(halt=True)
    keep = (log["time"] < 400) | (log["time"] > 500)
    values = {name: values[keep] for name, values in log.values.items()}
    cut = stretches.cut(make_ride("circle", "invented", values, np.where(values["time"] > 450, 1, 0)), 30.0)
    found = ride_accounts.study(cut, ("a note",))
    assert found.standing_time == pytest.approx(60, abs=0.5) and found.unrecorded == pytest.approx(100, abs=0.5)
    assert found.moving + found.standing_time == pytest.approx(found.recorded)
    assert np.isnan(found.electrical_work_per_way[found.standing]).all() and found.standing.sum() > 0
    assert found.notes[0] == "a note"


def test_what_is_unknown_is_left_out_of_sums_and_said():
    log = ride()
    current = np.array(log["battery_current"])
    current[:300] = np.nan
    found = ride_accounts.study(stretches.cut(ride(battery_current=current), 60.0))
    assert found.electrical_total == pytest.approx(quad(power, 60, 599.8)[0], rel=1e-4)
    assert found.electrical_known == pytest.approx(quad(speed, 60, 599.8)[0] / quad(speed, 0, 599.8)[0], rel=1e-4)
    assert found.pedal_known == 1


def test_what_the_log_does_not_hold_is_none():
    found = ride_accounts.study(stretches.cut(make_ride("bare", "invented", {"time": [0, 1, 2], "speed": [5, 5, 5]}), 1.0))
    assert found.climb is None and found.stated_way is None and found.electrical_total is None and found.charge_total is None
    assert "pedal work" not in found.summary() and list(found.table()) == [
        "start [s]",
        "duration [s]",
        "distance [m]",
        "mean speed [km/h]",
        "standing",
        "steady",
    ]
    with pytest.raises(ValueError, match="'bare' has no two rows that follow each other"):
        ride_accounts.study(stretches.cut(make_ride("bare", "invented", {"time": [0, 9], "speed": [5, 5]}, [0, 1]), 1.0))


def climbed(heights, threshold):
    """Turning points by taking out the smallest reversal until none within the threshold is left."""
    points = [heights[0]]
    for height in heights[1:]:
        if len(points) > 1 and (height - points[-1]) * (points[-1] - points[-2]) >= 0:
            points[-1] = height
        elif height != points[-1]:
            points.append(height)
    while len(points) > 1:
        steps = np.abs(np.diff(points))
        least = int(np.argmin(steps))
        if steps[least] > threshold:
            break
        if least == 0:
            points.pop(0)
        elif least == len(steps) - 1:
            points.pop()
        else:
            del points[least : least + 2]
    steps = np.diff(points)
    return steps[steps > 0].sum(), -steps[steps < 0].sum()


@pytest.mark.parametrize("seed", range(20))
def test_climb_is_that_of_a_search_for_turning_points(seed):
    stream = np.random.default_rng(seed)
    heights = np.cumsum(stream.normal(0, 2.0, 200))
    found = ride_accounts._climbed(np.diff(heights), np.zeros(199, int), 3.0)
    assert found == pytest.approx(climbed(list(heights), 3.0))


def test_climb_of_a_smooth_hill_and_of_pieces():
    found = ride_accounts.study(stretches.cut(ride(), 5.0))
    ends = 20 * np.sin(599.8 / 60)
    assert found.climb - found.descent == pytest.approx(ends, abs=1e-9)
    assert found.climb == pytest.approx(20 + 40, abs=0.3)  # to 20 m, down to -20 m, up again
    assert any("differ by more than 3 m" in note for note in found.notes)
    apart = ride_accounts._climbed(np.array([10.0, 10.0]), np.array([0, 1]), 3.0)
    assert apart == (20.0, 0.0)
    assert ride_accounts._climbed(np.array([2.0, -2.0] * 9), np.zeros(18, int), 3.0) == (0.0, 0.0)


def test_the_table_goes_to_a_file_and_the_page_says_it_all():
    found = ride_accounts.study(stretches.cut(ride(), 60.0), ("a note",))
    table = found.table()
    assert len(table) == 10 and table["pedal work [Wh]"].sum() == pytest.approx(found.pedal_total / 3600)
    assert table.to_csv(index=False).startswith("start [s],duration [s],distance [m]")
    page = found.page()
    assert "pedal work: " in page and "- a note" in page
    labels = [item.metadata["label"] for item in dataclasses.fields(found) if np.ndim(getattr(found, item.name)) == 0 and item.metadata]
    assert len(labels) == len(set(labels))


def test_the_sign_or_unit_of_a_column_that_cannot_be_right_is_told():
    told = lambda **more: " ".join(ride_accounts.study(stretches.cut(ride(**more), 30.0)).notes)
    log = ride()
    assert "look at the sign of the current" in told(battery_current=-log["battery_current"])
    assert "look at the sign of the speed" in told(speed=-log["speed"])
    assert "look at the columns and units" in told(distance=log["distance"] / 1000)
    assert "look at the sign" not in told() and "look at the columns" not in told(distance=1.05 * log["distance"])


def test_a_log_without_two_rows_in_a_row_says_what_was_found():
    apart = make_ride("apart", "invented", {"time": [0.0, 10.0], "speed": [5.0, 5.0]}, piece=[0, 1])
    with pytest.raises(ValueError, match="nothing can be accounted for: 1 gap"):
        ride_accounts.study(stretches.cut(apart, 30.0), ("1 gap",))


def test_work_by_distance_is_over_the_stretches_in_which_it_is_known():
    time = np.arange(0.0, 101.0)
    current = np.where(time <= 50, 2.0, np.nan)
    values = {"time": time, "speed": np.full(101, 4.0), "battery_voltage": np.full(101, 50.0), "battery_current": current}
    found = ride_accounts.study(stretches.cut(make_ride("half", "invented", values), 25.0))
    assert found.electrical_known == pytest.approx(0.5) and found.electrical_total == pytest.approx(100 * 50)
    assert found.electrical_per_way == pytest.approx(100 / 4)
