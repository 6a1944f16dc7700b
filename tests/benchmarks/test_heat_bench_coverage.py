"""Thousands of bench runs of hidden motors: how often the intervals hold the truth and the bands the readings, and what a fit costs."""

from dataclasses import replace
from pathlib import Path
from time import process_time

import numpy as np
import pytest

from unikit.formulas.network_fit import NETWORK
from unikit.inputs import load_build
from unikit.studies import heat_bench, heated

BUILD = Path(__file__).parents[2] / "data" / "builds" / "harbour_commuter.toml"
RUNS, BATCH = 3000, 100  # so many, because a thousand are uncertain by 0.7 %


def motors(seed, count):
    """Hidden motors whose numbers lie around those of the examples, by a fifth or so either way."""
    stream, middle = np.random.default_rng(seed), heated.Hidden()
    return replace(middle, **{name: getattr(middle, name) * np.exp(0.2 * stream.normal(size=count)) for name in NETWORK})


@pytest.mark.parametrize("stator", [True, False], ids=["with stator sensor", "without"])
def test_intervals_hold_the_truth_as_often_as_they_say(stator):
    build, apart, held, hot, spent = load_build(BUILD), [], [], [], 0.0
    for batch in range(RUNS // BATCH):
        hidden = motors(500 + batch, BATCH)
        made = heated.heated(build, hidden, heated.Scenario(), 1000 + batch, BATCH)
        for number in range(BATCH):
            run, before = made.run(number, stator=stator), process_time()
            found = heat_bench.study(build, run)
            spent += process_time() - before
            apart.append([np.log(getattr(found, name) / getattr(hidden, name)[number]) for name in NETWORK] / found.fit.error)
            if number % 10 == 0:
                part = heat_bench.study(build, run, until=4150.0)  # the heating alone; the cooling is predicted
                held.append([part.held(name) for name in ("winding", "housing")])
            hot.append(found.hottest)
    apart = np.array(apart)
    covered = (np.abs(apart) < 1.959964).mean(axis=0)
    said = f"{RUNS} runs, {1e3 * spent / RUNS:.0f} ms a fit, hottest {max(hot) - 273:.0f} °C"
    print(f"\n{'with' if stator else 'without'} stator sensor, {said}")
    for place, name in enumerate(NETWORK):
        bias, scatter = apart[:, place].mean(), apart[:, place].std()
        print(f"{name:20} inside {100 * covered[place]:.1f} %, bias {bias:+.2f} and scatter {scatter:.2f} standard errors")
    print("cooling predicted from heating, readings in the band: winding {:.1f} %, housing {:.1f} %".format(*100 * np.mean(held, axis=0)))
    assert np.all((covered >= 0.93) & (covered <= 0.97)), covered
    assert np.all(np.abs(np.mean(held, axis=0) - 0.95) < 0.03)
