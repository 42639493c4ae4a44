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

    def goes(self, aisle: int, from_m: float, to_m: float) -> bool:
        """Say whether a truck may drive this way inside an aisle."""
        return (to_m - from_m) * int(self.layout.direction[aisle]) >= 0.0

    def openings(self, aisle: int) -> list[tuple[float, float, float]]:
        """Return for each cross-aisle where it lies, where the aisle meets it, and the stub between [m]."""
        length = self.length_m[aisle]
        lines = [0.0, *self.layout.cross_m.tolist(), self.back_m]
        return [(line, min(line, length), max(0.0, line - length)) for line in lines]

    def from_front(self, aisle: int, bay: float, door: int, inward: bool) -> tuple[float, list[float]]:
        """Return where the shortest legal way between door and bay meets the aisle, and its runs outside."""
        at, door_m = self.aisle_m[aisle], self.door_m[door]
        best: tuple[float, float, list[float]] | None = None
        for line, place, stub in self.openings(aisle):
            mouths = {place for _, place, _ in self.openings(aisle)}
            wrong = max(mouths) if inward == (self.layout.direction[aisle] > 0) else min(mouths)
            ends = (place, bay) if inward else (bay, place)
            if not self.goes(aisle, *ends) or (self.layout.direction[aisle] and place == wrong):
                continue
            for side in (0.0, self.layout.width_m):
                runs = [abs(door_m - at)] if line == 0.0 else [abs(door_m - side), line, abs(side - at), stub]
                total = sum(runs) + abs(bay - place)
                if best is None or total < best[0] - 1e-9:
                    best = (total, place, runs)
        assert best is not None
        return best[1], best[2]

    def bay_to_bay(self, first: int, bay: float, second: int, other_bay: float):
        """Return where the shortest legal way leaves and enters the aisles, and the runs between."""
        here, there, width = self.aisle_m[first], self.aisle_m[second], self.layout.width_m
        best = None
        for line, out, stub in self.openings(first):
            for other_line, into, other_stub in self.openings(second):
                if not (self.goes(first, bay, out) and self.goes(second, into, other_bay)):
                    continue
                for side in (0.0, width):
                    runs = [stub, abs(here - there), other_stub]
                    if line != other_line:
                        runs = [stub, abs(here - side), abs(line - other_line), abs(side - there), other_stub]
                    total = sum(runs) + abs(bay - out) + abs(other_bay - into)
                    if best is None or total < best[0] - 1e-9:
                        best = (total, out, into, runs)
        assert best is not None
        return best[1:]

    def putaway(self, task: int, truck: int, door: int) -> Generator[simpy.Event, Any, int]:
        """Fetch at a door, set down in the bay, come back to that door."""
        tasks, staging = self.tasks, self.layout.staging_depth_m
        aisle, bay, dock = int(tasks.aisle[task]), float(tasks.bay_m[task]), int(tasks.door[task])
        come_m, ways = self.from_front(aisle, bay, dock, inward=True)
        home_m, home = self.from_front(aisle, bay, dock, inward=False)
        yield self.empty(abs(self.door_m[door] - self.door_m[dock]))
        yield self.env.timeout(float(tasks.pick_s[0, task]))
        yield self.laden(staging)
        yield self.laden(*ways)
        yield from self.visit(
            task,
            0,
            truck,
            [
                lambda: self.laden(abs(bay - come_m)),
                lambda: self.env.timeout(float(tasks.set_s[0, task])),
                lambda: self.empty(abs(bay - home_m)),
            ],
        )
        yield self.empty(*reversed(home))
        yield self.empty(staging)
        return dock

    def retrieve(self, task: int, truck: int, door: int) -> Generator[simpy.Event, Any, int]:
        """Fetch in the bay, set down at a door."""
        tasks, staging = self.tasks, self.layout.staging_depth_m
        aisle, bay, dock = int(tasks.aisle[task]), float(tasks.bay_m[task]), int(tasks.door[task])
        come_m, ways = self.from_front(aisle, bay, door, inward=True)
        home_m, home = self.from_front(aisle, bay, dock, inward=False)
        yield self.empty(staging)
        yield self.empty(*ways)
        yield from self.visit(
            task,
            0,
            truck,
            [
                lambda: self.empty(abs(bay - come_m)),
                lambda: self.env.timeout(float(tasks.pick_s[0, task])),
                lambda: self.laden(abs(bay - home_m)),
            ],
        )
        yield self.laden(*reversed(home))
        yield self.laden(staging)
        yield self.env.timeout(float(tasks.set_s[0, task]))
        return dock

    def replenish(self, task: int, truck: int, door: int) -> Generator[simpy.Event, Any, int]:
        """Fetch in one bay, set down in another by the shortest legal way, and home to the same door."""
        tasks, staging = self.tasks, self.layout.staging_depth_m
        first, second = int(tasks.aisle[task]), int(tasks.second_aisle[task])
        bay, other_bay = float(tasks.bay_m[task]), float(tasks.second_bay_m[task])
        pick, put = float(tasks.pick_s[0, task]), float(tasks.set_s[0, task])
        come_m, ways = self.from_front(first, bay, door, inward=True)
        home_m, home = self.from_front(second, other_bay, door, inward=False)
        yield self.empty(staging)
        yield self.empty(*ways)
        fetch = [lambda: self.empty(abs(bay - come_m)), lambda: self.env.timeout(pick)]
        set_down = [lambda: self.env.timeout(put), lambda: self.empty(abs(other_bay - home_m))]
        if first == second and self.goes(first, bay, other_bay):
            straight = [lambda: self.laden(abs(bay - other_bay))]
            yield from self.visit(task, 0, truck, fetch + straight + set_down)
        else:
            out, into, between = self.bay_to_bay(first, bay, second, other_bay)
            yield from self.visit(task, 0, truck, [*fetch, lambda: self.laden(abs(bay - out))])
            yield self.laden(*between)
            yield from self.visit(task, 1, truck, [lambda: self.laden(abs(other_bay - into)), *set_down])
        yield self.empty(*reversed(home))
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
