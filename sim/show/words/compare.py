"""A comparison in words.

Comes in: a `Comparison`.  Goes out: a `Page`.  Before: `study/compare`, `show/words/sections`; after:
`commands/ask`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.show.words.amounts import digits, interval, plain
from sim.show.words.sections import Page, Section
from sim.study.compare import Alternative, Comparison, Pair
from sim.study.differences import Difference
from sim.study.replications.stopping import MOST_FORECAST

__all__ = ["comparison_page"]


def comparison_page(found: Comparison, outcomes: Sequence[str]) -> Page:
    """Return the answer for some outcomes, a section per alternative."""
    first = found.alternatives[0]
    sections = tuple(
        _section(first, other, pair, outcomes)
        for other, pair in zip(found.alternatives[1:], found.pairs, strict=True)
    )
    remarks = [
        "±: simulation noise, each a 95 % interval by itself; of twenty that show nothing, one shows "
        "something. What is not known about the site is not in it: see aislewake sensitivity."
    ]
    if found.goal is not None:
        reached = "reached" if found.is_reached else "not reached; more replications would be needed"
        remarks.append(f"What was asked of {found.goal.outcome}: {reached}.")
    return Page(
        title=f"Compared with {first.label}",
        subtitle=first.scenario.title,
        sections=(*sections, Section("", (), (), tuple(remarks))),
        notices=found.notices,
    )


def _section(first: Alternative, other: Alternative, pair: Pair, outcomes: Sequence[str]) -> Section:
    """One alternative against the first."""
    rows = []
    for name in outcomes:
        difference = pair.differences[name]
        if difference.estimate.mean is not None:
            means = (float(np.mean(one.outcomes[name])) for one in (first, other))
            rows.append(
                (
                    name,
                    *(plain(mean) if mean == round(mean) else digits(mean, 4) for mean in means),
                    interval(difference.estimate),
                    _verdict(difference),
                )
            )
    how = (
        f"same trucks, paired on {pair.count[0]} replications"
        if pair.is_paired
        else f"other trucks, {pair.count[0]} and {pair.count[1]} replications, not paired"
    )
    weeks = ", ".join(f"{row[0]} {more}" for row in rows if (more := _weeks(pair, row[0])))
    remarks = (
        (f"Simulated weeks more that would show a difference of the size seen: {weeks}.",) if weeks else ()
    )
    header = ("", _short(first.label), _short(other.label), "difference", "")
    return Section(f"{other.label}: {how}", header, tuple(rows), remarks)


def _short(label: str) -> str:
    """A label for the head of a column."""
    return label if len(label) <= 12 else ".." + label[-10:]


def _verdict(difference: Difference) -> str:
    """Say whether a difference is shown."""
    mean, half = difference.estimate.mean, difference.estimate.half_width
    if mean == 0.0 and half == 0.0:
        return "equal"
    if difference.is_shown and mean is not None:
        return "more" if mean > 0.0 else "less"
    return "none shown"


def _weeks(pair: Pair, name: str) -> str:
    """How much longer to look."""
    weeks = pair.weeks_more[name]
    if weeks is None or weeks == 0.0:
        return ""
    return "many" if weeks >= MOST_FORECAST else digits(weeks, 2)
