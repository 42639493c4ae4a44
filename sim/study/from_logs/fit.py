"""A traffic section from a log: hourly rates by weekday, aisle shares, depth in the aisle, handling.

Comes in: `SiteLog`, the base scenario.  Goes out: `SiteFit`: the figures with their intervals, and a scenario
that runs.  Before: `study/from_logs/log`; after: `study/from_logs/goodness`.

Rates and shares are the maximum-likelihood estimates of independent Poisson counts with mean
rate(hour of the week) x share(aisle) x exposure: events over exposure where all aisles were observed alike,
else the two in turn until they stand.  Their intervals: `study/from_logs/figures`; of the mean handling time
Student's t, of its spread a bootstrap.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from sim.errors import Fault, InputError
from sim.floor.layout import Layout
from sim.notebook import MOST_ROWS, html_table
from sim.records import FloatColumn
from sim.rounding import digits
from sim.scenario.faults import key_text
from sim.scenario.schema import Scenario
from sim.study.from_logs.figures import LEVEL, Figure, poisson_limits, wilson_limits
from sim.study.from_logs.log import KINDS_OF_WORK, SiteLog
from sim.study.sweeping.plan import check_content
from sim.traffic.gait import gait_of
from sim.units import WEEKDAYS

__all__ = ["SiteFit", "estimate_rates", "fit_site", "with_rates"]

_WEEK_H = 168
_LEAST_STANDS = 10
_BOOTSTRAPS = 400
_SHARE_DIGITS = 6
_LEAST_GAIN = 2.0
"""A skew of the depth is kept where it raises the log-likelihood by more than this (a likelihood ratio test
at about 5 %, one parameter)."""


@dataclass(frozen=True)
class SiteFit:
    """A fit.

    Attributes
    ----------
    scenario : the base with the log's traffic
    traffic : the tables that come from the log, as plain values
    figures : with their intervals
    rate_per_h : by stream and hour of the week [1/h] (3, 168)
    share : by stream and aisle (3, A)
    covered : hours of the week that the log covers (168,)
    notices : what a reader must know
    """

    scenario: Scenario
    traffic: dict[str, Any]
    figures: tuple[Figure, ...]
    rate_per_h: FloatColumn
    share: FloatColumn
    covered: np.ndarray[Any, np.dtype[np.bool_]]
    notices: tuple[str, ...]

    def _repr_html_(self) -> str:
        """Show the first figures with their intervals as a table in a notebook."""
        rows = []
        for one in self.figures[:MOST_ROWS]:
            interval = "" if np.isnan(one.low) else f"{digits(one.low)} to {digits(one.high)}"
            rows.append((one.key, digits(one.value), interval, one.unit, f"{one.count:,}"))
        remark = f"{len(rows)} of {len(self.figures)} figures; intervals of 95 %"
        header = ("figure", "value", "interval", "unit", "observations")
        return html_table(f"Fitted: {self.scenario.title}", header, rows, (remark, *self.notices))


def fit_site(scenario: Scenario, layout: Layout, log: SiteLog) -> SiteFit:
    """Fit a traffic section to a log.

    Parameters
    ----------
    scenario, layout : the base; its trucks, shifts and everything but the work are kept
    log : what was observed

    Raises
    ------
    InputError : the base has no trucks, or cannot carry this work
    """
    if not scenario.trucks:
        raise InputError("a fit needs [[trucks]] and [[shifts]] in the base scenario: they do the work")
    rates, shares, figures = estimate_rates(layout, log)
    hours = np.bincount(log.grid.of_week, weights=log.grid.observed_h, minlength=_WEEK_H)
    covered = hours > 0.0
    skew, depth_figures = _depth(log)
    work = _work(rates, shares, covered, skew)
    content = {key: value for key, value in scenario.content().items() if key not in _REPLACED}
    content["work"] = work
    traffic: dict[str, Any] = {"work": work}
    notices = list(_notices(scenario, covered))
    handling = _handling(scenario, log)
    if handling is not None:
        mean, cv, handling_figures = handling
        figures += handling_figures
        changed = {"handling_mean_s": round(mean, 2), "handling_cv": round(cv, 3)}
        content["trucks"] = [
            table if table.get("kind") == "walker" else table | changed for table in content["trucks"]
        ]
        traffic["trucks"] = content["trucks"]
        notices.append("Handling time and its spread come from all visits together, for every truck group.")
    return SiteFit(
        scenario=_checked(content),
        traffic=traffic,
        figures=tuple(figures + depth_figures),
        rate_per_h=rates,
        share=shares,
        covered=covered,
        notices=tuple(notices),
    )


def with_rates(fit: SiteFit, rates: FloatColumn, shares: FloatColumn) -> SiteFit:
    """Return a fit with other rates and shares; its intervals move along in proportion.

    Parameters
    ----------
    fit : to change
    rates, shares : by stream and hour of the week (3, 168), by stream and aisle (3, A)
    """
    content = fit.scenario.content()
    skew = float(content["work"][0].get("bay_skew", 0.0))
    content["work"] = work = _work(rates, shares, fit.covered, skew)
    aisles = fit.scenario.aisle_names
    factor: dict[str, float] = {}
    for stream, name in enumerate(KINDS_OF_WORK):
        for hour in np.flatnonzero(fit.rate_per_h[stream]).tolist():
            factor[_hour_key(name, hour)] = float(rates[stream, hour] / fit.rate_per_h[stream, hour])
        for place in np.flatnonzero(fit.share[stream]).tolist():
            factor[_share_key(name, aisles[place])] = float(shares[stream, place] / fit.share[stream, place])
    figures = []
    for one in fit.figures:
        by = factor.get(one.key, 1.0)
        figures.append(replace(one, value=one.value * by, low=one.low * by, high=one.high * by))
    return replace(
        fit,
        scenario=_checked(content),
        traffic={**fit.traffic, "work": work},
        figures=tuple(figures),
        rate_per_h=rates,
        share=shares,
    )


def _hour_key(name: str, hour: int) -> str:
    """Key of the rate of an hour of the week."""
    return f"{name} {WEEKDAYS[hour // 24]} {hour % 24:02d}:00"


def _share_key(name: str, aisle: str) -> str:
    """Key of the share of an aisle."""
    return f"{name} share of {aisle}"


def _checked(content: dict[str, Any]) -> Scenario:
    """Validate a scenario's content as a file's."""
    fitted, problems = check_content(content)
    if fitted is None:
        raise InputError(
            [Fault("", None, key_text(problem.path, content), problem.message) for problem in problems]
        )
    return fitted


def _work(
    rates: FloatColumn, shares: FloatColumn, covered: np.ndarray[Any, np.dtype[np.bool_]], skew: float
) -> list[dict[str, Any]]:
    """The [[work]] tables of all streams."""
    return [
        table
        for stream in range(len(KINDS_OF_WORK))
        for table in _streams(stream, rates[stream], shares[stream], covered, skew)
    ]


_REPLACED = ("work", "inbound", "outbound", "volume_cv")


def _notices(scenario: Scenario, covered: np.ndarray[Any, np.dtype[np.bool_]]) -> Iterator[str]:
    """What the reader must know of the new scenario."""
    gone = [name for name, rows in (("inbound", scenario.inbound), ("outbound", scenario.outbound)) if rows]
    if gone or scenario.work:
        gone = [*(["work"] if scenario.work else []), *gone]
        yield f"The log's visits replace the base's [[{']], [['.join(gone)}]]; trucks and shifts stay."
    missing = int((~covered).sum())
    if missing:
        yield (
            f"{missing} of the 168 hours of the week are not in the log; nothing moves in them in the fitted "
            "scenario."
        )


def estimate_rates(layout: Layout, log: SiteLog) -> tuple[FloatColumn, FloatColumn, list[Figure]]:
    """Return rates by hour of the week (3, 168), shares by aisle (3, A), and both with their intervals.

    Parameters
    ----------
    layout, log : the floor, what was observed
    """
    aisles = len(layout.aisles)
    rates, shares = np.zeros((len(KINDS_OF_WORK), _WEEK_H)), np.zeros((len(KINDS_OF_WORK), aisles))
    exposure = np.zeros((aisles, _WEEK_H))
    for aisle in range(aisles):
        exposure[aisle] = np.bincount(
            log.grid.of_week, weights=log.exposure_h[aisle], minlength=_WEEK_H
        )
    figures: list[Figure] = []
    for stream, name in enumerate(KINDS_OF_WORK):
        events = log.events[stream]
        total = float(events.sum())
        if not total:
            continue
        by_hour = np.bincount(log.grid.of_week, weights=events.sum(axis=0), minlength=_WEEK_H)
        by_aisle = events.sum(axis=1)
        share = by_aisle / total
        rate = np.zeros(_WEEK_H)
        for _ in range(200):
            seen = share @ exposure
            rate = np.divide(by_hour, seen, out=np.zeros(_WEEK_H), where=seen > 0.0)
            expected = exposure @ rate
            new = np.divide(by_aisle, expected, out=np.zeros(aisles), where=expected > 0.0)
            new /= new.sum()
            is_still = np.abs(new - share).max() < 1e-12
            share = new
            if is_still:
                break
        seen = share @ exposure
        per_move = _visits_per_move(log, stream, share)
        rates[stream], shares[stream] = rate / per_move, share
        low, high = poisson_limits(by_hour / per_move)
        for hour in np.flatnonzero(seen > 0.0).tolist():
            figures.append(
                Figure(
                    _hour_key(name, hour),
                    float(rates[stream, hour]),
                    float(low[hour] / seen[hour]),
                    float(high[hour] / seen[hour]),
                    "1/h",
                    int(by_hour[hour]),
                )
            )
        below, above = wilson_limits(by_aisle, total)
        if log.kind == "detections":  # aisles were not observed alike
            scale = np.divide(share, by_aisle, out=np.zeros(aisles), where=by_aisle > 0.0)
            below, above = (limit * scale for limit in poisson_limits(by_aisle))
        figures += [
            Figure(
                _share_key(name, layout.aisles[aisle]),
                float(share[aisle]),
                float(below[aisle]),
                float(above[aisle]),
                "-",
                int(by_aisle[aisle]),
            )
            for aisle in range(aisles)
        ]
    return rates, shares, figures


def _visits_per_move(log: SiteLog, stream: int, share: FloatColumn) -> float:
    """Visits that one move of a stream makes: a replenishment two, or one where both bays share an aisle."""
    if KINDS_OF_WORK[stream] != "replenish" or log.kind == "detections":
        return 1.0
    return 2.0 - float(share @ share)


def _streams(
    stream: int,
    rate: FloatColumn,
    share: FloatColumn,
    covered: np.ndarray[Any, np.dtype[np.bool_]],
    skew: float,
) -> Iterator[dict[str, Any]]:
    """Yield a [[work]] table for each weekday with moves."""
    if not share.sum():
        return
    parts = _whole(share)
    for number, day in enumerate(WEEKDAYS):
        hours = rate[24 * number : 24 * number + 24] * covered[24 * number : 24 * number + 24]
        if not hours.any():
            continue
        name = KINDS_OF_WORK[stream]
        table: dict[str, Any] = {
            "name": f"{name} {day}",
            "kind": name,
            "per_hour": [round(float(value), 4) for value in hours],
            "days": [day],
            "aisle_shares": parts,
        }
        if skew:
            table["bay_skew"] = round(skew, 4)
        yield table


def _whole(share: FloatColumn) -> list[float]:
    """Round shares so that they still add up to 1: the largest takes what is left."""
    rounded = [round(float(value), _SHARE_DIGITS) for value in share / share.sum()]
    largest = max(range(len(rounded)), key=rounded.__getitem__)
    rest = 1.0 - sum(value for place, value in enumerate(rounded) if place != largest)
    rounded[largest] = round(rest, _SHARE_DIGITS)
    return rounded


def _depth(log: SiteLog) -> tuple[float, list[Figure]]:
    """Bender's A over the depth of the aisles, 0 where uniform does as well.

    Notes
    -----
    The share of moves within depth u is (1 + A) u / (A + u), so the density is (1 + A) A / (A + u)^2.
    """
    if len(log.depth) < _LEAST_STANDS:
        return 0.0, []
    from scipy.optimize import minimize_scalar

    depth = np.clip(log.depth, 0.0, 1.0)

    def loss(log_skew: float) -> float:
        skew = np.exp(log_skew)
        return -float(np.sum(np.log((1.0 + skew) * skew) - 2.0 * np.log(skew + depth)))

    found = minimize_scalar(loss, bounds=(np.log(0.01), np.log(100.0)), method="bounded")
    if -found.fun < _LEAST_GAIN:
        return 0.0, [Figure("bay_skew (0: uniform)", 0.0, np.nan, np.nan, "-", len(depth))]
    skew = float(np.exp(found.x))
    return skew, [Figure("bay_skew", skew, np.nan, np.nan, "-", len(depth))]


def _handling(
    scenario: Scenario, log: SiteLog
) -> tuple[float, float, list[Figure]] | None:
    """Mean and spread of the handling time, None where the log does not tell enough.

    Notes
    -----
    A stand is handling and mast; the mast's mean and variance over tiers that are all alike are taken off.
    """
    if len(log.stand_s) < _LEAST_STANDS:
        return None
    from scipy.stats import t as student

    mast = _mast_times(scenario)
    stands = log.stand_s
    count = len(stands)
    mean = float(stands.mean() - mast.mean())
    if mean <= 0.0:
        return None
    half = float(student.ppf(0.5 + 0.5 * LEVEL, count - 1) * stands.std(ddof=1) / np.sqrt(count))
    rng = np.random.default_rng(np.random.SeedSequence(scenario.seed, spawn_key=(count,)))

    def spread(sample: FloatColumn) -> float:
        middle = float(sample.mean() - mast.mean())
        variance = float(sample.var(ddof=1) - mast.var())
        return float(np.sqrt(max(variance, 0.0)) / middle) if middle > 0.0 else 0.0

    cv = min(spread(stands), 10.0)
    sampled = [spread(stands[rng.integers(count, size=count)]) for _ in range(_BOOTSTRAPS)]
    low, high = np.quantile(sampled, [0.5 - 0.5 * LEVEL, 0.5 + 0.5 * LEVEL]).tolist()
    return mean, cv, [
        Figure("handling_mean_s", mean, mean - half, mean + half, "s", count),
        Figure("handling_cv", cv, low, high, "-", count),
    ]


def _mast_times(scenario: Scenario) -> FloatColumn:
    """Time at the mast on each tier by the first group's gait; [0] where it lifts while it travels (T,)."""
    gait = gait_of(scenario.trucks[0])
    if gait.lifts_while_travelling:
        return np.zeros(1)
    heights = np.arange(scenario.floor.tiers) * scenario.floor.tier_height_m
    return np.asarray(heights * (gait.up + gait.down), dtype=np.float64)
