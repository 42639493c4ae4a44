"""What Ctrl-C says is true: nothing was written, or what was written is whole; exit code 130."""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import click
import pytest

from sim.cli import main
from tests.house.test_start import TINY

Words = list[str]


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a small scenario."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tiny.toml").write_text(TINY, encoding="utf-8")
    return tmp_path


def interrupt(*_: Any, **__: Any) -> Any:
    """Somebody presses Ctrl-C."""
    raise KeyboardInterrupt


def call(words: Words) -> int:
    """Run a command; return its exit code."""
    with pytest.raises(SystemExit) as ended:
        main(words)
    assert isinstance(ended.value.code, int)
    return ended.value.code


def check_nothing_written(place: Path, capsys: Any, words: Words, said: str = "") -> None:
    """The exit code, the last words, what was said before, and no file but the scenario."""
    assert call(words) == 130
    told = capsys.readouterr()
    assert told.err.strip().splitlines()[-1] == "interrupted; nothing was written"
    assert told.out.strip() == said
    assert [path.name for path in place.iterdir()] == ["tiny.toml"]


HOW_TO_LEAVE = "Enter takes the answer in brackets; Ctrl-C leaves without a file."
VARY = ["--vary", "day.timeout_s=60,600", "--out", "out"]


@pytest.mark.parametrize(
    ("words", "at"),
    [
        (["check", "tiny.toml"], "sim.floor.layout.lay_out"),
        (["check", "tiny.toml", "--plan", "plan.svg"], "sim.show.figures.plan.plan_picture"),
        (["run", "tiny.toml", "--out", "out"], "sim.show.reports.run.render_report"),
        (["sweep", "tiny.toml", *VARY], "sim.study.sweeping.sweep.sweep"),
        (["compare", "tiny.toml", "tiny.toml"], "sim.study.compare.compare"),
        (["page", "tiny.toml", "--out", "out.html"], "sim.show.page.write.render_page"),
        (["schema", "--out", "s.json"], "sim.scenario.jsonschema.json_schema"),
    ],
    ids=lambda value: value if isinstance(value, str) else " ".join(value[:1]),
)
def test_nothing_was_written(place: Path, capsys, monkeypatch, words: Words, at: str) -> None:
    monkeypatch.setattr("sim.show.figures.draw.draw_figures", lambda *_: [])
    monkeypatch.setattr(at, interrupt)
    check_nothing_written(place, capsys, words)


def test_questions_that_nobody_answers(place: Path, capsys, monkeypatch: pytest.MonkeyPatch) -> None:
    def leave(*_: Any, **__: Any) -> Any:
        raise click.Abort

    monkeypatch.setattr("sim.commands.new._is_terminal", lambda: True)
    monkeypatch.setattr("click.prompt", leave)
    check_nothing_written(place, capsys, ["new", "--out", "mine.toml"], HOW_TO_LEAVE)


def test_what_was_written_is_whole(place: Path, capsys, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C while the answer is told, after the folder stands."""
    monkeypatch.setattr("sim.show.figures.draw.draw_figures", lambda *_: [])
    monkeypatch.setattr("sim.show.words.tables.headline_table", interrupt)
    assert call(["run", "tiny.toml", "--out", "out"]) == 130
    assert "interrupted; out is complete" in capsys.readouterr().err
    assert (place / "out" / "report.html").is_file()


def test_a_study_says_that_its_rows_are_kept(place: Path, capsys, monkeypatch: pytest.MonkeyPatch) -> None:
    (place / "s.toml").write_text(
        'format = 1\ntitle = "s"\nscenario = "tiny.toml"\nreplications = 1\noutcomes = ["energy_kwh"]\n'
        '[factors]\n"day.timeout_s" = [60, 120]\n',
        encoding="utf-8",
    )
    monkeypatch.setattr("sim.study.batch.points.lay_out_points", interrupt)
    assert call(["study", "s.toml", "--out", "store"]) == 130
    assert "rows that the store holds are kept" in capsys.readouterr().err


def test_half_a_film_is_taken_away(place: Path, capsys, monkeypatch: pytest.MonkeyPatch) -> None:
    def begin(_: Any, __: Any, out: Path, *___: Any) -> None:
        out.write_bytes(b"half")
        raise KeyboardInterrupt

    monkeypatch.setattr("sim.show.figures.film.write_film", begin)
    check_nothing_written(place, capsys, ["film", "tiny.toml", "--at", "3600", "--out", "f.gif"])


@pytest.mark.parametrize(
    ("before", "fault"),
    [
        (lambda: Path("left").mkdir(), "left"),
        (lambda: print("half a table"), "half a table"),
        (lambda: sys.exit(1), "1 == 130"),
        (lambda: None, ""),
    ],
    ids=["a folder", "words", "another code", "nothing"],
)
def test_the_check_sees_what_is_left(
    place: Path, capsys, monkeypatch: pytest.MonkeyPatch, before: Callable[[], object], fault: str
) -> None:
    """Spoilt: what is put down or said before the interruption must be noticed; without it nothing is."""
    maker: Callable[..., Any] = lambda *_, **__: before() or interrupt()  # noqa: E731
    monkeypatch.setattr("sim.study.replications.replicate.run", maker)
    noticed = pytest.raises(AssertionError, match=fault) if fault else nullcontext()
    with noticed:
        check_nothing_written(place, capsys, ["run", "tiny.toml"])
