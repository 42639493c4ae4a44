"""What each truck would do inside each aisle, leg by leg, before anybody knows when: the plan of a visit.

Comes in: layout, truck groups, fleet, tasks.  Goes out: `VisitPlan` on demand.  Before: `traffic/paths`,
whose reconstruction of a visit is asked once for all moves, entered at second 0; after:
`lighting/live_floor`, where the legs are driven when the simulation gets there.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from sim.floor.layout import Layout
from sim.records import FloatColumn, IntColumn, Moves, Visits
from sim.scenario.schema import Trucks
from sim.traffic.fleet import Fleet
from sim.traffic.kinematics import travel_time
from sim.traffic.paths import VISIT_TASKS, log_paths
from sim.traffic.ways import BACK, FRONT, is_one_visit
from sim.traffic.work import Tasks
from sim.traffic.world import PARTS, ChargeLog, Log

__all__ = ["Leg", "Plans", "VisitPlan", "plan_visits"]

FAR_S = 1e15
BLOCK, KEPT_BLOCKS = 2048, 16
PUTAWAY = VISIT_TASKS.index("putaway")
HOME_EMPTY = tuple(VISIT_TASKS.index(task) for task in ("putaway", "replenish-set", "replenish-both"))


class Leg(NamedTuple):
    """A straight run inside the aisle and how long the truck stands after it [m], [m/s], [m/s2], [s]."""

    from_m: float
    to_m: float
    speed: float
    rate: float
    stand_s: float


class VisitPlan(NamedTuple):
    """One visit of one truck.

    Attributes
    ----------
    aisle, bay_m, task : as in `Visits`
    enters_back, leaves_back : by the back mouth
    legs : runs from rest to rest, in order
    run_in_m, run_before_m, run_speed, run_rate, turn_s : how it comes to the mouth, as in `Visits`; for the
        first visit of a move that is no putaway, as if it came from the first door
    enter_line, leave_line : by which cross-aisle, see `traffic/ways`
    """

    aisle: int
    bay_m: float
    task: int
    enters_back: bool
    leaves_back: bool
    legs: tuple[Leg, ...]
    run_in_m: float
    run_before_m: float
    run_speed: float
    run_rate: float
    turn_s: float
    enter_line: int
    leave_line: int

    @property
    def is_from_end_door(self) -> bool:
        """Whether it comes from the door where its move also ends."""
        return self.task == PUTAWAY

    @property
    def is_home_empty(self) -> bool:
        """Whether the truck goes home without a load."""
        return self.task in HOME_EMPTY


@dataclass(frozen=True)
class _Planned:
    """One group's visits, entered at second 0, by ascending row; their runs."""

    visits: Visits | None
    rows: IntColumn
    first_move: IntColumn
    stand_s: FloatColumn


class Plans:
    """The plans of every group, made block by block, so that a year of them never lies in memory as objects.

    A row is `PARTS` times the task's number, and the part of the task.
    """

    def __init__(self, planned: list[_Planned]) -> None:
        self._planned = planned
        self._blocks: dict[tuple[int, int], list[VisitPlan]] = {}

    def has(self, group: int, row: int) -> bool:
        """Say whether there is such a visit."""
        rows = self._planned[group].rows
        place = bisect_left(rows, row)
        return place < len(rows) and bool(rows[place] == row)

    def of(self, group: int, row: int) -> VisitPlan:
        """Return the plan of a row."""
        block, place = divmod(bisect_left(self._planned[group].rows, row), BLOCK)
        made = self._blocks.get((group, block))
        if made is None:
            if len(self._blocks) >= KEPT_BLOCKS:
                del self._blocks[next(iter(self._blocks))]
            made = self._blocks[group, block] = _make_block(self._planned[group], block)
        return made[place]


def _make_block(planned: _Planned, block: int) -> list[VisitPlan]:
    """Make the plans of one block of visits."""
    visits = planned.visits
    assert visits is not None
    moves, turn = visits.moves, visits.turn
    assert moves is not None
    assert turn is not None
    rows = slice(block * BLOCK, min((block + 1) * BLOCK, len(visits)))
    edges = planned.first_move[rows.start : rows.stop + 1].tolist()
    runs = slice(edges[0], edges[-1])
    columns = (moves.from_m, moves.to_m, moves.speed, moves.acceleration, planned.stand_s)
    legs = [Leg(*leg) for leg in zip(*(column[runs].tolist() for column in columns), strict=True)]
    lines = [
        np.where(is_back[rows], BACK, FRONT) if line is None else line[rows]
        for line, is_back in (
            (visits.enter_line, visits.enters_back),
            (visits.leave_line, visits.leaves_back),
        )
    ]
    own_legs = [tuple(legs[begin - edges[0] : end - edges[0]]) for begin, end in pairwise(edges)]
    return [
        VisitPlan(*values)
        for values in zip(
            visits.aisle[rows].tolist(),
            visits.bay_m[rows].tolist(),
            visits.task[rows].tolist(),
            visits.enters_back[rows].tolist(),
            visits.leaves_back[rows].tolist(),
            own_legs,
            visits.run_in_m[rows].tolist(),
            visits.run_before_m[rows].tolist(),
            visits.run_speed[rows].tolist(),
            visits.run_acceleration[rows].tolist(),
            turn[rows].tolist(),
            *(line.tolist() for line in lines),
            strict=True,
        )
    ]


def plan_visits(
    layout: Layout,
    groups: tuple[Trucks, ...],
    may_do: tuple[tuple[bool, ...], ...],
    fleet: Fleet,
    tasks: Tasks,
) -> Plans:
    """Plan every visit for every group that may make it.

    Parameters
    ----------
    layout, groups, may_do, fleet, tasks : as for `traffic/world`
    """
    bays = tasks.aisle, tasks.bay_m, tasks.second_aisle, tasks.second_bay_m
    has_second = (tasks.second_aisle >= 0) & ~is_one_visit(layout, *bays)
    parts = 1 + has_second.astype(np.int64)
    of_tour = np.flatnonzero(tasks.tour >= 0)
    tour = tasks.tour[of_tour]
    parts[of_tour] = tasks.tours.first_visit[tour + 1] - tasks.tours.first_visit[tour]
    planned: list[_Planned] = []
    for group in range(len(groups)):
        able = np.array([allowed[group] for allowed in may_do], dtype=bool)
        mine = np.flatnonzero(able[tasks.work]) if len(tasks) else np.zeros(0, dtype=np.int64)
        task = np.repeat(mine, parts[mine])
        part = np.arange(len(task)) - np.repeat(np.cumsum(parts[mine]) - parts[mine], parts[mine])
        rows = PARTS * task + part
        if not len(rows):
            planned.append(_Planned(None, rows, np.zeros(1, dtype=np.int64), np.zeros(0)))
            continue
        visits = log_paths(layout, groups, fleet, tasks, _log_at_zero(fleet, group, task, part), FAR_S)
        assert visits.moves is not None
        first_move = np.searchsorted(visits.moves.visit, np.arange(len(rows) + 1))
        planned.append(_Planned(visits, rows, first_move, _stands(visits.moves, visits.leave)))
    return Plans(planned)


def _log_at_zero(fleet: Fleet, group: int, task: IntColumn, part: IntColumn) -> Log:
    """Return a log in which one truck of a group begins all visits at second 0."""
    at_zero, none = np.zeros(len(task)), np.full(len(task), -1)
    nobody = np.zeros(0, dtype=np.int64)
    return Log(
        task=task,
        part=part,
        partner=none,
        truck=np.full(len(task), fleet.group.index(group)),
        from_door=np.zeros(len(task), dtype=np.int64),
        arrive=at_zero,
        enter=at_zero,
        done_by=nobody,
        begin=np.zeros(0),
        finish=np.zeros(0),
        waiting_tasks=0,
        charges=ChargeLog(nobody, *([np.zeros(0)] * 3)),
    )


def _stands(moves: Moves, leave: FloatColumn) -> FloatColumn:
    """Return how long the truck stands after each run, until the next one or until it leaves [s]."""
    stop = moves.start + travel_time(np.abs(moves.to_m - moves.from_m), moves.speed, moves.acceleration)
    is_last = np.append(moves.visit[1:] != moves.visit[:-1], True)
    until = np.where(is_last, leave[moves.visit], np.append(moves.start[1:], 0.0))
    stand: FloatColumn = np.maximum(0.0, until - stop)
    # what rounding leaves after the last run is no stand
    stand[is_last & (stand < 1e-9)] = 0.0
    return stand
