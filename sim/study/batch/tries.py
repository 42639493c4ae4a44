"""Work of which single pieces may kill their worker: tried again, taken apart, and given up by name.

Comes in: tasks and an `Engine`.  Goes out: each task with its answer, or None where it killed its worker
three times.  Before: `study/engine`; after: `study/batch/run`.

When a worker dies nobody knows which of the tasks under way did it.  So each of them is tried again by
itself; one that kills again is taken apart into single points, and a single point that was there at three
deaths is given up.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, Executor, Future, wait
from typing import TypeVar

from sim.errors import MachineError
from sim.study.engine import Engine, submit_quietly

__all__ = ["MOST_TRIES", "do_all"]

MOST_TRIES = 3
"""Deaths after which a single point is given up."""

_MOST_IN_A_ROW = 20
"""Pools that may break before the first answer of all; then no worker lives, whatever it is given."""
_NOBODY_LIVES = (
    f"{_MOST_IN_A_ROW} worker processes died in a row and none has ever answered; from a script of your own, "
    'start studies under if __name__ == "__main__"'
)
_PATIENCE_S = 0.2
"""So that a Ctrl-C is noticed where waiting cannot be interrupted."""

Task = TypeVar("Task")
Answer = TypeVar("Answer")


def do_all(
    engine: Engine,
    function: Callable[[Task], Answer],
    tasks: Iterable[Task],
    split: Callable[[Task], Sequence[Task]],
    is_fault: Callable[[Answer], bool],
) -> Generator[tuple[Task, Answer | None], None, None]:
    """Yield each task with its answer, as they come.

    Parameters
    ----------
    engine : from `open_engine`
    function : picklable
    tasks : taken only as workers come free
    split : take a task apart; one that cannot be is its own only part
    is_fault : whether an answer tells of a fault; then the task is taken apart too

    Raises
    ------
    MachineError : a worker died and cannot be replaced, or the cluster is gone
    """
    coming = iter(tasks)
    parts: deque[Task] = deque()
    suspects: deque[tuple[Task, int]] = deque()
    under_way: dict[Future[Answer], tuple[Task, int]] = {}
    executor = engine.make()
    is_over = False
    broken, answered = 0, False

    def sort_out(future: Future[Answer]) -> Iterator[tuple[Task, Answer | None]]:
        nonlocal answered
        task, tries = under_way.pop(future)
        deaths, _ = _deaths(future)
        if deaths:
            yield from _suspect(task, tries + deaths, split, suspects)
            return
        answered = True
        if is_fault(answer := future.result()) and len(own := split(task)) > 1:
            parts.extend(own)
        else:
            yield task, answer

    try:
        while True:
            if suspects and not under_way:
                task, tries = suspects.popleft()
                _start(executor, function, task, tries, under_way)
            elif not suspects and not any(tries for _, tries in under_way.values()):
                while len(under_way) < engine.width():
                    try:
                        task = parts.popleft() if parts else next(coming)
                    except StopIteration:
                        break
                    _start(executor, function, task, 0, under_way)
            if not under_way:
                break
            done, _ = wait(under_way, _PATIENCE_S, FIRST_COMPLETED)
            engine.check()
            if any(_deaths(future)[1] for future in done):
                # whatever else was under way died with the pool, or its answer has come already
                done, _ = wait(under_way)
                if not engine.may_reopen:
                    raise MachineError("the executor broke: a worker died and cannot be replaced from here")
                broken += 1
                if broken >= _MOST_IN_A_ROW and not answered:
                    raise MachineError(_NOBODY_LIVES)
                engine.close(executor, True)
                executor = engine.make()
            for future in done:
                yield from sort_out(future)
        is_over = True
    finally:
        engine.close(executor, not is_over)


def _start(
    executor: Executor,
    function: Callable[[Task], Answer],
    task: Task,
    tries: int,
    under_way: dict[Future[Answer], tuple[Task, int]],
) -> None:
    """Submit a task; a pool that broke unnoticed takes none, and its task counts as dead with it."""
    try:
        future = submit_quietly(executor, function, task)
    except BrokenExecutor as error:
        future = Future()
        future.set_exception(error)
        tries -= 1
    under_way[future] = task, tries


def _deaths(future: Future[Answer]) -> tuple[int, bool]:
    """Return how many workers died of a task, and whether the pool died with them.

    Raises
    ------
    MachineError : the cluster is gone
    Exception : whatever else the function raised
    """
    error = None if future.cancelled() else future.exception()
    if future.cancelled() or isinstance(error, CancelledError) or type(error).__name__ == "CommClosedError":
        raise MachineError("the cluster's scheduler is gone; what was finished is kept")
    if isinstance(error, BrokenExecutor):
        return 1, True
    if type(error).__name__ == "KilledWorker":  # Dask has tried several times by itself
        return MOST_TRIES - 1, False
    if error is not None:
        raise error
    return 0, False


def _suspect(
    task: Task, tries: int, split: Callable[[Task], Sequence[Task]], suspects: deque[tuple[Task, int]]
) -> Iterator[tuple[Task, None]]:
    """Put a task that was there at a death back, in parts where it died by itself, or give it up."""
    if tries >= MOST_TRIES - 1:
        parts = split(task)
        if len(parts) > 1:
            suspects.extend((part, MOST_TRIES - 1) for part in parts)
            return
    if tries >= MOST_TRIES:
        yield task, None
        return
    suspects.append((task, tries))
