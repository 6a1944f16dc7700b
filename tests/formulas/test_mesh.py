"""Meshes: friction summed along the path of contact, and power followed through the train."""

import numpy as np
import pytest
from broadcasting import assert_broadcasts

from unikit.formulas import epicyclic, involute, mesh

ANGLE = np.radians(20.0)


def tip(teeth, addendum, internal=False):
    """Base pitches from the pitch point to the tip."""
    across = teeth + (-2 if internal else 2) * addendum
    return float(involute.addendum_path(across, teeth * np.cos(ANGLE), internal=internal) / (np.pi * np.cos(ANGLE)))


@pytest.mark.checks("independent", "mesh.mesh_loss")
@pytest.mark.parametrize(("pinion", "wheel", "internal"), [(13, 45, False), (13, 71, True), (20, 20, False)])
def test_loss_is_the_work_of_friction_along_the_path(pinion, wheel, internal):
    friction, module = 0.08, 0.00125
    ends = [tip(pinion, 1.0), tip(wheel, 0.6, internal)]
    pitch = np.pi * module * np.cos(ANGLE)
    base = module * pinion / 2 * np.cos(ANGLE)
    turning = np.array([1.0, (-1 if internal else 1) * pinion / wheel])  # rad/s against each other
    s = np.linspace(-ends[1] * pitch, ends[0] * pitch, 200_001)
    beside = (s + pitch <= s[-1]) | (s - pitch >= s[0])  # a second pair is in contact
    share = np.where(beside, 0.5, 1.0)
    lost = np.trapezoid(friction * share * np.abs(s) * turning.sum(), s) / base  # over the time of one base pitch, force 1
    assert mesh.mesh_loss(friction, pinion, wheel, *ends, internal) == pytest.approx(lost / pitch, rel=1e-4)


@pytest.mark.checks("independent", "mesh.step_up_efficiency")
@pytest.mark.parametrize("resisting", [False, True])
def test_power_followed_through_the_train(resisting):
    sun, ring, meshes = 45, 71, 0.96
    speeds = epicyclic.member_speeds(sun, ring, fixed="sun", driver="carrier", driver_speed=6.0)
    # Seen from the carrier the train is a fixed one; what goes in at one gear comes out at the other, less the loss.
    ring_torque = -10.0 if not resisting else 10.0  # from outside on the ring
    at_ring = ring_torque * (speeds.ring - speeds.carrier)  # power into the train there
    at_sun = -at_ring / meshes if at_ring < 0 else -at_ring * meshes
    sun_torque = at_sun / (speeds.sun - speeds.carrier)
    carrier_torque = -(sun_torque + ring_torque)
    crank, wheel = carrier_torque * speeds.carrier, ring_torque * speeds.ring
    efficiency = -crank / wheel if resisting else -wheel / crank
    assert mesh.step_up_efficiency(sun, ring, meshes, resisting) == pytest.approx(efficiency, rel=1e-12)


@pytest.mark.checks("limit", "mesh.step_up_efficiency", "mesh.mesh_loss")
def test_without_friction_nothing_is_lost_and_a_little_costs_the_sun_s_share():
    assert mesh.mesh_loss(0.0, 13, 45, 0.8, 0.8) == 0.0
    assert mesh.step_up_efficiency(45, 71, 1.0) == 1.0
    assert (1 - mesh.step_up_efficiency(45, 71, 1 - 1e-6)) / 1e-6 == pytest.approx(45 / 116, rel=1e-4)


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="contact ratio must be from 1 to 2"):
        mesh.mesh_loss(0.1, 13, 45, 0.3, 0.3)
    with pytest.raises(ValueError, match="ring_teeth - sun_teeth must be above 0"):
        mesh.step_up_efficiency(45, 40, 0.97)


def test_broadcast():
    assert_broadcasts(mesh.mesh_loss, friction=[0.05, 0.1], pinion_teeth=[13.0, 20.0], wheel_teeth=40.0, pinion_tip=0.7, wheel_tip=0.8)
    assert_broadcasts(mesh.step_up_efficiency, sun_teeth=[30.0, 45.0], ring_teeth=[60.0, 71.0], mesh_efficiency=0.97)
