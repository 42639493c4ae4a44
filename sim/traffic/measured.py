"""Visits from a log: where the log gives a bay, the runs inside the aisle are worked out.

Comes in: rows of a visits log.  Goes out: `Visits`.  Before: `traffic/logs`; after: `sensing`, `outcome`.
Unless a row says otherwise, a truck comes in by the front at the first truck group's empty speed, stands
at its bay for the rest of the stay, and leaves by the front at the laden speed.  Where a row names its truck
group, speeds, service weight, and whether sensors see it and it goes on foot are those of the group.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.errors import Fault, InputError
from sim.floor.layout import Layout
from sim.records import FloatColumn, IntColumn, Moves, Visits
from sim.scenario.schema import Scenario
from sim.traffic.gait import gait_of
from sim.traffic.kinematics import travel_time
from sim.traffic.logs import VisitRows
from sim.traffic.paths import VISIT_TASKS
from sim.traffic.ways import place_inside

__all__ = ["measured_visits"]

FAR_M = 1e9
"""Length of the unknown run before the mouth: long enough to be at speed."""
SLACK_S = 1e-6
"""A stay may be this much shorter than its runs: rounding of written times."""


def measured_visits(
    scenario: Scenario, layout: Layout, rows: VisitRows, *, needs_positions: bool, where: str
) -> Visits:
    """Turn log rows into visits.

    Parameters
    ----------
    scenario, layout : the site
    rows : as read, in order of entry
    needs_positions : sensing is to be applied, so every row needs a bay
    where : the log's name, for messages

    Raises
    ------
    InputError : positions are needed (for sensing, or because zones are cut) and a row has no bay, the
        scenario has no trucks to take speeds from, or a stay is too short for its runs
    """
    count = len(rows.aisle)
    needs = needs_positions or layout.zones_per_aisle > 1
    why = "sensing needs" if needs_positions else "cut zones need"
    has_bay = ~np.isnan(rows.bay_m)
    if needs and not has_bay.all():
        line = int(rows.line[np.flatnonzero(~has_bay)[0]])
        raise InputError(
            [
                Fault(
                    where,
                    line,
                    "bay_m",
                    f"missing: {why} the bay of every visit [m from the front mouth]",
                )
            ]
        )
    if needs and not scenario.trucks:
        raise InputError(
            [Fault(where, None, "", f"{why} a [[trucks]] group in the scenario, for its speeds")]
        )
    task = rows.task.astype(np.int64)
    crew = _crew(scenario, rows)
    empty, laden, aisle_empty, aisle_laden, ramp = _speeds(scenario, rows)
    laden_in = np.isin(task, [VISIT_TASKS.index("putaway"), VISIT_TASKS.index("replenish-set")])
    moves = None
    if has_bay.all() and scenario.trucks:
        moves, too_short = _runs(
            layout,
            rows,
            np.where(laden_in, aisle_laden, aisle_empty),
            np.where(laden_in, aisle_empty, aisle_laden),
            aisle_laden,
            aisle_empty,
            ramp,
            scenario.duration_s,
        )
        if needs and too_short.any():
            raise InputError(
                [
                    Fault(
                        where,
                        int(rows.line[row]),
                        "leave",
                        f"the stay of {rows.leave[row] - rows.enter[row]:g} s is too short to drive to bay "
                        f"{rows.bay_m[row]:g} m and back at the speeds of its truck group",
                    )
                    for row in np.flatnonzero(too_short)[:20]
                ]
            )
        if too_short.any():
            moves = None
    nothing = np.zeros(count)
    return Visits(
        aisle=rows.aisle.astype(np.int64),
        enter=rows.enter,
        leave=rows.leave,
        truck=crew.truck,
        bay_m=rows.bay_m,
        task=task,
        enters_back=rows.enters_back,
        leaves_back=rows.leaves_back,
        arrive=rows.arrive,
        run_in_m=np.full(count, FAR_M),
        run_before_m=nothing,
        run_speed=np.where(laden_in, laden, empty),
        run_acceleration=ramp,
        truck_names=crew.names,
        task_names=VISIT_TASKS,
        moves=moves,
        drives=None,
        truck_weight=crew.weight,
        truck_seen=crew.seen,
        truck_on_foot=crew.on_foot,
        truck_groups=crew.groups,
        enter_line=rows.enter_line.astype(np.int64) if len(layout.cross_m) else None,
        leave_line=rows.leave_line.astype(np.int64) if len(layout.cross_m) else None,
    )


@dataclass(frozen=True)
class _Crew:
    """Who drove: index of the truck (n,); of each truck its pseudonym, group and what that says of it."""

    truck: IntColumn
    names: tuple[str, ...]
    groups: tuple[str, ...]
    weight: tuple[float, ...]
    seen: tuple[bool, ...]
    on_foot: tuple[bool, ...]


def _crew(scenario: Scenario, rows: VisitRows) -> _Crew:
    """Number trucks in the order in which they enter; one that goes by two groups is two.

    A row that names no group counts fully, is seen and drives.
    """
    groups = (None, *scenario.trucks)
    both = (rows.truck.astype(np.int64) + 1) * len(groups) + (rows.group + 1)
    first = np.full((len(rows.truck_names) + 1) * len(groups), len(both), dtype=np.int64)
    first[both[::-1]] = np.arange(len(both))[::-1]
    there = np.argsort(first, kind="stable")[: int((first < len(both)).sum())]
    number = np.zeros(len(first), dtype=np.int64)
    number[there] = np.arange(len(there))
    pairs = [divmod(truck, len(groups)) for truck in there.tolist()]
    of_truck = [groups[group] for _, group in pairs]
    on_foot = tuple(trucks is not None and trucks.kind == "walker" for trucks in of_truck)
    return _Crew(
        truck=number[both],
        names=tuple(("", *rows.truck_names)[truck] for truck, _ in pairs),
        groups=tuple("" if trucks is None else trucks.name for trucks in of_truck),
        weight=tuple(1.0 if trucks is None else trucks.service_weight for trucks in of_truck),
        seen=tuple(trucks is None or trucks.seen for trucks in of_truck),
        on_foot=on_foot if any(on_foot) else (),
    )


def _speeds(scenario: Scenario, rows: VisitRows) -> tuple[FloatColumn, ...]:
    """Empty and laden speed, both also inside aisles, and acceleration: of a row's own group or the first."""
    if not scenario.trucks:
        one = np.ones(len(rows.aisle))
        return one, one, one, one, np.zeros(len(rows.aisle))
    group = np.maximum(rows.group, 0)
    gaits = [gait_of(trucks) for trucks in scenario.trucks]
    speeds = ((gait.empty, gait.laden, gait.aisle_empty, gait.aisle_laden, gait.ramp) for gait in gaits)
    columns = np.array(list(speeds), dtype=np.float64)[group]
    return columns[:, 0], columns[:, 1], columns[:, 2], columns[:, 3], columns[:, 4]


def _runs(
    layout: Layout,
    rows: VisitRows,
    speed_in: FloatColumn,
    speed_out: FloatColumn,
    laden: FloatColumn,
    empty: FloatColumn,
    ramp: FloatColumn,
    end_s: float,
) -> tuple[Moves, np.ndarray[tuple[int], np.dtype[np.bool_]]]:
    """Return the runs inside the aisles, and which stays are too short for them.

    A visit that the end of the run cuts short is never too short.
    """
    mouth_in = place_inside(layout, rows.aisle.astype(np.int64), rows.enter_line.astype(np.int64))
    mouth_out = place_inside(layout, rows.aisle.astype(np.int64), rows.leave_line.astype(np.int64))
    has_second = ~np.isnan(rows.second_bay_m)
    last_bay = np.where(has_second, rows.second_bay_m, rows.bay_m)
    out_speed = np.where(has_second, empty, speed_out)
    come_in = travel_time(np.abs(rows.bay_m - mouth_in), speed_in, ramp)
    go_out = travel_time(np.abs(last_bay - mouth_out), out_speed, ramp)
    middle = np.where(has_second, travel_time(np.abs(last_bay - rows.bay_m), laden, ramp), 0.0)
    second_stand = np.where(has_second, np.nan_to_num(rows.second_stand_s), 0.0)
    is_cut = rows.leave >= end_s
    standing = rows.leave - rows.enter - come_in - go_out - middle - second_stand
    too_short = ~is_cut & (standing < -SLACK_S)
    visit = np.arange(len(rows.aisle))
    out_from = np.where(is_cut, np.maximum(rows.leave, rows.enter + come_in), rows.leave - go_out)
    out_from = np.maximum(out_from, rows.enter + come_in + middle + second_stand)
    middle_from = np.maximum(out_from - second_stand - middle, rows.enter + come_in)
    at = np.flatnonzero(has_second)
    columns = [
        np.concatenate(parts)
        for parts in (
            (visit, visit[at], visit),
            (rows.enter, middle_from[at], out_from),
            (mouth_in, rows.bay_m[at], last_bay),
            (rows.bay_m, last_bay[at], mouth_out),
            (speed_in, laden[at], out_speed),
            (ramp, ramp[at], ramp),
        )
    ]
    order = np.lexsort((columns[1], columns[0]))
    return Moves(columns[0][order].astype(np.int64), *(column[order] for column in columns[1:])), too_short
