"""Do independent pieces of work: in this process, in several, or on a cluster.

Comes in: a picklable function and its arguments.  Goes out: results, whatever the engine and the number of
workers.  After it: every study; `study/batch/tries` where single pieces may fail.  Processes are always
spawned (never forked), leave Ctrl-C to their parent, and end with their parent even if that is killed.
"""

from __future__ import annotations

import logging
import math
import multiprocessing
import os
import signal
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any, TypeVar

from sim.errors import InputError, MachineError

__all__ = ["Engine", "SerialExecutor", "map_in_order", "open_engine", "submit_quietly"]

Argument = TypeVar("Argument")
Answer = TypeVar("Answer")
_CONNECT_S = 10.0
_CLOSE_S = 0.3
_ASK_EVERY_S = 2.0
_LOGS = ("distributed", "distributed.client", "distributed.core", "distributed.comm", "tornado.application")


def _start_worker() -> None:
    """Leave Ctrl-C to the parent and end when it is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    assert parent is not None, "only children come here"

    def watch() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _open_pool(workers: int) -> ProcessPoolExecutor:
    """Return a pool of spawned processes."""
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(workers, mp_context=context, initializer=_start_worker)


@contextmanager
def _no_interrupt() -> Iterator[None]:
    """Hold Ctrl-C back for a moment; a process that starts meanwhile never gets it."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def submit_quietly(
    executor: Executor, function: Callable[[Argument], Answer], argument: Argument
) -> Future[Answer]:
    """Submit a piece of work; a worker that is started for it shows no traceback of a Ctrl-C while it starts.

    Parameters
    ----------
    executor : any
    function, argument : picklable where the executor needs it
    """
    if isinstance(executor, SerialExecutor):
        return executor.submit(function, argument)
    with _no_interrupt():
        return executor.submit(function, argument)


class SerialExecutor(Executor):
    """Do each piece of work at once, in this process."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Do it and return a future that is done; an error is the future's, an interrupt the caller's."""
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


@dataclass(frozen=True)
class Engine:
    """Where work is done.

    Attributes
    ----------
    make : return a new executor; called again after one broke
    width : how many pieces of work may be under way
    close : end an executor, at once if so told
    check : raises MachineError where nothing will ever come of what is under way
    may_reopen : whether a broken executor can be replaced
    """

    make: Callable[[], Executor]
    width: Callable[[], int]
    close: Callable[[Executor, bool], None]
    check: Callable[[], None]
    may_reopen: bool


def open_engine(*, workers: int = 1, dask: str | None = None, executor: Executor | None = None) -> Engine:
    """Return the engine for a number of workers, a Dask cluster, or an executor of the caller's.

    Parameters
    ----------
    workers : processes; 0 works in this one; with an executor, how many pieces it does at a time
    dask : address of a running scheduler, such as tcp://127.0.0.1:8786
    executor : any `concurrent.futures.Executor`; it is not closed

    Raises
    ------
    InputError : Dask is asked for and not installed
    MachineError : nobody answers at the address
    """
    if executor is not None:
        given = executor
        return Engine(lambda: given, lambda: 2 * max(1, workers), lambda _, is_hard: None, _nothing, False)
    if dask is not None:
        return _dask_engine(dask)
    if workers == 0:
        return Engine(SerialExecutor, lambda: 1, lambda _, is_hard: None, _nothing, True)
    others = set(multiprocessing.active_children())

    def close(pool: Executor, is_hard: bool) -> None:
        if is_hard:
            for child in set(multiprocessing.active_children()) - others:
                child.terminate()
        pool.shutdown(wait=True, cancel_futures=True)

    return Engine(lambda: _open_pool(workers), lambda: 2 * workers, close, _nothing, True)


def _dask_engine(address: str) -> Engine:
    """Connect to a scheduler that runs already."""
    try:
        import distributed
    except ImportError:
        raise InputError("--dask needs dask.distributed: pip install 'aislewake[dask]'") from None
    # what its log tells of a lost scheduler in tracebacks, `check` tells in a sentence
    for name in _LOGS:
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    connect: Callable[..., Any] = distributed.Client
    try:
        client = connect(address, timeout=_CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise MachineError(f"--dask {address}: no scheduler answers there ({error})") from error

    cluster = _Cluster(client, address)
    return Engine(client.get_executor, cluster.width, cluster.close, cluster.check, False)


class _Cluster:
    """A connection to a Dask scheduler."""

    def __init__(self, client: Any, address: str) -> None:
        self._client = client
        self._address = address
        self._threads = 1
        self._asked = -math.inf
        self._seen = time.monotonic()

    def width(self) -> int:
        """Return how many tasks may be under way; workers come and go, so it is asked now and then."""
        now = time.monotonic()
        if now - self._asked > _ASK_EVERY_S and self._client.status == "running":
            self._asked = now
            # a scheduler that goes away meanwhile is noticed by `check`
            with suppress(OSError):
                self._threads = sum(self._client.nthreads().values())
        return 2 * max(1, self._threads)

    def check(self) -> None:
        """Give up a scheduler that is gone for good."""
        now = time.monotonic()
        if self._client.status == "running":
            self._seen = now
        elif now - self._seen > _CONNECT_S:
            raise MachineError(f"the scheduler at {self._address} is gone; what was finished is kept")

    def close(self, executor: Executor, is_hard: bool) -> None:
        """Leave the cluster; what nobody waits for any more it forgets by itself."""
        if not is_hard:
            executor.shutdown(wait=True)
        with suppress(OSError, TimeoutError):
            self._client.close(timeout=_CLOSE_S)


def _nothing() -> None:
    """There is nothing to check."""


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
    engine = open_engine(workers=workers)
    pool = engine.make()
    under_way: deque[Future[Answer]] = deque()
    try:
        for argument in arguments:
            under_way.append(submit_quietly(pool, function, argument))
            if len(under_way) >= engine.width():
                yield under_way.popleft().result()
        while under_way:
            yield under_way.popleft().result()
    except BrokenProcessPool as error:
        raise MachineError(
            "a worker process died (out of memory, or killed from outside); fewer --workers need less memory"
        ) from error
    finally:
        # interrupted, failed or closed early: nobody waits for answers that nobody wants
        engine.close(pool, bool(under_way))
