"""The picture of a sensitivity study: one bar per input, the widest on top.

Comes in: a `Tornado` or `Indices`.  Goes out: SVG and PNG files.  Before: `study/sensitivity`,
`show/figures/style`; after: `show/folders/sensitivity`.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from sim.outcome.names import OUTCOMES
from sim.show.figures.style import (
    INK,
    LAMP,
    MUTED,
    SETTINGS,
    blank_figure,
    legend_above,
    quiet_axes,
    style,
    title,
)
from sim.show.figures.sweep import save_figures
from sim.show.words.amounts import plain
from sim.study.sensitivity import Indices, Tornado

__all__ = ["draw_indices", "draw_sensitivity_figures", "draw_tornado"]


def draw_sensitivity_figures(found: Tornado | Indices, folder: Path) -> dict[str, str]:
    """Draw the picture: `tornado`, or `indices`."""
    with style():
        if isinstance(found, Tornado):
            return save_figures({"tornado": draw_tornado(found)}, folder)
        return save_figures({"indices": draw_indices(found)}, folder)


def _scale(outcome: str) -> tuple[float, str]:
    """Shares are shown as points of per cent."""
    if outcome.endswith("_share"):
        return 100.0, "% points"
    return 1.0, OUTCOMES[outcome].unit.replace("-", "count")


def draw_tornado(found: Tornado) -> Figure:
    """Draw what either end of each range does to the answer, with intervals."""
    count = len(found.bars)
    figure = blank_figure(1.3 + 0.34 * count)
    axes = figure.subplots()
    scale, unit = _scale(found.outcome)
    for place, bar in enumerate(found.bars):
        for difference, colour, hatch in ((bar.at_low, LAMP, "////"), (bar.at_high, SETTINGS, None)):
            mean, half = difference.estimate.mean or 0.0, difference.estimate.half_width or 0.0
            axes.barh(
                place,
                scale * mean,
                height=0.62,
                facecolor=colour,
                hatch=hatch,
                edgecolor=INK,
                linewidth=0.4,
                alpha=0.9,
            )
            ends = [scale * (mean - half), scale * (mean + half)]
            axes.plot(ends, [place, place], color=INK, linewidth=1.1, marker="|", markersize=5)
    axes.axvline(0.0, color=MUTED, linewidth=0.8)
    quiet_axes(axes, "x")
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)
    labels = [f"{bar.name}  {plain(bar.low)} to {plain(bar.high)}" for bar in found.bars]
    axes.set_yticks(np.arange(count), labels)
    axes.set_ylim(count - 0.4, -0.6)
    axes.set_xlabel(f"change of {OUTCOMES[found.outcome].meaning} [{unit}]")
    title(axes, "What moves the answer: one input at a time")
    legend_above(
        axes,
        [
            Patch(facecolor=LAMP, hatch="////", edgecolor=INK, linewidth=0.4),
            Patch(facecolor=SETTINGS, edgecolor=INK, linewidth=0.4),
            Line2D([], [], color=INK, marker="|", linewidth=1.1, markersize=5),
        ],
        ["at the low end", "at the high end", "95 % interval, paired"],
        columns=3,
    )
    return figure


def draw_indices(found: Indices) -> Figure:
    """Draw both indices of every input, with intervals where there are any."""
    order = np.argsort(-(found.second if found.method == "sobol" else found.first), kind="stable")
    figure = blank_figure(1.3 + 0.4 * len(order))
    axes = figure.subplots()
    first, second = (
        ("first order", "total") if found.method == "sobol" else ("mean effect", "spread of effects")
    )
    for place, row in enumerate(order.tolist()):
        for shift, value, half, colour, hatch in (
            (-0.18, found.first[row], found.first_half[row], SETTINGS, None),
            (0.18, found.second[row], found.second_half[row], LAMP, "////"),
        ):
            axes.barh(
                place + shift, value, height=0.34, facecolor=colour, hatch=hatch, edgecolor=INK, linewidth=0.4
            )
            if np.isfinite(half):
                axes.plot(
                    [value - half, value + half],
                    [place + shift] * 2,
                    color=INK,
                    linewidth=1.1,
                    marker="|",
                    markersize=5,
                )
    quiet_axes(axes, "x")
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)
    axes.set_yticks(np.arange(len(order)), [found.names[row] for row in order.tolist()])
    axes.set_ylim(len(order) - 0.5, -0.5)
    meaning = OUTCOMES[found.outcome].meaning
    axes.set_xlabel(
        f"share of the variance of {meaning}"
        if found.method == "sobol"
        else f"effect of the whole range on {meaning} [{OUTCOMES[found.outcome].unit}]"
    )
    title(axes, "What moves the answer: all inputs at once")
    legend_above(
        axes,
        [
            Patch(facecolor=SETTINGS, edgecolor=INK, linewidth=0.4),
            Patch(facecolor=LAMP, hatch="////", edgecolor=INK, linewidth=0.4),
        ],
        [first, second],
        columns=2,
    )
    return figure
