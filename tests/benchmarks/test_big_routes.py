"""Routes of a size that nobody rides: time and peak memory of 2 million points in 200 MB, and of 100 km at 10 m."""

import subprocess
import sys
import time

import numpy as np
import pytest
from route_texts import HEAD, PEAK, points, straight, track

from unikit.inputs import load_route, read_route

MEASURED = (
    PEAK
    + """
import sys, time
from unikit.inputs import InputError, gpx, load_route
import numpy.fft
before, start = peak(), time.perf_counter()
try:
    print(len(gpx.read_gpx(sys.argv[1]).parts[0].latitude))
    print(time.perf_counter() - start, peak() - before)
    print(load_route(sys.argv[1]).length)
except InputError as error:
    print(error)
print(time.perf_counter() - start, peak() - before)
"""
)


def measured(path):
    done = subprocess.run([sys.executable, "-c", MEASURED, str(path)], capture_output=True, text=True, timeout=600, check=True)
    print(f"\n{path.stat().st_size / 1e6:.0f} MB:", *done.stdout.splitlines(), sep="\n  ")
    return done.stdout.splitlines()


@pytest.fixture
def big(tmp_path):
    """Write a track of many points, piece by piece."""

    def writing(count):
        path = tmp_path / "big.gpx"
        with path.open("w") as handle:
            handle.write(f"{HEAD}<trk><trkseg>")
            for start in range(0, count, 100_000):
                turn = 2 * np.pi * np.arange(start, min(start + 100_000, count)) / 200_000
                rows = zip(40 + 0.3 * np.sin(turn), -140 + 0.3 * np.cos(turn), 50 - 40 * np.cos(turn), strict=True)
                time = "<time>2026-01-01T00:00:00Z</time>"
                handle.write("\n".join(f'<trkpt lat="{a:.7f}" lon="{b:.7f}"><ele>{c:.2f}</ele>{time}</trkpt>' for a, b, c in rows))
            handle.write("</trkseg></trk></gpx>")
        return path

    return writing


def test_two_million_points_are_read_within_bounds(big):
    count, cost, length, whole = measured(big(2_000_000))
    assert count == "2000000"
    seconds, kilobytes = map(float, cost.split())
    assert seconds < 60 and kilobytes < 120_000  # the numbers alone are 48 MB
    seconds, kilobytes = map(float, whole.split())
    assert float(length) > 1e6 and seconds < 120 and kilobytes < 450_000


def test_more_points_are_refused_within_bounds(big):
    *_, said, cost = measured(big(2_100_000))
    assert "at most 2,000,000 points" in said and float(cost.split()[1]) < 120_000


def test_a_hundred_kilometres_at_ten_metres(tmp_path):
    latitude, longitude = straight(25_000, 4.0)
    altitude = 50 * np.sin(np.arange(25_000) / 900) + np.random.default_rng(1).normal(0, 0.4, 25_000)
    (tmp_path / "long.gpx").write_text(track(points(latitude, longitude, altitude)))
    start = time.perf_counter()
    route = load_route(tmp_path / "long.gpx")
    read = time.perf_counter() - start
    found = read_route(tmp_path / "long.gpx")
    from unikit.studies import routes

    start = time.perf_counter()
    routes.study(found)
    print(f"\n{len(route.distance):,} points: read in {read:.3f} s, studied in {time.perf_counter() - start:.3f} s")
    assert len(route.distance) == 10_001 and read < 2


def test_a_redraw_of_the_panel_takes_at_most_forty_milliseconds(root):
    from unikit.lab import upload

    chosen = upload.pick(root / "data/routes")
    chosen.choose("Over the hill")
    panel, spent = upload.panel(chosen), []
    for smoothing in range(20, 60):
        start = time.process_time()
        panel.set(smoothing=float(smoothing))
        spent.append(time.process_time() - start)
    print(f"\nredraw {1e3 * np.median(spent):.0f} ms")
    assert np.median(spent) < 0.04
