"""One hour of one replication as a space-time picture, as numbers: trucks, light and detections.

Comes in: the `CloseLook` of a `Result`.  Goes out: `HourNumbers`.  Before: `sim.results`; after:
`show/figures/draw`.  Nothing is drawn here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.records import FloatColumn, IntColumn
from sim.results import Levels, Result
from sim.show.numbers.pick import BUSY_SHARE, MOST_STRIPS, clock_hours, hour_of_rank, spread_aisles
from sim.show.numbers.tracks import Track, level_at, tracks_within
from sim.units import SECONDS_PER_HOUR

__all__ = ["HourNumbers", "Shade", "Strip", "hour_numbers"]

SLICES_PER_FADE = 8


@dataclass(frozen=True)
class Shade:
    """Rectangles of light level: time by stretch of the aisle (n,)."""

    start_s: FloatColumn
    end_s: FloatColumn
    from_m: FloatColumn
    to_m: FloatColumn
    level: FloatColumn


@dataclass(frozen=True)
class Strip:
    """One aisle in the hour.

    Attributes
    ----------
    aisle : its name
    count : trucks that entered within the hour; where no visits are known, detections that began
    length_m : of the aisle
    cut_m : where zones meet
    reach_m : stretches seen by a sensor (from, to)
    shade : the light
    tracks : the trucks
    seen : detections as (start, end, from_m, to_m), times within the hour [s]
    border_s : timetable borders within the hour
    """

    aisle: str
    count: int
    length_m: float
    cut_m: tuple[float, ...]
    reach_m: tuple[tuple[float, float], ...]
    shade: Shade
    tracks: tuple[Track, ...]
    seen: tuple[tuple[float, float, float, float], ...]
    border_s: tuple[float, ...]


@dataclass(frozen=True)
class HourNumbers:
    """The chosen hour.

    Attributes
    ----------
    start_s, end_s : from the run's start [s]
    whose : "replication 7", or "the log"
    strips : the chosen aisles in the floor's order
    knows_visits : whether trucks are known, or only motion
    hour_reason, aisle_reason : why this hour, why these aisles, as sentences
    """

    start_s: float
    end_s: float
    whose: str
    strips: tuple[Strip, ...]
    knows_visits: bool
    hour_reason: str
    aisle_reason: str


def hour_numbers(result: Result, span: tuple[float, float] | None = None) -> HourNumbers:
    """Return what happened in an hour in up to five aisles.

    Parameters
    ----------
    result : a run or a replay
    span : from and to [s]; None: a busy hour is chosen
    """
    look = result.close_look
    if look.visits is not None:
        where, when, noun = look.visits.aisle, look.visits.enter, "visits"
    else:
        where = result.layout.zone_place[look.detections.zone]
        when, noun = look.detections.start, "detections"
    start, end, hour_reason = _choose_hour(result, when, noun) if span is None else (*span, "As asked for.")
    inside = (when >= start) & (when < end)
    counts = np.bincount(where[inside], minlength=len(result.layout.aisles))
    if look.visits is None:
        counts = counts[result.layout.aisle_place]
    rows, aisle_reason = _choose_aisles(counts, noun)
    strips = tuple(_strip(result, int(aisle), start, end, int(counts[aisle])) for aisle in rows)
    whose = "the log" if result.source == "replay" else f"replication {result.replications[0]}"
    return HourNumbers(
        start, end, whose, strips, look.visits is not None, hour_reason, aisle_reason
    )


def _choose_hour(result: Result, when: FloatColumn, noun: str) -> tuple[float, float, str]:
    """Pick the full clock hour that is busier than three quarters of those with anything in them."""
    duration = result.scenario.duration_s
    first, counts = clock_hours(result.scenario.start_datetime, duration, when)
    if not len(counts):
        return 0.0, min(duration, SECONDS_PER_HOUR), "The run is shorter than one hour of the clock."
    busy = np.sort(counts[counts > 0])
    if len(busy) == 0:
        return first, first + SECONDS_PER_HOUR, f"There are no {noun} in the run: its first hour is shown."
    hour = hour_of_rank(counts, BUSY_SHARE)
    start = first + hour * SECONDS_PER_HOUR
    reason = (
        f"A busy hour, not the busiest: it has {counts[hour]} {noun}, the busiest has {busy.max()}, "
        f"the middle one of the hours with any has {busy[len(busy) // 2]}."
    )
    if len(busy) == 1:
        reason = f"The only full hour with {noun}: it has {counts[hour]}."
    return start, start + SECONDS_PER_HOUR, reason


def _choose_aisles(counts: IntColumn, noun: str) -> tuple[list[int], str]:
    """Pick aisles for the picture, and say why these."""
    aisles, busy = spread_aisles(counts), int(np.sum(counts > 0))
    if busy == 0:
        return aisles, f"No aisle has {noun} in it."
    if busy <= MOST_STRIPS:
        return aisles, f"Shown are all aisles with {noun} in this hour."
    return aisles, (
        f"Shown are {MOST_STRIPS} of the {busy} aisles with {noun} in this hour, "
        f"evenly by rank from the busiest to the quietest."
    )


def _strip(result: Result, aisle: int, start: float, end: float, count: int) -> Strip:
    """Gather one aisle's light, trucks and detections."""
    layout, look = result.layout, result.close_look
    zones = layout.zones_of(aisle)
    seen: list[tuple[float, float, float, float]] = []
    shades = []
    for zone in zones:
        near, far = layout.stretch(aisle, zone)
        begins, ends = look.detections.of_zone(zone)
        inside = (begins < end) & (ends >= start)
        seen.extend(
            (max(float(a), start), min(float(b), end), near, far)
            for a, b in zip(begins[inside], ends[inside], strict=True)
        )
        shades.append(_shade(look.levels[zone], start, end, near, far))
    border = result.programs[layout.aisle_place[aisle]].border[1:-1]
    return Strip(
        aisle=layout.aisles[aisle],
        count=count,
        length_m=float(layout.length_m[aisle]),
        cut_m=tuple(float(layout.zone_from_m[zone]) for zone in zones[1:]),
        reach_m=tuple(_reach(result, int(sensor)) for sensor in np.flatnonzero(layout.sensor_aisle == aisle)),
        shade=Shade(*(np.concatenate(columns) for columns in zip(*shades, strict=True))),
        tracks=tracks_within(result, aisle, start, end),
        seen=tuple(seen),
        border_s=tuple(float(time) for time in border[(border > start) & (border < end)]),
    )


def _reach(result: Result, sensor: int) -> tuple[float, float]:
    """Stretch of the aisle that one sensor sees for its zone [m]."""
    layout = result.layout
    aisle = int(layout.sensor_aisle[sensor])
    near, far = layout.stretch(aisle, int(layout.sensor_zone[sensor]))
    at_m, reach = float(layout.sensor_m[sensor]), layout.sensors[aisle].range_m
    return max(at_m - reach, near), min(at_m + reach, far)


def _shade(levels: Levels, start: float, end: float, near: float, far: float) -> tuple[FloatColumn, ...]:
    """Cut a zone's light in the hour into rectangles; a fade becomes a few slices."""
    rows = np.flatnonzero((levels.end > start) & (levels.start < end))
    edges: list[float] = []
    for row in rows:
        slices = 1 if levels.start_level[row] == levels.end_level[row] else SLICES_PER_FADE
        edges.extend(np.linspace(levels.start[row], levels.end[row], slices + 1)[:-1].tolist())
    borders = np.clip([*edges, end], start, end)
    begins, ends = borders[:-1], borders[1:]
    kept = ends > begins
    begins, ends = begins[kept], ends[kept]
    level = level_at(levels, (begins + ends) / 2.0)
    return begins, ends, np.full(len(begins), near), np.full(len(begins), far), level
