"""The picture of gaps: how long zones wait for the next motion, with the delay of each set of settings.

Comes in: the numbers of `show/numbers/gaps`.  Goes out: a figure.  After it: `show/figures/draw`.
"""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from sim.show.figures.style import (
    INK,
    LAMP_PALE,
    LOW,
    PAPER,
    SCHEDULE,
    SETTINGS,
    blank_figure,
    legend_above,
    quiet_axes,
    title,
)
from sim.show.numbers.gaps import GapNumbers, GapPanel
from sim.show.words.amounts import duration, percent

__all__ = ["draw_gaps"]

DARK = "#d5dbe1"
PANEL_IN = 1.95
TICKS = (
    (1.0, "1 s"), (10.0, "10 s"), (60.0, "1 min"), (600.0, "10 min"), (3600.0, "1 h"), (14_400.0, "4 h"),
    (86_400.0, "1 d"), (604_800.0, "7 d"), (2_592_000.0, "30 d"),
)


def draw_gaps(numbers: GapNumbers) -> Figure:
    """Draw one panel for each set of settings, two in a row."""
    count = max(len(numbers.panels), 1)
    columns = min(count, 2)
    rows = -(-count // columns)
    figure = blank_figure(1.05 + PANEL_IN * rows)
    grid = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True)
    for number, axes in enumerate(grid.ravel()):
        if number >= len(numbers.panels):
            axes.set_visible(False)
            continue
        _draw_panel(axes, numbers, numbers.panels[number])
        is_last = number + columns >= count
        axes.tick_params(labelbottom=is_last)
        if is_last:
            axes.set_xlabel("gap, or age of the last motion")
    for axes in grid[:, 0]:
        axes.set_ylabel("share beyond [%]")
    first = grid[0, 0]
    title(first, f"How long zones wait for the next motion, {numbers.whose}")
    key = {
        "idle time": Line2D([], [], color=SETTINGS, linewidth=2.0),
        "gaps": Line2D([], [], color=SCHEDULE, linewidth=1.4, linestyle="-."),
        "hold + timeout": Line2D([], [], color=INK, linewidth=1.0, linestyle="--"),
    }
    if any(len(panel.aisle_share) > 1 for panel in numbers.panels):
        key["idle time of an aisle"] = Line2D([], [], color=LOW, linewidth=0.7)
    legend_above(first, list(key.values()), list(key))
    return figure


def _draw_panel(axes: Axes, numbers: GapNumbers, panel: GapPanel) -> None:
    """Draw the two curves over those of single aisles; pale where the light is up, grey where it is down."""
    low, high = float(numbers.grid_s[0]), float(numbers.grid_s[-1])
    at = min(max(panel.delay_s, low), high)
    axes.set_xscale("log")
    axes.axvspan(low, at, color=LAMP_PALE, linewidth=0.0)
    axes.axvspan(at, high, color=DARK, linewidth=0.0)
    for share in panel.aisle_share if len(panel.aisle_share) > 1 else []:
        axes.plot(numbers.grid_s, 100.0 * share, color=LOW, linewidth=0.6)
    axes.plot(numbers.grid_s, 100.0 * panel.gap_share, color=SCHEDULE, linewidth=1.4, linestyle="-.")
    axes.plot(numbers.grid_s, 100.0 * panel.idle_share, color=SETTINGS, linewidth=2.0)
    axes.axvline(at, color=INK, linewidth=1.0, linestyle="--")
    for share, colour in ((panel.gaps_beyond, SCHEDULE), (panel.idle_beyond, SETTINGS)):
        axes.plot(
            [at], [100.0 * share], linestyle="none", marker="o", markersize=4.5, markerfacecolor=colour,
            markeredgecolor=PAPER, markeredgewidth=1.0,
        )
    quiet_axes(axes)
    axes.grid(visible=False)
    axes.set_xlim(low, high)
    axes.set_ylim(0.0, 102.0)
    axes.set_yticks([0, 50, 100])
    ticks = [(place, text) for place, text in TICKS if low <= place <= high]
    axes.set_xticks([place for place, _ in ticks], [text for _, text in ticks])
    axes.minorticks_off()
    axes.annotate(
        panel.name, (0.02, 0.04), xycoords="axes fraction", fontsize=8.0, fontweight="bold", color=INK
    )
    axes.annotate(
        _words(panel), (0.985, 0.955), xycoords="axes fraction", ha="right", va="top", fontsize=7.0,
        color=INK, linespacing=1.35,
        bbox={"facecolor": PAPER, "edgecolor": "none", "alpha": 0.85, "pad": 2.0},
    )


def _words(panel: GapPanel) -> str:
    """What lies beyond the delay."""
    return (
        f"beyond {duration(panel.delay_s)}:\n{percent(panel.idle_beyond, 2)} of idle time\n"
        f"{percent(panel.gaps_beyond, 2)} of gaps"
    )
