"""Travel: published and computed times of runs from rest to rest (T16, T7), positions, and shortest paths.

Times are compared with the closed form written here a second time and with published rounded values of a
stacker calculation sheet; routes with networkx on the ladder of aisles and cross-aisles.
"""

from __future__ import annotations

import itertools
import math
from types import SimpleNamespace

import networkx
import numpy as np
import pytest
from scipy import integrate

import sim.traffic.kinematics as kinematics
from sim.replication import prepare_site, simulate_traffic
from sim.traffic.work import draw_tasks
from tests.truth.truth_scenes import TRUCK, equals, holds, scenario, spoilt

PUBLISHED = [  # m, m/s, m/s2, s to 1e-6 (computed), s as published
    (7.33, 175 / 60, 0.4, 8.561542, 8.56),
    (24.27, 175 / 60, 0.4, 15.612810, 15.61),
    (31.6, 175 / 60, 0.4, 18.125952, 18.13),
    (8.0, 50 / 60, 0.5, 11.266667, 11.27),
    (8.45, 50 / 60, 0.5, 11.806667, 11.81),
]
COMPUTED = [(10.0, 2.5, 0.5, 8.944272), (12.5, 2.5, 0.5, 10.0), (30.0, 2.5, 0.5, 17.0)]
MODEL = SimpleNamespace(travel_time=kinematics.travel_time, time_at=kinematics.time_at)
NO_RAMP = SimpleNamespace(
    travel_time=lambda distance, speed, ramp: np.asarray(distance) / speed,
    time_at=lambda done, distance, speed, ramp: np.asarray(done) / speed,
)
ALWAYS_AT_SPEED = SimpleNamespace(travel_time=lambda distance, speed, ramp: distance / speed + speed / ramp)


def check_travel_times(model: SimpleNamespace) -> None:
    """T16: d >= v^2/a: t = d/v + v/a; else 2 sqrt(d/a)."""
    for distance, speed, ramp, exact, published in PUBLISHED:
        time = float(model.travel_time(distance, speed, ramp))
        equals(time, exact, 1e-6, f"{distance} m")
        equals(round(time, 2), published, 1e-9, f"{distance} m as published")
    for distance, speed, ramp, exact in COMPUTED:
        equals(model.travel_time(distance, speed, ramp), exact, 1e-6, f"{distance} m")


def test_T16_trapezoid_travel():
    check_travel_times(MODEL)
    with spoilt("acceleration ignored"):
        check_travel_times(NO_RAMP)
    with spoilt("short runs reach full speed"):
        check_travel_times(ALWAYS_AT_SPEED)


def check_mean_leg(model: SimpleNamespace) -> None:
    """T7: mean leg to a uniform depth in 60 m at 2.5 m/s, 0.5 m/s2: quadrature over the program's times."""
    expected = 16.826389
    knee = 2.5**2 / 0.5
    formula = ((4 / 3) * knee**1.5 / math.sqrt(0.5) + (60**2 - knee**2) / 5.0 + (60 - knee) * 2.5 / 0.5) / 60
    equals(formula, expected, 1e-6, "the formula itself")
    area, _ = integrate.quad(
        lambda depth: float(model.travel_time(depth, 2.5, 0.5)), 0.0, 60.0, points=[knee]
    )
    equals(area / 60.0, expected, 1e-6, "mean leg")


def test_T7_mean_leg_by_quadrature():
    check_mean_leg(MODEL)
    with spoilt("acceleration ignored"):
        check_mean_leg(NO_RAMP)
    with spoilt("short runs reach full speed"):
        check_mean_leg(ALWAYS_AT_SPEED)


def place_at(time: float, distance: float, speed: float, ramp: float) -> float:
    """Distance covered so long after the start: speed up, cruise, brake; inverse of the program's rule."""
    if ramp == 0.0:
        return min(distance, speed * time)
    top = min(speed, math.sqrt(ramp * distance))
    up = top / ramp
    cruise = (distance - top * up) / top
    if time < up:
        return 0.5 * ramp * time**2
    if time < up + cruise:
        return 0.5 * ramp * up**2 + top * (time - up)
    left = min(time, 2 * up + cruise) - up - cruise
    return distance - 0.5 * ramp * (up - left) ** 2


def check_positions(model: SimpleNamespace) -> None:
    """Positions at the program's times are where the closed form says."""
    for distance, ramp in itertools.product((0.4, 3.0, 12.5, 40.0), (0.0, 0.3, 0.5, 2.0)):
        for share in (0.0, 0.01, 0.2, 0.5, 0.77, 0.999):
            time = float(model.time_at(share * distance, distance, 2.5, ramp))
            equals(
                place_at(time, distance, 2.5, ramp),
                share * distance,
                1e-9,
                f"{share} of {distance} m at {ramp}",
            )


def test_positions_within_a_run():
    check_positions(MODEL)
    with spoilt("acceleration ignored"):
        check_positions(NO_RAMP)


LENGTHS = (30.0, 30.0, 24.0, 30.0, 18.0)


def ladder(lengths: tuple[float, ...], pitch: float, first: float, second: float, aisles: tuple[int, int]):
    """Aisles between a front and a back cross-aisle as a graph; 'p' and 'q' are the two bays."""
    graph, back = networkx.Graph(), max(lengths)
    for aisle in range(len(lengths)):
        stops = [("front", 0.0), ("back", back)]
        stops += [("p", first)] * (aisle == aisles[0]) + [("q", second)] * (aisle == aisles[1])
        stops.sort(key=lambda stop: stop[1])
        named = [(name if name in "pq" else (name, aisle), depth) for name, depth in stops]
        for (one, depth), (other, deeper) in itertools.pairwise(named):
            graph.add_edge(one, other, weight=deeper - depth)
        for side in ("front", "back"):
            if aisle:
                graph.add_edge((side, aisle - 1), (side, aisle), weight=pitch)
    return graph


def test_the_ladder_itself():
    """By hand: 22 m of 30 and 25 m of 30, two aisles apart at 4.5 m: min(22 + 9 + 25, 8 + 9 + 5) = 22."""
    graph = ladder((30.0, 30.0, 30.0), 4.5, 22.0, 25.0, (0, 2))
    equals(networkx.shortest_path_length(graph, "p", "q", "weight"), 22.0, 1e-12, "networkx")


def check_bay_to_bay(*, model_lengths: tuple[float, ...] = LENGTHS, model_pitch: float = 4.5) -> None:
    """Replenishment goes the shortest way: laden time x speed, no acceleration, against networkx."""
    trucks = [TRUCK | {"speed_laden_m_per_s": 1.5, "handling_mean_s": 20.0}]
    made = scenario(
        aisles=5,
        hours=60.0,
        trucks=trucks,
        seed=3,
        floor={"aisle_length_m": LENGTHS, "aisle_pitch_m": 4.5},
        work=[{"name": "move", "kind": "replenish", "per_hour": 20.0}],
    )
    place = prepare_site(made)
    tasks = draw_tasks(made, place.layout, 0)
    visits = simulate_traffic(place, 0).visits
    seen = {"front": 0, "back": 0, "same": 0}
    # a task's visits: the one whose bay is the first, the one whose bay is the second
    by_bay = {bay: row for row, bay in enumerate(visits.bay_m.tolist())}
    for number in range(len(tasks)):
        one = by_bay.get(tasks.bay_m[number])
        other = by_bay.get(tasks.second_bay_m[number])
        ends = (int(tasks.aisle[number]), int(tasks.second_aisle[number]))
        if one is None or (other is None and ends[0] != ends[1]):
            continue
        graph = ladder(model_lengths, model_pitch, tasks.bay_m[number], tasks.second_bay_m[number], ends)
        shortest = networkx.shortest_path_length(graph, "p", "q", "weight")
        runs = np.flatnonzero(visits.moves.visit == one)
        start = visits.moves.start[runs[1]]
        if ends[0] == ends[1]:
            seen["same"] += 1
            laden_s = visits.moves.start[runs[2]] - 20.0 - start
        else:
            seen["back" if visits.leaves_back[one] else "front"] += 1
            holds(visits.leaves_back[one] == visits.enters_back[other], "leaves and enters on one side")
            runs = np.flatnonzero(visits.moves.visit == other)
            laden_s = visits.moves.start[runs[1]] - 20.0 - start
        equals(laden_s * 1.5, shortest, 1e-6, f"laden way of task {number}")
    assert min(seen.values()) > 30, f"too few ways of some kind: {seen}"


def test_bay_to_bay_by_the_shortest_way():
    check_bay_to_bay()
    with spoilt("aisles 5 m apart instead of 4.5"):
        check_bay_to_bay(model_pitch=5.0)
    with spoilt("the back cross-aisle 6 m farther"):
        check_bay_to_bay(model_lengths=(36.0, *LENGTHS[1:]))


@pytest.mark.parametrize("ramp", [0.0, 0.5])
def test_stay_is_travel_plus_one_handling(ramp):
    """In, handle once, out: each visit's stay by the closed form, from its bay and its handling."""

    def check(assumed_ramp: float) -> None:
        trucks = [TRUCK | {"acceleration_m_per_s2": ramp, "speed_laden_m_per_s": 1.9, "handling_cv": 0.7}]
        work = [
            {"name": "in", "kind": "putaway", "per_hour": 10.0},
            {"name": "out", "kind": "retrieve", "per_hour": 10.0},
        ]
        place = prepare_site(scenario(aisles=3, hours=24.0, trucks=trucks, work=work))
        tasks = draw_tasks(place.scenario, place.layout, 0)
        visits = simulate_traffic(place, 0).visits
        by_bay = {bay: row for row, bay in enumerate(tasks.bay_m.tolist())}
        inside = visits.leave < place.scenario.duration_s
        task = np.array([by_bay[bay] for bay in visits.bay_m.tolist()])
        handling = np.where(tasks.kind[task] == 0, tasks.set_s[0, task], tasks.pick_s[0, task])

        def leg(distance: np.ndarray, speed: float) -> np.ndarray:
            if assumed_ramp == 0.0:
                return distance / speed
            return np.where(
                distance >= speed**2 / assumed_ramp,
                distance / speed + speed / assumed_ramp,
                2.0 * np.sqrt(distance / assumed_ramp),
            )

        stay = leg(visits.bay_m, 2.5) + handling + leg(visits.bay_m, 1.9)
        equals((visits.leave - visits.enter)[inside], stay[inside], 1e-6, "stays")
        equals(visits.aisle, tasks.aisle[task], 0.0, "aisles")

    check(ramp)
    with spoilt("another acceleration"):
        check(0.4)
