"""The commands that decide and ask: exit codes, messages without tracebacks, nothing written on a fault."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.command import call
from tests.study.decide_site import TEXT

TABLE = """
[recommend]
unoccupied_floor_share = 0.1
egress_aisles = []
walked_aisles = []
timeouts_s = [60, 600]
levels = [0.2]

[recommend.max]
switch_ups_per_zone_hour = 6
"""


@pytest.fixture
def site(tmp_path, monkeypatch) -> Path:
    """A scenario file in the working directory."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "site.toml"
    path.write_text(TEXT + TABLE, encoding="utf-8")
    return path


def test_each_command_does_its_work(site, capsys):
    assert (
        call("sweep", "site.toml", "--vary", "day.timeout_s=60,600", "--replications", "2", "--out", "s") == 0
    )
    assert "Not beaten in least energy_kwh" in capsys.readouterr().out
    assert call("recommend", "site.toml", "--replications", "2", "--fresh", "2") == 0
    assert "Results: site-recommend-results" in capsys.readouterr().out
    assert call("compare", "site.toml", "site-recommend-results/single.toml", "--replications", "2") == 0
    assert "same trucks, paired on 2 replications" in capsys.readouterr().out
    assert (
        call("sensitivity", "site.toml", "--range", "volume=0.5:1.5", "--replications", "2", "--out", "t")
        == 0
    )
    assert "Measure volume on site first" in capsys.readouterr().out
    assert call("run", "site.toml", "--replications", "2", "--out", "week") == 0
    capsys.readouterr()
    assert call("explain", "week", "A02", "--at", "02:10") == 0
    assert "A02, Mon 1 Mar 02:10:00" in capsys.readouterr().out
    assert call("explain", "week", "--worst", "3") == 0
    assert call("compare", "week", "week", "site.toml", "--outcome", "energy_kwh") == 0
    assert "equal" in capsys.readouterr().out
    # a recommendation stands for today's settings and each of its plans
    words = ("compare", "week", "site-recommend-results", "--outcome", "energy_kwh", "--replications", "2")
    assert call(*words) == 0
    told = " ".join(capsys.readouterr().out.split())
    for name in ("scenario", "single", "groups", "aisles"):
        assert f"site-recommend-results/{name}: same trucks, paired on 2 replications" in told
    assert "which they were fitted to" in told
    # and sweeps say where their comparison is
    assert call("compare", "week", "s") == 2
    assert "summary.csv and front.csv in it compare its settings" in capsys.readouterr().err
    assert call("compare", "week", "t") == 2
    assert "sensitivity.csv in it" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["sweep", "site.toml"], "nothing to sweep"),
        (["sweep", "site.toml", "--vary", "dya.timeout_s=1"], 'did you mean "day.timeout_s"'),
        (["sweep", "site.toml", "--vary", "trucks.reach.count=2"], '3 drivers for 2 "reach" trucks'),
        (["sweep", "site.toml", "--vary", "day.timeout_s=9:1:1"], "is empty"),
        (
            ["sweep", "site.toml", "--vary", "day.timeout_s=60", "--minimise", "peak_kw"],
            "the front needs one of",
        ),
        (["sweep", "nowhere.toml", "--vary", "day.timeout_s=60"], "no such scenario file"),
        (["recommend", "site.toml", "--max", "energy_kwh"], "write NAME=VALUE"),
        (["recommend", "site.toml", "--max", "energy_kwh=x"], "write NAME=VALUE"),
        (["recommend", "site.toml", "--max", "switch_ups=1"], "the nearest is day: timeout 600 s"),
        (["recommend", "site.toml", "--egress", "A01"], "state egress_floor_lux"),
        (["recommend", "site.toml", "--timeouts", "60:600"], "give a:b:step"),
        (["recommend", "site.toml", "--levels", "0.2,,"], "empty value"),
        (["recommend", "site.toml", "--floor-share", "2"], "out of range"),
        (["recommend", "site.toml", "--groups", "0"], "from 1 to 100"),
        (["compare", "site.toml"], "at least two"),
        (["compare", "site.toml", "."], "is a folder without summary.json"),
        (["compare", "site.toml", "site.toml", "--outcome", "energy"], "no such outcome"),
        (["compare", "site.toml", "site.toml", "--until", "energy_kwh"], "write energy_kwh=VALUE"),
        (["compare", "site.toml", "site.toml", "--until", "energy_kwh=-1"], "write energy_kwh=VALUE"),
        (["compare", "site.toml", "site.toml", "--until", "nothing=1"], "no outcome nothing"),
        (["explain", "site.toml", "A01", "--at", "02:10"], "is not a results folder"),
        (["explain", "site.toml"], "give either --at"),
        (["explain", "site.toml", "--at", "02:10"], "--at needs an aisle"),
        (["sensitivity", "site.toml", "--range", "volume=2:1"], "is empty"),
        (
            ["sensitivity", "site.toml", "--range", "volume=0.5:2", "--range", "volume=1:2"],
            "--range volume=1:2: stands more than once",
        ),
        (["sensitivity", "site.toml", "--of", "energy", "--replications", "1"], "no such outcome"),
    ],
)
def test_faults_are_told_and_leave_nothing_behind(site, capsys, words, message):
    before = sorted(site.parent.iterdir())
    assert call(*words) == 2
    told = capsys.readouterr()
    assert message in told.err
    assert "Traceback" not in told.err
    assert told.out == ""
    assert sorted(site.parent.iterdir()) == before


def test_an_existing_folder_is_kept_unless_forced(site, capsys):
    words = ["sweep", "site.toml", "--vary", "day.timeout_s=60,600", "--replications", "1", "--out", "s"]
    assert call(*words) == 0
    (site.parent / "s" / "note.txt").write_text("mine", encoding="utf-8")
    assert call(*words) == 2
    assert "exists already" in capsys.readouterr().err
    assert (site.parent / "s" / "note.txt").exists()
    assert call(*words, "--force") == 0
    assert not (site.parent / "s" / "note.txt").exists()
    assert call("recommend", "site.toml", "--out", ".") == 2


@pytest.mark.parametrize("name", ["sweep", "recommend", "sensitivity", "compare", "explain"])
def test_help_has_two_examples(name, capsys):
    assert call(name, "--help") == 0
    text = capsys.readouterr().out
    assert text.count(f"aislewake {name} ") >= 2
    assert all(len(line) <= 80 for line in text.splitlines())
