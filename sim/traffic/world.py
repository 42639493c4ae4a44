"""Trucks at work in SimPy: tasks handed out first come first served, queues at full aisles.

Comes in: tasks, fleet, layout.  Goes out: a `Log` of who reached which aisle when and when it could
enter.  Before: `traffic/work` and `traffic/fleet`; after: `traffic/paths`, which turns the log into
visits.  Assumptions: every task starts and ends at a dock door (single command; the truck that did it
is then free there); of the idle trucks the one that has waited longest goes; tasks that only some
groups may do are served in order of time; a driver finishes the task in hand before a break.  How long
a truck stays in an aisle is known when it reaches the mouth, so an aisle that is full serves its queue
by a virtual clock: exact for first come, first served.
"""

from __future__ import annotations

import math
from array import array
from bisect import bisect_right
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from heapq import heapreplace
from itertools import chain
from typing import Any

import numpy as np
import simpy

from sim.floor.layout import Layout
from sim.records import FloatColumn, IntColumn
from sim.scenario.schema import Trucks
from sim.traffic.fleet import Fleet
from sim.traffic.kinematics import travel_time
from sim.traffic.work import KINDS, Tasks

__all__ = ["Log", "Route", "replenish_route", "simulate_floor"]

BLOCK = 8192
Rows = slice | IntColumn
PUTAWAY, RETRIEVE, REPLENISH = range(len(KINDS))


@dataclass(frozen=True)
class Log:
    """One row per visit, in order of arrival at the mouth (n,).

    Attributes
    ----------
    task : index of the task (n,)
    part : 0, or 1 for the second aisle of a replenishment (n,)
    truck : index in the fleet (n,)
    from_door : the door at which the truck took the task (n,)
    arrive : at the mouth [s] (n,)
    enter : into the aisle [s] (n,)
    waiting_tasks : tasks never begun by the end of the run
    """

    task: IntColumn
    part: IntColumn
    truck: IntColumn
    from_door: IntColumn
    arrive: FloatColumn
    enter: FloatColumn
    waiting_tasks: int


@dataclass(frozen=True)
class Route:
    """How one truck group does the replenishments among some tasks, rest to rest (n,).

    Attributes
    ----------
    by_back : whether it goes from aisle to aisle behind the racks
    is_same_aisle : both bays lie in one aisle: one visit
    first_stay, second_stay : time inside either aisle [s]; the second is 0 in the same aisle
    between : from mouth to mouth [s]
    """

    by_back: np.ndarray[Any, np.dtype[np.bool_]]
    is_same_aisle: np.ndarray[Any, np.dtype[np.bool_]]
    first_stay: FloatColumn
    second_stay: FloatColumn
    between: FloatColumn


def replenish_route(layout: Layout, trucks: Trucks, group: int, tasks: Tasks, rows: Rows) -> Route:
    """Route rack-to-rack moves by the shorter of the front and the back cross-aisle.

    The truck comes in and goes home by the front.
    """
    empty, laden, ramp = trucks.speed_empty_m_per_s, trucks.speed_laden_m_per_s, trucks.acceleration_m_per_s2
    first, second = tasks.aisle[rows], tasks.second_aisle[rows]
    bay, second_bay = tasks.bay_m[rows], tasks.second_bay_m[rows]
    across = np.abs(layout.aisle_m[first] - layout.aisle_m[second])
    back_m = layout.length_m.max()
    by_back = (back_m - bay) + (back_m - second_bay) < bay + second_bay
    same = first == second
    stub = np.where(by_back, back_m - layout.length_m[first], 0.0)
    second_stub = np.where(by_back, back_m - layout.length_m[second], 0.0)
    out_m = np.where(by_back, layout.length_m[first] - bay, bay)
    in_m = np.where(by_back, layout.length_m[second] - second_bay, second_bay)
    pick, put = tasks.pick_s[group, rows], tasks.set_s[group, rows]
    come_in = travel_time(bay, empty, ramp) + pick
    go_home = put + travel_time(second_bay, empty, ramp)
    inside = travel_time(np.abs(bay - second_bay), laden, ramp)
    between = sum(travel_time(length, laden, ramp) for length in (stub, across, second_stub))
    return Route(
        by_back=by_back & ~same,
        is_same_aisle=same,
        first_stay=come_in + np.where(same, inside + go_home, travel_time(out_m, laden, ramp)),
        second_stay=np.where(same, 0.0, travel_time(in_m, laden, ramp) + go_home),
        between=np.where(same, 0.0, between),
    )


def _legs(layout: Layout, trucks: Trucks, group: int, tasks: Tasks, rows: Rows) -> list[list[float]]:
    """Plan tasks for one group: from the target reached first to the mouth, stays, ways between and home.

    Returns columns: to_mouth, stay, between (0: one visit), second_stay, home [s].
    """
    empty, laden, ramp = trucks.speed_empty_m_per_s, trucks.speed_laden_m_per_s, trucks.acceleration_m_per_s2
    kind, aisle, bay = tasks.kind[rows], tasks.aisle[rows], tasks.bay_m[rows]
    pick, put = tasks.pick_s[group, rows], tasks.set_s[group, rows]
    is_put, is_move = kind == PUTAWAY, kind == REPLENISH
    door = np.where(is_move, 0, tasks.door[rows])
    across = np.abs(layout.door_m[door] - layout.aisle_m[aisle])
    staging = {speed: float(travel_time(layout.staging_depth_m, speed, ramp)) for speed in (empty, laden)}
    to_mouth = np.where(is_put, pick + staging[laden] + travel_time(across, laden, ramp), staging[empty])
    stay = travel_time(bay, empty, ramp) + np.where(is_put, put, pick) + travel_time(bay, laden, ramp)
    home = np.where(
        is_put,
        travel_time(across, empty, ramp) + staging[empty],
        travel_time(across, laden, ramp) + staging[laden] + put,
    )
    between, second_stay = np.zeros(len(kind)), np.zeros(len(kind))
    if is_move.any():
        route = replenish_route(layout, trucks, group, tasks, rows)
        stay = np.where(is_move, route.first_stay, stay)
        between = np.where(is_move, route.between, 0.0)
        second_stay = np.where(is_move, route.second_stay, 0.0)
        home = np.where(is_move, staging[empty], home)
    return [column.tolist() for column in (to_mouth, stay, between, second_stay, home)]


Plan = tuple[float, float, float, float, float]
"""to_mouth, stay, between, second_stay, home [s]"""
Task = tuple[float, int, int, int, int, int, list[Plan]]
"""time, index, first target, aisle, second aisle (-1: none), end door (-1: where it began), plan by group"""


def _stream_tasks(layout: Layout, groups: tuple[Trucks, ...], tasks: Tasks, work: int) -> Iterator[Task]:
    """Plan one stream's tasks block by block, so that a year of them never lies in memory as objects.

    The first target is an aisle, or (counted behind the aisles) the door of a putaway.
    """
    aisles = len(layout.aisles)
    every = np.flatnonzero(tasks.work == work)
    for begin in range(0, len(every), BLOCK):
        rows = every[begin : begin + BLOCK]
        target = np.where(tasks.kind[rows] == PUTAWAY, aisles + tasks.door[rows], tasks.aisle[rows])
        second = np.where(tasks.second_aisle[rows] == tasks.aisle[rows], -1, tasks.second_aisle[rows])
        plans = [
            zip(*_legs(layout, trucks, group, tasks, rows), strict=True)
            for group, trucks in enumerate(groups)
        ]
        yield from zip(
            tasks.time[rows].tolist(),
            rows.tolist(),
            target.tolist(),
            tasks.aisle[rows].tolist(),
            second.tolist(),
            tasks.door[rows].tolist(),
            map(list, zip(*plans, strict=True)),
            strict=True,
        )


def _approach_times(layout: Layout, trucks: Trucks) -> list[list[float]]:
    """Empty travel from each door to each aisle's line, then to each door, without staging (D, A + D)."""
    targets = np.concatenate([layout.aisle_m, layout.door_m])
    times = travel_time(
        np.abs(layout.door_m[:, None] - targets[None, :]),
        trucks.speed_empty_m_per_s,
        trucks.acceleration_m_per_s2,
    )
    return [list(map(float, row)) for row in times]


def simulate_floor(
    layout: Layout,
    groups: tuple[Trucks, ...],
    may_do: tuple[tuple[bool, ...], ...],
    fleet: Fleet,
    tasks: Tasks,
    end_s: float,
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

    Returns
    -------
    Log
    """
    env = simpy.Environment()
    timeout = env.timeout
    visit_row, truck_row = array("q"), array("q")
    arrive_row, enter_row = array("d"), array("d")
    log_visit, log_truck = visit_row.append, truck_row.append
    log_arrive, log_enter = arrive_row.append, enter_row.append
    doors = len(layout.door_m)
    free_at: list[list[float]] = [[0.0] * (layout.capacity or 0) for _ in layout.aisles]
    streams = [_stream_tasks(layout, groups, tasks, work) for work in range(len(may_do))]
    heads = [next(stream, None) for stream in streams]
    open_work = [
        tuple(work for work, allowed in enumerate(may_do) if allowed[group]) for group in range(len(groups))
    ]
    reach = [_approach_times(layout, trucks) for trucks in groups]

    def admit(row: int, truck_and_door: int, aisle: int, arrive: float, stay: float) -> float:
        """Book the next place in an aisle, log the visit, and return how long until it ends."""
        enter = arrive
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

    def drive(truck: int) -> Generator[simpy.Event, Any, None]:
        """One truck: take the next task while on duty, do it, come free at a door.

        A free truck reserves the earliest task that nobody has, even one that has yet to arise, and waits
        for it: who comes free first goes first, and waiting for work costs no event of its own.
        The clock is kept here as well: after `timeout(d)` it stands at exactly now + d.
        """
        group, duty = fleet.group[truck], fleet.duty[truck]
        to_target, works = reach[group], open_work[group]
        door = truck * doors // len(fleet.names)
        now, off_at = 0.0, -math.inf
        while True:
            if now >= off_at:
                place = bisect_right(duty, now)
                if place % 2 == 0:
                    if place == len(duty):
                        return
                    yield timeout(duty[place] - now)
                    now = env.now
                    continue
                off_at = duty[place]
            head, work = None, -1
            for open_stream in works:
                first = heads[open_stream]
                if first is not None and (head is None or first[0] < head[0]):
                    head, work = first, open_stream
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
            heads[work] = next(streams[work], None)
            to_mouth, stay, between, second_stay, home = plans[group]
            who = truck * doors + door
            way = (time - now if time > now else 0.0) + to_target[door][target] + to_mouth
            yield timeout(way)
            now += way
            out = admit(2 * number, who, aisle, now, stay)
            if second_aisle >= 0:
                yield timeout(out + between)
                now += out + between
                out = admit(2 * number + 1, who, second_aisle, now, second_stay)
            if end_door >= 0:
                way = out + home
                door = end_door
            else:
                way = out + to_target[door][aisle if second_aisle < 0 else second_aisle] + home
            yield timeout(way)
            now += way

    for truck in range(len(fleet.names)):
        env.process(drive(truck))
    env.run(until=end_s)
    visit, who = np.frombuffer(visit_row, dtype=np.int64), np.frombuffer(truck_row, dtype=np.int64)
    return Log(
        task=visit // 2,
        part=visit % 2,
        truck=who // doors,
        from_door=who % doors,
        arrive=np.frombuffer(arrive_row, dtype=np.float64),
        enter=np.frombuffer(enter_row, dtype=np.float64),
        waiting_tasks=_count_waiting(heads, streams),
    )


def _count_waiting(heads: list[Task | None], streams: list[Iterator[Task]]) -> int:
    """Count the tasks that nobody took."""
    return sum(
        1
        for head, stream in zip(heads, streams, strict=True)
        if head is not None
        for _ in chain([head], stream)
    )
