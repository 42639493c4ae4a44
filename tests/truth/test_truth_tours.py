"""Picking tours: aisles visited (T19), ways by return and traversal routing; class-based bays (T18).

Standard errors are those of independent tours or draws, k = 4.
"""

from __future__ import annotations

import math

import networkx
import numpy as np
import pytest

from sim.replication import prepare_site
from sim.traffic.ways import BACK
from sim.traffic.work import draw_tasks
from tests.truth.traffic_scenes import PLAIN, run_floor, standard_error
from tests.truth.truth_scenes import agrees, equals, holds, scenario, spoilt


def picked(aisles: int, lines: int, routing: str, hours: float = 300.0):
    """Tours over aisles of 30 m by enough pickers."""
    return run_floor(
        aisles=aisles,
        hours=hours,
        trucks=[PLAIN | {"count": 200, "handling_mean_s": 5.0}],
        floor={"aisle_length_m": 30.0, "aisle_pitch_m": 4.0, "dock_doors": 2},
        work=[{"name": "t", "kind": "tour", "per_hour": 20.0, "lines_per_tour": lines, "routing": routing}],
    )


def by_tour(floor) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Aisles visited, metres inside aisles, and visits left as they were entered, of each whole tour."""
    visits, log = floor.visits, floor.log
    task = log.task[np.argsort(log.enter, kind="stable")][: len(visits)]
    whole = np.isfinite(floor.log.finish)
    metres = np.bincount(
        task[visits.moves.visit], np.abs(visits.moves.to_m - visits.moves.from_m), len(floor.tasks)
    )
    count = np.bincount(task, minlength=len(floor.tasks))
    odd = np.bincount(task, visits.enters_back == visits.leaves_back, len(floor.tasks))
    return count[whole], metres[whole], odd[whole]


def check_visited(aisles: int, lines: int, expected: float, routing: str = "traversal") -> None:
    """T19: M (1 - (1 - 1/M)^n) aisles are visited by n lines."""
    equals(
        10 * (1 - 0.9**10) if (aisles, lines) == (10, 10) else expected, expected, 1e-6, "the formula itself"
    )
    count, _, _ = by_tour(picked(aisles, lines, routing))
    agrees(count.mean(), expected, standard_error(count), f"aisles visited by {lines} lines")


@pytest.mark.parametrize(
    "aisles, lines, expected", [(10, 5, 4.095100), (10, 10, 6.513216), (20, 25, 14.452209)]
)
def test_T19_visits_of_a_tour(aisles, lines, expected):
    check_visited(aisles, lines, expected)
    check_visited(aisles, lines, expected, "return")
    with spoilt("a line more"):
        check_visited(aisles, lines + 1, expected)


def check_return(lines: int, routing: str) -> None:
    """Table 1e, return routing: 2 Y M [1 - (1 - (1 - q)^(n+1)) / ((n + 1) q)], q = 1/M: 225.714871 m."""
    expected = 225.714871
    formula = 2 * 30 * 10 * (1 - (1 - 0.9**11) / (11 * 0.1))
    equals(formula, expected, 1e-6, "the formula itself")
    _, metres, _ = by_tour(picked(10, lines, routing))
    agrees(metres.mean(), expected, standard_error(metres), "metres inside aisles, return routing")


def test_return_routing_225_71_m():
    check_return(10, "return")
    with spoilt("nine lines"):
        check_return(9, "return")
    with spoilt("traversal"):
        check_return(10, "traversal")


def test_traversal_goes_through():
    """Every aisle but an odd last one is gone through from end to end: Y each; Y E[aisles] = 195.396468 m."""

    def check(routing: str) -> None:
        count, metres, odd = by_tour(picked(10, 10, routing))
        holds(odd == count % 2, "the last of an odd number is left as it was entered, no other")
        even = count % 2 == 0
        equals(metres[even], 30.0 * count[even], 1e-6, "metres of an even tour")
        holds(metres[~even] > 30.0 * (count[~even] - 1), "an odd tour: one aisle in and out")
        holds(metres[~even] <= 30.0 * (count[~even] + 1), "at most to its end and back")
        agrees(30.0 * count.mean(), 195.396468, 30.0 * standard_error(count), "Y times the aisles")

    check("traversal")
    with spoilt("return routing"):
        check("return")


def test_a_tour_walks_the_ladder():
    """From mouth to mouth a tour takes the cross-aisle it stands at: laden time x speed against networkx.

    No acceleration, no handling at the bays: finish - begin is the whole way over the speed.
    """
    made = run_floor(
        aisles=6,
        hours=100.0,
        trucks=[PLAIN],
        floor={"aisle_length_m": 30.0, "aisle_pitch_m": 4.0},
        work=[{"name": "t", "kind": "tour", "per_hour": 3.0, "lines_per_tour": 4}],
    )
    tasks, tours, log = made.tasks, made.tasks.tours, made.log

    def check(pitch: float) -> None:
        graph = networkx.Graph()
        for aisle in range(6):
            graph.add_edge(("front", aisle), ("back", aisle), weight=30.0)
            graph.add_edge(("front", aisle), "door", weight=abs(4.0 * (aisle + 0.5) - 12.0))
            for side in ("front", "back"):
                if aisle:
                    graph.add_edge((side, aisle - 1), (side, aisle), weight=pitch)
        for number in np.flatnonzero(np.isfinite(log.finish)).tolist():
            first, last = tours.first_visit[number], tours.first_visit[number + 1]
            way, at = 0.0, "door"
            for visit in range(first, last):
                aisle = int(tours.aisle[visit])
                entry = ("back" if tours.enter_line[visit] == BACK else "front", aisle)
                leaving = ("back" if tours.leave_line[visit] == BACK else "front", aisle)
                way += networkx.shortest_path_length(graph, at, entry, "weight")
                bays = tours.bay_m[tours.first_line[visit] : tours.first_line[visit + 1]]
                way += 30.0 if leaving != entry else 2.0 * bays.max()
                at = leaving
            way += networkx.shortest_path_length(graph, at, "door", "weight")
            equals(2.5 * (log.finish[number] - log.begin[number]), way, 1e-6, f"tour {number}")
        assert len(tasks) > 200

    check(4.0)
    with spoilt("cross-aisles 10 % longer"):
        check(4.4)


SKEW_20_60 = math.log(0.6) / math.log(0.2)
"""s of the demand curve G(i) = i^s through 20/60: 0.317."""


def moves_within(radius: float) -> float:
    """Share of the moves to the nearest places within a radius: F(R^2) = R^(4 s / (s + 1))."""
    return radius ** (4 * SKEW_20_60 / (SKEW_20_60 + 1))


def classes_of(*radii: float) -> tuple[list[list[float]], float]:
    """Classes between some radii, and the one-way mean: (2/3)(R2^3 - R1^3)/(R2^2 - R1^2) in each."""
    rows, mean = [], 0.0
    for inner, outer in zip((0.0, *radii), (*radii, 1.0), strict=True):
        places, moves = outer**2 - inner**2, moves_within(outer) - (moves_within(inner) if inner else 0.0)
        rows.append([places, moves])
        mean += moves * (2 / 3) * (outer**3 - inner**3) / places
    return rows, mean


def one_way(classes: list[list[float]] | None) -> np.ndarray:
    """One-way times of a turret truck in a rack that is square in time, range 1."""
    turret = {
        "speed_laden_m_per_s": 1.0,
        "speed_empty_m_per_s": 1.0,
        "lift_m_per_s": 0.1,
        "lower_m_per_s": 0.1,
        "lifts_while_travelling": True,
    }
    work = {"name": "in", "kind": "putaway", "per_hour": 100.0}
    made = scenario(
        hours=400.0,
        trucks=[PLAIN | turret],
        floor={"aisle_length_m": 100.0, "tiers": 1000, "tier_height_m": 10.0 / 999},
        work=[work | ({} if classes is None else {"bay_classes": classes})],
    )
    tasks = draw_tasks(made, prepare_site(made).layout, 0)
    return np.maximum(tasks.bay_m, tasks.height_m / 0.1) / 100.0


def check_policy(expected: float, classes: list[list[float]] | None) -> None:
    times = one_way(classes)
    agrees(times.mean(), expected, standard_error(times), "one-way time")


def test_T18_class_based_bays():
    """T18: Hausman, Schwarz and Graves, 20/60 curve: random 2/3, two classes (R = .4073) 0.545913."""
    two, mean = classes_of(0.4073)
    equals(mean, 0.545913, 1e-6, "two classes themselves")
    check_policy(2 / 3, None)
    check_policy(0.545913, two)
    with spoilt("random storage"):
        check_policy(0.545913, None)
    with spoilt("the classes the other way round"):
        check_policy(0.545913, two[::-1])


def test_T18_many_classes_are_full_turnover():
    """T18: 4 s / (5 s + 1) = 0.490758; with 40 classes the formula is within 0.001 of it."""
    rows, mean = classes_of(*(np.linspace(0.0, 1.0, 41)[1:-1] ** 2).tolist())
    equals(4 * SKEW_20_60 / (5 * SKEW_20_60 + 1), 0.490758, 1e-6, "full turnover itself")
    equals(mean, 0.490758, 1e-3, "forty classes")
    check_policy(mean, rows)
    with spoilt("two classes"):
        check_policy(mean, classes_of(0.4073)[0])


def test_classes_of_depth_for_floor_trucks():
    """Where only the depth counts, a class is a stretch of the aisle: its share of moves, uniform within."""
    made = scenario(
        hours=400.0,
        trucks=[PLAIN],
        work=[{"name": "in", "kind": "putaway", "per_hour": 50.0, "bay_classes": [[0.2, 0.6], [0.8, 0.4]]}],
    )
    depth = draw_tasks(made, prepare_site(made).layout, 0).bay_m / 60.0

    def check(share: float, mean: float) -> None:
        near = depth < 0.2
        agrees(near.mean(), share, math.sqrt(share * (1 - share) / len(depth)), "moves to the nearest fifth")
        agrees(depth[near].mean(), 0.1, 0.2 / math.sqrt(12 * near.sum()), "depth within it")
        agrees(depth.mean(), mean, standard_error(depth), "mean depth")

    check(0.6, 0.6 * 0.1 + 0.4 * 0.6)
    with spoilt("uniform"):
        check(0.2, 0.5)
