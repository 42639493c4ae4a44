"""The report's table of numeric limits: what is missed first, sources by number below.

Comes in: a scenario.  Goes out: a `Section`.  Before: `show/words/limits`, `show/words/sections`; after:
`show/words/besides`.
"""

from __future__ import annotations

from dataclasses import replace

from sim.outcome.limit_group import LimitRow
from sim.outcome.limit_rows import limit_rows
from sim.scenario.schema import Scenario
from sim.show.words.amounts import listing
from sim.show.words.limits import limit_counts, limit_text, limit_where, met_text, value_text
from sim.show.words.sections import Section

__all__ = ["limit_section"]

_ORDER = ("does not meet", "stated: no", "not known", "meets", "stated", "shown")
"""Words of the verdict, the most wanting first."""


def limit_section(scenario: Scenario, file: str = "limits.csv") -> Section | None:
    """Return the report's table, None where no limits are asked for: what is missed first, sources below.

    Rows that differ by the period alone are drawn together.

    Parameters
    ----------
    scenario : the site
    file : where every row stands by itself
    """
    rows = limit_rows(scenario)
    if not rows:
        return None
    merged: dict[LimitRow, list[str]] = {}
    for row in rows:
        merged.setdefault(replace(row, period=""), []).append(row.period)
    drawn = sorted(
        ((row, [one for one in periods if one]) for row, periods in merged.items()),
        key=lambda pair: _ORDER.index(met_text(pair[0])),
    )
    sources = list(dict.fromkeys((row.source, row.seen) for row, _ in drawn))
    numbers = {source: number + 1 for number, source in enumerate(sources)}
    return Section(
        title="Numeric limits",
        header=("Rule", "Where", "What", "Here", "Limit", "Number", "Source"),
        rows=tuple(
            (
                row.rule,
                limit_where(
                    replace(row, period=listing(periods, 3) if periods else ""), scenario.aisle_names
                ),
                row.what + (f" ({row.remark})" if row.remark else ""),
                value_text(row.value, row.unit),
                limit_text(row),
                met_text(row),
                f"[{numbers[row.source, row.seen]}]",
            )
            for row, periods in drawn
        ),
        remarks=(
            f"{limit_counts(rows)}. The most wanting first; every row by itself is in {file}.",
            "A row says whether one number is met and nothing else. Codes have further conditions, editions "
            "and local changes; the authority having jurisdiction decides which apply.",
            "Light at a level is the average at full times the share of light at that level, of the "
            "luminaires that dim; power counts standby, the power curve and the luminaires that never dim.",
            *(f"[{numbers[source, seen]}] {source}: {seen}." for source, seen in sources),
        ),
    )
