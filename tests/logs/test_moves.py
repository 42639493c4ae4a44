"""Moves and picks: visits by the dwell model, pseudonyms, the table of timeouts."""

from __future__ import annotations

import csv
import random
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.cli import aislewake
from sim.errors import InputError
from sim.floor.layout import lay_out
from sim.logs.form import LocationWords, LogForm
from sim.replication import Site, prepare_site, simulate_traffic
from sim.scenario.toml import load_scenario, parse_scenario
from sim.study.replications.replicate import replay
from sim.traffic.dwell import dwell_visits
from sim.traffic.kinematics import travel_time
from sim.traffic.move_logs import MoveKind, read_stops
from tests.truth.test_truth_site_fit import SITE as TRUTH_SITE

CORPUS = Path(__file__).parents[1] / "corpus" / "logs"
SITE = load_scenario(CORPUS / "site.toml")
LAYOUT = lay_out(SITE)
FORM = LogForm(locations=LocationWords(bay_m=2.0, outside="DOCK.*"))
IN, OUT, HANDLING = 2.5, 2.0, 30.0
"""Of the corpus' site: empty in, laden out [m/s], no acceleration; handling [s]."""


def visits_of(folder: Path, rows: Sequence[str], kind: MoveKind = "picks"):  # type: ignore[no-untyped-def]
    """Visits and what was assumed."""
    header = "time,from,to,truck" if kind == "moves" else "time,location,truck"
    path = folder / "log.csv"
    path.write_text("\n".join([header, *rows]), encoding="utf-8")
    return dwell_visits(SITE, LAYOUT, read_stops(path, kind, SITE, LAYOUT, form=FORM))


def test_one_pick_by_hand(tmp_path: Path) -> None:
    """Bay 5 lies at 9 m: in by 9/2.5 s, 30 s of handling, out by 9/2.0 s."""
    visits, note = visits_of(tmp_path, ["1000,A01-5,x"])
    assert visits.enter.tolist() == [1000.0 - HANDLING - 9.0 / IN]
    assert visits.leave.tolist() == [1000.0 + 9.0 / OUT]
    assert visits.moves.start.tolist() == [1000.0 - HANDLING - 9.0 / IN, 1000.0]
    assert (note.visits, note.without_bay, note.without_truck, note.hurried) == (1, 0, 0, 0)


def test_a_putaway_comes_laden(tmp_path: Path) -> None:
    rows = ["1000,DOCK1,A01-5,x", "2000,A02-5,DOCK1,x", "3000,DOCK1,DOCK2,x"]
    visits, _ = visits_of(tmp_path, rows, "moves")
    assert visits.enter.tolist() == [1000.0 - HANDLING - 9.0 / OUT, 2000.0 - HANDLING - 9.0 / IN]
    assert [visits.task_names[task] for task in visits.task] == ["putaway", "retrieve"]


def test_rack_to_rack_is_two_visits(tmp_path: Path) -> None:
    """Set-down at 1000 s in A02 (bay 9 m); fetched in A01 (9 m): back over both ways and the 5 m between."""
    visits, _ = visits_of(tmp_path, ["1000,A01-5,A02-5,x"], "moves")
    assert visits.aisle.tolist() == [0, 1]
    fetched = 1000.0 - HANDLING - 9.0 / OUT - 5.0 / OUT - 9.0 / OUT
    assert visits.leave[0] == pytest.approx(fetched + 9.0 / OUT, abs=1e-9)
    assert visits.enter[1] == pytest.approx(1000.0 - HANDLING - 9.0 / OUT, abs=1e-9)
    assert visits.enter[1] > visits.leave[0]


def test_picks_of_one_truck_in_one_aisle_are_one_visit(tmp_path: Path) -> None:
    """40 s apart there was no time for a door and back; 10 minutes apart there was; another truck counts."""
    rows = ["1000,A01-5,x", "1040,A01-8,x", "1640,A01-8,x", "1645,A01-8,y"]
    visits, _ = visits_of(tmp_path, rows)
    assert len(visits) == 3
    assert visits.leave[0] == 1040.0 + 15.0 / OUT
    first = visits.moves.visit == 0
    assert visits.moves.to_m[first].tolist() == [9.0, 15.0, 0.0]
    lost = travel_time(6.0, IN, 0.0)
    assert visits.moves.start[first][1] == pytest.approx(1040.0 - HANDLING - float(lost))


def test_a_truck_is_never_in_two_aisles(tmp_path: Path) -> None:
    """Rows closer together than the model's ways: the stays are shortened, and told."""
    rng = np.random.default_rng(5)
    times = np.cumsum(rng.integers(1, 40, size=300)) + 100
    rows = [f"{time},{rng.choice(['A01', 'A02', 'B 1'])}-{rng.integers(1, 15)},x" for time in times]
    visits, note = visits_of(tmp_path, rows)
    assert note.hurried > 0
    assert (visits.leave > visits.enter).all()
    order = np.argsort(visits.enter, kind="stable")
    assert (visits.enter[order][1:] >= visits.leave[order][:-1] - 1e-9).all()
    assert (np.diff(visits.moves.start[visits.moves.visit == 0]) >= 0).all()


def test_rows_without_truck_and_bay_are_told(tmp_path: Path) -> None:
    visits, note = visits_of(tmp_path, ["1000,A01,", "1010,A01,"])
    assert len(visits) == 2
    assert (note.without_bay, note.without_truck) == (2, 2)
    assert visits.bay_m.tolist() == [20.0, 20.0]
    assert len(note.sentences()) == 3


def test_the_timeouts_are_those_of_a_replay_with_each(tmp_path: Path) -> None:
    """Against a run of the whole replay with the timeout in the scenario."""
    rng = np.random.default_rng(1)
    times = np.sort(rng.integers(100, 80_000, size=200))
    rows = [f"{time},A0{rng.integers(1, 3)}-{rng.integers(1, 15)},t{rng.integers(4)}" for time in times]
    path = tmp_path / "picks.csv"
    path.write_text("\n".join(["time,location,truck", *rows]), encoding="utf-8")
    table = replay(SITE, picks=path, form=FORM).tables[0]
    for timeout in (60.0, 300.0):
        settings = {"all": SITE.lighting.settings["all"].model_copy(update={"timeout_s": timeout})}
        lighting = SITE.lighting.model_copy(update={"settings": settings})
        other = replay(SITE.model_copy(update={"lighting": lighting}), picks=path, form=FORM)
        row = next(
            dict(zip(table.header, one, strict=True))
            for one in table.rows
            if one[0] == "all aisles" and float(one[1]) == timeout
        )
        assert float(row["energy_kwh"]) == pytest.approx(other.outcomes[0].total["energy_kwh"], abs=1e-3)
        assert int(row["switch_ups"]) == other.outcomes[0].total["switch_ups"]
        gaps = np.concatenate(
            [
                start[1:] - end[:-1]
                for start, end in map(other.close_look.detections.of_zone, range(3))
            ]
        )
        assert float(row["gaps_longer_share"]) == pytest.approx((gaps > timeout).mean(), abs=1e-4)


IDS = ("Quasselbrink", "KX-4711", "Ödön", "=cmd")


def test_names_of_people_and_trucks_leave_no_trace(tmp_path: Path) -> None:
    """Neither in the terminal's text nor in any file of the results, pictures included."""
    log = tmp_path / "export.csv"
    with log.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["Time", "Place", "Lift", "Driver", "Note"])
        for row in range(200):
            place = f"A0{1 + row % 2}-{1 + row % 12}"
            lift = "KX-4711" if row % 3 else ""
            writer.writerow([100 + 300 * row, place, lift, IDS[row % 4], "Quasselbrink"])
    columns = tmp_path / "c.toml"
    columns.write_text(
        '[columns]\ntime = "Time"\nlocation = "Place"\ntruck = "Lift"\noperator = "Driver"\n'
        "[locations]\nbay_m = 2.0\n",
        encoding="utf-8",
    )
    out = tmp_path / "out"
    for command in (
        ["replay", str(CORPUS / "site.toml"), "--picks", str(log)],
        ["fit", str(log), "--scenario", str(put_shift(tmp_path)), "--replications", "1"],
    ):
        done = CliRunner().invoke(
            aislewake, [*command, "--columns", str(columns), "--out", str(out), "--force"],
            catch_exceptions=False,
        )
        assert done.exit_code == 0
        assert not traces(out, done.output)
        visits = out / "visits.csv"
        assert not visits.exists() or "T01" in visits.read_text(encoding="utf-8")
    (out / "note.txt").write_text("by Quasselbrink", encoding="utf-8")
    assert traces(out, ""), "the search can find something"


def traces(folder: Path, text: str) -> list[str]:
    """Names found in a folder's files and a text."""
    files = {path.name: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    files["terminal"] = text.encode()
    return [f"{name} in {file}" for file, data in files.items() for name in IDS if name.encode() in data]


def put_shift(folder: Path) -> Path:
    """The corpus' site with somebody on duty, so that a fit can be simulated."""
    path = folder / "base.toml"
    text = (CORPUS / "site.toml").read_text(encoding="utf-8")
    path.write_text(
        text + '[[shifts]]\ntrucks = "reach"\nfrom = "00:00"\nto = "24:00"\ncrew = 2\n', encoding="utf-8"
    )
    return path


def test_only_one_log_may_tell_where_trucks_were(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="give one of visits, moves and picks"):
        replay(SITE, picks=tmp_path / "a.csv", moves=tmp_path / "b.csv")


def test_the_quality_command_writes_its_table(tmp_path: Path) -> None:
    log = tmp_path / "motion.csv"
    log.write_text("zone,start,end\nA01,0,1\nA01,0,1\nA9,5,6\n", encoding="utf-8")
    out = tmp_path / "q.csv"
    words = ["quality", str(CORPUS / "site.toml"), "--detections", str(log), "--out", str(out)]
    done = CliRunner().invoke(aislewake, words, catch_exceptions=False)
    assert done.exit_code == 0
    assert "rows of an unknown zone" in done.output
    rows = list(csv.reader(out.open(encoding="utf-8")))
    assert ["rows that stand twice", "1", ""] in rows


def simulated_moves(handling_cv: float) -> tuple[list[str], np.ndarray, np.ndarray, LogForm, Site]:
    """Rows of putaways as a warehouse system logs them; entries and exits that the simulation knows."""
    text = TRUTH_SITE.replace("handling_cv = 0.5", f"handling_cv = {handling_cv}")
    text = text.replace('kind = "retrieve"', 'kind = "putaway"')
    site = prepare_site(parse_scenario(text))
    visits = simulate_traffic(site, 0).visits
    assert visits is not None
    assert visits.moves is not None
    last = np.searchsorted(visits.moves.visit, np.arange(len(visits)), side="right") - 1
    handled = visits.moves.start[last]
    whole = np.flatnonzero((visits.leave < site.scenario.duration_s) & (handled < site.scenario.duration_s))
    order = whole[np.argsort(handled[whole], kind="stable")]
    table = {f"L{row}": (site.layout.aisles[visits.aisle[row]], float(visits.bay_m[row])) for row in order}
    form = LogForm(locations=LocationWords(table=table, outside="DOCK"))
    rows = [f"{float(handled[row])!r},DOCK,L{row},{visits.truck_names[visits.truck[row]]}" for row in order]
    return rows, visits.enter[whole], visits.leave[whole], form, site


@pytest.mark.parametrize(("spread", "is_same"), [(0.0, True), (0.5, False)])
def test_the_dwell_model_gives_back_simulated_visits(spread: float, is_same: bool, tmp_path: Path) -> None:
    """Truth: the visits that the simulation knows. With handling times that never vary the model is exact.

    Negative control: with times that vary, which a log of moves does not tell, entries differ.
    """
    rows, enter, leave, form, site = simulated_moves(spread)
    path = tmp_path / "moves.csv"
    path.write_text("\n".join(["time,from,to,truck", *rows]), encoding="utf-8")
    stops = read_stops(path, "moves", site.scenario, site.layout, form=form)
    visits, note = dwell_visits(site.scenario, site.layout, stops)
    assert len(visits) == len(enter)
    assert np.sort(visits.leave) == pytest.approx(np.sort(leave), abs=1e-6)
    assert (np.abs(np.sort(visits.enter) - np.sort(enter)).max() < 1e-6) == is_same
    assert (note.hurried == 0) or not is_same


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 80_000), st.integers(1, 14), st.sampled_from("xyz")), min_size=1, max_size=30
    ),
    st.randoms(use_true_random=False),
)
def test_shuffled_and_sorted_moves_are_those_in_order(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[int, int, str]], rng: random.Random
) -> None:
    """`sort` gives the same stops whatever the order of rows with times of their own."""
    folder = tmp_path_factory.mktemp("moves")
    own = {time: f"{time},A01-{bay},{truck}" for time, bay, truck in rows}
    lines = [own[time] for time in sorted(own)]
    path = folder / "log.csv"
    found = []
    for _ in range(2):
        path.write_text("\n".join(["time,location,truck", *lines]), encoding="utf-8")
        stops = read_stops(path, "picks", SITE, LAYOUT, sort=True, form=FORM)
        found.append((stops.time.tolist(), stops.bay_m.tolist(), stops.line.tolist()))
        rng.shuffle(lines)
    assert found[0][:2] == found[1][:2]
