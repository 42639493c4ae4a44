"""The pictures of a fit: gaps and visits, measured against simulated.

Comes in: a `SiteFit` and its `Goodness`.  Goes out: SVG and PNG files.  Before: `study/from_logs/goodness`,
`show/figures/style`; after: `show/folders/fit`.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from sim.lighting.timetable import place_programs
from sim.records import FloatColumn
from sim.scenario.schema import Scenario
from sim.show.figures.gaps import TICKS
from sim.show.figures.style import (
    INK,
    MUTED,
    SCHEDULE,
    SETTINGS,
    blank_figure,
    legend_above,
    quiet_axes,
    style,
    title,
)
from sim.show.figures.sweep import save_figures
from sim.show.words.amounts import duration
from sim.study.from_logs.fit import SiteFit
from sim.study.from_logs.goodness import Goodness
from sim.units import WEEKDAYS

__all__ = ["draw_fit_figures", "draw_fit_gaps", "draw_fit_visits"]

_AISLE_PANELS = 5
_GRID_POINTS = 200
_MOST_NAMES = 24


def draw_fit_figures(fit: SiteFit, goodness: Goodness, folder: Path) -> dict[str, str]:
    """Draw `gaps` and `visits`.

    Parameters
    ----------
    fit, goodness : what was fitted, and how well
    folder : to write to

    Returns
    -------
    the pictures as SVG by name
    """
    with style():
        return save_figures(
            {"gaps": draw_fit_gaps(fit.scenario, goodness), "visits": draw_fit_visits(goodness)}, folder
        )


def draw_fit_gaps(scenario: Scenario, goodness: Goodness) -> Figure:
    """Draw the share of gaps longer than so long, of all aisles and of those with most gaps."""
    busiest = np.argsort([-len(gaps) for gaps in goodness.aisle_gaps_s], kind="stable")[:_AISLE_PANELS]
    panels = [("all aisles", goodness.gaps_s, goodness.simulated_gaps_s)]
    if len(goodness.aisles) > 1:
        panels += [
            (
                goodness.aisles[aisle].aisle,
                goodness.aisle_gaps_s[aisle],
                goodness.simulated_aisle_gaps_s[aisle],
            )
            for aisle in busiest.tolist()
            if len(goodness.aisle_gaps_s[aisle])
        ]
    columns = min(len(panels), 2)
    rows = -(-len(panels) // columns)
    figure = blank_figure(1.1 + 1.9 * rows)
    grid = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True)
    delays = sorted({float(delay) for program in place_programs(scenario) for delay in program.delay_s})
    longest = max([60.0, *(float(gaps.max()) for _, *pair in panels for gaps in pair if len(gaps))])
    at = np.geomspace(1.0, longest, _GRID_POINTS)
    for number, axes in enumerate(grid.ravel()):
        if number >= len(panels):
            axes.set_visible(False)
            continue
        name, measured, simulated = panels[number]
        _draw_gap_panel(axes, at, name, (measured, simulated), delays)
        is_last = number + columns >= len(panels)
        axes.tick_params(labelbottom=is_last)
        if is_last:
            axes.set_xlabel("gap without a truck (or without motion)")
    for axes in grid[:, 0]:
        axes.set_ylabel("gaps longer [%]")
    title(grid[0, 0], "How long aisles wait for the next visit, measured against simulated")
    key = {
        "measured": Line2D([], [], color=INK, linewidth=1.8),
        "simulated from the fit": Line2D([], [], color=SCHEDULE, linewidth=1.4, linestyle="--"),
        "hold + timeout in force": Line2D([], [], color=SETTINGS, linewidth=1.0, linestyle=":"),
    }
    legend_above(grid[0, 0], list(key.values()), list(key))
    return figure


def _draw_gap_panel(
    axes: Axes, at: FloatColumn, name: str, pair: tuple[FloatColumn, FloatColumn], delays: list[float]
) -> None:
    """Two curves and the delays."""
    axes.set_xscale("log")
    looks = ((INK, 1.8, "-"), (SCHEDULE, 1.4, "--"))
    for gaps, (colour, width, dash) in zip(pair, looks, strict=True):
        if len(gaps):
            share = 1.0 - np.searchsorted(np.sort(gaps), at, side="right") / len(gaps)
            axes.plot(at, 100.0 * share, color=colour, linewidth=width, linestyle=dash)
    for delay in delays:
        if at[0] <= delay <= at[-1]:
            axes.axvline(delay, color=SETTINGS, linewidth=1.0, linestyle=":")
    quiet_axes(axes)
    axes.set_xlim(float(at[0]), float(at[-1]))
    axes.set_ylim(0.0, 102.0)
    axes.set_yticks([0, 50, 100])
    ticks = [(place, text) for place, text in TICKS if at[0] <= place <= at[-1]]
    axes.set_xticks([place for place, _ in ticks], [text for _, text in ticks])
    axes.minorticks_off()
    count = f"{name}: {len(pair[0]):,} gaps measured"
    axes.annotate(count, (0.02, 0.05), xycoords="axes fraction", fontsize=7.5, fontweight="bold", color=INK)
    first = [delay for delay in delays if at[0] <= delay <= at[-1]][:1]
    for delay in first:
        axes.annotate(
            duration(delay), (delay, 100.0), textcoords="offset points", xytext=(-3, -1), fontsize=7.0,
            color=MUTED, va="top", ha="right",
        )


def draw_fit_visits(goodness: Goodness) -> Figure:
    """Draw visits by hour of the week, and visits and occupied share by aisle."""
    figure = blank_figure(4.6)
    grid = figure.add_gridspec(2, 2)
    week, visits, share = (
        figure.add_subplot(grid[0, :]), figure.add_subplot(grid[1, 0]), figure.add_subplot(grid[1, 1]),
    )
    hours = np.arange(169)
    for counts, colour, width, dash in (
        (goodness.week_visits, INK, 1.6, "-"),
        (goodness.simulated_week_visits, SCHEDULE, 1.2, "--"),
    ):
        week.step(hours, np.append(counts, counts[-1]), where="post", color=colour, linewidth=width,
                  linestyle=dash)
    quiet_axes(week)
    week.set_xlim(0, 168)
    week.set_ylim(bottom=0.0)
    week.set_xticks(np.arange(0, 168, 24), WEEKDAYS, ha="left")
    week.set_ylabel("visits in the log")
    title(week, "Visits by hour of the week and by aisle, measured against simulated")
    key = {
        "measured": Line2D([], [], color=INK, linewidth=1.6),
        f"simulated, mean of {goodness.replications}": Line2D(
            [], [], color=SCHEDULE, linewidth=1.2, linestyle="--", marker="o", markersize=3.5
        ),
    }
    legend_above(week, list(key.values()), list(key))
    names = [aisle.aisle for aisle in goodness.aisles]
    places = np.arange(len(names))
    for axes, measured, simulated, label in (
        (
            visits,
            [aisle.visits for aisle in goodness.aisles],
            [aisle.simulated_visits for aisle in goodness.aisles],
            "visits",
        ),
        (
            share,
            [100.0 * aisle.occupied_share for aisle in goodness.aisles],
            [100.0 * aisle.simulated_occupied_share for aisle in goodness.aisles],
            "time occupied [%]",
        ),
    ):
        axes.bar(places, measured, width=0.7, color="#c3cad1", edgecolor=INK, linewidth=0.6)
        axes.plot(places, simulated, linestyle="none", marker="o", markersize=3.5, color=SCHEDULE)
        quiet_axes(axes)
        axes.set_ylabel(label)
        every = -(-len(names) // _MOST_NAMES)
        axes.set_xticks(places[::every], names[::every], rotation=90)
        axes.set_ylim(bottom=0.0)
    return figure
