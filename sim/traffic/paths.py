"""From the log of a simulated floor, or from measured visits, to visits with every run of the truck.

Comes in: `world.Log` and tasks, or columns of a visits log.  Goes out: `Visits` (with moves inside the
aisles and drives along the cross-aisles) and `Stays` (trucks in zones).  Before: `traffic/visit_paths`; after
it: `sensing`, `outcome`.
"""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np

from sim.floor.layout import Layout
from sim.records import Drives, FloatColumn, IntColumn, Moves, Stays, Visits
from sim.scenario.schema import Trucks
from sim.traffic.fleet import Fleet
from sim.traffic.gait import Gait, gait_of
from sim.traffic.kinematics import time_at
from sim.traffic.legs import replenish_route, route_between
from sim.traffic.visit_paths import Ends, Sheet, draw_routes, draw_singles, draw_tours
from sim.traffic.ways import is_middle, is_one_visit, place_inside
from sim.traffic.work import KINDS, Tasks
from sim.traffic.world import BOTH, FIRST_OF_PAIR, SECOND_OF_PAIR, Log

__all__ = ["VISIT_TASKS", "log_paths", "stays_in_zones"]

PUTAWAY, RETRIEVE, REPLENISH, TOUR, WALK = range(len(KINDS))
VISIT_TASKS: tuple[str, ...] = (
    "putaway",
    "retrieve",
    "replenish-pick",
    "replenish-set",
    "replenish-both",
    "unknown",
    "tour",
    "walk",
    "putaway-and-retrieve",
)
"""What a truck does in an aisle; replenish-both when it fetches and sets down in the same one."""
_DRIVE_KINDS = (np.bool_, *(np.float64,) * 5, *(np.int64,) * 3, np.float64)
"""Types of the columns of `records.Drives`, in order; the last only where there are middle cross-aisles."""


def log_paths(
    layout: Layout, groups: tuple[Trucks, ...], fleet: Fleet, tasks: Tasks, log: Log, end_s: float
) -> Visits:
    """Reconstruct every visit, run and drive of a simulated floor.

    A visit that is under way at the end ends there; one that would begin after the end is none, but what was
    seen of the truck on its way is kept (`Visits.coming`).

    Parameters
    ----------
    layout, groups, fleet, tasks, end_s : what the simulation was given
    log : what it returned

    Returns
    -------
    Visits, ordered by entry
    """
    is_in = log.enter < end_s
    order = np.flatnonzero(is_in)[np.argsort(log.enter[is_in], kind="stable")]
    visits = _draw(layout, groups, fleet, tasks, log, order, end_s)
    if is_in.all():
        return visits
    coming = _draw(layout, groups, fleet, tasks, log, np.flatnonzero(~is_in), np.inf)
    assert coming.drives is not None
    begun = np.flatnonzero(coming.drives.start < end_s)
    kept: dict[str, Any] = {field.name: getattr(coming.drives, field.name) for field in fields(Drives)}
    kept = {name: None if column is None else column[begun] for name, column in kept.items()}
    drives = Drives(**kept)
    return replace(visits, coming=replace(coming, drives=drives, moves=None))


def _draw(
    layout: Layout,
    groups: tuple[Trucks, ...],
    fleet: Fleet,
    tasks: Tasks,
    log: Log,
    order: IntColumn,
    end_s: float,
) -> Visits:
    """Reconstruct some rows of the log."""
    task, part, partner, truck = log.task[order], log.part[order], log.partner[order], log.truck[order]
    door, kind = log.from_door[order], tasks.kind[task]
    is_second = part == 1
    of_move = (kind == REPLENISH) & is_second
    aisle = np.where(of_move, tasks.second_aisle[task], tasks.aisle[task])
    bay = np.where(of_move, tasks.second_bay_m[task], tasks.bay_m[task])
    of_tour = np.flatnonzero(kind == TOUR)
    if len(of_tour):
        visit = tasks.tours.first_visit[tasks.tour[task[of_tour]]] + part[of_tour]
        aisle[of_tour] = tasks.tours.aisle[visit]
        bay[of_tour] = tasks.tours.bay_m[tasks.tours.first_line[visit]]
    sheet = Sheet(layout, aisle, truck, log.arrive[order], log.enter[order])
    group_of_truck = np.array(fleet.group, dtype=np.int64)[truck]
    in_pair = part >= BOTH
    for number, trucks in enumerate(groups):
        of_group = group_of_truck == number
        if not of_group.any():
            continue
        gait = gait_of(trucks)
        sheet.run_ramp[of_group] = gait.ramp
        sheet.turn[of_group] = gait.turn_s
        rows = np.flatnonzero(of_group & ((kind < REPLENISH) | (kind == WALK)) & ~in_pair)
        if len(rows):
            which = task[rows]
            is_put = kind[rows] == PUTAWAY
            come_from = np.where(is_put, tasks.door[which], door[rows])
            draw_singles(sheet, gait, number, tasks, rows, which, is_put, come_from)
        rows = np.flatnonzero(of_group & (kind == REPLENISH))
        if len(rows):
            which = task[rows]
            draw_routes(
                sheet,
                gait,
                rows,
                is_second[rows],
                (tasks.aisle[which], tasks.second_aisle[which]),
                (tasks.bay_m[which], tasks.second_bay_m[which]),
                replenish_route(layout, gait, number, tasks, which),
                Ends(door[rows], door[rows]),
                outer_is_laden=False,
            )
        rows = np.flatnonzero(of_group & in_pair)
        if len(rows):
            _draw_pairs(sheet, gait, number, tasks, rows, task[rows], partner[rows], part[rows])
        rows = np.flatnonzero(of_group & (kind == TOUR))
        if len(rows):
            draw_tours(sheet, gait, number, tasks, rows, task[rows], part[rows], door[rows])
    return _visits(sheet, groups, fleet, bay, _visit_task(layout, tasks, task, kind, part), end_s)


def _draw_pairs(
    sheet: Sheet,
    gait: Gait,
    group: int,
    tasks: Tasks,
    rows: IntColumn,
    task: IntColumn,
    partner: IntColumn,
    part: IntColumn,
) -> None:
    """Fill in putaways and retrievals that were done in one round."""
    is_second = part == SECOND_OF_PAIR
    put, fetch = np.where(is_second, partner, task), np.where(is_second, task, partner)
    aisles = tasks.aisle[put], tasks.aisle[fetch]
    bays = tasks.bay_m[put], tasks.bay_m[fetch]
    route = route_between(
        sheet.layout,
        gait,
        aisles,
        bays,
        (tasks.height_m[put], tasks.height_m[fetch]),
        (tasks.set_s[group, put], tasks.pick_s[group, fetch]),
        outer_is_laden=True,
    )
    ends = Ends(tasks.door[put], tasks.door[fetch])
    draw_routes(sheet, gait, rows, is_second, aisles, bays, route, ends, outer_is_laden=True)


def _visits(
    sheet: Sheet, groups: tuple[Trucks, ...], fleet: Fleet, bay: FloatColumn, task: IntColumn, end_s: float
) -> Visits:
    """Put everything on the sheet together."""
    columns = sheet.moves.take_columns(6)
    visit = next(columns).astype(np.int64, copy=False)
    in_order = np.argsort(visit, kind="stable")  # the runs of a visit were added in order of time
    moves = Moves(
        visit[in_order], *(column[in_order].astype(np.float64, copy=False) for column in columns)
    )
    kinds = _DRIVE_KINDS if len(sheet.layout.cross_m) else _DRIVE_KINDS[:-1]
    names = [field.name for field in fields(Drives)][: len(kinds)]
    taken: dict[str, Any] = {
        name: column.astype(kind, copy=False)
        for name, column, kind in zip(names, sheet.drives.take_columns(len(kinds)), kinds, strict=True)
    }
    drives = Drives(**taken)
    has_middle = bool(len(sheet.layout.cross_m))
    on_foot = tuple(groups[group].kind == "walker" for group in fleet.group)
    return Visits(
        aisle=sheet.aisle,
        enter=sheet.enter,
        leave=np.minimum(sheet.leave, end_s),
        truck=sheet.truck,
        bay_m=bay,
        task=task,
        enters_back=sheet.enters_back,
        leaves_back=sheet.leaves_back,
        arrive=sheet.arrive,
        run_in_m=sheet.run_in,
        run_before_m=sheet.run_before,
        run_speed=sheet.run_speed,
        run_acceleration=sheet.run_ramp,
        truck_names=fleet.names,
        task_names=VISIT_TASKS,
        moves=moves,
        drives=drives,
        turn=sheet.turn,
        truck_weight=tuple(groups[group].service_weight for group in fleet.group),
        truck_seen=tuple(groups[group].seen for group in fleet.group),
        truck_on_foot=on_foot if any(on_foot) else (),
        enter_line=sheet.enter_line if has_middle else None,
        leave_line=sheet.leave_line if has_middle else None,
    )


def _visit_task(
    layout: Layout, tasks: Tasks, task: IntColumn, kind: IntColumn, part: IntColumn
) -> IntColumn:
    """Index into `VISIT_TASKS`."""
    bays = tasks.aisle[task], tasks.bay_m[task], tasks.second_aisle[task], tasks.second_bay_m[task]
    replenish = np.where(part == 1, 3, np.where(is_one_visit(layout, *bays), 4, 2))
    named = np.select(
        [part == BOTH, kind == REPLENISH, kind == TOUR, kind == WALK],
        [np.full(len(task), VISIT_TASKS.index("putaway-and-retrieve")), replenish, 6, 7],
        kind,
    )
    return np.where((part == FIRST_OF_PAIR) | (part == SECOND_OF_PAIR), kind, named)


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
        order = np.argsort(layout.aisle_place[visits.aisle], kind="stable")
        zone = layout.aisle_place[visits.aisle[order]]
        return Stays(zone, order, visits.enter[order], visits.leave[order], _weights(visits, order))
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
    into_part = np.where(visits.enters_back, cut - 1, 0)
    if visits.enter_line is not None:
        # on a cut it is in the farther zone
        at_m = place_inside(layout, visits.aisle, visits.enter_line)[:, None]
        own_cuts = layout.length_m[visits.aisle][:, None] * np.arange(1, cut)[None, :] / cut
        passed = (own_cuts <= at_m).sum(axis=1)
        into_part = np.where(is_middle(layout, visits.aisle, visits.enter_line), passed, into_part)
    visit = np.concatenate([np.arange(len(visits)), moves.visit[row]])
    time = np.concatenate([visits.enter, time])
    part = np.concatenate([into_part, into])
    # entering comes before any crossing at the same instant; crossings outward in order of depth
    rank = np.concatenate([np.full(len(visits), -1), np.where(is_outward[row], which, cut - which)])
    order = np.lexsort((rank, time, visit))
    visit, time, part = visit[order], time[order], part[order]
    is_last = np.append(visit[1:] != visit[:-1], True)
    until = np.where(is_last, visits.leave[visit], np.append(time[1:], 0.0))
    until = np.minimum(until, visits.leave[visit])
    keep = until > time
    visit, time, until, part = visit[keep], time[keep], until[keep], part[keep]
    zone = layout.zone_at(visits.aisle[visit], part)
    order = np.lexsort((time, zone))
    return Stays(zone[order], visit[order], time[order], until[order], _weights(visits, visit[order]))


def _weights(visits: Visits, visit: IntColumn) -> FloatColumn | None:
    """How much the dim time of visits counts, None where all trucks count fully."""
    if all(weight == 1.0 for weight in visits.truck_weight):
        return None
    weights: FloatColumn = np.array(visits.truck_weight)[visits.truck[visit]]
    return weights
