"""Long work in parts: here, or by any executor, with the same numbers in the same order.

A part is a function of one piece of the work, such as 256 rides.  Pieces are
cut beforehand and never by how many workers there are, so an answer does not
depend on who computed it.  The function and its pieces are pickled where the
executor has processes or machines of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from typing import Any, TypeVar

P = TypeVar("P")
R = TypeVar("R")
Progress = Callable[[float], Any]

AHEAD = 16  # parts handed out at a time, so that memory does not grow with the work
LOOK = 0.2  # s between looks at whether to stop


class PartError(RuntimeError):
    """A part of a long work that failed; the error itself is its cause."""


class Stopped(RuntimeError):
    """Work that was stopped before there was enough for an answer."""


def in_parts(
    function: Callable[[P], R],
    pieces: Sequence[P],
    executor: Executor | None = None,
    progress: Progress | None = None,
    stop: Callable[[], bool] | None = None,
    ahead: int = AHEAD,
) -> list[R]:
    """The answers of all pieces in their order; or of the first so many, once ``stop`` has said so.

    Args:
        function: computes one piece.
        pieces: what to hand to it, one at a time.
        executor: any executor of the standard library's kind, such as processes or that of a cluster; None computes here.
        progress: called with the share of the parts that is done, after each.
        stop: asked again and again; once it says yes nothing more is begun, and what was finished in a row is the answer.
        ahead: how many parts an executor is given at a time.

    A part that fails ends the work with a :class:`PartError` that says which
    one and why.  Whatever ends it early (also Ctrl-C, or an error of ``progress``),
    parts that have not begun are cancelled.

    >>> in_parts(abs, [-1, 2, -3])
    [1, 2, 3]
    """
    if ahead < 1:
        raise ValueError(f"ahead must be at least 1, got {ahead}")
    tell, asked = progress or (lambda share: None), stop or (lambda: False)
    if executor is None:
        return _here(function, pieces, tell, asked)
    return _by(executor, function, pieces, tell, asked, ahead)


def _here(function: Callable[[P], R], pieces: Sequence[P], tell: Progress, asked: Callable[[], bool]) -> list[R]:
    found: list[R] = []
    for place, piece in enumerate(pieces):
        if asked():
            break
        try:
            found.append(function(piece))
        except Exception as error:
            raise _failed(place, pieces, error) from error
        tell((place + 1) / len(pieces))
    return found


def _by(
    executor: Executor, function: Callable[[P], R], pieces: Sequence[P], tell: Progress, asked: Callable[[], bool], ahead: int
) -> list[R]:
    found: dict[int, R] = {}
    running: dict[Future[R], int] = {}
    begun, stopped = 0, False
    try:
        while (begun < len(pieces) and not stopped) or running:
            stopped = stopped or asked()
            if stopped:  # what cannot be cancelled any more is waited for
                running = {future: place for future, place in running.items() if not future.cancel()}
            while not stopped and begun < len(pieces) and len(running) < ahead:
                try:
                    running[executor.submit(function, pieces[begun])] = begun
                except Exception as error:  # no workers are left
                    raise _failed(begun, pieces, error) from error
                begun += 1
            for future in wait(running, LOOK, FIRST_COMPLETED).done:
                place = running.pop(future)
                try:
                    found[place] = future.result()
                except Exception as error:
                    raise _failed(place, pieces, error) from error
                tell(len(found) / len(pieces))
    finally:
        for future in running:
            future.cancel()
    row = 0
    while row in found:
        row += 1
    return [found[place] for place in range(row)]


def _failed(place: int, pieces: Sequence[Any], error: Exception) -> PartError:
    return PartError(f"part {place + 1} of {len(pieces)} ({pieces[place]}) failed: {type(error).__name__}: {error}")
