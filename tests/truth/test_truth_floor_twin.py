"""The program's floor against the obvious SimPy model of tests/naive_floor.py: same tasks, same visits."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from sim.replication import prepare_site, simulate_traffic
from sim.traffic.work import draw_tasks
from tests.naive_floor import Floor, naive_floor, way_time
from tests.truth.truth_scenes import drawn_ways, equals, holds, scenario, spoilt

NEARLY_S = 1e-6


def random_floor(number: int):
    """Return a site with drawn numbers: lengths, doors, capacity, ramp, spread, and rather too much work.

    From number 12 on also one-way aisles, either way, and middle cross-aisles.
    """
    rng = np.random.default_rng(number)
    aisles = int(rng.integers(2, 8))
    count = int(rng.integers(2, 9))
    trucks = {
        "name": "reach",
        "count": count,
        "speed_laden_m_per_s": float(rng.uniform(1.2, 2.5)),
        "speed_empty_m_per_s": float(rng.uniform(1.5, 3.0)),
        "acceleration_m_per_s2": float(rng.choice([0.0, 0.4, 0.8])),
        "handling_mean_s": float(rng.uniform(15.0, 60.0)),
        "handling_cv": float(rng.choice([0.0, 0.5, 1.0])),
    }
    per_hour = float(rng.uniform(0.6, 1.1)) * count * 12.0
    ways = drawn_ways(number, aisles, (11.0, 23.0, 29.5)) if number >= 12 else {}
    return prepare_site(
        scenario(
            aisles=aisles,
            hours=20.0,
            seed=number,
            trucks=[trucks],
            floor={
                "aisle_length_m": [float(length) for length in rng.choice([30.0, 45.0, 60.0], aisles)],
                "aisle_capacity": [1, 2, None][int(rng.integers(3))],
                "staging_depth_m": float(rng.choice([0.0, 15.0])),
                "dock_doors": int(rng.integers(1, 5)),
            }
            | ways,
            work=[
                {"name": kind, "kind": kind, "per_hour": per_hour / 3.0, "aisle_skew": 0.3, "bay_skew": 0.5}
                for kind in ("putaway", "retrieve", "replenish")
            ],
        )
    )


def check_same_visits(
    number: int, *, capacity: int | None = -1, floor: dict | None = None, **trucks: float
) -> None:
    """Compare every visit: aisle, truck, bay, arrival, entry and exit."""
    place = random_floor(number)
    tasks = draw_tasks(place.scenario, place.layout, 0)
    layout, group = place.layout, place.scenario.trucks[0]
    if capacity != -1:
        layout = dataclasses.replace(layout, capacity=capacity)
    layout = dataclasses.replace(layout, **(floor or {}))
    slow = naive_floor(layout, group.model_copy(update=trucks), tasks, place.scenario.duration_s)
    fast = simulate_traffic(place, 0).visits
    equals(len(fast), len(slow), 0.0, "number of visits")
    assert len(slow) > 300, "too few visits to tell"
    slow.sort(key=lambda one: one.bay_m)
    order = np.argsort(fast.bay_m)
    for name in ("bay_m", "aisle", "truck", "arrive", "enter", "leave"):
        found, wanted = getattr(fast, name)[order], [getattr(one, name) for one in slow]
        equals(found, wanted, NEARLY_S, name)


@pytest.mark.parametrize("number", range(30))
def test_the_obvious_model_gives_the_same_visits(number):
    check_same_visits(number)


def test_the_comparison_notices_spoilt_models(monkeypatch):
    crowded = next(number for number in range(12) if random_floor(number).layout.capacity == 1)
    with spoilt("capacity 2 where there is 1"):
        check_same_visits(crowded, capacity=2)
    with spoilt("no limit"):
        check_same_visits(crowded, capacity=None)
    with spoilt("another acceleration"):
        check_same_visits(crowded, acceleration_m_per_s2=0.5)
    with spoilt("empty speed 1 % higher"):
        check_same_visits(
            crowded, speed_empty_m_per_s=random_floor(crowded).scenario.trucks[0].speed_empty_m_per_s * 1.01
        )
    layout = random_floor(26).layout
    assert set(layout.direction.tolist()) == {-1, 0, 1}
    with spoilt("aisles driven the other way"):
        check_same_visits(26, floor={"direction": -layout.direction})
    with spoilt("no one-way aisles"):
        check_same_visits(26, floor={"direction": 0 * layout.direction})
    with spoilt("cross-aisles 1 m farther back"):
        check_same_visits(26, floor={"cross_m": layout.cross_m + 1.0})
    monkeypatch.setattr(Floor, "laden", Floor.empty)
    with spoilt("laden trucks as fast as empty ones"):
        check_same_visits(crowded)


def test_the_comparison_notices_the_wrong_truck(monkeypatch):
    """With the truck back last sent first, other doors and other times come out."""

    class Stack(list):
        def popleft(self):
            return self.pop()

    original = Floor.__init__

    def begin(self, *arguments):
        original(self, *arguments)
        self.idle = Stack(self.idle)

    monkeypatch.setattr(Floor, "__init__", begin)
    number = next(number for number in range(12) if len(random_floor(number).layout.door_m) > 1)
    with spoilt("last in, first out"):
        check_same_visits(number)


def check_capacity(visits, capacity: int) -> None:
    """Never more than `capacity` trucks in an aisle, and full at times; entries in order of arrival."""
    most = 0
    for aisle in np.unique(visits.aisle).tolist():
        rows = np.flatnonzero(visits.aisle == aisle)
        enter, leave = np.sort(visits.enter[rows]), np.sort(visits.leave[rows])
        inside = np.arange(1, len(rows) + 1) - np.searchsorted(leave, enter + 1e-9, side="right")
        most = max(most, int(inside.max()))
        by_arrival = rows[np.argsort(visits.arrive[rows], kind="stable")]
        holds(np.diff(visits.enter[by_arrival]) >= 0.0, "first come, first in")
    holds(most == capacity, f"at most {capacity} trucks in an aisle and at times so many: {most}")
    holds(visits.enter >= visits.arrive, "nobody enters before arriving")


@pytest.mark.parametrize("capacity", [1, 2, 3])
def test_aisle_capacity_and_order_at_the_mouth(capacity):
    def crowd(limit: int):
        made = scenario(
            aisles=2,
            hours=24.0,
            floor={"aisle_capacity": limit},
            seed=4,
            trucks=[
                {
                    "name": "reach",
                    "count": 12,
                    "speed_laden_m_per_s": 2.0,
                    "speed_empty_m_per_s": 2.5,
                    "handling_mean_s": 60.0,
                    "handling_cv": 1.0,
                }
            ],
            work=[{"name": "out", "kind": "retrieve", "per_hour": 55.0 * capacity}],
        )
        return simulate_traffic(prepare_site(made), 0).visits

    check_capacity(crowd(capacity), capacity)
    with spoilt("one truck more"):
        check_capacity(crowd(capacity + 1), capacity)
    visits = crowd(capacity)
    with spoilt("two trucks swapped at the mouth"):
        late = np.flatnonzero(visits.enter > visits.arrive)[5]
        arrive = visits.arrive.copy()
        arrive[late] = arrive[late] - 3600.0
        check_capacity(dataclasses.replace(visits, arrive=arrive), capacity)


def test_way_time_by_hand():
    """T16: 31.6 m at 175 m/min and 0.4 m/s2 in 18.125952 s; 10 m at 2.5 and 0.5 in 2 sqrt(10/0.5) s."""
    equals(
        (way_time(31.6, 175 / 60, 0.4), way_time(10.0, 2.5, 0.5), way_time(10.0, 2.5, 0.0)),
        (18.125952, 8.944272, 4.0),
        1e-6,
        "the twin's own travel",
    )
