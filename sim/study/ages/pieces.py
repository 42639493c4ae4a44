"""One zone's traffic as sorted pieces of age: all that any setting will ask, sorted once.

Comes in: a zone's detections and trucks, and where the timetable may change.  Goes out: `ZonePieces`.
Before: `study/ages/sums`; after: `study/ages/period` (sums inside one kind of period), `study/ages/borders`.

A gap runs from one detection's end to the next one's start and is cut into parts at the timetable's borders;
ages within it count from the detection's end.  What follows a gap that went low belongs to the period in
which it ended: the latency (its age runs on) and the fade-up after it, both cut at that period's end.
What they do beyond it, and what a border itself changes, is left to `study/ages/borders`.
The first gap has no age (nothing was seen before): it is low whatever the settings and is kept apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.records import FloatColumn, IntColumn, Stays
from sim.study.ages.parts import Entries, Parts, cut_gaps, entering, find_entries, find_false_offs
from sim.study.ages.records import Counted, Ends, FirstGap, KindPieces, Rises, Week, ZonePieces
from sim.study.ages.sums import RunningSums, TruckLine, last_before, place

__all__ = ["sort_pieces"]


def sort_pieces(
    start: FloatColumn, end: FloatColumn, stays: Stays | None, week: Week, least_s: float = 0.0
) -> ZonePieces:
    """Sort one zone's pieces.

    Parameters
    ----------
    start, end : united detections in order, within the run [s] (n,)
    stays : trucks in the zone, None where no visits are known
    week : where settings may change
    least_s : no delay below this will be asked for, so that gaps up to it need no sorting [s]
    """
    everyone = None if stays is None else TruckLine.of(stays)
    line = everyone
    if stays is not None and stays.weight is not None:
        counting = stays.that_count()
        line = TruckLine.of(counting, counting.weight)
    gap = start - np.concatenate([[-np.inf], end[:-1]])[: len(start)]
    rise = np.minimum(start + week.latency_s, week.end_s)
    parts = cut_gaps(start, end, week, least_s)
    home = week.period_of(start)
    late = _Late(
        1 + np.flatnonzero(gap[1:] > least_s), start, end, gap, rise, week.border[home + 1], week.kind[home]
    )
    enter, weight = entering(stays)
    entries = find_entries(enter, weight, start, end, rise, gap, week, least_s)
    kinds = tuple(
        _sort_kind(kind, week, parts, late, everyone, line, entries) for kind in range(len(week.names))
    )
    first_end = float(rise[0]) if len(rise) else week.end_s
    begin, stop = np.zeros(1), np.array([first_end])
    return ZonePieces(
        week=week,
        least_s=least_s,
        start=start,
        end=end,
        gap=gap,
        rise=rise,
        line=line,
        kinds=kinds,
        first_up=int(len(rise) > 0 and first_end < week.end_s),
        first_low_s=first_end,
        first_present_s=_present_s(everyone, begin, stop),
        first_entries=float(weight[enter <= first_end].sum()),
        occupied_s=_present_s(everyone, begin, np.array([week.end_s])),
    )


def _present_s(line: TruckLine | None, start: FloatColumn, end: FloatColumn) -> float:
    """Seconds with a truck in the zone, over all stretches."""
    if line is None:
        return 0.0
    _, opens, closes, _ = line.cut(start, end)
    return float((closes - opens).sum())


@dataclass(frozen=True)
class _Late:
    """Detections after the first, with the gap before each and the latency after it."""

    row: IntColumn
    start: FloatColumn
    end: FloatColumn
    gap: FloatColumn
    rise: FloatColumn
    until: FloatColumn
    kind: IntColumn


def _sort_kind(
    kind: int,
    week: Week,
    parts: Parts,
    late: _Late,
    everyone: TruckLine | None,
    line: TruckLine | None,
    entries: Entries,
) -> KindPieces:
    """Sort what belongs to one name of settings."""
    own = parts.kind == kind
    part = Parts(
        parts.start[own], parts.end[own], parts.since[own], parts.young[own], parts.old[own], parts.kind[own]
    )
    row = late.row[late.kind[late.row] == kind]
    since, gap = late.end[row - 1], late.gap[row]
    cut = np.minimum(late.rise[row], late.until[row])
    grown = part.young[part.young > 0.0]
    time = Ends(
        RunningSums.of(
            np.concatenate([part.old, grown]), np.concatenate([np.ones(len(part.old)), -np.ones(len(grown))])
        ),
        *_latency_ends(gap, gap + (cut - late.start[row]), np.ones(len(row)), gap),
    )
    trucks, present, late_present = None, None, np.zeros(len(row))
    if line is not None and everyone is not None:
        plain = _weighted_ends(line, part.start, part.end, part.since)
        seen, opens, closes, count = line.cut(late.start[row], cut)
        trucks = Ends(
            RunningSums.of(*plain),
            *_latency_ends(opens - since[seen], closes - since[seen], count, gap[seen]),
        )
        plain = _weighted_ends(everyone, part.start, part.end, part.since)
        present = RunningSums.of(plain[0], np.sign(plain[1]))
        seen, opens, closes, _ = everyone.cut(late.start[row], late.rise[row])
        late_present = place(closes - opens, seen, len(row))
    order = np.argsort(gap, kind="stable")
    is_up = late.rise[row] < week.end_s
    inside = order[late.rise[row][order] < late.until[row][order]]
    rise = late.rise[row[inside]]
    age = rise - since[inside]
    begun = np.minimum(age, np.nextafter(last_before(since[inside], rise), np.inf))
    rises = Rises(
        gap[inside],
        np.maximum.accumulate(age),
        np.maximum.accumulate(begun),
        rise,
        late.until[row[inside]],
        np.argsort(rise, kind="stable"),
    )
    false_low, false_high = find_false_offs(part, line)
    late_s = late.rise[row] - late.start[row]
    threshold, counts = entries.threshold[entries.kind == kind], entries.weight[entries.kind == kind]
    by_threshold = np.argsort(threshold, kind="stable")
    return KindPieces(
        length_s=float(np.diff(week.border)[week.kind == kind].sum()),
        time=time,
        trucks=trucks,
        present=present,
        rises=rises,
        first=_first_gap(kind, week, late, line),
        counted=Counted(
            gap=np.sort(gap[is_up]),
            young=np.sort(part.young),
            old=np.sort(part.old),
            false_low=np.sort(false_low),
            false_high=np.sort(false_high),
            dim_entry=threshold[by_threshold],
            dim_weight=np.concatenate([[0.0], np.cumsum(counts[by_threshold])]),
            late_gap=gap[order],
            late_s=np.concatenate([[0.0], np.cumsum(late_s[order])]),
            late_present_s=np.concatenate([[0.0], np.cumsum(late_present[order])]),
        ),
    )


def _latency_ends(
    young: FloatColumn, old: FloatColumn, weight: FloatColumn, gap: FloatColumn
) -> tuple[RunningSums, FloatColumn]:
    """Sort the ends of latencies, each with its gap."""
    age = np.concatenate([old, young])
    order = np.argsort(age, kind="stable")
    sums = RunningSums.of_sorted(age[order], np.concatenate([weight, -weight])[order])
    return sums, np.concatenate([gap, gap])[order]


def _weighted_ends(
    line: TruckLine, start: FloatColumn, end: FloatColumn, since: FloatColumn
) -> tuple[FloatColumn, FloatColumn]:
    """Ends of the pieces of parts with trucks, with their weights."""
    row, opens, closes, count = line.cut(start, end)
    return (
        np.concatenate([closes - since[row], opens - since[row]]),
        np.concatenate([count, -count]),
    )


def _first_gap(kind: int, week: Week, late: _Late, line: TruckLine | None) -> FirstGap:
    """Cut the time before anything was seen, with its latency, to one kind of period."""
    if not len(late.start):
        begin, stop = week.border[:-1], week.border[1:]
        rise = None
    else:
        # the latency is cut at the end of the period in which the motion began
        cut = min(float(late.rise[0]), float(late.until[0]))
        begin, stop = week.border[:-1], np.minimum(week.border[1:], cut)
        is_inside = late.kind[0] == kind and late.rise[0] < late.until[0]
        rise = (float(late.rise[0]), float(late.until[0])) if is_inside else None
    own = (week.kind == kind) & (stop > begin)
    begin, stop = begin[own], stop[own]
    truck_s = 0.0
    if line is not None:
        _, opens, closes, count = line.cut(begin, stop)
        truck_s = float((count * (closes - opens)).sum())
    return FirstGap(float((stop - begin).sum()), truck_s, rise)
