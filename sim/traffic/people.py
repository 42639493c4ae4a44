"""People on foot in open areas: pickers and packers who come and stay for a while.

Comes in: a scenario, a replication's number.  Goes out: when people are in each area.  Before: `scenario`,
`traffic/arrivals`; after: `sensing/areas`.  Their number varies with the day's volume like other work.
"""

from __future__ import annotations

import numpy as np

from sim.randomness import random_stream
from sim.records import FloatColumn
from sim.scenario.schema import Scenario
from sim.traffic.arrivals import draw_arrivals, draw_gamma, week_of, week_rates

__all__ = ["draw_people"]


def draw_people(scenario: Scenario, replication: int) -> tuple[tuple[FloatColumn, FloatColumn], ...]:
    """Return when people come to each open area and when they leave it [s], ascending (K,).

    Parameters
    ----------
    scenario : resolved
    replication : its number; each area has a stream of its own
    """
    week, made = week_of(scenario, replication), []
    for number, area in enumerate(scenario.area or ()):
        come, stay = random_stream(scenario.seed, replication, "area people", number).spawn(2)
        rates = week_rates(area.people_per_hour, area.people_days)
        enter = draw_arrivals(come, rates, week) if rates.any() else np.zeros(0)
        dwell = draw_gamma(stay, area.dwell_mean_s or 0.0, area.dwell_cv, len(enter))
        made.append((enter, enter + dwell))
    return tuple(made)
