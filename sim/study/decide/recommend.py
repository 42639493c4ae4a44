"""Which settings: one for all aisles, by group, by aisle; under limits, tried on traffic not fitted to.

Comes in: a `Wish`.  Goes out: `Recommendation`.  Before: `study/decide/wish`, `study/decide/fit`,
`study/decide/choose`, `study/decide/trial`; after: `show/folders/recommend`.

Two kinds of doubt stand beside every figure, named apart: simulation noise (the interval over fresh
replications) and what is not known about the site (the range over sites that differ from what was stated).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sim.errors import InputError
from sim.notebook import html_table, plus_minus, with_unit
from sim.outcome.names import OUTCOMES
from sim.records import IntColumn
from sim.replication import choose_engine, prepare_site, replay_site
from sim.results import Estimate
from sim.scenario.checks.contradictions import find_notices
from sim.scenario.schema import Scenario
from sim.study.ages.evaluate import evaluate_settings, replay_notice
from sim.study.decide.assign import drop_beaten, reduced_costs
from sim.study.decide.choose import Impossible, build_columns, choose_plan, equal_service
from sim.study.decide.fit import Fit, fit_settings, place_sums
from sim.study.decide.groups import group_aisles
from sim.study.decide.hour_caps import HourTable, fit_hours
from sim.study.decide.light_plans import LightPlan, scenario_with
from sim.study.decide.measures import Limit
from sim.study.decide.trial import Trial, Verdict, judge, try_plans
from sim.study.decide.wish import Wish
from sim.study.differences import Difference, subtract_paired
from sim.study.relight import relight, simulate_for_lights
from sim.study.replications.precision import estimate_mean
from sim.study.replications.run_start import start_notices
from sim.study.replications.stopping import needed_to_decide
from sim.study.stress import STRESSES
from sim.units import SECONDS_PER_WEEK

__all__ = ["KINDS", "Recommendation", "Saving", "limit_text", "plan_text", "recommend"]

KINDS: tuple[str, ...] = ("single", "groups", "aisles")
"""One setting for all aisles, one for each group of like aisles, one for each aisle."""
EQUAL = " at equal service"
"""Behind the name of a plan that may not be worse than the single setting in any service."""
_NEAR_HULL = 12
_MOST_REPLAYED = 100

Progress = Callable[[int, int | None], None]


@dataclass(frozen=True)
class Saving:
    """What one plan uses less than another, on fresh replications.

    Attributes
    ----------
    plan, over : names of the plans
    difference : aim's outcome of `over` less that of `plan`, paired; its interval is simulation noise
    share : of the mean of `over`
    least, most : the mean difference over all stressed sites: what is not known about the site
    weeks_more : further simulated weeks until a difference of this size shows; 0 where it does, None where no
        number of weeks would do
    """

    plan: str
    over: str
    difference: Difference
    share: float
    least: float
    most: float
    weeks_more: float | None


@dataclass(frozen=True)
class Recommendation:
    """Everything that was found.

    Attributes
    ----------
    wish : what was asked
    fit : what every combination does on the replications fitted to
    fitted_to, tried_on : numbers of the replications
    plans : by name: `KINDS`, and those of groups and aisles at equal service; absent where impossible
    impossible : by name, why there is none
    scenarios : by name, and "current": the site with those lights
    trials : of all plans, on fresh replications, as stated and stressed
    verdicts : by plan and stress label, each limit
    savings : of plans over each other
    replay_error : largest relative difference between the sums used and a full replay of the plans
    hour_combinations : combinations searched for limits per hour, None without such limits
    notices : what a reader must know
    """

    wish: Wish
    fit: Fit
    fitted_to: tuple[int, ...]
    tried_on: tuple[int, ...]
    plans: Mapping[str, LightPlan]
    impossible: Mapping[str, str]
    scenarios: Mapping[str, Scenario]
    trials: tuple[Trial, ...]
    verdicts: Mapping[str, Mapping[str, tuple[Verdict, ...]]]
    savings: tuple[Saving, ...]
    replay_error: float
    hour_combinations: int | None
    notices: tuple[str, ...]

    def _repr_html_(self) -> str:
        """Show the plans as a table in a notebook, on fresh traffic."""
        aim, fresh = self.wish.aim.outcome, self.trials[0]
        over_current = {one.plan: one for one in self.savings if one.over == "current"}
        rows = []
        for name in ("current", *self.plans):
            used = estimate_mean(fresh.totals[name][aim].tolist())
            saving, verdicts = over_current.get(name), self.verdicts[name][fresh.stress.label]
            saved = "" if saving is None else plus_minus(*_parts(saving.difference.estimate))
            kept = f"{sum(one.is_met for one in verdicts)} of {len(verdicts)}"
            rows.append((name, plus_minus(*_parts(used)), saved, kept))
        unit = OUTCOMES[aim].unit
        header = ("plan", with_unit(aim, unit), with_unit("less than current", unit), "limits kept")
        remark = (
            f"fitted to {len(self.fitted_to)} replications, tried on {len(self.tried_on)} others; ±: "
            "half-width, 95 %"
        )
        return html_table(self.wish.scenario.title, header, rows, (remark, *self.notices))


def _parts(estimate: Estimate) -> tuple[float | None, float | None]:
    """Mean and half-width."""
    return estimate.mean, estimate.half_width


def recommend(
    wish: Wish,
    *,
    replications: int | None = None,
    fresh: int | None = None,
    workers: int = 1,
    progress: Progress | None = None,
) -> Recommendation:
    """Find the best settings of each kind, and try them.

    Parameters
    ----------
    wish : from `make_wish`
    replications : how many to fit to; absent: the scenario's
    fresh : how many others to try on, at least 2; absent: as many as fitted to
    workers : processes; the result does not depend on their number
    progress : called with replications done and expected

    Raises
    ------
    InputError : no settings keep the limits (the nearest are named), or drivers react to the light
    """
    choose_engine(wish.scenario, "replay")
    count = replications or wish.scenario.replications
    others = max(2, fresh or count)
    fitted_to, tried_on = tuple(range(count)), tuple(range(count, count + others))
    done = 0

    def tell() -> None:
        nonlocal done
        done += 1
        if progress is not None:
            progress(done, None)

    fit = fit_settings(wish, fitted_to, workers=workers, tell=tell)
    groups = _groupings(wish, fit)
    hours = None
    if any(limit.scope == "hour" for limit in wish.limits):
        near = _near_hull(wish, fit, groups)
        hours = fit_hours(wish, fit, near, fitted_to, workers=workers, tell=tell)
    plans, impossible = _choose_all(wish, fit, groups, hours)
    scenarios = {
        "current": wish.scenario,
        **{name: scenario_with(wish.flat, plan) for name, plan in plans.items()},
    }
    trials = try_plans(wish.scenario, scenarios, wish.limits, STRESSES, tried_on, workers=workers, tell=tell)
    return Recommendation(
        wish=wish,
        fit=fit,
        fitted_to=fitted_to,
        tried_on=tried_on,
        plans=plans,
        impossible=impossible,
        scenarios=scenarios,
        trials=trials,
        verdicts={
            name: {trial.stress.label: judge(trial, name, wish.limits, wish.scenario) for trial in trials}
            for name in scenarios
        },
        savings=tuple(_savings(wish, plans, trials)),
        replay_error=_check_by_replay(wish, fit, plans, scenarios),
        hour_combinations=None if hours is None else len(hours.combinations),
        notices=(
            *find_notices(wish.scenario),
            *wish.notices,
            *_fit_notices(fit, hours),
            *start_notices(prepare_site(wish.scenario), trials[0].quarter_kw),
        ),
    )


def _groupings(wish: Wish, fit: Fit) -> dict[str, IntColumn]:
    """Group numbers of the aisles for each kind of plan.

    Aisles are alike if they spend a like share of time at low under the combination in the middle, which
    counts visits, dwell and what the sensors see of them.
    """
    aisles = fit.allowed.shape[0]
    middle = len(fit) // 2
    low = place_sums(fit, "time_at_low_h")[:, middle]
    return {
        "single": np.zeros(aisles, dtype=np.int64),
        "groups": group_aisles(low, wish.groups),
        "aisles": np.arange(aisles),
    }


def _near_hull(wish: Wish, fit: Fit, groups: Mapping[str, IntColumn]) -> IntColumn:
    """Combinations worth a replay: next to the hull for some group, and the gentlest in every service."""
    votes: dict[int, None] = {}
    for outcome in (*(limit.measure.outcome for limit in wish.limits), wish.aim.outcome):
        everywhere = np.where(fit.allowed.all(axis=0), fit.outcomes[outcome].sum(axis=0), np.inf)
        votes.setdefault(int(np.argmin(everywhere)))
    for name in reversed(KINDS):
        columns = build_columns(wish, fit, groups[name])
        if columns is None:
            continue
        pruned = drop_beaten(columns)
        reduced = reduced_costs(pruned)
        ends = np.append(pruned.starts[1:], len(pruned))
        ranked = [
            first + np.argsort(reduced[first:last], kind="stable")
            for first, last in zip(pruned.starts.tolist(), ends.tolist(), strict=True)
        ]
        for turn in range(_NEAR_HULL):
            for order in ranked:
                if turn < len(order) and len(votes) < _MOST_REPLAYED:
                    votes.setdefault(int(pruned.label[order[turn]]))
    return np.array(sorted(votes), dtype=np.int64)


def _choose_all(
    wish: Wish, fit: Fit, groups: Mapping[str, IntColumn], hours: HourTable | None
) -> tuple[dict[str, LightPlan], dict[str, str]]:
    """Choose a plan of each kind, then those at the service of the single setting."""
    plans: dict[str, LightPlan] = {}
    impossible: dict[str, str] = {}
    for name in KINDS:
        found = choose_plan(wish, fit, name, groups[name], hours=hours)
        if isinstance(found, LightPlan):
            plans[name] = found
        else:
            impossible[name] = _impossible_text(wish, name, found)
    if not plans:
        raise InputError("\n".join(impossible[name] for name in KINDS))
    if "single" in plans:
        service = equal_service(fit, plans["single"])
        for name in KINDS[1:]:
            found = choose_plan(wish, fit, name + EQUAL, groups[name], hours=hours, at_most=service)
            if isinstance(found, LightPlan):
                plans[name + EQUAL] = found
    return plans, impossible


def _impossible_text(wish: Wish, name: str, found: Impossible) -> str:
    """Say which limits the nearest plan passes."""
    what = {
        "single": "no single setting meets",
        "groups": "no settings by group meet",
        "aisles": "no settings by aisle meet",
    }[name]
    passed = "; ".join(
        f"{limit_text(limit)}: {value:.4g} instead of at most {limit.fitted:g} {limit.measure.unit}".rstrip()
        for limit, value in found.passed
    )
    nearest = "the nearest is " + plan_text(found.nearest) if name == "single" else "the nearest"
    return f"{what} all limits; {nearest} exceeds {passed}"


def limit_text(limit: Limit) -> str:
    """Name a limit and what it holds for."""
    scope = {"site": "", "zone": " in every zone", "hour": " in every hour of the day"}[limit.scope]
    return limit.measure.name + scope


def plan_text(plan: LightPlan) -> str:
    """Say the settings of a plan's first group in a line."""
    return ", ".join(
        f"{name}: timeout {settings.timeout_s:g} s, unoccupied level {settings.unoccupied_level:.3g}"
        for name, settings in plan.settings[0].items()
    )


def _check_by_replay(
    wish: Wish, fit: Fit, plans: Mapping[str, LightPlan], scenarios: Mapping[str, Scenario]
) -> float:
    """Replay every plan on the first replication and compare with the sums that the choice was made by."""
    site = prepare_site(wish.flat)
    traffic = simulate_for_lights(site, 0)
    outcomes = tuple(fit.outcomes)
    largest = 0.0
    for name, plan in plans.items():
        used = sorted(set(plan.combination))
        found = evaluate_settings(
            site,
            traffic,
            [{**wish.flat.lighting.settings, **fit.settings(wish, one)} for one in used],
            by_zone=True,
        )
        column = np.searchsorted(used, np.array(plan.combination)[plan.group_of])[fit.zone_place]
        total = replay_site(relight(site, scenarios[name]), traffic)[0].total
        for outcome in outcomes:
            summed = math.fsum(found[outcome][np.arange(len(column)), column])
            largest = max(largest, abs(summed - total[outcome]) / max(1.0, abs(total[outcome])))
    return largest


def _savings(wish: Wish, plans: Mapping[str, LightPlan], trials: Sequence[Trial]) -> list[Saving]:
    """Pair plans on the fresh replications."""
    pairs = [(name, "current") for name in KINDS if name in plans]
    if "single" in plans:
        pairs += [(name, "single") for name in plans if name != "single"]
    return [_saving(wish, plan, over, trials) for plan, over in pairs]


def _saving(wish: Wish, plan: str, over: str, trials: Sequence[Trial]) -> Saving:
    """What one plan uses less than another."""
    outcome = wish.aim.outcome

    def differences(trial: Trial) -> list[float]:
        gap: list[float] = (trial.totals[over][outcome] - trial.totals[plan][outcome]).tolist()
        return gap

    stated = trials[0]
    difference = subtract_paired(stated.totals[over][outcome].tolist(), stated.totals[plan][outcome].tolist())
    means = [math.fsum(differences(trial)) / len(differences(trial)) for trial in trials]
    base = float(stated.totals[over][outcome].mean())
    count = len(differences(stated))
    weeks = wish.scenario.duration_s / SECONDS_PER_WEEK
    needed = needed_to_decide(differences(stated))
    return Saving(
        plan=plan,
        over=over,
        difference=difference,
        share=means[0] / base if base else 0.0,
        least=min(means),
        most=max(means),
        weeks_more=None if means[0] == 0.0 else max(0, needed - count) * weeks,
    )


def _fit_notices(fit: Fit, hours: HourTable | None) -> list[str]:
    """Say how far the proof reaches."""
    notices = replay_notice(fit.replayed, len(fit))
    if not fit.is_complete:
        notices.append(
            "The timetable has so many names that not all combinations of candidates could be "
            "evaluated: each "
            f"name has a short list, {len(fit):,} combinations in all; the gap is proved among these."
        )
    if hours is not None:
        notices.append(
            f"Limits per hour of the day were searched among {len(hours.combinations)} combinations near the "
            "hull; the gap is proved among these."
        )
    return notices
