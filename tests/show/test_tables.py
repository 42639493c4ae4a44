"""Text tables: at most 80 columns, a screenful, both timers with their sum, honest about certainty."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from sim.floor.layout import lay_out
from sim.lighting.timetable import place_programs
from sim.scenario.schema import Scenario
from sim.scenario.toml import load_scenario
from sim.show.words.amounts import WIDTH
from sim.show.words.in_force import settings_in_force, timers, week_grid
from sim.show.words.tables import headline_table, site_table
from tests.show.made_results import make_result, make_scenario

DEMOS = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))
GOOD = sorted((Path(__file__).parents[1] / "corpus" / "scenarios" / "good").glob("*.toml"))
SCREENFUL = 40


def site_of(scenario: Scenario, *notices: str) -> str:
    return site_table(scenario, lay_out(scenario), place_programs(scenario), notices)


def assert_fits(text: str) -> None:
    assert max(len(line) for line in text.splitlines()) <= WIDTH
    assert text == text.rstrip()


@pytest.mark.parametrize("path", DEMOS, ids=[path.stem for path in DEMOS])
def test_every_demo_fits_a_screen(path):
    text = site_of(load_scenario(path))
    assert_fits(text)
    assert len(text.splitlines()) <= SCREENFUL


@pytest.mark.parametrize("path", GOOD, ids=[path.stem for path in GOOD])
def test_what_a_file_names_is_told(path):
    """Whatever keys a sound file uses: 80 columns, and its trucks, work, trailers and areas by name."""
    scenario = load_scenario(path)
    text = site_of(scenario)
    assert_fits(text)
    flat = " ".join(text.split())
    for group in scenario.trucks:
        columns = rf" +{group.count}  [\d.]+ / [\d.]+ m/s +(none|[\d.]+ m/s2) +[\d.]+ \w+ \([\d.]+\)$"
        assert re.search(rf"^  {re.escape(group.name)}{columns}", text, re.MULTILINE), group.name
    for work in scenario.work:
        assert re.search(rf"^  {re.escape(work.name)} +{work.kind} ", text, re.MULTILINE), work.name
    for trailers in (*scenario.inbound, *scenario.outbound):
        assert f"{trailers.name}: " in flat
    for stream in scenario.outbound:
        assert f"each takes {stream.pallets} pallets" in flat
    for area in scenario.area or ():
        assert area.name in flat
    assert ("one way" in flat) == bool(lay_out(scenario).direction.any())


def test_long_names_and_many_parts_still_fit():
    name = "A name that is as long as a name may be in a scenario file x"[:60]
    names = [f"{name[:50]} {number}" for number in range(30)]
    scenario = make_scenario(
        title="T" * 200,
        floor={"aisles": names, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0},
        lighting={
            "settings": {
                name: {
                    "unoccupied_level": 0.1, "timeout_s": 77.7,
                    "second_delay_s": 1801.0, "second_level": 0.05,
                }
            }
        },
        timetable=[{"from": "00:00", "to": "24:00", "settings": name}],
        work=[
            {"name": f"stream {k}", "kind": "retrieve", "per_hour": 1e5, "aisle_skew": 0.1} for k in range(20)
        ],
        override=[
            {"aisles": [aisle], "at": [1.0, 20.5, 40.0], "range_m": 3.0, "hold_s": 1.0}
            for aisle in names[:20]
        ],
        sensors={"at": [0.5 * k for k in range(60)], "range_m": 1.0},
    )
    text = site_of(scenario, "A notice that is longer than one line and so must be wrapped. " * 3)
    assert_fits(text)
    assert "and 12 more" in text  # of 20 streams, 8 shown
    assert_fits(headline_table(make_result(scenario)))


def test_both_timers_stand_with_their_sum():
    text = site_of(make_scenario())
    assert "30 s + 4.5 min = 5 min" in text  # 30 + 270 = 300 s
    assert "30 s + 1 min = 90 s" in text


def test_the_sum_follows_the_hold():
    longer = make_scenario(sensors={"at": "ends", "range_m": 9.0, "hold_s": 90.0})
    assert [timers(row) for row in settings_in_force(longer)] == [
        "90 s + 1 min = 2.5 min", "90 s + 4.5 min = 6 min"
    ]


def test_overridden_aisles_have_a_row_of_their_own():
    scenario = make_scenario(override=[{"aisles": ["A02"], "settings": {"day": "night"}, "hold_s": 0.0}])
    rows = {(row.name, row.aisles): row for row in settings_in_force(scenario)}
    assert rows["day", ("A02",)].uses == "night"
    assert rows["day", ("A02",)].delay_s == 60.0
    assert rows["day", ("A01", "A03")].delay_s == 300.0
    assert rows["day", ("A02",)].hours_a_week == 7 * 16.0


def test_the_week_as_a_picture():
    lines = site_of(make_scenario()).splitlines()
    row = next(line for line in lines if line.startswith("  Mon-Sun"))
    assert row.split()[1] == "n" * 12 + "d" * 32 + "n" * 4  # half-hours until 06:00, 22:00, 24:00
    names, grid = week_grid(make_scenario())
    assert names == ("night", "day")
    assert grid.sum() == 7 * 32


def test_shares_of_the_busiest_aisles():
    # Bender 1981, (1 + A) x / (A + x): through (0.2, 0.6) with A = 0.2, so rank 1 of 5 takes exactly 0.6
    floor = {"aisles": 5, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0}
    text = site_of(make_scenario(floor=floor))
    assert next(line for line in text.splitlines() if "retrieval" in line).endswith("60 %, 60 %")


def test_connected_load():
    assert "30, 3 kW connected" in site_of(make_scenario())
    doubled = make_scenario(override=[{"aisles": ["A01"], "full_w": 200.0}])
    assert "30, 4 kW connected" in site_of(doubled)


@pytest.mark.parametrize("changes", [{}, {"with_visits": False, "source": "replay", "factors": (1.0,)}])
def test_headline_fits(changes):
    assert_fits(headline_table(make_result(**changes, notices=("One thing to know. " * 8,))))


def test_headline_shows_intervals_and_units():
    text = headline_table(make_result())
    assert "36.0 ± 3.6 kWh" in text
    assert "1 in 10 of 400 visits" in text
    assert "Means of 2 replications ± half-width of the 95 % interval." in text


def test_one_replication_says_that_there_is_no_interval():
    text = headline_table(make_result(factors=(1.0,)))
    assert "1 replication: no interval" in text
    assert "±" not in text


def test_unknown_trucks_are_not_shown_as_none():
    text = headline_table(make_result(with_visits=False, source="replay", factors=(1.0,)))
    assert "not known" in text
    assert "false-offs" not in text
    assert "nan" not in text
    assert "Replay of one log" in text


def test_nothing_happened():
    result = make_result(factors=(1.0,))
    zeros = replace(result.outcomes[0], total=dict.fromkeys(result.outcomes[0].total, 0.0))
    still = replace(
        result, outcomes=(zeros,),
        headline={name: replace(each, mean=0.0) for name, each in result.headline.items()},
    )
    assert_fits(headline_table(still))


def test_tables_need_no_heavy_library():
    code = (
        "import sys; import sim.show.words.tables\n"
        "from sim.scenario.schema import Scenario\n"
        "heavy = {'pandas', 'matplotlib', 'scipy', 'bokeh'} & set(sys.modules)\n"
        "raise SystemExit(str(heavy) if heavy else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
