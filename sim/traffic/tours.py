"""Picking tours: one truck, several aisles, several picks in each.

Comes in: draws of aisles and bays for every line.  Goes out: `Tours`, and `TourTimes` for one truck group.
Before: `traffic/slotting`; after: `traffic/work`, `traffic/plans`, `traffic/paths`.  Aisles are visited in
order across the floor.  Traversal: in by one end of an aisle and out by the other, in turn; where the number
of aisles is odd the last one is left by the end it was entered (Hall, "Distance approximations for routing
manual pickers in a warehouse", IIE Transactions 25(4), 1993).  Return: always out by the front.  Shortest: by
whatever cross-aisles make the whole way shortest, by dynamic programming over them (the aisle-by-aisle rule
of Vaughan and Petersen, "The effect of warehouse cross aisles on order picking efficiency", International
Journal of Production Research 37(4), 1999, from memory).  One-way aisles are driven in their direction under
any rule.  A tour is driven laden from its first aisle on.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from sim.floor.layout import Layout
from sim.records import FloatColumn, IntColumn
from sim.traffic.gait import Gait, mast_time
from sim.traffic.kinematics import travel_time
from sim.traffic.ways import (
    BACK,
    FRONT,
    between_ways,
    cross_lines,
    extra_way,
    may_enter,
    may_leave,
    place_inside,
)

__all__ = ["TourTimes", "Tours", "join_tours", "no_tours", "order_tours", "time_tours"]


@dataclass(frozen=True)
class Tours:
    """Tours (T), their visits to aisles (V) and their lines (L), each in the order of the way.

    Attributes
    ----------
    first_visit : where a tour's visits begin (T + 1,)
    aisle : of each visit (V,)
    enter_line, leave_line : by which cross-aisle, see `traffic/ways` (V,)
    first_line : where a visit's lines begin (V + 1,)
    bay_m, height_m : of each line (L,)
    pick_s : by truck group [s] (groups, L)
    """

    first_visit: IntColumn
    aisle: IntColumn
    enter_line: IntColumn
    leave_line: IntColumn
    first_line: IntColumn
    bay_m: FloatColumn
    height_m: FloatColumn
    pick_s: FloatColumn

    def __len__(self) -> int:
        return len(self.first_visit) - 1


def no_tours(groups: int) -> Tours:
    """Return what a scenario without tours has."""
    none, nothing, edge = np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(1, dtype=np.int64)
    return Tours(edge, none, none, none, edge, nothing, nothing, np.zeros((groups, 0)))


def join_tours(parts: list[Tours]) -> Tours:
    """Put tours one after the other."""
    visits = np.cumsum([0, *(len(part.aisle) for part in parts)])
    lines = np.cumsum([0, *(len(part.bay_m) for part in parts)])
    joined = {
        field.name: np.concatenate([getattr(part, field.name) for part in parts], axis=-1)
        for field in fields(Tours)
        if not field.name.startswith("first_")
    }
    return Tours(
        first_visit=np.concatenate(
            [[0], *(part.first_visit[1:] + begin for part, begin in zip(parts, visits, strict=False))]
        ),
        first_line=np.concatenate(
            [[0], *(part.first_line[1:] + begin for part, begin in zip(parts, lines, strict=False))]
        ),
        **joined,
    )


def order_tours(
    layout: Layout,
    aisle: IntColumn,
    bay_m: FloatColumn,
    height_m: FloatColumn,
    pick_s: FloatColumn,
    routing: str,
) -> Tours:
    """Sort the lines of tours into visits, and choose the cross-aisles.

    Parameters
    ----------
    layout : the floor
    aisle, bay_m, height_m : of each line (T, lines)
    pick_s : (groups, T, lines)
    routing : "traversal", "return" or "shortest"
    """
    count, lines = aisle.shape
    tour = np.repeat(np.arange(count), lines)
    order = np.lexsort((aisle.ravel(), tour))
    sorted_aisle = aisle.ravel()[order]
    begins = np.append(True, (np.diff(tour) != 0) | (np.diff(sorted_aisle) != 0))[: len(tour)]
    first_line = np.append(np.flatnonzero(begins), len(tour))
    visit = np.cumsum(begins) - 1
    visits_of = np.bincount(tour[begins], minlength=count)
    first_visit = np.concatenate([[0], np.cumsum(visits_of)])
    depth, visited = bay_m.ravel()[order], sorted_aisle[begins]
    direction = layout.direction[visited]
    if routing == "shortest":
        near, far = (
            np.minimum.reduceat(depth, first_line[:-1]) if len(depth) else depth,
            np.maximum.reduceat(depth, first_line[:-1]) if len(depth) else depth,
        )
        enter_line, leave_line = _shortest(layout, visited, near, far, first_visit)
        lines_m = cross_lines(layout)
        outward, inward = _inside_ways(lines_m[enter_line], lines_m[leave_line], near, far)
        is_inward = np.where(direction == 0, inward < outward, direction < 0)
    else:
        enter_line, leave_line = _by_the_ends(direction, first_visit, is_traversal=routing == "traversal")
        is_inward = enter_line == BACK
    along = np.lexsort((np.where(is_inward[visit], -depth, depth), visit))
    order = order[along]
    return Tours(
        first_visit=first_visit,
        aisle=visited,
        enter_line=enter_line,
        leave_line=leave_line,
        first_line=first_line,
        bay_m=bay_m.ravel()[order],
        height_m=height_m.ravel()[order],
        pick_s=pick_s.reshape(len(pick_s), -1)[:, order],
    )


def _by_the_ends(
    direction: IntColumn, first_visit: IntColumn, *, is_traversal: bool
) -> tuple[IntColumn, IntColumn]:
    """Go from end to end, or in and out by the front; through one-way aisles their own way (V,)."""
    enter, leave = np.zeros((2, len(direction)), dtype=np.int64)
    stands_back = np.zeros(len(first_visit) - 1, dtype=bool)
    for _, tour, visit, is_last in _visit_by_visit(first_visit):
        way, from_back = direction[visit], stands_back[tour]
        enters_back = np.where(way == 0, from_back & is_traversal, way < 0)
        leaves_back = np.where(way == 0, ~from_back & ~is_last & is_traversal, way > 0)
        enter[visit], leave[visit] = np.where(enters_back, BACK, FRONT), np.where(leaves_back, BACK, FRONT)
        stands_back[tour] = leaves_back
    return enter, leave


def _visit_by_visit(
    first_visit: IntColumn,
) -> Iterator[tuple[int, IntColumn, IntColumn, np.ndarray[Any, np.dtype[np.bool_]]]]:
    """Yield the first visits of all tours, then the second ones, ...: number, tours, visits, is last."""
    count = np.diff(first_visit)
    for number in range(int(count.max(initial=0))):
        tour = np.flatnonzero(count > number)
        yield number, tour, first_visit[tour] + number, count[tour] == number + 1


def _inside_ways(
    enter_m: FloatColumn, leave_m: FloatColumn, near: FloatColumn, far: FloatColumn
) -> tuple[FloatColumn, FloatColumn]:
    """Way from line to line past all picks, the nearest to the front first, and the farthest first [m]."""
    span = far - near
    return (
        np.abs(enter_m - near) + span + np.abs(far - leave_m),
        np.abs(enter_m - far) + span + np.abs(near - leave_m),
    )


def _shortest(
    layout: Layout, aisle: IntColumn, near: FloatColumn, far: FloatColumn, first_visit: IntColumn
) -> tuple[IntColumn, IntColumn]:
    """Choose every visit's lines so that the whole tour, from door to door, is shortest (V,).

    A first aisle is best entered, and a last one left, where a single visit would: straight from the front,
    or by the first cross-aisle at or behind its bays where its direction forbids that.
    """
    lines = cross_lines(layout)
    direction = layout.direction[aisle]
    outward, inward = _inside_ways(lines[:, None], lines[None, :], near[:, None, None], far[:, None, None])
    cost = np.where(direction[:, None, None] == 0, np.minimum(outward, inward), outward)
    cost[direction < 0] = inward[direction < 0]
    may_begin = may_enter(layout, aisle, np.where(direction < 0, far, near))
    may_end = may_leave(layout, aisle, np.where(direction < 0, near, far))
    first, last = first_visit[:-1], first_visit[1:] - 1
    may_begin[first] &= _is_least(np.where(may_begin[first], lines, np.inf))
    may_end[last] &= _is_least(np.where(may_end[last], lines, np.inf))
    cost[~(may_begin[:, :, None] & may_end[:, None, :])] = np.inf
    so_far = np.zeros((len(first), len(lines)))
    came_by, entered_by = np.zeros((2, len(aisle), len(lines)), dtype=np.int64)
    for number, tour, visit, _ in _visit_by_visit(first_visit):
        before = so_far[tour]
        if number:
            across = before[:, :, None] + extra_way(layout, aisle[visit - 1], aisle[visit])
            came_by[visit] = np.argmin(across, axis=1)
            before = np.min(across, axis=1)
        through = before[:, :, None] + cost[visit]
        entered_by[visit] = np.argmin(through, axis=1)
        so_far[tour] = np.min(through, axis=1)
    leave = np.zeros(len(aisle), dtype=np.int64)
    leave[last] = np.argmin(so_far, axis=1)
    for _, _, visit, is_last in reversed(list(_visit_by_visit(first_visit))):
        following = visit[~is_last] + 1
        leave[following - 1] = came_by[following, entered_by[following, leave[following]]]
    enter = entered_by[np.arange(len(aisle)), leave]
    back = len(lines) - 1
    return np.where(enter == back, BACK, enter), np.where(leave == back, BACK, leave)


def _is_least(values: FloatColumn) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Mark the least of each row (n, C)."""
    marks: np.ndarray[Any, np.dtype[np.bool_]] = values == values.min(axis=1, keepdims=True)
    return marks


@dataclass(frozen=True)
class TourTimes:
    """How one group does some tours.

    Attributes
    ----------
    line_from_m : where the run to each line begins (L,)
    line_run, line_stand : that run's time, and the stand at its end, mast included [s] (L,)
    exit_from_m, exit_to_m : the run out of the aisle (V,)
    exit_run : its time [s] (V,)
    stay : in the aisle [s] (V,)
    between : from the mouth of the visit before, turns included; 0 for a tour's first [s] (V,)
    """

    line_from_m: FloatColumn
    line_run: FloatColumn
    line_stand: FloatColumn
    exit_from_m: FloatColumn
    exit_to_m: FloatColumn
    exit_run: FloatColumn
    stay: FloatColumn
    between: FloatColumn


def time_tours(layout: Layout, gait: Gait, group: int, tours: Tours) -> TourTimes:
    """Work out every run and stand of all tours, one at least, for one group."""
    speed, ramp = gait.aisle_laden, gait.ramp
    entry_m = place_inside(layout, tours.aisle, tours.enter_line)
    exit_m = place_inside(layout, tours.aisle, tours.leave_line)
    first, last = tours.first_line[:-1], tours.first_line[1:] - 1
    line_from, height_before = np.append(0.0, tours.bay_m[:-1]), np.append(0.0, tours.height_m[:-1])
    line_from, height_before = line_from[: len(tours.bay_m)], height_before[: len(tours.bay_m)]
    line_from[first], height_before[first] = entry_m, 0.0
    line_run = travel_time(np.abs(tours.bay_m - line_from), speed, ramp)
    exit_from = tours.bay_m[last]
    exit_run = travel_time(np.abs(exit_m - exit_from), speed, ramp)
    floor = np.zeros(len(tours.bay_m))
    if gait.lifts_while_travelling:
        mast = np.maximum(0.0, mast_time(gait, height_before, tours.height_m) - line_run)
        mast[last] += np.maximum(0.0, mast_time(gait, tours.height_m[last], floor[last]) - exit_run)
    else:
        mast = mast_time(gait, floor, tours.height_m) + mast_time(gait, tours.height_m, floor)
    stand = tours.pick_s[group] + mast
    inside = np.add.reduceat(line_run + stand, first)
    between = np.zeros(len(tours.aisle))
    aisle, leave, enter = tours.aisle, tours.leave_line, tours.enter_line
    *ways, _ = between_ways(layout, aisle[:-1], leave[:-1], aisle[1:], enter[1:])
    between[1:] = 2.0 * gait.turn_s + sum(travel_time(way, gait.laden, ramp) for way in ways)
    between[tours.first_visit[:-1]] = 0.0
    return TourTimes(line_from, line_run, stand, exit_from, exit_m, exit_run, inside + exit_run, between)
