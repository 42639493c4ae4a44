"""Kill -9 at random moments: no finished row is lost, no process is left, the table is the same to the byte.

The kills come from a fixed stream of random moments spread over the whole run, start-up and table included.
"""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path

import pytest

from sim.study.batch.store import read_status
from tests.batch.trial import ROWS, command, digest, kill_hard, lay_out_files, run_to_end, start

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="counts processes in /proc")

STUDY_COMMAND = ["study", "study.toml", "--out", "store", "--workers", "2", "--export", "csv"]


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, float]:
    """Return the digest of the table of a run that nobody disturbs, and how long it took [s]."""
    folder = tmp_path_factory.mktemp("undisturbed")
    lay_out_files(folder)
    begin = time.monotonic()
    run_to_end(STUDY_COMMAND, folder)
    return digest(folder / "store" / "results.csv"), time.monotonic() - begin


def _done(folder: Path) -> int:
    """Return how many rows the store holds."""
    status = read_status(folder / "store") if (folder / "store").is_dir() else None
    return 0 if status is None else status.done


def _kill_until(count: int, seed: int, undisturbed: tuple[str, float], place: Path) -> None:
    """Kill runs of the study so often, beginning anew whenever one gets to its end."""
    expected, length_s = undisturbed
    moments = random.Random(seed)
    kills, stores = 0, 0
    while kills < count:
        stores += 1
        folder = place / str(stores)
        lay_out_files(folder)
        done = 0
        while kills < count:
            process = start(STUDY_COMMAND, folder)
            time.sleep(moments.uniform(0.2, length_s))
            if process.poll() is not None:
                assert process.returncode == 0, process.communicate()[1]
                break
            assert kill_hard(process) == set(), "orphans"
            kills += 1
            now = _done(folder)
            assert now >= done, "finished rows were lost"
            done = now
        run_to_end(STUDY_COMMAND, folder)
        assert _done(folder) == ROWS
        assert digest(folder / "store" / "results.csv") == expected
        assert not list((folder / "store").glob(".writing-*"))


def test_twenty_kills(undisturbed, tmp_path):
    _kill_until(20, 1, undisturbed, tmp_path)


@pytest.mark.slow
def test_two_hundred_kills(undisturbed, tmp_path):
    _kill_until(200, 2, undisturbed, tmp_path)


COMMANDS = {
    "run": ["run", "site.toml", "--replications", "2", "--out", "out"],
    "sweep": ["sweep", "site.toml", "--vary", "day.timeout_s=60,300", "--replications", "2", "--out", "out"],
    "page": ["page", "site.toml", "--replications", "2", "--out", "out"],  # one file, not a folder
}


def _has(name: str) -> bool:
    """Say whether there is such a command."""
    from sim.cli import aislewake

    return name in aislewake.commands


def _listing(place: Path) -> dict[str, int]:
    """Return the files of a results folder, or the one file, with their sizes."""
    found = [place] if place.is_file() else sorted(path for path in place.rglob("*") if path.is_file())
    return {str(path.relative_to(place)): path.stat().st_size for path in found}


def _kill_results(name: str, count: int, seed: int, place: Path) -> None:
    """Kill a command that writes a folder: the folder is whole or is not there."""
    if not _has(name):
        pytest.skip(f"there is no command {name}")
    lay_out_files(place)
    begin = time.monotonic()
    code, out, told = command(COMMANDS[name], place)
    length_s = time.monotonic() - begin
    assert code == 0, out + told
    whole = _listing(place / "out")
    moments = random.Random(seed)
    for number in range(count):
        folder = place / str(number)
        lay_out_files(folder)
        process = start(COMMANDS[name], folder)
        # most of them while files are drawn and written
        time.sleep(moments.uniform(0.4, 1.05) * length_s)
        assert kill_hard(process) == set()
        if (folder / "out").exists():
            found = _listing(folder / "out")
            assert found.keys() == whole.keys()
            # a report tells when it was made, so that sizes may differ by little
            assert all(found[file] == pytest.approx(size, rel=0.02) for file, size in whole.items())


@pytest.mark.parametrize("name", COMMANDS)
def test_a_results_folder_is_whole_or_absent(name, tmp_path):
    _kill_results(name, 2, 3, tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("name", COMMANDS)
def test_a_results_folder_is_whole_or_absent_twenty_times(name, tmp_path):
    _kill_results(name, 20, 4, tmp_path)
