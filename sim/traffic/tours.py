"""Picking tours: one truck, several aisles, several picks in each.

Comes in: draws of aisles and bays for every line.  Goes out: `Tours`, and `TourTimes` for one truck group.
Before: `traffic/slotting`; after: `traffic/work`, `traffic/plans`, `traffic/paths`.  Aisles are visited in
order across the floor.  Traversal: in by one end of an aisle and out by the other, in turn; where the number
of aisles is odd the last one is left by the end it was entered (Hall, "Distance approximations for routing
manual pickers in a warehouse", IIE Transactions 25(4), 1993).  Return: always out by the front.  A tour is
driven laden from its first aisle on.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from sim.floor.layout import Layout
from sim.records import FloatColumn, IntColumn
from sim.traffic.gait import Gait, mast_time
from sim.traffic.kinematics import travel_time

__all__ = ["TourTimes", "Tours", "join_tours", "no_tours", "order_tours", "time_tours"]


@dataclass(frozen=True)
class Tours:
    """Tours (T), their visits to aisles (V) and their lines (L), each in the order of the way.

    Attributes
    ----------
    first_visit : where a tour's visits begin (T + 1,)
    aisle : of each visit (V,)
    enters_back, leaves_back : by the back mouth (V,)
    first_line : where a visit's lines begin (V + 1,)
    bay_m, height_m : of each line (L,)
    pick_s : by truck group [s] (groups, L)
    """

    first_visit: IntColumn
    aisle: IntColumn
    enters_back: np.ndarray[Any, np.dtype[np.bool_]]
    leaves_back: np.ndarray[Any, np.dtype[np.bool_]]
    first_line: IntColumn
    bay_m: FloatColumn
    height_m: FloatColumn
    pick_s: FloatColumn

    def __len__(self) -> int:
        return len(self.first_visit) - 1


def no_tours(groups: int) -> Tours:
    """Return what a scenario without tours has."""
    none, nothing, never = np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0, dtype=bool)
    edge = np.zeros(1, dtype=np.int64)
    return Tours(edge, none, never, never, edge, nothing, nothing, np.zeros((groups, 0)))


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
    aisle: IntColumn, bay_m: FloatColumn, height_m: FloatColumn, pick_s: FloatColumn, *, is_traversal: bool
) -> Tours:
    """Sort the lines of tours into visits.

    Parameters
    ----------
    aisle, bay_m, height_m : of each line (T, lines)
    pick_s : (groups, T, lines)
    is_traversal : out by the other end; else out by the front
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
    number = np.arange(len(first_line) - 1) - np.repeat(first_visit[:-1], visits_of)
    is_last = number == np.repeat(visits_of, visits_of) - 1
    enters_back = (number % 2 == 1) & is_traversal
    leaves_back = (number % 2 == 0) & ~is_last & is_traversal
    depth = bay_m.ravel()[order]
    along = np.lexsort((np.where(enters_back[visit], -depth, depth), visit))
    order = order[along]
    return Tours(
        first_visit=first_visit,
        aisle=sorted_aisle[begins],
        enters_back=enters_back,
        leaves_back=leaves_back,
        first_line=first_line,
        bay_m=bay_m.ravel()[order],
        height_m=height_m.ravel()[order],
        pick_s=pick_s.reshape(len(pick_s), -1)[:, order],
    )


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


def stub_of(layout: Layout, aisle: IntColumn, by_back: np.ndarray[Any, np.dtype[np.bool_]]) -> FloatColumn:
    """Return the way between the back mouth and the back cross-aisle, 0 at the front [m] (n,)."""
    stub: FloatColumn = np.where(by_back, layout.length_m.max() - layout.length_m[aisle], 0.0)
    return stub


def time_tours(layout: Layout, gait: Gait, group: int, tours: Tours) -> TourTimes:
    """Work out every run and stand of all tours for one group."""
    speed, ramp = gait.aisle_laden, gait.ramp
    length = layout.length_m[tours.aisle]
    entry_m, exit_m = np.where(tours.enters_back, length, 0.0), np.where(tours.leaves_back, length, 0.0)
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
    inside = np.add.reduceat(line_run + stand, first) if len(first) else np.zeros(0)
    between = np.zeros(len(tours.aisle))
    if len(between):
        across = np.abs(np.diff(layout.aisle_m[tours.aisle]))
        out_stub = stub_of(layout, tours.aisle, tours.leaves_back)[:-1]
        in_stub = stub_of(layout, tours.aisle, tours.enters_back)[1:]
        between[1:] = 2.0 * gait.turn_s + sum(
            travel_time(way, gait.laden, ramp) for way in (out_stub, across, in_stub)
        )
        between[tours.first_visit[:-1]] = 0.0
    return TourTimes(line_from, line_run, stand, exit_from, exit_m, exit_run, inside + exit_run, between)
