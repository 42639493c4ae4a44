"""Do independent pieces of work in order, in this process or in several.

Comes in: a picklable function and its arguments.  Goes out: results in the order of the arguments,
whatever the number of workers.  Workers are always spawned (never forked), ignore Ctrl-C, which their
parent handles, and end with their parent even if that is killed.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import TypeVar

from sim.errors import MachineError

__all__ = ["map_in_order"]

Argument = TypeVar("Argument")
Answer = TypeVar("Answer")


def _start_worker() -> None:
    """Leave Ctrl-C to the parent and end when it is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()

    def watch() -> None:
        if parent is not None:
            parent.join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def map_in_order(
    function: Callable[[Argument], Answer], arguments: Iterable[Argument], workers: int
) -> Iterator[Answer]:
    """Yield function(argument) for each argument, in order.

    The arguments may be endless: at most two per worker are under way beyond what the caller has taken;
    closing the iterator cancels the rest.

    Parameters
    ----------
    function, arguments : picklable where there are several workers
    workers : number of processes; 1 works in this one

    Raises
    ------
    MachineError : a worker died
    """
    if workers == 1:
        yield from map(function, arguments)
        return
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(workers, mp_context=context, initializer=_start_worker)
    under_way: deque[Future[Answer]] = deque()
    try:
        for argument in arguments:
            under_way.append(pool.submit(function, argument))
            if len(under_way) >= 2 * workers:
                yield under_way.popleft().result()
        while under_way:
            yield under_way.popleft().result()
    except BrokenProcessPool as error:
        raise MachineError(
            "a worker process died (out of memory, or killed from outside); fewer --workers need less memory"
        ) from error
    finally:
        # interrupted, failed or closed early: nobody waits for answers that nobody wants
        if under_way:
            for child in multiprocessing.active_children():
                child.terminate()
        pool.shutdown(wait=True, cancel_futures=True)
