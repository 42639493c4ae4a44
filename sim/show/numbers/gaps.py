"""How long zones wait for the next motion, as numbers: the picture that explains the whole trade-off.

Comes in: a `Result`.  Goes out: `GapNumbers`.  Before: `sim.results`; after: `show/figures/gaps`.  A gap runs
from the end of one detection to the start of the next in the same zone.  Of a delay D (hold and timeout
together) the gaps longer than D are switch-downs, and the idle time of age beyond D is time at low; both can
be read off for any other delay.  Time before a zone's first detection is left out: its age is not known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.lighting.timetable import Program
from sim.records import Detections, FloatColumn, IntColumn
from sim.replication import hear_seen, prepare_site
from sim.results import Result
from sim.show.words.amounts import listing

__all__ = ["GapNumbers", "GapPanel", "age_pieces", "gap_numbers", "share_beyond"]

MOST_PANELS = 6
MOST_LINES = 24
"""Settings shown, those with most gaps; aisles shown by themselves in each, evenly by rank."""

GRID_FROM_S, GRID_POINTS = 1.0, 160


@dataclass(frozen=True)
class GapPanel:
    """Gaps and idle time under one set of settings.

    Attributes
    ----------
    name : of the settings in the timetable, with the aisles where not all have this delay
    delay_s : hold and timeout together
    zones : how many
    gaps : gaps that begin under these settings and end within the run
    idle_s : zone-seconds without motion
    gap_share : share of the gaps longer than each of `GapNumbers.grid_s`, nan without any (m,)
    idle_share : share of the idle time of a greater age, nan without any (m,)
    aisle_share : the same of some aisles by themselves (k, m)
    gaps_beyond, idle_beyond : the two shares at the delay
    """

    name: str
    delay_s: float
    zones: int
    gaps: int
    idle_s: float
    gap_share: FloatColumn
    idle_share: FloatColumn
    aisle_share: FloatColumn
    gaps_beyond: float
    idle_beyond: float


@dataclass(frozen=True)
class GapNumbers:
    """All settings of the run.

    Attributes
    ----------
    grid_s : delays at which the shares are given, evenly by their logarithm (m,)
    panels : one for each set of settings and delay under which gaps begin, those with most gaps first
    left_out : names of settings that are not shown
    silent_zones : zones in which nothing was seen in the whole run
    whose : "replication 7", or "the log"
    """

    grid_s: FloatColumn
    panels: tuple[GapPanel, ...]
    left_out: tuple[str, ...]
    silent_zones: int
    whose: str


Key = tuple[str, float]
"""Name of the settings in the timetable, and their delay [s]."""


@dataclass(frozen=True)
class _Pieces:
    """Stretches of age of some zones: aisle, ages at both ends, the gap that begins here or nan (n,)."""

    aisle: IntColumn
    young_s: FloatColumn
    old_s: FloatColumn
    gap_s: FloatColumn


def share_beyond(young_s: FloatColumn, old_s: FloatColumn, at_s: FloatColumn) -> FloatColumn:
    """Return the share of idle time whose age is beyond each of some ages (m,).

    Parameters
    ----------
    young_s, old_s : stretches of idle time, from one age to another [s] (n,)
    at_s : ages [s] (m,)

    Notes
    -----
    Sum of max(0, old - x) - max(0, young - x) over the sum of old - young (the age view).  For gaps that are
    exponential with rate r both this and the share of gaps longer than x are exp(-r x).

    Examples
    --------
    >>> share_beyond(np.zeros(2), np.array([10.0, 30.0]), np.array([0.0, 10.0, 20.0])).tolist()
    [1.0, 0.5, 0.25]
    """
    total = float(old_s.sum() - young_s.sum())
    if total <= 0.0:
        return np.full(len(at_s), np.nan)
    share = (_sum_beyond(old_s, at_s) - _sum_beyond(young_s, at_s)) / total
    return np.clip(share, 0.0, 1.0)


def _sum_beyond(values: FloatColumn, at: FloatColumn) -> FloatColumn:
    """Sum of max(0, value - x) for each x (m,)."""
    ordered = np.sort(values)
    sums = np.concatenate([[0.0], np.cumsum(ordered)])
    first = np.searchsorted(ordered, at, side="right")
    total: FloatColumn = (sums[-1] - sums[first]) - at * (len(ordered) - first)
    return total


def _longer(gaps: FloatColumn, at_s: FloatColumn) -> FloatColumn:
    """Share of gaps longer than each x (m,)."""
    if not len(gaps):
        return np.full(len(at_s), np.nan)
    share: FloatColumn = 1.0 - np.searchsorted(np.sort(gaps), at_s, side="right") / len(gaps)
    return share


def age_pieces(
    start: FloatColumn, end: FloatColumn, program: Program
) -> tuple[IntColumn, FloatColumn, FloatColumn, FloatColumn]:
    """Cut the idle times of one zone at the borders of its timetable.

    Parameters
    ----------
    start, end : its united detections [s] (n,)
    program : its settings over the run

    Returns
    -------
    period of each piece, its ages at both ends [s], and the gap's length where it begins here and is whole,
    else nan [s]; the last idle time is cut at the run's end and is no whole gap
    """
    begins, ends = end, np.append(start[1:], program.end_s)
    first = np.searchsorted(program.border, begins, side="right") - 1
    last = np.maximum(np.searchsorted(program.border, ends, side="left") - 1, first)
    kept = np.flatnonzero(ends > begins)
    count = (last - first + 1)[kept]
    row = np.repeat(kept, count)
    period = first[row] + np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    young = np.maximum(program.border[period] - begins[row], 0.0)
    old = np.minimum(program.border[period + 1], ends[row]) - begins[row]
    is_whole = (period == first[row]) & (row < len(begins) - 1)
    return period, young, old, np.where(is_whole, ends[row] - begins[row], np.nan)


def gap_numbers(result: Result) -> GapNumbers:
    """Return gaps and idle time of the first replication, or of the log, by settings in force."""
    found, silent = _gather(result)
    longest = max(
        [60.0, *(2.0 * delay for _, delay in found), *(float(one.old_s.max()) for one in found.values())]
    )
    grid = np.geomspace(GRID_FROM_S, longest, GRID_POINTS)
    panels = sorted((_panel(result, key, one, grid) for key, one in found.items()), key=lambda one: -one.gaps)
    shown = min(MOST_PANELS, sum(panel.gaps > 0 for panel in panels))
    return GapNumbers(
        grid_s=grid,
        panels=tuple(panels[:shown]),
        left_out=tuple(panel.name for panel in panels[shown:]),
        silent_zones=silent,
        whose="the log" if result.source == "replay" else f"replication {result.replications[0]}",
    )


def _heard(result: Result) -> Detections:
    """The motion that counts in each zone: its own sensors', and its lead zones'."""
    number = None if result.source == "replay" else result.replications[0]
    return hear_seen(prepare_site(result.scenario), result.close_look.detections, number)


def _gather(result: Result) -> tuple[dict[Key, _Pieces], int]:
    """Idle times by settings and delay, and the number of silent zones."""
    heard, silent = _heard(result), 0
    found: dict[Key, list[tuple[IntColumn, FloatColumn, FloatColumn, FloatColumn]]] = {}
    for place, program in enumerate(result.programs):
        keys = list(zip(program.names, program.delay_s.tolist(), strict=True))
        own = list(dict.fromkeys(keys))
        which = np.array([own.index(key) for key in keys])
        for zone in result.layout.zones_of_place(place):
            start, end = heard.of_zone(zone)
            silent += not len(start)
            if len(start):
                period, young, old, gap = age_pieces(start, end, program)
                for number, key in enumerate(own):
                    here = which[period] == number
                    if here.any():
                        where = np.full(int(here.sum()), place)
                        found.setdefault(key, []).append((where, young[here], old[here], gap[here]))
    joined = {
        key: _Pieces(*map(np.concatenate, zip(*parts, strict=True))) for key, parts in found.items()
    }
    return joined, silent


def _panel(result: Result, key: Key, pieces: _Pieces, grid: FloatColumn) -> GapPanel:
    """Shares of one set of settings."""
    gaps, at = pieces.gap_s[~np.isnan(pieces.gap_s)], np.append(grid, key[1])
    gap_share, idle_share = _longer(gaps, at), share_beyond(pieces.young_s, pieces.old_s, at)
    shares = []
    for aisle in np.unique(pieces.aisle):
        here = pieces.aisle == aisle
        shares.append(share_beyond(pieces.young_s[here], pieces.old_s[here], at))
    known = np.array(shares)
    ranked = known[np.argsort(known[:, -1], kind="stable")]
    shown = np.unique(np.round(np.linspace(0, len(ranked) - 1, min(MOST_LINES, len(ranked)))).astype(int))
    name, zones = _where(result, key)
    return GapPanel(
        name=name,
        delay_s=key[1],
        zones=zones,
        gaps=len(gaps),
        idle_s=float((pieces.old_s - pieces.young_s).sum()),
        gap_share=gap_share[:-1],
        idle_share=idle_share[:-1],
        aisle_share=ranked[shown, :-1],
        gaps_beyond=float(gap_share[-1]),
        idle_beyond=float(idle_share[-1]),
    )


def _where(result: Result, key: Key) -> tuple[str, int]:
    """The settings' name, with the aisles where not all of them have this delay; and the number of zones."""
    places = [
        place
        for place, program in zip(result.layout.places, result.programs, strict=True)
        if key in zip(program.names, program.delay_s.tolist(), strict=True)
    ]
    name = key[0] if len(places) == len(result.layout.places) else f"{key[0]} ({listing(places, 2)})"
    own = np.isin(result.layout.places, places)[result.layout.zone_place]
    return name, int(own.sum())
