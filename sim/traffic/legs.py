"""How a truck does a move, leg by leg: ways, stands at the bays, the mast; as arrays over many moves.

Comes in: layout, a truck group, tasks.  Goes out: times [s].  Before: `traffic/work`; after: `traffic/plans`
(what the simulation needs) and `traffic/paths` (where the truck was).  Every straight run goes from rest to
rest.  A floor truck stands at the bay while it lifts, handles and lowers; a truck that lifts while it travels
waits there only for what the mast still lacks.  Inside an aisle the aisle's speed limit holds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.floor.layout import Layout
from sim.records import FloatColumn, IntColumn
from sim.traffic.gait import Gait, mast_time
from sim.traffic.kinematics import travel_time
from sim.traffic.ways import between_ways, choose_lines, is_one_visit, place_inside, single_lines
from sim.traffic.work import Tasks

__all__ = ["Route", "SingleVisit", "replenish_route", "route_between", "single_visit"]

BoolColumn = np.ndarray[Any, np.dtype[np.bool_]]
Rows = slice | IntColumn


@dataclass(frozen=True)
class SingleVisit:
    """In, handle once, out: by some moves of one group (n,).

    Attributes
    ----------
    enter_line, leave_line : by which cross-aisle it comes and goes, see `traffic/ways`
    speed_in, speed_out : inside the aisle [m/s]
    enter_m, leave_m : where it comes into the aisle and goes out of it [m]
    in_m, out_m : length of the way in and out [m]
    stand : time at the bay, mast included [s]
    """

    enter_line: IntColumn
    leave_line: IntColumn
    speed_in: FloatColumn
    speed_out: FloatColumn
    enter_m: FloatColumn
    leave_m: FloatColumn
    in_m: FloatColumn
    out_m: FloatColumn
    stand: FloatColumn


def single_visit(
    layout: Layout, gait: Gait, group: int, tasks: Tasks, rows: Rows, is_put: BoolColumn
) -> SingleVisit:
    """Plan the aisle part of putaways (`is_put`), retrievals and walks."""
    aisle, bay, height = tasks.aisle[rows], tasks.bay_m[rows], tasks.height_m[rows]
    enter_line, leave_line = single_lines(layout, aisle, bay, tasks.is_through[rows])
    enter_m, leave_m = place_inside(layout, aisle, enter_line), place_inside(layout, aisle, leave_line)
    in_m, out_m = np.abs(bay - enter_m), np.abs(leave_m - bay)
    speed_in = np.where(is_put, gait.aisle_laden, gait.aisle_empty)
    speed_out = np.where(is_put, gait.aisle_empty, gait.aisle_laden)
    stand = np.where(is_put, tasks.set_s[group, rows], tasks.pick_s[group, rows])
    if gait.lifts_while_travelling:
        late_up = height * gait.up - travel_time(in_m, speed_in, gait.ramp)
        late_down = height * gait.down - travel_time(out_m, speed_out, gait.ramp)
        mast = np.maximum(0.0, late_up) + np.maximum(0.0, late_down)
    else:
        mast = height * gait.up + height * gait.down
    return SingleVisit(
        enter_line, leave_line, speed_in, speed_out, enter_m, leave_m, in_m, out_m, stand + mast
    )


@dataclass(frozen=True)
class Route:
    """From bay to bay, from a door and home again, rest to rest (n,).

    Attributes
    ----------
    is_one_visit : both bays lie in one aisle, and the second one ahead: one visit
    enter_line, out_line, in_line, leave_line : by which cross-aisles it comes to the first bay, leaves it,
        comes to the second one and goes home; in one visit the middle two say nothing
    enter_m, out_m, in_m, leave_m : the places in the aisles where it does so [m]
    first_stay, second_stay : time inside either aisle [s]; the second is 0 in one visit
    between : from mouth to mouth, turns included [s]
    first_stand, second_stand : time at either bay, mast included [s]
    """

    is_one_visit: BoolColumn
    enter_line: IntColumn
    out_line: IntColumn
    in_line: IntColumn
    leave_line: IntColumn
    enter_m: FloatColumn
    out_m: FloatColumn
    in_m: FloatColumn
    leave_m: FloatColumn
    first_stay: FloatColumn
    second_stay: FloatColumn
    between: FloatColumn
    first_stand: FloatColumn
    second_stand: FloatColumn


def route_between(
    layout: Layout,
    gait: Gait,
    aisles: tuple[IntColumn, IntColumn],
    bays: tuple[FloatColumn, FloatColumn],
    heights: tuple[FloatColumn, FloatColumn],
    handling: tuple[FloatColumn, FloatColumn],
    *,
    outer_is_laden: bool,
) -> Route:
    """Go to a first bay, by the shortest legal way to a second one, and home.

    Parameters
    ----------
    layout, gait : the floor and how the group moves
    aisles, bays, heights, handling : of the first and of the second bay, (n,) each
    outer_is_laden : laden in and out, empty between (putaway and retrieval paired); else the other way
        round (a replenishment)
    """
    outer, inner = gait.aisle_empty, gait.aisle_laden
    across_speed = gait.laden
    if outer_is_laden:
        outer, inner, across_speed = gait.aisle_laden, gait.aisle_empty, gait.empty
    ramp = gait.ramp
    (first, second), (bay, second_bay) = aisles, bays
    same = is_one_visit(layout, first, bay, second, second_bay)
    not_through = np.zeros(len(first), dtype=bool)
    enter_line, _ = single_lines(layout, first, bay, not_through)
    _, leave_line = single_lines(layout, second, second_bay, not_through)
    out_line, in_line = choose_lines(layout, first, bay, second, second_bay)
    enter_m, leave_m = place_inside(layout, first, enter_line), place_inside(layout, second, leave_line)
    out_m, in_m = place_inside(layout, first, out_line), place_inside(layout, second, in_line)
    ways = (
        travel_time(np.abs(bay - enter_m), outer, ramp),
        travel_time(np.abs(out_m - bay), inner, ramp),
        travel_time(np.abs(bay - second_bay), inner, ramp),
        travel_time(np.abs(second_bay - in_m), inner, ramp),
        travel_time(np.abs(leave_m - second_bay), outer, ramp),
    )
    come_in, go_out, inside, go_in, leave = ways
    mast, second_mast = _route_mast(gait, heights, ways, same)
    stand, second_stand = handling[0] + mast, handling[1] + second_mast
    come = come_in + stand
    go_home = second_stand + leave
    *lengths, _ = between_ways(layout, first, out_line, second, in_line)
    between = sum(travel_time(length, across_speed, ramp) for length in lengths)
    return Route(
        is_one_visit=same,
        enter_line=enter_line,
        out_line=out_line,
        in_line=in_line,
        leave_line=leave_line,
        enter_m=enter_m,
        out_m=out_m,
        in_m=in_m,
        leave_m=leave_m,
        first_stay=come + np.where(same, inside + go_home, go_out),
        second_stay=np.where(same, 0.0, go_in + go_home),
        between=np.where(same, 0.0, between + 2.0 * gait.turn_s),
        first_stand=stand,
        second_stand=second_stand,
    )


def _route_mast(
    gait: Gait, heights: tuple[FloatColumn, FloatColumn], ways: tuple[FloatColumn, ...], same: BoolColumn
) -> tuple[FloatColumn, FloatColumn]:
    """What the mast adds to the stands at both bays [s]."""
    height, second_height = heights
    floor = np.zeros(len(height))
    if not gait.lifts_while_travelling:
        return (
            mast_time(gait, floor, height) + mast_time(gait, height, floor),
            mast_time(gait, floor, second_height) + mast_time(gait, second_height, floor),
        )
    come_in, go_out, inside, go_in, leave = ways
    first = np.maximum(0.0, mast_time(gait, floor, height) - come_in) + np.where(
        same,
        np.maximum(0.0, mast_time(gait, height, second_height) - inside),
        np.maximum(0.0, mast_time(gait, height, floor) - go_out),
    )
    second = np.where(same, 0.0, np.maximum(0.0, mast_time(gait, floor, second_height) - go_in)) + np.maximum(
        0.0, mast_time(gait, second_height, floor) - leave
    )
    return first, second


def replenish_route(layout: Layout, gait: Gait, group: int, tasks: Tasks, rows: Rows) -> Route:
    """Route the rack-to-rack moves among some tasks."""
    return route_between(
        layout,
        gait,
        (tasks.aisle[rows], tasks.second_aisle[rows]),
        (tasks.bay_m[rows], tasks.second_bay_m[rows]),
        (tasks.height_m[rows], tasks.second_height_m[rows]),
        (tasks.pick_s[group, rows], tasks.set_s[group, rows]),
        outer_is_laden=False,
    )
