"""Computed heating runs: seeded, balanced in energy, scattered as stated, and the examples as the generator writes them."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from unikit.formulas import heat
from unikit.inputs import load_bench, load_build
from unikit.studies import heated
from unikit.studies.heated import Hidden, Scenario

ROOT = Path(__file__).parents[2]
BUILD = load_build(ROOT / "data" / "builds" / "harbour_commuter.toml")
SHORT = Scenario(current=((120.0, 2.0), (900.0, 20.0), (600.0, 2.0)))
STILL = replace(SHORT, air_swing=0.0, air_drift=0.0, current_noise=0.0, voltage_noise=0.0, temperature_noise=0.0)
EXACT = replace(STILL, offset_bound=0.0, current_scale=0.0, voltage_scale=0.0)


def test_one_seed_makes_one_run():
    one, same, other = (heated.heated(BUILD, Hidden(), SHORT, seed, 2) for seed in (4, 4, 5))
    assert np.array_equal(one.housing, same.housing) and np.array_equal(one.voltage, same.voltage)
    assert not np.array_equal(one.housing, other.housing) and not np.array_equal(one.housing[0], one.housing[1])


def test_the_heat_that_went_in_is_stored_or_gone():
    made, motor = heated.heated(BUILD, Hidden(), EXACT, 1, 3), Hidden()
    time, power = made.time, made.current * made.voltage
    went_in = np.trapezoid(power, time, axis=1)
    rise = made.true_housing - made.true_air
    out = (
        motor.housing_factor
        * heat.housing_conductance(0, 0, 0.225, 0.062, made.true_air, 0.85, made.true_air + np.maximum(rise, 1e-3))
        * rise
    )
    gone = np.trapezoid(out, time, axis=1)
    # the third phase is as warm as the stator when it has had time, and lags by its own time constant before
    stored = sum(
        size * (course[:, -1] - course[:, 0])
        for size, course in (
            (2 / 3 * motor.winding_capacity, made.true_winding),
            (motor.stator_capacity + motor.winding_capacity / 3, made.true_stator),
            (motor.housing_capacity, made.true_housing),
        )
    )
    # the switches fall between readings, so the sum over readings misses up to half an interval of power at each
    assert np.abs(went_in - gone - stored).max() < 2 * 0.5 * 10.0 * power.max()
    assert np.abs(went_in - gone - stored).max() < 0.02 * went_in.min()


def test_readings_scatter_and_are_off_as_the_scenario_says():
    made = heated.heated(BUILD, Hidden(), SHORT, 2, 300)
    away = made.housing - made.true_housing
    assert np.std(away - away.mean(axis=1, keepdims=True)) == pytest.approx(SHORT.temperature_noise, rel=0.03)
    assert np.std(away.mean(axis=1)) == pytest.approx(SHORT.offset_bound / np.sqrt(3), rel=0.12)
    assert np.abs(away.mean(axis=1)).max() < SHORT.offset_bound + 0.05
    scale = made.current[:, 30:80].mean(axis=1) / 20 - 1
    assert np.std(scale) == pytest.approx(SHORT.current_scale, rel=0.15)
    drift = made.true_air[:, -1] - made.true_air[:, 0]
    assert 0.4 < np.std(drift) < 1.5


def test_the_loss_grows_with_the_winding():
    made = heated.heated(BUILD, Hidden(), EXACT, 3)
    power = (made.current * made.voltage)[0]
    warm = made.true_winding[0]
    hot = np.argmax(warm)
    begin = np.argmax(power > 50)
    grown = (1 + 0.00393 * (warm[hot] - 293.15)) / (1 + 0.00393 * (warm[begin] - 293.15))
    assert power[hot] / power[begin] == pytest.approx(grown, rel=1e-6)
    assert grown > 1.1


def test_one_set_of_instruments_has_the_same_errors_in_every_run():
    one, two = (heated.heated(BUILD, Hidden(), SHORT, seed, instruments=9) for seed in (4, 5))
    offsets = [(made.housing - made.true_housing).mean() for made in (one, two)]
    assert offsets[0] == pytest.approx(offsets[1], abs=0.03) and not np.array_equal(one.true_air, two.true_air)


def test_a_sensor_may_be_left_out():
    made = heated.heated(BUILD, Hidden(), SHORT, 1)
    assert "stator_temperature" in made.run() and "stator_temperature" not in made.run(stator=False)
    with pytest.raises(ValueError, match="build 'Harbour ungeared' has no motor to be heated"):
        heated.heated(load_build(ROOT / "data" / "builds" / "harbour_ungeared.toml"), Hidden(), SHORT, 1)


def test_the_example_runs_are_as_the_generator_writes_them(tmp_path, monkeypatch):
    monkeypatch.chdir(ROOT)
    assert heated.main([str(tmp_path)]) == 0
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == ["heating.toml", "warmed_at_14A.csv", "warmed_at_20A.csv"]
    kept = ROOT / "data" / "bench"
    assert (tmp_path / "heating.toml").read_text(encoding="utf-8") == (kept / "heating.toml").read_text(encoding="utf-8")
    for name in names[1:]:
        new, old = (np.loadtxt(folder / name, delimiter=",", skiprows=1) for folder in (tmp_path, kept))
        assert np.abs(new - old).max() <= 0.011, name  # the last printed digit may differ between processors
    for run, made in zip(load_bench(tmp_path / "heating.toml").runs, heated.examples(BUILD).values(), strict=True):
        assert run.values("direct_voltage") == pytest.approx(made.voltage[0], abs=1e-4)
        assert run.values("housing_temperature") == pytest.approx(made.housing[0], abs=0.006)
        # the hidden motor stays below the limit of its class and below what the magnets bear
        assert made.true_winding.max() < 273.15 + 130
        assert made.true_housing.max() < BUILD.motor.magnet_limit
