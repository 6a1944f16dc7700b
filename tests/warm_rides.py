"""Rides through a thermal network, and their courses by an integrator that knows nothing of the formulas."""

import numpy as np
from scipy.integrate import solve_ivp

LINKS = {(0, 1): 9.0, (1, 2): 0.7, (0, 3): 0.4, (1, 3): 4.0, (2, 3): 25.0}


def matrix(links, to_air):
    found = np.diag(np.array(to_air, float))
    for (one, other), value in links.items():
        found[one, other] = found[other, one] = value
    return found


def ride(steps=480, step=5.0, seed=1, **changes):
    """Losses, speed, air and sun that change, with derating on the way."""
    generator, time = np.random.default_rng(seed), step * np.arange(steps)
    conductance = np.repeat(matrix(LINKS, [0.0, 0.3, 0.0, 3.0])[None], steps, axis=0)
    conductance[:, 3, 3] = 2.5 + 1.5 * np.sin(time / 200) ** 2
    losses = np.zeros((steps, 4))
    losses[:, 1], losses[:, 3] = 8 + 4 * np.sin(time / 150), 20 * (time > 1000)
    asked = np.repeat(generator.uniform(30, 250, int(steps * step) // 120 + 1), int(120 / step))[:steps]
    given = {
        "step": step,
        "steps": steps,
        "capacity": np.array([420.0, 1350.0, 520.0, 1900.0]),
        "conductance": conductance,
        "losses": losses,
        "copper_loss": asked[:, None] * np.linspace(0, 1, 3) ** 2,
        "ambient": 293.15 + 5 * np.sin(time / 900),
        "start": np.array([312.0, 306.0, 303.0, 302.0]),
        "winding": 0,
        "magnets": 2,
        "loss_growth": 0.00393,
        "flux_growth": -0.0012,
        "flux_reference": 298.15,
        "copper_limit": 280.0,
        "headroom": 1.5,
        "derating_start": 343.15,
        "derating_end": 373.15,
    }
    return given | changes


def by_integrator(given, tolerance=1e-10):
    """Each step for itself, each law written out; the inputs are constant within a step."""
    conductance, end, now = given["conductance"], given["derating_end"], given["start"]
    course = [now]
    for step in range(given["steps"]):
        links, air = conductance[step], given["ambient"][step]
        asked = given["copper_loss"][step, -1]

        def rates(_, kelvin, links=links, air=air, asked=asked, losses=given["losses"][step]):
            left = (end - kelvin[0]) / (end - given["derating_start"])
            share = min(1.0, max(0.0, left * given["headroom"]))
            loss = min(asked * share**2 / (1 - 0.0012 * (kelvin[2] - 298.15)) ** 2, given["copper_limit"])
            flow = losses + [loss * (1 + 0.00393 * (kelvin[0] - 293.15)), 0, 0, 0]
            for i in range(4):
                flow[i] -= links[i, i] * (kelvin[i] - air)
                flow[i] -= sum(links[i, j] * (kelvin[i] - kelvin[j]) for j in range(4) if j != i)
            return flow / given["capacity"]

        now = solve_ivp(rates, (0.0, given["step"]), now, rtol=tolerance, atol=10 * tolerance, method="DOP853").y[:, -1]
        course.append(now)
    return np.array(course)
