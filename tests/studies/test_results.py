"""Results: named fields, units in every header, readable numbers."""

import dataclasses
import re

import numpy as np
import pytest

from unikit.inputs import load_datasheet
from unikit.studies import datasheet, gearing, heat, joining, leverage, machine, motor, pack, ride, winding, wiring
from unikit.studies.results import Result, at, header, show, shown
from unikit.units import Joule, MetrePerSecond

from . import examples


def results():
    """One result of every study, in a case where all of them have something to say."""
    build, case = examples.build(), examples.cases()[1]
    gear = build.gears.named("long")
    found = [study.study(build, case) for study in (gearing, heat, leverage, machine, motor, pack, ride, winding)]
    found.append(pack.discharge(build, case))
    found += [datasheet.study(load_datasheet(f"data/datasheets/{name}.toml")) for name in ("half_a_page", "one_line")]
    found += [wiring.study(build, case), wiring.choose(build, case)]
    found += [joining.study(build), joining.study(build).sides, joining.pairs(build)]
    return [*found, ride.reach(build, case, count=50), gearing.moves(build, case), motor.point(build, case, gear)]


RESULTS = results()


@pytest.mark.parametrize("result", RESULTS, ids=lambda result: type(result).__name__)
def test_every_column_and_line_has_its_unit(result):
    table = result.table()
    assert len(table) >= 1 and table.shape[1] >= 1
    units = {item.metadata["label"]: item.metadata["unit"] for item in dataclasses.fields(result) if "label" in item.metadata}
    for column in table.columns:
        label, _, unit = column.partition(" [")
        assert units[label] == unit.rstrip("]"), column
    for label, text in result.summary().items():
        assert units[label] == "" or text in ("unknown", "no limit", "none") or re.match(r"-?\d[\d.]* \S", text), (label, text)
        assert "nan" not in text and "inf" not in text
    labels = [item.metadata["label"] for item in dataclasses.fields(result) if "label" in item.metadata]
    assert len(labels) == len(set(labels)), "two fields with one label"


@pytest.mark.parametrize("result", RESULTS, ids=lambda result: type(result).__name__)
def test_results_are_frozen(result):
    with pytest.raises(dataclasses.FrozenInstanceError):
        result.gear = "other"


def test_numbers_are_shown_in_their_unit():
    result = ride.study(examples.build(), examples.case(speed=5.0, distance=9000.0))
    lines = result.summary()
    assert lines["speed"] == "18.0 km/h" and lines["distance wanted"] == "9.0 km"
    assert lines["from the cells"] == f"{result.consumption / 3.6:.1f} Wh/km"
    assert result.table()["energy in the packs above what is held back [Wh]"][0] == pytest.approx(result.energy / 3600)


def test_temperatures_are_shown_in_degrees_and_shares_in_percent():
    result = heat.study(examples.build(), examples.case(air_temperature=293.15, duration=600.0, winding_start=333.15))
    assert result.table()["winding [°C]"][0] == pytest.approx(60.0)
    assert result.summary()["air"] == "20 °C"
    assert leverage.study(examples.build(), examples.case()).summary()["leverage loss against the ungeared wheel"].endswith(" %")


@dataclasses.dataclass(frozen=True)
class Sample(Result):
    """One field of every sort."""

    word: str = shown("word")
    speed: MetrePerSecond = shown("speed", "km/h", 2)
    energy: Joule | None = shown("energy", "Wh")
    over: MetrePerSecond = shown("over", "km/h")
    words: np.ndarray = shown("words")
    hidden: float = 3.0


def test_one_field_of_every_sort():
    sample = Sample("a", 1.0, None, np.array([1.0, 2.0]), np.array(["x", "y"]))
    assert sample.summary() == {"word": "a", "speed": "3.60 km/h"}
    table = sample.table()
    assert list(table.columns) == ["over [km/h]", "words"]
    assert table["over [km/h]"].tolist() == pytest.approx([3.6, 7.2])
    flat = Sample("a", 1.0, 7200.0, 1.0, "x").table()
    assert flat.shape == (1, 5) and flat["energy [Wh]"][0] == 2.0


@pytest.mark.parametrize(
    ("value", "unit", "digits", "text"),
    [
        (3.14159, "m/s", 2, "3.14 m/s"),
        (-0.004, "N*m", 1, "0.0 N·m"),
        (-0.06, "N*m", 1, "-0.1 N·m"),
        (0.0, "", 0, "0"),
        (np.nan, "W", 1, "unknown"),
        (np.inf, "min", 0, "no limit"),
        (-np.inf, "min", 0, "none"),
        (12.0, "kg*m^2", 0, "12 kg·m²"),
        (1e6, "W", 0, "1000000 W"),
    ],
)
def test_show(value, unit, digits, text):
    assert show(value, unit, digits) == text


def test_header_and_at():
    assert header("speed", "km/h") == "speed [km/h]" and header("set by", "") == "set by"
    sample = Sample("a", 1.0, None, np.array([1.0, 2.0]), np.array(["x", "y"]))
    assert at(sample, "over", 1) == 2.0 and at(sample, "speed", 1) == 1.0 and at(sample, "words", 0) == "x"
