"""Numeric limits in words: for a terminal, for the report, for CSV and JSON.

Comes in: a scenario.  Goes out: lines, rows.  Before: `outcome/limit_rows`; after: `show/words/site`,
`show/words/limits_report`, `show/words/besides`.  Words are "meets" and "does not meet" the numeric limit,
and no others.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sim.outcome.limit_group import LimitRow
from sim.outcome.limit_rows import ASK, limit_rows
from sim.scenario.schema import Scenario
from sim.show.folders.whole import number_text
from sim.show.words.amounts import count_of, digits, duration, listing, percent, plain, wrapped

__all__ = [
    "limit_counts", "limit_csv", "limit_lines", "limit_summary", "limit_text", "limit_where", "met_text",
    "value_text",
]

LIMITS_CSV_HEADER = (
    "rule", "aisles", "period", "what", "value", "unit", "at_least", "at_most", "met", "source", "seen",
    "remark", "next",
)


def value_text(value: float | None, unit: str) -> str:
    """Return a number of a row in words.

    Examples
    --------
    >>> value_text(1200.0, "s"), value_text(0.4565, "share"), value_text(20.0, "lx"), value_text(None, "lx")
    ('20 min', '45.6 %', '20 lx', '')
    """
    if value is None:
        return ""
    if unit == "s":
        return duration(value)
    if unit == "share":
        return percent(value)
    return digits(value) if unit == "-" else f"{digits(value)} {unit}"


def limit_text(row: LimitRow) -> str:
    """Return what the limit asks, "" where there is none."""
    least, most = value_text(row.least, row.unit), value_text(row.most, row.unit)
    if least and most:
        return f"{least} to {most}"
    return f"at least {least}" if least else f"at most {most}" if most else ""


def met_text(row: LimitRow) -> str:
    """Return whether the number is met; a row without a number speaks of what the scenario states."""
    has_number = row.least is not None or row.most is not None
    if not row.is_judged:
        return "not known" if row.remark.startswith("not found") else "shown"
    if row.is_met is None:
        return "not known" if has_number or row.remark.startswith("not stated") else "shown"
    if has_number or row.value is not None:
        return "meets" if row.is_met else "does not meet"
    return "stated" if row.is_met else "stated: no"


def limit_counts(rows: Sequence[LimitRow]) -> str:
    """Say how many rows meet their number."""
    words = [met_text(row) for row in rows]
    met, missed, open_rows = words.count("meets"), words.count("does not meet"), words.count("not known")
    return (
        f"{count_of(met, 'number is', 'numbers are')} met, {plain(missed)} not met, {plain(open_rows)} not "
        f"known; {ASK}"
    )


def limit_where(row: LimitRow, aisles: Sequence[str]) -> str:
    """Return aisles and period of a row in words; `aisles` are all that the site has."""
    where = "all aisles" if row.aisles == tuple(aisles) else listing(row.aisles, 3)
    return f"{where}, {row.period}" if row.period else where


def limit_lines(scenario: Scenario) -> list[str]:
    """Return the lines that `check` prints, [] where no limits are asked for."""
    rows = limit_rows(scenario)
    if not rows:
        return []
    lines = ["", *wrapped(f"limits      {limit_counts(rows)}", " " * 12)]
    for rule in dict.fromkeys(row.rule for row in rows):
        own = [row for row in rows if row.rule == rule]
        lines.append(f"  {rule}")
        for row in own:
            value, limit = value_text(row.value, row.unit), limit_text(row)
            figures = f": {value}" if value else ""
            asked = f" ({limit})" if limit else ""
            remark = f"; {row.remark}" if row.remark and (row.is_met is not True or not limit) else ""
            where = limit_where(row, scenario.aisle_names)
            text = f"    {where}: {row.what}{figures}{asked}, {met_text(row)}{remark}"
            lines += wrapped(text, " " * 6)
        for source, seen in dict.fromkeys((row.source, row.seen) for row in own):
            lines += wrapped(f"    [{source}: {seen}]", " " * 6)
    return lines


def limit_csv(scenario: Scenario) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Return header and rows of limits.csv; `met` is yes, no, or nothing where it cannot be told."""

    def number(value: float | None) -> str:
        return "" if value is None else number_text(value)

    rows: list[tuple[str, ...]] = [
        (
            row.rule, " ".join(row.aisles), row.period, row.what, number(row.value), row.unit,
            number(row.least), number(row.most), {True: "yes", False: "no", None: ""}[row.is_met],
            row.source, row.seen, row.remark, ASK,
        )
        for row in limit_rows(scenario)
    ]
    return LIMITS_CSV_HEADER, rows


def limit_summary(scenario: Scenario) -> list[dict[str, Any]]:
    """Return the rows as plain JSON values."""
    return [
        {
            "rule": row.rule, "aisles": list(row.aisles), "period": row.period, "what": row.what,
            "value": row.value, "unit": row.unit, "at_least": row.least, "at_most": row.most,
            "is_met": row.is_met, "is_judged": row.is_judged, "source": row.source, "seen": row.seen,
            "remark": row.remark,
        }
        for row in limit_rows(scenario)
    ]
