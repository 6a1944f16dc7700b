"""Loops with delays for tests: the delayed pendulum, and a machine with rider, filter and motor."""

import numpy as np

TOPPLING = 41.49382  # 1/s^2
PER_TORQUE, LEVER = 0.187509, 0.97 / 1.5
SPEED = dict(lean_by_speed=-0.0064, speed_by_lean=-29.58, speed_by_torque=0.1632, speed_by_speed=-0.0241, speed_gain=0.02)
MUSCLE, FILTER, MOTOR = 0.03, 1 / (2 * np.pi * 10), 0.003
RIDER_DELAY, DEAD_TIME = 0.10, 0.010


def pendulum(a, proportional, derivative, delay):
    """x'' - a x = -kp x(t - tau) - kd x'(t - tau), for numbers or arrays."""
    proportional, derivative = np.broadcast_arrays(np.asarray(proportional, float), derivative)
    gain = np.zeros((*proportional.shape, 2, 2))
    gain[..., 1, 0], gain[..., 1, 1] = -proportional, -derivative
    return [[0.0, 1.0], [a, 0.0]], [(gain, delay)]


def machine(assist_gain=0.353, proportional=250.0, derivative=50.0, delay=RIDER_DELAY, dead_time=DEAD_TIME, settling=None):
    """Lean, its rate, speed, muscle, filter, motor; with a settling rate also the pedal torque that is held; arrays are many."""
    arguments = np.broadcast_arrays(assist_gain, proportional, derivative)
    shape, size = arguments[0].shape, 6 + (settling is not None)
    matrix, rider, sensed = (np.zeros((*shape, size, size)) for _ in range(3))
    s = SPEED
    pedals = [3] if settling is None else [3, 6]
    matrix[..., 0, 1] = 1.0
    matrix[..., 1, [0, 2, 5]] = TOPPLING, s["lean_by_speed"], -PER_TORQUE
    matrix[..., 1, pedals] = -PER_TORQUE * LEVER
    matrix[..., 2, [0, 2, 5]] = s["speed_by_lean"], s["speed_by_speed"], s["speed_by_torque"]
    matrix[..., 2, pedals] = s["speed_by_torque"] * LEVER
    matrix[..., 3, 3], matrix[..., 4, 4] = -1 / MUSCLE, -1 / FILTER
    matrix[..., 5, [4, 5]] = 1 / MOTOR, -1 / MOTOR
    rider[..., 3, 0] = arguments[1] / MUSCLE
    rider[..., 3, 1] = arguments[2] / MUSCLE
    rider[..., 3, 2] = arguments[1] * s["speed_gain"] / MUSCLE
    for pedal in pedals:
        sensed[..., 4, pedal] = arguments[0] / FILTER
    if settling is not None:
        matrix[..., 6, 3] = settling
    return matrix, [(rider, delay), (sensed, dead_time)]


def machine_loop(s, assist_gain=0.353, proportional=250.0, derivative=50.0, delay=RIDER_DELAY, dead_time=DEAD_TIME, settling=0.0):
    """The same loop written by hand as L(s), closed by 1 + L = 0."""
    p = SPEED
    total = (s**2 - TOPPLING) * (s - p["speed_by_speed"]) - p["lean_by_speed"] * p["speed_by_lean"]
    lean = (-PER_TORQUE * (s - p["speed_by_speed"]) + p["lean_by_speed"] * p["speed_by_torque"]) / total
    speed = ((s**2 - TOPPLING) * p["speed_by_torque"] - p["speed_by_lean"] * PER_TORQUE) / total
    command = (proportional * (lean + p["speed_gain"] * speed) + derivative * s * lean) * np.exp(-s * delay) / (1 + s * MUSCLE)
    assist = assist_gain * np.exp(-s * dead_time) / (1 + s * FILTER) / (1 + s * MOTOR)
    return -command * (1 + settling / s) * (LEVER + assist)
