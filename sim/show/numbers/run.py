"""What the pictures of a whole run show, as numbers: power, use of the aisles, the week.

Comes in: a `Result`.  Goes out: small frozen tables, one per picture.  Before: `sim.results`; after:
`show/figures/draw`.  Nothing is drawn here.  The close look at one hour stands in `show/numbers/hour`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.lighting.power import power_curve
from sim.outcome.clock import Bins, cut_run
from sim.records import FloatColumn
from sim.results import Result
from sim.units import QUARTER_S, SECONDS_PER_DAY, SECONDS_PER_HOUR

__all__ = [
    "AisleNumbers",
    "PowerNumbers",
    "WeekNumbers",
    "aisle_numbers",
    "power_numbers",
    "second_of_week",
    "week_numbers",
]

LONG_RUN_DAYS = 21.0
"""From here on a picture over time shows days, not quarter-hours."""

MOST_AISLES = 36
"""So many bars a page holds readably."""

HOURS_A_WEEK = 168


@dataclass(frozen=True)
class PowerNumbers:
    """Mean load over the run, in steps.

    Attributes
    ----------
    edge_s : borders of the steps, from the run's start [s] (n + 1,)
    mean_kw, low_kw, high_kw : mean over replications, least and greatest of them (n,)
    peak_kw : highest quarter-hour of each day, mean over replications; None where steps are quarter-hours
    schedule_edge_s, schedule_kw : the timetable's occupied levels, never low (m + 1,), (m,)
    always_on_kw : every luminaire at full level
    is_daily : whether a step is a day
    replications : how many
    """

    edge_s: FloatColumn
    mean_kw: FloatColumn
    low_kw: FloatColumn
    high_kw: FloatColumn
    peak_kw: FloatColumn | None
    schedule_edge_s: FloatColumn
    schedule_kw: FloatColumn
    always_on_kw: float
    is_daily: bool
    replications: int


@dataclass(frozen=True)
class AisleNumbers:
    """How each aisle's lights spent the run: shares of its zone-hours, means over replications.

    Attributes
    ----------
    names : the aisles shown, in the floor's order (n,)
    in_use : high with a truck in the zone; with no visits known, high (n,)
    lit_empty : high with no truck; nan with no visits known (n,)
    low, off : not high and above 0, at 0 (n,); the four add up to 1
    occupied : at least one truck in the zone; nan with no visits known (n,)
    aisles : how many the floor has
    ranked_by : "" when all are shown, else what chose them
    """

    names: tuple[str, ...]
    in_use: FloatColumn
    lit_empty: FloatColumn
    low: FloatColumn
    off: FloatColumn
    occupied: FloatColumn
    aisles: int
    ranked_by: str

    @property
    def knows_trucks(self) -> bool:
        """Whether visits are known."""
        return not bool(np.isnan(self.occupied).any())


@dataclass(frozen=True)
class WeekNumbers:
    """Light use by hour of the week, averaged over weeks and replications.

    Attributes
    ----------
    share : mean load over the always-on load; nan where the run has no such hour (7, 24)
    weeks : length of the run in weeks
    """

    share: FloatColumn
    weeks: float


def second_of_week(result: Result) -> float:
    """Return the run's start in seconds from Monday 00:00."""
    start = result.scenario.start_datetime
    midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
    return start.weekday() * SECONDS_PER_DAY + (start - midnight).total_seconds()


def power_numbers(result: Result) -> PowerNumbers:
    """Return the load over the run: quarter-hours, or days where the run is longer than three weeks."""
    edges, quarters = _quarter_loads(result)
    schedule_edges, schedule_kw = _schedule_load(result)
    is_daily = result.scenario.days > LONG_RUN_DAYS
    peak_kw = None
    if is_daily:
        daily, peaks, day_edges = _by_day(quarters, edges, result)
        midnights = np.union1d(schedule_edges, day_edges)
        held = np.searchsorted(schedule_edges, midnights[:-1], side="right") - 1
        schedule_daily, _, _ = _by_day(schedule_kw[None, held], midnights, result)
        quarters, edges, peak_kw = daily, day_edges, peaks.mean(axis=0)
        schedule_edges, schedule_kw = day_edges, schedule_daily[0]
    return PowerNumbers(
        edge_s=edges,
        mean_kw=quarters.mean(axis=0),
        low_kw=quarters.min(axis=0),
        high_kw=quarters.max(axis=0),
        peak_kw=peak_kw,
        schedule_edge_s=schedule_edges,
        schedule_kw=schedule_kw,
        always_on_kw=always_on_kw(result),
        is_daily=is_daily,
        replications=len(result.outcomes),
    )


def _bins(result: Result) -> Bins:
    """Hours and quarter-hours of the run."""
    return cut_run(result.scenario.start_datetime, result.scenario.duration_s)


def _quarter_loads(result: Result) -> tuple[FloatColumn, FloatColumn]:
    """Borders of the quarter-hours [s] (Q + 1,) and the mean load in them (R, Q).

    `Outcomes.quarter_kw` is a mean over the whole quarter-hour, also where the run begins or ends in it.
    """
    edges = _bins(result).quarter_edges
    quarters = np.array([outcome.quarter_kw for outcome in result.outcomes])
    return edges, quarters * QUARTER_S / np.diff(edges)


def always_on_kw(result: Result) -> float:
    """Return the load with every luminaire at full level [kW]."""
    return float(
        np.mean([outcome.total["always_on_kwh"] for outcome in result.outcomes])
        / (result.scenario.duration_s / SECONDS_PER_HOUR)
    )


def _schedule_load(result: Result) -> tuple[FloatColumn, FloatColumn]:
    """Load at the timetable's occupied levels: borders [s] (m + 1,) and load [kW] (m,)."""
    layout = result.layout
    edges = np.unique(np.concatenate([program.border for program in result.programs]))
    watts = np.zeros(len(edges) - 1)
    for place, program in enumerate(result.programs):
        curve, zones = power_curve(layout.place_luminaires[place]), layout.zones_of_place(place)
        period = np.searchsorted(program.border, edges[:-1], side="right") - 1
        dimmed, fixed = (int(count[zones.start:zones.stop].sum()) for count in (layout.dimmed, layout.fixed))
        watts += dimmed * curve.at(program.occupied[period]) + fixed * curve.full_w
    return edges, watts / 1000.0


def _by_day(
    load_kw: FloatColumn, edges: FloatColumn, result: Result
) -> tuple[FloatColumn, FloatColumn, FloatColumn]:
    """Mean and highest step of each calendar day by replication (R, days); the borders (days + 1,)."""
    offset = second_of_week(result) % SECONDS_PER_DAY
    day = ((edges[:-1] + offset) // SECONDS_PER_DAY).astype(np.int64)
    first = np.searchsorted(day, np.arange(day[-1] + 1))
    length = np.diff(edges)
    total = np.add.reduceat(load_kw * length, first, axis=1)
    peak = np.maximum.reduceat(load_kw, first, axis=1)
    return total / np.add.reduceat(length, first), peak, np.append(edges[first], edges[-1])


def aisle_numbers(result: Result) -> AisleNumbers:
    """Return how the lights of each aisle, group or area spent the run; of a large floor, the busiest."""
    layout = result.layout
    starts = np.flatnonzero(np.diff(layout.zone_place, prepend=-1))
    zone_hours = np.bincount(layout.zone_place) * result.scenario.duration_s / SECONDS_PER_HOUR

    def share(name: str) -> FloatColumn:
        by_zone: FloatColumn = np.mean([outcome.zones[name] for outcome in result.outcomes], axis=0)
        by_place: FloatColumn = np.add.reduceat(by_zone, starts)
        return by_place / zone_hours

    low, off = share("time_at_low_h"), share("time_at_zero_h")
    high = 1.0 - low
    lit_empty, occupied = share("lit_empty_h"), share("occupied_h")
    if np.isnan(occupied).any():
        in_use, ranked_by, rank = high, "time at high", high
        lit_empty = occupied = np.full(len(high), np.nan)
    else:
        lit_empty = np.minimum(lit_empty, high)
        in_use, ranked_by, rank = high - lit_empty, "time with a truck", occupied
    rows = np.arange(len(high))
    if len(rows) > MOST_AISLES:
        rows = np.sort(np.argsort(-rank, kind="stable")[:MOST_AISLES])
    else:
        ranked_by = ""
    return AisleNumbers(
        names=tuple(layout.places[row] for row in rows),
        in_use=in_use[rows],
        lit_empty=lit_empty[rows],
        low=(low - off)[rows],
        off=off[rows],
        occupied=occupied[rows],
        aisles=len(layout.places),
        ranked_by=ranked_by,
    )


def week_numbers(result: Result) -> WeekNumbers:
    """Return the share of the always-on load in each hour of the week."""
    edges, quarters = _quarter_loads(result)
    length, load = np.diff(edges), quarters.mean(axis=0)
    hour = ((edges[:-1] + second_of_week(result)) // SECONDS_PER_HOUR).astype(np.int64) % HOURS_A_WEEK
    seconds = np.bincount(hour, length, minlength=HOURS_A_WEEK)
    energy = np.bincount(hour, load * length, minlength=HOURS_A_WEEK)
    share = np.full(HOURS_A_WEEK, np.nan)
    np.divide(energy, seconds * always_on_kw(result), out=share, where=seconds > 0.0)
    return WeekNumbers(share.reshape(7, 24), result.scenario.days / 7.0)
