"""The books of one zone: every outcome by hour, exact through fades, from light and trucks.

Comes in: a zone's commands, light, stays, power curve.  Goes out: `ZoneBooks`.  Before: `lighting`;
after: `outcome/totals`.  The run is cut wherever anything changes (level, command, trucks, hour, quarter,
crossing of the occupied level), so that in each piece the level is straight and all else constant.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.lighting.power import PowerCurve
from sim.lighting.replay import BORDER, DETECTION, TIMEOUT, Commands
from sim.outcome.clock import Bins
from sim.records import FloatColumn, IntColumn, Stays
from sim.results import Levels
from sim.units import JOULES_PER_KWH, SECONDS_PER_HOUR

__all__ = ["Spells", "ZoneBooks", "keep_books", "sum_by"]


@dataclass(frozen=True)
class Spells:
    """Times that visits spent in too little light without a break (n,)."""

    visit: IntColumn
    start: FloatColumn
    end: FloatColumn


@dataclass(frozen=True)
class ZoneBooks:
    """Outcomes of one zone.

    Attributes
    ----------
    hours : additive outcomes by hour (H,) each
    quarter_j : energy in each quarter-hour [J] (Q,)
    always_on_quarter_j : the same, always on [J] (Q,)
    spells : None where no visits are known
    false_off_times : switch-downs with a truck in the zone [s]
    """

    hours: Mapping[str, FloatColumn]
    quarter_j: FloatColumn
    always_on_quarter_j: FloatColumn
    spells: Spells | None
    false_off_times: FloatColumn


@dataclass(frozen=True)
class _Pieces:
    """The run cut so that the level is straight and all else is constant (n,)."""

    start: FloatColumn
    length: FloatColumn
    start_level: FloatColumn
    end_level: FloatColumn
    occupied: FloatColumn
    command: FloatColumn
    is_high: np.ndarray[Any, np.dtype[np.bool_]]


def _cut(levels: Levels, marks: FloatColumn) -> _Pieces:
    """Cut the light at marks and where it crosses the occupied level."""
    rise = levels.end_level - levels.start_level
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        share = (levels.occupied - levels.start_level) / rise
        crossing = levels.start + share * (levels.end - levels.start)
    crosses = (share > 0.0) & (share < 1.0)
    end_s = levels.end[-1]
    start = np.unique(
        np.concatenate([levels.start, marks[(marks > 0.0) & (marks < end_s)], crossing[crosses]])
    )
    end = np.append(start[1:], end_s)
    row = np.searchsorted(levels.start, start, side="right") - 1
    span = levels.end[row] - levels.start[row]
    span = np.where(span > 0.0, span, 1.0)
    first, step = levels.start_level[row], rise[row]
    begin_level = first + step * ((start - levels.start[row]) / span)
    final = np.where(
        end == levels.end[row], levels.end_level[row], first + step * ((end - levels.start[row]) / span)
    )
    return _Pieces(
        start, end - start, begin_level, final, levels.occupied[row], levels.command[row], levels.is_high[row]
    )


def _count_events(bins: Bins, time: FloatColumn) -> FloatColumn:
    """Count instants by hour (H,)."""
    return np.bincount(bins.hour_of(time), minlength=bins.hours).astype(np.float64)


def sum_by(place: IntColumn, amount: FloatColumn, count: int) -> FloatColumn:
    """Sum amounts by place (count,)."""
    return np.bincount(place, weights=amount, minlength=count).astype(np.float64)


def _present_weight(stays: Stays, time: FloatColumn) -> FloatColumn | IntColumn:
    """The same, each truck counting by its service weight (n,)."""
    if stays.weight is None:
        return _present(stays, time)
    sums = []
    for edge in (stays.enter, stays.leave):
        order = np.argsort(edge, kind="stable")
        reached = np.concatenate([[0.0], np.cumsum(stays.weight[order])])
        sums.append(reached[np.searchsorted(edge[order], time, side="right")])
    # nobody there is exactly 0, whatever the rounding of the sums
    return np.where(_present(stays.that_count(), time) > 0, sums[0] - sums[1], 0.0)


def _present(stays: Stays, time: FloatColumn) -> IntColumn:
    """Trucks in the zone at times: enter <= t < leave (n,)."""
    arrived = np.searchsorted(np.sort(stays.enter), time, side="right")
    left = np.searchsorted(np.sort(stays.leave), time, side="right")
    return arrived - left


def keep_books(
    commands: Commands,
    levels: Levels,
    stays: Stays | None,
    curve: PowerCurve,
    dimmed: int,
    fixed: int,
    bins: Bins,
) -> ZoneBooks:
    """Account for one zone.

    Parameters
    ----------
    commands, levels : the zone's light
    stays : trucks in the zone, None where no visits are known
    curve : power of one luminaire
    dimmed, fixed : luminaires that dim, and that stay at full level
    bins : hours and quarter-hours

    Returns
    -------
    ZoneBooks
    """
    marks = [bins.hour_edges, bins.quarter_edges]
    if stays is not None:
        marks += [stays.enter, stays.leave]
    pieces = _cut(levels, np.concatenate(marks))
    hour, quarter = bins.hour_of(pieces.start), bins.quarter_of(pieces.start)
    length = pieces.length

    def by_hour(amount: FloatColumn) -> FloatColumn:
        return sum_by(hour, amount, bins.hours)

    fixed_w = fixed * curve.full_w
    joules = (dimmed * curve.mean_power(pieces.start_level, pieces.end_level) + fixed_w) * length
    always_j = (dimmed + fixed) * curve.full_w * length
    was_high, was_level = commands.is_high[:-1], commands.level[:-1]
    turned = np.diff(commands.is_high)
    cause, time = commands.cause[1:], commands.time[1:]
    downs = time[turned & was_high & (cause == TIMEOUT)]
    hours = {
        "energy_kwh": by_hour(joules) / JOULES_PER_KWH,
        "always_on_kwh": by_hour(always_j) / JOULES_PER_KWH,
        "schedule_only_kwh": by_hour((dimmed * curve.at(pieces.occupied) + fixed_w) * length)
        / JOULES_PER_KWH,
        "time_at_low_h": by_hour(np.where(pieces.is_high, 0.0, length)) / SECONDS_PER_HOUR,
        "time_at_zero_h": by_hour(np.where(~pieces.is_high & (pieces.command == 0.0), length, 0.0))
        / SECONDS_PER_HOUR,
        "switch_ups": _count_events(bins, time[turned & ~was_high & (cause == DETECTION)]),
        "switch_downs": _count_events(bins, downs),
        "timetable_changes": _count_events(bins, time[(cause == BORDER) & (commands.level[1:] != was_level)]),
    }
    spells, false_off_times = None, np.zeros(0)
    if stays is not None:
        trucks = _present(stays, pieces.start)
        light = 0.5 * (pieces.start_level + pieces.end_level)
        is_dim = light < pieces.occupied
        missing = np.where(
            is_dim, (pieces.occupied - light) / np.where(pieces.occupied > 0.0, pieces.occupied, 1.0), 0.0
        )
        served = stays.that_count()
        weighted = _present_weight(stays, pieces.start)
        false_off_times = downs[_present(served, downs) > 0]
        before = np.searchsorted(commands.time, stays.enter, side="left") - 1
        dim_entry = (before < 0) | ~commands.is_high[np.maximum(before, 0)]
        hours |= {
            "lit_empty_h": by_hour(np.where(pieces.is_high & (trucks == 0), length, 0.0)) / SECONDS_PER_HOUR,
            "occupied_h": by_hour(np.where(trucks > 0, length, 0.0)) / SECONDS_PER_HOUR,
            "dim_truck_s": by_hour(np.where(is_dim, weighted * length, 0.0)),
            "shortfall_truck_s": by_hour(missing * weighted * length),
            "dim_entries": _count_events(bins, stays.enter[dim_entry])
            if stays.weight is None
            else sum_by(bins.hour_of(stays.enter), stays.weight * dim_entry, bins.hours),
            "false_offs": _count_events(bins, false_off_times),
        }
        spells = _find_spells(pieces, is_dim, served)
    return ZoneBooks(
        hours=hours,
        quarter_j=sum_by(quarter, joules, len(bins.quarter_hour)),
        always_on_quarter_j=sum_by(quarter, always_j, len(bins.quarter_hour)),
        spells=spells,
        false_off_times=false_off_times,
    )


def _find_spells(pieces: _Pieces, is_dim: np.ndarray[Any, np.dtype[np.bool_]], stays: Stays) -> Spells:
    """Intersect each stay with the zone's dim times."""
    begins = is_dim & ~np.append(False, is_dim[:-1])
    ends = is_dim & ~np.append(is_dim[1:], False)
    dim_start = pieces.start[begins]
    following = np.append(pieces.start[1:], pieces.start[-1] + pieces.length[-1])
    dim_end = following[ends]
    first = np.searchsorted(dim_end, stays.enter, side="right")
    last = np.searchsorted(dim_start, stays.leave, side="left")
    count = np.maximum(last - first, 0)
    row = np.repeat(np.arange(len(count)), count)
    which = first[row] + np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    return Spells(
        visit=stays.visit[row],
        start=np.maximum(stays.enter[row], dim_start[which]),
        end=np.minimum(stays.leave[row], dim_end[which]),
    )
