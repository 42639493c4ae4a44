"""Where trucks are outside the aisles: along cross-aisles, across staging, at doors and mouths.

Comes in: what `traffic/world` and `traffic/paths` were given and what they returned.  Goes out: `OpenRuns`.
Before: `traffic/paths`; after: `sensing/areas`.  Each truck's visits and drives are put in order of time;
what lies between two of them follows from where the first ends and the next begins: turns and stubs at
mouths, runs along the side of the floor, across staging and along the doors, stands at a door while a load
is picked up or set down.  A truck without a task is parked and on nobody's floor; so is one that charges.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.floor.layout import Layout
from sim.records import Drives, FloatColumn, IntColumn, OpenRuns, Visits
from sim.scenario.schema import Trucks
from sim.traffic.fleet import Fleet
from sim.traffic.kinematics import travel_time
from sim.traffic.ways import place_inside
from sim.traffic.world import BOTH, Log

__all__ = ["open_runs"]

MOMENT_S = 1e-6
"""Shorter stretches are rounding."""
DOCK, PICK, UP, ALONG, TURN_IN, QUEUE, DRIVE, TURN_OUT, DOWN, PUT = range(10)
"""Where a stretch stands among those of one event, in order of time."""


Columns = dict[str, NDArray[Any]]


@dataclass(frozen=True)
class _Events:
    """Drives and visits of all trucks in order of truck and time (n,).

    Attributes
    ----------
    row : in the drives, or among the visits (n,)
    from_m, to_m : place along the aisles where the event begins and ends (n,)
    begins_trip, ends_trip : drives that come from a door, and that go home to one (n,)
    """

    is_visit: NDArray[np.bool_]
    row: IntColumn
    truck: IntColumn
    begin: FloatColumn
    end: FloatColumn
    from_across_m: FloatColumn
    to_across_m: FloatColumn
    from_m: FloatColumn
    to_m: FloatColumn
    speed: FloatColumn
    acceleration: FloatColumn
    begins_trip: NDArray[np.bool_]
    ends_trip: NDArray[np.bool_]


class _Pieces:
    """Stretches gathered event by event."""

    def __init__(self, events: _Events, trip: IntColumn) -> None:
        self.events, self.trip = events, trip
        self.parts: list[tuple[NDArray[np.generic], ...]] = []

    def add(
        self,
        at: IntColumn,
        rank: int,
        start: FloatColumn,
        end: FloatColumn,
        across_m: tuple[FloatColumn, FloatColumn],
        along_m: tuple[FloatColumn, FloatColumn],
        speed: FloatColumn,
        acceleration: FloatColumn,
        *,
        is_moving: bool,
    ) -> None:
        """Add a stretch to each of some events."""
        count = len(at)
        trip = self.trip[at] + (1 if rank == TURN_OUT else 0)
        columns = (
            at, np.full(count, rank), trip, self.events.truck[at], start, end, *across_m, *along_m, speed,
            acceleration, np.full(count, is_moving),
        )
        long = np.flatnonzero(end > start + MOMENT_S)
        self.parts.append(tuple(np.broadcast_to(column, count)[long] for column in columns))

    def put_together(self, end_s: float) -> OpenRuns:
        """Return all stretches in order, the last ones cut at the end of the run where they stand or turn."""
        at, rank, trip, truck, start, end, *rest = (
            np.concatenate(column) for column in zip(*self.parts, strict=True)
        )
        order = np.lexsort((rank, at))
        order = order[start[order] < end_s]
        across, to_across, along, to_along, *how = (column[order] for column in rest)
        times = (start[order], end[order])
        return OpenRuns(trip[order], truck[order], *times, across, along, to_across, to_along, *how)


def open_runs(
    layout: Layout, groups: tuple[Trucks, ...], fleet: Fleet, log: Log, visits: Visits, end_s: float
) -> OpenRuns:
    """Reconstruct every stretch of a truck's way outside the aisles.

    Parameters
    ----------
    layout, groups, fleet, end_s : what the simulation was given
    log : what it returned
    visits : with moves and drives, from the same log

    Returns
    -------
    OpenRuns; those that begin after the end are left out, and a truck's last way where the run ends before it
    is at its aisle
    """
    is_in = log.enter < end_s
    order = np.flatnonzero(is_in)[np.argsort(log.enter[is_in], kind="stable")]
    mouths, drives = _at_mouths(layout, visits), [visits.drives]
    if visits.coming is not None:
        order = np.append(order, np.flatnonzero(~is_in))
        late = _at_mouths(layout, visits.coming)
        mouths = {name: np.append(column, late[name]) for name, column in mouths.items()}
        drives.append(visits.coming.drives)
    events = _line_up(layout, mouths, [one for one in drives if one is not None])
    count = len(events.row)
    trip: IntColumn = np.cumsum(events.begins_trip) + np.cumsum(events.is_visit) - events.is_visit
    pieces = _Pieces(events, trip)
    _add_drives(pieces)
    _add_visits(pieces, mouths)
    _add_between(pieces)
    number = np.arange(count)
    # the visit before and after each event, on the same trip: its task began and ended the trip
    before = np.maximum.accumulate(np.where(events.is_visit, number, 0))
    after = np.minimum.accumulate(np.where(events.is_visit, number, count - 1)[::-1])[::-1]
    which = np.where(events.is_visit, events.row, 0)
    task, partner, part = log.task[order], log.partner[order], log.part[order]
    ended = np.where(part == BOTH, partner, task)
    own_group = [groups[number] for number in fleet.group]
    empty = np.array([trucks.speed_empty_m_per_s for trucks in own_group])
    rate = np.array([trucks.acceleration_m_per_s2 for trucks in own_group])
    begins, ends = np.flatnonzero(events.begins_trip), np.flatnonzero(events.ends_trip)
    first, last = which[after[begins]], which[before[ends]]
    _add_coming(
        pieces, layout, begins, log.begin[task[first]], layout.door_m[log.from_door[order][first]],
        empty[events.truck[begins]], rate[events.truck[begins]],
    )
    _add_going(pieces, layout, ends, log.finish[ended[last]])
    return pieces.put_together(end_s)


def _at_mouths(layout: Layout, visits: Visits) -> Columns:
    """Return what is known of visits at both ends: when, and where inside the aisle (n,) each."""
    length = layout.length_m[visits.aisle]
    in_m, out_m = np.where(visits.enters_back, length, 0.0), np.where(visits.leaves_back, length, 0.0)
    if visits.moves is not None:
        number = np.arange(len(visits))
        in_m = visits.moves.from_m[np.searchsorted(visits.moves.visit, number)]
        out_m = visits.moves.to_m[np.searchsorted(visits.moves.visit, number, side="right") - 1]
    elif visits.enter_line is not None:
        in_m = place_inside(layout, visits.aisle, visits.enter_line)
    return {
        "truck": visits.truck,
        "arrive": visits.arrive,
        "enter": visits.enter,
        "leave": visits.leave,
        "at_m": layout.aisle_m[visits.aisle],
        "in_m": in_m,
        "out_m": out_m,
        "turn": np.zeros(len(visits)) if visits.turn is None else visits.turn,
    }


def _of_drives(layout: Layout, drives: Drives) -> Columns:
    """Return the columns of drives, the place of their cross-aisle among them."""
    line_m = np.where(drives.is_back, layout.length_m.max(), 0.0)
    if drives.middle_m is not None:
        line_m = np.where(np.isnan(drives.middle_m), line_m, drives.middle_m)
    assert drives.truck is not None
    length_s = travel_time(np.abs(drives.to_m - drives.from_m), drives.speed, drives.acceleration)
    return {
        "truck": drives.truck,
        "begin": drives.start,
        "end": drives.start + length_s,
        "from_m": drives.from_m,
        "to_m": drives.to_m,
        "line_m": line_m,
        "speed": drives.speed,
        "acceleration": drives.acceleration,
    }


def _line_up(layout: Layout, mouths: Columns, parts: list[Drives]) -> _Events:
    """Put visits and drives in order of truck and time."""
    tables = [_of_drives(layout, drives) for drives in parts]
    drives = {name: np.concatenate([table[name] for table in tables]) for name in tables[0]}
    many, visits = len(drives["begin"]), len(mouths["arrive"])
    is_visit = np.repeat([False, True], [many, visits])
    columns: tuple[NDArray[Any], ...] = (
        is_visit,
        np.append(np.arange(many), np.arange(visits)),
        np.append(drives["truck"], mouths["truck"]),
        np.append(drives["begin"], mouths["arrive"]),
        np.append(drives["end"], mouths["leave"]),
        np.append(drives["from_m"], mouths["at_m"]),
        np.append(drives["to_m"], mouths["at_m"]),
        np.append(drives["line_m"], mouths["in_m"]),
        np.append(drives["line_m"], mouths["out_m"]),
        np.append(drives["speed"], np.ones(visits)),
        np.append(drives["acceleration"], np.zeros(visits)),
    )
    order = np.lexsort((is_visit, columns[3], columns[2]))
    is_visit, row, truck, begin, end, across, to_across, along, to_along, speed, rate = (
        column[order] for column in columns
    )
    follows = np.append(False, truck[1:] == truck[:-1])
    both_drive = follows & ~is_visit & ~np.append(True, is_visit[:-1])
    gap = begin - np.append(0.0, end[:-1])
    way = np.abs(along - np.append(0.0, to_along[:-1]))
    goes_on = both_drive & (np.abs(gap - travel_time(way, speed, rate)) < MOMENT_S)
    goes_on &= across == np.append(0.0, to_across[:-1])
    after_visit = follows & np.append(False, is_visit[:-1])
    begins_trip = ~is_visit & ~after_visit & ~goes_on
    next_is_visit = np.append(is_visit[1:] & follows[1:], False)
    ends_trip = ~is_visit & ~next_is_visit & ~np.append(goes_on[1:], False)
    return _Events(
        is_visit, row, truck, begin, end, across, to_across, along, to_along, speed, rate, begins_trip,
        ends_trip,
    )


def _add_drives(pieces: _Pieces) -> None:
    """Runs along cross-aisles."""
    events = pieces.events
    at = np.flatnonzero(~events.is_visit)
    pieces.add(
        at, DRIVE, events.begin[at], events.end[at], (events.from_across_m[at], events.to_across_m[at]),
        (events.from_m[at], events.to_m[at]), events.speed[at], events.acceleration[at], is_moving=True,
    )


def _add_visits(pieces: _Pieces, mouths: Columns) -> None:
    """Turns and queues at mouths."""
    events = pieces.events
    at = np.flatnonzero(events.is_visit)
    own = events.row[at]
    across, one, none = (events.from_across_m[at],) * 2, np.ones(len(at)), np.zeros(len(at))
    arrive, enter, leave, turn = events.begin[at], mouths["enter"][own], events.end[at], mouths["turn"][own]
    into, out = (events.from_m[at],) * 2, (events.to_m[at],) * 2
    pieces.add(at, TURN_IN, arrive - turn, arrive, across, into, one, none, is_moving=True)
    pieces.add(at, QUEUE, arrive, enter, across, into, one, none, is_moving=False)
    pieces.add(at, TURN_OUT, leave, leave + turn, across, out, one, none, is_moving=True)


def _add_between(pieces: _Pieces) -> None:
    """Stubs behind short aisles and runs along the side of the floor."""
    events = pieces.events
    at = np.flatnonzero(~events.begins_trip & np.append(False, events.truck[1:] == events.truck[:-1]))
    before = at - 1
    from_m, to_m = events.to_m[before], events.from_m[at]
    after_visit, into_visit = events.is_visit[before], events.is_visit[at]
    own = np.where(into_visit, before, at)  # a stub is driven like the drive beside it
    speed, rate = events.speed[own], events.acceleration[own]
    length_s = travel_time(np.abs(to_m - from_m), speed, rate)
    start = np.where(after_visit, events.begin[at] - length_s, events.end[before])
    drives = np.flatnonzero(~(after_visit & into_visit))
    across = events.to_across_m[before][drives]
    pieces.add(
        at[drives], ALONG, start[drives], (start + length_s)[drives], (across, across),
        (from_m[drives], to_m[drives]), speed[drives], rate[drives], is_moving=True,
    )


def _add_coming(
    pieces: _Pieces,
    layout: Layout,
    at: IntColumn,
    begin: FloatColumn,
    from_door_m: FloatColumn,
    empty: FloatColumn,
    rate: FloatColumn,
) -> None:
    """From the door where a truck was: along the doors, a pick-up, across staging."""
    events = pieces.events
    depth, door_m = layout.staging_depth_m, events.from_across_m[at]
    wall, front = np.full(len(at), -depth), np.zeros(len(at))
    up_s = travel_time(depth, events.speed[at], events.acceleration[at])
    up = events.begin[at] - up_s
    dock_s = travel_time(np.abs(door_m - from_door_m), empty, rate)
    at_door, here = begin + dock_s, (door_m, door_m)
    pieces.add(at, DOCK, begin, at_door, (from_door_m, door_m), (wall, wall), empty, rate, is_moving=True)
    pieces.add(at, PICK, at_door, up, here, (wall, wall), empty, rate, is_moving=False)
    pieces.add(
        at, UP, up, events.begin[at], here, (wall, front), events.speed[at], events.acceleration[at],
        is_moving=True,
    )


def _add_going(pieces: _Pieces, layout: Layout, at: IntColumn, finish: FloatColumn) -> None:
    """To a door: across staging, and a set-down."""
    events = pieces.events
    depth, here = layout.staging_depth_m, (events.to_across_m[at],) * 2
    wall, front = np.full(len(at), -depth), np.zeros(len(at))
    speed, rate = events.speed[at], events.acceleration[at]
    down = events.end[at] + travel_time(depth, speed, rate)
    pieces.add(at, DOWN, events.end[at], down, here, (front, wall), speed, rate, is_moving=True)
    pieces.add(at, PUT, down, finish, here, (wall, wall), speed, rate, is_moving=False)
