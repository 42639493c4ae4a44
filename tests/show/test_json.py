"""`--json`: one JSON document on standard output and nothing else, the same as the folder's file.

Every document is checked under a closed world: names of outcomes are those of `ALL_OUTCOMES` with their
units, numbers are finite, letters are ASCII.  Pictures are left out: they are not what is tested here.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sim.cli import main
from sim.outcome.names import ALL_OUTCOMES
from sim.scenario.toml import dump_scenario, load
from tests.house.source import ROOT
from tests.house.test_start import TINY
from tests.verification.made_meters import meter_text, other_weeks, small_site

TITLE = 'Lager "Süd" 倉庫'
WISHES = """
[recommend]
unoccupied_floor_share = 0.1
egress_aisles = []
walked_aisles = []
timeouts_s = [60, 600]
levels = [0.2]
[recommend.max]
switch_ups_per_zone_hour = 60
"""
PICTURES = {
    "sim.show.figures.draw.draw_figures": [],
    "sim.show.figures.sweep.draw_sweep_figures": {},
    "sim.show.figures.recommend.draw_recommend_figures": {},
    "sim.show.figures.tornado.draw_sensitivity_figures": {},
    "sim.show.figures.fit.draw_fit_figures": {},
    "sim.show.figures.verify.draw_verify_figures": {},
}
"""Where pictures are drawn, and what is handed back instead."""


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a small scenario; nothing is drawn."""
    monkeypatch.chdir(tmp_path)
    text = TINY.replace('title = "tiny"', f"title = '{TITLE}'") + WISHES
    (tmp_path / "tiny.toml").write_text(text, encoding="utf-8")
    for name, answer in PICTURES.items():
        monkeypatch.setattr(name, lambda *_, answer=answer: answer)
    return tmp_path


Call = Callable[..., Any]


@pytest.fixture
def call(place: Path, capsys: pytest.CaptureFixture[str]) -> Call:
    """Run a command with --json; return its document."""

    def run_command(*words: str, code: int = 0) -> Any:
        with pytest.raises(SystemExit) as ended:
            main([*words, "--json"])
        told = capsys.readouterr()
        assert ended.value.code == code, told.err
        document = read(told.out)
        check_closed(document)
        assert document["format"] == 1
        assert document["source"]
        assert told.out == json.dumps(json.loads(told.out), indent=2) + "\n", "keys in one order, ASCII"
        return document

    return run_command


def read(text: str) -> Any:
    """Parse one document as strictly as any reader might."""

    def refuse(word: str) -> Any:
        raise AssertionError(f"{word} is no JSON")

    assert text.isascii()
    return json.loads(text, parse_constant=refuse)


def tables(value: Any) -> Iterator[dict[str, Any]]:
    """Every table in a document."""
    if isinstance(value, dict):
        yield value
        for one in value.values():
            yield from tables(one)
    elif isinstance(value, list):
        for one in value:
            yield from tables(one)


def check_closed(document: Any) -> None:
    """Outcomes have known names and their own units; every mean has its half-width beside it."""
    for table in tables(document):
        for name, figure in (table.get("outcomes") or {}).items():
            assert figure["unit"] == ALL_OUTCOMES[name].unit
        if "mean" in table:
            assert "half_width" in table
            assert table["mean"] is None or isinstance(table["mean"], int | float)
        if "outcome" in table:
            assert table["outcome"] in ALL_OUTCOMES
        if "source" in table and table is document:
            assert table.get("is_valid") is not None or "title" in table


def file_of(folder: str) -> Any:
    """A folder's own summary."""
    return json.loads(Path(folder, "summary.json").read_text(encoding="utf-8"))


def test_what_is_checked_can_fail() -> None:
    """Spoilt documents: an unknown outcome, a wrong unit, a mean alone, a figure that is not finite."""
    good = {"format": 1, "source": "run", "title": "", "outcomes": {"energy_kwh": {"unit": "kWh"}}}
    check_closed(good)
    for bad in (
        {**good, "outcomes": {"energy": {"unit": "kWh"}}},
        {**good, "outcomes": {"energy_kwh": {"unit": "MWh"}}},
        {**good, "figure": {"mean": 1.0}},
        {**good, "goal": {"outcome": "x"}},
    ):
        with pytest.raises((AssertionError, KeyError)):
            check_closed(bad)
    for text in ('{"a": NaN}', '{"a": Infinity}', '{"a": 1} {"b": 2}', 'Results: x\n{"a": 1}', '{"a": "ü"}'):
        with pytest.raises((AssertionError, json.JSONDecodeError)):
            read(text)


def test_run_replay_compare_explain(place: Path, call: Call) -> None:
    found = call("run", "tiny.toml", "--out", "week")
    assert found == file_of("week")
    assert found["title"] == TITLE
    assert set(found["outcomes"]) <= set(ALL_OUTCOMES)
    assert found["outcomes"]["energy_kwh"]["mean"] > 0.0
    logs = ("--detections", "week/detections.csv")
    found = call("replay", "tiny.toml", *logs, "--out", "again")
    assert found == file_of("again")
    assert found["outcomes"]["dim_truck_s"] == {
        "mean": None, "half_width": None, "unit": "s", "meaning": ALL_OUTCOMES["dim_truck_s"].meaning,
    }
    found = call("compare", "week", "tiny.toml", "--outcome", "energy_kwh", "--outcome", "visits")
    assert list(found["outcomes"]) == ["energy_kwh", "visits"]
    assert [one["label"] for one in found["alternatives"]] == ["week", "tiny.toml"]
    first, second = (one["outcomes"]["energy_kwh"] for one in found["alternatives"])
    assert first == second
    (pair,) = found["differences"]
    assert pair["is_paired"]
    assert pair["outcomes"]["visits"]["mean"] == 0.0
    found = call("explain", "week", "A01", "--at", "5000")
    assert (found["aisle"], found["at_s"], found["at"]) == ("A01", 5000.0, "2027-03-01T01:23:20")
    assert {zone["zone"] for zone in found["zones"]} == {"A01"}
    found = call("explain", "week", "--worst", "3")
    lengths = [spell["length_s"] for spell in found["spells"]]
    assert lengths == sorted(lengths, reverse=True)
    found = call("quality", "tiny.toml", *logs)
    rows = len((place / "week" / "detections.csv").read_text(encoding="utf-8").splitlines()) - 1
    assert {one["check"]: one["count"] for one in found["checks"]}["rows read"] == rows > 0


def test_sweep_recommend_sensitivity(call: Call) -> None:
    words = ("--replications", "2", "--out")
    found = call("sweep", "tiny.toml", "--vary", "day.timeout_s=60,600", *words, "sweep")
    assert found == file_of("sweep")
    assert [one["settings"] for one in found["front_settings"]]
    assert len(found["front_settings"]) == found["front"]["settings_on_front"]
    assert set(found["current"]) <= set(ALL_OUTCOMES)
    assert all(one["unit"] == ALL_OUTCOMES[name].unit for name, one in found["current"].items())
    found = call("recommend", "tiny.toml", *words, "plans")
    assert found == file_of("plans")
    assert set(found["fresh"]) == {"current", *found["plans"]}
    assert all(len(plan["limits_met"]) == len(found["limits"]) for plan in found["fresh"].values())
    used = {name: plan["outcomes"]["energy_kwh"]["mean"] for name, plan in found["fresh"].items()}
    for saving in found["savings"]:
        assert saving["mean"] == pytest.approx(used[saving["over"]] - used[saving["plan"]])
    found = call("sensitivity", "tiny.toml", "--range", "volume=0.5:1.5", *words, "inputs")
    assert found == file_of("inputs")
    assert [one["input"] for one in found["inputs"]] == ["volume"]
    assert found["unit"] == "-"


@pytest.mark.slow
def test_verify_worksheet_fit(place: Path, call: Call) -> None:
    (place / "site.toml").write_text(dump_scenario(small_site()), encoding="utf-8")
    hours = other_weeks(2).reshape(2 * 168, 3)
    columns = {f"A0{number + 1} [kWh measured]": hours[:, number] for number in range(3)}
    (place / "meter.csv").write_text(meter_text(columns, dt.datetime(2027, 3, 1)), encoding="utf-8")
    words = ("verify", "meter.csv", "--scenario", "site.toml", "--replications", "3")
    found = call(*words, "--out", "proof")
    assert found == file_of("proof")
    assert call(*words) == found, "the same without a folder"
    metered = found["circuits"][0]["agreement"]["hour"]["metered_kwh"]
    assert metered == pytest.approx(float(np.sum(hours)))
    found = call("worksheet", "site.toml", "--replications", "2", "--out", "sheet")
    assert found == file_of("sheet")
    assert found["bases"]
    (place / "visits.csv").write_text("aisle,enter,leave\nA01,3600,3700\n", encoding="utf-8")
    found = call("fit", "visits.csv", "--scenario", "tiny.toml", "--replications", "1", "--out", "fit")
    assert found == file_of("fit")
    assert found["visits"] == 1.0
    assert {one["unit"] for one in found["figures"]} >= {"1/h"}


def test_study(place: Path, call: Call) -> None:
    form = 'format = 1\ntitle = "Two"\nscenario = "tiny.toml"\nreplications = 2\noutcomes = ["energy_kwh"]\n'
    (place / "two.toml").write_text(form + '[factors]\n"day.timeout_s" = [60, 120]\n', encoding="utf-8")
    words = ("study", "two.toml", "--out", "store", "--workers", "0")
    found = call(*words, "--export", "csv")
    assert found["rows"] == {"planned": 4, "found": 0, "done": 4, "failed": 0}
    assert found["points"] == 2
    assert Path(found["table"]).is_file()
    assert call(*words)["rows"]["found"] == 4
    found = call("study", "two.toml", "--out", "store", "--status")
    assert (found["rows"]["done"], found["running"]) == (4, None)
    assert call(*words, "--point", "0" * 16, code=2)["faults"]


def test_estimate(call: Call) -> None:
    found = call("estimate", "--aisles", "40", "--cost", "0")
    assert found["inputs"]["aisles"] == 40
    for option in found["options"]:
        assert option["low"] <= option["likely"] <= option["high"]
        assert option["payback_years"] is None
    assert set(found["units"]) <= set(found["options"][0])


def test_check_tells_the_site(call: Call) -> None:
    found = call("check", "tiny.toml")
    site = load("tiny.toml")
    assert found["is_valid"] is True
    assert found["faults"] == []
    assert found["floor"]["aisles"] == list(site.aisle_names)
    assert found["luminaires"] == {"count": 6, "never_dim": 0, "connected_kw": 0.6, "off_kw": 0.0}
    (settings,) = found["settings"]
    assert (settings["name"], settings["sum_s"], settings["unoccupied_level"]) == ("day", 120.0, 0.3)
    assert found["trucks"] == {"reach": 2}
    assert any("hold_s" in notice for notice in found["notices"])
    found = call("check", "pallet-reserve")
    assert found["floor"]["zones"] == 24


BAD = TINY.replace("timeout_s = 120", "timout_s = 120").replace("full_w = 100.0", 'full_w = "1OO"')
BAD = BAD.replace('settings = "day"', 'settings = "dya"')


def test_check_tells_every_fault(place: Path, call: Call) -> None:
    (place / "bad.toml").write_text(BAD, encoding="utf-8")
    found = call("check", "bad.toml", code=2)
    assert (found["is_valid"], found["exit_code"], found["source"]) == (False, 2, "check")
    lines = BAD.splitlines()
    by_key = {fault["key"]: fault for fault in found["faults"]}
    for key, value, nearest, word in (
        ("luminaires.full_w", "1OO", None, "full_w"),
        ("lighting.settings.day.timout_s", 120, "timeout_s", "timout_s"),
    ):
        fault = by_key[key]
        assert fault["file"] == "bad.toml"
        assert lines[fault["line"] - 1].startswith(word)
        assert fault["value"] == value
        assert fault["nearest"] == nearest
        assert fault["allowed"]
    assert "[W]" in by_key["luminaires.full_w"]["allowed"]
    assert "timeout_s" in by_key["lighting.settings.day.timout_s"]["allowed"]
    keys = {"file", "line", "column", "key", "value", "allowed", "nearest", "message"}
    assert all(set(fault) == keys for fault in found["faults"])


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("check", "nowhere.toml"), 2),
        (("run", "tiny.toml", "--out", "."), 2),
        (("sweep", "tiny.toml", "--vary", "dya.timeout_s=1"), 2),
        (("compare", "tiny.toml"), 2),
        (("explain", "tiny.toml", "A01", "--at", "0"), 2),
        (("verify", "nowhere.csv", "--scenario", "tiny.toml"), 2),
        (("run", "tiny.toml", "--replication", "0", "--out", "tiny.toml/below"), 4),
    ],
)
def test_exit_codes_are_kept_and_faults_told(call: Call, words: tuple[str, ...], code: int) -> None:
    found = call(*words, code=code)
    assert found["exit_code"] == code
    assert found["message"]
    assert bool(found["faults"]) == (code == 2)


def test_wrong_usage_prints_no_document(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["run", "--replications", "none", "--json"])
    assert ended.value.code == 2
    assert capsys.readouterr().out == ""


def test_in_a_pipe_of_few_letters(place: Path) -> None:
    """A title beyond ASCII where the language is C and streams know only ASCII."""
    places = {**os.environ, "LANG": "C", "LC_ALL": "C", "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    code = f"import sys; sys.path.insert(0, {str(ROOT)!r}); from sim.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", code, "check", "tiny.toml", "--json"],
        cwd=place, env=places, capture_output=True, timeout=120, check=False,
    )
    assert done.returncode == 0, done.stderr
    assert read(done.stdout.decode("ascii"))["title"] == TITLE
