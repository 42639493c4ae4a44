"""The commands verify and worksheet: what they write, exit codes, messages without tracebacks, same bytes."""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import json
from pathlib import Path

import numpy as np
import pytest

from sim.scenario.toml import dump_scenario
from sim.show.words.verify import _hours_of, clock_spans
from sim.verification.misfits import DayMisfit
from tests.command import call
from tests.show.made_results import make_scenario
from tests.verification.made_meters import meter_text, other_weeks, small_site


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A site, its meter with four weeks at full and four weeks of lights, and the meter before by itself."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "site.toml").write_text(dump_scenario(small_site()), encoding="utf-8")
    hours = other_weeks(4).reshape(4 * 168, 3).copy()
    hours[8 * 24 : 9 * 24] = 1.0
    before = np.full((4 * 168, 3), 1.0)
    columns = {
        "A01 [kWh measured]": [*before[:, 0], *hours[:, 0]],
        "A02 [kWh measured]": [*before[:, 1], *hours[:, 1]],
        "A03 [kWh calculated]": [*before[:, 2], *hours[:, 2]],
    }
    text = meter_text(columns, start=dt.datetime(2027, 2, 1))
    (tmp_path / "meter.csv").write_text(text, encoding="utf-8")
    alone = meter_text({name: values[:672] for name, values in columns.items()}, dt.datetime(2027, 1, 4))
    (tmp_path / "before.csv").write_text(alone, encoding="utf-8")
    return tmp_path


VERIFY = ("verify", "meter.csv", "--scenario", "site.toml", "--baseline", "2027-02-01..2027-02-28")


def rows_of(path: Path) -> list[dict[str, str]]:
    """Rows of a CSV file."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_verify_writes_what_it_says(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(*VERIFY, "--out", "proof") == 0
    said = capsys.readouterr().out
    assert "all measured, by hour" in said
    assert "Metered saving" in said
    assert "Tue 9 Mar" in said
    assert "A03: calculated from levels, not measured" in said
    assert "compliant" not in said
    assert max(len(line) for line in said.splitlines()) <= 80
    summary = json.loads((place / "proof" / "summary.json").read_text(encoding="utf-8"))
    assert summary["source"] == "verify"
    assert summary["baseline_period"] == ["2027-02-01", "2027-02-28"]
    whole = summary["circuits"][0]
    assert whole["name"] == "all measured"
    assert whole["saving"]["is_proof"]
    assert not summary["circuits"][-1]["saving"]["is_proof"]
    odd = {(day["circuit"], day["day"]) for day in summary["days_that_do_not_fit"]}
    assert odd == {("A01", "2027-03-09"), ("A02", "2027-03-09")}
    days = rows_of(place / "proof" / "days.csv")
    assert len(days) == 3 * 28
    assert {row["day"] for row in days if row["fits"] == "no"} == {"2027-03-09"}
    assert {row["fits"] for row in days if row["circuit"] == "A03"} == {""}
    hours = rows_of(place / "proof" / "hours.csv")
    assert len(hours) == 3 * 672
    metered = sum(float(row["metered_kwh"]) for row in hours if row["kind"] == "measured")
    assert metered == pytest.approx(whole["agreement"]["hour"]["metered_kwh"])
    assert len(rows_of(place / "proof" / "months.csv")) == 3
    week = rows_of(place / "proof" / "week.csv")
    assert len(week) == 3 * 168
    assert week[0]["hour_of_week"] == "Mon 00:00"
    night = [float(row["metered_kwh"]) for row in hours if row["local_time"][10:] == "T00:00"][:28:7]
    assert float(week[0]["metered_kwh"]) == pytest.approx(np.mean(night))
    page = (place / "proof" / "report.html").read_text(encoding="utf-8")
    assert page.count("data:image/svg+xml") == 4
    assert "http" not in page.replace("http://www.w3.org", "")


def test_the_same_bytes_whatever_the_workers(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name, workers in (("one", "1"), ("two", "2")):
        assert call(*VERIFY, "--out", name, "--workers", workers, "--replications", "5") == 0
    capsys.readouterr()
    digests = [
        {
            path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in sorted(folder.rglob("*"))
            if path.is_file()
        }
        for folder in (place / "one", place / "two")
    ]
    assert digests[0] == digests[1]
    assert len(digests[0]) == 15


def test_a_baseline_of_its_own_file(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ("verify", "meter.csv", "--scenario", "site.toml", "--baseline", "before.csv")
    assert call(*words, "--period", "2027-03-01..2027-03-28", "--meter-accuracy", "0.01") == 0
    said = capsys.readouterr().out
    assert "2027-01-04 to 2027-01-31" in said
    assert "an error of 1 % of each meter's reading" in said


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--period", "March"), "write two dates"),
        (("--period", "2027-02-30..2027-03-01"), "no such date"),
        (("--period", "2027-03-05..2027-03-01"), "before the first"),
        (("--period", "2029-03-05..2029-03-07"), "has no hour from"),
        (("--baseline", "none.csv"), "no such file"),
        (("--baseline", "2027-01-01..2027-12-31"), "leaves no dates"),
        (("--baseline", "2027-02-01..2027-02-28", "--period", "2027-02-20..2027-03-10"), "overlaps"),
        (("--circuit", "C1"), "write NAME=A01,A02"),
        (("--circuit", "A01=A09"), "no zone or aisle A09"),
        (("--time-zone", "Europe/Nowhere"), "no time zone of the IANA database"),
    ],
)
def test_bad_options(
    place: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], message: str
) -> None:
    assert call("verify", "meter.csv", "--scenario", "site.toml", *words, "--out", "proof") == 2
    said = capsys.readouterr().err
    assert message in said
    assert "Traceback" not in said
    assert not (place / "proof").exists()


def test_names_are_shown_as_text(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file's own name with markup in it stays text on the page."""
    path = place / "a<b>&.csv"
    path.write_bytes((place / "meter.csv").read_bytes())
    assert call("verify", str(path), "--scenario", "site.toml", "--out", "proof") == 0
    capsys.readouterr()
    page = (place / "proof" / "report.html").read_text(encoding="utf-8")
    assert "a<b>" not in page
    assert "a&lt;b&gt;&amp;.csv" in page


def test_worksheet_of_a_scenario_and_of_its_results(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A results folder gives the sheet that its scenario gives."""
    today = {"luminaires": 40, "full_w": 250.0, "hours_per_year": 6000.0, "source": "x"}
    made = make_scenario(days=7.0, replications=2, today=today)
    (place / "site.toml").write_text(dump_scenario(made), encoding="utf-8")
    assert call("worksheet", "site.toml", "--out", "sheet") == 0
    said = capsys.readouterr().out
    assert "What counts" in said
    assert "Deemed: occupancy, 0.24" in said
    assert max(len(line) for line in said.splitlines()) <= 80
    assert call("run", "site.toml", "--out", "week") == 0
    assert call("worksheet", "week", "--out", "again") == 0
    capsys.readouterr()
    for name in ("worksheet.csv", "worksheet.html"):
        assert (place / "sheet" / name).read_bytes() == (place / "again" / name).read_bytes()
    rows = rows_of(place / "sheet" / "worksheet.csv")
    assert {row["counts"] for row in rows} == {"yes", "no"}
    assert all(row["value"] for row in rows)
    assert call("worksheet", "site.toml", "--out", "sheet") == 2
    assert "exists already" in capsys.readouterr().err
    (place / "empty").mkdir()
    assert call("worksheet", "empty") == 2
    assert "without summary.json" in capsys.readouterr().err


def test_hours_in_words() -> None:
    assert clock_spans([]) == ""
    assert clock_spans([23]) == "23:00 to 24:00"
    assert clock_spans([0, 23]) == "23:00 to 01:00"
    assert clock_spans([3, 4, 8]) == "03:00 to 05:00, 08:00 to 09:00"


def test_two_odd_days_keep_their_own_hours():
    """A relay that sticks from Tuesday evening to Wednesday morning is not "all day"."""

    def odd(day, hours):
        return DayMisfit("site", day, 9.0, 5.0, 4.0, 3.0, hours, "more")

    tuesday = 5  # 1970-01-06
    assert _hours_of([odd(tuesday, (20, 21, 22, 23)), odd(tuesday + 1, (0, 1))]) == (
        "Tue 20:00 to 24:00; Wed 00:00 to 02:00"
    )
    assert _hours_of([odd(tuesday, (3,)), odd(tuesday + 1, (3,))]) == "03:00 to 04:00"
    assert _hours_of([odd(tuesday + day, (3, 4 + day)) for day in range(3)]) == "03:00 to 04:00"
