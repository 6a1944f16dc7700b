"""Series of weights in a record: read as declared, and refused with file, field, value and what was expected."""

import numpy as np
import pytest

from unikit.inputs import InputError, load_bench
from unikit.inputs.bench import make_run
from unikit.studies import bench_files, weighed

ROWS = ["reading,mass,angle,T_sensor,U_out"] + [
    f"{place},{mass},-0.5,20.0,{1.65 + 0.02 * mass:.4f}" for place, mass in enumerate([0, 10, 20, 30, 20, 10, 0], 1)
]


@pytest.fixture
def read(tmp_path):
    """Writes the example record with changes, and reads it."""

    def reading(head=lambda text: text, rows=None):
        texts = weighed.files(weighed.weighed(1))
        cut = texts["harbour_crank.toml"].split("\n[[runs]]")
        texts["harbour_crank.toml"] = head(cut[0] + "\n[[runs]]" + cut[1])
        texts["cold_forward_1.csv"] = "\n".join(rows or ROWS) + "\n"
        return load_bench(bench_files.write(texts, tmp_path)[0])

    return reading


def cell(row, column, text):
    """The rows with another text in one cell."""
    rows = [line.split(",") for line in ROWS]
    rows[row][column] = text
    return [",".join(line) for line in rows]


def test_a_series_says_its_side_and_its_order(read):
    (run,) = read().runs
    assert run.kind == "weights" and dict(run.words) == {"side": "forward", "loading": "up and down"}
    assert run.values("hung_mass").tolist() == [0, 10, 20, 30, 20, 10, 0]
    assert run.values("crank_angle") == pytest.approx(np.radians(-0.5))
    assert run["crank_length"].constant and run["crank_length"].instrument == "crank length"
    assert run["zero_shift"].instrument == "cold_forward_1.zero_shift"


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        (cell(2, 1, "-10"), ["cold_forward_1.csv:3", "mass", "a mass of at least 0", 'side = "backward"', "-10 kg"]),
        (cell(1, 1, "5"), ["cold_forward_1.csv:2", "mass", "a first reading with nothing hung, 0 kg", "5 kg"]),
        (cell(2, 1, "25"), ["cold_forward_1.csv:4", "weights that rise up to the heaviest", "20 kg after 25 kg", "order lost"]),
        (cell(6, 1, "25"), ["cold_forward_1.csv:7", "weights that fall after the heaviest", "25 kg after 20 kg"]),
        (ROWS[:5], ["cold_forward_1.csv:5", "readings on the way down too", "the heaviest weight as the last reading"]),
        (cell(3, 4, "nan"), ["cold_forward_1.csv:4", "U_out", "a finite number"]),
        (cell(3, 4, ""), ["cold_forward_1.csv:4", "U_out", "an empty cell"]),
        (cell(3, 4, "4.1"), ["cold_forward_1.csv:4", "U_out", "0 V to 3.3 V, the range of the instrument", "4.1 V"]),
        (cell(3, 2, "75"), ["cold_forward_1.csv:4", "angle", "at most 60 deg from the horizontal", "75 deg"]),
        (cell(3, 0, "2"), ["cold_forward_1.csv:4", "reading that rises from row to row"]),
        ([line.replace("T_sensor", "T") for line in ROWS], ["cold_forward_1.csv:1", "sensor_temperature", "one column 'T_sensor'"]),
    ],
)
def test_a_table_that_is_wrong_is_refused_in_one_line(read, rows, says):
    with pytest.raises(InputError) as refused:
        read(rows=rows)
    text = str(refused.value)
    assert [part for part in says if part not in text] == [], text


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ('side = "forward"\n', "", ["runs[1].side", "'forward' or 'backward'", "nothing, it is missing"]),
        ('side = "forward"', 'side = "left"', ["runs[1].side", "'forward' or 'backward'", "'left'"]),
        ('loading = "up and down"', 'loading = "up"', ["cold_forward_1.csv:6", "weights that rise throughout", "20 kg after the heaviest"]),
        ('loading = "up and down"', 'loading = "down"', ["runs[1].loading", "'up' or 'up and down'"]),
        ("crank_length", "crank_lenght", ["runs[1].constants.crank_lenght", "an unknown quantity", "crank_length"]),
        ("131", "-131", ["crank_length.value", "a length of at least 0"]),
        ('unit = "kg"', 'unit = "N"', ["hung_mass.unit", "a unit of mass"]),
        ('uncertainty = "0.04 %"\n', "", ["hung_mass.uncertainty", "a standard deviation", "nothing, it is missing"]),
    ],
)
def test_a_declaration_that_is_wrong_is_refused(read, before, after, says):
    def head(text):
        assert before in text
        return text.replace(before, after, 1)

    with pytest.raises(InputError) as refused:
        read(head)
    text = str(refused.value)
    assert [part for part in says if part not in text] == [], text


COUNTS = """[runs.columns.converter_counts]
column = "U_out"
unit = ""
uncertainty = "1"
range = "0 to 5000"
[runs.constants.converter_range]
value = "3.3 V"
uncertainty = "3 mV"
[runs.constants.converter_bits]
value = "12"
"""


def counted(text):
    begin, end = text.index("[runs.columns.sensor_output]"), text.index("[runs.constants.crank_length]")
    return text[:begin] + COUNTS + text[end:]


def test_counts_of_a_converter_stand_for_volts(read):
    (run,) = read(counted, cell(3, 4, "4000")).runs
    assert run.values("converter_counts")[2] == 4000 and run["converter_bits"].instrument == "converter bits"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("4200", ["cold_forward_1.csv:4", "U_out", "at most 4095, the last count of 12 bits", "4200"]),
        ("4095", ["less than 4095", "shows nothing more"]),
    ],
)
def test_counts_beyond_the_converter_are_refused(read, text, says):
    with pytest.raises(InputError) as refused:
        read(counted, cell(3, 4, text))
    assert [part for part in says if part not in str(refused.value)] == [], str(refused.value)


def test_a_converter_has_whole_bits(read):
    with pytest.raises(InputError, match="converter_bits.*a constant whole number from 1 to 32"):
        read(lambda text: counted(text).replace('value = "12"', 'value = "12.5"'))


def test_one_instrument_has_one_number_in_all_series(tmp_path):
    texts = weighed.files(weighed.weighed(1))
    head = texts["harbour_crank.toml"]
    place = head.rindex("[runs.constants.crank_length]")
    texts["harbour_crank.toml"] = head[:place] + head[place:].replace('value = "13', 'value = "14', 1)
    with pytest.raises(InputError, match=r"runs\[8\].constants.crank_length.instrument"):
        load_bench(bench_files.write(texts, tmp_path)[0])


def test_a_series_in_memory_is_held_to_the_same():
    run = weighed.weighed(1).runs[0]
    for quantities, words, says in (
        (run.quantities, {"side": "forward"}, "loading must be one of 'up', 'up and down'"),
        (run.quantities, {"side": "forward", "loading": "up"}, "expected weights that rise throughout"),
        ({**run.quantities, "hung_mass": run["crank_length"]}, dict(run.words), "a column with the mass of each reading"),
        (
            {name: one for name, one in run.quantities.items() if name != "local_gravity"},
            dict(run.words),
            "local_gravity for a weights run",
        ),
    ):
        with pytest.raises(ValueError, match=says):
            make_run("trial", "weights", quantities, words)
