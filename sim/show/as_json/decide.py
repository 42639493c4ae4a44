"""Figures of decisions as plain JSON values, for summary.json and for `--json`.

Comes in: a `SweepResult`, a `Recommendation`, a `Tornado` or `Indices`, a `Comparison`.  Goes out: plain
values.  Before: `study`; after: `show/folders/sweep`, `show/folders/recommend`, `show/folders/sensitivity`,
`commands/ask`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sim.outcome.names import OUTCOMES
from sim.provenance import content_hash, versions
from sim.records import FloatColumn
from sim.show.as_json.text import estimate_value
from sim.study.compare import Alternative, Comparison, Pair
from sim.study.decide.recommend import Recommendation
from sim.study.replications.precision import CONFIDENCE, estimate_mean
from sim.study.sensitivity import Indices, Tornado
from sim.study.sweeping.sweep import SweepResult

__all__ = ["comparison_json", "recommendation_figures", "sensitivity_figures", "sweep_figures"]


def _figure(values: FloatColumn, name: str) -> dict[str, Any]:
    """Mean and half-width of one outcome over replications, with its unit."""
    return estimate_value(estimate_mean(values.tolist()), OUTCOMES[name].unit)


def sweep_figures(result: SweepResult) -> dict[str, Any]:
    """Return the outcomes of the scenario as it stands, and of every setting on the front its aims.

    Settings stand in the order of their first aim, the best first.
    """
    return {
        "current": {name: _figure(values, name) for name, values in result.current.items()},
        "front_settings": [
            {
                "point": point,
                "settings": dict(zip(result.plan.keys, result.plan.points[point], strict=True)),
                "outcomes": {
                    aim.outcome: _figure(result.outcomes[aim.outcome][:, point], aim.outcome)
                    for aim in result.aims
                },
            }
            for point in result.front_points.tolist()
        ],
    }


def recommendation_figures(found: Recommendation) -> dict[str, Any]:
    """Return the outcomes of every plan on fresh traffic, how limits are kept there, and the savings.

    Plans are named as their files; "current" is the scenario as it stands.
    """
    label = found.trials[0].stress.label
    return {
        "fresh": {
            name.replace(" ", "-"): {
                "outcomes": {outcome: _figure(values, outcome) for outcome, values in totals.items()},
                "limits_met": [verdict.is_met for verdict in found.verdicts[name][label]],
            }
            for name, totals in found.trials[0].totals.items()
        },
        "savings": [
            {
                "plan": saving.plan.replace(" ", "-"),
                "over": saving.over.replace(" ", "-"),
                **estimate_value(saving.difference.estimate, OUTCOMES[found.wish.aim.outcome].unit),
                "share": saving.share,
                "if_site_differs": [saving.least, saving.most],
                "is_shown": saving.difference.is_shown,
                "weeks_more": saving.weeks_more,
            }
            for saving in found.savings
        ],
    }


def sensitivity_figures(found: Tornado | Indices) -> dict[str, Any]:
    """Return what each input does, in the order of the table."""
    unit = OUTCOMES[found.outcome].unit
    if isinstance(found, Tornado):
        return {
            "unit": unit,
            "stated": estimate_value(found.stated),
            "inputs": [
                {
                    "input": bar.name,
                    "low": bar.low,
                    "high": bar.high,
                    "change_at_low": estimate_value(bar.at_low.estimate),
                    "change_at_high": estimate_value(bar.at_high.estimate),
                    "swing": bar.swing,
                }
                for bar in found.bars
            ],
        }
    words = ("first_order", "total") if found.method == "sobol" else ("mean_effect", "spread")
    columns = (found.first, found.first_half, found.second, found.second_half)
    return {
        "unit": "-" if found.method == "sobol" else unit,
        "points": found.runs,
        "inputs": [
            {
                "input": name,
                words[0]: {"mean": one, "half_width": one_half},
                words[1]: {"mean": two, "half_width": two_half},
            }
            for name, one, one_half, two, two_half in zip(
                found.names, *(column.tolist() for column in columns), strict=True
            )
        ],
    }


def comparison_json(found: Comparison, outcomes: Sequence[str]) -> dict[str, Any]:
    """Return a whole comparison.

    Parameters
    ----------
    found : what was found
    outcomes : to tell, in this order
    """
    goal = found.goal
    return {
        "format": 1,
        "title": found.alternatives[0].scenario.title,
        "source": "compare",
        "compared_with": found.alternatives[0].label,
        "outcomes": {
            name: {"unit": OUTCOMES[name].unit, "meaning": OUTCOMES[name].meaning} for name in outcomes
        },
        "alternatives": [_alternative(one, outcomes) for one in found.alternatives],
        "differences": [_pair(pair, outcomes) for pair in found.pairs],
        "goal": None
        if goal is None
        else {
            "outcome": goal.outcome,
            "half_width": goal.half_width,
            "relative_error": goal.error,
            "is_reached": found.is_reached,
        },
        "confidence": CONFIDENCE,
        "versions": versions(),
        "notices": list(found.notices),
    }


def _alternative(one: Alternative, outcomes: Sequence[str]) -> dict[str, Any]:
    """One alternative by itself."""
    return {
        "label": one.label,
        "title": one.scenario.title,
        "replication_numbers": list(one.replications),
        "seed": one.scenario.seed,
        "scenario_hash": content_hash(one.scenario.content()),
        "outcomes": {name: _figure(one.outcomes[name], name) for name in outcomes},
    }


def _pair(pair: Pair, outcomes: Sequence[str]) -> dict[str, Any]:
    """One alternative less the first."""
    return {
        "label": pair.label,
        "is_paired": pair.is_paired,
        "replications": list(pair.count),
        "outcomes": {
            name: {
                **estimate_value(pair.differences[name].estimate, OUTCOMES[name].unit),
                "is_shown": pair.differences[name].is_shown,
                "weeks_more": pair.weeks_more[name],
            }
            for name in outcomes
        },
    }
