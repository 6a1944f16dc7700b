"""A thousand bench records of a known motor, written and read as files: how often the intervals hold the truth, and what a fit costs."""

from pathlib import Path
from time import perf_counter

import numpy as np
import pytest

from unikit.formulas import fitting
from unikit.inputs import load_bench, load_build
from unikit.inputs.bench import Bench, Measured, make_run
from unikit.studies import bench_files, benched, motor_bench

BUILD = Path(__file__).parents[2] / "data" / "builds" / "harbour_commuter.toml"
RECORDS = 1000
PARTS = {
    "all runs": (),
    "without stall": ("held",),
    "without winding": ("winding",),
    "magnets cold alone": ("spun_warm",),
    "without torque meter": ("spun_cold",),
    "without own power": ("own_power", "own_power_phase"),
    "own power and winding": ("spun_cold", "spun_warm", "held"),
}


def stacked(records):
    """Many records as one whose values are (record, row)."""
    runs = []
    for place, run in enumerate(records[0].runs):
        joined = {}
        for name, one in run.quantities.items():
            values = np.stack([record.runs[place].values(name) for record in records])
            joined[name] = Measured(values, one.each, one.common, one.instrument, one.constant)
        runs.append(make_run(run.name, run.kind, joined))
    return Bench(records[0].name, records[0].source, tuple(runs))


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    truth, folder = benched.hidden(load_build(BUILD)), tmp_path_factory.mktemp("bench")
    return stacked(
        [load_bench(bench_files.write(benched.files(benched.benched(truth, seed)), folder)[0]) for seed in range(1000, 1000 + RECORDS)]
    )


@pytest.mark.parametrize("part", PARTS)
def test_intervals_hold_the_truth_as_often_as_they_say(bench, part):
    build = load_build(BUILD)
    true = benched.hidden(build).motor
    found = motor_bench.estimate(build, bench.without(*PARTS[part]))
    for name in found.measured:
        if name == "roll_off":
            truth, (value, low, high) = true.saturation_current, found.saturation()
        else:
            truth, (value, low, high) = getattr(true, name), found.interval(name)
        error = (high - low) / 2 / motor_bench.BAND
        covered, bias = np.mean((low <= truth) & (truth <= high)), (value.mean() - truth) / error.mean()
        wide = f"scatter {value.std() / error.mean():.2f}, error {error.mean() / abs(truth):.2%}"
        print(f"{part:22} {name:32} {100 * covered:.1f} % covered, bias {bias:+.2f}, {wide}")
        assert 0.93 <= covered <= 0.97
        assert abs(bias) < 0.25


def test_predictions_of_a_run_left_out_hold_the_readings_as_often_as_they_say(bench):
    build = load_build(BUILD)
    for name in benched.RUNS:
        found = motor_bench.estimate(build, bench, (name,))
        off, variance = fitting.foreseen(found.equations.condition(bench[name]), found.fit)
        covered = np.mean(np.abs(off) < motor_bench.BAND * np.sqrt(variance), axis=(0, 1))
        print(f"{name:16} {', '.join(f'{100 * share:.1f} %' for share in covered)} of readings inside")
        assert np.all(covered > 0.93)
        if name in ("own_power", "own_power_phase", "spun_cold"):  # of the others something stays that only the build tells
            assert np.all(covered < 0.97)


def test_a_study_takes_little_time():
    build = load_build(BUILD)
    record = benched.benched(benched.hidden(build), 1)
    start = perf_counter()
    motor_bench.study(build, record)
    took = perf_counter() - start
    print(f"one study {took:.2f} s")
    assert took < 3
