"""Logs: read as declared, and refused with file, row, column, value and what was expected."""

import dataclasses
import tracemalloc

import numpy as np
import pytest

from unikit.inputs import InputError, load_log, make_log
from unikit.inputs import columns as reader

MAPPING = """
format = 1
name = "Trial"
source = "invented"
delimiter = "comma"
decimal = "point"
largest_jitter = "5 %"
[columns.time]
column = "t"
unit = "ms"
[columns.lean_rate]
column = "gyro"
unit = "deg/s"
sign = -1
[columns.pedal_torque]
column = "torque"
unit = "N·m"
"""
TABLE = "t,note,gyro,torque\n0,a,10,1.5\n10,b,20,2.5\n20,,-30,3.5\n30,c,40,-4.5\n"


@pytest.fixture
def read(tmp_path):
    """Write a mapping and a table, each changed by one replacement, and read them."""

    def reading(mapping=("", ""), table=("", ""), text=None):
        (tmp_path / "map.toml").write_text(MAPPING.replace(*mapping) if mapping[0] else MAPPING, encoding="utf-8")
        content = text if text is not None else TABLE.replace(*table) if table[0] else TABLE
        (tmp_path / "ride.csv").write_bytes(content if isinstance(content, bytes) else content.encode())
        return load_log(tmp_path / "ride.csv", tmp_path / "map.toml")

    return reading


def test_units_and_signs_are_those_of_the_mapping(read):
    log = read()
    assert log["time"] == pytest.approx([0, 0.01, 0.02, 0.03])
    assert log["lean_rate"] == pytest.approx(np.radians([-10, -20, 30, -40]))
    assert log["pedal_torque"] == pytest.approx([1.5, 2.5, 3.5, -4.5])
    assert log.sampling_rate == pytest.approx(100) and log.duration == pytest.approx(0.03)
    assert (log.name, log.source) == ("Trial", "invented")
    assert "speed" not in log and "lean_rate" in log


def test_other_signs_of_number_and_delimiter(read):
    for word, sign in (("semicolon", ";"), ("tab", "\t")):
        text = TABLE.replace(",", sign).replace(".", ",")
        mapping = MAPPING.replace('"comma"', f'"{word}"').replace('"point"', '"comma"')
        assert read((MAPPING, mapping), text=text)["pedal_torque"] == pytest.approx([1.5, 2.5, 3.5, -4.5])


def test_a_log_cannot_be_changed(read):
    log = read()
    with pytest.raises(ValueError):
        log["lean_rate"][0] = 1.0
    with pytest.raises(dataclasses.FrozenInstanceError):
        log.name = "other"
    with pytest.raises(TypeError):
        log.values["speed"] = log["time"]


def test_small_jitter_is_resampled_and_more_is_refused(read):
    uneven = read(table=("\n10,b,20,2.5", "\n10.4,b,20.8,2.54"))
    assert np.diff(uneven["time"]) == pytest.approx([0.01] * 3)
    assert uneven["lean_rate"][1] == pytest.approx(-np.radians(10 + 10.8 * 10 / 10.4))
    with pytest.raises(InputError, match="an uneven interval of 0.011 s"):
        read(table=("\n10,b", "\n11,b"))


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (("20,,-30", "20,,x30"), r"ride.csv:4: gyro: expected a finite number with a decimal point; found: 'x30'"),
        (("20,,-30", "20,,"), r"ride.csv:4: gyro: expected a finite number with a decimal point; found: an empty cell"),
        (("20,,-30", "20,,nan"), r"ride.csv:4: gyro: .*found: 'nan'"),
        (("20,,-30", "20,,3_0"), r"ride.csv:4: gyro: .*found: '3_0'"),
        (("20,,-30,3.5", "20,,-30"), r"ride.csv:4: the row: expected 4 entries as in the first row; found: 3"),
        (("20,,-30,3.5", "20,,-30,3,5"), r"ride.csv:4: the row: expected 4 entries as in the first row; found: 5"),
        (
            ("gyro", "Gyro"),
            r"ride.csv:1: lean_rate: expected one column 'gyro'; found: none; the columns are 't', 'note', 'Gyro', 'torque'",
        ),
        (("note", "gyro"), r"ride.csv:1: lean_rate: expected one column 'gyro'; found: 2 of that name"),
        (("20,,", "10,,"), r"ride.csv:4: t = '0.01 s': expected times that rise from row to row; found: the same time again"),
        (("20,,", "5,,"), r"ride.csv:4: t = '0.005 s': .*found: an earlier time"),
        (("30,c", "90,c"), r"ride.csv:5: t = '0.09 s': expected intervals within 5 % of 0.01 s, .*found: a gap of 0.07 s"),
    ],
)
def test_what_is_wrong_in_the_table_is_named(read, table, said):
    with pytest.raises(InputError, match=said):
        read(table=table)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "expected the names of columns"),
        ("t,gyro,torque\n", "expected at least 3 rows of numbers; found: 0"),
        (b"t,gyro,torque\n\xff\xfe,1,2\n", "expected UTF-8 text"),
        ('t,gyro,torque\n"0,1,2\n', "expected a table of text; found: unexpected end of data"),
    ],
)
def test_what_is_no_table_is_refused(read, text, said):
    with pytest.raises(InputError, match=said):
        read(text=text)


@pytest.mark.parametrize(
    ("mapping", "said"),
    [
        (
            ('unit = "ms"', 'unit = "rpm"'),
            r"columns.time.unit = 'rpm': expected a unit of time: s, ms, min, h; found: 'rpm' is a unit of rotation",
        ),
        (('unit = "ms"', "unit = 3"), r"columns.time.unit = 3: .*found: the unit is missing"),
        (("sign = -1", "sign = 2"), r"columns.lean_rate.sign = 2: expected 1 or -1; found: 2"),
        (("[columns.lean_rate]", "[columns.lean_rat]"), r"columns.lean_rat: .*an unknown quantity \(did you mean 'lean_rate'\?\)"),
        (("sign = -1", "sing = -1"), r"columns.lean_rate.sing: an unknown name \(did you mean 'sign'\?\)"),
        (('column = "gyro"\n', ""), r"columns.lean_rate.column: expected the name that stands over the column; found: nothing"),
        (('column = "gyro"', 'column = "torque"'), r"columns: expected each column for one quantity; found: 'torque' for several"),
        (('decimal = "point"', 'decimal = "comma"'), r"decimal = 'comma': expected another sign than the delimiter"),
        (('delimiter = "comma"', 'delimiter = ","'), r"delimiter = ',': expected 'comma' or 'semicolon' or 'tab'"),
        (('"5 %"', '"80 %"'), r"largest_jitter = '80 %': expected a share"),
        (('largest_jitter = "5 %"', ""), r"largest_jitter: expected a share .*found: nothing, it is missing"),
        (("format = 1", "format = 2"), r"format = 2: expected format = 1; found: 2"),
        (('source = "invented"', ""), r"source: expected a text; found: nothing"),
        (("[columns.time]", "[columns.speed]"), r"columns: expected a table \[columns.time\]"),
    ],
)
def test_what_is_wrong_in_the_mapping_is_named(read, mapping, said):
    with pytest.raises(InputError, match=said):
        read(mapping=mapping)


def test_files_that_are_not_there(tmp_path):
    (tmp_path / "map.toml").write_text(MAPPING, encoding="utf-8")
    with pytest.raises(InputError, match="there is no such file"):
        load_log(tmp_path / "none.csv", tmp_path / "map.toml")
    with pytest.raises(InputError, match="there is no such file"):
        load_log(tmp_path / "none.csv", tmp_path / "none.toml")
    with pytest.raises(InputError, match="a folder"):
        load_log(tmp_path, tmp_path / "map.toml")


def test_a_bad_table_is_given_up_after_a_few_problems(read):
    rows = "".join(f"{10 * n},,x,y\n" for n in range(50))
    with pytest.raises(InputError) as caught:
        read(text="t,note,gyro,torque\n" + rows)
    assert len(caught.value.problems) == reader.MOST_PROBLEMS


def test_memory_grows_with_the_numbers_alone(tmp_path):
    """A long log takes a few times its numbers, not the many Python objects that its rows are."""
    rows = 40_000
    text = "t,note,gyro,torque\n" + "".join(f"{10 * n},{'x' * 40},{n % 90}.5,{n % 7}\n" for n in range(rows))
    (tmp_path / "ride.csv").write_text(text, encoding="utf-8")
    (tmp_path / "map.toml").write_text(MAPPING, encoding="utf-8")
    del text
    tracemalloc.start()
    load_log(tmp_path / "ride.csv", tmp_path / "map.toml")
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 8 * 3 * 8 * rows


def test_a_made_log_says_what_it_needs():
    log = make_log("made", "invented", 50.0, {"lean_rate": [1.0, 2.0, 3.0]})
    assert log["time"] == pytest.approx([0, 0.02, 0.04])
    with pytest.raises(ValueError, match="log 'made' has no speed; it holds time, lean_rate"):
        log["speed"]
    with pytest.raises(ValueError, match=r"no quantity 'lean_rat' \(did you mean 'lean_rate'\?\)"):
        make_log("made", "invented", 50.0, {"lean_rat": [1.0]})
    with pytest.raises(ValueError, match="lists of one length"):
        make_log("made", "invented", 50.0, {"lean_rate": [1.0, 2.0], "speed": [1.0]})


def test_a_log_may_begin_on_a_later_line(read):
    log = read(
        ("format = 1", "format = 1\nnames_line = 2\nfirst_line = 4"),
        text="made by no one\n" + TABLE.replace("torque\n", "torque\nms,,deg/s,N·m\n"),
    )
    assert log["pedal_torque"] == pytest.approx([1.5, 2.5, 3.5, -4.5])
