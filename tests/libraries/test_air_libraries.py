"""Air against general libraries, from sea level to 5 km."""

import numpy as np
import pytest

from unikit.formulas import air

pytestmark = pytest.mark.reference
ALTITUDE = np.linspace(0.0, 5000.0, 51)


def test_standard_atmosphere_by_ambiance():
    from ambiance import Atmosphere

    other = Atmosphere(ALTITUDE)
    assert air.standard_density(ALTITUDE) == pytest.approx(other.density, rel=2e-5)
    assert air.standard_pressure(ALTITUDE) == pytest.approx(other.pressure, rel=2e-5)
    assert air.standard_temperature(ALTITUDE) == pytest.approx(other.temperature, rel=1e-7)


def test_transport_properties_by_ambiance():
    from ambiance import Atmosphere

    other, temperature = Atmosphere(ALTITUDE), air.standard_temperature(ALTITUDE)
    assert air.dynamic_viscosity(temperature) == pytest.approx(other.dynamic_viscosity, rel=1e-6)
    assert air.conductivity(temperature) == pytest.approx(other.thermal_conductivity, rel=1e-6)
    assert air.kinematic_viscosity(temperature, air.standard_pressure(ALTITUDE)) == pytest.approx(other.kinematic_viscosity, rel=2e-5)


@pytest.mark.parametrize("altitude", ALTITUDE[::5].tolist())
def test_standard_atmosphere_by_fluids(altitude):
    from fluids.atmosphere import ATMOSPHERE_1976

    other, temperature = ATMOSPHERE_1976(altitude), air.standard_temperature(altitude)
    assert air.standard_density(altitude) == pytest.approx(other.rho, rel=2e-5)
    assert air.dynamic_viscosity(temperature) == pytest.approx(other.mu, rel=1e-6)
    # the 1976 standard prints 2.64638e-3 where ISO 2533 has 2.648151e-3
    assert air.conductivity(temperature) == pytest.approx(other.k * 2.648151 / 2.64638, rel=1e-6)
