"""What many rides cost: ten thousand of 20 km on two processes, and time against route length and number of rides.

Run with ``python -m pytest tests/benchmarks/test_outlook_speed.py -s -m ''``; with ``RENEW_PICTURES=1`` the plot goes into
``docs/pictures``, else into a temporary folder.  The march is the compiled one, so numba is needed.
"""

import multiprocessing
import os
import resource
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from unikit.inputs import load_build, load_case, make_route, replace
from unikit.studies import outlook

pytest.importorskip("numba")
ROOT = Path(__file__).parents[2]
STEP = 20.0  # m
UNCERTAIN = {
    "wind_speed": "3 m/s ± 1 m/s",
    "wind_from": "200 deg ± 30 deg",
    "air_temperature": "12 °C ± 4 K",
    "capacity_left": "80 % to 95 %",
    "state_of_charge": "34 % to 40 %",
}


def parts(length):
    """Build, case with 13 uncertain numbers together, and an invented route."""
    there = np.arange(0.0, length + STEP / 2, STEP)
    height = 20 * np.sin(there / 900) + 8 * np.sin(there / 333)
    route = make_route("benchmark", "invented", there, height, heading=0.0003 * there[:-1])
    build = load_build(ROOT / "data" / "builds" / "harbour_commuter.toml")
    return build, replace(load_case(ROOT / "data" / "cases" / "harbour_hill.toml"), UNCERTAIN | {"head_wind": 0.0}), route


def timed(repeat, *given, **named):
    """Least time of a study on one core [s], whatever else the machine does."""
    spent = []
    for _ in range(repeat):
        start = time.process_time()
        outlook.study(*given, **named)
        spent.append(time.process_time() - start)
    return min(spent)


def test_ten_thousand_rides_of_twenty_kilometres():
    build, case, route = parts(20_000.0)
    outlook.study(build, case, route, count=32)  # compiled once and kept on disk
    start, told = time.perf_counter(), []
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as pool:
        found = outlook.study(build, case, route, count=10_000, executor=pool, progress=told.append)
    spent = time.perf_counter() - start
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    worker, own = (resource.getrusage(who).ru_maxrss / 1024 for who in (resource.RUSAGE_CHILDREN, resource.RUSAGE_SELF))
    steps = len(route.step)
    print(f"\n{found.rides} rides of {route.length / 1000:.0f} km in {steps} steps on two processes: {spent:.1f} s, start of both included")
    print(f"{(used.ru_utime + used.ru_stime) / 2:.1f} s of each core; {os.getloadavg()[0]:.1f} programs ran on {os.cpu_count()} cores")
    print(f"memory at most {worker:.0f} MiB a worker, {own:.0f} MiB here; told of progress {len(told)} times")
    print(f"probability of getting home {100 * found.chance:.2f} ± {100 * found.chance_error:.2f} %")
    assert found.rides >= 10_000
    assert (used.ru_utime + used.ru_stime) / 2 < 30, "of each core; the clock shows more where other programs run"
    assert worker < 1000


def test_quick_form_takes_under_a_second():
    given = parts(20_000.0)
    outlook.study(*given, count=32)
    spent = timed(5, *given)
    print(f"\n256 rides of 20 km here: {spent:.2f} s")
    assert spent < 1


def test_cost_is_linear_in_route_and_rides(tmp_path):
    lengths, counts = np.array([10.0, 20.0, 40.0, 80.0, 160.0]), np.array([256, 512, 1024, 2048, 4096])
    outlook.study(*parts(1000.0), count=32)
    by_length = np.array([timed(3, *parts(1000 * length), count=256) for length in lengths])
    by_count = np.array([timed(3, *parts(10_000.0), count=int(count)) for count in counts])
    print("\nroute [km]  256 rides [s]")
    for length, spent in zip(lengths, by_length, strict=True):
        print(f"{length:10.0f}  {spent:.2f}")
    print("rides  10 km [s]")
    for count, spent in zip(counts, by_count, strict=True):
        print(f"{count:5d}  {spent:.2f}")
    for size, spent in ((lengths, by_length), (counts, by_count)):
        line = np.polynomial.Polynomial.fit(size, spent, 1)
        assert np.abs(line(size) / spent - 1).max() < 0.25, "on a straight line"
    assert np.log2(by_count[-1] / by_count[0]) / np.log2(counts[-1] / counts[0]) == pytest.approx(1, abs=0.15)
    folder = ROOT / "docs" / "pictures" if os.environ.get("RENEW_PICTURES") else tmp_path
    print(picture(folder / "outlook_cost.png", lengths, by_length, counts, by_count))


def picture(path, lengths, by_length, counts, by_count):
    """Time against route length and number of rides."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure((7, 2.8), layout="constrained")
    FigureCanvasAgg(figure)
    for axes, size, spent, words in zip(
        figure.subplots(1, 2),
        (lengths, counts),
        (by_length, by_count),
        ("length of the route [km], 256 rides", "rides, route of 10 km"),
        strict=True,
    ):
        line = np.polynomial.Polynomial.fit(size, spent, 1)
        reach = np.array([0.0, 1.05 * size[-1]])
        axes.plot(reach, line(reach), color="0.6", linewidth=1)
        axes.plot(size, spent, "o", color="#1f5a8a", markersize=5)
        axes.set(xlabel=words, ylabel="time of one core [s]", xlim=(0, reach[1]), ylim=(0, None))
        axes.spines[["top", "right"]].set_visible(False)
    figure.savefig(path, dpi=100)
    return path
