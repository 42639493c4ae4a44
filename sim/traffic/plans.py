"""What a truck needs to know to do a task: how long each leg takes, for every group that may do it.

Comes in: layout, truck groups, tasks.  Goes out: queues of planned tasks, in order of time.  Before:
`traffic/legs`, `traffic/tours`; after: `traffic/world`.  A queue holds the tasks of one stream that the same
groups may do: where groups may not enter every aisle, a stream is split into several queues.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import repeat

import numpy as np

from sim.floor.layout import Layout
from sim.records import FloatColumn, IntColumn
from sim.scenario.schema import Trucks
from sim.traffic.gait import Gait, gait_of
from sim.traffic.kinematics import travel_time
from sim.traffic.legs import replenish_route, single_visit
from sim.traffic.tours import TourTimes, time_tours
from sim.traffic.ways import (
    FRONT,
    cross_lines,
    is_one_visit,
    round_by_the_side,
    sides_between,
    single_lines,
    stub_of,
)
from sim.traffic.work import KINDS, Tasks

__all__ = ["Plan", "Queues", "Task", "approach_times", "plan_queues"]

BLOCK = 8192
PUTAWAY, RETRIEVE, REPLENISH, TOUR, WALK = range(len(KINDS))

Tail = tuple[tuple[float, int, float], ...]
Plan = tuple[float, float, float, float, float, Tail]
"""to_mouth, stay, between, second_stay, home [s]; then for a tour's later visits: between, aisle, stay"""
Task = tuple[float, int, int, int, int, int, list[Plan | None]]
"""time, index, first target, aisle, second aisle (-1: none), end door, plan by group

A target is where a truck comes to from its door: an aisle's front mouth, or counted behind the aisles a door,
or behind the doors an aisle round the shorter side of the floor, without the way along that side.  An end
door below 0 says that the task ends where it began, and that the way there leads over the target
-1 - end door.
"""


@dataclass(frozen=True)
class Queues:
    """The tasks as queues (Q).

    Attributes
    ----------
    may_do : which groups may do a queue's tasks (Q, G)
    tasks : a queue's tasks in order of time, planned block by block, so that a year of them never lies in
        memory as objects (Q,)
    is_retrieval : whether a queue holds retrievals (Q,)
    """

    may_do: tuple[tuple[bool, ...], ...]
    tasks: tuple[Iterator[Task], ...]
    is_retrieval: tuple[bool, ...]


def approach_times(layout: Layout, trucks: Trucks) -> list[list[float]]:
    """Empty travel across the floor from each door to each target [s] (D, A + D + A).

    Without staging, and round a side without the way along it: that depends on the cross-aisle.
    """
    speed, ramp = trucks.speed_empty_m_per_s, trucks.acceleration_m_per_s2
    door_m, aisle_m = layout.door_m[:, None], layout.aisle_m[None, :]
    targets = np.concatenate([layout.aisle_m, layout.door_m])
    side = sides_between(layout, door_m, aisle_m)
    straight = travel_time(np.abs(door_m - targets), speed, ramp)
    by_the_side = travel_time(np.abs(door_m - side), speed, ramp) + travel_time(
        np.abs(side - aisle_m), speed, ramp
    )
    return [list(map(float, row)) for row in np.hstack([straight, by_the_side])]


@dataclass(frozen=True)
class _Outer:
    """How some tasks begin and end outside the aisles (n,).

    Attributes
    ----------
    come_line, go_line : by which cross-aisle the first aisle is entered and the last one left
    last_aisle : which one that is
    """

    come_line: IntColumn
    go_line: IntColumn
    last_aisle: IntColumn


def _outer(layout: Layout, tasks: Tasks, rows: IntColumn) -> _Outer:
    """Find how tasks begin and end outside the aisles."""
    kind, aisle, bay = tasks.kind[rows], tasks.aisle[rows], tasks.bay_m[rows]
    come, go = single_lines(layout, aisle, bay, tasks.is_through[rows])
    last = aisle
    is_move = kind == REPLENISH
    if is_move.any():
        last = np.where(is_move, tasks.second_aisle[rows], aisle)
        second_bay = np.where(is_move, tasks.second_bay_m[rows], bay)
        go = single_lines(layout, last, second_bay, tasks.is_through[rows])[1]
    of_tour = np.flatnonzero(kind == TOUR)
    if len(of_tour):
        tour = tasks.tour[rows[of_tour]]
        first_visit, last_visit = tasks.tours.first_visit[tour], tasks.tours.first_visit[tour + 1] - 1
        last = last.copy()
        last[of_tour] = tasks.tours.aisle[last_visit]
        come[of_tour], go[of_tour] = tasks.tours.enter_line[first_visit], tasks.tours.leave_line[last_visit]
    return _Outer(come, go, last)


def _target(layout: Layout, aisle: IntColumn, line: IntColumn) -> IntColumn:
    """Return the target between a door and an aisle: its front mouth, or the aisle round a side (n,)."""
    others = len(layout.aisles) + len(layout.door_m)
    target: IntColumn = np.where(line == FRONT, aisle, others + aisle)
    return target


def _along_time(
    layout: Layout, aisle: IntColumn, line: IntColumn, speed: FloatColumn | float, ramp: float
) -> FloatColumn:
    """Return the time between an aisle and a line, and along the side to the front (n,)."""
    return travel_time(stub_of(layout, aisle, line), speed, ramp) + travel_time(
        cross_lines(layout)[line], speed, ramp
    )


def _round_time(
    layout: Layout,
    aisle: IntColumn,
    line: IntColumn,
    door: IntColumn,
    speed: FloatColumn | float,
    ramp: float,
) -> FloatColumn:
    """Return the time between an aisle and a door, by a line and round the side (n,)."""
    *ways, _ = round_by_the_side(layout, aisle, line, door)
    time: FloatColumn = sum((travel_time(way, speed, ramp) for way in ways), np.zeros(len(aisle)))
    return time


def _legs(
    layout: Layout, gait: Gait, group: int, tasks: Tasks, rows: IntColumn, tours: TourTimes | None
) -> Iterator[Plan]:
    """Plan tasks for one group: from the target reached first to the mouth, stays, ways between and home."""
    empty, laden, ramp = gait.empty, gait.laden, gait.ramp
    kind, aisle = tasks.kind[rows], tasks.aisle[rows]
    pick, put = tasks.pick_s[group, rows], tasks.set_s[group, rows]
    is_put, is_move = kind == PUTAWAY, kind == REPLENISH
    outer = _outer(layout, tasks, rows)
    door = np.where(is_move, 0, tasks.door[rows])
    staging = {speed: float(travel_time(layout.staging_depth_m, speed, ramp)) for speed in (empty, laden)}
    across = np.abs(layout.door_m[door] - layout.aisle_m[aisle])
    to_mouth = np.where(is_put, pick + staging[laden] + travel_time(across, laden, ramp), staging[empty])
    round_in = np.flatnonzero(outer.come_line != FRONT)
    if len(round_in):
        way_in = layout, aisle[round_in], outer.come_line[round_in]
        laden_way = pick[round_in] + staging[laden] + _round_time(*way_in, door[round_in], laden, ramp)
        # the way across comes from the truck's own door: it is part of the way to the target
        empty_way = staging[empty] + _along_time(*way_in, empty, ramp)
        to_mouth[round_in] = np.where(is_put[round_in], laden_way, empty_way)
    visit = single_visit(layout, gait, group, tasks, rows, is_put)
    go_empty = travel_time(np.where(is_put, visit.out_m, visit.in_m), gait.aisle_empty, ramp)
    go_laden = travel_time(np.where(is_put, visit.in_m, visit.out_m), gait.aisle_laden, ramp)
    stay = go_empty + visit.stand + go_laden
    home = np.where(
        is_put,
        travel_time(across, empty, ramp) + staging[empty],
        travel_time(across, laden, ramp) + staging[laden] + put,
    )
    between, second_stay = np.zeros(len(kind)), np.zeros(len(kind))
    if is_move.any():
        route = replenish_route(layout, gait, group, tasks, rows)
        stay = np.where(is_move, route.first_stay, stay)
        between = np.where(is_move, route.between, 0.0)
        second_stay = np.where(is_move, route.second_stay, 0.0)
        home = np.where(is_move, staging[empty], home)
    tails: Iterable[Tail] = repeat((), len(kind))
    if tours is not None:
        stay, home, tails = _tour_legs(layout, gait, tasks, rows, tours, put)
    round_out = np.flatnonzero(outer.go_line != FRONT)
    if len(round_out):
        way_out = layout, outer.last_aisle[round_out], outer.go_line[round_out]
        is_empty = is_put[round_out]
        speed = np.where(is_empty, empty, laden)
        home[round_out] = np.where(
            is_move[round_out],
            _along_time(*way_out, empty, ramp) + staging[empty],
            _round_time(*way_out, door[round_out], speed, ramp)
            + np.where(is_empty, staging[empty], staging[laden] + put[round_out]),
        )
    columns = (to_mouth + gait.turn_s, stay, between, second_stay, home + gait.turn_s)
    return zip(*(column.tolist() for column in columns), tails, strict=True)


def _tour_legs(
    layout: Layout,
    gait: Gait,
    tasks: Tasks,
    rows: IntColumn,
    tours: TourTimes,
    put: FloatColumn,
) -> tuple[FloatColumn, FloatColumn, list[Tail]]:
    """Return stay, way home by the front, and tail of tours."""
    tour = tasks.tour[rows]
    first, last = tasks.tours.first_visit[tour], tasks.tours.first_visit[tour + 1]
    across = np.abs(layout.aisle_m[tasks.tours.aisle[last - 1]] - layout.door_m[tasks.door[rows]])
    ways = travel_time(across, gait.laden, gait.ramp) + travel_time(
        layout.staging_depth_m, gait.laden, gait.ramp
    )
    tails = [
        tuple(
            zip(
                tours.between[begin + 1 : end].tolist(),
                tasks.tours.aisle[begin + 1 : end].tolist(),
                tours.stay[begin + 1 : end].tolist(),
                strict=True,
            )
        )
        for begin, end in zip(first.tolist(), last.tolist(), strict=True)
    ]
    return tours.stay[first], ways + put, tails


def _plan(
    layout: Layout,
    gaits: tuple[Gait, ...],
    able: tuple[bool, ...],
    tasks: Tasks,
    every: IntColumn,
    tours: tuple[TourTimes | None, ...],
) -> Iterator[Task]:
    """Plan one queue's tasks block by block; the first target of a putaway is its door."""
    aisles = len(layout.aisles)
    for begin in range(0, len(every), BLOCK):
        rows = every[begin : begin + BLOCK]
        first, then, door = tasks.aisle[rows], tasks.second_aisle[rows], tasks.door[rows]
        outer = _outer(layout, tasks, rows)
        mouth = _target(layout, first, outer.come_line)
        target = np.where(tasks.kind[rows] == PUTAWAY, aisles + door, mouth)
        is_one = is_one_visit(layout, first, tasks.bay_m[rows], then, tasks.second_bay_m[rows])
        second = np.where(is_one, -1, then)
        end = np.where(door >= 0, door, -1 - _target(layout, outer.last_aisle, outer.go_line))
        plans: list[Iterator[Plan] | list[None]] = [
            _legs(layout, gait, group, tasks, rows, tours[group]) if able[group] else [None] * len(rows)
            for group, gait in enumerate(gaits)
        ]
        yield from zip(
            tasks.time[rows].tolist(),
            rows.tolist(),
            target.tolist(),
            tasks.aisle[rows].tolist(),
            second.tolist(),
            end.tolist(),
            map(list, zip(*plans, strict=True)),
            strict=True,
        )


def _allowed(
    layout: Layout, groups: tuple[Trucks, ...], may_do: tuple[tuple[bool, ...], ...], tasks: Tasks
) -> np.ndarray:
    """Tell for every task which groups may do it and may enter all its aisles (n, G)."""
    allowed = np.array(may_do, dtype=bool).reshape(len(may_do), len(groups))[tasks.work]
    for group, trucks in enumerate(groups):
        if trucks.aisles is None:
            continue
        enters = np.isin(layout.aisles, trucks.aisles)
        ok = enters[tasks.aisle] & np.where(tasks.second_aisle < 0, True, enters[tasks.second_aisle])
        if len(tasks.tours):
            whole = np.logical_and.reduceat(enters[tasks.tours.aisle], tasks.tours.first_visit[:-1])
            ok &= np.where(tasks.tour < 0, True, whole[tasks.tour])
        allowed[:, group] &= ok
    return allowed


def _alike(allowed: np.ndarray, rows: IntColumn) -> Iterator[IntColumn]:
    """Split tasks into those that the same groups may do, without sorting them."""
    kind = np.zeros(len(rows), dtype=np.int64)
    for able in allowed[rows].T:
        kind = 2 * kind + able
        is_there = np.bincount(kind) > 0
        kind = (np.cumsum(is_there) - 1)[kind]
    for number in range(int(kind.max(initial=-1)) + 1):
        yield rows[kind == number]


def plan_queues(
    layout: Layout, groups: tuple[Trucks, ...], may_do: tuple[tuple[bool, ...], ...], tasks: Tasks
) -> Queues:
    """Sort the tasks into queues and plan them.

    Parameters
    ----------
    layout, groups : the floor and the trucks (G,)
    may_do : for each stream, which groups may do it (W, G)
    tasks : moves in order of time
    """
    queues = [(able, work, np.flatnonzero(tasks.work == work)) for work, able in enumerate(may_do)]
    if any(trucks.aisles is not None for trucks in groups) and len(tasks):
        allowed = _allowed(layout, groups, may_do, tasks)
        queues = [
            (tuple(map(bool, allowed[same[0]])), work, same)
            for _, work, rows in queues
            for same in _alike(allowed, rows)
        ]
    gaits = tuple(gait_of(trucks) for trucks in groups)
    some_tour = set(tasks.work[tasks.kind == TOUR].tolist()) if len(tasks.tours) else set()
    times: tuple[TourTimes | None, ...] = tuple(
        time_tours(layout, gait, group, tasks.tours) if some_tour else None
        for group, gait in enumerate(gaits)
    )
    nobody: tuple[TourTimes | None, ...] = (None,) * len(groups)
    return Queues(
        may_do=tuple(able for able, _, _ in queues),
        tasks=tuple(
            _plan(layout, gaits, able, tasks, rows, times if work in some_tour else nobody)
            for able, work, rows in queues
        ),
        is_retrieval=tuple(
            bool(len(rows)) and int(tasks.kind[rows[0]]) == RETRIEVE for _, _, rows in queues
        ),
    )
