"""What a scenario asks for besides the figures of every run: sections, tables and summary of the extras.

Comes in: a `Result`.  Goes out: `Section`s for the report, CSV tables by file name, JSON values.  Before:
`show/words/limits`, `show/words/money`; after: `show/reports/run`, `show/folders/run`.  A scenario that asks
for nothing gets nothing.
"""

from __future__ import annotations

from typing import Any

from sim.outcome.en15193 import calculate_en15193
from sim.results import Result
from sim.show.words.en15193 import en15193_section
from sim.show.words.limits import limit_csv, limit_summary
from sim.show.words.limits_report import limit_section
from sim.show.words.money import (
    costs_csv,
    deemed_section,
    money_section,
    money_summary,
    site_section,
    worth_section,
)
from sim.show.words.sections import Section
from sim.study.year.money import count_money

__all__ = ["beside_sections", "beside_summary", "beside_tables"]

Table = tuple[tuple[str, ...], list[tuple[str, ...]]]


def beside_sections(result: Result) -> tuple[Section, ...]:
    """Return the report's extra sections, in order."""
    found = [limit_section(result.scenario)]
    money = count_money(result)
    if money is not None:
        found += [
            money_section(money, result.scenario),
            worth_section(money, result.scenario),
            deemed_section(money, result.scenario),
            en15193_section(calculate_en15193(result.scenario), money.kwh.here, money.factor),
            site_section(money, result.scenario),
        ]
    found += [
        Section(
            title=table.title,
            header=table.shown_header or table.header,
            rows=table.shown_rows or table.rows,
            remarks=table.remarks,
        )
        for table in result.tables
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
    for table in result.tables:
        found[f"{table.name}.csv"] = table.header, list(table.rows)
    if result.scenario.limits is not None:
        found["limits.csv"] = limit_csv(result.scenario)
    money = count_money(result)
    if money is not None and money.months is not None:
        found["costs.csv"] = costs_csv(money, result.scenario)
    return found
