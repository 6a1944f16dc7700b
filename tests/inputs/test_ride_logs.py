"""Ride logs: read as declared, cleaned with every repair told, and refused in one clear line."""

import dataclasses
import io
from pathlib import Path

import numpy as np
import pandas
import pytest

from unikit.inputs import InputError, RideStream, load_ride, make_ride
from unikit.inputs import columns as reader

MAPPING = """
format = 1
name = "Trial"
source = "invented"
delimiter = "comma"
decimal = "point"
longest_interval = "2 s"
[columns.time]
column = "t"
unit = "s"
[columns.speed]
column = "v"
unit = "km/h"
missing = ["", "--"]
[columns.distance]
column = "d"
unit = "m"
"""
CLOCK = MAPPING.replace('unit = "s"', 'clock = "with zone"')


@pytest.fixture
def read(tmp_path):
    """Write a mapping and rows, and read them."""

    def reading(rows, mapping=MAPPING, head="t,v,d", **more):
        (tmp_path / "map.toml").write_text(mapping, encoding="utf-8")
        text = rows if isinstance(rows, (str, bytes)) else "\n".join([head, *rows]) + "\n"
        (tmp_path / "ride.csv").write_bytes(text if isinstance(text, bytes) else text.encode())
        return load_ride(tmp_path / "ride.csv", tmp_path / "map.toml", **more)

    return reading


def even(*times, speed=18.0):
    """Rows at 5 m/s: time, speed, distance."""
    return [f"{time},{speed},{speed / 3.6 * time}" for time in times]


def test_units_pieces_and_times_from_zero(read):
    log = read(even(100, 101, 102.5))
    assert log["time"] == pytest.approx([0, 1, 2.5])
    assert log["speed"] == pytest.approx([5, 5, 5]) and log["distance"][0] == pytest.approx(500)
    assert list(log.piece) == [0, 0, 0] and log.notes == ()
    assert (log.name, log.source) == ("Trial", "invented")


def test_a_log_cannot_be_changed(read):
    log = read(even(0, 1, 2))
    for values in (log["speed"], log.piece):
        with pytest.raises(ValueError):
            values[0] = 1
    with pytest.raises(dataclasses.FrozenInstanceError):
        log.name = "other"
    with pytest.raises(TypeError):
        log.values["speed"] = log["time"]


def test_clocks_of_dates_and_times(read):
    stamps = ["2026-06-01T08:00:00.5+02:00", "2026-06-01T06:00:01.5Z", "2026-06-01 06:00:02,25+00:00"]
    quoted = [f'"{stamp}",18,{n}' for n, stamp in enumerate(stamps)]
    assert read(quoted, CLOCK)["time"] == pytest.approx([0, 1, 1.75], abs=1e-6)
    plain = ["2026-06-01T23:59:59,18,0", "2026-06-02T00:00:00,18,5", " 20260602T000001 ,18,10"]
    assert read(plain, CLOCK.replace("with zone", "without zone"))["time"] == pytest.approx([0, 1, 2], abs=1e-6)


@pytest.mark.parametrize(
    ("stamp", "zone"),
    [
        ("2026-06-01T08:00:00", "with zone"),
        ("2026-06-01T08:00:00Z", "without zone"),
        ("2026-06-01", "without zone"),
        ("1.6.2026 8:00", "without zone"),
        ("", "with zone"),
    ],
)
def test_other_clocks_are_refused(read, stamp, zone):
    good = "2026-06-01T08:00:00" + ("Z" if zone == "with zone" else "")
    with pytest.raises(InputError, match=rf"ride.csv:3: t: expected a date and time {zone} as ISO 8601 has it, such as 2026"):
        read([f"{good},18,0", f"{stamp},18,0", f"{good},18,0"], CLOCK.replace("with zone", zone))


def told(log, *parts):
    """The one note of a log, which holds these parts."""
    assert len(log.notes) == 1, log.notes
    assert all(part in log.notes[0] for part in parts), log.notes
    return True


def test_a_gap_ends_a_piece(read):
    log = read(even(0, 1, 2, 30, 31, 40, 41))
    assert list(log.piece) == [0, 0, 0, 1, 1, 2, 2] and log["time"][-1] == pytest.approx(41)
    assert told(log, "2 gaps longer than 2 s, the longest 28 s, first before line 5")


def test_time_that_begins_again_runs_on(read):
    log = read([*even(100, 101, 102), "0,18,511", "1,18,516"])
    assert list(log.piece) == [0, 0, 0, 1, 1] and log["time"] == pytest.approx([0, 1, 2, 3, 4])
    assert told(log, "time began again or was set back once, by at most 102 s, first at line 5")


def test_a_clock_set_forward_is_told_from_a_gap_by_the_distance(read):
    log = read([*even(0, 1, 2), "3602,18,15", "3603,18,20"])
    assert list(log.piece) == [0, 0, 0, 1, 1] and log["time"] == pytest.approx([0, 1, 2, 3, 4])
    assert told(log, "the clock was set forward once, by at most 3600 s, first at line 5")
    ridden = read([*even(0, 1, 2), "3602,18,17000", "3603,18,17005"])
    assert ridden["time"][-1] == pytest.approx(3603) and told(ridden, "1 gap longer")
    near = read([*even(0, 1, 2), "32,18,15", "33,18,20"])  # 150 m at most, too little to be shown by
    assert near["time"][-1] == pytest.approx(33) and told(near, "1 gap longer")
    far = read([*even(0, 1, 2), "1e9,18,15", "1000000001,18,20"])
    assert far["time"] == pytest.approx([0, 1, 2, 3, 4]) and told(far, "set forward")


def test_repeated_early_and_stray_stamps_are_left_out(read):
    log = read(even(0, 1, 1, 2, 1.5, 3))
    assert log["time"] == pytest.approx([0, 1, 2, 3]) and set(log.piece) == {0}
    assert "1 row with the time of the row before, first line 4: left out" in log.notes
    assert "1 row with an earlier time than the row before, by at most 0.5 s, first line 6: left out" in log.notes
    log = read([*even(0, 1), "99999,18,10", *even(3, 4)])
    assert log["time"] == pytest.approx([0, 1, 3, 4]) and set(log.piece) == {0}
    assert told(log, "1 row whose time fits neither the row before nor the row after, first line 4")


def test_short_holes_are_filled_and_long_ones_end_the_piece(read):
    rows = ["0,18,0", "1,,5", "2,21.6,11", "3,--,17", "4,,23", "5,18,28", "6,18,33"]
    log = read(rows)
    assert log["speed"] == pytest.approx([5, 5.5, 6, 5, 5])
    assert log["time"] == pytest.approx([0, 1, 2, 5, 6]) and list(log.piece) == [0, 0, 0, 1, 1]
    assert "speed: 1 missing value, none for longer than 2 s, first line 3: filled by straight lines" in log.notes
    assert "2 rows whose speed is missing for longer than 2 s, first line 5: left out, the piece ends there" in log.notes


def test_unknown_values_of_others_stay_unknown(read):
    mapping = MAPPING + 'missing = [""]\n'
    log = read(["0,18,0", "1,18,", "2,18,", "3,18,", "4,18,20"], mapping)
    assert np.isnan(log["distance"]).tolist() == [False, True, True, True, False] and set(log.piece) == {0}
    assert told(log, "distance: 3 values missing for longer than 2 s, first line 3: unknown")


def test_headings_are_filled_the_short_way_round(read):
    mapping = MAPPING.replace("[columns.distance]", "[columns.heading]").replace('"m"', '"deg"') + 'missing = [""]\n'
    log = read(["0,18,359", "1,18,", "2,18,1"], mapping)
    assert np.degrees(log["heading"][1]) % 360 == pytest.approx(0, abs=1e-9) or np.degrees(log["heading"][1]) == pytest.approx(360)


def test_values_no_ride_has_are_masked(read):
    log = read([*even(0, 1), "2,999,10", *even(3, 4)])
    assert log["speed"] == pytest.approx([5] * 5)
    assert "speed: 1 value that no ride has, first 999 km/h on line 4: taken as unknown" in log.notes


def test_a_distance_that_begins_again_or_leaps_ends_the_piece(read):
    log = read(["0,18,500", "1,18,505", "2,18,0", "3,18,5", "4,18,9000", "5,18,9005"])
    assert list(log.piece) == [0, 0, 1, 1, 2, 2]
    assert "the distance began again once, first at line 4: a new piece" in log.notes
    assert any("the distance leapt farther than any ride goes once, by at most 8995 m, first at line 6" in note for note in log.notes)
    assert set(read(["0,18,500", "1,-3.6,499", "2,0,498"]).piece) == {0}  # rolled back


@pytest.mark.parametrize("block", [1, 5000])
def test_a_distance_that_begins_again_right_after_a_gap(read, monkeypatch, block):
    monkeypatch.setattr(reader, "BLOCK", block)
    log = read(["0,18,500", "1,18,505", "9,18,545", "10,18,0", "11,18,5"])
    assert list(log.piece) == [0, 0, 1, 2, 2] and any("distance began again once, first at line 5" in note for note in log.notes)


def test_a_hole_is_not_filled_over_the_end_of_a_piece(read):
    log = read("t,v,d\n0,18,0\n0.5,,2\nt,v,d\n1,18,5\n1.5,,7\n2,36,11\n")
    assert log["time"] == pytest.approx([0, 1, 1.5, 2]) and log["speed"] == pytest.approx([5, 5, 7.5, 10])
    assert list(log.piece) == [0, 1, 1, 1]


def test_zero_speed_is_kept_and_told(read):
    log = read(["0,18,0", "1,0,2", "2,0,2", "3,18,5"])
    assert len(log["time"]) == 4 and told(log, "speed is 0 in 2 rows, first line 3: kept")


def test_names_that_stand_again_end_a_piece(read):
    log = read("t,v,d\n" + "\n".join(even(0, 1)) + "\nt,v,d\n" + "\n".join(even(2, 3)) + "\nt,v,d\n")
    assert list(log.piece) == [0, 0, 1, 1] and log["time"] == pytest.approx([0, 1, 2, 3])
    assert told(log, "the names stand again once, first before line 5")


def test_a_torn_last_row_is_left_out(read):
    log = read("t,v,d\n" + "\n".join(even(0, 1, 2)) + "\n3,18")
    assert len(log["time"]) == 3 and told(log, "the last row, line 5, breaks off: left out")
    with pytest.raises(InputError, match=r"ride.csv:5: the row: expected 3 entries as in the first row; found: 2"):
        read("t,v,d\n" + "\n".join(even(0, 1, 2)) + "\n3,18\n4,18,20\n")


PEDALS = (
    MAPPING.replace('longest_interval = "2 s"', 'longest_interval = "2 s"\nderive = ["pedal_power"]')
    + """
[columns.pedal_torque]
column = "T"
unit = "N*m"
sign = -1
[columns.crank_rate]
column = "n"
unit = "rpm"
"""
)


def test_pedal_power_is_computed_where_declared_and_told(read):
    log = read(["0,18,0,-10,60", "1,18,5,-20,60", "2,18,10,-30,30"], PEDALS, "t,v,d,T,n")
    assert log["pedal_power"] == pytest.approx([20 * np.pi, 40 * np.pi, 30 * np.pi])
    assert told(log, "pedal power is computed: pedal torque times crank rate")
    assert "pedal_power" not in read(["0,18,0"] * 2 + even(1, 2), MAPPING)


def with_head(*lines, mapping=MAPPING):
    return mapping.replace("format = 1", "\n".join(["format = 1", *lines]))


def test_names_and_numbers_that_begin_on_a_later_line(read):
    text = 'logger 7,"a, b"\nserial,1\nt,v,d\ns,km/h,m\n0,18,0\n1,18,5\n2,18,x\n'
    mapping = with_head("names_line = 3", "first_line = 5")
    with pytest.raises(InputError, match=r"ride.csv:7: d: expected a finite number"):
        read(text, mapping)
    assert read(text.replace("x", "10"), mapping)["distance"] == pytest.approx([0, 5, 10])
    with pytest.raises(InputError, match=r"ride.csv:2: time: expected one column 't'; found: none; the columns are 'serial', '1'"):
        read(text, with_head("names_line = 2"))
    twice = text.replace("2,18,x\n", "t,v,d\ns,km/h,m\n2,18,10\n")
    again = read(twice, mapping)
    assert list(again.piece) == [0, 0, 1] and told(again, "first before line 9")


def test_a_table_without_names_has_numbered_columns(read):
    mapping = with_head("names_line = 0")
    for name, number in (("t", 1), ("v", 2), ("d", 3)):
        mapping = mapping.replace(f'column = "{name}"', f'column = "{number}"')
    log = read("0,18,0\n1,18,5\n2,18,10\n", mapping)
    assert log["distance"] == pytest.approx([0, 5, 10])
    assert (
        len(read("made by no one\n0,18,0\n1,18,5\n2,18,10\n", mapping.replace("names_line = 0", "names_line = 0\nfirst_line = 2"))["time"])
        == 3
    )
    with pytest.raises(
        InputError, match=r"ride.csv:2: 2: expected a finite number with a decimal point, or a text that missing declares; found: 'x'"
    ):
        read("0,18,0\n1,x,5\n2,18,10\n", mapping)


@pytest.mark.parametrize(("word", "codec"), [("latin-1", "latin-1"), ("utf-16", "utf-16"), ("utf-8", "utf-8-sig")])
def test_other_encodings(read, word, codec):
    text = "t,v,d,°C\n" + "\n".join(f"{n},18,{5 * n},20" for n in range(3))
    assert len(read(text.encode(codec), with_head(f'encoding = "{word}"'))["time"]) == 3
    if word != "utf-8":
        with pytest.raises(InputError, match="expected UTF-8 text"):
            read(text.encode(codec), MAPPING)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("format = 1", 'format = 1\nencoding = "cp437"', r"encoding = 'cp437': expected 'utf-8' or 'utf-16' or 'latin-1'"),
        ("format = 1", "format = 1\nnames_line = -1", r"names_line = -1: expected the number of a line, from 0 to 1,000"),
        ("format = 1", "format = 1\nnames_line = true", r"names_line = True"),
        ("format = 1", "format = 1\nnames_line = 3\nfirst_line = 3", r"first_line = 3: expected the number of a line, from 4 to 1,000"),
        (
            '[columns.distance]\ncolumn = "d"\nunit = "m"',
            '[columns.slope]\ncolumn = "d"',
            r"columns.slope.unit: expected a unit of slope, \"\" for a",
        ),
        ('longest_interval = "2 s"\n', "", r"longest_interval: expected the longest interval .*found: nothing, it is missing"),
        ('"2 s"', '"2 m"', r"longest_interval = '2 m': expected the longest interval"),
        ('"2 s"', '"0 s"', r"longest_interval = '0 s'"),
        ('"2 s"', '"2 h"', r"longest_interval = '2 h'"),
        ('missing = ["", "--"]', 'missing = ""', r"columns.speed.missing = '': expected a list of texts that stand for no value"),
        ('missing = ["", "--"]', "missing = [0]", r"columns.speed.missing = \[0\]"),
        ('unit = "s"', 'unit = "s"\nmissing = [""]', r"columns.time.missing: an unknown name"),
        ('unit = "s"', 'clock = "UTC"', r"columns.time.clock = 'UTC': expected 'with zone' or 'without zone'; found: 'UTC'"),
        ('unit = "s"', 'clock = "with zone"\nunit = "s"', r"columns.time.unit = 's': expected no unit and no sign beside a clock"),
        ('unit = "km/h"', 'unit = "rpm"', r"columns.speed.unit = 'rpm': expected a unit of speed"),
        ("[columns.speed]", "[columns.sped]", r"columns.sped: .*an unknown quantity \(did you mean 'speed'\?\)"),
        ('source = "invented"', 'source = "invented"\nlargest_jitter = "5 %"', r"largest_jitter.*: an unknown name"),
        (
            'source = "invented"',
            'source = "invented"\nderive = ["pedal_power"]',
            r"derive = 'pedal_power': expected columns for pedal_torque and",
        ),
        (
            'source = "invented"',
            'source = "invented"\nderive = ["sped"]',
            r"derive = 'sped': expected one of pedal_power; found: what is not",
        ),
        ('source = "invented"', 'source = "invented"\nderive = "speed"', r"derive = 'speed': expected a list of quantities to compute"),
        ("format = 1", "format = 2", r"format = 2: expected format = 1; found: 2"),
    ],
)
def test_what_is_wrong_in_the_mapping_is_named(read, old, new, said):
    assert old in MAPPING
    with pytest.raises(InputError, match=said):
        read(even(0, 1, 2), MAPPING.replace(old, new, 1))


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (
            ["0,18,0", "1,x,5", "2,18,10"],
            r"ride.csv:3: v: expected a finite number with a decimal point, or a text that missing declares; found: 'x'",
        ),
        (
            ["0,18,0", "1,18,", "2,18,10"],
            r"ride.csv:3: d: expected a finite number with a decimal point, or a text that missing declares; found: an empty cell",
        ),
        (["0,18,0", ",18,5", "2,18,10"], r"ride.csv:3: t: expected a finite number with a decimal point; found: an empty cell"),
        (["0,18,0", "1e12,18,5", "1e12,18,10"], r"ride.csv:3: expected a time within 300 years .*found: 1e\+12 s; is the unit right\?"),
        (["0,18,0"], r"expected at least 3 rows of numbers; found: 1"),
        (["0,--,0", "1,--,0", "2,--,0"], r"expected rows that can be used; found: none of 3: 3 rows whose speed is missing"),
        ("a,b\n1,2\n", r"ride.csv:1: time: expected one column 't'; found: none; the columns are 'a', 'b'"),
        (b"t,v,d\n\xff,1,2\n", "expected UTF-8 text"),
        ('t,v,d\n"0,1,2\n', "expected a table of text; found: unexpected end of data"),
        ("t,v,d" + "x" * 2**21, "expected lines of fewer than 1,048,576 characters; found: a longer one"),
        ("", "expected the names of columns"),
    ],
)
def test_what_is_wrong_in_the_table_is_named(read, rows, said):
    with pytest.raises(InputError, match=said):
        read(rows)


def test_what_is_no_file_is_refused(tmp_path):
    (tmp_path / "map.toml").write_text(MAPPING, encoding="utf-8")
    for path, said in ((tmp_path, "a folder"), (tmp_path / "none.csv", "no such file"), ("/dev/null", "not a regular file")):
        with pytest.raises(InputError, match=said):
            load_ride(path, tmp_path / "map.toml")


@pytest.mark.parametrize("block", [1, 2, 7, 5000])
def test_blocks_change_nothing(read, monkeypatch, block):
    """What is found does not depend on where the blocks of the reader end."""
    stream = np.random.default_rng(3)
    rows, time, distance = [], 0.0, 0.0
    for number in range(400):
        kind = stream.integers(40)
        time += {0: 30.0, 1: -500.0, 2: 0.0, 3: -0.3}.get(kind, 0.5)
        speed = max(0.0, 18 + 5 * np.sin(number / 9))
        distance = 0.0 if kind == 4 else distance + speed / 7.2
        rows.append(f"{9e6 if kind == 5 else time},{'' if stream.integers(6) == 0 else 900 if kind == 6 else speed},{distance}")
        rows += ["t,v,d"] * int(kind == 7)
    whole = read(rows)
    assert len(whole.notes) > 8 and whole.piece[-1] > 20
    monkeypatch.setattr(reader, "BLOCK", block)
    again = read(rows)
    assert sorted(again.notes) == sorted(whole.notes)
    assert list(again.piece) == list(whole.piece)
    for quantity in whole.values:
        np.testing.assert_allclose(again[quantity], whole[quantity], rtol=1e-12, atol=1e-9)


@pytest.mark.checks("independent")
def test_a_clean_table_is_what_pandas_reads(read):
    stream, count = np.random.default_rng(8), 300
    begin = pandas.Timestamp("2026-03-01T22:59:00+02:00")
    stamps = [(begin + pandas.Timedelta(milliseconds=int(n))).isoformat() for n in np.cumsum(stream.integers(1, 2000, count))]
    rows = [f"{stamp},{v:.3f},{d:.2f}" for stamp, v, d in zip(stamps, stream.uniform(0, 30, count), np.arange(count) * 3.0, strict=True)]
    log = read(rows, CLOCK)
    table = pandas.read_csv(io.StringIO("\n".join(["t,v,d", *rows])), parse_dates=["t"])
    np.testing.assert_allclose(log["time"], (table["t"] - table["t"][0]).dt.total_seconds(), rtol=0, atol=1e-6)
    np.testing.assert_allclose(log["speed"], table["v"] / 3.6, rtol=1e-14)
    np.testing.assert_allclose(log["distance"], table["d"], rtol=1e-14)


def test_the_patchy_example_shows_most_repairs():
    folder = Path(__file__).parents[2] / "data" / "logs"
    notes = load_ride(folder / "patchy.csv", folder / "patchy.toml").notes
    for words in (
        "breaks off",
        "no ride has",
        "the time of the row before",
        "gap longer",
        "began again",
        "filled by straight lines",
        "speed is 0",
    ):
        assert any(words in note for note in notes), words


def test_progress_is_told_and_may_stop_the_reading(read, monkeypatch):
    monkeypatch.setattr(reader, "BLOCK", 100)
    seen = []
    read(even(*range(1000)), progress=seen.append)
    assert seen == sorted(seen) and seen[-1] == 1.0 and len(seen) > 5

    class Stopped(Exception):
        pass

    def stop(share):
        raise Stopped

    with pytest.raises(Stopped):
        read(even(*range(1000)), progress=stop)


def test_a_stream_is_read_once(read, tmp_path):
    read(even(0, 1, 2))
    stream = RideStream(tmp_path / "ride.csv", tmp_path / "map.toml")
    assert sum(len(part.piece) for part in stream) == 3
    with pytest.raises(ValueError, match="read once"):
        next(iter(stream))


def test_a_made_ride_says_what_it_needs():
    log = make_ride("made", "invented", {"time": [0, 1, 3], "speed": [1, 2, 3]})
    assert list(log.piece) == [0, 0, 0]
    with pytest.raises(ValueError, match="no heading; it holds time, speed"):
        log["heading"]
    with pytest.raises(ValueError, match="times that rise"):
        make_ride("made", "invented", {"time": [0, 1, 1], "speed": [1, 2, 3]})
    with pytest.raises(ValueError, match="piece must be 3 whole numbers"):
        make_ride("made", "invented", {"time": [0, 1, 2], "speed": [1, 2, 3]}, [0, 1, 0])
    with pytest.raises(ValueError, match=r"no quantity 'sped' \(did you mean 'speed'\?\)"):
        make_ride("made", "invented", {"time": [0], "sped": [1]})


WORDS = [
    "1",
    "-1",
    '"s"',
    '"ms"',
    '"h"',
    '"rpm"',
    '"comma"',
    '"tab"',
    "true",
    "[]",
    '[""]',
    '"2 s"',
    '"nan s"',
    '"1e-30 s"',
    "{}",
    "inf",
    '"t"',
    '"é"',
    '"with zone"',
]


@pytest.mark.parametrize("seed", range(8))
def test_any_mapping_is_taken_or_refused(read, seed):
    """Seeded damage to good mappings: values, lost and doubled lines, cut ends."""
    stream = np.random.default_rng(seed)
    outcomes = set()
    for _ in range(40):
        lines = str(stream.choice([MAPPING, CLOCK, PEDALS, with_head("names_line = 1", "first_line = 2", 'encoding = "utf-8"')])).split(
            "\n"
        )
        for _ in range(int(stream.integers(0, 3))):
            place = int(stream.integers(len(lines)))
            change = stream.integers(4)
            if change == 0:
                lines[place : place + 1] = [lines[place]] * int(stream.integers(0, 3))
            elif "=" in lines[place]:
                lines[place] = lines[place].split("=")[0] + "= " + str(stream.choice(WORDS))
        text = "\n".join(lines)
        if stream.integers(6) == 0:
            text = text[: int(stream.integers(len(text)))]
        stamps = "2026-06-01T08:00:{:02d}Z" if "with zone" in text else "{}"
        try:
            read([f"{stamps.format(n)},18,{5 * n},1,1" for n in range(20)], text, "t,v,d,T,n")
        except InputError as error:
            assert len(str(error).splitlines()) == len(error.problems)
            outcomes.add("refused")
        else:
            outcomes.add("taken")
    assert outcomes == {"refused", "taken"}


PIECES = [
    "1e308",
    "-1e308",
    "0",
    "1",
    "2.5",
    "-3",
    "",
    "--",
    "nan",
    "inf",
    "1e300",
    "1e12",
    "x",
    "1_0",
    "1,5",
    '"',
    '""',
    "'",
    "\t",
    " ",
    "\0",
    "é",
    "t,v,d",
    "999",
]


@pytest.mark.parametrize("seed", range(20))
def test_any_table_is_read_with_notes_or_refused(read, seed, monkeypatch):
    """Seeded damage to a good table: cells, separators, line ends, bytes, lost and doubled rows."""
    stream = np.random.default_rng(seed)
    monkeypatch.setattr(reader, "BLOCK", int(stream.integers(1, 40)))
    outcomes = set()
    for _ in range(15):
        rows = [row.split(",") for row in even(*np.cumsum(stream.choice([0.1, 0.5, 1.0], 60)))]
        for _ in range(int(stream.integers(0, 4))):
            row = rows[int(stream.integers(len(rows)))]
            row[int(stream.integers(len(row)))] = str(stream.choice(PIECES))
        for _ in range(int(stream.integers(0, 3))):
            place = int(stream.integers(len(rows)))
            rows[place : place + 1] = [rows[place]] * int(stream.integers(0, 3))
        text = "\n".join(["t,v,d", *map(",".join, rows)]).encode()
        if stream.integers(3) == 0:
            text = text[: int(stream.integers(len(text)))]
        if stream.integers(6) == 0:
            place = int(stream.integers(len(text) + 1))
            text = text[:place] + bytes(stream.integers(0, 256, int(stream.integers(1, 4)), dtype=np.uint8)) + text[place:]
        try:
            log = read(text, MAPPING.replace('"s"', str(stream.choice(['"s"', '"ms"', '"h"']))))
        except InputError as error:
            assert str(error).count("ride.csv") == len(error.problems)
            outcomes.add("refused")
        else:
            assert np.all(np.diff(log["time"]) > 0) and np.isfinite(log["speed"]).all() and np.all(np.diff(log.piece) >= 0)
            outcomes.add("read")
    assert outcomes == {"refused", "read"}
