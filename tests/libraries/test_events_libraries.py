"""Rides in time against scipy's solver of ordinary equations, by the method of steps."""

import numpy as np
import pytest
from machines import EFFICIENCY, PDA_100
from riding import REAL, machine
from riding_by_steps import by_steps

from unikit.formulas import events
from unikit.formulas.events import Drive, Event
from unikit.formulas.reflex import Path

pytestmark = pytest.mark.reference
TABLE = {"speeds": np.array([0.0, 3.5, 6.0]), "highest": np.array([30.0, 16.0, 4.0]), "lowest": np.array([-20.0, -6.0, -2.0])}
CASES = {
    "blow": Event(speed_loss=0.3),
    "back": Event(lean_rate=-0.3),
    "gust": Event(gust=6.0, gust_time=0.25),
    "slope": Event(slope_step=0.02, slope_time=0.4),
    "cut-out": Event(cut_out=0.3, ramp_time=0.2),
    "sensor": Event(sensor_offset=4.0),
    "stuck": Event(stuck=1.0, speed_loss=0.1),
    "short": Event(short_drag=0.05),
}


@pytest.mark.checks("independent", "events.simulate")
@pytest.mark.parametrize("name", CASES)
def test_a_ride_is_that_of_an_adaptive_solver_with_its_own_memory(name):
    road = machine(slope=0.02, head_wind=1.0)
    motor = Drive(EFFICIENCY, 1.5, 0.4, 0.3, trim=1.0, motor_drag=0.3, **TABLE)
    path, legs, event = Path(0.02, 8.0, 0.004), REAL._replace(crank_angle=0.4), CASES[name]
    expected = by_steps(road, PDA_100, path, legs, motor, event, 0.3, 0.9)
    course = events.simulate(road, PDA_100, path, legs, motor, event, 0.9, 2.5e-4, fall_lean=3.0, every=40, settling_rate=0.3)
    assert np.ptp(expected[0]) > 0.005
    for part, other in zip((course.lean, course.lean_rate, course.speed), expected, strict=True):
        np.testing.assert_allclose(part[1:], other[1:], rtol=0, atol=2e-5 * np.ptp(other))
