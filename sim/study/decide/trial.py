"""Try light plans on replications they were not fitted to, and on sites that differ from what was stated.

Comes in: scenarios that differ in their lights only.  Goes out: `Trial`: all outcomes of each plan, each
replication, each stress.  Before: `study/decide/light_plans`, `study/stress`; after:
`study/decide/recommend`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.outcome.names import OUTCOMES
from sim.records import FloatColumn
from sim.replication import Site, Traffic, prepare_site, replay_site
from sim.results import Estimate
from sim.scenario.schema import Scenario
from sim.study.clock_hours import hour_counts, outcomes_by_hour, visits_by_hour, visits_by_zone
from sim.study.decide.measures import Base, Limit
from sim.study.differences import estimate_ratio
from sim.study.engine import map_in_order
from sim.study.relight import relight, simulate_for_lights
from sim.study.stress import Stress
from sim.units import SECONDS_PER_HOUR

__all__ = ["Trial", "Verdict", "judge", "try_plans"]


@dataclass(frozen=True)
class Trial:
    """What plans did under one stress.

    Attributes
    ----------
    stress : how the site differs from what was stated
    totals : by plan, all outcomes of the site in each replication (R,)
    zones : by plan, outcomes with a limit per zone (R, Z)
    hours : by plan, outcomes with a limit per hour of the day, of the site (R, 24)
    zone_visits, hour_visits : what those limits may divide by (R, Z), (R, 24)
    quarter_kw : load by quarter-hour under the first plan, of each replication [kW] (Q,)
    """

    stress: Stress
    totals: Mapping[str, Mapping[str, FloatColumn]]
    zones: Mapping[str, Mapping[str, NDArray[np.float64]]]
    hours: Mapping[str, Mapping[str, NDArray[np.float64]]]
    zone_visits: NDArray[np.float64]
    hour_visits: NDArray[np.float64]
    quarter_kw: tuple[FloatColumn, ...]


@dataclass(frozen=True)
class _Task:
    """One replication of one stressed site under every plan."""

    scenario: Scenario
    replication: int
    lights: Mapping[str, Scenario]
    zone_outcomes: tuple[str, ...]
    hour_outcomes: tuple[str, ...]


@dataclass(frozen=True)
class _Answer:
    """What one replication gave."""

    totals: dict[str, dict[str, float]]
    zones: dict[str, dict[str, FloatColumn]]
    hours: dict[str, dict[str, FloatColumn]]
    zone_visits: FloatColumn
    hour_visits: FloatColumn
    quarter_kw: FloatColumn


def _try_one(task: _Task) -> _Answer:
    """Simulate the trucks once and replay every plan."""
    site = prepare_site(task.scenario)
    traffic = simulate_for_lights(site, task.replication)
    assert traffic.visits is not None
    totals, zones, hours = {}, {}, {}
    loads = []
    for name, lights in task.lights.items():
        lit = relight(site, lights)
        outcomes, _ = replay_site(lit, traffic)
        totals[name] = dict(outcomes.total)
        loads.append(outcomes.quarter_kw)
        zones[name] = {key: outcomes.zones[key] for key in task.zone_outcomes}
        hours[name] = _by_hour(lit, traffic, task.hour_outcomes)
    visits = traffic.visits
    return _Answer(
        totals, zones, hours, visits_by_zone(site, visits), visits_by_hour(site, visits), loads[0]
    )


def _by_hour(site: Site, traffic: Traffic, outcomes: Sequence[str]) -> dict[str, FloatColumn]:
    """Site totals by hour of the day (24,) each."""
    if not outcomes:
        return {}
    return {name: table.sum(axis=0) for name, table in outcomes_by_hour(site, traffic, outcomes).items()}


def try_plans(
    scenario: Scenario,
    lights: Mapping[str, Scenario],
    limits: Sequence[Limit],
    stresses: Sequence[Stress],
    replications: Sequence[int],
    *,
    workers: int = 1,
    tell: Callable[[], None] = lambda: None,
) -> tuple[Trial, ...]:
    """Replay plans on given replications of the site and of sites that differ from it.

    Parameters
    ----------
    scenario : the site
    lights : by plan, the same site with the plan's lights
    limits : those per zone and per hour need outcomes of their own
    stresses : how the site differs
    replications : numbers, the same for every stress: same draws, so that differences are paired
    workers : processes
    tell : called after each replication
    """
    zone_outcomes, hour_outcomes = (
        tuple(dict.fromkeys(limit.measure.outcome for limit in limits if limit.scope == scope))
        for scope in ("zone", "hour")
    )
    tasks = [
        _Task(stress.apply(scenario), number, lights, zone_outcomes, hour_outcomes)
        for stress in stresses
        for number in replications
    ]
    answers = []
    for answer in map_in_order(_try_one, tasks, workers):
        answers.append(answer)
        tell()
    count = len(replications)
    return tuple(
        _gather(stress, answers[place * count : (place + 1) * count]) for place, stress in enumerate(stresses)
    )


def _gather(stress: Stress, answers: Sequence[_Answer]) -> Trial:
    """Stack the replications of one stress."""
    plans = answers[0].totals
    return Trial(
        stress=stress,
        totals={
            plan: {name: np.array([one.totals[plan][name] for one in answers]) for name in OUTCOMES}
            for plan in plans
        },
        zones={
            plan: {
                name: np.array([one.zones[plan][name] for one in answers]) for name in answers[0].zones[plan]
            }
            for plan in plans
        },
        hours={
            plan: {
                name: np.array([one.hours[plan][name] for one in answers]) for name in answers[0].hours[plan]
            }
            for plan in plans
        },
        zone_visits=np.array([one.zone_visits for one in answers]),
        hour_visits=np.array([one.hour_visits for one in answers]),
        quarter_kw=tuple(one.quarter_kw for one in answers),
    )


@dataclass(frozen=True)
class Verdict:
    """One limit held against one plan.

    Attributes
    ----------
    limit : what was asked
    estimate : the measure with its interval; for zones and hours, of the worst one
    where : index of the worst zone or hour of the day, None for the site
    """

    limit: Limit
    estimate: Estimate
    where: int | None

    @property
    def is_met(self) -> bool:
        """Whether the mean keeps the limit."""
        return self.estimate.mean is None or self.estimate.mean <= self.limit.most * (1.0 + 1e-9)

    @property
    def is_sure(self) -> bool:
        """Whether the whole interval lies on one side of the limit."""
        mean, half = self.estimate.mean, self.estimate.half_width
        return mean is None or (half is not None and abs(mean - self.limit.most) > half)


def judge(trial: Trial, plan: str, limits: Sequence[Limit], scenario: Scenario) -> tuple[Verdict, ...]:
    """Hold a plan against every limit.

    Parameters
    ----------
    trial : what the plan did
    plan : its name
    limits : in the order of the answer
    scenario : length of the run and hours of the day
    """
    days, hours = scenario.days, scenario.duration_s / SECONDS_PER_HOUR
    count = len(trial.zone_visits)
    verdicts = []
    for limit in limits:
        name = limit.measure.outcome
        if limit.scope == "site":
            visits = trial.totals[plan]["visits"]
            whole = np.ones(count)
            base = Base(visits, days * whole, hours * whole, whole * trial.zone_visits.shape[1])
            estimate = estimate_ratio(trial.totals[plan][name], limit.measure.divisor(base))
            verdicts.append(Verdict(limit, estimate, None))
            continue
        if limit.scope == "zone":
            table, visits = trial.zones[plan][name], trial.zone_visits
            whole = np.ones_like(visits)
            base = Base(visits, days * whole, hours * whole, whole)
        else:
            table, visits = trial.hours[plan][name], trial.hour_visits
            whole = np.ones_like(visits)
            day_counts = hour_counts(scenario)[None, :] * whole
            base = Base(visits, day_counts, day_counts, whole * trial.zone_visits.shape[1])
        verdicts.append(_worst(limit, table, limit.measure.divisor(base)))
    return tuple(verdicts)


def _worst(limit: Limit, table: NDArray[np.float64], divisor: NDArray[np.float64]) -> Verdict:
    """The zone or hour with the largest measure; one that was never there counts only if it has something."""
    estimates = [estimate_ratio(table[:, place], divisor[:, place]) for place in range(table.shape[1])]
    means = [-1.0 if one.mean is None else one.mean for one in estimates]
    worst = int(np.argmax(means))
    return Verdict(limit, estimates[worst], worst)
