"""Trucks at work in SimPy: tasks handed out first come first served, queues at full aisles.

Comes in: queues of planned tasks, fleet, layout.  Goes out: a `Log` of who reached which aisle when and when
it could enter, and of who did which task.  Before: `traffic/plans`, `traffic/gates`, `traffic/pairing`,
`traffic/fleet`; after: `traffic/paths`, which turns the log into visits.  Assumptions: every task starts and
ends at a dock door; of the idle trucks the one that has waited longest goes; tasks that only some groups may
do are served in order of time; a driver finishes the task in hand before a break; a truck whose battery is
low charges before anything else.  How long a truck stays in an aisle is known when it reaches the mouth, so
an aisle that is full serves its queue by a virtual clock: exact for first come, first served.
"""

from __future__ import annotations

import math
from array import array
from bisect import bisect_right
from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass
from heapq import heapreplace
from typing import Any, Protocol

import numpy as np
import simpy

from sim.floor.layout import Layout
from sim.records import FloatColumn, IntColumn
from sim.scenario.schema import Trucks
from sim.traffic.fleet import Fleet
from sim.traffic.gates import Gates, has_rules
from sim.traffic.pairing import Pairing, WaitingTasks
from sim.traffic.plans import Plan, Task, approach_times, plan_queues
from sim.traffic.work import Tasks

__all__ = ["BOTH", "FIRST_OF_PAIR", "PARTS", "SECOND_OF_PAIR", "ChargeLog", "Host", "Log", "simulate_floor"]

PARTS = 4096
"""Parts a task can have: the aisles of a tour, and three that stand for pairs."""
BOTH, FIRST_OF_PAIR, SECOND_OF_PAIR = PARTS - 3, PARTS - 2, PARTS - 1
"""Part of a visit in which a truck does both of a pair; or the putaway, or the retrieval, of two aisles."""


@dataclass(frozen=True)
class ChargeLog:
    """Trucks at the chargers, one row per charge (n,).

    Attributes
    ----------
    truck : index in the fleet (n,)
    arrive, begin, end : at the chargers, and on one of them [s] (n,)
    """

    truck: IntColumn
    arrive: FloatColumn
    begin: FloatColumn
    end: FloatColumn


@dataclass(frozen=True)
class Log:
    """One row per visit, and per truck on its way to one at the end (n,); one per task (T,).

    Attributes
    ----------
    task : index of the task (n,)
    part : number of the task's visit, 0 for its first; or `BOTH`, `FIRST_OF_PAIR`, `SECOND_OF_PAIR` (n,)
    partner : the other task of a pair, -1 for other visits (n,)
    truck : index in the fleet (n,)
    from_door : the door at which the truck took the task (n,)
    arrive : at the mouth [s]; not before the end of the run for a truck that was on its way (n,)
    enter : into the aisle [s]; inf for a truck that was on its way (n,)
    done_by : truck that did the task, -1 where nobody began it (T,)
    begin, finish : when it was begun and done, inf where it was not by the end [s] (T,)
    waiting_tasks : tasks never begun by the end of the run
    charges : trucks at the chargers
    """

    task: IntColumn
    part: IntColumn
    partner: IntColumn
    truck: IntColumn
    from_door: IntColumn
    arrive: FloatColumn
    enter: FloatColumn
    done_by: IntColumn
    begin: FloatColumn
    finish: FloatColumn
    waiting_tasks: int
    charges: ChargeLog


class Host(Protocol):
    """Takes trucks over at the mouths of aisles, where how long a visit lasts is not known beforehand."""

    @property
    def env(self) -> simpy.Environment:
        """The simulation to run in."""

    def expect(self, row: int, truck: int, door: int, end_door: int, way_s: float) -> None:
        """Hear that a truck will be at a mouth so much later, on its way from one door to another.

        Row is `PARTS` times the task's number, and the part.
        """

    def visit(self, row: int, truck: int) -> Generator[simpy.Event, Any, None]:
        """Let a truck that is at the mouth queue, enter, work and leave."""


def simulate_floor(
    layout: Layout,
    groups: tuple[Trucks, ...],
    may_do: tuple[tuple[bool, ...], ...],
    fleet: Fleet,
    tasks: Tasks,
    end_s: float,
    change_times: Sequence[Iterator[float]] = (),
    host: Host | None = None,
) -> Log:
    """Let the fleet do the tasks until the end of the run.

    Parameters
    ----------
    layout : the floor
    groups : truck groups (G,)
    may_do : for each stream of work, which groups may do it (W, G)
    fleet : trucks and their hours (T,)
    tasks : moves in order of time (n,)
    end_s : end of the run [s]
    change_times : for each truck, its battery changes one after the other [s] (T,); only where batteries are
        changed
    host : takes over inside the aisles, and keeps the book of visits, which are then not in the log; absent:
        the virtual clock does. With a host nobody pairs

    Returns
    -------
    Log
    """
    env = simpy.Environment() if host is None else host.env
    timeout = env.timeout
    visit_row, truck_row = array("q"), array("q")
    arrive_row, enter_row = array("d"), array("d")
    log_visit, log_truck = visit_row.append, truck_row.append
    log_arrive, log_enter = arrive_row.append, enter_row.append
    partner_row = array("q")
    charge_rows: tuple[array[Any], ...] = (array("q"), array("d"), array("d"), array("d"))
    done_by, begin_at = array("q", [-1]) * len(tasks), array("d", [math.inf]) * len(tasks)
    finish_at = array("d", [math.inf]) * len(tasks)
    doors, aisles = len(layout.door_m), len(layout.aisles)
    rounds = aisles + doors  # targets from here on are no doors
    free_at: list[list[float]] = [[0.0] * (layout.capacity or 0) for _ in layout.aisles]
    gates = Gates(layout, groups) if has_rules(groups) else None
    queues = plan_queues(layout, groups, may_do, tasks)
    waiting = WaitingTasks(queues)
    heads, take_first = waiting.heads, waiting.take_first
    # where nobody pairs, tasks are only ever taken from the front
    in_order = None if any(trucks.pairing for trucks in groups) else queues.tasks
    open_queues = [
        tuple(queue for queue, able in enumerate(queues.may_do) if able[group])
        for group in range(len(groups))
    ]
    reach = [approach_times(layout, trucks) for trucks in groups]
    pairings = [
        Pairing(layout, trucks, group, tasks, queues, waiting) if trucks.pairing else None
        for group, trucks in enumerate(groups)
    ]
    chargers = [[0.0] * (trucks.chargers or 0) for trucks in groups]

    def admit(row: int, truck_and_door: int, group: int, aisle: int, arrive: float, stay: float) -> float:
        """Book the next place in an aisle, log the visit, and return how long until it ends."""
        enter = arrive
        if gates is not None:
            enter = gates.enter(aisle, group, arrive, stay)
        else:
            places = free_at[aisle]
            if places:
                if places[0] > enter:
                    enter = places[0]
                heapreplace(places, enter + stay)
        log_visit(row)
        log_truck(truck_and_door)
        log_arrive(arrive)
        log_enter(enter)
        return enter - arrive + stay

    def log_late(row: int, truck_and_door: int, arrive: float) -> None:
        """Log a truck that reaches a mouth only when the run is over: it is on its way at the end."""
        log_visit(row)
        log_truck(truck_and_door)
        log_arrive(arrive)
        log_enter(math.inf)

    def work_live(truck: int, door: int, task: Task, plan: Plan) -> Generator[simpy.Event, Any, None]:
        """Do a task's visits with the host, from now until the truck leaves the last aisle."""
        assert host is not None
        time, number, target, _, second_aisle, end_door, _ = task
        if time > env.now:
            yield timeout(time - env.now)
        ways = [reach[fleet.group[truck]][door][target] + plan[0]]
        ways += [plan[2]] if second_aisle >= 0 else []
        ways += [part[0] for part in plan[5]]
        for part, way_s in enumerate(ways):
            host.expect(PARTS * number + part, truck, door, door if end_door < 0 else end_door, way_s)
            yield timeout(way_s)
            yield from host.visit(PARTS * number + part, truck)

    def charge(truck: int, now: float, left_s: float) -> float:
        """Book a charger, log the charge, and return how long until the battery is full."""
        trucks = groups[fleet.group[truck]]
        if trucks.change_mean_s is not None:
            length = next(change_times[truck])
        else:
            assert trucks.battery_h is not None
            length = (trucks.charge_h or 0.0) * (3600.0 - left_s / trucks.battery_h)
        begin, places = now, chargers[fleet.group[truck]]
        if places:
            begin = max(now, places[0])
            heapreplace(places, begin + length)
        for column, value in zip(charge_rows, (truck, now, begin, begin + length), strict=True):
            column.append(value)
        return begin + length - now

    def drive(truck: int) -> Generator[simpy.Event, Any, None]:
        """One truck: take the next task while on duty, do it, come free at a door.

        A free truck reserves the earliest task that nobody has, even one that has yet to arise, and waits
        for it: who comes free first goes first, and waiting for work costs no event of its own.
        The clock is kept here as well: after `timeout(d)` it stands at exactly now + d.
        """
        group, duty = fleet.group[truck], fleet.duty[truck]
        to_target, works, pairing = reach[group], open_queues[group], pairings[group]
        full_s = (groups[group].battery_h or math.inf) * 3600.0
        low_s, left_s = groups[group].charge_at * full_s if full_s < math.inf else -1.0, full_s
        door = truck * doors // len(fleet.names)
        now, off_at = 0.0, -math.inf
        while True:
            if left_s <= low_s:
                way = charge(truck, now, left_s)
                yield timeout(way)
                now += way
                left_s = full_s
            if now >= off_at:
                place = bisect_right(duty, now)
                if place % 2 == 0:
                    if place == len(duty):
                        return
                    yield timeout(duty[place] - now)
                    now = env.now
                    continue
                off_at = duty[place]
            head, queue = None, -1
            for open_queue in works:
                first = heads[open_queue]
                if first is not None and (head is None or first[0] < head[0]):
                    head, queue = first, open_queue
            if head is None:
                return
            time, number, target, aisle, second_aisle, end_door, plans = head
            if time >= off_at and bisect_right(duty, time) % 2 == 0:
                # off duty when it arises: leave it to others and come back with the next duty
                place = bisect_right(duty, now)
                if place + 1 == len(duty):
                    return
                yield timeout(duty[place + 1] - now)
                now = env.now
                continue
            if in_order is None:
                take_first(queue)
            else:
                heads[queue] = next(in_order[queue], None)
            plan = plans[group]
            assert plan is not None, "a queue was opened to a group that may not do its tasks"
            to_mouth, stay, between, second_stay, home, tail = plan
            who = truck * doors + door
            begun = time if time > now else now
            done_by[number], begin_at[number] = truck, begun
            if host is not None:
                yield from work_live(truck, door, head, plan)
                now = env.now
                if end_door >= 0:
                    way, door = home, end_door
                else:
                    way = to_target[door][-1 - end_door] + home
                finish_at[number] = now + way
                yield timeout(way)
                now += way
                left_s -= now - begun
                continue
            way = (time - now if time > now else 0.0) + to_target[door][target] + to_mouth
            if now + way >= end_s:
                log_late(PARTS * number, who, now + way)
                return
            yield timeout(way)
            now += way
            if (
                pairing is not None
                and aisles <= target < rounds
                and (found := pairing.take_partner(aisle, now)) is not None
            ):
                fetch, other_aisle, door = found[1], found[3], found[5]
                done_by[fetch], begin_at[fetch] = truck, now
                times = pairing.times(number, fetch)
                partner_row.append(fetch)
                part = BOTH if times.is_one_visit else FIRST_OF_PAIR
                out = admit(PARTS * number + part, who, group, aisle, now, times.first_stay)
                finish_at[number] = now + (out - times.first_stay) + times.set_down
                if part == FIRST_OF_PAIR:
                    row = PARTS * fetch + SECOND_OF_PAIR
                    if now + (out + times.between) >= end_s:
                        log_late(row, who, now + (out + times.between))
                        partner_row.append(number)
                        return
                    yield timeout(out + times.between)
                    now += out + times.between
                    partner_row.append(number)
                    out = admit(row, who, group, other_aisle, now, times.second_stay)
                way = out + times.home
                number = fetch
            else:
                out = admit(PARTS * number, who, group, aisle, now, stay)
                if second_aisle >= 0:
                    if now + (out + between) >= end_s:
                        log_late(PARTS * number + 1, who, now + (out + between))
                        return
                    yield timeout(out + between)
                    now += out + between
                    out = admit(PARTS * number + 1, who, group, second_aisle, now, second_stay)
                elif tail:
                    for part, (between, next_aisle, next_stay) in enumerate(tail, start=1):
                        if now + (out + between) >= end_s:
                            log_late(PARTS * number + part, who, now + (out + between))
                            return
                        yield timeout(out + between)
                        now += out + between
                        out = admit(PARTS * number + part, who, group, next_aisle, now, next_stay)
                if end_door >= 0:
                    way = out + home
                    door = end_door
                else:
                    way = out + to_target[door][-1 - end_door] + home
            finish_at[number] = now + way
            yield timeout(way)
            now += way
            left_s -= now - begun

    for truck in range(len(fleet.names)):
        env.process(drive(truck))
    env.run(until=end_s)
    visit, who = np.frombuffer(visit_row, dtype=np.int64), np.frombuffer(truck_row, dtype=np.int64)
    finish = _column(finish_at)
    return Log(
        task=visit // PARTS,
        part=visit % PARTS,
        partner=_partners(visit % PARTS, partner_row),
        truck=who // doors,
        from_door=who % doors,
        arrive=_column(arrive_row),
        enter=_column(enter_row),
        done_by=np.frombuffer(done_by, dtype=np.int64),
        begin=_column(begin_at),
        finish=np.where(finish <= end_s, finish, np.inf),
        waiting_tasks=waiting.count_left(),
        charges=ChargeLog(np.frombuffer(charge_rows[0], dtype=np.int64), *map(_column, charge_rows[1:])),
    )


def _column(values: array[Any]) -> FloatColumn:
    """Look at logged times without a copy."""
    return np.frombuffer(values, dtype=np.float64)


def _partners(part: IntColumn, partner_row: array[Any]) -> IntColumn:
    """Spread the partners of pairs over all visits; without any they take no memory."""
    if not len(partner_row):
        return np.broadcast_to(np.int64(-1), part.shape)
    partner = np.full(len(part), -1)
    partner[part >= BOTH] = np.frombuffer(partner_row, dtype=np.int64)
    return partner
