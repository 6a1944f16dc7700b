"""The core can be used without any library that draws, shows or tabulates."""

import subprocess
import sys

CODE = """
import sys, time
for name in ("matplotlib", "ipywidgets", "pandas"):
    sys.modules[name] = None
begun = time.perf_counter()
import unikit, unikit.formulas, unikit.inputs
taken = time.perf_counter() - begun
heavy = [name for name in ("pint", "scipy", "tomli_w", "jsonschema") if name in sys.modules]
build = unikit.inputs.load_build(sys.argv[1])
print(heavy, "pint" in sys.modules, build.rider.mass)
print(taken)
"""


def test_import_is_light_and_pint_waits_for_a_text(commuter_path):
    runs = []
    for _ in range(3):
        done = subprocess.run([sys.executable, "-c", CODE, str(commuter_path)], capture_output=True, text=True, check=True, timeout=60)
        first, taken = done.stdout.splitlines()
        assert first == "[] True 78.0"
        runs.append(float(taken))
    assert min(runs) < 0.5
