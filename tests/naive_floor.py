"""The floor written the obvious way in SimPy: a process a task, `simpy.Resource` for fleet and aisles.

Comes in: layout, one truck group, tasks.  Goes out: visits.  Slow and plain on purpose: every leg is a
timeout of its own, every route is worked out where it is driven, nothing is planned ahead.  It is the oracle
of the program's visits (tests/truth) and the yardstick of its speed (tests/bench), written from the meaning
of the words: single command, the truck idle longest goes first, full aisles are entered in order of arrival.
Every truck has a driver all the time.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Generator
from dataclasses import dataclass
from typing import Any

import simpy

from sim.floor.layout import Layout
from sim.scenario.schema import Trucks
from sim.traffic.work import KINDS, Tasks

__all__ = ["Floor", "NaiveVisit", "naive_floor", "way_time"]


@dataclass(frozen=True)
class NaiveVisit:
    """One truck in one aisle, times in seconds; part 1 is the second aisle of a replenishment."""

    task: int
    part: int
    truck: int
    aisle: int
    bay_m: float
    arrive: float
    enter: float
    leave: float


def way_time(distance: float, speed: float, acceleration: float) -> float:
    """Return the time from rest to rest [s]: speed up, cruise, brake."""
    if acceleration == 0.0:
        return distance / speed
    ramp_m = speed**2 / (2.0 * acceleration)
    if distance < 2.0 * ramp_m:
        return 2.0 * math.sqrt(distance / acceleration)
    return 2.0 * speed / acceleration + (distance - 2.0 * ramp_m) / speed


class Floor:
    """The site while it runs."""

    def __init__(self, layout: Layout, trucks: Trucks, tasks: Tasks) -> None:
        self.layout, self.trucks, self.tasks = layout, trucks, tasks
        self.env = simpy.Environment()
        self.fleet = simpy.Resource(self.env, trucks.count)
        doors = len(layout.door_m)
        self.idle = deque((number, number * doors // trucks.count) for number in range(trucks.count))
        self.aisles = [simpy.Resource(self.env, layout.capacity or 10**6) for _ in layout.aisles]
        self.aisle_m, self.door_m = layout.aisle_m.tolist(), layout.door_m.tolist()
        self.length_m, self.back_m = layout.length_m.tolist(), float(layout.length_m.max())
        self.visits: list[NaiveVisit] = []

    def empty(self, *ways: float) -> simpy.Timeout:
        """Drive some straight ways empty, each from rest to rest."""
        trucks = self.trucks
        return self.env.timeout(
            sum(way_time(way, trucks.speed_empty_m_per_s, trucks.acceleration_m_per_s2) for way in ways)
        )

    def laden(self, *ways: float) -> simpy.Timeout:
        """Drive some straight ways laden."""
        trucks = self.trucks
        return self.env.timeout(
            sum(way_time(way, trucks.speed_laden_m_per_s, trucks.acceleration_m_per_s2) for way in ways)
        )

    def bring(self) -> Generator[simpy.Event, Any, None]:
        """Start a process for each task when it arises."""
        for number, time in enumerate(self.tasks.time.tolist()):
            yield self.env.timeout(max(0.0, time - self.env.now))
            self.env.process(self.do(number))

    def do(self, task: int) -> Generator[simpy.Event, Any, None]:
        """Wait for a truck, do the task, free the truck."""
        with self.fleet.request() as ready:
            yield ready
            truck, door = self.idle.popleft()
            kind = KINDS[int(self.tasks.kind[task])]
            door = yield from getattr(self, kind)(task, truck, door)
            self.idle.append((truck, door))

    def visit(self, task: int, part: int, truck: int, legs: Any) -> Generator[simpy.Event, Any, None]:
        """Queue at the mouth, enter, do the legs inside one after the other, leave."""
        aisle, bay = int(self.tasks.aisle[task]), float(self.tasks.bay_m[task])
        if part:
            aisle, bay = int(self.tasks.second_aisle[task]), float(self.tasks.second_bay_m[task])
        arrive = self.env.now
        with self.aisles[aisle].request() as place:
            yield place
            enter = self.env.now
            row = len(self.visits)
            self.visits.append(NaiveVisit(task, part, truck, aisle, bay, arrive, enter, math.inf))
            for leg in legs:
                yield leg()
            self.visits[row] = NaiveVisit(task, part, truck, aisle, bay, arrive, enter, self.env.now)

    def putaway(self, task: int, truck: int, door: int) -> Generator[simpy.Event, Any, int]:
        """Fetch at a door, set down in the bay, come back to that door."""
        tasks, staging = self.tasks, self.layout.staging_depth_m
        aisle, bay, dock = int(tasks.aisle[task]), float(tasks.bay_m[task]), int(tasks.door[task])
        across = abs(self.door_m[dock] - self.aisle_m[aisle])
        yield self.empty(abs(self.door_m[door] - self.door_m[dock]))
        yield self.env.timeout(float(tasks.pick_s[0, task]))
        yield self.laden(staging)
        yield self.laden(across)
        yield from self.visit(
            task,
            0,
            truck,
            [
                lambda: self.laden(bay),
                lambda: self.env.timeout(float(tasks.set_s[0, task])),
                lambda: self.empty(bay),
            ],
        )
        yield self.empty(across)
        yield self.empty(staging)
        return dock

    def retrieve(self, task: int, truck: int, door: int) -> Generator[simpy.Event, Any, int]:
        """Fetch in the bay, set down at a door."""
        tasks, staging = self.tasks, self.layout.staging_depth_m
        aisle, bay, dock = int(tasks.aisle[task]), float(tasks.bay_m[task]), int(tasks.door[task])
        yield self.empty(staging)
        yield self.empty(abs(self.door_m[door] - self.aisle_m[aisle]))
        yield from self.visit(
            task,
            0,
            truck,
            [
                lambda: self.empty(bay),
                lambda: self.env.timeout(float(tasks.pick_s[0, task])),
                lambda: self.laden(bay),
            ],
        )
        yield self.laden(abs(self.door_m[dock] - self.aisle_m[aisle]))
        yield self.laden(staging)
        yield self.env.timeout(float(tasks.set_s[0, task]))
        return dock

    def replenish(self, task: int, truck: int, door: int) -> Generator[simpy.Event, Any, int]:
        """Fetch in one bay, set down in another: the shorter way round; in and home by the front."""
        tasks, staging = self.tasks, self.layout.staging_depth_m
        first, second = int(tasks.aisle[task]), int(tasks.second_aisle[task])
        bay, other_bay = float(tasks.bay_m[task]), float(tasks.second_bay_m[task])
        pick, put = float(tasks.pick_s[0, task]), float(tasks.set_s[0, task])
        yield self.empty(staging)
        yield self.empty(abs(self.door_m[door] - self.aisle_m[first]))
        if first == second:
            yield from self.visit(
                task,
                0,
                truck,
                [
                    lambda: self.empty(bay),
                    lambda: self.env.timeout(pick),
                    lambda: self.laden(abs(bay - other_bay)),
                    lambda: self.env.timeout(put),
                    lambda: self.empty(other_bay),
                ],
            )
        else:
            is_back = 2.0 * self.back_m - bay - other_bay < bay + other_bay
            out = self.length_m[first] - bay if is_back else bay
            into = self.length_m[second] - other_bay if is_back else other_bay
            yield from self.visit(
                task,
                0,
                truck,
                [lambda: self.empty(bay), lambda: self.env.timeout(pick), lambda: self.laden(out)],
            )
            if is_back:
                yield self.laden(self.back_m - self.length_m[first])
            yield self.laden(abs(self.aisle_m[first] - self.aisle_m[second]))
            if is_back:
                yield self.laden(self.back_m - self.length_m[second])
            yield from self.visit(
                task,
                1,
                truck,
                [lambda: self.laden(into), lambda: self.env.timeout(put), lambda: self.empty(other_bay)],
            )
        yield self.empty(abs(self.door_m[door] - self.aisle_m[second]))
        yield self.empty(staging)
        return door


def naive_floor(layout: Layout, trucks: Trucks, tasks: Tasks, end_s: float) -> list[NaiveVisit]:
    """Return every visit that began before the end, in order of entry; one under way leaves at the end.

    Parameters
    ----------
    layout : the floor
    trucks : the only group; every truck has a driver all the time
    tasks : moves in order of time
    end_s : end of the run [s]
    """
    floor = Floor(layout, trucks, tasks)
    floor.env.process(floor.bring())
    floor.env.run(until=end_s)
    return [
        NaiveVisit(
            one.task, one.part, one.truck, one.aisle, one.bay_m, one.arrive, one.enter, min(one.leave, end_s)
        )
        for one in floor.visits
    ]
