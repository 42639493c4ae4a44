"""The fit as a user meets it: every kind of log, small and odd ones, and what comes out runs."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from sim.cli import aislewake
from sim.errors import InputError
from sim.lighting.timetable import place_programs
from sim.replication import prepare_site, sense_visits, simulate_traffic
from sim.scenario.log_columns import read_columns_file
from sim.scenario.toml import load_scenario, parse_scenario
from sim.show.figures.fit import draw_fit_gaps, draw_fit_visits
from sim.study.from_logs.fit import fit_site
from sim.study.from_logs.goodness import judge_fit
from sim.study.from_logs.log import read_site_log
from sim.study.from_logs.traffic import kind_of_log
from sim.study.replications.replicate import replay
from tests.truth.test_truth_site_fit import SITE, made_site, write_visits

LOGS = {
    "visits": "aisle,enter,leave\nA01,3600,3700\n",
    "moves": "time,from,to\n3600,A01-3,A02-3\n3900,A01-3,A01-9\n",
    "picks": "time,location\n3600,A01\n3600,A01\n",
    "detections": "zone,start,end\nA01,3600,3620\n",
}


def put(folder: Path, name: str, text: str) -> Path:
    """Write a file."""
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def call(*words: str | Path) -> tuple[int, str]:
    """Exit code and output of a command."""
    done = CliRunner().invoke(aislewake, [str(word) for word in words], catch_exceptions=False)
    return done.exit_code, done.output


@pytest.mark.parametrize("kind", LOGS)
def test_the_smallest_log_of_each_kind_fits_and_runs(kind: str, tmp_path: Path) -> None:
    """Whatever the header tells, without --kind; the scenario that comes out runs."""
    base, log, out = put(tmp_path, "base.toml", SITE), put(tmp_path, "log.csv", LOGS[kind]), tmp_path / "fit"
    code, text = call("fit", log, "--scenario", base, "--replications", "1", "--out", out)
    assert code == 0, text
    assert json.loads((out / "summary.json").read_text(encoding="utf-8"))["log"] == kind
    fitted = load_scenario(out / "scenario.toml")
    assert fitted.work
    assert {path.name for path in (out / "figures").iterdir()} == {
        "gaps.png", "gaps.svg", "visits.png", "visits.svg",
    }
    code, text = call("run", out / "scenario.toml", "--replications", "1", "--out", tmp_path / "run")
    assert code == 0, text


def test_figures_of_a_fit_have_their_intervals(tmp_path: Path) -> None:
    base, log, out = put(tmp_path, "base.toml", SITE), tmp_path / "visits.csv", tmp_path / "fit"
    write_visits(made_site(), 0, log)
    assert call("fit", log, "--scenario", base, "--out", out)[0] == 0
    with (out / "fit.csv").open(encoding="utf-8") as file:
        rows = {row["figure"]: row for row in csv.DictReader(file)}
    for name, row in rows.items():
        if row["low"]:
            assert float(row["low"]) <= float(row["value"]) <= float(row["high"]), name
    visits = sum(int(row["count"]) for name, row in rows.items() if row["unit"] == "1/h")
    assert visits == len(log.read_text(encoding="utf-8").splitlines()) - 1
    traffic = (out / "traffic.toml").read_text(encoding="utf-8")
    trucks, shifts, work = (SITE.index(f"[[{table}]]") for table in ("trucks", "shifts", "work"))
    text = SITE[:trucks] + traffic + SITE[shifts:work]
    assert parse_scenario(text).work == load_scenario(out / "scenario.toml").work, "the section goes back in"


def test_the_same_log_gives_the_same_bytes(tmp_path: Path) -> None:
    base, log = put(tmp_path, "base.toml", SITE), tmp_path / "visits.csv"
    write_visits(made_site(), 0, log)
    folders = [tmp_path / name for name in ("a", "b")]
    for folder in folders:
        assert call("fit", log, "--scenario", base, "--replications", "1", "--out", folder)[0] == 0
    for path in sorted(folders[0].rglob("*")):
        if path.is_file():
            assert path.read_bytes() == (folders[1] / path.relative_to(folders[0])).read_bytes(), path.name


def test_what_a_fit_refuses(tmp_path: Path) -> None:
    site = made_site()
    with pytest.raises(InputError, match="that of no log; expected detections: zone,start,end"):
        kind_of_log(site, put(tmp_path, "a.csv", "a,b\n1,2\n"))
    form = read_columns_file(put(tmp_path, "c.toml", "[locations]\noutside = 'D.*'\n"))
    moves = put(tmp_path, "b.csv", "time,from,to\n1,D1,D2\n")
    with pytest.raises(InputError, match="no row lies in an aisle"):
        read_site_log(site, "moves", moves, form=form)
    closed = prepare_site(parse_scenario(SITE.replace("days = 1", "days = 1\nholidays = [2027-03-01]")))
    with pytest.raises(InputError, match="holidays"):
        read_site_log(closed, "visits", put(tmp_path, "v.csv", LOGS["visits"]))
    empty = parse_scenario(SITE[: SITE.index("[[trucks]]")])
    with pytest.raises(InputError, match="trucks"):
        fit_site(empty, site.layout, read_site_log(site, "visits", tmp_path / "v.csv"))


def test_several_picks_of_a_visit_are_one_stand(tmp_path: Path) -> None:
    """Two picks 35 s apart: from the end of the way in to the way out, 40 s + 35 s."""
    rows = "".join(f"{900 * k},A01-3,x\n{900 * k + 35},A01-3,x\n" for k in range(1, 60))
    path = put(tmp_path, "picks.csv", f"time,location,truck\n{rows}")
    log = read_site_log(made_site(), "picks", path)
    assert log.stand_s == pytest.approx(np.full(59, 75.0))
    assert any("several handlings" in notice for notice in log.notices)


def test_pictures_of_a_fit_show_what_was_counted(tmp_path: Path) -> None:
    path = tmp_path / "visits.csv"
    site = made_site()
    write_visits(site, 0, path)
    log = read_site_log(site, "visits", path)
    fit = fit_site(site.scenario, site.layout, log)
    goodness = judge_fit(fit, log, 1)
    gaps = draw_fit_gaps(fit.scenario, goodness)
    shown = [axes for axes in gaps.axes if axes.get_visible()]
    assert len(shown) == 4
    assert all(axes.get_xscale() == "log" for axes in shown)
    measured = shown[0].lines[0].get_xydata()
    at, share = measured[100]
    assert share == pytest.approx(100.0 * (goodness.gaps_s > at).mean(), abs=1e-9)
    delays = {float(program.delay_s[0]) for program in place_programs(fit.scenario)}
    drawn = {line.get_xdata()[0] for line in shown[0].lines if line.get_linestyle() == ":"}
    assert drawn == delays
    visits = draw_fit_visits(goodness)
    bars = [patch.get_height() for patch in visits.axes[1].patches]
    assert bars == log.events.sum(axis=(0, 2)).tolist()


def test_a_replayed_log_of_slow_aisles_is_seen_as_it_was(tmp_path: Path) -> None:
    """The speed limit inside aisles holds for logged visits: the sensors see what they saw in the run."""
    site = prepare_site(
        parse_scenario(
            SITE.replace("still_rate_per_min = 30", "").replace(
                "handling_mean_s", "aisle_speed_m_per_s = 0.8\nhandling_mean_s"
            )
        )
    )
    write_visits(site, 3, tmp_path / "visits.csv")
    seen = replay(site.scenario, visits=tmp_path / "visits.csv").close_look.detections
    visits = simulate_traffic(site, 3).visits
    assert visits is not None
    before = sense_visits(site, visits, 3)
    assert seen.start == pytest.approx(before.start, abs=1e-6)
    assert seen.end == pytest.approx(before.end, abs=1e-6)
