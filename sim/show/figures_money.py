"""Pictures of a year: what each month costs, and how long which load lasts.

Comes in: `Money`.  Goes out: figures.  Before: `study/money`, `show/figures_style`; after:
`show/figures_besides`.  The baseline stands pale behind the settings, so that the gap is the saving.
"""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from sim.show.figures_style import (
    LAMP,
    LAMP_PALE,
    MUTED,
    PAPER,
    SETTINGS,
    blank_figure,
    legend_above,
    quiet_axes,
    title,
)
from sim.show.words import MONTHS
from sim.study.money import Money

__all__ = ["draw_duration", "draw_months"]

_WIDTH = 0.36
_POINTS = 400


def draw_months(money: Money, currency: str) -> Figure:
    """Draw the monthly bills: energy and, above it, demand; baseline left, settings right."""
    assert money.months is not None
    here, base = money.months
    figure = blank_figure(2.9)
    axes = figure.subplots()
    place = np.arange(12)
    has_demand = bool(here.demand.any() or base.demand.any())
    for bill, side, colours in ((base, -0.5, (MUTED, LAMP_PALE)), (here, 0.5, (SETTINGS, LAMP))):
        at = place + side * (_WIDTH + 0.03)
        axes.bar(at, bill.energy, _WIDTH, color=colours[0], edgecolor=PAPER, linewidth=0.4)
        if has_demand:
            axes.bar(
                at, bill.demand, _WIDTH, bottom=bill.energy, color=colours[1], edgecolor=MUTED, linewidth=0.4,
                hatch="////",
            )
    handles = [Patch(facecolor=MUTED), Patch(facecolor=SETTINGS)]
    labels = ["baseline, energy", "these settings, energy"]
    if has_demand:
        handles += [
            Patch(facecolor=LAMP_PALE, edgecolor=MUTED, hatch="////"),
            Patch(facecolor=LAMP, edgecolor=MUTED, hatch="////"),
        ]
        labels += ["baseline, demand", "these settings, demand"]
    quiet_axes(axes)
    axes.set_xticks(place, MONTHS)
    axes.set_ylabel(currency)
    title(axes, f"What the lights cost, by month of {money.year}")
    legend_above(axes, handles, labels, columns=4)
    return figure


def draw_duration(money: Money) -> Figure:
    """Draw for how many hours of the year which load is reached or passed."""
    figure = blank_figure(2.7)
    axes = figure.subplots()
    here, base = money.load_kw
    hours = (np.arange(len(here)) + 0.5) / 4.0
    chosen = np.unique(np.linspace(0, len(here) - 1, _POINTS).astype(np.int64))
    axes.fill_between(hours[chosen], here[chosen], base[chosen], color=LAMP_PALE, linewidth=0.0)
    axes.plot(hours[chosen], base[chosen], color=MUTED, linestyle="--", linewidth=1.2)
    axes.plot(hours[chosen], here[chosen], color=SETTINGS, linewidth=1.5)
    quiet_axes(axes)
    axes.set_xlim(0.0, hours[-1])
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel("hours of the year at this load or more [h]")
    axes.set_ylabel("load [kW]")
    title(axes, "How long which load lasts")
    legend_above(
        axes,
        [
            Line2D([], [], color=SETTINGS, linewidth=1.6),
            Line2D([], [], color=MUTED, linestyle="--", linewidth=1.2),
            Patch(facecolor=LAMP_PALE),
        ],
        ["these settings", "baseline", "saved"],
    )
    return figure
