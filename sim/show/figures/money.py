"""Pictures of a year: what each month costs, and how long which load lasts.

Comes in: `Money`.  Goes out: figures.  Before: `study/year/money`, `show/figures/style`; after:
`show/figures/besides`.  The baseline stands pale behind the settings, so that the gap is the saving.
"""

from __future__ import annotations

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from sim.records import FloatColumn
from sim.show.figures.style import (
    DIM,
    INK,
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
from sim.show.words.amounts import MONTHS
from sim.study.year.money import Money

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
    has_lift = bool(here.lift.any() or base.lift.any())
    for bill, side, colours in ((base, -0.5, (MUTED, LAMP_PALE)), (here, 0.5, (SETTINGS, LAMP))):
        at = place + side * (_WIDTH + 0.03)
        axes.bar(at, bill.energy, _WIDTH, color=colours[0], edgecolor=PAPER, linewidth=0.4)
        if has_demand:
            axes.bar(
                at, bill.demand, _WIDTH, bottom=bill.energy, color=colours[1], edgecolor=MUTED, linewidth=0.4,
                hatch="////",
            )
        if has_lift:
            axes.plot(at, bill.cost, "D", markersize=3.5, color=DIM, zorder=5, clip_on=False)
    handles: list[Artist] = [Patch(facecolor=MUTED), Patch(facecolor=SETTINGS)]
    # five entries fit in one row only with shorter words
    name = "here" if has_lift else "these settings"
    labels = ["baseline, energy", f"{name}, energy"]
    if has_demand:
        handles += [
            Patch(facecolor=LAMP_PALE, edgecolor=MUTED, hatch="////"),
            Patch(facecolor=LAMP, edgecolor=MUTED, hatch="////"),
        ]
        labels += ["baseline, demand", f"{name}, demand"]
    if has_lift:
        handles.append(Line2D([], [], linestyle="none", marker="D", markersize=3.5, color=DIM))
        labels.append("with the least bill")
    quiet_axes(axes)
    axes.set_xticks(place, MONTHS)
    axes.set_ylabel(currency)
    title(axes, f"What the lights cost, by month of {money.year}")
    legend_above(axes, handles, labels, columns=5)
    return figure


def draw_duration(money: Money) -> Figure:
    """Draw for how many hours of the year which load is reached or passed: the lights, then the meter."""
    panels = [("How long which load lasts: the lights", money.load_kw)]
    if money.meter_kw is not None:
        panels.append(("... and the site's meter", money.meter_kw))
    figure = blank_figure(3.0)
    places = figure.subplots(1, len(panels), squeeze=False)[0]
    for axes, (heading, curves) in zip(places, panels, strict=True):
        _draw_curves(axes, curves)
        title(axes, heading)
    places[0].set_ylabel("load [kW]")
    if money.baseline != "always_on":
        always_kw = money.factor * money.connected_kw
        places[0].axhline(always_kw, color=INK, linestyle=":", linewidth=1.2)
    _duration_legend(places[0], money)
    return figure


def _draw_curves(axes: Axes, curves: tuple[FloatColumn, FloatColumn]) -> None:
    """One panel: settings and baseline, and what lies between."""
    here, base = curves
    hours = (np.arange(len(here)) + 0.5) / 4.0
    chosen = np.unique(np.linspace(0, len(here) - 1, _POINTS).astype(np.int64))
    axes.fill_between(hours[chosen], here[chosen], base[chosen], color=LAMP_PALE, linewidth=0.0)
    axes.plot(hours[chosen], base[chosen], color=MUTED, linestyle="--", linewidth=1.2)
    axes.plot(hours[chosen], here[chosen], color=SETTINGS, linewidth=1.5)
    quiet_axes(axes)
    axes.set_xlim(0.0, hours[-1])
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel("hours of the year at this load or more [h]")


def _duration_legend(axes: Axes, money: Money) -> None:
    """One legend for both panels, in one row: it may reach over into the second."""
    handles = [
        Line2D([], [], color=SETTINGS, linewidth=1.6),
        Line2D([], [], color=MUTED, linestyle="--", linewidth=1.2),
        Patch(facecolor=LAMP_PALE),
    ]
    labels = ["these settings", "baseline", "saved"]
    if money.baseline != "always_on":
        handles.append(Line2D([], [], color=INK, linestyle=":", linewidth=1.2))
        labels.append("lights always on")
    legend_above(axes, handles, labels, columns=4)
