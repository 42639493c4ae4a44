"""Who is where with whom: aisles by group, capacities, groups kept apart; unmanned trucks; the books.

The gates are compared with a slow twin that tries every instant at which an entry could become possible.
"""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest

from sim.outcome.clock import cut_run
from sim.outcome.traffic import keep_traffic_books, time_by_hour
from sim.replication import replay_site, simulate_traffic
from tests.truth.traffic_scenes import PLAIN, run_floor
from tests.truth.truth_scenes import equals, holds, scenario, site, spoilt


def crowd(**trucks: dict):
    """Three groups that crowd two aisles; keys by group."""
    groups = [
        PLAIN | {"name": name, "count": 4, "handling_mean_s": mean, "handling_cv": 0.7} | trucks.get(name, {})
        for name, mean in (("turret", 60.0), ("reach", 40.0))
    ]
    groups.append({"name": "people", "kind": "walker", "count": 3} | trucks.get("people", {}))
    return run_floor(
        aisles=2,
        hours=72.0,
        floor={"aisle_capacity": 3},
        trucks=groups,
        work=[
            {"name": "in", "kind": "putaway", "per_hour": 50.0},
            {"name": "out", "kind": "retrieve", "per_hour": 50.0},
            {"name": "walks", "kind": "walk", "per_hour": 20.0, "dwell_mean_s": 120.0, "dwell_cv": 1.0},
        ],
    )


RULES = {
    "turret": {"aisle_capacity": 1, "not_with": ["people"]},
    "reach": {"aisle_capacity": 2},
}


def naive_entries(floor, capacity: int, own: list[int], apart: set[tuple[int, int]]) -> np.ndarray:
    """Entries by trying: at the arrival or when somebody leaves, not before the one ahead."""
    visits = floor.visits
    group = np.array(floor.site.fleet.group)[visits.truck]
    found = np.full(len(visits), np.nan)
    inside: dict[int, list[tuple[float, float, int]]] = {}
    for row in np.argsort(visits.arrive, kind="stable").tolist():
        arrive, stay = float(visits.arrive[row]), float(visits.leave[row] - visits.enter[row])
        mine = int(group[row])
        there = inside.setdefault(int(visits.aisle[row]), [])
        ahead = there[-1][0] if there else 0.0
        for time in sorted({arrive, ahead, *(leave for _, leave, _ in there[-12:])}):
            if time < arrive or time < ahead:
                continue
            present = [other for enter, leave, other in there[-12:] if enter <= time < leave]
            if (
                len(present) < capacity
                and present.count(mine) < own[mine]
                and not any((mine, other) in apart or (other, mine) in apart for other in present)
            ):
                there.append((time, time + stay, mine))
                found[row] = time
                break
    return found


def check_gates(floor, capacity: int, own: list[int], apart: set[tuple[int, int]]) -> None:
    """Every entry is the first instant that every rule allows."""
    whole = floor.visits.leave < floor.end_s
    equals(naive_entries(floor, capacity, own, apart)[whole], floor.visits.enter[whole], 1e-6, "entries")


def test_gates_against_trying_every_instant():
    floor = crowd(**RULES)
    waited = floor.visits.enter - floor.visits.arrive
    assert (waited > 1.0).mean() > 0.15
    rules = [1, 2, 99]
    check_gates(floor, 3, rules, {(0, 2)})
    with spoilt("turret trucks and walkers together"):
        check_gates(floor, 3, rules, set())
    with spoilt("two turret trucks"):
        check_gates(floor, 3, [2, 2, 99], {(0, 2)})
    with spoilt("four in an aisle"):
        check_gates(floor, 4, rules, {(0, 2)})


def overlaps(floor, one: str, other: str) -> int:
    """Count pairs of visits of two groups that were in an aisle together."""
    visits, count = floor.visits, 0
    group = np.array([name.rpartition("-")[0] for name in visits.truck_names])[visits.truck]
    for aisle in range(2):
        rows = [np.flatnonzero((group == name) & (visits.aisle == aisle)) for name in (one, other)]
        for row in rows[0].tolist():
            meet = (visits.enter[rows[1]] < visits.leave[row] - 1e-9) & (
                visits.leave[rows[1]] > visits.enter[row] + 1e-9
            )
            count += int(np.count_nonzero(meet & (rows[1] != row)))
    return count


def test_a_walker_and_a_turret_truck_never_meet():
    def check(**rules: dict) -> None:
        floor = crowd(**rules)
        holds(overlaps(floor, "turret", "people") == 0, "never a walker and a turret truck together")
        holds(overlaps(floor, "turret", "turret") == 0, "never two turret trucks")
        assert overlaps(floor, "reach", "people") > 50

    check(**RULES)
    check(turret={"aisle_capacity": 1}, people={"not_with": ["turret"]})
    with spoilt("no rule"):
        check(turret={"aisle_capacity": 1})
    with spoilt("no limit"):
        check(turret={"not_with": ["people"]})


def test_groups_keep_to_their_aisles():
    """Turret trucks in A03 and A04 only; moves there by them alone, elsewhere by whoever is free first."""
    keys = {
        "aisles": 4,
        "hours": 100.0,
        "work": [{"name": kind, "kind": kind, "per_hour": 12.0} for kind in ("putaway", "retrieve")]
        + [{"name": "moves", "kind": "replenish", "per_hour": 6.0, "trucks": ["all"]}],
    }
    any_ = PLAIN | {"name": "all", "count": 2, "handling_mean_s": 30.0}

    def check(**more: object) -> None:
        floor = run_floor(
            trucks=[PLAIN | {"name": "turret", "count": 2, "aisles": ["A03", "A04"]}, any_ | more], **keys
        )
        turret = np.array([name.startswith("turret") for name in floor.visits.truck_names])[
            floor.visits.truck
        ]
        holds(floor.visits.aisle[turret] >= 2, "turret trucks in their aisles")
        holds(floor.visits.aisle[~turret] < 2, "and the others in the others")
        assert turret.sum() > 100

    check(aisles=["A01", "A02"])
    with spoilt("the others may enter everywhere"):
        check()


def test_a_stream_that_is_split_loses_nothing():
    """Moves done, under way and waiting add up, also where groups share some aisles and not others."""
    floor = run_floor(
        aisles=5,
        hours=60.0,
        work=[
            {"name": "o", "kind": "retrieve", "per_hour": 60.0},
            {
                "name": "t",
                "kind": "tour",
                "per_hour": 3.0,
                "lines_per_tour": 4,
                "aisle_shares": [0.5, 0.5, 0, 0, 0],
            },
        ],
        trucks=[
            PLAIN | {"name": "a", "count": 2, "aisles": ["A01", "A02", "A03"]},
            PLAIN | {"name": "b", "count": 1, "aisles": ["A03", "A04", "A05"]},
        ],
    )
    begun = np.count_nonzero(floor.log.done_by >= 0)
    equals(begun + floor.log.waiting_tasks, len(floor.tasks), 0.0, "moves")
    assert set(np.unique(floor.visits.aisle).tolist()) == {0, 1, 2, 3, 4}
    in_order = [
        floor.log.begin[(floor.tasks.aisle == aisle) & np.isfinite(floor.log.begin)] for aisle in range(5)
    ]
    assert all(len(begins) > 50 for begins in in_order)


UNMANNED = PLAIN | {"name": "robot", "count": 3, "handling_mean_s": 60.0}


def outcomes(**truck: object):
    """A dim site (latency, slow fade) with one group of trucks."""
    place = site(
        aisles=3,
        hours=48.0,
        trucks=[UNMANNED | truck],
        day={"timeout_s": 60.0, "fade_up_s": 20.0},
        sensors={
            "range_m": 8.0,
            "at": "ends",
            "approach_m": 3.0,
            "passing_trigger": 1.0,
            "passing_range_m": 3.0,
            "still_rate_per_min": 2.0,
        },
        work=[{"name": "o", "kind": "retrieve", "per_hour": 20.0}],
    )
    traffic = simulate_traffic(place, 0)
    return replay_site(place, traffic)[0].total, traffic


def test_service_weight():
    """Dim seconds, shortfall and dim entries scale with the weight; presence and energy do not."""
    whole, _ = outcomes()
    assert whole["dim_truck_s"] > 1000.0
    assert whole["dim_entries"] > 100

    def check(weight: float, model: float) -> None:
        part, _ = outcomes(service_weight=model)
        for name in ("dim_truck_s", "shortfall_truck_s", "dim_entries"):
            equals(part[name], weight * whole[name], 1e-6 * whole[name], name)
        for name in ("energy_kwh", "occupied_h", "lit_empty_h", "visits", "switch_ups"):
            equals(part[name], whole[name], 1e-9, name)
        holds((part["false_offs"] == 0) == (weight == 0.0), "false-offs only where somebody minds")
        holds((part["dim_spell_max_s"] == 0) == (weight == 0.0), "dim spells likewise")

    check(0.0, 0.0)
    check(0.25, 0.25)
    with spoilt("weight ignored"):
        check(0.0, 1.0)


def test_trucks_that_no_sensor_sees():
    """Without a reflex a truck lights nothing up, and the others are seen as before."""

    def check(seen: bool) -> None:
        total, traffic = outcomes(seen=seen)
        holds(len(traffic.detections.zone) == 0, "nothing detected")
        equals(total["switch_ups"], 0.0, 0.0, "switch-ups")
        assert total["visits"] > 500

    check(False)
    with spoilt("they are seen"):
        check(True)


def naive_by_hour(begin: np.ndarray, end: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """Overlap of intervals with each hour, one by one."""
    return np.array(
        [
            sum(max(0.0, min(stop, high) - max(start, low)) for start, stop in zip(begin, end, strict=True))
            for low, high in itertools.pairwise(edges)
        ]
    )


@pytest.mark.parametrize("seed", range(5))
def test_time_by_hour_one_by_one(seed):
    rng = np.random.default_rng(seed)
    bins = cut_run(scenario(start="2027-03-01T00:20:00").start_datetime, 20_000.0)
    begin = rng.uniform(-2000.0, 22_000.0, 40)
    end = np.minimum(begin + rng.exponential(3000.0, 40), bins.end_s)
    end = np.maximum(end, begin)
    inside = begin < bins.end_s

    def check(stretch: float) -> None:
        found = time_by_hour(begin[inside], end[inside] * stretch, bins)
        equals(found, naive_by_hour(begin[inside], end[inside], bins.hour_edges), 1e-6, "hours")

    check(1.0)
    with spoilt("intervals a little longer"):
        check(1.001)


def test_books_balance():
    """Moves that arose were begun or wait; busy hours are those of the log; too much work fills the fleet."""

    def check(scale: float) -> None:
        floor = run_floor(
            aisles=3,
            hours=24.0,
            trucks=[PLAIN | {"count": 2, "handling_mean_s": 60.0, "pairing": True}],
            shifts=[{"trucks": "reach", "from": "06:00", "to": "14:00", "crew": 2}],
            work=[
                {"name": "in", "kind": "putaway", "per_hour": 60.0},
                {"name": "out", "kind": "retrieve", "per_hour": 60.0},
            ],
        )
        books = keep_traffic_books(
            floor.site.scenario, floor.site.fleet, floor.tasks, floor.log, floor.site.bins
        )
        hours, group = books.hours, books.groups["reach"]
        equals(hours["moves_arisen"].sum(), len(floor.tasks), 0.0, "moves that arose")
        equals(
            hours["backlog"], np.cumsum(hours["moves_arisen"] - hours["moves_begun"]), 0.0, "backlog by hour"
        )
        equals(hours["backlog"][-1], floor.log.waiting_tasks, 0.0, "backlog at the end")
        equals(
            sum(stream["backlog_end"] for stream in books.streams.values()),
            hours["backlog"][-1],
            0.0,
            "streams",
        )
        equals(group["duty_h"], 16.0, 1e-9, "two drivers for eight hours")
        equals(hours["duty_h"].sum(), 16.0, 1e-9, "the same by hour")
        equals(hours["busy_h"].sum(), scale * group["busy_h"], 1e-6, "busy hours by hour and by group")
        holds(0.97 < group["utilisation"] < 1.03, "full: work without end")
        holds(hours["busy_h"] <= 2.0 + 1e-9, "two trucks are never busier than two")

    check(1.0)
    with spoilt("a tenth more"):
        check(1.1)


def test_a_stream_with_a_driver_more_is_served_sooner():
    """More trucks never lengthen the mean wait until a move is begun (same draws)."""

    def mean_wait(count: int) -> float:
        floor = run_floor(
            aisles=3,
            hours=48.0,
            trucks=[PLAIN | {"count": count, "handling_mean_s": 60.0}],
            work=[{"name": "o", "kind": "retrieve", "per_hour": 30.0}],
        )
        books = keep_traffic_books(
            floor.site.scenario, floor.site.fleet, floor.tasks, floor.log, floor.site.bins
        )
        return books.streams["o"]["wait_mean_s"]

    waits = [mean_wait(count) for count in (2, 3, 4, 6)]
    holds(np.diff(waits) <= 0.0, "shorter waits")
    with spoilt("the order turned round"):
        holds(np.diff(waits[::-1]) <= 0.0, "shorter waits")
    assert dataclasses.is_dataclass(run_floor(hours=1.0, trucks=[PLAIN], work=[]).log)
