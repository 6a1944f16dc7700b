"""Every value in ``tests/reference``, and the rule that no formula goes without one."""

import ast
from pathlib import Path

import pytest
from published import LABELS, rows

from unikit.formulas import FORMULAS, bibliography

ROWS = rows()
TESTS = Path(__file__).parents[1]


def _literals(argument: ast.expr) -> list[ast.Constant]:
    """The words of an argument, also of ``*("a", "b")``."""
    return [part for part in ast.walk(argument) if isinstance(part, ast.Constant)]


def marked() -> dict[str, set[str]]:
    """Formulas named in ``pytest.mark.checks`` anywhere in the tests, with their labels."""
    found: dict[str, set[str]] = {}
    for path in TESTS.rglob("test_*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "checks":
                label, *names = [part.value for argument in node.args for part in _literals(argument)]
                assert label in LABELS, f"{path.name}: {label}"
                for name in names:
                    found.setdefault(name, set()).add(label)
    return found


@pytest.mark.parametrize("row", [r for r in ROWS if r.inputs is not None], ids=lambda r: r.id)
def test_value(row):
    assert row.computed() == pytest.approx(row.value, abs=row.tolerance, rel=0)


def test_rows_are_labelled_and_sourced():
    identifiers = [row.id for row in ROWS]
    assert len(identifiers) == len(set(identifiers))
    for row in ROWS:
        assert row.label in LABELS, row.id
        assert row.source and row.seen, row.id
        assert row.formulas, row.id
        assert 0 < row.tolerance <= max(0.05 * abs(row.value), 1e-9), f"{row.id}: a tolerance that cannot fail"


def test_rows_without_inputs_are_used_in_a_test():
    text = "".join(path.read_text(encoding="utf-8") for path in TESTS.rglob("test_*.py"))
    unused = [row.id for row in ROWS if row.inputs is None and f'published("{row.id}")' not in text]
    assert unused == []


def test_no_formula_without_a_check_that_is_not_regression():
    labels = marked()
    for row in ROWS:
        for entry in row.formulas:
            labels.setdefault(entry.name, set()).add(row.label)
    unchecked = [name for name in FORMULAS if not labels.get(name, set()) - {"regression"}]
    assert unchecked == []
    assert [name for name in labels if name not in FORMULAS] == []


def test_every_formula_is_fully_described():
    for name, entry in FORMULAS.items():
        doc = entry.function.__doc__ or ""
        assert entry.equation, name
        assert [key for key in entry.source.split(", ") if key not in bibliography()] == [], name
        assert ">>>" in doc, f"{name}: no example"
        for argument in entry.arguments:
            assert f"{argument}:" in doc, f"{name}: {argument} is not explained"
        assert entry.result is not None or entry.function.__annotations__["return"] in ("bool", "str", bool, str), name
