"""`aislewake new` at work: asked, not asked, without a terminal, with a list; what it never does."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sim.cli import aislewake
from sim.commands import new as commands_new
from sim.errors import InputError
from sim.scenario.questions import QUESTIONS
from sim.scenario.toml import load_scenario

ROOT = str(Path(__file__).parents[2])
START = f"import sys; sys.path.insert(0, {ROOT!r}); from sim.cli import main; main()"
ASKED = [question for question in QUESTIONS if question.is_asked]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty working directory, with somebody at the terminal."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(commands_new, "_is_terminal", lambda: True)
    return tmp_path


def call(*arguments: str, said: str = "") -> Result:
    """Run the command."""
    return CliRunner().invoke(aislewake, ["new", *arguments], input=said)


def test_enter_all_the_way_is_the_usual_site(folder: Path) -> None:
    done = call(said="\n" * len(ASKED))
    assert done.exit_code == 0
    for question in ASKED:
        assert question.words in done.output
    assert f"{len(QUESTIONS)} of {len(QUESTIONS)} answers are the usual ones" in done.output
    asked = (folder / "my-site.toml").read_bytes()
    assert call("--yes", "--out", "quiet.toml").exit_code == 0
    assert (folder / "quiet.toml").read_bytes() == asked
    assert b"\r" not in asked


def test_answers_arrive_in_the_file(folder: Path) -> None:
    answers = {"title": 'Hall "B"', "aisles": "12", "trucks": "5", "sensors": "every", "timeout_s": "240"}
    said = "".join(f"{answers.get(question.key, '')}\n" for question in ASKED)
    done = call("--out", "b.toml", said=said)
    assert done.exit_code == 0
    site = load_scenario(folder / "b.toml")
    assert site.title == 'Hall "B"'
    assert (len(site.aisle_names), site.trucks[0].count, site.sensors.at) == (12, 5, "every")
    assert site.lighting.settings["working"].timeout_s == 240.0
    assert "13 of 18 answers are the usual ones" in done.output


def test_usual_answers_follow_from_those_before(folder: Path) -> None:
    said = "".join({"aisle_length_m": "90\n"}.get(question.key, "\n") for question in ASKED)
    assert "Luminaires in one aisle [15]" in call(said=said).output


def test_a_wrong_answer_is_asked_again_with_what_is_allowed(folder: Path) -> None:
    wrong = {"aisles": "none\n0\n12\n", "full_w": "60,5\n60.5\n", "shifts": "Mo 6-14\nMon 06:00-14:00\n"}
    said = "".join(wrong.get(question.key, "\n") for question in ASKED)
    done = call(said=said)
    assert done.exit_code == 0
    for words in (
        "none is not a number; allowed: a whole number from 1 to 2000", "0 is not allowed",
        "write decimals with a point", "no weekday",
    ):
        assert words in done.output
    assert load_scenario(folder / "my-site.toml").luminaires.full_w == 60.5


def test_what_an_option_answers_is_not_asked(folder: Path) -> None:
    given = ["--aisles", "6", "--hold-s", "0", "--shifts", "Sat 06:00-12:00"]
    done = call(*given, said="\n" * (len(ASKED) - 3))
    assert done.exit_code == 0
    assert "Aisles, side by side" not in done.output
    site = load_scenario(folder / "my-site.toml")
    assert (len(site.aisle_names), site.sensors.hold_s, site.shifts[0].days) == (6, 0.0, ("Sat",))


def test_with_every_answer_given_nothing_is_asked(folder: Path) -> None:
    given = []
    for question in QUESTIONS:
        given += [question.option, str(7 if question.default is None else question.default)]
    done = call(*given)
    assert done.exit_code == 0
    assert "Enter takes" not in done.output
    assert "ASSUMED in the file" not in done.output


def test_lines_fit_a_terminal_of_80_columns(folder: Path) -> None:
    done = call("--moves-per-hour", "400", said="\n" * len(ASKED))
    assert max(len(line) for line in done.output.splitlines()) < 80
    assert "! 400 moves an hour keep about" in done.output


def test_ctrl_c_leaves_no_file(folder: Path) -> None:
    done = call(said="\n\n")
    assert done.exit_code != 0
    assert list(folder.iterdir()) == []


def test_an_existing_file_is_never_overwritten(folder: Path) -> None:
    (folder / "my-site.toml").write_text("mine", encoding="utf-8")
    done = call(said="\n" * len(ASKED))
    assert isinstance(done.exception, InputError)
    assert "is not overwritten" in str(done.exception)
    assert "Aisles" not in done.output
    assert (folder / "my-site.toml").read_text(encoding="utf-8") == "mine"


def test_a_list_answers_for_its_columns(folder: Path) -> None:
    rows = "name,length,watts,zone\nG1,60,90,Z1\nG2,90,90,Z1\nG3,90,80,Z 2\nG4,90,90,Z 2\n"
    (folder / "aisles.csv").write_text(rows, encoding="utf-8")
    done = call("--aisles-csv", "aisles.csv", said="\n" * (len(ASKED) - 3))
    assert done.exit_code == 0
    for words in ("Aisles, side by side", "Length of an aisle", "Power of one luminaire"):
        assert words not in done.output
    assert "Luminaires in one aisle" in done.output
    assert "These zones of the list stand in the file as a comment" in done.output
    site = load_scenario(folder / "my-site.toml")
    assert site.places == (("Z1", ("G1", "G2")), ("G3", ("G3",)), ("G4", ("G4",)))
    assert site.luminaires.full_w == 90.0
    assert [site.luminaires_of(name).per_aisle for name in ("G1", "G2")] == [15, 15]  # as was agreed to


def test_what_the_list_says_is_not_said_twice(folder: Path) -> None:
    (folder / "aisles.csv").write_text("name,length,watts\nG1,60,90\n", encoding="utf-8")
    done = call("--yes", "--aisles-csv", "aisles.csv", "--aisles", "3", "--full-w", "100")
    assert isinstance(done.exception, InputError)
    assert len(done.exception.faults) == 2
    assert "--aisles: stands beside --aisles-csv" in str(done.exception)
    assert not (folder / "my-site.toml").exists()


def test_a_faulty_list_leaves_no_file(folder: Path) -> None:
    (folder / "aisles.csv").write_text("name,length\nG1,0\n", encoding="utf-8")
    done = call("--yes", "--aisles-csv", "aisles.csv")
    assert isinstance(done.exception, InputError)
    assert not (folder / "my-site.toml").exists()


@pytest.mark.parametrize("arguments", [[], ["--yes"]], ids=["asked", "quiet"])
def test_without_a_terminal_it_never_waits(arguments: list[str], tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", START, "new", *arguments], cwd=tmp_path, stdin=subprocess.DEVNULL,
        capture_output=True, text=True, encoding="utf-8", timeout=60, check=False,
    )
    assert done.returncode == 0, done.stderr
    assert ("no terminal to ask on" in done.stdout) is (arguments == [])
    assert load_scenario(tmp_path / "my-site.toml").title == "My site"


def test_a_bad_option_has_the_exit_code_of_bad_usage(tmp_path: Path) -> None:
    done = call("--yes", "--trucks", "3,5", "--out", str(tmp_path / "x.toml"))
    assert done.exit_code == 2
    assert "write decimals with a point" in done.output
