"""Small floors for the outside checks of the deeper traffic: trucks, trailers, walkers, and what they did.

Comes in: keys of a scenario.  Goes out: a prepared site with its tasks, log and visits.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.records import Visits
from sim.replication import Site, prepare_site
from sim.traffic.batteries import battery_changes
from sim.traffic.paths import VISIT_TASKS, log_paths
from sim.traffic.work import Tasks, draw_tasks
from sim.traffic.world import Log, simulate_floor
from tests.truth.truth_scenes import scenario

PLAIN = {
    "name": "reach",
    "count": 1,
    "speed_laden_m_per_s": 2.5,
    "speed_empty_m_per_s": 2.5,
    "handling_mean_s": 0.0,
}
"""One truck at 2.5 m/s that neither speeds up nor handles: only the legs are left."""


@dataclass(frozen=True)
class Floor:
    """What happened on a floor."""

    site: Site
    tasks: Tasks
    log: Log
    visits: Visits

    @property
    def end_s(self) -> float:
        """End of the run."""
        return self.site.scenario.duration_s

    def stays(self, task: str) -> np.ndarray:
        """Lengths of the visits of one kind that ended within the run."""
        done = (self.visits.task == VISIT_TASKS.index(task)) & (self.visits.leave < self.end_s)
        return (self.visits.leave - self.visits.enter)[done]


def run_floor(replication: int = 0, **keys: Any) -> Floor:
    """Simulate the traffic of a small site; keys as in `truth_scenes.scenario`."""
    site = prepare_site(scenario(**keys))
    made = site.scenario
    tasks = draw_tasks(made, site.layout, replication)
    changes = battery_changes(made, site.fleet, replication)
    log = simulate_floor(site.layout, made.trucks, site.may_do, site.fleet, tasks, made.duration_s, changes)
    visits = log_paths(site.layout, made.trucks, site.fleet, tasks, log, made.duration_s)
    return Floor(site, tasks, log, visits)


def standard_error(values: np.ndarray) -> float:
    """Standard error of the mean of independent values."""
    return float(np.std(values, ddof=1) / np.sqrt(len(values)))
