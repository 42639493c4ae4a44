"""Nothing is lost or made: totals, hours, zones, trucks, moves and energy on drawn whole runs.

The statements follow from the meaning of the words alone.  The sums behind them are made again here from the
light, the stays and the visits of the run.  The control changes one figure of a true result.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from sim.outcome.names import OUTCOMES
from sim.replication import prepare_site, replay_site, simulate_traffic
from sim.results import Outcomes
from sim.traffic.work import draw_tasks
from tests.truth.truth_scenes import equals, holds, scenario, spoilt

NIGHT = {
    "unoccupied_level": 0.1,
    "occupied_level": 0.7,
    "timeout_s": 90.0,
    "fade_up_s": 1.0,
    "fade_down_s": 45.0,
}


def drawn_run(number: int, *, is_one_period: bool = False):
    """Simulate a drawn site: site, traffic, outcomes and close look."""
    rng = np.random.default_rng(number)
    aisles, count = int(rng.integers(2, 7)), int(rng.integers(2, 8))
    day = {
        "unoccupied_level": float(rng.uniform(0.0, 0.6)),
        "occupied_level": float(rng.choice([1.0, 0.8])),
        "timeout_s": float(rng.uniform(30.0, 400.0)),
        "fade_up_s": float(rng.uniform(0.0, 2.0)),
        "fade_down_s": float(rng.uniform(0.0, 30.0)),
    }
    if number % 2:
        day |= {"second_delay_s": float(rng.uniform(100.0, 900.0)), "second_level": 0.0}
    curve = [[0.0, 1.0], [0.1, 12.0], [0.5, 40.0], [1.0, 100.0]]
    week = [
        {"from": "05:00", "to": "21:30", "settings": "day"},
        {"from": "21:30", "to": "05:00", "settings": "night"},
    ]
    made = scenario(
        aisles=aisles,
        hours=float(rng.integers(20, 50)),
        seed=number,
        start="2027-03-05T16:20:00",
        floor={
            "zones_per_aisle": int(rng.integers(1, 3)),
            "aisle_capacity": int(rng.integers(1, 4)),
            "staging_depth_m": 12.0,
            "dock_doors": int(rng.integers(1, 4)),
        },
        luminaires={"fixed_on": int(rng.integers(0, 3)), "standby_w": 2.0}
        | ({"power_curve": curve} if number % 3 else {}),
        sensors={
            "at": ["ends", "every"][number % 2],
            "range_m": float(rng.uniform(5.0, 12.0)),
            "approach_m": 3.0,
            "passing_trigger": 0.3,
            "passing_range_m": 3.0,
            "still_rate_per_min": 2.0,
            "miss": 0.05,
            "latency_s": 0.6,
            "hold_s": 20.0,
        },
        trucks=[
            {
                "name": "reach",
                "count": count,
                "speed_laden_m_per_s": 2.0,
                "speed_empty_m_per_s": 2.5,
                "acceleration_m_per_s2": 0.5,
                "handling_mean_s": 40.0,
                "handling_cv": 0.6,
            }
        ],
        work=[
            {"name": kind, "kind": kind, "per_hour": 4.0 * count, "aisle_skew": 0.3}
            for kind in ("putaway", "retrieve", "replenish")
        ],
        lighting={"settings": {"day": day, "night": NIGHT}},
        timetable=[{"from": "00:00", "to": "24:00", "settings": "day"}] if is_one_period else week,
    )
    place = prepare_site(made)
    traffic = simulate_traffic(place, 0)
    return place, traffic, *replay_site(place, traffic)


def check_sums(outcomes: Outcomes) -> None:
    """Hours and zones add up to the total."""
    for name, outcome in OUTCOMES.items():
        if outcome.is_additive:
            total = outcomes.total[name]
            equals(math.fsum(outcomes.hours[name]), total, 1e-9 * max(1.0, abs(total)), f"{name}: hours")
            equals(math.fsum(outcomes.zones[name]), total, 1e-9 * max(1.0, abs(total)), f"{name}: zones")


def check_time(place, traffic, outcomes: Outcomes, look) -> None:
    """High + low and occupied + empty are the zone-hours; lit empty is where high and empty meet."""
    end_s = place.scenario.duration_s
    for zone, light in enumerate(look.levels):
        equals(light.start[0], 0.0, 0.0, "the light begins at 0")
        equals(light.start[1:], light.end[:-1], 0.0, "its pieces touch")
        equals(light.end[-1], end_s, 0.0, "it ends with the run")
        length = light.end - light.start
        equals(
            (length[light.is_high].sum() / 3600.0, outcomes.zones["time_at_low_h"][zone]),
            (end_s / 3600.0 - outcomes.zones["time_at_low_h"][zone], length[~light.is_high].sum() / 3600.0),
            1e-9,
            "high + low = the run",
        )
        inside = traffic.stays.of_zone(zone)
        marks = np.unique(np.concatenate([light.start, inside.enter, inside.leave, [end_s]]))
        marks = marks[marks <= end_s]
        middle = 0.5 * (marks[1:] + marks[:-1])
        trucks = np.array([np.sum((inside.enter <= time) & (time < inside.leave)) for time in middle])
        piece = np.searchsorted(light.start, middle, side="right") - 1
        span = np.diff(marks) / 3600.0
        equals(span[trucks > 0].sum(), outcomes.zones["occupied_h"][zone], 1e-9, "occupied")
        lit_empty = span[(trucks == 0) & light.is_high[piece]].sum()
        equals(lit_empty, outcomes.zones["lit_empty_h"][zone], 1e-9, "lit empty")
        holds(
            outcomes.zones["dim_truck_s"][zone] <= (trucks * span).sum() * 3600.0 + 1e-6,
            "dim within truck-seconds",
        )
    holds(outcomes.zones["shortfall_truck_s"] <= outcomes.zones["dim_truck_s"] + 1e-9, "shortfall within dim")
    holds(outcomes.zones["false_offs"] <= outcomes.zones["switch_downs"], "false-offs are switch-downs")
    holds(
        outcomes.zones["dim_entries"] <= np.bincount(traffic.stays.zone, minlength=len(look.levels)),
        "dim entries",
    )


def check_energy(place, outcomes: Outcomes) -> None:
    """Each zone's energy lies between its lowest and its highest level held all the time; quarters add up."""
    hours = place.scenario.duration_s / 3600.0
    settings = place.scenario.lighting.settings.values()
    levels = [
        level for one in settings for level in (one.occupied_level, one.unoccupied_level, one.second_level)
    ]
    known = [level for level in levels if level is not None]
    lamps = place.scenario.luminaires
    rows = lamps.power_curve or ((0.0, lamps.standby_w), (1.0, lamps.full_w))
    lowest, highest = np.interp([min(known), max(known)], [row[0] for row in rows], [row[1] for row in rows])
    dimmed, fixed = place.layout.dimmed, place.layout.fixed
    at_least = (dimmed * lowest + fixed * 100.0) * hours / 1000.0
    at_most = (dimmed * highest + fixed * 100.0) * hours / 1000.0
    energy = outcomes.zones["energy_kwh"]
    holds((at_least - 1e-9 <= energy) & (energy <= at_most + 1e-9), "energy within its bounds")
    always = (dimmed + fixed) * 100.0 * hours / 1000.0
    equals(outcomes.zones["always_on_kwh"], always, 1e-9, "always on")
    equals(outcomes.zones["saved_kwh"], always - energy, 1e-9, "saved")
    holds(
        outcomes.total["peak_kw"] >= outcomes.total["energy_kwh"] / hours - 1e-9,
        "the peak is no less than the mean",
    )
    quarter_h = np.diff(place.bins.quarter_edges) / 3600.0
    full = np.isclose(quarter_h, 0.25)
    equals(
        (outcomes.quarter_kw * 0.25).sum(),
        outcomes.total["energy_kwh"],
        1e-9 * outcomes.total["energy_kwh"],
        "quarter-hours of energy",
    )
    holds(outcomes.quarter_kw[full].max() == outcomes.total["peak_kw"], "the peak is the highest quarter")


def check_trucks(place, traffic, outcomes: Outcomes, waiting: int) -> None:
    """Visits started = ended + under way; moves drawn = begun + waiting; stays and visits last as long."""
    visits, end_s = traffic.visits, place.scenario.duration_s
    ended, under_way = visits.leave < end_s, visits.leave == end_s
    equals(outcomes.total["visits"], np.sum(ended) + np.sum(under_way), 0.0, "visits")
    count = len(place.fleet.names)
    holds(np.sum(under_way) <= count, "at most one visit under way a truck")
    tasks = draw_tasks(place.scenario, place.layout, 0)
    begun = np.unique(np.searchsorted(np.sort(tasks.bay_m), visits.bay_m[visits.task != 3])).size
    holds(
        0 <= len(tasks) - waiting - begun <= count,
        "moves drawn = waiting + begun, a truck on its way at most each",
    )
    seconds = (visits.leave - visits.enter).sum()
    equals(
        (traffic.stays.leave - traffic.stays.enter).sum(), seconds, 1e-6 * max(1.0, seconds), "truck-seconds"
    )
    holds(visits.leave > visits.enter, "every visit takes time")
    for truck in range(count):
        rows = np.flatnonzero(visits.truck == truck)
        holds(visits.leave[rows][:-1] <= visits.arrive[rows][1:] + 1e-9, "a truck is in one aisle at a time")
    equals(outcomes.total["mouth_wait_s"], (visits.enter - visits.arrive).sum(), 1e-6, "waits")


@pytest.mark.parametrize("number", range(6))
def test_nothing_is_lost(number):
    place, traffic, outcomes, look = drawn_run(number)
    assert outcomes.total["visits"] > 100
    check_sums(outcomes)
    check_time(place, traffic, outcomes, look)
    check_energy(place, outcomes)
    check_trucks(place, traffic, outcomes, traffic.waiting_tasks)


def with_zone(outcomes: Outcomes, name: str, add: float) -> Outcomes:
    """Change one figure of one zone."""
    column = outcomes.zones[name].copy()
    column[0] += add
    return dataclasses.replace(outcomes, zones=dict(outcomes.zones) | {name: column})


def test_the_checks_notice_lost_time_energy_and_trucks():
    place, traffic, outcomes, look = drawn_run(3)
    for name in ("energy_kwh", "time_at_low_h", "switch_ups", "dim_truck_s"):
        with spoilt(f"{name} of a zone"):
            check_sums(with_zone(outcomes, name, 1e-3))
    for name, add in (
        ("time_at_low_h", 1e-3),
        ("occupied_h", 1e-3),
        ("lit_empty_h", -1e-3),
        ("shortfall_truck_s", 1e6),
    ):
        with spoilt(f"{name} of a zone"):
            check_time(place, traffic, with_zone(outcomes, name, add), look)
    for name, add in (("energy_kwh", 1e4), ("energy_kwh", -1e4), ("always_on_kwh", 1e-3)):
        with spoilt(f"{name} of a zone"):
            check_energy(place, with_zone(outcomes, name, add))
    with spoilt("more moves wait"):
        check_trucks(place, traffic, outcomes, traffic.waiting_tasks + len(place.fleet.names) + 1)
    with spoilt("a visit lost"):
        lost = dataclasses.replace(
            outcomes, total=dict(outcomes.total) | {"visits": outcomes.total["visits"] - 1.0}
        )
        check_trucks(place, traffic, lost, traffic.waiting_tasks)


def check_balance(outcomes: Outcomes, look) -> None:
    """One period: every zone starts low, so switch-ups less switch-downs is 1 where it ends high, else 0."""
    ends_high = np.array([light.is_high[-1] for light in look.levels])
    equals(outcomes.zones["switch_ups"] - outcomes.zones["switch_downs"], ends_high, 0.0, "ups less downs")
    equals(outcomes.total["timetable_changes"], 0.0, 0.0, "no border, no timetable change")


@pytest.mark.parametrize("number", range(6))
def test_switching_balances(number):
    _, _, outcomes, look = drawn_run(number, is_one_period=True)
    assert outcomes.total["switch_ups"] > 20
    check_balance(outcomes, look)
    with spoilt("one switch-up more"):
        check_balance(with_zone(outcomes, "switch_ups", 1.0), look)


def test_switching_balances_with_the_border_s_changes_of_state():
    """Two periods: ups - downs + changes of state at borders = ends high."""
    place, _, outcomes, look = drawn_run(2)

    def check(ups: np.ndarray) -> None:
        for zone, light in enumerate(look.levels):
            turns = np.diff(light.is_high.astype(int))
            at_border = np.isin(light.start[1:], place.programs[place.layout.zone_place[zone]].border)
            by_border = int(turns[at_border].sum())
            ends_high = int(light.is_high[-1])
            equals(ups[zone] - outcomes.zones["switch_downs"][zone] + by_border, ends_high, 0.0, "balance")

    check(outcomes.zones["switch_ups"])
    with spoilt("one switch-up more"):
        check(outcomes.zones["switch_ups"] + 1.0)
