"""The lights' exact answer to given detections: commands by age, then levels through fades.

Comes in: one zone's united detections and its `Program`.  Goes out: `Commands` and `Levels`.
Before: `sensing`, `lighting/timetable`; after: `outcome`.  No clock runs here: the run is cut into spans
(gap, detection, gap, ...), spans into pieces at the timetable's borders, pieces into high, low and second
parts by the age since the last motion, all with arrays.  Meaning: the age A is start - end in double
precision and a zone is held while A <= delay.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.lighting.timetable import Program
from sim.records import FloatColumn, IntColumn
from sim.results import Levels

__all__ = ["BORDER", "DETECTION", "SECOND", "START", "TIMEOUT", "Commands", "command_zone", "run_fades"]

START, DETECTION, TIMEOUT, SECOND, BORDER = range(5)
"""Why a command began: the run's start, a detection, the timeout, the second delay, a timetable's border."""

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Commands:
    """What one zone is told over the run, in order; each row holds until the next (n,).

    Attributes
    ----------
    time : from when [s]; the first row is at 0 (n,)
    is_high : whether the zone is held (n,)
    level : commanded level (n,)
    period : index into the program's periods (n,)
    cause : START, DETECTION, TIMEOUT, SECOND or BORDER (n,)
    """

    time: FloatColumn
    is_high: Flags
    level: FloatColumn
    period: IntColumn
    cause: IntColumn


@dataclass(frozen=True)
class _Spans:
    """Gaps and detections in turn, covering the run; `since` is the motion's end that ages count from."""

    start: FloatColumn
    end: FloatColumn
    since: FloatColumn
    is_gap: Flags
    begun: FloatColumn  # start of the unseen-yet detection whose latency ends the gap; inf for none


def _delay_at(program: Program, time: FloatColumn) -> FloatColumn:
    """Delay in force at times, a border belonging to the new period."""
    period = np.searchsorted(program.border[1:-1], time, side="right")
    return program.delay_s[period]


def _spans(start: FloatColumn, end: FloatColumn, program: Program) -> _Spans:
    """Alternate gaps and detections; a gap that outlived its delay lasts until the latency is over."""
    count, finish = len(start), program.end_s
    since = np.concatenate([[-np.inf], end])
    gap_end = np.concatenate([start, [finish]])
    went_low = np.zeros(count + 1, dtype=bool)
    went_low[:count] = start - since[:count] > _delay_at(program, start)
    until = np.where(went_low, np.minimum(gap_end + program.latency_s, finish), gap_end)

    span_start, span_end = np.empty(2 * count + 1), np.empty(2 * count + 1)
    span_start[0::2], span_end[0::2] = np.concatenate([[0.0], end]), until
    span_start[1::2], span_end[1::2] = start, end
    ages_from = np.repeat(since, 2)[:-1]
    ages_from[1::2] = start
    is_gap = np.arange(2 * count + 1) % 2 == 0
    begun = np.full(2 * count + 1, np.inf)
    begun[0::2] = np.where(went_low, gap_end, np.inf)

    # whatever starts within a latency is only felt at its end
    last_low = np.maximum.accumulate(np.where(went_low, np.arange(count + 1), -1))
    floor_time = np.where(last_low >= 0, until[np.maximum(last_low, 0)], 0.0)
    own_floor = np.concatenate([[0.0], floor_time[:-1]])
    span_start[0::2] = np.maximum(span_start[0::2], own_floor)
    span_start[1::2] = np.maximum(span_start[1::2], floor_time[:-1])
    keep = span_end > span_start
    # a gap that goes low by the age test counts even where rounding leaves it no length
    keep |= went_low.repeat(2)[:-1] & is_gap
    span_end = np.maximum(span_end, span_start)
    return _Spans(span_start[keep], span_end[keep], ages_from[keep], is_gap[keep], begun[keep])


def command_zone(start: FloatColumn, end: FloatColumn, program: Program) -> Commands:
    """Return the commands of one zone.

    Parameters
    ----------
    start, end : united detections in order, within the run [s] (n,)
    program : settings in force

    Returns
    -------
    Commands; neighbouring rows differ in state, level, or occupied level in force
    """
    spans = _spans(start, end, program)
    border = program.border
    first = np.searchsorted(border[1:-1], spans.start, side="right")
    last = np.searchsorted(border[1:-1], spans.end, side="left")
    last = np.maximum(last, first)
    pieces = last - first + 1
    row = np.repeat(np.arange(len(spans.start)), pieces)
    period = first[row] + np.arange(len(row)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    piece_start = np.maximum(spans.start[row], border[period])
    piece_end = np.minimum(spans.end[row], border[period + 1])
    at_border = (piece_start == border[period]) & (period > 0)

    since, is_gap = spans.since[row], spans.is_gap[row]
    delay, second = program.delay_s[period], program.second_s[period]
    with np.errstate(invalid="ignore"):
        young, old = piece_start - since, piece_end - since
        # the age at which a gap ends is that of the detection, not of its latency
        begun = spans.begun[row]
        in_latency = is_gap & (piece_start > begun)
        has_second = np.isfinite(second)
        goes_high = ~is_gap | ((young < delay) & ~in_latency)
        # a border inside the latency never brings the switch-up forward
        goes_low = is_gap & ((old > delay) | in_latency) & ~(has_second & (young >= delay + second))
        goes_second = is_gap & has_second & (old > delay + second)
        low_from = np.where(in_latency, piece_start, np.clip(since + delay, piece_start, piece_end))
        second_from = np.clip(since + (delay + second), piece_start, piece_end)

    time = np.stack([piece_start, low_from, second_from], axis=1)
    level = np.stack([program.occupied[period], program.unoccupied[period], program.second[period]], axis=1)
    exists = np.stack([goes_high, goes_low, goes_second], axis=1)
    begins = exists & (np.cumsum(exists, axis=1) == 1)
    cause = np.where(
        begins,
        np.where(at_border, BORDER, DETECTION)[:, None],
        np.array([DETECTION, TIMEOUT, SECOND])[None, :],
    )
    is_high = np.broadcast_to(np.array([True, False, False]), exists.shape)
    periods = np.broadcast_to(period[:, None], exists.shape)
    made = Commands(time[exists], is_high[exists], level[exists], periods[exists], cause[exists])
    made.cause[0] = START
    changes = (
        (np.diff(made.is_high) != 0)
        | (np.diff(made.level) != 0.0)
        | (np.diff(program.occupied[made.period]) != 0.0)
        | (np.diff(made.period) != 0)
    )
    return _take(made, np.append(True, changes))


def _take(commands: Commands, rows: Any) -> Commands:
    """Return some rows."""
    return Commands(
        commands.time[rows],
        commands.is_high[rows],
        commands.level[rows],
        commands.period[rows],
        commands.cause[rows],
    )


def run_fades(commands: Commands, program: Program) -> Levels:
    """Return the actual light: each change of level runs straight from where it is, in its fade time.

    Notes
    -----
    A fade always takes its whole time; up when the target is above the light, down when below.  A fade in
    progress whose target stays goes on untouched.  The light at 0 is the level then in force.
    """
    is_change = np.append(True, np.diff(commands.level) != 0.0)
    begin = commands.time[is_change]
    target = commands.level[is_change]
    period = commands.period[is_change]
    origin, length = _chain_fades(begin, target, program.fade_up_s[period], program.fade_down_s[period])
    return _cut_levels(commands, program, begin, origin, target, length)


def _chain_fades(
    begin: FloatColumn, target: FloatColumn, up_s: FloatColumn, down_s: FloatColumn
) -> tuple[FloatColumn, FloatColumn]:
    """Return the light at each change and the length of the fade that follows it, in order [-], [s]."""
    origins, lengths = [], []
    light = goal = float(target[0])
    since, length = 0.0, 0.0
    for time, aim, up, down in zip(
        begin.tolist(), target.tolist(), up_s.tolist(), down_s.tolist(), strict=True
    ):
        if time >= since + length:
            light = goal
        else:
            light += (goal - light) * ((time - since) / length)
        since, goal = time, aim
        length = up if aim > light else down if aim < light else 0.0
        origins.append(light)
        lengths.append(length)
    return np.array(origins), np.array(lengths)


def _cut_levels(
    commands: Commands,
    program: Program,
    begin: FloatColumn,
    origin: FloatColumn,
    target: FloatColumn,
    length: FloatColumn,
) -> Levels:
    """Cut the light at commands and at the ends of fades into straight pieces."""
    fade_end = begin + length
    inside = (length > 0.0) & (fade_end < np.append(begin[1:], program.end_s))
    start = np.unique(np.concatenate([commands.time, fade_end[inside]]))
    end = np.append(start[1:], program.end_s)
    row = np.searchsorted(commands.time, start, side="right") - 1
    fade = np.searchsorted(begin, start, side="right") - 1
    return Levels(
        start=start,
        end=end,
        start_level=_light(start, fade, begin, origin, target, length),
        end_level=_light(end, fade, begin, origin, target, length),
        command=commands.level[row],
        occupied=program.occupied[commands.period[row]],
        is_high=commands.is_high[row],
    )


def _light(
    time: FloatColumn,
    fade: IntColumn,
    begin: FloatColumn,
    origin: FloatColumn,
    target: FloatColumn,
    length: FloatColumn,
) -> FloatColumn:
    """Light at times, seen from given fades; exactly the target once the fade is over."""
    is_over = time >= begin[fade] + length[fade]
    with np.errstate(over="ignore"):
        done = (time - begin[fade]) / np.where(length[fade] > 0.0, length[fade], 1.0)
    moving = origin[fade] + (target[fade] - origin[fade]) * np.clip(done, 0.0, 1.0)
    return np.where(is_over, target[fade], moving)
