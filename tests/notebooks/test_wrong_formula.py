"""A wrong formula makes the notebooks fail: a real one, run as the tests run it, once as it is and once with a formula 1 % off."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
NOTEBOOK = "01_gearing.ipynb"

# Python runs this at the start of every process, so also of the notebook's kernel.
HOOK = """
import functools, importlib, os

where = os.environ.get("WRONG_FORMULA")
if where:
    module, _, name = where.rpartition(".")
    module = importlib.import_module(module)
    right = getattr(module, name)
    setattr(module, name, functools.wraps(right)(lambda *args, **kwargs: 1.01 * right(*args, **kwargs)))
"""


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    """A project's folder with one notebook, the data that it reads, and the hook."""
    folder = tmp_path_factory.mktemp("project")
    (folder / "notebooks").mkdir()
    shutil.copy(ROOT / "notebooks" / NOTEBOOK, folder / "notebooks")
    shutil.copytree(ROOT / "data", folder / "data")
    (folder / "hook").mkdir()
    (folder / "hook" / "sitecustomize.py").write_text(HOOK, encoding="utf-8")
    return folder


def nbval(project, wrong: str = "") -> tuple[int, str]:
    """Compare the notebook in a process of its own; the exit code of pytest and what it printed."""
    path = os.pathsep.join([str(project / "hook"), str(ROOT)])
    options = ["--nbval", "--nbval-current-env", "--nbval-cell-timeout=120", "-p", "no:cacheprovider"]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", *options, "notebooks"],
        cwd=project,
        env=os.environ | {"PYTHONPATH": path, "WRONG_FORMULA": wrong, "NO_COLOR": "1", "PYTEST_ADDOPTS": ""},
        capture_output=True,
        text=True,
        timeout=600,
    )
    return done.returncode, re.sub(r"\x1b\[[0-9;]*m", "", done.stdout)


def compared(said: str) -> list[str]:
    """The reports of cells that failed because what they print differs from what is stored."""
    reports = re.split(r"^_+ .*? _+$", said, flags=re.MULTILINE)[1:]
    return [report for report in reports if "Cell outputs differ" in report and "mismatch 'stdout'" in report]


def ratios(report: str) -> list[float]:
    """New number over stored number, for each pair of lines that a report sets against each other."""
    found = []
    for new, stored in re.findall(r"^ +- (.*)\n(?: +\?.*\n)? +\+ (.*)$", report, flags=re.MULTILINE):
        pairs = zip(re.findall(r"\d+\.\d+", new), re.findall(r"\d+\.\d+", stored), strict=False)
        found += [float(one) / float(other) for one, other in pairs if one != other and float(other)]
    return found


def test_the_notebook_passes_as_it_is(project):
    code, said = nbval(project)
    assert code == 0, said
    assert " passed" in said and " failed" not in said


@pytest.mark.parametrize("wrong", ["unikit.formulas.gearing.speed", "unikit.formulas.gearing.pedal_speed"])
def test_a_wrong_formula_fails_in_a_compared_output(project, wrong):
    code, said = nbval(project, wrong)
    assert code == 1, said
    found = [ratio for report in compared(said) for ratio in ratios(report)]
    assert found, said
    assert min(abs(ratio - 1.01) for ratio in found) < 0.005
