"""What a log of 24 hours at 10 Hz costs: time and peak memory of each way to read it, each in a process of its own.

Run with ``python -m pytest tests/benchmarks/test_ride_log_speed.py -s -m ''``.
"""

import subprocess
import sys
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

ROWS = 864_000
MAPPING = """
format = 1
name = "Day"
source = "invented"
delimiter = "comma"
decimal = "point"
longest_interval = "2 s"
derive = ["pedal_power"]
[columns.time]
column = "stamp"
clock = "with zone"
"""
COLUMNS = {
    "speed": ("km/h", "%.2f", lambda n, noise: 18 + 2 * np.sin(n / 300) + 0.1 * noise),
    "distance": ("m", "%.1f", lambda n, noise: 0.5 * n),
    "altitude": ("m", "%.1f", lambda n, noise: 30 + 10 * np.sin(n / 5000)),
    "latitude": ("deg", "%.6f", lambda n, noise: 10 + 1e-6 * n),
    "longitude": ("deg", "%.6f", lambda n, noise: -20 + 1e-6 * n),
    "heading": ("deg", "%.0f", lambda n, noise: (n / 100) % 360),
    "pedal_torque": ("N*m", "%.1f", lambda n, noise: 15 + noise),
    "crank_rate": ("rpm", "%.1f", lambda n, noise: 70 + noise),
    "battery_voltage": ("V", "%.2f", lambda n, noise: 48 + 0.1 * noise),
    "battery_current": ("A", "%.2f", lambda n, noise: 4 + noise),
}
START = "import re, sys, time\nbegin = time.perf_counter()\n"
# The kernel's high-water mark of this program alone: what getrusage gives holds the parent's too.
END = """
print(time.perf_counter() - begin, int(re.search(r"VmHWM:\\s*(\\d+)", open("/proc/self/status").read())[1]) / 1024)"""
WAYS = {
    "imports alone": "from unikit.studies import stretches\nfrom unikit import units; units.convert(1.0, 'speed', 'km/h')",
    "stretches_of, 500 m": "from unikit.studies import stretches\nstretches.stretches_of(*sys.argv[1:], length=500.0)",
    "load_ride": "from unikit.inputs import load_ride\nload_ride(*sys.argv[1:])",
    "csv, cell by cell": """
import csv, array
from datetime import datetime
with open(sys.argv[1], newline="") as handle:
    rows = csv.reader(handle, strict=True)
    kept = [array.array("d") for _ in next(rows)]
    zero = datetime.fromisoformat("2026-01-01T00:00:00+00:00")
    for count, row in enumerate(rows):
        if count % 5000 == 0:
            kept = [array.array("d") for _ in row]
        kept[0].append((datetime.fromisoformat(row[0]) - zero).total_seconds())
        for numbers, text in zip(kept[1:], row[1:]):
            numbers.append(float(text))""",
    "pandas, blocks, guessed types": """
import pandas
for block in pandas.read_csv(sys.argv[1], chunksize=5000):
    pandas.to_datetime(block["stamp"], format="ISO8601")""",
    "pandas, blocks of texts": """
import pandas
for block in pandas.read_csv(sys.argv[1], chunksize=5000, dtype=str, keep_default_na=False):
    pandas.to_datetime(block["stamp"], format="ISO8601")
    for name in block.columns[1:]:
        block[name].to_numpy(float)""",
}


@pytest.fixture(scope="module")
def day(tmp_path_factory):
    """A day's table and its mapping."""
    folder = tmp_path_factory.mktemp("day")
    stream, begin = np.random.default_rng(0), datetime(2026, 1, 1, tzinfo=UTC)
    with open(folder / "day.csv", "w", encoding="utf-8") as handle:
        handle.write(",".join(["stamp", *COLUMNS]) + "\n")
        for first in range(0, ROWS, 8000):
            number = np.arange(first, first + 8000)
            stamps = [(begin + timedelta(milliseconds=100 * int(n))).isoformat(timespec="milliseconds") for n in number]
            cells = [np.char.mod(form, value(number, stream.normal(size=8000))) for _, form, value in COLUMNS.values()]
            handle.writelines(",".join(row) + "\n" for row in zip(stamps, *cells, strict=True))
    columns = [f'[columns.{name}]\ncolumn = "{name}"\nunit = "{unit}"\n' for name, (unit, _, _) in COLUMNS.items()]
    (folder / "day.toml").write_text(MAPPING + "".join(columns), encoding="utf-8")
    return str(folder / "day.csv"), str(folder / "day.toml")


def cost(way, paths):
    """Seconds and peak megabytes."""
    done = subprocess.run([sys.executable, "-c", START + WAYS[way] + END, *paths], capture_output=True, text=True, check=True)
    return tuple(map(float, done.stdout.split()))


def test_a_day_at_10_hz(day):
    found = {way: cost(way, day) for way in WAYS}
    for way, (seconds, megabytes) in found.items():
        print(f"{way}: {seconds:.2f} s, {megabytes:.0f} MB")
    assert found["stretches_of, 500 m"][1] < found["imports alone"][1] + 40
    assert found["stretches_of, 500 m"][0] < 30
