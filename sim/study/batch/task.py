"""One piece of a study's work: a replication of one site under many settings, as a worker does it.

Comes in: a `Task`.  Goes out: an `Answer`, figures or a message for each point.  Before: `replication`,
`study/ages/evaluate`; after: `study/batch/run`.

Which way a figure is computed depends on the point alone, never on what else is asked for or under way: sums
come from the age view (steady: no digit hangs on the other settings), peaks and dim spells from a replay;
all from a replay under daylight caps; all from a simulation of its own where drivers react to the light.
"""

from __future__ import annotations

import time
import traceback
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sim.errors import AislewakeError
from sim.provenance import versions
from sim.replication import (
    Site,
    Traffic,
    drivers_react,
    prepare_site,
    replay_site,
    run_replication,
    simulate_traffic,
)
from sim.scenario.schema import Scenario
from sim.study.ages.evaluate import evaluate_settings
from sim.study.relight import relight, with_settings
from sim.study.sweeping.plan import Choice
from sim.study.sweeping.sweep import EXACT_OUTCOMES, exact_outcomes
from sim.units import SECONDS_PER_HOUR

__all__ = ["Answer", "Task", "do_task"]


@dataclass(frozen=True)
class Task:
    """Points that share their trucks, in one replication.

    Attributes
    ----------
    scenario : the site
    replication : its number
    points : their places in the study (K,)
    choices : their settings (K,)
    outcomes : names asked for
    """

    scenario: Scenario
    replication: int
    points: tuple[int, ...]
    choices: tuple[Choice, ...]
    outcomes: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.points)

    def pick(self, places: Sequence[int]) -> Task:
        """Return the task with some of its points."""
        points, choices = (tuple(column[place] for place in places) for column in (self.points, self.choices))
        return Task(self.scenario, self.replication, points, choices, self.outcomes)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Answer:
    """What came of a task.

    Attributes
    ----------
    figures : by outcome, one for each point; empty where the task failed (K,)
    duration_s : of the whole task
    versions : that computed it
    fault : why it failed, "" where it did not
    detail : where in the program, "" for a fault of the input
    """

    figures: Mapping[str, tuple[float, ...]]
    duration_s: float
    versions: Mapping[str, str]
    fault: str = ""
    detail: str = ""


def do_task(task: Task) -> Answer:
    """Do a task; what goes wrong in it is told in the answer.

    Parameters
    ----------
    task : at least one point
    """
    begin = time.perf_counter()
    fault, detail = "", ""
    figures: Mapping[str, tuple[float, ...]] = {}
    try:
        figures = _figures(task)
    except AislewakeError as error:
        fault = str(error)
    except Exception as error:  # a point that fails must not stop the others; its traceback is kept
        fault = f"{type(error).__name__}: {error}"
        detail = traceback.format_exc()
    return Answer(figures, time.perf_counter() - begin, versions(), fault, detail)


def _figures(task: Task) -> dict[str, tuple[float, ...]]:
    """Compute every outcome asked for, for each point."""
    site = prepare_site(task.scenario)
    if drivers_react(task.scenario):
        rows = []
        for choice in task.choices:
            own = relight(site, with_settings(task.scenario, choice))
            rows.append(run_replication(own, task.replication)[0].total)
        return {name: tuple(float(row[name]) for row in rows) for name in task.outcomes}
    traffic = simulate_traffic(site, task.replication)
    exact = [name for name in task.outcomes if name in EXACT_OUTCOMES and task.scenario.skylight is None]
    other = [name for name in task.outcomes if name not in exact]
    found = _by_ages(site, traffic, task.choices) if exact else {}
    replayed = _by_replay(site, traffic, task.choices) if other else {}
    return {name: (found if name in exact else replayed)[name] for name in task.outcomes}


def _by_ages(site: Site, traffic: Traffic, choices: Sequence[Choice]) -> dict[str, tuple[float, ...]]:
    """Return what adds up, and its quotients."""
    whole = [{**site.scenario.lighting.settings, **choice} for choice in choices]
    found = evaluate_settings(site, traffic, whole, is_steady=True)
    table = exact_outcomes(found, site.scenario.duration_s / SECONDS_PER_HOUR)
    return {name: tuple(column.tolist()) for name, column in table.items()}


def _by_replay(site: Site, traffic: Traffic, choices: Sequence[Choice]) -> dict[str, tuple[float, ...]]:
    """Return everything a replay tells."""
    rows = [
        replay_site(relight(site, with_settings(site.scenario, choice)), traffic)[0].total
        for choice in choices
    ]
    return {name: tuple(float(row[name]) for row in rows) for name in rows[0]}
