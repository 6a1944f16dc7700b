"""The floors of the house: imports point down only, and the core stands without pictures, panels and tables."""

import ast
import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
# Answers are exercises worked out with formulas and studies, as the cells of a notebook are; so they stand beside the rest of the lab.
FLOORS = {
    "unikit.units": 0,
    "unikit.formulas": 1,
    "unikit.inputs": 2,
    "unikit.studies": 3,
    "unikit.lab.answers": 4,
    "unikit.lab": 4,
    "unikit.__main__": 5,
}

# Never on a floor, and on a floor only inside functions: seconds of import time and packages that the floor's users may not have.
SEEN_ONLY_ABOVE = {"matplotlib", "ipywidgets", "IPython", "PIL", "nbformat", "nbclient"}
NEVER = {
    "unikit.units": SEEN_ONLY_ABOVE | {"pandas", "scipy"},
    "unikit.formulas": SEEN_ONLY_ABOVE | {"pandas", "pint"},
    "unikit.inputs": SEEN_ONLY_ABOVE,
    "unikit.studies": SEEN_ONLY_ABOVE,
    "unikit.lab.answers": SEEN_ONLY_ABOVE | {"pint"},
    "unikit.lab": {"scipy", "pint"},  # no physics and no units of its own
}
INSIDE_FUNCTIONS_ONLY = {
    "unikit.units": {"pint"},
    "unikit.formulas": {"scipy"},
    "unikit.inputs": {"pint", "scipy", "pandas", "tomli_w"},
    "unikit.studies": {"pint", "scipy", "pandas"},
    "unikit.lab.answers": {"scipy"},
}
# What describes formulas (the table of them, the warning class) is no physics; the lab makes the formula book from it.
NO_PHYSICS = "unikit.formulas.registry"

CORE = ["unikit", "unikit.units", "unikit.formulas", "unikit.inputs"]
STUDIES = [f"unikit.studies.{path.stem}" for path in sorted((ROOT / "unikit" / "studies").glob("*.py")) if path.stem != "__init__"]
BLOCKED = ("matplotlib", "ipywidgets", "pandas")
LAZY = ("scipy", "pint")


@dataclass(frozen=True)
class Import:
    """One imported module, and whether it is loaded as soon as the importing module is."""

    module: str
    at_once: bool


def imports(source: str, module: str, package: bool = False) -> list[Import]:
    """The imports in a module's source; those for type checkers alone do not count."""
    found: list[Import] = []

    def visit(node: ast.AST, at_once: bool) -> None:
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            return
        if isinstance(node, ast.Import):
            found.extend(Import(alias.name, at_once) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            names = module.split(".")
            start = names[: len(names) - node.level + package] if node.level else []
            base = ".".join([*start, *([node.module] if node.module else [])])
            found.extend(Import(f"{base}.{alias.name}", at_once) for alias in node.names)
        for child in ast.iter_child_nodes(node):
            visit(child, at_once and not isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)))

    visit(ast.parse(source), True)
    return found


def floor(module: str) -> str | None:
    """The floor that a module stands on."""
    return next((name for name in FLOORS if module == name or module.startswith(name + ".")), None)


def broken_rules(source: str, module: str, package: bool = False) -> list[str]:
    """What a module imports that its floor must not, in words."""
    here = floor(module)
    found = []
    for item in imports(source, module, package):
        there, top = floor(item.module), item.module.split(".")[0]
        if top in ("tests", "notebooks"):
            found.append(f"{module} imports {item.module}, which is no part of the package")
        if here and there and FLOORS[there] > FLOORS[here]:
            found.append(f"{module} imports {item.module}, a floor above it")
        if here == "unikit.lab" and there == "unikit.formulas" and not f"{item.module}.".startswith(NO_PHYSICS + "."):
            found.append(f"{module} imports {item.module}: no physics in the lab")
        if top in NEVER.get(here, ()):
            found.append(f"{module} imports {top}")
        if item.at_once and top in INSIDE_FUNCTIONS_ONLY.get(here, ()):
            found.append(f"{module} imports {top} outside a function")
    return found


def modules() -> list[tuple[str, Path]]:
    """Every module of the package, by name."""
    found = []
    for path in sorted((ROOT / "unikit").rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        found.append((".".join(parts[:-1] if parts[-1] == "__init__" else parts), path))
    return found


@pytest.mark.parametrize(("module", "path"), modules(), ids=[name for name, _ in modules()])
def test_imports_point_down(module, path):
    assert broken_rules(path.read_text(encoding="utf-8"), module, path.stem == "__init__") == []


def test_every_module_stands_on_a_floor():
    assert [name for name, _ in modules() if name != "unikit" and floor(name) is None] == []


def test_notebooks_use_public_names_of_the_kit_only():
    for path in sorted((ROOT / "notebooks").glob("*.ipynb")):
        for number, cell in enumerate(json.loads(path.read_text(encoding="utf-8"))["cells"], 1):
            if cell["cell_type"] == "code":
                names = [item.module for item in imports("".join(cell["source"]), "notebook")]
                assert [name for name in names if "._" in name or name.startswith("tests")] == [], f"{path.name}, cell {number}"


@pytest.mark.parametrize(
    ("module", "source", "said"),
    [
        ("unikit.formulas.road", "from ..inputs import Build", "a floor above it"),
        ("unikit.formulas.road", "def f():\n    from ..studies.heat import study", "a floor above it"),
        ("unikit.inputs.build", "import unikit.studies.heat as heat", "a floor above it"),
        ("unikit.studies.heat", "from .. import lab", "a floor above it"),
        ("unikit.units", "from .formulas import gearing", "a floor above it"),
        ("unikit.lab.figures.heat", "from ...formulas import heat", "no physics in the lab"),
        ("unikit.lab.panels", "from ..formulas.heat import steady_rise", "no physics in the lab"),
        ("unikit.lab.panels", "from scipy import optimize", "imports scipy"),
        ("unikit.formulas.road", "def f():\n    import pint", "imports pint"),
        ("unikit.formulas.road", "from scipy.optimize import brentq", "scipy outside a function"),
        ("unikit.studies.heat", "class A:\n    import pandas", "pandas outside a function"),
        ("unikit.studies.heat", "try:\n    import pandas\nexcept ImportError:\n    pass", "pandas outside a function"),
        ("unikit.studies.heat", "def f():\n    import matplotlib.pyplot", "imports matplotlib"),
        ("unikit.lab.answers.heat", "from scipy import optimize", "scipy outside a function"),
        ("unikit.studies.heat", "from tests import published", "no part of the package"),
    ],
)
def test_a_broken_rule_is_named(module, source, said):
    assert any(said in line for line in broken_rules(source, module))


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("unikit.formulas.road", "from .. import units\nfrom . import checks\ndef f():\n    from scipy.optimize import brentq"),
        ("unikit.studies.heat", "if TYPE_CHECKING:\n    import pandas\ndef f():\n    import pandas"),
        ("unikit.lab.book", "from ..formulas.registry import FORMULAS\nfrom ..studies import findings"),
        ("unikit.lab.answers.heat", "from ...formulas import heat\ndef f():\n    from scipy import optimize"),
        ("unikit.__main__", "from .inputs import load_build\nfrom .lab import panels"),
    ],
)
def test_what_is_allowed_passes(module, source):
    assert broken_rules(source, module) == []


PROGRAM = """
import sys

class Blocked:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in {blocked}:
            raise ImportError(f"{{name}} is blocked here")

sys.meta_path.insert(0, Blocked())
import importlib
for name in {names}:
    importlib.import_module(name)
print(*sorted({{name.split(".")[0] for name in sys.modules}} & set({watched})))
"""


def loaded_by(names: list[str], blocked: tuple[str, ...]) -> subprocess.CompletedProcess:
    program = PROGRAM.format(blocked=blocked, names=names, watched=BLOCKED + LAZY)
    return subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=120, cwd=ROOT)


@pytest.mark.parametrize("names", [CORE, CORE + STUDIES], ids=["core", "studies"])
def test_the_core_imports_without_pictures_panels_and_tables(names):
    done = loaded_by(names, BLOCKED)
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == [], "loaded at import, but needed only in some calls"


def test_the_block_blocks():
    done = loaded_by(["unikit.lab.style"], BLOCKED)
    assert done.returncode != 0
    assert "matplotlib is blocked here" in done.stderr
    assert loaded_by(["scipy.optimize"], ()).stdout.split() == ["scipy"]
