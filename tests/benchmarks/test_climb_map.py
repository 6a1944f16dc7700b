"""How long the maps of climbs take: lines by root, and the time at every point of a grid.

Run with ``python -m pytest tests/benchmarks/test_climb_map.py -s -m ''``.
"""

import time

import numpy as np

from unikit.inputs import load_build, load_case, replace
from unikit.studies import climbs, duties, hold

RING = {"motor.magnet_capacity": 520.0, "motor.magnet_to_housing": 28.0, "motor.phase_resistance": 0.17}


def spent(work):
    work()
    start = time.process_time()
    work()
    return 1e3 * (time.process_time() - start)


def test_maps(root):
    build = replace(load_build(root / "data/builds/harbour_commuter.toml"), RING)
    case = load_case(root / "data/cases/harbour_hill.toml")
    speed, slope = np.linspace(0.3, 7.5, 41)[:, None], np.linspace(0.0, 0.2, 41)
    torque = np.linspace(1.0, 40.0, 41)
    parts = {
        "line of for ever": lambda: climbs.outline(build, case),
        "all lines and the point": lambda: climbs.study(build, case),
        "41 x 41 times over slope": lambda: hold.hold(build, case, speed, slope),
        "41 x 41 times over torque": lambda: hold.hold_torque(build, case, torque, speed),
        "climbs again and again": lambda: duties.both(build, case),
    }
    for name, work in parts.items():
        print(f"{name:26} {spent(work):7.1f} ms")
    found = hold.hold(build, case, speed, slope)
    assert np.isfinite(found.time).any() and np.isinf(found.time).any()
