"""Air: values outside the recommended ranges, limits, broadcasting and refusals."""

import numpy as np
import pytest
from published import published
from scipy.integrate import trapezoid

from unikit.formulas import FORMULAS, OutsideRangeWarning, air

SAMPLES = {
    "altitude": np.array([[-400.0], [0.0], [2500.0]]),
    "temperature": np.array([289.0, 294.0, 299.0, 300.0]),
    "pressure": np.array([[70000.0], [98000.0], [101325.0]]),
    "relative_humidity": np.array([0.0, 0.3, 0.6, 1.0]),
}


def test_moist_density_outside_its_range_warns_and_still_answers():
    row = published("P-AIR-05")
    with pytest.warns(OutsideRangeWarning, match=r"temperature 283\.15 is outside 288\.15 to 300\.15, the range of CIPM-2007"):
        found = air.moist_density(283.15, 97325.3, 0.40)
    assert found == pytest.approx(row.value, abs=row.tolerance, rel=0)


@pytest.mark.checks("independent", "air.density_at", "air.moist_density", "air.standard_density")
def test_density_at_a_temperature_by_three_routes():
    altitude = np.array([0.0, 800.0, 2400.0])
    dry = air.moist_density(295.0, air.standard_pressure(altitude), 0.0)  # a real gas with another gas constant
    assert air.density_at(altitude, 295.0) == pytest.approx(dry, rel=5e-4)
    assert air.density_at(altitude, air.standard_temperature(altitude)) == pytest.approx(air.standard_density(altitude), rel=1e-15)


@pytest.mark.checks("limit", "air.standard_pressure", "air.standard_density")
def test_pressure_is_the_weight_of_the_air_above():
    altitude = np.linspace(0.0, 5000.0, 2001)
    gravity = air.STANDARD_GRAVITY * (air.EARTH_RADIUS / (air.EARTH_RADIUS + altitude)) ** 2
    weight = trapezoid(air.standard_density(altitude) * gravity, altitude)
    assert air.standard_pressure(0.0) - air.standard_pressure(5000.0) == pytest.approx(weight, rel=1e-7)


@pytest.mark.checks("limit", "air.moist_density")
def test_moisture_makes_air_lighter_in_step_with_its_vapour():
    # 0.378 is 1 - 18.015/28.965; the vapour pressure of water at 20 degC is 2339 Pa
    dry, wet = air.moist_density(293.15, 101325.0, 0.0), air.moist_density(293.15, 101325.0, 1.0)
    assert 1 - wet / dry == pytest.approx(0.378 * 2339 / 101325, rel=0.02)


@pytest.mark.parametrize("name", [name for name, entry in FORMULAS.items() if entry.topic == "air"])
def test_arrays_equal_a_loop_of_scalars(name):
    entry = FORMULAS[name]
    grid = dict(zip(entry.arguments, np.broadcast_arrays(*(SAMPLES[a] for a in entry.arguments)), strict=True))
    together = entry.function(**{a: SAMPLES[a] for a in entry.arguments})
    assert together.size > 1
    for at in np.ndindex(together.shape):
        assert entry.function(**{a: float(values[at]) for a, values in grid.items()}) == pytest.approx(together[at], rel=1e-14)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: air.standard_density(60000.0), r"altitude must be from -10000 to 44000, got 60000"),
        (lambda: air.density_at(0.0, 0.0), r"temperature must be above 0, got 0"),
        (lambda: air.moist_density(293.15, 101325.0, 50.0), r"relative_humidity must be from 0 to 1, got 50"),
        (lambda: air.moist_density(293.15, float("nan"), 0.5), r"pressure must be above 0, got nan"),
        (lambda: air.conductivity(-5.0), r"temperature must be above 0, got -5"),
        (lambda: air.kinematic_viscosity(300.0, 0.0), r"pressure must be above 0, got 0"),
    ],
)
def test_impossible_air_is_refused_by_name(call, text):
    with pytest.raises(ValueError, match=text):
        call()


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: air.standard_pressure(15000.0), "altitude 15000. is outside -5000 to 11000, the range of the lowest layer of ISO 2533"),
        (lambda: air.moist_density(293.15, 50000.0, 0.5), "pressure 50000. is outside 60000 to 110000, the range of CIPM-2007"),
        (lambda: air.dynamic_viscosity(150.0), "temperature 150. is outside 200 to 600, the range of Lemmon and Jacobsen"),
        (lambda: air.conductivity(700.0), "temperature 700. is outside 200 to 600, the range of Lemmon and Jacobsen"),
    ],
)
def test_outside_the_published_range_is_said(call, text):
    with pytest.warns(OutsideRangeWarning, match=text):
        call()
