"""Trucks as lines of position over time, each piece with the light it was in.

Comes in: the `CloseLook` of a `Result`.  Goes out: `Track` columns.  Before: `sim.results`; after:
`show/numbers/hour`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn, Moves, Visits
from sim.results import Levels, Result
from sim.traffic.kinematics import time_at

__all__ = ["Track", "is_dim_at", "level_at", "tracks_within"]

BoolColumn = NDArray[np.bool_]
PARTS_OF_MOVE = (1.0 - np.cos(np.linspace(0.0, np.pi, 9))) / 2.0
"""Where along a move the line has corners: closer to its ends, where the truck speeds up and brakes."""


@dataclass(frozen=True)
class Track:
    """One visit within the hour as a line of position over time.

    Attributes
    ----------
    truck : its name
    time_s, position_m : corners of the line (n,)
    is_dim : whether the light at the truck was below the occupied level, by piece (n - 1,)
    knows_position : False where the log does not say where the truck was
    """

    truck: str
    time_s: FloatColumn
    position_m: FloatColumn
    is_dim: BoolColumn
    knows_position: bool


def level_at(levels: Levels, time_s: FloatColumn) -> FloatColumn:
    """Return a zone's actual light at given times, share of full (n,)."""
    piece = np.clip(np.searchsorted(levels.start, time_s, side="right") - 1, 0, len(levels.start) - 1)
    length = levels.end[piece] - levels.start[piece]
    done = np.clip((time_s - levels.start[piece]) / np.where(length > 0.0, length, 1.0), 0.0, 1.0)
    return levels.start_level[piece] + done * (levels.end_level[piece] - levels.start_level[piece])


def is_dim_at(levels: Levels, time_s: FloatColumn) -> BoolColumn:
    """Tell whether a zone's light is below the occupied level in force at given times (n,)."""
    piece = np.clip(np.searchsorted(levels.start, time_s, side="right") - 1, 0, len(levels.start) - 1)
    return np.asarray(level_at(levels, time_s) < levels.occupied[piece] - 1e-9)


def tracks_within(result: Result, aisle: int, start: float, end: float) -> tuple[Track, ...]:
    """Return the visits of one aisle that touch a span of time, cut to it."""
    visits = result.close_look.visits
    if visits is None:
        return ()
    rows = np.flatnonzero((visits.aisle == aisle) & (visits.leave > start) & (visits.enter < end))
    lanes = _lanes(visits, rows)
    length = float(result.layout.length_m[aisle])
    moves = None if visits.moves is None else _moves_of(visits.moves, rows)
    tracks = []
    for row in rows:
        time, position = _path(visits, moves, int(row), length, lanes)
        knows = moves is not None or bool(np.isfinite(visits.bay_m[row]))
        time, position = _cut(time, position, start, end)
        time, position, is_dim = _with_light(result, aisle, time, position)
        tracks.append(Track(visits.truck_names[visits.truck[row]], time, position, is_dim, knows))
    return tuple(tracks)


def _lanes(visits: Visits, rows: IntColumn) -> dict[int, float]:
    """Depth (share of the aisle) at which a visit without a place is drawn, so that bars do not overlap."""
    free: list[float] = []
    lane_of: dict[int, int] = {}
    for row in rows:
        lane = next((lane for lane, until in enumerate(free) if until <= visits.enter[row]), len(free))
        free[lane:lane + 1] = [float(visits.leave[row])]
        lane_of[int(row)] = lane
    return {row: (lane + 1) / (len(free) + 1) for row, lane in lane_of.items()}


def _moves_of(moves: Moves, rows: IntColumn) -> Moves:
    """The moves of some visits."""
    kept = np.isin(moves.visit, rows)
    return Moves(*(getattr(moves, field.name)[kept] for field in fields(Moves)))


def _path(
    visits: Visits, moves: Moves | None, row: int, length: float, lanes: dict[int, float]
) -> tuple[FloatColumn, FloatColumn]:
    """Position over time of one visit; a straight bar where no moves are known."""
    enter, leave = float(visits.enter[row]), float(visits.leave[row])
    if moves is None:
        bay = float(visits.bay_m[row])
        place = bay if math.isfinite(bay) else lanes[row] * length
        return np.array([enter, leave]), np.array([place, place])
    runs = np.flatnonzero(moves.visit == row)
    mouth = length if visits.enters_back[row] else 0.0
    if visits.enter_line is not None and len(runs):
        mouth = float(moves.from_m[runs[0]])
    time, position = [np.array([enter])], [np.array([mouth])]
    for move in runs:
        distance = abs(moves.to_m[move] - moves.from_m[move])
        done = distance * PARTS_OF_MOVE
        took = time_at(done, distance, moves.speed[move], moves.acceleration[move])
        time.append(moves.start[move] + took)
        position.append(moves.from_m[move] + np.sign(moves.to_m[move] - moves.from_m[move]) * done)
    times, places = np.maximum.accumulate(np.concatenate(time)), np.concatenate(position)
    kept = times < leave
    last = np.interp(leave, times, places)
    return np.append(times[kept], leave), np.append(places[kept], last)


def _cut(
    time: FloatColumn, position: FloatColumn, start: float, end: float
) -> tuple[FloatColumn, FloatColumn]:
    """Cut a line to a span of time."""
    first, last = max(start, float(time[0])), min(end, float(time[-1]))
    inside = (time > first) & (time < last)
    ends = np.interp([first, last], time, position)
    return (
        np.concatenate(([first], time[inside], [last])),
        np.concatenate((ends[:1], position[inside], ends[1:])),
    )


def _with_light(
    result: Result, aisle: int, time: FloatColumn, position: FloatColumn
) -> tuple[FloatColumn, FloatColumn, BoolColumn]:
    """Add corners where the light or the zone changes and say which pieces are dim."""
    zones = result.layout.zones_of(aisle)
    levels = [result.close_look.levels[zone] for zone in zones]
    cuts = result.layout.zone_from_m[zones[0]:zones[-1] + 1][1:]
    corners = [time]
    for cut in cuts:
        crossing = np.flatnonzero((position[:-1] - cut) * (position[1:] - cut) < 0.0)
        part = (cut - position[crossing]) / (position[crossing + 1] - position[crossing])
        corners.append(time[crossing] + part * (time[crossing + 1] - time[crossing]))
    for light in levels:
        corners.append(light.start[(light.start > time[0]) & (light.start < time[-1])])
    times = np.unique(np.concatenate(corners))
    places = np.interp(times, time, position)
    middle = (times[:-1] + times[1:]) / 2.0
    at = np.searchsorted(cuts, np.interp(middle, time, position), side="right")
    is_dim = np.zeros(len(middle), dtype=bool)
    for number, light in enumerate(levels):
        here = at == number
        is_dim[here] = is_dim_at(light, middle[here])
    return times, places, is_dim
