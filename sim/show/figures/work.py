"""The picture of the trucks' work: how many were busy, and what waited.

Comes in: the numbers of `show/numbers/work`.  Goes out: a figure.  After it: `show/figures/draw`.
"""

from __future__ import annotations

import datetime as dt

from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from sim.show.figures.style import (
    INK,
    LOW,
    MUTED,
    SETTINGS,
    blank_figure,
    legend_above,
    quiet_axes,
    time_ticks,
    title,
)
from sim.show.numbers.work import WorkNumbers

__all__ = ["draw_work"]

PALE = 0.35


def draw_work(numbers: WorkNumbers, start: dt.datetime) -> Figure:
    """Draw busy trucks under those on duty, and the moves that wait below."""
    figure = blank_figure(3.5)
    trucks, waiting = figure.subplots(2, 1, sharex=True, height_ratios=[3, 2])
    edges = numbers.edge_s
    trucks.stairs(numbers.busy, edges, fill=True, color=SETTINGS, alpha=PALE, linewidth=0.0)
    trucks.stairs(numbers.busy, edges, baseline=None, color=SETTINGS, linewidth=1.2)
    trucks.stairs(numbers.on_duty, edges, baseline=None, color=INK, linewidth=1.0, linestyle="--")
    handles: list[Line2D | Patch] = [
        Patch(facecolor=SETTINGS, alpha=PALE, edgecolor=SETTINGS),
        Line2D([], [], color=INK, linewidth=1.0, linestyle="--"),
        Line2D([], [], color=MUTED, linewidth=1.6),
    ]
    labels = ["trucks at work", "trucks with a driver", "moves that wait"]
    if numbers.replications > 1:
        waiting.stairs(
            numbers.backlog_most, edges, baseline=numbers.backlog, fill=True, color=LOW, alpha=PALE,
            linewidth=0.0,
        )
        handles.append(Patch(facecolor=LOW, alpha=PALE))
        labels.append(f"most of {numbers.replications} replications")
    waiting.stairs(numbers.backlog, edges, baseline=None, color=MUTED, linewidth=1.3)
    for axes, most, label in (
        (trucks, float(max(numbers.on_duty.max(), numbers.busy.max())), "trucks"),
        (waiting, float(numbers.backlog_most.max()), "moves"),
    ):
        quiet_axes(axes)
        axes.set_ylim(0.0, 1.08 * max(most, 1.0))
        axes.set_ylabel(label)
    places, texts = time_ticks(start, float(edges[-1]))
    waiting.set_xlim(0.0, edges[-1])
    waiting.set_xticks(places, texts)
    trucks.tick_params(axis="x", length=0)
    figure.align_ylabels()
    title(trucks, "Trucks at work and moves that wait, " + ("by day" if numbers.is_daily else "by hour"))
    legend_above(trucks, handles, labels, columns=4)
    return figure
