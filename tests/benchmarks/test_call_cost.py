"""What a plain call of a formula costs beyond its bare arithmetic, in one run.

``python -m pytest tests/benchmarks/test_call_cost.py -s -m ''``
"""

import timeit

from unikit.formulas import gearing, leverage, motor, road

PAIRS = {
    "gearing.speed": (lambda: gearing.speed(6.0, 0.35, 1.6), lambda: 6.0 * 1.6 * 0.35),
    "leverage.gear_leverage": (lambda: leverage.gear_leverage(1.6, 0.96), lambda: 0.96 / 1.6),
    "motor.copper_loss": (lambda: motor.copper_loss(20.0, 0.085), lambda: 1.5 * 0.085 * 20.0 * 20.0),
    "motor.current_for_torque": (lambda: motor.current_for_torque(20.0, 0.95), lambda: 20.0 / 0.95),
    "road.slope_force": (lambda: road.slope_force(90.0, 0.06), lambda: 90.0 * 9.81 * 0.06 / (1 + 0.06 * 0.06) ** 0.5),
}


def test_call_cost():
    print()
    for name, (formula, bare) in PAIRS.items():
        dressed = min(timeit.repeat(formula, number=20_000, repeat=7)) / 20_000
        plain = min(timeit.repeat(bare, number=20_000, repeat=7)) / 20_000
        print(f"{name:26} {1e6 * dressed:.2f} µs, bare arithmetic {1e6 * plain:.2f} µs, more: {1e6 * (dressed - plain):.2f} µs")
        assert dressed - plain < 1e-6, name
