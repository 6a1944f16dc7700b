"""Copper loss of a pulsing torque: against the shape's own mean square, a quadrature of its own, and back."""

import numpy as np
import pytest
from scipy.integrate import quad

from unikit.formulas import magnetics, motor, pedalling
from unikit.inputs import replace
from unikit.studies import pulse
from unikit.studies.drive import ROOM, drive

from . import examples


@pytest.mark.parametrize("location, twice", [("spindle", 1.0), ("one crank", 2.0)])
def test_without_saturation_it_is_the_mean_square_of_the_shape(location, twice):
    build = replace(examples.build(), {"sensor.location": location})
    state = drive(build, winding_temperature=ROOM, magnet_temperature=330.0)
    steady = motor.copper_loss(motor.current_for_torque(20.0, state.torque_constant_peak), state.phase_resistance)
    expected = twice * pedalling.shape_mean_square(build.rider.torque_floor) * steady
    assert pulse.copper_loss(build, 20.0, 330.0) == pytest.approx(expected, rel=1e-12)
    assert pulse.torque(build, expected, 330.0) == pytest.approx(20.0, rel=1e-12)


def test_saturation_costs_current_and_the_way_back_finds_the_torque():
    build = replace(examples.build(), {"motor.saturation_current": 90.0})
    state = drive(build, winding_temperature=ROOM, magnet_temperature=ROOM)

    def loss(angle):
        given = 25.0 * pedalling.torque_shape(angle, build.rider.torque_floor)
        current = magnetics.current_when_saturated(given, state.torque_constant_peak, 90.0)
        return motor.copper_loss(current, state.phase_resistance)

    expected = quad(loss, 0.0, np.pi / 2, epsabs=1e-10)[0] / (np.pi / 2)
    assert pulse.copper_loss(build, 25.0, ROOM) == pytest.approx(expected, rel=1e-9)
    assert expected > 1.05 * pulse.copper_loss(examples.build(), 25.0, ROOM)
    torques, magnets = np.linspace(0.0, 40.0, 9), np.array([[290.0], [350.0]])
    again = pulse.torque(build, pulse.copper_loss(build, torques, magnets), magnets)
    assert again == pytest.approx(np.broadcast_to(torques, (2, 9)), rel=1e-9, abs=1e-9)
    assert pulse.copper_loss(build, 0.95 * 90.0, ROOM) == np.inf  # its peak is more than any current gives
