"""Shell completion: the scripts that click makes, and what they offer for commands, options and arguments."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.shell_completion import BashComplete

from sim.cli import aislewake
from sim.outcome.names import OUTCOMES
from sim.scenario.demos import demo_paths
from sim.scenario.toml import load
from sim.study.decide.measures import measure_names, parse_measure
from sim.study.sweeping.vary import keys_to_vary, parse_varied, place_of
from tests.house.source import ROOT

Offer = Callable[..., list[str]]


@pytest.fixture
def offered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Offer:
    """What is offered for the last word of a line, as bash asks for it."""
    monkeypatch.chdir(tmp_path)
    text = demo_paths()["pallet-reserve"].read_text(encoding="utf-8").replace("retrieval", "outgoing")
    (tmp_path / "plant.toml").write_text(text, encoding="utf-8")
    (tmp_path / "notes.txt").write_text("", encoding="utf-8")
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub" / "site.toml").write_text("", encoding="utf-8")

    def ask(*words: str) -> list[str]:
        monkeypatch.setenv("COMP_WORDS", " ".join(("aislewake", *words)))
        monkeypatch.setenv("COMP_CWORD", str(len(words)))
        shell = BashComplete(aislewake, {}, "aislewake", "_AISLEWAKE_COMPLETE")
        lines = [line.split(",", 1) for line in shell.complete().splitlines()]
        return [word if kind == "plain" else f"<{kind}>" for kind, word in lines]

    return ask


def test_commands_and_options(offered: Offer) -> None:
    assert offered("rec") == ["recommend"]
    assert set(aislewake.commands) <= set(offered(""))
    assert offered("recommend", "--max") == ["--max", "--max-zone", "--max-hour"]
    assert offered("run", "--js") == ["--json"]
    assert offered("run", "--engine", "l") == ["live"]


@pytest.mark.parametrize("command", ["run", "check", "sweep", "recommend", "replay", "page", "handover"])
def test_packaged_sites_and_files(offered: Offer, command: str) -> None:
    assert offered(command, "") == [*demo_paths(), "plant.toml"]
    assert offered(command, "p") == ["pallet-reserve", "plant.toml"]
    assert offered(command, "sub/") == ["sub/site.toml"]
    assert offered(command, "no") == ["<file>"], "the shell looks for itself: notes.txt"


def test_names_of_outcomes(offered: Offer) -> None:
    for words in (("compare", "--outcome"), ("sweep", "plant.toml", "--minimise"), ("sensitivity", "--of")):
        assert offered(*words, "") == list(OUTCOMES)
        assert offered(*words, "energy") == ["energy_kwh"]
    limits = offered("recommend", "plant.toml", "--max", "false_offs")
    assert limits == [f"{name}=" for name in measure_names() if name.startswith("false_offs")]
    assert "false_offs_per_day=" in limits
    for name in measure_names():
        parse_measure(name)


def test_keys_to_vary(offered: Offer) -> None:
    assert offered("sweep", "plant.toml", "--vary", "day.time") == ["day.timeout_s="]
    assert offered("sweep", "plant.toml", "--vary", "work.outgoing.per") == ["work.outgoing.per_hour="]
    assert offered("sweep", "--vary", "work.retrieval.per") == ["work.retrieval.per_hour="]
    assert offered("sensitivity", "plant.toml", "--range", "vol") == ["volume=", "volume_cv="]
    assert "sensors.miss=" in offered("sensitivity", "plant.toml", "--range", "sensors.")
    assert offered("sweep", "notes.txt", "--vary", "day") == [], "no traceback for a file that is none"


def test_every_key_that_is_offered_can_be_given() -> None:
    for name in demo_paths():
        scenario = load(name)
        content = scenario.content()
        keys = keys_to_vary(content)
        assert len(set(keys)) == len(keys) > 50
        for key in keys:
            assert place_of(key, content)
        parse_varied(["all.timeout_s=60,90"], scenario)
        assert "seed" not in keys
        assert "title" not in keys


def test_other_arguments_name_sites(offered: Offer) -> None:
    assert offered("demo", "cr") == ["cross-dock"]
    assert offered("fit", "x.csv", "--scenario", "narrow") == ["narrow-aisles"]


def run_process(folder: Path, **changes: str) -> subprocess.CompletedProcess[str]:
    """Run the command without words, as a shell's script does."""
    code = f"import sys; sys.path.insert(0, {str(ROOT)!r}); from sim.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=folder, env={**os.environ, **changes}, capture_output=True, text=True, timeout=120, check=False,
    )
    assert done.returncode == 0, done.stderr
    return done


def test_a_shell_is_answered(tmp_path: Path) -> None:
    words = {"COMP_WORDS": "aislewake run pal", "COMP_CWORD": "2"}
    done = run_process(tmp_path, _AISLEWAKE_COMPLETE="bash_complete", **words)
    assert done.stdout.split() == ["plain,pallet-reserve"]


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_scripts_are_made(shell: str, tmp_path: Path) -> None:
    """As the README says: the process prints the script; where bash is, bash takes it."""
    done = run_process(tmp_path, _AISLEWAKE_COMPLETE=f"{shell}_source")
    assert f"_AISLEWAKE_COMPLETE={shell}_complete" in done.stdout
    if shell == "bash" and os.name != "nt":
        checked = subprocess.run(["bash", "-n"], input=done.stdout, text=True, timeout=60, check=False)
        assert checked.returncode == 0
