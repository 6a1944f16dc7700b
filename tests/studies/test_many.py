"""Long work in parts: the same answers from every executor, told as it goes, and ended cleanly."""

import multiprocessing
import os
import threading
import time
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from functools import partial

import numpy as np
import pytest

from unikit.formulas import sampling
from unikit.studies.many import PartError, in_parts

PART = partial(sampling.points, 3, 32, 5)  # of the package itself, so that a process begun afresh finds it


def processes(workers=2):
    """Processes that share nothing with this one."""
    return ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"))


class Watched(Executor):
    """Threads that count what was handed out and not yet finished."""

    def __init__(self, workers=2):
        self.pool, self.most, self.open, self.futures = ThreadPoolExecutor(workers), 0, 0, []
        self.lock = threading.Lock()

    def submit(self, function, /, *args):
        with self.lock:
            self.open += 1
            self.most = max(self.most, self.open)
        future = self.pool.submit(function, *args)
        future.add_done_callback(self._done)
        self.futures.append(future)
        return future

    def _done(self, future: Future):
        with self.lock:
            self.open -= 1


def test_threads_and_processes_give_the_very_same_numbers():
    alone = np.array(in_parts(PART, range(12)))
    assert np.mean(np.sum(alone[..., :2] ** 2, axis=-1) < 1) == pytest.approx(np.pi / 4, abs=0.02)
    with ThreadPoolExecutor(3) as threads:
        assert np.array_equal(in_parts(PART, range(12), threads), alone)
    with processes() as pool:
        assert np.array_equal(in_parts(PART, range(12), pool, ahead=3), alone)
        assert np.array_equal(in_parts(PART, range(12), pool, ahead=100), alone)


def test_answers_come_in_order_though_late_parts_end_first():
    def slow_first(piece):
        time.sleep(0.05 if piece == 0 else 0)
        return piece

    with ThreadPoolExecutor(4) as threads:
        assert in_parts(slow_first, range(20), threads) == list(range(20))


def test_no_more_than_so_many_parts_are_open():
    watched = Watched()
    assert len(in_parts(lambda piece: piece, range(50), watched, ahead=4)) == 50
    assert watched.most == 4


@pytest.mark.parametrize("parallel", [False, True])
def test_progress_is_told_after_each_part(parallel):
    told = []
    with ThreadPoolExecutor(2) as threads:
        in_parts(lambda piece: piece, range(5), threads if parallel else None, told.append)
    assert told == [0.2, 0.4, 0.6, 0.8, 1.0]


@pytest.mark.parametrize("kind", [lambda: None, ThreadPoolExecutor, processes], ids=["here", "threads", "processes"])
def test_a_part_that_fails_is_named_with_its_reason(kind):
    executor = kind()
    with pytest.raises(PartError, match=r"part 4 of 9 \(-1\) failed: ValueError: replicate must be 0 or above, got -1") as caught:
        in_parts(PART, [0, 1, 2, -1, 4, 5, 6, 7, 8], executor)
    assert isinstance(caught.value.__cause__, ValueError)
    if executor:
        executor.shutdown()


@pytest.mark.parametrize("ahead", [1, 16])
def test_a_worker_that_dies_is_told(ahead):
    with processes(1) as pool, pytest.raises(PartError, match="failed: BrokenProcessPool"):
        in_parts(os._exit, [1] * 5, pool, ahead=ahead)


@pytest.mark.parametrize("parallel", [False, True])
def test_stopped_work_keeps_what_was_finished_in_a_row(parallel):
    begun = []

    def part(piece):
        begun.append(piece)
        time.sleep(0.002)
        return piece

    watched = Watched() if parallel else None
    found = in_parts(part, range(500), watched, stop=lambda: len(begun) >= 20)
    assert found == list(range(len(found)))
    assert 10 <= len(found) <= len(begun) < 60
    if parallel:
        assert watched.open == 0, "nothing is left running"


def test_an_interrupt_cancels_what_has_not_begun():
    watched, begun = Watched(1), []

    def part(piece):
        begun.append(piece)
        time.sleep(0.02)

    def interrupted(share):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        in_parts(part, range(50), watched, interrupted, ahead=10)
    watched.pool.shutdown()
    assert len(begun) <= 3
    assert sum(future.cancelled() for future in watched.futures) >= 7


def test_nothing_to_do_and_a_wrong_number():
    assert in_parts(abs, []) == []
    with ThreadPoolExecutor(1) as threads:
        assert in_parts(abs, [], threads) == []
    with pytest.raises(ValueError, match="ahead must be at least 1, got 0"):
        in_parts(abs, [1], ahead=0)
