"""Trucks whose drivers react to the light: the floor and the lights in one simulation.

Comes in: the site as `traffic/world` gets it, programs, a watcher and a policy.  Goes out: `LiveRun`: visits,
stays, detections, every zone's commands and light, and what the drivers lost.  Before: `traffic`, `sensing`,
`lighting/live`; after: `outcome`.  Outside the aisles `traffic/world` goes on as always.

What a driver does.  A truck that has a place in the aisle stops at the mouth until the first zone's light is
at `wait_for_light` (of full), at most `wait_at_most_s`.  In a zone whose light is below the occupied level in
force it drives at `dim_speed_factor` times its speed.  It looks as it sets off, as it crosses into another
zone, and, once slow, when the light comes up to the occupied level that was in force at its last look: then
it speeds up; in a zone that is darker it brakes on the cut.  A light that goes down around a truck under way
is noticed at the next look.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import simpy

from sim.floor.layout import Layout
from sim.lighting.live import Policy
from sim.lighting.live_book import VisitBook
from sim.lighting.live_gates import LiveGates
from sim.lighting.live_legs import Leg, Plans, VisitPlan
from sim.lighting.live_motion import make_zones
from sim.lighting.live_passing import Passers
from sim.lighting.timetable import Program
from sim.scenario.schema import Trucks
from sim.sensing.online import BLIND, Watcher
from sim.traffic.fleet import Fleet
from sim.traffic.profile import Profile
from sim.traffic.ways import FRONT, cross_lines, side_between
from sim.traffic.world import PARTS

__all__ = ["DriverLoss", "LiveFloor"]

BEGIN, END, CROSS = range(3)
MOMENT_S = 1e-6
"""A shorter approach is seen as a pulse."""
Steps = Generator[simpy.Event, Any, None]


@dataclass
class DriverLoss:
    """What drivers lost to the light, against the same moves at full speed.

    Attributes
    ----------
    slowed_s : longer under way in aisles [truck-s]
    waited_s : stopped at mouths for light, on top of the queue for a place [truck-s]
    waits, gave_up : such stops, and those that ended without the light
    zone_lost_s : slowed and waited together, by the zone in which it was lost [truck-s] (Z,)
    zone_waits, zone_gave_up : such stops by the zone that was waited for (Z,)
    """

    zone_lost_s: list[float]
    zone_waits: list[int]
    zone_gave_up: list[int]
    slowed_s: float = 0.0
    waited_s: float = 0.0
    waits: int = 0
    gave_up: int = 0


@dataclass
class _Here:
    """One truck in one aisle while it is there."""

    truck: int
    aisle: int
    visit: int
    zone: int
    keys: Trucks
    watcher: Watcher


@dataclass
class _Coming:
    """One truck on its way to a mouth; `zone` is the one whose sensor will see it or sees it come."""

    group: int
    row: int
    plan: VisitPlan
    end_door: int
    run_in: float
    run_before: float
    zone: int | None = None
    is_in_view: bool = False


class LiveFloor:
    """Takes trucks over at the mouths (the `Host` of `traffic/world`).

    Parameters
    ----------
    layout, groups, fleet, plans : the floor, the trucks and what they do inside each aisle
    programs : settings in force, by place (P,)
    hearers : for each zone, the zones in which its motion counts (Z,)
    failed : zones without a working sensor, which stay high
    watcher : what sees the trucks
    policy : told of every task that a truck sets off for
    chance : the next uniform number of a truck's own stream
    """

    def __init__(
        self,
        layout: Layout,
        groups: tuple[Trucks, ...],
        fleet: Fleet,
        plans: Plans,
        programs: Sequence[Program],
        hearers: Sequence[Sequence[int]],
        failed: Sequence[int],
        watcher: Watcher,
        policy: Policy,
        chance: Sequence[Callable[[], float]],
    ) -> None:
        self.env = env = simpy.Environment()
        self.zones = zones = make_zones(env, layout.zones, layout.zone_place.tolist(), programs, policy)
        self.layout, self.fleet, self.plans = layout, fleet, plans
        self.watcher, self.policy = watcher, policy
        count = len(zones)
        self.book, self.loss = VisitBook(), DriverLoss([0.0] * count, [0] * count, [0] * count)
        self._groups, self._chance = groups, chance
        for number in failed:
            zones[number].motion_began()
        self._hearers = [[zones[other] for other in heard] for heard in hearers]
        self._gates = LiveGates(env, len(layout.aisles), layout.capacity, groups)
        self._coming: dict[int, _Coming] = {}
        self._aisle_m, self._door_m = layout.aisle_m.tolist(), layout.door_m.tolist()
        self._length_m = layout.length_m.tolist()
        self._lines: list[float] = cross_lines(layout).tolist()
        self._passers = Passers(env, layout, watcher, self._begin, self._end)
        cut = layout.zones_per_aisle
        self._cuts = [[length * k / cut for k in range(1, cut)] for length in self._length_m]
        self._has_passers = any(
            keys.passing_trigger > 0.0 and keys.passing_range_m > 0.0 for keys in layout.sensors
        )

    def _mouth(self, plan: VisitPlan) -> bool | None:
        """Say whether a visit begins at the back mouth, or at the front one; None for between them."""
        if plan.enter_line == FRONT or plan.enters_back:
            return plan.enters_back
        return None

    def _first_zone(self, plan: VisitPlan) -> int:
        """Return the zone in which a visit begins; one on a cut begins in the farther zone."""
        zones = self.layout.zones_of(plan.aisle)
        if self._mouth(plan) is not None:
            return zones[-1 if plan.enters_back else 0]
        return zones[bisect_right(self._cuts[plan.aisle], plan.legs[0].from_m)]

    # ---- one visit

    def expect(self, row: int, truck: int, door: int, end_door: int, way_s: float) -> None:
        """Hear that a truck is on its way to a mouth: it may be seen before it is there."""
        group = self.fleet.group[truck]
        plan = self.plans.of(group, row)
        self.policy.ordered([self.zones[zone] for zone in self.layout.zones_of(plan.aisle)], truck)
        run_in, run_before = plan.run_in_m, plan.run_before_m
        is_first = row % PARTS == 0
        from_m = self._door_m[end_door if plan.is_from_end_door else door]
        if is_first:
            run_in, run_before = self._runs_from_door(plan, from_m)
        self._coming[truck] = coming = _Coming(group, row, plan, end_door, run_in, run_before)
        if not self._groups[group].seen:
            return
        if self._has_passers and is_first:
            self._passers.come_in(truck, plan, from_m, way_s)
        seen = self.watcher.approach(truck, plan.aisle, self._mouth(plan))
        if seen is not None:
            coming.zone, outside = seen
            # the runs end at rest, so from a point to the mouth is as long as from rest over that way
            in_view = plan.turn_s + Profile(0.0, run_in, plan.run_speed, plan.run_rate).time_at(outside)
            if outside > run_in:
                earlier = Profile(0.0, run_before, plan.run_speed, plan.run_rate)
                in_view += earlier.time_at(outside - run_in)
            if in_view > MOMENT_S:
                self.env.process(self._look_out(coming, max(0.0, way_s - in_view)))

    def _runs_from_door(self, plan: VisitPlan, door_m: float) -> tuple[float, float]:
        """Return the last run from a door to the mouth, and the one before it [m]."""
        layout, at_m = self.layout, self._aisle_m[plan.aisle]
        if plan.enter_line == FRONT:
            across = abs(door_m - at_m)
            return (across, layout.staging_depth_m) if across > 0.0 else (layout.staging_depth_m, 0.0)
        across = abs(side_between(door_m, at_m, layout.width_m) - at_m)
        line_m = self._lines[plan.enter_line]
        stub = max(0.0, line_m - self._length_m[plan.aisle])
        return (stub, across) if stub > 0.0 else (across, line_m)

    def _look_out(self, coming: _Coming, wait_s: float) -> Steps:
        """See a truck that comes, from its last metres outside on."""
        yield self.env.timeout(wait_s)
        assert coming.zone is not None
        self._begin(coming.zone)
        coming.is_in_view = True

    def visit(self, row: int, truck: int) -> Steps:
        """Queue at the mouth, wait for light, enter, work, leave."""
        env, coming = self.env, self._coming.pop(truck)
        group, plan = coming.group, coming.plan
        keys, aisle = self._groups[group], plan.aisle
        watcher = self.watcher if keys.seen else BLIND
        first = self._first_zone(plan)
        arrive = env.now
        if coming.is_in_view:
            assert coming.zone is not None
            self._end(coming.zone)
        elif coming.zone is not None:
            self._pulse((coming.zone,))
        place = self._gates.request(aisle, group)
        if place is not None:
            yield from self._wait(watcher, truck, plan, place, math.inf)
        if keys.wait_for_light is not None:
            yield from self._wait_for_light(watcher, truck, plan, first, keys)
        number = self.book.enter(truck, plan, first, arrive, env.now, coming.run_in, coming.run_before)
        here = _Here(truck, aisle, number, first, keys, watcher)
        for index, leg in enumerate(plan.legs):
            yield from self._drive(here, leg, index == 0, index == len(plan.legs) - 1)
            if leg.stand_s > 0.0:
                yield from self._stand(here, leg)
        self.book.leave(number, env.now)
        self._gates.release(aisle, group)
        if self._has_passers and keys.seen:
            follows = self.plans.has(group, row + 1)
            onward = self.plans.of(group, row + 1) if follows else None
            self._passers.go_on(truck, keys, plan, onward, coming.end_door)

    def _wait(self, watcher: Watcher, truck: int, plan: VisitPlan, event: simpy.Event, until: float) -> Steps:
        """Stand at the mouth until an event or a time, seen by pulses."""
        env = self.env
        zones, rate = watcher.wait(truck, plan.aisle, self._mouth(plan))
        while not event.triggered and env.now < until:
            pulse_at = env.now + self._gap(truck, rate) if zones and rate > 0.0 else math.inf
            rings_at = min(pulse_at, until)
            if rings_at == math.inf:
                yield event
                return
            yield event | env.timeout(rings_at - env.now)
            if not event.triggered and pulse_at < until:
                self._pulse(zones)

    def _wait_for_light(
        self, watcher: Watcher, truck: int, plan: VisitPlan, number: int, keys: Trucks
    ) -> Steps:
        """Stop at the mouth for the light of a zone, not for ever."""
        wanted, zone = keys.wait_for_light, self.zones[number]
        assert wanted is not None
        if zone.level() >= wanted:
            return
        begun, light = self.env.now, zone.reaches(wanted)
        yield from self._wait(watcher, truck, plan, light, begun + keys.wait_at_most_s)
        self.loss.waits += 1
        self.loss.zone_waits[number] += 1
        self.loss.waited_s += self.env.now - begun
        self.loss.zone_lost_s[number] += self.env.now - begun
        if not light.triggered:
            zone.forget(light)
            self.loss.gave_up += 1
            self.loss.zone_gave_up[number] += 1

    # ---- inside

    def _drive(self, here: _Here, leg: Leg, is_first: bool, is_last: bool) -> Steps:
        """Make one run, from rest to rest, slow where it is dim."""
        env, timeout = self.env, self.env.timeout
        length = abs(leg.to_m - leg.from_m)
        knots = self._knots(here, leg, length, is_first, is_last)
        factor = here.keys.dim_speed_factor
        reacts = factor is not None and factor < 1.0
        is_slow = reacts and self.zones[here.zone].is_dim()
        limit = leg.speed * factor if is_slow and factor is not None else leg.speed
        begun, base, run = env.now, 0.0, Profile(0.0, length, limit, leg.rate)
        start, tracks = begun, [(begun, 0.0)]
        stretches = [(begun, 0.0, here.zone)]
        number = self.book.begin_run(here.visit, leg, limit, begun)
        light = self._light_of(here) if is_slow else None
        for at_m, deed, zone in knots:
            while (wait := begun + run.time_at(at_m - base) - env.now) > 0.0:
                if light is None:
                    yield timeout(wait)
                    break
                ring = timeout(wait)
                yield light | ring
                if ring.processed:
                    break
                is_slow = self.zones[here.zone].is_dim()
                light = self._light_of(here) if is_slow else None
                if not is_slow:
                    done, speed = run.state_at(env.now - begun)
                    begun, base = env.now, base + done
                    tracks.append((begun, base))
                    run = Profile(speed, length - base, leg.speed, leg.rate)
            if deed == BEGIN:
                self._begin(zone)
            elif deed == END:
                self._end(zone)
            elif deed == CROSS:
                self.book.cross(here.visit, zone, env.now)
                if light is not None:
                    self.zones[here.zone].forget(light)
                here.zone = zone
                stretches.append((env.now, at_m, zone))
                if reacts and at_m < length:
                    was_slow, is_slow = is_slow, self.zones[zone].is_dim()
                    light = self._light_of(here) if is_slow else None
                    if is_slow != was_slow:
                        _, speed = run.state_at(env.now - begun)
                        begun, base = env.now, at_m
                        tracks.append((begun, base))
                        limit = leg.speed * factor if is_slow and factor is not None else leg.speed
                        run = Profile(speed, length - base, limit, leg.rate)
        if light is not None:
            self.zones[here.zone].forget(light)
        self.book.end_run(number, leg, tracks, env.now)
        if is_slow or len(tracks) > 1:
            full = Profile(0.0, length, leg.speed, leg.rate)
            self.loss.slowed_s += max(0.0, env.now - start - full.duration_s)
            for (since, from_m, zone), (until, to_m, _) in pairwise([*stretches, (env.now, length, -1)]):
                longer_s = until - since - (full.time_at(to_m) - full.time_at(from_m))
                self.loss.zone_lost_s[zone] += longer_s

    def _knots(
        self, here: _Here, leg: Leg, length: float, is_first: bool, is_last: bool
    ) -> list[tuple[float, int, int]]:
        """Return where along a run something happens, in order: what is seen, cuts, the end."""
        stretches = here.watcher.run(
            here.truck, here.aisle, leg.from_m, leg.to_m, is_first=is_first, is_last=is_last
        )
        knots = [(begin_m, BEGIN, zone) for zone, begin_m, _ in stretches]
        knots += [(min(end_m, length), END, zone) for zone, _, end_m in stretches]
        zones = self.layout.zones_of(here.aisle)
        for number, cut_m in enumerate(self._cuts[here.aisle]):
            if leg.from_m < cut_m <= leg.to_m:
                knots.append((cut_m - leg.from_m, CROSS, zones[number + 1]))
            elif leg.to_m < cut_m <= leg.from_m:
                knots.append((leg.from_m - cut_m, CROSS, zones[number]))
        knots.sort(key=lambda knot: (knot[0], knot[1] != CROSS))
        knots.append((length, -1, -1))
        return knots

    def _light_of(self, here: _Here) -> simpy.Event:
        """Return the event for which a slow driver waits."""
        zone = self.zones[here.zone]
        return zone.reaches(zone.occupied_level())

    def _stand(self, here: _Here, leg: Leg) -> Steps:
        """Stand at a bay, seen by pulses."""
        timeout = self.env.timeout
        zones, rate = here.watcher.stand(here.truck, here.aisle, leg.to_m)
        left = leg.stand_s
        if zones and rate > 0.0:
            while (gap := self._gap(here.truck, rate)) < left:
                yield timeout(gap)
                self._pulse(zones)
                left -= gap
        yield timeout(left)

    # ---- what is seen

    def _gap(self, truck: int, rate: float) -> float:
        """Draw the time to the next pulse of a standing truck [s]."""
        return -math.log1p(-self._chance[truck]()) / rate

    def _begin(self, zone: int) -> None:
        for heard in self._hearers[zone]:
            heard.motion_began()
        self.book.began(zone, self.env.now)

    def _end(self, zone: int) -> None:
        for heard in self._hearers[zone]:
            heard.motion_ended()
        self.book.ended(zone, self.env.now)

    def _pulse(self, zones: Sequence[int]) -> None:
        for zone in zones:
            self._begin(zone)
            self._end(zone)
