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
from sim.traffic.plans import round_by_the_side
from sim.traffic.tours import stub_of, time_tours
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
        is_back: BoolColumn | bool,
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
        self.drives.add(
            np.broadcast_to(is_back, count),
            start,
            from_m,
            to_m,
            np.broadcast_to(speed, count),
            np.full(count, ramp),
            np.broadcast_to(from_aisle, count),
            np.broadcast_to(to_aisle, count),
            self.truck[rows],
        )

    def come_in(self, rows: IntColumn, door: IntColumn, gait: Gait, speed: FloatColumn | float) -> None:
        """Drive from a door along the front cross-aisle to the mouth."""
        layout, ramp = self.layout, gait.ramp
        from_m, to_m = layout.door_m[door], layout.aisle_m[self.aisle[rows]]
        across = np.abs(from_m - to_m)
        start = self.arrive[rows] - gait.turn_s - travel_time(across, speed, ramp)
        self.add_drives(rows, False, start, from_m, to_m, speed, ramp, -1, self.aisle[rows])
        is_straight = across == 0.0
        self.run_in[rows] = np.where(is_straight, layout.staging_depth_m, across)
        self.run_before[rows] = np.where(is_straight, 0.0, layout.staging_depth_m)
        self.run_speed[rows] = speed

    def go_home(self, rows: IntColumn, door: IntColumn, gait: Gait, speed: FloatColumn | float) -> None:
        """Drive from the mouth along the front cross-aisle to a door."""
        aisle, layout = self.aisle[rows], self.layout
        start = self.leave[rows] + gait.turn_s
        self.add_drives(
            rows, False, start, layout.aisle_m[aisle], layout.door_m[door], speed, gait.ramp, aisle, -1
        )

    def cross_over(
        self, rows: IntColumn, by_back: BoolColumn, to_aisle: IntColumn, gait: Gait, speed: float
    ) -> None:
        """Drive from the mouth of these visits to another aisle's mouth on the same side."""
        aisle, layout = self.aisle[rows], self.layout
        stub = travel_time(stub_of(layout, aisle, by_back), speed, gait.ramp)
        start = self.leave[rows] + gait.turn_s + stub
        from_m, to_m = layout.aisle_m[aisle], layout.aisle_m[to_aisle]
        self.add_drives(rows, by_back, start, from_m, to_m, speed, gait.ramp, aisle, to_aisle)

    def come_over(
        self, rows: IntColumn, by_back: BoolColumn, from_aisle: IntColumn, speed: float
    ) -> None:
        """Note the runs that end at the mouth of a visit that came from another aisle."""
        aisle, layout = self.aisle[rows], self.layout
        across = np.abs(layout.aisle_m[from_aisle] - layout.aisle_m[aisle])
        stub = stub_of(layout, aisle, by_back)
        self.enters_back[rows] = by_back
        self.run_speed[rows] = speed
        self.run_in[rows] = np.where(stub > 0.0, stub, across)
        self.run_before[rows] = np.where(stub > 0.0, across, 0.0)


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
    depth, nothing = tasks.bay_m[task], np.zeros(len(rows))
    through = tasks.is_through[task]
    enter = sheet.enter[rows]
    out_from = enter + travel_time(depth, visit.speed_in, ramp) + visit.stand
    sheet.leave[rows] = out_from + travel_time(visit.out_m, visit.speed_out, ramp)
    sheet.add_moves(rows, enter, nothing, depth, visit.speed_in, ramp)
    mouth = np.where(through, sheet.layout.length_m[sheet.aisle[rows]], 0.0)
    sheet.add_moves(rows, out_from, depth, mouth, visit.speed_out, ramp)
    sheet.come_in(rows, come_from, gait, np.where(is_put, gait.laden, gait.empty))
    sheet.leaves_back[rows] = through
    back = ~through
    speed_home = np.where(is_put, gait.empty, gait.laden)
    sheet.go_home(rows[back], tasks.door[task][back], gait, speed_home[back])
    if through.any():
        _go_round(sheet, gait, rows[through], tasks.door[task][through], speed_home[through])


def _go_round(sheet: Sheet, gait: Gait, rows: IntColumn, door: IntColumn, speed: FloatColumn) -> None:
    """Drive from the back mouth along the back cross-aisle, down the side and along the front to a door."""
    layout, aisle, ramp = sheet.layout, sheet.aisle[rows], gait.ramp
    stub, side, along, _ = round_by_the_side(layout, aisle, door)
    from_m = layout.aisle_m[aisle]
    start = sheet.leave[rows] + gait.turn_s + travel_time(stub, speed, ramp)
    sheet.add_drives(rows, True, start, from_m, side, speed, ramp, aisle, -1)
    for way in (np.abs(from_m - side), along):
        start = start + travel_time(way, speed, ramp)
    sheet.add_drives(rows, False, start, side, layout.door_m[door], speed, ramp, -1, -1)


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
    ramp, length_m = gait.ramp, sheet.layout.length_m

    one = ~is_second
    mine, first, second = rows[one], aisles[0][one], aisles[1][one]
    bay, second_bay = bays[0][one], bays[1][one]
    by_back, same = route.by_back[one], route.is_same_aisle[one]
    nothing, enter = np.zeros(len(mine)), sheet.enter[mine]
    sheet.add_moves(mine, enter, nothing, bay, outer, ramp)
    handled = enter + travel_time(bay, outer, ramp) + route.first_stand[one]
    mouth = np.where(same, second_bay, np.where(by_back, length_m[first], 0.0))
    sheet.add_moves(mine, handled, bay, mouth, inner, ramp)
    sheet.leave[mine] = enter + route.first_stay[one]
    home_from = sheet.leave[mine] - travel_time(second_bay, outer, ramp)
    sheet.add_moves(mine[same], home_from[same], second_bay[same], nothing[same], outer, ramp)
    sheet.leaves_back[mine] = by_back
    sheet.come_in(mine, ends.come_from[one], gait, come_speed)
    sheet.go_home(mine[same], ends.go_to[one][same], gait, come_speed)
    over = ~same
    sheet.cross_over(mine[over], by_back[over], second[over], gait, cross_speed)

    mine, second, second_bay = rows[is_second], aisles[1][is_second], bays[1][is_second]
    by_back = route.by_back[is_second]
    mouth, enter = np.where(by_back, length_m[second], 0.0), sheet.enter[mine]
    sheet.add_moves(mine, enter, mouth, second_bay, inner, ramp)
    sheet.leave[mine] = enter + route.second_stay[is_second]
    home_from = sheet.leave[mine] - travel_time(second_bay, outer, ramp)
    sheet.add_moves(mine, home_from, second_bay, np.zeros(len(mine)), outer, ramp)
    sheet.come_over(mine, by_back, aisles[0][is_second], cross_speed)
    sheet.go_home(mine, ends.go_to[is_second], gait, come_speed)


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
    sheet.leaves_back[rows] = tours.leaves_back[visit]
    is_first, is_last = part == 0, visit == tours.first_visit[tour + 1] - 1
    sheet.come_in(rows[is_first], come_from[is_first], gait, gait.empty)
    later = ~is_first
    sheet.come_over(
        rows[later], tours.enters_back[visit][later], tours.aisle[visit[later] - 1], gait.laden
    )
    onward = ~is_last
    sheet.cross_over(
        rows[onward], tours.leaves_back[visit][onward], tours.aisle[visit[onward] + 1], gait, gait.laden
    )
    sheet.go_home(rows[is_last], tasks.door[task][is_last], gait, gait.laden)
