"""Legal ways on the floor: shortest routes with middle cross-aisles and one-way aisles, against networkx.

The graph has an arc for every stretch that a truck may drive: cross-aisles and the two sides of the floor
both ways, an aisle's stretches in its direction, and of the aisles only those in which the truck has work.
"""

from __future__ import annotations

import dataclasses
import itertools
import math

import networkx
import numpy as np
import pytest

from sim.floor.layout import Layout, lay_out
from sim.traffic.gait import gait_of
from sim.traffic.kinematics import travel_time
from sim.traffic.legs import route_between
from sim.traffic.pairing import Pairing, WaitingTasks
from sim.traffic.plans import plan_queues
from sim.traffic.ways import BACK, between_ways, choose_lines, cross_lines, place_inside
from sim.traffic.work import draw_tasks, who_may_do
from tests.truth.traffic_scenes import PLAIN, run_floor
from tests.truth.truth_scenes import equals, holds, scenario, spoilt

Node = tuple[object, ...]
MANY = 400


def drawn_floor(rng: np.random.Generator) -> dict[str, object]:
    """Draw a floor: unequal aisles, up to three middle cross-aisles, aisles of either direction."""
    aisles = int(rng.integers(3, 8))
    lengths = [float(length) for length in rng.choice([24.0, 40.0], aisles)]
    lengths[0] = 40.0
    way = rng.integers(-1, 2, aisles)
    names = [f"A{number + 1:02d}" for number in range(aisles)]
    return {
        "aisle_length_m": lengths,
        "aisle_pitch_m": float(rng.uniform(3.0, 6.0)),
        "dock_doors": int(rng.integers(1, 5)),
        "cross_aisles_m": sorted(rng.uniform(3.0, 37.0, int(rng.integers(1, 4))).tolist()),
        "one_way": [name for name, one in zip(names, way, strict=True) if one > 0] or None,
        "one_way_from_back": [name for name, one in zip(names, way, strict=True) if one < 0] or None,
    }


def ladder(layout: Layout, bays: list[tuple[int, float]], sides: tuple[float, ...] | None = None):
    """Return the graph of the floor; bay number k of `bays` is the node ("bay", k), door d ("door", d).

    Only the aisles of these bays may be driven through; `sides` are those that may be driven round.
    """
    graph = networkx.DiGraph()

    def both(one: Node, other: Node, weight: float) -> None:
        graph.add_edge(one, other, weight=weight)
        graph.add_edge(other, one, weight=weight)

    lines = [0.0, *layout.cross_m.tolist(), float(layout.length_m.max())]
    sides = (0.0, layout.width_m) if sides is None else sides
    places = layout.aisle_m.tolist()
    for line in lines:
        row: list[tuple[float, Node]] = [(at, ("line", line, aisle)) for aisle, at in enumerate(places)]
        row += [(side, ("side", line, side)) for side in sides]
        if line == 0.0:
            row += [(float(at), ("door", door)) for door, at in enumerate(layout.door_m)]
        row.sort()
        for (at, one), (further, other) in itertools.pairwise(row):
            both(one, other, further - at)
    for side in sides:
        for line, further in itertools.pairwise(lines):
            both(("side", line, side), ("side", further, side), further - line)
    for aisle in {aisle for aisle, _ in bays}:
        stops = [(line, ("line", line, aisle)) for line in lines]
        stops += [(bay, ("bay", number)) for number, (home, bay) in enumerate(bays) if home == aisle]
        stops.sort(key=lambda stop: stop[0])
        for (at, one), (further, other) in itertools.pairwise(stops):
            if layout.direction[aisle] >= 0:
                graph.add_edge(one, other, weight=further - at)
            if layout.direction[aisle] <= 0:
                graph.add_edge(other, one, weight=further - at)
    return graph


def near_side(layout: Layout, aisle: int) -> float:
    """Place of the side nearer to an aisle: not always that of the shortest way to a door."""
    return 0.0 if layout.aisle_m[aisle] <= 0.5 * layout.width_m else layout.width_m


def shortest(layout: Layout, bays: list[tuple[int, float]], one: Node, other: Node, sides=None) -> float:
    """Length of the shortest legal way [m]."""
    return float(networkx.shortest_path_length(ladder(layout, bays, sides), one, other, "weight"))


def test_the_ladder_itself():
    """By hand, two aisles 5 m apart, 40 m long, a cross-aisle at 20 m: from 18 m to 15 m.

    Either way: min(18 + 15, 2 + 5) + 5 = 12 by the middle. The first aisle back to front: 18 + 5 + 15 = 38.
    Both front to back: out at 20 m, 2.5 m to the side, 20 m down it, 7.5 m along the front, in 15 m: 47.
    """
    either, from_back, both = {}, {"one_way_from_back": ["A01"]}, {"one_way": ["A01", "A02"]}
    for ways, wanted in ((either, 12.0), (from_back, 38.0), (both, 47.0)):
        keys = {"aisle_length_m": 40.0, "cross_aisles_m": [20.0]}
        layout = lay_out(scenario(aisles=2, floor=keys | ways))
        equals(shortest(layout, [(0, 18.0), (1, 15.0)], ("bay", 0), ("bay", 1)), wanted, 1e-12, "networkx")


def program_way(layout: Layout, first: int, bay: float, second: int, other_bay: float) -> float:
    """Length of the program's way from bay to bay [m]."""
    one, other = np.array([first]), np.array([second])
    here, there = np.array([bay]), np.array([other_bay])
    if first == second and (other_bay - bay) * layout.direction[first] >= 0.0:
        return abs(other_bay - bay)
    leave, enter = choose_lines(layout, one, here, other, there)
    *runs, _ = between_ways(layout, one, leave, other, enter)
    out = abs(place_inside(layout, one, leave) - here)
    into = abs(place_inside(layout, other, enter) - there)
    return float((out + into + sum(runs))[0])


def check_routes(**spoil) -> None:
    """Bay to bay on random floors, to 1e-9 m."""
    rng = np.random.default_rng(11)
    used = set()
    for _ in range(40):
        floor = drawn_floor(rng)
        layout = lay_out(scenario(aisles=len(floor["aisle_length_m"]), floor=floor))
        model = dataclasses.replace(layout, **{key: change(layout) for key, change in spoil.items()})
        for _ in range(10):
            first, second = rng.integers(len(layout.aisles), size=2).tolist()
            bay, other_bay = (float(rng.uniform(0.0, layout.length_m[aisle])) for aisle in (first, second))
            wanted = shortest(layout, [(first, bay), (second, other_bay)], ("bay", 0), ("bay", 1))
            equals(program_way(model, first, bay, second, other_bay), wanted, 1e-9, "bay to bay")
            if first != second:
                here = (np.array([first]), np.array([bay]), np.array([second]), np.array([other_bay]))
                used.add(tuple(int(line[0]) for line in choose_lines(layout, *here)))
    assert {(0, 0), (1, 1), (2, 2), (BACK, BACK), (1, 0), (BACK, 0)} <= used, f"too few kinds of ways: {used}"


def test_bay_to_bay_on_random_ladders():
    check_routes()
    with spoilt("no directions"):
        check_routes(direction=lambda layout: 0 * layout.direction)
    with spoilt("no middle cross-aisles"):
        check_routes(cross_m=lambda layout: layout.cross_m[:0])
    with spoilt("a wider floor"):
        check_routes(width_m=lambda layout: layout.width_m + 1.0)


def doors_before(floor) -> dict[int, int]:
    """Where the truck was when it took each task that has a visit."""
    return dict(zip(floor.log.task.tolist(), floor.log.from_door.tolist(), strict=True))


def whole_way(floor, task: int) -> float:
    """Metres from taking a task to having done it, by time and speed; 0 s of handling, no acceleration."""
    return 2.5 * float(floor.log.finish[task] - floor.log.begin[task])


EMPTY, LADEN = 2.5, 1.6


@pytest.mark.parametrize("number", range(6))
def test_from_door_to_door(number):
    """Putaways, retrievals and replenishments, from door to door, empty and laden, round either side."""
    rng = np.random.default_rng(20 + number)
    floor = drawn_floor(rng) | {"dock_doors": 2 + number % 3}
    made = run_floor(
        aisles=len(floor["aisle_length_m"]),
        hours=120.0,
        trucks=[PLAIN | {"speed_empty_m_per_s": EMPTY, "speed_laden_m_per_s": LADEN}],
        floor=floor,
        work=[{"name": kind, "kind": kind, "per_hour": 2.0} for kind in ("putaway", "retrieve", "replenish")],
    )
    log, tasks, layout = made.log, made.tasks, made.site.layout
    done = [task for task in np.flatnonzero(np.isfinite(log.finish)).tolist() if tasks.kind[task] < 3]
    came_from = doors_before(made)
    assert len(done) > 300

    def check(pitch: float = 1.0, *, only_near: bool = False) -> None:
        model = dataclasses.replace(layout, aisle_m=layout.aisle_m * pitch)
        for task in done[:MANY]:
            bays = [(int(tasks.aisle[task]), float(tasks.bay_m[task]))]
            ends = [came_from[task], int(tasks.door[task])]
            if tasks.kind[task] == 0:
                ends[0] = ends[1]
            if tasks.kind[task] == 2:
                bays.append((int(tasks.second_aisle[task]), float(tasks.second_bay_m[task])))
                ends[1] = ends[0]
            sides = [(near_side(layout, aisle),) if only_near else None for aisle, _ in bays]
            come = shortest(model, bays[:1], ("door", ends[0]), ("bay", 0), sides[0])
            go = shortest(model, bays[-1:], ("bay", 0), ("door", ends[1]), sides[-1])
            if tasks.kind[task] == 0:
                before = abs(layout.door_m[came_from[task]] - layout.door_m[ends[0]])
                wanted = (before + go) / EMPTY + come / LADEN
            elif tasks.kind[task] == 1:
                wanted = come / EMPTY + go / LADEN
            else:
                wanted = (come + go) / EMPTY + shortest(model, bays, ("bay", 0), ("bay", 1)) / LADEN
            equals(log.finish[task] - log.begin[task], wanted, 1e-6, f"task {task}")

    check()
    with spoilt("aisles 2 % farther from the corner"):
        check(1.02)
    with spoilt("round the side nearer to the aisle"):
        check(only_near=True)


def best_tour(layout: Layout, aisles: list[int], bays: list[list[float]], doors: tuple[int, int]) -> float:
    """Shortest way of a tour, aisle by aisle, trying either end of every aisle's picks as the first one."""
    total = math.inf
    for order in itertools.product((False, True), repeat=len(aisles)):
        stops: list[tuple[int, float]] = []
        for aisle, own, is_inward in zip(aisles, bays, order, strict=True):
            if layout.direction[aisle] * (-1 if is_inward else 1) < 0:
                break
            ends = (max(own), min(own)) if is_inward else (min(own), max(own))
            stops += [(aisle, place) for place in ends]
        else:
            way = shortest(layout, stops[:1], ("door", doors[0]), ("bay", 0))
            way += shortest(layout, stops[-1:], ("bay", 0), ("door", doors[1]))
            for number, (one, other) in enumerate(itertools.pairwise(stops)):
                if number % 2 == 0:
                    way += abs(one[1] - other[1])
                else:
                    way += shortest(layout, [one, other], ("bay", 0), ("bay", 1))
            total = min(total, way)
    return total


@pytest.mark.parametrize("number", range(5))
def test_shortest_tours_by_brute_force(number):
    """Routing "shortest": no order of picks within the aisles gives a shorter tour."""
    rng = np.random.default_rng(40 + number)
    floor = drawn_floor(rng) | {"dock_doors": 3}
    made = run_floor(
        aisles=len(floor["aisle_length_m"]),
        hours=60.0,
        trucks=[PLAIN],
        floor=floor,
        work=[
            {"name": "t", "kind": "tour", "per_hour": 3.0, "lines_per_tour": 5, "routing": "shortest"},
        ],
    )
    tours, layout, came_from = made.tasks.tours, made.site.layout, doors_before(made)
    done = np.flatnonzero(np.isfinite(made.log.finish))[:40].tolist()
    assert len(done) == 40

    def check(model: Layout) -> None:
        for tour in done:
            visits = range(int(tours.first_visit[tour]), int(tours.first_visit[tour + 1]))
            lines = [slice(*tours.first_line[visit : visit + 2].tolist()) for visit in visits]
            bays = [tours.bay_m[own].tolist() for own in lines]
            aisles = [int(tours.aisle[visit]) for visit in visits]
            doors = came_from[tour], int(made.tasks.door[tour])
            equals(whole_way(made, tour), best_tour(model, aisles, bays, doors), 1e-6, f"tour {tour}")

    check(layout)
    with spoilt("no middle cross-aisles"):
        check(dataclasses.replace(layout, cross_m=layout.cross_m[:0]))
    if layout.direction.any():
        with spoilt("no directions"):
            check(dataclasses.replace(layout, direction=0 * layout.direction))


def by_the_ends(layout: Layout, aisles: list[int], routing: str) -> list[tuple[float, float]]:
    """Where a tour enters and leaves each aisle: its direction, else in turn (traversal) or the front."""
    back, stands, ends = float(layout.length_m.max()), 0.0, []
    for number, aisle in enumerate(aisles):
        way = int(layout.direction[aisle])
        if way:
            enter, leave = (0.0, back) if way > 0 else (back, 0.0)
        elif routing == "return":
            enter = leave = 0.0
        else:
            enter = stands
            leave = 0.0 if number == len(aisles) - 1 else back - stands
        ends.append((enter, leave))
        stands = leave
    return ends


@pytest.mark.parametrize("routing", ["traversal", "return"])
@pytest.mark.parametrize("word", [None, "front-to-back", "back-to-front", "alternating"])
def test_tours_by_the_ends_through_one_way_aisles(routing, word):
    """Mouth to mouth by the shortest legal way: round the side where the next aisle is entered elsewhere."""
    made = run_floor(
        aisles=6,
        hours=80.0,
        trucks=[PLAIN],
        floor={
            "aisle_length_m": 30.0, "aisle_pitch_m": 4.0, "one_way": word, "cross_aisles_m": [10.0],
            "dock_doors": 3,
        },
        work=[{"name": "t", "kind": "tour", "per_hour": 3.0, "lines_per_tour": 4, "routing": routing}],
    )
    tours, layout, came_from = made.tasks.tours, made.site.layout, doors_before(made)

    def check(model: Layout) -> None:
        for tour in np.flatnonzero(np.isfinite(made.log.finish)).tolist():
            visits = range(int(tours.first_visit[tour]), int(tours.first_visit[tour + 1]))
            aisles = [int(tours.aisle[visit]) for visit in visits]
            stands: Node = ("door", came_from[tour])
            way = 0.0
            for visit, (enter, leave) in zip(visits, by_the_ends(model, aisles, routing), strict=True):
                aisle = int(tours.aisle[visit])
                bays = tours.bay_m[tours.first_line[visit] : tours.first_line[visit + 1]]
                way += shortest(layout, [], stands, ("line", enter, aisle))
                way += abs(leave - enter) if leave != enter else 2.0 * bays.max()
                stands = ("line", leave, aisle)
            way += shortest(layout, [], stands, ("door", int(made.tasks.door[tour])))
            equals(whole_way(made, tour), way, 1e-6, f"tour {tour}")

    check(layout)
    with spoilt("another direction"):
        change = 1 if word is None else 0
        check(dataclasses.replace(layout, direction=0 * layout.direction + change))


def test_pairs_in_any_aisles_are_timed_as_the_arrays_say():
    """The scalar times of pairing against `route_between`, which the graph has checked, on random floors."""
    rng = np.random.default_rng(7)

    def check(spoil) -> None:
        for _ in range(12):
            floor = drawn_floor(rng)
            trucks = PLAIN | {"acceleration_m_per_s2": 0.5, "pairing": True, "handling_mean_s": 20.0}
            made = scenario(
                aisles=len(floor["aisle_length_m"]),
                hours=30.0,
                trucks=[trucks],
                floor=floor,
                work=[{"name": kind, "kind": kind, "per_hour": 9.0} for kind in ("putaway", "retrieve")],
            )
            layout = lay_out(made)
            tasks = draw_tasks(made, layout, 0)
            queues = plan_queues(layout, made.trucks, who_may_do(made), tasks)
            pairing = Pairing(layout, made.trucks[0], 0, tasks, queues, WaitingTasks(queues))
            put, fetch = np.flatnonzero(tasks.kind == 0), np.flatnonzero(tasks.kind == 1)
            size = min(len(put), len(fetch), 100)
            put, fetch = put[:size], fetch[:size]
            gait = gait_of(made.trucks[0])
            route = route_between(
                spoil(layout),
                gait,
                (tasks.aisle[put], tasks.aisle[fetch]),
                (tasks.bay_m[put], tasks.bay_m[fetch]),
                (tasks.height_m[put], tasks.height_m[fetch]),
                (tasks.set_s[0, put], tasks.pick_s[0, fetch]),
                outer_is_laden=True,
            )
            times = [pairing.times(*pair) for pair in zip(put.tolist(), fetch.tolist(), strict=True)]
            for name in ("is_one_visit", "first_stay", "between", "second_stay"):
                equals([getattr(time, name) for time in times], getattr(route, name), 1e-9, name)
            inward = travel_time(np.abs(tasks.bay_m[put] - route.enter_m), gait.aisle_laden, gait.ramp)
            equals([time.set_down for time in times], inward + route.first_stand, 1e-9, "until the set-down")

    check(lambda layout: layout)
    with spoilt("no directions"):
        check(lambda layout: dataclasses.replace(layout, direction=0 * layout.direction))


def test_paired_rounds_from_door_to_door():
    """A putaway and a retrieval in one round, in aisles of any direction: the whole way by networkx."""
    rng = np.random.default_rng(6)
    floor = drawn_floor(rng) | {"dock_doors": 4}
    made = run_floor(
        aisles=len(floor["aisle_length_m"]),
        hours=60.0,
        trucks=[PLAIN | {"pairing": True}],
        floor=floor,
        work=[{"name": kind, "kind": kind, "per_hour": 30.0} for kind in ("putaway", "retrieve")],
    )
    log, tasks, layout = made.log, made.tasks, made.site.layout
    rows = np.flatnonzero((log.partner >= 0) & (tasks.kind[log.task] == 0))

    def check(model: Layout, *, only_near: bool = False) -> int:
        count = 0
        for row in rows[:MANY].tolist():
            put, fetch = int(log.task[row]), int(log.partner[row])
            if not np.isfinite(log.finish[fetch]):
                continue
            bays = [(int(tasks.aisle[task]), float(tasks.bay_m[task])) for task in (put, fetch)]
            home = (near_side(layout, bays[1][0]),) if only_near else None
            way = abs(layout.door_m[log.from_door[row]] - layout.door_m[tasks.door[put]])
            way += shortest(model, bays[:1], ("door", int(tasks.door[put])), ("bay", 0))
            way += shortest(model, bays, ("bay", 0), ("bay", 1))
            way += shortest(model, bays[1:], ("bay", 0), ("door", int(tasks.door[fetch])), home)
            found = 2.5 * float(log.finish[fetch] - log.begin[put])
            equals(found, way, 1e-6, f"round of tasks {put} and {fetch}")
            count += bays[0][0] == bays[1][0] and layout.direction[bays[0][0]] != 0
        return count

    assert check(layout) > 5, "too few rounds in one one-way aisle"
    with spoilt("home round the side nearer to the aisle"):
        check(layout, only_near=True)
    with spoilt("no directions"):
        check(dataclasses.replace(layout, direction=0 * layout.direction))


def test_nobody_drives_against_the_direction_or_past_a_mouth():
    """Every run in a one-way aisle goes its way; visits begin and end where a cross-aisle meets the aisle."""
    rng = np.random.default_rng(5)
    floor = drawn_floor(rng)
    made = run_floor(
        aisles=len(floor["aisle_length_m"]),
        hours=60.0,
        trucks=[PLAIN | {"count": 4}, {"name": "people", "kind": "walker", "count": 2}],
        floor=floor,
        work=[{"name": kind, "kind": kind, "per_hour": 12.0} for kind in ("putaway", "retrieve", "replenish")]
        + [
            {"name": "t", "kind": "tour", "per_hour": 3.0, "lines_per_tour": 4, "routing": "shortest"},
            {"name": "w", "kind": "walk", "per_hour": 3.0, "dwell_median_s": 60.0, "through": True},
        ],
    )
    visits, layout = made.visits, made.site.layout

    def check(direction: np.ndarray) -> None:
        moves = visits.moves
        aisle = visits.aisle[moves.visit]
        holds((moves.to_m - moves.from_m) * direction[aisle] >= 0.0, "never against the direction")
        first = np.searchsorted(moves.visit, np.arange(len(visits)))
        lines = np.minimum(cross_lines(layout)[None, :], layout.length_m[visits.aisle][:, None])
        away = np.abs(moves.from_m[first][:, None] - lines).min(axis=1)
        equals(away, 0.0, 1e-9, "in by a cross-aisle")
        last = np.append(first[1:], len(moves.visit)) - 1
        is_out = visits.leave < made.end_s
        away = np.abs(moves.to_m[last][:, None] - lines).min(axis=1)
        equals(away[is_out], 0.0, 1e-9, "out by a cross-aisle")

    assert set(layout.direction.tolist()) == {-1, 0, 1}
    check(layout.direction)
    with spoilt("the other way"):
        check(-layout.direction)
