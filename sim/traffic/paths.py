"""From the log of a simulated floor, or from measured visits, to visits with every run of the truck.

Comes in: `world.Log` and tasks, or columns of a visits log.  Goes out: `Visits` (with moves inside the
aisles and drives along the cross-aisles) and `Stays` (trucks in zones).  After it: `sensing`, `outcome`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sim.floor.layout import Layout
from sim.records import Drives, FloatColumn, IntColumn, Moves, Stays, Visits
from sim.scenario.schema import Trucks
from sim.traffic.fleet import Fleet
from sim.traffic.kinematics import time_at, travel_time
from sim.traffic.work import KINDS, Tasks
from sim.traffic.world import Log, Route, replenish_route

__all__ = ["VISIT_TASKS", "log_paths", "stays_in_zones"]

PUTAWAY, RETRIEVE, REPLENISH = range(len(KINDS))
VISIT_TASKS: tuple[str, ...] = (
    "putaway",
    "retrieve",
    "replenish-pick",
    "replenish-set",
    "replenish-both",
    "unknown",
)
"""What a truck does in an aisle; replenish-both when it fetches and sets down in the same one."""


@dataclass
class _Runs:
    """Columns of runs gathered piece by piece; each piece is a tuple of arrays of one length."""

    pieces: list[tuple[NDArray[np.generic], ...]] = field(default_factory=list)

    def add(self, *columns: NDArray[np.generic]) -> None:
        self.pieces.append(columns)

    def joined(self, width: int) -> list[NDArray[np.generic]]:
        """Concatenate the pieces, column by column."""
        if not self.pieces:
            return [np.zeros(0)] * width
        return [np.concatenate(column) for column in zip(*self.pieces, strict=True)]


def log_paths(
    layout: Layout, groups: tuple[Trucks, ...], fleet: Fleet, tasks: Tasks, log: Log, end_s: float
) -> Visits:
    """Reconstruct every visit, run and drive of a simulated floor.

    A visit that would begin after the end is dropped; one that is under way at the end ends there.

    Parameters
    ----------
    layout, groups, fleet, tasks, end_s : what the simulation was given
    log : what it returned

    Returns
    -------
    Visits, ordered by entry
    """
    keep = log.enter < end_s
    order = np.flatnonzero(keep)[np.argsort(log.enter[keep], kind="stable")]
    task, part, truck, door = log.task[order], log.part[order], log.truck[order], log.from_door[order]
    arrive, enter = log.arrive[order], log.enter[order]
    count = len(task)
    kind = tasks.kind[task]
    is_second = part == 1
    aisle = np.where(is_second, tasks.second_aisle[task], tasks.aisle[task])
    bay = np.where(is_second, tasks.second_bay_m[task], tasks.bay_m[task])
    group_of_truck = np.array(fleet.group, dtype=np.int64)[truck]

    leave = np.zeros(count)
    enters_back, leaves_back = np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
    run_in, run_before, run_speed, run_ramp = (np.zeros(count) for _ in range(4))
    moves, drives = _Runs(), _Runs()
    for number, trucks in enumerate(groups):
        of_group = group_of_truck == number
        if not of_group.any():
            continue
        empty, laden = trucks.speed_empty_m_per_s, trucks.speed_laden_m_per_s
        ramp = trucks.acceleration_m_per_s2
        run_ramp[of_group] = ramp

        # dock to bay and back, bay to dock
        rows = np.flatnonzero(of_group & (kind != REPLENISH))
        if len(rows):
            is_put = kind[rows] == PUTAWAY
            which = task[rows]
            stand = np.where(is_put, tasks.set_s[number, which], tasks.pick_s[number, which])
            speed_in, speed_out = np.where(is_put, laden, empty), np.where(is_put, empty, laden)
            depth = bay[rows]
            out_from = enter[rows] + travel_time(depth, speed_in, ramp) + stand
            leave[rows] = out_from + travel_time(depth, speed_out, ramp)
            _add_moves(moves, rows, enter[rows], np.zeros(len(rows)), depth, speed_in, ramp)
            _add_moves(moves, rows, out_from, depth, np.zeros(len(rows)), speed_out, ramp)
            come_from = np.where(is_put, tasks.door[which], door[rows])
            _come_in(layout, drives, rows, come_from, aisle, arrive, speed_in, ramp, run_in, run_before)
            run_speed[rows] = speed_in
            _go_home(layout, drives, aisle[rows], leave[rows], tasks.door[which], speed_out, ramp)

        # rack to rack
        rows = np.flatnonzero(of_group & (kind == REPLENISH))
        if len(rows):
            route = replenish_route(layout, trucks, number, tasks, slice(None))
            _replenish_visits(
                layout,
                trucks,
                number,
                tasks,
                route,
                rows,
                task[rows],
                is_second[rows],
                door[rows],
                (arrive, enter, leave, enters_back, leaves_back, run_in, run_before, run_speed),
                moves,
                drives,
            )

    visit, start, from_m, to_m, speed, acceleration = moves.joined(6)
    in_order = np.lexsort((start, visit)) if len(start) else np.zeros(0, dtype=np.int64)
    back, drive_start, drive_from, drive_to, drive_speed, drive_ramp, left, into = drives.joined(8)
    return Visits(
        aisle=aisle,
        enter=enter,
        leave=np.minimum(leave, end_s),
        truck=truck,
        bay_m=bay,
        task=_visit_task(kind, is_second, tasks.aisle[task] == tasks.second_aisle[task]),
        enters_back=enters_back,
        leaves_back=leaves_back,
        arrive=arrive,
        run_in_m=run_in,
        run_before_m=run_before,
        run_speed=run_speed,
        run_acceleration=run_ramp,
        truck_names=fleet.names,
        task_names=VISIT_TASKS,
        moves=Moves(
            visit[in_order].astype(np.int64),
            *(column[in_order].astype(np.float64) for column in (start, from_m, to_m, speed, acceleration)),
        ),
        drives=Drives(
            is_back=back.astype(bool),
            start=drive_start.astype(np.float64),
            from_m=drive_from.astype(np.float64),
            to_m=drive_to.astype(np.float64),
            speed=drive_speed.astype(np.float64),
            acceleration=drive_ramp.astype(np.float64),
            from_aisle=left.astype(np.int64),
            to_aisle=into.astype(np.int64),
        ),
    )


def _visit_task(kind: IntColumn, is_second: NDArray[np.bool_], is_same_aisle: NDArray[np.bool_]) -> IntColumn:
    """Index into `VISIT_TASKS`."""
    replenish = np.where(is_second, 3, np.where(is_same_aisle, 4, 2))
    return np.where(kind == REPLENISH, replenish, kind)


def _add_moves(
    moves: _Runs,
    rows: IntColumn,
    start: FloatColumn,
    from_m: FloatColumn,
    to_m: FloatColumn,
    speed: FloatColumn | float,
    ramp: float,
) -> None:
    """Add one run inside the aisle for each of some visits."""
    count = len(rows)
    moves.add(rows, start, from_m, to_m, np.broadcast_to(speed, count), np.full(count, ramp))


def _come_in(
    layout: Layout,
    drives: _Runs,
    rows: IntColumn,
    door: IntColumn,
    aisle: IntColumn,
    arrive: FloatColumn,
    speed: FloatColumn,
    ramp: float,
    run_in: FloatColumn,
    run_before: FloatColumn,
) -> None:
    """Drive from a door along the front cross-aisle to the mouth."""
    from_m, to_m = layout.door_m[door], layout.aisle_m[aisle[rows]]
    across = np.abs(from_m - to_m)
    start = arrive[rows] - travel_time(across, speed, ramp)
    none = np.full(len(rows), -1)
    drives.add(
        np.zeros(len(rows), bool), start, from_m, to_m, speed, np.full(len(rows), ramp), none, aisle[rows]
    )
    is_straight = across == 0.0
    run_in[rows] = np.where(is_straight, layout.staging_depth_m, across)
    run_before[rows] = np.where(is_straight, 0.0, layout.staging_depth_m)


def _go_home(
    layout: Layout,
    drives: _Runs,
    aisle: IntColumn,
    leave: FloatColumn,
    door: IntColumn,
    speed: FloatColumn | float,
    ramp: float,
) -> None:
    """Drive from the mouth along the front cross-aisle to a door."""
    count = len(aisle)
    drives.add(
        np.zeros(count, bool),
        leave,
        layout.aisle_m[aisle],
        layout.door_m[door],
        np.broadcast_to(speed, count),
        np.full(count, ramp),
        aisle,
        np.full(count, -1),
    )


def _replenish_visits(
    layout: Layout,
    trucks: Trucks,
    group: int,
    tasks: Tasks,
    route: Route,
    rows: IntColumn,
    task: IntColumn,
    is_second: NDArray[np.bool_],
    door: IntColumn,
    columns: tuple[
        FloatColumn,
        FloatColumn,
        FloatColumn,
        NDArray[np.bool_],
        NDArray[np.bool_],
        FloatColumn,
        FloatColumn,
        FloatColumn,
    ],
    moves: _Runs,
    drives: _Runs,
) -> None:
    """Fill in the visits of rack-to-rack moves: fetch, cross over, set down; or all in one aisle."""
    arrive, enter, leave, enters_back, leaves_back, run_in, run_before, run_speed = columns
    empty, laden, ramp = trucks.speed_empty_m_per_s, trucks.speed_laden_m_per_s, trucks.acceleration_m_per_s2
    back_m = layout.length_m.max()

    fetch = ~is_second
    mine, which = rows[fetch], task[fetch]
    first, second = tasks.aisle[which], tasks.second_aisle[which]
    bay, second_bay = tasks.bay_m[which], tasks.second_bay_m[which]
    by_back, same = route.by_back[which], route.is_same_aisle[which]
    nothing = np.zeros(len(mine))
    _add_moves(moves, mine, enter[mine], nothing, bay, empty, ramp)
    picked = enter[mine] + travel_time(bay, empty, ramp) + tasks.pick_s[group, which]
    mouth = np.where(same, second_bay, np.where(by_back, layout.length_m[first], 0.0))
    _add_moves(moves, mine, picked, bay, mouth, laden, ramp)
    leave[mine] = enter[mine] + route.first_stay[which]
    home_from = leave[mine] - travel_time(second_bay, empty, ramp)
    _add_moves(moves, mine[same], home_from[same], second_bay[same], nothing[same], empty, ramp)
    leaves_back[mine] = by_back
    run_speed[mine] = empty
    speed = np.full(len(mine), empty)
    aisle = np.zeros(len(arrive), dtype=np.int64)
    aisle[mine] = first
    _come_in(layout, drives, mine, door[fetch], aisle, arrive, speed, ramp, run_in, run_before)
    _go_home(layout, drives, first[same], leave[mine][same], door[fetch][same], empty, ramp)
    stub = np.where(by_back, back_m - layout.length_m[first], 0.0)
    over = ~same
    drives.add(
        by_back[over],
        (leave[mine] + travel_time(stub, laden, ramp))[over],
        layout.aisle_m[first][over],
        layout.aisle_m[second][over],
        np.full(over.sum(), laden),
        np.full(over.sum(), ramp),
        first[over],
        second[over],
    )

    mine, which = rows[is_second], task[is_second]
    first, second, second_bay = tasks.aisle[which], tasks.second_aisle[which], tasks.second_bay_m[which]
    by_back = route.by_back[which]
    mouth = np.where(by_back, layout.length_m[second], 0.0)
    _add_moves(moves, mine, enter[mine], mouth, second_bay, laden, ramp)
    leave[mine] = enter[mine] + route.second_stay[which]
    home_from = leave[mine] - travel_time(second_bay, empty, ramp)
    _add_moves(moves, mine, home_from, second_bay, np.zeros(len(mine)), empty, ramp)
    enters_back[mine] = by_back
    run_speed[mine] = laden
    across = np.abs(layout.aisle_m[first] - layout.aisle_m[second])
    stub = np.where(by_back, back_m - layout.length_m[second], 0.0)
    run_in[mine] = np.where(stub > 0.0, stub, across)
    run_before[mine] = np.where(stub > 0.0, across, 0.0)
    _go_home(layout, drives, second, leave[mine], door[is_second], empty, ramp)


def stays_in_zones(layout: Layout, visits: Visits) -> Stays:
    """Find when each visit is in which zone.

    A truck that stands exactly on a cut is in the farther zone.

    Parameters
    ----------
    layout : the floor
    visits : where zones are cut, with moves

    Raises
    ------
    ValueError : zones are cut and the visits have no moves
    """
    cut = layout.zones_per_aisle
    if cut == 1:
        order = np.argsort(visits.aisle, kind="stable")
        return Stays(visits.aisle[order], order, visits.enter[order], visits.leave[order])
    moves = visits.moves
    if moves is None:
        raise ValueError("zones are cut: visits without positions cannot be placed in them")
    aisle = visits.aisle[moves.visit]
    duration = np.abs(moves.to_m - moves.from_m)
    is_outward = moves.to_m >= moves.from_m
    # times at which each run crosses each cut of its aisle
    cuts = layout.length_m[aisle][:, None] * np.arange(1, cut)[None, :] / cut
    ahead = np.where(is_outward[:, None], cuts - moves.from_m[:, None], moves.from_m[:, None] - cuts)
    crosses = np.where(
        is_outward[:, None],
        (cuts > moves.from_m[:, None]) & (cuts <= moves.to_m[:, None]),
        (cuts <= moves.from_m[:, None]) & (cuts > moves.to_m[:, None]),
    )
    row, which = np.nonzero(crosses)
    time = moves.start[row] + time_at(
        ahead[row, which], duration[row], moves.speed[row], moves.acceleration[row]
    )
    into = np.where(is_outward[row], which + 1, which)
    begins_back = visits.enters_back
    visit = np.concatenate([np.arange(len(visits)), moves.visit[row]])
    time = np.concatenate([visits.enter, time])
    part = np.concatenate([np.where(begins_back, cut - 1, 0), into])
    # entering comes before any crossing at the same instant; crossings outward in order of depth
    rank = np.concatenate([np.full(len(visits), -1), np.where(is_outward[row], which, cut - which)])
    order = np.lexsort((rank, time, visit))
    visit, time, part = visit[order], time[order], part[order]
    is_last = np.append(visit[1:] != visit[:-1], True)
    until = np.where(is_last, visits.leave[visit], np.append(time[1:], 0.0))
    until = np.minimum(until, visits.leave[visit])
    keep = until > time
    visit, time, until, part = visit[keep], time[keep], until[keep], part[keep]
    zone = visits.aisle[visit] * cut + part
    order = np.lexsort((time, zone))
    return Stays(zone[order], visit[order], time[order], until[order])
