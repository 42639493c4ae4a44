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
        self._back_m = max(self._length_m)

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
        last, is_back, from_m = plan.legs[-1], plan.leaves_back, self._aisle_m[plan.aisle]
        stub_m = self._back_m - self._length_m[plan.aisle] if is_back else 0.0
        home = keys.speed_empty_m_per_s if plan.is_home_empty else keys.speed_laden_m_per_s
        if onward is not None:
            speed, to_m, own = onward.run_speed, self._aisle_m[onward.aisle], {plan.aisle, onward.aisle}
        elif is_back:
            is_left = from_m <= 0.5 * self.layout.width_m
            speed, to_m, own = home, 0.0 if is_left else self.layout.width_m, {plan.aisle}
        else:
            speed, to_m, own = home, self._door_m[end_door], {plan.aisle}
        wait_s = plan.turn_s + Profile(0.0, stub_m, speed, last.rate).duration_s
        run = Profile(0.0, abs(to_m - from_m), speed, last.rate)
        self.drive_past(truck, is_back, wait_s, from_m, to_m, run, own)
        if is_back and onward is None:
            wait_s += run.duration_s + Profile(0.0, self._back_m, speed, last.rate).duration_s
            door_m = self._door_m[end_door]
            front = Profile(0.0, abs(to_m - door_m), speed, last.rate)
            self.drive_past(truck, False, wait_s, to_m, door_m, front, set())

    def drive_past(
        self,
        truck: int,
        is_back: bool,
        wait_s: float,
        from_m: float,
        to_m: float,
        run: Profile,
        own: set[int],
    ) -> None:
        """Let mouths see, by chance, a truck that will drive past them after a while."""
        low, high = min(from_m, to_m), max(from_m, to_m)
        for aisle, mouth in enumerate(self._aisle_m):
            reach = self.layout.sensors[aisle].passing_range_m
            setback = self._back_m - self._length_m[aisle] if is_back else 0.0
            half = math.sqrt(max(0.0, reach**2 - setback**2))
            near, far = max(low, mouth - half), min(high, mouth + half)
            if near >= far or aisle in own:
                continue
            zone = self.watcher.passes(truck, aisle, is_back)
            if zone is None:
                continue
            begin_m, end_m = (near - low, far - low) if to_m >= from_m else (high - far, high - near)
            self.env.process(self._glimpse(zone, wait_s + run.time_at(begin_m), wait_s + run.time_at(end_m)))

    def _glimpse(self, zone: int, begin_s: float, end_s: float) -> Generator[simpy.Event, Any, None]:
        """See a truck from and to some seconds from now."""
        yield self.env.timeout(max(0.0, begin_s))
        self._begin(zone)
        yield self.env.timeout(max(0.0, end_s - begin_s))
        self._end(zone)
