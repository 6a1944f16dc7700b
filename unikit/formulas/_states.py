"""The states behind ``reflex.system_matrices``: legs, filter and motor have states only where they have a lag."""

from __future__ import annotations

import numpy as np

from .. import units as u
from ._window import Loop


def _column(value: u.Values) -> np.ndarray:
    return np.asarray(value, float)[..., None]


def matrices(loop: Loop, assist_gain: u.Values) -> tuple[np.ndarray, list[tuple[np.ndarray, u.Values]]]:
    """State matrix, and the delayed ones with their delays."""
    shape = np.broadcast_shapes(*(np.shape(part) for part in loop), np.shape(assist_gain))
    lags = {"legs": loop.replanning_time, "filter": loop.filter_lag, "motor": loop.motor_lag}
    has = {name: bool(np.any(np.asarray(lag) > 0)) for name, lag in lags.items()}
    for name, lag in lags.items():
        if has[name] and not np.all(np.asarray(lag) > 0):
            raise ValueError(f"the time constant of the {name} must be 0 in all builds or in none of one call")
    states = 4 + 2 * has["legs"] + has["filter"] + has["motor"]
    unit = np.eye(states)
    lean, rate, speed, muscle = unit[:4]
    part = Loop(*map(_column, loop))
    matrix, rider = np.zeros((*shape, states, states)), np.zeros((*shape, states, states))
    pedal = muscle + np.zeros((*shape, states))
    if has["legs"]:
        bend, bend_rate = unit[4:6]
        tau, crank = part.replanning_time, (speed / part.wheel_radius - rate) / part.gear_ratio
        pedal = pedal - part.leg_damping * (crank - bend) - (part.leg_stiffness * tau**2 - 2 * tau * part.leg_damping) * bend_rate
        matrix[..., 4, :] = bend_rate
        matrix[..., 5, :] = (crank - bend - 2 * tau * bend_rate) / tau**2
    assist = _column(assist_gain) * pedal  # what the motor is asked for, and gives a dead time later
    late, here = (assist, 0.0 * pedal), part.gear_leverage * pedal
    place = states - has["filter"] - has["motor"]
    sensed = np.zeros_like(matrix)
    for name, lag in (("filter", part.filter_lag), ("motor", part.motor_lag)):
        if has[name]:
            sensed[..., place, :] = late[0] / lag
            matrix[..., place, :] = (late[1] - unit[place]) / lag
            late, place = (0.0 * pedal, unit[place] + 0.0 * pedal), place + 1
    here = here + late[1]
    fall = part.lean_by_lean * lean + part.lean_by_speed * speed - part.lean_by_torque * here
    sensed[..., 1, :], sensed[..., 2, :] = -part.lean_by_torque * late[0], part.speed_by_torque * late[0]
    matrix[..., 0, :], matrix[..., 1, :] = rate, fall
    matrix[..., 2, :] = part.speed_by_lean * lean + part.speed_by_torque * here + part.speed_by_speed * speed
    matrix[..., 3, :] = -muscle / part.muscle_lag
    wanted = part.proportional * (lean + part.speed_gain * speed) + part.derivative * rate + part.acceleration * fall
    rider[..., 3, :] = wanted / part.muscle_lag
    delayed = [(rider, loop.delay), (sensed, loop.dead_time)]
    if np.any(late[0]) and np.any(part.acceleration):
        both = np.zeros_like(matrix)
        both[..., 3, :] = -part.acceleration * part.lean_by_torque * late[0] / part.muscle_lag
        delayed.append((both, loop.delay + loop.dead_time))
    return matrix, delayed
