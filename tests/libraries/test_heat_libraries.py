"""Convection against an independent library of correlations."""

import numpy as np
import pytest

from unikit.formulas import air, heat

pytestmark = pytest.mark.reference


@pytest.fixture
def ht():
    """The library; imported here, so that this file can be collected without it."""
    import ht as library

    return library


@pytest.mark.parametrize("reynolds", [10.0, 6071.0, 173764.0, 2e6])
def test_cylinder_in_cross_flow(ht, reynolds):
    for prandtl in (0.68, 0.71, 5.0):
        assert heat.cylinder_crossflow_nusselt(reynolds, prandtl) == pytest.approx(
            ht.Nu_cylinder_Churchill_Bernstein(reynolds, prandtl), rel=1e-12
        )


@pytest.mark.parametrize("grashof", [1e3, 1e6, 2e9])
def test_natural_convection(ht, grashof):
    prandtl = 0.7
    plate = ht.Nu_vertical_plate_Churchill(prandtl, grashof)
    assert heat.vertical_plate_nusselt(grashof * prandtl, prandtl) == pytest.approx(plate, rel=1e-12)
    cylinder = ht.Nu_horizontal_cylinder_Churchill_Chu(prandtl, grashof)
    assert heat.horizontal_cylinder_nusselt(grashof * prandtl, prandtl) == pytest.approx(cylinder, rel=1e-12)


def test_plate_along_the_flow(ht):
    laminar = ht.conv_external.Nu_horizontal_plate_laminar_Baehr(1e5, 0.7)
    assert heat.plate_nusselt(1e5, 0.7) == pytest.approx(laminar, rel=1e-12)


def test_radiation(ht):
    # the library carries the radiation constant of 2014
    flux = ht.q_rad(0.8, 423.0, 298.0)
    assert heat.radiation_coefficient(0.8, 423.0, 298.0) * (423.0 - 298.0) == pytest.approx(flux, rel=3e-6)


def test_straight_fin(ht):
    # an annular fin on a very thick tube is a straight fin
    radius, length, thickness = 20.0, 0.02, 0.001
    annular = ht.fin_efficiency_Kern_Kraus(Do=2 * radius, D_fin=2 * (radius + length), t_fin=thickness, k_fin=150.0, h=40.0)
    assert heat.straight_fin_efficiency(40.0, 150.0, thickness, length) == pytest.approx(annular, rel=1e-3)


def test_plate_with_a_laminar_beginning(ht):
    # the library's law is turbulent from the edge on, and rounds 0.037 to 0.036
    for reynolds in (6e5, 5e7):
        turbulent = ht.conv_external.Nu_horizontal_plate_turbulent_Kreith(reynolds, 0.7)
        assert heat.plate_nusselt(reynolds, 0.7) + 871 * 0.7 ** (1 / 3) == pytest.approx(turbulent * 0.037 / 0.036, rel=1e-12)


def test_pin_fin_without_loss_at_its_tip(ht):
    # an annular fin on a thick tube again: its efficiency times the surface of a straight fin
    radius, length, thickness, width = 20.0, 0.02, 0.001, 1.0
    annular = ht.fin_efficiency_Kern_Kraus(Do=2 * radius, D_fin=2 * (radius + length), t_fin=thickness, k_fin=150.0, h=60.0)
    ours = heat.fin_conductance(60.0, 2 * width, 150.0, width * thickness, length)
    assert ours == pytest.approx(annular * 60.0 * 2 * width * length, rel=1e-3)


def test_air_gap_coefficient_at_rest_is_conduction_through_a_layer(ht):
    resistance = ht.R_cylinder(0.093, 0.0938, k=0.0281, L=0.03)
    gap = heat.air_gap_coefficient(heat.air_gap_nusselt(0.0), 0.0281, 0.0008)
    assert gap * 2 * np.pi * 0.0934 * 0.03 == pytest.approx(1 / resistance, rel=1e-4)


def test_housing_rebuilt_from_library_parts(ht):
    speed, rotation, diameter, width, cold, hot = 6.0, 17.0, 0.26, 0.07, 295.0, 345.0
    film = (cold + hot) / 2
    k, nu, pr = air.conductivity(film), air.kinematic_viscosity(film), air.prandtl(film)
    chord = np.pi * diameter / 4
    grashof = lambda length: 9.81 / film * (hot - cold) * length**3 / nu**2
    face = [
        ht.Nu_vertical_plate_Churchill(pr, grashof(chord)) / chord,
        0.3259 * np.sqrt(rotation / nu),
        ht.conv_external.Nu_horizontal_plate_laminar_Baehr(speed * chord / nu, pr) / chord,
    ]
    rim = [
        ht.Nu_horizontal_cylinder_Churchill_Chu(pr, grashof(diameter)) / diameter,
        0.11 * 0.5**0.35 * (rotation * diameter**2 / (2 * nu)) ** 0.7 / diameter,
        ht.Nu_cylinder_Churchill_Bernstein(speed * diameter / nu, pr) / diameter,
    ]
    area = np.pi * diameter**2 / 2, np.pi * diameter * width
    convection = sum(a * k * np.sum(np.array(p) ** 3) ** (1 / 3) for a, p in zip(area, (face, rim), strict=True))
    expected = convection + ht.q_rad(0.85, hot, cold) / (hot - cold) * sum(area)
    ours = heat.housing_conductance(speed, rotation, diameter, width, cold, 0.85, hot)
    assert ours == pytest.approx(expected, rel=1e-6)
