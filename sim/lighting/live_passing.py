"""Trucks that drive past mouths on a live floor: who sees them, and when.

Comes in: the ways of trucks along the cross-aisles.  Goes out: motion, told as it happens.  Part of
`lighting/live_floor`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Generator
from typing import Any

import simpy

from sim.floor.layout import Layout
from sim.lighting.live_legs import VisitPlan
from sim.scenario.schema import Trucks
from sim.sensing.online import Watcher
from sim.traffic.profile import Profile
from sim.traffic.ways import FRONT, cross_lines, side_between

__all__ = ["Passers"]


class Passers:
    """Lets mouths see, by chance, the trucks that only pass.

    Parameters
    ----------
    env, layout : the simulation and its floor
    watcher : says which passing truck is seen
    begin, end : told of a zone whose sensor begins to see a truck, and ceases to
    """

    def __init__(
        self,
        env: simpy.Environment,
        layout: Layout,
        watcher: Watcher,
        begin: Callable[[int], None],
        end: Callable[[int], None],
    ) -> None:
        self.env, self.layout, self.watcher = env, layout, watcher
        self._begin, self._end = begin, end
        self._aisle_m, self._door_m = layout.aisle_m.tolist(), layout.door_m.tolist()
        self._length_m = layout.length_m.tolist()
        self._lines: list[float] = cross_lines(layout).tolist()

    def go_on(
        self, truck: int, keys: Trucks, plan: VisitPlan, onward: VisitPlan | None, end_door: int
    ) -> None:
        """Leave an aisle: along a cross-aisle to the next aisle, round the side, or home.

        Parameters
        ----------
        truck, keys : its number, and its group
        plan, onward : of the visit that ends now, and of the next one on the same move
        end_door : where the move ends
        """
        rate, line, from_m = plan.legs[-1].rate, plan.leave_line, self._aisle_m[plan.aisle]
        home = keys.speed_empty_m_per_s if plan.is_home_empty else keys.speed_laden_m_per_s
        speed = home if onward is None else onward.run_speed
        stub_m = max(0.0, self._lines[line] - self._length_m[plan.aisle])
        wait_s = plan.turn_s + Profile(0.0, stub_m, speed, rate).duration_s
        if onward is None:
            to_m, to_line, into = self._door_m[end_door], FRONT, set[int]()
        else:
            to_m, to_line, into = self._aisle_m[onward.aisle], onward.enter_line, {onward.aisle}
        if line == to_line:
            run = Profile(0.0, abs(to_m - from_m), speed, rate)
            self.drive_past(truck, line, wait_s, from_m, to_m, run, {plan.aisle} | into)
            return
        side_m = side_between(from_m, to_m, self.layout.width_m)
        run = Profile(0.0, abs(side_m - from_m), speed, rate)
        self.drive_past(truck, line, wait_s, from_m, side_m, run, {plan.aisle})
        along_m = abs(self._lines[line] - self._lines[to_line])
        wait_s += run.duration_s + Profile(0.0, along_m, speed, rate).duration_s
        run = Profile(0.0, abs(to_m - side_m), speed, rate)
        self.drive_past(truck, to_line, wait_s, side_m, to_m, run, into)

    def come_in(self, truck: int, plan: VisitPlan, door_m: float, way_s: float) -> None:
        """Come from a door: along the front, or round the side to the cross-aisle of the first visit.

        Parameters
        ----------
        truck, plan : its number, and its first visit
        door_m : the door's place across the floor [m]
        way_s : until it is at the mouth [s]
        """
        speed, rate, aisle_m = plan.run_speed, plan.run_rate, self._aisle_m[plan.aisle]
        left_s = way_s - plan.turn_s
        if plan.enter_line == FRONT:
            run = Profile(0.0, abs(door_m - aisle_m), speed, rate)
            self.drive_past(truck, FRONT, left_s - run.duration_s, door_m, aisle_m, run, {plan.aisle})
            return
        line_m = self._lines[plan.enter_line]
        side_m = side_between(door_m, aisle_m, self.layout.width_m)
        stub_m = max(0.0, line_m - self._length_m[plan.aisle])
        run = Profile(0.0, abs(aisle_m - side_m), speed, rate)
        left_s -= Profile(0.0, stub_m, speed, rate).duration_s + run.duration_s
        self.drive_past(truck, plan.enter_line, left_s, side_m, aisle_m, run, {plan.aisle})
        run = Profile(0.0, abs(door_m - side_m), speed, rate)
        left_s -= Profile(0.0, line_m, speed, rate).duration_s + run.duration_s
        self.drive_past(truck, FRONT, left_s, door_m, side_m, run, set())

    def drive_past(
        self,
        truck: int,
        line: int,
        wait_s: float,
        from_m: float,
        to_m: float,
        run: Profile,
        own: set[int],
    ) -> None:
        """Let mouths, or sensors within reach, see by chance a truck that will drive past after a while."""
        low, high = min(from_m, to_m), max(from_m, to_m)
        for aisle, mouth in enumerate(self._aisle_m):
            reach = self.layout.sensors[aisle].passing_range_m
            setback = max(0.0, self._lines[line] - self._length_m[aisle])
            half = math.sqrt(max(0.0, reach**2 - setback**2))
            near, far = max(low, mouth - half), min(high, mouth + half)
            if near >= far or aisle in own:
                continue
            begin_m, end_m = (near - low, far - low) if to_m >= from_m else (high - far, high - near)
            for zone in self._who_sees(truck, aisle, line):
                self.env.process(
                    self._glimpse(zone, wait_s + run.time_at(begin_m), wait_s + run.time_at(end_m))
                )

    def _who_sees(self, truck: int, aisle: int, line: int) -> tuple[int, ...]:
        """Ask which zones see a truck that drives past an aisle on a cross-aisle."""
        at_m = self._lines[line]
        if line != FRONT and at_m < self._length_m[aisle]:
            return self.watcher.crosses(truck, aisle, at_m)
        zone = self.watcher.passes(truck, aisle, line != FRONT)
        return () if zone is None else (zone,)

    def _glimpse(self, zone: int, begin_s: float, end_s: float) -> Generator[simpy.Event, Any, None]:
        """See a truck from and to some seconds from now."""
        yield self.env.timeout(max(0.0, begin_s))
        self._begin(zone)
        yield self.env.timeout(max(0.0, end_s - begin_s))
        self._end(zone)
