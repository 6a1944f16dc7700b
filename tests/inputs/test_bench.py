"""Records of the bench: read as declared, and refused with file, row, column and what was expected."""

import numpy as np
import pytest

from unikit.inputs import InputError, load_bench
from unikit.inputs.bench import KINDS, QUANTITIES, make_run
from unikit.inputs.instruments import Accuracy

RECORD = """
format = 1
name = "Trial"
source = "invented"

[[runs]]
name = "turned"
kind = "spun"
table = "turned.csv"
delimiter = "comma"
decimal = "point"
[runs.columns.rotation]
column = "n"
unit = "rpm"
uncertainty = "0.5 rpm"
range = "0 rpm to 500 rpm"
[runs.columns.line_voltage_rms]
column = "u"
unit = "V"
uncertainty = "0.2 % + 20 mV"
common_uncertainty = "0.3 %"
range = "0 V to 60 V"
instrument = "meter"
[runs.columns.magnet_temperature]
column = "t"
unit = "°C"
uncertainty = "0.5 K"
range = "-20 °C to 120 °C"

[[runs]]
name = "held"
kind = "stall"
table = "held.csv"
delimiter = "semicolon"
decimal = "comma"
[runs.columns.phase_current_peak]
column = "i"
unit = "A"
uncertainty = "0.1 A"
range = "0 A to 100 A"
[runs.columns.force]
column = "f"
unit = "N"
sign = -1
uncertainty = "0.5 N"
range = "-200 N to 200 N"
[runs.constants.lever_arm]
value = "400 mm"
uncertainty = "1 mm"
"""
TURNED = "n,note,u,t\n100,a,7.7,21\n200,,15.4,22\n300,b,23.2,23\n"
HELD = "i;f\n10;-22,5\n20;-44,0\n30;-63,1\n"


@pytest.fixture
def read(tmp_path):
    """Write a record and its tables, one of them changed by a replacement, and read them."""

    def reading(record=("", ""), turned=("", ""), held=("", "")):
        for name, text, change in (("bench.toml", RECORD, record), ("turned.csv", TURNED, turned), ("held.csv", HELD, held)):
            assert change[0] in text, "the replacement replaces nothing"
            (tmp_path / name).write_text(text.replace(*change, 1) if change[0] else text, encoding="utf-8")
        return load_bench(tmp_path / "bench.toml")

    return reading


def test_units_signs_and_accuracies_are_those_of_the_record(read):
    bench = read()
    turned, held = bench.runs
    assert (bench.name, bench.source, [run.name for run in bench.runs]) == ("Trial", "invented", ["turned", "held"])
    assert turned.values("rotation") == pytest.approx(np.array([100, 200, 300]) * np.pi / 30)
    assert turned.values("magnet_temperature") == pytest.approx([294.15, 295.15, 296.15])
    assert turned["magnet_temperature"].each == Accuracy(0.0, 0.5)
    assert held.values("force") == pytest.approx([22.5, 44.0, 63.1])
    voltage = turned["line_voltage_rms"]
    assert voltage.each.deviation(10.0) == pytest.approx(np.hypot(0.02, 0.02))
    assert voltage.common == Accuracy(0.003, 0.0) and voltage.instrument == "meter"
    assert turned["rotation"].instrument == "turned.rotation"
    arm = held["lever_arm"]
    assert arm.constant and float(arm.values) == 0.4 and arm.common == Accuracy(0.0, 0.001) and arm.each == Accuracy()


def test_runs_are_found_and_left_out_by_name(read):
    bench = read()
    assert bench["held"] is bench.runs[1] and bench.of_kind("spun") == (bench.runs[0],)
    assert [run.name for run in bench.without("turned").runs] == ["held"]
    with pytest.raises(ValueError, match="record 'Trial' has no run 'hold'; it holds turned, held"):
        bench.without("hold")
    with pytest.raises(ValueError, match="run 'held' has no rotation; it holds phase_current_peak, force, lever_arm"):
        bench["held"]["rotation"]
    with pytest.raises(ValueError):
        bench["held"].values("force")[0] = 1.0


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("n,note,u,t", "u,note,n,t"), r"turned.csv:2: u: expected 0 V to 60 V, the range of the instrument; found: 100 V; is the column"),
        (("n,note", "m,note"), r"turned.csv:1: rotation: expected one column 'n'; found: none; the columns are 'm', 'note', 'u', 't'"),
        (
            ("200,,15.4,22\n", "200,,15.4,22\n" * 2),
            r"turned.csv:4: n = '200 rpm': expected rotation that rises .*found: the same row again",
        ),
        (("200,,15.4", "100,,15.4"), r"turned.csv:3: n = '100 rpm': .*; found: the same again"),
        (("200,,15.4", "90,,15.4"), r"turned.csv:3: n = '90 rpm': .*; found: less than in the row before"),
        (("15.4", "fast"), r"turned.csv:3: u: expected a finite number with a decimal point; found: 'fast'"),
        (("15.4", "15,4"), r"turned.csv:3: the row: expected 4 entries as in the first row; found: 5"),
        (("15.4", ""), r"turned.csv:3: u: .*; found: an empty cell"),
        (("15.4", "NaN"), r"turned.csv:3: u: .*; found: 'NaN'"),
        (("15.4", "inf"), r"turned.csv:3: u: .*; found: 'inf'"),
        (("15.4", "75.4"), r"turned.csv:3: u: expected 0 V to 60 V, the range of the instrument; found: 75.4 V"),
        (("15.4", "-15.4"), r"turned.csv:3: u: expected a voltage of at least 0; found: -15.4 V"),
        ((",22\n", ",-300\n"), r"turned.csv:3: t: expected a temperature above absolute zero; found: -26.85 K"),
        (("300,b,23.2,23\n", ""), r"turned.csv: expected at least 3 rows of numbers; found: 2"),
    ],
)
def test_what_is_wrong_in_a_table_is_named_in_one_line(read, change, said):
    with pytest.raises(InputError, match=said) as caught:
        read(turned=change)
    assert len(caught.value.problems) == 1


def test_kelvin_below_zero_are_refused(read, tmp_path):
    with pytest.raises(InputError, match="turned.csv:3: t: expected a temperature above absolute zero; found: -5 K"):
        change = ('unit = "°C"\nuncertainty = "0.5 K"\nrange = "-20 °C', 'unit = "K"\nuncertainty = "0.5 K"\nrange = "-90 K')
        read(record=change, turned=(",22\n", ",-5\n"))


def test_swapped_columns_are_found_by_their_ranges(read):
    with pytest.raises(InputError, match=r"held.csv:2: i: expected a current of at least 0; found: -22.5 A"):
        read(held=("i;f", "f;i"))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('unit = "rpm"\n', ""), r"runs\[1\].columns.rotation.unit: expected a unit of rotation: .*; found: the unit is missing"),
        (('unit = "rpm"', 'unit = "V"'), r"runs\[1\].columns.rotation.unit = 'V': .*; found: 'V' is a unit of voltage"),
        (
            ('uncertainty = "0.5 rpm"\n', ""),
            r"rotation.uncertainty: expected a standard deviation such as '20 rad/s', .*nothing, it is missing",
        ),
        (('"0.5 rpm"', '"0 rpm"'), r"rotation.uncertainty = '0 rpm': expected .*above 0"),
        (('"0.5 rpm"', '"-0.5 rpm"'), r"rotation.uncertainty = '-0.5 rpm': expected .*above 0"),
        (('"0.5 rpm"', '"0.5 V"'), r"rotation.uncertainty = '0.5 V': .*; found: 'V' is a unit of voltage"),
        (
            ('"0.5 K"', '"1 %"'),
            r"magnet_temperature.uncertainty = '1 %': expected a standard deviation such as '20 K'; found: '%' is a unit of",
        ),
        (('range = "0 rpm to 500 rpm"\n', ""), r"rotation.range: expected what the instrument can show, .*nothing, it is missing"),
        (('"0 rpm to 500 rpm"', '"500 rpm"'), r"rotation.range = '500 rpm': expected what the instrument can show"),
        (('"0 rpm to 500 rpm"', '"500 rpm to 0 rpm"'), r"rotation.range = '500 rpm to 0 rpm': expected ends that rise"),
        (('"0 rpm to 500 rpm"', '"0 rpm to 500"'), r"rotation.range = .*; found: the unit is missing"),
        (
            ("columns.line_voltage_rms", "columns.line_voltage"),
            r"columns.line_voltage: .*unknown quantity \(did you mean 'line_voltage_rms'\?\)",
        ),
        (
            ("columns.line_voltage_rms", "columns.force"),
            r"columns.force: expected for a spun run one of .*; found: a quantity of another kind of run",
        ),
        (("columns.rotation", "columns.time"), r"runs\[1\].columns: expected rotation for a spun run; found: line_voltage_rms, magnet"),
        (('column = "u"', 'column = "n"'), r"runs\[1\].columns: expected each column for one quantity; found: 'n' for several"),
        (('kind = "spun"', 'kind = "spin"'), r"runs\[1\].kind = 'spin': expected one of .*; found: 'spin' \(did you mean 'spun'\?\)"),
        (('kind = "spun"\n', ""), r"runs\[1\].kind: expected one of 'resistance', .*; found: None"),
        (('name = "held"', 'name = "turned"'), r"runs: expected a name of its own for each run; found: 'turned' twice"),
        (('name = "held"', 'name = "held on"'), r"runs\[2\].name = 'held on': expected a name of letters"),
        (('table = "held.csv"', 'table = "hold.csv"'), r"hold.csv: expected a file; found: nothing, there is no such file"),
        (('table = "held.csv"\n', ""), r"runs\[2\].table: expected the name of the file with the run's table; found: nothing"),
        (('"semicolon"', '"comma"'), r"runs\[2\].decimal = 'comma': expected another sign than the delimiter"),
        (('value = "400 mm"', "value = 0.4"), r"constants.lever_arm.value = 0.4: expected a text such as '1 m'; found: 0.4"),
        (
            ('value = "400 mm"', 'value = "-400 mm"'),
            r"constants.lever_arm.value = '-400 mm': expected a length of at least 0; found: -0.4 m",
        ),
        (('uncertainty = "1 mm"', ""), r"constants.lever_arm.uncertainty: expected a standard deviation .*nothing"),
        (("[runs.constants.lever_arm]", "[runs.constants.arm]"), r"constants.arm: .*found: an unknown quantity"),
        (("[runs.constants.lever_arm]\n", "[runs.constants.force]\n"), r"constants.force: expected a column or a constant; found: both"),
        (("sign = -1", "sign = 0"), r"columns.force.sign = 0: expected 1 or -1"),
        (("format = 1", "format = 3"), r"format = 3: expected format = 1; found: 3"),
        (('source = "invented"\n', ""), r"source: expected a text; found: nothing"),
    ],
)
def test_what_is_wrong_in_the_record_is_named(read, change, said):
    with pytest.raises(InputError, match=said):
        read(record=change)


def test_one_instrument_has_one_common_uncertainty(read):
    other = ('column = "i"\n', 'column = "i"\ninstrument = "meter"\n')
    with pytest.raises(InputError, match=r"runs\[2\].columns.phase_current_peak.instrument = 'meter': expected one kind of quantity"):
        read(record=other)


def test_a_count_of_readings_may_rise_in_place_of_the_quantity(read):
    extra = ("[runs.columns.line_voltage_rms]", '[runs.columns.reading]\ncolumn = "note"\nunit = ""\n[runs.columns.line_voltage_rms]')
    bench = read(record=extra, turned=(TURNED, "n,note,u,t\n200,1,15.4,22\n200,2,15.4,22\n100,3,7.7,22\n"))
    assert bench["turned"].values("rotation") == pytest.approx(np.array([200, 200, 100]) * np.pi / 30)


def test_records_that_are_none(tmp_path):
    path = tmp_path / "bench.toml"
    for text, said in (("format = 1\nname = 'a'\nsource = 'b'\n", r"runs: expected 1 to 12 tables \[\[runs\]\]; found: nothing"),):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(InputError, match=said):
            load_bench(path)
    with pytest.raises(InputError, match="there is no such file"):
        load_bench(tmp_path / "none.toml")


def test_a_made_run_says_what_it_lacks(read):
    held = read()["held"]
    quantities = dict(held.quantities)
    assert make_run("again", "stall", quantities).kind == "stall"
    with pytest.raises(ValueError, match="a run's kind must be one of"):
        make_run("again", "stuck", quantities)
    with pytest.raises(ValueError, match="run 'again': a stall run has no rotation"):
        make_run("again", "stall", quantities | {"rotation": quantities["force"]})
    del quantities["lever_arm"]
    with pytest.raises(ValueError, match="run 'again': force with lever_arm for a stall run; found: force, phase_current_peak"):
        make_run("again", "stall", quantities)


def test_every_quantity_has_a_run_and_a_run_only_quantities():
    used = {name for needs in KINDS.values() for name in needs.allowed}
    assert used == set(QUANTITIES)
    assert all(needs.running in needs.allowed for needs in KINDS.values())
