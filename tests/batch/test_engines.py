"""The same table whoever does the work; workers that die; points that fail."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest

import sim
from sim.errors import InputError, MachineError
from sim.show.folders.batch_table import write_table
from sim.study.batch.file import read_study
from sim.study.batch.points import Batch, lay_out_points
from sim.study.batch.run import BatchProgress, open_store, run_study
from sim.study.batch.store import read_status
from sim.study.batch.task import Answer, Task
from sim.study.batch.tries import do_all
from sim.study.engine import Engine, SerialExecutor, open_engine
from tests.batch import poison
from tests.batch.trial import (
    ROWS,
    STUDY,
    command,
    digest,
    environment,
    lay_out_files,
    run_to_end,
    start,
)

SMALL = """
format = 1
title = "Small"
scenario = "site.toml"
replications = 2
[factors]
"all.timeout_s" = [60, 120, 240]
"sensors.range_m" = [5.0, 20.0]
"""


def small_batch(folder: Path) -> Batch:
    """Lay out the small study."""
    return lay_out_points(read_study(lay_out_files(folder, SMALL)))


def run_small(
    folder: Path, work: Callable[[Task], Answer] | None = None, **engine: object
) -> tuple[BatchProgress, str]:
    """Run the small study in the API; return how it ended and the digest of its table."""
    batch = small_batch(folder)
    more = {} if work is None else {"work": work}
    with open_store(folder / "store", "again") as store:
        state = run_study(batch, store, **more, **engine)  # type: ignore[arg-type]
        path, _ = write_table(batch, store, folder / "store", "csv")
    return state, digest(path)


@pytest.fixture(scope="module")
def expected(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return the digest of the small study's table, done serially."""
    return run_small(tmp_path_factory.mktemp("serial"), workers=0)[1]


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_the_number_of_workers_changes_no_byte(workers, expected, tmp_path):
    state, found = run_small(tmp_path, workers=workers)
    assert state.is_complete
    assert not state.failed
    assert found == expected


def test_any_executor_may_be_given(expected, tmp_path):
    with ThreadPoolExecutor(2) as executor:
        assert run_small(tmp_path, executor=executor, workers=2)[1] == expected
        assert executor.submit(int, "3").result() == 3, "it is the caller's to close"


def test_one_call_from_python_runs_a_study_and_goes_on_with_it(tmp_path):
    path = lay_out_files(tmp_path, SMALL)
    told: list[BatchProgress] = []
    with ThreadPoolExecutor(2) as executor:
        state = sim.run_batch(path, tmp_path / "store", executor=executor, workers=2, progress=told.append)
    assert state.is_complete
    assert [one.done for one in told][::4] == [0, 12]
    assert sim.run_batch(path, tmp_path / "store", workers=0).found == 12
    assert read_study(tmp_path / "store" / "study" / "study.toml").form.title == "Small"


@pytest.mark.parametrize("seed", ["0", "1", "2"])
def test_hash_seeds_change_no_byte(seed, expected, tmp_path):
    lay_out_files(tmp_path, SMALL)
    arguments = ["study", "study.toml", "--out", "store", "--export", "csv"]
    code, out, told = command(arguments, tmp_path, {"PYTHONHASHSEED": seed})
    assert code == 0, out + told
    assert digest(tmp_path / "store" / "results.csv") == expected


def test_another_model_gives_another_table(expected, tmp_path, monkeypatch):
    """The comparison can fail: half a second more latency is not the same table."""
    path = lay_out_files(tmp_path, SMALL)
    site = tmp_path / "site.toml"
    site.write_text(site.read_text().replace("latency_s = 0.5", "latency_s = 1.0"), encoding="utf-8")
    batch = lay_out_points(read_study(path))
    with open_store(tmp_path / "store", "again") as store:
        run_study(batch, store, workers=0)
        assert digest(write_table(batch, store, tmp_path, "csv")[0]) != expected


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="a worker is killed by signal 9")
def test_a_worker_that_dies_once_costs_nothing(expected, tmp_path, monkeypatch):
    monkeypatch.setenv(poison.ONCE, str(tmp_path / "died"))
    state, found = run_small(tmp_path, poison.die_once, workers=2)
    assert (tmp_path / "died").exists()
    assert state.is_complete
    assert found == expected


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="a worker is killed by signal 9")
def test_a_point_that_kills_is_named_and_the_others_are_done(expected, tmp_path):
    state, _ = run_small(tmp_path, poison.die_always, workers=2)
    batch = small_batch(tmp_path)
    killing = [place for place, point in enumerate(batch.points) if point[0] == poison.KILLING_TIMEOUT_S]
    assert set(state.failed) == {(point, number) for point in killing for number in range(2)}
    assert all("killed its worker process 3 times" in message for message in state.failed.values())
    assert state.done == state.planned - len(state.failed)
    # it is not tried again, until that is asked for
    again, _ = run_small(tmp_path, poison.die_always, workers=2)
    assert again.failed == state.failed
    mended, found = run_small(tmp_path, workers=2, retry_failed=True)
    assert not mended.failed
    assert found == expected


def test_a_point_that_fails_is_named_and_the_others_are_done(expected, tmp_path):
    state, _ = run_small(tmp_path, poison.fail, workers=0)
    assert {point for point, _ in state.failed} == {2, 3}
    assert set(state.failed.values()) == {"ZeroDivisionError: division by zero"}
    assert run_small(tmp_path, workers=0, retry_failed=True)[1] == expected


def die_at_once(task: Task) -> Answer:
    """Die on every task."""
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="a worker is killed by signal 9")
def test_workers_that_never_live_are_given_up(tmp_path, monkeypatch):
    monkeypatch.setattr("sim.study.batch.tries._MOST_IN_A_ROW", 4)
    with pytest.raises(MachineError, match="none has ever answered"):
        run_small(tmp_path, die_at_once, workers=2)


class Crashing(Executor):
    """Does work in this process, and breaks at every task that `kills` names, with all that is under way."""

    def __init__(self, kills: Callable[[int], bool], tried: list[tuple[int, ...]]) -> None:
        self.kills, self.tried, self.under_way = kills, tried, list[tuple[Future[int], int]]()

    def submit(self, fn: Callable[..., int], /, *words: int, **more: object) -> Future[int]:  # type: ignore[override]
        """Take a task; nothing is done before there are three, or one that nobody joins."""
        future: Future[int] = Future()
        self.under_way.append((future, words[0]))
        threading.Timer(0.02, self.do).start()
        return future

    def do(self) -> None:
        """Do all that is under way, or break."""
        batch, self.under_way = self.under_way, []
        if batch:
            self.tried.append(tuple(number for _, number in batch))
        is_broken = any(self.kills(number) for _, number in batch)
        for future, number in batch:
            if is_broken:
                future.set_exception(BrokenExecutor())
            else:
                future.set_result(number)


def test_nobody_is_given_up_for_the_deaths_of_others():
    """Every second task kills: each of them dies three times, no other one is blamed."""
    tried: list[tuple[int, ...]] = []
    engine = Engine(
        lambda: Crashing(lambda number: number % 2 == 1, tried),
        lambda: 3,
        lambda executor, is_hard: None,
        lambda: None,
        True,
    )
    answers = dict(do_all(engine, int, range(12), lambda task: [task], lambda answer: False))
    assert answers == {number: None if number % 2 else number for number in range(12)}
    for number in range(1, 12, 2):
        own = [batch for batch in tried if number in batch]
        assert len(own) == 3
        assert own[1] == own[2] == (number,), "after the first death it is tried alone"


def test_failed_points_end_the_command_with_3(tmp_path):
    lay_out_files(tmp_path, SMALL)
    run_small(tmp_path, poison.fail, workers=0)
    arguments = ["study", "study.toml", "--out", "store", "--workers", "0", "--export", "csv"]
    code, out, told = command(arguments, tmp_path)
    assert code == 3
    assert "4 failed" in out
    assert "(4 rows without figures)" in out
    assert "point 2 (" in told
    assert "all.timeout_s=120" in told
    assert "--retry-failed" in told
    code, _, told = command([*arguments, "--retry-failed"], tmp_path)
    assert code == 0, told


def test_a_broken_executor_of_the_callers_is_told(tmp_path):
    class Broken(Executor):
        def submit(self, *words: object, **more: object) -> object:  # type: ignore[override]
            raise BrokenExecutor

    with pytest.raises(MachineError, match="cannot be replaced"):
        run_small(tmp_path, executor=Broken())


def test_a_serial_executor_hands_errors_to_the_future():
    future = SerialExecutor().submit(int, "x")
    assert isinstance(future.exception(), ValueError)


def test_a_scheduler_that_is_not_there_is_told(tmp_path, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr("sim.study.engine._CONNECT_S", 0.5)
    with pytest.raises(MachineError, match="no scheduler answers there"):
        open_engine(dask="tcp://127.0.0.1:9")


def test_dask_is_an_extra(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"aislewake\[dask\]"):
        open_engine(dask="tcp://127.0.0.1:9")


@contextmanager
def cluster(workers: int, place: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Start a scheduler and workers as processes of their own on this machine, open to nobody else.

    Yields the scheduler's address and all the processes, the scheduler first.
    """
    shared = {"cwd": place, "env": environment(), "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    file = place / "scheduler.json"
    scheduler = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "distributed.cli.dask_scheduler",
            "--host",
            "127.0.0.1",
            "--port",
            "0",
            "--no-dashboard",
            "--no-show",
            "--scheduler-file",
            str(file),
        ],
        **shared,  # type: ignore[call-overload]
    )
    own: list[subprocess.Popen[bytes]] = []
    try:
        _wait_for(file.exists)
        for _ in range(workers):
            own.append(
                subprocess.Popen(
                    [
                        sys.executable,
                        "-m",
                        "distributed.cli.dask_worker",
                        "--scheduler-file",
                        str(file),
                        "--host",
                        "127.0.0.1",
                        "--nthreads",
                        "1",
                        "--no-nanny",
                        "--no-dashboard",
                    ],
                    **shared,  # type: ignore[call-overload]
                )
            )
        yield json.loads(file.read_text(encoding="utf-8"))["address"], [scheduler, *own]
    finally:
        for process in (*own, scheduler):
            process.kill()
            process.wait()


def _wait_for(is_so: Callable[[], bool], longest_s: float = 60.0) -> None:
    """Wait until something is so."""
    end = time.monotonic() + longest_s
    while not is_so():
        assert time.monotonic() < end
        time.sleep(0.1)


def test_a_cluster_gives_the_same_table_though_a_worker_is_killed(tmp_path):
    """Three worker processes under a real scheduler; one gets a kill -9 while the study runs."""
    pytest.importorskip("distributed")
    serial, spread = tmp_path / "serial", tmp_path / "cluster"
    lay_out_files(serial)
    lay_out_files(spread)
    run_to_end(["study", "study.toml", "--out", "store", "--workers", "2", "--export", "csv"], serial)
    with cluster(3, tmp_path) as (address, processes):
        batch = lay_out_points(read_study(spread / "study.toml"))
        killed = []

        def follow(state: BatchProgress) -> None:
            if state.done > 0 and not killed:
                killed.append(processes[1].pid)
                processes[1].kill()

        with open_store(spread / "store", "again") as store:
            state = run_study(batch, store, dask=address, progress=follow)
            table, _ = write_table(batch, store, spread, "csv")
        assert killed
        assert state.done == ROWS
        assert digest(table) == digest(serial / "store" / "results.csv")
        # the command itself, on a store that is complete but for what it adds
        code, out, told = command(["study", "study.toml", "--out", "other", "--dask", address], spread)
        assert code == 0, out + told
        assert f"{ROWS} are new" in out


@pytest.mark.skipif(sys.platform != "linux", reason="signals of Linux")
def test_a_cluster_is_left_at_an_interrupt_and_given_up_when_its_scheduler_is_gone(tmp_path):
    pytest.importorskip("distributed")
    lay_out_files(tmp_path, STUDY.replace("replications = 3", "replications = 60"))
    with cluster(2, tmp_path) as (address, processes):
        arguments = ["study", "study.toml", "--out", "store", "--dask", address]
        for end in ("interrupt", "scheduler"):
            process = start(arguments, tmp_path)
            before = read_status(tmp_path / "store").done if (tmp_path / "store").exists() else 0
            _wait_for(lambda before=before: _rows_in(tmp_path) > before)
            if end == "interrupt":
                os.killpg(process.pid, signal.SIGINT)
            else:
                processes[0].kill()
            out, told = process.communicate(timeout=60)
            assert "Traceback" not in out + told
            assert process.returncode == (130 if end == "interrupt" else 4), told
        assert "scheduler" in told
        assert "is gone; what was finished is kept" in told


def _rows_in(folder: Path) -> int:
    """Return how many rows a store holds that may not be there yet."""
    status = read_status(folder / "store") if (folder / "store").is_dir() else None
    return 0 if status is None else status.done
