"""What every notebook must be, so that comparing its outputs proves something and a reader finds their way."""

import copy
import re
import tomllib
from pathlib import Path

import nbformat
import pytest
from nbformat import v4

from unikit.lab.lesson import FEWEST_EXERCISES, FEWEST_PRINTED_NUMBERS, KERNELSPEC, MOST_LINES_OF_CODE, SECTIONS

ROOT = Path(__file__).parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
LARGEST = 300_000  # bytes; pictures are kept small by unikit.lab.renew
NOT_COMPARED = re.compile(r"nbval[-_](?:ignore|skip)|PYTEST_VALIDATE_IGNORE", re.IGNORECASE)
NUMBER = re.compile(r"(?<![\w.])[-−]?\d+(?:\.\d+)?")


def is_panel(cell) -> bool:
    """Whether a code cell shows a panel: stored notebooks hold a line of text in its place."""
    return any("".join(output.get("data", {}).get("text/plain", "")).startswith("Panel:") for output in cell.outputs)


def lines_of_code(source: str) -> int:
    """Lines that are neither empty nor a comment."""
    return sum(bool(line.strip()) and not line.strip().startswith("#") for line in source.splitlines())


def printed(cell) -> str:
    """What nbval compares of the text that a cell prints."""
    return "".join(output.text for output in cell.outputs if output.output_type == "stream" and output.name == "stdout")


def faults(notebook) -> list[str]:
    """What is wrong with a notebook, in words."""
    found = []
    if dict(notebook.metadata) != {"kernelspec": KERNELSPEC}:
        found.append("metadata is not as unikit.lab.renew writes it")
    headings = re.findall(r"^##\s+(.+?)\s*$", "\n\n".join(c.source for c in notebook.cells if c.cell_type == "markdown"), re.MULTILINE)
    if [heading for heading in headings if heading in SECTIONS] != list(SECTIONS):
        found.append(f"sections must be {', '.join(SECTIONS)}; found {', '.join(headings)}")
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    for number, cell in enumerate(notebook.cells):
        if cell.cell_type == "code":
            found += [f"cell c{number}: {fault}" for fault in faults_of_code(cell)]
        if cell.id != f"c{number}":
            found.append(f"cell c{number} has the id {cell.id}")
    if [cell.execution_count for cell in code] != list(range(1, len(code) + 1)):
        found.append("not run from top to bottom in a new kernel")
    if sum(len(NUMBER.findall(printed(cell))) for cell in code) < FEWEST_PRINTED_NUMBERS:
        found.append(f"fewer than {FEWEST_PRINTED_NUMBERS} printed numbers: a wrong formula could pass")
    if not any(is_panel(cell) for cell in code):
        found.append("no panel")
    after = "\n".join(cell.source for cell in notebook.cells).rpartition("## Exercises")[2]
    if len(set(re.findall(r"\bcheck\(\s*[\"']([\w.-]+)[\"']", after))) < FEWEST_EXERCISES:
        found.append(f"fewer than {FEWEST_EXERCISES} exercises")
    return found


def faults_of_code(cell) -> list[str]:
    """What is wrong with one code cell, in words."""
    found = []
    if NOT_COMPARED.search(cell.source) or any(NOT_COMPARED.search(tag) for tag in cell.metadata.get("tags", [])):
        found.append("its outputs are not compared")
    if lines_of_code(cell.source) > MOST_LINES_OF_CODE:
        found.append(f"more than {MOST_LINES_OF_CODE} lines of code")
    if is_panel(cell) and cell.metadata.get("deletable") is not False:
        found.append("a panel that a key press can delete (set the cell's metadata deletable to false)")
    if "there is no exercise" in printed(cell):
        found.append("an exercise that is not declared")
    if any(output.output_type == "error" or output.get("name") == "stderr" for output in cell.outputs):
        found.append("an error or a warning")
    return found


def test_there_are_notebooks():
    assert NOTEBOOKS, "notebooks/ holds no notebook: nothing would be compared"


def test_pytest_compares_the_notebooks_strictly():
    options = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["pytest"]["ini_options"]
    words = options["addopts"].split()
    assert {"--nbval", "--nbval-current-env"} <= set(words)
    assert not [word for word in words if word.startswith(("--nbval-lax", "--nbval-sanitize", "--no-nbval"))]
    assert "notebooks" in options["testpaths"]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_is_as_it_must_be(path):
    assert path.stat().st_size <= LARGEST
    assert faults(nbformat.read(path, as_version=4)) == []


# -- the guard itself ----------------------------------------------------------


def code(source, *outputs, **metadata):
    return v4.new_code_cell(source, outputs=list(outputs), metadata=metadata)


def stdout(text):
    return v4.new_output("stream", name="stdout", text=text)


@pytest.fixture
def lesson():
    """A small notebook without a fault."""
    cells = [v4.new_markdown_cell("# Title")]
    for section in SECTIONS:
        cells.append(v4.new_markdown_cell(f"## {section}\n\nWords."))
        if section == "Panel":
            cells.append(
                code("panels.gearing(build, case)", v4.new_output("execute_result", {"text/plain": "Panel: Gearing"}), deletable=False)
            )
        if section == "Argument":
            cells.append(code("print('18.4 km/h at 90 rpm\\n2.0 m')", stdout("18.4 km/h at 90 rpm\n2.0 m\n")))
    cells += [code(f'check("gearing.{number}", "12 km/h")', stdout("not yet\n")) for number in (1, 2, 3)]
    made = v4.new_notebook(cells=cells, metadata={"kernelspec": KERNELSPEC})
    count = 0
    for number, cell in enumerate(made.cells):
        cell.id = f"c{number}"
        if cell.cell_type == "code":
            count += 1
            cell.execution_count = count
    return made


def test_a_good_notebook_has_no_fault(lesson):
    assert faults(lesson) == []


def argument(notebook):
    return next(cell for cell in notebook.cells if cell.source.startswith("print("))


def panel(notebook):
    return next(cell for cell in notebook.cells if cell.source.startswith("panels."))


# How a good notebook can be spoilt, and what the guard must say.
SPOILS = {
    "stripped of its outputs": (lambda n: argument(n).update(outputs=[]), "printed numbers"),
    "stripped of its counts": (lambda n: [c.update(execution_count=None) for c in n.cells if c.cell_type == "code"], "not run from top"),
    "run out of order": (lambda n: argument(n).update(execution_count=7), "not run from top"),
    "with saved widgets": (lambda n: n.metadata.update(widgets={}), "metadata is not"),
    "with another kernel": (lambda n: n.metadata.kernelspec.update(name="venv"), "metadata is not"),
    "with an ignore tag": (lambda n: argument(n).metadata.update(tags=["nbval-ignore-output"]), "not compared"),
    "with a skip tag": (lambda n: argument(n).metadata.update(tags=["nbval-skip"]), "not compared"),
    "with an ignore comment": (lambda n: argument(n).update(source="# NBVAL_IGNORE_OUTPUT\nprint(1)"), "not compared"),
    "with a panel that can go": (lambda n: panel(n).metadata.pop("deletable"), "can delete"),
    "without a panel": (lambda n: panel(n).update(outputs=[]), "no panel"),
    "with much code": (lambda n: argument(n).update(source="\n".join(["# why", ""] + ["x = 1"] * 7)), "lines of code"),
    "without a section": (lambda n: n.cells[1].update(source="Words."), "sections must be"),
    "with sections in another order": (lambda n: n.cells.insert(1, n.cells.pop(2)), "sections must be"),
    "with a section twice": (lambda n: n.cells[2].update(source="## Goal"), "sections must be"),
    "with two exercises": (lambda n: n.cells[-1].update(source='check("gearing.2", "1 m")'), "exercises"),
    "with an unknown exercise": (lambda n: n.cells[-1].update(outputs=[stdout("there is no exercise 'x'")]), "not declared"),
    "with a warning": (lambda n: argument(n).outputs.append(v4.new_output("stream", name="stderr", text="x")), "a warning"),
    "with ids of its own": (lambda n: n.cells[0].update(id="title"), "has the id title"),
}


@pytest.mark.parametrize("how", SPOILS)
def test_a_fault_is_found(lesson, how):
    spoil, said = SPOILS[how]
    before = copy.deepcopy(lesson)
    spoil(lesson)
    assert lesson != before
    assert any(said in fault for fault in faults(lesson)), faults(lesson)


def test_six_lines_of_code_pass(lesson):
    argument(lesson).source = "\n".join(["# why", ""] + ["x = 1"] * 6)
    assert faults(lesson) == []
