"""Frozen columns that the rooms hand to each other: one row per visit, move, drive, detection, stay.

Times are seconds from the scenario's start, intervals half-open [start, end), positions along an
aisle are metres from its front mouth.  Arrays of one record have equal lengths and are not written to.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Detections", "Drives", "FloatColumn", "IntColumn", "Moves", "OpenRuns", "Stays", "Visits"]

FloatColumn = NDArray[np.float64]
IntColumn = NDArray[np.int64]


@dataclass(frozen=True)
class Moves:
    """Straight runs inside aisles, each from rest to rest; in time order within a visit.

    Between one move's end and the next move's start of the same visit the truck stands.

    Attributes
    ----------
    visit : index of the visit (n,)
    start : [s] (n,)
    from_m, to_m : position in the aisle [m] (n,)
    speed : cruising speed [m/s] (n,)
    acceleration : [m/s2], 0 means constant speed (n,)
    """

    visit: IntColumn
    start: FloatColumn
    from_m: FloatColumn
    to_m: FloatColumn
    speed: FloatColumn
    acceleration: FloatColumn


@dataclass(frozen=True)
class Drives:
    """Straight runs along a cross-aisle, from rest to rest.

    Attributes
    ----------
    is_back : whether it is the back cross-aisle (n,)
    start : [s] (n,)
    from_m, to_m : position across the aisles, as `Layout.aisle_m` [m] (n,)
    speed, acceleration : as in `Moves` (n,)
    from_aisle, to_aisle : index of the aisle left or turned into at its ends, -1 for none (n,)
    truck : index of the truck, None where nobody knows (n,)
    middle_m : of a middle cross-aisle its distance from the front mouths, nan for the front and the back one;
        None where there are no middle ones [m] (n,)
    """

    is_back: NDArray[np.bool_]
    start: FloatColumn
    from_m: FloatColumn
    to_m: FloatColumn
    speed: FloatColumn
    acceleration: FloatColumn
    from_aisle: IntColumn
    to_aisle: IntColumn
    truck: IntColumn | None = None
    middle_m: FloatColumn | None = None


@dataclass(frozen=True)
class OpenRuns:
    """Trucks outside the aisles: straight runs, turns and stands, in order of truck and time.

    Attributes
    ----------
    trip : from a door or an aisle to the next one, ascending (n,)
    truck : index of the truck (n,)
    start, end : [s] (n,)
    from_across_m, from_along_m, to_across_m, to_along_m : places in the plan [m]; one of the two coordinates
        stays, both where the truck turns or stands (n,)
    speed, acceleration : of runs, as in `Moves` (n,)
    is_moving : false for a truck that stands (n,)
    """

    trip: IntColumn
    truck: IntColumn
    start: FloatColumn
    end: FloatColumn
    from_across_m: FloatColumn
    from_along_m: FloatColumn
    to_across_m: FloatColumn
    to_along_m: FloatColumn
    speed: FloatColumn
    acceleration: FloatColumn
    is_moving: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.trip)


@dataclass(frozen=True)
class Visits:
    """One row per visit of a truck to an aisle, ordered by the time of entry.

    Attributes
    ----------
    aisle : index of the aisle (n,)
    enter, leave : [s]; a truck still inside at the end leaves at the end (n,)
    truck : index into `truck_names` (n,)
    bay_m : where it handles first; nan where a log does not say (n,)
    task : index into `task_names` (n,)
    enters_back, leaves_back : by the back mouth (n,)
    arrive : arrival at the mouth, nan where a log does not say; enter - arrive is the wait [s] (n,)
    run_in_m : length of the straight run along the cross-aisle that ended at the mouth [m] (n,)
    run_before_m : length of the run across staging before that, 0 for none [m] (n,)
    run_speed, run_acceleration : of those runs [m/s], [m/s2] (n,)
    moves : the runs inside the aisle, None where a log does not give positions
    drives : the runs along the cross-aisles, None for logs
    turn : time turning between the last run and the mouth, None for none [s] (n,)
    truck_weight : how much each truck's dim time counts; () where all count fully
    truck_seen : whether sensors can see each truck; () where they see all
    truck_on_foot : whether each is a person on foot; () where none is
    truck_groups : group of each truck, "" for none; () where the names of the trucks tell
    enter_line, leave_line : by which cross-aisle, see `traffic/ways`; None where there are only the front and
        the back one (n,)
    coming : trucks that were on their way to a mouth, or queued there, as the run ended; their moves say
        nothing. None where nobody knows
    """

    aisle: IntColumn
    enter: FloatColumn
    leave: FloatColumn
    truck: IntColumn
    bay_m: FloatColumn
    task: IntColumn
    enters_back: NDArray[np.bool_]
    leaves_back: NDArray[np.bool_]
    arrive: FloatColumn
    run_in_m: FloatColumn
    run_before_m: FloatColumn
    run_speed: FloatColumn
    run_acceleration: FloatColumn
    truck_names: tuple[str, ...]
    task_names: tuple[str, ...]
    moves: Moves | None
    drives: Drives | None
    turn: FloatColumn | None = None
    truck_weight: tuple[float, ...] = ()
    truck_seen: tuple[bool, ...] = ()
    truck_on_foot: tuple[bool, ...] = ()
    truck_groups: tuple[str, ...] = ()
    enter_line: IntColumn | None = None
    leave_line: IntColumn | None = None
    coming: Visits | None = None

    def __len__(self) -> int:
        return len(self.aisle)


@dataclass(frozen=True)
class Stays:
    """Trucks in zones: where zones are cut, a visit has a stay in each zone it crosses.

    Attributes
    ----------
    zone : index of the zone, ascending (n,)
    visit : index of the visit; in open areas of a trip or a person, counted on from the visits (n,)
    enter, leave : [s], ascending enter within a zone (n,)
    weight : how much its dim time counts, None where all count fully (n,)
    """

    zone: IntColumn
    visit: IntColumn
    enter: FloatColumn
    leave: FloatColumn
    weight: FloatColumn | None = None

    def of_zone(self, zone: int) -> Stays:
        """Return the stays in one zone, in order of entry."""
        first, last = np.searchsorted(self.zone, [zone, zone + 1])
        rows = slice(int(first), int(last))
        weight = None if self.weight is None else self.weight[rows]
        return Stays(self.zone[rows], self.visit[rows], self.enter[rows], self.leave[rows], weight)

    def before(self, zone: int) -> Stays:
        """Return the stays in zones before this one."""
        rows = slice(int(np.searchsorted(self.zone, zone)))
        weight = None if self.weight is None else self.weight[rows]
        return Stays(self.zone[rows], self.visit[rows], self.enter[rows], self.leave[rows], weight)

    def that_count(self) -> Stays:
        """Return the stays of trucks that need light."""
        if self.weight is None:
            return self
        rows = np.flatnonzero(self.weight > 0.0)
        return Stays(self.zone[rows], self.visit[rows], self.enter[rows], self.leave[rows], self.weight[rows])


@dataclass(frozen=True)
class Detections:
    """Motion seen by the sensors of each zone: united, sorted by zone, then start.

    Attributes
    ----------
    zone : index of the zone, ascending (n,)
    start, end : [s]; a pulse has start = end (n,)
    """

    zone: IntColumn
    start: FloatColumn
    end: FloatColumn

    def of_zone(self, zone: int) -> tuple[FloatColumn, FloatColumn]:
        """Return start and end of one zone's detections, in order."""
        first, last = np.searchsorted(self.zone, [zone, zone + 1])
        return self.start[first:last], self.end[first:last]
