"""Other turns and other lengths of the same motor: what must stay, and what must scale."""

import pytest

from unikit.formulas import motor as formulas
from unikit.inputs import load_build, load_case
from unikit.studies import motor
from unikit.studies.rewind import with_length, with_turns

from . import examples

BUILD = load_build("data/builds/harbour_commuter.toml")
CASE = load_case("data/cases/harbour_hill.toml")


@pytest.mark.parametrize("turns", [0.6, 1.0, 1.7])
def test_turns_trade_current_for_speed_and_leave_the_copper_loss(turns):
    first, other = (motor.study(build, CASE) for build in (BUILD, with_turns(BUILD, turns)))
    assert other.copper_loss == pytest.approx(first.copper_loss)
    assert other.motor_constant == pytest.approx(first.motor_constant)
    assert other.phase_current == pytest.approx(first.phase_current / turns)
    assert other.no_load_speed == pytest.approx(first.no_load_speed / turns)
    assert other.motor_torque == pytest.approx(first.motor_torque)


def test_turns_leave_the_ratio_of_inductance_and_resistance():
    machine, other = BUILD.motor, with_turns(BUILD, 1.4).motor
    assert other.quadrature_inductance / other.phase_resistance == pytest.approx(machine.quadrature_inductance / machine.phase_resistance)
    assert other.mass == machine.mass


@pytest.mark.parametrize("length", [0.5, 1.0, 1.6])
def test_length_scales_the_square_of_the_motor_constant(length):
    """Copper loss for a torque goes with one over the length: the motor constant squared belongs to the volume."""
    machine = with_length(BUILD, length).motor
    assert machine.torque_constant_peak == BUILD.motor.torque_constant_peak
    loss = formulas.copper_loss(20 / machine.torque_constant_peak, machine.phase_resistance)
    assert loss * length == pytest.approx(formulas.copper_loss(20 / BUILD.motor.torque_constant_peak, BUILD.motor.phase_resistance))
    assert machine.mass == pytest.approx(length * BUILD.motor.mass)
    assert with_length(BUILD, length).total_mass == pytest.approx(BUILD.total_mass + (length - 1) * BUILD.motor.mass)


def test_the_winding_time_constant_does_not_depend_on_length():
    first, other = BUILD.motor, with_length(BUILD, 0.4).motor
    assert other.winding_capacity / other.winding_to_stator == pytest.approx(first.winding_capacity / first.winding_to_stator)


def test_ring_and_gap_grow_with_the_length_where_they_are_described():
    first = examples.described()
    other = with_length(first, 0.5).motor
    for name in ("magnet_capacity", "magnet_to_housing", "stack_length"):
        assert getattr(other, name) == pytest.approx(0.5 * getattr(first.motor, name))
    assert other.gap_width == first.motor.gap_width
    assert with_length(BUILD, 0.5).motor.stack_length is None


@pytest.mark.parametrize("change", [with_turns, with_length])
def test_a_build_without_motor_is_an_error(change):
    with pytest.raises(ValueError, match="'Harbour ungeared' has no motor: there is nothing to wind"):
        change(load_build("data/builds/harbour_ungeared.toml"), 1.2)
