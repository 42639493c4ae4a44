"""The obvious model: trucks and lights in one SimPy event loop, so that every setting is a new simulation.

Comes in: a prepared site with one truck group and one zone an aisle.  Goes out: what each zone's light did.
The floor is that of tests/naive_floor.py; on top of it every sensor edge that a truck crosses is an event,
every pulse is an event, every timeout is a process that the next motion interrupts, and every change adds
up the books since the one before.  It is the yardstick of speed (`python -m tests.bench.bench_ages`) and,
written from the meaning of the words alone, an oracle of the program's lights (tests/bench/test_obvious.py).
"""

from __future__ import annotations

import math
import random
import time
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from typing import Any

import simpy

from sim.replication import Site, prepare_site
from sim.traffic.work import KINDS, draw_tasks
from tests.naive_floor import Floor, NaiveVisit

__all__ = ["Books", "obvious_s", "run_obvious"]

YARDSTICK_DAYS = 14.0


@dataclass
class Books:
    """What one zone's light did; energy of one luminaire [J], times [s], counts."""

    joules: float = 0.0
    low_s: float = 0.0
    lit_empty_s: float = 0.0
    dim_truck_s: float = 0.0
    shortfall_truck_s: float = 0.0
    ups: int = 0
    downs: int = 0
    false_offs: int = 0
    dim_entries: int = 0
    timetable_changes: int = 0


class Light:
    """One zone: motion, the timer as a process, the fade, the books."""

    def __init__(self, env: simpy.Environment, program: Any, standby_w: float, full_w: float) -> None:
        self.env, self.program, self.books = env, program, Books()
        self.standby_w, self.full_w = standby_w, full_w
        self.period, self.is_high, self.seen, self.last_motion = 0, False, 0, -math.inf
        self.trucks = 0
        self.level = self.target = float(program.unoccupied[0])
        self.slope, self.since = 0.0, 0.0
        self.timer: simpy.Process | None = None
        if len(program.delay_s) > 1:
            env.process(self.follow_week())

    def value(self, column: str) -> float:
        """Return a setting in force."""
        return float(getattr(self.program, column)[self.period])

    def settle(self) -> None:
        """Add up everything since the last change; the light may have reached its target in between."""
        left = self.env.now - self.since
        if self.slope:
            fading = min(left, (self.target - self.level) / self.slope)
            reached = self.level + self.slope * fading
            if fading < left:
                reached = self.target
            self.add(fading, self.level, reached)
            self.level, left = reached, left - fading
            if reached == self.target:
                self.slope = 0.0
        if left > 0.0:
            self.add(left, self.level, self.level)
        self.since = self.env.now

    def add(self, length: float, begin: float, end: float) -> None:
        """Add a straight piece of light."""
        books, occupied = self.books, self.value("occupied")
        light = 0.5 * (begin + end)
        books.joules += length * (self.standby_w + (self.full_w - self.standby_w) * light)
        if not self.is_high:
            books.low_s += length
        elif not self.trucks:
            books.lit_empty_s += length
        if light < occupied:
            books.dim_truck_s += self.trucks * length
            books.shortfall_truck_s += self.trucks * length * (occupied - light) / occupied

    def command(self, level: float) -> None:
        """Fade to a level from wherever the light is."""
        if level != self.target:
            fade = self.value("fade_up_s" if level > self.level else "fade_down_s")
            self.target, self.slope = level, (level - self.level) / fade if fade else 0.0
            if not fade:
                self.level = level

    def motion_begins(self) -> None:
        """Note that one more truck is seen moving."""
        self.settle()
        self.seen += 1
        if self.timer is not None:
            self.timer.interrupt()
            self.timer = None
        if not self.is_high:
            self.is_high = True
            self.books.ups += 1
            self.command(self.value("occupied"))

    def motion_ends(self) -> None:
        """Start the timer when nobody is seen any more."""
        self.seen -= 1
        if not self.seen:
            self.last_motion = self.env.now
            self.timer = self.env.process(self.run_timer(self.value("delay_s")))

    def run_timer(self, delay_s: float) -> Generator[simpy.Event, Any, None]:
        """Go low after the delay, unless interrupted."""
        try:
            yield self.env.timeout(delay_s)
        except simpy.Interrupt:
            return
        self.settle()
        self.timer, self.is_high = None, False
        self.books.downs += 1
        self.books.false_offs += self.trucks > 0
        self.command(self.value("unoccupied"))

    def follow_week(self) -> Generator[simpy.Event, Any, None]:
        """Take up the settings of each new period."""
        for period, border in enumerate(self.program.border[1:-1].tolist(), start=1):
            yield self.env.timeout(border - self.env.now)
            self.settle()
            self.period = period
            if self.timer is not None:
                self.timer.interrupt()
                self.timer = None
            left_s = self.value("delay_s") - (0.0 if self.seen else self.env.now - self.last_motion)
            self.is_high = left_s >= 0.0
            if self.is_high and not self.seen:
                self.timer = self.env.process(self.run_timer(left_s))
            level = self.value("occupied" if self.is_high else "unoccupied")
            self.books.timetable_changes += level != self.target
            self.command(level)

    def enters(self) -> None:
        """Note a truck that crosses the mouth, before it is seen."""
        self.settle()
        self.books.dim_entries += not self.is_high
        self.trucks += 1

    def leaves(self) -> None:
        """Note a truck that has left."""
        self.settle()
        self.trucks -= 1


def edge_times(way_m: float, speed: float, acceleration: float, at_m: list[float]) -> Iterator[float]:
    """Yield when a truck that starts and ends at rest has gone so far [s]."""
    if acceleration == 0.0:
        yield from (place / speed for place in at_m)
        return
    top = min(speed, math.sqrt(way_m * acceleration))
    ramp_m = top * top / (2.0 * acceleration)
    whole_s = 2.0 * top / acceleration + max(0.0, way_m - 2.0 * ramp_m) / top
    for place in at_m:
        if place <= ramp_m:
            yield math.sqrt(2.0 * place / acceleration)
        elif place < way_m - ramp_m:
            yield top / acceleration + (place - ramp_m) / top
        else:
            yield whole_s - math.sqrt(2.0 * max(0.0, way_m - place) / acceleration)


class LitFloor(Floor):
    """The floor with a light over every aisle."""

    def __init__(self, site: Site, replication: int, seed: int) -> None:
        scenario, layout = site.scenario, site.layout
        super().__init__(layout, scenario.trucks[0], draw_tasks(scenario, layout, replication))
        lamps = layout.luminaires[0]
        self.sensors, self.rng = layout.sensors[0], random.Random(seed)
        self.lights = [Light(self.env, program, lamps.standby_w, lamps.full_w) for program in site.programs]
        reach = self.sensors.range_m
        self.views = [
            [
                (place - reach, place + reach)
                for place, owner in zip(layout.sensor_m, layout.sensor_aisle, strict=True)
                if owner == aisle
            ]
            for aisle in range(len(layout.aisles))
        ]

    def visit(self, task: int, part: int, truck: int, legs: Any) -> Generator[simpy.Event, Any, None]:
        """Queue at the mouth, drive in, stand, drive out; the sensors look on."""
        tasks, trucks = self.tasks, self.trucks
        aisle, bay, arrive = int(tasks.aisle[task]), float(tasks.bay_m[task]), self.env.now
        speeds = (trucks.speed_empty_m_per_s, trucks.speed_laden_m_per_s)
        stand_s = float(tasks.pick_s[0, task])
        if KINDS[int(tasks.kind[task])] == "putaway":
            speeds, stand_s = speeds[::-1], float(tasks.set_s[0, task])
        light = self.lights[aisle]
        with self.aisles[aisle].request() as place:
            yield place
            enter = self.env.now
            light.enters()
            yield from self.drive(aisle, 0.0, bay, speeds[0])
            yield from self.stand(aisle, bay, stand_s)
            yield from self.drive(aisle, bay, 0.0, speeds[1])
            light.leaves()
            self.visits.append(NaiveVisit(task, part, truck, aisle, bay, arrive, enter, self.env.now))

    def drive(
        self, aisle: int, from_m: float, to_m: float, speed: float
    ) -> Generator[simpy.Event, Any, None]:
        """Drive a straight way; tell the light at every edge of a sensor's view."""
        way, light = abs(to_m - from_m), self.lights[aisle]
        edges: list[tuple[float, bool]] = []
        for low, high in self.views[aisle]:
            low, high = max(low, min(from_m, to_m)), min(high, max(from_m, to_m))
            if low < high:
                is_inward = to_m > from_m
                gone = [low - from_m, high - from_m] if is_inward else [from_m - high, from_m - low]
                begin, end = edge_times(way, speed, self.trucks.acceleration_m_per_s2, gone)
                edges += [(begin, True), (end, False)]
        start = self.env.now
        for at, is_seen in sorted(edges, key=lambda edge: edge[0]):
            yield self.env.timeout(max(0.0, start + at - self.env.now))
            if is_seen:
                light.motion_begins()
            else:
                light.motion_ends()
        (whole,) = edge_times(way, speed, self.trucks.acceleration_m_per_s2, [way])
        yield self.env.timeout(max(0.0, start + whole - self.env.now))

    def stand(self, aisle: int, bay: float, stand_s: float) -> Generator[simpy.Event, Any, None]:
        """Stand at the bay, seen by pulses only."""
        rate, light = self.sensors.still_rate_per_min / 60.0, self.lights[aisle]
        end = self.env.now + stand_s
        in_view = any(low <= bay <= high for low, high in self.views[aisle])
        while rate and in_view:
            following = self.env.now + self.rng.expovariate(rate)
            if following >= end:
                break
            yield self.env.timeout(following - self.env.now)
            light.motion_begins()
            light.motion_ends()
        yield self.env.timeout(end - self.env.now)


def run_obvious(site: Site, replication: int = 0, seed: int = 1) -> tuple[list[Books], list[NaiveVisit]]:
    """Simulate trucks and lights together.

    Parameters
    ----------
    site : one truck group with a driver on every truck, putaways and retrievals, one zone an aisle, sensors
        alike in all aisles, without latency
    replication : whose moves
    seed : of the pulses of standing trucks, which are not the program's draws

    Returns
    -------
    books of every zone, visits that ended before the run does
    """
    floor = LitFloor(site, replication, seed)
    floor.env.process(floor.bring())
    floor.env.run(until=site.scenario.duration_s)
    for light in floor.lights:
        light.settle()
    return [light.books for light in floor.lights], floor.visits


def obvious_s(site: Site) -> float:
    """Return what one setting costs the obvious model [s of process time].

    Long runs are measured on their first two weeks: its cost grows with the visits alone.
    """
    days = min(YARDSTICK_DAYS, site.scenario.days)
    part = prepare_site(site.scenario.model_copy(update={"days": days}))
    begin = time.process_time()
    run_obvious(part)
    return (time.process_time() - begin) * site.scenario.days / days
