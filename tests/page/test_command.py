"""`aislewake page` and `aislewake estimate`: what they write, say and refuse."""

from __future__ import annotations

import html.parser
import json
from pathlib import Path
from typing import Any

import pytest

import sim
from sim.show.page.bundle import data_text
from sim.show.page.data import Source
from sim.show.page.write import render_page
from tests.command import call
from tests.study.decide_site import TEXT

MARKUP = "a<b>&\"'\N{LINE SEPARATOR}</script>"


class Reader(html.parser.HTMLParser):
    """Collects the page's elements and the text of its scripts."""

    def __init__(self) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag == "script":
            self.scripts.append("")

    def handle_data(self, data: str) -> None:
        if self.elements and self.elements[-1][0] == "script":
            self.scripts[-1] += data


def read(path: Path) -> tuple[Reader, dict[str, Any]]:
    """Return a page's elements and its data."""
    reader = Reader()
    reader.feed(path.read_text(encoding="utf-8"))
    return reader, json.loads(reader.scripts[0])


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A scenario file in the working directory."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "site.toml"
    path.write_text(TEXT, encoding="utf-8")
    return path


def test_a_scenario_becomes_one_file(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call("page", "site.toml", "--replications", "2", "--variant", "twin=site.toml") == 0
    assert "Wrote what-if.html" in capsys.readouterr().out
    reader, data = read(Path("what-if.html"))
    assert [one["name"] for one in data["variants"]] == ["as planned", "twin"]
    assert [len(one["runs"]) for one in data["variants"]] == [2, 2]
    outside = ("src", "href", "srcset", "data", "action")
    links = [value for _, given in reader.elements for key, value in given.items() if key in outside]
    assert links == ["data:,"]
    # it is not replaced unasked
    assert call("page", "site.toml", "--replications", "2") == 2
    assert "exists already" in capsys.readouterr().err
    assert call("page", "site.toml", "--replications", "1", "--force") == 0


def test_a_results_folder_keeps_its_replications(site: Path) -> None:
    assert call("run", "site.toml", "--replications", "3", "--out", "found") == 0
    assert call("page", "found", "--out", "page.html") == 0
    _, data = read(Path("page.html"))
    stored = json.loads(Path("found/summary.json").read_text(encoding="utf-8"))
    runs = data["variants"][0]["runs"]
    mean = sum(run["found"]["energy_kwh"] for run in runs) / 3
    assert len(runs) == 3
    assert mean == pytest.approx(stored["outcomes"]["energy_kwh"]["mean"], rel=1e-12)
    assert call("page", "found", "--out", "more.html", "--replications", "4") == 2


def test_a_replayed_log_has_a_page(site: Path) -> None:
    assert call("run", "site.toml", "--replication", "0", "--out", "found") == 0
    logs = ("--detections", "found/detections.csv", "--visits", "found/visits.csv")
    assert call("replay", "site.toml", *logs, "--out", "again") == 0
    assert call("page", "again", "--out", "page.html") == 0
    _, data = read(Path("page.html"))
    stored = json.loads(Path("again/summary.json").read_text(encoding="utf-8"))
    (run,) = data["variants"][0]["runs"]
    assert data["t_quantile"] is None
    for name in ("energy_kwh", "dim_truck_s", "switch_ups"):
        assert run["found"][name] == pytest.approx(stored["outcomes"][name]["mean"], rel=1e-12)
    assert call("page", "again", "--out", "two.html", "--variant", "other=site.toml") == 2


@pytest.mark.parametrize(
    ("change", "variant", "words"),
    [
        ("", "site.toml", "write NAME=FILE"),
        ("", "other=nowhere.toml", "nowhere.toml"),
        ("day->shift", "other=other.toml", "one set of sliders must serve both"),
        ("days = 1->days = 2", "other=other.toml", "start and days"),
    ],
)
def test_a_variant_that_does_not_fit_is_refused(
    site: Path, capsys: pytest.CaptureFixture[str], change: str, variant: str, words: str
) -> None:
    text = TEXT
    if change == "day->shift":
        text = text.replace("settings.day]", "settings.shift]").replace('"day"', '"shift"')
    elif change:
        text = "".join(
            "days = 2\n" if line.startswith("days = ") and "[[" not in line and '"' not in line else line
            for line in text.splitlines(keepends=True)
        )
    Path("other.toml").write_text(text, encoding="utf-8")
    assert call("page", "site.toml", "--variant", variant) == 2
    said = capsys.readouterr().err
    assert words in said
    assert "Traceback" not in said
    assert not Path("what-if.html").exists()


def test_a_site_under_skylights_has_a_page(site: Path) -> None:
    """Half the day at three tenths; an hour at which the cap stays is no border."""
    caps = [[1.0] * 8 + [0.3] * 8 + [1.0] * 8] * 12
    Path("bright.toml").write_text(f'{TEXT}\n[skylight]\naisles = ["A02"]\ncaps = {caps}\n', encoding="utf-8")
    assert call("page", "bright.toml", "--replications", "1") == 0
    _, data = read(Path("what-if.html"))
    (variant,) = data["variants"]
    assert variant["daylight"] == [[0.0, 8 * 3600.0, 16 * 3600.0], [1.0, 0.3, 1.0]]
    capped = [variant["programs"][place]["is_capped"] for place in variant["zone_program"]]
    assert capped == [False, True, False]
    assert "in 1 of 3 places" in variant["daylight_words"]


def test_drivers_who_react_are_refused(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = TEXT.replace("[[trucks]]", "[[trucks]]\ndim_speed_factor = 0.5", 1)
    Path("shy.toml").write_text(text, encoding="utf-8")
    assert call("page", "shy.toml") == 2
    said = capsys.readouterr().err
    assert "react to the light" in said
    assert "Traceback" not in said
    assert not Path("what-if.html").exists()


def test_the_same_page_twice_is_the_same_text() -> None:
    sources = [Source("as planned", sim.load("cross-dock"))]
    assert render_page(sources, [0]) == render_page(sources, [0])


def test_data_can_hold_any_text_and_no_markup() -> None:
    text = data_text({"name": MARKUP})
    assert json.loads(text) == {"name": MARKUP}
    assert not set("<>&\N{LINE SEPARATOR}") & set(text)


def test_estimate_prints_three_options(capsys: pytest.CaptureFixture[str]) -> None:
    assert call("estimate", "--aisles", "40", "--cost", "900") == 0
    said = capsys.readouterr().out
    assert all(word in said for word in ("lean", "balanced", "cautious", "two weeks"))
    assert call("estimate", "--busiest", "1.5") == 2
