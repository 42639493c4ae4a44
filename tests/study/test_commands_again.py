"""Commands that take up a results folder again: a run, one replication of it, a replayed log."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sim.replication import prepare_site, simulate_traffic
from sim.scenario.toml import load_scenario
from sim.show.numbers.film import FilmNumbers, film_numbers
from sim.study.replications.replicate import replay, run
from tests.command import call
from tests.house.test_start import TINY

SITE = TINY.replace("aisle_pitch_m = 5.0", "aisle_pitch_m = 5.0\nstaging_depth_m = 6.0")
"""Two aisles of 0.3 kW, 30 % when nothing was seen for 120 s; no latency, no fades."""
VISITS = "aisle,enter,leave\nA01,3600,3700\nA02,3650,3800\n"
DETECTIONS = "zone,start,end\nA01,3600,3610\nA02,3650,3660\n"


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A scenario and four results folders: a run, its replication 1 alone, a log, a log of motion alone."""
    place = tmp_path_factory.mktemp("again")
    (place / "tiny.toml").write_text(SITE, encoding="utf-8")
    (place / "seven.toml").write_text(SITE.replace("days = 0.25", "days = 7"), encoding="utf-8")
    (place / "visits.csv").write_text(VISITS, encoding="utf-8")
    (place / "motion.csv").write_text(DETECTIONS, encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(place)
        patch.setattr("sim.show.figures.draw.draw_figures", lambda *_: [])
        assert call("run", "tiny.toml", "--replications", "2", "--out", "week") == 0
        assert call("run", "tiny.toml", "--replication", "1", "--out", "one") == 0
        words = ("replay", "seven.toml", "--detections", "motion.csv")
        assert call(*words, "--visits", "visits.csv", "--out", "log") == 0
        assert call(*words, "--out", "motion") == 0
    return place


@pytest.fixture
def place(
    folders: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Iterator[Path]:
    """The folder with them as working directory; what a test adds is taken away."""
    monkeypatch.chdir(folders)
    capsys.readouterr()
    before = set(folders.iterdir())
    yield folders
    for path in set(folders.iterdir()) - before:
        shutil.rmtree(path) if path.is_dir() else path.unlink()


@pytest.fixture
def films(monkeypatch: pytest.MonkeyPatch) -> list[FilmNumbers]:
    """What would be drawn; a film is a few bytes here."""
    found: list[FilmNumbers] = []

    def keep(numbers: FilmNumbers, start: Any, out: Path, *_: Any) -> None:
        found.append(numbers)
        out.write_bytes(b"GIF89a")

    monkeypatch.setattr("sim.show.figures.film.write_film", keep)
    return found


FILM = ("--at", "3600", "--hours", "0.1", "--frames", "12", "--force", "--out", "f.gif")


@pytest.mark.parametrize(
    ("words", "replication"),
    [
        (("week",), 0),
        (("one",), 1),
        (("week", "--replication", "1"), 1),
        (("tiny.toml", "--replication", "1"), 1),
    ],
)
def test_a_film_is_of_the_replication_that_the_folder_holds(
    words: tuple[str, ...], replication: int, place: Path, films: list[FilmNumbers]
) -> None:
    assert call("film", *words, *FILM) == 0
    (film,) = films
    site = load_scenario(place / "tiny.toml")
    for number in (0, 1):
        ways = simulate_traffic(prepare_site(site), number, keep_open_runs=True).open_runs
        alone = film_numbers(run(site, replication=number), 3600.0, 3960.0, 12, ways)
        assert np.array_equal(film.time_s, alone.time_s)
        assert np.array_equal(film.level, alone.level) is (number == replication)
        assert (film.dots == alone.dots) is (number == replication)
    # a run knows where the trucks are outside the aisles too
    assert film.depth_m == 6.0
    assert any(not dot.is_lit for dots in film.dots for dot in dots)


def test_a_film_of_a_log_shows_what_the_log_knows(
    place: Path, films: list[FilmNumbers], capsys: pytest.CaptureFixture[str]
) -> None:
    """Both visits overlap the film and have no bay: their trucks are in no frame, and that is said."""
    assert call("film", "log", *FILM) == 0
    told = capsys.readouterr().out
    assert "2 visits are not in the plan: the log does not say where they were." in told
    (film,) = films
    assert film.unplaced == 2
    assert film.depth_m == 0.0, "nobody knows the ways outside the aisles"
    assert not any(film.dots)
    site = load_scenario(place / "seven.toml")
    alone = film_numbers(replay(site, detections=place / "motion.csv"), 3600.0, 3960.0, 12)
    assert np.array_equal(film.level, alone.level)
    assert film.level.max() > film.level.min()
    assert call("film", "motion", *FILM) == 0
    assert "not in the plan" not in capsys.readouterr().out, "no visits, nothing to place"
    assert call("film", "log", "--replication", "0", *FILM) == 0
    capsys.readouterr()
    assert call("film", "log", "--replication", "1", *FILM) == 2
    assert "--replication 1: log holds a measured log, of which there is one" in capsys.readouterr().err
    assert call("film", "week", "--at", "Tue 02:10") == 2, "the run ends on Monday"
    assert "not within the run" in capsys.readouterr().err


def test_a_film_that_the_disk_refuses_leaves_nothing(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def begin(_: Any, __: Any, out: Path, *___: Any) -> None:
        out.write_bytes(b"half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("sim.show.figures.film.write_film", begin)
    assert call("film", "week", *FILM) == 4
    assert capsys.readouterr().err == "f.gif: No space left on device\n"
    assert not (place / "f.gif").exists()


def test_the_worst_of_a_log(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A02 is seen until 3660 and low 120 s later, 20 s before its truck leaves; A01's is gone by then."""
    assert call("explain", "log", "--worst", "5", "--json") == 0
    (spell,) = json.loads(capsys.readouterr().out)["spells"]
    assert (spell["aisle"], spell["length_s"], spell["least_level"]) == ("A02", 20.0, 0.3)
    assert call("explain", "motion", "--worst", "5") == 2
    assert "motion: no visits are known, so that nobody was in the dark" in capsys.readouterr().err
    assert call("explain", "motion", "A02", "--at", "3790") == 0
    assert "No truck is in the aisle, as far as is known" in capsys.readouterr().out
    assert call("explain", "log", "A02", "--at", "3790") == 0
    assert "is in the aisle" in capsys.readouterr().out


def test_going_on_until_a_difference_is_known_to_a_value_or_a_share(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    longer = SITE.replace("timeout_s = 120", "timeout_s = 600")
    (place / "longer.toml").write_text(longer, encoding="utf-8")
    words = ("compare", "tiny.toml", "longer.toml", "--replications", "2", "--json")
    words = (*words, "--outcome", "energy_kwh")
    reached = {}
    for until in ("0.05", "5%"):
        assert call(*words, "--until", f"energy_kwh={until}") == 0
        found = json.loads(capsys.readouterr().out)
        assert found["goal"]["is_reached"]
        reached[until] = found["differences"][0]["outcomes"]["energy_kwh"]
    assert reached["0.05"]["half_width"] <= 0.05
    # 5 % of a difference of more than 1 kWh is more than 0.05 kWh, and enough
    assert 0.05 < reached["5%"]["half_width"] <= 0.05 * reached["5%"]["mean"]
    for until in ("energy_kwh=0%", "energy_kwh=100%", "energy_kwh=inf", "energy_kwh=nan"):
        assert call(*words, "--until", until) == 2
        assert "write energy_kwh=VALUE with a value above 0, or energy_kwh=5%" in capsys.readouterr().err


def test_a_worksheet_of_a_log_is_that_of_its_replay(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call("worksheet", "log", "--out", "sheet", "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found == json.loads((place / "sheet" / "summary.json").read_text(encoding="utf-8"))
    # 0.6 kW at 30 % all the year; on each of 52 Mondays 2 x 130 s of 0.3 kW at the other 70 %
    kwh = 365.0 * 24.0 * 0.18 + 52.0 * 2.0 * 130.0 * 0.21 / 3600.0
    assert found["kwh"]["mean"] == pytest.approx(kwh, rel=1e-9)
    assert found["bases"][0]["kwh"]["mean"] == pytest.approx(365.0 * 24.0 * 0.6, rel=1e-9)
    # the sheet of another log is another one
    assert call("worksheet", "week", "--out", "other") == 2, "a quarter of a day is not a year"
    assert "needs at least 7 [d]" in capsys.readouterr().err


def test_a_handover_of_a_scenario(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call("handover", "tiny.toml", "--weeks", "1", "--replications", "2") == 0
    told = capsys.readouterr().out
    assert "Settings: as the scenario tiny.toml states them" in told
    assert "Functional test: " in told
    assert (place / "tiny-handover" / "handover.html").is_file()
    assert call("handover", "tiny.toml") == 2
    assert "tiny-handover: exists already" in capsys.readouterr().err
