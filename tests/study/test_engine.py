"""Engines by themselves: systems without signal masks, schedulers that come and go."""

from __future__ import annotations

import signal
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import pytest

from sim.errors import MachineError
from sim.study.engine import _Cluster, submit_quietly


def test_work_is_submitted_where_signals_cannot_be_masked(monkeypatch: pytest.MonkeyPatch) -> None:
    """As on Windows: an interrupt is not held back, and that is all."""
    with ThreadPoolExecutor(1) as executor:
        assert submit_quietly(executor, int, "3").result() == 3
        monkeypatch.delattr(signal, "pthread_sigmask", raising=False)
        assert submit_quietly(executor, int, "4").result() == 4


class _Client:
    """A connection to a scheduler that can go away."""

    def __init__(self) -> None:
        self.status = "running"
        self.threads = {"a": 2, "b": 1}

    def nthreads(self) -> dict[str, int]:
        """Threads of each worker."""
        if self.status != "running":
            raise OSError("gone")
        return self.threads


def test_a_scheduler_is_waited_for_and_then_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten seconds without it are borne, more are not; it may come back in between."""
    clock = SimpleNamespace(now=100.0)
    monkeypatch.setattr("sim.study.engine.time", SimpleNamespace(monotonic=lambda: clock.now))
    client = _Client()
    cluster = _Cluster(client, "tcp://127.0.0.1:8786")
    assert cluster.width() == 6, "two tasks for each of three threads"
    for wait_s, status in ((60.0, "running"), (9.0, "connecting"), (0.5, "connecting"), (5.0, "running")):
        clock.now += wait_s
        client.status = status
        cluster.check()
    client.status = "connecting"
    clock.now += 10.0
    cluster.check()
    assert cluster.width() == 6, "what was known last, while nobody answers"
    clock.now += 0.1
    with pytest.raises(MachineError, match=r"the scheduler at tcp://127\.0\.0\.1:8786 is gone; what was"):
        cluster.check()


def test_workers_that_come_are_seen_after_a_while(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = SimpleNamespace(now=100.0)
    monkeypatch.setattr("sim.study.engine.time", SimpleNamespace(monotonic=lambda: clock.now))
    client = _Client()
    cluster = _Cluster(client, "there")
    assert cluster.width() == 6
    client.threads = {}
    assert cluster.width() == 6, "not asked again at once"
    clock.now += 2.1
    assert cluster.width() == 2, "a cluster without workers may get one task to wait for them"
