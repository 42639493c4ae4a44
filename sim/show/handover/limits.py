"""The sheet of numeric limits of a handover: each zone and period beside numbers of codes and safety rules.

Comes in: a scenario and its layout.  Goes out: a `Sheet`: drawn together on the page, what is missed first; a
row for each zone, period and number in numeric_limits.csv.  Before: `outcome/limit_rows`,
`show/words/limits`; after: `show/handover/sheets`.  A row says whether one number is met and nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from sim.floor.layout import Layout
from sim.outcome.limit_group import LimitRow
from sim.outcome.limit_rows import ASK, limit_rows
from sim.scenario.schema import Scenario
from sim.show.folders.whole import number_text
from sim.show.handover.lists import Sheet
from sim.show.words.amounts import listing
from sim.show.words.limits import limit_text, met_text, value_text

__all__ = ["USUAL_RULES", "limits_sheet", "numeric_rows"]

USUAL_RULES = (
    "ASHRAE 90.1-2022", "IECC-2021", "NFPA 101 egress", "OSHA 1910.178(h)", "HSG38", "EN 12464-1",
)
"""Rule sets that stand on the sheet where the scenario asks for none: those that the cautions name."""
_MARK = {True: "yes", False: "no", None: ""}


def numeric_rows(scenario: Scenario) -> tuple[LimitRow, ...]:
    """Return the rows with a number to meet, of the rule sets asked for, else of the usual ones."""
    asked = scenario if scenario.limits is not None else scenario.model_copy(update={"limits": USUAL_RULES})
    return tuple(row for row in limit_rows(asked) if row.least is not None or row.most is not None)


def limits_sheet(scenario: Scenario, layout: Layout) -> Sheet:
    """Return the sheet."""
    rows = numeric_rows(scenario)
    drawn: dict[LimitRow, list[str]] = {}
    for row in sorted((row for row in rows if row.is_met is not None), key=lambda row: row.is_met is True):
        drawn.setdefault(replace(row, period=""), []).append(row.period or "all")
    open_rows = list(dict.fromkeys(f"{row.rule}, {row.what}" for row in rows if row.is_met is None))
    sources = list(dict.fromkeys((row.source, row.seen) for row in drawn))
    numbers = {source: number + 1 for number, source in enumerate(sources)}
    asked = "" if scenario.limits is not None else (
        "The scenario asks for no rule set (limits), so those that the cautions name are shown. "
    )
    return Sheet(
        name="numeric_limits",
        title="Numeric limits",
        header=("Rule", "Aisles", "Period", "What", "Here", "Limit", "Number"),
        rows=tuple(
            (
                f"{row.rule} [{numbers[row.source, row.seen]}]",
                "all" if row.aisles == scenario.lit_names else listing(row.aisles, 4),
                listing(periods, 4),
                row.what + (f" ({row.remark})" if row.remark else ""),
                value_text(row.value, row.unit),
                limit_text(row),
                met_text(row),
            )
            for row, periods in drawn.items()
        ),
        csv_header=(
            "zone", "period", "rule", "what", "value", "unit", "at_least", "at_most", "met", "source", "seen",
            "remark", "next",
        ),
        csv_rows=tuple(_zone_rows(rows, scenario, layout)),
        blanks=("Decided by",),
        remarks=(
            f"{asked}A row says whether one number is met (meets, does not meet) and nothing else. Codes "
            "have "
            f"further conditions, editions and local changes: {ASK}. Every zone and period by itself is in "
            "numeric_limits.csv.",
            " ".join(f"[{numbers[source, seen]}] {source}: {seen}." for source, seen in sources),
            *([f"Not known here, or shown without a verdict: {'; '.join(open_rows)}."] if open_rows else []),
        ),
    )


def _zone_rows(
    rows: tuple[LimitRow, ...], scenario: Scenario, layout: Layout
) -> Iterator[tuple[str, ...]]:
    """A row for each zone, period and number."""

    def number(value: float | None) -> str:
        return "" if value is None else number_text(value)

    for zone, place in zip(layout.zones, layout.zone_place.tolist(), strict=True):
        homes = set(scenario.places[place][1])
        for row in rows:
            if homes & set(row.aisles):
                yield (
                    zone, row.period or "all", row.rule, row.what, number(row.value), row.unit,
                    number(row.least), number(row.most), _MARK[row.is_met], row.source, row.seen, row.remark,
                    ASK,
                )
