"""The generated pages are current and complete, and a name means one thing in one unit."""

import re

import pytest

from unikit import units
from unikit.formulas import FORMULAS, bibliography
from unikit.lab import book

# A number that is not in the SI unit of its kind says so at the end of its name.
ENDINGS = {"degC": "_celsius", "W*h": "_wh"}


def test_the_generated_files_are_current(root):
    assert list(book.outdated(root)) == [], "run: python -m unikit.lab.book"


def test_one_name_has_one_kind_and_one_unit_everywhere():
    assert book.clashes(book.by_name()) == []


@pytest.mark.parametrize("kind, unit", [("energy", "N·m"), ("torque", "mN·m")])
def test_a_clash_is_reported_with_its_places(kind, unit):
    uses = [book.Use("push", "torque", "N·m", "", "one.formula"), book.Use("push", kind, unit, "", "Part.push")]
    assert book.clashes({"push": uses}) == [f"push: torque in N·m (one.formula), {kind} in {unit} (Part.push)"]


def test_a_name_with_another_unit_carries_it():
    for entry in FORMULAS.values():
        for name, unit in entry.arguments.items():
            if unit:
                ending = "" if unit.symbol == units.KINDS[unit.kind].base else ENDINGS[unit.symbol]
                assert name.endswith(ending), f"{entry.name}: {name} is in {unit.symbol}"
                assert ending or not name.endswith(tuple(ENDINGS.values())), f"{entry.name}: {name} is in {unit.symbol}"


def test_the_formula_book_tells_all_of_every_formula():
    parts = re.split(r"^#{2,3} ", book.formulas_page(), flags=re.MULTILINE)
    sections = {part.splitlines()[0]: part for part in parts}
    assert set(FORMULAS) < set(sections)
    for name, entry in FORMULAS.items():
        section = sections[name]
        assert f"$$\n{entry.equation}\n$$\n" in section, name
        assert book.plain(entry.sign) in section and book.plain(entry.valid) in section, name
        for key in entry.source.split(", "):
            assert book.plain(bibliography()[key]["text"]) in section, name
        rows = dict(re.findall(r"^\| `(\w+)` \| (.+) \|$", section, flags=re.MULTILINE))
        assert list(rows) == list(entry.arguments), name
        for argument, unit in entry.arguments.items():
            kind, symbol, meaning = rows[argument].split(" | ", 2)
            assert (kind in ("word", "switch", "values", "record")) if unit is None else (kind == unit.kind), f"{name}: {argument}"
            assert symbol == book.unit_text(unit), f"{name}: {argument}"
            assert len(meaning) > 3, f"{name}: {argument}"


def test_the_nomenclature_lists_every_argument_and_field():
    page = book.nomenclature_page()
    listed = re.findall(r"^\| `(\w+)` \|", page, flags=re.MULTILINE)
    assert listed == sorted(set(listed))
    assert {name for entry in FORMULAS.values() for name in entry.arguments} <= set(listed)
    assert {"comfortable_cadence", "trim_cap", "state_of_charge", "curve_voltage", "hysteresis_torque"} <= set(listed)
    row = next(line for line in page.splitlines() if line.startswith("| `crank_angle`"))
    assert row.split(" | ")[1:3] == ["angle", "rad"]
    assert "[pedalling.torque_shape](formulas.md#pedallingtorque_shape)" in row


def test_links_into_the_formula_book_have_a_target():
    headings = re.findall(r"^#{2,3} (.+)$", book.formulas_page(), flags=re.MULTILINE)
    anchors = {heading.replace(".", "") for heading in headings}
    links = re.findall(r"\(formulas\.md#(\w+)\)", book.nomenclature_page()) + re.findall(r"\]\(#(\w+)\)", book.formulas_page())
    assert len(links) > 100
    assert set(links) <= anchors


def test_tables_have_as_many_cells_as_columns():
    for name, text in book.files().items():
        width = 0
        for line in text.splitlines() if name.endswith(".md") else ():
            bars = len(re.findall(r"(?<!\\)\|", line)) if line.startswith("|") else 0
            assert bars == 0 or width in (0, bars), f"{name}: {line}"
            width = bars


def test_the_command_writes_once_and_check_writes_nothing(tmp_path, capsys):
    assert book.main([str(tmp_path)]) == 2
    assert "no folder docs and no folder data" in capsys.readouterr().err
    for folder in ("docs", "data"):
        (tmp_path / folder).mkdir()
    assert book.main([str(tmp_path), "--check"]) == 1
    assert capsys.readouterr().out.count("not current") == len(book.files())
    assert not list((tmp_path / "docs").iterdir())
    assert book.main([str(tmp_path)]) == 0
    page = tmp_path / "docs" / "nomenclature.md"
    page.write_text(page.read_text(encoding="utf-8").replace("rad/s", "rpm", 1), encoding="utf-8")
    capsys.readouterr()
    assert book.main([str(tmp_path), "--check"]) == 1
    assert capsys.readouterr().out == "docs/nomenclature.md: not current\n"
    assert book.main([str(tmp_path)]) == 0
    assert book.main([str(tmp_path), "--check"]) == 0


def test_docstrings_become_plain_words():
    assert book.plain("as :func:`motor.iron_loss`  takes\nit, or ``x``") == "as `motor.iron_loss` takes it, or `x`"
