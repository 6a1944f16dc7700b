"""Heat: values that need more than one call, limits, broadcasting, messages."""

import numpy as np
import pytest
from published import published
from scipy.integrate import solve_bvp, trapezoid

from unikit.formulas import FORMULAS, OutsideRangeWarning, air, heat
from unikit.formulas.convection import STEFAN_BOLTZMANN


def matches(row, value):
    assert value == pytest.approx(row.value, abs=row.tolerance, rel=0)


# -- one body and duty -----------------------------------------------------------


def test_cylinder_with_losses_at_its_side():
    resistance = 1 / (12.0 * np.pi * 0.65 * 1.0)
    matches(published("T-04-rise"), heat.steady_rise(12 * 735.5 * (1 / 0.9 - 1), resistance))
    matches(published("T-04-time"), heat.time_constant(resistance, 400 * 700.0))


def test_two_readings_give_the_final_rise():
    tau = heat.reading_time_constant(20.0, 30.0, 1800.0)
    final = 20.0 / heat.temperature_rise(1.0, 1.0, tau, 1800.0)
    matches(published("T-05-rise"), final)
    assert heat.temperature_rise(final, 1.0, tau, 3600.0) == pytest.approx(30.0, rel=1e-12)


def test_short_and_intermittent_ratings():
    matches(published("T-06"), 20 * heat.short_time_factor(600.0, 3600.0))
    matches(published("T-07"), 100 / heat.short_time_factor(1800.0, 80 * 60.0, 0.49))
    matches(published("T-08"), 20 * heat.intermittent_factor(600.0, 600.0, 3600.0, 5400.0))


@pytest.mark.checks("independent", "duty.short_time_factor", "duty.intermittent_factor", "duty.intermittent_peak_rise")
def test_ratings_by_stepping_through_the_cycles():
    tau, rest_tau, on, off, constant = 900.0, 1400.0, 240.0, 400.0, 0.3
    factor = heat.intermittent_factor(on, off, tau, rest_tau, constant)
    under_load = (constant + factor**2) / (constant + 1)  # steady rise, continuous load = 1
    rise = 0.0
    for _ in range(200):
        rise = under_load + (rise - under_load) * np.exp(-on / tau)
        top, rise = rise, rise * np.exp(-off / rest_tau)
    assert top == pytest.approx(1.0, rel=1e-12)
    assert heat.intermittent_peak_rise(under_load, on, off, tau, rest_tau) == pytest.approx(1.0, rel=1e-12)
    assert heat.intermittent_factor(on, 1e9, tau, rest_tau, constant) == pytest.approx(heat.short_time_factor(on, tau, constant), rel=1e-12)
    assert heat.intermittent_factor(on, 0.0, tau, rest_tau) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.checks("limit", "heat.temperature_rise", "heat.time_to_rise")
def test_rise_and_time_are_inverse_and_end_at_the_steady_rise():
    assert heat.temperature_rise(60.0, 0.5, 3000.0, 1e6) == pytest.approx(heat.steady_rise(60.0, 0.5), rel=1e-12)
    assert heat.temperature_rise(60.0, 0.5, 3000.0, 1e-3) == pytest.approx(60.0 * 1e-3 / 3000.0, rel=1e-6)
    time = np.geomspace(1.0, 1e4, 9)
    assert heat.time_to_rise(heat.temperature_rise(60.0, 0.5, 3000.0, time), 30.0, 1500.0) == pytest.approx(time, rel=1e-10)
    assert heat.time_to_rise(np.array([0.0, 30.0, 31.0]), 30.0, 1500.0).tolist() == [0.0, np.inf, np.inf]


def test_lumped_sphere_in_a_gas_stream():
    coefficient, density, specific = 400.0, 8500.0, 400.0
    diameter = 6 * coefficient * 1.0 / (density * specific)
    tau = heat.time_constant(1 / (coefficient * np.pi * diameter**2), density * specific * np.pi * diameter**3 / 6)
    assert tau == pytest.approx(1.0, rel=1e-12)
    matches(published("T-11"), heat.time_to_rise(199.0 - 25.0, 200.0 - 25.0, tau))
    matches(published("T-30"), heat.time_to_rise(2.5625, 7.25, 3600.0) / 60)


# -- convection and radiation --------------------------------------------------------


def test_strips_of_a_heated_plate():
    conductivity, viscosity, prandtl, difference = 0.0338, 26.41e-6, 0.69, 205.0
    upto = lambda strips: heat.plate_nusselt(60.0 * 0.05 * strips / viscosity, prandtl) * conductivity * difference
    matches(published("T-16-1"), upto(1))
    matches(published("T-16-6"), upto(6) - upto(5))


def test_pipe_and_cylinder_lose_heat_by_air_and_radiation():
    ra = heat.rayleigh(0.002725, 142.0, 0.1, 22.8e-6, 32.8e-6)
    natural = heat.horizontal_cylinder_nusselt(ra, 0.697) * 0.0313 / 0.1
    old_sigma = 5.67e-8 / STEFAN_BOLTZMANN  # the book's constant
    radiation = heat.radiation_coefficient(0.85, 438.0, 296.0) * old_sigma
    matches(published("T-18"), (natural + radiation) * np.pi * 0.1 * 142.0)
    matches(published("T-25"), (15.0 + heat.radiation_coefficient(0.8, 473.15, 298.15) * old_sigma) * np.pi * 0.07 * 175.0)


def test_finned_cylinder():
    height, inner, outer, thick, fins = 0.15, 0.025, 0.048, 0.006, 5
    fin_area = fins * 2 * np.pi * (outer**2 - inner**2)
    total = fin_area + 2 * np.pi * inner * (height - fins * thick)
    matches(published("T-27"), heat.finned_conductance(50.0, total, fin_area, 0.95) * 200.0)
    matches(published("T-27-bare"), heat.finned_conductance(50.0, 2 * np.pi * inner * height, 0.0, 1.0) * 200.0)


def test_endless_pins_of_three_metals():
    section, perimeter = np.pi / 4 * 0.005**2, np.pi * 0.005
    rows = published("T-33-1"), published("T-33-2"), published("T-33-3")
    for row, conductivity in zip(rows, (398.0, 180.0, 14.0), strict=True):
        matches(row, heat.fin_conductance(100.0, perimeter, conductivity, section, np.inf) * 75.0)


@pytest.mark.checks("independent", "sink.fin_conductance")
def test_a_fin_gives_its_whole_surface_at_the_efficiency_of_the_straight_fin():
    thickness, length, width = 1e-3, 0.03, 0.5
    efficiency = heat.straight_fin_efficiency(40.0, 150.0, thickness, length)
    wide = heat.fin_conductance(40.0, 2 * width, 150.0, width * thickness, length)  # a thin fin: its edges do not count
    assert wide == pytest.approx(efficiency * 40.0 * 2 * width * length, rel=1e-13)


def test_cylinder_across_a_fast_flow_by_another_correlation():
    ours = heat.cylinder_crossflow_nusselt(112796.0, 0.695) * 0.0312 / 0.05 * np.pi * 0.05 * 115.0
    matches(published("T-31"), ours)
    assert ours == pytest.approx(3099.6, rel=0.16)  # Holman's own power law


@pytest.mark.checks("limit", "sink.sink_resistance", "heat.steady_rise")
def test_a_sink_of_that_resistance_brings_the_junction_to_its_limit():
    sink = heat.sink_resistance(85.0, 4.0, 2.5, 2.0)
    assert heat.network_steady(heat.chain([1 / 2.5, 1 / 2.0, 1 / sink]), [4.0, 0.0, 0.0], 0.0, 293.15, 313.15)[0] == pytest.approx(
        313.15 + 85.0, rel=1e-13
    )
    assert heat.sink_resistance(10.0, 4.0, 2.5, 2.0) < 0


@pytest.mark.checks("limit", "convection.end_space_coefficient")
def test_end_space_at_rest_and_along_a_straight_line():
    assert heat.end_space_coefficient(0.0) == 15.0
    assert heat.end_space_coefficient(-3.0) == heat.end_space_coefficient(3.0)
    line = heat.end_space_coefficient(np.array([1.0, 2.0, 3.0]), 15.5, 0.29, 1.0)
    assert line == pytest.approx(15.5 + 4.495 * np.array([1.0, 2.0, 3.0]), rel=1e-13)


@pytest.mark.checks("independent", "convection.sunlit_power")
def test_sunshine_falls_on_the_largest_shadow():
    """The shadow of a cylinder over all directions of the sun; its largest is the formula's."""
    tilt = np.linspace(0.0, np.pi / 2, 100_001)
    shadow = np.pi / 4 * 0.25**2 * np.cos(tilt) + 0.25 * 0.06 * np.sin(tilt)
    assert heat.sunlit_power(800.0, 0.25, 0.06, 0.7) == pytest.approx(0.7 * 800.0 * shadow.max(), rel=1e-9)


@pytest.mark.checks("independent", "convection.rotating_disc_nusselt")
def test_laminar_disc_from_the_similarity_equations():
    # von Karman: F, G, H over the distance from the disc, and the temperature carried by H
    prandtl, far = 0.71, 20.0

    def equations(_, y):
        f, df, g, dg, h, t, dt = y
        return np.array([df, f * f - g * g + h * df, dg, 2 * f * g + h * dg, -2 * f, dt, prandtl * h * dt])

    def ends(a, b):
        return np.array([a[0], b[0], a[2] - 1, b[2], a[4], a[5] - 1, b[5]])

    z = np.linspace(0.0, far, 200)
    guess = np.array([z * np.exp(-z) / 2, np.exp(-z) / 2, np.exp(-z), -np.exp(-z), -0.88 * (1 - np.exp(-z)), np.exp(-z), -np.exp(-z)])
    flow = solve_bvp(equations, ends, z, guess, tol=1e-8, max_nodes=20000)
    assert flow.success
    assert flow.sol(0)[1] == pytest.approx(0.510233, abs=1e-5)
    assert flow.sol(0)[3] == pytest.approx(-0.615922, abs=1e-5)
    matches(published("T-19"), -flow.sol(0)[6])
    assert heat.rotating_disc_nusselt(1e4) == pytest.approx(-flow.sol(0)[6] * 100.0, rel=2e-4)


@pytest.mark.checks("independent", "convection.rotating_disc_nusselt")
def test_disc_with_a_laminar_middle_is_the_mean_over_its_rings():
    matches(published("T-20"), heat.rotating_disc_nusselt(250 * np.pi / 30 * 0.15**2 / 15.89e-6) * 0.0263 / 0.15)
    rim, change = 9e5, 2.4e5
    share = np.linspace(0.0, 1.0, 400001)  # radius over outer radius; local h relative to k/R
    local = np.where(share**2 * rim < change, 0.3259 * rim**0.5, 0.015 * 2.6 / 2 * rim**0.8 * share**0.6)
    assert heat.rotating_disc_nusselt(rim) == pytest.approx(trapezoid(2 * share * local, share), rel=1e-4)
    assert heat.rotating_disc_nusselt(change * (1 + 1e-9)) == pytest.approx(heat.rotating_disc_nusselt(change), rel=1e-6)


def test_air_gap_takes_twice_the_gap_for_its_length():
    ta = heat.taylor_number(100 * np.pi, 0.05, 0.7e-3, 20.92e-6)
    matches(published("T-23"), heat.air_gap_coefficient(heat.air_gap_nusselt(ta), 0.030, 0.7e-3))
    slow = heat.taylor_number(250 * np.pi / 30, 0.1, 0.8e-3, 18.9e-6)
    matches(published("T-24"), heat.air_gap_coefficient(heat.air_gap_nusselt(slow), 0.0281, 0.8e-3))
    assert heat.air_gap_nusselt(np.nextafter(1e4, 0)) == pytest.approx(3.7602, abs=5e-5)


def test_ranges_are_said():
    for call, words in [
        (lambda: heat.cylinder_crossflow_nusselt(0.1, 0.7), "Churchill and Bernstein"),
        (lambda: heat.plate_nusselt(2e8, 0.7), "flat plate of Incropera"),
        (lambda: heat.vertical_plate_nusselt(1e13, 0.7), "Churchill and Chu"),
        (lambda: heat.air_gap_nusselt(1e8), "Becker and Kaye"),
        (lambda: heat.end_space_coefficient(30.0), "0 to 20, the range of the end space"),
        (lambda: heat.rotating_cylinder_nusselt(9000.0, 0.0), "0 to 8000"),
        (lambda: heat.housing_conductance(5.0, 10.0, 0.25, 0.06, 300.0, surface_temperature=1000.0), "range of"),
    ]:
        with pytest.warns(OutsideRangeWarning, match=words):
            call()


# -- the housing ------------------------------------------------------------------------

HOUSING = {"diameter": 0.25, "width": 0.06, "air_temperature": 298.15}
AREA = np.pi / 2 * 0.25**2 + np.pi * 0.25 * 0.06


@pytest.mark.checks("limit", "convection.housing_conductance")
def test_housing_at_rest_has_natural_convection_and_radiation():
    film = 318.15
    k, nu, pr = air.conductivity(film), air.kinematic_viscosity(film), air.prandtl(film)
    chord = np.pi / 4 * 0.25
    face = heat.vertical_plate_nusselt(heat.rayleigh(1 / film, 40.0, chord, nu, nu / pr), pr) * k / chord
    rim = heat.horizontal_cylinder_nusselt(heat.rayleigh(1 / film, 40.0, 0.25, nu, nu / pr), pr) * k / 0.25
    expected = face * np.pi / 2 * 0.25**2 + rim * np.pi * 0.25 * 0.06 + heat.radiation_coefficient(0.9, 338.15, 298.15) * AREA
    assert heat.housing_conductance(0.0, 0.0, **HOUSING) == pytest.approx(expected, rel=1e-5)
    assert heat.housing_conductance(0.0, 0.0, surface_temperature=338.15, **HOUSING) == heat.housing_conductance(0.0, 0.0, **HOUSING)


@pytest.mark.checks("limit", "convection.housing_conductance")
def test_housing_in_fast_air_and_spinning_fast_alone():
    bare = HOUSING | {"emissivity": 0.0, "surface_temperature": 298.15}  # no radiation, no natural convection
    k, nu, pr = air.conductivity(298.15), air.kinematic_viscosity(298.15), air.prandtl(298.15)
    chord = np.pi / 4 * 0.25
    wind = heat.plate_nusselt(8.0 * chord / nu, pr) * k / chord * np.pi / 2 * 0.25**2
    wind += heat.cylinder_crossflow_nusselt(8.0 * 0.25 / nu, pr) * k / 0.25 * np.pi * 0.25 * 0.06
    assert heat.housing_conductance(8.0, 0.0, **bare) == pytest.approx(wind, rel=1e-3)
    spin = heat.rotating_disc_nusselt(60.0 * 0.125**2 / nu) * k / 0.125 * np.pi / 2 * 0.25**2
    spin += 0.11 * (0.5 * (60.0 * 0.25**2 / (2 * nu)) ** 2) ** 0.35 * k / 0.25 * np.pi * 0.25 * 0.06
    assert heat.housing_conductance(0.0, 60.0, **bare) == pytest.approx(spin, rel=1e-3)


def test_housing_grows_with_speed_and_does_not_ask_for_direction():
    speed = np.linspace(0.0, 12.0, 25)
    rising = heat.housing_conductance(speed, speed / 0.36, **HOUSING)
    assert np.all(np.diff(rising) > 0)
    assert heat.housing_conductance(-speed, -speed / 0.36, **HOUSING) == pytest.approx(rising, rel=1e-14)
    parts = heat.housing_conductance(6.0, 0.0, **HOUSING), heat.housing_conductance(6.0, 17.0, **HOUSING)
    assert parts[0] < parts[1] < 1.15 * parts[0]  # the road air matters most


# -- broadcasting and messages -------------------------------------------------------------

SCALARS = {
    "heat.steady_rise": (60.0, 0.5),
    "heat.time_constant": (0.5, 3000.0),
    "heat.temperature_rise": (60.0, 0.5, 3000.0, 900.0),
    "heat.time_to_rise": (20.0, 23.0, 1500.0),
    "heat.reading_time_constant": (20.0, 32.0, 600.0),
    "heat.copper_steady_temperature": (25.0, 0.9, 70.0, 20.0, 0.00393),
    "duty.short_time_factor": (600.0, 3600.0, 0.2),
    "duty.intermittent_factor": (600.0, 900.0, 3600.0, 5400.0, 0.2),
    "duty.intermittent_peak_rise": (50.0, 600.0, 900.0, 3600.0, 5400.0),
    "duty.insulation_life": (20.0, 5.0, 10.0),
    "convection.rayleigh": (0.003, 40.0, 0.2, 18e-6, 25e-6),
    "convection.plate_nusselt": (4.6e5, 0.7),
    "convection.cylinder_crossflow_nusselt": (9e4, 0.7),
    "convection.vertical_plate_nusselt": (2e7, 0.7),
    "convection.horizontal_cylinder_nusselt": (2e7, 0.7),
    "convection.rotating_disc_nusselt": (2.4e5, 2.3e5),
    "convection.rotating_cylinder_nusselt": (5e3, 1e7),
    "convection.taylor_number": (100.0, 0.05, 0.7e-3, 2e-5),
    "convection.air_gap_nusselt": (1600.0,),
    "convection.air_gap_coefficient": (2.5, 0.03, 0.7e-3),
    "convection.end_space_coefficient": (3.0, 15.0, 0.4, 0.9),
    "convection.sunlit_power": (500.0, 0.25, 0.06, 0.8),
    "sink.fin_conductance": (100.0, 0.016, 180.0, 2e-5, 0.05),
    "sink.sink_resistance": (85.0, 2.92, 2.5, 2.0),
    "sink.straight_fin_efficiency": (50.0, 100.0, 0.001, 0.03),
    "sink.finned_conductance": (50.0, 0.07, 0.05, 0.8),
    "duty.adiabatic_time": (80.0, 400.0, 200.0, 260.0),
    "convection.radiation_coefficient": (0.8, 330.0, 300.0),
    "convection.housing_conductance": (5.0, 14.0, 0.25, 0.06, 290.0, 0.7, 330.0),
}


def test_every_plain_formula_is_in_the_table():
    own = {n for n in FORMULAS if n.split(".")[0] in ("heat", "duty", "convection", "sink")}
    assert own - {"duty.duty_rms", "duty.insulation_limit", "duty.rise_limit", "duty.mean_winding_limit"} == set(SCALARS)


@pytest.mark.parametrize("name", SCALARS)
def test_arrays_equal_a_loop(name):
    function, scalars = FORMULAS[name].function, SCALARS[name]
    scale = np.array([[1.0, 1.05], [1.1, 1.2]])
    looped = np.array([[function(*(v * s for v in scalars)) for s in row] for row in scale])
    assert function(*(v * scale for v in scalars)) == pytest.approx(looped, rel=1e-13)
    assert np.ndim(function(*scalars)) == 0


def test_equivalent_load_takes_parts_along_the_last_axis():
    load, time = np.array([[50.0, 0.0], [20.0, 20.0]]), np.array([30.0, 90.0])
    assert heat.duty_rms(load, time) == pytest.approx([25.0, 20.0], rel=1e-14)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: heat.insulation_limit("Z"), "insulation_class must be one of 'A', 'E', 'B', 'F', 'H', 'N', got 'Z'"),
        (lambda: heat.rise_limit("N"), "insulation_class must be one of 'A', 'E', 'B', 'F', 'H', got 'N'"),
        (lambda: heat.temperature_rise(60.0, 0.0, 3000.0, 1.0), "thermal_resistance must be above 0"),
        (lambda: heat.temperature_rise(60.0, 1.0, 3000.0, -1.0), "time must be 0 or above"),
        (lambda: heat.reading_time_constant(20.0, 41.0, 60.0), "2 first_rise - second_rise must be above 0"),
        (lambda: heat.duty_rms([1.0], [0.0]), "sum of time must be above 0"),
        (lambda: heat.finned_conductance(50.0, 0.05, 0.07, 0.9), "total_area - fin_area must be 0 or above"),
        (lambda: heat.radiation_coefficient(1.2, 330.0, 300.0), "emissivity must be from 0 to 1"),
        (lambda: heat.housing_conductance(5.0, 14.0, 0.0, 0.06, 300.0), "diameter must be above 0"),
    ],
)
def test_impossible_arguments_are_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()
