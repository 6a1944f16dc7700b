"""The core can be used without any library that draws, shows or tabulates; how long it takes is a benchmark."""

import subprocess
import sys

CODE = """
import sys
for name in ("matplotlib", "ipywidgets", "pandas"):
    sys.modules[name] = None
import unikit, unikit.formulas, unikit.inputs
heavy = [name for name in ("pint", "scipy", "tomli_w", "jsonschema") if name in sys.modules]
build = unikit.inputs.load_build(sys.argv[1])
print(heavy, "pint" in sys.modules, build.rider.mass)
"""


def test_import_is_light_and_pint_waits_for_a_text(commuter_path):
    done = subprocess.run([sys.executable, "-c", CODE, str(commuter_path)], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout == "[] True 78.0\n"
