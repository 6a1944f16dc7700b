"""A torque sensor from weights: exact where nothing scatters, honest where it does, and plain about what weights cannot tell."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from weighings import COLD, TRUTH, WARM, coverage, from_files, upwards

from unikit.formulas import calibration as formulas
from unikit.inputs import load_bench
from unikit.inputs.bench import Bench, Measured, make_run
from unikit.inputs.instruments import EXACT, Accuracy
from unikit.studies import calibration, weighed, weight_runs
from unikit.studies.calibration import SENSOR

DATA = Path(__file__).parents[2] / "data"
SETS = 120
LEAST, MOST = 0.875, 1.0  # of 120 intervals of 95 %: outside has a chance of about 0.002


@cache
def record():
    return load_bench(DATA / "bench" / "harbour_crank.toml")


@cache
def found(*left_out):
    return calibration.study(record(), left_out)


def changed(bench, name, quantity, values):
    """The record with other values of one quantity in one series."""
    runs = []
    for run in bench.runs:
        if run.name == name:
            run = make_run(run.name, run.kind, {**run.quantities, quantity: replace(run[quantity], values=values)}, run.words)
        runs.append(run)
    return Bench(bench.name, bench.source, tuple(runs))


def exact(bow=0.0, backward=1.0, **sensor):
    """Series without errors, by formulas of the kit; ``bow`` as a share of full scale."""
    truth = replace(TRUTH, **sensor)
    runs, small = [], Accuracy(0.0, 1e-6)
    for name, (side, first, last) in weighed.SERIES.items():
        true = weighed._true(truth, side, first, last, weighed.MASSES)
        torque = formulas.hung_torque(weighed.MASSES, 9.8128, 0.131, true["crank_angle"])
        sign = 1.0 if side == "forward" else -1.0
        bent = sign * 4 * bow * torque * (1 - torque / torque.max())
        shown = true["sensor_output"] + truth.gain * bent + (backward - 1) * (sign < 0) * (true["sensor_output"] - truth.offset)
        columns = {"hung_mass": weighed.MASSES, **true, "sensor_output": shown, "reading": np.arange(1.0, 18.0)}
        made = {one: Measured(np.asarray(values, float), small, EXACT, one) for one, values in columns.items()}
        for one, value in (("crank_length", 0.131), ("local_gravity", 9.8128)):
            made[one] = Measured(np.asarray(value), EXACT, EXACT, one, True)
        runs.append(make_run(name, "weights", made, {"side": side, "loading": "up and down"}))
    return Bench("exact", "computed", tuple(runs))


def test_without_errors_the_true_sensor_comes_out():
    made = calibration.study(exact())
    assert made.estimate.told == SENSOR and made.notes == ()
    for name in SENSOR:
        assert getattr(made, name) == pytest.approx(getattr(TRUTH, name), rel=1e-5), name
    assert made.repeatability < 1e-4 and abs(made.bow) < 1e-5 and abs(made.side_difference) < 1e-5
    assert made.largest_deviation == pytest.approx(TRUTH.hysteresis, rel=0.02)


def test_the_truth_is_in_the_intervals_of_the_example():
    made = found()
    for name in SENSOR:
        assert getattr(made, f"{name}_low") < getattr(TRUTH, name) < getattr(made, f"{name}_high"), name
    assert made.repeatability_low < TRUTH.scatter < made.repeatability_high
    assert made.readings == 136 and made.series_count == 8 and made.notes == ()
    assert made.common_share > 0.95
    assert len(made.rows()) == 6 and made.rows()[1].startswith("gain: 15.5")


def test_intervals_of_records_from_files_hold_the_truth(tmp_path):
    many = calibration.estimate(from_files(range(SETS), tmp_path))
    for name, (covered, bias, scatter, _) in coverage(many).items():
        assert LEAST <= covered <= MOST, name
        assert abs(bias) < 0.4 and 0.8 < scatter < 1.25, name
    assert np.mean((many.scatter_low <= TRUTH.scatter * TRUTH.gain) & (TRUTH.scatter * TRUTH.gain <= many.scatter_high)) >= LEAST


def test_the_scatter_is_right_in_the_mean_though_crank_and_zeros_take_a_part_of_the_readings():
    many = calibration.estimate(upwards(weighed.weighed(7, 400)))
    assert many.scatter.mean() == pytest.approx(TRUTH.scatter * TRUTH.gain, rel=0.013)


def test_a_record_at_a_time_gives_what_many_at_once_give():
    many = calibration.estimate(weighed.weighed(11, 3))
    runs = []
    for run in weighed.weighed(11, 3).runs:
        second = {
            name: replace(one, values=one.values[1]) if one.values.ndim == (1 if one.constant else 2) else one
            for name, one in run.quantities.items()
        }
        runs.append(make_run(run.name, run.kind, second, run.words))
    single = calibration.estimate(Bench("one", "", tuple(runs)))
    for name in SENSOR:
        assert [float(end) for end in single.interval(name)] == pytest.approx([float(end[1]) for end in many.interval(name)], rel=1e-4), (
            name
        )


def test_the_torque_of_the_equations_is_that_of_the_formula():
    run = record()["cold_backward_1"]
    torque = weight_runs.torque(run)
    by_hand = [
        -m * float(run.values("local_gravity")) * float(run.values("crank_length")) * np.cos(a)
        for m, a in zip(run.values("hung_mass"), run.values("crank_angle"), strict=True)
    ]
    assert torque == pytest.approx(by_hand)
    line = {name: getattr(TRUTH, name) for name in ("offset", "gain", "zero_drift", "gain_drift")}
    way = np.where(weight_runs.unloading(run), 1, -1) * formulas.loop_half_width(torque, torque[8], TRUTH.hysteresis)
    expected = formulas.output(torque + way, run.values("sensor_temperature"), **line)
    equations = weight_runs.Equations(record(), 293.15)
    parameters = np.zeros(len(equations.names))
    parameters[: len(SENSOR)] = [getattr(TRUTH, name) for name in SENSOR]
    condition = equations.condition(run)
    off = condition.equation(condition.measured, parameters)[..., 0]
    assert off == pytest.approx(run.values("sensor_output") - expected, abs=1e-12)


def test_one_temperature_tells_no_drift():
    made = calibration.study(record().without(*WARM))
    assert made.zero_drift is made.gain_drift is None and made.estimate.told == ("offset", "gain", "hysteresis")
    assert len(made.notes) == 2 and "One temperature only (17.4 to 18.3 °C): drift of zero and gain is not identified" in made.notes[0]
    assert "assumed and not measured: drift of the zero 0.10 N·m/K, drift of the gain 0.1 %/K;" in made.notes[1]
    warm = calibration.study(record().without(*COLD))
    assert warm.gain_high - warm.gain_low > 3 * (found().gain_high - found().gain_low)  # at 20 °C, and nobody knows the drift
    assert warm.gain_low < TRUTH.gain < warm.gain_high


def test_weights_that_only_go_up_tell_no_hysteresis():
    made = calibration.study(upwards(record()))
    assert made.hysteresis is None and any("hysteresis is not identified" in note for note in made.notes)
    assert made.gain_low < TRUTH.gain < made.gain_high


def test_what_is_wanted_must_be_told():
    with pytest.raises(ValueError, match="'Weights on the harbour crank': One temperature only .* drift of zero and gain"):
        calibration.study(record().without(*WARM), wanted=("gain", "zero_drift"))
    with pytest.raises(ValueError, match="hysteresis is not identified; hang the weights up and take them down"):
        calibration.study(upwards(record()), wanted=("hysteresis",))
    with pytest.raises(ValueError, match="wanted holds 'creep': expected some of offset, gain"):
        calibration.study(record(), wanted=("creep",))
    assert calibration.study(record(), wanted=SENSOR).gain == found().gain


def test_a_single_series_says_what_it_cannot_tell():
    made = calibration.study(Bench("one", "", (record()["cold_forward_1"],)))
    assert made.side_difference is None
    said = " ".join(made.notes)
    assert "One temperature only" in said and "forward side only" in said and "No series was repeated" in said


def test_a_wild_reading_is_named():
    shown = record()["warm_forward_1"].values("sensor_output").copy()
    shown[5] += 0.01
    made = calibration.study(changed(record(), "warm_forward_1", "sensor_output", shown))
    (note,) = made.notes
    assert note.startswith("Series warm_forward_1, reading 6 (25 kg, on the way up): +")
    assert made.repeatability > found().repeatability


def test_a_series_that_moved_is_named():
    shown = record()["cold_backward_2"].values("sensor_output") + 0.02
    made = calibration.study(changed(record(), "cold_backward_2", "sensor_output", shown))
    assert any(note.startswith("Series cold_backward_2 lies +") and "zero_shift" in note for note in made.notes)


def test_a_bow_and_unlike_sides_are_named():
    bent = calibration.study(exact(bow=0.01))
    assert bent.bow == pytest.approx(0.01, rel=0.03)
    assert any(note.startswith("Not a straight line: bow at half of full scale") for note in bent.notes)
    unlike = calibration.study(exact(backward=0.98))
    assert unlike.side_difference == pytest.approx(-0.02, rel=0.05)
    assert any("gain backward over forward, less 1, is -2.0" in note for note in unlike.notes)


def test_an_output_that_falls_is_named():
    made = calibration.study(exact(gain=-0.015))
    assert made.gain == pytest.approx(-0.015, rel=1e-5) and any("write sign = -1" in note for note in made.notes)
    assert made.hysteresis == pytest.approx(TRUTH.hysteresis, rel=1e-4)


def test_the_interval_of_the_gain_holds_what_the_crank_does_to_it():
    """A crank that is 1 % longer than stated makes the gain 1 % too great, and nothing in the readings shows it."""
    lengths = {run.name: run.values("crank_length") / 1.01 for run in record().runs}
    bench = record()
    for name, values in lengths.items():
        bench = changed(bench, name, "crank_length", values)
    other = calibration.study(bench)
    assert other.gain / found().gain == pytest.approx(1.01, rel=1e-4)
    assert other.probability == pytest.approx(found().probability, abs=1e-6) and other.notes == ()


def test_counts_of_a_converter_give_what_volts_give():
    runs = []
    for run in record().runs:
        volts = run["sensor_output"]
        per_volt = 2**16 / 3.3
        made = {name: one for name, one in run.quantities.items() if name != "sensor_output"}
        made["converter_counts"] = Measured(
            volts.values * per_volt,
            Accuracy(volts.each.share, volts.each.fixed * per_volt),
            Accuracy(volts.common.share, volts.common.fixed * per_volt),
            "converter",
        )
        made["converter_range"] = Measured(np.asarray(3.3), EXACT, EXACT, "reference", True)
        made["converter_bits"] = Measured(np.asarray(16.0), EXACT, EXACT, "bits", True)
        runs.append(make_run(run.name, run.kind, made, run.words))
    made = calibration.study(Bench("counts", "", tuple(runs)))
    for name in SENSOR:
        for end in ("", "_low", "_high"):
            assert getattr(made, name + end) == pytest.approx(getattr(found(), name + end), rel=1e-5), name


def test_a_level_crank_and_one_temperature_a_series_may_be_single_numbers():
    runs = []
    for run in record().runs:
        warm = np.asarray(np.mean(run.values("sensor_temperature")))
        made = dict(run.quantities)
        made["crank_angle"] = Measured(np.asarray(np.radians(-1.5)), EXACT, Accuracy(0.0, np.radians(1.0)), "level", True)
        made["sensor_temperature"] = Measured(warm, EXACT, Accuracy(0.0, 0.4), "probe", True)
        runs.append(make_run(run.name, run.kind, made, run.words))
    bench = Bench("level", "", tuple(runs))
    made = calibration.study(bench)
    assert made.gain == pytest.approx(found().gain, rel=2e-3) and made.offset == pytest.approx(found().offset, rel=1e-3)
    for name in ("hysteresis", "zero_drift", "gain_drift"):
        assert getattr(made, f"{name}_low") < getattr(TRUTH, name) < getattr(made, f"{name}_high"), name
        assert getattr(made, name) == pytest.approx(getattr(found(), name), rel=0.15), name
    ahead = calibration.predict(calibration.study(bench, ["warm_forward_1"]), "warm_forward_1")  # in truth it cooled by 1.8 K
    assert np.max(np.abs(ahead.measured - ahead.expected)) < 0.3


def test_a_series_left_out_is_predicted():
    made = calibration.predict(found("warm_backward_1"), "warm_backward_1")
    assert np.all(made.low < made.expected) and np.all(made.expected < made.high)
    assert made.torque[8] == pytest.approx(-51.3, abs=0.5) and np.max(np.abs(made.measured - made.expected)) < 0.4
    assert made.inside_share > 0.8
    with pytest.raises(ValueError, match="'warm_backward_1' was fitted: leave it out"):
        calibration.predict(found(), "warm_backward_1")
    with pytest.raises(ValueError, match="has no run 'x'"):
        calibration.predict(found("warm_backward_1"), "x")


def test_too_little_is_refused():
    with pytest.raises(ValueError, match="no series of kind 'weights' to fit"):
        calibration.study(load_bench(DATA / "bench" / "harbour_hub.toml"))
    with pytest.raises(ValueError, match="has no run 'x'"):
        calibration.study(record(), leave_out=["x"])
    run = record()["cold_forward_1"]
    few = {name: one if one.constant else replace(one, values=one.values[[0, 8, 16]]) for name, one in run.quantities.items()}
    with pytest.raises(ValueError, match="has 3 readings for 3 unknowns: hang more weights"):
        calibration.study(Bench("few", "", (make_run(run.name, run.kind, few, run.words),)))


def test_a_fit_that_does_not_settle_names_the_record(monkeypatch):
    monkeypatch.setattr("unikit.formulas.fitting.MOST_TURNS", 1)
    with pytest.raises(ValueError, match="'Weights on the harbour crank' fits no one sensor"):
        calibration.study(record())
