"""Comparisons: paired where the trucks are the same, apart where they are not, from files and folders."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sim.errors import InputError
from sim.outcome.names import OUTCOMES
from sim.provenance import MODEL_VERSION
from sim.scenario.schema import Scenario
from sim.show.folders.run import write_results
from sim.show.words.compare import comparison_page
from sim.show.words.sections import page_text
from sim.study.compare import Goal, compare, from_scenario, from_store
from sim.study.differences import subtract, subtract_paired
from sim.study.relight import traffic_key
from sim.study.replications.replicate import replay, run
from sim.study.store import read_settled, read_stored_run
from tests.study.decide_site import small_site

SHORT = small_site(a="timeout_s = 300 -> timeout_s = 60")
OTHER = small_site(a="seed = 3 -> seed = 4")


@pytest.fixture(scope="module", autouse=True)
def _no_pictures():
    """Draw nothing: no picture is looked at here, and drawing takes longer than all the rest."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("sim.show.figures.draw.draw_figures", lambda *_: [])
        yield


def totals(scenario: Scenario, name: str, count: int) -> list[float]:
    """Run a scenario by itself."""
    return [outcome.total[name] for outcome in run(scenario, replications=count).outcomes]


def test_same_trucks_are_paired_and_others_are_not():
    found = compare(
        [from_scenario(small_site(), "A"), from_scenario(SHORT, "B"), from_scenario(OTHER, "C")],
        replications=4,
    )
    paired, apart = found.pairs
    assert (paired.is_paired, apart.is_paired) == (True, False)
    for name in ("energy_kwh", "switch_ups", "peak_kw"):
        base, short = totals(small_site(), name, 4), totals(SHORT, name, 4)
        assert paired.differences[name] == subtract_paired(short, base)
        assert apart.differences[name] == subtract(totals(OTHER, name, 4), base)
    assert paired.differences["energy_kwh"].is_shown
    unsure = [name for name in OUTCOMES if not apart.differences[name].is_shown and apart.weeks_more[name]]
    assert unsure
    assert all(not paired.weeks_more[name] for name in OUTCOMES if paired.differences[name].is_shown)
    assert paired.weeks_more["energy_kwh"] == 0.0
    text = page_text(comparison_page(found, list(OUTCOMES)))
    assert "none shown" in text
    assert "equal" in text
    assert all(len(line) <= 80 for line in text.splitlines())


@pytest.mark.parametrize(
    ("change", "is_same"),
    [
        ("timeout_s = 300 -> timeout_s = 60", True),
        ('at = "ends" -> at = "every"', True),
        ("full_w = 100 -> full_w = 90", True),
        ("aisle_pitch_m = 5 -> aisle_pitch_m = 5\nzones_per_aisle = 2", True),
        ('title = "Small site (invented)" -> title = "x"', True),
        ("seed = 3 -> seed = 4", False),
        ("crew = 3 -> crew = 2", False),
        ("per_hour = 14 -> per_hour = 15", False),
        ("aisle_length_m = 40 -> aisle_length_m = 41", False),
        ("handling_mean_s = 40 -> handling_mean_s = 41", False),
    ],
)
def test_what_makes_the_trucks_the_same(change, is_same):
    """Equal keys mean equal visits, replication by replication; another key means another traffic."""
    site, other = small_site(), small_site(a=change)
    assert (traffic_key(site) == traffic_key(other)) is is_same
    one, two = (run(scenario, replication=1).close_look.visits for scenario in (site, other))
    assert one is not None
    assert two is not None
    assert (len(one) == len(two) and np.array_equal(one.enter, two.enter)) is is_same


def test_lights_move_trucks_where_drivers_react():
    react = "handling_cv = 0.5 -> handling_cv = 0.5\ndim_speed_factor = 0.5"
    keys = {
        traffic_key(small_site(a=react)),
        traffic_key(small_site(a=react, b="timeout_s = 300 -> timeout_s = 60")),
        traffic_key(small_site()),
    }
    assert len(keys) == 3


def test_folders_stand_for_their_runs(tmp_path):
    write_results(run(small_site(), replications=3), tmp_path / "week")
    stored = read_stored_run(tmp_path / "week")
    assert stored.replications == (0, 1, 2)
    assert stored.scenario == small_site()
    assert stored.outcomes["energy_kwh"].tolist() == totals(small_site(), "energy_kwh", 3)
    found = compare([from_store(stored, "week"), from_scenario(SHORT, "short")])
    assert found.pairs[0].is_paired
    assert found.pairs[0].count == (3, 3)
    assert found.pairs[0].differences["energy_kwh"] == subtract_paired(
        totals(SHORT, "energy_kwh", 3), totals(small_site(), "energy_kwh", 3)
    )
    # more of the other: only what both have is paired
    more = compare([from_store(stored, "week"), from_scenario(SHORT, "short")], replications=5)
    assert more.pairs[0].count == (3, 3)


def test_replays_of_one_log_pair_and_of_two_logs_do_not(tmp_path):
    look = run(small_site(), replication=0).close_look
    for name, scenario in (("a", small_site()), ("b", SHORT)):
        write_results(replay(scenario, detections=look.detections), tmp_path / name)
    write_results(replay(SHORT, detections=run(OTHER, replication=0).close_look.detections), tmp_path / "c")
    a, b, c = (from_store(read_stored_run(tmp_path / name), name) for name in "abc")
    found = compare([a, b, c])
    assert [pair.is_paired for pair in found.pairs] == [True, False]
    assert found.pairs[0].differences["energy_kwh"].estimate.half_width is None
    assert found.pairs[0].differences["dim_truck_s"].estimate.mean is None


def test_going_on_until_a_difference_is_known():
    given = [from_scenario(small_site(), "A"), from_scenario(SHORT, "B")]
    by_share = compare(given, replications=2, goal=Goal("energy_kwh", None, 0.05))
    assert by_share.is_reached
    count = len(by_share.alternatives[0].replications)
    assert count >= 10
    difference = by_share.pairs[0].differences["energy_kwh"].estimate
    assert (difference.half_width or 1.0) / abs(difference.mean or 1.0) <= 0.05 / 1.05
    by_width = compare(given, replications=2, goal=Goal("energy_kwh", 0.5, None))
    assert (by_width.pairs[0].differences["energy_kwh"].estimate.half_width or 9.0) <= 0.5
    # one fewer would not have done, beyond the least number
    if count > 10:
        fewer = compare(given, replications=count - 1).pairs[0].differences["energy_kwh"].estimate
        assert (fewer.half_width or 0.0) / abs(fewer.mean or 1.0) > 0.05 / 1.05
    again = compare(given, replications=2, goal=Goal("energy_kwh", None, 0.05), workers=2)
    assert len(again.alternatives[0].replications) == count


def test_what_cannot_be_compared(tmp_path):
    a = from_scenario(small_site(), "A")
    with pytest.raises(InputError, match="at least two"):
        compare([a])
    with pytest.raises(InputError, match="runs 2 days and A 1"):
        compare([a, from_scenario(small_site(a="days = 1 -> days = 2"), "B")])
    write_results(run(small_site(), replications=2), tmp_path / "week")
    week = from_store(read_stored_run(tmp_path / "week"), "week")
    with pytest.raises(InputError, match="cannot be gone on with"):
        compare([week, a], goal=Goal("energy_kwh", None, 0.05))


def test_a_folder_by_another_model_is_told(tmp_path):
    write_results(run(small_site(), replications=2), tmp_path / "week")
    path = tmp_path / "week" / "summary.json"
    text = path.read_text(encoding="utf-8")
    written = f'"model": "{MODEL_VERSION}"'
    assert written in text
    path.write_text(text.replace(written, '"model": "0"'), encoding="utf-8")
    found = compare([from_store(read_stored_run(tmp_path / "week"), "week"), from_scenario(SHORT, "short")])
    assert any("computed by model 0" in notice for notice in found.notices)


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("summary.json", "{", "is damaged"),
        ("summary.json", "[1]", "not a table"),
        ("summary.json", '{"source": "sweep"}', "holds a sweep, not a run"),
        ("summary.json", "[" * 100_000, "is damaged"),
        ("replications.csv", "replication\n0\n", "energy_kwh"),
        ("replications.csv", "", "replications.csv"),
        ("scenario.toml", "format = ", "scenario.toml"),
    ],
)
def test_damaged_folders_are_told(tmp_path, name, content, words):
    write_results(run(small_site(), replications=1), tmp_path / "week")
    (tmp_path / "week" / name).write_text(content, encoding="utf-8")
    with pytest.raises(InputError, match=words):
        read_stored_run(tmp_path / "week")


def test_a_folder_that_is_none(tmp_path):
    with pytest.raises(InputError, match="not a results folder"):
        read_stored_run(Path(tmp_path))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A results folder of three replications."""
    place = tmp_path_factory.mktemp("results") / "week"
    write_results(run(small_site(), replications=3), place)
    return place


def test_only_replications_that_both_folders_have_are_paired(folder):
    """One folder holds replications 0 to 2, the other 1 alone, as `run --replication 1` leaves it."""
    whole = read_stored_run(folder)
    own = {name: column[1:2] + 7.0 for name, column in whole.outcomes.items()}
    single = replace(whole, replications=(1,), outcomes=own)
    found = compare([from_store(whole, "week"), from_store(single, "one")])
    (pair,) = found.pairs
    assert pair.is_paired
    assert pair.count == (1, 1)
    assert pair.differences["energy_kwh"].estimate.mean == pytest.approx(7.0, rel=1e-9)
    # were the first of each taken, the difference would be another one
    energy = whole.outcomes["energy_kwh"]
    assert abs(energy[1] - energy[0]) > 0.01


def test_a_folder_without_replications_is_damaged(folder, tmp_path):
    place = tmp_path / "cut"
    shutil.copytree(folder, place)
    path = place / "replications.csv"
    path.write_text(path.read_text(encoding="utf-8").splitlines()[0] + "\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"replications\.csv: has a header but no rows"):
        read_stored_run(place)


@pytest.mark.parametrize(
    ("content", "plan", "words"),
    [
        ('{"source": "sweep"}', None, "holds a sweep; give the folder of a run, a replay or a recomm"),
        ('{"source": "run"}', "aisles", "holds a run; only a recommendation has plans"),
        ('{"source": "recommend", "plans": {"single": 1}}', "aisles", "has no plan aisles; there are: sing"),
        ('{"source": "recommend", "plans": []}', None, "has no plan .*; there are: none"),
        ('"run"', None, "is damaged: not a table"),
    ],
)
def test_folders_without_settings_to_hand_over_are_told(tmp_path, content, plan, words):
    (tmp_path / "summary.json").write_text(content, encoding="utf-8")
    with pytest.raises(InputError, match=words):
        read_settled(tmp_path, plan)
