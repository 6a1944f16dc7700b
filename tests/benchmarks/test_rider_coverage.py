"""A thousand logs of two known riders: how often the intervals hold the truth, and what a fit costs."""

from dataclasses import replace
from pathlib import Path
from time import perf_counter

import numpy as np
import pytest

from unikit.formulas import identification
from unikit.inputs import load_build
from unikit.studies import ridden

BUILD = Path(__file__).parents[2] / "data" / "builds" / "harbour_ungeared.toml"
RIDES = 1000
DELAYS = 64


def fit(log, true, **options):
    return identification.rider(
        log["lean_rate"],
        log["pedal_torque"],
        log.sampling_rate,
        predictive=true.acceleration > 0,
        speed=log["speed"],
        crank_rate=log["crank_rate"],
        leg_damping=true.leg_damping,
        leg_stiffness=true.leg_stiffness,
        lean_rate_noise=ridden.Scenario().gyro_noise,
        **options,
    )


@pytest.mark.parametrize("name", ridden.RIDERS)
@pytest.mark.parametrize("rate", [50.0, 100.0, 200.0])
def test_intervals_hold_the_truth_as_often_as_they_say(name, rate):
    rides = RIDES if rate == 100.0 else RIDES // 4
    true, scenario = ridden.RIDERS[name][0], replace(ridden.Scenario(), sampling_rate=rate)
    found = []
    for batch in range(rides // 50):
        made = ridden.ride(load_build(BUILD), true, scenario, seed=1000 + batch, rides=50)
        found += [fit(made.log(number), true) for number in range(50)]
    slack = 2 * np.sqrt(0.05 * 0.95 / rides)  # of the count itself
    for field in ("delay", "proportional", "derivative") + ("acceleration",) * (true.acceleration > 0):
        value, error = (np.array([getattr(one, part) for one in found]) for part in (field, f"{field}_error"))
        truth = getattr(true, field)
        if field == "delay":
            inside = [one.delay_low <= truth <= one.delay_high for one in found]
        else:
            inside = np.abs(value - truth) < identification.INTERVAL * error
        covered, bias = np.mean(inside), (value.mean() - truth) / error.mean()
        print(f"{name} {rate:.0f} Hz {field:13} {100 * covered:.1f} % covered, bias {bias:+.2f}, scatter {value.std() / error.mean():.2f}")
        assert 0.93 - slack < covered < 0.97 + slack
        assert abs(bias) < 0.5


def test_many_delays_cost_little_more_than_one():
    """The honest alternative: for each delay the lagged columns anew, and the same alternation on samples."""
    log = ridden.ridden_log(load_build(BUILD), ridden.REFLEXIVE, 3)
    start = perf_counter()
    fit(log, ridden.REFLEXIVE)
    whole = perf_counter() - start
    rate, torque, step = log["lean_rate"], log["pedal_torque"], 1 / log.sampling_rate
    lean = identification.lagged(np.cumsum(rate) * step, 0.03, step)
    slow, time = identification.lagged(rate, 0.03, step), log["time"]
    start = perf_counter()
    for delay in np.linspace(0.04, 0.35, DELAYS):
        columns = np.stack([np.interp(time - delay, time, lean), np.interp(time - delay, time, slow), time, np.ones_like(time)], axis=1)
        filtered, output = columns, torque
        for _ in range(4):
            gains = np.linalg.lstsq(filtered, output, rcond=None)[0]
            left = torque - columns @ gains
            past = np.stack([left[15 - lag : len(left) - lag] for lag in range(1, 16)], axis=1)
            noise = np.linalg.lstsq(past, left[15:], rcond=None)[0]
            filtered, output = (
                part[15:] - sum(noise[lag - 1] * part[15 - lag : len(part) - lag] for lag in range(1, 16)) for part in (columns, torque)
            )
    honest = perf_counter() - start
    print(f"whole fit {whole:.3f} s; {DELAYS} delays one by one {honest:.3f} s")
    assert whole < 1.0 * honest
