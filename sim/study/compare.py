"""Alternatives side by side: paired where the trucks are the same, no difference shown where there is none.

Comes in: scenarios, or folders of runs.  Goes out: `Comparison`.  Before: `study/store`,
`study/differences`; after: `show/words/compare`.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from sim.errors import InputError
from sim.notebook import html_table, plus_minus, with_unit
from sim.outcome.names import HEADLINES, OUTCOMES
from sim.provenance import MODEL_VERSION
from sim.records import FloatColumn
from sim.replication import prepare_site, run_replication
from sim.rounding import digits
from sim.scenario.checks.contradictions import find_notices
from sim.scenario.schema import Scenario
from sim.study.differences import Difference, subtract, subtract_paired
from sim.study.engine import map_in_order
from sim.study.relight import traffic_key
from sim.study.replications.run_start import start_notices
from sim.study.replications.stopping import FEWEST, is_precise, needed_to_decide
from sim.study.store import StoredRun
from sim.units import SECONDS_PER_WEEK

__all__ = [
    "MOST_REPLICATIONS",
    "Alternative",
    "Comparison",
    "Goal",
    "Pair",
    "compare",
    "from_plan",
    "from_scenario",
    "from_store",
]

MOST_REPLICATIONS = 2000
"""Where a requested precision gives up."""

Progress = Callable[[int, int | None], None]


@dataclass(frozen=True)
class Alternative:
    """One of the things compared.

    Attributes
    ----------
    label : for people
    scenario : its site
    replications : numbers of those that are known already (R,)
    outcomes : their site totals by name (R,); empty where it must be simulated
    is_fixed : whether no further replication can be had: a folder
    key : equal where the trucks move alike
    notices : what a reader must know of it
    """

    label: str
    scenario: Scenario
    replications: tuple[int, ...]
    outcomes: Mapping[str, FloatColumn]
    is_fixed: bool
    key: str
    notices: tuple[str, ...] = ()


@dataclass(frozen=True)
class Goal:
    """How sure a difference must be before simulating stops.

    Attributes
    ----------
    outcome : whose difference
    half_width : largest half-width, None for a relative error
    error : largest relative error of the difference (Law and Kelton's rule), None for a half-width
    """

    outcome: str
    half_width: float | None
    error: float | None

    def is_met(self, differences: Sequence[float]) -> bool:
        """Say whether paired differences (n,) are sure enough."""
        if self.error is not None:
            return is_precise(differences, self.error)
        found = subtract_paired(differences, [0.0] * len(differences)).estimate.half_width
        return len(differences) >= FEWEST and found is not None and found <= (self.half_width or 0.0)


@dataclass(frozen=True)
class Pair:
    """One alternative against the first.

    Attributes
    ----------
    label : of the alternative
    is_paired : whether both saw the same trucks
    count : replications that the differences rest on, of the first and of this one
    differences : this one less the first, by outcome
    weeks_more : by outcome, further simulated weeks until a difference of this size shows; 0 where it does
        or where both agree, None where it cannot be told
    """

    label: str
    is_paired: bool
    count: tuple[int, int]
    differences: Mapping[str, Difference]
    weeks_more: Mapping[str, float | None]


@dataclass(frozen=True)
class Comparison:
    """Everything that was found.

    Attributes
    ----------
    alternatives : complete, the first is the one compared with
    pairs : the others against it
    goal : what was to be reached, None where nothing was asked
    is_reached : whether it was
    notices : what a reader must know
    """

    alternatives: tuple[Alternative, ...]
    pairs: tuple[Pair, ...]
    goal: Goal | None
    is_reached: bool
    notices: tuple[str, ...]

    def _repr_html_(self) -> str:
        """Show the differences of the headline figures as a table in a notebook."""
        first = self.alternatives[0]
        rows = []
        for name in HEADLINES:
            found = [pair.differences[name].estimate for pair in self.pairs]
            mean = digits(float(np.mean(first.outcomes[name])))
            cells = [plus_minus(one.mean, one.half_width) for one in found]
            rows.append((with_unit(name, OUTCOMES[name].unit), mean, *cells))
        header = ("", first.label, *(f"{pair.label}, difference" for pair in self.pairs))
        paired = ", ".join(f"{pair.label}: {'' if pair.is_paired else 'not '}paired" for pair in self.pairs)
        remark = f"{paired}; ±: half-width, 95 %"
        return html_table(f"Compared with {first.label}", header, rows, (remark, *self.notices))


def from_store(run: StoredRun, label: str) -> Alternative:
    """Return the alternative that a results folder holds."""
    key = traffic_key(run.scenario) if run.source == "run" else f"log {run.log_hash}"
    model = run.versions.get("model")
    notices: tuple[str, ...] = ()
    if model != str(MODEL_VERSION):
        notices = (f"{label} was computed by model {model}, this is model {MODEL_VERSION}: run it again.",)
    return Alternative(label, run.scenario, run.replications, run.outcomes, True, key, notices)


def from_scenario(scenario: Scenario, label: str) -> Alternative:
    """Return an alternative that is still to be simulated."""
    return Alternative(label, scenario, (), {}, False, traffic_key(scenario), find_notices(scenario))


def from_plan(scenario: Scenario, label: str) -> Alternative:
    """Return a plan of a recommendation, still to be simulated, on traffic that it was fitted to."""
    words = (
        "Plans of a recommendation are compared here on replications from 0 on, which they were fitted to; "
        "its savings.csv holds the comparison on fresh ones."
    )
    return replace(from_scenario(scenario, label), notices=(*find_notices(scenario), words))


def compare(
    alternatives: Sequence[Alternative],
    *,
    replications: int | None = None,
    goal: Goal | None = None,
    workers: int = 1,
    progress: Progress | None = None,
) -> Comparison:
    """Compare every alternative with the first.

    Parameters
    ----------
    alternatives : at least two, from `from_store` or `from_scenario`
    replications : of those that are simulated; absent: the first's, or its scenario's
    goal : go on simulating until every difference is sure enough, up to `MOST_REPLICATIONS`
    workers : processes; the result does not depend on their number
    progress : called with replications done and expected

    Raises
    ------
    InputError : fewer than two, or a goal where a folder cannot be gone on with
    """
    if len(alternatives) < 2:
        raise InputError("nothing to compare: give at least two scenarios or results folders")
    fixed = [one.label for one in alternatives if one.is_fixed]
    if goal is not None and fixed:
        raise InputError(
            f"{fixed[0]}: a results folder cannot be gone on with; give its scenario.toml instead"
        )
    first = alternatives[0]
    for other in alternatives[1:]:
        if other.scenario.duration_s != first.scenario.duration_s:
            raise InputError(
                f"{other.label} runs {other.scenario.days:g} days and {first.label} {first.scenario.days:g}: "
                "their totals cannot be compared; give both the same days"
            )
    count = replications or (len(first.replications) if first.is_fixed else first.scenario.replications)
    whole = _simulate(alternatives, count, goal, workers, progress or (lambda done, expected: None))
    pairs = tuple(_pair(whole[0], other) for other in whole[1:])
    is_reached = goal is None or all(
        goal.is_met(_differences(whole[0], other, goal.outcome)) for other in whole[1:]
    )
    notices = tuple(dict.fromkeys(notice for one in whole for notice in one.notices))
    return Comparison(whole, pairs, goal, is_reached, notices)


def _one(task: tuple[Scenario, int]) -> tuple[dict[str, float], FloatColumn]:
    """One replication of one scenario: totals, and the load by quarter-hour."""
    scenario, number = task
    outcomes = run_replication(prepare_site(scenario), number)[0]
    return dict(outcomes.total), outcomes.quarter_kw


def _simulate(
    alternatives: Sequence[Alternative], count: int, goal: Goal | None, workers: int, progress: Progress
) -> tuple[Alternative, ...]:
    """Run what is not known yet, replication by replication over all alternatives."""
    open_ones = [one for one in alternatives if not one.is_fixed]
    if not open_ones:
        return tuple(alternatives)
    most = count if goal is None else MOST_REPLICATIONS
    numbers = _numbers(alternatives, most)
    gathered: dict[str, list[dict[str, float]]] = {one.label: [] for one in open_ones}
    tasks = ((one.scenario, number) for number in numbers for one in open_ones)
    answers = map_in_order(_one, tasks, workers)
    expected = None if goal is not None else len(numbers) * len(open_ones)
    quarter_kw: list[FloatColumn] = []
    for done, ((totals, load), one) in enumerate(zip(answers, itertools.cycle(open_ones), strict=False)):
        gathered[one.label].append(totals)
        if one is open_ones[0]:
            quarter_kw.append(load)
        progress(done + 1, expected)
        is_round = one is open_ones[-1] and len(gathered[one.label]) >= count
        if goal is not None and is_round and _all_met(goal, gathered, open_ones):
            answers.close()  # type: ignore[attr-defined]
            break
    start = start_notices(prepare_site(open_ones[0].scenario), quarter_kw)
    return tuple(
        one
        if one.is_fixed
        else replace(
            one,
            replications=tuple(numbers[: len(gathered[one.label])]),
            outcomes={
                name: np.array([row.get(name, np.nan) for row in gathered[one.label]]) for name in OUTCOMES
            },
            notices=(*one.notices, *(start if one is open_ones[0] else ())),
        )
        for one in alternatives
    )


def _numbers(alternatives: Sequence[Alternative], count: int) -> list[int]:
    """Numbers of the replications to run: those of the first folder, so that they pair, else from 0."""
    known = next((one.replications for one in alternatives if one.is_fixed), ())
    free = (number for number in itertools.count() if number not in known)
    return list(itertools.islice(itertools.chain(known, free), count))


def _all_met(
    goal: Goal, gathered: Mapping[str, list[dict[str, float]]], alternatives: Sequence[Alternative]
) -> bool:
    """Say whether every difference from the first is sure enough."""
    base = [row[goal.outcome] for row in gathered[alternatives[0].label]]
    return all(
        goal.is_met([row[goal.outcome] - value for row, value in zip(gathered[one.label], base, strict=True)])
        for one in alternatives[1:]
    )


def _shared(first: Alternative, other: Alternative) -> Iterator[tuple[int, int]]:
    """Rows of the replications that both have, where their trucks move alike."""
    if first.key == other.key:
        rows = {number: row for row, number in enumerate(other.replications)}
        for row, number in enumerate(first.replications):
            if number in rows:
                yield row, rows[number]


def _differences(first: Alternative, other: Alternative, outcome: str) -> list[float]:
    """Paired differences; of unlike traffic, row by row: independent all the same."""
    count = min(len(first.replications), len(other.replications))
    rows = list(_shared(first, other)) or [(row, row) for row in range(count)]
    before, after = first.outcomes[outcome], other.outcomes[outcome]
    return [float(after[there] - before[here]) for here, there in rows]


def _pair(first: Alternative, other: Alternative) -> Pair:
    """Compare one alternative with the first in every outcome."""
    rows = list(_shared(first, other))
    differences: dict[str, Difference] = {}
    weeks_more: dict[str, float | None] = {}
    weeks = first.scenario.duration_s / SECONDS_PER_WEEK
    for name in OUTCOMES:
        before, after = first.outcomes[name], other.outcomes[name]
        if rows:
            here, there = ([pair[side] for pair in rows] for side in (0, 1))
            found = subtract_paired(after[there].tolist(), before[here].tolist())
        else:
            found = subtract(after.tolist(), before.tolist())
        differences[name] = found
        own = _differences(first, other, name)
        if found.is_shown or found.estimate.mean == 0.0:
            weeks_more[name] = 0.0
        elif found.estimate.mean is None or len(own) < 2:
            weeks_more[name] = None
        else:
            weeks_more[name] = max(0, needed_to_decide(own) - len(own)) * weeks
    counts = (len(rows), len(rows)) if rows else (len(first.replications), len(other.replications))
    return Pair(other.label, bool(rows), counts, differences, weeks_more)
