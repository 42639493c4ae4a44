"""Tables that logs leave behind, as text for a terminal.

Comes in: an `ExtraTable`.  Goes out: text of 80 columns.  Before: `study/from_logs/traffic`,
`study/from_logs/timeouts`; after: `commands/data`.
"""

from __future__ import annotations

from sim.results import ExtraTable
from sim.show.words.amounts import wrapped
from sim.show.words.sections import Page, Section, page_text

__all__ = ["extra_table_text"]

_TIMEOUT_COLUMNS = {
    "timeout_s": "timeout",
    "gaps_longer_share": "gaps longer",
    "saved_share": "saved",
    "time_at_low_share": "time at low",
    "switch_ups": "switch-ups",
    "dim_entries": "dim entries",
    "false_offs": "false-offs",
}


def extra_table_text(table: ExtraTable) -> str:
    """Return a table as text, without a closing line end."""
    if table.name.startswith("log_quality"):
        return _quality_text(table)
    if table.name == "timeouts":
        return _timeouts_text(table)
    return page_text(Page(table.title, "", (Section("", table.header, table.rows, table.remarks),)))


def _quality_text(table: ExtraTable) -> str:
    """Counts first, then what was counted."""
    lines = [table.title]
    for check, count, detail in table.rows:
        lines += wrapped(f"{int(count):>12,}  {check}{': ' if detail else ''}{detail}", " " * 14)
    return "\n".join(lines)


def _timeouts_text(table: ExtraTable) -> str:
    """All aisles together; the file has each of them."""
    rows = [dict(zip(table.header, row, strict=True)) for row in table.rows]
    every = [row for row in rows if row["aisle"] == rows[0]["aisle"]]
    shown = tuple(
        tuple(_cell(column, row[column]) for column in _TIMEOUT_COLUMNS) for row in every
    )
    first = every[0]
    remark = (
        f"{first['aisle']}: {int(first['gaps']):,} gaps, half of them up to {first['gap_p50_s'] or '-'} s. "
        "Each aisle by itself stands in timeouts.csv."
    )
    return page_text(
        Page("Timeouts", "", (Section("", tuple(_TIMEOUT_COLUMNS.values()), shown, (remark,)),))
    )


def _cell(column: str, text: str) -> str:
    """A figure in words."""
    if not text:
        return "-"
    if column.endswith("_share"):
        return f"{100.0 * float(text):.1f} %"
    return f"{text} s" if column == "timeout_s" else f"{int(text):,}"
