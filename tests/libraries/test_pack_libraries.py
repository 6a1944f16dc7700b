"""Packs: open-circuit curves and the answer to a load against an independent library of battery models."""

import os

import numpy as np
import pytest

from unikit.formulas import cells, pack, sag

pytestmark = pytest.mark.reference

SETS = {"nickel manganese cobalt": "Chen2020", "iron phosphate": "Prada2013"}
CELL = {"ohmic_resistance": 0.028, "fast_resistance": 0.009, "fast_time": 6.0, "slow_resistance": 0.011, "slow_time": 240.0}
CURVE = ((0.0, 1.0), (3.2, 4.1))


@pytest.fixture(scope="module")
def pybamm():
    """The library, told first that it reports to nobody."""
    os.environ["PYBAMM_DISABLE_TELEMETRY"] = "true"
    return pytest.importorskip("pybamm")


@pytest.fixture(scope="module")
def window(pybamm):
    """The parameter set of a chemistry, and lithium in its electrodes when empty and full."""

    def of(chemistry):
        values = pybamm.ParameterValues(SETS[chemistry])
        negative_empty, negative_full, positive_full, positive_empty = pybamm.lithium_ion.ElectrodeSOHSolver(
            values
        ).get_min_max_stoichiometries()
        return values, (negative_empty, negative_full, positive_empty, positive_full)

    return of


@pytest.mark.parametrize("chemistry", SETS)
def test_open_circuit_curve(pybamm, window, chemistry):
    values, (negative_empty, negative_full, positive_empty, positive_full) = window(chemistry)
    ours = cells.PUBLISHED[chemistry]
    assert ours[:4] == pytest.approx((negative_empty, negative_full, positive_empty, positive_full), rel=1e-6)

    def potential(electrode, place):
        return float(values.evaluate(values[f"{electrode} electrode OCP [V]"](pybamm.Scalar(place))))

    for share in np.linspace(0, 1, 41):
        theirs = potential("Positive", positive_empty + share * (positive_full - positive_empty))
        theirs -= potential("Negative", negative_empty + share * (negative_full - negative_empty))
        assert cells.published_voltage(share, chemistry) == pytest.approx(theirs, abs=2e-6)


def test_activation_energies_are_those_of_the_set(pybamm, window):
    values, _ = window("nickel manganese cobalt")
    for electrode, energy in (("Positive", 17.8e3), ("Negative", 35e3)):
        speed = values[f"{electrode} electrode exchange-current density [A.m-2]"]
        at = [float(values.evaluate(speed(*map(pybamm.Scalar, (1000.0, 2e4, 5e4)), pybamm.Scalar(kelvin)))) for kelvin in (273.15, 298.15)]
        assert pack.arrhenius_factor(energy, 273.15) == pytest.approx(at[0] / at[1], rel=1e-9)


@pytest.mark.parametrize("asked", ["current", "power"])
def test_a_circuit_of_two_time_constants_under_load(pybamm, asked):
    """The library's equivalent circuit with a straight curve, followed for twenty minutes."""
    model = pybamm.equivalent_circuit.Thevenin(options={"number of rc elements": 2, "operating mode": asked})
    values = model.default_parameter_values
    capacity = 2.05
    values.update(
        {
            "Initial SoC": 0.9,
            "Cell capacity [A.h]": capacity,
            "Nominal cell capacity [A.h]": capacity,
            "Open-circuit voltage [V]": lambda share: CURVE[1][0] + (CURVE[1][1] - CURVE[1][0]) * share,
            "Entropic change [V/K]": lambda voltage, kelvin: 0 * voltage,
            "R0 [Ohm]": lambda kelvin, current, share: CELL["ohmic_resistance"] + 0 * share,
            "R1 [Ohm]": lambda kelvin, current, share: CELL["fast_resistance"] + 0 * share,
            "C1 [F]": lambda kelvin, current, share: CELL["fast_time"] / CELL["fast_resistance"] + 0 * share,
            "R2 [Ohm]": lambda kelvin, current, share: CELL["slow_resistance"] + 0 * share,
            "C2 [F]": lambda kelvin, current, share: CELL["slow_time"] / CELL["slow_resistance"] + 0 * share,
            "Element-1 initial overpotential [V]": 0.0,
            "Element-2 initial overpotential [V]": 0.0,
            "Lower voltage cut-off [V]": 2.5,
            "Upper voltage cut-off [V]": 4.5,
        },
        check_already_exists=False,
    )
    size = 4.0 if asked == "current" else 14.0
    values.update({"Current function [A]" if asked == "current" else "Power function [W]": size}, check_already_exists=False)
    time = np.linspace(0, 1200, 241)
    solver = pybamm.IDAKLUSolver(rtol=1e-9, atol=1e-10)
    solution = pybamm.Simulation(model, parameter_values=values, solver=solver).solve(time)
    voltage, current = solution["Voltage [V]"](time), solution["Current [A]"](time)
    if asked == "current":
        ours = sag.course(time, np.full(240, size), capacity * 3600, **CELL, curve_charge=CURVE[0], curve_voltage=CURVE[1], from_charge=0.9)
        assert ours.voltage == pytest.approx(voltage[1:], abs=2e-6)
    else:
        fine = np.linspace(0, 1200, 2401)
        table = {"curve_charge": CURVE[0], "curve_voltage": [CURVE[1]], "from_charge": 0.9}
        ours = sag.share(fine, size, [capacity * 3600], wiring_resistance=0.0, **CELL, **table)
        assert ours.voltage[::10][1:] == pytest.approx(voltage[1:], abs=2e-5)
        assert ours.current[::10, 0][1:] == pytest.approx(current[1:], abs=2e-5)
