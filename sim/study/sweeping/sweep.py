"""Evaluate many settings: one traffic for all that only lights differ in, the books exact for each.

Comes in: a scenario and a `Plan`.  Goes out: `SweepResult`.  Before: `study/sweeping/plan`,
`study/ages/evaluate`; after: `show/folders/sweep`.  Additive outcomes come from the age view for every point;
peaks and spells, which do not add up, by replay of the settings on the front.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.errors import InputError
from sim.notebook import MOST_ROWS, html_table, plus_minus, with_unit
from sim.outcome.names import OUTCOMES
from sim.records import FloatColumn
from sim.replication import choose_engine, prepare_site, replay_site
from sim.scenario.checks.contradictions import find_notices
from sim.scenario.schema import Scenario
from sim.study.ages.evaluate import evaluate_settings, replay_notice
from sim.study.clock_hours import by_clock_hour
from sim.study.engine import map_in_order
from sim.study.relight import relight, simulate_for_lights, traffic_key, with_settings
from sim.study.replications.precision import estimate_mean
from sim.study.replications.run_start import start_notices
from sim.study.sweeping.front import AIMS, Aim, Beaten, explain_beaten, find_front
from sim.study.sweeping.plan import Choice, Plan
from sim.study.sweeping.values import value_text
from sim.units import SECONDS_PER_HOUR

__all__ = [
    "EXACT_OUTCOMES",
    "HOURLY_OUTCOMES",
    "MOST_REPLAYED",
    "SweepResult",
    "exact_outcomes",
    "sweep",
]

MOST_REPLAYED = 200
"""Settings on the front that are replayed for peaks and spells."""

_DERIVED = ("saved_share", "visits_per_h", "mouth_wait_mean_s")
EXACT_OUTCOMES: tuple[str, ...] = tuple(
    name for name, outcome in OUTCOMES.items() if outcome.is_additive or name in _DERIVED
)
"""Outcomes that the age view gives for every setting: the additive ones and their quotients."""

HOURLY_OUTCOMES: tuple[str, ...] = tuple(name for name, outcome in OUTCOMES.items() if outcome.is_additive)
"""Outcomes of settings on the front that are told by hour of the day."""

Progress = Callable[[int, int | None], None]
Table = NDArray[np.float64]


@dataclass(frozen=True)
class SweepResult:
    """Everything a sweep found.

    Attributes
    ----------
    scenario : the site with its own settings
    plan : the points
    replications : their numbers (R,)
    outcomes : site totals by outcome, `EXACT_OUTCOMES` (R, N)
    aims : what the front is made of
    is_front : points that no other point with the same trucks beats (N,)
    beaten : who beats the others, over means
    replayed : all outcomes of points on the front, by point, each (R,)
    by_hour : of the same points, `HOURLY_OUTCOMES` by hour of the day (R, 24)
    current : all outcomes of the scenario as it stands, each (R,)
    notices : what a reader must know
    """

    scenario: Scenario
    plan: Plan
    replications: tuple[int, ...]
    outcomes: Mapping[str, Table]
    aims: tuple[Aim, ...]
    is_front: NDArray[np.bool_]
    beaten: Beaten
    replayed: Mapping[int, Mapping[str, FloatColumn]]
    by_hour: Mapping[int, Mapping[str, Table]]
    current: Mapping[str, FloatColumn]
    notices: tuple[str, ...]

    @property
    def means(self) -> dict[str, FloatColumn]:
        """Mean of each outcome over replications (N,)."""
        return {name: np.asarray(table.mean(axis=0)) for name, table in self.outcomes.items()}

    @property
    def front_points(self) -> NDArray[np.int64]:
        """Points that none beats, the best in the first aim first."""
        first = self.aims[0]
        points = np.flatnonzero(self.is_front)
        return points[np.argsort(first.sign * self.means[first.outcome][points], kind="stable")]

    def _repr_html_(self) -> str:
        """Show settings that none beats as a table in a notebook, evenly over the first aim."""
        front = self.front_points
        chosen = np.unique(np.linspace(0, len(front) - 1, min(MOST_ROWS, len(front))).round().astype(int))
        names = [aim.outcome for aim in self.aims]
        columns = [("as it stands", [self.current[name] for name in names])]
        for point in front[chosen].tolist():
            values = zip(self.plan.keys, self.plan.points[point], strict=True)
            label = ", ".join(f"{key}={value_text(value)}" for key, value in values)
            columns.append((label, [self.outcomes[name][:, point] for name in names]))
        rows = []
        for label, figures in columns:
            found = [estimate_mean(figure.tolist()) for figure in figures]
            rows.append((label, *(plus_minus(one.mean, one.half_width) for one in found)))
        remark = (
            f"{len(front)} of {len(self.plan)} points are not beaten, {len(chosen)} shown; "
            f"{len(self.replications)} replications; ±: half-width, 95 %"
        )
        header = ("not beaten", *(with_unit(name, OUTCOMES[name].unit) for name in names))
        return html_table(self.scenario.title, header, rows, (remark, *self.notices))


def exact_outcomes(found: Mapping[str, FloatColumn], run_h: float) -> dict[str, FloatColumn]:
    """Add the quotients of additive outcomes, in the order of names.

    Parameters
    ----------
    found : additive outcomes, all of one shape
    run_h : length of the run [h]
    """
    saved, always = found["saved_kwh"], found["always_on_kwh"]
    visits, wait = found["visits"], found["mouth_wait_s"]
    table = dict(found)
    table["saved_share"] = saved / always
    table["visits_per_h"] = visits / run_h
    table["mouth_wait_mean_s"] = np.divide(wait, visits, out=np.zeros_like(wait), where=visits > 0.0)
    return {name: table[name] for name in EXACT_OUTCOMES}


@dataclass(frozen=True)
class _Task:
    """One replication of one site with many settings."""

    scenario: Scenario
    replication: int
    choices: tuple[Choice, ...]


def _evaluate(task: _Task) -> tuple[dict[str, FloatColumn], int]:
    """Simulate the trucks once and take every setting's books (K,); count those that needed a replay."""
    site = prepare_site(task.scenario)
    traffic = simulate_for_lights(site, task.replication)
    whole = [{**task.scenario.lighting.settings, **choice} for choice in task.choices]
    replayed = np.zeros(len(whole), dtype=np.int64)
    found = evaluate_settings(site, traffic, whole, replayed=replayed)
    exact = exact_outcomes(found, task.scenario.duration_s / SECONDS_PER_HOUR)
    return exact, int(np.count_nonzero(replayed))


def _replay(task: _Task) -> list[tuple[dict[str, float], dict[str, FloatColumn], FloatColumn]]:
    """Simulate the trucks once and replay every setting: totals, sums by hour of the day, quarter-hours."""
    site = prepare_site(task.scenario)
    traffic = simulate_for_lights(site, task.replication)
    answers = []
    for choice in task.choices:
        outcomes, _ = replay_site(relight(site, with_settings(task.scenario, choice)), traffic)
        hours = {name: by_clock_hour(task.scenario, outcomes.hours[name]) for name in HOURLY_OUTCOMES}
        answers.append((dict(outcomes.total), hours, outcomes.quarter_kw))
    return answers


def sweep(
    scenario: Scenario,
    plan: Plan,
    *,
    replications: int | None = None,
    aims: Sequence[Aim] = AIMS,
    workers: int = 1,
    progress: Progress | None = None,
) -> SweepResult:
    """Evaluate every point of a plan on the same replications.

    Parameters
    ----------
    scenario : the site, which is evaluated as it stands too
    plan : from `make_plan` for the same scenario
    replications : how many; absent: the scenario's
    aims : outcomes the front is made of
    workers : processes; the result does not depend on their number
    progress : called with replications done, and None for how many there will be

    Raises
    ------
    InputError : an aim is no outcome that every point has, or drivers react to the light
    """
    for aim in aims:
        if aim.outcome not in EXACT_OUTCOMES:
            raise InputError(f"{aim.outcome}: the front needs one of {', '.join(EXACT_OUTCOMES)}")
    for site in (scenario, *plan.sites):
        choose_engine(site, "replay")
    count = replications or scenario.replications
    numbers = tuple(range(count))
    of_site = [np.flatnonzero(np.array(plan.site_of) == site) for site in range(len(plan.sites))]
    tasks = [
        _Task(site, number, tuple(plan.choices[point] for point in points.tolist()))
        for site, points in zip(plan.sites, of_site, strict=True)
        for number in numbers
    ]
    done = 0

    def step() -> None:
        nonlocal done
        done += 1
        if progress is not None:
            progress(done, None)

    outcomes = {name: np.empty((count, len(plan))) for name in EXACT_OUTCOMES}
    replayed_points = 0
    for place, (found, replayed_here) in enumerate(map_in_order(_evaluate, tasks, workers)):
        replayed_points += replayed_here if tasks[place].replication == 0 else 0
        for name in EXACT_OUTCOMES:
            outcomes[name][tasks[place].replication, of_site[place // count]] = found[name]
        step()

    costs = np.stack([aim.sign * outcomes[aim.outcome].mean(axis=0) for aim in aims], axis=1)
    keys = np.array([traffic_key(site) for site in plan.sites])[np.array(plan.site_of)]
    is_front, beaten = _fronts(costs, keys)
    notices = [*find_notices(scenario), *replay_notice(replayed_points, len(plan))]
    chosen = _spread(np.flatnonzero(is_front), costs[:, 0])
    if len(chosen) < int(is_front.sum()):
        notices.append(
            f"{int(is_front.sum())} settings are on the front; peaks and dim spells were computed for "
            f"{len(chosen)} of them, evenly over {aims[0].outcome}."
        )
    replayed, by_hour, current, quarter_kw = _look_closer(scenario, plan, chosen, numbers, workers, step)
    notices += start_notices(prepare_site(scenario), quarter_kw)
    return SweepResult(
        scenario=scenario,
        plan=plan,
        replications=numbers,
        outcomes=outcomes,
        aims=tuple(aims),
        is_front=is_front,
        beaten=beaten,
        replayed=replayed,
        by_hour=by_hour,
        current=current,
        notices=tuple(notices),
    )


def _fronts(costs: Table, keys: NDArray[np.str_]) -> tuple[NDArray[np.bool_], Beaten]:
    """Find the front among points that share their traffic: less work is no better setting."""
    is_front = np.zeros(len(costs), dtype=bool)
    by, margin = np.full(len(costs), -1, dtype=np.int64), np.zeros_like(costs)
    for key in dict.fromkeys(keys.tolist()):
        rows = np.flatnonzero(keys == key)
        own = find_front(costs[rows])
        beaten = explain_beaten(costs[rows], own)
        is_front[rows] = own
        by[rows] = np.where(beaten.by >= 0, rows[beaten.by], -1)
        margin[rows] = beaten.margin
    return is_front, Beaten(by, margin)


def _spread(points: NDArray[np.int64], cost: FloatColumn) -> NDArray[np.int64]:
    """Return all points, or so many of them evenly over their first aim."""
    if len(points) <= MOST_REPLAYED:
        return points
    order = points[np.argsort(cost[points], kind="stable")]
    return np.sort(order[np.unique(np.linspace(0, len(order) - 1, MOST_REPLAYED).round().astype(np.int64))])


def _look_closer(
    scenario: Scenario,
    plan: Plan,
    points: NDArray[np.int64],
    numbers: Sequence[int],
    workers: int,
    step: Callable[[], None],
) -> tuple[
    dict[int, dict[str, FloatColumn]],
    dict[int, dict[str, Table]],
    dict[str, FloatColumn],
    list[FloatColumn],
]:
    """Replay points and the scenario as it stands, each replication's traffic simulated once per site.

    Returns all outcomes and those by hour of each point; all outcomes and quarter-hours of the scenario.
    """
    site_of = np.array(plan.site_of)
    groups: list[tuple[Scenario, list[int]]] = [(scenario, [])]
    for number, site in enumerate(plan.sites):
        own = points[site_of[points] == number].tolist()
        if with_settings(site, scenario.lighting.settings) == scenario:
            groups[0][1].extend(own)
        elif own:
            groups.append((site, own))
    tasks = [
        _Task(site, number, (*([{}] if site is scenario else []), *(plan.choices[point] for point in own)))
        for site, own in groups
        for number in numbers
    ]
    answers = []
    for answer in map_in_order(_replay, tasks, workers):
        answers.append(answer)
        step()
    replayed: dict[int, dict[str, FloatColumn]] = {}
    by_hour: dict[int, dict[str, Table]] = {}
    current: dict[str, FloatColumn] = {}
    quarter_kw: list[FloatColumn] = []
    for place, (site, own) in enumerate(groups):
        rows = answers[place * len(numbers) : (place + 1) * len(numbers)]
        listed = [-1, *own] if site is scenario else own
        for column, point in enumerate(listed):
            table = {name: np.array([row[column][0][name] for row in rows]) for name in OUTCOMES}
            if point < 0:
                current, quarter_kw = table, [row[column][2] for row in rows]
            else:
                replayed[point] = table
                by_hour[point] = {
                    name: np.stack([row[column][1][name] for row in rows]) for name in HOURLY_OUTCOMES
                }
    return dict(sorted(replayed.items())), dict(sorted(by_hour.items())), current, quarter_kw
