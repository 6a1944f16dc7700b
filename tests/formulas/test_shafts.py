"""Axles: published examples, stresses summed over the section, and proportions."""

import numpy as np
import pytest
from broadcasting import assert_broadcasts
from published import published

from unikit.formulas import shafts


@pytest.mark.checks("published", "shafts.bending_stress", "shafts.torsion_stress", "shafts.von_mises")
def test_stresses_of_the_worked_shaft():
    # G-15: Shigley 10e Ex. 7-1
    row = published("G-15-A")
    assert 1.58 * shafts.bending_stress(142.36, 0.02794) / 1e6 == pytest.approx(row.value, abs=row.tolerance)
    mean = shafts.von_mises(0.0, 1.37 * shafts.torsion_stress(124.28, 0.02794))
    assert mean / 1e6 == pytest.approx(68.86, abs=0.05)


@pytest.mark.checks("published", "shafts.goodman_factor", "shafts.von_mises")
def test_fatigue_factor_of_the_worked_shaft_from_its_loads():
    bent, turned = 1.58 * shafts.bending_stress(142.36, 0.02794), 1.37 * shafts.torsion_stress(124.28, 0.02794)
    row = published("G-15-G")
    found = shafts.goodman_factor(shafts.von_mises(bent, 0.0), shafts.von_mises(0.0, turned), 202.0e6, 723.9e6)
    assert found == pytest.approx(row.value, abs=row.tolerance)


@pytest.mark.checks("published", "shafts.twist", "shafts.diameter_for_stress")
def test_strain_of_the_worked_tube_and_weight_of_the_hollow_shaft():
    # G-13, G-14: Gere Ex. 3.6 and 3.2; twist governs both shafts, stress alone would let them be thinner
    strain = shafts.twist(4000.0, 1.0, 0.08, 27e9, 0.06) * 0.04
    assert strain == pytest.approx(2.1557e-3, rel=1e-4)
    solid, hollow = (shafts.diameter_for_twist(1200.0, 1.0, np.radians(0.75), 78e9, bore) for bore in (0.0, 0.8))
    assert hollow / solid == pytest.approx(1.14, abs=0.005) and (hollow / solid) ** 2 * (1 - 0.8**2) == pytest.approx(0.47, abs=0.005)
    for bore, governs in ((0.0, solid), (0.8, hollow)):
        by_stress = shafts.diameter_for_stress(1200.0, 40e6, bore)
        assert by_stress < governs
        assert shafts.torsion_stress(1200.0, by_stress, bore * by_stress) == pytest.approx(40e6, rel=1e-12)


@pytest.mark.checks("independent", "shafts.torsion_stress", "shafts.bending_stress", "shafts.twist", "shafts.diameter_for_twist")
@pytest.mark.parametrize("bore", [0.0, 0.009])
def test_stresses_over_the_section_add_to_torque_and_moment(bore):
    torque, moment, diameter, modulus = 130.0, 60.0, 0.02, 79e9
    edges = np.linspace(bore / 2, diameter / 2, 4001)
    radius = 0.5 * (edges[1:] + edges[:-1])
    rings = np.pi * np.diff(edges**2)
    shear = shafts.torsion_stress(torque, diameter, bore) * radius / (diameter / 2)
    assert np.sum(shear * radius * rings) == pytest.approx(torque, rel=1e-6)
    angle = np.linspace(0, 2 * np.pi, 721)[:-1]
    height = radius[:, None] * np.sin(angle)
    normal = shafts.bending_stress(moment, diameter, bore) * height / (diameter / 2)
    assert np.sum(normal * height * rings[:, None] / angle.size) == pytest.approx(moment, rel=1e-6)
    turned = shafts.twist(torque, 0.05, diameter, modulus, bore)
    assert shear[-1] / modulus == pytest.approx(radius[-1] * turned / 0.05, rel=1e-12)
    assert shafts.diameter_for_twist(torque, 0.05, turned, modulus, bore / diameter) == pytest.approx(diameter, rel=1e-12)


@pytest.mark.checks("independent", "shafts.von_mises", "shafts.maximum_shear")
def test_combined_stresses_from_the_principal_ones():
    normal, shear = 180.0, 90.0
    high, low = np.linalg.eigvalsh([[normal, shear], [shear, 0.0]])[::-1]
    assert shafts.maximum_shear(normal, shear) == pytest.approx((high - low) / 2, rel=1e-12)
    by_energy = np.sqrt(((high - low) ** 2 + high**2 + low**2) / 2)
    assert shafts.von_mises(normal, shear) == pytest.approx(by_energy, rel=1e-12)


@pytest.mark.checks("limit", "shafts.goodman_factor", "shafts.elliptic_factor", "shafts.yield_factor")
def test_fatigue_factors_at_the_ends_of_their_lines():
    assert shafts.goodman_factor(100.0, 0.0, 200.0, 700.0) == shafts.elliptic_factor(100.0, 0.0, 200.0, 500.0) == 2.0
    assert shafts.goodman_factor(0.0, 100.0, 200.0, 700.0) == pytest.approx(7.0)
    assert shafts.goodman_factor(0.0, 0.0, 200.0, 700.0) == np.inf
    assert shafts.elliptic_factor(0.0, 100.0, 200.0, 500.0) == pytest.approx(5.0)
    assert shafts.yield_factor(100.0, 0.0, 500.0) == 5.0
    assert shafts.goodman_factor(50.0, 50.0, 200.0, 500.0) < shafts.elliptic_factor(50.0, 50.0, 200.0, 500.0)


@pytest.mark.checks("independent", "shafts.key_shear", "shafts.key_pressure", "shafts.spline_pressure", "shafts.axle_moment")
def test_forces_behind_keys_splines_and_axle_by_hand():
    torque, diameter, length = 70.0, 0.02, 0.014
    force = torque / (diameter / 2)
    assert shafts.key_shear(torque, diameter, 0.006, length) == pytest.approx(force / (0.006 * length))
    assert shafts.key_pressure(torque, diameter, 0.006, length) == pytest.approx(force / (0.003 * length))
    outer, inner, number = 0.020, 0.017, 6
    side = (outer - inner) / 2 * length * number
    assert shafts.spline_pressure(torque, number, outer, inner, length) == pytest.approx(torque / ((outer + inner) / 4) / side)
    assert shafts.axle_moment(80.0, 0.02, 3.0) == pytest.approx(3.0 * 80 * 9.81 / 2 * 0.02)


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="diameter - bore must be above 0"):
        shafts.torsion_stress(1.0, 0.02, 0.02)
    with pytest.raises(ValueError, match="outer - inner must be above 0"):
        shafts.spline_pressure(1.0, 6, 0.02, 0.021, 0.01)
    with pytest.raises(ValueError, match="endurance must be above 0"):
        shafts.goodman_factor(1.0, 1.0, 0.0, 700.0)
    with pytest.raises(ValueError, match="length must be above 0"):
        shafts.arm_force(1.0, 0.0)


def test_broadcast():
    assert_broadcasts(shafts.torsion_stress, torque=[1.0, 2.0], diameter=[0.02, 0.03], bore=0.01)
    assert_broadcasts(shafts.bending_stress, moment=[1.0, 2.0], diameter=[0.02, 0.03], bore=0.01)
    assert_broadcasts(shafts.twist, torque=[1.0, 2.0], length=[0.1, 0.2], diameter=0.02, shear_modulus=79e9)
    assert_broadcasts(shafts.diameter_for_stress, torque=[1.0, 2.0], shear_limit=[1e7, 2e7])
    assert_broadcasts(shafts.diameter_for_twist, torque=[1.0, 2.0], length=1.0, angle=[0.01, 0.02], shear_modulus=79e9)
    assert_broadcasts(shafts.von_mises, normal_stress=[1.0, 2.0], shear_stress=[3.0, 4.0])
    assert_broadcasts(shafts.maximum_shear, normal_stress=[1.0, 2.0], shear_stress=[3.0, 4.0])
    assert_broadcasts(shafts.yield_factor, normal_stress=[1.0, 2.0], shear_stress=[3.0, 4.0], yield_strength=50.0)
    assert_broadcasts(shafts.goodman_factor, alternating=[1.0, 2.0], mean=[3.0, 4.0], endurance=50.0, tensile=90.0)
    assert_broadcasts(shafts.elliptic_factor, alternating=[1.0, 2.0], mean=[3.0, 4.0], endurance=50.0, yield_strength=90.0)
    assert_broadcasts(shafts.key_shear, torque=[1.0, 2.0], diameter=[0.02, 0.03], width=0.005, length=0.01)
    assert_broadcasts(shafts.key_pressure, torque=[1.0, 2.0], diameter=[0.02, 0.03], height=0.005, length=0.01)
    assert_broadcasts(shafts.spline_pressure, torque=[1.0, 2.0], teeth=[6.0, 8.0], outer=0.02, inner=0.017, length=0.01)
    assert_broadcasts(shafts.arm_force, torque=[1.0, 2.0], length=[0.1, 0.2])
    assert_broadcasts(shafts.bolt_pair_force, torque=[1.0, 2.0], spacing=[0.1, 0.2])
    assert_broadcasts(shafts.axle_moment, mass=[60.0, 90.0], overhang=[0.01, 0.02], drop_factor=3.0)
