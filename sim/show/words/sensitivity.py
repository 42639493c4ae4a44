"""A sensitivity study in words: what to measure first, how many aisles to log.

Comes in: a `Tornado` or `Indices`, a `LogSize`.  Goes out: a `Page`.  Before: `study/sensitivity`,
`show/words/sections`; after: `show/folders/sensitivity`, `commands/decide`.
"""

from __future__ import annotations

import numpy as np

from sim.outcome.names import OUTCOMES
from sim.results import Estimate
from sim.scenario.schema import Scenario
from sim.show.words.amounts import count_of, digits, interval, percent, plain
from sim.show.words.sections import Page, Section
from sim.study.sensitivity import Indices, LogSize, Tornado

__all__ = ["sensitivity_page"]


def sensitivity_page(
    scenario: Scenario, found: Tornado | Indices, logs: LogSize, replications: int, notices: tuple[str, ...]
) -> Page:
    """Return the answer."""
    table = _tornado(found) if isinstance(found, Tornado) else _indices(found)
    return Page(
        title=scenario.title,
        subtitle=f"What moves {found.outcome}, {count_of(replications, 'replication')} of each point",
        sections=(table, _logs(logs)),
        notices=notices,
        pictures=(
            ("tornado", "Each input at either end of its range, the others as stated."),
            ("indices", "All inputs moved at once."),
        ),
    )


def _scaled(estimate: Estimate, outcome: str, *, is_change: bool = False) -> str:
    """A figure with its unit, shares in per cent."""
    if outcome.endswith("_share"):
        return interval(estimate, "% points" if is_change else "%", 100.0)
    return interval(estimate, OUTCOMES[outcome].unit.strip("-"))


def _tornado(found: Tornado) -> Section:
    """One input at a time, the widest first."""
    rows = tuple(
        (
            bar.name,
            f"{plain(bar.low)} to {plain(bar.high)}",
            _scaled(bar.at_low.estimate, found.outcome, is_change=True),
            _scaled(bar.at_high.estimate, found.outcome, is_change=True),
        )
        for bar in found.bars
    )
    shown = [bar for bar in found.bars if bar.at_low.is_shown or bar.at_high.is_shown]
    remarks = ["No input moves the answer visibly: more replications, or wider ranges."]
    if shown:
        remarks = [f"Measure {shown[0].name} on site first: it moves {found.outcome} most."]
    still = [bar.name for bar in found.bars if bar not in shown]
    if still and shown:
        remarks.append(f"No effect shown of {', '.join(still)}.")
    return Section(
        f"{found.outcome}: {_scaled(found.stated, found.outcome)} as stated; change at the ends of "
        "each range",
        ("input", "range", "at the low end", "at the high end"),
        rows,
        tuple(remarks),
    )


def _indices(found: Indices) -> Section:
    """All inputs at once, the most telling first."""
    is_sobol = found.method == "sobol"
    order = np.argsort(-(found.second if is_sobol else found.first), kind="stable").tolist()
    rows = tuple(
        (
            found.names[row],
            interval(Estimate(float(found.first[row]), float(found.first_half[row]))),
            interval(Estimate(float(found.second[row]), float(found.second_half[row])))
            if is_sobol
            else digits(float(found.second[row])),
        )
        for row in order
    )
    header = ("input", "first order", "total") if is_sobol else ("input", "mean effect", "spread of effects")
    remark = (
        "Shares of the variance of the answer over all ranges together; total counts what inputs do jointly."
        if is_sobol
        else (
            "Effect of the whole range on the answer; a large spread means that it hangs on the "
            "other inputs."
        )
    )
    first = found.names[order[0]]
    return Section(
        f"{found.outcome}: {found.method.title()} indices from {found.runs} points",
        header,
        rows,
        (remark, f"Measure {first} on site first."),
    )


def _logs(logs: LogSize) -> Section:
    """How many aisles to log."""
    return Section(
        "Logging on site",
        (),
        (),
        (
            f"To know the mean {logs.figure} of an aisle to {percent(logs.error)} (95 %), log "
            f"{logs.aisles} of "
            f"{logs.of} aisles, drawn by lot, if they differ as they do here.",
        ),
    )
