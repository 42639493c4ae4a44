"""Legs of floor and turret trucks (table 1c, T17), walkers, turns, limits, parallel aisles, stopping.

Means are of independent visits; standard errors are those of the sample, k = 4.
"""

from __future__ import annotations

import networkx
import numpy as np
import pytest

from sim.floor.layout import lay_out
from sim.scenario.truck_types import TYPE_VALUES
from sim.traffic.gait import gait_of, stopping_distance
from sim.traffic.kinematics import travel_time
from sim.traffic.legs import route_between
from sim.traffic.pairing import Pairing, WaitingTasks
from sim.traffic.plans import plan_queues
from sim.traffic.work import draw_tasks, who_may_do
from tests.truth.traffic_scenes import PLAIN, run_floor, standard_error
from tests.truth.truth_scenes import agrees, equals, holds, scenario, spoilt

MAST = {"lift_m_per_s": 0.4, "lower_m_per_s": 0.5}
RACK = {"aisle_length_m": 60.0, "tiers": 7, "tier_height_m": 1.5}
"""Heights 0, 1.5 .. 9 m: mean H/2 = 4.5 m, as of a uniform height up to H = 9 m."""


def check_single(expected: float, truck: dict, floor: dict) -> None:
    """Mean stay of retrievals from uniform bays and tiers."""
    made = run_floor(
        hours=400.0,
        trucks=[PLAIN | {"count": 30} | truck],
        floor=floor,
        work=[{"name": "out", "kind": "retrieve", "per_hour": 50.0}],
    )
    stays = made.stays("retrieve")
    agrees(stays.mean(), expected, standard_error(stays), "mean stay, single command")


def check_pairs(expected: float, truck: dict, floor: dict) -> None:
    """Mean stay of a putaway and a retrieval in one round; so much work that a retrieval always waits."""
    made = run_floor(
        hours=400.0,
        trucks=[PLAIN | {"pairing": True} | truck],
        floor=floor,
        work=[
            {"name": "in", "kind": "putaway", "per_hour": 70.0},
            {"name": "out", "kind": "retrieve", "per_hour": 200.0},
        ],
    )
    stays = made.stays("putaway-and-retrieve")
    assert len(stays) > 3000
    agrees(stays.mean(), expected, standard_error(stays), "mean stay, dual command")


def test_floor_truck_single_command_44_25_s():
    """Table 1c: forks lowered before every leg: L/v + V, V = (H/2)(1/v_lift + 1/v_lower)."""
    equals(60 / 2.5 + (9 / 2) * (1 / 0.4 + 1 / 0.5), 44.25, 1e-9, "the formula itself")
    check_single(44.25, MAST, RACK)
    with spoilt("mast and wheels at once"):
        check_single(44.25, MAST | {"lifts_while_travelling": True}, RACK)
    with spoilt("lowers as fast as it lifts"):
        check_single(44.25, MAST | {"lower_m_per_s": 0.4}, RACK)


def test_floor_truck_dual_command_72_50_s():
    """Table 1c: (4/3) L/v + 2 V."""
    check_pairs(72.50, MAST, RACK)
    with spoilt("no mast"):
        check_pairs(72.50, {}, RACK)
    with spoilt("an aisle 10 % longer"):
        check_pairs(72.50, MAST, RACK | {"aisle_length_m": 66.0})


BOZER_WHITE = [(1.0, 4 / 3, 1.8), (0.5, 1.083333, 1.454167)]


@pytest.mark.parametrize("shape, single, dual", BOZER_WHITE)
def test_T17_turret_trucks(shape, single, dual):
    """T17: Bozer and White: SC T(1 + Q^2/3), DC T(40 + 15 Q^2 - Q^3)/30; T = 100 s along, 100 Q s up."""
    equals(1 + shape**2 / 3, single, 1e-6, "single command itself")
    equals((40 + 15 * shape**2 - shape**3) / 30, dual, 1e-6, "dual command itself")
    turret = {
        "speed_laden_m_per_s": 1.0,
        "speed_empty_m_per_s": 1.0,
        "lift_m_per_s": 0.1,
        "lower_m_per_s": 0.1,
        "lifts_while_travelling": True,
    }
    # a thousand tiers: the grid shifts the mean by less than a thousandth of its height's part
    rack = {"aisle_length_m": 100.0, "tiers": 1000, "tier_height_m": 10.0 * shape / 999}
    check_single(100.0 * single, turret, rack)
    check_pairs(100.0 * dual, turret, rack)
    with spoilt("one axis after the other"):
        check_single(100.0 * single, turret | {"lifts_while_travelling": False}, rack)
    with spoilt("a mast a tenth faster"):
        check_pairs(100.0 * dual, turret | {"lift_m_per_s": 0.14, "lower_m_per_s": 0.14}, rack)


def check_distance(aisles: int, length: float, pitch: float, expected: float, corner: bool) -> None:
    """One-way way of putaways: along the front from their door, then to their bay."""
    trucks = [PLAIN | {"count": 60}]
    doors = 1000 if corner else 1
    made = run_floor(
        aisles=aisles,
        hours=300.0,
        trucks=trucks,
        floor={"aisle_length_m": length, "aisle_pitch_m": pitch, "dock_doors": doors},
        inbound=[{"name": "in", "per_hour": 2.0, "pallets": 30, "pallet_s": 1.0, "doors": [1]}],
    )
    visits, layout = made.visits, made.site.layout
    way = np.abs(layout.door_m[0] - layout.aisle_m[visits.aisle]) + visits.bay_m
    equals(visits.run_in_m, way - visits.bay_m, 1e-9, "the run along the front")
    # the first of a thousand doors lies half a door's width off the corner
    agrees(way.mean(), expected - corner * layout.door_m[0], standard_error(way), "one-way distance")


@pytest.mark.parametrize(
    "aisles, length, pitch, middle, corner", [(10, 60.0, 4.5, 41.25, 52.5), (20, 100.0, 5.0, 75.0, 100.0)]
)
def test_parallel_aisles(aisles, length, pitch, middle, corner):
    """Table 1c: M w / 4 + L / 2 from the front's middle (M even), M w / 2 + L / 2 from its corner."""
    equals(
        (aisles * pitch / 4 + length / 2, aisles * pitch / 2 + length / 2), (middle, corner), 1e-9, "formulas"
    )
    check_distance(aisles, length, pitch, middle, corner=False)
    check_distance(aisles, length, pitch, corner, corner=True)
    with spoilt("aisles closer together"):
        check_distance(aisles, length, 0.8 * pitch, middle, corner=False)
    with spoilt("the corner for the middle"):
        check_distance(aisles, length, pitch, middle, corner=True)


def test_walkers_speed_and_ways():
    """3.5 ft/s of the MUTCD: 1.0668 m/s; a walk takes 2 d / v + dwell; through it L / v + dwell."""

    def check(through: bool, speed: float = 3.5 * 0.3048) -> None:
        made = run_floor(
            aisles=2,
            hours=100.0,
            trucks=[{"name": "people", "kind": "walker", "count": 20}],
            work=[
                {
                    "name": "cleaning",
                    "kind": "walk",
                    "per_hour": 8.0,
                    "dwell_mean_s": 90.0,
                    "through": through,
                }
            ],
        )
        visits = made.visits
        way = np.full(len(visits), 60.0) if through else 2.0 * visits.bay_m
        inside = visits.leave < made.end_s
        equals((visits.leave - visits.enter)[inside], (way / speed + 90.0)[inside], 1e-6, "stay of a walk")
        equals(visits.leaves_back, through, 0.0, "out by the back")

    check(False)
    check(True)
    with spoilt("4 ft/s of older editions"):
        check(False, speed=4.0 * 0.3048)
    equals(TYPE_VALUES["walker"]["speed_empty_m_per_s"].value, 1.0668, 1e-12, "the table's value")


def test_way_home_round_the_side():
    """A walker through an aisle walks home round a side and along the front to a door: the shorter way."""
    keys = {
        "aisles": 6,
        "hours": 200.0,
        "floor": {"aisle_length_m": 60.0, "aisle_pitch_m": 5.0, "dock_doors": 3},
        "trucks": [{"name": "people", "kind": "walker", "count": 1}],
    }

    def check(width: float, rule: str = "shorter") -> None:
        walk = {"name": "c", "kind": "walk", "per_hour": 6.0, "dwell_mean_s": 10.0, "through": True}
        made = run_floor(work=[walk], **keys)
        layout, log, tasks = made.site.layout, made.log, made.tasks
        done = np.flatnonzero(np.isfinite(log.finish))
        at, door = layout.aisle_m[tasks.aisle[done]], layout.door_m[tasks.door[done]]
        ways = np.abs(at - [[0.0], [width]]) + np.abs([[0.0], [width]] - door)
        across = ways.min(axis=0) if rule == "shorter" else np.where(at <= 0.5 * width, ways[0], ways[1])
        leave = {int(task): time for task, time in zip(log.task, made.visits.leave, strict=False)}
        home = log.finish[done] - np.array([leave[task] for task in done.tolist()])
        equals(home * 1.0668, across + 60.0, 1e-6, "way home")

    check(30.0)
    with spoilt("a narrower floor"):
        check(25.0)
    with spoilt("round the side nearer to the aisle"):
        check(30.0, "nearer")


def check_one_way(one_way: list[str], speed: float) -> None:
    """Table 1c: drive-through stays L / v + handling, whatever the depth; the way home by networkx."""
    made = run_floor(
        aisles=5,
        hours=100.0,
        trucks=[PLAIN | {"speed_empty_m_per_s": 2.0, "speed_laden_m_per_s": 2.0}],
        floor={"dock_doors": 3, "one_way": one_way},
        work=[{"name": kind, "kind": kind, "per_hour": 6.0} for kind in ("putaway", "retrieve")],
    )
    visits, log, tasks, layout = made.visits, made.log, made.tasks, made.site.layout
    through = visits.aisle == 2
    inside = visits.leave < made.end_s
    equals(visits.leaves_back, through, 0.0, "out by the back there, by the front elsewhere")
    equals((visits.leave - visits.enter)[through & inside], 60.0 / speed, 1e-6, "stay in the one-way aisle")
    graph = networkx.Graph()
    for side, place in (("left", 0.0), ("right", 25.0)):
        graph.add_edge("back", side, weight=12.5)
        graph.add_edge(side, f"{side} corner", weight=60.0)
        for door in range(3):
            graph.add_edge(f"{side} corner", door, weight=abs(place - float(layout.door_m[door])))
    leave = dict(zip(log.task.tolist(), visits.leave.tolist(), strict=False))
    own = np.flatnonzero(np.isfinite(log.finish) & (tasks.aisle == 2))
    assert len(own) > 100
    home = np.array([log.finish[task] - leave[task] for task in own.tolist()])
    ways = [networkx.shortest_path_length(graph, "back", door, "weight") for door in tasks.door[own].tolist()]
    equals(home * speed, ways, 1e-6, "way home from the back")


def test_one_way_aisles():
    check_one_way(["A03"], 2.0)
    with spoilt("another aisle"):
        check_one_way(["A01"], 2.0)
    with spoilt("another speed"):
        check_one_way(["A03"], 2.2)


def test_aisle_limit_and_turns():
    """Inside 1.2 m/s instead of 2.5; two turns of 4 s between taking a task at a door and being back."""

    def check(limit: float, turn: float) -> None:
        trucks = [PLAIN | {"aisle_speed_m_per_s": 1.2, "turn_s": 4.0}]
        made = run_floor(
            hours=200.0, trucks=trucks, work=[{"name": "o", "kind": "retrieve", "per_hour": 9.0}]
        )
        bay = made.tasks.bay_m[made.log.task]
        done = np.isfinite(made.log.finish)[made.log.task]
        round_trip = (made.log.finish - made.log.begin)[made.log.task]
        equals(round_trip[done], (2.0 * bay / limit + 2.0 * turn)[done], 1e-6, "there and back")

    check(1.2, 4.0)
    with spoilt("no limit"):
        check(2.5, 4.0)
    with spoilt("no turns"):
        check(1.2, 0.0)


def test_turns_by_speed_and_radius():
    """A quarter of a circle of 2.2 m at 1.1 m/s: (pi / 2) 2.2 / 1.1 = pi s, twice there and back."""

    def check(keys: dict[str, float], turn: float) -> None:
        made = run_floor(
            hours=60.0, trucks=[PLAIN | keys], work=[{"name": "o", "kind": "retrieve", "per_hour": 9.0}]
        )
        bay, done = made.tasks.bay_m[made.log.task], np.isfinite(made.log.finish)[made.log.task]
        round_trip = (made.log.finish - made.log.begin)[made.log.task]
        equals(round_trip[done], (2.0 * bay / 2.5 + 2.0 * turn)[done], 1e-6, "there and back")

    arc = {"turn_speed_m_per_s": 1.1, "turn_radius_m": 2.2}
    check(arc, np.pi)
    check(arc | {"turn_radius_m": 1.1}, np.pi / 2)
    with spoilt("half a circle"):
        check(arc, 2.0 * np.pi)
    with spoilt("faster round the turn"):
        check(arc | {"turn_speed_m_per_s": 1.2}, np.pi)


def test_pairs_one_by_one_are_timed_as_the_arrays_say():
    """The scalar times of pairing against `route_between`, on random floors and trucks."""
    rng = np.random.default_rng(5)
    for turret in (False, True):
        for _ in range(6):
            trucks = PLAIN | {
                "acceleration_m_per_s2": float(rng.choice([0.0, 0.5])),
                "lifts_while_travelling": turret,
                "lift_m_per_s": float(rng.uniform(0.05, 0.5)),
                "lower_m_per_s": float(rng.uniform(0.05, 0.5)),
                "handling_mean_s": 30.0,
                "handling_cv": 0.5,
                "turn_s": 2.0,
                "pairing": True,
                "speed_empty_m_per_s": 3.0,
                "aisle_speed_m_per_s": float(rng.uniform(1.0, 3.0)),
            }
            made = scenario(
                aisles=4,
                hours=30.0,
                trucks=[trucks],
                seed=int(rng.integers(99)),
                floor={
                    "aisle_length_m": rng.uniform(30.0, 60.0, 4).tolist(),
                    "tiers": 6,
                    "tier_height_m": 1.7,
                },
                work=[{"name": kind, "kind": kind, "per_hour": 9.0} for kind in ("putaway", "retrieve")],
            )
            layout = lay_out(made)
            tasks = draw_tasks(made, layout, 0)
            queues = plan_queues(layout, made.trucks, who_may_do(made), tasks)
            pairing = Pairing(layout, made.trucks[0], 0, tasks, queues, WaitingTasks(queues))
            gait = gait_of(made.trucks[0])
            put, fetch = np.flatnonzero(tasks.kind == 0)[:60], np.flatnonzero(tasks.kind == 1)[:60]
            size = min(len(put), len(fetch))
            put, fetch = put[:size], fetch[:size]
            route = route_between(
                layout,
                gait,
                (tasks.aisle[put], tasks.aisle[fetch]),
                (tasks.bay_m[put], tasks.bay_m[fetch]),
                (tasks.height_m[put], tasks.height_m[fetch]),
                (tasks.set_s[0, put], tasks.pick_s[0, fetch]),
                outer_is_laden=True,
            )
            times = [
                pairing.times(one, other) for one, other in zip(put.tolist(), fetch.tolist(), strict=True)
            ]
            for name in ("first_stay", "between", "second_stay"):
                equals([getattr(time, name) for time in times], getattr(route, name), 1e-9, name)
            inward = travel_time(tasks.bay_m[put], gait.aisle_laden, gait.ramp)
            equals([time.set_down for time in times], inward + route.first_stand, 1e-9, "until the set-down")


def test_a_pair_is_the_nearest_that_waits():
    """Every partner had arisen when the putaway reached its mouth, and none that waited lay nearer."""
    made = run_floor(
        aisles=8,
        hours=60.0,
        trucks=[PLAIN | {"count": 3, "pairing": True, "handling_mean_s": 40.0}],
        work=[{"name": kind, "kind": kind, "per_hour": 30.0} for kind in ("putaway", "retrieve")],
    )
    log, tasks, place = made.log, made.tasks, made.site.layout.aisle_m
    first = np.flatnonzero((log.partner >= 0) & (tasks.kind[log.task] == 0))
    assert len(first) > 200
    retrievals = np.flatnonzero(tasks.kind == 1)

    def check(taken: np.ndarray) -> None:
        for row, partner in zip(first.tolist(), taken.tolist(), strict=True):
            now, here = log.arrive[row], place[tasks.aisle[log.task[row]]]
            holds(tasks.time[partner] <= now, "the partner waits")
            free = retrievals[(tasks.time[retrievals] <= now) & (log.begin[retrievals] > now)]
            away = np.abs(place[tasks.aisle[free]] - here)
            mine = abs(place[tasks.aisle[partner]] - here)
            holds(len(free) > 60 or mine <= away.min(initial=np.inf) + 1e-9, "none nearer waits")

    check(log.partner[first])
    with spoilt("partners drawn by lot"):
        check(np.random.default_rng(1).permutation(log.partner[first]))


def test_stopping_distance():
    """v t + v^2/(2 a): t = 1 s, a = 2 m/s2; and the drag form 0.393409 V^2 / D (km/h, per cent)."""

    def check(function) -> None:
        for speed, metres in ((6, 2.361111), (8, 3.456790), (10, 4.706790), (14, 7.669753)):
            equals(function(speed / 3.6, 1.0, 2.0), metres, 1e-6, f"{speed} km/h")
        # brake part alone with a drag of 20 % of the weight: a = 0.2 g
        equals(function(10 / 3.6, 0.0, 0.2 * 9.80665), 0.393409 * 100 / 20, 1e-5, "drag form")
        equals((function(6 / 3.6), function(14 / 3.6)), (3.0, 10.0), 2e-3, "a regulator's two figures")

    check(stopping_distance)
    with spoilt("braking twice as good"):
        check(lambda speed, reaction=1.2214, braking=1.4403: speed * reaction + speed**2 / (4.0 * braking))
