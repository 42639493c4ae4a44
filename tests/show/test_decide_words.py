"""What a recommendation says, shows and draws where plans are missing, alike, unsure or beyond a limit.

Comes in: the recommendation of `made_papers` with single parts replaced by plain ones.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sim.results import Estimate
from sim.scenario.schema import Scenario
from sim.show.figures.recommend import draw_choices
from sim.show.figures.style import style
from sim.show.folders.recommend import write_recommendation
from sim.show.numbers.bars import plan_bars
from sim.show.numbers.decide import AisleChoices, aisle_choices
from sim.show.reports.summary_recommend import recommend_summary, settings_beside
from sim.show.words.bars import BLOCKS, plan_lines, plans_picture
from sim.show.words.recommend import recommendation_page
from sim.show.words.sections import Section
from sim.study.decide.measures import Limit, parse_measure
from sim.study.decide.recommend import KINDS, Recommendation
from sim.study.decide.trial import Verdict
from sim.study.decide.wish import make_wish
from sim.study.differences import Difference
from sim.study.replications.stopping import MOST_FORECAST
from tests.show.made_papers import advised
from tests.study.decide_site import small_site, wishing_site

LIMITS = {"shortfall_truck_s_per_visit": 0.3}


def asked(**wishes: Any) -> str:
    """The remarks on what was asked of a recommendation with these wishes."""
    wish = make_wish(wishing_site(LIMITS, **wishes))
    return " ".join(recommendation_page(replace(advised(), wish=wish)).sections[0].remarks)


def test_the_light_that_is_wanted_is_told_with_its_level() -> None:
    """150 of 200 lx are 75 %; IEC 62386-102 has 10^((n - 1) / (253 / 3) - 1) %: first reached by step 244."""
    steps = [10.0 ** ((number - 1.0) / (253.0 / 3.0) - 1.0) for number in range(1, 255)]
    level = next(one for one in steps if one >= 75.0)
    text = asked(occupied_lux=150.0, levels=[0.1, 0.4])
    assert f"Occupied level {level:.1f} %: the lowest standard one that gives 150 lx" in text
    assert level == pytest.approx(steps[243])
    assert "Occupied level" not in asked()


@pytest.mark.parametrize(
    ("wishes", "words"),
    [
        ({"unoccupied_floor_share": 0.1}, "as stated: 0.1 of full light."),
        ({"unoccupied_floor_share": {"day": 0.1, "night": 0.05}}, "as stated: day 0.1, night 0.05 of full"),
        (
            {"unoccupied_floor_share": None, "unoccupied_floor_lux": {"day": 20.0, "night": 10.0}},
            "as stated: day 20, night 10 lx.",
        ),
    ],
)
def test_floors_are_told_as_they_are_stated(wishes: dict[str, Any], words: str) -> None:
    text = asked(**wishes)
    assert f"Floor of the unoccupied level, {words}" in text
    assert text.count("Floor of the unoccupied level") == 1


def test_marked_ways_out_are_told_with_their_floors() -> None:
    text = asked(egress_aisles=["A03"], egress_floor_share=0.2, egress_floor_lux=20.0)
    assert "In the marked ways out (A03): 0.2 of full light and 20 lx." in text
    assert "marked ways out" not in asked()


@pytest.mark.parametrize(
    ("weeks", "words"),
    [
        (None, "no difference"), (0.0, "none shown"), (MOST_FORECAST, "none shown"),
        (1.0, "none shown; 1 week more"), (23.4, "none shown; 23 weeks more"),
    ],
)
def test_a_difference_that_is_not_shown(weeks: float | None, words: str) -> None:
    """1 ± 2 kWh shows nothing; 9 ± 2 kWh does, and says no more of it."""
    first, *rest = advised().savings
    unsure = replace(first, difference=Difference(Estimate(1.0, 2.0), True), weeks_more=weeks)
    sure = [replace(one, difference=Difference(Estimate(9.0, 2.0), True)) for one in rest]
    section = recommendation_page(replace(advised(), savings=(unsure, *sure))).sections[2]
    assert section.rows[0][3] == words
    assert {row[3] for row in section.rows[1:]} == {""}
    shown = recommendation_page(replace(advised(), savings=tuple(sure))).sections[2]
    assert {len(row) for row in shown.rows} == {3}


@cache
def judged() -> Recommendation:
    """The same, each plan's worst zone and hour: 122 ± 32 a day in the first, 5 ± 1 at 23 o'clock."""
    measure = parse_measure("switch_ups_per_day")
    zone, hour = Limit(measure, 100.0, "zone"), Limit(measure, 8.0, "hour")
    verdicts = (Verdict(zone, Estimate(122.0, 32.0), 0), Verdict(hour, Estimate(5.0, 1.0), 23))
    found = advised()
    return replace(
        found,
        wish=replace(found.wish, limits=(zone, hour)),
        verdicts={
            name: dict.fromkeys(by_stress, verdicts) for name, by_stress in found.verdicts.items()
        },
    )


def test_the_worst_zone_and_hour_are_named() -> None:
    section = recommendation_page(judged()).sections[3]
    rows = {row[0]: set(row[1:]) for row in section.rows}
    # 122 exceeds 100 by less than 32: unsure; 5 ± 1 is surely below 8
    assert rows["switch_ups_per_day in every zone <= 100"] == {"122 ± 32!? in A01"}
    assert rows["switch_ups_per_day in every hour of the day <= 8"] == {"5.0 ± 1.0 at 23:00"}


def test_files_name_the_worst_zone_and_hour_and_hold_the_numeric_limits(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sim.show.figures.recommend.draw_recommend_figures", lambda found, folder: {})
    found = judged()
    bound = {name: with_limits(site) for name, site in found.scenarios.items()}
    write_recommendation(replace(found, scenarios=bound), tmp_path / "bound")
    with (tmp_path / "bound" / "limits.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(found.scenarios) * len(found.trials) * 2
    told = {(row["scope"], row["worst_at"], row["is_met"]) for row in rows}
    assert told == {("zone", "A01", "0"), ("hour", "23:00", "1")}
    with (tmp_path / "bound" / "numeric_limits.csv").open(encoding="utf-8", newline="") as file:
        assert "ASHRAE 90.1-2022" in {row["rule"] for row in csv.DictReader(file)}
    write_recommendation(advised(), tmp_path / "free")
    assert not (tmp_path / "free" / "numeric_limits.csv").exists()
    with (tmp_path / "free" / "limits.csv").open(encoding="utf-8", newline="") as file:
        assert {(row["scope"], row["worst_at"]) for row in csv.DictReader(file)} == {("site", "")}


def with_limits(site: Scenario) -> Scenario:
    """The site held against numeric limits."""
    return site.model_copy(update={"limits": ("ASHRAE 90.1-2022",)})


def with_verdicts(found: Recommendation, means: Mapping[str, float]) -> Recommendation:
    """The same, with the mean of every limit's measure by plan as stated."""
    label = found.trials[0].stress.label
    verdicts = {}
    for name, by_stress in found.verdicts.items():
        figure = Estimate(means.get(name, 0.0), 0.0)
        stated = tuple(replace(one, estimate=figure) for one in by_stress[label])
        verdicts[name] = {**by_stress, label: stated}
    return replace(found, verdicts=verdicts)


def test_where_no_finer_plan_is_possible_the_single_one_stands_alone() -> None:
    found = with_verdicts(advised(), {})
    savings = tuple(one for one in found.savings if one.plan == "single")
    alone = replace(found, plans={"single": found.plans["single"]}, savings=savings)
    answers = dict(recommend_summary(alone).answers)
    assert answers["Which settings?"].startswith("One setting for all (single.toml): day timeout")
    assert "finer" not in answers["Which settings?"]
    kept = "2 limits, on fresh traffic: in force and one for all keep all 2."
    assert answers["Are the limits kept?"] == kept
    # with finer plans that show no more it says so
    unsure = tuple(
        replace(one, difference=Difference(Estimate(1.0, 2.0), True)) if one.over == "single" else one
        for one in found.savings
    )
    answers = dict(recommend_summary(replace(found, savings=unsure)).answers)
    assert "No plan that is finer" in answers["Which settings?"]


@pytest.mark.parametrize("mean", [0.0, 1e9])
def test_a_single_setting_beyond_a_limit_says_so(mean: float) -> None:
    """No plan keeps the limits on fresh traffic: the single one leads, with what is to be known of it."""
    answers = dict(recommend_summary(with_verdicts(advised(), dict.fromkeys(KINDS, mean))).answers)
    exceeds = "On traffic that it was not fitted to it exceeds a limit; see below."
    assert (exceeds in answers["Which settings?"]) == (mean > 0.0)
    assert ("A margin keeps something to spare" in answers["Are the limits kept?"]) == (mean > 0.0)
    if mean > 0.0:
        assert "one for all, by group and by aisle exceed shortfall_truck_s_per_visit and " in answers[
            "Are the limits kept?"
        ]


def test_a_second_level_stands_beside_plans_without_one() -> None:
    """In force by day: 10 % after 10 min more, in A02 alone; plans with no second level have none."""
    later = "timeout_s = 300 -> timeout_s = 300\nsecond_delay_s = 600\nsecond_level = 0.1"
    everywhere = small_site(later=later)
    day = everywhere.lighting.settings["day"]
    extra = '\n[[override]]\naisles = ["A02"]\n[override.settings]\nday = "later"\n'
    extra += "\n[lighting.settings.later]\nunoccupied_level = 0.3\ntimeout_s = 300\n"
    extra += "second_delay_s = 600\nsecond_level = 0.1\n"
    one_aisle = small_site(extra=extra)
    assert (day.second_delay_s, day.second_level) == (600.0, 0.1)
    for site, where in ((everywhere, ""), (one_aisle, "in some: ")):
        words, sections = f"{where}10 % after 10 min more", beside(site)
        assert second_level(sections, "day") == (words, "none", "none", "none")
        assert second_level(sections, "night") is None


def beside(current: Scenario) -> dict[str, Section]:
    """The settings side by side, by period, with another site in force."""
    found = replace(advised(), scenarios={**advised().scenarios, "current": current})
    return {section.title.split(": ")[1].split(",")[0]: section for section in settings_beside(found)}


def second_level(sections: Mapping[str, Section], period: str) -> tuple[str, ...] | None:
    """The row of the second level, None without one."""
    return next((row[1:] for row in sections[period].rows if row[0] == "second level"), None)


def test_choices_of_four_periods_leave_two_places_empty() -> None:
    """Panels stand three in a row; without a single setting no line and no key says one."""
    day = aisle_choices(advised())[0]
    four = [replace(day, name=f"period {number}") for number in range(4)]
    without = [replace(one, single_timeout_s=None) for one in four]
    for choices, lines in ((four, 1), (without, 0)):
        with style():
            figure = draw_choices(choices)
        *panels, bar = figure.axes
        assert [axes.get_visible() for axes in panels] == [True] * 4 + [False] * 2
        assert bar.get_ylabel() == "unoccupied level"
        assert [len(axes.lines) for axes in panels[:4]] == [lines] * 4
        assert len(figure.legends) == lines
        dots = panels[0].collections[0].get_offsets()
        assert np.asarray(dots).tolist() == np.column_stack([day.visits_per_h, day.timeout_s]).tolist()


def test_no_choices_without_a_plan_by_aisle() -> None:
    found = advised()
    plans = {name: plan for name, plan in found.plans.items() if name != "aisles"}
    assert aisle_choices(replace(found, plans=plans)) == ()
    alone = aisle_choices(replace(found, plans={"aisles": found.plans["aisles"]}))
    assert [one.single_timeout_s for one in alone] == [None, None]
    assert all(isinstance(one, AisleChoices) for one in alone)


def test_bars_of_plans_are_ratios_of_sums() -> None:
    """Saved over always on, and dim seconds over visits, of all fresh replications together."""
    found = advised()
    bars = plan_bars(found)
    assert [one.label for one in bars] == ["as the scenario stands", "one setting", "by group", "by aisle"]
    for one, name in zip(bars, ("current", *KINDS), strict=True):
        totals = found.trials[0].totals[name]
        assert one.saved_share == pytest.approx(
            1.0 - sum(totals["energy_kwh"]) / sum(totals["always_on_kwh"])
        )
        assert one.dim_s_per_visit == pytest.approx(sum(totals["dim_truck_s"]) / sum(totals["visits"]))
    assert plans_picture(found, 200, BLOCKS) == plan_lines(bars, 80, BLOCKS)
    stated = found.trials[0]
    nobody = {name: {**totals, "visits": 0.0 * totals["visits"]} for name, totals in stated.totals.items()}
    still = replace(found, trials=(replace(stated, totals=nobody),))
    assert {one.dim_s_per_visit for one in plan_bars(still)} == {0.0}
