"""What the sensors see of the visits: motion in reach, pulses from standing trucks, misses, passers-by.

Comes in: visits with their runs, layout, the sensing streams.  Goes out: `Detections` per zone, united.
Before: `traffic`, `sensing/chance`; after: `lighting`.  A sensor covers its position +- range of its own
aisle; the sensor nearest to a mouth also looks out of it (trucks that turn in, trucks that pass).  Motion
inside is seen without a break; a standing truck only by pulses of a Poisson process, one process per truck.
Detection that depends on direction is not modelled.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sim.floor.layout import Layout
from sim.records import Detections, Drives, FloatColumn, IntColumn, Moves, Visits
from sim.sensing.chance import Chance, Draw, StreamOf, by_aisle
from sim.traffic.kinematics import time_at, travel_time
from sim.traffic.ways import is_middle

__all__ = ["sense", "unite"]

BLOCK = 50_000
"""Visits looked at together; bounds the memory, changes no result."""

Piece = tuple[IntColumn, FloatColumn, FloatColumn]


@dataclass(frozen=True)
class _Eyes:
    """The sensors of every aisle, padded to one width (A, S), and the sensing keys by aisle (A,)."""

    zone: IntColumn
    low_m: FloatColumn
    high_m: FloatColumn
    is_there: NDArray[np.bool_]
    is_front: NDArray[np.bool_]
    is_back: NDArray[np.bool_]
    approach_m: FloatColumn
    miss: FloatColumn
    still_rate_per_s: FloatColumn
    still_rate_person_per_s: FloatColumn

    def still_rates(self, visits: Visits, visit: IntColumn, aisle: IntColumn) -> FloatColumn:
        """Return the rate of pulses of whoever stands in an aisle on a visit [1/s] (n,)."""
        if not any(visits.truck_on_foot):
            return self.still_rate_per_s[aisle]
        on_foot = np.array(visits.truck_on_foot)[visits.truck[visit]]
        rates: FloatColumn = np.where(
            on_foot, self.still_rate_person_per_s[aisle], self.still_rate_per_s[aisle]
        )
        return rates


def unite(zone: IntColumn, start: FloatColumn, end: FloatColumn) -> Detections:
    """Unite overlapping and touching intervals of each zone.

    Parameters
    ----------
    zone, start, end : in any order; a pulse has start = end [s] (n,)

    Returns
    -------
    Detections, sorted by zone and start, with a gap between any two of a zone
    """
    order = np.lexsort((end, start, zone))
    zone, start, end = zone[order], start[order], end[order]
    if not len(zone):
        return Detections(zone.astype(np.int64), start, end)
    pieces = []
    for first, last in _runs_of_equal(zone):
        reach = np.maximum.accumulate(end[first:last])
        begins = np.append(True, start[first + 1 : last] > reach[:-1])
        at = np.flatnonzero(begins)
        pieces.append(
            (zone[first:last][at], start[first:last][at], reach[np.append(at[1:], last - first) - 1])
        )
    joined = [np.concatenate(column) for column in zip(*pieces, strict=True)]
    return Detections(joined[0].astype(np.int64), joined[1], joined[2])


def _runs_of_equal(values: IntColumn) -> Iterator[tuple[int, int]]:
    """Yield first and last + 1 of each run of equal values."""
    borders = np.flatnonzero(np.diff(values)) + 1
    edges = [0, *borders.tolist(), len(values)]
    yield from pairwise(edges)


def _zone_of(layout: Layout, is_dead: NDArray[np.bool_] | None) -> IntColumn:
    """Return the zone that each sensor tells, -1 for a dead one, which draws as it would (S,)."""
    return layout.sensor_zone if is_dead is None else np.where(is_dead, -1, layout.sensor_zone)


def _gather_eyes(layout: Layout, is_dead: NDArray[np.bool_] | None) -> _Eyes:
    """Lay the sensors out as one table per aisle."""
    aisles = len(layout.aisles)
    counts = np.bincount(layout.sensor_aisle, minlength=aisles)
    width = int(counts.max())
    column = np.arange(len(layout.sensor_m)) - np.repeat(np.cumsum(counts) - counts, counts)
    place = (layout.sensor_aisle, column)
    reach = layout.sensor_values("range_m")[layout.sensor_aisle]

    def table(values: NDArray[np.generic], empty: float) -> NDArray[np.generic]:
        made = np.full((aisles, width), empty, dtype=values.dtype)
        made[place] = values
        return made

    sensor = np.arange(len(layout.sensor_m))
    zone = _zone_of(layout, is_dead)
    return _Eyes(
        zone=table(zone, -1).astype(np.int64),
        low_m=table(layout.sensor_m - reach, np.inf).astype(np.float64),
        high_m=table(layout.sensor_m + reach, -np.inf).astype(np.float64),
        is_there=table(np.ones(len(sensor), dtype=bool), False).astype(bool),
        is_front=table(sensor == layout.front_sensor[layout.sensor_aisle], False).astype(bool),
        is_back=table(sensor == layout.back_sensor[layout.sensor_aisle], False).astype(bool),
        approach_m=layout.sensor_values("approach_m"),
        miss=layout.sensor_values("miss"),
        still_rate_per_s=layout.sensor_values("still_rate_per_min") / 60.0,
        still_rate_person_per_s=layout.sensor_values("person_rate_per_min") / 60.0,
    )


def sense(
    layout: Layout,
    visits: Visits,
    stream_of: StreamOf,
    end_s: float,
    is_dead: NDArray[np.bool_] | None = None,
) -> Detections:
    """Let every sensor look at every visit.

    Parameters
    ----------
    layout : the floor with its sensors
    visits : with moves; drives may be missing (then nobody passes a mouth)
    stream_of : makes the stream of a kind of draw in an aisle; used for nothing else
    end_s : end of the run: what is seen later is not there, what lasts longer is cut [s]
    is_dead : sensors that see nothing; None: all work (S,)

    Raises
    ------
    ValueError : the visits have no moves
    """
    if visits.moves is None:
        raise ValueError("sensing needs visits with positions")
    eyes = _gather_eyes(layout, is_dead)
    chance = Chance(stream_of)
    pieces: list[Piece] = []
    for first in range(0, len(visits), BLOCK):
        last = min(first + BLOCK, len(visits))
        rows = slice(*np.searchsorted(visits.moves.visit, [first, last]))
        moves = Moves(
            visits.moves.visit[rows] - first,
            visits.moves.start[rows],
            visits.moves.from_m[rows],
            visits.moves.to_m[rows],
            visits.moves.speed[rows],
            visits.moves.acceleration[rows],
        )
        pieces += _see_block(layout, eyes, visits, slice(first, last), moves, chance)
    if visits.drives is not None:
        pieces += _see_passers(layout, visits, visits.drives, chance, Draw.PASS, is_dead)
    if visits.coming is not None:
        pieces += _see_coming(layout, eyes, visits.coming, chance, end_s)
        if visits.coming.drives is not None:
            pieces += _see_passers(
                layout, visits.coming, visits.coming.drives, chance, Draw.COMING_PASS, is_dead
            )
    if not pieces:
        return unite(np.zeros(0, np.int64), np.zeros(0), np.zeros(0))
    zone, start, end = (np.concatenate(column) for column in zip(*pieces, strict=True))
    seen = (start < end_s) & (end >= 0.0) & (zone >= 0)
    return unite(zone[seen], np.maximum(start[seen], 0.0), np.minimum(end[seen], end_s))


def _see_block(
    layout: Layout, eyes: _Eyes, visits: Visits, block: slice, moves: Moves, chance: Chance
) -> list[Piece]:
    """Look at some visits: number each sensor's entries, draw the misses, then collect motion and pulses.

    Tables have a row per run inside the aisle and a column per sensor of the aisle.
    """
    aisle = visits.aisle[block][moves.visit]
    is_first = np.append(True, moves.visit[1:] != moves.visit[:-1])
    is_last = np.append(is_first[1:], True)
    low, high = eyes.low_m[aisle], eyes.high_m[aisle]
    near, far = np.minimum(moves.from_m, moves.to_m), np.maximum(moves.from_m, moves.to_m)
    lower, upper = np.maximum(low, near[:, None]), np.minimum(high, far[:, None])
    covered = (lower < upper) & eyes.is_there[aisle]

    length = far - near
    outward = (moves.to_m >= moves.from_m)[:, None]
    begin_m = np.where(outward, lower - near[:, None], far[:, None] - upper)
    end_m = np.where(outward, upper - near[:, None], far[:, None] - lower)
    run = (length[:, None], moves.speed[:, None], moves.acceleration[:, None])
    begin = moves.start[:, None] + time_at(np.where(covered, begin_m, 0.0), *run)
    end = moves.start[:, None] + time_at(np.where(covered, end_m, 0.0), *run)

    # a truck that turns in is seen by the mouth's sensor before it enters
    back = visits.enters_back[block][moves.visit]
    looks_out = np.where(back[:, None], eyes.is_back[aisle], eyes.is_front[aisle])
    looks_out &= (is_first & (eyes.approach_m[aisle] > 0.0))[:, None]
    if visits.enter_line is not None:
        looks_out &= ~is_middle(layout, aisle, visits.enter_line[block][moves.visit])[:, None]

    # standing at the start and at the end of each run, in reach: the same entry goes on
    stands_in = (low <= moves.from_m[:, None]) & (moves.from_m[:, None] <= high) & eyes.is_there[aisle]
    stands_out = (low <= moves.to_m[:, None]) & (moves.to_m[:, None] <= high) & eyes.is_there[aisle]
    goes_on = stands_in & ~is_first[:, None]
    enters_here = (covered | looks_out | (stands_out & ~is_last[:, None])) & ~goes_on

    draw = _draw_misses(eyes, aisle, chance)
    missed = np.zeros(covered.shape, dtype=bool)
    depth = np.arange(len(moves.visit)) - np.maximum.accumulate(
        np.where(is_first, np.arange(len(is_first)), 0)
    )
    for step in range(int(depth.max(initial=-1)) + 1):
        at = np.flatnonzero(depth == step)
        before = missed[at - 1] if step else np.zeros((len(at), covered.shape[1]), dtype=bool)
        missed[at] = np.where(enters_here[at], draw[at], before)

    if not all(visits.truck_seen):
        # trucks that no sensor sees: after the draws, so that they move nobody else's
        missed |= ~np.array(visits.truck_seen)[visits.truck[block][moves.visit]][:, None]

    zone = eyes.zone[aisle]
    pieces: list[Piece] = []
    seen = covered & ~missed
    pieces.append((zone[seen], begin[seen], end[seen]))
    out = looks_out & ~missed
    row, _ = np.nonzero(out)
    pieces += _see_approach(visits, block, eyes, moves.visit[row], aisle[row], zone[out], chance)

    # pulses of trucks that stand between two runs, and at the mouth's queue before the first
    stands = ~is_last
    row = np.flatnonzero(stands)
    stop = moves.start[row] + travel_time(length[row], moves.speed[row], moves.acceleration[row])
    stay = np.maximum(0.0, moves.start[row + 1] - stop)
    rate = eyes.still_rates(visits, block.start + moves.visit[row], aisle[row])
    pulses = chance.counts(Draw.STAND_PULSES, aisle[row], stay * rate)
    which = np.repeat(np.arange(len(row)), pulses)
    time = stop[which] + chance.uniform(Draw.STAND_TIME, aisle[row[which]]) * stay[which]
    in_reach = (stands_out & ~missed)[row]
    hit, sensor = np.nonzero(in_reach[which])
    pieces.append((zone[row[which[hit]], sensor], time[hit], time[hit]))
    return pieces


def _draw_misses(eyes: _Eyes, aisle: IntColumn, chance: Chance) -> NDArray[np.bool_]:
    """Draw for each row and sensor of its aisle whether an entry that begins there is missed (n, S).

    Every row and sensor has a draw, so that no reach and no approach moves one.
    """
    draw = np.zeros((len(aisle), eyes.zone.shape[1]), dtype=bool)
    for number, rows in by_aisle(aisle):
        if eyes.miss[number] > 0.0:
            own = int(eyes.is_there[number].sum())
            draw[rows, :own] = chance.stream(Draw.MISS, number).random((len(rows), own)) < eyes.miss[number]
    return draw


def _see_approach(
    visits: Visits,
    block: slice,
    eyes: _Eyes,
    visit: IntColumn,
    aisle: IntColumn,
    zone: IntColumn,
    chance: Chance,
) -> list[Piece]:
    """See trucks that turn in on their last metres before the mouth, and in the queue there by pulses."""
    enter = visits.enter[block]
    arrive = np.where(np.isnan(visits.arrive[block]), enter, visits.arrive[block])
    start = _first_seen(visits, block.start + visit, arrive[visit], eyes.approach_m[aisle])
    pieces: list[Piece] = [(zone, start, arrive[visit])]
    wait = enter - arrive
    rate = np.zeros(len(wait))
    rate[visit] = eyes.still_rates(visits, block.start + visit, aisle)
    own = visits.aisle[block]
    pulses = chance.counts(Draw.QUEUE_PULSES, own, wait * rate)
    share = chance.uniform(Draw.QUEUE_TIME, np.repeat(own, pulses))
    time = np.repeat(arrive, pulses) + share * np.repeat(wait, pulses)
    first = np.cumsum(pulses) - pulses
    for_sensor = np.repeat(np.arange(len(visit)), pulses[visit])
    within = np.arange(len(for_sensor)) - np.repeat(np.cumsum(pulses[visit]) - pulses[visit], pulses[visit])
    at = time[first[visit[for_sensor]] + within]
    pieces.append((zone[for_sensor], at, at))
    return pieces


def _first_seen(
    visits: Visits, visit: IntColumn, arrive: FloatColumn, outside: FloatColumn
) -> FloatColumn:
    """Return when trucks on their last runs to a mouth are so near to it [s] (n,)."""
    run_in, before = visits.run_in_m[visit], visits.run_before_m[visit]
    speed, ramp = visits.run_speed[visit], visits.run_acceleration[visit]
    on_last = np.minimum(outside, run_in)
    on_earlier = np.minimum(outside - on_last, before)
    # the runs end at rest, so the time from a point to the mouth is the time to get as far from rest
    start: FloatColumn = arrive - np.where(
        outside <= run_in,
        time_at(on_last, run_in, speed, ramp),
        travel_time(run_in, speed, ramp) + time_at(on_earlier, before, speed, ramp),
    )
    if visits.turn is not None:
        start -= visits.turn[visit]
    return start


def _see_coming(
    layout: Layout, eyes: _Eyes, coming: Visits, chance: Chance, end_s: float
) -> list[Piece]:
    """See trucks that were on their way to a mouth, or queued there, as the run ended."""
    aisle = coming.aisle
    front, back = eyes.is_front[aisle].argmax(axis=1), eyes.is_back[aisle].argmax(axis=1)
    sensor = np.where(coming.enters_back, back, front)
    zone = eyes.zone[aisle, sensor]
    seen = (eyes.approach_m[aisle] > 0.0) & (chance.uniform(Draw.COMING_MISS, aisle) >= eyes.miss[aisle])
    if not all(coming.truck_seen):
        seen &= np.array(coming.truck_seen)[coming.truck]
    if coming.enter_line is not None:
        seen &= ~is_middle(layout, aisle, coming.enter_line)
    row = np.flatnonzero(seen)
    start = _first_seen(coming, row, coming.arrive[row], eyes.approach_m[aisle[row]])
    wait = np.maximum(0.0, end_s - coming.arrive[row])
    rate = eyes.still_rates(coming, row, aisle[row])
    which = np.repeat(np.arange(len(row)), chance.counts(Draw.COMING_PULSES, aisle[row], wait * rate))
    time = coming.arrive[row][which] + chance.uniform(Draw.COMING_TIME, aisle[row[which]]) * wait[which]
    return [(zone[row], start, coming.arrive[row]), (zone[row][which], time, time)]


def _see_passers(
    layout: Layout,
    visits: Visits,
    drives: Drives,
    chance: Chance,
    kind: Draw,
    is_dead: NDArray[np.bool_] | None,
) -> list[Piece]:
    """See trucks that drive past a mouth without turning in, by chance, for as long as they are near."""
    zone = _zone_of(layout, is_dead)
    can_be_seen = np.ones(len(drives.start), dtype=bool)
    if drives.truck is not None and not all(visits.truck_seen):
        can_be_seen = np.array(visits.truck_seen)[drives.truck]
    trigger, reach = layout.sensor_values("passing_trigger"), layout.sensor_values("passing_range_m")
    pieces: list[Piece] = []
    length = np.abs(drives.to_m - drives.from_m)
    low, high = np.minimum(drives.from_m, drives.to_m), np.maximum(drives.from_m, drives.to_m)
    for aisle, mouth in enumerate(layout.aisle_m):
        if trigger[aisle] <= 0.0 or reach[aisle] <= 0.0:
            continue
        # one draw for every drive, so that no key of the mouth moves one
        draw = (chance.stream(kind, aisle).random(len(length)) < trigger[aisle]) & can_be_seen
        behind = drives.is_back
        setback = np.full(len(length), layout.length_m.max() - layout.length_m[aisle])
        if drives.middle_m is not None:
            # a middle cross-aisle meets the aisle between its mouths, or lies behind the back one
            behind = behind | (drives.middle_m >= layout.length_m[aisle])
            setback = np.where(drives.is_back, setback, drives.middle_m - layout.length_m[aisle])
        window = np.where(behind, reach[aisle] ** 2 - setback**2, reach[aisle] ** 2)
        half = np.sqrt(np.maximum(window, 0.0))
        near, far = np.maximum(low, mouth - half), np.minimum(high, mouth + half)
        passes = draw & (near < far) & (drives.from_aisle != aisle) & (drives.to_aisle != aisle)
        at = np.flatnonzero(passes)
        outward = drives.to_m[at] >= drives.from_m[at]
        begin_m = np.where(outward, near[at] - low[at], high[at] - far[at])
        end_m = np.where(outward, far[at] - low[at], high[at] - near[at])
        run = (length[at], drives.speed[at], drives.acceleration[at])
        begin, end = drives.start[at] + time_at(begin_m, *run), drives.start[at] + time_at(end_m, *run)
        sensor = np.where(behind[at], layout.back_sensor[aisle], layout.front_sensor[aisle])
        if drives.middle_m is None:
            pieces.append((zone[sensor], begin, end))
            continue
        is_inside = ~behind[at] & ~np.isnan(drives.middle_m[at])
        pieces.append((zone[sensor][~is_inside], begin[~is_inside], end[~is_inside]))
        own = np.flatnonzero(layout.sensor_aisle == aisle)
        away = np.abs(layout.sensor_m[own][None, :] - drives.middle_m[at][is_inside][:, None])
        row, column = np.nonzero(away <= layout.sensors[aisle].range_m)
        pieces.append((zone[own[column]], begin[is_inside][row], end[is_inside][row]))
    return pieces
