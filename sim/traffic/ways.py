"""Legal ways on the floor: by which cross-aisle a truck enters and leaves an aisle, and round which side.

Comes in: layout, aisles and bays.  Goes out: lines (cross-aisles by number) and lengths of straight runs.
Before: `floor/layout`; after: `traffic/tours`, `traffic/legs`, `traffic/plans`, `traffic/visit_paths`.

A line is a cross-aisle by its number: 0 the front one, then the middle ones, `BACK` (-1) the back one.  A
truck gets from one line to another inside an aisle in which it has work, or round the outside of the racks,
by the side that makes the way shorter.  A one-way aisle is driven in its direction only, and never reversed
in; like any aisle it may be entered and left wherever a cross-aisle meets it.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from sim.floor.layout import Layout
from sim.records import FloatColumn, IntColumn

__all__ = [
    "ALIKE_M",
    "BACK",
    "FRONT",
    "Lines",
    "between_ways",
    "choose_lines",
    "cross_lines",
    "is_back_mouth",
    "is_middle",
    "is_one_visit",
    "line_names",
    "place_inside",
    "round_by_the_side",
    "side_between",
    "sides_between",
    "single_lines",
    "stub_of",
]

BoolColumn = np.ndarray[Any, np.dtype[np.bool_]]
FRONT, BACK = 0, -1
ALIKE_M = 1e-9
"""Ways whose lengths differ by less are alike: rounding does not choose between them."""
BLOCK = 65_536
"""Pairs of bays looked at together; bounds the memory, changes no result."""


def cross_lines(layout: Layout) -> FloatColumn:
    """Return where the cross-aisles lie along the aisles: front, middle ones, back [m] (C,)."""
    return np.concatenate([[0.0], layout.cross_m, [layout.length_m.max()]])


def line_names(layout: Layout) -> tuple[str, ...]:
    """Return what tables call the cross-aisles: front, the distance of each middle one [m], back (C,)."""
    return ("front", *(repr(place) for place in layout.cross_m.tolist()), "back")


def place_inside(layout: Layout, aisle: IntColumn, line: IntColumn) -> FloatColumn:
    """Return where inside its aisle a truck comes in from a line or goes out to it [m] (n,)."""
    place: FloatColumn = np.minimum(cross_lines(layout)[line], layout.length_m[aisle])
    return place


def stub_of(layout: Layout, aisle: IntColumn, line: IntColumn) -> FloatColumn:
    """Return the way between a back mouth and a line behind it, 0 for other lines [m] (n,)."""
    stub: FloatColumn = np.maximum(0.0, cross_lines(layout)[line] - layout.length_m[aisle])
    return stub


def is_back_mouth(layout: Layout, aisle: IntColumn, line: IntColumn) -> BoolColumn:
    """Say whether a line is reached through the aisle's back mouth (n,)."""
    by_back: BoolColumn = cross_lines(layout)[line] >= layout.length_m[aisle]
    return by_back


def is_middle(layout: Layout, aisle: IntColumn, line: IntColumn) -> BoolColumn:
    """Say whether a line meets the aisle between its mouths (n,)."""
    between: BoolColumn = (line != FRONT) & ~is_back_mouth(layout, aisle, line)
    return between


def _next_behind(layout: Layout, bay_m: FloatColumn) -> IntColumn:
    """Return the first line at a bay or behind it, never the front one (n,)."""
    lines = cross_lines(layout)
    number = np.maximum(np.searchsorted(lines, bay_m, side="left"), 1)
    line: IntColumn = np.where(number >= len(lines) - 1, BACK, number)
    return line


def single_lines(
    layout: Layout, aisle: IntColumn, bay_m: FloatColumn, is_through: BoolColumn
) -> tuple[IntColumn, IntColumn]:
    """Return the lines by which a truck comes to a bay from a door, and goes home from it (n,) each.

    Parameters
    ----------
    layout : the floor
    aisle, bay_m : of the bays (n,)
    is_through : goes through the whole aisle, from mouth to mouth (n,)
    """
    direction = layout.direction[aisle]
    if not direction.any() and not is_through.any():
        front = np.zeros(len(aisle), dtype=np.int64)
        return front, front.copy()
    behind = np.where(is_through, BACK, _next_behind(layout, bay_m))
    come = np.where(direction < 0, behind, FRONT)
    go = np.where((direction > 0) | (is_through & (direction == 0)), behind, FRONT)
    return come, go


def is_one_visit(
    layout: Layout, first: IntColumn, bay_m: FloatColumn, second: IntColumn, second_bay_m: FloatColumn
) -> BoolColumn:
    """Say whether a truck gets from one bay to another without leaving the aisle (n,)."""
    ahead = np.sign(second_bay_m - bay_m) * layout.direction[first] >= 0.0
    same: BoolColumn = (first == second) & ahead
    return same


class Lines(NamedTuple):
    """By which lines trucks leave a first aisle and enter a second one (n,) each."""

    leave: IntColumn
    enter: IntColumn


def choose_lines(
    layout: Layout, first: IntColumn, bay_m: FloatColumn, second: IntColumn, second_bay_m: FloatColumn
) -> Lines:
    """Return the lines of the shortest legal way from bay to bay; of ways alike the one nearest the front.

    Parameters
    ----------
    layout : the floor
    first, bay_m, second, second_bay_m : aisles and bays (n,)
    """
    leave, enter = np.zeros((2, len(first)), dtype=np.int64)
    for begin in range(0, len(first), BLOCK):
        rows = slice(begin, begin + BLOCK)
        leave[rows], enter[rows] = _choose_block(
            layout, first[rows], bay_m[rows], second[rows], second_bay_m[rows]
        )
    return Lines(leave, enter)


def _choose_block(
    layout: Layout, first: IntColumn, bay_m: FloatColumn, second: IntColumn, second_bay_m: FloatColumn
) -> tuple[IntColumn, IntColumn]:
    """Weigh every pair of lines."""
    lines = cross_lines(layout)
    out = np.abs(bay_m[:, None] - lines)
    into = np.abs(second_bay_m[:, None] - lines)
    out[~may_leave(layout, first, bay_m)] = np.inf
    into[~may_enter(layout, second, second_bay_m)] = np.inf
    cost = out[:, :, None] + into[:, None, :] + extra_way(layout, first, second)
    costs = cost.reshape(len(first), -1)
    best = np.argmax(costs <= costs.min(axis=1, keepdims=True) + ALIKE_M, axis=1)
    leave, enter = np.divmod(best, len(lines))
    last = len(lines) - 1
    return np.where(leave == last, BACK, leave), np.where(enter == last, BACK, enter)


def may_leave(layout: Layout, aisle: IntColumn, bay_m: FloatColumn) -> BoolColumn:
    """Say by which lines an aisle may be left after a bay (n, C)."""
    lines, direction = cross_lines(layout), layout.direction[aisle][:, None]
    allowed: BoolColumn = (direction == 0) | (direction * (lines - bay_m[:, None]) >= 0.0)
    allowed[layout.direction[aisle] > 0, 0] = False
    allowed[layout.direction[aisle] < 0, -1] = False
    return allowed


def may_enter(layout: Layout, aisle: IntColumn, bay_m: FloatColumn) -> BoolColumn:
    """Say by which lines an aisle may be entered before a bay (n, C)."""
    lines, direction = cross_lines(layout), layout.direction[aisle][:, None]
    allowed: BoolColumn = (direction == 0) | (direction * (bay_m[:, None] - lines) >= 0.0)
    allowed[layout.direction[aisle] > 0, -1] = False
    allowed[layout.direction[aisle] < 0, 0] = False
    return allowed


def extra_way(layout: Layout, first: IntColumn, second: IntColumn) -> FloatColumn:
    """Return how much longer than straight across the way from line to line is [m] (n, C, C)."""
    lines = cross_lines(layout)
    here, there = layout.aisle_m[first], layout.aisle_m[second]
    side = sides_between(layout, here, there)
    detour = np.abs(here - side) + np.abs(side - there) - np.abs(here - there)
    along = np.abs(lines[:, None] - lines[None, :])
    extra: FloatColumn = np.where(along > 0.0, along + detour[:, None, None], 0.0)
    return extra


def sides_between(layout: Layout, here_m: FloatColumn, there_m: FloatColumn) -> FloatColumn:
    """Return the side of the floor round which the way between two places is shorter [m] (n,).

    Parameters
    ----------
    layout : the floor
    here_m, there_m : places across the floor, of aisles or doors [m] (n,)

    Notes
    -----
    The way across is here + there round the side at 0, and 2 width - here - there round the other one; of
    sides alike the one at 0.
    """
    longer = 2.0 * (here_m + there_m - layout.width_m)
    side: FloatColumn = np.where(longer <= ALIKE_M, 0.0, layout.width_m)
    return side


def side_between(here_m: float, there_m: float, width_m: float) -> float:
    """Return the same as `sides_between` for one pair of places [m]."""
    return 0.0 if 2.0 * (here_m + there_m - width_m) <= ALIKE_M else width_m


class Between(NamedTuple):
    """Straight runs from a mouth to the next one, in order; where both lines are one, the middle two are 0.

    Attributes
    ----------
    stub, across, along, back_across, second_stub : lengths [m] (n,)
    side : the side's place across the floor [m] (n,)
    """

    stub: FloatColumn
    across: FloatColumn
    along: FloatColumn
    back_across: FloatColumn
    second_stub: FloatColumn
    side: FloatColumn


def between_ways(
    layout: Layout, first: IntColumn, leave: IntColumn, second: IntColumn, enter: IntColumn
) -> Between:
    """Return the way from one aisle to another by given lines."""
    here, there = layout.aisle_m[first], layout.aisle_m[second]
    lines, side, is_round = cross_lines(layout), sides_between(layout, here, there), leave != enter
    return Between(
        stub=stub_of(layout, first, leave),
        across=np.where(is_round, np.abs(here - side), np.abs(here - there)),
        along=np.abs(lines[leave] - lines[enter]),
        back_across=np.where(is_round, np.abs(side - there), 0.0),
        second_stub=stub_of(layout, second, enter),
        side=side,
    )


class Round(NamedTuple):
    """Straight runs between an aisle and a door, by a line that is not the front one (n,) each.

    Attributes
    ----------
    stub, across, along, to_door : to the line, on it to the side, along the side, on the front line [m]
    side : the side's place across the floor [m]
    """

    stub: FloatColumn
    across: FloatColumn
    along: FloatColumn
    to_door: FloatColumn
    side: FloatColumn


def round_by_the_side(layout: Layout, aisle: IntColumn, line: IntColumn, door: IntColumn) -> Round:
    """Return the way from an aisle by a line that is not the front one, round the shorter side, to a door."""
    here, there = layout.aisle_m[aisle], layout.door_m[door]
    side = sides_between(layout, here, there)
    return Round(
        stub=stub_of(layout, aisle, line),
        across=np.abs(here - side),
        along=cross_lines(layout)[line],
        to_door=np.abs(side - there),
        side=side,
    )
