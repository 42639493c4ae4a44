"""Options of commands that study a site: what they refuse before any work, and what they change."""

from __future__ import annotations

import csv
import datetime as dt
import json
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest

from sim.scenario.toml import dump_scenario
from tests.command import call
from tests.house.test_start import TINY
from tests.show.test_json import PICTURES, WISHES
from tests.verification.made_meters import meter_text, small_site


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working directory with a small scenario; nothing is drawn."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tiny.toml").write_text(TINY + WISHES, encoding="utf-8")
    (tmp_path / "motion.csv").write_text("zone,start,end\nA01,3600,3620\nA01,3700,3720\n", encoding="utf-8")
    visits = "aisle,enter,leave\nA01,3600,3700\nA02,7200,7300\n"
    (tmp_path / "visits.csv").write_text(visits, encoding="utf-8")
    for name, answer in PICTURES.items():
        monkeypatch.setattr(name, lambda *_, answer=answer: answer)
    return tmp_path


def summary_of(folder: str) -> dict[str, object]:
    """What a results folder says in short."""
    found: dict[str, object] = json.loads(Path(folder, "summary.json").read_text(encoding="utf-8"))
    return found


@pytest.mark.parametrize(
    ("hidden", "words", "message"),
    [
        ("pyarrow", ("sweep", "tiny.toml", "--vary", "day.timeout_s=60", "--parquet"), "aislewake[parquet]"),
        ("SALib", ("sensitivity", "tiny.toml", "--method", "morris"), "aislewake[sensitivity]"),
        (
            "pvlib",
            ("skylight", "x.epw", "--indoor-share", "0.02", "--needed-lux", "200"),
            "aislewake[weather]",
        ),
    ],
)
def test_an_extra_that_is_missing_is_told_before_any_work(
    hidden: str,
    words: tuple[str, ...],
    message: str,
    place: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setitem(sys.modules, hidden, None)
    monkeypatch.setattr("sim.scenario.toml.load", None)  # no scenario is read either
    before = sorted(place.iterdir())
    assert call(*words) == 2
    told = capsys.readouterr()
    assert message in told.err
    assert told.out == ""
    assert sorted(place.iterdir()) == before


def test_a_sweep_in_parquet_has_a_row_for_each_point_and_replication(place: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    words = ("sweep", "tiny.toml", "--vary", "day.timeout_s=60,600", "--replications", "2", "--parquet")
    assert call(*words, "--out", "found") == 0
    assert not (place / "found" / "sweep.csv").exists()
    table = parquet.read_table(place / "found" / "sweep.parquet").to_pydict()
    assert (table["day.timeout_s"], table["replication"]) == ([60.0, 60.0, 600.0, 600.0], [0, 1, 0, 1])
    short, long = table["energy_kwh"][:2], table["energy_kwh"][2:]
    assert all(less < more for less, more in zip(short, long, strict=True)), "the longer light costs more"


def test_screening_moves_all_inputs_at_once(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Morris: trajectories of one run more than inputs; volume moves 20 visits an hour in 6 hours.

    Handling takes longer and changes no visit, as long as the trucks get their work done.
    """
    pytest.importorskip("SALib")
    ranges = ("--range", "volume=0.5:1.5", "--range", "handling=0.9:1.1")
    words = ("--of", "visits", "--method", "morris", "--samples", "3", "--replications", "1", "--json")
    assert call("sensitivity", "tiny.toml", *ranges, *words) == 0
    found = json.loads(capsys.readouterr().out)
    assert found == summary_of("tiny-sensitivity-results")
    assert (found["method"], found["points"]) == ("morris", 3 * (2 + 1))
    effects = {one["input"]: one["mean_effect"]["mean"] for one in found["inputs"]}
    assert effects["volume"] == pytest.approx(120.0, abs=3.0 * 120.0**0.5)
    assert effects["handling"] <= 1.0


def test_what_may_be_set_may_be_listed_on_the_command_line(place: Path) -> None:
    words = ("--replications", "2", "--fresh", "2", "--timeouts", "90:150:30", "--levels", "0.25,0.35")
    assert call("recommend", "tiny.toml", *words, "--out", "found") == 0
    with (place / "found" / "settings.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    # the file offers 60 and 600 s, and 0.2
    assert {float(row["timeout_s"]) for row in rows} <= {90.0, 120.0, 150.0}
    assert {float(row["unoccupied_level"]) for row in rows} <= {0.25, 0.35}
    assert summary_of("found")["plans"]


def test_quality_is_of_one_log_and_overwrites_nothing(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    logs = ("--detections", "motion.csv", "--visits", "visits.csv")
    for words in ((), logs):
        assert call("quality", "tiny.toml", *words) == 2
        assert "give one log: --detections, --visits, --moves or --picks" in capsys.readouterr().err
    assert call("quality", "tiny.toml", *logs[:2], "--out", "q.csv") == 0
    table = (place / "q.csv").read_bytes()
    assert call("quality", "tiny.toml", *logs[2:], "--out", "q.csv") == 2
    assert "q.csv: exists already; it is not overwritten" in capsys.readouterr().err
    assert (place / "q.csv").read_bytes() == table
    assert call("quality", "tiny.toml", *logs[2:], "--out", "nowhere/q.csv") == 4
    assert "No such file or directory" in capsys.readouterr().err


def test_a_fit_as_json_is_what_its_folder_says(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ("fit", "visits.csv", "--scenario", "tiny.toml", "--replications", "1")
    assert call(*words, "--out", "fit", "--json") == 0
    told = capsys.readouterr()
    found = json.loads(told.out)
    assert found == summary_of("fit")
    assert found["visits"] == 2.0
    share = {one["key"]: one["value"] for one in found["figures"]}
    assert (share["retrieve share of A01"], share["retrieve share of A02"]) == (0.5, 0.5)
    assert "Results: fit" in told.err
    assert call(*words, "--out", "text") == 0
    assert "Quality of the visits log" in capsys.readouterr().out


def test_a_fit_says_what_the_base_lacks(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (place / "empty.toml").write_text(TINY[: TINY.index("[[trucks]]")], encoding="utf-8")
    assert call("fit", "visits.csv", "--scenario", "empty.toml") == 2
    assert "a fit needs [[trucks]] and [[shifts]] in the base scenario" in capsys.readouterr().err
    grouped = TINY + '\n[[group]]\nname = "both"\naisles = ["A01", "A02"]\n'
    (place / "grouped.toml").write_text(grouped, encoding="utf-8")
    (place / "both.csv").write_text("zone,start,end\nboth,3600,3620\n", encoding="utf-8")
    assert call("fit", "both.csv", "--scenario", "grouped.toml", "--kind", "detections") == 2
    assert "leave [[group]] out of the base" in capsys.readouterr().err
    assert not list(place.glob("*-fit-results"))


def test_a_skylight_over_all_aisles_names_none(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing by night, 100 lx inside in the morning, more than enough until six: caps of 1, 0.5 and 0."""
    day = np.repeat([0.0, 5_000.0, 20_000.0, 0.0], 6)
    monkeypatch.setattr("sim.lighting.weather.why_no_weather", lambda: None)
    monkeypatch.setattr("sim.lighting.weather.outdoor_lux", lambda station: np.tile(day, 365))
    words = ("skylight", "pvlib-12839", "--indoor-share", "0.02", "--needed-lux", "200")
    assert call(*words) == 0
    table = capsys.readouterr().out
    assert "aisles" not in table
    caps = tomllib.loads(table)["skylight"]["caps"]
    assert caps == [[1] * 6 + [0.5] * 6 + [0] * 6 + [1] * 6] * 12
    (place / "lit.toml").write_text(TINY + "\n" + table, encoding="utf-8")
    assert call("check", "lit.toml") == 0
    capsys.readouterr()
    assert call(*words, "--aisles", "A01, A02") == 0
    named = tomllib.loads(capsys.readouterr().out)["skylight"]
    assert named == {"aisles": ["A01", "A02"], "caps": caps}


def test_a_meter_is_read_by_the_clock_that_is_named(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A week with the 28 of March: in Berlin there is no 02:00 on it; where no clock is named, there is."""
    (place / "site.toml").write_text(dump_scenario(small_site()), encoding="utf-8")
    names = [f"A0{number} [kWh measured]" for number in (1, 2, 3)]
    monday = dt.datetime(2027, 3, 22)
    whole = {name: [0.25] * 168 for name in names}
    (place / "plain.csv").write_text(meter_text(whole, monday), encoding="utf-8")
    (place / "berlin.csv").write_text(meter_text(whole, monday, leave_out=[6 * 24 + 2]), encoding="utf-8")
    words = ("--scenario", "site.toml", "--replications", "2", "--json")
    berlin = ("--time-zone", "Europe/Berlin")
    assert call("verify", "plain.csv", *words, *berlin) == 2
    assert "2027-03-28" in capsys.readouterr().err
    for file, zone, hours in (("plain.csv", (), 168), ("berlin.csv", berlin, 167)):
        assert call("verify", file, *words, *zone) == 0
        found = json.loads(capsys.readouterr().out)
        assert found["source"] == "verify"
        agreement = found["circuits"][0]["agreement"]
        assert agreement["hour"]["metered_kwh"] == pytest.approx(3 * 0.25 * hours)
        # with its 23 hours the Sunday is a whole day; for the plain clock it would lack one
        assert agreement["day"]["metered_kwh"] == pytest.approx(3 * 0.25 * hours)
    assert call("verify", "berlin.csv", *words) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["circuits"][0]["agreement"]["day"]["metered_kwh"] == pytest.approx(3 * 0.25 * 144)
