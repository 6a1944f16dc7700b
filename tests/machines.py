"""The machine and the riders that the checks of balance speak of, and many others around them."""

import numpy as np

from unikit.formulas import balance
from unikit.formulas.reflex import Path, Reflex

MASSES = {
    "body_mass": 84.0,
    "centre_of_mass_height": 0.8,
    "body_inertia": 10.0,
    "wheel_mass": 8.0,
    "wheel_inertia": 0.3,
    "wheel_radius": 0.36,
}
AIR = {"air_density": 1.2, "drag_area": 0.55, "drag_height": 0.75, "rolling_coefficient": 0.008}
PATH = Path(0.01, 10.0, 0.003)
EFFICIENCY = 0.97


def plant(speed=4.0, **road):
    return balance.linear_plant(**MASSES, speed=speed, **(AIR | road))


def rider(proportional, derivative, acceleration, delay, muscle_lag=0.03):
    return Reflex(proportional, derivative, acceleration, 0.02, delay, muscle_lag, 2.0, 40.0, 0.2)


PD_100 = rider(307.0, 54.0, 0.0, 0.10)
PDA_100 = rider(400.0, 69.0, 3.5, 0.10)
PDA_150 = rider(355.0, 69.0, 4.5, 0.15)


def many(builds, seed):
    """Random builds on random roads with riders whose gains roughly fit them: plant, reflex, path, gear leverage, gear ratio."""
    draw = np.random.default_rng(seed).uniform
    some = lambda low, high: draw(low, high, builds)
    ratio, predicts = some(0.9, 2.2), some(0, 1) < 0.5
    machine = balance.linear_plant(
        some(60, 115),
        some(0.65, 1.0),
        some(6, 14),
        some(5, 12),
        some(0.2, 0.5),
        some(0.3, 0.45),
        slope=some(-0.1, 0.1),
        speed=some(1, 7),
        head_wind=some(-0.8, 5),
        **AIR,
    )
    rate, worth = np.sqrt(machine.lean_by_lean), machine.lean_by_torque
    reflex = Reflex(
        some(1.1, 2.2) * rate**2 / worth,
        some(1.0, 2.4) * rate / worth,
        np.where(predicts, some(0.2, 1.1) / worth, 0.0),
        some(0, 0.04),
        np.where(predicts, some(0.08, 0.2), some(0.05, 0.13)),
        some(0.02, 0.06),
        some(0, 6),
        some(0, 150),
        some(0.1, 0.3),
    )
    return machine, reflex, Path(some(0.002, 0.05), some(5, 50), some(0.001, 0.01)), some(0.93, 0.99) / ratio, ratio
