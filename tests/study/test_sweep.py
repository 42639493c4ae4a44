"""A sweep against running every point by itself, and its folder."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from sim.errors import InputError
from sim.outcome.names import OUTCOMES
from sim.scenario.toml import load_scenario
from sim.show.folders.sweep import write_sweep
from sim.show.words.amounts import digits
from sim.show.words.sections import page_text
from sim.show.words.sweep import sweep_page
from sim.study.replications.replicate import run
from sim.study.sweeping.front import Aim, find_front
from sim.study.sweeping.plan import make_plan
from sim.study.sweeping.sweep import EXACT_OUTCOMES, SweepResult, sweep
from sim.study.sweeping.vary import parse_varied
from tests.study.decide_site import small_site

MIXED = ("day.timeout_s=60,300,900", "all.fade_down_s=0,30", "sensors.at=ends,every")


def sweep_of(*texts: str, replications: int = 2, workers: int = 1, aims: tuple[Aim, ...] = ()) -> SweepResult:
    """Sweep the small site."""
    site = small_site()
    plan = make_plan(site, parse_varied(texts, site), replications=replications)
    more = {"aims": aims} if aims else {}
    return sweep(site, plan, replications=replications, workers=workers, **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def mixed() -> SweepResult:
    """A sweep over settings and sensors."""
    return sweep_of(*MIXED)


def test_every_point_is_what_a_run_of_its_own_gives(mixed):
    """Counts exactly, sums to 1e-9 or 1e-6: the age view against the replay, through the whole command."""
    for point in range(len(mixed.plan)):
        alone = run(mixed.plan.scenario_at(point), replications=2)
        for name in EXACT_OUTCOMES:
            expected = [outcome.total[name] for outcome in alone.outcomes]
            assert mixed.outcomes[name][:, point] == pytest.approx(expected, rel=1e-9, abs=1e-6), name
        if point in mixed.replayed:
            for name in OUTCOMES:
                expected = [outcome.total[name] for outcome in alone.outcomes]
                assert mixed.replayed[point][name] == pytest.approx(expected, rel=1e-12, nan_ok=True), name


def test_the_scenario_as_it_stands_is_among_the_figures(mixed):
    alone = run(small_site(), replications=2)
    for name in OUTCOMES:
        expected = [outcome.total[name] for outcome in alone.outcomes]
        assert mixed.current[name] == pytest.approx(expected, rel=1e-12), name


def test_the_front_is_that_of_the_means(mixed):
    costs = np.stack([mixed.means[aim.outcome] for aim in mixed.aims], axis=1)
    assert mixed.is_front.tolist() == find_front(costs).tolist()
    assert set(mixed.replayed) == set(np.flatnonzero(mixed.is_front).tolist())


def test_settings_that_could_not_be_summed_are_told():
    """A delay of less than latency + fade-up is replayed: exact all the same, and said."""
    found = sweep_of("day.timeout_s=60,300", "day.fade_down_s=10,45000")
    assert any("2 of 4 settings were replayed in some zones" in notice for notice in found.notices)
    for point in range(len(found.plan)):
        alone = run(found.plan.scenario_at(point), replications=2)
        expected = [outcome.total["energy_kwh"] for outcome in alone.outcomes]
        assert found.outcomes["energy_kwh"][:, point] == pytest.approx(expected, rel=1e-9)
    assert not any("were replayed" in notice for notice in sweep_of("day.timeout_s=60,300").notices)


def test_the_page_says_who_is_beaten_by_whom(mixed):
    aims = (Aim("energy_kwh"), Aim("switch_ups"))
    found = sweep_of("day.timeout_s=60,600", "day.unoccupied_level=0.2:0.8:0.2", aims=aims)
    text = " ".join(page_text(sweep_page(found)).split())
    beaten = np.flatnonzero(found.beaten.by >= 0)
    assert len(beaten) == 6
    assert f"Beaten: {len(beaten)} of 8 points; the 3 with most to gain in least energy_kwh" in text
    assert f"{8 - len(beaten)} of 8 points" in text
    first = beaten[np.argmax(found.beaten.margin[beaten, 0])]
    gain = found.means["energy_kwh"][first] - found.means["energy_kwh"][found.beaten.by[first]]
    assert f"{digits(gain)} kWh less energy_kwh" in text
    assert "Beaten:" not in page_text(sweep_page(mixed)).split("Where it bends")[0]


def test_a_long_front_is_looked_at_closely_only_here_and_there(monkeypatch):
    """Five settings trade energy for switch-ups: with room for three, both ends and the middle are taken."""
    texts = ("day.timeout_s=30,120,300,600,1200",)
    aims = (Aim("energy_kwh"), Aim("switch_ups"))
    whole = sweep_of(*texts, aims=aims)
    assert whole.is_front.all()
    assert sorted(whole.replayed) == [0, 1, 2, 3, 4]
    assert not any("are on the front" in notice for notice in whole.notices)
    monkeypatch.setattr("sim.study.sweeping.sweep.MOST_REPLAYED", 3)
    some = sweep_of(*texts, aims=aims)
    assert sorted(some.replayed) == sorted(some.by_hour) == [0, 2, 4]
    told = "5 settings are on the front; peaks and dim spells were computed for 3 of them, evenly over "
    assert f"{told}energy_kwh." in some.notices
    assert some.is_front.all(), "the front itself is whole"
    for name in OUTCOMES:
        assert some.replayed[2][name] == pytest.approx(whole.replayed[2][name], rel=1e-12, nan_ok=True)


def test_a_site_that_is_wholly_beaten_is_not_simulated_again():
    """Sensors that only reach 3 m keep less light up: least energy is theirs, whatever the timeout."""
    steps: list[int] = []
    site = small_site()
    plan = make_plan(site, parse_varied(["sensors.range_m=3,19", "day.timeout_s=30"], site), replications=2)

    def swept(*names: str) -> SweepResult:
        aims = tuple(Aim(name) for name in names)
        return sweep(site, plan, aims=aims, progress=lambda done, _: steps.append(done))

    found = swept("energy_kwh")
    assert found.is_front.tolist() == [True, False]
    assert found.means["energy_kwh"][0] < found.means["energy_kwh"][1]
    assert list(found.replayed) == [0]
    # two replications of two sites, then of the site as it stands and of the one on the front
    assert steps[-1] == 2 * 2 + 2 * 2
    both = swept("energy_kwh", "dim_truck_s")
    assert both.is_front.all(), "the other sensors are better for the drivers"
    assert steps[-1] == 2 * 2 + 2 * 3


def test_less_work_does_not_beat_more_work():
    """The front is taken among points whose trucks move alike: half the work is no better setting."""
    found = sweep_of("work.retrieval.per_hour=7,14", "day.timeout_s=60,600")
    assert all(found.is_front[found.plan.points.index(point)] for point in ((7, 60), (14, 60), (14, 600)))
    assert (found.means["energy_kwh"][:2] < found.means["energy_kwh"][2:]).all()


def test_aims_may_be_named_and_maximised():
    low = sweep_of("day.timeout_s=60,300,900", aims=(Aim("energy_kwh"),))
    high = sweep_of("day.timeout_s=60,300,900", aims=(Aim("saved_share", is_maximised=True),))
    worst = sweep_of("day.timeout_s=60,300,900", aims=(Aim("energy_kwh", is_maximised=True),))
    assert low.is_front.tolist() == high.is_front.tolist() == [True, False, False]
    assert worst.is_front.tolist() == [False, False, True]
    assert (high.beaten.margin[1:, 0] > 0.0).all()
    with pytest.raises(InputError, match="peak_kw: the front needs one of"):
        sweep_of("day.timeout_s=60,300", aims=(Aim("peak_kw"),))


def test_drivers_who_react_to_the_light_are_refused():
    site = small_site(a="handling_cv = 0.5 -> handling_cv = 0.5\ndim_speed_factor = 0.5")
    plan = make_plan(site, parse_varied(["day.timeout_s=60,600"], site), replications=1)
    with pytest.raises(InputError, match="react to the light"):
        sweep(site, plan, replications=1)


def read(path: Path) -> list[dict[str, str]]:
    """Read a table back."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_folder_holds_what_was_promised(mixed, tmp_path):
    out = tmp_path / "swept"
    write_sweep(mixed, out)
    rows = read(out / "sweep.csv")
    keys = ["day.timeout_s", "all.fade_down_s", "sensors.at"]
    assert list(rows[0]) == [*keys, "replication", *EXACT_OUTCOMES]
    assert len(rows) == len(mixed.plan) * 2
    for number, row in enumerate(rows):
        point, replication = divmod(number, 2)
        assert [row[key] for key in keys] == [str(value) for value in mixed.plan.points[point]]
        assert int(row["replication"]) == replication
        for name in EXACT_OUTCOMES:
            assert float(row[name]) == mixed.outcomes[name][replication, point]
    summary = read(out / "summary.csv")
    for point, row in enumerate(summary):
        assert float(row["energy_kwh"]) == pytest.approx(mixed.outcomes["energy_kwh"][:, point].mean())
        assert row["on_front"] == str(int(mixed.is_front[point]))
        if not mixed.is_front[point]:
            better = summary[int(row["beaten_by"])]
            assert better["on_front"] == "1"
            gap = float(row["energy_kwh"]) - float(better["energy_kwh"])
            assert float(row["beaten_by_energy_kwh"]) == pytest.approx(gap, abs=1e-9)
    front = read(out / "front.csv")
    assert [int(row["point"]) for row in front] == sorted(
        mixed.replayed, key=lambda point: mixed.means["energy_kwh"][point]
    )
    assert all(float(row["peak_kw"]) > 0.0 and row["dim_spell_max_s"] for row in front)
    hours = read(out / "front_hours.csv")
    assert len(hours) == 24 * len(front)
    for row in front:
        own = [one for one in hours if one["point"] == row["point"]]
        assert [int(one["hour"]) for one in own] == list(range(24))
        for name in ("energy_kwh", "false_offs", "visits"):
            assert sum(float(one[name]) for one in own) == pytest.approx(float(row[name]), rel=1e-9)
    assert load_scenario(out / "scenario.toml") == small_site()
    facts = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert facts["points"] == len(mixed.plan)
    assert facts["sites_simulated"] == 2
    assert facts["front"]["hypervolume"] > 0.0
    names = {path.name for path in (out / "figures").iterdir()}
    assert names == {"tradeoff.svg", "tradeoff.png", "saving.svg", "saving.png"}
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "http" not in page.replace("http://www.w3.org", "")
    text = page_text(sweep_page(mixed))
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "another range has another knee" in text.replace("\n", " ").replace("  ", " ")


def test_figures_do_not_depend_on_the_number_of_workers(tmp_path):
    texts = ("day.timeout_s=60,300", "sensors.at=ends,every")
    write_sweep(sweep_of(*texts), tmp_path / "one")
    write_sweep(sweep_of(*texts, workers=2), tmp_path / "two")
    one, two = (sorted(path.rglob("*.*")) for path in (tmp_path / "one", tmp_path / "two"))
    assert [path.name for path in one] == [path.name for path in two]
    assert all(a.read_bytes() == b.read_bytes() for a, b in zip(one, two, strict=True))


def test_parquet_holds_the_same_columns(mixed, tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    write_sweep(mixed, tmp_path / "table", parquet=True)
    table = parquet.read_table(tmp_path / "table" / "sweep.parquet").to_pydict()
    assert not (tmp_path / "table" / "sweep.csv").exists()
    assert list(table) == [*mixed.plan.keys, "replication", *EXACT_OUTCOMES]
    assert table["energy_kwh"] == mixed.outcomes["energy_kwh"].T.ravel().tolist()
    assert table["sensors.at"][:4] == ["ends", "ends", "every", "every"]
    assert table["day.timeout_s"][0] == 60.0


def test_parquet_without_its_extra_is_told_before_any_work(mixed, tmp_path, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "pyarrow", None)
    with pytest.raises(InputError, match=r"aislewake\[parquet\]"):
        write_sweep(mixed, tmp_path / "table", parquet=True)
    assert not (tmp_path / "table").exists()


def test_nothing_is_left_where_the_disk_refuses(mixed, tmp_path, monkeypatch):
    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("sim.show.folders.sweep._front_table", refuse)
    with pytest.raises(Exception, match="No space left"):
        write_sweep(mixed, tmp_path / "full")
    assert list(tmp_path.iterdir()) == []
