"""Stretches of a ride log: integrals against quadrature, sums against the whole, cuts where they belong."""

import tracemalloc

import numpy as np
import pytest
from scipy.integrate import quad

from unikit.inputs import columns, load_ride, make_ride
from unikit.studies import stretches


def speed(t):
    return 5 + 2 * np.sin(t / 20)


def heading(t):
    return 0.3 + t / 50


def ride(count=3001, seed=None, **more):
    """A smooth ride on even or random times."""
    time = np.linspace(0, 300, count)
    if seed is not None:
        time = np.sort(np.random.default_rng(seed).uniform(0, 300, count))
    values = {
        "time": time,
        "speed": speed(time),
        "heading": np.mod(heading(time), 2 * np.pi),
        "pedal_power": 80 + 20 * np.cos(time / 7),
        "battery_voltage": 48 - time / 100,
        "battery_current": 3 + np.sin(time / 11),
        "altitude": 10 * np.sin(time / 60),
        "head_wind": 1 + np.cos(time / 30),
    }
    return make_ride("smooth", "invented", values | {name: value(time) for name, value in more.items()})


INTEGRALS = {
    "distance": speed,
    "speed_squared": lambda t: speed(t) ** 2,
    "speed_cubed": lambda t: speed(t) ** 3,
    "pedal_work": lambda t: 80 + 20 * np.cos(t / 7),
    "electrical_work": lambda t: (48 - t / 100) * (3 + np.sin(t / 11)),
    "charge": lambda t: 3 + np.sin(t / 11),
    "current_squared": lambda t: (3 + np.sin(t / 11)) ** 2,
    "way_north": lambda t: speed(t) * np.cos(heading(t)),
    "way_east": lambda t: speed(t) * np.sin(heading(t)),
    "way_north_north": lambda t: speed(t) * np.cos(heading(t)) ** 2,
    "way_north_east": lambda t: speed(t) * np.cos(heading(t)) * np.sin(heading(t)),
    "speed_squared_north": lambda t: speed(t) ** 2 * np.cos(heading(t)),
    "speed_squared_east": lambda t: speed(t) ** 2 * np.sin(heading(t)),
    "air_speed_work": lambda t: (speed(t) + 1 + np.cos(t / 30)) ** 2 * speed(t),
}


@pytest.mark.parametrize("name", INTEGRALS)
def test_integrals_are_those_of_adaptive_quadrature(name):
    found = stretches.cut(ride(), 60.0)
    assert len(found) == 5
    for start, duration, value in zip(found.start, found.duration, getattr(found, name), strict=True):
        expected, _ = quad(INTEGRALS[name], start, start + duration, epsabs=1e-9)
        scale, _ = quad(lambda t: abs(INTEGRALS[name](t)), start, start + duration, limit=200)
        assert value == pytest.approx(expected, abs=2e-5 * scale)


@pytest.mark.parametrize("name", INTEGRALS)
def test_sums_over_stretches_are_those_of_the_whole(name):
    log = ride(seed=1)
    whole, parts = stretches.cut(log, 1e9), stretches.cut(log, length=37.0)
    assert len(whole) == 1 and len(parts) > 30
    assert getattr(parts, name).sum() == pytest.approx(getattr(whole, name)[0], rel=1e-12, abs=1e-9)


def made(time, speed, **more):
    return make_ride("made", "invented", {"time": time, "speed": speed, **more.pop("values", {})}, **more)


def bounds(found):
    return [(round(start, 6), round(start + duration, 6)) for start, duration in zip(found.start, found.duration, strict=True)]


def test_a_stretch_ends_with_the_first_row_at_or_beyond_what_was_asked():
    log = made(np.arange(11.0), np.full(11, 4.0))
    assert bounds(stretches.cut(log, 3.0)) == [(0, 3), (3, 6), (6, 9), (9, 10)]
    assert bounds(stretches.cut(log, length=11.9)) == [(0, 3), (3, 6), (6, 9), (9, 10)]
    assert bounds(stretches.cut(log, 0.1)) == [(n, n + 1) for n in range(10)]
    assert list(stretches.cut(log, 3.0).rows) == [4, 4, 4, 2]


def test_no_stretch_crosses_the_end_of_a_piece():
    log = made([0, 1, 2, 50, 51, 60], [4.0] * 6, piece=[0, 0, 0, 1, 1, 2])
    found = stretches.cut(log, 100.0)
    assert bounds(found) == [(0, 2), (50, 51)] and list(found.piece) == [0, 1]
    assert found.distance == pytest.approx([8, 4]) and found.largest_gap == pytest.approx([1, 1])


def test_standing_is_a_stretch_of_its_own_and_a_short_halt_is_not():
    speed = np.full(40, 5.0)
    speed[5:7] = 0.0  # for 1 s
    speed[20:30] = 0.2  # for 9 s
    found = stretches.cut(made(np.arange(40.0), speed), 100.0)
    assert bounds(found) == [(0, 20), (20, 29), (29, 39)]
    assert list(found.standing) == [False, True, False]
    assert found.standing_share == pytest.approx([1 / 20, 1, 0])
    assert np.isinf(found.speed_variation[1]) and list(found.steady) == [False, False, False]
    assert list(found.pick(found.moving).start) == [0, 29]


def test_steady_is_what_varies_little():
    time = np.arange(0, 200, 0.1)
    speed = np.where(time < 100, 5 + 0.2 * np.sin(2 * np.pi * time / 10), 5 + 1.0 * np.sin(2 * np.pi * time / 10))
    found = stretches.cut(made(time, speed), 50.0)
    assert found.speed_variation == pytest.approx([0.04 / np.sqrt(2)] * 2 + [0.2 / np.sqrt(2)] * 2, rel=0.02)
    assert list(found.steady) == [True, True, False, False]
    assert list(stretches.cut(made(time, speed), 50.0, steady=0.2).steady) == [True] * 4


def test_kinetic_energy_heights_and_means():
    log = ride(
        winding_temperature=lambda t: 300 + t / 10, motor_torque=lambda t: 0 * t + 7, distance=lambda t: 3 * t, slope=lambda t: 0 * t + 0.75
    )
    found = stretches.cut(log, 100.0)
    assert found.speed_squared_change == pytest.approx([speed(b) ** 2 - speed(b - 100) ** 2 for b in (100, 200, 300)])
    assert found.altitude_change == pytest.approx([10 * (np.sin(b / 60) - np.sin((b - 100) / 60)) for b in (100, 200, 300)])
    assert found.stated_distance == pytest.approx([300] * 3)
    assert found.winding_temperature == pytest.approx([305, 315, 325])
    assert found.motor_torque == pytest.approx([7] * 3)
    assert found.slope_rise == pytest.approx(0.6 * found.distance)
    assert found.air_temperature is None


def test_headings_are_averaged_as_directions():
    log = made(np.arange(21.0), np.full(21, 4.0), values={"heading": np.radians([350, 10] * 10 + [350])})
    found = stretches.cut(log, 20.0)
    assert np.cos(found.heading) == pytest.approx([1], abs=1e-12)
    assert found.way_north == pytest.approx([80 * np.cos(np.radians(10))]) and found.way_east == pytest.approx([0], abs=1e-9)


def test_what_is_unknown_makes_its_stretch_unknown_alone():
    power = np.full(21, 100.0)
    power[3] = np.nan
    found = stretches.cut(made(np.arange(21.0), np.full(21, 4.0), values={"pedal_power": power}), 10.0)
    assert np.isnan(found.pedal_work[0]) and found.pedal_work[1] == pytest.approx(1000)
    assert found.distance == pytest.approx([40, 40])


def test_what_cannot_be_cut_is_refused():
    log = ride()
    for wrong in ({}, {"time": 1.0, "length": 1.0}, {"time": 0.0}, {"length": -1.0}, {"time": float("nan")}):
        with pytest.raises(ValueError, match="cut by a time or by a length"):
            stretches.cut(log, **wrong)
    with pytest.raises(ValueError, match="steady must be a share"):
        stretches.cut(log, 10.0, steady=2.0)
    with pytest.raises(ValueError, match="'made' has no speed, which stretches need; it holds time, altitude"):
        stretches.cut(make_ride("made", "invented", {"time": [0, 1], "altitude": [0, 1]}), 10.0)


def test_the_table_has_a_row_a_stretch_with_units():
    table = stretches.cut(ride(), 60.0).table()
    assert len(table) == 5 and table["distance [m]"].sum() == pytest.approx(quad(speed, 0, 300)[0], rel=1e-6)
    assert "pedal work [Wh]" in table and "mean winding temperature [degC]" not in table


MAPPING = """
format = 1
name = "Day"
source = "invented"
delimiter = "comma"
decimal = "point"
longest_interval = "2 s"
derive = ["pedal_power"]
[columns.time]
column = "t"
unit = "s"
[columns.speed]
column = "v"
unit = "m/s"
missing = [""]
[columns.pedal_torque]
column = "T"
unit = "N*m"
[columns.crank_rate]
column = "n"
unit = "rpm"
[columns.heading]
column = "h"
unit = "deg"
"""


@pytest.fixture
def day(tmp_path):
    """Write a ride with halts, gaps and holes of a number of rows; the paths of table and mapping."""

    def writing(rows, interval=0.5, seed=5):
        stream = np.random.default_rng(seed)
        time = np.arange(rows) * interval + np.cumsum(np.where(stream.random(rows) < 0.002, 40.0, 0.0))
        v = np.maximum(0.0, 4 + 6 * np.sin(time / 37) + 0.3 * stream.normal(size=rows))
        texts = [f"{t:.2f},{x:.3f},{a:.2f},{b:.1f},{h:.0f}" for t, x, a, b, h in zip(time, v, 15 + 0 * v, 12 * v, time % 360, strict=True)]
        for row in np.flatnonzero(stream.random(rows) < 0.01):
            cells = texts[row].split(",")
            texts[row] = ",".join([cells[0], "", *cells[2:]])
        (tmp_path / "ride.csv").write_text("t,v,T,n,h\n" + "\n".join(texts) + "\n", encoding="utf-8")
        (tmp_path / "ride.toml").write_text(MAPPING, encoding="utf-8")
        return tmp_path / "ride.csv", tmp_path / "ride.toml"

    return writing


@pytest.mark.parametrize("block", [3, 50, 333])
@pytest.mark.parametrize("by", [{"time": 20.0}, {"length": 55.0}, {"length": 1e9}])
def test_stretches_of_a_file_are_those_of_its_whole_log(day, monkeypatch, block, by):
    paths = day(3000 if block > 3 else 400)
    log = load_ride(*paths)
    whole = stretches.cut(log, **by)
    monkeypatch.setattr(columns, "BLOCK", block)
    parts, notes = stretches.stretches_of(*paths, **by)
    assert sorted(notes) == sorted(log.notes) and len(notes) > 3
    assert whole.standing.any() or block == 3
    for name, values in stretches.arrays(whole).items():
        np.testing.assert_allclose(getattr(parts, name), values, rtol=1e-9, atol=1e-9, err_msg=name)


def test_a_halt_that_is_cut_by_time_stays_a_halt_in_parts(day, monkeypatch):
    monkeypatch.setattr(columns, "BLOCK", 1)
    table, mapping = day(3)
    rows = [f"{n / 2},{0 if 20 <= n <= 62 else 5},10,60,0" for n in range(120)]  # stands for 21 s
    table.write_text("t,v,T,n,h\n" + "\n".join(rows) + "\n", encoding="utf-8")
    parts, _ = stretches.stretches_of(table, mapping, 10.0)
    whole = stretches.cut(load_ride(table, mapping), 10.0)
    assert bounds(parts) == bounds(whole) and list(parts.standing) == list(whole.standing)
    assert bounds(parts)[1:5] == [(10, 20), (20, 30), (30, 31), (31, 41)] and list(parts.standing[1:5]) == [True, True, True, False]


def test_a_stretch_of_a_length_ends_after_an_hour(day):
    log = made(np.arange(0.0, 9001.0, 10.0), np.full(901, 0.01))
    assert bounds(stretches.cut(log, length=1000.0)) == [(0, 3600), (3600, 7200), (7200, 9000)]
    assert bounds(stretches.cut(log, 1e6)) == [(0, 9000)]


def test_a_file_without_speed_is_refused_before_it_is_read(day):
    table, mapping = day(100)
    mapping.write_text(MAPPING.replace("[columns.speed]", "[columns.head_wind]"), encoding="utf-8")
    with pytest.raises(ValueError, match="'Day' has no speed, which stretches need"):
        stretches.stretches_of(table, mapping, 10.0)


def test_memory_does_not_grow_with_the_log(day, monkeypatch):
    monkeypatch.setattr(columns, "BLOCK", 500)

    def most(rows):
        paths = day(rows)
        tracemalloc.start()
        stretches.stretches_of(*paths, 60.0)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return peak

    most(2000)  # what is loaded once
    small, large = most(4000), most(20_000)
    assert large < 1.5 * small


@pytest.mark.parametrize("seed", range(30))
def test_stretches_tile_every_piece(seed):
    """Whatever the ride: each interval of a piece is in one stretch, and no other is."""
    stream = np.random.default_rng(seed)
    count = int(stream.integers(1, 400))
    time = np.cumsum(stream.choice([0.1, 0.4, 1.9], count))
    v = np.repeat(stream.choice([0.0, 0.3, 3.0, -1.0, 7.0], count), stream.integers(1, 12, count))[:count] + 0.1 * stream.normal(size=count)
    piece = np.cumsum(stream.random(count) < 0.03)
    log = make_ride(
        "any", "invented", {"time": time, "speed": v, "battery_current": np.where(stream.random(count) < 0.02, np.nan, v)}, piece
    )
    by = {"time": float(stream.choice([0.05, 5.0, 60.0, 1e9]))} if seed % 2 else {"length": float(stream.choice([0.01, 20.0, 300.0, 1e9]))}
    found = stretches.cut(log, **by)
    inside = np.diff(piece) == 0
    assert found.rows.sum() - len(found) == inside.sum()
    assert found.duration.sum() == pytest.approx(np.diff(time)[inside].sum())
    assert found.distance.sum() == pytest.approx((0.5 * (v[1:] + v[:-1]) * np.diff(time))[inside].sum(), abs=1e-9)
    same = np.diff(found.piece) == 0
    assert found.start[1:][same] == pytest.approx((found.start + found.duration)[:-1][same])
    assert np.all(found.duration[found.standing] > 0) and np.all(found.standing_share[found.standing] == pytest.approx(1))
    assert not np.any(found.steady & found.standing)
