"""Heating runs of a bench record: read as declared, and refused in one line that says where and what."""

import re
from pathlib import Path

import numpy as np
import pytest

from unikit.inputs import InputError, load_bench

RECORD = Path(__file__).parents[2] / "data" / "bench" / "heating.toml"
TABLE = RECORD.parent / "warmed_at_20A.csv"


@pytest.fixture
def read(tmp_path):
    """Read the first run of the example record alone, with a replacement in the record or in the first rows of its table."""

    def reading(record=("", ""), table=("", "")):
        whole = RECORD.read_text(encoding="utf-8").split("\n[[runs]]\n")
        texts = "\n[[runs]]\n".join(whole[:2]), "\n".join(TABLE.read_text(encoding="utf-8").split("\n")[:40]) + "\n"
        for name, text, (old, new) in zip(("heating.toml", TABLE.name), texts, (record, table), strict=True):
            assert old in text, "the replacement replaces nothing"
            (tmp_path / name).write_text(text.replace(old, new, 1) if old else text, encoding="utf-8")
        return load_bench(tmp_path / "heating.toml").runs[0]

    return reading


def test_a_heating_run_is_read_with_its_instruments(read):
    run = read()
    assert run.kind == "heating" and len(run.values("time")) == 39
    assert run.values("housing_temperature")[0] == pytest.approx(273.15 + float(TABLE.read_text().split("\n")[1].split(",")[3]))
    assert run["direct_current"].common.share == 0.003 and run["direct_voltage"].each.fixed == 0.0004
    assert run["heated_phases"].constant and float(run.values("heated_phases")) == 2
    assert run["stator_temperature"].common.fixed == pytest.approx(0.289)


FIRST = "\n".join(TABLE.read_text(encoding="utf-8").split("\n")[1:3])
ROW = FIRST.split("\n")[0].split(",")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            ("voltage_V,housing_C", "housing_C,voltage_V"),
            r"csv:2: voltage_V: expected -10 V to 10 V, the range of the instrument; .*another quantity",
        ),
        (("time_s,current_A", "current_A,time_s"), r"csv:\d+: (current_A|time_s)"),
        (("\n10,", "\n0,"), r"csv:3: time_s = '0 s': expected time that rises from row to row; found: the same again"),
        (("\n30,", "\n15,"), r"csv:5: time_s = '15 s': .*found: less than in the row before"),
        ((ROW[3], "warm"), r"csv:2: housing_C: expected a finite number with a decimal point; found: 'warm'"),
        ((ROW[2], ""), r"csv:2: voltage_V: .*found: an empty cell"),
        ((ROW[2], "nan"), r"csv:2: voltage_V: .*found: 'nan'"),
        ((ROW[1], "45.0"), r"csv:2: current_A: expected -30 A to 30 A, the range of the instrument; found: 45 A"),
        (("air_C", "room_C"), r"csv:1: air_temperature: expected one column 'air_C'; found: none"),
    ],
)
def test_what_is_wrong_in_the_table_is_one_clear_line(read, change, said):
    with pytest.raises(InputError, match=said) as caught:
        read(table=change)
    assert len(caught.value.problems) == 1


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            ('column = "housing_C"\nunit = "°C"\n', 'column = "housing_C"\n'),
            r"columns.housing_temperature.unit: .*found: the unit is missing",
        ),
        (
            ('column = "current_A"\nunit = "A"', 'column = "current_A"\nunit = "V"'),
            r"columns.direct_current.unit = 'V': expected a unit of current",
        ),
        (("[runs.columns.air_temperature]", "[runs.columns.room_temperature]"), r"columns.room_temperature: .*an unknown quantity"),
        (
            ("[runs.columns.stator_temperature]", "[runs.columns.line_resistance]"),
            r"columns.line_resistance: .*a quantity of another kind of run",
        ),
        (('uncertainty = "0.004 A"\n', ""), r"columns.direct_current.uncertainty: expected a standard deviation such as '20 A'"),
        (
            ('[runs.constants.heated_phases]\nvalue = "2"', '[runs.constants.heated_phases]\nvalue = "two"'),
            r"constants.heated_phases.value = 'two'",
        ),
    ],
)
def test_what_is_wrong_in_the_record_is_named(read, change, said):
    with pytest.raises(InputError, match=said):
        read(record=change)


@pytest.mark.parametrize("part", ["air_temperature", "housing_temperature", "heated_phases", "air_speed", "rotation", "direct_voltage"])
def test_what_a_heating_run_needs_must_be_there(read, part):
    text = RECORD.read_text(encoding="utf-8")
    section = re.search(rf"\[runs\.(?:columns|constants)\.{part}\]\n(?:[a-z_]+ = .*\n)+", text)[0]
    with pytest.raises(InputError, match=f"runs\\[1\\].columns: expected .*{part}.* for a heating run; found: "):
        read(record=(section, ""))


def test_the_example_record_is_whole():
    bench = load_bench(RECORD)
    assert [run.name for run in bench.of_kind("heating")] == ["warmed_at_20A", "warmed_at_14A"]
    for run in bench.runs:
        assert np.ptp(run.values("direct_current")) > 10 and len(run.values("time")) > 800
