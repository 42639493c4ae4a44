"""The small commands and what all commands share: demo, schema, free names, the progress bar, how it ends."""

from __future__ import annotations

import io
import os
import runpy
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from sim.cli import aislewake
from sim.commands.shared import draw
from sim.errors import MachineError
from sim.scenario.jsonschema import json_schema
from sim.terminal import (
    ReaderGoneError,
    forget_output,
    free_folder,
    progress_told,
    streams_told,
)
from tests.command import call
from tests.house.source import ROOT
from tests.house.test_start import TINY

SITES = ROOT / "scenarios"


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working directory with a small scenario."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tiny.toml").write_text(TINY, encoding="utf-8")
    return tmp_path


def test_demo_lists_every_packaged_site_with_its_own_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert call("demo") == 0
    lines = capsys.readouterr().out.splitlines()
    paths = sorted(SITES.glob("*.toml"))
    assert [line.removesuffix(" (the default)") for line in lines[::2]] == [path.stem for path in paths]
    assert [line for line in lines if line.endswith("(the default)")] == ["pallet-reserve (the default)"]
    for path, said in zip(paths, lines[1::2], strict=True):
        comments = [line for line in path.read_text(encoding="utf-8").split("\n") if line.startswith("# ")]
        assert said == "    " + comments[0][2:]
        assert len(said) > 20


def test_demo_copies_a_site_once(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call("demo", "cross-dock") == 0
    assert capsys.readouterr().out == "Wrote cross-dock.toml. Next: aislewake check cross-dock.toml\n"
    assert (place / "cross-dock.toml").read_bytes() == (SITES / "cross-dock.toml").read_bytes()
    assert call("demo", "narrow-aisles", "--out", "mine.toml") == 0
    assert (place / "mine.toml").read_bytes() == (SITES / "narrow-aisles.toml").read_bytes()
    capsys.readouterr()
    assert call("demo", "cross-dock", "--out", "mine.toml") == 2
    assert capsys.readouterr().err == "mine.toml: exists already; it is not overwritten\n"
    assert (place / "mine.toml").read_bytes() == (SITES / "narrow-aisles.toml").read_bytes()
    assert call("demo", "cross-dok") == 2
    told = capsys.readouterr().err
    assert "cross-dok: no such packaged site; there are " in told
    assert "cross-dock" in told
    assert call("demo", "cross-dock", "--out", "nowhere/mine.toml") == 4
    assert "nowhere/mine.toml: No such file or directory" in capsys.readouterr().err.replace("\\", "/")


def test_schemas_on_the_terminal_and_in_files(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of scenarios and of studies; what is written is what the repository holds, with plain line ends."""
    assert call("schema") == 0
    assert capsys.readouterr().out == json_schema()
    assert call("schema", "--out", "scenario.json") == 0
    assert (place / "scenario.json").read_bytes() == json_schema().encode("utf-8")
    assert call("schema", "--study", "--out", "study.json") == 0
    kept = (SITES / "studies" / "study.schema.json").read_bytes()
    assert (place / "study.json").read_bytes() == kept != (place / "scenario.json").read_bytes()
    assert capsys.readouterr().out == ""
    assert call("schema", "--out", "nowhere/scenario.json") == 4
    assert "No such file or directory" in capsys.readouterr().err


def test_a_taken_name_is_counted_up(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An earlier folder is left as it is, whatever it holds."""
    assert free_folder("tiny") == Path("tiny-results")
    for name in ("tiny-results", "tiny-results-2"):
        (place / name).mkdir()
    assert free_folder("tiny") == Path("tiny-results-3")
    assert free_folder("other") == Path("other-results")


class _Terminal(io.StringIO):
    """A terminal that keeps what it is shown."""

    def isatty(self) -> bool:
        """It is one."""
        return True


def test_progress_is_shown_on_a_terminal_and_nowhere_else(monkeypatch: pytest.MonkeyPatch) -> None:
    for stream in (_Terminal(), io.StringIO()):
        monkeypatch.setattr(sys, "stderr", stream)
        with progress_told("frame") as tell:
            tell(0, None)
            time.sleep(0.12)  # the bar is drawn ten times a second at most
            tell(2, 5)
        shown = stream.getvalue()
        if stream.isatty():
            assert "2/5" in shown
            assert "frame" in shown
            assert shown.endswith("\r"), "at the end the line is free again"
        else:
            assert shown == ""


def test_a_process_without_streams_does_its_work(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """As started by a scheduler of tasks that gives it none: from then on there are such as lead nowhere."""
    for name in ("stdin", "stdout", "stderr"):
        monkeypatch.setattr(sys, name, None)
    assert call("schema", "--out", "s.json") == 0
    assert sys.stdin.read() == ""
    for stream in (sys.stdout, sys.stderr):
        assert stream.write("nothing") == 7
    assert call("schema") == 0
    assert call("demo", "cross-dok") == 2
    forget_output()
    with pytest.raises(MachineError, match=r"x\.csv: No space left on device"), streams_told():
        raise OSError(28, "No space left on device", "x.csv")
    assert capsys.readouterr().err == ""


@pytest.mark.skipif(os.name == "nt", reason="a pipe without a reader is another error there")
def test_a_reader_that_has_gone_is_no_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is left to write goes nowhere, so that nothing complains at the end of the process."""
    reading, writing = os.pipe()
    with os.fdopen(writing, "w", encoding="utf-8") as output:
        os.close(reading)
        monkeypatch.setattr(sys, "stdout", output)
        print("still in the buffer")
        with pytest.raises(ReaderGoneError), streams_told():
            output.flush()
        forget_output()
        print("said by somebody who does not know", flush=True)
        monkeypatch.undo()


@pytest.mark.parametrize(
    ("error", "code", "words"),
    [
        (MemoryError(), 4, "not enough memory for this scenario: fewer days or aisles, or a larger machine"),
        (KeyboardInterrupt(), 130, "interrupted"),
        (ReaderGoneError(), 0, ""),
    ],
)
def test_how_the_process_ends(
    error: BaseException,
    code: int,
    words: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Whatever ends it outside the command itself."""

    def fail(**_: object) -> None:
        raise error

    monkeypatch.setattr(aislewake, "main", fail)
    assert call("demo") == code
    told = capsys.readouterr()
    assert told.err.strip() == words
    assert told.out == ""


def test_python_m_sim_is_the_command(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """And a worker process that is spawned, which reads the module under another name, runs no command."""
    monkeypatch.setattr(sys, "argv", ["sim", "--version"])
    runpy.run_module("sim.__main__", run_name="__mp_main__")
    assert capsys.readouterr().out == ""
    with pytest.raises(SystemExit) as ended:
        runpy.run_module("sim.__main__", run_name="__main__")
    assert ended.value.code == 0
    assert capsys.readouterr().out.startswith("aislewake, version ")


def test_new_says_so_where_nobody_can_be_asked(place: Path) -> None:
    told = "There is no terminal to ask on: the usual answers are taken."
    done = CliRunner().invoke(aislewake, ["new", "--out", "a.toml"])
    assert done.exit_code == 0
    assert told in done.output
    quiet = CliRunner().invoke(aislewake, ["new", "--yes", "--out", "b.toml"])
    assert told not in quiet.output
    assert (place / "a.toml").read_bytes() == (place / "b.toml").read_bytes()


def test_a_picture_of_nothing_leaves_no_gap(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sim.commands.shared.columns_for_pictures", lambda: 80)
    draw(lambda width, ink: [])
    assert capsys.readouterr().out == ""
    draw(lambda width, ink: ["=" * width])
    assert capsys.readouterr().out == "\n" + "=" * 80 + "\n"
