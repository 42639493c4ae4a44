"""A sweep in words: the trade-off, where it bends, who beats today's settings.

Comes in: a `SweepResult`.  Goes out: a `Page`.  Before: `study/sweeping/sweep`, `show/words/sections`; after:
`show/folders/sweep`, `commands/decide`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.outcome.names import OUTCOMES
from sim.records import FloatColumn
from sim.show.words.amounts import count_of, digits, duration, interval, moment
from sim.show.words.front_facts import front_facts
from sim.show.words.sections import Page, Section
from sim.study.replications.precision import estimate_mean
from sim.study.sweeping.front import Aim
from sim.study.sweeping.sweep import SweepResult
from sim.study.sweeping.values import Value, value_text

__all__ = ["sweep_page"]

_MOST_ROWS = 12
_MOST_BEATEN = 3
_LONGEST_NUMBER = 8


def sweep_page(result: SweepResult) -> Page:
    """Return the whole answer."""
    scenario, plan = result.scenario, result.plan
    sites = "" if len(plan.sites) == 1 else f" on {len(plan.sites)} sites"
    return Page(
        title=scenario.title,
        subtitle=(
            f"Sweep: {count_of(len(plan), 'point')}{sites}, "
            f"{count_of(len(result.replications), 'replication')} each, "
            f"{duration(scenario.duration_s)} from {moment(scenario.start_datetime)}"
        ),
        sections=(_front(result), *_beaten(result), *_bend(result), _today(result)),
        notices=result.notices,
        pictures=(
            ("tradeoff", "Energy against dim truck-time; the area of a dot is its switch-ups."),
            ("saving", "The share of always on that is saved, with the interval of each curve."),
        ),
    )


def _aim_words(result: SweepResult) -> str:
    """Name the aims."""
    return ", ".join(f"{'most' if aim.is_maximised else 'least'} {aim.outcome}" for aim in result.aims)


def _point_words(result: SweepResult, point: int) -> str:
    """A point's values as they would be given; what was drawn from a range is shortened."""
    return ", ".join(
        f"{key}={_short(value)}"
        for key, value in zip(result.plan.keys, result.plan.points[point], strict=True)
    )


def _short(value: Value) -> str:
    """A value's text; four figures of a long number."""
    text = value_text(value)
    return f"{value:.4g}" if isinstance(value, float) and len(text) > _LONGEST_NUMBER else text


def _front(result: SweepResult) -> Section:
    """Settings that no other beats, evenly over the first aim."""
    points = np.flatnonzero(result.is_front)
    first = result.aims[0]
    order = points[np.argsort(first.sign * result.means[first.outcome][points], kind="stable")]
    chosen = np.unique(np.linspace(0, len(order) - 1, min(_MOST_ROWS, len(order))).round().astype(int))
    rows = []
    for point in order[chosen].tolist():
        cells = [
            interval(
                estimate_mean(result.outcomes[aim.outcome][:, point].tolist()),
                OUTCOMES[aim.outcome].unit.strip("-"),
            )
            for aim in result.aims
        ]
        rows.append((_point_words(result, point), *cells))
    shown = "" if len(rows) == len(points) else f" (shown: {len(rows)}, evenly over {first.outcome})"
    return Section(
        f"Not beaten in {_aim_words(result)}: {len(points)} of {count_of(len(result.plan), 'point')}{shown}",
        ("setting", *(aim.outcome for aim in result.aims)),
        tuple(rows),
        ("All of them with peaks and dim spells: front.csv.",),
    )


def _beaten(result: SweepResult) -> tuple[Section, ...]:
    """The settings that have the most to gain, and who beats them by how much."""
    beaten = np.flatnonzero(result.beaten.by >= 0)
    if not len(beaten):
        return ()
    first = result.aims[0]
    margin = result.beaten.margin[beaten, 0]
    worst = beaten[np.argsort(-margin, kind="stable")][:_MOST_BEATEN]
    rows = tuple(
        (
            _point_words(result, point),
            _point_words(result, int(result.beaten.by[point])),
            _margin_words(result, result.beaten.margin[point]),
        )
        for point in worst.tolist()
    )
    what = "those" if len(beaten) == len(worst) else f"the {len(worst)}"
    gain = "most" if first.is_maximised else "least"
    return (
        Section(
            f"Beaten: {len(beaten)} of {count_of(len(result.plan), 'point')}; {what} with most to gain in "
            f"{gain} {first.outcome}",
            ("setting", "beaten by", "which has"),
            rows,
            ("Every one, who beats it and by how much: summary.csv.",),
        ),
    )


def _margin_words(result: SweepResult, margin: Sequence[float] | FloatColumn) -> str:
    """How much less of each aim, where there is any less."""
    return ", ".join(
        f"{digits(float(value))} {OUTCOMES[aim.outcome].unit.strip('-')}".strip()
        + f" {_comparative(aim)} {aim.outcome}"
        for aim, value in zip(result.aims, margin, strict=True)
        if value > 0.0
    )


def _comparative(aim: Aim) -> str:
    """More, less, or of what is counted fewer."""
    if aim.is_maximised:
        return "more"
    return "fewer" if OUTCOMES[aim.outcome].unit == "-" else "less"


def _bend(result: SweepResult) -> tuple[Section, ...]:
    """Knee and ground covered, each with the range it depends on."""
    facts = front_facts(result)
    if facts["hypervolume"] is None:
        return ()
    first, second = facts["aims"]
    remarks = []
    if facts["knee_point"] is not None:
        low, high = facts["knee_range"]
        remarks.append(
            f"The trade-off between {first} and {second} bends most at "
            f"{_point_words(result, facts['knee_point'])}, "
            f"looked at from {digits(low)} to {digits(high)} {OUTCOMES[first].unit}; another range "
            "has another knee."
        )
    worst = " and ".join(digits(value) for value in facts["hypervolume_reference"])
    remarks.append(
        f"Hypervolume of the front up to the worst of all points ({worst}): "
        f"{digits(facts['hypervolume'], 4)}."
    )
    return (Section("Where it bends", (), (), tuple(remarks)),)


def _today(result: SweepResult) -> Section:
    """The scenario as it stands, and what beats it."""
    means = result.means
    own = np.array([aim.sign * float(result.current[aim.outcome].mean()) for aim in result.aims])
    costs = np.stack([aim.sign * means[aim.outcome] for aim in result.aims], axis=1)
    better = np.flatnonzero((costs <= own).all(axis=1) & (costs < own).any(axis=1))
    cells = tuple(
        (
            aim.outcome,
            interval(
                estimate_mean(result.current[aim.outcome].tolist()), OUTCOMES[aim.outcome].unit.strip("-")
            ),
        )
        for aim in result.aims
    )
    if not len(better):
        return Section(
            "As the scenario stands", (), cells, ("No point of this sweep beats it in every aim.",)
        )
    best = int(better[np.argmin(costs[better, 0])])
    words = _margin_words(result, own - costs[best])
    return Section(
        "As the scenario stands", (), cells, (f"Beaten by {_point_words(result, best)}: {words}.",)
    )
