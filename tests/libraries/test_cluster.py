"""Many rides on a cluster of several processes: an executor like any other, and the very same numbers."""

import time

import numpy as np
import pytest

from unikit.formulas import sampling
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


def refused(piece):
    raise ValueError("no such ride")


def late(piece):
    time.sleep(0.05)
    return piece


def test_a_cluster_gives_the_very_same_numbers(cluster):
    told = []
    assert in_parts(part, range(24), cluster, lambda *done: told.append(done), ahead=5) == in_parts(part, range(24))
    assert told[-1] == (24, 24)


def test_a_cluster_tells_what_failed(cluster):
    with pytest.raises(PartError, match=r"part 1 of 1 \(0\) failed: ValueError: no such ride"):
        in_parts(refused, range(1), cluster)


def test_work_on_a_cluster_can_be_stopped(cluster):
    done = []
    found = in_parts(late, range(400), cluster, lambda *so_far: done.append(so_far), lambda: len(done) >= 4)
    assert found == list(range(len(found)))
    assert 1 <= len(found) < 60
