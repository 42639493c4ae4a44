"""Recommendations against all combinations by replay, their refusals, and their folder."""

from __future__ import annotations

import csv
import itertools
import json
import math
import re
from typing import Any

import numpy as np
import pytest

from sim.errors import InputError
from sim.floor.layout import lay_out
from sim.replication import prepare_site, replay_site, simulate_traffic
from sim.scenario.schema import Scenario, Settings
from sim.scenario.toml import dump_scenario, load_scenario, parse_scenario
from sim.show.folders.recommend import write_recommendation
from sim.show.words.recommend import recommendation_page
from sim.show.words.sections import page_text
from sim.study.decide.candidates import level_at_least, standard_levels
from sim.study.decide.choose import Impossible, choose_plan
from sim.study.decide.hour_caps import HourTable, hour_rows
from sim.study.decide.light_plans import LightPlan, scenario_with
from sim.study.decide.measures import Base, Limit, parse_measure
from sim.study.decide.recommend import KINDS, Recommendation, _choose_all, recommend
from sim.study.decide.refusals import is_staffed
from sim.study.decide.wish import Wish, make_wish, with_wishes
from sim.study.relight import relight, with_settings
from sim.study.sweeping.plan import check_content
from tests.study.decide_site import WISHES, small_site, wishing_site

LIMITS = {"shortfall_truck_s_per_visit": 0.3, "switch_ups_per_zone_hour": 3.0}
"""Both bind, and tuning helps: the three kinds of plan differ."""


class Twin:
    """Every combination of every aisle by full replays: slow and obvious."""

    def __init__(self, wish: Wish, replications: int) -> None:
        self.wish = wish
        names = wish.offer.names
        self.choices = [
            dict(zip(names, row, strict=True))
            for row in itertools.product(*(wish.offer.candidates[name] for name in names))
        ]
        site = prepare_site(wish.flat)
        self.layout = site.layout
        self.tables: list[list[dict[str, np.ndarray]]] = []
        self.visits = np.zeros(len(site.layout.zones))
        for number in range(replications):
            traffic = simulate_traffic(site, number)
            rows = []
            for choice in self.choices:
                outcomes, _ = replay_site(relight(site, with_settings(wish.flat, choice)), traffic)
                rows.append({name: np.asarray(column) for name, column in outcomes.zones.items()})
            self.visits = self.visits + rows[0]["visits"] / replications
            self.tables.append(rows)

    def sums(self, name: str) -> np.ndarray:
        """Mean over replications by choice and aisle (K, A)."""
        return np.mean([[row[name] for row in rows] for rows in self.tables], axis=0)

    def best(self, groups: list[list[int]], limits: dict[str, float]) -> float:
        """Least energy over all ways to give each group a choice; limits are of the site's sums."""
        energy = self.sums("energy_kwh")
        used = {name: self.sums(name) for name in limits}
        best = math.inf
        for row in itertools.product(range(len(self.choices)), repeat=len(groups)):
            pairs = [(choice, aisle) for choice, aisles in zip(row, groups, strict=True) for aisle in aisles]
            if all(
                sum(used[name][pair] for pair in pairs) <= most * (1.0 + 1e-9)
                for name, most in limits.items()
            ):
                best = min(best, sum(energy[pair] for pair in pairs))
        return best


@pytest.fixture(scope="module")
def found() -> Recommendation:
    """A recommendation on the small site: 36 combinations, 3 aisles."""
    return recommend(make_wish(wishing_site(LIMITS)), replications=2, fresh=3)


def test_all_plans_are_the_best_of_all_combinations_by_replay(found):
    twin = Twin(found.wish, 2)
    days, zones = 1.0, 3
    limits = {
        "shortfall_truck_s": 0.3 * float(twin.visits.sum()),
        "switch_ups": 3.0 * zones * 24.0 * days,
    }
    groups = {
        "single": [[0, 1, 2]],
        "groups": [[a for a in range(3) if found.plans["groups"].group_of[a] == g] for g in range(2)],
        "aisles": [[0], [1], [2]],
    }
    for name in KINDS:
        best = twin.best(groups[name], limits)
        plan = found.plans[name]
        assert plan.bound <= best * (1.0 + 1e-9)
        assert plan.cost >= best * (1.0 - 1e-9)
        assert plan.cost <= best * (1.0 + 1e-9) + plan.gap * plan.cost
    assert found.plans["aisles"].cost < found.plans["groups"].cost < found.plans["single"].cost
    # at equal service: nothing that a driver notices is worse than under the single setting
    service = ("dim_truck_s", "shortfall_truck_s", "dim_entries", "false_offs", "switch_ups")
    chosen = found.plans["single"].combination[0]
    same = {name: float(twin.sums(name)[chosen].sum()) for name in service}
    equal = found.plans["aisles at equal service"]
    best = twin.best([[0], [1], [2]], limits | same)
    assert best * (1.0 - 1e-9) <= equal.cost <= best * (1.0 + 1e-9) + equal.gap * equal.cost
    # the check can fail: other limits have another optimum
    assert twin.best([[0, 1, 2]], {"switch_ups": 0.5 * limits["switch_ups"]}) != pytest.approx(
        found.plans["single"].cost, rel=1e-6
    )


def test_border_terms_are_in_the_sums(found):
    assert found.replay_error < 1e-9


def test_measures_divide_by_what_their_name_says():
    """By hand: 60 switch-ups of 3 zones in 2 days, 20 visits."""
    base = Base(*(np.array([value]) for value in (20.0, 2.0, 48.0, 3.0)))
    per = {"": 60.0, "_per_visit": 3.0, "_per_day": 30.0, "_per_hour": 1.25, "_per_zone_hour": 60.0 / 144.0}
    for suffix, value in per.items():
        measure = parse_measure(f"switch_ups{suffix}")
        assert measure.outcome == "switch_ups"
        assert 60.0 / measure.divisor(base)[0] == pytest.approx(value, rel=1e-15)
    assert parse_measure("dim_truck_s_per_hour").unit == "s per hour"


def test_an_hour_without_visits_or_without_dim_time_has_no_limit(found):
    """Two places, one combination: visits from 8 to 10 o'clock, dim time from 9 to 11."""
    dim, visits = np.zeros((2, 1, 24)), np.zeros(24)
    dim[:, 0, 9:11] = [[3.0, 1.0], [4.0, 2.0]]
    visits[8:10] = 5.0
    hours = HourTable(np.array([7]), {"dim_truck_s": dim}, Base(visits, *(np.ones(24),) * 3))
    limit = Limit(parse_measure("dim_truck_s_per_visit"), 2.0, "hour")
    ((use, most),) = hour_rows(hours, limit, found.fit)
    assert use.shape == (2, len(found.fit))
    assert use[:, 7].tolist() == [3.0, 4.0]
    assert np.count_nonzero(use) == 2
    assert most == 10.0, "2 s per visit, 5 visits"
    total = Limit(parse_measure("dim_truck_s"), 2.0, "hour")
    assert [most for _, most in hour_rows(hours, total, found.fit)] == [2.0, 2.0]


def test_a_search_at_equal_service_that_finds_nothing_costs_nothing_else(found, monkeypatch):
    """The solver may run out of time there; the plans that were found stay."""
    groups = {name: found.plans[name].group_of for name in KINDS}

    def choose(*words, at_most=None, **more):
        answer = choose_plan(*words, at_most=at_most, **more)
        return answer if at_most is None else Impossible(answer, ())

    monkeypatch.setattr("sim.study.decide.recommend.choose_plan", choose)
    plans, impossible = _choose_all(found.wish, found.fit, groups, None)
    assert list(plans) == list(KINDS)
    assert impossible == {}
    assert set(found.plans) == {*KINDS, "groups at equal service", "aisles at equal service"}
    for name in KINDS:
        assert plans[name].combination == found.plans[name].combination


def test_zone_and_hour_limits_hold_where_they_are_fitted():
    wish = make_wish(
        wishing_site(
            LIMITS,
            max_zone={"switch_ups_per_day": 85.0},
            max_hour={"switch_ups_per_zone_hour": 5.5},
        )
    )
    found = recommend(wish, replications=2, fresh=2)
    site = prepare_site(wish.flat)
    assert found.hour_combinations is not None
    for name, lights in found.scenarios.items():
        if name == "current":
            continue
        zones, hours = np.zeros(3), np.zeros(24)
        for number in range(2):
            traffic = simulate_traffic(site, number)
            outcomes, _ = replay_site(relight(site, lights), traffic)
            zones = zones + outcomes.zones["switch_ups"] / 2.0
            hours = hours + outcomes.hours["switch_ups"] / 2.0
        assert zones.max() <= 85.0 + 1e-6, name
        assert hours.max() / 3.0 <= 5.5 + 1e-6, name
    free = recommend(make_wish(wishing_site(LIMITS)), replications=2, fresh=2)
    assert free.plans["aisles"].cost < found.plans["aisles"].cost


def test_short_lists_come_near_the_whole(found, monkeypatch):
    """With room for 9 of 36 combinations the plans cost no less, and little more."""
    monkeypatch.setattr("sim.study.decide.fit.MOST_COMBINATIONS", 20)
    short = recommend(make_wish(wishing_site(LIMITS)), replications=2, fresh=2)
    assert not short.fit.is_complete
    assert len(short.fit) < len(found.fit)
    assert any("short list" in notice for notice in short.notices)
    for name in KINDS:
        assert short.plans[name].cost >= found.plans[name].cost * (1.0 - 1e-4)
    assert short.plans["aisles"].cost <= found.plans["aisles"].cost * 1.05


def test_fresh_replications_are_others_and_savings_are_paired(found):
    assert not set(found.fitted_to) & set(found.tried_on)
    assert [trial.stress.label for trial in found.trials] == [
        "as stated",
        "volume -30 %",
        "volume +30 %",
        "skew -30 %",
        "skew +30 %",
        "handling -30 %",
        "handling +30 %",
    ]
    site = prepare_site(small_site())
    for number, replication in enumerate(found.tried_on):
        traffic = simulate_traffic(site, replication)
        for name, lights in found.scenarios.items():
            outcomes, _ = replay_site(relight(site, lights), traffic)
            assert found.trials[0].totals[name]["energy_kwh"][number] == outcomes.total["energy_kwh"]
    for saving in found.savings:
        over, plan = (found.trials[0].totals[one]["energy_kwh"] for one in (saving.over, saving.plan))
        assert saving.difference.is_paired
        assert saving.difference.estimate.mean == pytest.approx(float((over - plan).mean()))
        gaps = [
            float((trial.totals[saving.over]["energy_kwh"] - trial.totals[saving.plan]["energy_kwh"]).mean())
            for trial in found.trials
        ]
        assert (saving.least, saving.most) == (pytest.approx(min(gaps)), pytest.approx(max(gaps)))


def test_volume_goes_up_and_down_with_the_stress(found):
    visits = [float(trial.totals["single"]["visits"].mean()) for trial in found.trials]
    assert visits[1] < 0.8 * visits[0] < 1.2 * visits[0] < visits[2]


def test_a_plan_goes_back_into_a_file(found):
    for name, plan in found.plans.items():
        scenario = parse_scenario(dump_scenario(found.scenarios[name]))
        assert scenario == found.scenarios[name]
        for aisle, aisle_name in enumerate(scenario.aisle_names):
            assert dict(scenario.settings_of(aisle_name)).items() >= dict(plan.settings_of(aisle)).items()


def test_impossible_limits_name_the_nearest_setting():
    with pytest.raises(InputError) as caught:
        recommend(make_wish(wishing_site({"switch_ups_per_zone_hour": 0.01})), replications=2)
    text = str(caught.value)
    assert "no single setting meets all limits; the nearest is day: timeout 600 s" in text
    assert "instead of at most 0.01 per zone and hour" in text
    assert "by aisle" in text


def test_impossible_limits_of_zones_and_hours_name_what_is_reached():
    """The worst zone and hour of the nearest single setting, as a replay of that setting counts them."""
    wishes = {"max_zone": {"switch_ups_per_day": 1.0}, "max_hour": {"switch_ups_per_zone_hour": 0.01}}
    wish = make_wish(wishing_site(LIMITS, **wishes, timeouts_s=[120.0], levels=[0.3]))
    with pytest.raises(InputError) as caught:
        recommend(wish, replications=2, fresh=2)
    told = str(caught.value)
    timeout = float(re.findall(r"day: timeout ([\d.]+) s", told)[0])
    level = float(re.findall(r"unoccupied level ([\d.]+)", told)[0])
    scenario = wish.flat
    site, days = prepare_site(scenario), scenario.duration_s / 86_400.0

    def worst(timeout_s: float) -> list[float]:
        settings = {
            name: one.model_copy(update={"timeout_s": timeout_s, "unoccupied_level": level})
            for name, one in scenario.lighting.settings.items()
        }
        lit = relight(site, with_settings(scenario, settings))
        runs = [replay_site(lit, simulate_traffic(site, number))[0] for number in range(2)]
        zones = sum(run.zones["switch_ups"] for run in runs)
        hours = sum(run.hours["switch_ups"] for run in runs)
        return [zones.max() / 2.0 / days, hours.max() / 2.0 / 3.0 / days]

    scopes = ("in every zone", "in every hour of the day")
    reached = [float(re.findall(rf"{one}: ([\d.]+) instead of at most", told)[0]) for one in scopes]
    # told with four figures
    assert reached == pytest.approx(worst(timeout), rel=5e-4)
    for one, other in zip(reached, worst(600.0), strict=True):
        assert one != pytest.approx(other, rel=5e-4)


def test_a_single_setting_may_be_impossible_where_tuning_is_not(found):
    """An energy that only tuned aisles reach under the same limits."""
    assert found.plans["aisles"].cost < found.plans["single"].cost - 0.1
    limits = {**LIMITS, "energy_kwh": found.plans["aisles"].cost + 0.01}
    tight = recommend(make_wish(wishing_site(limits)), replications=2, fresh=2)
    assert "no single setting meets all limits" in tight.impossible["single"]
    assert "energy_kwh" in tight.impossible["single"]
    assert "single" not in tight.plans
    assert tight.plans["aisles"].cost == pytest.approx(found.plans["aisles"].cost, abs=0.02)
    assert {saving.over for saving in tight.savings} == {"current"}
    assert "no single setting" in page_text(recommendation_page(tight))


@pytest.mark.parametrize(
    ("without", "wishes", "words"),
    [
        (["unoccupied_floor_share"], {}, "no level is recommended without a floor"),
        ([], {"unoccupied_floor_share": {"day": 0.1}}, 'states no floor for the settings "night"'),
        (
            [],
            {"unoccupied_floor_share": 0.0, "levels": [0.0, 0.2]},
            "level 0 is not recommended .*a floor above 0",
        ),
        (["egress_aisles"], {}, "egress_aisles = \\[\\] if none"),
        ([], {"egress_aisles": ["A02"]}, "state egress_floor_lux"),
        ([], {"egress_aisles": ["A09"]}, 'no aisle "A09"'),
        ([], {"walked_aisles": ["A1"]}, 'no aisle "A1"; did you mean "A01"'),
        ([], {"max": {"peak_kw": 3.0}}, "peak_kw does not add up"),
        ([], {"max": {"peak_kw_per_day": 3.0}}, "peak_kw_per_day does not add up"),
        ([], {"max": {"sense_per_day": 3.0}}, "sense_per_day is not a measure"),
        ([], {"max": {"dim_truck_s_per_vist": 3.0}}, 'did you mean "dim_truck_s_per_visit"'),
        ([], {"max": {"visits_per_day": 3.0}}, "not changed by any setting"),
        ([], {"minimise": "nonsense"}, "is not a measure"),
        ([], {"occupied_lux": 300.0}, "above floor_lux_at_full = 200"),
        ([], {"levels": [0.05]}, "offer higher levels"),
        ([], {"timeouts_s": [-5.0]}, "timeouts_s.* out of range"),
        ([], {"unoccupied_floor_share": {"dya": 0.1, "day": 0.1, "night": 0.1}}, "not in the timetable"),
    ],
)
def test_refusals_and_faults_say_what_to_supply(without, wishes, words):
    kept = {key: value for key, value in WISHES.items() if key not in without}
    with pytest.raises(InputError, match=words):
        make_wish(with_wishes(small_site(), {**kept, "max": LIMITS, **wishes}))


def test_a_site_where_nothing_moves_and_a_wish_without_limits_are_told():
    content = small_site().content()
    still, problems = check_content({key: value for key, value in content.items() if key != "work"})
    assert still is not None, problems
    with pytest.raises(InputError, match=r"there is no \[\[work\]\]: nothing moves"):
        make_wish(with_wishes(still, {**WISHES, "max": LIMITS}))
    with pytest.raises(InputError, match=r"recommend\.max: nothing to keep to: state a limit, such as"):
        make_wish(with_wishes(small_site(), WISHES))
    # a limit that is mistyped is told as such, and only as such
    with pytest.raises(InputError) as caught:
        make_wish(with_wishes(small_site(), {**WISHES, "max": {"dim_truck": 1.0}}))
    assert len(caught.value.faults) == 1


def test_a_floor_in_lux_needs_the_light_at_full_level():
    """Told for all three wishes in lux at once, with the aisles that lack it."""
    lux = {"unoccupied_floor_lux": 20.0, "egress_floor_lux": 20.0, "occupied_lux": 100.0}
    wishes = {**WISHES, **lux, "egress_aisles": ["A02"], "max": LIMITS}
    with pytest.raises(InputError) as caught:
        make_wish(with_wishes(small_site(a="floor_lux_at_full = 200\n -> "), wishes))
    told = str(caught.value)
    for key in lux:
        assert f"recommend.{key}: is in lux, yet aisles A01, A02 and A03 have no floor_lux_at_full" in told
    make_wish(with_wishes(small_site(), wishes))
    extra = '\n[[override]]\naisles = ["A01", "A03"]\nfloor_lux_at_full = 210\n'
    one = small_site(a="floor_lux_at_full = 200\n -> ", extra=extra)
    with pytest.raises(InputError, match="is in lux, yet aisle A02 has no floor_lux_at_full"):
        make_wish(with_wishes(one, wishes))


@pytest.mark.parametrize(("level", "is_refused"), [(0.0, True), (0.05, True), (0.1, False)])
def test_a_second_level_below_the_floor_is_no_advice_while_people_work(level, is_refused):
    """The floor is 0.1; the second level stays as the file has it, so the file has to change."""
    site = small_site(
        a=f"timeout_s = 300 -> timeout_s = 300\nsecond_level = {level}\nsecond_delay_s = 900"
    )
    wishes = {**WISHES, "max": LIMITS}
    if is_refused:
        words = f"settings.day.second_level: {level:g} stays as it is and is 0 or below .* 0.1 in hours"
        with pytest.raises(InputError, match=words):
            make_wish(with_wishes(site, wishes))
    else:
        assert make_wish(with_wishes(site, wishes)).offer.names == ("day", "night")


def test_holidays_among_exception_dates_are_no_days_of_work():
    """On an exception date people are taken to work, unless it is a holiday: then darkness may be advised."""
    for holidays, is_work in (("", True), ("\nholidays = [2027-03-03]", False)):
        extra = (
            "\n[lighting.settings.shut]\nunoccupied_level = 0.0\ntimeout_s = 60\n"
            '\n[[exceptions]]\ndates = [2027-03-03]\nsettings = "shut"\n'
        )
        site = small_site(a=f"days = 1 -> days = 7{holidays}", extra=extra)
        assert is_staffed(site, "shut") is is_work


def test_ways_out_may_be_declared_among_the_statements():
    """`[statements]` of a code check says it already; to say something else here is a contradiction."""
    kept = {key: value for key, value in WISHES.items() if key != "egress_aisles"}
    stated = small_site(extra='\n[statements]\negress_aisles = ["A03"]\n')
    with pytest.raises(InputError, match="aisle A03 is a marked way out; state egress_floor_lux"):
        make_wish(with_wishes(stated, {**kept, "max": LIMITS}))
    wish = make_wish(with_wishes(stated, {**kept, "max": LIMITS, "egress_floor_share": 0.4}))
    levels = np.array([one.unoccupied_level for one in wish.offer.candidates["day"]])
    assert [float(levels[row].min()) for row in wish.offer.allowed["day"]] == [0.1, 0.1, 0.4]
    with pytest.raises(InputError, match=r"statements\.egress_aisles: differs from recommend\.egress_aisles"):
        with_wishes(stated, WISHES)


def test_all_refusals_come_together():
    with pytest.raises(InputError) as caught:
        make_wish(with_wishes(small_site(a="range_m = 20 -> range_m = 8"), {"max": LIMITS}))
    text = str(caught.value)
    assert all(
        key in text
        for key in ("unoccupied_floor_share", "egress_aisles", "walked_aisles", "no sensor covers")
    )


def test_blind_stretches_are_refused_only_where_people_walk():
    site = small_site(a="range_m = 20 -> range_m = 8")
    make_wish(with_wishes(site, {**WISHES, "max": LIMITS}))
    with pytest.raises(InputError, match="aisle A02, where people walk; supply sensors"):
        make_wish(with_wishes(site, {**WISHES, "max": LIMITS, "walked_aisles": ["A02"]}))
    # walkers in the simulation walk whatever is declared
    walkers = (
        '\n[[trucks]]\nname = "counter"\nkind = "walker"\ncount = 1\naisles = ["A03"]\n'
        '[[shifts]]\ntrucks = "counter"\nfrom = "06:00"\nto = "14:00"\ncrew = 1\n'
        '[[work]]\nname = "count"\nkind = "walk"\nper_hour = 1\ndwell_mean_s = 60\naisle_shares = [0, 0, 1]\n'
        'trucks = ["counter"]\n'
    )
    site = small_site(a="range_m = 20 -> range_m = 8", extra=walkers)
    with pytest.raises(InputError, match="aisle A03, where people walk"):
        make_wish(with_wishes(site, {**WISHES, "max": LIMITS}))


def test_a_level_of_nothing_is_fine_where_nobody_works():
    site = small_site(
        a='from = "00:00"\nto = "12:00" -> from = "08:00"\nto = "12:00"',
        b='to = "24:00" -> to = "17:00"',
        c="per_hour = 14 -> per_hour = [0,0,0,0,0,0,0,0,14,14,14,14,14,14,14,14,0,0,0,0,0,0,0,0]",
        d="per_hour = 6 -> per_hour = [0,0,0,0,0,0,0,0,6,6,6,6,6,6,6,6,0,0,0,0,0,0,0,0]",
    )
    wishes: dict[str, Any] = {"unoccupied_floor_share": {"day": 0.1, "night": 0.0}, "levels": [0.0, 0.1, 0.4]}
    wish = make_wish(with_wishes(site, {**WISHES, "max": LIMITS, **wishes}))
    assert min(one.unoccupied_level for one in wish.offer.candidates["night"]) == 0.0
    assert min(one.unoccupied_level for one in wish.offer.candidates["day"]) == 0.1


def test_floors_hold_aisle_by_aisle():
    """A floor in lux is taken to the aisle's own light; ways out have a floor of their own."""
    wishes: dict[str, Any] = {
        "unoccupied_floor_share": 0.05,
        "unoccupied_floor_lux": 24.0,
        "egress_aisles": ["A02"],
        "egress_floor_lux": 70.0,
        "levels": None,
    }
    site = small_site(extra='\n[[override]]\naisles = ["A03"]\nfloor_lux_at_full = 400\n')
    kept = {key: value for key, value in {**WISHES, **wishes}.items() if value is not None}
    wish = make_wish(with_wishes(site, {**kept, "max": LIMITS}))
    levels = np.array([one.unoccupied_level for one in wish.offer.candidates["day"]])
    lowest = [float(levels[row].min()) for row in wish.offer.allowed["day"]]
    ladder = standard_levels(are_commands=False)
    expected = [level_at_least(share, ladder) for share in (24.0 / 200.0, 70.0 / 200.0, 24.0 / 400.0)]
    assert lowest == pytest.approx(expected)


def test_the_occupied_level_follows_a_light_that_is_asked_for():
    wish = make_wish(wishing_site(LIMITS, occupied_lux=120.0))
    ladder = standard_levels(are_commands=False)
    occupied = {one.occupied_level for one in wish.offer.candidates["day"]}
    assert occupied == {min(level for level in ladder if level * 200.0 >= 120.0)}
    plain = make_wish(wishing_site(LIMITS))
    assert {one.occupied_level for one in plain.offer.candidates["day"]} == {1.0}


def test_default_candidates_are_those_of_the_standard():
    """IEC 62386-102: 10, 20, 30 and 50 % are nearest to levels 170, 195, 210 and 229 (published points)."""
    kept = {key: value for key, value in WISHES.items() if key not in ("levels", "timeouts_s")}
    wish = make_wish(with_wishes(small_site(), {**kept, "max": LIMITS}))
    levels = sorted({one.unoccupied_level for one in wish.offer.candidates["day"]})
    for published in (0.1009, 0.1997, 0.3008, 0.5053):
        assert min(abs(level - published) for level in levels) < 1e-4
    timeouts = sorted({one.timeout_s for one in wish.offer.candidates["day"]})
    assert (timeouts[0], timeouts[-1]) == (30.0, 1800.0)


def test_depth_is_named_where_no_limit_charges_for_it():
    wish = make_wish(wishing_site({"dim_truck_s_per_visit": 2.0}))
    assert any("shortfall" in notice for notice in wish.notices)
    assert not any(
        "No limit is set on shortfall" in notice for notice in make_wish(wishing_site(LIMITS)).notices
    )


def test_settings_of_overrides_are_chosen_anew():
    extra = '\n[[override]]\naisles = ["A01"]\nhold_s = 30\n[override.settings]\nday = "night"\n'
    wish = make_wish(with_wishes(small_site(extra=extra), {**WISHES, "max": LIMITS}))
    assert all(override.settings is None for override in wish.flat.override)
    assert any("Overrides of settings" in notice for notice in wish.notices)
    plan = LightPlan(
        "single",
        np.zeros(3, dtype=np.int64),
        (0,),
        ({name: wish.offer.candidates[name][0] for name in wish.offer.names},),
        0.0,
        0.0,
        1,
    )
    made = scenario_with(wish.flat, plan)
    assert made.sensors_of("A01").hold_s == 30.0


def test_many_different_settings_get_names_of_their_own():
    wish = make_wish(wishing_site(LIMITS))
    settings: list[dict[str, Settings]] = [
        {name: wish.offer.candidates[name][number] for name in wish.offer.names} for number in range(3)
    ]
    plan = LightPlan("aisles", np.arange(3), (0, 1, 2), tuple(settings), 0.0, 0.0, 3)
    made: Scenario = scenario_with(wish.flat, plan)
    assert set(made.lighting.settings) == {"day", "day-2", "day-3", "night", "night-2", "night-3"}
    for aisle, name in enumerate(made.aisle_names):
        own = made.settings_of(name)
        assert {key: own[key] for key in ("day", "night")} == settings[aisle]


def test_new_names_leave_those_of_the_file_alone():
    """The night's settings are called "day-2": the second settings of the day get the next number."""
    site = small_site(
        a="[lighting.settings.night] -> [lighting.settings.day-2]",
        b='settings = "night" -> settings = "day-2"',
    )
    wish = make_wish(with_wishes(site, {**WISHES, "max": LIMITS}))
    night = wish.offer.candidates["day-2"][0]
    settings = [{"day": wish.offer.candidates["day"][number], "day-2": night} for number in range(2)]
    plan = LightPlan("aisles", np.array([0, 1, 1]), (0, 1), tuple(settings), 0.0, 0.0, 2)
    made = scenario_with(wish.flat, plan)
    assert set(made.lighting.settings) == {"day", "day-2", "day-3"}
    for aisle, number in (("A01", 0), ("A02", 1), ("A03", 1)):
        own = made.settings_of(aisle)
        assert (own["day"], own["day-2"]) == (settings[number]["day"], night)


def test_the_folder_holds_what_was_promised(found, tmp_path):
    out = tmp_path / "advice"
    write_recommendation(found, out)
    with (out / "settings.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    layout = lay_out(found.wish.flat)
    assert len(rows) == len(found.plans) * len(layout.zones) * 2
    for row in rows:
        plan = found.plans[row["plan"].replace("-", " ")]
        settings = plan.settings_of(layout.zones.index(row["zone"]))[row["period"]]
        assert float(row["timeout_s"]) == settings.timeout_s
        assert float(row["unoccupied_level"]) == settings.unoccupied_level
        assert float(row["fade_up_s"]) == settings.fade_up_s
    for name in found.plans:
        assert load_scenario(out / f"{name.replace(' ', '-')}.toml") == found.scenarios[name]
    facts = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert facts["source"] == "recommend"
    assert facts["plans"]["aisles"]["gap"] == found.plans["aisles"].gap
    assert {path.name for path in out.iterdir()} >= {"plans.csv", "limits.csv", "savings.csv", "report.html"}
    text = page_text(recommendation_page(found))
    assert all(len(line) <= 80 for line in text.splitlines())
    for words in ("simulation noise", "if the site differs", "volume -30 %", "equal service", "gap"):
        assert words in text


def test_figures_do_not_depend_on_the_number_of_workers(found, tmp_path):
    again = recommend(make_wish(wishing_site(LIMITS)), replications=2, fresh=3, workers=2)
    write_recommendation(found, tmp_path / "one")
    write_recommendation(again, tmp_path / "two")
    one, two = (sorted(path.rglob("*.*")) for path in (tmp_path / "one", tmp_path / "two"))
    assert all(a.read_bytes() == b.read_bytes() for a, b in zip(one, two, strict=True))


def test_exception_dates_and_special_weeks_keep_their_settings():
    """Settings of exception dates are searched too; those of special weeks alone stay as they are."""
    extra = (
        "\n[lighting.settings.fair]\nunoccupied_level = 0.4\ntimeout_s = 200\n"
        "\n[lighting.settings.quiet]\nunoccupied_level = 0.3\ntimeout_s = 90\n"
        '\n[[exceptions]]\ndates = [2027-03-01]\nsettings = "fair"\n'
        '\n[[year_weeks]]\nname = "rest"\nspans = [[2027-12-20, 2028-01-02]]\nsettings = "quiet"\n'
    )
    site = with_wishes(
        small_site(a="days = 1 -> days = 7", extra=extra),
        {**WISHES, "max": {"switch_ups_per_zone_hour": 10.0}},
    )
    wish = make_wish(site)
    assert wish.offer.names == ("day", "night", "fair")
    found = recommend(wish, replications=1, fresh=2)
    assert found.replay_error < 1e-9
    made = found.scenarios["aisles"]
    assert made.lighting.settings["quiet"] == site.lighting.settings["quiet"]
    assert made.lighting.settings["fair"] != site.lighting.settings["fair"]
    dark = with_wishes(
        site, {"unoccupied_floor_share": {"day": 0.1, "night": 0.1, "fair": 0.0}, "levels": [0.0, 0.2]}
    )
    with pytest.raises(InputError, match='level 0 is not recommended in hours when shifts work \\("fair"\\)'):
        make_wish(dark)


def test_a_margin_is_kept_where_plans_are_fitted_and_judged_without_it(found):
    """A margin of 20 % is the same choice as limits of 0.8 times, held against the whole limit afterwards."""
    spare = recommend(make_wish(wishing_site(LIMITS, margin=0.2)), replications=2, fresh=2)
    tight = {name: 0.8 * most for name, most in LIMITS.items()}
    lower = recommend(make_wish(wishing_site(tight)), replications=2, fresh=2)
    for name in KINDS:
        assert spare.plans[name].settings == lower.plans[name].settings
        assert spare.plans[name].cost > found.plans[name].cost
        verdicts = spare.verdicts[name]["as stated"]
        assert [verdict.limit.most for verdict in verdicts] == list(LIMITS.values())
    assert "20 % of each limit was kept to spare" in page_text(recommendation_page(spare))
    with pytest.raises(InputError, match="margin"):
        wishing_site(LIMITS, margin=1.0)


def test_daylight_caps_are_searched_under():
    """Under skylights the sums are those of a replay, and a plan goes back into a file with its caps."""
    day = ", ".join(["1"] * 8 + ["0.6", "0.2", "0.05", "0.2", "0.6"] + ["1"] * 11)
    extra = f'\n[skylight]\naisles = ["A01", "A02"]\ncaps = [{", ".join([f"[{day}]"] * 12)}]\n'
    site = with_wishes(small_site(extra=extra), {**WISHES, "max": LIMITS})
    found = recommend(make_wish(site), replications=2, fresh=2)
    assert found.replay_error < 1e-9
    assert found.scenarios["aisles"].skylight == site.skylight
    assert any("skylights" in notice for notice in found.notices)
    dark = recommend(make_wish(wishing_site(LIMITS)), replications=2, fresh=2)
    assert found.plans["single"].cost < dark.plans["single"].cost


def test_a_site_of_trailers_alone_is_advised_and_stressed():
    """Without [[work]] the volume is that of the trailers: their pallets."""
    text = small_site().content()
    text["work"] = []
    text["inbound"] = [
        {"name": "lorry", "per_hour": 0.3, "pallets": 20, "pallet_s": 60.0, "aisle_skew": 0.4},
    ]
    text["outbound"] = [
        {
            "name": "shop",
            "at": ["10:00", "16:00"],
            "pallets": 20,
            "wave_s": 3600.0,
            "spread_s": 1800.0,
            "aisle_skew": 0.2,
        }
    ]
    site, problems = check_content(text)
    assert site is not None, problems
    found = recommend(make_wish(with_wishes(site, {**WISHES, "max": LIMITS})), replications=2, fresh=2)
    visits = {trial.stress.label: float(trial.totals["single"]["visits"].mean()) for trial in found.trials}
    assert visits["volume -30 %"] < 0.85 * visits["as stated"] < 1.15 * visits["as stated"]
    assert visits["as stated"] * 1.15 < visits["volume +30 %"]
