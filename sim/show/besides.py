"""What a scenario asks for besides the figures of every run: sections, tables and summary of the extras.

Comes in: a `Result`.  Goes out: `Section`s for the report, CSV tables by file name, JSON values.  Before:
`show/limits_text`, `show/money_text`; after: `show/report`, `show/folder`.  A scenario that asks for
nothing gets nothing.
"""

from __future__ import annotations

from typing import Any

from sim.outcome.limit_rows import limit_rows
from sim.results import Result
from sim.scenario.schema import Scenario
from sim.show.limits_text import (
    limit_counts,
    limit_csv,
    limit_summary,
    limit_text,
    limit_where,
    met_text,
    value_text,
)
from sim.show.money_text import (
    costs_csv,
    deemed_section,
    money_section,
    money_summary,
    site_section,
    worth_section,
)
from sim.show.sections import Section
from sim.study.money import count_money

__all__ = ["beside_sections", "beside_summary", "beside_tables"]

Table = tuple[tuple[str, ...], list[tuple[str, ...]]]


def beside_sections(result: Result) -> tuple[Section, ...]:
    """Return the report's extra sections, in order."""
    found = [_limit_section(result.scenario)]
    money = count_money(result)
    if money is not None:
        found += [
            money_section(money, result.scenario),
            worth_section(money, result.scenario),
            deemed_section(money),
            site_section(money, result.scenario),
        ]
    return tuple(section for section in found if section is not None)


def beside_summary(result: Result) -> dict[str, Any]:
    """Return the extra entries of summary.json."""
    found: dict[str, Any] = {}
    if result.scenario.limits is not None:
        found["limits"] = limit_summary(result.scenario)
    money = count_money(result)
    if money is not None:
        found["money"] = money_summary(money, result.scenario)
    return found


def beside_tables(result: Result) -> dict[str, Table]:
    """Return the extra CSV tables by file name."""
    found: dict[str, Table] = {}
    if result.scenario.limits is not None:
        found["limits.csv"] = limit_csv(result.scenario)
    money = count_money(result)
    if money is not None and money.months is not None:
        found["costs.csv"] = costs_csv(money, result.scenario)
    return found


def _limit_section(scenario: Scenario) -> Section | None:
    """Numeric limits, None where none are asked for."""
    rows = limit_rows(scenario)
    if not rows:
        return None
    return Section(
        title="Numeric limits",
        header=("Rule", "Where", "What", "Here", "Limit", "Number", "Source"),
        rows=tuple(
            (
                row.rule,
                limit_where(row, scenario.aisle_names),
                row.what + (f" ({row.remark})" if row.remark else ""),
                value_text(row.value, row.unit),
                limit_text(row),
                met_text(row),
                f"{row.source}; {row.seen}",
            )
            for row in rows
        ),
        remarks=(
            f"{limit_counts(rows)}.",
            "A row says whether one number is met and nothing else. Codes have further conditions, editions "
            "and local changes; the authority having jurisdiction decides which apply.",
            "Light at a level is the average at full times the share of light at that level, of the "
            "luminaires that dim; power counts standby, the power curve and the luminaires that never dim.",
        ),
    )
