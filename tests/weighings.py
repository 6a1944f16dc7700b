"""Many records of weights as one, and parts of them, for the tests of the calibration."""

from dataclasses import replace

import numpy as np

from unikit.inputs import load_bench, weights
from unikit.inputs.bench import Bench, Measured, make_run
from unikit.studies import bench_files, weighed

TRUTH = weighed.Sensor()
TOP = int(np.argmax(weighed.MASSES)) + 1
COLD = tuple(name for name in weighed.SERIES if name.startswith("cold"))
WARM = tuple(name for name in weighed.SERIES if name.startswith("warm"))


def stacked(records):
    """Many records as one whose values are (record, row)."""
    runs = []
    for place, run in enumerate(records[0].runs):
        joined = {}
        for name, one in run.quantities.items():
            values = np.stack([record.runs[place].values(name) for record in records])
            joined[name] = Measured(values, one.each, one.common, one.instrument, one.constant)
        runs.append(make_run(run.name, run.kind, joined, run.words))
    return Bench(records[0].name, records[0].source, tuple(runs))


def from_files(seeds, folder):
    """Records that were written and read as files, as one."""
    return stacked([load_bench(bench_files.write(weighed.files(weighed.weighed(seed)), folder)[0]) for seed in seeds])


def upwards(bench):
    """The same record without what was read on the way down."""
    runs = []
    for run in bench.runs:
        cut = {name: one if one.constant else replace(one, values=one.values[..., :TOP]) for name, one in run.quantities.items()}
        runs.append(make_run(run.name, run.kind, cut, {**run.words, "loading": weights.UP}))
    return Bench(bench.name, bench.source, tuple(runs))


def coverage(found):
    """By parameter that is told: share of intervals that hold the truth, bias and scatter in standard errors, error over truth."""
    truth = {name: getattr(TRUTH, name) for name in found.told}
    ends = {name: found.interval(name) for name in found.told}
    lines = {}
    for name, (value, low, high) in ends.items():
        error = found.fit.error[..., found.equations.place[name]].mean()
        covered = float(np.mean((low <= truth[name]) & (truth[name] <= high)))
        lines[name] = covered, float((value.mean() - truth[name]) / error), float(value.std() / error), float(error / abs(truth[name]))
    return lines
