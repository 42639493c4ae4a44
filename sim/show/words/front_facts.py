"""Figures of a sweep's front that depend on the range looked at, with that range.

Comes in: a `SweepResult`.  Goes out: plain values.  Before: `study/sweeping/sweep`, `study/sweeping/front`;
after: `show/words/sweep`, `show/folders/sweep`.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from sim.study.relight import traffic_key
from sim.study.sweeping.front import find_front, find_knee, hypervolume
from sim.study.sweeping.sweep import SweepResult

__all__ = ["front_facts"]


def front_facts(result: SweepResult) -> dict[str, Any]:
    """Return knee and hypervolume of the first two aims, each with the range it depends on.

    Over the means of the points whose trucks move as the scenario's do: less work is no better setting.
    Plain values; None where there is but one aim, or no such point.
    """
    own = traffic_key(result.scenario)
    same = np.array([traffic_key(site) == own for site in result.plan.sites])[np.array(result.plan.site_of)]
    rows = np.flatnonzero(same)
    facts: dict[str, Any] = {"settings_on_front": int(result.is_front.sum())}
    if len(result.aims) < 2 or not len(rows):
        return {
            **facts,
            "aims": [aim.outcome for aim in result.aims],
            "hypervolume": None,
            "knee_point": None,
        }
    aims = result.aims[:2]
    means = result.means
    costs = np.stack([aim.sign * means[aim.outcome][rows] for aim in aims], axis=1)
    reference = costs.max(axis=0)
    front = np.flatnonzero(find_front(costs))
    knee = find_knee(costs[front, 0], costs[front, 1])
    return {
        **facts,
        "aims": [aim.outcome for aim in aims],
        "hypervolume": hypervolume(costs, reference.tolist()),
        "hypervolume_reference": [
            aim.sign * float(value) for aim, value in zip(aims, reference, strict=True)
        ],
        "knee_point": None if knee is None else int(rows[front[knee.index]]),
        "knee_range": None if knee is None else sorted((aims[0].sign * knee.first, aims[0].sign * knee.last)),
    }
