"""The first page of a sweep's and of a sensitivity study's report.

Comes in: a `SweepResult`; a `Tornado` or `Indices` with a `LogSize`.  Goes out: `Summary`.  Before:
`study/sweeping/sweep`, `study/sensitivity`, `show/reports/paper`; after: `show/folders/sweep`,
`show/folders/sensitivity`.
"""

from __future__ import annotations

import numpy as np

from sim.outcome.names import OUTCOMES
from sim.results import Estimate
from sim.show.reports.paper import Summary
from sim.show.words.amounts import count_of, digits, duration, interval, listing, percent
from sim.show.words.plain_names import OUTCOME_WORDS
from sim.show.words.sections import Section
from sim.study.differences import subtract_paired
from sim.study.replications.precision import estimate_mean
from sim.study.sensitivity import Indices, LogSize, Tornado
from sim.study.sweeping.sweep import SweepResult
from sim.study.sweeping.values import value_text

__all__ = ["better_points", "sensitivity_summary", "sweep_summary"]

_SHOWN = (
    "energy_kwh", "saved_share", "dim_truck_s", "shortfall_truck_s", "dim_entries", "false_offs",
    "switch_ups",
)
_SITE = (
    "The interval holds chance in the simulation alone. What is not known about the site (moves an hour, "
    "their "
    "spread over the aisles, what the sensors see) moves the figures more: aislewake sensitivity says what "
    "to "
    "measure first."
)


def better_points(result: SweepResult) -> tuple[int, ...]:
    """Return points no worse than the scenario in any aim and better in one, by the first aim."""
    own = np.array([aim.sign * float(result.current[aim.outcome].mean()) for aim in result.aims])
    costs = np.stack([aim.sign * result.means[aim.outcome] for aim in result.aims], axis=1)
    better = np.flatnonzero((costs <= own).all(axis=1) & (costs < own).any(axis=1))
    return tuple(better[np.argsort(costs[better, 0], kind="stable")].tolist())


def _figure(values: list[float], name: str) -> str:
    """An outcome with its interval, shares in per cent."""
    if name.endswith("_share"):
        return interval(estimate_mean(values), "%", 100.0)
    return interval(estimate_mean(values), OUTCOMES[name].unit.strip("-"))


def _values(result: SweepResult, point: int) -> str:
    """A point's values as they would be given."""
    pairs = zip(result.plan.keys, result.plan.points[point], strict=True)
    return ", ".join(f"{key}={value_text(value)}" for key, value in pairs)


def sweep_summary(result: SweepResult) -> Summary:
    """Return decision, what it brings, how sure it is."""
    scenario, better = result.scenario, better_points(result)
    aims = listing([f"{'most' if aim.is_maximised else 'least'} {aim.outcome}" for aim in result.aims])
    best = better[0] if better else None
    front = int(result.is_front.sum())
    choice = "Between them more of one is less of another: the site chooses. "
    if best is None:
        decision = (
            f"Nothing that was tried: none of {count_of(len(result.plan), 'setting')} beats the settings in "
            "force "
            "in every aim. A setting that is better in one aim costs something in another; the table of "
            "those "
            "not beaten shows what."
        )
    else:
        decision = (
            f"{_values(result, best)}: no worse than the settings in force in any aim and better in at least "
            "one. "
            f"{_gain(result, best)}"
        )
    answers = (
        ("Which settings?", decision),
        (
            "What is the choice?",
            f"{count_of(front, 'setting')} of {len(result.plan):,} tried {'is' if front == 1 else 'are'} not "
            f"beaten in {aims}. {choice if front > 1 and len(result.aims) > 1 else ''}aislewake recommend "
            "chooses by itself once limits are stated.",
        ),
        ("How sure is it?", _certainty(scenario.duration_s, len(result.replications))),
    )
    names = [name for name in _SHOWN if name in result.outcomes and np.isfinite(result.current[name]).all()]
    header: tuple[str, ...] = ("", "In force")
    rows: list[tuple[str, ...]] = [(name, _figure(result.current[name].tolist(), name)) for name in names]
    if best is not None:
        header = ("", "In force", "Best that was tried", "Change")
        rows = [
            (*row, _figure(result.outcomes[name][:, best].tolist(), name), _change(result, best, name))
            for name, row in zip(names, rows, strict=True)
        ]
    return Summary(answers, Section("Settings in force and the best that was tried", header, tuple(rows)))


def _gain(result: SweepResult, point: int) -> str:
    """The energy that a point saves, paired."""
    found = subtract_paired(
        result.current["energy_kwh"].tolist(), result.outcomes["energy_kwh"][:, point].tolist()
    )
    base = float(result.current["energy_kwh"].mean())
    mean = found.estimate.mean or 0.0
    share = f" ({percent(abs(mean) / base)})" if base else ""
    size = Estimate(abs(mean), found.estimate.half_width)
    word = "less" if mean >= 0.0 else "more"
    return f"It uses {interval(size, 'kWh')}{share} {word} energy on the same trucks."


def _change(result: SweepResult, point: int, name: str) -> str:
    """Point less in force, paired."""
    found = subtract_paired(result.outcomes[name][:, point].tolist(), result.current[name].tolist())
    if name.endswith("_share"):
        return interval(found.estimate, "% points", 100.0)
    return interval(found.estimate, OUTCOMES[name].unit.strip("-"))


def _certainty(duration_s: float, replications: int) -> str:
    """What stands behind the figures."""
    if replications == 1:
        span = duration(duration_s)
        return f"One run of {span}: no interval, so chance alone may move every figure. {_SITE}"
    return (
        f"Means of {count_of(replications, 'replication')} of {duration(duration_s)}; behind ± stands the "
        "half-width "
        f"of the 95 % interval. {_SITE}"
    )


def sensitivity_summary(found: Tornado | Indices, logs: LogSize) -> Summary:
    """Return what to measure first, and how many aisles to log."""
    outcome = OUTCOME_WORDS.get(found.outcome, found.outcome)
    what, table = _tornado(found, outcome) if isinstance(found, Tornado) else _indices(found, outcome)
    answers = (
        ("What to measure on site first?", what),
        (
            "How many aisles to log?",
            f"{logs.aisles} of {logs.of}, drawn by lot: then the mean {logs.figure} of an aisle is known to "
            f"{percent(logs.error)} with 95 % confidence, if the aisles differ as they do here.",
        ),
        (
            "How sure is it?",
            "Behind ± stands the half-width of the 95 % interval: chance in the simulation alone. The ranges "
            "are what "
            "was asked for; a wider range moves the answer more. An input that is not among them cannot "
            "show.",
        ),
    )
    return Summary(answers, table)


def _tornado(found: Tornado, outcome: str) -> tuple[str, Section]:
    """The widest bars."""
    unit, scale = (("% points", 100.0) if found.outcome.endswith("_share") else
                   (OUTCOMES[found.outcome].unit.strip("-"), 1.0))
    shown = [bar for bar in found.bars if bar.at_low.is_shown or bar.at_high.is_shown]
    if shown:
        first = shown[0]
        what = (
            f"{first.name[0].upper()}{first.name[1:]}: over its range it moves the {outcome} by "
            f"{digits(first.swing * scale, 2)}{f' {unit}' if unit else ''}, more than any other input."
        )
        still = [bar.name for bar in found.bars if bar not in shown]
        if still:
            what += f" No effect is shown of {listing(still)}."
    else:
        what = f"No input moves the {outcome} visibly: more replications, or wider ranges."
    rows = tuple(
        (bar.name, *(interval(end.estimate, unit, scale) for end in (bar.at_low, bar.at_high)))
        for bar in found.bars[:8]
    )
    return what, Section(f"Change of the {outcome}", ("input", "at the low end", "at the high end"), rows)


def _indices(found: Indices, outcome: str) -> tuple[str, Section]:
    """The strongest inputs."""
    values = found.second if found.method == "sobol" else found.first
    halves = found.second_half if found.method == "sobol" else found.first_half
    order = np.argsort(-values, kind="stable").tolist()[:8]
    name = found.names[order[0]]
    rows = tuple(
        (found.names[row], interval(Estimate(float(values[row]), float(halves[row])))) for row in order
    )
    heading = "total" if found.method == "sobol" else "mean effect"
    what = f"{name[0].upper()}{name[1:]}: it moves the {outcome} most when all inputs vary at once."
    return what, Section(f"What moves the {outcome}", ("input", heading), rows)
