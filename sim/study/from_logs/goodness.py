"""How well a fitted scenario repeats the log: visits, gaps, occupied share, measured against simulated.

Comes in: a `SiteFit`, its `SiteLog`.  Goes out: `Goodness`.  Before: `study/from_logs/fit`, `replication`;
after: `show/words/fit`, `show/figures/fit`.  The fitted scenario is simulated in some replications and looked
at through the log's own window.  A gap is the time in which an aisle is without a truck (in a log of motion:
without motion) between two stays.  Tests: two-sample Kolmogorov-Smirnov of the gaps, chi-square of visits by
aisle and by hour of the week (scipy.stats).  The figures of the fit come from the same log, so a good fit is
no proof; and a long log finds differences that matter to nobody: look at the size, not only at p.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.records import Detections, FloatColumn
from sim.replication import prepare_site, simulate_traffic
from sim.study.from_logs.fit import SiteFit
from sim.study.from_logs.log import SiteLog, from_visits, motion_log

__all__ = ["AisleGoodness", "Goodness", "Test", "judge_fit"]

_LEAST_EXPECTED = 5.0
"""Cells with fewer expected counts are joined to others before a chi-square test (the usual rule)."""


@dataclass(frozen=True)
class Test:
    """One test of the same against different.

    Attributes
    ----------
    name : of the test
    statistic, p_value : nan where there is too little to test
    size : what was compared, in words
    """

    name: str
    statistic: float
    p_value: float
    size: str


@dataclass(frozen=True)
class AisleGoodness:
    """One aisle, measured against simulated; simulated figures are means over replications.

    Attributes
    ----------
    aisle : its name
    visits, simulated_visits : in the log's window
    occupied_share, simulated_occupied_share : of the observed time
    gap_p50_s, simulated_gap_p50_s : half the gaps are shorter
    gaps : the Kolmogorov-Smirnov test of its gaps
    """

    aisle: str
    visits: float
    simulated_visits: float
    occupied_share: float
    simulated_occupied_share: float
    gap_p50_s: float
    simulated_gap_p50_s: float
    gaps: Test


@dataclass(frozen=True)
class Goodness:
    """A fit against its log.

    Attributes
    ----------
    replications : simulated
    aisles : one by one (A,)
    tests : of the whole site
    week_visits, simulated_week_visits : by hour of the week, means over replications (168,)
    gaps_s, simulated_gaps_s : of all aisles together, ascending [s]
    aisle_gaps_s, simulated_aisle_gaps_s : the same by aisle
    """

    replications: int
    aisles: tuple[AisleGoodness, ...]
    tests: tuple[Test, ...]
    week_visits: FloatColumn
    simulated_week_visits: FloatColumn
    gaps_s: FloatColumn
    simulated_gaps_s: FloatColumn
    aisle_gaps_s: tuple[FloatColumn, ...]
    simulated_aisle_gaps_s: tuple[FloatColumn, ...]


def judge_fit(fit: SiteFit, log: SiteLog, replications: int = 3) -> Goodness:
    """Simulate a fitted scenario and set it beside the log.

    Parameters
    ----------
    fit, log : the fit and what it was made from
    replications : to simulate, from 0

    Raises
    ------
    InputError : drivers react to the light, so there is no traffic without it
    """
    site = prepare_site(fit.scenario)
    layout, count = site.layout, len(site.layout.aisles)
    again: list[SiteLog] = []
    for number in range(replications):
        traffic = simulate_traffic(site, number)
        assert traffic.visits is not None
        if log.kind == "detections":
            motion = traffic.detections if traffic.seen is None else traffic.seen
            if len(motion.start):
                again.append(motion_log(fit.scenario, layout, motion))
        else:
            again.append(from_visits(layout, log.kind, log.grid, traffic.visits))
    measured_gaps = _gaps(log, count)
    simulated = [_gaps(one, count) for one in again]
    simulated_gaps = tuple(
        np.concatenate([gaps[aisle] for gaps in simulated] or [np.zeros(0)]) for aisle in range(count)
    )
    window_s = float(log.grid.observed_h.sum()) * 3600.0
    share = max(len(again), 1)
    visits = log.events.sum(axis=(0, 2))
    other_visits = sum((one.events.sum(axis=(0, 2)) for one in again), np.zeros(count)) / share
    aisles = tuple(
        AisleGoodness(
            aisle=layout.aisles[aisle],
            visits=float(visits[aisle]),
            simulated_visits=float(other_visits[aisle]),
            occupied_share=_busy(log.occupied, aisle) / window_s,
            simulated_occupied_share=sum(_busy(one.occupied, aisle) for one in again) / share / window_s,
            gap_p50_s=_median(measured_gaps[aisle]),
            simulated_gap_p50_s=_median(simulated_gaps[aisle]),
            gaps=_smirnov(measured_gaps[aisle], simulated_gaps[aisle], f"gaps in {layout.aisles[aisle]}"),
        )
        for aisle in range(count)
    )
    gaps, other_gaps = np.concatenate(list(measured_gaps)), np.concatenate(list(simulated_gaps))
    week, other_week = _by_week_hour(log), sum((_by_week_hour(one) for one in again), np.zeros(168))
    return Goodness(
        replications=len(again),
        aisles=aisles,
        tests=(
            _smirnov(gaps, other_gaps, "gaps in all aisles"),
            _chi_square(visits, other_visits * share, "visits by aisle"),
            _chi_square(week, other_week, "visits by hour of the week"),
        ),
        week_visits=week,
        simulated_week_visits=other_week / share,
        gaps_s=np.sort(gaps),
        simulated_gaps_s=np.sort(other_gaps),
        aisle_gaps_s=measured_gaps,
        simulated_aisle_gaps_s=simulated_gaps,
    )


def _by_week_hour(log: SiteLog) -> FloatColumn:
    """Visits by hour of the week (168,)."""
    counts = np.bincount(log.grid.of_week, weights=log.events.sum(axis=(0, 1)), minlength=168)
    return counts.astype(np.float64)


def _gaps(log: SiteLog, aisles: int) -> tuple[FloatColumn, ...]:
    """Gaps between stays, by aisle, in the log's window."""
    found = []
    for aisle in range(aisles):
        start, end = log.occupied.of_zone(aisle)
        inside = (start >= log.grid.from_s) & (end <= log.grid.to_s)
        start, end = start[inside], end[inside]
        found.append(start[1:] - end[:-1])
    return tuple(found)


def _busy(occupied: Detections, aisle: int) -> float:
    """Seconds with a truck, or with motion, in one aisle."""
    start, end = occupied.of_zone(aisle)
    return float(np.sum(end - start))


def _median(gaps: FloatColumn) -> float:
    """Half the gaps are shorter; nan without any."""
    return float(np.median(gaps)) if len(gaps) else float("nan")


def _smirnov(first: FloatColumn, second: FloatColumn, name: str) -> Test:
    """Two-sample Kolmogorov-Smirnov test."""
    from scipy.stats import ks_2samp

    size = f"{len(first):,} measured, {len(second):,} simulated"
    if not len(first) or not len(second):
        return Test(f"Kolmogorov-Smirnov, {name}", float("nan"), float("nan"), size)
    found = ks_2samp(first, second)
    return Test(f"Kolmogorov-Smirnov, {name}", float(found.statistic), float(found.pvalue), size)


def _chi_square(first: FloatColumn, second: FloatColumn, name: str) -> Test:
    """Chi-square test of two rows of counts; small cells are joined."""
    from scipy.stats import chi2_contingency

    title = f"chi-square, {name}"
    size = f"{first.sum():,.0f} measured, {second.sum():,.0f} simulated"
    total = first.sum() + second.sum()
    least = min(first.sum(), second.sum()) / total if total else 0.0
    order = np.argsort(first + second, kind="stable")
    table, cell = [], np.zeros(2)
    for place in order.tolist():
        cell = cell + np.array([first[place], second[place]])
        if cell.sum() * least >= _LEAST_EXPECTED:
            table.append(cell)
            cell = np.zeros(2)
    if table and cell.any():
        table[-1] = table[-1] + cell
    if len(table) < 2:
        return Test(title, float("nan"), float("nan"), size)
    found = chi2_contingency(np.array(table).T, correction=False)
    cells = f"{size}, {len(table)} cells"
    return Test(title, float(found.statistic), float(found.pvalue), cells)
