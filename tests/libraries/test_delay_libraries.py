"""Roots and margins against an independent control library, its delays by Padé approximants."""

import numpy as np
import pytest
from delayed_loops import machine, machine_loop, pendulum

from unikit.formulas import delay

pytestmark = pytest.mark.reference


def library():
    """The control library; imported at its first use, so that this file can be collected without it."""
    import control

    return control


def with_pade(a_matrix, delayed, orders):
    """The closed system with each delay as a Padé approximant; every matrix has rank 1."""
    left, right, late = [], [], []
    for (gain, time), order in zip(delayed, orders, strict=True):
        one, size, other = np.linalg.svd(gain)
        left.append(one[:, 0] * size[0])
        right.append(other[0])
        late.append(library().ss(library().tf(*library().pade(time, order))))
    plant = library().ss(a_matrix, np.transpose(left), right, np.zeros((len(left), len(left))))
    return library().feedback(plant, library().append(*late), sign=1)


def worst(roots, poles):
    return max(np.abs(poles - root).min() for root in roots)


@pytest.mark.checks("independent", "delay.rightmost_roots", "delay.root_count")
def test_poles_with_pade_approach_the_roots():
    roots = delay.rightmost_roots(*machine())
    errors = [worst(roots, with_pade(*machine(), orders).poles()) for orders in ((1, 1), (3, 2), (8, 3), (10, 4))]
    assert errors[0] > 0.1
    assert errors[1] < 0.2 * errors[0]
    assert errors[2] < 1e-4
    assert errors[3] < 1e-7
    for kp, kd in ((13, 4.5), (20, 4.5), (9, 4.5), (13, 7)):
        system = pendulum(9.81, kp, kd, 0.2)
        poles = with_pade(*system, (8,)).poles()
        assert worst(delay.rightmost_roots(*system, count=3), poles) < 1e-6
        assert delay.root_count(*system) == np.sum(poles.real > 0)


@pytest.mark.checks("independent", "delay.margins")
@pytest.mark.parametrize(
    ("above", "below"),
    [([10.0], [1, 6, 5, 0]), ([3.0, 6.0], [1, 1.0, -2.0]), ([40.0, 80.0, 60.0], [1, 2, 1, 0, 0]), ([1.0], [1, 0.4, 1.2, 0.2, 0])],
)
def test_margins_of_rational_loops(above, below):
    expected = library().stability_margins(library().tf(above, below), returnall=True)
    gains, phases, distances = (np.atleast_1d(part) for part in expected[:3])
    frequency, respond = np.geomspace(1e-3, 1e3, 1500), lambda w: np.polyval(above, 1j * w) / np.polyval(below, 1j * w)
    found = delay.margins(frequency, respond)
    assert found.gain_up == pytest.approx(min(gains[gains > 1], default=np.inf), rel=1e-9)
    if np.any((gains < 1) & (expected[3] > 0)):
        assert found.gain_down == pytest.approx(max(gains[(gains < 1) & (expected[3] > 0)]), rel=1e-9)
    nearest = np.argmin(np.abs(phases))
    assert np.degrees(found.phase) == pytest.approx(phases[nearest], rel=1e-9)
    assert found.phase_frequency == pytest.approx(np.atleast_1d(expected[4])[nearest], rel=1e-9)
    ends = np.abs(1 + respond(frequency[[0, -1]]))  # the library looks at the lows inside only
    assert found.vector == pytest.approx(min([*distances, *ends]), rel=1e-6)


@pytest.mark.checks("independent", "delay.margins")
def test_margins_of_the_machine_with_its_delays():
    frequency = np.geomspace(0.02, 300, 1000)
    found = delay.margins(frequency, lambda w: machine_loop(1j * w))
    system, delayed = machine()
    # open the loop where the rider acts: what comes back for a unit command is -L
    command = np.zeros((6, 1))
    command[3, 0] = 1.0
    (rider, time), other = delayed
    late = library().ss(library().tf(*library().pade(time, 10)))
    assist = with_pade_open(system, other, command, rider[3])
    loop = -library().series(assist, late)
    gain, phase, vector, _, at, _ = library().stability_margins(loop, returnall=True)
    assert found.gain_up == pytest.approx(min(gain[gain > 1]), rel=1e-8)
    assert found.gain_down == pytest.approx(max(gain[gain < 1]), rel=1e-8)
    nearest = np.argmin(np.abs(phase))
    assert np.degrees(found.phase) == pytest.approx(phase[nearest], rel=1e-6)
    assert found.phase_frequency == pytest.approx(at[nearest], rel=1e-6)
    assert found.vector == pytest.approx(min(vector), rel=1e-4)


def with_pade_open(a_matrix, delayed, command, reading):
    """From the rider's command to what the rider reads, the delay of the assist as a Padé approximant."""
    gain, time = delayed
    one, size, other = np.linalg.svd(gain)
    inner = library().ss(library().tf(*library().pade(time, 4)))
    plant = library().ss(a_matrix, np.hstack([command, one[:, :1] * size[0]]), np.vstack([reading, other[:1]]), np.zeros((2, 2)))
    through = library().append(library().ss([], [], [], [[0.0]]), inner)
    return library().feedback(plant, through, sign=1)[0, 0]
