"""Words for what is rare: moments in motion, long lists, second levels, goals of a comparison, logs' tables.

Comes in: scenarios, results and findings made by hand.  Each sentence stands beside one in which it does not.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from sim.floor.layout import lay_out
from sim.lighting.timetable import place_programs
from sim.outcome.en15193 import calculate_en15193
from sim.results import Estimate, ExtraTable, Result
from sim.scenario.schema import Scenario
from sim.show.numbers.bars import dim_aisles
from sim.show.reports.run import render_report
from sim.show.words.amounts import WIDTH, duration
from sim.show.words.answers import answers
from sim.show.words.bars import BLOCKS, run_picture
from sim.show.words.cautions import cautions, lux_rows
from sim.show.words.compare import comparison_page
from sim.show.words.en15193 import en15193_rows
from sim.show.words.explain import moment_page, spells_page
from sim.show.words.log import extra_table_text
from sim.show.words.plain_names import plain_names
from sim.show.words.quick import estimate_page
from sim.show.words.sections import page_text
from sim.show.words.tables import headline_table, site_table
from sim.study.compare import Alternative, Comparison, Goal, Pair
from sim.study.differences import Difference
from sim.study.explain import IN_THE_OPEN, Cure, Guest, Moment
from sim.study.quick import QuickInputs, quick_estimate
from tests.show.made_results import make_result, make_scenario

ALL_DAY = [{"from": "00:00", "to": "24:00", "settings": "day"}]


def flat(text: str) -> str:
    """A text without its line ends."""
    return " ".join(text.split())


def site_text(**changes: Any) -> str:
    """What `check` prints of a site."""
    scenario = make_scenario(**changes)
    return site_table(scenario, lay_out(scenario), place_programs(scenario), ())


MOMENT = Moment(
    zone="A01", aisle="A01", time=36_000.0, settings_name="day", hold_s=30.0, timeout_s=270.0,
    second_delay_s=None, last_start=35_900.0, last_end=35_960.0, next_start=math.inf, is_high=True, level=1.0,
    occupied=1.0, low_since=math.nan, is_by_border=False, guests=(), now=None, visit=None,
)
"""Ten in the morning; motion was seen from 9:58:20 to 9:59:20."""


def told(**changes: Any) -> str:
    """What is said of the moment with other facts."""
    return flat(page_text(moment_page(make_result(), [replace(MOMENT, **changes)])))


def test_a_moment_in_motion_is_told_by_its_beginning() -> None:
    """Motion until 10:00:10 is under way at 10:00; motion until 9:59:20 is 40 s ago."""
    assert "The sensors see motion, since 09:58:20." in told(last_end=36_010.0)
    assert "The sensors last saw motion until 09:59:20, 40 s before." in told()
    assert "The sensors see motion" not in told()


def test_a_second_delay_stands_behind_the_timers() -> None:
    assert "timeout 4.5 min, together 5 min, then the second delay of 1 h." in told(second_delay_s=3600.0)
    assert "together 5 min." in told()


def test_people_in_the_open_are_not_called_trucks_in_an_aisle() -> None:
    guest = Guest("", IN_THE_OPEN, 35_900.0, 36_100.0, math.nan, 20.0)
    text = told(guests=(guest,))
    assert "A truck or somebody on foot is there (in the open) from 09:58:20 to 10:01:40" in text
    truck = replace(guest, truck="T01", task="retrieve", bay_m=20.0)
    assert "T01 is in the aisle (retrieve, at 20.0 m) from 09:58:20" in told(guests=(truck,))


def test_a_cure_has_no_price_where_drivers_react() -> None:
    low = {"is_high": False, "level": 0.3, "low_since": 35_990.0}
    free = told(now=Cure(400.0, 600.0, math.nan, math.nan), **low)
    assert "a timeout of 6 min 40 s or more (usual: 10 min); its price is not known without a new" in free
    assert "nan" not in free
    priced = told(now=Cure(400.0, 600.0, 12.0, 34.0), **low)
    assert "10 min costs 12 kWh a year in A01 alone, 34 kWh wherever" in priced


def test_no_spells_are_said_to_be_none() -> None:
    text = page_text(spells_page(make_result(), (), None, "folder"))
    assert "No visit was in too little light." in text
    assert "aislewake explain" not in text


def test_long_lists_of_a_site_are_cut_with_a_count() -> None:
    """Ten settings and eight groups of trucks: eight and six are shown, and how many are not."""
    names = [f"s{number}" for number in range(10)]
    settings = {name: {"unoccupied_level": 0.3, "timeout_s": 60.0 + ord(name[1])} for name in names}
    week = [
        {"from": f"{2 * number:02d}:00", "to": f"{2 * number + 2:02d}:00", "settings": name}
        for number, name in enumerate([*names, names[0], names[1]])
    ]
    text = site_text(lighting={"settings": settings}, timetable=week)
    assert [f"\n{name} " in text for name in names] == [True] * 8 + [False] * 2
    assert "\nand 2 more\n" in text
    truck = {"count": 1, "speed_laden_m_per_s": 2.0, "speed_empty_m_per_s": 2.0, "handling_mean_s": 60.0}
    groups = [{"name": f"group {number}", **truck} for number in range(8)]
    shifts = [{"trucks": "group 0", "from": "06:00", "to": "22:00", "crew": 1}]
    text = site_text(trucks=groups, shifts=shifts)
    assert "group 5" in text
    assert "group 6" not in text
    assert "\n  and 2 more\n" in text
    assert "more\n" not in site_text()


def test_trailers_at_random_and_their_unloading() -> None:
    """One every two hours on five days: 60 a week; pallets by hands that are not modelled, or by a group."""
    stream = {"name": "suppliers", "days": ["Mon", "Tue", "Wed", "Thu", "Fri"], "pallets": 33}
    text = flat(site_text(inbound=[{**stream, "per_hour": 0.5, "pallet_s": 90.0}]))
    assert "suppliers: Mon-Fri 60 a week at random; each brings 33 pallets, unloaded in 90 s each" in text
    text = flat(site_text(inbound=[{**stream, "at": ["06:00", "08:00"], "unload_trucks": ["reach"]}]))
    assert "suppliers: Mon-Fri at 06:00 and 08:00; each brings 33 pallets, unloaded by reach" in text


def test_a_figure_too_long_for_a_line_has_its_remark_on_the_next() -> None:
    """Luminaires of 10 MW: figures of millions beside each other do not fit into 80 columns."""
    huge = make_scenario(luminaires={"per_aisle": 10, "full_w": 1e7})
    lines = headline_table(make_result(huge)).splitlines()
    assert max(map(len, lines)) <= WIDTH
    row = next(number for number, line in enumerate(lines) if "saved against always on" in line)
    # 300 MW for a day, half of them saved: t of one degree of freedom over 0.1 between two, 0.5 ± 0.64
    assert lines[row].split() == ["saved", "against", "always", "on", "50", "±", "64", "%"]
    assert lines[row + 1].strip().endswith("of 7,200,000 kWh")
    assert len(lines[row + 1]) == WIDTH
    peak = next(line for line in lines if "highest quarter-hour load" in line)
    assert peak.endswith(" kW always on 300,000 kW")
    usual = headline_table(make_result()).splitlines()
    assert next(line for line in usual if "saved against always on" in line).endswith("of 72 kWh")


def test_a_span_that_has_no_end_is_not_known() -> None:
    assert duration(math.inf) == duration(math.nan) == "not known"


@pytest.mark.parametrize(("half", "is_told"), [(3.6, True), (None, False)])
def test_how_well_the_saving_is_known(half: float | None, is_told: bool) -> None:
    """± 3.6 of 36 kWh are ± 10 % of it; where nothing is saved there is nothing to be known of itself."""
    result = make_result()
    figures = {**result.headline, "saved_kwh": Estimate(36.0 if is_told else 0.0, half or 0.0)}
    text = " ".join(answer.text for answer in answers(replace(result, headline=figures)))
    assert ("The energy saved is known to ± 10 % of itself." in text) == is_told
    assert ("of itself" in text) == is_told


def dims(result: Result, dim_s: list[float]) -> Result:
    """The same with these truck-seconds in dim light, by zone."""
    outcomes = tuple(
        replace(one, zones={**one.zones, "dim_truck_s": np.array(dim_s)}) for one in result.outcomes
    )
    return replace(result, outcomes=outcomes)


def test_the_worst_aisles_say_how_much_of_all_they_hold() -> None:
    """Eight aisles of 0, 100, ... 700 s: the worst five hold 2500 of 2800 s; without any nothing is drawn."""
    floor = {"aisles": 8, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0}
    result = make_result(make_scenario(floor=floor))
    lines = run_picture(dims(result, [100.0 * zone for zone in range(8)]), 80, BLOCKS)
    assert "Truck time in dim light, the worst 5 of 8 aisles (89 % of it)" in lines
    lines = run_picture(dims(result, [0.0] * 5 + [1.0, 2.0, 3.0]), 80, BLOCKS)
    assert "Truck time in dim light, in 3 of 8 aisles" in lines
    nothing = dims(result, [0.0] * 8)
    assert dim_aisles(nothing) is None
    assert not any("dim light" in line for line in run_picture(nothing, 80, BLOCKS))


def report_of(result: Result) -> str:
    """The words of a run's report."""
    return flat(render_report(result, {}))


def test_a_report_where_drivers_react_recommends_nothing() -> None:
    result = make_result()
    lost = {name: Estimate(1.0, 0.1) for name in ("light_lost_min", "light_lost_min_per_shift", "light_waits",
                                                  "light_waits_given_up")}
    reacting = report_of(replace(result, headline={**result.headline, **lost}))
    assert "Drivers react to the light here, so that none are recommended by themselves" in reacting
    plain = report_of(result)
    assert "Drivers react to the light here" not in plain
    assert "aislewake recommend sets recommended settings beside these" in plain


def test_a_report_says_what_precision_was_asked() -> None:
    assert "energy within 2 %" in report_of(make_result(make_scenario(precision=0.02)))
    assert "Precision asked" not in report_of(make_result())


def lit(**changes: Any) -> Scenario:
    """The small site with 200 lx on its floor, 10 % after an hour more without motion by day."""
    settings = {
        "day": {"unoccupied_level": 0.3, "timeout_s": 270, "second_delay_s": 3600, "second_level": 0.1},
        "night": {"occupied_level": 0.5, "unoccupied_level": 0.0, "timeout_s": 60},
    }
    lamps = {"per_aisle": 10, "full_w": 100.0, "floor_lux_at_full": 200.0}
    return make_scenario(lighting={"settings": settings}, luminaires=lamps, **changes)


def test_the_second_level_has_its_own_light_on_the_floor() -> None:
    rows = {(row.where, row.level): row.lux for row in lux_rows(lit())}
    assert rows == {
        ("day", "occupied, 100 %"): 200.0, ("day", "unoccupied, 30 %"): pytest.approx(60.0),
        ("day", "second, 10 %"): pytest.approx(20.0), ("night", "occupied, 50 %"): 100.0,
        ("night", "unoccupied, 0 %"): 0.0,
    }


def test_how_far_a_truck_goes_needs_a_truck() -> None:
    """0.5 s to be seen, then from 30 to 90 % of a rise of 0.7 s from 30 %: 1.1 s, 2.2 m at 2 m/s."""
    site = make_scenario()
    text = " ".join(cautions(site, lay_out(site)))
    assert "a truck goes 2.20 m in that time" in text
    nobody = make_scenario(trucks=[], shifts=[], work=[])
    text = " ".join(cautions(nobody, lay_out(nobody)))
    assert "takes up to 1.1 s (settings day)." in text
    assert "a truck goes" not in text


def compared(goal: Goal | None, is_reached: bool) -> Comparison:
    """Two alternatives of two replications: 10 and 8 kWh; nobody knows their false-offs."""
    site = make_scenario()
    figures = ({"energy_kwh": np.array([9.0, 11.0])}, {"energy_kwh": np.array([7.0, 9.0])})
    sides = tuple(
        Alternative(label, site, (0, 1), {**own, "false_offs": np.full(2, math.nan)}, False, "k")
        for label, own in zip(("first", "second"), figures, strict=True)
    )
    differences = {
        "energy_kwh": Difference(Estimate(-2.0, 0.0), True),
        "false_offs": Difference(Estimate(None, None), True),
    }
    pair = Pair("second", True, (2, 2), differences, dict.fromkeys(differences))
    return Comparison(sides, (pair,), goal, is_reached, ())


def test_a_comparison_says_whether_its_goal_was_reached() -> None:
    goal = Goal("energy_kwh", 0.5, None)
    text = flat(page_text(comparison_page(compared(goal, True), ["energy_kwh"])))
    assert "What was asked of energy_kwh: reached." in text
    text = flat(page_text(comparison_page(compared(goal, False), ["energy_kwh"])))
    assert "What was asked of energy_kwh: not reached; more replications would be needed." in text
    assert "What was asked" not in page_text(comparison_page(compared(None, False), ["energy_kwh"]))


def test_a_comparison_leaves_out_what_nobody_knows() -> None:
    rows = comparison_page(compared(None, True), ["energy_kwh", "false_offs"]).sections[0].rows
    assert [row[:4] for row in rows] == [("energy_kwh", "10", "8", "-2 ± 0")]


def test_a_table_of_its_own_kind_is_shown_as_it_is() -> None:
    header, rows = ("key", "value"), (("rate", "12"),)
    text = extra_table_text(ExtraTable("fit", "What was fitted", header, rows, remarks=("By the log.",)))
    assert text.splitlines()[0] == "What was fitted"
    assert "rate  12" in text
    assert "By the log." in text


def test_a_timeout_that_nobody_can_judge_has_a_dash() -> None:
    """Without visits a log of motion says nothing of dim entries and false-offs."""
    header = (
        "aisle", "timeout_s", "gaps", "gap_p50_s", "gaps_longer_share", "saved_share", "time_at_low_share",
        "switch_ups", "dim_entries", "false_offs",
    )
    row = ("all", "60", "1200", "45", "0.25", "0.5", "0.4", "300")
    for last in (("", ""), ("12", "3")):
        text = extra_table_text(ExtraTable("timeouts", "Timeouts", header, ((*row, *last),)))
        shown = next(line for line in text.splitlines() if line.strip().startswith("60 s"))
        figures = shown.split()
        assert figures[:-2] == ["60", "s", "25.0", "%", "50.0", "%", "40.0", "%", "300"]
        assert figures[-2:] == [one or "-" for one in last]


def test_luminaires_that_never_dim_have_no_absence() -> None:
    """EN 15193: two of ten never dim; 6 of the 30 luminaires of 100 W burn at the occupied level's hours."""
    rows = {row[0]: row for row in en15193_rows(calculate_en15193(make_scenario(
        luminaires={"per_aisle": 10, "full_w": 100.0, "fixed_on": 2}
    )))}
    never = [row for row in rows.values() if "never dim" in row[3]]
    assert [row[3].split(";")[0] for row in never] == ["P_n 0.600 kW"]
    assert "F_A" not in never[0][3]
    assert not [row for row in en15193_rows(calculate_en15193(make_scenario())) if "never dim" in row[3]]


def test_keys_of_sensors_and_values_that_are_no_numbers_stay_as_they_are() -> None:
    assert plain_names("sensors.hold_s=60, day.timeout_s=90") == "sensors: hold 1 min, day: timeout 90 s"
    assert plain_names("sensors.timeout_s=60") == "sensors.timeout_s=60"
    assert plain_names("day.timeout_s=1e") == "day.timeout_s=1e"


@pytest.mark.parametrize("cost", [0.0, 800.0])
def test_an_estimate_with_and_without_a_cost(cost: float) -> None:
    """Payback by hand: cost of all aisles over what a year saves."""
    inputs = QuickInputs(cost_per_aisle=cost)
    rows = estimate_page(inputs).sections[0].rows
    for row, option in zip(rows, quick_estimate(inputs), strict=True):
        if cost == 0.0:
            assert row[-1] == "no cost given"
        else:
            years = cost * inputs.aisles / (option.saved_kwh * inputs.price_per_kwh)
            assert abs(float(row[-1].split()[0]) - years) <= 0.05, "half a unit of the digit shown"
