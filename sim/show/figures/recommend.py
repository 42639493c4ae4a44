"""Pictures of a recommendation: trade-off with the plans, timeouts over the aisles, what tuning is worth.

Comes in: a `Recommendation`.  Goes out: SVG and PNG files.  Before: `show/numbers/decide`,
`show/figures/style`; after: `show/folders/recommend`.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedLocator, NullLocator

from sim.outcome.names import OUTCOMES
from sim.show.figures.style import (
    INK,
    LIGHT_RAMP,
    MUTED,
    SCHEDULE,
    SETTINGS,
    blank_figure,
    legend_above,
    quiet_axes,
    style,
    title,
)
from sim.show.figures.sweep import draw_trade_off, save_figures
from sim.show.numbers.decide import AisleChoices, ValueRow, aisle_choices, trade_off, value_rows
from sim.show.words.amounts import duration
from sim.study.decide.recommend import Recommendation

__all__ = ["draw_choices", "draw_recommend_figures", "draw_value"]

_TICKS_S = (30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0)
_MOST_TICKS = 8


def draw_recommend_figures(found: Recommendation, folder: Path) -> dict[str, str]:
    """Draw every picture: `tradeoff`, `value`, and `aisles` where a plan by aisle has different timeouts."""
    with style():
        figures = {
            "tradeoff": draw_trade_off(trade_off(found)),
            "value": draw_value(value_rows(found), found.wish.aim.outcome),
        }
        choices = aisle_choices(found)
        if any(len(set(one.timeout_s.tolist())) > 1 for one in choices):
            figures["aisles"] = draw_choices(choices)
        return save_figures(figures, folder)


def draw_choices(choices: Sequence[AisleChoices]) -> Figure:
    """Draw each aisle's timeout over its visits an hour, a panel per name of the timetable (one at least)."""
    columns = min(len(choices), 3)
    rows = -(-len(choices) // columns)
    figure = blank_figure(0.7 + 2.4 * rows)
    panels = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True).ravel()
    for axes, one in zip(panels, choices, strict=False):
        if one.single_timeout_s is not None:
            axes.axhline(one.single_timeout_s, color=SCHEDULE, linestyle="-.", linewidth=1.1)
        dots = axes.scatter(
            one.visits_per_h,
            one.timeout_s,
            c=one.unoccupied_level,
            cmap=LIGHT_RAMP,
            vmin=0.0,
            vmax=1.0,
            s=34,
            edgecolors=INK,
            linewidths=0.7,
            zorder=3,
        )
        quiet_axes(axes)
        axes.set_yscale("log")
        axes.set_title(one.name, loc="left", fontsize=8.0)
    for axes in panels[len(choices) :]:
        axes.set_visible(False)
    low = min(float(one.timeout_s.min()) for one in choices)
    high = max(float(one.timeout_s.max()) for one in choices)
    used = sorted({float(timeout) for one in choices for timeout in one.timeout_s})
    shown = (
        used if len(used) <= _MOST_TICKS else [tick for tick in _TICKS_S if 0.5 * low <= tick <= 2.0 * high]
    )
    for axes in panels:
        axes.yaxis.set_major_locator(FixedLocator(shown))
        axes.yaxis.set_minor_locator(NullLocator())
        axes.set_yticks(shown, [duration(tick) for tick in shown])
        axes.set_ylim(0.7 * low, 1.4 * high)
        axes.set_xlim(left=0.0)
    for axes in panels[::columns]:
        axes.set_ylabel("timeout")
    for axes in panels[max(0, len(choices) - columns) :]:
        axes.set_xlabel("visits an hour")
    bar = figure.colorbar(dots, ax=list(panels), pad=0.015, aspect=22, shrink=0.9)
    bar.set_label("unoccupied level")
    bar.outline.set_visible(False)
    line = Line2D([], [], color=SCHEDULE, linestyle="-.", linewidth=1.3)
    figure.suptitle(
        "Timeout by aisle, over how busy the aisle is", x=0.01, ha="left", fontweight="bold", fontsize=9.5
    )
    if choices[0].single_timeout_s is not None:
        figure.legend(
            [line], ["one setting for all"], loc="upper right", frameon=False, fontsize=7.5, handlelength=2.2
        )
    return figure


def draw_value(rows: Sequence[ValueRow], outcome: str) -> Figure:
    """Draw what each plan uses: the interval of the simulation, and the range over what is not known."""
    figure = blank_figure(0.9 + 0.42 * len(rows))
    axes = figure.subplots()
    for place, row in enumerate(rows):
        mean, half = row.estimate.mean, row.estimate.half_width or 0.0
        assert mean is not None
        axes.plot([row.least, row.most], [place, place], color=MUTED, linewidth=1.0)
        axes.plot(
            [row.least, row.most], [place, place], color=MUTED, linestyle="none", marker="|", markersize=7
        )
        axes.plot(
            [mean - half, mean + half], [place, place], color=SETTINGS, linewidth=4.5, solid_capstyle="butt"
        )
        axes.plot([mean], [place], color=INK, marker="o", markersize=4.0, linestyle="none")
        axes.annotate(
            f"{mean:,.0f}",
            (mean, place),
            xytext=(0.0, 7.0),
            textcoords="offset points",
            ha="center",
            fontsize=7.5,
        )
    quiet_axes(axes, "x")
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)
    axes.set_yticks(np.arange(len(rows)), [row.label for row in rows])
    axes.set_ylim(len(rows) - 0.5, -0.7)
    axes.set_xlabel(f"{OUTCOMES[outcome].meaning}, of a run [{OUTCOMES[outcome].unit}]")
    handles = [
        Line2D([], [], color=INK, marker="o", linestyle="none", markersize=4),
        Line2D([], [], color=SETTINGS, linewidth=4.5),
        Line2D([], [], color=MUTED, linewidth=1.0, marker="|", markersize=7),
    ]
    title(axes, "What tuning adds, on traffic it was not fitted to")
    legend_above(
        axes, handles, ["mean", "simulation noise (95 %)", "volume, skew, handling each ±30 %"], columns=3
    )
    return figure
