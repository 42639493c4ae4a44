"""The work's shifts as times of the run, so that a sentence can say what happens in an average one.

Comes in: a scenario.  Goes out: `Shift`s.  Before: `scenario`; after: `show/page/data`.
"""

from __future__ import annotations

import datetime as dt
import itertools
from dataclasses import dataclass

import numpy as np

from sim.records import Stays
from sim.scenario.schema import Scenario, seconds_of_day
from sim.units import SECONDS_PER_DAY, WEEKDAYS

__all__ = ["Shift", "work_shifts"]

MOST_SHIFTS = 6


@dataclass(frozen=True)
class Shift:
    """One shift, every time that it occurs.

    Attributes
    ----------
    label : as in "shift 06:00 to 14:00"
    spans : (start, end) of each [s], apart from each other
    """

    label: str
    spans: tuple[tuple[float, float], ...]

    def entries(self, stays: Stays) -> float:
        """Return how many trucks enter a zone in these hours, each by its service weight."""
        edges = np.array(self.spans).ravel()
        inside = np.searchsorted(edges, stays.enter, side="right") % 2 == 1
        weight = np.ones(len(inside)) if stays.weight is None else stays.weight
        return float(np.sum(weight[inside]))


def work_shifts(scenario: Scenario) -> tuple[Shift, ...]:
    """Return the shifts of the scenario's crews, those with most hours first; without any, days."""
    found: dict[tuple[str, str], set[tuple[float, float]]] = {}
    midnight = dt.datetime.combine(scenario.start_datetime.date(), dt.time())
    past = (scenario.start_datetime - midnight).total_seconds()
    for row in scenario.shifts or ():
        start, end = float(seconds_of_day(row.from_)), float(seconds_of_day(row.to))
        length = end - start if end > start else end - start + SECONDS_PER_DAY
        for day in range(-1, int(scenario.days) + 1):
            weekday = WEEKDAYS[(midnight + dt.timedelta(days=day)).weekday()]
            begin = day * SECONDS_PER_DAY + start - past
            span = (max(0.0, begin), min(scenario.duration_s, begin + length))
            if weekday in row.days and span[0] < span[1]:
                found.setdefault((row.from_, row.to), set()).add(span)
    if not found:
        edges = [*np.arange(0.0, scenario.duration_s, SECONDS_PER_DAY).tolist(), scenario.duration_s]
        return (Shift("", tuple(itertools.pairwise(edges))),)
    ranked = sorted(found.items(), key=lambda item: (-sum(b - a for a, b in item[1]), item[0]))
    return tuple(
        Shift(f"{hours[0]} to {hours[1]}", tuple(sorted(spans))) for hours, spans in ranked[:MOST_SHIFTS]
    )
