"""What the timetable's borders change, for every choice at once: one zone, one pair of names of settings.

Comes in: `ZonePieces` and settings on both sides of a border.  Goes out: `BorderSums`.  Before:
`study/ages/pieces`; after: `study/ages/zone`.

At most borders the light is steady just before, fades to another steady level and gets there undisturbed:
such a border adds the same as every other one with the same two levels, and which levels they are depends on
the age at the border alone, so these are counted in the sorted ages.  The others (a fade, a latency or a
fade-up under way; a change due within the fade; trucks near it) are followed one by one in
`study/ages/stretch`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn
from sim.study.ages.border_rows import Borders, gather_rows, has_latency
from sim.study.ages.plan import Setting
from sim.study.ages.power import FastPower
from sim.study.ages.records import ZonePieces
from sim.study.ages.stretch import follow
from sim.study.ages.sums import blocks, place, spread

__all__ = ["BorderSums", "sum_borders"]

SLACK_S = 1e-6
ROWS = 2**16
"""Borders followed at once."""
CHOICES = 4096
"""Choices looked at together."""
Flags = NDArray[np.bool_]
Tally = dict[str, FloatColumn]
ADDED = (
    "joules",
    "dim_truck_s",
    "shortfall_truck_s",
    "zero_s",
    "changes",
    "ups",
    "downs",
    "false_offs",
    "open",
)


@dataclass(frozen=True)
class BorderSums:
    """What the borders add, for each choice (C,).

    Attributes
    ----------
    joules : energy of one luminaire [J]
    dim_truck_s, shortfall_truck_s, zero_s : [s]
    changes, ups, downs, false_offs : counts
    is_open : whether the sums do not hold, so that the zone must be replayed
    """

    joules: FloatColumn
    dim_truck_s: FloatColumn
    shortfall_truck_s: FloatColumn
    zero_s: FloatColumn
    changes: FloatColumn
    ups: FloatColumn
    downs: FloatColumn
    false_offs: FloatColumn
    is_open: Flags


def sum_borders(
    zone: ZonePieces, borders: Borders, before: Setting, after: Setting, differs: Flags, power: FastPower
) -> BorderSums:
    """Sum over the borders of a pair.

    Parameters
    ----------
    zone : its pieces
    borders : of the pair
    before, after : settings of each choice on both sides (C,)
    differs : whether they differ at all; equal neighbours make no border (C,)
    power : of one luminaire
    """
    count = len(differs)
    tally: Tally = {name: np.zeros(count) for name in ADDED}
    order = np.argsort(np.maximum(after.up, after.down), kind="stable")
    parts = max(min(8, count // 512), -(-count // CHOICES), 1)
    for chosen in np.array_split(order, parts):
        _add_block(
            zone, borders, before.take(chosen), after.take(chosen), differs[chosen], power, chosen, tally
        )
    is_open = (tally.pop("open") > 0.0) | (differs & _breaks(zone, borders, before, after))
    return BorderSums(**tally, is_open=is_open)


def _breaks(zone: ZonePieces, borders: Borders, before: Setting, after: Setting) -> Flags:
    """Say where a fade from a border may meet what is not looked at here: the next border, a later gap."""
    latency_s = zone.week.latency_s
    longest = np.maximum(after.up, after.down)
    return np.asarray(
        (longest > borders.horizon.min())
        | ((before.occupied > after.occupied) & (after.down + latency_s > after.delay))
        | (before.up + latency_s > after.delay)
    )


def _add_block(
    zone: ZonePieces,
    borders: Borders,
    before: Setting,
    after: Setting,
    differs: Flags,
    power: FastPower,
    chosen: IntColumn,
    tally: Tally,
) -> None:
    """Add what the borders do to some choices; `chosen` is their place in the tally."""
    longest = float(np.maximum(after.up, after.down).max())
    is_busy = has_latency(zone, borders, float(before.up.max()))
    is_near = ~is_busy & (np.minimum(borders.next_rise, borders.wait) < longest)
    age = np.maximum(borders.age, 0.0)
    by_age = np.argsort(age, kind="stable")
    busy, near = np.flatnonzero(is_busy), by_age[is_near[by_age]]
    far, quiet = by_age[~(is_busy | is_near)[by_age]], by_age[~is_busy[by_age]]

    for old, new, cells in _cells(age[quiet], before, after):
        tally["changes"][chosen] += np.where(differs & (old != new), cells, 0)
    for old, new, cells in _cells(age[far], before, after):
        tally["joules"][chosen] += np.where(differs, cells * _undisturbed(old, new, after, power), 0.0)
    _add_unbordered(zone, borders, quiet, after.delay, np.flatnonzero(~differs), chosen, tally)

    listed = np.concatenate([busy, near, far])
    choice, first, last = _ranges(len(busy), age[near], age[far], before, after, differs)
    for begin, stop in blocks(last - first, ROWS):
        row, position = spread(first[begin:stop], last[begin:stop])
        row, border = choice[begin:stop][row], listed[position]
        rows, is_unknown = gather_rows(
            zone, borders, border, before.take(row), after.take(row), is_busy[border]
        )
        found = follow(rows, power, zone.line)
        counted = _undisturbed(found.old_level, found.new_level, rows.after, power)
        is_real = is_busy[border] & differs[row]
        added = {
            # what the cells counted for a far border is taken off again
            "joules": found.joules - np.where(position >= len(busy) + len(near), counted, 0.0),
            "dim_truck_s": found.dim_truck_s,
            "shortfall_truck_s": found.shortfall_truck_s,
            "zero_s": found.zero_s,
            "changes": is_real & (found.old_level != found.new_level),
            # a switch-up that falls due at a border is the timetable's
            "ups": -1.0 * (is_real & rows.went_low & (rows.rise == 0.0)),
            "open": found.is_open | is_unknown,
        }
        for name, amount in added.items():
            # one by one, so that where the rows are cut into blocks changes no digit
            np.add.at(tally[name], chosen[row], amount)


def _undisturbed(old: FloatColumn, new: FloatColumn, after: Setting, power: FastPower) -> FloatColumn:
    """Energy of whole fades at borders beyond that of the new level, for one luminaire [J] (n,)."""
    fade = np.where(new > old, after.up, np.where(new < old, after.down, 0.0))
    return np.asarray(fade * (power.mean(old, new) - power.at(new)))


def _cells(
    age: FloatColumn, before: Setting, after: Setting
) -> list[tuple[FloatColumn, FloatColumn, IntColumn]]:
    """Count sorted ages by commanded level before and after a border: old level, new level, borders (C,)."""
    count = len(before.delay)
    none, every = np.zeros(count, dtype=np.int64), np.full(count, len(age), dtype=np.int64)
    old = [
        none,
        np.searchsorted(age, before.delay, side="right"),
        np.searchsorted(age, before.delay + before.second, side="right"),
        every,
    ]
    new = [
        none,
        np.searchsorted(age, after.delay, side="left"),
        np.searchsorted(age, after.delay + after.second, side="left"),
        every,
    ]
    old_levels = (before.occupied, before.low, before.lowest)
    new_levels = (after.occupied, after.low, after.lowest)
    return [
        (
            old_levels[i],
            new_levels[j],
            np.maximum(np.minimum(old[i + 1], new[j + 1]) - np.maximum(old[i], new[j]), 0),
        )
        for i in range(3)
        for j in range(3)
    ]


def _ranges(
    busy: int, near: FloatColumn, far: FloatColumn, before: Setting, after: Setting, differs: Flags
) -> tuple[IntColumn, IntColumn, IntColumn]:
    """Return which borders to follow: choice, first and last place in the list of busy, near and far ones.

    Busy ones always; near ones unless the zone is held on both sides at one level; far ones where a fade is
    under way or a change falls due within the fade.
    """
    count = len(differs)
    longest = np.maximum(after.up, after.down)
    held = np.where(before.occupied == after.occupied, np.minimum(before.delay, after.delay), -1.0)
    first = [np.zeros(count, dtype=np.int64)]
    last = [np.full(count, busy, dtype=np.int64)]
    first.append(busy + np.where(differs, np.searchsorted(near, held, side="left"), len(near)))
    last.append(np.full(count, busy + len(near), dtype=np.int64))
    windows = [
        (before.delay, before.delay + before.down),
        (before.delay + before.second, before.delay + before.second + before.down),
        (np.maximum(after.delay - longest, held), after.delay + after.down),
        (after.delay + after.second - longest, after.delay + after.second + after.down),
    ]
    from_ = np.searchsorted(far, np.stack([young for young, _ in windows]) - SLACK_S, side="left")
    to = np.searchsorted(far, np.stack([old for _, old in windows]) + SLACK_S, side="right")
    to = np.where(differs, to, 0)
    order = np.argsort(from_, axis=0, kind="stable")
    from_, to = np.take_along_axis(from_, order, axis=0), np.take_along_axis(to, order, axis=0)
    reached = np.maximum.accumulate(to, axis=0)
    from_[1:] = np.maximum(from_[1:], reached[:-1])
    first += [busy + len(near) + row for row in from_]
    last += [busy + len(near) + row for row in np.maximum(to, from_)]
    choice = np.tile(np.arange(count), len(first))
    firsts, lasts = np.concatenate(first), np.concatenate(last)
    asked = lasts > firsts
    return choice[asked], firsts[asked], lasts[asked]


def _add_unbordered(
    zone: ZonePieces,
    borders: Borders,
    quiet: IntColumn,
    delay: FloatColumn,
    same: IntColumn,
    chosen: IntColumn,
    tally: Tally,
) -> None:
    """Count the switch-downs that fall on a border which is none, its settings being equal on both sides."""
    age = np.maximum(borders.age[quiet], 0.0)
    first = np.searchsorted(age, delay[same], side="left")
    last = np.searchsorted(age, delay[same], side="right")
    row, index = spread(first, last)
    border = quiet[index]
    goes_low = ~borders.has_next[border] | (borders.gap[border] > delay[same[row]])
    row, border = row[goes_low], border[goes_low]
    tally["downs"][chosen[same]] += place(np.ones(len(row)), row, len(same))
    if zone.line is not None:
        present = zone.line.at(borders.since[border] + delay[same[row]]) > 0
        tally["false_offs"][chosen[same]] += place(present.astype(np.float64), row, len(same))
