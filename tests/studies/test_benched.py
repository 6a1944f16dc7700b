"""The generator of bench records: seeded, as noisy as it declares, and the example record is its work."""

from pathlib import Path

import numpy as np
import pytest

from unikit.formulas import motor
from unikit.inputs import load_bench, load_build
from unikit.inputs.bench import QUANTITIES
from unikit.studies import benched

ROOT = Path(__file__).parents[2]


def truth():
    return benched.hidden(load_build(ROOT / "data" / "builds" / "harbour_commuter.toml"))


def test_the_same_seed_gives_the_same_record():
    one, two, other = (benched.files(benched.benched(truth(), seed)) for seed in (4, 4, 5))
    assert one == two and one != other
    assert one["harbour_hub.toml"].replace("\r", "").split("\n")[0].endswith("invented motor, instruments and errors.")


def test_the_example_record_is_as_the_generator_writes_it(tmp_path, monkeypatch):
    monkeypatch.chdir(ROOT)
    assert benched.main([str(tmp_path)]) == 0
    names = sorted(path.name for path in tmp_path.iterdir())
    assert len(names) == 1 + len(benched.RUNS)
    for name in names:
        if name.endswith(".csv"):
            new, kept = (np.loadtxt(folder / name, delimiter=",", skiprows=1) for folder in (tmp_path, ROOT / "data" / "bench"))
            assert np.abs(new - kept).max() <= 0.011, name  # the last printed digit may differ between processors
        else:
            assert (tmp_path / name).read_text() == (ROOT / "data" / "bench" / name).read_text()


def test_readings_scatter_as_declared():
    """Each reading in its own scatter and what its instrument shares: variance of the whole, correlation within a run."""
    bench = benched.benched(truth(), 9, 4000)
    exact = benched._states(truth(), np.zeros(4000))
    for run in bench.runs:
        for name, one in run.quantities.items():
            if one.constant:
                true, deviation = benched._si(name), one.common.fixed
                assert one.values.std() == pytest.approx(deviation, rel=0.05) and one.values.mean() == pytest.approx(true, rel=0.002)
            elif name != "force":  # the lever's zero adds to it
                true = np.broadcast_to(exact[run.name][name], one.values.shape)
                off = one.values - true
                each, common = one.each.deviation(true[0]), one.common.deviation(true[0])
                assert off.std(axis=0) == pytest.approx(np.hypot(each, common), rel=0.08), (run.name, name)
                shared = np.corrcoef(off[:, 0], off[:, -1])[0, 1]
                expected = one.common.share**2 * true[0, 0] * true[0, -1] + one.common.fixed**2
                assert shared == pytest.approx(expected / np.hypot(each, common)[0] / np.hypot(each, common)[-1], abs=0.06)


def test_an_instrument_makes_the_same_error_in_every_run():
    bench = benched.benched(truth(), 9, 2000)
    exact = benched._states(truth(), np.zeros(2000))
    mean = [(bench[run].values("line_voltage_rms") / exact[run]["line_voltage_rms"] - 1).mean(axis=1) for run in ("spun_cold", "spun_warm")]
    assert np.corrcoef(*mean)[0, 1] > 0.9


def test_the_true_states_are_those_of_the_hidden_motor():
    machine, states = truth().motor, benched._states(truth(), np.zeros(()))
    spun, own = states["spun_cold"], states["own_power"]
    assert motor.torque_constant_by_spinning(spun["line_voltage_rms"][0], spun["rotation"][0]) == pytest.approx(
        machine.torque_constant_peak, rel=0.006
    )
    power = own["direct_voltage"] * own["direct_current"]
    loss = motor.iron_loss(own["rotation"], machine.hysteresis_torque, machine.eddy_drag)
    assert np.all(power > loss + 6.0) and np.all(power < loss + 7.0)
    held = states["held"]
    share = held["force"] * 0.4 / held["phase_current_peak"] / machine.torque_constant_peak
    assert share[0] == pytest.approx(1, abs=0.003) and share[-1] == pytest.approx(1 / np.hypot(1, 60 / 74), rel=0.01)


def test_the_record_on_disk_is_read():
    bench = load_bench(ROOT / "data" / "bench" / "harbour_hub.toml")
    assert [run.name for run in bench.runs] == list(benched.RUNS) and "invented" in bench.source
    assert {tool for _, columns in benched.RUNS.values() for tool, _ in columns.values()} == set(benched.INSTRUMENTS)
    assert all(name in QUANTITIES for _, columns in benched.RUNS.values() for name in columns)
