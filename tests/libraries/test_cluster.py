"""Many rides on a cluster of several processes: an executor like any other, and the very same numbers."""

import time

import numpy as np
import pytest

from unikit.formulas import sampling
from unikit.inputs import load_build, load_case, make_route
from unikit.studies import outlook
from unikit.studies.many import PartError, in_parts

pytestmark = pytest.mark.reference


@pytest.fixture(scope="module")
def cluster():
    from distributed import Client, LocalCluster

    with (
        LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1") as workers,
        Client(workers) as client,
    ):
        yield client.get_executor()


def part(piece):
    points = sampling.points(6, 64, seed=8, replicate=piece)
    return np.sin(points).sum(), points.max()


def test_rides_on_a_cluster_are_the_very_same_rides(cluster, root):
    build, case = load_build(root / "data" / "builds" / "harbour_commuter.toml"), load_case(root / "data" / "cases" / "head_wind.toml")
    there = np.linspace(0.0, 3000.0, 31)
    route = make_route("rise and fall", "invented", there, 20 * np.sin(there / 500))
    alone, spread = outlook.study(build, case, route), outlook.study(build, case, route, executor=cluster)
    assert alone.summary() == spread.summary()
    for name, values in alone.each.items():
        assert np.array_equal(values, spread.each[name]), name


def refused(piece):
    raise ValueError("no such ride")


def late(piece):
    time.sleep(0.05)
    return piece


def test_a_cluster_gives_the_very_same_numbers(cluster):
    told = []
    assert in_parts(part, range(24), cluster, told.append, ahead=5) == in_parts(part, range(24))
    assert told[-1] == 1


def test_a_cluster_tells_what_failed(cluster):
    with pytest.raises(PartError, match=r"part 1 of 1 \(0\) failed: ValueError: no such ride"):
        in_parts(refused, range(1), cluster)


def test_work_on_a_cluster_can_be_stopped(cluster):
    done = []
    found = in_parts(late, range(400), cluster, done.append, lambda: len(done) >= 4)
    assert found == list(range(len(found)))
    assert 1 <= len(found) < 60
