"""The numbers behind the small pictures in text: few, and testable without a picture.

Comes in: a `Result` or a `Recommendation`.  Goes out: small frozen tables.  Before: `show/numbers/run`;
after: `show/words/bars`.  Figures are means over replications.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.outcome.clock import cut_run
from sim.records import FloatColumn
from sim.results import Result
from sim.show.numbers.run import second_of_week
from sim.show.words.findings import knows_visits
from sim.show.words.recommend import plan_words
from sim.study.decide.recommend import KINDS, Recommendation
from sim.units import QUARTER_S, SECONDS_PER_HOUR

__all__ = ["DimAisles", "HourLoads", "PlanBar", "dim_aisles", "hour_loads", "plan_bars"]

HOURS = 24
MOST_AISLES = 5
"""So many of the worst are shown."""


@dataclass(frozen=True)
class HourLoads:
    """Load by hour of the day.

    Attributes
    ----------
    mean_kw : over the days of the run, nan where it has no such hour (24,)
    always_on_kw : every luminaire at full level
    """

    mean_kw: FloatColumn
    always_on_kw: float


@dataclass(frozen=True)
class DimAisles:
    """The aisles in which trucks spent most time below the occupied level, the worst first.

    Attributes
    ----------
    names : of aisles, groups or areas (n,)
    dim_s : truck-seconds of a run (n,)
    per_visit_s : the same for each visit that began there; nan without any (n,)
    share : of the site's
    of : how many places the site has
    kind : what they are called
    """

    names: tuple[str, ...]
    dim_s: FloatColumn
    per_visit_s: FloatColumn
    share: float
    of: int
    kind: str


@dataclass(frozen=True)
class PlanBar:
    """What one plan saves, and what service it costs.

    Attributes
    ----------
    label : of the plan
    saved_share : of always on
    dim_s_per_visit : truck-seconds below the occupied level over visits
    """

    label: str
    saved_share: float
    dim_s_per_visit: float


def hour_loads(result: Result) -> HourLoads:
    """Return the mean load of each hour of the day."""
    scenario = result.scenario
    edges = cut_run(scenario.start_datetime, scenario.duration_s).quarter_edges
    length_s = np.diff(edges)
    # a quarter-hour cut by the run's ends is told as if the rest of it were dark
    load_s = np.mean([outcome.quarter_kw for outcome in result.outcomes], axis=0) * QUARTER_S
    hour = ((0.5 * (edges[:-1] + edges[1:]) + second_of_week(result)) // SECONDS_PER_HOUR).astype(np.int64)
    seconds = np.bincount(hour % HOURS, length_s, minlength=HOURS)
    mean_kw = np.full(HOURS, np.nan)
    np.divide(np.bincount(hour % HOURS, load_s, minlength=HOURS), seconds, out=mean_kw, where=seconds > 0.0)
    always_kwh = float(np.mean([outcome.total["always_on_kwh"] for outcome in result.outcomes]))
    return HourLoads(mean_kw, always_kwh * SECONDS_PER_HOUR / scenario.duration_s)


def dim_aisles(result: Result) -> DimAisles | None:
    """Return the worst aisles; None where no visits are known, or no truck was in too little light."""
    layout = result.layout
    if not knows_visits(result) or len(layout.places) < 2:
        return None
    starts = np.flatnonzero(np.diff(layout.zone_place, prepend=-1))
    dim_s, visits = (
        np.add.reduceat(np.mean([outcome.zones[name] for outcome in result.outcomes], axis=0), starts)
        for name in ("dim_truck_s", "visits")
    )
    whole = float(dim_s.sum())
    if not whole > 0.0:
        return None
    rows = np.argsort(-dim_s, kind="stable")[:MOST_AISLES]
    rows = rows[dim_s[rows] > 0.0]
    per_visit_s = np.full(len(rows), np.nan)
    np.divide(dim_s[rows], visits[rows], out=per_visit_s, where=visits[rows] > 0.0)
    return DimAisles(
        names=tuple(layout.places[row] for row in rows),
        dim_s=dim_s[rows],
        per_visit_s=per_visit_s,
        share=float(dim_s[rows].sum()) / whole,
        of=len(layout.places),
        kind="places" if layout.areas else "aisles",
    )


def plan_bars(found: Recommendation) -> tuple[PlanBar, ...]:
    """Return the settings as they stand and every plan, on fresh traffic as stated."""
    totals = found.trials[0].totals
    bars = []
    for name in ("current", *(kind for kind in KINDS if kind in found.plans)):
        saved, always, dim, visits = (
            float(totals[name][key].sum()) for key in ("saved_kwh", "always_on_kwh", "dim_truck_s", "visits")
        )
        bars.append(PlanBar(plan_words(name), saved / always, dim / visits if visits > 0.0 else 0.0))
    return tuple(bars)
