"""The numeric limits as a picture that a customer reads: a line for each number, how near it is.

Comes in: rows of limits.  Goes out: a figure.  Before: `show/words/limits`, `show/figures/style`; after:
`show/figures/draw`.  The mark is the site's number as a multiple of its limit, on a scale of ratios; the side
that meets the number is pale, so that it reads without colour.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import replace

from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from sim.outcome.limit_group import LimitRow
from sim.show.figures.style import (
    DIM,
    GRID,
    INK,
    LAMP_PALE,
    MUTED,
    PAPER,
    blank_figure,
    legend_above,
    quiet_axes,
    title,
)
from sim.show.words.amounts import listing
from sim.show.words.limits import limit_text, value_text

__all__ = ["draw_limits", "drawn_rows"]

MOST_ROWS = 20
_FARTHEST = 8.0
_LABEL_COLUMNS = 52


def _multiple(row: LimitRow) -> float:
    """The site's number over its limit, turned so that 1 or more meets it; cut at the picture's edges."""
    limit = row.least if row.least is not None else row.most
    assert limit is not None
    assert row.value is not None
    if row.value <= 0.0:
        ratio = 0.0 if row.least is not None else _FARTHEST
    else:
        ratio = row.value / limit if row.least is not None else limit / row.value
    return min(max(ratio, 1.0 / _FARTHEST), _FARTHEST)


def drawn_rows(rows: Sequence[LimitRow]) -> tuple[LimitRow, ...]:
    """Return the rows with one number and one limit, the most missed first, at most `MOST_ROWS`.

    Rows with the same number beside the same limit are drawn together: their rules and periods are joined.
    """
    one_sided = [
        row for row in rows if row.value is not None and (row.least is None) != (row.most is None)
        and row.is_met is not None
    ]
    alike: dict[LimitRow, list[LimitRow]] = {}
    for row in one_sided:
        alike.setdefault(replace(row, rule="", period="", source="", seen="", remark=""), []).append(row)
    drawn = [
        replace(
            group[0],
            rule=", ".join(dict.fromkeys(row.rule for row in group)),
            period=" and ".join(dict.fromkeys(row.period for row in group if row.period)),
        )
        for group in alike.values()
    ]
    return tuple(sorted(drawn, key=_multiple)[:MOST_ROWS])


def draw_limits(rows: Sequence[LimitRow], aisles: Sequence[str]) -> Figure:
    """Draw the rows that `drawn_rows` chose.

    Parameters
    ----------
    rows : at least one
    aisles : names of the aisles of the site
    """
    labels = [_label(row, aisles) for row in rows]
    # as much room as the longest label needs
    lines = 1 + max(label.count("\n") for label in labels)
    figure = blank_figure(1.0 + (0.05 + 0.11 * max(lines, 2)) * max(len(rows), 3))
    axes = figure.subplots()
    axes.set_xscale("log", base=2)
    axes.set_xlim(1.0 / _FARTHEST / 1.15, _FARTHEST * 1.15)
    axes.axvspan(1.0, _FARTHEST * 1.15, color=LAMP_PALE, linewidth=0.0)
    axes.axvline(1.0, color=MUTED, linewidth=1.2)
    for place, row in enumerate(rows):
        at = _multiple(row)
        colour = INK if row.is_met else DIM
        axes.plot([1.0, at], [place, place], color=colour, linewidth=1.4)
        axes.plot(
            [at], [place], marker="o" if row.is_met else "X", markersize=6.0, color=colour,
            markeredgecolor=PAPER, linestyle="none",
        )
        # in a column of their own: beside the mark they would run into the names or over the edge
        axes.annotate(
            f"{value_text(row.value, row.unit)}, {limit_text(row)}", (1.0, place),
            xycoords=axes.get_yaxis_transform(), xytext=(6.0, 0.0), textcoords="offset points", va="center",
            fontsize=7.0, color=INK, annotation_clip=False,
        )
    quiet_axes(axes, "x")
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", color=GRID, which="both")
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_yticks(range(len(rows)), labels, fontsize=7.0)
    axes.set_xticks([0.125, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0], ["1/8", "1/4", "1/2", "limit", "2x", "4x", "8x"])
    title(axes, "Numeric limits, the most missed first")
    legend_above(
        axes,
        [
            Patch(facecolor=LAMP_PALE, linewidth=0.0),
            Line2D([], [], color=INK, marker="o", linestyle="none"),
            Line2D([], [], color=DIM, marker="X", linestyle="none"),
        ],
        ["side that meets the number", "meets", "does not meet"],
        columns=3,
    )
    return figure


def _label(row: LimitRow, aisles: Sequence[str]) -> str:
    """Quantity and place, then the rules, in short lines."""
    where = "all aisles" if row.aisles == tuple(aisles) else listing(row.aisles, 2)
    period = f", {row.period}" if row.period else ""
    what = row.what.removeprefix("floor light, ")
    parts = (f"{what}: {where}{period}", row.rule)
    lines = [line for part in parts for line in textwrap.wrap(part, _LABEL_COLUMNS)]
    return "\n".join(lines)
