"""Where a truck was during its visits: runs inside aisles and drives along cross-aisles, piece by piece.

Comes in: visits of one truck group with their times of arrival and entry.  Goes out: the pieces, gathered on
a `Sheet`.  Before: `traffic/legs`, `traffic/tours`; after: `traffic/paths`, which puts them together.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sim.floor.layout import Layout
from sim.records import FloatColumn, IntColumn
from sim.traffic.gait import Gait
from sim.traffic.kinematics import travel_time
from sim.traffic.legs import Route, single_visit
from sim.traffic.tours import time_tours
from sim.traffic.ways import (
    BACK,
    FRONT,
    between_ways,
    cross_lines,
    is_back_mouth,
    round_by_the_side,
    stub_of,
)
from sim.traffic.work import Tasks

__all__ = ["Ends", "Runs", "Sheet", "draw_routes", "draw_singles", "draw_tours"]

BoolColumn = NDArray[np.bool_]


@dataclass
class Runs:
    """Columns of runs gathered piece by piece; each piece is a tuple of arrays of one length.

    The runs of one visit are added in order of time.
    """

    pieces: list[tuple[NDArray[np.generic], ...]] = field(default_factory=list)

    def add(self, *columns: NDArray[np.generic]) -> None:
        """Add a piece."""
        self.pieces.append(columns)

    def take_columns(self, width: int) -> Iterator[NDArray[np.generic]]:
        """Yield the columns, joined; each lets go of its pieces, so that a year lies in memory once."""
        columns = [list(parts) for parts in zip(*self.pieces, strict=True)]
        self.pieces.clear()
        columns.reverse()
        for _ in range(width):
            yield np.concatenate(columns.pop()) if columns else np.zeros(0)


class Sheet:
    """All visits (n,), filled in group by group, and their runs and drives.

    Parameters
    ----------
    layout : the floor
    aisle, truck, arrive, enter : of the visits (n,)
    """

    def __init__(
        self, layout: Layout, aisle: IntColumn, truck: IntColumn, arrive: FloatColumn, enter: FloatColumn
    ) -> None:
        self.layout, self.aisle, self.truck, self.arrive, self.enter = layout, aisle, truck, arrive, enter
        count = len(aisle)
        self.leave = np.zeros(count)
        self.enters_back, self.leaves_back = np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
        self.enter_line, self.leave_line = np.zeros((2, count), dtype=np.int64)
        self.run_in, self.run_before, self.run_speed, self.run_ramp, self.turn = np.zeros((5, count))
        self.moves, self.drives = Runs(), Runs()

    def add_moves(
        self,
        rows: IntColumn,
        start: FloatColumn,
        from_m: FloatColumn,
        to_m: FloatColumn,
        speed: FloatColumn | float,
        ramp: float,
    ) -> None:
        """Add one run inside the aisle for each of some visits."""
        count = len(rows)
        self.moves.add(rows, start, from_m, to_m, np.broadcast_to(speed, count), np.full(count, ramp))

    def add_drives(
        self,
        rows: IntColumn,
        line: IntColumn | int,
        start: FloatColumn,
        from_m: FloatColumn,
        to_m: FloatColumn,
        speed: FloatColumn | float,
        ramp: float,
        from_aisle: IntColumn | int,
        to_aisle: IntColumn | int,
    ) -> None:
        """Add one run along a cross-aisle for each of some visits."""
        count = len(rows)
        line = np.broadcast_to(line, count)
        middle = np.where((line == FRONT) | (line == BACK), np.nan, cross_lines(self.layout)[line])
        self.drives.add(
            line == BACK,
            start,
            from_m,
            to_m,
            np.broadcast_to(speed, count),
            np.full(count, ramp),
            np.broadcast_to(from_aisle, count),
            np.broadcast_to(to_aisle, count),
            self.truck[rows],
            *([middle] if len(self.layout.cross_m) else []),
        )

    def enter_by(self, rows: IntColumn, line: IntColumn) -> None:
        """Note by which line visits begin."""
        self.enters_back[rows] = is_back_mouth(self.layout, self.aisle[rows], line)
        self.enter_line[rows] = line

    def leave_by(self, rows: IntColumn, line: IntColumn) -> None:
        """Note by which line visits end."""
        self.leaves_back[rows] = is_back_mouth(self.layout, self.aisle[rows], line)
        self.leave_line[rows] = line

    def come_in(
        self, rows: IntColumn, door: IntColumn, line: IntColumn, gait: Gait, speed: FloatColumn | float
    ) -> None:
        """Drive from a door along the front cross-aisle to the mouth, or round the side to another line."""
        speed = np.broadcast_to(speed, len(rows))
        is_round = line != FRONT
        self.run_speed[rows] = speed
        self.enter_by(rows, line)
        if is_round.any():
            self._come_round(rows[is_round], door[is_round], line[is_round], gait, speed[is_round])
            front = ~is_round
            rows, door, speed = rows[front], door[front], speed[front]
        layout, ramp = self.layout, gait.ramp
        from_m, to_m = layout.door_m[door], layout.aisle_m[self.aisle[rows]]
        across = np.abs(from_m - to_m)
        start = self.arrive[rows] - gait.turn_s - travel_time(across, speed, ramp)
        self.add_drives(rows, FRONT, start, from_m, to_m, speed, ramp, -1, self.aisle[rows])
        is_straight = across == 0.0
        self.run_in[rows] = np.where(is_straight, layout.staging_depth_m, across)
        self.run_before[rows] = np.where(is_straight, 0.0, layout.staging_depth_m)

    def _come_round(
        self, rows: IntColumn, door: IntColumn, line: IntColumn, gait: Gait, speed: FloatColumn
    ) -> None:
        """Drive from a door along the front, up the side and along another cross-aisle to an aisle."""
        layout, aisle, ramp = self.layout, self.aisle[rows], gait.ramp
        way = round_by_the_side(layout, aisle, line, door)
        start = self.arrive[rows] - gait.turn_s - travel_time(way.stub, speed, ramp)
        start = start - travel_time(way.across, speed, ramp)
        self.add_drives(rows, line, start, way.side, layout.aisle_m[aisle], speed, ramp, -1, aisle)
        start = start - travel_time(way.along, speed, ramp) - travel_time(way.to_door, speed, ramp)
        self.add_drives(rows, FRONT, start, layout.door_m[door], way.side, speed, ramp, -1, -1)
        self.run_in[rows] = np.where(way.stub > 0.0, way.stub, way.across)
        self.run_before[rows] = np.where(way.stub > 0.0, way.across, way.along)

    def go_home(
        self, rows: IntColumn, door: IntColumn, line: IntColumn, gait: Gait, speed: FloatColumn | float
    ) -> None:
        """Drive from where visits end along the front cross-aisle to a door, or round the side."""
        speed = np.broadcast_to(speed, len(rows))
        self.leave_by(rows, line)
        front = line == FRONT
        mine = rows[front]
        aisle, layout = self.aisle[mine], self.layout
        start = self.leave[mine] + gait.turn_s
        from_m, to_m = layout.aisle_m[aisle], layout.door_m[door[front]]
        self.add_drives(mine, FRONT, start, from_m, to_m, speed[front], gait.ramp, aisle, -1)
        if not front.all():
            self._go_round(rows[~front], door[~front], line[~front], gait, speed[~front])

    def _go_round(
        self, rows: IntColumn, door: IntColumn, line: IntColumn, gait: Gait, speed: FloatColumn
    ) -> None:
        """Drive along another cross-aisle, down the side and along the front to a door."""
        layout, aisle, ramp = self.layout, self.aisle[rows], gait.ramp
        way = round_by_the_side(layout, aisle, line, door)
        start = self.leave[rows] + gait.turn_s + travel_time(way.stub, speed, ramp)
        self.add_drives(rows, line, start, layout.aisle_m[aisle], way.side, speed, ramp, aisle, -1)
        start = start + travel_time(way.across, speed, ramp) + travel_time(way.along, speed, ramp)
        self.add_drives(rows, FRONT, start, way.side, layout.door_m[door], speed, ramp, -1, -1)

    def cross_over(
        self,
        rows: IntColumn,
        line: IntColumn,
        to_aisle: IntColumn,
        to_line: IntColumn,
        gait: Gait,
        speed: float,
    ) -> None:
        """Drive from where these visits end to another aisle, along one cross-aisle or round the side."""
        aisle, layout, ramp = self.aisle[rows], self.layout, gait.ramp
        self.leave_by(rows, line)
        way = between_ways(layout, aisle, line, to_aisle, to_line)
        start = self.leave[rows] + gait.turn_s + travel_time(way.stub, speed, ramp)
        from_m, to_m, is_round = layout.aisle_m[aisle], layout.aisle_m[to_aisle], line != to_line
        turned_into = np.where(is_round, -1, to_aisle)
        self.add_drives(
            rows, line, start, from_m, np.where(is_round, way.side, to_m), speed, ramp, aisle, turned_into
        )
        if is_round.any():
            start = start + travel_time(way.across, speed, ramp) + travel_time(way.along, speed, ramp)
            self.add_drives(
                rows[is_round],
                to_line[is_round],
                start[is_round],
                way.side[is_round],
                to_m[is_round],
                speed,
                ramp,
                -1,
                to_aisle[is_round],
            )

    def come_over(
        self, rows: IntColumn, line: IntColumn, from_aisle: IntColumn, from_line: IntColumn, speed: float
    ) -> None:
        """Note the runs that end at the mouth of a visit that came from another aisle."""
        aisle, layout = self.aisle[rows], self.layout
        way = between_ways(layout, from_aisle, from_line, aisle, line)
        is_round = from_line != line
        last = np.where(is_round, way.back_across, way.across)
        before = np.where(is_round, way.along, 0.0)
        stub = stub_of(layout, aisle, line)
        self.enter_by(rows, line)
        self.run_speed[rows] = speed
        self.run_in[rows] = np.where(stub > 0.0, stub, last)
        self.run_before[rows] = np.where(stub > 0.0, last, before)


@dataclass(frozen=True)
class Ends:
    """Where trucks come from and go to: doors of the first and the second of two visits (n,)."""

    come_from: IntColumn
    go_to: IntColumn


def draw_singles(
    sheet: Sheet, gait: Gait, group: int, tasks: Tasks, rows: IntColumn, task: IntColumn, is_put: BoolColumn,
    come_from: IntColumn,
) -> None:
    """Fill in putaways, retrievals and walks: in, handle once, out."""
    ramp = gait.ramp
    visit = single_visit(sheet.layout, gait, group, tasks, task, is_put)
    depth, enter = tasks.bay_m[task], sheet.enter[rows]
    out_from = enter + travel_time(visit.in_m, visit.speed_in, ramp) + visit.stand
    sheet.leave[rows] = out_from + travel_time(visit.out_m, visit.speed_out, ramp)
    sheet.add_moves(rows, enter, visit.enter_m, depth, visit.speed_in, ramp)
    sheet.add_moves(rows, out_from, depth, visit.leave_m, visit.speed_out, ramp)
    sheet.come_in(rows, come_from, visit.enter_line, gait, np.where(is_put, gait.laden, gait.empty))
    sheet.go_home(rows, tasks.door[task], visit.leave_line, gait, np.where(is_put, gait.empty, gait.laden))


def draw_routes(
    sheet: Sheet,
    gait: Gait,
    rows: IntColumn,
    is_second: BoolColumn,
    aisles: tuple[IntColumn, IntColumn],
    bays: tuple[FloatColumn, FloatColumn],
    route: Route,
    ends: Ends,
    *,
    outer_is_laden: bool,
) -> None:
    """Fill in visits of two bays in a row: in one aisle, or one after the other in two.

    Parameters
    ----------
    sheet, gait : where it goes, and how the group moves
    rows : the visits (n,)
    is_second : whether a visit is the second of two (n,)
    aisles, bays, route, ends : of the whole way, for each of the visits (n,)
    outer_is_laden : as in `legs.route_between`
    """
    outer, inner = gait.aisle_empty, gait.aisle_laden
    come_speed, cross_speed = gait.empty, gait.laden
    if outer_is_laden:
        outer, inner, come_speed, cross_speed = gait.aisle_laden, gait.aisle_empty, gait.laden, gait.empty
    ramp = gait.ramp

    one = ~is_second
    mine, second = rows[one], aisles[1][one]
    bay, second_bay = bays[0][one], bays[1][one]
    same, enter_m, leave_m = route.is_one_visit[one], route.enter_m[one], route.leave_m[one]
    enter = sheet.enter[mine]
    sheet.add_moves(mine, enter, enter_m, bay, outer, ramp)
    handled = enter + travel_time(np.abs(bay - enter_m), outer, ramp) + route.first_stand[one]
    sheet.add_moves(mine, handled, bay, np.where(same, second_bay, route.out_m[one]), inner, ramp)
    sheet.leave[mine] = enter + route.first_stay[one]
    home_from = sheet.leave[mine] - travel_time(np.abs(leave_m - second_bay), outer, ramp)
    sheet.add_moves(mine[same], home_from[same], second_bay[same], leave_m[same], outer, ramp)
    sheet.come_in(mine, ends.come_from[one], route.enter_line[one], gait, come_speed)
    sheet.go_home(mine[same], ends.go_to[one][same], route.leave_line[one][same], gait, come_speed)
    over = ~same
    sheet.cross_over(
        mine[over], route.out_line[one][over], second[over], route.in_line[one][over], gait, cross_speed
    )

    mine, second_bay = rows[is_second], bays[1][is_second]
    in_m, leave_m = route.in_m[is_second], route.leave_m[is_second]
    sheet.add_moves(mine, sheet.enter[mine], in_m, second_bay, inner, ramp)
    sheet.leave[mine] = sheet.enter[mine] + route.second_stay[is_second]
    home_from = sheet.leave[mine] - travel_time(np.abs(leave_m - second_bay), outer, ramp)
    sheet.add_moves(mine, home_from, second_bay, leave_m, outer, ramp)
    sheet.come_over(
        mine, route.in_line[is_second], aisles[0][is_second], route.out_line[is_second], cross_speed
    )
    sheet.go_home(mine, ends.go_to[is_second], route.leave_line[is_second], gait, come_speed)


def draw_tours(
    sheet: Sheet, gait: Gait, group: int, tasks: Tasks, rows: IntColumn, task: IntColumn, part: IntColumn,
    come_from: IntColumn,
) -> None:
    """Fill in the visits of tours: several stops in each aisle."""
    layout, tours, ramp = sheet.layout, tasks.tours, gait.ramp
    times = time_tours(layout, gait, group, tours)
    tour = tasks.tour[task]
    visit = tours.first_visit[tour] + part
    lines = tours.first_line[visit + 1] - tours.first_line[visit]
    # a run to every line: its start is the entry, and all runs and stands of the visit before it
    row = np.repeat(np.arange(len(rows)), lines)
    within = np.arange(len(row)) - np.repeat(np.cumsum(lines) - lines, lines)
    line = tours.first_line[visit][row] + within
    spent = np.concatenate([[0.0], np.cumsum(times.line_run + times.line_stand)])
    start = sheet.enter[rows][row] + (spent[line] - spent[tours.first_line[visit][row]])
    sheet.add_moves(rows[row], start, times.line_from_m[line], tours.bay_m[line], gait.aisle_laden, ramp)
    sheet.leave[rows] = sheet.enter[rows] + times.stay[visit]
    out_from = sheet.leave[rows] - times.exit_run[visit]
    sheet.add_moves(
        rows, out_from, times.exit_from_m[visit], times.exit_to_m[visit], gait.aisle_laden, ramp
    )
    is_first, is_last = part == 0, visit == tours.first_visit[tour + 1] - 1
    sheet.come_in(
        rows[is_first], come_from[is_first], tours.enter_line[visit][is_first], gait, gait.empty
    )
    later, before = ~is_first, visit[~is_first] - 1
    sheet.come_over(
        rows[later], tours.enter_line[visit][later], tours.aisle[before], tours.leave_line[before], gait.laden
    )
    onward, after = ~is_last, visit[~is_last] + 1
    sheet.cross_over(
        rows[onward],
        tours.leave_line[visit][onward],
        tours.aisle[after],
        tours.enter_line[after],
        gait,
        gait.laden,
    )
    sheet.go_home(
        rows[is_last], tasks.door[task][is_last], tours.leave_line[visit][is_last], gait, gait.laden
    )
