"""The lesson template: an empty lesson has every section, and never lands on another file."""

import nbformat
import pytest

from unikit.lab import lesson


def test_a_new_lesson_has_every_section_in_order(tmp_path, capsys):
    path = tmp_path / "new.ipynb"
    assert lesson.main(["Gearing", str(path)]) == 0
    assert capsys.readouterr().out == f"{path}: written\n"
    book = nbformat.read(path, as_version=4)
    nbformat.validate(book)
    headings = [cell.source.splitlines()[0] for cell in book.cells]
    assert headings == ["# Gearing", *(f"## {section}" for section in lesson.SECTIONS)]
    assert [cell.id for cell in book.cells] == [f"c{number}" for number in range(len(book.cells))]
    assert book.metadata.kernelspec.name == "python3"


def test_the_sections_are_those_of_the_contributor_guide(root):
    guide = (root / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert f"({', '.join(lesson.SECTIONS).lower()})" in " ".join(guide.split())


@pytest.mark.parametrize(
    ("name", "said"), [("taken.ipynb", "exists already"), ("new.txt", "must end in .ipynb"), ("no/new.ipynb", "No such file")]
)
def test_nothing_else_is_written(tmp_path, capsys, name, said):
    taken = tmp_path / "taken.ipynb"
    taken.write_text("kept", encoding="utf-8")
    assert lesson.main(["Gearing", str(tmp_path / name)]) == 2
    assert said in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["taken.ipynb"]
    assert taken.read_text(encoding="utf-8") == "kept"
