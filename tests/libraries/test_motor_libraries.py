"""Motor: the loci of greatest torque against an independent drive library."""

import math
import warnings
from types import SimpleNamespace

import numpy as np
import pytest

from unikit.formulas import dq, reach

pytestmark = pytest.mark.reference

MACHINES = [
    dict(direct_inductance=0.37e-3, quadrature_inductance=1.2e-3, magnet_flux=0.066),
    dict(direct_inductance=1.5e-3, quadrature_inductance=1.2e-3, magnet_flux=0.066),
    dict(direct_inductance=0.3e-3, quadrature_inductance=0.3e-3, magnet_flux=0.027),
]


@pytest.fixture(scope="module")
def characteristics():
    """A maker of the library's torque characteristics for a machine with three pole pairs."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its import sets up plotting
        matplotlib = pytest.importorskip("matplotlib")
        with matplotlib.rc_context():
            library = pytest.importorskip("motulator.drive.control.sm")

    def make(machine):
        names = {"L_d": "direct_inductance", "L_q": "quadrature_inductance", "psi_f": "magnet_flux"}
        return library.TorqueCharacteristics(SimpleNamespace(n_p=3, **{theirs: machine[ours] for theirs, ours in names.items()}))

    return make


@pytest.mark.parametrize("machine", MACHINES)
def test_greatest_torque_per_ampere(characteristics, machine):
    other = characteristics(machine)
    for current in (5.0, 60.0, 240.0):
        angle = other.mtpa(current)
        at = dq.torque_per_ampere_current(current, **machine)
        assert complex(*at) == pytest.approx(current * np.exp(1j * angle), rel=1e-9)
        flux = other.flux(complex(*at))
        assert dq.dq_torque(*at, 3, **machine) == pytest.approx(other.torque(flux), rel=1e-12)
        assert dq.flux_linkage(*at, **machine) == pytest.approx(abs(flux), rel=1e-12)


@pytest.mark.parametrize("machine", MACHINES)
def test_greatest_torque_per_volt(characteristics, machine):
    other = characteristics(machine)
    for linked in (0.01, 0.05, 0.1):
        theirs = other.current(linked * np.exp(1j * other.mtpv(linked)))
        assert complex(*dq.torque_per_volt_current(linked, **machine)) == pytest.approx(theirs, rel=1e-9)


def test_published_angles(characteristics):
    other = characteristics(MACHINES[0])
    assert math.degrees(other.mtpa(240.0)) == pytest.approx(128.9845, abs=1e-4)
    assert math.degrees(other.mtpv(0.05)) == pytest.approx(112.0803, abs=1e-4)
    at = dq.torque_per_ampere_current(240.0, **MACHINES[0])
    assert math.degrees(math.atan2(at.quadrature, at.direct)) == pytest.approx(128.9845, abs=1e-4)


@pytest.mark.parametrize("machine", MACHINES[::2])
@pytest.mark.parametrize("rate", [1000.0, 4000.0])
def test_without_a_limit_of_current_the_reach_is_that_of_most_torque_per_volt(characteristics, machine, rate):
    other = characteristics(machine)
    linked = 300 / math.sqrt(3) / rate
    theirs = other.torque(linked * np.exp(1j * other.mtpv(linked)))
    inductances = {name: machine[name] for name in ("direct_inductance", "quadrature_inductance")}
    ours = reach.torque_limits(
        rate / 3, 4.5 * machine["magnet_flux"], 1e-9, pole_pairs=3, open_circuit_voltage=300.0, pack_resistance=0.0,
        phase_current_limit=1e4, battery_current_limit=np.inf, charge_current_limit=np.inf, weakening_current=1e4, **inductances,
    )  # fmt: skip
    assert ours.highest == pytest.approx(theirs, rel=1e-6) and ours.highest_by == "voltage"


@pytest.mark.parametrize("machine", MACHINES[::2])
def test_with_voltage_to_spare_an_operating_point_is_that_of_most_torque_per_ampere(characteristics, machine):
    other = characteristics(machine)
    for current in (5.0, 60.0, 240.0):
        theirs = current * np.exp(1j * other.mtpa(current))
        at = reach.operating_point(
            other.torque(other.flux(theirs)), 1.0, 4.5 * machine["magnet_flux"], 0.02, machine["quadrature_inductance"], 3, 400.0, 0.0,
            direct_inductance=machine["direct_inductance"], weakening_current=400.0,
        )  # fmt: skip
        assert complex(at.direct_current, at.quadrature_current) == pytest.approx(theirs, rel=1e-8)
