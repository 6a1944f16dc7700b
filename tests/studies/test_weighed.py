"""The generator of records of weights: seeded, as noisy as it declares, and the example record is its work."""

from pathlib import Path

import numpy as np
import pytest

from unikit.formulas import calibration
from unikit.inputs import load_bench
from unikit.studies import weighed

ROOT = Path(__file__).parents[2]


def test_the_same_seed_gives_the_same_record():
    one, two, other = (weighed.files(weighed.weighed(seed)) for seed in (4, 4, 5))
    assert one == two and one != other
    assert one["harbour_crank.toml"].split("\n")[0].endswith("invented sensor, instruments and errors.")


def test_the_example_record_is_as_the_generator_writes_it(tmp_path, monkeypatch):
    monkeypatch.chdir(ROOT)
    assert weighed.main([str(tmp_path)]) == 0
    names = sorted(path.name for path in tmp_path.iterdir())
    assert len(names) == 1 + len(weighed.SERIES)
    for name in names:
        if name.endswith(".csv"):
            new, kept = (np.loadtxt(folder / name, delimiter=",", skiprows=1) for folder in (tmp_path, ROOT / "data" / "bench"))
            assert np.abs(new - kept).max() <= 0.011, name  # the last printed digit may differ between processors
        else:
            assert (tmp_path / name).read_text() == (ROOT / "data" / "bench" / name).read_text()


def test_readings_scatter_as_declared():
    bench, sensor = weighed.weighed(9, 4000), weighed.Sensor()
    for name, (side, first, last) in weighed.SERIES.items():
        true, run = weighed._true(sensor, side, first, last, weighed.MASSES), bench[name]
        for quantity in ("crank_angle", "sensor_temperature"):
            one = run[quantity]
            off = one.values - true[quantity]
            expected = np.hypot(one.each.fixed, one.common.fixed)
            assert off.std(axis=0) == pytest.approx(np.full(17, expected), rel=0.06)
            assert np.corrcoef(off[:, 0], off[:, -1])[0, 1] == pytest.approx((one.common.fixed / expected) ** 2, abs=0.06)
        one = run["sensor_output"]
        off = one.values - true["sensor_output"]
        own = np.hypot(sensor.gain * sensor.scatter, sensor.shift)
        for row, hung in ((0, 0.0), (8, 40.0)):  # what hangs differs from its label, and with it the output
            shown = true["sensor_output"][row]
            weight = np.hypot(0.0012, 0.0004) * sensor.gain * hung * 9.8128 * 0.131
            parts = [one.each.deviation(shown), one.common.deviation(shown), own, weight]
            assert off[:, row].std() == pytest.approx(np.sqrt(np.sum(np.square(parts))), rel=0.05)


def test_an_instrument_makes_the_same_error_in_every_series():
    bench, sensor = weighed.weighed(9, 2000), weighed.Sensor()
    mean = []
    for name in ("cold_forward_1", "warm_backward_2"):
        true = weighed._true(sensor, *weighed.SERIES[name], weighed.MASSES)
        mean.append((bench[name].values("sensor_temperature") - true["sensor_temperature"]).mean(axis=1))
    assert np.corrcoef(*mean)[0, 1] > 0.9
    lengths = [run.values("crank_length") for run in bench.runs]
    assert all(np.array_equal(lengths[0], one) for one in lengths) and lengths[0].std() == pytest.approx(0.4e-3, rel=0.06)


def test_the_true_sensor_is_the_one_that_is_said():
    sensor = weighed.Sensor()
    true = weighed._true(sensor, "backward", 20.0, 20.0, weighed.MASSES)
    shown = true["sensor_output"]
    torque = calibration.hung_torque(40.0, 9.8128, 0.131, np.radians(-2.6))
    assert shown[0] == pytest.approx(sensor.offset) == shown[-1]
    assert shown[8] == pytest.approx(sensor.offset - sensor.gain * torque)
    assert shown[4] - shown[12] == pytest.approx(2 * sensor.gain * sensor.hysteresis * torque, rel=1e-4)


def test_the_record_on_disk_is_read():
    bench = load_bench(ROOT / "data" / "bench" / "harbour_crank.toml")
    assert [run.name for run in bench.runs] == list(weighed.SERIES) and "invented" in bench.source
