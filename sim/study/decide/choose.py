"""From a fit to light plans: one setting for all aisles, by group, by aisle.

Comes in: a `Wish`, a `Fit`, groups.  Goes out: `LightPlan`, or why there is none and what comes nearest.
Before: `study/decide/fit`, `study/decide/assign`; after: `study/decide/recommend`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn
from sim.study.decide.assign import Columns, find_nearest_choice, solve
from sim.study.decide.fit import SERVICE, Fit, place_sums
from sim.study.decide.hour_caps import HourTable, hour_rows
from sim.study.decide.light_plans import LightPlan
from sim.study.decide.measures import Limit
from sim.study.decide.wish import Wish

__all__ = ["Impossible", "build_columns", "choose_plan", "equal_service", "plan_sums"]

Table = NDArray[np.float64]


@dataclass(frozen=True)
class Impossible:
    """No plan of this kind keeps the limits.

    Attributes
    ----------
    nearest : the plan that passes its limits by the least
    passed : each limit that it passes, with the value it reaches
    """

    nearest: LightPlan
    passed: tuple[tuple[Limit, float], ...]


def plan_sums(fit: Fit, group_of: IntColumn, combination: Sequence[int], name: str) -> float:
    """Return an outcome of the site under a plan, mean per run."""
    chosen = np.array(combination)[group_of]
    return math.fsum(place_sums(fit, name)[np.arange(len(group_of)), chosen])


def choose_plan(
    wish: Wish,
    fit: Fit,
    name: str,
    group_of: IntColumn,
    *,
    hours: HourTable | None = None,
    at_most: Mapping[str, float] | None = None,
) -> LightPlan | Impossible:
    """Choose settings for every group of aisles under the shared limits.

    Parameters
    ----------
    wish, fit : what is asked and what everything does
    name : of the plan
    group_of : group of each place, from 0 without gaps (P,)
    hours : outcomes by hour of the day, where there are limits per hour; only its combinations are searched
    at_most : further limits of the site's outcomes by name: equal service
    """
    columns = build_columns(wish, fit, group_of, hours=hours, at_most=at_most, keeps_zones=True)
    solution = None if columns is None else solve(columns)
    if columns is None or solution is None:
        return _nearest(wish, fit, name, group_of, hours)
    return LightPlan(
        name=name,
        group_of=group_of,
        combination=tuple(solution.label.tolist()),
        settings=tuple(fit.settings(wish, one) for one in solution.label.tolist()),
        cost=solution.cost,
        bound=solution.bound,
        considered=solution.considered,
    )


def build_columns(
    wish: Wish,
    fit: Fit,
    group_of: IntColumn,
    *,
    hours: HourTable | None = None,
    at_most: Mapping[str, float] | None = None,
    keeps_zones: bool = True,
) -> Columns | None:
    """Lay out the choices of every group.

    Parameters
    ----------
    keeps_zones : leave choices out that pass a limit per zone, which ties no groups together; otherwise those
        limits become rows

    Returns
    -------
    None where some group has no choice left
    """
    groups = int(group_of.max()) + 1
    member = np.zeros((groups, len(group_of)))
    member[group_of, np.arange(len(group_of))] = 1.0
    allowed = member @ ~fit.allowed == 0.0
    within = np.ones_like(allowed)
    if hours is not None:
        within &= np.isin(np.arange(len(fit)), hours.combinations)
    if keeps_zones:
        within &= member @ _breaks_zone_limit(wish, fit) == 0.0
    unit, label = np.nonzero(allowed & within)
    if len(np.unique(unit)) < groups:
        return None

    rows: list[FloatColumn] = []
    most: list[float] = []

    def add(table: Table, limit: float) -> None:
        rows.append((member @ table)[unit, label])
        most.append(limit)

    for limit in wish.limits:
        if limit.scope == "site":
            add(place_sums(fit, limit.measure.outcome), limit.fitted * float(limit.measure.divisor(fit.site)))
        elif limit.scope == "zone" and not keeps_zones:
            divisor = limit.measure.divisor(fit.zone)
            for zone in np.flatnonzero(divisor > 0.0).tolist():
                place = int(fit.zone_place[zone])
                own = np.where(group_of[place] == unit, fit.outcomes[limit.measure.outcome][zone, label], 0.0)
                rows.append(own)
                most.append(limit.fitted * float(divisor[zone]))
        elif limit.scope == "hour" and hours is not None:
            for table, value in hour_rows(hours, limit, fit):
                add(table, value)
    for name, value in (at_most or {}).items():
        add(place_sums(fit, name), value)
    cost = (member @ place_sums(fit, wish.aim.outcome))[unit, label]
    use = np.array(rows).reshape(len(rows), len(unit))
    return Columns(unit, label, cost, use, np.array(most))


def _breaks_zone_limit(wish: Wish, fit: Fit) -> Table:
    """Which combination passes a limit of some zone of a place (P, K)."""
    broken = np.zeros_like(fit.outcomes[wish.aim.outcome], dtype=bool)
    for limit in wish.limits:
        if limit.scope == "zone":
            divisor = limit.measure.divisor(fit.zone)
            # where there is nothing to divide by, as visits in an open area, there is no limit
            most = np.where(divisor > 0.0, limit.fitted * divisor * (1.0 + 1e-9), np.inf)
            broken |= fit.outcomes[limit.measure.outcome] > most[:, None]
    starts = np.flatnonzero(np.diff(fit.zone_place, prepend=-1))
    return np.logical_or.reduceat(broken, starts, axis=0).astype(np.float64)


def _nearest(wish: Wish, fit: Fit, name: str, group_of: IntColumn, hours: HourTable | None) -> Impossible:
    """Find the plan that passes its limits by the least and say which it passes."""
    columns = build_columns(wish, fit, group_of, hours=hours, keeps_zones=False)
    assert columns is not None, "every place has an allowed combination"
    found = find_nearest_choice(columns)
    combination = found.label.tolist()
    plan = LightPlan(
        name,
        group_of,
        tuple(combination),
        tuple(fit.settings(wish, one) for one in combination),
        plan_sums(fit, group_of, combination, wish.aim.outcome),
        -math.inf,
        len(columns),
    )
    return Impossible(plan, tuple(_passed(wish, fit, plan, hours)))


def _passed(wish: Wish, fit: Fit, plan: LightPlan, hours: HourTable | None) -> list[tuple[Limit, float]]:
    """Each limit that a plan passes, with the value it reaches; of zones and hours, the worst."""
    chosen = np.array(plan.combination)[plan.group_of]
    passed = []
    for limit in wish.limits:
        outcome = limit.measure.outcome
        if limit.scope == "site":
            values = np.array([plan_sums(fit, plan.group_of, plan.combination, outcome)])
            divisor = limit.measure.divisor(fit.site).reshape(1)
        elif limit.scope == "zone":
            values = fit.outcomes[outcome][np.arange(len(fit.zone_place)), chosen[fit.zone_place]]
            divisor = limit.measure.divisor(fit.zone)
        else:
            assert hours is not None, "limits of hours come with a table of hours"
            values, divisor = hours.of_plan(limit, chosen, fit)
        worst = float(np.divide(values, divisor, out=np.zeros_like(values), where=divisor > 0.0).max())
        if worst > limit.fitted * (1.0 + 1e-9):
            passed.append((limit, worst))
    return passed


def equal_service(fit: Fit, plan: LightPlan) -> dict[str, float]:
    """Return the service of a plan, as limits for others."""
    return {name: plan_sums(fit, plan.group_of, plan.combination, name) for name in SERVICE}
