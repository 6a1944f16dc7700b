"""What the docs say about files is what the reader does."""

import re
import tomllib

import pytest

from unikit.inputs import Build, Case, Datasheet, InputError, Spread, load_build, load_case
from unikit.inputs.reading import from_table
from unikit.inputs.schema import field_table
from unikit.inputs.spreads import read


@pytest.fixture(scope="module")
def page(root) -> str:
    return (root / "docs" / "inputs.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("record", [Build, Case])
def test_the_tables_of_fields_are_current(page, record):
    assert field_table(record) in page, f"put unikit.inputs.schema.field_table({record.__name__}) into docs/inputs.md"


def test_the_table_of_a_datasheet_and_its_example_are_current(root):
    page = (root / "docs" / "datasheet.md").read_text(encoding="utf-8")
    assert field_table(Datasheet) in page, "put unikit.inputs.schema.field_table(Datasheet) into docs/datasheet.md"
    (text,) = re.findall(r"```toml\n(.*?)```", page, re.DOTALL)
    assert from_table(Datasheet, tomllib.loads(text)).no_load.voltage == 48.0


def test_the_example_of_a_case_can_be_read(page, tmp_path):
    (text,) = re.findall(r"```toml\n(.*?)```", page, re.DOTALL)
    (tmp_path / "c.toml").write_text(text, encoding="utf-8")
    case = load_case(tmp_path / "c.toml")
    assert (case.slope, case.gust, case.trim) == (0.04, 0, "none")
    assert case.spreads == {"head_wind": Spread("normal", (3, 1.5))}


def test_the_first_example_runs_as_it_stands(page, root, tmp_path, monkeypatch, capsys):
    (code,) = re.findall(r"```python\n(.*?)```", page, re.DOTALL)
    (tmp_path / "data").symlink_to(root / "data")
    monkeypatch.chdir(tmp_path)
    exec(compile(code, "docs/inputs.md", "exec"), {})
    assert load_build("my_build.toml").cranks.length == 0.125
    assert "[rider]" in capsys.readouterr().out


def test_the_lines_of_the_error_example_are_what_is_said(page, commuter_path, tmp_path, monkeypatch):
    (lines,) = re.findall(r"```text\n(.*?)```", page, re.DOTALL)
    monkeypatch.chdir(tmp_path)
    text = commuter_path.read_text(encoding="utf-8").replace('"78 kg ± 1.5 kg"', '"-3 kg"').replace("drag_area", "drag_aera")
    (tmp_path / "my_build.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_build("my_build.toml")
    assert sorted(str(caught.value).splitlines()) == sorted(lines.splitlines())


def test_the_forms_of_uncertain_numbers_are_read(page):
    (table,) = re.findall(r"\| text \| distribution.*?\n\n", page, re.DOTALL)
    found = [read(text, "mass") for text in re.findall(r'`"(.*?)"`', table)]
    assert len(found) == 7
    assert {spread.shape for _, spread in found} == {"normal", "uniform", "triangular"}
    assert {nominal for nominal, _ in found} == {74}
