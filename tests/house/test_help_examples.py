"""Every example that a `--help` or the README shows is a command that the program takes.

Quick: each line is parsed as the command would parse it, without computing.  Slow: each example of a
`--help` is run as it stands, in a folder with the files that it names and packaged sites made small, and must
end with 0.
"""

from __future__ import annotations

import datetime as dt
import re
import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path

import click
import numpy as np
import pytest

from sim.cli import aislewake
from tests.house.source import ROOT
from tests.house.test_interrupted import call
from tests.house.test_start import TINY

COMMANDS: dict[str, click.Command] = {"": aislewake, **aislewake.commands}


def joined(lines: list[str]) -> Iterator[str]:
    """Lines with those that a backslash carries on."""
    whole = ""
    for line in lines:
        whole += line.strip()
        if whole.endswith("\\"):
            whole = whole[:-1]
            continue
        yield whole
        whole = ""


def commands_in(lines: list[str]) -> Iterator[list[str]]:
    """Words of every aislewake command, one list for each; comments and redirections are the shell's."""
    for line in joined(lines):
        words = shlex.split(line, comments=True)
        if ">" in words:
            words = words[: words.index(">")]
        while words:
            end = words.index("&&") if "&&" in words else len(words)
            if words[0] == "aislewake":
                yield words[1:end]
            words = words[end + 1 :]


def help_of(name: str) -> str:
    """The text of a command's --help."""
    command = COMMANDS[name]
    context = click.Context(command, info_name=f"aislewake {name}".strip(), **command.context_settings)
    return command.get_help(context)


def examples_of(name: str) -> list[list[str]]:
    """Examples in a command's --help."""
    lines = help_of(name).partition("Examples:\n")[2].partition("\n\n")[0].splitlines()
    assert all(line.startswith("    ") for line in lines)
    return list(commands_in(lines))


def readme_commands() -> list[list[str]]:
    """Commands in the README's code blocks."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"^```(\w*)\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
    shells = [block.splitlines() for kind, block in blocks if kind in ("", "sh")]
    return [words for lines in shells for words in commands_in(lines)]


def parse(words: list[str]) -> None:
    """Parse words as the program would, and call nothing."""
    name, *others = words
    command = aislewake.get_command(click.Context(aislewake), name)
    assert command is not None, f"there is no command {name}"
    command.make_context(name, list(others), **command.context_settings)


@pytest.mark.parametrize("name", COMMANDS)
def test_a_help_fits_the_terminal_and_has_two_examples(name: str) -> None:
    assert all(len(line) <= 80 for line in help_of(name).splitlines())
    examples = examples_of(name)
    assert len(examples) >= 2
    if name:
        assert all(words[0] == name for words in examples)


@pytest.mark.parametrize("name", COMMANDS)
def test_the_examples_of_a_help_are_taken(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for words in examples_of(name):
        parse(words)
    assert list(tmp_path.iterdir()) == [], "nothing was computed"


def test_what_the_readme_shows_is_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    shown = readme_commands()
    assert len(shown) > 15
    for words in shown:
        parse(words)


def test_a_wrong_example_would_be_seen() -> None:
    for line in ("run --replicatons 3", "rum", "run --workers none", "page", "check a b"):
        with pytest.raises((click.ClickException, AssertionError)):
            parse(line.split())
    shown = ["cd x && aislewake run a \\", "  --out b > c.json  # d", "pip install aislewake"]
    assert list(commands_in(shown)) == [["run", "a", "--out", "b"]]


WISHES = """
[recommend]
unoccupied_floor_share = 0.2
egress_aisles = []
walked_aisles = []
timeouts_s = [60, 600]
levels = [0.2]

[recommend.max]
switch_ups_per_zone_hour = 60
"""


def small_hall() -> str:
    """A site with all that the examples name, which is soon computed."""
    text = TINY
    for one, other in (
        ('title = "tiny"', 'title = "Small hall (invented)"'), ("days = 0.25", "days = 7"),
        ("aisles = 2\n", "aisles = 14\n"),
        ("range_m = 5.0", "range_m = 10.0\nhold_s = 0\npassing_trigger = 0.05"),
        ('name = "out"', 'name = "retrieval"'), ("per_hour = 20", "per_hour = 4"),
        ("aisle_skew = 1.0", "aisle_skew = 0.5"),
    ):
        assert text.count(one) == 1
        text = text.replace(one, other)
    return text + WISHES


STUDY = """
format = 1
title = "Two timeouts (invented)"
scenario = ["my-site.toml"]
outcomes = ["energy_kwh"]
replications = 1

[factors]
"day.timeout_s" = [60, 120]
"""
EXPORT = """Zeit;Von;Nach;Platz
2027-03-01 08:00:00;A01-3;A02-3;A01-3
2027-03-02 08:05:00;A01-3;A01-9;A02-9
2027-03-03 08:09:00;A01-3;A01-9;A02-9
"""
COLUMNS = """separator = ";"
time = "%Y-%m-%d %H:%M:%S"
[columns]
time = "Zeit"
from = "Von"
to = "Nach"
location = "Platz"
"""


@pytest.fixture(scope="module")
def stock(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with every file that the examples name."""
    from tests.truth.test_truth_daylight import write_epw

    folder = tmp_path_factory.mktemp("stock")
    changes = {"sensors-every": ('"ends"', '"every"'), "after": ("timeout_s = 120", "timeout_s = 900")}
    for name in ("my-site", "before", *changes):
        text = small_hall().replace(*changes.get(name, ("", "")))
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    (folder / "my-study.toml").write_text(STUDY, encoding="utf-8")
    (folder / "export.csv").write_text(EXPORT, encoding="utf-8")
    (folder / "export.toml").write_text(COLUMNS, encoding="utf-8")
    first = dt.datetime(2027, 1, 1)
    hours = [first + dt.timedelta(hours=number) for number in range(24 * 60)]
    rows = "".join(f"{hour:%Y-%m-%dT%H:%M},{2.0 if hour.month == 1 else 1.0}\n" for hour in hours)
    for name in ("april.csv", "meter.csv"):
        (folder / name).write_text(f"time,site [kWh measured]\n{rows}", encoding="utf-8")
    light = np.full(8760, 20_000.0)
    write_epw(folder / "my-town.epw", light, light)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        assert call(["run", "my-site.toml", "--out", "week-12"]) == 0
        assert call(["recommend", "my-site.toml", "--out", "settings"]) == 0
    shutil.copy(folder / "week-12" / "visits.csv", folder / "visits.csv")
    shutil.copy(folder / "week-12" / "detections.csv", folder / "motion.csv")
    return folder


@pytest.mark.slow
@pytest.mark.parametrize("name", COMMANDS)
def test_the_examples_run(name, stock, tmp_path, monkeypatch, capsys) -> None:
    """Packaged sites stand for the small hall here; a file that an example writes is not there before."""
    from sim.scenario import demos

    small = dict.fromkeys(demos.demo_paths(), stock / "my-site.toml")
    monkeypatch.setattr(demos, "demo_paths", lambda: small)
    for number, words in enumerate(examples_of(name)):
        folder = tmp_path / str(number)
        shutil.copytree(stock, folder)
        monkeypatch.chdir(folder)
        usual = "my-site.toml" if words[0] == "new" else "nothing"
        target = Path(words[words.index("--out") + 1] if "--out" in words else usual)
        if target.is_dir():
            shutil.rmtree(target)
        target.unlink(missing_ok=True)
        code = call(words)
        told = capsys.readouterr()
        assert code == 0, f"aislewake {shlex.join(words)}\n{told.err}"
        assert "Traceback" not in told.err
