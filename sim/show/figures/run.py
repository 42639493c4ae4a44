"""Pictures of a whole run: load over time, use of the aisles, the week.

Comes in: the numbers of `show/numbers/run`.  Goes out: figures.  After it: `show/figures/draw`.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from sim.records import FloatColumn
from sim.show.figures.style import (
    GRID,
    INK,
    LAMP,
    LAMP_PALE,
    LIGHT_RAMP,
    LOW,
    MUTED,
    OFF,
    PAPER,
    SCHEDULE,
    SETTINGS,
    blank_figure,
    legend_above,
    quiet_axes,
    time_ticks,
    title,
)
from sim.show.numbers.run import AisleNumbers, PowerNumbers, WeekNumbers
from sim.units import WEEKDAYS

__all__ = ["draw_aisles", "draw_power", "draw_week"]


def draw_power(numbers: PowerNumbers, start: dt.datetime) -> Figure:
    """Draw the load over the run with the band of the replications, always on and schedule only."""
    figure = blank_figure(3.1)
    axes = figure.subplots()
    handles: list[Line2D | Patch] = []
    labels: list[str] = []
    if numbers.replications > 1:
        axes.stairs(
            numbers.high_kw, numbers.edge_s, baseline=numbers.low_kw, fill=True, color=SETTINGS, alpha=0.3,
            linewidth=0.0,
        )
    axes.stairs(numbers.mean_kw, numbers.edge_s, baseline=None, color=SETTINGS, linewidth=1.3)
    handles.append(Line2D([], [], color=SETTINGS, linewidth=1.6))
    labels.append("these settings" + (", day's mean" if numbers.is_daily else ""))
    if numbers.replications > 1:
        handles.append(Patch(facecolor=SETTINGS, alpha=0.3))
        labels.append(f"least to greatest of {numbers.replications} replications")
    if numbers.peak_kw is not None:
        axes.stairs(numbers.peak_kw, numbers.edge_s, baseline=None, color=INK, linewidth=0.9, linestyle=":")
        handles.append(Line2D([], [], color=INK, linewidth=1.0, linestyle=":"))
        labels.append("day's highest quarter-hour")
    axes.stairs(
        numbers.schedule_kw, numbers.schedule_edge_s, baseline=None, color=SCHEDULE, linewidth=1.1,
        linestyle="-.",
    )
    axes.axhline(numbers.always_on_kw, color=MUTED, linewidth=1.1, linestyle="--")
    handles += [
        Line2D([], [], color=SCHEDULE, linewidth=1.2, linestyle="-."),
        Line2D([], [], color=MUTED, linewidth=1.2, linestyle="--"),
    ]
    labels += ["schedule only", "always on"]
    quiet_axes(axes)
    axes.set_xlim(0.0, numbers.edge_s[-1])
    axes.set_ylim(0.0, 1.06 * max(numbers.always_on_kw, float(numbers.high_kw.max())))
    places, texts = time_ticks(start, float(numbers.edge_s[-1]))
    axes.set_xticks(places, texts)
    axes.set_ylabel("load [kW]")
    heading = "Load over the run, " + ("by day" if numbers.is_daily else "by quarter-hour")
    title(axes, heading, key_lines=2 if numbers.is_daily else 1)
    legend_above(axes, handles, labels, columns=3 if numbers.is_daily else 4)
    return figure


def draw_aisles(numbers: AisleNumbers) -> Figure:
    """Draw each aisle's time as one bar: high with a truck, lit empty, low, off."""
    count = len(numbers.names)
    figure = blank_figure(1.1 + 0.19 * max(count, 4))
    axes = figure.subplots()
    place = np.arange(count)
    parts: list[tuple[FloatColumn, str, str | None, str]] = [
        (numbers.in_use, LAMP, None, "high, truck there" if numbers.knows_trucks else "high")
    ]
    if numbers.knows_trucks:
        parts.append((numbers.lit_empty, LAMP_PALE, "////", "high, no truck"))
    parts += [(numbers.low, LOW, None, "low"), (numbers.off, OFF, None, "off")]
    left = np.zeros(count)
    handles: list[Line2D | Patch] = []
    labels: list[str] = []
    for width, colour, hatch, label in parts:
        if not width.any():
            continue
        axes.barh(
            place, 100.0 * width, left=100.0 * left, height=0.74, facecolor=colour, hatch=hatch,
            edgecolor=LAMP if hatch else PAPER, linewidth=0.0 if hatch else 0.4,
        )
        edge = LAMP if hatch else colour
        handles.append(Patch(facecolor=colour, hatch=hatch, edgecolor=edge, linewidth=0.0))
        labels.append(label)
        left = left + width
    if numbers.knows_trucks:
        for colour, stroke in ((PAPER, 3.4), (INK, 1.6)):
            axes.vlines(100.0 * numbers.occupied, place - 0.4, place + 0.4, color=colour, linewidth=stroke)
        handles.append(
            Line2D([], [], color=INK, marker="|", linestyle="none", markersize=8, markeredgewidth=1.6)
        )
        labels.append("share of time with a truck")
    quiet_axes(axes, "x")
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)
    axes.set_xlim(0.0, 100.0)
    axes.set_ylim(count - 0.4, -0.6)
    axes.set_yticks(place, numbers.names)
    axes.set_xlabel("share of the run [%]")
    if numbers.ranked_by:
        heading = f"How the aisles spent the run: {count} of {numbers.aisles} with most {numbers.ranked_by}"
    else:
        heading = "How the aisles spent the run"
    title(axes, heading)
    legend_above(axes, handles, labels, columns=5)
    return figure


def draw_week(numbers: WeekNumbers) -> Figure:
    """Draw the hours of the week as a map of light use; hours outside the run stay blank."""
    rows = [day for day in range(7) if not np.isnan(numbers.share[day]).all()]
    share = numbers.share[rows]
    figure = blank_figure(0.95 + 0.24 * max(len(rows), 2))
    axes = figure.subplots()
    mesh = axes.pcolormesh(
        np.arange(25), np.arange(len(rows) + 1), np.ma.masked_invalid(share), cmap=LIGHT_RAMP, vmin=0.0,
        vmax=1.0, edgecolors=PAPER, linewidth=0.8,
    )
    for row, day in enumerate(share):
        for hour, value in enumerate(day):
            if not np.isnan(value):
                axes.text(
                    hour + 0.5, row + 0.52, f"{100.0 * value:.0f}", ha="center", va="center", fontsize=6.5,
                    color=PAPER if value < 0.25 else INK,
                )
    axes.set_ylim(len(rows), 0)
    axes.set_yticks(np.arange(len(rows)) + 0.5, [WEEKDAYS[day] for day in rows])
    axes.set_xticks(range(0, 25, 3), [f"{hour:02d}:00" for hour in range(0, 25, 3)])
    for side in axes.spines.values():
        side.set_visible(False)
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", length=3, color=GRID)
    bar = figure.colorbar(mesh, ax=axes, pad=0.015, aspect=14, shrink=0.96)
    bar.outline.set_visible(False)
    bar.set_ticks([0.0, 0.5, 1.0], labels=["0", "50", "100"])
    bar.ax.tick_params(length=0)
    title(axes, "Light use by hour of the week [% of the always-on load]", key_lines=0)
    return figure
