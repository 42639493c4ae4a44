"""Whether a run's empty beginning tells on its figures, where trucks were at work before it.

Comes in: a prepared site and its replications.  Goes out: sentences for the reader.  Before: `replication`,
`study/replications/warmup`; after: `study/replications/replicate`.

A simulated floor starts empty and dark.  On a Monday morning so does the real one; a run that begins while
a shift works leaves out what that shift had under way.  Traffic follows the clock, so that the load of each
quarter-hour is first taken against that of the same clock and crew on later days; MSER-5 on what is left says
how much of the beginning to leave out (T23).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from sim.lighting.timetable import week_spans
from sim.records import FloatColumn, IntColumn
from sim.replication import Site
from sim.scenario.schema import Scenario, TimetableRow
from sim.study.replications.warmup import find_warm_up
from sim.units import SECONDS_PER_DAY, SECONDS_PER_HOUR, SECONDS_PER_WEEK

__all__ = ["is_cut_into", "start_notices"]

_LOOKED_AT_S = 2.0 * SECONDS_PER_DAY
"""What begins empty has long settled by then; later days differ for reasons of their own."""


def is_cut_into(scenario: Scenario) -> bool:
    """Say whether a shift is at work just before the run begins."""
    start = scenario.start_datetime
    if (start - dt.timedelta(seconds=1)).date() in scenario.holidays:
        return False
    shifts = [
        TimetableRow.model_construct(days=shift.days, from_=shift.from_, to=shift.to, settings="")
        for shift in scenario.shifts
    ]
    midnight = dt.datetime.combine(start.date(), dt.time())
    second = start.weekday() * SECONDS_PER_DAY + (start - midnight).total_seconds()
    before = (second - 1.0) % SECONDS_PER_WEEK
    return any(first <= before < last for first, last, _ in week_spans(shifts))


def start_notices(site: Site, quarter_kw: Sequence[FloatColumn]) -> list[str]:
    """Say how long the beginning tells on the load, and what is missing there.

    Parameters
    ----------
    site : the prepared site
    quarter_kw : its load by quarter-hour, of each replication [kW] (Q,)

    Returns
    -------
    nothing where the run does not begin while a shift works
    """
    if not is_cut_into(site.scenario):
        return []
    start = "The run begins while a shift works, with an empty floor and dark lights"
    length_h, unlike, whole = _against_other_days(site, quarter_kw)
    dropped = find_warm_up((unlike / length_h).tolist())
    if dropped is None:
        return [
            f"{start}. How long that tells cannot be seen in so short a run (MSER-5); begin it before a "
            "shift, or run more days."
        ]
    if dropped == 0:
        return [f"{start}; MSER-5 finds nothing to leave out."]
    left_out_h, missing = float(length_h[:dropped].sum()), -float(unlike[:dropped].sum())
    return [
        f"{start}. MSER-5 (quarter-hours of load against the same clock and crew on other days, mean of "
        f"{len(quarter_kw)}) would leave out the first {left_out_h:g} h, where about {missing:.3g} kWh "
        f"({100.0 * missing / whole:.2g} % of the run) are missing."
    ]


def _against_other_days(
    site: Site, quarter_kw: Sequence[FloatColumn]
) -> tuple[FloatColumn, FloatColumn, float]:
    """Length of the first quarter-hours [h], their energy beyond that of their likes later, the run's [kWh].

    Quarter-hours with no like on later days are left out.
    """
    edges = site.bins.quarter_edges
    length_h = np.diff(edges) / SECONDS_PER_HOUR
    load_kw = np.mean(quarter_kw, axis=0)
    middle = 0.5 * (edges[1:] + edges[:-1])
    start = site.scenario.start_datetime
    second = (start - dt.datetime.combine(start.date(), dt.time())).total_seconds()
    clock = ((middle + second) % SECONDS_PER_DAY // 900.0).astype(np.int64)
    kind = np.stack([clock, _crew(site, middle)], axis=1)
    _, of = np.unique(kind, axis=0, return_inverse=True)
    of = of.reshape(-1)
    is_later = middle >= SECONDS_PER_DAY
    # each against the others
    count = np.bincount(of, weights=is_later)[of] - is_later
    others = np.bincount(of, weights=is_later * load_kw)[of] - is_later * load_kw
    known = (count > 0.0) & (middle < _LOOKED_AT_S)
    unlike = (load_kw - others / np.maximum(count, 1.0)) * length_h
    return length_h[known], unlike[known], float((load_kw * length_h).sum())


def _crew(site: Site, time: FloatColumn) -> IntColumn:
    """Trucks with a driver at times (n,)."""
    found = np.zeros(len(time), dtype=np.int64)
    for duty in site.fleet.duty:
        found += np.searchsorted(np.array(duty), time, side="right") % 2
    return found
