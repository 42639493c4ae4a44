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
from sim.traffic.work import KINDS, Tasks

__all__ = ["Plan", "Queues", "Task", "approach_times", "plan_queues", "round_by_the_side"]

BLOCK = 8192
PUTAWAY, RETRIEVE, REPLENISH, TOUR, WALK = range(len(KINDS))

Tail = tuple[tuple[float, int, float], ...]
Plan = tuple[float, float, float, float, float, Tail]
"""to_mouth, stay, between, second_stay, home [s]; then for a tour's later visits: between, aisle, stay"""
Task = tuple[float, int, int, int, int, int, list[Plan | None]]
"""time, index, first target, aisle, second aisle (-1: none), end door (-1: where it began), plan by group"""


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
    """Empty travel from each door to each aisle's line, then to each door, without staging (D, A + D)."""
    targets = np.concatenate([layout.aisle_m, layout.door_m])
    times = travel_time(
        np.abs(layout.door_m[:, None] - targets[None, :]),
        trucks.speed_empty_m_per_s,
        trucks.acceleration_m_per_s2,
    )
    return [list(map(float, row)) for row in times]


def round_by_the_side(
    layout: Layout, aisle: IntColumn, door: IntColumn
) -> tuple[FloatColumn, FloatColumn, FloatColumn, FloatColumn]:
    """Return the way from a back mouth round the nearer side of the floor to a door.

    Returns
    -------
    stub to the back cross-aisle [m], the side's place across the floor [m], along the side [m], from the
    side to the door [m] (n,) each
    """
    back_m = layout.length_m.max()
    side = np.where(layout.aisle_m[aisle] <= 0.5 * layout.width_m, 0.0, layout.width_m)
    return (
        back_m - layout.length_m[aisle],
        side,
        np.full(len(aisle), back_m),
        np.abs(side - layout.door_m[door]),
    )


def _legs(
    layout: Layout, gait: Gait, group: int, tasks: Tasks, rows: IntColumn, tours: TourTimes | None
) -> Iterator[Plan]:
    """Plan tasks for one group: from the target reached first to the mouth, stays, ways between and home."""
    empty, laden, ramp = gait.empty, gait.laden, gait.ramp
    kind, aisle, bay = tasks.kind[rows], tasks.aisle[rows], tasks.bay_m[rows]
    pick, put = tasks.pick_s[group, rows], tasks.set_s[group, rows]
    is_put, is_move = kind == PUTAWAY, kind == REPLENISH
    door = np.where(is_move, 0, tasks.door[rows])
    across = np.abs(layout.door_m[door] - layout.aisle_m[aisle])
    staging = {speed: float(travel_time(layout.staging_depth_m, speed, ramp)) for speed in (empty, laden)}
    to_mouth = np.where(is_put, pick + staging[laden] + travel_time(across, laden, ramp), staging[empty])
    visit = single_visit(layout, gait, group, tasks, rows, is_put)
    go_empty = travel_time(np.where(is_put, visit.out_m, bay), gait.aisle_empty, ramp)
    go_laden = travel_time(np.where(is_put, bay, visit.out_m), gait.aisle_laden, ramp)
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
    through = np.flatnonzero(tasks.is_through[rows])
    if len(through):
        ways = round_by_the_side(layout, aisle[through], door[through])
        stub, side, along, to_door = ways
        lengths = (stub, np.abs(layout.aisle_m[aisle[through]] - side), along, to_door)
        is_empty = is_put[through]
        speed = np.where(is_empty, empty, laden)
        home[through] = sum(travel_time(way, speed, ramp) for way in lengths) + np.where(
            is_empty, staging[empty], staging[laden] + put[through]
        )
    tails: Iterable[Tail] = repeat((), len(kind))
    if tours is not None:
        stay, home, tails = _tour_legs(layout, gait, tasks, rows, tours, put, stay, home)
    columns = (to_mouth + gait.turn_s, stay, between, second_stay, home + gait.turn_s)
    return zip(*(column.tolist() for column in columns), tails, strict=True)


def _tour_legs(
    layout: Layout,
    gait: Gait,
    tasks: Tasks,
    rows: IntColumn,
    tours: TourTimes,
    put: FloatColumn,
    stay: FloatColumn,
    home: FloatColumn,
) -> tuple[FloatColumn, FloatColumn, list[Tail]]:
    """Replace stay, home and tail of the tours among some tasks; all of one stream are tours."""
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
    """Plan one queue's tasks block by block.

    The first target is an aisle, or (counted behind the aisles) the door of a putaway.
    """
    aisles = len(layout.aisles)
    for begin in range(0, len(every), BLOCK):
        rows = every[begin : begin + BLOCK]
        target = np.where(tasks.kind[rows] == PUTAWAY, aisles + tasks.door[rows], tasks.aisle[rows])
        second = np.where(tasks.second_aisle[rows] == tasks.aisle[rows], -1, tasks.second_aisle[rows])
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
            tasks.door[rows].tolist(),
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
