"""The generated schemas: current, valid, and in agreement with the reader."""

import json
import tomllib

import jsonschema
import pytest

from unikit import units
from unikit.inputs import Build, Case, Datasheet, fields, schema
from unikit.inputs.schema import schema_text
from unikit.inputs.spreads import read

RECORDS = {"build": Build, "case": Case, "datasheet": Datasheet}


def errors(record: type, table: dict) -> list[str]:
    validator = jsonschema.Draft202012Validator(schema(record))
    return sorted(error.json_path for error in validator.iter_errors(table))


@pytest.mark.parametrize("name", RECORDS)
def test_the_stored_schema_is_current(root, name):
    stored = (root / "data" / f"{name}.schema.json").read_text(encoding="utf-8")
    assert stored == schema_text(RECORDS[name]), (
        f"write unikit.inputs.schema.schema_text({RECORDS[name].__name__}) to data/{name}.schema.json"
    )
    jsonschema.Draft202012Validator.check_schema(json.loads(stored))


@pytest.mark.parametrize("name", RECORDS)
def test_every_file_is_valid(root, name):
    paths = sorted((root / "data" / f"{name}s").glob("*.toml"))
    assert len(paths) >= 3
    for path in paths:
        assert errors(RECORDS[name], tomllib.loads(path.read_text(encoding="utf-8"))) == []


def test_a_broken_file_is_not(commuter_path):
    table = tomllib.loads(commuter_path.read_text(encoding="utf-8"))
    table["rider"]["mass"] = 78
    table["rider"]["inseam"] = "20 J"
    table["rider"]["torque_floor"] = 1.2
    table["wheel"]["tyre_width"] = "two inches"
    table["brake"]["kind"] = "disk"
    table["motor"]["pole_pairs"] = 23.5
    table["gears"]["gear"][1]["name"] = "1.6"
    table["packs"]["pack"][0]["curve_voltage"] = ["3.0 V"]
    assert errors(Build, table) == [
        "$.brake.kind",
        "$.gears.gear[1].name",
        "$.motor.pole_pairs",
        "$.packs.pack[0].curve_voltage",
        "$.rider.inseam",
        "$.rider.mass",
        "$.rider.torque_floor",
        "$.wheel.tyre_width",
    ]
    del table["rider"]
    table["engine"] = {}
    assert errors(Build, table)[:2] == ["$", "$"]


TEXTS = [
    ("78 kg", True),
    ("78kg", True),
    (" 7.8e1 kg ", True),
    ("78 kg ± 1 kg", True),
    ("78 kg +/- 900 g", True),
    ("78 kg ± 2 %", True),
    ("normal(78 kg, 2%)", True),
    ("78 kg to 2 %", False),
    ("70 kg to 80 kg", True),
    ("triangular(70 kg, 75 kg, 80 kg)", True),
    ("78", False),
    ("78 N", False),
    ("7,8 kg", False),
    ("78 kg ± 1", False),
    ("normal(78 kg)", False),
]


@pytest.mark.parametrize(("text", "right"), TEXTS)
def test_schema_and_reader_agree_on_a_text(text, right):
    validator = jsonschema.Draft202012Validator(schema()["$defs"]["mass"])
    assert validator.is_valid(text) is right
    try:
        read(text, "mass")
    except units.UnitError:
        assert not right
    else:
        assert right


def test_every_allowed_unit_of_every_kind_is_in_the_schema():
    for record in RECORDS.values():
        kinds = {spec.kind for spec in fields(record).values() if spec.kind}
        assert kinds
        for kind in kinds:
            validator = jsonschema.Draft202012Validator(schema(record)["$defs"][kind.replace(" ", "_")])
            for unit in units.KINDS[kind].allowed:
                for written in (unit, unit.replace("*", "·").replace("^2", "²"), unit.replace("*", " "), unit.replace("*", " * ")):
                    assert validator.is_valid(f"1 {written}"), (kind, written)
                    units.parse(f"1 {written}", kind)
