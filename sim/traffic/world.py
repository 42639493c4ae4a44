"""Trucks at work in SimPy: tasks handed out first come first served, queues at full aisles.

Comes in: tasks, fleet, layout.  Goes out: a `Log` of who reached which aisle when and when it could
enter.  Before: `traffic/work` and `traffic/fleet`; after: `traffic/paths`, which turns the log into
visits.  Assumptions: every task starts and ends at a dock door (single command; the truck that did it
is then free there); of the idle trucks the one that has waited longest goes; a driver finishes the task
in hand before a break.  How long a truck stays in an aisle is known when it reaches the mouth, so an
aisle that is full serves its queue by a virtual clock: exact for first come, first served.
"""

from __future__ import annotations

from array import array
from collections import deque
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from heapq import heapreplace
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


def replenish_route(layout: Layout, trucks: Trucks, group: int, tasks: Tasks, rows: slice) -> Route:
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


def _legs(layout: Layout, trucks: Trucks, group: int, tasks: Tasks, rows: slice) -> list[list[float]]:
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


Task = tuple[int, float, int, int, int, int, int, list[tuple[float, float, float, float, float]]]
"""index, time, work, first target, aisle, second aisle (-1: one visit), end door (-1: where it began), plans"""


def _stream_tasks(layout: Layout, groups: tuple[Trucks, ...], tasks: Tasks) -> Iterator[Task]:
    """Plan tasks block by block, so that a year of them never lies in memory as Python objects.

    The first target is an aisle, or (counted behind the aisles) the door of a putaway.
    """
    aisles = len(layout.aisles)
    for begin in range(0, len(tasks), BLOCK):
        rows = slice(begin, begin + BLOCK)
        kind = tasks.kind[rows]
        target = np.where(kind == PUTAWAY, aisles + tasks.door[rows], tasks.aisle[rows])
        second = np.where(tasks.second_aisle[rows] == tasks.aisle[rows], -1, tasks.second_aisle[rows])
        plans = [
            zip(*_legs(layout, trucks, group, tasks, rows), strict=True)
            for group, trucks in enumerate(groups)
        ]
        yield from zip(
            range(begin, begin + len(kind)),
            tasks.time[rows].tolist(),
            tasks.work[rows].tolist(),
            target.tolist(),
            tasks.aisle[rows].tolist(),
            second.tolist(),
            tasks.door[rows].tolist(),
            map(list, zip(*plans, strict=True)),
            strict=True,
        )


def _approach_times(layout: Layout, trucks: Trucks) -> list[list[float]]:
    """Empty travel from each door to each aisle's mouth line, then to each door, staging left out (D, A + D)."""
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
    task_row, part_row, truck_row, door_row = (array("q") for _ in range(4))
    arrive_row, enter_row = array("d"), array("d")
    reach = [_approach_times(layout, trucks) for trucks in groups]
    free_at: list[list[float]] = [[0.0] * (layout.capacity or 0) for _ in layout.aisles]
    waiting: list[deque[Task]] = [deque() for _ in may_do]
    idle: list[deque[tuple[float, int, simpy.Event]]] = [deque() for _ in groups]
    open_work = [
        tuple(work for work, allowed in enumerate(may_do) if allowed[group]) for group in range(len(groups))
    ]

    def admit(task: int, part: int, truck: int, door: int, aisle: int, stay: float) -> float:
        """Book the next place in an aisle, log the visit, and return when it ends."""
        arrive = env.now
        enter = arrive
        places = free_at[aisle]
        if places:
            if places[0] > enter:
                enter = places[0]
            heapreplace(places, enter + stay)
        task_row.append(task)
        part_row.append(part)
        truck_row.append(truck)
        door_row.append(door)
        arrive_row.append(arrive)
        enter_row.append(enter)
        return enter + stay

    def next_task(group: int) -> Task | None:
        """Take the task that has waited longest among those the group may do."""
        queues = [waiting[work] for work in open_work[group] if waiting[work]]
        return min(queues, key=lambda queue: queue[0][0]).popleft() if queues else None

    def drive(truck: int) -> Generator[simpy.Event, Any, None]:
        """One truck: wait for work while on duty, do it, come free at a door."""
        group = fleet.group[truck]
        to_target = reach[group]
        door = truck * len(layout.door_m) // len(fleet.names)
        while True:
            if not fleet.is_on_duty(truck, env.now):
                duty = fleet.next_duty(truck, env.now)
                if duty is None:
                    return
                yield timeout(duty - env.now)
                continue
            task = next_task(group)
            if task is None:
                wake = env.event()
                idle[group].append((env.now, truck, wake))
                task = yield wake
                if task is None:
                    continue
            number, _, _, target, aisle, second_aisle, end_door, plans = task
            to_mouth, stay, between, second_stay, home = plans[group]
            yield timeout(to_target[door][target] + to_mouth)
            out = admit(number, 0, truck, door, aisle, stay)
            if second_aisle >= 0:
                yield timeout(out - env.now + between)
                out = admit(number, 1, truck, door, second_aisle, second_stay)
            if end_door >= 0:
                yield timeout(out - env.now + home)
                door = end_door
            else:
                last = aisle if second_aisle < 0 else second_aisle
                yield timeout(out - env.now + to_target[door][last] + home)

    def longest_idle(work: int) -> simpy.Event | None:
        """Call the truck that may do this work and has been idle longest; send home those off duty."""
        chosen: deque[tuple[float, int, simpy.Event]] | None = None
        for group, queue in enumerate(idle):
            while queue and not fleet.is_on_duty(queue[0][1], env.now):
                queue.popleft()[2].succeed(None)
            if queue and may_do[work][group] and (chosen is None or queue[0][0] < chosen[0][0]):
                chosen = queue
        return None if chosen is None else chosen.popleft()[2]

    def bring_work() -> Generator[simpy.Event, Any, None]:
        """Hand each task to an idle truck, or queue it."""
        for task in _stream_tasks(layout, groups, tasks):
            yield timeout(max(0.0, task[1] - env.now))
            wake = longest_idle(task[2])
            if wake is None:
                waiting[task[2]].append(task)
            else:
                wake.succeed(task)

    for truck in range(len(fleet.names)):
        env.process(drive(truck))
    env.process(bring_work())
    env.run(until=end_s)
    return Log(
        task=np.array(task_row, dtype=np.int64),
        part=np.array(part_row, dtype=np.int64),
        truck=np.array(truck_row, dtype=np.int64),
        from_door=np.array(door_row, dtype=np.int64),
        arrive=np.array(arrive_row, dtype=np.float64),
        enter=np.array(enter_row, dtype=np.float64),
        waiting_tasks=sum(len(queue) for queue in waiting),
    )
