"""Deciding for open areas, and showing them: their own settings, rows, rectangles, words."""

from __future__ import annotations

import numpy as np
import pytest
from click.testing import CliRunner

from sim.cli import aislewake
from sim.floor.layout import lay_out
from sim.lighting.timetable import place_programs
from sim.outcome.limit_rows import limit_rows
from sim.replication import prepare_site, replay_site, simulate_traffic
from sim.scenario.schema import Scenario
from sim.scenario.toml import parse_scenario
from sim.show.figures.plan import plan_picture
from sim.show.numbers.decide import aisle_choices
from sim.show.numbers.plan import plan_numbers
from sim.show.reports.run import render_report
from sim.show.words.captions_floor import plan_words
from sim.show.words.findings import in_open_areas
from sim.show.words.site import site_lines
from sim.study.ages.evaluate import evaluate_by_replay, evaluate_settings
from sim.study.decide.recommend import recommend
from sim.study.decide.wish import flatten, make_wish, with_wishes
from sim.study.explain import IN_THE_OPEN, explain_moment, find_worst_spells
from sim.study.replications.replicate import run
from sim.study.stress import scale
from tests.study.decide_site import WISHES, small_site
from tests.truth.limit_scenes import SITE, USUAL

AREA = """
[[area]]
name = "packing"
across_m = [5.0, 15.0]
along_m = [-8.0, 2.0]
luminaires = 7
fixed_on = 1
full_w = 50.0
floor_lux_at_full = 300.0
sensors_at_m = [[7.0, -3.0], [12.0, -3.0]]
radius_m = 4.0
dead_sensors = [2]
hold_s = 20.0
settings = { day = "night" }
people_per_hour = 6.0
dwell_mean_s = 240.0
"""


def open_site(**changes: str) -> Scenario:
    """The small site with staging and a packing area that has the night's settings by day."""
    return small_site(extra=AREA, depth="dock_doors = 2 -> dock_doors = 2\nstaging_depth_m = 8", **changes)


def test_an_area_is_a_place_with_its_own_tables() -> None:
    """7 luminaires, 1 fixed, 50 W; 2 W standby, pulses and latency as in [luminaires] and [sensors]."""
    scenario = open_site()
    layout = lay_out(scenario)
    assert (layout.zones[3], layout.places[3], layout.zones_in_aisles) == ("packing", "packing", 3)
    assert (layout.dimmed[3], layout.fixed[3], layout.sensor_count) == (6, 1, 8)
    lamps, eyes = layout.place_luminaires[3], layout.place_sensors[3]
    assert (lamps.full_w, lamps.standby_w, lamps.floor_lux_at_full) == (50.0, 2.0, 300.0)
    assert (eyes.hold_s, eyes.latency_s, eyes.still_rate_per_min) == (20.0, 0.5, 2.0)
    assert scenario.area_m2_of("packing") == 100.0
    program = place_programs(scenario)[3]
    assert program.delay_s.tolist() == [140.0]
    assert place_programs(scenario)[0].delay_s.tolist() == [125.0, 305.0, 125.0]


def test_watts_of_its_own_put_a_table_of_others_out_of_use() -> None:
    curve = "[[0.0, 2.0], [0.5, 60.0], [1.0, 100.0]]"
    rows = f"full_w = 100\nstandby_w = 2 -> full_w = 100\npower_curve = {curve}"
    scenario = open_site(curve=rows)
    assert scenario.luminaires_of("A01").power_curve is not None
    assert scenario.luminaires_of("packing").power_curve is None


def test_the_age_view_is_a_replay_by_zone() -> None:
    place = prepare_site(open_site())
    traffic = simulate_traffic(place, 0)
    base = dict(place.scenario.lighting.settings)
    choices = [base, {**base, "night": base["night"].model_copy(update={"timeout_s": 400.0})}]
    fast = evaluate_settings(place, traffic, choices, by_zone=True)
    for name, slow in evaluate_by_replay(place, traffic, choices, by_zone=True).items():
        assert np.allclose(fast[name], slow, rtol=1e-9, atol=1e-6), name
    assert fast["energy_kwh"][3, 1] > fast["energy_kwh"][3, 0]


def test_a_recommendation_writes_an_areas_settings_into_the_area() -> None:
    wishes = {**WISHES, "max": {"dim_truck_s_per_visit": 6.0}, "max_zone": {"dim_truck_s_per_visit": 30.0}}
    wish = make_wish(with_wishes(open_site(), wishes))
    assert flatten(wish.scenario).area[0].settings is None
    found = recommend(wish, replications=2, fresh=2)
    plan, written = found.plans["aisles"], found.scenarios["aisles"]
    for place, (name, _) in enumerate(written.places):
        chosen = plan.settings_of(place)
        assert all(written.settings_of(name)[period] == chosen[period] for period in chosen)
    assert all("packing" not in override.aisles for override in written.override)
    # visits are those of aisles, so the picture over visits has the three aisles and not the area
    for choices in aisle_choices(found):
        assert len(choices.visits_per_h) == len(choices.timeout_s) == 3 < len(written.places)
        assert choices.visits_per_h.min() > 0.0
        assert choices.visits_per_h.sum() * 24.0 == pytest.approx(float(found.fit.site.visits))


@pytest.fixture(scope="module")
def result():
    """One replication."""
    return run(open_site(), replications=1)


def test_parts_are_told_apart(result) -> None:
    energy = result.outcomes[0].zones["energy_kwh"]
    assert in_open_areas(result, "energy_kwh").mean == energy[3]
    frame = result.zones_frame()
    assert frame["aisle"].tolist() == ["A01", "A02", "A03", "packing"]
    html = render_report(result, {})
    assert "of it in open areas" in html
    assert "a zone whose lights were still low" in html


def test_a_moment_and_the_worst_spells_of_an_area(result) -> None:
    inside = result.close_look.stays.of_zone(3)
    (one,) = explain_moment(result, 3, float(inside.enter[0]))
    assert (one.zone, one.settings_name, one.hold_s) == ("packing", "night", 20.0)
    assert [guest.task for guest in one.guests][:1] == [IN_THE_OPEN]
    spells = find_worst_spells(result, 1000, 3)
    assert spells
    assert {spell.aisle for spell in spells} == {"packing"}
    everywhere = find_worst_spells(result, 100_000)
    assert {spell.aisle for spell in everywhere} >= {"packing", "A01"}
    total = sum(spell.end - spell.start for spell in everywhere)
    assert total == pytest.approx(result.outcomes[0].total["dim_truck_s"])


def test_the_plan_and_check_show_the_area() -> None:
    scenario = open_site()
    layout = lay_out(scenario)
    numbers = plan_numbers(scenario, layout)
    (area,) = numbers.rows[0].areas
    assert (area.left_m, area.right_m, area.near_m, area.far_m) == (5.0, 15.0, -8.0, 2.0)
    assert (len(area.dimmed), len(area.fixed)) == (6, 1)
    assert (area.eyes, area.dead) == (((7.0, -3.0),), ((12.0, -3.0),))
    assert numbers.zones == 4
    assert numbers.sensors == 8
    assert "a ring is what a sensor sees" in plan_words(numbers)
    picture = plan_picture(numbers, "svg")
    assert b"open area" in picture
    assert b"packing" in picture
    bare = scenario.model_copy(update={"area": None})
    assert b"open area" not in plan_picture(plan_numbers(bare, lay_out(bare)), "svg")
    text = "\n".join(site_lines(scenario, layout, place_programs(scenario), ()))
    assert "areas       packing: 7 luminaires, 0.350 kW, 2 sensors, 1,010 people a week" in text


def test_an_area_is_cut_where_the_plan_is_folded() -> None:
    wide = AREA.replace("[5.0, 15.0]", "[5.0, 300.0]")
    staging = "dock_doors = 2 -> staging_depth_m = 8"
    scenario = small_site(extra=wide, a="aisles = 3 -> aisles = 60", b=staging)
    rows = plan_numbers(scenario, lay_out(scenario)).rows
    assert [(row.areas[0].left_m, row.areas[0].right_m) for row in rows] == [(5.0, 150.0), (150.0, 300.0)]
    assert sum(len(row.areas[0].dimmed) + len(row.areas[0].fixed) for row in rows) == 7


def test_limits_of_an_area() -> None:
    """IECC 2021: 20 min; HSG38 and power density in W/ft2: 7 x 50 W on 100 m2 = 3.5 W/m2 = 0.325 W/ft2."""
    limits = '"IECC-2021", "HSG38", "ASHRAE 90.1-2007"'
    area = AREA.replace('settings = { day = "night" }', "").replace("hold_s = 20.0", "hold_s = 700.0")
    floor = "aisles = 3\nstaging_depth_m = 8"
    text = SITE.replace("aisles = {aisles}", floor).format(
        limits=limits, **{**USUAL, "said": 'goods = "bulky"', "lamps": "floor_lux_at_full = 100.0"}
    )
    rows = [row for row in limit_rows(parse_scenario(text + area)) if row.aisles == ("packing",)]
    by_words = {row.what: row for row in rows}
    delay = next(row for what, row in by_words.items() if "hold and timeout" in what)
    assert (delay.value, delay.is_met) == (1300.0, False)
    density = by_words["lighting power density, space by space"]
    assert density.value == pytest.approx(3.5 * 0.09290304)
    assert "over its size" in density.remark
    assert any("floor light" in what for what in by_words)


def test_run_and_check_of_the_demo_with_an_area(tmp_path) -> None:
    done = CliRunner().invoke(aislewake, ["check", "cross-dock"])
    assert done.exit_code == 0
    assert "marshalling" in done.output


def test_more_volume_is_more_people_too() -> None:
    assert scale(open_site(), "volume", 1.5).area[0].people_per_hour == 9.0
    assert scale(small_site(), "volume", 1.5).area is None


def test_light_of_people_counts_by_their_weight() -> None:
    weighed = open_site(weight="dwell_mean_s = 240.0 -> dwell_mean_s = 240.0\npeople_weight = 0.0")
    whole = {}
    for name, scenario in (("all", open_site()), ("trucks", weighed)):
        place = prepare_site(scenario)
        whole[name] = replay_site(place, simulate_traffic(place, 0))[0].zones["dim_truck_s"][3]
    assert 0.0 <= whole["trucks"] < whole["all"]
