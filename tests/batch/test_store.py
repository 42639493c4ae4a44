"""The store without a simulation: damage, leftovers, half a transaction, other models, dead workers."""

from __future__ import annotations

import os
import re
import sqlite3
from collections.abc import Callable
from contextlib import closing, nullcontext
from pathlib import Path
from typing import Any

import pytest

from sim.errors import InputError, MachineError
from sim.provenance import MODEL_VERSION
from sim.study.batch.file import read_study
from sim.study.batch.files import DATABASE, put_whole
from sim.study.batch.points import Batch, lay_out_points
from sim.study.batch.run import compute_point, open_store, run_study
from sim.study.batch.store import DamagedError, Figures, Store, read_status
from sim.study.batch.task import Answer, Task
from sim.study.batch.tries import do_all
from sim.study.engine import Engine, SerialExecutor, open_engine
from tests.batch.trial import lay_out_files

KEYS = ("a" * 64, "b" * 64)
CHANGE = "UPDATE figure SET value = 9"
TWO = (
    'format = 1\ntitle = "Two"\nscenario = "site.toml"\nreplications = 1\noutcomes = ["energy_kwh"]\n'
    '[factors]\n"all.timeout_s" = [60, 120]\n'
)


def figures(key: str, replication: int, *values: float) -> Figures:
    """Made-up figures of one point."""
    named = zip(("energy_kwh", "switch_ups"), values, strict=True)
    return Figures(key, 3, replication, dict(named), 0.5, {"model": "1"})


def make_store(folder: Path) -> None:
    """A store with two points of two replications, two figures each."""
    with open_store(folder, "again") as store:
        store.put([figures(key, number, 1.5 + number, 7.0) for key in KEYS for number in (0, 1)], {})


def change(folder: Path, statement: str) -> None:
    """Change a database by hand."""
    with closing(sqlite3.connect(folder / DATABASE)) as connection, connection:
        connection.execute(statement)


def batch_of(folder: Path) -> Batch:
    """A study of two points."""
    return lay_out_points(read_study(lay_out_files(folder, TWO)))


def test_what_is_put_is_found_again(tmp_path: Path) -> None:
    make_store(tmp_path)
    with open_store(tmp_path, "again") as store:
        assert store.figures(KEYS[1]) == {
            0: {"energy_kwh": 1.5, "switch_ups": 7.0},
            1: {"energy_kwh": 2.5, "switch_ups": 7.0},
        }
        assert store.complete(KEYS[1], ("energy_kwh",)) == {0, 1}
        assert store.complete(KEYS[1], ("energy_kwh", "visits")) == set()


@pytest.mark.parametrize(
    ("statement", "words", "kept"),
    [
        ("UPDATE state SET value = '2' WHERE name = 'format'", "it does not say which format it has", 8),
        ("DELETE FROM state", "it does not say which format it has", 8),
        (f"{CHANGE} WHERE replication = 1 AND outcome = 1", "does not match its checksum", 6),
        ("DROP TABLE outcome", "no such table", 0),
    ],
)
def test_a_store_that_is_not_what_was_written_is_moved_aside(
    statement: str, words: str, kept: int, tmp_path: Path
) -> None:
    """Twice: what was moved aside before stays, and half a database of an earlier try is in nobody's way."""
    make_store(tmp_path)
    for name in (".corrupt", ".corrupt-2"):
        change(tmp_path, statement)
        (tmp_path / f"{DATABASE}.new-journal").write_bytes(b"left by a kill")
        spoilt = (tmp_path / DATABASE).read_bytes()
        with pytest.raises(MachineError, match=words) as caught, open_store(tmp_path, "again"):
            pass
        told = str(caught.value)
        assert f"it was moved to {DATABASE}{name}, " in told
        assert f" {kept} of its rows could be read and are kept. Go on with: again" in told
        assert (tmp_path / f"{DATABASE}{name}").read_bytes() == spoilt
        assert not list(tmp_path.glob(f"{DATABASE}.new*"))
        with open_store(tmp_path, "again") as store:
            assert len(list(store.rows())) == kept
            store.put([figures(key, number, 1.5 + number, 7.0) for key in KEYS for number in (0, 1)], {})


def test_a_row_changed_while_the_store_is_open_is_noticed(tmp_path: Path) -> None:
    make_store(tmp_path)

    def look_twice() -> None:
        with open_store(tmp_path, "again") as store:
            assert store.figures(KEYS[0])[0]["energy_kwh"] == 1.5
            change(tmp_path, f"{CHANGE} WHERE replication = 0 AND outcome = 1")
            store.figures(KEYS[0])

    with pytest.raises(MachineError, match=r"does not match its checksum.* 6 of its rows could be read"):
        look_twice()


def test_half_a_transaction_is_none(tmp_path: Path) -> None:
    """The second row cannot be written: the first is not kept either, nor the number of its new outcome."""
    make_store(tmp_path)
    new = Figures("c" * 64, 3, 0, {"visits": 4.0}, 0.5, {"model": "1"})
    odd = Figures("d" * 64, 3, 0, {"visits": "x"}, 0.5, {"model": "1"})  # type: ignore[dict-item]
    with open_store(tmp_path, "again") as store:
        with pytest.raises(TypeError):
            store.put([new, odd], {})
        assert len(list(store.rows())) == 8
        assert store.figures(new.key) == {}
        store.put([new], {})
        assert store.figures(new.key) == {0: {"visits": 4.0}}
        store.check_rows()


def test_how_far_a_damaged_store_is_nobody_knows(tmp_path: Path) -> None:
    assert read_status(tmp_path) is None
    make_store(tmp_path)
    assert read_status(tmp_path) is None, "no study has noted anything yet"
    (tmp_path / DATABASE).write_bytes(b"a shopping list\n" * 100)
    with pytest.raises(MachineError, match=r"is damaged .*running the study again moves it aside"):
        read_status(tmp_path)


def test_what_a_killed_run_was_writing_is_cleared_away(tmp_path: Path) -> None:
    make_store(tmp_path)
    (tmp_path / ".writing-half").write_text("half a tab", encoding="utf-8")
    (tmp_path / "results.csv").write_text("whole", encoding="utf-8")
    with open_store(tmp_path, "again"):
        assert not (tmp_path / ".writing-half").exists()
        assert (tmp_path / "running.json").exists()
    assert {path.name for path in tmp_path.iterdir()} - {".lock"} == {DATABASE, "results.csv"}


class _Windows:
    """`os` where folders cannot be opened."""

    name = "nt"

    def __getattr__(self, name: str) -> Any:
        return getattr(os, name)

    def open(self, path: Path, flags: int) -> int:
        """Open a file, and no folder."""
        if path.is_dir():
            raise PermissionError(13, "Permission denied")
        return os.open(path, flags)


def test_a_file_is_put_in_place_where_folders_cannot_be_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sim.study.batch.files.os", _Windows())
    put_whole(tmp_path / "a.txt", "whole\n")
    assert (tmp_path / "a.txt").read_bytes() == b"whole\n"
    # the stand-in refuses folders: where the system is said to be another one, nothing is written
    monkeypatch.setattr(_Windows, "name", "posix")
    with pytest.raises(MachineError, match="Permission denied"):
        put_whole(tmp_path / "b.txt", "whole\n")


def other_model(task: Task) -> Answer:
    """Answer as an older version on another machine would."""
    return Answer({"energy_kwh": [1.0] * len(task)}, 0.1, {"model": "0"}, "", "")


def test_a_machine_with_another_model_is_told_and_none_of_its_rows_kept(tmp_path: Path) -> None:
    batch = batch_of(tmp_path)
    with open_store(tmp_path / "store", "again") as store:
        with pytest.raises(MachineError, match=f"a worker runs model 0, this is model {MODEL_VERSION};"):
            run_study(batch, store, workers=0, work=other_model)
        assert list(store.rows()) == []


def test_a_point_that_fails_by_itself_is_told_by_its_key(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = batch_of(tmp_path)
    fault = Answer({}, 0.0, {}, "ZeroDivisionError: division by zero", "Traceback ...")
    monkeypatch.setattr("sim.study.batch.run.do_task", lambda task: fault)
    words = re.escape(f"point {batch.hashes[1][:16]}: ZeroDivisionError: division by zero")
    with pytest.raises(InputError, match=words):
        list(compute_point(batch, 1, [0]))


class KilledWorker(Exception):  # noqa: N818 - the name is what it is known by
    """What Dask says of a task whose workers died, several times; it is known by its name."""


def _all(function: Callable[[int], int], split: Callable[[int], list[int]]) -> dict[int, int | None]:
    """Do five tasks in this process."""
    engine = open_engine(workers=0)
    return dict(do_all(engine, function, range(5), split, lambda answer: False))


def test_a_task_that_kills_the_workers_of_a_cluster_is_given_up_alone() -> None:
    """Dask has tried it several times: once more by itself, in parts, and that is enough."""
    tried: list[int] = []

    def work(number: int) -> int:
        tried.append(number)
        if number % 10 == 3:
            raise KilledWorker
        return number

    assert _all(work, lambda task: [task]) == {0: 0, 1: 1, 2: 2, 3: None, 4: 4}
    assert tried.count(3) == 2
    # of a task that can be taken apart, only the part that kills is given up
    found = _all(work, lambda task: [13, 23, 50] if task == 3 else [task])
    assert found == {0: 0, 1: 1, 2: 2, 4: 4, 13: None, 23: None, 50: 50}


def test_any_other_error_of_the_work_is_a_bug_and_ends_the_run() -> None:
    def work(number: int) -> int:
        return 1 // (number - 3)

    with pytest.raises(ZeroDivisionError):
        _all(work, lambda task: [task])


@pytest.mark.parametrize(("least", "is_hard"), [(0, True), (9, False)])
def test_an_engine_is_closed_at_once_after_an_error(least: int, is_hard: bool) -> None:
    ends: list[bool] = []
    engine = Engine(SerialExecutor, lambda: 1, lambda _, is_hard: ends.append(is_hard), lambda: None, True)
    with pytest.raises(ZeroDivisionError) if is_hard else nullcontext():
        dict(do_all(engine, lambda number: 1 // (number + least), range(3), lambda task: [task], bool))
    assert ends == [is_hard]


def test_an_empty_file_is_no_store(tmp_path: Path) -> None:
    (tmp_path / DATABASE).write_bytes(b"")
    with pytest.raises(DamagedError, match="the file is empty"):
        Store(tmp_path)
