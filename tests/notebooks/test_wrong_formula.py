"""A wrong formula makes the notebooks fail: each is run as the tests run it, but with one formula of its topic 1 % off."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))

# For each lesson, by the topic in its name, a formula that its argument stands on.
FORMULA = {
    "start": "leverage.leverage",
    "gearing": "gearing.speed",
    "leverage": "leverage.leverage_loss",
    "motor_on_the_bench": "motor.torque_constant_by_spinning",
    "motor": "motor.motor_constant",
    "thermal": "heat.housing_conductance",
    "doubt": "air.density_at",
    "range": "pack.delivered_energy",
    "review": "road.slope_force",
    "stability": "delay.critical_delay",
    "balance": "leverage.restoring_gain",
    "capture": "capture.capture_lean",
    "going": "pedalling.body_weight_torque",
    "rider": "identification.lagged",
    "datasheet": "datasheet.line_speed_constant",
    "climbs": "cycles.network_periodic",
    "heat_on": "heat.housing_conductance",
    "quadrants": "drive.back_emf_amplitude",
    "aircraft": "pack.energy",
    "packs_under": "sag.resistance_after",
    "train_that": "involute.least_teeth",
    "sensing": "strain.torsion_strain",
    "joining": "wiring.ampacity",
    "hub_bears": "shafts.key_pressure",
    "calibration": "calibration.hung_torque",
    "routes": "profile.climb",
    "slopes": "road.slope_force",
    "ride_log": "road.kinetic_energy",
}

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


@pytest.fixture
def compare(tmp_path):
    """Compares a copy of one notebook in a process of its own; gives the exit code of pytest and what it printed."""

    def nbval(notebook: Path, wrong: str = "") -> tuple[int, str]:
        (tmp_path / "notebooks").mkdir()
        shutil.copy(notebook, tmp_path / "notebooks")
        shutil.copytree(ROOT / "data", tmp_path / "data")
        (tmp_path / "hook").mkdir()
        (tmp_path / "hook" / "sitecustomize.py").write_text(HOOK, encoding="utf-8")
        path = os.pathsep.join([str(tmp_path / "hook"), str(ROOT)])
        options = ["--nbval", "--nbval-current-env", "--nbval-cell-timeout=120", "-p", "no:cacheprovider"]
        done = subprocess.run(
            [sys.executable, "-m", "pytest", *options, "notebooks"],
            cwd=tmp_path,
            env=os.environ | {"PYTHONPATH": path, "WRONG_FORMULA": wrong, "NO_COLOR": "1", "PYTEST_ADDOPTS": ""},
            capture_output=True,
            text=True,
            timeout=600,
        )
        return done.returncode, re.sub(r"\x1b\[[0-9;]*m", "", done.stdout)

    return nbval


def named(topic: str) -> Path:
    """The lesson on a topic."""
    return next(path for path in NOTEBOOKS if topic in path.stem)


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


def test_a_notebook_passes_as_it_is(compare):
    code, said = compare(named("gearing"))
    assert code == 0, said
    assert " passed" in said and " failed" not in said


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_wrong_formula_fails_in_a_compared_output(compare, path):
    topic = next((topic for topic in FORMULA if topic in path.stem), None)
    assert topic, f"name in FORMULA a formula that {path.name} stands on"
    code, said = compare(path, f"unikit.formulas.{FORMULA[topic]}")
    assert code == 1, said
    assert compared(said), said


def test_the_failing_numbers_are_off_by_what_the_formula_is_off(compare):
    said = compare(named("gearing"), "unikit.formulas.gearing.speed")[1]
    found = [ratio for report in compared(said) for ratio in ratios(report)]
    assert found, said
    assert min(abs(ratio - 1.01) for ratio in found) < 0.005
