"""The machine in trouble: interrupts, a second run, a full disk, failing system calls, a damaged store."""

from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sim.study.batch.files import DATABASE
from sim.study.batch.store import read_status
from tests.batch.trial import (
    POINTS,
    ROWS,
    STUDY,
    command,
    digest,
    lay_out_files,
    left_after,
    run_to_end,
    start,
)

RUN = ["study", "study.toml", "--out", "store", "--workers", "2"]
EXPORT = [*RUN, "--export", "csv"]
only_linux = pytest.mark.skipif(sys.platform != "linux", reason="signals, /proc and mounts of Linux")


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a finished study and its table."""
    folder = tmp_path_factory.mktemp("whole")
    lay_out_files(folder)
    run_to_end(EXPORT, folder)
    return folder


@pytest.fixture
def copy(whole: Path, tmp_path: Path) -> Path:
    """Return a copy of it to spoil."""
    shutil.copytree(whole, tmp_path / "copy")
    return tmp_path / "copy"


def expected(whole: Path) -> str:
    """Return the digest of the undisturbed table."""
    return digest(whole / "store" / "results.csv")


def wait_for_rows(folder: Path, least: int = 1, store: str = "store") -> None:
    """Wait until a running study has kept rows."""
    end = time.monotonic() + 60.0
    while time.monotonic() < end:
        status = read_status(folder / store) if (folder / store).is_dir() else None
        if status is not None and status.done >= least:
            return
        time.sleep(0.02)
    raise AssertionError("no rows came")


LONG = STUDY.replace("replications = 3", "replications = 60")


@only_linux
@pytest.mark.parametrize("workers", ["0", "2"])
def test_an_interrupt_ends_within_a_second_and_the_study_goes_on(workers, tmp_path):
    """Ctrl-C goes to the whole group, as a terminal sends it."""
    lay_out_files(tmp_path, LONG)
    process = start([*RUN[:-1], workers], tmp_path)
    wait_for_rows(tmp_path)
    begin = time.monotonic()
    os.killpg(process.pid, signal.SIGINT)
    out, told = process.communicate(timeout=10)
    assert time.monotonic() - begin < 1.0
    assert process.returncode == 130
    assert "Traceback" not in out + told
    assert "interrupted; " in told
    assert "aislewake study study.toml --out store" in told
    assert not left_after(process.pid)
    done = read_status(tmp_path / "store").done
    assert 0 < done < POINTS * 60
    lay_out_files(tmp_path)
    code, out, told = command(RUN, tmp_path)
    assert code == 0, told
    assert f"{ROWS} rows: " in out


@only_linux
def test_an_interrupt_while_workers_start_shows_no_traceback(tmp_path):
    lay_out_files(tmp_path, LONG)
    moments = random.Random(5)
    for number in range(4):
        process = start(["study", "study.toml", "--out", str(number), "--workers", "2"], tmp_path)
        end = time.monotonic() + 30.0
        while not (tmp_path / str(number) / "running.json").exists() and time.monotonic() < end:
            time.sleep(0.01)
        time.sleep(moments.uniform(0.0, 0.6))
        os.killpg(process.pid, signal.SIGINT)
        out, told = process.communicate(timeout=10)
        assert process.returncode == 130
        assert "Traceback" not in out + told


def test_a_second_run_stops_at_once_and_names_the_first(tmp_path):
    lay_out_files(tmp_path, LONG)
    first = start(RUN, tmp_path)
    try:
        wait_for_rows(tmp_path)
        begin = time.monotonic()
        code, out, told = command(RUN, tmp_path)
        spent_s = time.monotonic() - begin
        assert code == 4
        assert f"process {first.pid} on " in told
        assert "is running a study there" in told
        begin = time.monotonic()
        command(["study", "--help"], tmp_path)
        # beyond the start of Python, on a machine that has other work
        assert spent_s - (time.monotonic() - begin) < 1.0
        # status is told meanwhile, and does not get in the way
        code, out, told = command(["study", "study.toml", "--out", "store", "--status"], tmp_path)
        assert code == 0, told
        assert f"running: process {first.pid}" in out
        assert "rows/s, about " in out
        assert first.poll() is None
        # another store is another matter
        lay_out_files(tmp_path / "elsewhere")
        run_to_end(RUN, tmp_path / "elsewhere")
    finally:
        first.kill()
        first.communicate()


def test_status_of_what_was_never_begun_and_of_what_is_over(whole, tmp_path):
    lay_out_files(tmp_path)
    code, _, told = command(["study", "study.toml", "--out", "store", "--status"], tmp_path)
    assert code == 2
    assert "no study was begun there" in told
    code, out, _ = command(["study", "study.toml", "--out", "store", "--status"], whole)
    assert code == 0
    assert f"{ROWS} of {ROWS} rows (100.0%), 0 failed" in out
    assert out.rstrip().endswith("finished")


def _zero_page(data: bytearray) -> None:
    """Overwrite a page in the middle."""
    middle = len(data) // 2 // 4096 * 4096
    data[middle : middle + 4096] = bytes(4096)


def _random_bytes(data: bytearray) -> None:
    """Overwrite bytes all over the file."""
    spoil = random.Random(6)
    for _ in range(200):
        data[spoil.randrange(len(data))] = spoil.randrange(256)


def _cut(data: bytearray) -> None:
    """Lose the second half."""
    del data[len(data) // 2 :]


def _other_file(data: bytearray) -> None:
    """Be something else."""
    data[:] = b"a shopping list\n" * 100


def _empty(data: bytearray) -> None:
    """Be nothing."""
    data.clear()


@pytest.mark.parametrize("spoil", [_zero_page, _random_bytes, _cut, _other_file, _empty])
def test_a_damaged_store_is_moved_aside_and_the_study_goes_on(spoil, copy, whole):
    path = copy / "store" / DATABASE
    data = bytearray(path.read_bytes())
    spoil(data)
    path.write_bytes(bytes(data))
    (copy / "store" / "results.csv").unlink()
    code, out, told = command(EXPORT, copy)
    assert code == 4, out + told
    assert "is damaged" in told
    assert "Go on with: aislewake study study.toml --out store" in told
    assert (copy / "store" / f"{DATABASE}.corrupt").read_bytes() == bytes(data)
    code, out, told = command(EXPORT, copy)
    assert code == 0, out + told
    assert digest(copy / "store" / "results.csv") == expected(whole)


def test_a_value_changed_by_hand_is_noticed_and_the_others_are_kept(copy, whole):
    """The file is sound, so only the checksum of the row tells."""
    with sqlite3.connect(copy / "store" / DATABASE) as connection:
        changed = connection.execute("UPDATE figure SET value = value + 1 WHERE point = 3 AND outcome = 1")
        assert changed.rowcount == 3
        rows = connection.execute("SELECT count(*) FROM figure").fetchone()[0]
    connection.close()
    code, _, told = command(EXPORT, copy)
    assert code == 4
    assert "does not match its checksum" in told
    assert f"{rows - 3:,} of its rows could be read" in told
    code, out, _ = command(EXPORT, copy)
    assert code == 0
    assert f"{ROWS - 3} were there, 3 are new" in out
    assert digest(copy / "store" / "results.csv") == expected(whole)


def _mount(place: Path, size: str) -> bool:
    """Mount a small disk in memory; say whether that is allowed here."""
    place.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(place)], capture_output=True, check=False
    )
    return done.returncode == 0


@only_linux
def test_a_full_disk_ends_with_4_and_the_study_goes_on_when_there_is_room(whole, tmp_path):
    disk = tmp_path / "disk"
    if shutil.which("mount") is None or not _mount(disk, "144k"):
        pytest.skip("mounting needs more rights than this process has")
    try:
        lay_out_files(tmp_path)
        arguments = ["study", "study.toml", "--out", str(disk / "store"), "--workers", "2", "--export", "csv"]
        code, out, told = command(arguments, tmp_path)
        assert code == 4, out + told
        assert "Traceback" not in told
        assert str(disk / "store") in told
        assert "free space" in told
        assert "the same command goes on" in told
        subprocess.run(["mount", "-o", "remount,size=8m", str(disk)], check=True)
        code, out, told = command(arguments, tmp_path)
        assert code == 0, out + told
        assert " 0 were there" not in out, "what was finished before the disk was full is kept"
        assert digest(disk / "store" / "results.csv") == expected(whole)
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=False)


@only_linux
def test_a_full_disk_leaves_the_old_table_whole(whole, tmp_path):
    """There is room for the store, not for a second table beside the first."""
    disk = tmp_path / "disk"
    size_kb = (sum(path.stat().st_size for path in (whole / "store").rglob("*") if path.is_file()) >> 10) + 48
    if shutil.which("mount") is None or not _mount(disk, f"{size_kb}k"):
        pytest.skip("mounting needs more rights than this process has")
    try:
        lay_out_files(tmp_path)
        shutil.copytree(whole / "store", disk / "store")
        (disk / "filler").write_bytes(bytes(max(0, shutil.disk_usage(disk).free - 36_000)))
        arguments = ["study", "study.toml", "--out", str(disk / "store"), "--export", "csv"]
        code, out, told = command(arguments, tmp_path)
        assert code == 4, out + told
        assert digest(disk / "store" / "results.csv") == expected(whole)
        subprocess.run(["mount", "-o", "remount,size=8m", str(disk)], check=True)
        code, out, told = command(arguments, tmp_path)
        assert code == 0, out + told
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=False)


@only_linux
def test_a_limit_on_the_size_of_files_is_a_full_disk(whole, tmp_path):
    """As a user without rights can try it: no file may grow beyond 64 blocks of 1 kB."""
    lay_out_files(tmp_path)
    limited = ("bash", "-c", 'ulimit -f 64; exec "$@"', "bash")
    code, out, told = command(EXPORT, tmp_path, before=limited)
    assert code == 4, out + told
    assert "Traceback" not in told
    code, out, told = command(EXPORT, tmp_path)
    assert code == 0, out + told
    assert digest(tmp_path / "store" / "results.csv") == expected(whole)


def _can_trace() -> bool:
    """Say whether system calls can be made to fail here."""
    if shutil.which("strace") is None:
        return False
    tried = ["strace", "-f", "-o", os.devnull, "-e", "inject=fsync:error=EIO:when=1", "true"]
    return subprocess.run(tried, capture_output=True, check=False).returncode == 0


INJECTED = (
    ("write", "ENOSPC", (3,), (1, 6, 12)),
    ("pwrite64", "ENOSPC", (2, 40), (1, 5, 20, 60, 150)),
    ("fsync", "EIO", (3,), (1, 2, 4)),
    ("fdatasync", "EIO", (2,), (1, 3)),
    ("rename", "EACCES", (2,), (1, 4)),
    ("ftruncate", "EIO", (1,), (2,)),
)
"""System call, its error, which one fails in the quick checks, and in the longer ones."""


def _alone(folder: Path, inject: str = "", call: str = "") -> tuple[int, str, str]:
    """Run the study in one process, so that the calls that are counted are the run's own."""
    trace = ("strace", "-f", "-o", os.devnull, "-e", f"trace={call}", "-e", inject) if inject else ()
    return command(
        ["study", "study.toml", "--out", "store", "--workers", "0", "--export", "csv"], folder, before=trace
    )


def _spoil_call(call: str, what: str, moments: tuple[int, ...], place: Path, whole: Path) -> None:
    """Spoil the N-th call of a run: no file is torn, and the next run gives the same table."""
    if not _can_trace():
        pytest.skip("strace is not here, or may not trace")
    for number in moments:
        folder = place / str(number)
        lay_out_files(folder)
        code, out, told = _alone(folder, f"inject={call}:{what}:when={number}", call)
        assert code in (0, 4) or what.startswith("signal"), out + told
        assert "Traceback" not in told, told
        table = folder / "store" / "results.csv"
        assert not table.exists() or digest(table) == expected(whole)
        code, out, told = _alone(folder)
        assert code == 0, out + told
        assert digest(table) == expected(whole)
        left = {path.name for path in (folder / "store").iterdir()} - {".lock"}
        assert left == {"results.csv", DATABASE, "study"}


@only_linux
@pytest.mark.parametrize(("call", "fault", "moments", "_"), INJECTED, ids=lambda word: str(word))
def test_a_failing_system_call_tears_no_file(call, fault, moments, _, whole, tmp_path):
    """The N-th call fails: the run ends with 4 or gets through; the next one always gives the same table."""
    _spoil_call(call, f"error={fault}", moments, tmp_path, whole)


@pytest.mark.slow
@only_linux
@pytest.mark.parametrize(("call", "fault", "_", "moments"), INJECTED, ids=lambda word: str(word))
def test_more_failing_system_calls_tear_no_file(call, fault, _, moments, whole, tmp_path):
    _spoil_call(call, f"error={fault}", moments, tmp_path, whole)


@only_linux
def test_a_kill_at_a_system_call_tears_no_file(whole, tmp_path):
    _spoil_call("pwrite64", "signal=KILL", (3, 60), tmp_path, whole)


@pytest.mark.slow
@only_linux
@pytest.mark.parametrize("call", ["write", "pwrite64", "fsync", "rename"])
def test_more_kills_at_system_calls_tear_no_file(call, whole, tmp_path):
    _spoil_call(call, "signal=KILL", (1, 2, 5, 11), tmp_path, whole)


def test_a_folder_that_is_something_else_is_left_alone(tmp_path):
    lay_out_files(tmp_path)
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "cat.png").write_bytes(b"x")
    code, _, told = command(["study", "study.toml", "--out", "photos"], tmp_path)
    assert code == 2
    assert "holds cat.png and no study" in told
    assert sorted(path.name for path in (tmp_path / "photos").iterdir()) == ["cat.png"]
    code, _, told = command(["study", "study.toml", "--out", "site.toml"], tmp_path)
    assert code == 2
    assert "is not a folder" in told
