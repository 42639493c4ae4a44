"""The command study: what it refuses before any work, what it says of failures, one point afresh."""

from __future__ import annotations

import csv
import io
import sys
from pathlib import Path

import pytest

from sim.scenario.toml import load_scenario
from sim.study.batch.file import read_study
from sim.study.batch.points import lay_out_points
from sim.study.batch.run import open_store
from tests.batch.trial import lay_out_files
from tests.command import call

SIX = (
    'format = 1\ntitle = "Six"\nscenario = "site.toml"\nreplications = 2\noutcomes = ["energy_kwh"]\n'
    '[factors]\n"all.timeout_s" = [60, 120, 180, 240, 300, 360]\n'
)
STORE = ("study", "study.toml", "--out", "store", "--workers", "0")


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working directory with a study of six points."""
    monkeypatch.chdir(tmp_path)
    lay_out_files(tmp_path, SIX)
    return tmp_path


def fail(folder: Path, points: int) -> None:
    """Note in the store that the first points failed in both replications."""
    batch = lay_out_points(read_study(folder / "study.toml"))
    with open_store(folder / "store", "again") as store:
        failed = [(batch.hashes[point], number) for point in range(points) for number in (0, 1)]
        store.put_failures(failed, "ran out of luck", "", {})


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("study.toml",), "--out is missing: the folder that keeps the study's figures"),
        (("study.toml", "--status"), "--out is missing"),
        (("study.toml", "--point", "abcdef", "--status"), "--out is missing"),
        (("study.toml", "--out", "s", "--replication", "1"), "--replication and --save go with --point KEY"),
        (("study.toml", "--out", "s", "--save", "p.toml"), "--replication and --save go with --point KEY"),
        (("study.toml", "--point", "abcdef", "--json"), "--json does not go with --point"),
        (("study.toml", "--point", "abcdef"), "--point abcdef: no point has it"),
        (("study.toml", "--out", "s", "--status"), "no study was begun there"),
    ],
)
def test_what_does_not_go_together_is_told(
    words: tuple[str, ...], message: str, place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call("study", *words) == 2
    assert message in capsys.readouterr().err
    assert not (place / "s").exists()


def test_parquet_without_its_extra_is_told_before_any_work(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    assert call(*STORE, "--export", "parquet") == 2
    assert "aislewake[parquet]" in capsys.readouterr().err
    assert not (place / "store").exists()


@pytest.mark.parametrize(("points", "more"), [(2, 0), (3, 1), (6, 7)])
def test_of_many_failures_five_are_named(
    points: int, more: int, place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What failed before is not tried again: exit code 3, each failed row with its settings."""
    fail(place, points)
    assert call(*STORE) == 3
    told = capsys.readouterr()
    assert f"6 points, 12 rows: 0 were there, {12 - 2 * points} are new, {2 * points} failed" in told.out
    named = [line for line in told.err.splitlines() if line.startswith("  point ")]
    assert len(named) == min(5, 2 * points)
    assert named[0].endswith("replication 0: all.timeout_s=60: ran out of luck")
    assert named[3].endswith("replication 1: all.timeout_s=120: ran out of luck")
    assert (f"  and {more} more\n" in told.err) is (more > 0)
    assert "Try them again with --retry-failed." in told.err


def test_one_point_again_and_its_scenario_saved_once(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The row is that of the whole table; an existing file is left alone, and nothing is computed then."""
    batch = lay_out_points(read_study(place / "study.toml"))
    assert call(*STORE, "--export", "csv") == 0
    with (place / "store" / "results.csv").open(encoding="utf-8", newline="") as file:
        table = list(csv.DictReader(file))
    capsys.readouterr()
    point = ("study", "study.toml", "--point", batch.hashes[2][:16], "--save", "point.toml")
    assert call(*point) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert rows == [row for row in table if row["all.timeout_s"] == "180"]
    assert len(rows) == 2
    saved = load_scenario(place / "point.toml")
    assert {one.timeout_s for one in saved.lighting.settings.values()} == {180.0}
    before = (place / "point.toml").read_bytes()
    assert call(*point, "--replication", "1") == 2
    told = capsys.readouterr()
    assert told.err == "point.toml: exists already; it is not overwritten\n"
    assert told.out == ""
    assert (place / "point.toml").read_bytes() == before
    assert call(*point[:4], "--replication", "1") == 0
    assert list(csv.DictReader(io.StringIO(capsys.readouterr().out))) == rows[1:]
    assert call("study", "study.toml", "--out", "store", "--status") == 0
    assert capsys.readouterr().out == "Six\n12 of 12 rows (100.0%), 0 failed\nfinished\n"
