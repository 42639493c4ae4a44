"""An hour as frames: the light of every zone, trucks and detections at even instants.

Comes in: the `CloseLook` of a `Result`, the hour.  Goes out: `FilmNumbers`.  Before: `show/numbers/hour`,
`show/numbers/motion`; after: `show/figures/film`.  Nothing is drawn here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.floor.layout import Layout
from sim.records import FloatColumn, IntColumn, OpenRuns
from sim.results import Result
from sim.show.numbers.hour import HourNumbers, hour_numbers
from sim.show.numbers.motion import open_place_at, place_at
from sim.show.numbers.tracks import is_dim_at, level_at

__all__ = ["Box", "Dot", "FilmNumbers", "film_numbers", "lay_boxes"]


@dataclass(frozen=True)
class Box:
    """One zone in one aisle, or an open area, in the plan [m].

    Attributes
    ----------
    aisle : index of the aisle, -1 for an open area
    zone : index of the zone
    across_m, near_m, far_m : centre line across the floor, and its stretch from the front mouths
    width_m : across the floor
    """

    aisle: int
    zone: int
    across_m: float
    near_m: float
    far_m: float
    width_m: float


@dataclass(frozen=True)
class Dot:
    """One truck in one frame.

    Attributes
    ----------
    across_m, along_m : its place in the plan [m]
    is_dim : whether its light is below the occupied level
    is_lit : whether light is simulated where it is: in aisles and open areas
    """

    across_m: float
    along_m: float
    is_dim: bool
    is_lit: bool = True


@dataclass(frozen=True)
class FilmNumbers:
    """The film.

    Attributes
    ----------
    hour : the space-time picture of its busiest, quietest and middle aisles
    time_s : instants of the frames, from the run's start [s] (F,)
    boxes : the zones (B,)
    level : actual light, share of full (F, B)
    is_seen : whether motion was seen from this frame to the next (F, B)
    dots : the trucks of each frame (F,)
    aisle_names : of all aisles (A,)
    unplaced : visits that the log gives no place for
    depth_m : from the doors to the front cross-aisle where trucks are known outside the aisles, else 0
    """

    hour: HourNumbers
    time_s: FloatColumn
    boxes: tuple[Box, ...]
    level: FloatColumn
    is_seen: NDArray[np.bool_]
    dots: tuple[tuple[Dot, ...], ...]
    aisle_names: tuple[str, ...]
    unplaced: int
    depth_m: float = 0.0


def film_numbers(
    result: Result, start_s: float, end_s: float, frames: int, open_runs: OpenRuns | None = None
) -> FilmNumbers:
    """Return the frames of a span of a result's first replication.

    Parameters
    ----------
    result : a run or a replay
    start_s, end_s : the span, within the run [s]
    frames : how many, >= 1
    open_runs : the trucks' ways outside the aisles, None where they are not known
    """
    time = start_s + (end_s - start_s) * np.arange(frames) / frames
    edges = np.append(time, end_s)
    boxes = lay_boxes(result.layout)
    look = result.close_look
    levels = {box.zone: level_at(look.levels[box.zone], time) for box in boxes}
    seen = {box.zone: _is_seen(*look.detections.of_zone(box.zone), edges) for box in boxes}
    dots, unplaced = _dots(result, time, boxes)
    around = [()] * frames if open_runs is None else _dots_outside(result, open_runs, time)
    return FilmNumbers(
        hour=hour_numbers(result, (start_s, end_s)),
        time_s=time,
        boxes=boxes,
        level=np.stack([levels[box.zone] for box in boxes], axis=1),
        is_seen=np.stack([seen[box.zone] for box in boxes], axis=1),
        dots=tuple((*outside, *inside) for outside, inside in zip(around, dots, strict=True)),
        aisle_names=tuple(result.layout.aisles),
        unplaced=unplaced,
        depth_m=0.0 if open_runs is None else result.layout.staging_depth_m,
    )


def lay_boxes(layout: Layout) -> tuple[Box, ...]:
    """Return every zone where it lies in the plan; a zone of several aisles lies in each of them.

    Parameters
    ----------
    layout : the floor
    """
    centres = np.asarray(layout.aisle_m, dtype=np.float64)
    gap = float(np.min(np.diff(np.sort(centres)))) if len(centres) > 1 else 6.0
    boxes = []
    # a truck inside an aisle counts there alone, so that aisles lie above the areas
    for number, area in enumerate(layout.areas):
        left, right = area.across_m
        near, far = area.along_m
        zone = layout.zones_in_aisles + number
        boxes.append(Box(-1, zone, 0.5 * (left + right), near, far, right - left))
    for aisle in range(len(layout.aisles)):
        for zone in layout.zones_of(aisle):
            near, far = layout.stretch(aisle, zone)
            boxes.append(Box(aisle, zone, float(centres[aisle]), near, far, 0.62 * gap))
    return tuple(boxes)


def _is_seen(start: FloatColumn, end: FloatColumn, edges: FloatColumn) -> NDArray[np.bool_]:
    """Whether any detection touches each span between edges."""
    begun = np.searchsorted(start, edges[1:], side="left")
    over = np.searchsorted(end, edges[:-1], side="left")
    return np.asarray(begun > over)


def _dots(
    result: Result, time: FloatColumn, boxes: tuple[Box, ...]
) -> tuple[tuple[tuple[Dot, ...], ...], int]:
    """Trucks in aisles, frame by frame, and how many visits have no place."""
    look, layout = result.close_look, result.layout
    visits = look.visits
    found: list[list[Dot]] = [[] for _ in time]
    unplaced = 0
    if visits is None:
        return tuple(() for _ in time), 0
    rows: IntColumn = np.flatnonzero((visits.leave > time[0]) & (visits.enter <= time[-1]))
    for row in rows.tolist():
        aisle = int(visits.aisle[row])
        own = [box for box in boxes if box.aisle == aisle]
        first, last = np.searchsorted(time, [visits.enter[row], visits.leave[row]])
        for frame in range(int(first), int(last)):
            place = place_at(visits, row, float(time[frame]), float(layout.length_m[aisle]))
            if not math.isfinite(place):
                unplaced += 1
                break
            here = next((box for box in own if place < box.far_m), own[-1])
            is_dim = bool(is_dim_at(look.levels[here.zone], time[frame:frame + 1])[0])
            found[frame].append(Dot(here.across_m, place, is_dim))
    return tuple(tuple(dots) for dots in found), unplaced


def _dots_outside(result: Result, runs: OpenRuns, time: FloatColumn) -> list[tuple[Dot, ...]]:
    """Trucks outside the aisles, frame by frame."""
    look, layout = result.close_look, result.layout
    found: list[tuple[Dot, ...]] = []
    for now in time.tolist():
        here = []
        for row in np.flatnonzero((runs.start <= now) & (now < runs.end)).tolist():
            across, along = open_place_at(runs, row, now)
            zone = next(
                (layout.zones_in_aisles + number for number, area in enumerate(layout.areas)
                 if area.holds(np.array(across), np.array(along))),
                None,
            )
            is_dim = zone is not None and bool(is_dim_at(look.levels[zone], np.array([now]))[0])
            here.append(Dot(across, along, is_dim, zone is not None))
        found.append(tuple(here))
    return found
